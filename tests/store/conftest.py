"""The store on both kinds of database, each test with an empty one of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from uuid import uuid4

import pytest

from tests.both_stores import KINDS, database_on, databases_on
from tripplan.store.database import Store, sqlite_url

BY_STEPS = "test_database.py"  # here every store takes the steps of the migrations by itself, from nothing


@pytest.fixture(params=KINDS)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Give the address of an empty store of either kind; one that takes the steps by itself is not there yet."""
    if request.param == "sqlite":
        yield sqlite_url(tmp_path / "store.sqlite")
        return
    import psycopg

    server: str = request.getfixturevalue("postgresql_server")
    name = f"t{uuid4().hex}"
    if request.path.name != BY_STEPS:
        databases = databases_on(server)
        yield databases.lend(name)[0]
        databases.give_back(name.__eq__)
        return
    yield database_on(server, name)
    with psycopg.connect(server.replace("+psycopg", ""), autocommit=True) as connection:
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
