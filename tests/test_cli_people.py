"""The people command: lists, tables out, tables in; nothing is written that was not asked for."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from pathlib import Path

import pytest

from tripplan.cli import main
from tripplan.data_files import data_dir
from tripplan.store.people_file import centre_people, read_table, write_table


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "mine"
    shutil.copytree(data_dir("sites") / "centre", made / "centre")
    return made


def run(capsys, *words: object) -> tuple[int, str, list[str]]:
    code = main(["people", *(str(word) for word in words)])
    printed = capsys.readouterr()
    return code, printed.out, printed.err.splitlines()


def table(folder: Path, name: str = "people.csv", **cells: str) -> Path:
    """Write the centre's people as a table beside the folder, with some cells of the first one changed."""
    file = folder.parent / name
    assert main(["people", str(folder), "--export", str(file)]) == 0
    rows = read_table(file.read_bytes(), name)
    rows[0] |= cells
    file.write_bytes(write_table(rows, name))
    return file


def listing(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in (folder / "centre").glob("[!.]*")}


def test_the_list_names_everybody_with_the_level_and_nothing_private(folder, capsys):
    code, out, err = run(capsys, folder)
    assert (code, err) == (0, [])
    lines = out.splitlines()
    assert lines[-1] == "33 people" and len(lines) == 34
    assert lines[0].split() == ["Ines", "Faro", "instructor", "level", "2"]
    assert not re.search(r"\d{4}-\d\d-\d\d", out)
    code, out, err = run(capsys, folder, "--json")
    assert json.loads(out)["people"][0] == {"name": "Ines Faro", "identity": "V-001", "level": "instructor_2"}


@pytest.mark.parametrize("name", ["people.csv", "people.xlsx"])
def test_what_is_exported_and_imported_again_changes_nothing(folder, capsys, name):
    before = listing(folder)
    file = folder.parent / name
    code, out, err = run(capsys, folder, "--export", file)
    assert (code, out, err) == (0, f"{file}: 33 people\n", [])
    for words in ([], ["--apply"], ["--apply", "--good-rows"]):
        code, out, err = run(capsys, folder, "--import", file, *words)
        assert (code, err) == (0, [])
        assert out.splitlines() == [
            "0 new, 0 changed, 33 unchanged, 0 rows left out; 0 others of the list stay as they are",
            "Nothing was written: there is nothing to change.",
        ]
    assert listing(folder) == before


def test_a_table_on_the_terminal_can_be_without_what_is_private(folder, capsys):
    code, out, err = run(capsys, folder, "--export", "-", "--without-private")
    assert (code, err) == (0, [])
    rows = list(csv.DictReader(io.StringIO(out)))
    assert len(rows) == 33 and rows[0]["name"] == "Ines Faro"
    assert not [
        name for name in rows[0] if name.startswith(("medical", "next_of_kin")) or name in ("guardian", "notes")
    ]
    assert "Declaration" not in out and "guardian_consent" in rows[0]
    file = folder.parent / "p.xlsx"
    code, out, err = run(capsys, folder, "--export", file, "--without-private", "--json")
    found = json.loads(out)
    assert found["people"] == 33 and "medical" in found["left_out"] and "medical" not in found["columns"]
    assert set(read_table(file.read_bytes(), "p.xlsx")[0]) == set(found["columns"])


def test_an_import_shows_what_it_would_do_and_writes_only_when_it_is_told_to(folder, capsys):
    file = table(folder, logged_dives="2401", last_dive="")
    with file.open("a", encoding="utf-8", newline="") as out_file:
        out_file.write("Wren Abbot,W-1,1999-04-23,level_1\r\n")
    capsys.readouterr()
    before = listing(folder)
    expected = [
        "new        Wren Abbot, born 1999-04-23, level 1 (supervised diver) (row 35)",
        "changed    Ines Faro (row 2)",
        "             logged_dives: 2400 -> 2401",
        "             last_dive: 2026-11-21 -> nothing",
        "1 new, 1 changed, 32 unchanged, 0 rows left out; 0 others of the list stay as they are",
    ]
    code, out, err = run(capsys, folder, "--import", file)
    assert (code, err) == (0, [])
    assert out.splitlines() == [*expected, "Nothing was written: this shows what --apply would do."]
    assert listing(folder) == before

    code, out, err = run(capsys, folder, "--import", file, "--apply")
    assert (code, err) == (0, [])
    *shown, last = out.splitlines()
    (kept,) = set(listing(folder)) - set(before)
    assert re.fullmatch(r"people-\d{8}-\d{6}\.toml", kept)
    people = folder / "centre" / "people.toml"
    assert shown == expected and last == f"{people}: written; the list before is kept as {kept}"
    assert listing(folder)[kept] == before["people.toml"]
    found = centre_people(folder).roster.people
    assert len(found) == 34 and found["Ines Faro"].logged_dives == 2401 and found["Ines Faro"].last_dive is None
    assert found["Wren Abbot"].identity == "W-1"

    code, out, err = run(capsys, folder, "--import", file, "--apply")
    assert code == 0 and out.startswith("0 new, 0 changed, 34 unchanged")
    assert len(listing(folder)) == len(before) + 1


def test_a_table_with_a_fault_is_not_written_unless_the_good_rows_are_asked_for(folder, capsys):
    file = table(folder, medical="03/04/2026", logged_dives="many")
    text = file.read_text(encoding="utf-8-sig").replace(",1750,", ",1751,")
    file.write_text(text, encoding="utf-8")
    capsys.readouterr()
    before = listing(folder)
    faults = [
        f'{file}:2: logged_dives: "many" is not a number; write digits alone, without a unit',
        f'{file}:2: medical: "03/04/2026" can be read as 3 April or as 4 March, by country; write it like 2009-04-23, '
        "year first",
    ]
    for words in ([], ["--apply"]):
        code, out, err = run(capsys, folder, "--import", file, *words)
        assert (code, err) == (2, faults)
        assert out.splitlines()[:4] == [
            "changed    Tom Okafor (row 3)",
            "             logged_dives: 1750 -> 1751",
            "left out   row 2",
            "0 new, 1 changed, 31 unchanged, 1 row left out; 1 others of the list stay as they are",
        ]
        assert listing(folder) == before
    assert out.splitlines()[4:] == [
        "Nothing was written: rows have faults; mend them, or leave them out with --good-rows."
    ]

    code, out, err = run(capsys, folder, "--import", file, "--apply", "--good-rows", "--json")
    assert (code, err) == (2, faults)
    found = json.loads(out)
    assert found["left_out"] == [2] and found["applied"] is True and Path(found["kept"]).is_file()
    assert found["changed"] == [
        {"row": 3, "name": "Tom Okafor", "fields": [{"field": "logged_dives", "before": "1750", "after": "1751"}]}
    ]
    assert [(fault["row"], fault["column"]) for fault in found["faults"]] == [(2, "logged_dives"), (2, "medical")]
    people = centre_people(folder).roster.people
    assert people["Tom Okafor"].logged_dives == 1751 and people["Ines Faro"].logged_dives == 2400

    kept = listing(folder)
    code, out, err = run(capsys, folder, "--import", file, "--apply", "--good-rows")
    assert (code, err) == (2, faults) and "there is nothing to change" in out
    assert listing(folder) == kept


def test_a_column_that_is_not_known_is_a_fault_and_tells_what_was_meant(folder, capsys):
    file = folder.parent / "p.csv"
    file.write_text("name;born;card;medical_cler\nInes Faro;1979-03-14;Beacon card;no\n")
    code, out, err = run(capsys, folder, "--import", file, "--json")
    assert code == 2
    assert err == [f'{file}:1: medical_cler: "medical_cler" is not a known column; did you mean "medical_clear"?']
    found = json.loads(out)
    assert found["unknown_columns"] == [{"column": "medical_cler", "meant": "medical_clear"}]
    assert found["unchanged"] == ["Ines Faro"] and found["left_out"] == [] and found["applied"] is False


def test_a_first_table_makes_the_list_of_a_centre_that_has_none(folder, capsys):
    (folder / "centre" / "people.toml").unlink()
    file = folder.parent / "p.csv"
    file.write_text("name,born,level\nAda Lund,1980-02-29,level_2\n")
    code, out, err = run(capsys, folder, "--import", file, "--apply")
    assert (code, err) == (0, [])
    assert out.splitlines()[-1] == f"{folder / 'centre' / 'people.toml'}: written"
    assert list(centre_people(folder).roster.people) == ["Ada Lund"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["--export", "p.ods"],
            "p.ods:1: files of this kind are not written; give a file whose name ends with .csv or .xlsx",
        ),
        (["--import", "none.csv"], "none.csv: there is no such file"),
        (["--import", "/dev/null"], "/dev/null: there is no such file"),
        (["--apply"], "--apply writes what --import shows; give --import FILE too"),
        (["--import", "p.csv", "--good-rows"], "--good-rows says what --apply leaves out; give --apply too"),
        (["--without-private"], "--without-private says what --export leaves out; give --export FILE too"),
        (["--export", "-", "--json"], "--export - prints the table itself; leave --json out, or export to a file"),
    ],
)
def test_words_that_make_no_sense_are_refused_in_one_line(folder, capsys, monkeypatch, words, sentence):
    monkeypatch.chdir(folder)
    before = listing(folder)
    assert run(capsys, folder, *words) == (2, "", [sentence])
    assert listing(folder) == before and not list(folder.glob("p.*"))


def test_in_and_out_at_once_and_a_folder_without_a_centre_are_refused(folder, capsys, tmp_path):
    code, out, err = run(capsys, folder, "--export", "a.csv", "--import", "b.csv")
    assert (code, out, len(err)) == (2, "", 1) and "not allowed with" in err[0]
    code, out, err = run(capsys, tmp_path)
    assert (code, out) == (2, "") and err == [f"{tmp_path / 'centre' / 'centre.toml'}:1: there is no such file"]
