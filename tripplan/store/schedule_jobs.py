"""Jobs that make schedules: asked for on a page, done by a worker in a process of its own, seen and stopped by any.

What a job is and how far it has come stands in the store. The queue hands a worker nothing but its number. A worker
says every few seconds that it lives; a job that nobody speaks for any more has failed, and is told so.
"""

from __future__ import annotations

import json
import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from uuid import uuid4

from huey import PostgresHuey, SqliteHuey
from huey.registry import Message
from huey.serializer import Serializer
from sqlalchemy import Connection, Row, Update, select
from sqlalchemy.engine import make_url
from sqlalchemy.exc import IntegrityError

from tripplan.errors import BadRecord, OutOfRange
from tripplan.planning.schedule import Progress, Schedule
from tripplan.planning.schedule_edit import EditRefused, apply, edits_from
from tripplan.planning.schedule_request import ScheduleRequest
from tripplan.planning.world import CannotPlan, World
from tripplan.store.database import Store, StoreFault
from tripplan.store.demo import kept_young
from tripplan.store.folder import RECORDS_FOLDER, Folder, load_folder
from tripplan.store.schedules import add_result, edits_of, kept_to, mark_of
from tripplan.store.tables import SCHEDULE_JOBS
from tripplan.store.ticks import ticks, together
from tripplan.store.told import Teller, cache_folder, told_world

if TYPE_CHECKING:
    from huey import Huey

WAITING, RUNNING, DONE, STOPPED, FAILED = "waiting", "running", "done", "stopped", "failed"
BEAT_S: Final = 2.0  # how often a worker says that it lives
DEAD_AFTER_S: Final = 30.0  # a worker that was silent so long is gone
LOOK_S: Final = 1.0  # how often a worker writes how far it is, and looks whether it is to stop
END_S: Final = 20.0  # how long a worker that is to end may take to keep the best it has
QUEUE: Final = "tripplan"

GONE_RUNNING: Final = (
    "The program that made it has not answered since {at:%H:%M:%S} UTC, so it is given up. Start again."
)
GONE_WAITING: Final = (
    "No program took it up. `tripplan serve` starts one by itself; else start `tripplan worker` for this folder and "
    "store, then ask again."
)
ENDED: Final = "The program was ended while it worked on this, before it had anything to keep. Start again."
PROGRAM_FAULT: Final = (
    "The program made a mistake ({error}). Nothing of yours was lost; tell whoever looks after the program."
)

log = logging.getLogger("tripplan.schedules")
Solve = Callable[..., Schedule]


def _now() -> datetime:
    return datetime.now(UTC)


# ---- jobs in the store ----


@dataclass(frozen=True)
class Job:
    """One job, as it stands in the store."""

    number: int
    slug: str
    state: str  # waiting, running, done, stopped, failed
    asked: datetime
    by: str
    seconds: float  # it may take
    worker: str
    started: datetime | None
    beat: datetime  # when a worker last said that it lives
    ended: datetime | None
    stop: bool  # whether somebody asked for its end
    again: str  # who changed the schedule while it ran; empty: nobody
    progress: Progress | None
    result: int | None
    words: str  # why it failed

    @property
    def open(self) -> bool:
        """Whether it waits or runs."""
        return self.state in (WAITING, RUNNING)


_COLUMNS = [SCHEDULE_JOBS.c[field.name] for field in fields(Job)]


def ask(store: Store, slug: str, by: str, seconds: float, now: datetime | None = None) -> tuple[Job, bool]:
    """Ask for a schedule; returns the job and whether it is new: one that waits or runs is not asked for twice.

    seconds -- it may take
    """
    at = now or _now()
    row = {
        "slug": slug,
        "open": slug,
        "state": WAITING,
        "asked": at,
        "by": by,
        "seconds": seconds,
        "worker": "",
        "beat": at,
        "stop": False,
        "again": "",
        "words": "",
    }
    for _ in range(2):  # one that was open may end just now
        if (found := latest(store, slug)) is not None and found.open:
            return found, False
        try:
            with store._writing() as connection:
                asked = SCHEDULE_JOBS.insert().values(row).returning(*_COLUMNS)
                return _job(connection.execute(asked).one()), True
        except StoreFault as error:
            if not isinstance(error.__cause__, IntegrityError):
                raise
    raise StoreFault(f'the schedule "{slug}" was asked for by several at once; ask again')


def ask_after_change(
    store: Store, slug: str, by: str, seconds: float, now: datetime | None = None
) -> tuple[Job, bool]:  # fmt: skip
    """Ask for a schedule after somebody changed what it is to be; returns as ``ask``.

    One that waits will see the change when it begins. One that runs is stopped, what it has is kept, and it is done
    again.
    """
    job, new = ask(store, slug, by, seconds, now)
    if not new and job.state == RUNNING and not _done(store, _open(job.number).values(stop=True, again=by)):
        return ask(store, slug, by, seconds, now)  # it ended meanwhile
    return job, new


def job(store: Store, number: int) -> Job | None:
    """Return a job by its number; None where there is none."""
    with store._reading() as connection:
        row = connection.execute(select(*_COLUMNS).where(SCHEDULE_JOBS.c.number == number)).one_or_none()
    return None if row is None else _job(row)


def latest(store: Store, slug: str) -> Job | None:
    """Return the last job of a schedule; None where there never was one."""
    query = select(*_COLUMNS).where(SCHEDULE_JOBS.c.slug == slug).order_by(SCHEDULE_JOBS.c.number.desc()).limit(1)
    with store._reading() as connection:
        row = connection.execute(query).one_or_none()
    return None if row is None else _job(row)


def ask_stop(store: Store, number: int, now: datetime | None = None) -> bool:
    """Ask a job to end with the best it has, one that waits at once; returns whether there was anything to stop."""
    waits = SCHEDULE_JOBS.update().where(SCHEDULE_JOBS.c.number == number, SCHEDULE_JOBS.c.state == WAITING)
    if _done(store, waits.values(state=STOPPED, open=None, ended=now or _now(), stop=True)):
        return True
    return _done(store, _open(number).values(stop=True))


def settle(store: Store, now: datetime | None = None) -> tuple[int, ...]:
    """Mark every job as failed for which no worker has spoken for long; returns their numbers."""
    at = now or _now()
    table = SCHEDULE_JOBS
    silent = at - timedelta(seconds=DEAD_AFTER_S)
    query = select(*_COLUMNS).where(table.c.open.is_not(None), table.c.beat < silent)
    with store._reading() as connection:
        found = [_job(row) for row in connection.execute(query)]
    done = []
    for each in found:
        words = GONE_WAITING if each.state == WAITING else GONE_RUNNING.format(at=each.beat)
        asked = table.update().where(table.c.number == each.number, table.c.state == each.state, table.c.beat < silent)
        if _done(store, asked.values(state=FAILED, open=None, ended=at, words=words)):
            done.append(each.number)
    return tuple(done)


# ---- what a worker writes ----


def take(store: Store, number: int, worker: str, now: datetime | None = None) -> Job | None:
    """Take a waiting job; None where another did, or where it no longer waits."""
    at = now or _now()
    asked = SCHEDULE_JOBS.update().where(SCHEDULE_JOBS.c.number == number, SCHEDULE_JOBS.c.state == WAITING)
    with store._writing() as connection:
        row = connection.execute(
            asked.values(state=RUNNING, worker=worker, started=at, beat=at).returning(*_COLUMNS)
        ).one_or_none()
    return None if row is None else _job(row)


def beat(store: Store, worker: str, now: datetime | None = None) -> tuple[int, ...]:
    """Say that a worker lives, for its own job and for all that wait; returns the numbers of those that wait."""
    table = SCHEDULE_JOBS
    with store._reading() as connection:
        rows = connection.execute(select(table.c.number, table.c.state).where(table.c.open.is_not(None))).all()
    if rows:
        mine = (table.c.state == WAITING) | ((table.c.state == RUNNING) & (table.c.worker == worker))
        _done(store, table.update().where(mine).values(beat=now or _now()))
    return tuple(row.number for row in rows if row.state == WAITING)


def write_progress(store: Store, number: int, progress: Progress, now: datetime | None = None) -> None:
    """Write down how far a running job has come."""
    _done(store, _open(number).values(progress=asdict(progress), beat=now or _now()))


def finish(
    store: Store, job: Job, state: str, *, result: int | None = None, words: str = "", now: datetime | None = None
) -> Job | None:
    """End a running job; returns the job that is to follow, where somebody changed the schedule meanwhile.

    One that was given up for dead stays so; its result is kept all the same.
    """
    at = now or _now()
    with store._writing() as connection:
        asked = _open(job.number).where(SCHEDULE_JOBS.c.worker == job.worker)
        values = {"state": state, "open": None, "ended": at, "result": result, "words": words}
        row = connection.execute(asked.values(values).returning(*_COLUMNS)).one_or_none()
        if row is None or not row.again:
            return None
        return _follow(connection, _job(row), at)


def _follow(connection: Connection, ended: Job, at: datetime) -> Job:
    row = {
        "slug": ended.slug,
        "open": ended.slug,
        "state": WAITING,
        "asked": at,
        "by": ended.again,
        "seconds": ended.seconds,
        "worker": "",
        "beat": at,
        "stop": False,
        "again": "",
        "words": "",
    }
    return _job(connection.execute(SCHEDULE_JOBS.insert().values(row).returning(*_COLUMNS)).one())


def _open(number: int) -> Update:
    return SCHEDULE_JOBS.update().where(SCHEDULE_JOBS.c.number == number, SCHEDULE_JOBS.c.state == RUNNING)


def _done(store: Store, asked: Update) -> bool:
    with store._writing() as connection:
        return connection.execute(asked).rowcount > 0


def _job(row: Row[Any]) -> Job:
    values = dict(row._mapping)
    if values["progress"] is not None:
        values["progress"] = Progress(**values["progress"])
    return Job(**values)


# ---- the queue: numbers of jobs, as JSON ----


class _Numbers(Serializer):  # type: ignore[misc]
    """Writes a message of the queue as plain JSON. Pickle would run whatever somebody puts into the queue's file."""

    def _serialize(self, data: Any) -> bytes:
        (number,) = data.args
        return json.dumps({"id": data.id, "task": data.name, "number": int(number)}).encode()

    def _deserialize(self, data: bytes) -> Message:
        said = json.loads(bytes(data))
        return Message(
            id=str(said["id"]),
            name=str(said["task"]),
            retries=0,
            retry_delay=0,
            retry_backoff=0,
            args=(int(said["number"]),),
            kwargs={},
        )


@contextmanager
def queue(url: str, run: Callable[[int], None] | None = None) -> Iterator[tuple[Huey, Callable[[int], Any]]]:
    """Open the queue beside a store; gives it, and a function that puts the number of a job into it.

    run -- what a worker does with a number; None: nothing is done here

    Raises StoreFault where it cannot be opened.
    """
    how = {"results": False, "serializer": _Numbers()}
    try:
        if url.startswith("sqlite:///"):
            file = queue_file(Path(url.removeprefix("sqlite:///")))
            file.touch(mode=0o600)
            held = SqliteHuey(QUEUE, filename=str(file), timeout=10, **how)
        else:
            dsn = make_url(url).set(drivername="postgresql").render_as_string(hide_password=False)
            held = _postgresql(dsn, how)
    except Exception as error:
        raise StoreFault(f"the queue of jobs cannot be opened: {error}") from error

    def make_schedule(number: int) -> None:
        if run is not None:
            run(number)

    try:
        yield held, held.task(name="make_schedule")(make_schedule)
    finally:
        with suppress(Exception):
            held.storage.close()


def _postgresql(dsn: str, how: Mapping[str, Any]) -> Huey:
    for _ in range(2):  # two that make the tables at the same moment: the second finds them
        with suppress(Exception):
            return PostgresHuey(QUEUE, dsn=dsn, table_prefix="tripplan_queue", **how)
    return PostgresHuey(QUEUE, dsn=dsn, table_prefix="tripplan_queue", **how)


def queue_file(store: Path) -> Path:
    """Return where the queue of a SQLite store lies: beside it."""
    return store.with_name(f"{store.stem}-jobs.sqlite")


def enqueue(url: str, number: int) -> None:
    """Hand a job to the workers of a store.  Raises StoreFault where it cannot be."""
    with queue(url) as (_, put):
        try:
            put(number)
        except Exception as error:
            raise StoreFault(f"the job could not be handed on: {error}") from error


# ---- the work itself ----


@dataclass(frozen=True)
class Place:
    """Where a worker finds the centre."""

    folder: Path
    young: bool = False  # whether the dates of a demonstration are moved to today

    def read(self, store: Store, now: datetime) -> Folder:
        """Return the folder as the pages show it.  Raises BadRecord where the centre's own file cannot be used."""
        records = cache_folder(self.folder) / RECORDS_FOLDER if self.young else None
        found = load_folder(self.folder, records)
        if self.young:
            found = kept_young(found, now.date())
        return replace(found, world=replace(found.world, ticks=together(found.world.ticks, ticks(store))))


def as_asked(folder: Folder, slug: str, store: Store) -> tuple[ScheduleRequest, World, int]:
    """Return what is asked for with the changes of the store, the world that goes with it, and their version.

    Raises CannotPlan where the folder has no such schedule, EditRefused where a change no longer fits.
    """
    asked = folder.schedules.get(slug)
    if asked is None:
        raise CannotPlan((((), f"the file schedules/{slug}.toml is not there, or it has a fault"),))
    kept = edits_of(store, slug)
    if kept is None:
        return asked, folder.world, 0
    request, world = apply(asked, folder.world, edits_from(kept.edits))
    return request, world, kept.version


def _solve(request: ScheduleRequest, world: World, seconds: float, **more: Any) -> Schedule:
    from tripplan.planning.scheduling import Limits, make_schedule

    return make_schedule(request, world, limits=Limits(seconds=seconds), **more)


class Workman:
    """Does jobs one after the other."""

    def __init__(
        self,
        store: Store,
        place: Place,
        *,
        teller: Teller | None = None,
        ending: Callable[[], bool] = lambda: False,
        solve: Solve = _solve,
        clock: Callable[[], datetime] = _now,
    ) -> None:
        """Work for a store and a centre.

        ending -- whether the program is about to end: then a job keeps the best it has
        solve -- makes a schedule; tests give their own
        """
        self.name = uuid4().hex
        self.busy = threading.Event()
        self._store = store
        self._place = place
        self._teller = teller or Teller()
        self._ending = ending
        self._solve = solve
        self._clock = clock

    def work(self, number: int) -> Job | None:
        """Do a job, unless another does; returns the job that is to follow. It always ends in words, never in silence.

        Raises StoreFault where its end could not be written down; then it is found dead later.
        """
        mine = take(self._store, number, self.name)
        if mine is None:
            return None
        self.busy.set()
        try:
            return self._finished(mine)
        finally:
            self.busy.clear()

    def _finished(self, mine: Job) -> Job | None:
        watch = _Watch(self._store, mine.number, self._ending)
        try:
            result = self._made(mine, watch)
        except (CannotPlan, EditRefused) as error:
            said = [sentence for _, sentence in error.faults] if isinstance(error, CannotPlan) else [str(error)]
            return finish(self._store, mine, FAILED, words=" ".join(f"{each.rstrip('.')}." for each in said))
        except (BadRecord, OutOfRange) as error:
            return finish(self._store, mine, FAILED, words=f"{str(error).rstrip('.')}.")
        except Exception as error:
            log.exception("job %s", mine.number)
            said_of = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
            return finish(self._store, mine, FAILED, words=PROGRAM_FAULT.format(error=said_of))
        return finish(self._store, mine, STOPPED if watch.stopped else DONE, result=result)

    def _made(self, mine: Job, watch: _Watch) -> int:
        """Make the schedule and keep it; returns its number."""
        now = self._clock()
        folder = self._place.read(self._store, now)
        request, world, version = as_asked(folder, mine.slug, self._store)
        conditions = told_world(folder, request.sites or folder.sites, now, self._teller).conditions
        before = kept_to(self._store, mine.slug)
        schedule = self._solve(
            request,
            replace(world, conditions=conditions),
            mine.seconds,
            before=before[1] if before else None,
            told=watch.told,
            stop=watch.stop,
        )
        return add_result(
            self._store,
            mine.slug,
            schedule,
            version=version,
            base=mark_of(folder.schedules[mine.slug]),
            made=self._clock(),
            by=mine.by,
            stopped=watch.stopped,
            before=before[0] if before else None,
        )


class _Watch:
    """Writes down how far a job is, and looks whether it is to stop; neither more often than every second."""

    def __init__(self, store: Store, number: int, ending: Callable[[], bool]) -> None:
        self._store = store
        self._number = number
        self._ending = ending
        self._written = self._looked = -LOOK_S
        self.stopped = False

    def told(self, progress: Progress) -> None:
        """Write down how far it is; where the store is busy, the next word counts."""
        if time.monotonic() - self._written >= LOOK_S:
            self._written = time.monotonic()
            with suppress(StoreFault):
                write_progress(self._store, self._number, progress)

    def stop(self) -> bool:
        """Return whether the job is to end with the best it has."""
        if not self.stopped and time.monotonic() - self._looked >= LOOK_S:
            self._looked = time.monotonic()
            with suppress(StoreFault):
                now = job(self._store, self._number)
                self.stopped = now is None or now.stop or now.state != RUNNING
        if not self.stopped and self._ending():
            self.stopped = True
        return self.stopped


# ---- a worker as a process ----


def run_worker(url: str, place: Place) -> None:
    """Do the jobs of a store until a signal ends it, in the main thread.  Raises StoreFault."""
    store = Store(url)
    over = threading.Event()
    workman = Workman(store, place, ending=over.is_set)
    try:
        with queue(url, lambda number: _work_and_follow(workman, number, url)) as (held, put):
            consumer = held.create_consumer(workers=1, periodic=False, max_delay=1.0, shutdown_timeout=0.1)
            # It would start the program anew with the words of the command line, which may be another program's.
            consumer._signal_actions.pop(getattr(signal, "SIGHUP", None), None)
            beats = threading.Thread(target=_beat_until, args=(over, store, workman, held, put), daemon=True)
            beats.start()
            consumer.run()
            over.set()
            end = time.monotonic() + END_S
            while workman.busy.is_set() and time.monotonic() < end:
                time.sleep(0.1)
            beats.join(BEAT_S + 1)
    finally:
        over.set()
        with suppress(StoreFault):
            _give_up(store, workman.name)
        store.close()


def _work_and_follow(workman: Workman, number: int, url: str) -> None:
    following = workman.work(number)
    if following is not None:
        enqueue(url, following.number)


def _give_up(store: Store, worker: str) -> None:
    """Mark what a worker leaves undone as failed."""
    left = SCHEDULE_JOBS.update().where(SCHEDULE_JOBS.c.state == RUNNING, SCHEDULE_JOBS.c.worker == worker)
    _done(store, left.values(state=FAILED, open=None, ended=_now(), words=ENDED))


def _beat_until(
    over: threading.Event, store: Store, workman: Workman, held: Huey, put: Callable[[int], Any]
) -> None:  # fmt: skip
    """Say that the worker lives until it is over, give up what others left, and take up what no queue holds."""
    while not over.is_set():
        try:
            waiting = beat(store, workman.name)
            settle(store)
            if waiting and not workman.busy.is_set() and held.pending_count() == 0:
                put(waiting[0])  # whoever asked ended before it was handed on; a number twice is one job
        except Exception:
            log.exception("the worker could not say that it lives")
        over.wait(BEAT_S)


class Hired:
    """One worker as a child of this process, started when a job needs it and ended with its parent."""

    def __init__(self, place: Place) -> None:
        """Hire for a centre; nothing is started yet."""
        self._place = place
        self._child: subprocess.Popen[bytes] | None = None
        self._lock = threading.Lock()

    def wake(self, url: str) -> None:
        """Start the worker of a store, unless it lives."""
        with self._lock:
            if self._child is not None and self._child.poll() is None:
                return
            self._let_go()
            self._child = subprocess.Popen(
                [sys.executable, "-c", "from tripplan.store.schedule_jobs import child; child()"],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                start_new_session=True,  # an interrupt at the terminal is for the parent, which tells the child
            )
            said = {"url": url, "folder": str(self._place.folder.resolve()), "young": self._place.young}
            if self._child.stdin is not None:  # an address may hold a password: it stands on no command line
                self._child.stdin.write(json.dumps(said).encode() + b"\n")
                self._child.stdin.flush()

    def close(self) -> None:
        """End the worker; what it works on keeps the best it has."""
        with self._lock:
            self._let_go()

    def _let_go(self) -> None:
        child, self._child = self._child, None
        if child is None:
            return
        if child.stdin is not None:
            with suppress(OSError):
                child.stdin.close()
        try:
            child.wait(END_S + 10)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()


def child() -> None:
    """Be the worker of the process that started this one: it says on the standard input what to do.

    When that input ends, so has the parent, however it ended.
    """
    said = b""
    while not said.endswith(b"\n"):
        piece = os.read(0, 4096)
        if not piece:
            return
        said += piece
    wanted = json.loads(said)

    def with_parent() -> None:
        while os.read(0, 4096):
            pass
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=with_parent, daemon=True).start()
    run_worker(wanted["url"], Place(Path(wanted["folder"]), wanted["young"]))
