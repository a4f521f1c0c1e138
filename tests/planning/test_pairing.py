"""Who dives with whom: what is proposed, what a leader may want instead, and what is said of either."""

from __future__ import annotations

from datetime import date
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_world import DAY, PEOPLE, checks_of, group, person, plan, stops, the_check, wish, world

from tripplan.check import Check
from tripplan.errors import BadRecord
from tripplan.people.group import KINDS
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.planning.pairing import MOST_SEARCHED, Pairs, check_pairs, propose_pairs
from tripplan.planning.request import GroupWish, request_from
from tripplan.record import TomlFile
from tripplan.rulebook import baseline

RULES = baseline()
BY_NAME = {one.name: one for one in PEOPLE}
SHORT = (wish(5, 20),)
CHILD = date(2015, 1, 1)  # 12 on the day


def those(*people: Person) -> dict[str, Person]:
    return {**BY_NAME, **{one.name: one for one in people}}


def proposed(*people: Person, **more: Any) -> Pairs:
    return propose_pairs(group(*(one.name for one in people), **more), those(*people), DAY, RULES)


def told(asked: GroupWish, pairs: Pairs, *people: Person) -> dict[str, Check]:
    """Return the checks of some pairs by rule; no rule twice."""
    found = list(check_pairs(asked, pairs, those(*people), DAY, RULES))
    assert len({check.rule for check in found}) == len(found)
    return {check.rule: check for check in found}


def outcomes(asked: GroupWish, pairs: Pairs, *people: Person) -> dict[str, str]:
    return {rule: check.outcome.value for rule, check in told(asked, pairs, *people).items() if rule != "pairs"}


# ---- what is proposed ----


def test_neighbours_in_level_are_paired_with_one_three_where_the_number_is_odd():
    people = [person("A"), person("B", Level.LEVEL_1), person("C"), person("D", Level.LEVEL_1), person("E")]
    assert proposed(*people) == (("A", "C", "E"), ("B", "D"))


def test_neighbours_in_logged_dives_are_paired():
    people = [person(name, logged_dives=count) for name, count in (("A", 12), ("B", 900), ("C", 9), ("D", 700))]
    assert proposed(*people) == (("A", "C"), ("B", "D"))


def test_those_who_breathe_alike_are_paired():
    rates = (("A", 14.0), ("B", 25.0), ("C", 14.5), ("D", 24.0))
    people = [person(name, gas_rate_l_min=rate) for name, rate in rates]
    assert proposed(*people) == (("A", "C"), ("B", "D"))


def test_one_mix_in_a_pair_counts_more_than_one_level():
    people = [person("A"), person("B"), person("C", Level.LEVEL_1), person("D", Level.LEVEL_1)]
    assert proposed(*people, mixes={"A": 32, "C": 32}) == (("A", "C"), ("B", "D"))


def test_those_who_share_a_language_are_paired():
    people = [
        person("A", language="Dutch"), person("B", language="Welsh"), person("C", speaks=("welsh",)),
        person("D", speaks=("DUTCH ",)),
    ]  # fmt: skip
    assert proposed(*people) == (("A", "D"), ("B", "C"))


def test_a_child_is_paired_with_an_adult_while_there_is_one():
    people = [person("Kid", born=CHILD), person("Bub", born=CHILD), person("A"), person("B")]
    assert all(len(set(pair) & {"Kid", "Bub"}) == 1 for pair in proposed(*people))


def test_children_without_an_adult_diver_go_with_who_leads():
    assert proposed(person("Kid", born=CHILD), person("Bub", born=CHILD)) == (("Ida", "Bub", "Kid"),)
    teenager = person("Lou", born=date(2011, 2, 1))  # 16: no adult either
    assert proposed(person("Kid", born=CHILD), teenager) == (("Ida", "Kid", "Lou"),)


def test_a_single_diver_goes_with_the_leader_and_alone_where_there_is_none():
    assert proposed(person("A")) == (("Ida", "A"),)
    assert proposed(person("A"), leader=None) == (("A",),)


def test_peers_without_a_leader_are_all_paired():
    assert proposed(person("A"), kind="autonomous", leader="Gil") == (("A", "Gil"),)


@pytest.mark.parametrize(
    ("learners", "assistants", "expected"),
    [
        (("A",), (), (("Ida", "A"),)),
        (("A", "B"), (), (("Ida", "A", "B"),)),
        (("A", "B"), ("Max",), (("Ida", "A"), ("Max", "B"))),
        (("A", "B", "C"), ("Max",), (("Ida", "B", "C"), ("Max", "A"))),
        (("A", "B", "C", "D"), ("Max",), (("Ida", "A", "B"), ("Max", "C", "D"))),
    ],
)
def test_a_learner_on_a_first_experience_is_with_who_leads(learners, assistants, expected):
    people = [person(name, Level.FIRST_EXPERIENCE, logged_dives=0) for name in learners]
    assert proposed(*people, kind="first_experience", assistants=assistants) == expected


def test_a_child_on_a_first_experience_is_with_the_instructor_before_others_are():
    people = [person("A", Level.FIRST_EXPERIENCE), person("Kid", Level.FIRST_EXPERIENCE, born=CHILD)]
    made = proposed(*people, kind="first_experience", assistants=("Max",))
    assert made == (("Ida", "Kid"), ("Max", "A"))


def test_what_the_leader_wants_wins():
    asked = group("Ann", "Ben", "Cy", "Dee", pairs=(("Dee", "Ann"), ("Cy", "Ben")), dives=SHORT)
    assert propose_pairs(asked, BY_NAME, DAY, RULES) == (("Dee", "Ann"), ("Cy", "Ben"))
    made = plan(asked)
    assert made.dives[0].pairs == (("Dee", "Ann"), ("Cy", "Ben"))
    assert "as the leader wants them: Dee + Ann; Cy + Ben" in the_check(made, "pairs").sentence


def test_somebody_who_falls_out_of_a_request_leaves_the_buddy_to_be_told_of():
    asked = group("Ann", "Ben", "Cy", "Dee", pairs=(("Dee", "Ann"), ("Cy", "Ben"))).model_copy(
        update={"divers": ("Ann", "Ben", "Cy")}
    )
    pairs = propose_pairs(asked, BY_NAME, DAY, RULES)
    assert pairs == (("Ann",), ("Cy", "Ben"))
    assert "Ann has nobody to dive with" in told(asked, pairs)["pair-nobody"].sentence


LEVELS = st.sampled_from([Level.FIRST_EXPERIENCE, Level.LEVEL_1, Level.LEVEL_2])


@st.composite
def some(draw, most: int = 13) -> list[Person]:
    count = draw(st.integers(1, most))
    return [
        person(
            f"P{number:02d}",
            draw(LEVELS),
            date(2027 - draw(st.integers(8, 60)), 1, 1),
            logged_dives=draw(st.sampled_from([0, 3, 40, 500])),
            gas_rate_l_min=draw(st.sampled_from([None, 14.0, 22.0])),
            language=draw(st.sampled_from(["", "Dutch"])),
        )
        for number in range(count)
    ]


@settings(deadline=None)
@given(some(), st.sampled_from(sorted(KINDS)), st.integers(0, 2), st.booleans())
def test_everybody_is_in_exactly_one_pair_of_two_or_three(people, kind, helpers, led):
    leader = "Ida" if led or helpers else None
    asked = group(*(one.name for one in people), kind=kind, leader=leader, assistants=("Gil", "Max")[:helpers])
    pairs = propose_pairs(asked, those(*people), DAY, RULES)
    names = [name for pair in pairs for name in pair]
    staff = {"Ida", "Gil", "Max"} if KINDS[kind].led else set()
    assert sorted(name for name in names if name not in staff) == sorted(set(asked.everybody) - staff)
    assert len(set(names)) == len(names)  # who leads stands in one pair at most
    sizes = {len(pair) for pair in pairs}
    assert sizes <= {2, 3} or (sizes == {1} and len(people) == 1 and leader is None)


@settings(deadline=None)
@given(some(), st.sampled_from(sorted(KINDS)), st.randoms(use_true_random=False))
def test_the_order_of_names_in_a_request_changes_no_pair(people, kind, chance):
    names = [one.name for one in people]
    helpers = ["Gil", "Max"]
    first = group(*names, kind=kind, assistants=tuple(helpers))
    chance.shuffle(names)
    chance.shuffle(helpers)
    second = group(*names, kind=kind, assistants=tuple(helpers))
    where = those(*people)
    assert propose_pairs(first, where, DAY, RULES) == propose_pairs(second, where, DAY, RULES)


@settings(deadline=None, max_examples=40)
@given(some(most=6))
def test_no_other_way_to_pair_a_few_leaves_fewer_children_without_an_adult(people):
    """All ways are tried by brute force: every order of the names, cut into twos and a last three."""
    where = those(*people)
    asked = group(*(one.name for one in people), leader=None)

    def alone(pairs: Pairs) -> int:
        ages = [[where[name].age_on(DAY) for name in pair] for pair in pairs]
        return sum(age < 14 for unit in ages if max(unit) < 18 for age in unit)

    found = alone(propose_pairs(asked, where, DAY, RULES))
    for order in permutations(one.name for one in people):
        cuts = [order[at : at + 2] for at in range(0, len(order) - 1, 2)]
        if len(order) % 2:
            cuts = [*cuts[:-1], (*cuts[-1], order[-1])] if cuts else [order]
        assert found <= alone(tuple(cuts))


def test_more_divers_than_are_searched_are_paired_like_with_like_too():
    kids = [person(f"Kid {number}", born=CHILD) for number in range(4)]
    grown = [person(f"Grown {number}") for number in range(MOST_SEARCHED)]
    pairs = proposed(*kids, *grown)
    assert all(sum(name.startswith("Kid") for name in pair) <= 1 for pair in pairs)


# ---- what is said of pairs ----


def test_good_pairs_are_said_and_nothing_else():
    asked = group("Ann", "Ben", "Cy", "Dee")
    found = told(asked, (("Ann", "Ben"), ("Cy", "Dee")))
    assert list(found) == ["pairs"]
    assert found["pairs"].sentence == "Group: pairs as proposed: Ann + Ben; Cy + Dee."


def test_a_three_is_a_caution_unless_one_of_them_leads():
    assert outcomes(group("Ann", "Ben", "Cy"), (("Ann", "Ben", "Cy"),)) == {"pair-three": "caution"}
    assert outcomes(group("Ann", "Ben"), (("Ida", "Ann", "Ben"),)) == {}


@pytest.mark.parametrize(
    ("years", "kind", "outcome"), [(12, "guided", "caution"), (11, "guided", "stop"), (12, "autonomous", "stop")]
)
def test_a_child_without_an_adult_in_the_pair(years, kind, outcome):
    people = (person("Kid", born=date(2027 - years, 1, 1)), person("Lou", born=date(2011, 2, 1)))
    leader = None if kind == "autonomous" else "Ida"
    assert outcomes(group("Kid", "Lou", kind=kind, leader=leader), (("Kid", "Lou"),), *people)["pair-child"] == outcome
    assert "pair-child" not in outcomes(group("Kid", "Ann", kind="guided"), (("Ann", "Kid"),), *people)


@pytest.mark.parametrize(
    ("divers", "kind", "leader", "stopped"),
    [
        (("Sol", "Una"), "guided", "Ida", False),
        (("Sol", "Una"), "guided", None, True),
        (("Sol", "Ann"), "guided", None, False),
        (("Sol", "Ann"), "autonomous", None, True),  # each must be autonomous there: ISO 24801-2
        (("Ann", "Ben"), "autonomous", None, False),
    ],
)
def test_who_is_not_autonomous_is_led(divers, kind, leader, stopped):
    found = outcomes(group(*divers, kind=kind, leader=leader), (divers,))
    assert (found.get("pair-level") == "stop") is stopped


def test_two_mixes_in_a_pair_are_a_caution_for_the_dive_that_has_them():
    asked = group("Ann", "Ben", mixes={"Ben": 32}, dives=(wish(5, 20), wish(5, 20, oxygen_percent=32)))
    check = told(asked, (("Ann", "Ben"),))["pair-mix"]
    assert check.outcome == "caution" and check.sentence.startswith("Group, dive 1:")
    assert "Ann 21 %, Ben 32 %" in check.sentence and "shallower limit" in check.sentence


def test_no_language_in_common_is_a_caution():
    ann = person("Ann", language="Japanese")
    assert outcomes(group("Ann", "Ben"), (("Ann", "Ben"),), ann) == {"pair-language": "caution"}
    assert outcomes(group("Ann", "Ben"), (("Ann", "Ben"),), ann, person("Ben", speaks=("japanese",))) == {}


@pytest.mark.parametrize(("new", "old", "cautioned"), [(19, 120, True), (19, 119, False), (20, 900, False)])
def test_far_apart_in_logged_dives_is_a_caution_for_who_is_new(new, old, cautioned):
    people = (person("Ann", logged_dives=new), person("Ben", logged_dives=old))
    found = outcomes(group("Ann", "Ben"), (("Ben", "Ann"),), *people)
    assert found == ({"pair-experience": "caution"} if cautioned else {})


def test_who_has_nobody_is_a_stop():
    assert outcomes(group("Ann"), (("Ida", "Ann"),)) == {}
    assert outcomes(group("Ann", leader=None), (("Ann",),)) == {"pair-nobody": "stop"}
    assert "Cy" in told(group("Ann", "Ben", "Cy"), (("Ann", "Ben"),))["pair-nobody"].sentence
    assert outcomes(group("Ann", "Ben", "Cy"), (("Ann", "Ben"), ("Ben", "Cy")))["pair-twice"] == "stop"


def test_learners_paired_by_the_leader_need_somebody_to_stay_with_each_pair():
    asked = group("New", "Raw", "Ann", "Ben", kind="first_experience", pairs=(("New", "Raw"), ("Ann", "Ben")))
    pairs = propose_pairs(asked, BY_NAME, DAY, RULES)
    assert outcomes(asked, pairs)["pair-instructor"] == "stop"
    helped = asked.model_copy(update={"assistants": ("Max",)})
    assert outcomes(helped, pairs)["pair-instructor"] == "caution"


def test_a_plan_judges_the_pairs_of_every_group():
    ann = person("Ann", language="Japanese")
    made = plan(group("Ann", "Ben", dives=SHORT), where=world(people=(ann,)))
    assert the_check(made, "pair-language").outcome == "caution"
    assert "pair-nobody" in stops(plan(group("Ann", leader=None, dives=SHORT)))
    assert not checks_of(plan(group("Ann", "Ben", dives=SHORT)), "pair-language")


# ---- what a request may say ----

REQUEST = """
site = "plain-cove"
date = 2027-06-12
[[groups]]
name = "Terns"
kind = "{kind}"
leader = "Ida"
divers = ["Ann", "Ben", "Cy", "Dee"]
pairs = {pairs}
[[groups.dives]]
"""


def refused(pairs: str, kind: str = "guided") -> str:
    with pytest.raises(BadRecord) as fault:
        request_from(TomlFile(Path("day.toml"), REQUEST.format(kind=kind, pairs=pairs)))
    return str(fault.value)


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        ('[["Ann", "Ben"], ["Cy", "Zed"]]', '"Zed", who is not one of the divers'),
        ('[["Ann", "Ben"], ["Cy", "Zed"]]', "leaves out Dee"),
        ('[["Ann", "Ben"], ["Cy", "Dee", "Ida"]]', '"Ida", who is not one of the divers'),
        ('[["Ann", "Ben"], ["Cy", "Dee", "Ann"]]', '"Ann", who stands in pairs[1] already'),
        ('[["Ann", "Ann"], ["Cy", "Dee", "Ben"]]', '"Ann", who stands in pairs[1] already'),
        ('[["Ann", "Ben"]]', "leaves out Cy, Dee"),
        ('[["Ann", "Ben", "Cy"], ["Dee"]]', "pairs"),
        ('[["Ann", "Ben", "Cy", "Dee"]]', "pairs"),
        ("[]", "leaves out Ann, Ben, Cy, Dee"),
    ],
)
def test_pairs_that_cannot_be_are_refused_with_what_is_wrong(pairs, words):
    assert words in refused(pairs)


def test_where_nobody_leads_the_named_leader_is_paired_too():
    assert "leaves out Ida" in refused('[["Ann", "Ben"], ["Cy", "Dee"]]', "autonomous")
    asked = GroupWish(
        name="Peers",
        kind="autonomous",
        leader="Ida",
        divers=("Ann", "Ben"),
        dives=SHORT,
        pairs=(("Ida", "Ann", "Ben"),),
    )
    assert propose_pairs(asked, BY_NAME, DAY, RULES) == (("Ida", "Ann", "Ben"),)
