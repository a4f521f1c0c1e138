"""The navigator's rule of twelfths against harmonic constants: near enough for a semidiurnal tide, not for others.

The rule (common practice): from low to high water or back, in each sixth of the time the sea rises or falls by 1, 2,
3, 3, 2 and 1 twelfths of the range: 1, 3, 6, 9, 11 and 12 twelfths in all. No plan goes by it; here it only checks that
the engine's curve is that of a tide.
"""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tripplan.environment.tide import Constituent, HarmonicTide

PUBLISHED = Path(__file__).parents[1] / "published" / "tides"
TWELFTHS = np.array([1, 3, 6, 9, 11, 12])


def station(number: str) -> HarmonicTide:
    data = tomllib.loads((PUBLISHED / f"noaa_{number}.toml").read_text(encoding="utf-8"))
    return HarmonicTide(data["mean_level_m"], tuple(Constituent(name, *p) for name, p in data["constituents"].items()))


def twelfths_of_the_year(tide: HarmonicTide) -> np.ndarray:
    """Return, for each rise and fall of 2027, the part of the range gone after each sixth of its time, in twelfths."""
    turns = tide.turning_points(datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC))
    found = []
    for one, two in pairwise(turns):
        begin, end = (np.datetime64(turn.time.replace(tzinfo=None), "us") for turn in (one, two))
        heights = tide.heights_m(begin + (end - begin) * np.arange(1, 7) / 6)
        found.append(12 * (heights - one.height_m) / (two.height_m - one.height_m))
    return np.array(found)


# NOAA CO-OPS constants of Boston and Eastport (public domain), both semidiurnal.
@pytest.mark.parametrize("number", ["8443970", "8410140"])
def test_at_a_semidiurnal_station_the_rule_of_twelfths_holds_within_a_twelfth_of_the_range(number):
    found = twelfths_of_the_year(station(number))
    assert len(found) > 1400
    assert np.abs(found - TWELFTHS).max() < 1.0
    assert np.abs(found.mean(axis=0) - TWELFTHS).max() < 0.4


def test_at_a_diurnal_station_the_rule_of_twelfths_fails():
    """NOAA CO-OPS constants of Pensacola (public domain): a diurnal tide, with a second small tide on some days."""
    found = twelfths_of_the_year(station("8729840"))
    assert len(found) < 800  # a semidiurnal tide rises and falls some 1,410 times
    assert np.abs(found - TWELFTHS).max() > 4.0
    assert (np.abs(found - TWELFTHS).max(axis=1) > 1.0).mean() > 0.2
