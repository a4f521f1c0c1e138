"""Everything a plan is made from besides the request: values only, so that the same plan can be made again later."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tripplan.catalogue.site import Site
from tripplan.catalogue.station import Station
from tripplan.emergency.confirmed import Confirmation
from tripplan.emergency.readiness import Readiness
from tripplan.environment.conditions import Conditions
from tripplan.errors import TripplanError
from tripplan.people.group import KINDS
from tripplan.people.kit import Kit
from tripplan.people.person import Person
from tripplan.people.skills import Skills
from tripplan.planning.progress import SkillTick
from tripplan.planning.request import CREW_LISTS, Request
from tripplan.record import Location
from tripplan.rulebook import RuleBook


@dataclass(frozen=True)
class World:
    """Sites, tide stations and people by their keys, and the rule book in force."""

    sites: Mapping[str, Site]
    stations: Mapping[str, Station]
    people: Mapping[str, Person]
    rules: RuleBook
    centre_name: str = ""
    code_of_practice: str = ""
    demonstration: bool = False
    conditions: Mapping[str, Conditions] = field(default_factory=dict)  # by site: forecast and observations
    readiness: Readiness = field(default_factory=Readiness)  # oxygen, kits and drills; empty: nothing is there
    confirmed: tuple[Confirmation, ...] = ()  # what was found when numbers were tried
    kit: Kit | None = None  # what the store holds to dive with; None: nobody wrote it down
    skills: Skills = field(default_factory=Skills)  # what each course asks for
    ticks: Mapping[str, tuple[SkillTick, ...]] = field(default_factory=dict)  # by kind of course, as written


class CannotPlan(TripplanError, ValueError):
    """A request names something that does not exist; ``faults`` holds where in the request, and a sentence."""

    def __init__(self, faults: tuple[tuple[Location, str], ...]) -> None:
        self.faults = faults
        super().__init__("\n".join(sentence for _, sentence in faults))


def request_faults(request: Request, world: World) -> tuple[tuple[Location, str], ...]:
    """Return every name in a request that the world does not know, with its place in the request."""
    faults: list[tuple[Location, str]] = []
    site = world.sites.get(request.site)
    if site is None:
        faults.append((("site",), f'site "{request.site}" is not in the catalogue; known: {_list(world.sites)}'))
    people = world.people

    def known(name: str, where: Location) -> None:
        if name not in people:
            faults.append((where, f'"{name}" is not in the list of people; known: {_list(people)}'))

    for role in CREW_LISTS:
        for name in getattr(request.crew, role):
            known(name, ("crew", role))
    if request.crew.dive_director:
        known(request.crew.dive_director, ("crew", "dive_director"))
    if isinstance(request.recent_dives, tuple):
        for index, dive in enumerate(request.recent_dives):
            known(dive.person, ("recent_dives", index, "person"))
    for index, group in enumerate(request.groups):
        where: Location = ("groups", index)
        for name in group.divers:
            known(name, (*where, "divers"))
        for name in group.assistants:
            known(name, (*where, "assistants"))
        if group.leader:
            known(group.leader, (*where, "leader"))
        elif group.assistants and not KINDS[group.kind].led:
            faults.append(((*where, "assistants"), f'"{group.name}" has assistants but no leader'))
        if site is None:
            continue
        if group.place and site.place(group.place) is None:
            names = [place.name for place in site.places]
            faults.append(((*where, "place"), f'place "{group.place}" is not at {site.name}; known: {_list(names)}'))
        for key in ("going_in_by", "coming_out_by"):
            name = getattr(group, key)
            if name and site.entry(name) is None:
                names = [entry.name for entry in site.entries]
                faults.append(((*where, key), f'"{name}" is not a way in or out at {site.name}; known: {_list(names)}'))
    return tuple(faults)


def _list(names: object, most: int = 12) -> str:
    all_names = list(names)  # type: ignore[call-overload]
    shown = ", ".join(all_names[:most])
    return shown + (f" and {len(all_names) - most} more" if len(all_names) > most else "") or "none"
