"""Invented forecasts for the tests of a day: the same value all day, or a list by the hour."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from tripplan.environment.conditions import Conditions, Forecast, Note, Origin, Seen, Series

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


def series(day: date, quantity: str, value: float | None | Sequence[float | None], whence: Origin | None = None) -> Series:
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


def forecast(day: date, notes: tuple[Note, ...] = (), **changes: float | None | Sequence[float | None]) -> Forecast:
    """Return a calm day with some quantities replaced; None leaves one out altogether."""
    told = {**CALM, **changes}
    kept = tuple(series(day, key, value) for key, value in told.items() if value is not None)
    return Forecast(kept, notes)


def conditions(day: date, *seen: Seen, **changes: float | None | Sequence[float | None]) -> Conditions:
    """Return a forecast of a calm day with some quantities replaced, and what was seen."""
    return Conditions(forecast(day, **changes), seen)


def at(day: date, hour: int, minute: int = 0) -> datetime:
    """Return a moment of the day, UTC."""
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=UTC)
