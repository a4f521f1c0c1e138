"""Oxygen on the beach: how long it lasts one casualty and two, against the time until others take over.

The tables are those of public first aid handbooks for oxygen (source OXYGEN_FIRST_AID): contents in litres, what stays
in the cylinder (10 bar or 200 psi) taken off, over the flow of the mask.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import combinations
from math import ceil
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.catalogue.site import Site, site_from
from tripplan.check import Check, Outcome
from tripplan.emergency.oxygen_supply import (
    COMMON_CYLINDERS_L,
    OxygenLine,
    OxygenSupply,
    check_oxygen,
    flow_l_min,
    minutes_for,
    oxygen_supply,
    usable_l,
)
from tripplan.emergency.readiness import OxygenUnit, Readiness
from tripplan.errors import OutOfRange
from tripplan.record import TomlFile
from tripplan.rulebook import RuleBook, baseline

DAY = date(2027, 6, 12)
RULES = baseline()
TEXT = (Path(__file__).parents[1] / "planning" / "plain-cove.toml").read_text(encoding="utf-8")
LAY_BY = 'position = "47.0005, -17.0005"'
CARE = (("Near Hospital", 20.0), ("Near Chamber", 40.0))


def site(*edits: tuple[str, str]) -> Site:
    text = TEXT
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return site_from(TomlFile(Path("plain-cove.toml"), text))


@cache
def reached(ambulance_min: float | None) -> Site:
    """Return the site that an ambulance reaches in so many minutes."""
    if ambulance_min is None:
        return site()
    return site((LAY_BY, f"{LAY_BY}\nambulance_min = {ambulance_min}"))


def rules_with(**values: float) -> RuleBook:
    """Return the baseline with some values replaced; in a key "__" stands for the dot."""
    rules = dict(RULES.rules)
    for name, value in values.items():
        key = name.replace("__", ".")
        rules[key] = replace(rules[key], value=value, reason="for the test", baseline_value=rules[key].value)
    return RuleBook(MappingProxyType(rules))


def unit(volume_l: float | None = 5.0, pressure_bar: float | None = 200.0, **other: Any) -> OxygenUnit:
    """Return a unit with a mask for one, read two days before the dive."""
    usual: dict[str, Any] = {
        "name": "Beach oxygen",
        "kept": "in the van",
        "device": "non_rebreather",
        "read": DAY - timedelta(days=2),
        "read_by": "Vera Lind",
    }
    return OxygenUnit(**{"volume_l": volume_l, "pressure_bar": pressure_bar, **usual, **other})


def factor_unit(litres_per_psi: float, pressure_psi: float | None, **other: Any) -> OxygenUnit:
    return unit(None, None, litres_per_psi=litres_per_psi, pressure_psi=pressure_psi, **other)


def several(*units: OxygenUnit) -> tuple[OxygenUnit, ...]:
    """Return the units with a name of its own for each."""
    return tuple(one.model_copy(update={"name": f"Unit {number}"}) for number, one in enumerate(units, 1))


def supply(
    *units: OxygenUnit,
    ambulance_min: float | None = 20.0,
    care: Sequence[tuple[str, float | None]] = CARE,
    rules: RuleBook = RULES,
    on: date = DAY,
) -> OxygenSupply:
    return oxygen_supply(reached(ambulance_min), Readiness(oxygen_units=units), care, on, rules)


def found(of: OxygenSupply, rule: str, rules: RuleBook = RULES) -> list[Check]:
    return [check for check in check_oxygen(of, rules) if check.rule == rule]


def the(of: OxygenSupply, rule: str, rules: RuleBook = RULES) -> Check:
    checks = found(of, rule, rules)
    assert len(checks) == 1, checks
    return checks[0]


# ---- what one cylinder holds ----


# The handbooks' metric table, cylinders at 200 bar and a mask at 15 L/min.  It prints 32 min for 475 L: 475 / 15 is
# 31.67, which it rounds to the nearest; here minutes of oxygen are rounded down, so it is 31.  1900 / 15 is 126.67,
# printed as 127, likewise 126 here.
@pytest.mark.parametrize(
    ("volume_l", "litres", "printed_min", "minutes"),
    [(2, 380, 25, 25), (2.5, 475, 32, 31), (3, 570, 38, 38), (5, 950, 63, 63), (10, 1900, 127, 126)],
)
def test_the_metric_table_of_the_handbooks_comes_out_rounded_down(volume_l, litres, printed_min, minutes):
    one = unit(volume_l)
    assert usable_l(one, RULES) == litres
    line = supply(one).lines[0]
    assert (line.minutes_one, supply(one).minutes_one) == (minutes, minutes)
    assert printed_min - 1 <= minutes <= printed_min


# The same handbooks, cylinders read in psi by their factors: 2000 psi, 200 psi stay, 15 L/min.  They print 19, 34, 187;
# 504 / 15 is 33.6, so 33 here.
@pytest.mark.parametrize(
    ("factor", "litres", "printed_min", "minutes"), [(0.16, 288, 19, 19), (0.28, 504, 34, 33), (1.56, 2808, 187, 187)]
)
def test_the_table_of_factors_for_psi_comes_out_rounded_down(factor, litres, printed_min, minutes):
    one = factor_unit(factor, 2000.0)
    assert usable_l(one, RULES) == litres
    assert supply(one).minutes_one == minutes
    assert printed_min - 1 <= minutes <= printed_min


def test_the_published_example_of_1200_psi_at_4_litres_a_minute_lasts_70_min():
    """(1200 - 200) psi x 0.28 = 280 L; 280 / 4 = 70 min, as printed."""
    rules = rules_with(oxygen__non_rebreather_l_min=4)
    one = factor_unit(0.28, 1200.0)
    assert usable_l(one, rules) == 280
    assert supply(one, rules=rules).minutes_one == 70


def test_each_device_takes_its_own_flow():
    assert [flow_l_min(device, RULES) for device in ("non_rebreather", "demand", "bag_mask")] == [15, 10, 15]
    rules = rules_with(oxygen__non_rebreather_l_min=12, oxygen__demand_l_min=8, oxygen__bag_mask_l_min=13)
    assert [flow_l_min(device, rules) for device in ("non_rebreather", "demand", "bag_mask")] == [12, 8, 13]
    assert supply(unit(device="demand")).minutes_one == 95  # 950 L at 10 L/min


@pytest.mark.parametrize(
    "empty",
    [
        unit(pressure_bar=None, read=None, read_by=None),
        unit(pressure_bar=10.0),
        unit(pressure_bar=3.0),
        factor_unit(0.28, None),
        factor_unit(0.28, 200.0),
        factor_unit(0.28, 150.0),
    ],
)
def test_a_cylinder_never_read_or_at_its_reserve_or_below_it_holds_nothing(empty):
    assert usable_l(empty, RULES) == 0
    made = supply(empty)
    assert (made.usable_l, made.minutes_one, made.minutes_two) == (0, 0, 0)


def test_a_line_says_what_stands_on_the_unit():
    made = supply(unit(pressure_bar=190.0, read=DAY), factor_unit(0.28, 1900.0, name="Second", device="demand"))
    first, second = made.lines
    assert (first.pressure_words, first.size_words, first.fresh) == ("190 bar", "5 L", True)
    assert (second.pressure_words, second.size_words, second.fresh) == ("1900 psi", "0.28 L for each psi", False)
    assert (second.flow_l_min, second.usable_l, second.kept, second.read_by) == (10, 476, "in the van", "Vera Lind")
    assert made.usable_l == 900 + 476
    unread = supply(unit(pressure_bar=None, read=DAY)).lines[0]
    assert (unread.pressure_words, unread.fresh) == ("not read", False)


def test_only_units_kept_at_the_site_or_travelling_count():
    made = supply(
        unit(name="Here", site="plain-cove"), unit(name="Elsewhere", site="far-cove"), unit(name="With the van")
    )
    assert [line.name for line in made.lines] == ["Here", "With the van"]


# ---- how long it lasts ----


# All at 200 bar and 15 L/min: 2 L serve one casualty for 25.33 min, 5 L for 63.33 min, 10 L for 126.67 min.
@pytest.mark.parametrize(
    ("units", "minutes"),
    [
        # one outlet: the second casualty has none
        ([unit(10)], 0),
        # one cylinder with two outlets empties in half the time: 63.33 / 2 = 31.67
        ([unit(5, casualties=2)], 31),
        # two single outlets: once the 2 L is empty, at 25.33 min, one outlet is left for two
        ([unit(5), unit(2)], 25),
        # as before, but the 5 L serves two: all of both is used, (63.33 + 25.33) / 2 = 44.33
        ([unit(5, casualties=2), unit(2)], 44),
        # three single outlets: the 10 L serves throughout, the other two follow each other: 63.33 + 25.33 = 88.67
        ([unit(10), unit(5), unit(2)], 88),
        # a second outlet on a cylinder never read gives nothing
        ([unit(10), unit(10, None)], 0),
    ],
)
def test_two_casualties_at_once_by_hand(units, minutes):
    assert supply(*several(*units)).minutes_two == minutes


def test_one_casualty_uses_one_unit_after_the_other():
    """63.33 + 25.33 = 88.67 min: rounded once, not for each unit."""
    made = supply(*several(unit(5), unit(2)))
    assert [line.minutes_one for line in made.lines] == [63, 25]
    assert made.minutes_one == 88
    assert minutes_for((), 1) == 0


def test_nobody_to_serve_is_refused():
    with pytest.raises(OutOfRange, match="casualties is 0"):
        minutes_for(supply(unit()).lines, 0)


def ports(minutes: int, outlets: int) -> OxygenLine:
    """Return a unit that serves one casualty for so many minutes."""
    return replace(supply(unit()).lines[0], usable_l=15.0 * minutes, flow_l_min=15.0, casualties=outlets)


def longest_by_trying(units: tuple[tuple[int, int], ...], casualties: int) -> int:
    """Return the most minutes that any order of use gives, by trying every choice of outlets in every minute."""

    @cache
    def tried(left: tuple[int, ...]) -> int:
        open_now = [at for at, minutes in enumerate(left) for _ in range(min(units[at][1], minutes))]
        best = 0
        for chosen in set(combinations(open_now, casualties)):
            best = max(best, 1 + tried(tuple(minutes - chosen.count(at) for at, minutes in enumerate(left))))
        return best

    return tried(tuple(minutes for minutes, _ in units))


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 5), st.integers(1, 3)), min_size=1, max_size=4).map(tuple),
    st.integers(1, 3),
)
def test_no_order_of_use_tried_minute_by_minute_lasts_longer_or_less_long(units, casualties):
    assert minutes_for([ports(*one) for one in units], casualties) == longest_by_trying(units, casualties)


# ---- how long it must last ----


def test_a_transfer_of_45_min_wants_844_litres_which_3_litres_do_not_hold_and_5_do():
    """The handbooks' example: 45 min x 15 L/min = 675 L, with 25 % more 843.75 L."""
    care = (("Near Chamber", 30.0),)
    small = supply(unit(3), ambulance_min=15.0, care=care)
    assert small.wanted_one_l == 843.75 and ceil(small.wanted_one_l) == 844
    assert small.wanted_two_l == 2 * 843.75
    assert small.needed_min == small.known_min == 57  # 45 x 1.25 = 56.25
    assert (small.minutes_one, small.enough_one) == (38, "one 5 L cylinder at 200 bar")
    lasts = the(small, "oxygen-lasts")
    assert lasts.outcome is Outcome.STOP
    assert lasts.sentence == (
        "Oxygen for one casualty lasts 38 min, but the need is 57 min: ambulance 15 min and drive to Near Chamber "
        "30 min, with 25 % more. Enough in all would be one 5 L cylinder at 200 bar."
    )
    assert (lasts.found, lasts.limit, lasts.unit, lasts.source) == (38, 57, "min", "oxygen.margin_share")
    large = supply(unit(5), ambulance_min=15.0, care=care)
    assert (large.minutes_one, large.enough_one) == (63, "")
    assert the(large, "oxygen-lasts").outcome is Outcome.OK


def test_the_slowest_known_drive_counts_and_a_tie_goes_to_the_first():
    made = supply(unit(), care=(("Unknown", None), ("Quick", 10.0), ("Slow", 40.0), ("Slow too", 40.0)))
    assert (made.slowest_care, made.drive_min, made.ambulance_min) == ("Slow", 40, 20)
    assert made.known_min == 75  # (20 + 40) x 1.25
    assert made.needed_min is None and made.unknown_drives == ("Unknown",)


def test_the_largest_flow_of_the_units_sets_the_litres_and_a_mask_where_there_are_none():
    assert supply(unit(device="demand")).wanted_one_l == 750  # 75 min at 10 L/min
    assert supply(*several(unit(device="demand"), unit(device="bag_mask"))).wanted_one_l == 1125  # at 15 L/min
    assert supply().wanted_one_l == 1125


# Each lies exactly on the edge, where binary fractions fall beside it: 100 x 1.1 comes out above 110, 2.3 x 100 below
# 230, 6 L x 0.7 below 4.2 L, and 0.1 + 0.2 above 0.3.
@pytest.mark.parametrize(
    ("rules", "one", "ambulance_min", "drive_min", "needed_min", "minutes"),
    [
        ({"oxygen__margin_share": 0.1}, unit(10, 175.0), 60.0, 40.0, 110, 110),
        ({"oxygen__margin_share": 0.0}, unit(2.3, 110.0, device="demand"), 13.0, 10.0, 23, 23),
        ({"oxygen__margin_share": 0.0, "oxygen__non_rebreather_l_min": 0.7}, unit(6, 10.7), 1.0, 5.0, 6, 6),
        ({"oxygen__margin_share": 0.0}, unit(10, 100.0), 0.1 + 0.2, 59.7, 60, 60),
    ],
)
def test_what_is_exactly_enough_stays_enough(rules, one, ambulance_min, drive_min, needed_min, minutes):
    book = rules_with(**rules)
    made = supply(one, ambulance_min=ambulance_min, care=(("Chamber", drive_min),), rules=book)
    assert (made.needed_min, made.minutes_one, made.enough_one) == (needed_min, minutes, "")
    assert the(made, "oxygen-lasts", book).outcome is Outcome.OK
    # a hundredth of a minute more of drive, or of a bar less, is not enough
    longer = supply(one, ambulance_min=ambulance_min, care=(("Chamber", drive_min + 0.01),), rules=book)
    assert the(longer, "oxygen-lasts", book).outcome is Outcome.STOP
    assert one.pressure_bar is not None
    less = one.model_copy(update={"pressure_bar": one.pressure_bar - 0.01})
    made = supply(less, ambulance_min=ambulance_min, care=(("Chamber", drive_min),), rules=book)
    assert the(made, "oxygen-lasts", book).outcome is Outcome.STOP


# ---- what is said ----


def test_no_oxygen_unit_on_record_is_a_stop():
    made = supply(unit(site="far-cove"))
    assert made.lines == ()
    on_site = the(made, "oxygen-on-site")
    assert on_site.outcome is Outcome.STOP
    assert on_site.sentence.startswith("No oxygen unit is on record for this site: ")
    assert the(made, "oxygen-lasts").outcome is Outcome.STOP
    assert the(made, "oxygen-two-casualties").outcome is Outcome.CAUTION
    assert found(made, "oxygen-gauge-read") == []
    # 75 min at 15 L/min are 1125 L: above the 950 L of a 5 L cylinder
    assert made.enough_one == "one 10 L cylinder at 200 bar"


def test_units_on_record_are_named_with_their_place():
    made = supply(*several(unit(), unit(kept="beside the ladder")))
    on_site = the(made, "oxygen-on-site")
    assert on_site.outcome is Outcome.OK
    assert on_site.sentence == "2 oxygen units are on record here: Unit 1, in the van; Unit 2, beside the ladder."


@pytest.mark.parametrize("ambulance_min", [None, 20.0])
@pytest.mark.parametrize("care", [(), (("Near Chamber", None),), CARE])
def test_a_part_of_the_need_that_nobody_knows_is_a_caution_that_names_it(ambulance_min, care):
    made = supply(unit(50, casualties=2), ambulance_min=ambulance_min, care=care)
    drive_known = care == CARE
    known = ambulance_min is not None and drive_known
    assert (made.needed_min is not None) == known == (made.wanted_one_l is not None) == (made.wanted_two_l is not None)
    # 20 x 1.25 = 25 and 40 x 1.25 = 50
    assert made.known_min == (25 if ambulance_min else 0) + (50 if drive_known else 0)
    for rule in ("oxygen-lasts", "oxygen-two-casualties"):
        check = the(made, rule)
        assert check.outcome is (Outcome.OK if known else Outcome.CAUTION)
        assert ("ask the ambulance service" in check.sentence) == (ambulance_min is None)
        assert ("No drive to a hospital or chamber" in check.sentence) == (not drive_known)
    assert (made.enough_one == "") == (made.enough_two == "") == known


def test_too_little_even_for_the_known_part_is_a_stop():
    """The drive alone takes 40 min, with 25 % more 50; a 2 L cylinder lasts 25 min; 3 L would last 38, 5 L 63."""
    made = supply(unit(2), ambulance_min=None)
    lasts = the(made, "oxygen-lasts")
    assert lasts.outcome is Outcome.STOP
    assert (lasts.found, lasts.limit) == (25, 50)
    assert "the need is at least 50 min: drive to Near Chamber 40 min, with 25 % more" in lasts.sentence
    assert "ask the ambulance service" in lasts.sentence
    assert made.enough_one == "at least one 5 L cylinder at 200 bar" and made.enough_one in lasts.sentence


def test_empty_units_are_a_stop_even_where_nothing_of_the_need_is_known():
    made = supply(unit(pressure_bar=None), ambulance_min=None, care=())
    assert made.known_min == 0
    lasts = the(made, "oxygen-lasts")
    assert lasts.outcome is Outcome.STOP and "no unit holds any that counts" in lasts.sentence
    two = the(made, "oxygen-two-casualties")
    assert two.outcome is Outcome.CAUTION and two.sentence.startswith("Two casualties cannot be given oxygen at once.")


# 75 min for two at 15 L/min are 2250 L; a 10 L cylinder at 200 bar gives 1900 L.
@pytest.mark.parametrize(
    ("units", "drive_min", "words"),
    [
        ([unit(5, casualties=2)], 40, "2 cylinders of 10 L at 200 bar each"),
        ([unit(5), unit(5)], 40, "2 cylinders of 10 L at 200 bar each"),
        ([unit(5)], 40, "2 cylinders of 10 L at 200 bar each and something that gives oxygen to two at once"),
        # (20 + 4) x 1.25 = 30 min for two at 15 L/min are 900 L: one 5 L cylinder, on something for two
        ([unit(10)], 4, "one 5 L cylinder at 200 bar and something that gives oxygen to two at once"),
        ([unit(2), unit(2)], 4, "one 5 L cylinder at 200 bar and something that gives oxygen to two at once"),
        ([unit(3, casualties=2)], 4, "one 5 L cylinder at 200 bar"),
        ([unit(5, casualties=2)], 4, ""),
    ],
)
def test_what_would_be_enough_for_two_is_said_with_the_outlets(units, drive_min, words):
    made = supply(*several(*units), care=(("Near Chamber", float(drive_min)),))
    assert made.enough_two == words
    two = the(made, "oxygen-two-casualties")
    assert two.outcome is (Outcome.CAUTION if words else Outcome.OK)
    assert words in two.sentence
    assert ("cannot be given oxygen at once" in two.sentence) == (made.minutes_two == 0)


@pytest.mark.parametrize(
    ("given_as", "outcome", "days", "words"),
    [
        ({"read": DAY}, Outcome.OK, 0, "the same day"),
        ({"read": DAY - timedelta(days=1)}, Outcome.OK, 1, "1 day before"),
        ({"read": DAY - timedelta(days=7)}, Outcome.OK, 7, "showed 200 bar on 5 June 2027, read by Vera Lind"),
        ({"read": DAY - timedelta(days=8)}, Outcome.CAUTION, 8, "8 days before; only 7 days are allowed"),
        ({"read": DAY + timedelta(days=1)}, Outcome.CAUTION, -1, "after the day of the dive"),
        ({"read": None, "read_by": None}, Outcome.CAUTION, None, "showed 200 bar, but nobody wrote down when"),
        ({"pressure_bar": None, "read": None, "read_by": None}, Outcome.CAUTION, None, "never read: the unit counts"),
        ({"pressure_bar": None}, Outcome.CAUTION, 2, "No reading of the gauge of Beach oxygen is written down"),
    ],
)  # fmt: skip
def test_a_reading_holds_for_seven_days_and_never_before_it_was_made(given_as, outcome, days, words):
    made = supply(unit(**given_as))
    gauge = the(made, "oxygen-gauge-read")
    assert (gauge.outcome, gauge.found, gauge.limit, gauge.unit) == (outcome, days, 7, "days")
    assert gauge.subject == "Beach oxygen" and gauge.source == "oxygen.read_fresh_days"
    assert words in gauge.sentence
    if outcome is Outcome.CAUTION:
        assert gauge.sentence.endswith("Read it before the first dive.")


def test_each_unit_has_a_check_of_its_gauge():
    made = supply(*several(unit(), unit(read=DAY - timedelta(days=30))))
    outcomes = {check.subject: check.outcome for check in found(made, "oxygen-gauge-read")}
    assert outcomes == {"Unit 1": Outcome.OK, "Unit 2": Outcome.CAUTION}


def test_a_centre_that_writes_a_flow_of_nothing_or_a_fill_below_the_reserve_is_told_and_never_ok():
    no_flow = rules_with(oxygen__non_rebreather_l_min=0)
    made = supply(unit(), rules=no_flow)
    assert made.minutes_one == 0 and "a flow above 0 L/min" in made.enough_one
    assert the(made, "oxygen-lasts", no_flow).outcome is Outcome.STOP
    no_fill = rules_with(oxygen__full_bar=10)
    made = supply(unit(2), rules=no_fill)
    assert made.enough_one == "1125 L of oxygen above what stays in the cylinder"


# ---- what must never happen ----

PRESSURES = st.none() | st.floats(0, 350)
UNITS = st.lists(
    st.builds(
        lambda volume_l, pressure_bar, outlets, device: unit(volume_l, pressure_bar, casualties=outlets, device=device),
        st.sampled_from([0.5, *COMMON_CYLINDERS_L]) | st.floats(0.1, 60),
        PRESSURES,
        st.integers(1, 4),
        st.sampled_from(["demand", "non_rebreather", "bag_mask"]),
    ),
    max_size=4,
).map(lambda units: several(*units))
DRIVES = st.integers(1, 300).map(float)
OFTEN = settings(max_examples=60, deadline=None)


@OFTEN
@given(UNITS.filter(bool), st.data())
def test_more_pressure_never_gives_fewer_minutes(units, data):
    at = data.draw(st.integers(0, len(units) - 1))
    more = data.draw(st.floats(units[at].pressure_bar or 0, 350))
    fuller = [one.model_copy(update={"pressure_bar": more}) if one is units[at] else one for one in units]
    before, after = supply(*units), supply(*fuller)
    assert before.minutes_one <= after.minutes_one
    assert before.minutes_two <= after.minutes_two


@OFTEN
@given(UNITS)
def test_two_casualties_never_have_oxygen_for_longer_than_one(units):
    made = supply(*units)
    times = [minutes_for(made.lines, casualties) for casualties in range(1, 6)]
    assert times == sorted(times, reverse=True)
    assert times[:2] == [made.minutes_one, made.minutes_two]
    assert 2 * made.minutes_two <= made.minutes_one


@OFTEN
@given(UNITS.filter(bool))
def test_a_unit_more_never_shortens_the_time(units):
    fewer, all_of_them = supply(*units[:-1]), supply(*units)
    assert fewer.minutes_one <= all_of_them.minutes_one
    assert fewer.minutes_two <= all_of_them.minutes_two


@OFTEN
@given(UNITS, DRIVES, DRIVES, st.none() | DRIVES)
def test_a_longer_drive_never_makes_a_check_milder(units, drive_min, longer_by_min, ambulance_min):
    short = supply(*units, ambulance_min=ambulance_min, care=(("Chamber", drive_min),))
    far = supply(*units, ambulance_min=ambulance_min, care=(("Chamber", drive_min + longer_by_min),))
    for rule in ("oxygen-lasts", "oxygen-two-casualties"):
        assert the(far, rule).outcome.severity >= the(short, rule).outcome.severity


@OFTEN
@given(UNITS, st.none() | DRIVES, st.none() | DRIVES)
def test_what_is_not_known_is_never_ok(units, ambulance_min, drive_min):
    made = supply(*units, ambulance_min=ambulance_min, care=(("Chamber", drive_min),))
    known = ambulance_min is not None and drive_min is not None
    for rule, minutes in (("oxygen-lasts", made.minutes_one), ("oxygen-two-casualties", made.minutes_two)):
        long_enough = known and minutes >= (ambulance_min + drive_min) * 1.25
        assert (the(made, rule).outcome is Outcome.OK) == long_enough
    for line, gauge in zip(made.lines, found(made, "oxygen-gauge-read"), strict=True):
        assert (gauge.outcome is Outcome.OK) == (line.pressure_words != "not read")


@OFTEN
@given(UNITS, DRIVES, DRIVES)
def test_what_is_said_to_be_enough_is_enough_and_the_next_smaller_is_not(units, ambulance_min, drive_min):
    made = supply(*units, ambulance_min=ambulance_min, care=(("Chamber", drive_min),))
    # the device of the units that empties a cylinder soonest
    device = "demand" if units and all(one.device == "demand" for one in units) else "non_rebreather"

    def lasts(number: int, size_l: float, casualties: int) -> int:
        filled = several(*[unit(size_l, 200.0, device=device, casualties=casualties)] * number)
        return minutes_for(supply(*filled).lines, casualties)

    for words, casualties, minutes in ((made.enough_one, 1, made.minutes_one), (made.enough_two, 2, made.minutes_two)):
        assert made.needed_min is not None
        assert (words == "") == (minutes >= made.needed_min)
        if match := re.match(r"one ([\d.]+) L cylinder at 200 bar", words):
            at = COMMON_CYLINDERS_L.index(float(match[1]))
            assert lasts(1, COMMON_CYLINDERS_L[at], casualties) >= made.needed_min
            assert at == 0 or lasts(1, COMMON_CYLINDERS_L[at - 1], casualties) < made.needed_min
        elif words:
            number = int(re.match(r"(\d+) cylinders of 10 L at 200 bar each", words)[1])
            assert lasts(number, 10, casualties) >= made.needed_min
            assert lasts(number - 1, 10, casualties) < made.needed_min
