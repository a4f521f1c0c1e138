from __future__ import annotations

from dataclasses import replace

import pytest
from printed_plans import HOSTILE, REQUESTS, hostile_plan, parts_of, plan_of
from sample_plan import sample_plan

from tripplan.documents.text import plan_text
from tripplan.documents.words import DEMONSTRATION, clock, depth_down, source_words

ALL = (*REQUESTS, "stop")


def flat(text: str) -> str:
    """Without white space: where a line breaks does not matter."""
    return "".join(text.split())


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("width", [40, 80, 100])
def test_no_line_is_wider_than_asked(name, width):
    assert max(map(len, plan_text(plan_of(name), width).splitlines())) <= width


@pytest.mark.parametrize("name", ALL)
def test_every_stop_and_every_caution_is_said_in_full_with_its_source(name):
    plan = plan_of(name)
    text = flat(plan_text(plan))
    for check in plan.checks:
        assert all(flat(part) in text for part in parts_of(check)), check
    for check in plan.stops:
        assert flat(source_words(check.source)) in text


@pytest.mark.parametrize("name", ALL)
def test_each_dive_has_its_times_and_limits_with_all_candidates(name):
    plan = plan_of(name)
    text = flat(plan_text(plan))
    for dive in plan.dives:
        assert flat(f"in {clock(dive.entry)}, down {clock(dive.descent)}, out {clock(dive.exit)}") in text
        assert flat(f"OUT BY {clock(dive.exit_by)}, overdue from {clock(dive.overdue_at)}") in text
        assert flat(f"Depth limit {depth_down(dive.depth.value)} - {dive.depth.binding.sentence}") in text
        for candidate in dive.depth.candidates + dive.time.candidates:
            assert flat(candidate.sentence) in text
        for person in dive.people:
            assert flat(person.name) in text


@pytest.mark.parametrize("name", ALL)
def test_whom_to_call_and_where_we_are_can_be_read(name):
    plan = plan_of(name)
    text = flat(plan_text(plan))
    emergency = plan.emergency
    for line in (*emergency.contacts, *emergency.care):
        assert flat(line.number) in text
    for words in (emergency.position_words, emergency.position_spoken, emergency.what_to_say, emergency.geo_uri):
        assert flat(words) in text


def test_the_tide_is_said_with_its_station_times_and_heights():
    lines = " ".join(plan_text(sample_plan()).split())
    for words in (
        "Low water 05:18, 0.8 m High water 11:30, 3.6 m",
        "Skerry station, heights above chart datum.",
        "Going in, tide from 1.3 m to 3.4 m",
        "Stream up to 0.6 kn; 0.5 kn allowed",
    ):
        assert words in lines


def test_a_plan_with_plain_names_needs_no_letters_beyond_ascii_but_the_degree_sign():
    assert {letter for letter in plan_text(sample_plan()) if not letter.isascii()} <= {"°"}


def test_the_parts_stand_in_the_order_in_which_they_are_read():
    lines = plan_text(plan_of("beginners-cove")).splitlines()
    heads = (
        "THE DAY",
        "THE DIVES",
        "WHAT COULD CHANGE THE ANSWER",
        "ON ARRIVAL, LOOK AND TICK",
        "IF IT GOES WRONG",
        "BRIEFING",
    )
    places = [lines.index(head) for head in heads]
    assert places == sorted(places)


def test_the_first_lines_say_whether_to_go():
    first = plan_text(plan_of("stop")).splitlines()[:2]
    assert first == [DEMONSTRATION, "*** DO NOT GO ***"]
    assert "*** GO WITH CARE ***" in plan_text(plan_of("lake-altitude")).splitlines()[:2]


def test_the_demonstration_says_so_first_and_last_and_a_real_plan_does_not():
    plan = plan_of("lake-altitude")
    lines = plan_text(plan).splitlines()
    assert lines[0] == lines[-1] == DEMONSTRATION
    assert DEMONSTRATION not in plan_text(replace(plan, demonstration=False))


def test_a_dive_without_a_minute_is_said_to_have_none():
    plan = plan_of("saturday-ledge")
    text = plan_text(replace(plan, dives=(replace(plan.dives[0], entry=None, exit_by=None, bottom_time_min=None),)))
    assert "NO TIME" in text
    assert "OUT BY" not in text


def test_control_characters_in_a_name_never_reach_the_terminal():
    plan = replace(plan_of("saturday-ledge"), title="Trip\x1b[31m to\x07 Ledge")
    assert "\x1b" not in plan_text(plan) and "\x07" not in plan_text(plan)


def test_odd_names_are_printed_as_they_are():
    text = flat(plan_text(hostile_plan()))
    for name in HOSTILE.values():
        assert flat(name) in text


def test_a_long_label_is_kept_apart_from_its_words():
    plan = plan_of("saturday-ledge")
    long = replace(plan.dives[0], group="G" * 40)
    text = plan_text(replace(plan, dives=(long,)))
    assert f"{'G' * 40}, dive 1 in {clock(long.entry)}" in " ".join(text.split())
