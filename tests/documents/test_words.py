from __future__ import annotations

import math
from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from printed_plans import plan_of

from tripplan.check import Candidate, Contest, Outcome
from tripplan.documents.words import (
    bearing,
    clock,
    contest_words,
    date_words,
    depth_down,
    depth_up,
    distance,
    duration,
    height_down,
    height_up,
    override_words,
    pressure,
    rate_up,
    rules_of,
    source_words,
    travel,
    verdict,
)
from tripplan.rulebook import baseline
from tripplan.sources import SOURCES


def test_the_three_outcomes_are_said_as_what_to_do():
    assert [verdict(outcome) for outcome in Outcome] == ["go", "go with care", "do not go"]


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(0, "0 min"), (59, "59 min"), (60, "1 h"), (85, "1 h 25 min"), (25.9, "25 min"), (None, "not known")],
)
def test_a_time_is_said_in_hours_and_minutes_and_a_part_of_a_minute_is_dropped(minutes, words):
    assert duration(minutes) == words


def test_a_journey_is_rounded_up():
    assert travel(14.2) == "15 min"
    assert travel(None) == "not known"


@given(st.floats(0.01, 120))
def test_a_depth_limit_is_never_said_deeper_than_it_is_and_a_burden_never_shallower(depth_m):
    assert float(depth_down(depth_m).removesuffix(" m")) <= depth_m + 1e-6
    assert float(depth_up(depth_m).removesuffix(" m")) >= depth_m - 1e-6


def test_a_depth_that_is_a_whole_tenth_stays_as_it_is_in_spite_of_binary_fractions():
    assert depth_down(0.1 + 0.2) == "0.3 m"
    assert depth_up(0.1 + 0.2) == "0.3 m"
    assert depth_down(12.0) == "12 m"


@given(st.floats(-3, 15))
def test_the_heights_that_work_are_never_said_wider_than_they_are_nor_a_stream_weaker(value):
    assert float(height_up(value).removesuffix(" m")) >= value - 1e-6
    assert float(height_down(value).removesuffix(" m")) <= value + 1e-6
    assert float(rate_up(value).removesuffix(" kn")) >= value - 1e-6


def test_a_height_keeps_its_tenth():
    assert (height_up(2.0), height_down(2.0), height_up(1.41), height_down(1.49)) == (
        "2.0 m",
        "2.0 m",
        "1.5 m",
        "1.4 m",
    )


@pytest.mark.parametrize(
    "say", [height_up, height_down, rate_up, depth_down, depth_up, distance, pressure, bearing, duration, travel]
)
def test_what_is_not_known_is_said_so_and_never_shown_as_a_number(say):
    assert say(None) == "not known"
    assert say(math.nan) == "not known"


def test_the_two_equal_minutes_of_the_night_when_clocks_go_back_are_told_apart():
    # IANA tz database: in the Azores clocks went from 01:00 (UTC+0) back to 00:00 (UTC-1) on 25 October 2026.
    zone = ZoneInfo("Atlantic/Azores")
    first = datetime(2026, 10, 25, 0, 30, tzinfo=zone)
    assert clock(first) == "00:30 (UTC+0000)"
    assert clock(first.replace(fold=1)) == "00:30 (UTC-0100)"
    assert clock(datetime(2026, 10, 25, 1, 30, tzinfo=zone)) == "01:30"


def test_a_moment_on_another_day_says_so():
    zone = ZoneInfo("Atlantic/Azores")
    day = date(2026, 12, 5)
    assert clock(datetime(2026, 12, 6, 0, 0, tzinfo=zone), day) == "00:00 next day"
    assert clock(datetime(2026, 12, 4, 23, 50, tzinfo=zone), day) == "23:50 day before"
    assert clock(None, day) == "not known"


def test_a_date_carries_its_weekday():
    # Almanac: 1 January 2000 was a Saturday.
    assert date_words(date(2000, 1, 1)) == "Saturday 1 January 2000"


def test_a_bearing_names_its_compass_point():
    assert bearing(0) == "000 degrees (N)"
    assert bearing(247.7) == "248 degrees (WSW)"
    assert bearing(359.9) == "000 degrees (N)"


def test_a_contest_without_candidates_is_not_known_but_one_that_nothing_limits_has_no_limit():
    assert contest_words(Contest("longest bottom time", "min", ())) == "not known"
    nothing = Candidate("handbook", None, "handbook no-stop limit at 3 m: none", "NAVY_7")
    assert contest_words(Contest("longest bottom time", "min", (nothing,))) == "no limit"
    some = Candidate("place", 18.78, "18.78 m at its deepest", "SITE_FILE")
    assert contest_words(Contest("depth limit", "m", (some,))) == "18.7 m"


@pytest.mark.parametrize("key", sorted(SOURCES))
def test_every_source_is_said_with_its_title_and_how_sure_it_is(key):
    words = source_words(key)
    assert SOURCES[key].title in words
    assert f"[{SOURCES[key].provenance}]" in words


@pytest.mark.parametrize("key", sorted(baseline().rules))
def test_every_rule_is_said_with_its_title_its_source_and_how_sure_it_is(key):
    rule = baseline()[key]
    words = source_words(key)
    assert rule.title in words
    assert SOURCES[rule.source].title in words
    assert f"[{rule.provenance}]" in words


def test_a_source_that_nobody_wrote_down_is_said_to_be_unknown():
    assert source_words("hearsay.of_the_day") == "hearsay.of_the_day [source not known]"


def test_a_replaced_rule_says_what_it_was_and_why():
    plan = plan_of("saturday-ledge")
    rule = next(rule for rule in plan.overrides if rule.key == "overdue.after_min")
    # sites/centre/rules.toml: 8 minutes, baseline 10, with this reason.
    assert "8 min instead of 10 min" in override_words(rule)
    assert "the coastguard station is forty minutes away" in override_words(rule)
    assert "in place of 10 min" in source_words("overdue.after_min", rules_of(plan))
    assert "the centre's own" not in source_words("overdue.after_min")
