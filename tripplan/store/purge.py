"""What the store no longer has to keep, by the rule book: said first, and deleted only then.

A purge deletes for good. So doubt always keeps: a day counts from its last entry, by the earliest date that any clock
on Earth shows; what somebody felt after a dive may have been bubble illness; an entry that was taken back still counts.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import MAXYEAR, MINYEAR, UTC, date, datetime, timedelta
from itertools import groupby, pairwise
from typing import Any, Final

from sqlalchemy import Column, ColumnElement, Connection, Table, func, select, text

from tripplan.errors import TripplanError
from tripplan.people.person import Person
from tripplan.planning.event import OF_A_DIVE, Event
from tripplan.planning.live import NO_DISCOMFORT, alike, live_day
from tripplan.rulebook import Rule, RuleBook
from tripplan.store.accounts import Limits, _tell
from tripplan.store.database import Store, StoreFault, _event
from tripplan.store.tables import (
    ACCOUNTS,
    ATTEMPTS,
    AUDIT,
    EVENTS,
    ONLY_GROW,
    PLANS,
    PURGING,
    REQUEST_VERSIONS,
    REQUESTS,
    SCHEDULE_JOBS,
    SCHEDULE_PUBLISHED,
    SCHEDULE_RESULTS,
    SCHEDULE_VERSIONS,
    SESSIONS,
    TICKS,
)

DONE: Final = "records deleted"  # in the audit trail
BACKUPS_HOLD_IT: Final = "Backups made before still hold what is deleted: delete old ones too."
_BEHIND = timedelta(hours=12)  # the last place on Earth where a day ends is so far behind UTC
_AT_ONCE = 500  # keys in one statement
_TABLES: Final[Mapping[str, Table]] = {
    table.name: table
    for table in (
        EVENTS,
        PLANS,
        TICKS,
        REQUEST_VERSIONS,
        SCHEDULE_VERSIONS,
        SCHEDULE_RESULTS,
        SCHEDULE_PUBLISHED,
        SCHEDULE_JOBS,
        AUDIT,
        ATTEMPTS,
        SESSIONS,
    )
}

Place = tuple[date, str]  # a day at a site


class PurgeRefused(TripplanError):
    """The purge would delete something sooner than the rules allow; nothing was deleted."""


@dataclass(frozen=True)
class Line:
    """Some rows of one kind."""

    about: str  # which: a day and a site, a person's course, a request
    rows: int


@dataclass(frozen=True)
class Part:
    """What of one table goes, and by which rule."""

    table: str
    what: str
    why: str
    lines: tuple[Line, ...]
    keys: tuple[Any, ...] = field(repr=False)

    @property
    def rows(self) -> int:
        """How many rows go."""
        return len(self.keys)


@dataclass(frozen=True)
class Kept:
    """What is old enough but stays, and why."""

    what: str
    about: str
    rows: int
    why: str


@dataclass(frozen=True)
class Purge:
    """What goes, and what stays although a year has passed."""

    at: datetime
    parts: tuple[Part, ...]
    kept: tuple[Kept, ...]

    @property
    def rows(self) -> int:
        """How many rows go in all."""
        return sum(part.rows for part in self.parts)


@dataclass(frozen=True)
class _Harm:
    """A day with an incident, or on which somebody felt unwell."""

    place: Place
    what: str
    people: frozenset[str]  # as names are compared
    until: date
    rule: Rule

    @property
    def words(self) -> str:
        return f"{self.what} on {self.place[0]} at {self.place[1]}"


# ---- say, do ----


def what_would_go(store: Store, rules: RuleBook, now: datetime, before: date | None = None) -> Purge:
    """Return what a purge would delete now, and delete nothing.

    before -- only what is older than this day; None: all that the rules let go

    Raises PurgeRefused for a ``before`` later than the rules allow, StoreFault where the store cannot be read.
    """
    _look(rules, now, before)
    with store._reading() as connection:
        return _weighed(connection, rules, now, before)


def purge(store: Store, rules: RuleBook, now: datetime, by: str, before: date | None = None) -> Purge:
    """Delete what the rules let go, all of it or nothing, and tell the audit trail; returns what was really deleted.

    It is weighed again here, while nobody else can write: what has changed since it was said counts. Raises as
    ``what_would_go``.
    """
    _look(rules, now, before)
    with store._writing() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SET LOCAL lock_timeout = '10s'"))
            connection.execute(text(f"LOCK TABLE {', '.join(_TABLES)} IN SHARE ROW EXCLUSIVE MODE"))
        else:
            connection.execute(text("PRAGMA secure_delete = ON"))  # the bytes go too, not only the way to them
        found = _weighed(connection, rules, now, before)
        if not found.parts:
            return found
        connection.execute(PURGING.insert().values(number=1))
        for part in found.parts:
            _delete(connection, part)
        connection.execute(PURGING.delete())
        _tell(connection, now, by, DONE, _in_short(found))
    if store.url.startswith("sqlite:///"):
        _empty_log(store)
    return found


def _look(rules: RuleBook, now: datetime, before: date | None) -> None:
    """Refuse what would delete sooner than the rules allow."""
    for key in ("retention.record_years", "retention.audit_years"):
        if rules.value(key) < 1:
            raise PurgeRefused(f"{key} is {rules.value(key):g}; the purge asks for at least 1 year")
    rule = rules["retention.record_years"]
    allowed = years_later(_today(now), -int(rule.value))
    if before is not None and before > allowed:
        raise PurgeRefused(
            f"--before is {before}; {rule.key} is {rule.value:g}, so only what is older than {allowed} may go"
        )


def _delete(connection: Connection, part: Part) -> None:
    table = _TABLES[part.table]
    (key,) = table.primary_key.columns
    done = 0
    for start in range(0, len(part.keys), _AT_ONCE):
        done += connection.execute(table.delete().where(key.in_(part.keys[start : start + _AT_ONCE]))).rowcount
    if done != part.rows:
        raise StoreFault(f"{part.what}: {part.rows} rows were to go and {done} did; nothing was deleted")


def _empty_log(store: Store) -> None:
    """Empty SQLite's log of changes, which still holds the pages as they were; others reading keep it for now."""
    with suppress(sqlite3.Error), closing(sqlite3.connect(store._path, timeout=2)) as plain:
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()


def _in_short(found: Purge) -> str:
    """Return how much of each kind went: no names, since the trail outlives what it tells of."""
    return "; ".join(f"{part.what}: {part.rows}" for part in found.parts)


# ---- what is there ----


@dataclass(frozen=True)
class Holding:
    """What a store holds, and whether it is whole."""

    rows: Mapping[str, int]  # by table
    first: date | None  # day of the earliest entry or plan
    last: date | None
    fault: str  # empty: it is whole


def holding(store: Store) -> Holding:
    """Return what a store holds.  Raises StoreFault where it cannot be read."""
    with store._reading() as connection:
        tables = (*_TABLES.values(), REQUESTS, ACCOUNTS)
        rows = {t.name: connection.execute(select(func.count()).select_from(t)).scalar_one() for t in tables}
        days = [connection.execute(select(func.min(t.c.day), func.max(t.c.day))).one() for t in (EVENTS, PLANS)]
        fault = ""
        if connection.dialect.name == "sqlite":
            (found,) = connection.execute(text("PRAGMA integrity_check(1)")).one()
            fault = "" if found == "ok" else f"it is damaged: {found}"
            guards = connection.execute(text("SELECT tbl_name FROM sqlite_master WHERE type = 'trigger'")).scalars()
        else:
            guards = connection.execute(
                text("SELECT relname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid WHERE NOT tgisinternal")
            ).scalars()
        if open_tables := sorted({table.name for table in ONLY_GROW} - set(guards)):
            fault = fault or f"nothing keeps {', '.join(open_tables)} from being changed: a guard is missing"
    known = [each for pair in days for each in pair if each is not None]
    return Holding(rows, min(known, default=None), max(known, default=None), fault)


# ---- dates ----


def years_later(day: date, years: int) -> date:
    """Return the same day some years later, or earlier where negative; 1 March for a 29 February that is not there.

    Beyond the last date that can be written it is that one, and before the first the first.

    >>> years_later(date(2028, 2, 29), 1)
    datetime.date(2029, 3, 1)
    """
    if day.year + years > MAXYEAR:
        return date.max
    if day.year + years < MINYEAR:
        return date.min
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def _today(now: datetime) -> date:
    return (now.astimezone(UTC) - _BEHIND).date()


def _latest(day: date, *moments: datetime) -> date:
    """Return the last of a day and the days of some moments."""
    return max(day, *(moment.astimezone(UTC).date() for moment in moments))


def _years(rule: Rule) -> str:
    return f"{rule.key} is {rule.value:g} {'year' if rule.value == 1 else 'years'}"


# ---- weighing ----


@dataclass
class _Weighing:
    """One look at the store: what goes and what stays is gathered table by table."""

    connection: Connection
    rules: RuleBook
    now: datetime
    before: date | None
    parts: list[Part] = field(default_factory=list)
    kept: list[Kept] = field(default_factory=list)

    @property
    def today(self) -> date:
        return _today(self.now)

    def asked(self, day: date) -> bool:
        """Return whether something of a day is asked for at all."""
        return self.before is None or day < self.before

    def over(self, last: date, rule: Rule) -> bool:
        """Return whether the years of a rule have passed since a day."""
        return years_later(last, int(rule.value)) < self.today

    def old(self, column: Column[date], rule: Rule) -> ColumnElement[bool]:
        """Return what keeps most of the rows from being read that are too young anyway."""
        return column < years_later(self.today, -int(rule.value)) + timedelta(days=2)

    def add(self, table: Table, what: str, why: str, found: Mapping[str, Sequence[Any]]) -> None:
        if keys := tuple(key for each in found.values() for key in each):
            lines = tuple(Line(about, len(each)) for about, each in found.items())
            self.parts.append(Part(table.name, what, why, lines, keys))


def _weighed(connection: Connection, rules: RuleBook, now: datetime, before: date | None) -> Purge:
    look = _Weighing(connection, rules, now, before)
    harms = [harm for harm in _harms(look) if harm.until >= look.today]
    stays = _weigh_days(look, harms)
    _weigh_plans(look, stays)
    _weigh_ticks(look, harms)
    _weigh_versions(look, stays)
    _weigh_schedules(look, stays)
    _weigh_small(look)
    return Purge(now, tuple(look.parts), tuple(look.kept))


def _harms(look: _Weighing) -> Iterator[_Harm]:
    """Yield every day with an incident, or on which somebody felt unwell; entries taken back count."""
    query = select(EVENTS).where(EVENTS.c.kind.in_(("incident", "discomfort"))).order_by(EVENTS.c.day, EVENTS.c.site)
    rows = [row for row in look.connection.execute(query) if _is_harm(row.kind, row.text)]
    for place, group in groupby(rows, key=lambda row: (row.day, row.site)):
        told = list(group)
        all_that_day = look.connection.execute(
            select(EVENTS.c.person, EVENTS.c.kind, EVENTS.c.arrived).where(
                EVENTS.c.day == place[0], EVENTS.c.site == place[1]
            )
        ).all()
        named = {alike(row.person) for row in told if row.person.strip()}
        if any(not row.person.strip() for row in told):  # whom it was about nobody wrote: it may be anybody
            named |= {alike(row.person) for row in all_that_day if row.person.strip()}
        ill = any(row.kind == "discomfort" for row in told)
        dived = any(row.kind in OF_A_DIVE for row in all_that_day)
        rule = look.rules["retention.incident_years"]
        if ill or dived:
            rule = max(rule, look.rules["retention.decompression_incident_years"], key=lambda each: each.value)
        last = _latest(place[0], *(row.arrived for row in all_that_day))
        what = "an incident" if any(row.kind == "incident" for row in told) else "somebody felt unwell"
        yield _Harm(place, what, frozenset(named), years_later(last, int(rule.value)), rule)


def _is_harm(kind: str, words: str) -> bool:
    return kind == "incident" or alike(words).rstrip(".") != NO_DISCOMFORT


def _weigh_days(look: _Weighing, harms: Sequence[_Harm]) -> set[Place]:
    """Weigh the entries day by day; return the days whose other papers stay with them."""
    rule = look.rules["retention.record_years"]
    query = select(EVENTS).where(look.old(EVENTS.c.day, rule)).order_by(EVENTS.c.day, EVENTS.c.site, EVENTS.c.number)
    going: dict[str, list[int]] = {}
    stays: set[Place] = set()
    for place, group in groupby(look.connection.execute(query), key=lambda row: (row.day, row.site)):
        if not look.over(place[0], rule):
            continue
        rows = list(group)
        why = _why_day_stays(look, place, [_event(row) for row in rows], [row.arrived for row in rows], harms, rule)
        about = f"{place[0]}, {place[1]}"
        if why:
            stays.add(place)
            look.kept.append(Kept("entries of the beach", about, len(rows), why))
        elif look.asked(place[0]):
            going[about] = [row.number for row in rows]
    why = f"{_years(rule)}, and the last entry is older"
    look.add(EVENTS, "entries of the beach", why, going)
    return stays


def _why_day_stays(
    look: _Weighing,
    place: Place,
    events: Sequence[Event],
    arrived: Sequence[datetime],
    harms: Sequence[_Harm],
    rule: Rule,
) -> str:
    """Return why a day stays longer than a record has to; empty where it does not."""
    live = live_day(events, (), (), look.now, look.rules)
    if live.in_water:
        return f"nobody wrote that {', '.join(live.in_water)} came out of the water: it stays until somebody settles it"
    if any(alarm.slug in ("missing-diver", "recount") for alarm in live.alarms):
        return "the counts never agreed again: it stays until somebody settles it"
    for harm in harms:
        if harm.place == place:
            return f"{harm.what}: kept until {harm.until}, as {_years(harm.rule)}"
    people = {alike(event.person) for event in events if event.person.strip()}
    for harm in harms:
        if place[0] <= harm.place[0] and people & harm.people:
            return f"somebody of this day was in what happened ({harm.words}): kept with it until {harm.until}"
    last = _latest(place[0], *arrived)
    return "" if look.over(last, rule) else f"its last entry arrived on {last}: {_years(rule)}, counted from then"


def _weigh_plans(look: _Weighing, stays: set[Place]) -> None:
    rule = look.rules["retention.record_years"]
    query = select(PLANS.c.number, PLANS.c.day, PLANS.c.site, PLANS.c.kept).order_by(PLANS.c.day, PLANS.c.site)
    going: dict[str, list[int]] = {}
    staying: dict[str, int] = {}
    for row in look.connection.execute(query.where(look.old(PLANS.c.day, rule))):
        if not look.over(_latest(row.day, row.kept), rule):
            continue
        about = f"{row.day}, {row.site}"
        if (row.day, row.site) in stays:
            staying[about] = staying.get(about, 0) + 1
        elif look.asked(row.day):
            going.setdefault(about, []).append(row.number)
    look.add(PLANS, "plans", f"{_years(rule)}, and the day and what was written of it are older", going)
    look.kept.extend(Kept("plans", about, rows, "the entries of the day stay") for about, rows in staying.items())


def _weigh_ticks(look: _Weighing, harms: Sequence[_Harm]) -> None:
    """Weigh what was seen of skills: a person's course goes as a whole, a record counts from its last entry."""
    rule = look.rules["retention.record_years"]
    columns = (TICKS.c.number, TICKS.c.person, TICKS.c.course, TICKS.c.day, TICKS.c.at)
    courses: dict[tuple[str, str], list[Any]] = {}
    for row in look.connection.execute(select(*columns).order_by(TICKS.c.number)):
        courses.setdefault((alike(row.person), row.course), []).append(row)
    hurt = {name: harm for harm in harms for name in harm.people}
    going: dict[str, list[int]] = {}
    for (name, course), rows in courses.items():
        last = max(_latest(row.day, row.at) for row in rows)
        if not look.over(last, rule):
            continue
        about = f"{rows[-1].person}, {course}, up to {last}"
        if harm := hurt.get(name):
            why = f"the person was in what happened ({harm.words}): kept with it until {harm.until}"
            look.kept.append(Kept("ticks of skills", about, len(rows), why))
        elif look.asked(last):
            going[about] = [row.number for row in rows]
    look.add(TICKS, "ticks of skills", f"{_years(rule)}, and the last tick of the course is older", going)


def _weigh_versions(look: _Weighing, stays: set[Place]) -> None:
    """Weigh the versions of requests that another one took the place of: they held until then."""
    rule = look.rules["retention.record_years"]
    columns = (REQUEST_VERSIONS.c.number, REQUEST_VERSIONS.c.name, REQUEST_VERSIONS.c.request,
               REQUEST_VERSIONS.c.changed)  # fmt: skip
    query = select(*columns).order_by(REQUEST_VERSIONS.c.name, REQUEST_VERSIONS.c.version)
    going: dict[str, list[int]] = {}
    newest = 0
    for name, group in groupby(look.connection.execute(query), key=lambda row: row.name):
        rows = list(group)
        for row, after in pairwise(rows):
            day, site = _day_of(row.request), str(row.request.get("site", ""))
            last = _latest(day or row.changed.date(), row.changed, after.changed)
            if not look.over(last, rule):
                continue
            if day is not None and (day, site) in stays:
                look.kept.append(Kept("versions of requests", name, 1, "the entries of its day stay"))
            elif look.asked(last):
                going.setdefault(name, []).append(row.number)
        newest += look.over(_latest(_day_of(rows[-1].request) or rows[-1].changed.date(), rows[-1].changed), rule)
    look.add(REQUEST_VERSIONS, "versions of requests", f"{_years(rule)}, and they were replaced before that", going)
    if newest:
        why = "the newest version of a request is never deleted"
        look.kept.append(Kept("versions of requests", "the newest of each", newest, why))


def _day_of(request: Mapping[str, Any]) -> date | None:
    try:
        return date.fromisoformat(str(request.get("date", "")))
    except ValueError:
        return None


def _weigh_schedules(look: _Weighing, stays: set[Place]) -> None:
    """Weigh what was made and changed of schedules: it counts from the last day of each, or from when it was written.

    The changes of a schedule go as a whole, so that never half of a list is left.
    """
    rule = look.rules["retention.record_years"]
    why = f"{_years(rule)}, and the last day and what was written of it are older"
    results, going = SCHEDULE_RESULTS, dict[str, list[int]]()
    query = select(results.c.number, results.c.slug, results.c.last_day, results.c.made).order_by(results.c.number)
    for row in look.connection.execute(query.where(look.old(results.c.last_day, rule))).all():
        last = _latest(row.last_day, row.made)
        if not look.over(last, rule):
            continue
        if stays and stays & _places_of(look, row.number):
            look.kept.append(Kept("schedules", f"{row.slug}, number {row.number}", 1, "the entries of its days stay"))
        elif look.asked(last):
            going.setdefault(row.slug, []).append(row.number)
    look.add(results, "schedules", why, going)
    gone = {number for numbers in going.values() for number in numbers}
    for table, what, moment in (
        (SCHEDULE_PUBLISHED, "schedules on the wall", SCHEDULE_PUBLISHED.c.at),
        (SCHEDULE_JOBS, "jobs that made schedules", SCHEDULE_JOBS.c.asked),
    ):
        found: dict[str, list[int]] = {}
        columns = (table.c.number, table.c.slug, table.c.result, moment.label("moment"))
        for row in look.connection.execute(select(*columns).order_by(table.c.number)):
            alone = row.result is None and look.over(row.moment.date(), rule) and look.asked(row.moment.date())
            if row.result in gone or alone:
                found.setdefault(row.slug, []).append(row.number)
        look.add(table, what, why, found)
    versions, changes = SCHEDULE_VERSIONS, dict[str, list[Any]]()
    query = select(versions.c.number, versions.c.slug, versions.c.last_day, versions.c.changed)
    for row in look.connection.execute(query.order_by(versions.c.number)):
        changes.setdefault(row.slug, []).append(row)
    over: dict[str, list[int]] = {}
    for slug, rows in changes.items():
        last = max(_latest(row.last_day, row.changed) for row in rows)
        if look.over(last, rule) and look.asked(last):
            over[slug] = [row.number for row in rows]
    look.add(versions, "changes of schedules", why, over)


def _places_of(look: _Weighing, number: int) -> set[Place]:
    """Return the days and sites of a kept schedule; one that cannot be read is at none."""
    query = select(SCHEDULE_RESULTS.c.schedule).where(SCHEDULE_RESULTS.c.number == number)
    kept = look.connection.execute(query).scalar_one()
    found: set[Place] = set()
    with suppress(AttributeError, KeyError, TypeError, ValueError):
        for outing in kept["schedule"]["outings"]:
            found.add((date.fromisoformat(outing["day"]), str(outing["site"])))
    return found


def _weigh_small(look: _Weighing) -> None:
    """Weigh the audit trail, tries to sign in, and sessions."""
    rule = look.rules["retention.audit_years"]
    trail = look.connection.execute(select(AUDIT.c.number, AUDIT.c.at).order_by(AUDIT.c.number)).all()
    old = [row for row in trail if look.over(row.at.date(), rule) and look.asked(row.at.date())]
    if old:
        about = f"{old[0].at.date()} to {old[-1].at.date()}"
        look.add(AUDIT, "lines of the audit trail", f"{_years(rule)}", {about: [row.number for row in old]})
    limits, rule = Limits.of(look.rules), look.rules["retention.attempts_days"]
    since = look.now - max(timedelta(days=rule.value), limits.within)
    tries = look.connection.execute(select(ATTEMPTS.c.number, ATTEMPTS.c.at).where(ATTEMPTS.c.at < since)).all()
    keys = [row.number for row in tries if look.asked(row.at.date())]
    why = f"{rule.key} is {rule.value:g} {rule.unit}"
    look.add(ATTEMPTS, "tries to sign in", why, {f"before {since:%Y-%m-%d %H:%M} UTC": keys})
    over = look.connection.execute(
        select(SESSIONS.c.token_hash, SESSIONS.c.began).where(
            (SESSIONS.c.began <= look.now - limits.longest) | (SESSIONS.c.seen <= look.now - limits.idle)
        )
    ).all()
    ended = [row.token_hash for row in over if look.asked(row.began.date())]
    look.add(SESSIONS, "sessions that are over", "accounts.longest_h and accounts.idle_h", {"all": ended})


# ---- people ----


@dataclass(frozen=True)
class OldPaper:
    """Somebody whose papers the centre no longer has to keep."""

    name: str
    last: date  # the last dive, medical paper or entry known of the person


def last_days(store: Store) -> dict[str, date]:
    """Return the last day of which the store holds something about a person, by name as names are compared."""
    found: dict[str, date] = {}
    with store._reading() as connection:
        for table in (EVENTS, TICKS):
            query = select(table.c.person, func.max(table.c.day).label("last")).group_by(table.c.person)
            for row in connection.execute(query):
                name = alike(row.person)
                found[name] = max(found.get(name, row.last), row.last)
    return found


def past_keeping(
    people: Iterable[Person], rules: RuleBook, today: date, seen: Mapping[str, date]
) -> tuple[tuple[OldPaper, ...], tuple[str, ...]]:
    """Return who should be taken out of the list of people, and the names of those of whom no date is known.

    seen -- the last day of which the store knows something, by name as names are compared

    A person's last dive, medical paper or entry of the beach counts, whichever is the latest.
    """
    days = timedelta(days=rules.value("retention.medical_days"))
    old, undated = [], []
    for person in people:
        held = (person.last_dive, person.medical, person.medical_doctor, seen.get(alike(person.name)))
        dates = [each for each in held if each is not None]
        if not dates:
            undated.append(person.name)
        elif max(dates) < today - days:
            old.append(OldPaper(person.name, max(dates)))
    return tuple(sorted(old, key=lambda each: (each.last, each.name))), tuple(undated)
