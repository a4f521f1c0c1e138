"""Every page answers, says what it must, and refuses bad words with what was typed kept."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime
from html import unescape

import pytest

from tripplan.data_files import data_dir
from tripplan.web.app import create_app

PLAN = "site=stair-ledge&date=2026-12-12&group=Terns&group=Skuas&asked=yes"
PAGES = (
    "/",
    f"/plan?{PLAN}",
    "/plan?site=lake-orrin&date=2026-11-29&group=Dippers&arrived=08:30",
    "/plan?site=the-gut&date=2026-12-05&group=Limpets",
    "/limits?depth=18&altitude=1640",
    "/board",
    "/season",
    "/plan?site=stair-ledge&date=2026-12-12&group=Terns&seen_at=08:10&wind_kn=14&delay=40",
    "/requests",
    "/requests/saturday-ledge/edit",
    "/requests/new",
    "/requests/saturday-ledge/versions",
    "/schedules",
    "/start",
    "/start/centre",
    "/start/oxygen",
    "/sites/new",
    "/sites/new?like=gull-cove",
    "/sites/stair-ledge/edit",
    "/people/new",
    "/people/Luca Benti/edit",
    "/sites",
    "/sites/stair-ledge",
    "/sites/gull-cove",
    "/sites/lake-orrin",
    "/sites/the-gut",
    "/tides",
    "/tides/verrow-harbour",
    "/tides/north-haven?date=2027-03-27",
    "/people",
    "/people/table",
    "/kit",
    "/kit?date=2027-12-01",
    "/kit/packing",
    "/kit/packing?request=beginners-cove",
    "/people/Luca Benti/record",
    "/today/stair-ledge/record?date=2026-12-12",
    "/today/stair-ledge/next?date=2026-12-12",
    "/rules",
    "/requirements",
    "/requirements?state=partly&area=kit",
    "/sources",
    "/about",
    "/glossary",
    "/guide",
    "/guide/leader",
    "/guide/methods",
    "/sheets",
    "/sheets?date=2026-11-29&site=lake-orrin&site=stair-ledge&by=Greta",
    "/sheets?date=2026-12-30",
    "/sheets/stair-ledge?date=2026-12-12",
    "/sheets/the-gut",
    "/sheets/check",
    "/sheets/check?site=stair-ledge&date=2026-12-12&revision=deadbeef",
    "/sheets/stair-ledge/search?date=2026-12-12&at=12:10",
    "/sheets/lake-orrin/search",
)


@pytest.mark.parametrize("address", PAGES)
def test_every_page_answers_marked_as_demonstration(client, address):
    answer = client.get(address)
    assert answer.status_code == 200
    page = answer.get_data(as_text=True)
    assert "DEMONSTRATION" in page and "NOT FOR USE" in page
    assert "<h1>" in page


@pytest.mark.parametrize("address", PAGES)
def test_no_page_carries_inline_style_or_script(client, address):
    page = client.get(address).get_data(as_text=True)
    assert "<script" not in page
    assert "<style" not in page
    assert not re.search(r"\sstyle=", page)
    assert not re.search(r"\son[a-z]+=", page)


def test_headers_allow_nothing_from_elsewhere(client):
    headers = client.get("/").headers
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert "script-src 'none'" in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"


def test_the_first_page_plans_a_near_day(client):
    page = client.get("/").get_data(as_text=True)
    assert "27 November 2026" in page  # 08:00 UTC is before noon at the site


def test_past_noon_the_first_page_plans_tomorrow():
    app = create_app(data_dir("sites"), clock=lambda: datetime(2026, 11, 27, 15, 0, tzinfo=UTC), keep_young=True)
    assert "28 November 2026" in app.test_client().get("/").get_data(as_text=True)


def test_a_year_later_the_demonstration_is_still_young():
    """Its dates move with the day it is shown, so that a newcomer sees a plan and not a heap of old papers."""
    app = create_app(data_dir("sites"), clock=lambda: datetime(2027, 11, 26, 8, 0, tzinfo=UTC), keep_young=True)
    plan = app.test_client().get("/plan.json?site=gull-cove&date=2027-11-26&group=Terns&asked=yes").get_json()
    assert not [check for check in plan["checks"] if check["rule"] == "medical" and check["outcome"] != "ok"]


def test_a_centre_of_its_own_keeps_its_dates_as_they_are():
    app = create_app(data_dir("sites"), clock=lambda: datetime(2028, 11, 26, 8, 0, tzinfo=UTC))
    plan = app.test_client().get("/plan.json?site=gull-cove&date=2028-11-26&group=Terns&asked=yes").get_json()
    assert plan["verdict"] == "stop"
    assert [check for check in plan["checks"] if check["rule"] == "medical" and check["outcome"] == "stop"]


def test_page_sheet_file_text_and_json_are_the_same_plan(client):
    revision = client.get(f"/plan.json?{PLAN}").get_json()["revision"]
    assert re.fullmatch(r"[0-9a-f]{8}", revision)
    for address in ("/plan", "/plan.txt", "/plan/offline.html"):
        assert revision in client.get(f"{address}?{PLAN}").get_data(as_text=True)
    sheet = client.get(f"/plan.pdf?{PLAN}")
    assert sheet.data.startswith(b"%PDF")
    assert revision in sheet.headers["Content-Disposition"]


def test_the_file_for_the_phone_needs_nothing_else(client):
    page = client.get(f"/plan/offline.html?{PLAN}").get_data(as_text=True)
    without_names = re.sub(r'xmlns(:\w+)?="[^"]*"', "", page)
    assert "http://" not in without_names and "https://" not in without_names
    assert not re.search(r'(src|href)="/', page)
    assert "<script" not in page
    assert "DEMONSTRATION" in page
    assert "<svg" in page


@pytest.mark.parametrize(
    ("query", "sentence", "kept"),
    [
        ("site=nowhere&date=2026-12-12&group=Terns", 'Site "nowhere" is not in the catalogue', "nowhere"),
        ("site=gull-cove&date=12.12.2026&group=Terns", 'Date "12.12.2026" is not a date', "12.12.2026"),
        ("site=gull-cove&date=2126-12-12&group=Terns", "more than 730 days", "2126-12-12"),
        ("site=gull-cove&date=2026-12-12", "Choose at least one group", "2026-12-12"),
        ("site=gull-cove&date=2026-12-12&group=Nobody", 'Group "Nobody" is not known', "2026-12-12"),
        ("site=gull-cove&date=2026-12-12&group=Terns&depth=deep", '"deep" is not a number', 'value="deep"'),
        (
            "site=gull-cove&date=2026-12-12&group=Terns&depth=-4",
            "The depth is -4.0; it must be more than 0",
            'value="-4"',
        ),
        ("site=gull-cove&date=2026-12-12&group=Terns&depth=nan", "The depth is nan", 'value="nan"'),
        ("site=gull-cove&date=2026-12-12&group=Terns&minutes=12.5", "is not a whole number", 'value="12.5"'),
        ("site=gull-cove&date=2026-12-12&group=Terns&not_before=9", '"HH:MM"', 'value="9"'),
        ("site=gull-cove&date=2026-12-12&group=Terns&arrived=25:00", '"HH:MM"', 'value="25:00"'),
    ],
)
def test_a_bad_choice_comes_back_with_a_sentence_and_what_was_typed(client, query, sentence, kept):
    answer = client.get(f"/plan?{query}")
    page = unescape(answer.get_data(as_text=True))
    assert answer.status_code == 400
    assert sentence in page
    assert kept in page
    assert "aria-invalid" in page
    assert client.get(f"/plan.json?{query}").status_code == 400
    assert client.get(f"/plan.pdf?{query}").status_code == 400


def test_hostile_words_are_shown_as_words(client):
    hostile = '"><script>alert(1)</script>'
    page = client.get("/plan", query_string={"site": hostile, "date": hostile, "depth": hostile}).get_data(as_text=True)
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


def test_unknown_pages_say_so_in_plain_words(client):
    for address in ("/nope", "/sites/nope", "/tides/nope"):
        answer = client.get(address)
        assert answer.status_code == 404
        assert "no such page" in answer.get_data(as_text=True)


def test_a_bad_site_is_named_and_hides_no_other(tmp_path):
    folder = tmp_path / "centre"
    shutil.copytree(data_dir("sites"), folder)
    app = create_app(folder, clock=lambda: datetime(2026, 11, 27, 8, 0, tzinfo=UTC))
    client = app.test_client()
    assert "stair-ledge" in client.get("/sites").get_data(as_text=True)
    bad = folder / "stair-ledge.toml"
    bad.write_text(bad.read_text(encoding="utf-8").replace("elevation_m", "elevation_ft", 1), encoding="utf-8")
    page = unescape(client.get("/sites").get_data(as_text=True))  # the folder is read again when a file changed
    assert "stair-ledge.toml:" in page and "elevation_ft" in page
    assert "Gull Cove" in page


def test_a_site_given_a_name_full_of_markup_is_shown_as_text(tmp_path):
    folder = tmp_path / "centre"
    shutil.copytree(data_dir("sites"), folder)
    cove = folder / "gull-cove.toml"
    cove.write_text(
        cove.read_text(encoding="utf-8").replace('"Gull Cove"', '"<b onclick=x>Cove</b>"'), encoding="utf-8"
    )
    client = create_app(folder, clock=lambda: datetime(2026, 11, 27, 8, 0, tzinfo=UTC)).test_client()
    for address in ("/sites", "/sites/gull-cove", "/plan?site=gull-cove&date=2026-12-05&group=Limpets"):
        page = client.get(address).get_data(as_text=True)
        assert "<b onclick" not in page
        assert "&lt;b onclick=x&gt;" in page


def test_the_app_says_that_it_is_up(client):
    assert client.get("/healthz").get_data(as_text=True) == "ok\n"


def test_the_briefing_has_a_page_for_each_dive_and_says_whose_language_is_another(client):
    import io

    from pypdf import PdfReader

    answer = client.get(f"/plan/briefing.pdf?{PLAN}")
    assert answer.status_code == 200 and answer.mimetype == "application/pdf"
    assert 'filename="briefing-stair-ledge-' in answer.headers["Content-Disposition"]
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(answer.data)).pages]
    assert len(pages) == 3 and "Japanese" in pages[0]  # two dives of the Terns, one of the Skuas; Keiko Arai
    assert client.get(f"/plan/briefing.pdf?paper=a5&{PLAN}").status_code == 400


def test_a_demonstration_whose_near_day_is_stopped_opens_on_the_next_that_is_not_and_a_centre_on_its_own_day():
    clock = lambda: datetime(2026, 11, 26, 8, 0, tzinfo=UTC)  # noqa: E731
    shown = create_app(data_dir("sites"), clock=clock, keep_young=True).test_client()
    near = "site=gull-cove&date=2026-11-26&group=Limpets&group=Shrimps"
    assert shown.get(f"/plan.json?{near}").get_json()["verdict"] == "stop"
    page = shown.get("/").get_data(as_text=True)
    (link,) = re.findall(r'<p class="hint">The demonstration opens on .*? <a href="([^"]+)">', page)
    assert "date=2026-11-26" in link and "Do not go as asked" not in page
    assert "Do not go as asked" in shown.get(link.replace("&amp;", "&")).get_data(as_text=True)
    own = create_app(data_dir("sites"), clock=clock).test_client().get("/").get_data(as_text=True)
    assert "The demonstration opens on" not in own and "26 November 2026" in own
