"""The centre's list of people: one file, every person judged, a card's name turned into its level."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any

from tripplan.errors import BadRecord, Fault
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.record import Location, TomlFile, judge, read_toml

EARLIEST_BIRTH = date(1900, 1, 1)  # nobody alive was born before; an earlier date is a slip of the pen


@dataclass(frozen=True)
class Roster:
    """People by name, in the order of the file."""

    people: Mapping[str, Person]


def read_roster(path: Path, cards: Mapping[str, Level]) -> Roster:
    """Read and judge a roster.

    cards -- the centre's own names of certificates, with their levels

    Raises BadRecord with every fault found: one bad person never hides the next.
    """
    file = read_toml(path)
    faults: list[Fault] = [
        file.fault((key,), f"{key} is not a known key; accepted here: people")
        for key in file.data
        if key not in ("people", "demonstration")
    ]
    entries = file.data.get("people", ())
    if not isinstance(entries, tuple) or not all(isinstance(entry, dict) for entry in entries):
        raise BadRecord((file.fault(("people",), "people must be tables, each headed [[people]]"),))
    if not entries:
        faults.append(Fault(str(path), 1, "there is nobody in the list; give at least one [[people]]"))
    people: dict[str, Person] = {}
    for index, entry in enumerate(entries):
        where: Location = ("people", index)
        try:
            person = judge(file, Person, _with_level(file, dict(entry), where, cards), where)
        except BadRecord as error:
            faults.extend(error.faults)
            continue
        faults.extend(_contradictions(file, person, where))
        if person.name in people:
            faults.append(file.fault((*where, "name"), f'"{person.name}" stands twice; names must differ'))
        people[person.name] = person
    if faults:
        raise BadRecord(tuple(faults))
    return Roster(MappingProxyType(people))


def _with_level(file: TomlFile, entry: dict[str, Any], where: Location, cards: Mapping[str, Level]) -> dict[str, Any]:
    """Give a person the level that the card stands for.  Raises BadRecord where card and level do not agree."""
    card, level = entry.get("card"), entry.get("level")
    who = f'"{entry["name"]}"' if isinstance(entry.get("name"), str) else f"person {where[-1]}"
    if level is not None:
        names = [known.value for known in Level]
        if level not in names:
            near = difflib.get_close_matches(str(level), names, n=1)
            hint = f'did you mean "{near[0]}"? ' if near else ""
            message = f'level of {who} is "{level}", which is not known; {hint}accepted: {", ".join(names)}'
            raise BadRecord((file.fault((*where, "level"), message),))
        entry["level"] = Level(level)
    if card is None:
        if level is None:
            raise BadRecord((file.fault(where, f"{who} has neither level nor card; give one of the two"),))
        return entry
    if card not in cards:
        known = ", ".join(f'"{name}"' for name in cards) or "none"
        near = difflib.get_close_matches(str(card), cards, n=1)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        message = f'card "{card}" of {who} is not in the centre\'s file; {hint}known: {known}'
        raise BadRecord((file.fault((*where, "card"), message),))
    if level is not None and entry["level"] is not cards[card]:
        message = f'{who} has level "{level}" but card "{card}" stands for "{cards[card].value}"; give one of the two'
        raise BadRecord((file.fault((*where, "card"), message),))
    entry["level"] = cards[card]
    return entry


def _contradictions(file: TomlFile, person: Person, where: Location) -> list[Fault]:
    """Return what cannot be true together, whatever today's date is."""
    faults = []
    if person.born < EARLIEST_BIRTH:
        faults.append(file.fault((*where, "born"), f"{person.name} was born {person.born}; accepted: from 1900 on"))
    for key in ("last_dive", "medical", "oxygen_provider_until", "first_aid_until"):
        when: date | None = getattr(person, key)
        if when is not None and when <= person.born:
            faults.append(file.fault((*where, key), f"{key} {when} of {person.name} is not after birth, {person.born}"))
    if person.medical_clear and person.medical is None:
        message = (
            f"medical_clear of {person.name} is true but there is no medical date; give the date of the declaration"
        )
        faults.append(file.fault((*where, "medical_clear"), message))
    return faults
