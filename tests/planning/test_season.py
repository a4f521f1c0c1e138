"""A season at once is the season day by day: the same windows and the same minutes as the window of each single day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.planning.cove_world import STATION, site, world
from tripplan.catalogue.site import Site
from tripplan.catalogue.station import Station, read_station
from tripplan.data_files import data_dir
from tripplan.environment.position import read_position
from tripplan.environment.tide import Constituent, HarmonicTide, PrintedTide, SecondaryTide, TurningPoint
from tripplan.errors import OutOfRange
from tripplan.people.group import KINDS
from tripplan.planning.season import Season, _Shifted, _Tabulated, cause_of, season, season_minutes, seasons
from tripplan.planning.setting import site_windows
from tripplan.planning.world import World
from tripplan.store.folder import load_folder

TIDES = Path(__file__).resolve().parent.parent / "published" / "tides"
YEAR = (date(2027, 1, 1), date(2027, 12, 31))
AZORES_CHANGES = [date(2027, 3, 27), date(2027, 3, 28), date(2027, 3, 29), date(2027, 10, 31), date(2027, 11, 1)]
SPREAD = [date(2027, 1, 1) + timedelta(days=n) for n in (0, 1, 45, 110, 171, 172, 230, 300, 355, 364)]
BEACH = {"name": "Beach", "kind": "beach", "facing_deg": 180.0, "casualty": True}
ROCKS = {"name": "Rocks", "kind": "rocks", "facing_deg": 200.0}


@pytest.fixture(scope="module")
def demonstration() -> World:
    return replace(load_folder(data_dir("sites")).world, conditions={})


def elsewhere(position: str, timezone: str, **changes: Any) -> Site:
    """Return the test site moved to another place, its contacts left behind."""
    return site(**changes).model_copy(update={"position": read_position(position), "timezone": timezone})


def same_days(found: Season, one: World, days: Iterable[date]) -> None:
    """Compare some days of a season with the plan's own window of each."""
    by_day = {day.day: day for day in found.days}
    for day in days:
        window = site_windows(one.sites[found.site], day, found.kind, one)
        mine, usable = by_day[day], window.usable()
        assert mine.windows == usable, (found.site, day)
        minutes = sum((each.end.timestamp() - each.start.timestamp()) / 60 for each in usable)
        assert mine.usable_min == minutes, (found.site, day)
        assert (mine.first_rule, mine.first_reason) == cause_of(window), (found.site, day)


def same(one: World, kind: str, first: date, last: date, days: Iterable[date]) -> Season:
    (slug,) = one.sites
    found = season(one.sites[slug], one, KINDS[kind], first, last)
    same_days(found, one, days)
    counted = season_minutes([one.sites[slug]], one, KINDS[kind], first, last)
    assert counted.tolist() == [list(found.minutes)]
    return found


@pytest.mark.parametrize("kind", ["guided", "level_1_course", "night"])
def test_every_site_of_the_demonstration_has_the_windows_of_its_days(demonstration, kind):
    found = seasons(list(demonstration.sites.values()), demonstration, KINDS[kind], *YEAR)
    assert len(found) == len(demonstration.sites)
    for number, one in enumerate(found):
        assert len(one.days) == 365
        days = [YEAR[0] + timedelta(days=(number * 7 + n * 53) % 365) for n in range(5)]
        same_days(one, demonstration, [*days, *AZORES_CHANGES[::2]])


def test_counting_minutes_alone_gives_the_same_minutes(demonstration):
    sites = list(demonstration.sites.values())
    counted = season_minutes(sites, demonstration, KINDS["guided"], date(2027, 2, 1), date(2027, 4, 30))
    whole = seasons(sites, demonstration, KINDS["guided"], date(2027, 2, 1), date(2027, 4, 30))
    assert counted.tolist() == [list(one.minutes) for one in whole]
    assert counted.shape == (len(sites), 89)


def test_limits_in_both_directions_and_a_way_not_used():
    entries = (
        {**BEACH, "going_in": {"lowest_m": 1.6, "highest_m": 3.3}, "coming_out": {"lowest_m": 1.2}},
        {**ROCKS, "going_in": {"highest_m": 2.4}, "coming_out": "not_used"},
    )
    one = world(site(entries=entries, alternative_exit=None))
    found = same(one, "guided", *YEAR, [*SPREAD, *AZORES_CHANGES])
    assert {day.first_rule for day in found.days} <= {"tide-going-in", "tide-coming-out"}


def test_the_way_that_leaves_most_is_chosen_anew_each_day():
    entries = (
        {**BEACH, "going_in": {"lowest_m": 2.4}, "coming_out": {}},
        {**ROCKS, "going_in": {"highest_m": 2.2}, "coming_out": {}},
    )
    same(world(site(entries=entries, alternative_exit=None)), "guided", *YEAR, SPREAD)


@settings(max_examples=12, deadline=None)
@given(
    shift=st.tuples(st.integers(-90, 90), st.integers(-90, 90)),
    ratio=st.tuples(st.floats(0.6, 1.4), st.floats(0.6, 1.4)),
    lowest=st.floats(0.3, 3.0),
    room=st.floats(0.5, 2.5),
    start=st.integers(0, 300),
)
def test_any_differences_and_limits_give_the_windows_of_the_day(shift, ratio, lowest, room, start):
    entries = (
        {**BEACH, "going_in": {"lowest_m": lowest}, "coming_out": {"lowest_m": lowest / 2, "highest_m": lowest + room}},
    )
    tide = {"station": "quay", "high_time_min": shift[0], "low_time_min": shift[1], "high_ratio": ratio[0],
            "low_ratio": ratio[1], "low_add_m": 0.15}  # fmt: skip
    one = world(site(entries=entries, alternative_exit=None, tide=tide))
    first = date(2027, 1, 1) + timedelta(days=start)
    same(one, "guided", first, first + timedelta(days=30), [first, first + timedelta(days=17)])


def test_differences_that_cross_turning_points_go_the_plain_way():
    """A shift of five hours to one side puts low waters past high waters in parts of the month."""
    entries = ({**BEACH, "going_in": {"lowest_m": 2.0}, "coming_out": {"lowest_m": 1.0}},)
    tide = {"station": "quay", "high_time_min": 300, "low_time_min": -90}
    one = world(site(entries=entries, alternative_exit=None, tide=tide))
    same(one, "guided", date(2027, 1, 1), date(2027, 2, 28), SPREAD[:3])


def station_of(tide: object, **more: object) -> dict[str, Station]:
    return {"quay": replace(STATION, tide=tide, **more)}  # type: ignore[arg-type]


DIURNAL = read_station(TIDES / "noaa_8729840.toml")  # Pensacola, one tide a day; NOAA CO-OPS, public domain
LARGE_STEP = read_station(TIDES / "noaa_9418767.toml")  # Humboldt Bay; its curve steps at New Year; NOAA CO-OPS


def test_a_tide_of_one_high_water_a_day():
    entries = ({**BEACH, "going_in": {"lowest_m": 0.05}, "coming_out": {"highest_m": 0.75}},)
    for tide in ({"station": "quay"}, {"station": "quay", "high_time_min": 25, "low_time_min": -15, "high_ratio": 1.1}):
        one = world(site(entries=entries, alternative_exit=None, tide=tide), stations=station_of(DIURNAL.tide))
        same(one, "guided", *YEAR, SPREAD)


def test_at_new_year_where_the_curve_steps():
    entries = ({**BEACH, "going_in": {"lowest_m": 0.6}, "coming_out": {"lowest_m": 0.3}},)
    days = [date(2029, 12, 30) + timedelta(days=n) for n in range(4)]
    for tide in ({"station": "quay"}, {"station": "quay", "high_time_min": 30, "low_time_min": 40, "low_ratio": 0.9}):
        one = world(
            site(entries=entries, alternative_exit=None, tide=tide, timezone="Atlantic/Azores"),
            stations=station_of(LARGE_STEP.tide),
        )
        same(one, "guided", date(2029, 12, 1), date(2030, 1, 31), days)


@pytest.mark.parametrize("differences", [{}, {"high_time_min": 14, "low_time_min": 21, "high_ratio": 1.03}])
def test_a_limit_that_a_high_or_low_water_only_just_crosses(differences):
    """For some minutes only, shorter than the steps between which a curve that does not turn is trusted."""
    tide = {"station": "quay", **differences}
    there = SecondaryTide(STATION.tide, 14, 21, 1.03) if differences else STATION.tide  # type: ignore[arg-type]
    noon = datetime(2027, 5, 10, 12, tzinfo=UTC)
    turns = there.turning_points(noon - timedelta(hours=5), noon + timedelta(days=4))  # type: ignore[union-attr]
    found = set()
    for turn in turns:
        if not 10 <= turn.time.hour <= 17:
            continue
        sign = 1 if turn.kind == "high" else -1
        limits = {"highest_m" if sign > 0 else "lowest_m": turn.height_m + sign * (0.2 - 0.0004)}
        entries = ({**BEACH, "going_in": {}, "coming_out": limits},)
        one = world(site(entries=entries, alternative_exit=None, tide=tide))
        day = turn.time.date()
        windows = same(one, "guided", day - timedelta(days=3), day + timedelta(days=3), [day]).days[3].windows
        found.add((turn.kind, len(windows)))
    assert {kind for kind, _ in found} == {"high", "low"}
    assert max(count for _, count in found) >= 2  # the day is cut in two by those minutes


@pytest.mark.parametrize("tide", [DIURNAL.tide, LARGE_STEP.tide, STATION.tide])
def test_interpolated_and_shifted_heights_are_those_of_the_engine_to_a_micrometre(tide):
    start, end = datetime(2029, 12, 10, tzinfo=UTC), datetime(2030, 1, 20, tzinfo=UTC)
    ready = _Tabulated(tide, start, end)
    random = np.random.default_rng(4)
    at = np.sort(np.concatenate((random.uniform(0, 40 * 1440, 4000), random.uniform(-4, 4, 300) + 22 * 1440)))
    times = np.datetime64("2029-12-10", "us") + (at * 6e7).astype("timedelta64[us]")
    assert np.abs(ready.heights_m(times) - tide.heights_m(times)).max() < 1e-6
    differences = SecondaryTide(tide, 9.5, -7.25, 1.1, 0.9, 0.1, 0.05)
    shifted = _Shifted(differences, ready)
    inside = (at > 4 * 1440) & (at < 36 * 1440)
    if shifted.plain:
        apart = np.abs(shifted.heights_m(times[inside]) - differences.heights_m(times[inside]))
        assert apart.max() < 1e-6
    else:
        assert tide is DIURNAL.tide  # whose high and low waters nearly vanish now and then


def test_a_secondary_station_and_differences_to_it():
    secondary = SecondaryTide(STATION.tide, 12, 20, 0.9, 1.1)  # type: ignore[arg-type]
    entries = ({**BEACH, "going_in": {"lowest_m": 1.5}, "coming_out": {"lowest_m": 1.0}},)
    for tide in ({"station": "quay"}, {"station": "quay", "high_time_min": -8, "low_time_min": -6, "high_add_m": 0.1}):
        one = world(site(entries=entries, alternative_exit=None, tide=tide), stations=station_of(secondary))
        same(one, "guided", *YEAR, SPREAD[::2])


def printed(gap_after: int | None = None) -> PrintedTide:
    """Return a table of two months, heights to the centimetre, some lines missing after a number of them."""
    tide = HarmonicTide(2.5, (Constituent("M2", 1.5, 60.0), Constituent("S2", 0.5, 90.0)))
    points = tide.turning_points(datetime(2027, 2, 1, tzinfo=UTC), datetime(2027, 4, 1, tzinfo=UTC))
    rounded = [
        TurningPoint(p.time.replace(second=0), p.kind, round(p.height_m, 2))
        for number, p in enumerate(points)
        if gap_after is None or not gap_after < number <= gap_after + 4
    ]
    return PrintedTide(tuple(rounded), 14.0)


def test_a_printed_table_that_ends_and_has_a_hole_closes_what_it_does_not_know():
    entries = ({**BEACH, "going_in": {"lowest_m": 1.5}, "coming_out": {"lowest_m": 1.2}},)
    table = printed(gap_after=60)
    hole = table.points[60].time.date()
    days = [date(2027, 1, 31), date(2027, 2, 1), hole, hole + timedelta(days=1), hole + timedelta(days=2),
            date(2027, 3, 31), date(2027, 4, 1), date(2027, 4, 20)]  # fmt: skip
    for tide in ({"station": "quay"}, {"station": "quay", "high_time_min": 11, "low_time_min": 17, "high_ratio": 1.05}):
        one = world(site(entries=entries, alternative_exit=None, tide=tide), stations=station_of(table))
        found = same(one, "guided", date(2027, 1, 15), date(2027, 4, 30), days)
        assert found.days[-1].usable_min == 0
        assert found.days[-1].first_reason.endswith("depends on the tide, and the tide is not known.")


def test_a_station_that_is_missing_closes_a_way_that_needs_the_tide_and_no_other():
    needing = ({**BEACH, "going_in": {"lowest_m": 1.5}, "coming_out": {}},)
    found = same(world(site(entries=needing, alternative_exit=None), stations={}), "guided", *YEAR, SPREAD[:2])
    assert set(found.minutes) == {0}
    free = ({**BEACH, "going_in": {}, "coming_out": {}},)
    found = same(world(site(entries=free, alternative_exit=None), stations={}), "guided", *YEAR, SPREAD[:2])
    assert min(found.minutes) > 300
    assert {day.first_rule for day in found.days} == {"light"}


def test_inland_without_a_tide():
    inland = site(
        tide={"none_because": "a lake"},
        water={"kind": "fresh"},
        access={"hours": {"opens": "09:00", "closes": "17:30"}},
    )
    found = same(world(inland), "level_1_course", *YEAR, [*SPREAD, *AZORES_CHANGES])
    assert {day.first_rule for day in found.days} == {"access-hours"}


def test_a_season_of_access_over_new_year():
    """Open from 1 August to 31 March: 31 March is the last day, 1 August the first again."""
    open_ = site(access={"seasons": ({"first": "08-01", "last": "03-31"},)})
    days = [date(2027, 3, 31), date(2027, 4, 1), date(2027, 7, 31), date(2027, 8, 1), date(2027, 12, 31)]
    found = same(world(open_), "guided", *YEAR, days)
    by_day = {day.day: day for day in found.days}
    assert [by_day[day].usable_min > 0 for day in days] == [True, False, False, True, True]
    assert by_day[date(2027, 4, 1)].first_reason == "Access is closed today: it is open from 1 August to 31 March."


def test_night_dives_where_the_clock_changes():
    night = site(access={"hours": {"opens": "07:00", "closes": "23:30"}})
    same(world(night), "night", *YEAR, [*SPREAD, *AZORES_CHANGES])


@pytest.mark.parametrize("kind", ["guided", "night"])
def test_midnight_sun_and_polar_night(kind):
    polar = elsewhere("69.6500, 18.9500", "Europe/Oslo")
    days = [date(2027, 5, 17), date(2027, 5, 20), date(2027, 6, 21), date(2027, 7, 26), date(2027, 11, 26),
            date(2027, 12, 21), date(2027, 1, 14), date(2027, 3, 28), date(2027, 9, 1), date(2027, 4, 25)]  # fmt: skip
    found = same(world(polar), kind, *YEAR, days)
    by_day = {day.day: day for day in found.days}
    if kind == "guided":
        # US Naval Observatory: at Tromso the sun does not set from about 18 May to 26 July, nor rise in December.
        assert by_day[date(2027, 6, 21)].usable_min == 1440
        assert by_day[date(2027, 6, 21)].first_reason == ""
        assert by_day[date(2027, 12, 21)].first_reason.startswith("No daylight: the sun does not rise (polar night)")


@pytest.mark.parametrize(
    ("zone", "position", "days"),
    [
        (
            "Australia/Lord_Howe",
            "-31.5500, 159.0800",
            [date(2027, 4, 3), date(2027, 4, 4), date(2027, 10, 3)],
        ),  # 30 min
        ("Pacific/Apia", "-13.8000, -171.8000", [date(2011, 12, 29), date(2011, 12, 30), date(2011, 12, 31)]),
        ("America/Asuncion", "-25.3000, -57.6000", [date(2023, 10, 1), date(2024, 3, 23), date(2024, 3, 24)]),
        ("Pacific/Fiji", "-16.8000, 179.9000", [date(2027, 1, 1), date(2027, 6, 30)]),
    ],
)
def test_clocks_that_change_by_half_an_hour_at_midnight_or_skip_a_day(zone, position, days):
    entries = ({**BEACH, "going_in": {"lowest_m": 1.5}, "coming_out": {"lowest_m": 1.0}},)
    hours = {"hours": {"opens": "06:30", "closes": "20:00"}}
    there = elsewhere(position, zone, entries=entries, alternative_exit=None, access=hours)
    first = days[0] - timedelta(days=20)
    same(world(there), "guided", first, days[-1] + timedelta(days=20), days)
    same(world(there), "night", first, days[-1] + timedelta(days=20), days)


def test_before_the_clocks_kept_whole_minutes_the_days_are_taken_one_by_one():
    """Local mean time of the Azores until 1911: 1 h 42 min 40 s (later entries of the zone data: 1:54:32) from UTC."""
    same(world(), "guided", date(1905, 6, 1), date(1905, 6, 3), [date(1905, 6, 2)])


STREAMS = {
    "slack": {
        "kind": "slack", "high_water_slack_min": 40, "low_water_slack_min": 55, "spring_rate_kn": 3.5,
        "neap_rate_kn": 1.6, "spring_range_m": 3.4, "neap_range_m": 1.5,
    },
    "constants": {"kind": "constants", "mean_kn": 0.1, "constituents": {"M2": (1.1, 40.0), "S2": (0.4, 70.0)}},
    "table": {
        "kind": "table", "spring_range_m": 3.4, "neap_range_m": 1.5,
        "table": tuple(
            {"hours_from_high_water": float(hour), "spring_kn": abs(hour) / 2, "neap_kn": abs(hour) / 5}
            for hour in range(-6, 7)
        ),
    },
}  # fmt: skip


@pytest.mark.parametrize("kind", STREAMS)
def test_each_kind_of_stream_with_its_margin_kept_inside_the_day(kind):
    entries = ({**BEACH, "going_in": {"lowest_m": 1.4}, "coming_out": {}},)
    one = world(site(stream=STREAMS[kind], entries=entries, alternative_exit=None))
    same(one, "guided", date(2027, 2, 1), date(2027, 4, 30), [date(2027, 2, 5), date(2027, 3, 14), date(2027, 3, 28)])
    same(one, "night", date(2027, 2, 1), date(2027, 4, 30), [date(2027, 2, 9), date(2027, 3, 28), date(2027, 4, 2)])
    unknown = same(replace(one, stations={}), "guided", date(2027, 2, 1), date(2027, 2, 3), [date(2027, 2, 2)])
    assert set(unknown.minutes) == {0}


def test_the_margin_of_a_stream_at_midnight_is_kept_as_each_plan_keeps_it():
    """Every night of a quarter: on some the stream runs hard from just before or just after midnight."""
    one = world(site(stream=STREAMS["constants"]))
    first = date(2027, 2, 1)
    same(one, "night", first, first + timedelta(days=89), [first + timedelta(days=n) for n in range(90)])


def test_a_forecast_does_not_enter_a_season(demonstration):
    told = load_folder(data_dir("sites")).world
    first, last = date(2026, 12, 1), date(2026, 12, 31)
    for slug in ("stair-ledge", "gull-cove"):
        with_it = season_minutes([told.sites[slug]], told, KINDS["guided"], first, last)
        without = season_minutes([demonstration.sites[slug]], demonstration, KINDS["guided"], first, last)
        assert np.array_equal(with_it, without)


def test_what_closes_most_is_told_beyond_the_light():
    """At a cove that the tide closes for a while at noon, the night is longer, but it is the tide that one asks for."""
    entries = ({**BEACH, "going_in": {"lowest_m": 2.5}, "coming_out": {}},)
    found = season(site(entries=entries, alternative_exit=None), world(), KINDS["guided"], *YEAR)
    told = {day.first_reason for day in found.days}
    assert told == {"Going in by Beach needs at least 2.5 m of tide and 0.2 m margin."}


def test_a_span_may_be_one_day_or_a_leap_year_and_no_longer():
    one = world()
    assert len(season(one.sites["cove"], one, KINDS["guided"], date(2028, 2, 29), date(2028, 2, 29)).days) == 1
    assert len(season(one.sites["cove"], one, KINDS["guided"], date(2028, 1, 1), date(2028, 12, 31)).days) == 366
    with pytest.raises(OutOfRange, match="are 367 days; at most 366"):
        season(one.sites["cove"], one, KINDS["guided"], date(2028, 1, 1), date(2029, 1, 1))


@pytest.mark.parametrize(
    ("first", "last", "sentence"),
    [
        (date(2027, 2, 1), date(2027, 1, 31), "2027-01-31, is before the first, 2027-02-01"),
        (date(1900, 12, 31), date(1901, 1, 31), "1900-12-31; it must be from 1901-01-01"),
        (date(2099, 12, 1), date(2100, 1, 1), "2100-01-01; it must be from 1901-01-01 to 2099-12-31"),
    ],
)
def test_days_the_wrong_way_round_or_outside_the_years_are_refused(first, last, sentence):
    one = world()
    with pytest.raises(OutOfRange, match=sentence):
        season(one.sites["cove"], one, KINDS["guided"], first, last)


def test_the_ends_of_the_years_are_reached():
    one = world()
    same(one, "guided", date(2099, 12, 1), date(2099, 12, 31), [date(2099, 12, 31)])
