"""How a file of ours is judged: TOML read with line numbers, checked against a schema, faults as file:line sentences.

One bad value never hides the next: every fault of a file is reported at once, and a file with a fault is not used.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from datetime import time
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError

from tripplan.errors import BadRecord, Fault

Location = tuple[str | int, ...]
Kind = TypeVar("Kind", bound="Record")
LARGEST_FILE_BYTES = 2_000_000  # a hand-written file is a few thousand bytes; more is a mistake or an attack


class Record(BaseModel):
    """Base of every schema: nothing unknown is let through, no type is guessed, nothing changes once read."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, str_strip_whitespace=True)


def _clock_time(value: object) -> time:
    """Read "HH:MM", as printed on a gate or a timetable."""
    if isinstance(value, time):
        return value
    match = re.fullmatch(r"([01]\d|2[0-3]):([0-5]\d)", value) if isinstance(value, str) else None
    if match is None:
        raise ValueError('a time of day is written "HH:MM" in quotes, from "00:00" to "23:59"')
    return time(int(match[1]), int(match[2]))


ClockTime = Annotated[time, BeforeValidator(_clock_time)]


class TomlFile:
    """A TOML file as plain values (lists as tuples), with the line on which each key stands."""

    def __init__(self, path: Path, text: str) -> None:
        """Parse the text; raises BadRecord where it is not TOML."""
        self.path = path
        try:
            self.data: dict[str, Any] = _frozen(tomllib.loads(text))
        except tomllib.TOMLDecodeError as error:
            found = re.search(r"at line (\d+)", str(error))
            line = int(found[1]) if found else text.count("\n") + 1
            what = re.sub(r" \(at .*\)$", "", str(error))
            raise BadRecord((Fault(str(path), line, f"this is not valid TOML: {what}"),)) from None
        except RecursionError:
            raise BadRecord((Fault(str(path), 1, "this is not valid TOML: nested too deeply"),)) from None
        self.lines = _line_of_each_key(text)

    def line(self, location: Location) -> int:
        """Return the line of a key, or of the nearest thing around it."""
        while location:
            if location in self.lines:
                return self.lines[location]
            location = location[:-1]
        return 1

    def fault(self, location: Location, message: str) -> Fault:
        """Return a fault of this file at a key."""
        return Fault(str(self.path), self.line(location), message)


def read_toml(path: Path) -> TomlFile:
    """Read a TOML file.  Raises BadRecord when it cannot be read or is not TOML."""
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise BadRecord((Fault(str(path), 1, f"the file is larger than {LARGEST_FILE_BYTES:,} bytes"),))
        raw = path.read_bytes()
    except OSError as error:
        raise BadRecord((Fault(str(path), 1, f"the file cannot be read: {error.strerror or error}"),)) from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise BadRecord((Fault(str(path), line, "the file is not UTF-8 text; save it as UTF-8"),)) from None
    return TomlFile(path, text.replace("\r\n", "\n"))


def judge(file: TomlFile, model: type[Kind], data: Any = None, at: Location = ()) -> Kind:
    """Check the values of a file against a schema and return the record.

    data, at -- a part of the file and where it stands, when the whole is not meant

    Raises BadRecord with every fault found.
    """
    try:
        return model.model_validate(file.data if data is None else data)
    except ValidationError as error:
        faults = {file.fault(at + _clean(tuple(item["loc"])), _sentence(dict(item), model)) for item in error.errors()}
        raise BadRecord(tuple(faults)) from None


def describe_fault(error: ValidationError, model: type[BaseModel]) -> list[str]:
    """Return the sentences of a schema error for a form, where there is no file and no line."""
    return [_sentence(dict(item), model) for item in error.errors()]


def _frozen(value: Any) -> Any:
    """Return the same value with tuples for lists, so that a record cannot change once read."""
    if isinstance(value, dict):
        return {key: _frozen(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return tuple(_frozen(inner) for inner in value)
    return value


def _clean(location: Location) -> Location:
    """Drop the parts of a location that the schema adds and the file does not have (the name of a union's branch)."""
    return tuple(part for part in location if not (isinstance(part, str) and re.search(r"[\[\(\]]", part)))


_KEY = r'(?:"[^"]*"|\'[^\']*\'|[A-Za-z0-9_-]+)'
_HEADER = re.compile(rf"^\s*(\[\[?)\s*({_KEY}(?:\s*\.\s*{_KEY})*)\s*\]\]?\s*(?:#.*)?$")
_ASSIGN = re.compile(rf"^\s*({_KEY}(?:\s*\.\s*{_KEY})*)\s*=")


def _parts(dotted: str) -> list[str]:
    return [part.strip().strip("\"'") for part in re.findall(_KEY, dotted)]


def _line_of_each_key(text: str) -> dict[Location, int]:
    """Map each table and key to its line; list items inside a value share the line of the value's key."""
    lines: dict[Location, int] = {}
    counters: dict[Location, int] = {}

    def inside(parts: list[str]) -> Location:
        """Return where a dotted name points, stepping into the newest item of each list of tables on the way."""
        where: Location = ()
        for part in parts:
            where = (*where, part)
            if where in counters:
                where = (*where, counters[where])
        return where

    table: Location = ()
    fence = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if fence:
            if fence in line:
                fence = ""
            continue
        if header := _HEADER.match(line):
            parts = _parts(header[2])
            if header[1] == "[[":
                plain = (*inside(parts[:-1]), parts[-1])
                counters[plain] = counters.get(plain, -1) + 1
                for inner in [key for key in counters if key[: len(plain)] == plain and key != plain]:
                    del counters[inner]
                lines.setdefault(plain, number)
            table = inside(parts)
            lines[table] = number
        elif assign := _ASSIGN.match(line):
            where = (*table, *_parts(assign[1]))
            lines.setdefault(where, number)
            rest = line[assign.end() :]
            for mark in ('"""', "'''"):
                if rest.count(mark) == 1:
                    fence = mark
    return lines


def _fields_at(model: Any, location: Location) -> dict[str, Any]:
    """Return the fields of the schema found by walking a location from a model; empty where there is none."""
    current: Any = model
    for part in location:
        current = _step(current, part)
        if current is None:
            return {}
    found = _models_in(current)
    return dict(found[0].model_fields) if found else {}


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [inner for argument in get_args(annotation) for inner in _models_in(argument)]


def _step(annotation: Any, part: str | int) -> Any:
    origin = get_origin(annotation)
    if origin is Annotated:
        return _step(get_args(annotation)[0], part)
    if origin in (Union, UnionType):
        for argument in get_args(annotation):
            if (stepped := _step(argument, part)) is not None:
                return stepped
        return None
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        field = annotation.model_fields.get(str(part))
        return field.annotation if field else None
    arguments = get_args(annotation)
    if origin is dict and arguments:
        return arguments[1]
    if origin in (tuple, list) and arguments:
        return arguments[0]
    return None


def _said(value: Any) -> str:
    """Show a value as the writer of the file would recognise it, cut to a line."""
    if isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, tuple):
        text = "[" + ", ".join(_said(inner) for inner in value) + "]"
    elif isinstance(value, dict):
        text = "a table"
    else:
        text = str(value)
    text = text.replace("\n", " ").replace("\r", " ")
    return text if len(text) <= 60 else text[:57] + "..."


_TYPE_WORDS = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "date_type": "a date without quotes, like 2027-06-12",
    "tuple_type": "a list in square brackets",
    "list_type": "a list in square brackets",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "int_from_float": "a whole number",
    "finite_number": "a finite number",
    "time_type": 'a time of day "HH:MM" in quotes',
}


def _sentence(item: dict[str, Any], model: type[BaseModel]) -> str:
    """Turn one schema error into a sentence: what was given, what is accepted."""
    location = _clean(tuple(item["loc"]))
    name = _dotted(location)
    kind, given, context = item["type"], item.get("input"), item.get("ctx", {})
    key = str(location[-1]) if location else ""
    fields = _fields_at(model, location[:-1])
    description = (fields[key].description or "") if key in fields else ""
    wanted = f" ({description})" if description else ""
    if kind == "extra_forbidden":
        near = difflib.get_close_matches(key, fields, n=1, cutoff=0.6)
        hint = f'did you mean "{near[0]}"?' if near else "accepted here: " + ", ".join(sorted(fields))
        return f"{name} is not a known key; {hint}"
    if kind == "missing":
        return f"{name} is missing; give {description or 'a value'}"
    if kind in ("greater_than_equal", "greater_than", "less_than_equal", "less_than"):
        words = {"ge": "at least", "gt": "more than", "le": "at most", "lt": "less than"}
        bound = ", ".join(f"{words[k]} {v:g}" for k, v in context.items() if k in words)
        return f"{name} is {_said(given)}; it must be {bound}{wanted}"
    if kind in ("literal_error", "enum"):
        return f"{name} is {_said(given)}; accepted: {context.get('expected', '')}{wanted}"
    if kind == "value_error":
        said = "" if isinstance(given, dict) else f" is {_said(given)}"
        return f"{name}{said}: {context['error']}" if name else str(context["error"])
    if kind in _TYPE_WORDS:
        return f"{name} is {_said(given)}; it must be {_TYPE_WORDS[kind]}{wanted}"
    if kind in ("too_short", "string_too_short"):
        return f"{name} is too short or empty{wanted}"
    if kind in ("too_long", "string_too_long"):
        return f"{name} is too long{wanted}"
    if kind == "string_pattern_mismatch":
        return f"{name} is {_said(given)}; it does not have the accepted form{wanted}"
    return f"{name} is {_said(given)}: {str(item['msg']).lower()}{wanted}"


def _dotted(location: Location) -> str:
    """Name a place in a file as its writer would: contacts[2].number, counted from 1."""
    text = ""
    for part in location:
        text += f"[{part + 1}]" if isinstance(part, int) else (f".{part}" if text else part)
    return text or "the file"
