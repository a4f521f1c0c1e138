from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import datetime

import pandas as pd
from sample_schedule import crowded_schedule, sample_schedule

from tripplan.check import Check, Outcome
from tripplan.documents.schedule_table import COLUMNS, schedule_table


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_every_dive_has_one_row_placed_or_not_with_all_its_facts():
    schedule = sample_schedule()
    rows = rows_of(schedule_table(schedule))
    assert len(rows) == 20
    petrels = next(row for row in rows if (row["group"], row["dive"]) == ("Petrels", "2"))
    # 09:30, 25 min and 12 min of swimming, 83 min at the surface: as the sample is made.
    assert petrels == {
        "date": "2026-12-07",
        "group": "Petrels",
        "dive": "2",
        "site": "gull-cove",
        "site_name": "Gull Cove",
        "place": "Sand bay",
        "leaves": "2026-12-07T08:25:00-01:00",
        "on_site": "2026-12-07T08:45:00-01:00",
        "entry": "2026-12-07T11:20:00-01:00",
        "exit": "2026-12-07T11:57:00-01:00",
        "exit_by": "2026-12-07T12:07:00-01:00",
        "off_site": "2026-12-07T12:27:00-01:00",
        "back": "2026-12-07T12:47:00-01:00",
        "leader": "Ines Faro",
        "assistants": "Asha Rao",
        "divers": "2",
        "shore": "Greta Holm; Yusuf Demir",
        "vehicles": "Blue van",
        "depth_m": "8",
        "minutes": "25",
        "status": "placed",
        "reason": "",
        "revision": "5c1e0fa2",
        "mark": "DEMONSTRATION - NOT FOR USE",
    }
    without = [row for row in rows if row["status"] == "not placed"]
    assert [(row["group"], row["dive"]) for row in without] == [
        ("Shearwaters", "1"),
        ("Shearwaters", "2"),
        ("Knots", "3"),
    ]
    assert all(row["reason"] and not row["entry"] and not row["date"] for row in without)
    assert "Luca Benti and Asha Rao are off" in without[0]["reason"]


def test_a_data_frame_reads_back_the_same_instants_and_numbers():
    schedule = sample_schedule()
    frame = pd.read_csv(io.StringIO(schedule_table(schedule)))
    assert tuple(frame.columns) == COLUMNS
    placed = frame[frame["status"] == "placed"]
    dives = [(outing, dive) for outing in schedule.outings for dive in outing.dives]
    assert len(placed) == len(dives) == 17
    for column, moments in (
        ("entry", [dive.entry for _, dive in dives]),
        ("exit_by", [dive.exit_by for _, dive in dives]),
        ("back", [outing.back for outing, _ in dives]),
    ):
        read = pd.to_datetime(placed[column], utc=True)
        assert [moment.timestamp() for moment in read] == [moment.timestamp() for moment in moments]
    assert placed["depth_m"].tolist() == [dive.depth_m for _, dive in dives]
    assert placed["minutes"].tolist() == [dive.minutes for _, dive in dives]


def test_no_cell_begins_a_formula_and_every_name_comes_back():
    schedule = sample_schedule()
    hostile = replace(
        schedule.outings[0],
        group='=HYPERLINK("http://x";"y")',
        place='+1, comma "quoted"',
        leader="@sum",
        assistants=("-2", "Anna; Berta"),
        vehicles=("\tvan",),
    )
    rows = rows_of(schedule_table(replace(schedule, outings=(hostile,))))
    assert rows[0]["group"] == '\'=HYPERLINK("http://x";"y")'
    assert rows[0]["leader"] == "'@sum"
    assert rows[0]["place"] == '\'+1, comma "quoted"'
    for row in rows:
        for cell in row.values():
            assert not cell.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r"))


def test_lines_end_as_rfc_4180_says_and_forty_long_groups_are_all_there():
    schedule = crowded_schedule(40)
    text = schedule_table(schedule)
    assert text.count("\r\n") == text.count("\n") == 1 + schedule.wanted
    rows = rows_of(text)
    assert {row["group"] for row in rows if row["status"] == "placed"} == {each.group for each in schedule.outings}


def test_the_offset_follows_the_clock_change():
    schedule = sample_schedule()
    outing = schedule.outings[0]
    # tzdata: in the Azores the clocks go back on 25 October 2026 at 01:00 UTC, from UTC+0 to UTC-1.
    before, after = (
        replace(dive, entry=datetime(2026, 10, day, 9, tzinfo=dive.entry.tzinfo))
        for day, dive in zip((24, 25), outing.dives, strict=True)
    )
    rows = rows_of(schedule_table(replace(schedule, outings=(replace(outing, dives=(before, after)),))))
    assert rows[0]["entry"] == "2026-10-24T09:00:00+00:00"
    assert rows[1]["entry"] == "2026-10-25T09:00:00-01:00"


def test_what_is_private_is_not_said_in_a_reason():
    schedule = sample_schedule()
    said = "Lena Fischer has a heart condition on the medical form."
    check = Check("medical-form", Outcome.STOP, said, "CENTRE", subject="Lena Fischer")
    unplaced = (replace(schedule.unplaced[0], because=(said, "The tide is too low.")),)
    text = schedule_table(replace(schedule, checks=(check,), unplaced=unplaced))
    assert "heart" not in text
    assert "The tide is too low." in text
    assert "Lena Fischer: the personal papers stop this dive." in text
