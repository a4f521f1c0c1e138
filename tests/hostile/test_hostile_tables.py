"""Tables that a user brings, and changes that a page sends: read, or refused with row and words."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from openpyxl import load_workbook

from tests.hostile.mutations import TEXTS, Made, broken, hostile_values, made_of, mutated, tried
from tests.hostile.test_files import centre, told_well, whole, written  # noqa: F401 -- a fixture
from tripplan.catalogue.station import read_station
from tripplan.data_files import data_dir
from tripplan.errors import BadRecord
from tripplan.people.table import people_from, rows_of
from tripplan.planning.schedule_edit import EDITS, EditRefused, apply, edit_words, edits_data, edits_from
from tripplan.store.forecast_file import forecasts_by_site
from tripplan.store.people_file import centre_people, people_toml, read_table, write_table
from tripplan.store.ticks_file import read_ticks


def head(name: str, lines: int = 30) -> bytes:
    """Return the first lines of a table of the demonstration."""
    return b"\n".join((data_dir("sites") / name).read_bytes().split(b"\n")[:lines]) + b"\n"


@st.composite
def other_cells(draw: st.DrawFn, content: bytes) -> Made:
    """Give a table with other words in one to three of its cells, or with cells or rows doubled or gone."""
    rows = list(csv.reader(io.StringIO(content.decode())))
    for _ in range(draw(st.integers(1, 3))):
        row = rows[draw(st.integers(0, len(rows) - 1))]
        at = draw(st.integers(0, max(0, len(row) - 1)))
        how = draw(st.sampled_from(("put", "put", "put", "more", "gone", "twice")))
        if how == "put" and row:
            row[at] = str(draw(st.one_of(st.sampled_from(TEXTS), hostile_values())))
        elif how == "more":
            row.insert(at, draw(st.sampled_from(TEXTS)))
        elif how == "gone" and row:
            del row[at]
        elif how == "twice":
            rows.insert(draw(st.integers(0, len(rows))), row)
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(rows)
    return Made(out.getvalue().encode("utf-8", "surrogatepass"))


def read_forecasts(path: Path) -> Any:
    found, faults = forecasts_by_site(path.parent.parent, whole().sites)
    if faults:
        raise BadRecord(faults)
    return found


TABLES = {
    "stations/north-haven.csv": lambda path: read_station(path.with_suffix(".toml")),
    "forecast/island.csv": read_forecasts,
    "centre/ticks.csv": read_ticks,
}


@pytest.mark.parametrize("name", TABLES)
def test_a_table_of_the_folder_is_read_or_refused_in_words(name: str, centre: Path) -> None:  # noqa: F811
    content = head(name)

    @tried(40)
    @given(st.one_of(other_cells(content), broken(content)))
    def tell(made: Made) -> None:
        with written(centre, name, made.value) as path:
            try:
                TABLES[name](path)
            except BadRecord as error:
                told_well(error, centre)

    tell()


# ---- people ----


def people_read(content: bytes, name: str) -> None:
    """Read a table of people, and assert that it is refused in words or makes a list that reads back as itself."""
    known = centre_people(data_dir("sites"))
    try:
        found = people_from(read_table(content, name), known.cards, known.roster)
    except BadRecord as error:
        for fault in error.faults:
            assert fault.line >= 1 and fault.message.isprintable()
        return
    for fault in found.faults:
        assert fault.row >= 2 or fault.row == 0 or fault.row == 1
        assert fault.message.strip()
    text = people_toml(found.people)
    assert text.encode() and "\r" not in text


def table_of_people(name: str) -> bytes:
    return write_table(rows_of(centre_people(data_dir("sites")).roster)[:6], name)


@tried(40)
@given(st.one_of(other_cells(table_of_people("x.csv").removeprefix(b"\xef\xbb\xbf")), broken(table_of_people("x.csv"))))
def test_a_table_of_people_is_read_or_refused_in_words(made: Made) -> None:
    people_read(made.value, "people.csv")


@tried(12)
@given(st.data())
def test_a_workbook_of_people_is_read_or_refused_in_words(data: st.DataObject) -> None:
    content = table_of_people("x.xlsx")
    if data.draw(st.booleans()):
        book = load_workbook(io.BytesIO(content))
        cell = book.active.cell(data.draw(st.integers(1, 6)), data.draw(st.integers(1, 40)))
        value = data.draw(hostile_values().filter(lambda each: isinstance(each, str | int | float | date)))
        try:
            cell.value = value
            out = io.BytesIO()
            book.save(out)
        except Exception:  # no workbook can hold this
            return
        content = out.getvalue()
    else:  # one part of the archive is broken, the archive itself is whole
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
            chosen = data.draw(st.sampled_from(old.namelist()))
            for part in old.namelist():
                kept = old.read(part)
                new.writestr(part, data.draw(broken(kept)).value if part == chosen else kept)
        content = out.getvalue()
    people_read(content, "people.xlsx")


# ---- changes of a schedule ----

GOOD = {
    "pin": {"group": "Skuas", "dives": [1], "day": "2026-12-12", "entry": "09:30", "leader": "Ines Faro"},
    "unpin": {"group": "Skuas", "dives": [1]},
    "exclude": {"group": "Skuas", "day": "2026-12-12", "site": "gull-cove", "person": "Ines Faro"},
    "absent": {"person": "Ines Faro", "days": ["2026-12-12"], "because": "away"},
    "group": {"group": "Skuas", "days": ["2026-12-12"], "apart_h": 3, "clear": ["not_before"]},
    "close_site": {"site": "gull-cove", "days": ["2026-12-12"], "because": "regatta"},
    "leave_out": {"group": "Skuas", "divers": ["Bruno Silva"]},
}


@tried(40)
@given(st.one_of(
    st.sampled_from(sorted(EDITS)).flatmap(lambda do: mutated({"do": do, **GOOD.get(do, {"count": 3, "name": "x"})})),
    made_of(hostile_values()),
))  # fmt: skip
@example(Made([{"do": "absent", "person": "\ud800", "days": ["2026-12-12"]}]))
@example(Made({"do": "pin", "group": "Skuas", "dives": [10**400]}))
def test_changes_that_a_page_sends_are_read_or_refused_in_a_sentence(made: Made) -> None:
    request, world = next(iter(whole().schedules.values())), whole().world
    try:
        edits = edits_from([made.value] if isinstance(made.value, dict) else made.value)
        assert edits_from(json.loads(json.dumps(edits_data(edits)))) == edits
        assert all(edit_words(edit, world).endswith(".") for edit in edits)
        apply(request, world, edits)
    except EditRefused as error:
        assert error.sentence.strip()
        assert len(error.sentence) <= 2_010
