"""Waits before going higher: every printed cell, the worked example, the rules in hours, the model, what never may be.

US Navy Diving Manual Revision 7, Table 9-6 and its notes (verified in one public transcription); workshop consensus of
2002 (12 h verified, 18 h in secondary quotations); FAA AIM 8-1-2 (secondary summaries); 24 h after stops: convention.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published_tables import published

from tripplan.check import Outcome
from tripplan.errors import OutOfRange
from tripplan.physics import tissues
from tripplan.physics.after_dive import (
    EXCEPTIONAL,
    Behind,
    Stage,
    behind,
    model_wait_min,
    time_words,
    wait_before_ascent,
)
from tripplan.physics.atmosphere import standard_pressure_bar
from tripplan.physics.no_stop import Exposure, Surroundings
from tripplan.rulebook import baseline
from tripplan.sources import SOURCES
from tripplan.units import metres

GROUPS = "ABCDEFGHIJKLMNOZ"
RULES = baseline()
SEA = Surroundings(0.0, 1025.0, "sea")
TABLE_9_6 = published("handbook/navy_rev7_ascent_to_altitude_interval.csv")
SETTLED = tissues.saturated(1.01325)
AIRLINER = Stage("flight home", "airliner", None)
EASY = Behind(SEA, "A", False, False, SETTLED)


def road(height_m, starts_after_min=None):
    return Stage("pass", "road", height_m, starts_after_min)


def only(carried, stage, rules=RULES):
    waits = wait_before_ascent(carried, [stage], rules)
    assert waits.deciding is waits.stages[0]
    return waits.stages[0]


def value(stage_wait, name):
    (found,) = [candidate for candidate in stage_wait.candidates if candidate.name == name]
    return found.value


def check(waits, rule):
    (found,) = [found for found in waits.checks if found.rule == rule]
    return found


def carried_after(*dives, surroundings=SEA, hours=None, known=True):
    return behind(dives, surroundings, RULES, hours_since_arrival_h=hours, all_dives_known=known)


# ---- the handbook ----


def test_the_check_table_is_whole():
    assert len(TABLE_9_6) == 17 * 10
    assert {row["highest_group_in_previous_24_h"] for row in TABLE_9_6} == {*GROUPS, EXCEPTIONAL}


@pytest.mark.parametrize(
    "row", TABLE_9_6, ids=lambda r: f"{r['highest_group_in_previous_24_h']}-{r['altitude_increase_ft']}"
)
def test_each_cell_of_table_9_6_is_the_handbooks_candidate(row):
    printed, increase_ft = int(row["required_interval_minutes"]), int(row["altitude_increase_ft"])
    carried = replace(EASY, highest_group=row["highest_group_in_previous_24_h"])
    for climbed_ft in (increase_ft, increase_ft - 999):  # rounded up to the next 1000 ft
        found = only(carried, road(metres(climbed_ft)))
        assert value(found, "handbook") == printed
        assert found.minutes >= printed
    if increase_ft < 10_000:
        above = only(carried, road(metres(increase_ft) + 0.01))
        assert value(above, "handbook") >= printed
    lake = replace(carried, surroundings=Surroundings(1000.0, 1000.0, "fresh"))
    if metres(increase_ft) + 1000 <= 4000:
        assert value(only(lake, road(1000 + metres(increase_ft))), "handbook") == printed
    if increase_ft == 8000:
        assert value(only(carried, AIRLINER), "handbook") == printed


def test_worked_example_7_the_first_dive_of_the_day_gives_the_highest_group_and_15_h_35_min_to_8000_feet():
    """60 fsw 60 min (K), 6:10, 30 fsw 20 min (F); printed J and 17:35 with the table of 1999, reworked to 15:35."""
    carried = carried_after(Exposure(metres(60), 60, 370), Exposure(metres(30), 20, 0))
    assert carried.highest_group == "K"
    assert carried.repetitive is True
    found = only(carried, road(metres(8000)))
    assert value(found, "handbook") == 15 * 60 + 35
    assert "15 h 35 min" in next(c.sentence for c in found.candidates if c.name == "handbook")
    assert found.minutes == 24 * 60 and found.binding.name == "stops"  # the model allows less than 60 min at 60 fsw
    assert only(replace(carried, stops=False), road(metres(8000))).minutes == 18 * 60  # by the consensus


def test_a_dive_more_than_24_hours_back_no_longer_sets_the_group():
    late = carried_after(Exposure(metres(60), 60, 24 * 60 - 20 + 1), Exposure(metres(30), 20, 0))
    within = carried_after(Exposure(metres(60), 60, 24 * 60 - 20), Exposure(metres(30), 20, 0))
    assert (within.highest_group, late.highest_group) == ("K", carried_after(Exposure(metres(30), 20, 0)).highest_group)


def test_from_a_lake_at_8000_feet_the_handbook_lets_an_airliner_go_at_once_and_the_other_rules_do_not():
    """Note 4 to Table 9-6."""
    high = replace(EASY, highest_group="Z", surroundings=Surroundings(metres(8000), 1000.0, "fresh"))
    found = only(high, AIRLINER)
    assert value(found, "handbook") == 0
    assert value(found, "consensus") == 12 * 60
    assert found.minutes == 24 * 60
    lower = replace(high, surroundings=Surroundings(metres(7999), 1000.0, "fresh"))
    assert value(only(lower, AIRLINER), "handbook") == 21 * 60 + 1  # Z, 8000 ft column


def test_an_airliner_from_below_sea_level_takes_the_higher_column():
    dead_sea = replace(EASY, highest_group="K", surroundings=Surroundings(-430.0, 1240.0, "sea"))
    assert value(only(dead_sea, AIRLINER), "handbook") == 23 * 60 + 49  # 8000 ft and 430 m: the 10,000 ft column


def test_beyond_10000_feet_no_wait_is_given():
    waits = wait_before_ascent(EASY, [road(metres(10_000) + 1)], RULES)
    assert waits.minutes is None and waits.left_min(10_000) is None
    assert check(waits, "wait-before-ascent").outcome is Outcome.STOP
    assert "10,000 ft" in check(waits, "wait-before-ascent").sentence


# ---- the waits in hours ----


@pytest.mark.parametrize(
    "repetitive, height_m, hours",
    [(False, 610, 12), (True, 610, 18), (None, 610, 18), (False, 2438, 12), (True, 2438, 18), (False, 609, None),
     (True, 609, None)],
)  # fmt: skip
def test_the_consensus_asks_12_hours_after_a_single_dive_and_18_otherwise_from_610_metres(repetitive, height_m, hours):
    found = only(replace(EASY, repetitive=repetitive), road(height_m))
    assert value(found, "consensus") == (None if hours is None else hours * 60)


def test_below_the_height_of_the_consensus_the_handbook_still_counts():
    found = only(replace(EASY, highest_group="M"), road(500))
    assert found.minutes == 4 * 60 + 28 and found.binding.name == "handbook"  # M, 2000 ft
    assert only(EASY, road(500)).minutes == 0


def test_the_handbook_binds_where_it_is_longer_than_the_consensus():
    found = only(replace(EASY, highest_group="N", repetitive=True), road(metres(8000)))
    assert found.minutes == 19 * 60 + 4 and found.binding.name == "handbook"


@pytest.mark.parametrize("climb_m, hours", [(-200, None), (0, None), (91, None), (92, 12)])
def test_near_a_mountain_lake_a_level_road_needs_no_12_hours_and_a_climb_does(climb_m, hours):
    lake = replace(EASY, surroundings=Surroundings(1500.0, 1000.0, "fresh"))
    assert value(only(lake, road(1500 + climb_m)), "consensus") == (None if hours is None else hours * 60)


def test_from_below_sea_level_the_climb_counts():
    dead_sea = replace(EASY, surroundings=Surroundings(-430.0, 1240.0, "sea"))
    assert value(only(dead_sea, road(300)), "consensus") == 12 * 60


@pytest.mark.parametrize(
    "stage, applies",
    [(AIRLINER, True), (Stage("f", "airliner", 11_000), True), (Stage("f", "airliner", 2400), False),
     (Stage("f", "aircraft", metres(8000)), False), (Stage("f", "aircraft", metres(8000) + 1), True),
     (road(metres(8000)), False), (road(2500), True)],
)  # fmt: skip
def test_above_8000_feet_of_flight_or_road_any_dive_waits_24_hours(stage, applies):
    found = only(EASY, stage)
    assert value(found, "high-altitude") == (24 * 60 if applies else None)
    assert found.minutes == (24 * 60 if applies else 12 * 60)


@pytest.mark.parametrize("stops, outcome", [(True, Outcome.STOP), (None, Outcome.CAUTION)])
def test_after_stops_or_when_nobody_knows_a_convention_of_24_hours_holds_and_is_said_to_be_one(stops, outcome):
    waits = wait_before_ascent(replace(EASY, stops=stops), [road(700)], RULES)
    assert waits.minutes == 24 * 60 and waits.stages[0].binding.name == "stops"
    assert "from memory" in waits.stages[0].binding.sentence
    assert check(waits, "wait-after-stops").outcome is outcome
    assert not [c for c in wait_before_ascent(EASY, [road(700)], RULES).checks if c.rule == "wait-after-stops"]


def test_a_dive_beyond_the_no_stop_limits_has_no_group_takes_48_hours_and_is_a_stop():
    carried = carried_after(Exposure(metres(100), 40, 0))  # Table 9-7: 25 min
    assert carried.highest_group is None and carried.stops is True
    waits = wait_before_ascent(carried, [road(500)], RULES)
    assert waits.minutes == 48 * 60  # exceptional exposure, the longest of Table 9-6
    stops = {found.rule for found in waits.checks if found.outcome is Outcome.STOP}
    assert {"handbook-over-limit", "wait-model-stops", "wait-group-unknown", "wait-after-stops"} <= stops


def test_a_dive_that_only_the_model_gives_a_stop_counts_as_one_with_stops():
    careful = replace(RULES["model.gradient_factor_high"], value=0.4)
    rules = replace(RULES, rules={**RULES.rules, careful.key: careful})
    carried = behind([Exposure(18, 55, 0)], SEA, rules, hours_since_arrival_h=None, all_dives_known=True)
    assert carried.highest_group == "J" and carried.stops is True  # Table 9-7, 60 fsw: 57 min ends in J
    assert check(wait_before_ascent(carried, [], rules), "wait-model-stops").outcome is Outcome.STOP


# ---- single or several ----


def test_a_second_dive_within_48_hours_makes_the_last_repetitive():
    def last(interval_min, known=True):
        return carried_after(Exposure(10, 30, interval_min), Exposure(10, 30, 0), known=known).repetitive

    assert carried_after(Exposure(10, 30, 0)).repetitive is False
    assert [last(60), last(48 * 60 - 30), last(48 * 60 - 29)] == [True, True, False]


def test_unknown_earlier_dives_are_a_caution_and_take_the_longer_wait():
    carried = carried_after(Exposure(10, 30, 0), known=False)
    assert carried.repetitive is None
    waits = wait_before_ascent(carried, [road(700)], RULES)
    assert value(waits.stages[0], "consensus") == 18 * 60
    assert check(waits, "wait-dives-unknown").outcome is Outcome.CAUTION
    assert check(waits, "wait-repetitive-unknown").outcome is Outcome.CAUTION


# ---- the tissue model ----


def test_the_models_wait_is_that_of_a_minute_by_minute_trial():
    state = tissues.after_dive(SETTLED, 30, 16, 1.01325, 1025, 21, tissues.rates_of(RULES))
    state = tissues.after_dive(state, 24, 20, 1.01325, 1025, 21, tissues.rates_of(RULES))
    published_set = published("handbook/zh_l16_nitrogen_coefficients.csv")
    k = math.log(2) / np.array([float(r["n2_half_time_min"]) for r in published_set if r["compartment"] != "1b"])
    rest = (1.01325 - 0.0627) * 0.79
    for height_m in (1000, 2000, 2438.4, 3000):
        target_bar = standard_pressure_bar(height_m)
        tried = 0
        while tissues.ceiling_bar(rest + (state - rest) * np.exp(-k * tried), 0.8) > target_bar:
            tried += 1
        assert model_wait_min(state, target_bar, 1.01325, 0.8) == tried
        assert value(only(replace(EASY, state=state), road(height_m)), "model") == tried
    assert tried > 0


def test_a_settled_diver_needs_no_wait_by_the_model_and_an_impossible_target_has_none():
    assert model_wait_min(SETTLED, standard_pressure_bar(2500), 1.01325, 0.8) == 0
    # Saturation 0.751 bar; with no excess at all it never goes below 1.013 bar less than the saturated nitrogen.
    assert model_wait_min(SETTLED, 0.7, 1.01325, 0.0) is None
    none_at_all = replace(RULES["model.gradient_factor_high"], value=0.0)
    rules = replace(RULES, rules={**RULES.rules, none_at_all.key: none_at_all})
    waits = wait_before_ascent(EASY, [road(2900)], rules)
    assert waits.minutes is None
    assert check(waits, "wait-before-ascent").outcome is Outcome.STOP
    assert "never tolerated" in check(waits, "wait-before-ascent").sentence


def test_a_low_at_the_site_is_carried_to_the_top_of_the_road_but_not_into_a_cabin():
    state = tissues.after_dive(SETTLED, 30, 20, 1.01325, 1025, 21, tissues.rates_of(RULES))
    low = Surroundings(0.0, 1025.0, "sea", 0.96)
    carried = replace(EASY, state=state, surroundings=low)
    expected = model_wait_min(state, standard_pressure_bar(2400) * 0.96 / 1.01325, 0.96, 0.8)
    assert value(only(carried, road(2400)), "model") == expected
    assert value(only(carried, AIRLINER), "model") == model_wait_min(state, standard_pressure_bar(2438.4), 0.96, 0.8)


def test_unknown_nitrogen_is_a_caution_and_the_other_rules_go_on():
    waits = wait_before_ascent(replace(EASY, state=None), [road(700)], RULES)
    assert waits.minutes == 12 * 60 and value(waits.stages[0], "model") is None
    assert check(waits, "wait-model-unknown").outcome is Outcome.CAUTION


def test_who_has_just_come_up_to_a_lake_carries_more_than_who_lives_there():
    lake = Surroundings(2000.0, 1000.0, "fresh")
    dive = Exposure(12, 20, 0)
    came, lives = (carried_after(dive, surroundings=lake, hours=h) for h in (None, math.inf))
    assert np.all(came.state >= lives.state) and came.state[15] > lives.state[15]
    assert GROUPS.index(came.highest_group) > GROUPS.index(lives.highest_group)
    assert "arrival-time-unknown" in {found.rule for found in came.checks}


def test_a_climb_between_dives_keeps_the_nitrogen_of_the_first():
    lake = Surroundings(1500.0, 1000.0, "fresh")
    first, second = Exposure(18, 30, 180, surroundings=SEA), Exposure(12, 20, 0)
    moved = carried_after(first, second, surroundings=lake, hours=1.0)
    stayed = carried_after(second, surroundings=lake, hours=1.0)
    assert np.all(moved.state >= stayed.state - 1e-12) and moved.repetitive is True


# ---- the way home ----


def test_of_a_way_home_the_highest_road_decides_and_each_is_listed():
    way = [road(300), Stage("summit", "road", 2300), Stage("valley", "road", 900)]
    waits = wait_before_ascent(replace(EASY, highest_group="M"), way, RULES)
    assert waits.deciding.stage.name == "summit"
    assert [found.minutes for found in waits.stages] == [174, 18 * 60, 12 * 60]  # M: 1000 ft 2:54, 8000 ft 18:00
    assert waits.minutes == 18 * 60
    assert [found.subject for found in waits.checks] == ["pass", "summit", "valley"]
    assert waits.as_json()["deciding"] == "summit"
    assert waits.as_json()["stages"][1]["candidates"][0]["name"] == "handbook"


def test_a_stage_of_unknown_height_or_a_way_home_unknown_is_never_ok():
    waits = wait_before_ascent(EASY, [road(None), road(300)], RULES)
    assert waits.minutes is None and waits.deciding is waits.stages[0]
    assert waits.checks[0].outcome is Outcome.STOP
    nowhere = wait_before_ascent(EASY, [], RULES)
    assert nowhere.minutes is None and nowhere.deciding is None
    assert check(nowhere, "wait-before-ascent").outcome is Outcome.CAUTION


@pytest.mark.parametrize("starts, outcome", [(720, Outcome.OK), (719.9, Outcome.STOP), (0, Outcome.STOP),
                                             (None, Outcome.CAUTION)])  # fmt: skip
def test_a_stage_is_judged_by_when_its_climb_begins(starts, outcome):
    found = check(wait_before_ascent(EASY, [road(700, starts)], RULES), "wait-before-ascent")
    assert (found.outcome, found.limit, found.found) == (outcome, 720.0, starts)
    assert "12 h" in found.sentence


def test_a_stage_without_a_wait_is_ok_whenever_it_begins():
    found = check(wait_before_ascent(EASY, [road(100)], RULES), "wait-before-ascent")
    assert found.outcome is Outcome.OK


def test_every_check_and_candidate_names_a_source():
    unknown = Behind(SEA, None, None, None, None)
    for carried in (EASY, unknown, carried_after(Exposure(metres(100), 40, 0), known=False)):
        waits = wait_before_ascent(carried, [road(700), AIRLINER, road(None)], RULES)
        keys = [c.source for c in waits.checks] + [c.source for s in waits.stages for c in s.candidates]
        assert keys and set(keys) <= set(SOURCES)


@pytest.mark.parametrize(
    "stage", [road(5001), road(-451), road(math.nan), Stage("f", "airliner", 20_001), road(700, -1)]
)
def test_a_height_or_time_that_cannot_be_is_refused(stage):
    with pytest.raises(OutOfRange, match=r"of (pass|f) is"):
        wait_before_ascent(EASY, [stage], RULES)


def test_no_dive_and_a_dive_outside_the_tables_are_refused():
    with pytest.raises(OutOfRange, match="at least 1"):
        carried_after()
    with pytest.raises(OutOfRange, match="190 fsw"):
        carried_after(Exposure(70, 10, 0))


def test_times_read_in_hours_and_minutes():
    assert [time_words(t) for t in (0, 59, 60, 935, 1080, 0.1)] == [
        "0 min",
        "59 min",
        "1 h",
        "15 h 35 min",
        "18 h",
        "1 min",
    ]


# ---- what must never be ----

never = math.inf
dives = st.builds(
    Exposure, st.floats(3, 40), st.integers(5, 60), st.integers(0, 2000), st.sampled_from([21.0, 32.0])
)  # fmt: skip
stages = st.one_of(
    st.builds(road, st.floats(0, 4000)),
    st.builds(lambda h: Stage("flight", "aircraft", h), st.floats(0, 4000)),
    st.builds(lambda h: Stage("flight", "airliner", h), st.one_of(st.none(), st.floats(0, 12_000))),
)


def minutes_of(carried, stage):
    minutes = only(carried, stage).minutes
    return never if minutes is None else minutes


@given(st.sampled_from(GROUPS), st.sampled_from(GROUPS), stages, st.floats(0, 3000))
@settings(deadline=None)
def test_a_higher_group_never_waits_less(first, second, stage, altitude_m):
    lower, higher = sorted((first, second), key=GROUPS.index)
    site = Surroundings(altitude_m, 1000.0, "fresh")
    known = [minutes_of(replace(EASY, highest_group=g, surroundings=site), stage) for g in (lower, higher, None)]
    assert known == sorted(known)


@given(
    st.lists(dives, min_size=1, max_size=3),
    st.floats(0, 4000),
    st.floats(0, 4000),
    st.sampled_from(["road", "aircraft"]),
)
@settings(deadline=None, max_examples=60)
def test_a_higher_target_never_waits_less(day, a_m, b_m, kind):
    carried = carried_after(*day)
    low, high = (minutes_of(carried, Stage("x", kind, h)) for h in sorted((a_m, b_m)))
    assert low <= high


@given(dives, st.lists(dives, min_size=1, max_size=3), stages)
@settings(deadline=None, max_examples=60)
def test_an_additional_earlier_dive_never_waits_less(earlier, day, stage):
    assert minutes_of(carried_after(*day), stage) <= minutes_of(carried_after(earlier, *day), stage)


@given(dives, dives, st.integers(0, 3000), st.integers(0, 3000), stages)
@settings(deadline=None, max_examples=60)
def test_less_time_since_an_earlier_dive_never_waits_less(first, second, a_min, b_min, stage):
    short, long = (
        minutes_of(carried_after(replace(first, interval_after_min=i), second), stage) for i in sorted((a_min, b_min))
    )
    assert short >= long


@given(stages, st.floats(0, 3000), st.floats(0, 3000))
def test_less_time_since_surfacing_never_leaves_less_to_wait(stage, a_min, b_min):
    waits = wait_before_ascent(replace(EASY, highest_group="Z"), [stage], RULES)
    if waits.minutes is not None:
        soon, later = (waits.left_min(t) for t in sorted((a_min, b_min)))
        assert waits.minutes >= soon >= later >= 0
        assert soon >= waits.minutes - min(a_min, b_min)


@given(st.sampled_from([False, None, True]), st.sampled_from([False, None, True]), stages)
def test_what_is_not_known_never_waits_less_than_what_is(repetitive, stops, stage):
    best = minutes_of(EASY, stage)
    this = minutes_of(replace(EASY, repetitive=repetitive, stops=stops), stage)
    unknown = minutes_of(replace(EASY, repetitive=None, stops=None), stage)
    assert best <= this <= unknown
