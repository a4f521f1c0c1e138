"""The dive record of a person: all dives of the store, what is missing of each, and no word on health for helpers."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from printed_plans import plan_of
from pypdf import PdfReader
from test_record_sheet import NAMES, entry, flat, kept, words_of

from tripplan.documents.dive_record import ASK_THE_LEADER, KeptDay
from tripplan.documents.person_record import (
    PersonRecord,
    dive_values,
    person_csv,
    person_record,
    person_record_pdf,
    person_values,
    totals_words,
)
from tripplan.errors import OutOfRange
from tripplan.planning.event import Event

DAY = date(2026, 12, 12)
FELT = "Tingling in the left arm"
needs_poppler = pytest.mark.skipif(not shutil.which("pdftotext"), reason="poppler's tools are not installed")


def dive(
    into: str | None, out: str | None, depth_m: float | None, person: str = "Nadia Petit", **other: Any
) -> list[Event]:
    """Return the entries of a dive: any of them may be missing."""
    made = [entry("12:50", "signed", person, **{"by": person, "identity": "VSD-2", **other})]
    if into:
        made.append(entry(into, "in", person, **other))
    if out:
        made.append(entry(out, "out", person, **other))
    if depth_m is not None:
        made.append(entry("12:45", "depth", person, value=depth_m, **other))
    return made


def later(events: Sequence[Event], days: int, site: str = "gull-cove") -> KeptDay:
    """Return the same entries some days later, at another site and without a plan."""
    moved = [
        replace(each, day=each.day + timedelta(days=days), at=each.at + timedelta(days=days), site=site)
        for each in events
    ]
    return replace(kept(moved, plans=()), day=DAY + timedelta(days=days), site=site, site_name="Gull Cove")


# Four dives: 41 min to 17.4 m by the plan; 39 min to 12 m; times without a depth, 20 min; a depth without a time out.
DAYS = (
    kept([*dive("11:50", "12:31", 17.4), entry("12:40", "discomfort", "Nadia Petit", text=FELT)]),
    later([*dive("10:00", "10:39", 12.0), *dive("13:00", "13:20", None, dive=2)], 7),
    later(dive("09:00", None, 21.3), 14),
)


def record(name: str = "Nadia Petit", days: Sequence[KeptDay] = DAYS, *, private: bool = True) -> PersonRecord:
    return person_record(name, days, private=private)


def rows(found: PersonRecord, number: int) -> dict[str, str]:
    return {label: value for label, value, _ in dive_values(found.dives[number], found.private)["rows"]}


# ---- what it holds ----


def test_every_dive_of_the_person_stands_in_order_of_time_and_nobody_else_s():
    days = (DAYS[2], DAYS[0], later(dive("10:00", "10:30", 9.0, "Owen Marsh"), 9), DAYS[1])
    found = record(days=days)
    assert [(each.dive.day, each.dive.number) for each in found.dives] == [
        (date(2026, 12, 12), 1), (date(2026, 12, 19), 1), (date(2026, 12, 19), 2), (date(2026, 12, 26), 1),
    ]  # fmt: skip
    assert {each.dive.person for each in found.dives} == {"Nadia Petit"}


def test_the_totals_count_what_is_written_and_say_what_they_leave_out():
    found = record()
    assert (len(found.made), found.minutes, found.deepest_m) == (4, 41 + 39 + 20, 21.3)
    assert totals_words(found) == [
        ["Dives", "4 dives"],
        ["In the water", "100 min, without 1 dive whose times are not written"],
        ["Deepest", "21.3 m; of 1 dive no depth is written"],
    ]


def test_a_dive_has_its_place_times_depth_gas_company_supervisor_and_signatures():
    found = record()
    first = dive_values(found.dives[0], private=True)
    assert first["title"] == "Saturday 12 December 2026, Stair Ledge" and first["dive"] == "Terns, dive 1"
    assert first["plan"] == plan_of("saturday-ledge").revision
    said = rows(found, 0)
    assert (said["In"], said["Out"], said["Elapsed"], said["Greatest depth"]) == ("11:50", "12:31", "41 min", "17.4 m")
    assert said["Gas"] == "21 % oxygen, by the plan" and said["With"] == "Hana Novak"
    assert said["Supervisor"] == "Ines Faro (directs), Luca Benti (leads)"
    assert said["Signed by the diver"] == "Nadia Petit, VSD-2, 12:50" and said["Verified"] == ""
    assert said["Felt"] == FELT


def test_what_is_not_written_is_empty_and_told_and_not_taken_from_the_plan():
    said = rows(record(), 3)
    assert (said["In"], said["Out"], said["Elapsed"], said["Gas"], said["Supervisor"]) == ("09:00", "", "", "", "")
    told = " ".join(words for _, words in dive_values(record().dives[3], private=True)["deviations"])
    assert "time out not written down" in told.lower()


def test_a_gauge_at_nothing_is_written_and_not_missing():
    day = kept([*dive("11:50", "12:31", 17.4), entry("12:40", "end_bar", "Nadia Petit", value=0.0)])
    assert rows(record(days=[day]), 0)["Gauge"] == "not written to 0 bar"


def test_a_dive_that_others_made_and_the_person_was_planned_for_is_told_and_not_counted():
    others = kept([*dive("11:50", "12:31", 17.4), entry("09:30", "assembled", "Owen Marsh")])
    found = record("Owen Marsh", [others])
    assert len(found.dives) == 1 and found.made == () and found.minutes == 0 and found.deepest_m is None
    assert totals_words(found)[0] == [
        "Dives", "0 dives; of 1 more for which they were planned nobody has written whether they went in",
    ]  # fmt: skip
    assert totals_words(found)[2] == ["Deepest", "not written"]


@pytest.mark.parametrize("kind", ["in", "out", "depth", "end_bar", "discomfort", "signed", "verified"])
def test_any_entry_of_having_been_in_the_water_makes_a_dive_count(kind):
    value = 12.0 if kind in ("depth", "end_bar") else None
    found = record("Owen Marsh", [kept([entry("12:00", kind, "Owen Marsh", value=value, text="none")])])
    assert len(found.made) == 1


def test_what_was_taken_back_is_no_dive_and_no_total():
    wrong = dive("10:00", "12:00", 40.0)
    back = [entry("13:00", "withdrawn", text="not so", corrects=each.uid, group="", dive=0) for each in wrong]
    assert record(days=[kept([*wrong, *back])]).dives == ()


@pytest.mark.parametrize("name", ["nadia petit", "  NADIA   Petit ", "Nadia Petit"])
def test_names_are_compared_as_on_a_beach_and_shown_as_they_are_written(name):
    assert record(name).name == "Nadia Petit" and len(record(name).dives) == 4


def test_somebody_without_a_dive_has_an_empty_record():
    found = record("Zoe Quill", [])
    assert found.name == "Zoe Quill" and person_csv(found).count("\r\n") == 1
    assert "No dive of this person" in PdfReader(io.BytesIO(person_record_pdf(found, DAY))).pages[0].extract_text()


def test_a_day_whose_plan_cannot_be_read_is_told_and_hides_no_dive():
    broken = replace(DAYS[0], plans=({"revision": "deadbeef", "dives": [{}]},))
    found = record(days=[broken])
    assert len(found.made) == 1 and "deadbeef" in found.faults[0] and "Saturday 12 December 2026" in found.faults[0]


entries = st.sets(st.sampled_from(range(sum(len(day.events) for day in DAYS))))


@given(entries)
@settings(max_examples=60, deadline=None)
def test_the_table_has_a_row_for_each_dive_and_its_minutes_make_the_total(chosen):
    every = [each for day in DAYS for each in day.events]
    left = {each.uid for number, each in enumerate(every) if number in chosen}
    found = record(days=[replace(d, events=tuple(e for e in d.events if e.uid in left or d is DAYS[0])) for d in DAYS])
    table = list(csv.DictReader(io.StringIO(person_csv(found))))
    assert len(table) == len(found.dives)
    assert sum(int(row["elapsed_min"] or 0) for row in table) == found.minutes
    deepest = max((float(row["greatest_depth_m"]) for row in table if row["greatest_depth_m"]), default=None)
    assert deepest == found.deepest_m


# ---- health ----


def test_who_may_not_see_it_is_told_that_it_is_recorded_and_that_it_stops_the_next_dive_but_no_word_of_it():
    hidden = record(private=False)
    pdf = person_record_pdf(hidden, DAY)
    for text in (
        person_csv(hidden),
        str(person_values(hidden, DAY)),
        words_of(pdf) if shutil.which("pdftotext") else "",
    ):
        assert "ingling" not in text and "leftarm" not in flat(text)
    assert rows(hidden, 0)["Felt"] == ASK_THE_LEADER
    stops = [w for outcome, w in dive_values(hidden.dives[0], private=False)["deviations"] if outcome == "stop"]
    assert stops == ["What is recorded after it stops the next dive. It is for the leader: ask."]
    assert FELT in person_csv(record()) and FELT in str(person_values(record(), DAY))


def test_the_answer_none_looks_the_same_to_who_may_not_see_it():
    well = kept([*dive("11:50", "12:31", 17.4), entry("12:40", "discomfort", "Nadia Petit", text="none")])
    assert rows(record(days=[well], private=False), 0)["Felt"] == ASK_THE_LEADER
    assert rows(record(days=[well]), 0)["Felt"] == "none"
    unasked = kept(dive("11:50", "12:31", 17.4))
    assert rows(record(days=[unasked], private=False), 0)["Felt"] == ""


# ---- paper ----


@needs_poppler
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_paper_holds_every_word_of_the_record(paper):
    found = record()
    text = words_of(person_record_pdf(found, DAY, paper))
    values = person_values(found, DAY)
    for label, words in values["totals"]:
        assert flat(f"{label}: {words}") in text
    for each in values["dives"]:
        for words in (each["title"], each["dive"]):
            assert flat(words) in text
        for label, value, more in each["rows"]:
            assert flat(value or "not written") in text and flat(more) in text and flat(label) in text
        for _, words in each["deviations"]:
            assert flat(words) in text
    pages = PdfReader(io.BytesIO(person_record_pdf(found, DAY, paper))).pages
    for number, page in enumerate(pages, 1):
        own = flat(page.extract_text())
        assert f"Page{number}of{len(pages)}" in own and "NOTFORUSE" in own and flat("Dive record: Nadia Petit") in own


@needs_poppler
def test_names_are_printed_as_names_whatever_they_look_like():
    for name in NAMES:
        found = record(name, [kept(dive("11:50", "12:31", 9.0, name, group="*G* #1", by="$Ann$"))])
        text = words_of(person_record_pdf(found, DAY))
        assert flat(f"Dive record: {name}") in text and flat("*G* #1, dive 1") in text and flat("$Ann$, VSD-2") in text
        (row,) = csv.DictReader(io.StringIO(person_csv(found)))
        assert row["name"] == (f"'{name}" if name[0] in "=@" else name)


def test_a_hundred_dives_go_on_as_many_pages_as_they_need():
    days = [later(dive("10:00", "10:30", 9.0), 7 * number) for number in range(100)]
    found = record(days=days)
    pages = PdfReader(io.BytesIO(person_record_pdf(found, DAY))).pages
    text = flat("".join(page.extract_text() for page in pages))
    assert len(pages) > 10 and text.count(flat("Greatest depth")) == 100 == len(found.made)
    assert found.minutes == 3000


def test_equal_records_give_equal_bytes_and_another_paper_is_refused():
    assert person_record_pdf(record(), DAY) == person_record_pdf(record(), DAY)
    with pytest.raises(OutOfRange, match='it must be "a4" or "letter"'):
        person_record_pdf(record(), DAY, "a5")


def test_times_are_those_of_the_site_of_each_day():
    moment = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)
    day = replace(
        kept([replace(each, at=moment) for each in dive("11:50", None, None)], plans=()), timezone="Asia/Tokyo"
    )
    assert rows(record(days=[day]), 0)["In"] == "21:50"  # nine hours ahead, all year
