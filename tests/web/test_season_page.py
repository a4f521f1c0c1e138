"""The season page: picture, table, form, and how it refuses."""

from __future__ import annotations

import re
from html import unescape

import pytest

QUERY = "site=stair-ledge&site=the-gut&kind=level_1_course&from=2027-03&months=2"


def text_of(client, query: str = "", status: int = 200) -> str:
    answer = client.get(f"/season?{query}" if query else "/season")
    assert answer.status_code == status
    return unescape(answer.get_data(as_text=True))


def test_without_a_choice_it_shows_half_a_year_from_this_month(client):
    page = text_of(client)
    assert page.count('role="img"') == 2
    assert 'value="2026-11"' in page and 'value="6"' in page
    assert "Nov 2026" in page and "Apr 2027" in page
    assert '<option value="guided" selected>' in page


def test_the_chosen_sites_stand_in_picture_and_table_with_their_months(client):
    page = text_of(client, QUERY)
    assert re.search(r'value="stair-ledge" checked', page) and not re.search(r'value="gull-cove" checked', page)
    tables = re.findall(r"<table>.*?</table>", page, re.DOTALL)
    assert len(tables) == 2
    for table in tables:
        assert [re.sub("<.*?>", "", row) for row in re.findall(r'<th scope="row">(.*?)</th>', table)] == [
            "Mar 2027",
            "Apr 2027",
        ]
    assert "Usable hours of each day, level 1 course" in page
    assert "The stream runs above 0.25 kn" in page


def test_the_table_says_what_the_command_says(client, capsys):
    import json

    from tripplan.cli import main

    words = [
        "season",
        "stair-ledge",
        "--from",
        "2027-03-01",
        "--to",
        "2027-03-31",
        "--kind",
        "level_1_course",
        "--json",
    ]
    assert main(words) == 0
    days = json.loads(capsys.readouterr().out)["sites"][0]["days"]
    minutes = [day["usable_min"] for day in days]
    page = text_of(client, QUERY)
    row = re.search(r"Mar 2027</th><td>(.*?)</td><td>(.*?)</td>", page)
    assert row
    assert 0 <= sum(minutes) / 31 / 60 - float(row[1]) < 0.1
    assert row[2] == f"{sum(each >= 120 for each in minutes)} of 31"


def test_a_best_weekend_opens_the_plan_of_its_saturday(client):
    page = client.get(f"/season?{QUERY}").get_data(as_text=True)
    links = [unescape(link) for link in re.findall(r'href="(/plan\?[^"]*)"', page)]
    assert links
    assert "site=stair-ledge" in links[0] and "date=2027-03-" in links[0]
    assert client.get(links[0]).status_code == 200


def test_no_inline_style_or_script_and_marked_as_demonstration(client):
    page = client.get(f"/season?{QUERY}").get_data(as_text=True)
    assert "<script" not in page and "<style" not in page
    assert not re.search(r"\sstyle=", page) and not re.search(r"\son[a-z]+=", page)
    assert "NOT FOR USE" in page and "<h1>" in page
    assert 'aria-current="page">Season' in page


@pytest.mark.parametrize(
    ("query", "sentence", "kept"),
    [
        ("from=2027-03&months=2", "Tick at least one site.", 'value="2027-03"'),
        ("site=nowhere&from=2027-03&months=2", 'Site "nowhere" is not in the catalogue', 'value="2027-03"'),
        ("site=gull-cove&kind=fun&from=2027-03&months=2", 'Kind "fun" is not known', 'value="2027-03"'),
        ("site=gull-cove&from=spring&months=2", '"spring" is not a month; write it like 2027-04.', 'value="spring"'),
        ("site=gull-cove&from=2027-13&months=2", '"2027-13" is not a month', 'value="2027-13"'),
        ("site=gull-cove&from=1850-01&months=2", "1850-01 is outside 1901 to 2099", 'value="1850-01"'),
        ("site=gull-cove&from=2099-12&months=2", "2099-12 is outside 1901 to 2099", 'value="2099-12"'),
        ("site=gull-cove&from=2027-03&months=13", '"13" is not from 1 to 12 months.', 'value="13"'),
        ("site=gull-cove&from=2027-03&months=0", '"0" is not from 1 to 12 months.', 'value="0"'),
    ],
)
def test_a_bad_choice_comes_back_with_a_sentence_and_what_was_typed(client, query, sentence, kept):
    page = text_of(client, query, 400)
    assert sentence in page and kept in page
    assert 'aria-invalid="true"' in page
    assert 'role="img"' not in page


def test_the_last_month_of_the_tides_can_be_shown(client):
    assert "Dec 2099" in text_of(client, "site=gull-cove&from=2099-12&months=1")
    assert "Jan 1901" in text_of(client, "site=gull-cove&from=1901-01&months=1")


def test_hostile_words_are_shown_as_words(client):
    hostile = '"><script>alert(1)</script>'
    page = client.get("/season", query_string={"site": hostile, "from": hostile, "months": hostile, "kind": hostile})
    assert page.status_code == 400
    assert "<script>" not in page.get_data(as_text=True)


def test_a_second_look_draws_nothing_anew(client, app, monkeypatch):
    text_of(client, QUERY)

    def never(*words, **more):
        raise AssertionError("drawn again")

    monkeypatch.setattr("tripplan.web.season.season_picture", never)
    monkeypatch.setattr("tripplan.web.season.seasons", never)
    assert 'role="img"' in text_of(client, QUERY)
