"""The picture, the table and the gaps of a search area: to scale, in words, and never cut short."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations
from xml.etree import ElementTree

import numpy as np
import pytest
from geopy.distance import geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.documents.search_picture import (
    FOOT,
    SIZE,
    search_head,
    search_picture,
    search_rows,
    search_words,
)
from tripplan.emergency.search_area import SearchArea, SearchStep, search_area
from tripplan.environment.position import Position, read_position
from tripplan.rulebook import baseline

SVG = "{http://www.w3.org/2000/svg}"
SEEN = Position(47.0521, -17.1235)
SITE = Position(47.0510, -17.1262)
WHEN = datetime(2027, 6, 12, 10, 10, tzinfo=UTC)
ZONE = "Europe/Lisbon"  # an hour ahead of UTC in June
COUNT = 121
EMPTY = np.array([])
UNKNOWN = np.full(COUNT, np.nan)


def always(value: float) -> np.ndarray:
    return np.full(COUNT, float(value))


def area(stream=EMPTY, toward=EMPTY, wind=EMPTY, wind_from=EMPTY, seen=SEEN, when=WHEN) -> SearchArea:
    return search_area(seen, when, stream, toward, wind, wind_from, baseline())


FULL = area(always(0.8), always(75), always(6), always(220))
LOST = area(UNKNOWN, UNKNOWN)


def texts(drawn: str) -> list[str]:
    return [node.text or "" for node in ElementTree.fromstring(drawn).iter(f"{SVG}text")]


def polygons(drawn: str) -> list[list[tuple[float, float]]]:
    return [
        [tuple(map(float, pair.split(","))) for pair in node.attrib["points"].split()]
        for node in ElementTree.fromstring(drawn).iter(f"{SVG}polygon")
    ]


def crossing(drawn: str) -> tuple[float, float]:
    """Return the middle of the cross that marks the point last seen."""
    found = re.search(r"M([-\d.]+) ([-\d.]+)l12 12m0 -12l-12 12", drawn)
    assert found
    return float(found[1]) + 6, float(found[2]) + 6


# ---- the picture ----


def test_the_picture_shows_four_boxes_by_the_clock_of_the_site_the_later_ones_dashed():
    drawn = search_picture(FULL, SITE, ZONE)
    shown = texts(drawn)
    for label in ("last seen 11:10", "11:40 (+30)", "12:10 (+60)", "12:40 (+90)", "13:10 (+120)", "N"):
        assert label in shown
    boxes = list(ElementTree.fromstring(drawn).iter(f"{SVG}polygon"))
    dashes = [box.attrib.get("stroke-dasharray") for box in boxes]
    assert dashes[0] is None
    assert len(set(dashes)) == 4


def test_the_picture_is_to_scale_and_north_up():
    """The bar says what a drawing unit is in metres; geopy says what the box of 60 minutes measures."""
    drawn = search_picture(FULL, SITE, ZONE)
    bar = re.search(r"M12 \d+v6h([\d.]+)v-6", drawn)
    metres = next(int(text.removesuffix(" m")) for text in texts(drawn) if re.fullmatch(r"\d+ m", text))
    assert bar
    unit_m = metres / float(bar[1])
    step = FULL.steps[5]
    north_west, north_east, south_east, south_west = polygons(drawn)[1]
    wide_m = geodesic((step.north, step.west), (step.north, step.east)).meters
    high_m = geodesic((step.north, step.west), (step.south, step.west)).meters
    assert (north_east[0] - north_west[0]) * unit_m == pytest.approx(wide_m, rel=0.01)
    assert (south_west[1] - north_west[1]) * unit_m == pytest.approx(high_m, rel=0.01)
    assert north_west[1] < south_east[1] and north_west[0] < south_east[0]
    x, _ = crossing(drawn)
    west_m = geodesic((SEEN.latitude_deg, SEEN.longitude_deg), (SEEN.latitude_deg, step.west)).meters
    sign = 1 if step.west > SEEN.longitude_deg else -1
    assert (north_west[0] - x) * unit_m == pytest.approx(sign * west_m, abs=2 * unit_m)


def test_the_picture_says_in_words_what_it_shows():
    root = ElementTree.fromstring(search_picture(FULL, SITE, ZONE))
    assert root.attrib["role"] == "img"
    said = root.attrib["aria-label"]
    assert "north up" in said
    assert f"Last seen at 11:10, {SEEN.degrees_minutes}" in said
    assert "at 11:40 between" in said and "at 13:10 between" in said
    assert re.search(r"The site lies \d+ m on 23\d degrees", said)


@pytest.mark.parametrize("found", [FULL, LOST, area(always(3), always(5)), area(always(1), UNKNOWN)])
@pytest.mark.parametrize("site", [SITE, SEEN, Position(48.0, -16.0)], ids=["near", "same", "far"])
def test_the_picture_needs_no_style_no_script_and_no_colour(found, site):
    drawn = search_picture(found, site, ZONE)
    root = ElementTree.fromstring(drawn)
    assert {node.tag.removeprefix(SVG) for node in root.iter()} <= {"svg", "rect", "path", "circle", "text", "polygon"}
    assert not any("style" in node.attrib or any(name.startswith("on") for name in node.attrib) for node in root.iter())
    for colour in re.findall(r"#([0-9a-f]{6})", drawn):
        assert colour[:2] == colour[2:4] == colour[4:], "a colour that grey print would lose"


def test_a_site_far_from_the_point_last_seen_is_told_and_shrinks_nothing():
    far = Position(48.0, -16.0)
    drawn = search_picture(FULL, far, ZONE)
    assert "<circle" not in drawn
    assert any(re.search(r"Site: \d+\.\d km on \d{3} degrees", text) for text in texts(drawn))
    assert polygons(drawn) == polygons(search_picture(FULL, SEEN, ZONE))


def test_the_font_is_the_callers_and_cannot_leave_its_attribute():
    assert 'font-family="Noto Sans"' in search_picture(FULL, SITE, ZONE, font_family="Noto Sans")
    ElementTree.fromstring(search_picture(FULL, SITE, ZONE, font_family='x"><script>'))


speeds = st.floats(0, 4)
ways = st.floats(0, 360)


@settings(deadline=None, max_examples=80)
@given(speeds, ways, st.floats(0, 20), ways, st.floats(-60, 60), st.floats(-180, 180))
def test_nothing_leaves_the_picture_and_no_box_is_left_without_its_label(
    rate, toward, wind, wind_from, latitude, longitude
):
    found = area(always(rate), always(toward), always(wind), always(wind_from), Position(latitude, longitude))
    drawn = search_picture(found, Position(latitude, longitude), ZONE)
    spots = [spot for box in polygons(drawn) for spot in box] + [crossing(drawn)]
    assert all(0 < x < SIZE and 0 < y < SIZE for x, y in spots)
    labels = [
        node
        for node in ElementTree.fromstring(drawn).iter(f"{SVG}text")
        if re.search(r"\(\+|^last seen", node.text or "")
    ]
    assert [node.text for node in labels[1:]] == ["11:40 (+30)", "12:10 (+60)", "12:40 (+90)", "13:10 (+120)"]
    for node in labels:
        half = len(node.text or "") * 3
        assert half <= float(node.attrib["x"]) <= SIZE - half
        assert 0 < float(node.attrib["y"]) < SIZE + FOOT
    for one, other in combinations(labels, 2):
        assert (
            abs(float(one.attrib["y"]) - float(other.attrib["y"])) > 9
            or abs(float(one.attrib["x"]) - float(other.attrib["x"])) > 60
        ), "two labels cover each other"


# ---- the table ----


def test_every_step_has_a_row_as_wide_as_the_head():
    rows = search_rows(FULL, ZONE)
    assert [len(row) for row in rows] == [len(search_head())] * 12
    assert [row[1] for row in rows] == [f"+{minutes}" for minutes in range(10, 121, 10)]
    assert [row[0] for row in rows][:3] == ["11:20", "11:30", "11:40"]


def test_a_row_reads_as_it_would_be_said():
    """Still water, no wind: the box is the circle. After 60 min De is root(0.09 + 0.09) = 0.42426 kn, 785.7 m;
    E = root(185.2^2 + 785.7^2) = 807.3 m, R = 888.0 m, said as 890 m; 888.0 m are 0.4793 min of latitude (1852.8 m
    each): 47 03.126 N and 0.480 north of that is 47 03.606."""
    row = search_rows(area(wind=always(0), wind_from=always(0)), ZONE)[5]
    assert row[:4] == ["12:10", "+60", "no drift", "radius 890 m"]
    assert row[4] == "47° 03.606' N"
    assert row[5].endswith("N") and row[6].endswith("W") and row[7].endswith("W")


def test_a_limit_in_the_table_is_the_limit_itself():
    for row, step in zip(search_rows(FULL, ZONE), FULL.steps, strict=True):
        for north_south, east_west in ((4, 6), (5, 7)):
            said = read_position(f"{row[north_south]}, {row[east_west]}")
            assert said.latitude_deg == pytest.approx((step.north, step.south)[north_south - 4], abs=1e-9)
            assert said.longitude_deg == pytest.approx((step.east, step.west)[east_west - 6], abs=1e-9)


def test_the_radius_is_rounded_up_and_the_way_to_a_degree():
    step = replace(FULL.steps[0], radius_m=240.1, toward_deg=359.7, away_m=314.0)
    row = search_rows(replace(FULL, steps=(step,)), ZONE)[0]
    assert row[2:4] == ["toward 000°, 310 m", "radius 250 m"]


def test_a_way_that_is_not_known_is_said_in_every_row():
    assert {row[2] for row in search_rows(area(always(1), UNKNOWN), ZONE)} == {"way not known"}


def test_the_two_equal_hours_of_an_autumn_night_are_told_apart():
    """The clocks of Lisbon go back at 01:00 UTC on 31 October 2027."""
    rows = search_rows(area(when=datetime(2027, 10, 31, 0, 0, tzinfo=UTC)), ZONE)
    assert len({row[0] for row in rows}) == 12
    assert rows[0][0] == "01:10 (UTC+0100)" and rows[6][0] == "01:10 (UTC+0000)"


# ---- the gaps ----


def test_an_area_without_gaps_needs_no_words():
    assert search_words(FULL, ZONE) == ()


def test_an_unknown_stream_says_that_the_diver_may_be_far_outside():
    words = search_words(area(UNKNOWN, UNKNOWN, always(3), always(0)), ZONE)
    assert len(words) == 1
    assert words[0].startswith("How fast the stream runs is not known: ")
    assert "far outside" in words[0]


def test_an_unknown_way_says_that_the_boxes_reach_to_every_side():
    words = search_words(area(always(1), UNKNOWN, always(3), always(0)), ZONE)
    assert len(words) == 1
    assert words[0].startswith("Where the stream runs to is not known: ")
    assert "every side" in words[0]


def test_an_unknown_wind_sends_the_search_further_downwind():
    words = search_words(area(always(1), always(90)), ZONE)
    assert len(words) == 1
    assert "wind" in words[0] and "further downwind" in words[0]


def test_both_gaps_are_said():
    assert len(search_words(LOST, ZONE)) == 2


@pytest.mark.parametrize(("place", "start"), [(0, "How fast"), (1, "Where"), (2, "How strong"), (3, "How strong")])
def test_a_gap_that_begins_later_says_after_when(place, start):
    """Known up to minute 34: the step of 30 minutes, 11:40 by the clock, is the last that knows."""
    arrays = [always(1), always(90), always(5), always(0)]
    arrays[place][35:] = np.nan
    words = search_words(area(*arrays), ZONE)
    assert len(words) == 1
    assert words[0].startswith(start)
    assert " is not known after 11:40: " in words[0]


@pytest.mark.parametrize("gaps", [(), (0,), (1,), (2,), (0, 2), (1, 3), (0, 1, 2, 3)])
def test_every_flag_that_is_down_has_its_sentence(gaps):
    arrays = [always(1), always(90), always(5), always(0)]
    for place in gaps:
        arrays[place][60:] = np.nan
    found = area(*arrays)
    words = search_words(found, ZONE)
    down = (not (found.stream_known and found.stream_way_known)) + (not found.wind_known)
    assert len(words) == down
    assert all(sentence.endswith(".") for sentence in words)


def test_the_hand_made_step_has_its_words():
    """A step as another part of the program might build it: a middle but no wind."""
    step = SearchStep(10, WHEN + timedelta(minutes=10), SEEN, None, 90.0, 154.3, 200.0, 47.06, 47.04, -17.11, -17.13)
    row = search_rows(SearchArea(SEEN, WHEN, (step,), True, True, False), ZONE)[0]
    assert row == [
        "11:20",
        "+10",
        "toward 090°, 150 m",
        "radius 200 m",
        "47° 03.600' N",
        "47° 02.400' N",
        "017° 06.600' W",
        "017° 07.800' W",
    ]
