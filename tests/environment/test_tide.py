"""Heights from harmonic constants against the tidal authority's own predictions (NOAA CO-OPS, public domain)."""

from __future__ import annotations

import csv
import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tripplan.environment.constituents import canonical, definition, speeds_deg_per_h
from tripplan.environment.tide import Constituent, HarmonicTide, height_m, minutes_utc
from tripplan.errors import OutOfRange

PUBLISHED = Path(__file__).parents[1] / "published" / "tides"
HEIGHT_FILES = [
    ("8443970", "noaa_8443970_heights.csv"),  # Boston, semidiurnal, three years
    ("8410140", "noaa_8410140_heights.csv"),  # Eastport, large semidiurnal
    ("8729840", "noaa_8729840_heights.csv"),  # Pensacola, diurnal
    ("1612340", "noaa_1612340_heights.csv"),  # Honolulu, mixed and small
    ("9410170", "noaa_9410170_2025_heights.csv"),  # San Diego, a common year
    ("9410170", "noaa_9410170_2028_heights.csv"),  # and a leap year
    ("9418767", "noaa_9418767_2029_heights.csv"),  # Humboldt Bay
    ("9418767", "noaa_9418767_new_year_2030.csv"),  # across the step at New Year
]


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def station(number: str) -> HarmonicTide:
    data = tomllib.loads((PUBLISHED / f"noaa_{number}.toml").read_text(encoding="utf-8"))
    constituents = tuple(Constituent(name, *pair) for name, pair in data["constituents"].items())
    return HarmonicTide(data["mean_level_m"], constituents)


def utc_times(texts: list[str]) -> np.ndarray:
    assert all(text.endswith("+00:00") for text in texts)
    return np.array([text[:19] for text in texts], dtype="datetime64[s]")


# Published to 0.001 m or 0.001 ft: half a digit is rounding, and the constants themselves are rounded to 0.001 m.
@pytest.mark.parametrize(("number", "name"), HEIGHT_FILES)
def test_heights_agree_with_the_published_predictions(number, name):
    published = rows(name)
    heights = station(number).heights_m(utc_times([row["time"] for row in published]))
    assert np.abs(heights - [float(row["height_m"]) for row in published]).max() < 0.001


def test_the_curve_steps_at_new_year_as_the_published_one_does():
    """NOAA CO-OPS, Humboldt Bay: 44 mm from 23:54 to 0:00, of which 22 mm are the step, among rises of 20 and 23 mm."""
    published = [float(row["height_m"]) for row in rows("noaa_9418767_new_year_2030.csv")]
    times = utc_times([row["time"] for row in rows("noaa_9418767_new_year_2030.csv")])
    ours = station("9418767").heights_m(times)
    seam = int(np.flatnonzero(times == np.datetime64("2030-01-01T00:00:00"))[0])
    step = published[seam] - published[seam - 1]
    assert ours[seam] - ours[seam - 1] == pytest.approx(step, abs=0.001)
    assert step > 0.04


@pytest.mark.parametrize(
    ("day", "hours"),
    [("2025-03-09", 23), ("2025-11-02", 24)],  # in autumn the table prints 24 of the 25: the repeated hour stands once
)
def test_heights_on_clock_change_days_agree_in_local_clock(day, hours):
    """NOAA CO-OPS, San Diego: local clock (lst_ldt) as published; the repeated hour means standard time (fold 1)."""
    published = [row for row in rows("noaa_9410170_2025_clock_changes.csv") if row["local_time"].startswith(day)]
    assert len(published) == hours * 10
    zone = ZoneInfo("America/Los_Angeles")
    tide = station("9410170")
    for row in published:
        local = datetime.fromisoformat(row["local_time"]).replace(tzinfo=zone, fold=1)
        assert local.astimezone(UTC) == datetime.fromisoformat(row["utc"])
        assert height_m(tide, local) == pytest.approx(float(row["height_ft"]) * 0.3048, abs=0.001)


MAIN = ("M2", "S2", "N2", "K2", "K1", "O1", "P1", "Q1", "M4", "2N2")


@pytest.mark.parametrize("number", ["8443970", "8410140", "8729840", "1612340", "9410170"])
@pytest.mark.parametrize("year", [1950, 2027, 2033])
def test_the_main_constituents_agree_with_an_independent_library(number, year):
    """utide reckons nodal corrections from Foreman's satellites at each instant: 1.5 % of the amplitudes is allowed."""
    from utide._ut_constants import ut_constants
    from utide.harmonics import FUV

    tide = station(number)
    main = tuple(one for one in tide.constituents if one.name in MAIN)
    names = list(ut_constants.const.name)
    times = np.arange(f"{year}-01-01", f"{year + 1}-01-01", 7 * 60 + 10, dtype="datetime64[m]")
    days = (times - np.datetime64("1970-01-01")) / np.timedelta64(1, "D") + datetime(1970, 1, 1).toordinal()  # noqa: DTZ001
    index = np.array([names.index(one.name) for one in main])
    node, slow, argument = FUV(days, days.mean(), index, 30.0, [0, 0, 0, 0])
    lag = np.array([one.phase_lag_deg / 360 for one in main])
    amplitude = np.array([one.amplitude_m for one in main])
    theirs = (amplitude * node * np.cos(2 * np.pi * (slow + argument - lag))).sum(axis=1)
    ours = HarmonicTide(0.0, main).heights_m(times)
    assert np.abs(ours - theirs).max() < 0.015 * amplitude.sum() + 0.01


def test_speeds_agree_with_an_independent_list():
    """The frequencies that utide ships, cycles an hour, for every name both know and mean the same by."""
    from utide._ut_constants import ut_constants

    common = [
        (name, float(cycles) * 360)
        for name, cycles in zip(ut_constants.const.name, ut_constants.const.freq, strict=True)
        if definition(str(name)) is not None
    ]
    assert len(common) > 90
    for name, speed in common:
        assert speeds_deg_per_h([definition(str(name))])[0] == pytest.approx(speed, abs=3e-6), name


def test_the_speed_of_m1_is_the_tabulated_one():
    """Schureman, table 2: 14.4966939 degrees an hour, and not the 14.4920521 of its argument."""
    assert speeds_deg_per_h([definition("M1")])[0] == 14.4966939


def test_every_constituent_of_the_22_stations_is_known():
    names = {row["constituent"] for row in rows("more_constants.csv")}
    assert len(names) == 120
    assert [name for name in names if definition(name) is None] == []


@pytest.mark.parametrize(
    ("name", "parts"),
    # International Hydrographic Organization, list of harmonic constituents: what each compound stands for.
    [
        ("MS4", {"M2": 1, "S2": 1}),
        ("2MS6", {"M2": 2, "S2": 1}),
        ("2SM2", {"S2": 2, "M2": -1}),
        ("2MK3", {"M2": 2, "K1": -1}),
        ("2MK5", {"M2": 2, "K1": 1}),
        ("2MK6", {"M2": 2, "K2": 1}),
        ("MSN2", {"M2": 1, "S2": 1, "N2": -1}),
        ("MKS2", {"M2": 1, "K2": 1, "S2": -1}),
        ("2(MS)8", {"M2": 2, "S2": 2}),
        ("M2(KS)2", {"M2": 1, "K2": 2, "S2": -2}),
        ("2SN(MK)2", {"S2": 2, "N2": 1, "M2": -1, "K2": -1}),
        ("3KM5", {"K2": 1, "K1": 1, "M2": 1}),
        ("MNUS2", {"M2": 1, "NU2": 1, "S2": -1}),
        ("3MP5", {"M2": 3, "P1": -1}),
        ("M10", {"M2": 5}),
    ],
)
def test_a_compound_is_read_from_its_name(name, parts):
    expected = sum(times * speeds_deg_per_h([definition(part)])[0] for part, times in parts.items())
    found = definition(name)
    assert speeds_deg_per_h([found])[0] == pytest.approx(expected, abs=1e-6)
    constants = sum(times * definition(part).argument[5] for part, times in parts.items())
    assert (found.argument[5] - constants) % 360 == 0


@pytest.mark.parametrize(
    ("one", "other"),
    [("LAM2", "LAMBDA2"), ("LAM2", "lda2"), ("RHO", "RHO1"), ("SIGMA1", "SIG1"), ("THETA1", "THE1"), ("M2", " m2 ")],
)
def test_names_of_one_constituent_are_the_same(one, other):
    assert canonical(one) == canonical(other)
    assert definition(one) == definition(other)


@pytest.mark.parametrize("name", ["XYZ", "Z0", "M2X", "NO1", "OQ2", "2MK4", "K4", "M5", "22M2", "", "M0", "2", "MS3"])
def test_a_name_that_is_not_known_or_not_one_thing_is_not_guessed(name):
    assert definition(name) is None


def test_an_unknown_constituent_is_reported_with_its_amplitude_and_changes_nothing():
    known = HarmonicTide(1.0, (Constituent("M2", 1.0, 10.0),))
    tide = HarmonicTide(1.0, (Constituent("M2", 1.0, 10.0), Constituent("XQ9", 0.034, 5.0), Constituent("NO1", 0.2, 5)))
    assert [one.name for one in tide.left_out] == ["NO1", "XQ9"]
    (sentence,) = tide.sentences()
    assert sentence == (
        "2 tidal constituents are not known to the program and left out: NO1 (0.200 m), XQ9 (0.034 m); "
        "the heights may be wrong by up to 0.234 m for this alone."
    )
    assert known.sentences() == ()
    day = minutes_utc(datetime(2027, 6, 12, tzinfo=UTC), datetime(2027, 6, 13, tzinfo=UTC))
    assert np.array_equal(tide.heights_m(day), known.heights_m(day))


def test_a_constituent_given_twice_under_two_names_is_refused():
    with pytest.raises(OutOfRange, match="LDA2 is the same constituent as LAM2; give it once"):
        HarmonicTide(0.0, (Constituent("LAM2", 0.1, 0.0), Constituent("LDA2", 0.1, 0.0)))


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_an_amplitude_that_cannot_be_added_up_is_refused(bad):
    with pytest.raises(OutOfRange, match="amplitude of M2"):
        HarmonicTide(0.0, (Constituent("M2", bad, 0.0),))


@pytest.mark.parametrize("when", ["1899-12-31T23:59", "2101-01-01T00:00", "9999-01-01", "-500-01-01"])
def test_heights_outside_1900_to_2100_are_refused(when):
    with pytest.raises(OutOfRange, match=r"the year is -?\d+; it must be from 1900 to 2100"):
        station("8443970").heights_m(np.array([when], dtype="datetime64[m]"))


def test_heights_exist_to_both_ends_of_the_interval():
    times = np.array(["1900-01-01T00:00", "2100-12-31T23:59"], dtype="datetime64[m]")
    assert np.isfinite(station("8443970").heights_m(times)).all()


def test_a_time_that_is_not_a_time_has_no_height():
    times = np.array(["NaT", "2027-06-12T00:00"], dtype="datetime64[m]")
    assert list(np.isnan(station("8443970").heights_m(times))) == [True, False]
    assert np.isnan(station("8443970").heights_m(times[:1])).all()


def test_numbers_in_place_of_times_are_refused():
    with pytest.raises(OutOfRange, match="datetime64"):
        station("8443970").heights_m(np.array([1.0, 2.0]))


def test_minutes_run_from_the_first_whole_minute_up_to_but_not_including_the_end():
    zone = ZoneInfo("Atlantic/Azores")
    start = datetime(2027, 6, 12, 0, 0, 30, tzinfo=zone)
    minutes = minutes_utc(start, datetime(2027, 6, 12, 0, 3, tzinfo=zone))
    assert [str(minute) for minute in minutes] == ["2027-06-12T00:01", "2027-06-12T00:02"]


@pytest.mark.parametrize(("day", "hours"), [((2027, 3, 28), 23), ((2027, 10, 31), 25), ((2027, 6, 12), 24)])
def test_a_local_day_has_as_many_minutes_as_the_clock_change_leaves(day, hours):
    zone = ZoneInfo("Atlantic/Azores")
    year, month, number = day
    start = datetime(year, month, number, tzinfo=zone)
    end = datetime.fromordinal(start.toordinal() + 1).replace(tzinfo=zone)
    assert minutes_utc(start, end).size == hours * 60


def test_naive_times_are_refused():
    naive = datetime(2027, 6, 12)  # noqa: DTZ001
    message = re.escape("2027-06-12T00:00:00 has no time zone; give a time with its offset from UTC")
    with pytest.raises(OutOfRange, match=message):
        minutes_utc(naive, naive)
    with pytest.raises(OutOfRange, match=message):
        station("8443970").turning_points(naive, naive)


def test_heights_on_an_even_grid_and_one_by_one_are_the_same():
    """The two ways of adding up the cosines give the same heights (a matter of arithmetic, not of tides)."""
    tide = station("8410140")
    minutes = minutes_utc(datetime(2026, 12, 30, tzinfo=UTC), datetime(2027, 1, 3, tzinfo=UTC))
    shuffled = np.random.default_rng(7).permutation(minutes.size)
    assert np.abs(tide.heights_m(minutes)[shuffled] - tide.heights_m(minutes[shuffled])).max() < 1e-9
