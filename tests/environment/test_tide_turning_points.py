"""High and low waters: against published tables (NOAA CO-OPS, public domain), and what must always hold."""

from __future__ import annotations

import csv
import tomllib
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.environment.tide import Constituent, HarmonicTide, minutes_utc
from tripplan.errors import OutOfRange

PUBLISHED = Path(__file__).parents[1] / "published" / "tides"
IN_EARNEST_M = 0.05  # turning points nearer than this to a neighbour are flat: their minute is a matter of rounding


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@cache
def station(number: str) -> HarmonicTide:
    path = PUBLISHED / f"noaa_{number}.toml"
    if path.exists():
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        return HarmonicTide(data["mean_level_m"], tuple(Constituent(n, *p) for n, p in data["constituents"].items()))
    constants = [row for row in rows("more_constants.csv") if row["station"] == number]
    assert constants
    return HarmonicTide(
        1.0,
        tuple(Constituent(r["constituent"], float(r["amplitude_m"]), float(r["phase_deg"])) for r in constants),
    )


def agree(ours, published) -> None:
    """None missed, none extra; heights within 0.005 m; times within a minute where the tide turns in earnest."""
    assert [point.kind for point in ours] == [row["kind"] for row in published]
    heights = [float(row["height_m"]) for row in published]
    assert np.abs(np.array(heights) - [point.height_m for point in ours]).max() < 0.005
    for number, (point, row) in enumerate(zip(ours, published, strict=True)):
        away_s = abs((point.time - datetime.fromisoformat(row["time"])).total_seconds())
        neighbours = heights[max(number - 1, 0) : number] + heights[number + 1 : number + 2]
        beside = min(abs(heights[number] - neighbour) for neighbour in neighbours)
        assert away_s <= (60 if beside > IN_EARNEST_M else 300), row


@pytest.mark.parametrize(
    ("number", "year"),
    [("8443970", 2026), ("8410140", 2026), ("8410140", 2031), ("8729840", 2026), ("1612340", 2026)],
)
def test_high_and_low_waters_agree_with_the_published_week(number, year):
    """NOAA CO-OPS, whole minutes and 0.001 m; the week runs from 0 h UTC of its first day.

    The authority's tables leave out a pair of turns within 2 hours and 0.1 ft of each other; here they are turns too.
    In these weeks that is one pair at Pensacola (58 minutes, 0.1 mm) and one at Honolulu (88 minutes, 2 mm).
    """
    published = [row for row in rows(f"noaa_{number}.csv") if row["time"].startswith(str(year))]
    hourly = [row["time"] for row in rows(f"noaa_{number}_heights.csv") if row["time"].startswith(str(year))]
    half_a_minute = timedelta(seconds=30)  # what is printed as 0 h of the next day belongs to that day
    start = datetime.fromisoformat(hourly[0]) - half_a_minute
    end = datetime.fromisoformat(hourly[-1]) + timedelta(hours=1) - half_a_minute
    ours = list(station(number).turning_points(start, end))
    flat = [
        pair
        for pair in pairwise(ours)
        if pair[1].time - pair[0].time < timedelta(hours=2) and abs(pair[1].height_m - pair[0].height_m) < 0.1 * 0.3048
    ]
    assert len(flat) == (1 if number in ("8729840", "1612340") else 0)
    agree([point for point in ours if not any(point in pair for pair in flat)], published)


def test_all_1410_high_and_low_waters_of_boston_2021_agree():
    """NOAA CO-OPS yearly table, GMT, feet to 0.01 and whole minutes: half a minute and 0.003 m are rounding."""
    published = rows("noaa_8443970_2021.csv")
    ours = station("8443970").turning_points(datetime(2021, 1, 1, tzinfo=UTC), datetime(2022, 1, 1, tzinfo=UTC))
    assert len(published) == len(ours) == 1410
    for row, point in zip(published, ours, strict=True):
        assert row["kind"] == point.kind
        assert abs((point.time - datetime.fromisoformat(row["time"])).total_seconds()) <= 31
        assert point.height_m == pytest.approx(float(row["height_m"]), abs=0.003)


def test_the_step_at_new_year_is_not_a_turning_point():
    """Humboldt Bay 2030: the published curve turns before 23:06 and rises through 0 h, where it steps up by 22 mm."""
    ours = station("9418767").turning_points(
        datetime(2029, 12, 31, 23, 6, tzinfo=UTC), datetime(2030, 1, 1, 0, 54, tzinfo=UTC)
    )
    assert ours == ()


@pytest.mark.parametrize("number", ["8410140", "1617760", "1630000", "9452210", "8761724", "9455920"])
def test_high_and_low_take_turns_across_every_new_year(number):
    """Eastport, Hilo, Guam, Juneau, Grand Isle, Anchorage: at some New Years both years show a turn, or neither."""
    tide, reach = station(number), timedelta(days=5)
    for year in range(1901, 2101):
        seam = datetime(year, 1, 1, tzinfo=UTC)
        points = tide.turning_points(seam - reach, seam + reach)
        assert all(one.kind != two.kind and one.time < two.time for one, two in pairwise(points)), year
        assert points == tide.turning_points(seam - reach, seam) + tide.turning_points(seam, seam + reach), year


def fine_turns(tide: HarmonicTide, start: datetime, end: datetime) -> int:
    """Count the changes of direction on a grid of minutes, by heights alone: another way to the same number."""
    heights = tide.heights_m(minutes_utc(start - timedelta(minutes=1), end + timedelta(minutes=1)))
    signs = np.sign(np.diff(heights))
    return int((signs[:-1] != signs[1:]).sum())


@pytest.mark.parametrize("number", ["1612340", "8729840", "8761724", "8775870", "9751401", "8574680", "9462620"])
def test_flat_and_nearly_vanishing_turns_are_neither_missed_nor_invented(number):
    """Honolulu, Pensacola, Grand Isle, Corpus Christi, St Croix, Baltimore, Unalaska: counted on heights by minutes."""
    start, end = datetime(2027, 1, 2, tzinfo=UTC), datetime(2027, 12, 30, tzinfo=UTC)
    tide = station(number)
    ours = tide.turning_points(start, end)
    assert len(ours) == fine_turns(tide, start, end)


def test_a_pair_of_turns_nine_minutes_apart_is_found():
    """A diurnal and a semidiurnal wave of which the slope just touches zero: two roots within less than the grid step.

    By hand: the slope of cos(x) + k cos(2x) style curves has a double root at one k; a little beyond it there are two.
    """
    found = []
    for thousandth in range(0, 1000, 5):
        tide = HarmonicTide(0.0, (Constituent("S1", 1.0, 0.0), Constituent("S2", 0.25 + thousandth / 4e6, 0.0)))
        start = datetime(2027, 5, 10, tzinfo=UTC)
        points = tide.turning_points(start, start + timedelta(days=1))
        found.append(len(points))
        # cos x + a cos 2x: sin x (1 + 4 a cos x) = 0 has four roots a day exactly when a > 1/4.
        assert len(points) == (4 if thousandth else 2), thousandth
    assert set(found) == {2, 4}


def test_a_turn_that_falls_on_a_whole_hour_is_found_once_and_of_the_right_kind():
    """Sun-locked tides turn at the same minute every day: here high water at 0 h and 12 h, by symmetry."""
    tide = HarmonicTide(1.0, (Constituent("S1", 0.5, 0.0), Constituent("S2", 0.127, 0.0)))
    # Over six New Years, where the turn falls on the seam itself.
    points = tide.turning_points(datetime(2027, 1, 2, tzinfo=UTC), datetime(2033, 1, 2, tzinfo=UTC))
    assert [point.kind for point in points] == ["high", "low"] * 2 * (6 * 365 + 2)
    noon = datetime(2000, 1, 1, 12, tzinfo=UTC)
    for point in points:
        if point.kind == "high":  # to the second; a year's search ends a second before the next year
            away_s = (point.time - noon).total_seconds() % 43_200
            assert min(away_s, 43_200 - away_s) <= 1, point


def test_turning_points_are_half_open_at_the_end():
    tide = station("8443970")
    start = datetime(2027, 6, 12, tzinfo=UTC)
    first, second, *_ = tide.turning_points(start, start + timedelta(days=1))
    assert tide.turning_points(first.time, second.time) == (first,)
    assert tide.turning_points(first.time, first.time) == ()


def test_a_tide_without_movement_has_no_turning_points():
    start = datetime(2027, 1, 1, tzinfo=UTC)
    for tide in (HarmonicTide(1.0, ()), HarmonicTide(1.0, (Constituent("M2", 0.0, 0.0),))):
        assert tide.turning_points(start, start + timedelta(days=400)) == ()
        assert (tide.heights_m(minutes_utc(start, start + timedelta(hours=2))) == 1.0).all()


def test_an_end_before_the_start_is_refused():
    start = datetime(2027, 1, 1, tzinfo=UTC)
    with pytest.raises(OutOfRange, match="is before the start"):
        station("8443970").turning_points(start, start - timedelta(minutes=1))


@pytest.mark.parametrize("year", [1899, 2102])
def test_turning_points_outside_1900_to_2100_are_refused(year):
    start = datetime(year, 6, 1, tzinfo=UTC)
    with pytest.raises(OutOfRange, match="from 1900 to 2100"):
        station("8443970").turning_points(start, start + timedelta(days=1))


NAMES = ("M2", "S2", "N2", "K1", "O1", "P1", "K2", "Q1", "M4", "M6", "MS4", "L2", "NU2", "MK3", "SA")
constituents = st.dictionaries(
    st.sampled_from(NAMES), st.tuples(st.floats(0, 1.5), st.floats(0, 360)), min_size=1, max_size=8
)
# From 10 January to 15 December: the step at New Year has its own tests.
moments = st.builds(
    lambda year, minute: datetime(year, 1, 10, tzinfo=UTC) + timedelta(minutes=minute),
    st.integers(1901, 2099),
    st.integers(0, 330 * 1440),
)


@settings(max_examples=60, deadline=None)
@given(constituents, moments)
def test_turning_points_take_turns_lie_on_the_curve_and_bound_it(constants, start):
    tide = HarmonicTide(0.5, tuple(Constituent(name, *pair) for name, pair in constants.items()))
    points = tide.turning_points(start, start + timedelta(days=5))
    for one, two in pairwise(points):
        assert one.kind != two.kind
        assert one.time < two.time
        between = minutes_utc(one.time, two.time)
        heights = tide.heights_m(between)
        low, high = sorted((one.height_m, two.height_m))
        assert ((heights >= low - 1e-6) & (heights <= high + 1e-6)).all()
    if points:
        at = np.array([point.time.replace(tzinfo=None) for point in points], dtype="datetime64[s]")
        assert tide.heights_m(at) == pytest.approx([point.height_m for point in points], abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(constituents, moments, st.integers(1, 7199))
def test_a_span_and_its_two_parts_have_the_same_turning_points(constants, start, minutes):
    tide = HarmonicTide(0.5, tuple(Constituent(name, *pair) for name, pair in constants.items()))
    end, cut = start + timedelta(days=5), start + timedelta(minutes=minutes)
    whole = tide.turning_points(start, end)
    parts = tide.turning_points(start, cut) + tide.turning_points(cut, end)
    assert [(one.time, one.kind) for one in whole] == [(one.time, one.kind) for one in parts]
