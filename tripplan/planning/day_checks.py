"""What is judged of a day as a whole: the site, its weather, and how often each person dives."""

from __future__ import annotations

import math
from collections.abc import Sequence
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tripplan.catalogue.site import Site
from tripplan.check import Check, Outcome
from tripplan.environment.stream import drift_m
from tripplan.environment.tide import HarmonicTide, SecondaryTide, Tide
from tripplan.errors import OutOfRange
from tripplan.people.group import KINDS
from tripplan.planning.crew import children_of
from tripplan.planning.plan import DivePlan
from tripplan.planning.ratios import WaterSeen, check_dive_ratio
from tripplan.planning.request import Request
from tripplan.planning.setting import GroupSetting, Setting
from tripplan.planning.shore import least
from tripplan.planning.weather import down_to, up_to
from tripplan.planning.weather_checks import DiveHours, check_sources, check_weather
from tripplan.planning.window import stream_limit_kn
from tripplan.planning.world import World
from tripplan.rulebook import RuleBook


def check_place(held: GroupSetting, site: Site) -> Check:
    suits = any(suit in held.place.suits for suit in held.kind.suits)
    wanted = " or ".join(suit.replace("_", " ") for suit in held.kind.suits)
    return Check(
        rule="place-suits",
        outcome=Outcome.OK if suits else Outcome.STOP,
        sentence=(
            f"{held.group.name}: {held.place.name} suits {', '.join(s.replace('_', ' ') for s in held.place.suits)}; "
            f"a {held.kind.words} needs {wanted}."
        ),
        source="SITE_FILE",
        found=", ".join(held.place.suits),
        limit=wanted,
        subject=held.group.name,
    )


def check_site(site: Site, request: Request, world: World, setting: Setting) -> list[Check]:
    rule = world.rules["site.survey_fresh_days"]
    days = (request.date - site.survey_date).days
    fresh = 0 <= days <= rule.value
    checks = [
        Check(
            "survey-fresh",
            Outcome.OK if fresh else Outcome.CAUTION,
            f"{site.name} was surveyed on {site.survey_date}, {days} days before; a survey holds {rule.value:g} days.",
            rule.key,
            days,
            rule.value,
            "days",
            site.name,
        )
    ]
    if site.access.permission:
        sentence = f"Permission: {site.access.permission}. Make sure that it was given for today."
        checks.append(Check("permission", Outcome.CAUTION, sentence, "SITE_FILE", subject=site.name))
    if site.tide.station and site.tide.station not in world.stations:
        sentence = f'The tide station "{site.tide.station}" is not among the stations here: the tide is not known.'
        checks.append(Check("tide-known", Outcome.STOP, sentence, "STATION_FILE", subject=site.name))
    elif site.tide.station:
        unknown = int(np.isnan(setting.heights_m).sum())
        checks.append(
            Check(
                "tide-known",
                Outcome.STOP if unknown else Outcome.OK,
                f"The tide is not known for {unknown} minutes of the day." if unknown else "The tide is known all day.",
                "STATION_FILE",
                unknown,
                0,
                "min",
                site.name,
            )
        )
        if setting.tide is not None:
            incomplete = Outcome.CAUTION if _left_out(setting.tide) else Outcome.OK
            checks.extend(
                Check("tide-complete", incomplete, sentence, "STATION_FILE", subject=site.name)
                for sentence in setting.tide.sentences()
            )
    if site.water.kind != "fresh" and site.water.salinity is None:
        density = setting.surroundings.density_kg_m3
        sentence = f"The salinity is not in the site file: taken as {density:g} kg/m3, against the diver."
        checks.append(Check("salinity-known", Outcome.CAUTION, sentence, "SITE_FILE", subject=site.name))
    if request.measured_pressure_bar is None and site.elevation_m >= world.rules.value("altitude.uncorrected_below_m"):
        sentence = (
            f"Surface pressure {setting.surroundings.surface_pressure_bar:.3f} bar is the standard atmosphere's at "
            f"{site.elevation_m:g} m; a measured one is better."
        )
        checks.append(Check("pressure-measured", Outcome.OK, sentence, "ISO_2533", subject=site.name))
    return checks


def check_weather_of(
    dives: Sequence[DivePlan], groups: Sequence[GroupSetting], setting: Setting, rules: RuleBook
) -> list[Check]:
    """Judge wind, sea and weather for each timed dive, and the forecast itself."""
    grid, site = setting.grid, setting.site
    timed = [(dive, grid.minute_floor(dive.entry)) for dive in dives if dive.entry is not None]
    spans = [slice(entry, entry + (dive.water_time_min or 0) + 1) for dive, entry in timed]
    checks: list[Check] = []
    by_name = {each.group.name: each for each in groups}
    for dive, _ in timed:
        checks.extend(ratio_in_dive(dive, by_name[dive.group], setting, rules))
    if len(setting.rates_kn):
        checks.extend(stream_in_dive(dive, by_name[dive.group], setting, rules) for dive, _ in timed)
    checks.extend(check_sources(site, grid, setting.weather, setting.sea, spans, rules))
    if setting.weather is None or setting.sea is None:
        return checks
    for dive, _ in timed:
        checks.extend(weather_checks(dive, by_name[dive.group], setting, rules))
    return checks


def dive_hours(dive: DivePlan, held: GroupSetting, setting: Setting) -> DiveHours:
    """Return the minutes of a timed dive and how its group goes in and out."""
    if dive.entry is None:
        raise OutOfRange(f"{dive.group}, dive {dive.number}, has no time")
    entry = setting.grid.minute_floor(dive.entry)
    return DiveHours(
        subject=f"{dive.group}, dive {dive.number}",
        entry=entry,
        out=entry + (dive.water_time_min or 0),
        depth_m=dive.depth_m or 0.0,
        kind=held.kind,
        place=held.place,
        ways=(held.going_in, held.coming_out),
        suit_mm=held.group.suit_mm,
        dry_suit=held.group.dry_suit,
    )


def weather_checks(dive: DivePlan, held: GroupSetting, setting: Setting, rules: RuleBook) -> list[Check]:
    """Return every check of wind, sea and weather of a timed dive; none where nobody told anything."""
    if setting.weather is None or setting.sea is None:
        return []
    hours = dive_hours(dive, held, setting)
    stream = (setting.rates_kn, setting.toward_deg)
    water_c = setting.water_minutes_c
    return list(check_weather(hours, setting.grid, setting.weather, setting.sea, water_c, stream, setting.site, rules))


def _rates_in(hours: DiveHours, setting: Setting, rules: RuleBook) -> NDArray[np.float64]:
    """Return the stream of a dive's minutes, the margin of slack on each side included, knots."""
    margin = int(rules.value("stream.slack_margin_min"))
    return setting.rates_kn[max(hours.entry - margin, 0) : hours.out + margin + 1]


def ratio_in_dive(dive: DivePlan, held: GroupSetting, setting: Setting, rules: RuleBook) -> list[Check]:
    """Judge the number of divers on a timed dive, by its own lowest visibility under water and highest stream.

    Empty where the group is too many in any water.
    """
    hours = dive_hours(dive, held, setting)
    below = np.array([math.nan])
    if setting.weather is not None:
        below = setting.weather.minutes["underwater_visibility_m"][hours.span]
    rates = _rates_in(hours, setting, rules)
    unknown = bool(np.isnan(rates).any())
    seen = WaterSeen(
        visibility_m=least(below),
        seen_throughout=not np.isnan(below).any(),
        stream_kn=None if unknown else float(rates.max(initial=0.0)),
        stream_limit_kn=stream_limit_kn(setting.site, held.kind, rules)[0],
    )
    check = check_dive_ratio(held.ratio, hours.subject, seen, rules)
    return [] if check is None else [check]


def stream_in_dive(dive: DivePlan, held: GroupSetting, setting: Setting, rules: RuleBook) -> Check:
    """Judge the stream of a timed dive, the margin of slack on each side included."""
    hours = dive_hours(dive, held, setting)
    limit_kn, source = stream_limit_kn(setting.site, held.kind, rules)
    rates = _rates_in(hours, setting, rules)
    if not len(rates):
        return Check("stream", Outcome.OK, f"{hours.subject}: no stream here.", "SITE_FILE", subject=hours.subject)
    if np.isnan(rates).any():
        sentence = f"{hours.subject}: the stream is not known for all its minutes."
        return Check("stream", Outcome.STOP, sentence, source, None, limit_kn, "kn", hours.subject)
    found = float(rates.max())
    outcome = Outcome.OK if found <= limit_kn else Outcome.STOP
    carried_m = drift_m(setting.rates_kn[hours.span])
    sentence = (
        f"{hours.subject}: the stream runs up to {up_to(found, 2):.2f} kn and carries who drifts with it "
        f"{carried_m:.0f} m during the dive; the limit is {limit_kn:g} kn."
    )
    return Check("stream", outcome, sentence, source, up_to(found, 2), limit_kn, "kn", hours.subject)


def _left_out(tide: Tide) -> bool:
    """Return whether the tide, or the one it is derived from, lacks constituents that the engine does not know."""
    if isinstance(tide, SecondaryTide):
        return _left_out(tide.reference)
    return isinstance(tide, HarmonicTide) and bool(tide.left_out)


def check_recent(request: Request) -> list[Check]:
    if request.recent_dives is None:
        return [
            Check(
                "recent-dives-known",
                Outcome.CAUTION,
                "Nobody has written down whether anyone dived in the days before: ask each person. "
                'The request says recent_dives = "none" when all were asked.',
                "OSHA_T",
            )
        ]
    checks = [Check("recent-dives-known", Outcome.OK, "Dives of the days before were asked for.", "OSHA_T")]
    if isinstance(request.recent_dives, tuple):
        names = {dive.person: None for dive in request.recent_dives if dive.altitude_m is None}
        if names:
            sentence = f"The altitude of earlier dives is not written down ({', '.join(names)}): taken as today's."
            checks.append(Check("recent-altitude-known", Outcome.CAUTION, sentence, "NAVY_RULES"))
    return checks


def check_cold(setting: Setting, request: Request, world: World) -> list[Check]:
    site, water_c = setting.site, setting.water_c
    told = setting.weather is not None and setting.weather.minutes.knows("water_c")
    divers = [world.people[name] for group in request.groups for name in group.divers]
    children = children_of(divers, request.date, world.rules)
    rule = world.rules["cold.child_water_c"]
    if not children:
        if water_c is None:
            sentence = "The water temperature is neither in the site file nor told today: choose suits on site."
            return [Check("water-temperature-known", Outcome.CAUTION, sentence, "SITE_FILE", subject=site.name)]
        return []
    names = ", ".join(child.name for child in children)
    if water_c is None:
        sentence = f"The water's temperature is not known, and children dive ({names}): measure it, stop below "
        sentence += f"{rule.value:g} C."
        outcome = Outcome.CAUTION
    else:
        usual = "The water has" if told else "The water usually has this month"
        sentence = f"{usual} {down_to(water_c, 1):g} C; children ({names}) do not dive below {rule.value:g} C."
        outcome = Outcome.OK if water_c >= rule.value else Outcome.STOP
    return [Check("cold-children", outcome, sentence, rule.key, water_c, rule.value, "C", names)]


def _made_today(request: Request, world: World) -> tuple[str, ...]:
    """Return who made each of the recent dives that are of the day itself, by the site's clock."""
    if not isinstance(request.recent_dives, tuple):
        return ()
    zone = ZoneInfo(world.sites[request.site].timezone)
    return tuple(dive.person for dive in request.recent_dives if dive.surfaced.astimezone(zone).date() == request.date)


def check_ascents(request: Request, world: World) -> list[Check]:
    """Judge how often each person comes up in the day: exercises with several ascents count each of them.

    A dive made before the plan counts as one: of more nobody wrote.
    """
    counts: dict[str, int] = {}
    for group in request.groups:
        for name in group.everybody:
            counts[name] = counts.get(name, 0) + sum(dive.ascents for dive in group.dives)
    for name in _made_today(request, world):
        if name in counts:
            counts[name] += 1
    rule = world.rules["ascent.most_per_day"]
    return [
        Check(
            "ascents-per-day",
            Outcome.OK if count <= rule.value else Outcome.STOP,
            f"{name} comes up {count} time{'s' if count > 1 else ''} today; {rule.value:g} are allowed.",
            rule.key,
            count,
            rule.value,
            "ascents",
            name,
        )
        for name, count in counts.items()
    ]


def check_counts(request: Request, world: World) -> list[Check]:
    """Judge how many dives each person makes in the day; who leads peers makes no more than they do."""
    counts: dict[str, int] = {}
    staff: set[str] = set()
    for group in request.groups:
        if KINDS[group.kind].led:
            staff.update(group.assistants, [group.leader] if group.leader else [])
        for name in group.everybody:
            counts[name] = counts.get(name, 0) + len(group.dives)
    for name in _made_today(request, world):  # one made this morning is one of today's
        if name in counts:
            counts[name] += 1
    checks: list[Check] = []
    for name, count in counts.items():
        rule = world.rules["dive.most_per_day_staff" if name in staff else "dive.most_per_day"]
        outcome = Outcome.OK if count <= rule.value else Outcome.STOP
        sentence = f"{name} makes {count} dive{'s' if count > 1 else ''} today; {rule.value:g} are allowed."
        checks.append(Check("dives-per-day", outcome, sentence, rule.key, count, rule.value, "dives", name))
    return checks
