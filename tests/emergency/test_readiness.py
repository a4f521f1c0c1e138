"""The centre's emergency file: what it holds, and how a fault in it is told."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from tripplan.data_files import data_dir
from tripplan.emergency.readiness import Readiness, read_readiness, readiness_from
from tripplan.errors import BadRecord
from tripplan.record import TomlFile

UNIT = """
[[oxygen_units]]
name = "Box"
volume_l = 5
pressure_bar = 190
device = "demand"
kept = "at the entry"
read = 2027-06-01
read_by = "Vera Lind"
"""
DRILL = """
[[drills]]
held = 2027-05-01
scenario = "fire"
led_by = "Vera Lind"
who = ["Ann"]
"""


def faults(text: str) -> list[str]:
    with pytest.raises(BadRecord) as caught:
        readiness_from(TomlFile(Path("emergency.toml"), text))
    return [str(fault) for fault in caught.value.faults]


def test_the_demonstration_has_oxygen_kit_drills_and_whom_to_tell():
    found = read_readiness(data_dir("sites") / "centre" / "emergency.toml")
    assert {unit.name for unit in found.oxygen_at("gull-cove")} == {"Oxygen box 1", "Oxygen box 2"}
    assert "Harbour wall cabinet" in {unit.name for unit in found.oxygen_at("old-slip")}
    assert found.kits_at("gull-cove") and found.drills and found.tell_after


def test_what_is_left_out_is_not_there():
    assert readiness_from(TomlFile(Path("emergency.toml"), "")) == Readiness()
    assert Readiness().oxygen_at("anywhere") == ()


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("volume_l = 5\n", "", 2, "has no size; give volume_l, or litres_per_psi"),
        ("volume_l = 5", "volume_l = 5\nlitres_per_psi = 0.28", 5, "is given together with volume_l"),
        ("pressure_bar = 190", "pressure_psi = 1900", 5, "is read in bar: give pressure_bar"),
        ("volume_l = 5\n", "litres_per_psi = 0.28\n", 5, "is read in psi: give pressure_psi"),
        ("read = 2027-06-01\n", "", 8, "is given without read"),
        ('read_by = "Vera Lind"\n', "", 8, "is given without read_by"),
        ("volume_l = 5", "volume_l = -5", 4, "must be more than 0"),
        ('"demand"', '"mask"', 6, '"demand", "non_rebreather", "bag_mask"'),
        ("pressure_bar = 190", "pressure_bar = 1900", 5, "at most 350"),
    ],
)
def test_a_unit_that_cannot_be_counted_is_refused_with_its_line(old, new, line, words):
    assert old in UNIT
    (found,) = faults(UNIT.replace(old, new))
    assert found.startswith(f"emergency.toml:{line}: oxygen_units[1]") and words in found


def test_two_units_of_one_name_are_refused():
    (found,) = faults(UNIT + UNIT.replace('"Box"', '"BOX"'))
    assert "stands in the list already" in found


def test_a_drill_has_a_day_somebody_who_led_it_and_people():
    found = readiness_from(TomlFile(Path("emergency.toml"), DRILL))
    assert found.drills[0].held == date(2027, 5, 1) and found.drills[0].who == ("Ann",)
    assert any("who is missing" in line for line in faults(DRILL.replace('who = ["Ann"]\n', "")))
    assert any("scenario" in line and '"fire"' in line for line in faults(DRILL.replace('"fire"', '"party"')))
