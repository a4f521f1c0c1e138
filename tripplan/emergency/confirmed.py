"""What somebody found when they tried a number on the morning of a dive; the latest word on a number counts.

A confirmation is a record of its own: the site file keeps what it says, and both are shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, TypeVar, get_args
from zoneinfo import ZoneInfo

from tripplan.catalogue.site import Care, Contact, Site

Line = TypeVar("Line", Contact, Care)
Found = Literal["right", "no_answer", "wrong", "closed"]
FOUND_WORDS: Mapping[Found, str] = {
    "right": "answered, and is right",
    "no_answer": "did not answer",
    "wrong": "is a wrong number",
    "closed": "takes no casualties today",
}
LONGEST_WORDS = 200  # of a name, as far as it is written down
FOUND: tuple[Found, ...] = get_args(Found)


def digits_of(number: str) -> str:
    """Return a number as it is compared: digits only, and + for a country code."""
    return ("+" if number.strip().startswith("+") else "") + "".join(c for c in number if c.isdigit())


def key_of(number: str, name: str) -> tuple[str, str]:
    """Return what tells two lines apart: the number as dialled, and whose it is; capitals and spaces do not count."""
    return digits_of(number), " ".join(name.split())[:LONGEST_WORDS].casefold()


@dataclass(frozen=True, order=True)
class Confirmation:
    """One try of one number."""

    at: datetime  # aware
    number: str  # as printed in the site file
    name: str  # whose number it is: the same telephone may stand for two places
    by: str
    found: Found
    note: str = ""

    @property
    def key(self) -> tuple[str, str]:
        """What tells two lines apart: the number as dialled, and the name."""
        return key_of(self.number, self.name)


def latest_on(
    confirmations: Iterable[Confirmation], day: date, timezone: str
) -> Mapping[tuple[str, str], Confirmation]:
    """Return the last confirmation of each number made on a day, by the clock of a time zone."""
    zone = ZoneInfo(timezone)
    return {one.key: one for one in _in_order(confirmations) if one.at.astimezone(zone).date() == day}


def confirmed_today(line: Contact | Care, today: Mapping[tuple[str, str], Confirmation]) -> Confirmation | None:
    """Return what was found about a line of a site today; None where nobody tried."""
    return today.get(key_of(line.number, line.name))


def _in_order(confirmations: Iterable[Confirmation]) -> list[Confirmation]:
    """Return tries by time; of two in the same second, as they were written down."""
    return sorted(confirmations, key=lambda one: one.at)


def as_confirmed(site: Site, confirmations: Iterable[Confirmation], day: date) -> Site:
    """Return the site with the dates of its checks moved on by what was found when its numbers were tried.

    The last word counts: a number that was found right is checked that day, one that failed is checked no more until
    somebody finds it right. Tries after the day are left out, so that a plan can be made again as it was.
    """
    zone = ZoneInfo(site.timezone)
    last = {one.key: one for one in _in_order(confirmations) if one.at.astimezone(zone).date() <= day}

    def renewed(line: Line) -> Line:
        found = confirmed_today(line, last)
        if found is None:
            return line
        on = found.at.astimezone(zone).date()
        if line.checked is not None and (line.checked > on or (line.checked == on and found.found == "right")):
            return line
        if found.found in ("no_answer", "wrong"):
            tried = f"Tried {on.day} {on:%B} by {found.by}: {FOUND_WORDS[found.found]}."
            return line.model_copy(
                update={"checked": None, "checked_by": None, "notes": " ".join((tried, line.notes)).strip()}
            )
        return line.model_copy(update={"checked": on, "checked_by": found.by})

    return site.model_copy(
        update={
            "contacts": tuple(renewed(line) for line in site.contacts),
            "hospitals": tuple(renewed(line) for line in site.hospitals),
            "chambers": tuple(renewed(line) for line in site.chambers),
        }
    )
