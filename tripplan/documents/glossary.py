"""Words of the trade in plain sentences, and the mark on a page where each is used first.

The mark is a link to the page of words, so that it works without a script, by hand, by keyboard and by touch; the
sentence itself is its title. On paper it reads as plain text.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache, lru_cache
from html import escape
from pathlib import Path
from typing import Any

from tripplan.data_files import data_dir
from tripplan.errors import OutOfRange

FILE = "glossary.toml"  # in templates/
AT = "/glossary#"  # the page of words
PAGES_KEPT = 16  # most of a page stays as it is from one look to the next
LONGEST_LETTERS = 240  # of an explanation: it is read standing

# Where a link would stand in another one, in a control, in code or in a picture, or where a word is a name or a title.
_NOT_IN = "a|button|label|legend|select|textarea|summary|script|style|svg|title|code|pre|h[1-3]|caption|bdi"
_PASSED_OVER = re.compile(rf"<({_NOT_IN})\b[^>]*>.*?</\1\s*>|<!--.*?-->|<[^>]*>", re.DOTALL)


@dataclass(frozen=True)
class Word:
    """One word and what it means."""

    key: str  # in the address: "slack-water"
    term: str  # as it stands in the list
    forms: tuple[str, ...]  # as it stands on pages, lower case
    says: str  # one to three short sentences
    where: str  # where a reader meets it
    source: str = ""  # a key of sources.py or of the rule book; "": a plain word


@cache
def glossary() -> Mapping[str, Word]:
    """Return every word by its key, in order of the alphabet.  Raises OutOfRange for an entry that cannot be used."""
    return read_glossary(data_dir("templates") / FILE)


def read_glossary(path: Path) -> Mapping[str, Word]:
    """Return the words of a file by key, in order of the alphabet.

    Raises OutOfRange for an entry without one of its parts, or with a key or a form that another has.
    """
    found: dict[str, Word] = {}
    forms: dict[str, str] = {}
    for number, entry in enumerate(tomllib.loads(path.read_text(encoding="utf-8"))["words"], start=1):
        word = _word(entry, f"{path.name}, word {number}")
        for form in word.forms:
            if form in forms:
                raise OutOfRange(f'{path.name}: "{form}" is a form of {forms[form]} and of {word.key}; give it to one')
            forms[form] = word.key
        if word.key in found:
            raise OutOfRange(f'{path.name}: two words have the key "{word.key}"; give one of them another')
        found[word.key] = word
    return dict(sorted(found.items(), key=lambda pair: pair[1].term.lower()))


def _word(entry: Mapping[str, Any], where: str) -> Word:
    known = {field.name for field in fields(Word)}
    if odd := set(entry) - known:
        raise OutOfRange(f"{where}: {', '.join(sorted(odd))} is not known; accepted: {', '.join(sorted(known))}")
    if lacks := [name for name in ("key", "term", "forms", "says", "where") if not entry.get(name)]:
        raise OutOfRange(f"{where}: {', '.join(lacks)} must be there")
    return Word(**{**entry, "forms": tuple(form.lower() for form in entry["forms"])})


@lru_cache(maxsize=PAGES_KEPT)
def marked(page: str, at: str = AT) -> str:
    """Return a piece of HTML in which the first use of each word links to what it means.

    at -- the address of the list, to which the key of the word is added

    Nothing inside a link, a control, a heading, a picture, code or somebody's name is touched.

    >>> marked("<p>Only at slack water, and at slack water alone.</p>")[:48]
    '<p>Only at <a class="term" href="/glossary#slack'
    """
    parts, done = [], 0
    for start, end, word in _first_uses(page):
        link = f'<a class="term" href="{at}{word.key}" title="{escape(word.says)}">{page[start:end]}</a>'
        parts += [page[done:start], link]
        done = end
    return "".join([*parts, page[done:]])


def used_in(page: str) -> tuple[Word, ...]:
    """Return the words that a piece of HTML marks, in order of the alphabet."""
    return tuple(sorted({word for _, _, word in _first_uses(page)}, key=lambda word: word.term.lower()))


def _first_uses(page: str) -> list[tuple[int, int, Word]]:
    """Return where each word stands first, from and to which letter, in the order in which they are read."""
    book = glossary()
    lower = page.lower()
    if len(lower) != len(page):  # a few letters grow when they are made small
        lower = "".join(small if len(small := letter.lower()) == 1 else letter for letter in page)
    spans = [found.span() for found in _PASSED_OVER.finditer(page)]
    starts = [start for start, _ in spans]
    every = [form for word in book.values() for form in word.forms]
    links: list[tuple[int, int, Word]] = []
    for word in book.values():
        uses = (_first_use(lower, form, spans, starts, every) for form in word.forms)
        if first := min((use for use in uses if use is not None), default=None):
            links.append((*first, word))
    return sorted(links, key=lambda link: link[:2])


def _first_use(
    lower: str, form: str, spans: Sequence[tuple[int, int]], starts: Sequence[int], every: Sequence[str]
) -> tuple[int, int] | None:
    """Return where a form stands first as a word of its own, outside of the spans and of every longer form."""
    longer = [(other.find(form), other) for other in every if form in other and form != other]
    start = lower.find(form)
    while start >= 0:
        end = start + len(form)
        place = bisect_right(starts, start) - 1
        if place >= 0 and start < spans[place][1]:
            start = lower.find(form, spans[place][1])
            continue
        whole = not _joins(lower[start - 1 : start]) and not _joins(lower[end : end + 1])
        if whole and not any(lower.startswith(other, start - before) for before, other in longer if start >= before):
            return start, end
        start = lower.find(form, end)
    return None


def _joins(sign: str) -> bool:
    return sign.isalnum() or sign in ("-", "_") if sign else False
