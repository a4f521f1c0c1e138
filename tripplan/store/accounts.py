"""Accounts, tries to sign in, sessions and the audit trail, in a store that several servers may share.

Of a password only its argon2id hash is kept, of a session's token and of a name that was tried only a SHA-256 hash.
"""

from __future__ import annotations

import re
import secrets
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from ipaddress import IPv6Address, ip_address, ip_network
from itertools import pairwise
from math import ceil
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, Row, func, select, text
from sqlalchemy.dialects import postgresql, sqlite

from tripplan.errors import TripplanError
from tripplan.rulebook import RuleBook
from tripplan.store.database import Store, StoreFault
from tripplan.store.tables import ACCOUNTS, ATTEMPTS, AUDIT, SESSIONS, SIGNING

if TYPE_CHECKING:
    from argon2 import PasswordHasher

LEADER: Final = "leader"
CENTRE: Final = "centre"
ASSISTANT: Final = "assistant"
ROLES: Final = (LEADER, CENTRE, ASSISTANT)

LONGEST_NAME = 60
LONGEST_PASSWORD = 200
FEWEST_DIFFERENT = 5  # different letters of a password
SEEN_EVERY = timedelta(minutes=1)  # a session is not written to the disk with every picture of a page
_ALONE = 72617  # the lock of a PostgreSQL store under which tries are counted and accounts change

# What guessers try first, and what a dive centre would think of; a password made of nothing else is refused.
COMMON = re.findall(
    r"\S+",
    "password passwort passw0rd p@ssw0rd contraseña motdepasse letmein welcome admin administrator root guest login "
    "secret changeme default master test user iloveyou monkey dragon sunshine princess football baseball superman "
    "batman shadow qwerty qwertz azerty qwertyuiop asdfghjkl zxcvbnm asdf zxcv abc abcd abcdef correct horse battery "
    "staple summer winter spring autumn hello please trustno let me in open sesame my the is dive diver divers diving "
    "scuba ocean sea beach shark centre center leader assistant tripplan",
)


class AccountRefused(TripplanError):
    """Something about an account cannot be done; the message is a sentence, and nothing was changed."""


class WrongSignIn(TripplanError):
    """Name and password do not fit, or the account is locked: which of them is not told."""

    def __init__(self) -> None:
        super().__init__("This name and password do not fit together, or the account is locked.")


class TooManyTries(TripplanError):
    """Too many tries failed for a name or from an address; ``wait_s`` seconds from now the next one is taken."""

    def __init__(self, wait_s: int) -> None:
        self.wait_s = wait_s
        minutes = -(-wait_s // 60)
        super().__init__(
            f"Too many tries to sign in have failed. The next one is taken in {minutes} "
            f"{'minute' if minutes == 1 else 'minutes'}; until then even the right password is refused."
        )


@dataclass(frozen=True)
class Limits:
    """What the rule book says about accounts."""

    password_letters: int
    name_failures: int
    address_failures: int
    within: timedelta
    idle: timedelta
    longest: timedelta

    @classmethod
    def of(cls, rules: RuleBook) -> Limits:
        """Return the limits of a rule book."""
        return cls(
            password_letters=int(rules.value("accounts.password_letters")),
            name_failures=int(rules.value("accounts.name_failures_tries")),
            address_failures=int(rules.value("accounts.address_failures_tries")),
            within=timedelta(minutes=rules.value("accounts.failures_min")),
            idle=timedelta(hours=rules.value("accounts.idle_h")),
            longest=timedelta(hours=rules.value("accounts.longest_h")),
        )


@dataclass(frozen=True)
class Account:
    """Somebody who may sign in; the hash of the password stays in the store."""

    key: str
    name: str
    role: str
    locked: bool
    created: datetime
    password_changed: datetime


@dataclass(frozen=True)
class AuditRow:
    """One line of the audit trail."""

    at: datetime
    who: str
    what: str
    about: str


@dataclass(frozen=True)
class _Try:
    number: int
    network: str
    last: bool  # if it fails, the next one has to wait


# ---- names, addresses, passwords ----


def key_of(name: str) -> str:
    """Return what tells two names apart: capitals, spaces and ways to write the same letter do not."""
    return unicodedata.normalize("NFKC", " ".join(name.split()).casefold())


def network_of(address: str) -> str:
    """Return what counts as one address: an IPv4 address, or the network of 64 bits that an IPv6 house is given."""
    try:
        found = ip_address(address.split("%")[0])
    except ValueError:
        return "unknown"
    if isinstance(found, IPv6Address):
        mapped = found.ipv4_mapped
        return str(mapped) if mapped else str(ip_network((found, 64), strict=False))
    return str(found)


def password_fault(password: str, name: str, limits: Limits) -> str:
    """Return why a password is not taken, as a sentence that does not hold it; empty where it is taken."""
    settled = _settled(password)
    if not settled.isprintable():
        return "The password holds something that is no letter, digit, sign or space."
    if len(settled) < limits.password_letters:
        return (
            f"The password has {len(settled)} letters; it must have at least {limits.password_letters}. Four or five "
            "plain words in a row are easy to keep."
        )
    if len(settled) > LONGEST_PASSWORD:
        return f"The password has {len(settled)} letters; it must have at most {LONGEST_PASSWORD}."
    plain = "".join(letter for letter in settled.casefold() if not letter.isspace())
    steps = [abs(ord(after) - ord(before)) for before, after in pairwise(plain)]
    if len(set(plain)) < FEWEST_DIFFERENT or all(step <= 1 for step in steps):
        return "The password is a row of a few letters or digits; that is tried first by those who guess."
    if _made_of(plain, (*COMMON, *key_of(name).split())):
        return "The password is made of the name or of words that are tried first by those who guess."
    return ""


def _made_of(plain: str, words: tuple[str, ...]) -> bool:
    """Return whether nothing but digits, signs and these words stands in a text."""
    reached = {0}
    for start in range(len(plain)):
        if start in reached:
            if not plain[start].isalpha():
                reached.add(start + 1)
            reached.update(start + len(word) for word in words if word and plain.startswith(word, start))
    return len(plain) in reached


def _settled(password: str) -> str:
    """Return a password the same from whichever keyboard it comes."""
    return unicodedata.normalize("NFC", "".join(" " if letter.isspace() else letter for letter in password))


def _bytes(password: str) -> bytes:
    return _settled(password).encode("utf-8", "replace")


def _hash(words: str) -> str:
    return sha256(words.encode("utf-8", "replace")).hexdigest()


def _good_name(name: str) -> str:
    """Return a name as it is kept.  Raises AccountRefused."""
    name = unicodedata.normalize("NFC", " ".join(name.split()))
    if not 1 <= len(name) <= LONGEST_NAME or not name.isprintable() or len(key_of(name)) > 2 * LONGEST_NAME:
        raise AccountRefused(f"The name must be 1 to {LONGEST_NAME} letters that can be printed; it has {len(name)}.")
    return name


class Accounts:
    """The accounts of one store. Times are given by the caller, aware; every change tells the audit trail."""

    def __init__(self, store: Store, hasher: PasswordHasher | None = None) -> None:
        """Use a store.

        hasher -- how passwords are hashed; None: argon2id as RFC 9106 recommends it for 64 MiB
        """
        if hasher is None:
            from argon2 import PasswordHasher

            hasher = PasswordHasher()
        self._store = store
        self._hasher = hasher
        self._nobody = ""

    # ---- accounts ----

    def listing(self) -> tuple[Account, ...]:
        """Return every account by name."""
        with self._store._reading() as connection:
            rows = connection.execute(select(ACCOUNTS).order_by(ACCOUNTS.c.key))
            return tuple(_account(row) for row in rows)

    def account(self, name: str) -> Account | None:
        """Return the account of a name; None where there is none."""
        with self._store._reading() as connection:
            row = _row(connection, key_of(name))
        return None if row is None else _account(row)

    def can_be_managed(self) -> bool:
        """Return whether somebody can sign in who may manage the accounts."""
        return any(each.role == CENTRE and not each.locked for each in self.listing())

    def add(self, name: str, role: str, password: str, *, by: str, now: datetime, limits: Limits) -> Account:
        """Make an account.  Raises AccountRefused for a name that is taken, an unknown role, a weak password."""
        name = _good_name(name)
        _known_role(role)
        values = {
            "key": key_of(name),
            "name": name,
            "role": role,
            "hash": self._new_hash(password, name, limits),
            "locked": False,
            "created": now,
            "password_changed": now,
            "sessions_after": now,
        }
        with self._changing() as connection:
            if (there := _row(connection, key_of(name))) is not None:
                raise AccountRefused(f'There is an account "{there.name}" already.')
            connection.execute(ACCOUNTS.insert().values(**values))
            _tell(connection, now, by, "account added", f"{name}, {role}")
            return _account(_held(connection, name))

    def set_role(self, name: str, role: str, *, by: str, now: datetime, keep_one: bool = True) -> None:
        """Give an account another role, from its next page on.

        keep_one -- refuse to leave nobody who may manage the accounts

        Raises AccountRefused.
        """
        _known_role(role)
        with self._changing() as connection:
            row = _held(connection, name)
            if row.role == role:
                return
            if keep_one and role != CENTRE:
                _not_the_last(connection, row)
            _change(connection, row, role=role)
            _tell(connection, now, by, "role changed", f"{row.name}, from {row.role} to {role}")

    def lock(self, name: str, *, by: str, now: datetime, keep_one: bool = True) -> None:
        """Lock an account and end its sessions.  ``keep_one`` as for ``set_role``.  Raises AccountRefused."""
        with self._changing() as connection:
            row = _held(connection, name)
            if row.locked:
                return
            if keep_one:
                _not_the_last(connection, row)
            _change(connection, row, locked=True, sessions_after=now)
            _end_sessions(connection, row)
            _tell(connection, now, by, "account locked", row.name)

    def unlock(self, name: str, *, by: str, now: datetime) -> None:
        """Let a locked account sign in again.  Raises AccountRefused."""
        with self._changing() as connection:
            row = _held(connection, name)
            if row.locked:
                _change(connection, row, locked=False)
                _tell(connection, now, by, "account unlocked", row.name)

    def set_password(self, name: str, password: str, *, by: str, now: datetime, limits: Limits) -> None:
        """Give an account another password: its sessions end, and failed tries of its name are forgotten.

        Raises AccountRefused for an unknown name or a weak password.
        """
        known = self.account(name)
        if known is None:
            raise AccountRefused(_no_account(name))
        made = self._new_hash(password, known.name, limits)
        with self._changing() as connection:
            self._put_password(connection, _held(connection, name), made, by, now)

    def change_own(
        self, name: str, old: str, new: str, *, address: str, now: datetime, limits: Limits
    ) -> tuple[str, Account]:
        """Change a password by somebody who knows it; all sessions end, and the token of a new one is returned.

        Raises AccountRefused, WrongSignIn or TooManyTries: the old password cannot be guessed at here either.
        """
        known = self.account(name)
        if known is None:
            raise AccountRefused(_no_account(name))
        made = self._new_hash(new, known.name, limits)
        attempt = self._claim(known.key, address, now, limits)
        right, old_hash = self._verified(known.key, old)
        with self._changing() as connection:
            row = _row(connection, known.key)
            if right and row is not None and row.hash == old_hash and not row.locked:
                self._put_password(connection, row, made, row.name, now)
                return _new_session(connection, row, now), _account(_held(connection, row.name))
            _failed(connection, row, attempt, now)
        raise WrongSignIn

    def _put_password(self, connection: Connection, row: Row[Any], made: str, by: str, now: datetime) -> None:
        _change(connection, row, hash=made, password_changed=now, sessions_after=now)
        _end_sessions(connection, row)
        connection.execute(ATTEMPTS.delete().where(ATTEMPTS.c.name_hash == _hash(row.key)))
        _tell(connection, now, by, "password changed", row.name)

    def _new_hash(self, password: str, name: str, limits: Limits) -> str:
        if fault := password_fault(password, name, limits):
            raise AccountRefused(fault)
        return self._hasher.hash(_bytes(password))

    # ---- signing in ----

    def sign_in(self, name: str, password: str, *, address: str, now: datetime, limits: Limits) -> tuple[str, Account]:
        """Return the token of a new session, and whose it is.  A name that is not known costs the same time.

        Raises WrongSignIn, or TooManyTries before the password is even looked at.
        """
        key = key_of(name)
        attempt = self._claim(key, address, now, limits)
        right, old_hash = self._verified(key, password)
        with self._changing() as connection:
            row = _row(connection, key)
            if right and row is not None and row.hash == old_hash and not row.locked:
                connection.execute(ATTEMPTS.update().where(ATTEMPTS.c.number == attempt.number).values(ok=True))
                connection.execute(SESSIONS.delete().where(SESSIONS.c.began <= now - limits.longest))
                if self._hasher.check_needs_rehash(row.hash):
                    _change(connection, row, hash=self._hasher.hash(_bytes(password)))
                _tell(connection, now, row.name, "signed in", f"from {network_of(address)}")
                return _new_session(connection, row, now), _account(row)
            _failed(connection, row, attempt, now)
        raise WrongSignIn

    def _claim(self, key: str, address: str, now: datetime, limits: Limits) -> _Try:
        """Write a try down as failed before it is made, so that many at once count each other.  Raises TooManyTries."""
        name_hash, network, since = _hash(key), network_of(address), now - limits.within
        with self._changing() as connection:
            connection.execute(ATTEMPTS.delete().where(ATTEMPTS.c.at <= since))
            success = select(func.coalesce(func.max(ATTEMPTS.c.number), 0)).where(
                ATTEMPTS.c.name_hash == name_hash, ATTEMPTS.c.ok
            )
            of_name = (ATTEMPTS.c.name_hash == name_hash, ATTEMPTS.c.number > success.scalar_subquery())
            of_address = (ATTEMPTS.c.address == network,)
            counted = (
                (_failures(connection, of_name, since, now + limits.within), limits.name_failures),
                (_failures(connection, of_address, since, now + limits.within), limits.address_failures),
            )
            waits = [times[most - 1] - since for times, most in counted if len(times) >= most]
            if waits:
                raise TooManyTries(max(1, ceil(max(waits).total_seconds())))
            made = ATTEMPTS.insert().values(name_hash=name_hash, address=network, at=now, ok=False)
            number = connection.execute(made.returning(ATTEMPTS.c.number)).scalar_one()
        return _Try(number, network, last=any(len(times) + 1 >= most for times, most in counted))

    def _verified(self, key: str, password: str) -> tuple[bool, str]:
        """Return whether a password is right, and the hash that it was held against; takes its time for every name."""
        from argon2.exceptions import InvalidHashError, VerificationError

        if not self._nobody:
            self._nobody = self._hasher.hash(secrets.token_bytes(32))
        with self._store._reading() as connection:
            row = _row(connection, key)
        held: str = self._nobody if row is None else row.hash
        try:
            return self._hasher.verify(held, _bytes(password)) and row is not None, held
        except (VerificationError, InvalidHashError):
            return False, held

    def who(self, token: str, now: datetime, limits: Limits) -> Account | None:
        """Return whose session a token is; None where there is none, or no longer."""
        if not token:
            return None
        with self._store._reading() as connection:
            columns = (*ACCOUNTS.c, SESSIONS.c.began, SESSIONS.c.seen)
            row = connection.execute(
                select(*columns)
                .join(SESSIONS, SESSIONS.c.key == ACCOUNTS.c.key)
                .where(SESSIONS.c.token_hash == _hash(token))
            ).one_or_none()
        if (
            row is None
            or row.locked
            or row.began < row.sessions_after
            or now >= row.began + limits.longest
            or now >= row.seen + limits.idle
        ):
            return None
        if now - row.seen >= SEEN_EVERY:
            with suppress(StoreFault), self._store._writing() as connection:  # at worst the session ends early
                mine = (SESSIONS.c.token_hash == _hash(token), SESSIONS.c.seen < now)
                connection.execute(SESSIONS.update().where(*mine).values(seen=now))
        return _account(row)

    def sign_out(self, token: str, now: datetime) -> None:
        """End a session."""
        with self._store._writing() as connection:
            ended = SESSIONS.delete().where(SESSIONS.c.token_hash == _hash(token)).returning(SESSIONS.c.key)
            key = connection.execute(ended).scalar_one_or_none()
            if key is not None and (row := _row(connection, key)) is not None:
                _tell(connection, now, row.name, "signed out", "")

    # ---- the trail, and what servers share ----

    def tell(self, at: datetime, who: str, what: str, about: str) -> None:
        """Add a line to the audit trail: who did what, at most a few words, and about what.  Raises StoreFault."""
        tell(self._store, at, who, what, about)

    def trail(self, most: int) -> tuple[AuditRow, ...]:
        """Return the newest lines of the audit trail, the newest first."""
        return trail(self._store, most)

    def signing_secret(self) -> str:
        """Return what the servers of this store sign their forms with; made once."""
        return signing_secret(self._store)

    @contextmanager
    def _changing(self) -> Iterator[Connection]:
        """Give a transaction that waits for every other of its kind, so that what it counts cannot change meanwhile."""
        with self._store._writing() as connection:
            if connection.dialect.name == "postgresql":  # SQLite lets one writer in at a time by itself
                connection.execute(text(f"SELECT pg_advisory_xact_lock({_ALONE})"))
            yield connection


def signing_secret(store: Store) -> str:
    """Return what the servers of a store sign their forms with, 64 letters; made once.  Raises StoreFault."""
    asked = select(SIGNING.c.secret)
    with store._reading() as connection:
        found = connection.execute(asked).scalar_one_or_none()
    if found is None:
        made = {"number": 1, "secret": secrets.token_hex(32)}
        with store._writing() as connection:
            insert = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
            connection.execute(insert(SIGNING).values(**made).on_conflict_do_nothing(index_elements=["number"]))
            found = connection.execute(asked).scalar_one()
    return str(found)


def tell(store: Store, at: datetime, who: str, what: str, about: str) -> None:
    """Add a line to the audit trail of a store.  Raises StoreFault."""
    with store._writing() as connection:
        _tell(connection, at, who, what, about)


def trail(store: Store, most: int) -> tuple[AuditRow, ...]:
    """Return the newest lines of a store's audit trail, the newest first."""
    query = select(AUDIT.c.at, AUDIT.c.who, AUDIT.c.what, AUDIT.c.about).order_by(AUDIT.c.number.desc()).limit(most)
    with store._reading() as connection:
        return tuple(AuditRow(**row._mapping) for row in connection.execute(query))


def _tell(connection: Connection, at: datetime, who: str, what: str, about: str) -> None:
    values = {"at": at, "who": who[:120], "what": what[:60], "about": about}
    connection.execute(AUDIT.insert().values(**values))


def _failures(connection: Connection, some: tuple[Any, ...], since: datetime, until: datetime) -> list[datetime]:
    """Return when tries failed between two moments, the newest first.

    A clock that had gone ahead leaves tries of days to come: nobody is kept out until then.
    """
    times = (ATTEMPTS.c.at > since, ATTEMPTS.c.at <= until)
    query = select(ATTEMPTS.c.at).where(*some, ~ATTEMPTS.c.ok, *times).order_by(ATTEMPTS.c.at.desc())
    return list(connection.execute(query).scalars())


def _failed(connection: Connection, row: Row[Any] | None, attempt: _Try, now: datetime) -> None:
    """Tell the trail of a try that failed; what was typed as a name without an account is never written."""
    whose = row.name if row is not None else "a name without an account"
    _tell(connection, now, "", "sign-in failed", f"{whose}, from {attempt.network}")
    if attempt.last:
        _tell(connection, now, "", "sign-in held up", f"{whose}, from {attempt.network}")


def _account(row: Row[Any]) -> Account:
    return Account(row.key, row.name, row.role, row.locked, row.created, row.password_changed)


def _row(connection: Connection, key: str) -> Row[Any] | None:
    if not key.isprintable():
        return None
    return connection.execute(select(ACCOUNTS).where(ACCOUNTS.c.key == key)).one_or_none()


def _held(connection: Connection, name: str) -> Row[Any]:
    row = _row(connection, key_of(name))
    if row is None:
        raise AccountRefused(_no_account(name))
    return row


def _no_account(name: str) -> str:
    return f'There is no account "{" ".join(name.split())}".'


def _known_role(role: str) -> None:
    if role not in ROLES:
        raise AccountRefused(f'"{role}" is not a role; it must be one of {", ".join(ROLES)}.')


def _change(connection: Connection, row: Row[Any], **values: Any) -> None:
    connection.execute(ACCOUNTS.update().where(ACCOUNTS.c.key == row.key).values(**values))


def _not_the_last(connection: Connection, row: Row[Any]) -> None:
    """Refuse to lose the last account that may manage the others."""
    others = select(func.count()).where(ACCOUNTS.c.role == CENTRE, ~ACCOUNTS.c.locked, ACCOUNTS.c.key != row.key)
    if row.role == CENTRE and not row.locked and not connection.execute(others).scalar_one():
        raise AccountRefused(
            f'"{row.name}" is the only account that may manage the others: give another one the role centre first.'
        )


def _new_session(connection: Connection, row: Row[Any], now: datetime) -> str:
    token = secrets.token_urlsafe(32)
    # Servers' clocks differ a little: a session never begins before the moment that ended the ones before it.
    began = max(now, row.sessions_after)
    values = {"token_hash": _hash(token), "key": row.key, "began": began, "seen": began}
    connection.execute(SESSIONS.insert().values(**values))
    return token


def _end_sessions(connection: Connection, row: Row[Any]) -> None:
    connection.execute(SESSIONS.delete().where(SESSIONS.c.key == row.key))
