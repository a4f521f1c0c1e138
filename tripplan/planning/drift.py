"""Where a diver who is missed may have drifted: the site's stream and wind, minute by minute, into a search area."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from tripplan.catalogue.site import Site
from tripplan.emergency.search_area import STEP_MIN, STEPS, SearchArea, search_area
from tripplan.environment.position import Position
from tripplan.planning.setting import stream_as_seen
from tripplan.planning.shore import weather_of
from tripplan.planning.window import DayGrid, site_stream
from tripplan.planning.world import World


def search_at(site: Site, last_seen: Position, last_seen_at: datetime, world: World) -> SearchArea:
    """Return where to look for somebody last seen at a place and time, for the two hours after.

    last_seen_at -- aware;  Raises OutOfRange for a naive time.
    """
    minute = last_seen_at.astimezone(UTC).replace(tzinfo=None, second=0, microsecond=0)
    day = last_seen_at.astimezone(DayGrid(last_seen_at.date(), site.timezone).zone).date()
    morning = DayGrid(day, site.timezone).times[0]
    first = np.datetime64(minute, "m")
    last = first + np.timedelta64(STEP_MIN * STEPS, "m")
    # From midnight on, since what was seen earlier in the day still moves the reckoned stream.
    minutes = np.arange(morning, last + np.timedelta64(1, "m"), np.timedelta64(1, "m"))
    station = world.stations.get(site.tide.station) if site.tide.station else None
    turning = station.tide if station else None
    stream = site_stream(site)
    rates = np.array([]) if stream is None else stream.rates_kn(turning, minutes)
    toward = np.array([]) if stream is None else stream.toward_deg(turning, minutes)
    weather = weather_of(world.conditions.get(site.slug), minutes, world.rules)
    wind, wind_from = np.array([]), np.array([])
    if weather is not None:
        if weather.minutes.knows("stream_kn"):
            rates = stream_as_seen(rates, weather)
            toward = toward if len(toward) else np.full(len(minutes), np.nan)
        wind, wind_from = weather.minutes["wind_m_s"], weather.minutes["wind_from_deg"]
    now = int((first - morning) / np.timedelta64(1, "m"))

    def onward(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return values[now:] if len(values) else values

    return search_area(
        last_seen, last_seen_at, onward(rates), onward(toward), onward(wind), onward(wind_from), world.rules
    )


def starts_within(start: datetime, end: datetime) -> tuple[datetime, ...]:
    """Return a time every ten minutes from a start to before an end: when somebody may last have been seen."""
    count = max(1, math.ceil((end - start) / timedelta(minutes=STEP_MIN)))
    return tuple(start + timedelta(minutes=STEP_MIN * number) for number in range(count))
