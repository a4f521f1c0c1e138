"""The guides: plain Markdown that ships with the program, shown as pages; on a code forge the same files are read."""

from __future__ import annotations

import re
from collections.abc import Iterator, MutableMapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flask import Blueprint, Response, abort, current_app, render_template, send_from_directory, url_for
from werkzeug.exceptions import HTTPException
from werkzeug.routing import RoutingException

from tripplan.data_files import data_dir

if TYPE_CHECKING:
    from markdown_it.renderer import RendererHTML
    from markdown_it.token import Token
    from markdown_it.utils import OptionsDict

bp = Blueprint("guides", __name__)

ORDER = ("leader", "assistant", "centre", "files", "methods", "operators", "security")  # what is new comes after these
PICTURES = "pictures"
_ADDRESS = re.compile(r"/[a-z/-]*")  # a page of the program, written as code in a guide
_OTHER_GUIDE = re.compile(r"([a-z0-9_-]+)\.md(#[^#]*)?")
_PICTURE = re.compile(rf"{PICTURES}/([a-z0-9_-]+\.png)")
_PNG_SIZE = slice(16, 24)  # width and height stand here in every PNG file


@dataclass(frozen=True)
class Guide:
    """One guide: its Markdown, and what a list says of it."""

    name: str  # of the file, without .md
    title: str
    summary: str  # its first paragraph
    text: str


@dataclass(frozen=True)
class Heading:
    """A heading that the list of contents names."""

    anchor: str
    title: str


def folder() -> Path:
    """Return where the guides and their pictures lie."""
    return data_dir("templates") / "guides"


@lru_cache(maxsize=1)
def guides() -> dict[str, Guide]:
    """Return every guide by name, in the order in which they are listed."""
    found = {path.stem: _read(path) for path in sorted(folder().glob("*.md"))}
    rank = {name: number for number, name in enumerate(ORDER)}
    return {name: found[name] for name in sorted(found, key=lambda name: (rank.get(name, len(rank)), name))}


def _read(path: Path) -> Guide:
    text = path.read_text(encoding="utf-8")
    blocks = [block for block in text.split("\n\n") if block.strip()]
    title = blocks[0].strip().removeprefix("# ")
    return Guide(path.stem, title, " ".join(blocks[1].split()), text)


def anchor_of(title: str) -> str:
    """Return the anchor of a heading, as code forges make it.

    >>> anchor_of("Ring the numbers, at 8:00")
    'ring-the-numbers-at-800'
    """
    return re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-")


# ---- pages ----


@bp.get("/guide")
def listing() -> str:
    """List the guides."""
    return render_template("guides.html", guides=guides().values())


@bp.get("/guide/<name>")
def show(name: str) -> str:
    """Show one guide."""
    guide = guides().get(name)
    if guide is None:
        abort(404)
    body, headings = guide_html(guide.text)
    return render_template("guide.html", guide=guide, body=body, headings=headings, guides=guides().values())


@bp.get(f"/guide/{PICTURES}/<name>")
def picture(name: str) -> Response:
    """Give a picture of a guide."""
    return send_from_directory(folder() / PICTURES, name, mimetype="image/png")


# ---- Markdown ----


def guide_html(text: str) -> tuple[str, tuple[Heading, ...]]:
    """Return the HTML of a guide, without its title, and its headings of the second rank.

    Links to other guides and to pictures become those of the program; an address of the program written as code
    becomes a link. HTML in the text is shown as text.
    """
    from markdown_it import MarkdownIt

    markdown = MarkdownIt("commonmark", {"html": False}).enable("table")
    markdown.add_render_rule("table_open", _table_open)
    markdown.add_render_rule("table_close", _table_close)
    markdown.add_render_rule("image", _image)
    markdown.add_render_rule("code_inline", _code)
    markdown.add_render_rule("fence", _fence)
    tokens = markdown.parse(text)
    if tokens and tokens[0].type == "heading_open":
        del tokens[:3]  # the page has the title already
    headings = tuple(_with_anchors(tokens))
    for token in tokens:
        if token.type == "th_open":
            token.attrSet("scope", "col")
    for token in _links(tokens):
        token.attrSet("href", _rewritten(str(token.attrGet("href"))))
    return markdown.renderer.render(tokens, markdown.options, {}), headings


def _with_anchors(tokens: Sequence[Token]) -> Iterator[Heading]:
    """Give every heading its anchor, and yield those of the second rank."""
    seen: dict[str, int] = {}
    for token, inline in pairwise(tokens):
        if token.type != "heading_open":
            continue
        title = "".join(part.content for part in inline.children or ())
        anchor = anchor_of(title)
        times = seen[anchor] = seen.get(anchor, -1) + 1
        anchor = f"{anchor}-{times}" if times else anchor
        token.attrSet("id", anchor)
        if token.tag == "h2":
            yield Heading(anchor, title)


def _links(tokens: Sequence[Token]) -> Iterator[Token]:
    for token in tokens:
        yield from (part for part in token.children or () if part.type == "link_open")


def _rewritten(address: str) -> str:
    """Return the address on a page for one that holds in the folder of the guides."""
    if found := _OTHER_GUIDE.fullmatch(address):
        return url_for("guides.show", name=found[1]) + (found[2] or "")
    return address


def _table_open(
    self: RendererHTML, tokens: Sequence[Token], index: int, options: OptionsDict, env: MutableMapping[str, Any]
) -> str:
    from markdown_it.common.utils import escapeHtml

    heads = (text for head, text in pairwise(tokens[:index]) if head.type == "heading_open")
    name = next((text.content for text in reversed([*heads])), "")
    # Where it is wider than the page it scrolls by itself, also by keys.
    return f'<div class="scroll" role="group" tabindex="0" aria-label="{escapeHtml(f"Table: {name}")}"><table>\n'


def _table_close(
    self: RendererHTML, tokens: Sequence[Token], index: int, options: OptionsDict, env: MutableMapping[str, Any]
) -> str:
    return "</table></div>\n"


def _image(
    self: RendererHTML, tokens: Sequence[Token], index: int, options: OptionsDict, env: MutableMapping[str, Any]
) -> str:
    token = tokens[index]
    if found := _PICTURE.fullmatch(str(token.attrGet("src"))):
        token.attrSet("src", url_for("guides.picture", name=found[1]))
        with (folder() / PICTURES / found[1]).open("rb") as file:
            size = file.read(_PNG_SIZE.stop)[_PNG_SIZE]
        # With its size known, nothing moves on the page when a picture arrives.
        token.attrSet("width", str(int.from_bytes(size[:4], "big")))
        token.attrSet("height", str(int.from_bytes(size[4:], "big")))
    token.attrSet("loading", "lazy")
    return str(self.image(tokens, index, options, env))


def _code(
    self: RendererHTML, tokens: Sequence[Token], index: int, options: OptionsDict, env: MutableMapping[str, Any]
) -> str:
    shown = str(self.code_inline(tokens, index, options, env))
    address = tokens[index].content
    return f'<a href="{address}">{shown}</a>' if is_page(address) else shown


def is_page(address: str) -> bool:
    """Return whether an address is that of a page of the program which needs nothing more."""
    if not _ADDRESS.fullmatch(address):
        return False
    try:
        current_app.url_map.bind("localhost").match(address, method="GET")
    except (HTTPException, RoutingException):
        return False
    return True


def _fence(
    self: RendererHTML, tokens: Sequence[Token], index: int, options: OptionsDict, env: MutableMapping[str, Any]
) -> str:
    from markdown_it.common.utils import escapeHtml

    token = tokens[index]
    _, _, file = token.info.strip().partition(" ")  # "toml centre/rules.toml": the file that the example stands in
    named = f'<p class="in-file"><code>{escapeHtml(file.removesuffix(" +"))}</code></p>\n' if file else ""
    return f"{named}<pre><code>{escapeHtml(token.content)}</code></pre>\n"
