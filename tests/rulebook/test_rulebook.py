"""The rule book: every entry says what it is and who says so; a centre replaces single ones, each with a reason."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Sequence
from itertools import product
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import tripplan
from tripplan.errors import BadRecord
from tripplan.people.group import KINDS
from tripplan.people.level import Level
from tripplan.rulebook import baseline
from tripplan.sources import SOURCES

RULES = baseline().rules
ENDINGS = {"m": "_m", "min": "_min", "h": "_h", "days": "_days", "years": "_years", "kn": "_kn", "bar": "_bar",
           "percent": "_percent", "kg/m3": "_kg_m3", "m/min": "_m_min", "km/h": "_km_h", "C": "_c", "level": "_level",
           "Beaufort": "_beaufort", "l/min": "_l_min", "kg/l": "_kg_l", "g/l": "_g_l", "bar on the gauge": "_bar",
           "deg": "_deg", "psi": "_psi", "s": "_s", "mm": "_mm", "m/s": "_m_s",
           }  # fmt: skip
COUNTED = (
    "fraction",
    "divers",
    "people",
    "dives",
    "ascents",
    "times",
    "letters",
    "tries",
    "points",
)  # the name itself says what is counted: ratio.guided_per_leader


@pytest.mark.parametrize("key", RULES)
def test_every_rule_says_what_it_is_in_which_unit_and_who_says_so(key):
    rule = RULES[key]
    assert rule.title and rule.unit
    assert rule.source in SOURCES
    assert rule.provenance in ("verified", "common practice", "from memory")
    ending = max((end for end in ENDINGS.values() if key.endswith(end)), key=len, default="")
    assert ending == ENDINGS.get(rule.unit, ""), "the end of the key and the unit disagree"
    assert rule.unit in ENDINGS or rule.unit in COUNTED


KIND_NAMES = tuple(KINDS)
WATERS = ("sea", "fresh", "brackish")
BUILT_FROM = {  # what stands between braces in a key that the program puts together, and what it can be
    "kind.name": KIND_NAMES,
    "self.name": KIND_NAMES,
    "person.level.value": tuple(Level),
    "options.water": WATERS,
    "site.water.kind": WATERS,
    "end": ("low", "high"),
    "step": ("first", "second", "third"),
    "suffix": ("", "_training"),
    "name": ("breaker", "visibility"),
    "'m' if name != 'wind_onshore' else 'beaufort'": ("m", "beaufort"),
}


def written_keys() -> Iterator[str]:
    """Yield every text of the program that could be a key, those put together with all that they can become."""
    for path in Path(tripplan.__file__).parent.rglob("*.py"):
        if path.name == "coverage_table.py":  # it tells of rules; it does not go by them
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield node.value
            elif isinstance(node, ast.JoinedStr):
                parts = [[str(part.value)] if isinstance(part, ast.Constant) else choices(part) for part in node.values]
                if isinstance(node.values[0], ast.Constant) and re.match(r"[a-z_]+\.", str(node.values[0].value)):
                    yield from ("".join(each) for each in product(*parts))


def choices(part: ast.expr) -> Sequence[str]:
    assert isinstance(part, ast.FormattedValue)
    return BUILT_FROM.get(ast.unparse(part.value), ())


def test_every_rule_is_used_by_the_program():
    """A number that nothing reads would promise a protection that is not there."""
    assert sorted(set(RULES) - set(written_keys())) == []


def test_every_kind_of_dive_has_its_rules():
    book = baseline()
    for kind in KINDS.values():
        assert kind.diver_level(book) is not None
        if kind.led:
            for part in ("per_leader", "per_assistant", "most"):
                assert f"ratio.{kind.name}_{part}" in RULES
            assert kind.leader_level(book) is not None


def overrides(folder: Path, *entries: tuple[str, object, str]) -> Path:
    file = folder / "rules.toml"
    text = "".join(f'[{key}]\nvalue = {value}\nreason = "{reason}"\n' for key, value, reason in entries)
    file.write_text(text, encoding="utf-8")
    return file


def test_an_override_shows_its_reason_and_what_it_replaced(tmp_path):
    book = baseline().with_overrides(overrides(tmp_path, ("contacts.fresh_days", 7.0, "numbers change here")))
    changed = book["contacts.fresh_days"]
    assert (changed.value, changed.baseline_value, changed.reason) == (7.0, 30.0, "numbers change here")
    assert changed.overridden and changed.source == "CENTRE"
    assert [rule.key for rule in book.overridden] == ["contacts.fresh_days"]
    assert book.value("contacts.fresh_days") == 7.0
    assert baseline()["contacts.fresh_days"].value == 30.0  # the baseline itself never changes


def lawful(key: str) -> st.SearchStrategy[float]:
    """Return values that a rule may take: near the baseline's own, in its kind of number."""
    now = RULES[key].value
    if now == round(now):
        if RULES[key].unit in ("level", "fraction"):  # nothing lies above the highest level, or above the whole
            return st.just(now)
        return st.integers(max(int(now), 1), int(now) + 1).map(float)
    return st.floats(now, now * 1.01)


@settings(max_examples=40, deadline=None)
@given(data=st.data(), keys=st.sets(st.sampled_from(sorted(RULES)), min_size=1, max_size=6))
def test_overriding_some_rules_never_changes_another(data, keys):
    wanted = {key: data.draw(lawful(key), label=key) for key in sorted(keys)}
    with TemporaryDirectory() as folder:
        file = overrides(Path(folder), *((key, repr(value), "a reason") for key, value in wanted.items()))
        book = baseline().with_overrides(file)
    assert list(book.rules) == list(RULES)
    assert {rule.key: rule.value for rule in book.overridden} == wanted
    for key, rule in book.rules.items():
        if key not in wanted:
            assert rule == RULES[key]
        else:
            assert (rule.title, rule.unit, rule.note) == (RULES[key].title, RULES[key].unit, RULES[key].note)


@pytest.mark.parametrize("key", RULES)
def test_the_baseline_obeys_the_bounds_that_it_sets_for_a_centre(key, tmp_path):
    file = overrides(tmp_path, (key, RULES[key].value, "the same"))
    assert baseline().with_overrides(file).value(key) == RULES[key].value


@pytest.mark.parametrize(
    ("key", "value", "wanted"),
    [
        ("model.gradient_factor_low", 1.01, "it must be at most 1"),
        ("model.disagreement_share", 60.0, "it must be at most 1"),
        ("oxygen.partial_pressure_bar", 140.0, "it must be at most 1.6"),
        ("oxygen.minor_percent", 101.0, "it must be at most 100"),
        ("water.sea_density_kg_m3", 1.025, "it must be at least 980"),
        ("ascent.rate_m_min", 0.0, "it must be at least 1"),
        ("ascent.rate_m_min", 61.0, "it must be at most 60"),
        ("leader.guided_level", 6.0, "it must be at most 5"),
        ("ratio.guided_per_leader", 4.5, "it must be a whole number"),
        ("stream.slack_margin_min", 5.5, "it must be a whole number"),
        ("plan.entry_step_min", 0.0, "it must be at least 1"),
        ("depth.level_2_m", 1e7, "it must be at most 1,000,000"),
    ],
)
def test_a_value_that_the_unit_cannot_have_is_refused_on_its_line(tmp_path, key, value, wanted):
    file = overrides(tmp_path, (key, value, "a slip of the pen"))
    with pytest.raises(BadRecord) as refused:
        baseline().with_overrides(file)
    assert [str(fault) for fault in refused.value.faults] == [f"{file}:2: {key} is {value:.12g}; {wanted}"]


@pytest.mark.parametrize("value", ["nan", "inf"])
def test_a_value_that_is_not_a_number_is_refused(tmp_path, value):
    file = overrides(tmp_path, ("depth.level_2_m", value, "a slip of the pen"))
    with pytest.raises(BadRecord, match=r"rules\.toml:2: depth\.level_2_m\.value is .*; it must be"):
        baseline().with_overrides(file)


def test_a_key_that_is_not_in_the_book_gets_the_nearest_named(tmp_path):
    file = overrides(tmp_path, ("light.exit_before_sunset_minutes", 45, "unlit path"), ("zzz.qqq", 1, "no such"))
    with pytest.raises(BadRecord) as refused:
        baseline().with_overrides(file)
    assert [str(fault) for fault in refused.value.faults] == [
        f'{file}:1: light.exit_before_sunset_minutes is not a rule; did you mean "light.exit_before_sunset_min"?',
        f"{file}:4: zzz.qqq is not a rule; `tripplan rules` lists the keys",
    ]


def test_gradient_factors_that_cross_are_refused(tmp_path):
    file = overrides(tmp_path, ("model.gradient_factor_low", 0.9, "a slip of the pen"))
    with pytest.raises(BadRecord) as refused:
        baseline().with_overrides(file)
    (fault,) = refused.value.faults
    assert str(fault) == f"{file}:2: model.gradient_factor_low 0.9 is above model.gradient_factor_high 0.8"
