"""A store that somebody else holds for longer than a writer waits: told, nothing lost, and taken once it is let go."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path

import pytest

from tests.faults.conftest import PAGE, Phone, entry
from tripplan.store import database


@contextmanager
def held(url: str) -> Iterator[None]:
    """Hold the right to write, as another program does that is in the middle of something long."""
    if url.startswith("sqlite:///"):
        with closing(sqlite3.connect(url.removeprefix("sqlite:///"), isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            yield
            other.execute("ROLLBACK")
        return
    import psycopg

    with psycopg.connect(url.replace("+psycopg", "")) as other:
        other.execute("LOCK TABLE events IN EXCLUSIVE MODE")
        yield
        other.rollback()


@pytest.fixture
def phone(tmp_path: Path, apps: Callable[..., object], monkeypatch: pytest.MonkeyPatch) -> Phone:
    monkeypatch.setattr(database, "BUSY_MS", 200)
    return Phone(apps(tmp_path))


def holding(phone: Phone) -> AbstractContextManager[None]:
    return held(phone.client.application.extensions["tripplan_store"].url)


def test_who_writes_while_another_holds_the_store_is_told_and_sends_it_again(phone):
    assert phone.send(entry("before-1")).status_code == 200
    with holding(phone):
        answer = phone.send(entry("while-01"))
        assert answer.status_code == 503 and "nothing of it was kept" in answer.json["error"]
        form = phone.form(kind="incident", text="Came up fast and holds the arm")
        assert form.status_code == 503 and "Came up fast and holds the arm" in form.text
        assert phone.client.get(PAGE).status_code == 200 and phone.count() == 1  # who only reads does not wait
    assert phone.send(entry("while-01")).json["new"] == ["while-01"]
    assert phone.send(entry("while-01")).json["known"] == ["while-01"]
    assert phone.count() == 2


def test_a_store_that_is_held_while_the_day_begins_is_told_and_the_plan_is_kept_once(phone):
    phone.token()
    with holding(phone):
        assert phone.send(entry("first-01")).status_code == 503
    assert phone.send(entry("first-01")).json["new"] == ["first-01"]
    assert "since" in phone.client.get(PAGE).text and phone.count() == 1
