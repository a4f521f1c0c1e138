"""What no single day plan can see: each limit over the days is a stop when a solution made by hand breaks it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, time, timedelta
from typing import Any

import pytest

from tests.planning.school_world import (
    COVE,
    FILLER,
    ONE,
    QUARRY,
    TWO,
    crew,
    guided,
    school,
    school_world,
    store,
)
from tripplan.check import Check, Outcome
from tripplan.planning.outings import Block, Ground, Options, options_of
from tripplan.planning.rota import check_rota, fillings_of, loads_of
from tripplan.planning.schedule_request import Start
from tripplan.planning.solution import Ashore, Made, Solution
from tripplan.planning.world import World

LONG_DAYS = Start(position="46.9000, -16.9000", timezone="Atlantic/Azores", opens=time(4, 0), closes=time(23, 0))
DABS, EELS = guided("Dabs", "Ann", "Ben", number=2), guided("Eels", "Cy", "Dee")


def ground_of(world: World | None = None, **more: Any) -> Ground:
    staff = crew("Ida", "Gil", Sol="ashore", Bea="ashore", Mae="ashore", Oxy="ashore")
    given: dict[str, Any] = {"days": 2, "centre": LONG_DAYS, "crew": staff, **more}
    request = school(DABS, EELS, **given)
    return Ground(request, world or school_world())


OPTIONS: dict[str, Options] = {}


def options(ground: Ground) -> Options:
    """Return what is possible, once for all tests of one request; no rule that they change bears on it."""
    key = repr(ground.request.groups) + str(ground.request.centre)
    if key not in OPTIONS:
        OPTIONS[key] = options_of(ground)
    return OPTIONS[key]


def outing(ground: Ground, group: str, numbers: tuple[int, ...], site: str, day: date, clock: int, leader: str) -> Made:
    """Return an outing with its first entry at a full hour."""
    runs = options(ground).runs[Block(group, numbers)]
    run = next(each for each in runs if (each.site, each.day) == (site, day))
    return Made(run, ground.minute(run.day, time(clock)), leader, ())


def team(ground: Ground, outings: list[Made], *people: str) -> Ashore:
    run = outings[0].run
    first, last = min(each.on_site for each in outings), max(each.off_site for each in outings)
    return Ashore(run.site, run.day, people, (), first, last)


def judged(ground: Ground, *made: Made, ashore: tuple[Ashore, ...] = ()) -> Mapping[str, list[Check]]:
    solution = Solution(made, ashore)
    found: dict[str, list[Check]] = {}
    for check in check_rota(solution, ground, fillings_of(solution, ground)):
        found.setdefault(check.rule, []).append(check)
    return found


def outcomes(checks: Mapping[str, list[Check]], rule: str) -> set[Outcome]:
    return {check.outcome for check in checks.get(rule, [])}


def test_rest_between_two_days_is_counted_from_being_back_to_leaving() -> None:
    ground = ground_of()
    for clock, stopped in ((6, True), (10, False)):
        evening = outing(ground, "Dabs", (1,), COVE, ONE, 19, "Ida")
        morning = outing(ground, "Eels", (1,), COVE, TWO, clock, "Ida")
        checks = judged(ground, evening, morning)
        hours = (morning.leaves - evening.back) / 60
        assert (hours < 11) == stopped
        assert outcomes(checks, "rest") == {Outcome.STOP if stopped else Outcome.OK}
        assert f"{round(hours, 2):g} h" in checks["rest"][0].sentence


@pytest.mark.parametrize(
    ("rule", "key", "most"),
    [
        ("week-dives", "work__dives_in_seven_most", 2),
        ("week-ascents", "work__ascents_in_seven_most", 2),
        ("week-days", "work__most_in_seven_days", 1),
        ("dives-per-day", "dive__most_per_day_staff", 1),
        ("ascents-per-day", "ascent__most_per_day", 1),
    ],
)
def test_one_more_than_a_limit_of_days_and_weeks_is_a_stop(rule: str, key: str, most: int) -> None:
    for limit, outcome in ((most, Outcome.STOP), (most + 1, Outcome.OK)):
        loose = ground_of()
        made = (outing(loose, "Dabs", (1, 2), COVE, ONE, 9, "Ida"), outing(loose, "Eels", (1,), COVE, TWO, 9, "Ida"))
        ground = Ground(loose.request, school_world(**{key: limit}))  # type: ignore[arg-type]
        assert outcomes(judged(ground, *made), rule) == {outcome}


def test_somebody_in_two_groups_has_the_dives_of_both() -> None:
    ground = Ground(school(DABS, guided("Eels", "Ann", "Cy", number=2), centre=LONG_DAYS), school_world())
    made = (outing(ground, "Dabs", (1, 2), COVE, ONE, 8, "Ida"), outing(ground, "Eels", (1, 2), COVE, ONE, 15, "Gil"))
    stops = [check for check in judged(ground, *made)["dives-per-day"] if check.outcome is Outcome.STOP]
    assert [check.subject for check in stops] == ["Ann"]
    assert stops[0].found == 4


def test_kit_is_counted_over_all_sites_at_once() -> None:
    for masks, outcome in ((5, Outcome.STOP), (6, Outcome.OK)):
        ground = ground_of(school_world(kit=store(mask=masks)))
        made = (outing(ground, "Dabs", (1,), COVE, ONE, 9, "Ida"), outing(ground, "Eels", (1,), QUARRY, ONE, 9, "Gil"))
        checks = judged(ground, *made)
        assert outcomes(checks, "kit-at-once") == {outcome}
        assert ("masks are short" in checks["kit-at-once"][0].sentence) == (outcome is Outcome.STOP)


def test_each_shore_team_takes_oxygen_and_each_group_a_flag_and_a_float() -> None:
    for thing, rule, words in (
        ("oxygen_kit", "safety-at-once", "oxygen kit"),
        ("first_aid_kit", "safety-at-once", "first aid kit"),
        ("flag", "towed-at-once", "flag"),
        ("float", "towed-at-once", "float"),
    ):
        for count, stopped in ((1, True), (2, False)):
            ground = ground_of(school_world(kit=store(**{thing: count})))
            one = outing(ground, "Dabs", (1,), COVE, ONE, 9, "Ida")
            two = outing(ground, "Eels", (1,), QUARRY, ONE, 9, "Gil")
            ashore = (team(ground, [one], "Sol", "Bea"), team(ground, [two], "Mae", "Oxy"))
            checks = judged(ground, one, two, ashore=ashore)
            stops = [check.sentence for check in checks[rule] if check.outcome is Outcome.STOP]
            assert len(stops) == int(stopped)
            assert all(words in sentence for sentence in stops)


def test_cylinders_are_full_again_only_when_the_compressor_has_filled_them() -> None:
    for cylinders, compressor, stopped in ((9, None, False), (8, None, True), (6, FILLER, False), (5, FILLER, True)):
        ground = ground_of(school_world(kit=store(cylinders)), compressor=compressor)
        made = (outing(ground, "Dabs", (1, 2), COVE, ONE, 9, "Ida"), outing(ground, "Eels", (1,), COVE, TWO, 9, "Gil"))
        first = Made(made[0].run, made[0].start, "Ida", (), (), made[0].back if compressor else None)
        solution = Solution((first, made[1]), ())
        fillings = fillings_of(solution, ground)
        stops = [c for c in check_rota(solution, ground, fillings) if c.rule == "kit-at-once"]
        assert (stops[0].outcome is Outcome.STOP) == stopped, cylinders


def test_fillings_follow_each_other_within_the_hours_of_the_compressor() -> None:
    ground = ground_of(school_world(kit=store()), compressor=FILLER)
    made = (
        outing(ground, "Dabs", (1, 2), COVE, ONE, 15, "Ida"),
        outing(ground, "Eels", (1,), QUARRY, ONE, 16, "Gil"),
    )
    fillings = fillings_of(Solution(made, ()), ground)
    assert [(each.group, each.count, each.sizes) for each in fillings] == [
        ("Eels", 3, {"15 l": 3}),
        ("Dabs", 6, {"15 l": 6}),
    ]
    eels, dabs = fillings
    assert eels.ends - eels.starts == timedelta(minutes=12)
    assert dabs.ends - dabs.starts == timedelta(minutes=24)
    assert dabs.starts >= eels.ends
    for filling in fillings:
        assert FILLER.opens <= filling.starts.time() and filling.ends.time() <= FILLER.closes
    assert fillings_of(Solution(made, ()), ground_of()) == ()


def test_the_work_of_each_is_added_up() -> None:
    ground = ground_of()
    one, two = outing(ground, "Dabs", (1, 2), COVE, ONE, 9, "Ida"), outing(ground, "Eels", (1,), COVE, TWO, 10, "Ida")
    solution = Solution((one, two), (team(ground, [one], "Sol", "Bea"), team(ground, [two], "Sol", "Mae")))
    loads = {load.person: load for load in loads_of(solution, ground)}
    ida, sol, gil = loads["Ida"], loads["Sol"], loads["Gil"]
    assert (ida.outings, ida.dives, ida.ascents, ida.days, ida.most_dives_day) == (2, 3, 3, 2, 2)
    assert ida.water_min == sum(times.out - times.entry for made in (one, two) for times in made.run.times)
    assert ida.shortest_rest_h == pytest.approx((two.leaves - one.back) / 60, abs=0.01)
    assert (sol.outings, sol.dives, sol.days) == (2, 0, 2)
    assert sol.ashore_min == (one.off_site - one.on_site) + (two.off_site - two.on_site)
    assert (gil.outings, gil.days, gil.shortest_rest_h) == (0, 0, None)


def test_what_nobody_has_written_down_is_a_caution() -> None:
    ground = ground_of(recent_dives=None)
    one = outing(ground, "Dabs", (1,), COVE, ONE, 9, "Ida")
    checks = judged(ground, one)
    assert outcomes(checks, "kit-known") == {Outcome.CAUTION}
    assert outcomes(checks, "recent-dives-known") == {Outcome.CAUTION}
    with_kit = judged(ground_of(school_world(kit=store())), one)
    assert outcomes(with_kit, "cylinders-filled") == {Outcome.CAUTION}
