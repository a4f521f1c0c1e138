"""The records that only grow: a line is there whole or not at all, and nothing that stood there changes."""

from __future__ import annotations

import csv
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.planning.small_world import DAY, world
from tripplan.emergency.confirmed import Confirmation, as_confirmed, latest_on
from tripplan.planning.action_sheet import action_sheet, changed_facts, facts_of
from tripplan.store.records import COLUMNS, CannotKeep, Records

NOW = datetime(2027, 6, 12, 7, 40, tzinfo=UTC)


def one(**changes: object) -> Confirmation:
    made = Confirmation(NOW, "+44 1632 960112", "Emergency control", "Ann", "right")
    return replace(made, **changes)  # type: ignore[arg-type]


def test_what_was_confirmed_is_read_again_as_it_was(tmp_path):
    records = Records(tmp_path / "records")
    assert records.confirmed() == ((), ())
    told = (one(), one(at=NOW + timedelta(minutes=1), found="no_answer", note='said "later", twice'))
    for each in told:
        records.confirm(each)
    assert Records(tmp_path / "records").confirmed() == (told, ())


@settings(deadline=None, max_examples=50)
@given(st.text(min_size=1, max_size=80), st.text(max_size=80))
def test_whatever_is_typed_stays_one_line(tmp_path_factory, name, note):
    folder = tmp_path_factory.mktemp("records")
    Records(folder).confirm(one(name=name, note=note))
    Records(folder).confirm(one())
    found, faults = Records(folder).confirmed()
    assert len(found) == 2 and faults == () and found[1] == one()


@pytest.mark.parametrize(
    ("changes", "words"),
    [({"by": " "}, "who tried"), ({"found": "perhaps"}, "accepted: right"), ({"at": NOW.replace(tzinfo=None)}, "UTC")],
)
def test_what_cannot_be_used_later_is_refused_and_nothing_is_written(tmp_path, changes, words):
    with pytest.raises(CannotKeep, match=words):
        Records(tmp_path).confirm(one(**changes))
    assert list(tmp_path.iterdir()) == []


def test_a_torn_line_is_told_with_its_number_and_spoils_no_other(tmp_path):
    records = Records(tmp_path)
    records.confirm(one())
    file = tmp_path / "confirmed.csv"
    file.write_bytes(file.read_bytes() + b"2027-06-12T07:41:00+00:00,+44 16")
    records.confirm(one(by="Ben"))
    found, faults = records.confirmed()
    assert [each.by for each in found] == ["Ann", "Ben"]
    assert len(faults) == 1 and faults[0].line == 3 and "cells" in faults[0].message


@pytest.mark.parametrize(
    "row",
    [
        "yesterday,+44 1632 960112,Control,Ann,right,",
        "2027-06-12T07:40:00,+44 1632 960112,Control,Ann,right,",
        "2027-06-12T07:40:00+00:00,none,Control,Ann,right,",
        "2027-06-12T07:40:00+00:00,+44 1632 960112,Control,Ann,fine,",
    ],
)
def test_a_line_that_cannot_be_read_is_left_out_and_told(tmp_path, row):
    (tmp_path / "confirmed.csv").write_text(",".join(COLUMNS) + "\n" + row + "\n", encoding="utf-8")
    found, faults = Records(tmp_path).confirmed()
    assert found == () and [fault.line for fault in faults] == [2]


def test_a_folder_that_cannot_be_written_is_told_and_nothing_is_lost(tmp_path):
    (tmp_path / "records").write_text("a file where the folder should be")
    with pytest.raises(CannotKeep, match="nothing was written down"):
        Records(tmp_path / "records").confirm(one())


WRITER = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from tripplan.emergency.confirmed import Confirmation
from tripplan.store.records import Records
records = Records(Path(sys.argv[1]))
for n in range(100000):
    records.confirm(Confirmation(datetime.now(UTC), "+44 1632 960112", "Control", f"w{n}", "right"))
    print(n, flush=True)
"""


def test_a_writer_that_is_killed_loses_no_line_that_it_was_told_is_kept(tmp_path):
    for wait_s in (0.05, 0.11, 0.17):
        folder = tmp_path / str(wait_s)
        command = [sys.executable, "-c", WRITER, str(folder)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
            assert writer.stdout is not None
            first = writer.stdout.readline()
            time.sleep(wait_s)
            os.kill(writer.pid, signal.SIGKILL)
            kept = [first, *writer.stdout.read().split("\n")]
        told = {int(line) for line in kept if line.strip()}
        found, _ = Records(folder).confirmed()
        assert told and {f"w{n}" for n in told} <= {each.by for each in found}
        Records(folder).confirm(one())
        assert Records(folder).confirmed()[0][-1] == one()


# ---- what a confirmation does ----


def test_a_number_found_right_counts_as_checked_that_day_and_the_file_s_later_check_stays():
    where = next(iter(world().sites.values()))
    line = where.contacts[0]
    right = one(number=line.number.replace(" ", ""), name=line.name.upper())
    moved = as_confirmed(where, (right,), DAY).contacts[0]
    assert (moved.checked, moved.checked_by) == (date(2027, 6, 12), "Ann")
    for other in (
        replace(right, at=NOW + timedelta(days=1)),  # after the day of the plan
        replace(right, at=NOW - timedelta(days=200)),  # before the check in the file
        replace(right, number="+44 1632 960999"),
    ):
        assert as_confirmed(where, (other,), DAY).contacts[0] == line


def test_of_several_tries_on_a_day_the_last_counts_by_the_clock_of_the_site():
    early, late = one(found="no_answer"), one(at=NOW + timedelta(hours=1))
    assert latest_on((late, early), DAY, "Atlantic/Azores")[early.key].found == "right"
    assert latest_on((early,), DAY, "Pacific/Kiritimati") == {early.key: early}  # 21:40 there, the same day
    assert latest_on((one(at=NOW + timedelta(hours=3)),), DAY, "Pacific/Kiritimati") == {}  # past midnight there


def test_a_number_that_failed_last_is_no_longer_checked_and_says_why():
    where = next(iter(world().sites.values()))
    line = where.contacts[0]
    right = one(number=line.number, name=line.name)
    wrong = replace(right, at=NOW + timedelta(minutes=5), found="wrong", by="Ben")
    failed = as_confirmed(where, (right, wrong), DAY).contacts[0]
    assert failed.checked is None and failed.checked_by is None
    assert failed.notes.startswith("Tried 12 June by Ben: is a wrong number.")
    again = replace(right, at=NOW + timedelta(minutes=9))
    assert as_confirmed(where, (right, wrong, again), DAY).contacts[0].checked == DAY


# ---- printed sheets ----


def test_a_printed_sheet_is_kept_once_and_told_apart_from_today_s(tmp_path):
    records = Records(tmp_path)
    sheet = action_sheet("plain-cove", DAY, world())
    records.keep_printed(sheet)
    (file,) = (tmp_path / "printed").iterdir()
    before = file.read_bytes()
    records.keep_printed(sheet)
    assert file.read_bytes() == before
    kept = records.printed("plain-cove", DAY, sheet.revision)
    assert kept is not None and dict(kept.facts) == dict(facts_of(sheet))
    assert changed_facts(kept.facts, facts_of(sheet)) == ()


def test_a_revision_that_was_never_printed_or_is_none_is_not_known(tmp_path):
    records = Records(tmp_path)
    assert records.printed("plain-cove", DAY, "0123abcd") is None
    assert records.printed("plain-cove", DAY, "../../etc/passwd") is None
    with pytest.raises(CannotKeep):
        records.printed("../secret", DAY, "0123abcd")


def test_the_file_is_plain_csv(tmp_path):
    Records(tmp_path).confirm(one(note="a, b"))
    with (tmp_path / "confirmed.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert tuple(rows[0]) == COLUMNS and rows[1][-1] == "a, b"


def test_the_store_of_records_lies_in_the_folder_given(tmp_path: Path):
    Records(tmp_path / "deep" / "er").confirm(one())
    assert (tmp_path / "deep" / "er" / "confirmed.csv").is_file()


def test_a_line_whose_writing_failed_is_not_there_afterwards(tmp_path, monkeypatch):
    records = Records(tmp_path)
    records.confirm(one())
    before = (tmp_path / "confirmed.csv").read_bytes()

    def fails(_: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", fails)
        with pytest.raises(CannotKeep, match="No space left"):
            records.confirm(one(by="Ben"))
    assert (tmp_path / "confirmed.csv").read_bytes() == before


def test_records_that_cannot_be_read_are_a_fault_and_stop_nothing_else(tmp_path):
    (tmp_path / "confirmed.csv").mkdir()
    found, faults = Records(tmp_path).confirmed()
    assert found == () and len(faults) == 1


def test_spaces_in_a_name_do_not_lose_its_confirmation():
    assert one(name="Emergency  control ").key == one(name="emergency control").key
