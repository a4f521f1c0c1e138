"""What the oxygen in the gas does: how deep it may go, and what the nitrogen beside it counts as."""

from __future__ import annotations

import math
from functools import cache

from tripplan.errors import require
from tripplan.physics.pressure import depth_at_pressure_m
from tripplan.tables import read_table

LEAST_OXYGEN_PERCENT, MOST_OXYGEN_PERCENT = 20.9, 40.0  # air, written 20.9 or 21, to the richest gas planned
AIR_OXYGEN_PERCENT = 21.0
AIR_NITROGEN_FRACTION = 0.79  # NAVY_7: everything in air that is not oxygen
ANALYSIS_ERROR_PERCENT = 0.5  # NAVY_7, note to Table 10-1
SEA_LEVEL_FSW = 33.0  # NAVY_7: feet of sea water to one atmosphere
NOISE = 1e-9  # floating point only: far below anything measured


def require_oxygen(oxygen_percent: float) -> None:
    """Refuse a gas that is neither air nor enriched air to 40 %; raises OutOfRange."""
    require("oxygen", oxygen_percent, LEAST_OXYGEN_PERCENT, MOST_OXYGEN_PERCENT, "%", "air, or enriched air to 40 %")


def nitrogen_fraction(oxygen_percent: float) -> float:
    """Return the nitrogen in a gas, 0 to 1: all that is not oxygen.  Raises OutOfRange outside 20.9 to 40 %."""
    require_oxygen(oxygen_percent)
    return 1 - oxygen_percent / 100


def max_operating_depth_m(
    oxygen_percent: float, limit_bar: float, surface_pressure_bar: float, density_kg_m3: float
) -> float:
    """Return the deepest depth at which the oxygen stays within a limit, metres, rounded down to 0.1 m.

    oxygen_percent       -- 20.9 to 40
    limit_bar            -- highest partial pressure of oxygen, bar
    surface_pressure_bar -- air pressure at the site, bar absolute;  density_kg_m3 -- of the water

    0.0 where the limit is reached at the surface already. Raises OutOfRange.  Source: PHYSICS (Dalton's law).
    """
    require_oxygen(oxygen_percent)
    require("oxygen limit", limit_bar, 0, 2, "bar")
    deepest_m = depth_at_pressure_m(limit_bar * 100 / oxygen_percent, surface_pressure_bar, density_kg_m3)
    return max(math.floor(deepest_m * 10 + NOISE) / 10, 0.0)


def equivalent_air_depth_fsw(depth_fsw: float, oxygen_percent: float) -> int:
    """Return the sea-level depth at which air has as much nitrogen as a gas has at a depth, fsw, rounded up to a foot.

    depth_fsw      -- sea-level depth, feet of sea water, from 0
    oxygen_percent -- 20.9 to 40;  air (to 21 %) keeps its depth

    Reckoned with half a percentage point less oxygen than analysed, and never shallower than the printed columns: that
    of 32 % for gases to 32 %, that of 36 % for gases to 36 %, so that a leaner gas is never easier than a richer one.
    Raises OutOfRange.  Source: NAVY_7, Table 10-1 and its note.
    """
    require_oxygen(oxygen_percent)
    require("depth", depth_fsw, 0, 1000, "fsw")
    own_fsw = math.ceil(depth_fsw - NOISE)
    if oxygen_percent <= AIR_OXYGEN_PERCENT:
        return own_fsw
    nitrogen = 1 - (oxygen_percent - ANALYSIS_ERROR_PERCENT) / 100
    formula_fsw = (depth_fsw + SEA_LEVEL_FSW) * nitrogen / AIR_NITROGEN_FRACTION - SEA_LEVEL_FSW
    least_fsw = max(
        (_printed_fsw(column, depth_fsw) for column in _columns() if oxygen_percent <= column + NOISE), default=0
    )
    return min(own_fsw, max(math.ceil(formula_fsw - NOISE), least_fsw, 0))


@cache
def _columns() -> dict[int, tuple[tuple[int, int], ...]]:
    """Return the printed columns: pairs of depth and air table depth, fsw, by percentage of oxygen."""
    columns: dict[int, tuple[tuple[int, int], ...]] = {}
    for row in read_table("navy_rev7_nitrox_equivalent_air_depth"):
        pair = (int(row["depth_fsw"]), int(row["air_table_depth_fsw"]))
        percent = int(row["oxygen_percent"])
        columns[percent] = (*columns.get(percent, ()), pair)
    return columns


def _printed_fsw(column: int, depth_fsw: float) -> int:
    """Return the printed cell of the next deeper row; beyond the last row the last one, as a floor."""
    pairs = _columns()[column]
    return next((printed for depth, printed in pairs if depth >= depth_fsw - NOISE), pairs[-1][1])
