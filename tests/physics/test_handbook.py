"""The handbook's method: every printed cell read back, the worked examples, and the readings chosen against the diver.

US Navy Diving Manual Revision 7, Tables 9-5 to 9-8 and 2A-1, 2A-2: verified in one public transcription (see the
provenance columns under tests/published/handbook). Worked examples: inputs and formulas verified in the Revision 4
Change A pages named; the Revision 7 outputs were re-worked by hand from the tables and are printed nowhere.
"""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published_tables import published

from tripplan.errors import OutOfRange
from tripplan.physics import handbook
from tripplan.physics.no_stop import Exposure, Surroundings, handbook_group_after, no_stop_limits
from tripplan.rulebook import baseline
from tripplan.units import metres

GROUPS = "ABCDEFGHIJKLMNOZ"
SEA = Surroundings(0.0, 1025.0, "sea")
RULES = baseline()
LIMITS = published("handbook/navy_rev7_no_stop_limits.csv")
SHALLOW = published("handbook/navy_rev7_shallow_no_stop_limits.csv")
TABLE_9_8 = published("handbook/navy_rev7_surface_interval_residual_nitrogen.csv")
INTERVALS = [row for row in TABLE_9_8 if row["kind"] == "surface_interval"]
RESIDUALS = [row for row in TABLE_9_8 if row["kind"] == "residual_nitrogen_time"]
EQUIVALENTS = published("handbook/navy_sea_level_equivalent_depth_computed.csv")


def limits_at(depth_fsw, previous=(), surroundings=SEA, hours=None):
    return no_stop_limits(metres(depth_fsw), surroundings, previous, RULES, hours_since_arrival_h=hours)


def group_after(depth_fsw, minutes, previous=(), surroundings=SEA, hours=None):
    return handbook_group_after(
        metres(depth_fsw), minutes, surroundings, previous, RULES, hours_since_arrival_h=hours
    ).group


# ---- Table 9-7 ----


def test_the_check_tables_are_whole():
    assert (len(LIMITS), len(SHALLOW), len(RESIDUALS), len(EQUIVALENTS)) == (24, 21, 16 * 24, 37 * 10)
    assert len({row["group"] for row in INTERVALS}) == 16


@pytest.mark.parametrize("row", LIMITS, ids=lambda row: row["depth_fsw"])
def test_each_no_stop_limit_is_the_printed_one_through_the_whole_method(row):
    depth_fsw = int(row["depth_fsw"])
    found = limits_at(depth_fsw)
    assert found.handbook_row_fsw == depth_fsw
    assert found.handbook_depth_fsw == depth_fsw
    assert found.handbook_no_stop_min == (int(row["no_stop_limit_min"]) if row["no_stop_limit_min"] else None)
    assert (found.handbook_group, found.residual_nitrogen_min) == (None, None)


@pytest.mark.parametrize("row", LIMITS, ids=lambda row: row["depth_fsw"])
def test_each_group_holds_to_its_printed_minute_and_the_next_begins_after_it(row):
    depth_fsw = int(row["depth_fsw"])
    printed = [(group, int(row[f"max_min_{group}"])) for group in GROUPS if row[f"max_min_{group}"]]
    for (group, longest), following in zip(printed, [*printed[1:], None], strict=True):
        assert group_after(depth_fsw, longest) == group
        if following:
            assert group_after(depth_fsw, longest + 1) == following[0]
            assert group_after(depth_fsw, longest + 0.2) == following[0]
        elif row["no_stop_limit_min"]:
            assert longest == int(row["no_stop_limit_min"])
            assert group_after(depth_fsw, longest + 1) is None
        else:
            assert group_after(depth_fsw, longest + 1) == row["highest_group"]
            assert group_after(depth_fsw, 1440) == row["highest_group"]


@pytest.mark.parametrize("row", SHALLOW, ids=lambda row: row["depth_fsw"])
def test_each_cell_of_the_single_foot_table_is_the_printed_one(row):
    found = handbook.row_for(int(row["depth_fsw"]), shallow_tables=True)
    assert found.depth_fsw == int(row["depth_fsw"])
    assert found.limit_min == int(row["no_stop_limit_min"])
    printed = [(group, int(row[f"max_min_{group}"])) for group in GROUPS if row[f"max_min_{group}"]]
    for (group, longest), following in zip(printed, [*printed[1:], (None, 0)], strict=True):
        assert found.group(longest) == group
        assert found.group(longest + 1) == following[0]


@pytest.mark.parametrize(
    "row", published("handbook/navy_rev7_shallow_residual_nitrogen.csv"), ids=lambda r: f"{r['group']}{r['depth_fsw']}"
)
def test_each_residual_time_of_the_single_foot_table_is_the_printed_one(row):
    depth_row = handbook.row_for(int(row["depth_fsw"]), shallow_tables=True)
    found = handbook.residual_nitrogen(row["group"], depth_row, shallow_tables=True)
    assert (found.minutes, found.row) == (int(row["rnt_minutes"]), depth_row)


def test_the_coarse_row_used_for_plans_is_never_easier_than_the_single_foot_row():
    for row in SHALLOW:
        fine = handbook.row_for(int(row["depth_fsw"]), shallow_tables=True)
        coarse = handbook.row_for(int(row["depth_fsw"]))
        assert coarse.limit_min <= fine.limit_min


# ---- Table 9-8 ----


@pytest.mark.parametrize("row", INTERVALS, ids=lambda row: f"{row['group']}{row['new_group']}")
def test_each_surface_interval_gives_the_printed_group_at_both_its_ends(row):
    expected = None if row["new_group"] == "none" else row["new_group"]
    assert handbook.group_after_interval(row["group"], int(row["si_min_minutes"])) == expected
    assert handbook.group_after_interval(row["group"], int(row["si_max_minutes"] or 10_080)) == expected
    if row["si_max_minutes"]:
        assert handbook.group_after_interval(row["group"], int(row["si_max_minutes"]) + 0.99) == expected


@pytest.mark.parametrize("row", RESIDUALS, ids=lambda row: f"{row['group']}{row['depth_fsw']}")
def test_each_residual_time_is_the_printed_one(row):
    depth_row = handbook.row_for(int(row["depth_fsw"]))
    found = handbook.residual_nitrogen(row["group"], depth_row)
    if row["rnt_minutes"]:
        assert (found.minutes, found.row) == (int(row["rnt_minutes"]), depth_row)
    elif row["flag"] == "not_determinable":
        assert found.minutes is None
    else:
        assert row["flag"] == "use_30_fsw_row"
        thirty = {r["group"]: r for r in RESIDUALS if r["depth_fsw"] == "30"}
        assert (found.minutes, found.row.depth_fsw) == (int(thirty[row["group"]]["rnt_minutes"]), 30)


@pytest.mark.parametrize("group", GROUPS[:-2])
def test_each_group_and_row_leave_the_printed_limit_less_the_printed_residual_time(group):
    """The group is reached by a first dive at 30 fsw to the end of its column, then 10 minutes at the surface."""
    first = next(row for row in LIMITS if row["depth_fsw"] == "30")
    dive = Exposure(metres(30), int(first[f"max_min_{group}"]), 10)
    for row in RESIDUALS:
        depth_fsw = int(row["depth_fsw"])
        if row["group"] != group or not row["rnt_minutes"]:
            continue
        printed = next(r["no_stop_limit_min"] for r in LIMITS if r["depth_fsw"] == row["depth_fsw"])
        found = limits_at(depth_fsw, [dive])
        assert (found.handbook_group, found.residual_nitrogen_min) == (group, int(row["rnt_minutes"]))
        expected = max(int(printed) - int(row["rnt_minutes"]), 0) if printed else None
        assert found.handbook_no_stop_min == expected


def test_a_cell_without_a_figure_is_a_stop_that_says_what_to_do_instead():
    # Table 9-8: group L at 20 fsw is marked; 25 fsw is the next row with a figure (7.6 m).
    dive = Exposure(metres(30), 193, 10)
    found = limits_at(20, [dive])
    assert (found.handbook_no_stop_min, found.no_stop_min, found.handbook_group) == (0, 0, "L")
    check = next(check for check in found.checks if check.rule == "handbook-not-determinable")
    assert check.outcome == "stop"
    assert "group L on the 20 fsw row" in check.sentence and "7.6 m" in check.sentence
    assert limits_at(25, [dive]).handbook_no_stop_min > 0
    after = handbook_group_after(metres(20), 10, SEA, [dive], RULES, hours_since_arrival_h=None)
    assert after.group is None and after.checks[-1].rule == "handbook-not-determinable"


@pytest.mark.parametrize("minutes, group", [(307, "O"), (371, "Z")])
def test_25_feet_in_the_two_highest_groups_is_worked_on_the_30_foot_row(minutes, group):
    found = limits_at(25, [Exposure(metres(30), minutes, 10)])
    thirty = limits_at(30, [Exposure(metres(30), minutes, 10)])
    assert found.handbook_group == group
    assert found.handbook_row_fsw == 30
    assert found.handbook_no_stop_min == thirty.handbook_no_stop_min


# ---- rows and feet ----


@pytest.mark.parametrize(
    "depth_m, row_fsw", [(18.288, 60), (18.29, 70), (9.144, 30), (9.15, 35), (0.1, 10), (57.912, 190)]
)
def test_a_depth_between_rows_takes_the_next_deeper_row(depth_m, row_fsw):
    found = no_stop_limits(depth_m, SEA, [], RULES, hours_since_arrival_h=None)
    assert found.handbook_row_fsw == row_fsw


@pytest.mark.parametrize(
    "density, water, depth_fsw",
    [
        (1025.0, "sea", 60.0),  # lighter sea water is not credited
        (1027.2, "sea", 60.0),
        (1040.0, "sea", 60 * 1040 / 1027.2),
        (1000.0, "fresh", 60 * 1000 / 1027.2),
        (1010.0, "brackish", 60 * 1010 / 1027.2),
    ],
)
def test_feet_of_sea_water_follow_the_density(density, water, depth_fsw):
    assert handbook.depth_in_fsw(18.288, density, water) == pytest.approx(depth_fsw, abs=1e-9)


def test_beyond_the_last_row_is_refused_with_the_limit():
    with pytest.raises(OutOfRange, match=r"depth is 58 m, 190 fsw; it must be at most 57\.9 m .*190 fsw"):
        no_stop_limits(58, SEA, [], RULES, hours_since_arrival_h=None)
    with pytest.raises(OutOfRange, match="190"):
        handbook.row_for(190.1)


# ---- altitude ----


@pytest.mark.parametrize(
    "row", published("handbook/navy_altitude_arrival_groups.csv"), ids=lambda row: row["altitude_ft"]
)
def test_each_arrival_group_is_the_printed_one_and_holds_for_the_thousand_feet_below(row):
    altitude_ft = int(row["altitude_ft"])
    assert handbook.arrival_group(altitude_ft) == row["arrival_group_rev7"]
    assert handbook.arrival_group(altitude_ft - 999) == row["arrival_group_rev7"]


@pytest.mark.parametrize("row", EQUIVALENTS, ids=lambda row: f"{row['actual_depth_fsw']}@{row['altitude_ft']}")
def test_each_equivalent_depth_is_the_formula_or_the_deeper_older_print(row):
    """Computed by the manual's formula (verified) with ISO 2533; older print: secondary, an edition before 2008."""
    depth_fsw, altitude_ft = int(row["actual_depth_fsw"]), int(row["altitude_ft"])
    if row["flag"] == "beyond_190":
        with pytest.raises(OutOfRange, match="190 fsw"):
            handbook.sea_level_equivalent_fsw(depth_fsw, altitude_ft)
        return
    found = handbook.sea_level_equivalent_fsw(depth_fsw, altitude_ft)
    formula = int(row["equivalent_depth_next_table_depth_fsw"])
    assert found >= formula
    if altitude_ft < 7000:
        assert found == formula  # nothing to correct below the row in doubt
    if row["note"].startswith("old printed value differs from formula"):
        assert found == int(row["older_edition_printed_fsw"]) > formula


def test_neither_more_depth_nor_more_altitude_gives_a_shallower_equivalent_depth():
    def found(depth, altitude):
        try:
            return handbook.sea_level_equivalent_fsw(depth, altitude)
        except OutOfRange:
            return 10_000

    for depth in range(5, 190, 5):
        for altitude in range(1000, 10_001, 500):
            assert found(depth, altitude) <= found(depth + 5, altitude)
            assert found(depth, altitude) <= found(depth, min(altitude + 500, 10_000))


def test_above_ten_thousand_feet_is_refused():
    with pytest.raises(OutOfRange, match="10,000 ft"):
        handbook.sea_level_equivalent_fsw(30, 10_001)
    with pytest.raises(OutOfRange, match="10,000 ft"):
        handbook.arrival_group(10_001)
    with pytest.raises(OutOfRange, match="10,000 ft"):
        handbook.wait_before_altitude_min("A", 10_001)


@pytest.mark.parametrize(
    "altitude_m, depth_m, row_fsw",
    [
        (91, 18.288, 60),  # no correction to 300 ft (Rev 4 Change A p. 9-38, verified)
        (200, 18.288, 60),  # between, not deeper than 44 m
        (200, 44.0, 150),  # 144.4 fsw, uncorrected
        (200, 44.5, 160),  # 146 fsw, corrected: 150 at 1000 ft counts as 155.5
        (300, 18.288, 70),  # from 300 m on every dive: 60 fsw at 1000 ft is 62.2
        (1524, 18.288, 80),  # 5000 ft: 72.1
    ],
)
def test_the_altitude_bands_correct_what_they_should(altitude_m, depth_m, row_fsw):
    place = Surroundings(altitude_m, 1027.2, "sea")
    found = no_stop_limits(depth_m, place, [], RULES, hours_since_arrival_h=48)
    assert found.handbook_row_fsw == row_fsw


def test_bad_weather_raises_the_handbooks_altitude_at_a_lake_but_not_at_the_shore():
    calm, low = Surroundings(600, 1000.0, "fresh"), Surroundings(600, 1000.0, "fresh", 0.92)  # 0.92 bar: 806 m
    assert handbook.handbook_altitude_m(600, 0.92, RULES) == pytest.approx(806, abs=2)
    assert handbook.handbook_altitude_m(600, 0.99, RULES) == 600
    assert handbook.handbook_altitude_m(5, 0.95, RULES) == 5
    at = {place: limits_at(45, (), place, 48).handbook_row_fsw for place in (calm, low)}
    assert at[low] >= at[calm]


# ---- Table 9-6 ----


@pytest.mark.parametrize(
    "row",
    published("handbook/navy_rev7_ascent_to_altitude_interval.csv"),
    ids=lambda r: f"{r['highest_group_in_previous_24_h']}{r['altitude_increase_ft']}",
)
def test_each_wait_before_going_to_altitude_is_the_printed_one(row):
    increase_ft = int(row["altitude_increase_ft"])
    found = handbook.wait_before_altitude_min(row["highest_group_in_previous_24_h"], increase_ft)
    assert found == int(row["required_interval_minutes"])
    assert handbook.wait_before_altitude_min(row["highest_group_in_previous_24_h"], increase_ft - 999) == found


# ---- worked examples (numbers as in the manual pages named; outputs with the Rev 7 tables) ----


def test_example_1_60_feet_at_5000_feet_counts_as_72_and_takes_the_80_foot_row():  # Rev 4 Change A p. 9-38
    assert limits_at(60, (), Surroundings(1524, 1027.2, "sea"), 48).handbook_row_fsw == 80
    measured = Surroundings(1524, 1027.2, "sea", 0.843)  # 843 mb against 1013 mb
    found = no_stop_limits(metres(60), measured, [], RULES, hours_since_arrival_h=48)
    assert found.equivalent_depth_m == pytest.approx(metres(72.1), abs=metres(0.06))


def test_example_4_arrival_at_6000_feet_then_a_wait_then_100_feet():  # p. 9-41
    place = Surroundings(metres(6000), 1027.2, "sea")
    assert handbook.arrival_group(6000) == "E"
    found = limits_at(100, (), place, 1.5)
    assert (found.handbook_group, found.handbook_row_fsw, found.residual_nitrogen_min) == ("D", 130, 11)


def test_example_5_from_6000_to_10000_feet_counts_as_a_climb_of_4000():  # p. 9-41
    assert handbook.arrival_group(10_000 - 6000) == "C"


def test_example_6_five_hours_after_arrival_at_7750_feet():  # p. 9-44; group G and residual 7 are Rev 7
    place = Surroundings(metres(7750), 1027.2, "sea")
    found = limits_at(84, (), place, 5)  # sealed gauge 75 + 8, pneumofathometer + 1
    assert handbook.arrival_group(7750) == "G"
    assert (found.handbook_group, found.handbook_row_fsw, found.residual_nitrogen_min) == ("B", 120, 7)
    assert found.residual_nitrogen_min + 60 == 67


def test_example_7_two_dives_and_a_flight():  # NOAA newsletter vol. 2 no. 9; groups are Rev 7
    first = Exposure(metres(60), 60, 370)
    assert group_after(60, 60) == "K"
    found = limits_at(30, [first])
    assert (found.handbook_group, found.residual_nitrogen_min) == ("D", 51)
    assert group_after(30, 20, [first]) == "F"
    assert handbook.wait_before_altitude_min("K", 8000) == 15 * 60 + 35


def test_example_8_154_feet_takes_the_160_foot_row():  # p. 9-12
    found = limits_at(154)
    assert (found.handbook_row_fsw, found.handbook_no_stop_min) == (160, 7)
    assert group_after(154, 5) == "C"


def test_example_9_a_dive_with_stops_ends_the_no_stop_day_but_its_cells_read_right():  # Rev 4 Change A
    assert handbook.group_after_interval("Z", 386) == "I"
    assert handbook.residual_nitrogen("I", handbook.row_for(98)).minutes == 30
    found = limits_at(98, [Exposure(metres(101), 48, 386)])
    assert (found.handbook_no_stop_min, found.handbook_group) == (0, None)
    check = next(check for check in found.checks if check.rule == "handbook-over-limit")
    assert check.outcome == "stop" and "20 min on the 110 fsw row" in check.sentence


def test_example_10_group_h_at_110_feet():  # p. 9-45; residual 24 is Rev 7
    found = handbook.residual_nitrogen("H", handbook.row_for(110))
    assert found.minutes == 24 and found.minutes + 30 == 54


def test_derived_checks_d1_and_d2_two_dives_two_hours_apart():
    first = Exposure(metres(78), 32, 120)
    assert group_after(78, 32) == "H"
    found = limits_at(56, [first])
    assert (found.handbook_group, found.residual_nitrogen_min, found.handbook_no_stop_min) == ("F", 35, 28)
    assert group_after(56, 25, [first]) == "K"
    assert group_after(56, 28, [first]) == "K"
    assert group_after(56, 29, [first]) is None


def test_derived_checks_d3_and_d4_41_feet_on_both_tables():
    coarse, fine = handbook.row_for(41), handbook.row_for(41, shallow_tables=True)
    assert (coarse.depth_fsw, coarse.limit_min, coarse.group(60)) == (45, 125, "H")
    assert (fine.depth_fsw, fine.limit_min, fine.group(60)) == (41, 155, "G")


@pytest.mark.parametrize("group, last", [("A", 140), ("Z", 950)])
def test_derived_checks_d5_and_d6_the_end_of_the_repetitive_window(group, last):
    assert handbook.group_after_interval(group, last) == "A"
    assert handbook.group_after_interval(group, last + 1) is None


@pytest.mark.parametrize("group", GROUPS)
def test_derived_check_d7_nine_minutes_give_no_credit(group):
    assert handbook.group_after_interval(group, 9) == group
    assert handbook.shortest_interval_min() == 10


def test_derived_check_d8_the_odd_last_groups_of_170_and_180_feet():
    assert (group_after(170, 6), group_after(180, 6)) == ("D", "E")


def test_derived_check_d9_group_d_waits_and_group_c_goes():
    assert handbook.wait_before_altitude_min("D", 8000) == 105
    assert handbook.wait_before_altitude_min("C", 8000) == 0


# ---- readings chosen against the diver ----


def test_two_dives_nine_minutes_apart_are_one_dive_to_the_deeper_depth_or_stricter():
    # One dive: row 60 (limit 63), 20 min spent, so at most 43. Two dives: group D from the first, residual as printed.
    residual = next(int(r["rnt_minutes"]) for r in RESIDUALS if (r["group"], r["depth_fsw"]) == ("D", "40"))
    found = limits_at(40, [Exposure(metres(60), 20, 9)])
    assert found.handbook_no_stop_min == min(63 - 20, 163 - residual) == 43
    deeper_second = limits_at(60, [Exposure(metres(40), 20, 9)])
    in_c = next(int(r["rnt_minutes"]) for r in RESIDUALS if (r["group"], r["depth_fsw"]) == ("C", "60"))
    assert deeper_second.handbook_no_stop_min == min(63 - 20, 63 - in_c)


def test_a_joined_dive_can_pass_the_limit_where_two_would_not():
    pair = [Exposure(metres(30), 60, 5), Exposure(metres(90), 20, 300)]
    found = limits_at(30, pair)
    assert found.handbook_no_stop_min == 0
    assert any(check.rule == "handbook-over-limit" and "90 fsw" in check.sentence for check in found.checks)


@pytest.mark.parametrize("group", [None, *GROUPS])
def test_a_deeper_row_never_leaves_more_time_nor_a_lower_group(group):
    rows = handbook.depth_rows()
    for shallow, deep in pairwise(rows):
        here = handbook.limit(handbook.start_chain(group), shallow.depth_fsw)
        below = handbook.limit(handbook.start_chain(group), deep.depth_fsw)
        if here.broken or here.minutes is None:
            continue
        assert below.minutes is not None and below.minutes <= here.minutes
        for minutes in range(1, here.minutes + 1):
            up = handbook.after_next(handbook.start_chain(group), shallow.depth_fsw, minutes)
            down = handbook.after_next(handbook.start_chain(group), deep.depth_fsw, minutes)
            if isinstance(up, str) and isinstance(down, str):
                assert GROUPS.index(down) >= GROUPS.index(up)


@given(st.sampled_from([None, *GROUPS]), st.sampled_from([None, *GROUPS]))
def test_loads_added_are_never_less_than_either(group, other):
    both = handbook.add_groups(group, other)
    assert both == handbook.add_groups(other, group)
    assert handbook.worst_group([both, group, other]) == both
