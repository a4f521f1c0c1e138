"""Ended without a word in the middle of a write, many times at any moment: nothing that was acknowledged is lost."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path

import pytest

from tests.faults.conftest import Phone, entry
from tests.sample_schedule import sample_schedule
from tripplan.data_files import data_dir
from tripplan.planning.event import Event
from tripplan.store.database import Store, restore, sqlite_url
from tripplan.store.folder import load_folder
from tripplan.store.people_file import people_toml, save_people
from tripplan.store.records import Records
from tripplan.store.schedule_jobs import DEAD_AFTER_S, Place, Workman, ask, job, latest, settle
from tripplan.store.schedules import results_of, schedule_of

pytestmark = pytest.mark.sqlite_file("a process is forked again and again, which no connection to a server bears")
NOW = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)
DAY = date(2026, 12, 12)


Ready = Callable[[], object]


def killed_again_and_again(
    times: int, work: Callable[[int, Ready], None], look: Callable[[], None], most_s: float
) -> None:  # fmt: skip
    """Do some work in a process of its own and kill it, each time at another moment; look at what is left.

    work -- is given how many were before it, and what it calls when it begins to write
    most_s -- how long it lives at most after that, seconds
    """
    chance = random.Random(20270612)
    for number in range(times):
        begun, begins = os.pipe()
        if (child := os.fork()) == 0:
            with suppress(BaseException):
                work(number, partial(os.write, begins, b"."))
            os._exit(0)
        os.close(begins)
        os.read(begun, 1)
        os.close(begun)
        time.sleep(chance.random() * most_s)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        look()


def whole(path: Path) -> None:
    with closing(sqlite3.connect(path)) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_entries_that_the_page_acknowledged_are_there_each_once_after_every_kill(tmp_path, apps):
    """The app itself is killed while a phone sends, and the phone sends again what it had no answer for."""
    app = apps(tmp_path)
    phone = Phone(app)
    phone.send(entry("first-00"))
    app.extensions.pop("tripplan_store").close()
    told = tmp_path / "told"
    told.touch()

    def work(number: int, ready: Ready) -> None:
        if number % 3 == 0:  # the others are killed some time after their first answer
            ready()
        with told.open("ab", buffering=0) as out:
            for count in range(10_000):
                marks = [f"k{number:02}-{count:04}-{each}" for each in "ab"]
                answer = phone.send(*map(entry, marks))
                if answer.status_code == 200:
                    out.write("".join(f"{mark}\n" for mark in answer.json["new"]).encode())
                if count == 0 and number % 3:
                    ready()

    killed_again_and_again(15, work, lambda: None, 0.15)
    whole(tmp_path / "store.sqlite")
    acknowledged = set(told.read_text(encoding="utf-8").split())
    store = Store(sqlite_url(tmp_path / "store.sqlite"))
    kept = [each.uid for each in store.events(DAY)]
    store.close()
    assert len(acknowledged) >= 20
    assert acknowledged <= set(kept) and len(kept) == len(set(kept))
    assert len(kept) % 2 == 1  # the first, and both of each message or none
    again = phone.send(*(entry(mark) for mark in sorted(acknowledged)[:50]))
    assert not again.json["new"] and len(again.json["known"]) == min(50, len(acknowledged))


def test_an_edit_is_in_force_and_among_the_versions_or_neither(tmp_path):
    url = sqlite_url(tmp_path / "store.sqlite")
    store = Store(url)
    store.save_request("saturday", {"title": "1"}, None, "Ann", NOW)
    store.close()

    def work(_: int, ready: Ready) -> None:
        mine = Store(url)
        ready()
        while (held := mine.request("saturday")) is not None:
            mine.save_request("saturday", {"title": str(held.version + 1)}, held.version, "Ann", NOW)

    killed_again_and_again(15, work, lambda: None, 0.06)
    store = Store(url)
    held, versions = store.request("saturday"), store.request_versions("saturday")
    store.close()
    assert held is not None and held.version > 15
    assert [one.version for one in versions] == list(range(1, held.version + 1))
    assert all(one.request == {"title": str(one.version)} for one in (*versions, held))


def test_the_list_of_people_is_whole_at_every_moment_and_the_one_before_lies_beside_it(tmp_path):
    centre = load_folder(data_dir("sites")).centre
    people = tuple(centre.roster.people.values())
    texts = [people_toml(people), people_toml(people[:-3])]
    file = tmp_path / "people.toml"
    file.write_text(texts[0], encoding="utf-8")

    def work(number: int, ready: Ready) -> None:
        ready()
        for count in range(100):
            save_people(file, texts[(number + count) % 2], NOW + timedelta(seconds=count), centre.cards)

    def look() -> None:
        assert file.read_text(encoding="utf-8") in texts
        for kept in tmp_path.glob("people-*.toml"):
            text = kept.read_text(encoding="utf-8")
            assert text in texts or any(one.startswith(text) for one in texts)

    killed_again_and_again(15, work, look, 0.06)
    assert save_people(file, texts[1], NOW, centre.cards) is not None
    assert file.read_text(encoding="utf-8") == texts[1]


def test_a_backup_is_whole_or_not_there_and_the_next_one_is_made_all_the_same(tmp_path):
    store = filled(tmp_path / "store.sqlite", 300)
    copy = tmp_path / "copy.sqlite"

    def look() -> None:
        if copy.exists():
            whole(copy)
            copy.unlink()

    def work(_: int, ready: Ready) -> None:
        store.after_fork()
        ready()
        store.backup(copy)

    killed_again_and_again(20, work, look, 0.012)
    store.backup(copy)
    store.close()
    assert count_in(copy) == 300
    assert sorted(each.name for each in tmp_path.glob("copy*")) == ["copy.sqlite"]


def test_a_store_is_there_at_every_moment_while_a_backup_is_put_back(tmp_path):
    filled(tmp_path / "backup.sqlite", 300).close()
    path, aside = tmp_path / "store.sqlite", tmp_path / "store.sqlite.before-restore"

    def begin() -> None:
        for each in tmp_path.glob("store.sqlite*"):
            each.unlink()
        filled(path, 7).close()

    begin()

    def look() -> None:
        count = count_in(path)
        assert count in (7, 300)
        if count == 300:
            assert count_in(aside) == 7
            begin()

    def work(_: int, ready: Ready) -> None:
        ready()
        restore(tmp_path / "backup.sqlite", path)

    killed_again_and_again(20, work, look, 0.02)
    restore(tmp_path / "backup.sqlite", path)  # also where an earlier one was broken off
    assert (count_in(path), count_in(aside)) == (300, 7)


def test_a_store_whose_log_was_not_written_back_is_put_aside_with_all_its_entries(tmp_path):
    filled(tmp_path / "backup.sqlite", 3).close()
    path = tmp_path / "store.sqlite"
    if (child := os.fork()) == 0:
        filled(path, 50)
        os._exit(0)  # without a word: what it wrote is still in the log beside the file
    os.waitpid(child, 0)
    assert path.with_name("store.sqlite-wal").exists()
    restore(tmp_path / "backup.sqlite", path)
    assert (count_in(path), count_in(path.with_name("store.sqlite.before-restore"))) == (3, 50)


def test_a_job_whose_worker_is_killed_is_told_and_asked_for_again(tmp_path):
    url, slug = sqlite_url(tmp_path / "store.sqlite"), "december-week"
    store, made = Store(url), sample_schedule()

    def work(_: int, ready: Ready) -> None:
        mine = Store(url)
        ready()
        Workman(mine, Place(data_dir("sites")), solve=lambda *_, **__: made, clock=lambda: NOW).work(waiting[-1])

    waiting: list[int] = []

    def ask_again() -> None:
        if waiting and (held := job(store, waiting[-1])) is not None and held.open:
            settle(store, datetime.now(UTC) + timedelta(seconds=DEAD_AFTER_S + 1))
            ended = job(store, waiting[-1])
            assert ended is not None and ended.state == "failed" and ended.words
        waiting.append(ask(store, slug, "Ann", 60.0)[0].number)

    ask_again()
    store.close()
    killed_again_and_again(8, work, ask_again, 0.4)
    assert len(set(waiting)) == 9
    work(0, lambda: None)
    last = latest(store, slug)
    assert last is not None and last.state == "done" and last.result is not None
    for one in results_of(store, slug):
        assert schedule_of(store, one.number) is not None  # no half of one is kept
    store.close()


def test_a_torn_line_of_what_was_confirmed_costs_no_other(tmp_path):
    from tripplan.emergency.confirmed import Confirmation

    records = Records(tmp_path)
    one = Confirmation(NOW, "+44 1632 960112", 'Control, "main"', "Ann", "right", 'said "call again", twice')

    def work(number: int, ready: Ready) -> None:
        ready()
        while True:
            records.confirm(replace(one, by=f"w{number}"))

    killed_again_and_again(10, work, lambda: records.confirm(one), 0.03)
    found, faults = records.confirmed()
    assert [each for each in found if each.by == "Ann"] == [one] * 10 and not faults
    file = tmp_path / "confirmed.csv"
    text = file.read_bytes()
    for cut in range(len(text) - 110, len(text)):  # as if the power had gone at any byte of the last lines
        file.write_bytes(text[:cut])
        records.confirm(replace(one, by="after"))
        found, faults = records.confirmed()
        assert found[-1].by == "after" and len(faults) <= 1


def filled(path: Path, count: int) -> Store:
    store = Store(sqlite_url(path))
    store.add([Event(f"entry-{number:05}", NOW, DAY, "cove", "note", "Ann", text="t") for number in range(count)], NOW)
    return store


def count_in(path: Path) -> int:
    with closing(sqlite3.connect(path)) as plain:
        return int(plain.execute("SELECT count(*) FROM events").fetchone()[0])
