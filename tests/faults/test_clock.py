"""A clock that is set back or ahead during a day on the beach: nobody is overdue later for it, and it is said."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher

from tests.faults.conftest import DAY, PAGE, Clock, Phone, going_in
from tripplan.rulebook import baseline
from tripplan.store.accounts import CENTRE, Accounts, Limits, TooManyTries, WrongSignIn
from tripplan.store.database import Store, sqlite_url
from tripplan.web.steady import BELIEVED_AFTER, Steady

pytestmark = pytest.mark.sqlite_file("about clocks: it hangs on no kind of store")


class Computer:
    """A computer whose clock somebody sets: time passes all the same."""

    def __init__(self) -> None:
        self.passed_s = 1000.0
        self.off = timedelta(0)
        self.began = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)

    def clock(self) -> datetime:
        return self.began + timedelta(seconds=self.passed_s - 1000) + self.off

    def passes(self, **span: float) -> None:
        self.passed_s += timedelta(**span).total_seconds()


@pytest.fixture
def computer() -> Computer:
    return Computer()


@pytest.fixture
def app(tmp_path: Path, apps: Callable[..., Any], computer: Computer) -> Any:
    made = apps(tmp_path, clock=computer.clock)
    made.extensions["tripplan_steady"] = Steady(computer.clock, lambda: computer.passed_s)
    return made


def page(phone: Phone) -> str:
    return unescape(phone.client.get(PAGE).text)


def out_by(phone: Phone) -> datetime:
    """Return when the first dive of the Terns is overdue, by the page."""
    return datetime.fromisoformat(re.search(r'data-out-by="([^"]+)" data-group="Terns" data-dive="1"', page(phone))[1])


def test_a_clock_set_back_an_hour_makes_nobody_overdue_later(app, computer):
    phone = Phone(app)
    assert phone.send(going_in("in-000001")).status_code == 200
    limit = out_by(phone)
    assert "OVERDUE since" not in page(phone) and "THE CLOCK" not in page(phone)
    computer.passes(seconds=(limit - computer.clock()).total_seconds() - 60)
    computer.off = timedelta(hours=-1)
    assert "OVERDUE since" not in page(phone) and "THE CLOCK OF THIS COMPUTER WAS SET BACK by 1 h 0 min" in page(phone)
    computer.passes(minutes=3)  # by the clock, there would be 58 minutes left
    assert computer.clock() < limit and "OVERDUE since" in page(phone)
    assert page(phone).index("THE CLOCK") < page(phone).index("OVERDUE: ")
    # Who comes out is out: their entry stands after the one of going in, and at its own time.
    at = (computer.clock() + timedelta(hours=1)).isoformat()
    assert phone.send({**going_in("out-00001"), "kind": "out", "at": at}).json["new"] == ["out-00001"]
    kept = app.extensions["tripplan_store"].events(datetime.fromisoformat(DAY).date())
    assert [one.kind for one in kept] == ["in", "out"] and kept[1].at == datetime.fromisoformat(at)
    assert "OVERDUE since" not in page(phone)
    computer.off = timedelta(0)
    assert "THE CLOCK" not in page(phone)


def test_a_clock_that_goes_ahead_a_day_is_told_and_entries_are_kept_in_their_order(app, computer):
    phone = Phone(app)
    phone.send(going_in("in-000001"))
    computer.passes(minutes=5)
    computer.off = timedelta(days=1)
    assert "THE CLOCK OF THIS COMPUTER WENT AHEAD by 24 h 0 min" in page(phone) and "OVERDUE since" in page(phone)
    at = (computer.clock() - timedelta(days=1)).isoformat()  # the clock of the phone is right
    answer = phone.send({**going_in("out-00001"), "kind": "out", "at": at})
    assert answer.json["new"] == ["out-00001"] and not answer.json["refused"]
    computer.off = timedelta(0)
    shown = page(phone)
    assert "THE CLOCK" not in shown and "OVERDUE since" not in shown
    kept = app.extensions["tripplan_store"].events(datetime.fromisoformat(DAY).date())
    assert [one.at for one in kept] == sorted(one.at for one in kept)


def test_a_clock_that_stays_ahead_is_believed_after_a_while_and_may_come_back(computer):
    steady = Steady(computer.clock, lambda: computer.passed_s)
    computer.passes(minutes=5)
    computer.off = timedelta(hours=5)  # the computer slept
    assert not steady.look().trusted and steady.look().moment == computer.clock()
    computer.passes(seconds=BELIEVED_AFTER.total_seconds())
    assert steady.look().trusted
    computer.off = timedelta(hours=4)
    assert not steady.look().trusted and steady.look().moment == computer.clock() + timedelta(hours=1)
    computer.off = timedelta(0)  # as it was at the beginning
    assert steady.look().trusted


def test_a_clock_that_is_set_right_little_by_little_is_no_jump(computer):
    steady = Steady(computer.clock, lambda: computer.passed_s)
    for _ in range(100):
        computer.passes(minutes=10)
        computer.off -= timedelta(seconds=2)
        assert steady.look().trusted


def test_who_is_signed_in_stays_so_when_the_clock_goes_back_and_may_sign_in_again_after_a_day_ahead(tmp_path):
    store = Store(sqlite_url(tmp_path / "store.sqlite"))
    accounts = Accounts(store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    limits, now, words = Limits.of(baseline()), Clock.now, "wet rope in the shed 7"
    accounts.add("Ann Sol", CENTRE, words, by="tests", now=now, limits=limits)

    def sign_in(with_words: str, at: datetime) -> str:
        return accounts.sign_in("Ann Sol", with_words, address="127.0.0.1", now=at, limits=limits)[0]

    token = sign_in(words, now)
    assert accounts.who(token, now - timedelta(hours=1), limits) is not None
    ahead = now + timedelta(days=1)
    for _ in range(limits.name_failures):
        with pytest.raises(WrongSignIn):
            sign_in("not the words at all", ahead)
    with pytest.raises(TooManyTries):
        sign_in(words, ahead)
    token = sign_in(words, now + timedelta(minutes=1))  # what failed tomorrow keeps nobody out today
    assert accounts.who(token, now + timedelta(minutes=2), limits) is not None
    store.close()
