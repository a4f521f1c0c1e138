"""The tables of the store. Their shape changes only by a step in ``migrations``; a test compares the two."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Date,
    DateTime,
    Dialect,
    Float,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.types import TypeDecorator

METADATA = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ix": "ix_%(table_name)s_%(column_0_name)s",
    }
)
# SQLite numbers rows by itself only where the key is a plain INTEGER.
Number = BigInteger().with_variant(Integer(), "sqlite")


class Moment(TypeDecorator[datetime]):
    """An instant: kept in UTC, given back aware; a naive time is refused."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Keep the instant in UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment without its offset from UTC cannot be kept")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """Give the instant back, aware."""
        return None if value is None else value.replace(tzinfo=UTC)


EVENTS = Table(
    "events",
    METADATA,
    Column("number", Number, primary_key=True, autoincrement=True),  # order of arrival
    Column("uid", String(64), nullable=False),
    Column("at", Moment, nullable=False),
    Column("arrived", Moment, nullable=False),
    Column("day", Date, nullable=False, index=True),
    Column("site", String(120), nullable=False),
    Column("kind", String(20), nullable=False),
    Column("by", String(120), nullable=False),
    Column("person", String(120), nullable=False),
    Column("group", String(120), nullable=False),
    Column("dive", Integer, nullable=False),
    Column("value", Float),
    Column("text", Text, nullable=False),
    Column("identity", String(120), nullable=False),
    Column("corrects", String(64), nullable=False),
    UniqueConstraint("uid"),
)
PLANS = Table(
    "plans",
    METADATA,
    Column("number", Number, primary_key=True, autoincrement=True),
    Column("revision", String(8), nullable=False),
    Column("site", String(120), nullable=False),
    Column("day", Date, nullable=False, index=True),
    Column("kept", Moment, nullable=False),
    Column("by", String(120), nullable=False),
    Column("request", JSON, nullable=False),
    Column("inputs", JSON, nullable=False),  # all that the plan was made from, as its revision counts it
    Column("plan", JSON, nullable=False),
    UniqueConstraint("revision"),
)
REQUESTS = Table(
    "requests",
    METADATA,
    Column("name", String(120), primary_key=True),
    Column("version", Integer, nullable=False),  # rises by one with each change
    Column("request", JSON, nullable=False),
    Column("changed", Moment, nullable=False),
    Column("by", String(120), nullable=False),
    Column(
        "base", String(64), nullable=False, server_default=""
    ),  # of the file that it was edited from; empty: of none
)
# Every version that a request ever had, so that nothing that somebody wrote is lost.
REQUEST_VERSIONS = Table(
    "request_versions",
    METADATA,
    Column("number", Number, primary_key=True, autoincrement=True),
    Column("name", String(120), nullable=False, index=True),
    Column("version", Integer, nullable=False),
    Column("request", JSON, nullable=False),
    Column("changed", Moment, nullable=False),
    Column("by", String(120), nullable=False),
    UniqueConstraint("name", "version"),
)
# What instructors saw: a skill of a dive of a course was done, or has to be done again.
TICKS = Table(
    "ticks",
    METADATA,
    Column("number", Number, primary_key=True, autoincrement=True),  # order of arrival
    Column("uid", String(64), nullable=False),
    Column("at", Moment, nullable=False),
    Column("day", Date, nullable=False),
    Column("course", String(40), nullable=False),  # its kind of dive
    Column("person", String(120), nullable=False, index=True),
    Column("dive", Integer, nullable=False),
    Column("skill", String(120), nullable=False),
    Column("result", String(20), nullable=False),
    Column("by", String(120), nullable=False),
    UniqueConstraint("uid"),
)
# Every change that somebody made in the browser to the schedule of a file: each row holds all that stand by then.
SCHEDULE_VERSIONS = Table(
    "schedule_versions",
    METADATA,
    Column("number", Number, primary_key=True, autoincrement=True),
    Column("slug", String(120), nullable=False, index=True),
    Column("version", Integer, nullable=False),
    Column("edits", JSON, nullable=False),
    Column("words", Text, nullable=False),  # what was changed, and why
    Column("changed", Moment, nullable=False),
    Column("by", String(120), nullable=False),
    Column("base", String(64), nullable=False),  # of the file that the changes were made to
    Column("last_day", Date, nullable=False),  # of the schedule
    UniqueConstraint("slug", "version"),
)
SCHEDULE_RESULTS = Table(
    "schedule_results",
    METADATA,
    Column("number", Number, primary_key=True, autoincrement=True),
    Column("slug", String(120), nullable=False, index=True),
    Column("version", Integer, nullable=False),  # of the changes that it was made with; 0: none
    Column("base", String(64), nullable=False),  # of the file that it was made from
    Column("revision", String(64), nullable=False),
    Column("made", Moment, nullable=False),
    Column("by", String(120), nullable=False),  # who asked for it
    Column("stopped", Boolean, nullable=False),  # whether somebody stopped it before its time
    Column("before", Number),  # the result that it was to keep to
    Column("last_day", Date, nullable=False),
    Column("schedule", JSON, nullable=False),
)
# Which result hangs on the wall: the last row of a schedule counts.
SCHEDULE_PUBLISHED = Table(
    "schedule_published",
    METADATA,
    Column("number", Number, primary_key=True, autoincrement=True),
    Column("slug", String(120), nullable=False, index=True),
    Column("result", Number, nullable=False),
    Column("at", Moment, nullable=False),
    Column("by", String(120), nullable=False),
    Column("last_day", Date, nullable=False),
)
# What a worker is to do or does: any process may look at it and ask for its end.
SCHEDULE_JOBS = Table(
    "schedule_jobs",
    METADATA,
    Column("number", Number, primary_key=True, autoincrement=True),
    Column("slug", String(120), nullable=False, index=True),
    Column("open", String(120)),  # the slug while it waits or runs, so that there is one at a time
    Column("state", String(12), nullable=False),
    Column("asked", Moment, nullable=False),
    Column("by", String(120), nullable=False),
    Column("seconds", Float, nullable=False),  # it may take
    Column("worker", String(40), nullable=False),
    Column("started", Moment),
    Column("beat", Moment, nullable=False),  # when a worker last said that it lives
    Column("ended", Moment),
    Column("stop", Boolean, nullable=False),
    Column("again", String(120), nullable=False),  # who changed the schedule while it ran; empty: nobody
    Column("progress", JSON),
    Column("result", Number),
    Column("words", Text, nullable=False),  # why it failed
    UniqueConstraint("open"),
)
ACCOUNTS = Table(
    "accounts",
    METADATA,
    Column("key", String(120), primary_key=True),  # the name without regard to capitals
    Column("name", String(120), nullable=False),
    Column("role", String(20), nullable=False),
    Column("hash", String(200), nullable=False),  # of the password, by argon2id; never the password
    Column("locked", Boolean, nullable=False),
    Column("created", Moment, nullable=False),
    Column("password_changed", Moment, nullable=False),
    Column("sessions_after", Moment, nullable=False),  # a session begun before it is over
)
ATTEMPTS = Table(
    "attempts",
    METADATA,
    Column("number", Number, primary_key=True, autoincrement=True),
    Column("name_hash", String(64), nullable=False, index=True),  # not as typed: it may be a password in the wrong box
    Column("address", String(60), nullable=False, index=True),
    Column("at", Moment, nullable=False),
    Column("ok", Boolean, nullable=False),
)
SESSIONS = Table(
    "sessions",
    METADATA,
    Column("token_hash", String(64), primary_key=True),
    Column("key", String(120), nullable=False, index=True),
    Column("began", Moment, nullable=False),
    Column("seen", Moment, nullable=False),
)
AUDIT = Table(
    "audit",
    METADATA,
    Column("number", Number, primary_key=True, autoincrement=True),
    Column("at", Moment, nullable=False),
    Column("who", String(120), nullable=False),
    Column("what", String(60), nullable=False),
    Column("about", Text, nullable=False),
)
# What the servers of one store sign their forms with, so that a form of one is good at the other.
SIGNING = Table(
    "signing",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("secret", String(64), nullable=False),
)
# Nothing may be changed or taken out of these, but for the purge, which says what it deletes before it does.
ONLY_GROW = (
    EVENTS, PLANS, AUDIT, REQUEST_VERSIONS, TICKS, SCHEDULE_VERSIONS, SCHEDULE_RESULTS, SCHEDULE_PUBLISHED,
)  # fmt: skip
PURGING = Table("purging", METADATA, Column("number", Integer, primary_key=True, autoincrement=False))
