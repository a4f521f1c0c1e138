"""Who may lead, how many to a leader, and whether each person is ready. The figures are the baseline's."""

from __future__ import annotations

from datetime import date

import pytest
from small_world import (
    CREW,
    DAY,
    ask,
    cautions,
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

from tests.planning.readiness import OF_EVERY_TEST
from tripplan.people.level import Level
from tripplan.planning.day import plan_day
from tripplan.planning.request import Crew
from tripplan.planning.world import CannotPlan

SHORT = (wish(5, 20),)
FIRST = {"kind": "first_experience", "dives": SHORT}


def test_a_guided_dive_without_a_leader_is_a_stop_and_leads_nobody_deeper():
    made = plan(group("Ann", "Ben", leader=None, dives=SHORT))
    assert {"leader-named", "ratio"} <= stops(made)
    assert made.dives[0].depth.value == 20.0


@pytest.mark.parametrize(
    ("kind", "leader", "fits"),
    [
        ("guided", "Gil", True),  # ISO 24801-3
        ("guided", "Ann", False),
        ("refresher", "Gil", False),
        ("refresher", "Tia", True),
        ("level_1_course", "Tia", False),
        ("level_1_course", "Ida", True),  # ISO 24802-2
        ("first_experience", "Gil", False),
        ("night", "Gil", True),
    ],
)
def test_each_kind_of_dive_needs_its_leaders_level(kind, leader, fits):
    made = plan(group("Ben", "Cy", kind=kind, leader=leader, dives=SHORT))
    assert ("leader-level" in stops(made)) is not fits


@pytest.mark.parametrize(
    ("kind", "divers", "assistants", "allowed"),
    [
        ("guided", 4, 0, 4),
        ("guided", 5, 0, 4),
        ("guided", 5, 1, 6),
        ("guided", 6, 1, 6),
        ("night", 3, 0, 2),
        ("night", 3, 1, 4),
        ("first_experience", 2, 0, 2),  # Thai notice of 2025
        ("first_experience", 3, 0, 2),
        ("first_experience", 3, 1, 3),
    ],
)
def test_the_ratio_counts_divers_against_leader_and_qualified_assistants(kind, divers, assistants, allowed):
    names = ("Ann", "Ben", "Cy", "Dee", "Eva", "Flo")[:divers]
    made = plan(group(*names, kind=kind, assistants=("Gil", "Max")[:assistants], dives=SHORT))
    check = the_check(made, "ratio")
    assert check.limit == allowed
    assert (check.outcome == "stop") is (divers > allowed)


def test_assistants_raise_the_ratio_no_further_than_its_ceiling():
    many = tuple(person(f"Helper {n}", Level.LEVEL_3) for n in range(9))
    made = plan(
        group("Ann", "Ben", "Cy", "Dee", kind="refresher", assistants=tuple(p.name for p in many), dives=SHORT),
        where=world(people=many),
    )
    assert the_check(made, "ratio").limit == 6


def test_an_assistant_below_level_3_helps_nobody_and_is_a_stop():
    made = plan(group("Ann", "Ben", "Cy", "Dee", "Eva", assistants=("Flo",), dives=SHORT))
    assert {"assistant-level", "ratio"} <= stops(made)


def test_two_children_to_each_who_leads_or_assists():
    young = tuple(person(name, Level.LEVEL_1, date(2015, 1, 1)) for name in ("Bo", "Cat", "Dot"))
    alone = plan(group("Bo", "Cat", "Dot", dives=SHORT), where=world(people=young))
    helped = plan(group("Bo", "Cat", "Dot", assistants=("Gil",), dives=SHORT), where=world(people=young))
    two = plan(group("Bo", "Cat", dives=SHORT), where=world(people=young))
    assert "children-ratio" in stops(alone)
    assert "children-ratio" not in stops(helped) | stops(two)
    assert not checks_of(plan(group("Ann", "Ben", dives=SHORT)), "children-ratio")


@pytest.mark.parametrize(("divers", "fits"), [(1, False), (2, True), (3, True), (4, False)])
def test_a_group_without_a_leader_is_two_or_three(divers, fits):
    made = plan(group(*("Ann", "Ben", "Cy", "Dee")[:divers], kind="autonomous", leader=None, dives=SHORT))
    assert ("group-size" in stops(made)) is not fits


def test_everybody_in_the_water_counts_in_a_group_of_peers():
    made = plan(group("Ann", "Ben", kind="autonomous", leader="Gil", assistants=("Max",), dives=SHORT))
    check = the_check(made, "group-size")
    assert check.found == 4 and check.outcome == "stop"


def test_nobody_below_18_dives_without_a_leader_even_where_consent_is_needed_only_to_16():
    for rules in (None, rules_with(age__adult_years=16)):
        made = plan(group("Ann", "Lou", kind="autonomous", leader=None, dives=SHORT), where=world(rules=rules))
        assert "age-without-leader" in stops(made)


@pytest.mark.parametrize(
    ("papers", "stopped", "words"),
    [
        ({"medical": date(2026, 6, 12)}, False, "365 days old"),
        ({"medical": date(2026, 6, 11)}, True, "366 days old"),
        ({"medical": None, "medical_clear": False}, True, "no medical declaration"),
        ({"medical_clear": False}, True, "asks for a doctor"),
        ({"medical": date(2027, 6, 13)}, True, "dated after the day"),
        ({"medical": DAY}, False, "0 days old"),
    ],
)
def test_a_medical_declaration_holds_a_year_and_must_be_clear(papers, stopped, words):
    made = plan(group("Ann", "Ben", dives=SHORT), where=world(people=(person("Ann", **papers),)))
    check = the_check(made, "medical", "Ann")
    assert (check.outcome == "stop") is stopped and words in check.sentence


def test_a_leader_without_a_medical_declaration_stops_the_group_too():
    ida = person("Ida", Level.INSTRUCTOR_2, medical=None, medical_clear=False)
    assert "medical" in stops(plan(group("Ann", "Ben", dives=SHORT), where=world(people=(ida,))))


@pytest.mark.parametrize(
    ("born", "consent", "outcome"),
    [(date(2009, 6, 13), False, "stop"), (date(2009, 6, 13), True, "ok"), (date(2009, 6, 12), False, None)],
)
def test_below_18_a_guardian_consents(born, consent, outcome):
    made = plan(
        group("Ann", "Ben", dives=SHORT), where=world(people=(person("Ann", born=born, guardian_consent=consent),))
    )
    found = [check.outcome.value for check in checks_of(made, "guardian-consent", "Ann")]
    assert found == ([outcome] if outcome else [])


@pytest.mark.parametrize(
    ("last", "kind", "outcome"),
    [
        (date(2027, 3, 14), "guided", "ok"),  # 90 days
        (date(2027, 3, 13), "guided", "caution"),
        (date(2027, 3, 13), "refresher", "ok"),
        (None, "guided", "caution"),
        (None, "refresher", "ok"),
        (date(2027, 6, 13), "guided", "caution"),
    ],
)
def test_ninety_days_without_a_dive_ask_for_a_check_dive(last, kind, outcome):
    made = plan(group("Ann", "Ben", kind=kind, dives=SHORT), where=world(people=(person("Ann", last_dive=last),)))
    assert the_check(made, "lay-off", "Ann").outcome == outcome


def test_an_instructor_long_out_of_the_water_is_a_caution_even_on_a_refresher():
    ida = person("Ida", Level.INSTRUCTOR_2, last_dive=date(2026, 1, 1))
    made = plan(group("Ann", "Ben", kind="refresher", dives=SHORT), where=world(people=(ida,)))
    assert the_check(made, "lay-off", "Ida").outcome == "caution"


def test_enriched_air_is_for_those_qualified_and_not_for_minors():
    rich = (wish(10, 20, oxygen_percent=32),)
    young = person("Lou", Level.LEVEL_2, date(2011, 2, 1), nitrox=True)
    made = plan(group("Ann", "Lou", dives=rich), where=world(people=(young,)))
    assert the_check(made, "nitrox-qualified", "Ann").outcome == "stop"
    assert the_check(made, "nitrox-qualified", "Lou").outcome == "ok"
    assert the_check(made, "nitrox-qualified", "Ida").outcome == "stop"
    assert the_check(made, "minor-gas", "Lou").outcome == "stop"
    assert not checks_of(made, "minor-gas", "Ann")
    assert not checks_of(plan(group("Ann", "Ben", dives=SHORT)), "nitrox-qualified")


def test_forty_and_older_are_asked_about_their_hearts():
    made = plan(group("Ann", "Ben", dives=SHORT), where=world(people=(person("Ben", born=date(1987, 6, 12)),)))
    assert "Ben" in the_check(made, "heart-question").sentence
    younger = plan(group("Ann", "Ben", dives=SHORT), where=world(people=(person("Ben", born=date(1987, 6, 13)),)))
    assert not checks_of(younger, "heart-question")


def test_a_site_admits_only_its_levels_staff_included():
    strict = site(('lowest_level = "first_experience"', 'lowest_level = "level_2"'))
    made = plan(group("Ann", "Sol", dives=SHORT), where=world(strict))
    assert the_check(made, "site-admits", "Sol").outcome == "stop"
    assert the_check(made, "site-admits", "Ann").outcome == "ok"


@pytest.mark.parametrize(("kind", "diver"), [("guided", "New"), ("night", "Sol"), ("autonomous", "Sol")])
def test_a_kind_of_dive_asks_for_a_level_of_its_divers(kind, diver):
    made = plan(group("Ann", diver, kind=kind, leader=None if kind == "autonomous" else "Gil", dives=SHORT))
    assert the_check(made, "diver-level", diver).outcome == "stop"


def test_a_place_that_does_not_suit_the_dive_is_a_stop():
    made = plan(group("Ann", "Ben", place="Basin", dives=SHORT))
    assert the_check(made, "place-suits").outcome == "stop"


# ---- ashore ----


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"dive_director": None}, "director-named"),
        ({"shore_watch": ()}, "shore-watch"),
        ({"oxygen_provider": ()}, "oxygen-provider"),
    ],
)
def test_nobody_ashore_in_a_role_is_a_stop(change, rule):
    made = plan(group("Ann", "Ben", dives=SHORT), crew=CREW.model_copy(update=change))
    assert stops(made) == {rule}


@pytest.mark.parametrize(
    ("until", "outcome"),
    [
        (date(2027, 6, 11), "stop"),
        (date(2027, 6, 12), "caution"),
        (date(2027, 7, 12), "caution"),  # 30 days
        (date(2027, 7, 13), "ok"),
        (None, "stop"),
    ],
)
def test_an_oxygen_qualification_holds_to_its_last_day_and_warns_a_month_before(until, outcome):
    made = plan(group("Ann", "Ben", dives=SHORT), where=world(people=(person("Oxy", oxygen_provider_until=until),)))
    assert the_check(made, "oxygen-qualified").outcome == outcome
    assert ("oxygen-provider" in stops(made)) is (outcome == "stop")


def test_a_watch_who_dives_is_not_ashore():
    made = plan(group("Ann", "Shore", dives=SHORT))
    assert made.dives[0].entry is None
    assert "No shore watch would be left ashore" in the_check(made, "entry-possible").sentence


def test_an_oxygen_provider_whose_papers_ran_out_does_not_count_ashore():
    crew = CREW.model_copy(update={"oxygen_provider": ("Oxy", "Ben")})
    old = person("Oxy", oxygen_provider_until=date(2026, 1, 1))
    made = plan(group("Ann", "Ben", dives=SHORT), crew=crew, where=world(people=(old,)))
    assert made.dives[0].entry is None
    assert "No oxygen provider would be left ashore" in the_check(made, "entry-possible").sentence


def test_the_watch_may_dive_while_another_watches():
    crew = Crew(dive_director="Shore", shore_watch=("Shore", "Eva"), oxygen_provider=("Oxy",))
    made = plan(group("Ann", "Shore", dives=SHORT), crew=crew)
    assert made.dives[0].entry is not None


def test_two_watches_in_two_groups_never_dive_at_once():
    crew = Crew(dive_director="Oxy", shore_watch=("Shore", "Eva"), oxygen_provider=("Oxy",))
    made = plan(
        group("Ann", "Shore", name="One", dives=SHORT),
        group("Ben", "Eva", name="Two", leader="Ola", dives=SHORT),
        crew=crew,
    )
    one, two = made.dives
    assert one.exit is not None and two.entry is not None
    assert one.exit <= two.entry


# ---- who is ashore while a kind of dive is in the water ----


@pytest.mark.parametrize(
    ("kind", "ashore", "outcome"),
    [("guided", ("Shore",), "ok"), ("night", ("Shore",), "stop"), ("night", ("Shore", "Oxy"), "ok")],
)
def test_a_kind_of_dive_needs_its_people_ashore(kind, ashore, outcome):
    crew = Crew(dive_director=ashore[0], shore_watch=ashore, oxygen_provider=ashore)
    made = plan(group("Ann", "Ben", kind=kind, dives=SHORT), crew=crew)
    check = the_check(made, "surface-support")
    assert (check.outcome, check.found, check.source) == (outcome, len(ashore), f"crew.{kind}_ashore_fewest")


def test_who_is_in_the_water_meanwhile_gives_no_support_from_ashore():
    crew = Crew(dive_director="Gil", shore_watch=("Shore", "Eva"), oxygen_provider=("Oxy",))
    at_once = plan(
        group("Ann", "Eva", dives=(wish(5, 20, entry="10:00"),)),
        group("Ben", "Cy", name="Two", leader="Gil", dives=(wish(5, 20, entry="10:00"),)),
        crew=crew,
    )
    assert {check.found for check in checks_of(at_once, "surface-support")} == {2.0}  # Shore and Oxy


def test_a_centre_may_ask_for_two_in_charge_in_the_water():
    rules = rules_with(crew__night_in_charge_fewest=2)
    alone = plan(group("Ann", kind="night", dives=SHORT), where=world(rules=rules))
    helped = plan(group("Ann", "Ben", kind="night", assistants=("Max",), dives=SHORT), where=world(rules=rules))
    assert the_check(alone, "in-charge").outcome == "stop"
    assert the_check(helped, "in-charge").outcome == "ok"
    assert not checks_of(plan(group("Ann", "Ben", kind="autonomous", leader=None, dives=SHORT)), "in-charge")


def test_minors_dive_with_two_qualified_adults_in_the_water_or_ashore():
    no_papers = {"oxygen_provider_until": None, "first_aid_until": None}
    watch = person("Watch", Level.LEVEL_2, **no_papers)
    crew = Crew(dive_director="Watch", shore_watch=("Watch",), oxygen_provider=("Oxy",))
    fine = plan(group("Ann", "Lou", dives=SHORT), where=world(people=(watch,)), crew=crew)
    assert the_check(fine, "minors-crew").outcome == "ok"  # Ida in the water, Oxy ashore
    out_of_date = person("Oxy", oxygen_provider_until=date(2027, 6, 11), first_aid_until=date(2027, 6, 11))
    lacking = plan(group("Ann", "Lou", dives=SHORT), where=world(people=(watch, out_of_date)), crew=crew)
    assert the_check(lacking, "minors-crew").outcome == "stop"
    assert "Lou" in the_check(lacking, "minors-crew").sentence
    young = person("Oxy", born=date(2009, 6, 13))  # 17 on the day
    assert "minors-crew" in stops(plan(group("Ann", "Lou", dives=SHORT), where=world(people=(watch, young)), crew=crew))
    assert not checks_of(plan(group("Ann", "Ben", dives=SHORT)), "minors-crew")


# ---- papers and words ----


@pytest.mark.parametrize("paper", ["first_aid_until", "insurance_until"])
@pytest.mark.parametrize(
    ("until", "leader", "assistant"),
    [
        (None, "caution", "caution"),
        (date(2027, 6, 11), "stop", "caution"),
        (date(2027, 6, 12), "caution", "caution"),
        (date(2027, 7, 12), "caution", "caution"),  # 30 days
        (date(2027, 7, 13), "ok", "ok"),
    ],
)
def test_first_aid_and_insurance_of_staff_hold_on_the_day(paper, until, leader, assistant):
    rule = {"first_aid_until": "first-aid-valid", "insurance_until": "insurance-valid"}[paper]
    people = (person("Ida", Level.INSTRUCTOR_2, **{paper: until}), person("Max", Level.LEVEL_3, **{paper: until}))
    made = plan(group("Ann", "Ben", assistants=("Max",), dives=SHORT), where=world(people=people))
    assert the_check(made, rule, "Ida").outcome == leader
    assert the_check(made, rule, "Max").outcome == assistant
    assert not checks_of(made, rule, "Ann")


@pytest.mark.parametrize(("logged", "outcome"), [(59, "caution"), (60, "ok")])
def test_few_logged_dives_of_a_leader_are_a_caution_by_a_number_from_memory(logged, outcome):
    ida = person("Ida", Level.INSTRUCTOR_2, logged_dives=logged)
    check = the_check(plan(group("Ann", "Ben", dives=SHORT), where=world(people=(ida,))), "leader-experience")
    assert check.outcome == outcome and "from memory" in check.sentence


@pytest.mark.parametrize(
    ("divers", "assistants", "kind", "outcome"),
    [
        (2, (), "guided", "ok"),
        (3, (), "guided", "caution"),
        (3, ("Max",), "guided", "ok"),
        (2, (), "first_experience", "ok"),
        (3, ("Max",), "first_experience", "ok"),
        (3, (), "level_1_course", None),
    ],
)
def test_one_leader_alone_reaches_two_at_once(divers, assistants, kind, outcome):
    made = plan(group(*("Ann", "Ben", "Cy")[:divers], kind=kind, assistants=assistants, dives=SHORT))
    assert [check.outcome.value for check in checks_of(made, "leader-reach")] == ([outcome] if outcome else [])


@pytest.mark.parametrize("lacking", [{"next_of_kin": ""}, {"next_of_kin_phone": None}])
def test_a_diver_without_next_of_kin_is_named_and_nothing_private_is_printed(lacking):
    people = (person("Ann", **lacking), person("Ben", next_of_kin="Secret Name"))
    made = plan(group("Ann", "Ben", dives=SHORT), where=world(people=people))
    check = the_check(made, "next-of-kin")
    assert check.outcome == "caution" and "Ann" in check.sentence and "Ben" not in check.sentence
    assert all("Secret Name" not in each.sentence and "900456" not in each.sentence for each in made.checks)
    assert the_check(plan(group("Ann", "Ben", dives=SHORT)), "next-of-kin").outcome == "ok"


def test_who_has_no_identity_on_record_is_a_caution_staff_too():
    people = (person("Ida", Level.INSTRUCTOR_2, identity=""),)
    check = the_check(plan(group("Ann", "Ben", dives=SHORT), where=world(people=people)), "identity-known")
    assert check.outcome == "caution" and "Ida" in check.sentence and "Ann" not in check.sentence


def test_two_children_to_one_instructor_on_a_first_experience_is_a_caution():
    """One to one until a child can dive in a group, two to one after: French federation rule for young divers."""
    young = tuple(person(name, Level.FIRST_EXPERIENCE, date(2015, 1, 1)) for name in ("Bo", "Cat"))
    two = plan(group("Bo", "Cat", kind="first_experience", dives=SHORT), where=world(people=young))
    assert the_check(two, "children-ratio").outcome == "caution"
    helped = group("Bo", "Cat", kind="first_experience", assistants=("Max",), dives=SHORT)
    assert the_check(plan(helped, where=world(people=young)), "children-ratio").outcome == "ok"
    guided = plan(group("Bo", "Cat", dives=SHORT), where=world(people=young))
    assert the_check(guided, "children-ratio").outcome == "ok"


def test_a_request_that_names_what_is_not_known_is_refused_with_every_place():
    bad = ask(
        group(
            "Ann", "Zed", leader="Who", assistants=("Huh",), place="Nowhere", going_in_by="Lift", coming_out_by="Ramp"
        ),
        crew=Crew(dive_director="Dir", shore_watch=("Wat",), oxygen_provider=("Oxi",)),
    )
    with pytest.raises(CannotPlan) as refused:
        plan_day(bad, world())
    places = {where for where, _ in refused.value.faults}
    assert places == {
        ("crew", "shore_watch"), ("crew", "oxygen_provider"), ("crew", "dive_director"), ("groups", 0, "divers"),
        ("groups", 0, "assistants"), ("groups", 0, "leader"), ("groups", 0, "place"), ("groups", 0, "going_in_by"),
        ("groups", 0, "coming_out_by"),
    }  # fmt: skip
    assert all(f'"{name}"' in str(refused.value) for name in ("Zed", "Who", "Huh", "Nowhere", "Lift", "Ramp", "Dir"))


def test_a_site_that_is_not_known_is_refused_with_the_ones_that_are():
    with pytest.raises(CannotPlan, match="plain-cove"):
        plan_day(ask(group("Ann", "Ben"), site="elsewhere"), world())


def test_assistants_without_a_leader_are_refused_where_the_kind_has_none():
    with pytest.raises(CannotPlan, match="assistants but no leader"):
        plan_day(ask(group("Ann", "Ben", kind="autonomous", leader=None, assistants=("Gil",))), world())


def test_a_group_that_breaks_no_rule_has_only_the_caution_about_the_forecast():
    made = plan(group("Ann", "Ben", dives=SHORT, cylinder_l=15.0, fill_bar=220.0))
    assert cautions(made) - OF_EVERY_TEST == {"forecast"} and not stops(made)
