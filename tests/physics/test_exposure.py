"""Oxygen times: every printed cell with its provenance, sums reckoned by hand; density of the gas by its own formula.

NOAA Diving Manual, limits for normal oxygen exposures: 5 single and 3 daily values verified in secondary copies, the
others from memory, each marked in the check table.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published_tables import published

from tripplan.check import Outcome
from tripplan.errors import OutOfRange
from tripplan.physics.exposure import (
    Breathed,
    check_gas_density,
    daily_limit_min,
    gas_density_g_l,
    highest_oxygen_bar,
    oxygen_exposure,
    oxygen_pressure_bar,
    single_limit_min,
)
from tripplan.physics.no_stop import Surroundings
from tripplan.rulebook import baseline
from tripplan.sources import SOURCES
from tripplan.tables import read_table

RULES = baseline()
SEA = Surroundings(0.0, 1025.0, "sea")
PRINTED = published("handbook/noaa_oxygen_exposure_limits.csv")


def check(found, rule):
    (one,) = [checked for checked in found.checks if checked.rule == rule]
    return one


# ---- the table ----


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: row["po2_ata"])
def test_each_printed_time_is_the_limit_at_its_pressure_and_down_to_the_next(row):
    pressure = float(row["po2_ata"])
    for oxygen_bar in (pressure, pressure - 0.09):
        assert single_limit_min(oxygen_bar, RULES) == int(row["single_exposure_min"])
        assert daily_limit_min(oxygen_bar, RULES) == int(row["total_24h_min"])
    if pressure < 1.6:
        assert single_limit_min(pressure + 0.001, RULES) <= int(row["single_exposure_min"])


def test_the_packaged_table_carries_the_provenance_of_each_cell():
    packaged = read_table("noaa_oxygen_exposure_limits")
    assert len(packaged) == len(PRINTED) == 11
    verified = 0
    for ours, theirs in zip(packaged, PRINTED, strict=True):
        for name, printed in (("single_provenance", "provenance_single"), ("daily_provenance", "provenance_24h")):
            assert ours[name] == ("from memory" if theirs[printed] == "from_memory" else "verified")
            assert theirs[printed] == "from_memory" or theirs[printed].startswith("verified: ")
            verified += ours[name] == "verified"
    assert verified == 8
    assert "8 of the 22" in SOURCES["NOAA_OXYGEN"].note


def test_up_to_half_a_bar_nothing_counts_and_from_there_the_first_row_holds():
    assert (single_limit_min(0.5, RULES), daily_limit_min(0.21, RULES)) == (None, None)
    assert (single_limit_min(0.501, RULES), daily_limit_min(0.501, RULES)) == (720, 720)


@pytest.mark.parametrize("oxygen_bar", [1.601, 2.0, -0.1, math.nan, math.inf])
def test_a_pressure_beyond_the_table_is_refused(oxygen_bar):
    for limit in (single_limit_min, daily_limit_min):
        with pytest.raises(OutOfRange, match=r"from 0 to 1\.6 bar \(the table ends there\)"):
            limit(oxygen_bar, RULES)


@given(st.floats(0, 1.6), st.floats(0, 1.6))
def test_a_higher_pressure_never_has_a_longer_limit(a_bar, b_bar):
    low, high = sorted((a_bar, b_bar))
    for limit in (single_limit_min, daily_limit_min):
        shorter, longer = (math.inf if m is None else m for m in (limit(high, RULES), limit(low, RULES)))
        assert shorter <= longer
    assert highest_oxygen_bar() == 1.6


# ---- the day ----


def test_shares_of_a_day_add_up_without_credit_for_the_hours_between():
    """By hand: 45 min at 1.4 is 30 % of 150 and 25 % of 180; 42 min at 1.15, so 1.2, is 20 % of 210, 17.5 % of 240."""
    found = oxygen_exposure(
        [Breathed(1.4, 45, "dive 1"), Breathed(1.15, 42, "dive 2"), Breathed(0.4, 300, "wade")],
        RULES,
        whole_day_known=True,
    )
    assert found.single_share == pytest.approx(0.30 + 0.20)
    assert found.daily_share == pytest.approx(0.25 + 0.175)
    assert [part.single_share for part in found.parts] == pytest.approx([0.30, 0.20, 0.0])
    assert "counted as 1.2 bar: 20 % of 210 min for a single exposure, 18 % of 240 min" in found.parts[1].sentence
    assert "does not count" in found.parts[2].sentence
    assert [checked.outcome for checked in found.checks] == [Outcome.OK, Outcome.OK]
    assert "Nothing is credited" in check(found, "oxygen-day").sentence
    assert found.as_json()["parts"][0]["single_share"] == pytest.approx(0.30)


@pytest.mark.parametrize(
    "minutes, outcome", [(119.9, Outcome.OK), (120, Outcome.CAUTION), (149, Outcome.CAUTION), (150, Outcome.STOP)]
)
def test_from_80_percent_it_is_a_caution_and_from_100_percent_a_stop(minutes, outcome):
    found = oxygen_exposure([Breathed(1.4, minutes)], RULES, whole_day_known=True)  # 150 min at 1.4
    assert check(found, "oxygen-single-exposure").outcome is outcome


def test_the_limit_for_24_hours_has_its_own_check():
    found = oxygen_exposure([Breathed(1.4, 90), Breathed(1.4, 90)], RULES, whole_day_known=True)  # 180 min at 1.4
    assert check(found, "oxygen-day").outcome is Outcome.STOP
    assert check(found, "oxygen-day").found == 100.0


def test_the_shares_come_from_the_rule_book():
    tight = {key: replace(RULES[key], value=value) for key, value in (("exposure.caution_share", 0.1),
                                                                       ("exposure.stop_share", 0.2))}  # fmt: skip
    rules = replace(RULES, rules={**RULES.rules, **tight})
    outcomes = [
        check(oxygen_exposure([Breathed(1.4, m)], rules, whole_day_known=True), "oxygen-single-exposure").outcome
        for m in (14, 15, 30)
    ]
    assert outcomes == [Outcome.OK, Outcome.CAUTION, Outcome.STOP]


def test_a_dive_beyond_1_6_bar_is_a_stop_without_a_share():
    found = oxygen_exposure([Breathed(1.0, 30, "dive 1"), Breathed(1.7, 5, "dive 2")], RULES, whole_day_known=True)
    assert (found.single_share, found.daily_share) == (None, None)
    beyond = check(found, "oxygen-beyond-table")
    assert (beyond.outcome, beyond.subject, beyond.limit) == (Outcome.STOP, "dive 2", 1.6)


def test_a_day_that_is_not_wholly_known_is_a_caution():
    found = oxygen_exposure([Breathed(1.4, 10)], RULES, whole_day_known=False)
    assert check(found, "oxygen-day-unknown").outcome is Outcome.CAUTION


@pytest.mark.parametrize("breathed", [Breathed(1.4, -1), Breathed(1.4, 1441), Breathed(-0.1, 1), Breathed(math.nan, 1)])
def test_a_piece_of_a_day_that_cannot_be_is_refused(breathed):
    with pytest.raises(OutOfRange):
        oxygen_exposure([breathed], RULES, whole_day_known=True)


pieces = st.builds(Breathed, st.floats(0, 1.6), st.floats(0, 200))


@given(st.lists(pieces, max_size=4), pieces, st.floats(0, 100))
def test_more_dives_or_longer_ones_never_have_a_smaller_share(day, more, longer_min):
    less = oxygen_exposure(day, RULES, whole_day_known=True)
    added = oxygen_exposure([*day, more], RULES, whole_day_known=True)
    longer = oxygen_exposure([*day, replace(more, minutes=more.minutes + longer_min)], RULES, whole_day_known=True)
    assert less.single_share <= added.single_share <= longer.single_share
    assert less.daily_share <= added.daily_share <= longer.daily_share


# ---- partial pressure and density ----


# NOAA: 32 % reaches 1.6 ata at 132 fsw, 36 % at 113.7 (nitrox_depths.csv); 33 fsw of 1027.2 kg/m3 to the atmosphere.
@pytest.mark.parametrize("percent, depth_fsw", [(32, 132.0), (36, 113.67)])
def test_the_partial_pressure_is_the_printed_one_at_the_printed_depth(percent, depth_fsw):
    sea = Surroundings(0.0, 1027.2, "sea")
    assert oxygen_pressure_bar(depth_fsw * 0.3048, sea, percent) == pytest.approx(1.6 * 1.01325, abs=0.001)


def test_air_counts_as_21_percent_however_it_is_written():
    assert oxygen_pressure_bar(20, SEA, 20.9) == oxygen_pressure_bar(20, SEA, 21) == oxygen_pressure_bar(20, SEA)


# Standard atmosphere, ISO 2533: dry air at 1.01325 bar and 0 degrees C weighs 1.2923 g/l (1.225 at 15 degrees C).
def test_air_at_the_surface_weighs_what_the_standard_atmosphere_says():
    assert gas_density_g_l(0, SEA, 20.95) == pytest.approx(1.2923, abs=0.0008)
    assert gas_density_g_l(0, SEA, 20.95) * 273.15 / 288.15 == pytest.approx(1.225, abs=0.0008)


# The recommendations, from memory: 5.2 g/l is air at about 31 m, 6.2 g/l air at about 39 m.
def test_the_two_limits_lie_near_the_depths_that_are_remembered_with_them():
    assert gas_density_g_l(31, SEA) == pytest.approx(5.2, abs=0.1)
    assert gas_density_g_l(39, SEA) == pytest.approx(6.2, abs=0.12)


@pytest.mark.parametrize(
    "depth_m, outcome", [(18, Outcome.OK), (30, Outcome.OK), (34, Outcome.CAUTION), (40, Outcome.STOP)]
)
def test_dense_gas_is_a_caution_and_then_a_stop(depth_m, outcome):
    found = check_gas_density(depth_m, SEA, RULES)
    assert found.outcome is outcome and found.source == "GAS_DENSITY"
    assert "g/l" in found.sentence


@given(st.floats(0, 100), st.floats(0, 100), st.floats(20.9, 40), st.floats(0, 3000))
def test_deeper_or_richer_gas_is_never_thinner(a_m, b_m, percent, altitude_m):
    shallow, deep = sorted((a_m, b_m))
    lake = Surroundings(altitude_m, 1000.0, "fresh")
    assert gas_density_g_l(shallow, lake, percent) <= gas_density_g_l(deep, lake, percent)
    assert gas_density_g_l(deep, lake) <= gas_density_g_l(deep, lake, max(percent, 21))


def test_depths_and_gases_outside_their_intervals_are_refused():
    for wrong in ((-1, 21), (101, 21), (20, 41), (20, 0.32)):
        with pytest.raises(OutOfRange):
            oxygen_pressure_bar(wrong[0], SEA, wrong[1])
        with pytest.raises(OutOfRange):
            check_gas_density(wrong[0], SEA, RULES, wrong[1])
