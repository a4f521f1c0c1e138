"""Stores that earlier versions of the program wrote: brought to today's shape whole, with all that was in them.

The files in ``old/`` were written by those versions themselves and say by which; nothing here made them.
"""

from __future__ import annotations

import logging
import os
import shutil
import signal
import sqlite3
import stat
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from alembic import command, op
from alembic.config import Config
from alembic.script import ScriptDirectory
from argon2 import PasswordHasher
from sqlalchemy import MetaData, create_engine, inspect, select, text
from sqlalchemy.exc import DBAPIError

from tests.both_stores import KINDS, database_on
from tripplan.planning.live import live_day, standing
from tripplan.rulebook import baseline
from tripplan.store.accounts import Accounts, Limits, WrongSignIn, signing_secret, trail
from tripplan.store.database import MIGRATIONS, Store, StoreFault, restore, sqlite_url
from tripplan.store.requests import judged
from tripplan.store.schedules import newest_results
from tripplan.store.tables import METADATA
from tripplan.store.ticks import ticks
from tripplan.web.live import held_of

OLD = Path(__file__).with_name("old")
STEPS = ("0001", "0002", "0003")
HEAD = str(ScriptDirectory(str(MIGRATIONS)).get_current_head())
DAY, SITE, NAME = date(2026, 11, 29), "lake-orrin", "lake-altitude"
EVENING = datetime(2026, 11, 29, 11, 0, tzinfo=UTC)  # a quarter of an hour after the last entry
PASSWORD = "nine dry boots by the door"


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> dict[str, Path]:
    """Each old store as a file."""
    found = {}
    for step in STEPS:
        found[step] = tmp_path_factory.mktemp("old") / "store.sqlite"
        with closing(sqlite3.connect(found[step])) as plain:
            plain.executescript((OLD / f"day-{step}.sql").read_text(encoding="utf-8"))
    return found


@pytest.fixture(scope="module")
def templates(files, request) -> Callable[[str], str]:
    """Give a function that returns the name of a server's database with an old store, made when it is asked for."""
    made: dict[str, str] = {}

    def of(step: str) -> str:
        if step not in made:
            name = f"old_{step}_{uuid4().hex[:8]}"
            _rows_over(files[step], database_on(request.getfixturevalue("postgresql_server"), name), step)
            made[step] = name
        return made[step]

    return of


def _rows_over(file: Path, address: str, step: str) -> None:
    """Make an old store on a server: the steps up to that one, and the rows of a file, each in its old shape."""
    here, there = create_engine(sqlite_url(file)), create_engine(address)
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    with here.connect() as source, there.begin() as target:
        config.attributes["connection"] = target
        command.upgrade(config, step)
        shape = MetaData()
        shape.reflect(target)
        for table in shape.sorted_tables:
            if table.name == "alembic_version":
                continue
            typed = METADATA.tables[table.name]  # moments, days and JSON are written alike in both shapes
            columns = [typed.c[column.name] for column in table.columns]
            rows = [dict(zip(table.columns.keys(), row, strict=True)) for row in source.execute(select(*columns))]
            if rows:
                target.execute(typed.insert(), rows)
            if "number" in table.c and rows and table.name != "signing":
                numbers = f"pg_get_serial_sequence('{table.name}', 'number')"
                target.execute(text(f"SELECT setval({numbers}, {max(row['number'] for row in rows)})"))
    here.dispose()
    there.dispose()


@pytest.fixture(params=KINDS)
def old(request, files, templates, tmp_path) -> Iterator[Callable[[str], str]]:
    """Give a function that returns the address of an old store of its own, of either kind."""
    made = []

    def of(step: str) -> str:
        if request.param == "sqlite":
            shutil.copyfile(files[step], tmp_path / f"{step}.sqlite")
            return sqlite_url(tmp_path / f"{step}.sqlite")
        import psycopg

        server: str = request.getfixturevalue("postgresql_server")
        made.append(f"t{uuid4().hex}")
        with psycopg.connect(server.replace("+psycopg", ""), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {made[-1]} TEMPLATE {templates(step)}")
        return f"{server.rsplit('/', 1)[0]}/{made[-1]}"

    yield of
    if made:
        import psycopg

        with psycopg.connect(
            request.getfixturevalue("postgresql_server").replace("+psycopg", ""), autocommit=True
        ) as c:
            for name in made:
                c.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")


def content(address: str, columns: dict[str, list[str]] | None = None) -> tuple[str, dict[str, list[Any]], dict]:
    """Return the step of a store, the rows of every table, and the columns that were looked at.

    columns -- by table, which to look at; None: all that are there
    """
    engine = create_engine(address)
    try:
        with engine.connect() as connection:
            found = inspect(connection)
            step = connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one()
            looked = columns or {
                table: [column["name"] for column in found.get_columns(table)]
                for table in found.get_table_names()
                if table != "alembic_version"
            }
            rows = {
                table: sorted(
                    [tuple(map(str, row)) for row in connection.execute(
                        select(*(text(f'"{name}"') for name in names)).select_from(text(f'"{table}"'))
                    )]
                )
                for table, names in looked.items()
            }  # fmt: skip
        return step, rows, looked
    finally:
        engine.dispose()


@pytest.fixture
def opened() -> Iterator[Callable[[str], Store]]:
    stores: list[Store] = []

    def open_it(address: str) -> Store:
        stores.append(Store(address))
        return stores[-1]

    yield open_it
    for store in stores:
        store.close()


# ---- nothing is lost, and all of it is read ----


@pytest.mark.parametrize("step", STEPS)
def test_a_store_of_an_earlier_version_is_read_whole(old, opened, step):
    address = old(step)
    before = content(address)
    assert before[0] == step and len(before[1]["events"]) == 30
    store = opened(address)
    after = content(address, before[2])
    assert after[0] == HEAD
    assert after[1] == before[1]

    # The day, as the pages go through it. What is expected stands here by hand, from what was done to make the files.
    events = store.events(DAY, SITE)
    assert [each.uid for each in events][:2] == ["lake-0001-assembled", "lake-0002-assembled"]
    assert events[28].text == "Its gauge “sticks” at 60 bar; ñ, ø, 潜\nlook at it tonight"
    assert events[12].at == datetime(2026, 11, 29, 10, 5, tzinfo=UTC) and events[12].kind == "in"
    assert [each.value for each in standing(events).entries if each.kind == "depth"] == pytest.approx(
        [13.4, 13.5, 13.6, 13.7]
    )
    plans = store.plans(DAY, SITE)
    held = held_of(plans, events)
    assert [(dive.group, dive.number) for dive in held.dives] == [("Dippers", 1), ("Dippers", 2)]
    live = live_day(events, held.dives, (), EVENING, baseline())
    assert not live.in_water and set(live.ashore) >= {"Maren Dahl", "Nadia Petit", "Keiko Arai", "Hana Novak"}
    assert (DAY, SITE) in store.days_of("keiko  arai")

    # The request that was edited, with its versions.
    kept = store.request(NAME)
    assert kept is not None and kept.request["crew"]["beach_phone"] == "+44 7700 900125"
    request, faults = judged(kept.request)
    assert request is not None and not faults and request.title == "The lake, one hour later"
    versions = store.request_versions(NAME)
    assert [each.version for each in versions] == ([1, 2, 3] if step == "0003" else [2])
    assert versions[-1].request == kept.request
    done = store.save_request(NAME, {**kept.request, "title": "Once more"}, kept.version, "Ann", EVENING)
    assert done == kept.version + 1 == store.request_versions(NAME)[-1].version

    # What later steps added is there, and what only grew before still does.
    assert newest_results(store) == {}
    assert len(signing_secret(store)) == 64
    ticked = [(each.tick.person, each.tick.result) for each in ticks(store)]
    assert ticked == ([("Ruben Costa", "done"), ("Ruben Costa", "again")] if step == "0003" else [])
    engine = create_engine(address)
    for table in ("events", "plans"):
        with pytest.raises(DBAPIError, match="only grow"), engine.begin() as connection:
            connection.execute(text(f"DELETE FROM {table}"))
    engine.dispose()
    last = events[-1]
    assert store.add([last], EVENING).known == (last.uid,)


@pytest.mark.parametrize("step", STEPS[1:])
def test_accounts_of_an_earlier_version_sign_in_and_a_locked_one_does_not(old, opened, step):
    store = opened(old(step))
    accounts = Accounts(store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    limits = Limits.of(baseline())
    how: dict[str, Any] = {"address": "127.0.0.1", "limits": limits}
    token, account = accounts.sign_in("maren dahl", PASSWORD, now=EVENING, **how)
    assert account.role == "leader" and accounts.who(token, EVENING, limits) == account
    with pytest.raises(WrongSignIn):
        accounts.sign_in("Clara Voss", "two blue mugs in the sink", now=EVENING, **how)
    assert {each.name: each.locked for each in accounts.listing()} == {
        "Clara Voss": True, "Greta Holm": False, "Maren Dahl": False,
    }  # fmt: skip
    told = [line.what for line in trail(store, 50)]
    assert told.count("account added") == 3 and told[0] == "sign-in failed"
    stale = datetime(2026, 11, 29, 10, 45, tzinfo=UTC) + timedelta(days=30)
    assert accounts.who(token, stale, limits) is None


# ---- a copy of before ----


def test_a_file_is_copied_before_its_shape_changes_and_that_is_told(files, tmp_path, opened, caplog):
    path = tmp_path / "store.sqlite"
    shutil.copyfile(files["0001"], path)
    before = content(sqlite_url(path))
    with caplog.at_level(logging.WARNING, "tripplan.store"):
        opened(sqlite_url(path)).close()
    copy = tmp_path / f"store.sqlite.before-{HEAD}"
    assert f"goes from step 0001 to {HEAD}" in caplog.text and str(copy) in caplog.text
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    assert content(sqlite_url(copy)) == before
    opened(sqlite_url(path)).close()  # it is today's already: no second copy
    assert [each.name for each in tmp_path.glob("*.before-*") if each.suffix not in (".sqlite-wal", ".sqlite-shm")] == [
        copy.name
    ]
    restore(copy, path)
    assert content(sqlite_url(path)) == before


# ---- newer, at once, killed ----


def test_a_store_of_a_newer_version_is_refused_in_words_and_left_alone(old, opened):
    address = old("0003")
    opened(address).close()
    engine = create_engine(address)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    engine.dispose()
    before = content(address)
    with pytest.raises(StoreFault, match=r"written by a newer version of this program \(step 9999") as caught:
        opened(address)
    assert "install the newer version" in str(caught.value)
    assert content(address) == before


def in_another_process(work: Callable[[], None]) -> int:
    """Do something in a process of its own; returns its number. It ends with 0 where all went well."""
    number = os.fork()
    if number == 0:
        ended = 1
        try:
            logging.disable()
            work()
            ended = 0
        finally:
            os._exit(ended)
    return number


def test_of_several_processes_that_start_at_once_one_takes_the_steps(old, tmp_path):
    address = old("0001")
    before = content(address)
    begun = [in_another_process(lambda: Store(address).close()) for _ in range(4)]
    assert [os.waitstatus_to_exitcode(os.waitpid(number, 0)[1]) for number in begun] == [0] * 4
    after = content(address, before[2])
    assert after[0] == HEAD and after[1] == before[1]
    if address.startswith("sqlite"):
        assert len([each for each in tmp_path.glob("*.before-*") if not each.name.endswith(("-wal", "-shm"))]) == 1


@pytest.mark.parametrize("call", [2, 8])  # in the second step and in the last
def test_killed_in_the_middle_of_the_steps_it_is_as_before_and_the_next_start_takes_them(
    old, opened, monkeypatch, call
):
    address = old("0001")
    before = content(address)
    making, made = op.create_index, []

    def killed(*words: Any, **more: Any) -> Any:
        made.append(words)
        if len(made) == call:
            os.kill(os.getpid(), signal.SIGKILL)
        return making(*words, **more)

    monkeypatch.setattr(op, "create_index", killed)
    number = in_another_process(lambda: Store(address).close())
    assert os.waitstatus_to_exitcode(os.waitpid(number, 0)[1]) == -signal.SIGKILL
    assert content(address) == before
    monkeypatch.undo()
    store = opened(address)
    assert len(store.events(DAY, SITE)) == 30
    after = content(address, before[2])
    assert after[0] == HEAD and after[1] == before[1]
