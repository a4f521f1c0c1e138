"""What meets each requirement of the codes: checks, rules, fields, lines on paper and pages, or what people must do.

The requirements are data (rulebook/requirements.csv); what meets them is written by hand in coverage_table.py, and held
against the program by its tests. Where a requirement names a number, the rule book in force is compared with it: a
centre that overrides a rule sees at once which requirement it leaves.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Literal, get_args

from tripplan.documents.words import rule_amount
from tripplan.rulebook import RuleBook, baseline

State = Literal["met", "partly", "own_task", "not_for_shore"]
STATES: tuple[State, ...] = get_args(State)
STATE_WORDS: Mapping[State, str] = MappingProxyType(
    {
        "met": "met",
        "partly": "partly met",
        "own_task": "people's own task",
        "not_for_shore": "not for shore dives",
    }
)
STATE_MARKS: Mapping[State, str] = MappingProxyType({"met": "●", "partly": "◐", "own_task": "○", "not_for_shore": "–"})
Sureness = Literal["verified", "second hand", "common practice", "from memory"]

# Every kind of paper or page, with the files of the project in which its words stand.
SHEETS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "sheet of the day": (
            "templates/sheets/day.typ", "tripplan/documents/day_sheet.py", "tripplan/documents/picture.py",
            "tripplan/planning/briefing.py", "tripplan/planning/packing.py", "tripplan/documents/words.py",
        ),
        "emergency sheet": (
            "templates/sheets/action.typ", "tripplan/documents/sheet_words.py", "tripplan/emergency/scenarios.py",
            "tripplan/emergency/call_script.py",
        ),
        "briefing sheet": ("templates/sheets/briefing.typ", "tripplan/documents/briefing_sheet.py"),
        "page of the day on the beach": (
            "templates/pages/_live.html", "templates/pages/live.html", "tripplan/planning/live.py",
            "tripplan/web/live.py",
        ),
        "record of the day": ("templates/pages/record.html", "tripplan/documents/dive_record.py"),
        "record sheet": ("templates/sheets/record.typ", "tripplan/documents/record_sheet.py"),
    }
)  # fmt: skip


@dataclass(frozen=True)
class Requirement:
    """One thing that a code asks for."""

    id: str  # "PEO-01"
    area: str
    words: str
    value: str  # as the code has it, "" where it has none
    unit: str
    source: str  # the code
    provenance: str  # as collected: "verified:" and the place where it was read, "common practice", "from_memory"
    note: str

    @property
    def sureness(self) -> Sureness:
        """How well it is known: read in the code, read second hand, common practice, or from memory."""
        if self.provenance.startswith("verified:"):
            return "second hand" if "secondary" in self.provenance else "verified"
        return "from memory" if self.provenance == "from_memory" else "common practice"

    @property
    def read_in(self) -> str:
        """Where it was read; empty where it was read nowhere."""
        return self.provenance.removeprefix("verified:") if self.provenance.startswith("verified:") else ""


@dataclass(frozen=True)
class Bound:
    """A number that a requirement names, held against a rule of ours."""

    rule: str  # its key
    wanted: Literal["at most", "at least"]
    value: float  # in the rule's unit

    def kept_by(self, rules: RuleBook) -> bool:
        """Whether the rule book in force is as strict as the requirement, or stricter."""
        ours = rules.value(self.rule)
        return ours <= self.value if self.wanted == "at most" else ours >= self.value


@dataclass(frozen=True)
class Coverage:
    """What meets one requirement.

    In ``how``, ``missing`` and ``task``, a key of the rule book in braces stands for its amount in force.
    """

    id: str
    state: State  # with every bound kept
    how: str = ""  # what the program does about it
    missing: str = ""  # of "partly": what it does not do, or where the number is another
    task: str = ""  # what people must do themselves, and why the program cannot; of "not_for_shore": why
    checks: tuple[str, ...] = ()  # Check.rule
    closures: tuple[str, ...] = ()  # Closure.rule: minutes of the day that it closes
    rules: tuple[str, ...] = ()  # keys of the rule book
    fields: tuple[str, ...] = ()  # of records: "Person.medical"
    lines: tuple[str, ...] = ()  # "sheet of the day: Pairs", a key of SHEETS and words that stand on it
    pages: tuple[str, ...] = ()  # endpoints of the pages
    bounds: tuple[Bound, ...] = ()


@dataclass(frozen=True)
class Row:
    """A requirement and what meets it under a rule book."""

    requirement: Requirement
    coverage: Coverage
    state: State
    how: str
    missing: tuple[str, ...]  # sentences
    task: str
    rules: tuple[str, ...]  # every rule that has to do with it, those of its bounds too


@cache
def requirements() -> tuple[Requirement, ...]:
    """Return every requirement in the order of the catalogue."""
    text = files("tripplan.rulebook").joinpath("requirements.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return tuple(
        Requirement(
            row["id"], row["area"], row["requirement"], row["value"], row["unit"], row["source"], row["provenance"],
            row["note"],
        )
        for row in csv.DictReader(lines)
    )  # fmt: skip


def coverage_rows(rules: RuleBook | None = None) -> tuple[Row, ...]:
    """Return every requirement with what meets it, in the order of the catalogue.

    rules -- the book in force; without it the baseline.  Raises KeyError for a requirement without an entry, a fault of
    the program.
    """
    from tripplan.documents.coverage_table import TABLE

    book = baseline() if rules is None else rules
    return tuple(_row(each, TABLE[each.id], book) for each in requirements())


def counts(rows: tuple[Row, ...]) -> dict[State, int]:
    """Return how many requirements are in each state."""
    return {state: sum(row.state == state for row in rows) for state in STATES}


def _row(requirement: Requirement, coverage: Coverage, rules: RuleBook) -> Row:
    broken = [bound for bound in coverage.bounds if not bound.kept_by(rules)]
    missing = [_filled(coverage.missing, rules)] if coverage.missing else []
    missing += [_bound_words(bound, rules) for bound in broken]
    return Row(
        requirement=requirement,
        coverage=coverage,
        state="partly" if broken and coverage.state == "met" else coverage.state,
        how=_filled(coverage.how, rules),
        missing=tuple(missing),
        task=_filled(coverage.task, rules),
        rules=tuple(dict.fromkeys((*coverage.rules, *(bound.rule for bound in coverage.bounds)))),
    )


def _bound_words(bound: Bound, rules: RuleBook) -> str:
    rule = rules[bound.rule]
    asked, ours = rule_amount(bound.value, rule.unit), rule_amount(rule.value, rule.unit)
    return f"It asks for {bound.wanted} {asked}; the rule book has {ours} ({rule.title.lower()})."


def _filled(words: str, rules: RuleBook) -> str:
    """Return words with the amounts of the rules that they name."""
    filled = re.sub(r"\{([a-z0-9_.]+)\}", lambda found: _amount(found[1], rules), words)
    return filled[:1].upper() + filled[1:]


def _amount(key: str, rules: RuleBook) -> str:
    return rule_amount(rules[key].value, rules[key].unit)
