"""What wind, sea and weather mean for each dive as planned, and what nobody has told."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from tripplan.catalogue.site import Access, Place, Site
from tripplan.check import Check, Outcome
from tripplan.environment.conditions import QUANTITIES, amount_words, heavy_rain_spans, m_s
from tripplan.environment.waves import near_bottom_speed_m_s
from tripplan.environment.wind import beaufort, m_s_of_knots, surface_drift
from tripplan.people.group import Kind
from tripplan.planning.shore import ShoreSea, Values, Weather, least, most
from tripplan.planning.weather import (
    breaker_limit_m,
    down_to,
    has_run_off,
    knots_up,
    onshore_rule,
    sea_words,
    shore_winds,
    suit_guide_c,
    tenths_up,
    underwater_visibility_limit_m,
    up_to,
    wind_from_words,
    wind_limits_kn,
)
from tripplan.planning.window import DayGrid
from tripplan.rulebook import RuleBook


@dataclass(frozen=True)
class DiveHours:
    """The minutes of one dive of one group, where it is and how it goes in and out."""

    subject: str  # "Terns, dive 1"
    entry: int  # minute of the day
    out: int
    depth_m: float
    kind: Kind
    place: Place
    ways: tuple[Access, Access]  # in and out
    suit_mm: float | None
    dry_suit: bool = False

    @property
    def span(self) -> slice:
        """The minutes, the last one included."""
        return slice(self.entry, self.out + 1)


def check_weather(
    dive: DiveHours,
    grid: DayGrid,
    weather: Weather,
    sea: ShoreSea,
    water_c: Values,
    stream: tuple[Values, Values],
    site: Site,
    rules: RuleBook,
) -> Iterator[Check]:
    """Yield every check of wind, sea and weather of one dive, passed ones too, and what is not known.

    water_c -- at each minute, NaN unknown;  stream -- knots and where it goes at each minute, empty where there is none
    """
    yield from _check_surf(dive, sea, site, rules)
    yield from _check_wind(dive, weather, site, rules)
    yield from _check_drift(dive, weather, stream, rules)
    yield from _check_surge(dive, sea, rules)
    yield from _check_sight(dive, weather, site, rules)
    yield from _check_warmth(dive, weather, water_c, rules)
    yield from _check_thunder(dive, weather, rules)
    yield check_known(dive, grid, weather, sea, site, rules)


def _check_surf(dive: DiveHours, sea: ShoreSea, site: Site, rules: RuleBook) -> Iterator[Check]:
    found = most(sea.breaker_m, dive.span)
    if found is None:
        return
    limit_m, source = breaker_limit_m(site, dive.kind, rules)
    largest = most(sea.largest_m, dive.span) or found
    outcome, more = Outcome.OK, ""
    if found > limit_m:
        outcome = Outcome.STOP
    elif largest > limit_m:
        outcome = Outcome.CAUTION
        watch = rules.value("observe.wave_watch_min")
        more = f" The largest wave of {watch:g} min may reach {tenths_up(largest)} m: watch the sets first."
    sentence = (
        f"{dive.subject}: breaking waves up to {tenths_up(found)} m ({sea_words(sea, dive.span)}); "
        f"the limit is {limit_m:g} m.{more}"
    )
    yield Check("surf", outcome, sentence, source, up_to(found, 2), limit_m, "m", dive.subject)
    counts_m = rules.value("surf.counts_from_m")
    steep = rules["surf.steep_slope"]
    for access in dict.fromkeys(dive.ways):
        if access.kind not in ("beach", "slipway") or found < counts_m:
            continue
        kinds = sea.kinds_of_breaker(access, counts_m)
        if kinds is None or access.slope is None:
            sentence = (
                f"{dive.subject}: the slope of {access.name} is not in the site file, so how waves break there is not "
                "known: surf that dumps on a steep beach is a stop for training."
            )
            yield Check("surf-kind", Outcome.CAUTION, sentence, "SITE_FILE", subject=dive.subject)
            continue
        worst = dive.entry + int(np.nanargmax(sea.breaker_m[dive.span]))
        kind = str(kinds[worst])
        dumps = kind != "spilling" and access.slope >= steep.value
        outcome = Outcome.OK if not dumps else Outcome.STOP if dive.kind.training else Outcome.CAUTION
        sentence = f"{dive.subject}: waves at {access.name} (slope {access.slope:g}) break {kind}"
        if kind == "unknown":
            sentence = f"{dive.subject}: how waves break at {access.name} (slope {access.slope:g}) is not known"
            outcome = max(outcome, Outcome.CAUTION, key=lambda each: each.severity)
        sentence += ": on a steep beach it dumps." if dumps else "."
        yield Check("surf-kind", outcome, sentence, "BATTJES_1974", access.slope, steep.value, "fraction", dive.subject)
    if sea.period_taken[dive.span].any():
        rule = rules["surf.unknown_period_s"]
        sentence = (
            f"{dive.subject}: nobody gives the period of the waves; {rule.value:g} s are taken, against the diver."
        )
        yield Check("swell-period-known", Outcome.CAUTION, sentence, rule.key, None, rule.value, "s", dive.subject)


def _check_wind(dive: DiveHours, weather: Weather, site: Site, rules: RuleBook) -> Iterator[Check]:
    wind, gust = weather.wind_kn[dive.span], weather.gust_kn[dive.span]
    found = most(wind)
    if found is None:
        return
    bearing = weather.minutes["wind_from_deg"][dive.span]
    onto, off = shore_winds(bearing, dive.ways, rules)
    force = beaufort(m_s_of_knots(found))
    where = " and ".join(words for flag, words in ((onto.any(), "onto"), (off.any(), "off")) if flag)
    limits = wind_limits_kn(weather, site, dive.kind, dive.ways, rules)[dive.span]
    limit_kn = float(limits.min())
    gusts = most(gust) or found
    taken = " (taken)" if weather.gusts_taken[dive.span].any() else ""
    sentence = (
        f"{dive.subject}: wind {knots_up(found)} kn (force {force}), gusts {knots_up(gusts)} kn{taken}"
        f"{wind_from_words(bearing, wind, slice(None))}, {where} the shore; the strictest limit is {limit_kn:g} kn."
    )
    outcome = Outcome.OK
    caution = rules["wind.onshore_training_caution_beaufort"]
    source = onshore_rule(dive.kind, rules).key if onto.any() else "observe.wind_offshore_kn"
    if bool((wind > limits).any()):
        outcome = Outcome.STOP
    elif dive.kind.training and onto.any() and force > caution.value:
        outcome, source = Outcome.CAUTION, caution.key
        sentence += f" For courses, above force {caution.value:g} onto the shore is a caution."
    if np.isnan(bearing).any():
        outcome = max(outcome, Outcome.CAUTION, key=lambda each: each.severity)
        sentence += " Where it comes from is not known: it is judged as blowing onto the shore and off it."
    if taken and outcome is Outcome.OK:
        outcome = Outcome.CAUTION
        sentence += f" Nobody gives the gusts: {weather.gust_factor:g} times the wind is taken."
    yield Check("wind", outcome, sentence, source, up_to(found, 1), limit_kn, "kn", dive.subject)


def _check_drift(dive: DiveHours, weather: Weather, stream: tuple[Values, Values], rules: RuleBook) -> Iterator[Check]:
    wind = weather.minutes["wind_m_s"][dive.span]
    if most(wind) is None:
        return
    bearing = weather.minutes["wind_from_deg"][dive.span]
    percent = rules["wind.drift_percent"]
    if len(stream[0]):
        rate, toward = m_s(1.0) * stream[0][dive.span], stream[1][dive.span]
        drift = surface_drift(wind, bearing, percent.value, rate, toward)
    else:
        drift = surface_drift(wind, bearing, percent.value)
    metres = np.asarray(drift.in_ten_minutes_m)
    found = most(metres)
    if found is None:
        sentence = f"{dive.subject}: the stream is not known, so how far the surface drifts is not known either."
        yield Check("surface-drift", Outcome.CAUTION, sentence, percent.key, subject=dive.subject)
        return
    worst = int(np.nanargmax(metres))
    toward_deg = float(np.asarray(drift.toward_deg)[worst])
    way = "" if np.isnan(toward_deg) else f" towards {round(toward_deg) % 360:03d}"
    _, off = shore_winds(bearing, dive.ways, rules)
    caution = rules["wind.drift_caution_m"]
    outwards = bool(off[worst])
    far = found > caution.value and outwards
    with_stream = (
        f"wind ({percent.value:g} % of it) and stream" if len(stream[0]) else f"{percent.value:g} % of the wind"
    )
    sentence = (
        f"{dive.subject}: at the surface a diver drifts up to {up_to(found):g} m in ten minutes{way} ({with_stream})"
    )
    sentence += f", off the shore: more than {caution.value:g} m is a caution." if far else "."
    yield Check(
        "surface-drift",
        Outcome.CAUTION if far else Outcome.OK,
        sentence,
        caution.key if far else percent.key,
        up_to(found),
        caution.value,
        "m",
        dive.subject,
    )


def _check_surge(dive: DiveHours, sea: ShoreSea, rules: RuleBook) -> Iterator[Check]:
    swell = np.nan_to_num(sea.swell_m[dive.span])
    period = np.nan_to_num(sea.swell_s[dive.span])
    if dive.depth_m <= 0 or not (swell > 0).any():
        return
    depth_m = max(min(dive.depth_m, dive.place.shallowest_m), 1.0)  # the shallow end of the place feels most
    moving = swell > 0
    speed = np.zeros(swell.shape)
    speed[moving] = near_bottom_speed_m_s(swell[moving], np.maximum(period[moving], 1.0), depth_m)
    found = float(speed.max())
    rule = rules["surf.surge_caution_m_s"]
    sentence = (
        f"{dive.subject}: the swell moves the water to and fro at up to {up_to(found, 1):g} m/s at {depth_m:g} m, "
        f"where {dive.place.name} begins; above {rule.value:g} m/s is a caution."
    )
    outcome = Outcome.CAUTION if found > rule.value else Outcome.OK
    yield Check("surge", outcome, sentence, rule.key, up_to(found, 2), rule.value, "m/s", dive.subject)


def _check_sight(dive: DiveHours, weather: Weather, site: Site, rules: RuleBook) -> Iterator[Check]:
    above = least(weather.minutes["visibility_m"], dive.span)
    if above is not None:
        rule = rules["visibility.shore_watch_m"]
        outcome = Outcome.OK if above >= rule.value else Outcome.STOP
        seen_m = f"{down_to(above):g} m; the shore watch needs {rule.value:g} m"
        sentence = f"{dive.subject}: visibility above water at least {seen_m}."
        yield Check("visibility", outcome, sentence, rule.key, down_to(above), rule.value, "m", dive.subject)
    below = least(weather.minutes["underwater_visibility_m"], dive.span)
    if below is not None:
        limit_m, source = underwater_visibility_limit_m(site, dive.kind, rules)
        outcome = Outcome.OK if below >= limit_m else Outcome.STOP
        sentence = f"{dive.subject}: visibility under water {below:g} m as seen; stop below {limit_m:g} m."
        yield Check("visibility-under-water", outcome, sentence, source, below, limit_m, "m", dive.subject)


def _check_warmth(dive: DiveHours, weather: Weather, water_c: Values, rules: RuleBook) -> Iterator[Check]:
    coldest = least(water_c, dive.span)
    if dive.suit_mm is not None and coldest is not None:
        guide, further = suit_guide_c(dive.suit_mm, rules), rules["cold.suit_stop_c"]
        if coldest >= guide.value:
            outcome = Outcome.OK
        else:
            outcome = Outcome.CAUTION if coldest >= guide.value - further.value else Outcome.STOP
        sentence = (
            f"{dive.subject}: the water has {down_to(coldest, 1):g} C; {dive.suit_mm:g} mm of neoprene is for "
            f"{guide.value:g} C and warmer by the usual guide, {further.value:g} C below it is a stop."
        )
        yield Check("suit", outcome, sentence, guide.key, down_to(coldest, 1), guide.value, "C", dive.subject)
    elif dive.dry_suit:
        sentence = f"{dive.subject}: everybody wears a dry suit: each has been trained in it and checked its valves."
        yield Check("suit", Outcome.OK, sentence, "REQUEST", subject=dive.subject)
    elif dive.suit_mm is None:
        sentence = f"{dive.subject}: the suit is not written down, so whether it is warm enough is not known."
        yield Check("suit", Outcome.CAUTION, sentence, "REQUEST", subject=dive.subject)
    hottest = most(weather.minutes["air_c"], dive.span)
    if hottest is not None:
        rule = rules["heat.air_c"]
        outcome = Outcome.CAUTION if hottest > rule.value else Outcome.OK
        sentence = (
            f"{dive.subject}: air up to {up_to(hottest):g} C; above {rule.value:g} C kit up in the shade and drink."
        )
        yield Check("heat", outcome, sentence, rule.key, up_to(hottest, 1), rule.value, "C", dive.subject)


def _check_thunder(dive: DiveHours, weather: Weather, rules: RuleBook) -> Iterator[Check]:
    thunder = weather.minutes["thunder"][dive.span]
    if most(thunder) is None:
        return
    rule = rules["observe.thunder_wait_min"]
    some = bool((np.nan_to_num(thunder) > 0).any())
    sentence = f"{dive.subject}: {'thunder' if some else 'no thunder'} is forecast or heard while it lasts."
    yield Check("thunder", Outcome.STOP if some else Outcome.OK, sentence, rule.key, subject=dive.subject)


def check_known(dive: DiveHours, grid: DayGrid, weather: Weather, sea: ShoreSea, site: Site, rules: RuleBook) -> Check:
    """Say what nobody tells about some minute of a dive: the leader looks for it."""
    minutes = weather.minutes
    missing = [
        QUANTITIES[key].words
        for key in ("wind_m_s", "thunder", "visibility_m")
        if np.isnan(minutes[key][dive.span]).any()
    ]
    if bool((sea.incomplete[dive.span] | np.isnan(sea.breaker_m[dive.span])).any()):
        missing.insert(0, "all of the sea at the way in")
    if has_run_off(site):
        wait = timedelta(hours=rules.value("observe.rain_wait_h"))
        end = grid.at(dive.out)
        _, known = heavy_rain_spans(weather.forecast, end - wait, end, rules.value("rain.heavy_mm"))
        if not known and not any(each.quantity == "heavy_rain_h" for each in weather.seen):
            missing.append(f"rain of the last {rules.value('observe.rain_wait_h'):g} h")
    if not missing:
        sentence = f"{dive.subject}: sea, wind, thunder and visibility are known for all its minutes."
        return Check("conditions-known", Outcome.OK, sentence, "FORECAST", subject=dive.subject)
    sentence = f"{dive.subject}: nobody tells {_listed(missing)} for its minutes: look before anybody goes in."
    return Check("conditions-known", Outcome.CAUTION, sentence, "FORECAST", subject=dive.subject)


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def check_sources(
    site: Site,
    grid: DayGrid,
    weather: Weather | None,
    sea: ShoreSea | None,
    dives: Sequence[slice],
    rules: RuleBook,
) -> Iterator[Check]:
    """Yield what is to be said about forecast and observations themselves: absent, old, failed, or proved wrong.

    dives -- the minutes of each dive; a forecast should be fresh before the first, without any before the day
    """
    if weather is None or weather.forecast is None:
        but = " What was seen on the spot counts for its hours." if weather is not None else ""
        sentence = "No forecast was used: sea, wind and visibility are to be observed on site against the limits given."
        yield Check("forecast", Outcome.CAUTION, sentence + but, "COMMON_PRACTICE")
    else:
        rule = rules["conditions.forecast_fresh_h"]
        entry = grid.at(min((span.start for span in dives), default=0))
        issue = rules["conditions.forecast_issued_h"]
        for origin in weather.forecast.origins:
            age_h = (entry - origin.fetched).total_seconds() / 3600
            old = age_h > rule.value or origin.stale
            sentence = f"Forecast: {origin.words}; {max(age_h, 0):.0f} h before the first entry."
            if origin.issued is not None and (entry - origin.issued).total_seconds() / 3600 > issue.value:
                sentence += f" It was issued more than {issue.value:g} h before: ask for a newer one."
                old = True
            elif old:
                sentence += f" More than {rule.value:g} h is old: get a newer one before the group leaves."
            outcome = Outcome.CAUTION if old else Outcome.OK
            yield Check("forecast", outcome, sentence, rule.key, round(max(age_h, 0), 1), rule.value, "h")
        for note in weather.forecast.notes:
            yield Check("forecast-source", Outcome.CAUTION, note.sentence, "FORECAST", subject=note.source)
    if weather is None or sea is None:
        return
    for seen in weather.seen:
        words = f"Seen on the spot: {seen.words_in(grid.zone)}."
        yield Check("seen", Outcome.OK, words, "SEEN", seen.value, None, "", seen.quantity)
    for seen, reckoned in sea.higher_than_reckoned:
        sentence = (
            f"Breaking waves of {seen.value:.3g} m were seen ({seen.time.astimezone(grid.zone):%H:%M}), "
            f"{reckoned:.2f} m were reckoned from the forecast: that is raised by the difference from then on."
        )
        yield Check("forecast-too-low", Outcome.CAUTION, sentence, "SEEN", seen.value, round(reckoned, 2), "m")
    for seen, forecast in weather.minutes.worse_than_forecast:
        quantity = QUANTITIES[seen.quantity]
        sentence = (
            f"{quantity.words[0].upper()}{quantity.words[1:]} was seen at {amount_words(seen.quantity, seen.value)} "
            f"({seen.time.astimezone(grid.zone):%H:%M}), {amount_words(seen.quantity, forecast)} was forecast: "
            + (
                "look again before each dive."
                if seen.quantity == "visibility_m"
                else "the forecast is moved by the difference from then on."
            )
        )
        yield Check(
            "forecast-too-low", Outcome.CAUTION, sentence, "SEEN", seen.value, round(forecast, 2), quantity.unit
        )
    below = weather.minutes["underwater_visibility_m"]
    if not dives or any(np.isnan(below[span]).any() for span in dives):
        known = "Nobody has seen the visibility under water"
        known += " for all the minutes of the dives" if weather.minutes.knows("underwater_visibility_m") else " today"
        sentence = f"{known}: look first; the number stands under “On arrival”."
        yield Check("visibility-under-water", Outcome.CAUTION, sentence, "COMMON_PRACTICE", subject=site.name)
    if site.water.kind != "fresh" and not sea.exposure_known:
        sentence = (
            f"The site file does not say which bearings {site.name} is open to swell from: all are taken as open. "
            "Write [exposure] open_to_swell; an empty list says that none is."
        )
        yield Check("exposure-known", Outcome.CAUTION, sentence, "SITE_FILE", subject=site.name)
    if not sea.fetch_known:
        sentence = (
            f"The site file does not say how much open water lies around {site.name}: the waves that the wind raises "
            "here are not known. Write [exposure] fetch; an empty list says that there is none."
        )
        yield Check("fetch-known", Outcome.CAUTION, sentence, "SITE_FILE", subject=site.name)
