"""The dates of a demonstration's schedules move with its requests and its weather, each of them and by whole weeks.

What is expected comes from the text of the file: every date in it is written anew, and the file is read again.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from tripplan.data_files import data_dir
from tripplan.planning.schedule_request import ScheduleRequest, schedule_faults, schedule_request_from
from tripplan.record import TomlFile
from tripplan.store.demo import WRITTEN, kept_young
from tripplan.store.folder import Folder, load_folder

WEEK = data_dir("sites") / "schedules" / "december-week.toml"
EVERY_DATE = """
[[groups]]
name = "Wrasse"
kind = "guided"
divers = ["Rosa Marin", "Nadia Petit"]
mixes = { "Nadia Petit" = 32.0 }
days = [2026-12-08, 2026-12-13]
preferred_days = [2026-12-13]
[[groups.dives]]
depth_m = 10
minutes = 20

[[closed]]
site = "old-slip"
days = [2026-12-07, 2026-12-08]
because = "regatta of 2026-12-07"
[[pinned]]
group = "Skuas"
dives = [1]
day = 2026-12-09
entry = "10:00"
assistants = []
[[excluded]]
group = "Terns"
day = 2026-12-13
[[absent]]
person = "Ines Faro"
days = [2026-12-08, 2026-12-12]
"""
DIVES = """[[recent_dives]]
person = "Rosa Marin"
depth_m = 12
minutes = 30
surfaced = 2026-12-06T23:30:00-01:00
"""


def read(text: str) -> ScheduleRequest:
    return schedule_request_from(TomlFile(Path("week.toml"), text))


def everything() -> str:
    """Return the week of the demonstration with a date in every place where a file may have one."""
    return WEEK.read_text(encoding="utf-8").replace('recent_dives = "none"\n', "") + EVERY_DATE + DIVES


def written_anew(text: str, shift: timedelta) -> str:
    """Return a text in which each date that is no part of a sentence is so much later."""
    pattern = r"(?<!regatta of )\b\d{4}-\d{2}-\d{2}(?=\b|T)"
    return re.sub(pattern, lambda found: (date.fromisoformat(found[0]) + shift).isoformat(), text)


@pytest.fixture(scope="module")
def demonstration() -> Folder:
    return load_folder(data_dir("sites"))


@pytest.mark.parametrize("text", [WEEK.read_text(encoding="utf-8"), everything()], ids=["as it is", "every date"])
@pytest.mark.parametrize(
    ("today", "weeks"),
    [(WRITTEN + timedelta(6), 0), (WRITTEN + timedelta(7), 1), (date(2027, 5, 14), 24), (date(2028, 2, 29), 65)],
)
def test_every_date_of_a_schedule_moves_by_whole_weeks(demonstration, text, today, weeks):
    folder = replace(demonstration, schedules={"week": read(text)})
    moved = kept_young(folder, today).schedules["week"]
    anew = written_anew(text, timedelta(weeks=weeks))
    # The comment on the first line, which names no year, stays; so does the title, which is a name.
    assert moved == read(anew)
    assert (moved == folder.schedules["week"]) == (weeks == 0)
    assert moved.first_day.weekday() == folder.schedules["week"].first_day.weekday()
    assert moved.first_day > today  # it is always still to come


def test_every_kind_of_date_stands_in_what_is_moved_here():
    """Whoever adds a date to the file adds it here."""

    def dated(value: object, where: str = "") -> set[str]:
        if isinstance(value, dict):
            return set().union(*(dated(inner, f"{where}.{key}") for key, inner in value.items()))
        if isinstance(value, list | tuple):
            return set().union(*(dated(inner, where) for inner in value))
        return {where.removeprefix(".")} if isinstance(value, date) else set()

    assert dated(read(everything()).model_dump()) == {
        "first_day", "vehicles.off", "crew.off", "closed.days", "groups.days", "groups.preferred_days", "pinned.day",
        "excluded.day", "absent.days", "recent_dives.surfaced",
    }  # fmt: skip


def test_the_moved_week_has_no_fault_and_its_own_weather(demonstration):
    young = kept_young(demonstration, date(2027, 5, 14))
    before, after = demonstration.schedules[WEEK.stem], young.schedules[WEEK.stem]
    assert schedule_faults(after, young.world) == ()
    for slug in demonstration.forecasts:
        old, new = (folder.forecasts[slug].series[0].starts[0].date() for folder in (demonstration, young))
        assert new - after.first_day == old - before.first_day
    saturday = demonstration.requests["saturday-ledge"].date - before.first_day
    assert young.requests["saturday-ledge"].date - after.first_day == saturday


def test_nothing_moves_before_it_was_written_and_where_it_is_real(demonstration):
    asked = demonstration.schedules
    assert kept_young(demonstration, WRITTEN - timedelta(30)).schedules == asked
    real = replace(demonstration, world=replace(demonstration.world, demonstration=False))
    assert kept_young(real, date(2027, 5, 14)).schedules == asked
