"""First steps with little known and much mistyped: nothing that was left open is taken for good, nothing is lost."""

from __future__ import annotations

import re
import shutil
import tomllib
from datetime import UTC, datetime
from html import unescape

import pytest

from tests.web.by_hand import Form, Hand
from tripplan.catalogue.site import read_site
from tripplan.data_files import data_dir
from tripplan.environment.position import read_position
from tripplan.environment.zone_places import doubts_of_place
from tripplan.store.new_folder import begin_folder
from tripplan.store.site_file import _doubts_of_water, slug_of
from tripplan.web.app import create_app
from tripplan.web.forms import _hours

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
SITES = data_dir("sites")
# Only what the form calls "needed".
BARE = {
    "name": "Bare Bay", "position": "46.9050, -16.7900", "timezone": "Atlantic/Azores", "elevation_m": "0",
    "water.kind": "sea", "lowest_level": "level_1", "road": "Cove Lane", "capacity.divers": "8", "flag_rule": "Flag A",
    "entries.0.name": "Beach", "entries.0.kind": "beach", "entries.0.facing_deg": "110",
    "entries.0.going_in.use": "any", "entries.0.coming_out.use": "any", "entries.0.casualty": ["yes"],
    "places.0.name": "Bay", "places.0.shallowest_m": "1", "places.0.deepest_m": "14", "places.0.bottom": "sand",
    "places.0.suits": ["guided"], "tide.station": "verrow-harbour", "stream.kind": "none",
    "communications.phone_signal": "good on the beach", "rendezvous.place": "Lane end",
    "rendezvous.position": "46.9053, -16.7910", "contacts.0.role": "emergency", "contacts.0.name": "Control",
    "contacts.0.number": "+44 1632 960112", "contacts.0.hours": "24 h", "hospitals.0.name": "Verrow General",
    "hospitals.0.number": "+44 1632 960240", "hospitals.0.position": "46.8862, -16.8571",
    "chambers.0.name": "Verrow chamber", "chambers.0.number": "+44 1632 960270",
    "chambers.0.position": "46.8835, -16.8490", "survey_date": "2026-11-25",
}  # fmt: skip


REQUEST = """
title = "First day"
site = "bare-bay"
date = 2026-11-28

[crew]
dive_director = "Ana Sol"
shore_watch = ["Rui Cruz"]
oxygen_provider = ["Rui Cruz"]

[[groups]]
name = "Terns"
kind = "guided"
leader = "Ana Sol"
divers = ["Lia Reis"]

[[groups.dives]]
depth_m = 12
minutes = 25
"""


def words_only(page: str) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", "", page)))


@pytest.fixture
def folder(tmp_path, monkeypatch):
    for name in ("DATA", "CACHE"):
        (tmp_path / name).mkdir()
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / name))
    path = tmp_path / "centre"
    begin_folder(path, {"name": "Blue Bay"})
    for name in ("gull-cove.toml", "old-slip.toml", "stations/verrow-harbour.toml"):
        shutil.copy(SITES / name, path / name)
    return path


@pytest.fixture
def hand(folder):
    return Hand(create_app(folder, clock=lambda: NOW).test_client())


def test_a_site_with_only_what_is_needed_has_a_caution_for_everything_left_open(hand, folder):
    hand.press(hand.press(hand.open("/sites/new"), "look", BARE), "write")
    site = read_site(folder / "bare-bay.toml")
    assert "exposure" not in site.model_fields_set and site.water.salinity is None and site.entries[0].slope is None
    assert site.hospitals[0].drive_min is site.hospitals[0].open is site.rendezvous.ambulance_min is None
    care = unescape(hand.open("/start")).split('id="care"')[1].split("</li>")[0]
    assert "Verrow General: drive time" in care and "how long an ambulance takes" in care
    staff = {
        "medical": "2026-10-01", "medical_clear": ["yes"], "logged_dives": "400", "last_dive": "2026-11-20",
        "oxygen_provider_until": "2028-01-31", "first_aid_until": "2028-01-31", "insurance_until": "2027-12-31",
    }  # fmt: skip
    oxygen = {"name": "Box", "volume_l": "10", "pressure_bar": "200", "device": "demand", "kept": "beside the van"}
    hand.press(hand.open("/start/oxygen"), "", oxygen)
    for name, level in (("Ana Sol", "instructor_1"), ("Rui Cruz", "level_3"), ("Lia Reis", "level_2")):
        person = {"name": name, "born": "1990-04-02", "level": level, **staff}
        hand.press(hand.open("/people/new"), "save", person)
    (folder / "requests" / "first-day.toml").write_text(REQUEST, encoding="utf-8")
    plain = words_only(hand.open("/requests/first-day"))
    for words in (
        "Find out how long help takes", "Find out how long the drive takes: Verrow General and Verrow chamber",
        "Find out where a casualty goes while this is closed, or its hours are not known",
        "Write size and fill of the cylinders", "Ring these, not checked lately", "Make sure which number reaches",
        "Read the gauge of the oxygen", "The salt of the water is not known", "Allow time and gas for the swim",
        "Agree what to do if the way out closes", "Ask everybody about dives in the days before",
        "no forecast was used",
    ):  # fmt: skip
        assert words in plain, words


def test_the_road_to_care_of_a_site_nearby_is_not_taken_for_this_site_s(hand):
    form = Form(hand.open("/sites/new?like=gull-cove"))
    assert form.one("hospitals.0.number") and form.one("hospitals.0.position")
    for key in ("drive_min", "directions", "highest_road_m", "flight_m"):
        assert not [text for name, text in form.boxes if name.endswith(f".{key}") and text], key


def test_closed_to_all_swell_is_told_from_not_known(hand, folder):
    file = folder / "old-slip.toml"
    assert read_site(file).exposure.open_to_swell == () and "open_to_swell = []" in file.read_text(encoding="utf-8")
    page = hand.open("/sites/old-slip/edit")
    assert Form(page).one("exposure.open_to_swell") == "none"
    look = hand.press(page, "look", {"capacity.divers": "3"})
    assert "Open to swell" not in look.split("What changes")[0] and "-open_to_swell" not in look
    hand.press(hand.press(page, "look", {"exposure.open_to_swell": ""}), "write")
    assert "open_to_swell" not in read_site(file).exposure.model_fields_set  # a plan now says that it is not known
    hand.press(hand.press(hand.open("/sites/old-slip/edit"), "look", {"exposure.open_to_swell": "None"}), "write")
    assert "open_to_swell" in read_site(file).exposure.model_fields_set


@pytest.mark.parametrize("line", ["mon-fri 8:00-22:00", "mon - fri 08:00 to 22:00", "Mon to Fri 8:00 to 22:00",
                                  "mon–fri 08:00–22:00"])  # fmt: skip
def test_from_one_day_to_another_is_every_day_between(line):
    assert _hours(line, 1) == {"days": ["mon", "tue", "wed", "thu", "fri"], "opens": "08:00", "closes": "22:00"}
    assert _hours("mon, fri 08:00 to 22:00", 1)["days"] == ["mon", "fri"]


# Towns and their positions from an atlas; what is asked of each is written by hand.
@pytest.mark.parametrize(
    ("position", "zone", "country", "asked"),
    [
        ("38.70, -9.42", "Europe/Lisbon", "PT", ""),
        ("38.70, 9.42", "Europe/Lisbon", "PT", "sign"),  # east for west: off Tunis
        ("-9.42, 38.70", "Europe/Lisbon", "PT", "turned round"),
        ("38.70, -9.42", "Europe/Lisbon", "ES", "time zone"),
        ("24.45, 122.98", "Asia/Tokyo", None, ""),  # the farthest island of a long country
        ("70.37, 31.10", "Europe/Oslo", None, ""),
        ("-33.85, 18.40", "Africa/Johannesburg", "ZA", ""),
        ("33.85, 18.40", "Africa/Johannesburg", "ZA", "sign"),
        ("46.90, -16.79", "Atlantic/Azores", "XV", ""),  # a country that is none
    ],
)
def test_a_position_far_from_the_country_of_its_clock_is_asked_about(position, zone, country, asked):
    doubts = " ".join(doubts_of_place(read_position(position), zone, country))
    assert asked in doubts and bool(doubts) == bool(asked)


def test_a_doubt_about_the_place_is_shown_before_anything_is_written(hand):
    turned = {"position": "-16.7900, 46.9050", "rendezvous.position": "-16.7910, 46.9053",
              "hospitals.0.position": "-16.8571, 46.8862", "chambers.0.position": "-16.8490, 46.8835"}  # fmt: skip
    zone = {"timezone": "Africa/Nairobi", "country": "PT"}
    look = hand.press(hand.open("/sites/new"), "look", {**BARE, **turned, **zone})
    assert "are latitude and longitude turned round?" in look and "The time zone Africa/Nairobi is that of KE" in look


def test_ends_of_lines_and_the_mark_in_front_stay_as_somebody_s_editor_wrote_them(hand, folder):
    file = folder / "gull-cove.toml"
    theirs = b"\xef\xbb\xbf" + file.read_bytes().replace(b"\n", b"\r\n")
    file.write_bytes(theirs)
    hand.press(hand.press(hand.open("/sites/gull-cove/edit"), "look", {"capacity.divers": "12"}), "write")
    assert file.read_bytes() == theirs.replace(b"divers = 16", b"divers = 12")


def test_what_came_into_the_file_meanwhile_and_no_form_asks_for_is_not_taken_out(hand, folder):
    page, file = hand.open("/sites/gull-cove/edit"), folder / "gull-cove.toml"
    theirs = file.read_text(encoding="utf-8").replace("[water]", "[water]\ncolour = 3")
    file.write_text(theirs, encoding="utf-8")
    form = Form(hand.press(page, "look", {"capacity.divers": "12"}, 409))
    answer = hand.send(form, [("do", "write")])
    assert answer.status_code == 400 and "change it by hand" in answer.text
    assert file.read_text(encoding="utf-8") == theirs


def test_numbers_and_words_of_a_hand_stay_as_they_were_written(hand, folder):
    file = folder / "gull-cove.toml"
    theirs = file.read_text(encoding="utf-8").replace("elevation_m = 0", "elevation_m = +0.10  # by chart")
    theirs = theirs.replace("divers = 16", "divers = 1_6")
    file.write_text(theirs, encoding="utf-8")
    hand.press(hand.press(hand.open("/sites/gull-cove/edit"), "look", {"access.gate_code": "ÆØ 7"}), "write")
    now = file.read_text(encoding="utf-8")
    assert "+0.10  # by chart" in now and "divers = 1_6" in now and tomllib.loads(now)["access"]["gate_code"] == "ÆØ 7"


def test_no_file_gets_a_name_that_a_system_keeps():
    assert [slug_of(name) for name in ("COM1", "lpt9", "Aux", "comb")] == ["com1-site", "lpt9-site", "aux-site", "comb"]


def test_hours_typed_for_minutes_and_bearings_turned_round_are_noticed(hand):
    """One and a half hours typed as 1.5 would make the oxygen last; swell from behind the shore would never come in."""
    page = hand.open("/sites/new")
    slow = {"hospitals.0.position": "46.6000, -16.8571", "hospitals.0.drive_min": "1.5", "hospitals.0.open": "always"}
    page = hand.press(page, "look", {**BARE, **slow}, 400)
    assert "trouble-hospitals.0.drive_min" in Form(page).ids and "34 km away in a straight line" in page
    turned = {"hospitals.0.drive_min": "90", "exposure.open_to_swell": "260 to 320", "exposure.fetch": "290: 600"}
    look = words_only(hand.press(page, "look", turned))
    assert "Open to swell from 260 to 320 degrees, but no way in or out faces there (Beach: 110)" in look
    assert "The most open water, 600 km, lies on 290 degrees" in look
    right = {"exposure.open_to_swell": "320 to 40", "exposure.fetch": "90: 600"}  # its end can be seen from the beach
    assert "no way in or out faces" not in words_only(hand.press(page, "look", {**turned, **right}))


@pytest.mark.parametrize("slug", sorted(path.stem for path in SITES.glob("*.toml")))
def test_no_site_of_the_demonstration_is_doubted(slug):
    assert list(_doubts_of_water(read_site(SITES / f"{slug}.toml"))) == []
