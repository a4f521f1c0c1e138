"""The minutes of a day: what closes them, why, and what is left."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from small_world import DAY, SOUTH, TIDAL, group, limits, plan, site, stops, swing, the_check, wish, world

from tripplan.environment.daylight import Daylight
from tripplan.people.group import KINDS
from tripplan.planning.plan import Closure
from tripplan.planning.setting import site_windows
from tripplan.planning.window import (
    DayGrid,
    Window,
    access_closures,
    light_closures,
    merge,
    runs,
    stream_closures,
    tide_closures,
)
from tripplan.rulebook import baseline

RULES = baseline()
GUIDED, COURSE, NIGHT = KINDS["guided"], KINDS["level_1_course"], KINDS["night"]
UTC_DAY = DayGrid(DAY, "UTC")


def closure(first: int, end: int, phase: str = "water", rule: str = "test", grid: DayGrid = UTC_DAY) -> Closure:
    return Closure(grid.at(first), grid.at(end), phase, rule, f"{rule} {first}-{end}", "TEST")  # type: ignore[arg-type]


def spans(window: Window) -> list[tuple[str, str, list[tuple[str, str]]]]:
    return [
        (f"{w.start:%H:%M}", f"{w.end:%H:%M}", [(f"{e.start:%H:%M}", f"{e.end:%H:%M}") for e in w.entries])
        for w in window.usable()
    ]


# ---- the length of a day and its clock ----

# Days on which the clock changes, by the IANA time zone database. Lord Howe Island moves by half an hour.
CHANGES = [
    ("Atlantic/Azores", date(2027, 3, 28), 1380),
    ("Atlantic/Azores", date(2027, 10, 31), 1500),
    ("Atlantic/Azores", date(2027, 3, 27), 1440),
    ("Atlantic/Azores", date(2027, 3, 29), 1440),
    ("America/New_York", date(2027, 3, 14), 1380),
    ("America/New_York", date(2027, 11, 7), 1500),
    ("Australia/Lord_Howe", date(2027, 10, 3), 1410),
    ("Australia/Lord_Howe", date(2027, 4, 4), 1470),
    ("Pacific/Apia", date(2027, 6, 12), 1440),
    ("UTC", date(2028, 2, 29), 1440),
]


@pytest.mark.parametrize(("zone", "day", "minutes"), CHANGES)
def test_a_day_has_the_minutes_that_the_clock_change_leaves_it(zone, day, minutes):
    grid = DayGrid(day, zone)
    assert grid.minutes == minutes
    assert len(grid.times) == minutes
    assert grid.at(0) == grid.start
    assert grid.at(minutes).date() == day + timedelta(days=1)
    assert {grid.at(m).date() for m in range(minutes)} == {day}
    assert all(grid.minute_floor(grid.at(m)) == m == grid.minute_ceil(grid.at(m)) for m in range(0, minutes, 7))


def test_a_day_that_skips_midnight_begins_at_the_first_time_that_the_clock_shows():
    # In the Azores the clock goes from 00:00 to 01:00 on 2027-03-28: there is no 00:30 and no midnight.
    grid = DayGrid(date(2027, 3, 28), "Atlantic/Azores")
    assert grid.start.isoformat() == "2027-03-28T01:00:00+00:00"
    assert grid.of_clock(time(0, 30)) == 0
    assert grid.of_clock(time(12)) == 11 * 60


def test_a_clock_time_that_comes_twice_is_first_read_the_first_time_and_last_the_second():
    # New York, 2027-11-07: 01:00 to 02:00 comes twice.
    grid = DayGrid(date(2027, 11, 7), "America/New_York")
    assert grid.of_clock(time(1, 30)) == 90
    assert grid.last_of_clock(time(1, 30)) == 150
    assert grid.of_clock(time(12)) == grid.last_of_clock(time(12)) == 13 * 60


@pytest.mark.parametrize(("zone", "day", "minutes"), CHANGES)
def test_the_gate_closes_by_the_local_clock_on_every_kind_of_day(zone, day, minutes):
    access = site(("[access]", '[access]\nhours = { opens = "08:00", closes = "17:30" }')).access
    grid = DayGrid(day, zone)
    window = Window(grid, merge(list(access_closures(grid, access))))
    (usable,) = window.usable()
    assert (f"{usable.start:%H:%M}", f"{usable.end:%H:%M}") == ("08:00", "17:30")
    assert usable.entries[0].minutes == 9 * 60 + 30
    last = grid.minute_floor(usable.end) - 1
    assert not window.reasons(last)
    assert [c.rule for c in window.reasons(last + 1)] == ["access-hours"]
    assert int(window.closed("water").sum()) == minutes - 570


def test_a_gate_that_opens_in_the_skipped_hour_opens_at_its_end():
    grid = DayGrid(date(2027, 3, 14), "America/New_York")
    access = site(("[access]", '[access]\nhours = { opens = "02:30", closes = "03:30" }')).access
    window = Window(grid, merge(list(access_closures(grid, access))))
    assert spans(window) == [("03:00", "03:30", [("03:00", "03:30")])]


@pytest.mark.parametrize(
    ("day", "minutes", "offsets"),
    [(date(2027, 10, 3), 1410, ("+11:00", "+10:30")), (date(2027, 4, 4), 1470, ("+10:30", "+11:00"))],
)
def test_a_plan_on_a_day_of_half_an_hour_more_or_less_keeps_its_clock(day, minutes, offsets):
    made = plan(group("Ann", "Ben", dives=(wish(10, 20, entry="12:00"),)), where=world(site(*SOUTH)), date=day)
    assert made.curve.minutes == minutes
    (dive,) = made.dives
    assert dive.entry is not None and f"{dive.entry:%H:%M}" == "12:00"
    assert dive.entry.isoformat().endswith(offsets[0])
    assert dive.entry - timedelta(0) == dive.entry.astimezone(UTC)
    assert made.light.sunset is not None and f"{made.light.sunset:%Y-%m-%d}" == str(day)


def test_a_fixed_entry_that_the_clock_does_not_show_gives_no_time():
    made = plan(group("Ann", "Ben", kind="night", dives=(wish(10, 20, entry="00:30"),)), date=date(2027, 3, 28))
    assert made.dives[0].entry is None
    assert "The clock does not show 00:30" in the_check(made, "entry-possible").sentence


# ---- the algebra of windows ----


def test_a_day_without_closures_is_one_window():
    assert spans(Window(UTC_DAY, ())) == [("00:00", "00:00", [("00:00", "00:00")])]


def test_what_closes_the_water_cuts_the_window_and_what_closes_going_in_only_its_entries():
    window = Window(UTC_DAY, (closure(600, 660, "water"), closure(300, 360, "entry"), closure(800, 1440, "entry")))
    assert spans(window) == [
        ("00:00", "10:00", [("00:00", "05:00"), ("06:00", "10:00")]),
        ("11:00", "00:00", [("11:00", "13:20")]),
    ]


def test_open_water_into_which_nobody_may_go_is_no_window():
    window = Window(UTC_DAY, (closure(0, 600, "water"), closure(600, 900, "entry"), closure(900, 1440, "water")))
    assert window.usable() == ()


def test_a_closed_minute_keeps_every_reason_and_the_way_out_has_only_its_own():
    window = Window(
        UTC_DAY, (closure(0, 60, "entry", "a"), closure(30, 90, "water", "b"), closure(59, 60, "water", "c"))
    )
    assert [c.rule for c in window.reasons(59)] == ["a", "b", "c"]
    assert [c.rule for c in window.reasons(59, "water")] == ["b", "c"]
    assert [c.rule for c in window.reasons(60)] == ["b"]
    assert [c.rule for c in window.reasons(10, "water")] == []
    assert window.reasons(90) == ()


def test_a_closure_that_covers_part_of_a_minute_closes_all_of_it():
    start = UTC_DAY.at(100) + timedelta(seconds=59)
    half = Closure(start, start + timedelta(seconds=2), "water", "test", "two seconds", "TEST")
    closed = Window(UTC_DAY, (half,)).closed("water")
    assert np.flatnonzero(closed).tolist() == [100, 101]


def test_a_closure_that_begins_the_day_before_or_ends_the_day_after_is_cut_to_the_day():
    first = Closure(UTC_DAY.at(-90), UTC_DAY.at(30), "water", "test", "", "TEST")
    last = Closure(UTC_DAY.at(1400), UTC_DAY.at(1600), "water", "test", "", "TEST")
    before = Closure(UTC_DAY.at(-90), UTC_DAY.at(-30), "water", "test", "", "TEST")
    assert spans(Window(UTC_DAY, (first, last, before))) == [("00:30", "23:20", [("00:30", "23:20")])]


def test_runs_are_the_true_stretches():
    assert list(runs(np.array([True, True, False, True]))) == [(0, 2), (3, 4)]
    assert list(runs(np.array([False, False]))) == []


def test_the_same_closure_twice_is_kept_once_and_all_stand_in_order_of_time():
    later, sooner = closure(100, 200), closure(50, 60)
    assert merge([later, sooner, later]) == (sooner, later)


# ---- seasons ----


@pytest.mark.parametrize(
    ("season", "day", "is_open"),
    [
        (("04-01", "09-30"), date(2027, 4, 1), True),
        (("04-01", "09-30"), date(2027, 9, 30), True),
        (("04-01", "09-30"), date(2027, 3, 31), False),
        (("04-01", "09-30"), date(2027, 10, 1), False),
        (("11-15", "02-28"), date(2027, 12, 31), True),
        (("11-15", "02-28"), date(2027, 1, 1), True),
        (("11-15", "02-28"), date(2028, 2, 29), False),
        (("11-15", "02-29"), date(2027, 2, 28), True),
        (("11-15", "02-28"), date(2027, 11, 14), False),
        (("11-15", "02-28"), date(2027, 3, 1), False),
    ],
)
def test_a_season_holds_both_its_days_and_may_run_over_new_year(season, day, is_open):
    access = site(("[access]", f'[access]\nseasons = [{{ first = "{season[0]}", last = "{season[1]}" }}]')).access
    grid = DayGrid(day, "Atlantic/Azores")
    window = Window(grid, merge(list(access_closures(grid, access))))
    assert bool(window.usable()) is is_open
    if not is_open:
        (reason,) = window.reasons(700)
        assert (
            reason.rule == "access-season"
            and {"04-01": "1 April", "11-15": "15 November"}[season[0]] in reason.sentence
        )


def test_outside_its_season_a_site_gives_no_time_and_says_when_it_is_open():
    closed = site(("[access]", '[access]\nseasons = [{ first = "11-15", last = "02-28" }]'))
    made = plan(group("Ann", "Ben"), where=world(closed))
    assert made.windows == ()
    assert "entry-possible" in stops(made)
    assert "it is open from 15 November to 28 February" in the_check(made, "entry-possible").sentence


# ---- light ----


def light(sunrise=None, sunset=None, dawn=None, dusk=None, up=True, note="") -> Daylight:
    noon = UTC_DAY.at(720)
    return Daylight(dawn, sunrise, noon, sunset, dusk, up, 0.5, "full moon", note)


def at(clock: str) -> datetime:
    return datetime.fromisoformat(f"{DAY}T{clock}+00:00")


def lit(kind, given: Daylight, grid: DayGrid = UTC_DAY) -> Window:
    return Window(grid, merge(list(light_closures(grid, given, kind, RULES))))


def test_light_counts_whole_minutes_against_the_diver():
    # In from 15 min after sunrise, out by 30 min before sunset: rules light.*, baseline.
    window = lit(GUIDED, light(at("05:20:01"), at("20:59:59")))
    assert spans(window) == [("05:36", "20:29", [("05:36", "20:29")])]
    exact = lit(GUIDED, light(at("05:20:00"), at("21:00:00")))
    assert spans(exact) == [("05:35", "20:30", [("05:35", "20:30")])]


def test_training_is_out_an_hour_before_sunset():
    window = lit(COURSE, light(at("05:20:00"), at("21:00:30")))
    assert spans(window) == [("05:35", "20:00", [("05:35", "20:00")])]


def test_before_sunrise_the_water_is_closed_and_soon_after_it_only_going_in():
    window = lit(GUIDED, light(at("05:20:00"), at("21:00:00")))
    assert {c.phase for c in window.reasons(319)} == {"water", "entry"}
    assert {c.phase for c in window.reasons(321)} == {"entry"}


def test_the_midnight_sun_closes_nothing_and_the_polar_night_everything():
    assert lit(GUIDED, light(up=True)).closures == ()
    dark = lit(GUIDED, light(up=False, note="the sun does not rise (polar night)"))
    assert dark.usable() == ()
    assert "polar night" in dark.reasons(720)[0].sentence


def test_a_night_dive_goes_in_from_civil_dusk_and_not_before_dawn():
    window = lit(NIGHT, light(at("05:20:00"), at("21:00:00"), at("04:40:00"), at("21:40:20")))
    assert spans(window) == [("21:41", "00:00", [("21:41", "00:00")])]


def test_there_is_no_night_dive_where_it_does_not_get_dark():
    window = lit(NIGHT, light(up=True, note="the sun does not set (midnight sun)"))
    assert window.usable() == ()
    assert "midnight sun" in window.reasons(10)[0].sentence


def test_in_the_polar_night_a_night_dive_may_go_in_at_any_minute():
    assert lit(NIGHT, light(up=False, note="the sun does not rise (polar night)")).closures == ()


def test_a_dusk_after_midnight_leaves_no_night_dive_on_that_day():
    window = lit(NIGHT, light(at("02:00:00"), at("23:30:00"), at("01:00:00"), at("23:59:30") + timedelta(minutes=30)))
    assert window.usable() == ()


# Svalbard: the US Naval Observatory and every almanac have the sun below the horizon from mid November to the end of
# January, and above it from late April to late August at 78 N.
@pytest.mark.parametrize(("day", "windows"), [(date(2027, 12, 21), 0), (date(2027, 6, 21), 1)])
def test_polar_day_and_night_reach_the_plan(day, windows):
    north = site(
        ("Atlantic/Azores", "Arctic/Longyearbyen"),
        ("47.0000, -17.0000", "78.2000, 15.6000"),
        ("47.0005, -17.0005", "78.2005, 15.6005"),
        ("47.1000, -17.0000", "78.2100, 15.6000"),
        ("47.2000, -17.0000", "78.2200, 15.6000"),
    )
    made = plan(group("Ann", "Ben", dives=(wish(10, 20),)), where=world(north), date=day)
    assert len(made.windows) == windows
    assert (made.dives[0].entry is None) == (windows == 0)
    assert made.light.note


# ---- tide: 3 m and 2 m times the cosine of half a day, so 4 m is passed exactly 2 h from high water ----


def times_of(grid: DayGrid) -> np.ndarray:
    return np.concatenate((grid.times, grid.times[-1:] + np.timedelta64(1, "m")))


def swung(going_in: str, coming_out: str) -> Window:
    beach = site(TIDAL, limits(going_in, coming_out)).entries[0]
    heights = swing().tide.heights_m(times_of(UTC_DAY))  # type: ignore[union-attr]
    return Window(UTC_DAY, merge(list(tide_closures(UTC_DAY, heights, beach, beach, RULES))))


def test_a_lowest_height_closes_with_its_margin_of_20_cm():
    window = swung("{}", "{ lowest_m = 3.79 }")  # a centimetre less: 4 m itself is within the rounding
    assert spans(window) == [
        ("00:00", "02:00", [("00:00", "02:00")]),
        ("10:00", "14:00", [("10:00", "14:00")]),
        ("22:00", "00:00", [("22:00", "00:00")]),
    ]
    (reason,) = window.reasons(599)
    assert reason.rule == "tide-coming-out" and "3.79 m" in reason.sentence and "0.2 m margin" in reason.sentence


def test_a_highest_height_closes_with_its_margin_too():
    # 2 m is passed 2 h from low water: at 04:00, 08:00, 16:00 and 20:00.
    window = swung("{}", "{ highest_m = 2.21 }")
    assert [(a, b) for a, b, _ in spans(window)] == [("04:00", "08:00"), ("16:00", "20:00")]


def test_going_in_and_coming_out_are_judged_apart():
    window = swung("{ lowest_m = 3.8 }", "{ highest_m = 4.2 }")
    # in while above 4 m (within 2 h of high water), out while below 4 m: never both
    assert window.usable() == ()
    assert {c.rule for c in window.reasons(720)} == {"tide-coming-out"}
    assert {c.rule for c in window.reasons(360)} == {"tide-going-in"}


def test_a_tide_that_is_not_known_closes_what_depends_on_it_and_nothing_else():
    beach = site(TIDAL, limits("{ lowest_m = 0.1 }", "{}")).entries[0]
    heights = np.full(UTC_DAY.minutes + 1, np.nan)
    heights[:601] = 5.0
    window = Window(UTC_DAY, merge(list(tide_closures(UTC_DAY, heights, beach, beach, RULES))))
    assert spans(window) == [("00:00", "00:00", [("00:00", "10:00")])]
    assert "not known" in window.reasons(600)[0].sentence


def test_a_way_that_is_not_used_in_a_direction_is_closed_all_day():
    gully = site().entry("Far gully")
    assert gully is not None
    window = Window(UTC_DAY, merge(list(tide_closures(UTC_DAY, np.zeros(1441), gully, gully, RULES))))
    assert window.usable() == ()
    assert window.reasons(700)[0].sentence == "Going in by Far gully is not possible."
    assert window.reasons(700, "water")[0].phase == "water"


# ---- stream ----


def slipping() -> tuple[str, str]:
    return (
        '[stream]\nkind = "none"',
        '[stream]\nkind = "slack"\nhigh_water_slack_min = 30\nlow_water_slack_min = 30\nspring_rate_kn = 2.0\n'
        "neap_rate_kn = 1.0\nspring_range_m = 4.0\nneap_range_m = 2.0",
    )


def test_the_stream_closes_the_minutes_above_the_limit_and_five_on_each_side():
    flags = np.zeros(UTC_DAY.minutes + 1)
    flags[600:700] = 0.51
    window = Window(UTC_DAY, merge(list(stream_closures(UTC_DAY, flags, site(), GUIDED, RULES))))
    # 600..699 run hard; minute 599 ends in 600; five minutes more on each side
    assert spans(window)[0][:2] == ("00:00", "09:54")
    assert spans(window)[1][:2] == ("11:45", "00:00")
    assert "0.5 kn" in window.reasons(650)[0].sentence


def test_training_and_the_site_itself_have_stricter_limits_of_stream():
    flags = np.full(UTC_DAY.minutes + 1, 0.3)
    assert not list(stream_closures(UTC_DAY, flags, site(), GUIDED, RULES))
    assert list(stream_closures(UTC_DAY, flags, site(), COURSE, RULES))
    strict = site(("[access]", "[limits]\nstream_kn = 0.2\n\n[access]"))
    (closed,) = stream_closures(UTC_DAY, flags, strict, GUIDED, RULES)
    assert closed.source == "SITE_FILE" and "0.2 kn" in closed.sentence


def test_an_unknown_stream_closes():
    flags = np.zeros(UTC_DAY.minutes + 1)
    flags[600:700] = np.nan
    window = Window(UTC_DAY, merge(list(stream_closures(UTC_DAY, flags, site(), GUIDED, RULES))))
    assert "not known" in window.reasons(650)[0].sentence


def test_slack_comes_so_many_minutes_after_the_stations_own_high_water_whatever_the_site_adds():
    # Slack 30 min after the station's high water at 12:00: 12:30 UTC, even though the site's own tide is 45 min later.
    plain = site(TIDAL, slipping())
    shifted = site(
        ('none_because = "the tests give none"', 'station = "swing"\nhigh_time_min = 45\nlow_time_min = 45'), slipping()
    )
    found = []
    for where in (plain, shifted):
        window = site_windows(where, DAY, GUIDED, world(where, station=swing()))
        (around,) = [w for w in window.usable() if w.start <= at("12:30:00") < w.end]
        middle = at("12:30:00").timestamp()
        assert around.end.timestamp() - middle == pytest.approx(middle - around.start.timestamp(), abs=61)
        found.append((around.start, around.end))
    assert found[0] == found[1]


def test_a_rule_of_half_a_sine_sets_the_width_of_the_slack():
    # Range 4 m is springs: 2 kn at most, over the 6 h from slack to slack. 0.5 kn is passed 6 h x asin(0.25) / pi
    # = 28.96 min from slack; five minutes of margin and whole minutes leave 23 min on each side.
    where = site(TIDAL, slipping())
    window = site_windows(where, DAY, GUIDED, world(where, station=swing()))
    (around,) = [w for w in window.usable() if w.start <= at("12:30:00") < w.end]
    assert (f"{around.start:%H:%M}", f"{around.end:%H:%M}") == ("12:07", "12:53")


# ---- several restrictions at once ----


def test_a_minute_closed_by_gate_light_tide_and_stream_gives_all_four_reasons():
    where = site(
        TIDAL,
        slipping(),
        limits("{ lowest_m = 4.5 }", "{ lowest_m = 4.5 }"),
        ("[access]", '[access]\nhours = { opens = "08:00", closes = "17:30" }'),
    )
    window = site_windows(where, DAY, GUIDED, world(where, station=swing()))
    assert {c.rule for c in window.reasons(4 * 60)} == {
        "access-hours", "light", "tide-going-in", "tide-coming-out", "stream",
    }  # fmt: skip
    zone = ZoneInfo("Atlantic/Azores")
    assert window.grid.at(4 * 60) == datetime(2027, 6, 12, 4, tzinfo=zone)


def test_an_alternative_exit_is_never_chosen_as_the_planned_way_out():
    # The gully is open at every height of tide, so it would leave the most minutes; it is 300 m away, for when the
    # beach closes, and its swim is in no timing.
    where = site(TIDAL, limits("{}", "{ lowest_m = 3.79 }"))
    made = plan(group("Ann", "Ben", dives=(wish(10, 20),)), where=world(where, station=swing()))
    assert made.dives[0].coming_out_by == "Beach"
    assert [(f"{w.start:%H:%M}", f"{w.end:%H:%M}") for w in made.windows] == [("10:00", "14:00")]
    asked = plan(
        group("Ann", "Ben", dives=(wish(10, 20),), coming_out_by="Far gully"), where=world(where, station=swing())
    )
    assert asked.dives[0].coming_out_by == "Far gully"


def test_a_station_that_is_missing_stops_the_plan():
    made = plan(group("Ann", "Ben"), where=world(site(TIDAL)))
    check = the_check(made, "tide-known")
    assert check.outcome == "stop" and '"swing"' in check.sentence
    assert "missing" in made.tide_words


def test_a_printed_table_that_ends_during_the_day_stops_the_plan_and_closes_what_depends_on_it():
    where = site(TIDAL, limits("{ lowest_m = 0.1 }", "{ lowest_m = 0.1 }"))
    ends_at_midnight = swing(around=DAY - timedelta(days=1), days=1)
    made = plan(group("Ann", "Ben"), where=world(where, station=ends_at_midnight))
    assert the_check(made, "tide-known").outcome == "stop"
    assert made.windows == ()
    assert "tide is not known" in the_check(made, "entry-possible").sentence
