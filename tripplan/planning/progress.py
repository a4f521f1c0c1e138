"""How far each learner is in a course: what is open, what the next dive must hold, and whether a planned dive may go.

A skill is closed by a tick of an instructor and opened again by a later one. What nobody ticked is open. Who is no
instructor is for the caller to say: what they call done closes nothing, what they call open is open.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from tripplan.check import Check, Outcome
from tripplan.errors import OutOfRange
from tripplan.people.group import KINDS
from tripplan.people.skills import Course, Skill, SkillDive, SkillWater, as_compared

TickResult = Literal["done", "again"]
SOURCE = "CENTRE"  # the list of skills is the centre's own


@dataclass(frozen=True)
class SkillTick:
    """What an instructor saw: a skill of one dive of a course was done, or has to be done again.

    A skill that is made up later is ticked for the dive that asked for it, with the day on which it was seen.

    Raises OutOfRange for a tick without person, skill, dive or instructor, and for one that somebody gave themselves.
    """

    person: str
    skill: str
    dive: int  # its number in the course, from 1
    day: date
    by: str
    result: TickResult

    def __post_init__(self) -> None:
        """Refuse what could not be used later."""
        for what, value in (("person", self.person), ("skill", self.skill), ("who saw it", self.by)):
            if not value.strip():
                raise OutOfRange(f"{what} is missing in a tick; give a name")
        if self.dive < 1:
            raise OutOfRange(f"the dive of a tick is {self.dive}; the dives of a course are counted from 1")
        if self.result not in get_args(TickResult):
            raise OutOfRange(f'the result of a tick is "{self.result}"; accepted: {", ".join(get_args(TickResult))}')
        if as_compared(self.by) == as_compared(self.person):
            raise OutOfRange(f"{self.person} cannot tick their own skill; an instructor does")


@dataclass(frozen=True)
class OpenSkill:
    """A skill of one dive that a learner has not done yet, or has to do again."""

    dive: int
    skill: str
    water: SkillWater  # of the dive that asks for it
    confined_first: bool  # in this confined water it comes before any dive in open water
    again: bool  # it was tried and has to be done again
    only_in: SkillWater | None = None  # where it can be done; None: in either
    least_depth_m: float | None = None  # of a dive on which it can be done

    @property
    def words(self) -> str:
        """The skill with its dive.

        >>> OpenSkill(1, "mask clearing", "confined", True, False).words
        'mask clearing (dive 1)'
        """
        return f"{self.skill} (dive {self.dive}{', again' if self.again else ''})"


def open_skills(course: Course, person: str, ticks: Iterable[SkillTick]) -> tuple[OpenSkill, ...]:
    """Return what is open for a learner, in the order of the course.

    ticks -- in the order in which they were written; of two for one skill of one dive the later day counts, on one day
             the one written later. Ticks of other people, and of skills that no dive asks for, change nothing
    """
    last = _last_results(person, ticks)
    found: list[OpenSkill] = []
    for dive in course.dives:
        for name in dive.skills:
            result = last.get((dive.number, as_compared(name)))
            if result == "done":
                continue
            skill = course.skill(name) or Skill(name=name)
            found.append(
                OpenSkill(
                    dive=dive.number,
                    skill=name,
                    water=dive.water,
                    confined_first=skill.confined_first and dive.water == "confined",
                    again=result == "again",
                    only_in=skill.water,
                    least_depth_m=skill.least_depth_m,
                )
            )
    return tuple(found)


def counted_ticks(ticks: Iterable[SkillTick], may_not: Collection[str]) -> tuple[SkillTick, ...]:
    """Return ticks without every "done" by somebody who may not say so; "again" of anybody stays.

    may_not -- names of those who are no instructors by the list of people; of a name that is not there nothing is
               known, and its ticks count
    """
    names = {as_compared(name) for name in may_not}
    return tuple(tick for tick in ticks if tick.result != "done" or as_compared(tick.by) not in names)


def uncounted(
    course: Course, people: Iterable[str], ticks: Iterable[SkillTick], may_not: Collection[str]
) -> tuple[SkillTick, ...]:
    """Return the ticks of some people for which a skill would be closed, had an instructor given them."""
    ticks = tuple(ticks)
    counted = counted_ticks(ticks, may_not)
    without = set(ticks).difference(counted)
    if not without:
        return ()
    found: list[SkillTick] = []
    for person in dict.fromkeys(people):
        closed = {(each.dive, as_compared(each.skill)) for each in open_skills(course, person, counted)}
        closed -= {(each.dive, as_compared(each.skill)) for each in open_skills(course, person, ticks)}
        found.extend(
            tick
            for tick in ticks
            if tick in without
            and as_compared(tick.person) == as_compared(person)
            and (tick.dive, as_compared(tick.skill)) in closed
        )
    return tuple(found)


def strangers(course: Course, people: Iterable[str], ticks: Iterable[SkillTick]) -> tuple[SkillTick, ...]:
    """Return the ticks of some people that fit no skill of a course: they close nothing, and somebody should look."""
    names = {as_compared(name) for name in people}
    known = {(dive.number, as_compared(name)) for dive in course.dives for name in dive.skills}
    return tuple(
        tick
        for tick in ticks
        if as_compared(tick.person) in names and (tick.dive, as_compared(tick.skill)) not in known
    )


@dataclass(frozen=True)
class NextDive:
    """What the next dive of a learner must hold, and what forbids it."""

    person: str
    number: int
    name: str
    water: SkillWater
    first: tuple[OpenSkill, ...]  # open from other dives: they come first
    own: tuple[OpenSkill, ...]  # then the dive's own
    stays: tuple[OpenSkill, ...]  # open from other dives, and not for this water
    blocking: tuple[OpenSkill, ...]  # while one of them is open, the dive is not allowed
    instead: int | None  # the dive of the course to make up first; None where this one is allowed
    sentences: tuple[str, ...]  # why it is not allowed, and what comes instead

    @property
    def allowed(self) -> bool:
        """Whether nothing that must come before the dive is open."""
        return not self.blocking

    @property
    def least_depth_m(self) -> float | None:
        """The least depth on which all that the dive must hold can be done, metres; None: any."""
        depths = [each.least_depth_m for each in (*self.first, *self.own) if each.least_depth_m is not None]
        return max(depths, default=None)


def next_dive_of(course: Course, person: str, ticks: Iterable[SkillTick]) -> NextDive | None:
    """Return what a learner's next dive must hold; None where nothing of the course is open.

    It is the first dive of the course of which nothing is ticked yet; where every dive was begun, the first one with
    something open.
    """
    ticks = tuple(ticks)
    opened = open_skills(course, person, ticks)
    if not opened:
        return None
    begun = {dive for dive, _ in _last_results(person, ticks)}
    dive = next((each for each in course.dives if each.number not in begun), None)
    if dive is None:
        dive = next(each for each in course.dives if each.number == opened[0].dive)
    blocking = _blocking(course, dive, opened)
    first, stays = _carried(dive, opened, blocking)
    instead = _allowed_before(course, dive, opened)
    return NextDive(
        person=person,
        number=dive.number,
        name=dive.name,
        water=dive.water,
        first=first,
        own=tuple(each for each in opened if each.dive == dive.number),
        stays=stays,
        blocking=blocking,
        instead=instead.number if blocking else None,
        sentences=_why_not(course, dive, instead, person, blocking),
    )


def dive_holds(course: Course, dive: SkillDive, person: str, ticks: Iterable[SkillTick]) -> tuple[OpenSkill, ...]:
    """Return what a dive of a course holds for a learner: what is made up first, then what is open of the dive itself.

    What blocks the dive, and what cannot be done in its water, is not in it.
    """
    opened = open_skills(course, person, ticks)
    first, _ = _carried(dive, opened, _blocking(course, dive, opened))
    return (*first, *(each for each in opened if each.dive == dive.number))


@dataclass(frozen=True)
class ProgressRow:
    """One learner's line in the table of a group."""

    person: str
    done: tuple[int, ...]  # skills closed, dive by dive
    open: tuple[OpenSkill, ...]
    next: NextDive | None  # None: nothing is open


@dataclass(frozen=True)
class GroupProgress:
    """The table of a group: a row a learner, a column a dive."""

    kind: str
    dives: tuple[tuple[int, str, int], ...]  # number, name, how many skills
    rows: tuple[ProgressRow, ...]

    @property
    def next_number(self) -> int | None:
        """The dive that the group can make together next: of the slowest learner; None where nothing is open."""
        wanted = [row.next.instead or row.next.number for row in self.rows if row.next is not None]
        return min(wanted, default=None)


def group_progress(course: Course, people: Sequence[str], ticks: Iterable[SkillTick]) -> GroupProgress:
    """Return how far each of some learners is, in the order of their names as given."""
    ticks = tuple(ticks)
    rows = []
    for person in people:
        opened = open_skills(course, person, ticks)
        done = tuple(len(dive.skills) - sum(each.dive == dive.number for each in opened) for dive in course.dives)
        rows.append(ProgressRow(person, done, opened, next_dive_of(course, person, ticks)))
    dives = tuple((dive.number, dive.name, len(dive.skills)) for dive in course.dives)
    return GroupProgress(course.kind, dives, tuple(rows))


# ---- a planned dive ----


@dataclass(frozen=True)
class CourseDive:
    """A dive of a course as it is planned."""

    group: str
    kind: str  # "level_1_course", ...
    number: int | None  # of the course; None: nobody said
    learners: tuple[str, ...]
    day: date
    waters: frozenset[SkillWater]  # what the place is fit for; empty: not known
    depth_m: float | None  # planned; None: not known
    before_today: tuple[int, ...] = ()  # dives of the course that this group makes earlier on the day


def check_course_dive(
    planned: CourseDive, course: Course | None, ticks: Iterable[SkillTick], may_not: Collection[str] = ()
) -> tuple[Check, ...]:
    """Judge a planned dive of a course against what is open for its learners.

    course -- of the dive's kind; None: the centre's file has none
    may_not -- as for `counted_ticks`

    A stop: a skill that comes first in confined water, or one that this dive's skills need, is open for somebody; or
    the place is not the water that the dive asks for. "done" of a later day than the plan's does not count. What is
    open from a dive earlier on the day is a caution, as long as that dive has not begun: it must be ticked in between.
    """
    kind = KINDS.get(planned.kind)
    words = kind.words if kind is not None else planned.kind
    subject = planned.group
    if course is None:
        if kind is None or not kind.teaches:
            return ()
        sentence = f"{subject}: the centre's list of skills has no {words}, so nobody can say what is open."
        return (Check("skills-open", Outcome.CAUTION, sentence, SOURCE, subject=subject),)
    written = tuple(tick for tick in ticks if tick.result != "done" or tick.day <= planned.day)
    ticks = counted_ticks(written, may_not)
    if planned.number is None:
        named = _together(
            (
                person,
                "nothing left" if (after := next_dive_of(course, person, ticks)) is None else f"dive {after.number}",
            )
            for person in planned.learners
        )
        sentence = (
            f"{subject}: nobody said which dive of the {words} this is, so nothing is judged. Next would be: {named}."
        )
        return (Check("skills-open", Outcome.CAUTION, sentence, SOURCE, subject=subject),)
    dive = course.dive(planned.number)
    if dive is None:
        sentence = f"{subject}: the {words} has no dive {planned.number}; it has dives 1 to {len(course.dives)}."
        return (Check("skills-open", Outcome.STOP, sentence, SOURCE, subject=subject),)
    name = f"{subject}, dive {dive.number} of the {words} ({dive.name})"
    checks = [*_check_open(planned, course, dive, name, ticks, written), *_check_water(planned, dive, name)]
    checks.extend(_check_depth(planned, course, dive, name, ticks))
    if others := uncounted(course, planned.learners, written, may_not):
        told = ", ".join(
            dict.fromkeys(f'{tick.by} for {tick.person} "{tick.skill}" (dive {tick.dive})' for tick in others)
        )
        sentence = (
            f"{name}: ticks by who is no instructor by the list of people close nothing: {told}. "
            "An instructor sees the skill, or the list is put right."
        )
        checks.append(Check("skills-ticks", Outcome.CAUTION, sentence, SOURCE, len(others), 0.0, "ticks", subject))
    if odd := strangers(course, planned.learners, written):
        told = ", ".join(dict.fromkeys(f'{tick.person} "{tick.skill}" (dive {tick.dive})' for tick in odd))
        sentence = f"{name}: ticks that fit no skill of the course close nothing: {told}. Look what was meant."
        checks.append(Check("skills-ticks", Outcome.CAUTION, sentence, SOURCE, len(odd), 0.0, "ticks", subject))
    return tuple(checks)


def _check_open(
    planned: CourseDive,
    course: Course,
    dive: SkillDive,
    name: str,
    ticks: Sequence[SkillTick],
    written: Sequence[SkillTick],
) -> list[Check]:
    """Judge what is open before a dive.

    written -- with the ticks that do not count: a dive of which they are has begun all the same
    """
    stops: list[tuple[str, tuple[OpenSkill, ...]]] = []
    waits: list[tuple[str, tuple[OpenSkill, ...]]] = []
    comes: list[tuple[str, tuple[OpenSkill, ...]]] = []
    for person in planned.learners:
        opened = open_skills(course, person, ticks)
        blocking = _blocking(course, dive, opened)
        ahead = _ahead(planned, course, person, opened, written)
        stops.append((person, tuple(each for each in blocking if each not in ahead)))
        waits.append((person, tuple(each for each in blocking if each in ahead)))
        first, stays = _carried(dive, opened, blocking)
        comes.append((person, tuple(each for each in (*first, *stays) if each not in ahead)))
    checks: list[Check] = []

    def tell(outcome: Outcome, who: list[tuple[str, tuple[OpenSkill, ...]]], lead: str, end: str) -> None:
        count = sum(len(items) for _, items in who)
        if count:
            told = _together((person, _listed(course, items)) for person, items in who if items)
            sentence = f"{name}: {lead}: {told}. {end}"
            checks.append(Check("skills-open", outcome, sentence, SOURCE, count, 0.0, "skills", planned.group))

    tell(
        Outcome.STOP,
        stops,
        "skills that must come before it are open",
        "They are made up first, in the water they ask for.",
    )
    earlier = " and ".join(str(number) for number in planned.before_today)
    tell(
        Outcome.CAUTION,
        waits,
        f"it needs skills that are open until dive {earlier}, earlier on the day, closes them",
        "Who has not been ticked for them by then does not go.",
    )
    tell(Outcome.CAUTION, comes, "skills of other dives are open", "They come first, as far as this water allows.")
    if not planned.learners:
        sentence = f"{name}: no learner is named, so nobody can say what is open."
        checks.append(Check("skills-open", Outcome.CAUTION, sentence, SOURCE, subject=planned.group))
    elif not checks:
        sentence = f"{name}: nothing that must come before it is open for {', '.join(planned.learners)}."
        checks.append(Check("skills-open", Outcome.OK, sentence, SOURCE, 0, 0.0, "skills", planned.group))
    return checks


def _ahead(
    planned: CourseDive, course: Course, person: str, opened: Sequence[OpenSkill], ticks: Sequence[SkillTick]
) -> tuple[OpenSkill, ...]:
    """Return what dives earlier on the day can still close, as long as they have not begun."""
    who = as_compared(person)
    today = {
        (tick.dive, as_compared(tick.skill))
        for tick in ticks
        if tick.day >= planned.day and as_compared(tick.person) == who
    }
    begun = {dive for dive, _ in today}
    found: list[OpenSkill] = []
    for number in planned.before_today:
        before = course.dive(number)
        if before is None or number in begun:
            continue
        first, _ = _carried(before, opened, _blocking(course, before, opened))
        found.extend(each for each in opened if each.dive == number or each in first)
    return tuple(each for each in found if (each.dive, as_compared(each.skill)) not in today)


def _check_water(planned: CourseDive, dive: SkillDive, name: str) -> list[Check]:
    if dive.water in planned.waters:
        sentence, outcome = f"{name}: the place is fit for {dive.water} water.", Outcome.OK
    elif not planned.waters:
        sentence = f"{name}: it asks for {dive.water} water, and nobody said what the place is fit for."
        outcome = Outcome.CAUTION
    elif dive.water == "confined":
        sentence = f"{name}: it asks for confined water, and the place is open water."
        outcome = Outcome.STOP
    else:
        sentence = f"{name}: it asks for open water, and the place is confined: the dive does not count as one."
        outcome = Outcome.CAUTION
    found = " and ".join(sorted(planned.waters)) or None
    return [Check("skills-water", outcome, sentence, SOURCE, found, dive.water, "", planned.group)]


def _check_depth(
    planned: CourseDive, course: Course, dive: SkillDive, name: str, ticks: Sequence[SkillTick]
) -> list[Check]:
    """Say which skills the planned depth is too shallow for; the depth is never made deeper by this."""
    wanted: dict[str, float] = {}
    for person in planned.learners:
        opened = open_skills(course, person, ticks)
        first, _ = _carried(dive, opened, _blocking(course, dive, opened))
        for each in (*first, *(own for own in opened if own.dive == dive.number)):
            if each.least_depth_m is not None and each.dive not in planned.before_today:
                wanted[each.skill] = each.least_depth_m
    if not wanted:
        return []
    deepest = max(wanted.values())
    if planned.depth_m is not None and planned.depth_m >= deepest:
        return []
    short = {skill: depth for skill, depth in wanted.items() if planned.depth_m is None or depth > planned.depth_m}
    told = ", ".join(f"{skill} ({depth:g} m)" for skill, depth in short.items())
    found = "its depth is not known" if planned.depth_m is None else f"it is planned to {planned.depth_m:g} m"
    sentence = f"{name}: {found}, and some skills ask for more: {told}. They stay open; nobody goes deeper for them."
    return [Check("skills-depth", Outcome.CAUTION, sentence, SOURCE, planned.depth_m, deepest, "m", planned.group)]


# ---- within ----


def _last_results(person: str, ticks: Iterable[SkillTick]) -> dict[tuple[int, str], TickResult]:
    """Return the result that counts for each skill of each dive of a person, by dive and name as compared."""
    who = as_compared(person)
    mine = [tick for tick in ticks if as_compared(tick.person) == who]
    mine.sort(key=lambda tick: tick.day)  # those of one day stay in the order in which they were written
    return {(tick.dive, as_compared(tick.skill)): tick.result for tick in mine}


def _needed(course: Course, dive: SkillDive) -> set[str]:
    """Return every skill that the skills of a dive need, and those that these need, by name as compared."""
    found: set[str] = set()
    ahead = [as_compared(name) for name in dive.skills]
    while ahead:
        skill = course.skill(ahead.pop())
        for need in skill.needs if skill is not None else ():
            if (key := as_compared(need)) not in found:
                found.add(key)
                ahead.append(key)
    return found


def _blocking(course: Course, dive: SkillDive, opened: Sequence[OpenSkill]) -> tuple[OpenSkill, ...]:
    """Return what must be closed before a dive: needs, and before open water what comes first in confined water."""
    needed = _needed(course, dive)
    found = []
    for each in opened:
        if each.dive >= dive.number:
            continue
        if as_compared(each.skill) in needed or (each.confined_first and dive.water == "open"):
            found.append(each)
    return tuple(found)


def _allowed_before(course: Course, dive: SkillDive, opened: Sequence[OpenSkill]) -> SkillDive:
    """Return the dive itself where it is allowed, else the earlier one that closes what it waits for, and so on."""
    while blocking := _blocking(course, dive, opened):
        number = min(each.dive for each in blocking)  # always an earlier one, so this ends
        dive = next(each for each in course.dives if each.number == number)
    return dive


def _carried(
    dive: SkillDive, opened: Sequence[OpenSkill], blocking: Sequence[OpenSkill]
) -> tuple[tuple[OpenSkill, ...], tuple[OpenSkill, ...]]:
    """Return what a dive takes over from others, and what stays open because it is not for this water.

    Of a later dive it is what was tried there and has to be done again.
    """
    rest = [
        each
        for each in opened
        if each not in blocking and (each.dive < dive.number or (each.dive > dive.number and each.again))
    ]
    first = tuple(each for each in rest if each.only_in in (None, dive.water))
    return first, tuple(each for each in rest if each not in first)


def _why_not(
    course: Course, dive: SkillDive, instead: SkillDive, person: str, blocking: Sequence[OpenSkill]
) -> tuple[str, ...]:
    if not blocking:
        return ()
    lead = f"{person} may not make dive {dive.number} ({dive.name}) yet"
    confined = tuple(each for each in blocking if each.confined_first and dive.water == "open")
    needed = tuple(each for each in blocking if each not in confined)
    sentences = []
    if confined:
        sentences.append(f"{lead}: open, and to be done in confined water first: {_listed(course, confined)}.")
    if needed:
        sentences.append(f"{lead}: its skills need what is open: {_listed(course, needed)}.")
    sentences.append(f"What is open of dive {instead.number} ({instead.name}) is made up first.")
    return tuple(sentences)


def _listed(course: Course, items: Sequence[OpenSkill]) -> str:
    """Return open skills dive by dive, so that a long list stays readable."""
    parts = []
    for dive in course.dives:
        mine = [each for each in items if each.dive == dive.number]
        if mine:
            names = ", ".join(f"{each.skill}{' (again)' if each.again else ''}" for each in mine)
            parts.append(f"of dive {dive.number} {names}")
    return "; ".join(parts)


def _together(told: Iterable[tuple[str, str]]) -> str:
    """Return people with what is said of them; those of whom the same is said stand together."""
    by_words: dict[str, list[str]] = {}
    for person, words in told:
        by_words.setdefault(words, []).append(person)
    return "; ".join(f"{', '.join(people)}: {words}" for words, people in by_words.items()) or "nobody"
