"""The town after which a time zone is named, and its country: a second opinion on a position that was typed."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from tripplan.environment.position import Position, distance_km

# No place lies so far from every town of its country that names a time zone.
FURTHEST_OF_A_COUNTRY_KM = 2500.0
# Nearer than this to a town of its country a position is not asked about, whatever other signs would make of it.
ASK_FROM_KM = 1000.0


@dataclass(frozen=True)
class ZonePlace:
    """A time zone's own town."""

    country: str  # two capitals by ISO 3166
    zone: str  # IANA name
    position: Position

    @property
    def name(self) -> str:
        """The town or island, as the zone's name ends."""
        return self.zone.rsplit("/", 1)[-1].replace("_", " ")


@cache
def zone_places() -> tuple[ZonePlace, ...]:
    """Return every zone's town, as the IANA time zone database lists them (zone.tab, to the minute of arc)."""
    text = (files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8")
    rows = (line.split("\t") for line in text.splitlines() if line and not line.startswith("#"))
    return tuple(ZonePlace(row[0], row[2], _of_iso_6709(row[1])) for row in rows)


def _of_iso_6709(text: str) -> Position:
    """Read +DDMM+DDDMM or +DDMMSS+DDDMMSS, as zone.tab writes positions."""
    found = re.fullmatch(r"([+-])(\d\d)(\d\d)(\d\d)?([+-])(\d\d\d)(\d\d)(\d\d)?", text)
    if found is None:
        raise ValueError(f"{text} is no position of zone.tab")
    north, east = (
        (-1 if found[n] == "-" else 1) * (int(found[n + 1]) + int(found[n + 2]) / 60 + int(found[n + 3] or 0) / 3600)
        for n in (1, 5)
    )
    return Position(north, east)


def doubts_of_place(position: Position, timezone: str, country: str | None) -> tuple[str, ...]:
    """Return what speaks against a position, a time zone and a country that were given together; empty for nothing.

    Each is a question and no fault: borders and far islands are not known here. A country that the time zone database
    does not list is left out of it.
    """
    places = zone_places()
    countries = {place.country for place in places}
    of_zone = next((place for place in places if place.zone == timezone), None)
    doubts = []
    if of_zone is not None and country in countries and of_zone.country != country:
        doubts.append(
            f"The time zone {timezone} is that of {of_zone.country}, the country is {country}: is one of them wrong?"
        )
    known = country if country in countries else None
    own = [place for place in places if place.country == known] if known else [of_zone] if of_zone else []
    if not own:
        return tuple(doubts)
    nearest_own, nearest = _nearest(position, own), _nearest(position, places)
    away_km = distance_km(position, nearest_own.position)
    abroad = known is not None and away_km > ASK_FROM_KM and nearest.country != known
    if away_km > FURTHEST_OF_A_COUNTRY_KM or (abroad and _otherwise_km(position, own) < away_km / 2):
        doubts.append(
            f"The position lies {away_km:,.0f} km from {nearest_own.name} ({nearest_own.country}), and nearest to "
            f"{nearest.name} ({nearest.country}): is a sign wrong, or are latitude and longitude turned round?"
        )
    return tuple(doubts)


def _otherwise_km(position: Position, own: Sequence[ZonePlace]) -> float:
    """Return how near to a country a position would lie with a sign or its two numbers turned round."""
    north, east = position.latitude_deg, position.longitude_deg
    others = [Position(north, -east), Position(-north, east), Position(-north, -east)]
    if abs(east) <= 90:
        others.append(Position(east, north))
    return min(distance_km(other, _nearest(other, own).position) for other in others)


def _nearest(position: Position, places: Sequence[ZonePlace]) -> ZonePlace:
    return min(places, key=lambda place: _apart(position, place.position))


def _apart(one: Position, other: Position) -> float:
    """Return the angle between two places on a sphere, enough to say which of many is nearest."""
    north, south = math.radians(one.latitude_deg), math.radians(other.latitude_deg)
    east = math.radians(other.longitude_deg - one.longitude_deg)
    half = math.sin((south - north) / 2) ** 2 + math.cos(north) * math.cos(south) * math.sin(east / 2) ** 2
    return 2 * math.asin(min(1.0, math.sqrt(half)))
