"""The sun of many days at once: the same events as one day by the astral library, and as an independent ephemeris."""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tripplan.environment.daylight import daylight
from tripplan.environment.sun import local_midnights, solar_position, sun_times
from tripplan.errors import OutOfRange

PUBLISHED = Path(__file__).resolve().parent.parent / "published" / "daylight"
EVENTS = ("civil_dawn", "sunrise", "solar_noon", "sunset", "civil_dusk")
PLACES = [
    (46.9, -16.8, "Atlantic/Azores"),
    (61.0, -1.2, "Europe/London"),
    (69.65, 18.95, "Europe/Oslo"),  # midnight sun and polar night
    (78.2, 15.6, "Arctic/Longyearbyen"),
    (-77.8, 166.7, "Antarctica/McMurdo"),
    (0.0, -78.5, "America/Guayaquil"),  # the equator
    (-16.8, 179.9, "Pacific/Fiji"),  # beside the date line
    (52.0, -179.5, "America/Adak"),
    (-13.8, -171.8, "Pacific/Apia"),  # a whole day ahead of its sun
    (40.0, 90.0, "Asia/Shanghai"),  # a clock two hours from the sun
    (89.9, 0.0, "UTC"),
]


def rows(name: str) -> list[dict[str, str]]:
    lines = (PUBLISHED / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def plain(moment: datetime | None) -> np.datetime64:
    return np.datetime64("NaT") if moment is None else np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "s")


@pytest.mark.parametrize(("latitude", "longitude", "zone"), PLACES, ids=[zone for *_, zone in PLACES])
def test_a_year_at_once_is_the_year_of_single_days_to_the_second(latitude, longitude, zone):
    """Against daylight(), which asks the astral library for each second of its search.

    It cuts a sunrise to the second that has wholly risen and a sunset to the last that has not begun to set: the
    shorter day, against the diver. So no minute can differ; a difference of one second would fail here.
    """
    first, last = date(2027, 1, 1), date(2027, 12, 31)
    found = sun_times(latitude, longitude, first, last, zone)
    for number in range(0, 365, 3):
        light = daylight(latitude, longitude, first + timedelta(days=number), zone)
        for event in EVENTS:
            mine, theirs = getattr(found, event)[number], plain(getattr(light, event))
            assert (np.isnat(mine) and np.isnat(theirs)) or mine == theirs, (number, event)
        assert found.sun_is_up_at_noon[number] == light.sun_is_up_at_noon


# Computed with skyfield and JPL DE421, an ephemeris independent of the astral library; "none": does not happen.
@pytest.mark.parametrize(
    "row", rows("cases.csv"), ids=lambda row: f"{row['latitude']},{row['longitude']} {row['date']}"
)
def test_events_agree_with_an_independent_ephemeris(row):
    day = date.fromisoformat(row["date"])
    found = sun_times(float(row["latitude"]), float(row["longitude"]), day, day, row["timezone"])
    allowed_s = 5 if abs(float(row["latitude"])) <= 55 else float(row["tolerance_s"])
    for event in ("civil_dawn", "sunrise", "sunset", "civil_dusk"):
        mine = getattr(found, event)[0]
        if row[event] == "none":
            assert np.isnat(mine), event
        elif row[event]:
            assert abs((mine - plain(datetime.fromisoformat(row[event]))).astype(int)) <= allowed_s, event


def test_the_printed_table_of_a_whole_year_agrees_to_the_minute():
    """US Naval Observatory, San Francisco 2012, whole minutes, standard time all year."""
    days = rows("usno_san_francisco_2012.csv")
    found = sun_times(37 + 46 / 60, -(122 + 26 / 60), date(2012, 1, 1), date(2012, 12, 31), "Etc/GMT+8")
    for number, row in enumerate(days):
        for event in ("sunrise", "sunset"):
            printed = plain(datetime.fromisoformat(row[event]))
            assert abs((getattr(found, event)[number] - printed).astype(int)) <= 60, (row["date"], event)


def test_the_sun_stands_where_the_library_says_for_many_times_at_once():
    from astral import Observer, sun

    times = np.datetime64("2027-01-01T00:00:00") + np.arange(0, 364 * 86_400, 94_261)
    found = solar_position(61.0, -1.2, times)
    observer = Observer(61.0, -1.2, 0.0)
    for number, when in enumerate(times.tolist()):
        known = sun.elevation(observer, when.replace(tzinfo=UTC), with_refraction=False)
        assert found.elevation_deg[number] == pytest.approx(known, abs=1e-6)
    # Meeus, Astronomical Algorithms: the sun's declination reaches 23.44 degrees; clock and dial differ by 16.5 min.
    assert np.abs(found.declination_deg).max() == pytest.approx(23.44, abs=0.02)
    assert np.abs(found.equation_of_time_min).max() == pytest.approx(16.4, abs=0.2)


def test_a_time_that_is_none_has_no_sun():
    found = solar_position(0.0, 0.0, np.array(["NaT", "2027-06-01T12:00"], dtype="datetime64[s]"))
    assert np.isnan(found.elevation_deg[0]) and found.elevation_deg[1] > 60


def test_a_day_begins_at_local_midnight_and_has_its_true_hours():
    """The clock goes forward in the Azores at 00:00 on 28 March 2027 and back at 01:00 on 31 October."""
    hours = np.diff(local_midnights(date(2027, 3, 27), date(2027, 3, 29), "Atlantic/Azores")).astype(int) / 3600
    assert hours.tolist() == [24, 23, 24]
    hours = np.diff(local_midnights(date(2027, 10, 30), date(2027, 11, 1), "Atlantic/Azores")).astype(int) / 3600
    assert hours.tolist() == [24, 25, 24]


@pytest.mark.parametrize(
    ("place", "sentence"),
    [((91.0, 0.0), "latitude is 91"), ((0.0, 181.0), "longitude is 181")],
)
def test_a_place_off_the_earth_is_refused(place, sentence):
    with pytest.raises(OutOfRange, match=sentence):
        sun_times(*place, date(2027, 1, 1), date(2027, 1, 2), "UTC")
    with pytest.raises(OutOfRange, match=sentence):
        solar_position(*place, np.array(["2027-01-01"], dtype="datetime64[s]"))


def test_years_beyond_the_formulas_and_times_that_are_none_are_refused():
    with pytest.raises(OutOfRange, match="year is 1900"):
        sun_times(0.0, 0.0, date(1900, 1, 1), date(1901, 1, 2), "UTC")
    with pytest.raises(OutOfRange, match="datetime64"):
        solar_position(0.0, 0.0, np.array([1.0]))
