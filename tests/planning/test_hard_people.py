"""People, kit, skills and the next dive under attack: who must not dive does not, and nothing is hidden.

Each case is worked out by hand beside it.
"""

from __future__ import annotations

import json
import unicodedata
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from tests.planning.small_world import (
    DAY,
    PEOPLE,
    ask,
    checks_of,
    group,
    person,
    plan,
    rules_with,
    site,
    stops,
    the_check,
    wish,
    world,
)
from tripplan.check import Outcome
from tripplan.documents.data import plan_json
from tripplan.errors import OutOfRange
from tripplan.people.kit import Kit
from tripplan.people.level import Level
from tripplan.people.skills import skills_from
from tripplan.planning.actual import ActualDive, actual_dives, check_recent_dives, recent_dives_of
from tripplan.planning.day import plan_day
from tripplan.planning.event import Event
from tripplan.planning.next_dive import (
    OnePlan,
    check_made,
    dives_that_hold,
    numbered_as,
    remaining_numbers,
    remaining_request,
)
from tripplan.planning.plan import DayPlan, DivePlan
from tripplan.planning.private import without_private
from tripplan.planning.progress import SkillTick
from tripplan.planning.request import Altitude, Crew, RecentDive, Request
from tripplan.planning.world import World
from tripplan.record import TomlFile

MARKS = count(1)
KIND = "level_1_course"
LATELY = DAY - timedelta(days=30)
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
[[courses.dives]]
number = 1
name = "Pool"
water = "confined"
skills = ["breathing", "clearing"]
[[courses.dives]]
number = 2
name = "Sea"
water = "open"
skills = ["clearing"]
""",
    )
)


# ---- what the tests share ----


def at(clock: str, day: date = DAY) -> datetime:
    hour, minute = clock.split(":")
    return datetime(day.year, day.month, day.day, int(hour), int(minute), tzinfo=UTC)


def entry(moment: datetime, kind: str, name: str, **other: Any) -> Event:
    given: dict[str, Any] = {"site": "plain-cove", "by": "Shore", "group": "Group", "dive": 1, "day": DAY}
    return Event(uid=f"hard-{next(MARKS):06d}", at=moment, kind=kind, person=name, **{**given, **other})  # type: ignore[arg-type]


def swam(dive: DivePlan, *names: str, depth_m: float | None = None, **other: Any) -> list[Event]:
    """Return entries of a dive that went as planned in time, by all its people where none is named."""
    assert dive.entry and dive.exit and dive.depth_m
    which: dict[str, Any] = {"group": dive.group, "dive": dive.number, "site": dive.site, **other}
    return [
        event
        for name in names or tuple(each.name for each in dive.people)
        for event in (
            entry(dive.entry, "in", name, **which),
            entry(dive.exit, "out", name, **which),
            entry(dive.exit, "depth", name, value=depth_m or dive.depth_m, **which),
        )
    ]


def dive_of(made: DayPlan, number: int, name: str = "Group") -> DivePlan:
    (found,) = [dive for dive in made.dives if (dive.group, dive.number) == (name, number)]
    return found


def two(**other: Any) -> Request:
    """Return a day of two dives of Ann and Ben, led by Ida: 18 m for 30 min at 09:30, 12 m at 12:00."""
    dives = (wish(18, 30, entry="09:30"), wish(12, None, entry="12:00"))
    return ask(group("Ann", "Ben", dives=dives, **other))


def left_plan(asked: Request, made: tuple[ActualDive, ...], where: World, now: str = "11:00") -> DayPlan:
    left = remaining_request(asked, made, at(now), where)
    return numbered_as(plan_day(left, where), remaining_numbers(asked, made))


def tick(name: str, skill: str, dive: int = 1, result: str = "done", by: str = "Ida") -> SkillTick:
    return SkillTick(name, skill, dive, DAY - timedelta(days=2), by, result)  # type: ignore[arg-type]


def course(*ticks: SkillTick, who: str = "Ann", number: int = 2, **people: Any) -> DayPlan:
    where = replace(world(**people), skills=SKILLS, ticks={KIND: ticks})
    return plan(group(who, kind=KIND, dives=(wish(course_dive=number),)), where=where)


def cylinder(identity: str, **more: Any) -> dict[str, Any]:
    return {
        "identity": identity, "volume_l": 12.0, "metal": "steel", "working_bar": 232.0, "last_visual": LATELY,
        "last_test": LATELY, **more,
    }  # fmt: skip


def store(cylinders: tuple[dict[str, Any], ...], **regulator: Any) -> Kit:
    """Return a store with these cylinders and enough of everything else; regulator -- what is said of each of them."""
    many = ({"size": "any", "count": 9},)
    whole = {"has_second_stage_spare": True, "has_pressure_gauge": True, "serviced": LATELY, **regulator}
    return Kit.model_validate(
        {
            "cylinders": cylinders,
            "regulators": tuple({"identity": f"R{n}", **whole} for n in range(9)),
            "suits": tuple({"identity": f"W{n}", "size": "any", "mm": 5.0} for n in range(9)),
            **{thing: many for thing in ("buoyancy_devices", "masks", "fins", "boots", "snorkels")},
            "weights": ({"kg": 1.0, "count": 60},),
            "safety": tuple({"thing": t, "count": 3} for t in ("oxygen_kit", "first_aid_kit", "flag", "float")),
        }
    )


STEEL = {"cylinder_l": 12.0, "fill_bar": 200.0, "suit_mm": 5.0}


def with_kit(kit: Kit) -> World:
    return replace(world(), kit=kit)


# ---- faults: deeper or longer than allowed ----


@pytest.mark.parametrize("born", [date(1995, 1, 1), date(2016, 2, 1)])
def test_a_first_dive_of_a_course_in_confined_water_is_no_deeper_than_confined_water(born):
    # Dive 1 is for confined water; the slope is fit for both and goes to 40 m. Nobody has breathed under water yet.
    learner = person("New", Level.FIRST_EXPERIENCE, born, logged_dives=0, last_dive=None)
    made = course(who="New", number=1, people=(learner,))
    assert made.dives[0].depth_m is not None and made.dives[0].depth_m <= 5


def test_who_is_written_out_later_than_the_others_is_not_counted_out_with_them():
    # Ben's going in was forgotten. He came out 20 min after the others: at the surface 20 min less, under water more.
    whole = plan_day(two(), world())
    dive = dive_of(whole, 1)
    assert dive.exit is not None
    late = dive.exit + timedelta(minutes=20)
    made = actual_dives([*swam(dive, "Ida", "Ann"), entry(late, "out", "Ben", group="", dive=0)], whole.dives)
    (ben,) = [each for each in recent_dives_of(made) if each.person == "Ben"]
    assert ben.surfaced >= late


def test_a_dive_of_which_only_coming_out_is_written_does_not_vanish():
    whole = plan_day(two(), world())
    dive = dive_of(whole, 1)
    assert dive.exit is not None
    events = [entry(dive.exit, "out", name, group="", dive=0) for name in ("Ida", "Ann", "Ben")]
    made = actual_dives(events, whole.dives)
    try:
        left = remaining_request(two(), made, at("11:00"), world())
    except OutOfRange:
        return  # somebody writes first which dive it was
    assert left.recent_dives != "none"


def test_enriched_air_that_nobody_wrote_down_as_breathed_is_a_caution():
    # Planned on 32 %; whether it was in the cylinder nobody wrote. On air the dive leaves more nitrogen.
    rich = tuple(
        person(name, level, nitrox=True) for name, level in (("Ida", Level.INSTRUCTOR_2), ("Ann", Level.LEVEL_2))
    )
    whole = plan(group("Ann", dives=(wish(18, 30, oxygen_percent=32),)), where=world(people=rich))
    (ann,) = [each for each in actual_dives(swam(whole.dives[0]), whole.dives) if each.person == "Ann"]
    (check,) = check_recent_dives((ann,))
    assert check.outcome is not Outcome.OK and "32" in check.sentence


def test_a_child_who_dived_unplanned_beyond_the_limit_is_told_before_the_next_dive():
    # Kim is 11 and level 1: 12 m. She went along to 18 m with another group, and is planned for a dive at noon.
    groups = (
        group("Ann", "Ben", name="Deep", dives=(wish(18, 20, entry="09:30"),)),
        group("Kim", "Eva", name="Group", leader="Ola", dives=(wish(10, 20, entry="12:30"),)),
    )
    asked = ask(*groups)
    whole = plan_day(asked, world())
    deep = dive_of(whole, 1, "Deep")
    made = actual_dives([*swam(deep), *swam(deep, "Kim")], whole.dives)
    left = remaining_request(asked, made, at("11:00"), world())
    assert any("Kim" in check.sentence for check in check_made(left, made))


def test_who_leads_peers_makes_no_more_dives_in_a_day_than_they_do():
    # A dive without a leader has no staff: 3 dives for everybody.
    one = group("Ben", kind="autonomous", leader="Ann", dives=2, name="One")
    other = group("Cy", kind="autonomous", leader="Ann", dives=2, name="Other")
    assert the_check(plan(one, other), "dives-per-day", "Ann").outcome is Outcome.STOP


def test_a_dive_of_this_morning_was_an_ascent_too():
    # 8 ascents are allowed: one of this morning and 8 at noon are 9.
    morning = (RecentDive(person="Ann", depth_m=3, minutes=5, surfaced=at("06:00")),)
    made = plan(group("Ann", "Ben", dives=(wish(6, 20, ascents=8, entry="12:00"),)), recent_dives=morning)
    assert the_check(made, "ascents-per-day", "Ann").outcome is Outcome.STOP


# ---- faults: who must not ----


def test_an_assistant_of_fourteen_takes_no_divers_along():
    # One leader takes 4; two more only with an assistant who may answer for them. To lead one must be 18.
    boy = person("Max", Level.LEVEL_3, date(2013, 1, 1))
    made = plan(group("Ann", "Ben", "Cy", "Dee", "Eva", "Flo", assistants=("Max",)), where=world(people=(boy,)))
    assert made.verdict is Outcome.STOP


def test_a_child_of_eleven_does_not_direct_the_dives_or_watch_alone():
    crew = Crew(dive_director="Kim", shore_watch=("Kim",), oxygen_provider=("Oxy",))
    made = plan(group("Ann", "Ben"), crew=crew)
    assert any("Kim" in c.sentence and "11" in c.sentence and c.outcome is not Outcome.OK for c in made.checks)


@pytest.mark.parametrize(("most", "divers"), [(2, 3), (2, 4), (0, 1), (3, 4)])
def test_a_centre_that_allows_fewer_in_a_group_is_obeyed(most, divers):
    names = ("Ann", "Ben", "Cy", "Dee")[:divers]
    made = plan(group(*names), where=world(rules=rules_with(ratio__guided_most=most)))
    assert the_check(made, "ratio").outcome is Outcome.STOP


def test_a_clearance_that_is_dated_after_the_day_clears_nobody_today():
    where = world(people=(person("Ann", medical_doctor=DAY + timedelta(days=50)),))
    assert the_check(plan(group("Ann", "Ben"), where=where), "medical", "Ann").outcome is not Outcome.OK


def test_a_skill_to_do_again_counts_however_the_accent_of_the_name_was_typed():
    name = unicodedata.normalize("NFC", "José")
    typed = unicodedata.normalize("NFD", name)
    again = tick(typed, "clearing", result="again")
    made = course(tick(name, "breathing"), tick(name, "clearing"), again, who=name, people=(person(name),))
    assert "skills-open" in stops(made)


def test_a_tick_of_a_fellow_learner_closes_nothing_unseen():
    # Sol has level 1 herself.
    made = course(tick("Ann", "breathing", by="Sol"), tick("Ann", "clearing", by="Sol"))
    assert any(check.outcome is not Outcome.OK and "Sol" in check.sentence for check in made.checks)


# ---- faults: what is hidden ----


def test_two_requests_whose_groups_have_one_name_lose_no_dive():
    first = plan(group("Ann", "Ben", dives=(wish(18, 30, entry="09:30"),)))
    second = plan(group("Cy", "Dee", leader="Ola", dives=(wish(18, 30, entry="10:30"),)))
    plans = [OnePlan(each.revision, at("07:00"), "Ida", each.dives) for each in (first, second)]
    held = dives_that_hold(plans, {})
    assert {name for each in held for name in each.dive.divers} == {"Ann", "Ben", "Cy", "Dee"}


def test_a_dive_of_another_site_is_held_against_its_own_plan():
    here = plan(group("Ann", "Ben", dives=(wish(18, 30, entry="09:30"),))).dives[0]
    there = plan(group("Cy", "Dee", name="Other", leader="Ola", dives=(wish(12, 30, entry="10:30"),))).dives[0]
    there = replace(there, site="far-cove")
    made = actual_dives([*swam(here), *swam(there)], (here, there))
    assert [dive.person for dive in made if dive.planned is None] == []


def test_a_cylinder_that_was_emptied_on_the_first_dive_is_not_full_for_the_second():
    # Three people, two dives: 6 fills. The store has 4: the whole day is stopped, and so is its second dive.
    where = with_kit(store(tuple(cylinder(f"C{n}") for n in range(4))))
    asked = two(**STEEL)
    whole = plan_day(asked, where)
    assert "kit-enough" in stops(whole)
    after = left_plan(asked, actual_dives(swam(dive_of(whole, 1)), whole.dives), where)
    assert {"kit-enough", "kit-service"} & stops(after)


def test_the_cylinders_of_what_is_left_carry_the_number_of_their_dive():
    where = with_kit(store((cylinder("C0"),)))
    asked = two(**STEEL)
    whole = plan_day(asked, where)
    after = left_plan(asked, actual_dives(swam(dive_of(whole, 1)), whole.dives), where)
    assert after.packing is not None
    assert {line.dive for line in after.packing.people if line.thing == "cylinder"} == {2}
    assert not any("dive 1" in check.sentence for check in checks_of(after, "kit-enough"))


# ---- what holds ----


def test_nobody_leads_two_groups_in_the_same_minutes():
    made = plan(
        group("Ann", "Ben", dives=(wish(12, 20, entry="09:30"),)),
        group("Cy", "Dee", name="Other", dives=(wish(12, 20, entry="09:30"),)),
    )
    assert dive_of(made, 1, "Other").entry is None
    assert "Ida" in the_check(made, "entry-possible").sentence


def test_who_leads_one_group_and_dives_in_another_is_ashore_in_between():
    made = plan(
        group("Ann", "Ben", dives=(wish(12, 20, not_before="09:30"),)),
        group("Ida", "Dee", name="Other", leader="Ola", dives=(wish(12, 20, not_before="09:30"),)),
    )
    one, other = dive_of(made, 1), dive_of(made, 1, "Other")
    assert one.exit and other.entry and other.descent and one.exit - timedelta(minutes=3) <= other.descent
    assert other.descent - (one.exit - timedelta(minutes=3)) >= timedelta(minutes=60)  # 3 min of it swim back


@pytest.mark.parametrize(
    ("born", "on", "may"),
    [
        (date(2008, 2, 29), date(2026, 2, 28), False),  # 18 from 1 March in a common year
        (date(2008, 2, 29), date(2026, 3, 1), True),
        (date(2009, 6, 12), date(2027, 6, 11), False),
        (date(2009, 6, 12), date(2027, 6, 12), True),
    ],
)
def test_a_leader_is_eighteen_from_the_birthday_on(born, on, may):
    where = world(people=(person("Ida", Level.INSTRUCTOR_2, born),))
    check = the_check(plan(group("Ann", "Ben"), where=where, date=on), "leader-age")
    assert (check.outcome is Outcome.OK) is may


def test_capitals_and_spaces_of_a_language_make_no_other_one():
    where = world(
        people=(person("Ida", Level.INSTRUCTOR_2, speaks=("  JAPANESE ",)), person("Ann", language="japanese"))
    )
    assert not checks_of(plan(group("Ann", "Ben"), where=where), "language-spoken")
    assert checks_of(
        plan(group("Ann", "Ben"), where=world(people=(person("Ann", language="japanese"),))), "language-spoken"
    )


def test_assistants_who_do_not_qualify_take_nobody_along():
    made = plan(group("Ann", "Ben", "Cy", "Dee", "Eva", assistants=("Flo", "Sol")))
    check = the_check(made, "ratio")
    assert (check.outcome, check.limit) == (Outcome.STOP, 4)


@pytest.mark.parametrize("key", ["ratio__guided_per_leader", "dive__most_per_day", "dive__longest_min"])
def test_a_rule_set_to_nothing_allows_nothing(key):
    assert plan(group("Ann", "Ben"), where=world(rules=rules_with(**{key: 0}))).verdict is Outcome.STOP


@pytest.mark.parametrize("key", ["ratio__language_fewer", "ratio__minors_fewer"])
def test_a_reduction_of_any_size_never_allows_more(key):
    divers = (person("Ann", language="Japanese"), person("Ben", born=date(2011, 1, 1)))
    limits = [
        the_check(
            plan(group("Ann", "Ben"), where=world(people=divers, rules=rules_with(**{key: value}))), "ratio"
        ).limit
        for value in (0, 1, 2, 1e6)
    ]
    assert limits == sorted(limits, reverse=True) and limits[-1] >= 1


def test_six_dives_in_a_day_stop_everybody():
    found = checks_of(plan(group("Ann", "Ben", dives=6)), "dives-per-day")
    assert [check.outcome for check in found] == [Outcome.STOP] * 3


def test_a_mix_for_a_name_that_is_nobodys_is_refused():
    with pytest.raises(ValidationError, match="ann"):
        group("Ann", "Ben", mixes={"ann ": 32})


def test_a_dive_beyond_the_course_is_a_stop():
    assert "skills-open" in stops(course(tick("Ann", "breathing"), tick("Ann", "clearing"), number=3))


def test_done_then_again_on_one_day_stops_the_dive_and_again_then_done_does_not():
    done, again = tick("Ann", "clearing"), tick("ANN ", " Clearing", result="again")
    assert "skills-open" in stops(course(tick("Ann", "breathing"), done, again))
    assert "skills-open" not in stops(course(tick("Ann", "breathing"), again, done))


def test_a_cylinder_is_not_used_on_the_day_on_which_it_is_due():
    # Inspected a year ago to the day: the last day in service was yesterday.
    due = tuple(cylinder(f"C{n}", last_visual=date(2026, 6, 12)) for n in range(6))
    made = plan(group("Ann", "Ben", **STEEL), where=with_kit(store(due)))
    assert the_check(made, "kit-service", "cylinders").outcome is Outcome.STOP
    last = tuple(cylinder(f"C{n}", last_visual=date(2026, 6, 13)) for n in range(6))
    made = plan(group("Ann", "Ben", **STEEL), where=with_kit(store(last)))
    assert the_check(made, "kit-service", "cylinders").outcome is Outcome.OK


def test_a_regulator_serviced_after_the_day_is_never_ok():
    kit = store(tuple(cylinder(f"C{n}") for n in range(6)), serviced=DAY + timedelta(days=1))
    made = plan(group("Ann", "Ben", **STEEL), where=with_kit(kit))
    assert the_check(made, "kit-service", "regulators").outcome is Outcome.CAUTION


def test_nobody_is_planned_on_while_they_are_in_the_water_with_others():
    asked = two()
    whole = plan_day(asked, world())
    events = [*swam(dive_of(whole, 1)), entry(at("11:20"), "in", " ANN", group="Strangers")]
    with pytest.raises(OutOfRange, match="Ann"):
        remaining_request(asked, actual_dives(events, whole.dives), at("11:30"), world())


def test_a_dive_that_has_begun_is_not_planned_again():
    three = tuple(wish(12, 15, entry=clock) for clock in ("09:30", "12:00", "15:00"))
    asked = ask(group("Ann", "Ben", dives=three))
    whole = plan_day(asked, world())
    events = [*swam(dive_of(whole, 1)), entry(at("12:00"), "in", "Ann", dive=2)]
    with pytest.raises(OutOfRange, match="dive 2"):
        remaining_request(asked, actual_dives(events, whole.dives), at("12:10"), world())


def test_coming_out_after_midnight_written_for_the_next_day_leaves_nobody_out_of_the_water():
    asked = two()
    whole = plan_day(asked, world())
    events = [entry(at("23:40"), "in", name) for name in ("Ida", "Ann", "Ben")]
    events += [entry(at("00:20", date(2027, 6, 13)), "out", n, day=date(2027, 6, 13)) for n in ("Ida", "Ann", "Ben")]
    with pytest.raises(OutOfRange):
        remaining_request(asked, actual_dives(events, whole.dives), at("00:30", date(2027, 6, 13)), world())


def test_a_dive_that_the_request_holds_too_is_refused_and_not_shortened():
    asked = two()
    whole = plan_day(asked, world())
    dive = dive_of(whole, 1)
    assert dive.exit is not None
    twice = (RecentDive(person="Ann", depth_m=5, minutes=10, surfaced=dive.exit),)
    again = asked.model_copy(update={"recent_dives": twice})
    with pytest.raises(OutOfRange, match="same minutes"):
        remaining_request(again, actual_dives(swam(dive), whole.dives), at("11:00"), world())


@pytest.mark.parametrize("elevation", [0, 1200])
@pytest.mark.parametrize("percent", [21, 32])
@pytest.mark.parametrize("swim", [0, 9])
def test_the_last_of_three_dives_is_no_longer_after_two_as_planned(elevation, percent, swim):
    edits = (("elevation_m = 0", f"elevation_m = {elevation}"), ("swim_min = 3", f"swim_min = {swim}"))
    rich = tuple(one.model_copy(update={"nitrox": True}) for one in PEOPLE if one.name in ("Ida", "Ann", "Ben"))
    where = world(site(*edits), people=rich)
    dives = tuple(
        wish(depth, minutes, entry=clock, oxygen_percent=percent)
        for depth, minutes, clock in ((16, 20, "08:30"), (14, 20, "11:30"), (12, None, "15:00"))
    )
    asked = ask(group("Ann", "Ben", dives=dives), altitude=Altitude(settled=True))
    whole = plan_day(asked, where)
    made = actual_dives([event for dive in whole.dives[:2] for event in swam(dive)], whole.dives)
    before, after = dive_of(whole, 3), dive_of(left_plan(asked, made, where, "14:00"), 3)
    assert before.entry == after.entry and before.bottom_time_min and after.bottom_time_min
    assert (after.depth_m, after.bottom_time_min) <= (before.depth_m, before.bottom_time_min)


def test_nothing_private_of_the_roster_leaks_through_any_field_of_a_plan():
    ann = person(
        "Ann", born=date(1960, 1, 1), next_of_kin="Planted kin", next_of_kin_phone="+44 7700 900123",
        notes="planted note", guardian="Planted guardian", medical=date(2025, 3, 17), medical_doctor=date(2026, 9, 23),
    )  # fmt: skip
    made = plan(group("Ann", "Ben"), where=world(people=(ann,)))
    age = f"{(DAY - date(2025, 3, 17)).days} days"
    seen = json.dumps(plan_json(made), ensure_ascii=False)
    assert age in seen  # the leader sees it
    hidden = json.dumps(plan_json(without_private(made)), ensure_ascii=False)
    for word in (age, "lanted", "900123", "2025-03-17", "2026-09-23", "declaration", "medicines", "about heart"):
        assert word not in hidden


# ---- people and courses at the edges ----


@pytest.mark.parametrize(
    ("number", "skills", "metres"),
    [
        (1, SKILLS, 5.0),  # the dive is for confined water
        (2, SKILLS, 12.0),  # for open water: the kind's own depth
        (None, SKILLS, 5.0),  # nobody said which, and one of them is for confined water
        (3, SKILLS, 5.0),  # the course has no such dive
        (1, skills_from(TomlFile(Path("skills.toml"), "")), 5.0),  # a number of a course that nobody wrote down
        (None, skills_from(TomlFile(Path("skills.toml"), "")), 12.0),  # no list of skills is in use
    ],
)
def test_a_dive_of_a_course_goes_no_deeper_than_the_water_that_it_is_or_may_be_for(number, skills, metres):
    where = replace(world(), skills=skills)
    made = plan(group("New", kind=KIND, dives=(wish(course_dive=number),)), where=where)
    assert made.dives[0].depth.value == metres
    shelf = plan(group("New", kind=KIND, place="Deep shelf", dives=(wish(course_dive=number),)), where=where)
    held = {candidate.name for candidate in shelf.dives[0].depth.candidates}
    assert ("confined-water" in held) is (number == 1 and skills is SKILLS)  # open water alone leaves no doubt


@pytest.mark.parametrize(("born", "takes"), [(date(2009, 6, 13), 4), (date(2009, 6, 12), 6)])  # 18 tomorrow; today
def test_an_assistant_counts_from_the_eighteenth_birthday_on(born, takes):
    young = person("Max", Level.LEVEL_3, born)
    made = plan(group("Ann", "Ben", assistants=("Max",)), where=world(people=(young,)))
    assert the_check(made, "ratio").limit == takes
    assert (the_check(made, "assistant-age").outcome is Outcome.OK) is (takes == 6)


def test_children_are_not_counted_to_an_assistant_who_is_a_minor():
    # One leader takes two children under 14; the assistant of 16 takes none.
    people = (
        person("Max", Level.LEVEL_3, date(2011, 1, 1)),
        *(person(name, Level.LEVEL_1, date(2015, 1, 1)) for name in ("Ann", "Ben", "Cy")),
    )
    made = plan(group("Ann", "Ben", "Cy", assistants=("Max",)), where=world(people=people))
    check = the_check(made, "children-ratio")
    assert (check.outcome, check.found, check.limit) == (Outcome.STOP, 3, 2)


def test_a_minor_ashore_adds_nothing_to_the_adults_there_and_takes_nothing_away():
    crew = Crew(dive_director="Shore", shore_watch=("Shore", "Lou"), oxygen_provider=("Oxy",))
    made = plan(group("Ann", "Ben"), crew=crew)
    check = the_check(made, "shore-watch")
    assert (check.outcome, check.found) == (
        Outcome.OK,
        1,
    ) and "Lou (16) is below 18 and does not count" in check.sentence
    assert the_check(made, "surface-support").found == 2


@pytest.mark.parametrize(
    ("crew", "rule"),
    [
        (Crew(dive_director="Lou", shore_watch=("Shore",), oxygen_provider=("Oxy",)), "director-named"),
        (Crew(dive_director="Shore", shore_watch=("Lou", "Kim"), oxygen_provider=("Oxy",)), "shore-watch"),
        (Crew(dive_director="Shore", shore_watch=("Shore",), oxygen_provider=("Lou",)), "oxygen-provider"),
    ],
)
def test_each_duty_ashore_needs_an_adult(crew, rule):
    check = the_check(plan(group("Ann", "Ben"), crew=crew), rule)
    assert check.outcome is Outcome.STOP and "18" in check.sentence


def test_who_watches_with_a_child_alone_is_one_person_ashore():
    crew = Crew(dive_director="Oxy", shore_watch=("Oxy", "Kim"), oxygen_provider=("Oxy",))
    assert the_check(plan(group("Ann", "Ben"), crew=crew), "two-ashore").found == 1


def test_the_most_of_a_kind_is_named_where_it_is_what_binds():
    made = plan(group("Ann", "Ben", "Cy"), where=world(rules=rules_with(ratio__guided_most=2)))
    assert (the_check(made, "ratio").source, the_check(made, "ratio").limit) == ("ratio.guided_most", 2)


def test_who_leads_a_led_group_and_peers_too_is_staff():
    led = group("Ben", "Cy", leader="Gil", dives=2, name="Led")
    peers = group("Dee", kind="autonomous", leader="Gil", dives=2, name="Peers")
    assert the_check(plan(led, peers), "dives-per-day", "Gil").outcome is Outcome.OK  # 4 are allowed to staff


def test_an_ascent_of_yesterday_is_not_one_of_today():
    evening = (RecentDive(person="Ann", depth_m=3, minutes=5, surfaced=at("20:00", DAY - timedelta(days=1))),)
    made = plan(group("Ann", "Ben", dives=(wish(6, 20, ascents=8, entry="12:00"),)), recent_dives=evening)
    assert the_check(made, "ascents-per-day", "Ann").found == 8


@pytest.mark.parametrize(("days", "outcome"), [(-1, Outcome.OK), (0, Outcome.OK), (1, Outcome.STOP)])
def test_a_doctor_clears_from_the_day_on_and_not_before(days, outcome):
    where = world(people=(person("Ann", medical_doctor=DAY + timedelta(days=days)),))
    assert the_check(plan(group("Ann", "Ben"), where=where), "medical", "Ann").outcome is outcome


def test_what_a_fellow_learner_says_is_open_is_open_and_what_is_done_waits_for_an_instructor():
    done = (tick("Ann", "breathing"), tick("Ann", "clearing"))
    assert "skills-open" not in stops(course(*done))
    assert "skills-open" in stops(course(*done, tick("Ann", "clearing", result="again", by="Sol")))
    by_sol = (tick("Ann", "breathing"), tick("Ann", "clearing", by=" SOL"))
    assert "skills-open" in stops(course(*by_sol))
    seen_later = course(*by_sol, tick("Ann", "clearing"))
    assert "skills-open" not in stops(seen_later) and not checks_of(seen_later, "skills-ticks")


def test_a_name_outside_the_list_of_people_still_ticks():
    gone = [tick("Ann", skill, by="Once Here") for skill in ("breathing", "clearing")]
    assert "skills-open" not in stops(course(*gone))


def test_a_dive_of_the_day_has_begun_whoever_ticked_something_of_it():
    # Dive 2 follows dive 1 on the day. Sol has ticked one of its skills today: what else is open of it stops dive 2.
    begun = SkillTick("Ann", "clearing", 1, DAY, "Sol", "done")
    dives = (wish(course_dive=1), wish(course_dive=2))
    for ticks, stopped in (((), False), ((begun,), True)):
        where = replace(world(), skills=SKILLS, ticks={KIND: ticks})
        made = plan(group("Ann", kind=KIND, dives=dives), where=where)
        assert (
            any(c.outcome is Outcome.STOP and "clearing" in c.sentence for c in checks_of(made, "skills-open"))
            is stopped
        )


def test_another_level_of_who_ticked_makes_another_revision():
    asked = ask(group("Ann", kind=KIND, dives=(wish(course_dive=2),)))
    ticks = (tick("Ann", "breathing", by="Sol"), tick("Ann", "clearing", by="Sol"))
    one, other = (
        plan_day(asked, replace(world(people=(person("Sol", level),)), skills=SKILLS, ticks={KIND: ticks}))
        for level in (Level.LEVEL_1, Level.INSTRUCTOR_2)
    )
    assert one.revision != other.revision


def test_one_name_typed_in_two_ways_is_one_person_in_a_group():
    names = [unicodedata.normalize(form, "José") for form in ("NFC", "NFD")]
    with pytest.raises(ValidationError, match="stands in the group already"):
        group(*names)
