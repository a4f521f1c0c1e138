"""The emergency part of a day: everything that must hold when somebody comes up hurt, judged once for site and day."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from tripplan.catalogue.site import Site
from tripplan.check import Check
from tripplan.emergency.call_script import CallFacts
from tripplan.emergency.confirmed import Confirmation, as_confirmed, latest_on
from tripplan.emergency.contacts import ROLE_WORDS, check_emergency, freshness
from tripplan.emergency.drills import check_drills, check_kits
from tripplan.emergency.evacuation import CareWay, care_ways
from tripplan.emergency.numbers import check_numbers, phone_words
from tripplan.emergency.opening import Opened, open_on
from tripplan.emergency.oxygen_supply import OxygenSupply, check_oxygen, oxygen_supply
from tripplan.emergency.roles import RoleLine, check_roles, roles_of
from tripplan.environment.position import bearing_deg, distance_km
from tripplan.planning.plan import CareLine, ContactLine, Emergency
from tripplan.planning.request import Crew
from tripplan.planning.world import World
from tripplan.units import METRES_PER_NAUTICAL_MILE


@dataclass(frozen=True)
class Help:
    """What helps at one site on one day."""

    site: Site  # with the checks of its numbers moved on by what was confirmed
    today: Mapping[tuple[str, str], Confirmation]  # what was found about each number on the day itself
    care: tuple[CareWay, ...]
    oxygen: OxygenSupply
    roles: tuple[RoleLine, ...]
    checks: tuple[Check, ...]


def help_at(
    site: Site,
    on: date,
    crew: Crew,
    divers: Collection[str],
    span: tuple[datetime, datetime] | None,
    world: World,
) -> Help:
    """Return what helps at a site on a day, with every check.

    divers -- everybody who is in the water that day;  span -- first entry to last exit; None: no dive has a time
    """
    rules = world.rules
    site = as_confirmed(site, world.confirmed, on)
    today = latest_on(world.confirmed, on, site.timezone)
    start, end = span or (None, None)
    care = care_ways(site, start, end, today, rules, on=on)
    # A place that closes in the evening still sets how long the oxygen must last: somebody may be taken there before.
    reachable = [
        (way.way.care.name, way.way.care.drive_min)
        for way in care
        if open_on(way.way.care.open, way.way.care.closed_on, on, site.timezone) is not Opened.CLOSED
        and (way.confirmed is None or way.confirmed.found != "closed")
    ]
    oxygen = oxygen_supply(site, world.readiness, reachable, on, rules)
    everybody = crew.everybody
    fit = {name for name in everybody if name in world.people and world.people[name].level.may_lead}
    director = (crew.dive_director,) if crew.dive_director else ()
    roles = roles_of(
        {
            "in_charge": director,
            "rescue": crew.rescue,
            "oxygen": crew.oxygen_provider[:1],
            "caller": crew.caller,
            "recorder": crew.recorder,
            "meeter": crew.meeter,
            "crowd": crew.crowd_control,
        },
        (*crew.shore_watch, *crew.oxygen_provider),
        fit,
        divers,
    )
    checks = (
        *check_emergency(site, on, rules, start, end, today),
        *check_numbers(site),
        *check_oxygen(oxygen, rules),
        check_roles(roles),
        *check_kits(world.readiness, site.slug, on, rules),
        *check_drills(world.readiness, everybody, on, rules),
    )
    return Help(site, today, care, oxygen, roles, checks)


def call_facts(site: Site, crew: Crew, party: str, in_water: int | None, exit_by: datetime | None = None) -> CallFacts:
    """Return what a caller must have in front of them."""
    mark = site.landmark
    return CallFacts(
        party=party or site.name,
        site=site.name,
        position=site.position,
        road=site.road,
        rendezvous=site.rendezvous.place,
        gate_code=site.access.gate_code,
        callback=crew.beach_phone,
        landmark=mark.name if mark else None,
        landmark_bearing_deg=bearing_deg(mark.position, site.position) if mark else None,
        landmark_distance_nm=(
            distance_km(mark.position, site.position) * 1000 / METRES_PER_NAUTICAL_MILE if mark else None
        ),
        helicopter=site.rendezvous.helicopter,
        vhf=site.communications.vhf,
        in_water=in_water,
        exit_by=exit_by,
    )


def emergency_of(held: Help, crew: Crew, on: date, world: World) -> Emergency:
    """Return whom to call, what to say, where they meet us and where care is, for one site and day."""
    site, rules = held.site, world.rules
    contacts = []
    for order, contact in enumerate(site.contacts, start=1):
        age = freshness(contact.checked, contact.checked_by, on, rules)
        phone = phone_words(contact.number, site.country)
        contacts.append(
            ContactLine(
                order=order,
                role=contact.role,
                role_words=ROLE_WORDS[contact.role],
                name=contact.name,
                number=phone.printed,
                link=phone.link,
                hours=contact.hours,
                checked_words=age.words,
                fresh=age.fresh,
                notes=contact.notes,
            )
        )
    care = []
    for each in held.care:
        way = each.way
        age = freshness(way.care.checked, way.care.checked_by, on, rules)
        phone = phone_words(way.care.number, site.country)
        care.append(
            CareLine(
                kind="hospital" if way.kind == "hospital" else "chamber",
                name=way.care.name,
                number=phone.printed,
                link=phone.link,
                hours=way.care.hours or "hours not known",
                distance_km=way.distance_km,
                drive_min=way.care.drive_min,
                bearing_deg=way.bearing_deg,
                position_words=way.care.position.degrees_minutes,
                highest_road_m=way.care.highest_road_m,
                checked_words=age.words,
                fresh=age.fresh,
                nearest_by_distance=way.nearest_by_distance,
                nearest_by_drive=way.nearest_by_drive,
                notes=way.care.notes,
                opened_words=each.opened_words,
            )
        )
    meet = site.rendezvous
    return Emergency(
        position_words=site.position.degrees_minutes,
        position_spoken=site.position.spoken,
        position_decimal=site.position.decimal,
        geo_uri=site.position.geo_uri,
        road=site.road,
        rendezvous_words=meet.place,
        rendezvous_position=meet.position.degrees_minutes,
        rendezvous_notes=meet.notes,
        gate_code=site.access.gate_code,
        phone_signal=site.communications.phone_signal,
        vhf=site.communications.vhf,
        landline=site.communications.landline,
        extraction=extraction_points(site),
        alternative_exit=alternative_words(site),
        contacts=tuple(contacts),
        care=tuple(care),
        dive_director=crew.dive_director,
        shore_watch=", ".join(crew.shore_watch) or None,
        oxygen_provider=", ".join(crew.oxygen_provider) or None,
        what_to_say=(
            f"This is a diving emergency at {site.name}. Our position is {site.position.spoken}. "
            f"Meet us at {meet.place}. Number of people hurt: ____. Conscious: yes / no. Breathing: yes / no. "
            "They came up at ____ from ____ metres. Oxygen since ____. My name is ____, my number is ____."
        ),
        oxygen=held.oxygen,
        roles=held.roles,
    )


def extraction_points(site: Site) -> tuple[str, ...]:
    """Return where a casualty can be brought out, with the people that it takes."""
    return tuple(
        access.name + (f" ({access.casualty_people} people to lift)" if access.casualty_people else "")
        for access in site.entries
        if access.casualty
    )


def alternative_words(site: Site) -> str:
    """Return the alternative exit in words; it says so when none is known."""
    alternative = site.alternative_exit
    if alternative is None:
        return "none known"
    notes = f" ({alternative.notes})" if alternative.notes else ""
    return f"{alternative.access}, {alternative.swim_m:g} m to swim{notes}"
