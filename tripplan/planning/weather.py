"""Minutes that wind, sea and weather close at a site, each with its reason. What is not known closes nothing here.

It is a caution of the plan instead: the leader looks, and the numbers to look for stand under "On arrival".
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from tripplan.catalogue.site import Access, Site, WindLimit
from tripplan.environment.conditions import heavy_rain_spans
from tripplan.environment.wind import beaufort, beaufort_row, m_s_of_knots, off_facing_deg, offshore, onshore
from tripplan.people.group import Kind
from tripplan.planning.plan import Closure, Phase
from tripplan.planning.shore import Flags, ShoreSea, Values, Weather, in_sector
from tripplan.planning.window import DayGrid, runs
from tripplan.rulebook import Rule, RuleBook


@dataclass(frozen=True)
class Cold:
    """What the water's temperature is judged against for one group."""

    children: tuple[str, ...]  # those under the age of the children's rules
    suit_mm: float | None  # None: not known, or dry


def breaker_limit_m(site: Site, kind: Kind, rules: RuleBook) -> tuple[float, str]:
    """Return the highest breaking wave for a kind of dive at the site, metres, and the key of who says so."""
    rule = rules["observe.breaker_training_m" if kind.training else "observe.breaker_m"]
    own = site.limits.breaker_m
    return (own, "SITE_FILE") if own is not None and own < rule.value else (rule.value, rule.key)


def underwater_visibility_limit_m(site: Site, kind: Kind, rules: RuleBook) -> tuple[float, str]:
    """Return the least visibility under water for a kind of dive, metres, and the key of who says so.

    The strictest counts: of courses or certified divers, of the kind itself where it has a number, of the site.
    """
    rule = rules["observe.visibility_training_m" if kind.training else "observe.visibility_m"]
    of_kind = rules.rules.get(f"observe.visibility_{kind.name}_m")
    if of_kind is not None and of_kind.value > rule.value:
        rule = of_kind
    own = site.limits.visibility_m
    return (own, "SITE_FILE") if own is not None and own > rule.value else (rule.value, rule.key)


def onshore_rule(kind: Kind, rules: RuleBook) -> Rule:
    """Return the rule of the strongest wind onto the shore for a kind of dive, Beaufort."""
    return rules["observe.wind_onshore_training_beaufort" if kind.training else "observe.wind_onshore_beaufort"]


def weather_closures(
    grid: DayGrid,
    weather: Weather,
    sea: ShoreSea,
    site: Site,
    kind: Kind,
    going_in: Access,
    coming_out: Access,
    rules: RuleBook,
) -> Iterator[Closure]:
    """Close what surf, wind, thunder, run-off and poor visibility forbid, for everybody of a kind of dive."""
    yield from surf_closures(grid, sea, site, kind, going_in, coming_out, rules)
    yield from wind_closures(grid, weather, site, kind, (going_in, coming_out), rules)
    yield from thunder_closures(grid, weather, rules)
    yield from run_off_closures(grid, weather, site, rules)
    yield from visibility_closures(grid, weather, site, kind, rules)


def _close(
    grid: DayGrid, broken: Flags, phase: Phase, rule: str, source: str, words: Callable[[slice], str]
) -> Iterator[Closure]:
    """Yield one closure for each run of broken minutes; a minute is broken at its start or at its end."""
    wide = broken[:-1] | broken[1:]
    for first, end in runs(wide):
        sentence = words(slice(first, end + 1))
        yield Closure(grid.at(first), grid.at(end), phase, rule, sentence, source)


def surf_closures(
    grid: DayGrid, sea: ShoreSea, site: Site, kind: Kind, going_in: Access, coming_out: Access, rules: RuleBook
) -> Iterator[Closure]:
    """Close the minutes of too high a surf, and for courses those of surf that dumps on a steep beach."""
    limit_m, source = breaker_limit_m(site, kind, rules)
    high = sea.breaker_m > limit_m

    def words(span: slice) -> str:
        highest = tenths_up(_most(sea.breaker_m, span))
        return f"Breaking waves up to {highest} m ({sea_words(sea, span)}): stop above {limit_m:g} m."

    yield from _close(grid, high, "water", "surf", source, words)
    if not kind.training:
        return
    steep = rules["surf.steep_slope"]
    counts_m = rules.value("surf.counts_from_m")
    for access, phase in ((going_in, "entry"), (coming_out, "water")):
        kinds = sea.kinds_of_breaker(access, counts_m)
        if kinds is None or access.slope is None or access.slope < steep.value:
            continue
        dumps = (kinds != "spilling") & (sea.breaker_m >= counts_m)
        name, slope = access.name, access.slope

        def dump(span: slice, kinds: np.ndarray = kinds, name: str = name, slope: float = slope) -> str:
            worst = int(np.nanargmax(sea.breaker_m[span]))
            said = {"plunging": "plunges (dumps)", "surging": "surges"}
            how = said.get(str(kinds[span][worst]), "breaks nobody knows how")
            return (
                f"Surf of {tenths_up(_most(sea.breaker_m, span))} m {how} on the steep beach at {name} "
                f"(slope {slope:g}): no training whatever its height."
            )

        yield from _close(grid, dumps, phase, "surf-steep", steep.key, dump)  # type: ignore[arg-type]


def sea_words(sea: ShoreSea, span: slice) -> str:
    """Say what makes the surf in its highest minute of a span."""
    worst = int(np.nanargmax(np.where(np.isfinite(sea.breaker_m[span]), sea.breaker_m[span], -1.0)))
    if sea.seen[span][worst]:
        return "as seen on the spot"
    parts = []
    for name, height, period in (
        ("swell here", sea.swell_m[span][worst], sea.swell_s[span][worst]),
        ("wind sea", sea.wind_sea_m[span][worst], sea.wind_sea_s[span][worst]),
    ):
        if np.isnan(height):
            parts.append(f"{name} not known")
        elif height >= 0.05:
            parts.append(f"{name} {height:.1f} m at {period:.0f} s")
    return ", ".join(parts) or "hardly a wave"


def wind_closures(
    grid: DayGrid, weather: Weather, site: Site, kind: Kind, ways: Sequence[Access], rules: RuleBook
) -> Iterator[Closure]:
    """Close the minutes of too strong a wind: by the site's own sectors, onto the shore, and off it."""
    wind, gust = weather.wind_kn, weather.gust_kn
    bearing = weather.minutes["wind_from_deg"]
    for limit in site.limits.wind:
        broken = (gust > limit.most_kn) & in_sector(bearing, limit.from_deg, limit.to_deg)

        def words(span: slice, limit: WindLimit = limit) -> str:
            return (
                f"Gusts to {knots_up(_most(gust, span))} kn{wind_from_words(bearing, gust, span)}: here stop above "
                f"{limit.most_kn:g} kn from {limit.from_deg:03.0f} to {limit.to_deg:03.0f} degrees."
            )

        yield from _close(grid, broken, "water", "wind", "SITE_FILE", words)
    on_rule, off_rule = onshore_rule(kind, rules), rules["observe.wind_offshore_kn"]
    onto, off = shore_winds(bearing, ways, rules)

    def on_words(span: slice) -> str:
        return (
            f"Wind onto the shore, force {beaufort(m_s_of_knots(_most(wind, span)))} ({knots_up(_most(wind, span))} kn"
            f"{wind_from_words(bearing, wind, span)}): stop above force {on_rule.value:g}."
        )

    def off_words(span: slice) -> str:
        return (
            f"Wind off the shore, {knots_up(_most(wind, span))} kn{wind_from_words(bearing, wind, span)}: it carries "
            f"people out; stop above {off_rule.value:g} kn."
        )

    too_hard = wind > top_kn(on_rule.value)
    yield from _close(grid, too_hard & onto, "water", "wind", on_rule.key, on_words)
    yield from _close(grid, (wind > off_rule.value) & off, "water", "wind-offshore", off_rule.key, off_words)


def top_kn(force: float) -> float:
    """Return the strongest wind of a Beaufort force, knots; infinite for the last."""
    highest = beaufort_row(int(force)).highest_kn
    return float("inf") if highest is None else highest


def shore_winds(bearing: Values, ways: Sequence[Access], rules: RuleBook) -> tuple[Flags, Flags]:
    """Return the minutes in which the wind blows onto the shore, and off it, at any of some ways in and out."""
    along = rules.value("wind.along_shore_deg")
    onto = np.zeros(bearing.shape, dtype=bool)
    off = np.zeros(bearing.shape, dtype=bool)
    for facing in {way.facing_deg for way in ways}:
        apart = off_facing_deg(bearing, facing)
        onto |= np.asarray(onshore(apart, along))
        off |= np.asarray(offshore(apart, along))
    return onto, off


def wind_limits_kn(weather: Weather, site: Site, kind: Kind, ways: Sequence[Access], rules: RuleBook) -> Values:
    """Return for each minute the strictest limit on the wind for the direction it blows from, knots."""
    bearing = weather.minutes["wind_from_deg"]
    onto, off = shore_winds(bearing, ways, rules)
    limit = np.full(bearing.shape, np.inf)
    limit[onto] = np.fmin(limit[onto], top_kn(onshore_rule(kind, rules).value))
    limit[off] = np.fmin(limit[off], rules.value("observe.wind_offshore_kn"))
    for sector in site.limits.wind:
        inside = in_sector(bearing, sector.from_deg, sector.to_deg)
        limit[inside] = np.fmin(limit[inside], sector.most_kn)
    return limit


def thunder_closures(grid: DayGrid, weather: Weather, rules: RuleBook) -> Iterator[Closure]:
    """Close the minutes with thunder, and the wait after them."""
    rule = rules["observe.thunder_wait_min"]
    wait = int(rule.value)
    before = weather.thunder_before  # yesterday's last thunder is waited out today
    thunder = np.concatenate((before, np.nan_to_num(weather.minutes["thunder"]) > 0))
    wide = thunder.copy()
    for first, end in list(runs(thunder)):
        wide[first : end + wait] = True
    wide = wide[len(before) :]
    by = "heard or forecast"
    yield from _close(
        grid,
        wide,
        "water",
        "thunder",
        rule.key,
        lambda span: f"Thunder is {by}; nobody is in the water until {wait} min after the last.",
    )


def has_run_off(site: Site) -> bool:
    """Return whether heavy rain fouls the site: an outfall or a river mouth is among its hazards."""
    return any(hazard.kind == "outfall" for hazard in site.hazards)


def run_off_closures(grid: DayGrid, weather: Weather, site: Site, rules: RuleBook) -> Iterator[Closure]:
    """Close the hours after heavy rain at a site with an outfall or a river."""
    if not has_run_off(site):
        return
    rule, heavy = rules["observe.rain_wait_h"], rules["rain.heavy_mm"]
    for first, until, words in run_off_spans(grid, weather, rules):
        begin, end = max(grid.minute_floor(first), 0), min(grid.minute_ceil(until), grid.minutes)
        if begin < end:
            sentence = (
                f"{words}; an outfall or river lies here: no diving for {rule.value:g} h after "
                f"{heavy.value:g} mm or more in a day."
            )
            yield Closure(grid.at(begin), grid.at(end), "water", "run-off", sentence, rule.key)


def run_off_spans(grid: DayGrid, weather: Weather, rules: RuleBook) -> list[tuple[datetime, datetime, str]]:
    """Return the spans closed after heavy rain: by what somebody saw, else by the forecast's rain."""
    wait = timedelta(hours=rules.value("observe.rain_wait_h"))
    start = grid.at(0).astimezone(UTC)
    seen = [each for each in weather.seen if each.quantity == "heavy_rain_h"]
    if seen:
        last = max(seen, key=lambda each: each.time.timestamp())
        ended = last.time - timedelta(hours=last.value)
        spans = [
            (ended, ended + wait, f"Heavy rain ended {last.value:g} h before {last.time.astimezone(grid.zone):%H:%M}")
        ]
        since = last.time
    else:
        spans, since = [], start - wait
    rain, _ = heavy_rain_spans(weather.forecast, since, grid.at(grid.minutes), rules.value("rain.heavy_mm"))
    for first, end in rain:
        words = f"Heavy rain until {end.astimezone(grid.zone):%d %B %H:%M}"
        spans.append((first, end + wait, words))
    return spans


def visibility_closures(grid: DayGrid, weather: Weather, site: Site, kind: Kind, rules: RuleBook) -> Iterator[Closure]:
    """Close the minutes in which the shore watch sees too little, or divers do under water."""
    rule = rules["visibility.shore_watch_m"]
    above = weather.minutes["visibility_m"]
    yield from _close(
        grid,
        above < rule.value,
        "water",
        "visibility",
        rule.key,
        lambda span: (
            f"Visibility above water {down_to(np.nanmin(above[span])):g} m: the shore watch needs {rule.value:g} m."
        ),
    )
    limit_m, source = underwater_visibility_limit_m(site, kind, rules)
    below = weather.minutes["underwater_visibility_m"]
    yield from _close(
        grid,
        below < limit_m,
        "water",
        "visibility-under-water",
        source,
        lambda span: f"Visibility under water {np.nanmin(below[span]):g} m as seen: stop below {limit_m:g} m.",
    )


def suit_guide_c(suit_mm: float, rules: RuleBook) -> Rule:
    """Return the rule of the coldest water for a thickness of neoprene by the usual guide."""
    for least_mm, key in ((7.0, "cold.suit_7_mm_c"), (5.0, "cold.suit_5_mm_c"), (3.0, "cold.suit_3_mm_c")):
        if suit_mm >= least_mm:
            return rules[key]
    return rules["cold.no_suit_c"]


def cold_closures(grid: DayGrid, water_c: Values, cold: Cold, rules: RuleBook) -> Iterator[Closure]:
    """Close the minutes whose water is too cold for children, or far below what the suit is made for.

    water_c -- one for each minute and the midnight after; NaN: not known
    """
    if cold.children:
        rule = rules["cold.child_water_c"]
        names = ", ".join(cold.children)
        yield from _close(
            grid,
            water_c < rule.value,
            "water",
            "cold",
            rule.key,
            lambda span: (
                f"The water has {down_to(np.nanmin(water_c[span]), 1):g} C; children ({names}) do not dive below "
                f"{rule.value:g} C."
            ),
        )
    if cold.suit_mm is not None:
        guide, further = suit_guide_c(cold.suit_mm, rules), rules["cold.suit_stop_c"]
        suit_mm = cold.suit_mm
        yield from _close(
            grid,
            water_c < guide.value - further.value,
            "water",
            "suit",
            further.key,
            lambda span: (
                f"The water has {down_to(np.nanmin(water_c[span]), 1):g} C; {suit_mm:g} mm of neoprene is for "
                f"{guide.value:g} C and warmer, and more than {further.value:g} C below that is a stop."
            ),
        )


def _most(values: Values, span: slice) -> float:
    chosen = values[span]
    return float(np.max(np.where(np.isfinite(chosen), chosen, 0.0)))


def up_to(value: float, digits: int = 0) -> float:
    """Return a value rounded up to some digits: for what burdens the diver."""
    return float(np.ceil(round(value * 10**digits, 6)) / 10**digits)


def down_to(value: float, digits: int = 0) -> float:
    """Return a value rounded down to some digits: for what protects the diver."""
    return float(np.floor(round(value * 10**digits, 6)) / 10**digits)


def tenths_up(value: float) -> str:
    """Write a height or a speed to a tenth, rounded up: never shown at a limit that it is above."""
    return f"{up_to(value, 1):.1f}"


def knots_up(value_kn: float) -> str:
    """Write a wind in knots: a whole number where it is one, else to a tenth, rounded up."""
    return f"{up_to(value_kn, 1):g}"


def wind_from_words(bearing: Values, strength: Values, span: slice) -> str:
    """Say where the wind comes from in its strongest minute."""
    worst = int(np.argmax(np.where(np.isfinite(strength[span]), strength[span], -1.0)))
    found = bearing[span][worst]
    return "" if np.isnan(found) else f" from {round(float(found)) % 360:03d}"
