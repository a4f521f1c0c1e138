"""Files of people: a spreadsheet's bytes as rows and back, people.toml written anew and put in place whole."""

from __future__ import annotations

import csv
import io
import os
import random
import re
import stat
import tomllib
import zipfile
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from tripplan.data_files import data_dir
from tripplan.errors import BadRecord
from tripplan.people.level import Level
from tripplan.people.person import Person, Weighting
from tripplan.people.roster import Roster, read_roster
from tripplan.people.table import COLUMNS, Cell, people_from, rows_of
from tripplan.store.people_file import centre_people, people_toml, read_table, save_people, write_table
from tripplan.store.records import CannotKeep

CARDS = {"Blue card": Level.LEVEL_1, "Red card": Level.LEVEL_2, 'Odd "card" \\': Level.LEVEL_3}
NOON = datetime(2027, 6, 12, 12, 0, 5, tzinfo=UTC)
NOBODY = Roster(MappingProxyType({}))


def told(content: bytes, name: str = "people.csv") -> list[str]:
    with pytest.raises(BadRecord) as refused:
        read_table(content, name)
    return [str(fault) for fault in refused.value.faults]


def workbook(rows: list[list[object]], *, mac: bool = False) -> Workbook:
    book = Workbook()
    if mac:
        book.epoch = CALENDAR_MAC_1904
    for row in rows:
        book.active.append(row)
    return book


def saved(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


# ---- CSV in ----

PLAIN = "name,born,notes\nAda,1980-02-29,\nBo,1991-06-01,seal\n"
ADA_AND_BO = [
    {"name": "Ada", "born": "1980-02-29", "notes": ""},
    {"name": "Bo", "born": "1991-06-01", "notes": "seal"},
]


@pytest.mark.parametrize(
    "text",
    [
        PLAIN,
        "\ufeff" + PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r"),
        PLAIN.replace(",", ";"),
        "sep=;\r\n" + PLAIN.replace(",", ";"),
        PLAIN.replace(",", "\t"),
        PLAIN.replace(",", " , "),
        PLAIN + "\n\n,,\n",
        PLAIN.rstrip("\n"),
        PLAIN.replace("Ada,1980-02-29,", "Ada,1980-02-29"),
        '"name","born", "notes"\n"Ada","1980-02-29",""\n"Bo", "1991-06-01","seal"\n',
    ],
)
def test_a_csv_file_is_read_however_a_spreadsheet_writes_it(text):
    assert read_table(text.encode(), "people.csv") == ADA_AND_BO


def test_empty_rows_keep_the_numbers_of_the_others_and_lines_within_quotes_count_as_one_row():
    rows = read_table(b'name,notes\n"Ada","two\nlines, really"\n\n  \nBo,\n', "P.CSV")
    assert [row["name"] for row in rows] == ["Ada", "", "", "Bo"]
    assert rows[0]["notes"] == "two\nlines, really"


def test_what_stands_in_a_column_without_a_name_is_kept_under_its_number():
    assert read_table(b"name,,born\nAda,x,1980-02-29,y,\n", "p.csv") == [
        {"name": "Ada", "born": "1980-02-29", "column 2": "x", "column 4": "y"}
    ]


def test_a_semicolon_within_a_row_does_not_decide_what_separates():
    rows = read_table(b"name,endorsements\nAda,dry suit;night;drift\n", "p.csv")
    assert rows == [{"name": "Ada", "endorsements": "dry suit;night;drift"}]


BAD_FILES = [
    (b"", "people.csv", 1, "the file is empty; row 1 must hold the names of the columns"),
    (b"\n\nname,born\n", "people.csv", 1, "row 1 is empty; it must hold the names of the columns"),
    (b"name,born,name\nA,B,C\n", "people.csv", 1, 'the column "name" stands twice'),
    ("name,born\nAda,x\nJosé Grün,y\n".encode("latin-1"), "people.csv", 3,
     'the file is not UTF-8 text but Latin-1 or Windows-1252, as it seems, like in "José"; save it as CSV in UTF-8'),
    ("name,born\n".encode("utf-16"), "people.csv", 1, "the file is UTF-16 text; save it as CSV in UTF-8"),
    (b"name,born\nA\0,B\n", "people.csv", 2, "the file holds bytes that no text has; save it as CSV in UTF-8"),
    (b'name,born\nAda,x\n"Bo,y\nCy,z\n', "people.csv", 3, "double quotes that begin in this row are never closed"),
    (b'name,born\nAda,x\nBo,y\nCy,"z', "people.csv", 4, "double quotes that begin in this row are never closed"),
    (b"name\n" + b"," * 201, "people.csv", 2, "the row has more than 200 cells"),
    (b"name\n" + b"A\n" * 20_001, "people.csv", 1, "the file has 20,001 rows; it must have at most 20,000"),
    (b"n" * 5_000_001, "people.csv", 1, "the file is larger than 5,000,000 bytes"),
    (b'name\n"' + b"n" * 200_000 + b'"', "people.csv", 1,
     "the file cannot be read as CSV: field larger than field limit (131072)"),
    (b"PK\x03\x04", "people.csv", 1, "the file is a workbook, not CSV; give its name the ending .xlsx"),
    (b"PK\x03\x04", "people.xlsx", 1, "the file is damaged, or not an .xlsx workbook"),
    (b"name,born\n", "people.xlsx", 1, "the file is damaged, or not an .xlsx workbook"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1", "people.xlsx", 1,
     "the file is locked with a password or of an old kind; save it as .xlsx without a password"),
    (b"name,born\n", "people.ods", 1,
     "files of this kind are not read; give a file whose name ends with .csv or .xlsx"),
]  # fmt: skip


@pytest.mark.parametrize(("content", "name", "row", "sentence"), BAD_FILES)
def test_a_file_that_cannot_be_read_is_refused_with_a_sentence(content, name, row, sentence):
    assert told(content, name) == [f"{name}:{row}: {sentence}"]


def test_twenty_thousand_rows_are_read_and_empty_lines_behind_them_do_not_count():
    assert len(read_table(b"name\n" + b"A\n" * 20_000 + b"\n" * 50, "people.csv")) == 20_000


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=60), st.sampled_from([b"", b"name,born\n", b'name;"']), st.sampled_from(["p.csv", "p.xlsx"]))
def test_whatever_bytes_a_file_holds_it_is_read_or_refused(content, begin, name):
    try:
        rows = read_table(begin + content, name)
    except BadRecord as refused:
        assert all(fault.message and fault.line >= 1 for fault in refused.faults)
    else:
        assert all(isinstance(text, str) for row in rows for text in row.values())


# ---- XLSX in ----


@pytest.mark.parametrize("mac", [False, True])
def test_typed_cells_of_a_workbook_come_as_texts_whichever_year_its_days_count_from(mac):
    book = workbook([["name", "born", "nitrox", "logged_dives", "gas_rate_l_min", "identity", "last_dive"]], mac=mac)
    book.active.append([" Ada ", datetime(2009, 4, 23), True, 41, 18.5, 7, datetime(2026, 5, 1, 10, 30)])  # noqa: DTZ001
    # 23 April 2009 is day 39926 of a workbook that counts from 1900 (1 January 2009 is day 39814, and 112 days later)
    # and day 39926 - 1462 = 38464 of one that counts from 1904; here as the bare number with the format of a date.
    book.active.append(["Bo", 38464 if mac else 39926, False, 41.0, 1e-7, None, None])
    book.active["B3"].number_format = "dd/mm/yyyy"
    rows = read_table(saved(book), "people.xlsx")
    assert rows == [
        {"name": "Ada", "born": "2009-04-23", "nitrox": "true", "logged_dives": "41", "gas_rate_l_min": "18.5",
         "identity": "7", "last_dive": "2026-05-01 10:30:00"},
        {"name": "Bo", "born": "2009-04-23", "nitrox": "false", "logged_dives": "41", "gas_rate_l_min": "0.0000001",
         "identity": "", "last_dive": ""},
    ]  # fmt: skip
    kinds = [getattr(rows[0][name], "kind", None) for name in ("name", "born", "nitrox", "logged_dives", "last_dive")]
    assert kinds == [None, "date", None, "number", "date"]


def test_errors_and_formulas_without_a_result_are_marked_and_never_read_as_empty():
    book = workbook([["name", "born", "medical", "notes"], ["Ada", "=TODAY()", "#REF!", "=1+1"]])
    rows = read_table(saved(book), "people.xlsx")  # written by a program that calculates nothing
    assert [(str(text), text.kind) for text in rows[0].values() if isinstance(text, Cell)] == [
        ("=TODAY()", "formula"), ("#REF!", "error"), ("=1+1", "formula"),
    ]  # fmt: skip


def test_a_formula_with_its_result_is_read_as_the_result():
    content = saved(workbook([["name", "logged_dives"], ["Ada", "=40+1"]]))
    packed, out = zipfile.ZipFile(io.BytesIO(content)), io.BytesIO()
    with zipfile.ZipFile(out, "w") as again:
        for part in packed.namelist():
            text = packed.read(part)
            if part.endswith("sheet1.xml"):
                assert b"<f>40+1</f><v></v>" in text or b"<f>40+1</f><v />" in text
                text = re.sub(rb"<f>40\+1</f><v ?/?>(</v>)?", b"<f>40+1</f><v>41</v>", text)
            again.writestr(part, text)
    assert read_table(out.getvalue(), "people.xlsx") == [{"name": "Ada", "logged_dives": "41"}]


def test_only_the_first_sheet_is_read_and_its_empty_rows_keep_the_numbers():
    book = workbook([["name"], ["Ada"]])
    book.active["A5"] = "Bo"
    book.create_sheet("other").append(["name", "born"])
    assert [row["name"] for row in read_table(saved(book), "people.xlsx")] == ["Ada", "", "", "Bo"]


def packed(**parts: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def test_a_workbook_that_grows_when_unpacked_is_refused_before_it_is():
    content = packed(sheet=b"0" * 100_000_001)
    assert len(content) < 200_000
    assert told(content, "p.xlsx") == ["p.xlsx:1: the file is larger than 100,000,000 bytes when it is unpacked"]


def test_a_workbook_whose_parts_define_words_that_grow_is_refused():
    rows = saved(workbook([["name"], ["Ada"]]))
    archive = zipfile.ZipFile(io.BytesIO(rows))
    parts = {name: archive.read(name) for name in archive.namelist()}
    for encoding in ("utf-8", "utf-16"):
        sheet = '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa">]>'.encode(encoding)
        told_of = told(packed(**{**parts, "xl/worksheets/sheet1.xml": sheet}), "p.xlsx")
        assert told_of == ["p.xlsx:1: the file holds definitions that no workbook has; save it anew as .xlsx"]


def test_a_workbook_with_too_many_rows_or_too_wide_a_row_is_refused():
    book = Workbook(write_only=True)
    sheet = book.create_sheet()
    for _ in range(20_002):
        sheet.append(["A"])
    assert told(saved(book), "p.xlsx") == ["p.xlsx:1: the file has more than 20,000 rows"]
    book = workbook([["name"], ["Ada"]])
    book.active.cell(2, 201, "x")
    assert told(saved(book), "p.xlsx") == ["p.xlsx:2: the sheet is too wide; a row must have at most 200 cells"]


# Made once: a workbook holds the moment at which it was saved, and no two have the same length.
WHOLE = saved(workbook([["name", "born"], ["Ada", date(1980, 2, 29)]]))


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_damaged_workbook_is_read_or_refused(data):
    content = bytearray(WHOLE)
    for at in data.draw(st.lists(st.integers(0, len(content) - 1), min_size=1, max_size=4)):
        content[at] ^= data.draw(st.integers(1, 255))
    try:
        read_table(bytes(content), "people.xlsx")
    except BadRecord as refused:
        assert len(refused.faults) == 1


# ---- out ----

FORMULAS = ["=1+1", '=HYPERLINK("x")', "+44 1632 960100", "-4", "@sum", "\tx", " =1", "'=1", "''+1", "＝1", "a=1", "'a"]


def test_no_cell_of_a_csv_file_can_become_a_formula():
    rows = [{"name": text} for text in FORMULAS]
    text = write_table(rows, "people.csv").decode("utf-8-sig")
    cells = [line[0] for line in csv.reader(io.StringIO(text, newline=""))][1:]
    assert not any(cell.lstrip()[:1] in ("=", "+", "-", "@", "＝") or cell[:1] in "\t\r" for cell in cells)
    assert cells[-2:] == ["a=1", "'a"]  # what is harmless stays as it is
    assert cells[2] == "'+44 1632 960100"


def test_every_cell_of_a_workbook_is_text_and_stays_text_when_typed_in():
    content = write_table([{"name": text, "born": "#REF!"} for text in FORMULAS], "people.xlsx")
    sheet = load_workbook(io.BytesIO(content)).active
    assert sheet is not None
    cells = [cell for row in sheet.iter_rows() for cell in row]
    assert {cell.data_type for cell in cells} == {"s"} and {cell.number_format for cell in cells} == {"@"}
    assert b"<f" not in zipfile.ZipFile(io.BytesIO(content)).read("xl/worksheets/sheet1.xml")
    assert sheet["A4"].value == "+44 1632 960100"


TEXTS = st.text(st.characters(codec="utf-8", exclude_characters="\0\r"), max_size=8) | st.sampled_from(FORMULAS)
TABLES = st.lists(st.fixed_dictionaries({"name": TEXTS, "notes": TEXTS, "x": TEXTS}), min_size=1, max_size=4)


@settings(max_examples=300, deadline=None)
@given(TABLES)
def test_a_csv_file_that_is_read_again_has_the_same_texts(rows):
    wanted = [{name: text.strip() for name, text in row.items()} for row in rows]
    while wanted and not any(wanted[-1].values()):
        wanted.pop()
    read = read_table(write_table(rows, "p.csv"), "p.csv")
    assert [{name: text.strip() for name, text in row.items()} for row in read] == wanted


@settings(max_examples=60, deadline=None)
@given(TABLES)
def test_a_workbook_that_is_read_again_has_the_same_texts(rows):
    unwritable = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")  # by the definition of XML 1.0
    wanted = [{name: unwritable.sub(" ", text).strip() for name, text in row.items()} for row in rows]
    while wanted and not any(wanted[-1].values()):
        wanted.pop()
    read = read_table(write_table(rows, "p.xlsx"), "p.xlsx")
    assert [{name: text.strip() for name, text in row.items()} for row in read] == wanted


def test_a_table_of_nobody_has_its_columns_and_other_kinds_are_refused():
    assert write_table([], "p.csv").decode("utf-8-sig") == ",".join(COLUMNS) + "\r\n"
    for rows, name, sentence in (
        ([], "p.ods", "p.ods:1: files of this kind are not written; give a file whose name ends with .csv or .xlsx"),
        ([{"notes": "n" * 32_767}], "p.xlsx",
         "p.xlsx:2: a cell of a workbook holds fewer than 32,767 characters; write a .csv file"),
    ):  # fmt: skip
        with pytest.raises(BadRecord) as refused:
            write_table(rows, name)
        assert str(refused.value) == sentence


# ---- people.toml ----

ANY_TEXT = st.text(st.characters(codec="utf-8"), max_size=12)
PRINTABLE = ANY_TEXT.map(lambda text: "".join(c for c in text if c.isprintable()))
NUMBERS = st.floats(1, 2, allow_nan=False)


@st.composite
def rosters(draw: st.DrawFn) -> list[Person]:
    found = []
    for number in range(draw(st.integers(1, 3))):
        card = draw(st.sampled_from(["", *CARDS]))
        weighting = Weighting(
            lead_kg=draw(st.floats(0, 40)), all_on_kg=98.5, density_kg_m3=1027.0, suit_mm=draw(st.none() | NUMBERS),
            cylinder_l=draw(NUMBERS), fill_bar=draw(NUMBERS), height_m=1.68, body_kg=61.0,
        )  # fmt: skip
        found.append(
            Person(
                name=f"{number}{draw(PRINTABLE)}", identity=draw(PRINTABLE),
                born=draw(st.dates(date(1900, 1, 1), date(2001, 1, 1))),
                level=CARDS[card] if card else draw(st.sampled_from(list(Level))), card=card,
                logged_dives=draw(st.integers(0, 50_000)), medical=date(2026, 5, 1), medical_clear=draw(st.booleans()),
                next_of_kin_phone=draw(st.none() | st.just("+44 7700 900123")),
                gas_rate_l_min=draw(st.none() | st.floats(5, 60)), weighting=draw(st.none() | st.just(weighting)),
                endorsements=tuple(draw(st.lists(PRINTABLE, max_size=3))),
                sizes=draw(st.dictionaries(st.sampled_from(["suit", "fins", "buoyancy_device"]), PRINTABLE)),
                speaks=tuple(draw(st.lists(PRINTABLE, max_size=3))), language=draw(ANY_TEXT), notes=draw(ANY_TEXT),
            )
        )  # fmt: skip
    return found


@settings(max_examples=200, deadline=None)
@given(rosters())
def test_a_list_that_is_written_and_read_again_holds_the_same_people(people):
    text = people_toml(people)
    assert len(tomllib.loads(text)["people"]) == len(people)
    with TemporaryDirectory() as folder:
        file = Path(folder) / "people.toml"
        file.write_text(text, encoding="utf-8", newline="\n")
        assert list(read_roster(file, CARDS).people.values()) == people
        assert people_toml(read_roster(file, CARDS).people.values()) == text


def test_the_list_holds_only_what_is_set():
    text = people_toml([Person(name="Ada", born=date(1980, 2, 29), level=Level.LEVEL_2, card="Red card", nitrox=True)])
    assert text.split("\n\n")[1].splitlines() == [
        "[[people]]", 'name = "Ada"', "born = 1980-02-29", 'card = "Red card"', "nitrox = true",
    ]  # fmt: skip


def test_the_demonstration_centre_goes_through_both_kinds_of_table_unchanged(tmp_path):
    centre = centre_people(data_dir("sites"))
    assert len(centre.roster.people) > 30
    for name in ("people.csv", "people.xlsx"):
        rows = read_table(write_table(rows_of(centre.roster), name), name)
        again = people_from(rows, centre.cards, NOBODY)
        assert again.faults == () and again.people == tuple(centre.roster.people.values())
        same = people_from(rows, centre.cards, centre.roster)
        assert (same.faults, same.new, same.changed) == ((), (), ())
    file = tmp_path / "people.toml"
    file.write_text(people_toml(centre.roster.people.values()), encoding="utf-8")
    assert read_roster(file, centre.cards) == centre.roster


# ---- put in place ----

ONE = '[[people]]\nname = "Ada"\nborn = 1980-02-29\nlevel = "level_1"\n'
TWO = ONE.replace("Ada", "Bo")


def test_a_new_list_takes_the_place_of_the_old_one_which_is_kept_under_its_time(tmp_path):
    file = tmp_path / "people.toml"
    assert save_people(file, ONE, NOON, CARDS) is None
    file.chmod(0o640)
    kept = save_people(file, TWO, NOON, CARDS)
    again = save_people(file, ONE, NOON, CARDS)  # within the same second: nothing kept is ever written over
    assert kept == tmp_path / "people-20270612-120005.toml"
    assert again == tmp_path / "people-20270612-120005-2.toml"
    assert (file.read_text(), kept.read_text(), again.read_text()) == (ONE, ONE, TWO)
    assert {stat.S_IMODE(each.stat().st_mode) for each in tmp_path.glob("[!.]*")} == {0o640}
    assert len(list(tmp_path.glob("[!.]*"))) == 3


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (ONE.replace("level_1", "level_9"), "people[1].level is"),
        (ONE + TWO + ONE, '"Ada" stands twice'),
        ("", "there is nobody in the list"),
        (ONE + "#" * 2_000_000, "the file is larger than 2,000,000 bytes"),
    ],
)
def test_a_list_that_could_not_be_read_again_never_takes_the_place(tmp_path, text, reason):
    file = tmp_path / "people.toml"
    file.write_text(ONE)
    with pytest.raises(CannotKeep, match="nothing was changed") as refused:
        save_people(file, text, NOON, CARDS)
    assert reason in str(refused.value)
    assert [(each.name, each.read_text()) for each in tmp_path.glob("[!.]*")] == [("people.toml", ONE)]


@pytest.mark.parametrize("failing", ["fsync", "replace"])
def test_a_disk_that_fails_leaves_the_old_list_as_it_was(tmp_path, monkeypatch, failing):
    file = tmp_path / "people.toml"
    file.write_text(ONE)

    def fails(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(*(os, "fsync") if failing == "fsync" else (Path, "replace"), fails)
    with pytest.raises(CannotKeep, match="No space left on device; nothing was changed"):
        save_people(file, TWO, NOON, CARDS)
    assert file.read_text() == ONE
    assert not list(tmp_path.glob("*.new"))


def centre(folder: Path, people: str | None, more: str = "") -> Path:
    (folder / "centre").mkdir()
    (folder / "centre" / "centre.toml").write_text(
        f'name = "Test centre"\npeople = "people.toml"\n{more}[cards]\n" Blue card" = "level_1"\n'
    )
    if people is not None:
        (folder / "centre" / "people.toml").write_text(people)
    return folder


@pytest.mark.parametrize("people", [None, "", "# nobody yet\n"])
def test_a_centre_without_people_yet_can_take_its_first_table(tmp_path, people):
    found = centre_people(centre(tmp_path, people))
    assert (found.path, dict(found.cards)) == (tmp_path / "centre" / "people.toml", {"Blue card": Level.LEVEL_1})
    assert not found.roster.people


@pytest.mark.parametrize(
    ("people", "more", "reason"),
    [
        (ONE.replace("level_1", "level_9"), "", "level_9"),
        ("", 'colour = "red"\n', "colour"),
        ("people = 4\n", "", "people must be tables"),
        ("people = [\n", "", "not valid TOML"),
    ],
)
def test_a_centre_with_faults_takes_no_table(tmp_path, people, more, reason):
    with pytest.raises(BadRecord, match=reason):
        centre_people(centre(tmp_path, people, more))


# ---- five thousand rows ----

KINDS = {  # what is planted, where it is told, and the words that tell it
    "a day and month in either order": ({"born": "03/04/2009"}, "born", "can be read as 3 April or as 4 March"),
    "a day that is none": ({"last_dive": "2026-02-30"}, "last_dive", "not a day of the calendar"),
    "a number for a day": ({"medical": "45000"}, "medical", "is a number, not a date"),
    "a month in letters": ({"first_aid_until": "1 May 2027"}, "first_aid_until", "is not a date"),
    "before birth": ({"last_dive": "1950-01-01"}, "last_dive", "must be after birth"),
    "no name": ({"name": " "}, "name", "is missing"),
    "no birth date": ({"born": ""}, "born", "is missing"),
    "neither yes nor no": ({"nitrox": "perhaps"}, "nitrox", "is neither yes nor no"),
    "clear without a declaration": ({"medical": "", "medical_clear": "x"}, "medical_clear", "there is no medical"),
    "a comma": ({"gas_rate_l_min": "17,5"}, "gas_rate_l_min", "write the decimals after a point: 17.5"),
    "a unit": ({"logged_dives": "12 dives"}, "logged_dives", "is not a number"),
    "half a dive": ({"logged_dives": "12.5"}, "logged_dives", "is not a whole number"),
    "too many dives": ({"logged_dives": "50001"}, "logged_dives", "must be at most 50000"),
    "too much gas": ({"gas_rate_l_min": "600"}, "gas_rate_l_min", "must be at most 60"),
    "an unknown card": ({"card": "Bleu card"}, "card", 'did you mean "Blue card"?'),
    "a card against its level": ({"card": "Blue card", "level": "level_2"}, "card", "give one of the two"),
    "an unknown level": ({"card": "", "level": "level_7"}, "level", "must be one of"),
    "words for a telephone": ({"next_of_kin_phone": "ask at home"}, "next_of_kin_phone", "not a telephone number"),
    "half a weighting": ({"weighting_lead_kg": "8"}, "weighting_body_kg", "is missing"),
    "an identity that lost its digits": ({"identity": "4.4E+11"}, "identity", "lost digits"),
}  # fmt: skip
FAULTY, ROWS = 200, {"people.csv": 5_000, "people.xlsx": 1_500}  # a workbook takes long to write


def big_table(count: int) -> tuple[list[dict[str, str]], dict[int, str]]:
    """Return so many invented people, and what is planted in which row; always the same ones."""
    chance = random.Random(24801)
    columns = [
        "name", "identity", "born", "card", "level", "logged_dives", "last_dive", "medical", "medical_clear",
        "first_aid_until", "nitrox", "gas_rate_l_min", "next_of_kin_phone", *[c for c in COLUMNS if "weighting" in c],
    ]  # fmt: skip
    rows = []
    for number in range(count):
        born = date(1950, 1, 1) + timedelta(days=chance.randrange(18_000))
        cells = {"name": f"Diver {number}", "born": born.isoformat(), "card": chance.choice(["Blue card", "Red card"])}
        cells |= {"identity": f"D-{number}"} if number % 3 else {}
        cells |= {"logged_dives": str(chance.randrange(500)), "last_dive": "2026-10-01", "medical": "2026-05-01"}
        cells |= {"medical_clear": chance.choice(["yes", "no", "x", ""]), "gas_rate_l_min": "17.5"}
        rows.append({**dict.fromkeys(columns, ""), **cells})
    planted: dict[int, str] = {}
    kinds = list(KINDS)
    for place, at in enumerate(chance.sample(range(1, count), FAULTY)):
        planted[at + 2] = kinds[place % len(kinds)]
        rows[at] |= KINDS[planted[at + 2]][0]
    return rows, planted


@pytest.mark.parametrize("name", ["people.csv", "people.xlsx"])
def test_of_thousands_of_rows_each_of_two_hundred_faults_is_told_and_the_good_ones_are_read_once(tmp_path, name):
    count = ROWS[name]
    rows, planted = big_table(count)
    assert len(planted) == FAULTY and len(set(planted.values())) == len(KINDS) >= 12
    table = read_table(write_table(rows, name), name)
    preview = people_from(table, CARDS, NOBODY)
    told_in: dict[int, list[tuple[str, str]]] = {}
    for fault in preview.faults:
        told_in.setdefault(fault.row, []).append((fault.column, fault.message))
    assert set(told_in) == set(planted)
    for row, kind in planted.items():
        _, column, words = KINDS[kind]
        assert any(where == column and words in message for where, message in told_in[row]), (row, kind, told_in[row])
        if kind != "half a weighting":
            assert len(told_in[row]) == 1, (row, kind, told_in[row])
    assert preview.left_out == tuple(sorted(planted))
    assert len(preview.new) == count - FAULTY
    assert Counter(one.row for one in preview.new) == Counter(set(range(2, count + 2)) - set(planted))

    file = tmp_path / "people.toml"
    save_people(file, people_toml(preview.people), NOON, CARDS)
    roster = read_roster(file, CARDS)
    assert tuple(roster.people.values()) == preview.people
    again = people_from(table, CARDS, roster)
    assert (again.new, again.changed, again.people) == ((), (), preview.people)
    assert again.left_out == preview.left_out
    assert len(again.unchanged) == count - FAULTY
