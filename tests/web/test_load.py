"""Some phones on one day, against the program as users start it: the same that ``python -m tests.bench.load`` does."""

from __future__ import annotations

import os

import pytest

from tests.bench.load import KINDS, drive, table
from tests.bench.served import served

pytestmark = pytest.mark.sqlite_file("a server in a process of its own, which opens the file itself")
SECONDS = float(os.environ.get("TRIPPLAN_LOAD_SECONDS", "6"))
PEOPLE = 8


def test_nothing_is_lost_doubled_or_misread_while_many_write_and_connections_break(tmp_path, monkeypatch):
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    with served(tmp_path) as server:
        outcome = drive(server, PEOPLE, SECONDS, pace_s=0.6, poll_s=1.0)
    print(table(outcome))
    log = outcome.log
    assert log.wrong == []
    assert log.dropped > 0 and log.doubled > 0  # the test did what it is about
    assert outcome.kept == sum(len(phone.written) for phone in outcome.phones) > 20
    assert {kind for kind in KINDS if log.times_s[kind]} >= {"healthz", "page", "board", "entries"}
    assert log.times_s["board, nothing new"]  # what a phone shows already is not sent to it again
