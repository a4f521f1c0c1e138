"""Tides from printed tables and by differences, against published tables (NOAA CO-OPS, public domain)."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tripplan.environment.tide import (
    Constituent,
    HarmonicTide,
    PrintedTide,
    SecondaryTide,
    TurningPoint,
    height_m,
    minutes_utc,
)
from tripplan.errors import OutOfRange

PUBLISHED = Path(__file__).parents[1] / "published" / "tides"
FOOT_M = 0.3048
DAY = datetime(2027, 6, 12, tzinfo=UTC)


def at(hours: float) -> datetime:
    return DAY + timedelta(hours=hours)


def printed(*points: tuple[float, str, float], gap_h: float = 14) -> PrintedTide:
    return PrintedTide(tuple(TurningPoint(at(hour), kind, level) for hour, kind, level in points), gap_h)


def published(name: str) -> tuple[TurningPoint, ...]:
    """Local Pacific clock and feet, as published."""
    zone = ZoneInfo("America/Los_Angeles")
    with (PUBLISHED / name).open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    return tuple(
        TurningPoint(
            datetime.fromisoformat(row["local_time"]).replace(tzinfo=zone).astimezone(UTC),
            row["kind"],
            float(row["height_ft"]) * FOOT_M,
        )
        for row in rows
    )


# ---- printed --------------------------------------------------------------------------------------------------------


def test_between_printed_turning_points_the_height_follows_half_a_cosine():
    """By hand: from 1 m at 0 h to 5 m at 6 h; cos 60 degrees after a third is a quarter of the rise."""
    tide = printed((0, "low", 1.0), (6, "high", 5.0), (12, "low", 2.0))
    assert [height_m(tide, at(hour)) for hour in (0, 2, 3, 4, 6, 9, 12)] == pytest.approx([1, 2, 3, 4, 5, 3.5, 2])


def test_outside_the_table_and_across_a_long_gap_no_height_is_known():
    tide = printed((0, "low", 1.0), (6, "high", 5.0), (21, "high", 4.0), (27, "low", 1.0))
    assert np.isnan([height_m(tide, at(hour)) for hour in (-0.1, 6.1, 20.9, 27.1)]).all()
    assert [height_m(tide, at(hour)) for hour in (6, 21, 27)] == pytest.approx([5, 4, 1])
    first, second = tide.sentences()
    assert "from 2027-06-12 00:00 UTC to 2027-06-13 03:00 UTC; outside it no height is known" in first
    assert second.startswith("The table has no entry for more than 14 h from 2027-06-12 06:00 UTC to 2027-06-12 21:00")


def test_a_gap_of_exactly_the_limit_is_still_interpolated():
    assert height_m(printed((0, "low", 1.0), (14, "high", 3.0)), at(7)) == pytest.approx(2.0)
    assert np.isnan(height_m(printed((0, "low", 1.0), (14.01, "high", 3.0)), at(7)))


def test_an_empty_table_knows_nothing_and_says_so():
    tide = printed()
    assert np.isnan(height_m(tide, at(0)))
    assert tide.turning_points(at(0), at(24)) == ()
    assert tide.sentences() == ("The tide table is empty: no height is known.",)


def test_printed_turning_points_are_given_in_utc_and_half_open():
    zone = ZoneInfo("Atlantic/Azores")
    points = tuple(
        TurningPoint((DAY + timedelta(hours=h)).astimezone(zone), k, v)
        for h, k, v in [(0, "low", 1.0), (6, "high", 2.0)]
    )
    found = PrintedTide(points, 14).turning_points(at(0), at(6))
    assert [(one.time.tzinfo, one.time.hour, one.kind) for one in found] == [(UTC, 0, "low")]


@pytest.mark.parametrize(
    ("points", "message"),
    [
        ([(0, "low", 1.0), (0, "high", 2.0)], "times must rise"),
        ([(6, "low", 1.0), (0, "high", 2.0)], "times must rise"),
        ([(0, "high", 1.0), (6, "high", 2.0)], "two high waters follow each other"),
        ([(0, "high", 1.0), (6, "low", 2.0)], "is lower than the low water"),
    ],
)
def test_a_table_that_is_no_tide_is_refused(points, message):
    with pytest.raises(OutOfRange, match=message):
        printed(*points)


def test_a_printed_year_of_boston_interpolates_within_the_known_error_of_the_method():
    """Half a cosine against the authority's constants: overtides (M4, M6) leave up to some 5 % of the range."""
    import tomllib

    data = tomllib.loads((PUBLISHED / "noaa_8443970.toml").read_text(encoding="utf-8"))
    harmonic = HarmonicTide(data["mean_level_m"], tuple(Constituent(n, *p) for n, p in data["constituents"].items()))
    with (PUBLISHED / "noaa_8443970_2021.csv").open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    table = PrintedTide(
        tuple(TurningPoint(datetime.fromisoformat(r["time"]), r["kind"], float(r["height_m"])) for r in rows), 14
    )
    minutes = minutes_utc(datetime(2021, 1, 2, tzinfo=UTC), datetime(2021, 12, 30, tzinfo=UTC))
    away = np.abs(table.heights_m(minutes) - harmonic.heights_m(minutes))
    assert away.max() < 0.25
    assert np.sqrt((away**2).mean()) < 0.08


# ---- secondary ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reference", "secondary", "count", "differences"),
    [
        # First lines of the files: Whitney Point on Seattle by ratios, Marrowstone Point on Port Townsend by feet.
        (
            "reference_9447130_2017.csv",
            "secondary_9445246_2017.csv",
            464,
            {"high_time_min": -5, "low_time_min": 2, "high_ratio": 1.01, "low_ratio": 1.06},
        ),
        (
            "reference_9444900_2017.csv",
            "secondary_9444972_2017.csv",
            463,
            {"high_time_min": 2, "low_time_min": 5, "high_add_m": 0.4 * FOOT_M, "low_add_m": -0.1 * FOOT_M},
        ),
    ],
)
def test_a_secondary_station_agrees_with_its_published_table(reference, secondary, count, differences):
    """Minutes exactly; heights within the rounding to 0.1 ft of both tables (0.05 ft times the ratio, and 0.05 ft)."""
    expected = published(secondary)
    tide = SecondaryTide(PrintedTide(published(reference), 14), **differences)
    ours = tide.turning_points(expected[0].time, expected[-1].time + timedelta(minutes=1))
    assert len(ours) == len(expected) == count
    assert [(one.time, one.kind) for one in ours] == [(one.time, one.kind) for one in expected]
    away_ft = np.array([one.height_m - two.height_m for one, two in zip(ours, expected, strict=True)]) / FOOT_M
    assert np.abs(away_ft).max() < 0.105


REFERENCE = HarmonicTide(
    2.0,
    (Constituent("M2", 1.2, 62.0), Constituent("S2", 0.4, 95.0), Constituent("K1", 0.1, 20), Constituent("M4", 0.1, 3)),
)
FLAT = HarmonicTide(1.0, (Constituent("S1", 0.5, 0.0), Constituent("S2", 0.127, 0.0)))  # a pair 2 h apart, 0.2 mm


def test_a_secondary_station_without_differences_is_its_reference():
    tide = SecondaryTide(REFERENCE, 0, 0)
    minutes = minutes_utc(at(0), at(48))
    assert np.abs(tide.heights_m(minutes) - REFERENCE.heights_m(minutes)).max() < 1e-9
    assert tide.turning_points(at(0), at(48)) == REFERENCE.turning_points(at(0), at(48))


def test_a_constant_shift_moves_the_whole_curve():
    tide = SecondaryTide(REFERENCE, 30, 30, high_add_m=0.2, low_add_m=0.2)
    minutes = minutes_utc(at(0), at(48))
    assert np.abs(tide.heights_m(minutes) - 0.2 - REFERENCE.heights_m(minutes - np.timedelta64(30, "m"))).max() < 1e-9


def test_the_secondary_curve_is_continuous_passes_its_turning_points_and_stays_between_them():
    tide = SecondaryTide(REFERENCE, -12, 25, high_ratio=1.1, low_ratio=0.8, high_add_m=0.05)
    points = tide.turning_points(at(0), at(24 * 20))
    assert len(points) > 70
    for one, two in pairwise(points):
        heights = tide.heights_m(minutes_utc(one.time, two.time))
        low, high = sorted((one.height_m, two.height_m))
        assert ((heights >= low - 1e-6) & (heights <= high + 1e-6)).all()
        assert (np.diff(heights) * (1 if two.kind == "high" else -1) > -1e-9).all()  # rises or falls all the way
        assert np.abs(np.diff(heights)).max() < 0.02  # a range of 4 m in 6 h is 0.018 m a minute at most
    assert [height_m(tide, one.time) for one in points] == pytest.approx([one.height_m for one in points], abs=1e-9)


@pytest.mark.parametrize(
    "differences",
    [{"high_time_min": -90, "low_time_min": 90}, {"high_time_min": 0, "low_time_min": 0, "high_ratio": 0.9}],
)
def test_turns_that_the_differences_bring_out_of_order_are_left_out_in_pairs(differences):
    assert len(FLAT.turning_points(at(0), at(240))) == 40
    tide = SecondaryTide(FLAT, **differences)
    points = tide.turning_points(at(0), at(240))
    assert len(points) == 20
    for one, two in pairwise(points):
        assert one.kind != two.kind and one.time < two.time
        heights = tide.heights_m(minutes_utc(one.time, two.time))
        low, high = sorted((one.height_m, two.height_m))
        assert ((heights >= low - 1e-6) & (heights <= high + 1e-6)).all()


def test_a_secondary_station_knows_no_more_than_its_printed_reference():
    tide = SecondaryTide(printed((0, "low", 1.0), (6, "high", 5.0), (21, "high", 4.0), (27, "low", 1.0)), 60, 60)
    known = [height_m(tide, at(hour)) for hour in (1, 4, 7, 22, 25, 28)]
    assert known == pytest.approx([1, 3, 5, 4, 2.5, 1])
    assert np.isnan([height_m(tide, at(hour)) for hour in (0.9, 7.1, 21.9, 28.1)]).all()
    assert tide.sentences()[0].startswith("Heights come by differences from a reference station")
    assert any("no entry for more than 14 h" in sentence for sentence in tide.sentences())


@pytest.mark.parametrize(
    ("differences", "message"),
    [
        ({"high_time_min": 721, "low_time_min": 0}, "time difference of high water is 721 min"),
        ({"high_time_min": 0, "low_time_min": float("nan")}, "time difference of low water"),
        ({"high_time_min": 0, "low_time_min": 0, "low_ratio": -1}, "height ratio of low water is -1"),
        ({"high_time_min": 0, "low_time_min": 0, "high_add_m": 30}, "height difference of high water is 30 m"),
    ],
)
def test_differences_that_no_table_has_are_refused(differences, message):
    with pytest.raises(OutOfRange, match=message):
        SecondaryTide(REFERENCE, **differences)
