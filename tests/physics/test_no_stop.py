"""The two no-stop times together: what binds, what is said, and what must never lengthen a dive."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.check import Outcome
from tripplan.errors import OutOfRange
from tripplan.physics.atmosphere import standard_pressure_bar
from tripplan.physics.no_stop import Exposure, Surroundings, handbook_group_after, no_stop_limits
from tripplan.rulebook import RuleBook, baseline
from tripplan.sources import SOURCES

RULES = baseline()
SEA = Surroundings(0.0, 1025.0, "sea")
LAKE = Surroundings(1200.0, 1000.0, "fresh")
GROUPS = "ABCDEFGHIJKLMNOZ"


def ask(depth_m, previous=(), place=SEA, hours=None, percent=21.0, rules=RULES):
    return no_stop_limits(depth_m, place, previous, rules, hours_since_arrival_h=hours, oxygen_percent=percent)


def with_rule(key, value):
    return RuleBook({**RULES.rules, key: replace(RULES[key], value=value)})


def rules_said(found, outcome):
    return {check.rule for check in found.checks if check.outcome is outcome}


def minutes(value):
    return math.inf if value is None else value


# ---- what comes back ----


def test_the_stricter_of_the_two_binds_and_both_are_shown():
    found = ask(18)
    assert found.handbook_no_stop_min == 63  # US Navy Rev 7 Table 9-7, row 60 fsw
    assert found.model_no_stop_min < 63
    assert found.no_stop_min == found.model_no_stop_min == found.contest.value
    assert found.contest.binding.name == "model"
    assert [candidate.name for candidate in found.contest.candidates] == ["handbook", "model"]
    assert "row 60 fsw, first dive: 63 min" in found.contest.candidates[0].sentence


def test_a_repetitive_dive_can_be_bound_by_the_handbook():
    found = ask(18, [Exposure(18, 38, 30)])
    assert found.contest.binding.name == "handbook"
    # Table 9-7: 38 min at 60 fsw is G; Table 9-8: G after 0:30 is G, 40 min residual at 60 fsw; 63 - 40.
    assert (found.handbook_group, found.residual_nitrogen_min, found.no_stop_min) == ("G", 40, 23)


def test_a_dive_without_any_limit_says_none_and_only_then():
    found = ask(3)
    assert (found.no_stop_min, found.model_no_stop_min, found.handbook_no_stop_min) == (None, None, None)
    assert found.contest.binding is None
    assert rules_said(found, Outcome.STOP) == set()


def test_pressures_gauges_and_equivalent_depth_are_those_of_the_place():
    found = ask(10, place=LAKE, hours=48)
    assert found.surface_pressure_bar == standard_pressure_bar(1200)
    assert found.ambient_pressure_bar == pytest.approx(standard_pressure_bar(1200) + 0.980665)
    assert found.gauge_zeroed_m == pytest.approx(9.80665)
    assert found.gauge_sealed_m == pytest.approx(9.80665 - (1.01325 - standard_pressure_bar(1200)) * 10)
    assert found.equivalent_depth_m == pytest.approx(10 * 1000 / 1027.2 * 1.01325 / standard_pressure_bar(1200))
    assert ask(10).equivalent_depth_m == 10.0


def test_a_measured_pressure_is_used_in_place_of_the_standard():
    measured = replace(LAKE, measured_pressure_bar=0.86)
    assert ask(10, place=measured, hours=48).surface_pressure_bar == 0.86


def test_every_check_names_a_source_that_is_written_down():
    previous = [Exposure(40, 60, 5), Exposure(18, 40, 30)]
    for found in (ask(18), ask(30, previous, LAKE), ask(50, percent=32.0), ask(18, [Exposure(60, 5, 60)])):
        for check in found.checks:
            assert check.source in SOURCES or check.source in RULES.rules
            assert check.sentence.endswith(".")
        for candidate in found.contest.candidates:
            assert candidate.source in SOURCES


# ---- rules are read from the book ----


def test_a_lower_gradient_factor_in_the_book_shortens_the_models_time_and_is_reported():
    strict = ask(18, rules=with_rule("model.gradient_factor_high", 0.7))
    assert strict.model_no_stop_min < ask(18).model_no_stop_min
    assert strict.gradient_factors == (0.4, 0.7)
    assert strict.handbook_no_stop_min == ask(18).handbook_no_stop_min


@pytest.mark.parametrize("key, value", [("ascent.rate_m_min", 1.0), ("descent.rate_m_min", 30.0)])
def test_the_rates_of_the_book_move_the_models_time(key, value):
    assert ask(40, rules=with_rule(key, value)).model_no_stop_min < ask(40).model_no_stop_min


def test_a_lower_oxygen_limit_in_the_book_makes_the_gas_too_deep():
    assert rules_said(ask(32, percent=32.0), Outcome.STOP) == set()
    stopped = ask(32, percent=32.0, rules=with_rule("oxygen.partial_pressure_bar", 1.3))
    assert "oxygen-partial-pressure" in rules_said(stopped, Outcome.STOP)


def test_the_highest_altitude_of_the_book_is_the_highest_accepted():
    with pytest.raises(OutOfRange, match=r"altitude is 1200 m; it must be from -450 to 1000 m"):
        ask(10, place=LAKE, rules=with_rule("altitude.highest_m", 1000.0))


# ---- what is said ----


def test_a_depth_beyond_the_gas_is_a_stop():
    # Common practice: 32 % to 1.4 bar is about 33 m.
    found = ask(34, percent=32.0)
    assert "oxygen-partial-pressure" in rules_said(found, Outcome.STOP)
    assert 33 < found.max_operating_depth_m < 34


def test_an_unknown_time_of_arrival_is_taken_as_just_arrived_and_said():
    unknown, just = ask(12, place=LAKE), ask(12, place=LAKE, hours=0)
    assert "arrival-time-unknown" in rules_said(unknown, Outcome.CAUTION)
    assert (unknown.no_stop_min, unknown.handbook_group) == (just.no_stop_min, "C")  # Table 9-5: 4000 ft
    assert "arrival-time-unknown" not in rules_said(ask(12), Outcome.CAUTION)  # at the sea there is nothing to know
    assert ask(12, place=LAKE, hours=24).handbook_group is None


def test_dives_that_began_before_the_given_arrival_are_a_caution_and_get_no_credit():
    dive = Exposure(10, 30, 120)
    found = ask(10, [dive], LAKE, hours=1)
    assert "arrival-after-first-dive" in rules_said(found, Outcome.CAUTION)
    assert found.handbook_no_stop_min <= ask(10, [dive], LAKE, hours=3).handbook_no_stop_min


def test_a_climb_between_two_dives_adds_its_group_and_is_said():
    dive = Exposure(18, 20, 60, surroundings=SEA)
    found = ask(12, [dive], LAKE)
    # Table 9-7: 20 min at 60 fsw is D; Table 9-8: D after 1:00 is C; Table 9-5: 3937 ft up is C; three steps each.
    assert found.handbook_group == "F"
    assert "altitude-change-between-dives" in rules_said(found, Outcome.CAUTION)
    settled = ask(12, [replace(dive, surroundings=None)], LAKE, hours=48)
    assert minutes(found.no_stop_min) <= minutes(settled.no_stop_min)


def test_a_dive_lower_down_before_adds_no_climb_when_the_next_is_at_the_sea():
    found = ask(12, [Exposure(10, 20, 60, surroundings=LAKE)], SEA)
    assert "altitude-change-between-dives" not in rules_said(found, Outcome.CAUTION)
    assert found.handbook_group is not None


def test_an_earlier_dive_past_the_handbooks_limit_stops_the_day():
    found = ask(10, [Exposure(30, 40, 180)])
    assert {"handbook-over-limit", "model-previous-dive"} <= rules_said(found, Outcome.STOP)
    assert (found.no_stop_min, found.handbook_no_stop_min, found.handbook_group) == (0, 0, None)


def test_an_earlier_dive_outside_the_tables_stops_the_day_but_raises_nothing():
    found = ask(10, [Exposure(70, 5, 180)])
    assert "handbook-outside-tables" in rules_said(found, Outcome.STOP)
    assert found.no_stop_min == 0
    assert any("57.9 m" in check.sentence for check in found.checks)


def test_an_earlier_dive_past_the_models_limit_only_says_by_how_much():
    first = ask(18)
    dive = Exposure(18, first.model_no_stop_min + 8, 120)
    found = ask(10, [dive])
    check = next(check for check in found.checks if check.rule == "model-previous-dive")
    assert check.outcome is Outcome.STOP and "8 min longer" in check.sentence
    assert check.limit == first.model_no_stop_min
    assert "model-previous-dive" not in rules_said(ask(10, [replace(dive, bottom_time_min=38)]), Outcome.STOP)


def test_no_time_left_is_a_stop_and_not_a_silent_zero():
    found = ask(18, [Exposure(18, 38, 15), Exposure(15, 25, 15)])
    assert found.no_stop_min == 0
    assert "no-stop-time-left" in rules_said(found, Outcome.STOP)


def test_a_large_disagreement_is_a_caution_with_both_numbers():
    book = with_rule("model.disagreement_share", 0.2)
    found = ask(18, rules=book)
    check = next(check for check in found.checks if check.rule == "no-stop-methods-agree")
    assert check.outcome is Outcome.CAUTION
    assert "63 min" in check.sentence and f"{found.model_no_stop_min} min" in check.sentence
    assert check.found == pytest.approx((63 - found.model_no_stop_min) / 63, abs=0.005)
    calm = next(check for check in ask(18).checks if check.rule == "no-stop-methods-agree")
    assert calm.outcome is Outcome.OK


def test_one_method_without_a_limit_is_no_caution_when_the_other_gives_hours():
    found = ask(9.14)  # 30 fsw
    assert found.model_no_stop_min > 240
    assert "no-stop-methods-agree" not in rules_said(found, Outcome.CAUTION)


# ---- what is refused ----


@pytest.mark.parametrize(
    "question, said",
    [
        (lambda: ask(0), "depth is 0 m; it must be more than 0 m"),
        (lambda: ask(-3), "depth is -3 m"),
        (lambda: ask(math.nan), "depth is nan m"),
        (lambda: ask(100.1), "it must be from 0 to 100 m"),
        (lambda: ask(60), r"it must be at most 57\.9 m in this water \(190 fsw"),
        (lambda: ask(45, place=Surroundings(2500, 1027.2, "sea")), "which counts as more than 190 fsw at sea level"),
        (lambda: ask(10, percent=18.0), r"oxygen is 18 %; it must be from 20\.9 to 40 %"),
        (lambda: ask(10, percent=50.0), r"from 20\.9 to 40 %"),
        (lambda: ask(10, hours=-1.0), "hours since arrival is -1 h"),
        (lambda: ask(10, hours=math.nan), "hours since arrival is nan h"),
        (
            lambda: ask(10, place=Surroundings(3049, 1000, "fresh")),
            "altitude is 3049 m; .* -450 to 3048 m",
        ),
        (lambda: ask(10, place=Surroundings(0, 900, "sea")), "water density is 900 kg/m3"),
        (lambda: ask(10, place=Surroundings(2000, 1000, "fresh", 1.013)), "not reduced to sea level"),
        (lambda: ask(10, place=Surroundings(3000, 1000, "fresh", 0.68)), "altitude tables end at 3048 m"),
        (lambda: ask(10, [Exposure(0, 20, 60)]), "depth of earlier dive 1 is 0 m"),
        (lambda: ask(10, [Exposure(10, 20, 60), Exposure(10, 0.5, 60)]), "bottom time of earlier dive 2 is 0.5 min"),
        (lambda: ask(10, [Exposure(10, 20, -1)]), "interval after earlier dive 1 is -1 min"),
        (lambda: ask(10, [Exposure(10, 20, 10_081)]), "it must be from 0 to 10080 min"),
        (lambda: ask(10, [Exposure(10, 20, 60, 10.0)]), "oxygen is 10 %"),
        (lambda: handbook_group_after(10, 1441, SEA, [], RULES, hours_since_arrival_h=None), "bottom time is 1441 min"),
    ],
)
def test_a_value_outside_its_interval_is_refused_in_words(question, said):
    with pytest.raises(OutOfRange, match=said):
        question()


# ---- the group after ----


def test_the_group_after_a_dive_is_not_lower_than_before_it():
    previous = [Exposure(18, 30, 60)]
    before = ask(10, previous).handbook_group
    after, checks = handbook_group_after(10, 1, SEA, previous, RULES, hours_since_arrival_h=None)
    assert GROUPS.index(after) >= GROUPS.index(before)
    assert checks == ()


def test_the_group_after_a_dive_past_the_limit_is_none_with_a_stop():
    after, checks = handbook_group_after(30, 26, SEA, [], RULES, hours_since_arrival_h=None)
    assert after is None
    assert [check.outcome for check in checks] == [Outcome.STOP]
    assert "25 min on the 100 fsw row" in checks[0].sentence  # US Navy Rev 7 Table 9-7


# ---- speed ----


def test_an_answer_takes_well_under_five_milliseconds():
    previous = [Exposure(18, 30, 60), Exposure(12, 40, 90), Exposure(10, 30, 60)]
    ask(15, previous, LAKE, 6)
    best = math.inf
    for _ in range(5):
        start = time.perf_counter()
        for _ in range(20):
            ask(15, previous, LAKE, 6)
        best = min(best, (time.perf_counter() - start) / 20)
    assert best < 0.005


# ---- what must never lengthen a dive (None counts as infinity) ----

altitudes = st.one_of(st.just(0.0), st.floats(0, 400), st.floats(0, 3048))
places = st.builds(Surroundings, altitudes, st.just(1000.0), st.just("fresh")) | st.builds(
    Surroundings, altitudes, st.floats(1005, 1035), st.just("sea")
)
gases = st.sampled_from([21.0, 28.0, 32.0, 36.0, 40.0])
intervals = st.floats(0, 15) | st.floats(0, 400)
dives = st.builds(Exposure, st.floats(1, 45), st.floats(1, 70), intervals, gases)
chains = st.lists(dives, max_size=4)
settled_or_unknown = st.sampled_from([None, math.inf])
arrivals = st.none() | st.floats(0, 30) | st.just(math.inf)
FIGURELESS = "handbook-not-determinable"


def times(depth_m, previous, place, hours, percent):
    """Return the three times; none where the dive is outside the tables, which is harder than any time."""
    try:
        found = ask(depth_m, previous, place, hours, percent)
    except OutOfRange:
        return (0.0, 0.0, 0.0), True
    given = (found.no_stop_min, found.model_no_stop_min, found.handbook_no_stop_min)
    # A cell without a figure is a refusal that sends the leader to a deeper row; it is no time to compare with.
    return tuple(minutes(value) for value in given), FIGURELESS not in {check.rule for check in found.checks}


def assert_never_longer(harder, easier):
    (hard, _), (easy, comparable) = harder, easier
    assert hard[1] <= easy[1]
    if comparable:
        assert hard[2] <= easy[2]
        assert hard[0] <= easy[0]


@given(st.floats(0.5, 57), st.floats(0.5, 57), chains, places, arrivals, gases)
@settings(deadline=None, max_examples=300)
def test_deeper_is_never_longer(depth_a, depth_b, previous, place, hours, percent):
    shallow, deep = sorted((depth_a, depth_b))
    assert_never_longer(times(deep, previous, place, hours, percent), times(shallow, previous, place, hours, percent))


@given(st.floats(0.5, 45), chains, places, altitudes, arrivals, gases)
@settings(deadline=None, max_examples=300)
def test_higher_is_never_longer(depth_m, previous, place, other_m, hours, percent):
    low_m, high_m = sorted((place.altitude_m, other_m))
    assert_never_longer(
        times(depth_m, previous, replace(place, altitude_m=high_m), hours, percent),
        times(depth_m, previous, replace(place, altitude_m=low_m), hours, percent),
    )


@given(st.floats(0.5, 57), dives, chains, places, arrivals, gases)
@settings(deadline=None, max_examples=300)
def test_one_more_earlier_dive_is_never_longer(depth_m, first, previous, place, hours, percent):
    assert_never_longer(
        times(depth_m, [first, *previous], place, hours, percent), times(depth_m, previous, place, hours, percent)
    )


@given(st.floats(0.5, 57), chains.filter(bool), st.data(), places, settled_or_unknown, gases)
@settings(deadline=None, max_examples=300)
def test_a_longer_or_deeper_earlier_dive_is_never_longer(depth_m, previous, data, place, hours, percent):
    index = data.draw(st.integers(0, len(previous) - 1))
    dive = previous[index]
    longer = replace(dive, bottom_time_min=dive.bottom_time_min + data.draw(st.floats(0, 40)))
    deeper = replace(dive, depth_m=dive.depth_m + data.draw(st.floats(0, 12)))
    easier = times(depth_m, previous, place, hours, percent)
    for harder in (longer, deeper):
        changed = [*previous[:index], harder, *previous[index + 1 :]]
        assert_never_longer(times(depth_m, changed, place, hours, percent), easier)


@given(st.floats(0.5, 57), chains.filter(bool), st.data(), places, settled_or_unknown, gases)
@settings(deadline=None, max_examples=300)
def test_less_time_at_the_surface_is_never_longer(depth_m, previous, data, place, hours, percent):
    """Here arrival is long past or not known: with a given hour of arrival a shorter interval also moves the dives."""
    index = data.draw(st.integers(0, len(previous) - 1))
    dive = previous[index]
    hurried = replace(dive, interval_after_min=data.draw(st.floats(0, dive.interval_after_min)))
    changed = [*previous[:index], hurried, *previous[index + 1 :]]
    assert_never_longer(times(depth_m, changed, place, hours, percent), times(depth_m, previous, place, hours, percent))


@given(st.floats(0.5, 57), chains, places, arrivals, arrivals, gases)
@settings(deadline=None, max_examples=300)
def test_less_time_since_arrival_is_never_longer(depth_m, previous, place, hours_a, hours_b, percent):
    recent, long_ago = sorted((hours_a, hours_b), key=lambda hours: -1 if hours is None else hours)
    assert_never_longer(
        times(depth_m, previous, place, recent, percent), times(depth_m, previous, place, long_ago, percent)
    )


@given(st.floats(0.5, 45), chains, places, arrivals, st.floats(20.9, 40), st.floats(20.9, 40))
@settings(deadline=None, max_examples=200)
def test_less_oxygen_is_never_longer(depth_m, previous, place, hours, percent_a, percent_b):
    lean, rich = sorted((percent_a, percent_b))
    assert_never_longer(times(depth_m, previous, place, hours, lean), times(depth_m, previous, place, hours, rich))
