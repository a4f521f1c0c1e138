"""A browser without script, for tests: reads the forms of a page, fills them in and presses their buttons."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html.parser import HTMLParser
from typing import Any

from werkzeug.datastructures import MultiDict


class Form(HTMLParser):
    """The last form of a page, with what stands in its boxes."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.action = self.method = ""
        self.boxes: list[list[str]] = []  # name and value, in order; several of one name stand several times
        self.labels: dict[str, str] = {}
        self.ids: set[str] = set()
        self.described: dict[str, list[str]] = {}
        self.offers: dict[str, list[str]] = {}  # ticks that are off, and choices
        self._text: list[str] | None = None
        self._select = self._area = self._label = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has: dict[str, Any] = dict(attrs)
        if "id" in has:
            self.ids.add(has["id"])
            self.described[has["id"]] = (has.get("aria-describedby") or "").split()
        if tag == "form":
            self.action, self.method, self.boxes, self.offers = has["action"], has["method"], [], {}
        elif tag == "label":
            self._label, self._text = has.get("for", ""), []
        elif tag == "input" and has.get("type") == "checkbox":
            self.offers.setdefault(has["name"], []).append(has["value"])
            if "checked" in has:
                self.boxes.append([has["name"], has["value"]])
        elif tag == "input" and "name" in has:
            self.boxes.append([has["name"], has.get("value") or ""])
        elif tag == "select":
            self._select = has["name"]
            self.boxes.append([self._select, ""])
        elif tag == "option" and self._select:
            self.offers.setdefault(self._select, []).append(has.get("value", ""))
            if "selected" in has:
                self.boxes[-1][1] = has.get("value", "\0")
                if "value" not in has:
                    self._text = []
        elif tag == "textarea":
            self._area, self._text = has["name"], []

    def handle_data(self, data: str) -> None:
        if self._text is not None:
            self._text.append(data)

    def handle_endtag(self, tag: str) -> None:
        text = "".join(self._text or ())
        if tag == "label" and self._label:
            self.labels[self._label] = " ".join(text.split())
            self._label, self._text = "", None
        elif tag == "textarea":
            self.boxes.append([self._area, text.replace("\r\n", "\n").removeprefix("\n").replace("\n", "\r\n")])
            self._area, self._text = "", None
        elif tag == "option" and self._text is not None and self.boxes and self.boxes[-1][1] == "\0":
            self.boxes[-1][1], self._text = text, None
        elif tag == "select":
            self._select = ""

    def fill(self, values: dict[str, str | list[str]]) -> Form:
        """Type into boxes, choose and tick; a box that the page does not have is an error."""
        for name, value in values.items():
            listed = value if isinstance(value, list) else [value]
            have = [box for box in self.boxes if box[0] == name]
            if (name in self.offers and not have) or isinstance(value, list):
                known = [offer for offer in self.offers.get(name, [])]
                assert name in self.offers or have, f"{name} is not in the form"
                assert not known or all(each in known or "" in known for each in listed), (name, listed, known)
                self.boxes = [box for box in self.boxes if box[0] != name] + [[name, each] for each in listed]
                continue
            assert have, f"{name} is not in the form"
            have[0][1] = listed[0]
        return self

    def one(self, name: str) -> str:
        """Return what stands in a box."""
        return next(value for key, value in self.boxes if key == name)


class Hand:
    """Somebody at a browser."""

    def __init__(self, client: Any) -> None:
        self.client = client

    def open(self, address: str) -> str:
        """Open a page, wherever it leads, and return it."""
        answer = self.client.get(address, follow_redirects=True)
        assert answer.status_code == 200, (address, answer.status_code, answer.text[-2000:])
        return answer.text

    def send(self, form: Form, more: Iterable[Sequence[str]] = ()) -> Any:
        """Send a form as it stands, with more names and values, and return the answer."""
        data = MultiDict([(name, value) for name, value in (*form.boxes, *more)])
        return self.client.post(form.action, data=data, follow_redirects=True)

    def press(self, page: str, button: str, values: dict[str, str | list[str]] | None = None, status: int = 200) -> str:
        """Fill in the last form of a page and press a button of it; ``button`` is what it sends as "do"."""
        form = Form(page).fill(values or {})
        answer = self.send(form, [["do", button]] if button else [])
        assert answer.status_code == status, (form.action, answer.status_code, words_of(answer.text))
        return answer.text


def states(page: str) -> dict[str, str]:
    """Return the state of each first step."""
    return dict(re.findall(r'<li id="(\w+)" class="is-(\w+)"', page))


def words_of(page: str) -> str:
    """Return a page's words, for a message."""
    main = page[page.find("<main") :]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", main))[:3000]
