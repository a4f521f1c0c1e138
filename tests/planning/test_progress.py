"""Skills of a course: what a tick closes, what opens again, what the next dive must hold, what stops a planned dive.

The course and the people are invented; what each case must give is worked out by hand beside it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.check import Check, Outcome, worst
from tripplan.data_files import data_dir
from tripplan.errors import OutOfRange
from tripplan.people.skills import Course, read_skills, skills_from
from tripplan.planning.progress import (
    CourseDive,
    OpenSkill,
    SkillTick,
    check_course_dive,
    group_progress,
    next_dive_of,
    open_skills,
    strangers,
)
from tripplan.record import TomlFile

DAY = date(2027, 6, 12)
BEFORE = date(2027, 6, 11)
AFTER = date(2027, 6, 13)

# Dive 1, confined: signals, breathing, clearing (confined first).  Dive 2, confined: lead, sharing (needs clearing).
# Dive 3, open: clearing, sharing, stop (5 m).  Dive 4, open: apart (needs stop).
TEXT = """
[[courses]]
kind = "level_1_course"
[[courses.skills]]
name = "signals"
[[courses.skills]]
name = "breathing"
[[courses.skills]]
name = "clearing"
needs = ["breathing"]
confined_first = true
[[courses.skills]]
name = "lead"
water = "confined"
[[courses.skills]]
name = "sharing"
needs = ["clearing"]
confined_first = true
[[courses.skills]]
name = "stop"
water = "open"
least_depth_m = 5
[[courses.skills]]
name = "apart"
needs = ["stop"]
water = "open"
[[courses.dives]]
number = 1
name = "First"
water = "confined"
skills = ["signals", "breathing", "clearing"]
[[courses.dives]]
number = 2
name = "Second"
water = "confined"
skills = ["lead", "sharing"]
[[courses.dives]]
number = 3
name = "Third"
water = "open"
skills = ["clearing", "sharing", "stop"]
[[courses.dives]]
number = 4
name = "Fourth"
water = "open"
skills = ["apart"]
"""
COURSE: Course = skills_from(TomlFile(Path("skills.toml"), TEXT)).courses[0]
ALL = [(dive.number, skill) for dive in COURSE.dives for skill in dive.skills]


def tick(dive: int, skill: str, result: str = "done", person: str = "Ann", day: date = BEFORE) -> SkillTick:
    return SkillTick(person, skill, dive, day, "Vera Lind", result)  # type: ignore[arg-type]


def done(*dives: int, person: str = "Ann", but: tuple[tuple[int, str], ...] = ()) -> tuple[SkillTick, ...]:
    """Return ticks for everything of some dives, except what is named."""
    return tuple(tick(n, skill, person=person) for n, skill in ALL if n in dives and (n, skill) not in but)


def names(found: tuple[OpenSkill, ...]) -> list[tuple[int, str]]:
    return [(each.dive, each.skill) for each in found]


# ---- ticks ----


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"person": " "}, "person is missing"),
        ({"skill": ""}, "skill is missing"),
        ({"by": ""}, "who saw it is missing"),
        ({"dive": 0}, "counted from 1"),
        ({"result": "almost"}, "accepted: done, again"),
        ({"by": "ANN "}, "cannot tick their own skill"),
    ],
)
def test_a_tick_that_could_not_be_used_is_refused(change, words):
    with pytest.raises(OutOfRange, match=words):
        replace(tick(1, "signals"), **change)


def test_what_nobody_ticked_is_open_in_the_order_of_the_course():
    assert names(open_skills(COURSE, "Ann", ())) == ALL


def test_a_tick_closes_the_skill_of_its_own_dive_only():
    left = names(open_skills(COURSE, "Ann", [tick(1, "clearing")]))
    assert (1, "clearing") not in left and (3, "clearing") in left and len(left) == len(ALL) - 1


def test_done_and_then_again_is_open_and_says_that_it_is_to_be_done_again():
    (found,) = (each for each in open_skills(COURSE, "Ann", [tick(1, "signals"), tick(1, "signals", "again")])
                if each.skill == "signals")  # fmt: skip
    assert found.again and found.words == "signals (dive 1, again)"
    assert (1, "signals") not in names(open_skills(COURSE, "Ann", [tick(1, "signals", "again"), tick(1, "signals")]))


def test_of_two_days_the_later_one_counts_even_where_it_was_written_first():
    late_again = [tick(1, "signals", "again", day=DAY), tick(1, "signals", day=BEFORE)]
    assert (1, "signals") in names(open_skills(COURSE, "Ann", late_again))
    late_done = [tick(1, "signals", day=DAY), tick(1, "signals", "again", day=BEFORE)]
    assert (1, "signals") not in names(open_skills(COURSE, "Ann", late_done))


def test_capitals_and_spaces_of_a_name_do_not_make_another_person_or_skill():
    assert (1, "signals") not in names(open_skills(COURSE, "ann", [tick(1, " Signals ", person="ANN ")]))


def test_a_tick_for_a_skill_that_the_dive_does_not_ask_for_closes_nothing_and_is_found():
    odd = [tick(2, "signals"), tick(1, "flying"), tick(9, "stop"), tick(9, "stop", person="Bob")]
    assert names(open_skills(COURSE, "Ann", odd)) == ALL
    assert strangers(COURSE, ["Ann"], [*odd, tick(1, "signals")]) == tuple(odd[:3])


PEOPLE = ("Ann", "Bob")
ticks_of = st.builds(
    tick,
    st.integers(1, 5),
    st.sampled_from([*dict.fromkeys(skill for _, skill in ALL), "flying"]),
    st.sampled_from(["done", "again"]),
    st.sampled_from(PEOPLE),
    st.sampled_from([BEFORE, DAY, AFTER]),
)


@given(st.lists(ticks_of, max_size=25), ticks_of)
def test_a_tick_never_changes_what_is_open_for_another_person(ticks, more):
    (other,) = (name for name in PEOPLE if name != more.person)
    assert open_skills(COURSE, other, [*ticks, more]) == open_skills(COURSE, other, ticks)
    assert next_dive_of(COURSE, other, [*ticks, more]) == next_dive_of(COURSE, other, ticks)


@given(st.lists(ticks_of, max_size=25), st.sampled_from(ALL))
def test_done_and_then_again_on_one_day_is_open_whatever_was_ticked_before(ticks, place):
    dive, skill = place
    last = [tick(dive, skill, day=AFTER), tick(dive, skill, "again", day=AFTER)]
    assert place in names(open_skills(COURSE, "Ann", [*ticks, *last]))
    assert place not in names(open_skills(COURSE, "Ann", [*ticks, *reversed(last)]))


@given(st.lists(ticks_of, max_size=12, unique_by=lambda t: (t.person, t.dive, t.skill)).flatmap(
    lambda ticks: st.tuples(st.just(ticks), st.permutations(ticks))))  # fmt: skip
def test_the_order_of_ticks_of_different_skills_does_not_matter(pair):
    ticks, shuffled = pair
    for person in PEOPLE:
        assert open_skills(COURSE, person, ticks) == open_skills(COURSE, person, shuffled)
        assert next_dive_of(COURSE, person, ticks) == next_dive_of(COURSE, person, shuffled)


# ---- the next dive ----


def test_a_beginner_starts_with_the_first_dive_and_nothing_is_taken_over():
    found = next_dive_of(COURSE, "Ann", ())
    assert (found.number, found.name, found.water) == (1, "First", "confined")
    assert names(found.own) == [(1, "signals"), (1, "breathing"), (1, "clearing")]
    assert found.first == found.stays == found.blocking == found.sentences == () and found.allowed
    assert found.instead is None


def test_what_is_open_from_the_dive_before_comes_first():
    # Signals are needed by nothing in dive 2; sharing needs clearing, and that breathing: both are closed.
    found = next_dive_of(COURSE, "Ann", done(1, but=((1, "signals"),)))
    assert found.number == 2 and found.allowed
    assert names(found.first) == [(1, "signals")] and names(found.own) == [(2, "lead"), (2, "sharing")]


def test_a_dive_is_not_allowed_while_a_skill_that_it_needs_is_open():
    found = next_dive_of(COURSE, "Ann", done(1, but=((1, "clearing"),)))
    assert found.number == 2 and not found.allowed and found.instead == 1
    assert names(found.blocking) == [(1, "clearing")]
    assert found.sentences == (
        "Ann may not make dive 2 (Second) yet: its skills need what is open: of dive 1 clearing.",
        "What is open of dive 1 (First) is made up first.",
    )


def test_a_need_of_a_need_blocks_too():
    # Sharing needs clearing, clearing needs breathing: breathing was done and then has to be done again.
    found = next_dive_of(COURSE, "Ann", (*done(1), tick(1, "breathing", "again", day=DAY)))
    assert names(found.blocking) == [(1, "breathing")] and found.blocking[0].again


def test_open_water_waits_for_every_skill_that_comes_first_in_confined_water():
    found = next_dive_of(COURSE, "Ann", done(1, 2, but=((2, "sharing"),)))
    assert found.number == 3 and not found.allowed and found.instead == 2
    assert found.sentences[0] == (
        "Ann may not make dive 3 (Third) yet: open, and to be done in confined water first: of dive 2 sharing."
    )
    # Even where no skill of the dive needs it: dive 4 asks for "apart" alone.
    found = next_dive_of(COURSE, "Ann", (*done(1, 2, 3), tick(1, "clearing", "again", day=DAY)))
    assert found.number == 4 and not found.allowed and found.instead == 1


def test_a_skill_for_confined_water_stays_open_on_a_dive_in_open_water_without_forbidding_it():
    found = next_dive_of(COURSE, "Ann", done(1, 2, but=((2, "lead"),)))
    assert found.number == 3 and found.allowed
    assert names(found.stays) == [(2, "lead")] and found.first == ()
    assert found.least_depth_m == 5


def test_where_every_dive_was_begun_the_first_one_with_something_open_comes_again():
    found = next_dive_of(COURSE, "Ann", done(1, 2, 3, 4, but=((1, "signals"),)))
    assert found.number == 1 and names(found.own) == [(1, "signals")] and found.allowed


def test_a_course_without_anything_open_has_no_next_dive():
    assert next_dive_of(COURSE, "Ann", done(1, 2, 3, 4)) is None


def test_what_went_wrong_in_a_later_dive_comes_first_in_an_earlier_one_and_does_not_forbid_it():
    # Somebody went ahead to dive 3 and must do clearing again: dive 2, in confined water, is where that can be mended.
    found = next_dive_of(COURSE, "Ann", (*done(1), tick(3, "clearing", "again")))
    assert found.number == 2 and found.allowed and names(found.first) == [(3, "clearing")]
    # What was not tried there yet is not taken over.
    assert names(next_dive_of(COURSE, "Ann", (*done(1), tick(3, "clearing"))).first) == []
    # After dive 3 the same stops dive 4 where that needs it.
    assert names(next_dive_of(COURSE, "Ann", (*done(1, 2, 3), tick(3, "stop", "again"))).blocking) == [(3, "stop")]


@given(st.lists(ticks_of, max_size=30))
def test_there_is_always_a_dive_that_a_learner_may_make(ticks):
    found = next_dive_of(COURSE, "Ann", ticks)
    if found is None or found.allowed:
        assert found is None or found.instead is None
        return
    assert found.instead < found.number
    made_up = CourseDive("x", "level_1_course", found.instead, ("Ann",), AFTER, frozenset({"open", "confined"}), 8.0)
    assert worst(of_rule(check_course_dive(made_up, COURSE, ticks))) is not Outcome.STOP


def test_the_table_of_a_group_counts_dive_by_dive_and_finds_the_dive_that_all_can_make():
    ticks = (*done(1, 2), *done(1, person="Bob", but=((1, "clearing"),)), *done(1, 2, 3, 4, person="Cleo"))
    found = group_progress(COURSE, ["Ann", "Bob", "Cleo"], ticks)
    assert found.dives == ((1, "First", 3), (2, "Second", 2), (3, "Third", 3), (4, "Fourth", 1))
    assert [row.done for row in found.rows] == [(3, 2, 0, 0), (2, 0, 0, 0), (3, 2, 3, 1)]
    assert [row.next.number if row.next else None for row in found.rows] == [3, 2, None]
    assert found.next_number == 1  # Bob's next is dive 2, but clearing of dive 1 is made up first
    assert group_progress(COURSE, ["Cleo"], ticks).next_number is None


# ---- a planned dive ----


def planned(number: int | None, *learners: str, **changes: object) -> CourseDive:
    open_or_not = frozenset({"confined"} if number in (1, 2) else {"open"})
    dive = CourseDive("Limpets", "level_1_course", number, learners or ("Ann",), DAY, open_or_not, 8.0)  # type: ignore[arg-type]
    return replace(dive, **changes)  # type: ignore[arg-type]


def of_rule(checks: tuple[Check, ...], rule: str = "skills-open") -> list[Check]:
    return [check for check in checks if check.rule == rule]


def test_a_dive_in_open_water_is_stopped_while_a_confined_skill_is_open_for_anybody():
    ticks = (*done(1, 2), *done(1, 2, person="Bob", but=((1, "clearing"),)))
    found = check_course_dive(planned(3, "Ann", "Bob"), COURSE, ticks)
    (stop,) = (check for check in found if check.outcome is Outcome.STOP)
    assert stop.rule == "skills-open" and stop.subject == "Limpets" and (stop.found, stop.limit) == (1, 0.0)
    assert stop.sentence == (
        "Limpets, dive 3 of the level 1 course (Third): skills that must come before it are open: "
        "Bob: of dive 1 clearing. They are made up first, in the water they ask for."
    )
    assert worst(check_course_dive(planned(3, "Ann"), COURSE, ticks)) is Outcome.OK


def test_learners_with_the_same_open_skills_are_told_together():
    found = check_course_dive(planned(3, "Ann", "Bob"), COURSE, ())
    assert "Ann, Bob: of dive 1 breathing, clearing; of dive 2 sharing." in of_rule(found)[0].sentence


def test_open_skills_that_forbid_nothing_are_a_caution_that_names_them():
    found = check_course_dive(planned(2), COURSE, done(1, but=((1, "signals"),)))
    (caution,) = of_rule(found)
    assert caution.outcome is Outcome.CAUTION
    assert "skills of other dives are open: Ann: of dive 1 signals. They come first" in caution.sentence


def test_with_nothing_open_the_check_passes_and_names_the_learners():
    (ok,) = of_rule(check_course_dive(planned(3), COURSE, done(1, 2)))
    assert ok.outcome is Outcome.OK
    assert ok.sentence.endswith("nothing that must come before it is open for Ann.")


def test_a_dive_earlier_on_the_day_may_close_what_is_open_but_only_until_it_has_begun():
    day = planned(4, before_today=(3,))
    (caution,) = of_rule(check_course_dive(day, COURSE, done(1, 2)))
    assert caution.outcome is Outcome.CAUTION
    assert "until dive 3, earlier on the day, closes them: Ann: of dive 3 stop. Who has not" in caution.sentence
    # Dive 3 was made this morning, and the stop did not work: now it stops dive 4.
    morning = (
        *done(1, 2),
        tick(3, "clearing", day=DAY),
        tick(3, "sharing", day=DAY),
        tick(3, "stop", "again", day=DAY),
    )
    assert worst(check_course_dive(day, COURSE, morning)) is Outcome.STOP
    # Nor is it excused once this morning's dive has begun and nobody ticked the stop.
    assert worst(check_course_dive(day, COURSE, morning[:-1])) is Outcome.STOP
    # It worked.
    assert worst(check_course_dive(day, COURSE, (*morning[:-1], tick(3, "stop", day=DAY)))) is Outcome.OK


def test_a_dive_earlier_on_the_day_takes_over_what_was_open_before_it():
    # Clearing of dive 1 is open for nobody; sharing of dive 2 is what dive 2, this morning, is for.
    found = check_course_dive(planned(3, before_today=(2,)), COURSE, done(1))
    assert worst(found) is Outcome.CAUTION
    # What forbids the morning's dive itself is not excused by it.
    found = check_course_dive(planned(3, before_today=(2,)), COURSE, done(1, but=((1, "clearing"),)))
    assert worst(found) is Outcome.STOP


def test_what_went_wrong_today_is_not_left_to_a_later_dive_of_the_day():
    # "recovery" comes first in confined water, and nothing in dive 2 needs it: dive 2 can take it over.
    skill = '[[courses.skills]]\nname = "recovery"\nconfined_first = true\n'
    text = TEXT.replace('[[courses.skills]]\nname = "lead"', f'{skill}[[courses.skills]]\nname = "lead"')
    text = text.replace('["signals", "breathing", "clearing"]', '["signals", "breathing", "clearing", "recovery"]')
    course = skills_from(TomlFile(Path("skills.toml"), text)).courses[0]
    day = planned(3, before_today=(2,))
    assert worst(check_course_dive(day, course, done(1))) is Outcome.CAUTION
    again = (*done(1), tick(1, "recovery", "again", day=DAY))
    assert worst(check_course_dive(day, course, again)) is Outcome.STOP


def test_done_of_a_later_day_than_the_plans_does_not_count_but_again_does():
    later = tuple(replace(each, day=AFTER) for each in done(1, 2))
    assert worst(check_course_dive(planned(3), COURSE, later)) is Outcome.STOP
    again = (*done(1, 2), tick(1, "clearing", "again", day=AFTER))
    assert worst(check_course_dive(planned(3), COURSE, again)) is Outcome.STOP


def test_a_confined_dive_is_stopped_in_open_water_and_an_open_one_in_confined_water_is_a_caution():
    def outcome(number: int, *waters: str) -> Outcome:
        dive = planned(number, waters=frozenset(waters))
        return of_rule(check_course_dive(dive, COURSE, done(1, 2)), "skills-water")[0].outcome

    assert outcome(1, "open") is Outcome.STOP
    assert outcome(3, "confined") is Outcome.CAUTION
    assert outcome(1) is Outcome.CAUTION and outcome(3) is Outcome.CAUTION  # nobody said
    assert outcome(1, "open", "confined") is Outcome.OK and outcome(3, "open", "confined") is Outcome.OK


@pytest.mark.parametrize(("depth_m", "cautions"), [(5.0, 0), (4.9, 1), (None, 1)])
def test_a_dive_too_shallow_for_a_skill_is_a_caution_that_asks_nobody_to_go_deeper(depth_m, cautions):
    found = of_rule(check_course_dive(planned(3, depth_m=depth_m), COURSE, done(1, 2)), "skills-depth")
    assert len(found) == cautions
    for check in found:
        assert check.outcome is Outcome.CAUTION and check.limit == 5
        assert "stop (5 m)" in check.sentence and "nobody goes deeper for them" in check.sentence


def test_a_depth_that_an_earlier_dive_of_the_day_gives_is_not_asked_of_the_later_one():
    text = TEXT.replace('needs = ["stop"]\n', "")  # so that dive 4 can take the stop over from dive 3
    course = skills_from(TomlFile(Path("skills.toml"), text)).courses[0]
    shallow = planned(4, depth_m=4.0)
    assert len(of_rule(check_course_dive(shallow, course, done(1, 2)), "skills-depth")) == 1
    after_dive_3 = replace(shallow, before_today=(3,))
    assert of_rule(check_course_dive(after_dive_3, course, done(1, 2)), "skills-depth") == []


def test_what_cannot_be_judged_is_never_ok():
    (nobody_said,) = check_course_dive(planned(None, "Ann", "Bob"), COURSE, done(1, 2))
    assert nobody_said.outcome is Outcome.CAUTION
    assert "Next would be: Ann: dive 3; Bob: dive 1." in nobody_said.sentence
    (no_such,) = check_course_dive(planned(7), COURSE, done(1, 2, 3, 4))
    assert no_such.outcome is Outcome.STOP and "has no dive 7; it has dives 1 to 4" in no_such.sentence
    (no_course,) = check_course_dive(planned(3), None, ())
    assert no_course.outcome is Outcome.CAUTION and "no level 1 course" in no_course.sentence
    assert check_course_dive(planned(None, kind="guided"), None, ()) == ()
    empty = check_course_dive(replace(planned(3), learners=()), COURSE, ())
    assert of_rule(empty)[0].outcome is Outcome.CAUTION
    odd = check_course_dive(planned(3), COURSE, (*done(1, 2), tick(3, "flying")))
    (check,) = of_rule(odd, "skills-ticks")
    assert check.outcome is Outcome.CAUTION and 'Ann "flying" (dive 3)' in check.sentence


@given(st.lists(ticks_of, max_size=30), st.integers(1, 4))
def test_a_stop_stands_exactly_where_the_dive_is_not_allowed_and_one_more_done_never_brings_one(ticks, number):
    past = [replace(each, day=BEFORE) for each in ticks]
    ahead = planned(number)

    def stopped(with_ticks: list[SkillTick]) -> bool:
        return worst(of_rule(check_course_dive(ahead, COURSE, with_ticks))) is Outcome.STOP

    following = next_dive_of(COURSE, "Ann", past)
    if following is not None and following.number == number:
        assert stopped(past) == (not following.allowed)
    confined = [e for e in open_skills(COURSE, "Ann", past) if e.confined_first and e.dive < number]
    if confined and number in (3, 4):
        assert stopped(past)
    for dive, skill in ALL:
        if not stopped(past):
            assert not stopped([*past, tick(dive, skill)])


def test_a_learner_can_go_through_each_course_of_the_demonstration_dive_by_dive():
    for course in read_skills(data_dir("sites") / "centre" / "skills.toml").courses:
        ticks: list[SkillTick] = []
        for dive in course.dives:
            found = next_dive_of(course, "Ann", ticks)
            assert found.number == dive.number and found.allowed and found.first == found.stays == ()
            ticks += [tick(dive.number, skill) for skill in dive.skills]
        assert next_dive_of(course, "Ann", ticks) is None
