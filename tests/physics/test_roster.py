"""A whole roster in one call: everybody gets, to the last bit, what the same person would get alone."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.errors import OutOfRange
from tripplan.physics import tissues
from tripplan.rulebook import baseline

RATES = tissues.rates_of(baseline())
SEA_BAR, DENSITY, HIGH = 1.01325, 1025.0, 0.8
REST = tissues.saturated(SEA_BAR)

people = st.lists(
    st.fixed_dictionaries(
        {
            "depth_m": st.one_of(st.sampled_from([0.0, 5.0, 10.0]), st.floats(0, 57)),
            "bottom_min": st.one_of(st.just(0.0), st.floats(0, 90)),
            "interval_min": st.one_of(st.just(0.0), st.floats(0, 1500)),
            "surface_bar": st.floats(0.7, 1.05),
            "oxygen": st.sampled_from([20.9, 21.0, 32.0, 36.0, 40.0]),
            "next_m": st.floats(0, 57),
        }
    ),
    min_size=1,
    max_size=40,
)


def one_day(start, surface_bar, depth_m, bottom_min, interval_min, oxygen, next_m):
    """Return everything the model says of a dive, a pause and the next dive, for one person or for all at once."""
    question = (next_m, surface_bar, DENSITY, oxygen, HIGH, RATES)
    leaving = tissues.at_bottom(start, depth_m, bottom_min, surface_bar, DENSITY, oxygen, RATES)
    surfaced = tissues.after_dive(start, depth_m, bottom_min, surface_bar, DENSITY, oxygen, RATES)
    rested = tissues.after_interval(surfaced, interval_min, surface_bar)
    return {
        "leaving": leaving,
        "surfaced": surfaced,
        "rested": rested,
        "segment": tissues.after_segment(rested, surface_bar, surface_bar + next_m / 10, interval_min),
        "limit": tissues.surface_limit_bar(surface_bar, HIGH),
        "ceiling_bar": tissues.ceiling_each_bar(leaving, HIGH),
        "ceiling_m": tissues.ceiling_each_m(leaving, HIGH, surface_bar, DENSITY),
        "time": tissues.no_stop_time_each_min(rested, *question),
        "whole": tissues.no_stop_each_min(rested, *question),
    }


# The other side of the comparison is the one-person call, which test_tissues.py holds against the outside world.
@given(people)
@settings(deadline=None)
def test_a_roster_in_one_call_equals_one_by_one_exactly(roster):
    column = {name: np.array([person[name] for person in roster]) for name in roster[0]}
    together = one_day(tissues.saturated(column["surface_bar"]), **column)
    for place, person in enumerate(roster):
        alone = one_day(tissues.saturated(person["surface_bar"]), **person)
        for name, value in alone.items():
            assert np.array_equal(together[name][place], value.reshape(together[name][place].shape)), (name, place)
        question = (person["next_m"], person["surface_bar"], DENSITY, person["oxygen"], HIGH, RATES)
        whole = tissues.no_stop_min(alone["rested"], *question)
        assert together["whole"][place] == (math.inf if whole is None else whole)
        assert together["time"][place] == tissues.no_stop_time_min(alone["rested"], *question)


def test_a_thousand_people_in_one_call_equal_one_by_one_exactly():
    random = np.random.default_rng(1000)
    depths, next_m = random.uniform(3, 45, (2, 1000))
    times, oxygen = random.uniform(1, 60, 1000), random.choice([21.0, 32.0, 36.0], 1000)
    states = tissues.after_dive(REST, depths, times, SEA_BAR, DENSITY, oxygen, RATES)
    limits = tissues.no_stop_time_each_min(states, next_m, SEA_BAR, DENSITY, oxygen, HIGH, RATES)
    for place in range(1000):
        gas = float(oxygen[place])
        alone = tissues.after_dive(REST, float(depths[place]), float(times[place]), SEA_BAR, DENSITY, gas, RATES)
        limit = tissues.no_stop_time_min(alone, float(next_m[place]), SEA_BAR, DENSITY, gas, HIGH, RATES)
        assert np.array_equal(states[place], alone)
        assert limits[place] == limit
    assert {0.0, math.inf} < set(limits)  # the draw holds both ends


def test_limits_are_whole_seconds_and_their_minutes_are_rounded_down():
    question = (np.linspace(10, 40, 31), SEA_BAR, DENSITY, 21.0, HIGH, RATES)
    times, whole = tissues.no_stop_time_each_min(REST, *question), tissues.no_stop_each_min(REST, *question)
    assert times * 60 == pytest.approx(np.round(times * 60), abs=1e-9)
    assert np.all((whole <= times) & (times < whole + 1))
    assert np.array_equal(whole, np.round(whole))
    assert np.all(np.diff(times) < 0)


def test_no_limit_is_infinity_in_a_roster_and_does_not_hide_the_limit_of_another():
    limits = tissues.no_stop_each_min(REST, np.array([3.0, 30.0]), SEA_BAR, DENSITY, 21.0, HIGH, RATES)
    assert math.isinf(limits[0])
    assert 0 < limits[1] < 30
    together = tissues.no_stop_min(REST, np.array([3.0, 30.0]), SEA_BAR, DENSITY, 21.0, HIGH, RATES)
    assert together == limits[1]


def test_sixteen_people_are_not_taken_for_sixteen_compartments():
    depths = np.linspace(12, 42, 16)
    states = tissues.after_dive(REST, depths, 10.0, SEA_BAR, DENSITY, 21.0, RATES)
    assert states.shape == (16, 16)
    assert np.array_equal(states[4], tissues.after_dive(REST, float(depths[4]), 10.0, SEA_BAR, DENSITY, 21.0, RATES))


def test_one_segment_of_no_time_for_all_still_gives_everybody_a_state():
    given_state = np.full(16, 0.9)
    states = tissues.after_segment(given_state, np.array([1.0, 2.0]), 3.0, 0)
    assert states.shape == (2, 16)
    assert not states.flags.writeable
    given_state[0] = 5.0
    assert np.all(states == 0.9)


# To first order the gain is rate x minutes x (mean inspired - state); the next term is below 1e-15 bar here.
@pytest.mark.parametrize("minutes", [5e-324, 1e-300, 1e-12, 1e-8])
def test_a_change_of_pressure_in_next_to_no_time_moves_next_to_nothing(minutes):
    gained = tissues.after_segment(REST, 1.0, 6.0, minutes) - REST
    mean_inspired = (3.5 - 0.0627) * 0.79
    by_hand = tissues.coefficients().rate_per_min * minutes * (mean_inspired - REST)
    assert gained == pytest.approx(by_hand, abs=2e-15)


# By hand: compartment 1 holds 3 bar and tolerates (3 - 1.2599) x 0.5050 bar; over 1000 kg/m3 x 9.80665 m/s2.
def test_the_ceiling_in_metres_at_any_moment_is_the_tolerated_pressure_under_the_water():
    loaded = np.full(16, 0.7)
    loaded[0] = 3.0
    by_hand_m = ((3.0 - 1.2599) * 0.5050 - 0.8) / 0.0980665
    assert tissues.ceiling_m(loaded, 1.0, 0.8, 1000.0) == pytest.approx(by_hand_m, abs=1e-9)
    each = tissues.ceiling_each_m(np.vstack([REST, loaded]), 1.0, np.array([1.0, 0.8]), 1000.0)
    assert each == pytest.approx([0.0, by_hand_m], abs=1e-9)
    assert tissues.ceiling_m(np.vstack([REST, loaded]), 1.0, np.array([1.0, 0.8]), 1000.0) == each[1]


def test_a_ceiling_at_the_no_stop_limit_is_the_surface_and_well_beyond_it_is_below():
    depths = np.array([18.0, 30.0, 40.0])
    limits = tissues.no_stop_time_each_min(REST, depths, SEA_BAR, DENSITY, 21.0, HIGH, RATES)
    for over_min, under_water in ((0.0, False), (60.0, True)):
        leaving = tissues.at_bottom(REST, depths, limits + over_min, SEA_BAR, DENSITY, 21.0, RATES)
        assert np.all((tissues.ceiling_each_m(leaving, HIGH, SEA_BAR, DENSITY) > 0) == under_water)


def limits_of(state=REST, depth_m=20.0, surface_bar=SEA_BAR, oxygen=21.0):
    return tissues.no_stop_time_each_min(state, depth_m, surface_bar, DENSITY, oxygen, HIGH, RATES)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"depth_m": np.array([20.0, math.nan])}, "depth of person 2 is nan m"),
        ({"depth_m": np.array([-1.0, 20.0])}, "depth of person 1 is -1 m; it must be from 0"),
        ({"depth_m": -1.0}, "depth is -1 m; it must be from 0"),
        ({"oxygen": np.array([21.0, 50.0])}, "oxygen is 50 %"),
        ({"surface_bar": np.array([1.0, math.nan])}, "not a finite number"),
        ({"surface_bar": math.nan}, "not a finite number"),
        ({"state": np.full(16, math.nan)}, "not a finite number"),
        ({"state": np.ones((3, 16)), "depth_m": np.array([20.0, 21.0])}, r"for \[2, 3\] people"),
        ({"depth_m": np.array([20.0, 21.0]), "oxygen": np.array([21.0] * 3)}, r"for \[2, 3\] people"),
        ({"state": np.ones((2, 15))}, r"shape \(2, 15\)"),
        ({"state": np.ones((0, 16))}, "nobody"),
        ({"depth_m": np.ones((2, 2))}, r"depth has the shape \(2, 2\)"),
    ],
)
def test_what_is_unknown_or_does_not_fit_the_roster_is_refused(wrong, words):
    with pytest.raises(OutOfRange, match=words):
        limits_of(**wrong)


def test_a_negative_time_names_the_person_and_rosters_of_different_people_are_not_joined():
    with pytest.raises(OutOfRange, match="minutes of person 2 is -1 min"):
        tissues.after_interval(REST, np.array([1.0, -1.0]), SEA_BAR)
    with pytest.raises(OutOfRange, match="bottom time of person 1 is -3 min"):
        tissues.after_dive(REST, 20.0, np.array([-3.0, 1.0]), SEA_BAR, DENSITY, 21.0, RATES)
    with pytest.raises(OutOfRange, match="2 people and the other 1"):
        tissues.most_of(np.ones((2, 16)), np.ones((1, 16)))
