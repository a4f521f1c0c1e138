"""Kinds of dive: what each needs of the place, of the leader and of the divers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from tripplan.people.level import Level
from tripplan.rulebook import RuleBook

KindName = Literal[
    "first_experience",
    "level_1_course",
    "level_2_course",
    "further_training",
    "guided",
    "refresher",
    "night",
    "autonomous",
]


@dataclass(frozen=True)
class Kind:
    """One kind of dive. Its numbers are rules; here stands only what the kind is."""

    name: KindName
    words: str
    suits: tuple[str, ...]  # a place must suit one of these, best first
    training: bool  # whether the stricter light, sea and stream limits hold
    led: bool  # whether there must be a leader
    teaches: bool  # whether the course's own depth stands in for the student's level
    within_reach: bool = False  # whether a leader alone must be able to reach every diver at once

    def leader_level(self, rules: RuleBook) -> Level | None:
        """Return the lowest level of its leader; None where the kind has no leader."""
        return _level(rules, f"leader.{self.name}_level") if self.led else None

    def diver_level(self, rules: RuleBook) -> Level:
        """Return the lowest level of a diver on it."""
        return _level(rules, f"diver.{self.name}_level")


def _level(rules: RuleBook, key: str) -> Level:
    levels = list(Level)
    return levels[min(round(rules.value(key)), len(levels) - 1)]


def assistant_level(rules: RuleBook) -> Level:
    """Return the lowest level of an assistant who counts in a ratio."""
    return _level(rules, "leader.assistant_level")


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("first_experience", "first experience", ("confined_skills", "first_open_water"), True, True, True, True),
        Kind("level_1_course", "level 1 course", ("first_open_water", "confined_skills"), True, True, True),
        Kind("level_2_course", "level 2 course", ("first_open_water", "confined_skills"), True, True, True),
        Kind("further_training", "further training", ("further_training",), True, True, False),
        Kind("guided", "guided dive", ("guided",), False, True, False, True),
        Kind("refresher", "refresher", ("first_open_water", "confined_skills"), True, True, False),
        Kind("night", "night dive", ("night",), False, True, False),
        Kind("autonomous", "dive without a leader", ("guided", "further_training"), False, False, False),
    )
}
