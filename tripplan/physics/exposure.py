"""What a day of breathing does besides nitrogen: oxygen exposure by partial pressure and time, and density of the gas.

Oxygen: shares of the published times are added up over the whole day. Nothing is credited for the hours between the
dives, in which the body recovers (others halve the single share every 90 min): against the diver. The table's
atmospheres are read as bar, 1.3 % against the diver.  Sources: NOAA_OXYGEN, GAS_DENSITY, PHYSICS.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from tripplan.check import Check, Outcome
from tripplan.errors import OutOfRange, require
from tripplan.physics.no_stop import DEEPEST_M, LONGEST_MIN, Surroundings
from tripplan.physics.oxygen import AIR_OXYGEN_PERCENT, require_oxygen
from tripplan.physics.pressure import ambient_pressure_bar
from tripplan.rulebook import RuleBook
from tripplan.tables import read_table

NOISE = 1e-9  # floating point only: far below anything measured
OXYGEN_G_MOL, AIR_G_MOL, AIR_OXYGEN_FRACTION = 31.998, 28.9647, 0.2095  # ISO_2533 for air
REST_G_MOL = (AIR_G_MOL - AIR_OXYGEN_FRACTION * OXYGEN_G_MOL) / (1 - AIR_OXYGEN_FRACTION)  # nitrogen with its argon
L_MOL_AT_1_BAR = 22.711  # of an ideal gas at 0 degrees C: the cold end, where gas is densest


@dataclass(frozen=True)
class Breathed:
    """Some minutes at one partial pressure of oxygen."""

    oxygen_bar: float  # from 0
    minutes: float  # 0 to 1440
    name: str = ""  # "dive 2"


@dataclass(frozen=True)
class OxygenPart:
    """What one piece of the day adds. Shares: 1 is the whole limit; None: beyond the table."""

    breathed: Breathed
    single_share: float | None
    daily_share: float | None
    sentence: str


@dataclass(frozen=True)
class OxygenExposure:
    """The oxygen of a diver's day: shares of the limit for a single exposure and of that for 24 hours."""

    single_share: float | None  # of the whole day, as if it were one exposure; None: beyond the table
    daily_share: float | None
    parts: tuple[OxygenPart, ...]
    checks: tuple[Check, ...]

    def as_json(self) -> dict[str, Any]:
        """Return the exposure as plain values."""
        return {
            "single_share": self.single_share,
            "daily_share": self.daily_share,
            "parts": [
                {
                    "name": part.breathed.name,
                    "oxygen_bar": part.breathed.oxygen_bar,
                    "minutes": part.breathed.minutes,
                    "single_share": part.single_share,
                    "daily_share": part.daily_share,
                    "sentence": part.sentence,
                }
                for part in self.parts
            ],
            "checks": [check.as_json() for check in self.checks],
        }


@cache
def _limits() -> tuple[tuple[float, int, int], ...]:
    """Return partial pressure, single limit and daily limit of each row, lowest pressure first."""
    rows = read_table("noaa_oxygen_exposure_limits")
    return tuple(sorted((float(row["oxygen_bar"]), int(row["single_min"]), int(row["daily_min"])) for row in rows))


def highest_oxygen_bar() -> float:
    """Return the highest partial pressure of the table, bar."""
    return _limits()[-1][0]


def _row(oxygen_bar: float, rules: RuleBook) -> tuple[float, int, int] | None:
    """Return the row of the next higher partial pressure; None where the exposure does not count."""
    require("partial pressure of oxygen", oxygen_bar, 0, highest_oxygen_bar() + NOISE, "bar", "the table ends there")
    if oxygen_bar <= rules.value("exposure.counts_from_bar") + NOISE:
        return None
    return next(row for row in _limits() if oxygen_bar <= row[0] + NOISE)


def single_limit_min(oxygen_bar: float, rules: RuleBook) -> int | None:
    """Return the longest single exposure to a partial pressure of oxygen, minutes.  Source: NOAA_OXYGEN.

    oxygen_bar -- bar, 0 to 1.6; rounded up to the next pressure of the table

    None: none, up to the rule book's 0.5 bar. From there to the table's first row, 0.6, that row holds. Raises
    OutOfRange beyond the table.
    """
    row = _row(oxygen_bar, rules)
    return row[1] if row else None


def daily_limit_min(oxygen_bar: float, rules: RuleBook) -> int | None:
    """Return the longest exposure to a partial pressure of oxygen in 24 hours, minutes; as single_limit_min."""
    row = _row(oxygen_bar, rules)
    return row[2] if row else None


def oxygen_pressure_bar(
    depth_m: float, surroundings: Surroundings, oxygen_percent: float = AIR_OXYGEN_PERCENT
) -> float:
    """Return the partial pressure of oxygen at a depth, bar; air counts as 21 %.

    depth_m -- 0 to 100;  oxygen_percent -- 20.9 to 40.  Raises OutOfRange.  Source: PHYSICS (Dalton's law).
    """
    require("depth", depth_m, 0, DEEPEST_M, "m")
    require_oxygen(oxygen_percent)
    pressure_bar = ambient_pressure_bar(depth_m, surroundings.surface_pressure_bar, surroundings.density_kg_m3)
    return pressure_bar * max(oxygen_percent, AIR_OXYGEN_PERCENT) / 100


def oxygen_exposure(day: Sequence[Breathed], rules: RuleBook, *, whole_day_known: bool) -> OxygenExposure:
    """Return what the pieces of a diver's last 24 hours add up to, with a check against each of the two limits.

    whole_day_known -- whether these are all of the last 24 hours;  False gives a caution

    A partial pressure beyond the table gives a STOP and no share. Raises OutOfRange for a negative pressure or a time
    outside its interval.  Source: NOAA_OXYGEN.
    """
    parts = tuple(_part(breathed, rules) for breathed in day)
    checks: list[Check] = []
    beyond = [part for part in parts if part.single_share is None]
    checks.extend(
        Check(
            rule="oxygen-beyond-table",
            outcome=Outcome.STOP,
            sentence=part.sentence,
            source="NOAA_OXYGEN",
            found=round(part.breathed.oxygen_bar, 2),
            limit=highest_oxygen_bar(),
            unit="bar",
            subject=part.breathed.name,
        )
        for part in beyond
    )
    if not whole_day_known:
        words = "What this diver breathed earlier in these 24 hours is not known; the shares of oxygen may be too low."
        checks.append(Check("oxygen-day-unknown", Outcome.CAUTION, words, "NOAA_OXYGEN"))
    if beyond:
        return OxygenExposure(None, None, parts, tuple(checks))
    single = sum(part.single_share or 0.0 for part in parts)
    daily = sum(part.daily_share or 0.0 for part in parts)
    checks.append(_check_share("oxygen-single-exposure", "a single exposure, all dives taken as one", single, rules))
    checks.append(_check_share("oxygen-day", "24 hours", daily, rules))
    return OxygenExposure(single, daily, parts, tuple(checks))


def _part(breathed: Breathed, rules: RuleBook) -> OxygenPart:
    name = breathed.name or "a dive"
    require(f"partial pressure of oxygen on {name}", breathed.oxygen_bar, 0, math.inf, "bar")
    require(f"minutes on {name}", breathed.minutes, 0, LONGEST_MIN, "min")
    what = f"{name[:1].upper()}{name[1:]}: {breathed.minutes:g} min at {breathed.oxygen_bar:.2f} bar of oxygen"
    try:
        row = _row(breathed.oxygen_bar, rules)
    except OutOfRange:
        words = f"{what}, beyond the {highest_oxygen_bar():g} bar at which the table ends: no time is allowed there."
        return OxygenPart(breathed, None, None, words)
    if row is None:
        words = f"{what}; up to {rules.value('exposure.counts_from_bar'):g} bar it does not count."
        return OxygenPart(breathed, 0.0, 0.0, words)
    printed_bar, single_min, daily_min = row
    single, daily = breathed.minutes / single_min, breathed.minutes / daily_min
    words = (
        f"{what}, counted as {printed_bar:.1f} bar: {_percent(single)} % of {single_min} min for a single exposure, "
        f"{_percent(daily)} % of {daily_min} min in 24 hours."
    )
    return OxygenPart(breathed, single, daily, words)


def _percent(share: float) -> int:
    return math.ceil(share * 100 - 1e-6)


def _check_share(rule: str, of_what: str, share: float, rules: RuleBook) -> Check:
    caution, stop = rules.value("exposure.caution_share"), rules.value("exposure.stop_share")
    outcome = Outcome.OK
    if share >= min(caution, stop) - NOISE:
        outcome = Outcome.STOP if share >= stop - NOISE else Outcome.CAUTION
    return Check(
        rule=rule,
        outcome=outcome,
        sentence=(
            f"Oxygen of the day: {_percent(share)} % of the limit for {of_what}; a caution from {caution:.0%}, a stop "
            f"from {stop:.0%}. Nothing is credited for the time between dives."
        ),
        source="NOAA_OXYGEN",
        found=float(_percent(share)),
        limit=round(stop * 100, 6),
        unit="percent",
    )


# ---- density ----


def gas_density_g_l(depth_m: float, surroundings: Surroundings, oxygen_percent: float = AIR_OXYGEN_PERCENT) -> float:
    """Return the density of the breathed gas at a depth, grams a litre, of an ideal gas at 0 degrees C.

    depth_m -- 0 to 100;  oxygen_percent -- 20.9 to 40

    Warmer gas is thinner, by 7 % at 20 degrees C. Raises OutOfRange.  Source: PHYSICS.
    """
    require("depth", depth_m, 0, DEEPEST_M, "m")
    require_oxygen(oxygen_percent)
    pressure_bar = ambient_pressure_bar(depth_m, surroundings.surface_pressure_bar, surroundings.density_kg_m3)
    oxygen = oxygen_percent / 100
    return pressure_bar * (oxygen * OXYGEN_G_MOL + (1 - oxygen) * REST_G_MOL) / L_MOL_AT_1_BAR


def check_gas_density(
    depth_m: float, surroundings: Surroundings, rules: RuleBook, oxygen_percent: float = AIR_OXYGEN_PERCENT
) -> Check:
    """Judge the density of the breathed gas at a depth.  Raises OutOfRange as gas_density_g_l."""
    density = gas_density_g_l(depth_m, surroundings, oxygen_percent)
    caution, stop = rules["exposure.density_caution_g_l"], rules["exposure.density_stop_g_l"]
    outcome, limit = Outcome.OK, caution
    if density > min(caution.value, stop.value) + NOISE:
        over = density > stop.value + NOISE
        outcome, limit = (Outcome.STOP, stop) if over else (Outcome.CAUTION, caution)
    return Check(
        rule="gas-density",
        outcome=outcome,
        sentence=(
            f"At {depth_m:g} m the gas weighs {math.ceil(density * 10 - NOISE) / 10:.1f} g/l: a caution above "
            f"{caution.value:g}, a stop above {stop.value:g}. Dense gas keeps carbon dioxide in the body."
        ),
        source=limit.source,
        found=round(density, 2),
        limit=limit.value,
        unit="g/l",
    )
