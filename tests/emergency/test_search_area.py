"""Where a missing diver may drift: worked by hand, against geodesics, and what no box may ever leave out."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from geopy.distance import geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.emergency.search_area import (
    MINUTES,
    STEP_MIN,
    STEPS,
    SearchArea,
    SearchStep,
    method_words,
    search_area,
)
from tripplan.environment.position import Position
from tripplan.errors import OutOfRange
from tripplan.rulebook import RuleBook, baseline

SEEN = Position(47.0521, -17.1235)
WHEN = datetime(2027, 6, 12, 10, 10, tzinfo=UTC)
COUNT = 121
EMPTY = np.array([])
UNKNOWN = np.full(COUNT, np.nan)


def always(value: float) -> np.ndarray:
    return np.full(COUNT, float(value))


def book(**values: float) -> RuleBook:
    """Return the rules with some of search.* replaced, and 3 per cent of the wind unless told otherwise."""
    rules = dict(baseline().rules)
    for name, value in {"drift_percent": 3.0, **values}.items():
        key = f"wind.{name}" if name == "drift_percent" else f"search.{name}"
        rules[key] = replace(rules[key], value=value)
    return RuleBook(rules)


EXACT = book(position_error_m=0, stream_error_kn=0, leeway_error_kn=0, leeway_divergence_deg=0, first_factor=1)
FANNED = book(position_error_m=0, stream_error_kn=0, leeway_error_kn=0, leeway_divergence_deg=30, first_factor=1)


def area(stream=EMPTY, toward=EMPTY, wind=EMPTY, wind_from=EMPTY, rules=EXACT, seen=SEEN, when=WHEN) -> SearchArea:
    return search_area(seen, when, stream, toward, wind, wind_from, rules)


def after(minutes: int, found: SearchArea) -> SearchStep:
    return next(step for step in found.steps if step.minutes == minutes)


def off_m(place: Position | None, seen: Position = SEEN) -> tuple[float, float]:
    """Return how far and on which bearing a place lies, by geopy's geodesic and plane trigonometry for the bearing."""
    assert place is not None
    start, end = (seen.latitude_deg, seen.longitude_deg), (place.latitude_deg, place.longitude_deg)
    across = geodesic(start, (start[0], end[1])).meters * (1 if (end[1] - start[1] + 180) % 360 > 180 else -1)
    along = geodesic(start, (end[0], start[1])).meters * (1 if end[0] > start[0] else -1)
    return geodesic(start, end).meters, math.degrees(math.atan2(across, along)) % 360


def holds(step: SearchStep, latitude_deg: float, longitude_deg: float, slack_m: float = 0.0) -> bool:
    """Return whether a box holds a place; one across the meridian of 180 degrees has its east below its west."""
    slack = slack_m / 111_000
    wide = slack / math.cos(math.radians(latitude_deg))
    width = (step.east - step.west) % 360
    return (
        step.south - slack <= latitude_deg <= step.north + slack
        and (longitude_deg - step.west + wide) % 360 <= width + 2 * wide
    )


# ---- worked by hand ----


def test_there_is_a_step_every_ten_minutes_for_two_hours():
    found = area()
    assert [step.minutes for step in found.steps] == [10, 20, 30, 40, 50, 60, 70, 80, 90, 100, 110, 120]
    assert (STEPS, STEP_MIN, MINUTES) == (12, 10, 120)
    assert [step.time for step in found.steps] == [WHEN + timedelta(minutes=step.minutes) for step in found.steps]


def test_one_knot_for_an_hour_is_one_nautical_mile():
    """1 kn is 1852 m in an hour: toward 090 the point moves 1852 m east."""
    step = after(60, area(always(1), always(90), always(0), always(0)))
    assert off_m(step.carried) == (pytest.approx(1852, abs=0.1), pytest.approx(90, abs=0.02))
    assert step.blown == step.carried
    assert (step.away_m, step.toward_deg) == (pytest.approx(1852), pytest.approx(90))


def test_three_per_cent_of_ten_metres_a_second_for_half_an_hour():
    """3 % of 10 m/s is 0.3 m/s; 1800 s of that are 540 m, from the south toward the north. The middle: 270 m."""
    step = after(30, area(wind=always(10), wind_from=always(180)))
    assert step.carried == SEEN
    assert off_m(step.blown) == (pytest.approx(540, abs=0.1), pytest.approx(0, abs=0.01))
    assert (step.away_m, step.toward_deg) == (pytest.approx(270), pytest.approx(0))


def test_stream_and_wind_add_as_vectors():
    """Stream 0.5 kn east for 60 min: 926 m. Wind 5 m/s from the north, 3 %: 0.15 m/s, 540 m south.

    blown: root(926^2 + 540^2) = root(857 476 + 291 600) = 1072.0 m; on 90 + atan(540 / 926) = 90 + 30.25 = 120.25.
    middle: 926 east, 270 south: root(857 476 + 72 900) = 964.6 m; on 90 + atan(270 / 926) = 90 + 16.25 = 106.25.
    """
    step = after(60, area(always(0.5), always(90), always(5), always(0)))
    assert off_m(step.carried)[0] == pytest.approx(926, abs=0.1)
    assert off_m(step.blown) == (pytest.approx(1072.0, abs=0.2), pytest.approx(120.25, abs=0.02))
    assert (step.away_m, step.toward_deg) == (pytest.approx(964.6, abs=0.1), pytest.approx(106.25, abs=0.01))


def test_a_stream_that_turns_at_half_time_brings_the_diver_back():
    """1 kn east up to minute 59, slack at 60, 1 kn west from 61 on.

    By 60 min: 59 whole minutes and half of the last, 59.5 / 60 x 1852 = 1836.6 m. By 120: back at the start.
    """
    minutes = np.arange(COUNT)
    found = area(np.where(minutes == 60, 0.0, 1.0), np.where(minutes < 60, 90.0, 270.0), always(0), UNKNOWN)
    assert off_m(after(60, found).carried)[0] == pytest.approx(1836.6, abs=0.1)
    assert off_m(after(120, found).carried)[0] == pytest.approx(0, abs=0.01)
    assert (after(120, found).toward_deg, after(120, found).away_m) == (None, 0.0)


def test_a_stream_that_grows_evenly_goes_as_far_as_its_mean():
    """From 0 to 2 kn in 120 min: after 60 min it runs 1 kn, the mean is 0.5 kn: 926 m."""
    step = after(60, area(np.linspace(0, 2, COUNT), always(200), always(0), always(0)))
    assert off_m(step.carried) == (pytest.approx(926, abs=0.1), pytest.approx(200, abs=0.02))


def test_the_radius_is_the_factor_times_the_total_probable_error():
    """X 100 m; drift root(0.3^2 + 0.4^2) = 0.5 kn, in 60 min De = 926 m.

    E = root(100^2 + 926^2) = root(867 476) = 931.4 m; R = 1.1 x 931.4 = 1024.5 m.
    After 10 min De = 154.3 m, E = root(10 000 + 23 819) = 183.9 m, R = 202.3 m.
    """
    rules = book(position_error_m=100, stream_error_kn=0.3, leeway_error_kn=0.4, first_factor=1.1)
    found = area(rules=rules)
    assert after(60, found).radius_m == pytest.approx(1024.5, abs=0.1)
    assert after(10, found).radius_m == pytest.approx(202.3, abs=0.1)


def test_the_published_error_of_a_drift_at_0_6_knots():
    """IAMSAR Manual volume II, appendix Q: drift velocity error 0.60 kn, interval 18.75 h, De 11.25 NM, that is 0.60 NM
    an hour. (Read in public notes on the manual, not in the manual.) Here four errors of 0.3 kn, two in each rule.
    """
    two = math.hypot(0.3, 0.3)
    rules = book(position_error_m=0, stream_error_kn=two, leeway_error_kn=two, first_factor=1)
    assert after(60, area(rules=rules)).radius_m == pytest.approx(11.25 / 18.75 * 1852)


@pytest.mark.parametrize(
    ("downwind_deg", "printed_kn", "printed_toward_deg"), [(324, 2.21, 21), (64, 3.15, 60)], ids=["left", "right"]
)
def test_the_published_worked_example_of_a_drift(downwind_deg, printed_kn, printed_toward_deg):
    """IAMSAR Manual volume II, appendix Q: current 1.86 kn toward 057, leeway 1.3 kn in a wind of 31.72 kn from 194,
    50 degrees to either side of downwind; left 2.21 kn toward 021, right 3.15 kn toward 060, plotted on paper.
    (Read in public notes on the manual, not in the manual.) The wind is turned here to blow along each side.
    """
    rules = book(drift_percent=1.3 / 31.72 * 100)
    wind_m_s = 31.72 * 1852 / 3600
    found = area(always(1.86), always(57), always(wind_m_s), always((downwind_deg + 180) % 360), rules)
    far_m, toward_deg = off_m(after(60, found).blown)
    assert far_m / 1852 == pytest.approx(printed_kn, abs=0.015)
    assert toward_deg == pytest.approx(printed_toward_deg, abs=0.6)


def test_the_box_is_the_circle_where_nothing_runs():
    """R 500 m: at latitude 47.05 a minute of latitude is 1852.8 m and one of longitude 1266.4 m (WGS 84, by geopy)."""
    rules = book(position_error_m=500, stream_error_kn=0, leeway_error_kn=0, first_factor=1)
    step = after(90, area(wind=always(0), wind_from=UNKNOWN, rules=rules))
    here = (SEEN.latitude_deg, SEEN.longitude_deg)
    minute_m = geodesic(here, (here[0] + 1 / 60, here[1])).meters, geodesic(here, (here[0], here[1] + 1 / 60)).meters
    assert minute_m == (pytest.approx(1852.8, abs=0.2), pytest.approx(1266.4, abs=0.2))
    assert (step.north - here[0]) * 60 * minute_m[0] == pytest.approx(500, abs=2)
    assert (here[0] - step.south) * 60 * minute_m[0] == pytest.approx(500, abs=2)
    assert (step.east - here[1]) * 60 * minute_m[1] == pytest.approx(500, abs=2)
    assert (here[1] - step.west) * 60 * minute_m[1] == pytest.approx(500, abs=2)


def test_the_divergence_widens_the_box_to_both_sides_of_downwind():
    """3 % of 10 m/s for 60 min: 1080 m. 30 degrees aside that is 540 m to either side; none of it goes upwind."""
    step = after(60, area(wind=always(10), wind_from=always(180), rules=FANNED))
    sides = [off_m(Position(SEEN.latitude_deg, longitude))[0] for longitude in (step.east, step.west)]
    assert sides == [pytest.approx(540, abs=2), pytest.approx(540, abs=2)]
    assert off_m(Position(step.north, SEEN.longitude_deg))[0] == pytest.approx(1080, abs=2)
    assert off_m(Position(step.south, SEEN.longitude_deg))[0] == pytest.approx(0, abs=2)


def test_a_wind_that_turns_round_does_not_bring_back_who_surfaced_in_between():
    """10 m/s to the north for an hour, then to the south: whoever came up at the turn is still 1080 m south of there,
    and whoever was at the surface only before it is 1080 m north (59.5 of 60 minutes: 1071 m)."""
    minutes = np.arange(COUNT)
    wind = np.where(minutes == 60, 0.0, 10.0)
    step = after(120, area(wind=wind, wind_from=np.where(minutes < 60, 180.0, 0.0)))
    assert off_m(step.blown)[0] == pytest.approx(0, abs=0.01)
    assert off_m(Position(step.north, SEEN.longitude_deg)) == (pytest.approx(1071, abs=2), pytest.approx(0))
    assert off_m(Position(step.south, SEEN.longitude_deg)) == (pytest.approx(1071, abs=2), pytest.approx(180))


def test_limits_are_whole_thousandths_of_a_minute_and_never_inside():
    step = after(60, area(always(1), always(33), always(7), always(71)))
    for limit in (step.north, step.south, step.east, step.west):
        assert limit * 60_000 == pytest.approx(round(limit * 60_000), abs=1e-6)
    for place in (step.carried, step.blown):
        assert place is not None
        assert step.south <= place.latitude_deg <= step.north
        assert step.west <= place.longitude_deg <= step.east


def test_the_corners_stand_in_their_order():
    step = after(60, area(always(1), always(33), rules=baseline()))
    north_west, north_east, south_east, south_west = step.corners
    assert north_west.latitude_deg == north_east.latitude_deg == step.north > step.south == south_west.latitude_deg
    assert north_west.longitude_deg == south_west.longitude_deg == step.west < step.east == south_east.longitude_deg


# ---- what is not known ----


def test_no_stream_worth_the_name_is_known_to_be_none():
    found = area(wind=always(4), wind_from=always(90))
    assert (found.stream_known, found.stream_way_known, found.wind_known) == (True, True, True)
    assert after(60, found).carried == SEEN


def test_a_stream_of_unknown_way_reaches_as_far_to_every_side():
    """1 kn for 60 min may have gone 1852 m to anywhere; the wind of 5 m/s adds up to 540 m south of that."""
    found = area(always(1), UNKNOWN, always(5), always(0))
    assert (found.stream_known, found.stream_way_known, found.wind_known) == (True, False, True)
    step = after(60, found)
    assert (step.carried, step.blown, step.toward_deg, step.away_m) == (None, None, None, 0.0)
    assert step.radius_m == pytest.approx(1852)
    assert off_m(Position(step.north, SEEN.longitude_deg))[0] == pytest.approx(1852, abs=2)
    assert off_m(Position(step.south, SEEN.longitude_deg))[0] == pytest.approx(1852 + 540, abs=2)


def test_a_way_that_is_nowhere_given_is_not_known():
    found = area(always(1), EMPTY, always(5), EMPTY)
    assert (found.stream_known, found.stream_way_known, found.wind_known) == (True, False, False)


def test_the_way_of_a_stream_that_stands_still_is_not_missed():
    found = area(always(0), UNKNOWN, always(0), UNKNOWN)
    assert (found.stream_known, found.stream_way_known, found.wind_known) == (True, True, True)
    assert after(120, found).blown == SEEN


def test_what_becomes_unknown_later_leaves_the_steps_before_it_alone():
    stream = always(1)
    stream[75:] = np.nan
    found = area(stream, always(90), always(5), always(0))
    assert (found.stream_known, found.stream_way_known) == (False, True)
    whole = area(always(1), always(90), always(5), always(0))
    assert found.steps[:7] == whole.steps[:7]
    assert [step.carried is None for step in found.steps] == [False] * 7 + [True] * 5
    assert all(step.blown is None and step.toward_deg is None for step in found.steps[7:])
    # The box keeps what is known: 74.5 minutes of 1 kn to the east.
    assert off_m(Position(SEEN.latitude_deg, after(120, found).east))[0] == pytest.approx(74.5 / 60 * 1852, abs=2)


def test_a_way_missed_for_a_while_is_missed_to_the_end():
    """1 kn, no way from minute 11 to 20: ten minutes of it, 308.7 m, may have gone to any side."""
    toward = always(90)
    toward[11:21] = np.nan
    found = area(always(1), toward, always(5), always(0))
    assert (found.stream_known, found.stream_way_known) == (True, False)
    assert [step.carried is None for step in found.steps] == [False] + [True] * 11
    assert after(120, found).radius_m == pytest.approx(308.7, abs=0.1)


def test_nothing_known_after_the_two_hours_is_asked_for():
    stream = np.full(200, 1.0)
    stream[COUNT:] = np.nan
    assert area(stream, np.full(200, 90.0)).stream_known


@pytest.mark.parametrize(
    ("wind", "wind_from"), [(EMPTY, EMPTY), (UNKNOWN, always(0)), (UNKNOWN, UNKNOWN)], ids=["untold", "speed", "both"]
)
def test_an_unknown_wind_blows_nobody_and_says_so(wind, wind_from):
    found = area(always(1), always(90), wind, wind_from)
    assert not found.wind_known
    step = after(60, found)
    assert step.blown is None
    assert off_m(step.carried)[0] == pytest.approx(1852, abs=0.1)
    assert (step.away_m, step.toward_deg) == (pytest.approx(1852), pytest.approx(90))


def test_a_wind_of_unknown_way_reaches_as_far_to_every_side():
    """3 % of 10 m/s for 60 min: 1080 m."""
    found = area(wind=always(10), wind_from=UNKNOWN)
    assert not found.wind_known
    step = after(60, found)
    assert (step.carried, step.blown) == (SEEN, None)
    assert step.radius_m == pytest.approx(1080)
    assert off_m(Position(step.south, SEEN.longitude_deg))[0] == pytest.approx(1080, abs=2)


# ---- on the globe ----


@pytest.mark.parametrize("latitude", [-70.0, -47.0, 0.0, 30.0, 50.0, 70.0])
@pytest.mark.parametrize("toward", [0.0, 45.0, 90.0, 200.0, 270.0])
def test_a_steady_drift_agrees_with_geodesics_minute_by_minute(latitude, toward):
    """geopy (Karney's geodesics) goes on from place to place, each time by the local north; 20 km in two hours."""
    rate_kn = 20_000 / 2 / 1852
    place = (latitude, -17.0)
    for _ in range(MINUTES):
        moved = geodesic(meters=20_000 / MINUTES).destination(place, bearing=toward)
        place = (moved.latitude, moved.longitude)
    found = after(120, area(always(rate_kn), always(toward), seen=Position(latitude, -17.0))).carried
    assert found is not None
    assert geodesic(place, (found.latitude_deg, found.longitude_deg)).meters < 1


def test_a_drift_that_turns_right_round_agrees_with_geodesics_to_a_metre():
    ways = np.linspace(0, 360, COUNT)
    place = (60.0, 5.0)
    for first, second in pairwise(ways):
        moved = geodesic(meters=4000 / MINUTES).destination(place, bearing=(first + second) / 2)
        place = (moved.latitude, moved.longitude)
    found = after(120, area(always(4000 / 2 / 1852), ways, seen=Position(60.0, 5.0))).carried
    assert found is not None
    assert geodesic(place, (found.latitude_deg, found.longitude_deg)).meters < 1


@pytest.mark.parametrize("latitude", [-60.0, 60.0])
@pytest.mark.parametrize("toward", [45.0, 135.0, 225.0, 315.0])
def test_the_sides_of_a_box_are_taken_where_a_metre_is_worth_the_most_degrees(latitude, toward):
    """10 NM on a slant, with no error: a metre to the east or west is worth 0.4 % more or fewer degrees at the end than
    at the start, and the box holds whoever went there by either, and by the straight way."""
    step = after(120, area(always(5), always(toward), always(0), always(0), seen=Position(latitude, 5.0)))
    sideways_m = 10 * 1852 * math.sqrt(0.5)  # as far to the north or south as to the east or west
    assert step.carried is not None
    assert holds(step, step.carried.latitude_deg, step.carried.longitude_deg)
    for bound in (latitude, step.carried.latitude_deg):
        degree_m = geodesic((bound, 5.0), (bound, 5.001)).meters * 1000
        assert holds(
            step, step.carried.latitude_deg, 5.0 + math.copysign(sideways_m / degree_m, 180 - toward) * 0.99999
        )


def test_far_north_a_box_is_wide_in_degrees_and_as_wide_in_metres():
    rules = book(position_error_m=500, stream_error_kn=0, leeway_error_kn=0, first_factor=1)
    seen = Position(85.0, 20.0)
    step = after(120, area(rules=rules, seen=seen))
    assert step.east - step.west > 10 * (step.north - step.south)
    width_m = geodesic((85.0, step.west), (85.0, step.east)).meters
    assert width_m == pytest.approx(1000, abs=3)


def test_across_the_meridian_of_180_degrees_the_east_limit_is_below_the_west_limit():
    """180 is 533 m to the east. 1 kn for 30 min: 926 m east, radius 478 m, so that the box begins 448 m to the east."""
    seen = Position(-16.8, 179.995)
    step = after(30, area(always(1), always(90), rules=baseline(), seen=seen))
    assert step.carried is not None
    moved = geodesic(meters=926).destination((-16.8, 179.995), bearing=90)
    assert step.carried.longitude_deg == pytest.approx(moved.longitude, abs=1e-5) and moved.longitude < -179.99
    assert 179.9 < step.west < 180
    assert -180 < step.east < -179.9
    assert holds(step, step.carried.latitude_deg, step.carried.longitude_deg)
    assert not holds(step, -16.8, 0.0)
    westward = after(30, area(always(1), always(270), rules=baseline(), seen=Position(-16.8, -179.995)))
    assert westward.east < 0 < westward.west
    assert all(-180 <= corner.longitude_deg <= 180 for corner in westward.corners)  # a Position takes no others


def test_the_box_is_the_same_on_either_side_of_that_meridian():
    here = after(60, area(always(1), always(60), always(6), always(200), baseline(), Position(-16.8, 20.0)))
    there = after(60, area(always(1), always(60), always(6), always(200), baseline(), Position(-16.8, 180.0)))
    assert (there.east - there.west) % 360 == pytest.approx(here.east - here.west, abs=1e-9)
    assert (there.north, there.south) == (here.north, here.south)


def test_the_times_keep_their_pace_when_the_clocks_change():
    """The clocks of Lisbon go back on 31 October 2027 at 02:00: sixty minutes after 01:30 it is 01:30 again."""
    zone = ZoneInfo("Europe/Lisbon")
    found = area(when=datetime(2027, 10, 31, 1, 30, tzinfo=zone))
    hour = after(60, found).time
    assert (hour.hour, hour.minute, hour.utcoffset()) == (1, 30, timedelta(0))
    assert hour.timestamp() - found.last_seen_at.timestamp() == 3600


# ---- what is refused ----


def test_a_time_without_a_zone_is_refused():
    with pytest.raises(OutOfRange, match="no time zone"):
        area(when=WHEN.replace(tzinfo=None))


@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize("bad", [np.zeros(120), np.zeros((121, 2)), np.float64(1.0)], ids=["short", "flat", "one"])
def test_arrays_that_do_not_hold_two_hours_are_refused(place, bad):
    arrays = [always(1), always(90), always(5), always(0)]
    arrays[place] = bad
    with pytest.raises(OutOfRange, match="121 values"):
        area(*arrays)


@pytest.mark.parametrize(
    ("place", "bad"),
    [(0, -0.1), (0, 41), (0, np.inf), (1, -1), (1, 361), (2, -0.1), (2, 121), (3, -1), (3, 360.5)],
)
def test_values_that_cannot_be_are_refused(place, bad):
    arrays = [always(1), always(90), always(5), always(0)]
    arrays[place][7] = bad
    with pytest.raises(OutOfRange):
        area(*arrays)


@pytest.mark.parametrize("latitude", [88.5, -89.9])
def test_the_poles_are_refused(latitude):
    with pytest.raises(OutOfRange, match="sides"):
        area(seen=Position(latitude, 0.0))


def test_the_method_begins_with_the_coastguard():
    words = method_words()
    assert 3 <= len(words) <= 4
    assert words[0].startswith("Tell the coastguard first")
    assert any("last seen first" in sentence for sentence in words)
    assert any("not a promise" in sentence for sentence in words)
    assert all(sentence.endswith(".") and sentence.isascii() for sentence in words)


# ---- what must never happen ----

SOME = st.integers(0, 2**32 - 1)


@st.composite
def waters(draw: st.DrawFn) -> dict[str, np.ndarray]:
    """Return streams and winds that wander in speed and way, as smooth or as wild as they like."""
    random = np.random.default_rng(draw(SOME))
    pace = draw(st.sampled_from([0.0, 0.5, 5.0, 60.0]))  # degrees a minute

    def way() -> np.ndarray:
        return (random.uniform(0, 360) + np.cumsum(random.uniform(-pace, pace, COUNT))) % 360

    return {
        "stream": random.uniform(0, draw(st.sampled_from([0.2, 1.5, 4.0])), COUNT),
        "toward": way(),
        "wind": random.uniform(0, draw(st.sampled_from([3.0, 12.0, 30.0])), COUNT),
        "wind_from": way(),
    }


places = st.builds(Position, st.floats(-60, 60), st.floats(-180, 180))


@settings(deadline=None, max_examples=60)
@given(waters(), places, SOME, st.floats(0, 60), st.floats(0, 5))
def test_no_share_and_no_angle_of_the_wind_leads_out_of_the_box(water, seen, seed, spread_deg, percent):
    """Somebody is moved on minute by minute along geodesics, with a share of the wind and an angle that change; the
    errors are nought, so that nothing but the reckoned range holds them. Going north and back by other meridians
    shifts a place by some metres; 5 m of slack for drifts of a few kilometres."""
    random = np.random.default_rng(seed)
    rules = book(
        position_error_m=0, stream_error_kn=0, leeway_error_kn=0, first_factor=1, drift_percent=percent,
        leeway_divergence_deg=spread_deg,
    )  # fmt: skip
    found = area(**water, rules=rules, seen=seen)
    share = random.choice([random.uniform(0, 1, COUNT), np.ones(COUNT), random.integers(0, 2, COUNT).astype(float)])
    aside = random.choice([random.uniform(-1, 1, COUNT), np.ones(COUNT), -np.ones(COUNT)]) * spread_deg
    stream, toward = water["stream"] * 1852 / 60, np.radians(water["toward"])
    pull, downwind = water["wind"] * 60 * percent / 100 * share, np.radians(water["wind_from"] + 180 + aside)
    east = stream * np.sin(toward) + pull * np.sin(downwind)
    north = stream * np.cos(toward) + pull * np.cos(downwind)
    place = (seen.latitude_deg, seen.longitude_deg)
    gone = 0.0
    for minute in range(1, COUNT):
        e, n = (east[minute] + east[minute - 1]) / 2, (north[minute] + north[minute - 1]) / 2
        gone += math.hypot(e, n)
        moved = geodesic(meters=math.hypot(e, n)).destination(place, bearing=math.degrees(math.atan2(e, n)))
        place = (moved.latitude, moved.longitude)
        if minute % STEP_MIN == 0:
            step = after(minute, found)
            slack_m = 0.1 + gone**2 / 6_371_000 * 2
            assert holds(step, *place, slack_m=slack_m), f"{minute} min, {step}, {place}"


@settings(deadline=None, max_examples=80)
@given(
    waters(), places, st.floats(0.1, 500), st.floats(0, 2), st.floats(0.01, 2), st.floats(1, 3),
    st.sampled_from(["", "toward", "wind", "wind_from", "stream"]),
)  # fmt: skip
def test_the_radius_grows_with_time_and_the_box_holds_its_circles(water, seen, fix_m, stream_kn, leeway_kn, times, gap):
    if gap:
        water = {**water, gap: np.where(np.arange(COUNT) < 47, water[gap], np.nan)}
    rules = book(position_error_m=fix_m, stream_error_kn=stream_kn, leeway_error_kn=leeway_kn, first_factor=times)
    found = area(**water, rules=rules, seen=seen)
    radii = [step.radius_m for step in found.steps]
    assert all(later > earlier for earlier, later in pairwise(radii))
    assert radii[0] >= fix_m * times
    for step in found.steps:
        for middle in (step.carried, step.blown):
            for bearing in (0, 90, 180, 270) if middle else ():
                start = (middle.latitude_deg, middle.longitude_deg)
                rim = geodesic(meters=step.radius_m).destination(start, bearing=bearing)
                assert holds(step, rim.latitude, rim.longitude, slack_m=0.1 + step.radius_m**2 / 6_371_000 * 2)


@settings(deadline=None, max_examples=60)
@given(waters(), places, st.sampled_from(["toward", "wind_from"]))
def test_not_knowing_a_way_never_makes_a_box_smaller(water, seen, gap):
    known = area(**water, rules=baseline(), seen=seen)
    vague = area(**{**water, gap: UNKNOWN}, rules=baseline(), seen=seen)
    for sure, wide in zip(known.steps, vague.steps, strict=True):
        assert wide.north >= sure.north and wide.south <= sure.south
        assert (wide.east - wide.west) % 360 >= (sure.east - sure.west) % 360
        for place in (sure.carried, sure.blown):
            assert place is not None
            assert holds(wide, place.latitude_deg, place.longitude_deg)


@settings(deadline=None, max_examples=40)
@given(st.floats(0, 3), st.floats(0, 360), st.floats(0, 20), st.floats(0, 360), places)
def test_a_later_box_of_a_steady_drift_is_never_smaller(rate, toward, wind, wind_from, seen):
    steps = area(always(rate), always(toward), always(wind), always(wind_from), baseline(), seen).steps
    thousandth = 1 / 60_000
    for earlier, later in pairwise(steps):
        assert later.north - later.south >= earlier.north - earlier.south - thousandth
        # Degrees of longitude are longer nearer the equator, so the width is compared in metres.
        widths = [
            ((step.east - step.west) % 360) * math.cos(math.radians((step.north + step.south) / 2))
            for step in (earlier, later)
        ]
        assert widths[1] >= widths[0] - 2 * thousandth
