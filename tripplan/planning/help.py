"""The emergency part of the plan: the site's facts in the order in which they are needed."""

from __future__ import annotations

from datetime import date

from tripplan.catalogue.site import Site
from tripplan.emergency.contacts import ROLE_WORDS, freshness, ways
from tripplan.planning.plan import CareLine, ContactLine, Emergency
from tripplan.planning.request import Crew
from tripplan.rulebook import RuleBook


def emergency_of(site: Site, crew: Crew, on: date, rules: RuleBook) -> Emergency:
    """Return whom to call, what to say, where they meet us and where care is, for one site and day."""
    contacts = []
    for order, contact in enumerate(site.contacts, start=1):
        age = freshness(contact.checked, contact.checked_by, on, rules)
        contacts.append(
            ContactLine(
                order=order,
                role=contact.role,
                role_words=ROLE_WORDS[contact.role],
                name=contact.name,
                number=contact.number,
                hours=contact.hours,
                checked_words=age.words,
                fresh=age.fresh,
                notes=contact.notes,
            )
        )
    care = []
    for way in ways(site):
        age = freshness(way.care.checked, way.care.checked_by, on, rules)
        care.append(
            CareLine(
                kind="hospital" if way.kind == "hospital" else "chamber",
                name=way.care.name,
                number=way.care.number,
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
            )
        )
    alternative = site.alternative_exit
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
        extraction=tuple(
            access.name + (f" ({access.casualty_people} people to lift)" if access.casualty_people else "")
            for access in site.entries
            if access.casualty
        ),
        alternative_exit=(
            f"{alternative.access}, {alternative.swim_m:g} m to swim"
            + (f" ({alternative.notes})" if alternative.notes else "")
            if alternative
            else "none known"
        ),
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
    )
