"""The day later, or with something else seen: which requests come of it and which lines of the plan change."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, time, timedelta
from functools import cache
from itertools import permutations

import cove_world
import pytest
import small_world
import weather_world
from hypothesis import given, settings
from hypothesis import strategies as st
from small_world import SOUTH, TIDAL, ask, group, swing, wish

from tripplan.check import Candidate, Check, Contest, Outcome
from tripplan.environment.conditions import Seen
from tripplan.errors import OutOfRange
from tripplan.planning.day import plan_day
from tripplan.planning.plan import DayPlan
from tripplan.planning.replan import Change, delayed, difference
from tripplan.planning.request import DiveWish, HomeStage, Request
from tripplan.planning.world import World

AUTUMN = date(2027, 10, 31)  # in the Azores the clock shows 00:00 to 00:59 twice (European Union, last Sunday)
TIDELESS = small_world.world()
TIDED = small_world.world(small_world.site(TIDAL), station=swing())


def half_past_nine(**more: object) -> Request:
    return ask(group("Ann", "Ben", dives=(wish(12, 30, not_before=time(9, 30)),)), **more)


def later(request: Request, world: World, minutes: int) -> tuple[DayPlan, DayPlan]:
    """Return the plan of a request and the plan of the day so many minutes later."""
    before = plan_day(request, world)
    return before, plan_day(delayed(request, before, minutes), world)


def under(*seen: Seen, dives: tuple[DiveWish, ...] = (DiveWish(depth_m=12.0, minutes=30),)) -> DayPlan:
    """Return the plan of a calm day at the cove on which something was seen."""
    told = weather_world.conditions(cove_world.DAY, *seen)
    return weather_world.plan(told, weather_world.guided(dives=dives))


def wind(m_s: float) -> Seen:
    return Seen("wind_m_s", m_s, weather_world.at(cove_world.DAY, 4), "Ana")


def lines(changes: tuple[Change, ...], part: str) -> list[tuple[str, str, bool | None]]:
    return [(change.before, change.after, change.worse) for change in changes if part in change.what]


# ---- the day later ----


def test_a_dive_goes_in_no_earlier_than_planned_and_the_delay():
    request = half_past_nine()
    moved = delayed(request, plan_day(request, TIDELESS), 40)
    assert moved.groups[0].dives[0].not_before == time(10, 10)
    assert moved.model_copy(update={"groups": request.groups}) == request, "nothing else moves"


def test_a_dive_for_which_no_time_was_asked_starts_from_the_planned_one():
    request = ask(group("Ann", "Ben", dives=(wish(12, 30), wish(12, 30))))
    before = plan_day(request, TIDELESS)
    moved = delayed(request, before, 25).groups[0].dives
    planned = [dive.entry for dive in before.dives]
    assert [each.not_before for each in moved] == [(t + timedelta(minutes=25)).time() for t in planned if t]
    assert len(set(planned)) == 2


def test_a_fixed_entry_moves_and_stays_fixed():
    request = ask(group("Ann", "Ben", dives=(wish(12, 30, entry=time(9, 30)),)))
    moved = delayed(request, plan_day(request, TIDELESS), 720).groups[0].dives[0]
    assert (moved.entry, moved.not_before) == (time(21, 30), None)


def test_a_dive_that_had_no_time_moves_by_what_was_asked():
    request = ask(group("Ann", "Ben", dives=(wish(12, 30, not_before=time(22, 30)), wish(0.5, 1))))
    before = plan_day(request, TIDELESS)
    assert next(dive for dive in before.dives if dive.number == 1).entry is None, "it is dark by then"
    assert delayed(request, before, 15).groups[0].dives[0].not_before == time(22, 45)


def test_who_sets_off_for_home_at_a_time_still_does():
    home = (HomeStage(name="evening flight", kind="airliner", height_m=2400, leaves=time(20, 0)),)
    request = half_past_nine(way_home=home)
    assert delayed(request, plan_day(request, TIDELESS), 60).way_home == home


@pytest.mark.parametrize("minutes", [-5, 0, 721])
def test_a_delay_of_nothing_or_of_more_than_half_a_day_is_refused(minutes: int):
    request = half_past_nine()
    with pytest.raises(OutOfRange, match=rf"delay is {minutes} min; it must be from 1 to 720 min"):
        delayed(request, plan_day(request, TIDELESS), minutes)


def test_the_last_minute_of_the_day_is_allowed_and_the_next_is_refused():
    request = ask(group("Ann", "Ben", dives=(wish(12, 30, entry=time(23, 20)),)))
    before = plan_day(request, TIDELESS)
    assert delayed(request, before, 39).groups[0].dives[0].entry == time(23, 59)
    with pytest.raises(OutOfRange, match="Group, dive 1 would begin at 00:00 on 13 June, on another day"):
        delayed(request, before, 40)


@pytest.mark.parametrize(
    ("day", "asked", "minutes", "shown"),
    [
        (date(2027, 10, 3), time(1, 45), 40, time(2, 55)),  # Lord Howe Island: 02:00 becomes 02:30
        (date(2027, 4, 4), time(1, 15), 90, time(2, 15)),  # 02:00 becomes 01:30
        (date(2027, 4, 5), time(1, 15), 60, time(2, 15)),  # the day after
    ],
)
def test_on_the_day_the_clock_changes_the_delay_is_elapsed_minutes(day: date, asked: time, minutes: int, shown: time):
    """The days and hours are those of the IANA time zone database for Australia/Lord_Howe."""
    world = small_world.world(small_world.site(*SOUTH))
    request = ask(group("Ann", "Ben", dives=(wish(12, 30, entry=asked),)), date=day)
    before = plan_day(request, world)
    assert delayed(request, before, minutes).groups[0].dives[0].entry == shown


def test_a_clock_put_back_over_midnight_keeps_the_day():
    request = ask(group("Ann", "Ben", dives=(wish(12, 30, entry=time(0, 15)),)), date=AUTUMN)
    before = plan_day(request, TIDELESS)
    assert delayed(request, before, 120).groups[0].dives[0].entry == time(1, 15)
    with pytest.raises(OutOfRange, match="00:30 for the second time"):
        delayed(request, before, 75)


# ---- what changes ----


def test_equal_plans_have_no_lines():
    assert difference(under(), under()) == ()
    assert difference(under(wind(9.0)), under(wind(9.0))) == ()


def test_forty_minutes_later_shows_exactly_the_shifted_lines():
    """By hand: 30 min at 12 m, up at 9 m/min (2 min) with 3 min on the way, no swim: 35 min; overdue 10 min later."""
    before, after = later(half_past_nine(), TIDELESS, 40)
    swim = next(place.swim_min or 0 for place in TIDELESS.sites["plain-cove"].places if place.name == "Slope")
    assert before.dives[0].water_time_min == 35 + 2 * swim
    shown = {change.what: (change.before, change.after) for change in difference(before, after)}
    clock = [before.dives[0].exit, before.dives[0].exit_by]
    out, out_by = ((f"{t:%H:%M}", f"{t + timedelta(minutes=40):%H:%M}") for t in clock if t)
    flights = {what: pair for what, pair in shown.items() if "any airline flight from" in what}
    assert {name.split(":")[0] for name in flights} == {"Ida", "Ann", "Ben"}
    assert {what: pair for what, pair in shown.items() if what not in flights} == {
        "Group, dive 1: in": ("09:30", "10:10"),
        "Group, dive 1: out": out,
        "Group, dive 1: out by": out_by,
    }
    assert {change.worse for change in difference(before, after)} == {None}, "later is not worse by itself"


def test_a_later_dive_shows_the_tide_it_meets():
    """By the cosine between low water, 1 m at 06:00, and high water, 5 m at 12:00: 3 - 2 cos(180 deg h / 6 h)."""
    changes = difference(*later(half_past_nine(), TIDED, 40))
    assert lines(changes, "tide at entry") == [("3.5 m", "4.1 m", None)]


def test_stronger_wind_seen_shows_its_check_and_what_it_closes():
    changes = difference(under(), under(wind(14.0)))
    assert changes[0] == Change("The day", "go with care", "do not go", True)
    assert lines(changes, "dive 1: in")[0][1:] == ("no minute of the day works", True)
    ((_, spans, worse),) = lines(changes, "Terns: windows")
    assert (spans, worse) == ("none", True)
    assert any(after.startswith("stop: Terns, dive 1: no minute") for _, after, _ in lines(changes, "entry possible"))


def test_a_little_more_wind_changes_the_caution_and_no_time():
    changes = difference(under(), under(wind(4.0)))
    assert [change for change in changes if change.what.startswith("Terns")] == []
    ((before, after, worse),) = lines(changes, "forecast too low")
    assert (before, worse) == ("-", True)
    assert after.startswith("caution: ")


def test_a_dive_that_gets_a_time_is_better():
    ((before, after, worse),) = lines(difference(under(wind(14.0)), under()), "dive 1: in")
    assert (before, worse) == ("no minute of the day works", False)
    assert after == f"{under().dives[0].entry:%H:%M}"


def test_a_dive_in_one_plan_only_is_one_line():
    one = under()
    two = under(dives=(DiveWish(depth_m=12.0, minutes=30), DiveWish(depth_m=9.0, minutes=20)))
    ((before, after, _),) = lines(difference(one, two), "dive 2")[:1]
    assert before == "-"
    assert after == f"in {two.dives[1].entry:%H:%M}"


def test_a_lower_depth_limit_is_worse_and_gives_its_reason():
    plan = under()
    (dive,) = plan.dives
    lower = Contest("depth limit", "m", (Candidate("bottom", 9.0, "the reef ends", "SITE_FILE"),))
    changes = difference(plan, replace(plan, dives=(replace(dive, depth=lower, depth_m=9.0),)))
    assert [(c.what, c.after, c.worse) for c in changes] == [
        ("Terns, dive 1: depth limit", "9 m (the reef ends)", True),
        ("Terns, dive 1: planned depth", "9 m", True),
    ]


def test_turning_with_more_gas_left_is_worse_and_no_fill_at_all_too():
    plan = under()
    (dive,) = plan.dives
    assert dive.gas is not None
    assert dive.gas.turn_bar is not None
    for turn_bar, said, worse in (
        (dive.gas.turn_bar + 10, f"{dive.gas.turn_bar + 10} bar", True),
        (dive.gas.turn_bar - 10, f"{dive.gas.turn_bar - 10} bar", False),
        (None, "no fill is enough", True),
    ):
        other = replace(plan, dives=(replace(dive, gas=replace(dive.gas, turn_bar=turn_bar)),))
        was = f"{dive.gas.turn_bar} bar"
        assert difference(plan, other) == (Change("Terns, dive 1: turn at", was, said, worse),)


def test_the_same_clock_time_an_hour_later_is_told_apart():
    request = ask(group("Ann", "Ben", dives=(wish(12, 30),)), date=AUTUMN)
    plan = plan_day(request, TIDELESS)
    (dive,) = plan.dives
    assert dive.entry is not None
    first = dive.entry.replace(hour=0, minute=30, fold=0)
    plans = [replace(plan, dives=(replace(dive, entry=first.replace(fold=fold)),)) for fold in (0, 1)]
    (change,) = difference(*plans)
    assert (change.before, change.after) == ("00:30 +0000", "00:30 -0100")


def test_a_longer_wait_before_going_home_is_worse_and_none_at_all_too():
    plan = under()
    person, *others = plan.after
    stage = person.stages[0]
    assert stage.wait_min is not None
    assert stage.earliest is not None
    longer = replace(stage, wait_min=stage.wait_min + 60, earliest=stage.earliest + timedelta(hours=1))
    unknown = replace(stage, wait_min=None, earliest=None)
    for other, said in ((longer, f"{longer.earliest:%d %B %H:%M}"), (unknown, "cannot be said")):
        changes = difference(plan, replace(plan, after=(replace(person, stages=(other,)), *others)))
        assert [(c.after, c.worse) for c in changes] == [(said, True)]


# ---- any two plans ----


@cache
def several() -> tuple[DayPlan, ...]:
    """Return plans of one day that differ in what was seen, in the delay, in the dives and in the groups."""
    two = (DiveWish(depth_m=12.0, minutes=30), DiveWish(depth_m=9.0, minutes=20))
    calm = cove_world.world(weather_world.cove())
    course = cove_world.request(weather_world.guided(), weather_world.course(name="Gulls"))
    return (
        under(),
        under(wind(6.0)),
        under(wind(14.0)),
        under(dives=two),
        *later(course, calm, 90),
        *later(half_past_nine(), TIDED, 300),
    )


def test_the_difference_the_other_way_is_the_mirror_image():
    for first, second in permutations(several(), 2):
        there = Counter((c.what, c.before, c.after) for c in difference(first, second))
        assert there == Counter((c.what, c.after, c.before) for c in difference(second, first))
        assert there, "no two of these plans are alike"


CASES = st.builds(
    Check,
    rule=st.sampled_from(["wind", "surf"]),
    outcome=st.sampled_from(Outcome),
    sentence=st.sampled_from(["Wind 3 kn.", "Wind 12 kn.", "Surf 0.4 m.", "Not known."]),
    source=st.just("SITE_FILE"),
    subject=st.sampled_from(["Terns, dive 1", ""]),
)


def gravest_first(found: list[Check]) -> tuple[Check, ...]:
    return tuple(sorted(dict.fromkeys(found), key=lambda check: -check.outcome.severity))


@settings(deadline=None)
@given(st.lists(CASES, max_size=8).map(gravest_first), st.lists(CASES, max_size=8).map(gravest_first))
def test_every_check_that_comes_out_otherwise_appears(was: tuple[Check, ...], now: tuple[Check, ...]):
    plan = several()[0]
    changes = [
        change
        for change in difference(replace(plan, checks=was), replace(plan, checks=now))
        if change.what.startswith("Check ")
    ]
    for rule, subject in {(check.rule, check.subject) for check in (*was, *now)}:
        what = f"Check {rule}, {subject}" if subject else f"Check {rule}"
        ours = [change for change in changes if change.what == what]
        for outcome in (Outcome.CAUTION, Outcome.STOP):
            count = [
                sum(c.outcome is outcome and (c.rule, c.subject) == (rule, subject) for c in side)
                for side in (was, now)
            ]
            begins = f"{outcome.value}: "
            came = sum(c.after.startswith(begins) and not c.before.startswith(begins) for c in ours)
            went = sum(c.before.startswith(begins) and not c.after.startswith(begins) for c in ours)
            assert came - went == count[1] - count[0]
    grave = [max(severity(change.before), severity(change.after)) for change in changes]
    assert grave == sorted(grave, reverse=True)
    assert 0 not in grave


def severity(said: str) -> int:
    return 0 if said == "-" else Outcome(said.split(":")[0]).severity


def test_of_several_checks_of_one_case_the_one_that_changed_is_shown():
    """The graver one stands first in the second plan: by place in the list it would be taken for the other."""
    plan = under()
    two = (Check("wait", Outcome.OK, "Pass: 3 h.", "NAVY_7"), Check("wait", Outcome.OK, "Flight: 12 h.", "NAVY_7"))
    now = (Check("wait", Outcome.STOP, "Flight: 18 h.", "NAVY_7"), two[0])
    assert difference(replace(plan, checks=two), replace(plan, checks=now)) == (
        Change("Check wait", "ok: Flight: 12 h.", "stop: Flight: 18 h.", True),
    )


def test_a_check_that_is_no_longer_made_is_not_called_better():
    plan = under()
    gone = (Check("wind", Outcome.STOP, "Too much wind.", "SITE_FILE"),)
    assert difference(replace(plan, checks=gone), replace(plan, checks=())) == (
        Change("Check wind", "stop: Too much wind.", "-", None),
    )
