"""The sea at one site on one day: the forecast of the open water brought to the shore, minute by minute.

Swell is cut down where the site's survey says that it lies sheltered; the wind sea grows over the open water that the
survey lists; each train breaks on its own. What is not known is left out and the minute marked incomplete: the known
parts alone may already be too much.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC

import numpy as np
from numpy.typing import NDArray

from tripplan.catalogue.site import Access, Site
from tripplan.environment.conditions import Conditions, Forecast, Sampled, Seen, m_s, sample
from tripplan.environment.waves import (
    breaker_height_m,
    breaker_types,
    combined_height_m,
    grown_wind_sea,
    largest_of,
    surf_similarity,
    swell_share,
)
from tripplan.environment.wind import knots
from tripplan.rulebook import RuleBook

HIGHEST_BREAKER_M = 40.0  # beyond any that was measured; every limit lies far below
LEAST_WAVE_M = 0.001  # less is no wave
HISTORY_H = 24  # how far back the wind counts that raised today's sea

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Weather:
    """What is known of wind, sea and weather on one day at a site."""

    minutes: Sampled  # at each minute of the day and the midnight after
    hours: Sampled  # each hour from a day before to the end of the day: the wind that raised the sea
    forecast: Forecast | None
    seen: tuple[Seen, ...]
    thunder_before: Flags  # at each minute of a wait before the day
    gust_factor: float  # gusts, where nobody gives them, as a multiple of the wind

    def raised(self, wind_kn: float = 0.0, swell_m: float = 0.0) -> Weather:
        """Return the weather with more wind (and gusts) and a higher swell, where they are known."""
        rises = {
            "wind_m_s": m_s(wind_kn),
            "gust_m_s": m_s(wind_kn),
            "swell_m": swell_m,
            "wave_m": swell_m,
        }
        if not swell_m:
            rises = {key: rise for key, rise in rises.items() if rise}
        return replace(self, minutes=self.minutes.raised(rises), hours=self.hours.raised(rises))

    @property
    def wind_kn(self) -> Values:
        """The wind at each minute, knots, NaN unknown."""
        return np.asarray(knots(self.minutes["wind_m_s"]))

    @property
    def gust_kn(self) -> Values:
        """The gusts at each minute, knots: never below the wind, and a multiple of it where nobody gives them."""
        wind, gust = self.wind_kn, np.asarray(knots(self.minutes["gust_m_s"]))
        taken = np.fmax(gust, wind * self.gust_factor)
        return np.asarray(np.where(self.gusts_taken, taken, np.fmax(gust, wind)))

    @property
    def gusts_taken(self) -> Flags:
        """The minutes whose gusts are a multiple of the wind: nobody gives them, or only for another wind than seen."""
        minutes = self.minutes
        other = minutes.stands("wind_m_s") & ~minutes.stands("gust_m_s")
        return (np.isnan(minutes["gust_m_s"]) | other) & np.isfinite(minutes["wind_m_s"])


def weather_of(conditions: Conditions | None, minutes: NDArray[np.datetime64], rules: RuleBook) -> Weather | None:
    """Return the weather of a day from what is known at the site; None where nothing was told.

    minutes -- each minute of the day and the midnight after it, UTC
    """
    conditions = _of_the_day(conditions, minutes, rules)
    if conditions is None or (conditions.forecast is None and not conditions.seen):
        return None
    holds_h = rules.value("conditions.observed_holds_h")
    first = minutes[0].astype("datetime64[h]") - np.timedelta64(HISTORY_H, "h")
    hours = np.arange(first, minutes[-1].astype("datetime64[h]") + np.timedelta64(2, "h"), np.timedelta64(1, "h"))
    wait = int(rules.value("observe.thunder_wait_min"))
    eve = minutes[0] - np.arange(wait, 0, -1).astype("timedelta64[m]")
    return Weather(
        thunder_before=np.nan_to_num(sample(conditions, eve, holds_h)["thunder"]) > 0,
        minutes=sample(conditions, minutes, holds_h),
        hours=sample(conditions, hours.astype("datetime64[m]"), holds_h),
        forecast=conditions.forecast,
        seen=conditions.seen,
        gust_factor=rules.value("wind.gust_factor"),
    )


def _of_the_day(conditions: Conditions | None, minutes: NDArray[np.datetime64], rules: RuleBook) -> Conditions | None:
    """Return the conditions without what was seen on days before, which says nothing of this one."""
    if conditions is None:
        return None
    carries = np.timedelta64(round(rules.value("conditions.observed_carries_h") * 60), "m")
    kept = []
    for seen in conditions.seen:
        when = np.datetime64(seen.time.astimezone(UTC).replace(tzinfo=None), "m")
        if when <= minutes[-1] and (when >= minutes[0] - carries or seen.quantity == "heavy_rain_h"):
            kept.append(seen)
    return Conditions(conditions.forecast, tuple(kept))


@dataclass(frozen=True)
class ShoreSea:
    """The sea at the site, one value a minute; NaN where no part of it is known."""

    swell_m: Values  # after shelter
    swell_s: Values
    wind_sea_m: Values
    wind_sea_s: Values
    deep_m: Values  # both together, before they break
    breaker_m: Values  # the significant breaking wave
    largest_m: Values  # the largest to be expected in the minutes of a watch
    seen: Flags  # the breaking wave was seen, not reckoned
    incomplete: Flags  # a part of the sea is not known
    period_taken: Flags  # the swell's period is not known and was taken long
    exposure_known: bool  # the site file says which bearings are open to swell
    fetch_known: bool  # and how much open water lies where
    higher_than_reckoned: tuple[tuple[Seen, float], ...] = ()  # surf seen, and what was reckoned for its time

    @property
    def known(self) -> Flags:
        """The minutes of which something is known."""
        return np.isfinite(self.breaker_m)

    def kinds_of_breaker(self, access: Access, counts_m: float = 0.0) -> NDArray[np.str_] | None:
        """Return for each minute how the waves break at a way in or out; None where its slope is not known.

        counts_m -- a train that breaks lower than this is not asked, unless it is the higher one

        The worst of the trains counts: a wind sea that spills does not hide a swell that dumps. "unknown" where no
        train is known, or nothing but a breaking wave was seen.
        """
        if access.slope is None:
            return None
        trains = [
            (np.nan_to_num(height), np.nan_to_num(period))
            for height, period in ((self.swell_m, self.swell_s), (self.wind_sea_m, self.wind_sea_s))
        ]
        breakers = [_breaker(height, period) for height, period in trains]
        highest = np.maximum(*breakers)
        worst = np.full(highest.shape, "unknown", dtype="<U8")
        found = np.zeros(highest.shape, dtype=int)
        for (height, period), breaker in zip(trains, breakers, strict=True):
            kinds = breaker_types(np.asarray(surf_similarity(access.slope, height, period)))
            asked = (height > 0) & ((breaker >= counts_m) | (breaker >= highest))
            rank = np.where(asked, np.select([kinds == "plunging", kinds == "surging"], [3, 2], 1), 0)
            worst = np.where(rank > found, kinds, worst)
            found = np.maximum(rank, found)
        return np.asarray(worst)


def _breaker(height_m: Values, period_s: Values) -> Values:
    """Return breaker heights; 0 where there is no wave."""
    found = np.where(height_m > 0, np.asarray(breaker_height_m(height_m, np.nan_to_num(period_s))), 0.0)
    return np.minimum(found, HIGHEST_BREAKER_M)


def shore_sea(site: Site, weather: Weather, rules: RuleBook) -> ShoreSea:
    """Return the sea at a site from the weather of the day."""
    minutes = weather.minutes
    swell_m, swell_s, taken, exposure_known = _swell(site, minutes, rules)
    wind_sea_m, wind_sea_s, wind_taken, fetch_known = _wind_sea(site, weather, rules)
    reaches_swell = site.water.kind != "fresh"
    incomplete = np.isnan(wind_sea_m) | (np.isnan(swell_m) & reaches_swell)
    nothing = np.isnan(wind_sea_m) & (np.isnan(swell_m) | (not reaches_swell))
    swell, wind_sea = np.nan_to_num(swell_m), np.nan_to_num(wind_sea_m)
    breaker = np.asarray(combined_height_m(_breaker(swell, swell_s), _breaker(wind_sea, wind_sea_s)))
    breaker = np.where(nothing, np.nan, breaker)
    period = np.fmax(np.nan_to_num(wind_sea_s), np.where(swell > 0, np.nan_to_num(swell_s), 0.0))
    watched = rules.value("observe.wave_watch_min")
    shortest = np.where(period > 0, period, 1.0)  # a flat sea has no period; its largest wave is none
    largest = np.where(breaker > 0, np.asarray(largest_of(np.nan_to_num(breaker), shortest, watched)), breaker)
    breaker, rise, higher = _raised_by_seen(breaker, weather)
    largest = largest + rise
    observed = minutes["breaker_m"]
    seen = np.isfinite(observed)
    return ShoreSea(
        swell_m=swell_m,
        swell_s=swell_s,
        wind_sea_m=wind_sea_m,
        wind_sea_s=wind_sea_s,
        deep_m=np.asarray(combined_height_m(swell, wind_sea)),
        breaker_m=np.where(seen, observed, breaker),
        largest_m=np.where(seen, observed, largest),
        seen=seen,
        incomplete=incomplete & ~seen,
        period_taken=(taken | wind_taken) & ~seen,
        higher_than_reckoned=higher,
        exposure_known=exposure_known,
        fetch_known=fetch_known,
    )


def _raised_by_seen(breaker: Values, weather: Weather) -> tuple[Values, Values, tuple[tuple[Seen, float], ...]]:
    """Return the surf raised, from each time on, by what it was seen above what is reckoned for that time."""
    rise = np.zeros(breaker.shape)
    higher = []
    for seen in sorted(weather.seen, key=lambda each: each.time.timestamp()):
        if seen.quantity != "breaker_m":
            continue
        when = np.datetime64(seen.time.astimezone(UTC).replace(tzinfo=None), "m")
        at = int((when - weather.minutes.times[0]) / np.timedelta64(1, "m"))
        if not 0 <= at < len(breaker) or np.isnan(breaker[at]):
            continue
        above = seen.value - float(breaker[at])
        rise[at:] = max(above, 0.0)
        if above > 0:
            higher.append((seen, float(breaker[at])))
    return breaker + rise, rise, tuple(higher)


def _swell(site: Site, minutes: Sampled, rules: RuleBook) -> tuple[Values, Values, Flags, bool]:
    """Return height and period of the swell at the site, where the period was taken, and if the shelter is known."""
    none = np.zeros(minutes.times.shape)
    if site.water.kind == "fresh":
        return none, none, none.astype(bool), True
    swell, whole = minutes["swell_m"], minutes["wave_m"]
    # Without a swell of its own, or where the whole sea was seen, the whole stands for it: rather too much.
    apart = np.isfinite(swell) & ~(minutes.stands("wave_m") & ~minutes.stands("swell_m"))
    height = np.where(apart, swell, whole)
    period = np.where(apart, minutes["swell_s"], minutes["wave_s"])
    bearing = np.where(apart, minutes["swell_from_deg"], minutes["wave_from_deg"])
    known = "exposure" in site.model_fields_set and "open_to_swell" in site.exposure.model_fields_set
    if known:
        height = height * _share(site, bearing, rules)
    height = np.where(height < LEAST_WAVE_M, 0.0, height)
    taken = ~(period > 0) & (height > 0)
    period = np.where(taken, rules.value("surf.unknown_period_s"), period)
    return height, period, taken, known


def _share(site: Site, bearing: Values, rules: RuleBook) -> Values:
    sectors = [(sector.from_deg, sector.to_deg) for sector in site.exposure.open_to_swell]
    return np.asarray(
        swell_share(bearing, sectors, rules.value("surf.wrap_deg"), rules.value("surf.sheltered_share")), dtype=float
    )


def _wind_sea(site: Site, weather: Weather, rules: RuleBook) -> tuple[Values, Values, Flags, bool]:
    """Return height and period of the wind sea at the site, where the period was taken, and if open water is known.

    The higher of what the wind raises over the open water listed, and of the forecast's own wind sea where it can run
    in from an open sector.
    """
    minutes, hours = weather.minutes, weather.hours
    known = "exposure" in site.model_fields_set and "fetch" in site.exposure.model_fields_set
    height = np.full(minutes.times.shape, np.nan)
    period = np.full(minutes.times.shape, np.nan)
    if known:
        fetches = [(fetch.bearing_deg, fetch.km * 1000.0) for fetch in site.exposure.fetch]
        grown = grown_wind_sea(hours["wind_m_s"], hours["wind_from_deg"], fetches, HISTORY_H)
        at = _whole_minutes(minutes.times)
        hourly = _whole_minutes(hours.times)
        height = np.interp(at, hourly, np.asarray(grown.height_m))
        period = np.interp(at, hourly, np.asarray(grown.period_s))
    if site.water.kind == "fresh":
        return height, period, np.zeros(height.shape, dtype=bool), known
    offshore = minutes["wind_sea_m"]
    if "exposure" in site.model_fields_set and "open_to_swell" in site.exposure.model_fields_set:
        offshore = offshore * _share(site, minutes["wind_sea_from_deg"], rules)
    higher = np.isfinite(offshore) & ~(offshore <= height)
    height = np.where(higher, offshore, height)
    period = np.where(higher, minutes["wind_sea_s"], period)
    height = np.where(height < LEAST_WAVE_M, 0.0, height)
    taken = ~(period > 0) & (height > 0)
    return height, np.where(taken, rules.value("surf.unknown_period_s"), period), taken, known


def _whole_minutes(times: NDArray[np.datetime64]) -> Values:
    return times.astype("datetime64[m]").astype(np.int64).astype(float)


def most(values: Values, where: slice | Flags | None = None) -> float | None:
    """Return the largest known value, of all or of some minutes; None where none is known."""
    chosen = values if where is None else values[where]
    known = chosen[np.isfinite(chosen)]
    return float(known.max()) if known.size else None


def least(values: Values, where: slice | Flags | None = None) -> float | None:
    """Return the smallest known value, of all or of some minutes; None where none is known."""
    chosen = values if where is None else values[where]
    known = chosen[np.isfinite(chosen)]
    return float(known.min()) if known.size else None


def in_sector(bearing_deg: Values, from_deg: float, to_deg: float) -> Flags:
    """Return whether bearings lie in a sector, clockwise, ends included; an unknown bearing may, so it does."""
    width = (to_deg - from_deg) % 360
    inside = (bearing_deg - from_deg) % 360 <= width
    return np.asarray(inside | np.isnan(bearing_deg))


def facings(ways: Sequence[Access]) -> Mapping[float, Access]:
    """Return the ways by which way their shore faces, each bearing once."""
    return {way.facing_deg: way for way in reversed(ways)}
