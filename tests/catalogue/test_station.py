"""Tide station files: what is read, and the one-line sentence for each way of getting one wrong."""

from __future__ import annotations

import tomllib
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from tripplan.catalogue.station import looks_like_station, read_station, read_stations
from tripplan.environment.tide import HarmonicTide, PrintedTide, SecondaryTide, height_m
from tripplan.errors import BadRecord

PUBLISHED = Path(__file__).parents[1] / "published" / "tides"
HEAD = """name = "Invented Harbour"
latitude = 47.0
longitude = -17.0
timezone = "Atlantic/Azores"
datum = "chart datum"
"""
CONSTANTS = HEAD + "mean_level_m = 1.80\n[constituents]\nM2 = [1.30, 62.0]\nS2 = [0.45, 95.0]\n"
PRINTED = HEAD + 'table = "harbour.csv"\n'
SECONDARY = HEAD + 'reference = "harbour"\n[differences]\nhigh_time_min = 10\nlow_time_min = -5\n'
TABLE = """# Invented Harbour, invented table
time,kind,height_m
2027-06-12T04:00+00:00,high,3.1
2027-06-12T10:10Z,low,0.6
2027-06-12T16:25+00:00,high,3.3
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


def write(folder: Path, text: str, name: str = "harbour.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def faults_of(path: Path) -> list[str]:
    with pytest.raises(BadRecord) as caught:
        read_station(path)
    folder = f"{path.parent}/"
    return [str(fault).replace(folder, "") for fault in caught.value.faults]


def test_a_station_with_constants_is_read(folder):
    station = read_station(write(folder, CONSTANTS))
    assert (station.slug, station.name, station.kind) == ("harbour", "Invented Harbour", "constants")
    assert (station.latitude_deg, station.longitude_deg) == (47.0, -17.0)
    assert (station.timezone, station.datum, station.issued, station.source) == (
        "Atlantic/Azores", "chart datum", None, "",
    )  # fmt: skip
    assert isinstance(station.tide, HarmonicTide)
    assert [(one.name, one.amplitude_m, one.phase_lag_deg) for one in station.tide.constituents] == [
        ("M2", 1.30, 62.0), ("S2", 0.45, 95.0),
    ]  # fmt: skip


@pytest.mark.parametrize("path", sorted(PUBLISHED.glob("*.toml")), ids=lambda path: path.stem)
def test_published_constants_are_read_as_station_files(path):
    station = read_station(path)
    assert isinstance(station.tide, HarmonicTide)
    assert len(station.tide.constituents) == len(tomllib.loads(path.read_text(encoding="utf-8"))["constituents"])
    assert station.tide.left_out == ()


def test_a_station_with_a_printed_table_is_read(folder):
    write(folder, TABLE, "harbour.csv")
    station = read_station(write(folder, PRINTED + "issued = 2026-11-01\nsource = 'Harbour office'\n"))
    assert (station.kind, station.issued, station.source) == ("printed", date(2026, 11, 1), "Harbour office")
    assert isinstance(station.tide, PrintedTide)
    assert station.tide.longest_gap_h == 14  # the rule book's tide.table_gap_h
    assert height_m(station.tide, datetime(2027, 6, 12, 10, 10, tzinfo=UTC)) == pytest.approx(0.6)


def test_the_longest_gap_can_be_that_of_a_centre(folder):
    write(folder, TABLE, "harbour.csv")
    assert read_station(write(folder, PRINTED), table_gap_h=6).tide.longest_gap_h == 6


def test_a_secondary_station_gets_its_reference(folder):
    paths = [write(folder, SECONDARY, "cove.toml"), write(folder, CONSTANTS)]
    assert read_station(paths[0]).tide is None
    stations, faults = read_stations(paths)
    assert faults == ()
    assert isinstance(stations["cove"].tide, SecondaryTide)
    start = datetime(2027, 6, 12, tzinfo=UTC)
    there = stations["harbour"].tide.turning_points(start, start + timedelta(days=1))
    here = stations["cove"].tide.turning_points(start - timedelta(hours=1), start + timedelta(days=2))
    assert {one.time + timedelta(minutes=10 if one.kind == "high" else -5) for one in there} <= {
        one.time for one in here
    }


def test_an_unknown_constituent_is_kept_and_reported(folder):
    station = read_station(write(folder, CONSTANTS + "XQ9 = [0.05, 10]\n"))
    assert [one.name for one in station.tide.left_out] == ["XQ9"]
    assert "XQ9 (0.050 m)" in station.tide.sentences()[0]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            CONSTANTS.replace("latitude = 47.0\n", ""),
            "harbour.toml:1: latitude is missing; give decimal degrees, north positive",
        ),
        (
            CONSTANTS.replace("47.0", "91"),
            "harbour.toml:2: latitude is 91; it must be at most 90 (decimal degrees, north positive)",
        ),
        (
            CONSTANTS.replace("-17.0", '"17 W"'),
            'harbour.toml:3: longitude is "17 W"; it must be a number',
        ),
        (
            CONSTANTS.replace("Atlantic/Azores", "Atlantic/Atlantis"),
            'harbour.toml:4: timezone is "Atlantic/Atlantis": not a time zone known here; '
            "give an IANA name such as Atlantic/Azores",
        ),
        (
            CONSTANTS.replace('"chart datum"', '""'),
            'harbour.toml:5: datum is "";',
        ),
        (
            CONSTANTS.replace("mean_level_m = 1.80\n", ""),
            "harbour.toml:1: mean_level_m is missing; give the height of mean sea level above the datum, metres",
        ),
        (
            CONSTANTS.replace("1.80", "21"),
            "harbour.toml:6: mean_level_m is 21; it must be at most 20 (mean sea level above the datum, metres)",
        ),
        (
            CONSTANTS.replace("1.30", "15.1"),
            "harbour.toml:8: the amplitude of M2 is 15.1; it must be from 0 to 15 metres",
        ),
        (
            CONSTANTS.replace("95.0", "360.1"),
            "harbour.toml:9: the phase lag of S2 is 360.1; it must be from 0 to 360 degrees, on Greenwich",
        ),
        (
            CONSTANTS.replace("95.0", "-0.1"),
            "harbour.toml:9: the phase lag of S2 is -0.1; it must be from 0 to 360 degrees, on Greenwich",
        ),
        (
            CONSTANTS.replace("[1.30, 62.0]", "[1.30]"),
            "harbour.toml:8: M2 must be two numbers in square brackets: amplitude in metres, phase lag in degrees",
        ),
        (
            CONSTANTS.replace("[1.30, 62.0]", "[nan, 62.0]"),
            "harbour.toml:8: the amplitude of M2 is nan; it must be from 0 to 15 metres",
        ),
        (
            CONSTANTS + "LAM2 = [0.1, 1]\nLDA2 = [0.1, 1]\n",
            "harbour.toml:11: LDA2 is the same constituent as LAM2; give it once",
        ),
        (
            CONSTANTS + "Z0 = [1.8, 0]\n",
            "harbour.toml:10: Z0 is the mean level, not a constituent; give it as mean_level_m",
        ),
        (
            CONSTANTS.split("M2 =")[0],
            "harbour.toml:7: constituents is empty; give at least one, like M2 = [1.30, 62.0]",
        ),
        (
            CONSTANTS.split("M2 =")[0] + "XQ9 = [1.0, 2.0]\n",
            "harbour.toml:7: none of the constituents is known here (XQ9); M2 or K1 is",
        ),
        (
            CONSTANTS.replace("[constituents]", "[constituent]"),
            'harbour.toml:7: constituent is not a known key; did you mean "constituents"?',
        ),
        (
            CONSTANTS.replace("name = ", "nmae = "),
            'harbour.toml:1: nmae is not a known key; did you mean "name"?',
        ),
        (
            HEAD + 'table = "harbour.csv"\n' + CONSTANTS.removeprefix(HEAD),
            "harbour.toml:6: table stands beside constituents; give one of: [constituents] with mean_level_m (harmonic "
            "constants), table (a printed table beside this file), reference with [differences] (a secondary station)",
        ),
        (
            HEAD,
            "harbour.toml:1: the file does not say where its tide comes from; give one of: [constituents] with "
            "mean_level_m (harmonic constants), table (a printed table beside this file), reference with [differences] "
            "(a secondary station)",
        ),
        (
            HEAD + 'table = "../other/harbour.csv"\n',
            "harbour.toml:6: table is '../other/harbour.csv'; give the name of a file beside this one, no folder",
        ),
        (HEAD + 'table = "none.csv"\n', "harbour.toml:6: none.csv cannot be read: No such file or directory"),
        (
            HEAD + 'reference = "cove"\n',
            "harbour.toml:6: a reference needs [differences]; give high_time_min and low_time_min, "
            "and ratios or metres",
        ),
        (
            SECONDARY.replace("low_time_min = -5\n", ""),
            "harbour.toml:7: differences.low_time_min is missing; give minutes, -720 to 720",
        ),
        (
            SECONDARY + "low_ratio = 0\n",
            "harbour.toml:10: differences.low_ratio is 0; it must be more than 0 (factor on the height, above 0 to 10)",
        ),
        (
            SECONDARY.replace('reference = "harbour"\n', ""),
            "harbour.toml:6: differences need a reference; name the reference station's file",
        ),
        (CONSTANTS + "M2 = [1, 2]\n", "harbour.toml:10: this is not valid TOML: "),
    ],
)
def test_a_malformed_station_file_is_refused_in_a_line(folder, text, expected):
    found = faults_of(write(folder, text))
    assert any(fault.startswith(expected) for fault in found), found  # what follows is the wording of record.py


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        (
            TABLE.replace("10:10Z", "10:10"),
            'harbour.csv:4: time is "2027-06-12T10:10", without an offset from UTC; '
            "write it like 2027-06-12T10:14+01:00 or ...Z",
        ),
        (
            TABLE.replace("2027-06-12T10:10Z", "12/6/2027 10:10"),
            'harbour.csv:4: time is "12/6/2027 10:10"; it must be like 2027-06-12T10:14+01:00 or 2027-06-12T09:14Z',
        ),
        (
            TABLE.replace("T10:10Z", "T03:10Z"),
            "harbour.csv:4: 2027-06-12 03:10 UTC does not come after 2027-06-12 04:00 UTC; "
            "times must rise from line to line",
        ),
        (
            TABLE.replace("low", "high"),
            "harbour.csv:4: two high waters follow each other, 2027-06-12 04:00 UTC and 2027-06-12 10:10 UTC; "
            "high and low must take turns (is a low water missing?)",
        ),
        (TABLE.replace("low", "Lo"), 'harbour.csv:4: kind is "Lo"; it must be high or low'),
        (
            TABLE.replace("0.6", "5.6"),
            "harbour.csv:4: the high water of 2027-06-12 04:00 UTC (3.1 m) is lower than the low water of "
            "2027-06-12 10:10 UTC (5.6 m)",
        ),
        (TABLE.replace("0.6", "20.6"), "harbour.csv:4: height_m is 20.6; it must be from -20 to 20 metres"),
        (TABLE.replace("0.6", "nan"), "harbour.csv:4: height_m is nan; it must be from -20 to 20 metres"),
        (
            TABLE.replace("0.6", "six"),
            'harbour.csv:4: height_m is "six"; it must be a number of metres, with a point',
        ),
        (
            TABLE.replace("low,0.6", "low,0,6"),
            "harbour.csv:4: the line has 4 values; it must have three: time, kind, height_m",
        ),
        (
            TABLE.replace("2027-06-12T10:10Z", "2127-06-12T10:10Z"),
            "harbour.csv:4: time is in the year 2127; it must be from 1901 to 2099",
        ),
        (
            TABLE.replace("time,kind,height_m", "time;kind;height_m"),
            'harbour.csv:2: the first line is "time;kind;height_m"; it must be time,kind,height_m',
        ),
        ("# nothing\n", "harbour.csv:2: the table has fewer than two high and low waters"),
        ("", "harbour.csv:1: the table is empty or not text; it must start time,kind,height_m"),
    ],
)
def test_a_malformed_table_is_refused_at_its_own_line(folder, table, expected):
    write(folder, table, "harbour.csv")
    assert expected in faults_of(write(folder, PRINTED))


def test_a_table_that_is_not_text_is_refused(folder):
    (folder / "harbour.csv").write_bytes(b"time,kind,height_m\n\xff\xfe\n")
    assert faults_of(write(folder, PRINTED)) == ["harbour.csv:1: the table is not UTF-8 text; save it as UTF-8"]


def test_every_fault_of_both_files_is_reported_at_once(folder):
    write(folder, TABLE.replace("low", "Lo").replace("3.3", "33"), "harbour.csv")
    said = faults_of(write(folder, PRINTED.replace("47.0", "97").replace('"chart datum"', "7")))
    assert [line.split(" ")[0] for line in said] == [
        "harbour.csv:4:",
        "harbour.csv:5:",
        "harbour.toml:2:",
        "harbour.toml:5:",
    ]


def test_a_day_with_one_high_and_one_low_water_and_a_long_gap_are_accepted(folder):
    """A diurnal port, and a table of two seasons: across more than the longest gap high may follow high."""
    write(
        folder,
        "time,kind,height_m\n2027-06-12T04:00Z,high,0.4\n2027-06-12T16:00Z,low,0.1\n2027-06-13T05:00Z,high,0.4\n"
        "\n2027-09-01T05:00Z,high,0.5\n2027-09-01T17:00Z,low,0.5\n",
        "harbour.csv",
    )
    tide = read_station(write(folder, PRINTED)).tide
    assert np.isnan(height_m(tide, datetime(2027, 7, 1, tzinfo=UTC)))


@pytest.mark.parametrize(
    ("reference", "expected"),
    [
        ("nowhere", 'reference is "nowhere", which is not among the stations; known here: harbour'),
        ("cove", 'reference is "cove", the station itself; name a station with constants or a printed table'),
        ("bay", 'reference is "bay", itself a secondary station; name a station with constants or a printed table'),
        ("broken", 'reference is "broken", whose own file was refused; mend that file'),
    ],
)
def test_a_reference_that_cannot_be_used_is_refused_and_hides_nothing(folder, reference, expected):
    paths = [
        write(folder, CONSTANTS),
        write(folder, CONSTANTS.replace("1.30", "31"), "broken.toml"),
        write(folder, SECONDARY.replace('"harbour"', '"cove"'), "bay.toml"),
        write(folder, SECONDARY.replace('"harbour"', f'"{reference}"'), "cove.toml"),
    ]
    stations, faults = read_stations(paths)
    assert set(stations) == {"harbour"}
    assert f"{paths[3]}:6: {expected}" in [str(fault) for fault in faults]
    assert f"{paths[1]}:8: the amplitude of M2 is 31; it must be from 0 to 15 metres" in [str(f) for f in faults]


def test_two_stations_of_one_name_are_not_mixed_up(folder):
    (folder / "other").mkdir()
    first, second = write(folder, CONSTANTS), write(folder / "other", CONSTANTS)
    stations, faults = read_stations([first, second])
    assert set(stations) == {"harbour"}
    assert [str(fault) for fault in faults] == [
        f'{second}:1: "harbour" is also the name of {first}; give one another name'
    ]


def test_a_file_that_is_not_there_is_a_fault_and_no_more(folder):
    stations, faults = read_stations([folder / "none.toml", write(folder, CONSTANTS)])
    assert set(stations) == {"harbour"}
    assert [(fault.file, fault.line) for fault in faults] == [(str(folder / "none.toml"), 1)]


@pytest.mark.parametrize("key", ["constituents", "table", "reference"])
def test_a_station_file_is_told_from_a_site_file(key):
    assert looks_like_station({"name": "x", key: {}})
    assert not looks_like_station({"name": "x", "entries": []})
