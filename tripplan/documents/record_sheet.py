"""The record sheet of a day: each diver's dive, the head counts and what went wrong, with lines for what is missing.

A4 or Letter, black on white, tagged for screen readers, equal bytes for an equal day. What nobody wrote is said to be
missing and has a line to write on: nothing that is empty looks as if it were in order.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import MAXYEAR, UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from tripplan.check import Check, Outcome
from tripplan.data_files import data_dir
from tripplan.documents.day_sheet import PAPERS
from tripplan.documents.dive_record import KeptDay, deviations, groups_of, max_operating_depth_m, tables_of
from tripplan.documents.fonts import FAMILIES, missing_sentences, printable, typst_fonts
from tripplan.documents.words import (
    DEMONSTRATION,
    clock,
    counted,
    date_words,
    depth_down,
    depth_up,
    duration,
    height,
    source_words,
)
from tripplan.emergency.scenarios import gear_and_record
from tripplan.errors import OutOfRange
from tripplan.language import ENGLISH
from tripplan.planning.actual import ActualDive, Planned, Signature
from tripplan.planning.event import OF_A_DIVE, Event
from tripplan.planning.live import NO_DISCOMFORT, Count, CountPair, LiveDay, alike, live_day, planned_people, standing
from tripplan.planning.plan import DivePlan
from tripplan.rulebook import RuleBook

NOT_WRITTEN = "not written"
UNKNOWN_NAME = "nobody is named"
FIRST_MOMENT, BEFORE_ENTRY, AFTER_EXIT, LAST_MOMENT = "assemble", "before entry", "after exit", "before leaving"
# What could not be judged because something is missing, in the words of one sentence.
_JUDGED = {
    "actual-depth": "the depth against the plan",
    "actual-depth-limit": "the depth against the limit",
    "actual-time": "the time in the water",
    "actual-no-stop": "whether a stop was left out",
    "actual-interval": "the time ashore before it",
    "actual-out-by": "whether they were out in time",
    "actual-reserve": "the reserve",
}


def record_sheet_pdf(
    kept: KeptDay, expected: Sequence[str], now: datetime, rules: RuleBook, paper: str = "a4"
) -> bytes:
    """Return the record of a day as a tagged PDF (PDF/UA-1).

    expected -- names of everybody expected at the site;  now -- aware;  paper -- "a4" or "letter"

    Equal days give equal bytes: the document's date is the day. Raises OutOfRange for another paper.
    """
    return sheet_pdf("record", record_values(kept, expected, now, rules), kept.day, paper)


def sheet_pdf(template: str, values: Mapping[str, Any], day: date, paper: str) -> bytes:
    """Return a record as a tagged PDF (PDF/UA-1), dated by a day.  Raises OutOfRange for an unknown paper."""
    import typst

    if paper not in PAPERS:
        raise OutOfRange(f'paper is "{paper}"; it must be "a4" or "letter"')
    pdf = typst.compile(
        input=(data_dir("templates") / "sheets" / f"{template}.typ").read_bytes(),
        font_paths=typst_fonts(),
        sys_inputs={"data": json.dumps({**values, "paper": PAPERS[paper], "fonts": FAMILIES}, allow_nan=False)},
        pdf_standards="ua-1",
        timestamp=datetime(day.year, day.month, day.day, tzinfo=UTC),
    )
    return bytes(pdf)


def record_values(kept: KeptDay, expected: Sequence[str], now: datetime, rules: RuleBook) -> dict[str, Any]:
    """Return every word of the sheet, in which each character can be printed.

    A character that the sheet's fonts lack becomes "?", and ``replaced`` is the sentence that says so ("" if none).
    """
    missing: dict[str, None] = {}
    values: dict[str, Any] = printable(_values(kept, expected, now, rules), missing)
    values["replaced"] = " ".join(missing_sentences(missing))
    return values


# ---- words ----


def _cell(label: str, value: str, planned: str = "", *, gap: bool | None = None) -> dict[str, Any]:
    """Return a field: what is written, what was planned, and whether there is a line to write on."""
    return {
        "label": label,
        "value": value or NOT_WRITTEN,
        "planned": planned,
        "gap": not value if gap is None else gap,
    }


def _values(kept: KeptDay, expected: Sequence[str], now: datetime, rules: RuleBook) -> dict[str, Any]:
    local = now.astimezone(ZoneInfo(kept.timezone))
    live = live_day(kept.entries, kept.dives, expected, local, rules)
    held = standing(kept.entries)
    incidents = [event for event in held.entries if event.kind == "incident"]
    return {
        "title": f"Record: {kept.site_name}, {date_words(kept.day)}",
        "site": kept.site_name,
        "date": date_words(kept.day),
        "timezone": kept.timezone,
        "revision": _revision_words(kept),
        "demonstration": DEMONSTRATION if kept.demonstration else "",
        "made": f"Made {clock(local, kept.day)} from {counted(len(kept.entries), 'entry', 'entries')}"
        f"{_taken_out_words(len(held.taken_out))}.",
        "faults": list(kept.faults),
        "open": _open(kept, live),
        "head": _head(kept),
        "conditions": _conditions(kept, held.entries),
        "dives": list(_dives(kept, held.entries)),
        "unmade": list(_unmade(kept)),
        "counts": _counts(kept, live, held.entries),
        "signed_in": _signed_in(kept, live, held.entries),
        "emergency": _emergency_cells(incidents),
        "incidents": [_incident(kept, event) for event in incidents],
        "keep": list(gear_and_record(ENGLISH)),
        "keep_source": f"Sources: {source_words('NOAA_EMERGENCY')}; {source_words('DIVER_SAFETY_PLAN')}.",
        "kept_for": _kept_for(kept, rules),
        "sources": _sources(kept),
    }


def _revision_words(kept: KeptDay) -> str:
    revisions = ", ".join(kept.revisions)
    if not revisions:
        return "no plan was kept for this day"
    return revisions if kept.begun else f"{revisions}, not kept yet: nothing was written on the day"


def _taken_out_words(count: int) -> str:
    return f"; {count} of them taken back or replaced, which do not count here" if count else ""


def _open(kept: KeptDay, live: LiveDay) -> list[str]:
    """Return what is not in order: that it is said first keeps a long sheet from looking complete."""
    lines = []
    incomplete = sum(bool(dive.gaps) for dive in kept.actual)
    if not kept.actual:
        lines.append("No entry says that a dive was made.")
    elif incomplete:
        lines.append(f"{incomplete} of {counted(len(kept.actual), 'record')} of a diver's dive are not complete.")
    if stops := [c for dive in kept.actual for c in dive.checks if c.outcome is Outcome.STOP]:
        names = ", ".join(dict.fromkeys(check.subject for check in stops))
        lines.append(f"{counted(len(stops), 'stop')} to settle before anybody of these dives again: {names}.")
    if live.in_water:
        lines.append(f"IN THE WATER by the entries: {', '.join(live.in_water)}. Find them now.")
    if not live.clear:
        lines.append(f"The site is not clear by the entries: {counted(len(live.missing), 'thing')} missing.")
    return lines


def _head(kept: KeptDay) -> list[dict[str, Any]]:
    emergencies = [plan.get("emergency") or {} for plan in kept.plans]

    def named(key: str) -> str:
        return ", ".join(dict.fromkeys(str(one[key]).strip() for one in emergencies if one.get(key)))

    rules_here = "; ".join(dict.fromkeys(str(plan["rules_here"]) for plan in kept.plans if plan.get("rules_here")))
    return [
        _cell("Date", date_words(kept.day)),
        _cell("Location", ", ".join(part for part in (kept.site_name, named("position_words")) if part)),
        _cell("Supervisor (dive director by the plan)", named("dive_director")),
        _cell("Shore watch by the plan", named("shore_watch")),
        _cell("Plan held, revision", _revision_words(kept), gap=not kept.revisions),
        _cell("Code that holds here", rules_here),
    ]


# ---- conditions ----


def _conditions(kept: KeptDay, entries: Sequence[Event]) -> dict[str, Any]:
    told = [str(line) for plan in kept.plans for line in plan.get("conditions") or ()]
    forecast = [line for line in told if not line.startswith("Seen: ")]
    if not forecast:
        forecast = [str(plan["forecast"]) for plan in kept.plans if plan.get("forecast")]
    seen = [f"Before the plan was kept: {line.removeprefix('Seen: ')}" for line in told if line.startswith("Seen: ")]
    notes = [
        f"{clock(event.at, kept.day)}, {event.by.strip()}: {event.text.strip()}"
        for event in entries
        if event.kind == "note"
    ]
    tides = [
        f"{dive.group}, dive {dive.number}: tide {height(dive.tide_entry_m)} going in, "
        f"{height(dive.tide_exit_m)} coming out"
        for dive in kept.dives
        if dive.tide_entry_m is not None or dive.tide_exit_m is not None
    ]
    water = [f"Water: {plan['water']}" for plan in kept.plans if plan.get("water")]
    return {
        "forecast": list(dict.fromkeys((*forecast, *tides, *water))) or ["No plan was kept, so no forecast is known."],
        "seen": list(dict.fromkeys(seen)),
        "notes": notes,
        "gap": "" if seen or notes else "What the site was really like is not written.",
    }


# ---- dives ----


def _dives(kept: KeptDay, entries: Sequence[Event]) -> Iterator[dict[str, Any]]:
    by_dive: dict[tuple[str, int], list[ActualDive]] = {}
    for dive in kept.actual:
        by_dive.setdefault((alike(dive.group), dive.number), []).append(dive)
    for people in by_dive.values():
        first = people[0]
        plan = kept.planned(first)
        yield {
            "name": f"{first.group}, dive {first.number}" + (f": {plan.kind_words}" if plan else ""),
            "rows": _dive_rows(kept, first, plan),
            "people": [_card(kept, dive, plan, entries) for dive in people],
        }


def _dive_rows(kept: KeptDay, dive: ActualDive, plan: DivePlan | None) -> list[dict[str, Any]]:
    day = kept.day
    if plan is None:
        return [_cell("Planned", "This dive is not in the plan that was kept.", gap=True)]
    times = "no time was planned"
    if plan.entry is not None:
        times = (
            f"in {clock(plan.entry, day)}, down {clock(plan.descent, day)}, out {clock(plan.exit, day)}, "
            f"out by {clock(plan.exit_by, day)}; {depth_down(plan.depth_m)} for {duration(plan.bottom_time_min)}"
        )
    tables = tables_of(plan)
    used = " and ".join(words for words, _ in tables)
    shorter = "; the shorter time of the two counted" if len(tables) > 1 else ""
    return [
        _cell("Planned", times),
        _cell("Place", f"{plan.place}; in by {plan.going_in_by}, out by {plan.coming_out_by}"),
        _cell("Supervisor", kept.supervisor(dive)),
        _cell("Tables used by the plan", f"{used}{shorter}" if used else ""),
    ]


def _unmade(kept: KeptDay) -> Iterator[dict[str, str]]:
    """Yield the planned dives of which nothing is written: nobody is taken as having stayed ashore."""
    made = {(alike(dive.group), dive.number) for dive in kept.actual}
    for plan in kept.dives:
        if (alike(plan.group), plan.number) not in made:
            when = "no time was planned" if plan.entry is None else f"planned in {clock(plan.entry, kept.day)}"
            people = ", ".join(planned_people(plan)) or UNKNOWN_NAME
            yield {
                "name": f"{plan.group}, dive {plan.number}",
                "words": f"{when}; {people}. No entry says that it was made, and none that it was not.",
            }


def _card(kept: KeptDay, dive: ActualDive, plan: DivePlan | None, entries: Sequence[Event]) -> dict[str, Any]:
    planned = dive.planned
    pair = "with " + ", ".join(planned.partners) if planned and planned.partners else "pair not written"
    supervisor = kept.supervisor(dive)
    return {
        "name": dive.person,
        "line": f"{dive.group}, dive {dive.number}; {pair}. {date_words(kept.day)}, {kept.site_name}"
        f"{', ' + plan.place if plan else ''}. Supervisor: {supervisor or NOT_WRITTEN}.",
        "cells": [
            *_time_cells(kept, dive, planned),
            *_table_cells(dive, planned),
            *_gas_cells(dive, planned, plan),
        ],
        "computer": _cell(
            "Computer or tables that the diver went by",
            "",
            f"The plan used {' and '.join(words for words, _ in tables_of(plan)) or 'none that is known'}.",
        ),
        "felt": _felt(kept, dive, entries),
        "signatures": [
            _signature("The diver signs", dive.signed, kept.day),
            _signature("An authorised person verifies", dive.verified, kept.day),
        ],
        "beside": list(_beside(dive)),
        "missing": f"{_capital('; '.join(dive.gaps))}." if dive.gaps else "",
    }


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _time_cells(kept: KeptDay, dive: ActualDive, planned: Planned | None) -> list[dict[str, Any]]:
    def at(moment: datetime | None) -> str:
        return "" if moment is None else clock(moment, kept.day)

    def plan(words: str, known: object) -> str:
        return "planned: not known" if planned is None or known is None else f"planned {words}"

    entry, out = (planned.entry, planned.exit) if planned else (None, None)
    water, depth_m, limit_m = (
        (planned.water_min, planned.depth_m, planned.depth_limit_m) if planned else (None, None, None)
    )
    limit = "" if limit_m is None else f", limit {depth_down(limit_m)}"
    return [
        _cell("Left surface (went in)", at(dive.time_in), plan(at(entry), entry)),
        _cell("Surfaced (came out)", at(dive.time_out), plan(at(out), out)),
        _cell(
            "Elapsed time", "" if dive.elapsed_min is None else f"{dive.elapsed_min} min", plan(f"{water} min", water)
        ),
        _cell(
            "Greatest depth",
            "" if dive.depth_m is None else depth_up(dive.depth_m),
            plan(f"{depth_down(depth_m)}{limit}", depth_m),
        ),
    ]


def _table_cells(dive: ActualDive, planned: Planned | None) -> list[dict[str, Any]]:
    groups = groups_of(dive)
    known = planned is not None and planned.no_stop_known
    again = any(check.rule == "actual-interval" for check in dive.checks)
    shortest = planned.surface_interval_min if planned else None
    interval = "" if dive.interval_min is None else f"{dive.interval_min} min"
    if not interval and not again:
        interval = "no earlier dive is written here today"
    before = f"{groups.before or 'none'}, by the plan" if known else ""
    after = f"{groups.after}, by the plan" if known and groups.after else ""
    lost = "The plan’s {} does not hold: read the tables."
    return [
        _cell(
            "Surface interval before", interval, "" if shortest is None else f"planned {shortest} min, shortest of all"
        ),
        _cell("Repetitive group before", before)
        if groups.before_holds or not before
        else _cell("Repetitive group before", lost.format(groups.before or "none"), gap=True),
        _cell("Repetitive group after", after)
        if groups.after_holds or not after
        else _cell("Repetitive group after", lost.format(groups.after), gap=True),
        _cell("Repetitive factor", ""),
    ]


def _gas_cells(dive: ActualDive, planned: Planned | None, plan: DivePlan | None) -> list[dict[str, Any]]:
    percent = dive.oxygen_percent
    enriched = percent is not None and percent > 21
    deepest_m = max_operating_depth_m(plan) if planned else None
    richest = plan is not None and percent is not None and percent < plan.oxygen_percent
    reserve = planned.reserve_bar if planned else None
    ended = ""
    if dive.end_bar is not None:
        used = f"; {dive.used_l} l used" if dive.used_l is not None else ""
        ended = f"{math.floor(dive.end_bar * 10 + 1e-6) / 10:g} bar{used}"
    return [
        _cell(
            "Oxygen in the gas",
            "" if percent is None else f"{percent:g} %, by the plan{'; analysed, %:' if enriched else ''}",
            gap=enriched or percent is None,
        ),
        _cell(
            "Maximum operating depth",
            "" if deepest_m is None else f"{depth_down(deepest_m)}, by the plan",
            "of the dive’s richest gas" if richest else "",
        ),
        _cell("Gauge at the start", "" if dive.start_bar is None else f"{dive.start_bar:g} bar"),
        _cell("Gauge at the end", ended, "" if reserve is None else f"planned {reserve:g} bar or more"),
    ]


def _felt(kept: KeptDay, dive: ActualDive, entries: Sequence[Event]) -> dict[str, Any]:
    own = _incidents_of(dive, entries)
    told = [f"(Incident at {clock(each.at, kept.day)}: see its own part of this sheet.)" for each in own]
    words = "; ".join(dive.discomfort)
    return _cell(
        "Incident, problem, discomfort or injury; “none” is an answer",
        " ".join((words or f"{NOT_WRITTEN}: nobody asked.", *told)),
        gap=not words,
    )


def _incidents_of(dive: ActualDive, entries: Sequence[Event]) -> list[Event]:
    return [
        each
        for each in entries
        if each.kind == "incident"
        and alike(each.person) == alike(dive.person)
        and (not each.dive or each.dive == dive.number)
    ]


def _signature(label: str, found: Signature | None, day: date) -> dict[str, Any]:
    lines = [
        _cell("Name", found.by if found else ""),
        _cell("Identity", found.identity if found else ""),
        _cell("Time", clock(found.at, day) if found else ""),
    ]
    return {"label": label, "lines": lines}


def _beside(dive: ActualDive) -> Iterator[dict[str, str]]:
    """Yield what was not as planned; what could not be judged stands in one sentence."""
    unjudged: list[str] = []
    for check in deviations(dive, private=True):
        if check.rule == "record-complete":
            continue
        if check.rule in _JUDGED and check.found is None:
            unjudged.append(_JUDGED[check.rule])
        else:
            yield {"outcome": check.outcome.value, "words": _short(check, dive)}
    if unjudged:
        yield {
            "outcome": Outcome.CAUTION.value,
            "words": f"Not judged, as it is not known or was not planned: {', '.join(unjudged)}.",
        }


def _short(check: Check, dive: ActualDive) -> str:
    """Return a sentence without the name that stands above it."""
    return _capital(check.sentence.removeprefix(f"{dive.words}: "))


# ---- counting ----


@dataclass(frozen=True)
class _Tally:
    moment: str
    group: str
    first: Count
    second: Count | None

    @property
    def since(self) -> float:
        return self.first.at.timestamp()

    @property
    def until(self) -> float:
        return (self.second or self.first).at.timestamp()


def _tallies(live: LiveDay, entries: Sequence[Event]) -> list[_Tally]:
    """Return every count that holds, in pairs where two people counted the same moment."""
    pairs = [_tally_of(pair) for pair in live.count.pairs]
    paired = {(alike(count.by), count.at) for pair in live.count.pairs for count in (pair.first, pair.second)}
    alone = [
        _Tally(
            " ".join(event.text.split()),
            " ".join(event.group.split()),
            Count(event.by.strip(), event.at, event.value or 0.0, -1, 0, event.identity.strip()),
            None,
        )
        for event in entries
        if event.kind == "count" and (alike(event.by), event.at) not in paired
    ]
    return sorted((*pairs, *alone), key=lambda tally: tally.since)


def _tally_of(pair: CountPair) -> _Tally:
    return _Tally(pair.moment, pair.group, pair.first, pair.second)


def _counts(kept: KeptDay, live: LiveDay, entries: Sequence[Event]) -> dict[str, Any]:
    """Return the head counts at each moment at which one is due, and every other one."""
    tallies = _tallies(live, entries)
    rows: list[dict[str, Any]] = []
    used: list[_Tally] = []
    for label, found in _moments(kept, entries, tallies):
        used.extend(found)
        rows.extend(_count_rows(kept, label, found))
    for tally in tallies:
        if tally not in used:
            label = f"Another count: {tally.moment or 'moment not written'}"
            rows.extend(_count_rows(kept, f"{label}{', ' + tally.group if tally.group else ''}", [tally]))
    return {"rows": rows, "sentence": live.count.sentence, "missing": list(live.missing)}


def _moments(kept: KeptDay, entries: Sequence[Event], tallies: Sequence[_Tally]) -> Iterator[tuple[str, list[_Tally]]]:
    """Yield each moment of the day at which people are counted, with its counts.

    A count before an entry is good for a dive where nobody came out between the two, one after an exit where nobody
    went in.
    """
    ins = [event.at.timestamp() for event in entries if event.kind == "in"]
    outs = [event.at.timestamp() for event in entries if event.kind == "out"]
    yield "Assembled", [tally for tally in tallies if alike(tally.moment) == FIRST_MOMENT]
    slots: dict[tuple[int, ...], tuple[str, list[_Tally]]] = {}
    dives = {(alike(dive.group), dive.number): dive for dive in reversed(kept.actual)}
    order = sorted(dives.values(), key=lambda dive: dive.began.timestamp() if dive.began else math.inf)
    for dive in order:
        name = f"{dive.group}, dive {dive.number}"
        before: list[_Tally] = []
        if dive.began is not None:
            began = dive.began.timestamp()
            before = [
                tally
                for tally in tallies
                if alike(tally.moment) == BEFORE_ENTRY
                and _is_of(tally, dive)
                and tally.until <= began
                and not any(tally.since < out <= began for out in outs)
            ]
        after: list[_Tally] = []
        if dive.ended is not None:
            ended = dive.ended.timestamp()
            after = [
                tally
                for tally in tallies
                if alike(tally.moment) == AFTER_EXIT
                and _is_of(tally, dive)
                and tally.since >= ended
                and not any(ended <= into < tally.since for into in ins)
            ]
        for number, (what, found) in enumerate((("Before entry", before), ("After exit", after))):
            # One count is good for several dives; where nobody counted, each dive has a row of its own.
            key = (number, *(id(tally) for tally in found)) if found else (number, -1, len(slots))
            label, counts = slots.get(key, (what, found))
            slots[key] = (f"{label}{':' if label == what else ';'} {name}", counts)
    yield from slots.values()
    yield "Before leaving", [tally for tally in tallies if alike(tally.moment) == LAST_MOMENT]


def _is_of(tally: _Tally, dive: ActualDive) -> bool:
    return not tally.group or alike(tally.group) == alike(dive.group)


def _count_rows(kept: KeptDay, label: str, found: Sequence[_Tally]) -> Iterator[dict[str, Any]]:
    if not found:
        yield {"label": label, "cells": [""] * 6, "agree": ""}
    for number, tally in enumerate(found):
        first, second = tally.first, tally.second
        listed = "" if first.listed < 0 else f"{first.listed}"
        if second is not None and second.listed != first.listed:
            listed += f", then {second.listed}"
        agree = ""
        if second is not None:
            agree = "YES" if first.fits and second.fits else "NO: recount"
        yield {
            "label": label if number == 0 else "Recount" if not _agrees(found[number - 1]) else "Again",
            "cells": [
                _named(first),
                f"{clock(first.at, kept.day)}: {first.people:g}",
                _named(second) if second else "",
                f"{clock(second.at, kept.day)}: {second.people:g}" if second else "",
                listed,
                agree,
            ],
            "agree": agree,
        }


def _agrees(tally: _Tally) -> bool:
    return tally.second is not None and tally.first.fits and tally.second.fits


def _named(count: Count) -> str:
    return f"{count.by} ({count.identity})" if count.identity else count.by


def _signed_in(kept: KeptDay, live: LiveDay, entries: Sequence[Event]) -> dict[str, Any]:
    """Return when each person was first and last at the site by the entries."""
    came: dict[str, Event] = {}
    seen: dict[str, Event] = {}
    left: dict[str, Event] = {}
    for event in entries:
        name = alike(event.person)
        if event.kind == "assembled":
            came.setdefault(name, event)
        if event.kind == "left":
            left[name] = event
        elif event.kind in ("assembled", "in", "out"):
            seen.setdefault(name, event)
            left.pop(name, None)
    rows = []
    gaps = 0
    for person in live.people:
        if not person.of_today:
            continue
        name = alike(person.name)
        arrived, gone = came.get(name), left.get(name)
        first = seen.get(name)
        note = ""
        if arrived is None and first is not None:
            verb = "went in" if first.kind == "in" else "came out"
            note = f"first written at {clock(first.at, kept.day)}: {verb}"
        gaps += arrived is None or gone is None
        rows.append(
            {
                "name": person.name,
                "in": clock(arrived.at, kept.day) if arrived else "",
                "out": clock(gone.at, kept.day) if gone else "",
                "note": "; ".join(
                    part for part in (note, "IN THE WATER by the entries" if person.where == "in_water" else "") if part
                ),
            }
        )
    everybody = counted(len(rows), "person", "people")
    if not rows:
        sentence = "Nobody is expected or named in an entry."
    elif gaps:
        sentence = f"NO: of {everybody}, {gaps} have no entry that they came, or none that they left."
    else:
        sentence = f"YES: all {everybody} have an entry that they came and one that they left."
    return {"rows": rows, "sentence": sentence, "complete": bool(rows) and not gaps}


def _emergency_cells(incidents: Sequence[Event]) -> list[dict[str, Any]]:
    known = "incidents are written below" if incidents else "no incident is written"
    return [
        _cell("Time at which the emergency plan was started; “not started” is an answer", "", known),
        _cell("Observers, and guardians of those under age, are on the list above: checked by", ""),
        _cell("Vehicles and keys checked before the site was called clear: time and name", ""),
    ]


# ---- incidents ----


def _incident(kept: KeptDay, event: Event) -> dict[str, Any]:
    people = event.person.strip()
    dive = f"{' '.join(event.group.split())}, dive {event.dive}" if event.group and event.dive else ""
    return {
        "title": f"Incident, {clock(event.at, kept.day)}",
        "by": event.by.strip(),
        "text": event.text.strip(),
        "cells": [
            _cell("Written at", clock(event.at, kept.day)),
            _cell("Written by", event.by.strip()),
            _cell("People", people),
            _cell("Dive", dive),
        ],
        "fill": [
            "It happened at (time, place)",
            "Computer kept by, where",
            "Gear kept as it was, not taken apart, by, where",
            "Witnesses: names and numbers",
            "Who was told, when, by whom",
            "Emergency plan started at",
        ],
    }


def _kept_for(kept: KeptDay, rules: RuleBook) -> str:
    """Return how long the sheet is kept: the longest of the rules that speak of such a day; empty: none does.

    An incident or a discomfort that was taken back counts here: whether it was one is for others to settle.
    """
    ill = any(event.kind == "discomfort" and _is_felt(event.text) for event in kept.entries)
    incident = any(event.kind == "incident" for event in kept.entries)
    keys = ["retention.record_years"]
    if ill or incident:
        keys.append("retention.incident_years")
    if ill or (incident and any(event.kind in OF_A_DIVE for event in kept.entries)):
        keys.append("retention.decompression_incident_years")
    found = [rules[key] for key in keys if key in rules.rules]
    if not found:
        return ""
    rule = max(found, key=lambda each: each.value)
    last = max((kept.day, *(event.at.date() for event in kept.entries)))
    until = date_words(_years_later(last, math.ceil(rule.value)))
    return f"Until {until} at least, counted from the last entry. {source_words(rule.key, rules)}."


def _is_felt(text: str) -> bool:
    return alike(text).rstrip(".") != NO_DISCOMFORT


def _years_later(day: date, years: int) -> date:
    """Return the same day some years later; the last of February of a leap year is kept a day longer.

    Beyond the last date that can be written it is that one.
    """
    if day.year + years > MAXYEAR:
        return date.max
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def _sources(kept: KeptDay) -> str:
    found = dict.fromkeys(source for plan in kept.dives for _, source in tables_of(plan))
    told = [source_words(source) for source in found]
    told.append(f"what a record holds: {source_words('AU_WHS')}")
    return "; ".join(told)
