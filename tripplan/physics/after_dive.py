"""How long a diver waits at the surface before a road or a flight takes him higher.

Every rule that applies is asked, and the longest wait binds. Times are whole minutes from surfacing after the last
dive. The rules hold for somebody without symptoms; a wait lowers the risk and does not end it.
Sources: NAVY_7 (Table 9-6), FLYING_2002, FAA_AIM, ZH_L16C.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from tripplan.check import Candidate, Check, Outcome
from tripplan.errors import OutOfRange, require
from tripplan.physics import handbook, tissues
from tripplan.physics.atmosphere import HIGHEST_M, LOWEST_M, standard_pressure_bar
from tripplan.physics.no_stop import Exposure, Surroundings, handbook_group_after
from tripplan.physics.oxygen import AIR_NITROGEN_FRACTION
from tripplan.rulebook import RuleBook
from tripplan.units import BAR_PER_ATMOSPHERE, feet

Kind = Literal["road", "aircraft", "airliner"]

EXCEPTIONAL = "exceptional_exposure"  # row of Table 9-6, the longest waits of the table
HIGHEST_FLIGHT_M = 20_000.0  # what is refused as a slip of the pen
NOISE_M = 1e-6  # 2438.4 m is 8000 ft, whatever floating point makes of it


@dataclass(frozen=True)
class Stage:
    """One height on the way home.

    kind -- "road"; "aircraft", without a pressurised cabin (helicopters and small aeroplanes too); "airliner"
    """

    name: str
    kind: Kind
    height_m: float | None  # above mean sea level, of the road or the flight itself, not of a cabin; None: not known
    starts_after_min: float | None = None  # from surfacing to the start of the climb; None: not known


@dataclass(frozen=True, eq=False)
class Behind:
    """What a diver carries at the moment of surfacing from the last dive; None: not known."""

    surroundings: Surroundings  # of the last dive
    highest_group: str | None  # of the last 24 hours; "exceptional_exposure" after one
    repetitive: bool | None  # whether the last dive was one of several
    stops: bool | None  # whether any dive needed stops
    state: tissues.State | None
    checks: tuple[Check, ...] = ()


@dataclass(frozen=True)
class StageWait:
    """The wait before one height: all candidates, of which the longest binds."""

    stage: Stage
    minutes: int | None  # None: one of the rules has no answer, so none can be given
    candidates: tuple[Candidate, ...]  # minutes; a value of None sets none

    @property
    def binding(self) -> Candidate | None:
        """The candidate with the longest wait (the first named on a tie); None when none sets one."""
        setting = [candidate for candidate in self.candidates if candidate.value is not None]
        return max(setting, key=lambda candidate: candidate.value or 0.0, default=None)

    def as_json(self) -> dict[str, Any]:
        """Return the wait as plain values, the longest candidate first, those that set none last."""
        ordered = sorted(self.candidates, key=lambda c: math.inf if c.value is None else -c.value)
        return {
            "name": self.stage.name,
            "kind": self.stage.kind,
            "height_m": self.stage.height_m,
            "minutes": self.minutes,
            "binding": self.binding.name if self.binding and self.minutes is not None else None,
            "candidates": [
                {"name": c.name, "value": c.value, "sentence": c.sentence, "source": c.source} for c in ordered
            ],
        }


@dataclass(frozen=True)
class Waits:
    """The waits of a whole way home."""

    minutes: int | None  # the longest; None: it cannot be given, a check says why
    deciding: StageWait | None  # the stage that asks for it; None: no way home was given
    stages: tuple[StageWait, ...]
    checks: tuple[Check, ...]

    def left_min(self, minutes_since_surfacing: float) -> int | None:
        """Return what is left of the wait some minutes after surfacing, rounded up; None where it cannot be given."""
        require("minutes since surfacing", minutes_since_surfacing, 0, math.inf, "min")
        if self.minutes is None:
            return None
        return max(self.minutes - math.floor(min(minutes_since_surfacing, self.minutes)), 0)

    def as_json(self) -> dict[str, Any]:
        """Return the waits as plain values."""
        return {
            "minutes": self.minutes,
            "deciding": self.deciding.stage.name if self.deciding else None,
            "stages": [stage.as_json() for stage in self.stages],
            "checks": [check.as_json() for check in self.checks],
        }


def time_words(minutes: float) -> str:
    """Return a time in hours and minutes.

    >>> time_words(935)
    '15 h 35 min'
    """
    hours, rest = divmod(math.ceil(minutes), 60)
    return " ".join([f"{hours} h"] * bool(hours) + [f"{rest} min"] * bool(rest or not hours))


# ---- what is behind a diver ----


def behind(
    dives: Sequence[Exposure],
    surroundings: Surroundings,
    rules: RuleBook,
    *,
    hours_since_arrival_h: float | None,
    all_dives_known: bool,
) -> Behind:
    """Return what one diver carries on surfacing from the last of some dives.

    dives                 -- oldest first; what is given as the interval after the last one does not count
    surroundings          -- of the dives that name none
    hours_since_arrival_h -- hours at this altitude at the start of the last dive; math.inf for somebody who lives
                             there; None: not known, taken as just arrived
    all_dives_known       -- whether these are all dives of the last two days

    Where the handbook has no group after a dive, the group is None and a check says why. Raises OutOfRange for no dive,
    for a value outside its interval, and for a dive outside the handbook's tables.
    """
    if not dives:
        raise OutOfRange("there are 0 dives; a wait after diving needs at least 1")
    if hours_since_arrival_h is not None:
        require("hours since arrival", hours_since_arrival_h, 0, math.inf, "h")
    made = tuple(replace(dive, surroundings=dive.surroundings or surroundings) for dive in dives)
    found = [_group_after(made, index, hours_since_arrival_h, rules) for index in range(len(made))]
    window_min = rules.value("after_dive.highest_group_h") * 60
    counted = [group for index, (group, _) in enumerate(found) if _before_min(made, index) <= window_min]
    state, too_long = _surfacing_state(made, hours_since_arrival_h, rules)
    checks = list(found[-1][1])
    if too_long:
        checks.append(_check_model(made, too_long))
    if not all_dives_known:
        checks.append(
            Check(
                rule="wait-dives-unknown",
                outcome=Outcome.CAUTION,
                sentence=(
                    "Whether this diver dived before is not known. The last dive counts as one of several; group and "
                    "nitrogen know only the dives given, so the wait may be too short."
                ),
                source="FLYING_2002",
            )
        )
    repeated_min = rules.value("after_dive.repetitive_within_h") * 60
    repetitive = any(_before_min(made, index) <= repeated_min for index in range(len(made) - 1))
    over_limit = any(check.rule == "handbook-over-limit" for _, group_checks in found for check in group_checks)
    return Behind(
        surroundings=made[-1].surroundings or surroundings,
        highest_group=None if None in counted else handbook.worst_group(counted),
        repetitive=True if repetitive else (False if all_dives_known else None),
        stops=over_limit or bool(too_long),
        state=state,
        checks=tuple(checks),
    )


def _at(dive: Exposure) -> Surroundings:
    assert dive.surroundings is not None  # behind() fills it in
    return dive.surroundings


def _before_min(dives: Sequence[Exposure], index: int) -> float:
    """Return the minutes from surfacing after a dive to surfacing after the last one, its ascents left out."""
    later = range(index + 1, len(dives))
    return sum(dives[i - 1].interval_after_min + dives[i].bottom_time_min for i in later)


def _hours_at_start(dives: Sequence[Exposure], index: int, hours_at_last_h: float | None, rules: RuleBook) -> float:
    """Return the hours at its altitude that are credited at the start of a dive; 0 where they are not known."""
    if hours_at_last_h is None:
        return 0.0
    last_m, same_m = _at(dives[-1]).altitude_m, rules.value("altitude.uncorrected_below_m")
    if any(abs(_at(dive).altitude_m - last_m) > same_m for dive in dives[index:]):
        return 0.0
    rates = tissues.rates_of(rules)
    elapsed_min = sum(
        dive.bottom_time_min + rates.ascent_min(dive.depth_m) + dive.interval_after_min for dive in dives[index:-1]
    )
    return max(hours_at_last_h - elapsed_min / 60, 0.0)


def _group_after(
    dives: Sequence[Exposure], index: int, hours_at_last_h: float | None, rules: RuleBook
) -> tuple[str | None, tuple[Check, ...]]:
    dive = dives[index]
    hours_h = _hours_at_start(dives, index, hours_at_last_h, rules)
    last_or_credited = hours_at_last_h is not None and (hours_h > 0 or index == len(dives) - 1)
    return handbook_group_after(
        dive.depth_m,
        dive.bottom_time_min,
        _at(dive),
        dives[:index],
        rules,
        hours_since_arrival_h=hours_h if last_or_credited else None,
        oxygen_percent=dive.oxygen_percent,
    )


def _surfacing_state(
    dives: Sequence[Exposure], hours_at_last_h: float | None, rules: RuleBook
) -> tuple[tissues.State, list[tuple[int, float]]]:
    """Return the nitrogen on surfacing from the last dive, and the dives longer than the model's no-stop time.

    A climb between dives counts as made at the end of the interval. Who may not be settled at the altitude of the first
    dive comes from sea level.
    """
    rates, high = tissues.rates_of(rules), rules.value("model.gradient_factor_high")
    hours_h, first_bar = _hours_at_start(dives, 0, hours_at_last_h, rules), _at(dives[0]).surface_pressure_bar
    if hours_h >= rules.value("altitude.acclimatised_h"):
        state = tissues.saturated(first_bar)
    else:
        came_with = tissues.saturated(max(BAR_PER_ATMOSPHERE, first_bar))
        state = tissues.after_interval(came_with, hours_h * 60, first_bar)
    too_long: list[tuple[int, float]] = []
    for index, dive in enumerate(dives):
        if index:
            pause_bar = max(_at(dives[index - 1]).surface_pressure_bar, _at(dive).surface_pressure_bar)
            state = tissues.after_interval(state, dives[index - 1].interval_after_min, pause_bar)
        there = (_at(dive).surface_pressure_bar, _at(dive).density_kg_m3, dive.oxygen_percent)
        allowed = tissues.no_stop_time_min(state, dive.depth_m, *there, high, rates)
        if dive.bottom_time_min > allowed + 1 / 60:
            too_long.append((index, allowed))
        state = tissues.after_dive(state, dive.depth_m, dive.bottom_time_min, *there, rates)
    return state, too_long


def _check_model(dives: Sequence[Exposure], too_long: Sequence[tuple[int, float]]) -> Check:
    index, allowed = too_long[0]
    dive = dives[index]
    return Check(
        rule="wait-model-stops",
        outcome=Outcome.STOP,
        sentence=(
            f"Dive {index + 1} ({dive.depth_m:g} m, {dive.bottom_time_min:g} min) is longer than the tissue model's "
            f"no-stop time of {math.floor(allowed)} min; it counts as a dive that needed stops."
        ),
        source="ZH_L16C",
        found=dive.bottom_time_min,
        limit=float(math.floor(allowed)),
        unit="min",
        subject=f"dive {index + 1}",
    )


# ---- the waits ----


def wait_before_ascent(carried: Behind, way_home: Sequence[Stage], rules: RuleBook) -> Waits:
    """Return how long a diver waits after surfacing before each height of a way home, and which of them decides.

    The heights are all counted from the site of the last dive; the one with the longest wait decides, which among roads
    is the highest. The handbook's table rounds every climb up to the next 1000 ft, and takes its 8000 ft column or
    higher for an airliner; from a site as high as the cabin it asks for no wait, and the other rules still apply.
    A road is counted in thinner air by as much as the measured pressure at the site is below the standard.
    Raises OutOfRange for a height or time outside its interval.
    """
    for stage in way_home:
        highest_m = HIGHEST_FLIGHT_M if stage.kind == "airliner" else HIGHEST_M
        if stage.height_m is not None:
            require(f"height of {stage.name}", stage.height_m, LOWEST_M, highest_m, "m")
        if stage.starts_after_min is not None:
            require(f"start of {stage.name}", stage.starts_after_min, 0, math.inf, "min")
    stages = tuple(_stage_wait(carried, stage, rules) for stage in way_home)
    deciding = max(stages, key=lambda found: math.inf if found.minutes is None else found.minutes, default=None)
    checks = [*carried.checks, *_checks_of_what_is_not_known(carried, rules)]
    if deciding is None:
        checks.append(
            Check(
                rule="wait-before-ascent",
                outcome=Outcome.CAUTION,
                sentence="The way home is not known; before any road or flight higher up, ask how high it goes.",
                source="NAVY_7",
            )
        )
    checks.extend(_check_stage(found) for found in stages)
    return Waits(deciding.minutes if deciding else None, deciding, stages, tuple(checks))


def model_wait_min(state: tissues.State, target_bar: float, surface_bar: float, gradient_factor: float) -> int | None:
    """Return the minutes at the surface until a state tolerates a lower pressure, rounded up.

    state           -- nitrogen on surfacing;  surface_bar, target_bar -- ambient pressure here and up there, absolute
    gradient_factor -- share of the published excess that is used, 0 to 1

    None: never, not even after all of the dive has gone.  Source: ZH_L16C.
    """
    allowed = tissues.surface_limit_bar(target_bar, gradient_factor)
    over = state > allowed + tissues.NOISE_BAR
    if not np.any(over):
        return 0
    rest = tissues.inspired_bar(surface_bar, AIR_NITROGEN_FRACTION)
    if np.any(over & (allowed <= rest)):
        return None
    ratio = np.where(over, (state - rest) / np.where(allowed > rest, allowed - rest, 1.0), 1.0)
    minutes = np.log(np.maximum(ratio, 1.0)) / tissues.coefficients().rate_per_min
    return math.ceil(float(np.max(minutes)) - handbook.NOISE)


def _stage_wait(carried: Behind, stage: Stage, rules: RuleBook) -> StageWait:
    if stage.height_m is None and stage.kind != "airliner":
        return StageWait(stage, None, ())
    climb = _climb(carried, stage, rules)
    table, table_answers = _by_table(carried, climb, rules)
    model, model_answers = _by_model(carried, climb, rules)
    candidates = (table, *_by_hours(carried, climb, rules), model)
    longest = max((candidate.value for candidate in candidates if candidate.value is not None), default=0.0)
    minutes = math.ceil(longest) if table_answers and model_answers else None
    return StageWait(stage, minutes, candidates)


@dataclass(frozen=True)
class _Climb:
    """A stage as the rules count it."""

    stage: Stage
    counted_m: float  # altitude of the road, the open aircraft or the cabin
    climb_m: float  # from the site
    flies: bool
    travel_m: float | None  # altitude of the flight or road itself


def _climb(carried: Behind, stage: Stage, rules: RuleBook) -> _Climb:
    if stage.kind == "airliner":
        counted_m = rules.value("after_dive.cabin_m")
    else:
        assert stage.height_m is not None
        counted_m = stage.height_m
    climb_m = counted_m - carried.surroundings.altitude_m
    return _Climb(stage, counted_m, climb_m, stage.kind != "road", stage.height_m)


def _by_table(carried: Behind, climb: _Climb, rules: RuleBook) -> tuple[Candidate, bool]:
    """Return the handbook's candidate, and whether the handbook has an answer at all."""
    increase_ft = feet(climb.climb_m) if climb.climb_m > NOISE_M else 0.0
    said = f"a climb of {climb.climb_m:,.0f} m ({increase_ft:,.0f} ft)"
    if climb.stage.kind == "airliner":
        cabin_ft = feet(climb.counted_m)
        if increase_ft == 0:
            words = f"Handbook: the site is at least as high as an airliner's cabin ({cabin_ft:,.0f} ft); no wait."
            return Candidate("handbook", 0.0, words, "NAVY_7"), True
        increase_ft = max(increase_ft, cabin_ft)
        said = f"an airliner ({increase_ft:,.0f} ft)"
    if increase_ft == 0:
        return Candidate("handbook", 0.0, "Handbook: no higher than the site; no wait.", "NAVY_7"), True
    group = carried.highest_group or EXCEPTIONAL
    try:
        minutes = handbook.wait_before_altitude_min(group, increase_ft)
    except OutOfRange as error:
        return Candidate("handbook", None, f"Handbook: {error}.", "NAVY_7"), False
    if carried.highest_group is None:
        whose = "the group is not known, so the longest wait of the table, that after an exceptional exposure"
    elif group == EXCEPTIONAL:
        whose = "after an exceptional exposure"
    else:
        whose = f"group {group}, the highest of the last {rules.value('after_dive.highest_group_h'):g} h"
    words = f"Handbook: {whose}; before {said}, rounded up to the next 1000 ft: {time_words(minutes)}."
    return Candidate("handbook", float(minutes), words, "NAVY_7"), True


def _by_hours(carried: Behind, climb: _Climb, rules: RuleBook) -> tuple[Candidate, ...]:
    """Return the candidates that count whole hours: the consensus, dives with stops, and the high altitude."""
    rises = climb.flies or climb.climb_m > rules.value("after_dive.level_climb_m") + NOISE_M
    from_m = rules.value("after_dive.consensus_from_m")
    found: list[Candidate] = []
    if rises and max(climb.counted_m, climb.climb_m) >= from_m - NOISE_M:
        single = carried.repetitive is False
        rule = rules["after_dive.single_h" if single else "after_dive.repetitive_h"]
        which = "a single dive without stops" if single else "several dives, or days of diving, without stops"
        unknown = " (whether there were several is not known)" if carried.repetitive is None else ""
        words = f"Consensus of 2002: after {which}{unknown} {rule.value:g} h, from {from_m:.0f} m up, without symptoms."
        found.append(Candidate("consensus", rule.value * 60, words, rule.source))
    else:
        words = f"Consensus of 2002: holds from {from_m:.0f} m up, so it asks for no wait here."
        found.append(Candidate("consensus", None, words, rules["after_dive.single_h"].source))
    if carried.stops is not False:
        rule = rules["after_dive.stops_h"]
        why = "after a dive that needed stops" if carried.stops else "whether a dive needed stops is not known"
        if rises:
            words = f"Convention ({rule.provenance}): {why}: {rule.value:g} h before any climb."
            found.append(Candidate("stops", rule.value * 60, words, rule.source))
        else:
            found.append(Candidate("stops", None, "Convention for dives with stops: this road is level.", rule.source))
    rule, high_m = rules["after_dive.high_h"], rules.value("after_dive.high_from_m")
    above = climb.travel_m is None or climb.travel_m > high_m + NOISE_M or climb.counted_m > high_m + NOISE_M
    if rises and above:
        how = " (its altitude is not known)" if climb.travel_m is None else ""
        what = "a flight" if climb.flies else "a road"
        words = f"{what.capitalize()} above {high_m:,.0f} m{how}: {rule.value:g} h after any dive."
        found.append(Candidate("high-altitude", rule.value * 60, words, rule.source))
    else:
        words = f"The wait for more than {high_m:,.0f} m does not apply."
        found.append(Candidate("high-altitude", None, words, rule.source))
    return tuple(found)


def _by_model(carried: Behind, climb: _Climb, rules: RuleBook) -> tuple[Candidate, bool]:
    """Return the tissue model's candidate, and whether the model has an answer where it was asked."""
    if carried.state is None:
        return Candidate("model", None, "Tissue model: the nitrogen on surfacing is not known.", "ZH_L16C"), True
    here_bar = carried.surroundings.surface_pressure_bar
    target_bar = standard_pressure_bar(climb.counted_m)
    if climb.stage.kind != "airliner":
        target_bar *= min(here_bar / standard_pressure_bar(carried.surroundings.altitude_m), 1.0)
    high = rules.value("model.gradient_factor_high")
    minutes = model_wait_min(carried.state, target_bar, here_bar, high)
    if minutes is None:
        words = (
            f"Tissue model: with {high:.0%} of the published excess {target_bar:.3f} bar is never tolerated by "
            f"somebody used to {here_bar:.3f} bar."
        )
        return Candidate("model", None, words, "ZH_L16C"), False
    words = (
        f"Tissue model: after {time_words(minutes)} at {here_bar:.3f} bar the nitrogen tolerates {target_bar:.3f} bar "
        f"({climb.counted_m:,.0f} m) with {high:.0%} of the published excess."
    )
    return Candidate("model", float(minutes), words, "ZH_L16C"), True


# ---- the judgement ----


def _check_stage(found: StageWait) -> Check:
    stage, minutes = found.stage, found.minutes
    what = stage.name if stage.height_m is None else f"{stage.name} ({stage.height_m:,.0f} m)"
    binding = found.binding
    source = binding.source if binding else "NAVY_7"
    if minutes is None:
        why = "; ".join(c.sentence for c in found.candidates if c.value is None and c.name in ("handbook", "model"))
        outcome = Outcome.STOP
        words = f"{what}: no wait can be given. {why or 'How high it goes is not known.'}"
    elif minutes == 0:
        outcome, words = Outcome.OK, f"{what}: no wait after surfacing."
    elif stage.starts_after_min is None:
        outcome = Outcome.CAUTION
        words = f"{what}: not before {time_words(minutes)} after surfacing; when it begins is not known."
    else:
        outcome = Outcome.OK if stage.starts_after_min >= minutes else Outcome.STOP
        begins = time_words(math.floor(stage.starts_after_min))
        words = f"{what}: not before {time_words(minutes)} after surfacing; it begins {begins} after."
    if minutes and binding:
        words += f" {binding.sentence}"
    return Check(
        rule="wait-before-ascent",
        outcome=outcome,
        sentence=words,
        source=source,
        found=stage.starts_after_min,
        limit=None if minutes is None else float(minutes),
        unit="min",
        subject=stage.name,
    )


def _checks_of_what_is_not_known(carried: Behind, rules: RuleBook) -> list[Check]:
    checks: list[Check] = []
    if carried.highest_group is None:
        words = (
            "The handbook has no group for this diver, so the longest wait of its table is taken; nobody plans a climb "
            "on that without asking a diving doctor."
        )
        checks.append(Check("wait-group-unknown", Outcome.STOP, words, "NAVY_7"))
    if carried.repetitive is None:
        words = "Whether the last dive was one of several is not known; the longer wait is taken."
        checks.append(Check("wait-repetitive-unknown", Outcome.CAUTION, words, "FLYING_2002"))
    if carried.stops is not False:
        rule = rules["after_dive.stops_h"]
        if carried.stops:
            words = (
                f"A dive needed stops. The consensus gives no number for that; the {rule.value:g} h are a convention, "
                "and this house plans no such dives: ask a diving doctor before any climb."
            )
        else:
            words = f"Whether a dive needed stops is not known; it is taken so, with {rule.value:g} h as a convention."
        outcome = Outcome.STOP if carried.stops else Outcome.CAUTION
        checks.append(Check("wait-after-stops", outcome, words, rule.source))
    if carried.state is None:
        words = "The nitrogen on surfacing is not known, so the tissue model has no say in the wait."
        checks.append(Check("wait-model-unknown", Outcome.CAUTION, words, "ZH_L16C"))
    return checks
