"""The tissue model against an independent integration, a published table and its own promises."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published_tables import published
from scipy.integrate import solve_ivp

from tripplan.errors import OutOfRange
from tripplan.physics import tissues
from tripplan.rulebook import baseline

RATES = tissues.rates_of(baseline())
SEA_BAR, SEA_DENSITY = 1.01325, 1025.0
HALF_TIMES = np.array(
    [
        float(r["n2_half_time_min"])
        for r in published("handbook/zh_l16_nitrogen_coefficients.csv")
        if r["compartment"] != "1b"
    ]
)


# scipy.integrate.solve_ivp on dp/dt = ln 2 / half-time x (inspired - p), by segments of a random multi-level day.
@pytest.mark.parametrize("number", range(8))
def test_the_closed_form_agrees_with_a_numerical_integration_of_a_random_day(number):
    random = np.random.default_rng(number)
    nitrogen = float(random.choice([0.79, 0.68, 0.64]))
    surface_bar = float(random.uniform(0.7, 1.05))
    pressures = [surface_bar]
    for _ in range(4):
        pressures += [surface_bar + 0.1 * float(random.uniform(3, 40)) for _ in range(3)] + [surface_bar, surface_bar]
    state = numerical = tissues.saturated(surface_bar)
    for start_bar, end_bar in pairwise(pressures):
        minutes = float(random.uniform(0.5, 60))
        state = tissues.after_segment(state, start_bar, end_bar, minutes, nitrogen)

        def slope(t, p, start_bar=start_bar, end_bar=end_bar, minutes=minutes):
            inspired = (start_bar + (end_bar - start_bar) * t / minutes - 0.0627) * nitrogen
            return math.log(2) / HALF_TIMES * (inspired - p)

        numerical = solve_ivp(slope, (0, minutes), numerical, rtol=1e-10, atol=1e-12).y[:, -1]
    assert state == pytest.approx(numerical, abs=1e-6)


# The same with scipy's eighth-order Runge-Kutta, a thousand days of 16 compartments integrated side by side: four dives
# of three levels a day, each day with its own pressures, minutes and gases. Time runs from 0 to 1 in every segment.
def test_the_closed_form_agrees_with_a_numerical_integration_of_a_thousand_random_multi_level_days():
    random = np.random.default_rng(16)
    days = 1000
    surface_bar = random.uniform(0.7, 1.05, (days, 1))
    levels_bar = surface_bar + 0.1 * random.uniform(3, 40, (days, 12))
    # each dive: surface, a slope and a stay at each of three levels, the surface, a pause there
    places = [surface_bar[:, 0]]
    for dive in range(4):
        for level in range(3):
            places += [levels_bar[:, 3 * dive + level]] * 2
        places += [surface_bar[:, 0]] * 2
    states = tissues.saturated(surface_bar[:, 0])
    numerical = np.repeat((surface_bar - 0.0627) * 0.79, 16, axis=1)
    worst_bar = 0.0
    for number, (start_bar, end_bar) in enumerate(pairwise(places)):
        pause = number % 8 == 7
        minutes = random.uniform(10, 240, days) if pause else random.uniform(0.5, 30, days)
        nitrogen = np.full(days, 0.79) if pause else random.choice([0.79, 0.68, 0.64], days)
        states = tissues.after_segment(states, start_bar, end_bar, minutes, nitrogen)

        def slope(t, p, start_bar=start_bar, end_bar=end_bar, minutes=minutes, nitrogen=nitrogen):
            inspired = (start_bar + (end_bar - start_bar) * t - 0.0627) * nitrogen
            return (math.log(2) / HALF_TIMES * minutes[:, None] * (inspired[:, None] - p.reshape(days, 16))).ravel()

        solved = solve_ivp(slope, (0, 1), numerical.ravel(), method="DOP853", rtol=1e-8, atol=1e-10, t_eval=[1.0])
        numerical = solved.y[:, -1].reshape(days, 16)
        worst_bar = max(worst_bar, float(np.max(np.abs(states - numerical))))
    assert number == 31
    assert worst_bar < 1e-6


def test_somebody_settled_stays_settled_and_half_of_a_step_is_taken_up_in_a_half_time():
    rest = tissues.saturated(SEA_BAR)
    assert rest == pytest.approx((1.01325 - 0.0627) * 0.79)
    assert tissues.after_segment(rest, SEA_BAR, SEA_BAR, 5000) == pytest.approx(rest, abs=1e-12)
    for index, half_time in enumerate(HALF_TIMES):
        half_way = tissues.after_segment(rest, 3.0, 3.0, float(half_time))[index]
        assert half_way == pytest.approx((rest[index] + (3.0 - 0.0627) * 0.79) / 2, abs=1e-12)


def test_a_state_cannot_be_written_to():
    for state in (tissues.saturated(1.0), tissues.after_segment(tissues.saturated(1.0), 1.0, 3.0, 5)):
        with pytest.raises(ValueError, match="read-only"):
            state[0] = 0.0


def test_divers_together_in_one_array_get_what_each_would_get_alone():
    first = tissues.saturated(SEA_BAR)
    second = tissues.after_dive(first, 25, 20, SEA_BAR, SEA_DENSITY, 21, RATES)
    both = np.vstack([first, second])
    dive = (20.0, 15.0, SEA_BAR, SEA_DENSITY, 32.0, RATES)
    together = tissues.after_dive(both, *dive)
    assert together.shape == (2, 16)
    assert together[0] == pytest.approx(tissues.after_dive(first, *dive), abs=0)
    assert together[1] == pytest.approx(tissues.after_dive(second, *dive), abs=0)
    question = (20.0, SEA_BAR, SEA_DENSITY, 21.0, 0.8, RATES)
    alone = [tissues.no_stop_min(state, *question) for state in (first, second)]
    assert tissues.no_stop_min(both, *question) == min(alone)
    assert tissues.ceiling_bar(both, 0.8) == max(tissues.ceiling_bar(first, 0.8), tissues.ceiling_bar(second, 0.8))


# Buhlmann: the tolerated ambient pressure is (p - a) b with the whole gradient; compartment 1 of the 4-minute variant.
def test_the_ceiling_with_the_whole_gradient_is_the_published_one():
    state = np.full(16, 0.7)
    state[0] = 3.0
    assert tissues.ceiling_bar(state, 1.0) == pytest.approx((3.0 - 1.2599) * 0.5050)
    assert tissues.ceiling_bar(state, 0.0) == pytest.approx(3.0)


# A table of 1986, from memory only, so a check of size: with the whole gradient the plain model gives the same shape
# and somewhat longer times (its margins differ); with the rule book's 80 % it must not exceed it.
@pytest.mark.parametrize("row", published("handbook/published_no_stop_1986.csv"), ids=lambda row: row["depth_m"])
def test_the_no_stop_times_have_the_size_of_the_published_table(row):
    depth_m, printed = float(row["depth_m"]), int(row["no_stop_min_0_700_m"])
    start = tissues.saturated(SEA_BAR)
    whole = tissues.no_stop_min(start, depth_m, SEA_BAR, SEA_DENSITY, 21, 1.0, RATES)
    house = tissues.no_stop_min(start, depth_m, SEA_BAR, SEA_DENSITY, 21, 0.8, RATES)
    assert printed <= whole + 1 <= printed * 1.45 + 1
    assert house <= printed


days = st.lists(
    st.tuples(st.floats(3, 40), st.floats(1, 60), st.floats(0, 300), st.sampled_from([21.0, 32.0, 40.0])), max_size=4
)


def state_after(day, surface_bar, density):
    state = tissues.saturated(surface_bar)
    for depth_m, minutes, interval, percent in day:
        state = tissues.after_dive(state, depth_m, minutes, surface_bar, density, percent, RATES)
        state = tissues.after_interval(state, interval, surface_bar)
    return state


@given(days, st.floats(1, 57), st.floats(0.7, 1.05), st.sampled_from([1000.0, 1027.2]), st.sampled_from([21.0, 32.0]))
@settings(deadline=None)
def test_at_the_limit_the_ceiling_stays_above_the_diver_all_the_way_up_and_two_seconds_later_it_does_not(
    day, depth_m, surface_bar, density, percent
):
    """The closed solution for the limit, tried out second by second along the ascent."""
    state = state_after(day, surface_bar, density)
    limit_min = tissues.no_stop_time_min(state, depth_m, surface_bar, density, percent, 0.8, RATES)
    if math.isinf(limit_min):
        limit_min = 10_000.0
        assert keeps_within(state, depth_m, limit_min, surface_bar, density, percent)
    elif limit_min > 0:
        assert keeps_within(state, depth_m, limit_min, surface_bar, density, percent)
        assert not keeps_within(state, depth_m, limit_min + 2 / 60, surface_bar, density, percent)


def keeps_within(state, depth_m, minutes, surface_bar, density, percent):
    leaving = tissues.at_bottom(state, depth_m, minutes, surface_bar, density, percent, RATES)
    if tissues.ceiling_bar(leaving, 0.8) > surface_bar + 1e-9:
        return False
    bottom_bar = surface_bar + depth_m * density * 9.80665e-5
    up_min = depth_m / RATES.ascent_m_min
    for share in np.linspace(0, 1, 60):
        now_bar = bottom_bar + (surface_bar - bottom_bar) * share
        there = tissues.after_segment(leaving, bottom_bar, now_bar, up_min * share, 1 - percent / 100)
        if tissues.ceiling_bar(there, 0.8) > now_bar + 1e-9:
            return False
    return True


def test_a_limit_shorter_than_the_descent_is_no_time_at_all():
    loaded = tissues.after_dive(tissues.saturated(SEA_BAR), 40, 9, SEA_BAR, SEA_DENSITY, 21, RATES)
    assert tissues.no_stop_min(loaded, 57, SEA_BAR, SEA_DENSITY, 21, 0.8, RATES) == 0


def test_a_shallow_dive_has_no_limit():
    assert tissues.no_stop_min(tissues.saturated(SEA_BAR), 3, SEA_BAR, SEA_DENSITY, 21, 0.8, RATES) is None


def test_negative_minutes_and_gradient_factors_above_one_are_refused():
    with pytest.raises(OutOfRange):
        tissues.after_segment(tissues.saturated(1.0), 1.0, 2.0, -1)
    with pytest.raises(OutOfRange):
        tissues.ceiling_bar(tissues.saturated(1.0), 80)
