"""Requests, tides, people, rules and faults: what each page must hold, and how it refuses."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime
from html import unescape

import pytest

from tripplan.data_files import data_dir
from tripplan.rulebook import baseline
from tripplan.sources import SOURCES
from tripplan.web.app import create_app

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
PLAN = "site=stair-ledge&date=2026-12-12&group=Terns&group=Skuas&asked=yes"


def text_of(client, address, status=200):
    answer = client.get(address)
    assert answer.status_code == status
    return unescape(answer.get_data(as_text=True))


@pytest.fixture
def centre(tmp_path):
    folder = tmp_path / "centre"
    shutil.copytree(data_dir("sites"), folder)
    return folder


def change(file, before, after):
    text = file.read_text(encoding="utf-8")
    assert before in text
    file.write_text(text.replace(before, after), encoding="utf-8")


# ---- the plan ----


def test_every_check_and_every_candidate_stands_on_the_page_and_in_the_file(client):
    plan = client.get(f"/plan.json?{PLAN}").get_json()
    sentences = [check["sentence"] for check in plan["checks"]]
    for dive in plan["dives"]:
        sentences += [c["sentence"] for contest in (dive["depth"], dive["time"]) for c in contest["candidates"]]
    assert len(sentences) > 100
    for address in ("/plan", "/plan/offline.html"):
        page = text_of(client, f"{address}?{PLAN}")
        for sentence in sentences:
            assert sentence in page


def test_the_binding_candidate_stands_first_and_says_so(client):
    page = text_of(client, f"/plan?{PLAN}")
    bodies = re.findall(r'<details class="why"><summary><span.*?<tbody>(.*?)</tbody>', page, re.DOTALL)
    assert len(bodies) == 6  # three dives, depth and time
    for body in bodies:
        rows = re.findall(r"<tr.*?</tr>", body, re.DOTALL)
        assert "(binds)" in rows[0]
        assert all("(binds)" not in row for row in rows[1:])


def test_numbers_can_be_dialled_and_the_position_opened(client):
    page = text_of(client, f"/plan?{PLAN}")
    assert 'href="tel:+441632960112"' in page
    assert re.search(r'href="geo:46\.83300?,-16\.97000?', page)
    assert "46° 49.980' N, 016° 58.200' W" in page
    assert "four six degrees" in page


def test_what_is_looked_at_on_arrival_has_a_box_and_a_limit(client):
    plan = client.get(f"/plan.json?{PLAN}").get_json()
    page = text_of(client, f"/plan?{PLAN}")
    look = page[page.index('id="arrival"') : page.index('id="wrong"')]
    assert look.count('type="checkbox"') > 5
    assert "stop above 0.5 m" in look
    assert plan["verdict"] == "caution"


def test_a_paper_that_is_not_known_is_refused_with_the_ones_that_are(client):
    page = text_of(client, f"/plan.pdf?{PLAN}&paper=a3", 400)
    assert 'Paper "a3" is not known; accepted: a4, letter.' in page
    assert client.get(f"/plan.pdf?{PLAN}&paper=letter").data.startswith(b"%PDF")


def test_the_tick_for_recent_dives_is_never_set_beforehand(client):
    page = text_of(client, f"/plan?{PLAN}")
    assert re.search(r'name="asked" value="yes">', page)
    refused = text_of(client, "/plan?site=stair-ledge&date=soon&group=Terns&asked=yes", 400)
    assert re.search(r'name="asked" value="yes" checked>', refused)


def test_an_invented_site_in_a_real_centre_is_marked_on_its_pages_and_files(centre):
    change(centre / "centre" / "centre.toml", "demonstration = true", "demonstration = false")
    client = create_app(centre, clock=lambda: NOW).test_client()
    assert "NOT FOR USE" not in text_of(client, "/rules")
    for address in ("/sites/stair-ledge", f"/plan?{PLAN}", f"/plan/offline.html?{PLAN}", f"/plan.txt?{PLAN}"):
        page = text_of(client, address)
        assert "DEMONSTRATION" in page and "NOT FOR USE" in page
    assert client.get(f"/plan.json?{PLAN}").get_json()["demonstration"] is True


# ---- requests ----


def test_a_ready_request_opens_on_its_own_date(client):
    answer = client.get("/requests/saturday-ledge")
    assert answer.status_code == 302
    assert "date=2026-12-12" in answer.location
    assert "group=Terns" in answer.location and "group=Skuas" in answer.location


def test_the_next_possible_day_is_one_that_nothing_stops(client):
    answer = client.get("/requests/saturday-ledge/next")
    assert answer.status_code == 302
    found = client.get(answer.location.replace("/plan?", "/plan.json?")).get_json()
    assert found["verdict"] != "stop"
    assert found["date"] >= "2026-11-27"


def test_a_request_that_something_always_stops_says_what(centre):
    change(centre / "requests" / "saturday-ledge.toml", 'site = "stair-ledge"', 'site = "the-gut"')
    client = create_app(centre, clock=lambda: NOW).test_client()
    page = text_of(client, "/requests/saturday-ledge/next")
    assert "Something stops this request on each of the 28 days" in page
    assert "The Gut admits level 3 (dive leader) or above" in page


def test_a_request_that_does_not_exist_is_not_found(client):
    text_of(client, "/requests/nope", 404)
    text_of(client, "/requests/nope/next", 404)


# ---- sites ----


@pytest.mark.parametrize("slug", ["gull-cove", "stair-ledge", "lake-orrin", "the-gut", "tinners-quarry"])
def test_each_day_of_a_site_opens_a_plan_there(client, slug):
    page = text_of(client, f"/sites/{slug}")
    links = re.findall(r'href="(/plan\?[^"]*)"', page)
    assert len(links) == 7
    assert f"site={slug}" in links[0]
    assert client.get(links[0]).status_code == 200


# ---- tides ----


def test_a_week_of_tides_has_its_picture_in_two_widths_and_in_words(client):
    page = text_of(client, "/tides/verrow-harbour?date=2026-12-01")
    assert page.count('role="img"') == 2
    assert "Tuesday 1 December 2026: low water 00:5" in page
    assert page.count('class="event"') >= 26  # seven days with three or four each


@pytest.mark.parametrize("typed", ["tomorrow", "1850-01-01", "2150-01-01", "2026-13-01"])
def test_a_date_without_a_tide_is_refused_with_what_was_typed_kept(client, typed):
    page = text_of(client, f"/tides/verrow-harbour?date={typed}", 400)
    assert f'value="{typed}"' in page
    assert 'aria-invalid="true"' in page


def test_the_ends_of_the_tide_engine_are_reached(client):
    for day in ("1901-01-01", "2099-12-01"):
        text_of(client, f"/tides/verrow-harbour?date={day}")


def test_outside_a_printed_table_the_tide_is_not_known(centre):
    stations = [path.stem for path in (centre / "stations").glob("*.toml") if "table" in path.read_text("utf-8")]
    client = create_app(centre, clock=lambda: NOW).test_client()
    for slug in stations:
        assert "outside the station's table" in text_of(client, f"/tides/{slug}?date=1990-01-01")
    assert stations


# ---- people, rules, sources ----


@pytest.mark.parametrize(
    ("name", "open_point"),
    [  # as their notes in the roster say
        ("Zoe Carter", "has no medical declaration on record"),
        ("Milo Garnier", "a guardian's consent is not on record"),
        ("Ivan Hruska", "medical declaration is 452 days old"),  # 1 September 2025 to 27 November 2026
        ("Lena Fischer", "no clearance is on record"),
    ],
)
def test_what_a_person_lacks_stands_beside_the_name(name, open_point):
    client = create_app(data_dir("sites"), clock=lambda: NOW).test_client()
    page = text_of(client, "/people")
    row = next(row for row in re.findall(r"<tr>.*?</tr>", page, re.DOTALL) if f">{name}</a></b>" in row)
    assert open_point in row


def test_somebody_with_everything_in_order_has_nothing_open():
    client = create_app(data_dir("sites"), clock=lambda: NOW).test_client()
    row = next(r for r in re.findall(r"<tr>.*?</tr>", text_of(client, "/people"), re.DOTALL) if "Luca Benti" in r)
    assert 'class="open"' not in row


def test_the_whole_rule_book_and_every_source_is_shown(client):
    rules, sources = text_of(client, "/rules"), text_of(client, "/sources")
    for key in baseline().rules:
        assert f'id="{key}"' in rules
    for key in SOURCES:
        assert f'id="{key}"' in sources
    assert rules.count("<b>The centre</b>") == 3  # as many as centre/rules.toml replaces


# ---- refusals ----


def test_a_page_only_answers_to_being_read(client):
    answer = client.post("/plan")
    assert answer.status_code == 405
    assert "only shows a page" in answer.get_data(as_text=True)


def test_a_fault_of_the_program_is_told_in_plain_words_without_its_innards():
    app = create_app(data_dir("sites"), clock=lambda: NOW)

    @app.get("/broken")
    def broken() -> str:
        raise RuntimeError("inside")

    answer = app.test_client().get("/broken")
    page = answer.get_data(as_text=True)
    assert answer.status_code == 500
    assert "Do not dive on a plan that it did not finish" in page
    assert "inside" not in page and "Traceback" not in page
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]


def test_when_even_the_folder_is_gone_the_refusal_is_still_plain(centre):
    app = create_app(centre, clock=lambda: NOW)
    app.extensions["tripplan_shelf"] = None
    answer = app.test_client().get("/sites")
    assert answer.status_code == 500
    assert "A fault of the program" in answer.get_data(as_text=True)


def test_a_broken_centre_file_is_named_and_the_last_good_one_holds_until_it_is_mended(centre):
    client = create_app(centre, clock=lambda: NOW).test_client()
    file = centre / "centre" / "rules.toml"
    good = file.read_text(encoding="utf-8")
    file.write_text("[light.no_such_rule]\nvalue = 1\nreason = 'a slip'\n", encoding="utf-8")
    page = text_of(client, "/rules")
    assert "rules.toml:1: " in page and "light.no_such_rule is not a rule" in page
    assert page.count("<b>The centre</b>") == 3
    file.write_text(good, encoding="utf-8")
    assert "no_such_rule" not in text_of(client, "/rules")


def test_every_answer_carries_the_headers(client):
    for address in ("/nope", "/static/page.css", f"/plan.json?{PLAN}", "/healthz"):
        with client.get(address) as answer:
            assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
            assert answer.headers["X-Content-Type-Options"] == "nosniff"
    loose = client.get(f"/plan/offline.html?{PLAN}").headers["Content-Security-Policy"]
    assert "default-src 'none'" in loose and "script" not in loose
