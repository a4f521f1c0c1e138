"""The skills that were seen before the store was in use: one CSV file in the centre's folder."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import get_args

from tripplan.documents.cells import meant
from tripplan.errors import BadRecord, Fault, OutOfRange
from tripplan.people.skills import COURSE_KINDS
from tripplan.planning.progress import SkillTick, TickResult
from tripplan.record import read_text

TICKS_FILE = "centre/ticks.csv"
COLUMNS = ("person", "course", "dive", "skill", "day", "by", "result")
MOST_DIVES = 60  # of a course, as the file of skills takes
LONGEST = 120  # letters of a name or a skill, as the store takes


def read_ticks(path: Path) -> Mapping[str, tuple[SkillTick, ...]]:
    """Return the ticks of a file by kind of course, in the order of its lines.

    Raises BadRecord with every fault, each with its line: half a file would close skills and keep back what reopens
    them.
    """
    text = read_text(path).replace("\r", "\n")
    if "\0" in text:
        raise BadRecord((Fault(str(path), text.count("\n", 0, text.index("\0")) + 1, "the line holds no text"),))
    rows = csv.DictReader(io.StringIO(text, newline=""), restkey="more", restval="")
    try:
        return _ticks(path, rows)
    except csv.Error as error:
        where = max(1, min(rows.line_num, text.count("\n") + 1))
        raise BadRecord((Fault(str(path), where, f"the line cannot be read as CSV: {error}"),)) from None


def _ticks(path: Path, rows: csv.DictReader[str]) -> Mapping[str, tuple[SkillTick, ...]]:
    missing = [name for name in COLUMNS if name not in (rows.fieldnames or ())]
    if missing:
        said = f"the first line lacks {', '.join(missing)}; it must name {', '.join(COLUMNS)}"
        raise BadRecord((Fault(str(path), 1, said),))
    found: dict[str, list[SkillTick]] = {}
    faults: list[Fault] = []
    for row in rows:
        if not any(str(value).strip() for value in row.values()):
            continue
        try:
            course, tick = _tick({name: meant(str(row[name] or "").strip()).strip() for name in COLUMNS})
            if "more" in row:
                raise OutOfRange(f"the line has more than {len(rows.fieldnames or ())} cells")
            found.setdefault(course, []).append(tick)
        except OutOfRange as error:
            faults.append(Fault(str(path), rows.line_num, str(error)))
    if faults:
        raise BadRecord(tuple(faults))
    return {course: tuple(ticks) for course, ticks in found.items()}


def _tick(row: Mapping[str, str]) -> tuple[str, SkillTick]:
    """Return the course and the tick of a line.  Raises OutOfRange with what is accepted."""
    if row["course"] not in COURSE_KINDS:
        raise OutOfRange(f'course is "{row["course"]}"; accepted: {", ".join(COURSE_KINDS)}')
    for name in ("person", "skill", "by"):
        if not row[name].isprintable() or len(row[name]) > LONGEST:
            raise OutOfRange(f"{name} must be at most {LONGEST} letters that print, on one line")
    if not re.fullmatch("[0-9]{1,3}", row["dive"]) or not 1 <= int(row["dive"]) <= MOST_DIVES:
        raise OutOfRange(
            f'dive is "{row["dive"]}"; it must be the number of the dive in the course, from 1 to {MOST_DIVES}'
        )
    try:
        day = date.fromisoformat(row["day"])
    except ValueError:
        raise OutOfRange(f'day is "{row["day"]}"; write it like 2027-06-12') from None
    result: TickResult | None = next((one for one in get_args(TickResult) if one == row["result"]), None)
    if result is None:
        raise OutOfRange(f'result is "{row["result"]}"; accepted: {", ".join(get_args(TickResult))}')
    return row["course"], SkillTick(row["person"], row["skill"], int(row["dive"]), day, row["by"], result)
