"""The emergency action sheet of one site on one day, as values: what to do, whom to call, where to look.

The faces (paper, page, pocket file) word these values in a language; nothing here is a sentence that they must print.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from tripplan import __version__
from tripplan.catalogue.site import Care, Contact, Site
from tripplan.check import Check, Outcome
from tripplan.emergency.call_script import CallFacts
from tripplan.emergency.confirmed import Confirmation, confirmed_today
from tripplan.emergency.contacts import ROLE_WORDS, freshness
from tripplan.emergency.drills import last_drill
from tripplan.emergency.evacuation import CareWay
from tripplan.emergency.numbers import EmergencyNumber, PhoneWords, emergency_numbers, phone_words
from tripplan.emergency.oxygen_supply import OxygenSupply
from tripplan.emergency.readiness import Drill, RescueKit, TellAfter
from tripplan.emergency.roles import ROLE_NAMES, RoleLine
from tripplan.emergency.search_area import SearchArea
from tripplan.environment.position import Position
from tripplan.planning.day import hours_of, plan_day
from tripplan.planning.drift import search_at
from tripplan.planning.help import Help, alternative_words, call_facts, extraction_points, help_at
from tripplan.planning.plan import DayPlan, DivePlan
from tripplan.planning.request import CREW_LISTS, Crew, Request
from tripplan.planning.world import World

# What a sheet should say and cannot: each gap is printed in words, in its place.
GAPS = (
    "no_director", "no_oxygen_giver", "no_caller", "no_rescuer", "no_recorder", "no_meeter", "no_crew", "no_dives",
    "no_gate_code", "no_vhf", "no_landline", "no_helicopter", "no_ambulance_time", "no_landmark", "no_beach_phone",
    "no_oxygen", "no_kit", "no_drill", "no_tell_after", "no_extraction", "no_alternative_exit", "no_country",
)  # fmt: skip


@dataclass(frozen=True)
class SheetContact:
    """One number in calling order, with how well it is known today."""

    order: int
    role: str  # a ContactRole
    name: str
    phone: PhoneWords
    hours: str
    notes: str
    checked: date | None
    checked_by: str | None
    fresh: bool  # checked recently enough
    today: Confirmation | None  # what was found when it was tried today

    @property
    def confirmed(self) -> bool:
        """Whether somebody found it right today."""
        return self.today is not None and self.today.found == "right"


@dataclass(frozen=True)
class SheetCare:
    """One hospital or chamber, with the way there."""

    care: CareWay
    phone: PhoneWords
    fresh: bool
    today: Confirmation | None

    @property
    def confirmed(self) -> bool:
        """Whether somebody found it right today."""
        return self.today is not None and self.today.found == "right"


@dataclass(frozen=True)
class SheetDive:
    """One timed dive, as far as the worst moment needs it."""

    group: str
    number: int
    leader: str | None
    people: tuple[str, ...]  # everybody on it, by name
    place: str
    entry: datetime
    descent: datetime
    exit_by: datetime  # overdue from then on
    depth_m: float | None
    oxygen_percents: tuple[float, ...]  # of the gases breathed on it, least first
    search: SearchArea  # for somebody last seen at the way in when they went under


@dataclass(frozen=True)
class ActionSheet:
    """Everything on the sheet of one site and day."""

    revision: str  # short hash of what a reader relies on; who confirmed a number today is not part of it
    site: str  # slug
    site_name: str
    demonstration: bool
    date: date
    timezone: str
    country: str | None
    centre: str
    code_of_practice: str
    position: Position
    road: str
    rendezvous: str
    rendezvous_position: Position
    rendezvous_notes: str
    ambulance_min: float | None
    helicopter: str
    gate_code: str | None
    access_notes: str
    phone_signal: str
    vhf: str | None
    landline: str | None
    beach_phone: str | None
    extraction: tuple[str, ...]
    alternative_exit: str
    facts: CallFacts
    roles: tuple[RoleLine, ...]
    oxygen_givers: tuple[str, ...]  # everybody named for it, in order
    contacts: tuple[SheetContact, ...]
    care: tuple[SheetCare, ...]
    country_numbers: tuple[EmergencyNumber, ...]
    oxygen: OxygenSupply
    kits: tuple[RescueKit, ...]
    drill: Drill | None  # the last one
    drill_overdue: bool
    tell_after: tuple[TellAfter, ...]
    dives: tuple[SheetDive, ...]
    hazards: tuple[tuple[str, str], ...]
    plans: tuple[str, ...]  # revisions of the day plans that it was filled from
    checks: tuple[Check, ...]  # of the emergency part, most severe first
    gaps: tuple[str, ...]  # keys of GAPS
    shared_oxygen: tuple[tuple[str, str], ...] = ()  # a unit that is counted at another site too, and that site

    @property
    def unconfirmed(self) -> tuple[str, ...]:
        """Names of contacts and places that nobody found right today, in calling order."""
        lines: list[SheetContact | SheetCare] = [*self.contacts, *self.care]
        return tuple(
            dict.fromkeys(
                line.name if isinstance(line, SheetContact) else line.care.way.care.name
                for line in lines
                if not line.confirmed
            )
        )

    @property
    def cautions(self) -> tuple[Check, ...]:
        """What is not in order, stops first."""
        return tuple(check for check in self.checks if check.outcome is not Outcome.OK)


def action_sheet(slug: str, on: date, world: World, planned: Sequence[tuple[Request, DayPlan]] = ()) -> ActionSheet:
    """Return the sheet of a site on a day.

    planned -- the requests of that site and day with their plans; without any, roles and dives stay open on the sheet

    Raises KeyError for a site that the world does not hold.
    """
    site = world.sites[slug]
    crew = _crew_of([request for request, _ in planned])
    dives = [dive for _, plan in planned for dive in plan.dives]
    divers = {person.name for dive in dives for person in dive.people}
    held = help_at(site, on, crew, divers, hours_of(dives), world)
    in_water = _most_at_once(dives)
    sheet = ActionSheet(
        revision="",
        site=slug,
        site_name=site.name,
        demonstration=world.demonstration or site.demonstration,
        date=on,
        timezone=site.timezone,
        country=site.country,
        centre=world.centre_name,
        code_of_practice="; ".join(part for part in (world.code_of_practice, site.rules_here) if part),
        position=site.position,
        road=site.road,
        rendezvous=site.rendezvous.place,
        rendezvous_position=site.rendezvous.position,
        rendezvous_notes=site.rendezvous.notes,
        ambulance_min=site.rendezvous.ambulance_min,
        helicopter=site.rendezvous.helicopter,
        gate_code=site.access.gate_code,
        access_notes=site.access.notes,
        phone_signal=site.communications.phone_signal,
        vhf=site.communications.vhf,
        landline=site.communications.landline,
        beach_phone=crew.beach_phone,
        extraction=extraction_points(site),
        alternative_exit=alternative_words(site),
        facts=call_facts(site, crew, world.centre_name, in_water, _due_out(dives, site)),
        roles=held.roles,
        oxygen_givers=crew.oxygen_provider,
        contacts=tuple(_contact(n, line, held, on, world) for n, line in enumerate(held.site.contacts, start=1)),
        care=tuple(_care(way, held, on, world) for way in held.care),
        country_numbers=emergency_numbers(site.country) if site.country else (),
        oxygen=held.oxygen,
        kits=world.readiness.kits_at(slug),
        drill=last_drill(world.readiness, on),
        drill_overdue=any(c.rule == "drill-held" and c.outcome is not Outcome.OK for c in held.checks),
        tell_after=world.readiness.tell_after,
        dives=_dives(site, dives, world),
        hazards=tuple((hazard.what, hazard.control) for hazard in site.hazards),
        plans=tuple(plan.revision for _, plan in planned),
        checks=tuple(sorted(held.checks, key=lambda check: -check.outcome.severity)),
        gaps=(),
    )
    sheet = replace(sheet, gaps=_gaps(sheet, site, crew))
    return replace(sheet, revision=_hash(facts_of(sheet)))


@dataclass(frozen=True)
class DaySheet:
    """The sheet of one site with the plans that it was filled from."""

    sheet: ActionSheet
    plans: tuple[DayPlan, ...]


def sheets_of_day(on: date, slugs: Sequence[str], requests: Iterable[Request], world: World) -> tuple[DaySheet, ...]:
    """Return the sheets of some sites on a day, each filled from the requests of that site and day.

    Raises KeyError for a site that the world does not hold, CannotPlan for a request that it cannot plan.
    """
    asked = list(requests)
    made = []
    for slug in dict.fromkeys(slugs):
        planned = [(one, plan_day(one, world)) for one in asked if one.site == slug and one.date == on]
        made.append(DaySheet(action_sheet(slug, on, world, planned), tuple(plan for _, plan in planned)))
    sheets = sharing([each.sheet for each in made])
    # Sites of the day for which no sheet was asked count on what travels, too.
    travels = [unit.name for unit in world.readiness.oxygen_units if unit.site is None]
    others = dict.fromkeys(one.site for one in asked if one.date == on and one.site not in slugs)
    more = tuple((name, world.sites[slug].name) for name in travels for slug in others if slug in world.sites)
    return tuple(
        DaySheet(replace(sheet, shared_oxygen=(*sheet.shared_oxygen, *more)), each.plans)
        for sheet, each in zip(sheets, made, strict=True)
    )


def sharing(sheets: Sequence[ActionSheet]) -> tuple[ActionSheet, ...]:
    """Return the sheets of one day with every travelling oxygen unit marked that two of them count on."""
    told = []
    for sheet in sheets:
        mine = {line.name for line in sheet.oxygen.lines}
        elsewhere = [
            (line.name, other.site_name)
            for other in sheets
            if other.site != sheet.site and other.date == sheet.date
            for line in other.oxygen.lines
            if line.name in mine
        ]
        told.append(replace(sheet, shared_oxygen=tuple(dict.fromkeys(elsewhere))))
    return tuple(told)


def facts_of(sheet: ActionSheet) -> Mapping[str, str]:
    """Return what a reader of the sheet relies on, flat: two printings differ where one of these does."""
    facts = {
        "Site": f"{sheet.site_name}, {sheet.date.isoformat()}",
        "Position": sheet.position.degrees_minutes,
        "Road": sheet.road,
        "Meeting place": f"{sheet.rendezvous}, {sheet.rendezvous_position.degrees_minutes}",
        "Notes on the meeting place": sheet.rendezvous_notes,
        "Helicopter": sheet.helicopter,
        "Ambulance is here after": _minutes(sheet.ambulance_min),
        "Gate code": sheet.gate_code or "",
        "Telephone on the beach": sheet.beach_phone or "",
        "Telephone signal": sheet.phone_signal,
        "VHF": sheet.vhf or "",
        "Landline": sheet.landline or "",
        "Places to bring a casualty out": "; ".join(sheet.extraction),
        "Alternative exit": sheet.alternative_exit,
        "Oxygen for one casualty": f"{sheet.oxygen.minutes_one} min",
        "Oxygen for two casualties": f"{sheet.oxygen.minutes_two} min",
    }
    for line in sheet.roles:
        facts[f"Role, {ROLE_NAMES[line.key]}"] = ", ".join(line.people)
    for contact in sheet.contacts:
        words = f"{contact.phone.typed}; {contact.hours}"
        facts[f"{contact.order}. {ROLE_WORDS[contact.role]}, {contact.name}"] = words
    for number in sheet.country_numbers:
        facts[f"Number of the country, {number.service}, {number.number}"] = number.number
    for order, told in enumerate(sheet.tell_after, start=1):
        facts[f"Told afterwards, {order}. {told.name}"] = f"{told.number or 'no number'}; {told.when}"
    facts["Trained to give oxygen"] = ", ".join(sheet.oxygen_givers)
    for each in sheet.care:
        way = each.care.way
        hours = f"{way.care.hours}; {each.care.opened.value}{_rows(way.care)}"
        words = f"{way.care.number}; drive {_minutes(way.care.drive_min)}; {hours}"
        facts[f"{way.kind.capitalize()}, {way.care.name}"] = words
    for unit in sheet.oxygen.lines:
        facts[f"Oxygen, {unit.name}"] = f"{unit.size_words}, {unit.kept}"
    for dive in sheet.dives:
        clock = f"{dive.entry.isoformat(timespec='minutes')} to {dive.exit_by.isoformat(timespec='minutes')}"
        name = f"{dive.group}, dive {dive.number}"
        same = sum(1 for key in facts if key == name or key.startswith(f"{name} ("))
        facts[f"{name} ({same + 1})" if same else name] = f"{clock}, {', '.join(dive.people)}"
    return facts


def changed_facts(before: Mapping[str, str], now: Mapping[str, str]) -> tuple[tuple[str, str, str], ...]:
    """Return what differs between two printings: what, as it was, as it is; empty text where it was not there."""
    keys = dict.fromkeys((*before, *now))
    return tuple(
        (key, before.get(key, ""), now.get(key, "")) for key in keys if before.get(key, "") != now.get(key, "")
    )


def _rows(care: Care) -> str:
    """Return the opening hours of a place as they are written in rows; empty for a word or none."""
    if care.open is None or care.open == "always":
        return ""
    return "".join(f"; {', '.join(row.days)} {row.opens:%H:%M} to {row.closes:%H:%M}" for row in care.open)


def _hash(facts: Mapping[str, str]) -> str:
    text = json.dumps([__version__, sorted(facts.items())], ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def _minutes(value: float | None) -> str:
    return "not known" if value is None else f"{value:g} min"


def _crew_of(requests: Sequence[Request]) -> Crew:
    """Return the crew of all requests of the day together: the first director answers for the site."""
    if len(requests) == 1:
        return requests[0].crew
    crews = [request.crew for request in requests]
    return Crew(
        dive_director=next((crew.dive_director for crew in crews if crew.dive_director), None),
        beach_phone=next((crew.beach_phone for crew in crews if crew.beach_phone), None),
        **{key: tuple(dict.fromkeys(name for crew in crews for name in getattr(crew, key))) for key in CREW_LISTS},
    )


def _most_at_once(dives: Sequence[DivePlan]) -> int | None:
    timed = [dive for dive in dives if dive.entry is not None and dive.exit_by is not None]
    counts = [
        len({p.name for other in timed for p in other.people if other.entry <= dive.entry < other.exit_by})  # type: ignore[operator]
        for dive in timed
    ]
    return max(counts, default=None)


def _due_out(dives: Sequence[DivePlan], site: Site) -> datetime | None:
    """Return when everybody is due out, where all dives of the day agree on it; else it is written in."""
    times = {dive.exit_by for dive in dives if dive.exit_by is not None}
    return times.pop().astimezone(ZoneInfo(site.timezone)) if len(times) == 1 else None


def _contact(order: int, line: Contact, held: Help, on: date, world: World) -> SheetContact:
    return SheetContact(
        order=order,
        role=line.role,
        name=line.name,
        phone=phone_words(line.number, held.site.country),
        hours=line.hours,
        notes=line.notes,
        checked=line.checked,
        checked_by=line.checked_by,
        fresh=freshness(line.checked, line.checked_by, on, world.rules).fresh,
        today=confirmed_today(line, held.today),
    )


def _care(way: CareWay, held: Help, on: date, world: World) -> SheetCare:
    line: Care = way.way.care
    return SheetCare(
        care=way,
        phone=phone_words(line.number, held.site.country),
        fresh=freshness(line.checked, line.checked_by, on, world.rules).fresh,
        today=confirmed_today(line, held.today),
    )


def _dives(site: Site, dives: Sequence[DivePlan], world: World) -> tuple[SheetDive, ...]:
    lines = []
    for dive in dives:
        if dive.entry is None or dive.descent is None or dive.exit_by is None:
            continue
        way = site.entry(dive.going_in_by)
        last_seen = way.position if way is not None and way.position is not None else site.position
        lines.append(
            SheetDive(
                group=dive.group,
                number=dive.number,
                leader=dive.leader,
                people=tuple(person.name for person in dive.people),
                place=dive.place,
                entry=dive.entry,
                descent=dive.descent,
                exit_by=dive.exit_by,
                depth_m=dive.depth_m,
                oxygen_percents=tuple(sorted({p.oxygen_percent for p in dive.people} or {dive.oxygen_percent})),
                search=search_at(site, last_seen, dive.descent, world),
            )
        )
    return tuple(sorted(lines, key=lambda line: (line.entry, line.group)))


def _gaps(sheet: ActionSheet, site: Site, crew: Crew) -> tuple[str, ...]:
    filled = {line.key for line in sheet.roles if line.people}
    missing = {
        "no_crew": not crew.everybody,
        "no_director": "in_charge" not in filled,
        "no_oxygen_giver": "oxygen" not in filled,
        "no_caller": "caller" not in filled,
        "no_rescuer": "rescue" not in filled,
        "no_recorder": "recorder" not in filled,
        "no_meeter": "meeter" not in filled,
        "no_dives": not sheet.dives,
        "no_gate_code": not sheet.gate_code,
        "no_vhf": not sheet.vhf,
        "no_landline": not sheet.landline,
        "no_helicopter": not sheet.helicopter,
        "no_ambulance_time": sheet.ambulance_min is None,
        "no_landmark": site.landmark is None,
        "no_beach_phone": not crew.beach_phone,
        "no_oxygen": not sheet.oxygen.lines,
        "no_kit": not sheet.kits,
        "no_drill": sheet.drill is None,
        "no_tell_after": not sheet.tell_after,
        "no_extraction": not sheet.extraction,
        "no_alternative_exit": site.alternative_exit is None,
        "no_country": sheet.country is None,
    }
    return tuple(key for key in GAPS if missing[key])
