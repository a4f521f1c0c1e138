"""Skills of courses: how far each learner is, what the next dive must hold, and the page on which dives are ticked."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import secrets
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

from flask import Blueprint, Response, abort, flash, g, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from tripplan.check import Check
from tripplan.documents.cells import harmless
from tripplan.documents.words import counted
from tripplan.errors import OutOfRange
from tripplan.people.group import KINDS
from tripplan.people.kit import day_words
from tripplan.people.skills import Course, SkillDive, as_compared
from tripplan.planning.progress import (
    CourseDive,
    OpenSkill,
    SkillTick,
    TickResult,
    check_course_dive,
    counted_ticks,
    dive_holds,
    group_progress,
    next_dive_of,
    open_skills,
    strangers,
    uncounted,
)
from tripplan.planning.request import GroupWish, Request
from tripplan.planning.teaching import no_instructors
from tripplan.store.database import StoreFault
from tripplan.store.folder import Folder
from tripplan.store.ticks import DiffersFromKept, KeptTick, add_ticks, ticks, together
from tripplan.store.ticks_file import COLUMNS
from tripplan.web.accounts import current_name, current_role
from tripplan.web.here import now, shelf
from tripplan.web.kept import kept, store_if_there
from tripplan.web.roles import may

bp = Blueprint("skills", __name__)

LONGEST_NAME = 60
RESULTS: Mapping[str, TickResult] = {"done": "done", "again": "again"}
RESULT_WORDS = {"done": "Done", "again": "Again"}
RELOAD = "load the page again and look what is open now"


# ---- who is on a course, and what was seen ----


@dataclass(frozen=True)
class Outing:
    """One group of a ready request that dives of a course are planned for."""

    request: str  # its file name without .toml
    asked: Request
    group: GroupWish

    @property
    def course_dives(self) -> tuple[int, ...]:
        """The dives of the course that its own dives are, as far as the request says."""
        return tuple(wish.course_dive for wish in self.group.dives if wish.course_dive is not None)


def _outings(kind: str) -> tuple[Outing, ...]:
    """Return every group of that kind of any request, the earliest day first."""
    found = [
        Outing(name, asked, group)
        for name, asked in shelf().requests.items()
        for group in asked.groups
        if group.kind == kind
    ]
    return tuple(sorted(found, key=lambda one: (one.asked.date, one.request)))


def with_ticks(folder: Folder) -> Folder:
    """Return a folder with the ticks of the store after those of its file.

    Where the store cannot be read nothing counts as seen, those of the file neither: a later tick may have opened
    something again, and what is open stops a dive.
    """
    g.filed_ticks = folder.world.ticks
    try:
        store = store_if_there()
        told = together(folder.world.ticks, ticks(store)) if store is not None else folder.world.ticks
    except StoreFault:  # the folder has the fault in words already, from the requests
        told = {}
    return replace(folder, world=replace(folder.world, ticks=told))


def _ticks_here() -> Mapping[str, tuple[SkillTick, ...]]:
    """Return what was seen, by kind of course: of the centre's file and of the store."""
    return {kind: _so_far(found) for kind, found in shelf().world.ticks.items()}


def _so_far(found: Iterable[SkillTick]) -> tuple[SkillTick, ...]:
    """Return ticks without what is said to be done on a day that has not come."""
    today = _last_day()
    return tuple(tick for tick in found if tick.result != "done" or tick.day <= today)


def _counted(seen: Iterable[SkillTick]) -> tuple[SkillTick, ...]:
    """Return ticks without what is said to be done by somebody who is no instructor by the list of people."""
    return counted_ticks(seen, no_instructors(shelf().world.people))


def _learners(kind: str, seen: Sequence[SkillTick]) -> tuple[str, ...]:
    """Return who is on a course: the divers of its groups, then whoever has ticks."""
    names = [name for one in _outings(kind) for name in one.group.divers]
    names += [tick.person for tick in seen]
    found: dict[str, str] = {}
    for name in names:
        found.setdefault(as_compared(name), _as_listed(name) or name)
    return tuple(found.values())


def _as_listed(name: str) -> str | None:
    """Return a name as the list of people writes it; None for somebody who is not in it."""
    return next((each for each in shelf().world.people if as_compared(each) == as_compared(name)), None)


def _last_day() -> date:
    """Return the latest day that it is today at any of the sites: nothing was seen after it."""
    moment = now()
    zones = {site.timezone for site in shelf().sites.values()}
    return max((moment.astimezone(ZoneInfo(zone)).date() for zone in zones), default=moment.date())


def _writer() -> str:
    return current_name() or " ".join(request.values.get("by", "").split())[:LONGEST_NAME]


# ---- how far everybody is ----


@bp.get("/skills")
def overview() -> str:
    """Show every course with its learners: what is closed, what is open, and what comes next."""
    seen = _ticks_here()
    courses = []
    for course in shelf().world.skills.courses:
        told = seen.get(course.kind, ())
        learners = _learners(course.kind, told)
        counted = _counted(told)
        outings = []
        for one in _outings(course.kind):
            next_number = group_progress(course, one.group.divers, counted).next_number
            numbers = one.course_dives or ((next_number,) if next_number is not None else ())
            outings.append((one, [number for number in dict.fromkeys(numbers) if course.dive(number)]))
        courses.append(
            {
                "course": course,
                "progress": group_progress(course, learners, counted),
                "uncounted": uncounted(course, learners, told, no_instructors(shelf().world.people)),
                "strangers": strangers(course, learners, told),
                "outings": outings,
            }
        )
    without = [kind.words for kind in KINDS.values() if kind.teaches and shelf().world.skills.course(kind.name) is None]
    return render_template(
        "skills.html",
        courses=courses,
        without=without,
        people={as_compared(name) for name in shelf().world.people},
        compared=as_compared,
        by_dive=_by_dive,
        today=_last_day(),
        sites=shelf().sites,
    )


def _by_dive(items: Iterable[OpenSkill]) -> list[tuple[int, list[OpenSkill]]]:
    """Return open skills dive by dive, so that a long list stays readable."""
    return [(number, list(those)) for number, those in groupby(items, key=lambda each: each.dive)]


@bp.get("/skills.csv")
def table() -> Response:
    """Give every tick as a table, in the columns of the centre's own file and two more."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow((*COLUMNS, "written", "uid"))
    shelf()
    filed = [("", "", course, tick) for course, seen in g.filed_ticks.items() for tick in seen]
    store = store_if_there()
    found = ticks(store) if store is not None else ()
    stored = [(one.at.isoformat(timespec="seconds"), one.uid, one.course, one.tick) for one in found]
    for written, uid, course, tick in (*filed, *stored):
        cells = {**vars(tick), "course": course}
        writer.writerow([harmless(str(cell)) for cell in (*(cells[name] for name in COLUMNS), written, uid)])
    return Response(
        out.getvalue(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="skills.csv"'},
    )


# ---- ticking a dive ----


@dataclass(frozen=True)
class Cell:
    """One skill of one learner on the page of a dive."""

    person: str
    open: OpenSkill | None  # None: it is closed
    last: SkillTick | None  # what was seen last; None: nothing yet
    uid: str  # the same as long as the form is: sent twice, it is kept once
    sends: Mapping[str, str]  # by answer, what the form sends
    chosen: str = ""  # what was chosen when the form came back

    @property
    def state(self) -> str:
        """How it stands, in words."""
        if self.last is None:
            return "open, not seen yet"
        seen = f"{day_words(self.last.day)}, {self.last.by}"
        if self.open is None:
            return f"done, {seen}"
        return f"to be done again, {seen}" if self.last.result == "again" else f"open, {seen}"


@dataclass(frozen=True)
class Line:
    """One skill with its learners."""

    skill: str
    dive: int
    made_up: bool  # it is of another dive of the course and is made up on this one
    least_depth_m: float | None
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Typed:
    """What stands in the form."""

    form: str  # what its ticks' uids begin with
    by: str
    day: str
    chosen: Mapping[str, str]  # by uid


@dataclass(frozen=True)
class Asked:
    """The dive of a course that the address names, and for whom."""

    course: Course
    dive: SkillDive
    outings: tuple[Outing, ...]  # the groups of the request; empty: everybody on the course, or one person
    people: tuple[str, ...]
    query: dict[str, Any]  # what of the address says for whom

    @property
    def title(self) -> str:
        """The dive in words."""
        return f"{KINDS[self.course.kind].words}, dive {self.dive.number}: {self.dive.name}"


def _asked(kind: str, number: str, seen: Sequence[SkillTick]) -> Asked:
    course = shelf().world.skills.course(kind) or abort(404)
    dive = course.dive(int(number)) if number.isascii() and number.isdigit() and len(number) < 4 else None
    if dive is None:
        abort(404)
    name, person = request.args.get("request", ""), request.args.get("person", "")
    if name:
        outings = tuple(one for one in _outings(kind) if one.request == name)
        if not outings:
            abort(400, f'No ready request is called "{name}" and has a group of this course.')
        people = tuple(dict.fromkeys(diver for one in outings for diver in one.group.divers))
        return Asked(course, dive, outings, people, {"request": name})
    if person:
        known = {as_compared(each): each for each in (*shelf().world.people, *_learners(kind, seen))}
        listed = known.get(as_compared(person)) or abort(400, f'"{person}" is not in the list of people.')
        return Asked(course, dive, (), (listed,), {"person": listed})
    return Asked(course, dive, (), _learners(kind, seen), {})


@bp.get("/skills/<kind>/<dive>")
def show(kind: str, dive: str) -> str:
    """Show the skills of a dive for each learner, with the answers to tick."""
    seen = _ticks_here().get(kind, ())
    asked = _asked(kind, dive, seen)
    day = min([*(one.asked.date for one in asked.outings), _last_day()])
    return _page(asked, seen, Typed(secrets.token_hex(12), _writer(), day.isoformat(), {}))


def _page(asked: Asked, seen: Sequence[SkillTick], typed: Typed, troubles: Sequence[str] = ()) -> str:
    instructors = [person.name for person in shelf().world.people.values() if person.level.is_instructor]
    return render_template(
        "skills_dive.html",
        asked=asked,
        lines=_lines(asked, seen, typed),
        checks=_checks(asked, seen),
        nexts=_elsewhere(asked, seen),
        typed=typed,
        troubles=troubles,
        may_tick=may(current_role(), "skills.tick"),
        signed=bool(current_name()),
        instructors=instructors,
        answers_open=tuple(RESULT_WORDS.items()),
        answers_closed=(("again", "Open it again"),),
        last_day=_last_day(),
        longest_name=LONGEST_NAME,
        sites=shelf().sites,
    )


def _lines(asked: Asked, seen: Sequence[SkillTick], typed: Typed) -> tuple[Line, ...]:
    """Return what is made up on the dive first, then the dive's own skills, each with its learners."""
    course, dive, seen = asked.course, asked.dive, _counted(seen)
    last = {(as_compared(t.person), t.dive, as_compared(t.skill)): t for t in sorted(seen, key=lambda t: t.day)}
    found: dict[tuple[int, str], list[Cell]] = {}
    for person in asked.people:
        opened = {(each.dive, each.skill): each for each in open_skills(course, person, seen)}
        made_up = [(each.dive, each.skill) for each in dive_holds(course, dive, person, seen)]
        for number, skill in dict.fromkeys((*made_up, *((dive.number, name) for name in dive.skills))):
            uid = _uid(typed.form, number, skill, person)
            found.setdefault((number, skill), []).append(
                Cell(
                    person=person,
                    open=opened.get((number, skill)),
                    last=last.get((as_compared(person), number, as_compared(skill))),
                    uid=uid,
                    sends=_sends(number, skill, person, seen),
                    chosen=typed.chosen.get(uid, ""),
                )
            )
    order = {(each.number, name): place for each in course.dives for place, name in enumerate(each.skills)}
    lines = []
    for number, skill in sorted(found, key=lambda key: (key[0] == dive.number, key[0], order[key])):
        known = course.skill(skill)
        depth_m = known.least_depth_m if known is not None else None
        lines.append(Line(skill, number, number != dive.number, depth_m, tuple(found[number, skill])))
    return tuple(lines)


def _elsewhere(asked: Asked, seen: Sequence[SkillTick]) -> dict[int, list[str]]:
    """Return whose next dive would be another one than the page is about, by its number."""
    found: dict[int, list[str]] = {}
    seen = _counted(seen)
    for person in asked.people:
        after = next_dive_of(asked.course, person, seen)
        if after is not None and (number := after.instead or after.number) != asked.dive.number:
            found.setdefault(number, []).append(person)
    return found


def _uid(form: str, number: int, skill: str, person: str) -> str:
    """Return the mark of one row of one form; another answer in the same row keeps it."""
    row = json.dumps([number, as_compared(skill), as_compared(person)])
    return f"{form}-{hashlib.sha256(row.encode()).hexdigest()[:16]}"


def _sends(number: int, skill: str, person: str, seen: Sequence[SkillTick]) -> dict[str, str]:
    """Return what a row of the form sends, by answer: with it goes a mark of what the row showed."""
    mark = _shown(number, skill, person, seen)
    return {answer: json.dumps([answer, number, skill, person, mark]) for answer in RESULT_WORDS}


def _shown(number: int, skill: str, person: str, seen: Sequence[SkillTick]) -> str:
    """Return a mark of all that was seen of one skill of one learner; with every tick more it is another one."""
    of = (as_compared(person), number, as_compared(skill))
    told = [
        [tick.day.isoformat(), tick.by, tick.result]
        for tick in seen
        if (as_compared(tick.person), tick.dive, as_compared(tick.skill)) == of
    ]
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()[:12]


def _checks(asked: Asked, seen: Sequence[SkillTick]) -> tuple[Check, ...]:
    """Return whether everybody may make the dive by what is open for them; the place is for the plan to judge."""
    today = _last_day()
    wanted: list[tuple[str, Sequence[str], tuple[int, ...], date]] = []
    for one in asked.outings:
        numbers = one.course_dives
        before = numbers[: numbers.index(asked.dive.number)] if asked.dive.number in numbers else ()
        wanted.append((one.group.name, one.group.divers, before, max(one.asked.date, today)))
    if not asked.outings:
        wanted.append((", ".join(asked.people) if len(asked.people) == 1 else "Everybody", asked.people, (), today))
    checks: list[Check] = []
    for name, people, before, day in wanted:
        planned = CourseDive(
            group=name,
            kind=asked.course.kind,
            number=asked.dive.number,
            learners=tuple(people),
            day=day,
            waters=frozenset({asked.dive.water}),
            depth_m=None,
            before_today=before,
        )
        found = check_course_dive(planned, asked.course, seen, no_instructors(shelf().world.people))
        checks.extend(check for check in found if check.rule in ("skills-open", "skills-ticks"))
    return tuple(checks)


@bp.post("/skills/<kind>/<dive>")
def tick(kind: str, dive: str) -> BaseResponse | tuple[str, int]:
    """Keep what an instructor ticked: all of it, or with a sentence nothing of it."""
    known = ticks(kept(), kind)
    everything = shelf().world.ticks.get(kind, ())
    seen = _so_far(everything)
    asked = _asked(kind, dive, seen)
    form = request.form
    begins = form.get("form", "")
    typed = Typed(
        form=begins if re.fullmatch(r"[0-9a-f]{24}", begins) else secrets.token_hex(12),
        by=_writer(),
        day=form.get("day", "")[:20],
        chosen={uid: value for uid, value in form.items() if uid.startswith(f"{begins}-") and value},
    )
    troubles: list[str] = []
    written = {one.uid for one in known}
    found = _read(asked, typed, everything, written, troubles)
    if changed := _changed_meanwhile(asked, typed, _counted(seen), written):
        left = replace(typed, chosen={uid: value for uid, value in typed.chosen.items() if uid not in changed})
        return _page(asked, seen, _answers_only(left), [*changed.values(), *troubles]), 409
    if troubles:
        return _page(asked, seen, _answers_only(typed), troubles), 400
    try:
        new = add_ticks(kept(), found)
    except DiffersFromKept as error:
        again = _answers_only(typed, secrets.token_hex(12))
        said = f"Nothing of this was written down: {error}. If the new answer is right, send it once more."
        return _page(asked, seen, again, [said]), 409
    except StoreFault as error:
        return _page(asked, seen, _answers_only(typed), [f"Nothing was written down: {error}."]), 500
    flash(_told(new, len(found)))
    query = {**asked.query, **({} if current_name() else {"by": typed.by})}
    address = url_for("skills.show", kind=kind, dive=dive, **query)
    return redirect(address, code=303)


def _told(new: Sequence[KeptTick], sent: int) -> str:
    if not new:
        return "All of this was written down before: it is kept once."
    done = sum(one.tick.result == "done" for one in new)
    words = f"Written down: {counted(done, 'skill')} done, {len(new) - done} to be done again."
    return words + (f" {sent - len(new)} of them stood there before and are kept once." if len(new) < sent else "")


def _answers_only(typed: Typed, form: str = "") -> Typed:
    """Return a form with each choice as its answer alone, as the page sets it again.

    form -- of another form into which the choices are taken over; empty: of the same one
    """
    form = form or typed.form
    rows = [_row(value) for value in typed.chosen.values()]
    chosen = {_uid(form, number, skill, person): answer for answer, number, skill, person, _ in rows}
    return replace(typed, form=form, chosen=chosen)


def _row(value: str) -> tuple[str, int, str, str, str]:
    """Return answer, dive, skill, person and mark of a row as the form sends them; empty for what no form of ours
    sent."""
    try:
        answer, number, skill, person, mark = json.loads(value)
    except (ValueError, TypeError, RecursionError):
        return "", 0, "", "", ""
    fits = type(number) is int and all(isinstance(each, str) for each in (answer, skill, person, mark))
    return (answer, number, skill, person, mark) if fits else ("", 0, "", "", "")


def _changed_meanwhile(asked: Asked, typed: Typed, seen: Sequence[SkillTick], written: Set[str]) -> dict[str, str]:
    """Return a sentence for each row that shows something else by now than when its form was opened, by uid.

    written -- uids that are kept already: this form was sent before, and what it wrote itself is no change
    """
    found: dict[str, str] = {}
    people = {as_compared(name) for name in asked.people}
    for uid, value in typed.chosen.items():
        _, number, skill, person, mark = _row(value)
        if uid in written or uid != _uid(typed.form, number, skill, person):
            continue
        if as_compared(person) not in people or mark == _shown(number, skill, person, seen):
            continue
        of = (as_compared(person), number, as_compared(skill))
        told = [each for each in seen if (as_compared(each.person), each.dive, as_compared(each.skill)) == of]
        last = sorted(told, key=lambda each: each.day)[-1] if told else None
        stands = (
            f'"{RESULT_WORDS[last.result]}", {day_words(last.day)}, {last.by}' if last else "nothing was seen of it"
        )
        found[uid] = (
            f"{person}, {skill}: this was changed after you had opened the page; what stands there now is: {stands}. "
            "Look at it and choose once more."
        )
    return found


def _read(
    asked: Asked, typed: Typed, seen: Sequence[SkillTick], known: set[str], troubles: list[str]
) -> tuple[KeptTick, ...]:
    """Return the ticks of a form, and add to the troubles a sentence for everything that cannot be kept."""
    by = _instructor(typed.by, troubles)
    day = _day(typed.day, troubles)
    if not typed.chosen:
        troubles.append("Nothing was chosen: tap Done or Again for each skill that you saw.")
    found: list[KeptTick] = []
    said: dict[str, None] = {}
    people = {as_compared(name) for name in asked.people}
    seen = _counted(seen)
    for uid, value in typed.chosen.items():
        answer, number, skill, person, _ = _row(value)
        of = asked.course.dive(number)
        if (
            answer not in RESULTS
            or of is None
            or as_compared(skill) not in {as_compared(name) for name in of.skills}
            or as_compared(person) not in people
            or uid != _uid(typed.form, number, skill, person)
        ):
            said[f"A row of the form does not fit the course or its learners any more; {RELOAD}."] = None
            continue
        if not by or day is None:
            continue
        try:
            made = KeptTick(uid, now(), asked.course.kind, SkillTick(person, skill, number, day, by, RESULTS[answer]))
        except OutOfRange as error:
            said[f"{error}."] = None
            continue
        later = [each for each in seen if _same(each, made.tick) and each.day > day]
        if later and uid not in known:
            newest = max(later, key=lambda each: each.day)
            said[
                f"{person}, {skill}: what was seen on {day_words(newest.day)} counts over {day_words(day)}, so this "
                "would change nothing. Look at the day."
            ] = None
        found.append(made)
    troubles.extend(said)
    return tuple(found)


def _same(one: SkillTick, other: SkillTick) -> bool:
    return (as_compared(one.person), one.dive, as_compared(one.skill)) == (
        as_compared(other.person),
        other.dive,
        as_compared(other.skill),
    )


def _instructor(by: str, troubles: list[str]) -> str:
    """Return who saw it, as the list of people writes the name; somebody who is no instructor there is refused."""
    if not by:
        troubles.append("Who saw it is missing: give the instructor's name.")
        return ""
    listed = _as_listed(by)
    if listed is None:
        if not current_name():  # else the centre gave the account its role
            troubles.append(f'"{by}" is not in the list of people: write the name as it stands there.')
        return by
    level = shelf().world.people[listed].level
    if not level.is_instructor:
        troubles.append(f"{listed} is no instructor by the list of people ({level.words}); an instructor ticks skills.")
    return listed


def _day(words: str, troubles: list[str]) -> date | None:
    try:
        day = date.fromisoformat(words)
    except ValueError:
        troubles.append(f'The day "{words}" cannot be read; write it like 2027-06-12.')
        return None
    if day > _last_day():
        troubles.append(f"{day_words(day)} has not come yet: give the day on which it was seen.")
    return day
