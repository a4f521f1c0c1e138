"""The store: what its file may say, and until which day a cylinder or a regulator is in service."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from types import MappingProxyType

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.check import Outcome
from tripplan.data_files import data_dir
from tripplan.errors import BadRecord
from tripplan.people.kit import (
    CylinderItem,
    Kit,
    RegulatorItem,
    cylinder_service,
    due_on,
    kit_from,
    read_kit,
    regulator_service,
    size_fits,
)
from tripplan.record import TomlFile
from tripplan.rulebook import RuleBook, baseline

RULES = baseline()
GOOD = """
[[cylinders]]
identity = "C1"
volume_l = 12.0
metal = "steel"
working_bar = 232
last_visual = 2027-01-10
last_test = 2025-01-10

[[regulators]]
identity = "R1"
serviced = 2027-02-01

[[suits]]
identity = "W1"
size = "M"
mm = 5.0

[[fins]]
size = "42-43"
count = 3

[[masks]]
count = 4
"""
DAYS = st.dates(date(1990, 1, 1), date(2060, 12, 31))


def cylinder(**more: object) -> CylinderItem:
    whole = {"identity": "C1", "volume_l": 12.0, "metal": "steel", "working_bar": 232.0, **more}
    return CylinderItem.model_validate(whole)


def regulator(**more: object) -> RegulatorItem:
    whole = {"identity": "R1", "has_second_stage_spare": True, "has_pressure_gauge": True, **more}
    return RegulatorItem.model_validate(whole)


def faults(text: str) -> list[str]:
    with pytest.raises(BadRecord) as caught:
        kit_from(TomlFile(Path("kit.toml"), text))
    return [str(fault) for fault in caught.value.faults]


def book(**years: float) -> RuleBook:
    """Return the rule book with other years."""
    changed = {f"kit.{key}": replace(RULES[f"kit.{key}"], value=value) for key, value in years.items()}
    return RuleBook(MappingProxyType({**RULES.rules, **changed}))


# ---- the file ----


def test_the_demonstration_has_every_kind_of_kit_and_some_that_must_stay():
    kit = read_kit(data_dir("sites") / "centre" / "kit.toml")
    assert all(getattr(kit, table) for table in Kit.model_fields)
    day = date(2026, 12, 12)
    assert {cylinder_service(one, day, RULES).outcome for one in kit.cylinders} == {Outcome.OK, Outcome.STOP}
    assert {regulator_service(one, day, RULES).outcome for one in kit.regulators} == set(Outcome)


def test_what_is_left_out_is_not_there():
    assert kit_from(TomlFile(Path("kit.toml"), "")) == Kit()
    assert kit_from(TomlFile(Path("kit.toml"), GOOD)).snorkels == ()


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('identity = "R1"', 'identity = "c 1"', 11, 'is "c 1", as cylinders[1] is; identities must differ'),
        ('identity = "W1"', 'identity = "R1"', 15, 'is "R1", as regulators[1] is; identities must differ'),
        ('identity = "W1"\n', "", 14, "identity is missing"),
        ('metal = "steel"', 'metal = "titanium"', 5, '"steel", "aluminium"'),
        ("working_bar = 232", "working_bar = 2320", 6, "at most 350"),
        ("last_test = 2025-01-10", 'last_test = "last spring"', 8, "date"),
        ("last_test = 2025-01-10", 'mix = "rich"', 8, "is given without oxygen_percent"),
        ("mm = 5.0", "", 14, "has no thickness; give mm, or dry = true"),
        ("mm = 5.0", "mm = 5.0\ndry = true", 17, "is 5, but dry is true; give one of the two"),
        ("count = 3", "count = -3", 21, "at least 0"),
        ("count = 4", "number = 4", 24, "number"),
    ],
)
def test_a_fault_is_told_with_its_line(old, new, line, words):
    assert GOOD.count(old) == 1
    found = faults(GOOD.replace(old, new))
    assert [one for one in found if one.startswith(f"kit.toml:{line}: ") and words in one], found


def test_two_faults_are_told_at_once():
    assert len(faults(GOOD.replace("volume_l = 12.0", "volume_l = 0").replace("mm = 5.0", "mm = 90.0"))) == 2


# ---- sizes ----


@pytest.mark.parametrize(
    ("wanted", "has", "fits"),
    [
        ("M", "m", True),
        (" M L", "ML", True),
        ("M", "L", False),
        ("42", "42-43", True),
        ("43", "42/43", True),
        ("42,5", "42 - 43", True),
        ("41.5", "42-43", False),
        ("44", "42-43", False),
        ("M", "M/L", True),
        ("S", "M/L", False),
        ("child 8", "child 8", True),
        ("child 8", "any", True),
        ("42", "42", True),
        ("4", "42", False),
        ("42", "42-43-44", False),
        ("42", "43-41", False),
    ],
)
def test_a_size_fits_the_same_size_or_a_span_around_it(wanted, has, fits):
    assert size_fits(wanted, has) is fits


# ---- until when a date holds ----


@pytest.mark.parametrize(
    ("done", "years", "due"),
    [  # by the calendar
        (date(2026, 3, 10), 1, date(2027, 3, 10)),
        (date(2024, 2, 29), 1, date(2025, 2, 28)),
        (date(2024, 2, 29), 4, date(2028, 2, 29)),
        (date(2024, 2, 29), 5, date(2029, 2, 28)),
        (date(2096, 2, 29), 4, date(2100, 2, 28)),  # 2100 is a common year
        (date(2025, 2, 28), 3, date(2028, 2, 28)),
        (date(2025, 3, 1), 3, date(2028, 3, 1)),
        (date(2025, 12, 31), 0, date(2025, 12, 31)),
    ],
)
def test_years_are_counted_by_the_calendar(done, years, due):
    assert due_on(done, years) == due


@settings(deadline=None)
@given(done=DAYS, years=st.integers(0, 12))
def test_years_agree_with_a_calendar_library(done, years):
    """python-dateutil also takes 29 February to 28 February in common years."""
    assert due_on(done, years) == done + relativedelta(years=years)


@pytest.mark.parametrize(
    ("test", "visual", "on", "outcome", "source"),
    [  # five years and one year; the anniversary itself is overdue
        (date(2022, 6, 12), date(2026, 12, 1), date(2027, 6, 11), Outcome.OK, "KIT_FILE"),
        (date(2022, 6, 12), date(2026, 12, 1), date(2027, 6, 12), Outcome.STOP, "kit.test_years"),
        (date(2025, 1, 1), date(2026, 6, 12), date(2027, 6, 11), Outcome.OK, "KIT_FILE"),
        (date(2025, 1, 1), date(2026, 6, 12), date(2027, 6, 12), Outcome.STOP, "kit.visual_years"),
        (date(2024, 2, 29), date(2028, 3, 1), date(2029, 2, 27), Outcome.OK, "KIT_FILE"),
        (date(2024, 2, 29), date(2028, 3, 1), date(2029, 2, 28), Outcome.STOP, "kit.test_years"),
        (date(2027, 1, 1), date(2028, 2, 29), date(2029, 2, 27), Outcome.OK, "KIT_FILE"),
        (date(2027, 1, 1), date(2028, 2, 29), date(2029, 2, 28), Outcome.STOP, "kit.visual_years"),
        (date(2027, 6, 12), date(2027, 6, 12), date(2027, 6, 12), Outcome.OK, "KIT_FILE"),
        (date(2027, 6, 13), date(2027, 6, 1), date(2027, 6, 12), Outcome.STOP, "kit.test_years"),  # after the day
        (None, date(2027, 6, 1), date(2027, 6, 12), Outcome.STOP, "kit.test_years"),
        (date(2027, 6, 1), None, date(2027, 6, 12), Outcome.STOP, "kit.visual_years"),
        (None, None, date(2027, 6, 12), Outcome.STOP, "kit.test_years"),
    ],
)
def test_a_cylinder_is_in_service_until_the_day_before_the_anniversary(test, visual, on, outcome, source):
    found = cylinder_service(cylinder(last_test=test, last_visual=visual), on, RULES)
    assert (found.outcome, found.source) == (outcome, source)
    assert bool(found.reasons) is (outcome is not Outcome.OK)


def test_a_cylinder_says_why_it_stays():
    on = date(2027, 6, 12)
    bare = cylinder_service(cylinder(), on, RULES)
    assert bare.reasons == ("has no test on record", "has no inspection on record")
    assert bare.until is None
    old = cylinder_service(cylinder(last_test=date(2020, 2, 29), last_visual=date(2027, 1, 1)), on, RULES)
    assert old.reasons == ("is overdue: its test of 29 February 2020 held until 27 February 2025",)
    assert old.until == date(2025, 2, 27)
    dented = cylinder(last_test=on, last_visual=on, out_of_service="dented")
    assert cylinder_service(dented, on, RULES).reasons == ("is out of service: dented",)
    assert not cylinder_service(dented, on, RULES).usable


@pytest.mark.parametrize(
    ("more", "outcome", "source"),
    [
        ({"serviced": date(2026, 6, 13)}, Outcome.OK, "KIT_FILE"),
        ({"serviced": date(2026, 6, 12)}, Outcome.STOP, "kit.regulator_years"),
        ({"serviced": None}, Outcome.CAUTION, "kit.regulator_years"),
        ({"serviced": date(2027, 6, 13)}, Outcome.CAUTION, "kit.regulator_years"),  # after the day: not known on it
        ({"serviced": date(2027, 6, 1), "has_pressure_gauge": None}, Outcome.CAUTION, "ES_550"),
        ({"serviced": date(2027, 6, 1), "has_pressure_gauge": False}, Outcome.STOP, "ES_550"),
        ({"serviced": date(2027, 6, 1), "has_second_stage_spare": None}, Outcome.CAUTION, "ES_550"),
        ({"serviced": date(2027, 6, 1), "has_second_stage_spare": False}, Outcome.STOP, "ES_550"),
        ({"serviced": date(2027, 6, 1), "out_of_service": "flows freely"}, Outcome.STOP, "KIT_FILE"),
        ({"serviced": None, "out_of_service": "flows freely"}, Outcome.STOP, "KIT_FILE"),
    ],
)
def test_a_regulator_is_judged_by_its_service_its_gauge_and_its_second_stages(more, outcome, source):
    found = regulator_service(regulator(**more), date(2027, 6, 12), RULES)
    assert (found.outcome, found.source) == (outcome, source)
    assert found.usable is (outcome is not Outcome.STOP)


def test_a_centre_may_have_other_years():
    one = cylinder(last_test=date(2025, 6, 12), last_visual=date(2025, 6, 12))
    on = date(2027, 6, 11)
    assert not cylinder_service(one, on, RULES).usable
    assert cylinder_service(one, on, book(visual_years=2)).usable
    assert not cylinder_service(one, on + timedelta(days=1), book(visual_years=2)).usable
    assert not cylinder_service(one, on, book(visual_years=2, test_years=1)).usable


@settings(deadline=None)
@given(test=DAYS, visual=DAYS, ahead=st.integers(0, 4000))
def test_a_cylinder_that_is_overdue_never_comes_back_by_waiting(test, visual, ahead):
    one = cylinder(last_test=test, last_visual=visual)
    last = cylinder_service(one, max(test, visual), RULES).until
    assert last is not None
    assert cylinder_service(one, last, RULES).usable is (last >= max(test, visual))
    assert not cylinder_service(one, max(last, test, visual) + timedelta(days=1 + ahead), RULES).usable
