"""Greatest depths and equivalent depths of enriched air against published figures."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published_tables import published

from tripplan.errors import OutOfRange
from tripplan.physics.handbook import row_for
from tripplan.physics.oxygen import equivalent_air_depth_fsw, max_operating_depth_m
from tripplan.physics.pressure import ambient_pressure_bar
from tripplan.units import BAR_PER_ATMOSPHERE, metres

ATA = BAR_PER_ATMOSPHERE
TABLE_10_1 = [
    (float(row["fo2"]) * 100, int(found[1]), int(row["value"]))
    for row in published("handbook/nitrox_depths.csv")
    if (found := re.match(r"EAD for table use at (\d+) fsw", row["quantity"]))
]


# NOAA and formula pages (verified): 32 % to 1.4 ata is 111.4 fsw, printed 111; 36 % is 95.3 fsw (computed);
# 130 and 110 fsw are the same mixes at 1.6 ata, rounded down from 132.0 and 113.7.
@pytest.mark.parametrize(
    "percent, limit_ata, exact_fsw", [(32, 1.4, 111.4), (36, 1.4, 95.3), (32, 1.6, 132.0), (36, 1.6, 113.7)]
)
def test_the_greatest_depth_agrees_with_the_published_one_and_is_rounded_down(percent, limit_ata, exact_fsw):
    found_m = max_operating_depth_m(percent, limit_ata * ATA, ATA, 1027.2)
    assert metres(exact_fsw + 0.06) >= found_m > metres(exact_fsw - 0.06) - 0.1
    assert round(found_m, 1) == found_m


# Common practice: air reaches 1.4 bar of oxygen at about 56 m (10 m to the bar), 32 % at about 33 m, 40 % at 25 m.
@pytest.mark.parametrize("percent, depth_m", [(21, 56.6), (32, 33.7), (36, 28.8), (40, 25.0)])
def test_the_greatest_depths_divers_learn_by_heart(percent, depth_m):
    assert max_operating_depth_m(percent, 1.4, 1.0, 1019.716) == pytest.approx(depth_m, abs=0.11)


@given(st.floats(20.9, 40), st.floats(0.6, 1.08), st.floats(990, 1040))
def test_at_the_greatest_depth_the_oxygen_is_within_the_limit_and_just_below_it_is_not(percent, surface_bar, density):
    depth_m = max_operating_depth_m(percent, 1.4, surface_bar, density)
    assert ambient_pressure_bar(depth_m, surface_bar, density) * percent / 100 <= 1.4 + 1e-9
    assert ambient_pressure_bar(depth_m + 0.101, surface_bar, density) * percent / 100 > 1.4


def test_a_limit_reached_at_the_surface_leaves_no_depth():
    assert max_operating_depth_m(21, 0.2, 1.01325, 1025) == 0.0


# US Navy Rev 7 Table 10-1, columns of 32 and 36 % (verified in one public transcription).
@pytest.mark.parametrize("percent, depth_fsw, table_depth_fsw", TABLE_10_1)
def test_each_printed_cell_is_reached_and_never_undercut(percent, depth_fsw, table_depth_fsw):
    found_fsw = equivalent_air_depth_fsw(depth_fsw, percent)
    assert found_fsw >= table_depth_fsw
    assert row_for(found_fsw).depth_fsw == table_depth_fsw


def test_the_whole_of_the_printed_columns_was_tested():
    assert len(TABLE_10_1) == 12 + 10


# Formula pages and manuals (verified): 32 % at 63 fsw is 49.63 fsw, at 100 fsw 81.48; 36 % at 27 m is 19.97 m.
# Ours allows half a percentage point of analysis error, 0.0063 of the absolute depth, and rounds up.
@pytest.mark.parametrize("percent, depth_fsw, plain_fsw", [(32, 63, 49.63), (32, 100, 81.48), (36, 88.6, 65.5)])
def test_the_equivalent_depth_is_a_little_deeper_than_the_plain_formula(percent, depth_fsw, plain_fsw):
    found_fsw = equivalent_air_depth_fsw(depth_fsw, percent)
    assert found_fsw >= plain_fsw + 0.0063 * (depth_fsw + 33)
    assert found_fsw <= plain_fsw + 11  # the printed columns have steps of ten feet, and we round up to a foot


# US Navy manual chapter 10 (verified): 32 % at 63 fsw holds 2.0 ata of nitrogen, as air at 50 fsw, on the 50 fsw row.
def test_the_manuals_example_of_32_percent_at_63_feet_is_not_undercut():
    assert row_for(equivalent_air_depth_fsw(63, 32)).depth_fsw >= 50


@pytest.mark.parametrize("percent", [20.9, 21])
@pytest.mark.parametrize("depth_fsw", [10, 33, 60, 190])
def test_air_keeps_its_depth_however_it_is_written(percent, depth_fsw):
    assert equivalent_air_depth_fsw(depth_fsw, percent) == depth_fsw


@given(st.floats(0, 190), st.floats(0, 190), st.floats(20.9, 40), st.floats(20.9, 40))
def test_deeper_or_leaner_never_counts_as_shallower(depth_a, depth_b, percent_a, percent_b):
    shallow, deep = sorted((depth_a, depth_b))
    lean, rich = sorted((percent_a, percent_b))
    assert equivalent_air_depth_fsw(shallow, rich) <= equivalent_air_depth_fsw(deep, lean) <= math.ceil(deep)


@pytest.mark.parametrize("percent", [0.32, 20.8, 40.1, 100, math.nan])
def test_a_gas_that_is_neither_air_nor_enriched_air_to_40_percent_is_refused(percent):
    with pytest.raises(OutOfRange, match=r"from 20\.9 to 40"):
        max_operating_depth_m(percent, 1.4, 1.0, 1025)
    with pytest.raises(OutOfRange):
        equivalent_air_depth_fsw(60, percent)
