"""Who replaced a rule of the book, and when: told wherever the override is told, and told too where nobody wrote it."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.data_files import data_dir
from tripplan.documents.data import plan_json
from tripplan.documents.text import plan_text
from tripplan.documents.words import override_words, set_words
from tripplan.errors import BadRecord
from tripplan.planning.day import plan_day
from tripplan.rulebook import RuleBook, baseline
from tripplan.store.folder import load_folder


def book(folder: Path, *lines: str) -> RuleBook:
    file = folder / "rules.toml"
    head = ("[overdue.after_min]", "value = 8", 'reason = "the coast is far"')
    file.write_text("\n".join((*head, *lines)) + "\n", encoding="utf-8")
    return baseline().with_overrides(file)


def test_an_override_says_who_set_it_and_when(tmp_path):
    rule = book(tmp_path, 'by = "Tom Okafor"', "on = 2026-09-14")["overdue.after_min"]
    assert (rule.set_by, rule.set_on) == ("Tom Okafor", "2026-09-14")
    assert set_words(rule) == "Set by Tom Okafor on 14 September 2026."
    assert override_words(rule).endswith(
        "8 min instead of 10 min. Why: the coast is far. Set by Tom Okafor on 14 September 2026."
    )


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ((), "Not written who set it, nor when."),
        (('by = "Tom Okafor"',), "Set by Tom Okafor; not written when."),
        (("on = 2026-09-14",), "Set on 14 September 2026; not written who set it."),
        (('by = "   "', "on = 2026-09-14"), "Set on 14 September 2026; not written who set it."),
    ],
)
def test_what_nobody_wrote_is_said_and_never_left_blank(tmp_path, lines, words):
    rule = book(tmp_path, *lines)["overdue.after_min"]
    assert set_words(rule) == words
    assert override_words(rule).endswith(words)


def test_a_rule_of_the_baseline_has_nobody_who_set_it():
    for rule in baseline().rules.values():
        assert rule.set_by == "" and rule.set_on == ""


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ('on = "14 September"', "overdue.after_min.on"),
        ("on = 2026-09-14T10:00:00Z", "overdue.after_min.on"),
        ("by = 7", "overdue.after_min.by"),
        (f'by = "{"x" * 61}"', "overdue.after_min.by"),
        ('by = "Tom\\nOkafor"', "one line of printable text"),
        ('who = "Tom Okafor"', "who is not a known key"),
    ],
)
def test_who_and_when_that_cannot_be_are_refused_on_their_line(tmp_path, line, sentence):
    with pytest.raises(BadRecord) as refused:
        book(tmp_path, line)
    (fault,) = refused.value.faults
    assert str(fault).startswith(f"{tmp_path / 'rules.toml'}:4: ")
    assert sentence in str(fault)


@settings(max_examples=60, deadline=None)
@given(by=st.text(max_size=60), on=st.none() | st.dates(date(1990, 1, 1), date(2099, 12, 31)))
def test_an_override_always_says_who_and_when_or_that_it_is_not_written(by, on):
    rule = replace(
        baseline()["overdue.after_min"], value=8.0, baseline_value=10.0, reason="far", set_by=by,
        set_on=on.isoformat() if on else "",
    )  # fmt: skip
    words = set_words(rule)
    assert words.endswith(".")
    assert (by in words and "Set by" in words) if by else "ot written who set it" in words
    assert str(on.year) in words if on else "when" in words


# ---- in a plan of the demonstration ----


def test_every_override_of_the_demonstration_says_who_and_when_in_the_plan():
    """The names stand in sites/centre/rules.toml, and in the list of people beside it."""
    folder = load_folder(data_dir("sites"))
    plan = plan_day(folder.requests["saturday-ledge"], folder.world)
    assert {rule.key: (rule.set_by, rule.set_on) for rule in plan.overrides} == {
        "light.exit_before_sunset_min": ("Ines Faro", "2026-03-02"),
        "surface_interval.shortest_min": ("Ines Faro", "2026-03-02"),
        "overdue.after_min": ("Tom Okafor", "2026-09-14"),
    }
    assert {rule.set_by for rule in plan.overrides} <= set(folder.world.people)
    text = " ".join(plan_text(plan).split())
    for rule in plan.overrides:
        assert set_words(rule) in text
    held = {rule["key"]: rule for rule in json.loads(json.dumps(plan_json(plan)))["overrides"]}
    assert held["overdue.after_min"]["set_by"] == "Tom Okafor"
    assert held["overdue.after_min"]["set_on"] == "2026-09-14"
