from __future__ import annotations

import re
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest
from printed_plans import plan_of

import tripplan
from tripplan.data_files import data_dir
from tripplan.documents import one_file
from tripplan.documents.glossary import LONGEST_LETTERS, glossary, marked, read_glossary, used_in
from tripplan.documents.words import rules_of
from tripplan.errors import OutOfRange
from tripplan.rulebook import baseline
from tripplan.sources import SOURCES

# Words that somebody in the first week does not know, as the trade says them; written down from books on seamanship,
# tides and diving medicine, not from the file that is tested.
TRADE_WORDS = """
chart datum; slack water; ebb; flood; fetch; swell; wind sea; breaking waves; plunging; spilling; surge; run-off; drift;
civil dusk; civil dawn; no-stop time; residual nitrogen; repetitive group; gradient factor; equivalent depth; surface
interval; turn pressure; minimum gas; partial pressure of oxygen; gas density; ratio; qualified assistant; supervised
diver; autonomous diver; dive leader; instructor level 1; instructor level 2; recompression chamber; demand valve;
non-rebreather mask; bubble illness; shore watch; dive director; oxygen provider; MAYDAY; PAN PAN; VHF; recall; knots;
Beaufort; harmonic; springs; neaps; brackish; fsw; confined water; refresher; first stage; second stage; safety stop;
tissue model; bottom time; overdue; check dive; house limit; stream
"""


def said_on_pages() -> str:
    """Return everything that pages, sheets and sentences are made of, as it stands in the source, small letters."""
    parts = [path.read_text(encoding="utf-8") for path in data_dir("templates").rglob("*") if path.suffix in SHOWN]
    parts += [path.read_text(encoding="utf-8") for path in Path(tripplan.__file__).parent.rglob("*.py")]
    return " ".join(" ".join(parts).lower().split())


SHOWN = (".html", ".typ", ".md")


@pytest.fixture(scope="module")
def pages():
    return said_on_pages()


def test_every_word_of_the_trade_that_pages_use_is_explained(pages):
    forms = {form for word in glossary().values() for form in word.forms}
    words = [" ".join(word.split()).lower() for word in TRADE_WORDS.split(";")]
    assert [word for word in words if word in pages and word not in forms] == []
    assert sum(word in pages for word in words) > 50  # the list is not beside the matter


def test_every_word_that_is_explained_is_used(pages):
    unused = [word.key for word in glossary().values() if not any(form in pages for form in word.forms)]
    assert unused == []


def test_every_explanation_is_short_plain_and_says_where_it_comes_from():
    for word in glossary().values():
        assert 20 <= len(word.says) <= LONGEST_LETTERS, word.key
        assert 1 <= len(re.findall(r"[.](?= |$)", word.says)) <= 4, word.key
        assert all(len(sentence.split()) <= 32 for sentence in word.says.split(". ")), word.key
        assert word.source == "" or word.source in SOURCES or word.source in baseline().rules, word.key
        assert re.fullmatch(r"[a-z0-9-]+", word.key)
    terms = [word.term.lower() for word in glossary().values()]
    assert terms == sorted(terms)


def test_what_a_diver_might_act_on_is_said_as_plans_reckon_it():
    """Out by and overdue are one minute; a stream may turn hours from high water (the Admiralty Manual of Tides); water
    falls below a datum of mean lower low water (NOAA, Tidal datums); a fit of oxygen may come without a sign (NOAA)."""
    plan = plan_of("saturday-ledge")
    assert all(dive.exit_by == dive.overdue_at for dive in plan.dives)
    says = {key: word.says for key, word in glossary().items()}
    assert "From then on it is overdue" in says["out-by"]
    assert all("need not" in says[key] and "high or low water" in says[key] for key in ("ebb-flood", "slack-water"))
    assert "can fall below it" in says["chart-datum"] and "lowest" not in says["chart-datum"]
    assert "Nobody goes deeper" in says["oxygen-depth"]


class Read(HTMLParser):
    """The text of a page, and each link to a word with the elements that stand around it."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text: list[str] = []
        self.links: list[tuple[str, tuple[str, ...]]] = []

    def handle_starttag(self, tag, attrs):
        if dict(attrs).get("class") == "term":
            self.links.append((dict(attrs)["href"], tuple(self.open)))
        if tag not in ("br", "input", "img", "meta", "link", "path", "hr"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data):
        self.text.append(data)


def read(page: str) -> Read:
    reader = Read()
    reader.feed(page)
    return reader


def test_the_first_use_of_a_word_is_a_link_and_the_page_reads_as_before():
    page = (
        "<h2>Slack water</h2><p>In <b>SLACK</b> water, at slack water; slack-key. Not slackness. "
        "<a href='/x'>the ebb</a> <button>Ebb</button> <label>ebb <input></label> the ebb, the EBB</p>"
    )
    found = marked(page)
    assert "".join(read(found).text) == "".join(read(page).text)
    assert [href for href, _ in read(found).links] == ["/glossary#slack-water", "/glossary#ebb-flood"]
    assert '<b><a class="term" href="/glossary#slack-water" title="The minutes in which' in found
    assert '</label> the <a class="term" href="/glossary#ebb-flood"' in found
    assert marked(page, "#w-").count('href="#w-') == 2
    assert {word.key for word in used_in(page)} == {"slack-water", "ebb-flood"}


def test_a_longer_word_is_not_taken_for_a_shorter_one_in_it():
    assert "#level-1" not in marked("<p>instructor level 1, instructor level 1</p>")
    both = marked("<p>instructor level 1 and level 1</p>")
    assert both.index("#instructor-levels") < both.index("#level-1")


def test_letters_that_grow_when_made_small_move_nothing():
    assert marked("<p>İİİ at slack water</p>").startswith('<p>İİİ at <a class="term"')


def test_the_file_for_the_phone_explains_its_words_in_itself(monkeypatch):
    monkeypatch.setattr(one_file, "marked", marked)  # the tests of the pages do without
    plan = plan_of("saturday-ledge")
    page = one_file.one_file_html(plan, rules_of(plan))
    reader = read(page)
    assert len(reader.links) > 20
    for href, around in reader.links:
        assert page.count(f'id="{href[1:]}"') == 1
        assert not {"a", "button", "label", "summary", "svg", "h1", "h2", "h3"} & set(around)
    assert len({href for href, _ in reader.links}) == len(reader.links)
    for href, _ in reader.links:
        assert glossary()[href.removeprefix("#word-")].says in unescape(page)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('key = "a"', "term, forms, says, where must be there"),
        ('key = "a"\nterm = "a"\nforms = ["slack"]\nsays = "x"\nwhere = "y"\nodd = 1', "odd is not known"),
    ],
)
def test_an_entry_that_cannot_be_used_is_refused_in_words(tmp_path, line, said):
    file = tmp_path / "glossary.toml"
    file.write_text(f"[[words]]\n{line}\n", encoding="utf-8")
    with pytest.raises(OutOfRange, match=said):
        read_glossary(file)


def test_two_words_with_one_form_are_refused(tmp_path):
    file = tmp_path / "glossary.toml"
    one = '[[words]]\nkey = "{}"\nterm = "a"\nforms = ["slack"]\nsays = "x"\nwhere = "y"\n'
    file.write_text(one.format("a") + one.format("b"), encoding="utf-8")
    with pytest.raises(OutOfRange, match='"slack" is a form of a and of b'):
        read_glossary(file)
