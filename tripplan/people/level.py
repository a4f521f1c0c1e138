"""Certification levels by the ISO standards, and how a centre's own card names map onto them."""

from __future__ import annotations

from enum import StrEnum


class Level(StrEnum):
    """Levels of ISO 24801 (divers) and ISO 24802 (instructors), lowest first."""

    FIRST_EXPERIENCE = "first_experience"  # no certificate
    LEVEL_1 = "level_1"  # ISO 24801-1, supervised diver
    LEVEL_2 = "level_2"  # ISO 24801-2, autonomous diver
    LEVEL_3 = "level_3"  # ISO 24801-3, dive leader
    INSTRUCTOR_1 = "instructor_1"  # ISO 24802-1
    INSTRUCTOR_2 = "instructor_2"  # ISO 24802-2

    @property
    def rank(self) -> int:
        """0 for no certificate, rising to 5."""
        return _RANKS[self]

    @property
    def words(self) -> str:
        """The level as a reader knows it."""
        return _WORDS[self]

    @property
    def may_lead(self) -> bool:
        """Whether certified divers may be led (ISO 24801-3 and above)."""
        return self.rank >= Level.LEVEL_3.rank

    @property
    def is_instructor(self) -> bool:
        """Whether the level is one of ISO 24802."""
        return self.rank >= Level.INSTRUCTOR_1.rank


_RANKS = {level: rank for rank, level in enumerate(Level)}
_WORDS = {
    Level.FIRST_EXPERIENCE: "no certificate",
    Level.LEVEL_1: "level 1 (supervised diver)",
    Level.LEVEL_2: "level 2 (autonomous diver)",
    Level.LEVEL_3: "level 3 (dive leader)",
    Level.INSTRUCTOR_1: "instructor level 1",
    Level.INSTRUCTOR_2: "instructor level 2",
}
