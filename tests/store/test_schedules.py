"""Schedules in the store: written down and read back without loss, changes that nobody overwrites, one on the wall."""

from __future__ import annotations

import json
import re
import threading
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from tests.sample_schedule import crowded_schedule, long_schedule, outing, sample_schedule
from tests.web.schedule_week import week_file
from tripplan.check import Check, Outcome
from tripplan.errors import BadRecord
from tripplan.planning.event import Event
from tripplan.planning.schedule_request import schedule_request_from
from tripplan.record import TomlFile
from tripplan.rulebook import baseline
from tripplan.store.database import StoreFault
from tripplan.store.demo import kept_young
from tripplan.store.folder import load_folder
from tripplan.store.purge import purge, what_would_go
from tripplan.store.schedules import (
    EditedMeanwhile,
    KeptEdits,
    add_result,
    edit_versions,
    edits_of,
    keep_theirs,
    kept_to,
    mark_of,
    moved_by,
    newest_results,
    publish,
    published,
    published_of,
    results_of,
    save_edits,
    schedule_from_json,
    schedule_of,
    schedule_to_json,
)

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
LAST = date(2026, 12, 13)
AWAY = {"do": "absent", "person": "Luca Benti", "days": ["2026-12-08"]}
SHUT = {"do": "close_site", "site": "gull-cove", "days": ["2026-12-09"], "because": "swell"}


def changes(*edits: dict, version: int = 0, words: str = "away", by: str = "Ann", slug: str = "week") -> KeptEdits:
    return KeptEdits(slug, version, tuple(edits), words, NOW, by, "m" * 64, LAST)


def asked(words: str):
    from pathlib import Path

    return schedule_request_from(TomlFile(Path("week.toml"), words))


# ---- as JSON and back ----


@pytest.mark.parametrize("make", [sample_schedule, crowded_schedule, long_schedule])
def test_a_schedule_comes_back_from_json_as_it_was(make):
    schedule = make()
    through = json.loads(json.dumps(schedule_to_json(schedule), allow_nan=False))
    found = schedule_from_json(through)
    assert found == schedule
    assert repr(replace(found, trips=())) == repr(replace(schedule, trips=()))  # also the kind of each value and zone
    assert schedule_to_json(found) == through


def test_what_is_rare_in_a_schedule_comes_back_too():
    """The hour that the clock shows twice (26 October 2025, 01:00 UTC in the Azores), words where numbers may stand."""
    zone = ZoneInfo("Atlantic/Azores")
    twice = [datetime(2025, 10, 26, 0, 30, tzinfo=zone, fold=fold) for fold in (0, 1)]
    assert twice[0].utcoffset() == timedelta(0) and twice[1].utcoffset() == timedelta(hours=-1)
    base = sample_schedule()
    one = replace(base.outings[0], leaves=twice[0], on_site=twice[1], leader=None, vehicles=())
    check = Check("x-y", Outcome.STOP, "No.", "CENTRE", found="none", limit=2.5)
    made = replace(base, outings=(one,), checks=(check, replace(check, found=3, limit=None)), status="optimal")
    found = schedule_from_json(json.loads(json.dumps(schedule_to_json(made))))
    assert [moment.fold for moment in (found.outings[0].leaves, found.outings[0].on_site)] == [0, 1]
    assert found.outings[0].on_site.timestamp() - found.outings[0].leaves.timestamp() == 3600
    assert found.checks == made.checks and type(found.checks[1].found) is int
    assert found.outings[0].leader is None and found.status == "optimal"


def test_a_moment_says_its_zone_in_words_that_others_read_too():
    """RFC 9557: the offset, then the name of the zone in brackets."""
    values = schedule_to_json(sample_schedule())["schedule"]["outings"][0]
    assert values["dives"][0]["entry"] == "2026-12-07T09:30:00-01:00[Atlantic/Azores]"


@pytest.mark.parametrize(
    "spoil",
    [
        lambda whole: {**whole, "shape": 2},
        lambda whole: whole["schedule"],
        lambda whole: {"shape": 1, "schedule": {**whole["schedule"], "weather": "fine"}},
        lambda whole: {"shape": 1, "schedule": {k: v for k, v in whole["schedule"].items() if k != "outings"}},
        lambda whole: {"shape": 1, "schedule": {**whole["schedule"], "status": "perfect"}},
        lambda whole: {"shape": 1, "schedule": {**whole["schedule"], "objective": "many"}},
        lambda whole: {"shape": 1, "schedule": {**whole["schedule"], "seed": True}},
        lambda whole: {"shape": 1, "schedule": {**whole["schedule"], "first_day": "soon"}},
        lambda whole: [],
    ],
)
def test_what_is_no_schedule_is_refused_and_never_half_read(spoil):
    with pytest.raises(StoreFault, match="a kept schedule cannot be read"):
        schedule_from_json(spoil(schedule_to_json(sample_schedule())))


def test_a_moment_without_its_offset_is_not_kept():
    bare = outing("Terns", LAST, "gull-cove", "09:00", (1,), "Luca Benti")
    with pytest.raises(ValueError, match="without its offset"):
        schedule_to_json(replace(sample_schedule(), outings=(replace(bare, leaves=datetime(2026, 12, 7, 9)),)))  # noqa: DTZ001


# ---- what a file asks for ----


def test_every_date_of_a_request_moves_and_nothing_else():
    """Beside the file with each date moved in its text."""
    words = week_file().replace(
        'name = "Terns"\n', 'name = "Terns"\ndays = [2026-12-08, 2026-12-09]\npreferred_days = [2026-12-09]\n'
    ) + (
        '\n[[pinned]]\ngroup = "Terns"\ndives = [1]\nday = 2026-12-08\nentry = "09:15"\n'
        '[[absent]]\nperson = "Sam Whitlow"\ndays = [2026-12-10]\n[[excluded]]\ngroup = "Skuas"\nday = 2026-12-07\n'
        '[[closed]]\nsite = "the-gut"\ndays = [2026-12-07]\nbecause = "swell"\n'
    )
    later = re.sub(r"2026-12-\d\d", lambda found: str(date.fromisoformat(found[0]) + timedelta(days=21)), words)
    assert moved_by(asked(words), timedelta(days=21)) == asked(later) != asked(words)


def test_the_mark_tells_what_asks_for_something_else_and_only_that():
    first = mark_of(asked(week_file()))
    assert first == mark_of(asked("# a remark\n" + week_file())) and len(first) == 64
    assert first == mark_of(moved_by(asked(week_file()), timedelta(0)))
    assert first != mark_of(asked(week_file().replace("days = 7", "days = 8")))


def test_the_folder_reads_schedules_and_tells_each_fault_by_its_line(tmp_path):
    from tests.web.schedule_week import week_folder

    folder = week_folder(tmp_path)
    bad = week_file().replace('name = "Ines Faro"', 'name = "Zed Zimmer"')
    (folder / "schedules" / "bad.toml").write_text(bad, encoding="utf-8")
    (folder / "schedules" / "torn.toml").write_text("days = \n", encoding="utf-8")
    found = load_folder(folder)
    assert list(found.schedules) == ["week"]
    said = [str(fault) for fault in found.faults]
    line = bad.splitlines().index('name = "Zed Zimmer"') + 1
    assert any(
        each.startswith(f"{folder / 'schedules' / 'bad.toml'}:{line}:") and "Zed Zimmer" in each for each in said
    )
    assert any("torn.toml:1:" in each for each in said)


def test_the_schedules_of_a_demonstration_stay_near_today(tmp_path):
    from tests.web.schedule_week import week_folder

    found = load_folder(week_folder(tmp_path))
    later = kept_young(found, date(2027, 1, 2))
    assert later.schedules["week"].first_day == date(2027, 1, 11)  # five whole weeks: a Monday stays one
    assert later.schedules["week"].crew[1].off == (date(2027, 1, 17),)


# ---- changes ----


def test_every_version_of_the_changes_is_kept_whole(store):
    assert edits_of(store, "week") is None
    assert save_edits(store, changes(AWAY)) == 1
    assert save_edits(store, changes(AWAY, SHUT, version=1, words="closed", by="Ben")) == 2
    assert edits_of(store, "week") == changes(AWAY, SHUT, version=2, words="closed", by="Ben")
    assert edit_versions(store, "week") == (
        changes(AWAY, version=1),
        changes(AWAY, SHUT, version=2, words="closed", by="Ben"),
    )
    assert edits_of(store, "other") is None


def test_of_two_who_change_the_same_the_second_is_told_and_nothing_is_written_over(store):
    save_edits(store, changes(AWAY))
    with pytest.raises(EditedMeanwhile, match="Ann changed it at 08:00 UTC") as caught:
        save_edits(store, changes(SHUT, by="Ben"))
    assert caught.value.now == changes(AWAY, version=1) == edits_of(store, "week")
    with pytest.raises(EditedMeanwhile):
        save_edits(store, changes(SHUT, version=4))
    assert len(edit_versions(store, "week")) == 1


def test_of_many_at_the_same_moment_one_is_kept_and_every_other_told(opened):
    start, won, told = threading.Barrier(6), [], []

    def one(number: int) -> None:
        mine = opened()
        start.wait()
        try:
            won.append(save_edits(mine, changes(AWAY, by=f"Nr {number}")))
        except EditedMeanwhile as error:
            told.append(error.now)

    threads = [threading.Thread(target=one, args=(number,)) for number in range(6)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert won == [1] and len(told) == 5
    assert {each.by for each in told} == {edits_of(opened(), "week").by}


def test_what_is_given_up_is_kept_before_what_stands(store):
    save_edits(store, changes(AWAY))
    assert keep_theirs(store, changes(AWAY, SHUT, version=1, words="closed", by="Ben"), (AWAY,)) == 3
    given_up, stands = edit_versions(store, "week")[1:]
    assert given_up.edits == (AWAY, SHUT) and given_up.words == "given up: closed"
    assert stands.edits == (AWAY,) and stands.by == "Ben"


# ---- results and the wall ----


def kept(store, slug: str = "week", **more) -> int:
    how = {"version": 0, "base": "m" * 64, "made": NOW, "by": "Ann", **more}
    return add_result(store, slug, sample_schedule(), **how)


def test_every_result_is_kept_whole_the_newest_first(store):
    first = kept(store)
    second = kept(store, version=3, stopped=True, before=first, by="Ben")
    other = kept(store, "other")
    assert [each.number for each in results_of(store, "week")] == [second, first]
    newest = results_of(store, "week")[0]
    assert (newest.version, newest.stopped, newest.before, newest.by) == (3, True, first, "Ben")
    assert newest.revision == "5c1e0fa2" and newest.made == NOW
    assert schedule_of(store, first) == sample_schedule() and schedule_of(store, 99) is None
    assert {slug: each.number for slug, each in newest_results(store).items()} == {"week": second, "other": other}


def test_one_hangs_on_the_wall_by_somebody_s_act(store):
    first, second, other = kept(store), kept(store), kept(store, "other")
    assert published(store, "week") is None
    assert publish(store, "week", first, at=NOW, by="Ann")
    assert not publish(store, "week", first, at=NOW + timedelta(hours=1), by="Ben")  # it hangs there: Ann put it there
    assert published(store, "week").by == "Ann"
    assert publish(store, "week", second, at=NOW + timedelta(hours=2), by="Ben")
    hung = published(store, "week")
    assert (hung.result, hung.at, hung.by) == (second, NOW + timedelta(hours=2), "Ben")
    with pytest.raises(StoreFault, match=f"no result {other}"):
        publish(store, "week", other, at=NOW, by="Ann")
    assert set(published_of(store, ["week", "other"])) == {"week"}


def test_the_next_one_keeps_to_the_wall_else_to_the_newest(store):
    assert kept_to(store, "week") is None
    first, second = kept(store), kept(store)
    assert kept_to(store, "week") == (second, sample_schedule())
    publish(store, "week", first, at=NOW, by="Ann")
    assert kept_to(store, "week")[0] == first


@pytest.mark.parametrize("table", ["schedule_versions", "schedule_results", "schedule_published"])
def test_what_was_kept_can_neither_be_changed_nor_taken_out(store, table):
    number = kept(store)
    publish(store, "week", number, at=NOW, by="Ann")
    save_edits(store, changes(AWAY))
    for words in (f"UPDATE {table} SET slug = 'other'", f"DELETE FROM {table}"):
        with pytest.raises((StoreFault, DBAPIError), match="only grow"), store._writing() as connection:
            connection.execute(text(words))


# ---- how long it is kept: the year of a record, counted by hand ----

RULES = baseline()


def test_a_schedule_goes_with_its_changes_a_year_after_its_last_day(store):
    number = kept(store)
    publish(store, "week", number, at=NOW, by="Ann")
    save_edits(store, changes(AWAY))
    still = datetime(2027, 12, 13, 13, tzinfo=UTC)  # its last day is 13 December 2026
    assert what_would_go(store, RULES, still).rows == 0
    gone = purge(store, RULES, still + timedelta(days=1), "Greta")
    assert {part.table: part.rows for part in gone.parts} == {
        "schedule_results": 1,
        "schedule_published": 1,
        "schedule_versions": 1,
    }
    assert results_of(store, "week") == () and published(store, "week") is None and edits_of(store, "week") is None


def test_what_was_written_later_counts_from_then(store):
    kept(store, made=datetime(2027, 3, 1, 12, tzinfo=UTC))
    assert what_would_go(store, RULES, datetime(2028, 3, 1, 13, tzinfo=UTC)).rows == 0
    assert what_would_go(store, RULES, datetime(2028, 3, 2, 13, tzinfo=UTC)).rows == 1


def test_a_schedule_stays_with_the_day_on_which_somebody_was_hurt(store):
    kept(store)
    day, at = date(2026, 12, 8), datetime(2026, 12, 8, 12, tzinfo=UTC)
    hurt = Event("hurt-0001", at, day, "stair-ledge", "incident", "Ann", person="Ben", text="fell on the steps")
    store.add([hurt], at)
    found = what_would_go(store, RULES, datetime(2027, 12, 15, 13, tzinfo=UTC))
    assert found.rows == 0 and any(each.what == "schedules" for each in found.kept)


def test_a_file_that_cannot_be_read_says_so_and_is_no_schedule(tmp_path):
    with pytest.raises(BadRecord):
        asked("days = 3\n")
