"""The people of a centre in files: a spreadsheet's table as rows and back, and people.toml written anew."""

from __future__ import annotations

import csv
import hashlib
import io
import re
import shutil
import warnings
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path
from types import MappingProxyType
from typing import Any
from uuid import uuid4

from tripplan.documents.cells import harmless, meant
from tripplan.errors import BadRecord, Fault
from tripplan.people.centre import read_centre
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.people.roster import Roster, read_roster
from tripplan.people.table import COLUMNS, Cell, number_text
from tripplan.record import read_toml, toml_value, written_fields
from tripplan.store.alone import alone
from tripplan.store.records import CannotKeep
from tripplan.store.written import keep_aside, settle, write_through

LARGEST_TABLE_BYTES = 5_000_000
LARGEST_UNPACKED_BYTES = 100_000_000  # of an .xlsx, whose parts are packed: 20,000 full rows are some 60 million
MOST_PARTS = 1_000
MOST_ROWS = 20_000  # people; row 1 comes on top
MOST_COLUMNS = 200
MOST_CELLS = 4_000_000
LONGEST_XLSX_CELL = 32_767  # characters, by the format
KINDS = "give a file whose name ends with .csv or .xlsx"


# ---- whose people ----


@dataclass(frozen=True)
class CentrePeople:
    """Where a centre's people are kept, what its cards mean, and who is in the list."""

    path: Path
    cards: Mapping[str, Level]
    roster: Roster
    mark: str = ""  # of the file as it was read: it tells one list from another


def centre_people(folder: Path) -> CentrePeople:
    """Read the people of a centre's folder; a list that is not there yet, or empty, holds nobody.

    Raises BadRecord with every fault of the centre's own file, its rules and its people.
    """
    centre_file = folder / "centre" / "centre.toml"
    file = read_toml(centre_file)
    name = file.data.get("people")
    path = centre_file.parent / (name.strip() if isinstance(name, str) else "")
    mark = _mark_of(path)  # before it is read: a change that comes between is taken for one, and never missed
    try:
        centre = read_centre(centre_file)
    except BadRecord as error:
        if any(fault.file != str(path) for fault in error.faults) or (path.exists() and read_toml(path).data):
            raise
        cards = {card.strip(): Level(level.strip()) for card, level in file.data.get("cards", {}).items()}
        return CentrePeople(path, cards, Roster(MappingProxyType({})), mark)
    return CentrePeople(path, centre.cards, centre.roster, mark)


# ---- reading a table ----


def read_table(content: bytes, name: str) -> list[dict[str, str]]:
    """Return the rows of a .csv or .xlsx file below its row 1, a text for each column that row 1 names.

    content, name -- the bytes of the file, and its name, by whose ending it is read

    Empty rows between others are kept, so that the numbers are those of the spreadsheet. What an .xlsx does not hold as
    text is a Cell; only its first sheet is read. Something in a column without a name stands under "column 45".

    Raises BadRecord where the file as a whole cannot be read: too large, another kind, another encoding, damaged.
    """
    if len(content) > LARGEST_TABLE_BYTES:
        raise _refused(name, f"the file is larger than {LARGEST_TABLE_BYTES:,} bytes")
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        raise _refused(
            name, "the file is locked with a password or of an old kind; save it as .xlsx without a password"
        )
    ending = Path(name).suffix.lower()
    if ending == ".csv":
        if content.startswith(b"PK\x03\x04"):
            raise _refused(name, "the file is a workbook, not CSV; give its name the ending .xlsx")
        grid = _csv_grid(content, name)
    elif ending == ".xlsx":
        grid = _xlsx_grid(content, name)
    else:
        raise _refused(name, f"files of this kind are not read; {KINDS}")
    return _rows(grid, name)


def _refused(name: str, message: str, row: int = 1) -> BadRecord:
    return BadRecord((Fault(name, row, message),))


def _rows(grid: list[list[str]], name: str) -> list[dict[str, str]]:
    while grid and not any(text.strip() for text in grid[-1]):
        grid.pop()
    if not grid:
        raise _refused(name, "the file is empty; row 1 must hold the names of the columns")
    head = [text.strip() for text in grid[0]]
    if not any(head):
        raise _refused(name, "row 1 is empty; it must hold the names of the columns")
    if doubled := sorted({column for column in head if column and head.count(column) > 1}):
        raise BadRecord(tuple(Fault(name, 1, f'the column "{column}" stands twice') for column in doubled))
    if len(grid) > MOST_ROWS + 1:
        raise _refused(name, f"the file has {len(grid) - 1:,} rows; it must have at most {MOST_ROWS:,}")
    rows = []
    for cells in grid[1:]:
        row = {column: cells[at] if at < len(cells) else "" for at, column in enumerate(head) if column}
        for at, text in enumerate(cells):
            if text.strip() and not (at < len(head) and head[at]):
                row[f"column {at + 1}"] = text
        rows.append(row)
    return rows


# ---- cells that look like formulas ----


def _harmless(text: str, *, in_text_cells: bool = False) -> str:
    """Return a text that no spreadsheet takes for a formula; a cell of text needs care for its own apostrophe only."""
    if in_text_cells and not text.startswith("'"):
        return text
    return harmless(text)


def _as_meant(text: str) -> str:
    """Return the text of a cell without the apostrophe that was put before it, and without spaces around it."""
    return meant(text.lstrip()).strip()


# ---- CSV ----


def _csv_grid(content: bytes, name: str) -> list[list[str]]:
    import pandas as pd

    text = _decoded(content, name)
    separator = _separator(text)
    if found := re.match(r"sep=([,;\t|])\r?\n", text):  # a line for the spreadsheet, which it does not show as a row
        separator, text = found[1], text[found.end() :]
    widest, last = 0, 0
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    try:
        for number, cells in enumerate(reader, start=1):
            if any(cells):
                widest, last = max(widest, len(cells)), number
            if len(cells) > MOST_COLUMNS:
                raise _refused(name, f"the row has more than {MOST_COLUMNS} cells", number)
    except csv.Error as error:
        raise _refused(name, f"the file cannot be read as CSV: {error}") from None
    if last > MOST_ROWS + 1:
        raise _refused(name, f"the file has {last - 1:,} rows; it must have at most {MOST_ROWS:,}")
    if not widest:
        return []
    try:
        frame = pd.read_csv(
            io.StringIO(text, newline=""), sep=separator, header=None, names=list(range(widest)), nrows=last, dtype=str,
            na_filter=False, skip_blank_lines=False, index_col=False, skipinitialspace=True, engine="c",
        )  # fmt: skip
    except pd.errors.ParserError as error:
        if begun := re.search(r"EOF inside string starting at row ([0-9]+)", str(error)):
            raise _refused(name, "double quotes that begin in this row are never closed", int(begun[1]) + 1) from None
        raise _refused(name, f"the file cannot be read as CSV: {error}") from None
    return [[_as_meant(str(cell)) for cell in row] for row in frame.itertuples(index=False, name=None)]


def _decoded(content: bytes, name: str) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _refused(name, "the file is UTF-16 text; save it as CSV in UTF-8")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        around = re.search(rb"[^\s,;\t\"]*\Z", content[: error.start])
        begin = around.start() if around else error.start
        word = re.match(rb"[^\s,;\t\"]*", content[begin : begin + 40])
        shown = word[0].decode("cp1252", errors="replace") if word else ""
        line = len(re.findall(rb"\r\n?|\n", content[: error.start])) + 1
        raise _refused(
            name,
            f'the file is not UTF-8 text but Latin-1 or Windows-1252, as it seems, like in "{shown}"; save it as CSV '
            "in UTF-8",
            line,
        ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise _refused(name, "the file holds bytes that no text has; save it as CSV in UTF-8", line)
    return text


def _separator(text: str) -> str:
    """Return what separates the cells of row 1: comma, semicolon or tab."""
    first = re.split(r"[\r\n]", re.sub(r'"[^"]*"', "", text.lstrip("\r\n")[:20_000]), maxsplit=1)[0]
    return max(",;\t", key=first.count)


# ---- XLSX ----


def _xlsx_grid(content: bytes, name: str) -> list[list[str]]:
    damaged = _refused(name, "the file is damaged, or not an .xlsx workbook")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            has_formulas = _unpackable(packed, name)
    except BadRecord:
        raise
    except Exception:  # a damaged archive raises whatever its reader trips over
        raise damaged from None
    import openpyxl

    def opened(*, values: bool) -> Any:
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=values, keep_links=False)
        sheet = book.worksheets[0]
        sheet.reset_dimensions()  # what a file says of its own size may be wrong
        return sheet.iter_rows()

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and lists of choices, which nobody asks for here
            formulas = opened(values=False) if has_formulas else None
            return _sheet_grid(opened(values=True), formulas, name)
    except BadRecord:
        raise
    except Exception:  # the same of a workbook
        raise damaged from None


def _unpackable(packed: zipfile.ZipFile, name: str) -> bool:
    """Refuse a workbook that grows beyond all measure when it is unpacked; return whether it may hold formulas."""
    parts = packed.infolist()
    if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > LARGEST_UNPACKED_BYTES:
        raise _refused(name, f"the file is larger than {LARGEST_UNPACKED_BYTES:,} bytes when it is unpacked")
    formulas = False
    for part in parts:
        if part.flag_bits & 1:
            raise _refused(name, "the file is locked with a password; save it without one")
        before = b""
        with packed.open(part) as stream:  # never gives more than the size that is stated
            while block := stream.read(1 << 20):
                whole = (before + block).replace(b"\0", b"")  # in UTF-16 every other byte is 0
                if b"<!DOCTYPE" in whole or b"<!ENTITY" in whole:
                    raise _refused(name, "the file holds definitions that no workbook has; save it anew as .xlsx")
                formulas = formulas or re.search(rb"<(?:\w+:)?f[\s/>]", whole) is not None
                before = whole[-40:]
    return formulas


def _sheet_grid(shown: Iterator[Any], formulas: Iterator[Any] | None, name: str) -> list[list[str]]:
    grid: list[list[str]] = []
    filled = met = 0
    for number, cells in enumerate(shown, start=1):
        written = next(formulas, ()) if formulas is not None else ()
        texts = [_cell_text(cell) for cell in cells]
        for at, cell in enumerate(written):
            if cell.data_type == "f" and at < len(texts) and not texts[at]:
                texts[at] = Cell(str(cell.value), "formula")
        while texts and not texts[-1]:
            texts.pop()
        met += len(cells)
        if met > MOST_CELLS or len(texts) > MOST_COLUMNS:
            raise _refused(name, f"the sheet is too wide; a row must have at most {MOST_COLUMNS} cells", number)
        if texts and number > MOST_ROWS + 1:
            raise _refused(name, f"the file has more than {MOST_ROWS:,} rows")
        if texts:
            grid += [[] for _ in range(number - 1 - filled)]
            grid.append(texts)
            filled = number
    return grid


def _cell_text(cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if cell.data_type == "e":
        return Cell(str(value), "error")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        midnight = value.time() == time(0)
        return Cell(value.date().isoformat() if midnight else value.isoformat(" "), "date")
    if isinstance(value, float):
        return Cell(str(int(value)) if value.is_integer() else number_text(value), "number")
    if isinstance(value, int):
        return Cell(str(value), "number")
    return _as_meant(value) if isinstance(value, str) else Cell(str(value), "date")


# ---- writing a table ----


def write_table(rows: Sequence[Mapping[str, str]], name: str) -> bytes:
    """Return rows as the bytes of a .csv or .xlsx file; the columns are those of the first row, or all there are.

    No cell can become a formula. In a CSV file one that a spreadsheet would take for a formula begins with an
    apostrophe, which ``read_table`` takes off again; in a workbook every cell is text.

    Raises BadRecord for another kind of file, and for a text that is too long for a cell of a workbook.
    """
    columns = list(rows[0]) if rows else list(COLUMNS)
    table = [columns, *([row.get(column, "") for column in columns] for row in rows)]
    ending = Path(name).suffix.lower()
    if ending == ".csv":
        out = io.StringIO(newline="")
        csv.writer(out).writerows([_harmless(text) for text in line] for line in table)
        return out.getvalue().encode("utf-8-sig")  # the mark in front tells a spreadsheet that it is UTF-8
    if ending != ".xlsx":
        raise _refused(name, f"files of this kind are not written; {KINDS}")
    return _workbook(table, name)


def _workbook(table: Sequence[Sequence[str]], name: str) -> bytes:
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell

    for number, line in enumerate(table, start=1):
        if any(len(text) >= LONGEST_XLSX_CELL for text in line):
            message = f"a cell of a workbook holds fewer than {LONGEST_XLSX_CELL:,} characters; write a .csv file"
            raise _refused(name, message, number)
    book = Workbook(write_only=True)
    sheet = book.create_sheet("people")
    sheet.freeze_panes = "A2"
    for line in table:
        cells = []
        for text in line:
            text = _harmless(text, in_text_cells=True)
            text = re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]", " ", text)  # no workbook can hold these
            cell = WriteOnlyCell(sheet, text or None)
            if text:
                cell.data_type = "s"  # also what looks like a formula or an error
            cell.number_format = "@"  # text remains text when somebody types in it: numbers of telephones keep their 0
            cells.append(cell)
        sheet.append(cells)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


# ---- people.toml ----


def people_toml(people: Iterable[Person]) -> str:
    """Return the text of a people.toml that ``read_roster`` reads as the same people.

    A value that is the one taken where nothing is written is left out, and so is a level that a card gives.
    """
    parts = ["# The people of the centre, written from a table. The file that was here before lies beside this one.\n"]
    for person in people:
        lines = ["[[people]]"]
        for name, value in written_fields(person).items():
            if name != "level" or not person.card:
                lines.append(f"{name} = {toml_value(value)}")
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


class ListChanged(CannotKeep):
    """Somebody else wrote the list of people meanwhile; nothing of it was changed."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"{path}: somebody else changed the list meanwhile; nothing was changed")


def _mark_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes() if path.is_file() else b"").hexdigest()


def save_people(
    path: Path, text: str, at: datetime, cards: Mapping[str, Level | None], mark: str | None = None
) -> Path | None:
    """Put a new people.toml in the place of the old one, whole or not at all; return where the old one is kept.

    at -- the time for the name of the old one, people-YYYYmmdd-HHMMSS.toml beside the new; nothing is returned and kept
          where there was none
    cards -- the centre's own; the new file is read with them before it counts

    mark -- of the list that the new one was made from; None: whichever stands there

    Raises CannotKeep where it cannot be written or would not be read again, and ListChanged where another list stands
    there by now; the old file is then as it was.
    """
    path = path.resolve()
    draft = path.with_name(f"{path.name}.{uuid4().hex}.new")
    kept: Path | None = None
    try:
        with alone(path.parent):
            if mark is not None and _mark_of(path) != mark:
                raise ListChanged(path)
            write_through(draft, text.encode("utf-8"))
            read_roster(draft, cards)
            if path.exists():
                shutil.copymode(path, draft)
                kept = keep_aside(path, path.read_bytes(), at, path.parent)
            draft.replace(path)
            settle(path.parent)
    except BadRecord as error:
        reason = error.faults[0].message
        raise CannotKeep(f"{path}: the new list could not be read again: {reason}; nothing was changed") from error
    except OSError as error:
        raise CannotKeep(f"{path}: {error.strerror or error}; nothing was changed") from error
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)
    return kept
