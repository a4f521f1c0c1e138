"""The slate: how long a further dive may last when the first was not as planned, for reading on the beach."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime

from tripplan.errors import OutOfRange
from tripplan.physics.no_stop import LONGEST_INTERVAL_MIN, Exposure, no_stop_limits
from tripplan.planning.plan import DivePlan, Slate, SlateRow
from tripplan.planning.timing import Ledger, ascent_min, minute_of
from tripplan.rulebook import RuleBook

# What the first dive may have been: metres and minutes beyond the plan. Each row is at least as deep and as long as the
# one above it, so that the first row that covers the dive is the one to read.
BEYOND_PLAN = ((-2.0, 0), (0.0, 0), (0.0, 5), (2.0, 5), (2.0, 10), (4.0, 10))
INTERVALS = (1.0, 1.5, 2.0, 3.0)  # of the shortest surface interval that is planned
WHOLE_MIN = 15  # the longer intervals are rounded up to quarters of an hour, as a watch is read
HOUSE = ("house", "cold")  # what limits any dive of these people, whatever they have dived before


def slate_of(dives: Sequence[DivePlan], ledger: Ledger, midnight: datetime, rules: RuleBook) -> tuple[Slate, ...]:
    """Return a slate for every group whose first dive has a time, in the order of these dives.

    dives    -- of the day, by time
    ledger   -- with what everybody has dived before and dives today
    midnight -- the start of the day from which the ledger counts its minutes

    A cell is the shortest no-stop time of the group's people by both methods, each with the dives before today, never
    longer than the house allows; 0 where the tables have no answer. Source: NAVY_7, NAVY_RULES, ZH_L16C.
    """
    return tuple(
        found
        for dive in dives
        if dive.number == 1 and dive.descent is not None and dive.depth_m and dive.bottom_time_min
        if (found := _slate(dive, dives, ledger, midnight, rules)) is not None
    )


def further_no_stop_min(
    before: tuple[Exposure, ...],
    first: Exposure,
    descent: float,
    depth_m: float,
    oxygen_percent: float,
    ledger: Ledger,
    rules: RuleBook,
) -> int | None:
    """Return the no-stop time on a further dive of whoever dived the same, minutes; None: no limit; 0: no answer.

    before  -- the dives before the group's first one
    first   -- the group's first dive as it was, with the surface interval after it
    descent -- when the first dive left the surface, minute of the day
    """
    again = descent + first.bottom_time_min + ascent_min(first.depth_m, rules) + first.interval_after_min
    try:
        return no_stop_limits(
            depth_m,
            ledger.surroundings,
            (*before, first),
            rules,
            hours_since_arrival_h=ledger.hours_since_arrival_h(again),
            oxygen_percent=oxygen_percent,
        ).no_stop_min
    except OutOfRange:  # beyond the tables: nobody knows, so nobody dives
        return 0


def _slate(
    first: DivePlan, dives: Sequence[DivePlan], ledger: Ledger, midnight: datetime, rules: RuleBook
) -> Slate | None:
    assert first.descent is not None and first.depth_m is not None and first.bottom_time_min is not None
    second = next((dive for dive in dives if dive.group == first.group and dive.number == 2), None)
    further = second if second is not None and second.depth_m else first
    assert further.depth_m is not None
    descent = minute_of(first.descent, midnight)
    not_for = tuple(p.name for p in first.people if _dives_elsewhere(p.name, first, second, dives, ledger, midnight))
    names = [person.name for person in first.people if person.name not in not_for]
    if not names:
        return None
    # Most of a group have dived the same before, and the same dives leave the same time.
    so_far = tuple(dict.fromkeys(ledger.exposures(name, descent) for name in names))
    cap = min(
        (c for c in first.time.candidates if c.name in HOUSE and c.value is not None),
        key=lambda candidate: candidate.value or 0.0,
    )
    cap_min = math.floor(cap.value or 0.0)
    intervals = _intervals(rules.value("surface_interval.shortest_min"))
    rows: list[SlateRow] = []
    for deeper_m, longer_min in BEYOND_PLAN:
        depth_m, minutes = round(first.depth_m + deeper_m, 1), first.bottom_time_min + longer_min
        if depth_m < 1:
            continue
        cells = []
        for interval in intervals:
            was = Exposure(depth_m, minutes, interval, first.oxygen_percent)
            allowed = [
                further_no_stop_min(before, was, descent, further.depth_m, further.oxygen_percent, ledger, rules)
                for before in so_far
            ]
            cells.append(min([cap_min, *(found for found in allowed if found is not None)]))
        if rows and rows[-1].cells == tuple(cells):
            rows.pop()  # the harder row says the same, and covers the one before it
        rows.append(SlateRow(depth_m, minutes, tuple(cells)))
    return Slate(
        group=first.group,
        depth_m=further.depth_m,
        oxygen_percent=further.oxygen_percent,
        intervals_min=intervals,
        rows=tuple(rows),
        cap_because=cap.sentence,
        not_for=not_for,
    )


def _intervals(shortest_min: float) -> tuple[int, ...]:
    """Return the surface intervals of the columns, whole minutes, the shortest one that is planned first."""
    longer = (math.ceil(shortest_min * share / WHOLE_MIN) * WHOLE_MIN for share in INTERVALS[1:])
    found = dict.fromkeys([math.ceil(shortest_min * INTERVALS[0]), *longer])
    return tuple(sorted(min(minutes, int(LONGEST_INTERVAL_MIN)) for minutes in found if minutes >= shortest_min))


def _dives_elsewhere(
    name: str,
    first: DivePlan,
    second: DivePlan | None,
    dives: Sequence[DivePlan],
    ledger: Ledger,
    midnight: datetime,
) -> bool:
    """Return whether a person dives with others after the group's first dive and before its second: no row says so."""
    assert first.descent is not None
    start = minute_of(first.descent, midnight)
    end = minute_of(second.descent, midnight) if second is not None and second.descent is not None else math.inf
    own = {minute_of(d.descent, midnight) for d in dives if d.group == first.group and d.descent is not None}
    return any(start < done.descent < end and done.descent not in own for done in ledger.done.get(name, []))
