"""Delays, files of observations and tables of an authority, by command."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tripplan.cli import main
from tripplan.data_files import data_dir

SITES = data_dir("sites")
LEDGE = SITES / "requests" / "saturday-ledge.toml"


def run(capsys, *words: object) -> tuple[int, str, str]:
    code = main([str(word) for word in words])
    printed = capsys.readouterr()
    return code, printed.out, printed.err


def observed(folder: Path, text: str) -> Path:
    file = folder / "observed.toml"
    file.write_text(text, encoding="utf-8")
    return file


SEEN = '[[observed]]\nsite = "stair-ledge"\ntime = 2026-12-12T11:30:00-01:00\nby = "Greta Holm"\nbreaker_m = 0.9\n'


def test_a_delay_prints_what_changes_and_the_new_plan(capsys):
    code, out, _ = run(capsys, "plan", LEDGE, "--delay", 40, "--json")
    found = json.loads(out)
    assert code == 0
    lines = {change["what"]: (change["before"], change["after"]) for change in found["changes"]}
    assert lines["Terns, dive 1: in"] == ("11:50", "12:30")
    assert found["dives"][0]["entry"].startswith("2026-12-12T12:30")
    code, out, _ = run(capsys, "plan", LEDGE, "--delay", 40)
    assert code == 0 and "Terns, dive 1: in: 11:50 -> 12:30" in out


def test_a_file_of_observations_wins_over_the_forecast(capsys, tmp_path):
    code, out, _ = run(capsys, "plan", LEDGE, "--observed", observed(tmp_path, SEEN), "--json")
    found = json.loads(out)
    surf = [closure for closure in found["closures"] if closure["rule"] == "surf"]
    assert surf and surf[0]["start"] == "2026-12-12T11:29:00-01:00"
    assert any("Greta Holm" in line for line in found["conditions"])
    assert found["changes"]
    # Nobody goes in from then on: the forecast was too low, and it is said.
    assert code == 1 and any(check["rule"] == "forecast-too-low" for check in found["checks"])


@pytest.mark.parametrize(
    "text, line, words",
    [
        (SEEN.replace("0.9", "900"), 5, "breaker_m"),
        (SEEN.replace("stair-ledge", "nowhere"), 2, "not in the catalogue"),
        (SEEN.replace("-01:00", ""), 3, "offset"),
        (SEEN.replace("breaker_m = 0.9\n", ""), 3, "stands alone"),
        (SEEN.replace("breaker_m", "brekers"), 5, "breaker_m"),
        (SEEN.replace("0.9", "0.9\nwind_kn = 12\ngust_kn = 8"), 7, "below wind_kn"),
    ],
)
def test_a_bad_file_of_observations_is_refused_with_its_line(capsys, tmp_path, text, line, words):
    file = observed(tmp_path, text)
    code, out, err = run(capsys, "plan", LEDGE, "--observed", file)
    assert code == 2 and not out
    assert any(f"{file}:{line}:" in each and words in each for each in err.splitlines()), err


def test_a_file_without_this_site_is_refused(capsys, tmp_path):
    file = observed(tmp_path, SEEN.replace("stair-ledge", "gull-cove"))
    code, _, err = run(capsys, "plan", LEDGE, "--observed", file)
    assert code == 2 and "gull-cove" in err


@pytest.mark.parametrize("delay", ["0", "721", "x", "-3"])
def test_no_delay_is_refused(capsys, delay):
    code, out, err = run(capsys, "plan", LEDGE, f"--delay={delay}")
    assert code == 2 and not out and len(err.splitlines()) == 1


def test_a_delay_past_midnight_is_refused(capsys):
    code, _, err = run(capsys, "plan", LEDGE, "--delay", 720)
    assert code == 2 and "on another day" in err


def test_a_folder_keeps_its_own_file_of_observations(capsys, tmp_path):
    folder = tmp_path / "centre-folder"
    shutil.copytree(SITES, folder)
    (folder / "centre" / "observed.toml").write_text(SEEN, encoding="utf-8")
    _, out, _ = run(capsys, "plan", folder / "requests" / "saturday-ledge.toml", "--json")
    assert any("Greta Holm" in line for line in json.loads(out)["conditions"])


def test_a_tide_table_asks_nobody_whom_the_centre_does_not_name(capsys, tmp_path):
    table = tmp_path / "table.csv"
    words = ("tide-table", "9414290", "--from", "2027-01-01", "--to", "2027-02-01", "--csv", table, "--folder", SITES)
    code, _, err = run(capsys, *words)
    assert code == 2 and "co_ops" in err and not table.exists()
