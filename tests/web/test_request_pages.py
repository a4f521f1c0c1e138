"""Requests made and edited by several people: the form loses nothing, a clear choice where two edit the same."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, date, datetime, time, timedelta
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urlencode

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from werkzeug.datastructures import MultiDict

from tests.any_request import any_request
from tripplan.data_files import data_dir
from tripplan.planning.request import DiveWish, RecentDive
from tripplan.store.accounts import Accounts, Limits
from tripplan.store.database import Store, sqlite_url
from tripplan.store.folder import load_folder
from tripplan.store.requests import values_of
from tripplan.web.app import create_app
from tripplan.web.request_form import asked_in, number_text, words_of_form, words_of_values

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
NAME = "saturday-ledge"
EDIT = f"/requests/{NAME}/edit"
DEPTH = "groups.0.dives.0.depth_m"


@pytest.fixture(scope="module")
def folder():
    return load_folder(data_dir("sites"))


# ---- a form as a browser has it ----


class Boxes(MultiDict):
    """Boxes of a form by name, in order; what is filled in takes the place of what stood there."""

    def update(self, typed):
        for box, text in typed.items():
            self[box] = text


class Form(HTMLParser):
    """Reads the boxes of the form that saves, as a browser would send them."""

    def __init__(self, page: str, action: str) -> None:
        super().__init__()
        self.action, self.inside, self.fields = action, False, Boxes()
        self.select, self.first, self.chosen, self.area, self.option = "", None, None, "", False
        self.feed(page)

    def handle_starttag(self, tag, given):
        at = {key: value or "" for key, value in given}
        if tag == "form":
            self.inside = at.get("action") == self.action
        if not self.inside:
            return
        if tag == "input" and at.get("name"):
            if at.get("type") != "checkbox" or "checked" in at:
                self.fields.add(at["name"], at.get("value", ""))
        elif tag == "select":
            self.select, self.first, self.chosen = at["name"], None, None
        elif tag == "option":
            self.option = True
            self.value, self.is_chosen = at.get("value"), "selected" in at
            self.text = ""
        elif tag == "textarea":
            self.area, self.text = at["name"], ""

    def handle_data(self, data):
        if self.option or self.area:
            self.text += data

    def handle_endtag(self, tag):
        if not self.inside:
            return
        if tag == "option":
            value = self.text.strip() if self.value is None else self.value
            self.first = value if self.first is None else self.first
            self.chosen = value if self.is_chosen else self.chosen
            self.option = False
        elif tag == "select":
            self.fields.add(self.select, self.chosen if self.chosen is not None else self.first)
        elif tag == "textarea":
            self.fields.add(self.area, self.text)
            self.area = ""
        elif tag == "form":
            self.inside = False


class Visitor:
    """Somebody with a browser of their own."""

    def __init__(self, app, by: str = "Greta Holm") -> None:
        self.client, self.by = app.test_client(), by

    def page(self, address: str, status: int = 200) -> str:
        answer = self.client.get(address)
        assert answer.status_code == status, (address, answer.status_code)
        return answer.get_data(as_text=True)

    def form(self, address: str = EDIT, action: str = "") -> MultiDict:
        fields = Form(self.page(address), action or address).fields
        if "by" in fields:
            fields["by"] = self.by
        return fields

    def send(self, address: str, fields, status: int = 303):
        data = urlencode([(key, text) for key, texts in fields.lists() for text in texts])
        answer = self.client.post(address, data=data, content_type="application/x-www-form-urlencoded")
        assert answer.status_code == status, (answer.status_code, plain(answer)[:3000])
        return answer


def plain(answer) -> str:
    text = answer if isinstance(answer, str) else answer.get_data(as_text=True)
    from html import unescape

    return " ".join(unescape(re.sub(r"<[^>]+>", " ", text)).split())


@pytest.fixture
def centre(tmp_path):
    return Path(shutil.copytree(data_dir("sites"), tmp_path / "centre"))


@pytest.fixture
def app(centre, tmp_path):
    made = create_app(centre, clock=lambda: NOW, records=tmp_path / "records", feed_cache=tmp_path / "feeds")
    made.extensions["tripplan_store_url"] = sqlite_url(tmp_path / "store.sqlite")
    yield made
    if store := made.extensions.get("tripplan_store"):
        store.close()


@pytest.fixture
def greta(app):
    return Visitor(app)


@pytest.fixture
def asha(app):
    return Visitor(app, "Asha Rao")


def store_of(app) -> Store:
    return app.extensions["tripplan_store"]


def standing(app, name: str = NAME):
    with app.test_request_context("/"):
        from tripplan.web.here import shelf

        return shelf().requests.get(name)


# ---- nothing is lost on the way through the form ----


@pytest.mark.parametrize("name", ["beginners-cove", "lake-altitude", "pier-morning", "saturday-ledge"])
def test_a_request_that_is_opened_and_saved_as_it_is_is_the_same(greta, app, name):
    before = standing(app, name)
    form = greta.form(f"/requests/{name}/edit")
    asked = asked_in(words_of_form(form), load_folder(data_dir("sites")).world)
    assert asked.errors == {} and asked.request == before
    answer = greta.send(f"/requests/{name}/edit", form)
    assert "there was nothing to save" in plain(greta.page(answer.headers["Location"]))
    assert standing(app, name) == before and store_of_if_there(app) is None


def store_of_if_there(app):
    return app.extensions.get("tripplan_store")


@pytest.mark.sqlite_file("it goes through the words of a form only: nothing is kept")
@settings(max_examples=60, deadline=None)
@given(any_request(("Nadia Petit", "Owen Marsh", "Keiko Arai", "Hana Novak", "Luca Benti", "Asha Rao")), st.data())
def test_any_request_goes_through_the_words_of_the_form_and_comes_back_as_it_was(drawn, data):
    """Names of sites and places are set to known ones; everything else is what was drawn."""
    world = load_folder(data_dir("sites")).world
    site = world.sites["stair-ledge"]
    places = st.none() | st.sampled_from([place.name for place in site.places])
    ways = st.none() | st.sampled_from([way.name for way in site.entries])
    groups = tuple(
        group.model_copy(
            update={
                "place": data.draw(places),
                "going_in_by": data.draw(ways),
                "coming_out_by": data.draw(ways),
                "leader": group.leader or ("Greta Holm" if group.assistants else None),
                "pairs": group.pairs if group.leader or not group.pairs or group.kind != "autonomous" else None,
            }
        )
        for group in drawn.groups
    )
    request = drawn.model_copy(update={"site": "stair-ledge", "groups": groups})
    sent = urlencode(list(words_of_values(values_of(request)).flat()))
    from werkzeug.test import EnvironBuilder
    from werkzeug.wrappers import Request as Received

    body = EnvironBuilder(method="POST", data=sent, content_type="application/x-www-form-urlencoded").get_environ()
    asked = asked_in(words_of_form(Received(body).form), world)
    assert asked.errors == {}
    assert asked.request == request


@given(st.floats(-1000, 20_000))
def test_a_number_reads_back_as_itself(value):
    from tripplan.web.request_form import _number

    assert _number(number_text(value)) == value


def test_an_empty_form_asks_for_what_is_missing_and_keeps_nothing(greta, app):
    form = greta.form("/requests/new")
    form["by"] = ""
    said = plain(greta.send("/requests/new", form, 400))
    for words in (
        "Site: is missing; give one of the list.",
        "Date: is missing; give the day of diving.",
        "Groups: is missing; give at least one group with a name, a kind, divers and dives.",
        "Your name: is missing; say who changes the request.",
    ):
        assert words in said
    assert store_of_if_there(app) is None


@pytest.mark.parametrize(
    ("box", "typed", "said"),
    [
        (DEPTH, "deep", 'Group 1 (Terns), dive 1, depth, metres: is "deep"; it must be a number, without its unit'),
        (DEPTH, "140", "Group 1 (Terns), dive 1, depth, metres: is 140; it must be at most 100"),
        (DEPTH, "nan", 'depth, metres: is "nan"; it must be a number'),
        ("groups.0.dives.0.minutes", "12.5", "bottom time, minutes: is 12.5; it must be a whole number"),
        ("groups.0.dives.0.entry", "9.30", 'entry fixed at: is "9.30": a time of day is written HH:MM, from 00:00'),
        ("groups.1.name", "terns", 'Group 2 (terns), name of the group: is "terns", as group 1 is; names must differ'),
        ("groups.0.kind", "swim", 'kind of dive: is "swim"; it must be one of "first_experience"'),
        ("groups.0.pairs", "Nadia Petit, Owen Marsh", "pairs or threes: leaves out Keiko Arai, Hana Novak; put every"),
        ("groups.0.place", "Moon", 'place under water: place "Moon" is not at Stair Ledge; known: Kelp shelf'),
        ("groups.0.leader", "Zed", '"Zed" is not in the list of people; known: Ines Faro'),
        ("date", "2026-13-40", 'Date: is "2026-13-40"; it must be a date, like 2027-06-12'),
        ("date", "1900-01-01", "Date: is 1900-01-01: it must be from 1901-01-01 to 2099-12-31"),
        ("site", "nowhere", 'Site: site "nowhere" is not in the catalogue; known: '),
        ("title", "x" * 81, "What the day is called: is "),
        ("crew.beach_phone", "abc", 'Telephone on the beach: is "abc": not a telephone number; give digits'),
        ("crew.rescue", "Zed", 'Goes in after a casualty: "Zed" is not in the list of people'),
        ("way_home.0.height_m", "1,780", '"1,780" may be read as 1780 or as 1.7800; write it in one of these two'),
        ("way_home.0.height_m", "1.780", '"1.780" may be read as 1780 or as 1.7800; write it in one of these two'),
        ("altitude.arrived", "25:00", 'Arrival at the site\'s altitude: is "25:00": a time of day is written HH:MM'),
    ],
)
def test_what_cannot_be_used_comes_back_as_typed_with_a_sentence_and_is_not_kept(greta, app, box, typed, said):
    form = greta.form()
    form[box] = typed
    form["crew.meeter"] = "Clara Voss"
    answer = greta.send(EDIT, form, 400)
    page = answer.get_data(as_text=True)
    assert "Nothing was saved. Change what is marked" in plain(page)
    assert said in plain(page)
    again = Form(page, EDIT).fields
    assert again[box] == typed and again["crew.meeter"] == "Clara Voss"
    assert 'aria-invalid="true"' in page
    assert store_of_if_there(app) is None and standing(app).crew.meeter == ("Maren Dahl",)


def test_more_rows_come_without_saving_and_with_all_that_was_typed(greta, app):
    form = greta.form()
    form["title"] = "Half typed"
    form[DEPTH] = "not yet"
    form["more"] = "groups"
    page = greta.send(f"/requests/{NAME}/form", form, 200).get_data(as_text=True)
    fields = Form(page, EDIT).fields
    assert fields["title"] == "Half typed" and fields[DEPTH] == "not yet"
    assert fields["groups.2.name"] == "" and "groups.3.name" not in fields
    assert standing(app).title == "Two guided groups at Stair Ledge"
    form["more"] = "groups.1.dives"
    page = greta.send(f"/requests/{NAME}/form", form, 200).get_data(as_text=True)
    assert "groups.1.dives.1.depth_m" in Form(page, EDIT).fields


def test_every_part_of_a_request_can_be_changed_and_rows_added_and_taken_out(greta, app):
    form = greta.form()
    form["title"] = "Ledge, changed"
    form.setlist("crew.shore_watch", ["Clara Voss", ""])
    form.update({"groups.0.pairs": "Keiko Arai, Hana Novak\r\nNadia Petit, Owen Marsh\r\n"})
    form.update({"groups.0.mixes.0.person": "Keiko Arai", "groups.0.mixes.0.oxygen_percent": "32"})
    form.update({"groups.0.dives.1.out": "yes", "groups.0.dives.7.minutes": "20", "groups.1.out": "yes"})
    form.update({"way_home.0.height_m": "450,5", "drives_between.0.name": "Hill", "drives_between.0.height_m": "120"})
    form.update({"drives_between.0.leaves": "9:05"})
    greta.send(EDIT, form)
    made = standing(app)
    (group,) = made.groups
    assert (made.title, made.crew.shore_watch) == ("Ledge, changed", ("Clara Voss",))
    assert group.pairs == (("Keiko Arai", "Hana Novak"), ("Nadia Petit", "Owen Marsh"))
    assert group.mixes == {"Keiko Arai": 32}
    assert group.dives == (DiveWish(depth_m=18, minutes=30, not_before=time(9, 0)), DiveWish(minutes=20))
    assert made.way_home[0].height_m == 450.5
    assert made.drives_between[0].leaves == time(9, 5)


# ---- recent dives: what was asked for one day and some people is not true of others ----


def recent(greta, surfaced: str, site: str = "stair-ledge") -> MultiDict:
    form = greta.form()
    form.pop("recent_none", None)
    form["site"] = site
    row = {"person": "Owen Marsh", "depth_m": "18", "minutes": "40", "surfaced": surfaced}
    form.update({f"recent_dives.0.{key}": text for key, text in row.items()})
    return form


def test_a_recent_dive_is_written_by_the_clock_of_the_site(greta, app):
    zone = standing(app) and load_folder(data_dir("sites")).sites["stair-ledge"].timezone
    from zoneinfo import ZoneInfo

    greta.send(EDIT, recent(greta, "2026-12-11 16:40"))
    (dive,) = standing(app).recent_dives
    assert dive == RecentDive(
        person="Owen Marsh", depth_m=18, minutes=40, surfaced=datetime(2026, 12, 11, 16, 40, tzinfo=ZoneInfo(zone))
    )
    greta.send(EDIT, recent(greta, "2026-12-11 16:40 +05:30"))
    (dive,) = standing(app).recent_dives
    assert dive.surfaced == datetime(2026, 12, 11, 11, 10, tzinfo=UTC)


@pytest.mark.parametrize("typed", ["2026-12-11", "yesterday", "11.12.2026 16:40", "2026-12-11 25:00"])
def test_a_recent_dive_without_its_time_is_refused(greta, typed):
    """A day alone would be its first minute, and hide hours of gas still in the body."""
    said = plain(greta.send(EDIT, recent(greta, typed), 400))
    assert f'"{typed}" is no day and time' in said


def test_a_time_that_the_clock_shows_twice_is_the_later_one():
    """01:30 on 25 October 2026 in London is 00:30 UTC and, an hour later, 01:30 UTC: the later leaves less time."""
    from zoneinfo import ZoneInfo

    from tripplan.web.request_form import _moment

    moment = datetime.fromisoformat(_moment("2026-10-25 01:30", ZoneInfo("Europe/London")))
    assert moment.astimezone(UTC) == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


def test_nobody_dived_and_a_recent_dive_do_not_go_together(greta):
    form = recent(greta, "2026-12-11 16:40")
    form["recent_none"] = "yes"
    assert "it says that nobody dived, but recent dives are written down" in plain(greta.send(EDIT, form, 400))


@pytest.mark.parametrize(
    ("box", "typed", "why"),
    [
        ("date", "2026-12-19", "the day was 2026-12-12"),
        ("groups.0.leader", "Maren Dahl", "new in the groups: Maren Dahl"),
    ],
)
def test_everybody_is_asked_again_for_another_day_and_for_new_people(greta, app, box, typed, why):
    form = greta.form()
    assert form["recent_none"] == "yes"
    form[box] = typed
    page = greta.send(EDIT, form, 400).get_data(as_text=True)
    assert f"it was ticked before, and {why}; ask everybody again" in plain(page)
    again = Form(page, EDIT).fields
    greta.send(EDIT, again)  # said once more with the tick: now it holds for these
    assert standing(app).recent_dives == "none"


def test_a_pressure_measured_for_one_day_is_asked_about_on_another(greta, app):
    form = greta.form("/requests/lake-altitude/edit")
    form["measured_pressure_bar"] = "0.84"
    greta.send("/requests/lake-altitude/edit", form)
    form = greta.form("/requests/lake-altitude/edit")
    form["date"] = "2026-11-30"
    form.pop("recent_none")
    said = plain(greta.send("/requests/lake-altitude/edit", form, 400))
    assert "0.84 bar was measured for lake-orrin on 2026-11-29; empty it, or save once more if it holds here" in said


# ---- an edited request is what every page shows; its file stays ----


def test_all_pages_go_by_the_edited_request_and_the_file_is_as_it_was(greta, app, centre):
    file = centre / "requests" / f"{NAME}.toml"
    before = file.read_bytes()
    form = greta.form()
    form.update({"date": "2026-12-13", "groups.0.name": "Puffins", "crew.dive_director": "Maren Dahl"})
    form.pop("recent_none")
    answer = greta.send(EDIT, form)
    assert answer.headers["Location"] == f"/requests#r-{NAME}"
    listed = plain(greta.page("/requests"))
    assert "is saved as version 2" in listed and "Puffins" in listed and "last changed by Greta Holm" in listed
    assert "date=2026-12-13" in greta.client.get(f"/requests/{NAME}").headers["Location"]
    assert "Puffins" in plain(greta.page("/plan?site=stair-ledge&date=2026-12-13&group=Puffins"))
    assert "Stair Ledge" in plain(greta.page("/today?date=2026-12-13"))
    assert "Maren Dahl" in plain(greta.page("/sheets/stair-ledge?date=2026-12-13"))
    assert file.read_bytes() == before


def test_looking_at_pages_makes_no_store(greta, app, tmp_path):
    for address in ("/", "/requests", EDIT, "/requests/new", f"/requests/{NAME}/versions"):
        greta.page(address)
    assert not (tmp_path / "store.sqlite").exists() and store_of_if_there(app) is None


@pytest.mark.sqlite_file("a damaged file is what cannot be opened")
def test_a_store_that_cannot_be_opened_is_told_and_the_folder_goes_on(centre, tmp_path):
    app = create_app(centre, clock=lambda: NOW, records=tmp_path / "records", feed_cache=tmp_path / "feeds")
    broken = tmp_path / "store.sqlite"
    broken.write_bytes(b"this is no database, but a text that is long enough to be taken for one" * 20)
    app.extensions["tripplan_store_url"] = sqlite_url(broken)
    visitor = Visitor(app)
    for address in ("/", "/requests", "/plan?site=stair-ledge&date=2026-12-12&group=Terns&asked=yes"):
        page = plain(visitor.page(address))
        assert "cannot be opened" in page and "Requests that were edited in the browser are not shown" in page
    form = visitor.form()
    form["title"] = "Mine"
    said = visitor.send(EDIT, form, 503)
    assert "Nothing was saved" in plain(said) and Form(said.get_data(as_text=True), EDIT).fields["title"] == "Mine"


def test_one_whose_people_are_gone_is_told_left_out_and_can_be_mended(greta, app, centre):
    form = greta.form()
    form["title"] = "With Bruno"
    greta.send(EDIT, form)
    file = centre / "centre" / "people.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("Bruno Silva", "Bruno Gone"), encoding="utf-8")
    page = plain(greta.page("/requests"))
    assert f'edited request "{NAME}", version 2: "Bruno Silva" is not in the list of people' in page
    assert "It cannot be read as it stands and is left out of every plan" in page and "Altitude day" in page
    form = greta.form()
    assert form["title"] == "With Bruno" and "Bruno Silva" in form.getlist("groups.1.divers")
    form.setlist("groups.1.divers", ["Bruno Gone", "Eric Lund"])
    form.pop("recent_none")
    greta.send(EDIT, form)
    assert standing(app).groups[1].divers == ("Bruno Gone", "Eric Lund")


def test_a_new_request_gets_a_name_of_its_title_and_never_that_of_another(greta, app):
    for number, name in enumerate(("ecole-de-plongee-new", "ecole-de-plongee-new-2")):
        form = greta.form("/requests/new")
        form.update({"title": "École de plongée: NEW!", "site": "gull-cove", "date": f"2026-12-0{number + 1}"})
        form.update({"groups.0.name": f"Whelks {number}", "groups.0.kind": "guided", "groups.0.leader": "Asha Rao"})
        form.setlist("groups.0.divers", ["Bruno Silva", "Eric Lund"])
        form["groups.0.dives.0.minutes"] = "25"
        greta.send("/requests/new", form)
        greta.send("/requests/new", form)  # pressed twice: one request
        assert standing(app, name).groups[0].name == f"Whelks {number}"
        assert len(store_of(app).request_versions(name)) == 1
    assert len(store_of(app).requests()) == 2


def test_a_title_cannot_take_the_address_of_the_form(greta, app):
    form = greta.form("/requests/new")
    form.update({"title": "New", "site": "gull-cove", "date": "2026-12-01", "groups.0.name": "Whelks"})
    form.update({"groups.0.kind": "guided", "groups.0.dives.0.minutes": "25", "groups.0.leader": "Asha Rao"})
    form.setlist("groups.0.divers", ["Bruno Silva", "Eric Lund"])
    greta.send("/requests/new", form)
    assert standing(app, "new-2").title == "New"


def test_a_group_may_be_called_as_one_of_another_request_and_each_plan_has_its_own_people(greta):
    form = greta.form()
    form["groups.0.name"] = "dippers"
    greta.send(EDIT, form)
    for name, divers in ((NAME, "Owen Marsh"), ("lake-altitude", "Keiko Arai")):
        plan = plain(greta.client.get(f"/requests/{name}", follow_redirects=True).get_data(as_text=True))
        assert divers in plan
        assert ("Owen Marsh" in plan) == (name == NAME)
    asked = "/plan?site=stair-ledge&date=2026-12-12&group=Dippers"
    refused = greta.client.get(asked)
    assert refused.status_code == 400 and "Dippers (lake-altitude)" in plain(refused.get_data(as_text=True))


# ---- two who edit the same ----


def both_edit(greta, asha, **mine: str):
    """Greta changes the depth and saves; Asha, who had opened it before, changes something else."""
    hers = asha.form()
    form = greta.form()
    form[DEPTH] = "16"
    greta.send(EDIT, form)
    hers.update(mine or {"title": "Asha's ledge"})
    return hers, asha.send(EDIT, hers, 409).get_data(as_text=True)


def test_the_second_sees_both_side_by_side_and_nothing_is_written(greta, asha, app):
    _, page = both_edit(greta, asha)
    said = plain(page)
    assert "Nothing of yours was written over theirs, and nothing is lost." in said
    assert "Greta Holm saved version 2 on Friday 27 November 2026 at 08:00 UTC" in said
    rows = [
        [plain(cell) for cell in re.findall(r"<t[hd].*?</t[hd]>", row)] for row in re.findall(r"<tr>.*?</tr>", page)
    ]
    old = "Two guided groups at Stair Ledge"
    assert rows[1:] == [
        ["What the day is called", old, old, "Asha's ledge"],
        ["Group Terns, dive 1, depth, metres", "18", "16", "18"],
    ]
    assert len(store_of(app).request_versions(NAME)) == 2
    assert standing(app).groups[0].dives[0].depth_m == 16


def carried(page: str) -> MultiDict:
    return Form(page, EDIT).fields


def test_mine_can_be_put_in_its_place_and_theirs_stays_among_the_versions(greta, asha, app):
    _, page = both_edit(greta, asha)
    asha.send(EDIT, carried(page))
    assert standing(app).title == "Asha's ledge" and standing(app).groups[0].dives[0].depth_m == 18
    depths = [each.request["groups"][0]["dives"][0]["depth_m"] for each in store_of(app).request_versions(NAME)]
    assert depths == [18, 16, 18]


def test_theirs_can_be_kept_and_mine_stays_among_the_versions(greta, asha, app):
    _, page = both_edit(greta, asha)
    answer = asha.send(f"/requests/{NAME}/theirs", carried(page))
    assert "Theirs stands. Yours is kept among the versions, as version 3" in plain(asha.page(answer.location))
    assert standing(app).groups[0].dives[0].depth_m == 16
    page = plain(asha.page(f"/requests/{NAME}/versions"))
    assert "Asha's ledge" in page and "Version 4, in force" in page and "The same as version 2." in page


def test_mine_can_be_changed_once_more_and_saved_over_theirs(greta, asha, app):
    _, page = both_edit(greta, asha)
    again = asha.send(f"/requests/{NAME}/form", carried(page), 200).get_data(as_text=True)
    form = Form(again, EDIT).fields
    assert form["title"] == "Asha's ledge"
    form[DEPTH] = "16"
    asha.send(EDIT, form)
    assert standing(app).title == "Asha's ledge" and standing(app).groups[0].dives[0].depth_m == 16


def test_a_third_who_is_quicker_still_is_met_with_the_choice_again(greta, asha, app):
    _, page = both_edit(greta, asha)
    form = greta.form()
    form[DEPTH] = "15"
    greta.send(EDIT, form)
    said = plain(asha.send(EDIT, carried(page), 409))
    assert "Greta Holm saved version 3" in said and "15" in said
    assert "Greta Holm saved version 3" in plain(asha.send(f"/requests/{NAME}/theirs", carried(page), 409))
    assert len(store_of(app).request_versions(NAME)) == 3


def test_the_same_saved_twice_is_one_version(greta, app):
    form = greta.form()
    form["title"] = "Once"
    greta.send(EDIT, form)
    answer = greta.send(EDIT, form)
    assert "there was nothing to save" in plain(greta.page(answer.location))
    assert [each.version for each in store_of(app).request_versions(NAME)] == [1, 2]


def test_a_file_that_was_changed_while_the_form_stood_open_is_not_written_over(greta, app, centre):
    form = greta.form()
    form["title"] = "Mine"
    file = centre / "requests" / f"{NAME}.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("depth_m = 18", "depth_m = 17"), encoding="utf-8")
    page = greta.send(EDIT, form, 409).get_data(as_text=True)
    assert f"The file {NAME}.toml was changed after you had opened the form." in plain(page)
    greta.send(EDIT, carried(page))
    one, two = store_of(app).request_versions(NAME)
    assert one.request["groups"][0]["dives"][0]["depth_m"] == 17  # what the file says now is kept first
    assert two.request["title"] == "Mine" and standing(app).groups[0].dives[0].depth_m == 18


# ---- versions ----


def test_an_earlier_version_can_be_made_the_newest_again(greta, app):
    form = greta.form()
    form["title"] = "Second"
    greta.send(EDIT, form)
    address = f"/requests/{NAME}/versions"
    page = plain(greta.page(address))
    assert f"Version 1 the file {NAME}.toml" in page and "What the day is called Two guided groups" in page
    restore = MultiDict({"csrf_token": form["csrf_token"], "version": "1", "newest": "2", "by": "Ann"})
    greta.send(address, restore)
    assert standing(app).title == "Two guided groups at Stair Ledge"
    last = store_of(app).request_versions(NAME)[-1]
    assert (last.version, last.by) == (3, "Ann")
    assert "Ann changed it at 08:00 UTC" in plain(greta.send(address, restore, 409))  # it was read at version 2
    restore["by"] = ""
    assert "say who you are" in plain(greta.send(address, restore, 400))
    assert greta.form(f"{EDIT}?from=2", EDIT)["title"] == "Second"


def test_a_version_that_can_no_longer_stand_is_opened_in_the_form_instead(greta, app, centre):
    form = greta.form()
    form["title"] = "Second"
    form.setlist("groups.1.divers", ["Eric Lund", "Finn Lund"])
    form.pop("recent_none")
    greta.send(EDIT, form)
    file = centre / "centre" / "people.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("Bruno Silva", "Bruno Gone"), encoding="utf-8")
    restore = MultiDict({"csrf_token": form["csrf_token"], "version": "1", "newest": "2", "by": "Ann"})
    said = plain(greta.send(f"/requests/{NAME}/versions", restore, 400))
    assert 'Version 1 can no longer stand: "Bruno Silva" is not in the list of people' in said
    assert "Bruno Silva" in greta.form(f"{EDIT}?from=1", EDIT).getlist("groups.1.divers")


@pytest.mark.parametrize("number", ["0", "9", "x", "-1"])
def test_a_version_that_never_was_is_not_found(greta, number):
    form = greta.form()
    form["title"] = "Second"
    greta.send(EDIT, form)
    assert greta.client.get(f"{EDIT}?from={number}").status_code == 404


# ---- a file that was changed after it was edited here ----


@pytest.fixture
def changed_file(greta, centre):
    """Greta edits it in the browser, then somebody changes the file."""
    form = greta.form()
    form["title"] = "Edited"
    greta.send(EDIT, form)
    file = centre / "requests" / f"{NAME}.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("depth_m = 18", "depth_m = 17"), encoding="utf-8")
    return file


def choice(greta, which: str) -> MultiDict:
    page = greta.page("/requests")
    assert "was changed after it was edited here. What was edited here stands." in plain(page)
    fields = Form(page, f"/requests/{NAME}/file").fields
    fields["by"], fields["choice"] = "Ann", which
    return fields


@pytest.mark.parametrize(("which", "title", "depth"), [("keep", "Edited", 18), ("take", None, 17)])
def test_the_choice_between_file_and_edited_one_becomes_a_version(greta, app, changed_file, which, title, depth):
    assert standing(app).title == "Edited"  # until somebody chooses
    greta.send(f"/requests/{NAME}/file", choice(greta, which))
    made = standing(app)
    assert made.groups[0].dives[0].depth_m == depth
    assert made.title == (title or "Two guided groups at Stair Ledge")
    assert "was changed after it was edited" not in plain(greta.page("/requests"))
    last = store_of(app).request_versions(NAME)[-1]
    assert (last.version, last.by) == (3, "Ann")


def test_a_file_that_changes_once_more_before_the_choice_is_not_taken_unseen(greta, app, changed_file):
    fields = choice(greta, "take")
    changed_file.write_text(changed_file.read_text(encoding="utf-8") + "# more\n", encoding="utf-8")
    said = plain(greta.send(f"/requests/{NAME}/file", fields, 409))
    assert "the file has changed once more" in said and standing(app).title == "Edited"


def test_a_file_that_is_gone_leaves_the_edited_one_and_says_so(greta, app, changed_file):
    changed_file.unlink()
    assert f"Its file requests/{NAME}.toml is gone since it was edited here." in plain(greta.page("/requests"))
    assert standing(app).title == "Edited"


# ---- who may ----


def test_assistants_see_and_only_leaders_and_the_centre_change(centre, tmp_path):
    from argon2 import PasswordHasher

    store = Store(sqlite_url(tmp_path / "store.sqlite"))
    accounts = Accounts(store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    app = create_app(
        centre, clock=lambda: NOW, records=tmp_path / "r", feed_cache=tmp_path / "f", store=store, accounts=accounts
    )
    limits = Limits.of(load_folder(centre).world.rules)
    for name, role in (("Greta Holm", "centre"), ("Ines Faro", "leader"), ("Ben Alder", "assistant")):
        accounts.add(name, role, "seven wet gulls on a wall", by="the test", now=NOW, limits=limits)

    def visitor(name: str) -> Visitor:
        found = Visitor(app, name)
        form = Form(found.page("/sign-in"), "/sign-in").fields
        form.update({"name": name, "password": "seven wet gulls on a wall"})
        found.send("/sign-in", form)
        return found

    ben, ines = visitor("Ben Alder"), visitor("Ines Faro")
    plan = "/plan?site=stair-ledge&date=2026-12-12&group=Terns&group=Skuas&asked=yes"
    assert EDIT not in ben.page("/requests") + ben.page(plan) and EDIT in ines.page("/requests")
    assert EDIT in ines.page(plan)
    assert ben.client.get(EDIT).status_code == 403
    form = ines.form()
    assert "by" not in form
    form["title"] = "By who is signed in"
    form["by"] = "Somebody Else"
    ines.send(EDIT, form)
    assert store.request(NAME).by == "Ines Faro"
    trail = accounts.trail(1)[0]
    assert (trail.who, trail.what) == ("Ines Faro", "request saved")
    assert trail.about == f"{NAME}, version 2: By who is signed in, 2026-12-12"
    assert "By who is signed in" in plain(ben.page(f"/requests/{NAME}/versions"))
    store.close()


def test_a_form_without_its_token_changes_nothing(greta, app):
    form = greta.form()
    form["title"] = "Forged"
    form["csrf_token"] = "x"
    greta.send(EDIT, form, 400)
    assert standing(app).title != "Forged"


def test_words_full_of_markup_are_shown_as_words(greta):
    form = greta.form()
    form["title"] = '"><b onclick=x>Ledge'
    form["by"] = "<i>Ann</i>"
    greta.send(EDIT, form)
    for address in ("/requests", EDIT, f"/requests/{NAME}/versions"):
        page = greta.page(address)
        assert "<b onclick" not in page and "<i>Ann" not in page and "&lt;b onclick=x&gt;Ledge" in page


def test_names_that_the_form_does_not_have_are_not_read(folder):
    words = words_of_values(values_of(folder.requests[NAME]))
    odd = [*words.flat(), ("groups.x.name", "A"), ("groups..name", "B"), ("a.b.c.d.e.f.g.h.i.j", "C"), ("=", "D"),
           ("groups.0.dives.0.depth_m.more", "E"), ("groups.99999.name", "F"), ("crew", "G"), ("out", "")]  # fmt: skip
    assert asked_in(words_of_form(MultiDict(odd)), folder.world).request == folder.requests[NAME]


def test_in_a_demonstration_an_edited_date_stays_while_the_files_move(tmp_path):
    """The files of the demonstration move on by weeks; who chose a day in the browser meant that day."""
    later = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)
    clock = [later]
    app = create_app(
        data_dir("sites"),
        clock=lambda: clock[0],
        keep_young=True,
        records=tmp_path / "r",
        feed_cache=tmp_path / "f",
    )
    app.extensions["tripplan_store_url"] = sqlite_url(tmp_path / "store.sqlite")
    visitor = Visitor(app)
    form = visitor.form()
    assert date.fromisoformat(form["date"]) > date(2027, 3, 1)
    form["date"] = "2027-03-07"
    form.pop("recent_none")
    visitor.send(EDIT, form)
    clock[0] = later + timedelta(days=70)
    assert standing(app).date == date(2027, 3, 7)
    assert standing(app, "pier-morning").date > clock[0].date()
    assert "(past)" in plain(visitor.page("/requests"))
    store_of(app).close()
