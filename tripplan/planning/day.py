"""The plan of a day: a pure function of a request and a world. It reads no clock, disk, network or database."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from tripplan.check import Check, Outcome, worst
from tripplan.planning.after import after_dives, drives_between
from tripplan.planning.briefing import briefing_lines, observations
from tripplan.planning.crew import check_crew, check_group, check_support
from tripplan.planning.day_checks import check_cold, check_place, check_recent, check_site, check_weather_of
from tripplan.planning.day_shown import (
    attribution_of,
    conditions_lines,
    day_curve,
    forecast_words,
    headline_of,
    nearest_edge,
    shown_windows,
    tide_events_of,
    tide_words_of,
    water_words_of,
    what_ifs_of,
    whole_minute,
)
from tripplan.planning.dives import plan_dives
from tripplan.planning.help import Help, emergency_of, help_at
from tripplan.planning.packing import Packing, pack
from tripplan.planning.pairing import check_pairs, propose_pairs
from tripplan.planning.plan import AfterDive, DayPlan, DivePlan, LeadLine, Light
from tripplan.planning.request import Request
from tripplan.planning.revision import plan_inputs, revision_of
from tripplan.planning.setting import GroupSetting, Scenes, Setting, group_setting
from tripplan.planning.slate import slate_of
from tripplan.planning.teaching import teach
from tripplan.planning.timing import Ledger
from tripplan.planning.weighting import lead_lines
from tripplan.planning.world import CannotPlan, World, request_faults

__all__ = ["Judged", "hours_of", "judge_day", "plan_day", "plan_inputs", "revision_of"]


@dataclass(frozen=True)
class Judged:
    """A day with everything that was judged, before it is put into words for a reader."""

    setting: Setting
    groups: tuple[GroupSetting, ...]
    dives: tuple[DivePlan, ...]
    ledger: Ledger
    after: tuple[AfterDive, ...]
    lead: tuple[LeadLine, ...]
    packing: Packing
    help_here: Help
    checks: tuple[Check, ...]  # the worst first


def judge_day(request: Request, world: World, scenes: Scenes | None = None) -> Judged:
    """Return the dives of one day at one site with every check: what `plan_day` judges, without the words around it.

    scenes -- settings worked out before, of a world with the same sites, stations, conditions and rules

    Raises CannotPlan where the request names a site, person, place or way in that the world does not hold.
    """
    if faults := request_faults(request, world):
        raise CannotPlan(faults)
    rules = world.rules
    site = world.sites[request.site]
    scenes = Scenes(world) if scenes is None else scenes
    setting = scenes.setting(site, request.date, request.measured_pressure_bar)
    groups = [group_setting(group, setting, world) for group in request.groups]
    checks: list[Check] = []
    for held in groups:
        checks.append(check_place(held, site))
        if held.place.swim_min is None:
            sentence = (
                f"{held.group.name}: the swim from the way in to {held.place.name} is not in the site file and is in "
                "no time and no gas here: be in earlier and turn earlier by what it takes."
            )
            checks.append(Check("swim-known", Outcome.CAUTION, sentence, "SITE_FILE", subject=held.group.name))
    dives, dive_checks, ledger = plan_dives(request, world, setting, groups)
    divers = dict.fromkeys(name for group in request.groups for name in group.everybody)
    after, after_checks = after_dives(request, tuple(divers), ledger, setting.grid, rules)
    checks.extend(check_site(site, request, world, setting))
    checks.extend(check_crew(request.crew, world.people, request.date, rules))
    for held in groups:
        checks.extend(check_group(held.group, site, world.people, request.date, rules))
        pairs = propose_pairs(held.group, world.people, request.date, rules)
        checks.extend(check_pairs(held.group, pairs, world.people, request.date, rules))
    checks.extend(check_support(dives, request, world.people, rules))
    checks.extend(dive_checks)
    checks.extend(after_checks)
    checks.extend(drives_between(request, tuple(divers), ledger, setting.grid, rules))
    lead, lead_checks = lead_lines(request.groups, dives, world.people, setting.surroundings, rules)
    checks.extend(lead_checks)
    places = {held.group.name: held.place for held in groups}
    taught = teach(request, dives, places, world.skills, world.ticks, world.people)
    dives = taught.dives
    checks.extend(taught.checks)
    packing = pack(request, dives, lead, world.people, world.kit, rules)
    checks.extend(packing.checks)
    checks.extend(check_recent(request))
    checks.extend(check_cold(setting, request, world))
    help_here = help_at(site, request.date, request.crew, divers, hours_of(dives), world)
    checks.extend(help_here.checks)
    checks.extend(check_weather_of(dives, groups, setting, rules))
    unique = tuple(sorted(dict.fromkeys(checks), key=lambda check: -check.outcome.severity))
    return Judged(
        setting=setting,
        groups=tuple(groups),
        dives=dives,
        ledger=ledger,
        after=after,
        lead=lead,
        packing=packing,
        help_here=help_here,
        checks=unique,
    )


def plan_day(request: Request, world: World) -> DayPlan:
    """Return the plan of one day at one site, with every check behind it.

    Raises CannotPlan where the request names a site, person, place or way in that the world does not hold.
    """
    judged = judge_day(request, world)
    rules, setting, groups, dives = world.rules, judged.setting, judged.groups, judged.dives
    site, ledger, unique, help_here = setting.site, judged.ledger, judged.checks, judged.help_here
    verdict = worst(unique)
    windows, closures = shown_windows(groups)
    what_ifs = what_ifs_of(dives, groups)
    return DayPlan(
        revision=revision_of(request, world),
        title=request.title or f"{site.name}, {request.date}",
        demonstration=world.demonstration or site.demonstration,
        site=request.site,
        site_name=site.name,
        date=request.date,
        timezone=site.timezone,
        verdict=verdict,
        headline=headline_of(site, request, verdict, unique, dives),
        nearest_edge=nearest_edge(what_ifs, unique),
        windows=windows,
        closures=closures,
        dives=dives,
        checks=unique,
        light=Light(
            civil_dawn=whole_minute(setting.light.civil_dawn, later=True),
            sunrise=whole_minute(setting.light.sunrise, later=True),
            sunset=whole_minute(setting.light.sunset, later=False),
            civil_dusk=whole_minute(setting.light.civil_dusk, later=False),
            moon_words=setting.light.moon_words,
            note=setting.light.note,
        ),
        tide_events=tide_events_of(setting),
        tide_words=tide_words_of(site, world.stations.get(site.tide.station or "")),
        curve=day_curve(setting, groups, rules.value("tide.height_margin_m"), world),
        emergency=emergency_of(help_here, request.crew, request.date, world),
        observations=observations(site, [held.kind for held in groups], rules),
        forecast_words=forecast_words(setting),
        conditions=conditions_lines(setting),
        what_ifs=what_ifs,
        overrides=rules.overridden,
        elevation_m=site.elevation_m,
        surface_pressure_bar=setting.surroundings.surface_pressure_bar,
        water_words=water_words_of(site, request, setting),
        hazards=tuple((hazard.what, hazard.control) for hazard in site.hazards),
        briefing=briefing_lines(site, dives, rules, high=site.elevation_m >= rules.value("altitude.corrected_from_m")),
        flag_rule=site.flag_rule,
        after=judged.after,
        lead=judged.lead,
        slates=slate_of(dives, ledger, setting.grid.start, rules),
        packing=judged.packing,
        attribution=attribution_of(setting),
        rules_here="; ".join(part for part in (world.code_of_practice, site.rules_here) if part),
    )


def hours_of(dives: Sequence[DivePlan]) -> tuple[datetime, datetime] | None:
    """Return the first entry and the last exit of a day; None where no dive has a time."""
    timed = [dive for dive in dives if dive.entry is not None and dive.exit_by is not None]
    if not timed:
        return None
    return min(d.entry for d in timed if d.entry), max(d.exit_by for d in timed if d.exit_by)
