"""What a leader types into the form wins over the forecast, a delay moves the day, and the page says what changes."""

from __future__ import annotations

import re
from html import unescape
from urllib.parse import urlencode

import pytest

ASKED = {"site": "stair-ledge", "date": "2026-12-12", "group": ["Terns", "Skuas"], "asked": "yes"}


def page(client, status: int = 200, **more) -> str:
    answer = client.get("/plan?" + urlencode({**ASKED, **more}, doseq=True))
    assert answer.status_code == status
    return unescape(answer.get_data(as_text=True))


def data(client, **more) -> dict:
    return client.get("/plan.json?" + urlencode({**ASKED, **more}, doseq=True)).get_json()


def test_the_forecast_of_the_folder_is_in_the_plan(client):
    plan = data(client)
    rules = {check["rule"] for check in plan["checks"]}
    assert {"surf", "wind", "surface-drift", "thunder", "visibility", "conditions-known"} <= rules
    assert any("Invented forecast" in line for line in plan["conditions"])
    assert "More wind" in {edge["what"] for edge in plan["edges"]}
    text = page(client)
    assert "If this changes" in text and "Seen and forecast" in text


def test_a_wind_that_was_seen_wins_for_its_hours_and_the_page_says_what_changes(client):
    # 14 kn off this south-facing ledge, above the limit of 10 kn off the shore; three hours from 11:00 UTC-1.
    seen = {"seen_at": "11:00", "seen_by": "Greta", "wind_kn": "14", "wind_from_deg": "10"}
    plan = data(client, **seen)
    closed = [c for c in plan["closures"] if c["rule"] == "wind-offshore"]
    assert closed and all(c["start"] >= "2026-12-12T10:59" for c in closed)
    assert any("Greta" in line and "11:00" in line for line in plan["conditions"])
    assert plan["revision"] != data(client)["revision"]
    text = page(client, **seen)
    assert "What changes" in text and "(worse)" in text
    assert 'value="14"' in text and 'value="Greta"' in text


def test_a_delay_shows_each_line_before_and_now(client):
    text = page(client, delay="40")
    rows = re.findall(r"<th scope=\"row\">(.*?)</th><td>(.*?)</td><td>(.*?)</td>", text)
    changed = {what: (before, now) for what, before, now in rows}
    assert changed["Terns, dive 1: in"] == ("11:50", "12:30")
    assert data(client, delay="40")["dives"][0]["entry"].startswith("2026-12-12T12:30")


def test_a_plan_without_changes_shows_no_list_of_them(client):
    assert "What changes" not in page(client)


@pytest.mark.parametrize(
    "typed, sentence",
    [
        ({"wind_kn": "x", "seen_at": "08:00"}, '"x" is not a number'),
        ({"wind_kn": "12"}, "The time is missing"),
        ({"wind_kn": "12", "seen_at": "25:00"}, '"25:00" is not a time'),
        ({"wind_kn": "400", "seen_at": "08:00"}, "100"),
        ({"wind_kn": "12", "gust_kn": "8", "seen_at": "08:00"}, "below wind_kn"),
        ({"thunder": "maybe", "seen_at": "08:00"}, "is not yes or no"),
        ({"delay": "-5"}, "is not a delay"),
        ({"delay": "720"}, "on another day"),
    ],
)
def test_what_cannot_be_used_comes_back_with_a_sentence_and_nothing_lost(client, typed, sentence):
    text = page(client, 400, **typed)
    assert sentence in text
    for value in typed.values():
        assert value in text


def test_the_links_to_sheet_and_text_carry_what_was_seen(client):
    text = page(client, seen_at="11:00", breaker_m="0.3")
    assert re.search(r"/plan\.pdf\?[^\"]*breaker_m=0\.3", text)
    answer = client.get("/plan.txt?" + urlencode({**ASKED, "seen_at": "11:00", "breaker_m": "0.3"}, doseq=True))
    assert "0.3 m at 11:00" in answer.get_data(as_text=True)
