"""The page of words, and the links to it from the pages on which they are used."""

from __future__ import annotations

import re
from html import unescape

import pytest

from tripplan.documents.glossary import glossary, marked
from tripplan.web import words

PLAN = "/plan?site=stair-ledge&date=2026-12-12&group=Terns&group=Skuas&asked=yes"


@pytest.fixture
def marking(monkeypatch):
    monkeypatch.setattr(words, "marked", marked)


def without_tags(page):
    return unescape(re.sub(r"<[^>]*>", "", page))


def test_the_page_explains_every_word_with_its_source(client):
    page = client.get("/glossary").get_data(as_text=True)
    for word in glossary().values():
        assert f'<dt id="{word.key}">' in page
        assert word.says in unescape(page)
    assert "US Navy Diving Manual, Revision 7 (2016)" in page
    assert 'href="/glossary"' in client.get("/about").get_data(as_text=True)  # at the foot of every page


@pytest.mark.parametrize(
    "address", [PLAN, "/sites/the-gut", "/limits?depth=18", "/sheets?date=2026-12-12", "/tides/verrow-harbour"]
)
def test_a_page_links_each_word_once_and_reads_the_same(client, marking, monkeypatch, address):
    page = client.get(address).get_data(as_text=True)
    links = re.findall(r'<a class="term" href="/glossary#([a-z0-9-]+)" title="([^"]+)">([^<]+)</a>', page)
    assert links
    assert len({key for key, _, _ in links}) == len(links)
    for key, title, shown in links:
        assert unescape(title) == glossary()[key].says
        assert shown.lower() in glossary()[key].forms
    monkeypatch.setattr(words, "marked", lambda page: page)
    plain = client.get(address).get_data(as_text=True)
    unlike = re.compile(r'name="(?:csrf_token|token|once)" value="[^"]*"')
    assert without_tags(page) == without_tags(plain)
    assert unlike.sub("", re.sub(r'<a class="term"[^>]*>([^<]*)</a>', r"\1", page)) == unlike.sub("", plain)
