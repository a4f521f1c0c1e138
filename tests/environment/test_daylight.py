"""Daylight against an independent ephemeris and the printed tables of the US Naval Observatory."""

from __future__ import annotations

import csv
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.environment.daylight import Daylight, daylight
from tripplan.errors import OutOfRange

PUBLISHED = Path(__file__).resolve().parent.parent / "published" / "daylight"
EVENTS = ("civil_dawn", "sunrise", "sunset", "civil_dusk")


def rows(name: str) -> list[dict[str, str]]:
    lines = (PUBLISHED / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def light_of(row: dict[str, str]) -> Daylight:
    day = date.fromisoformat(row["date"])
    return daylight(float(row["latitude"]), float(row["longitude"]), day, row["timezone"])


# Computed with skyfield and JPL DE421, an ephemeris independent of the library used here; "none": does not happen.
CASES = rows("cases.csv") + rows("more_cases.csv")


@pytest.mark.parametrize("row", CASES, ids=lambda row: f"{row['latitude']},{row['longitude']} {row['date']}")
def test_events_agree_with_an_independent_ephemeris(row):
    light = light_of(row)
    # Up to 55 degrees of latitude the sun crosses the horizon steeply: the 5 s that the function promises.
    allowed_s = 5 if abs(float(row["latitude"])) <= 55 else float(row["tolerance_s"])
    for event in EVENTS:
        found = getattr(light, event)
        if row[event] == "none":
            assert found is None, event
            assert light.note
        elif row[event]:
            assert found is not None, event
            assert abs((found - datetime.fromisoformat(row[event])).total_seconds()) <= allowed_s, event


@pytest.mark.parametrize("row", rows("more_cases.csv"), ids=lambda row: f"{row['place']} {row['date']}")
def test_solar_noon_agrees_with_an_independent_ephemeris(row):
    found = light_of(row).solar_noon
    assert abs((found - datetime.fromisoformat(row["solar_noon"])).total_seconds()) <= 30
    assert found.date() == date.fromisoformat(row["date"])


def test_every_sunrise_and_sunset_of_a_year_agrees_with_the_printed_table():
    """US Naval Observatory, San Francisco 2012, whole minutes, standard time all year."""
    days = rows("usno_san_francisco_2012.csv")
    assert len(days) == 366
    for row in days:
        day = date.fromisoformat(row["date"])
        light = daylight(37 + 46 / 60, -(122 + 26 / 60), day, "Etc/GMT+8")
        for event in ("sunrise", "sunset"):
            difference = getattr(light, event) - datetime.fromisoformat(row[event])
            assert abs(difference) <= timedelta(minutes=1), (day, event)


@pytest.mark.parametrize("row", rows("usno_single_days.csv"), ids=lambda row: f"{row['place']} {row['event']}")
def test_single_days_agree_with_the_naval_observatory(row):
    """US Naval Observatory, answers of its public service, whole minutes."""
    moment = datetime.fromisoformat(row["time"])
    zone = {"-05:00": "Etc/GMT+5"}[row["time"][-6:]]
    light = daylight(float(row["latitude"]), float(row["longitude"]), moment.date(), zone)
    assert abs(getattr(light, row["event"]) - moment) <= timedelta(minutes=1)


NO_DUSK = "there is no civil dusk: it does not get dark, civil twilight lasts all night"


@pytest.mark.parametrize(
    ("latitude", "day", "note"),
    [
        (69.6, date(2026, 6, 21), "the sun does not set (midnight sun)"),
        (69.6, date(2026, 12, 21), "the sun does not rise (polar night)"),
        (78.2, date(2026, 12, 21), "the sun does not rise (polar night); there is no civil twilight either"),
        (64.1, date(2026, 6, 21), f"there is no civil dawn: it did not get dark the night before; {NO_DUSK}"),
        # In the second week of March the sun stands some 4 degrees below the horizon near the pole, day and night.
        (89.5, date(2026, 3, 12), f"the sun does not rise (polar night); there is no civil dawn: "
                                  f"it did not get dark the night before; {NO_DUSK}"),
    ],
)  # fmt: skip
def test_a_missing_event_is_explained_in_words(latitude, day, note):
    assert daylight(latitude, 18.9, day, "UTC").note == note


def test_no_sunrise_is_made_up_on_the_first_evening_after_the_midnight_sun():
    # 66 N, 30 June 2027: an ephemeris (skyfield, JPL DE421) has no sunrise on this day; the sun is up since days.
    light = daylight(66.0, -5.5, date(2027, 6, 30), "UTC")
    assert light.sunrise is None
    assert "there is no sunrise: the sun was up all night before" in light.note


def test_an_ordinary_day_needs_no_note():
    assert daylight(47.0, -17.0, date(2026, 12, 12), "Atlantic/Azores").note == ""


@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 10, 25)])
def test_a_change_of_the_clock_moves_no_event(day):
    # Tromso, the days on which the clocks of Norway change (EU directive 2000/84/EC: last Sundays, 01:00 UTC).
    local, universal = (daylight(69.65, 18.96, day, zone) for zone in ("Europe/Oslo", "UTC"))
    for event in ("solar_noon", *EVENTS):
        assert getattr(local, event) == getattr(universal, event), event


def test_a_date_on_which_the_clock_has_no_noon_still_has_its_sun_and_says_that_the_zone_is_wrong():
    # 180 W by UTC: noon falls at midnight, and where the sun runs slow it steps over a whole date (14 June 2026).
    light = daylight(47.0, -180.0, date(2026, 6, 14), "UTC")
    assert light.sun_is_up_at_noon
    assert light.sunrise < light.solar_noon < light.sunset
    assert "polar night" not in light.note
    assert "check the position and the time zone" in light.note


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [
        (39.5, 76.0, "Asia/Shanghai"),  # Kashgar: noon at about 15:00, the widest of all
        (1.9, -157.4, "Pacific/Kiritimati"),
        (51.9, -176.6, "America/Adak"),
    ],
)
def test_a_wide_clock_that_is_really_kept_is_not_called_wrong(latitude, longitude, zone):
    assert all(daylight(latitude, longitude, date(2026, month, 11), zone).note == "" for month in range(1, 13))


def test_a_position_with_the_wrong_sign_is_told():
    # Los Angeles lies at 118.3 west; east of Greenwich its clock would be some eight hours out.
    assert "time zone" in daylight(33.7, 118.3, date(2026, 1, 11), "America/Los_Angeles").note


@pytest.mark.parametrize(
    ("latitude", "longitude", "day"),
    [
        (90.1, 0.0, date(2026, 1, 1)),
        (float("nan"), 0.0, date(2026, 1, 1)),
        (0.0, 180.5, date(2026, 1, 1)),
        (0.0, 0.0, date(1900, 12, 31)),
        (0.0, 0.0, date(2100, 1, 1)),
        (0.0, 0.0, date(9999, 12, 31)),
    ],
)
def test_a_place_or_year_that_the_formulas_do_not_know_is_refused(latitude, longitude, day):
    with pytest.raises(OutOfRange):
        daylight(latitude, longitude, day, "UTC")


# Eclipses of the sun happen at new moon, of the moon at full moon (NASA's catalogues; dates by universal time).
@pytest.mark.parametrize(
    ("day", "phase", "words"),
    [
        (date(2024, 4, 8), 0.0, "new moon"),
        (date(2026, 8, 12), 0.0, "new moon"),
        (date(2027, 8, 2), 0.0, "new moon"),
        (date(2025, 3, 14), 0.5, "full moon"),
        (date(2026, 3, 3), 0.5, "full moon"),
        (date(2028, 12, 31), 0.5, "full moon"),
        # Not eclipses, but the moons of the demonstration's days; dates from memory of printed lists.
        (date(2026, 11, 24), 0.5, "full moon"),
        (date(2026, 12, 9), 0.0, "new moon"),
    ],
)
def test_the_moon_is_new_and_full_on_the_days_of_eclipses(day, phase, words):
    light = daylight(47.0, -17.0, day, "UTC")
    assert abs((light.moon_phase_fraction - phase + 0.5) % 1 - 0.5) < 0.03  # less than a day of 29.5
    assert light.moon_words.startswith(words)


def test_the_lit_part_of_the_moon_waxes_to_the_full_and_wanes_after_it():
    # From the solar eclipse of 12 August 2026 (new moon) to the lunar eclipse of 28 August 2026 (full moon).
    lit = [
        int(daylight(47.0, -17.0, date(2026, 8, 12) + timedelta(days=n), "UTC").moon_words.split()[-3])
        for n in range(17)
    ]
    assert lit == sorted(lit)
    assert lit[0] <= 1 and lit[-1] >= 99
    assert "waxing crescent" in daylight(47.0, -17.0, date(2026, 8, 16), "UTC").moon_words
    assert "waning crescent" in daylight(47.0, -17.0, date(2026, 9, 8), "UTC").moon_words


ZONES = st.sampled_from(
    ["UTC", "Atlantic/Azores", "Pacific/Kiritimati", "Pacific/Apia", "America/Adak", "Asia/Kolkata"]
)


@settings(max_examples=120, deadline=None)
@given(
    latitude=st.floats(-89.9, 89.9),
    longitude=st.floats(-180, 180),
    day=st.dates(date(1950, 1, 1), date(2099, 12, 31)),
    zone=ZONES,
)
def test_events_come_in_order_around_the_noon_of_the_date(latitude, longitude, day, zone):
    light = daylight(latitude, longitude, day, zone)
    if "by this clock" not in light.note:
        assert light.solar_noon.date() == day
    moments = [light.civil_dawn, light.sunrise, light.solar_noon, light.sunset, light.civil_dusk]
    known = [moment for moment in moments if moment is not None]
    assert known == sorted(known)
    if None in moments:
        assert light.note.replace("check the position and the time zone", "").strip()
    for earlier, later in pairwise(known):
        assert later - earlier <= timedelta(hours=13)
    assert light.sun_is_up_at_noon == (light.sunrise is not None or light.sunset is not None or "not set" in light.note)
