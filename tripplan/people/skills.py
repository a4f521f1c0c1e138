"""What each course asks for, dive by dive: skills, what each needs first, and which start in confined water.

One TOML file a centre, written in its own words. What is read here is the centre's own list, not a training standard.
"""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from tripplan.people.group import KINDS, KindName
from tripplan.record import Misfit, OneLine, Record, TomlFile, judge, read_toml

SkillWater = Literal["confined", "open"]
MOST_CIRCLES = 20  # that are told of one course
COURSE_KINDS: tuple[str, ...] = tuple(kind.name for kind in KINDS.values() if kind.training)


@lru_cache(maxsize=4096)  # the same names are compared thousands of times in a plan
def as_compared(name: str) -> str:
    """Return a name as names are compared: capitals, spaces and how an accent was typed tell no two apart.

    >>> as_compared(" Mask  Clearing ")
    'mask clearing'
    """
    return " ".join(unicodedata.normalize("NFC", name).split()).casefold()


class Skill(Record):
    """One skill of a course."""

    name: OneLine = Field(min_length=1, max_length=80, description="what the skill is called, once in the course")
    needs: tuple[OneLine, ...] = Field(default=(), max_length=40, description="skills that come before it, by name")
    confined_first: bool = Field(default=False, description="true where it is done in confined water first")
    water: SkillWater | None = Field(default=None, description="where it can be done; either: left out")
    least_depth_m: float | None = Field(
        default=None, gt=0, le=40, description="least depth of a dive on which it can be done, metres; any: left out"
    )

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """What goes from confined into open water is bound to neither; nothing comes before itself."""
        if parts.get("confined_first") and parts.get("water") is not None:
            yield ("water",), f'is "{parts["water"]}", but confined_first is true: it is done in both; leave water out'
        if "name" in parts:
            for number, need in enumerate(parts.get("needs", ())):
                if as_compared(need) == as_compared(parts["name"]):
                    yield ("needs", number), f'is "{need}", the skill itself; name skills that come before it'
        seen: set[str] = set()
        for number, need in enumerate(parts.get("needs", ())):
            if as_compared(need) in seen:
                yield ("needs", number), f'is "{need}", which stands in the list already'
            seen.add(as_compared(need))


class SkillDive(Record):
    """One dive of a course: its water and its skills, in the order in which they are done."""

    number: int = Field(ge=1, le=60, description="number of the dive in the course, from 1")
    name: OneLine = Field(min_length=1, max_length=80, description="what the dive is called")
    water: SkillWater = Field(description="confined or open water")
    skills: tuple[OneLine, ...] = Field(min_length=1, max_length=60, description="skills by name, in order")


class Course(Record):
    """The dives of one kind of course, in order."""

    kind: KindName = Field(description="kind of dive, like level_1_course")
    skills: tuple[Skill, ...] = Field(min_length=1, max_length=400, description="at least one [[courses.skills]]")
    dives: tuple[SkillDive, ...] = Field(min_length=1, max_length=60, description="at least one [[courses.dives]]")

    def dive(self, number: int) -> SkillDive | None:
        """Return a dive by its number; None where the course has no such dive."""
        return next((dive for dive in self.dives if dive.number == number), None)

    def skill(self, name: str) -> Skill | None:
        """Return a skill by its name, whatever its capitals and spaces; None where the course has no such skill."""
        return next((skill for skill in self.skills if as_compared(skill.name) == as_compared(name)), None)

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield everything for which no learner could go through the course in order."""
        kind = parts.get("kind")
        if kind is not None and not KINDS[kind].training:
            yield ("kind",), f'is "{kind}", on which nobody is taught; accepted: {", ".join(COURSE_KINDS)}'
        skills: Sequence[Skill] | None = parts.get("skills")
        dives: Sequence[SkillDive] | None = parts.get("dives")
        if skills is not None:
            yield from _faults_of_skills(skills)
        if dives is not None:
            yield from _faults_of_dives(dives)
        if skills is not None and dives is not None:
            yield from _faults_of_order(skills, dives)


class Skills(Record):
    """Every course of a centre; of a kind that is left out no skill is followed, and plans say so."""

    courses: tuple[Course, ...] = Field(default=(), max_length=20)

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """A kind stands once."""
        seen: dict[str, int] = {}
        for number, course in enumerate(parts.get("courses", ())):
            first = seen.setdefault(course.kind, number)
            if first != number:
                yield (
                    ("courses", number, "kind"),
                    f'is "{course.kind}", as courses[{first + 1}] is; give each kind once',
                )

    def course(self, kind: str) -> Course | None:
        """Return the course of a kind of dive; None where the file has none."""
        return next((course for course in self.courses if course.kind == kind), None)


def read_skills(path: Path) -> Skills:
    """Read and judge a centre's file of skills.  Raises BadRecord with every fault found, each with its line."""
    return skills_from(read_toml(path))


def skills_from(file: TomlFile) -> Skills:
    """Judge a file of skills already read.  Raises BadRecord with every fault found."""
    return judge(file, Skills)


# ---- what does not fit together ----


def _faults_of_skills(skills: Sequence[Skill]) -> Iterator[Misfit]:
    """Yield names that stand twice, needs that nobody knows, and needs that go round in a circle."""
    seen: dict[str, int] = {}
    for number, skill in enumerate(skills):
        first = seen.setdefault(as_compared(skill.name), number)
        if first != number:
            yield ("skills", number, "name"), f'is "{skill.name}", which skills[{first + 1}] has already'
    for number, skill in enumerate(skills):
        for place, need in enumerate(skill.needs):
            if as_compared(need) not in seen:
                yield ("skills", number, "needs", place), f'is "{need}", {_unknown(need, skills)}'
    for circle in _circles(skills):
        first, closes = seen[circle[0]], circle[1 % len(circle)]
        place = [as_compared(need) for need in skills[first].needs].index(closes)
        words = ", which needs ".join(f'"{skills[seen[key]].name}"' for key in (*circle, circle[0]))
        yield ("skills", first, "needs", place), f"goes round in a circle: {words}; one of them must come first"


def _circles(skills: Sequence[Skill]) -> tuple[tuple[str, ...], ...]:
    """Return circles of needs, each skill of one needing the next and the last the first; one need is in one circle."""
    known = {as_compared(skill.name) for skill in skills}
    needs: dict[str, list[str]] = {}
    for skill in skills:
        key = as_compared(skill.name)
        wanted = dict.fromkeys(as_compared(need) for need in skill.needs)
        needs.setdefault(key, [need for need in wanted if need in known and need != key])
    found: list[tuple[str, ...]] = []
    while len(found) < MOST_CIRCLES:
        try:
            TopologicalSorter(needs).prepare()
            break
        except CycleError as error:
            # Each is needed by the one after it, and the first stands at both ends.
            circle = tuple(reversed(error.args[1][1:]))
            found.append(circle)
            needs[circle[0]].remove(circle[1 % len(circle)])
    return tuple(found)


def _faults_of_dives(dives: Sequence[SkillDive]) -> Iterator[Misfit]:
    """Yield numbers out of order and skills that stand twice in a dive."""
    for index, dive in enumerate(dives):
        if dive.number != index + 1:
            yield (
                ("dives", index, "number"),
                f"is {dive.number}; the dives stand in order, and this is number {index + 1}",
            )
        seen: dict[str, int] = {}
        for place, name in enumerate(dive.skills):
            if seen.setdefault(as_compared(name), place) != place:
                yield ("dives", index, "skills", place), f'is "{name}", which stands in the list already'


def _faults_of_order(skills: Sequence[Skill], dives: Sequence[SkillDive]) -> Iterator[Misfit]:
    """Yield skills that are unknown, asked for nowhere, asked for before what they need, or in the wrong water."""
    by_name = {as_compared(skill.name): skill for skill in reversed(skills)}
    in_circle = {key for circle in _circles(skills) for key in circle}  # told already
    asked: set[str] = set()
    confined: set[str] = set()
    for index, dive in enumerate(dives):
        for place, name in enumerate(dive.skills):
            key, where = as_compared(name), ("dives", index, "skills", place)
            skill = by_name.get(key)
            if skill is None:
                yield where, f'is "{name}", {_unknown(name, skills)}'
                continue
            if skill.water is not None and skill.water != dive.water:
                yield where, f'is "{name}", which is for {skill.water} water, but this dive is in {dive.water} water'
            if skill.confined_first and dive.water == "open" and key not in confined:
                yield where, f'is "{name}", which comes first in confined water; no dive before this one has it there'
            for need in skill.needs:
                wanted = as_compared(need)
                if wanted in by_name and wanted not in asked and not {key, wanted} & in_circle and wanted != key:
                    yield where, f'is "{name}", which needs "{need}"; nothing before it in the course has that'
            asked.add(key)
            if dive.water == "confined":
                confined.add(key)
    for number, skill in enumerate(skills):
        if as_compared(skill.name) not in asked:
            yield ("skills", number, "name"), f'is "{skill.name}", which no dive asks for; name it in a dive'


def _unknown(name: str, skills: Sequence[Skill]) -> str:
    near = difflib.get_close_matches(as_compared(name), [as_compared(skill.name) for skill in skills], n=1)
    return "which is not among the skills of the course" + (f'; did you mean "{near[0]}"?' if near else "")
