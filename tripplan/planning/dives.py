"""The dives of a day, each timed after what the day already holds."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import time
from functools import cached_property

from tripplan.check import Candidate, Check, Contest, Outcome
from tripplan.errors import OutOfRange
from tripplan.people.person import Person
from tripplan.physics.exposure import check_gas_density
from tripplan.physics.gas import Cylinder
from tripplan.physics.no_stop import GroupAfter, NoStop, Surroundings, handbook_group_after
from tripplan.planning.crew import check_ashore, children_of
from tripplan.planning.day_checks import check_ascents, check_counts
from tripplan.planning.dive_checks import (
    check_bottom,
    check_deeper,
    check_times,
    check_wishes,
    day_already_spent,
    no_stop_checks,
)
from tripplan.planning.gas_need import GroupGas, check_gas, cylinder_of, dive_gas, group_gas
from tripplan.planning.limits import deepest_for, depth_contest, person_depth, time_contest
from tripplan.planning.pairing import propose_pairs
from tripplan.planning.plan import DivePlan, PersonDive
from tripplan.planning.request import DiveWish, GroupWish, RecentDive, Request
from tripplan.planning.setting import GroupSetting, Setting
from tripplan.planning.timing import (
    Done,
    Ledger,
    Parts,
    Slot,
    ascent_min,
    find_slot,
    latest_entry,
    minute_of,
    mixes_of,
    parts_of,
)
from tripplan.planning.world import World

DEEPEST_SEARCHED_M = 60.0  # beyond every level's limit; the search for a depth needs an end


def plan_dives(
    request: Request, world: World, setting: Setting, groups: Sequence[GroupSetting]
) -> tuple[tuple[DivePlan, ...], list[Check], Ledger]:
    """Time every group's first dive, then every second one, and so on: each sees what the day already holds.

    Where every entry is fixed they are taken in order of time.
    """
    ledger = _open_ledger(request, world, setting)
    dives: list[DivePlan] = []
    checks: list[Check] = []
    turns = [
        (number, held)
        for number in range(1, max(len(held.group.dives) for held in groups) + 1)
        for held in groups
        if number <= len(held.group.dives)
    ]
    if all(wish.entry is not None for held in groups for wish in held.group.dives):
        # Whoever is in two groups has the earlier dive behind them first, whichever number it has in its group.
        turns.sort(key=lambda turn: turn[1].group.dives[turn[0] - 1].entry or time())
    for number, held in turns:
        wish = _not_before_the_dives_before(held.group, number)
        dive, found = _plan_dive(_Asked(request, world, setting, held, number, wish), ledger)
        dives.append(dive)
        checks.extend(found)
    checks.extend(check_counts(request, world))
    checks.extend(check_ascents(request, world))
    wet: dict[str, list[str]] = {}
    for dive in dives:
        for person in dive.people:
            wet.setdefault(person.name, []).append(f"{dive.group}, dive {dive.number}")
    checks.extend(check_ashore(request.crew, wet, world.people, request.date, world.rules))
    dives.sort(key=lambda dive: math.inf if dive.entry is None else dive.entry.timestamp())
    return tuple(dives), checks, ledger


def _open_ledger(request: Request, world: World, setting: Setting) -> Ledger:
    arrived = request.altitude.arrived
    ledger = Ledger(
        surroundings=setting.surroundings,
        rules=world.rules,
        arrived=setting.grid.last_of_clock(arrived) if arrived else None,
        settled=request.altitude.settled,
        memo=setting.limits,
    )
    if isinstance(request.recent_dives, tuple):
        for dive in sorted(request.recent_dives, key=lambda dive: dive.surfaced.timestamp()):
            surfaced = minute_of(dive.surfaced, setting.grid.start)
            descent = surfaced - ascent_min(dive.depth_m, world.rules) - dive.minutes
            ledger.done.setdefault(dive.person, []).append(
                Done(
                    dive.depth_m,
                    dive.minutes,
                    descent,
                    surfaced,
                    surfaced,
                    dive.oxygen_percent,
                    _elsewhere(dive, setting, world),
                )
            )
    return ledger


def _elsewhere(dive: RecentDive, setting: Setting, world: World) -> Surroundings | None:
    """Return the water of an earlier dive: its own height where that is known, else today's or the sea's, if heavier.

    Its density is not known: taken as the sea's, against the diver.
    """
    if dive.altitude_m is None or dive.altitude_m == setting.surroundings.altitude_m:
        return None
    return Surroundings(dive.altitude_m, world.rules.value("water.sea_density_kg_m3"), "sea")


@dataclass(frozen=True)
class _Asked:
    """A dive as it is asked for: who makes it, on what gas, and what limits it whenever it is made."""

    request: Request
    world: World
    setting: Setting
    held: GroupSetting
    number: int
    wish: DiveWish  # no earlier than the dives before it

    @property
    def subject(self) -> str:
        return f"{self.held.group.name}, dive {self.number}"

    @cached_property
    def people(self) -> list[Person]:
        return [self.world.people[name] for name in self.held.group.everybody]

    @cached_property
    def leader(self) -> Person | None:
        name = self.held.group.leader
        return self.world.people[name] if name else None

    @cached_property
    def children(self) -> tuple[Person, ...]:
        divers = [self.world.people[name] for name in self.held.group.divers]
        return children_of(divers, self.request.date, self.world.rules)

    @cached_property
    def mixes(self) -> Mapping[str, float]:
        """Oxygen in everybody's gas, per cent by name."""
        return mixes_of(self.held.group, self.wish)

    @cached_property
    def richest_percent(self) -> float:
        return self.held.group.richest_percent(self.wish)

    @cached_property
    def cylinder(self) -> Cylinder | None:
        return cylinder_of(self.held.group, self.wish, self.setting.water_c)

    def depth(self, no_stop: Candidate | None = None) -> Contest:
        """Return what limits the depth; without the no-stop candidate: before time counts."""
        kind = self.held.kind
        return depth_contest(
            self.people,
            self.leader,
            kind,
            self.held.place,
            self.setting.site,
            self.setting.surroundings,
            self.richest_percent,
            self.request.date,
            self.world.rules,
            no_stop,
            self.world.skills.course(kind.name),
            self.wish.course_dive,
        )

    def time(
        self,
        limits: Sequence[tuple[Person, NoStop]],
        window_min: int | None,
        depth_m: float,
        gas: Candidate | None = None,
    ) -> Contest:
        """Return what limits the bottom time at a depth."""
        kind, water_c = self.held.kind, self.setting.water_c
        return time_contest(limits, kind, self.children, water_c, window_min, depth_m, self.world.rules, gas)

    def gas(self, depth_m: float, minutes: int) -> GroupGas | None:
        """Return what everybody needs for so many minutes at the bottom; None: on no gas that is known, or no dive."""
        if self.cylinder is None or depth_m <= 0:
            return None
        swim_min = self.held.place.swim_min or 0
        surroundings, rules = self.setting.surroundings, self.world.rules
        return group_gas(self.people, self.cylinder, depth_m, minutes, swim_min, surroundings, rules)


@dataclass(frozen=True)
class _Placed:
    """A dive that has a time: all that its plan and its checks are made from.  Minutes are those of the day."""

    asked: _Asked
    slot: Slot
    entry: int
    depth_m: float
    parts: Parts
    limits: tuple[tuple[Person, NoStop], ...]  # everybody's own no-stop times
    depth: Contest
    time: Contest
    gas: GroupGas | None
    after: Mapping[str, GroupAfter]  # everybody's handbook group afterwards, by name

    @property
    def descent(self) -> int:
        return self.entry + self.parts.swim_out

    @property
    def surfaced(self) -> int:
        return self.descent + self.parts.bottom + self.parts.ascent

    @property
    def out(self) -> int:
        return self.entry + self.parts.water


def _plan_dive(asked: _Asked, ledger: Ledger) -> tuple[DivePlan, list[Check]]:
    """Time a dive and judge it; where it has a time it stands in the ledger afterwards."""
    depth = asked.depth()
    fixed_m = depth.value or 0.0
    cap = asked.time([], None, fixed_m).value or 0.0
    depth_m = _depth_to_plan(asked, fixed_m, int(cap), ledger)
    gas = asked.gas(depth_m, max(min(int(cap), asked.wish.minutes or int(cap)), 1))
    if gas is not None:
        cap = min(cap, float(gas.longest_min))
    slot = _slot_of(asked, fixed_m, depth_m, int(cap), gas, ledger)
    checks = check_wishes(asked.subject, asked.wish, fixed_m, depth)
    checks.append(check_bottom(asked.subject, asked.held.kind, asked.held.place, depth))
    if slot.entry is None:
        checks.append(_no_minute(asked, slot))
        checks.extend(check_gas(asked.subject, gas))
        checks.extend(day_already_spent(asked.subject, asked.people, asked.held, asked.wish, ledger))
        return _unplaced(asked.held, asked.number, asked.wish, asked.setting, depth, depth_m), checks
    placed = _placed(asked, slot, slot.entry, depth_m, fixed_m, ledger)
    checks.extend(_checks_of(placed, ledger))
    dive = _dive_of(placed, ledger)
    _remember(placed, ledger)
    checks.append(_entry_margin(placed))
    return dive, checks


def _depth_to_plan(asked: _Asked, fixed_m: float, cap_min: int, ledger: Ledger) -> float:
    """Return the depth to plan, to 0.1 m and rounded down: as wished, else the deepest that leaves time enough."""
    wish = asked.wish
    depth_m = min(wish.depth_m, fixed_m) if wish.depth_m is not None else fixed_m
    depth_m = math.floor(round(depth_m * 10, 6)) / 10
    if wish.depth_m is not None:
        return depth_m
    return min(depth_m, _depth_for_time(asked, cap_min, depth_m, ledger))


def _slot_of(asked: _Asked, fixed_m: float, depth_m: float, cap_min: int, gas: GroupGas | None, ledger: Ledger) -> Slot:
    if gas is not None and gas.longest_min < 1:
        return Slot(None, reasons=(gas.candidate.sentence,))
    if depth_m > 0:
        held, world = asked.held, asked.world
        return find_slot(
            held.group,
            asked.wish,
            depth_m,
            cap_min,
            held.place,
            asked.setting.site,
            held.window,
            ledger,
            asked.request,
            world.people,
            world.rules,
        )
    if fixed_m > 0:
        return Slot(None, reasons=("the no-stop limits leave no time at any depth",))
    return Slot(None, reasons=("the depth limit is 0 m",))


def _no_minute(asked: _Asked, slot: Slot) -> Check:
    reasons = [f"{reason[:1].upper()}{reason[1:].rstrip('.')}." for reason in slot.reasons] or ["No reason found."]
    sentence = f"{asked.subject}: no minute of the day works. {' '.join(reasons)}"
    return Check("entry-possible", Outcome.STOP, sentence, "SITE_FILE", subject=asked.subject)


def _placed(asked: _Asked, slot: Slot, entry: int, depth_m: float, fixed_m: float, ledger: Ledger) -> _Placed:
    """Reckon everybody's limits for a dive at the minute that was found for it."""
    rules = asked.world.rules
    parts = parts_of(depth_m, slot.bottom_min, asked.held.place, rules)
    descent = entry + parts.swim_out
    limits = tuple(
        (person, ledger.limit(person.name, depth_m, asked.mixes[person.name], descent)) for person in asked.people
    )
    deepest_m = deepest_for(
        slot.bottom_min, _limit_at(ledger, asked.mixes, descent), min(DEEPEST_SEARCHED_M, fixed_m + 20)
    )
    no_stop_m = max(deepest_m, depth_m)
    words = f"no-stop limits allow {slot.bottom_min} min down to {no_stop_m:g} m"
    gas = asked.gas(depth_m, slot.bottom_min)
    return _Placed(
        asked=asked,
        slot=slot,
        entry=entry,
        depth_m=depth_m,
        parts=parts,
        limits=limits,
        depth=asked.depth(Candidate("no-stop", no_stop_m, words, "NAVY_7")),
        time=asked.time(limits, slot.window_bottom_min, depth_m, gas.candidate if gas else None),
        gas=gas,
        after={
            person.name: handbook_group_after(
                depth_m,
                slot.bottom_min,
                asked.setting.surroundings,
                ledger.exposures(person.name, descent),
                rules,
                hours_since_arrival_h=ledger.hours_since_arrival_h(descent),
                oxygen_percent=asked.mixes[person.name],
            )
            for person in asked.people
        },
    )


def _checks_of(placed: _Placed, ledger: Ledger) -> list[Check]:
    """Return the checks of gas, times and limits of a dive that has a time."""
    asked = placed.asked
    subject = asked.subject
    checks = list(check_gas(subject, placed.gas))
    density = check_gas_density(placed.depth_m, asked.setting.surroundings, asked.world.rules, asked.richest_percent)
    checks.append(replace(density, sentence=f"{subject}: {density.sentence}", subject=subject))
    checks.extend(check_times(subject, asked.wish, placed.slot, placed.time))
    checks.extend(no_stop_checks(subject, placed.limits))
    told = {check.sentence for _, limit in placed.limits for check in limit.checks}
    for person in asked.people:  # a group that the handbook cannot give afterwards is said, not left blank
        checks.extend(
            replace(check, sentence=f"{subject}: {person.name}: {check.sentence}", subject=subject)
            for check in placed.after[person.name].checks
            if check.outcome is Outcome.STOP and check.sentence not in told
        )
    checks.extend(check_deeper(subject, asked.people, placed.depth_m, ledger))
    return checks


def _dive_of(placed: _Placed, ledger: Ledger) -> DivePlan:
    """Return the plan of a dive that has a time; the ledger does not hold it yet."""
    asked, slot = placed.asked, placed.slot
    grid, held, rules = asked.setting.grid, asked.held, asked.world.rules
    group, kind = held.group, held.kind
    overdue = min(placed.out + int(rules.value("overdue.after_min")), slot.window_end)
    intervals = [
        placed.descent - ledger.ready_at(person.name)[0]
        for person in asked.people
        if ledger.ready_at(person.name)[0] > -math.inf
    ]
    any_limit = placed.limits[0][1]
    return DivePlan(
        group=group.name,
        kind=kind.name,
        kind_words=kind.words,
        number=asked.number,
        site=asked.request.site,
        place=held.place.name,
        going_in_by=held.going_in.name,
        coming_out_by=held.coming_out.name,
        leader=group.leader,
        assistants=group.assistants,
        divers=group.divers,
        pairs=propose_pairs(group, asked.world.people, asked.request.date, rules),
        entry=grid.at(placed.entry),
        descent=grid.at(placed.descent),
        exit=grid.at(placed.out),
        exit_by=grid.at(overdue),
        overdue_at=grid.at(overdue),
        window_closes=grid.at(slot.window_end),
        depth=placed.depth,
        time=placed.time,
        depth_m=placed.depth_m,
        bottom_time_min=slot.bottom_min,
        water_time_min=placed.parts.water,
        surface_interval_min=math.floor(min(intervals)) if intervals else None,
        equivalent_depth_m=any_limit.equivalent_depth_m,
        handbook_row_fsw=any_limit.handbook_row_fsw,
        gauge_zeroed_m=any_limit.gauge_zeroed_m,
        gauge_sealed_m=any_limit.gauge_sealed_m,
        oxygen_percent=asked.richest_percent,
        tide_entry_m=_height_at(asked.setting, placed.entry),
        tide_exit_m=_height_at(asked.setting, placed.out),
        people=tuple(_person_dive(placed, person, limit) for person, limit in placed.limits),
        moved_because="; ".join(slot.reasons),
        gas=dive_gas(placed.gas, rules) if placed.gas else None,
    )


def _person_dive(placed: _Placed, person: Person, limit: NoStop) -> PersonDive:
    asked, group = placed.asked, placed.asked.held.group
    on = asked.request.date
    own = person_depth(person, on, asked.held.kind, asked.leader, asked.world.rules)
    role = "leader" if person.name == group.leader else ("assistant" if person.name in group.assistants else "diver")
    return PersonDive(
        name=person.name,
        role=role,  # type: ignore[arg-type]
        level_words=person.level.words,
        age=person.age_on(on),
        depth_limit_m=own.value or 0.0,
        depth_because=own.sentence,
        group_before=limit.handbook_group,
        group_after=placed.after[person.name].group,
        no_stop_min=limit.no_stop_min,
        oxygen_percent=asked.mixes[person.name],
    )


def _remember(placed: _Placed, ledger: Ledger) -> None:
    """Write a dive into the ledger: whoever dives later in the day has it behind them."""
    for person in placed.asked.people:
        mix = placed.asked.mixes[person.name]
        done = Done(placed.depth_m, placed.slot.bottom_min, placed.descent, placed.surfaced, placed.out, mix)
        ledger.done.setdefault(person.name, []).append(done)
    ledger.in_water.append((placed.entry, placed.out, placed.asked.held.group.everybody))


def _entry_margin(placed: _Placed) -> Check:
    asked, grid = placed.asked, placed.asked.setting.grid
    last = latest_entry(asked.held.window, placed.entry, placed.parts.water, placed.slot.window_end)
    margin = last - placed.entry
    return Check(
        "entry-margin",
        Outcome.OK if margin > 0 else Outcome.CAUTION,
        f"{asked.subject}: in at {grid.at(placed.entry):%H:%M}; it still fits when going in as late as "
        f"{grid.at(last):%H:%M}.",
        "SITE_FILE",
        margin,
        0,
        "min",
        asked.subject,
    )


def _not_before_the_dives_before(group: GroupWish, number: int) -> DiveWish:
    """Return a dive's wish, no earlier than the dives before it were asked for.

    Where one of those finds no time, the next must not slip into the early morning in its place.
    """
    wish = group.dives[number - 1]
    if wish.entry is not None:
        return wish
    asked = [clock for dive in group.dives[:number] if (clock := dive.entry or dive.not_before) is not None]
    return wish.model_copy(update={"not_before": max(asked)}) if asked else wish


def _limit_at(ledger: Ledger, mixes: Mapping[str, float], descent: float) -> Callable[[float], int | None]:
    """Return how the shortest no-stop time of all hangs on the depth, for a descent at a minute of the day."""

    def limit(depth_m: float) -> int | None:
        try:
            return ledger.tightest(mixes, depth_m, descent)
        except OutOfRange:  # deeper than the handbook's last row
            return 0

    return limit


def _depth_for_time(asked: _Asked, cap_min: int, deepest_m: float, ledger: Ledger) -> float:
    """Return the deepest depth that allows the wished minutes (or the shortest dive) at the first possible descent."""
    wish, window, rules = asked.wish, asked.held.window, asked.world.rules
    usable = window.usable()
    first = window.grid.minute_floor(usable[0].start) if usable else 0
    ready = max((ledger.ready_at(person.name)[0] for person in asked.people), default=-math.inf)
    descent = max(float(first), ready + rules.value("surface_interval.shortest_min"))
    minutes = min(wish.minutes if wish.minutes is not None else int(rules.value("dive.shortest_min")), cap_min)
    return deepest_for(minutes, _limit_at(ledger, asked.mixes, descent), deepest_m)


def _unplaced(
    held: GroupSetting, number: int, wish: DiveWish, setting: Setting, contest: Contest, depth_m: float
) -> DivePlan:
    """Return a dive that has no time: nothing in it may be read as a time to go in."""
    group = held.group
    return DivePlan(
        group=group.name,
        kind=held.kind.name,
        kind_words=held.kind.words,
        number=number,
        site=setting.site.slug,
        place=held.place.name,
        going_in_by=held.going_in.name,
        coming_out_by=held.coming_out.name,
        leader=group.leader,
        assistants=group.assistants,
        divers=group.divers,
        pairs=(),
        entry=None,
        descent=None,
        exit=None,
        exit_by=None,
        overdue_at=None,
        window_closes=None,
        depth=contest,
        time=Contest("longest bottom time", "min", ()),
        depth_m=depth_m,
        bottom_time_min=None,
        water_time_min=None,
        surface_interval_min=None,
        equivalent_depth_m=None,
        handbook_row_fsw=None,
        gauge_zeroed_m=None,
        gauge_sealed_m=None,
        oxygen_percent=group.richest_percent(wish),
        tide_entry_m=None,
        tide_exit_m=None,
        people=(),
    )


def _height_at(setting: Setting, minute: int) -> float | None:
    if not len(setting.heights_m) or minute >= len(setting.heights_m):
        return None
    height = float(setting.heights_m[minute])
    return None if math.isnan(height) else round(height, 3)
