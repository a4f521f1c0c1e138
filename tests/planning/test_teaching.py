"""A planned day of a course: what each dive holds for whom, what stops it, and that kit and skills are in the plan.

The course and the people are invented; what each case must give is worked out by hand beside it.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

from tests.planning.small_world import DAY, ask, checks_of, group, plan, stops, the_check, wish, world
from tripplan.check import Outcome
from tripplan.documents.data import dives_from_json, plan_json
from tripplan.documents.packing_words import AND_LEFT, NO_SKILLS, course_words, skills_lines
from tripplan.people.kit import Kit
from tripplan.people.skills import skills_from
from tripplan.planning.day import plan_day, revision_of
from tripplan.planning.plan import SkillLine
from tripplan.planning.progress import SkillTick
from tripplan.record import TomlFile

BEFORE = date(2027, 6, 10)
KIND = "level_1_course"
SKILLS = skills_from(
    TomlFile(
        Path("skills.toml"),
        """
[[courses]]
kind = "level_1_course"
[[courses.skills]]
name = "breathing"
[[courses.skills]]
name = "clearing"
needs = ["breathing"]
confined_first = true
[[courses.skills]]
name = "signals"
[[courses.skills]]
name = "stop"
water = "open"
[[courses.dives]]
number = 1
name = "Pool"
water = "confined"
skills = ["breathing", "clearing", "signals"]
[[courses.dives]]
number = 2
name = "Sea"
water = "open"
skills = ["clearing", "stop"]
[[courses.dives]]
number = 3
name = "Sea again"
water = "open"
skills = ["stop"]
""",
    )
)


def tick(person: str, skill: str, dive: int = 1, result: str = "done", day: date = BEFORE) -> SkillTick:
    return SkillTick(person, skill, dive, day, "Ida", result)  # type: ignore[arg-type]


def taught(*ticks: SkillTick, numbers: tuple[int | None, ...] = (2,), place: str = "Slope"):
    where = replace(world(), skills=SKILLS, ticks={KIND: ticks})
    dives = tuple(wish(course_dive=number) for number in numbers)
    return plan(group("Ann", "Ben", kind=KIND, dives=dives, leader="Ida", place=place), where=where)


def test_what_must_come_first_in_confined_water_stops_a_dive_in_open_water():
    # Ben has everything of the pool; Ann has not cleared there.
    made = taught(tick("Ann", "breathing"), *(tick("Ben", skill) for skill in ("breathing", "clearing", "signals")))
    (check,) = (each for each in checks_of(made, "skills-open") if each.outcome is Outcome.STOP)
    assert "Ann: of dive 1 clearing" in check.sentence
    assert "Ben" not in check.sentence
    assert made.verdict is Outcome.STOP


def test_a_dive_holds_what_is_made_up_first_and_then_its_own_skills_each_with_who_needs_it():
    # Ann still has the signals of the pool; Ben has to do the stop again that he tried yesterday.
    done = [tick(name, skill) for name in ("Ann", "Ben") for skill in ("breathing", "clearing")]
    made = taught(*done, tick("Ben", "signals"), tick("Ben", "stop", 2, "again"))
    (dive,) = made.dives
    assert (dive.course_dive, dive.course_dive_name) == (2, "Sea")
    assert dive.skills == (
        SkillLine("signals", 1, ("Ann",), ()),
        SkillLine("clearing", 2, ("Ann", "Ben"), ()),
        SkillLine("stop", 2, ("Ann", "Ben"), ("Ben",)),
    )
    assert "skills-open" not in stops(made)


def test_a_second_dive_of_the_day_waits_for_the_first():
    # Dive 3 needs nothing of dive 2 by name, so nothing stops it; the pool is closed for both.
    done = [tick(name, skill) for name in ("Ann", "Ben") for skill in ("breathing", "clearing", "signals")]
    made = taught(*done, numbers=(2, 3))
    assert [dive.course_dive for dive in made.dives] == [2, 3]
    assert "skills-open" not in stops(made)


def test_a_dive_whose_number_nobody_gave_is_a_caution_and_holds_nothing():
    made = taught(numbers=(None,))
    check = the_check(made, "skills-open")
    assert check.outcome is Outcome.CAUTION
    assert "nobody said which dive" in check.sentence
    assert made.dives[0].skills == ()


def test_what_was_seen_after_the_day_changes_nothing_of_it():
    later = [tick("Ann", skill, day=date(2027, 7, 1)) for skill in ("breathing", "clearing")]
    made, without = taught(*later), taught()
    assert made.dives == without.dives
    assert made.verdict is Outcome.STOP


def test_a_tick_changes_the_revision_and_one_of_somebody_else_does_not():
    asked = ask(group("Ann", kind=KIND, dives=(wish(course_dive=1),), leader="Ida"))
    base = replace(world(), skills=SKILLS, ticks={})
    own = replace(base, ticks={KIND: (tick("Ann", "signals"),)})
    odd = replace(base, ticks={KIND: (tick(" ann ", "signals"),)})  # compared as names are
    other = replace(base, ticks={KIND: (tick("Eva", "signals"),)})
    assert revision_of(asked, own) != revision_of(asked, base)
    assert revision_of(asked, odd) != revision_of(asked, base)
    assert revision_of(asked, other) == revision_of(asked, base)


def test_the_skills_of_a_kept_plan_come_back_as_they_were():
    made = taught(tick("Ann", "breathing"), numbers=(1,))
    kept = json.loads(json.dumps(plan_json(made), allow_nan=False))
    (before,), (after,) = made.dives, dives_from_json(kept)
    assert before.skills
    assert (after.skills, after.course_dive, after.course_dive_name) == (before.skills, 1, "Pool")


def test_the_plan_packs_for_everybody_and_a_store_without_cylinders_stops_it():
    asked = ask(group("Ann", "Ben", leader="Ida", cylinder_l=12.0, fill_bar=200.0))
    unknown = plan_day(asked, world())
    assert the_check(unknown, "kit-known", "").outcome is Outcome.CAUTION
    assert unknown.packing is not None
    assert {line.person for line in unknown.packing.people} == {"Ann", "Ben", "Ida"}
    nothing = plan_day(asked, replace(world(), kit=Kit()))
    assert nothing.verdict is Outcome.STOP
    assert "kit-enough" in stops(nothing)
    assert nothing.date == DAY


def test_what_a_dive_earlier_on_the_day_holds_is_not_said_again_on_the_next():
    # Both have the pool; dive 2 holds clearing and stop, and the stop of dive 3 stands for itself.
    done = [tick(name, skill) for name in ("Ann", "Ben") for skill in ("breathing", "clearing", "signals")]
    first, second = taught(*done, numbers=(2, 3)).dives
    assert [(line.skill, line.dive) for line in first.skills] == [("clearing", 2), ("stop", 2)]
    assert [(line.skill, line.dive) for line in second.skills] == [("stop", 3)]
    assert skills_lines(second) == (AND_LEFT, "stop: all")


def test_the_words_name_who_repeats_a_skill_and_the_dive_that_asked_for_it():
    done = [tick(name, skill) for name in ("Ann", "Ben") for skill in ("breathing", "clearing")]
    (dive,) = taught(*done, tick("Ben", "signals"), tick("Ben", "stop", 2, "again")).dives
    assert course_words(dive) == "dive 2 of the level 1 course: Sea"
    assert skills_lines(dive) == ("signals (made up, of dive 1): Ann", "clearing: all", "stop: Ann, Ben (again)")


def test_a_dive_for_which_nothing_is_open_says_so():
    done = [tick(name, skill) for name in ("Ann", "Ben") for skill in ("breathing", "clearing", "signals")]
    (dive,) = taught(*done, numbers=(1,)).dives
    assert dive.skills == ()
    assert skills_lines(dive) == (NO_SKILLS,)
