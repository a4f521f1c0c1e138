"""Open-Meteo: weather, waves and water temperature worldwide, and the members of an ensemble.

Its answers are columns: one list of times, one list for each variable, and the units by variable. Rain and gusts are
of the hour before their time. Its level of the sea is a model's on an 8 km grid and never asked for: entries and exits
go by a tide station.

Source: the service's documentation, data under CC BY 4.0; the shape of the ensemble's answer is from memory.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tripplan.environment.conditions import QUANTITIES, Series
from tripplan.feeds.answer import (
    HOUR,
    MOST_TIMES,
    Asked,
    Gathering,
    Part,
    Value,
    fetch_part,
    in_order,
    moment_of,
    number,
    place_of,
    read_or_note,
    rows,
    stamp,
    table,
)
from tripplan.feeds.session import Answer, FeedSession, Params, Unusable, four_decimals, plain
from tripplan.feeds.settings import OpenMeteoSettings

WEATHER = "Open-Meteo (weather)"
SEA = "Open-Meteo (sea)"
ENSEMBLE = "Open-Meteo (ensemble)"
ATTRIBUTION = "Weather data by Open-Meteo.com, CC BY 4.0"
PAST_DAYS = 3  # rain of the last 72 h
AHEAD_DAYS = 8  # a week, and today
FARTHEST_WEATHER_KM = 25.0  # a grid moves the point; farther is another place
FARTHEST_SEA_KM = 40.0  # the nearest cell of water of the coarser wave models
THUNDER_CODES = frozenset({95, 96, 99})  # WMO 4677 as the service uses it: thunderstorm, with and without hail

_MOMENTS = {
    "temperature_2m": "air_c",
    "wind_speed_10m": "wind_m_s",
    "wind_direction_10m": "wind_from_deg",
    "visibility": "visibility_m",
}
_HOUR_BEFORE = {"wind_gusts_10m": "gust_m_s", "precipitation": "rain_mm"}
_CODE = "weather_code"
_SEA = {
    "wave_height": "wave_m",
    "wave_direction": "wave_from_deg",
    "wave_period": "wave_s",
    "wind_wave_height": "wind_sea_m",
    "wind_wave_direction": "wind_sea_from_deg",
    "wind_wave_period": "wind_sea_s",
    "swell_wave_height": "swell_m",
    "swell_wave_direction": "swell_from_deg",
    "swell_wave_period": "swell_s",
    "sea_surface_temperature": "water_c",
}
_OF_MEMBERS = ("wind_speed_10m", "wind_direction_10m", "wind_gusts_10m", "precipitation")


def parse_weather(answer: Answer, asked: Asked) -> Part:
    """Return the weather that an answer holds, and notes on what it does not."""
    return read_or_note(WEATHER, _weather, answer, asked)


def parse_sea(answer: Answer, asked: Asked) -> Part:
    """Return the waves and the water temperature that an answer holds, and notes on what it does not."""
    return read_or_note(SEA, _sea, answer, asked)


def parse_ensemble(answer: Answer, asked: Asked) -> Part:
    """Return the members of an ensemble that an answer holds, and notes on what it does not."""
    return read_or_note(ENSEMBLE, _ensemble, answer, asked)


class _Columns:
    """The columns of an answer on a full grid of hours; an hour that the answer leaves out is None in each."""

    def __init__(self, answer: Answer, asked: Asked) -> None:
        body = answer.body
        offset_s, zone = number(body.get("utc_offset_seconds")), body.get("timezone")
        hourly = table(body.get("hourly"))
        given = rows(hourly.get("time"))
        if offset_s is None and not all(isinstance(text, str) and text.endswith("Z") for text in given):
            raise Unusable("the answer does not say in which time zone it is")
        if offset_s:
            raise Unusable(f'the answer is in the time of "{plain(zone, 40)}", not in UTC as asked')
        times = in_order([moment_of(text) for text in given])
        if times[-1] < asked.now:
            raise Unusable(f"the answer ends at {stamp(times[-1])}, before now")
        count = (times[-1] - times[0]) // HOUR + 1
        if any((moment - times[0]) % HOUR for moment in times) or count > MOST_TIMES:
            raise Unusable("the times of the answer are not hour by hour")
        self.times = tuple(times[0] + HOUR * hour for hour in range(count))
        self.left_out = count - len(times)
        self._at = [(moment - times[0]) // HOUR for moment in times]
        self._hourly: Mapping[str, Any] = hourly
        self._units = table(body.get("hourly_units"))

    def __getitem__(self, name: str) -> tuple[object, ...]:
        """Return a column; None for an hour without a value, and everywhere where there is no such column."""
        found: list[object] = [None] * len(self.times)
        given = rows(self._hourly.get(name))
        if given and len(given) != len(self._at):
            raise Unusable(f"the answer holds {len(self._at)} times but {len(given)} values of {plain(name, 40)}")
        for hour, value in zip(self._at, given, strict=False):
            found[hour] = value
        return tuple(found)

    def unit(self, name: str) -> object:
        """Return the unit of a column as the answer names it."""
        return self._units.get(name)

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the columns."""
        return tuple(self._hourly)


def _opened(answer: Answer, asked: Asked, words: str, farthest_km: float) -> tuple[Gathering, _Columns]:
    found = Gathering(words, answer, asked, ATTRIBUTION)
    place = place_of(answer.body.get("latitude"), answer.body.get("longitude"), asked, farthest_km)
    found.came_for(place, None)
    columns = _Columns(answer, asked)
    if columns.left_out:
        found.say(f"leaves out {columns.left_out} of {len(columns.times)} hours")
    return found, columns


def _take(found: Gathering, columns: _Columns, name: str, quantity: str, unit: object) -> None:
    times = columns.times
    if name.partition("_member")[0] in _HOUR_BEFORE:
        found.take(quantity, [moment - HOUR for moment in times], times, columns[name], unit)
    else:
        found.take(quantity, times, times, columns[name], unit)


def _weather(answer: Answer, asked: Asked) -> Part:
    found, columns = _opened(answer, asked, WEATHER, FARTHEST_WEATHER_KM)
    for name, quantity in {**_MOMENTS, **_HOUR_BEFORE}.items():
        _take(found, columns, name, quantity, columns.unit(name))
    _take_thunder(found, columns)
    return found.part


def _take_thunder(found: Gathering, columns: _Columns) -> None:
    """Take thunder: a code stands for the hour before its time and for the hour after, so that none is missed."""
    codes = columns[_CODE]
    if columns.unit(_CODE) != "wmo code" and any(code is not None for code in codes):
        found.say("gives the weather in codes that are not known here; thunder is not told")
        return
    told: list[Value] = []
    wrong = 0
    for code in codes:
        known = number(code)
        if known is None or not (0 <= known <= 99 and known == int(known)):
            wrong += code is not None
            told.append(None)
        else:
            told.append(1.0 if int(known) in THUNDER_CODES else 0.0)
    if wrong:
        found.say(f"gives {wrong} codes of the weather that cannot be; left out")
    starts = [columns.times[0] - HOUR, *columns.times]
    either = [_either(one, two) for one, two in zip([told[0], *told], [*told, told[-1]], strict=True)]
    found.take_known("thunder", starts, [moment + HOUR for moment in starts], either)


def _either(one: Value, two: Value) -> Value:
    """Return 1 where either says thunder, 0 where both say none, else not known."""
    if 1.0 in (one, two):
        return 1.0
    return None if one is None or two is None else 0.0


def _sea(answer: Answer, asked: Asked) -> Part:
    found, columns = _opened(answer, asked, SEA, FARTHEST_SEA_KM)
    if all(value is None for name in _SEA for value in columns[name]):
        found.say("knows no sea at this place (it may lie inland, or in a bay too small for its grid)")
        return found.part
    for name, quantity in _SEA.items():
        _take(found, columns, name, quantity, columns.unit(name))
    return found.part


def _ensemble(answer: Answer, asked: Asked) -> Part:
    found, columns = _opened(answer, asked, ENSEMBLE, FARTHEST_WEATHER_KM)
    numbers = sorted(
        {int(match[1]) for name in columns.names if (match := re.fullmatch(r"[a-z0-9_]+_member([0-9]{2,3})", name))}
    )
    quantities = {**_MOMENTS, **_HOUR_BEFORE}
    members: list[tuple[Series, ...]] = []
    unusable = 0
    for member in numbers:
        one = Gathering(ENSEMBLE, answer, asked, ATTRIBUTION)
        one.came_for(
            place_of(answer.body.get("latitude"), answer.body.get("longitude"), asked, FARTHEST_WEATHER_KM), None
        )
        for name in _OF_MEMBERS:
            column = f"{name}_member{member:02d}"
            _take(one, columns, column, quantities[name], columns.unit(column) or columns.unit(name))
        if any(series.quantity == "wind_m_s" for series in one.series):
            members.append(tuple(one.series))
        unusable += bool(one.notes)
    if unusable:
        found.say(f"{unusable} of {len(numbers)} members are not complete")
    if len(members) < 2:
        found.say(f"holds no ensemble of {QUANTITIES['wind_m_s'].words}")
        return found.part
    return Part((), tuple(found.notes), tuple(members))


@dataclass(frozen=True)
class OpenMeteo:
    """One of the service's questions: weather, sea or ensemble."""

    settings: OpenMeteoSettings
    words: str = WEATHER
    over_water: bool = True  # ask for the nearest cell of water, where the wind is stronger than over land

    def fetch(self, session: FeedSession, asked: Asked, deadline: float | None) -> Part:
        """Return what the service gives; see Source."""
        settings = self.settings
        host, path, names, read, more = {
            WEATHER: (settings.host, "/v1/forecast", (*_MOMENTS, *_HOUR_BEFORE, _CODE), _weather, self._wind()),
            SEA: (settings.marine_host, "/v1/marine", tuple(_SEA), _sea, {"length_unit": "metric"}),
            ENSEMBLE: (settings.ensemble_host, "/v1/ensemble", _OF_MEMBERS, _ensemble, self._wind()),
        }[self.words]
        params = {
            "latitude": four_decimals(asked.latitude_deg),
            "longitude": four_decimals(asked.longitude_deg),
            "hourly": ",".join(names),
            "past_days": str(PAST_DAYS),
            "forecast_days": str(AHEAD_DAYS),
            "timezone": "GMT",
            "cell_selection": "sea" if self.over_water else "nearest",
            **more,
        }
        if self.words == ENSEMBLE:
            params["models"] = settings.ensemble_model
        if settings.api_key:
            params["apikey"] = settings.api_key
        return fetch_part(session, asked, deadline, self.words, host + path, params, read)

    @staticmethod
    def _wind() -> Params:
        return {"wind_speed_unit": "ms", "temperature_unit": "celsius", "precipitation_unit": "mm"}


def sources(settings: OpenMeteoSettings, *, sea: bool) -> tuple[OpenMeteo, ...]:
    """Return the questions that a centre's settings ask of the service."""
    found = [OpenMeteo(settings, WEATHER, sea)]
    if sea:
        found.append(OpenMeteo(settings, SEA, sea))
    if settings.ensemble_model:
        found.append(OpenMeteo(settings, ENSEMBLE, sea))
    return tuple(found)
