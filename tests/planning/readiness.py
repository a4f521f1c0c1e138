"""What the test worlds keep ready for the worst moment, so that a test meets only what it is about."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from tripplan.catalogue.site import Care, Contact, Site
from tripplan.emergency.readiness import Readiness

# Cautions that every test world has: its numbers are reserved for fiction, it is in no country, its crew is small.
OF_EVERY_TEST = {"numbers-in-use", "country-known", "emergency-roles", "kit-known", "skills-open"}


def on_record(name: str) -> dict[str, Any]:
    """Return the papers and words that a centre holds of somebody, all in order."""
    return {
        "identity": f"N-{name}"[:40],
        "first_aid_until": date(2029, 1, 1),
        "insurance_until": date(2029, 1, 1),
        "next_of_kin": f"Kin of {name}"[:60],
        "next_of_kin_phone": "+44 7700 900456",
    }


def ready_on(day: date, *crew: str) -> Readiness:
    """Return oxygen, a kit and a drill that are in order on a day."""
    lately = day - timedelta(days=5)
    return Readiness.model_validate(
        {
            "oxygen_units": (
                {"name": "Box", "volume_l": 20, "pressure_bar": 200, "device": "non_rebreather", "casualties": 2,
                 "kept": "at the entry", "read": lately, "read_by": "Vera Lind"},
            ),
            "rescue_kits": (
                {"name": "Bag", "kept": "at the entry", "content": ("masks",), "checked": lately,
                 "checked_by": "Vera Lind"},
            ),
            "drills": ({"held": lately, "scenario": "abort", "led_by": "Vera Lind", "who": crew},),
        }
    )  # fmt: skip


def ready(where: Site) -> Site:
    """Return the site with what its emergency plan lacks filled in."""

    def filled(lines: tuple[Care, ...]) -> tuple[Care, ...]:
        given = {"open": "always", "highest_road_m": where.elevation_m}
        return tuple(
            line.model_copy(update={key: value for key, value in given.items() if getattr(line, key) is None})
            for line in lines
        )

    meet, first = where.rendezvous, where.contacts[0]
    roles = ("coastguard", "police", "diving_doctor", "diver_hotline")
    more = tuple(
        Contact(
            role=role, name=f"Test {role}", number=first.number, hours="24 h", checked=first.checked,
            checked_by=first.checked_by,
        )
        for role in roles
        if role not in {contact.role for contact in where.contacts}
    )  # fmt: skip
    return where.model_copy(
        update={
            "contacts": (*where.contacts, *more),
            "hospitals": filled(where.hospitals),
            "chambers": filled(where.chambers),
            "rendezvous": meet.model_copy(update={"ambulance_min": meet.ambulance_min or 20.0}),
        }
    )
