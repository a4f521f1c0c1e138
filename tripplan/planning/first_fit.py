"""A schedule made by taking the first thing that fits, group by group: where the search starts, and what it is held to.

It keeps every rule that the constraint model keeps, looks at no alternative, and never changes what it has placed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from tripplan.people.group import KINDS
from tripplan.planning.outings import Block, Ground, Options, Run
from tripplan.planning.shared import CylinderPool, Pool, Shared
from tripplan.planning.solution import Ashore, Made, Solution

Span = tuple[int, int]


@dataclass
class _Team:
    people: tuple[str, ...]
    vehicles: tuple[str, ...]
    first: int
    last: int


class _Book:
    """What is taken so far."""

    def __init__(self, ground: Ground, options: Options, shared: Shared) -> None:
        self.ground, self.options, self.shared = ground, options, shared
        self.turn = ground.whole("schedule.turnaround_min")
        self.made: list[Made] = []
        self.teams: dict[tuple[str, date], _Team] = {}
        self._leading: dict[str, int] = {}

    # ---- who and what is free ----

    def busy(self, name: str) -> Iterator[tuple[int, int, tuple[str, date] | None]]:
        """Yield what a person does, with the turnaround; for a shore team with its place and day."""
        pad = self.turn + self.shared.wet_pad_min
        for made in self.made:
            group = self.ground.group(made.run.block.group)
            if name in made.crew or name in group.divers:
                yield made.leaves, made.back + pad, None
        for (site, day), team in self.teams.items():
            if name in team.people:
                drive = self.ground.drive(site).minutes
                yield team.first - drive, team.last + drive + self.turn, (site, day)

    def free(self, name: str, leaves: int, back: int, but: tuple[str, date] | None = None) -> bool:
        """Return whether a person is at work and free from leaving to being back."""
        pad = self.turn + self.shared.wet_pad_min
        return all(
            back + pad <= first or end <= leaves for first, end, team in self.busy(name) if team is None or team != but
        )

    def at_work(self, name: str, day: date, leaves: int, back: int) -> bool:
        """Return whether a person's hours hold a task, with the rest to the days around it."""
        hours = self.shared.hours.get((name, day))
        if hours is None or leaves < hours[0] or back > hours[1]:
            return False
        if self.shared.rest_is_sure:
            return True
        rest = self.shared.rest_min
        return all(
            back + rest <= first or end - self.turn - (0 if team else self.shared.wet_pad_min) + rest <= leaves
            for first, end, team in self.busy(name)
            if self._day_of(first) != day
        )

    def _day_of(self, minute: int) -> date:
        return max(day for day, start in self.shared.day_starts.items() if start <= minute + 1)

    def may_lead(self, name: str, made: Made) -> bool:
        """Return whether a person's dives, ascents and days leave room for an outing."""
        shared, day = self.shared, made.run.day
        own = [each for each in self.made if name in each.crew]

        def count(of: list[Made], what: str) -> int:
            if what == "dives":
                return sum(len(each.run.block.numbers) for each in of)
            return sum(shared.ascents[each.run.block] for each in of)

        today = [each for each in own if each.run.day == day]
        if count([*today, made], "dives") > shared.most_dives_staff:
            return False
        if count([*today, made], "ascents") > shared.most_ascents:
            return False
        dates = self.ground.request.dates
        for first in range(max(len(dates) - 6, 1)):
            week = dates[first : first + 7]
            if day not in week:
                continue
            held = [each for each in own if each.run.day in week]
            if count([*held, made], "dives") > shared.most_dives_of_seven:
                return False
            if count([*held, made], "ascents") > shared.most_ascents_of_seven:
                return False
        return self.days_left(name, day)

    def days_left(self, name: str, day: date) -> bool:
        """Return whether somebody may work on a day by the days that they work in seven."""
        dates = self.ground.request.dates
        days = {made.run.day for made in self.made if name in made.crew}
        days |= {when for (_, when), team in self.teams.items() if name in team.people}
        days.add(day)
        return all(
            len(days & set(dates[first : first + 7])) <= self.shared.most_days_of_seven
            for first in range(max(len(dates) - 6, 1))
        )

    def vehicles_for(
        self, riders: int, day: date, leaves: int, back: int, but: object = None
    ) -> tuple[str, ...] | None:
        """Return free vehicles with seats enough, the smallest that do; None where there are none."""
        if self.ground.request.vehicles is None or riders == 0:
            return ()
        taken: dict[str, list[Span]] = {}
        for made in self.made:
            for name in made.vehicles:
                taken.setdefault(name, []).append((made.leaves, made.back + self.turn))
        for key, team in self.teams.items():
            if key == but:
                continue
            drive = self.ground.drive(key[0]).minutes
            for name in team.vehicles:
                taken.setdefault(name, []).append((team.first - drive, team.last + drive + self.turn))
        able = [
            vehicle
            for vehicle in self.ground.request.vehicles
            if day not in vehicle.off
            and all(back + self.turn <= first or end <= leaves for first, end in taken.get(vehicle.name, []))
        ]
        single = [vehicle for vehicle in able if vehicle.seats >= riders]
        if single:
            return (min(single, key=lambda vehicle: (vehicle.seats, vehicle.name)).name,)
        chosen, seats = [], 0
        for vehicle in sorted(able, key=lambda each: (-each.seats, each.name)):
            chosen.append(vehicle.name)
            seats += vehicle.seats
            if seats >= riders:
                return tuple(sorted(chosen))
        return None

    # ---- whether an outing fits ----

    def place(self, run: Run, start: int) -> bool:
        """Place an outing with people, shore team and vehicles where it fits; return whether it did."""
        leaves, back = start - run.before_min, start + run.after_min
        group = self.ground.group(run.block.group)
        for name in group.divers:
            if name in self.shared.in_several_groups and not (
                self.free(name, leaves, back) and self._may_dive(name, run)
            ):
                return False
        bare = Made(run, start, "", ())
        crew = self._crew(bare, leaves, back)
        if crew is None or not self._room(bare):
            return False
        riders = (len(group.divers) if group.needs_seats else 0) + len([name for name in crew if name])
        made = Made(run, start, crew[0], crew[1:])
        self.made.append(made)
        vehicles = self.vehicles_for(riders, run.day, leaves, back)
        self.made.pop()
        if vehicles is None or not self._kit_left(made, made.crew):
            return False
        made = replace(made, vehicles=vehicles)
        self.made.append(made)
        if self._team(made):
            return True
        self.made.pop()
        return False

    def _may_dive(self, name: str, run: Run) -> bool:
        """Return whether somebody of several groups has dives and ascents left on the day of an outing."""
        today = [
            made.run.block
            for made in self.made
            if made.run.day == run.day and name in self.ground.group(made.run.block.group).divers
        ]
        blocks = [*today, run.block]
        return (
            sum(len(block.numbers) for block in blocks) <= self.shared.most_dives
            and sum(self.shared.ascents[block] for block in blocks) <= self.shared.most_ascents
        )

    def _crew(self, bare: Made, leaves: int, back: int) -> tuple[str, ...] | None:
        run = bare.run
        group = self.ground.group(run.block.group)
        if not KINDS[group.kind].led:
            return ("",)
        pin = self.shared.pin_of(run.block)

        def able(name: str) -> bool:
            return (
                not self.shared.barred(group.name, name)
                and self.at_work(name, run.day, leaves, back)
                and self.free(name, leaves, back)
                and self.may_lead(name, bare)
            )

        leaders = sorted(
            run.needs.leaders, key=lambda name: (name != group.preferred_leader, run.needs.leaders[name], name)
        )
        for leader in leaders:
            if (pin is not None and pin.leader not in (None, leader)) or not able(leader):
                continue
            if pin is not None and pin.assistants is not None:
                least = run.needs.leaders[leader][0]
                if len(pin.assistants) >= least and all(
                    name in run.needs.assistants and name != leader and able(name) for name in pin.assistants
                ):
                    return (leader, *pin.assistants)
                continue
            needed = run.needs.leaders[leader][1]
            helpers = [name for name in sorted(run.needs.assistants) if name != leader and able(name)]
            if len(helpers) >= needed:
                return (leader, *helpers[:needed])
        return None

    def _room(self, made: Made) -> bool:
        """Return whether the site has room in the water."""
        capacity = self.ground.world.sites[made.run.site].capacity.divers
        others = [each for each in self.made if (each.run.site, each.run.day) == (made.run.site, made.run.day)]
        for dive in made.run.times:
            first, end = made.start + dive.entry, made.start + dive.out
            wet = [
                (each.start + other.entry, each.start + other.out, self.shared.in_water(each.run.block, each.run))
                for each in others
                for other in each.run.times
                if each.start + other.entry < end and first < each.start + other.out
            ]
            for moment in {first, *(start for start, _, _ in wet)}:
                if first <= moment < end:
                    count = sum(number for start, stop, number in wet if start <= moment < stop)
                    if count + self.shared.in_water(made.run.block, made.run) > capacity:
                        return False
        return True

    def _kit_left(self, made: Made, crew: tuple[str, ...]) -> bool:
        every = [*self.made, replace(made, leader=crew[0] if crew else "", assistants=crew[1:])]
        overlapping = [
            each for each in every if each.leaves < made.back + self.turn and made.leaves < each.back + self.turn
        ]
        if not all(
            self._pool_holds(pool, overlapping, max(each.leaves, made.leaves))
            for pool in self.shared.kit_pools
            for each in overlapping
        ):
            return False
        return all(self._cylinders_hold(pool, every) for pool in self.shared.cylinder_pools)

    def _pool_holds(self, pool: Pool, made: list[Made], moment: int) -> bool:
        out = [each for each in made if each.leaves <= moment < each.back + self.turn]
        needed = sum(
            pool.of_divers.get(each.run.block.group, 0)
            + sum(pool.of_staff.get((each.run.block.group, name), 0) for name in each.crew)
            for each in out
        )
        return needed <= pool.stock

    def _cylinders_hold(self, pool: CylinderPool, made: list[Made]) -> bool:
        """Return whether the cylinders are enough, filled one after the other as they come back."""
        until = held_until(made, self.ground, self.shared)

        def needed(each: Made) -> int:
            return sum(
                pool.of_dive.get((each.run.block.group, number), 0)
                + sum(pool.of_staff_dive.get((each.run.block.group, number, name), 0) for name in each.crew)
                for number in each.run.block.numbers
            )

        counts = [(each.leaves, until[each.run.block.key], needed(each)) for each in made]
        return all(
            sum(count for first, end, count in counts if first <= moment < end) <= pool.stock for moment, _, _ in counts
        )

    # ---- ashore ----

    def _team(self, made: Made) -> bool:
        """Make or stretch the shore team of an outing."""
        key = (made.run.site, made.run.day)
        drive = self.ground.drive(made.run.site).minutes
        team = self.teams.get(key)
        first = min(made.on_site, team.first if team else made.on_site)
        last = max(made.off_site, team.last if team else made.off_site)
        leaves, back = first - drive, last + drive
        need = self.shared.team_of_kind(made.run.block)

        def able(name: str) -> bool:
            return (
                self.at_work(name, made.run.day, leaves, back)
                and self.free(name, leaves, back, key)
                and self.days_left(name, made.run.day)
            )

        people = list(team.people) if team else []
        if not all(able(name) for name in people):
            return False
        if not people and not self._safety_left(key, leaves, back):
            return False
        others = [name for name in self.shared.ashore_on(made.run.day) if name not in people]
        # Those who cannot lead stay ashore first.
        others.sort(key=lambda name: (self._leads_often(name), name))
        givers = sum(self.shared.gives_oxygen(name, made.run.day) for name in people)
        for name in others:
            if givers >= self.shared.oxygen_least:
                break
            if self.shared.gives_oxygen(name, made.run.day) and able(name):
                people.append(name)
                givers += 1
        for name in others:
            if len(people) >= need:
                break
            if name not in people and able(name):
                people.append(name)
        if len(people) < need or givers < self.shared.oxygen_least:
            return False
        vehicles = self.vehicles_for(len(people), made.run.day, leaves, back, key)
        if vehicles is None:
            return False
        self.teams[key] = _Team(tuple(people), vehicles, first, last)
        return self._parked(key) or self._undo(key, team)

    def _undo(self, key: tuple[str, date], team: _Team | None) -> bool:
        if team is None:
            del self.teams[key]
        else:
            self.teams[key] = team
        return False

    def _parked(self, key: tuple[str, date]) -> bool:
        """Return whether the site has room for every vehicle, all of the day's counted at once."""
        capacity = self.ground.world.sites[key[0]].capacity.vehicles
        if capacity is None:
            return True
        here = sum(len(made.vehicles) for made in self.made if (made.run.site, made.run.day) == key)
        return here + len(self.teams[key].vehicles) <= capacity

    def _safety_left(self, key: tuple[str, date], leaves: int, back: int) -> bool:
        if self.shared.safety_sets is None:
            return True
        at_once = 1
        for (site, day), team in self.teams.items():
            drive = self.ground.drive(site).minutes
            if (site, day) != key and team.first - drive < back + self.turn and leaves < team.last + drive + self.turn:
                at_once += 1
        return at_once <= self.shared.safety_sets

    def _leads_often(self, name: str) -> int:
        return sum(any(name in run.needs.leaders for run in self.options.runs[block]) for block in self.options.blocks)


NEVER = 1 << 50


def filled_from(made: Sequence[Made], ground: Ground, shared: Shared) -> dict[str, int]:
    """Return when the cylinders of each outing go on the compressor, one after the other as they come back.

    By the outing's key, minutes since 1970 UTC; those of an outing that find no room in these days are left out.
    """
    compressor = ground.request.compressor
    if compressor is None or shared.fill_hundredths is None:
        return {}
    spans = [(ground.minute(d, compressor.opens), ground.minute(d, compressor.closes)) for d in ground.request.dates]
    ready, found = 0, {}
    for each in sorted(made, key=lambda m: (m.back, m.run.block.key)):
        minutes = _fill_min(each, ground, shared)
        for opens, closes in spans:
            start = max(each.back, ready, opens)
            if start + minutes <= closes:
                found[each.run.block.key], ready = start, start + minutes
                break
    return found


def held_until(made: Sequence[Made], ground: Ground, shared: Shared) -> dict[str, int]:
    """Return until when the cylinders of each outing cannot be taken by another, filled as they come back."""
    starts = filled_from(made, ground, shared)
    return {
        each.run.block.key: starts[key] + _fill_min(each, ground, shared)
        if (key := each.run.block.key) in starts
        else NEVER
        for each in made
    }


def _fill_min(made: Made, ground: Ground, shared: Shared) -> int:
    people = len(ground.group(made.run.block.group).divers) + len(made.crew)
    return -(-(shared.fill_hundredths or 0) * people * len(made.run.block.numbers) // 100)


def first_fit(ground: Ground, options: Options, shared: Shared) -> Solution:
    """Return what is placed by taking the first fit of each group in turn, the largest outings first."""
    book = _Book(ground, options, shared)
    for group in ground.request.groups:
        number = 1
        after = leave = 0  # the next first entry, and the next leaving, are not before
        blocks = [block for block in options.blocks if block.group == group.name]
        per_day: dict[date, tuple[int, int]] = {}
        while number <= len(group.dives):
            starting = sorted(
                (block for block in blocks if block.numbers[0] == number), key=lambda block: -len(block.numbers)
            )
            made = next((found for block in starting if (found := _placed(book, block, after, leave, per_day))), None)
            if made is None:
                break
            number = made.run.block.numbers[-1] + 1
            gap = shared.apart_min[group.name]
            after, leave = made.start + made.run.times[-1].out + gap, made.back + book.turn
            dives, ups = per_day.get(made.run.day, (0, 0))
            per_day[made.run.day] = (dives + len(made.run.block.numbers), ups + shared.ascents[made.run.block])
    starts = filled_from(book.made, ground, shared) if shared.cylinder_pools else {}
    filled = [replace(each, fill_from=starts.get(each.run.block.key)) for each in book.made]
    made_in_order = sorted(filled, key=lambda each: (each.leaves, each.run.block.key))
    ashore = [
        Ashore(site, day, team.people, team.vehicles, team.first, team.last) for (site, day), team in book.teams.items()
    ]
    return Solution(tuple(made_in_order), tuple(sorted(ashore, key=lambda each: (each.on_site, each.site))))


def _placed(book: _Book, block: Block, after: int, leave: int, per_day: dict[date, tuple[int, int]]) -> Made | None:
    group = book.ground.group(block.group)
    most, ups = book.shared.most_of_group(group)
    wanted = sorted(
        book.options.runs[block],
        key=lambda run: (
            (run.site, run.day) not in book.teams,
            run.day not in group.preferred_days,
            run.day,
            run.drive.km,
            run.first,
        ),
    )
    for run in wanted:
        dives, climbed = per_day.get(run.day, (0, 0))
        if dives + len(block.numbers) > most or climbed + book.shared.ascents[block] > ups:
            continue
        for start in range(run.first, run.last + 1, book.shared.step):
            if start >= after and start - run.before_min >= leave and book.place(run, start):
                return book.made[-1]
    return None
