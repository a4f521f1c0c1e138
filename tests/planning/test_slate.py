"""The slate for a further dive. Expected minutes come from ``no_stop_limits``, tested elsewhere by printed tables."""

from __future__ import annotations

import math
from datetime import UTC, datetime, time
from itertools import pairwise

import pytest
from cove_world import group, request, site, world
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.physics.no_stop import Exposure, no_stop_limits
from tripplan.planning.day import plan_day
from tripplan.planning.limits import surroundings_of
from tripplan.planning.plan import DayPlan, Slate
from tripplan.planning.request import Altitude, DiveWish, RecentDive
from tripplan.rulebook import baseline

TWO = (DiveWish(depth_m=20, minutes=25), DiveWish(depth_m=15, minutes=25))


def only(plan: DayPlan) -> Slate:
    (slate,) = plan.slates
    return slate


def alone_min(plan: DayPlan, slate: Slate, row: int, column: int, before: tuple[Exposure, ...] = ()) -> float:
    """Return the no-stop time after the row's dive and the column's interval, asked of the two methods directly."""
    was = Exposure(slate.rows[row].depth_m, slate.rows[row].minutes, slate.intervals_min[column])
    water = surroundings_of(site(), plan.date, baseline())
    found = no_stop_limits(slate.depth_m, water, (*before, was), baseline(), hours_since_arrival_h=math.inf).no_stop_min
    return math.inf if found is None else found


def test_each_cell_is_what_both_methods_give_after_that_dive_and_interval_and_no_more_than_the_house_allows():
    plan = plan_day(request(group(dives=TWO), altitude=Altitude(settled=True)), world())
    slate = only(plan)
    assert slate.depth_m == 15
    most = baseline().value("dive.longest_min")
    found = set()
    for r, row in enumerate(slate.rows):
        for c, cell in enumerate(row.cells):
            assert cell == min(alone_min(plan, slate, r, c), most)
            found.add(cell)
    assert len(found) > 3  # a slate that says one thing everywhere would prove little


def test_one_person_with_a_dive_this_morning_binds_every_cell():
    up = datetime(2027, 6, 12, 5, 0, tzinfo=UTC)
    early = RecentDive(person="Deux", depth_m=20.0, minutes=35, surfaced=up)
    wish = (DiveWish(depth_m=15, minutes=20, entry=time(10, 0)), DiveWish(depth_m=15, minutes=15))
    fresh = only(plan_day(request(group(dives=wish), altitude=Altitude(settled=True)), world()))
    plan = plan_day(request(group(dives=wish), altitude=Altitude(settled=True), recent_dives=(early,)), world())
    slate = only(plan)
    first = plan.dives[0]
    assert first.descent is not None
    gap = math.floor((first.descent.timestamp() - up.timestamp()) / 60)
    before = (Exposure(20.0, 35, gap),)
    for r, row in enumerate(slate.rows):
        for c, cell in enumerate(row.cells):
            assert cell == min(alone_min(plan, slate, r, c, before), baseline().value("dive.longest_min"))
    assert slate.rows[0].cells[0] < fresh.rows[0].cells[0]


@settings(max_examples=20, deadline=None)
@given(st.integers(6, 30), st.integers(10, 40), st.integers(6, 30), st.sampled_from([0.0, 900.0, 2200.0]))
def test_no_cell_is_longer_below_a_harder_first_dive_or_after_a_shorter_interval(depth_m, minutes, further_m, high_m):
    wishes = (DiveWish(depth_m=depth_m, minutes=minutes), DiveWish(depth_m=further_m))
    arrived = Altitude(arrived=time(6, 30)) if high_m else Altitude()
    lake = {"kind": "fresh", "temperature_c": (14.0,) * 12}
    where = site(elevation_m=high_m, water=lake, tide={"none_because": "a lake"})
    for slate in plan_day(request(group(dives=wishes), altitude=arrived), world(where)).slates:
        assert list(slate.intervals_min) == sorted(set(slate.intervals_min))
        for row in slate.rows:
            assert list(row.cells) == sorted(row.cells)
        for above, below in pairwise(slate.rows):
            assert below.depth_m >= above.depth_m and below.minutes >= above.minutes
            assert all(harder <= easier for easier, harder in zip(above.cells, below.cells, strict=True))


def test_the_columns_start_with_the_shortest_interval_that_is_planned():
    slate = only(plan_day(request(group(dives=TWO)), world()))
    assert slate.intervals_min[0] == baseline().value("surface_interval.shortest_min")


def test_a_first_dive_beyond_its_no_stop_limit_leaves_no_further_dive():
    # NAVY_7, no-stop table: 80 fsw, the row of 22 m, allows 39 min; the last row of this slate is longer.
    slate = only(plan_day(request(group(cylinder_l=24.0, dives=(DiveWish(depth_m=18, minutes=30),))), world()))
    assert slate.rows[-1].depth_m == 22 and slate.rows[-1].minutes > 39
    assert set(slate.rows[-1].cells) == {0}


def test_the_children_s_cold_water_limit_holds_for_the_further_dive_too():
    child = group("Eleven", kind="level_1_course", leader="Tutor", dives=(DiveWish(depth_m=6),), place="Reef")
    plan = plan_day(request(child), world())
    slate = only(plan)
    short = baseline().value("cold.child_short_dive_min")
    assert max(cell for row in slate.rows for cell in row.cells) <= short
    assert "children" in slate.cap_because


def test_somebody_who_dives_with_others_in_between_is_named_and_not_reckoned():
    own = group("Two", dives=(DiveWish(depth_m=18, minutes=20, entry=time(8, 0)), DiveWish(not_before=time(15, 0))))
    other = group("Dos", name="Gulls", dives=(DiveWish(depth_m=10, minutes=20, entry=time(11, 0)),), leader="Guide")
    plan = plan_day(request(own, other), world())
    assert [d.entry is not None for d in plan.dives] == [True] * 3, [c.sentence for c in plan.stops]
    terns = next(slate for slate in plan.slates if slate.group == "Terns")
    assert terns.not_for == ("Guide",)


@pytest.mark.parametrize("wish", [DiveWish(entry=time(3, 0))])
def test_a_group_without_a_time_has_no_slate(wish):
    assert plan_day(request(group(dives=(wish,))), world()).slates == ()
