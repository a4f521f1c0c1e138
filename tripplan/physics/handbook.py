"""The handbook's method: US Navy Rev 7 air tables in their own units, feet of sea water and whole minutes.

A depth between rows takes the next deeper row, a time between columns the next longer one.
Sources: NAVY_7, NAVY_RULES.

Readings chosen where the manual leaves a choice, each against the diver:
- the coarse rows of Tables 9-7 and 9-8 are used throughout; the single-foot rows of Tables 2A-1 and 2A-2 (30 to 50 fsw)
  are read and available, but no plan uses them;
- the exception that shortens residual nitrogen time for a repetitive dive to the same or a greater depth is not used;
- an interval shorter than the table's shortest joins two dives into one, and the dives are also worked as two without
  any credit: whichever is stricter holds;
- a group after a dive is never lower than the same minutes would give on a shallower row;
- at altitude the older printed equivalent depth holds where it is deeper than the formula on its own merits, and
  neither more depth nor more altitude ever gives a shallower equivalent depth.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from tripplan.errors import OutOfRange
from tripplan.physics.atmosphere import pressure_altitude_m
from tripplan.rulebook import RuleBook
from tripplan.tables import read_table
from tripplan.units import feet, metres

GROUPS = "ABCDEFGHIJKLMNOZ"
TABLE_SEA_DENSITY_KG_M3 = 1027.2  # NAVY_RULES: 33 feet of sea water to the atmosphere
NOISE = 1e-6  # feet and minutes: 18.288 m is 60 fsw, whatever floating point makes of it


@dataclass(frozen=True)
class DepthRow:
    """One row of the no-stop table."""

    depth_fsw: int
    limit_min: int | None  # None: no limit
    columns: tuple[tuple[str, int], ...]  # group, and the longest time that ends in it
    highest_group: str

    def group(self, minutes: float) -> str | None:
        """Return the group after a time; None beyond the limit. Without a limit the highest group ends the row."""
        whole = math.ceil(minutes - NOISE)
        if self.limit_min is not None and whole > self.limit_min:
            return None
        return next((group for group, longest in self.columns if whole <= longest), self.highest_group)


@dataclass(frozen=True)
class Residual:
    """Residual nitrogen on a row: the minutes, and the row that the dive is then worked on."""

    minutes: int | None  # None: the printed table gives no time
    row: DepthRow


# ---- the printed tables ----


@cache
def depth_rows(shallow_tables: bool = False) -> tuple[DepthRow, ...]:
    """Return the rows of Table 9-7, shallowest first, with those of Table 2A-1 between where asked for."""
    names = ["navy_rev7_no_stop_limits"] + (["navy_rev7_shallow_no_stop_limits"] if shallow_tables else [])
    rows = {}
    for name in names:
        for line in read_table(name):
            depth = int(line["depth_fsw"])
            columns = tuple((g, int(line[f"max_min_{g}"])) for g in GROUPS if line[f"max_min_{g}"])
            limit = int(line["no_stop_limit_min"]) if line["no_stop_limit_min"] else None
            rows[depth] = DepthRow(depth, limit, columns, line["highest_group"])
    return tuple(rows[depth] for depth in sorted(rows))


@cache
def _row_depths(shallow_tables: bool) -> tuple[int, ...]:
    return tuple(row.depth_fsw for row in depth_rows(shallow_tables))


def deepest_fsw() -> int:
    """Return the depth of the last row of Table 9-7."""
    return depth_rows()[-1].depth_fsw


def row_for(depth_fsw: float, shallow_tables: bool = False) -> DepthRow:
    """Return the next deeper row, or that of the depth itself.  Raises OutOfRange beyond the last row."""
    if not 0 <= depth_fsw <= deepest_fsw() + NOISE:
        raise OutOfRange(
            f"depth is {depth_fsw:.4g} fsw; it must be from 0 to {deepest_fsw()} fsw "
            f"({metres(deepest_fsw()):.1f} m of sea water: the handbook's no-stop table ends there)"
        )
    return depth_rows(shallow_tables)[bisect.bisect_left(_row_depths(shallow_tables), depth_fsw - NOISE)]


@cache
def _residual_cells(shallow_tables: bool) -> dict[tuple[str, int], int | str]:
    names = ["navy_rev7_residual_nitrogen"] + (["navy_rev7_shallow_residual_nitrogen"] if shallow_tables else [])
    return {
        (line["group"], int(line["depth_fsw"])): int(line["residual_min"]) if line["residual_min"] else line["flag"]
        for name in names
        for line in read_table(name)
    }


def residual_nitrogen(group: str | None, row: DepthRow, shallow_tables: bool = False) -> Residual:
    """Return the residual nitrogen time of a group on a row; no group: none.

    Where the table sends the reader to the 30 fsw row, that row is returned; where it gives no time, minutes is None.
    """
    if group is None:
        return Residual(0, row)
    cell = _residual_cells(shallow_tables)[group, row.depth_fsw]
    if cell == "use_30_fsw_row":
        return residual_nitrogen(group, row_for(30, shallow_tables), shallow_tables)
    return Residual(cell if isinstance(cell, int) else None, row)


@cache
def _intervals() -> dict[str, tuple[tuple[int, str | None], ...]]:
    """Return, by group, the first minute of each cell of the surface interval table and the group it gives."""
    cells: dict[str, tuple[tuple[int, str | None], ...]] = {}
    for line in read_table("navy_rev7_surface_intervals"):
        cell = (int(line["first_min"]), line["new_group"] or None)
        cells[line["group"]] = (*cells.get(line["group"], ()), cell)
    return {group: tuple(sorted(found, key=lambda cell: cell[0])) for group, found in cells.items()}


@cache
def shortest_interval_min() -> int:
    """Return the shortest surface interval of the table; a shorter one gives no credit."""
    return min(cells[0][0] for cells in _intervals().values())


def group_after_interval(group: str | None, minutes: float) -> str | None:
    """Return the group after a surface interval, minutes rounded down; None: no longer repetitive.

    Shorter than the table's shortest interval: no credit, the group stays.
    """
    if group is None:
        return None
    whole = math.floor(minutes + NOISE) if math.isfinite(minutes) else 10**9
    found: str | None = group
    for first, new_group in _intervals()[group]:
        if whole >= first:
            found = new_group
    return found


# ---- altitude ----


@cache
def _equivalents() -> tuple[tuple[int, ...], tuple[int, ...], dict[tuple[int, int], int | None]]:
    """Return the depths, the altitudes, and the table depth of each pair; None: beyond the last row."""
    beyond = 10**6
    raw: dict[tuple[int, int], int] = {}
    for line in read_table("navy_sea_level_equivalent_depth_computed"):
        key = (int(line["actual_depth_fsw"]), int(line["altitude_ft"]))
        raw[key] = int(line["table_depth_fsw"]) if line["table_depth_fsw"] else beyond
        if line["note"].startswith("old printed value differs from formula"):
            raw[key] = max(raw[key], int(line["older_printed_fsw"]))
    depths = tuple(sorted({depth for depth, _ in raw}))
    altitudes = tuple(sorted({altitude for _, altitude in raw}))
    for i, depth in enumerate(depths):
        for j, altitude in enumerate(altitudes):
            before = [raw[depths[i - 1], altitude]] if i else []
            lower = [raw[depth, altitudes[j - 1]]] if j else []
            raw[depth, altitude] = max(raw[depth, altitude], *before, *lower, 0)
    return depths, altitudes, {key: None if value >= beyond else value for key, value in raw.items()}


def sea_level_equivalent_fsw(depth_fsw: float, altitude_ft: float) -> int:
    """Return the sea-level table depth that a depth at an altitude counts as, fsw; both rounded up to the steps.

    depth_fsw -- from 0;  altitude_ft -- above 0, to 10,000

    Raises OutOfRange beyond the table, or where the equivalent depth is deeper than the last row of Table 9-7.
    """
    depths, altitudes, cells = _equivalents()
    altitude = next((step for step in altitudes if altitude_ft <= step + NOISE), None)
    if altitude is None:
        raise OutOfRange(
            f"altitude is {altitude_ft:,.0f} ft; it must be at most {altitudes[-1]:,} ft "
            f"({metres(altitudes[-1]):.0f} m: the handbook's altitude tables end there)"
        )
    depth = next((step for step in depths if depth_fsw <= step + NOISE), None)
    found = None if depth is None else cells[depth, altitude]
    if found is None:
        deepest = max((step for step in depths if cells[step, altitude] is not None), default=0)
        raise OutOfRange(
            f"depth is {depth_fsw:.4g} fsw at {altitude:,} ft, which counts as more than {deepest_fsw()} fsw at "
            f"sea level; it must be at most {deepest} fsw ({metres(deepest):.1f} m) there (where the table ends)"
        )
    return found


@cache
def _arrival_groups() -> tuple[tuple[int, str], ...]:
    rows = read_table("navy_rev7_altitude_arrival_groups")
    return tuple(sorted((int(row["altitude_ft"]), row["group"]) for row in rows))


def arrival_group(increase_ft: float) -> str | None:
    """Return the group of somebody who has just come up by some feet, rounded up to the next 1000; None for no climb.

    Raises OutOfRange above 10,000 ft.
    """
    if increase_ft <= 0:
        return None
    for step, group in _arrival_groups():
        if increase_ft <= step + NOISE:
            return group
    highest = _arrival_groups()[-1][0]
    raise OutOfRange(f"the climb is {increase_ft:,.0f} ft; it must be at most {highest:,} ft (the table ends there)")


@cache
def _waits() -> dict[tuple[str, int], int]:
    rows = read_table("navy_rev7_ascent_to_altitude_waits")
    return {(row["group"], int(row["altitude_increase_ft"])): int(row["wait_min"]) for row in rows}


def wait_before_altitude_min(highest_group: str | None, increase_ft: float) -> int:
    """Return the surface interval required before going up by some feet, minutes.  Source: NAVY_7, Table 9-6.

    highest_group -- the highest of the last 24 hours, not only after the last dive; None: no dive
    increase_ft   -- rounded up to the next 1000; a pressurised cabin counts as its cabin altitude

    Raises OutOfRange above 10,000 ft.
    """
    if highest_group is None or increase_ft <= 0:
        return 0
    steps = sorted({step for _, step in _waits()})
    step = next((step for step in steps if increase_ft <= step + NOISE), None)
    if step is None:
        raise OutOfRange(
            f"the climb is {increase_ft:,.0f} ft; it must be at most {steps[-1]:,} ft (the table ends there)"
        )
    return _waits()[highest_group, step]


def handbook_altitude_m(altitude_m: float, measured_pressure_bar: float | None, rules: RuleBook) -> float:
    """Return the altitude that the handbook is entered with, metres.

    The higher of the site's own and that of a measured pressure; the weather does not make a lake of the sea shore, so
    a site up to the uncorrected altitude keeps its own.
    """
    if measured_pressure_bar is None or altitude_m <= rules.value("altitude.uncorrected_below_m"):
        return altitude_m
    return max(altitude_m, pressure_altitude_m(measured_pressure_bar))


def altitude_corrected(altitude_m: float, depth_m: float, rules: RuleBook) -> bool:
    """Return whether a dive to a depth at a handbook altitude is corrected for altitude."""
    if altitude_m <= rules.value("altitude.uncorrected_below_m"):
        return False
    return altitude_m >= rules.value("altitude.corrected_from_m") or depth_m > rules.value(
        "altitude.uncorrected_to_depth_m"
    )


def depth_in_fsw(depth_m: float, density_kg_m3: float, water: str) -> float:
    """Return a depth as the tables count it, feet of sea water.

    water -- "sea": never lighter than the tables' own;  "brackish" or "fresh": as heavy as it is

    >>> depth_in_fsw(18.288, 1025, "sea")
    60.0
    """
    share = density_kg_m3 / TABLE_SEA_DENSITY_KG_M3
    depth_fsw = feet(depth_m) * (max(share, 1.0) if water == "sea" else share)
    nearest = round(depth_fsw)
    return float(nearest) if abs(depth_fsw - nearest) < NOISE else depth_fsw


# ---- a chain of dives ----


@dataclass(frozen=True)
class Leg:
    """One dive of a chain, already in table depths."""

    row_fsw: int
    minutes: int  # bottom time, whole minutes


@dataclass(frozen=True)
class Broken:
    """Why a chain cannot be followed further: at which of its dives, and what to tell."""

    leg: int
    kind: str  # "over-limit" or "not-determinable"
    because: str


@dataclass(frozen=True)
class Chain:
    """What the dives so far leave for the next: a group for each dive with which an unbroken run may have begun.

    A short interval keeps the run that began before it open beside the one that begins after it.
    """

    openings: tuple[tuple[int, str | None], ...]  # index of the first dive of a run, worst group before it
    legs: tuple[Leg, ...]
    broken: Broken | None = None

    @property
    def group(self) -> str | None:
        """The group before the next dive."""
        return self.openings[-1][1]

    def run(self, first: int) -> tuple[int, int]:
        """Return the deepest row and the minutes of the dives from ``first`` on; 0, 0 where there are none."""
        legs = self.legs[first:]
        return max((leg.row_fsw for leg in legs), default=0), sum(leg.minutes for leg in legs)


@dataclass(frozen=True)
class Limit:
    """The no-stop time of the next dive of a chain."""

    minutes: int | None  # None: no limit
    row_fsw: int
    residual_min: int | None
    broken: Broken | None = None


def worst_group(groups: Sequence[str | None]) -> str | None:
    """Return the group with the most nitrogen."""
    return max(groups, key=_index, default=None)


def add_groups(group: str | None, other: str | None) -> str | None:
    """Return the group of two loads together: their steps added, Z at most.

    The manual prints no such sum; the groups are even steps (a diver clears one in 52 to 53 min beyond C).
    """
    steps = min(_index(group) + _index(other), len(GROUPS))
    return GROUPS[steps - 1] if steps else None


def _index(group: str | None) -> int:
    return 0 if group is None else GROUPS.index(group) + 1


def group_after(group: str | None, row: DepthRow, minutes: int) -> str | Broken:
    """Return the group after a dive of some minutes on a row, begun in a group, or why there is none."""
    found: list[str] = []
    for candidate in depth_rows():
        if candidate.depth_fsw > row.depth_fsw:
            break
        residual = residual_nitrogen(group, candidate)
        own = candidate.depth_fsw == row.depth_fsw
        if residual.minutes is None:
            if own:
                return Broken(-1, "not-determinable", _not_determinable(group, row))
            continue
        after = residual.row.group(residual.minutes + minutes)
        if after is not None:
            found.append(after)
        elif own:
            residual_words = f" and {residual.minutes} min of residual nitrogen" if residual.minutes else ""
            return Broken(
                -1,
                "over-limit",
                f"{minutes} min{residual_words} is more than the no-stop limit of {residual.row.limit_min} min on the "
                f"{residual.row.depth_fsw} fsw row",
            )
    return worst_group(found) or row.highest_group


def _not_determinable(group: str | None, row: DepthRow) -> str:
    deeper = next(
        other
        for other in depth_rows()
        if other.depth_fsw > row.depth_fsw and residual_nitrogen(group, other).minutes is not None
    )
    return (
        f"the handbook gives no residual nitrogen time for group {group} on the {row.depth_fsw} fsw row; plan it as a "
        f"dive to {metres(deeper.depth_fsw):.1f} m of sea water ({deeper.depth_fsw} fsw), the next row that has one"
    )


def start_chain(group: str | None) -> Chain:
    """Return an empty chain: the group before the first dive."""
    return Chain(((0, group),), ())


def dive(
    chain: Chain,
    leg: Leg,
    next_interval_min: int,
    climb_group: str | None = None,
    least_group: str | None = None,
) -> Chain:
    """Return the chain after one more dive and the interval that follows it.

    climb_group -- group that a climb in that interval adds before the next dive
    least_group -- lowest group that the next dive may start in, for what arrival at altitude has left
    """
    legs = (*chain.legs, leg)
    grown = Chain(chain.openings, legs, chain.broken)
    if chain.broken is not None:
        return grown
    after: list[str | None] = []
    for first, before in chain.openings:
        deepest_fsw_of_run, minutes = grown.run(first)
        found = group_after(before, row_for(deepest_fsw_of_run), minutes)
        if isinstance(found, Broken):
            joined = "" if first == len(legs) - 1 else "joined to the dive before it (interval too short to count), "
            return Chain(chain.openings, legs, Broken(len(legs) - 1, found.kind, joined + found.because))
        after.append(found)
    left = add_groups(group_after_interval(worst_group(after), next_interval_min), climb_group)
    left = worst_group([left, least_group])
    kept = chain.openings if next_interval_min < shortest_interval_min() else ()
    return Chain((*kept, (len(legs), left)), legs)


def limit(chain: Chain, row_fsw: int) -> Limit:
    """Return the no-stop time of the next dive, on a row: the strictest of all readings of the chain."""
    own = residual_nitrogen(chain.group, row_for(row_fsw))
    if chain.broken is not None:
        return Limit(0, row_fsw, None, chain.broken)
    shortest: int | None = None
    for first, before in chain.openings:
        deepest, spent = chain.run(first)
        residual = residual_nitrogen(before, row_for(max(deepest, row_fsw)))
        if residual.minutes is None:
            because = _not_determinable(before, residual.row)
            return Limit(0, row_fsw, None, Broken(len(chain.legs), "not-determinable", because))
        if residual.row.limit_min is not None:
            minutes = max(residual.row.limit_min - residual.minutes - spent, 0)
            shortest = minutes if shortest is None else min(shortest, minutes)
    return Limit(shortest, own.row.depth_fsw, own.minutes if chain.group else None)


def after_next(chain: Chain, row_fsw: int, minutes: int) -> str | Broken:
    """Return the group after the next dive of a chain, or why there is none."""
    ended = dive(chain, Leg(row_fsw, minutes), 0)
    if ended.broken is not None:
        return ended.broken
    return ended.group or GROUPS[0]
