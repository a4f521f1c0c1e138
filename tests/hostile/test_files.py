"""Every file that a user brings is read, or refused with file, line and words: never a traceback, nothing guessed.

Where a changed file is read, the values that come out are the values that stand in it, and plans are made of them.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime, time
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from tests.hostile.mutations import Made, broken, made_of, mutated, toml, tried
from tripplan.catalogue.site import site_from
from tripplan.catalogue.station import read_station
from tripplan.cli import main
from tripplan.data_files import data_dir
from tripplan.documents.data import plan_json
from tripplan.documents.picture import day_picture
from tripplan.documents.pocket import pocket_html, pocket_site
from tripplan.documents.text import plan_text
from tripplan.emergency.readiness import readiness_from
from tripplan.environment.position import Position
from tripplan.errors import LONGEST_FAULT, BadRecord, Fault
from tripplan.feeds.settings import read_feed_settings
from tripplan.people.centre import read_centre
from tripplan.people.kit import kit_from
from tripplan.people.skills import skills_from
from tripplan.planning.action_sheet import sheets_of_day
from tripplan.planning.day import plan_day
from tripplan.planning.observed import observed_from
from tripplan.planning.tolerance import with_edges
from tripplan.planning.world import CannotPlan
from tripplan.record import read_toml
from tripplan.rulebook import baseline
from tripplan.store.folder import Folder, load_folder, load_request, load_schedule_request

OBSERVED = b"""\
[[observed]]
site = "stair-ledge"
time = 2026-12-12T08:10:00-01:00
by = "Greta Holm"
breaker_m = 0.4
wind_kn = 12
wind_from_deg = 200
"""
FEEDS = b"""\
contact = "office@example.org"
wait_s = 4.0
keep_fresh_min = 60.0
keep_stale_h = 72.0
prefer = ["open_meteo", "met_norway", "national_weather_service"]
[open_meteo]
use = true
non_commercial = true
host = "https://weather.example.org"
[met_norway]
use = false
"""


def content(name: str) -> bytes:
    """Return the bytes of a file of the demonstration, or of one that it does not have."""
    kept = {"centre/observed.toml": OBSERVED, "centre/feeds.toml": FEEDS}
    return kept.get(name) or (data_dir("sites") / name).read_bytes()


@pytest.fixture(scope="module")
def centre(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A centre's folder that the tests write into."""
    return Path(shutil.copytree(data_dir("sites"), tmp_path_factory.mktemp("hostile") / "centre"))


@cache
def whole() -> Folder:
    return load_folder(data_dir("sites"))


@contextmanager
def written(centre: Path, name: str, made: bytes) -> Iterator[Path]:
    """Put a file in the place of another one for a while."""
    path = centre / name
    before = path.read_bytes() if path.exists() else None
    path.write_bytes(made)
    try:
        yield path
    finally:
        path.unlink() if before is None else path.write_bytes(before)


def told_well(error: BadRecord, centre: Path) -> None:
    """Assert that every fault names a file, a line that is in it, and says something that fits on a line."""
    for fault in error.faults:
        path = Path(fault.file)
        assert path.is_relative_to(centre) or not path.is_absolute()
        lines = max(1, len(re.split(rb"\r\n|\r|\n", path.read_bytes()))) if os.path.isfile(path) else 1  # noqa: PTH113 -- the name may be too long for a file
        assert 1 <= fault.line <= lines, str(fault)[:300]
        assert fault.message.strip() and fault.message.isprintable(), repr(fault.message)[:300]
        assert len(fault.message) <= LONGEST_FAULT, fault.message[:300]


# ---- nothing is read as something else ----


def as_read(given: Any, found: Any) -> bool:
    """Return whether a value that was read is the one that stands in the file."""
    if isinstance(found, BaseModel):
        found = {name: getattr(found, name) for name in type(found).model_fields}
    if isinstance(given, dict):
        return isinstance(found, dict) and all(
            str(key).strip() in found and as_read(each, found[str(key).strip()]) for key, each in given.items()
        )
    if isinstance(given, list):
        return (
            isinstance(found, tuple)
            and len(given) == len(found)
            and all(as_read(one, other) for one, other in zip(given, found, strict=True))
        )
    if isinstance(found, Position):
        return isinstance(given, str)  # its own tests read many
    if isinstance(found, time) and isinstance(given, str):
        return given.strip() == f"{found:%H:%M}"
    if isinstance(given, str):
        return isinstance(found, str) and str(found) == given.strip()
    if isinstance(given, bool) or isinstance(found, bool):
        return given is found
    if isinstance(given, datetime | date):
        return found == given and type(found) is type(given)
    return bool(found == given)


TOML_FILES: dict[str, Callable[[Path], Any]] = {
    "gull-cove.toml": lambda path: site_from(read_toml(path)),
    "the-gut.toml": lambda path: site_from(read_toml(path)),
    "stations/verrow-harbour.toml": read_station,
    "stations/north-haven.toml": read_station,
    "centre/centre.toml": read_centre,
    "centre/people.toml": lambda path: read_centre(path.with_name("centre.toml")).roster,
    "centre/rules.toml": lambda path: baseline().with_overrides(path),
    "centre/kit.toml": lambda path: kit_from(read_toml(path)),
    "centre/skills.toml": lambda path: skills_from(read_toml(path)),
    "centre/emergency.toml": lambda path: readiness_from(read_toml(path)),
    "centre/feeds.toml": lambda path: read_feed_settings(path.parent.parent),
    "centre/observed.toml": lambda path: observed_from(read_toml(path), whole().sites),
    "requests/saturday-ledge.toml": lambda path: load_request(path, whole().world),
    "schedules/december-week.toml": lambda path: load_schedule_request(path, whole().world),
}
AS_WRITTEN = {  # these come out as a record of the same keys
    "gull-cove.toml", "the-gut.toml", "centre/kit.toml", "centre/skills.toml", "centre/emergency.toml",
    "centre/feeds.toml", "requests/saturday-ledge.toml", "schedules/december-week.toml",
}  # fmt: skip


@pytest.mark.parametrize("name", TOML_FILES)
def test_a_file_with_other_values_is_read_as_it_stands_or_refused_in_words(name: str, centre: Path) -> None:
    @tried(15)
    @given(mutated(tomllib.loads(content(name).decode())))
    def tell(made: Made) -> None:
        with written(centre, name, toml(made.value)) as path:
            try:
                found = TOML_FILES[name](path)
            except BadRecord as error:
                told_well(error, centre)
            else:
                if name in AS_WRITTEN:
                    assert as_read(made.value, found)

    tell()


@pytest.mark.parametrize("name", TOML_FILES)
def test_a_file_that_is_broken_is_refused_in_words(name: str, centre: Path) -> None:
    @tried(10)
    @given(broken(content(name)))
    def tell(made: Made) -> None:
        with written(centre, name, made.value) as path:
            try:
                TOML_FILES[name](path)
            except BadRecord as error:
                told_well(error, centre)

    tell()


# ---- what is read is planned ----


def everything_of(folder: Folder) -> None:
    """Make all that pages and papers show of a folder's requests; words for whoever asked are the one way out."""
    world = folder.world
    for request in folder.requests.values():
        try:
            plan = with_edges(plan_day(request, world), request, world)
            sheets = sheets_of_day(request.date, [request.site], [request], world)
        except CannotPlan as error:
            assert all(sentence.strip() for _, sentence in error.faults)
            continue
        json.dumps(plan_json(plan), allow_nan=False)
        plan_text(plan)
        day_picture(plan, narrow=True)
        pages = [pocket_site(each.sheet, each.plans, world.sites[request.site], world) for each in sheets]
        pocket_html(request.date, pages, world.rules)


REQUESTS = {"gull-cove.toml": "beginners-cove", "the-gut.toml": "saturday-ledge"}


@pytest.mark.parametrize("name", [name for name in TOML_FILES if not name.startswith("schedules")])
def test_what_is_read_of_a_changed_file_is_planned(name: str, centre: Path) -> None:
    @tried(1)
    @given(mutated(tomllib.loads(content(name).decode()), gently=True))
    def tell(made: Made) -> None:
        wanted = REQUESTS.get(name, "saturday-ledge")
        with written(centre, name, toml(made.value)):
            try:
                folder = load_folder(centre)
            except BadRecord as error:
                return told_well(error, centre)
            if folder.faults:
                told_well(BadRecord(folder.faults), centre)
            if wanted in folder.requests:
                asked = folder.requests[wanted]
                if name == "the-gut.toml" and "the-gut" in folder.sites:
                    groups = tuple(
                        group.model_copy(update={"place": None, "going_in_by": None, "coming_out_by": None})
                        for group in asked.groups
                    )
                    asked = asked.model_copy(update={"site": "the-gut", "groups": groups})
                everything_of(replace(folder, requests={wanted: asked}))

    tell()


# ---- commands ----

SMALL_SCHEDULE = b"""\
first_day = 2026-12-12
days = 1
sites = ["gull-cove"]
recent_dives = "none"
[centre]
position = "46.8790, -16.8420"
timezone = "Atlantic/Azores"
opens = "07:30"
closes = "19:00"
[[crew]]
name = "Ines Faro"
[[crew]]
name = "Greta Holm"
duties = "ashore"
[[crew]]
name = "Yusuf Demir"
duties = "ashore"
[[groups]]
name = "Skuas"
kind = "guided"
divers = ["Bruno Silva", "Eric Lund"]
cylinder_l = 15.0
fill_bar = 220.0
suit_mm = 7.0
[[groups.dives]]
depth_m = 12
minutes = 25
"""


def commands(name: str, centre: Path) -> list[list[str]]:
    """Return the commands that read a file."""
    folder = ["--folder", str(centre)]
    request = str(centre / "requests" / "saturday-ledge.toml")
    if name.startswith("schedules"):
        return [["schedule", str(centre / name), "--seconds", "1", "--no-explain", "--json"]]
    if name.startswith("stations"):
        return [["tide", Path(name).stem, "--from", "2026-12-12", "--to", "2026-12-13", *folder, "--json"]]
    if name == "centre/people.toml":
        return [["people", str(centre), "--export", "-"]]
    if name == "centre/rules.toml":
        return [["rules", *folder, "--json"]]
    if name == "the-gut.toml":
        return [["sites", str(centre), "--json"]]
    return [["plan", request, *folder, "--json"], ["sheet", "--date", "2026-12-12", *folder, "--json"]]


def ended_well(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Run a command, and assert that it ends with an answer, a stop, or a refusal in lines."""
    code = main(words)
    out, err = capsys.readouterr()
    assert code in (0, 1, 2), words
    assert "Traceback" not in out + err
    if code == 2:
        assert err.strip(), words
    elif "--json" in words:
        json.loads(out)


# No command is run on feeds.toml: it would ask whatever host a change has named, or left out.
READ_BY_COMMANDS = [*(name for name in TOML_FILES if name != "centre/feeds.toml"), "forecast/island.csv",
                    "centre/ticks.csv"]  # fmt: skip


@pytest.mark.parametrize("name", READ_BY_COMMANDS)
def test_a_command_ends_with_an_answer_or_a_refusal(
    name: str, centre: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    whole_file = SMALL_SCHEDULE if name.startswith("schedules") else content(name)
    changes = [broken(whole_file).map(lambda made: made.value)]
    if name.endswith(".toml"):
        data = tomllib.loads(whole_file.decode())
        changes += [mutated(data, gently=True).map(lambda made: toml(made.value))]

    @tried(1)
    @given(made_of(st.one_of(changes)))
    def tell(made: Made) -> None:
        with written(centre, name, made.value):
            for words in commands(name, centre):
                ended_well(words, capsys)

    tell()


# ---- what is told ----


def test_a_fault_that_quotes_a_file_without_end_is_cut_in_its_middle_and_stays_on_its_line() -> None:
    fault = Fault("x.toml", 3, f"begin{'x' * 100_000}\n\x1b[31m end")
    assert len(fault.message) <= LONGEST_FAULT
    assert fault.message.startswith("beginxxx") and " ... " in fault.message
    assert fault.message.endswith("\\n\\x1b[31m end")
