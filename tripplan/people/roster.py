"""The centre's list of people: one file, every person judged, a card's name turned into its level."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any

from tripplan.errors import BadRecord, Fault
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.people.skills import as_compared
from tripplan.record import Location, Misfit, TomlFile, judge, read_toml

EARLIEST_BIRTH = date(1900, 1, 1)  # nobody alive was born before; an earlier date is a slip of the pen


@dataclass(frozen=True)
class Roster:
    """People by name, in the order of the file."""

    people: Mapping[str, Person]

    @property
    def languages(self) -> dict[str, str]:
        """The language of everybody whose language is not the centre's, by name."""
        return {name: person.language for name, person in self.people.items() if person.language}


class _Entry(Person):
    """A person as written in the file: what cannot be true together, whatever today's date is, is refused."""

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        born: date | None = parts.get("born")
        if born is not None and born < EARLIEST_BIRTH:
            yield ("born",), f"is {born}; it must be from {EARLIEST_BIRTH} on"
            born = None  # compared with a slip of the pen, any other date looks right
        for key in ("last_dive", "medical", "oxygen_provider_until", "first_aid_until"):
            when: date | None = parts.get(key)
            if born is not None and when is not None and when <= born:
                yield (key,), f"is {when}; it must be after birth, {born}"
        if parts.get("medical_clear") and "medical" in parts and parts["medical"] is None:
            yield ("medical_clear",), "is true but there is no medical; give the date of the declaration"


def read_roster(path: Path, cards: Mapping[str, Level | None], *, nobody_yet: bool = False) -> Roster:
    """Read and judge a roster.

    cards -- the centre's own names of certificates, with their levels; None where the level is at fault in the centre's
             own file, so that no person with that card is blamed for it
    nobody_yet -- whether the list may still be empty, as that of a folder just begun

    Raises BadRecord with every fault found: one bad person never hides the next, nor one bad value of a person another.
    """
    file = read_toml(path)
    faults = [
        file.fault((key,), f"{_one_line(key)} is not a known key; accepted here: people")
        for key in file.data
        if key != "people"
    ]
    entries = file.data.get("people", ())
    if not isinstance(entries, tuple) or not all(isinstance(entry, dict) for entry in entries):
        faults.append(file.fault(("people",), "people must be tables, each headed [[people]]"))
        entries = ()
    elif not entries and not nobody_yet:
        faults.append(Fault(str(path), 1, "there is nobody in the list; give at least one [[people]]"))
    people: dict[str, Person] = {}
    first_at: dict[str, Location] = {}  # by the name as it is compared: where it stood first
    for index, entry in enumerate(entries):
        where: Location = ("people", index)
        faults.extend(_doubled(file, entry, where, first_at))
        leveled, unfit = _with_level(file, entry, where, cards)
        faults.extend(unfit)
        try:
            person = Person.model_validate(judge(file, _Entry, leveled, where).model_dump())
        except BadRecord as error:
            faults.extend(error.faults)
            continue
        people[person.name] = person
    if faults:
        raise BadRecord(tuple(faults))
    return Roster(MappingProxyType(people))


def _doubled(file: TomlFile, entry: Mapping[str, Any], where: Location, first_at: dict[str, Location]) -> list[Fault]:
    """Return a fault where a name was there before: capitals, spaces and accents as typed tell no two apart."""
    name, at = entry.get("name"), (*where, "name")
    if not isinstance(name, str) or not name.strip():
        return []  # the schema says so
    first = first_at.setdefault(as_compared(name), at)
    if first == at:
        return []
    return [file.fault(at, f'"{_one_line(name)}" stands twice, first on line {file.line(first)}; names must differ')]


def _with_level(
    file: TomlFile, entry: Mapping[str, Any], where: Location, cards: Mapping[str, Level | None]
) -> tuple[dict[str, Any], list[Fault]]:
    """Return a person's entry with the level that the card stands for, and what is wrong with card and level.

    Where the level is at fault it gets a stand-in, so that the rest of the person is judged too; the entry is then
    never used, because a fault refuses the whole file.
    """
    leveled = dict(entry)
    card, level = entry.get("card"), entry.get("level")
    name = entry.get("name")
    who = f'"{_one_line(name)}"' if isinstance(name, str) else f"person {int(where[-1]) + 1}"

    def refused(at: Location, message: str) -> tuple[dict[str, Any], list[Fault]]:
        leveled.setdefault("level", Level.FIRST_EXPERIENCE)
        return leveled, [file.fault(at, message)]

    if card is None:
        if level is None:
            return refused(where, f"{who} has neither level nor card; give one of the two")
        return leveled, []  # the schema judges the level
    if not isinstance(card, str):
        leveled.setdefault("level", Level.FIRST_EXPERIENCE)
        return leveled, []  # the schema judges the card
    card = card.strip()
    if card not in cards:
        near = difflib.get_close_matches(card, cards, n=1)
        hint = f'did you mean "{_one_line(near[0])}"? ' if near else ""
        known = ", ".join(f'"{_one_line(each)}"' for each in cards) or "none"
        said = f'card "{_one_line(card)}" of {who} is not in the centre\'s file; {hint}known: {known}'
        return refused((*where, "card"), said)
    meant = cards[card]
    if meant is None:
        leveled.setdefault("level", Level.FIRST_EXPERIENCE)
        return leveled, []  # told at the centre's file
    stated = level.strip() if isinstance(level, str) else level
    if stated in list(Level) and stated != meant:
        said = f'{who} has level "{stated}" but card "{_one_line(card)}" stands for "{meant}"; give one of the two'
        return refused((*where, "card"), said)
    leveled.setdefault("level", meant)
    return leveled, []


def _one_line(text: str) -> str:
    """Return text safe for one line of a terminal: what does not print is shown as its escape."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
