"""How many divers may go with each who leads. The figures are the baseline's; every limit is reckoned by hand here."""

from __future__ import annotations

from datetime import date
from typing import Any

import cove_world
import pytest
import weather_world as ww
from hypothesis import given, settings
from hypothesis import strategies as st
from small_world import DAY, PEOPLE, checks_of, group, person, plan, rules_with, site, stops, the_check, wish, world

from tripplan.check import Check
from tripplan.environment.conditions import Seen
from tripplan.people.group import KINDS
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.planning.briefing import observations
from tripplan.planning.ratios import WaterSeen, allowed, by_water, check_dive_ratio, check_ratio, ratio_of
from tripplan.planning.request import DiveWish, GroupWish
from tripplan.planning.tolerance import edges_of
from tripplan.planning.weather import underwater_visibility_limit_m
from tripplan.rulebook import baseline

RULES = baseline()
BY_NAME = {one.name: one for one in PEOPLE}
CLEAR = WaterSeen(10.0, True, 0.0, 0.5)
SHORT = (wish(5, 20),)
NAMES = ("Ann", "Ben", "Cy", "Dee", "Eva", "Flo")


def water(visibility_m: float | None = 10.0, stream_kn: float | None = 0.0, limit_kn: float = 0.5) -> WaterSeen:
    return WaterSeen(visibility_m, visibility_m is not None, stream_kn, limit_kn)


def judged(asked: GroupWish, seen: WaterSeen = CLEAR, rules=RULES, **people: Person) -> Check | None:
    return check_dive_ratio(ratio_of(asked, {**BY_NAME, **people}, DAY, rules), "Group, dive 1", seen, rules)


def limit_of(asked: GroupWish, seen: WaterSeen = CLEAR, rules=RULES, **people: Person) -> float:
    ratio = ratio_of(asked, {**BY_NAME, **people}, DAY, rules)
    return allowed(ratio, (*ratio.by_people, *by_water(seen, rules)), rules)


# ---- one reduction at a time ----


@pytest.mark.parametrize(
    ("kind", "assistants", "metres", "limit"),
    [
        ("guided", 0, 6.0, 4),
        ("guided", 0, 5.9, 2),  # 4 - 2
        ("guided", 1, 5.9, 3),  # 4 - 2, and 2 - 2 but never below 1
        ("guided", 2, 5.9, 4),
        ("night", 0, 5.5, 1),  # 2 - 2, never below 1
        ("first_experience", 0, 5.5, 1),
        ("first_experience", 1, 5.5, 2),
        ("level_2_course", 0, 5.5, 2),
        ("autonomous", 0, 5.5, 2),  # 3 - 2, but fewer than two are no pair
    ],
)
def test_low_visibility_takes_two_off_each_who_leads_but_never_all(kind, assistants, metres, limit):
    leader = None if kind == "autonomous" else "Ida"
    asked = group("Ann", "Ben", kind=kind, leader=leader, assistants=("Gil", "Max")[:assistants])
    assert limit_of(asked, water(metres)) == limit


@pytest.mark.parametrize(
    ("stream_kn", "limit"), [(0.0, 4), (0.25, 4), (0.26, 3), (0.5, 3), (None, 3)]
)  # half of the limit of 0.5 kn; one that is not known counts as near its limit
def test_a_stream_above_half_its_limit_takes_one_off(stream_kn, limit):
    assert limit_of(group("Ann", "Ben"), water(stream_kn=stream_kn)) == limit


@pytest.mark.parametrize(
    ("young", "kind", "limit"),
    [
        (("Kim",), "guided", 3),
        (("Lou",), "guided", 3),
        (("Kim", "Lou"), "guided", 3),  # a child is a minor too: counted once
        (("Kim",), "first_experience", 2),  # two children to each is the children's own number
        (("Lou",), "night", 2),
    ],
)
def test_a_child_or_a_minor_takes_one_off_down_to_the_childrens_own_two(young, kind, limit):
    assert limit_of(group("Ann", *young, kind=kind)) == limit


def test_the_larger_of_what_children_and_minors_ask_for_counts():
    rules = rules_with(ratio__children_fewer=2, ratio__minors_fewer=1)
    assert limit_of(group("Ann", "Kim", "Lou"), rules=rules) == 2
    assert limit_of(group("Ann", "Lou"), rules=rules) == 3


@pytest.mark.parametrize(
    ("diver", "leader", "assistant", "limit"),
    [
        ({"language": "Japanese"}, {}, {}, 4),  # (4 - 1) + (2 - 1)
        ({"language": "Japanese"}, {"speaks": ("Italian", " japanese ")}, {}, 6),
        ({"language": "Japanese"}, {}, {"language": "JAPANESE"}, 6),
        ({"language": "Japanese", "speaks": ("centre",)}, {}, {}, 6),
        ({}, {"language": "Dutch"}, {"language": "Dutch"}, 4),
        ({}, {"language": "Dutch", "speaks": ("centre",)}, {"language": "Dutch"}, 6),
        ({}, {}, {}, 6),
    ],
)
def test_a_language_that_nobody_who_leads_speaks_takes_one_off_each(diver, leader, assistant, limit):
    people = {
        "Ann": person("Ann", **diver),
        "Ida": person("Ida", Level.INSTRUCTOR_2, **leader),
        "Max": person("Max", Level.LEVEL_3, **assistant),
    }
    assert limit_of(group("Ann", "Ben", assistants=("Max",)), **people) == limit


def test_an_assistant_below_the_level_interprets_for_nobody():
    people = {"Ann": person("Ann", language="Japanese"), "Flo": person("Flo", speaks=("Japanese",))}
    assert limit_of(group("Ann", "Ben", assistants=("Flo",)), **people) == 3


def test_reductions_add_up_and_the_binding_one_is_the_source():
    check = judged(group("Ann", "Kim", "Ben"), water(5.0, 0.4))
    assert check is not None
    assert check.limit == 1  # 4 - 2 - 1 - 1 would be 0
    assert (check.outcome, check.source) == ("stop", "ratio.low_visibility_fewer")
    for words in (
        "1 is allowed",
        "not 4",
        "visibility under water is 5 m",
        "Kim is below 14",
        "above 50 % of its limit",
    ):
        assert words in check.sentence
    assert "Nobody has seen" not in check.sentence


@pytest.mark.parametrize(
    ("seen", "young", "source"),
    [
        (CLEAR, (), "ratio.guided_per_leader"),
        (water(stream_kn=0.4), (), "ratio.stream_fewer"),
        (CLEAR, ("Kim",), "ratio.children_fewer"),
        (CLEAR, ("Lou",), "ratio.minors_fewer"),
    ],
)
def test_each_reason_is_named_by_its_rule(seen, young, source):
    check = judged(group("Ann", "Ben", *young), seen)
    assert check is not None and check.source == source


def test_a_group_that_is_full_in_any_water_says_so():
    """By low visibility 2 to the leader and 1 to each of 8 assistants make 10; a guided dive takes 8 in any case."""
    helpers = {f"Helper {n}": person(f"Helper {n}", Level.LEVEL_3) for n in range(8)}
    check = judged(group("Ann", "Ben", assistants=tuple(helpers)), water(5.0), **helpers)
    assert check is not None and check.limit == 8
    assert "8 are allowed on a guided dive (no more in any water, although" in check.sentence
    few = judged(group("Ann", "Kim", kind="first_experience"))
    assert few is not None and "(so few that nothing is taken off, although Kim is below 14)" in few.sentence


# ---- what is not known ----


@pytest.mark.parametrize(("divers", "outcome"), [(2, "ok"), (3, "caution"), (4, "caution")])
def test_unseen_water_counts_as_normal_says_so_and_is_a_caution_where_it_matters(divers, outcome):
    check = judged(group(*NAMES[:divers]), water(None))
    assert check is not None and check.outcome == outcome
    assert "normal visibility is counted; below 6 m 2 are allowed" in check.sentence
    assert check.limit == (2 if outcome == "caution" else 4)


def test_a_group_that_no_water_allows_is_stopped_once_and_not_for_each_dive_again():
    made = plan(group(*NAMES[:5], dives=(wish(5, 20), wish(5, 20))))
    assert len([check for check in made.stops if check.rule.startswith("ratio")]) == 1
    assert not checks_of(made, "ratio-of-dive")


# ---- whole days ----


def seen(quantity: str, value: float, hour: int) -> Seen:
    return Seen(quantity, value, ww.at(cove_world.DAY, hour))


def four(*dives: DiveWish, **more: Any) -> GroupWish:
    return ww.guided(divers=("Two", "Deux", "Dos", "Helper"), dives=dives, **more)


def test_each_dive_is_judged_by_its_own_lowest_visibility():
    dives = (DiveWish(depth_m=10, minutes=20, entry="09:30"), DiveWish(depth_m=10, minutes=20, entry="13:30"))
    told = ww.conditions(
        cove_world.DAY, seen("underwater_visibility_m", 12.0, 9), seen("underwater_visibility_m", 5.0, 13)
    )
    found = {check.subject: check for check in ww.checks(ww.plan(told, four(*dives)), "ratio-of-dive")}
    assert {subject: (check.outcome.value, check.limit) for subject, check in found.items()} == {
        "Terns, dive 1": ("ok", 4),
        "Terns, dive 2": ("stop", 2),
    }


def test_a_dive_with_a_fresh_stream_takes_one_diver_fewer():
    told = ww.conditions(cove_world.DAY, seen("underwater_visibility_m", 12.0, 9), seen("stream_kn", 0.3, 9))
    (check,) = ww.checks(ww.plan(told, four(DiveWish(depth_m=10, minutes=20, entry="09:30"))), "ratio-of-dive")
    assert (check.outcome, check.limit, check.source) == ("stop", 3, "ratio.stream_fewer")


def test_without_a_forecast_the_dive_is_judged_too():
    check = the_check(plan(group("Ann", "Ben", dives=SHORT)), "ratio-of-dive")
    assert check.outcome == "ok" and "Nobody has seen" in check.sentence


def test_a_language_that_nobody_speaks_is_named():
    where = world(people=(person("Ann", language="Japanese"),))
    check = the_check(plan(group("Ann", "Ben", dives=SHORT), where=where), "language-spoken")
    assert check.outcome == "caution" and "Ann" in check.sentence
    assert not checks_of(plan(group("Ann", "Ben", dives=SHORT)), "language-spoken")


def test_the_edges_of_a_plan_know_that_low_visibility_needs_the_assistant():
    told = ww.conditions(cove_world.DAY, seen("underwater_visibility_m", 5.0, 9))
    asked = cove_world.request(
        ww.guided(
            divers=("Two", "Deux", "Dos"), assistants=("Helper",),
            dives=(DiveWish(depth_m=10, minutes=20, entry="09:30"),),
        )
    )  # fmt: skip
    there = cove_world.world(ww.cove())
    where = type(there)(**{**vars(there), "conditions": {"cove": told}})
    made = ww.plan(told, *asked.groups)
    assert "ratio-of-dive" not in {check.rule for check in made.stops}  # 2 and 1 for three divers
    (without,) = [edge for edge in edges_of(made, asked, where) if edge.what == "Without Helper"]
    assert without.outcome == "stop" and "2 are allowed" in without.because


# ---- the least visibility of each kind ----


@pytest.mark.parametrize(
    ("kind", "metres", "source"),
    [
        ("guided", 3.0, "observe.visibility_m"),
        ("autonomous", 3.0, "observe.visibility_m"),
        ("night", 5.0, "observe.visibility_night_m"),
        ("first_experience", 5.0, "observe.visibility_first_experience_m"),
        ("level_1_course", 4.0, "observe.visibility_training_m"),
    ],
)
def test_the_strictest_limit_of_visibility_counts_for_a_kind(kind, metres, source):
    assert underwater_visibility_limit_m(site(), KINDS[kind], RULES) == (metres, source)


def test_a_kinds_number_below_the_general_one_changes_nothing():
    rules = rules_with(observe__visibility_first_experience_m=1.0)
    found = underwater_visibility_limit_m(site(), KINDS["first_experience"], rules)
    assert found == (4.0, "observe.visibility_training_m")


def test_the_number_to_look_for_on_arrival_is_that_of_the_strictest_kind():
    kinds = (KINDS["guided"], KINDS["night"])
    (looked,) = [each for each in observations(site(), kinds, RULES) if each.what == "Visibility under water"]
    assert looked.limit_words == "stop below 5 m (night dive)" and "below 6 m" in looked.how


# ---- what must never happen ----

KIND_NAMES = st.sampled_from(sorted(KINDS))
AGES = st.integers(8, 60)
WORDS = st.sampled_from(["", "Japanese", "Dutch"])


@st.composite
def groups(draw) -> tuple[GroupWish, dict[str, Person]]:
    divers = NAMES[: draw(st.integers(1, 6))]
    people = {name: person(name, born=date(2027 - draw(AGES), 1, 1), language=draw(WORDS)) for name in divers}
    for name, level in (("Ida", Level.INSTRUCTOR_2), ("Gil", Level.LEVEL_3), ("Max", Level.LEVEL_3)):
        people[name] = person(name, level, speaks=draw(st.sampled_from([(), ("Japanese",), ("Dutch", "Japanese")])))
    helpers = ("Gil", "Max")[: draw(st.integers(0, 2))]
    return group(*divers, kind=draw(KIND_NAMES), assistants=helpers), people


METRES = st.floats(0, 30)
KNOTS = st.floats(0, 3)


@settings(deadline=None)
@given(groups(), METRES, METRES, KNOTS, KNOTS)
def test_less_visibility_or_more_stream_never_allows_more_divers(asked, one_m, two_m, one_kn, two_kn):
    wish_, people = asked
    better = limit_of(wish_, water(max(one_m, two_m), min(one_kn, two_kn)), **people)
    worse = limit_of(wish_, water(min(one_m, two_m), max(one_kn, two_kn)), **people)
    assert worse <= better


@settings(deadline=None)
@given(groups(), METRES | st.none(), KNOTS | st.none())
def test_no_reduction_allows_more_divers_than_none_nor_fewer_than_one_to_each_who_leads(asked, metres, knots):
    wish_, people = asked
    ratio = ratio_of(wish_, {**BY_NAME, **people}, DAY, RULES)
    whole = allowed(ratio, (), RULES)
    limit = limit_of(wish_, water(metres, knots), **people)
    assert limit <= allowed(ratio, ratio.by_people, RULES) <= whole
    assert limit >= (min(whole, 1 + ratio.qualified) if KINDS[wish_.kind].led else 2)


@settings(deadline=None)
@given(groups(), METRES | st.none(), KNOTS | st.none())
def test_a_dive_is_never_judged_milder_than_its_group(asked, metres, knots):
    wish_, people = asked
    ratio = ratio_of(wish_, {**BY_NAME, **people}, DAY, RULES)
    whole, dive = check_ratio(ratio, RULES), judged(wish_, water(metres, knots), **people)
    assert (dive is None) == (whole.outcome == "stop")
    assert dive is None or dive.outcome.severity >= whole.outcome.severity


@settings(deadline=None)
@given(groups(), METRES, st.sampled_from(["Japanese", "Dutch", "Welsh"]))
def test_a_diver_of_another_language_never_allows_more(asked, metres, tongue):
    wish_, people = asked
    name = wish_.divers[0]
    spoken = {**people, name: people[name].model_copy(update={"language": ""})}
    foreign = {**people, name: people[name].model_copy(update={"language": tongue})}
    assert limit_of(wish_, water(metres), **foreign) <= limit_of(wish_, water(metres), **spoken)


def test_a_group_without_a_leader_may_take_nobody():
    made = plan(group("Ann", "Ben", leader=None, dives=SHORT))
    assert "ratio" in stops(made) and "no leader" in the_check(made, "ratio").sentence
