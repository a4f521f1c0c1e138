"""What the emergency part of a day must never say, tried on many invented days and sites."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from geopy.distance import geodesic
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests.planning.small_world import CREW, DAY, TIDAL, ask, group, person, site, swing, wish, world
from tripplan.catalogue.site import Care, Contact, OpenHours, Site
from tripplan.check import Check, Outcome
from tripplan.documents.pocket import pocket_site
from tripplan.documents.search_picture import search_rows, search_words
from tripplan.documents.sheet_words import sheet_text
from tripplan.emergency.confirmed import FOUND, Confirmation, latest_on
from tripplan.emergency.evacuation import Opened
from tripplan.emergency.readiness import OxygenUnit, Readiness, TellAfter
from tripplan.emergency.search_area import SearchArea, SearchStep
from tripplan.environment.conditions import Conditions, Forecast, Origin, Series
from tripplan.environment.position import Position
from tripplan.language import ENGLISH
from tripplan.people.level import Level
from tripplan.planning.action_sheet import ActionSheet, action_sheet, changed_facts, facts_of, sheets_of_day
from tripplan.planning.day import plan_day
from tripplan.planning.drift import search_at
from tripplan.planning.request import Crew
from tripplan.planning.world import World
from tripplan.store.records import Records

SLUG = "plain-cove"
OFTEN = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
FEW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def here(where: World | None = None) -> Site:
    return (where or world()).sites[SLUG]


def having(held: World | None = None, **changes: Any) -> World:
    """Return the world with some fields of its site replaced."""
    held = held or world()
    return replace(held, sites={SLUG: here(held).model_copy(update=changes)})


def the(checks: tuple[Check, ...], rule: str, subject: str | None = None) -> Check:
    (found,) = [check for check in checks if check.rule == rule and subject in (None, check.subject)]
    return found


def sheet_of(held: World, *groups: Any, **other: Any) -> ActionSheet:
    request = ask(*groups, **other)
    return action_sheet(SLUG, DAY, held, [(request, plan_day(request, held))])


# ---- oxygen ----


def unit(litres: float, bar: float | None, **more: Any) -> OxygenUnit:
    whole: dict[str, Any] = {
        "name": "Unit", "volume_l": litres, "pressure_bar": bar, "device": "non_rebreather", "kept": "in the van",
        "read": DAY, "read_by": "Ann",
    }  # fmt: skip
    return OxygenUnit(**{**whole, **more})


def with_oxygen(held: World, *units: OxygenUnit) -> World:
    named = tuple(one.model_copy(update={"name": f"Unit {n}"}) for n, one in enumerate(units, 1))
    return replace(held, readiness=held.readiness.model_copy(update={"oxygen_units": named}))


def needing(ambulance_min: float | None, hospital_min: float | None, chamber_min: float | None) -> World:
    """Return a world whose ambulance and drives take so long."""
    where = here()
    return having(
        rendezvous=where.rendezvous.model_copy(update={"ambulance_min": ambulance_min}),
        hospitals=tuple(line.model_copy(update={"drive_min": hospital_min}) for line in where.hospitals),
        chambers=tuple(line.model_copy(update={"drive_min": chamber_min}) for line in where.chambers),
    )


# By hand: litres = volume x (pressure - 10 bar); a mask takes 15 L/min, a demand valve 10; the need is the ambulance
# and the slowest drive with 25 % more, rounded up. (Flows and margin: oxygen first aid handbooks, as in the rule book.)
@pytest.mark.parametrize(
    ("ambulance_min", "chamber_min", "units", "one", "two", "needed", "outcome"),
    [
        # 10 L x 190 = 1900 L / 15 = 126.67; two outlets 63.33; (25 + 23) x 1.25 = 60
        (25, 23, [unit(10, 200, casualties=2)], 126, 63, 60, Outcome.OK),
        # 1900 / 15 = 126.67 one; the second outlet missing; (60 + 42) x 1.25 = 127.5 up to 128
        (60, 42, [unit(10, 200)], 126, 0, 128, Outcome.STOP),
        # a whisker too little: 5 L x (168.9 - 10) = 794.5 L / 15 = 52.97 down to 52; (20 + 22) x 1.25 = 52.5 up to 53
        (20, 22, [unit(5, 168.9)], 52, 0, 53, Outcome.STOP),
        # exactly enough: 5 L x (169 - 10) = 795 L / 15 = 53
        (20, 22, [unit(5, 169)], 53, 0, 53, Outcome.OK),
        # demand valve 5 L x 185 = 925 L / 10 = 92.5 and mask 2 L x 190 = 380 L / 15 = 25.33: one 117.83; two 25.33,
        # as once the small one is empty one outlet is left; (40 + 53) x 1.25 = 116.25 up to 117
        (40, 53, [unit(5, 195, device="demand"), unit(2, 200)], 117, 25, 117, Outcome.OK),
        # 0.28 L for each psi x (1900 - 200) = 476 L / 15 = 31.73; (10 + 20) x 1.25 = 37.5 up to 38
        (10, 20, [unit(1, 1, volume_l=None, pressure_bar=None, litres_per_psi=0.28, pressure_psi=1900)], 31, 0, 38,
         Outcome.STOP),
        # never read: nothing
        (10, 20, [unit(10, None)], 0, 0, 38, Outcome.STOP),
    ],
)  # fmt: skip
def test_oxygen_worked_by_hand_comes_out_on_the_plan_and_on_the_sheet(
    ambulance_min, chamber_min, units, one, two, needed, outcome
):
    held = with_oxygen(needing(ambulance_min, 10, chamber_min), *units)
    request = ask(group("Ann", "Ben"))
    plan = plan_day(request, held)
    sheet = action_sheet(SLUG, DAY, held, [(request, plan)])
    assert (sheet.oxygen.minutes_one, sheet.oxygen.minutes_two, sheet.oxygen.needed_min) == (one, two, needed)
    assert the(plan.checks, "oxygen-lasts").outcome is outcome is the(sheet.checks, "oxygen-lasts").outcome
    assert (plan.verdict is Outcome.STOP) == (outcome is Outcome.STOP)
    text = sheet_text(sheet, ENGLISH)["oxygen"]
    assert text["headline"].startswith(f"{one} min for one casualty") and f"Needed: {needed} min." in text["headline"]
    assert (f"{two} min for two" in text["headline"]) == (two > 0)
    assert text["enough_one"] == (outcome is Outcome.OK)


units_ = st.lists(
    st.builds(
        unit, st.sampled_from([0.5, 2.0, 3.0, 5.0, 10.0]), st.none() | st.integers(0, 230),
        device=st.sampled_from(["demand", "non_rebreather", "bag_mask"]), casualties=st.integers(1, 4),
    ),
    max_size=3,
)  # fmt: skip
minutes_ = st.integers(1, 240).map(float)


def as_told(words: str, held: World) -> tuple[OxygenUnit, ...]:
    """Return the units that a leader brings who follows the advice: full cylinders with the devices that are there."""
    found = re.fullmatch(
        r"(?:at least )?(?:one|(\d+)) (?:cylinders of )?([\d.]+) L (?:cylinder )?at (\d+) bar(?: each)?"
        r"( and something that gives oxygen to two at once)?",
        words,
    )
    assert found, words
    known = held.readiness.oxygen_units
    mask = "demand" if known and all(one.device == "demand" for one in known) else "non_rebreather"
    outlets = 2 if found[4] else max((one.casualties for one in known), default=1)
    return tuple(
        unit(float(found[2]), float(found[3]), device=mask, casualties=outlets) for _ in range(int(found[1] or 1))
    )


@OFTEN
@given(units_, minutes_, minutes_, minutes_)
def test_what_a_stop_says_would_be_enough_is_enough_when_it_is_brought(units, ambulance_min, hospital_min, chamber_min):
    held = with_oxygen(needing(ambulance_min, hospital_min, chamber_min), *units)
    for rule, casualties in (("oxygen-lasts", "enough_one"), ("oxygen-two-casualties", "enough_two")):
        before = action_sheet(SLUG, DAY, held)
        check, words = the(before.checks, rule), getattr(before.oxygen, casualties)
        assert (check.outcome is Outcome.OK) == (words == "")
        if not words:
            continue
        assert f"Enough in all would be {words}." in check.sentence
        after = action_sheet(SLUG, DAY, with_oxygen(held, *as_told(words, held)))
        assert the(after.checks, rule).outcome is Outcome.OK
        # Brought beside what is there already it is enough all the more.
        both = action_sheet(SLUG, DAY, with_oxygen(held, *held.readiness.oxygen_units, *as_told(words, held)))
        assert the(both.checks, rule).outcome is Outcome.OK


@FEW
@given(units_, minutes_, minutes_)
def test_a_plan_that_too_little_oxygen_stops_goes_once_the_advice_is_followed(units, ambulance_min, chamber_min):
    assume(chamber_min <= 240)
    held = with_oxygen(needing(ambulance_min, 5, chamber_min), *units)
    request = ask(group("Ann", "Ben"))
    plan = plan_day(request, held)
    stopped = {check.rule for check in plan.stops} & {"oxygen-lasts", "oxygen-on-site"}
    words = action_sheet(SLUG, DAY, held).oxygen.enough_one
    assert bool(stopped) == bool(words)
    if words:
        assert plan.verdict is Outcome.STOP
        again = plan_day(request, with_oxygen(held, *as_told(words, held)))
        assert again.stops == () and again.verdict is not Outcome.STOP


@OFTEN
@given(units_, st.none() | minutes_, st.none() | minutes_, st.none() | minutes_, st.integers(-5, 5))
def test_oxygen_is_never_ok_while_ambulance_or_every_drive_is_unknown_nor_with_less_than_the_need(
    units, ambulance_min, hospital_min, chamber_min, late
):
    sheet = action_sheet(SLUG, DAY, with_oxygen(needing(ambulance_min, hospital_min, chamber_min), *units))
    drives = [drive for drive in (hospital_min, chamber_min) if drive is not None]
    litres = sum(one.volume_l * max((one.pressure_bar or 0) - 10, 0) for one in units)
    flow = min((10 if one.device == "demand" else 15 for one in units), default=15)  # the mildest that could be right
    least = ((ambulance_min or 0) + max(drives, default=0)) * 1.25
    for rule, casualties in (("oxygen-lasts", 1), ("oxygen-two-casualties", 2)):
        if the(sheet.checks, rule).outcome is Outcome.OK:
            assert ambulance_min is not None and drives
            assert litres / flow / casualties >= least - 1e-9


def test_oxygen_is_not_ok_while_the_drive_to_the_only_chamber_is_not_known():
    sheet = action_sheet(SLUG, DAY, needing(20, 20, None))
    assert the(sheet.checks, "oxygen-lasts").outcome is not Outcome.OK


def test_the_sheet_does_not_call_a_need_known_while_the_drive_to_the_only_chamber_is_not():
    text = sheet_text(action_sheet(SLUG, DAY, needing(20, 20, None)), ENGLISH)["oxygen"]
    assert "at least 50 min" in text["headline"]
    assert not text["enough_one"] and text["shortfall"]


def test_a_unit_that_another_site_of_the_day_counts_on_is_told_on_a_sheet_that_is_printed_alone():
    far = here().model_copy(update={"slug": "far-cove", "name": "Far Cove"})
    held = replace(world(), sites={SLUG: here(), "far-cove": far})
    requests = [ask(group("Ann", "Ben")), ask(group("Cy", "Dee"), site="far-cove")]
    together, alone = (sheets_of_day(DAY, slugs, requests, held)[0].sheet for slugs in ([SLUG, "far-cove"], [SLUG]))
    assert together.shared_oxygen == (("Box", "Far Cove"),)
    assert alone.shared_oxygen == together.shared_oxygen


# ---- the way to care ----

rows_ = st.lists(
    st.builds(
        lambda days, opens, length: OpenHours(
            days=tuple(days), opens=time(opens // 60, opens % 60),
            closes=time((opens + length) % 1440 // 60, (opens + length) % 1440 % 60),
        ),
        st.lists(st.sampled_from(["mon", "tue", "wed", "thu", "fri", "sat", "sun"]), unique=True, max_size=7),
        st.integers(0, 1439),
        st.integers(1, 1439),
    ),
    min_size=1, max_size=3,
).map(tuple)  # fmt: skip
NAMES = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def open_now(rows: tuple[OpenHours, ...] | str, closed: tuple[date, ...], wall: datetime) -> bool:
    """Judge a clock on the wall by itself, minute by minute, as somebody would who reads the sign on the door."""
    today, before = wall.date(), wall.date() - timedelta(days=1)
    if today in closed:
        return False
    if rows == "always":
        return True
    for row in rows:
        days = row.days or NAMES
        over_midnight = row.closes <= row.opens
        if NAMES[today.weekday()] in days and row.opens <= wall.time() and (over_midnight or wall.time() < row.closes):
            return True
        if over_midnight and before not in closed and NAMES[before.weekday()] in days and wall.time() < row.closes:
            return True
    return False


NIGHTS = [  # zone, place, and a day on which its clock changes or nothing happens at all
    ("Atlantic/Azores", "47.0000, -17.0000", date(2027, 3, 28)),
    ("Atlantic/Azores", "47.0000, -17.0000", date(2027, 10, 31)),
    ("Australia/Lord_Howe", "-31.5000, 159.0000", date(2027, 4, 4)),
    ("Asia/Kathmandu", "27.7000, 85.3000", date(2027, 6, 12)),
]


@OFTEN
@given(
    st.sampled_from(NIGHTS), rows_ | st.just("always"), st.integers(-6 * 60, 30 * 60), st.integers(1, 300),
    st.sets(st.integers(-1, 2), max_size=2), st.sampled_from([None, *FOUND]),
)  # fmt: skip
def test_a_place_of_care_is_ok_only_if_its_door_is_open_in_each_minute_until_six_hours_after_the_last_exit(
    night, rows, start_min, dive_min, closed, found
):
    from tripplan.emergency.evacuation import care_ways, check_care

    zone_name, position, day = night
    zone = ZoneInfo(zone_name)
    closed_on = tuple(day + timedelta(days=n) for n in closed)
    hospital = here().hospitals[0].model_copy(update={"open": rows, "closed_on": closed_on})
    where = here().model_copy(
        update={"timezone": zone_name, "position": Position(*map(float, position.split(","))), "hospitals": (hospital,)}
    )
    start = datetime.combine(day, time(), tzinfo=zone).astimezone(UTC) + timedelta(minutes=start_min)
    end = start + timedelta(minutes=dive_min)
    tried = (Confirmation(start, hospital.number, hospital.name, "Ann", found),) if found else ()
    today = latest_on(tried, start.astimezone(zone).date(), zone_name)
    ways = care_ways(where, start, end, today, world().rules, day)
    check = the(check_care(where, ways, world().rules, end), "care-open", hospital.name)
    if check.outcome is Outcome.OK:
        assert found != "closed"
        for minute in range(dive_min + 6 * 60):
            wall = (start + timedelta(minutes=minute)).astimezone(zone).replace(tzinfo=None)
            assert open_now(rows, closed_on, wall), wall
    (way,) = (one for one in ways if one.way.care is hospital)
    assert way.first_choice == (way.opened is not Opened.CLOSED)
    if way.opened is Opened.CLOSED:
        assert check.outcome is Outcome.STOP


def test_untimed_dives_leave_no_place_open_that_ever_closes():
    rows = (OpenHours(opens=time(8), closes=time(20)),)
    for opening, closed_on, outcome in (
        (rows, (), Outcome.CAUTION),
        ("always", (), Outcome.OK),
        ("always", (DAY,), Outcome.STOP),
        ("always", (DAY + timedelta(days=1),), Outcome.CAUTION),
        (None, (), Outcome.CAUTION),
        (None, (DAY,), Outcome.STOP),
    ):
        held = having(
            hospitals=tuple(
                line.model_copy(update={"open": opening, "closed_on": closed_on}) for line in here().hospitals
            )
        )
        sheet = action_sheet(SLUG, DAY, held)
        assert the(sheet.checks, "care-open", "Near Hospital").outcome is outcome, (opening, closed_on)


@pytest.mark.parametrize("elevation_m", [-430.0, -100.0, 0.0, 1640.0, 3048.0])
@pytest.mark.parametrize("climb_m", [-200.0, 0.0, 90.0, 92.0, 299.0, 301.0, 2000.0])
def test_heights_on_the_way_count_from_the_water_wherever_it_stands(elevation_m, climb_m):
    """The road's number is where the handbook's altitude rules begin, that of a flight is usual advice. Both are taken
    from the rule book here: what is checked is from where they count."""
    road, flight = (world().rules.value(key) for key in ("altitude.corrected_from_m", "care.flight_climb_m"))
    way = {"highest_road_m": elevation_m + climb_m, "flight_m": elevation_m + climb_m}
    where = here().model_copy(
        update={
            "elevation_m": elevation_m,
            "hospitals": tuple(line.model_copy(update=way) for line in here().hospitals),
        }
    )
    sheet = action_sheet(SLUG, DAY, replace(world(), sites={SLUG: where}))
    rules = {check.rule for check in sheet.checks if check.subject == "Near Hospital"}
    assert ("road-to-care-climbs" in rules) == (climb_m > road)
    assert ("flight-to-care-climbs" in rules) == (climb_m > flight)
    said = next(line for line in sheet_text(sheet, ENGLISH)["care"] if line["name"] == "Near Hospital")["height"]
    assert f"the road climbs {math.ceil(max(climb_m, 0))} m above the water" in said
    assert ("TELL THE RESCUE SERVICE" in said) == (climb_m > min(road, flight))


@OFTEN
@given(
    st.lists(st.tuples(st.none() | st.integers(1, 900), st.booleans()), min_size=1, max_size=4),
    st.integers(1, 10),
)
def test_no_day_goes_ahead_without_a_chamber_in_reach(chambers, apart):
    """Each chamber with its drive (None: not known) and whether it was found closed today."""
    limit_h = world().rules.value("chamber.furthest_h")
    lines = tuple(
        Care(
            name=f"Chamber {n}", number=f"+44 1632 9602{n:02}", drive_min=drive, open="always",
            position=Position(47.0 + apart * (n + 1) / 10, -17.0),
        )
        for n, (drive, _) in enumerate(chambers)
    )  # fmt: skip
    shut = [line for line, (_, closed) in zip(lines, chambers, strict=True) if closed]
    tried = tuple(Confirmation(datetime(2027, 6, 12, 7, tzinfo=UTC), c.number, c.name, "Ann", "closed") for c in shut)
    sheet = action_sheet(SLUG, DAY, replace(having(chambers=lines), confirmed=tried))
    outcomes = {check.outcome for check in sheet.checks if check.rule == "chamber-within-reach"}
    drives = [drive for drive, closed in chambers if not closed and drive is not None]
    open_ones = [line for line in lines if line not in shut]
    if not open_ones or (drives and min(drives) > limit_h * 60):
        assert outcomes == {Outcome.STOP}
    elif drives:
        assert outcomes == {Outcome.OK}
    else:
        assert Outcome.OK not in outcomes


def test_a_hospital_that_has_the_chamber_in_the_same_house_is_still_the_first_choice_of_hospitals():
    both = {"name": "Island Hospital"}
    held = having(
        hospitals=tuple(line.model_copy(update=both) for line in here().hospitals),
        chambers=tuple(line.model_copy(update=both) for line in here().chambers),
    )
    chosen = {line.care.way.kind: line.care.first_choice for line in action_sheet(SLUG, DAY, held).care}
    assert chosen == {"hospital": True, "chamber": True}


def test_a_chamber_just_out_of_reach_is_not_said_to_be_as_far_as_is_allowed():
    rules = world().rules
    far_km = rules.value("chamber.furthest_h") * rules.value("chamber.road_speed_km_h") * 1.05
    north = geodesic(kilometers=far_km).destination((47.0, -17.0), bearing=0)
    lines = tuple(
        line.model_copy(update={"drive_min": None, "position": Position(north.latitude, north.longitude)})
        for line in here().chambers
    )
    check = the(action_sheet(SLUG, DAY, having(chambers=lines)).checks, "chamber-within-reach")
    assert check.outcome is Outcome.STOP
    some, allowed = re.search(r"some ([\d.]+) h; ([\d.]+) h are allowed", check.sentence).groups()
    assert float(some) > float(allowed)


# ---- where to look ----


def holds(step: SearchStep, latitude_deg: float, longitude_deg: float, slack_m: float = 1.0) -> bool:
    """Return whether a box holds a place; one across the meridian of 180 degrees has its east below its west."""
    slack = slack_m / 111_000
    wide = slack / math.cos(math.radians(latitude_deg))
    width = (step.east - step.west) % 360
    return (
        step.south - slack <= latitude_deg <= step.north + slack
        and (longitude_deg - step.west + wide) % 360 <= width + 2 * wide
    )


PLACES = [(47.0, -17.0), (-16.8, 179.999), (-16.8, -179.999), (78.2, 15.6), (-77.8, 166.7), (0.0, 0.01), (84.9, 180.0)]
STREAMS = (
    'kind = "none"',
    'kind = "constants"\nconstituents = { M2 = [2.5, 40.0] }\nmean_kn = 0.5\nflood_toward_deg = 70\n'
    "ebb_toward_deg = 230",
    'kind = "slack"\nhigh_water_slack_min = 10\nlow_water_slack_min = -20\nspring_rate_kn = 3.0\nneap_rate_kn = 1.5\n'
    "spring_range_m = 5.0\nneap_range_m = 2.0\nflood_toward_deg = 10\nebb_toward_deg = 190",
    'kind = "slack"\nhigh_water_slack_min = 10\nlow_water_slack_min = -20\nspring_rate_kn = 3.0\nneap_rate_kn = 1.5\n'
    "spring_range_m = 5.0\nneap_range_m = 2.0",
)  # fmt: skip
ZONES = ("Atlantic/Azores", "Pacific/Chatham", "Asia/Kathmandu", "Australia/Lord_Howe")
DAYS = (DAY, date(2027, 3, 28), date(2027, 10, 31), date(2027, 4, 4), date(2027, 12, 31))


def forecast(start: datetime, hours: int, speed: list[float], way: list[float] | None) -> Conditions:
    """Return a forecast of wind for some hours from a start; without ways only its speed is told."""
    starts = tuple(start + timedelta(hours=n) for n in range(hours))
    origin = Origin("test", start, start)
    series = [Series("wind_m_s", starts, starts, tuple(speed[:hours]), origin)]
    if way is not None:
        series.append(Series("wind_from_deg", starts, starts, tuple(way[:hours]), origin))
    return Conditions(Forecast(tuple(series)), ())


def water(stream: str, zone: str, place: tuple[float, float]) -> Site:
    where = site(TIDAL, ('[stream]\nkind = "none"', f"[stream]\n{stream}"))
    return where.model_copy(update={"timezone": zone, "position": Position(*place)})


@OFTEN
@given(
    st.sampled_from(STREAMS), st.sampled_from(PLACES), st.sampled_from(ZONES), st.sampled_from(DAYS),
    st.integers(0, 1439), st.lists(st.floats(0, 25), min_size=6, max_size=6),
    st.lists(st.floats(0, 359), min_size=6, max_size=6), st.integers(0, 2**32 - 1),
)  # fmt: skip
def test_whoever_drifts_with_the_stream_and_any_share_of_the_wind_is_in_the_box_anywhere_on_any_night(
    stream, place, zone, day, minute, speed, way, seed
):
    """The stream is asked minute by minute from the site's own model, the wind from the forecast; the diver is moved
    along geodesics with a share of the wind that changes as it likes, within its divergence."""
    where = water(stream, zone, place)
    start = datetime.combine(day, time(), tzinfo=UTC) + timedelta(minutes=minute)
    hour = start.replace(minute=0)
    held = replace(
        world(where, station=swing(day, 5)), conditions={SLUG: forecast(hour - timedelta(hours=1), 6, speed, way)}
    )
    area = search_at(held.sites[SLUG], where.position, start, held)
    radii = [step.radius_m for step in area.steps]
    assert all(later > earlier for earlier, later in pairwise(radii))
    assert [step.time - start for step in area.steps] == [timedelta(minutes=10 * n) for n in range(1, 13)]
    for row, step in zip(search_rows(area, zone), area.steps, strict=True):
        assert row[0].startswith(f"{step.time.astimezone(ZoneInfo(zone)):%H:%M}")
        assert int(re.fullmatch(r"radius (\d+) m", row[3])[1]) >= step.radius_m
    assert area.wind_known

    from tripplan.planning.window import site_stream

    times = np.datetime64(start.replace(tzinfo=None), "m") + np.arange(121)
    model = site_stream(where)
    turning = held.stations["swing"].tide
    rates = np.zeros(121) if model is None else model.rates_kn(turning, times)
    toward = np.zeros(121) if model is None else model.toward_deg(turning, times)
    random = np.random.default_rng(seed)
    lost = np.isnan(toward) & (rates > 0)
    assert area.stream_way_known == (not lost.any())
    toward = np.where(np.isnan(toward), random.uniform(0, 360), toward)  # whichever way it is that nobody knows
    percent, spread = held.rules.value("wind.drift_percent"), held.rules.value("search.leeway_divergence_deg")
    share, aside = random.uniform(0, 1, 121), random.uniform(-spread, spread, 121)
    wind, wind_from = sampled_wind(speed, way, hour - timedelta(hours=1), start)
    east = rates * 1852 / 60 * np.sin(np.radians(toward))
    north = rates * 1852 / 60 * np.cos(np.radians(toward))
    if wind is not None:
        downwind = np.radians(wind_from + 180 + aside)
        east = east + wind * 60 * percent / 100 * share * np.sin(downwind)
        north = north + wind * 60 * percent / 100 * share * np.cos(downwind)
    spot = (where.position.latitude_deg, where.position.longitude_deg)
    for number in range(1, 121):
        e, n = (east[number] + east[number - 1]) / 2, (north[number] + north[number - 1]) / 2
        moved = geodesic(meters=math.hypot(e, n)).destination(spot, bearing=math.degrees(math.atan2(e, n)))
        spot = (moved.latitude, moved.longitude)
        if number % 10 == 0:
            assert holds(area.steps[number // 10 - 1], *spot), (number, spot)


def sampled_wind(
    speed: list[float], way: list[float], first: datetime, start: datetime
) -> tuple[np.ndarray | None, np.ndarray]:
    """Return the wind of a forecast in each minute, sampled as for the plan."""
    from tripplan.planning.shore import weather_of

    minutes = np.datetime64(start.replace(tzinfo=None), "m") + np.arange(121)
    weather = weather_of(forecast(first, 6, speed, way), minutes, world().rules)
    if weather is None:
        return None, np.zeros(121)
    return weather.minutes["wind_m_s"], weather.minutes["wind_from_deg"]


@pytest.mark.parametrize(
    ("first", "hours", "ways", "known", "lost_after"),
    [
        ("09:00", 8, True, True, None),  # all of it
        ("09:00", 8, False, False, 0),  # how strong, not where from
        ("06:00", 3, True, False, 0),  # ended before
        ("13:00", 5, True, False, 0),  # begins after
        ("08:00", 4, True, False, 60),  # the last hour told is that of 11:00
        (None, 0, True, False, 0),  # nobody told
    ],
)
def test_a_forecast_that_ends_or_begins_elsewhere_is_never_taken_for_calm(first, hours, ways, known, lost_after):
    start = datetime(2027, 6, 12, 10, 0, tzinfo=UTC)
    conditions = {}
    if first is not None:
        begins = datetime.fromisoformat(f"2027-06-12T{first}:00+00:00")
        conditions[SLUG] = forecast(begins, hours, [8.0] * 8, [180.0] * 8 if ways else None)
    held = replace(world(), conditions=conditions)
    area = search_at(here(), here().position, start, held)
    assert area.wind_known is known
    assert any("is not known" in sentence for sentence in search_words(area, "Atlantic/Azores")) is not known
    told = [step.blown is not None for step in area.steps]
    assert told == sorted(told, reverse=True)  # once lost, it stays lost
    if lost_after == 0:
        assert not any(told)
    elif lost_after is not None:
        assert any(told) and not all(told)
        assert "after 1" in " ".join(search_words(area, "Atlantic/Azores"))


def test_a_slack_stream_beyond_the_end_of_its_table_is_unknown_and_says_so():
    where = water(STREAMS[2], "Atlantic/Azores", (47.0, -17.0))
    held = world(where, station=swing(DAY, 1))
    for start in (datetime(2027, 6, 20, 10, tzinfo=UTC), datetime(2027, 5, 1, 10, tzinfo=UTC)):
        area = search_at(held.sites[SLUG], where.position, start, held)
        assert not area.stream_known
        assert "may be far outside" in " ".join(search_words(area, "Atlantic/Azores"))
    inside = search_at(held.sites[SLUG], where.position, datetime(2027, 6, 12, 10, tzinfo=UTC), held)
    assert inside.stream_known and inside.stream_way_known


def test_a_stream_that_nobody_can_tell_makes_no_smaller_area_than_none():
    known = water(STREAMS[2], "Atlantic/Azores", (47.0, -17.0))
    vague = water(STREAMS[3], "Atlantic/Azores", (47.0, -17.0))
    start = datetime(2027, 6, 12, 2, tzinfo=UTC)
    areas: list[SearchArea] = []
    for where in (known, vague):
        held = world(where, station=swing())
        areas.append(search_at(held.sites[SLUG], where.position, start, held))
    for sure, wide in zip(areas[0].steps, areas[1].steps, strict=True):
        assert wide.north >= sure.north and wide.south <= sure.south
        assert wide.east >= sure.east and wide.west <= sure.west


def test_the_two_equal_hours_of_a_night_are_told_apart_where_a_dive_is_overdue():
    zone = ZoneInfo("Atlantic/Azores")  # at 01:00 UTC on 31 October 2027 the clock goes from 01:00 back to 00:00

    def at(hour: int, minute: int) -> datetime:
        return datetime(2027, 10, 31, hour, minute, tzinfo=UTC).astimezone(zone)

    sheet = sheet_of(world(), group("Ann", "Ben", dives=(wish(5, 20, entry="12:00"),)))
    early, late = (
        replace(sheet, date=date(2027, 10, 31), dives=(replace(sheet.dives[0], entry=at(0, 10), exit_by=exit_by),))
        for exit_by in (at(0, 40), at(1, 40))
    )
    one, two = (sheet_text(each, ENGLISH)["dives"][0]["exit_by"] for each in (early, late))
    assert one != two


# ---- confirmations ----


def tried(line: Contact | Care, found: str, day: int = 12, clock: str = "07:00", **more: Any) -> Confirmation:
    at = datetime.fromisoformat(f"2027-06-{day:02}T{clock}:00+00:00")
    return replace(Confirmation(at, line.number, line.name, "Ann", found), **more)  # type: ignore[arg-type]


def after(*tries: Confirmation, held: World | None = None) -> ActionSheet:
    return action_sheet(SLUG, DAY, replace(held or world(), confirmed=tries))


@OFTEN
@given(
    st.lists(
        st.tuples(st.integers(9, 13), st.integers(0, 1439), st.sampled_from(FOUND)), max_size=6,
        unique_by=lambda one: one[:2],
    ),
    st.randoms(use_true_random=False),
)  # fmt: skip
def test_of_all_tries_only_the_last_of_the_day_counts_in_whatever_order_they_come(tries, random):
    first = here().contacts[0]
    made = [tried(first, found, day, f"{at // 60:02}:{at % 60:02}") for day, at, found in tries]
    shuffled = list(made)
    random.shuffle(shuffled)
    sheet = after(*shuffled)
    today = sorted((at, found) for day, at, found in tries if day == 12)
    found = sheet.contacts[0].today
    assert (found.found if found else None) == (today[-1][1] if today else None)
    assert sheet.contacts[0].confirmed == (bool(today) and today[-1][1] == "right")
    assert (first.name not in sheet.unconfirmed) == sheet.contacts[0].confirmed
    in_vain = [check for check in sheet.checks if check.rule == "contact-answers"]
    assert bool(in_vain) == (bool(today) and today[-1][1] != "right")


def test_a_try_counts_for_its_number_and_name_at_every_site_and_for_no_other_line():
    first = here().contacts[0]
    other = first.model_copy(update={"name": "Harbour office"})  # the same telephone
    moved = first.model_copy(update={"number": "+44 1632 960199"})  # the same name
    far = here().model_copy(update={"slug": "far-cove", "contacts": (first, other, moved)})
    held = replace(world(), sites={SLUG: here(), "far-cove": far}, confirmed=(tried(first, "wrong"),))
    near, away = action_sheet(SLUG, DAY, held), action_sheet("far-cove", DAY, held)
    assert near.contacts[0].today == away.contacts[0].today is not None
    assert away.contacts[1].today is away.contacts[2].today is None


def test_the_plan_and_the_sheet_judge_the_same():
    request = ask(group("Ann", "Ben"))
    where = here()
    held = replace(
        world(),
        confirmed=(
            tried(where.contacts[0], "no_answer"),
            tried(where.contacts[1], "right"),
            tried(where.hospitals[0], "closed"),
        ),
    )  # fmt: skip
    plan = plan_day(request, held)
    sheet = action_sheet(SLUG, DAY, held, [(request, plan)])
    assert set(sheet.checks) <= set(plan.checks)
    assert {check.rule for check in sheet.cautions if check.outcome is Outcome.STOP} <= {c.rule for c in plan.stops}


@pytest.mark.parametrize("found", ["wrong", "no_answer"])
def test_a_number_whose_last_try_failed_is_not_fresh_on_the_days_after(found):
    first = here().contacts[0]
    sheet = after(tried(first, "right", day=8), tried(first, found, day=11))
    assert the(sheet.checks, "contact-fresh", first.name).outcome is not Outcome.OK
    assert "checked 8 Jun" not in sheet_text(sheet, ENGLISH)["contacts"][0]["status"]


def test_a_number_found_wrong_today_is_not_the_one_to_call_first_on_paper():
    import io

    from pypdf import PdfReader

    from tripplan.documents.emergency_sheet import action_sheets_pdf

    other = here().contacts[1].model_copy(update={"number": "+44 1632 960116"})
    held = having(contacts=(here().contacts[0], other, *here().contacts[2:]))
    sheet = after(tried(here().contacts[0], "wrong"), held=held)
    front = PdfReader(io.BytesIO(action_sheets_pdf([sheet]))).pages[0].extract_text()
    assert re.search(r"CALL FIRST\s+\+44 1632 960116", front)


def test_the_code_of_the_first_call_does_not_dial_a_number_found_wrong_today():
    from tripplan.documents import emergency_sheet

    other = here().contacts[1].model_copy(update={"number": "+44 1632 960116"})
    held = having(contacts=(here().contacts[0], other, *here().contacts[2:]))
    sheet = after(tried(here().contacts[0], "wrong"), held=held)
    codes = emergency_sheet._values(sheet, ENGLISH, "")["codes"]
    assert [code["text"] for code in codes if code["text"].startswith("tel:")] == ["tel:+441632960116"]


def test_of_two_tries_in_one_second_the_one_written_down_last_counts(tmp_path):
    chamber, records = here().chambers[0], Records(tmp_path / "records")
    for found in ("right", "closed"):
        records.confirm(tried(chamber, found))
    sheet = after(*records.confirmed()[0])
    (line,) = [line for line in sheet.care if line.care.way.kind == "chamber"]
    assert line.today is not None and line.today.found == "closed"


def test_what_was_found_of_a_number_with_a_very_long_name_is_not_lost(tmp_path):
    long = here().contacts[0].model_copy(update={"name": ("Harbour of the long shore " * 10).strip()})
    records = Records(tmp_path / "records")
    records.confirm(tried(long, "wrong"))
    sheet = after(*records.confirmed()[0], held=having(contacts=(long, *here().contacts[1:])))
    assert sheet.contacts[0].today is not None


# ---- revisions ----

ROLES_IN_TURN = ("dive_director", "oxygen_provider", "rescue", "caller", "recorder", "meeter", "crowd_control")


def planned(held: World | None = None, crew: Crew = CREW, **more: Any) -> ActionSheet:
    whole: dict[str, Any] = {"dives": (wish(5, 20, entry="12:00"),), **more}
    return sheet_of(held or world(), group("Ann", "Ben", **whole), crew=crew)


def lines_with(table: str, **changes: Any) -> World:
    lines = getattr(here(), table)
    return having(**{table: (lines[0].model_copy(update=changes), *lines[1:])})


CHANGED: dict[str, Callable[[], ActionSheet]] = {
    "number of a contact": lambda: planned(lines_with("contacts", number="+44 1632 960199")),
    "number of a hospital": lambda: planned(lines_with("hospitals", number="+44 1632 960199")),
    "number of a chamber": lambda: planned(lines_with("chambers", number="+44 1632 960199")),
    "drive": lambda: planned(lines_with("hospitals", drive_min=21.0)),
    "ambulance": lambda: planned(
        having(rendezvous=here().rendezvous.model_copy(update={"ambulance_min": 21.0}))
    ),
    "number of the beach": lambda: planned(crew=CREW.model_copy(update={"beach_phone": "+44 7700 900123"})),
    "gate code": lambda: planned(having(access=here().access.model_copy(update={"gate_code": "1"}))),
    "order of calling": lambda: planned(having(contacts=here().contacts[::-1])),
    "a contact less": lambda: planned(having(contacts=here().contacts[:-1])),
    "time of a dive": lambda: planned(dives=(wish(5, 20, entry="12:01"),)),
    "length of a dive": lambda: planned(dives=(wish(5, 21, entry="12:00"),)),
    "diver": lambda: sheet_of(world(), group("Ann", "Cy", dives=(wish(5, 20, entry="12:00"),))),
    "oxygen used": lambda: planned(
        with_oxygen(world(), world().readiness.oxygen_units[0].model_copy(update={"pressure_bar": 150.0}))
    ),
    **{
        f"role {role}": lambda role=role: planned(
            crew=CREW.model_copy(update={role: "Flo" if role == "dive_director" else ("Flo",)})
        )
        for role in ROLES_IN_TURN
    },
    "number to tell afterwards": lambda: planned(telling("+44 1632 960101")),
    "hours of a contact": lambda: planned(lines_with("contacts", hours="08:00 to 20:00")),
    "second of two who give oxygen": lambda: planned(crew=all_named("Eva")),
    "numbers of the country": lambda: planned(having(country="PT")),
    "number of the second of one name to tell": lambda: planned(telling("+44 1632 960101", "+44 1632 960100")),
    "hours of a hospital as rows": lambda: planned(lines_with("hospitals", open=until(20))),
}  # fmt: skip


def all_named(second: str) -> Crew:
    """Return a crew in which every role has somebody, and somebody more is trained to give oxygen."""
    named = {role: ("Max",) for role in ROLES_IN_TURN[2:]}
    return CREW.model_copy(update={**named, "oxygen_provider": ("Oxy", second)})


def telling(*numbers: str) -> World:
    told = tuple(TellAfter(name="Office", number=number, when="at once") for number in numbers)
    return replace(world(), readiness=world().readiness.model_copy(update={"tell_after": told}))


def until(hour: int) -> tuple[OpenHours, ...]:
    return (OpenHours(opens=time(0, 1), closes=time(hour)),)


BEFORE = {
    "number to tell afterwards": lambda: planned(telling("+44 1632 960100")),
    "second of two who give oxygen": lambda: planned(crew=all_named("Flo")),
    "numbers of the country": lambda: planned(having(country="ES")),
    "number of the second of one name to tell": lambda: planned(telling("+44 1632 960109", "+44 1632 960100")),
    "hours of a hospital as rows": lambda: planned(lines_with("hospitals", open=until(22))),
}  # fmt: skip


@pytest.mark.parametrize("what", CHANGED)
def test_another_number_role_or_time_is_another_revision_and_is_told(what):
    before, now = BEFORE.get(what, planned)(), CHANGED[what]()
    assert before.revision != now.revision
    assert changed_facts(facts_of(before), facts_of(now))


@OFTEN
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["contacts", "chambers"]), st.integers(0, 5),
            st.sampled_from(["right", "no_answer", "wrong"]), st.integers(7, 12),
        ),
        max_size=5,
    )
)  # fmt: skip
def test_who_tried_which_number_and_when_makes_no_other_revision(tries):
    where = here()
    made = []
    for table, number, found, hour in tries:
        lines = getattr(where, table)
        made.append(tried(lines[number % len(lines)], found, clock=f"{hour:02}:00"))
    assert after(*made).revision == after().revision


def test_a_hospital_of_unknown_hours_that_is_found_right_makes_no_other_revision():
    held = lines_with("hospitals", open=None, hours="day and night")
    assert after(tried(here().hospitals[0], "right"), held=held).revision == after(held=held).revision


def test_a_place_that_is_found_closed_twice_makes_one_other_revision_only():
    hospital = here().hospitals[0]
    once, twice = (
        after(tried(hospital, "closed")),
        after(tried(hospital, "closed"), tried(hospital, "closed", clock="08:10", by="Ben")),
    )
    assert once.revision != after().revision
    assert twice.revision == once.revision


def test_a_dive_that_is_moved_is_another_revision_though_two_requests_have_a_group_of_one_name():
    late = ask(group("Cy", "Dee", dives=(wish(5, 20, entry="15:00"),)))
    made = [
        sheets_of_day(DAY, [SLUG], [ask(group("Ann", "Ben", dives=(wish(5, 20, entry=entry),))), late], world())[0]
        for entry in ("10:00", "12:00")
    ]
    assert made[0].sheet.dives[0].exit_by != made[1].sheet.dives[0].exit_by
    assert made[0].sheet.revision != made[1].sheet.revision


def test_a_dive_of_the_pocket_file_has_its_own_search_areas_only():
    requests = [
        ask(group("Ann", "Ben", dives=(wish(5, 20, entry="10:00"),))),
        ask(group("Cy", "Dee", dives=(wish(5, 20, entry="15:00"),))),
    ]
    (made,) = sheets_of_day(DAY, [SLUG], requests, world())
    page = pocket_site(made.sheet, made.plans, here(), world())
    assert len(page.searches) == 2
    for areas in page.searches.values():
        assert max(area.last_seen_at for area in areas) - min(area.last_seen_at for area in areas) < timedelta(hours=1)


# ---- round against the diver ----


@OFTEN
@given(
    st.floats(1, 300), st.floats(1, 400), st.floats(1, 400), st.floats(0, 3000), st.floats(0.5, 20), st.floats(0, 350)
)
def test_no_figure_of_the_sheet_is_kinder_than_the_value_behind_it(ambulance, hospital, chamber, road, litres, bar):
    held = with_oxygen(needing(ambulance, hospital, chamber), unit(litres, bar, casualties=2))
    held = having(
        held, hospitals=tuple(line.model_copy(update={"highest_road_m": road}) for line in here(held).hospitals)
    )
    sheet = planned(held)
    text = sheet_text(sheet, ENGLISH)

    def figures(words: str) -> list[float]:
        return [float(found) for found in re.findall(r"\d+(?:\.\d+)?", words)]

    held_l = litres * max(bar - 10, 0)
    slowest = max(hospital, chamber)
    need = (ambulance + slowest) * 1.25
    (supply,) = text["oxygen"]["lines"]
    assert figures(supply["minutes"])[0] <= held_l / 15 + 1e-6
    numbers = figures(text["oxygen"]["headline"])
    assert numbers[0] <= held_l / 15 + 1e-6 and numbers[-1] >= need - 1e-6
    if "for two at once" in text["oxygen"]["headline"]:
        assert numbers[1] <= held_l / 30 + 1e-6
    assert figures(text["oxygen"]["need"])[0] >= need - 1e-6
    assert figures(text["where"]["ambulance"])[0] >= ambulance - 1e-6
    for line, minutes in zip(text["care"], (hospital, chamber), strict=True):
        assert figures(line["drive"])[0] >= minutes - 1e-6
    for line, care in zip(text["care"], sheet.care, strict=True):
        assert figures(line["distance"])[0] >= care.care.way.distance_km - 1e-6
    assert figures(text["care"][0]["height"])[0] >= max(road, 0) - 1e-6
    (dive,) = sheet.dives
    assert figures(text["dives"][0]["depth"])[0] >= (dive.depth_m or 0) - 1e-6
    for row, step in zip(text["searches"][0]["rows"], dive.search.steps, strict=True):
        assert figures(row[3])[0] >= step.radius_m


def test_the_gas_of_a_dive_is_not_said_to_hold_more_oxygen_than_a_diver_on_it_breathes():
    people = (person("Ann", nitrox=True), person("Ida", Level.INSTRUCTOR_2, nitrox=True))
    held = world(people=people)
    sheet = sheet_of(held, group("Ann", "Ben", dives=(wish(10, 20, oxygen_percent=32),), mixes={"Ben": 21.0}))
    assert "21" in sheet_text(sheet, ENGLISH)["dives"][0]["gas"]


# ---- a day of everything ----


@FEW
@given(st.data())
def test_the_emergency_part_of_any_day_is_whole_and_made_the_same_way_twice(data):
    """Any mixture of what may be missing: a sheet is made, every check has its sentence, and nothing unknown is OK."""
    where = here()
    optional = st.booleans()

    def some(value: Any) -> Any:
        return value if data.draw(optional) else None

    hospitals = tuple(
        line.model_copy(
            update={"drive_min": some(20.0), "open": some("always"), "highest_road_m": some(5.0), "checked": some(DAY),
                    "checked_by": "Ann"}
        )
        for line in where.hospitals
    )  # fmt: skip
    held = having(
        hospitals=hospitals, alternative_exit=some(where.alternative_exit), country=some("PT"),
        rendezvous=where.rendezvous.model_copy(update={"ambulance_min": some(20.0)}),
    )  # fmt: skip
    kept = held.readiness if data.draw(optional) else Readiness()
    held = replace(held, readiness=kept)
    crew = data.draw(st.sampled_from([Crew(), CREW, Crew(dive_director="Ida")]))
    groups = [group("Ann", "Ben", name="A"), group("Cy", "Dee", name="B", leader="Ola")][: data.draw(st.integers(1, 2))]
    sheets = [sheet_of(held, *groups, crew=crew) for _ in range(2)]
    assert sheets[0] == sheets[1] and sheet_text(sheets[0], ENGLISH) == sheet_text(sheets[1], ENGLISH)
    ok = {(check.rule, check.subject) for check in sheets[0].checks if check.outcome is Outcome.OK}
    (hospital,) = hospitals
    for rule, unknown in (
        ("care-open", hospital.open is None), ("contact-fresh", hospital.checked is None),
    ):  # fmt: skip
        assert not (unknown and (rule, hospital.name) in ok)
    if not kept.oxygen_units or here(held).rendezvous.ambulance_min is None:
        assert not {("oxygen-lasts", None), ("oxygen-two-casualties", None)} & ok
    if here(held).alternative_exit is None:
        assert "alternative-exit" not in {rule for rule, _ in ok}
    assert all(check.sentence.rstrip().endswith((".", ")")) for check in sheets[0].checks)
    if not crew.everybody:
        assert "no_crew" in sheets[0].gaps and "emergency-roles" not in {rule for rule, _ in ok}
    for line in sheets[0].roles:
        assert line.people or "nobody named" in next(
            role["note"] for role in sheet_text(sheets[0], ENGLISH)["roles"] if role["key"] == line.key
        )
