"""The skills that were seen before the store was in use: one CSV file in the centre's folder."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import get_args

from tripplan.errors import BadRecord, Fault, OutOfRange
from tripplan.people.skills import COURSE_KINDS
from tripplan.planning.progress import SkillTick, TickResult

TICKS_FILE = "centre/ticks.csv"
COLUMNS = ("person", "course", "dive", "skill", "day", "by", "result")


def read_ticks(path: Path) -> Mapping[str, tuple[SkillTick, ...]]:
    """Return the ticks of a file by kind of course, in the order of its lines.

    Raises BadRecord with every fault, each with its line: half a file would close skills and keep back what reopens
    them.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise BadRecord((Fault(str(path), 1, "the file is not UTF-8 text; save it as CSV, UTF-8"),)) from None
    rows = csv.DictReader(io.StringIO(text, newline=""), restkey="more", restval="")
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
            course, tick = _tick({name: str(row[name] or "").strip() for name in COLUMNS})
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
    if not row["dive"].isascii() or not row["dive"].isdigit():
        raise OutOfRange(f'dive is "{row["dive"]}"; it must be the number of the dive in the course')
    try:
        day = date.fromisoformat(row["day"])
    except ValueError:
        raise OutOfRange(f'day is "{row["day"]}"; write it like 2027-06-12') from None
    result: TickResult | None = next((one for one in get_args(TickResult) if one == row["result"]), None)
    if result is None:
        raise OutOfRange(f'result is "{row["result"]}"; accepted: {", ".join(get_args(TickResult))}')
    return row["course"], SkillTick(row["person"], row["skill"], int(row["dive"]), day, row["by"], result)
