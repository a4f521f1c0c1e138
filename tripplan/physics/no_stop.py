"""How long a dive may last without a stop: the handbook's tables and the tissue model, the stricter one binding.

Both start from the diver's own dives so far, the real pressure of the air and the real density of the water. A time of
None means no limit, and nothing else; where a method has no answer its time is 0 and a check says why.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, NamedTuple

from tripplan.check import Candidate, Check, Contest, Outcome
from tripplan.errors import OutOfRange, require
from tripplan.physics import handbook, tissues
from tripplan.physics.atmosphere import LOWEST_M, standard_pressure_bar
from tripplan.physics.oxygen import (
    AIR_OXYGEN_PERCENT,
    equivalent_air_depth_fsw,
    max_operating_depth_m,
    require_oxygen,
)
from tripplan.physics.pressure import ambient_pressure_bar, bar_per_metre, depth_at_pressure_m, gauge_reading_m
from tripplan.rulebook import RuleBook
from tripplan.units import BAR_PER_ATMOSPHERE, feet, metres

Water = Literal["sea", "brackish", "fresh"]

DEEPEST_M = 100.0  # what is refused as a slip of the pen; the handbook ends sooner
LONGEST_MIN = 1440.0
LONGEST_INTERVAL_MIN = 10_080.0  # a week
LEAST_SHARE, MOST_SHARE = 0.86, 1.08  # of the standard pressure: the deepest low and the highest high ever measured


@dataclass(frozen=True)
class Surroundings:
    """Air and water of one dive."""

    altitude_m: float  # of the surface above mean sea level, -450 to the rule book's highest
    density_kg_m3: float  # of the water, 980 to 1250
    water: Water
    measured_pressure_bar: float | None = None  # at the surface itself, not reduced to sea level; None: by the standard

    @property
    def surface_pressure_bar(self) -> float:
        """The pressure of the air at the surface, bar absolute: measured, else that of the standard atmosphere."""
        if self.measured_pressure_bar is not None:
            return self.measured_pressure_bar
        return standard_pressure_bar(self.altitude_m)


@dataclass(frozen=True)
class Exposure:
    """A dive already made or already planned, and the time at the surface after it."""

    depth_m: float  # deepest point, above 0 to 100
    bottom_time_min: float  # from leaving the surface to leaving the bottom, 1 to 1440
    interval_after_min: float  # from surfacing to the next dive's leaving the surface, 0 to 10,080
    oxygen_percent: float = AIR_OXYGEN_PERCENT  # 20.9 to 40
    surroundings: Surroundings | None = None  # None: those of the dive asked about


@dataclass(frozen=True)
class NoStop:
    """The no-stop times of one dive of one diver, and what they were reckoned from. Times: None means no limit."""

    no_stop_min: int | None
    model_no_stop_min: int | None
    handbook_no_stop_min: int | None
    handbook_group: (
        str | None
    )  # at the start of this dive; None: no repetitive dive (or a check says that none is known)
    gradient_factors: tuple[float, float]  # low, high
    equivalent_depth_m: float  # at sea level, in the tables' sea water
    surface_pressure_bar: float
    ambient_pressure_bar: float
    max_operating_depth_m: float
    handbook_depth_fsw: float  # the depth in the tables' feet, before altitude and gas
    handbook_row_fsw: int  # the row of the no-stop table that was used
    residual_nitrogen_min: int | None  # None: no group, or no figure
    gauge_zeroed_m: float  # what a gauge zeroed at this surface reads at the depth
    gauge_sealed_m: float  # what a gauge sealed at sea level reads
    contest: Contest
    checks: tuple[Check, ...]


class GroupAfter(NamedTuple):
    """The handbook group after a dive; None with a STOP among the checks: the tables have none."""

    group: str | None
    checks: tuple[Check, ...]


def no_stop_limits(
    depth_m: float,
    surroundings: Surroundings,
    previous: Sequence[Exposure],
    rules: RuleBook,
    *,
    hours_since_arrival_h: float | None,
    oxygen_percent: float = AIR_OXYGEN_PERCENT,
) -> NoStop:
    """Return how long one diver may stay at a depth without a stop, by both methods.

    depth_m               -- deepest point, above 0; to 100, and to the end of the handbook's table (190 fsw)
    previous              -- the diver's dives before this one, oldest first
    hours_since_arrival_h -- hours at this altitude at the start of this dive; math.inf for somebody who lives there;
                             None: not known, taken as just arrived
    oxygen_percent        -- 20.9 to 40

    Bottom time runs from leaving the surface to leaving the bottom. Raises OutOfRange for a value outside its interval
    or a dive outside the handbook's tables; an earlier dive outside them gives a STOP and no time.
    Source: NAVY_7, NAVY_RULES, ZH_L16C.
    """
    _require_dive(depth_m, surroundings, oxygen_percent, rules)
    _require_previous(previous, surroundings, hours_since_arrival_h, rules)
    row_fsw = _row_fsw(depth_m, surroundings, oxygen_percent, rules)
    rates = tissues.rates_of(rules)
    day = _Day(tuple(previous), surroundings, depth_m, hours_since_arrival_h, rules, rates)

    chain, handbook_checks = _handbook_chain(day)
    by_handbook = handbook.limit(chain, row_fsw)
    if by_handbook.broken is not None and not any(check.outcome is Outcome.STOP for check in handbook_checks):
        handbook_checks.append(_broken_check(by_handbook.broken, day))

    low, high = rules.value("model.gradient_factor_low"), rules.value("model.gradient_factor_high")
    state, model_checks = _state_before(day)
    surface_bar, density = surroundings.surface_pressure_bar, surroundings.density_kg_m3
    model_min = tissues.no_stop_min(state, depth_m, surface_bar, density, oxygen_percent, high, rates)

    mod_m = max_operating_depth_m(oxygen_percent, rules.value("oxygen.partial_pressure_bar"), surface_bar, density)
    contest = _contest(by_handbook, chain, model_min, low, high)
    no_stop_min = None if contest.value is None else int(contest.value)
    checks = [
        _check_oxygen(depth_m, mod_m, oxygen_percent, rules),
        *handbook_checks,
        *model_checks,
        *_check_time(no_stop_min, depth_m, by_handbook, contest),
        *_check_agreement(by_handbook, model_min, rules),
    ]
    return NoStop(
        no_stop_min=no_stop_min,
        model_no_stop_min=model_min,
        handbook_no_stop_min=by_handbook.minutes,
        handbook_group=None if chain.broken else chain.group,
        gradient_factors=(low, high),
        equivalent_depth_m=equivalent_depth_m(depth_m, surroundings),
        surface_pressure_bar=surface_bar,
        ambient_pressure_bar=ambient_pressure_bar(depth_m, surface_bar, density),
        max_operating_depth_m=mod_m,
        handbook_depth_fsw=handbook.depth_in_fsw(depth_m, density, surroundings.water),
        handbook_row_fsw=by_handbook.row_fsw,
        residual_nitrogen_min=by_handbook.residual_min,
        gauge_zeroed_m=gauge_reading_m(depth_m, surface_bar, density, zeroed=True),
        gauge_sealed_m=gauge_reading_m(depth_m, surface_bar, density, zeroed=False),
        contest=contest,
        checks=tuple(checks),
    )


def handbook_group_after(
    depth_m: float,
    bottom_time_min: float,
    surroundings: Surroundings,
    previous: Sequence[Exposure],
    rules: RuleBook,
    *,
    hours_since_arrival_h: float | None,
    oxygen_percent: float = AIR_OXYGEN_PERCENT,
) -> GroupAfter:
    """Return the handbook group after a dive, with the checks made on the way.

    Parameters and errors as no_stop_limits; bottom_time_min -- 1 to 1440, rounded up to whole minutes.
    """
    _require_dive(depth_m, surroundings, oxygen_percent, rules)
    require("bottom time", bottom_time_min, 1, LONGEST_MIN, "min")
    _require_previous(previous, surroundings, hours_since_arrival_h, rules)
    row_fsw = _row_fsw(depth_m, surroundings, oxygen_percent, rules)
    day = _Day(tuple(previous), surroundings, depth_m, hours_since_arrival_h, rules, tissues.rates_of(rules))
    chain, checks = _handbook_chain(day)
    found = handbook.after_next(chain, row_fsw, _whole_up(bottom_time_min))
    if isinstance(found, handbook.Broken):
        if not any(check.outcome is Outcome.STOP for check in checks):
            checks.append(_broken_check(found, day))
        return GroupAfter(None, tuple(checks))
    return GroupAfter(found, tuple(checks))


def equivalent_depth_m(depth_m: float, surroundings: Surroundings) -> float:
    """Return the sea-level depth, in the tables' sea water, with the same ratio of depth to surface pressure, metres.

    Sea water counts at least as heavy as the tables' own.  Source: NAVY_RULES (depth x sea-level / surface pressure).
    """
    share = surroundings.density_kg_m3 / handbook.TABLE_SEA_DENSITY_KG_M3
    if surroundings.water == "sea":
        share = max(share, 1.0)
    return depth_m * share * BAR_PER_ATMOSPHERE / surroundings.surface_pressure_bar


# ---- what is accepted ----


def _require_dive(depth_m: float, surroundings: Surroundings, oxygen_percent: float, rules: RuleBook) -> None:
    if not depth_m > 0:
        raise OutOfRange(f"depth is {depth_m:g} m; it must be more than 0 m, to {DEEPEST_M:g} m")
    require("depth", depth_m, 0, DEEPEST_M, "m")
    require_oxygen(oxygen_percent)
    _require_surroundings(surroundings, rules)


def _require_surroundings(surroundings: Surroundings, rules: RuleBook) -> None:
    highest_m = rules.value("altitude.highest_m")
    require("altitude", surroundings.altitude_m, LOWEST_M, highest_m, "m", "rule altitude.highest_m")
    bar_per_metre(surroundings.density_kg_m3)
    measured_bar = surroundings.measured_pressure_bar
    if measured_bar is None:
        return
    standard_bar = standard_pressure_bar(surroundings.altitude_m)
    why = f"the standard there is {standard_bar:.3f} bar; give the pressure at the site, not reduced to sea level"
    require("measured air pressure", measured_bar, LEAST_SHARE * standard_bar, MOST_SHARE * standard_bar, "bar", why)
    altitude_m = handbook.handbook_altitude_m(surroundings.altitude_m, measured_bar, rules)
    if altitude_m > highest_m:
        raise OutOfRange(
            f"measured air pressure is {measured_bar:g} bar, that of {altitude_m:.0f} m; it must be at least "
            f"{standard_pressure_bar(highest_m):.3f} bar (the handbook's altitude tables end at {highest_m:g} m)"
        )


def _require_previous(
    previous: Sequence[Exposure], surroundings: Surroundings, hours_since_arrival_h: float | None, rules: RuleBook
) -> None:
    if hours_since_arrival_h is not None:
        require("hours since arrival", hours_since_arrival_h, 0, math.inf, "h")
    for number, exposure in enumerate(previous, start=1):
        name = f"of earlier dive {number}"
        if not exposure.depth_m > 0:
            raise OutOfRange(f"depth {name} is {exposure.depth_m:g} m; it must be more than 0 m, to {DEEPEST_M:g} m")
        require(f"depth {name}", exposure.depth_m, 0, DEEPEST_M, "m")
        require(f"bottom time {name}", exposure.bottom_time_min, 1, LONGEST_MIN, "min")
        require(f"interval after earlier dive {number}", exposure.interval_after_min, 0, LONGEST_INTERVAL_MIN, "min")
        require_oxygen(exposure.oxygen_percent)
        if exposure.surroundings not in (None, surroundings):
            _require_surroundings(exposure.surroundings or surroundings, rules)


# ---- the day so far ----


@dataclass(frozen=True)
class _Visit:
    """An unbroken run of dives at one altitude; the dive asked about belongs to the last."""

    first: int  # index of its first dive
    altitude_m: float  # handbook altitude, the highest of the run


@dataclass(frozen=True)
class _Day:
    """The dives so far, with the dive asked about at the end."""

    previous: tuple[Exposure, ...]
    surroundings: Surroundings
    depth_m: float
    hours_since_arrival_h: float | None
    rules: RuleBook
    rates: tissues.Rates

    def at(self, index: int) -> Surroundings:
        """Return the surroundings of a dive; the index after the last earlier dive is the dive asked about."""
        own = self.previous[index].surroundings if index < len(self.previous) else None
        return own or self.surroundings

    def altitude_m(self, index: int) -> float:
        """Return the altitude with which the handbook is entered for a dive."""
        there = self.at(index)
        return handbook.handbook_altitude_m(there.altitude_m, there.measured_pressure_bar, self.rules)

    def visits(self) -> list[_Visit]:
        """Return the runs of dives at one altitude; a change that the handbook would not correct makes no new run."""
        same_m = self.rules.value("altitude.uncorrected_below_m")
        found: list[_Visit] = []
        for index in range(len(self.previous) + 1):
            altitude_m = self.altitude_m(index)
            if found and abs(altitude_m - found[-1].altitude_m) <= same_m:
                found[-1] = _Visit(found[-1].first, max(altitude_m, found[-1].altitude_m))
            else:
                found.append(_Visit(index, altitude_m))
        return found

    def corrected(self, visit: _Visit, end: int) -> bool:
        """Return whether any dive of a visit is corrected for altitude."""
        return any(
            handbook.altitude_corrected(visit.altitude_m, _tables_depth_m(depth_m, self.at(index)), self.rules)
            for index in range(visit.first, end)
            for depth_m in [self.previous[index].depth_m if index < len(self.previous) else self.depth_m]
        )

    def minutes_since_arrival(self, index: int) -> float:
        """Return the minutes at this altitude that are credited at the start of a dive; 0 where they are not known."""
        if self.hours_since_arrival_h is None or index < self.visits()[-1].first:
            return 0.0
        return max(self.hours_since_arrival_h * 60 - self.elapsed_min(index), 0.0)

    def settled(self, index: int) -> bool:
        """Return whether the body is taken as settled at this altitude at the start of a dive."""
        return self.minutes_since_arrival(index) >= self.rules.value("altitude.acclimatised_h") * 60

    def group_left(self, arrived: str | None, index: int) -> str | None:
        """Return what is left of an arrival group at the start of a dive."""
        if self.settled(index):
            return None
        return handbook.group_after_interval(arrived, self.minutes_since_arrival(index))

    def elapsed_min(self, first: int) -> float:
        """Return the minutes from the start of a dive to the start of the dive asked about."""
        return sum(
            dive.bottom_time_min + self.rates.ascent_min(dive.depth_m) + dive.interval_after_min
            for dive in self.previous[first:]
        )


def _tables_depth_m(depth_m: float, surroundings: Surroundings) -> float:
    """Return a depth in metres of the tables' sea water, never less than the depth itself."""
    counted = metres(handbook.depth_in_fsw(depth_m, surroundings.density_kg_m3, surroundings.water))
    return max(depth_m, counted)


def _row_fsw(depth_m: float, surroundings: Surroundings, oxygen_percent: float, rules: RuleBook) -> int:
    """Return the row of the no-stop table for a dive: density, then altitude, then gas, each rounded up."""
    depth_fsw = handbook.depth_in_fsw(depth_m, surroundings.density_kg_m3, surroundings.water)
    if depth_fsw > handbook.deepest_fsw() + handbook.NOISE:
        deepest_m = depth_m * handbook.deepest_fsw() / depth_fsw
        raise OutOfRange(
            f"depth is {depth_m:g} m, {depth_fsw:.0f} fsw; it must be at most {math.floor(deepest_m * 10) / 10:g} m in "
            f"this water ({handbook.deepest_fsw()} fsw: the handbook's no-stop table ends there)"
        )
    altitude_m = handbook.handbook_altitude_m(surroundings.altitude_m, surroundings.measured_pressure_bar, rules)
    if handbook.altitude_corrected(altitude_m, _tables_depth_m(depth_m, surroundings), rules):
        depth_fsw = handbook.sea_level_equivalent_fsw(depth_fsw, feet(altitude_m))
    return handbook.row_for(equivalent_air_depth_fsw(depth_fsw, oxygen_percent)).depth_fsw


def _whole_up(minutes: float) -> int:
    return math.ceil(minutes - handbook.NOISE)


def _said(exposure: Exposure) -> str:
    return f"{exposure.depth_m:g} m for {exposure.bottom_time_min:g} min"


# ---- the handbook's day ----


def _handbook_chain(day: _Day) -> tuple[handbook.Chain, list[Check]]:
    """Return the chain of earlier dives, and what had to be assumed or stops it."""
    climbs, least, checks = _arrivals(day)
    chain = handbook.start_chain(climbs.get(0))
    for index, exposure in enumerate(day.previous):
        try:
            row_fsw = _row_fsw(exposure.depth_m, day.at(index), exposure.oxygen_percent, day.rules)
        except OutOfRange as error:
            broken = handbook.Broken(index, "outside-tables", str(error))
            chain = handbook.Chain(chain.openings, chain.legs, broken)
        else:
            leg = handbook.Leg(row_fsw, _whole_up(exposure.bottom_time_min))
            interval = math.floor(exposure.interval_after_min + handbook.NOISE)
            chain = handbook.dive(chain, leg, interval, climbs.get(index + 1), least.get(index + 1))
        if chain.broken is not None:
            checks.append(_broken_check(chain.broken, day))
            break
    return chain, checks


def _arrivals(day: _Day) -> tuple[dict[int, str | None], dict[int, str | None], list[Check]]:
    """Return what coming up to altitude leaves, by index of a dive, and the cautions about it.

    First the group that a climb just before a dive brings, then the lowest group that a later dive at that altitude may
    start in: time at altitude is credited only from the given arrival on, and not at all where it is not known.
    """
    climbs: dict[int, str | None] = {}
    least: dict[int, str | None] = {}
    checks: list[Check] = []
    visits = day.visits()
    ends = [visit.first for visit in visits[1:]] + [len(day.previous) + 1]
    for number, (visit, end) in enumerate(zip(visits, ends, strict=True)):
        base_m = visits[number - 1].altitude_m if number else 0.0
        climb_m = visit.altitude_m - base_m
        if climb_m <= 0 or not day.corrected(visit, end):
            continue
        arrived = handbook.arrival_group(feet(climb_m))
        for index in range(visit.first, end):
            least[index] = day.group_left(arrived, index)
        climbs[visit.first] = least[visit.first]
        if number == len(visits) - 1:
            checks.extend(_check_arrival(visit, arrived, day))
        elif not number:
            checks.append(
                Check(
                    rule="arrival-time-unknown",
                    outcome=Outcome.CAUTION,
                    sentence=(
                        f"When the divers came to {visit.altitude_m:.0f} m for their first dive is not known; they are "
                        f"taken as just arrived then (group {arrived})."
                    ),
                    source="NAVY_7",
                )
            )
        if number and climbs[visit.first] is not None:
            checks.append(
                Check(
                    rule="altitude-change-between-dives",
                    outcome=Outcome.CAUTION,
                    sentence=(
                        f"Between dives the divers climb from {base_m:.0f} m to {visit.altitude_m:.0f} m. The handbook "
                        f"prints no rule for that; group {climbs[visit.first]} of the climb is added to the group of "
                        "the dives."
                    ),
                    source="NAVY_RULES",
                    found=round(climb_m),
                    unit="m",
                )
            )
    return climbs, least, checks


def _check_arrival(visit: _Visit, arrived: str | None, day: _Day) -> list[Check]:
    """Return the cautions about the time of arrival at the altitude of the dive asked about."""
    began_h = day.elapsed_min(visit.first) / 60
    if day.hours_since_arrival_h is None:
        return [
            Check(
                rule="arrival-time-unknown",
                outcome=Outcome.CAUTION,
                sentence=(
                    f"How long the divers have been at {visit.altitude_m:.0f} m is not known; they are taken as just "
                    f"arrived (group {arrived})."
                ),
                source="NAVY_7",
            )
        ]
    if began_h > day.hours_since_arrival_h + handbook.NOISE:
        return [
            Check(
                rule="arrival-after-first-dive",
                outcome=Outcome.CAUTION,
                sentence=(
                    f"The dives at {visit.altitude_m:.0f} m began {began_h:.1f} h before this one, but arrival is "
                    f"given as {day.hours_since_arrival_h:g} h before it; the divers are taken as just arrived at each "
                    f"dive before that hour (group {arrived})."
                ),
                source="NAVY_7",
                found=day.hours_since_arrival_h,
                limit=round(began_h, 1),
                unit="h",
            )
        ]
    return []


def _broken_check(broken: handbook.Broken, day: _Day) -> Check:
    """Return the STOP for a day that the handbook cannot follow."""
    index = broken.leg
    earlier = 0 <= index < len(day.previous)
    whose = f"Earlier dive {index + 1} ({_said(day.previous[index])})" if earlier else "This dive"
    until = " The handbook gives no time for any dive after it: this diver stays out today." if earlier else ""
    if broken.kind == "outside-tables":
        words = f"{whose} is outside the handbook's tables: {broken.because}.{until}"
    elif broken.kind == "over-limit":
        words = f"{whose}: {broken.because}, so the handbook asks for a stop.{until}"
    else:
        words = f"{whose}: {broken.because}."
    return Check(
        rule=f"handbook-{broken.kind}",
        outcome=Outcome.STOP,
        sentence=words,
        source="NAVY_7",
        subject=f"earlier dive {index + 1}" if earlier else "",
    )


# ---- the model's day ----


def _arrival_state(day: _Day, index: int) -> tissues.State:
    """Return the nitrogen that coming up to altitude leaves at the start of a dive; the least that anybody starts with.

    Who has just come up is saturated at the place before: the last dive lower down, else sea level.
    """
    here_bar = day.at(index).surface_pressure_bar
    if day.settled(index):
        return tissues.saturated(here_bar)
    first = max(visit.first for visit in day.visits() if visit.first <= index)
    base_bar = day.at(first - 1).surface_pressure_bar if first else BAR_PER_ATMOSPHERE
    came_with = tissues.saturated(max(base_bar, here_bar))
    return tissues.after_interval(came_with, day.minutes_since_arrival(index), here_bar)


def _state_before(day: _Day) -> tuple[tissues.State, list[Check]]:
    """Return the diver's nitrogen at the start of the dive asked about, and a STOP for each dive that needed a stop.

    A climb between dives counts as made at the end of the interval.
    """
    rules, checks = day.rules, list[Check]()
    low, high = rules.value("model.gradient_factor_low"), rules.value("model.gradient_factor_high")
    pressures = [day.at(index).surface_pressure_bar for index in range(len(day.previous) + 1)]
    state = _arrival_state(day, 0)
    for index, (exposure, (here_bar, next_bar)) in enumerate(zip(day.previous, pairwise(pressures), strict=True)):
        there = (here_bar, day.at(index).density_kg_m3, exposure.oxygen_percent)
        allowed = tissues.no_stop_time_min(state, exposure.depth_m, *there, high, day.rates)
        if exposure.bottom_time_min > allowed + 1 / 60:
            leaving = tissues.at_bottom(state, exposure.depth_m, exposure.bottom_time_min, *there, day.rates)
            ceiling_m = depth_at_pressure_m(tissues.ceiling_bar(leaving, low), here_bar, there[1])
            first_stop = f", with the first ceiling at {ceiling_m:.1f} m" if ceiling_m > 0 else ""
            checks.append(
                Check(
                    rule="model-previous-dive",
                    outcome=Outcome.STOP,
                    sentence=(
                        f"Earlier dive {index + 1} ({_said(exposure)}) is "
                        f"{_whole_up(exposure.bottom_time_min - math.floor(allowed))} min longer than the tissue "
                        f"model's no-stop time of {math.floor(allowed)} min{first_stop}. The model's time for this "
                        "dive does not count the bubbles that may have formed."
                    ),
                    source="ZH_L16C",
                    found=exposure.bottom_time_min,
                    limit=float(math.floor(allowed)),
                    unit="min",
                    subject=f"earlier dive {index + 1}",
                )
            )
        surfaced = tissues.after_dive(state, exposure.depth_m, exposure.bottom_time_min, *there, day.rates)
        rested = tissues.after_interval(surfaced, exposure.interval_after_min, max(here_bar, next_bar))
        state = tissues.most_of(rested, _arrival_state(day, index + 1))
    return state, checks


# ---- the judgement ----


def _contest(
    by_handbook: handbook.Limit, chain: handbook.Chain, model_min: int | None, low: float, high: float
) -> Contest:
    if by_handbook.broken is not None:
        start = "gives no time after the dives so far"
    elif chain.group is None:
        start = "first dive"
    else:
        start = f"group {chain.group} before the dive"
        if by_handbook.residual_min is not None:
            start += f" ({by_handbook.residual_min} min residual)"
    return Contest(
        "longest bottom time without a stop",
        "min",
        (
            Candidate(
                "handbook",
                by_handbook.minutes,
                f"handbook, row {by_handbook.row_fsw} fsw, {start}: {_time_words(by_handbook.minutes)}",
                "NAVY_7",
            ),
            Candidate(
                "model",
                model_min,
                f"tissue model, gradient factors {low * 100:g} and {high * 100:g} %: {_time_words(model_min)}",
                "ZH_L16C",
            ),
        ),
    )


def _time_words(minutes: int | None) -> str:
    return "no limit" if minutes is None else f"{minutes} min"


def _check_oxygen(depth_m: float, mod_m: float, oxygen_percent: float, rules: RuleBook) -> Check:
    rule = rules["oxygen.partial_pressure_bar"]
    too_deep = depth_m > mod_m
    return Check(
        rule="oxygen-partial-pressure",
        outcome=Outcome.STOP if too_deep else Outcome.OK,
        sentence=(
            f"{oxygen_percent:g} % oxygen reaches {rule.value:g} bar at {mod_m:g} m; the dive goes to {depth_m:g} m"
            + ("." if not too_deep else ": too deep for this gas.")
        ),
        source=rule.key,
        found=depth_m,
        limit=mod_m,
        unit="m",
    )


def _check_time(no_stop_min: int | None, depth_m: float, by_handbook: handbook.Limit, contest: Contest) -> list[Check]:
    """Return a STOP where no time is left; where the handbook has no answer its own STOP says so already."""
    if no_stop_min != 0 or by_handbook.broken is not None:
        return []
    binding = contest.binding
    assert binding is not None  # a time of 0 comes from a candidate
    return [
        Check(
            rule="no-stop-time-left",
            outcome=Outcome.STOP,
            sentence=(
                f"No time without a stop is left at {depth_m:g} m ({binding.sentence}): wait longer or stay shallower."
            ),
            source=binding.source,
            found=0.0,
            unit="min",
        )
    ]


def _check_agreement(by_handbook: handbook.Limit, model_min: int | None, rules: RuleBook) -> list[Check]:
    """Return how far the two methods differ; nothing where the handbook has no answer."""
    if by_handbook.broken is not None:
        return []
    handbook_min = math.inf if by_handbook.minutes is None else by_handbook.minutes
    other_min = math.inf if model_min is None else model_min
    shorter, longer = min(handbook_min, other_min), max(handbook_min, other_min)
    share = 0.0 if shorter == longer else 1.0 if math.isinf(longer) else (longer - shorter) / longer
    rule = rules["model.disagreement_share"]
    apart = share > rule.value and shorter < rules.value("model.disagreement_below_min")
    words = f"handbook {_time_words(by_handbook.minutes)}, tissue model {_time_words(model_min)}"
    return [
        Check(
            rule="no-stop-methods-agree",
            outcome=Outcome.CAUTION if apart else Outcome.OK,
            sentence=(
                f"The two no-stop times differ by more than {rule.value * 100:g} % ({words}); the shorter one holds."
                if apart
                else f"The two no-stop times: {words}."
            ),
            source=rule.key,
            found=round(share, 2),
            limit=rule.value,
            unit="fraction",
        )
    ]
