"""The next dives from what was really done: never more than the plan of the whole day allows, and nothing lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from itertools import count as numbers
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_world import DAY, SOUTH, ask, checks_of, group, plan, rules_with, site, wish, world

from tripplan.check import Outcome
from tripplan.errors import OutOfRange
from tripplan.planning.actual import ActualDive, actual_dives
from tripplan.planning.day import plan_day
from tripplan.planning.event import Event
from tripplan.planning.next_dive import (
    NOTHING_LEFT,
    OnePlan,
    check_ascents,
    check_counted,
    check_made,
    counted_dives,
    dives_that_hold,
    numbered_as,
    remaining_numbers,
    remaining_request,
)
from tripplan.planning.plan import DayPlan, DivePlan
from tripplan.planning.request import Altitude, RecentDive, Request
from tripplan.planning.world import World

SOME = settings(max_examples=20, deadline=None)  # each of them plans days
MARKS = numbers(1)
WORLD = world()


def at(clock: str) -> datetime:
    hour, minute = clock.split(":")
    return datetime(2027, 6, 12, int(hour), int(minute), tzinfo=UTC)


def entry(moment: datetime, kind: str, name: str, **other: Any) -> Event:
    given_: dict[str, Any] = {"site": "plain-cove", "by": "Shore", "group": "Group", "dive": 1, "day": DAY}
    return Event(uid=f"entry-{next(MARKS):06d}", at=moment, kind=kind, person=name, **{**given_, **other})  # type: ignore[arg-type]


def swam(dive: DivePlan, *names: str, longer_min: int = 0, deeper_m: float = 0.0, **other: Any) -> list[Event]:
    """Return entries of a dive that went as planned, or longer and deeper; of all its people where none is named."""
    assert dive.entry and dive.exit and dive.depth_m
    out = dive.exit + timedelta(minutes=longer_min)
    which: dict[str, Any] = {"group": dive.group, "dive": dive.number, **other}
    return [
        event
        for name in names or tuple(each.name for each in dive.people)
        for event in (
            entry(dive.entry, "in", name, **which),
            entry(out, "out", name, **which),
            entry(out, "depth", name, value=dive.depth_m + deeper_m, **which),
        )
    ]


def dive_of(made: DayPlan, number: int, name: str = "Group") -> DivePlan:
    (found,) = [dive for dive in made.dives if (dive.group, dive.number) == (name, number)]
    return found


def left_of(asked: Request, made: Sequence[ActualDive], now: str, where: World = WORLD, **other: Any) -> DayPlan:
    left = remaining_request(asked, made, at(now), where, **other)
    return numbered_as(plan_day(left, where), remaining_numbers(asked, made))


def again(asked: Request, *, now: str = "11:00", where: World = WORLD, strict: bool = False, **other: Any) -> DayPlan:
    """Return the plan of what is left after the first dive of every group, made as planned or longer and deeper."""
    whole = plan_day(asked, where)
    events = [event for dive in whole.dives if dive.number == 1 for event in swam(dive, **other)]
    return left_of(asked, actual_dives(events, whole.dives), now, where, strict=strict)


def two(depth_m: float | None, minutes: int | None, depth_2_m: float | None = 12, **other: Any) -> Request:
    """Return a day of two dives, the second fixed to 12:00 and as long as the limits let it be."""
    dives = (wish(depth_m, minutes, entry="09:30"), wish(depth_2_m, None, entry="12:00"))
    return ask(group("Ann", "Ben", dives=dives), **other)


# ---- against the plan of the whole day ----


@pytest.mark.parametrize("depth_2_m", [None, 12.0, 18.0])
@pytest.mark.parametrize(
    ("depth_m", "minutes"), [(6, 50), (10, 45), (12, 45), (15, 40), (18, 30), (18, None), (20, 25)]
)
def test_after_a_dive_as_planned_the_next_is_allowed_no_more_and_little_less(depth_m, minutes, depth_2_m):
    asked = two(depth_m, minutes, depth_2_m)
    before, after = dive_of(plan_day(asked, WORLD), 2), dive_of(again(asked), 2)
    assert before.entry == after.entry and before.depth_m and after.depth_m
    assert before.bottom_time_min and after.bottom_time_min and before.time.value and after.time.value
    # Only the swim back, 3 min, is ashore later than surfaced: at most one step of the handbook's groups, 6 min here.
    assert before.surface_interval_min - 3 == after.surface_interval_min
    assert after.depth_m <= before.depth_m and after.depth_m >= before.depth_m - 1
    if after.depth_m == before.depth_m:
        assert before.time.value - 6 <= after.time.value <= before.time.value
        assert before.bottom_time_min - 6 <= after.bottom_time_min <= before.bottom_time_min
        for was, now in zip(before.people, after.people, strict=True):
            assert was.name == now.name and (was.group_before or "") <= (now.group_before or "")
            assert now.no_stop_min is None or was.no_stop_min is None or now.no_stop_min <= was.no_stop_min


def test_a_dive_as_long_as_its_limit_does_not_keep_everybody_ashore():
    asked = two(18, None)
    first = dive_of(plan_day(asked, WORLD), 1)
    assert first.bottom_time_min == min(p.no_stop_min for p in first.people if p.no_stop_min)
    assert dive_of(again(asked), 2).entry == at("12:00")
    # Were the swim and the way up bottom time as well, it would be longer than its limit.
    assert again(asked, strict=True).verdict is Outcome.STOP


@SOME
@given(st.integers(8, 20), st.integers(10, 45), st.integers(0, 25), st.integers(0, 60))
def test_the_strict_reading_never_allows_more(depth_m, minutes, longer, deeper):
    asked = two(depth_m, minutes)
    plain, strict = (
        dive_of(again(asked, longer_min=longer, deeper_m=deeper / 10, strict=each), 2) for each in (False, True)
    )
    assert (strict.bottom_time_min or 0) <= (plain.bottom_time_min or 0)


@SOME
@given(
    st.integers(6, 20),
    st.integers(10, 45),
    st.tuples(st.integers(-20, 25), st.integers(-50, 60)),
    st.tuples(st.integers(0, 15), st.integers(0, 40)),
    st.booleans(),
)
def test_a_deeper_or_longer_dive_never_gives_a_longer_one_after_it(depth_m, minutes, first, more, strict):
    asked = two(depth_m, minutes)
    shorter = again(asked, longer_min=first[0], deeper_m=first[1] / 10, strict=strict)
    longer = again(asked, longer_min=first[0] + more[0], deeper_m=(first[1] + more[1]) / 10, strict=strict)
    assert (dive_of(longer, 2).bottom_time_min or 0) <= (dive_of(shorter, 2).bottom_time_min or 0)


@SOME
@given(st.integers(10, 20), st.integers(15, 40), st.integers(8, 30), st.integers(20, 50), st.integers(0, 14 * 60))
def test_dives_of_the_evening_before_count_no_less_than_in_the_plan_of_the_whole_day(
    depth_m, minutes, earlier_m, earlier_min, before_min
):
    evening = RecentDive(
        person="Ann", depth_m=earlier_m, minutes=earlier_min, surfaced=at("08:00") - timedelta(minutes=before_min)
    )
    asked = two(depth_m, minutes, recent_dives=(evening,))
    whole = plan_day(asked, WORLD)
    if dive_of(whole, 1).entry is None:
        return
    before, after = dive_of(whole, 2), dive_of(again(asked), 2)
    assert (after.bottom_time_min or 0) <= (before.bottom_time_min or 0)


def test_the_oxygen_of_the_day_and_the_waits_before_the_way_home_are_no_less():
    asked = ask(group("Ann", dives=(wish(18, 30, entry="09:30"), wish(12, 25, entry="12:00"))))
    before = {one.name: one for one in plan_day(asked, WORLD).after}
    after = {one.name: one for one in again(asked).after}
    assert before.keys() == after.keys() == {"Ida", "Ann"}
    for name, one in after.items():
        was = before[name]
        assert one.surfaced == was.surfaced
        assert (one.oxygen_daily_share or 0) >= (was.oxygen_daily_share or 9)
        assert [s.wait_min or 0 for s in one.stages] >= [s.wait_min or 0 for s in was.stages]


def test_the_height_of_the_site_is_that_of_the_dives_made():
    high = world(site(("elevation_m = 0", "elevation_m = 1500")))
    asked = two(15, 20, altitude=Altitude(arrived=time(7, 30)))
    whole = plan_day(asked, high)
    events = swam(dive_of(whole, 1))
    left = remaining_request(asked, actual_dives(events, whole.dives), at("11:00"), high)
    assert isinstance(left.recent_dives, tuple) and {dive.altitude_m for dive in left.recent_dives} == {1500.0}
    made = plan_day(left, high)
    assert not checks_of(made, "recent-altitude-known")
    before = dive_of(whole, 2)
    assert (made.dives[0].bottom_time_min or 0) <= (before.bottom_time_min or 0)
    assert (made.dives[0].bottom_time_min or 0) >= (before.bottom_time_min or 99) - 5


# ---- what is left ----


def test_the_dives_keep_their_numbers_and_every_sentence_says_so():
    dives = (wish(12, 30, entry="09:30"), wish(10, 30, entry="12:00"), wish(8, 30, entry="14:30"))
    asked = ask(group("Ann", "Ben", dives=dives))
    made = again(asked)
    assert [(dive.group, dive.number) for dive in made.dives] == [("Group", 2), ("Group", 3)]
    said = [check.sentence for check in made.checks] + [what.sentence for what in made.what_ifs]
    assert any("Group, dive 2" in each for each in said) and any("Group, dive 3" in each for each in said)
    assert not any("Group, dive 1" in each for each in (*said, made.headline, made.nearest_edge))
    assert not any("Group, dive 1" in check.subject for check in made.checks)


def test_numbers_are_put_back_by_the_whole_name_and_not_into_the_dives_of_a_course():
    both = (wish(10, 20), wish(9, 20))
    asked = ask(group("Ann", name="A", dives=both), group("Ben", name="Team A", leader="Ola", dives=both))
    made = plan_day(asked, WORLD)
    words = "A, dive 1, and Team A, dive 1: A, dive 12; Team A, dive 2 of the course; A, dive 1 of the level 1 course."
    odd = replace(made, nearest_edge=words)
    renumbered = numbered_as(odd, {"A": (2, 3), "Team A": (1, 4)})
    assert renumbered.nearest_edge == (
        "A, dive 2, and Team A, dive 1: A, dive 12; Team A, dive 2 of the course; A, dive 1 of the level 1 course."
    )
    assert {(dive.group, dive.number) for dive in renumbered.dives} == {
        ("A", 2), ("A", 3), ("Team A", 1), ("Team A", 4),
    }  # fmt: skip
    assert numbered_as(made, {"A": (1, 2), "Team A": (1, 2)}) == made


def test_a_dive_that_was_left_out_is_still_there_with_its_own_number():
    dives = tuple(wish(10, 20, entry=clock) for clock in ("09:30", "12:00", "14:30"))
    asked = ask(group("Ann", dives=dives))
    whole = plan_day(asked, WORLD)
    made = actual_dives(swam(dive_of(whole, 2)), whole.dives)
    assert remaining_numbers(asked, made) == {"Group": (1, 3)}
    assert {dive.number for dive in left_of(asked, made, "12:50").dives} == {1, 3}


def test_a_group_that_is_done_is_left_out_and_a_day_that_is_done_says_so():
    asked = ask(
        group("Ann", name="Early", dives=(wish(10, 20, entry="09:30"),)),
        group("Ben", name="Late", leader="Ola", dives=(wish(10, 20, entry="12:00"),)),
    )
    whole = plan_day(asked, WORLD)
    made = actual_dives(swam(dive_of(whole, 1, "Early")), whole.dives)
    assert [g.name for g in remaining_request(asked, made, at("11:00"), WORLD).groups] == ["Late"]
    made = actual_dives([e for dive in whole.dives for e in swam(dive)], whole.dives)
    with pytest.raises(OutOfRange, match=NOTHING_LEFT):
        remaining_request(asked, made, at("14:00"), WORLD)


def test_before_anybody_dived_only_the_hour_changes():
    asked = ask(group("Ann", dives=(wish(10, 20, entry="09:30"), wish(10, 20, not_before="12:00"), wish(8, 20))))
    left = remaining_request(asked, (), at("10:01"), WORLD)
    assert left.recent_dives == "none"
    assert [(d.entry, d.not_before) for d in left.groups[0].dives] == [
        (None, time(10, 5)),  # fixed, and past
        (None, time(12, 0)),
        (None, time(10, 5)),
    ]
    early = remaining_request(asked, (), at("09:30"), WORLD)
    assert early.groups[0].dives[0].entry == time(9, 30)  # not yet past
    assert remaining_request(asked, (), datetime(2027, 6, 11, 22, tzinfo=UTC), WORLD) == asked


def test_the_place_stays_that_of_the_whole_day():
    """With the deeper first dive gone, a place that is just deep enough for the second would be chosen."""
    where = world(site(("deepest_m = 40", "deepest_m = 12"), ("shallowest_m = 25", "shallowest_m = 5")))
    asked = ask(group("Ann", place=None, dives=(wish(18, 20, entry="09:30"), wish(8, 20, entry="12:00"))))
    whole = plan_day(asked, where)
    alone = plan_day(ask(group("Ann", place=None, dives=(wish(8, 20, entry="12:00"),))), where)
    assert (alone.dives[0].place, whole.dives[0].place) == ("Slope", "Deep shelf")
    assert {dive.place for dive in again(asked, where=where).dives} == {"Deep shelf"}


@SOME
@given(st.integers(0, 24 * 60 - 6), st.integers(0, 59))
def test_nothing_goes_in_before_now(minute, second):
    now = at("00:00") + timedelta(minutes=minute, seconds=second)
    asked = ask(group("Ann", dives=(wish(10, 20, entry="09:30"), wish(10, 20))))
    made = plan_day(remaining_request(asked, (), now, WORLD), WORLD)
    assert all(dive.entry is None or dive.entry >= now for dive in made.dives)


def test_after_the_last_step_of_the_day_nothing_goes_in():
    for now in (at("23:56"), datetime(2027, 6, 13, 9, tzinfo=UTC)):
        with pytest.raises(OutOfRange, match="12 June 2027 is over"):
            remaining_request(two(10, 20), (), now, WORLD)


def test_in_the_hour_that_the_clock_shows_twice_no_dive_slips_into_the_first():
    """On 4 April 2027 Lord Howe puts 02:00 back to 01:30: 01:45 comes at 14:45 UTC of the day before and at 15:15."""
    south = world(site(*SOUTH))
    asked = ask(group("Ann", dives=(wish(10, 20),)), date=date(2027, 4, 4))
    for now in (datetime(2027, 4, 3, 14, 41, tzinfo=UTC), datetime(2027, 4, 3, 15, 11, tzinfo=UTC)):
        left = remaining_request(asked, (), now, south)
        made = left.groups[0].dives[0].not_before
        first = datetime.combine(date(2027, 4, 4), made, tzinfo=plan_day(asked, south).light.sunrise.tzinfo)  # type: ignore[union-attr, arg-type]
        assert first.timestamp() >= now.timestamp()
    assert made == time(2, 0)


# ---- who carries what ----


def test_who_dived_with_another_group_too_carries_both_dives():
    asked = ask(
        group("Ann", name="One", dives=(wish(15, 30, entry="09:00"), wish(12, None, entry="14:00"))),
        group("Ben", name="Two", leader="Ola", dives=(wish(12, 25, entry="11:30"),)),
    )
    whole = plan_day(asked, WORLD)
    alone = [*swam(dive_of(whole, 1, "One")), *swam(dive_of(whole, 1, "Two"))]
    guest = [*alone, *swam(dive_of(whole, 1, "Two"), "ann")]  # written with a small letter
    made = actual_dives(guest, whole.dives)
    left = remaining_request(asked, made, at("13:00"), WORLD)
    assert isinstance(left.recent_dives, tuple)
    mine = [(dive.depth_m, dive.surfaced) for dive in left.recent_dives if dive.person == "Ann"]
    assert mine == [(15.0, dive_of(whole, 1, "One").exit), (12.0, dive_of(whole, 1, "Two").exit)]
    without = dive_of(left_of(asked, actual_dives(alone, whole.dives), "13:00"), 2, "One")
    with_both = dive_of(left_of(asked, made, "13:00"), 2, "One")
    limit = {p.name: p.no_stop_min for p in with_both.people}
    assert limit["Ann"] < limit["Ida"] == {p.name: p.no_stop_min for p in without.people}["Ann"]
    counts = plan_day(left, WORLD)
    assert any("Ann makes 3 dives today" in check.sentence for check in checks_of(counts, "dives-per-day"))


def test_dives_made_count_into_the_dives_and_ascents_of_the_day():
    dives = tuple(wish(8, 20, entry=clock, ascents=3) for clock in ("09:00", "11:00", "13:00", "15:00"))
    asked = ask(group("Ann", dives=dives))
    whole = plan_day(asked, WORLD)
    made = actual_dives(swam(dive_of(whole, 1)), whole.dives)
    left = remaining_request(asked, made, at("10:30"), WORLD)
    again_ = plan_day(left, WORLD)
    for name in ("Ann", "Ida"):
        said = f"{name} makes 4 dives today"
        assert any(said in c.sentence for c in checks_of(again_, "dives-per-day"))
        (check,) = [c for c in check_ascents(asked, left, made, WORLD) if c.subject == name]
        assert check.found == 12 and check.outcome is Outcome.STOP  # 3 made and 9 to come; 8 are allowed
    loose = world(rules=rules_with(ascent__most_per_day=12))
    assert {c.outcome for c in check_ascents(asked, left, made, loose)} == {Outcome.OK}


def test_an_unplanned_dive_is_bottom_time_from_first_to_last_minute():
    whole = plan_day(two(12, 30), WORLD)
    events = [
        entry(at("09:30"), "in", "Cy", group="Visitors"),
        entry(at("10:10"), "out", "Cy", group="Visitors"),
        entry(at("10:11"), "depth", "Cy", group="Visitors", value=9.0),
    ]
    (each,) = counted_dives(actual_dives(events, whole.dives), WORLD.rules)
    assert (each.recent.depth_m, each.recent.minutes, each.water_min) == (9.0, 40, 40)


def test_what_counts_is_said_with_each_dive():
    whole = plan_day(two(12, 30), WORLD)
    first = dive_of(whole, 1)
    made = actual_dives(swam(first, longer_min=4, deeper_m=0.5), whole.dives)
    said = {check.sentence: check.outcome for check in check_counted(counted_dives(made, WORLD.rules))}
    assert said[
        "Ann, Group, dive 1: the next plan reckons with 12.5 m for 34 min at the bottom, of 45 min in the water: the "
        "swim and the way up are taken as planned. Ask how long they were at the bottom: where it was more, count all "
        "the time in the water."
    ] is Outcome.CAUTION  # fmt: skip
    strict = {check.sentence for check in check_counted(counted_dives(made, WORLD.rules, strict=True))}
    assert "Ann, Group, dive 1: the next plan reckons with 12.5 m for 45 min, the whole time in the water." in strict


def test_who_was_planned_and_of_whom_nothing_is_written_counts_as_on_the_dive():
    whole = plan_day(two(12, 30), WORLD)
    made = actual_dives(swam(dive_of(whole, 1), "Ida", "Ann"), whole.dives)
    counted = {each.recent.person: each for each in counted_dives(made, WORLD.rules)}
    assert counted["Ben"].recent.minutes == counted["Ann"].recent.minutes
    assert counted["Ben"].recent.depth_m >= counted["Ann"].recent.depth_m
    (check,) = [c for c in check_counted(tuple(counted.values())) if c.subject.startswith("Ben")]
    assert check.outcome is Outcome.CAUTION and "nothing is written of Ben" in check.sentence


def test_the_shallowest_dive_counts_as_deep_as_takes_as_long_to_come_up_from():
    """From 12 m at 9 m/min with 3 min on the way it takes 5 min, whole minutes up; so it does from 9.1 m, not from 9.0.

    By hand: 12 / 9 + 3 = 4.34 and 9.1 / 9 + 3 = 4.01, both 5 in whole minutes; 9 / 9 + 3 = 4.
    """
    whole = plan_day(two(12, 30), WORLD)
    made = actual_dives(swam(dive_of(whole, 1), deeper_m=-7), whole.dives)
    assert {each.recent.depth_m for each in counted_dives(made, WORLD.rules)} == {9.1}
    assert {each.recent.depth_m for each in counted_dives(made, WORLD.rules, strict=True)} == {5.0}


# ---- what stops it ----


def test_whoever_is_not_known_to_be_out_is_named_and_there_is_no_plan():
    asked = two(12, 30)
    whole = plan_day(asked, WORLD)
    events = [each for each in swam(dive_of(whole, 1)) if (each.kind, each.person) != ("out", "Ben")]
    with pytest.raises(OutOfRange, match="when Ben came out is not written down; write it before"):
        remaining_request(asked, actual_dives(events, whole.dives), at("11:00"), WORLD)


def test_nobody_asked_about_the_days_before_is_not_hidden_by_the_dives_of_today():
    asked = two(12, 30, recent_dives=None)
    whole = plan_day(asked, WORLD)
    with pytest.raises(OutOfRange, match="whether anyone dived in the days before"):
        remaining_request(asked, actual_dives(swam(dive_of(whole, 1)), whole.dives), at("11:00"), WORLD)


def test_earlier_dives_stay_and_one_that_is_also_in_the_entries_is_told():
    early = RecentDive(person="Ann", depth_m=10, minutes=30, surfaced=at("07:30"))
    asked = two(12, 30, recent_dives=(early,))
    whole = plan_day(asked, WORLD)
    made = actual_dives(swam(dive_of(whole, 1)), whole.dives)
    left = remaining_request(asked, made, at("11:00"), WORLD)
    assert isinstance(left.recent_dives, tuple)
    assert [d.person for d in left.recent_dives].count("Ann") == 2 and len(left.recent_dives) == 4
    twice = RecentDive(person="Ann", depth_m=12, minutes=30, surfaced=dive_of(whole, 1).exit or at("10:11"))
    with pytest.raises(OutOfRange, match="Ann in the same minutes; take it out there"):
        remaining_request(two(12, 30, recent_dives=(twice,)), made, at("11:00"), WORLD)


def test_coming_out_later_than_now_is_no_coming_out():
    asked = two(12, 30)
    whole = plan_day(asked, WORLD)
    with pytest.raises(OutOfRange, match="dated later than now"):
        remaining_request(asked, actual_dives(swam(dive_of(whole, 1)), whole.dives), at("10:00"), WORLD)


def test_who_felt_unwell_or_went_too_deep_and_is_to_dive_again_is_told():
    asked = ask(
        group("Ann", "Ben", dives=(wish(12, 30, entry="09:30"), wish(10, 30, entry="12:00"))),
        group("Cy", name="Other", leader="Ola", dives=(wish(12, 30, entry="09:30"),)),
    )
    whole = plan_day(asked, WORLD)
    first, other = dive_of(whole, 1), dive_of(whole, 1, "Other")
    events = [*swam(first, "Ida", "Ann"), *swam(first, "Ben", deeper_m=9), *swam(other, deeper_m=20)]
    events.append(entry(at("10:30"), "discomfort", "Ann", text="a sore elbow"))
    made = actual_dives(events, whole.dives)
    left = remaining_request(asked, made, at("11:00"), WORLD)
    found = {(check.rule, check.subject.split(",")[0]) for check in check_made(left, made)}
    assert ("discomfort", "Ann") in found and ("actual-depth-limit", "Ben") in found
    assert not [who for _, who in found if who in ("Cy", "Ola")]  # they do not dive again today


# ---- which plan holds ----


def test_a_dive_goes_by_the_newest_plan_and_one_that_began_by_the_plan_of_then():
    asked = two(12, 30)
    old, new = plan_day(asked, WORLD), again(asked, now="12:31")
    moved = replace(dive_of(new, 2), entry=at("13:00"))
    plans = [
        OnePlan("aaaa", at("09:00"), "Ida", old.dives),
        OnePlan("bbbb", at("11:00"), "Ola", (moved,)),
    ]
    begun = {("group", 1): at("09:31")}
    held = dives_that_hold(plans, begun)
    assert [(each.dive.number, each.revision, each.by) for each in held] == [(1, "aaaa", "Ida"), (2, "bbbb", "Ola")]
    held = dives_that_hold(plans, {**begun, ("group", 2): at("10:59")})  # written by a phone without a connection
    assert [each.revision for each in held] == ["aaaa", "aaaa"]
    held = dives_that_hold(plans, {**begun, ("group", 2): at("11:00")})
    assert [each.revision for each in held] == ["aaaa", "bbbb"]
    assert dives_that_hold(plans[:1], {("group", 1): at("08:30")})[0].revision == "aaaa"  # there is no other


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 600), st.sets(st.integers(1, 4), min_size=1)),
        min_size=1,
        max_size=6,
    ),
    st.dictionaries(st.integers(1, 4), st.integers(0, 600)),
)
def test_no_dive_is_lost_or_doubled_and_none_goes_by_a_plan_kept_after_it_began(kept, begun):
    base = _one_dive()
    plans = [
        OnePlan(f"{n}", at("08:00") + timedelta(minutes=m), "Ida", tuple(replace(base, number=k) for k in sorted(ks)))
        for n, (m, ks) in enumerate(kept)
    ]
    began = {("group", number): at("08:00") + timedelta(minutes=minute) for number, minute in begun.items()}
    held = dives_that_hold(plans, began)
    assert sorted(each.dive.number for each in held) == sorted(set().union(*(ks for _, ks in kept)))
    for each in held:
        having = [p for p in plans if each.dive.number in {d.number for d in p.dives}]
        start = began.get(("group", each.dive.number))
        allowed = [p for p in having if start is None or p.kept <= start] or [min(having, key=lambda p: p.kept)]
        assert each.kept == max(p.kept for p in allowed)


@cache
def _one_dive() -> DivePlan:
    return plan(group("Ann", dives=(wish(10, 20, entry="09:30"),))).dives[0]


def test_dives_of_two_requests_whose_groups_have_one_name_are_told_apart_by_the_request():
    """Both are led by Ida, one after the other; the second is planned again later with somebody less."""
    one, other = (
        plan(group(*who, dives=(wish(10, 20, entry=clock),))).dives[0]
        for who, clock in ((("Ann", "Ben"), "09:30"), (("Cy", "Dee"), "12:00"))
    )
    fewer = plan(group("Cy", dives=(wish(10, 20, entry="12:30"),))).dives[0]
    plans = [
        OnePlan("aaaa", at("08:00"), "Ida", (one,), "first"),
        OnePlan("bbbb", at("08:00"), "Ida", (other,), "second"),
        OnePlan("cccc", at("11:00"), "Ida", (fewer,), "second"),
    ]
    assert [(held.revision, held.dive.divers) for held in dives_that_hold(plans, {})] == [
        ("aaaa", ("Ann", "Ben")),
        ("cccc", ("Cy",)),
    ]


def test_who_carries_more_than_the_tables_know_is_named_once_after_the_dives():
    """60 min at 30 m this morning are beyond every no-stop time; only Ann was there."""
    morning = RecentDive(person="Ann", depth_m=30, minutes=60, surfaced=at("07:00"))
    dives = (wish(6, 10, entry="12:00"),)
    others = group("Cy", name="Other", leader="Ola", dives=dives)
    made = plan(group("Ann", "Ben", dives=dives), others, recent_dives=(morning,))
    found = [c for c in made.checks if c.sentence.startswith("After the dives: ") and "Ann" in c.subject]
    over = [check for check in found if check.outcome is Outcome.STOP]
    assert over and all(check.subject == "Ann" and check.sentence.endswith(" (Ann)") for check in over)
