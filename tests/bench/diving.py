"""No-stop times of a roster beside one by one and beside numerical integration."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tests.bench.table import Row, seconds
from tripplan.physics import tissues
from tripplan.rulebook import baseline

ROSTER, INTEGRATED = 1000, 20  # people; those of them whose limit is also integrated numerically
SEA_BAR, DENSITY_KG_M3, AIR_PERCENT = 1.01325, 1025.0, 21.0


def integrated_limit_min(state: np.ndarray, depth_m: float, high: float, rates: tissues.Rates) -> float:
    """Return a no-stop time by scipy's integration alone: what the ascent allows, the descent, the stay until then."""
    from scipy.integrate import solve_ivp

    rate = tissues.coefficients().rate_per_min
    surface, bottom = 0.79 * (SEA_BAR - 0.0627), 0.79 * (SEA_BAR + depth_m * DENSITY_KG_M3 * 9.80665e-5 - 0.0627)
    allowed = tissues.surface_limit_bar(SEA_BAR, high)
    precise = {"method": "DOP853", "rtol": 1e-8, "atol": 1e-10}

    def slope(t: float, p: np.ndarray, start: float, end: float, minutes: float) -> np.ndarray:
        return rate * (start + (end - start) * t / minutes - p)

    up_min, down_min = depth_m / rates.ascent_m_min, depth_m / rates.descent_m_min
    backwards = solve_ivp(slope, (up_min, 0.0), allowed, args=(bottom, surface, up_min), **precise)
    most = np.minimum(allowed, backwards.y[:, -1])

    def reached(t: float, p: np.ndarray, *_: float) -> float:
        return float(np.max(p - most))

    reached.terminal = True  # type: ignore[attr-defined]
    arrived = solve_ivp(slope, (0.0, down_min), state, args=(surface, bottom, down_min), **precise).y[:, -1]
    if np.any(state > allowed) or np.any(arrived > most):
        return 0.0
    stay = solve_ivp(slope, (0.0, 2000.0), arrived, args=(bottom, bottom, 1.0), events=reached, **precise)
    return down_min + float(stay.t_events[0][0]) if stay.t_events[0].size else float("inf")


def roster_rows() -> Iterator[Row]:
    """Measure the no-stop times of a roster; raises AssertionError where the ways differ."""
    random = np.random.default_rng(1)
    rules = baseline()
    rates, high = tissues.rates_of(rules), rules.value("model.gradient_factor_high")
    rest = tissues.saturated(SEA_BAR)
    before_m, before_min = random.uniform(6, 30, ROSTER), random.uniform(5, 30, ROSTER)
    surfaced = tissues.after_dive(rest, before_m, before_min, SEA_BAR, DENSITY_KG_M3, AIR_PERCENT, rates)
    states = tissues.after_interval(surfaced, random.uniform(60, 240, ROSTER), SEA_BAR)
    depths = random.uniform(12, 40, ROSTER)
    there = (SEA_BAR, DENSITY_KG_M3, AIR_PERCENT, high, rates)
    pairs = [(state, float(depth_m)) for state, depth_m in zip(states, depths, strict=True)]

    def one_by_one() -> list[float]:
        return [tissues.no_stop_time_min(state, depth_m, *there) for state, depth_m in pairs]

    def integrated() -> list[float]:
        return [integrated_limit_min(state, depth_m, high, rates) for state, depth_m in pairs[:INTEGRATED]]

    together = tissues.no_stop_time_each_min(states, depths, *there)
    if one_by_one() != together.tolist():
        raise AssertionError("one call and one by one differ")
    known = np.array(integrated())
    both = np.isfinite(known)
    if not np.array_equal(both, np.isfinite(together[:INTEGRATED])):
        raise AssertionError("the model and its numerical integration differ in who has a limit")
    apart_s = np.max(np.abs(known[both] - together[:INTEGRATED][both])) * 60
    if apart_s > 1.1:  # rounding down to the second takes up to one
        raise AssertionError(f"the model and its numerical integration are {apart_s:.1f} s apart")
    each_us = seconds(lambda: tissues.no_stop_time_each_min(states, depths, *there)) / ROSTER * 1e6
    part, what = f"no-stop limits of a roster of {ROSTER}", "a person, all in one call"
    yield Row(part, what, each_us, "us", seconds(one_by_one) / ROSTER * 1e6, "one by one")
    words = f"numerical integration (at most {apart_s:.1f} s apart)"
    yield Row(part, what, each_us, "us", seconds(integrated) / INTEGRATED * 1e6, words)
