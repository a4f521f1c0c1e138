"""The form for a site: faults at their fields with what was typed kept, a look before writing, never over something
unseen, and nothing into the demonstration."""

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
from tripplan.store.new_folder import begin_folder
from tripplan.web import site_form
from tripplan.web.app import create_app

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
SITES = data_dir("sites")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    for name in ("DATA", "CACHE"):
        (tmp_path / name).mkdir()
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / name))
    path = tmp_path / "centre"
    begin_folder(path, {"name": "Blue Bay", "country": "XV", "timezone": "Atlantic/Azores"})
    for name in ("gull-cove.toml", "the-gut.toml", "stations/verrow-harbour.toml"):
        shutil.copy(SITES / name, path / name)
    return path


@pytest.fixture
def hand(folder):
    return Hand(create_app(folder, clock=lambda: NOW).test_client())


def file_shown(page: str) -> str:
    """Return the text of the whole file as the page shows it."""
    return unescape(page.split("The whole file", 1)[1].split("<code>", 2)[2].split("</code>", 1)[0])


def test_faults_stand_at_their_fields_and_what_was_typed_is_kept(hand, folder):
    typed = {
        "name": 'O\'Hara "north" <b>', "position": "46,9", "elevation_m": "1,200", "capacity.divers": "many",
        "places.0.name": "Bay", "places.0.shallowest_m": "9", "places.0.deepest_m": "5", "access.hours.opens": "25:00",
        "exposure.open_to_swell": "80 to 140 to 200", "entries.0.going_in.use": "limits", "survey_date": "2026-02-30",
        "water.kind": "sea", "water.salinity": "2", "contacts.0.role": "police", "contacts.0.open": "mon-fry 8:00 to 9",
        "communications.phone_signal": "none\r\nat all",
    }  # fmt: skip
    before = sorted(folder.rglob("*"))
    page = hand.press(hand.open("/sites/new"), "look", typed, 400)
    form = Form(page)
    for name in ("position", "elevation_m", "capacity.divers", "places.0.shallowest_m", "access.hours.opens",
                 "exposure.open_to_swell", "entries.0.going_in.lowest_m", "survey_date", "water.salinity",
                 "contacts.0.open", "timezone", "lowest_level", "hospitals", "tide.station"):  # fmt: skip
        if name == "timezone":  # it came with the centre's own file
            assert f"trouble-{name}" not in form.ids
            continue
        assert f"trouble-{name}" in form.ids, name
        assert f'href="#{name}"' in page and name in form.ids
        if name in form.labels:
            assert f"trouble-{name}" in form.described[name]
    for name, text in typed.items():
        assert form.one(name) == text
    assert 'O\'Hara "north" <b>' not in page  # it stands there as text
    assert "may be read as 1200 or as 1.2000" in unescape(page)
    assert "deeper than “Deepest, metres”, 5" in unescape(page)
    assert sorted(folder.rglob("*")) == before


def test_every_box_has_a_label_and_a_name_of_its_own(hand):
    page = hand.open("/sites/the-gut/edit")
    form = Form(page)
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    boxes = {name for name, _ in form.boxes} - {"csrf_token", "base"}
    unlabelled = {
        name
        for name in boxes
        if name not in form.labels and not name.endswith((".out", ".suits", ".casualty", "demonstration"))
    }
    assert unlabelled == set()
    assert {each for listed in form.described.values() for each in listed} <= form.ids


def test_a_look_shows_file_and_sketch_and_writes_nothing(hand, folder):
    page = hand.open("/sites/new?like=gull-cove")
    assert Form(page).one("tide.station") == "verrow-harbour" and Form(page).one("position") == ""
    values = tomllib.loads((SITES / "gull-cove.toml").read_text(encoding="utf-8"))
    typed = {
        "name": "Ærø & “bay”", "position": values["position"], "elevation_m": "0", "water.kind": "sea",
        "lowest_level": "level_1", "road": "Cove Lane\r\nsecond gate", "capacity.divers": "8", "flag_rule": "Flag A",
        "entries.0.name": "Beach", "entries.0.kind": "beach", "entries.0.position": "46.9052, -16.7906",
        "entries.0.facing_deg": "110", "entries.0.going_in.use": "limits", "entries.0.going_in.lowest_m": "1,5",
        "entries.0.coming_out.use": "any", "entries.0.casualty": ["yes"], "places.0.name": "Bay",
        "places.0.shallowest_m": "1", "places.0.deepest_m": "9.25", "places.0.bottom": "sand",
        "places.0.suits": ["guided", "night"], "stream.kind": "none", "exposure.open_to_swell": "80 to 140\r\n300-20",
        "exposure.fetch": "90: 600", "limits.wind": "70 to 150: 14 kn", "access.seasons": "11-01 to 03-31",
        "communications.phone_signal": "good", "rendezvous.place": "White chapel", "survey_date": "2026-11-20",
        "rendezvous.position": values["rendezvous"]["position"], "tide.high_time_min": "-5",
    }  # fmt: skip
    page = hand.press(page, "look", typed)
    assert not (folder / "r-bay.toml").exists()
    text = file_shown(page)
    made = tomllib.loads(text)
    assert made["name"] == typed["name"] and made["road"] == "Cove Lane\nsecond gate"
    assert made["entries"][0]["going_in"] == {"lowest_m": 1.5} and made["entries"][0]["coming_out"] == {}
    assert made["exposure"]["open_to_swell"] == [{"from_deg": 80, "to_deg": 140}, {"from_deg": 300, "to_deg": 20}]
    assert made["limits"]["wind"] == [{"from_deg": 70, "to_deg": 150, "most_kn": 14}]
    assert made["access"]["seasons"] == [{"first": "11-01", "last": "03-31"}]
    assert made["contacts"] == values["contacts"] and "slope" not in made["entries"][0]
    assert "<svg" in page and "Slope of the beach" in page  # what is left open is told
    assert not re.search(r"\sstyle=|<script", page)
    # The same file to keep, and back to the form with nothing lost.
    form = Form(page)
    answer = hand.send(form, [["do", "file"]])
    assert answer.text == text and 'filename="r-bay.toml"' in answer.headers["Content-Disposition"]
    back = Form(hand.press(page, "back"))
    assert [back.one(name) for name in typed if isinstance(typed[name], str)] == [
        text for text in typed.values() if isinstance(text, str)
    ]
    page = hand.press(page, "write")
    assert "r-bay.toml is written." in page and "Ærø &amp; “bay”" in page
    assert (folder / "r-bay.toml").read_text(encoding="utf-8") == text
    # Pressed twice: it is there, and is not written a second time.
    answer = hand.send(form, [["do", "write"]])
    assert answer.status_code == 200 and "is there already" in answer.text
    assert len(list(folder.glob("r-bay*"))) == 1


def test_one_number_changed_changes_one_line_and_the_file_before_is_kept(hand, folder):
    before = (folder / "gull-cove.toml").read_text(encoding="utf-8")
    page = hand.press(hand.open("/sites/gull-cove/edit"), "look", {"capacity.divers": "12"})
    assert "-divers = 16" in page and "+divers = 12" in page and page.count("<pre") == 2
    page = hand.press(page, "write")
    assert "gull-cove.toml is changed. The file before is kept as earlier/gull-cove-20261127-080000.toml." in page
    assert (folder / "gull-cove.toml").read_text(encoding="utf-8") == before.replace("divers = 16", "divers = 12")
    assert (folder / "earlier" / "gull-cove-20261127-080000.toml").read_text(encoding="utf-8") == before
    page = hand.press(hand.open("/sites/gull-cove/edit"), "look")
    assert "<b>Nothing.</b>" in page and "Write the file" not in page


def test_rows_are_added_and_taken_out(hand, folder):
    page = hand.press(hand.open("/sites/gull-cove/edit"), "more:hazards")
    hazard = {"hazards.3.kind": "cold", "hazards.3.what": "Cold", "hazards.3.control": "Thick suits"}
    page = hand.press(page, "look", {**hazard, "hazards.0.out": ["yes"]})
    hand.press(page, "write")
    assert [each.kind for each in read_site(folder / "gull-cove.toml").hazards] == [
        "marine_life", "entanglement", "cold",
    ]  # fmt: skip


def test_a_file_changed_while_the_form_stood_open_is_shown_beside_it(hand, folder):
    page = hand.open("/sites/gull-cove/edit")
    file = folder / "gull-cove.toml"
    theirs = file.read_text(encoding="utf-8").replace("divers = 16", "divers = 9")
    file.write_text(theirs, encoding="utf-8")
    page = hand.press(page, "look", {"capacity.divers": "12", "capacity.vehicles": "3"}, 409)
    assert "was changed while your form stood open" in page
    assert re.search(r"Divers in the water at once, at most</th><td[^>]*>9</td><td[^>]*>12<", page)
    assert file.read_text(encoding="utf-8") == theirs
    look = hand.press(page, "look")
    file.write_text(theirs + "# once more\n", encoding="utf-8")  # between look and writing
    page = hand.press(look, "write", status=409)
    hand.press(hand.press(page, "look"), "write")
    assert read_site(file).capacity.divers == 12 and "# once more" in file.read_text(encoding="utf-8")
    assert len(list((folder / "earlier").iterdir())) == 1
    page = hand.open("/sites/gull-cove/edit")
    file.unlink()
    page = hand.press(page, "look", status=409)
    assert "gull-cove.toml is gone" in page and Form(page).action == "/sites/new"


def test_what_the_form_does_not_ask_for_is_left_to_the_hand(hand, folder):
    file = folder / "gull-cove.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("[water]", "[water]\ncolour = 3"), encoding="utf-8")
    answer = hand.client.get("/sites/gull-cove/edit")
    assert answer.status_code == 400 and "change it by hand" in answer.text and "gull-cove.toml:" in answer.text
    file.write_text("name = \n", encoding="utf-8")
    assert hand.client.get("/sites/gull-cove/edit").status_code == 400
    for name in ("nowhere", "..%2Fgull-cove", "centre"):
        assert hand.client.get(f"/sites/{name}/edit").status_code == 404


def test_a_site_with_a_fault_can_be_mended_by_the_form(hand, folder):
    file = folder / "gull-cove.toml"
    file.write_text(file.read_text(encoding="utf-8").replace('"Atlantic/Azores"', '"Azores"'), encoding="utf-8")
    assert hand.client.get("/sites/gull-cove").status_code == 404
    page = hand.press(hand.open("/sites/gull-cove/edit"), "look", {"timezone": "Atlantic/Azores"})
    assert "gull-cove.toml is changed" in hand.press(page, "write")


def test_a_station_still_to_come_is_told_and_stops_every_plan(hand):
    page = hand.press(hand.open("/sites/gull-cove/edit"), "look", {"tide.station": "east-pier"})
    assert "Until it is, every plan here is a stop" in page
    hand.press(page, "write")
    assert "stations/east-pier.toml is missing" in hand.open("/start")


def test_nothing_is_written_into_the_demonstration_and_the_file_is_offered(client, folder, monkeypatch):
    young = Hand(client)
    page = hand_look = young.press(young.open("/sites/gull-cove/edit"), "look", {"capacity.divers": "12"})
    assert "This is the demonstration" in page and "Write the file" not in page and "Save the file" in page
    page = young.press(hand_look, "write", status=400)
    assert "nothing was written" in page
    # Served as if it were a centre's own: it is known by where it stands.
    own = Hand(create_app(SITES, clock=lambda: NOW, records=folder / "records").test_client())
    page = own.press(
        own.press(own.open("/sites/gull-cove/edit"), "look", {"capacity.divers": "12"}), "write", status=400
    )
    assert "nothing was written" in page and not (SITES / "earlier").exists()
    monkeypatch.setattr(site_form, "not_to_be_written", lambda: False)
    page = own.press(
        own.press(own.open("/sites/gull-cove/edit"), "look", {"capacity.divers": "12"}), "write", status=500
    )
    assert "the demonstration that comes with the program stays as it is" in page


def test_a_hundred_rows_are_refused_and_not_cut(hand):
    form = Form(hand.open("/sites/new"))
    more = [(f"hazards.{n}.what", f"thing {n}") for n in range(100)]
    answer = hand.send(form, [*more, ("do", "look")])
    assert answer.status_code == 400 and "at most 60 fit" in answer.text
