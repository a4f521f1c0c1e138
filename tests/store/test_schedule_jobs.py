"""Jobs that make schedules: one at a time for each, stopped with the best kept, never running for ever."""

from __future__ import annotations

import json
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.sample_schedule import sample_schedule
from tests.web.schedule_week import SLUG, week_folder
from tripplan.planning.schedule import Progress
from tripplan.store.database import Store, StoreFault, sqlite_url
from tripplan.store.folder import load_folder
from tripplan.store.schedule_jobs import (
    DEAD_AFTER_S,
    Hired,
    Job,
    Place,
    Workman,
    ask,
    ask_after_change,
    ask_stop,
    beat,
    enqueue,
    finish,
    job,
    latest,
    queue,
    queue_file,
    settle,
    take,
    write_progress,
)
from tripplan.store.schedules import KeptEdits, mark_of, publish, results_of, save_edits, schedule_of

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
SO_FAR = Progress(12.5, 8, 10, 7240, 7600, "8 of 10 dives have a place")


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return week_folder(tmp_path_factory.mktemp("jobs"))


def edited(edit: dict) -> KeptEdits:
    return KeptEdits(SLUG, 0, (edit,), "away", NOW, "Ann", "m" * 64, NOW.date())


# ---- the job in the store ----


def test_one_schedule_is_asked_for_once_at_a_time(store):
    first, new = ask(store, SLUG, "Ann", 60.0, NOW)
    assert new and (first.state, first.by, first.seconds, first.open) == ("waiting", "Ann", 60.0, True)
    again, new = ask(store, SLUG, "Ben", 20.0, NOW)
    assert not new and again == first
    assert ask(store, "other", "Ben", 20.0, NOW)[1]


def test_of_many_who_ask_at_the_same_moment_all_get_one_job(opened):
    start, found = threading.Barrier(6), []

    def one() -> None:
        mine = opened()
        start.wait()
        found.append(ask(mine, SLUG, "Ann", 60.0))

    threads = [threading.Thread(target=one) for _ in range(6)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert len({each.number for each, _ in found}) == 1 and sum(new for _, new in found) == 1


def test_of_two_workers_one_takes_a_job(store):
    number = ask(store, SLUG, "Ann", 60.0, NOW)[0].number
    mine = take(store, number, "w1", NOW)
    assert mine is not None and (mine.state, mine.worker, mine.started) == ("running", "w1", NOW)
    assert take(store, number, "w2", NOW) is None


def test_any_process_sees_how_far_it_is_and_stops_it(opened):
    theirs, mine = opened(), opened()
    number = ask(theirs, SLUG, "Ann", 60.0, NOW)[0].number
    running = take(theirs, number, "w1", NOW)
    write_progress(theirs, number, SO_FAR, NOW)
    assert latest(mine, SLUG).progress == SO_FAR and not latest(mine, SLUG).stop
    assert ask_stop(mine, number) and job(theirs, number).stop
    assert finish(theirs, running, "stopped", result=4, now=NOW) is None
    found = latest(mine, SLUG)
    assert (found.state, found.result, found.ended, found.open) == ("stopped", 4, NOW, False)
    assert not ask_stop(mine, number)  # there is nothing left to stop
    assert ask(mine, SLUG, "Ann", 60.0, NOW)[1]  # and the schedule can be asked for again


def test_one_that_waits_is_stopped_at_once(store):
    number = ask(store, SLUG, "Ann", 60.0, NOW)[0].number
    assert ask_stop(store, number, NOW) and job(store, number).state == "stopped"
    assert take(store, number, "w1", NOW) is None


def test_a_job_whose_worker_fell_silent_has_failed_and_is_told_so(store):
    number = ask(store, SLUG, "Ann", 60.0, NOW)[0].number
    take(store, number, "w1", NOW)
    just, late = NOW + timedelta(seconds=DEAD_AFTER_S), NOW + timedelta(seconds=DEAD_AFTER_S + 1)
    assert settle(store, just) == () and job(store, number).state == "running"
    beat(store, "w1", NOW + timedelta(seconds=10))
    assert settle(store, late) == ()
    beat(store, "w2", late)  # another worker does not speak for it
    assert settle(store, late + timedelta(seconds=10)) == (number,)
    found = job(store, number)
    assert found.state == "failed" and "has not answered since 08:00:10 UTC" in found.words
    assert ask(store, SLUG, "Ann", 60.0, late)[1]


def test_a_job_that_nobody_takes_fails_with_what_to_do_and_never_waits_for_ever(store):
    number = ask(store, SLUG, "Ann", 60.0, NOW)[0].number
    assert beat(store, "w1", NOW + timedelta(seconds=20)) == (number,)  # a worker that is busy speaks for who waits
    assert settle(store, NOW + timedelta(seconds=DEAD_AFTER_S + 1)) == ()
    assert settle(store, NOW + timedelta(seconds=DEAD_AFTER_S + 21)) == (number,)
    assert "start `tripplan worker`" in job(store, number).words


def test_one_given_up_for_dead_stays_so_when_its_worker_speaks_again(store):
    number = ask(store, SLUG, "Ann", 60.0, NOW)[0].number
    mine = take(store, number, "w1", NOW)
    settle(store, NOW + timedelta(seconds=DEAD_AFTER_S + 1))
    assert finish(store, mine, "done", result=1) is None
    write_progress(store, number, SO_FAR)
    assert job(store, number).state == "failed" and job(store, number).progress is None


def test_a_change_while_it_runs_stops_it_and_has_it_done_again(store):
    first = ask(store, SLUG, "Ann", 180.0, NOW)[0]
    assert ask_after_change(store, SLUG, "Ben", 60.0, NOW) == (first, False)  # one that waits will see the change
    assert not job(store, first.number).stop
    mine = take(store, first.number, "w1", NOW)
    assert not ask_after_change(store, SLUG, "Ben", 60.0, NOW)[1] and job(store, first.number).stop
    following = finish(store, mine, "stopped", result=1, now=NOW)
    assert (following.state, following.by, following.seconds) == ("waiting", "Ben", 180.0)
    assert following.number != first.number and latest(store, SLUG) == following


# ---- the work ----


def solved(**more) -> Callable:
    """Return what takes the place of the search: it notes what it was given."""
    seen: dict = more

    def solve(request, world, seconds, *, before, told, stop):
        seen.update(request=request, world=world, seconds=seconds, before=before, stopped=stop())
        told(SO_FAR)
        if "error" in seen:
            raise seen["error"]
        return sample_schedule()

    solve.seen = seen
    return solve


def worked(store: Store, folder: Path, solve: Callable, **more) -> Job:
    """Ask for the week and do it here; return how it ended."""
    number = ask(store, SLUG, "Ann", 60.0)[0].number
    Workman(store, Place(folder), solve=solve, clock=lambda: NOW, **more).work(number)
    return job(store, number)


def test_a_job_is_made_of_what_stands_and_its_result_is_kept_whole(store, folder):
    edit = {"do": "absent", "person": "Luca Benti", "days": ["2026-12-08"]}
    save_edits(store, edited(edit))
    solve = solved()
    done = worked(store, folder, solve)
    assert (done.state, done.words, done.progress) == ("done", "", SO_FAR)
    assert schedule_of(store, done.result) == sample_schedule()
    (result,) = results_of(store, SLUG)
    assert (result.version, result.by, result.stopped, result.before, result.made) == (1, "Ann", False, None, NOW)
    asked = load_folder(folder).schedules[SLUG]
    assert result.base == mark_of(asked)
    assert solve.seen["request"].absent[0].person == "Luca Benti" and not asked.absent
    assert solve.seen["seconds"] == 60.0 and solve.seen["before"] is None
    assert set(solve.seen["world"].conditions) >= set(load_folder(folder).forecasts)  # what is told of the sea counts


def test_the_next_is_given_the_one_on_the_wall(store, folder):
    first = worked(store, folder, solved()).result
    other = replace(sample_schedule(), revision="00000002")
    number = ask(store, SLUG, "Ann", 60.0)[0].number
    Workman(store, Place(folder), solve=lambda *_, **__: other, clock=lambda: NOW).work(number)
    publish(store, SLUG, first, at=NOW, by="Ann")
    solve = solved()
    worked(store, folder, solve)
    assert solve.seen["before"] == sample_schedule() and results_of(store, SLUG)[0].before == first


def test_a_stop_keeps_the_best(store, folder):
    def solve(request, world, seconds, *, before, told, stop):
        ask_stop(store, latest(store, SLUG).number)
        assert stop() and stop()
        return sample_schedule()

    done = worked(store, folder, solve)
    assert done.state == "stopped" and schedule_of(store, done.result) == sample_schedule()
    assert results_of(store, SLUG)[0].stopped


def test_a_program_that_is_to_end_keeps_the_best_too(store, folder):
    solve = solved()
    assert worked(store, folder, solve, ending=lambda: True).state == "stopped" and solve.seen["stopped"]


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (ZeroDivisionError("by nothing"), "The program made a mistake (ZeroDivisionError: by nothing)"),
        (AssertionError(), "The program made a mistake (AssertionError)"),
    ],
)
def test_a_mistake_of_the_program_ends_in_words_and_the_worker_goes_on(store, folder, error, said, caplog):
    failed = worked(store, folder, solved(error=error))
    assert failed.state == "failed" and failed.words.startswith(said) and failed.result is None
    assert worked(store, folder, solved()).state == "done"


def test_what_cannot_be_asked_fails_in_words(store, folder, tmp_path):
    number = ask(store, "nowhere", "Ann", 60.0)[0].number
    Workman(store, Place(folder), solve=solved()).work(number)
    assert job(store, number).words == "the file schedules/nowhere.toml is not there, or it has a fault."
    number = ask(store, SLUG, "Ann", 60.0)[0].number
    Workman(store, Place(tmp_path / "gone"), solve=solved()).work(number)
    assert job(store, number).state == "failed" and "there is no such folder" in job(store, number).words
    save_edits(store, edited({"do": "absent", "person": "Zed Zimmer", "days": ["2026-12-08"]}))
    assert "Zed Zimmer" in worked(store, folder, solved()).words
    assert results_of(store, SLUG) == ()


def test_a_number_that_comes_twice_is_one_job(store, folder):
    number = ask(store, SLUG, "Ann", 60.0)[0].number
    for _ in range(2):
        Workman(store, Place(folder), solve=solved(), clock=lambda: NOW).work(number)
    assert len(results_of(store, SLUG)) == 1


# ---- the queue ----


def test_the_queue_carries_numbers_as_json_and_nothing_else(store, address):
    enqueue(address, 41)
    enqueue(address, 42)
    done: list[int] = []
    with queue(address, done.append) as (held, _):
        for data in held.storage.enqueued_items():
            assert set(json.loads(bytes(data))) == {"id", "task", "number"}
        while (task := held.dequeue()) is not None:
            held.execute(task)
    assert done == [41, 42]


class _Trap:
    sprung = False

    def __reduce__(self):
        return (_spring, ())


def _spring() -> None:
    _Trap.sprung = True


def test_what_somebody_else_puts_into_the_queue_is_never_run(store, address):
    with queue(address) as (held, _):
        held.storage.enqueue(pickle.dumps(_Trap()))
        held.storage.enqueue(b'{"id": "x", "task": "os.system", "number": 1}')
        for _ in range(2):
            with pytest.raises(Exception, match=r"decode|JSON|Expecting|Registry"):
                held.dequeue()
    assert not _Trap.sprung


def test_the_queue_of_a_file_lies_beside_the_store_and_nobody_else_may_read_it(tmp_path):
    assert queue_file(tmp_path / "store.sqlite") == tmp_path / "store-jobs.sqlite"
    enqueue(sqlite_url(tmp_path / "store.sqlite"), 1)
    assert (tmp_path / "store-jobs.sqlite").stat().st_mode & 0o077 == 0
    with pytest.raises(StoreFault, match="the queue of jobs cannot be opened"):
        enqueue(sqlite_url(tmp_path / "no" / "folder" / "store.sqlite"), 1)


# ---- a worker as a process of its own ----


def ended(store: Store, number: int, within_s: float = 60.0) -> Job:
    """Wait until a job has ended."""
    end = time.monotonic() + within_s
    while (found := job(store, number)).open and time.monotonic() < end:
        time.sleep(0.05)
    assert not found.open, found
    return found


def test_a_worker_of_its_own_takes_jobs_and_ends_with_its_parent(store, address, folder):
    """The jobs name no schedule, so that nothing is solved: it is the way there and back that is looked at."""
    hired = Hired(Place(folder))
    first = ask(store, "nowhere", "Ann", 60.0)[0].number  # nobody hands it on: the worker looks for it by itself
    hired.wake(address)
    child = hired._child
    assert "schedules/nowhere.toml is not there" in ended(store, first).words
    second = ask(store, "nowhere", "Ann", 60.0)[0].number
    enqueue(address, second)
    hired.wake(address)
    assert hired._child is child  # it lives: no second one
    assert ended(store, second).state == "failed"
    assert job(store, second).worker == job(store, first).worker != ""
    hired.close()
    assert child.returncode == 0


def test_a_killed_worker_is_followed_by_another(store, address, folder):
    hired = Hired(Place(folder))
    hired.wake(address)
    os.kill(hired._child.pid, signal.SIGKILL)
    hired._child.wait(10)
    number = ask(store, "nowhere", "Ann", 60.0)[0].number
    hired.wake(address)
    assert ended(store, number).state == "failed"
    hired.close()


def test_when_the_parent_is_killed_the_worker_ends_by_itself(tmp_path, folder):
    url = sqlite_url(tmp_path / "store.sqlite")
    program = (
        "import sys, time\nfrom pathlib import Path\nfrom tripplan.store.schedule_jobs import Hired, Place\n"
        "hired = Hired(Place(Path(sys.argv[2])))\nhired.wake(sys.argv[1])\nprint(hired._child.pid, flush=True)\n"
        "time.sleep(600)\n"
    )
    parent = subprocess.Popen([sys.executable, "-c", program, url, str(folder)], stdout=subprocess.PIPE, text=True)
    with parent:
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        parent.kill()
    end = time.monotonic() + 60
    while _lives(child) and time.monotonic() < end:
        time.sleep(0.05)
    assert not _lives(child)


def _lives(pid: int) -> bool:
    """Return whether a process still runs; one that has ended and that nobody asked after does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
