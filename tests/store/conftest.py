"""The store on both kinds of database: a SQLite file, and a PostgreSQL server of the tests' own."""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from uuid import uuid4

import pytest

from tripplan.store.database import Store, sqlite_url

REQUIRED = bool(os.environ.get("TRIPPLAN_POSTGRES_REQUIRED"))


def _binaries() -> Path | None:
    """Return the folder of the newest PostgreSQL server on this machine."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    initdb = shutil.which("initdb")
    return Path(initdb).parent if initdb else None


def _as_other() -> dict[str, object]:
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
def postgresql_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
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
        os.chown(base, other["user"], other["group"])  # type: ignore[arg-type]
    run = {"check": True, "capture_output": True, "cwd": "/", **other}
    data = base / "data"
    try:
        command = [binaries / "initdb", "-D", data, "-U", "tests", "-A", "trust", "-E", "UTF8", "--locale=C", "-N"]
        subprocess.run(command, **run)  # type: ignore[call-overload]
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        options = f"-k {base} -c listen_addresses=127.0.0.1 -p {port} -c fsync=off"
        start = [binaries / "pg_ctl", "-D", data, "-l", base / "log", "-w", "-o", options, "start"]
        subprocess.run(start, **{**run, "capture_output": False, "stdout": subprocess.DEVNULL})  # type: ignore[call-overload]
        yield f"postgresql+psycopg://tests@127.0.0.1:{port}/postgres"
    finally:
        stop = [binaries / "pg_ctl", "-D", data, "-m", "immediate", "stop"]
        subprocess.run(stop, **{**run, "check": False})  # type: ignore[call-overload]
        shutil.rmtree(base, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Give the address of an empty store of either kind."""
    if request.param == "sqlite":
        yield sqlite_url(tmp_path / "store.sqlite")
        return
    import psycopg

    server: str = request.getfixturevalue("postgresql_server")
    name = f"t{uuid4().hex}"
    plain = server.replace("+psycopg", "")
    with psycopg.connect(plain, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    yield server.rsplit("/", 1)[0] + f"/{name}"
    with psycopg.connect(plain, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")


@pytest.fixture
def opened(address: str) -> Iterator[Callable[[], Store]]:
    """Give a function that opens the store anew, as another process would; all are closed at the end."""
    stores: list[Store] = []

    def open_again() -> Store:
        stores.append(Store(address))
        return stores[-1]

    yield open_again
    for store in stores:
        store.close()


@pytest.fixture
def store(opened: Callable[[], Store]) -> Store:
    """Give one opened store."""
    return opened()
