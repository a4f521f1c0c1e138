"""Forms for records of the centre's files: what was typed, the values of a file, and each fault at its field.

A form has no script. A record is judged by the reader of files and never here: what is no number stays text, for the
schema to refuse. A short list of numbers is typed as lines, one row a line.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from tripplan.record import Location
from tripplan.web.request_form import (
    TICKED,
    Field,
    Part,
    Words,
    _number,
    _plain_words,
    _put,
    _too_long,
    number_text,
)

DAYS_OF_WEEK: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
ALWAYS: Final = "always"
NONE: Final = "none"
Errors = Mapping[str, tuple[tuple[str, str], ...]]  # by name of a box: what it is called, and a sentence


@dataclass(frozen=True)
class Box(Field):
    """A field of a form for a record; ``kind`` says how it is typed and what stands in the file.

    Kinds: line, text, number, whole, clock, day, tick, choice, several (ticks), lines, numbers, days, open (hours of
    the week), table (``columns``: each a key and what stands before it), constants.
    """

    needed: bool = False
    choices: Mapping[str, str] = field(default_factory=dict)
    columns: tuple[tuple[str, str], ...] = ()
    rows: int = 2
    or_none: bool = False  # of a table: an empty list says something else than no list, and is typed as "none"
    more: bool = False  # in a row: opens on demand


@dataclass(frozen=True)
class Step:
    """A part of a form with a head of its own: some fields, then some kinds of row."""

    title: str
    why: str
    boxes: tuple[Box, ...] = ()
    tables: Mapping[str, Part] = field(default_factory=dict)
    more: tuple[str, ...] = ()  # keys of boxes that open on demand
    more_words: str = "More"


def whole_of(words: str, steps: Sequence[Step]) -> Part:
    """Return a form as one part: every field and every kind of row."""
    tables = {key: part for step in steps for key, part in step.tables.items()}
    return Part(words, tuple(box for step in steps for box in step.boxes), tables)


# ---- from values to words ----


def words_of(values: Mapping[str, Any], part: Part) -> Words:
    """Return the form filled with the values of a file."""
    words = Words()
    for each in part.fields:
        value: Any = values
        for key in each.key.split("."):
            value = value.get(key) if isinstance(value, Mapping) else None
        assert isinstance(each, Box)
        _put(words, each.key, _texts(value, each))
    for key, sub in part.tables.items():
        rows = values.get(key)
        rows = rows if isinstance(rows, list | tuple) else ()
        words.tables[key] = [words_of(row, sub) for row in rows if isinstance(row, Mapping)]
    return words


def _texts(value: Any, box: Box) -> tuple[str, ...]:
    if value is None or value is False:
        return ()
    if value is True:
        return (TICKED,)
    if box.kind == "several" and isinstance(value, list | tuple):
        return tuple(_text(each) for each in value)
    if box.or_none and isinstance(value, list | tuple) and not value:
        return (NONE,)
    if box.kind == "table" and isinstance(value, list | tuple):
        return ("\n".join(_row_text(row, box) for row in value),)
    if box.kind == "constants" and isinstance(value, Mapping):
        return ("\n".join(f"{name} {' '.join(map(_text, _listed(each)))}" for name, each in value.items()),)
    if box.kind == "open" and isinstance(value, list | tuple):
        return ("\n".join(_hours_text(row) for row in value),)
    if isinstance(value, list | tuple):
        return (("\n" if box.kind == "lines" else " ").join(map(_text, value)),)
    return (_text(value),)


def _listed(value: Any) -> Sequence[Any]:
    return value if isinstance(value, list | tuple) else (value,)


def _text(value: Any) -> str:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return number_text(value)
    return str(value)


def _row_text(row: Any, box: Box) -> str:
    if not isinstance(row, Mapping):
        return _text(row)
    return "".join(f"{before}{_text(row[key])}" for key, before in box.columns if key in row).strip()


def _hours_text(row: Any) -> str:
    if not isinstance(row, Mapping):
        return _text(row)
    days = " ".join(map(_text, _listed(row.get("days", ()))))
    return f"{days} {_text(row.get('opens', ''))} to {_text(row.get('closes', ''))}".strip()


# ---- from words to values ----


def values_of(words: Words, part: Part, found: list[tuple[Location, str]], at: Location = ()) -> dict[str, Any]:
    """Return the values as a file would hold them; what cannot be read as a value at all is added to ``found``."""
    values: dict[str, Any] = {}
    for each in part.fields:
        if not words.many(each.key):
            continue
        assert isinstance(each, Box)
        where = (*at, *each.key.split("."))
        try:
            value = _value(words, each)
        except ValueError as error:
            found.append((where, str(error)))
            continue
        inner = values
        *path, last = each.key.split(".")
        for key in path:
            inner = inner.setdefault(key, {})
        inner[last] = value
    for key, sub in part.tables.items():
        rows = [row for row in words.rows(key) if not row.out]
        if rows:
            values[key] = [values_of(row, sub, found, (*at, key, number)) for number, row in enumerate(rows)]
    return values


def _value(words: Words, box: Box) -> Any:
    text = words.one(box.key).replace("\r\n", "\n")
    lines = [line.strip() for line in text.split("\n") if line.strip()]
    if box.kind == "tick":
        return text == TICKED
    if box.kind == "several":
        return list(words.many(box.key))
    if box.kind in ("number", "whole"):
        return _number(text)
    if box.kind == "clock":
        return _clock(text)
    if box.kind == "day":
        return _day(text)
    if box.kind == "lines":
        return lines
    if box.kind == "days":
        return [_day(each) for each in re.split(r"[\s,;]+", text) if each]
    if box.kind == "numbers":
        return [_number(each) for each in re.split(r"[\s;]+|,(?=\s)", text) if each]
    if box.kind == "open":
        return ALWAYS if text.casefold() == ALWAYS else [_hours(line, n) for n, line in enumerate(lines, start=1)]
    if box.or_none and text.casefold() == NONE:
        return []
    if box.kind == "table":
        return [_row(line, box, n) for n, line in enumerate(lines, start=1)]
    if box.kind == "constants":
        return _constants(lines)
    return text


def _day(text: str) -> date | str:
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise ValueError(f"{text} is not a day of the calendar") from None
    return text


def _clock(text: str) -> str:
    return text.zfill(5) if re.fullmatch(r"[0-9]:[0-9]{2}", text) else text


_BETWEEN: Final = re.compile(r"[\s;°=]+|[,:](?=\s|$)")
_FILLERS: Final = frozenset({"to", "kn", "km", "deg", "degrees", "h", "m", "min", "toward", "towards", "-", "–", "up"})


def _parts(line: str) -> list[str]:
    """Return the words of a line of numbers: what stands between them for the reader alone is left away."""
    apart = re.sub(r"(?<=[0-9])[-–](?=[0-9])", " ", line)
    return [each for each in _BETWEEN.split(apart) if each and each.casefold() not in _FILLERS]


def _row(line: str, box: Box, number: int) -> dict[str, Any]:
    season = any(key == "first" for key, _ in box.columns)
    given = _BETWEEN.split(line) if season else _parts(line)
    given = [each for each in given if each and each.casefold() not in _FILLERS]
    if not given or len(given) > len(box.columns):
        raise ValueError(f'line {number} is "{line[:60]}"; {box.hint}')
    try:
        return {key: each if season else _number(each) for (key, _), each in zip(box.columns, given, strict=False)}
    except ValueError as error:
        raise ValueError(f"line {number}: {error}") from None


_DAY: Final = rf"(?:{'|'.join(DAYS_OF_WEEK)})"
_DAY_TO_DAY: Final = re.compile(rf"\b({_DAY})\s*(?:[-–]|\bto\b)\s*(?={_DAY}\b)", re.IGNORECASE)


def _hours(line: str, number: int) -> dict[str, Any]:
    joined = _DAY_TO_DAY.sub(r"\1-", line)  # "mon to fri" is five days, and not two
    words = [each for each in re.split(r"[\s,;]+|(?<=[0-9])[-–](?=[0-9])", joined) if each]
    clocks = [_clock(each) for each in words if re.fullmatch(r"[0-9]{1,2}:[0-9]{2}", each)]
    days: list[str] = []
    for each in (word.casefold() for word in words if word[0].isalpha() and word.casefold() != "to"):
        first, _, last = each.partition("-")
        if first not in DAYS_OF_WEEK or (last and last not in DAYS_OF_WEEK):
            raise ValueError(f'line {number}: "{each}" is no day; write {", ".join(DAYS_OF_WEEK)}, or mon-fri')
        start = DAYS_OF_WEEK.index(first)
        count = (DAYS_OF_WEEK.index(last) - start) % 7 + 1 if last else 1
        days += [DAYS_OF_WEEK[(start + n) % 7] for n in range(count)]
    known = len(clocks) + sum(word[0].isalpha() or word in "-–" for word in words)
    if len(clocks) != 2 or known != len(words):
        raise ValueError(f'line {number} is "{line[:60]}"; write it like "mon-fri 08:00 to 22:00", or "always" alone')
    return {**({"days": days} if days else {}), "opens": clocks[0], "closes": clocks[1]}


def _constants(lines: Iterable[str]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for number, line in enumerate(lines, start=1):
        name, *numbers = _BETWEEN.split(line)
        if name in made:
            raise ValueError(f"line {number}: {name} stands twice; give it once")
        try:
            made[name] = [_number(each) for each in numbers if each]
        except ValueError as error:
            raise ValueError(f"line {number}: {error}") from None
    return made


# ---- faults at their fields ----


def errors_at(words: Words, whole: Part, told: Iterable[tuple[Location, str]]) -> Errors:
    """Return what is wrong by the name of the box it belongs to: each time what the box is called, and a sentence."""
    errors: dict[str, tuple[tuple[str, str], ...]] = {}
    for where, sentence in told:
        box, label = box_of(words, whole, where)
        said = (label, f"{_worded(sentence, whole).rstrip('.')}.")
        if said not in errors.get(box, ()):
            errors[box] = (*errors.get(box, ()), said)
    return errors


def in_page_order(errors: Errors, steps: Sequence[Step]) -> Errors:
    """Return errors in the order in which their boxes stand on the page."""
    keys = [key for step in steps for key in (*step.tables, *(box.key for box in step.boxes))]
    place = {key: number for number, key in enumerate(keys)}

    def where(box: str) -> int:
        return place.get(box, place.get(box.split(".")[0], len(place)))

    return {box: errors[box] for box in sorted(errors, key=where)}


def too_long(words: Words, whole: Part) -> list[tuple[Location, str]]:
    """Return a sentence for each list of rows that is longer than a form can carry."""
    return list(_too_long(words, whole, ()))


def box_of(words: Words, whole: Part, where: Location) -> tuple[str, str]:
    """Return the name of the box that a place in the values belongs to, and what it is called."""
    part, at, row, label = whole, "", words, ""
    left = list(where)
    while left and str(left[0]) in part.tables:
        key = str(left.pop(0))
        rows = [(number, each) for number, each in enumerate(row.rows(key)) if not each.out]
        chosen = left.pop(0) if left else None
        if not isinstance(chosen, int) or chosen >= len(rows):
            return f"{at}{key}", part.tables[key].words.capitalize()
        number, row = rows[chosen]
        part, at = part.tables[key], f"{at}{key}.{number}."
        name = f" ({row.one('name')})" if row.one("name") else ""
        label = f"{label}{part.words.capitalize()} {number + 1}{name}, "
    keys = {each.key: each for each in part.fields}
    dotted = [str(each) for each in left]
    tries = [".".join(dotted[:length]) for length in range(len(dotted), 0, -1)]
    found = next((key for key in tries if key in keys), None) or next(
        (key for key in keys if dotted and key.startswith(f"{dotted[0]}.")), None
    )
    if found is None:
        return at.removesuffix(".") or "form", label.removesuffix(", ") or "The form"
    named = keys[found].label
    return f"{at}{found}", f"{label}{named[0].lower() + named[1:] if label else named}"


# The reader of files speaks of keys, quotes and braces; a form has boxes and ticks.
_IN_A_FORM: Final = (
    (r", in quotes, like", ", like"),
    (r"is missing; give (?:a value|.* in braces, .*)$", "is missing"),
    (r"; set casualty = true where it can be done", "; tick it at the way where it can be done"),
    (r"\bis not_used\b", "is not used"),
    (r"is given, but casualty is not true here", "is given, but the tick for bringing out a casualty is off"),
    (r"give station, or none_because with the reason why there is no tide here",
     "choose one, or say why there is no tide here"),
    (r"(?:add another, or )?leave out \[alternative_exit\]", "add another way out, or leave this empty"),
    (r"which is not the name of an entry", "which is not the name of a way in or out"),
    (r'"mon", "tue"', "mon, tue"),
)  # fmt: skip


def _worded(sentence: str, whole: Part) -> str:
    """Return a sentence about a file as one about the form: keys become what their boxes are called."""
    said = _plain_words(sentence)
    for pattern, words in _IN_A_FORM:
        said = re.sub(pattern, words, said)
    for key, label in _labels(whole):
        said = re.sub(rf"(?<![\w.]){re.escape(key)}(?![\w])", f"“{label}”", said)
    return said


def _labels(part: Part) -> Iterator[tuple[str, str]]:
    for each in part.fields:
        for key in (each.key, each.key.rsplit(".", 1)[-1]):
            if "_" in key or "." in key:
                yield key, each.label
    for sub in part.tables.values():
        yield from _labels(sub)


def differences(one: Words, other: Words, whole: Part) -> list[tuple[str, str, str]]:
    """Return every field in which two forms differ: what it is called, and what stands in each; empty for nothing."""
    left, right = dict(_told(one, whole, "")), dict(_told(other, whole, ""))
    labels = dict.fromkeys([*left, *right])
    rows = [(label, left.get(label, ""), right.get(label, "")) for label in labels]
    return [row for row in rows if row[1] != row[2]]


def _told(words: Words, part: Part, before: str) -> Iterator[tuple[str, str]]:
    for each in part.fields:
        yield f"{before}{each.label}", ", ".join(words.many(each.key)).replace("\r\n", "\n")
    for key, sub in part.tables.items():
        for number, row in enumerate(each for each in words.rows(key) if not each.out):
            yield from _told(row, sub, f"{before}{sub.words.capitalize()} {number + 1}, ")


__all__ = [
    "Box",
    "Errors",
    "Part",
    "Step",
    "Words",
    "box_of",
    "differences",
    "errors_at",
    "in_page_order",
    "too_long",
    "values_of",
    "whole_of",
    "words_of",
]
