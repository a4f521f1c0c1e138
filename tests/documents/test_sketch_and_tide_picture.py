"""The sketch of a site and the picture of a tide: to scale, and said in words as well."""

from __future__ import annotations

import math
import re
from datetime import date
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from tripplan.data_files import data_dir
from tripplan.documents.sketch import SIZE, sketch_key, sketch_map
from tripplan.documents.tide_picture import tide_events, tide_picture
from tripplan.store.folder import load_folder

FOLDER = load_folder(data_dir("sites"))
STATION = FOLDER.stations["verrow-harbour"]


@pytest.mark.parametrize("slug", sorted(FOLDER.sites))
def test_every_sketch_is_sound_and_keeps_its_numbers_inside(slug):
    site = FOLDER.sites[slug]
    root = ElementTree.fromstring(sketch_map(site))
    numbers = [node for node in root.iter("{http://www.w3.org/2000/svg}text") if (node.text or "").isdigit()]
    assert [node.text for node in numbers] == [str(n) for n in range(1, len(sketch_key(site)) + 1)]
    for node in numbers:
        assert 0 < float(node.attrib["x"]) < SIZE
        assert 0 < float(node.attrib["y"]) < SIZE
    places = [(float(node.attrib["x"]), float(node.attrib["y"])) for node in numbers]
    for index, (x, y) in enumerate(places):
        assert all(abs(x - u) >= 10 or abs(y - v) >= 10 for u, v in places[:index]), "two numbers cover each other"


def test_distance_and_bearing_in_the_key_agree_with_plane_trigonometry():
    """Over some hundred metres a plane with 111.2 km to a degree is right to a per cent."""
    site = FOLDER.sites["stair-ledge"]
    inlet = site.entry("Pebble inlet")
    assert inlet is not None and inlet.position is not None
    north_m = (inlet.position.latitude_deg - site.position.latitude_deg) * 111_200
    east_m = (inlet.position.longitude_deg - site.position.longitude_deg) * 111_200 * math.cos(math.radians(46.833))
    line = next(line for line in sketch_key(site) if line.startswith("Pebble inlet"))
    found = re.search(r"(\d+) m on (\d+) degrees", line)
    assert found
    assert float(found[1]) == pytest.approx(math.hypot(east_m, north_m), rel=0.01)
    assert float(found[2]) == pytest.approx(math.degrees(math.atan2(east_m, north_m)), abs=1)
    assert "alternative exit" in line


def test_a_name_full_of_markup_cannot_leave_its_text():
    site = FOLDER.sites["gull-cove"].model_copy(update={"name": "<script>x</script>"})
    drawn = sketch_map(site)
    assert "<script>" not in drawn
    ElementTree.fromstring(drawn)


# The clocks of the Azores go forward on 28 March 2027 and back on 31 October 2027 (EU rule: last Sundays).
# Every second full hour of the local clock is marked; on the short day 00:00 became 01:00.
@pytest.mark.parametrize(
    ("day", "marks", "first"),
    [(date(2027, 3, 28), 12, "02"), (date(2027, 10, 31), 14, "00"), (date(2027, 6, 1), 13, "00")],
)
def test_the_picture_of_a_day_has_the_real_length_of_the_day(day, marks, first):
    root = ElementTree.fromstring(tide_picture(STATION.name, STATION.tide, STATION.timezone, day))
    texts = [node.text or "" for node in root.iter("{http://www.w3.org/2000/svg}text")]
    labels = [text for text in texts if re.fullmatch(r"[0-9]{2}", text)]
    assert len(labels) == marks
    assert (labels[0], labels[-1]) == (first, "00")


def test_high_and_low_waters_take_turns_and_stand_in_the_description():
    day = date(2026, 12, 1)
    events = tide_events(STATION.tide, STATION.timezone, day)
    kinds = [point.kind for point, _ in events]
    assert len(kinds) in (3, 4)
    assert all(one != two for one, two in pairwise(kinds))
    drawn = tide_picture(STATION.name, STATION.tide, STATION.timezone, day)
    for point, local in events:
        assert local.date() == day
        assert f"{point.kind} water {local:%H:%M}" in drawn


def test_the_picture_is_the_same_each_time_and_carries_no_style():
    drawn = [tide_picture(STATION.name, STATION.tide, STATION.timezone, date(2026, 12, 1), narrow=True) for _ in "12"]
    assert drawn[0] == drawn[1]
    assert "<style" not in drawn[0] and "style=" not in drawn[0]
