from __future__ import annotations

import ast
import re
from dataclasses import replace
from pathlib import Path

import pytest
from printed_plans import REQUESTS, plan_of

import tripplan
from tripplan.check import Check, Outcome
from tripplan.documents.cautions import TO_DO, When, caution_groups, cautions_line
from tripplan.documents.one_file import one_file_html
from tripplan.documents.words import rules_of
from tripplan.planning.private import is_private, without_private

ALL = (*REQUESTS, "stop")
PACKAGE = Path(tripplan.__file__).parent
JUDGING = ("people", "physics", "emergency", "environment", "planning")
# They judge something else than the plan of a day: a record of what was done, a schedule, a board.
OTHERS = ("actual.py", "next_dive.py", "rota.py", "board.py")


def cautions_in_code() -> set[str]:
    """Return every rule that some function of the judging areas may bring out as a caution, as its source says."""
    found: set[str] = set()
    for area in JUDGING:
        for path in sorted((PACKAGE / area).glob("*.py")):
            code = path.read_text(encoding="utf-8")
            if path.name in OTHERS or "Outcome.CAUTION" not in code:
                continue
            for function in ast.parse(code).body:
                if isinstance(function, ast.FunctionDef) and "Outcome.CAUTION" in ast.unparse(function):
                    found |= rules_made_in(function)
    return found


def rules_made_in(function: ast.FunctionDef) -> set[str]:
    found: set[str] = set()
    for call in ast.walk(function):
        if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "Check"):
            continue
        named = {word.arg: word.value for word in call.keywords}
        rule = call.args[0] if call.args else named["rule"]
        outcome = call.args[1] if len(call.args) > 1 else named["outcome"]
        said = ast.unparse(outcome)
        if (
            isinstance(rule, ast.Constant)
            and "CAUTION" not in said
            and ("Outcome.STOP" in said or said == "Outcome.OK")
        ):
            continue
        if isinstance(rule, ast.Constant):
            found.add(str(rule.value))
    return found


def test_every_caution_that_the_code_can_bring_out_has_its_line_and_no_line_is_for_nothing():
    named = {rule for rule, _ in TO_DO}
    never = {"lead-first-try"}  # in a plan it is fine: the water confirms it
    assert cautions_in_code() - named - never == set()
    source = "\n".join(path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py") if path.name != "cautions.py")
    made_of_parts = {"first-aid-valid", "insurance-valid", "ratio-of-dive", "group-size-of-dive"}
    assert {rule for rule in named - made_of_parts if f'"{rule}"' not in source} == set()


def test_a_line_is_short_and_says_one_thing():
    for todo in set(TO_DO.values()):
        assert len(todo.words) <= 80, todo.words
        assert not re.search(r"[:.]", todo.words), todo.words
        assert todo.words[0].isupper()


@pytest.mark.parametrize("name", ALL)
def test_every_caution_of_a_plan_stands_in_exactly_one_line_and_no_stop_does(name):
    plan = plan_of(name)
    lines = [line for group in caution_groups(plan) for line in group.lines]
    stood = [check for line in lines for check in line.checks]
    assert sorted((check.rule, check.subject, check.sentence) for check in stood) == sorted(
        (check.rule, check.subject, check.sentence) for check in plan.cautions
    )
    assert all(check.outcome is Outcome.CAUTION for check in stood)
    assert 0 < len(lines) < len(plan.cautions)
    order = [group.title for group in caution_groups(plan)]
    assert order == [when.value for when in When if when.value in order]
    assert cautions_line(plan).startswith(f"{len(lines)} things to mind: before you leave ")


def made(*cautions: tuple[str, str, str]) -> list[tuple[str, str, list[str]]]:
    """Return the lines of a plan with these cautions (rule, subject, sentence): what to do, for whom, why."""
    plan = plan_of("saturday-ledge")
    checks = tuple(
        Check(rule, Outcome.CAUTION, said, "COMMON_PRACTICE", subject=subject) for rule, subject, said in cautions
    )
    groups = caution_groups(replace(plan, checks=checks))
    return [(line.todo, line.whom, [why.sentence for why in line.reasons]) for group in groups for line in group.lines]


def test_what_differs_only_by_dive_or_person_is_one_line_that_names_all():
    surf = "breaking waves up to 0.4 m; the limit is 0.5 m."
    told = made(
        ("surf", "Terns, dive 1", f"Terns, dive 1: {surf}"),
        ("surf", "Skuas, dive 1", "Skuas, dive 1: breaking waves up to 0.3 m; the limit is 0.5 m."),
        ("surf", "Terns, dive 2", f"Terns, dive 2: {surf}"),
        ("heart-question", "Terns", "Terns: 40 or older: Keiko Arai. Ask each."),
        ("heart-question", "Skuas", "Skuas: 40 or older: Bruno Silva, Eric Lund. Ask each."),
    )
    assert told == [
        (
            "Ask about heart, medicines and exertion",
            "Keiko Arai, Bruno Silva and Eric Lund",
            ["Terns: 40 or older: Keiko Arai. Ask each.", "Skuas: 40 or older: Bruno Silva, Eric Lund. Ask each."],
        ),
        (
            "The sets of waves, before anybody goes in",
            "all dives",
            [f"Terns, dives 1 and 2: {surf}", "Skuas, dive 1: breaking waves up to 0.3 m; the limit is 0.5 m."],
        ),
    ]
    assert made(("surf", "Terns, dive 2", f"Terns, dive 2: {surf}"))[0][1] == "Terns, dive 2"


def test_a_caution_that_nobody_foresaw_comes_first_in_its_own_words():
    told = made(("permission", "Ledge", "Ask."), ("never-heard-of", "Terns", "Terns: something is odd."))
    assert told[0] == ("Terns: something is odd", "", ["Terns: something is odd."])


def test_a_sentence_about_some_takes_nobody_out_of_one_about_all():
    told = made(
        (
            "wait-dives-unknown",
            "Keiko Arai, Bruno Silva, Eric Lund",
            "After the dives: whether this diver dived is not known.",
        ),
        ("wait-dives-unknown", "Eric Lund", "After the dives: another thing is not known. (Eric Lund)"),
        ("lay-off", "Eric Lund", "Eric Lund last dived 405 days ago, more than 90: a check dive comes first."),
        ("lay-off", "the guest", "The last dive of the guest is not known."),
    )
    assert [(todo, whom) for todo, whom, _ in told] == [
        ("Plan a check dive first", "Eric Lund and the guest"),
        (
            "Ask about earlier dives before anybody goes higher; the wait may be too short",
            "Keiko Arai, Bruno Silva and Eric Lund",
        ),
    ]


def test_a_wait_that_may_be_too_short_is_never_called_the_longer_one():
    """What the line says to do fits what physics/after_dive.py says of the wait: read there, sentence by sentence."""
    short = made(("wait-dives-unknown", "A", "x"))[0][0], made(("wait-model-unknown", "A", "x"))[0][0]
    assert all("may be too short" in todo and "longer" not in todo for todo in short)
    assert "longer wait" in made(("wait-repetitive-unknown", "A", "x"))[0][0]


@pytest.mark.parametrize(
    ("rule", "when"),
    [
        ("care-open", When.LEAVE),  # too late once somebody is hurt
        ("gas-fill-pressure", When.LEAVE),  # the cylinders are filled there
        ("fetch-known", When.LOOK),  # nobody reckons these waves: somebody must look
        ("tide-complete", When.LOOK),
    ],
)
def test_what_must_be_done_stands_where_it_can_still_be_done(rule, when):
    assert TO_DO[rule, ""].when is when


def test_two_numbers_of_one_rule_both_stay_with_their_limit():
    plan = plan_of("saturday-ledge")
    two = [
        Check("surf", Outcome.CAUTION, f"Terns, dive {n}: breaking waves, the limit is near.", "COMMON_PRACTICE",
              found, 0.5, "m", f"Terns, dive {n}")
        for n, found in ((1, 0.3), (2, 0.9))
    ]  # fmt: skip
    page = one_file_html(replace(plan, checks=tuple(two)), rules_of(plan))
    mind = page[page.index("Go only with these in mind") : page.index('id="day"')]
    assert "0.3 m" in mind and "0.9 m" in mind


def test_a_stop_is_not_put_among_the_cautions():
    with pytest.raises(ValueError, match="only cautions"):
        from tripplan.documents.cautions import _todo_of

        _todo_of(plan_of("stop").stops[0])


def test_the_page_shows_stops_first_one_by_one_and_then_every_caution_with_its_reason():
    plan = plan_of("stop")
    page = re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", one_file_html(plan, rules_of(plan))))
    mind = page.index("Go only with these in mind")
    assert "Nobody goes in before every stop is mended." in page[mind : mind + 200]
    first = page[:mind]
    for check in plan.stops:
        assert check.sentence.replace("'", "&#39;") in first
    for group in caution_groups(plan):
        assert page.index(group.title, mind) < page.index("The day", mind)


def test_who_may_not_see_health_does_not_read_it_in_a_line():
    plan = without_private(plan_of("saturday-ledge"))
    assert any(is_private(check) for check in plan.cautions)
    lines = [line for group in caution_groups(plan) for line in group.lines]
    assert not any("heart" in line.words for line in lines)
    assert "Ask the leader about personal papers: Terns and Skuas" in [line.words for line in lines]
