"""The rule book: every entry says what it is and who says so; a centre replaces single ones, each with a reason."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import tripplan
from tripplan.people.group import KINDS
from tripplan.rulebook import baseline
from tripplan.sources import SOURCES

RULES = baseline().rules
ENDINGS = {"m": "_m", "min": "_min", "h": "_h", "days": "_days", "years": "_years", "kn": "_kn", "bar": "_bar",
           "percent": "_percent", "kg/m3": "_kg_m3", "m/min": "_m_min", "km/h": "_km_h", "C": "_c", "level": "_level",
           "Beaufort": "_beaufort"}  # fmt: skip


@pytest.mark.parametrize("key", RULES)
def test_every_rule_says_what_it_is_in_which_unit_and_who_says_so(key):
    rule = RULES[key]
    assert rule.title and rule.unit
    assert rule.source in SOURCES
    assert rule.provenance in ("verified", "common practice", "from memory")
    if rule.unit in ENDINGS:
        assert key.endswith(ENDINGS[rule.unit])


def used_keys() -> set[str]:
    """Find the keys that the program asks for, those built from a kind of dive included."""
    text = "\n".join(p.read_text(encoding="utf-8") for p in Path(tripplan.__file__).parent.rglob("*.py"))
    patterns = set(re.findall(r"[\"']([a-z]+(?:_[a-z]+)*\.[a-z0-9_{}.]+)[\"']", text))
    wanted: set[str] = set()
    for pattern in patterns:
        shape = re.sub(r"\\\{[^}]*\\\}", "[a-z0-9_]+", re.escape(pattern))
        wanted |= {key for key in RULES if re.fullmatch(shape, key)}
    return wanted


def test_every_rule_is_used_by_the_program():
    """A number that nothing reads would promise a protection that is not there."""
    text = "\n".join(p.read_text(encoding="utf-8") for p in Path(tripplan.__file__).parent.rglob("*.py"))
    built = {
        key for key in RULES
        if key.startswith("observe.") and f'"{re.sub("(_training)?_(m|beaufort)$", "", key.split(".")[1])}"' in text
        or key in ("observe.wind_onshore_beaufort", "observe.wind_onshore_training_beaufort")  # built with a suffix
    }  # fmt: skip
    assert sorted(set(RULES) - used_keys() - built) == []


def test_every_kind_of_dive_has_its_rules():
    book = baseline()
    for kind in KINDS.values():
        assert kind.diver_level(book) is not None
        if kind.led:
            for part in ("per_leader", "per_assistant", "most"):
                assert f"ratio.{kind.name}_{part}" in RULES
            assert kind.leader_level(book) is not None


def test_an_override_shows_its_reason_and_changes_nothing_else(tmp_path):
    file = tmp_path / "rules.toml"
    file.write_text('[contacts.fresh_days]\nvalue = 7.0\nreason = "numbers change here"\n', encoding="utf-8")
    book = baseline().with_overrides(file)
    changed = book["contacts.fresh_days"]
    assert (changed.value, changed.baseline_value, changed.reason) == (7.0, 30.0, "numbers change here")
    assert changed.source == "CENTRE"
    assert [rule.key for rule in book.overridden] == ["contacts.fresh_days"]
    assert {k: r for k, r in book.rules.items() if k != changed.key} == {
        k: r for k, r in RULES.items() if k != changed.key
    }
    assert baseline()["contacts.fresh_days"].value == 30.0  # the baseline itself never changes
