"""Accounts on both kinds of database: who may sign in, for how long, how often it may be tried, and what is told."""

from __future__ import annotations

import re
import threading
from datetime import UTC, datetime, timedelta

import pytest
from argon2 import PasswordHasher
from sqlalchemy import create_engine, select, text
from sqlalchemy.exc import DBAPIError

from tripplan.data_files import data_dir
from tripplan.rulebook import baseline
from tripplan.store.accounts import (
    AccountRefused,
    Accounts,
    Limits,
    TooManyTries,
    WrongSignIn,
    key_of,
    network_of,
    password_fault,
)
from tripplan.store.tables import METADATA
from tripplan.web.app import create_app

NOW = datetime(2027, 6, 12, 9, 30, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
GOOD = "seven wet gulls on a wall"
OTHER = "nine dry boots by the door"
FROM = "192.0.2.7"  # RFC 5737: an address for examples
LIMITS = Limits(
    password_letters=15,
    name_failures=3,
    address_failures=6,
    within=timedelta(minutes=15),
    idle=timedelta(hours=4),
    longest=timedelta(hours=14),
)


class Counting(PasswordHasher):
    """A hasher that costs nothing and counts how often a password was held against a hash."""

    def __init__(self) -> None:
        super().__init__(time_cost=1, memory_cost=8, parallelism=1)
        self.verified = 0

    def verify(self, *given, **named):
        self.verified += 1
        return super().verify(*given, **named)


@pytest.fixture
def hasher():
    return Counting()


@pytest.fixture
def accounts(store, hasher):
    made = Accounts(store, hasher)
    made.add("Greta Holm", "centre", GOOD, by="the test", now=NOW, limits=LIMITS)
    return made


def enter(accounts, name="Greta Holm", password=GOOD, *, now=NOW, address=FROM, limits=LIMITS):
    return accounts.sign_in(name, password, address=address, now=now, limits=limits)


def fail(accounts, name="Greta Holm", **more):
    with pytest.raises(WrongSignIn):
        enter(accounts, name, "not the right words", **more)


def whats(accounts):
    return [row.what for row in accounts.trail(100)]


# ---- who may sign in ----


def test_whoever_knows_the_password_gets_a_session_that_another_server_knows_too(accounts, opened):
    token, account = enter(accounts)
    assert (account.name, account.role) == ("Greta Holm", "centre")
    assert Accounts(opened()).who(token, NOW + MINUTE, LIMITS) == account
    assert accounts.who(token + "x", NOW, LIMITS) is None is accounts.who("", NOW, LIMITS)


@pytest.mark.parametrize("name", ["greta holm", " GRETA  HOLM ", "Ｇreta Holm"])
def test_capitals_spaces_and_wide_letters_do_not_make_another_name(accounts, name):
    assert enter(accounts, name)[1].name == "Greta Holm"
    with pytest.raises(AccountRefused, match="already"):
        accounts.add(name, "leader", OTHER, by="", now=NOW, limits=LIMITS)


def test_a_password_is_the_same_from_a_keyboard_that_writes_accents_in_two_parts(accounts):
    accounts.add("Zoë", "leader", "les moulières à marée basse", by="", now=NOW, limits=LIMITS)
    enter(accounts, "Zoe\u0308", "les moulie\u0300res a\u0300 mare\u0301e\u00a0basse")


@pytest.mark.parametrize("name", ["Nobody", "", "x\x00y", "\ud800", "' OR 1=1 --", "a" * 50_000])
def test_an_unknown_name_is_refused_like_a_wrong_password(accounts, name):
    with pytest.raises(WrongSignIn) as unknown:
        enter(accounts, name)
    with pytest.raises(WrongSignIn) as wrong:
        enter(accounts, "Greta Holm", "not the right words")
    assert str(unknown.value) == str(wrong.value)


def test_unknown_wrong_and_locked_cost_one_look_at_a_hash_each_so_that_time_tells_nothing(accounts, hasher):
    accounts.add("Ben", "leader", OTHER, by="", now=NOW, limits=LIMITS)
    accounts.lock("Ben", by="", now=NOW)
    for name, password in (("Nobody", GOOD), ("Greta Holm", "not the right words"), ("Ben", OTHER)):
        before = hasher.verified
        with pytest.raises(WrongSignIn):
            enter(accounts, name, password)
        assert hasher.verified == before + 1


def test_the_hash_is_argon2id_with_the_second_choice_of_its_standard(store):
    """RFC 9106, section 4: where 2 GiB are too much, t=3 passes, p=4 lanes, m=2^16 KiB, a salt of 128 bits."""
    Accounts(store).add("Greta Holm", "centre", GOOD, by="", now=NOW, limits=LIMITS)
    with store._reading() as connection:
        (kept,) = connection.execute(select(METADATA.tables["accounts"].c.hash)).one()
    assert re.fullmatch(r"\$argon2id\$v=19\$m=65536,t=3,p=4\$[A-Za-z0-9+/]{22}\$[A-Za-z0-9+/]{43}", kept)


def test_a_hash_that_was_made_cheaper_is_made_anew_at_the_next_sign_in(accounts, store):
    dearer = Accounts(store, PasswordHasher(time_cost=2, memory_cost=64, parallelism=1))
    enter(dearer)
    with store._reading() as connection:
        (kept,) = connection.execute(select(METADATA.tables["accounts"].c.hash)).one()
    assert "m=64,t=2,p=1" in kept
    enter(dearer)


# ---- passwords ----


@pytest.mark.parametrize(
    ("password", "said"),
    [
        ("", "has 0 letters"),
        ("seven wet gull", "has 14 letters; it must have at least 15"),
        ("x" * 201, "at most 200"),
        ("passwordpassword", "tried first"),
        ("Password 123456789", "tried first"),
        ("LetMeIn-LetMeIn-2027", "tried first"),
        ("scuba diver 2027!!", "tried first"),
        ("correct horse battery staple", "tried first"),
        ("greta holm greta holm", "of the name"),
        ("Greta-Holm-1984-password", "of the name"),
        ("123456789012345678", "tried first"),
        ("abcdefghijklmnop", "a row of"),
        ("aaaaabbbbbaaaaabbbbb", "a few letters"),
        ("seven wet gulls\x07 on a wall", "no letter, digit, sign or space"),
    ],
)
def test_a_password_that_is_short_or_guessed_first_is_refused_without_being_said(password, said):
    found = password_fault(password, "Greta Holm", LIMITS)
    assert said in found
    assert not password or password not in found


@pytest.mark.parametrize("password", [GOOD, OTHER, "kelp! 9 lantern Quay", "прилив в полдень", "z8#Kq0!vB2w^Lm5"])
def test_a_password_of_plain_words_in_any_script_is_taken(password):
    assert password_fault(password, "Greta Holm", LIMITS) == ""


def test_a_password_as_long_as_one_may_be_is_judged_at_once():
    """A list of words tried against each other must not take time that grows with every letter."""
    assert password_fault("abcabcd" * 28, "Greta Holm", LIMITS)
    assert password_fault("abcabcd" * 28 + "é", "Greta Holm", LIMITS) == ""


def test_the_rules_of_the_baseline_are_those_of_a_day_at_work():
    limits = Limits.of(baseline())
    assert limits.password_letters == 15 and limits.name_failures < limits.address_failures
    assert timedelta(0) < limits.within <= timedelta(hours=1) and limits.idle < limits.longest < timedelta(days=1)


# ---- sessions ----


def test_a_session_ends_after_hours_without_a_page_and_after_a_day_in_any_case(accounts):
    token, _ = enter(accounts)
    assert accounts.who(token, NOW + LIMITS.idle - timedelta(seconds=1), LIMITS)
    assert accounts.who(token, NOW + 2 * LIMITS.idle - timedelta(seconds=2), LIMITS)  # the page before counts
    idle, _ = enter(accounts)
    assert accounts.who(idle, NOW + LIMITS.idle, LIMITS) is None
    moment = NOW
    while moment < NOW + LIMITS.longest - timedelta(hours=1):
        moment += timedelta(hours=1)
        assert accounts.who(token, moment, LIMITS)
    assert accounts.who(token, NOW + LIMITS.longest, LIMITS) is None


def test_signing_out_ends_that_session_on_every_server_and_no_other(accounts, opened):
    first, _ = enter(accounts)
    second, _ = enter(accounts)
    other = Accounts(opened())
    other.sign_out(first, NOW)
    other.sign_out(first, NOW)
    assert accounts.who(first, NOW, LIMITS) is None
    assert accounts.who(second, NOW, LIMITS) is not None
    assert whats(accounts).count("signed out") == 1


def test_a_new_password_ends_every_session_and_the_old_one_opens_none(accounts, opened):
    token, _ = enter(accounts)
    Accounts(opened()).set_password("greta holm", OTHER, by="", now=NOW + MINUTE, limits=LIMITS)
    assert accounts.who(token, NOW + MINUTE, LIMITS) is None
    with pytest.raises(WrongSignIn):
        enter(accounts, now=NOW + MINUTE)
    enter(accounts, password=OTHER, now=NOW + MINUTE)


def test_a_session_row_from_before_the_new_password_is_over_even_if_it_was_never_taken_out(accounts, store):
    token, _ = enter(accounts)
    with store._reading() as connection:
        (row,) = connection.execute(select(METADATA.tables["sessions"])).all()
    accounts.set_password("Greta Holm", OTHER, by="", now=NOW + MINUTE, limits=LIMITS)
    with store._writing() as connection:
        connection.execute(METADATA.tables["sessions"].insert().values(**row._mapping))
    assert accounts.who(token, NOW + 2 * MINUTE, LIMITS) is None


def test_one_who_changes_the_own_password_stays_signed_in_here_and_nowhere_else(accounts):
    here, _ = enter(accounts)
    elsewhere, _ = enter(accounts)
    with pytest.raises(WrongSignIn):
        accounts.change_own("Greta Holm", "not the right words", OTHER, address=FROM, now=NOW, limits=LIMITS)
    with pytest.raises(AccountRefused, match="at least 15"):
        accounts.change_own("Greta Holm", GOOD, "short", address=FROM, now=NOW, limits=LIMITS)
    assert accounts.who(elsewhere, NOW, LIMITS)
    fresh, _ = accounts.change_own("Greta Holm", GOOD, OTHER, address=FROM, now=NOW + MINUTE, limits=LIMITS)
    assert accounts.who(fresh, NOW + MINUTE, LIMITS)
    assert accounts.who(here, NOW + MINUTE, LIMITS) is None is accounts.who(elsewhere, NOW + MINUTE, LIMITS)


def test_the_old_password_cannot_be_guessed_where_it_is_changed(accounts):
    for _ in range(LIMITS.name_failures):
        with pytest.raises(WrongSignIn):
            accounts.change_own("Greta Holm", "a guess", OTHER, address=FROM, now=NOW, limits=LIMITS)
    with pytest.raises(TooManyTries):
        accounts.change_own("Greta Holm", GOOD, OTHER, address=FROM, now=NOW, limits=LIMITS)


def test_locking_ends_the_sessions_and_unlocking_does_not_bring_them_back(accounts):
    accounts.add("Ben", "leader", OTHER, by="", now=NOW, limits=LIMITS)
    token, _ = enter(accounts, "Ben", OTHER)
    accounts.lock("Ben", by="Greta Holm", now=NOW + MINUTE)
    assert accounts.who(token, NOW + MINUTE, LIMITS) is None
    with pytest.raises(WrongSignIn):
        enter(accounts, "Ben", OTHER, now=NOW + MINUTE)
    accounts.unlock("Ben", by="Greta Holm", now=NOW + 2 * MINUTE)
    assert accounts.who(token, NOW + 2 * MINUTE, LIMITS) is None
    assert enter(accounts, "Ben", OTHER, now=NOW + 2 * MINUTE)


def test_another_role_holds_from_the_next_page_on(accounts):
    accounts.add("Ben", "leader", OTHER, by="", now=NOW, limits=LIMITS)
    token, _ = enter(accounts, "Ben", OTHER)
    accounts.set_role("Ben", "assistant", by="Greta Holm", now=NOW)
    found = accounts.who(token, NOW, LIMITS)
    assert found is not None and found.role == "assistant"


def test_somebody_who_can_manage_the_accounts_always_remains_unless_the_machine_itself_says_otherwise(accounts):
    for change in (
        lambda: accounts.lock("Greta Holm", by="", now=NOW),
        lambda: accounts.set_role("Greta Holm", "leader", by="", now=NOW),
    ):
        with pytest.raises(AccountRefused, match="only account that may manage"):
            change()
    assert accounts.can_be_managed()
    accounts.lock("Greta Holm", by="", now=NOW, keep_one=False)
    assert not accounts.can_be_managed()


def test_two_who_lock_each_other_at_once_leave_one_who_can_manage(accounts, opened):
    accounts.add("Ben", "centre", OTHER, by="", now=NOW, limits=LIMITS)
    both = [Accounts(opened(), Counting()) for _ in range(2)]
    refused: list[str] = []

    def lock(number: int, name: str) -> None:
        try:
            both[number].lock(name, by="", now=NOW)
        except AccountRefused as error:
            refused.append(str(error))

    threads = [threading.Thread(target=lock, args=each) for each in enumerate(("Ben", "Greta Holm"))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(refused) == 1 and accounts.can_be_managed()


@pytest.mark.parametrize(
    "change",
    [
        lambda accounts: accounts.lock("Nobody", by="", now=NOW),
        lambda accounts: accounts.unlock("Nobody", by="", now=NOW),
        lambda accounts: accounts.set_role("Nobody", "leader", by="", now=NOW),
        lambda accounts: accounts.set_role("Greta Holm", "owner", by="", now=NOW),
        lambda accounts: accounts.set_password("Nobody", OTHER, by="", now=NOW, limits=LIMITS),
        lambda accounts: accounts.add("Ben", "owner", OTHER, by="", now=NOW, limits=LIMITS),
        lambda accounts: accounts.add("", "leader", OTHER, by="", now=NOW, limits=LIMITS),
        lambda accounts: accounts.add("B\x00n", "leader", OTHER, by="", now=NOW, limits=LIMITS),
        lambda accounts: accounts.add("B" * 61, "leader", OTHER, by="", now=NOW, limits=LIMITS),
        lambda accounts: accounts.add("\ufdfa" * 60, "leader", OTHER, by="", now=NOW, limits=LIMITS),
        lambda accounts: accounts.add("Ben", "leader", "short", by="", now=NOW, limits=LIMITS),
    ],
)
def test_what_cannot_be_is_refused_and_changes_and_tells_nothing(accounts, change):
    before = (accounts.listing(), accounts.trail(100))
    with pytest.raises(AccountRefused):
        change(accounts)
    assert (accounts.listing(), accounts.trail(100)) == before


# ---- how often it may be tried ----


def test_too_many_failures_of_a_name_hold_it_up_on_every_server_until_the_first_is_long_enough_ago(accounts, opened):
    other = Accounts(opened(), Counting())
    for number in range(LIMITS.name_failures):
        fail((accounts, other)[number % 2], now=NOW + number * MINUTE, address=f"192.0.2.{number}")
    for each in (accounts, other):
        with pytest.raises(TooManyTries, match="12 minutes") as caught:
            enter(each, now=NOW + 3 * MINUTE)  # the right password too; the first failure was 3 minutes ago
        assert caught.value.wait_s == 12 * 60
    enter(accounts, now=NOW + 15 * MINUTE)
    assert whats(accounts).count("sign-in held up") == 1


def test_a_name_that_nobody_has_is_held_up_just_the_same(accounts):
    for _ in range(LIMITS.name_failures):
        fail(accounts, "Nobody")
    with pytest.raises(TooManyTries):
        enter(accounts, "nobody")


def test_while_a_name_is_held_up_no_password_is_looked_at_and_the_wait_does_not_grow(accounts, hasher):
    for _ in range(LIMITS.name_failures):
        fail(accounts)
    before, told = hasher.verified, whats(accounts)
    for minute in range(14):
        with pytest.raises(TooManyTries):
            enter(accounts, now=NOW + minute * MINUTE)
    assert hasher.verified == before and whats(accounts) == told
    enter(accounts, now=NOW + 15 * MINUTE)


def test_too_many_failures_from_an_address_hold_up_every_name_from_there_and_from_nowhere_else(accounts):
    for number in range(LIMITS.address_failures):
        fail(accounts, f"Guess {number}")
    with pytest.raises(TooManyTries):
        enter(accounts)
    enter(accounts, address="198.51.100.4")


def test_a_success_clears_the_name_but_never_the_address(accounts):
    """Else somebody with an account of his own could guess at the others' without an end."""
    accounts.add("Ben", "assistant", OTHER, by="", now=NOW, limits=LIMITS)
    for _ in range(LIMITS.name_failures - 1):
        fail(accounts, "Ben")
    enter(accounts, "Ben", OTHER)
    for _ in range(LIMITS.name_failures - 1):
        fail(accounts, "Ben")
    enter(accounts, "Ben", OTHER)
    for number in range(LIMITS.address_failures - 2 * (LIMITS.name_failures - 1)):
        fail(accounts, f"Guess {number}")
    with pytest.raises(TooManyTries):
        enter(accounts, "Ben", OTHER)


def test_a_new_password_set_at_the_centre_lets_a_held_up_name_in_at_once(accounts):
    for _ in range(LIMITS.name_failures):
        fail(accounts)
    accounts.set_password("Greta Holm", OTHER, by="", now=NOW, limits=LIMITS)
    enter(accounts, password=OTHER)


def test_many_tries_at_the_same_moment_are_not_more_tries_than_one_after_the_other(accounts, opened):
    servers = [Accounts(opened(), Counting()) for _ in range(4)]
    outcomes: list[type[BaseException]] = []

    def guess(server: Accounts) -> None:
        for _ in range(4):
            try:
                enter(server, password="not the right words")
            except (WrongSignIn, TooManyTries) as error:
                outcomes.append(type(error))

    threads = [threading.Thread(target=guess, args=(server,)) for server in servers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(outcomes) == 16
    assert outcomes.count(WrongSignIn) == LIMITS.name_failures


@pytest.mark.parametrize(
    ("address", "counts_as"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),  # RFC 3849: a network for examples
        ("2001:db8:1:2::9", "2001:db8:1:2::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        ("", "unknown"),
        ("a socket", "unknown"),
    ],
)
def test_the_addresses_that_one_house_can_choose_from_count_as_one(address, counts_as):
    assert network_of(address) == counts_as


# ---- what is told, and what is never kept ----


def test_the_trail_tells_who_did_what_about_whom(accounts):
    accounts.add("Ben", "leader", OTHER, by="Greta Holm", now=NOW, limits=LIMITS)
    enter(accounts, "Ben", OTHER)
    fail(accounts, "Ben")
    accounts.set_role("Ben", "assistant", by="Greta Holm", now=NOW)
    accounts.set_password("Ben", GOOD, by="Greta Holm", now=NOW, limits=LIMITS)
    accounts.lock("Ben", by="Greta Holm", now=NOW)
    accounts.lock("Ben", by="Greta Holm", now=NOW)
    accounts.unlock("Ben", by="Greta Holm", now=NOW)
    accounts.tell(NOW, "Greta Holm", "sheet printed", "cove, revision 0123abcd")
    assert [(row.who, row.what, row.about) for row in reversed(accounts.trail(100))] == [
        ("the test", "account added", "Greta Holm, centre"),
        ("Greta Holm", "account added", "Ben, leader"),
        ("Ben", "signed in", "from 192.0.2.7"),
        ("", "sign-in failed", "Ben, from 192.0.2.7"),
        ("Greta Holm", "role changed", "Ben, from leader to assistant"),
        ("Greta Holm", "password changed", "Ben"),
        ("Greta Holm", "account locked", "Ben"),
        ("Greta Holm", "account unlocked", "Ben"),
        ("Greta Holm", "sheet printed", "cove, revision 0123abcd"),
    ]
    assert all(row.at == NOW for row in accounts.trail(100))
    assert [row.what for row in accounts.trail(2)] == ["sheet printed", "account unlocked"]


@pytest.mark.parametrize("sql", ["UPDATE audit SET who = 'Cy'", "DELETE FROM audit"])
def test_the_trail_cannot_be_changed_or_taken_out(accounts, address, sql):
    engine = create_engine(address)
    with pytest.raises(DBAPIError, match="only grow"), engine.begin() as connection:
        connection.execute(text(sql))
    engine.dispose()
    assert len(accounts.trail(100)) == 1


def test_nothing_that_opens_a_door_lies_in_the_store(accounts, store):
    """Not a password, not one typed where the name belongs, and not a token."""
    token, _ = enter(accounts)
    fail(accounts, "hunters of 40 red crabs")
    fail(accounts)
    with store._reading() as connection:
        kept = [str(row) for table in METADATA.tables.values() for row in connection.execute(select(table))]
    assert len(kept) > 5
    for secret in (token, GOOD, "hunters of 40 red crabs", key_of("hunters of 40 red crabs"), "not the right words"):
        assert not [row for row in kept if secret in row]


# ---- two servers on one store ----


def test_two_servers_on_one_store_agree_on_sessions_and_on_forms(accounts, opened, tmp_path):
    """A form of the one is good at the other, and whoever signs out at one is out at both."""
    clients = []
    for number in range(2):
        held = Accounts(opened(), Counting())
        app = create_app(data_dir("sites"), clock=lambda: NOW, keep_young=True, records=tmp_path, accounts=held)
        clients.append(app.test_client(use_cookies=False))
        assert number or app.secret_key
    cookies: dict[str, str] = {}

    def ask(server: int, address: str, **form: str):
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in cookies.items())}
        client = clients[server]
        answer = client.post(address, data=form, headers=headers) if form else client.get(address, headers=headers)
        for line in answer.headers.getlist("Set-Cookie"):
            name, value = line.split(";")[0].split("=", 1)
            cookies[name] = value
        return answer

    def token_in(answer) -> str:
        return re.search(r'name="csrf_token" value="([^"]+)"', answer.get_data(as_text=True))[1]

    form = token_in(ask(0, "/sign-in"))
    assert ask(1, "/sign-in", csrf_token=form, name="Greta Holm", password=GOOD).status_code == 303
    before = dict(cookies)
    first = ask(0, "/accounts")
    assert first.status_code == 200
    assert ask(1, "/sign-out", csrf_token=token_in(first)).status_code == 303
    cookies = before
    for server in range(2):
        assert ask(server, "/accounts").headers["Location"].startswith("/sign-in")
