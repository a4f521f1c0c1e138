"""A schedule as a table for a spreadsheet: a row for each dive, those without a place too (CSV, RFC 4180)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from datetime import datetime

from tripplan.documents.cells import harmless
from tripplan.documents.schedule_words import schedule_without_private, shore_of
from tripplan.documents.words import DEMONSTRATION
from tripplan.planning.schedule import Outing, Schedule, ScheduledDive

COLUMNS = (
    "date", "group", "dive", "site", "site_name", "place", "leaves", "on_site", "entry", "exit", "exit_by", "off_site",
    "back", "leader", "assistants", "divers", "shore", "vehicles", "depth_m", "minutes", "status", "reason", "revision",
    "mark",
)  # fmt: skip
PLACED, NOT_PLACED = "placed", "not placed"


def schedule_table(schedule: Schedule) -> str:
    """Return a schedule as CSV with its head, a row for each dive: those placed in order of time, then the others.

    Times are ISO 8601 with their offset from UTC, depths in metres, ``minutes`` of bottom time; ``divers`` is how many;
    names in one cell are parted by "; ". No cell begins a formula, and none tells of anybody's health.
    """
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    for row in _rows(schedule_without_private(schedule)):
        writer.writerow({name: harmless(value) for name, value in row.items()})
    return out.getvalue()


def _rows(schedule: Schedule) -> Iterator[dict[str, str]]:
    always = {"revision": schedule.revision, "mark": DEMONSTRATION if schedule.demonstration else ""}
    for outing in schedule.outings:
        for dive in outing.dives:
            yield {**_placed(schedule, outing, dive), **always}
    for each in schedule.unplaced:
        for number in each.dives:
            yield {
                "group": each.group,
                "dive": str(number),
                "status": NOT_PLACED,
                "reason": " ".join(each.because),
                **always,
            }


def _time(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds")


def _placed(schedule: Schedule, outing: Outing, dive: ScheduledDive) -> dict[str, str]:
    team = shore_of(schedule, outing)
    return {
        "date": outing.day.isoformat(),
        "group": outing.group,
        "dive": str(dive.number),
        "site": outing.site,
        "site_name": outing.site_name,
        "place": outing.place,
        "leaves": _time(outing.leaves),
        "on_site": _time(outing.on_site),
        "entry": _time(dive.entry),
        "exit": _time(dive.exit),
        "exit_by": _time(dive.exit_by),
        "off_site": _time(outing.off_site),
        "back": _time(outing.back),
        "leader": outing.leader or "",
        "assistants": "; ".join(outing.assistants),
        "divers": str(len(outing.divers)),
        "shore": "; ".join(team.people) if team else "",
        "vehicles": "; ".join(outing.vehicles),
        "depth_m": f"{dive.depth_m:g}",
        "minutes": str(dive.minutes),
        "status": PLACED,
    }
