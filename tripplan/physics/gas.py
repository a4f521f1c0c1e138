"""Breathing gas: what a cylinder holds, what a dive takes from it, and the pressures at which to turn and to go up.

How litres are counted: free litres at 1.01325 bar and 15 degrees C (the reference of ISO 13443). A rate of breathing
is so many of these litres a minute at 1.01325 bar, and as many times more as the pressure around the diver is higher.
Pressures in a cylinder are gauge readings, above the air pressure at the site, which is never taken as more than
1.01325 bar: thinner air at altitude never puts more litres into a cylinder.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from tripplan.check import Candidate, Check, Contest, Outcome
from tripplan.errors import OutOfRange, require
from tripplan.physics.atmosphere import LOWEST_M
from tripplan.physics.no_stop import DEEPEST_M, Surroundings
from tripplan.physics.oxygen import AIR_OXYGEN_PERCENT, max_operating_depth_m, require_oxygen
from tripplan.physics.pressure import ambient_pressure_bar
from tripplan.rulebook import Rule, RuleBook
from tripplan.units import BAR_PER_ATMOSPHERE

REFERENCE_BAR, REFERENCE_C = BAR_PER_ATMOSPHERE, 15.0  # ISO 13443: of a free litre
ZERO_C_K = 273.15
SMALLEST_L, LARGEST_L = 1.0, 40.0  # a cylinder, or a twin set as its sum
LOWEST_FILL_BAR, HIGHEST_FILL_BAR = 1.0, 350.0  # gauge; no cylinder for diving is filled higher
COLDEST_C, HOTTEST_C = -20.0, 70.0  # of a cylinder: below, ice in the regulator; above, it may not be filled
COLDEST_WATER_C, HOTTEST_WATER_C = -2.0, 40.0
LOWEST_RATE_L_MIN, HIGHEST_RATE_L_MIN = 5.0, 100.0
LONGEST_MIN = 240.0
LONGEST_SWIM_MIN = 120.0
STEP_BAR = 5  # of a pressure to be read on a gauge in the water
NOISE = 1e-6  # bar and litres: far below anything a gauge shows


# ---- what a cylinder holds ----


@dataclass(frozen=True)
class Contents:
    """Gas in a cylinder, free litres."""

    real_l: float  # by the equation of state
    ideal_l: float  # as if pressure and volume alone counted
    factor: float  # ideal over real: compressibility at the fill over that of the free gas

    @property
    def counted_l(self) -> float:
        """What a plan may count on: never more than the ideal figure, although cold gas below some 150 bar has more."""
        return min(self.real_l, self.ideal_l)


@dataclass(frozen=True)
class Cylinder:
    """A cylinder as it is brought to the shore."""

    volume_l: float  # water capacity, 1 to 40; of a twin set the sum
    fill_gauge_bar: float  # 1 to 350
    oxygen_percent: float = AIR_OXYGEN_PERCENT  # 20.9 to 40
    filled_at_c: float | None = None  # of the cylinder when the gauge was read, -20 to 70; None: not known
    water_c: float | None = None  # of the water, -2 to 40; None: not known


# Lee and Kesler's constants b1 to b4, c1 to c4, d1, d2, beta, gamma.  LEE_KESLER, table 1
_SIMPLE = (0.1181193, 0.265728, 0.154790, 0.030323, 0.0236744, 0.0186984, 0.0, 0.042724, 0.155488e-4, 0.623689e-4,
           0.65392, 0.060167)  # fmt: skip
_OCTANE = (0.2026579, 0.331511, 0.027655, 0.203488, 0.0313385, 0.0503618, 0.016901, 0.041577, 0.48736e-4, 0.0740336e-4,
           1.226, 0.03754)  # fmt: skip
_OCTANE_ACENTRIC = 0.3978
_NITROGEN = (126.192, 33.958, 0.0372)  # critical temperature K, critical pressure bar, acentric factor: LEE_KESLER
_OXYGEN = (154.581, 50.43, 0.0222)


@lru_cache(maxsize=8192)  # the steps of a gauge are asked for again and again
def compressibility(pressure_bar: float, temperature_c: float, oxygen_percent: float) -> float:
    """Return the compressibility factor of air or enriched air; 1 for an ideal gas.

    pressure_bar -- absolute, 0.1 to 1000;  temperature_c -- -20 to 70;  oxygen_percent -- 20.9 to 40, the rest nitrogen

    The equation's factor is at most 0.7 % high and 0.2 % low to 350 bar: a cylinder holds hardly less than it says.
    Raises OutOfRange.  Source: LEE_KESLER, with its mixing rules.

    >>> round(compressibility(200, 15, 21), 2)
    1.03
    """
    require("pressure", pressure_bar, 0.1, 1000, "bar")
    _require_cylinder_temperature(temperature_c)
    require_oxygen(oxygen_percent)
    critical_k, critical_bar, acentric = _critical_point(oxygen_percent / 100)
    reduced = (temperature_c + ZERO_C_K) / critical_k, pressure_bar / critical_bar
    simple, octane = _fluid_factor(*reduced, _SIMPLE), _fluid_factor(*reduced, _OCTANE)
    return simple + acentric / _OCTANE_ACENTRIC * (octane - simple)


@lru_cache(maxsize=64)
def _critical_point(oxygen: float) -> tuple[float, float, float]:
    """Return the mixture's critical temperature, K, critical pressure, bar, and acentric factor."""
    fluids = ((1 - oxygen, _NITROGEN), (oxygen, _OXYGEN))
    roots = [((0.2905 - 0.085 * w) * t / p) ** (1 / 3) for _, (t, p, w) in fluids]  # of the critical volume over R
    acentric = sum(share * w for share, (_, _, w) in fluids)
    pairs = [
        (share_i * share_j * (roots[i] + roots[j]) ** 3 / 8, math.sqrt(fluid_i[0] * fluid_j[0]))
        for i, (share_i, fluid_i) in enumerate(fluids)
        for j, (share_j, fluid_j) in enumerate(fluids)
    ]
    volume = sum(part for part, _ in pairs)
    temperature_k = sum(part * root_k for part, root_k in pairs) / volume
    return temperature_k, (0.2905 - 0.085 * acentric) * temperature_k / volume, acentric


@lru_cache(maxsize=4096)
def _fluid_factor(temperature: float, pressure: float, constants: tuple[float, ...]) -> float:
    """Return the factor of one of the two fluids at a reduced temperature and pressure, well above the critical one."""
    b1, b2, b3, b4, c1, c2, c3, c4, d1, d2, beta, gamma = constants
    b = b1 - b2 / temperature - b3 / temperature**2 - b4 / temperature**3
    c = c1 - c2 / temperature + c3 / temperature**3
    d = d1 + d2 / temperature

    def factor(density: float) -> float:
        square = density**2
        tail = c4 / temperature**3 * square * (beta + gamma * square) * math.exp(-gamma * square)
        return float(1 + b * density + c * square + d * density**5 + tail)

    return factor(_least(lambda density: factor(density) * density * temperature, pressure, 0.0, 8.0))


def _least(rising: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    """Return, from above, the place at which a rising function reaches a value, by halving."""
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if rising(middle) >= wanted else (middle, high)
    return high


@lru_cache(maxsize=8192)
def cylinder_contents_l(
    volume_l: float,
    fill_gauge_bar: float,
    temperature_c: float,
    oxygen_percent: float = AIR_OXYGEN_PERCENT,
    surface_pressure_bar: float = BAR_PER_ATMOSPHERE,
) -> Contents:
    """Return what a cylinder holds, free litres at 1.01325 bar and 15 degrees C, the last one that stays in it too.

    volume_l -- 1 to 40;  fill_gauge_bar -- 1 to 350;  temperature_c -- of the cylinder at that reading, -20 to 70
    oxygen_percent -- 20.9 to 40;  surface_pressure_bar -- of the air at the site; more than 1.01325 counts as that

    Raises OutOfRange.  Source: LEE_KESLER; PHYSICS for the ideal figure.

    >>> held = cylinder_contents_l(10, 200, 15)
    >>> round(held.real_l), round(held.ideal_l)
    (1929, 1984)
    """
    require("cylinder", volume_l, SMALLEST_L, LARGEST_L, "l", "a twin set as its sum")
    require("fill", fill_gauge_bar, LOWEST_FILL_BAR, HIGHEST_FILL_BAR, "bar")
    require("surface pressure", surface_pressure_bar, 0.3, 1.2, "bar")
    pressure_bar = fill_gauge_bar + min(surface_pressure_bar, REFERENCE_BAR)
    warmth = (temperature_c + ZERO_C_K) / (REFERENCE_C + ZERO_C_K)
    factor = compressibility(pressure_bar, temperature_c, oxygen_percent) / compressibility(
        REFERENCE_BAR, REFERENCE_C, oxygen_percent
    )
    ideal_l = volume_l * pressure_bar / REFERENCE_BAR / warmth
    return Contents(ideal_l / factor, ideal_l, factor)


def pressure_after_cooling_bar(
    fill_gauge_bar: float,
    filled_at_c: float,
    water_c: float,
    oxygen_percent: float = AIR_OXYGEN_PERCENT,
    surface_pressure_bar: float = BAR_PER_ATMOSPHERE,
) -> float:
    """Return what the gauge of a closed cylinder shows once it is as cold (or as warm) as the water, gauge bar.

    fill_gauge_bar -- 1 to 350;  filled_at_c -- -20 to 70;  water_c -- -2 to 40;  oxygen_percent -- 20.9 to 40

    The cylinder's own shrinking is left out: below 0.2 %. Raises OutOfRange.  Source: LEE_KESLER.

    >>> round(pressure_after_cooling_bar(220, 45, 10))
    186
    """
    require("fill", fill_gauge_bar, LOWEST_FILL_BAR, HIGHEST_FILL_BAR, "bar")
    _require_cylinder_temperature(filled_at_c)
    require("water temperature", water_c, COLDEST_WATER_C, HOTTEST_WATER_C, "degrees C")
    require("surface pressure", surface_pressure_bar, 0.3, 1.2, "bar")
    outside_bar = min(surface_pressure_bar, REFERENCE_BAR)

    def per_litre(pressure_bar: float, temperature_c: float) -> float:
        kelvin = temperature_c + ZERO_C_K
        return pressure_bar / compressibility(pressure_bar, temperature_c, oxygen_percent) / kelvin

    held = per_litre(fill_gauge_bar + outside_bar, filled_at_c)
    after_bar = _least(lambda bar: per_litre(bar, water_c), held, outside_bar / 2, 2 * HIGHEST_FILL_BAR)
    return max(after_bar - outside_bar, 0.0)


def _require_cylinder_temperature(temperature_c: float) -> None:
    require("cylinder temperature", temperature_c, COLDEST_C, HOTTEST_C, "degrees C")


# ---- what a dive takes ----


@dataclass(frozen=True)
class Part:
    """One part of a dive and the gas breathed in it."""

    name: str  # "swim out", "descent", "bottom", "ascent", "safety stop", "swim back", "problem"
    minutes: float
    pressure_bar: float  # absolute, mean of the part
    rate_l_min: float  # at 1.01325 bar, of all who breathe from the cylinder
    litres: float


def litres(rate_l_min: float, pressure_bar: float, minutes: float) -> float:
    """Return the gas breathed, free litres.

    rate_l_min   -- at 1.01325 bar, from 0;  pressure_bar -- around the diver, absolute; on the way from one depth to
                    another at one speed, the mean of both ends;  minutes -- from 0

    Raises OutOfRange for a negative or impossible value.  Source: PHYSICS.

    >>> round(litres(20, 2 * 1.01325, 30))
    1200
    """
    require("rate", rate_l_min, 0, 1000, "l/min")
    require("pressure", pressure_bar, 0, 102, "bar")
    require("time", minutes, 0, 100_000, "min")
    return rate_l_min * pressure_bar / REFERENCE_BAR * minutes


def dive_parts(
    depth_m: float,
    minutes: float,
    surroundings: Surroundings,
    rules: RuleBook,
    *,
    rate_l_min: float | None = None,
    swim_min: float = 0.0,
) -> tuple[Part, ...]:
    """Return the parts of one diver's dive, all at the deepest point between descent and ascent.

    depth_m    -- deepest point, above 0 to 100;  minutes -- from leaving the surface to leaving the bottom, 1 to 240
    rate_l_min -- the diver's own, 5 to 100; None: the rule book's
    swim_min   -- at the surface on the cylinder's gas, each way, 0 to 120; at the rule book's rate for swimming, or
                  the diver's own where that is higher

    Descent counts within the minutes; where they end before the bottom is reached, the descent is that much faster.
    Raises OutOfRange.  Source: the rule book.
    """
    _require_dive(depth_m, minutes, swim_min, surroundings, rules)
    own = _rate(rate_l_min, "gas.rate_l_min", rules)
    swimming = max(own, _rate(None, "gas.swim_rate_l_min", rules))
    air_bar = surroundings.surface_pressure_bar
    swim = [swim_min] if swim_min else []
    return (
        *(_part("swim out", each, air_bar, swimming) for each in swim),
        *_way_down(depth_m, minutes, surroundings, own, rules),
        *_way_up(depth_m, surroundings, own, rules),
        *(_part("swim back", each, air_bar, swimming) for each in swim),
    )


def shared_parts(
    depth_m: float,
    surroundings: Surroundings,
    rules: RuleBook,
    *,
    rate_l_min: float | None = None,
    partner_rate_l_min: float | None = None,
) -> tuple[Part, ...]:
    """Return the parts of two divers' way up from the deepest point on one cylinder: problem, ascent, safety stop.

    Each breathes at the rule book's rate under stress, or at the own rate (5 to 100 l/min) where that is higher.
    No swim at the surface: they float, and breathe air. Raises OutOfRange.  Source: the rule book.
    """
    _require_dive(depth_m, 1, 0, surroundings, rules)
    stressed = _rate(None, "gas.stressed_rate_l_min", rules)
    rates = [_rate(rate, "gas.rate_l_min", rules) for rate in (rate_l_min, partner_rate_l_min)]
    both = sum(max(stressed, rate) for rate in rates)
    at_depth_bar = _pressure_bar(depth_m, surroundings)
    return (
        _part("problem", _rule("gas.problem_min", 0, 30, rules), at_depth_bar, both),
        *_way_up(depth_m, surroundings, both, rules),
    )


def _way_down(
    depth_m: float, minutes: float, surroundings: Surroundings, rate_l_min: float, rules: RuleBook
) -> tuple[Part, Part]:
    descent_min = min(depth_m / rules.value("descent.rate_m_min"), minutes)
    top_bar, bottom_bar = surroundings.surface_pressure_bar, _pressure_bar(depth_m, surroundings)
    return (
        _part("descent", descent_min, (top_bar + bottom_bar) / 2, rate_l_min),
        _part("bottom", minutes - descent_min, bottom_bar, rate_l_min),
    )


def _way_up(depth_m: float, surroundings: Surroundings, rate_l_min: float, rules: RuleBook) -> tuple[Part, ...]:
    """Return ascent and safety stop; the ascent is one part although the stop interrupts it."""
    ascent_min = depth_m / rules.value("ascent.rate_m_min")
    mean_bar = (surroundings.surface_pressure_bar + _pressure_bar(depth_m, surroundings)) / 2
    parts = (_part("ascent", ascent_min, mean_bar, rate_l_min),)
    if depth_m < rules.value("safety_stop.from_depth_m"):
        return parts
    stop_bar = _pressure_bar(min(rules.value("safety_stop.depth_m"), depth_m), surroundings)
    return (*parts, _part("safety stop", rules.value("safety_stop.minutes_min"), stop_bar, rate_l_min))


def _part(name: str, minutes: float, pressure_bar: float, rate_l_min: float) -> Part:
    return Part(name, minutes, pressure_bar, rate_l_min, litres(rate_l_min, pressure_bar, minutes))


def _pressure_bar(depth_m: float, surroundings: Surroundings) -> float:
    return ambient_pressure_bar(depth_m, surroundings.surface_pressure_bar, surroundings.density_kg_m3)


def _total_l(parts: tuple[Part, ...], *names: str) -> float:
    return sum(part.litres for part in parts if part.name in names or not names)


def _rule(key: str, low: float, high: float, rules: RuleBook) -> float:
    """Return a rule's value; raises OutOfRange where a centre's own lies outside what the reckoning can bear."""
    require(f"rule {key}", rules.value(key), low, high, rules[key].unit)
    return rules.value(key)


def _rate(given_l_min: float | None, key: str, rules: RuleBook) -> float:
    if given_l_min is None:
        return _rule(key, LOWEST_RATE_L_MIN, HIGHEST_RATE_L_MIN, rules)
    require("rate", given_l_min, LOWEST_RATE_L_MIN, HIGHEST_RATE_L_MIN, "l/min")
    return given_l_min


def _require_dive(depth_m: float, minutes: float, swim_min: float, surroundings: Surroundings, rules: RuleBook) -> None:
    if not depth_m > 0:
        raise OutOfRange(f"depth is {depth_m:g} m; it must be more than 0 m, to {DEEPEST_M:g} m")
    require("depth", depth_m, 0, DEEPEST_M, "m")
    require("bottom time", minutes, 1, LONGEST_MIN, "min")
    require("swim", swim_min, 0, LONGEST_SWIM_MIN, "min", "at the surface, each way")
    highest_m = rules.value("altitude.highest_m")
    require("altitude", surroundings.altitude_m, LOWEST_M, highest_m, "m", "rule altitude.highest_m")


# ---- the pressures to keep ----


def minimum_gas_bar(
    depth_m: float,
    cylinder: Cylinder,
    surroundings: Surroundings,
    rules: RuleBook,
    *,
    rate_l_min: float | None = None,
    partner_rate_l_min: float | None = None,
) -> int | None:
    """Return the pressure at which to leave the bottom: two divers then get up on this one cylinder, gauge bar.

    The gas of shared_parts, and the pressure to surface with; rounded up to 5 bar, as read at the water's temperature.
    None: more than 350 bar, so no fill of this cylinder is enough. Raises OutOfRange.  Source: the rule book.
    """
    shared = shared_parts(
        depth_m, surroundings, rules, rate_l_min=rate_l_min, partner_rate_l_min=partner_rate_l_min
    )  # fmt: skip
    kept_l = _held_l(_surface_with_bar("gas.shared_surface_with_bar", rules), cylinder, surroundings, rules)
    return _gauge_bar(_total_l(shared) + kept_l, cylinder, surroundings, rules)


def turn_bar(
    start_l: float, reserve_l: float, cylinder: Cylinder, surroundings: Surroundings, rules: RuleBook
) -> int | None:
    """Return the pressure at which a dive out and back along the bottom turns, gauge bar, rounded up to 5 bar.

    start_l   -- free litres at the start of the descent;  reserve_l -- those that stay for the way up

    The rule book's share of what lies between goes into the way out, the rest is for the way back.
    None: nothing lies between, or less than a gauge shows: do not start. Raises OutOfRange.  Source: the rule book.
    """
    share = _rule("gas.turn_share", 0.1, 0.5, rules)  # more than half out leaves less than half for the way back
    if start_l <= reserve_l:
        return None
    turn = _gauge_bar(start_l - share * (start_l - reserve_l), cylinder, surroundings, rules)
    if turn is None or _held_l(turn, cylinder, surroundings, rules) > start_l:
        return None
    return turn


def _surface_with_bar(key: str, rules: RuleBook) -> float:
    return _rule(key, 10, 150, rules)  # below some 10 bar a first stage no longer gives what a diver draws


def _held_l(gauge_bar: float, cylinder: Cylinder, surroundings: Surroundings, rules: RuleBook) -> float:
    """Return what the cylinder holds in the water at a gauge reading, free litres."""
    return cylinder_contents_l(
        cylinder.volume_l,
        gauge_bar,
        _temperature_c(cylinder.water_c, rules),
        cylinder.oxygen_percent,
        surroundings.surface_pressure_bar,
    ).real_l


def _gauge_bar(wanted_l: float, cylinder: Cylinder, surroundings: Surroundings, rules: RuleBook) -> int | None:
    """Return the least step of the gauge at which the cylinder holds so much in the water; None above 350 bar."""
    steps = range(STEP_BAR, int(HIGHEST_FILL_BAR) + 1, STEP_BAR)
    place = bisect.bisect_left(
        steps, wanted_l - NOISE, key=lambda bar: _held_l(bar, cylinder, surroundings, rules)
    )  # fmt: skip
    return steps[place] if place < len(steps) else None


def _temperature_c(known_c: float | None, rules: RuleBook) -> float:
    return rules.value("gas.temperature_c") if known_c is None else known_c


# ---- the plan ----


@dataclass(frozen=True)
class GasPlan:
    """The gas of one diver's dive. Litres are free litres, pressures in the cylinder gauge bar."""

    contents: Contents
    contents_l: float  # what is counted on: the lower of the real and the ideal figure
    needed_l: float  # way out and bottom, and reserve_l
    reserve_l: float  # in the cylinder when the bottom is left
    fill_in_water_bar: float  # what the gauge shows once the cylinder is as cold as the water
    minimum_gas_bar: int | None  # to leave the bottom at, for two sharing or for the own way; None: no fill is enough
    turn_bar: int | None  # None: nothing to go out with
    longest_min: int  # bottom time at this depth for which this gas is enough
    parts: tuple[Part, ...]  # one diver's dive
    shared_parts: tuple[Part, ...]  # two divers' way up on one cylinder
    contest: Contest  # what could set the bottom time
    checks: tuple[Check, ...]

    @property
    def spare_l(self) -> float:
        """What is left over; negative where gas is missing."""
        return self.contents_l - self.needed_l


def gas_plan(
    depth_m: float,
    minutes: float,
    cylinder: Cylinder,
    surroundings: Surroundings,
    rules: RuleBook,
    *,
    rate_l_min: float | None = None,
    partner_rate_l_min: float | None = None,
    swim_min: float = 0.0,
) -> GasPlan:
    """Return the gas that a dive needs, what the cylinder holds, when to turn, when to go up, and whether it is enough.

    depth_m -- above 0 to 100;  minutes -- from leaving the surface to leaving the bottom, 1 to 240
    rate_l_min, partner_rate_l_min -- the diver's and the partner's own, 5 to 100; None: the rule book's
    swim_min -- at the surface on this gas, each way, 0 to 120

    The reserve is the larger of two: the minimum gas for two, and the diver's own way up and back with the pressure to
    surface with. A temperature that is not known is taken as the rule book's, with a caution. Raises OutOfRange.
    Source: the rule book, LEE_KESLER, PHYSICS.
    """
    parts = dive_parts(depth_m, minutes, surroundings, rules, rate_l_min=rate_l_min, swim_min=swim_min)
    shared = shared_parts(depth_m, surroundings, rules, rate_l_min=rate_l_min, partner_rate_l_min=partner_rate_l_min)
    minimum_bar = minimum_gas_bar(
        depth_m, cylinder, surroundings, rules, rate_l_min=rate_l_min, partner_rate_l_min=partner_rate_l_min
    )
    filled_at_c = _temperature_c(cylinder.filled_at_c, rules)
    volume_l, fill_bar, percent = cylinder.volume_l, cylinder.fill_gauge_bar, cylinder.oxygen_percent
    air_bar = surroundings.surface_pressure_bar
    contents = cylinder_contents_l(volume_l, fill_bar, filled_at_c, percent, air_bar)
    water_c = _temperature_c(cylinder.water_c, rules)
    fill_in_water_bar = pressure_after_cooling_bar(fill_bar, filled_at_c, water_c, percent, air_bar)

    own_l = _total_l(parts, "ascent", "safety stop", "swim back")
    own_l += _held_l(_surface_with_bar("gas.surface_with_bar", rules), cylinder, surroundings, rules)
    if minimum_bar is None:  # no gauge shows it; the litres are known all the same
        shared_l = _total_l(shared)
        shared_l += _held_l(_surface_with_bar("gas.shared_surface_with_bar", rules), cylinder, surroundings, rules)
    else:
        shared_l = _held_l(minimum_bar, cylinder, surroundings, rules)
    reserve_l = max(own_l, shared_l)
    leave_bar = None if minimum_bar is None else _gauge_bar(reserve_l, cylinder, surroundings, rules)
    if leave_bar is not None:  # what the gauge step, rounded up, keeps
        reserve_l = max(reserve_l, _held_l(leave_bar, cylinder, surroundings, rules))
    needed_l = _total_l(parts, "swim out", "descent", "bottom") + reserve_l
    start_l = contents.counted_l - _total_l(parts, "swim out")
    turn = turn_bar(start_l, reserve_l, cylinder, surroundings, rules)

    share = rules.value("gas.turn_share")
    free_l = max(start_l - reserve_l, 0.0)
    rate = _rate(rate_l_min, "gas.rate_l_min", rules)
    contest = _contest(
        _minutes_for(free_l, depth_m, surroundings, rate, rules),
        2 * _minutes_for(share * free_l, depth_m, surroundings, rate, rules),
        reserve_l,
        "two divers' way up on one cylinder" if shared_l >= own_l else "the own way up and the swim back",
        share,
    )
    longest_min = int(contest.value or 0)
    return GasPlan(
        contents=contents,
        contents_l=contents.counted_l,
        needed_l=needed_l,
        reserve_l=reserve_l,
        fill_in_water_bar=fill_in_water_bar,
        minimum_gas_bar=leave_bar,
        turn_bar=turn,
        longest_min=longest_min,
        parts=parts,
        shared_parts=shared,
        contest=contest,
        checks=(
            _check_enough(contents.counted_l, needed_l, contest, cylinder),
            _check_turn(turn, minutes, contest, rules["gas.turn_share"]),
            _check_cooling(cylinder, fill_in_water_bar, rules),
            _check_fill(cylinder, rules["gas.working_pressure_bar"]),
            _check_oxygen(depth_m, cylinder, surroundings, rules["oxygen.partial_pressure_bar"]),
        ),
    )


def _minutes_for(out_l: float, depth_m: float, surroundings: Surroundings, rate_l_min: float, rules: RuleBook) -> float:
    """Return how long descent and bottom may take on some litres, minutes."""
    descent, _ = _way_down(depth_m, LONGEST_MIN, surroundings, rate_l_min, rules)
    if out_l <= descent.litres:
        return out_l / litres(rate_l_min, descent.pressure_bar, 1)
    return descent.minutes + (out_l - descent.litres) / litres(rate_l_min, _pressure_bar(depth_m, surroundings), 1)


def _contest(by_reserve_min: float, by_turn_min: float, reserve_l: float, kept_for: str, share: float) -> Contest:
    by_reserve, by_turn = (math.floor(value + NOISE) for value in (by_reserve_min, by_turn_min))
    return Contest(
        quantity="bottom time on the gas",
        unit="min",
        candidates=(
            Candidate(
                name="reserve",
                value=by_reserve,
                sentence=f"After {by_reserve} min {math.ceil(reserve_l):,} l are left, kept for {kept_for}.",
                source="gas.shared_surface_with_bar" if kept_for.startswith("two") else "gas.surface_with_bar",
            ),
            Candidate(
                name="turn",
                value=by_turn,
                sentence=f"Turning after {share * 100:g} % of the gas above the reserve, "
                f"the way back as long as the way out: {by_turn} min.",
                source="gas.turn_share",
            ),
        ),
    )


def _check_enough(contents_l: float, needed_l: float, contest: Contest, cylinder: Cylinder) -> Check:
    holds_l, needs_l = math.floor(contents_l), math.ceil(needed_l)
    enough = contents_l >= needed_l
    bar_per_l = cylinder.fill_gauge_bar / contents_l
    found = f"The cylinder holds {holds_l:,} l; the dive with its reserve needs {needs_l:,} l"
    if enough:
        sentence = f"{found}: {holds_l - needs_l:,} l to spare."  # whole litres, each rounded against the diver
        if holds_l <= needs_l:
            sentence = f"{found}: nothing to spare."
    else:
        by_reserve = contest.candidates[0]
        missing = f"{needs_l - holds_l:,} l (about {math.ceil((needed_l - contents_l) * bar_per_l)} bar) too little"
        most = f"at most {by_reserve.value:g} min at this depth" if by_reserve.value else "no dive to this depth"
        sentence = f"{found}: {missing}; this fill allows {most}."
    return Check(
        rule="gas-enough",
        outcome=Outcome.OK if enough else Outcome.STOP,
        sentence=sentence,
        source="NAVY_RULES",
        found=math.floor(contents_l * 10) / 10,
        limit=math.ceil(needed_l * 10) / 10,
        unit="l",
    )


def _check_turn(turn: int | None, minutes: float, contest: Contest, rule: Rule) -> Check:
    longest_min = int(contest.value or 0)
    if turn is None:
        outcome, sentence = Outcome.CAUTION, "There is no gas for a way out and back: no pressure to turn at."
    elif longest_min < math.floor(minutes):
        outcome = Outcome.CAUTION
        sentence = f"Turn at {turn} bar: out and back together then last {longest_min} min, not {minutes:g} min."
    else:
        outcome, sentence = Outcome.OK, f"Turn at {turn} bar at the latest, or after {minutes / 2:g} min."
    return Check(
        rule="gas-turn",
        outcome=outcome,
        sentence=sentence,
        source=rule.key,
        found=minutes,
        limit=longest_min,
        unit="min",
    )


def _check_cooling(cylinder: Cylinder, fill_in_water_bar: float, rules: RuleBook) -> Check:
    rule = rules["gas.cooling_bar"]
    assumed_c = rules.value("gas.temperature_c")
    unknown = [
        name
        for name, known_c in (
            ("the cylinder when it was filled", cylinder.filled_at_c),
            ("the water", cylinder.water_c),
        )
        if known_c is None
    ]
    fall_bar = cylinder.fill_gauge_bar - fill_in_water_bar
    shows = f"{cylinder.fill_gauge_bar:g} bar show as {math.floor(fill_in_water_bar + NOISE)} bar in the water"
    if unknown:
        outcome = Outcome.CAUTION
        sentence = (
            f"The temperature of {' and of '.join(unknown)} is not known, and taken as {assumed_c:g} degrees C: "
            f"{shows}. A cylinder filled warm loses pressure in cold water: read the gauge again in the water."
        )
    elif fall_bar > rule.value:
        outcome = Outcome.CAUTION
        sentence = f"The cylinder was filled hot: {shows}; look at the gauge again before going down."
    else:
        outcome, sentence = Outcome.OK, f"{shows}."[0].upper() + f"{shows}."[1:]
    return Check(
        rule="gas-hot-fill",
        outcome=outcome,
        sentence=sentence,
        source=rule.key,
        found=None if unknown else round(fall_bar, 1),
        limit=rule.value,
        unit="bar",
    )


def _check_fill(cylinder: Cylinder, rule: Rule) -> Check:
    above = cylinder.fill_gauge_bar > rule.value
    return Check(
        rule="gas-fill-pressure",
        outcome=Outcome.CAUTION if above else Outcome.OK,
        sentence=(
            f"A fill of {cylinder.fill_gauge_bar:g} bar is {'' if above else 'not '}above {rule.value:g} bar, a usual "
            "working pressure; the one stamped on the cylinder decides."
        ),
        source=rule.key,
        found=cylinder.fill_gauge_bar,
        limit=rule.value,
        unit="bar",
    )


def _check_oxygen(depth_m: float, cylinder: Cylinder, surroundings: Surroundings, rule: Rule) -> Check:
    percent = cylinder.oxygen_percent
    deepest_m = max_operating_depth_m(
        percent, rule.value, surroundings.surface_pressure_bar, surroundings.density_kg_m3
    )
    too_deep = depth_m > deepest_m
    return Check(
        rule="oxygen-partial-pressure",
        outcome=Outcome.STOP if too_deep else Outcome.OK,
        sentence=(
            f"{percent:g} % oxygen reaches {rule.value:g} bar at {deepest_m:g} m; the dive goes to {depth_m:g} m"
            + (": too deep for this gas." if too_deep else ".")
        ),
        source=rule.key,
        found=depth_m,
        limit=deepest_m,
        unit="m",
    )
