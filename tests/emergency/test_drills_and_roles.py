"""Drills, kits and roles: what is missing or old is said, and nobody is asked to do two things at once."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.check import Outcome
from tripplan.emergency.drills import check_drills, check_kits, last_drill
from tripplan.emergency.readiness import Drill, Readiness, RescueKit
from tripplan.emergency.roles import CANNOT_WAIT, ROLES, RoleLine, check_roles, roles_of
from tripplan.rulebook import baseline

DAY = date(2027, 6, 12)
RULES = baseline()


def drill(days_before: int, *who: str, led_by: str = "Vera Lind") -> Drill:
    return Drill(held=DAY - timedelta(days=days_before), scenario="fire", led_by=led_by, who=who or ("Ann",))


def outcomes(readiness: Readiness, *crew: str) -> dict[str, Outcome]:
    return {check.rule: check.outcome for check in check_drills(readiness, crew, DAY, RULES)}


def test_no_drill_on_record_is_a_caution():
    (check,) = check_drills(Readiness(), ("Ann",), DAY, RULES)
    assert check.outcome is Outcome.CAUTION and "No emergency drill is on record" in check.sentence


@pytest.mark.parametrize(("days", "outcome"), [(0, Outcome.OK), (180, Outcome.OK), (181, Outcome.CAUTION)])
def test_a_drill_holds_for_the_days_of_the_rule_book(days, outcome):
    assert RULES.value("drill.fresh_days") == 180
    assert outcomes(Readiness(drills=(drill(days),)))["drill-held"] is outcome


def test_a_drill_after_the_day_does_not_count():
    readiness = Readiness(drills=(drill(-1),))
    assert last_drill(readiness, DAY) is None
    assert outcomes(readiness) == {"drill-held": Outcome.CAUTION}


def test_crew_who_were_in_no_drill_lately_are_named():
    readiness = Readiness(drills=(drill(300, "Cy"), drill(10, "Ann", led_by="Ben")))
    (held, drilled) = check_drills(readiness, ("Ann", "Ben", "Cy", "Dee"), DAY, RULES)
    assert held.outcome is Outcome.OK
    assert drilled.outcome is Outcome.CAUTION and "Cy, Dee" in drilled.sentence and "Ann" not in drilled.sentence


def test_no_kit_is_a_caution_and_so_is_one_that_nobody_counted():
    (none,) = check_kits(Readiness(), "cove", DAY, RULES)
    assert none.outcome is Outcome.CAUTION
    kit = RescueKit(name="Bag", content=("masks",), kept="in the van")
    (uncounted,) = check_kits(Readiness(rescue_kits=(kit,)), "cove", DAY, RULES)
    assert uncounted.outcome is Outcome.CAUTION and "never counted" in uncounted.sentence
    counted = kit.model_copy(update={"checked": DAY - timedelta(days=30), "checked_by": "Ann"})
    assert RULES.value("drill.kit_fresh_days") == 30
    (fresh,) = check_kits(Readiness(rescue_kits=(counted,)), "cove", DAY, RULES)
    assert fresh.outcome is Outcome.OK and fresh.source == "drill.kit_fresh_days"
    elsewhere = counted.model_copy(update={"site": "other"})
    assert check_kits(Readiness(rescue_kits=(elsewhere,)), "cove", DAY, RULES)[0].found == 0


# ---- roles ----


def test_who_is_named_stays_named_and_the_rest_is_filled_from_those_ashore_in_order():
    lines = {line.key: line for line in roles_of(
        {"in_charge": ("Ida",), "oxygen": ("Oxy",)}, ("Wat", "Gil", "Sam"), {"Gil"}, {"Max"})}  # fmt: skip
    assert lines["in_charge"].people == ("Ida",) and lines["oxygen"].people == ("Oxy",)
    assert lines["rescue"].people == ("Gil",)  # the only one who is fit for it
    assert lines["caller"].people == ("Wat",) and lines["recorder"].people == ("Sam",)
    assert lines["meeter"].people == ()


def test_with_too_few_people_the_roles_left_are_named_in_a_caution():
    check = check_roles(roles_of({"in_charge": ("Ida",), "oxygen": ("Oxy",)}, ("Wat",), (), ()))
    assert check.outcome is Outcome.CAUTION
    assert "Nobody is named for: rescue from the water, recorder, meets the ambulance." in check.sentence


def test_one_person_for_two_roles_that_cannot_wait_is_a_caution():
    lines = tuple(RoleLine(key, ("Ida",) if key in CANNOT_WAIT else (f"P{key}",)) for key in ROLES)
    check = check_roles(lines)
    assert check.outcome is Outcome.CAUTION and "one person cannot do both at once" in check.sentence


def test_somebody_who_is_in_the_water_cannot_hold_a_role_alone():
    lines = roles_of({"in_charge": ("Ida",)}, (), (), {"Ida"})
    assert lines[0].diving == ("Ida",)
    assert "Ida is in the water" in check_roles(lines).sentence


def test_everybody_with_one_role_ashore_is_in_order():
    lines = tuple(RoleLine(key, (f"P{key}",)) for key in ROLES)
    assert check_roles(lines).outcome is Outcome.OK


NAMES = st.sampled_from(["Ann", "Ben", "Cy", "Dee", "Eva", "Flo"])


@settings(deadline=None)
@given(st.lists(NAMES, unique=True), st.sets(NAMES), st.sets(NAMES))
def test_nobody_is_given_two_roles_nor_one_while_in_the_water(ashore, rescuers, divers):
    lines = roles_of({}, ashore, rescuers, divers)
    given_to = [name for line in lines for name in line.people]
    assert len(given_to) == len(set(given_to))
    assert not set(given_to) & divers
    assert all(name in rescuers for line in lines if line.key == "rescue" for name in line.people)
