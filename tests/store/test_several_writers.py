"""Files and plans that several processes write at once: each line whole, nobody's work lost, one beginning of a day."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tests.store.test_database import DAY, plan
from tests.store.test_records import one
from tripplan.store import alone as alone_module
from tripplan.store.alone import alone
from tripplan.store.people_file import ListChanged, centre_people, save_people
from tripplan.store.records import COLUMNS, CONFIRMED_FILE, CannotKeep, Records

NOW = datetime(2027, 6, 12, 7, 40, tzinfo=UTC)
PEOPLE = '[[people]]\nname = "{}"\nborn = 1980-02-29\nlevel = "level_1"\n'


def in_other_processes(*works: Callable[[], None]) -> list[int]:
    """Do some things at once, each in a process of its own; returns how each ended, 0 where all went well."""
    begun = []
    for work in works:
        number = os.fork()
        if number == 0:
            ended = 1
            try:
                work()
                ended = 0
            finally:
                os._exit(ended)
        begun.append(number)
    return [os.waitstatus_to_exitcode(os.waitpid(number, 0)[1]) for number in begun]


def test_lines_that_several_processes_write_into_a_new_file_are_all_there_and_whole(tmp_path):
    def write(name: str) -> None:
        for number in range(40):
            Records(tmp_path).confirm(one(by=name, at=NOW + timedelta(seconds=number)))

    assert in_other_processes(*(lambda name=name: write(name) for name in ("Ann", "Ben", "Cy"))) == [0, 0, 0]
    found, faults = Records(tmp_path).confirmed()
    assert not faults and len(found) == 120
    for name in ("Ann", "Ben", "Cy"):
        assert [each.at for each in found if each.by == name] == [NOW + timedelta(seconds=n) for n in range(40)]
    assert (tmp_path / CONFIRMED_FILE).read_text().count(",".join(COLUMNS)) == 1


def test_who_reads_before_writing_does_both_alone(tmp_path):
    """Each writes down only what nobody has written down: of many who look at the same moment, one does."""

    def once() -> None:
        records = Records(tmp_path)
        for number in range(20):
            with records.alone():
                if not any(each.note == str(number) for each in records.confirmed()[0]):
                    records.confirm(one(note=str(number)))

    assert in_other_processes(once, once, once) == [0, 0, 0]
    assert sorted(int(each.note) for each in Records(tmp_path).confirmed()[0]) == list(range(20))


def test_a_writer_that_is_killed_keeps_nobody_out(tmp_path):
    def killed() -> None:
        with alone(tmp_path):
            os.kill(os.getpid(), 9)

    assert in_other_processes(killed) == [-9]
    Records(tmp_path).confirm(one())
    assert len(Records(tmp_path).confirmed()[0]) == 1


def test_a_folder_that_somebody_else_keeps_is_told_in_words_and_nothing_is_written(tmp_path, monkeypatch):
    monkeypatch.setattr(alone_module, "WAIT_S", 0.1)
    inside, over = threading.Event(), threading.Event()

    def keep() -> None:
        with alone(tmp_path):
            inside.set()
            over.wait(30)

    other = threading.Thread(target=keep)
    other.start()
    inside.wait(30)
    try:
        with pytest.raises(CannotKeep, match="somebody else has been writing in this folder"):
            Records(tmp_path).confirm(one())
    finally:
        over.set()
        other.join()
    assert Records(tmp_path).confirmed() == ((), ())


def test_a_list_of_people_that_somebody_wrote_meanwhile_is_not_written_over(tmp_path):
    (tmp_path / "centre").mkdir()
    (tmp_path / "centre" / "centre.toml").write_text('name = "Test centre"\npeople = "people.toml"\n')
    file = tmp_path / "centre" / "people.toml"
    file.write_text(PEOPLE.format("Ada"))
    mine, theirs = centre_people(tmp_path), centre_people(tmp_path)
    save_people(file, PEOPLE.format("Bo"), NOW, theirs.cards, theirs.mark)
    with pytest.raises(ListChanged, match="somebody else changed the list meanwhile; nothing was changed"):
        save_people(file, PEOPLE.format("Cy"), NOW, mine.cards, mine.mark)
    assert file.read_text() == PEOPLE.format("Bo")
    again = centre_people(tmp_path)
    assert save_people(file, PEOPLE.format("Cy"), NOW, again.cards, again.mark) is not None
    assert list(centre_people(tmp_path).roster.people) == ["Cy"]


def test_of_several_who_begin_a_day_at_once_one_does_with_all_of_its_plans(opened):
    stores = [opened() for _ in range(4)]
    begun: list[bool] = []

    def begin(number: int) -> None:
        plans = [replace(plan(f"{number:04}{each:04}"), by=f"phone {number}") for each in range(3)]
        begun.append(stores[number].keep_first(DAY, "cove", plans))

    threads = [threading.Thread(target=begin, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(begun) == [False, False, False, True]
    kept = stores[0].plans(DAY, "cove")
    assert len(kept) == 3 and len({each.by for each in kept}) == 1
    assert stores[0].keep_first(DAY, "elsewhere", [replace(plan("abcdabcd"), site="elsewhere")])


def test_the_lock_is_for_a_moment(tmp_path):
    """Whoever waits is let in as soon as the other is out, and whoever is in may come in again."""
    with alone(tmp_path), alone(tmp_path):
        pass
    done: list[float] = []
    other = threading.Thread(target=lambda: (Records(tmp_path).confirm(one()), done.append(time.monotonic())))
    with alone(tmp_path):
        other.start()
        other.join(0.2)
        assert not done
    other.join(10)
    assert done
