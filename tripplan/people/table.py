"""The people of a centre as rows of a table: out to a spreadsheet, and back with every fault told by its row.

A row is a text for each column. Rows are numbered as a spreadsheet shows them: the names of the columns stand in row 1,
the first person in row 2. A column that a file does not have leaves the roster's value as it is; an empty cell of a
column that it has takes the value away. Only the identity is kept where its cell is empty, and nobody is ever removed.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from pathlib import Path
from types import NoneType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from tripplan.errors import BadRecord, Fault
from tripplan.people.level import Level
from tripplan.people.person import KitName, Person, Weighting
from tripplan.people.roster import Roster, _Entry, _with_level
from tripplan.record import Location, TomlFile, judge

Kind = Literal["text", "lines", "phone", "list", "date", "yes_no", "whole", "number"]
CellKind = Literal["number", "date", "error", "formula"]
MOST_DIGITS = 15  # what a spreadsheet keeps of a number; it makes zeros of the rest


class Cell(str):
    """The text of a cell that the spreadsheet did not hold as text: ``kind`` says as what."""

    kind: CellKind

    def __new__(cls, text: str, kind: CellKind) -> Cell:
        """Return the text with its kind."""
        made = super().__new__(cls, text)
        made.kind = kind
        return made


@dataclass(frozen=True)
class _Column:
    name: str
    path: tuple[str, ...]  # where the value stands in a person
    kind: Kind


def _types(annotation: Any) -> set[Any]:
    """Return the plain types that a field may hold."""
    if get_origin(annotation) is Annotated:
        return _types(get_args(annotation)[0])
    if get_origin(annotation) is Union or type(annotation).__name__ == "UnionType":
        return set().union(*(_types(each) for each in get_args(annotation)))
    return {get_origin(annotation) or annotation}


def _kind(name: str, annotation: Any) -> Kind:
    kinds: dict[Any, Kind] = {bool: "yes_no", int: "whole", float: "number", date: "date", tuple: "list"}
    if name == "notes":
        return "lines"
    if name.endswith("_phone"):
        return "phone"
    return next((kinds[each] for each in _types(annotation) - {NoneType} if each in kinds), "text")


def _columns() -> Iterator[_Column]:
    for name, each in Person.model_fields.items():
        if Weighting in _types(each.annotation):
            for part, inner in Weighting.model_fields.items():
                yield _Column(f"{name}_{part}", (name, part), _kind(part, inner.annotation))
        elif dict in _types(each.annotation):
            for part in get_args(KitName):
                yield _Column(f"size_{part}", (name, part), "text")
        else:
            yield _Column(name, (name,), _kind(name, each.annotation))


_BY_NAME = {column.name: column for column in _columns()}
_BY_PATH: dict[Location, str] = {column.path: name for name, column in _BY_NAME.items()}
COLUMNS = tuple(_BY_NAME)
PRIVATE_COLUMNS = tuple(
    name for name in COLUMNS if name.startswith(("medical", "next_of_kin")) or name in ("guardian", "notes")
)  # notes too: nobody knows what was written there about somebody's health
_OTHER_WORDS = {
    "birth_date": "born", "birthday": "born", "birthdate": "born", "date_of_birth": "born", "dob": "born",
    "full_name": "name", "certificate": "card", "certification": "card", "dives": "logged_dives",
    "emergency_contact": "next_of_kin", "emergency_phone": "next_of_kin_phone", "id": "identity",
    "member_number": "identity", "insurance": "insurance_until", "remarks": "notes",
}  # fmt: skip


@dataclass(frozen=True)
class RowFault:
    """One thing wrong in a table; row 1 holds the names of the columns, ``column`` is empty where no one is meant."""

    row: int
    column: str
    message: str


@dataclass(frozen=True)
class Duplicate:
    """A row that holds a person who stands in an earlier row too."""

    row: int
    first_row: int
    by: Literal["identity", "name and birth date", "the roster"]


@dataclass(frozen=True)
class UnknownColumn:
    """A column that no field has; ``meant`` is the column that was probably meant, or empty."""

    column: str
    meant: str


@dataclass(frozen=True)
class FieldChange:
    """A value before and after, as texts; empty where there is none."""

    field: str
    before: str
    after: str


@dataclass(frozen=True)
class New:
    """A row of somebody who is not in the roster yet."""

    row: int
    person: Person


@dataclass(frozen=True)
class Changed:
    """A row that changes somebody of the roster; ``name`` is the one in the roster until now."""

    row: int
    name: str
    fields: tuple[FieldChange, ...]
    person: Person


@dataclass(frozen=True)
class Preview:
    """What an import would do. Rows with a fault are left out of everything but ``faults`` and ``duplicates``."""

    new: tuple[New, ...]
    changed: tuple[Changed, ...]
    unchanged: tuple[str, ...]  # names
    faults: tuple[RowFault, ...]  # by row; every one of a row
    duplicates: tuple[Duplicate, ...]
    unknown_columns: tuple[UnknownColumn, ...]
    missing_columns: tuple[str, ...]
    people: tuple[Person, ...]  # the whole roster with the good rows in it: first those known, then the new ones

    @property
    def left_out(self) -> tuple[int, ...]:
        """The numbers of the rows that cannot be used."""
        return tuple(sorted({fault.row for fault in self.faults if fault.row > 1}))


# ---- out ----


def rows_of(roster: Roster, *, private: bool = True) -> list[dict[str, str]]:
    """Return a row for each person, in the order of the roster.

    private -- False leaves out medical*, next_of_kin*, guardian and notes
    """
    names = [name for name in COLUMNS if private or name not in PRIVATE_COLUMNS]
    return [{name: _text_of(person, _BY_NAME[name]) for name in names} for person in roster.people.values()]


def _text_of(person: Person, column: _Column) -> str:
    """Return a value of a person as the text of a cell; empty where there is none."""
    value: Any = person
    for part in column.path:
        value = value.get(part) if isinstance(value, Mapping) else getattr(value, part)
        if value is None:
            return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return number_text(value)
    if isinstance(value, tuple):
        return "; ".join(_escaped(item) for item in value if item)
    return str(value)


def number_text(value: float) -> str:
    """Return a number's shortest exact digits, never with an exponent: 8.5, 0.0000001."""
    return f"{Decimal(repr(value)):f}"


def _escaped(item: str) -> str:
    return item.replace("\\", "\\\\").replace(";", "\\;")


# ---- in ----


@dataclass
class _Row:
    number: int
    cells: Mapping[str, str]  # by column, cleaned
    surplus: Sequence[str] = ()  # columns without a name in which something stands
    faults: list[RowFault] = field(default_factory=list)
    name: str = ""  # these three as they are compared, empty where they cannot be read
    identity: str = ""
    born: date | None = None
    target: Person | None = None  # who it is in the roster
    person: Person | None = None

    def refuse(self, column: str, message: str) -> None:
        self.faults.append(RowFault(self.number, column, message))


def people_from(rows: Sequence[Mapping[str, str]], cards: Mapping[str, Level | None], roster: Roster) -> Preview:
    """Judge rows against the roster and say what they would change; nothing is changed.

    rows -- the first is row 2 of the spreadsheet; empty ones count, and are skipped; every row has the same columns,
            and further ones named "column 45" where something stands in a column that has no name
    cards -- the centre's own names of certificates with their levels

    Somebody is known by the identity, else by name and birth date; capitals and excess spaces do not matter. Nothing is
    raised: every fault of every row is in the preview, and a row with a fault is left out whole.
    """
    named, unknown, faults = _resolved(rows)
    missing = tuple(
        needed for needed in (("name",), ("born",), ("level", "card")) if not any(n in named.values() for n in needed)
    )
    read = list(_read(rows, named))
    if not read:
        faults.append(RowFault(1, "", "there is nobody below the names of the columns"))
        missing = missing if rows else ()
    for needed in missing:
        words = " or ".join(f'"{name}"' for name in needed)
        faults.append(RowFault(1, needed[0], f"the column {words} is missing; without it no row can be used"))
    duplicates = _doubles(read)
    _match(read, roster)
    duplicates += _doubled_targets(read)
    lacking = {name for needed in missing for name in needed}
    for row in read:
        _judge(row, cards, lacking)
    good = [row for row in read if row.person is not None and not row.faults] if not missing else []
    good = _with_own_names(good, roster)
    return _preview(good, roster, (*faults, *(f for row in read for f in row.faults)), duplicates, unknown, missing)


def _preview(
    good: Sequence[_Row],
    roster: Roster,
    faults: Sequence[RowFault],
    duplicates: Sequence[Duplicate],
    unknown: Sequence[UnknownColumn],
    missing: Sequence[Sequence[str]],
) -> Preview:
    new, changed, unchanged = [], [], []
    after = dict(roster.people)
    for row in good:
        person, target = row.person, row.target
        assert person is not None
        if target is None:
            new.append(New(row.number, person))
        elif fields := _changes(target, person):
            changed.append(Changed(row.number, target.name, fields, person))
            after[target.name] = person
        else:
            unchanged.append(target.name)
    order = {name: number for number, name in enumerate(COLUMNS)}
    return Preview(
        new=tuple(new),
        changed=tuple(changed),
        unchanged=tuple(unchanged),
        faults=tuple(sorted(dict.fromkeys(faults), key=lambda f: (f.row, order.get(f.column, -1)))),
        duplicates=tuple(sorted(dict.fromkeys(duplicates), key=lambda d: (d.row, d.first_row))),
        unknown_columns=tuple(unknown),
        missing_columns=tuple(" or ".join(needed) for needed in missing),
        people=(*after.values(), *(one.person for one in new)),
    )


def _changes(before: Person, after: Person) -> tuple[FieldChange, ...]:
    pairs = ((name, _text_of(before, column), _text_of(after, column)) for name, column in _BY_NAME.items())
    return tuple(FieldChange(name, old, new) for name, old, new in pairs if old != new)


# ---- the names of the columns ----


def _resolved(rows: Sequence[Mapping[str, str]]) -> tuple[dict[str, str], list[UnknownColumn], list[RowFault]]:
    """Return the column that each name in row 1 means, the names that mean none, and the faults of row 1."""
    given = [name for name in dict.fromkeys(each for row in rows for each in row) if not _is_nameless(name)]
    meant = {name: re.sub(r"[\s_-]+", "_", name.strip().casefold()) for name in given}
    counts = Counter(meant.values())
    named, unknown, faults = {}, [], []
    for name, column in meant.items():
        if column in _BY_NAME and counts[column] == 1:
            named[name] = column
        elif column in _BY_NAME:
            faults.append(RowFault(1, column, f'"{name}" stands {counts[column]} times; which one counts is not known'))
        else:
            near = _near(column)
            unknown.append(UnknownColumn(name, near))
            hint = f'did you mean "{near}"?' if near else f"known: {', '.join(COLUMNS)}"
            faults.append(RowFault(1, name, f'"{name}" is not a known column; {hint}'))
    return named, unknown, faults


def _near(column: str) -> str:
    if column in _OTHER_WORDS:
        return _OTHER_WORDS[column]
    close = difflib.get_close_matches(column, COLUMNS, n=1, cutoff=0.75)
    begun = [name for name in COLUMNS if len(column) > 3 and name.startswith(column)]
    return (close or begun or [""])[0]


def _is_nameless(name: str) -> bool:
    return re.fullmatch(r"column [0-9]+", name) is not None


# ---- cells ----


def _clean(text: str, kind: Kind) -> str:
    """Return a text without excess spaces; a number, date or error of the spreadsheet stays what it is."""
    if isinstance(text, Cell):
        return text
    text = re.sub(r"\r\n?", "\n", text).strip()
    return text if kind == "lines" else re.sub(r"[^\S\n]+", " ", text)


def _key(text: str) -> str:
    """Return a name or identity as it is compared: capitals, spaces and ways to write an accent do not count."""
    return unicodedata.normalize("NFC", " ".join(text.split())).casefold()


def _same(one: str, other: str) -> bool:
    """Whether two texts differ in nothing but spaces and what does not print."""
    return one == other or _comparable(one) == _comparable(other)


def _comparable(text: str) -> str:
    shown = text if text.isprintable() else "".join(c if c.isprintable() else " " for c in text)
    return unicodedata.normalize("NFC", " ".join(shown.split()))


def _read(rows: Sequence[Mapping[str, str]], named: Mapping[str, str]) -> Iterator[_Row]:
    """Yield the rows in which something stands, with clean cells."""
    for number, given in enumerate(rows, start=2):
        cells = {column: _clean(given.get(name, ""), _BY_NAME[column].kind) for name, column in named.items()}
        surplus = [name for name, text in given.items() if _is_nameless(name) and text.strip()]
        if not any(text.strip() for text in given.values()):
            continue
        row = _Row(number, cells, surplus)
        for name in surplus:
            row.refuse(
                name,
                f'it is "{_cut(given[name])}" in a column that has no name; a separator within a value puts the whole '
                "value in double quotes",
            )
        row.name, row.identity = (
            "" if _value(cells.get(name, ""), _BY_NAME[name])[1] else _key(cells.get(name, ""))
            for name in ("name", "identity")
        )
        row.born, _ = _date(cells.get("born", ""))
        yield row


def _cut(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 40 else text[:37] + "..."


def _value(text: str, column: _Column) -> tuple[Any, str]:
    """Return the value of a cell in which something stands, or what is wrong with it."""
    if isinstance(text, Cell):
        if text.kind == "error":
            return None, f"the cell holds an error of the spreadsheet, {text}; mend it or empty the cell"
        if text.kind == "formula":
            return None, "the cell holds a formula without a result; save the file in the spreadsheet, or put the value"
    if column.kind == "date":
        return _date(text)
    if column.kind == "yes_no":
        return _yes_no(text)
    if column.kind in ("whole", "number"):
        return _number(text, whole=column.kind == "whole")
    if isinstance(text, Cell) and text.kind == "date":
        return None, f"the spreadsheet made a date of it, {text}; make the cell text and type it again"
    if isinstance(text, Cell) and column.kind == "phone":
        return None, f"the spreadsheet made a number of it, {text}, and lost any 0 or + in front; make the cell text"
    shortened = re.fullmatch(r"[0-9](?:[.,][0-9]+)?E\+[0-9]+", text)
    if column.name == "identity" and (shortened or (isinstance(text, Cell) and len(text) > MOST_DIGITS)):
        return None, f"the spreadsheet made a number of it, {text}, and lost digits; make the cell text"
    if column.kind == "list":
        items = (re.sub(r"\\([\\;])", r"\1", item.strip()) for item in re.findall(r"(?:\\[\\;]|[^;])+", text))
        return tuple(item for item in items if item), ""
    return str(text), ""


_WRITE_DATE = "write it like 2009-04-23, year first"
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def _date(text: str) -> tuple[date | None, str]:
    """Read 2009-04-23, or a date of the spreadsheet.  Whatever can be read in two ways is refused, saying why."""
    if found := re.fullmatch(r"([0-9]{4}-[0-9]{2}-[0-9]{2})(?:[T ]00:00(?::00(?:\.0+)?)?)?", text):
        try:
            return date.fromisoformat(found[1]), ""
        except ValueError:
            return None, f"{found[1]} is not a day of the calendar"
    shown = f'"{_cut(text)}"'
    if re.match(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ]", text):
        return None, f"{shown} has a time of day; give the date alone, like {text[:10]}"
    if re.fullmatch(r"[0-9]+(?:[.,][0-9]*)?", text):
        return None, (
            f"{shown} is a number, not a date: spreadsheets count days from 1900 or from 1904; make the cell a date, "
            f"or {_WRITE_DATE}"
        )
    if parts := re.fullmatch(r"([0-9]{1,2})[./ -]+([0-9]{1,2})[./ -]+([0-9]{4}|[0-9]{2})", text):
        one, two = int(parts[1]), int(parts[2])
        if 1 <= one <= 12 and 1 <= two <= 12 and one != two:
            either = f"{one} {_MONTHS[two - 1]} or as {two} {_MONTHS[one - 1]}"
            return None, f"{shown} can be read as {either}, by country; {_WRITE_DATE}"
        if len(parts[3]) == 2:
            return None, f"{shown} does not say the century; {_WRITE_DATE}"
    return None, f"{shown} is not a date as it is written here; {_WRITE_DATE}"


def _yes_no(text: str) -> tuple[bool | None, str]:
    word = text.casefold()
    if word in ("yes", "true", "x"):
        return True, ""
    if word in ("no", "false"):
        return False, ""
    return None, f'"{_cut(text)}" is neither yes nor no; write yes, true or x, or no, false or nothing'


def _number(text: str, *, whole: bool) -> tuple[float | int | None, str]:
    shown = f'"{_cut(text)}"'
    if found := re.fullmatch(r"([+-]?[0-9]+)(?:\.([0-9]*))?", text):
        if not whole:
            return float(text), ""
        if found[2] and found[2].strip("0"):
            return None, f"{shown} is not a whole number"
        if len(found[1]) <= MOST_DIGITS:
            return int(found[1]), ""
        return None, f"{shown} has too many digits"
    if re.fullmatch(r"[+-]?[0-9]+,[0-9]{3}", text):
        plain = text.replace(",", "")
        either = f"{plain} or as {text.replace(',', '.')}"
        return None, f"{shown} can be read as {either}; write no comma: decimals follow a point, thousands follow on"
    if re.fullmatch(r"[+-]?[0-9]*,[0-9]+", text):
        return None, f"{shown} has a comma; write the decimals after a point: {text.replace(',', '.')}"
    return None, f"{shown} is not a number; write digits alone, without a unit"


# ---- who is who ----


def _doubles(read: Sequence[_Row]) -> list[Duplicate]:
    """Refuse rows that hold one person twice, or two people of one name; return who stands twice."""
    identities: dict[str, list[_Row]] = {}
    names: dict[str, list[_Row]] = {}
    for row in read:
        if row.identity:
            identities.setdefault(row.identity, []).append(row)
        if row.name and row.born:
            names.setdefault(row.name, []).append(row)
    found = [each for group in identities.values() for each in _twice(group, "identity")]
    for group in names.values():
        births: dict[date | None, list[_Row]] = {}
        others = []
        for row in group:
            same = births.setdefault(row.born, [])
            first = (same or group)[0]
            if row is not first and row.identity and row.identity == first.identity:
                continue  # told by the identity
            if row.born != first.born or (row is not first and row.identity and first.identity):
                others.append((row, first))
            if not same or not (row.identity and first.identity):
                same.append(row)
        for same in births.values():
            found += _twice(same, "name and birth date")
        _of_one_name(others)
    return found


def _twice(group: Sequence[_Row], by: Literal["identity", "name and birth date", "the roster"]) -> list[Duplicate]:
    """Refuse one person's further rows; the first too where they differ, because nobody knows which one is right."""
    if len(group) < 2:
        return []
    first, column = group[0], "identity" if by == "identity" else "name"
    differ = any(row.cells != first.cells for row in group)
    how = {"identity": "by the identity", "the roster": "as the roster knows them"}.get(by, "by name and birth date")
    for row in group[1:]:
        row.refuse(column, f"this person stands in row {first.number} too, {how}; keep one of the rows")
    if differ:
        others = ", ".join(str(row.number) for row in group[1:4]) + (" and more" if len(group) > 4 else "")
        rows = f"row{'s' if len(group) > 2 else ''} {others}"
        first.refuse(column, f"this person stands in {rows} too, {how}, with other values; keep one of the rows")
    return [Duplicate(row.number, first.number, by) for row in group[1:]]


def _of_one_name(pairs: Sequence[tuple[_Row, _Row]]) -> None:
    """Refuse rows of two people with one name, and the first of them too: a roster's names differ."""
    told = set()
    for row, first in pairs:
        for one, other in ((row, first), (first, row)):
            if one.number in told:
                continue
            told.add(one.number)
            apart = (
                "names in a roster must differ: add a letter or a second name"
                if one.identity and other.identity
                else "if it is one person, one date is wrong; two people are told apart by an identity each and by "
                "names that differ"
            )
            one.refuse("name", f"the same name stands in row {other.number}, born {other.born}; {apart}")


def _match(read: Sequence[_Row], roster: Roster) -> None:
    """Find who of the roster each row is."""
    identities: dict[str, list[Person]] = {}
    births: dict[tuple[str, date], Person] = {}
    for person in roster.people.values():
        if person.identity:
            identities.setdefault(_key(person.identity), []).append(person)
        births.setdefault((_key(person.name), person.born), person)
    for row in read:
        known = identities.get(row.identity, []) if row.identity else []
        by_birth = births.get((row.name, row.born)) if row.born else None
        if len(known) > 1:
            row.refuse("identity", f'{len(known)} people of the roster have the identity "{known[0].identity}"')
        elif known:
            row.target = known[0]
            if row.name != _key(known[0].name) and row.born is not None and row.born != known[0].born:
                row.refuse(
                    "identity",
                    f'"{known[0].identity}" is the identity of {known[0].name}, born {known[0].born}, in the roster; '
                    "neither name nor birth date is the same here",
                )
        elif by_birth is not None and not (row.identity and by_birth.identity):
            row.target = by_birth


def _doubled_targets(read: Sequence[_Row]) -> list[Duplicate]:
    """Refuse rows that are one person of the roster though they look like two."""
    groups: dict[str, list[_Row]] = {}
    for row in read:
        if row.target is not None and all(fault.column != "identity" for fault in row.faults):
            groups.setdefault(row.target.name, []).append(row)
    found = []
    for group in groups.values():
        told = {row.identity for row in group if row.identity}, {(row.name, row.born) for row in group}
        if len(group) > 1 and len(told[1]) > 1 and (len(told[0]) != 1 or not all(row.identity for row in group)):
            found += _twice(group, "the roster")
    return found


def _with_own_names(good: Sequence[_Row], roster: Roster) -> list[_Row]:
    """Refuse rows after which two people would have one name or one identity; return the others.

    What a row does depends on which others are left out, so this is asked until nothing more is refused.
    """
    rows = list(good)
    while True:
        for column in ("name", "identity"):
            _refuse_taken(rows, roster, column)
        left = [row for row in rows if not row.faults]
        if len(left) == len(rows):
            return left
        rows = left


def _refuse_taken(rows: Sequence[_Row], roster: Roster, column: str) -> None:
    by_target = {row.target.name: row for row in rows if row.target is not None}
    holders: dict[str, list[tuple[Person, _Row | None]]] = {}
    after: list[tuple[Person, _Row | None]] = []
    for person in roster.people.values():
        row = by_target.get(person.name)
        after.append((row.person, row) if row is not None and row.person is not None else (person, None))
    after += [(row.person, row) for row in rows if row.target is None and row.person is not None]
    for person, row in after:
        if key := _key(getattr(person, column)):
            holders.setdefault(key, []).append((person, row))
    for key, group in holders.items():
        if len(group) < 2:
            continue
        for person, row in group:
            if row is None or (row.target is not None and _key(getattr(row.target, column)) == key):
                continue  # has it already
            other = next(each for each, its in group if its is not row)
            if column == "identity":
                what = f'"{person.identity}" is the identity of {other.name}'
            elif person.born == other.born:
                what = f'{other.name} has the identity "{other.identity}" in the roster, and the same birth date'
            else:
                what = (
                    f"{other.name} is in the roster already, born {other.born}; if it is the same person, one date is "
                    "wrong; two people are told apart by an identity each and by names that differ"
                )
            row.refuse(column, what)


# ---- a row judged ----


class _RowFile(TomlFile):
    """Stands in for a file while a row is judged, and keeps for each fault which value it is about."""

    def __init__(self) -> None:
        super().__init__(Path("row"), "")
        self.told: list[tuple[Location, str]] = []

    def fault(self, location: Location, message: str) -> Fault:
        self.told.append((location, message))
        return super().fault(location, message)


def _judge(row: _Row, cards: Mapping[str, Level | None], lacking: set[str]) -> None:
    """Make a person of a row, and add every fault of it."""
    values, bad = _values(row, cards)
    file, at = _RowFile(), ("row", row.number - 1)
    leveled, _ = _with_level(file, values, at, cards)
    told = [(where[len(at) :], message) for where, message in file.told]
    file.told.clear()
    try:
        entry = judge(file, _Entry, leveled)
        row.person = Person.model_validate(entry.model_dump())
    except BadRecord:
        told += [(where, _about_it(where, message)) for where, message in file.told]
    for where, message in told:
        column = _column_at(where) or ("level" if "level" in row.cells else "card")
        if column in bad or column in lacking or (not where and {"level", "card"} & (bad | lacking)):
            continue  # its own fault is told
        if column not in row.cells and column == "card":
            message += " (the file has no column for the card; it stands so in the roster)"
        row.refuse(column, message)


def _column_at(where: Location) -> str:
    """Return the column of a place in a person; the field's own name where no single column is meant."""
    return _BY_PATH.get(where[:2]) or _BY_PATH.get(where[:1]) or "".join(str(part) for part in where[:1])


def _about_it(where: Location, message: str) -> str:
    """Return a sentence about a key of a file as a sentence about a cell."""
    key = ""
    for part in where:
        key += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if key else part
    return f"it{message.removeprefix(key)}" if key and message.startswith(f"{key} ") else message


def _values(row: _Row, cards: Mapping[str, Level | None]) -> tuple[dict[str, Any], set[str]]:
    """Return a person's values as the roster has them with the row's over them, and the columns that are at fault.

    A value at fault is one that the schema refuses, so that what depends on it is not judged either.
    """
    stored = row.target
    values: dict[str, Any] = stored.model_dump() if stored is not None else {}
    if stored is not None and stored.weighting is None:
        values.pop("weighting")
    if not values.get("card"):
        values.pop("card", None)
    bad: set[str] = set()
    changed = set()
    for name, text in row.cells.items():
        column = _BY_NAME[name]
        if stored is not None and _same(text, _text_of(stored, column)):
            continue  # the same text is the same value, spaces and all
        changed.add(name)
        if not text:
            if name != "identity":
                _put(values, column.path, None)
            continue
        value, wrong = _value(text, column)
        if wrong:
            bad.add(name)
            row.refuse(name, wrong)
            value = ...
        elif name == "level":
            value = re.sub(r"[\s-]+", "_", value.casefold())
        elif name == "card":
            value = _card(value, cards)
        _put(values, column.path, value)
    if not row.cells.get("level") and "card" in changed:
        values.pop("level", None)  # the level came from the card that was
    elif "level" in row.cells and not row.cells["level"]:
        values.pop("level", None)
    for name in ("weighting", "sizes"):
        if name in values and not any(value is not None for value in values[name].values()):
            values.pop(name)
    return values, bad


def _put(values: dict[str, Any], path: tuple[str, ...], value: Any) -> None:
    """Set a value, or take it away where it is None."""
    if len(path) > 1:
        values = values.setdefault(path[0], {})
    if value is None:
        values.pop(path[-1], None)
    else:
        values[path[-1]] = value


def _card(text: str, cards: Mapping[str, Level | None]) -> str:
    """Return the card as the centre writes it, where it differs in capitals or spaces alone."""
    near = [card for card in cards if _key(card) == _key(text)]
    return near[0] if len(near) == 1 and text not in cards else text
