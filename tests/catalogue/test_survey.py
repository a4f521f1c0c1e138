"""A catalogue is read whole: folders, single files, stations beside them, and every fault at once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tripplan.catalogue.survey import survey

VALID = Path(__file__).with_name("bad_sites") / "north-cove.toml"
STATION = """name = "North Haven"
latitude = 47.153
longitude = -17.07
timezone = "Atlantic/Azores"
datum = "chart datum"
mean_level_m = 2.2
[constituents]
M2 = [1.2, 60.0]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A catalogue of one site and its station."""
    (tmp_path / "stations").mkdir()
    shutil.copy(VALID, tmp_path / "north-cove.toml")
    (tmp_path / "stations" / "north-haven.toml").write_text(STATION, encoding="utf-8")
    return tmp_path


def test_a_folder_gives_its_sites_and_the_stations_inside(folder: Path) -> None:
    found = survey([folder])
    assert (list(found.sites), list(found.stations), found.faults) == (["north-cove"], ["north-haven"], ())


def test_hidden_files_and_other_folders_are_not_taken(folder: Path) -> None:
    for name in (".draft.toml", "centre/roster.toml", "requests/day.toml", "stations/.old.toml", "notes.txt"):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text("not toml at all", encoding="utf-8")
    assert survey([folder]).faults == ()


def test_a_file_by_itself_is_a_site_or_a_station_by_what_it_holds(folder: Path) -> None:
    found = survey([folder / "stations" / "north-haven.toml"])
    assert (list(found.sites), list(found.stations), found.faults) == ([], ["north-haven"], ())


def test_a_site_by_itself_finds_its_station_beside_it(folder: Path) -> None:
    (folder / "stations" / "broken.toml").write_text("x = 1", encoding="utf-8")
    found = survey([folder / "north-cove.toml"])
    assert (list(found.sites), list(found.stations), found.faults) == (["north-cove"], ["north-haven"], ())


def test_the_reference_of_a_secondary_station_is_found_too(folder: Path) -> None:
    (folder / "stations" / "main.toml").write_text(STATION, encoding="utf-8")
    head = STATION.split("mean_level_m")[0]
    (folder / "stations" / "north-haven.toml").write_text(
        head + 'reference = "main"\n[differences]\nhigh_time_min = 5\nlow_time_min = 5\n', encoding="utf-8"
    )
    found = survey([folder / "north-cove.toml"])
    assert (sorted(found.stations), found.faults) == (["main", "north-haven"], ())


def test_a_site_by_itself_whose_station_is_not_in_the_folder_beside_it_is_a_fault(folder: Path) -> None:
    (folder / "stations" / "north-haven.toml").rename(folder / "stations" / "other.toml")
    for path in (folder, folder / "north-cove.toml"):
        (fault,) = survey([path]).faults
        assert str(fault) == (
            f'{folder / "north-cove.toml"}:17: tide.station "north-haven" is not among the stations here: other'
        )


def test_without_any_stations_folder_a_lone_site_says_that_the_station_was_not_looked_for(folder: Path) -> None:
    shutil.rmtree(folder / "stations")
    found = survey([folder / "north-cove.toml"])
    assert found.faults == () and list(found.sites) == ["north-cove"]
    (note,) = found.notes
    assert 'tide.station "north-haven" was not looked for' in note
    assert survey([folder]).faults[0].message.endswith("there is none")  # a whole folder must be complete


def test_a_station_given_as_another_path_counts_for_a_lone_site(folder: Path) -> None:
    elsewhere = folder / "elsewhere"
    (folder / "stations").rename(elsewhere)
    found = survey([folder / "north-cove.toml", elsewhere / "north-haven.toml"])
    assert (found.faults, found.notes) == ((), ())


def test_a_refused_station_is_one_fault_not_two(folder: Path) -> None:
    (folder / "stations" / "north-haven.toml").write_text(STATION.replace("1.2, 60", "-1.2, 60"), encoding="utf-8")
    (fault,) = survey([folder]).faults
    assert fault.file.endswith("north-haven.toml") and fault.line == 8


def test_a_path_that_does_not_exist_is_a_fault_at_line_1(tmp_path: Path) -> None:
    (fault,) = survey([tmp_path / "nowhere"]).faults
    assert str(fault) == f"{tmp_path / 'nowhere'}:1: there is no such file"


def test_nothing_found_at_all_is_a_fault(tmp_path: Path) -> None:
    (fault,) = survey([tmp_path]).faults
    assert str(fault) == f"{tmp_path}:1: no site and no station file (.toml) was found here"
    assert len(survey([]).faults) == 1


def test_the_same_file_by_two_ways_is_read_once(folder: Path) -> None:
    found = survey([folder, folder / "north-cove.toml", folder / "stations", folder / "stations" / ".."])
    assert (list(found.sites), list(found.stations), found.faults) == (["north-cove"], ["north-haven"], ())


def test_two_files_of_one_short_name_are_a_fault(folder: Path) -> None:
    (folder / "more").mkdir()
    shutil.copy(VALID, folder / "more" / "north-cove.toml")
    found = survey([folder, folder / "more"])
    (fault,) = found.faults
    assert fault.message == f'"north-cove" is also the name of {folder / "north-cove.toml"}; rename one of the files'


def test_the_faults_of_every_file_come_together_in_order(folder: Path) -> None:
    (folder / "a.toml").write_text("name = ", encoding="utf-8")
    (folder / "z.toml").write_text("", encoding="utf-8")
    found = survey([folder])
    assert [Path(fault.file).name for fault in found.faults] == ["a.toml", "z.toml"]
    assert list(found.sites) == ["north-cove"]
