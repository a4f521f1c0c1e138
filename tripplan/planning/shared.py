"""What the groups of a schedule share, in numbers: who may stay ashore, how many hours, how much kit of each size."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from itertools import combinations
from typing import Literal

from tripplan.check import Outcome
from tripplan.people.group import KINDS
from tripplan.planning.crew import check_oxygen_provider
from tripplan.planning.outings import Block, Ground, Options, Run, team_of
from tripplan.planning.packing import KitLine, Unit, counted, kit_of, stays_ashore, stock_of
from tripplan.planning.schedule_request import Pin, SchoolGroup

MOST_CLASSES = 6  # of one thing, whose every union is looked at; with more only single ones, pairs and all together
CYLINDER = "cylinder"
TOWED: tuple[Literal["flag", "float"], ...] = ("flag", "float")  # by each group in the water


@dataclass(frozen=True)
class Pool:
    """So many pieces of the store of which whoever fits no others may have no more at once."""

    thing: str
    stock: int
    of_divers: Mapping[str, int] = field(default_factory=dict)  # by group: pieces that its divers need out of these
    of_staff: Mapping[tuple[str, str], int] = field(default_factory=dict)  # by group and who leads or assists it


@dataclass(frozen=True)
class CylinderPool:
    """So many cylinders of which whoever fits no others may have no more until they are filled."""

    stock: int
    of_dive: Mapping[tuple[str, int], int]  # by group and number of the dive: its divers' cylinders
    of_staff_dive: Mapping[tuple[str, int, str], int]


class Shared:
    """What groups share, worked out once for a request, a world and its options."""

    def __init__(self, ground: Ground, options: Options) -> None:
        request, rules = ground.request, ground.rules
        self._ground = ground
        self.names = tuple(worker.name for worker in ground.crew)
        self.step = max(int(rules.value("plan.entry_step_min")), 1)
        self.day_starts = {day: ground.minute(day, time()) for day in request.dates}
        self.hours = {(worker.name, day): ground.hours(worker, day) for worker in ground.crew for day in request.dates}
        self.most_dives = int(rules.value("dive.most_per_day"))
        self.most_dives_staff = int(rules.value("dive.most_per_day_staff"))
        self.most_ascents = int(rules.value("ascent.most_per_day"))
        self.most_days_of_seven = int(rules.value("work.most_in_seven_days"))
        self.most_dives_of_seven = int(rules.value("work.dives_in_seven_most"))
        self.most_ascents_of_seven = int(rules.value("work.ascents_in_seven_most"))
        self.rest_min = math.ceil(rules.value("work.rest_h") * 60)
        night = [
            ground.minute(later, request.centre.opens) - ground.minute(day, request.centre.closes)
            for day, later in zip(request.dates, request.dates[1:], strict=False)
        ]
        self.rest_is_sure = all(minutes >= self.rest_min for minutes in night)
        self.oxygen_least = math.ceil(rules.value("crew.oxygen_provider_ashore_fewest"))
        self.watch_least = math.ceil(rules.value("crew.shore_watch_fewest"))
        self.team_least = max(ground.whole("schedule.ashore_fewest"), self.oxygen_least, self.watch_least, 1)
        self.ascents = {
            block: sum(request.group(block.group).dives[number - 1].ascents for number in block.numbers)
            for block in options.blocks
        }
        apart_h = rules.value("schedule.apart_h")
        self.apart_min = {
            group.name: math.ceil((apart_h if group.apart_h is None else group.apart_h) * 60)
            for group in request.groups
        }
        seen: dict[str, int] = {}
        for group in request.groups:
            for name in group.divers:
                seen[name] = seen.get(name, 0) + 1
        self.in_several_groups = tuple(name for name, count in seen.items() if count > 1)
        every_run = [run for block in options.blocks for run in options.runs[block]]
        self.wet_pad_min = _wet_pad_min(ground, every_run)
        world = ground.world
        self.safety_sets = None
        if world.kit is not None:
            self.safety_sets = min(counted(world.kit, "oxygen_kit"), counted(world.kit, "first_aid_kit"))
        self.fill_hundredths = (
            None if request.compressor is None else math.ceil(round(request.compressor.fill_min * 100, 6))
        )
        self.kit_pools: tuple[Pool, ...] = ()
        self.cylinder_pools: tuple[CylinderPool, ...] = ()
        if world.kit is not None:
            self._pools(options)
        self._ashore: dict[date, tuple[str, ...]] = {}
        self._oxygen: dict[tuple[str, date], bool] = {}

    # ---- people ----

    def pin_of(self, block: Block) -> Pin | None:
        """Return what is pinned for exactly these dives."""
        pins = self._ground.request.pinned
        return next((pin for pin in pins if pin.group == block.group and pin.dives == block.numbers), None)

    def barred(self, group: str, name: str) -> bool:
        """Return whether somebody is not to lead or assist a group on any day."""
        return any(
            each.group == group and each.person == name and each.day is None and each.site is None
            for each in self._ground.request.excluded
        )

    def most_of_group(self, group: SchoolGroup) -> tuple[int, int]:
        """Return the most dives and the most ascents of a group in a day."""
        rules = self._ground.rules
        own = group.most_dives_per_day or int(rules.value("schedule.group_dives_per_day"))
        return min(own, self.most_dives), self.most_ascents

    def ashore_on(self, day: date) -> tuple[str, ...]:
        """Return who may be in a shore team on a day: of age, at work, and not for the water alone."""
        if day not in self._ashore:
            ground = self._ground
            adult = ground.value("age.adult_years")
            self._ashore[day] = tuple(
                worker.name
                for worker in ground.crew
                if worker.duties != "water"
                and ground.works(worker, day)
                and ground.world.people[worker.name].age_on(day) >= adult
            )
        return self._ashore[day]

    def gives_oxygen(self, name: str, day: date) -> bool:
        """Return whether somebody may give oxygen on a day."""
        if (name, day) not in self._oxygen:
            check = check_oxygen_provider(self._ground.world.people[name], day, self._ground.rules)
            self._oxygen[name, day] = check.outcome is not Outcome.STOP
        return self._oxygen[name, day]

    def team_of_kind(self, block: Block) -> int:
        """Return how many must be ashore for a block's kind of dive."""
        kind = KINDS[self._ground.group(block.group).kind]
        return max(self.team_least, self._ground.whole(f"crew.{kind.name}_ashore_fewest"))

    def in_water(self, block: Block, run: Run) -> int:
        """Return the most people of a block in the water at once, who lead and assist included."""
        group = self._ground.group(block.group)
        if not KINDS[group.kind].led:
            return len(group.divers)
        helpers = [most for _, most in run.needs.leaders.values()]
        pin = self.pin_of(block)
        if pin is not None and pin.assistants is not None:
            helpers.append(len(pin.assistants))
        return len(group.divers) + 1 + max(helpers, default=0)

    # ---- kit ----

    def _pools(self, options: Options) -> None:
        """Work out what may run short of kit: by Hall's theorem everybody can be served where no set of pieces is asked
        by more people than it has pieces, of those who can use nothing else."""
        ground = self._ground
        kit, request = ground.world.kit, ground.request
        if kit is None:
            return
        usable: dict[str, list[Unit]] = {}
        by_day = [stock_of(kit, day, ground.rules) for day in request.dates]
        for thing, units in by_day[0].items():
            # A piece whose papers run out within the days is left out of all of them: it is the cautious side.
            good = [n for n in range(len(units)) if all(day[thing][n].service.usable for day in by_day)]
            usable[thing] = [units[n] for n in good]
        lines = self._lines(options)
        pools: list[Pool] = []
        for thing, units in usable.items():
            mine = [(group, who, line) for group, who, line in lines if line.thing == thing]
            if thing == CYLINDER:
                self.cylinder_pools = tuple(self._cylinder_pools(mine, units))
                continue
            fits = _fitting([line for _, _, line in mine], units)
            for union in _unions(set(fits.values())):
                divers: dict[str, int] = {}
                staff: dict[tuple[str, str], int] = {}
                for group, who, line in mine:
                    if fits[_spec(line)] <= union:
                        if who:
                            staff[group, who] = staff.get((group, who), 0) + 1
                        else:
                            divers[group] = divers.get(group, 0) + 1
                if sum(divers.values()) + len({who for _, who in staff}) > len(union):
                    pools.append(Pool(thing, len(union), divers, staff))
        towing = {line_group: 1 for line_group, _, _ in lines}
        for thing in TOWED:  # each group has its own with it, from leaving to being back
            if len(towing) > counted(kit, thing):
                pools.append(Pool(thing, counted(kit, thing), towing))
        self.kit_pools = tuple(pools)

    def _lines(self, options: Options) -> list[tuple[str, str, KitLine]]:
        """Return everything that somebody may need and does not dive without; for staff with the name."""
        ground = self._ground
        found: list[tuple[str, str, KitLine]] = []
        for group in ground.request.groups:
            if not any(options.runs[block] for block in options.blocks if block.group == group.name):
                continue
            staff: set[str] = set()
            for block in options.blocks:
                if block.group == group.name:
                    for run in options.runs[block]:
                        staff |= {*run.needs.leaders, *run.needs.assistants} - {""}
            wish = team_of(group, None, ())
            for name in (*group.divers, *sorted(staff)):
                who = name if name in staff else ""
                found += [
                    (group.name, who, line) for line in kit_of(ground.world.people[name], wish) if stays_ashore(line)
                ]
        return found

    def _cylinder_pools(
        self, lines: Sequence[tuple[str, str, KitLine]], units: Sequence[Unit]
    ) -> Iterable[CylinderPool]:
        fits = _fitting([line for _, _, line in lines], units)
        for union in _unions(set(fits.values())):
            divers: dict[tuple[str, int], int] = {}
            staff: dict[tuple[str, int, str], int] = {}
            for group, who, line in lines:
                if fits[_spec(line)] <= union:
                    number = line.dive or 1
                    if who:
                        staff[group, number, who] = staff.get((group, number, who), 0) + 1
                    else:
                        divers[group, number] = divers.get((group, number), 0) + 1
            dives = {(group, number) for group, number, _ in staff}
            # At most one leader and a few assistants breathe from it on each dive.
            helpers = sum(min(sum(1 for g, n, _ in staff if (g, n) == dive), 5) for dive in dives)
            if sum(divers.values()) + helpers > len(union):
                yield CylinderPool(len(union), divers, staff)


def _spec(line: KitLine) -> tuple[object, ...]:
    return (
        line.thing, line.size, line.suit_mm, line.dry_suit, line.volume_l, line.metal, line.fill_bar,
        line.oxygen_percent,
    )  # fmt: skip


def _fitting(lines: Sequence[KitLine], units: Sequence[Unit]) -> dict[tuple[object, ...], frozenset[int]]:
    found: dict[tuple[object, ...], frozenset[int]] = {}
    for line in lines:
        spec = _spec(line)
        if spec not in found:
            found[spec] = frozenset(n for n, unit in enumerate(units) if unit.fits(line))
    return found


def _unions(classes: set[frozenset[int]]) -> tuple[frozenset[int], ...]:
    """Return the unions of classes of pieces, each once."""
    ordered = sorted(classes, key=sorted)
    most = len(ordered) if len(ordered) <= MOST_CLASSES else 2
    found = {frozenset[int]().union(*some) for n in range(1, most + 1) for some in combinations(ordered, n)}
    found.add(frozenset[int]().union(*ordered))
    return tuple(sorted(found, key=lambda union: (len(union), sorted(union))))


def _wet_pad_min(ground: Ground, runs: Sequence[Run]) -> int:
    """Return what must be added after an outing so that who dives again has had the time at the surface and ashore."""
    if not runs:
        return 0
    turn = ground.whole("schedule.turnaround_min")
    surface, dry = ground.value("surface_interval.shortest_min"), ground.value("plan.dry_gap_min")

    def least(of: Callable[[Run], int]) -> int:
        return min(of(run) for run in runs)

    before = least(lambda run: run.before_min + run.times[0].descent)
    after = least(lambda run: run.after_min - run.times[-1].surfaced)
    by_surface = surface - (after + turn + before)
    by_dry = dry - (least(lambda run: run.after_min - run.times[-1].out) + turn + least(lambda run: run.before_min))
    return max(math.ceil(by_surface), math.ceil(by_dry), 0)
