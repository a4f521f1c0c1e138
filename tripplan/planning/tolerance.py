"""How far a plan is from its edges: how much later, windier, higher or faster before a check turns, and who must come.

Each edge is searched step by step through the same checks that made the plan, with the dives kept where they are: at
the step told, everything still holds; one step further, the check named does not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, timedelta

import numpy as np

from tripplan.check import Check, Outcome
from tripplan.planning.crew import check_ashore, check_crew, check_group, check_support
from tripplan.planning.day_checks import dive_hours, ratio_in_dive, stream_in_dive, weather_checks
from tripplan.planning.plan import DayPlan, DivePlan, Edge
from tripplan.planning.ratios import ratio_of
from tripplan.planning.request import CREW_LISTS, GroupWish, Request
from tripplan.planning.setting import GroupSetting, Setting, group_setting, setting_of, window_for
from tripplan.planning.shore import Weather, shore_sea
from tripplan.planning.world import World

WIND_STEP_KN, WIND_SEARCHED_KN = 1.0, 40.0
SWELL_STEP_M, SWELL_SEARCHED_M = 0.1, 4.0
STREAM_STEP_KN, STREAM_SEARCHED_KN = 0.1, 4.0
DELAY_COARSE_MIN = 5  # a forecast moves by the hour; the edge itself is then found to the minute

Judged = dict[tuple[str, str, int], Check]


def with_edges(plan: DayPlan, request: Request, world: World) -> DayPlan:
    """Return the plan with its edges; a plan that holds no timed dive has none."""
    return replace(plan, edges=edges_of(plan, request, world))


def edges_of(plan: DayPlan, request: Request, world: World) -> tuple[Edge, ...]:
    """Return how much each thing may change before a check of a plan turns from ok to caution, or to stop.

    plan -- made from this request and this world
    """
    setting = setting_of(world.sites[request.site], request.date, world, request.measured_pressure_bar)
    held = {group.name: group_setting(group, setting, world) for group in request.groups}
    timed = [dive for dive in plan.dives if dive.entry is not None]
    edges: list[Edge] = []
    if timed:
        edges.append(_delay(plan, request, setting, held, timed, world))
        if setting.weather is not None:
            edges.extend(_sea_edges(setting, held, timed, world))
        if len(setting.rates_kn):
            edges.append(_stream_edge(setting, held, timed, world))
        edges.extend(_members(setting, held, timed, request, world))
    edges.extend(_crew_edges(plan, setting, held, request, world))
    return tuple(edges)


def _judged(checks: Iterable[Check]) -> Judged:
    """Return checks by rule, subject and ordinal, so that two runs can be compared one by one."""
    found: Judged = {}
    for check in checks:
        number = 0
        while (check.rule, check.subject, number) in found:
            number += 1
        found[(check.rule, check.subject, number)] = check
    return found


def _turned(before: Judged, after: Judged) -> Check | None:
    """Return the worst check that has become more severe; one that is new counts from ok."""
    worse = [
        check
        for key, check in after.items()
        if check.outcome.severity > (before[key].outcome.severity if key in before else 0)
    ]
    return max(worse, key=lambda check: check.outcome.severity, default=None)


def _first_turn(step: float, searched: float, judge: Callable[[float], Check | None]) -> tuple[float, Check] | None:
    """Return the smallest rise, in whole steps, at which a check turns; None up to the end of the search."""
    for number in range(1, round(searched / step) + 1):
        rise = round(number * step, 6)
        if (check := judge(rise)) is not None:
            return rise, check
    return None


def _edge(what: str, unit: str, step: float, searched: float, judge: Callable[[float], Check | None]) -> Edge:
    found = _first_turn(step, searched, judge)
    if found is None:
        return Edge(what, searched, None, unit, Outcome.OK, f"nothing turns up to {searched:g} {unit} more")
    rise, check = found
    return Edge(what, round(rise - step, 6), rise, unit, check.outcome, check.sentence)


def _conditions(setting: Setting, held: dict[str, GroupSetting], timed: Sequence[DivePlan], world: World) -> Judged:
    checks: list[Check] = []
    for dive in timed:
        checks.extend(weather_checks(dive, held[dive.group], setting, world.rules))
        checks.append(stream_in_dive(dive, held[dive.group], setting, world.rules))
        checks.extend(ratio_in_dive(dive, held[dive.group], setting, world.rules))
    return _judged(checks)


def _raised(setting: Setting, weather: Weather, world: World) -> Setting:
    return replace(setting, weather=weather, sea=shore_sea(setting.site, weather, world.rules))


def _sea_edges(
    setting: Setting, held: dict[str, GroupSetting], timed: Sequence[DivePlan], world: World
) -> Iterable[Edge]:
    weather = setting.weather
    assert weather is not None
    before = _conditions(setting, held, timed, world)

    def windier(rise: float) -> Check | None:
        raised = _raised(setting, weather.raised(wind_kn=rise), world)
        return _turned(before, _conditions(raised, held, timed, world))

    def higher(rise: float) -> Check | None:
        raised = _raised(setting, weather.raised(swell_m=rise), world)
        return _turned(before, _conditions(raised, held, timed, world))

    if weather.minutes.knows("wind_m_s"):
        yield _edge("More wind", "kn", WIND_STEP_KN, WIND_SEARCHED_KN, windier)
    swell = weather.minutes.knows("swell_m") or weather.minutes.knows("wave_m")
    if swell and setting.site.water.kind != "fresh":
        yield _edge("More swell outside", "m", SWELL_STEP_M, SWELL_SEARCHED_M, higher)


def _stream_edge(setting: Setting, held: dict[str, GroupSetting], timed: Sequence[DivePlan], world: World) -> Edge:
    before = _conditions(setting, held, timed, world)

    def faster(rise: float) -> Check | None:
        return _turned(before, _conditions(replace(setting, rates_kn=setting.rates_kn + rise), held, timed, world))

    return _edge("More stream", "kn", STREAM_STEP_KN, STREAM_SEARCHED_KN, faster)


def _delay(
    plan: DayPlan,
    request: Request,
    setting: Setting,
    held: dict[str, GroupSetting],
    timed: Sequence[DivePlan],
    world: World,
) -> Edge:
    """Return how much later the whole day may go in: inside the windows, with the same checks, before the way home."""
    grid = setting.grid
    masks = {name: (each.window.closed("entry"), each.window.closed("water")) for name, each in held.items()}
    before = _conditions(setting, held, timed, world)
    spare = _before_leaving(plan, request)

    def judge(minutes: float) -> Check | None:
        late = int(minutes)
        for dive in timed:
            hours = dive_hours(dive, held[dive.group], setting)
            entry, out = hours.entry + late, hours.out + late
            no_entry, no_water = masks[dive.group]
            if out > grid.minutes:
                return Check("window", Outcome.STOP, f"{hours.subject}: the day ends.", "SITE_FILE", subject=dive.group)
            closed = next((m for m in range(entry, out) if no_water[m] or (m == entry and no_entry[m])), None)
            if closed is not None:
                phase = "entry" if closed == entry else "water"
                why = held[dive.group].window.reasons(closed, phase)  # type: ignore[arg-type]
                words = why[0].sentence if why else "the window closes."
                return Check("window", Outcome.STOP, f"{hours.subject}: {words}", "SITE_FILE", subject=dive.group)
        if spare is not None and late > spare[0]:
            return spare[1]
        return None

    stop = next(((n, check) for n in range(1, grid.minutes + 1) if (check := judge(n)) is not None), None)
    last = stop[0] if stop else grid.minutes
    found = stop
    if setting.weather is not None or len(setting.rates_kn):

        def turned(late: int) -> Check | None:
            moved = [_later(dive, late) for dive in timed]
            return _turned(before, _conditions(setting, held, moved, world))

        for late in range(DELAY_COARSE_MIN, last, DELAY_COARSE_MIN):
            if turned(late) is not None:
                exact = late
                while exact > 1 and turned(exact - 1) is not None:
                    exact -= 1
                check = turned(exact)
                assert check is not None
                found = (exact, check)
                break
    if found is None:
        return Edge("Whole day later", grid.minutes, None, "min", Outcome.OK, "nothing turns today")
    first = min((dive.entry for dive in timed if dive.entry is not None), key=lambda entry: entry.timestamp())
    latest = grid.at(grid.minute_floor(first) + found[0] - 1)
    words = f"{found[1].sentence.rstrip('.')}. Latest start {latest:%H:%M}."
    return Edge("Whole day later", found[0] - 1, found[0], "min", found[1].outcome, words)


def _later(dive: DivePlan, minutes: int) -> DivePlan:
    assert dive.entry is not None
    return replace(dive, entry=(dive.entry.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(dive.entry.tzinfo))


def _before_leaving(plan: DayPlan, request: Request) -> tuple[int, Check] | None:
    """Return how many minutes later the day may end before somebody has to leave for the way home, and what then."""
    found: list[tuple[int, Check]] = []
    leaves = {stage.name: stage.leaves for stage in request.way_home if getattr(stage, "leaves", None) is not None}
    for after in plan.after:
        for stage in after.stages:
            clock = leaves.get(stage.name)
            if clock is None or stage.earliest is None:
                continue
            moment = stage.earliest.replace(hour=clock.hour, minute=clock.minute, second=0, microsecond=0)
            spare = math.floor((moment.timestamp() - stage.earliest.timestamp()) / 60)
            if stage.earliest.date() == plan.date and spare >= 0:
                sentence = f"{after.name} may not take {stage.name} at {clock:%H:%M} any more ({stage.because})."
                found.append((spare, Check("way-home", Outcome.STOP, sentence, stage.source, subject=after.name)))
    return min(found, key=lambda pair: pair[0], default=None)


def _members(
    setting: Setting, held: dict[str, GroupSetting], timed: Sequence[DivePlan], request: Request, world: World
) -> Iterable[Edge]:
    """Tell in how many members of an ensemble every dive stays inside its window."""
    conditions = world.conditions.get(request.site)
    if conditions is None or conditions.forecast is None or not conditions.forecast.members:
        return
    total, opened = len(conditions.forecast.members), 0
    for number in range(total):
        member = replace(world, conditions={**world.conditions, request.site: conditions.member(number)})
        other = setting_of(setting.site, request.date, member, request.measured_pressure_bar)
        opened += all(_fits(dive, held[dive.group], other, member) for dive in timed)
    share = opened / total
    outcome = Outcome.OK if opened == total else Outcome.CAUTION
    yield Edge(
        "Spread of the forecast",
        None,
        None,
        "",
        outcome,
        f"in {opened} of {total} members of the ensemble ({math.floor(share * 100)} %) every dive stays in its window",
    )


def _fits(dive: DivePlan, held: GroupSetting, setting: Setting, world: World) -> bool:
    window = window_for(setting, held.kind, held.going_in, held.coming_out, world.rules, held.cold)
    hours = dive_hours(dive, held, setting)
    entry_open = not window.closed("entry")[hours.entry]
    return bool(entry_open and not np.any(window.closed("water")[hours.entry : hours.out]))


def _crew_edges(
    plan: DayPlan, setting: Setting, held: dict[str, GroupSetting], request: Request, world: World
) -> Iterable[Edge]:
    """Tell whose absence turns a check: everybody ashore with a role, every leader and assistant."""
    before = _judged(_people_checks(plan, setting, held, request, world))
    crew = request.crew
    staff: list[str | None] = [*crew.everybody]
    staff += [name for group in request.groups for name in (group.leader, *group.assistants)]
    for name in dict.fromkeys(each for each in staff if each):
        without = request.model_copy(
            update={
                "crew": crew.model_copy(
                    update={
                        "dive_director": None if crew.dive_director == name else crew.dive_director,
                        **{key: tuple(n for n in getattr(crew, key) if n != name) for key in CREW_LISTS},
                    }
                ),
                "groups": tuple(_without(group, name) for group in request.groups),
            }
        )
        after = _judged(_people_checks(plan, setting, held, without, world))
        check = _turned(before, after)
        if check is None:
            yield Edge(f"Without {name}", None, None, "", Outcome.OK, "nothing turns")
        else:
            yield Edge(f"Without {name}", None, None, "", check.outcome, check.sentence)


def _without(group: GroupWish, name: str) -> GroupWish:
    return group.model_copy(
        update={
            "leader": None if group.leader == name else group.leader,
            "assistants": tuple(each for each in group.assistants if each != name),
        }
    )


def _people_checks(
    plan: DayPlan, setting: Setting, held: dict[str, GroupSetting], request: Request, world: World
) -> list[Check]:
    checks = list(check_crew(request.crew, world.people, request.date, world.rules))
    site = world.sites[request.site]
    for group in request.groups:
        checks.extend(check_group(group, site, world.people, request.date, world.rules))
    members = {group.name: set(group.everybody) for group in request.groups}
    wet: dict[str, list[str]] = {}
    for dive in plan.dives:
        for person in dive.people:
            if person.name in members[dive.group]:
                wet.setdefault(person.name, []).append(f"{dive.group}, dive {dive.number}")
    checks.extend(check_ashore(request.crew, wet, world.people, request.date, world.rules))
    checks.extend(check_support(plan.dives, request, world.people, world.rules))
    now = {
        group.name: replace(
            held[group.name], group=group, ratio=ratio_of(group, world.people, request.date, world.rules)
        )
        for group in request.groups
    }
    for dive in plan.dives:
        if dive.entry is not None:
            checks.extend(ratio_in_dive(dive, now[dive.group], setting, world.rules))
    return checks
