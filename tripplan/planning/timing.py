"""When each dive of the day goes in: the earliest minute at which everything that the day already holds allows it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from tripplan.catalogue.site import Place, Site
from tripplan.check import Outcome
from tripplan.errors import OutOfRange
from tripplan.people.group import KINDS, Kind
from tripplan.people.person import Person
from tripplan.physics.no_stop import LONGEST_INTERVAL_MIN, Exposure, NoStop, Surroundings, no_stop_limits
from tripplan.planning.crew import check_oxygen_provider
from tripplan.planning.request import DiveWish, GroupWish, Request
from tripplan.planning.window import Window, runs
from tripplan.rulebook import RuleBook


@dataclass(frozen=True)
class Done:
    """A dive that a person has behind them, or has planned earlier today, in minutes of the day (may be negative)."""

    depth_m: float
    bottom_time_min: int
    descent: float
    surfaced: float
    out: float
    oxygen_percent: float
    surroundings: Surroundings | None = None  # None: those of today's site


@dataclass
class Ledger:
    """What the day holds so far: who dived when, and who is in the water when."""

    surroundings: Surroundings
    rules: RuleBook
    arrived: int | None  # minute of the day; None: not known
    settled: bool
    done: dict[str, list[Done]] = field(default_factory=dict)
    in_water: list[tuple[int, int, tuple[str, ...]]] = field(default_factory=list)
    memo: dict[tuple[object, ...], NoStop] = field(default_factory=dict, repr=False, compare=False)

    def exposures(self, name: str, descent: float) -> tuple[Exposure, ...]:
        """Return a person's dives before a descent, oldest first, each with the whole minutes at the surface after."""
        dives = [dive for dive in self.done.get(name, []) if dive.surfaced <= descent]
        starts = [*(dive.descent for dive in dives[1:]), descent][: len(dives)]
        return tuple(
            Exposure(
                depth_m=dive.depth_m,
                bottom_time_min=dive.bottom_time_min,
                # More than a week counts as a week: the shorter interval is the cautious one.
                interval_after_min=min(max(math.floor(next_start - dive.surfaced), 0), int(LONGEST_INTERVAL_MIN)),
                oxygen_percent=dive.oxygen_percent,
                surroundings=dive.surroundings,
            )
            for dive, next_start in zip(dives, starts, strict=True)
        )

    def hours_since_arrival_h(self, descent: float) -> float | None:
        """Return the hours at this altitude before a descent; None: not known."""
        if self.settled:
            return math.inf
        if self.arrived is None:
            return None
        return max((descent - self.arrived) / 60, 0.0)

    def limit(self, name: str, depth_m: float, oxygen_percent: float, descent: float) -> NoStop:
        """Return one person's no-stop times for a dive at a depth that leaves the surface at a minute of the day."""
        previous = self.exposures(name, descent)
        hours = self.hours_since_arrival_h(descent)
        # One memo may serve several ledgers, of other waters and other rules.
        key = (self.surroundings, id(self.rules), depth_m, oxygen_percent, previous, hours)
        if key not in self.memo:
            self.memo[key] = no_stop_limits(
                depth_m,
                self.surroundings,
                previous,
                self.rules,
                hours_since_arrival_h=hours,
                oxygen_percent=oxygen_percent,
            )
        return self.memo[key]

    def tightest(self, mixes: Mapping[str, float], depth_m: float, descent: float) -> int | None:
        """Return the shortest no-stop time among people, each on their own gas; None where nobody has a limit.

        mixes -- oxygen in each one's gas, per cent by name
        """
        found = [self.limit(name, depth_m, percent, descent).no_stop_min for name, percent in mixes.items()]
        return min((minutes for minutes in found if minutes is not None), default=None)

    def ready_at(self, name: str) -> tuple[float, float]:
        """Return when a person last surfaced and was last out, minutes of the day; minus infinity before any dive."""
        dives = self.done.get(name, [])
        return (dives[-1].surfaced, dives[-1].out) if dives else (-math.inf, -math.inf)


@dataclass(frozen=True)
class Parts:
    """How the minutes of a dive are spent, whole minutes, each rounded up."""

    swim_out: int
    bottom: int
    ascent: int  # safety stop included
    swim_back: int

    @property
    def water(self) -> int:
        """From going in to being out."""
        return self.swim_out + self.bottom + self.ascent + self.swim_back


def parts_of(depth_m: float, bottom_min: int, place: Place, rules: RuleBook) -> Parts:
    """Return the parts of a dive: bottom time runs from leaving the surface to leaving the bottom."""
    swim = math.ceil(place.swim_min or 0)  # where it is not known the plan says so
    return Parts(swim, bottom_min, ascent_min(depth_m, rules), swim)


def ascent_min(depth_m: float, rules: RuleBook) -> int:
    """Return the whole minutes from leaving the bottom to surfacing, safety stop included, rounded up."""
    rate = rules["ascent.rate_m_min"]
    if rate.value <= 0:
        raise OutOfRange(f"ascent rate (rule {rate.key}) is {rate.value:g} m/min; it must be more than 0")
    ascent = depth_m / rate.value
    if depth_m >= rules.value("safety_stop.from_depth_m"):
        ascent += rules.value("safety_stop.minutes_min")
    return math.ceil(round(ascent, 6))


@dataclass(frozen=True)
class Slot:
    """Where a dive fits, or why it fits nowhere."""

    entry: int | None  # minute of the day
    bottom_min: int = 0
    window_end: int = 0  # minute by which everybody is out
    window_bottom_min: int = 0  # bottom time that the window leaves
    reasons: tuple[str, ...] = ()  # why none, or why later than asked


def fixed_limit_min(wish: DiveWish, cap_min: int, rules: RuleBook) -> int:
    """Return the bottom time to aim at: the wish, or the cap where nothing is wished."""
    return wish.minutes if wish.minutes is not None else cap_min


def find_slot(
    group: GroupWish,
    wish: DiveWish,
    depth_m: float,
    cap_min: int,
    place: Place,
    site: Site,
    window: Window,
    ledger: Ledger,
    request: Request,
    people: Mapping[str, Person],
    rules: RuleBook,
) -> Slot:
    """Return the earliest slot with the wished time, else the one that leaves the most time, else the reasons."""
    grid = window.grid
    step = max(int(rules.value("plan.entry_step_min")), 1)
    arrived = ledger.arrived or 0
    if wish.entry is not None:
        minute = grid.of_clock(wish.entry)
        if minute is None or grid.at(minute).time() != wish.entry:
            return Slot(None, reasons=(f"the clock does not show {wish.entry:%H:%M} on this day",))
        if minute < arrived:
            return Slot(None, reasons=(f"the group arrives at {grid.at(arrived):%H:%M}, after {wish.entry:%H:%M}",))
        if closed := window.reasons(minute):
            return Slot(None, reasons=tuple(dict.fromkeys(c.sentence for c in closed)))
        return _slot_among([minute], group, wish, depth_m, cap_min, place, site, window, ledger, request, people, rules)

    asked = 0 if wish.not_before is None else grid.of_clock(wish.not_before)
    earliest = None if asked is None else max(asked, arrived)
    open_minutes = [
        m for m in np.flatnonzero(~window.closed("entry")).tolist() if earliest is not None and m >= earliest
    ]
    if not open_minutes:
        sentences = dict.fromkeys(closure.sentence for closure in window.closures)
        late = () if not earliest else (f"no entry is open from {grid.at(earliest):%H:%M} on",)
        return Slot(None, reasons=late + tuple(sentences))
    on_step = [m for m in open_minutes if grid.at(m).minute % step == 0]
    found = Slot(None)
    for candidates in (on_step, open_minutes):  # a short window may hold no minute on the step
        found = _slot_among(
            candidates, group, wish, depth_m, cap_min, place, site, window, ledger, request, people, rules
        )
        if found.entry is not None:
            break
    return found


def ends_of(window: Window) -> NDArray[np.int_]:
    """Return for each minute the one by which everybody is out who is in the water then; 0 where nobody may be."""
    window_end = np.zeros(window.grid.minutes, dtype=int)
    for first, end in runs(~window.closed("water")):
        window_end[first:end] = end
    return window_end


def _slot_among(
    candidates: Sequence[int],
    group: GroupWish,
    wish: DiveWish,
    depth_m: float,
    cap_min: int,
    place: Place,
    site: Site,
    window: Window,
    ledger: Ledger,
    request: Request,
    people: Mapping[str, Person],
    rules: RuleBook,
) -> Slot:
    """Return the first of some minutes with the wished time, else the one that leaves the most, else the reasons."""
    grid = window.grid
    wanted = min(fixed_limit_min(wish, cap_min, rules), cap_min)
    worth_it = int(rules.value("dive.shortest_min"))
    shortest = max(worth_it if wish.minutes is None else min(worth_it, wish.minutes), 1)
    if cap_min < shortest:
        return Slot(None, reasons=(f"gas, cold or house rules leave {cap_min} min, and {shortest} min are the least",))
    window_end = ends_of(window)
    best: Slot | None = None
    refused: dict[str, None] = {}
    most_room, most_bottom = 0, -1
    for minute in candidates:
        end = int(window_end[minute])
        parts = parts_of(depth_m, 0, place, rules)
        descent = minute + parts.swim_out
        if waiting := _waiting(group, minute, descent, ledger, rules):
            refused[waiting] = None
            continue
        room = end - minute - parts.water
        if room < shortest:
            if room > most_room or not refused:  # the best of the short ones tells enough
                refused = {words: None for words in refused if "the window leaves" not in words}
                refused[f"at {grid.at(minute):%H:%M} the window leaves {max(room, 0)} min at the bottom"] = None
                most_room = max(room, most_room)
            continue
        try:
            allowed = ledger.tightest(mixes_of(group, wish), depth_m, descent)
        except OutOfRange as error:  # outside the handbook's tables: no minute of the day mends that
            return Slot(None, reasons=(str(error),))
        uncut = min(wanted, cap_min if allowed is None else allowed)
        bottom = min(uncut, room)
        if bottom < shortest:
            if bottom > most_bottom:
                refused = {words: None for words in refused if "the no-stop limits leave" not in words}
                refused[f"at {grid.at(minute):%H:%M} the no-stop limits leave {max(bottom, 0)} min"] = None
                most_bottom = bottom
            continue
        clash = clash_between(
            group, minute, minute + parts.water + bottom, site, ledger, request, people, grid.day, rules
        )
        if clash:
            refused[clash] = None
            continue
        slot = Slot(minute, bottom, end, room, tuple(refused)[:3])
        # Without a wish the first minute at which the window does not cut the dive short is the one; with a wish it is
        # worth waiting for the whole of it.
        if bottom >= (wanted if wish.minutes is not None else uncut):
            return slot
        if best is None or bottom > best.bottom_min:
            best = slot
    if best is not None:
        return best
    return Slot(None, reasons=tuple(refused)[:4])


def _waiting(group: GroupWish, entry: int, descent: int, ledger: Ledger, rules: RuleBook) -> str:
    """Return who of the group still has to stay ashore at a minute, and why; empty where everybody is ready."""
    interval = rules.value("surface_interval.shortest_min")
    gap = rules.value("plan.dry_gap_min")
    for name in group.everybody:
        surfaced, was_out = ledger.ready_at(name)
        if descent - surfaced < interval:
            return f"{name} needs {interval:g} min at the surface first"
        if entry - was_out < gap:
            return f"{name} needs {gap:g} min ashore first"
    return ""


def clash_between(
    group: GroupWish,
    entry: int,
    out: int,
    site: Site,
    ledger: Ledger,
    request: Request,
    people: Mapping[str, Person],
    day: date,
    rules: RuleBook,
) -> str:
    """Return why a dive cannot go in at a minute for who else is in the water; empty where it can."""
    overlapping = [names for first, end, names in ledger.in_water if first < out and entry < end]
    wet = set(group.everybody) | {name for names in overlapping for name in names}
    if len(wet) > site.capacity.divers:
        return f"{len(wet)} would be in the water at once; {site.name} takes {site.capacity.divers}"
    for words, names, key in (
        ("shore watch", request.crew.shore_watch, "crew.shore_watch_fewest"),
        ("oxygen provider", _qualified(request, people, day, rules), "crew.oxygen_provider_ashore_fewest"),
    ):
        ashore = [name for name in names if name not in wet]
        if names and len(ashore) < rules.value(key):
            return f"no {words} would be left ashore"
    return ""


def _qualified(request: Request, people: Mapping[str, Person], day: date, rules: RuleBook) -> tuple[str, ...]:
    return tuple(
        name
        for name in request.crew.oxygen_provider
        if check_oxygen_provider(people[name], day, rules).outcome is not Outcome.STOP
    )


def latest_entry(window: Window, entry: int, water_min: int, window_end: int) -> int:
    """Return the last minute, entries open without a break since ``entry``, from which everybody is still out in time.

    entry, window_end -- minutes of the day;  water_min -- minutes from going in to being out
    """
    entry_open = ~window.closed("entry")
    latest = entry
    while latest + 1 + water_min <= window_end and entry_open[latest + 1]:
        latest += 1
    return latest


def mixes_of(group: GroupWish, wish: DiveWish) -> dict[str, float]:
    """Return the oxygen in everybody's gas on a dive, per cent by name."""
    return {name: group.oxygen_percent(name, wish) for name in group.everybody}


def kind_of(group: GroupWish) -> Kind:
    """Return the kind of a group."""
    return KINDS[group.kind]


def minute_of(moment: datetime, window_start: datetime) -> float:
    """Return the minutes from the start of the day to a moment, negative before it."""
    return (moment.timestamp() - window_start.timestamp()) / 60
