"""`tripplan board`: text and JSON by its contract, and how the program ends."""

from __future__ import annotations

import json
import shutil
from datetime import datetime
from pathlib import Path

import pytest

from tripplan.cli import main
from tripplan.data_files import data_dir

LEDGE = data_dir("sites") / "requests" / "saturday-ledge.toml"


@pytest.fixture
def run(capsys):
    def answer(*words: object) -> tuple[int, str, str]:
        code = main([str(word) for word in ("board", *words)])
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return answer


@pytest.fixture
def centre(tmp_path):
    return Path(shutil.copytree(data_dir("sites"), tmp_path / "centre"))


def test_the_json_has_every_site_best_first_with_every_day(run):
    code, out, err = run(LEDGE, "--group", "Skuas", "--from", "2026-12-13", "--days", "2", "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert (found["group"], found["from"], found["days"]) == ("Skuas", "2026-12-13", 2)
    assert len(found["sites"]) == 9
    for site in found["sites"]:
        assert {"site", "name", "total_min", "days"} <= site.keys()
        assert [day["date"] for day in site["days"]] == ["2026-12-13", "2026-12-14"]
        assert site["total_min"] == sum(day["usable_min"] for day in site["days"])
        for day in site["days"]:
            spans = [(datetime.fromisoformat(w["start"]), datetime.fromisoformat(w["end"])) for w in day["windows"]]
            assert all(start.tzinfo for start, _ in spans)
            assert day["usable_min"] == sum((end - start).total_seconds() / 60 for start, end in spans)
            assert day["first_reason"]
            assert (day["outcome"] == "stop") == (day["usable_min"] == 0)
    # the demonstration's forecast ends with 13 December; of the quarry's shelter its file says nothing
    assert [day["sea_known"] for day in found["sites"][0]["days"]] == [True, False]
    known = [sum(day["usable_min"] for day in site["days"] if day["sea_known"]) for site in found["sites"]]
    assert known == sorted(known, reverse=True)


def test_group_and_first_day_are_those_of_the_request_unless_said(run):
    found = json.loads(run(LEDGE, "--days", "1", "--json")[1])
    assert (found["group"], found["from"]) == ("Terns", "2026-12-12")


def test_the_text_has_a_line_a_site_and_its_reasons_below(run):
    code, out, err = run(LEDGE, "--group", "Skuas", "--from", "2026-12-13", "--days", "2")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0].startswith("Skuas, guided dive: usable time")
    assert "Sun 13 Dec" in lines[1] and "Mon 14 Dec" in lines[1] and "in all" in lines[1]
    assert lines[2].startswith("Gull Cove") and "min?" in lines[2]  # the second day's sea is not told
    assert "  Sun 13 Dec, Mon 14 Dec: Bruno Silva has level 2 (autonomous diver); The Gut admits level 3" in out
    assert "? sea and wind are not told" in out


def test_it_ends_with_one_when_no_site_has_a_minute_on_any_day(run, centre):
    request = centre / "requests" / "saturday-ledge.toml"
    text = request.read_text(encoding="utf-8")
    request.write_text(text.replace('shore_watch = ["Greta Holm", "Yusuf Demir"]', ""), encoding="utf-8")
    code, out, err = run(request, "--days", "1", "--json")
    assert (code, err) == (1, "")
    found = json.loads(out)
    assert {site["total_min"] for site in found["sites"]} == {0}
    reasons = {reason for site in found["sites"] for day in site["days"] for reason in day["reasons"]}
    assert any(reason.startswith("Shore watch: nobody named") for reason in reasons)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--group", "Gulls"), '--group "Gulls" is not in the request; known: Terns, Skuas'),
        (("--group", ""), '--group "" is not in the request; known: Terns, Skuas'),
        (("--from", "soon"), '--from is "soon"; give a date like 2027-06-12'),
        (("--from", "2099-12-31"), "2099-12-31"),
        (("--days", "0"), "days of the board is 0 days; it must be from 1 to 31 days"),
        (("--days", "32"), "it must be from 1 to 31 days"),
        (("--days", "-1"), "--days"),
        (("--days", "2.5"), '"2.5" is not a whole number of days'),
        (("--days", "²"), "is not a whole number of days"),
        (("--folder", "/nowhere"), "there is no such folder"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line(run, words, said):
    code, out, err = run(LEDGE, *words)
    assert (code, out) == (2, "")
    assert said in err
    assert len(err.splitlines()) == 1


def test_a_fault_in_the_request_is_told_with_its_line(run, centre):
    request = centre / "requests" / "saturday-ledge.toml"
    text = request.read_text(encoding="utf-8")
    request.write_text(text.replace('leader = "Asha Rao"', 'leader = "Asha Roa"'), encoding="utf-8")
    code, out, err = run(request)
    assert (code, out) == (2, "")
    assert "saturday-ledge.toml:" in err and '"Asha Roa" is not in the list of people' in err


def test_a_site_file_with_a_fault_is_told_and_left_out(run, centre):
    site = centre / "old-slip.toml"
    site.write_text(site.read_text(encoding="utf-8").replace("lowest_level", "lowest"), encoding="utf-8")
    code, out, err = run(centre / "requests" / "saturday-ledge.toml", "--days", "1", "--json")
    assert "old-slip.toml:" in err
    assert code == 0
    assert len(json.loads(out)["sites"]) == 8
