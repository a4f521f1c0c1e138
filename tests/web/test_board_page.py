"""The board's page: all sites over seven days for a group, each cell with its plan; a form without scripts."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from html import unescape
from urllib.parse import parse_qs, urlsplit

import pytest

from tripplan.data_files import data_dir
from tripplan.planning.board import board
from tripplan.store.folder import load_folder
from tripplan.store.told import Teller, told_world

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)  # the clock of the app under test
FIRST = date(2026, 12, 9)
ADDRESS = "/board?group=Skuas&date=2026-12-09"


def text_of(client, address, status=200):
    answer = client.get(address)
    assert answer.status_code == status
    return unescape(answer.get_data(as_text=True))


def table(page: str) -> list[tuple[str, list[str]]]:
    """Return each site's name and its cells, as HTML."""
    body = page[page.index('<table class="board">') :]
    rows = re.findall(r'<tr><th scope="row">(.*?)</th>(.*?)</tr>', body, re.DOTALL)
    return [(re.sub("<.*?>", "", name), re.findall(r"<td.*?</td>", cells, re.DOTALL)) for name, cells in rows]


@pytest.fixture(scope="module")
def page(app):
    return text_of(app.test_client(), ADDRESS)


@pytest.fixture(scope="module")
def reckoned():
    """Return the board that the page must show; the demonstration's dates stand where they were written until then."""
    folder = load_folder(data_dir("sites"))
    asked = folder.requests["saturday-ledge"]
    whom = next(group for group in asked.groups if group.name == "Skuas")
    return board(whom, asked.crew, FIRST, 7, told_world(folder, folder.sites, NOW, Teller()), home=asked.site)


def test_every_site_stands_in_the_table_in_the_order_of_the_board_with_seven_days(page, reckoned):
    rows = table(page)
    assert [name for name, _ in rows] == [row.name for row in reckoned.rows]
    assert len(rows) == 9
    assert all(len(cells) == 7 for _, cells in rows)


def test_every_cell_says_minutes_first_window_and_first_reason(page, reckoned):
    for (_, cells), row in zip(table(page), reckoned.rows, strict=True):
        for shown, cell in zip(cells, row.cells, strict=True):
            hours, minutes = divmod(cell.usable_min, 60)
            said = re.search(r"<b>(.*?)</b>", shown)[1]
            if cell.usable_min:
                parts = [f"{hours} h"] * (hours > 0) + [f"{minutes} min"] * (minutes > 0)
                assert said == " ".join(parts)
                assert f"{cell.windows[0].start:%H:%M} to {cell.windows[0].end:%H:%M}" in shown
            else:
                assert said == "none"
            assert cell.first_reason in shown
            assert ("tide, light and access only" in shown.split("<details")[0]) == (cell.sea == "unknown")
            assert all(sentence in shown for sentence in cell.cautions)


def test_days_after_the_end_of_the_forecast_are_marked(page):
    # The demonstration's forecast ends with 13 December; the board runs from the 9th to the 15th.
    for _, cells in table(page):
        assert ["tide, light and access only" in cell for cell in cells] == [False] * 5 + [True] * 2


def test_every_cell_leads_to_the_plan_of_its_site_day_and_group(client, page, reckoned):
    cells = [cell for _, cells in table(page) for cell in cells]
    links = [re.search(r'href="(/plan\?[^"]*)"', cell)[1] for cell in cells]
    wanted = [(row.site, cell.day.isoformat()) for row in reckoned.rows for cell in row.cells]
    for link, (site, day) in zip(links, wanted, strict=True):
        query = parse_qs(urlsplit(link).query)
        assert (query["site"], query["date"], query["group"]) == ([site], [day], ["Skuas"])
    site, day = wanted[0]
    plan = client.get(links[0].replace("/plan?", "/plan.json?")).get_json()
    assert (plan["site"], plan["date"]) == (site, day)
    shown = [(window["start"], window["end"]) for window in plan["windows"]]
    assert shown == [(w.start.isoformat(), w.end.isoformat()) for w in reckoned.rows[0].cells[0].windows]


def test_an_arrival_at_altitude_goes_only_to_the_site_for_which_it_was_said(client):
    found = table(text_of(client, "/board?group=Dippers&date=2026-11-29"))
    for name, cells in found:
        assert all(("arrived=08" in cell) == (name == "Lake Orrin") for cell in cells)


def test_both_pictures_stand_on_the_page_and_share_no_name(page):
    assert page.count("<svg") == 2
    ids = re.findall(r'\bid="(b\d[^"]*)"', page)
    assert ids and len(ids) == len(set(ids))
    assert "Hatched: no dive." in page


def test_without_words_in_the_address_the_first_group_and_a_near_day_are_shown(client):
    page = text_of(client, "/board")
    assert 'value="2026-11-27"' in page  # 8 in the morning: today
    assert '<option value="Limpets" selected>' in page
    assert "Fri 27 Nov" in page and "Thu 3 Dec" in page


def test_the_weeks_before_and_after_keep_the_group(page):
    assert '/board?group=Skuas&date=2026-12-02"' in page
    assert '/board?group=Skuas&date=2026-12-16"' in page


def test_people_without_a_request_are_judged_by_kind_number_and_level_and_have_no_plan(client):
    page = text_of(client, "/board?group=others&kind=guided&count=9&level=level_2&date=2026-12-09")
    rows = dict(table(page))
    assert "9 divers: 9 would be in the water at once; Mere Mouth takes 8." in rows["Mere Mouth"][0]
    assert "The Gut admits level 3" in rows["The Gut"][0]
    assert not any('href="/plan' in cell for cells in rows.values() for cell in cells)
    assert "their ages, papers, suits and leaders are not known" in page
    assert 'group=others&kind=guided&count=9&level=level_2&date=2026-12-16"' in page


@pytest.mark.parametrize(
    ("query", "words", "kept"),
    [
        ("group=Nobody", 'Group "Nobody" is not known; known: Limpets, Shrimps', "Nobody"),
        ("date=soon", '"soon" is not a date; write it like 2026-11-27.', 'value="soon"'),
        ("date=2031-01-01", "2031-01-01 is more than 730 days from today.", 'value="2031-01-01"'),
        ("group=others&count=0", '"0" is not a number of people; give 1 to 40.', 'value="0"'),
        ("group=others&count=41", '"41" is not a number of people; give 1 to 40.', 'value="41"'),
        ("group=others&count=²", '"²" is not a number of people; give 1 to 40.', 'value="²"'),
        ("group=others&count=100000000000000000000", "is not a number of people", 'value="100000000000000000000"'),
        ("group=others&kind=flying", '"flying" is no kind of dive', "others"),
        ("group=others&level=99", '"99" is no level', "others"),
    ],
)
def test_what_cannot_be_used_comes_back_with_a_sentence_and_what_was_typed(client, query, words, kept):
    page = text_of(client, f"/board?{query}", 400)
    assert words in page
    assert kept in page
    assert "<svg" not in page


def test_markup_in_the_address_stays_letters(client):
    answer = client.get('/board?group=<script>alert(1)</script>&date="><b>')
    assert answer.status_code == 400
    assert b"<script>" not in answer.data and b"<b>" not in answer.data


def test_the_page_stands_in_the_head_of_every_page(client):
    assert '<a href="/board" aria-current="page">Board</a>' in text_of(client, "/board")
    assert re.search(r'<a href="/board">Board</a>', text_of(client, "/rules"))


def test_a_board_of_which_no_day_is_usable_says_so(client):
    page = text_of(client, "/board?group=others&kind=guided&count=40&level=level_2&date=2026-12-09")
    assert "No site has a usable minute in these days." in page
    assert FIRST + timedelta(days=6) == date(2026, 12, 15)
    assert page.count(">none</b>") == 63
