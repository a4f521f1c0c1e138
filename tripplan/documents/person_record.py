"""The dive record of one person: every dive that the store has entries of, with what is missing, as page, paper, table.

Who may not see how people felt is told that it is recorded and whom to ask, whatever it says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from tripplan.check import Check
from tripplan.documents.dive_record import KeptDay, deviations, felt, record_rows, rows_csv
from tripplan.documents.fonts import missing_sentences, printable
from tripplan.documents.record_sheet import NOT_WRITTEN, sheet_pdf
from tripplan.documents.words import DEMONSTRATION, clock, counted, date_words, depth_down, depth_up, duration
from tripplan.planning.actual import ActualDive, Signature
from tripplan.planning.live import alike


@dataclass(frozen=True)
class DiveOfPerson:
    """One dive of a person, with the day that it was made on."""

    kept: KeptDay
    dive: ActualDive

    @property
    def made(self) -> bool:
        """Whether anything written says that the person was in the water; else they were only planned for it."""
        dive = self.dive
        written = (dive.time_in, dive.time_out, dive.depth_m, dive.end_bar, dive.signed, dive.verified)
        return bool(dive.discomfort) or any(value is not None for value in written)


@dataclass(frozen=True)
class PersonRecord:
    """All dives of a person, in order of time."""

    name: str
    dives: tuple[DiveOfPerson, ...]
    private: bool  # whether the reader may see how the person felt
    faults: tuple[str, ...] = ()  # kept plans that cannot be read

    @property
    def made(self) -> tuple[ActualDive, ...]:
        """The dives of which something written says that they were made."""
        return tuple(each.dive for each in self.dives if each.made)

    @property
    def minutes(self) -> int:
        """Minutes in the water, of the dives whose times are written, each rounded up."""
        return sum(dive.elapsed_min or 0 for dive in self.made)

    @property
    def deepest_m(self) -> float | None:
        """The greatest depth written, rounded up to 0.1 m; None: none is written."""
        return max((dive.depth_m for dive in self.made if dive.depth_m is not None), default=None)

    @property
    def demonstration(self) -> bool:
        """Whether any of the days belongs to a demonstration."""
        return any(each.kept.demonstration for each in self.dives)


def person_record(name: str, days: Sequence[KeptDay], *, private: bool) -> PersonRecord:
    """Return the record of a person from the days that have entries about them; names are compared as on a beach.

    name    -- as it is shown where no entry has the person
    private -- whether the reader may see how the person felt
    """
    found = [DiveOfPerson(kept, dive) for kept in days for dive in kept.actual if alike(dive.person) == alike(name)]
    found.sort(key=lambda each: _when(each.dive))
    faults = tuple(f"{kept.site_name}, {date_words(kept.day)}: {fault}" for kept in days for fault in kept.faults)
    shown = found[-1].dive.person if found else " ".join(name.split())
    return PersonRecord(shown, tuple(found), private, faults)


def _when(dive: ActualDive) -> tuple[date, float, int]:
    planned = dive.planned.entry if dive.planned else None
    moment = next((at for at in (dive.time_in, dive.began, planned, dive.time_out) if at is not None), None)
    return dive.day, moment.timestamp() if moment else float("inf"), dive.number


def person_csv(record: PersonRecord) -> str:
    """Return the record as CSV (RFC 4180), a row for each dive; no cell begins a formula."""
    return rows_csv(
        row
        for each in record.dives
        for row in record_rows([each.dive], each.kept.site_name, each.kept, private=record.private)
    )


def person_record_pdf(record: PersonRecord, day: date, paper: str = "a4") -> bytes:
    """Return the record as a tagged PDF (PDF/UA-1).

    day -- of the making, which dates the document;  paper -- "a4" or "letter"

    Raises OutOfRange for another paper.
    """
    missing: dict[str, None] = {}
    values: dict[str, Any] = printable(person_values(record, day), missing)
    values["replaced"] = " ".join(missing_sentences(missing))
    return sheet_pdf("person", values, day, paper)


def person_values(record: PersonRecord, day: date) -> dict[str, Any]:
    """Return every word of the record."""
    return {
        "title": f"Dive record: {record.name}",
        "made": f"Made {date_words(day)} from the entries of the store",
        "demonstration": DEMONSTRATION if record.demonstration else "",
        "totals": totals_words(record),
        "faults": list(record.faults),
        "dives": [dive_values(each, record.private) for each in record.dives],
        "note": "" if record.private else "How the diver felt is not shown on this copy: ask the leader.",
    }


def totals_words(record: PersonRecord) -> list[list[str]]:
    """Return the totals, each with what it leaves out."""
    made = record.made
    untimed = sum(dive.elapsed_min is None for dive in made)
    undepthed = sum(dive.depth_m is None for dive in made)
    unsure = len(record.dives) - len(made)
    dives = counted(len(made), "dive")
    if unsure:
        dives += f"; of {unsure} more for which they were planned nobody has written whether they went in"
    minutes = f"{record.minutes} min"
    if untimed:
        minutes += f", without {counted(untimed, 'dive')} whose times are not written"
    deepest = depth_up(record.deepest_m) if record.deepest_m is not None else NOT_WRITTEN
    if undepthed:
        deepest += f"; of {counted(undepthed, 'dive')} no depth is written"
    return [["Dives", dives], ["In the water", minutes], ["Deepest", deepest]]


def dive_values(each: DiveOfPerson, private: bool) -> dict[str, Any]:
    """Return the words of one dive; an empty one is not written."""
    kept, dive = each.kept, each.dive
    planned = dive.planned
    depth = "" if planned is None or planned.depth_m is None else f"planned {depth_down(planned.depth_m)}"
    water = "" if planned is None or planned.water_min is None else f"planned {duration(planned.water_min)}"
    bars = [dive.start_bar, dive.end_bar]
    gauge = " to ".join(NOT_WRITTEN if bar is None else f"{bar:g} bar" for bar in bars)
    if bars == [None, None]:
        gauge = ""
    percent = dive.oxygen_percent
    return {
        "title": f"{date_words(dive.day)}, {kept.site_name}",
        "dive": f"{dive.group}, dive {dive.number}",
        "made": each.made,
        "rows": [
            ["In", "" if dive.time_in is None else clock(dive.time_in, dive.day), ""],
            ["Out", "" if dive.time_out is None else clock(dive.time_out, dive.day), ""],
            ["Elapsed", "" if dive.elapsed_min is None else f"{dive.elapsed_min} min", water],
            ["Greatest depth", "" if dive.depth_m is None else depth_up(dive.depth_m), depth],
            ["Gas", "" if percent is None else f"{percent:g} % oxygen, by the plan", ""],
            ["Gauge", gauge, "" if dive.used_l is None else f"{dive.used_l} l used"],
            ["With", ", ".join(planned.partners) if planned else "", _group_words(each)],
            ["Supervisor", kept.supervisor(dive), ""],
            ["Felt", felt(dive, private), ""],
            ["Signed by the diver", _signed(dive.signed, dive), ""],
            ["Verified", _signed(dive.verified, dive), ""],
        ],
        "deviations": [[check.outcome.value, _short(check, dive)] for check in deviations(dive, private)],
        "plan": ", ".join(kept.revisions) if kept.begun else "",
        "timezone": kept.timezone,
    }


def _group_words(each: DiveOfPerson) -> str:
    """Return who else was on the dive by its plan and its entries."""
    dive = each.dive
    others = [
        other.person
        for other in each.kept.actual
        if (alike(other.group), other.number) == (alike(dive.group), dive.number)
        and alike(other.person) != alike(dive.person)
    ]
    return f"on the dive: {', '.join(others)}" if others else ""


def _signed(found: Signature | None, dive: ActualDive) -> str:
    if found is None:
        return ""
    return f"{found.by}, {found.identity or 'no identity given'}, {clock(found.at, dive.day)}"


def _short(check: Check, dive: ActualDive) -> str:
    words = check.sentence.removeprefix(f"{dive.words}: ")
    return words[:1].upper() + words[1:]
