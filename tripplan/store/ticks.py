"""The ticks of skills in the store: what instructors saw, tick by tick. They are only added; a later one corrects."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Row, select
from sqlalchemy.dialects import postgresql, sqlite

from tripplan.errors import OutOfRange
from tripplan.people.skills import COURSE_KINDS, as_compared
from tripplan.planning.progress import SkillTick
from tripplan.store.database import Store, StoreFault
from tripplan.store.tables import TICKS

LONGEST = 120  # letters of a name or a skill


@dataclass(frozen=True)
class KeptTick:
    """A tick with its course and when it was written.

    uid -- made with the form, 8 to 64 letters, digits and dashes: a tick that arrives twice is one tick
    at -- when it was written, aware

    Raises OutOfRange for what could not be used later.
    """

    uid: str
    at: datetime
    course: str  # its kind of dive: "level_1_course"
    tick: SkillTick

    def __post_init__(self) -> None:
        """Refuse what could not be used later."""
        if not re.fullmatch(r"[A-Za-z0-9-]{8,64}", self.uid):
            raise OutOfRange(f'uid is "{self.uid}"; it must be 8 to 64 letters, digits and dashes')
        if self.at.tzinfo is None:
            raise OutOfRange("the time of a tick needs its offset from UTC")
        if self.course not in COURSE_KINDS:
            raise OutOfRange(f'the course of a tick is "{self.course}"; accepted: {", ".join(COURSE_KINDS)}')
        for what in ("person", "skill", "by"):
            value: str = getattr(self.tick, what)
            if not value.isprintable() or len(value) > LONGEST:
                raise OutOfRange(f"{what} of a tick must be at most {LONGEST} letters that print, on one line")


class DiffersFromKept(StoreFault):
    """Ticks were handed in again under the same uid, but with another answer; nothing of them was kept."""

    def __init__(self, differing: Sequence[KeptTick]) -> None:
        self.differing = tuple(differing)
        told = ", ".join(f"{each.tick.person} {each.tick.skill}" for each in differing)
        super().__init__(f"this form was sent before with another answer: {told}. The first answer stands")


def add_ticks(store: Store, ticks: Sequence[KeptTick]) -> tuple[KeptTick, ...]:
    """Keep ticks in the order given, all of them or none, and return those that are new.

    One that is known already, by its uid, is not kept twice.  Raises DiffersFromKept where something else is known
    under its uid, and StoreFault where the store did not take them.
    """
    new: list[KeptTick] = []
    differing: list[KeptTick] = []
    with store._writing() as connection:
        insert = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
        for each in ticks:
            asked = insert(TICKS).on_conflict_do_nothing(index_elements=["uid"])
            if connection.execute(asked.values(**_values(each)).returning(TICKS.c.uid)).one_or_none() is not None:
                new.append(each)
                continue
            before = _kept(connection.execute(select(TICKS).where(TICKS.c.uid == each.uid)).one())
            if (before.course, before.tick) != (each.course, each.tick):
                differing.append(each)
        if differing:
            raise DiffersFromKept(differing)
    return tuple(new)


def ticks(store: Store, course: str | None = None) -> tuple[KeptTick, ...]:
    """Return every tick, of one course or of all, in the order in which they were written."""
    query = select(TICKS).order_by(TICKS.c.number)
    if course is not None:
        query = query.where(TICKS.c.course == course)
    with store._reading() as connection:
        return tuple(_kept(row) for row in connection.execute(query))


def ticks_of(store: Store, people: Iterable[str], course: str | None = None) -> tuple[KeptTick, ...]:
    """Return the ticks of some people, whatever the capitals and spaces of their names, as ``ticks`` does."""
    wanted = {as_compared(name) for name in people}
    return tuple(each for each in ticks(store, course) if as_compared(each.tick.person) in wanted)


def together(
    before: Mapping[str, tuple[SkillTick, ...]], kept: Iterable[KeptTick]
) -> Mapping[str, tuple[SkillTick, ...]]:
    """Return ticks by kind of course, as a world holds them: those of a centre's file first, then those of the store.

    before -- seen before the store was in use: of one day, what the store has counts
    """
    found = {course: list(each) for course, each in before.items()}
    for one in kept:
        found.setdefault(one.course, []).append(one.tick)
    return {course: tuple(each) for course, each in found.items()}


def _values(one: KeptTick) -> dict[str, Any]:
    tick = one.tick
    return {
        "uid": one.uid,
        "at": one.at,
        "day": tick.day,
        "course": one.course,
        "person": tick.person,
        "dive": tick.dive,
        "skill": tick.skill,
        "result": tick.result,
        "by": tick.by,
    }


def _kept(row: Row[Any]) -> KeptTick:
    tick = SkillTick(row.person, row.skill, row.dive, row.day, row.by, row.result)
    return KeptTick(row.uid, row.at.astimezone(UTC), row.course, tick)
