"""The guides as pages: anchors, links, pictures, no HTML of their own; and the same files on a code forge."""

from __future__ import annotations

import io
import re
from datetime import UTC, datetime
from html import unescape
from html.parser import HTMLParser

import pytest
from PIL import Image

from tests.pictures import COLOURS, FOLDER, LARGEST_BYTES, LARGEST_TOGETHER_BYTES, NAMES, small_png
from tests.test_examples import DOCUMENTS, ROOT
from tripplan.data_files import data_dir
from tripplan.web.app import create_app
from tripplan.web.guides import anchor_of, guide_html, guides, is_page

NAMED = sorted(guides())
LINK = re.compile(r"(!?)\[[^\]]*\]\(([^)\s]+)\)")
MARKS = re.compile(r"```.*?```|`[^`\n]*`", re.DOTALL)


class Page(HTMLParser):
    """What a page holds: elements with their attributes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))

    def all(self, tag: str, attribute: str) -> list[str]:
        return [values[attribute] for name, values in self.found if name == tag and values.get(attribute)]


@pytest.fixture(scope="module")
def client():
    app = create_app(data_dir("sites"), clock=lambda: datetime(2026, 11, 27, 8, 0, tzinfo=UTC), keep_young=True)
    with app.test_request_context():
        yield app.test_client()


@pytest.fixture(scope="module")
def pages(client) -> dict[str, Page]:
    found = {}
    for name in NAMED:
        answer = client.get(f"/guide/{name}")
        assert answer.status_code == 200
        found[name] = Page(answer.get_data(as_text=True))
    return found


def test_the_guides_that_a_centre_needs_are_there_and_in_order(client):
    assert NAMED
    assert list(guides())[:6] == ["leader", "assistant", "centre", "files", "methods", "operators"]
    page = unescape(client.get("/guide").get_data(as_text=True))
    for guide in guides().values():
        assert guide.title in page
        assert f'href="/guide/{guide.name}"' in page
        assert 20 < len(guide.summary) < 200, f"{guide.name}.md: its first paragraph says in a sentence what it is for"


@pytest.mark.parametrize("name", NAMED)
def test_every_link_and_picture_of_a_page_leads_somewhere(client, pages, name):
    page = pages[name]
    ids = {values["id"] for _, values in page.found if values.get("id")}
    assert len(ids) == len([values for _, values in page.found if values.get("id")]), "an anchor stands twice"
    for address in page.all("a", "href"):
        path, _, anchor = address.partition("#")
        if address.startswith("#"):
            assert anchor in ids, address
        elif path.startswith("/guide/") and anchor:
            target = pages[path.removeprefix("/guide/")]
            assert anchor in {values.get("id") for _, values in target.found}, address
        elif path.startswith("/"):
            assert is_page(path) or path.removeprefix("/guide/") in guides(), address
        else:
            assert path.startswith("https://"), address
    for values in (values for tag, values in page.found if tag == "img"):
        answer = client.get(values["src"])
        assert answer.status_code == 200 and answer.mimetype == "image/png"
        answer.close()
        assert values["alt"] and int(values["width"]) >= 300 and int(values["height"]) >= 300


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.name)
def test_on_a_code_forge_every_link_holds_too(path):
    text = path.read_text(encoding="utf-8")
    for _, address in LINK.findall(MARKS.sub("", text)):
        if address.startswith("https://"):
            continue
        file, _, anchor = address.partition("#")
        target = (path.parent / file).resolve() if file else path
        assert target.is_file() and target.is_relative_to(ROOT), f"{path.name}: {address}"
        if anchor:
            titles = re.findall(r"^#+ (.*)$", target.read_text(encoding="utf-8"), re.MULTILINE)
            assert anchor in {anchor_of(title.replace("`", "")) for title in titles}, f"{path.name}: {address}"


@pytest.mark.parametrize("name", NAMED)
def test_each_address_of_the_program_that_a_guide_names_is_a_page_of_it(client, name):
    named = set(re.findall(r"`(/[a-z][a-z/-]*)`", guides()[name].text))
    for address in named - {"/opt/tripplan", "/srv/tripplan/centre"}:
        assert is_page(address), f"{name}.md: {address}"


def test_headings_get_anchors_tables_scroll_and_examples_name_their_file(client):
    parts = ("# Title", "First.", "## One thing", "### Twice", "### Twice", "| a |\n|---|\n| b |")
    html, headings = guide_html("\n\n".join((*parts, "```toml x/y.toml +\nz = 1\n```")))
    assert [(each.anchor, each.title) for each in headings] == [("one-thing", "One thing")]
    assert '<h3 id="twice">' in html and '<h3 id="twice-1">' in html
    assert "Title" not in html
    assert re.search('<div class="scroll" role="group" tabindex="0" aria-label="Table: [^"]*"><table>', html)
    assert '<p class="in-file"><code>x/y.toml</code></p>\n<pre><code>z = 1\n</code></pre>' in html


def test_links_to_guides_and_addresses_of_pages_become_those_of_the_program(client):
    html, _ = guide_html(
        "# T\n\n[a](leader.md) [b](files.md#a-site) [c](https://example.org) `/rules` `/rules/x` `/nope`\n"
    )
    assert 'href="/guide/leader"' in html and 'href="/guide/files#a-site"' in html
    assert 'href="https://example.org"' in html
    assert '<a href="/rules"><code>/rules</code></a> <code>/rules/x</code> <code>/nope</code>' in html


def test_html_and_scripts_in_a_guide_are_shown_and_not_run(client):
    html, _ = guide_html(
        "# T\n\n<script>alert(1)</script> <b>x</b> [y](javascript:alert(1))\n\n```toml <i>\n<b>\n```\n"
    )
    assert "<script" not in html and "<b>" not in html and "<i>" not in html
    assert 'href="javascript' not in html


@pytest.mark.parametrize(
    "address",
    ["/guide/nobody", "/guide/leader.md", "/guide/..%2fpages%2fbase", "/guide/pictures/../leader.md",
     "/guide/pictures/..%2fleader.md", "/guide/pictures/none.png", "/guide/%2e%2e"],
)  # fmt: skip
def test_nothing_else_is_given_out(client, address):
    assert client.get(address).status_code == 404


# ---- pictures ----


def test_the_pictures_are_those_that_the_script_takes_small_and_shown_somewhere():
    files = {path.stem: path.stat().st_size for path in FOLDER.iterdir()}
    assert set(files) == set(NAMES), "run `python -m tests.pictures`"
    assert all(size <= LARGEST_BYTES for size in files.values()), files
    assert sum(files.values()) <= LARGEST_TOGETHER_BYTES
    shown = {
        address.rpartition("/")[2]
        for path in DOCUMENTS
        for mark, address in LINK.findall(path.read_text(encoding="utf-8"))
        if mark
    }
    assert shown == {f"{name}.png" for name in files}


def test_a_picture_gets_as_many_colours_as_its_size_allows():
    def noise(width: int) -> bytes:
        out = io.BytesIO()
        Image.effect_noise((width, 400), 90).save(out, "PNG")
        return out.getvalue()

    found = small_png(noise(620))
    with Image.open(io.BytesIO(found)) as image:
        assert len(image.getcolors()) < COLOURS[0]
    assert len(found) <= LARGEST_BYTES
    with pytest.raises(ValueError, match="show less of the page"):
        small_png(noise(4000))
