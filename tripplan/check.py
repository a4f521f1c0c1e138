"""What a judgement is: a Check (one rule applied to one case) and a Contest (all candidates for one limit)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class Outcome(StrEnum):
    """How a rule came out, mildest first: ok, caution (go only with a reason), stop (do not go)."""

    OK = "ok"
    CAUTION = "caution"
    STOP = "stop"

    @property
    def severity(self) -> int:
        """0 for ok, 1 for caution, 2 for stop."""
        return list(Outcome).index(self)


@dataclass(frozen=True)
class Check:
    """One rule applied to one case: what was found, what is allowed, and who says so."""

    rule: str  # a stable slug: "depth-within-level"
    outcome: Outcome
    sentence: str  # what the leader reads
    source: str  # a key of sources.py or of the rule book
    found: float | str | None = None  # None: not known, or not a quantity
    limit: float | str | None = None
    unit: str = ""  # of found and limit
    subject: str = ""  # whom or what it is about: a group, a person, a dive, a contact

    def as_json(self) -> dict[str, Any]:
        """Return the check as plain values."""
        return {
            "rule": self.rule,
            "outcome": self.outcome.value,
            "sentence": self.sentence,
            "source": self.source,
            "found": self.found,
            "limit": self.limit,
            "unit": self.unit,
            "subject": self.subject,
        }


def worst(checks: Iterable[Check]) -> Outcome:
    """Return the most severe outcome; ok when there is none."""
    return max((check.outcome for check in checks), key=lambda outcome: outcome.severity, default=Outcome.OK)


@dataclass(frozen=True)
class Candidate:
    """One thing that could set a limit. ``value`` None means that it sets none, and ``sentence`` says why."""

    name: str  # a stable slug: "level", "age", "handbook-row"
    value: float | None
    sentence: str
    source: str


@dataclass(frozen=True)
class Contest:
    """All candidates for one limit of which the smallest binds; the losers are kept so that the page can show them."""

    quantity: str  # "depth limit", "longest bottom time"
    unit: str
    candidates: tuple[Candidate, ...]

    @property
    def binding(self) -> Candidate | None:
        """The candidate with the smallest value (the first named on a tie); None when none sets a limit."""
        setting = [candidate for candidate in self.candidates if candidate.value is not None]
        return min(setting, key=lambda candidate: candidate.value or 0.0, default=None)

    @property
    def value(self) -> float | None:
        """The limit itself, in ``unit``; None when none of the candidates sets one."""
        return self.binding.value if self.binding else None

    def as_json(self) -> dict[str, Any]:
        """Return the contest as plain values, candidates in order of value, unlimited ones last."""
        binding = self.binding
        ordered = sorted(self.candidates, key=lambda c: float("inf") if c.value is None else c.value)
        return {
            "quantity": self.quantity,
            "unit": self.unit,
            "value": self.value,
            "binding": binding.name if binding else None,
            "candidates": [
                {"name": c.name, "value": c.value, "sentence": c.sentence, "source": c.source} for c in ordered
            ],
        }
