"""The first steps are read from the folder, every empty page leads there, and the small forms write whole files."""

from __future__ import annotations

import re
import tomllib
from datetime import UTC, datetime
from html import unescape

import pytest

from tests.web.by_hand import Form, Hand, states
from tripplan.data_files import data_dir
from tripplan.store.folder import load_folder
from tripplan.store.new_folder import begin_folder
from tripplan.web.app import create_app

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
EMPTY_PAGES = (
    "/sites", "/people", "/requests", "/today", "/board", "/season", "/kit", "/kit/packing", "/skills", "/schedules",
    "/sheets", "/tides", "/start/centre", "/start/oxygen",
)  # fmt: skip


@pytest.fixture
def home(tmp_path, monkeypatch):
    for name in ("DATA", "CACHE"):
        (tmp_path / name).mkdir()
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / name))
    return tmp_path


@pytest.fixture
def begun(home):
    begin_folder(home / "centre", {"name": "Blue Bay", "timezone": "Atlantic/Azores"})
    return home / "centre"


def hand_at(folder) -> Hand:
    return Hand(create_app(folder, clock=lambda: NOW).test_client())


def main_of(page: str) -> str:
    return page[page.index("<main") : page.index("</main>")]


def test_every_empty_page_answers_and_leads_to_the_first_steps(begun, home):
    (home / "nothing").mkdir()
    for folder in (begun, home / "nothing"):
        hand = hand_at(folder)
        assert hand.client.get("/").headers["Location"] == "/start"
        for address in EMPTY_PAGES:
            assert 'href="/start' in main_of(hand.open(address)), address
        for address in ("/requests/new", "/sites/new", "/people/new", "/people/table", "/limits", "/rules", "/plan"):
            answer = hand.client.get(address)
            assert answer.status_code in (200, 400), address


def test_the_demonstration_says_so_and_how_to_begin(client):
    page = client.get("/start").text
    assert "This is the demonstration" in page and "tripplan new my-centre" in page
    assert set(states(page).values()) <= {"done", "part"} and "/start" in client.get("/plan").text
    for address, form in (("/start/centre", {"name": "X"}), ("/people/new", {"name": "X"}), ("/start/oxygen", {})):
        form["csrf_token"] = Form(client.get(address).text).one("csrf_token")
        answer = client.post(address, data=form)
        assert answer.status_code == 400 and "othing was written" in answer.text
    assert "country" in tomllib.loads((data_dir("sites") / "centre/centre.toml").read_text(encoding="utf-8"))


def test_each_missing_thing_names_its_file_and_the_line_to_write(begun):
    page = unescape(hand_at(begun).open("/start"))
    named = dict(re.findall(r"By hand: <code>(centre/\w+\.toml):(\d+)", page))
    lines = (begun / "centre/centre.toml").read_text(encoding="utf-8").splitlines()
    assert lines[int(named["centre/centre.toml"]) - 1].startswith("# country =")
    lines = (begun / "centre/emergency.toml").read_text(encoding="utf-8").splitlines()
    assert lines[int(named["centre/emergency.toml"]) - 1] == "# [[oxygen_units]]"
    assert states(page)["centre"] == "part" and "time zone" not in page.split('id="rules"')[0].split("Not known")[1]


def test_facts_go_where_their_comments_stand_and_every_fault_is_told(begun):
    hand = hand_at(begun)
    page = hand.press(hand.open("/start/centre"), "", {"country": "Portugal", "rules_reviewed_by": "Ana"}, 400)
    form = Form(page)
    assert {"trouble-country", "trouble-rules_reviewed_by"} <= form.ids and form.one("country") == "Portugal"
    before = (begun / "centre/centre.toml").read_text(encoding="utf-8")
    page = hand.press(page, "", {"country": "PT", "rules_reviewed": "2026-11-26"})
    assert states(page)["rules"] == "done" and "The file before is kept as centre/centre-20261127-080000.toml" in page
    after = (begun / "centre/centre.toml").read_text(encoding="utf-8")
    pairs = list(zip(before.splitlines(), after.splitlines(), strict=True))
    assert [new for old, new in pairs if old != new] == [
        'country = "PT"', "rules_reviewed = 2026-11-26", 'rules_reviewed_by = "Ana"',
    ]  # fmt: skip
    assert (begun / "centre/centre-20261127-080000.toml").read_text(encoding="utf-8") == before
    # A fact that is emptied is taken out; one changed by somebody else meanwhile is never written over unseen.
    page = hand.open("/start/centre")
    hand.press(page, "", {"country": ""})
    assert load_folder(begun).centre.country is None
    assert "changed while your form stood open" in hand.press(page, "", {"country": "ES"}, 409)
    assert load_folder(begun).centre.country is None


def test_oxygen_is_added_below_the_comments_and_judged_as_the_file_is(begun):
    hand = hand_at(begun)
    unit = {
        "name": "Box 1",
        "device": "demand",
        "kept": "van",
        "volume_l": "10",
        "pressure_psi": "1900",
        "site": "cove",
    }
    page = hand.press(hand.open("/start/oxygen"), "", unit, 400)
    assert {"trouble-pressure_psi", "trouble-site"} <= Form(page).ids
    page = hand.press(page, "", {"pressure_psi": "", "pressure_bar": "200", "site": ""})
    assert states(page)["oxygen"] == "part" and "Nobody has written down a reading of: Box 1" in page
    hand.press(hand.open("/start/oxygen"), "", {**unit, "name": "Box 2", "pressure_psi": "", "site": ""})
    assert [each.name for each in load_folder(begun).world.readiness.oxygen_units] == ["Box 1", "Box 2"]
    assert "[[rescue_kits]]" in (begun / "centre/emergency.toml").read_text(encoding="utf-8")  # the comments stay
    page = hand.press(hand.open("/start/oxygen"), "", {**unit, "name": "box 1", "pressure_psi": "", "site": ""}, 400)
    assert "stands in the list already" in page


def test_people_one_by_one_are_judged_as_a_table_is(begun):
    hand = hand_at(begun)
    bad = {"name": "Ana Sol", "born": "03/04/1990", "next_of_kin_phone": "call her", "gas_rate_l_min": "999"}
    page = hand.press(hand.open("/people/new"), "save", bad, 400)
    form = Form(page)
    assert {"trouble-born", "trouble-level", "trouble-next_of_kin_phone", "trouble-gas_rate_l_min"} <= form.ids
    assert form.one("born") == "03/04/1990"
    good = {"born": "1990-04-03", "level": "level_3", "next_of_kin_phone": "+44 7700 900401", "gas_rate_l_min": "16.5"}
    page = hand.press(page, "save", good)
    text = (begun / "centre/people.toml").read_text(encoding="utf-8")
    assert "Ana Sol is in the list." in page and text.startswith("# The people of the centre")
    assert hand.client.get("/people/new").headers["Cache-Control"] == "no-store"
    page = hand.press(
        hand.open("/people/new"), "save", {"name": "ana  sol", "born": "1990-04-03", "level": "level_1"}, 400
    )
    assert "is in the list already" in page
    # Somebody is changed; what the form does not know is not lost, and a list changed meanwhile is never written over.
    page = hand.open("/people/Ana Sol/edit")
    (begun / "centre/people.toml").write_text(
        text.replace("[[people]]\nname", "[[people]]  # best\nname"), encoding="utf-8"
    )
    page = hand.press(page, "save", {"level": "instructor_1", "notes": "left\r\nhanded"}, 409)
    hand.press(page, "save")
    person = load_folder(begun).world.people["Ana Sol"]
    assert (person.level, person.notes, person.gas_rate_l_min) == ("instructor_1", "left\nhanded", 16.5)
    assert "# best" in (begun / "centre/people.toml").read_text(encoding="utf-8")
    page = hand.press(hand.open("/people/Ana Sol/edit"), "save", {"born": "1991-04-03"}, 400)
    assert "trouble-name" in Form(page).ids
    assert hand.client.get("/people/Nobody/edit").status_code == 404


def test_a_folder_with_other_things_in_it_is_not_taken_for_a_centre(home):
    from tripplan.errors import BadRecord

    (home / "photos").mkdir()
    (home / "photos" / "beach.jpg").touch()
    with pytest.raises(BadRecord, match="tripplan new FOLDER"):
        create_app(home / "photos")


def test_a_centre_s_file_that_goes_away_is_a_fault_and_never_a_new_beginning(begun):
    hand = hand_at(begun)
    (begun / "centre/centre.toml").rename(begun / "centre/centre.bak")
    page = hand.open("/start")
    assert "the centre&#39;s file is missing" in page and "Blue Bay" in page and states(page)["centre"] == "part"
