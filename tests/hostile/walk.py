"""Walk the pages as a browser does: every address that is linked, every form with what it would send.

What a page answers is looked through by a parser of its own, so that a word that became an element is seen as one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any
from urllib.parse import parse_qsl, urldefrag, urljoin, urlsplit

from flask import Flask, got_request_exception
from flask.testing import FlaskClient
from werkzeug.datastructures import MultiDict
from werkzeug.routing import RequestRedirect
from werkzeug.test import TestResponse

from tripplan.web.app import HEADERS

HERE = "http://localhost"
Pairs = list[tuple[str, str]]
OWN_POLICY = {"plans.offline", "sheets.pocket"}  # files to keep, with a policy narrower than the pages'


@dataclass
class Form:
    """A form of a page, and what a browser would send of it untouched."""

    page: str
    action: str
    method: str
    upload: bool
    fields: Pairs = field(default_factory=list)
    buttons: list[tuple[str, str] | None] = field(default_factory=list)


class Page(HTMLParser):
    """What a page holds: links, forms, and what would run."""

    def __init__(self, text: str, address: str) -> None:
        super().__init__()
        self.address = address
        self.links: list[str] = []
        self.forms: list[Form] = []
        self.runs: list[str] = []  # what would run, or be drawn, by what stands in the page itself
        self.scripts: list[str] = []
        self.images: list[str] = []
        self.text: list[str] = []
        self._select: tuple[str, list[str], str | None] | None = None
        self._area: str | None = None
        self._in = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        self.runs += [f"{tag} {name}" for name in has if name.startswith("on") or name in ("style", "srcdoc")]
        for name in ("href", "src", "action", "formaction", "xlink:href"):
            if re.match(r"\s*(javascript|data|vbscript):", has.get(name, ""), re.IGNORECASE) and tag not in (
                "img",
                "link",
            ):
                self.runs.append(f"{tag} {name}={has[name][:40]}")
        if tag in ("iframe", "object", "embed", "base", "style"):
            self.runs.append(tag)
        if tag == "script":
            self.scripts.append(has.get("src", "(in the page)"))
        if tag == "img":
            self.images.append(has.get("src", ""))
        if tag == "a" and has.get("href"):
            self.links.append(urljoin(self.address, urldefrag(has["href"]).url))
        if tag == "form":
            made = Form(
                self.address,
                urljoin(self.address, has.get("action") or self.address),
                has.get("method", "get").lower(),
                "multipart" in has.get("enctype", ""),
            )
            self.forms.append(made)
        if self.forms:
            self._field(tag, has)
        self._in = tag

    def _field(self, tag: str, has: Mapping[str, str]) -> None:
        form, name = self.forms[-1], has.get("name", "")
        if tag == "button":
            form.buttons.append((name, has.get("value", "")) if name else None)
        elif tag == "select":
            self._select = (name, [], None)
        elif tag == "option" and self._select is not None:
            kept, values, chosen = self._select
            value = has.get("value", "")
            self._select = (kept, [*values, value], value if "selected" in has else chosen)
        elif tag == "textarea":
            self._area = name
            form.fields.append((name, ""))
        elif tag == "input" and name and has.get("type") not in ("file", "submit"):
            if has.get("type") in ("checkbox", "radio") and "checked" not in has:
                return
            form.fields.append((name, has.get("value", "on" if has.get("type") == "checkbox" else "")))

    def handle_endtag(self, tag: str) -> None:
        if tag == "select" and self._select is not None and self.forms:
            name, values, chosen = self._select
            if name and values:
                self.forms[-1].fields.append((name, chosen if chosen is not None else values[0]))
            self._select = None
        if tag == "textarea":
            self._area = None
        self._in = ""

    def handle_data(self, data: str) -> None:
        self.text.append(data)
        if self._area is not None and self.forms:
            name, value = self.forms[-1].fields[-1]
            self.forms[-1].fields[-1] = (name, value + data)


def answered_well(answer: TestResponse, endpoint: str, what: Any = "") -> None:
    """Assert what holds for every answer, whatever was asked."""
    about = f"{what}: {answer.status}"
    assert answer.status_code < 500, about
    for name, value in HEADERS.items():
        said = answer.headers.get(name, "")
        if name == "Content-Security-Policy":
            policy_is_strict(said, endpoint, about)
        elif name == "Cache-Control":
            assert said, about
        else:
            assert said == value, (about, name, said)
    if answer.mimetype == "text/html" and not (endpoint in OWN_POLICY and answer.status_code == 200):
        text = answer.get_data(as_text=True)
        assert "Traceback (most recent call last)" not in text, about
        page = Page(text, HERE)
        assert page.runs == [], (about, page.runs[:5])
        assert [each for each in page.scripts if not each.startswith("/static/")] == [], about
        assert "x" not in page.images, about


def policy_is_strict(policy: str, endpoint: str, about: str) -> None:
    """Assert that a policy lets nothing run that stands in the page, and nothing come from elsewhere."""
    said = {words[0]: words[1:] for each in policy.split(";") if (words := each.split())}
    if endpoint in OWN_POLICY and "sha256" in policy:
        assert all(re.fullmatch(r"'none'|'sha256-[A-Za-z0-9+/=]+'|data:", word)
                   for words in said.values() for word in words), (about, policy)  # fmt: skip
        return
    allowed = {"'self'", "'none'", "data:"}
    assert {word for words in said.values() for word in words} <= allowed, (about, policy)
    assert said["default-src"] == ["'none'"] and said["object-src"] == ["'none'"], (about, policy)
    assert said["script-src"] in (["'none'"], ["'self'"]) and said["style-src"] == ["'self'"], (about, policy)
    assert said["base-uri"] == said["frame-ancestors"] == ["'none'"], (about, policy)


class Walker:
    """A visitor with cookies, who keeps the faults of the program that the pages hide."""

    def __init__(self, app: Flask) -> None:
        self.app = app
        self.client: FlaskClient = app.test_client()
        self.faults: list[BaseException] = []
        got_request_exception.connect(self._fault, app)

    def _fault(self, _: Flask, exception: BaseException) -> None:
        self.faults.append(exception)

    def endpoint(self, path: str, method: str = "GET") -> str:
        """Return which page an address is of; empty where there is none."""
        try:
            return str(self.app.url_map.bind("localhost").match(path, method=method)[0])
        except RequestRedirect:
            return ""
        except Exception:
            return ""

    def get(self, path: str, query: Sequence[tuple[str, str]] = ()) -> TestResponse:
        """Ask for a page and look its answer through."""
        answer = self.client.get(path, query_string=MultiDict(query) if query else None)
        self.look(answer, self.endpoint(path), ("GET", path, query))
        answer.get_data()
        answer.close()  # a file that is sent stays open until then
        return answer

    def post(self, path: str, fields: Sequence[tuple[str, Any]], *, upload: bool = False) -> TestResponse:
        """Send a form and look the answer through."""
        kind = "multipart/form-data" if upload else "application/x-www-form-urlencoded"
        answer = self.client.post(path, data=MultiDict(fields), content_type=kind)
        self.look(answer, self.endpoint(path, "POST"), ("POST", path, fields))
        return answer

    def look(self, answer: TestResponse, endpoint: str, what: Any) -> None:
        """Assert that an answer is sound; a fault of the program is raised as it was."""
        if self.faults:
            raise AssertionError(f"{what}") from self.faults.pop()
        answered_well(answer, endpoint, str(what)[:600])


def walked(walker: Walker, begin: Sequence[str], most: int = 400) -> tuple[dict[Any, tuple[str, Pairs]], list[Form]]:
    """Follow every link and fill in no form: return one address for each page and set of words, and every form."""
    left = [HERE + each for each in begin]
    seen: set[Any] = set()
    addresses: dict[Any, tuple[str, Pairs]] = {}
    forms: dict[Any, Form] = {}
    while left and len(addresses) < most:
        parts = urlsplit(left.pop(0))
        if parts.netloc != "localhost":
            continue
        query = parse_qsl(parts.query, keep_blank_values=True)
        endpoint = walker.endpoint(parts.path)
        key = (endpoint, tuple(sorted({name for name, _ in query})))
        if not endpoint or endpoint == "static" or key in seen:
            continue
        seen.add(key)
        answer = walker.get(parts.path, query)
        if 300 <= answer.status_code < 400:
            left.append(urljoin(HERE, answer.headers["Location"]))
        addresses[key] = (parts.path, query)
        if answer.mimetype != "text/html" or endpoint in OWN_POLICY:
            continue
        page = Page(answer.get_data(as_text=True), f"{HERE}{parts.path}" + (f"?{parts.query}" if parts.query else ""))
        left += page.links
        for form in page.forms:
            names = tuple(sorted({re.sub(r"\d+", "0", name) for name, _ in form.fields}))
            method = "POST" if form.method == "post" else "GET"
            forms.setdefault((walker.endpoint(urlsplit(form.action).path, method), names), form)
    return addresses, list(forms.values())


def rules(app: Flask, method: str) -> Iterator[Any]:
    """Yield every rule of an app that answers a method."""
    for rule in app.url_map.iter_rules():
        if method in (rule.methods or ()):
            yield rule
