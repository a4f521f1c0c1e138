"""How a file of ours is judged: TOML read with line numbers, checked against a schema, faults as file:line sentences.

One bad value never hides the next: every fault of a file is reported at once, and a file with a fault is not used.
A record is written back as TOML here too, so that reading and writing stay each other's inverse.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, time
from enum import Enum
from functools import cache
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    ValidationError,
    ValidationInfo,
    create_model,
    field_validator,
    model_validator,
)  # fmt: skip

from tripplan.errors import BadRecord, Fault
from tripplan.units import UNIT_WORDS

Location = tuple[str | int, ...]
Misfit = tuple[Location, str]  # a key, and what follows its name in the sentence: "is 12, deeper than deepest_m 10"
Kind = TypeVar("Kind", bound="Record")
LARGEST_FILE_BYTES = 2_000_000  # a hand-written file is a few thousand bytes; more is a mistake or an attack


class Misfits(ValueError):
    """Values of one record that are each possible but do not fit together; ``found`` holds every one with its key."""

    def __init__(self, found: tuple[Misfit, ...]) -> None:
        self.found = found
        super().__init__("; ".join(f"{_dotted(where)} {what}" for where, what in found))


class Record(BaseModel):
    """Base of every schema: nothing unknown is let through, no type is guessed, nothing changes once read."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, str_strip_whitespace=True, allow_inf_nan=False
    )  # fmt: skip

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield what does not fit together in a record.

        parts -- the values of the fields that are right by themselves; a faulty field is absent, so that one fault
                 never hides a second nor causes a false one
        """
        yield from ()

    @field_validator("*", mode="before")
    @classmethod
    def _word_of_an_enum(cls, value: Any, info: ValidationInfo) -> Any:
        """A file holds the word; the schema wants the member."""
        field = cls.model_fields.get(info.field_name or "")
        return _with_members(field.annotation, value) if field else value

    @model_validator(mode="after")
    def _fits_together(self: Kind) -> Kind:
        found = tuple(self.misfits({name: getattr(self, name) for name in type(self).model_fields}))
        if found:
            raise Misfits(found)
        return self


def _clock_time(value: object) -> time:
    """Read "HH:MM", as printed on a gate or a timetable."""
    if isinstance(value, time) and not (value.second or value.microsecond):
        return value
    match = re.fullmatch(r"([01][0-9]|2[0-3]):([0-5][0-9])", value) if isinstance(value, str) else None
    if match is None:
        raise ValueError('a time of day is written "HH:MM" in quotes, from "00:00" to "23:59"')
    return time(int(match[1]), int(match[2]))


def _phone(value: str) -> str:
    if not re.fullmatch(r"[+(]?[0-9][0-9 ()/.-]{1,24}", value) or sum(c.isdigit() for c in value) < 3:
        raise ValueError("not a telephone number; give digits, spaces, and + in front of a country code")
    if value.startswith("+") and re.search(r"\(0\)", value):
        raise ValueError("(0) is not dialled after a country code; leave it out")
    if sum(c.isdigit() for c in value) > 15 or re.search(r" /|/ ", value):
        raise ValueError("more than one telephone number (15 digits at most); give others as further contacts")
    return value


def _one_line(value: str) -> str:
    if not value.isprintable():
        raise ValueError("a name is one line of printable text")
    return value


ClockTime = Annotated[time, BeforeValidator(_clock_time)]
PhoneNumber = Annotated[str, AfterValidator(_phone)]
OneLine = Annotated[str, AfterValidator(_one_line)]


# ---- a file and its lines ----


# The parser's time grows with the square of the parts of a dotted key; no key of ours has more than three.
_ENDLESS_KEY = re.compile(r"""(?<![\w"'.-])(?:(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){100}""")


class TomlFile:
    """A TOML file as plain values (lists as tuples), with the line on which each key and each item of a list stands."""

    def __init__(self, path: Path, text: str) -> None:
        """Parse the text; raises BadRecord where it is not TOML."""
        self.path = path
        if endless := _ENDLESS_KEY.search(text):
            line = text.count("\n", 0, endless.start()) + 1
            raise BadRecord((Fault(str(path), line, "this is not valid TOML: nested too deeply"),))
        try:
            self.data: dict[str, Any] = _frozen(tomllib.loads(text))
            self.lines = _Lines(text).found
        except tomllib.TOMLDecodeError as error:
            raise BadRecord((_syntax_fault(path, text, str(error)),)) from None
        except RecursionError:
            raise BadRecord((Fault(str(path), 1, "this is not valid TOML: nested too deeply"),)) from None
        except ValueError:  # the one other complaint of the parser: int() refuses thousands of digits
            raise BadRecord((Fault(str(path), 1, "this is not valid TOML: a number has too many digits"),)) from None

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


def read_text(path: Path) -> str:
    """Return the text of a hand-written file, its lines ended by line feeds.

    Raises BadRecord where it cannot be read, is too large, or is not UTF-8.
    """

    def refused(why: str, line: int = 1) -> BadRecord:
        return BadRecord((Fault(str(path), line, why),))

    try:
        if path.is_dir():
            raise refused("this is a folder, not a file")
        if path.exists() and not path.is_file():  # a pipe or a device would never end
            raise refused("this is not an ordinary file")
        with path.open("rb") as stream:
            raw = stream.read(LARGEST_FILE_BYTES + 1)
    except BadRecord:
        raise
    except FileNotFoundError:
        raise refused("there is no such file") from None
    except OSError as error:
        raise refused(f"the file cannot be read: {error.strerror or error}") from None
    except ValueError:  # a name with a NUL in it
        raise refused("no file can have this name") from None
    if len(raw) > LARGEST_FILE_BYTES:
        raise refused(f"the file is larger than {LARGEST_FILE_BYTES:,} bytes")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise refused(
            "the file is not UTF-8 text; save it as UTF-8", raw[: error.start].count(b"\n") + 1
        ) from None  # fmt: skip
    return text.replace("\r\n", "\n")


def read_toml(path: Path) -> TomlFile:
    """Read a TOML file.  Raises BadRecord when it cannot be read or is not TOML."""
    return TomlFile(path, read_text(path))


_SYNTAX = (  # how the parser's complaint begins, and what the writer of the file should look for
    ("Cannot overwrite a value", "this key stands twice in the same table"),
    ("Duplicate inline table key", "a key stands twice between these braces"),
    ("Cannot declare", "this table stands twice; further ones of a list are written [[so]]"),
    ("Cannot redefine namespace", "this table stands twice"),
    ("Cannot mutate immutable namespace", "this adds to a table or list that was already closed"),
    ("Invalid date or datetime", "there is no such date or time"),
    (
        "Invalid value",
        "there is no value here; text goes in quotes, numbers have a decimal point, yes and no are true and false",
    ),
    (
        "Expected newline or end of document after a statement",
        "something follows the value; text and times go in quotes, numbers have a decimal point and no unit",
    ),
    ("Expected '=' after a key", 'a key is followed by "=" and its value'),
    (
        "Invalid statement",
        'a line is a [table], a [[list item]] or key = value, the key in plain letters; long text goes in """',
    ),
    (
        "Unclosed array",
        "a list in brackets ends too soon: text and times go in quotes, a comma stands between items, ] closes it",
    ),
    (
        "Unclosed inline table",
        "a table in braces ends too soon: text and times go in quotes, a comma stands between keys, } closes it",
    ),
    ("Unterminated string", "the quotes are not closed"),
    ("Expected \"'", "the quotes are not closed"),
    ("Illegal character '\\n'", "the quotes are not closed on this line"),
    ("Unescaped '\\' in a string", "a backslash in text is written twice"),
    ("Expected ']' at the end of a table", "a table's name is written [so] on one line"),
    ("Expected ']]' at the end of an array", "a list item's name is written [[so]] on one line"),
)


def _syntax_fault(path: Path, text: str, complaint: str) -> Fault:
    found = re.search(r"at line ([0-9]+)", complaint)
    line = int(found[1]) if found else max(1, text.rstrip().count("\n") + 1)
    plain = next((words for start, words in _SYNTAX if complaint.startswith(start)), "")
    shown = _plain(text.split("\n")[line - 1].strip())
    what = plain or _plain(re.sub(r" \(at .*\)$", "", complaint))
    return Fault(str(path), line, f"this is not valid TOML: {what}" + (f": {_cut(shown)}" if shown else ""))


def _frozen(value: Any) -> Any:
    """Return the same value with tuples for lists, so that a record cannot change once read."""
    if isinstance(value, dict):
        return {key: _frozen(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return tuple(_frozen(inner) for inner in value)
    return value


class _Lines:
    """Walks a text that the parser has accepted, and notes where each key, table and item of a list stands."""

    # a string ends at the first quotes that close it; three quotes may have one or two more inside the string
    _STRING = re.compile(
        r'"""(?:\\.|[^\\])*?"{3,5}' r"|'''.*?'{3,5}" r'|"(?:\\.|[^"\\\n])*"' r"|'[^'\n]*'",
        re.DOTALL,
    )
    _BARE = re.compile(r"[A-Za-z0-9_-]+")
    _BLANK = re.compile(r"[ \t]*")
    _BETWEEN = re.compile(r"(?:[ \t\n,]++|#[^\n]*+)*+")
    _SCALAR = re.compile(r"[^,\]}\n#]*")

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.ends = [found.start() for found in re.finditer("\n", text)]
        self.found: dict[Location, int] = {}
        self.newest: dict[Location, int] = {}  # number of the last item of each list of tables
        table: Location = ()
        self._pass(self._BETWEEN)
        while self.at < len(text):
            if text[self.at] == "[":
                table = self._header()
            else:
                self._assignment(table)
            self._pass(self._BETWEEN)

    def _pass(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        self.at = found.end() if found else self.at + 1  # the text was accepted before: there is always a match
        return found[0] if found else ""

    def _note(self, where: Location, newest: bool = False) -> None:
        line = bisect_right(self.ends, self.at - 1) + 1
        for length in range(1, len(where)):
            self.found.setdefault(where[:length], line)
        if newest:
            self.found[where] = line
        else:
            self.found.setdefault(where, line)

    def _name(self) -> tuple[str, ...]:
        """Read a dotted key and leave the position behind it."""
        parts: list[str] = []
        while True:
            self._pass(self._BLANK)
            if self.text[self.at] in "\"'":
                quoted = self._pass(self._STRING)
                parts.append(next(iter(tomllib.loads(f"{quoted} = 0"))))
            else:
                parts.append(self._pass(self._BARE))
            self._pass(self._BLANK)
            if self.text[self.at] != ".":
                return tuple(parts)
            self.at += 1

    def _header(self) -> Location:
        start = self.at
        is_item = self.text.startswith("[[", start)
        self.at += 2 if is_item else 1
        parts = self._name()
        end = self.at + (2 if is_item else 1)
        self.at = start
        where: Location = ()
        for number, part in enumerate(parts):
            where = (*where, part)
            if is_item and number == len(parts) - 1:
                self._note(where)
                self.newest[where] = self.newest.get(where, -1) + 1
            if where in self.newest:
                where = (*where, self.newest[where])
        self._note(where, newest=True)
        self.at = end
        return where

    def _assignment(self, table: Location) -> None:
        start = self.at
        where = (*table, *self._name())
        after, self.at = self.at, start
        self._note(where)
        self.at = after + 1  # the equals sign
        self._pass(self._BLANK)
        self._value(where)

    def _value(self, where: Location) -> None:
        opening = self.text[self.at]
        if opening in "\"'":
            self._pass(self._STRING)
        elif opening in "[{":
            self.at += 1
            count = 0
            self._pass(self._BETWEEN)
            while self.text[self.at] not in "]}":
                if opening == "{":
                    self._assignment(where)
                else:
                    self._note((*where, count))
                    self._value((*where, count))
                    count += 1
                self._pass(self._BETWEEN)
            self.at += 1
        else:
            self._pass(self._SCALAR)


# ---- judging ----


def judge(file: TomlFile, model: type[Kind], data: Any = None, at: Location = ()) -> Kind:
    """Check the values of a file against a schema and return the record.

    data, at -- a part of the file and where it stands, when the whole is not meant

    Raises BadRecord with every fault found.
    """
    given = file.data if data is None else data
    try:
        return model.model_validate(given)
    except ValidationError as error:
        said = _sentences(error, model, given)
        # A sentence names its key from the part judged; the writer of the file knows it from the whole.
        lead = f"{_dotted(at)}." if at else ""
        faults = {file.fault(at + where, f"{lead if where else ''}{sentence}") for where, sentence in said}
        raise BadRecord(tuple(faults)) from None


def describe_fault(error: ValidationError, model: type[BaseModel], data: Any = None) -> list[str]:
    """Return the sentences of a schema error for a form, where there is no file and no line.

    data -- what was judged, when it is at hand: then everything that does not fit together is named too
    """
    return [sentence for _, sentence in _sentences(error, model, data)]


def _sentences(error: ValidationError, model: type[BaseModel], data: Any) -> list[tuple[Location, str]]:
    """Return where and what for every fault, one sentence a place, in the order in which the schema names them."""
    places: dict[Location, list[dict[str, Any]]] = {}
    fits: list[Misfit] = []
    for raw in error.errors():
        item: dict[str, Any] = dict(raw)
        where = _in_file(tuple(item["loc"]), item["type"], data)
        if item["type"] == "too_short" and len(item["input"]) >= item["ctx"]["min_length"]:
            continue  # items are there, but faulty; they have their own sentences
        misfits = item.get("ctx", {}).get("error")
        if isinstance(misfits, Misfits):
            fits += [((*where, *inner), what) for inner, what in misfits.found]
        else:
            places.setdefault(where, []).append(item)
    if data is not None and issubclass(model, Record):
        fits = list(_misfits_within(model, data, ()))
    for where, items in list(places.items()):  # a key in another unit is not also a missing key
        if items[0]["type"] == "extra_forbidden" and (meant := _unit_hint(where, model)[0]):
            missing = (*where[:-1], meant)
            if missing in places and places[missing][0]["type"] == "missing":
                del places[missing]
    said = [(where, _plain(_sentence(where, items, model))) for where, items in places.items()]
    return said + [(where, _plain(f"{_dotted(where)} {what}")) for where, what in dict.fromkeys(fits)]


def _in_file(location: Location, kind: str, data: Any) -> Location:
    """Drop the parts of a location that the schema adds and the file does not have (the name of a union's branch)."""
    if data is None:
        return tuple(part for part in location if not (isinstance(part, str) and re.search(r"[\[\(\]]", part)))
    kept: list[str | int] = []
    current = data
    for number, part in enumerate(location):
        is_key = isinstance(current, dict) and part in current
        is_item = isinstance(current, tuple | list) and isinstance(part, int) and part < len(current)
        if is_key or is_item:
            current = current[part]
            kept.append(part)
        elif kind == "missing" and number == len(location) - 1:
            kept.append(part)
    return tuple(kept)


def _misfits_within(annotation: Any, value: Any, at: Location) -> Iterator[Misfit]:
    """Yield what does not fit together anywhere in a value, looking only at fields that are right by themselves."""
    model = _record_in(annotation)
    if isinstance(value, tuple | list):
        for number, inner in enumerate(value):
            yield from _misfits_within(_step(annotation, number), inner, (*at, number))
    elif isinstance(value, dict) and model is not None:
        parts = {}
        for name, field in model.model_fields.items():
            if name in value:
                yield from _misfits_within(field.annotation, value[name], (*at, name))
                try:
                    parts[name] = getattr(_alone(model, name).model_validate({name: value[name]}), name)
                except ValidationError:
                    continue
            elif not field.is_required():
                parts[name] = field.get_default(call_default_factory=True)
        for where, what in model.misfits(parts):
            yield (*at, *where), what
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _misfits_within(_step(annotation, key), inner, (*at, key))


@cache
def _alone(model: type[Record], name: str) -> type[Record]:
    """Return a schema that holds one field of a schema, to judge the field by itself."""
    field = model.model_fields[name]
    made: type[Record] = create_model(f"{model.__name__}_{name}", __base__=Record, **{name: (field.annotation, field)})  # type: ignore[call-overload]
    return made


# ---- writing ----


def toml_of(record: Record) -> str:
    """Return a record as the text of a TOML file that is judged as an equal record.

    Plain values stand first, then a [table] for each record within and [[tables]] for each list of records. A value
    that is the one taken where nothing is written is left out.
    """
    return "\n\n".join("\n".join(lines) for lines in _tables(record, ()) if lines) + "\n"


def _tables(record: Record, path: tuple[str, ...], header: str = "") -> Iterator[list[str]]:
    values = written_fields(record)
    inner = {name: value for name, value in values.items() if _has_tables(value)}
    plain = [f"{toml_key(name)} = {toml_value(value)}" for name, value in values.items() if name not in inner]
    yield [header, *plain] if header else plain
    for name, value in inner.items():
        where = (*path, name)
        dotted = ".".join(toml_key(part) for part in where)
        if isinstance(value, Record):
            yield from _tables(value, where, f"[{dotted}]")
        else:
            for item in value:
                yield from _tables(item, where, f"[[{dotted}]]")


def _has_tables(value: Any) -> bool:
    if isinstance(value, tuple):
        return bool(value) and all(isinstance(inner, Record) for inner in value)
    return isinstance(value, Record)


def written_fields(record: Record) -> dict[str, Any]:
    """Return the values of a record that are not those taken where nothing is written, by name."""
    return {
        name: getattr(record, name)
        for name, field in type(record).model_fields.items()
        if field.is_required() or getattr(record, name) != field.get_default(call_default_factory=True)
    }


def toml_value(value: Any) -> str:
    """Return a value on one line of TOML; a record becomes an inline table, a time of day "HH:MM"."""
    if isinstance(value, Record):
        return toml_value(written_fields(value))
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{toml_key(name)} = {toml_value(each)}" for name, each in value.items()) + " }"
    if isinstance(value, tuple | list):
        return "[" + ", ".join(toml_value(each) for each in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        offset = value.utcoffset()
        odd = offset is not None and offset.total_seconds() % 60  # TOML writes an offset in whole minutes
        return (value.astimezone(UTC) if odd else value).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, time):
        return f'"{value:%H:%M}"'
    if isinstance(value, str):
        return '"' + "".join(_toml_letter(letter) for letter in str(value)) + '"'
    return repr(value)


def toml_key(name: str) -> str:
    """Return a key as TOML writes it: in quotes where it holds more than plain letters, digits, "-" and "_"."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else toml_value(name)


def _toml_letter(letter: str) -> str:
    if letter in '"\\':
        return f"\\{letter}"
    if letter == "\n":
        return "\\n"
    if letter.isprintable():
        return letter
    return f"\\u{ord(letter):04x}" if ord(letter) < 0x10000 else f"\\U{ord(letter):08x}"


# ---- walking a schema ----


def _branches(annotation: Any) -> tuple[Any, ...]:
    """Return what a value may be: the sides of a union, with their annotations taken off."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return _branches(get_args(annotation)[0])
    if origin in (Union, UnionType):
        return tuple(inner for argument in get_args(annotation) for inner in _branches(argument))
    return (annotation,)


def _record_in(annotation: Any) -> type[Record] | None:
    for branch in _branches(annotation):
        if isinstance(branch, type) and issubclass(branch, Record):
            return branch
    return None


def _enum_in(annotation: Any) -> type[Enum] | None:
    for branch in _branches(annotation):
        if isinstance(branch, type) and issubclass(branch, Enum):
            return branch
    return None


def _step(annotation: Any, part: str | int) -> Any:
    """Return the annotation one step into a record, a list or a table; None where there is none."""
    for branch in _branches(annotation):
        arguments = get_args(branch)
        if isinstance(branch, type) and issubclass(branch, BaseModel):
            field = branch.model_fields.get(str(part))
            if field is not None:
                return field.annotation
        elif get_origin(branch) is dict and arguments:
            return arguments[1]
        elif get_origin(branch) in (tuple, list) and arguments and isinstance(part, int):
            return arguments[0]
    return None


def _annotation_at(model: Any, location: Location) -> Any:
    for part in location:
        model = _step(model, part)
    return model


def _fields_at(model: Any, location: Location) -> dict[str, Any]:
    """Return the fields of the schema found by walking a location from a model; empty where there is none."""
    for branch in _branches(_annotation_at(model, location)):
        if isinstance(branch, type) and issubclass(branch, BaseModel):
            return {name: field for name, field in branch.model_fields.items() if not field.exclude}
    return {}


def _with_members(annotation: Any, value: Any) -> Any:
    """Return a value with the words of an enumeration replaced by its members; other words stay, to be refused."""
    if isinstance(value, str) and not isinstance(value, Enum):
        words = _enum_in(annotation)
        return next((member for member in words or () if member.value == value.strip()), value)
    if isinstance(value, tuple) and value and _enum_in(_step(annotation, 0)):
        return tuple(_with_members(_step(annotation, 0), inner) for inner in value)
    if isinstance(value, dict) and value and not _record_in(annotation) and _enum_in(_step(annotation, "")):
        return {key: _with_members(_step(annotation, ""), inner) for key, inner in value.items()}
    return value


# ---- sentences ----


def _plain(text: str) -> str:
    """Return text safe for one line of a terminal: what does not print is shown as its escape."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def _cut(text: str) -> str:
    return text if len(text) <= 60 else text[:57] + "..."


def _said(value: Any) -> str:
    """Show a value as the writer of the file would recognise it, cut to a line."""
    if isinstance(value, str):
        return _cut(_plain(f'"{value}"'))
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple | list):
        if value and all(isinstance(inner, dict) for inner in value):
            return "a list of tables"
        return _cut("[" + ", ".join(_said(inner) for inner in value[:60]) + "]")
    if isinstance(value, dict):
        return "a table"
    try:
        return _cut(_plain(str(value)))
    except ValueError:
        return "a number of thousands of digits"


def _dotted(location: Location) -> str:
    """Name a place in a file as its writer would: contacts[2].number, counted from 1."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            key = part if re.fullmatch(r"[A-Za-z0-9_-]+", part) else _cut(_plain(f'"{part}"'))
            text += f".{key}" if text else key
    return text or "the file"


_TYPE_WORDS = {
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false, without quotes",
    "date_type": "a date without quotes and without a time, like 2027-06-12",
    "tuple_type": "a list in square brackets",
    "list_type": "a list in square brackets",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "finite_number": "a finite number",
    "time_type": 'a time of day "HH:MM" in quotes',
}
_PYDANTIC_STARTS = ("Input", "String", "Tuple", "List", "Value")  # other messages are our own and say everything
_BOUND_WORDS = {"ge": "at least", "gt": "more than", "le": "at most", "lt": "less than"}


def _sentence(where: Location, items: list[dict[str, Any]], model: type[BaseModel]) -> str:
    """Turn the schema's complaints about one place into one sentence: what was given, what is accepted."""
    name, key = _dotted(where), str(where[-1]) if where else ""
    fields = _fields_at(model, where[:-1])
    field = fields.get(key)
    description = (field.description or "") if field is not None else ""
    first = items[0]
    kind, given = first["type"], first.get("input")
    if kind == "extra_forbidden":
        return f"{name} is not a known key; {_instead(key, where, fields, model)}"
    if kind == "missing":
        return f"{name} is missing; give {description or _form_of(field, key)}"
    if kind == "value_error":
        shown = "" if isinstance(given, dict | tuple | list) else f" is {_said(given)}"
        return f"{name}{shown}: {first['ctx']['error']}" if where else str(first["ctx"]["error"])
    accepted = list(dict.fromkeys(_accepted(item, where, model) for item in items))
    own_words = len(items) == 1 and not any(str(first["msg"]).startswith(start) for start in _PYDANTIC_STARTS)
    wanted = f" ({description})" if description and not own_words else ""
    if kind == "too_short" or kind == "too_long":
        return (
            f"{name} holds {len(given) if isinstance(given, tuple | list) else 0}; it must hold {accepted[0]}{wanted}"
        )
    return f"{name} is {_said(given)}; it must be {', or '.join(accepted)}{wanted}"


def _accepted(item: dict[str, Any], where: Location, model: type[BaseModel]) -> str:
    """Say what one complaint would have accepted, after "it must be"."""
    kind, given, context = item["type"], item.get("input"), item.get("ctx", {})
    if bounds := [f"{_BOUND_WORDS[word]} {_bound(value)}" for word, value in context.items() if word in _BOUND_WORDS]:
        return ", ".join(bounds)
    if kind in ("is_instance_of", "enum", "literal_error"):
        words = _enum_in(_annotation_at(model, where))
        known = (
            [str(member.value) for member in words] if words else re.findall(r"'([^']*)'", context.get("expected", ""))
        )
        near = difflib.get_close_matches(given, known, n=1) if isinstance(given, str) else []
        listed = ", ".join(f'"{word}"' for word in known)
        return ("one of " if len(known) > 1 else "") + listed + (f'; did you mean "{near[0]}"?' if near else "")
    if kind in ("too_short", "too_long"):
        few = kind == "too_short"
        return f"at least {context['min_length']}" if few else f"at most {context['max_length']}"
    if kind == "string_too_short":
        least = context["min_length"]
        return f"at least {least} character{'s' if least > 1 else ''} long"
    if kind == "string_too_long":
        return f"at most {context['max_length']} characters long"
    if kind == "tuple_type" and isinstance(given, dict):
        return f"a list: write [[{where[-1] if where else ''}]], with double brackets"
    if kind == "model_type" and isinstance(given, tuple | list):
        return f"a single table: write [{where[-1] if where else ''}], with single brackets"
    if kind in ("float_type", "int_type") and isinstance(given, str):
        return f"{_TYPE_WORDS[kind]}, without quotes or unit"
    return _TYPE_WORDS.get(kind, str(item["msg"]).removeprefix("Input should be ").lower())


def _form_of(field: Any, key: str) -> str:
    """Say how a missing key that has no description is written."""
    if field is None:
        return "a value"
    inner = _record_in(field.annotation)
    listed = _record_in(_step(field.annotation, 0))
    for record, form in ((inner, f"a table [{key}]"), (listed, f"at least one [[{key}]]")):
        if record is not None:
            needed = [name for name, each in record.model_fields.items() if each.is_required()]
            return form + (f" with {', '.join(needed)}" if needed else "")
    return "a value"


def _instead(key: str, where: Location, fields: Mapping[str, Any], model: type[BaseModel]) -> str:
    """Say what the writer of an unknown key may have meant."""
    if unit := _unit_hint(where, model)[1]:
        return unit
    if len(where) > 1 and key in model.model_fields:
        return f"{key} belongs at the top of the file, above the first [table]"
    near = [_OTHER_WORDS.get(key.lower(), ""), *difflib.get_close_matches(key.lower(), fields, n=1, cutoff=0.7)]
    near += [field for field in fields if key.lower() in field.split("_")]
    if known := [field for field in near if field in fields]:
        return f'did you mean "{known[0]}"?'
    elsewhere = [table for table in model.model_fields if key in _fields_at(model, (table,))]
    elsewhere += [table for table in model.model_fields if key in _fields_at(model, (table, 0))]
    if elsewhere and elsewhere[0] not in where:
        return f"{key} is a key of [{elsewhere[0]}]"
    return "accepted here: " + (", ".join(sorted(fields)) or "no key")


_OTHER_WORDS = {  # what people call a thing, and what it is called here
    "latitude": "position", "longitude": "position", "lat": "position", "lon": "position", "coordinates": "position",
    "gps": "position", "altitude": "elevation_m", "altitude_m": "elevation_m", "depth_m": "deepest_m",
    "max_depth_m": "deepest_m", "min_depth_m": "shallowest_m", "phone": "number", "telephone": "number",
    "tel": "number", "code": "gate_code", "parking": "vehicles",
}  # fmt: skip

# What people end a key with, and the unit they mean by it; longest first, so that "_m_s" is not read as "_s".
_ENDINGS = {
    "metres_per_second": "metres a second", "m_s": "metres a second", "ms": "metres a second",
    "km_h": "kilometres an hour", "kmh": "kilometres an hour", "mph": "miles an hour",
    "fahrenheit": "degrees Fahrenheit", "fathoms": "fathoms", "celsius": "degrees Celsius", "beaufort": "Beaufort",
    "minutes": "minutes", "degrees": "degrees", "seconds": "seconds", "litres": "litres", "metres": "metres",
    "meters": "metres", "knots": "knots", "miles": "miles", "yards": "yards", "hours": "hours", "feet": "feet",
    "mins": "minutes", "secs": "seconds", "bft": "Beaufort", "kts": "knots", "sec": "seconds", "psi": "psi",
    "nm": "nautical miles", "mi": "miles", "yd": "yards", "kt": "knots", "s": "seconds", "f": "degrees Fahrenheit",
} | UNIT_WORDS  # fmt: skip


def _unit_of(key: str) -> tuple[str, str]:
    """Split a key into its stem and the unit that ends it; the unit is empty where there is none."""
    for ending in sorted(_ENDINGS, key=len, reverse=True):
        if key.endswith(f"_{ending}"):
            return key.removesuffix(f"_{ending}"), _ENDINGS[ending]
    return key, ""


def _unit_hint(where: Location, model: type[BaseModel]) -> tuple[str, str]:
    """Return the key that is meant, and what to say, where a key is right but for its unit; empty where not so."""
    stem, unit = _unit_of(str(where[-1]).lower() if where else "")
    for field in _fields_at(model, where[:-1]):
        known_stem, known_unit = _unit_of(field)
        if known_unit and stem == known_stem:
            if unit in ("", known_unit):
                return field, f'write "{field}", in {known_unit}'
            return field, f'the unit here is {known_unit}: convert and write "{field}"'
    return "", ""


def _bound(value: Any) -> str:
    """Return a bound as a reader writes it; a date or a time has no short number form."""
    return f"{value:g}" if isinstance(value, (int, float)) else str(value)
