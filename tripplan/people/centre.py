"""The centre's own file: its name, its people, its card names and the rules it overrides."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any

from pydantic import Field

from tripplan.environment.position import Position
from tripplan.environment.where import CountryCode, Place_, Timezone
from tripplan.errors import BadRecord, Fault
from tripplan.people.level import Level
from tripplan.people.roster import Roster, read_roster
from tripplan.record import Misfit, PhoneNumber, Record, TomlFile, judge, read_toml
from tripplan.rulebook import RuleBook, baseline


@dataclass(frozen=True)
class Centre:
    """A dive training centre: who it is, who belongs to it, which numbers it uses."""

    name: str
    demonstration: bool
    address: str
    phone: str
    code_of_practice: str
    cards: Mapping[str, Level]
    roster: Roster
    rules: RuleBook
    # What the form for a new site begins with, always shown there; None: not known.
    country: str | None = None
    timezone: str | None = None
    position: Position | None = None
    emergency_number: str | None = None
    # When the centre last went through the rule book, and who; None: nobody says so.
    rules_reviewed: date | None = None
    rules_reviewed_by: str = ""


class CentreFile(Record):
    """What a centre's own file may say."""

    name: str = Field(min_length=1, max_length=80, description="what the centre is called")
    demonstration: bool = Field(default=False, description="true for an invented centre: every sheet is marked")
    address: str = ""
    phone: str = ""
    code_of_practice: str = Field(default="", description="the code or regulation that the centre works by")
    people: str = Field(min_length=1, description='the roster file beside this one, like "people.toml"')
    rules: str | None = Field(default=None, min_length=1, description="the file of overridden rules beside this one")
    cards: dict[str, Level] = Field(default_factory=dict, description="card names of the centre's own, with levels")
    country: CountryCode | None = Field(default=None, description="the country's ISO 3166 code")
    timezone: Timezone | None = Field(default=None, description="IANA name, like Atlantic/Azores")
    position: Place_ | None = Field(default=None, description="where the centre is")
    emergency_number: PhoneNumber | None = Field(default=None, description="the emergency number there, as dialled")
    rules_reviewed: date | None = Field(default=None, description="day on which the rule book was gone through")
    rules_reviewed_by: str = Field(default="", description="who went through it")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a name that leads out of the centre's folder, and a review without its day or its name."""
        if {"rules_reviewed", "rules_reviewed_by"} <= parts.keys():
            day, who = parts["rules_reviewed"], parts["rules_reviewed_by"]
            if (day is None) != (not who):
                given, wanted = (
                    ("rules_reviewed_by", "rules_reviewed") if day is None else ("rules_reviewed", "rules_reviewed_by")
                )
                yield (given,), f"is given without {wanted}: when the rules were gone through, and by whom, go together"
        for key in ("people", "rules"):
            if (name := parts.get(key)) and not _is_plain(name):
                yield (key,), f'is "{name}"; it must be a file beside this one, without folders in its name'


def read_centre(path: Path, *, nobody_yet: bool = False) -> Centre:
    """Read a centre's file with its roster and rules.  Raises BadRecord with every fault of the three files.

    nobody_yet -- whether the list of people may still be empty
    """
    file = read_toml(path)
    faults: list[Fault] = []
    found: CentreFile | None = None
    roster, rules = Roster(MappingProxyType({})), baseline()
    try:
        found = judge(file, CentreFile)
    except BadRecord as error:
        faults.extend(error.faults)
    # The other two files are read even where this one is at fault: everything is told at once.
    if people := _beside(file, "people"):
        try:
            roster = read_roster(people, _cards(file), nobody_yet=nobody_yet)
        except BadRecord as error:
            faults.extend(error.faults)
    if overrides := _beside(file, "rules"):
        try:
            rules = baseline().with_overrides(overrides)
        except BadRecord as error:
            faults.extend(error.faults)
    if faults or found is None:
        raise BadRecord(tuple(faults))
    return Centre(
        name=found.name,
        demonstration=found.demonstration,
        address=found.address,
        phone=found.phone,
        code_of_practice=found.code_of_practice,
        cards=MappingProxyType(found.cards),
        roster=roster,
        rules=rules,
        country=found.country,
        timezone=found.timezone,
        position=found.position,
        emergency_number=found.emergency_number,
        rules_reviewed=found.rules_reviewed,
        rules_reviewed_by=found.rules_reviewed_by,
    )


def _cards(file: TomlFile) -> dict[str, Level | None]:
    """Return the card names of a centre's file with their levels, None for a level that is not known."""
    given = file.data.get("cards")
    levels = {level.value: level for level in Level}
    if not isinstance(given, dict):
        return {}
    return {
        card.strip(): levels.get(level.strip()) if isinstance(level, str) else None for card, level in given.items()
    }


def _is_plain(name: str) -> bool:
    """Whether a name is that of a file in the same folder."""
    return name not in (".", "..") and "\\" not in name and Path(name).name == name


def _beside(file: TomlFile, key: str) -> Path | None:
    """Return the file that a key names in the same folder; None where there is none to read."""
    name = file.data.get(key)
    name = name.strip() if isinstance(name, str) else ""
    return file.path.parent / name if name and _is_plain(name) else None
