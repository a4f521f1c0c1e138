"""The Norwegian Meteorological Institute: weather worldwide, waves and water temperature in north-west Europe.

Its answers are a list of times, each with values of that instant and of the next one, six and twelve hours: hourly for
some two and a half days, then every six hours; the last time has no hours after it. The service demands an honest
User-Agent, coordinates of four decimals at most, and that an answer is kept until it expires and then asked for with
If-Modified-Since. Near the coast the point is moved to the nearest point of water.

Source: the service's documentation, data under CC BY 4.0; gusts only in the complete answer, from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tripplan.feeds.answer import (
    HOUR,
    Asked,
    Gathering,
    Part,
    Value,
    fetch_part,
    in_order,
    moment_of,
    optional_moment,
    place_of,
    read_or_note,
    rows,
    stamp,
    table,
)
from tripplan.feeds.session import Answer, FeedSession, Unusable, four_decimals
from tripplan.feeds.settings import MetNorwaySettings

WEATHER = "MET Norway (weather)"
SEA = "MET Norway (sea)"
ATTRIBUTION = "Data from the Norwegian Meteorological Institute (MET Norway), CC BY 4.0"
FARTHEST_WEATHER_KM = 25.0  # a grid moves the point; farther is another place
FARTHEST_SEA_KM = 40.0

_WEATHER = {
    "wind_speed": "wind_m_s",
    "wind_speed_of_gust": "gust_m_s",
    "wind_from_direction": "wind_from_deg",
    "air_temperature": "air_c",
}
_SEA = {
    "sea_surface_wave_height": "wave_m",
    "sea_surface_wave_from_direction": "wave_from_deg",
    "sea_water_temperature": "water_c",
}
_RAIN = "precipitation_amount"
_NEXT = (("next_1_hours", HOUR), ("next_6_hours", 6 * HOUR))


def parse_weather(answer: Answer, asked: Asked) -> Part:
    """Return the weather that an answer holds, and notes on what it does not."""
    return read_or_note(WEATHER, _weather, answer, asked)


def parse_sea(answer: Answer, asked: Asked) -> Part:
    """Return the waves and the water temperature that an answer holds, and notes on what it does not."""
    return read_or_note(SEA, _sea, answer, asked)


@dataclass(frozen=True)
class _Steps:
    """The times of an answer with what is said at each, and the units by name."""

    times: tuple[datetime, ...]
    data: tuple[Mapping[str, Any], ...]
    units: Mapping[str, Any]

    def instant(self, name: str) -> list[object]:
        """Return the values of a name at each time."""
        return [table(table(each.get("instant")).get("details")).get(name) for each in self.data]

    def spans(self) -> tuple[list[datetime], list[Mapping[str, Any]]]:
        """Return for each time the end of the hours that follow it, and what is said of them: the shortest that is.

        Six hours are taken only where no other time falls into them: the same rain must not count twice.
        """
        ends: list[datetime] = []
        said: list[Mapping[str, Any]] = []
        for number, (start, each) in enumerate(zip(self.times, self.data, strict=True)):
            following = self.times[number + 1] if number + 1 < len(self.times) else None
            for name, length in _NEXT:
                if isinstance(each.get(name), dict) and (following is None or start + length <= following):
                    ends.append(start + length)
                    said.append(each[name])
                    break
            else:
                ends.append(following or start)
                said.append({})
        return ends, said


def _opened(answer: Answer, asked: Asked, words: str, farthest_km: float) -> tuple[Gathering, _Steps]:
    found = Gathering(words, answer, asked, ATTRIBUTION)
    properties = table(answer.body.get("properties"))
    meta = table(properties.get("meta"))
    entries = rows(properties.get("timeseries"))
    if not entries:
        raise Unusable("the answer holds no forecast (the place may be outside what the service covers)")
    point = rows(table(answer.body.get("geometry")).get("coordinates"))
    if len(point) < 2:
        raise Unusable("the answer does not say for which place it is")
    found.came_for(place_of(point[1], point[0], asked, farthest_km), optional_moment(meta.get("updated_at")))
    times = in_order([moment_of(table(entry).get("time")) for entry in entries])
    if times[-1] < asked.now:
        raise Unusable(f"the answer ends at {stamp(times[-1])}, before now")
    return found, _Steps(times, tuple(table(table(entry).get("data")) for entry in entries), table(meta.get("units")))


def _weather(answer: Answer, asked: Asked) -> Part:
    found, steps = _opened(answer, asked, WEATHER, FARTHEST_WEATHER_KM)
    for name, quantity in _WEATHER.items():
        found.take(quantity, steps.times, steps.times, steps.instant(name), steps.units.get(name))
    ends, said = steps.spans()
    # The last time has no hours after it; with them left out, no hole is told.
    count = len(said) - 1 if len(said) > 1 and not said[-1] else len(said)
    starts, ends, said = steps.times[:count], ends[:count], said[:count]
    rain = [table(each.get("details")).get(_RAIN) for each in said]
    found.take("rain_mm", starts, ends, rain, steps.units.get(_RAIN))
    found.take_known("thunder", starts, ends, _thunder(said))
    return found.part


def _thunder(said: Sequence[Mapping[str, Any]]) -> list[Value]:
    """Return 1 where the symbol of the hours speaks of thunder, 0 where it does not, None where there is none."""
    symbols = [table(each.get("summary")).get("symbol_code") for each in said]
    return [(1.0 if "thunder" in symbol else 0.0) if isinstance(symbol, str) and symbol else None for symbol in symbols]


def _sea(answer: Answer, asked: Asked) -> Part:
    found, steps = _opened(answer, asked, SEA, FARTHEST_SEA_KM)
    for name, quantity in _SEA.items():
        found.take(quantity, steps.times, steps.times, steps.instant(name), steps.units.get(name))
    return found.part


@dataclass(frozen=True)
class MetNorway:
    """One of the service's questions: weather or sea."""

    settings: MetNorwaySettings
    words: str = WEATHER

    def fetch(self, session: FeedSession, asked: Asked, deadline: float | None) -> Part:
        """Return what the service gives; see Source."""
        product, read = {WEATHER: ("locationforecast", _weather), SEA: ("oceanforecast", _sea)}[self.words]
        address = f"{self.settings.host}/weatherapi/{product}/2.0/complete"
        params = {"lat": four_decimals(asked.latitude_deg), "lon": four_decimals(asked.longitude_deg)}
        return fetch_part(session, asked, deadline, self.words, address, params, read, by_headers=True)


def sources(settings: MetNorwaySettings, *, sea: bool) -> tuple[MetNorway, ...]:
    """Return the questions that a centre's settings ask of the service."""
    weather = MetNorway(settings, WEATHER)
    return (weather, MetNorway(settings, SEA)) if sea else (weather,)
