"""The commands, each by its contract: what is printed, which keys the JSON has, and how the program ends."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pytest

from tripplan.cli import main
from tripplan.data_files import data_dir

SITES = data_dir("sites")
REQUESTS = sorted(path.stem for path in (SITES / "requests").glob("*.toml"))


class Answer:
    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err
        self.lines = err.splitlines()

    @property
    def json(self) -> dict:
        found = json.loads(self.out)
        assert isinstance(found, dict)
        return found


@pytest.fixture
def run(capsys):
    def answer(*words: object) -> Answer:
        code = main([str(word) for word in words])
        printed = capsys.readouterr()
        return Answer(code, printed.out, printed.err)

    return answer


@pytest.fixture
def centre(tmp_path):
    """Return a copy of the demonstration's folder that a test may spoil."""
    return Path(shutil.copytree(SITES, tmp_path / "centre"))


def refused(answer: Answer, *words: str, lines: int = 1) -> None:
    """Exit 2, so many lines on stderr with these words in the first, nothing on stdout."""
    assert answer.code == 2
    assert len(answer.lines) == lines, answer.err
    assert all(line.strip() for line in answer.lines)
    assert "Traceback" not in answer.err
    for word in words:
        assert word in answer.lines[0]


def spoil(path: Path, old: str, new: str) -> Path:
    text = path.read_text(encoding="utf-8")
    assert old in text, old
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


# ---- words on the command line ----


@pytest.mark.parametrize("words", [("--help",), ("plan", "--help"), ("limits", "--help"), ("--version",)])
def test_help_and_version_end_well(words, capsys):
    with pytest.raises(SystemExit) as end:
        main(list(words))
    assert not end.value.code
    assert "tripplan" in capsys.readouterr().out


@pytest.mark.parametrize(
    "words", [(), ("nosuch",), ("limits",), ("limits", "--depth"), ("plan",), ("tide", "x"), ("sites",), ("demo", "x")]
)
def test_words_that_make_no_command_are_one_line(run, words):
    refused(run(*words), "--help")


@pytest.mark.parametrize("text", ["a\nb", "a\rb", "a\x1b[31mb", "a\u2028b"])
def test_a_fault_stays_one_line_whatever_it_quotes(run, text):
    answer = run("limits", "--depth", "18", "--previous", text)
    refused(answer)
    assert all(c.isprintable() for c in answer.err.rstrip("\n"))


def test_an_output_that_cannot_show_every_letter_still_gets_the_plan():
    found = subprocess.run(
        [sys.executable, "-m", "tripplan", "plan", str(SITES / "requests" / "lake-altitude.toml")],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        check=False,
    )
    assert found.returncode == 0 and found.stderr == b""
    assert b"Lake Orrin" in found.stdout and b"\\xb0" in found.stdout


# ---- limits ----


def limits(run, *words: object) -> dict:
    answer = run("limits", *words, "--json")
    assert answer.code in (0, 1) and not answer.err
    return answer.json


LIMIT_KEYS = {
    "no_stop_min", "model_no_stop_min", "handbook_no_stop_min", "handbook_group", "gradient_factors",
    "equivalent_depth_m", "surface_pressure_bar", "ambient_pressure_bar", "max_operating_depth_m", "checks",
}  # fmt: skip


def test_limits_at_sea_level(run):
    # US Navy Rev 7, table 9-7: 60 fsw, 63 min. 18.288 m are 60 feet; 1.01325 bar at the surface (ISO 2533).
    found = limits(run, "--depth", 18.288)
    assert found.keys() >= LIMIT_KEYS
    assert found["handbook_no_stop_min"] == 63
    assert found["handbook_group"] is None
    assert found["surface_pressure_bar"] == 1.01325
    assert found["equivalent_depth_m"] == pytest.approx(18.288, abs=0.001)
    assert found["no_stop_min"] == min(63, found["model_no_stop_min"])
    assert found["gradient_factors"] == [0.4, 0.8]
    # Depth at which air reaches 1.4 bar of oxygen: (1.4 / 0.21 - 1.01325) bar over 1027.2 kg/m3, rounded down
    assert found["max_operating_depth_m"] == pytest.approx(56.1, abs=0.1)


def test_limits_sixty_feet_at_five_thousand_feet_count_like_72_feet(run):
    # The handbook's own worked example: 60 fsw at 5,000 ft is 72.1 fsw at sea level, 21.97 m.
    found = limits(run, "--depth", 18.288, "--altitude", 1524)
    assert found["equivalent_depth_m"] == pytest.approx(21.97, abs=0.02)
    assert found["handbook_no_stop_min"] <= 39  # row 80 fsw


def test_limits_a_chain_of_dives_shortens_the_last(run):
    first = limits(run, "--depth", 18)
    after = limits(run, "--depth", 18, "--previous", "18:30:90")
    both = limits(run, "--depth", 18, "--previous", "18:30:90", "--previous", "15:30:90")
    assert first["handbook_group"] is None and after["handbook_group"] and both["handbook_group"]
    assert first["no_stop_min"] > after["no_stop_min"] > both["no_stop_min"]


def test_limits_fresh_water_counts_lighter_and_enriched_air_longer(run):
    sea, fresh = limits(run, "--depth", 30), limits(run, "--depth", 30, "--water", "fresh")
    assert fresh["ambient_pressure_bar"] < sea["ambient_pressure_bar"]
    rich = limits(run, "--depth", 30, "--oxygen", 32)
    assert rich["no_stop_min"] > sea["no_stop_min"]
    assert rich["max_operating_depth_m"] < sea["max_operating_depth_m"]


def test_limits_without_a_limit_are_null(run):
    found = limits(run, "--depth", 3)
    assert found["no_stop_min"] is None
    assert "no limit" in run("limits", "--depth", 3).out


def test_limits_end_with_1_where_the_gas_or_the_day_stops(run):
    assert run("limits", "--depth", 40, "--oxygen", 36).code == 1
    assert run("limits", "--depth", 18, "--previous", "18:60:1").code == 1
    assert run("limits", "--depth", 18, "--previous", "70:20:60").code == 1
    assert run("limits", "--depth", 18).code == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--depth", "-5"), "-5 m"),
        (("--depth", "0"), "more than 0 m"),
        (("--depth", "nan"), '"nan"'),
        (("--depth", "inf"), '"inf"'),
        (("--depth", "58"), "57.9 m"),
        (("--depth", "1000"), "100 m"),
        (("--depth", "deep"), '"deep"'),
        (("--depth", "18,5"), '"18,5"'),
        (("--depth", "-0,5"), "-0,5"),
        (("--depth", "18", "--oxygen", "50"), "50 %"),
        (("--depth", "18", "--oxygen", "20"), "20 %"),
        (("--depth", "18", "--altitude", "4000"), "4000 m"),
        (("--depth", "18", "--altitude", "-500"), "-500 m"),
        (("--depth", "18", "--hours-since-arrival", "-1"), "-1"),
        (("--depth", "18", "--pressure", "0.6"), "0.6 bar"),
        (("--depth", "18", "--water", "mud"), "mud"),
        (("--depth", "18", "--previous", "18:35"), "18:35:90"),
        (("--depth", "18", "--previous", "18:35:90:4"), "DEPTH:MINUTES:INTERVAL_MIN"),
        (("--depth", "18", "--previous", ""), "DEPTH:MINUTES:INTERVAL_MIN"),
        (("--depth", "18", "--previous", "a:b:c"), '"a" is not a number'),
        (("--depth", "18", "--previous", "18:nan:90"), "nan"),
        (("--depth", "18", "--previous", "18:0:90"), "0 min"),
        (("--depth", "18", "--previous", "0:30:90"), "0 m"),
        (("--depth", "18", "--previous", "18:30:-1"), "-1 min"),
        (("--depth", "18", "--previous", "18:30:20000"), "20000 min"),
        (("--depth", "18", "--previous", "-5:30:20"), "--previous"),
        (("--depth", "18", "--rules", "nofile.toml"), "nofile.toml:1:"),
    ],
)
def test_limits_refuse_with_what_was_given_and_what_is_accepted(run, words, said):
    refused(run("limits", *words), said)


def test_limits_follow_a_centres_own_rules(run):
    plain = limits(run, "--depth", 18)
    own = limits(run, "--depth", 18, "--rules", SITES / "centre" / "rules.toml")
    assert own["no_stop_min"] == plain["no_stop_min"]  # the demonstration's centre leaves these alone


def test_a_rule_of_zero_is_refused_and_not_divided_by(run, centre):
    rules = centre / "centre" / "rules.toml"
    for name in ("ascent.rate_m_min", "dive.longest_min", "chamber.road_speed_km_h"):
        rules.write_text(f'[{name}]\nvalue = 0.0\nreason = "a slip of the pen"\n', encoding="utf-8")
        answer = run("plan", centre / "requests" / "saturday-ledge.toml")
        assert answer.code in (1, 2)
        assert "Traceback" not in answer.err and len(answer.lines) <= 1


# ---- tide ----


def test_tide_by_slug_by_name_and_by_file_is_the_same(run):
    span = ("--from", "2027-06-12", "--to", "2027-06-13", "--json")
    answers = [
        run("tide", station, *span)
        for station in (
            "verrow-harbour",
            "Verrow Harbour",
            " VERROW harbour",
            SITES / "stations" / "verrow-harbour.toml",
        )
    ]
    assert {answer.code for answer in answers} == {0}
    assert len({answer.out for answer in answers}) == 1
    found = answers[0].json
    assert found["datum"]
    assert [event["kind"] for event in found["events"]] in (["high", "low"] * 2, ["low", "high"] * 2)
    for event in found["events"]:
        assert event.keys() == {"time", "kind", "height_m"}
        assert datetime.fromisoformat(event["time"]).utcoffset() is not None
    assert "heights" not in found


def test_tide_heights_are_given_every_so_many_minutes_both_ends_included(run):
    words = ("tide", "verrow-harbour", "--from", "2027-06-12T00:00", "--to", "2027-06-12T01:00", "--json", "--every")
    heights = run(*words, 20).json["heights"]
    assert [row["time"][11:16] for row in heights] == ["00:00", "00:20", "00:40", "01:00"]
    assert all(isinstance(row["height_m"], float) for row in heights)


def test_tide_times_without_an_offset_are_on_the_stations_clock(run):
    # The Azores are at UTC-1 in winter: 08:00 there is 09:00 UTC.
    words = ("tide", "verrow-harbour", "--every", 60, "--json")
    local = run(*words, "--from", "2027-01-12T08:00", "--to", "2027-01-12T20:00").json
    offset = run(*words, "--from", "2027-01-12T09:00+00:00", "--to", "2027-01-12T21:00Z").json
    assert local == offset
    assert local["heights"][0]["time"] == "2027-01-12T08:00:00-01:00"


def test_tide_outside_a_printed_table_says_so_and_gives_null(run):
    answer = run("tide", "north-haven", "--from", "1950-06-12", "--to", "1950-06-13", "--every", 60, "--json")
    assert answer.code == 0
    assert {row["height_m"] for row in answer.json["heights"]} == {None}
    assert answer.json["notes"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nowhere", "--from", "2027-06-12", "--to", "2027-06-13"), "verrow-harbour"),
        (("", "--from", "2027-06-12", "--to", "2027-06-13"), "known"),
        (("nofile.toml", "--from", "2027-06-12", "--to", "2027-06-13"), "nofile.toml:1: there is no such file"),
        (("verrow-harbour", "--from", "yesterday", "--to", "2027-06-13"), '"yesterday"'),
        (("verrow-harbour", "--from", "2027-02-30", "--to", "2027-06-13"), '"2027-02-30"'),
        (("verrow-harbour", "--from", "2027-06-12T25:00", "--to", "2027-06-13"), "T25:00"),
        (("verrow-harbour", "--from", "2027-06-13", "--to", "2027-06-12"), "not after"),
        (("verrow-harbour", "--from", "2027-06-12", "--to", "2027-06-12"), "not after"),
        (("verrow-harbour", "--from", "2000-01-01", "--to", "2027-06-12"), "3660 days"),
        (("verrow-harbour", "--from", "0001-01-01", "--to", "0001-01-02"), "1900"),
        (("verrow-harbour", "--from", "9999-12-30", "--to", "9999-12-31"), "2100"),
        (("verrow-harbour", "--from", "2027-06-12", "--to", "2027-06-13", "--every", "0"), "from 1 to 1440"),
        (("verrow-harbour", "--from", "2027-06-12", "--to", "2027-06-13", "--every", "1.5"), '"1.5"'),
        (("verrow-harbour", "--from", "2027-06-12", "--to", "2027-06-13", "--every", "-3"), "-3"),
        (("verrow-harbour", "--from", "2020-06-12", "--to", "2027-06-13", "--every", "1"), "1,000,000"),
    ],
)
def test_tide_refuses_with_what_was_given_and_what_is_accepted(run, words, said):
    refused(run("tide", *words), said)


def test_tide_of_a_file_that_is_no_station_names_its_faults_by_line(run):
    answer = run("tide", SITES / "gull-cove.toml", "--from", "2027-06-12", "--to", "2027-06-13")
    assert answer.code == 2 and answer.lines
    assert all(re.match(r".*gull-cove\.toml:\d+: ", line) for line in answer.lines)


def test_a_station_of_the_readers_own_needs_no_folder(run, tmp_path):
    # One constituent, M2 of 1 m about 2 m: every height lies within 1 m (and the node factor's 4 %) of 2 m.
    path = tmp_path / "mine.toml"
    path.write_text(
        'name = "Mine"\nlatitude = 47.0\nlongitude = -17.0\ntimezone = "Atlantic/Azores"\ndatum = "chart datum"\n'
        "mean_level_m = 2.0\n[constituents]\nM2 = [1.0, 62.0]\n",
        encoding="utf-8",
    )
    found = run("tide", path, "--from", "2027-06-12", "--to", "2027-06-13", "--json").json
    assert {e["height_m"] > 2 for e in found["events"] if e["kind"] == "high"} == {True}
    assert all(0.95 < abs(e["height_m"] - 2) < 1.05 for e in found["events"])


# ---- daylight ----


def test_daylight_reads_both_forms_of_a_position_alike(run):
    words = ("2027-06-12", "--timezone", "Atlantic/Azores", "--json")
    decimal, minutes = run("daylight", "47.05, -17.125", *words), run("daylight", "47 03.000 N, 17 07.500 W", *words)
    assert decimal.code == minutes.code == 0
    assert decimal.json == minutes.json
    for key in ("sunrise", "sunset", "civil_dawn", "civil_dusk"):
        assert datetime.fromisoformat(decimal.json[key]).utcoffset() is not None
    assert decimal.json["note"] == ""


def test_daylight_takes_a_southern_position_that_begins_with_a_minus_sign(run):
    for position in ("-33.9, 18.4", "-33.9,18.4", "33 54.000 S, 18 24.000 E"):
        found = run("daylight", position, "2027-06-21", "--timezone", "Africa/Johannesburg", "--json")
        assert found.code == 0
        # Cape Town's shortest day: every almanac has sunrise near 07:51 and sunset near 17:45
        assert found.json["sunrise"][11:15] == "07:5"
        assert found.json["sunset"][11:15] == "17:4"


@pytest.mark.parametrize(("day", "words"), [("2027-06-21", "does not set"), ("2027-12-21", "does not rise")])
def test_daylight_where_the_sun_neither_rises_nor_sets_is_null_with_a_note(run, day, words):
    found = run("daylight", "78.2, 15.6", day, "--timezone", "Arctic/Longyearbyen", "--json").json
    assert found["sunrise"] is found["sunset"] is None
    assert words in found["note"]
    assert "Note" in run("daylight", "78.2, 15.6", day, "--timezone", "Arctic/Longyearbyen").out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("47.05 -17.1", "2027-06-12", "--timezone", "UTC"), "47.05 -17.1"),
        (("47,05 17,1", "2027-06-12", "--timezone", "UTC"), "accepted"),
        (("91, 0", "2027-06-12", "--timezone", "UTC"), "91"),
        (("0, 181", "2027-06-12", "--timezone", "UTC"), "181"),
        (("nan, 0", "2027-06-12", "--timezone", "UTC"), "nan"),
        (("47, -17", "2027-13-12", "--timezone", "UTC"), "2027-13-12"),
        (("47, -17", "12.06.2027", "--timezone", "UTC"), "12.06.2027"),
        (("47, -17", "9999-12-31", "--timezone", "UTC"), "2099-12-31"),
        (("47, -17", "0001-01-01", "--timezone", "UTC"), "1901-01-01"),
        (("47, -17", "2027-06-12", "--timezone", "Atlantic/Nowhere"), "Atlantic/Nowhere"),
        (("47, -17", "2027-06-12", "--timezone", ""), "IANA"),
        (("47, -17", "2027-06-12", "--timezone", "../../../etc/passwd"), "IANA"),
        (("47, -17", "2027-06-12"), "--timezone"),
    ],
)
def test_daylight_refuses_with_what_was_given_and_what_is_accepted(run, words, said):
    refused(run("daylight", *words), said)


# ---- sites ----


def test_the_demonstrations_folder_is_without_fault(run):
    answer = run("sites", SITES, "--json")
    assert answer.code == 0 and not answer.err
    assert answer.json["faults"] == []
    assert {"gull-cove", "stair-ledge"} <= {one["slug"] for one in answer.json["sites"]}
    assert {"verrow-harbour", "north-haven"} <= {one["slug"] for one in answer.json["stations"]}
    assert "0 faults" in run("sites", SITES).out


def test_a_bad_file_never_hides_the_good_ones(run, centre):
    spoil(centre / "gull-cove.toml", 'kind = "sea"', 'kind = "soup"')
    answer = run("sites", centre, "--json")
    assert answer.code == 2
    (fault,) = answer.json["faults"]
    assert fault.keys() == {"file", "line", "message"}
    assert fault["file"].endswith("gull-cove.toml")
    text = (centre / "gull-cove.toml").read_text(encoding="utf-8").splitlines()
    assert "soup" in text[fault["line"] - 1]
    assert answer.lines == [f"{fault['file']}:{fault['line']}: {fault['message']}"]
    assert "stair-ledge" in {one["slug"] for one in answer.json["sites"]}
    assert "gull-cove" not in {one["slug"] for one in answer.json["sites"]}


def test_one_site_file_brings_the_station_beside_it(run):
    found = run("sites", SITES / "gull-cove.toml", "--json")
    assert found.code == 0
    assert [one["slug"] for one in found.json["stations"]] == ["verrow-harbour"]


def test_a_site_file_alone_says_what_could_not_be_judged(run, tmp_path):
    shutil.copy(SITES / "gull-cove.toml", tmp_path)
    answer = run("sites", tmp_path / "gull-cove.toml", "--json")
    assert answer.code == 0
    (note,) = answer.json["notes"]
    assert "verrow-harbour" in note and "not looked for" in note
    assert "Note:" in run("sites", tmp_path / "gull-cove.toml").out


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"a = ", b"[[", b"\x00", b"x = 1\n"])
def test_a_site_file_that_is_none_is_told_by_file_and_line(run, tmp_path, content):
    path = tmp_path / "odd.toml"
    path.write_bytes(content)
    answer = run("sites", path)
    assert answer.code == 2 and answer.lines
    assert all(re.match(rf"{re.escape(str(path))}:\d+: .", line) for line in answer.lines)


def test_a_path_that_is_not_there_is_told(run, tmp_path):
    answer = run("sites", tmp_path / "nowhere")
    assert answer.code == 2
    assert answer.lines == [f"{tmp_path / 'nowhere'}:1: there is no such file"]
    assert run("sites", tmp_path).code == 2  # an empty folder holds no site


# ---- plan ----

PLAN_KEYS = {"revision", "verdict", "site", "date", "windows", "dives", "checks", "contacts"}
DIVE_KEYS = {"group", "entry", "exit_by", "depth_limit_m", "bottom_time_min"}


@pytest.mark.parametrize("name", REQUESTS)
def test_each_ready_request_makes_a_plan(run, name):
    answer = run("plan", SITES / "requests" / f"{name}.toml", "--json")
    found = answer.json
    assert answer.code == (1 if found["verdict"] == "stop" else 0) and not answer.err
    assert found.keys() >= PLAN_KEYS
    assert all(dive.keys() >= DIVE_KEYS for dive in found["dives"]) and found["dives"]
    for dive in found["dives"]:
        if dive["entry"] is not None:
            assert datetime.fromisoformat(dive["entry"]).utcoffset() is not None
            assert datetime.fromisoformat(dive["entry"]) < datetime.fromisoformat(dive["exit_by"])
            assert dive["bottom_time_min"] > 0 and dive["depth_limit_m"] > 0
    for check in found["checks"]:
        assert check.keys() >= {"rule", "outcome", "found", "limit", "unit", "source", "sentence"}
    text = run("plan", SITES / "requests" / f"{name}.toml")
    assert text.code == answer.code
    assert found["revision"] in text.out
    assert text.out == run("plan", SITES / "requests" / f"{name}.toml", "--text").out


def test_a_plan_writes_a_pdf(run, tmp_path):
    path = tmp_path / "day.pdf"
    answer = run("plan", SITES / "requests" / "saturday-ledge.toml", "--pdf", path)
    assert answer.code == 0
    assert path.read_bytes().startswith(b"%PDF")
    assert answer.out.count("\n") == 1 and str(path) in answer.out
    letter = run("plan", SITES / "requests" / "saturday-ledge.toml", "--pdf", path, "--paper", "letter", "--json")
    assert letter.code == 0 and letter.json["revision"] in answer.out


def test_a_pdf_that_cannot_be_written_is_one_line(run, tmp_path):
    refused(run("plan", SITES / "requests" / "saturday-ledge.toml", "--pdf", tmp_path / "no" / "x.pdf"), "x.pdf")
    refused(run("plan", SITES / "requests" / "saturday-ledge.toml", "--pdf", tmp_path), str(tmp_path))


def test_another_date_or_site_makes_another_plan(run):
    words = ("plan", SITES / "requests" / "saturday-ledge.toml", "--json")
    plain = run(*words).json
    dated = run(*words, "--date", "2026-12-13").json
    sited = run(*words, "--site", "pilots-pier").json
    assert (dated["date"], sited["site"]) == ("2026-12-13", "pilots-pier")
    assert len({plain["revision"], dated["revision"], sited["revision"]}) == 3


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--date", "tomorrow"), '"tomorrow"'),
        (("--date", "9999-12-31"), "2099-12-31"),
        (("--site", "nowhere"), "stair-ledge"),
        (("--folder", "nowhere"), "nowhere:1: there is no such folder"),
        (("--json", "--text"), "--json"),
        (("--paper", "a5"), "a5"),
    ],
)
def test_plan_refuses_with_what_was_given_and_what_is_accepted(run, words, said):
    refused(run("plan", SITES / "requests" / "saturday-ledge.toml", *words), said)


def test_a_site_without_the_requests_places_is_refused_place_by_place(run):
    answer = run("plan", SITES / "requests" / "beginners-cove.toml", "--site", "lake-orrin")
    refused(answer, "Sea-grass edge", lines=2)
    assert "Sand bay" in answer.lines[1]


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ('site = "stair-ledge"', 'site = "nowhere"', 'site = "nowhere"'),
        ('leader = "Luca Benti"', 'leader = "Nobody"', 'leader = "Nobody"'),
        ('"Nadia Petit"', '"Nadia Pettit"', '"Nadia Pettit"'),
        ("depth_m = 18", "depth_m = -18", "depth_m = -18"),
        ("minutes = 30", "minutes = 0", "minutes = 0"),
        ("date = 2026-12-12", "date = 9999-12-12", "date = 9999"),
        ("date = 2026-12-12", "date = 2026-12-12T00:00:00", "date = 2026"),
        ('kind = "guided"', 'kind = "party"', 'kind = "party"'),
        ('not_before = "09:00"', 'not_before = "9 am"', "9 am"),
        ('not_before = "09:00"', 'not_before = "09:00"\nentry = "10:00"', 'not_before = "09:00"'),
        ('recent_dives = "none"', "measured_pressure_bar = nan", "nan"),
        ('recent_dives = "none"', "measured_pressure_bar = 2", "measured_pressure_bar"),
        ('name = "Skuas"', 'name = "Terns"', None),
        ("depth_m = 18", "depth_m = 18\ndeepth = 3", "deepth"),
    ],
)
def test_a_bad_request_is_told_once_by_file_and_line(run, centre, old, new, line):
    path = spoil(centre / "requests" / "saturday-ledge.toml", old, new)
    answer = run("plan", path)
    refused(answer, f"{path}:")
    number = int(re.match(rf"{re.escape(str(path))}:(\d+): ", answer.lines[0])[1])
    text = path.read_text(encoding="utf-8").splitlines()
    if line:
        assert line in text[number - 1]


def test_a_request_with_several_faults_tells_them_all(run, centre):
    path = spoil(centre / "requests" / "saturday-ledge.toml", 'leader = "Luca Benti"', 'leader = "Nobody"')
    spoil(path, '"Owen Marsh"', '"Somebody"')
    answer = run("plan", path)
    refused(answer, lines=2)


def test_another_bad_request_is_told_but_does_not_stop_this_one(run, centre):
    spoil(centre / "requests" / "lake-altitude.toml", "depth_m = 18", "depth_m = 0")
    answer = run("plan", centre / "requests" / "saturday-ledge.toml")
    assert answer.code == 0
    assert len(answer.lines) == 1 and "lake-altitude.toml:" in answer.lines[0]


def test_a_request_outside_a_centres_folder_needs_one(run, tmp_path):
    shutil.copy(SITES / "requests" / "saturday-ledge.toml", tmp_path)
    path = tmp_path / "saturday-ledge.toml"
    refused(run("plan", path), f"{path}:1:", "--folder")
    assert run("plan", path, "--folder", SITES).code == 0


@pytest.mark.parametrize("what", ["nowhere.toml", ".", "empty.toml"])
def test_a_request_that_cannot_be_read_is_one_line_or_more_by_file(run, tmp_path, what):
    (tmp_path / "empty.toml").write_text("", encoding="utf-8")
    answer = run("plan", tmp_path / what)
    assert answer.code == 2 and answer.lines and not answer.out
    assert all(line.startswith(f"{tmp_path / what}:") for line in answer.lines)


def test_a_damaged_roster_is_told_by_file_and_line(run, centre):
    spoil(centre / "centre" / "people.toml", "born = 1979-03-14", "born = 1879-03-14")
    answer = run("plan", centre / "requests" / "saturday-ledge.toml")
    refused(answer, "people.toml:", "1879-03-14")


def test_a_missing_centre_file_is_told(run, centre):
    (centre / "centre" / "centre.toml").unlink()
    refused(run("plan", centre / "requests" / "saturday-ledge.toml"), "centre.toml")
    refused(run("plan", centre / "requests" / "saturday-ledge.toml", "--folder", centre), "centre.toml")


def test_a_missing_station_is_a_fault_of_the_site_and_stops_the_plan(run, centre):
    (centre / "stations" / "verrow-harbour.toml").unlink()
    answer = run("plan", centre / "requests" / "saturday-ledge.toml", "--json")
    assert answer.code == 1
    assert "tide-known" in {check["rule"] for check in answer.json["checks"] if check["outcome"] == "stop"}
    assert any("verrow-harbour" in line for line in answer.lines)


# ---- rules, demo, serve ----


def test_the_rules_are_listed_with_their_source(run):
    found = run("rules", "--json").json["rules"]
    held = {rule["key"]: rule for rule in found}
    assert held["depth.level_1_m"]["value"] == 12.0
    assert held["depth.level_1_m"]["source"] == "ISO_24801_1"
    assert all(rule["title"] and rule["provenance"] for rule in found)
    assert len(run("rules").out.splitlines()) == len(found)


def test_a_centres_overrides_are_marked_with_their_reason(run):
    found = {rule["key"]: rule for rule in run("rules", "--folder", SITES, "--json").json["rules"]}
    assert found["overdue.after_min"]["baseline_value"] == 10
    assert found["overdue.after_min"]["value"] == 8
    assert "coastguard" in found["overdue.after_min"]["reason"]
    assert "baseline 10" in run("rules", "--folder", SITES).out


def test_rules_of_no_centre_are_refused(run, tmp_path):
    refused(run("rules", "--folder", tmp_path / "nowhere"), "no such folder")
    refused(run("rules", "--folder", tmp_path), "centre.toml:1:")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("demo", "--port", "70000"), "from 0 to 65535"),
        (("demo", "--port", "-1"), "-1"),
        (("demo", "--port", "x"), "x"),
        (("serve", str(SITES), "--host", "0.0.0.0"), "0.0.0.0"),
        (("serve", "nowhere"), "nowhere:1:"),
    ],
)
def test_serving_refuses_what_it_cannot_listen_on(run, words, said):
    refused(run(*words), said)
