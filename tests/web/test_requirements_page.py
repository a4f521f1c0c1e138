"""The page of what codes ask for, and the rule book with who replaced what."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime
from html import unescape

import pytest

from tripplan.data_files import data_dir
from tripplan.documents.coverage import STATE_WORDS, STATES, counts, coverage_rows, requirements
from tripplan.rulebook import baseline
from tripplan.store.folder import load_folder
from tripplan.web.app import create_app

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
AREAS = tuple(dict.fromkeys(each.area for each in requirements()))


def text_of(client, address, status=200):
    answer = client.get(address)
    assert answer.status_code == status
    return unescape(answer.get_data(as_text=True))


def shown(page: str) -> list[str]:
    """Return the requirements on a page by their anchors."""
    return re.findall(r'<section class="card asked" id="([A-Z]{3}-[0-9]{2})">', page)


def section(page: str, key: str) -> str:
    return page.split(f'id="{key}">')[1].split("</section>")[0]


@pytest.fixture(scope="module")
def page(app) -> str:
    return text_of(app.test_client(), "/requirements")


def rows():
    return coverage_rows(load_folder(data_dir("sites")).world.rules)


def test_every_requirement_stands_on_the_page_with_its_words_and_its_code(page):
    assert sorted(shown(page)) == sorted(each.id for each in requirements())
    for each in requirements():
        part = section(page, each.id)
        assert each.words in part
        assert each.source in part


def test_the_counts_at_the_top_are_those_of_the_sections(page):
    found = counts(rows())
    for state in STATES:
        words = STATE_WORDS[state].capitalize()
        assert f"<dt>{words}</dt><dd>{found[state]}</dd>" in page
        assert len(re.findall(rf"<p><b>\S+ {re.escape(words)}\.</b>", page)) == found[state]


def test_each_state_is_told_in_a_word_and_not_by_a_mark_alone(page):
    for row in rows():
        assert f"{STATE_WORDS[row.state].capitalize()}.</b>" in section(page, row.requirement.id)


def test_what_is_from_memory_is_marked_in_bold_on_each(page):
    for each in requirements():
        part = section(page, each.id)
        assert ("<b>[from memory]</b>" in part) == (each.sureness == "from memory")
        assert ("<b>[second hand]</b>" in part) == (each.sureness == "second hand")
        assert not (each.sureness != "verified" and "[verified]" in part)


def test_what_is_missing_stands_with_each_that_is_partly_met(page):
    for row in rows():
        part = section(page, row.requirement.id)
        assert part.count("<b>Missing:</b>") == len(row.missing)
        for sentence in row.missing:
            assert sentence in part


def test_the_numbers_are_those_of_the_rule_book_in_force_and_lead_to_it(page):
    """The demonstration's centre counts a group as overdue after 8 minutes, the baseline after 10."""
    part = section(page, "ROL-07")
    assert '<a href="/rules#overdue.after_min">' in part
    assert "8 min after the planned time out" in part and "10 min" not in part.split("<dt>Asked by</dt>")[0]


def test_every_link_to_a_rule_has_its_row_in_the_rule_book(client, page):
    book = text_of(client, "/rules")
    keys = set(re.findall(r'href="/rules#([^"]+)"', page))
    assert len(keys) > 50
    for key in keys:
        assert f'id="{key}"' in book


def test_every_page_that_is_named_answers(client, page):
    for address in sorted(set(re.findall(r'<a href="(/[^"#]*)">/', page))):
        assert client.get(address).status_code == 200, address


@pytest.mark.parametrize("state", STATES)
def test_the_filter_by_state_shows_those_and_no_others(client, state):
    found = text_of(client, f"/requirements?state={state}")
    assert sorted(shown(found)) == sorted(row.requirement.id for row in rows() if row.state == state)
    assert f'<option value="{state}" selected>' in found


@pytest.mark.parametrize("area", AREAS)
def test_the_filter_by_part_shows_those_and_no_others(client, area):
    found = text_of(client, "/requirements?area=" + area.replace("/", "%2F"))
    assert sorted(shown(found)) == sorted(each.id for each in requirements() if each.area == area)


def test_both_filters_together_show_what_is_in_both_and_the_counts_stay(client, page):
    found = text_of(client, "/requirements?state=partly&area=kit")
    both = [r.requirement.id for r in rows() if r.state == "partly" and r.requirement.area == "kit"]
    assert shown(found) == both and both
    assert re.search(r'<dl class="tally">.*?</dl>', found)[0] == re.search(r'<dl class="tally">.*?</dl>', page)[0]


@pytest.mark.parametrize("query", ["state=perhaps", "area=space", "state=%3Cscript%3E"])
def test_a_filter_that_does_not_exist_is_refused_with_what_does(client, query):
    answer = client.get(f"/requirements?{query}")
    assert answer.status_code == 400
    assert "is not one of" in unescape(answer.get_data(as_text=True))
    assert b"<script>" not in answer.data


def test_a_centre_that_leaves_a_requirement_sees_it_on_the_page(tmp_path):
    folder = tmp_path / "centre"
    shutil.copytree(data_dir("sites"), folder)
    file = folder / "centre" / "rules.toml"
    own = '\n[depth.level_1_m]\nvalue = 18\nreason = "we know better"\n'
    file.write_text(file.read_text(encoding="utf-8") + own, encoding="utf-8")
    client = create_app(folder, clock=lambda: NOW).test_client()
    part = section(text_of(client, "/requirements"), "DEP-01")
    assert "Partly met." in part
    assert "It asks for at most 12 m; the rule book has 18 m" in part


@pytest.mark.parametrize("address", ["/rules", "/about", "/"])
def test_other_pages_lead_to_it(client, address):
    assert 'href="/requirements"' in client.get(address).get_data(as_text=True)


# ---- the rule book ----


def row_of(client, key: str) -> str:
    found = re.search(rf'<tr id="{re.escape(key)}">.*?</tr>', text_of(client, "/rules"), re.DOTALL)
    assert found
    return found[0]


def test_a_replaced_rule_shows_value_baseline_unit_reason_who_when_and_who_says_the_baseline(client):
    row = row_of(client, "overdue.after_min")
    for words in (
        "8 min", "baseline 10 min", "the coastguard station is forty minutes away",
        "Set by Tom Okafor on 14 September 2026.", "Baseline: ",
    ):  # fmt: skip
        assert words in row


def test_every_rule_shows_its_unit_its_note_and_how_well_it_is_known(client):
    page = text_of(client, "/rules")
    for key, rule in baseline().rules.items():
        row = page.split(f'<tr id="{key}">')[1].split("</tr>")[0]
        assert f", in {rule.unit}" in row
        assert rule.note in row
        assert f"[{rule.provenance}]" in row


def test_an_override_that_nobody_signed_says_so_in_bold(tmp_path):
    folder = tmp_path / "centre"
    shutil.copytree(data_dir("sites"), folder)
    file = folder / "centre" / "rules.toml"
    file.write_text(
        '[overdue.after_min]\nvalue = 8\nreason = "the coast is far"\n', encoding="utf-8"
    )  # fmt: skip
    client = create_app(folder, clock=lambda: NOW).test_client()
    assert "<b>Not written who set it, nor when.</b>" in row_of(client, "overdue.after_min")
