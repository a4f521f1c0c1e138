"""The record of a day on paper: every field that the codes ask for, as it was written, a line where nobody wrote."""

from __future__ import annotations

import csv
import io
import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import count as numbers
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from printed_plans import folder, plan_of
from pypdf import PdfReader

from tripplan.documents.data import plan_json
from tripplan.documents.dive_record import (
    COLUMNS,
    KeptDay,
    groups_of,
    max_operating_depth_m,
    record_csv,
    rows_csv,
    tables_of,
)
from tripplan.documents.record_sheet import record_sheet_pdf, record_values
from tripplan.documents.words import DEMONSTRATION
from tripplan.errors import OutOfRange
from tripplan.planning.event import Event
from tripplan.planning.plan import DayPlan
from tripplan.rulebook import Rule, RuleBook, baseline

DAY = date(2026, 12, 12)
NOW = datetime(2026, 12, 12, 16, 0, tzinfo=UTC)  # 15:00 at the site, an hour behind in winter
EXPECTED = ("Greta Holm", "Ines Faro")
DIVERS = ("Luca Benti", "Nadia Petit", "Owen Marsh", "Keiko Arai", "Hana Novak")
PAPERS = {"a4": (595, 842), "letter": (612, 792)}  # points: ISO 216, ANSI
POPPLER = shutil.which("pdftotext") and shutil.which("pdftoppm")
needs_poppler = pytest.mark.skipif(not POPPLER, reason="poppler's tools are not installed")
MARKS = numbers(1)


# ---- a day with known entries ----


def entry(clock: str, kind: str, person: str = "", **other: Any) -> Event:
    """Return an entry of Terns, dive 1, by the clock of the site."""
    hour, minute = map(int, clock.split(":"))
    at = datetime(2026, 12, 12, hour, minute, tzinfo=UTC) + timedelta(hours=1)
    own = {"group": "Terns", "dive": 1} if kind not in ("assembled", "left", "count", "incident", "note") else {}
    given_: dict[str, Any] = {"uid": f"entry-{next(MARKS):06d}", "by": "Greta Holm", **own, **other}
    return Event(at=at, day=DAY, site="stair-ledge", kind=kind, person=person, **given_)  # type: ignore[arg-type]


def whole(person: str, number: int, **other: Any) -> list[Event]:
    """Return all that is asked for of a diver, with values that differ from each other diver's."""
    return [
        entry("09:30", "assembled", person),
        entry(f"11:5{number}", "in", person, **other),
        entry(f"12:3{number}", "out", person, **other),
        entry("11:40", "start_bar", person, value=205.0 + number, **other),
        entry("12:40", "end_bar", person, value=75.0 + number, **other),
        entry("12:40", "depth", person, value=16.1 + number / 10, **other),
        entry("12:41", "discomfort", person, text="none" if number else "Left ear slow, well again", **other),
        entry(f"12:4{number}", "signed", person, **{"by": person, "identity": f"VSD-{number}", **other}),
        entry(f"12:5{number}", "verified", person, **{"by": "Ines Faro", "identity": "INS-72", **other}),
        entry("14:10", "left", person),
    ]


def counted(clock: str, moment: str, people: int, by: str) -> Event:
    return entry(clock, "count", text=moment, value=float(people), by=by)


COUNTS = (
    counted("09:40", "assemble", 5, "Greta Holm"),
    counted("09:41", "assemble", 5, "Ines Faro"),
    counted("11:44", "before entry", 4, "Greta Holm"),
    counted("11:45", "before entry", 5, "Ines Faro"),
    counted("11:46", "before entry", 5, "Greta Holm"),
    counted("11:47", "before entry", 5, "Ines Faro"),
    counted("12:36", "after exit", 5, "Greta Holm"),
    counted("12:37", "after exit", 5, "Ines Faro"),
)
SEEN = entry("11:30", "note", text="Waves 0.3 m at the steps, visibility 6 m, no stream")
INCIDENT = entry(
    "12:44", "incident", "Owen Marsh", text="Owen Marsh slipped on the steps and cut a hand.", by="Ines Faro"
)
ALL = (*(event for number, name in enumerate(DIVERS) for event in whole(name, number)), *COUNTS, SEEN, INCIDENT)


@cache
def planned() -> DayPlan:
    """Return the demonstration's plan with the numbers of its first dive set, so that the tests can name them."""
    plan = plan_of("saturday-ledge")
    first = plan.dives[0]
    entered = datetime(2026, 12, 12, 11, 50, tzinfo=first.entry.tzinfo if first.entry else None)
    dive = replace(
        first,
        pairs=(("Nadia Petit", "Hana Novak"), ("Owen Marsh", "Keiko Arai")),
        entry=entered,
        descent=entered + timedelta(minutes=4),
        exit=entered + timedelta(minutes=43),
        exit_by=entered + timedelta(minutes=51),
        depth_m=18.0,
        bottom_time_min=30,
        water_time_min=43,
        people=tuple(replace(p, group_before=None, group_after="F", no_stop_min=38) for p in first.people),
    )
    return replace(plan, dives=(dive, *plan.dives[1:]))


def kept(events: Sequence[Event] = ALL, plan: DayPlan | None = None, **changes: Any) -> KeptDay:
    made = planned() if plan is None else plan
    day = KeptDay(DAY, "stair-ledge", "Stair Ledge", made.timezone, True, True, (plan_json(made),), tuple(events))
    return replace(day, **changes)


def values(day: KeptDay, rules: RuleBook | None = None) -> dict[str, Any]:
    return record_values(day, EXPECTED, NOW, rules or baseline())


def pdf_of(day: KeptDay, paper: str = "a4") -> bytes:
    return record_sheet_pdf(day, EXPECTED, NOW, baseline(), paper)


def flat(text: str) -> str:
    """Without white space and break marks: where a line breaks does not matter."""
    return "".join(re.sub("[\u200b\u200e\u2066-\u2069]", "", text).split())


@cache
def printed(paper: str = "a4") -> bytes:
    return pdf_of(kept(), paper)


def words_of(pdf: bytes) -> str:
    """The text of a PDF in the order of its content, by poppler; the mark across each page stands apart."""
    out = subprocess.run(["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True).stdout
    return flat(out.decode())


@cache
def text_of(paper: str = "a4") -> str:
    return words_of(printed(paper))


def cards(day: KeptDay) -> dict[str, dict[str, Any]]:
    return {card["name"]: card for dive in values(day)["dives"] for card in dive["people"]}


def cell(card: dict[str, Any], label: str) -> dict[str, Any]:
    (found,) = (each for each in card["cells"] if each["label"].startswith(label))
    return found


# ---- what the codes ask for ----

# What a dive record and a head-count sheet must hold: the union of what the codes ask for. QLD: Queensland Safety in
# Recreational Water Activities Regulation 2024 (and, where said, 2011), WHS: Australian model WHS Regulations, part
# 4.8, both read; "common practice" where no code was read that asks for it. Beside each, what of the known day above
# must stand in the text of the sheet.
DIVE_RECORD = (
    ("name of each diver", "QLD s 23", list(DIVERS)),
    ("pair or group", "QLD s 23", ["Terns, dive 1; with Hana Novak", "Terns, dive 1; with Nadia Petit"]),
    ("date", "QLD s 23", ["Saturday 12 December 2026"]),
    ("location", "QLD s 23", ["Stair Ledge, 46° 49.980' N, 016° 58.200' W", "Stair Ledge, South wall."]),
    ("supervisor", "QLD s 23, WHS 180", ["Supervisor: Ines Faro (directs), Luca Benti (leads)"]),
    ("verifier", "QLD s 23, WHS 180", ["An authorised person verifies Name: Ines Faro Identity: INS-72"]),
    ("computer used?", "QLD s 23", ["Computer or tables that the diver went by", "computer, which:"]),
    ("tables used?", "QLD s 23", ["tables, which:", "handbook tables, row 60 fsw", "tissue model"]),
    ("time left surface", "QLD s 23", [f"Left surface (went in) 11:5{n} planned 11:50" for n in range(5)]),
    ("time surfaced", "QLD s 23", [f"Surfaced (came out) 12:3{n} planned 12:33" for n in range(5)]),
    ("elapsed time", "QLD s 23", ["Elapsed time 40 min planned 43 min"]),
    ("greatest depth", "QLD s 23", [f"Greatest depth {16.1 + n / 10:.1f} m planned 18 m" for n in range(5)]),
    ("repetitive group", "QLD s 24, WHS 180", ["Repetitive group before none", "group after F, by the plan"]),
    ("surface interval", "QLD s 24, WHS 180", ["Surface interval before no earlier dive is written here today"]),
    ("factor", "QLD s 24", ["Repetitive factor not written"]),
    ("oxygen fraction", "QLD s 25", ["Oxygen in the gas 21 %, by the plan"]),
    # Air to 1.4 bar: 1.4 / 0.21 = 6.667 bar; less 1.013 bar, over 1027 kg/m3 times 9.80665 m/s2: 56.13 m.
    ("maximum operating depth", "QLD s 25", ["Maximum operating depth 56.1 m, by the plan"]),
    ("start pressure", "common practice", [f"Gauge at the start {205 + n} bar" for n in range(5)]),
    # 15 l times 130 bar is 1950 l.
    ("end pressure", "common practice", [f"Gauge at the end {75 + n} bar; 1950 l used" for n in range(5)]),
    ("discomfort", "QLD s 23", ["“none” is an answer Left ear slow, well again", "“none” is an answer none"]),
    ("incident or injury", "QLD s 23", ["Owen Marsh slipped on the steps and cut a hand."]),
    ("diver signs", "QLD s 26, WHS 181", [f"Name: {DIVERS[n]} Identity: VSD-{n} Time: 12:4{n}" for n in range(5)]),
    ("authorised person's", "QLD s 26, WHS 181", [f"Name: Ines Faro Identity: INS-72 Time: 12:5{n}" for n in range(5)]),
    ("conditions as forecast", "common practice", ["No forecast was used.", "usually 13.8 C in December"]),
    ("and as they were", "common practice", ["11:30, Greta Holm: Waves 0.3 m at the steps, visibility 6 m, no stream"]),
    # An incident on a day of dives: five years from the last entry, by 29 CFR 1910.440.
    ("how long it is kept", "WHS 181, 182; 29 CFR 1910.440", ["Until Friday 12 December 2031 at least"]),
)  # fmt: skip
HEAD_COUNT = (
    ("named counters", "QLD 2011 s 6, WHS 181", ["Assembled Greta Holm 09:40: 5 Ines Faro 09:41: 5 5 YES"]),
    ("before entry", "QLD 2011 s 6, WHS 181", ["Before entry: Terns, dive 1 Greta Holm 11:44: 4 Ines Faro 11:45: 5"]),
    ("on each exit", "QLD 2011 s 6, WHS 181", ["After exit: Terns, dive 1 Greta Holm 12:36: 5 Ines Faro 12:37: 5"]),
    ("before leaving", "QLD 2011 s 6, WHS 181", ["Before leaving not written"]),
    ("numbers agree Y or N", "QLD s 16", ["5 NO: recount"]),
    ("recount", "QLD s 16", ["Recount Greta Holm 11:46: 5 Ines Faro 11:47: 5 5 YES", "Recount, by whom, when"]),
    ("time emergency plan started", "QLD s 16", ["Time at which the emergency plan was started"]),
    ("signed in and out", "common practice", ["Luca Benti 09:30 14:10", "NO: of 10 people, 5 have no entry"]),
    ("observers, guardians", "common practice", ["Observers, and guardians of those under age"]),
    ("vehicles and keys", "common practice", ["Vehicles and keys checked before the site was called clear"]),
)  # fmt: skip


@needs_poppler
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("field", "source", "wanted"), DIVE_RECORD + HEAD_COUNT)
def test_every_field_that_the_codes_ask_for_stands_on_the_sheet_as_it_was_written(field, source, wanted, paper):
    for words in wanted:
        assert flat(words) in text_of(paper), (field, source)


@needs_poppler
def test_each_diver_has_a_part_of_their_own_with_only_their_own_values():
    text = text_of()
    starts = [text.index(flat(f"{name}Terns, dive 1;")) for name in DIVERS]
    assert starts == sorted(starts)
    for number, (start, end) in enumerate(zip(starts, [*starts[1:], len(text)], strict=True)):
        own = text[start:end]
        assert own.count(flat("Left surface (went in)")) == 1
        for words in (f"Gauge at the start {205 + number} bar", f"VSD-{number}", f"12:5{number}"):
            assert flat(words) in own


# ---- what nobody wrote ----

KINDS = {
    "in": ("Left surface", "time in not written down"),
    "out": ("Surfaced", "time out not written down"),
    "depth": ("Greatest depth", "greatest depth not written down"),
    "start_bar": ("Gauge at the start", "pressure before the dive not written down"),
    "end_bar": ("Gauge at the end", "pressure after the dive not written down"),
}


def without(kind: str, person: str = "Nadia Petit") -> KeptDay:
    return kept([event for event in ALL if not (event.kind == kind and event.person == person)])


@pytest.mark.parametrize("kind", KINDS)
def test_a_value_that_nobody_wrote_is_a_gap_with_a_line_and_is_told(kind):
    label, told = KINDS[kind]
    for name, card in cards(without(kind)).items():
        assert cell(card, label)["gap"] == (name == "Nadia Petit")
        assert (told in card["missing"].lower()) == (name == "Nadia Petit")
    assert cell(cards(without(kind))["Nadia Petit"], label)["value"] == "not written"
    assert "1 of 5 records" in " ".join(values(without(kind))["open"])


@pytest.mark.parametrize(("kind", "which"), [("signed", 0), ("verified", 1)])
def test_a_signature_that_is_missing_has_lines_for_name_identity_and_time(kind, which):
    card = cards(without(kind))["Nadia Petit"]
    assert [line["gap"] for line in card["signatures"][which]["lines"]] == [True, True, True]
    assert [line["gap"] for line in card["signatures"][1 - which]["lines"]] == [False, False, False]
    unnamed = [replace(event, identity="") if event.kind == kind else event for event in ALL]
    card = cards(kept(unnamed))["Nadia Petit"]
    assert [line["gap"] for line in card["signatures"][which]["lines"]] == [False, True, False]
    assert "has no identity" in card["missing"]


def test_nobody_asked_is_not_the_answer_none():
    assert not cards(kept())["Nadia Petit"]["felt"]["gap"]
    card = cards(without("discomfort"))["Nadia Petit"]
    assert card["felt"]["gap"] and card["felt"]["value"] == "not written: nobody asked."


@given(st.sets(st.sampled_from([event.uid for event in ALL])))
@settings(max_examples=40, deadline=None)
def test_a_field_is_filled_exactly_where_its_entry_is_there(chosen):
    events = [event for event in ALL if event.uid in chosen]
    for name, card in cards(kept(events)).items():
        written = {event.kind for event in events if event.person == name}
        for kind in ("depth", "start_bar", "end_bar", "in"):
            assert cell(card, KINDS[kind][0])["gap"] == (kind not in written)
        assert cell(card, "Elapsed")["gap"] == (not {"in", "out"} <= written)
        assert card["felt"]["gap"] == ("discomfort" not in written)
        for kind, signature in zip(("signed", "verified"), card["signatures"], strict=True):
            assert all(line["gap"] == (kind not in written) for line in signature["lines"])
        complete = {"in", "out", "depth", "start_bar", "end_bar", "discomfort", "signed", "verified"} <= written
        assert bool(card["missing"]) != complete


@needs_poppler
def test_the_sheet_of_a_day_without_an_entry_names_every_planned_dive_as_not_written():
    empty = kept([], begun=False)
    text = words_of(pdf_of(empty))
    assert flat("No entry says that a dive was made.") in text
    for dive in ("Terns, dive 1", "Terns, dive 2", "Skuas, dive 1"):
        assert flat(f"{dive}: planned in") in text
    assert text.count(flat("No entry says that it was made, and none that it was not.")) == 3
    assert flat("not kept yet: nothing was written on the day") in text
    assert flat("Nobody has counted yet.") in text and flat("What the site was really like is not written.") in text


def test_a_planned_dive_of_which_nothing_is_written_does_not_vanish_among_those_that_were_made():
    assert [each["name"] for each in values(kept())["unmade"]] == ["Skuas, dive 1", "Terns, dive 2"]


def test_a_day_without_any_plan_says_so_wherever_the_plan_would_stand():
    found = values(kept(plans=()))
    assert "no plan was kept" in found["revision"]
    card = found["dives"][0]["people"][0]
    for label in ("Repetitive group before", "Repetitive group after", "Oxygen", "Maximum operating depth"):
        assert cell(card, label)["gap"] and cell(card, label)["value"] == "not written"
    assert any("not in the plan" in line["words"] for line in card["beside"])


def test_a_kept_plan_that_cannot_be_read_is_told_and_the_entries_still_stand():
    found = values(kept(plans=({**plan_json(plan_of("saturday-ledge")), "dives": [{"group": "Terns"}]},)))
    assert "cannot be read" in found["faults"][0]
    assert [card["name"] for card in found["dives"][0]["people"]] == list(DIVERS)


# ---- what must not show as a fact ----


@needs_poppler
def test_what_was_taken_back_or_replaced_is_not_on_the_sheet():
    wrong = [
        entry("12:40", "depth", "Nadia Petit", value=29.9),
        entry("12:42", "discomfort", "Nadia Petit", text="Giddy and sick"),
        entry("12:43", "incident", text="The float went adrift"),
        entry("12:45", "note", text="Visibility 19 m"),
        counted("14:00", "before leaving", 417, "Greta Holm"),
        entry("13:00", "in", "Tom Okafor", group="Ghosts"),
    ]
    back = [entry("15:00", "withdrawn", text="not so", corrects=event.uid, group="", dive=0) for event in wrong]
    text = words_of(pdf_of(kept((*ALL, *wrong, *back))))
    for words in ("29.9", "Giddy", "adrift", "Visibility 19", "417", "Ghosts", "not so"):
        assert words.replace(" ", "") not in text
    assert flat("6 of them taken back or replaced, which do not count here") in text
    assert cell(cards(kept((*ALL, *wrong, *back)))["Nadia Petit"], "Greatest depth")["value"] == "16.2 m"


# ---- the plan's own numbers after what was done ----


def deeper(person: str = "Nadia Petit") -> KeptDay:
    return kept((*ALL, entry("12:41", "depth", person, value=19.0)))


def test_the_group_after_a_dive_that_was_deeper_than_planned_does_not_hold():
    card = cards(deeper())["Nadia Petit"]
    after = cell(card, "Repetitive group after")
    assert after["gap"] and after["value"] == "The plan’s F does not hold: read the tables."
    assert not cell(card, "Repetitive group before")["gap"]  # the first dive of the day
    (row,) = (r for r in csv.DictReader(io.StringIO(record_csv(deeper().actual, "x"))) if r["name"] == "Nadia Petit")
    assert row["group_after"] == ""
    assert not cell(cards(deeper())["Hana Novak"], "Repetitive group after")["gap"]


def test_the_group_before_a_second_dive_holds_only_where_the_first_was_as_planned():
    second = [
        entry("13:40", "in", "Nadia Petit", dive=2),
        entry("14:20", "out", "Nadia Petit", dive=2),
        entry("14:21", "depth", "Nadia Petit", value=13.0, dive=2),
    ]
    for day, holds in ((kept((*ALL, *second)), True), (kept((*deeper().events, *second)), False)):
        (dive,) = (each for each in day.actual if each.person == "Nadia Petit" and each.number == 2)
        assert groups_of(dive).before_holds is holds
        assert dive.planned is not None and groups_of(dive).before == dive.planned.group_before is not None


@pytest.mark.parametrize("missing", ["depth", "out", "in"])
def test_no_group_after_is_given_where_depth_or_time_is_not_written(missing):
    (dive,) = (each for each in without(missing).actual if each.person == "Nadia Petit")
    assert not groups_of(dive).after_holds


def with_mixes() -> DayPlan:
    """Return the plan with 32 % for all of the first dive but one, whose gas is air."""
    plan = planned()
    first = plan.dives[0]
    people = tuple(replace(p, oxygen_percent=21.0 if p.name == "Hana Novak" else 32.0) for p in first.people)
    # 1.4 / 0.32 = 4.375 bar; less 1.013 bar, over 1027 kg/m3 times 9.80665 m/s2: 33.38 m, rounded down.
    candidates = tuple(
        replace(c, value=33.3, sentence="32 %: 33.3 m") if c.name == "gas" else c for c in first.depth.candidates
    )
    depth = replace(first.depth, candidates=candidates)
    return replace(plan, dives=(replace(first, people=people, oxygen_percent=32.0, depth=depth), *plan.dives[1:]))


def test_enriched_air_has_its_own_depth_and_a_line_for_the_analysis_and_a_leaner_gas_is_given_no_more():
    found = cards(kept(plan=with_mixes()))
    rich, lean = found["Nadia Petit"], found["Hana Novak"]
    assert cell(rich, "Oxygen")["value"] == "32 %, by the plan; analysed, %:" and cell(rich, "Oxygen")["gap"]
    assert cell(rich, "Maximum")["value"] == "33.3 m, by the plan"
    assert cell(lean, "Oxygen")["value"] == "21 %, by the plan"
    assert cell(lean, "Maximum")["value"] == "33.3 m, by the plan"
    assert cell(lean, "Maximum")["planned"] == "of the dive’s richest gas"


def test_depths_are_rounded_up_and_pressures_left_down():
    odd = [entry("12:41", "depth", "Nadia Petit", value=17.01), entry("12:41", "end_bar", "Nadia Petit", value=70.49)]
    card = cards(kept((*ALL, *odd)))["Nadia Petit"]
    assert cell(card, "Greatest depth")["value"] == "17.1 m"
    assert cell(card, "Gauge at the end")["value"].startswith("70.4 bar")


def test_what_was_not_as_planned_stands_once_and_a_stop_is_said_on_top():
    day = kept((*ALL, entry("12:41", "discomfort", "Keiko Arai", text="Tingling in the arm")))
    found = values(day)
    assert any("stop" in line and "Keiko Arai" in line for line in found["open"])
    lines = cards(day)["Keiko Arai"]["beside"]
    assert [line["outcome"] for line in lines] == ["stop"] and "Tingling" in lines[0]["words"]
    assert not lines[0]["words"].startswith("Keiko Arai, Terns")


# ---- counting ----


def count_rows(day: KeptDay) -> list[tuple[str, ...]]:
    return [(row["label"], *row["cells"]) for row in values(day)["counts"]["rows"]]


def test_a_count_that_one_person_made_alone_waits_for_a_second_and_agrees_with_nothing():
    rows = count_rows(kept([event for event in ALL if event.by != "Ines Faro" or event.kind != "count"]))
    assert rows[0][:6] == ("Assembled", "Greta Holm", "09:40: 5", "", "", "")
    assert not any("YES" in row[-1] for row in rows)


def test_every_moment_that_has_to_be_counted_has_a_row_also_without_a_count():
    rows = count_rows(kept([event for event in ALL if event.kind != "count"]))
    assert [row[0] for row in rows] == [
        "Assembled", "Before entry: Terns, dive 1", "After exit: Terns, dive 1", "Before leaving",
    ]  # fmt: skip
    assert all(set(row[1:]) == {""} for row in rows)


def test_a_count_before_the_first_dive_is_not_good_for_the_second():
    second = [entry("13:40", "in", "Nadia Petit", dive=2), entry("14:02", "out", "Nadia Petit", dive=2)]
    rows = {row[0]: row for row in count_rows(kept((*ALL, *second)))}
    assert rows["Before entry: Terns, dive 1"][1] == "Greta Holm"
    assert set(rows["Before entry: Terns, dive 2"][1:]) == {""}
    assert set(rows["After exit: Terns, dive 2"][1:]) == {""}


def test_one_count_is_good_for_two_groups_that_go_in_after_it():
    other = [
        entry("11:52", "in", "Asha Rao", group="Skuas"),
        entry("12:20", "out", "Asha Rao", group="Skuas"),
    ]
    labels = [row[0] for row in count_rows(kept((*ALL, *other)))]
    assert "Before entry: Terns, dive 1; Skuas, dive 1" in labels
    assert "After exit: Terns, dive 1; Skuas, dive 1" in labels


def test_a_count_of_another_moment_is_not_lost():
    late = counted("13:00", "at the cars", 5, "Yusuf Demir")
    labels = [row[0] for row in count_rows(kept((*ALL, late)))]
    assert labels[-1] == "Another count: at the cars"


@given(st.sets(st.sampled_from([event.uid for event in COUNTS]), min_size=1))
@settings(max_examples=40, deadline=None)
def test_every_count_stands_in_the_table_once(chosen):
    events = [event for event in ALL if event.kind != "count" or event.uid in chosen]
    shown = [(row[n], row[n + 1]) for row in count_rows(kept(events)) for n in (1, 3) if row[n]]
    wanted = [(e.by, f"{e.at - timedelta(hours=1):%H:%M}: {e.value:g}") for e in events if e.kind == "count"]
    assert sorted(shown) == sorted(wanted)


def test_who_came_and_did_not_leave_is_not_signed_out():
    found = values(kept([event for event in ALL if not (event.kind == "left" and event.person == "Hana Novak")]))
    rows = {row["name"]: row for row in found["signed_in"]["rows"]}
    assert (rows["Hana Novak"]["in"], rows["Hana Novak"]["out"]) == ("09:30", "")
    assert (rows["Luca Benti"]["in"], rows["Luca Benti"]["out"]) == ("09:30", "14:10")
    assert rows["Greta Holm"] == {"name": "Greta Holm", "in": "", "out": "", "note": ""}  # expected, never written
    assert not found["signed_in"]["complete"] and "site is not clear" in " ".join(found["open"])


def test_who_came_back_after_leaving_is_not_signed_out_and_who_is_in_the_water_is_said_so_on_top():
    back = [entry("14:30", "assembled", "Luca Benti"), entry("14:31", "in", "Hana Novak", dive=2)]
    found = values(kept((*ALL, *back)))
    rows = {row["name"]: row for row in found["signed_in"]["rows"]}
    assert rows["Luca Benti"]["out"] == "" and rows["Hana Novak"]["out"] == ""
    assert rows["Hana Novak"]["note"] == "IN THE WATER by the entries"
    assert any("IN THE WATER" in line and "Hana Novak" in line for line in found["open"])


def test_everybody_is_signed_in_and_out_only_when_each_has_both_entries():
    rest = ("Greta Holm", "Ines Faro", "Asha Rao", "Bruno Silva", "Eric Lund")
    both = [entry(clock, kind, name) for name in rest for clock, kind in (("09:00", "assembled"), ("14:40", "left"))]
    assert values(kept((*ALL, *both)))["signed_in"]["sentence"].startswith("YES: all 10 people")


# ---- incidents, and how long it is kept ----


@needs_poppler
def test_an_incident_has_a_part_of_its_own_with_what_to_keep_and_lines_to_fill():
    text = text_of()
    part = text[text.rindex(flat("Incident, 12:44")) :]
    for words in (
        "Written by Ines Faro", "People Owen Marsh", "Owen Marsh slipped on the steps and cut a hand.",
        "Computer kept by, where:", "Gear kept as it was, not taken apart, by, where:", "Witnesses: names and numbers:",
        "Who was told, when, by whom:", "Keep the gear assembled. Do not take it apart or rinse it.",
        "Keep the dive computer with the casualty.",
    ):  # fmt: skip
        assert flat(words) in part, words
    assert flat("(Incident at 12:44: see its own part of this sheet.)") in text


@needs_poppler
def test_a_day_without_an_incident_has_no_such_part():
    text = words_of(pdf_of(kept([event for event in ALL if event.kind != "incident"])))
    assert "Witnesses" not in text and flat("no incident is written") in text


def book(**years: float) -> RuleBook:
    rules = {key: rule for key, rule in baseline().rules.items() if not key.startswith("retention.")}
    for name, value in years.items():
        key = f"retention.{name}"
        rules[key] = Rule(key, value, "years", f"Years of {name}", "AU_WHS", "verified")
    return RuleBook(rules)


YEARS = {"record_years": 1.0, "incident_years": 2.0, "decompression_incident_years": 5.0}
CALM = [replace(event, text="none") if event.kind == "discomfort" else event for event in ALL if event != INCIDENT]


@pytest.mark.parametrize(
    ("events", "until"),
    [
        (CALM, "12 December 2027"),
        ([INCIDENT], "12 December 2028"),  # nobody dived
        ([*CALM, INCIDENT], "12 December 2031"),
        ([*CALM, entry("12:41", "discomfort", "Keiko Arai", text="Tingling")], "12 December 2031"),
    ],
)
def test_the_sheet_is_kept_for_the_longest_time_that_a_rule_asks_for_such_a_day(events, until):
    assert until in values(kept(events), book(**YEARS))["kept_for"]


def test_without_a_rule_the_sheet_does_not_say_how_long_it_is_kept():
    assert values(kept(), book())["kept_for"] == ""


def test_a_year_after_the_last_of_february_is_the_first_of_march():
    leap = date(2028, 2, 29)
    events = [
        replace(event, day=leap, at=event.at.replace(year=2028, month=2, day=29)) for event in CALM if event.person
    ]
    day = replace(kept(events), day=leap, plans=())
    assert "1 March 2029" in values(day, book(**YEARS))["kept_for"]


# ---- the table ----


@given(st.sets(st.sampled_from([event.uid for event in ALL])))
@settings(max_examples=40, deadline=None)
def test_the_table_has_as_many_rows_as_there_were_dives_of_divers(chosen):
    day = kept([event for event in ALL if event.uid in chosen])
    table = record_csv(day.actual, day.site_name, day)
    rows = list(csv.reader(io.StringIO(table)))
    assert rows[0] == list(COLUMNS) and len(rows) - 1 == len(day.actual)
    assert all(len(row) == len(COLUMNS) for row in rows)


def test_the_table_holds_the_same_values_as_the_sheet():
    day = kept()
    rows = {row["name"]: row for row in csv.DictReader(io.StringIO(record_csv(day.actual, day.site_name, day)))}
    for number, name in enumerate(DIVERS):
        row = rows[name]
        assert (row["time_in"], row["time_out"], row["elapsed_min"]) == (f"11:5{number}", f"12:3{number}", "40")
        assert (row["start_bar"], row["end_bar"], row["used_l"]) == (f"{205 + number}", f"{75 + number}", "1950")
        assert (row["diver_signed"], row["diver_signed_at"]) == (f"{name} (VSD-{number})", f"12:4{number}")
        assert (row["verified"], row["verified_at"]) == ("Ines Faro (INS-72)", f"12:5{number}")
        assert row["supervisor"] == "Ines Faro (directs), Luca Benti (leads)"
        assert (row["max_operating_depth_m"], row["group_after"]) == ("56.1", "F")


@given(st.text(max_size=30))
@settings(max_examples=200, deadline=None)
def test_no_cell_begins_a_formula_and_every_cell_comes_back_as_it_was(words):
    row = dict.fromkeys(COLUMNS, "") | {"name": words}
    table = rows_csv([row])
    assert table.startswith(",".join(COLUMNS) + "\r\n") and table.endswith("\r\n")
    (found,) = csv.DictReader(io.StringIO(table, newline=""))
    assert found["name"] in (words, f"'{words}")
    assert found["name"].lstrip()[:1] not in ("=", "+", "-", "@", "＝", "＋", "－", "＠") or not found["name"].lstrip()


def test_tables_and_depth_of_a_dive_that_was_not_planned_are_not_known():
    assert tables_of(None) == () and max_operating_depth_m(None) is None


# ---- the page ----

NAMES = ("#eval(1)", "$x$ *b* _i_", "<script>alert(1)</script>", "=1+1", "@here", '"] } \\ // z', "____", "新井 恵子")


def strange() -> list[Event]:
    """A dive of people whose names try to be something else than names, in a group of the same kind."""
    made = []
    for number, name in enumerate(NAMES):
        made += [
            entry("11:50", "in", name, group="*G* #1", dive=1),
            entry("12:30", "out", name, group="*G* #1", dive=1),
            entry("12:31", "discomfort", name, group="*G* #1", dive=1, text=f"{name} ____ #{number} $a$"),
        ]
    return made


@needs_poppler
@pytest.mark.parametrize("paper", PAPERS)
def test_names_are_printed_as_names_whatever_they_look_like(paper):
    text = words_of(pdf_of(kept([*strange(), entry("12:40", "incident", text="a #let x = 1 <b> $y$")]), paper))
    for number, name in enumerate(NAMES):
        assert flat(f"{name} *G* #1, dive 1;") in text
        assert flat(f"{name} ____ #{number} $a$") in text
    assert flat("a #let x = 1 <b> $y$") in text


def test_names_in_the_table_come_out_as_they_are_but_for_what_begins_a_formula():
    day = kept(strange())
    rows = list(csv.DictReader(io.StringIO(record_csv(day.actual, day.site_name, day))))
    assert [row["name"] for row in rows] == [f"'{name}" if name[0] in "=@" else name for name in NAMES]


@given(st.text(min_size=1, max_size=40).filter(lambda text: text.strip()), st.text(max_size=60))
@settings(max_examples=10, deadline=None)
def test_whatever_a_name_is_made_of_the_sheet_is_printed(name, words):
    events = [
        entry("11:50", "in", name, group=name),
        entry("12:00", "note", text=f"x{words}"),
        entry("12:00", "incident", name, text=f"x{words}"),
        counted("12:05", f"x{words}", 1, "Ann"),
    ]
    assert pdf_of(kept(events)).startswith(b"%PDF")


@pytest.mark.parametrize("paper", PAPERS)
def test_every_page_has_the_mark_its_number_and_the_revision_of_the_plan(paper):
    reader = PdfReader(io.BytesIO(printed(paper)))
    assert len(reader.pages) >= 3
    revision = plan_of("saturday-ledge").revision
    for number, page in enumerate(reader.pages, 1):
        assert (round(float(page.mediabox.width)), round(float(page.mediabox.height))) == PAPERS[paper]
        text = flat(page.extract_text())
        for words in (f"Page {number} of {len(reader.pages)}", f"Plan held: {revision}", "Record: Stair Ledge"):
            assert flat(words) in text
        assert text.count(flat(DEMONSTRATION)) >= 3  # head, foot and across


def test_a_day_that_is_no_demonstration_bears_no_mark():
    plan = replace(plan_of("saturday-ledge"), demonstration=False)
    pages = PdfReader(io.BytesIO(pdf_of(kept(plan=plan, demonstration=False)))).pages
    assert not any("NOTFORUSE" in flat(page.extract_text()) for page in pages)


def test_equal_days_give_equal_bytes_and_another_paper_is_refused():
    assert pdf_of(kept()) == printed()
    with pytest.raises(OutOfRange, match='it must be "a4" or "letter"'):
        pdf_of(kept(), "a5")


@needs_poppler
def test_the_longest_texts_run_on_over_pages_and_nothing_is_lost():
    long = " ".join(f"word{number}" for number in range(230))
    assert 1500 < len(long) < 2000
    more = [entry(f"13:0{n}", "discomfort", "Nadia Petit", text=f"{n}. {long}") for n in range(8)]
    more += [entry("13:10", "incident", "Nadia Petit", text=f"at last {long} end")]
    text = words_of(pdf_of(kept((*ALL, *more))))
    found = re.sub(r"DEMONSTRATION-NOTFORUSE(Page\d+of\d+)?|Made\d\d:\d\dfrom\d+entries\.", "", text)
    for number in (0, 57, 229):
        assert found.count(f"word{number}word" if number < 229 else "word229") >= 9


@needs_poppler
@pytest.mark.parametrize("paper", PAPERS)
def test_every_word_lies_inside_the_margins(paper, tmp_path: Path):
    file = tmp_path / "record.pdf"
    file.write_bytes(pdf_of(kept((*ALL, *strange(), entry("12:50", "note", text="W" * 300))), paper))
    out = subprocess.run(["pdftotext", "-bbox", str(file), "-"], capture_output=True, check=True).stdout
    pages = list(ElementTree.fromstring(out).iter("{http://www.w3.org/1999/xhtml}page"))
    assert len(pages) >= 4
    for page in pages:
        wide, high = float(page.attrib["width"]), float(page.attrib["height"])
        for word in page:
            left, top, right, bottom = (float(word.attrib[key]) for key in ("xMin", "yMin", "xMax", "yMax"))
            if bottom - top > 30:
                continue  # the mark across the page
            assert left >= 17 and right <= wide - 17 and top >= 17 and bottom <= high - 17, word.text


@needs_poppler
def test_the_sheet_is_black_grey_and_white(tmp_path: Path):
    from PIL import Image

    file = tmp_path / "record.pdf"
    file.write_bytes(printed())
    subprocess.run(["pdftoppm", "-r", "50", "-png", str(file), str(tmp_path / "page")], check=True)
    pictures = sorted(tmp_path.glob("page-*.png"))
    assert len(pictures) >= 3
    for path in pictures:
        with Image.open(path) as image:
            red, green, blue = image.convert("RGB").split()
            assert red.tobytes() == green.tobytes() == blue.tobytes(), path.name


def test_characters_that_the_fonts_lack_become_question_marks_and_the_sheet_says_which():
    found = values(kept((*ALL, entry("12:00", "note", text="\U00012000 here"))))
    assert "U+12000" in found["replaced"] and any("? here" in note for note in found["conditions"]["notes"])


def test_the_demonstration_has_what_this_test_rests_on():
    assert "saturday-ledge" in folder().requests
    assert [person.name for person in plan_of("saturday-ledge").dives[0].people] == list(DIVERS)
