"""The record of a day's dives: what was done beside what was planned, as rows for a page and for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

from tripplan.check import Check, Outcome
from tripplan.documents.cells import harmless
from tripplan.documents.data import dives_from_json
from tripplan.documents.words import clock
from tripplan.errors import OutOfRange
from tripplan.planning.actual import ActualDive, Signature, actual_dives
from tripplan.planning.event import Event
from tripplan.planning.live import alike
from tripplan.planning.plan import DivePlan

COLUMNS = (
    "name", "group", "dive", "date", "site", "with", "supervisor", "tables", "time_in", "time_out", "elapsed_min",
    "planned_water_min", "greatest_depth_m", "planned_depth_m", "depth_limit_m", "surface_interval_min",
    "group_before", "group_after", "oxygen_percent", "max_operating_depth_m", "start_bar", "end_bar", "used_l",
    "discomfort", "diver_signed", "diver_signed_at", "verified", "verified_at", "deviations", "missing",
)  # fmt: skip
NOT_WRITTEN = ""  # an empty cell; what is missing stands in words in the last column
ASK_THE_LEADER = "recorded; ask the leader"  # in place of how somebody felt, for who may not see it


# ---- a day as it was kept ----


@dataclass(frozen=True)
class KeptDay:
    """A day at a site: the plans that it went by, and its entries."""

    day: date
    site: str  # slug
    site_name: str
    timezone: str  # of the site
    demonstration: bool
    begun: bool  # whether the plans were kept when the day began, or are only what would be kept now
    plans: tuple[Mapping[str, Any], ...]  # as plan_json gives them
    events: tuple[Event, ...]  # in order of arrival

    @cached_property
    def entries(self) -> tuple[Event, ...]:
        """The entries in order of arrival, by the clock of the site."""
        zone = ZoneInfo(self.timezone)
        return tuple(replace(event, at=event.at.astimezone(zone)) for event in self.events)

    @cached_property
    def _read(self) -> tuple[tuple[tuple[Mapping[str, Any], DivePlan], ...], tuple[str, ...]]:
        found: list[tuple[Mapping[str, Any], DivePlan]] = []
        faults: list[str] = []
        for plan in self.plans:
            try:
                found.extend((plan, dive) for dive in dives_from_json(plan))
            except OutOfRange:
                revision = plan.get("revision", "without a revision")
                faults.append(f"The plan kept for this day ({revision}) cannot be read, so nothing of it is used here.")
        return tuple(found), tuple(faults)

    @property
    def dives(self) -> tuple[DivePlan, ...]:
        """The dives as planned."""
        return tuple(dive for _, dive in self._read[0])

    @property
    def faults(self) -> tuple[str, ...]:
        """Sentences on kept plans that cannot be read."""
        return self._read[1]

    @property
    def revisions(self) -> tuple[str, ...]:
        """The revisions of the plans."""
        return tuple(str(plan.get("revision", "")) for plan in self.plans)

    @cached_property
    def actual(self) -> tuple[ActualDive, ...]:
        """The dives as they were."""
        return actual_dives(self.entries, self.dives)

    def planned(self, dive: ActualDive) -> DivePlan | None:
        """Return the plan of a dive; None where it was not planned."""
        return next((plan for _, plan in self._read[0] if _same(dive, plan)), None)

    def director(self, dive: ActualDive) -> str:
        """Return who directed a dive by its plan; empty: nobody is named."""
        whole = next((plan for plan, each in self._read[0] if _same(dive, each)), {})
        return str((whole.get("emergency") or {}).get("dive_director") or "").strip()

    def supervisor(self, dive: ActualDive) -> str:
        """Return who directed and who led a dive, by its plan; empty: nobody is named."""
        plan, director = self.planned(dive), self.director(dive)
        leads = plan.leader if plan is not None and plan.leader else ""
        if director and alike(director) == alike(leads):
            return f"{director} (directs and leads)"
        named = (f"{director} (directs)" if director else "", f"{leads} (leads)" if leads else "")
        return ", ".join(part for part in named if part)


def _same(dive: ActualDive, plan: DivePlan) -> bool:
    return alike(dive.group) == alike(plan.group) and dive.number == plan.number


def max_operating_depth_m(plan: DivePlan | None) -> float | None:
    """Return how deep the oxygen of a dive's richest gas lets it go, metres, by its plan; None: not in the plan."""
    return next((c.value for c in plan.depth.candidates if c.name == "gas"), None) if plan else None


def tables_of(plan: DivePlan | None) -> tuple[tuple[str, str], ...]:
    """Return by which table and which model the no-stop time of a dive was found: words, and the source of each."""
    if plan is None:
        return ()
    row = "" if plan.handbook_row_fsw is None else f", row {plan.handbook_row_fsw} fsw"
    words = {"handbook": f"handbook tables{row}", "model": "tissue model"}
    return tuple((words[c.name], c.source) for c in plan.time.candidates if c.name in words)


@dataclass(frozen=True)
class Groups:
    """The handbook's repetitive groups of a person by the plan, and whether they still hold after what was done."""

    before: str | None  # None: none, or not known
    before_holds: bool
    after: str | None
    after_holds: bool


_AS_PLANNED = ("actual-depth", "actual-time", "actual-no-stop", "actual-interval")  # what a group after a dive rests on


def groups_of(dive: ActualDive) -> Groups:
    """Return the repetitive groups by the plan.

    The group after holds only where depth, time, no-stop time and time ashore are all written and as planned or better;
    the group before only where that is so of the dive before and of the time ashore since.
    """
    if dive.planned is None or not dive.planned.no_stop_known:
        return Groups(None, False, None, False)
    odd = {check.rule for check in dive.checks if check.rule in _AS_PLANNED and check.outcome is not Outcome.OK}
    again = any(check.rule == "actual-interval" for check in dive.checks)
    before_holds = not (again and odd & {"actual-interval", "actual-no-stop"})
    return Groups(dive.planned.group_before, before_holds, dive.planned.group_after, not odd)


# ---- rows ----


def record_rows(
    dives: Sequence[ActualDive], site_name: str, kept: KeptDay | None = None, *, private: bool = True
) -> list[dict[str, str]]:
    """Return one row of texts for each person and dive, planned values beside actual ones.

    kept    -- the day that the dives are of, for what stands in its plans only; None: those cells stay empty
    private -- whether the reader may see how people felt
    """
    return [_row(dive, site_name, kept, private) for dive in dives]


def record_csv(
    dives: Sequence[ActualDive], site_name: str, kept: KeptDay | None = None, *, private: bool = True
) -> str:
    """Return the record as CSV (RFC 4180), safe to open in a spreadsheet: no cell begins a formula."""
    return rows_csv(record_rows(dives, site_name, kept, private=private))


def rows_csv(rows: Iterable[Mapping[str, str]]) -> str:
    """Return rows of a record as CSV (RFC 4180) with its head; no cell begins a formula."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({name: harmless(value) for name, value in row.items()})
    return out.getvalue()


def felt(dive: ActualDive, private: bool) -> str:
    """Return what was written of how somebody felt; empty: nobody asked."""
    return ("; ".join(dive.discomfort) if private else ASK_THE_LEADER) if dive.discomfort else NOT_WRITTEN


def deviations(dive: ActualDive, private: bool) -> tuple[Check, ...]:
    """Return what was not as planned, or could not be judged.

    private -- whether the reader may see how people felt; who may not still learns that it stops the next dive
    """
    found = (check for check in dive.checks if check.outcome.severity > 0)
    return tuple(check if private or check.rule != "discomfort" else _without_words(check) for check in found)


def _without_words(check: Check) -> Check:
    sentence = f"{check.subject}: what is recorded after it stops the next dive. It is for the leader: ask."
    return replace(check, sentence=sentence, found=None, limit=None, unit="")


def _row(dive: ActualDive, site_name: str, kept: KeptDay | None, private: bool) -> dict[str, str]:
    planned = dive.planned
    plan = kept.planned(dive) if kept else None
    groups = groups_of(dive)
    return {
        "name": dive.person,
        "group": dive.group,
        "dive": str(dive.number),
        "date": dive.day.isoformat(),
        "site": site_name,
        "with": ", ".join(planned.partners) if planned else NOT_WRITTEN,
        "supervisor": kept.supervisor(dive) if kept else NOT_WRITTEN,
        "tables": " and ".join(words for words, _ in tables_of(plan)),
        "time_in": _clock(dive.time_in, dive),
        "time_out": _clock(dive.time_out, dive),
        "elapsed_min": _number(dive.elapsed_min),
        "planned_water_min": _number(planned.water_min) if planned else NOT_WRITTEN,
        "greatest_depth_m": _number(dive.depth_m),
        "planned_depth_m": _number(planned.depth_m) if planned else NOT_WRITTEN,
        "depth_limit_m": _number(planned.depth_limit_m) if planned else NOT_WRITTEN,
        "surface_interval_min": _number(dive.interval_min),
        "group_before": groups.before or NOT_WRITTEN if groups.before_holds else NOT_WRITTEN,
        "group_after": groups.after or NOT_WRITTEN if groups.after_holds else NOT_WRITTEN,
        "oxygen_percent": _number(dive.oxygen_percent),
        "max_operating_depth_m": _number(max_operating_depth_m(plan)) if planned else NOT_WRITTEN,
        "start_bar": _number(dive.start_bar),
        "end_bar": _number(dive.end_bar),
        "used_l": _number(dive.used_l),
        "discomfort": felt(dive, private),
        "diver_signed": _signature(dive.signed),
        "diver_signed_at": _clock(dive.signed.at, dive) if dive.signed else NOT_WRITTEN,
        "verified": _signature(dive.verified),
        "verified_at": _clock(dive.verified.at, dive) if dive.verified else NOT_WRITTEN,
        "deviations": " ".join(check.sentence for check in deviations(dive, private)),
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
