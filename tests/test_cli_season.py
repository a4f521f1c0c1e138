"""The season command: its JSON, its table, its file, and how it refuses."""

from __future__ import annotations

import csv
import json
import shutil

import pytest

from tripplan.cli import main
from tripplan.data_files import data_dir

SPAN = ["--from", "2027-03-27", "--to", "2027-04-02"]


def answer(capsys, *words: str):
    assert main(["season", *words, "--json"]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    return json.loads(printed.out)


def refused(capsys, *words: str) -> list[str]:
    assert main(["season", *words]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    return printed.err.splitlines()


def test_json_gives_each_day_of_each_site_with_windows_that_carry_their_offset(capsys):
    found = answer(capsys, "gull-cove", "the-gut", *SPAN)
    assert (found["kind"], found["from"], found["to"]) == ("guided", "2027-03-27", "2027-04-02")
    assert [site["site"] for site in found["sites"]] == ["gull-cove", "the-gut"]
    assert [site["name"] for site in found["sites"]] == ["Gull Cove", "The Gut"]
    for site in found["sites"]:
        assert [day["date"] for day in site["days"]][:2] == ["2027-03-27", "2027-03-28"]
        assert len(site["days"]) == 7
        for day in site["days"]:
            assert set(day) == {"date", "windows", "usable_min", "first_reason"}
            assert day["first_reason"]
    # The clock of the Azores goes forward on 28 March 2027: an hour west of Greenwich before, none after.
    before, after = found["sites"][0]["days"][:2]
    assert before["windows"][0]["start"].endswith("-01:00") and after["windows"][0]["start"].endswith("+00:00")


def test_usable_minutes_are_those_of_the_windows(capsys):
    from datetime import datetime

    for day in answer(capsys, "the-gut", *SPAN)["sites"][0]["days"]:
        moments = [(datetime.fromisoformat(w["start"]), datetime.fromisoformat(w["end"])) for w in day["windows"]]
        assert day["usable_min"] == sum((end - start).total_seconds() for start, end in moments) / 60


def test_a_kind_with_stricter_limits_never_leaves_more(capsys):
    guided = answer(capsys, "the-gut", "stair-ledge", *SPAN)
    course = answer(capsys, "the-gut", "stair-ledge", *SPAN, "--kind", "level_1_course")
    assert course["kind"] == "level_1_course"
    for one, two in zip(guided["sites"], course["sites"], strict=True):
        for free, strict in zip(one["days"], two["days"], strict=True):
            assert strict["usable_min"] <= free["usable_min"]


def test_a_site_is_found_by_slug_name_or_file_alike(capsys):
    file = str(data_dir("sites") / "stair-ledge.toml")
    found = [answer(capsys, word, *SPAN)["sites"][0]["days"] for word in ("stair-ledge", "Stair Ledge", file)]
    assert found[0] == found[1] == found[2]


def test_a_site_file_brings_the_stations_beside_it(tmp_path, capsys):
    folder = tmp_path / "mine"
    shutil.copytree(data_dir("sites"), folder)
    station = folder / "stations" / "verrow-harbour.toml"
    station.write_text(station.read_text("utf-8").replace("mean_level_m = 2.59", "mean_level_m = 9.59"), "utf-8")
    mine = answer(capsys, str(folder / "stair-ledge.toml"), *SPAN)["sites"][0]["days"]
    theirs = answer(capsys, "stair-ledge", *SPAN, "--folder", str(folder))["sites"][0]["days"]
    assert mine == theirs
    assert mine != answer(capsys, "stair-ledge", *SPAN)["sites"][0]["days"]


def test_the_text_is_a_table_of_months_that_states_the_kind(capsys):
    assert main(["season", "stair-ledge", "--from", "2027-01-01", "--to", "2027-03-31"]) == 0
    said = capsys.readouterr().out
    assert "Stair Ledge (stair-ledge), guided dive, 2027-01-01 to 2027-03-31, Atlantic/Azores" in said
    for month in ("2027-01", "2027-02", "2027-03"):
        assert f"\n{month} " in said
    assert "Kind of dive: guided" in said
    assert "Coming out by Steps needs at least 1.6 m of tide and 0.2 m margin." in said
    assert "no forecast" in said


def test_hours_of_a_month_are_the_mean_of_its_days_rounded_down(capsys):
    words = ["stair-ledge", "--from", "2027-02-01", "--to", "2027-02-28"]
    minutes = [day["usable_min"] for day in answer(capsys, *words)["sites"][0]["days"]]
    assert main(["season", *words, "--at-least", "300"]) == 0
    (row,) = [line for line in capsys.readouterr().out.splitlines() if line.startswith("2027-02 ")]
    _, hours, enough, of, *best = row.split()
    assert 0 <= sum(minutes) / len(minutes) / 60 - float(hours) < 0.1
    assert int(enough) == sum(each >= 300 for each in minutes)
    assert int(of) == 28
    assert best[-1] == f"{max(minutes) // 60}:{max(minutes) % 60:02}"


def test_the_file_has_a_row_for_each_site_and_day(tmp_path, capsys):
    file = tmp_path / "season.csv"
    assert main(["season", "gull-cove", "the-gut", *SPAN, "--csv", str(file)]) == 0
    assert capsys.readouterr().out == f"{file}: 14 rows\n"
    rows = list(csv.DictReader(file.read_text(encoding="utf-8").splitlines()))
    found = answer(capsys, "gull-cove", "the-gut", *SPAN)
    days = [(site["site"], day) for site in found["sites"] for day in site["days"]]
    assert len(rows) == len(days) == 14
    for row, (slug, day) in zip(rows, days, strict=True):
        assert (row["site"], row["date"], int(row["usable_min"])) == (slug, day["date"], day["usable_min"])
        assert row["windows"].split() == [f"{w['start']}/{w['end']}" for w in day["windows"]]


def test_every_fault_of_the_words_is_told_in_a_line_of_its_own(capsys):
    lines = refused(capsys, "nowhere", "gull-cove", "--from", "2027-02-31", "--to", "1850-01-01", "--kind", "fun")
    assert len(lines) == 4
    assert '--from is "2027-02-31"' in lines[0]
    assert "--to is 1850-01-01; it must be from 1901-01-01 to 2099-12-31" in lines[1]
    assert lines[2].startswith('--kind "fun" is not known; known: first_experience, level_1_course')
    assert lines[3].startswith('site "nowhere" is neither a file nor known; known: gull-cove')


@pytest.mark.parametrize(
    ("first", "last", "sentence"),
    [
        ("2027-03-01", "2027-02-01", "--to 2027-02-01 is before --from 2027-03-01"),
        ("2027-01-01", "2028-01-02", "367 days; at most 366"),
        ("2100-01-01", "2100-01-02", "it must be from 1901-01-01 to 2099-12-31"),
    ],
)
def test_days_that_cannot_be_reckoned_are_refused(capsys, first, last, sentence):
    lines = refused(capsys, "gull-cove", "--from", first, "--to", last)
    assert all(sentence in line for line in lines[:1])
    assert len(lines) <= 2


def test_a_broken_site_file_is_told_with_its_line(tmp_path, capsys):
    file = tmp_path / "odd.toml"
    file.write_text('name = "Odd"\n', encoding="utf-8")
    lines = refused(capsys, str(file), *SPAN)
    assert all(line.startswith(f"{file}:") for line in lines)


def test_outside_a_printed_table_the_reason_says_that_the_tide_is_not_known(capsys):
    found = answer(capsys, "long-strand", "--from", "2029-01-01", "--to", "2029-01-03")
    for day in found["sites"][0]["days"]:
        assert day["usable_min"] == 0 and day["windows"] == []
        assert day["first_reason"].endswith("depends on the tide, and the tide is not known.")
