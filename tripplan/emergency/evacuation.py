"""The way to care: which hospital and chamber, how far, open during the dives or not, and how high the way goes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from tripplan.catalogue.site import Care, Site
from tripplan.check import Check, Outcome
from tripplan.emergency.confirmed import Confirmation, confirmed_today
from tripplan.emergency.opening import Opened as Opened
from tripplan.emergency.opening import clock_words, open_on, open_throughout, opening_words
from tripplan.environment.position import bearing_deg, distance_km
from tripplan.rulebook import RuleBook


@dataclass(frozen=True)
class Way:
    """The way from the site to a place of care."""

    care: Care
    kind: str  # "hospital" or "chamber"
    distance_km: float  # geodesic
    bearing_deg: float
    nearest_by_distance: bool
    nearest_by_drive: bool


@dataclass(frozen=True)
class CareWay:
    """A way to care judged for the hours of one day's dives."""

    way: Way
    opened: Opened
    opened_words: str  # "open 08:00 to 22:00", "closed from 22:00", "hours only in words: ..."
    confirmed: Confirmation | None  # what somebody found today
    road_climb_m: float | None  # highest point of the road above the water; None: not known
    flight_climb_m: float | None  # likewise of a flight; None: no flight is known
    climbs: bool  # whether the road or the flight takes a casualty to altitude
    first_choice: bool  # the quickest known way of its kind that is not known to be closed


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


def needed_until(end: datetime | None, rules: RuleBook) -> datetime | None:
    """Return how long a place of care must be open after the last exit; None where no dive has a time."""
    return None if end is None else end + timedelta(hours=rules.value("care.open_after_h"))


def care_ways(
    site: Site,
    start: datetime | None,
    end: datetime | None,
    confirmed: Mapping[tuple[str, str], Confirmation],
    rules: RuleBook,
    on: date | None = None,
) -> tuple[CareWay, ...]:
    """Return the ways to care in the order of ``ways``, judged from the first entry until hours after the last exit.

    start, end -- first entry and last exit, aware; None: no dive has a time, and only what never closes is open
    confirmed -- what was found today, from latest_on: "closed" closes a place whatever its hours
    on -- the day, for the days on which a place is closed while no dive has a time
    """
    until = needed_until(end, rules)
    if start is None or until is None:
        start = until = None
    judged = [(way, *_opened(way.care, site, start, until, confirmed, on)) for way in ways(site)]
    chosen = {
        kind: way
        for kind in ("hospital", "chamber")
        if (way := _quickest([one for one, opened, _ in judged if one.kind == kind and opened is not Opened.CLOSED]))
    }
    return tuple(
        _care_way(way, opened, words, confirmed_today(way.care, confirmed), way in chosen.values(), site, rules)
        for way, opened, words in judged
    )


def _opened(
    care: Care,
    site: Site,
    start: datetime | None,
    until: datetime | None,
    confirmed: Mapping[tuple[str, str], Confirmation],
    on: date | None,
) -> tuple[Opened, str]:
    found = confirmed_today(care, confirmed)
    if found is not None and found.found == "closed":
        return Opened.CLOSED, f"closed today: found by {found.by} at {at_words(found, site)}"
    if start is not None and until is not None:
        opened = open_throughout(care.open, care.closed_on, start, until, site.timezone)
    elif on is not None:
        opened = open_on(care.open, care.closed_on, on, site.timezone)
    else:  # whether a closed day is this one cannot be told
        opened = Opened.OPEN if care.open == "always" and not care.closed_on else Opened.UNKNOWN
    words = opening_words(care.open, care.closed_on, start, until, site.timezone, care.hours, on)
    if opened is Opened.UNKNOWN and found is not None and found.found == "right":
        words += f"; found right by {found.by} at {at_words(found, site)}"
    return opened, words


def _quickest(open_ways: Sequence[Way]) -> Way | None:
    """Return the quickest known way; where none is known, the nearest in a straight line."""
    driven = [way for way in open_ways if way.care.drive_min is not None]
    if driven:
        return min(driven, key=lambda way: way.care.drive_min or 0)
    return min(open_ways, key=lambda way: way.distance_km, default=None)


def _care_way(
    way: Way,
    opened: Opened,
    words: str,
    found: Confirmation | None,
    first_choice: bool,
    site: Site,
    rules: RuleBook,
) -> CareWay:
    road_m, flight_m = way.care.highest_road_m, way.care.flight_m
    road_climb_m = None if road_m is None else road_m - site.elevation_m
    flight_climb_m = None if flight_m is None else flight_m - site.elevation_m
    climbs = (road_climb_m is not None and road_climb_m > rules.value("altitude.corrected_from_m")) or (
        flight_climb_m is not None and flight_climb_m > rules.value("care.flight_climb_m")
    )
    return CareWay(way, opened, words, found, road_climb_m, flight_climb_m, climbs, first_choice)


def check_care(site: Site, ways: Sequence[CareWay], rules: RuleBook, end: datetime | None = None) -> tuple[Check, ...]:
    """Judge the ways to care: known, near enough, open, and not over a height.

    ways -- from care_ways;  end -- the last exit, so that sentences can say until when a place must be open
    """
    checks = [_drive_unknown(each.way, rules) for each in ways if each.way.care.drive_min is None]
    checks.extend(_check_chamber(ways, site, rules))
    checks.extend(_check_open(each, ways, site, end, rules) for each in ways)
    for each in ways:
        checks.extend(_check_heights(each, site, rules))
    return tuple(checks)


def _drive_unknown(way: Way, rules: RuleBook) -> Check:
    return Check(
        rule="drive-time-known",
        outcome=Outcome.CAUTION,
        sentence=(
            f"The drive to {way.care.name} is not known: {way.distance_km:.0f} km in a straight line, "
            f"at least some {_road_h(way, rules) * 60:.0f} min. Find out before diving."
        ),
        source="GEODESIC",
        found=None,
        unit="min",
        subject=way.care.name,
    )


def _check_chamber(ways: Sequence[CareWay], site: Site, rules: RuleBook) -> Iterator[Check]:
    """Judge the time to the quickest chamber that is not known to be closed; an estimate never counts as known."""
    rule = rules["chamber.furthest_h"]
    chambers = [each for each in ways if each.way.kind == "chamber"]
    nearest = _quickest([each.way for each in chambers if each.opened is not Opened.CLOSED])
    if nearest is None:
        why = "; ".join(f"{each.way.care.name} is {each.opened_words}" for each in chambers)
        yield Check(
            rule="chamber-within-reach",
            outcome=Outcome.STOP,
            sentence=f"No chamber takes casualties during these dives and the hours after them: {why}.",
            source=rule.key,
            found=None,
            limit=rule.value,
            unit="h",
            subject=site.name,
        )
        return
    drive_min = nearest.care.drive_min
    hours = _road_h(nearest, rules) if drive_min is None else drive_min / 60
    within = hours <= rule.value
    if drive_min is None and within:
        return  # that the drive is not known is said already, and an estimate is no ground for an ok
    if drive_min is None:
        sentence = (
            f"No drive to a chamber that may be open is known, and the nearest, {nearest.care.name}, is "
            f"{nearest.distance_km:.0f} km away in a straight line: some {_hours_up(hours)} h; "
            f"{rule.value:g} h are allowed."
        )
    else:
        sentence = (
            f"{nearest.care.name} is {drive_min:g} min away by road, {nearest.distance_km:.0f} km in a straight line; "
            f"{rule.value:g} h are allowed."
        )
    yield Check(
        rule="chamber-within-reach",
        outcome=Outcome.OK if within else Outcome.STOP,
        sentence=sentence,
        source=rule.key,
        found=round(hours, 2),
        limit=rule.value,
        unit="h",
        subject=nearest.care.name,
    )


def _check_open(each: CareWay, ways: Sequence[CareWay], site: Site, end: datetime | None, rules: RuleBook) -> Check:
    rule = rules["care.open_after_h"]
    care, found = each.way.care, each.confirmed
    until, zone = needed_until(end, rules), ZoneInfo(site.timezone)
    until_words = clock_words(until, zone, end.astimezone(zone).date()) if end is not None and until is not None else ""
    needed = f"; it is needed until {until_words}, {rule.value:g} h after the last exit" if until_words else ""
    hours = f'only in words ("{care.hours}")' if care.hours else "not known"
    outcome, source = Outcome.CAUTION, rule.key
    if each.opened is Opened.CLOSED:
        if found is not None and found.found == "closed":
            source = "CONFIRMED"
            sentence = f"{care.name} takes no casualties today: found by {found.by} at {at_words(found, site)}"
            sentence += f"{note_words(found)}."
        else:
            sentence = f"{care.name} is {each.opened_words}{needed}."
        others = [one for one in ways if one.way.kind == each.way.kind and one.opened is not Opened.CLOSED]
        if not others and each.way.kind == "hospital":
            outcome = Outcome.STOP
        sentence += f" {_instead(each.way.kind, others)}"
    elif each.opened is Opened.OPEN:
        outcome = Outcome.OK
        sentence = f"{care.name} is {each.opened_words}{needed}."
    elif care.open is not None:
        sentence = (
            f"{care.name} is {each.opened_words}, and no dive has a time: ask today until when it takes casualties; "
            f"it must be {rule.value:g} h after the last exit."
        )
    elif found is not None and found.found == "right":
        outcome, source = Outcome.OK, "CONFIRMED"
        sentence = (
            f"The opening hours of {care.name} are {hours}; {found.by} found its number right today at "
            f"{at_words(found, site)}{note_words(found)}."
        )
    else:
        when = until_words or f"{rule.value:g} h after the last exit"
        sentence = f"The opening hours of {care.name} are {hours}: ask today whether it takes casualties until {when}."
    return Check(
        rule="care-open",
        outcome=outcome,
        sentence=sentence,
        source=source,
        found=each.opened.value,
        limit=until_words or None,
        subject=care.name,
    )


def _instead(kind: str, others: Sequence[CareWay]) -> str:
    """Say where a casualty goes while a place is closed."""
    best = _quickest([one.way for one in others])
    if best is None:
        return f"No {kind} in the site file takes casualties then{': do not dive' if kind == 'hospital' else ''}."
    known = next(one for one in others if one.way is best).opened is Opened.OPEN
    drive_min = best.care.drive_min
    far = f"{best.distance_km:.0f} km in a straight line" if drive_min is None else f"{drive_min:g} min by road"
    return f"{'Go to' if known else 'Ask'} {best.care.name} instead, {far}."


def _check_heights(each: CareWay, site: Site, rules: RuleBook) -> Iterator[Check]:
    """Say where a casualty would be taken higher than the water, since that is an ascent to altitude."""
    care = each.way.care
    climb, flight = rules["altitude.corrected_from_m"], rules["care.flight_climb_m"]
    if each.road_climb_m is None:
        yield Check(
            rule="road-height-known",
            outcome=Outcome.CAUTION,
            sentence=(
                f"The highest point of the road to {care.name} is not known: ask before sending a casualty with "
                "bubbles that way."
            ),
            source="NAVY_RULES",
            found=None,
            limit=site.elevation_m + climb.value,
            unit="m",
            subject=care.name,
        )
    elif each.road_climb_m > climb.value:
        yield Check(
            rule="road-to-care-climbs",
            outcome=Outcome.CAUTION,
            sentence=(
                f"The road to {care.name} climbs to {care.highest_road_m:g} m, {each.road_climb_m:.0f} m above the "
                "water: tell the rescue service, a casualty with bubbles should not go higher."
            ),
            source="NAVY_RULES",
            found=care.highest_road_m,
            limit=site.elevation_m + climb.value,
            unit="m",
            subject=care.name,
        )
    if each.flight_climb_m is not None and each.flight_climb_m > flight.value:
        yield Check(
            rule="flight-to-care-climbs",
            outcome=Outcome.CAUTION,
            sentence=(
                f"The flight to {care.name} takes a casualty to {care.flight_m:g} m, {each.flight_climb_m:.0f} m above "
                f"the water: ask for a flight that stays within {flight.value:g} m of it, or for a cabin kept at the "
                "pressure at the water."
            ),
            source=flight.key,
            found=care.flight_m,
            limit=site.elevation_m + flight.value,
            unit="m",
            subject=care.name,
        )


def _road_h(way: Way, rules: RuleBook) -> float:
    """Return a guess at the hours by road over the straight distance; it never counts as a known drive."""
    return way.distance_km / max(rules.value("chamber.road_speed_km_h"), 1.0)


def at_words(found: Confirmation, site: Site) -> str:
    """Return when a number was tried, by the clock of the site."""
    return clock_words(found.at, ZoneInfo(site.timezone))


def note_words(found: Confirmation) -> str:
    """Return what was noted of a try, in brackets after a space; empty where nothing was."""
    return f" ({found.note.strip().rstrip('.')})" if found.note.strip() else ""


def _hours_up(hours: float) -> str:
    """Return hours to a tenth, rounded up: what is too far is never said to be as far as is allowed."""
    return f"{math.ceil(hours * 10) / 10:g}"
