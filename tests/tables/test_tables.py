"""The packaged tables: each starts with its source, and each cell is the one in the check copy."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tripplan.tables import read_table, table_names, table_source

HANDBOOK = Path(__file__).parent.parent / "published" / "handbook"


def check_copy(name: str) -> list[dict[str, str]]:
    lines = (HANDBOOK / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.mark.parametrize("name", table_names())
def test_each_table_starts_with_its_source_provenance_and_units(name):
    text = " ".join(table_source(name))
    assert "source:" in text and "provenance:" in text and "units:" in text
    assert read_table(name)


@pytest.mark.parametrize("name", table_names())
def test_each_row_has_every_column(name):
    for row in read_table(name):
        assert None not in row and None not in row.values()


def test_a_table_is_read_once_and_cannot_be_changed():
    rows = read_table("navy_rev7_no_stop_limits")
    assert read_table("navy_rev7_no_stop_limits") is rows
    with pytest.raises(TypeError):
        rows[0]["depth_fsw"] = "11"


def test_a_table_that_is_not_packaged_is_named_with_those_that_are():
    with pytest.raises(KeyError, match="navy_rev7_no_stop_limits"):
        read_table("navy_rev8_no_stop_limits")


# US Navy Diving Manual Revision 7, Tables 9-7, 2A-1, 9-8, 2A-2, 9-5, 9-6, 10-1, verified in one public transcription;
# ZH-L16C: half-times and b verified, the a values of the C set from memory.
def test_the_packaged_limits_are_those_of_the_check_copies():
    for packaged, name in (
        ("navy_rev7_no_stop_limits", "navy_rev7_no_stop_limits"),
        ("navy_rev7_shallow_no_stop_limits", "navy_rev7_shallow_no_stop_limits"),
    ):
        ours, theirs = read_table(packaged), check_copy(name)
        assert len(ours) == len(theirs)
        for row, printed in zip(ours, theirs, strict=True):
            assert {key: printed[key] for key in row} == dict(row)


def test_the_packaged_coefficients_are_those_of_the_check_copy_in_the_4_minute_variant():
    printed = {row["compartment"]: row for row in check_copy("zh_l16_nitrogen_coefficients")}
    rows = read_table("zh_l16c_nitrogen")
    assert [row["compartment"] for row in rows] == [str(number) for number in range(1, 17)]
    for row in rows:
        check = printed[row["compartment"]]
        assert (float(row["half_time_min"]), float(row["a_bar"]), float(row["b"])) == (
            float(check["n2_half_time_min"]),
            float(check["n2_a_C_bar"]),
            float(check["n2_b_B_and_C"]),
        )


def test_no_packaged_coefficient_is_easier_than_the_published_a_set():
    printed = {row["compartment"]: row for row in check_copy("zh_l16_nitrogen_coefficients")}
    for row in read_table("zh_l16c_nitrogen"):
        assert float(row["a_bar"]) <= float(printed[row["compartment"]]["n2_a_A_bar"])
        assert float(row["b"]) >= float(printed[row["compartment"]]["n2_b_A_as_tabulated"])
