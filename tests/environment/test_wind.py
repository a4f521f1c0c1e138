"""Wind at a shore: the Beaufort scale as printed, angles to the shore, and drift worked by hand."""

from __future__ import annotations

import csv
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.environment.wind import (
    Drift,
    beaufort,
    beaufort_row,
    beaufort_rows,
    checked,
    knots,
    m_s_of_knots,
    off_facing_deg,
    offshore,
    onshore,
    surface_drift,
)
from tripplan.errors import OutOfRange
from tripplan.tables import read_table

NAN = float("nan")
KNOT_M_S = 1852 / 3600


def printed_scale() -> list[dict[str, str]]:
    path = Path(__file__).parent.parent / "published" / "waves" / "beaufort.csv"
    return list(csv.DictReader(line for line in path.read_text(encoding="utf-8").splitlines() if line[0] != "#"))


SCALE = printed_scale()


def test_a_knot_is_a_nautical_mile_an_hour():
    """Exact: 1852 m in 3600 s."""
    assert knots(1852 / 3600 * 7) == pytest.approx(7, rel=1e-15)
    assert m_s_of_knots(np.array([10.0, NAN])) == pytest.approx([5.14444, NAN], abs=5e-6, nan_ok=True)
    assert isinstance(knots(3.0), float)


# ---- the Beaufort scale ----


def test_the_packaged_scale_is_the_printed_one():
    assert [dict(row) for row in read_table("beaufort")] == SCALE
    assert len(SCALE) == 13


@pytest.mark.parametrize("row", SCALE, ids=lambda row: row["name"])
def test_each_force_runs_over_its_printed_knots(row):
    force = int(row["force"])
    assert beaufort(m_s_of_knots(float(row["wind_kn_min"]))) == force
    if row["wind_kn_max"]:
        assert beaufort(m_s_of_knots(float(row["wind_kn_max"]))) == force
        assert beaufort(m_s_of_knots(float(row["wind_kn_max"]) + 0.01)) == force + 1


@pytest.mark.parametrize("row", SCALE, ids=lambda row: row["name"])
def test_the_middle_of_each_printed_row_in_metres_a_second_is_of_that_force(row):
    """But for calm, of which 0 m/s is taken: its two columns end at 0.2 m/s and 0.9 kn."""
    low, high = float(row["wind_ms_min"]), float(row["wind_ms_max"] or 40)
    assert beaufort((low + high) / 2 if row["force"] != "0" else low) == int(row["force"])


def test_the_printed_knots_and_metres_a_second_change_force_within_half_a_knot_of_each_other():
    """Between two rows each column leaves a gap; the gaps lie no further apart than the rounding to whole knots."""
    for lower, upper in pairwise(SCALE):
        knots_end, knots_start = float(lower["wind_kn_max"]) * KNOT_M_S, float(upper["wind_kn_min"]) * KNOT_M_S
        metres_end, metres_start = float(lower["wind_ms_max"]), float(upper["wind_ms_min"])
        apart = max(knots_end - metres_start, metres_end - knots_start, 0)
        assert apart <= 0.5 * KNOT_M_S, f"{lower['name']} to {upper['name']}"


def test_the_knots_never_give_less_than_the_metres_a_second_but_at_three_boundaries():
    """Half a knot of rounding: 0.3 to 0.4 m/s (calm or 1), 8.0 to 8.2 m/s (4 or 5) and 10.8 m/s = 20.99 kn (5 or 6)."""
    lower = []
    for tenths in range(0, 600):
        speed = tenths / 10
        by_metres = max(int(row["force"]) for row in SCALE if speed >= float(row["wind_ms_min"]))
        if beaufort(speed) < by_metres:
            lower.append(speed)
    assert lower == [0.3, 0.4, 8.0, 8.1, 8.2, 10.8]


def test_an_array_of_winds_gives_an_array_of_whole_forces():
    force = beaufort(np.array([[0.0, 5.0], [10.0, 40.0]]))
    assert force.tolist() == [[0, 3], [5, 12]] and force.dtype == np.int64
    assert isinstance(beaufort(5.0), int)


def test_an_unknown_or_impossible_wind_has_no_force():
    with pytest.raises(OutOfRange, match="wind is nan"):
        beaufort(np.array([3.0, NAN]))
    with pytest.raises(OutOfRange, match="wind is -3 m/s"):
        beaufort(np.array([-1.0, -3.0]))
    with pytest.raises(OutOfRange, match="wind is 200 m/s"):
        beaufort(200.0)


def test_the_words_of_a_force_are_the_printed_ones():
    row = beaufort_row(4)
    assert (row.name, row.lowest_kn, row.highest_kn) == ("Moderate breeze", 11, 16)
    assert (row.probable_wave_m, row.probable_max_wave_m, row.sea_state) == (1.0, 1.5, "3-4")
    assert beaufort_row(12).highest_kn is None and beaufort_row(0).probable_wave_m is None
    assert [row.force for row in beaufort_rows()] == list(range(13))
    with pytest.raises(OutOfRange, match="Beaufort force is 13"):
        beaufort_row(13)


@given(st.floats(0, 100), st.floats(0, 100))
def test_more_wind_is_never_less_force(one, other):
    assert beaufort(min(one, other)) <= beaufort(max(one, other))


# ---- onto and off the shore ----


@pytest.mark.parametrize(
    ("wind_from", "facing", "off"),
    [(90, 90, 0), (270, 90, 180), (350, 20, 30), (20, 350, 30), (0, 360, 0), (180, 90, 90), (10, 200, 170)],
)
def test_the_angle_to_the_shore_counts_the_short_way_round(wind_from, facing, off):
    assert off_facing_deg(float(wind_from), float(facing)) == pytest.approx(off)


def test_winds_along_the_shore_count_as_both():
    """With 10 degrees to each side of parallel: 80 to 100 are both."""
    off = np.array([0.0, 79.9, 80.0, 90.0, 100.0, 100.1, 180.0, NAN])
    assert onshore(off, 10.0).tolist() == [True, True, True, True, True, False, False, True]
    assert offshore(off, 10.0).tolist() == [False, False, True, True, True, True, True, True]


def test_a_wind_of_unknown_direction_counts_as_both():
    off = off_facing_deg(NAN, 90.0)
    assert math.isnan(off) and onshore(off, 0.0) is True and offshore(off, 0.0) is True


def test_bearings_beyond_the_compass_are_refused():
    with pytest.raises(OutOfRange, match="direction of the wind is 370"):
        off_facing_deg(np.array([10.0, 370.0]), 0.0)
    with pytest.raises(OutOfRange, match="angle off the way the shore faces is 181"):
        onshore(181.0, 10.0)
    with pytest.raises(OutOfRange, match="half width"):
        offshore(10.0, 91.0)


@given(st.floats(0, 360), st.floats(0, 360), st.floats(0, 90))
def test_every_wind_blows_onto_the_shore_or_off_it(wind_from, facing, along):
    off = off_facing_deg(wind_from, facing)
    assert 0 <= off <= 180
    assert onshore(off, along) or offshore(off, along)


# ---- drift ----


def test_the_wind_alone_carries_away_from_where_it_comes():
    """Textbook rule: 10 m/s gives 0.2 to 0.3 m/s (0.4 to 0.6 kn) at 2 to 3 per cent. Ten minutes at 0.3 m/s: 180 m."""
    drift = surface_drift(10.0, 90.0, 3.0)
    assert drift.speed_m_s == pytest.approx(0.3, rel=1e-12)
    assert drift.toward_deg == pytest.approx(270.0)
    assert drift.in_ten_minutes_m == pytest.approx(180.0)
    assert knots(surface_drift(10.0, 90.0, 2.0).speed_m_s) == pytest.approx(0.4, abs=0.05)
    assert knots(drift.speed_m_s) == pytest.approx(0.6, abs=0.05)


def test_wind_and_stream_add_as_vectors():
    """0.3 m/s to the north and 0.4 m/s to the east: 0.5 m/s toward atan(4/3) = 53.13 degrees, 300 m in ten minutes."""
    drift = surface_drift(10.0, 180.0, 3.0, 0.4, 90.0)
    assert drift.speed_m_s == pytest.approx(0.5, rel=1e-12)
    assert drift.toward_deg == pytest.approx(53.13, abs=0.005)
    assert drift.in_ten_minutes_m == pytest.approx(300.0)
    against = surface_drift(10.0, 180.0, 3.0, 0.2, 180.0)
    assert against.speed_m_s == pytest.approx(0.1) and against.toward_deg % 360 == pytest.approx(0.0, abs=1e-6)


def test_where_a_direction_is_unknown_the_speeds_add_up():
    for drift in (surface_drift(10.0, 180.0, 3.0, 0.4), surface_drift(10.0, NAN, 3.0, 0.4, 90.0)):
        assert drift.speed_m_s == pytest.approx(0.7) and math.isnan(drift.toward_deg)
        assert drift.in_ten_minutes_m == pytest.approx(420.0)


def test_what_does_not_run_needs_no_direction():
    assert surface_drift(0.0, NAN, 3.0, 0.4, 90.0).toward_deg == pytest.approx(90.0)
    assert surface_drift(10.0, 0.0, 3.0, 0.0, NAN).toward_deg == pytest.approx(180.0)
    still = surface_drift(0.0, 0.0, 3.0)
    assert still.speed_m_s == 0.0 and math.isnan(still.toward_deg)


def test_an_unknown_speed_leaves_the_drift_unknown():
    for drift in (surface_drift(NAN, 90.0, 3.0), surface_drift(5.0, 90.0, 3.0, NAN, 90.0)):
        assert all(math.isnan(value) for value in (drift.speed_m_s, drift.toward_deg, drift.in_ten_minutes_m))


def test_drift_over_a_day_has_the_shape_of_the_day():
    wind = np.array([0.0, 5.0, NAN])
    drift = surface_drift(wind, 0.0, 2.0, np.array([0.1, 0.1, 0.1]), 180.0)
    assert isinstance(drift, Drift)
    assert drift.speed_m_s == pytest.approx([0.1, 0.2, NAN], nan_ok=True)
    assert drift.toward_deg == pytest.approx([180.0, 180.0, NAN], nan_ok=True)


def test_impossible_winds_and_streams_are_refused():
    with pytest.raises(OutOfRange, match="share of the wind is 30"):
        surface_drift(5.0, 0.0, 30.0)
    with pytest.raises(OutOfRange, match="stream is -1"):
        surface_drift(5.0, 0.0, 3.0, -1.0, 0.0)


SPEEDS = st.floats(0, 40)


@given(SPEEDS, st.floats(0, 360), st.floats(0, 5), st.floats(-89.999, 89.999))
def test_a_stream_that_runs_with_the_wind_never_lessens_the_drift(wind, wind_from, stream, beside):
    drift = surface_drift(wind, wind_from, 3.0, stream, (wind_from + 180 + beside) % 360)
    assert drift.speed_m_s >= wind * 0.03 * (1 - 1e-9)


@given(SPEEDS, st.floats(0, 360), st.floats(0, 5), st.floats(0, 360))
def test_an_unknown_way_of_the_stream_is_never_better_than_any_known_one(wind, wind_from, stream, toward):
    known = surface_drift(wind, wind_from, 3.0, stream, toward)
    assert surface_drift(wind, wind_from, 3.0, stream).speed_m_s >= known.speed_m_s * (1 - 1e-12)
    assert math.isnan(known.toward_deg) or 0 <= known.toward_deg < 360


def test_the_value_furthest_outside_is_named_and_unknown_ones_pass():
    assert np.isnan(checked("x", np.array([NAN, 1.0]), 0, 2, "m")[0])
    with pytest.raises(OutOfRange, match=r"x is -9 m; it must be from 0 to 2 m"):
        checked("x", np.array([5.0, NAN, -9.0]), 0, 2, "m")
