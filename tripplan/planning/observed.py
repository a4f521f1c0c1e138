"""What a leader sees on the spot, typed into a form or a file: it wins over the forecast, with its time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import Field

from tripplan.environment.conditions import Seen, m_s
from tripplan.planning.request import Line, Moment
from tripplan.record import Misfit, Record, TomlFile, judge


class Observed(Record):
    """What somebody saw at one time at one site; what was not looked at is left out."""

    time: Moment = Field(description="when it was seen, like 2027-06-11T08:10:00+00:00")
    by: Line = Field(default="", max_length=60, description="who saw it")
    wind_kn: float | None = Field(default=None, ge=0, le=100, description="wind, knots, averaged over some minutes")
    gust_kn: float | None = Field(default=None, ge=0, le=150, description="gusts, knots")
    wind_from_deg: float | None = Field(default=None, ge=0, le=360, description="where the wind comes from, degrees")
    breaker_m: float | None = Field(
        default=None, ge=0, le=10, description="largest breaking wave at the way in, metres"
    )
    swell_m: float | None = Field(default=None, ge=0, le=20, description="swell outside the surf, metres")
    swell_s: float | None = Field(default=None, ge=1, le=30, description="seconds from crest to crest")
    stream_kn: float | None = Field(default=None, ge=0, le=10, description="stream at the surface, knots")
    visibility_m: float | None = Field(default=None, ge=0, le=100_000, description="visibility above water, metres")
    underwater_visibility_m: float | None = Field(default=None, ge=0, le=80, description="under water, metres")
    water_c: float | None = Field(default=None, ge=-2.5, le=40, description="water at diving depth, degrees Celsius")
    air_c: float | None = Field(default=None, ge=-40, le=55, description="air, degrees Celsius")
    thunder: bool | None = Field(default=None, description="true where thunder was heard")
    heavy_rain_h: float | None = Field(default=None, ge=0, le=2000, description="hours since heavy rain ended")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Something was seen, and gusts are not below the wind."""
        if not any(parts.get(name) is not None for name in VALUES):
            yield ("time",), f"stands alone; give what was seen: {', '.join(VALUES)}"
        wind, gust = parts.get("wind_kn"), parts.get("gust_kn")
        if wind is not None and gust is not None and gust < wind:
            yield ("gust_kn",), f"is {gust:g}, below wind_kn, {wind:g}; gusts are the strongest of it"


VALUES = tuple(name for name in Observed.model_fields if name not in ("time", "by"))
_IN_KNOTS = {"wind_kn": "wind_m_s", "gust_kn": "gust_m_s"}  # conditions are kept in metres a second


def seen_of(observed: Observed) -> tuple[Seen, ...]:
    """Return what was seen as the values that the plan uses."""
    found = []
    for name in VALUES:
        value = getattr(observed, name)
        if value is not None:
            quantity = _IN_KNOTS.get(name, name)
            number = m_s(float(value)) if name in _IN_KNOTS else float(value)
            found.append(Seen(quantity, number, observed.time, observed.by))
    return tuple(found)


class _AtSite(Observed):
    site: str = Field(min_length=1, description="the site's file name without .toml")


class _File(Record):
    observed: tuple[_AtSite, ...] = Field(default=(), description="one [[observed]] for each time somebody looked")


@dataclass(frozen=True)
class ObservedFile:
    """What a file of observations holds, by site."""

    seen: Mapping[str, tuple[Seen, ...]]
    faults: tuple[tuple[int, str], ...] = ()  # number of the [[observed]], from 0, whose site nobody knows


def observed_from(file: TomlFile, sites: Mapping[str, Any]) -> ObservedFile:
    """Judge a file of observations.  Raises BadRecord with every fault found but for unknown sites."""
    found = judge(file, _File)
    seen: dict[str, tuple[Seen, ...]] = {}
    faults = []
    for number, each in enumerate(found.observed):
        if each.site not in sites:
            faults.append((number, f'site "{each.site}" is not in the catalogue; known: {", ".join(sites) or "none"}'))
            continue
        seen[each.site] = (*seen.get(each.site, ()), *seen_of(each))
    return ObservedFile(seen, tuple(faults))


OBSERVED_FILE = Path("centre") / "observed.toml"
