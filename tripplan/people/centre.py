"""The centre's own file: its name, its people, its card names and the rules it overrides."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pydantic import Field

from tripplan.errors import BadRecord, Fault
from tripplan.people.level import Level
from tripplan.people.roster import Roster, read_roster
from tripplan.record import Record, judge, read_toml
from tripplan.rulebook import RuleBook, baseline


@dataclass(frozen=True)
class Centre:
    """A dive training centre: who it is, who belongs to it, which numbers it uses."""

    name: str
    demonstration: bool
    address: str
    phone: str
    code_of_practice: str
    cards: dict[str, Level]
    roster: Roster
    rules: RuleBook


class _CentreFile(Record):
    name: str = Field(min_length=1, max_length=80, description="what the centre is called")
    demonstration: bool = Field(default=False, description="true for an invented centre: every sheet is marked")
    address: str = ""
    phone: str = ""
    code_of_practice: str = Field(default="", description="the code or regulation that the centre works by")
    people: str = Field(min_length=1, description='the roster file beside this one, like "people.toml"')
    rules: str | None = Field(default=None, description="the file of overridden rules beside this one")
    cards: dict[str, str] = Field(default_factory=dict, description="card names of the centre's own, each with a level")


def read_centre(path: Path) -> Centre:
    """Read a centre's file with its roster and rules.  Raises BadRecord with every fault of the three files."""
    file = read_toml(path)
    found = judge(file, _CentreFile)
    faults: list[Fault] = []
    levels = [level.value for level in Level]
    cards: dict[str, Level] = {}
    for card, level in found.cards.items():
        if level in levels:
            cards[card] = Level(level)
        else:
            message = f'card "{card}" stands for "{level}", which is not a level; accepted: {", ".join(levels)}'
            faults.append(file.fault(("cards", card), message))
    roster = Roster({})
    rules = baseline()
    try:
        roster = read_roster(_beside(path, found.people), cards)
    except BadRecord as error:
        faults.extend(error.faults)
    if found.rules:
        try:
            rules = baseline().with_overrides(_beside(path, found.rules))
        except BadRecord as error:
            faults.extend(error.faults)
    if faults:
        raise BadRecord(tuple(faults))
    return Centre(
        name=found.name,
        demonstration=found.demonstration,
        address=found.address,
        phone=found.phone,
        code_of_practice=found.code_of_practice,
        cards=cards,
        roster=roster,
        rules=rules,
    )


def _beside(path: Path, name: str) -> Path:
    """Return a file in the same folder; a name that leads elsewhere is refused."""
    if Path(name).name != name:
        raise BadRecord((Fault(str(path), 1, f'"{name}" must be a file beside this one, without folders in its name'),))
    return path.parent / name
