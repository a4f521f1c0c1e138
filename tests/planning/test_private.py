"""Health on a plan: whoever may not see it learns that papers stop or ask for care, and nothing of what they say."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.planning.small_world import CREW, DAY, ask, group, person, plan, the_check, world
from tripplan.check import Check, Outcome
from tripplan.documents.data import plan_json
from tripplan.documents.picture import day_picture
from tripplan.documents.text import plan_text
from tripplan.planning.board import board
from tripplan.planning.crew import check_group
from tripplan.planning.day import plan_day
from tripplan.planning.plan import WhatIf
from tripplan.planning.private import board_without_private, is_private, without_private, without_private_check
from tripplan.planning.replan import difference
from tripplan.planning.tolerance import with_edges

HEALTH = ("medical", "declaration", "clearance", "for a doctor", "medicine", "exertion", "about heart")
STOPPED = world(people=(person("Ann", medical_clear=False),))
NONE_AT_ALL = world(people=(person("Ann", medical=None, medical_clear=False),))
OLD = world(people=(person("Ann", born=date(1957, 1, 1)),))


def said(made) -> str:
    """Return every word that a page could take from a plan's checks, its head and its edges."""
    held = plan_json(made)
    kept = ("headline", "nearest_edge", "checks", "what_ifs", "edges", "closures", "dives", "lead", "briefing")
    return json.dumps([held[name] for name in kept], ensure_ascii=False)


def private_in(text: str) -> list[str]:
    """Return the words of health that a text holds; names of rules and sources are no sentence about anybody."""
    for allowed in ('"rule": "medical"', "people.medical_valid_days", "people.heart_check_years"):
        text = text.replace(allowed, "")
    return [word for word in HEALTH if word in text]


@pytest.mark.parametrize(
    ("where", "rule", "subject", "outcome"),
    [
        (STOPPED, "medical", "Ann", Outcome.STOP),
        (NONE_AT_ALL, "medical", "Ann", Outcome.STOP),
        (world(), "medical", "Ann", Outcome.OK),
        (OLD, "heart-question", "Group", Outcome.CAUTION),
    ],
)
def test_a_private_check_keeps_how_it_came_out_its_rule_and_its_subject_and_nothing_else(where, rule, subject, outcome):
    made = plan(group("Ann", "Ben"), where=where)
    before, after = the_check(made, rule, subject), the_check(without_private(made), rule, subject)
    assert private_in(before.sentence)
    assert (after.outcome, after.rule, after.subject) == (outcome, rule, subject)
    assert after.found is None and after.limit is None and after.unit == ""
    assert after.sentence.startswith(f"{subject}: the personal papers") and not private_in(after.sentence)
    assert ("ask" in after.sentence and "leader" in after.sentence) == (outcome is not Outcome.OK)


def test_all_else_of_the_plan_stays_revision_verdict_and_number_of_reasons_too():
    made = plan(group("Ann", "Ben"), where=STOPPED)
    shown = without_private(made)
    assert (shown.revision, shown.verdict, shown.headline) == (made.revision, made.verdict, made.headline)
    assert len(shown.stops) == len(made.stops) and len(shown.cautions) == len(made.cautions)
    others = [check for check in made.checks if not is_private(check)]
    assert [check for check in shown.checks if not is_private(check)] == others
    assert shown.dives == made.dives and shown.curve == made.curve and shown.emergency == made.emergency
    assert day_picture(shown) == day_picture(made)  # the pages keep one picture for both


def test_the_sentence_is_taken_out_wherever_the_plan_repeats_it():
    made = plan(group("Ann", "Ben"), where=STOPPED)
    sentence = the_check(made, "medical", "Ann").sentence
    assert sentence in made.nearest_edge
    quoted = replace(made, what_ifs=(*made.what_ifs, WhatIf(f"Later: {sentence.rstrip('.')}; nothing else.")))
    shown = without_private(quoted)
    assert "What stops it: Ann: the personal papers stop this dive." in shown.nearest_edge
    assert shown.what_ifs[-1].sentence.startswith("Later: Ann: the personal papers stop")
    assert not private_in(said(shown))
    assert "asks for a doctor" in plan_text(quoted) and "asks for a doctor" not in plan_text(shown)


def test_one_name_that_is_the_end_of_another_leaves_neither_sentence_behind():
    both = [
        Check("medical", Outcome.STOP, f"{name} has no medical declaration on record.", "x", subject=name)
        for name in ("Ann", "Joann", "Jo-Ann")
    ]
    made = plan(group("Ben"), where=world())
    text = " ".join(check.sentence for check in both)
    shown = without_private(replace(made, checks=tuple(both), nearest_edge=text))
    assert shown.nearest_edge == " ".join(check.sentence for check in shown.checks)
    assert not private_in(shown.nearest_edge)


@pytest.mark.parametrize("rule", ["medical", "heart-question", "next-of-kin", "illness-told", "discomfort", "health"])
def test_a_rule_named_after_health_or_kin_is_private_also_one_that_is_not_written_yet(rule):
    check = Check(rule, Outcome.CAUTION, "Ann takes tablets.", "x", "tablets", "none", "", "Ann")
    assert is_private(check) and "tablets" not in str(without_private_check(check))


@pytest.mark.parametrize("rule", ["lay-off", "age-youngest", "guardian-consent", "oxygen-qualified", "no-stop"])
def test_other_rules_are_for_everybody(rule):
    check = Check(rule, Outcome.CAUTION, "Ann last dived 200 days ago.", "x", 200, 180, "days", "Ann")
    assert not is_private(check) and without_private_check(check) is check


def test_every_rule_of_a_group_that_speaks_of_health_is_private():
    """Ages, papers and dates of all kinds: whichever sentence speaks of health must go."""
    people = {
        each.name: each
        for each in (
            person("Clear"),
            person("None", medical=None, medical_clear=False),
            person("Asks", medical_clear=False),
            person("Old", medical=date(2020, 1, 1)),
            person("Later", medical=DAY + timedelta(days=3)),
            person("Grey", born=date(1950, 1, 1)),
            person("Child", born=date(2014, 1, 1), guardian_consent=False),
            person("Ida"),
        )
    }
    where = world(people=tuple(people.values()))
    wish = group(*(name for name in people if name != "Ida"))
    checks = tuple(check_group(wish, next(iter(where.sites.values())), where.people, DAY, where.rules))
    speak = [check for check in checks if private_in(check.sentence)]
    assert {check.rule for check in speak} == {"medical", "heart-question"}
    assert all(is_private(check) for check in speak)


def test_what_changes_between_two_plans_tells_nothing_either():
    before, after = plan(group("Ann", "Ben")), plan(group("Ann", "Ben"), where=STOPPED)
    assert private_in(str(difference(before, after)))
    hidden = difference(without_private(before), without_private(after))
    assert any("personal papers stop" in change.after for change in hidden)
    assert not private_in(str([(change.before, change.after) for change in hidden]))


def test_a_board_names_neither_papers_nor_their_dates():
    where = world(people=(person("Ann", medical=DAY - timedelta(days=364)),))
    wish = group("Ann", "Ben")
    found = board(wish, CREW, DAY, 4, where)
    assert private_in(str(found)) and "365 days" in str(found)  # stopped from the third day on
    hidden = board_without_private(found, wish, CREW, where)
    assert not private_in(str(hidden)) and "365" not in str(hidden)
    assert "Ann: the personal papers stop this dive" in hidden.rows[0].cells[3].first_reason
    for row, shown in zip(found.rows, hidden.rows, strict=True):
        for cell, other in zip(row.cells, shown.cells, strict=True):
            assert replace(cell, reasons=()) == replace(other, reasons=()) and len(cell.reasons) == len(other.reasons)


MEDICALS = st.none() | st.dates(DAY - timedelta(days=900), DAY + timedelta(days=30))


@settings(max_examples=25, deadline=None)
@given(
    medicals=st.tuples(MEDICALS, MEDICALS, MEDICALS),
    clear=st.tuples(st.booleans(), st.booleans(), st.booleans()),
    born=st.tuples(*(st.dates(date(1945, 1, 1), date(2005, 1, 1)),) * 3),
)
def test_no_plan_with_its_edges_ever_tells_of_health(medicals, clear, born):
    names = ("Ida", "Ann", "Ben")
    people = tuple(
        person(name, world().people[name].level, birth, medical=when, medical_clear=bool(when and ok))
        for name, when, ok, birth in zip(names, medicals, clear, born, strict=True)
    )
    where = world(people=people)
    asked = ask(group("Ann", "Ben"))
    made = with_edges(plan_day(asked, where), asked, where)
    shown = without_private(made)
    assert not private_in(said(shown))
    assert [(c.rule, c.outcome, c.subject) for c in shown.checks] == [
        (c.rule, c.outcome, c.subject) for c in made.checks
    ]
    assert without_private(shown) == shown
