"""Schedules in the store: changes made in the browser, every result whole, and which one hangs on the wall.

The file of the folder is never written to. Changes lie over it as a list, and each version of the list is kept; a
result is kept as it was when it was made.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields, is_dataclass
from datetime import date, datetime, timedelta
from enum import Enum
from functools import cache
from types import UnionType
from typing import Any, Final, Literal, Union, get_args, get_origin, get_type_hints
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ValidationError
from sqlalchemy import Connection, Row, func, select
from sqlalchemy.exc import IntegrityError

from tripplan.planning.request import Request
from tripplan.planning.schedule import Schedule
from tripplan.planning.schedule_request import ScheduleRequest
from tripplan.store.database import Store, StoreFault
from tripplan.store.requests import _as_in_a_file, _plain, values_of
from tripplan.store.tables import SCHEDULE_PUBLISHED, SCHEDULE_RESULTS, SCHEDULE_VERSIONS

SHAPE: Final = 1  # of a schedule as JSON; rises when an old one can no longer be read
Edit = Mapping[str, Any]
Edits = tuple[Edit, ...]


# ---- a schedule as JSON and back ----


def schedule_to_json(schedule: Schedule) -> dict[str, Any]:
    """Return a schedule as plain values that JSON can hold, with nothing lost: ``schedule_from_json`` gives it back.

    A moment keeps its time zone, like "2026-12-07T09:30:00-01:00[Atlantic/Azores]".
    """
    return {"shape": SHAPE, "schedule": _to(schedule)}


def schedule_from_json(data: Mapping[str, Any]) -> Schedule:
    """Return the schedule that ``schedule_to_json`` wrote down.  Raises StoreFault for anything else."""
    if not isinstance(data, Mapping) or data.get("shape") != SHAPE:
        raise StoreFault("a kept schedule cannot be read: it was written by another version of this program")
    try:
        found: Schedule = _from(Schedule, data["schedule"])
    except (KeyError, TypeError, ValueError, ValidationError) as error:
        raise StoreFault(f"a kept schedule cannot be read: {error}") from error
    return found


def _to(value: Any) -> Any:
    if isinstance(value, Request):
        return values_of(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _to(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {key: _to(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_to(inner) for inner in value]
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise ValueError("a moment without its offset from UTC cannot be kept")
        zone = f"[{value.tzinfo.key}]" if isinstance(value.tzinfo, ZoneInfo) else ""
        return value.isoformat() + zone
    return value.isoformat() if isinstance(value, date) else value


def _from(kind: Any, value: Any) -> Any:
    origin, inner = get_origin(kind), get_args(kind)
    if kind is Any:
        return value
    if origin in (Union, UnionType):
        return _one_of(inner, value)
    if origin is Literal:
        if value not in inner:
            raise ValueError(f"{value!r} is none of {', '.join(map(repr, inner))}")
        return value
    if origin is tuple:
        return tuple(_from(inner[0], each) for each in _is(list, value))
    if origin is not None and issubclass(origin, Mapping):
        return {key: _from(inner[1], each) for key, each in _is(dict, value).items()}
    if is_dataclass(kind):
        return _from_fields(kind, _is(dict, value))
    if issubclass(kind, BaseModel):
        return kind.model_validate(_as_in_a_file(_is(dict, value)))
    if issubclass(kind, Enum):
        return kind(value)
    if issubclass(kind, datetime):
        return _moment(_is(str, value))
    if issubclass(kind, date):
        return date.fromisoformat(_is(str, value))
    return _is((int, float) if kind is float else kind, value)


def _one_of(kinds: Sequence[Any], value: Any) -> Any:
    if value is None and type(None) in kinds:
        return None
    for kind in kinds:
        if kind is not type(None):
            try:
                return _from(kind, value)
            except (TypeError, ValueError):
                continue
    raise TypeError(f"{value!r} is none of what may stand there")


def _from_fields(kind: Any, value: Mapping[str, Any]) -> Any:
    hints, known = _hints(kind), {field.name: field for field in fields(kind)}
    if unknown := value.keys() - known.keys():
        raise ValueError(f"{kind.__name__} has no {', '.join(sorted(unknown))}")
    for name, field in known.items():
        if name not in value and field.default is MISSING and field.default_factory is MISSING:
            raise ValueError(f"{kind.__name__} lacks {name}")
    return kind(**{name: _from(hints[name], each) for name, each in value.items()})


@cache
def _hints(kind: type) -> Mapping[str, Any]:
    return get_type_hints(kind)


def _is(kind: Any, value: Any) -> Any:
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise TypeError(f"{value!r} is not what stands there")
    return value


def _moment(text: str) -> datetime:
    plain, _, zone = text.partition("[")
    found = datetime.fromisoformat(plain)
    return found.astimezone(ZoneInfo(zone.rstrip("]"))) if zone else found


# ---- what a file asks for ----


def mark_of(request: ScheduleRequest) -> str:
    """Return the mark of what a file asks for, 64 letters: another mark, and it asks for something else."""
    plain = _measured(_plain(request.model_dump(exclude_none=True)))
    values = json.dumps(plain, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(values.encode()).hexdigest()


def _measured(value: Any) -> Any:
    """Return plain values with every number written in one way: 21 and 21.0 ask for the same."""
    if isinstance(value, dict):
        return {key: _measured(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_measured(inner) for inner in value]
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def moved_by(request: ScheduleRequest, shift: timedelta) -> ScheduleRequest:
    """Return a request whose every date is moved: a demonstration stays near today."""
    return ScheduleRequest.model_validate(_moved(request.model_dump(exclude_none=True), shift))


def _moved(value: Any, shift: timedelta) -> Any:
    if isinstance(value, dict):
        return {key: _moved(inner, shift) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return tuple(_moved(inner, shift) for inner in value)
    return value + shift if isinstance(value, date) else value  # a moment is a date too


# ---- changes made in the browser ----


class EditedMeanwhile(StoreFault):
    """Somebody else changed the same schedule after it was read; ``now`` is what stands there, None: nothing."""

    def __init__(self, slug: str, now: KeptEdits | None) -> None:
        self.now = now
        who = f"{now.by} changed it at {now.changed:%H:%M} UTC" if now else "its changes were taken out"
        super().__init__(
            f'the schedule "{slug}" is no longer as you read it: {who}. Nothing of yours was written over theirs.'
        )


@dataclass(frozen=True)
class KeptEdits:
    """One version of the changes of a schedule: the whole list that stood by then."""

    slug: str
    version: int
    edits: Edits
    words: str  # what was changed last, and why
    changed: datetime
    by: str
    base: str
    last_day: date


def edits_of(store: Store, slug: str) -> KeptEdits | None:
    """Return the changes of a schedule as they stand; None where nobody changed it."""
    with store._reading() as connection:
        return _newest(connection, slug)


def edit_versions(store: Store, slug: str) -> tuple[KeptEdits, ...]:
    """Return every version of the changes of a schedule, the first one first."""
    query = select(SCHEDULE_VERSIONS).where(SCHEDULE_VERSIONS.c.slug == slug).order_by(SCHEDULE_VERSIONS.c.version)
    with store._reading() as connection:
        return tuple(_edits(row) for row in connection.execute(query))


def save_edits(store: Store, made: KeptEdits) -> int:
    """Keep changes over the version that was read, ``made.version``, 0 for none; returns the new version.

    Raises EditedMeanwhile, with what stands there, when that version is no longer the newest; StoreFault when nothing
    was kept.
    """
    return _add_versions(store, made, [(made.edits, made.words)])


def keep_theirs(store: Store, mine: KeptEdits, theirs: Edits) -> int:
    """Let what stands stand, and keep what somebody gives up as a version before it; returns the new version.

    mine -- over the version that stands, ``mine.version``;  theirs -- the changes that stand

    At no moment is the one that is given up in force.  Raises as ``save_edits``.
    """
    return _add_versions(store, mine, [(mine.edits, f"given up: {mine.words}"), (theirs, "let the other change stand")])


def _add_versions(store: Store, made: KeptEdits, lists: Sequence[tuple[Edits, str]]) -> int:
    number = made.version
    try:
        with store._writing() as connection:
            now = _newest(connection, made.slug)
            if (now.version if now else 0) != made.version:
                raise EditedMeanwhile(made.slug, now)
            for edits, words in lists:
                number += 1
                row = {
                    "slug": made.slug,
                    "version": number,
                    "edits": [dict(each) for each in edits],
                    "words": words,
                    "changed": made.changed,
                    "by": made.by,
                    "base": made.base,
                    "last_day": made.last_day,
                }
                connection.execute(SCHEDULE_VERSIONS.insert().values(row))
    except EditedMeanwhile:
        raise
    except StoreFault as error:
        if isinstance(error.__cause__, IntegrityError):  # two at the same moment
            raise EditedMeanwhile(made.slug, edits_of(store, made.slug)) from error
        raise
    return number


def _newest(connection: Connection, slug: str) -> KeptEdits | None:
    query = select(SCHEDULE_VERSIONS).where(SCHEDULE_VERSIONS.c.slug == slug)
    row = connection.execute(query.order_by(SCHEDULE_VERSIONS.c.version.desc()).limit(1)).one_or_none()
    return None if row is None else _edits(row)


def _edits(row: Row[Any]) -> KeptEdits:
    edits = tuple(row.edits) if isinstance(row.edits, list) else ()
    return KeptEdits(row.slug, row.version, edits, row.words, row.changed, row.by, row.base, row.last_day)


# ---- results ----


@dataclass(frozen=True)
class Result:
    """What is known of a result without reading the schedule itself."""

    number: int
    slug: str
    version: int  # of the changes that it was made with; 0: none
    base: str  # mark of what the file asked for
    revision: str
    made: datetime
    by: str
    stopped: bool  # by somebody, before its time
    before: int | None  # the result that it was to keep to


@dataclass(frozen=True)
class Published:
    """Which result hangs on the wall, since when, and by whom."""

    slug: str
    result: int
    at: datetime
    by: str


_HEAD = [SCHEDULE_RESULTS.c[field.name] for field in fields(Result)]


def add_result(
    store: Store,
    slug: str,
    schedule: Schedule,
    *,
    version: int,
    base: str,
    made: datetime,
    by: str,
    stopped: bool = False,
    before: int | None = None,
) -> int:
    """Keep a finished schedule whole; returns its number.  Raises StoreFault when it was not kept."""
    row = {
        "slug": slug,
        "version": version,
        "base": base,
        "revision": schedule.revision,
        "made": made,
        "by": by,
        "stopped": stopped,
        "before": before,
        "last_day": max(schedule.days),
        "schedule": schedule_to_json(schedule),
    }
    with store._writing() as connection:
        asked = SCHEDULE_RESULTS.insert().values(row).returning(SCHEDULE_RESULTS.c.number)
        return int(connection.execute(asked).scalar_one())


def results_of(store: Store, slug: str) -> tuple[Result, ...]:
    """Return every result of a schedule, the newest first."""
    query = select(*_HEAD).where(SCHEDULE_RESULTS.c.slug == slug).order_by(SCHEDULE_RESULTS.c.number.desc())
    with store._reading() as connection:
        return tuple(Result(**row._mapping) for row in connection.execute(query))


def newest_results(store: Store) -> Mapping[str, Result]:
    """Return the newest result of each schedule that has one."""
    newest = select(func.max(SCHEDULE_RESULTS.c.number)).group_by(SCHEDULE_RESULTS.c.slug)
    query = select(*_HEAD).where(SCHEDULE_RESULTS.c.number.in_(newest))
    with store._reading() as connection:
        return {row.slug: Result(**row._mapping) for row in connection.execute(query)}


def schedule_of(store: Store, number: int) -> Schedule | None:
    """Return the schedule of a result, whole; None where there is none.  Raises StoreFault when it cannot be read."""
    query = select(SCHEDULE_RESULTS.c.schedule).where(SCHEDULE_RESULTS.c.number == number)
    with store._reading() as connection:
        row = connection.execute(query).one_or_none()
    return None if row is None else schedule_from_json(row.schedule)


def publish(store: Store, slug: str, result: int, *, at: datetime, by: str) -> bool:
    """Hang a result on the wall; returns whether anything changed: one that hangs there is not hung twice.

    Raises StoreFault where the schedule has no such result.
    """
    with store._writing() as connection:
        query = select(SCHEDULE_RESULTS.c.last_day).where(
            SCHEDULE_RESULTS.c.number == result, SCHEDULE_RESULTS.c.slug == slug
        )
        row = connection.execute(query).one_or_none()
        if row is None:
            raise StoreFault(f'the schedule "{slug}" has no result {result}')
        if (now := _published(connection, slug)) is not None and now.result == result:
            return False
        values = {"slug": slug, "result": result, "at": at, "by": by, "last_day": row.last_day}
        connection.execute(SCHEDULE_PUBLISHED.insert().values(values))
    return True


def published(store: Store, slug: str) -> Published | None:
    """Return what hangs on the wall of a schedule; None where nothing ever did."""
    with store._reading() as connection:
        return _published(connection, slug)


def published_of(store: Store, slugs: Iterable[str]) -> Mapping[str, Published]:
    """Return what hangs on the wall, for those of some schedules of which something does."""
    with store._reading() as connection:
        found = {slug: _published(connection, slug) for slug in slugs}
    return {slug: each for slug, each in found.items() if each is not None}


def _published(connection: Connection, slug: str) -> Published | None:
    table = SCHEDULE_PUBLISHED
    query = select(table.c.slug, table.c.result, table.c.at, table.c.by).where(table.c.slug == slug)
    row = connection.execute(query.order_by(table.c.number.desc()).limit(1)).one_or_none()
    return None if row is None else Published(**row._mapping)


def kept_to(store: Store, slug: str) -> tuple[int, Schedule] | None:
    """Return what the next schedule is to keep to: the one on the wall, else the newest; None where there is none.

    One that can no longer be read counts as none: a new schedule is made from nothing then.
    """
    hung = published(store, slug)
    found = results_of(store, slug)
    number = hung.result if hung else found[0].number if found else None
    if number is None:
        return None
    try:
        schedule = schedule_of(store, number)
    except StoreFault:
        return None
    return None if schedule is None else (number, schedule)
