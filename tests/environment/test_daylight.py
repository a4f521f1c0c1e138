"""Daylight against an independent ephemeris and the printed tables of the US Naval Observatory."""

from __future__ import annotations

import csv
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.environment.daylight import Daylight, daylight

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
    # Below 55 degrees of latitude the sun crosses the horizon steeply: a quarter of a minute is allowed there.
    allowed_s = 15 if abs(float(row["latitude"])) <= 55 else float(row["tolerance_s"])
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
    for row in rows("usno_san_francisco_2012.csv"):
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


@pytest.mark.parametrize(
    ("latitude", "day", "words"),
    [
        (69.6, date(2026, 6, 21), "the sun does not set"),
        (69.6, date(2026, 12, 21), "the sun does not rise"),
        (78.2, date(2026, 12, 21), "no civil twilight"),
        (64.1, date(2026, 6, 21), "civil twilight lasts all night"),
    ],
)
def test_a_missing_event_is_explained_in_words(latitude, day, words):
    assert words in daylight(latitude, 18.9, day, "UTC").note


def test_an_ordinary_day_needs_no_note():
    assert daylight(47.0, -17.0, date(2026, 12, 12), "Atlantic/Azores").note == ""


# New and full moons of late 2026 (UTC dates), from memory of almanac lists: full 24 November, new 9 December.
@pytest.mark.parametrize(("day", "word"), [(date(2026, 11, 24), "full"), (date(2026, 12, 9), "new")])
def test_the_moon_is_full_and_new_when_the_almanac_says(day, word):
    assert word in daylight(47.0, -17.0, day, "UTC").moon_words


ZONES = st.sampled_from(
    ["UTC", "Atlantic/Azores", "Pacific/Kiritimati", "Pacific/Apia", "America/Adak", "Asia/Kolkata"]
)


@settings(max_examples=60, deadline=None)
@given(
    latitude=st.floats(-89.5, 89.5),
    longitude=st.floats(-180, 180),
    day=st.dates(date(1950, 1, 1), date(2099, 12, 31)),
    zone=ZONES,
)
def test_events_come_in_order_around_the_noon_of_the_date(latitude, longitude, day, zone):
    light = daylight(latitude, longitude, day, zone)
    assert light.solar_noon.date() == day
    moments = [light.civil_dawn, light.sunrise, light.solar_noon, light.sunset, light.civil_dusk]
    known = [moment for moment in moments if moment is not None]
    assert known == sorted(known)
    if None in moments:
        assert light.note
    assert light.sun_is_up_at_noon == (light.sunrise is not None or light.sunset is not None or "not set" in light.note)
