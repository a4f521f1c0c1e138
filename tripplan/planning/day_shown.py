"""What the plan of a day shows beside its dives: windows, tide, picture, edges and the words around them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from tripplan.catalogue.site import Site, TideLimits
from tripplan.catalogue.station import Station
from tripplan.check import Check, Outcome
from tripplan.people.group import Kind
from tripplan.planning.plan import Closure, DayCurve, DivePlan, TideEvent, UsableWindow, WhatIf
from tripplan.planning.request import Request
from tripplan.planning.setting import GroupSetting, Setting
from tripplan.planning.timing import latest_entry
from tripplan.planning.weather import breaker_limit_m, down_to, wind_limits_kn
from tripplan.planning.window import limits_with_margin, stream_limit_kn
from tripplan.planning.world import World
from tripplan.rulebook import RuleBook


def forecast_words(setting: Setting) -> str:
    if setting.weather is None:
        return "No forecast was used. Observe on site; the limits stand under “On arrival”."
    forecast = setting.weather.forecast
    told = "; ".join(origin.words for origin in forecast.origins) if forecast else ""
    seen = f"{len(setting.weather.seen)} seen on the spot" if setting.weather.seen else ""
    known = ". ".join(part for part in (told, seen) if part) or "No forecast could be had"
    return known + ". Look on site; the limits stand under “On arrival”."


def conditions_lines(setting: Setting) -> tuple[str, ...]:
    """Say what was seen, and which forecasts were used or could not be had."""
    weather = setting.weather
    if weather is None:
        return ()
    lines = [f"Seen: {seen.words_in(setting.grid.zone)}" for seen in weather.seen]
    if weather.forecast is not None:
        lines.extend(f"Forecast: {origin.words}" for origin in weather.forecast.origins)
        lines.extend(note.sentence for note in weather.forecast.notes)
    return tuple(lines)


def attribution_of(setting: Setting) -> tuple[str, ...]:
    forecast = setting.weather.forecast if setting.weather else None
    return tuple(dict.fromkeys(o.attribution for o in forecast.origins if o.attribution)) if forecast else ()


def shown_windows(groups: Sequence[GroupSetting]) -> tuple[tuple[UsableWindow, ...], tuple[Closure, ...]]:
    """Return windows and closures, once for all groups where they agree, else labelled with the groups they are for."""
    by_window: dict[tuple[Closure, ...], list[GroupSetting]] = {}
    for held in groups:
        by_window.setdefault(held.window.closures, []).append(held)
    windows: list[UsableWindow] = []
    closures: list[Closure] = []
    for shared, holders in by_window.items():
        names = () if len(by_window) == 1 else tuple(held.group.name for held in holders)
        windows.extend(holders[0].window.usable(names))
        closures.extend(replace(closure, groups=names) for closure in shared)
    windows.sort(key=lambda window: (window.start.timestamp(), window.groups))
    return tuple(windows), tuple(closures)


def whole_minute(moment: datetime | None, *, later: bool) -> datetime | None:
    """Return a moment of light at a whole minute, the day made shorter: dawn and sunrise up, sunset and dusk down."""
    if moment is None:
        return None
    whole = moment.replace(second=0, microsecond=0)
    return (
        whole
        if not later or whole == moment
        else (whole.astimezone(UTC) + timedelta(minutes=1)).astimezone(moment.tzinfo)
    )


def tide_events_of(setting: Setting) -> tuple[TideEvent, ...]:
    if setting.tide is None:
        return ()
    grid = setting.grid
    points = setting.tide.turning_points(grid.at(0), grid.at(grid.minutes))
    return tuple(TideEvent(p.time.astimezone(grid.zone), p.kind, round(p.height_m, 3)) for p in points)


def tide_words_of(site: Site, station: Station | None) -> str:
    if site.tide.station is None:
        return f"No tide: {site.tide.none_because}"
    if station is None:
        return f'Tide station "{site.tide.station}" is missing: the tide is not known.'
    link = site.tide
    offsets = []
    if link.high_time_min or link.low_time_min:
        offsets.append(f"high water {link.high_time_min:+g} min, low water {link.low_time_min:+g} min")
    if (link.high_ratio, link.low_ratio) != (1, 1):
        offsets.append(f"heights times {link.high_ratio:g} and {link.low_ratio:g}")
    if link.high_add_m or link.low_add_m:
        offsets.append(f"heights {link.high_add_m:+g} m and {link.low_add_m:+g} m")
    shifted = f", {'; '.join(offsets)}" if offsets else ""
    return f"{station.name}{shifted}; heights above {station.datum}. Predicted: weather moves the sea by decimetres."


def day_curve(setting: Setting, groups: Sequence[GroupSetting], margin_m: float, world: World) -> DayCurve:
    first = groups[0]
    site = setting.site

    def edges(way: object) -> tuple[float | None, float | None]:
        return limits_with_margin(way, margin_m) if isinstance(way, TideLimits) else (None, None)

    limit = min(stream_limit_kn(site, held.kind, world.rules)[0] for held in groups) if len(setting.rates_kn) else None
    return DayCurve(
        midnight=setting.grid.start,
        minutes=setting.grid.minutes,
        tide_m=tuple(float(h) for h in setting.heights_m[:-1]) if len(setting.heights_m) else (),
        stream_kn=tuple(float(r) for r in setting.rates_kn[:-1]) if len(setting.rates_kn) else (),
        going_in_m=edges(first.going_in.going_in),
        coming_out_m=edges(first.coming_out.coming_out),
        stream_limit_kn=limit,
        **_weather_curve(setting, first, [held.kind for held in groups], world.rules),
    )


def _weather_curve(setting: Setting, first: GroupSetting, kinds: Sequence[Kind], rules: RuleBook) -> dict[str, Any]:
    """Return what the picture shows of surf and wind: the first group's ways, the strictest limits of all groups."""
    weather, sea = setting.weather, setting.sea
    if weather is None or sea is None:
        return {}
    ways = (first.going_in, first.coming_out)
    limits = np.min([wind_limits_kn(weather, setting.site, kind, ways, rules) for kind in kinds], axis=0)
    found: dict[str, Any] = {}
    if sea.known.any():
        limit_m = min(breaker_limit_m(setting.site, kind, rules)[0] for kind in kinds)
        # A part of the sea alone may look calm: it is drawn only where it is too much already.
        shown = np.where(sea.incomplete & ~(sea.breaker_m > limit_m), math.nan, sea.breaker_m)
        found["surf_m"] = tuple(float(value) for value in shown[:-1])
        found["surf_limit_m"] = limit_m
    if np.isfinite(weather.wind_kn).any():
        found["wind_kn"] = tuple(float(value) for value in weather.wind_kn[:-1])
        found["gust_kn"] = tuple(float(value) for value in weather.gust_kn[:-1])
        found["wind_from_deg"] = tuple(float(value) for value in weather.minutes["wind_from_deg"][:-1])
        found["wind_limit_kn"] = tuple(float(value) for value in limits[:-1])
    return found


def what_ifs_of(dives: Sequence[DivePlan], groups: Sequence[GroupSetting]) -> tuple[WhatIf, ...]:
    """Return what could change the answer and by how much: delay, a deeper dive, the tide at the way out."""
    windows = {held.group.name: held for held in groups}
    found: list[WhatIf] = []
    for dive in dives:
        if dive.entry is None or dive.window_closes is None or dive.bottom_time_min is None:
            continue
        held = windows[dive.group]
        name = f"{dive.group}, dive {dive.number}"
        grid = held.window.grid
        end = grid.minute_floor(dive.window_closes)
        late = grid.at(latest_entry(held.window, grid.minute_floor(dive.entry), dive.water_time_min or 0, end))
        closing = held.window.reasons(min(end, grid.minutes - 1), "water") if end < grid.minutes else ()
        why = closing[0].sentence if closing else "The day ends."
        found.append(
            WhatIf(
                f"{name}: going in as late as {late:%H:%M} still fits. What ends it: {why}",
                margin_min=round((late.timestamp() - dive.entry.timestamp()) / 60),
            )
        )
        limits = (held.coming_out.coming_out, dive.tide_exit_m)
        if isinstance(limits[0], TideLimits) and limits[1] is not None:
            for edge, words in ((limits[0].lowest_m, "above the lowest"), (limits[0].highest_m, "below the highest")):
                if edge is not None:
                    spare = abs(limits[1] - edge)
                    found.append(
                        WhatIf(
                            f"{name}: at the planned time out the tide is {limits[1]:.1f} m, {spare:.1f} m {words} "
                            f"for coming out by {dive.coming_out_by}."
                        )
                    )
        deeper = next((c for c in dive.depth.candidates if c.name == "no-stop"), None)
        if deeper is not None and dive.depth_m is not None:
            found.append(WhatIf(f"{name}: planned to {dive.depth_m:g} m; the {deeper.sentence}, not deeper."))
        binding = dive.time.binding
        if binding is not None and dive.time.value is not None:
            found.append(
                WhatIf(
                    f"{name}: {dive.time.value - dive.bottom_time_min:g} min of bottom time are spare "
                    f"({binding.sentence})."
                )
            )
    return tuple(found)


def nearest_edge(what_ifs: Sequence[WhatIf], checks: Sequence[Check]) -> str:
    stops = [check for check in checks if check.outcome is Outcome.STOP]
    if stops:
        more = f" (and {len(stops) - 1} more)" if len(stops) > 1 else ""
        return f"What stops it: {stops[0].sentence}{more}"
    timed = [what for what in what_ifs if what.margin_min is not None]
    if not timed:
        return "Nothing is timed."
    closest = min(timed, key=lambda what: what.margin_min or 0)
    return f"Nearest to stopping it, {closest.margin_min} min away: {closest.sentence}"


def headline_of(
    site: Site, request: Request, verdict: Outcome, checks: Sequence[Check], dives: Sequence[DivePlan]
) -> str:
    day = f"{request.date:%A} {request.date.day} {request.date:%B %Y}"
    where = f"{site.name}, {day}"
    if verdict is Outcome.STOP:
        stops = sum(check.outcome is Outcome.STOP for check in checks)
        return (
            f"Do not go as asked: {where}. {stops} thing{'s' if stops > 1 else ''} stop{'' if stops > 1 else 's'} it."
        )
    timed = [dive for dive in dives if dive.entry is not None and dive.exit is not None]
    cautions = sum(check.outcome is Outcome.CAUTION for check in checks)
    care = f", with {cautions} caution{'s' if cautions != 1 else ''}" if cautions else ""
    first = min((dive.entry for dive in timed if dive.entry), key=lambda t: t.timestamp())
    last = max((dive.exit for dive in timed if dive.exit), key=lambda t: t.timestamp())
    return f"Go{care}: {where}. First in {first:%H:%M}, last out {last:%H:%M}."


def water_words_of(site: Site, request: Request, setting: Setting) -> str:
    told = setting.weather is not None and setting.weather.minutes.knows("water_c")
    temperature_c = setting.water_c
    usual = f", usually {temperature_c:g} C in {request.date:%B}" if temperature_c is not None else ""
    if told and temperature_c is not None:
        usual = f", {down_to(temperature_c, 1):g} C today at the coldest"
    return f"{site.water.kind} water, {setting.surroundings.density_kg_m3:.0f} kg/m3{usual}"
