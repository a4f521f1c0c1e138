"""The record of a day's dives: what was done beside what was planned, as rows for a page and for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from datetime import datetime

from tripplan.documents.words import clock
from tripplan.planning.actual import ActualDive, Signature

COLUMNS = (
    "name", "group", "dive", "date", "site", "with", "time_in", "time_out", "elapsed_min", "planned_water_min",
    "greatest_depth_m", "planned_depth_m", "depth_limit_m", "surface_interval_min", "group_before", "group_after",
    "oxygen_percent", "start_bar", "end_bar", "used_l", "discomfort", "diver_signed", "verified", "deviations",
    "missing",
)  # fmt: skip
NOT_WRITTEN = ""  # an empty cell; what is missing stands in words in the last column


def record_rows(dives: Sequence[ActualDive], site_name: str) -> list[dict[str, str]]:
    """Return one row of texts for each person and dive, planned values beside actual ones."""
    return [_row(dive, site_name) for dive in dives]


def record_csv(dives: Sequence[ActualDive], site_name: str) -> str:
    """Return the record as CSV (RFC 4180), safe to open in a spreadsheet: no cell begins a formula."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for row in record_rows(dives, site_name):
        writer.writerow({name: _harmless(value) for name, value in row.items()})
    return out.getvalue()


def _row(dive: ActualDive, site_name: str) -> dict[str, str]:
    planned = dive.planned
    return {
        "name": dive.person,
        "group": dive.group,
        "dive": str(dive.number),
        "date": dive.day.isoformat(),
        "site": site_name,
        "with": ", ".join(planned.partners) if planned else NOT_WRITTEN,
        "time_in": _clock(dive.time_in, dive),
        "time_out": _clock(dive.time_out, dive),
        "elapsed_min": _number(dive.elapsed_min),
        "planned_water_min": _number(planned.water_min) if planned else NOT_WRITTEN,
        "greatest_depth_m": _number(dive.depth_m),
        "planned_depth_m": _number(planned.depth_m) if planned else NOT_WRITTEN,
        "depth_limit_m": _number(planned.depth_limit_m) if planned else NOT_WRITTEN,
        "surface_interval_min": _number(dive.interval_min),
        "group_before": (planned.group_before or NOT_WRITTEN) if planned else NOT_WRITTEN,
        "group_after": (planned.group_after or NOT_WRITTEN) if planned else NOT_WRITTEN,
        "oxygen_percent": _number(dive.oxygen_percent),
        "start_bar": _number(dive.start_bar),
        "end_bar": _number(dive.end_bar),
        "used_l": _number(dive.used_l),
        "discomfort": "; ".join(dive.discomfort),
        "diver_signed": _signature(dive.signed),
        "verified": _signature(dive.verified),
        "deviations": " ".join(check.sentence for check in dive.checks if check.outcome.severity > 0),
        "missing": "; ".join(dive.gaps),
    }


def _clock(moment: datetime | None, dive: ActualDive) -> str:
    return NOT_WRITTEN if moment is None else clock(moment, dive.day)


def _number(value: float | None) -> str:
    return NOT_WRITTEN if value is None else f"{value:g}"


def _signature(found: Signature | None) -> str:
    if found is None:
        return NOT_WRITTEN
    return f"{found.by} ({found.identity or 'no number'})"


def _harmless(cell: str) -> str:
    """Return a cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell
