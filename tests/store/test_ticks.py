"""Ticks of skills on both kinds of database: each once, whole or not at all, never changed; a later one corrects."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from tripplan.errors import OutOfRange
from tripplan.people.skills import Course, Skill, SkillDive
from tripplan.planning.progress import SkillTick, open_skills
from tripplan.store.database import StoreFault
from tripplan.store.ticks import DiffersFromKept, KeptTick, add_ticks, ticks, ticks_of, together

NOW = datetime(2027, 6, 12, 9, 30, tzinfo=UTC)
DAY = date(2027, 6, 12)
COURSE = Course(
    kind="level_1_course",
    skills=(Skill(name="mask clearing"),),
    dives=(SkillDive(number=1, name="First", water="confined", skills=("mask clearing",)),),
)


def tick(**changes: object) -> SkillTick:
    return replace(SkillTick("Ben", "mask clearing", 1, DAY, "Ann", "done"), **changes)  # type: ignore[arg-type]


def kept(uid: str = "tick-0001", course: str = "level_1_course", at: datetime = NOW, **changes: object) -> KeptTick:
    return KeptTick(uid, at, course, tick(**changes))


def test_ticks_are_there_for_whoever_opens_the_store_next_in_the_order_of_writing(store, opened):
    told = (kept(day=DAY + timedelta(days=1)), kept("tick-0002", result="again"))
    assert add_ticks(store, told) == told
    assert ticks(opened()) == told


def test_a_tick_that_arrives_twice_is_one_tick_whenever_it_was_sent_again(store):
    assert add_ticks(store, [kept(), kept()]) == (kept(),)
    assert add_ticks(store, [kept(at=NOW + timedelta(hours=1)), kept("tick-0002")]) == (kept("tick-0002"),)
    assert ticks(store) == (kept(), kept("tick-0002"))


@pytest.mark.parametrize("changes", [{"result": "again"}, {"person": "Cy"}, {"day": date(2027, 6, 11)}, {"by": "Eve"}])
def test_another_answer_under_the_same_uid_is_refused_and_nothing_of_the_form_is_kept(store, changes):
    add_ticks(store, [kept()])
    with pytest.raises(DiffersFromKept, match="first answer stands"):
        add_ticks(store, [kept("tick-0002"), kept(**changes), kept("tick-0003")])
    with pytest.raises(DiffersFromKept):
        add_ticks(store, [kept(course="level_2_course")])
    assert ticks(store) == (kept(),)


def test_of_a_handful_with_one_that_cannot_be_kept_none_is_kept(store):
    broken = kept("tick-0002")
    object.__setattr__(broken.tick, "skill", None)
    with pytest.raises((StoreFault, ValueError)):
        add_ticks(store, [kept(), broken])
    assert ticks(store) == ()


@pytest.mark.parametrize("sql", ["UPDATE ticks SET result = 'done'", "DELETE FROM ticks"])
def test_a_tick_cannot_be_changed_or_taken_out(store, address, sql):
    add_ticks(store, [kept(result="again")])
    engine = create_engine(address)
    with pytest.raises(DBAPIError, match="only grow"), engine.begin() as connection:
        connection.execute(text(sql))
    engine.dispose()
    assert ticks(store) == (kept(result="again"),)


def test_a_later_row_corrects_an_earlier_one(store):
    add_ticks(store, [kept()])
    assert open_skills(COURSE, "Ben", [each.tick for each in ticks(store)]) == ()
    add_ticks(store, [kept("tick-0002", result="again")])
    (opened,) = open_skills(COURSE, "Ben", [each.tick for each in ticks(store)])
    assert opened.again


def test_the_moment_comes_back_as_the_same_instant_whatever_its_offset(store):
    abroad = kept(at=NOW.astimezone(timezone(timedelta(hours=10, minutes=30))))
    add_ticks(store, [abroad])
    assert ticks(store)[0].at == abroad.at


def test_the_ticks_of_some_people_and_of_one_course_are_found_whatever_the_capitals(store):
    add_ticks(store, [kept(), kept("tick-0002", person="Cy"), kept("tick-0003", "level_2_course")])
    assert [each.uid for each in ticks_of(store, [" ben "])] == ["tick-0001", "tick-0003"]
    assert [each.uid for each in ticks_of(store, ["Ben", "Cy"], "level_1_course")] == ["tick-0001", "tick-0002"]
    assert [each.uid for each in ticks(store, "level_2_course")] == ["tick-0003"]
    assert ticks_of(store, []) == ()


def test_a_tick_of_one_course_is_never_told_for_another(store):
    add_ticks(store, [kept(), kept("tick-0002", "level_2_course", result="again")])
    found = together({"level_1_course": (tick(person="Cy"),)}, ticks(store))
    assert found == {"level_1_course": (tick(person="Cy"), tick()), "level_2_course": (tick(result="again"),)}


def test_of_one_day_the_store_counts_over_the_file_before_it(store):
    add_ticks(store, [kept(result="again")])
    found = together({"level_1_course": (tick(),)}, ticks(store))
    assert [each.again for each in open_skills(COURSE, "Ben", found["level_1_course"])] == [True]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"uid": "x"}, "8 to 64"),
        ({"uid": "tick 0001"}, "8 to 64"),
        ({"course": "guided"}, "accepted: first_experience"),
        ({"at": NOW.replace(tzinfo=None)}, "offset"),
        ({"person": "B" * 121}, "at most 120"),
        ({"skill": "mask\x00clearing"}, "that print"),
        ({"by": "Ann\nLee"}, "one line"),
    ],
)
def test_what_could_not_be_used_later_is_refused_with_what_is_accepted(changes, words):
    with pytest.raises(OutOfRange, match=words):
        kept(**changes)


def test_nobody_ticks_their_own_skill():
    with pytest.raises(OutOfRange, match="cannot tick their own"):
        kept(by=" ben")


def test_many_writers_at_once_lose_and_double_nothing(opened):
    stores = [opened() for _ in range(4)]
    shared = [kept(f"shared-{n:04}") for n in range(15)]
    failed: list[BaseException] = []

    def write(number: int) -> None:
        try:
            for n in range(15):
                add_ticks(stores[number], [kept(f"own-{number}-{n:04}"), shared[n]])
        except BaseException as error:  # a thread's error would be lost
            failed.append(error)

    threads = [threading.Thread(target=write, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failed
    uids = [each.uid for each in ticks(stores[0])]
    assert len(uids) == len(set(uids)) == 4 * 15 + 15
