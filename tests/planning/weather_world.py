"""Invented forecasts for the tests of a day: the same value all day, or a list by the hour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import cove_world

from tripplan.catalogue.site import Site
from tripplan.catalogue.station import Station
from tripplan.check import Check
from tripplan.environment.conditions import Conditions, Forecast, Note, Origin, Seen, Series
from tripplan.planning.day import plan_day
from tripplan.planning.plan import DayPlan
from tripplan.planning.request import DiveWish, GroupWish
from tripplan.planning.window import DayGrid, Window

CALM = {
    "wind_m_s": 3.0,
    "gust_m_s": 4.0,
    "wind_from_deg": 180.0,
    "air_c": 16.0,
    "rain_mm": 0.0,
    "thunder": 0.0,
    "visibility_m": 20000.0,
    "swell_m": 0.2,
    "swell_s": 8.0,
    "swell_from_deg": 180.0,
    "wind_sea_m": 0.1,
    "wind_sea_s": 3.0,
    "wind_sea_from_deg": 180.0,
    "water_c": 16.0,
}


def origin(day: date, hours_before: float = 4.0, **more: object) -> Origin:
    """Return where an invented forecast comes from, fetched some hours before the day begins at 0 h UTC."""
    midnight = datetime(day.year, day.month, day.day, tzinfo=UTC)
    return Origin("Invented forecast", midnight - timedelta(hours=hours_before), **more)  # type: ignore[arg-type]


def series(
    day: date, quantity: str, value: float | Sequence[float | None] | None, whence: Origin | None = None
) -> Series:
    """Return one quantity by the hour, from three days before a day to a day after it."""
    first = datetime(day.year, day.month, day.day, tzinfo=UTC) - timedelta(days=3)
    hours = [first + timedelta(hours=hour) for hour in range(24 * 5)]
    if isinstance(value, Sequence):  # the hours of the day itself, midnight first; before and after as at its ends
        day_values = [*value] + [value[-1]] * (24 - len(value))
        values = [day_values[0]] * 72 + day_values + [day_values[-1]] * 24
    else:
        values = [value] * len(hours)
    spans = quantity in ("rain_mm", "thunder")
    ends = [hour + timedelta(hours=1) for hour in hours] if spans else hours
    return Series(quantity, tuple(hours), tuple(ends), tuple(values), whence or origin(day))


def forecast(day: date, notes: tuple[Note, ...] = (), **changes: float | Sequence[float | None] | None) -> Forecast:
    """Return a calm day with some quantities replaced; None leaves one out altogether."""
    told = {**CALM, **changes}
    kept = tuple(series(day, key, value) for key, value in told.items() if value is not None)
    return Forecast(kept, notes)


def conditions(day: date, *seen: Seen, **changes: float | Sequence[float | None] | None) -> Conditions:
    """Return a forecast of a calm day with some quantities replaced, and what was seen."""
    return Conditions(forecast(day, **changes), seen)


def at(day: date, hour: int, minute: int = 0) -> datetime:
    """Return a moment of the day, UTC."""
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=UTC)


# ---- a cove whose only water is the open sea to the south, and its day ----

OPEN_SOUTH = {"open_to_swell": ({"from_deg": 150.0, "to_deg": 230.0},), "fetch": ()}  # no open water for a wind sea
BEACH = {"name": "Beach", "kind": "beach", "facing_deg": 180.0, "going_in": {}, "coming_out": {}, "casualty": True}
STILL = {"swell_m": 0.0, "wind_sea_m": 0.0, "wind_m_s": 0.0, "gust_m_s": 0.0}


def cove(slope: float | None = 0.05, **changes: Any) -> Site:
    """Return the test cove with one beach to the south, its slope and its exposure known."""
    beach = BEACH if slope is None else {**BEACH, "slope": slope}
    whole: dict[str, Any] = {"exposure": OPEN_SOUTH, "entries": (beach,), "alternative_exit": None}
    return cove_world.site(**{**whole, **changes})


def plan(
    told: Conditions | None,
    *groups: GroupWish,
    site: Site | None = None,
    day: date = cove_world.DAY,
    stations: Mapping[str, Station] | None = None,
) -> DayPlan:
    """Return the plan of a day at the cove under some conditions; guided, 30 min to 12 m, unless said otherwise."""
    wished = groups or (guided(),)
    world = replace(
        cove_world.world(site or cove(), stations=stations), conditions={} if told is None else {"cove": told}
    )
    return plan_day(cove_world.request(*wished, date=day), world)


def guided(**more: Any) -> GroupWish:
    """Return a guided group whose suit is known."""
    return cove_world.group(**{"dives": (DiveWish(depth_m=12.0, minutes=30),), "suit_mm": 7.0, **more})


def course(**more: Any) -> GroupWish:
    """Return a level 1 course with an instructor."""
    whole = {"kind": "level_1_course", "leader": "Chief", "dives": (DiveWish(depth_m=5.0, minutes=20),), "suit_mm": 7.0}
    return cove_world.group("New", **{**whole, **more})


def closed(made: DayPlan, rule: str) -> list[tuple[str, str]]:
    """Return the spans that one rule closes, by the local clock."""
    return [(f"{c.start:%H:%M}", f"{c.end:%H:%M}") for c in made.closures if c.rule == rule]


def closed_min(made: DayPlan, rule: str) -> int:
    """Return how many minutes of the day one rule closes."""
    grid = DayGrid(made.date, made.timezone)
    ours = tuple(c for c in made.closures if c.rule == rule)
    return int(Window(grid, ours).closed("entry").sum())


def checks(made: DayPlan, rule: str) -> list[Check]:
    """Return every check of one rule."""
    return [check for check in made.checks if check.rule == rule]


def outcomes(made: DayPlan, rule: str) -> set[str]:
    """Return how the checks of one rule came out."""
    return {check.outcome.value for check in checks(made, rule)}
