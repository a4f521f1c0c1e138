"""`tripplan schedule`: JSON by its contract, files, what it refuses, how it ends, and the file in the guide."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, get_args

import pytest
from icalendar import Calendar
from pypdf import PdfReader

from tripplan.cli import main
from tripplan.data_files import data_dir
from tripplan.planning import schedule_request
from tripplan.planning.request import GroupWish
from tripplan.record import Record

ROOT = Path(__file__).resolve().parent.parent
WEEK = data_dir("sites") / "schedules" / "december-week.toml"

HEAD = """title = "One Saturday"
first_day = 2026-12-12
days = 1
recent_dives = "none"
sites = ["gull-cove"]

[centre]
position = "46.8790, -16.8420"
timezone = "Atlantic/Azores"
opens = "07:30"
closes = "19:00"

[[drives]]
site = "gull-cove"
minutes = 12
km = 8.5
"""
CREW = ("Ines Faro", "Maren Dahl", "Luca Benti", "Greta Holm", "Yusuf Demir")
GROUPS = (
    ("Skuas", "guided", ("Bruno Silva", "Eric Lund"), ((16, 25), (12, 25))),
    ("Skuas!", "refresher", ("Clara Voss", "Jonas Beck"), ((5, 30),)),
)


def request_text(*more: str) -> str:
    """Return a file of one day and two groups, with more lines at its end."""
    lines = [HEAD]
    lines += [f'[[crew]]\nname = "{name}"\n' for name in CREW]
    for name, kind, divers, dives in GROUPS:
        named = ", ".join(f'"{each}"' for each in divers)
        lines.append(f'[[groups]]\nname = "{name}"\nkind = "{kind}"\ndivers = [{named}]')
        lines.append("cylinder_l = 15.0\nfill_bar = 220.0\nsuit_mm = 7.0")
        lines += [f"[[groups.dives]]\ndepth_m = {depth}\nminutes = {minutes}" for depth, minutes in dives]
    return "\n".join((*lines, *more)) + "\n"


ALL_AWAY = '\n[[absent]]\nperson = "{}"\ndays = [2026-12-12]'


@pytest.fixture(scope="module")
def island(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the demonstration's folder, for the whole module: no test changes what others read."""
    folder = Path(shutil.copytree(data_dir("sites"), tmp_path_factory.mktemp("island") / "centre"))
    for file in (folder / "schedules").iterdir():
        file.unlink()
    return folder


@pytest.fixture
def asked(island: Path) -> Iterator[Path]:
    """Return the file of the Saturday in the folder."""
    file = island / "schedules" / "saturday.toml"
    file.write_text(request_text(), encoding="utf-8")
    yield file
    file.unlink()


@pytest.fixture
def run(capsys):
    def answer(*words: object) -> tuple[int, str, str]:
        code = main([str(word) for word in ("schedule", *words)])
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return answer


def without_time(text: str) -> dict[str, Any]:
    found = json.loads(text)
    assert found.pop("seconds") >= 0
    return found


# ---- the answer ----


def test_the_json_has_what_the_contract_promises_and_all_is_placed(run, asked):
    code, out, err = run(asked, "--json", "--seconds", 5, "--seed", 7)
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert {"placed", "unplaced", "status", "gap", "seconds", "seed"} <= found.keys()
    assert (found["status"], found["gap"], found["seed"], found["unplaced"]) == ("optimal", 0, 7, [])
    assert sorted((each["group"], each["dive"]) for each in found["placed"]) == [
        ("Skuas", 1), ("Skuas", 2), ("Skuas!", 1)
    ]  # fmt: skip
    for each in found["placed"]:
        assert {"group", "site", "entry", "exit", "crew"} <= each.keys()
        entry, out_of_water = datetime.fromisoformat(each["entry"]), datetime.fromisoformat(each["exit"])
        assert entry.utcoffset() == out_of_water.utcoffset() == timedelta(hours=-1)  # the Azores in winter
        assert entry.date().isoformat() == "2026-12-12"
        assert out_of_water - entry >= timedelta(minutes=each["minutes"])
        assert each["site"] == "gull-cove"
        assert each["crew"] and set(each["crew"]) <= set(CREW)


def test_a_group_without_a_place_ends_with_one_and_says_why(run, asked):
    away = "".join(ALL_AWAY.format(name) for name in CREW)
    asked.write_text(request_text(away), encoding="utf-8")
    code, out, err = run(asked, "--json", "--no-explain")
    assert (code, err) == (1, "")
    found = json.loads(out)
    assert found["placed"] == []
    assert [(each["group"], each["dives"]) for each in found["unplaced"]] == [("Skuas", [1, 2]), ("Skuas!", [1])]
    for each in found["unplaced"]:
        assert any("nobody of the crew works in the water" in words for words in each["because"])
        assert each["would_fit_if"] == []


def test_the_text_is_printed_without_a_word_and_beside_files_with_text(run, asked, tmp_path):
    for words in ((), ("--text", "--csv", tmp_path / "s.csv")):
        code, out, err = run(asked, *words)
        assert (code, err) == (0, "")
        assert "All 3 dives have a place; proved best." in out
        assert "Skuas, dives 1 to 2 (guided dive): Gull Cove" in out


def test_the_week_of_the_demonstration_says_what_would_place_the_group_that_it_leaves_out(run):
    code, out, err = run(WEEK, "--json", "--seconds", 15)
    assert (code, err) == (1, "")
    found = json.loads(out)
    assert found["status"] in ("optimal", "feasible")
    assert found["gap"] >= 0
    left = {each["group"]: each for each in found["unplaced"]}
    assert left["Elvers"]["dives"] == [1]
    for each in left.values():
        assert each["because"] and all(isinstance(words, str) and words for words in each["because"])
    assert left["Elvers"]["would_fit_if"] and all(each["sentence"] for each in left["Elvers"]["would_fit_if"])
    asked = tomllib.loads(WEEK.read_text(encoding="utf-8"))
    wanted = [(group["name"], n + 1) for group in asked["groups"] for n in range(len(group["dives"]))]
    told = [(each["group"], each["dive"]) for each in found["placed"]]
    told += [(name, dive) for name, each in left.items() for dive in each["dives"]]
    assert sorted(told) == sorted(wanted)  # each dive once, on one side or the other


def test_the_same_seed_gives_the_same_in_a_process_of_its_own_with_another_order_of_sets(run, asked):
    here = without_time(run(asked, "--json", "--seed", 3)[1])
    words = [sys.executable, "-m", "tripplan", "schedule", str(asked), "--json", "--seed", "3"]
    env = {**os.environ, "PYTHONHASHSEED": "2"}
    other = subprocess.run(words, cwd=ROOT, env=env, capture_output=True, text=True, check=False)
    assert (other.returncode, other.stderr) == (0, "")
    assert without_time(other.stdout) == here


def test_the_forecast_of_the_folder_counts(run, asked, island):
    file = island / "forecast" / "island.csv"
    calm = file.read_text(encoding="utf-8")
    assert ",no," in calm  # the column of thunder
    try:
        file.write_text(calm.replace(",no,", ",yes,"), encoding="utf-8")
        code, out, _ = run(asked, "--json", "--no-explain")
    finally:
        file.write_text(calm, encoding="utf-8")
    found = json.loads(out)
    assert code == 1 and found["placed"] == []
    assert all(any("thunder" in words.lower() for words in each["because"]) for each in found["unplaced"])


# ---- what is refused ----


def line_of(text: str, words: str) -> int:
    return 1 + next(number for number, line in enumerate(text.splitlines()) if words in line)


@pytest.mark.parametrize(
    ("old", "new", "at", "said"),
    [
        ('name = "Luca Benti"', 'name = "Zed Zimmer"', "Zed Zimmer", "not in the list of people"),
        ('"Jonas Beck"', '"Zed Zimmer"', "Zed Zimmer", "not in the list of people"),
        ('sites = ["gull-cove"]', 'sites = ["nowhere"]', "nowhere", "not in the catalogue"),
        ("days = 1\n", "days = 15\n", "days = 15", "15"),
        ("days = 1\n", "days = \n", "days = ", "no value"),
        ('kind = "refresher"', 'kind = "stroll"', "stroll", "stroll"),
        ("suit_mm = 7.0", "suit_mm = 7.0\ncolour = 1", "colour", "colour is not a known key"),
        ('opens = "07:30"', 'opens = "25:30"', "25:30", "HH:MM"),
        ('name = "Maren Dahl"', 'name = "Maren Dahl"\noff = [2026-12-13]', "off =", "outside the days"),
    ],
)
def test_a_file_with_a_fault_is_refused_with_its_line(run, asked, old, new, at, said):
    text = request_text().replace(old, new, 1)
    assert text != request_text()
    asked.write_text(text, encoding="utf-8")
    code, out, err = run(asked, "--json")
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert f"{asked}:{line_of(text, at)}: " in err and said in err
    assert all(re.match(rf"{re.escape(str(asked))}:\d+: \S", line) for line in lines)
    assert len(lines) == len(set(lines))


def test_every_day_outside_is_told_on_a_line_of_its_own(run, asked):
    more = (
        '[[closed]]\nsite = "gull-cove"\ndays = [2026-12-20]\nbecause = "regatta"\n'
        '[[pinned]]\ngroup = "Skuas"\ndives = [1]\nday = 2026-12-01\n'
        '[[excluded]]\ngroup = "Skuas"\nday = 2026-12-21\n'
        '[[absent]]\nperson = "Ines Faro"\ndays = [2026-12-22]'
    )
    asked.write_text(request_text(more), encoding="utf-8")
    code, out, err = run(asked)
    assert (code, out, len(err.splitlines())) == (2, "", 4)
    for day in ("2026-12-20", "2026-12-01", "2026-12-21", "2026-12-22"):
        assert any(f":{line_of(request_text(more), day)}: " in line and day in line for line in err.splitlines())


def test_a_file_that_is_not_there_or_no_centre_above_it(run, tmp_path, asked):
    for path, said in ((tmp_path / "none.toml", "there is no such file"), (tmp_path, "this is a folder, not a file")):
        code, out, err = run(path)
        assert (code, out) == (2, "")
        assert err == f"{path}:1: {said}\n"
    alone = tmp_path / "alone.toml"
    alone.write_text(request_text(), encoding="utf-8")
    code, out, err = run(alone)
    assert (code, out) == (2, "") and err.startswith(f"{alone}:1: no centre/centre.toml stands above")
    assert len(err.splitlines()) == 1
    code, out, err = run(alone, "--folder", asked.parent.parent, "--csv", tmp_path / "alone.csv")
    assert (code, err) == (0, "")


@pytest.fixture
def no_search(monkeypatch):
    """Fail where a search is begun."""
    from tripplan.planning import scheduling

    def never(*_: object, **__: object) -> None:
        raise AssertionError("a search was begun")

    monkeypatch.setattr(scheduling, "make_schedule", never)


@pytest.mark.parametrize(
    "words",
    [
        ("--seconds", "0"), ("--seconds", "-1"), ("--seconds", "nan"), ("--seconds", "1e9"), ("--seed", "1.5"),
        ("--seed", "-1"), ("--seed", "2147483648"), ("--paper", "a3"), ("--json", "--text"), ("--nonsense",),
    ],
)  # fmt: skip
def test_words_that_cannot_be_used_are_one_line(run, asked, no_search, words):
    code, out, err = run(asked, *words)
    assert (code, out, len(err.splitlines())) == (2, "", 1)
    assert err.startswith("tripplan") and "--help` explains" in err


@pytest.mark.parametrize("option", ["--pdf", "--csv", "--keep", "--calendars"])
def test_a_folder_that_is_not_there_is_told_before_the_search(run, asked, no_search, tmp_path, option):
    path = tmp_path / "none" / "file" if option != "--calendars" else tmp_path / "none"
    code, out, err = run(asked, option, path)
    assert (code, out) == (2, "")
    assert err == f"tripplan schedule: {option} {path}: there is no folder {tmp_path / 'none'}; make it first\n"
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_something_else_already_is_refused_before_the_search(run, asked, no_search, tmp_path):
    before = asked.read_text(encoding="utf-8")
    for words, said in (
        (("--csv", asked), "this is the request already"),
        (("--csv", tmp_path), "this is not an ordinary file"),
        (("--csv", tmp_path / "a", "--pdf", tmp_path / "a"), "this is the file of --pdf already"),
    ):
        code, out, err = run(asked, *words)
        assert (code, out, len(err.splitlines())) == (2, "", 1) and said in err
    assert asked.read_text(encoding="utf-8") == before
    assert list(tmp_path.iterdir()) == []


# ---- files ----


def test_the_files_are_written_whole_and_nothing_besides(run, asked, tmp_path):
    calendars = tmp_path / "calendars"
    calendars.mkdir()
    words = ["--pdf", tmp_path / "s.pdf", "--csv", tmp_path / "s.csv", "--keep", tmp_path / "s.json"]
    code, out, err = run(asked, *words, "--calendars", calendars, "--paper", "letter")
    assert (code, err) == (0, "")
    assert {file.name for file in tmp_path.iterdir()} == {"s.pdf", "s.csv", "s.json", "calendars"}
    for file in ("s.pdf", "s.csv", "s.json"):
        assert f"{tmp_path / file}: " in out
    assert out.startswith("All 3 dives have a place; proved best. Revision ")

    pages = PdfReader(tmp_path / "s.pdf").pages
    assert len(pages) > 1
    assert {round(float(side)) for side in pages[0].mediabox[2:]} == {612, 792}  # Letter, in points

    rows = list(csv.DictReader(io.StringIO((tmp_path / "s.csv").read_bytes().decode("utf-8"))))
    assert sorted((row["group"], row["dive"]) for row in rows) == [("Skuas", "1"), ("Skuas", "2"), ("Skuas!", "1")]
    assert {row["status"] for row in rows} == {"placed"}

    files = {file.name: Calendar.from_ical(file.read_bytes()) for file in calendars.iterdir()}
    crew = {f"crew-{name.lower().replace(' ', '-')}.ics" for name in CREW}
    assert set(files) == crew | {"group-skuas.ics", "group-skuas-2.ics"}  # two names that are alike, two files
    assert [str(event["summary"]) for event in files["group-skuas-2.ics"].walk("VEVENT")] == [
        "DEMONSTRATION - NOT FOR USE: Skuas!, dive 1"
    ]
    worked = sum(len(files[name].walk("VEVENT")) for name in crew)
    assert worked == 4  # who leads two outings, and two people ashore


def test_json_is_one_object_also_where_files_are_written(run, asked, tmp_path):
    code, out, err = run(asked, "--json", "--csv", tmp_path / "s.csv")
    assert (code, err) == (0, "") and json.loads(out)["placed"]
    assert (tmp_path / "s.csv").is_file()


def test_what_cannot_be_written_leaves_the_file_before_and_loses_no_answer(run, asked, tmp_path, monkeypatch):
    (tmp_path / "s.csv").write_text("the one before", encoding="utf-8")
    whole = Path.write_bytes

    def full(path: Path, content: bytes) -> int:
        if path.name.startswith(".s.csv"):
            whole(path, content[:10])
            raise OSError(28, "No space left on device")
        return whole(path, content)

    monkeypatch.setattr(Path, "write_bytes", full)
    code, out, err = run(asked, "--json", "--csv", tmp_path / "s.csv", "--keep", tmp_path / "s.json")
    assert code == 2
    assert err == f"{tmp_path / 's.csv'}: No space left on device\n"
    assert json.loads(out)["placed"]
    assert {file.name for file in tmp_path.iterdir()} == {"s.csv", "s.json"}
    assert (tmp_path / "s.csv").read_text(encoding="utf-8") == "the one before"


# ---- the schedule before ----


def test_a_schedule_keeps_to_the_one_before_and_tells_what_changes(run, asked, tmp_path):
    kept = tmp_path / "kept.json"
    first = json.loads(run(asked, "--json", "--keep", kept)[1])
    assert first["moved"] == []
    again = json.loads(run(asked, "--json", "--before", kept, "--keep", kept)[1])  # over itself
    assert again["moved"] == []
    kept_to = ("group", "dive", "site", "entry", "leader", "assistants", "shore")
    assert [[each[key] for key in kept_to] for each in again["placed"]] == [
        [each[key] for key in kept_to] for each in first["placed"]
    ]
    leader = next(each["leader"] for each in first["placed"] if each["group"] == "Skuas")
    asked.write_text(request_text(ALL_AWAY.format(leader)), encoding="utf-8")
    code, out, err = run(asked, "--json", "--before", kept)
    assert (code, err) == (0, "")
    said = [each["sentence"] for each in json.loads(out)["moved"]]
    assert any(f"not {leader}" in sentence for sentence in said)


@pytest.mark.parametrize(
    ("content", "line", "said"),
    [
        (None, 1, "there is no such file"),
        (b"", 1, "not valid JSON"),
        (b'{"shape": 1,\n "schedule": }', 2, "not valid JSON"),
        (b"\xff\xfe", 1, "not valid JSON"),
        (b"[" * 100_000, 1, "not valid JSON"),
        (b"[]", 1, "cannot be read"),
        (b'{"shape": 99}', 1, "another version"),
        (b'{"shape": 1, "schedule": {"title": 3}}', 1, "cannot be read"),
    ],
)
def test_a_schedule_before_that_is_none_is_refused_with_its_line(run, asked, no_search, tmp_path, content, line, said):
    file = tmp_path / "kept.json"
    if content is not None:
        file.write_bytes(content)
    code, out, err = run(asked, "--before", file)
    assert (code, out, len(err.splitlines())) == (2, "", 1)
    assert err.startswith(f"{file}:{line}: ") and said in err and "give a file that --keep wrote" in err


# ---- while it goes on ----


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_terminal_sees_how_far_it_is_and_is_left_clean(asked, monkeypatch, capsys):
    shown = Terminal()
    monkeypatch.setattr(sys, "stderr", shown)
    assert main(["schedule", str(asked), "--json"]) == 0
    json.loads(capsys.readouterr().out)
    lines = shown.getvalue().split("\r")
    assert any("looking at which outings" in line for line in lines)
    assert any("3 of 3 dives have a place" in line for line in lines)
    assert "\n" not in shown.getvalue() and max(map(len, lines)) < 80
    assert lines[-1] == "" and not lines[-2].strip()  # the last thing on the line is nothing


SEARCHING = """
import random, sys, threading, time
from tests.sample_schedule import sample_schedule
from tripplan.cli import main
from tripplan.planning import scheduling

def listening(*_, stop, **__):
    "Search as the solver does, which hears an interrupt itself and ends the whole program by it where it may."
    from ortools.sat.python import cp_model
    random.seed(1)
    model = cp_model.CpModel()
    bits = [model.new_bool_var("") for _ in range(300)]
    for _ in range(500):
        model.add(sum(random.randint(1, 30) * bit for bit in random.sample(bits, 9)) <= 60)
    model.maximize(sum(random.randint(1, 100) * bit for bit in bits))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = 60
    threading.Timer(0.3, lambda: print("searching", flush=True)).start()
    def look():
        while not stop():
            time.sleep(0.05)
        solver.stop_search()
    threading.Thread(target=look, daemon=True).start()
    solver.solve(model)
    return sample_schedule()

def deaf(*_, **__):
    print("searching", flush=True)
    time.sleep(60)

scheduling.make_schedule = SEARCH
sys.exit(main(["schedule", *sys.argv[1:]]))
"""


def interrupted(search: str, most: int, *words: object) -> tuple[int, str, str]:
    """Return how the command ends when it is interrupted while it searches, at most so many times."""
    command = [sys.executable, "-c", SEARCHING.replace("SEARCH", search), *map(str, words)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "searching\n"
        time.sleep(0.3)
        for _ in range(most):
            child.send_signal(signal.SIGINT)
            with suppress(subprocess.TimeoutExpired):
                child.wait(1)
                break
        out, err = child.communicate(timeout=60)
    return child.returncode, out, err


def test_an_interrupt_ends_the_search_and_prints_the_best_so_far(asked, tmp_path):
    code, out, err = interrupted("listening", 1, asked, "--json", "--keep", tmp_path / "kept.json")
    assert code == 1  # the sample has a group without a place
    assert json.loads(out)["placed"] and (tmp_path / "kept.json").is_file()
    assert err == "Ended before its time: this is the best that was found.\n"


def test_a_second_interrupt_ends_at_once_and_writes_nothing(asked, tmp_path):
    code, out, err = interrupted("deaf", 5, asked, "--json", "--keep", tmp_path / "kept.json")
    assert (code, out, len(err.splitlines())) == (2, "", 1)
    assert "nothing was written" in err
    assert list(tmp_path.iterdir()) == []


# ---- a guide explains the file ----


def explained_file() -> str:
    text = (data_dir("templates") / "guides" / "files.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"```toml schedules/second-weekend.toml\n(.*?)```", text, re.DOTALL)
    return str(block)


def records_of(kind: type[Record]) -> dict[str, set[str]]:
    """Return the keys of a record and of every record in it, by its name."""
    found = {kind.__name__: set(kind.model_fields)}

    def into(annotation: object) -> None:
        if isinstance(annotation, type) and issubclass(annotation, Record):
            found.update(records_of(annotation))
        for inner in get_args(annotation):
            into(inner)

    for field in kind.model_fields.values():
        into(field.annotation)
    return found


def test_the_guide_names_every_key_that_a_file_of_days_has():
    block = explained_file()
    named = set(re.findall(r"[a-z][a-z0-9_]*", block))
    records = records_of(schedule_request.ScheduleRequest)
    of_a_day = {"RecentDive": set(), "DiveWish": {"depth_m", "minutes"}, "SchoolGroup": set(GroupWish.model_fields)}
    assert {"Start", "Worker", "Vehicle", "Pin", "Exclusion", "Absence", "ClosedSite"} <= records.keys()
    for name, keys in records.items():
        if name == "SchoolGroup":
            keys = keys - of_a_day[name]
        elif name in of_a_day:
            keys = of_a_day[name]
        assert keys <= named, (name, keys - named)


def test_the_file_in_the_guide_makes_a_schedule(run, island):
    file = island / "schedules" / "explained.toml"
    file.write_text(explained_file(), encoding="utf-8")
    try:
        code, out, err = run(file, "--json", "--seconds", 5)
    finally:
        file.unlink()
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert found["status"] == "optimal" and found["unplaced"] == []
    assert any(each["pinned"] for each in found["outings"])
