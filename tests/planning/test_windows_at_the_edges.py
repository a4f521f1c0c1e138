"""Windows on days that are not like others: clock changes, midnight, the polar day and night, no tide, a daily tide.

Closures are given in UTC; what the local clock must show follows from the IANA time zone database: in 2027 the Azores
are at UTC-1 in winter and at UTC in summer, changing at 01:00 UTC on 28 March and on 31 October.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import cove_world
import numpy as np
import pytest
import weather_world as ww
from cove_world import DAY

from tripplan.catalogue.site import Site
from tripplan.catalogue.station import Station
from tripplan.environment.conditions import Conditions, Forecast, Series
from tripplan.environment.tide import Constituent, HarmonicTide
from tripplan.planning.plan import DayPlan
from tripplan.planning.request import DiveWish
from tripplan.planning.window import DayGrid, Window

# 3 m/s, but 10 m/s at 12 and 13 h UTC. Force 4 ends at 16 kn = 8.231 m/s, passed 44.8 min after 11 h and 15.2 min
# after 13 h: closed, by whole minutes, from 11:44 to 13:16 UTC.
BLOW = [3.0] * 12 + [10.0, 10.0] + [3.0] * 10


def blow(day: date) -> Conditions:
    return ww.conditions(day, **{**ww.STILL, "wind_m_s": BLOW})


def spans(quantity: str, day: date, told: dict[tuple[float, float], float]) -> Series:
    midnight = ww.at(day, 0)
    starts, ends = (tuple(midnight + timedelta(hours=pair[n]) for pair in told) for n in (0, 1))
    return Series(quantity, starts, ends, tuple(told.values()), ww.origin(day))


def total_min(made: DayPlan) -> int:
    """Add up minutes open and closed for going in, as the plan shows them: they must make the day."""
    grid = DayGrid(made.date, made.timezone)
    closed = int(Window(grid, made.closures).closed("entry").sum())
    return closed + sum(span.minutes for window in made.windows for span in window.entries)


# ---- the clock changes ----


@pytest.mark.parametrize(
    ("day", "minutes", "local", "first_minute"),
    [
        (date(2027, 3, 27), 1440, ("10:44", "12:16"), 644),
        (date(2027, 3, 28), 1380, ("11:44", "13:16"), 644),  # the day begins at 01:00 UTC
        (date(2027, 3, 29), 1440, ("11:44", "13:16"), 704),
        (date(2027, 10, 30), 1440, ("11:44", "13:16"), 704),
        (date(2027, 10, 31), 1500, ("10:44", "12:16"), 704),  # the day begins at 00:00 UTC
        (date(2027, 11, 1), 1440, ("10:44", "12:16"), 644),
    ],
)
def test_wind_of_an_hour_utc_closes_the_right_minutes_of_the_local_day(day, minutes, local, first_minute):
    made = ww.plan(blow(day), day=day)
    assert made.curve.minutes == minutes
    assert ww.closed(made, "wind") == [local]
    (closure,) = (c for c in made.closures if c.rule == "wind")
    assert closure.start.astimezone(UTC) == ww.at(day, 11, 44) and closure.end.astimezone(UTC) == ww.at(day, 13, 16)
    assert DayGrid(day, made.timezone).minute_floor(closure.start) == first_minute
    assert ww.closed_min(made, "wind") == 92
    assert total_min(made) == minutes
    assert len(made.curve.wind_kn) == minutes


def test_thunder_in_the_hour_that_comes_twice_closes_it_both_times():
    """00:00 to 01:00 UTC is 00:00 to 01:00 the first time; with the wait, to 00:30 the second time."""
    day = date(2027, 10, 31)
    made = ww.plan(ww.conditions(day, **{**ww.STILL, "thunder": [1.0] + [0.0] * 23}), day=day)
    first = next(c for c in made.closures if c.rule == "thunder")
    assert first.start.isoformat() == "2027-10-31T00:00:00+00:00"
    assert first.end.isoformat() == "2027-10-31T00:30:00-01:00"
    assert sum(c.end.timestamp() - c.start.timestamp() for c in made.closures if c.rule == "thunder") == 90 * 60


def test_in_the_hour_that_the_clock_skips_nothing_is_closed_twice():
    """On 28 March thunder from 00:00 to 02:00 UTC: the day begins at 01:00; with the wait it is over at 02:30."""
    day = date(2027, 3, 28)
    made = ww.plan(ww.conditions(day, **{**ww.STILL, "thunder": [1.0, 1.0] + [0.0] * 22}), day=day)
    assert ww.closed(made, "thunder") == [("01:00", "02:30")]
    assert ww.closed_min(made, "thunder") == 90


def test_what_was_seen_before_the_clock_went_back_holds_for_three_real_hours():
    """Seen at 23:30 UTC the evening before (23:30 local): to 02:30 UTC, which is 01:30 local, 150 min into the day."""
    day = date(2027, 10, 31)
    seen = ww.Seen("visibility_m", 100.0, ww.at(day, 0) - timedelta(minutes=30))
    made = ww.plan(ww.conditions(day, seen, **ww.STILL), day=day)
    assert ww.closed(made, "visibility") == [("00:00", "01:30")]
    assert ww.closed_min(made, "visibility") == 150


# ---- over midnight ----


def test_fog_over_midnight_closes_its_part_of_both_days_for_a_night_dive():
    """100 m from 23:00 to 01:00: from the minute 22:59, which ends in fog, 61 minutes today and 60 tomorrow."""
    told = {(-24, 23): 20000.0, (23, 25): 100.0, (25, 60): 20000.0}
    fog = Conditions(
        Forecast((spans("visibility_m", DAY, told), *ww.forecast(DAY, **{**ww.STILL, "visibility_m": None}).series))
    )
    night = ww.guided(kind="night", dives=(DiveWish(depth_m=10.0, minutes=20),))
    today = ww.plan(fog, night)
    tomorrow = ww.plan(fog, night, day=DAY + timedelta(days=1))
    assert ww.closed(today, "visibility") == [("22:59", "00:00")]
    assert ww.closed(tomorrow, "visibility") == [("00:00", "01:00")]
    assert ww.closed_min(today, "visibility") + ww.closed_min(tomorrow, "visibility") == 121
    (dive,) = today.dives
    dusk = today.light.civil_dusk
    assert dive.entry is not None and dusk is not None and dusk <= dive.entry
    assert dive.exit is not None and dive.exit_by is not None and dive.window_closes is not None
    assert dive.exit <= dive.exit_by <= dive.window_closes == ww.at(DAY, 22, 59)
    assert [w.end.isoformat() for w in today.windows] == ["2027-06-12T22:59:00+00:00"]
    assert total_min(today) == total_min(tomorrow) == 1440


def test_a_night_dive_that_does_not_fit_before_the_fog_is_not_planned():
    told = {(-24, 22): 20000.0, (22, 25): 100.0, (25, 60): 20000.0}
    fog = Conditions(Forecast((spans("visibility_m", DAY, told),)))
    made = ww.plan(fog, ww.guided(kind="night", dives=(DiveWish(depth_m=10.0, minutes=60),)))
    (dive,) = made.dives
    assert dive.entry is None or (dive.bottom_time_min is not None and dive.bottom_time_min < 60)
    assert dive.exit_by is None or dive.exit_by <= ww.at(DAY, 21, 59)


def test_wind_that_blows_over_midnight_leaves_no_open_minute_between_the_days():
    """10 m/s from 22 h to 2 h: the last minute of one day and the first of the next are both closed."""
    first = ww.at(DAY, 0) - timedelta(days=1)
    times = tuple(first + timedelta(hours=h) for h in range(96))
    values = tuple(10.0 if 46 <= h <= 50 else 3.0 for h in range(96))
    wind = Series("wind_m_s", times, times, values, ww.origin(DAY))
    windy = Conditions(Forecast((wind, *ww.forecast(DAY, **{**ww.STILL, "wind_m_s": None, "gust_m_s": None}).series)))
    today, tomorrow = ww.plan(windy), ww.plan(windy, day=DAY + timedelta(days=1))
    # 16 kn are passed 44.8 min after 21 h, and again 15.2 min after 2 h.
    assert ww.closed(today, "wind") == [("21:44", "00:00")] and ww.closed(tomorrow, "wind") == [("00:00", "02:16")]
    assert ww.closed_min(today, "wind") + ww.closed_min(tomorrow, "wind") == 4 * 60 + 32


# ---- the polar day and the polar night ----


def northern(**more: object) -> Site:
    """A cove at 70 N 25 E, where the sun does not set from mid May to late July nor rise from late November on."""
    care = tuple({**one.model_dump(), "position": "70.05, 25.05"} for one in (cove_world.site().hospitals[0],))
    whole = {
        "position": "70.0000, 25.0000",
        "timezone": "Europe/Oslo",
        "rendezvous": {"place": "Gate", "position": "70.0010, 25.0010"},
        "hospitals": care,
        "chambers": tuple({**one, "name": "Chamber"} for one in care),
        "tide": {"none_because": "left out of this test"},
    }
    return ww.cove(**{**whole, **more})


def test_under_the_midnight_sun_only_the_weather_closes():
    """Oslo keeps UTC+2 in June: 11:44 to 13:16 UTC is 13:44 to 15:16."""
    day = date(2027, 6, 21)
    made = ww.plan(blow(day), site=northern(), day=day)
    assert made.light.sunrise is None and made.light.sunset is None and "midnight sun" in made.light.note
    assert {closure.rule for closure in made.closures} == {"wind"}
    assert [(f"{w.start:%H:%M}", f"{w.end:%H:%M}") for w in made.windows] == [("00:00", "13:44"), ("15:16", "00:00")]
    assert total_min(made) == 1440


def test_in_the_polar_night_nothing_is_open_and_the_weather_s_reason_is_kept_too():
    day = date(2027, 12, 21)
    made = ww.plan(blow(day), site=northern(), day=day)
    assert made.light.sunrise is None and "polar night" in made.light.note
    assert made.windows == () and made.dives[0].entry is None
    found = Window(DayGrid(day, "Europe/Oslo"), made.closures)
    assert {c.rule for c in found.reasons(13 * 60)} == {"light", "wind"}  # 12:00 UTC
    assert {c.rule for c in found.reasons(9 * 60)} == {"light"}


def test_a_night_dive_in_the_polar_night_is_closed_by_the_weather_alone():
    day = date(2027, 12, 21)
    night = ww.guided(kind="night", dives=(DiveWish(depth_m=10.0, minutes=20),))
    made = ww.plan(blow(day), night, site=northern(), day=day)
    closed = Window(DayGrid(day, "Europe/Oslo"), made.closures).closed("water")
    assert np.flatnonzero(closed).tolist() == list(range(12 * 60 + 44, 14 * 60 + 16))  # UTC+1


# ---- no tide, and a tide of one high water a day ----


def test_a_site_without_any_tide_is_closed_by_light_and_weather_only():
    still = ww.cove(tide={"none_because": "an inland sea"})
    made = ww.plan(blow(DAY), site=still)
    assert made.tide_events == () and made.curve.tide_m == ()
    assert "an inland sea" in made.tide_words
    assert {closure.rule for closure in made.closures} == {"light", "wind"}
    assert ww.closed(made, "wind") == [("11:44", "13:16")]
    assert made.dives[0].tide_entry_m is None and made.dives[0].entry is not None
    assert total_min(made) == 1440


K1_PERIOD = timedelta(hours=360 / 15.0410686)  # a sidereal day, 23 h 56 min 4 s


def diurnal(*constituents: Constituent) -> dict[str, Station]:
    tide = HarmonicTide(mean_level_m=1.0, constituents=constituents)
    return {
        "quay": Station(
            slug="quay", name="Test quay", latitude_deg=47.0, longitude_deg=-17.0, timezone="Atlantic/Azores",
            datum="chart datum", tide=tide, kind="constants", issued=None, source="invented",
        )
    }  # fmt: skip


def high_waters(made: DayPlan) -> list[datetime]:
    return [event.time for event in made.tide_events if event.kind == "high"]


def test_a_tide_of_k1_alone_has_one_high_water_a_sidereal_day():
    stations = diurnal(Constituent("K1", 0.5, 200.0))
    plans = [ww.plan(blow(DAY), day=DAY + timedelta(days=n), stations=stations) for n in range(3)]
    highs = [time for made in plans for time in high_waters(made)]
    assert 3 <= len(highs) <= 4
    for one, two in pairwise(highs):
        assert abs((two - one) - K1_PERIOD) <= timedelta(minutes=2)
    for made in plans:
        assert all(one.kind != two.kind for one, two in pairwise(made.tide_events))


def test_a_way_out_above_the_mean_level_is_closed_half_of_each_daily_tide():
    """Out from 1.0 m, the mean level, on: 0.8 m and the margin of 0.2 m. Half of 1436 minutes lie below it."""
    way = {**ww.BEACH, "slope": 0.05, "coming_out": {"lowest_m": 0.8}}
    made = ww.plan(blow(DAY), site=ww.cove(entries=(way,)), stations=diurnal(Constituent("K1", 0.5, 200.0)))
    assert abs(ww.closed_min(made, "tide-coming-out") - 718) <= 6
    heights = made.curve.tide_m
    grid = DayGrid(DAY, made.timezone)
    for window in made.windows:
        first, end = grid.minute_floor(window.start), grid.minute_floor(window.end)
        assert min(heights[first:end]) >= 1.0 - 1e-9
    assert ww.closed(made, "wind") == [("11:44", "13:16")]
    assert total_min(made) == 1440


def test_a_tide_of_k1_and_o1_stays_daily_and_swells_and_shrinks_in_a_fortnight():
    """Their sum goes from together to against each other in half of 360 / (15.0411 - 13.9430) h: 6.8 days."""
    tide = diurnal(Constituent("K1", 0.4, 200.0), Constituent("O1", 0.3, 180.0))["quay"].tide
    assert tide is not None
    start = ww.at(DAY, 0)
    highs = [p for p in tide.turning_points(start, start + timedelta(days=28)) if p.kind == "high"]
    assert 26 <= len(highs) <= 30  # K1, the larger, sets the count: 28.08
    tops = [p.height_m for p in highs]
    # The moon's nodes move K1 by up to 11 % and O1 by up to 19 %.
    assert 1 + 0.9 * 0.4 * 0.89 < max(tops) < 1 + 0.4 * 1.12 + 0.3 * 1.19
    assert min(tops) < 1 + 0.25
    largest = max(range(len(highs)), key=lambda n: tops[n])
    smallest = min(range(len(highs)), key=lambda n: tops[n])
    apart_days = abs((highs[largest].time - highs[smallest].time).total_seconds()) / 86400
    assert min(abs(apart_days - 6.83), abs(apart_days - 20.5)) <= 2


def test_a_plan_at_a_daily_tide_shows_what_happens_and_no_more():
    stations = diurnal(Constituent("K1", 0.4, 200.0), Constituent("O1", 0.3, 180.0))
    for n in range(0, 14, 3):
        day = DAY + timedelta(days=n)
        made = ww.plan(blow(day), day=day, stations=stations)
        assert 1 <= len(made.tide_events) <= 4
        assert all(one.kind != two.kind for one, two in pairwise(made.tide_events))
        assert ww.closed(made, "wind") == [("11:44", "13:16")]
