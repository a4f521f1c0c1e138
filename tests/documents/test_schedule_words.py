from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from sample_schedule import crowded_schedule, sample_schedule

from tripplan.check import Check, Outcome
from tripplan.documents.schedule_words import (
    headline,
    quality_words,
    rest_words,
    schedule_data,
    schedule_text,
    schedule_without_private,
    share_words,
)
from tripplan.planning.schedule import Change


def flat(text: str) -> str:
    return " ".join(text.split())


# ---- how good it is ----


def test_the_headline_says_how_many_and_how_far_from_the_best():
    schedule = sample_schedule()
    # 240 points of 17042 are 1.408 per cent: rounded up, since a better one may be that far away.
    assert headline(schedule) == (
        "17 of 20 dives have a place; best found; at most 1.5 % (240 points) from the best possible."
    )
    best = replace(schedule, status="optimal", bound=schedule.objective, unplaced=())
    assert headline(best) == "All 17 dives have a place; proved best."
    nothing = replace(schedule, status="none", outings=(), objective=0)
    assert headline(nothing) == "None of 3 dives has a place: no schedule was found."


def test_a_schedule_is_called_proved_best_only_where_it_was_proved():
    schedule = replace(sample_schedule(), bound=sample_schedule().objective)
    assert "proved" not in quality_words(schedule)
    assert "proved best" in quality_words(replace(schedule, status="optimal"))


@pytest.mark.parametrize(
    ("share", "words"), [(0.0, "0 %"), (0.0001, "0.1 %"), (0.014, "1.4 %"), (0.0141, "1.5 %"), (1.0, "100 %")]
)
def test_a_distance_from_the_best_is_never_made_smaller(share, words):
    assert share_words(share) == words


@pytest.mark.parametrize(("hours", "words"), [(10.99, "10.9 h"), (11.0, "11 h"), (14.05, "14 h"), (None, "-")])
def test_a_rest_is_never_made_longer(hours, words):
    assert rest_words(hours) == words


# ---- plain values ----


def test_the_values_are_plain_json_with_one_object_for_each_dive():
    schedule = sample_schedule()
    data = schedule_data(schedule)
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    for key in (
        "placed", "unplaced", "status", "gap", "seconds", "seed", "objective", "bound", "terms", "title", "revision",
        "outings", "shore", "fillings", "loads", "moved", "checks", "notes", "trips",
    ):  # fmt: skip
        assert key in data
    assert len(data["placed"]) == 17
    assert sum(data["terms"].values()) == data["objective"]
    assert sum(len(each["dives"]) for each in data["unplaced"]) == 3
    first = data["placed"][0]
    assert first == {
        "group": "Petrels",
        "dive": 1,
        "course_dive": 1,
        "day": "2026-12-07",
        "site": "gull-cove",
        "place": "Sand bay",
        "entry": "2026-12-07T09:30:00-01:00",
        "exit": "2026-12-07T10:07:00-01:00",
        "exit_by": "2026-12-07T10:17:00-01:00",
        "depth_m": 6,
        "minutes": 25,
        "crew": ["Ines Faro", "Asha Rao"],
        "leader": "Ines Faro",
        "assistants": ["Asha Rao"],
        "divers": ["Ruben Costa", "Zoe Carter"],
        "shore": ["Greta Holm", "Yusuf Demir"],
        "vehicles": ["Blue van"],
        "outing": "Petrels: 1,2",
    }


def test_times_are_read_back_to_the_same_instant():
    schedule = sample_schedule()
    data = schedule_data(schedule)
    dives = [dive for outing in schedule.outings for dive in outing.dives]
    for said, dive in zip(data["placed"], dives, strict=True):
        assert datetime.fromisoformat(said["entry"]).astimezone(UTC) == dive.entry.astimezone(UTC)
        assert datetime.fromisoformat(said["exit_by"]).astimezone(UTC) == dive.exit_by.astimezone(UTC)
    for said, outing in zip(data["outings"], schedule.outings, strict=True):
        assert datetime.fromisoformat(said["back"]).astimezone(UTC) == outing.back.astimezone(UTC)


def test_what_would_place_a_group_keeps_the_edits_that_are_written():
    schedule = sample_schedule()
    edits = {"crew": {"Asha Rao": {"off": (date(2026, 12, 13),)}}}
    change = Change("It would fit.", "crew", edits)
    data = schedule_data(replace(schedule, unplaced=(replace(schedule.unplaced[0], would_fit_if=(change,)),)))
    assert data["unplaced"][0]["would_fit_if"] == [
        {"sentence": "It would fit.", "kind": "crew", "edits": {"crew": {"Asha Rao": {"off": ["2026-12-13"]}}}}
    ]


def test_trips_say_their_verdict_and_how_many_cautions():
    trips = schedule_data(sample_schedule())["trips"]
    assert trips[0] == {
        "slug": "2026-12-07-gull-cove-1",
        "site": "gull-cove",
        "day": "2026-12-07",
        "outings": ["Petrels: 1,2"],
        "verdict": "caution",
        "cautions": 1,
    }


def test_nothing_placed_has_no_distance_from_the_best():
    data = schedule_data(replace(sample_schedule(), status="none", outings=(), shore=()))
    assert data["gap"] is None
    assert data["placed"] == []


# ---- text ----


@pytest.mark.parametrize("width", [80, 90, 100])
def test_no_line_of_the_text_is_longer_than_the_terminal(width):
    for schedule in (sample_schedule(), crowded_schedule(40)):
        for line in schedule_text(schedule, width).splitlines():
            assert len(line) <= width, line
            assert line == line.rstrip()


@pytest.mark.parametrize(("asked", "taken"), [(20, 80), (500, 100)])
def test_another_width_is_taken_as_the_nearest(asked, taken):
    assert schedule_text(sample_schedule(), asked) == schedule_text(sample_schedule(), taken)


def test_the_text_holds_days_outings_people_work_and_what_has_no_place():
    schedule = sample_schedule()
    text = schedule_text(schedule)
    lines = text.splitlines()
    assert lines[0] == lines[-1] == "DEMONSTRATION - NOT FOR USE"
    whole = flat(text)
    for outing in schedule.outings:
        assert f"{outing.leaves:%H:%M} to {outing.back:%H:%M} {outing.title} ({outing.kind_words})" in whole
        for dive in outing.dives:
            times = f"in {dive.entry:%H:%M}, out {dive.exit:%H:%M}, out by {dive.exit_by:%H:%M}"
            assert f"dive {dive.number}: {times}; {dive.depth_m:g} m, {dive.minutes} min" in whole
    for words in (
        "TUESDAY 8 DECEMBER 2026",
        "ashore at Gull Cove: Greta Holm (directs, oxygen), Yusuf Demir; by Old estate car",
        "compressor, Petrels: 8 x 15 l, 12:47 to 14:07",
        "Shearwaters, dives 1 and 2:",
        "Ines Faro would have worked seven days in seven",
        "> It would fit on Sunday at Stair Ledge at 12:20 if Asha Rao worked",
        "No single change that was tried would place it.",
        "CAUTION: All 8 cylinders of 15 l are in use",
        "Terns, dives 1 to 2: Tuesday 8 December instead of Monday 7 December.",
        "The drive to Lake Orrin is not entered",
        "seed 1, 58.4 s",
        "Revision 5c1e0fa2",
        "settled beforehand",
    ):
        assert words in whole, words
    row = next(line.split() for line in lines if line.strip().startswith("Tom Okafor"))
    # Outings on Monday, Wednesday, Thursday and Friday, two dives on Friday; 20, 20, 25, 25 and 25 min and 12 min each.
    assert row == ["Tom", "Okafor", "4", "5", "5", "175", "0", "4", "2", "14", "h"]


def test_control_characters_of_a_name_never_reach_the_terminal():
    schedule = sample_schedule()
    outing = replace(schedule.outings[0], group="\x1b[31mred\x07", leader="a\nb")
    load = replace(schedule.loads[0], person="\x1b[2Jx")
    text = schedule_text(replace(schedule, outings=(outing,), loads=(load,)))
    assert all(character == "\n" or character.isprintable() for character in text)


def test_days_without_an_outing_are_said():
    assert "SUNDAY 13 DECEMBER 2026\n  No outing.\n" in schedule_text(sample_schedule())


# ---- what everybody may read ----


def test_a_sentence_about_health_is_taken_out_everywhere_and_the_rest_stays():
    schedule = sample_schedule()
    assert schedule_without_private(schedule) is schedule
    said = "Keiko Arai has asthma."
    check = Check("medical-form", Outcome.STOP, said, "CENTRE", found="asthma", subject="Keiko Arai")
    unplaced = (replace(schedule.unplaced[0], because=(said, "The site is closed.")),)
    given = replace(schedule, checks=(*schedule.checks, check), unplaced=unplaced, notes=(said,))
    shown = schedule_without_private(given)
    assert "asthma" not in repr((shown.checks, shown.unplaced, shown.notes))
    assert shown.unplaced[0].because[1] == "The site is closed."
    assert shown.checks[:2] == schedule.checks
    assert shown.outings == schedule.outings
