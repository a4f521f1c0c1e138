"""The tissue model: nitrogen in sixteen compartments, by pressure and minutes.  Source: ZH_L16C.

A state holds the nitrogen pressure of each compartment, bar, as a read-only array of shape (16,), or (n, 16) for a
roster of n people. Depths, minutes, surface pressures and gases are then one number for all, or an array of n, one a
person; one state with arrays of n is the same person n times. Everybody gets, to the last bit, what the person alone
would get. OutOfRange refuses lengths that do not agree, an empty roster, and any number that is unknown (NaN).

A function in the singular answers for people who dive together: ``no_stop_min`` is the shortest limit, ``ceiling_m``
the deepest ceiling. Its sister with ``each`` in the name gives an array of n, one answer a person, in which infinity
stands for "no limit". Pressures are absolute; bottom time runs from leaving the surface to leaving the bottom.

Three things are taken against the diver. Nitrogen that a compartment gives off under water is not credited to later
dives; the safety stop counts only where it adds nitrogen; and a dive that starts above the surface limit has no time.
So a longer, deeper or additional earlier dive can never lengthen a later one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from tripplan.errors import OutOfRange, require
from tripplan.physics.oxygen import AIR_NITROGEN_FRACTION, nitrogen_fraction
from tripplan.physics.pressure import bar_per_metre
from tripplan.rulebook import RuleBook
from tripplan.tables import read_table

State = NDArray[np.float64]
OneOrEach = float | NDArray[np.float64]  # one number for everybody, or an array of n, one a person

COMPARTMENTS = 16
WATER_VAPOUR_BAR = 0.0627  # in the lungs at 37 degrees C, as ZH_L16C reckons
NOISE_BAR = 1e-12  # floating point only
NO_TIME_MIN = 1e-15  # floating point only: less is no time, in which nothing moves


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


def saturated(surface_pressure_bar: OneOrEach) -> State:
    """Return the state of somebody who has long breathed air at a pressure, bar absolute; (n, 16) for n pressures."""
    pressure_bar = _column("surface pressure", surface_pressure_bar)
    _require_each("surface pressure", pressure_bar, 0.3, 1.2, "bar")
    return _fixed(inspired_bar(pressure_bar, AIR_NITROGEN_FRACTION) * np.ones(COMPARTMENTS))


@overload
def inspired_bar(pressure_bar: float, nitrogen: float) -> float: ...
@overload
def inspired_bar(pressure_bar: OneOrEach, nitrogen: OneOrEach) -> OneOrEach: ...
def inspired_bar(pressure_bar: OneOrEach, nitrogen: OneOrEach) -> OneOrEach:
    """Return the nitrogen pressure in the lungs at a pressure, bar; nitrogen -- its fraction of the dry gas."""
    return (pressure_bar - WATER_VAPOUR_BAR) * nitrogen


def after_segment(
    state: State,
    start_pressure_bar: OneOrEach,
    end_pressure_bar: OneOrEach,
    minutes: OneOrEach,
    nitrogen: OneOrEach = AIR_NITROGEN_FRACTION,
) -> State:
    """Return the state after some minutes in which the pressure goes evenly from one value to another.

    start_pressure_bar, end_pressure_bar -- ambient, bar absolute;  nitrogen -- fraction of the dry gas breathed

    The closed solution for a linear change; equal pressures give the plain exponential. Raises OutOfRange for a
    negative time.
    """
    start_bar = _column("starting pressure", start_pressure_bar)
    end_bar = _column("end pressure", end_pressure_bar)
    time_min, fraction = _column("minutes", minutes), _column("nitrogen", nitrogen)
    _require_each("minutes", time_min, 0, math.inf, "min")
    _require_roster(state, start_bar, end_bar, time_min, fraction)
    return _fixed(_after(state, start_bar, end_bar, time_min, fraction))


def _after(state: State, start_bar: OneOrEach, end_bar: OneOrEach, minutes: OneOrEach, nitrogen: OneOrEach) -> State:
    """Return the state after a segment; what is one a person stands in columns."""
    alike = isinstance(minutes, int | float)
    if alike and minutes < NO_TIME_MIN:
        shapes = (np.shape(given) for given in (state, start_bar, end_bar, nitrogen))
        return np.array(np.broadcast_to(state, np.broadcast_shapes(*shapes)))
    spent_min = minutes if alike else np.maximum(minutes, NO_TIME_MIN)  # nothing is divided by 0
    first = inspired_bar(start_bar, nitrogen)
    rise = (end_bar - start_bar) * nitrogen  # of inspired nitrogen, bar
    spans = coefficients().rate_per_min * spent_min
    left = np.expm1(-spans)  # what is kept, less 1: this form stays exact in segments however short
    moved = state - (first - state) * left + rise * (1 + left / spans)
    return moved if alike else np.where(minutes < NO_TIME_MIN, state, moved)


def surface_limit_bar(surface_pressure_bar: OneOrEach, gradient_factor: float) -> State:
    """Return the most nitrogen each compartment may hold at an ambient pressure, bar; (n, 16) for n pressures.

    gradient_factor -- share of the published excess that is used, 0 to 1
    """
    require("gradient factor", gradient_factor, 0, 1, "")
    c = coefficients()
    slope = gradient_factor / c.b - gradient_factor + 1
    return _fixed(c.a_bar * gradient_factor + _column("surface pressure", surface_pressure_bar) * slope)


def ceiling_bar(state: State, gradient_factor: float) -> float:
    """Return the lowest ambient pressure that a state tolerates, bar absolute: of the worst compartment (and diver).

    gradient_factor -- share of the published excess that is used, 0 to 1
    """
    return float(np.max(ceiling_each_bar(state, gradient_factor)))


def ceiling_each_bar(state: State, gradient_factor: float) -> State:
    """Return the lowest ambient pressure that each person tolerates, bar absolute: of the worst compartment."""
    require("gradient factor", gradient_factor, 0, 1, "")
    _require_roster(state)
    c = coefficients()
    slope = gradient_factor / c.b - gradient_factor + 1
    return _fixed(np.atleast_1d(np.max((state - c.a_bar * gradient_factor) / slope, axis=-1)))


def ceiling_m(state: State, gradient_factor: float, surface_pressure_bar: OneOrEach, density_kg_m3: float) -> float:
    """Return the depth above which nobody with these states may rise at this moment, metres; 0: the surface is open.

    gradient_factor -- share of the published excess that is used, 0 to 1

    Not rounded: whoever shows it rounds up. Raises OutOfRange.
    """
    return float(np.max(ceiling_each_m(state, gradient_factor, surface_pressure_bar, density_kg_m3)))


def ceiling_each_m(
    state: State, gradient_factor: float, surface_pressure_bar: OneOrEach, density_kg_m3: float
) -> State:
    """Return the same for each person of a roster, metres."""
    surface_bar = _column("surface pressure", surface_pressure_bar)
    _require_each("surface pressure", surface_bar, 0.3, 1.2, "bar")
    _require_roster(state, surface_bar)
    tolerated_bar = ceiling_each_bar(state, gradient_factor)
    return _fixed(np.maximum((tolerated_bar - np.ravel(surface_bar)) / bar_per_metre(density_kg_m3), 0.0))


def no_stop_time_min(
    state: State,
    depth_m: OneOrEach,
    surface_pressure_bar: OneOrEach,
    density_kg_m3: float,
    oxygen_percent: OneOrEach,
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
    gas = (density_kg_m3, oxygen_percent)
    return float(np.min(no_stop_time_each_min(state, depth_m, surface_pressure_bar, *gas, gradient_factor_high, rates)))


def no_stop_time_each_min(
    state: State,
    depth_m: OneOrEach,
    surface_pressure_bar: OneOrEach,
    density_kg_m3: float,
    oxygen_percent: OneOrEach,
    gradient_factor_high: float,
    rates: Rates,
) -> State:
    """Return the same for each person of a roster: minutes, rounded down to the second; infinity: no limit."""
    nitrogen = _nitrogen_fraction(oxygen_percent)
    deep_m, surface_bar = _column("depth", depth_m), _column("surface pressure", surface_pressure_bar)
    _require_each("depth", deep_m, 0, math.inf, "m")
    _require_roster(state, deep_m, surface_bar, nitrogen)
    k = coefficients().rate_per_min
    bottom_bar = surface_bar + deep_m * bar_per_metre(density_kg_m3)
    allowed = surface_limit_bar(surface_bar, gradient_factor_high)
    descent_min, ascent_min = deep_m / rates.descent_m_min, deep_m / rates.ascent_m_min
    gained = _after(np.zeros(COMPARTMENTS), bottom_bar, surface_bar, ascent_min, nitrogen)
    at_bottom = np.minimum(allowed, (allowed - gained) * np.exp(k * ascent_min))
    arrived = _after(state, surface_bar, bottom_bar, descent_min, nitrogen)
    inspired = inspired_bar(bottom_bar, nitrogen)
    filling = inspired > at_bottom  # the others settle below what is allowed, or only give off
    binds = filling & (arrived < inspired)
    too_full = (state > allowed + NOISE_BAR) | (binds & (arrived > at_bottom))
    ratio = np.where(binds, (inspired - arrived) / np.where(filling, inspired - at_bottom, 1.0), 1.0)
    minutes = np.min(np.where(binds, np.log(ratio) / k, np.inf), axis=-1)
    to_the_second = np.floor((np.ravel(descent_min) + minutes) * 60) / 60
    return _fixed(np.where(np.any(too_full, axis=-1), 0.0, to_the_second))


def no_stop_min(
    state: State,
    depth_m: OneOrEach,
    surface_pressure_bar: OneOrEach,
    density_kg_m3: float,
    oxygen_percent: OneOrEach,
    gradient_factor_high: float,
    rates: Rates,
) -> int | None:
    """Return the longest bottom time without a stop in whole minutes, rounded down; None: no limit."""
    minutes = no_stop_time_min(
        state, depth_m, surface_pressure_bar, density_kg_m3, oxygen_percent, gradient_factor_high, rates
    )
    return None if math.isinf(minutes) else math.floor(minutes)


def no_stop_each_min(
    state: State,
    depth_m: OneOrEach,
    surface_pressure_bar: OneOrEach,
    density_kg_m3: float,
    oxygen_percent: OneOrEach,
    gradient_factor_high: float,
    rates: Rates,
) -> State:
    """Return the same for each person of a roster: whole minutes, rounded down; infinity: no limit."""
    gas = (density_kg_m3, oxygen_percent)
    times_min = no_stop_time_each_min(state, depth_m, surface_pressure_bar, *gas, gradient_factor_high, rates)
    return _fixed(np.floor(times_min))


def at_bottom(
    state: State,
    depth_m: OneOrEach,
    bottom_time_min: OneOrEach,
    surface_pressure_bar: OneOrEach,
    density_kg_m3: float,
    oxygen_percent: OneOrEach,
    rates: Rates,
) -> State:
    """Return the state on leaving the bottom.  A bottom time shorter than the descent is a faster descent."""
    nitrogen = _nitrogen_fraction(oxygen_percent)
    deep_m, surface_bar = _column("depth", depth_m), _column("surface pressure", surface_pressure_bar)
    time_min = _column("bottom time", bottom_time_min)
    _require_each("depth", deep_m, 0, math.inf, "m")
    _require_each("bottom time", time_min, 0, math.inf, "min")
    _require_roster(state, deep_m, surface_bar, time_min, nitrogen)
    bottom_bar = surface_bar + deep_m * bar_per_metre(density_kg_m3)
    descent_min = np.minimum(deep_m / rates.descent_m_min, time_min)
    arrived = _after(state, surface_bar, bottom_bar, descent_min, nitrogen)
    return _fixed(_after(arrived, bottom_bar, bottom_bar, time_min - descent_min, nitrogen))


def after_dive(
    state: State,
    depth_m: OneOrEach,
    bottom_time_min: OneOrEach,
    surface_pressure_bar: OneOrEach,
    density_kg_m3: float,
    oxygen_percent: OneOrEach,
    rates: Rates,
) -> State:
    """Return the state on surfacing, compartment by compartment the most nitrogen of three readings.

    A direct ascent; an ascent with the safety stop, where the depth calls for one; and the state before the dive.
    """
    leaving = at_bottom(state, depth_m, bottom_time_min, surface_pressure_bar, density_kg_m3, oxygen_percent, rates)
    nitrogen = _nitrogen_fraction(oxygen_percent)
    deep_m, surface_bar = _column("depth", depth_m), _column("surface pressure", surface_pressure_bar)
    per_metre = bar_per_metre(density_kg_m3)
    bottom_bar = surface_bar + deep_m * per_metre
    most = np.maximum(state, _after(leaving, bottom_bar, surface_bar, deep_m / rates.ascent_m_min, nitrogen))
    calls_for_stop = deep_m >= rates.stop_from_depth_m
    if np.any(calls_for_stop):
        stop_m = np.minimum(rates.stop_depth_m, deep_m)
        stop_bar = surface_bar + stop_m * per_metre
        reached = _after(leaving, bottom_bar, stop_bar, (deep_m - stop_m) / rates.ascent_m_min, nitrogen)
        stopped = _after(reached, stop_bar, stop_bar, rates.stop_min, nitrogen)
        surfaced = _after(stopped, stop_bar, surface_bar, stop_m / rates.ascent_m_min, nitrogen)
        most = np.where(calls_for_stop, np.maximum(most, surfaced), most)
    return _fixed(most)


def after_interval(state: State, minutes: OneOrEach, pressure_bar: OneOrEach) -> State:
    """Return the state after some minutes on air at the surface; never below saturation at that pressure."""
    air_bar, time_min = _column("surface pressure", pressure_bar), _column("minutes", minutes)
    _require_each("surface pressure", air_bar, 0.3, 1.2, "bar")
    _require_each("minutes", time_min, 0, math.inf, "min")
    _require_roster(state, air_bar, time_min)
    rested = _after(state, air_bar, air_bar, time_min, AIR_NITROGEN_FRACTION)
    return _fixed(np.maximum(rested, inspired_bar(air_bar, AIR_NITROGEN_FRACTION)))


def most_of(state: State, other: State) -> State:
    """Return the state that holds, compartment by compartment, the more nitrogen of two."""
    if np.ndim(state) == np.ndim(other) == 2 and len(state) != len(other):
        raise OutOfRange(f"one roster has {len(state)} people and the other {len(other)}; give both the same people")
    return _fixed(np.maximum(state, other))


def _column(name: str, values: OneOrEach) -> OneOrEach:
    """Return one number as it is, and an array of n as a column, so that each person meets all compartments."""
    if isinstance(values, int | float):
        return values
    array = np.asarray(values, dtype=np.float64)
    if array.ndim == 0:
        return float(array)
    if array.ndim == 2 and array.shape[1] == 1:
        return array
    if array.ndim != 1:
        raise OutOfRange(f"{name} has the shape {array.shape}; give one number, or a row of one number a person")
    return array.reshape(-1, 1)


def _require_each(name: str, values: OneOrEach, low: float, high: float, unit: str, why: str = "") -> None:
    """Refuse a number outside an interval, of a row the first such, with the person's place in it; also NaN."""
    if isinstance(values, int | float):
        require(name, values, low, high, unit, why)
        return
    outside = np.flatnonzero(~((values >= low) & (values <= high)))
    if outside.size:
        place = int(outside[0])
        require(f"{name} of person {place + 1}", float(values.flat[place]), low, high, unit, why)


def _require_roster(state: State, *columns: OneOrEach) -> None:
    """Refuse a state or columns that are not for the same people, for nobody, or hold what is not a number."""
    shape = np.shape(state)
    if shape[-1:] != (COMPARTMENTS,) or len(shape) > 2:
        raise OutOfRange(f"the state has the shape {shape}; it must be ({COMPARTMENTS},) or (people, {COMPARTMENTS})")
    lengths = {len(column) for column in columns if isinstance(column, np.ndarray)} | set(shape[:-1])
    if len(lengths) > 1:
        raise OutOfRange(f"the numbers are for {sorted(lengths)} people; give one for all, or one for each person")
    if 0 in lengths:
        raise OutOfRange("the roster has nobody in it; give at least one person")
    finite = all(math.isfinite(one) if isinstance(one, int | float) else np.isfinite(one).all() for one in columns)
    if not (finite and np.isfinite(state).all()):
        raise OutOfRange("a state, pressure or time is not a finite number; give a known one for every person")


def _nitrogen_fraction(oxygen_percent: OneOrEach) -> OneOrEach:
    """Return the nitrogen in each gas, 0 to 1, as ``nitrogen_fraction`` reckons it, each different gas once."""
    percents = _column("oxygen", oxygen_percent)
    if isinstance(percents, int | float):
        return nitrogen_fraction(percents)
    different, which = np.unique(percents, return_inverse=True)
    return np.array([nitrogen_fraction(float(percent)) for percent in different])[which].reshape(-1, 1)


def _fixed(values: Any) -> State:
    """Return values as a read-only array, copying only what could still be written to."""
    array = np.asarray(values, dtype=np.float64)
    if array.flags.writeable:
        array = array.copy()
        array.flags.writeable = False
    return array
