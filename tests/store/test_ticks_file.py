"""The file of skills seen before the store was in use."""

from __future__ import annotations

from datetime import date

import pytest

from tripplan.data_files import data_dir
from tripplan.errors import BadRecord
from tripplan.planning.progress import SkillTick
from tripplan.store.folder import load_folder
from tripplan.store.ticks_file import COLUMNS, read_ticks

HEAD = ",".join(COLUMNS) + "\n"


def written(tmp_path, text):
    file = tmp_path / "ticks.csv"
    file.write_bytes(text.encode("utf-8"))
    return file


def faults(path):
    with pytest.raises(BadRecord) as caught:
        read_ticks(path)
    return [(fault.line, fault.message) for fault in caught.value.faults]


def test_lines_are_read_in_their_order_by_course(tmp_path):
    text = HEAD + (
        "Ann,level_1_course,2,mask clearing,2027-06-01,Ida,again\r\n"
        "\n"
        '"Ann",level_1_course,2,mask clearing,2027-06-02,Ida,done\n'
        "Ben,refresher,1,signals,2027-06-02,Ida,done\n"
    )
    assert read_ticks(written(tmp_path, text)) == {
        "level_1_course": (
            SkillTick("Ann", "mask clearing", 2, date(2027, 6, 1), "Ida", "again"),
            SkillTick("Ann", "mask clearing", 2, date(2027, 6, 2), "Ida", "done"),
        ),
        "refresher": (SkillTick("Ben", "signals", 1, date(2027, 6, 2), "Ida", "done"),),
    }


def test_every_fault_is_told_with_its_line_and_what_is_accepted(tmp_path):
    text = HEAD + (
        "Ann,level_1_course,1,signals,2027-06-01,Ida,done\n"
        "Ann,swimming,1,signals,2027-06-01,Ida,done\n"
        "Ann,level_1_course,one,signals,2027-06-01,Ida,done\n"
        "Ann,level_1_course,0,signals,2027-06-01,Ida,done\n"
        "Ann,level_1_course,1,signals,1 June,Ida,done\n"
        "Ann,level_1_course,1,signals,2027-06-01,Ida,yes\n"
        "Ann,level_1_course,1,signals,2027-06-01,ann,done\n"
        "Ann,level_1_course,1,signals,2027-06-01,Ida,done,again\n"
        "Ann,level_1_course,1\n"
    )
    found = faults(written(tmp_path, text))
    assert [line for line, _ in found] == [3, 4, 5, 6, 7, 8, 9, 10]
    words = ("level_1_course", "number of the dive", "from 1", "2027-06-12", "again", "own skill", "8 cells", "day is")
    for (_, message), part in zip(found, words, strict=True):
        assert part in message or part == "8 cells"
    assert "cells" in found[6][1]


def test_a_file_without_its_columns_or_in_another_code_is_refused(tmp_path):
    assert "course" in faults(written(tmp_path, "person,dive\nAnn,1\n"))[0][1]
    assert "person" in faults(written(tmp_path, ""))[0][1]
    odd = tmp_path / "latin.csv"
    odd.write_bytes(HEAD.encode() + "Zoë,level_1_course,1,x,2027-06-01,Ida,done\n".encode("latin-1"))
    assert "UTF-8" in faults(odd)[0][1]


def test_a_bad_file_is_told_and_hides_nothing_else_of_the_folder(tmp_path):
    import shutil

    folder = tmp_path / "centre"
    shutil.copytree(data_dir("sites"), folder)
    assert load_folder(folder).world.ticks["level_1_course"]
    (folder / "centre" / "ticks.csv").write_text(HEAD + "Ann,level_1_course,x,y,z,Ida,done\n", encoding="utf-8")
    found = load_folder(folder)
    assert found.world.ticks == {}
    assert any("ticks.csv" in str(fault) for fault in found.faults)
    assert found.requests
