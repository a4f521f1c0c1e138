"""Run every test that writes into a store on both kinds of database: a SQLite file, and a PostgreSQL server.

The tests of the pages and commands that are named here run twice; those in a browser too where TRIPPLAN_BROWSER_ON_BOTH
is set. In the second run each SQLite file that the program opens is a database of its own on the server instead. A test
elsewhere that writes into a store fails, so that none is left out; ``sqlite_file`` marks those that are about the file
itself or a process of its own, each with why.
"""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import weakref
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from tests.empty_stores import Databases, Files
from tripplan.store import database

REQUIRED = bool(os.environ.get("TRIPPLAN_POSTGRES_REQUIRED"))
EVERYWHERE = bool(os.environ.get("TRIPPLAN_BROWSER_ON_BOTH"))  # the tests in a browser too
KINDS = ("sqlite", "postgresql")
TWICE = (  # below tests/
    "browser/test_accessibility.py",
    "browser/test_live_phone.py",
    "browser/test_schedule_board.py",
    "browser/test_two_browsers.py",
    "faults/test_clock.py",
    "faults/test_damage.py",
    "faults/test_disk.py",
    "faults/test_killed.py",
    "faults/test_lock.py",
    "faults/test_silent_feed.py",
    "hostile/test_api.py",
    "hostile/test_hostile_pages.py",
    "test_cli_accounts.py",
    "test_cli_schedule_store.py",
    "test_cli_store.py",
    "test_cli_ticks.py",
    "test_examples.py",
    "web/test_accounts_pages.py",
    "web/test_first_plan.py",
    "web/test_hard_pages.py",
    "web/test_live_pages.py",
    "web/test_load.py",
    "web/test_next_page.py",
    "web/test_private_pages.py",
    "web/test_record_pages.py",
    "web/test_request_pages.py",
    "web/test_roster_page.py",
    "web/test_schedule_pages.py",
    "web/test_skills_pages.py",
)
BY_ADDRESS = ("store/", "web/test_two_servers.py")  # they ask for an address of either kind themselves


def _binaries() -> Path | None:
    """Return the folder of the newest PostgreSQL server on this machine."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    initdb = shutil.which("initdb")
    return Path(initdb).parent if initdb else None


def _as_other() -> dict[str, Any]:
    """Return how to run as somebody whom PostgreSQL accepts: it refuses to run as root."""
    if os.geteuid() != 0:
        return {}
    for name in ("postgres", "nobody"):
        try:
            user = pwd.getpwnam(name)
        except KeyError:
            continue
        return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
    return {}


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[str]:
    """Start a server and give the address of its maintenance database."""
    binaries = _binaries()
    if binaries is None:
        if REQUIRED:
            pytest.fail("no PostgreSQL server is installed here, and TRIPPLAN_POSTGRES_REQUIRED asks for one")
        pytest.skip("no PostgreSQL server is installed here")
    other = _as_other()
    base = Path("/tmp") / f"tripplan-pg-{uuid4().hex[:8]}"
    base.mkdir(mode=0o700)
    if "user" in other:
        os.chown(base, other["user"], other["group"])
    run = {"check": True, "capture_output": True, "cwd": "/", **other}
    data = base / "data"
    address = ""
    try:
        command = [binaries / "initdb", "-D", data, "-U", "tests", "-A", "trust", "-E", "UTF8", "--locale=C", "-N"]
        subprocess.run(command, **run)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        address = f"postgresql+psycopg://tests@127.0.0.1:{port}/postgres"
        options = f"-k {base} -c listen_addresses=127.0.0.1 -p {port} -c fsync=off -c max_connections=400"
        start = [binaries / "pg_ctl", "-D", data, "-l", base / "log", "-w", "-o", options, "start"]
        subprocess.run(start, **{**run, "capture_output": False, "stdout": subprocess.DEVNULL})
        yield address
    finally:
        if databases_on.cache_info().currsize:
            databases_on(address).close()
            databases_on.cache_clear()
        stop = [binaries / "pg_ctl", "-D", data, "-m", "immediate", "stop"]
        subprocess.run(stop, **{**run, "check": False})
        shutil.rmtree(base, ignore_errors=True)


def database_on(server: str, name: str) -> str:
    """Make a database on a server where there is none of the name; return its address."""
    import psycopg

    with psycopg.connect(server.replace("+psycopg", ""), autocommit=True) as connection:
        there = connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", (name,)).fetchone()
        if not there:
            connection.execute(f"CREATE DATABASE {name}")
    return server.rsplit("/", 1)[0] + f"/{name}"


class _Turned:
    """Where a SQLite file is opened now, and whether a test may write into a store."""

    server: str | None = None  # None: the file itself
    refused: str = ""  # why nothing may be written; empty: it may
    data = ""  # where this run of the tests keeps data; a test may point elsewhere
    by_steps: bool = False  # whether a new store takes the steps of the migrations itself


_open, _write, _steps = database.Store.__init__, database.Store._writing, database.Store._upgrade
_opened: weakref.WeakSet[database.Store] = weakref.WeakSet()
_begun: set[str] = set()  # addresses of stores that are empty copies, until they are opened


def _make(url: str) -> None:
    store = database.Store.__new__(database.Store)
    _open(store, url)
    store.close()


@cache
def _files() -> Files:
    return Files(Path(tempfile.mkdtemp(prefix="tripplan-empty-", dir=_Turned.data)), _make)


@cache
def databases_on(server: str) -> Databases:
    """Return the databases that tests are lent on a server."""
    return Databases(server, _make)


def _open_turned(self: database.Store, url: str) -> None:
    if url.startswith("sqlite:///"):
        path = Path(url.removeprefix("sqlite:///"))
        if _Turned.server is not None:
            url, new = databases_on(_Turned.server).lend(url)
        else:
            new = not _Turned.by_steps and not path.exists() and _files().begin(path)
        if new:
            _begun.add(url)
    _open(self, url)
    _opened.add(self)


def _upgrade_unless_begun(self: database.Store) -> None:
    if self.url in _begun:
        _begun.discard(self.url)
    else:
        _steps(self)


def _write_guarded(self: database.Store) -> Any:
    if _Turned.refused:
        raise AssertionError(_Turned.refused)
    return _write(self)


def let_go(item: pytest.Item) -> None:
    """Close what a test left open; a store that others still use opens its connections anew by itself."""
    for store in list(_opened):
        store.close()
    own = (getattr(item, "funcargs", None) or {}).get("tmp_path")
    if own is not None and _Turned.server is not None:
        databases_on(_Turned.server).give_back(lambda url: Path(url.removeprefix("sqlite:///")).is_relative_to(own))


database.Store.__init__ = _open_turned  # type: ignore[method-assign]
database.Store._upgrade = _upgrade_unless_begun  # type: ignore[method-assign]
database.Store._writing = _write_guarded  # type: ignore[method-assign]


@pytest.fixture(scope="session", autouse=True)
def kept_on(request: pytest.FixtureRequest) -> Iterator[str]:
    """Open every store on the kind of database that is asked for, for as long as the tests of that kind run."""
    kind: str = getattr(request, "param", KINDS[0])
    _Turned.data = _Turned.data or os.environ["XDG_DATA_HOME"]
    _Turned.server = request.getfixturevalue("postgresql_server") if kind == "postgresql" else None
    yield kind
    _Turned.server = None


def below_tests(path: Path) -> str:
    """Return where a file stands below tests/."""
    return path.relative_to(Path(__file__).parent).as_posix()


def run_twice(metafunc: pytest.Metafunc) -> None:
    """Ask for both kinds for a test that may write into a store."""
    where = below_tests(metafunc.definition.path)
    if where in TWICE:
        # A browser sees the same pages; what they write is written on both kinds by the tests of the pages.
        once = metafunc.definition.get_closest_marker("sqlite_file") or (
            where.startswith("browser/") and not EVERYWHERE
        )
        kinds = KINDS[:1] if once else KINDS
        metafunc.parametrize("kept_on", kinds, indirect=True, scope="session")


def guard(item: pytest.Item) -> None:
    """Let only those tests write into a store that run on both kinds."""
    where = below_tests(item.path)
    _Turned.by_steps = where.startswith(BY_ADDRESS)
    _Turned.refused = (
        ""
        if where in TWICE or where.startswith(BY_ADDRESS)
        else f"{where} writes into a store and runs on one kind of database only: name it in tests/both_stores.py"
    )
