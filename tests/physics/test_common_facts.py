"""Facts of the trade, each common practice, and that the two ways to a no-stop time move the same way with altitude."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from tripplan.physics.no_stop import Surroundings, no_stop_limits
from tripplan.rulebook import baseline

RULES = baseline()


def test_a_first_stage_works_at_about_10_bar_above_ambient_so_less_is_never_counted_on():
    """Common practice: a first stage gives about 10 bar above ambient; below that a diver draws on nothing."""
    assert RULES.value("gas.shared_surface_with_bar") >= 10
    assert RULES.value("gas.surface_with_bar") >= 50


@pytest.mark.parametrize("depth_m", [10, 12, 15, 18, 20, 24, 30])
def test_model_and_handbook_agree_that_altitude_shortens_the_dive(depth_m):
    """Altitudes at which the handbook prints a column: 0, 2000, 4000, 6000, 8000, 10000 ft; settled divers."""

    def times(altitude_m: float) -> tuple[float, float]:
        found = no_stop_limits(
            depth_m, Surroundings(altitude_m, 1000.0, "fresh"), [], RULES, hours_since_arrival_h=math.inf
        )
        pair = (found.handbook_no_stop_min, found.model_no_stop_min)
        return tuple(math.inf if minutes is None else float(minutes) for minutes in pair)  # type: ignore[return-value]

    told = [times(feet * 0.3048) for feet in (0, 2000, 4000, 6000, 8000, 10000)]
    for lower, higher in pairwise(told):
        assert higher[0] <= lower[0] and higher[1] <= lower[1]
    assert told[-1][0] < told[0][0] and told[-1][1] < told[0][1]
