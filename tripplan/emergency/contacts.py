"""Whom to call and where care is, with how fresh each number is and how far each place lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from tripplan.catalogue.site import Care, Contact, Site
from tripplan.check import Check, Outcome
from tripplan.environment.position import bearing_deg, distance_km
from tripplan.rulebook import RuleBook

ROLE_WORDS = {
    "emergency": "Emergency services",
    "coastguard": "Coastguard",
    "ambulance": "Ambulance",
    "hospital": "Hospital",
    "chamber": "Recompression chamber",
    "diving_doctor": "Diving doctor",
    "police": "Police",
    "harbour": "Harbour",
    "landowner": "Landowner",
    "centre": "Dive centre",
}
RESCUE_ROLES = ("emergency", "coastguard", "ambulance")


@dataclass(frozen=True)
class Freshness:
    """How old the check of a number is on the day of the dive."""

    days: int | None  # None: never checked
    fresh: bool
    words: str


def freshness(checked: date | None, checked_by: str | None, on: date, rules: RuleBook) -> Freshness:
    """Judge the age of a check on a day; a check dated after the day is not one."""
    longest = rules.value("contacts.fresh_days")
    if checked is None:
        return Freshness(None, False, "never checked")
    days = (on - checked).days
    said = f"checked {checked.day} {checked:%B %Y} by {checked_by}"
    if days < 0:
        return Freshness(days, False, f"{said}: that is after the day of the dive")
    ago = "the same day" if days == 0 else ("1 day before" if days == 1 else f"{days} days before")
    return Freshness(days, days <= longest, f"{said}, {ago}")


def check_contact(contact: Contact | Care, role_words: str, on: date, rules: RuleBook) -> Check:
    """Judge whether a number was checked recently enough."""
    rule = rules["contacts.fresh_days"]
    age = freshness(contact.checked, contact.checked_by, on, rules)
    what = f"{role_words} {contact.name} ({contact.number})"
    if age.days is None:
        sentence = f"{what} was never checked: ring it before the first dive."
    elif age.fresh:
        sentence = f"{what}: {age.words}; {rule.value:g} days are allowed."
    else:
        sentence = f"{what}: {age.words}; only {rule.value:g} days are allowed. Ring it before the first dive."
    return Check(
        rule="contact-fresh",
        outcome=Outcome.OK if age.fresh else Outcome.CAUTION,
        sentence=sentence,
        source=rule.key,
        found=age.days,
        limit=rule.value,
        unit="days",
        subject=contact.name,
    )


@dataclass(frozen=True)
class Way:
    """The way from the site to a place of care."""

    care: Care
    kind: str  # "hospital" or "chamber"
    distance_km: float
    bearing_deg: float
    nearest_by_distance: bool
    nearest_by_drive: bool


def ways(site: Site) -> tuple[Way, ...]:
    """Return hospitals then chambers, each kind by known drive time, unknown drives last, then by distance."""
    found: list[Way] = []
    for kind, places in (("hospital", site.hospitals), ("chamber", site.chambers)):
        distances = {place.name: distance_km(site.position, place.position) for place in places}
        closest = min(places, key=lambda place: distances[place.name])
        driven = [place for place in places if place.drive_min is not None]
        quickest = min(driven, key=lambda place: place.drive_min or 0, default=None)
        ordered = sorted(places, key=lambda p: (p.drive_min is None, p.drive_min or 0, distances[p.name]))
        found.extend(
            Way(place, kind, distances[place.name], bearing_deg(site.position, place.position), place is closest,
                place is quickest)
            for place in ordered
        )  # fmt: skip
    return tuple(found)


def check_emergency(site: Site, on: date, rules: RuleBook) -> tuple[Check, ...]:
    """Judge everything that the plan must be able to rely on when somebody comes up hurt."""
    checks = [check_contact(contact, ROLE_WORDS[contact.role], on, rules) for contact in site.contacts]
    for way in ways(site):
        checks.append(check_contact(way.care, way.kind.capitalize(), on, rules))
    if not any(contact.role in RESCUE_ROLES for contact in site.contacts):
        checks.append(
            Check(
                rule="rescue-contact",
                outcome=Outcome.STOP,
                sentence="The site file names no emergency service, coastguard or ambulance: nobody to call first.",
                source="HSA_IE",
                found="none",
                limit="one",
                subject=site.name,
            )
        )
    elif site.contacts[0].role not in RESCUE_ROLES:
        checks.append(
            Check(
                rule="rescue-contact",
                outcome=Outcome.CAUTION,
                sentence=f"The first number in calling order is {site.contacts[0].name}, not a rescue service.",
                source="HSA_IE",
                found=site.contacts[0].role,
                limit="emergency, coastguard or ambulance",
                subject=site.name,
            )
        )
    checks.extend(_check_chamber(site, rules))
    checks.append(_check_alternative_exit(site))
    checks.extend(_check_roads(site, rules))
    return tuple(checks)


def _check_chamber(site: Site, rules: RuleBook) -> Sequence[Check]:
    """Judge the time to the quickest chamber, unknown drives said with an estimate that never counts as known."""
    rule = rules["chamber.furthest_h"]
    checks: list[Check] = []
    known = [way for way in ways(site) if way.kind == "chamber" and way.care.drive_min is not None]
    for way in ways(site):
        if way.care.drive_min is None:
            minutes = _road_h(way, rules) * 60
            checks.append(
                Check(
                    rule="drive-time-known",
                    outcome=Outcome.CAUTION,
                    sentence=(
                        f"The drive to {way.care.name} is not known: {way.distance_km:.0f} km in a straight line, "
                        f"at least some {minutes:.0f} min. Find out before diving."
                    ),
                    source="GEODESIC",
                    found=None,
                    unit="min",
                    subject=way.care.name,
                )
            )
    if known:
        quickest = min(known, key=lambda way: way.care.drive_min or 0)
        hours = (quickest.care.drive_min or 0) / 60
        within = hours <= rule.value
        checks.append(
            Check(
                rule="chamber-within-reach",
                outcome=Outcome.OK if within else Outcome.STOP,
                sentence=(
                    f"{quickest.care.name} is {quickest.care.drive_min:g} min away by road, "
                    f"{quickest.distance_km:.0f} km in a straight line; {rule.value:g} h are allowed."
                ),
                source=rule.key,
                found=round(hours, 2),
                limit=rule.value,
                unit="h",
                subject=quickest.care.name,
            )
        )
    else:
        nearest = min((way for way in ways(site) if way.kind == "chamber"), key=lambda way: way.distance_km)
        hours = _road_h(nearest, rules)
        if hours > rule.value:
            checks.append(
                Check(
                    rule="chamber-within-reach",
                    outcome=Outcome.STOP,
                    sentence=(
                        f"No drive to a chamber is known, and the nearest, {nearest.care.name}, is "
                        f"{nearest.distance_km:.0f} km away in a straight line: some {hours:.0f} h; "
                        f"{rule.value:g} h are allowed."
                    ),
                    source=rule.key,
                    found=round(hours, 2),
                    limit=rule.value,
                    unit="h",
                    subject=nearest.care.name,
                )
            )
    return checks


def _road_h(way: Way, rules: RuleBook) -> float:
    """Return a guess at the hours by road over the straight distance; it never counts as a known drive."""
    return way.distance_km / max(rules.value("chamber.road_speed_km_h"), 1.0)


def _check_alternative_exit(site: Site) -> Check:
    alternative = site.alternative_exit
    return Check(
        rule="alternative-exit",
        outcome=Outcome.OK if alternative else Outcome.CAUTION,
        sentence=(
            f"Alternative exit: {alternative.access}, {alternative.swim_m:g} m to swim."
            if alternative
            else "No alternative exit is known: if the usual one closes, there is no plan for coming out."
        ),
        source="COMMON_PRACTICE",
        found=alternative.access if alternative else None,
        subject=site.name,
    )


def _check_roads(site: Site, rules: RuleBook) -> Sequence[Check]:
    """Say where a casualty would be driven higher than the water, since that is an ascent to altitude."""
    climb_m = rules.value("altitude.corrected_from_m")
    checks = []
    for way in ways(site):
        highest_m = way.care.highest_road_m
        if highest_m is not None and highest_m > site.elevation_m + climb_m:
            checks.append(
                Check(
                    rule="road-to-care-climbs",
                    outcome=Outcome.CAUTION,
                    sentence=(
                        f"The road to {way.care.name} climbs to {highest_m:g} m, {highest_m - site.elevation_m:.0f} m "
                        "above the water: tell the rescue service, a casualty with bubbles should not go higher."
                    ),
                    source="NAVY_RULES",
                    found=highest_m,
                    limit=site.elevation_m + climb_m,
                    unit="m",
                    subject=way.care.name,
                )
            )
    return checks
