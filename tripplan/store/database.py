"""The store: what happened, which plans held, which requests are edited. SQLite by default, PostgreSQL by a URL."""

from __future__ import annotations

import logging
import os
import shutil
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, fields
from datetime import date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Row, create_engine, event, func, select, text
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as NoConnection

from tripplan.errors import TripplanError
from tripplan.planning.event import Event
from tripplan.planning.live import alike
from tripplan.store.tables import EVENTS, PLANS, REQUEST_VERSIONS, REQUESTS

BUSY_MS = 10_000  # how long a writer waits for another before it gives up
MIGRATIONS = Path(__file__).with_name("migrations")
_UPGRADING = 72616  # the lock of a PostgreSQL store under which its shape changes
_BEGINNING = 72618  # and the one under which the first plans of a day are kept

log = logging.getLogger("tripplan.store")


class StoreFault(TripplanError):
    """The store could not do what was asked; nothing of it was kept."""


class ChangedMeanwhile(StoreFault):
    """Somebody else changed the same thing after it was read; ``now`` is what stands there, None: it is gone."""

    def __init__(self, name: str, now: KeptRequest | None) -> None:
        self.now = now
        who = f"{now.by} changed it at {now.changed:%H:%M} UTC" if now else "somebody took it out"
        super().__init__(f'"{name}" is no longer as you read it: {who}. Nothing of yours was written over theirs.')


@dataclass(frozen=True)
class KeptRequest:
    """A request as it stands in the store."""

    name: str
    version: int
    request: Mapping[str, Any]
    changed: datetime
    by: str
    base: str = ""  # of the file that it was edited from; empty: of none


@dataclass(frozen=True)
class KeptPlan:
    """A plan as it was when it held, with all that it was made from."""

    revision: str
    site: str
    day: date
    kept: datetime
    by: str
    request: Mapping[str, Any]
    inputs: Mapping[str, Any]
    plan: Mapping[str, Any]


@dataclass(frozen=True)
class DayEntries:
    """The entries of a day at a site, in the order in which they arrived."""

    events: tuple[Event, ...] = ()
    last: int = 0  # number of the newest


@dataclass(frozen=True)
class Added:
    """What became of entries that were handed in: new ones, ones known before, and ones that differ from the known."""

    new: tuple[str, ...]
    known: tuple[str, ...]
    differs: tuple[str, ...]  # the same uid with other words: the first stays


def default_path(folder: Path) -> Path:
    """Return where the store of a centre's folder lies: in the user's data folder, outside of the centre's."""
    import hashlib

    base = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    name = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:12]
    return Path(base) / "tripplan" / name / "store.sqlite"


def sqlite_url(path: Path) -> str:
    """Return the address of a SQLite file."""
    return f"sqlite:///{path}"


class Store:
    """One store, opened: every method is one transaction, kept whole or not at all."""

    def __init__(self, url: str) -> None:
        """Open a store and bring it to today's shape; a SQLite file is copied before that, and the log says where.

        Raises StoreFault when it cannot be opened, or was written by a newer version of this program.
        """
        self.url = url
        try:
            if url.startswith("sqlite:///"):
                self._path.parent.mkdir(parents=True, exist_ok=True)
            self._engine = _engine(url)
            try:
                self._upgrade()
            except BaseException:
                self._engine.dispose()
                raise
        except (TripplanError, ImportError):
            raise
        except Exception as error:  # a damaged file brings every kind, down to words that are no text
            raise StoreFault(f"the store {_shown(url)} cannot be opened: {_reason(error)}") from error

    # ---- entries ----

    def add(self, events: Sequence[Event], arrived: datetime) -> Added:
        """Keep entries in the order given; one that is known already is not kept twice.

        Returns once they are safe on the disk.  Raises StoreFault when none of them was kept.
        """
        new: list[str] = []
        known: list[str] = []
        differs: list[str] = []
        with self._writing() as connection:
            for each in events:
                values = {field.name: getattr(each, field.name) for field in fields(Event)}
                asked = self._insert_unless_known().values(**values, arrived=arrived).returning(EVENTS.c.uid)
                if connection.execute(asked).one_or_none() is not None:
                    new.append(each.uid)
                    continue
                before = connection.execute(select(EVENTS).where(EVENTS.c.uid == each.uid)).one()
                (known if _event(before) == _as_kept(each) else differs).append(each.uid)
        return Added(tuple(new), tuple(known), tuple(differs))

    def events(self, day: date, site: str | None = None) -> tuple[Event, ...]:
        """Return the entries of a day, at one site or at all, in the order in which they arrived."""
        query = select(EVENTS).where(EVENTS.c.day == day).order_by(EVENTS.c.number)
        if site is not None:
            query = query.where(EVENTS.c.site == site)
        with self._reading() as connection:
            return tuple(_event(row) for row in connection.execute(query))

    def entries_of_day(self, day: date, site: str, before: DayEntries | None = None) -> DayEntries:
        """Return the entries of a day at a site; ``before`` itself where nothing came since.

        before -- what was read of the same day and site before: only what came since is read
        """
        here = (EVENTS.c.day == day, EVENTS.c.site == site)
        query = select(EVENTS).where(*here).order_by(EVENTS.c.number)
        with self._reading() as connection:
            if before is not None:
                rows = connection.execute(query.where(EVENTS.c.number > before.last)).all()
                total = connection.execute(select(func.count()).select_from(EVENTS).where(*here)).scalar_one()
                # A row may come to light after one with a higher number, where two wrote at once.
                if total == len(before.events) + len(rows):
                    if not rows:
                        return before
                    return DayEntries((*before.events, *map(_event, rows)), rows[-1].number)
            rows = connection.execute(query).all()
            return DayEntries(tuple(map(_event, rows)), rows[-1].number if rows else 0)

    def events_of(self, person: str, since: date) -> tuple[Event, ...]:
        """Return the entries about a person from a day on."""
        query = select(EVENTS).where(EVENTS.c.person == person, EVENTS.c.day >= since).order_by(EVENTS.c.number)
        with self._reading() as connection:
            return tuple(_event(row) for row in connection.execute(query))

    def days_of(self, person: str) -> tuple[tuple[date, str], ...]:
        """Return every day and site with an entry about a person, also one taken back, in order of the day.

        Names are compared as they are on a beach: capitals and spaces do not count.
        """
        query = select(EVENTS.c.day, EVENTS.c.site, EVENTS.c.person).where(EVENTS.c.person != "").distinct()
        wanted = alike(person)
        with self._reading() as connection:
            found = {(row.day, row.site) for row in connection.execute(query) if alike(row.person) == wanted}
        return tuple(sorted(found))

    def _insert_unless_known(self) -> sqlite.Insert | postgresql.Insert:
        if self._engine.dialect.name == "postgresql":
            return postgresql.insert(EVENTS).on_conflict_do_nothing(index_elements=["uid"])
        return sqlite.insert(EVENTS).on_conflict_do_nothing(index_elements=["uid"])

    # ---- plans ----

    def keep_plan(self, plan: KeptPlan) -> bool:
        """Keep a plan whole, once for each revision; returns whether it is new."""
        values = {field.name: getattr(plan, field.name) for field in fields(KeptPlan)}
        try:
            with self._writing() as connection:
                connection.execute(PLANS.insert().values(**values))
        except StoreFault as error:
            if isinstance(error.__cause__, IntegrityError):
                return False
            raise
        return True

    def keep_first(self, day: date, site: str, plans: Sequence[KeptPlan]) -> bool:
        """Keep the plans by which a day begins, all of them, unless one is kept for it; returns whether they were.

        Of several servers whose first entries arrive at once, one begins the day.  Raises StoreFault.
        """
        there = select(PLANS.c.number).where(PLANS.c.day == day, PLANS.c.site == site).limit(1)
        with self._writing() as connection:
            if self._engine.dialect.name == "postgresql":  # SQLite lets one writer in at a time by itself
                connection.execute(text(f"SELECT pg_advisory_xact_lock({_BEGINNING})"))
            if connection.execute(there).one_or_none() is not None:
                return False
            insert = postgresql.insert if self._engine.dialect.name == "postgresql" else sqlite.insert
            for plan in plans:
                values = {field.name: getattr(plan, field.name) for field in fields(KeptPlan)}
                connection.execute(insert(PLANS).values(**values).on_conflict_do_nothing(index_elements=["revision"]))
        return True

    def plan(self, revision: str) -> KeptPlan | None:
        """Return a plan by its revision; None where it was never kept."""
        with self._reading() as connection:
            row = connection.execute(select(PLANS).where(PLANS.c.revision == revision)).one_or_none()
        return None if row is None else _plan(row)

    def plans(self, day: date, site: str | None = None) -> tuple[KeptPlan, ...]:
        """Return the plans kept for a day, the last kept last."""
        query = select(PLANS).where(PLANS.c.day == day).order_by(PLANS.c.number)
        if site is not None:
            query = query.where(PLANS.c.site == site)
        with self._reading() as connection:
            return tuple(_plan(row) for row in connection.execute(query))

    def plan_numbers(self, day: date, site: str) -> tuple[int, ...]:
        """Return the numbers of the plans kept for a day at a site, the last kept last: they are never changed."""
        query = select(PLANS.c.number).where(PLANS.c.day == day, PLANS.c.site == site).order_by(PLANS.c.number)
        with self._reading() as connection:
            return tuple(connection.execute(query).scalars())

    # ---- requests ----

    def request(self, name: str) -> KeptRequest | None:
        """Return a request as it stands; None where there is none of the name."""
        with self._reading() as connection:
            return _request(connection, name)

    def requests(self) -> tuple[KeptRequest, ...]:
        """Return every request by name."""
        with self._reading() as connection:
            rows = connection.execute(select(REQUESTS).order_by(REQUESTS.c.name))
            return tuple(KeptRequest(**row._mapping) for row in rows)

    def save_request(
        self,
        name: str,
        request: Mapping[str, Any],
        version: int | None,
        by: str,
        changed: datetime,
        base: str = "",
    ) -> int:
        """Keep a request over the version that was read; None: as a new one.  Returns its new version.

        base -- of the file that it was edited from; empty: of none

        Every version is kept for good.  Raises ChangedMeanwhile, with what stands there, when that version is no longer
        the newest.
        """
        kept = {"request": dict(request), "changed": changed, "by": by}
        values = {**kept, "base": base}
        with self._writing() as connection:
            number = 1 if version is None else version + 1
            if version is None:
                if (now := _request(connection, name)) is not None:
                    raise ChangedMeanwhile(name, now)
                connection.execute(REQUESTS.insert().values(name=name, version=1, **values))
                connection.execute(REQUEST_VERSIONS.insert().values(name=name, version=1, **kept))
                return number
            done = connection.execute(
                REQUESTS.update()
                .where(REQUESTS.c.name == name, REQUESTS.c.version == version)
                .values(version=version + 1, **values)
            )
            if done.rowcount != 1:
                raise ChangedMeanwhile(name, _request(connection, name))
            connection.execute(REQUEST_VERSIONS.insert().values(name=name, version=number, **kept))
        return number

    def request_versions(self, name: str) -> tuple[KeptRequest, ...]:
        """Return every version that a request ever had, the first one first."""
        query = select(REQUEST_VERSIONS).where(REQUEST_VERSIONS.c.name == name).order_by(REQUEST_VERSIONS.c.version)
        with self._reading() as connection:
            return tuple(
                KeptRequest(row.name, row.version, row.request, row.changed, row.by)
                for row in connection.execute(query)
            )

    # ---- the whole ----

    def backup(self, path: Path) -> None:
        """Write a copy of a SQLite store that is whole, also while others write.  Raises StoreFault."""
        if self._engine.dialect.name != "sqlite":
            raise StoreFault("this store is PostgreSQL: its own pg_dump makes the backup")
        if path.exists():
            raise StoreFault(f"{path} exists; a backup is never written over another file")
        draft = path.with_name(path.name + ".new")
        try:
            _take_away(draft)
            draft.touch(mode=0o600)  # it holds health data
            with closing(sqlite3.connect(self._path)) as source, closing(sqlite3.connect(draft)) as target:
                source.backup(target)
            draft.replace(path)
        except (sqlite3.Error, OSError, ValueError) as error:
            with suppress(OSError):
                _take_away(draft)
            raise StoreFault(f"the backup {path} was not written: {error}") from error

    @property
    def _path(self) -> Path:
        return Path(self.url.removeprefix("sqlite:///"))

    def close(self) -> None:
        """Let go of the store."""
        self._engine.dispose()

    def after_fork(self) -> None:
        """Leave the connections to the process that this one was forked from, and open new ones when asked."""
        self._engine.dispose(close=False)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        try:
            with self._engine.connect() as connection:
                yield connection
        except (DBAPIError, NoConnection) as error:
            raise StoreFault(f"the store {_shown(self.url)} cannot be read: {_reason(error)}") from error
        except (ValueError, TypeError) as error:  # a row that this program never wrote
            raise self._damaged(error) from error

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        try:
            with self._engine.connect().execution_options(writing=True) as connection, connection.begin():
                yield connection
        except (DBAPIError, NoConnection) as error:
            raise StoreFault(
                f"the store {_shown(self.url)} did not take it: {_reason(error)}; nothing of it was kept"
            ) from error
        except TripplanError:
            raise
        except ValueError as error:
            raise self._damaged(error) from error

    def _damaged(self, error: Exception) -> StoreFault:
        return StoreFault(
            f"the store {_shown(self.url)} is damaged, a row of it cannot be read: {_reason(error)}; "
            "put a backup back with `tripplan store restore`"
        )

    def _upgrade(self) -> None:
        """Take the steps that the store has not taken yet: all of them or none, whoever else opens it."""
        from alembic import command
        from alembic.config import Config
        from alembic.runtime.migration import MigrationContext
        from alembic.script import ScriptDirectory

        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
        known = ScriptDirectory.from_config(config)
        with self._engine.connect().execution_options(writing=True) as connection, connection.begin():
            if self._engine.dialect.name == "postgresql":
                connection.execute(text(f"SELECT pg_advisory_xact_lock({_UPGRADING})"))  # two servers may start at once
            step = MigrationContext.configure(connection).get_current_revision()
            if step == known.get_current_head():
                return
            if step is not None and step not in {each.revision for each in known.walk_revisions()}:
                raise StoreFault(
                    f"the store {_shown(self.url)} was written by a newer version of this program (step {step}, and "
                    f"this one knows {known.get_current_head()}). Nothing was changed; install the newer version"
                )
            if step is not None:
                self._tell_of_upgrade(step, str(known.get_current_head()))
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def _tell_of_upgrade(self, step: str, head: str) -> None:
        """Copy a SQLite store before its shape changes, and say so; a server's own dump is made by whoever runs it."""
        if self._engine.dialect.name != "sqlite":
            log.warning("the store %s goes from step %s to %s", _shown(self.url), step, head)
            return
        path = self._path.with_name(f"{self._path.name}.before-{head}")
        number = 1
        while path.exists():  # a copy from an upgrade that did not come to its end; entries may have followed it
            number += 1
            path = self._path.with_name(f"{self._path.name}.before-{head}-{number}")
        self.backup(path)
        log.warning(
            "the store %s goes from step %s to %s. As it was before it lies at %s: delete that once all is well, for "
            "no purge reaches it",
            _shown(self.url), step, head, path,
        )  # fmt: skip


def _take_away(draft: Path) -> None:
    """Take away the part of a copy that somebody left who ended the program, with its log."""
    for ending in ("", "-journal", "-wal", "-shm"):
        draft.with_name(draft.name + ending).unlink(missing_ok=True)


def restore(backup: Path, path: Path) -> None:
    """Put a backup in the place of a SQLite store that nobody has open; the store that was there is kept beside it.

    Raises StoreFault for a file that is no whole store; then nothing is changed.
    """
    try:
        with closing(sqlite3.connect(f"file:{backup}?mode=ro", uri=True)) as source:
            (whole,) = source.execute("PRAGMA integrity_check").fetchone()
            source.execute("SELECT count(*) FROM events").fetchone()
            if whole != "ok":
                raise StoreFault(f"{backup} is damaged: {whole}")
            path.parent.mkdir(parents=True, exist_ok=True)
            draft = path.with_name(path.name + ".new")
            _take_away(draft)
            with closing(sqlite3.connect(draft)) as target:
                source.backup(target)
    except sqlite3.OperationalError as error:
        raise StoreFault(f"{backup} could not be put back: {error}; nothing was changed") from error
    except (sqlite3.Error, TypeError, ValueError) as error:
        raise StoreFault(f"{backup} is no store of this program: {error}") from error
    except OSError as error:
        raise StoreFault(f"{path} could not be put back: {error.strerror or error}; nothing was changed") from error
    try:
        if path.exists():
            _put_aside(path, path.with_name(f"{path.name}.before-restore"))
        draft.replace(path)
    except OSError as error:
        raise StoreFault(f"{path} could not be put back: {error.strerror or error}") from error


def _patience(url: str) -> dict[str, Any]:
    """Return how long a server of PostgreSQL is waited for: as long as for a file, and not for ever."""
    wait_s = max(1, BUSY_MS // 1000)
    wanted = {"connect_timeout": wait_s, "tcp_user_timeout": 2 * BUSY_MS, "options": f"-c lock_timeout={BUSY_MS}"}
    said = make_url(url).query  # what the address says counts
    return {
        "pool_pre_ping": True,
        "pool_timeout": wait_s,
        "connect_args": {name: value for name, value in wanted.items() if name not in said},
    }


def _put_aside(path: Path, aside: Path) -> None:
    """Keep a store's file under a second name, such that at every moment one of the two has it whole.

    Raises FileExistsError where another store has that name.
    """
    with suppress(sqlite3.Error), closing(sqlite3.connect(path, timeout=1)) as old:
        old.execute("PRAGMA journal_mode = DELETE").fetchone()  # what its log holds goes into the file itself
    if not same_file(path, aside):  # else it was put aside before somebody ended the program
        try:
            os.link(path, aside)
        except FileExistsError:
            raise
        except OSError:  # a file system without second names
            shutil.copy2(path, aside)
    for ending in ("-wal", "-shm"):  # of a store that is damaged: beside the new one they would be taken for its own
        log_file = path.with_name(path.name + ending)
        if log_file.exists():
            log_file.replace(path.with_name(aside.name + ending))


def same_file(one: Path, other: Path) -> bool:
    """Return whether two names that are there stand for one file."""
    return one.exists() and other.exists() and one.samefile(other)


def _engine(url: str) -> Engine:
    engine = create_engine(url, **({} if url.startswith("sqlite") else _patience(url)))
    if engine.dialect.name == "sqlite":

        @event.listens_for(engine, "connect")
        def prepare(connection: Any, _: object) -> None:
            connection.isolation_level = None  # the transactions are ours: see below
            cursor = connection.cursor()
            for setting in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", f"busy_timeout={BUSY_MS}"):
                cursor.execute(f"PRAGMA {setting}")
            cursor.close()

        @event.listens_for(engine, "begin")
        def begin(connection: Connection) -> None:
            # A writer waits at its beginning, and not half way, where SQLite could only give up.
            writing = connection.get_execution_options().get("writing")
            connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    return engine


_EVENT_COLUMNS = tuple(field.name for field in fields(Event))


def _event(row: Row[Any]) -> Event:
    held = row._mapping
    return Event(**{name: held[name] for name in _EVENT_COLUMNS})


def _as_kept(each: Event) -> Event:
    """Return an entry as it comes back: the same moment, in UTC."""
    from dataclasses import replace
    from datetime import UTC

    return replace(each, at=each.at.astimezone(UTC))


def _plan(row: Row[Any]) -> KeptPlan:
    return KeptPlan(**{field.name: getattr(row, field.name) for field in fields(KeptPlan)})


def _request(connection: Connection, name: str) -> KeptRequest | None:
    row = connection.execute(select(REQUESTS).where(REQUESTS.c.name == name)).one_or_none()
    return None if row is None else KeptRequest(**row._mapping)


def _shown(url: str) -> str:
    """Return an address without its password."""
    try:
        return make_url(url).render_as_string(hide_password=True)
    except SQLAlchemyError:
        return "with an address that cannot be read"


def _reason(error: Exception) -> str:
    return " ".join(str(getattr(error, "orig", None) or error).split())
