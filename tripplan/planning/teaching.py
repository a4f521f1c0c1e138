"""What each planned dive of a course holds for its learners, and whether the dive may be made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace

from tripplan.catalogue.site import Place
from tripplan.check import Check
from tripplan.people.person import Person
from tripplan.people.skills import Course, Skills, SkillWater
from tripplan.planning.limits import CONFINED
from tripplan.planning.plan import DivePlan, SkillLine
from tripplan.planning.progress import CourseDive, SkillTick, check_course_dive, counted_ticks, dive_holds
from tripplan.planning.request import GroupWish, Request


@dataclass(frozen=True)
class Taught:
    """The dives with the skills that each of them holds, and what was judged."""

    dives: tuple[DivePlan, ...]
    checks: tuple[Check, ...]


def waters_of(place: Place) -> frozenset[SkillWater]:
    """Return the waters of a course that a place is fit for: confined where it suits skills, else open."""
    found: set[SkillWater] = set()
    for suit in place.suits:
        found.add("confined" if suit == CONFINED else "open")
    return frozenset(found)


def no_instructors(people: Mapping[str, Person]) -> tuple[str, ...]:
    """Return who may tick no skill as done: everybody in the list of people who is no instructor by it."""
    return tuple(person.name for person in people.values() if not person.level.is_instructor)


def teach(
    request: Request,
    dives: Sequence[DivePlan],
    places: Mapping[str, Place],
    skills: Skills,
    ticks: Mapping[str, tuple[SkillTick, ...]],
    people: Mapping[str, Person],
) -> Taught:
    """Return the dives of a day with what they hold for each learner, and the checks of that.

    places -- by name of the group;  ticks -- by kind of course;  people -- everybody in the list, by name
    """
    may_not = no_instructors(people)
    made: list[DivePlan] = []
    checks: list[Check] = []
    groups = {group.name: group for group in request.groups}
    before: dict[str, list[int]] = {}
    planned_for: set[tuple[str, int, str]] = set()  # who does what on a dive of the day before this one
    for dive in dives:
        group = groups[dive.group]
        number = _course_dive(group, dive.number)
        course = skills.course(dive.kind)
        planned = CourseDive(
            group=dive.group,
            kind=dive.kind,
            number=number,
            learners=dive.divers,
            day=request.date,
            waters=waters_of(places[dive.group]),
            depth_m=dive.depth_m,
            before_today=tuple(before.get(dive.group, ())),
        )
        told = ticks.get(dive.kind, ())
        checks.extend(check_course_dive(planned, course, told, may_not))
        if number is not None:
            before.setdefault(dive.group, []).append(number)
        seen = [tick for tick in counted_ticks(told, may_not) if tick.day <= request.date]
        held = _with_skills(dive, number, course, seen, planned_for)
        planned_for |= {(name, line.dive, line.skill) for line in held.skills for name in line.learners}
        made.append(held)
    return Taught(tuple(made), tuple(checks))


def _course_dive(group: GroupWish, number: int) -> int | None:
    return group.dives[number - 1].course_dive if number <= len(group.dives) else None


def _with_skills(
    dive: DivePlan,
    number: int | None,
    course: Course | None,
    ticks: Sequence[SkillTick],
    planned_for: Set[tuple[str, int, str]],
) -> DivePlan:
    """Return a dive with a line for each skill that anybody still has to do on it, in the order of the course.

    planned_for -- who does what on an earlier dive of the day: it is not said again
    """
    asked = course.dive(number) if course is not None and number is not None else None
    if course is None or asked is None:
        return dive
    lines: dict[tuple[int, str], SkillLine] = {}
    for learner in dive.divers:
        for open_skill in dive_holds(course, asked, learner, ticks):
            key = (open_skill.dive, open_skill.skill)
            if (learner, *key) in planned_for:
                continue
            line = lines.setdefault(key, SkillLine(open_skill.skill, open_skill.dive, (), ()))
            lines[key] = replace(
                line,
                learners=(*line.learners, learner),
                again=(*line.again, learner) if open_skill.again else line.again,
            )
    order = {(each.number, name): place for each in course.dives for place, name in enumerate(each.skills)}
    ordered = sorted(
        lines.values(), key=lambda line: (line.dive == asked.number, line.dive, order[line.dive, line.skill])
    )
    return replace(dive, course_dive=asked.number, course_dive_name=asked.name, skills=tuple(ordered))
