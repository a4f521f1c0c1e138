"""Who does what when it happens: seven roles, filled from the day's crew, each person in one before anybody in two."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from tripplan.check import Check, Outcome

RoleKey = Literal["in_charge", "rescue", "oxygen", "caller", "recorder", "meeter", "crowd"]
ROLES: tuple[RoleKey, ...] = get_args(RoleKey)
ROLE_NAMES: Mapping[RoleKey, str] = {
    "in_charge": "in charge",
    "rescue": "rescue from the water",
    "oxygen": "first aid and oxygen",
    "caller": "caller",
    "recorder": "recorder",
    "meeter": "meets the ambulance",
    "crowd": "keeps others away",
}
CANNOT_WAIT: tuple[RoleKey, ...] = ("in_charge", "oxygen", "caller")  # one person cannot do two of these at once


@dataclass(frozen=True)
class RoleLine:
    """One role and who has it; nobody: to be written in by hand."""

    key: RoleKey
    people: tuple[str, ...]
    diving: tuple[str, ...] = ()  # those of them who are in the water on some dive of the day


def roles_of(
    named: Mapping[RoleKey, Sequence[str]],
    ashore: Sequence[str],
    rescuers: Collection[str],
    divers: Collection[str],
) -> tuple[RoleLine, ...]:
    """Fill the roles: who is named stays named; the rest goes to crew who have none yet and stay out of the water.

    named -- by role, from the request;  ashore -- the crew in the order in which they are asked
    rescuers -- those of the crew who are fit for a rescue in the water, by level;  divers -- everybody who dives today

    A role for which nobody is left stays empty: a name is never put in two roles that cannot wait.
    """
    taken = {name for names in named.values() for name in names}
    free = [name for name in dict.fromkeys(ashore) if name not in taken and name not in divers]
    lines = []
    for key in ROLES:
        people = tuple(dict.fromkeys(named.get(key, ())))
        if not people:
            fit = [name for name in free if key != "rescue" or name in rescuers]
            people = tuple(fit[:1])
            free = [name for name in free if name not in people]
        lines.append(RoleLine(key, people, tuple(name for name in people if name in divers)))
    return tuple(lines)


def check_roles(lines: Sequence[RoleLine]) -> Check:
    """Judge whether the roles that cannot wait are with different people who stay out of the water."""
    by_key = {line.key: line for line in lines}
    faults = []
    empty = [ROLE_NAMES[line.key] for line in lines if not line.people and line.key != "crowd"]
    if empty:
        faults.append(f"Nobody is named for: {', '.join(empty)}.")
    for line in lines:
        if line.people and set(line.people) == set(line.diving):
            names = ", ".join(line.people)
            faults.append(f"{ROLE_NAMES[line.key].capitalize()}: {names} is in the water on a dive of the day.")
    pressing = [by_key[key] for key in CANNOT_WAIT if key in by_key and by_key[key].people]
    for number, line in enumerate(pressing):
        for other in pressing[number + 1 :]:
            if len({*line.people, *other.people}) < 2:
                faults.append(
                    f"{line.people[0]} is {ROLE_NAMES[line.key]} and {ROLE_NAMES[other.key]}: "
                    "one person cannot do both at once."
                )
    return Check(
        rule="emergency-roles",
        outcome=Outcome.CAUTION if faults else Outcome.OK,
        sentence=" ".join(faults) + " Name them before the first dive."
        if faults
        else "Each role of the emergency plan has somebody ashore.",
        source="DIVER_SAFETY_PLAN",
        found=sum(1 for line in lines if line.people),
        limit=len(ROLES) - 1,
        unit="roles",
    )
