"""The US National Weather Service: weather and waves in and around the United States, asked in two steps.

The first answer names the address of the grid; the second holds layers, each with its own unit and its own spans of
time, "start/duration". A span's value holds throughout. Layers may be empty. Waves are swell and wind sea together.

Source: the service's documentation, public domain; the layers of rain and of weather words are from memory.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from tripplan.feeds.answer import (
    Asked,
    Gathering,
    Part,
    Value,
    fetch_part,
    in_order,
    moment_of,
    note_of,
    number,
    optional_moment,
    place_of,
    read_or_note,
    rows,
    stamp,
    table,
)
from tripplan.feeds.session import Answer, FeedSession, NoAnswer, Unusable, four_decimals
from tripplan.feeds.settings import NationalWeatherServiceSettings

WORDS = "US National Weather Service"
ATTRIBUTION = "US National Weather Service, public domain"
FARTHEST_KM = 25.0
_LAYERS = {
    "windSpeed": "wind_m_s",
    "windGust": "gust_m_s",
    "windDirection": "wind_from_deg",
    "temperature": "air_c",
    "quantitativePrecipitation": "rain_mm",
    "visibility": "visibility_m",
}
_SEA_LAYERS = {"waveHeight": "wave_m", "wavePeriod": "wave_s", "waveDirection": "wave_from_deg"}
_DURATION = re.compile(r"P(?:([0-9]{1,3})D)?(?:T(?:([0-9]{1,4})H)?(?:([0-9]{1,4})M)?)?")


def parse_grid(answer: Answer, asked: Asked, *, sea: bool = True) -> Part:
    """Return what the layers of a grid point hold, and notes on what they do not."""
    return read_or_note(WORDS, _with_sea if sea else _without_sea, answer, asked)


def _with_sea(answer: Answer, asked: Asked) -> Part:
    return _grid(answer, asked, {**_LAYERS, **_SEA_LAYERS})


def _without_sea(answer: Answer, asked: Asked) -> Part:
    return _grid(answer, asked, _LAYERS)


def _grid(answer: Answer, asked: Asked, layers: dict[str, str]) -> Part:
    found = Gathering(WORDS, answer, asked, ATTRIBUTION)
    properties = table(answer.body.get("properties"))
    ring = rows(next(iter(rows(table(answer.body.get("geometry")).get("coordinates"))), None))
    corners = [(number(rows(each)[0]), number(rows(each)[1])) for each in ring if len(rows(each)) >= 2]
    known = [(longitude, latitude) for longitude, latitude in corners if longitude is not None and latitude is not None]
    if not known:
        raise Unusable("the answer does not say for which place it is")
    longitude_deg = sum(longitude for longitude, _ in known) / len(known)
    latitude_deg = sum(latitude for _, latitude in known) / len(known)
    place = place_of(latitude_deg, longitude_deg, asked, FARTHEST_KM)
    found.came_for(place, optional_moment(properties.get("updateTime")))
    ends = [_take(found, properties, name, quantity) for name, quantity in layers.items()]
    ends.append(_take_thunder(found, properties))
    last = max((end for end in ends if end is not None), default=None)
    if last is not None and last < asked.now:
        raise Unusable(f"the answer ends at {stamp(last)}, before now")
    return found.part


def _span(text: object) -> tuple[datetime, datetime]:
    """Read "2026-06-14T18:00:00+00:00/P1DT6H"."""
    start_text, _, length_text = text.partition("/") if isinstance(text, str) else ("", "", "")
    match = _DURATION.fullmatch(length_text)
    start = moment_of(start_text)
    days, hours, minutes = (int(part or 0) for part in match.groups()) if match else (0, 0, 0)
    length = timedelta(days=days, hours=hours, minutes=minutes)
    if not length:
        raise Unusable("a span of time in the answer has no length")
    return start, start + length


def _spans(values: Any) -> tuple[tuple[datetime, ...], tuple[datetime, ...], list[object]]:
    """Return starts, ends and raw values of a layer.  Raises Unusable where the spans cannot be."""
    entries = [table(each) for each in rows(values)]
    spans = [_span(entry.get("validTime")) for entry in entries]
    starts = in_order([start for start, _ in spans])
    if any(second < end for (_, end), (second, _) in pairwise(spans)):
        raise Unusable("spans of time in the answer overlap")
    return starts, tuple(end for _, end in spans), [entry.get("value") for entry in entries]


def _take(found: Gathering, properties: Any, name: str, quantity: str) -> datetime | None:
    layer = table(properties.get(name))
    if not rows(layer.get("values")):
        found.lacks(quantity)
        return None
    try:
        starts, ends, given = _spans(layer["values"])
    except Unusable as error:
        found.say(f"{error}; its {name} is not used")
        return None
    found.take(quantity, starts, ends, given, layer.get("uom"))
    return ends[-1]


def _take_thunder(found: Gathering, properties: Any) -> datetime | None:
    """Take thunder from the words of the weather: a span without words is a span without weather."""
    layer = table(properties.get("weather"))
    if not rows(layer.get("values")):
        found.lacks("thunder")
        return None
    try:
        starts, ends, given = _spans(layer["values"])
    except Unusable as error:
        found.say(f"{error}; its weather is not used")
        return None
    found.take_known("thunder", starts, ends, [_thunder(each) for each in given])
    return ends[-1]


def _thunder(value: object) -> Value:
    if not isinstance(value, list):
        return None
    words = [table(each).get("weather") for each in value]
    if any(isinstance(word, str) and "thunder" in word for word in words):
        return 1.0
    return 0.0 if words and all(word is None or isinstance(word, str) for word in words) else None


@dataclass(frozen=True)
class NationalWeatherService:
    """The service's question for one point."""

    settings: NationalWeatherServiceSettings
    sea: bool = True
    words: str = WORDS

    def fetch(self, session: FeedSession, asked: Asked, deadline: float | None) -> Part:
        """Return what the service gives; see Source."""
        host = self.settings.host
        # The service sends whoever writes trailing zeros to another address; without them nothing is asked twice.
        place = ",".join(_short(angle) for angle in (asked.latitude_deg, asked.longitude_deg))
        points = f"{host}/points/{place}"

        def usable(body: Any) -> None:
            _grid_address(body, host)

        try:
            answer = (
                session.kept(points, {})
                if deadline is None
                else session.ask(points, {}, deadline=deadline, usable=usable)
            )
            address = _grid_address(answer.body, host)
        except (NoAnswer, Unusable) as error:
            return Part(notes=(note_of(self.words, str(error), asked),))
        read = _with_sea if self.sea else _without_sea
        return fetch_part(session, asked, deadline, self.words, address, {}, read)


def _short(angle_deg: float) -> str:
    return four_decimals(angle_deg).rstrip("0").rstrip(".")


def _grid_address(body: Any, host: str) -> str:
    """Return the address of the grid that the first answer names; only one at the same service is followed."""
    address = table(body.get("properties")).get("forecastGridData")
    if not isinstance(address, str) or not re.fullmatch(re.escape(host) + r"/gridpoints/[A-Z]{2,4}/[0-9,]+", address):
        raise Unusable("the answer does not say where its forecast is")
    return address


def sources(settings: NationalWeatherServiceSettings, *, sea: bool) -> tuple[NationalWeatherService, ...]:
    """Return the questions that a centre's settings ask of the service."""
    return (NationalWeatherService(settings, sea),)
