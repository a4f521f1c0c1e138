"""The constraint model of some days: which outings are made, when and by whom, over what `outings.py` found.

It holds what the groups share: people, shore teams, vehicles, sites, kit, cylinders, compressor, hours of work. Its
numbers come from the rule book and from the options; whether a day is right its plan says, afterwards. What a plan
refuses comes back here as a `Cut`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from tripplan.people.group import KINDS
from tripplan.planning.outings import Block, Ground, Options, Run
from tripplan.planning.schedule import Schedule
from tripplan.planning.shared import Shared
from tripplan.planning.solution import Ashore, Cut, Made, Solution, km_points, olds_of, weights_of

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

MOST_PEOPLE_IN_A_TEAM = 6
MOST_VEHICLES = 6  # of one class for one outing


@dataclass(frozen=True)
class Seats:
    """Vehicles with as many seats, there on the same days."""

    seats: int
    off: tuple[date, ...]
    names: tuple[str, ...]


def seats_of(ground: Ground) -> tuple[Seats, ...]:
    """Return the vehicles of a request by what tells them apart."""
    found: dict[tuple[int, tuple[date, ...]], list[str]] = {}
    for vehicle in ground.request.vehicles or ():
        found.setdefault((vehicle.seats, tuple(sorted(vehicle.off))), []).append(vehicle.name)
    return tuple(Seats(seats, off, tuple(names)) for (seats, off), names in found.items())


class Model:
    """The constraint model of one set of options."""

    def __init__(
        self, ground: Ground, options: Options, shared: Shared, before: Schedule | None, cuts: Sequence[Cut]
    ) -> None:
        from ortools.sat.python import cp_model

        self.cp: cp_model.CpModel = cp_model.CpModel()
        self.ground, self.options, self.shared, self.before = ground, options, shared, before
        self.blocks = [block for block in options.blocks if options.runs[block]]
        self.turn = ground.whole("schedule.turnaround_min")
        dates = ground.request.dates
        self.low = min(shared.day_starts.values())
        self.high = self.low + (len(dates) + 2) * 1440
        self.placed: dict[Block, Any] = {}
        self.start: dict[Block, Any] = {}
        self.leaves: dict[Block, Any] = {}
        self.length: dict[Block, Any] = {}
        self.back: dict[Block, Any] = {}
        self.chosen: dict[tuple[Block, int], Any] = {}
        self.lead: dict[tuple[Block, str], Any] = {}
        self.help: dict[tuple[Block, str], Any] = {}
        self.uses: dict[tuple[Block, str], Any] = {}
        self.staff: dict[Block, Any] = {}
        self.open: dict[tuple[str, date], Any] = {}
        self.man: dict[tuple[str, date, str], Any] = {}
        self.span: dict[tuple[str, date], tuple[Any, Any, Any, Any, Any]] = {}
        self.classes = seats_of(ground)
        self.carry: dict[Block, dict[Seats, Any]] = {}
        self.carry_team: dict[tuple[str, date], dict[Seats, Any]] = {}
        self.filled: dict[Block, Any] = {}
        self.fill: dict[Block, Any] = {}
        self.tasks: dict[str, list[Any]] = {}  # intervals by person
        self.points: list[Any] = []
        for block in self.blocks:
            self._block(block)
        self._groups()
        self._teams()
        self._people()
        self._vehicles()
        self._capacity()
        self._kit()
        self._cylinders()
        self._wishes()
        for cut in cuts:
            self._cut(cut)
        self.cp.maximize(sum(self.points))

    # ---- one block ----

    def _block(self, block: Block) -> None:
        cp, runs = self.cp, self.options.runs[block]
        key = block.key
        placed = self.placed[block] = cp.new_bool_var(f"placed {key}")
        steps = cp.new_int_var(0, (self.high - self.low) // self.shared.step, f"step {key}")
        self.start[block] = self.low + self.shared.step * steps
        self.leaves[block] = cp.new_int_var(self.low, self.high, f"leaves {key}")
        self.length[block] = cp.new_int_var(0, 2880, f"length {key}")
        self.back[block] = cp.new_int_var(self.low, self.high + 2880, f"back {key}")
        cp.add(self.back[block] == self.leaves[block] + self.length[block])
        literals = []
        for number, run in enumerate(runs):
            literal = self.chosen[block, number] = cp.new_bool_var(f"run {key} {number}")
            literals.append(literal)
            cp.add(self.start[block] >= run.first).only_enforce_if(literal)
            cp.add(self.start[block] <= run.last).only_enforce_if(literal)
            cp.add_implication(literal, placed)
        cp.add(sum(literals) == placed)
        befores = sum(run.before_min * literal for run, literal in zip(runs, literals, strict=True))
        spans = sum((run.before_min + run.after_min) * literal for run, literal in zip(runs, literals, strict=True))
        cp.add(self.leaves[block] == self.start[block] - befores)
        cp.add(self.length[block] == spans)
        self._team(block, literals)

    def _team(self, block: Block, literals: Sequence[Any]) -> None:
        """Who leads and assists a block: exactly as many as its run needs."""
        cp, runs = self.cp, self.options.runs[block]
        group = self.ground.group(block.group)
        placed = self.placed[block]
        self.staff[block] = cp.new_int_var(0, 6, f"staff {block.key}")
        if not KINDS[group.kind].led:
            cp.add(self.staff[block] == 0)
            return
        alike: dict[int, list[Any]] = {}
        needs_of = {id(run.needs): run.needs for run in runs}
        for run, literal in zip(runs, literals, strict=True):
            alike.setdefault(id(run.needs), []).append(literal)
        leaders = sorted({name for needs in needs_of.values() for name in needs.leaders})
        helpers = sorted({name for needs in needs_of.values() for name in needs.assistants})
        pin = self.shared.pin_of(block)
        if pin is not None and pin.leader is not None:
            leaders = [name for name in leaders if name == pin.leader]
        for name in leaders:
            self.lead[block, name] = cp.new_bool_var(f"lead {block.key} {name}")
        fixed = None if pin is None else pin.assistants
        for name in helpers:
            if fixed is None or name in fixed:
                self.help[block, name] = cp.new_bool_var(f"help {block.key} {name}")
        led = sum(self.lead[block, name] for name in leaders)
        cp.add(led == placed)
        helped = [self.help[block, name] for name in helpers if (block, name) in self.help]
        if fixed is not None:
            for name in fixed:
                if (block, name) in self.help:
                    cp.add(self.help[block, name] == placed)
                else:
                    cp.add(placed == 0)
        most = len(helped)
        for needs_id, on in alike.items():
            needs, used = needs_of[needs_id], sum(on)
            whole = len(alike) == 1
            for name in leaders:
                if name not in needs.leaders:
                    cp.add(self.lead[block, name] + used <= 1)
            for name in helpers:
                if name not in needs.assistants and (block, name) in self.help:
                    cp.add(self.help[block, name] + used <= 1)
            counts = [(name, needs.leaders[name]) for name in leaders if name in needs.leaders]
            least = sum(count[0] * self.lead[block, name] for name, count in counts)
            upper = sum(count[1] * self.lead[block, name] for name, count in counts)
            if fixed is None and whole and all(count[0] == count[1] for _, count in counts):
                cp.add(sum(helped) == least)
                continue
            cp.add(sum(helped) >= least - 8 * (1 - used))
            if fixed is None:
                cp.add(sum(helped) <= upper + most * (1 - used))
        for name in sorted({*leaders, *helpers}):
            roles = [role[block, name] for role in (self.lead, self.help) if (block, name) in role]
            if not roles:
                continue
            uses = self.uses[block, name] = cp.new_bool_var(f"uses {block.key} {name}")
            cp.add(sum(roles) == uses)
            if self.shared.barred(block.group, name):
                cp.add(uses == 0)
        cp.add(self.staff[block] == sum(self.uses[block, n] for n in self.shared.names if (block, n) in self.uses))

    def _day(self, block: Block, day: date) -> list[Any]:
        """Return the literals of a block's runs on a day."""
        return [self.chosen[block, n] for n, run in enumerate(self.options.runs[block]) if run.day == day]

    # ---- what holds for a group ----

    def _groups(self) -> None:
        cp, ground = self.cp, self.ground
        for group in ground.request.groups:
            own = [block for block in self.blocks if block.group == group.name]
            holding: dict[int, list[Any]] = {}
            for block in own:
                for number in block.numbers:
                    holding.setdefault(number, []).append(self.placed[block])
            for number in range(1, len(group.dives) + 1):
                here = holding.get(number, [])
                if here:
                    cp.add(sum(here) <= 1)
                if number > 1 and here:
                    cp.add(sum(here) <= sum(holding.get(number - 1, [])))
            for block in own:
                for later in own:
                    if later.numbers[0] > block.numbers[-1]:
                        self._in_order(group.name, block, later)
            for day in ground.request.dates:
                most, ascents = self.shared.most_of_group(group)
                count = [(len(block.numbers), literal) for block in own for literal in self._day(block, day)]
                cp.add(sum(n * literal for n, literal in count) <= most)
                ups = [(self.shared.ascents[block], literal) for block in own for literal in self._day(block, day)]
                cp.add(sum(n * literal for n, literal in ups) <= ascents)

    def _in_order(self, name: str, block: Block, later: Block) -> None:
        both = [self.placed[block], self.placed[later]]
        self.cp.add(self.leaves[later] >= self.back[block] + self.turn).only_enforce_if(both)
        apart = self.shared.apart_min[name]
        # From the last exit: every run of a block ends the same way but for the drive.
        for number, run in enumerate(self.options.runs[block]):
            gap = apart + run.times[-1].out
            self.cp.add(self.start[later] >= self.start[block] + gap).only_enforce_if(
                [self.chosen[block, number], self.placed[later]]
            )

    # ---- ashore ----

    def _teams(self) -> None:
        cp, ground = self.cp, self.ground
        uses: dict[tuple[str, date], list[tuple[Block, int, Run]]] = {}
        for block in self.blocks:
            for number, run in enumerate(self.options.runs[block]):
                uses.setdefault((run.site, run.day), []).append((block, number, run))
        for (site, day), held in uses.items():
            name = f"{site} {day}"
            opened = self.open[site, day] = cp.new_bool_var(f"open {name}")
            first = cp.new_int_var(self.low, self.high, f"team arrives {name}")
            last = cp.new_int_var(self.low, self.high, f"team leaves {name}")
            drive = ground.drive(site).minutes
            start = cp.new_int_var(self.low - 600, self.high, f"team starts {name}")
            end = cp.new_int_var(self.low, self.high + 2880, f"team back {name}")
            size = cp.new_int_var(0, 1440 + 1200, f"team size {name}")
            cp.add(start == first - drive)
            cp.add(end == last + drive + self.turn)
            cp.add(end == start + size)
            self.span[site, day] = (first, last, start, size, end)
            for block, number, run in held:
                literal = self.chosen[block, number]
                cp.add_implication(literal, opened)
                cp.add(first <= self.start[block] - run.on_site_min).only_enforce_if(literal)
                cp.add(last >= self.start[block] + run.off_site_min).only_enforce_if(literal)
            cp.add_bool_or([self.chosen[block, number] for block, number, _ in held] + [~opened])
            self._man(site, day, held, opened)

    def _man(self, site: str, day: date, held: Sequence[tuple[Block, int, Run]], opened: Any) -> None:
        cp, shared = self.cp, self.shared
        people = shared.ashore_on(day)
        for name in people:
            self.man[site, day, name] = cp.new_bool_var(f"ashore {site} {day} {name}")
            _, _, start, size, end = self.span[site, day]
            interval = cp.new_optional_interval_var(start, size, end, self.man[site, day, name], f"ashore {name}")
            self.tasks.setdefault(name, []).append(interval)
            hours = shared.hours[name, day]
            literal = self.man[site, day, name]
            if hours is None:
                cp.add(literal == 0)
                continue
            cp.add(start >= hours[0]).only_enforce_if(literal)
            cp.add(end <= hours[1] + self.turn).only_enforce_if(literal)
        count = sum(self.man[site, day, name] for name in people)
        least = shared.team_least
        kinds = {shared.team_of_kind(block) for block, _, _ in held}
        if all(need <= least for need in kinds):
            cp.add(count == least * opened)
        else:
            cp.add(count >= least * opened)
            cp.add(count <= MOST_PEOPLE_IN_A_TEAM * opened)
            for block, number, _ in held:
                cp.add(count >= shared.team_of_kind(block) * self.chosen[block, number])
        givers = [self.man[site, day, name] for name in people if shared.gives_oxygen(name, day)]
        cp.add(sum(givers) >= shared.oxygen_least * opened)

    # ---- people ----

    def _people(self) -> None:
        cp, shared = self.cp, self.shared
        wet = [(block, name, literal) for (block, name), literal in self.uses.items()]
        for name in shared.in_several_groups:
            own = [block for block in self.blocks if name in self.ground.group(block.group).divers]
            wet += [(block, name, self.placed[block]) for block in own]
            self._limit_diver(own)
        dives: dict[str, list[Any]] = {}
        for block, name, literal in wet:
            self.tasks.setdefault(name, []).append(self._task(block, name, literal, self.turn))
            if shared.wet_pad_min:  # who dives again needs more time than who stays ashore
                padded = self._task(block, name, literal, self.turn + shared.wet_pad_min)
                dives.setdefault(name, []).append(padded)
        for name, intervals in self.tasks.items():
            cp.add_no_overlap([*intervals, *self._off_work(name)])
        for intervals in dives.values():
            cp.add_no_overlap(intervals)
        self._loads()

    def _task(self, block: Block, name: str, literal: Any, pad: int) -> Any:
        """Return the time that an outing takes from somebody, with some minutes after it."""
        size, end = self.length[block] + pad, self.back[block] + pad
        return self.cp.new_optional_interval_var(self.leaves[block], size, end, literal, f"{name} {block.key} {pad}")

    def _limit_diver(self, own: Sequence[Block]) -> None:
        """Hold the dives and ascents of somebody who dives in several groups to the limits of a day."""
        for day in self.ground.request.dates:
            on = [(block, literal) for block in own for literal in self._day(block, day)]
            self.cp.add(sum(len(block.numbers) * each for block, each in on) <= self.shared.most_dives)
            self.cp.add(sum(self.shared.ascents[block] * each for block, each in on) <= self.shared.most_ascents)

    def _off_work(self, name: str) -> Sequence[Any]:
        """Return the times at which somebody does not work, as tasks that are always there; a task's end is padded."""
        if name not in self.shared.names:
            return ()
        off, at = [], self.low - 1440
        for day in self.ground.request.dates:
            hours = self.shared.hours[name, day]
            if hours is None:
                continue
            off.append(self.cp.new_fixed_size_interval_var(at, hours[0] - at, f"off {name} before {day}"))
            at = hours[1] + self.turn
        off.append(self.cp.new_fixed_size_interval_var(at, self.high + 7200 - at, f"off {name} at last"))
        return off

    def _loads(self) -> None:
        """Dives, ascents and days of each member of the crew, a day and in seven days, and their rest."""
        cp, shared, dates = self.cp, self.shared, self.ground.request.dates
        for name in shared.names:
            mine = [block for block in self.blocks if (block, name) in self.uses]
            works: list[Any] = []
            dives: list[list[tuple[int, Any]]] = []
            ups: list[list[tuple[int, Any]]] = []
            for day in dates:
                on: list[tuple[Block, Any]] = []
                for block in mine:
                    today = self._day(block, day)
                    if not today:
                        continue
                    if len(dates) == 1:
                        on.append((block, self.uses[block, name]))
                        continue
                    literal = cp.new_bool_var(f"{name} {block.key} {day}")
                    cp.add(literal >= self.uses[block, name] + sum(today) - 1)
                    cp.add_implication(literal, self.uses[block, name])
                    cp.add(literal <= sum(today))
                    on.append((block, literal))
                dives.append([(len(block.numbers), literal) for block, literal in on])
                ups.append([(shared.ascents[block], literal) for block, literal in on])
                if on:
                    cp.add(sum(n * each for n, each in dives[-1]) <= shared.most_dives_staff)
                    cp.add(sum(n * each for n, each in ups[-1]) <= shared.most_ascents)
                teams = [self.man[site, when, who] for site, when, who in self.man if when == day and who == name]
                busy = cp.new_bool_var(f"{name} works {day}")
                for literal in [*(each for _, each in on), *teams]:
                    cp.add_implication(literal, busy)
                works.append(busy)
            for first in range(max(len(dates) - 6, 1)):
                seven = slice(first, first + 7)
                if len(dates) > shared.most_days_of_seven:
                    cp.add(sum(works[seven]) <= shared.most_days_of_seven)
                cp.add(sum(n * each for day in dives[seven] for n, each in day) <= shared.most_dives_of_seven)
                cp.add(sum(n * each for day in ups[seven] for n, each in day) <= shared.most_ascents_of_seven)
            if not shared.rest_is_sure:
                self._rest(name, mine)

    def _rest(self, name: str, mine: Sequence[Block]) -> None:
        cp, dates, rest = self.cp, self.ground.request.dates, self.shared.rest_min
        firsts, lasts = [], []
        for day in dates:
            low = self.shared.day_starts[day]
            firsts.append(cp.new_int_var(low, low + 2000, f"first {name} {day}"))
            lasts.append(cp.new_int_var(low, low + 2000, f"last {name} {day}"))
            for block in mine:
                for number, run in enumerate(self.options.runs[block]):
                    if run.day == day:
                        both = [self.uses[block, name], self.chosen[block, number]]
                        cp.add(firsts[-1] <= self.leaves[block]).only_enforce_if(both)
                        cp.add(lasts[-1] >= self.back[block]).only_enforce_if(both)
            for site, when, who in self.man:
                if when == day and who == name:
                    _, _, start, _, end = self.span[site, day]
                    cp.add(firsts[-1] <= start).only_enforce_if(self.man[site, day, name])
                    cp.add(lasts[-1] >= end - self.turn).only_enforce_if(self.man[site, day, name])
        for number in range(len(dates) - 1):
            cp.add(firsts[number + 1] >= lasts[number] + rest)

    # ---- vehicles, places, kit ----

    def _vehicles(self) -> None:
        """Vehicles alike are counted: who has which is told apart afterwards, as intervals can always be dealt out."""
        cp, request = self.cp, self.ground.request
        if request.vehicles is None:
            return
        jobs: list[tuple[Any, dict[Seats, Any]]] = []
        for block in self.blocks:
            group = request.group(block.group)
            size = cp.new_int_var(0, 2880 + self.turn, f"ride {block.key}")
            end = cp.new_int_var(self.low, self.high + 5760, f"ride end {block.key}")
            cp.add(size == self.length[block] + self.turn)
            cp.add(end == self.leaves[block] + size)
            count = self.carry[block] = self._counted(f"{block.key}", self.placed[block])
            for seats, number in count.items():
                for day in seats.off:
                    for each in self._day(block, day):
                        cp.add(number == 0).only_enforce_if(each)
            riders = len(group.divers) * self.placed[block] if group.needs_seats else 0
            cp.add(sum(s.seats * n for s, n in count.items()) >= riders + self.staff[block])
            placed = self.placed[block]
            ride = cp.new_optional_interval_var(self.leaves[block], size, end, placed, f"ride {block.key}")
            jobs.append((ride, count))
        for (site, day), opened in self.open.items():
            _, _, start, size, end = self.span[site, day]
            count = self.carry_team[site, day] = self._counted(f"team {site} {day}", opened)
            for seats, number in count.items():
                if day in seats.off:
                    cp.add(number == 0)
            people = sum(self.man[site, day, name] for name in self.shared.ashore_on(day))
            cp.add(sum(s.seats * n for s, n in count.items()) >= people)
            jobs.append((cp.new_optional_interval_var(start, size, end, opened, f"ride team {site} {day}"), count))
        for seats in self.classes:
            cp.add_cumulative([ride for ride, _ in jobs], [count[seats] for _, count in jobs], len(seats.names))
        self._parking()

    def _counted(self, name: str, placed: Any) -> dict[Seats, Any]:
        """Return how many vehicles of each class are taken; none where nothing is made."""
        found = {}
        for seats in self.classes:
            number = self.cp.new_int_var(0, min(len(seats.names), MOST_VEHICLES), f"{seats.seats} seats {name}")
            self.cp.add(number <= min(len(seats.names), MOST_VEHICLES) * placed)
            found[seats] = number
        return found

    def _parking(self) -> None:
        """Vehicles at one site at once; each outing counts with its own, the shore team with its own all the time."""
        cp = self.cp
        vehicles = self.ground.request.vehicles or ()
        for site, day in self.open:
            capacity = self.ground.world.sites[site].capacity.vehicles
            if capacity is None or capacity >= len(vehicles):
                continue
            drive = self.ground.drive(site).minutes
            intervals, demands = [], []
            for block in self.blocks:
                here = [n for n, run in enumerate(self.options.runs[block]) if (run.site, run.day) == (site, day)]
                if not here:
                    continue
                on = cp.new_bool_var(f"at {block.key} {site} {day}")
                cp.add(sum(self.chosen[block, n] for n in here) == on)
                total = cp.new_int_var(0, len(vehicles), f"vehicles {block.key} {site} {day}")
                cp.add(total == sum(self.carry[block].values()))
                start, size = self.leaves[block] + drive, self.length[block] - 2 * drive
                intervals.append(
                    cp.new_optional_interval_var(
                        start, size, self.back[block] - drive, on, f"stands {block.key} {site} {day}"
                    )
                )
                demands.append(total)
            first, last, _, size, _ = self.span[site, day]
            size -= 2 * drive + self.turn
            total = cp.new_int_var(0, len(vehicles), f"vehicles of the team {site} {day}")
            cp.add(total == sum(self.carry_team[site, day].values()))
            intervals.append(
                cp.new_optional_interval_var(first, size, last, self.open[site, day], f"stands team {site} {day}")
            )
            demands.append(total)
            cp.add_cumulative(intervals, demands, capacity)

    def _capacity(self) -> None:
        """Divers in the water at one site at once."""
        cp = self.cp
        for site, day in self.open:
            capacity = self.ground.world.sites[site].capacity.divers
            people: dict[str, int] = {}
            here: list[tuple[Block, int, Run]] = []
            for block in self.blocks:
                for number, run in enumerate(self.options.runs[block]):
                    if (run.site, run.day) == (site, day):
                        count = self.shared.in_water(block, run)
                        people[block.group] = max(people.get(block.group, 0), count)
                        here.append((block, number, run))
            if sum(people.values()) <= capacity:
                continue
            intervals, demands = [], []
            for block, number, run in here:
                crew = sum(literal for (other, _), literal in self.uses.items() if other == block)
                swim = cp.new_int_var(0, self.shared.in_water(block, run), f"swim {block.key} {number}")
                cp.add(swim == len(self.ground.group(block.group).divers) + crew).only_enforce_if(
                    self.chosen[block, number]
                )
                for dive in run.times:
                    intervals.append(
                        cp.new_optional_interval_var(
                            self.start[block] + dive.entry,
                            dive.out - dive.entry,
                            self.start[block] + dive.out,
                            self.chosen[block, number],
                            f"water {block.key} {number}",
                        )
                    )
                    demands.append(swim)
            cp.add_cumulative(intervals, demands, capacity)

    def _kit(self) -> None:
        cp, shared = self.cp, self.shared
        if shared.safety_sets is not None and len(self.ground.sites) > shared.safety_sets:
            intervals = [
                cp.new_optional_interval_var(start, size, end, self.open[key], f"safety {key}")
                for key, (_, _, start, size, end) in self.span.items()
            ]
            cp.add_cumulative(intervals, [1] * len(intervals), shared.safety_sets)
        for pool in shared.kit_pools:
            intervals, demands = [], []
            for block in self.blocks:
                size = self.length[block] + self.turn
                end = self.back[block] + self.turn
                if number := pool.of_divers.get(block.group, 0):
                    intervals.append(
                        cp.new_optional_interval_var(
                            self.leaves[block], size, end, self.placed[block], f"kit {block.key}"
                        )
                    )
                    demands.append(number)
                for name in shared.names:
                    if (block, name) in self.uses and (number := pool.of_staff.get((block.group, name), 0)):
                        literal = self.uses[block, name]
                        intervals.append(
                            cp.new_optional_interval_var(
                                self.leaves[block], size, end, literal, f"kit {block.key} {name}"
                            )
                        )
                        demands.append(number)
            cp.add_cumulative(intervals, demands, pool.stock)

    def _cylinders(self) -> None:
        """Cylinders are in use from leaving until they are filled again, one after the other on one compressor."""
        cp, shared = self.cp, self.shared
        if not shared.cylinder_pools:
            return
        ends: dict[Block, Any] = {}
        sizes: dict[Block, Any] = {}
        fills = list(self._compressor_shut())
        for block in self.blocks:
            dives = len(block.numbers)
            group = self.ground.group(block.group)
            ends[block] = cp.new_int_var(self.low, self.high + 2880, f"held to {block.key}")
            sizes[block] = cp.new_int_var(0, self.high - self.low + 5760, f"held {block.key}")
            cp.add(ends[block] == self.leaves[block] + sizes[block])
            filled = self.filled[block] = cp.new_bool_var(f"filled {block.key}")
            cp.add_implication(filled, self.placed[block])
            cp.add(ends[block] >= self.high).only_enforce_if(~filled)
            if shared.fill_hundredths is None:
                cp.add(filled == 0)
                continue
            start = self.fill[block] = cp.new_int_var(self.low, self.high, f"fill {block.key}")
            size = cp.new_int_var(0, 1440, f"fill size {block.key}")
            end = cp.new_int_var(self.low, self.high + 1440, f"filled {block.key}")
            count = dives * (len(group.divers) * self.placed[block] + self.staff[block])
            cp.add(100 * size >= shared.fill_hundredths * count)
            cp.add(100 * size <= shared.fill_hundredths * count + 99)
            cp.add(start >= self.back[block]).only_enforce_if(filled)
            cp.add(ends[block] >= end).only_enforce_if(filled)
            fills.append(cp.new_optional_interval_var(start, size, end, filled, f"fill {block.key}"))
        cp.add_no_overlap(fills)
        for pool in shared.cylinder_pools:
            intervals, demands = [], []
            for block in self.blocks:
                number = sum(pool.of_dive.get((block.group, n), 0) for n in block.numbers)
                each = {
                    name: sum(pool.of_staff_dive.get((block.group, n, name), 0) for n in block.numbers)
                    for name in shared.names
                    if (block, name) in self.uses
                }
                if not number and not any(each.values()):
                    continue
                # Who leads and assists mostly breathes from the same cylinders; where not, the most is counted.
                demand = cp.new_int_var(0, number + 6 * max(each.values(), default=0), f"cylinders {block.key}")
                cp.add(demand == number * self.placed[block] + max(each.values(), default=0) * self.staff[block])
                intervals.append(
                    cp.new_optional_interval_var(
                        self.leaves[block], sizes[block], ends[block], self.placed[block], f"cylinders {block.key}"
                    )
                )
                demands.append(demand)
            cp.add_cumulative(intervals, demands, pool.stock)

    def _compressor_shut(self) -> Sequence[Any]:
        compressor = self.ground.request.compressor
        if compressor is None:
            return ()
        shut, at = [], self.low - 600
        for day in self.ground.request.dates:
            opens = self.ground.minute(day, compressor.opens)
            shut.append(self.cp.new_fixed_size_interval_var(at, opens - at, f"shut before {day}"))
            at = self.ground.minute(day, compressor.closes)
        shut.append(self.cp.new_fixed_size_interval_var(at, self.high + 5760 - at, "shut at last"))
        return shut

    # ---- what is wanted ----

    def _wishes(self) -> None:
        cp, ground = self.cp, self.ground
        weight = weights_of(ground)
        cap = ground.whole("schedule.margin_counted_min")
        for block in self.blocks:
            group = ground.group(block.group)
            count = len(block.numbers)
            self.points.append((weight["dive"] * count - weight["outing"]) * self.placed[block])
            if (block, group.preferred_leader) in self.lead:
                self.points.append(weight["leader"] * count * self.lead[block, str(group.preferred_leader)])
            margin = cp.new_int_var(0, cap, f"margin {block.key}")
            cp.add(margin <= cap * self.placed[block])
            for number, run in enumerate(self.options.runs[block]):
                literal = self.chosen[block, number]
                if run.latest - run.last < cap:
                    cp.add(margin <= run.latest - self.start[block]).only_enforce_if(literal)
                gain = weight["day"] * count * (run.day in group.preferred_days) - km_points(ground, run.site)
                self.points.append(gain * literal)
            self.points.append(weight["margin"] * count * margin)
        for (site, day), opened in self.open.items():
            self.points.append(-km_points(ground, site) * opened)
            self.points.extend(-weight["team"] * self.man[site, day, name] for name in self.shared.ashore_on(day))
        for name in self.shared.names:
            mine = [literal for (_, who), literal in self.uses.items() if who == name]
            mine += [literal for (_, _, who), literal in self.man.items() if who == name]
            count = sum(mine)
            for level in range(min(len(mine), 3 * len(ground.request.dates) + 1)):
                # Convex: the third outing of a person costs three times as much as the first.
                more = cp.new_int_var(0, len(mine), f"load {name} {level}")
                cp.add(more >= count - level)
                self.points.append(-weight["load"] * more)
        if self.before is not None:
            self._stay(self.before, weight)

    def _stay(self, before: Schedule, weight: Mapping[str, int]) -> None:
        cp = self.cp
        by_key = {block.key: block for block in self.blocks}
        for old in olds_of(self.ground, before):
            block = by_key.get(old.key)
            if block is None:
                self.points.append(-weight["moved_day"])
                continue
            runs = self.options.runs[block]
            here = [n for n, run in enumerate(runs) if (run.day, run.site) == (old.day, old.site)]
            same = sum(self.chosen[block, n] for n in here)
            self.points.append(weight["moved_day"] * same - weight["moved_day"])
            kept = cp.new_bool_var(f"kept {block.key}")
            cp.add(self.start[block] == old.start).only_enforce_if(kept)
            cp.add(kept <= same)
            cp.add(kept <= sum(self.chosen[block, n] for n in here if runs[n].place == old.place))
            self.points.append(weight["moved_time"] * kept - weight["moved_time"] * same)
            for (other, name), literal in self.uses.items():
                if other == block and name not in old.crew:
                    new = cp.new_bool_var(f"new {block.key} {name}")
                    cp.add(new >= literal + same - 1)
                    self.points.append(-weight["moved_person"] * new)
        for team in before.shore:
            for (site, day, name), literal in self.man.items():
                if (site, day) == (team.site, team.day) and name not in team.people:
                    self.points.append(-weight["moved_person"] * literal)

    # ---- what plans refused ----

    def _cut(self, cut: Cut) -> None:
        """Not all of these again; with anybody more in a team it is another thing."""
        clause: list[Any] = []
        by_key = {block.key: block for block in self.blocks}
        for made in cut.made:
            block = by_key.get(made.run.block.key)
            number = (
                next((n for n, r in enumerate(self.options.runs[block]) if r.key == made.run.key), None)
                if block
                else None
            )
            if block is None or number is None:
                return
            clause.append(~self._at(block, number, made.start))
            for (other, name), literal in self.uses.items():
                if other == block:
                    clause.append(~literal if name in made.crew else literal)
            if (block, made.leader) in self.lead:
                clause.append(~self.lead[block, made.leader])
        for team in cut.ashore:
            for (site, day, name), literal in self.man.items():
                if (site, day) == (team.site, team.day):
                    clause.append(~literal if name in team.people else literal)
        self.cp.add_bool_or(clause)

    def _at(self, block: Block, number: int, start: int) -> Any:
        """Return a literal that is true where a run is chosen with a first entry."""
        cp = self.cp
        chosen = self.chosen[block, number]
        earlier, later, here = (cp.new_bool_var(f"{what} {block.key} {start}") for what in ("before", "after", "at"))
        cp.add(self.start[block] <= start - 1).only_enforce_if(earlier)
        cp.add(self.start[block] >= start + 1).only_enforce_if(later)
        cp.add(self.start[block] == start).only_enforce_if(here)
        cp.add_implication(here, chosen)
        cp.add_bool_or([here, earlier, later, ~chosen])
        return here

    # ---- hints and answers ----

    def start_from(self, solution: Solution) -> None:
        """Start the search from a solution: first every variable is given the value that follows from it."""
        from ortools.sat.python import cp_model

        self.hint(solution)
        filler = cp_model.CpSolver()
        filler.parameters.fix_variables_to_their_hinted_value = True
        filler.parameters.num_workers = 1
        filler.parameters.catch_sigint_signal = False
        filler.parameters.cp_model_probing_level = 0
        filler.parameters.max_deterministic_time = 1.0
        if filler.solve(self.cp) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return  # it breaks a rule of this model, as where somebody has fallen ill: it is a hint all the same
        values = list(filler.response_proto.solution)
        self.cp.clear_hints()  # type: ignore[no-untyped-call]
        for index, value in enumerate(values):
            self.cp.add_hint(self.cp.get_int_var_from_proto_index(index), value)

    def fix(self, solution: Solution, but: str) -> None:
        """Keep every group but one where and with whom a solution has it; shore teams and vehicles stay free."""
        cp = self.cp
        by_key = {made.run.block.key: made for made in solution.made}
        for block in self.blocks:
            if block.group == but:
                continue
            made = by_key.get(block.key)
            cp.add(self.placed[block] == (made is not None))
            if made is None:
                continue
            cp.add(self.leaves[block] == made.leaves)
            for number, run in enumerate(self.options.runs[block]):
                cp.add(self.chosen[block, number] == (run.key == made.run.key))
            for (other, name), literal in self.uses.items():
                if other == block:
                    cp.add(literal == (name in made.crew))

    def hint(self, solution: Solution) -> None:
        """Note what a solution holds."""
        cp = self.cp
        by_key = {made.run.block.key: made for made in solution.made}
        for block in self.blocks:
            made = by_key.get(block.key)
            cp.add_hint(self.placed[block], made is not None)
            for number, run in enumerate(self.options.runs[block]):
                cp.add_hint(self.chosen[block, number], made is not None and run.key == made.run.key)
            if made is not None:
                cp.add_hint(self.leaves[block], made.leaves)
            if block in self.fill:
                cp.add_hint(self.filled[block], made is not None and made.fill_from is not None)
                if made is not None and made.fill_from is not None:
                    cp.add_hint(self.fill[block], made.fill_from)
            for roles, of in ((self.lead, lambda m: (m.leader,)), (self.help, lambda m: m.assistants)):
                for (other, name), literal in roles.items():
                    if other == block:
                        cp.add_hint(literal, made is not None and name in of(made))
            for seats, number in self.carry.get(block, {}).items():
                cp.add_hint(number, 0 if made is None else len(set(seats.names) & set(made.vehicles)))
        teams = {(team.site, team.day): team for team in solution.ashore}
        for key, opened in self.open.items():
            team = teams.get(key)
            cp.add_hint(opened, team is not None)
            if team is not None:
                cp.add_hint(self.span[key][0], team.on_site)
                cp.add_hint(self.span[key][1], team.off_site)
            for (site, day, name), literal in self.man.items():
                if (site, day) == key:
                    cp.add_hint(literal, team is not None and name in team.people)

    def read(self, value: Callable[[Any], int]) -> Solution:
        """Return a solution from the values of the variables."""
        made: list[Made] = []
        for block in self.blocks:
            number = next((n for n, _ in enumerate(self.options.runs[block]) if value(self.chosen[block, n])), None)
            if number is None:
                continue
            names = self.shared.names
            leader = next((n for n in names if (block, n) in self.lead and value(self.lead[block, n])), "")
            helpers = tuple(n for n in names if (block, n) in self.help and value(self.help[block, n]))
            fill = value(self.fill[block]) if block in self.fill and value(self.filled[block]) else None
            run = self.options.runs[block][number]
            start = value(self.leaves[block]) + run.before_min
            made.append(Made(run, start, leader, helpers, (), fill))
        ashore: list[Ashore] = []
        for site, day in self.open:
            here = [each for each in made if (each.run.site, each.run.day) == (site, day)]
            if not here:
                continue
            people = tuple(n for n in self.shared.ashore_on(day) if value(self.man[site, day, n]))
            first, last = min(each.on_site for each in here), max(each.off_site for each in here)
            ashore.append(Ashore(site, day, people, (), first, last))
        made.sort(key=lambda each: (each.leaves, each.run.block.key))
        ashore.sort(key=lambda each: (each.on_site, each.site))
        return self._with_vehicles(made, ashore, value)

    def _with_vehicles(self, made: Sequence[Made], ashore: Sequence[Ashore], value: Callable[[Any], int]) -> Solution:
        """Deal out the vehicles of each class in order of leaving; those whose seats are not needed stay behind."""
        if self.ground.request.vehicles is None:
            return Solution(tuple(made), tuple(ashore))
        by_key = {block.key: block for block in self.blocks}
        jobs: list[tuple[int, int, Made | Ashore, dict[Seats, int], int]] = []
        for each in made:
            block = by_key[each.run.block.key]
            group = self.ground.group(block.group)
            riders = (len(group.divers) if group.needs_seats else 0) + len(each.crew)
            counts = {seats: value(number) for seats, number in self.carry[block].items()}
            jobs.append((each.leaves, each.back, each, counts, riders))
        for team in ashore:
            drive = self.ground.drive(team.site).minutes
            counts = {seats: value(number) for seats, number in self.carry_team[team.site, team.day].items()}
            jobs.append((team.on_site - drive, team.off_site + drive, team, counts, len(team.people)))
        free_at = {name: self.low - 1440 for seats in self.classes for name in seats.names}
        dealt: dict[int, tuple[str, ...]] = {}
        for leaves, back, job, counts, riders in sorted(jobs, key=lambda each: (each[0], each[1])):
            names: list[str] = []
            for seats, count in self._least(counts, riders).items():
                able = [name for name in seats.names if free_at[name] <= leaves][:count]
                names.extend(able)
                for name in able:
                    free_at[name] = back + self.turn
            dealt[id(job)] = tuple(sorted(names))
        return Solution(
            tuple(replace(each, vehicles=dealt[id(each)]) for each in made),
            tuple(replace(team, vehicles=dealt[id(team)]) for team in ashore),
        )

    def _least(self, counts: Mapping[Seats, int], riders: int) -> dict[Seats, int]:
        """Leave at the centre every vehicle whose seats are not needed, the smallest first."""
        kept = dict(counts)
        for seats in sorted(kept, key=lambda each: each.seats):
            while kept[seats] and sum(s.seats * n for s, n in kept.items()) - seats.seats >= riders:
                kept[seats] -= 1
        return kept
