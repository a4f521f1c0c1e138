"""A position is read right or refused, never read wrong."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.environment.position import ACCEPTED, BadPosition, Position, bearing_deg, distance_km, read_position
from tripplan.errors import OutOfRange

# Minutes worked by hand: 18.342 / 60 = 0.3057 and 9.871 / 60 = 0.164517.
READ = [
    ("47.0512, -17.1234", 47.0512, -17.1234),
    ("47.0512,-17.1234", 47.0512, -17.1234),
    ("  +47.0512 , -017.1234 ", 47.0512, -17.1234),
    ("−33.8, −151.2", -33.8, -151.2),  # minus signs as web pages print them
    ("47, -17", 47, -17),
    ("50 18.342 N, 4 9.871 W", 50.3057, -4.164517),
    ("50 18.342 N 4 9.871 W", 50.3057, -4.164517),
    ("50 18.342N, 4 9.871W", 50.3057, -4.164517),
    ("50 18.342 S,004 09.871 E", -50.3057, 4.164517),
    ("50° 18.342' N, 004° 09.871' W", 50.3057, -4.164517),
    ("50°18.342′N 004°09.871′W", 50.3057, -4.164517),
    ("50º 18.342’ n, 4º 9.871’ w", 50.3057, -4.164517),
    ("50 18 N, 4 9 W", 50.3, -4.15),
    ("90 00.000 N, 180 00.000 W", 90, -180),
    ("0 0 S, 0 0 W", 0, 0),
]


@pytest.mark.parametrize("text, latitude_deg, longitude_deg", READ)
def test_an_accepted_form_is_read_right(text: str, latitude_deg: float, longitude_deg: float) -> None:
    position = read_position(text)
    assert position.latitude_deg == pytest.approx(latitude_deg, abs=1e-6)
    assert position.longitude_deg == pytest.approx(longitude_deg, abs=1e-6)


REFUSED = [
    ("", ""),
    ("here", ""),
    ("47.0512 -17.1234", ""),
    ("47.0512", ""),
    ("47.0512, -17.1234, 0", ""),
    ("47.0512N, 17.1234W", ": with letters give degrees and minutes, without letters decimal degrees with a sign"),
    ("-47.0512 N, -17.1234 W", ": give either signs or letters, not both"),
    ("47 03.072 N, -17.1234", ": give either signs or letters, not both"),
    ("47 -03.072 N, 17 07.404 W", ": give either signs or letters, not both"),
    ("47 03.072, -17 07.404", ": with minutes give the letters N or S, E or W"),
    ("17 07.404 W, 47 03.072 N", ": latitude (N or S) stands first, then longitude (E or W)"),
    ("47 03.072 N, 17 07.404 N", ""),
    ("47 03.072 W, 17 07.404 W", ""),
    ("N 47 03.072, W 17 07.404", ""),
    ("47 03 04 N, 17 07 24 W", ": seconds are not read; divide them by 60 and write them as decimals of the minutes"),
    ("47°03'04\"N, 17°07'24\"W", ": seconds are not read; divide them by 60 and write them as decimals of the minutes"),
    ("47 03 04.3 N, 17 W", ""),
    ("47.5 03.072 N, 17 07.404 W", ""),
    ("47 3,072 N, 17 7,404 W", ": decimals have a point, not a comma"),
    ("47,0512, -17,1234", ": decimals have a point, not a comma"),
    ("47,05", ": decimals have a point, not a comma"),  # one number or two?
    ("47,-17,5", ""),
    ("147 03.072 N, 17 07.404 W", ""),
    ("4703.072 N, 01707.404 W", ": with letters give degrees and minutes, without letters decimal degrees with a sign"),
    ("47 03.072 N, 17 07.404 O", ""),  # west in some languages, east in others
    ("4e1, 5", ""),
    ("nan, nan", ""),
    ("٤٧, -١٧", ""),
    ("47 03.072 N, 17 07.404 W; or so", ""),
]


@pytest.mark.parametrize("text, why", REFUSED)
def test_any_other_form_is_refused_with_the_forms_that_are_read(text: str, why: str) -> None:
    with pytest.raises(BadPosition) as refused:
        read_position(text)
    said = str(refused.value)
    assert said.startswith(f'"{text}" is not read as a position') and said.endswith(f"; {ACCEPTED}")
    assert why in said


@pytest.mark.parametrize("text", ["47 60 N, 17 0 W", "47 0 N, 17 60.000 W", "47 99.9 N, 17 0 W"])
def test_sixty_minutes_or_more_are_refused(text: str) -> None:
    with pytest.raises(BadPosition, match="is not below 60"):
        read_position(text)


@pytest.mark.parametrize(
    "text",
    ["95.0, -17.0", "-90.0001, 0.5", "47.0, 180.0001", "47.0, -181", "90 00.001 N, 0 0 E", "0 0 N, 180 00.001 E"],
)
def test_a_place_that_is_not_on_the_globe_is_refused(text: str) -> None:
    with pytest.raises(OutOfRange, match=r"it must be from -(90 to 90|180 to 180) degrees"):
        read_position(text)


@pytest.mark.parametrize("angles", [(math.nan, 0), (0, math.nan), (math.inf, 0), (0, -math.inf)])
def test_a_position_is_never_made_of_what_is_not_a_number(angles: tuple[float, float]) -> None:
    with pytest.raises(OutOfRange):
        Position(*angles)


positions = st.builds(Position, st.floats(-90, 90), st.floats(-180, 180))
MINUTE_DEG = 1 / 60


@given(positions)
def test_degrees_and_minutes_printed_and_read_back_are_within_half_the_last_digit(position: Position) -> None:
    back = read_position(position.degrees_minutes)
    assert abs(back.latitude_deg - position.latitude_deg) <= 0.0005001 * MINUTE_DEG
    assert abs(back.longitude_deg - position.longitude_deg) <= 0.0005001 * MINUTE_DEG
    assert "60.000" not in position.degrees_minutes


@given(positions)
def test_decimal_degrees_printed_and_read_back_are_within_half_the_last_digit(position: Position) -> None:
    back = read_position(position.decimal)
    assert abs(back.latitude_deg - position.latitude_deg) <= 0.00000501
    assert abs(back.longitude_deg - position.longitude_deg) <= 0.00000501
    assert position.geo_uri == "geo:" + position.decimal.replace(", ", ",")
    assert "-0.00000" not in position.decimal


@given(positions)
def test_what_is_spoken_says_the_digits_that_are_printed(position: Position) -> None:
    digits = {word: str(n) for n, word in enumerate(
        ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"))}  # fmt: skip
    heard = "".join(digits.get(word, "") for word in position.spoken.replace(";", "").split())
    assert heard == "".join(c for c in position.degrees_minutes if c.isdigit())
    for letter, word in (("N", "North"), ("S", "South"), ("E", "East"), ("W", "West")):
        assert (letter in position.degrees_minutes) == (word in position.spoken)


@given(st.text(alphabet="0123456789 .,-+NSEW°'\"", max_size=30))
def test_no_text_is_read_as_a_place_far_from_its_numbers(text: str) -> None:
    """Whatever is read, the whole degrees are the first number and its partner, in that order."""
    try:
        position = read_position(text)
    except (BadPosition, OutOfRange):
        return
    halves = text.split(",") if text.count(",") == 1 else [text]
    assert abs(abs(position.latitude_deg) - float(halves[0].strip(" +-").split("°")[0].split(" ")[0].rstrip("NS"))) < 1


def test_minutes_that_round_up_to_sixty_carry_into_the_degree() -> None:
    assert Position(46.9999999, -16.9999999).degrees_minutes == "47° 00.000' N, 017° 00.000' W"


def test_a_position_is_spoken_digit_by_digit() -> None:
    assert Position(47.0512, -17.1234).spoken == (
        "four seven degrees, zero three decimal zero seven two minutes North; "
        "zero one seven degrees, zero seven decimal four zero four minutes West"
    )


def test_distance_agrees_with_the_length_of_a_degree() -> None:
    # WGS 84: a degree of latitude from 46.5 to 47.5 N is 111.17 km, one of longitude at 47 N is 76.06 km
    # (series of Snyder, Map Projections, USGS Professional Paper 1395, table 4: 111.17 and 76.06 at 47).
    assert distance_km(Position(46.5, -17), Position(47.5, -17)) == pytest.approx(111.17, abs=0.02)
    assert distance_km(Position(47, -17.5), Position(47, -16.5)) == pytest.approx(76.06, abs=0.02)
    assert distance_km(Position(0, 179.9), Position(0, -179.9)) == pytest.approx(0.2 * 111.32, abs=0.01)


def test_bearings_point_the_right_way_and_stay_below_360() -> None:
    here = Position(47, -17)
    assert bearing_deg(here, Position(48, -17)) == pytest.approx(0)
    assert bearing_deg(here, Position(46, -17)) == pytest.approx(180)
    assert bearing_deg(Position(0, 0.5), Position(0, 1)) == pytest.approx(90)
    assert bearing_deg(Position(0, 179.9), Position(0, -179.9)) == pytest.approx(90)
    assert 0 <= bearing_deg(here, here) < 360


@given(positions, positions)
def test_a_bearing_is_from_0_to_below_360(start: Position, end: Position) -> None:
    assert 0 <= bearing_deg(start, end) < 360
