"""The tissue model: nitrogen in sixteen compartments, by pressure and minutes.  Source: ZH_L16C.

A state holds the nitrogen pressure of each compartment, bar, as a read-only array of shape (16,), or (n, 16) for n
divers who make the same dive. Pressures are absolute; bottom time runs from leaving the surface to leaving the bottom.

Three things are taken against the diver. Nitrogen that a compartment gives off under water is not credited to later
dives; the safety stop counts only where it adds nitrogen; and a dive that starts above the surface limit has no time.
So a longer, deeper or additional earlier dive can never lengthen a later one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.errors import require
from tripplan.physics.oxygen import AIR_NITROGEN_FRACTION, nitrogen_fraction
from tripplan.physics.pressure import bar_per_metre
from tripplan.rulebook import RuleBook
from tripplan.tables import read_table

State = NDArray[np.float64]

WATER_VAPOUR_BAR = 0.0627  # in the lungs at 37 degrees C, as ZH_L16C reckons
NOISE_BAR = 1e-12  # floating point only


@dataclass(frozen=True)
class Coefficients:
    """The published set, one value for each compartment."""

    half_time_min: State
    rate_per_min: State  # ln 2 / half-time
    a_bar: State
    b: State


@dataclass(frozen=True)
class Rates:
    """How a dive is ridden: rates and safety stop of the rule book."""

    descent_m_min: float
    ascent_m_min: float
    stop_depth_m: float
    stop_min: float
    stop_from_depth_m: float

    def ascent_min(self, depth_m: float) -> float:
        """Return the minutes from leaving a depth to the surface, safety stop included."""
        return depth_m / self.ascent_m_min + (self.stop_min if depth_m >= self.stop_from_depth_m else 0.0)


def rates_of(rules: RuleBook) -> Rates:
    """Return the rates and the safety stop of a rule book.  Raises OutOfRange for a rate nobody can swim."""
    descent, ascent = rules.value("descent.rate_m_min"), rules.value("ascent.rate_m_min")
    require("descent rate (rule descent.rate_m_min)", descent, 1, 60, "m/min")
    require("ascent rate (rule ascent.rate_m_min)", ascent, 1, 60, "m/min")
    return Rates(
        descent,
        ascent,
        rules.value("safety_stop.depth_m"),
        rules.value("safety_stop.minutes_min"),
        rules.value("safety_stop.from_depth_m"),
    )


@cache
def coefficients() -> Coefficients:
    """Return the sixteen nitrogen compartments: the 4-minute first one, b of the fourth in the cautious reading."""
    rows = read_table("zh_l16c_nitrogen")
    half_time, a, b = (_fixed([float(row[name]) for row in rows]) for name in ("half_time_min", "a_bar", "b"))
    return Coefficients(half_time, _fixed(math.log(2) / half_time), a, b)


def saturated(surface_pressure_bar: float) -> State:
    """Return the state of somebody who has long breathed air at a pressure, bar absolute."""
    require("surface pressure", surface_pressure_bar, 0.3, 1.2, "bar")
    return _fixed(np.full(16, inspired_bar(surface_pressure_bar, AIR_NITROGEN_FRACTION)))


def inspired_bar(pressure_bar: float, nitrogen: float) -> float:
    """Return the nitrogen pressure in the lungs at a pressure, bar; nitrogen -- its fraction of the dry gas."""
    return (pressure_bar - WATER_VAPOUR_BAR) * nitrogen


def after_segment(
    state: State,
    start_pressure_bar: float,
    end_pressure_bar: float,
    minutes: float,
    nitrogen: float = AIR_NITROGEN_FRACTION,
) -> State:
    """Return the state after some minutes in which the pressure goes evenly from one value to another.

    start_pressure_bar, end_pressure_bar -- ambient, bar absolute;  nitrogen -- fraction of the dry gas breathed

    The closed solution for a linear change; equal pressures give the plain exponential. Raises OutOfRange for a
    negative time.
    """
    require("minutes", minutes, 0, math.inf, "min")
    if minutes == 0:
        return _fixed(state)
    k = coefficients().rate_per_min
    first = inspired_bar(start_pressure_bar, nitrogen)
    slope = (end_pressure_bar - start_pressure_bar) * nitrogen / minutes  # bar of inspired nitrogen a minute
    kept = np.exp(-k * minutes)
    return _fixed(first + slope * (minutes - 1 / k) - (first - state - slope / k) * kept)


def surface_limit_bar(surface_pressure_bar: float, gradient_factor: float) -> State:
    """Return the most nitrogen each compartment may hold at an ambient pressure, bar.

    gradient_factor -- share of the published excess that is used, 0 to 1
    """
    require("gradient factor", gradient_factor, 0, 1, "")
    c = coefficients()
    slope = gradient_factor / c.b - gradient_factor + 1
    return _fixed(c.a_bar * gradient_factor + surface_pressure_bar * slope)


def ceiling_bar(state: State, gradient_factor: float) -> float:
    """Return the lowest ambient pressure that a state tolerates, bar absolute: of the worst compartment (and diver).

    gradient_factor -- share of the published excess that is used, 0 to 1
    """
    require("gradient factor", gradient_factor, 0, 1, "")
    c = coefficients()
    slope = gradient_factor / c.b - gradient_factor + 1
    return float(np.max((state - c.a_bar * gradient_factor) / slope))


def no_stop_time_min(
    state: State,
    depth_m: float,
    surface_pressure_bar: float,
    density_kg_m3: float,
    oxygen_percent: float,
    gradient_factor_high: float,
    rates: Rates,
) -> float:
    """Return the longest bottom time without a stop, minutes, rounded down to the second; infinity where none ends it.

    Every compartment must keep within the surface limit both at the moment of leaving the bottom and along a direct
    ascent. Along that ascent the margin of a compartment, counted back to the bottom, first grows and then shrinks
    (ambient pressure falls faster than inspired nitrogen), so it is least at one of the two ends: the bottom, where
    the ambient pressure helps, and the surface. Hence two conditions on the state at the bottom, both solved exactly.
    0 where the descent alone takes longer, or where the state is above the surface limit before the dive.
    """
    nitrogen = nitrogen_fraction(oxygen_percent)
    k = coefficients().rate_per_min
    bottom_bar = surface_pressure_bar + depth_m * bar_per_metre(density_kg_m3)
    allowed = surface_limit_bar(surface_pressure_bar, gradient_factor_high)
    if np.any(state > allowed + NOISE_BAR):
        return 0.0
    descent_min, ascent_min = depth_m / rates.descent_m_min, depth_m / rates.ascent_m_min
    gained = after_segment(np.zeros(16), bottom_bar, surface_pressure_bar, ascent_min, nitrogen)
    at_bottom = np.minimum(allowed, (allowed - gained) * np.exp(k * ascent_min))
    arrived = after_segment(state, surface_pressure_bar, bottom_bar, descent_min, nitrogen)
    inspired = inspired_bar(bottom_bar, nitrogen)
    filling = inspired > at_bottom  # the others settle below what is allowed, or only give off
    if np.any(filling & (arrived > at_bottom) & (arrived < inspired)):
        return 0.0
    binds = filling & (arrived < inspired)
    if not np.any(binds):
        return math.inf
    ratio = np.where(binds, (inspired - arrived) / np.where(filling, inspired - at_bottom, 1.0), 1.0)
    minutes = np.where(binds, np.log(ratio) / k, np.inf)
    return math.floor((descent_min + float(np.min(minutes))) * 60) / 60


def no_stop_min(
    state: State,
    depth_m: float,
    surface_pressure_bar: float,
    density_kg_m3: float,
    oxygen_percent: float,
    gradient_factor_high: float,
    rates: Rates,
) -> int | None:
    """Return the same in whole minutes, rounded down; None: no limit."""
    minutes = no_stop_time_min(
        state, depth_m, surface_pressure_bar, density_kg_m3, oxygen_percent, gradient_factor_high, rates
    )
    return None if math.isinf(minutes) else math.floor(minutes)


def at_bottom(
    state: State,
    depth_m: float,
    bottom_time_min: float,
    surface_pressure_bar: float,
    density_kg_m3: float,
    oxygen_percent: float,
    rates: Rates,
) -> State:
    """Return the state on leaving the bottom.  A bottom time shorter than the descent is a faster descent."""
    nitrogen = nitrogen_fraction(oxygen_percent)
    bottom_bar = surface_pressure_bar + depth_m * bar_per_metre(density_kg_m3)
    descent_min = min(depth_m / rates.descent_m_min, bottom_time_min)
    arrived = after_segment(state, surface_pressure_bar, bottom_bar, descent_min, nitrogen)
    return after_segment(arrived, bottom_bar, bottom_bar, bottom_time_min - descent_min, nitrogen)


def after_dive(
    state: State,
    depth_m: float,
    bottom_time_min: float,
    surface_pressure_bar: float,
    density_kg_m3: float,
    oxygen_percent: float,
    rates: Rates,
) -> State:
    """Return the state on surfacing, compartment by compartment the most nitrogen of three readings.

    A direct ascent; an ascent with the safety stop, where the depth calls for one; and the state before the dive.
    """
    nitrogen = nitrogen_fraction(oxygen_percent)
    per_metre = bar_per_metre(density_kg_m3)
    bottom_bar = surface_pressure_bar + depth_m * per_metre
    leaving = at_bottom(state, depth_m, bottom_time_min, surface_pressure_bar, density_kg_m3, oxygen_percent, rates)
    direct = after_segment(leaving, bottom_bar, surface_pressure_bar, depth_m / rates.ascent_m_min, nitrogen)
    most = np.maximum(state, direct)
    if depth_m >= rates.stop_from_depth_m:
        stop_m = min(rates.stop_depth_m, depth_m)
        stop_bar = surface_pressure_bar + stop_m * per_metre
        reached = after_segment(leaving, bottom_bar, stop_bar, (depth_m - stop_m) / rates.ascent_m_min, nitrogen)
        stopped = after_segment(reached, stop_bar, stop_bar, rates.stop_min, nitrogen)
        surfaced = after_segment(stopped, stop_bar, surface_pressure_bar, stop_m / rates.ascent_m_min, nitrogen)
        most = np.maximum(most, surfaced)
    return _fixed(most)


def after_interval(state: State, minutes: float, pressure_bar: float) -> State:
    """Return the state after some minutes on air at the surface; never below saturation at that pressure."""
    return _fixed(np.maximum(after_segment(state, pressure_bar, pressure_bar, minutes), saturated(pressure_bar)))


def most_of(state: State, other: State) -> State:
    """Return the state that holds, compartment by compartment, the more nitrogen of two."""
    return _fixed(np.maximum(state, other))


def _fixed(values: Any) -> State:
    """Return values as a read-only array, copying only what could still be written to."""
    array = np.asarray(values, dtype=np.float64)
    if array.flags.writeable:
        array = array.copy()
        array.flags.writeable = False
    return array
