"""The best schedule of a small request, by looking at every combination of outings, people, shore teams and vehicles.

Only what each group could do alone is taken from the planner (`options_of`). Whether a combination may be is judged by
plain comparisons here and, before it counts, by the independent validator; points are added up from the rule book. A
branch is left only where its points, with the best that is still to come, are no more than those of a combination that
the validator has accepted.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import cache, cached_property
from itertools import combinations, pairwise, permutations
from zoneinfo import ZoneInfo

from geopy.distance import geodesic

from tests.planning.schedule_validator import violations
from tripplan.people.group import KINDS
from tripplan.planning.outings import Ground, Options, Run, options_of
from tripplan.planning.schedule import Filling, Outing, Schedule, ScheduledDive, ShoreTeam, Unplaced
from tripplan.planning.schedule_request import ScheduleRequest, Vehicle
from tripplan.planning.world import World

# What a schedule says of itself, which a combination has not worked out.
OF_THE_SUMMARY = ("trip-outings", "trip-request", "loads", "kit-note", "moved", "outings-order")
SETS = ("flag", "float", "oxygen_kit", "first_aid_kit")


@dataclass(frozen=True)
class Going:
    """One outing of a combination; times are minutes since 1970 UTC."""

    group: str
    run: Run
    start: int
    leader: str
    assistants: tuple[str, ...]
    leaves: int
    on_site: int
    off_site: int
    back: int

    @cached_property
    def crew(self) -> frozenset[str]:
        return frozenset((self.leader, *self.assistants)) - {""}

    @property
    def numbers(self) -> tuple[int, ...]:
        return self.run.block.numbers

    @property
    def key(self) -> str:
        return f"{self.group}: {','.join(map(str, self.numbers))}"

    @property
    def place(self) -> tuple[str, date]:
        return self.run.site, self.run.day


@dataclass(frozen=True)
class Team:
    """One shore team of a combination."""

    place: tuple[str, date]
    people: tuple[str, ...]
    leaves: int
    on_site: int
    off_site: int
    back: int


@dataclass(frozen=True)
class Best:
    """The best combination, and how many were looked at."""

    objective: int
    terms: Mapping[str, int]
    schedule: Schedule
    looked_at: int
    judged: int


@dataclass(frozen=True)
class _Chain:
    """What one group makes: outings in order of time, and their points without what is shared."""

    goings: tuple[Going, ...]
    points: int


def points(
    outings: Sequence[Outing],
    shore: Sequence[ShoreTeam],
    request: ScheduleRequest,
    world: World,
    before: Schedule | None = None,
) -> dict[str, int]:
    """Return the points of a schedule by what they are for, added up from the rule book's weights."""
    value = world.rules.value
    terms = dict.fromkeys(
        ("dives", "leaders", "days", "margin", "outings", "kilometres", "shore", "load", "moved"), 0.0
    )
    work: Counter[str] = Counter()
    for outing in outings:
        group, count = request.group(outing.group), len(outing.dives)
        terms["dives"] += value("schedule.weight_dive") * count
        if group.preferred_leader is not None and outing.leader == group.preferred_leader:
            terms["leaders"] += value("schedule.weight_leader") * count
        if outing.day in group.preferred_days:
            terms["days"] += value("schedule.weight_day") * count
        counted = min(outing.margin_min, value("schedule.margin_counted_min"))
        terms["margin"] += value("schedule.weight_margin") * count * counted
        terms["outings"] -= value("schedule.weight_outing")
        terms["kilometres"] -= round(value("schedule.weight_km") * outing.km)
        work.update(outing.crew)
    for team in shore:
        terms["kilometres"] -= round(value("schedule.weight_km") * round(2 * _drive(team.site, request, world)[1], 1))
        terms["shore"] -= value("schedule.weight_team") * len(team.people)
        work.update(team.people)
    # The first outing of a person costs once, the second twice, the third three times as much.
    terms["load"] = -value("schedule.weight_load") * sum(n for count in work.values() for n in range(1, count + 1))
    if before is not None:
        terms["moved"] = -_moved(outings, shore, request, world, before)
    return {name: int(number) for name, number in terms.items()}


def _moved(
    outings: Sequence[Outing],
    shore: Sequence[ShoreTeam],
    request: ScheduleRequest,
    world: World,
    before: Schedule,
) -> float:
    value, lost = world.rules.value, 0.0
    now = {outing.key: outing for outing in outings}
    for old in before.outings:
        if old.group not in {group.name for group in request.groups}:
            continue
        new = now.get(old.key)
        if new is None or new.day != old.day or new.site != old.site:
            lost += value("schedule.weight_moved_day")
            continue
        if (new.dives[0].entry.timestamp(), new.place) != (old.dives[0].entry.timestamp(), old.place):
            lost += value("schedule.weight_moved_time")
        lost += value("schedule.weight_moved_person") * sum(name not in old.crew for name in new.crew)
    for team in shore:
        for old_team in before.shore:
            if (old_team.site, old_team.day) == (team.site, team.day):
                fresh = [name for name in team.people if name not in old_team.people]
                lost += value("schedule.weight_moved_person") * len(fresh)
    return lost


def _drive(slug: str, request: ScheduleRequest, world: World) -> tuple[int, float]:
    for drive in request.drives:
        if drive.site == slug:
            return drive.minutes, drive.km
    here = tuple(float(part) for part in request.centre.position.split(","))
    there = world.sites[slug].position
    km = geodesic(here, (there.latitude_deg, there.longitude_deg)).kilometers
    km *= world.rules.value("schedule.road_factor")
    return math.ceil(round(km / world.rules.value("schedule.road_km_h") * 60, 6)), round(km, 1)


def best_of(request: ScheduleRequest, world: World, before: Schedule | None = None, *, prune: bool = True) -> Best:
    """Return the best combination of a small request.

    prune -- whether a branch that cannot be better than what is found is left
    """
    return _Search(request, world, before, prune).best()


class _Search:
    def __init__(self, request: ScheduleRequest, world: World, before: Schedule | None, prune: bool) -> None:
        self.request, self.world, self.before, self.prune = request, world, before, prune
        self.value = cache(world.rules.value)
        self.zone = ZoneInfo(request.centre.timezone)
        self.turn = int(self.value("schedule.turnaround_min"))
        self.step = int(self.value("plan.entry_step_min"))
        self.options: Options = options_of(Ground(request, world))
        self.looked_at = self.judged = 0
        self.found: tuple[int, Schedule] | None = None
        self.fits: dict[tuple[int, int], bool] = {}
        self.made: dict[tuple[str, tuple[int, ...]], list[Going]] = {}
        self.own: dict[int, int] = {}
        self._hours = cache(self._hours_of)
        self.drives = {slug: _drive(slug, request, world) for slug in world.sites}

    # ---- one group ----

    def best(self) -> Best:
        """Look at everything."""
        chains = []
        for group in self.request.groups:
            own = [self._with_points(group.name, goings) for goings in self._chains(group.name, 1, ())]
            own.sort(key=lambda chain: -chain.points)
            chains.append(own)
        chains.sort(key=len)
        rest = [sum(own[0].points for own in chains[n:]) for n in range(len(chains) + 1)]
        self._combine(chains, rest, 0, (), 0)
        assert self.found is not None  # nothing at all is a combination too
        objective, schedule = self.found
        return Best(objective, schedule.terms, schedule, self.looked_at, self.judged)

    def _chains(self, group: str, number: int, made: tuple[Going, ...]) -> Iterator[tuple[Going, ...]]:
        """Yield everything that a group could make from a dive on, nothing at all first."""
        yield made
        for block in self.options.blocks:
            if block.group != group or block.numbers[0] != number:
                continue
            for going in self._goings(group, block.numbers):
                if not made or self._follows(made, going):
                    yield from self._chains(group, block.numbers[-1] + 1, (*made, going))

    def _goings(self, group: str, numbers: tuple[int, ...]) -> list[Going]:
        if (group, numbers) not in self.made:
            block = next(each for each in self.options.blocks if (each.group, each.numbers) == (group, numbers))
            self.made[group, numbers] = [
                going
                for run in self.options.runs[block]
                for start in range(run.first, run.last + 1, self.step)
                for leader, assistants in self._teams_of(group, run)
                if self._may_be(going := self._going(group, run, start, leader, assistants))
            ]
        return self.made[group, numbers]

    def _teams_of(self, group: str, run: Run) -> Iterator[tuple[str, tuple[str, ...]]]:
        if not KINDS[self.request.group(group).kind].led:
            yield "", ()
            return
        pins = [pin for pin in self.request.pinned if (pin.group, pin.dives) == (group, run.block.numbers)]
        for leader, (fewest, most) in run.needs.leaders.items():
            others = sorted(run.needs.assistants - {leader})
            counts = range(fewest, most + 1)
            if pins and pins[0].assistants is not None:
                counts = range(len(pins[0].assistants), len(pins[0].assistants) + 1)
            for count in counts:
                yield from ((leader, some) for some in combinations(others, count))

    def _going(self, group: str, run: Run, start: int, leader: str, assistants: tuple[str, ...]) -> Going:
        drive = self.drives[run.site][0]
        on_site = start - int(self.value("schedule.kit_up_min"))
        off_site = start + run.times[-1].out + int(self.value("schedule.after_exit_min"))
        off_site = max(off_site, start + run.times[-1].out + int(self.value("overdue.after_min")))
        return Going(group, run, start, leader, assistants, on_site - drive, on_site, off_site, off_site + drive)

    def _may_be(self, going: Going) -> bool:
        """Return whether one outing keeps what is asked of it alone."""
        request, day = self.request, going.run.day
        group = request.group(going.group)
        if any(not self._at_work(name, day, going.leaves, going.back, "water") for name in going.crew):
            return False
        if going.crew & set(group.not_with):
            return False
        for barred in request.excluded:
            if (
                barred.group == group.name
                and barred.day in (None, day)
                and barred.site in (None, going.run.site)
                and (barred.person is None or barred.person in going.crew)
            ):
                return False
        for pin in request.pinned:
            if pin.group == group.name and pin.dives == going.numbers:
                entry = datetime.fromtimestamp(going.start * 60, tz=self.zone).time()
                wanted = ((pin.day, day), (pin.site, going.run.site), (pin.leader, going.leader), (pin.entry, entry))
                if any(wish is not None and wish != got for wish, got in wanted):
                    return False
                if pin.assistants is not None and set(pin.assistants) != set(going.assistants):
                    return False
        return True

    def _at_work(self, name: str, day: date, leaves: int, back: int, duty: str) -> bool:
        hours = self._hours(name, day, duty)
        return hours is not None and hours[0] <= leaves and back <= hours[1]

    def _hours_of(self, name: str, day: date, duty: str) -> tuple[float, float] | None:
        """Return from when to when somebody works at something on a day; None: not at all."""
        request, worker = self.request, self.request.worker(name)
        if day in worker.off or worker.duties not in ("both", duty):
            return None
        if any(each.person == name and day in each.days for each in request.absent):
            return None
        starts = max(worker.starts or request.centre.opens, request.centre.opens)
        ends = min(worker.ends or request.centre.closes, request.centre.closes)
        first, last = (
            datetime.combine(day, clock, tzinfo=self.zone).timestamp() / 60 for clock in (starts, ends)
        )  # fmt: skip
        return first, last

    def _follows(self, made: tuple[Going, ...], going: Going) -> bool:
        """Return whether an outing may follow those of its own group."""
        group, last = self.request.group(going.group), made[-1]
        apart = (self.value("schedule.apart_h") if group.apart_h is None else group.apart_h) * 60
        most = group.most_dives_per_day or self.value("schedule.group_dives_per_day")
        today = sum(len(each.numbers) for each in (*made, going) if each.run.day == going.run.day)
        return (
            going.start - (last.start + last.run.times[-1].out) >= apart
            and going.leaves - last.back >= self.turn
            and today <= most
        )

    def _with_points(self, group: str, goings: tuple[Going, ...]) -> _Chain:
        """Return a chain with its points: all but those of load and shore teams, which hang on the others."""
        value = sum(self._own(going) for going in goings)
        if self.before is not None:
            own = tuple(outing for outing in self.before.outings if outing.group == group)
            there = [self._outing(going) for going in goings]
            value -= int(_moved(there, (), self.request, self.world, replace(self.before, outings=own, shore=())))
        return _Chain(goings, value)

    def _own(self, going: Going) -> int:
        """Return the points of one outing without those of load, shore team and changes."""
        if id(going) not in self.own:
            terms = points([self._outing(going)], (), self.request, self.world)
            self.own[id(going)] = sum(terms.values()) - terms["load"]
        return self.own[id(going)]

    # ---- all groups ----

    def _combine(
        self, chains: list[list[_Chain]], rest: list[int], level: int, made: tuple[Going, ...], value: int
    ) -> None:
        value_at_best = value - self._least_lost(made)
        if not self._better(value_at_best + rest[level]):
            return
        if level == len(chains):
            self._with_teams(made, value)
            return
        for chain in chains[level]:
            if not self._better(value_at_best + chain.points + rest[level + 1]):
                break  # those after it have fewer points still
            if all(self._together(one, other) for one in made for other in chain.goings):
                self._combine(chains, rest, level + 1, (*made, *chain.goings), value + chain.points)

    def _better(self, value: int) -> bool:
        return not self.prune or self.found is None or value > self.found[0]

    def _least_lost(self, made: Sequence[Going]) -> int:
        """Return what at least is lost to load and shore teams."""
        load, person = self.value("schedule.weight_load"), self.value("schedule.weight_team")
        work = Counter(name for going in made for name in going.crew)
        lost = load * sum(n * (n + 1) // 2 for n in work.values())
        for slug, _ in {going.place for going in made}:
            km = round(2 * self.drives[slug][1], 1)
            lost += round(self.value("schedule.weight_km") * km)
            lost += self.value("schedule.ashore_fewest") * (person + load)
        return int(lost)

    def _together(self, one: Going, other: Going) -> bool:
        key = (id(one), id(other))
        if key not in self.fits:
            self.fits[key] = self._apart(one, other)
        return self.fits[key]

    def _apart(self, one: Going, other: Going) -> bool:
        """Return whether two outings of different groups may both be: nobody is on both without the time between."""
        divers = {
            each.group: set(self.request.group(each.group).divers) | each.crew for each in (one, other)
        }  # fmt: skip
        if not divers[one.group] & divers[other.group]:
            return True
        first, second = sorted((one, other), key=lambda each: each.start)
        if second.leaves - first.back < self.turn:
            return False
        last, then = first.run.times[-1], second.run.times[0]
        surface = second.start + then.descent - (first.start + last.surfaced)
        dry = second.start + then.entry - (first.start + last.out)
        shortest = self.value("surface_interval.shortest_min")
        return surface >= shortest and dry >= self.value("plan.dry_gap_min")

    # ---- shore teams ----

    def _with_teams(self, made: tuple[Going, ...], value: int) -> None:
        if not (self._room(made) and self._stock(made, ()) and self._limits(made, ())):
            return
        places = sorted({going.place for going in made})
        self._team(made, value, places, ())

    def _team(
        self, made: tuple[Going, ...], value: int, places: Sequence[tuple[str, date]], teams: tuple[Team, ...]
    ) -> None:
        if len(teams) == len(places):
            self._whole(made, value, teams)
            return
        place = places[len(teams)]
        here = [going for going in made if going.place == place]
        drive = self.drives[place[0]][0]
        on_site, off_site = min(each.on_site for each in here), max(each.off_site for each in here)
        leaves, back = on_site - drive, off_site + drive
        free = [
            worker.name
            for worker in self.request.crew
            if self._at_work(worker.name, place[1], leaves, back, "ashore")
            and self.world.people[worker.name].age_on(place[1]) >= self.value("age.adult_years")
            and all(self._free(worker.name, leaves, back, each) for each in made if worker.name in each.crew)
            and all(self._free(worker.name, leaves, back, each) for each in teams if worker.name in each.people)
        ]
        kinds = {self.request.group(each.group).kind for each in here}
        fewest = max(
            self.value("schedule.ashore_fewest"), *(self.value(f"crew.{kind}_ashore_fewest") for kind in kinds)
        )
        for count in range(int(fewest), int(fewest) + 2):
            for people in combinations(free, count):
                givers = [name for name in people if self._gives(name, place[1])]
                if len(givers) >= self.value("crew.oxygen_provider_ashore_fewest"):
                    team = Team(place, people, leaves, on_site, off_site, back)
                    self._team(made, value, places, (*teams, team))

    def _free(self, name: str, leaves: int, back: int, task: Going | Team) -> bool:
        return leaves - task.back >= self.turn or task.leaves - back >= self.turn

    def _gives(self, name: str, day: date) -> bool:
        until = self.world.people[name].oxygen_provider_until
        return until is not None and until >= day

    # ---- the whole ----

    def _whole(self, made: tuple[Going, ...], value: int, teams: tuple[Team, ...]) -> None:
        self.looked_at += 1
        value -= self._lost(made, teams)
        if self.found is not None and value <= self.found[0]:
            return
        if not (self._stock(made, teams) and self._limits(made, teams)):
            return
        outings = tuple(self._outing(each) for each in sorted(made, key=lambda each: each.leaves))
        shore = tuple(self._shore(each) for each in teams)
        terms = points(outings, shore, self.request, self.world, self.before)
        assert sum(terms.values()) == value
        vehicles = next(self._rides(made, teams), None)  # which of them go changes nothing else
        if vehicles is None:
            return
        for schedule in self._filled(outings, shore, vehicles, terms):
            self.judged += 1
            wrong = violations(schedule, self.request, self.world, explained=False)
            wrong = [each for each in wrong if each.split(":")[0] not in OF_THE_SUMMARY and " is out by " not in each]
            if not wrong:
                self.found = (value, schedule)
                return
            if not all(each.startswith("cylinder-short") for each in wrong):
                return  # another order at the compressor would not mend it

    def _lost(self, made: Sequence[Going], teams: Sequence[Team]) -> int:
        """Return the points that are lost to load, shore teams and changes of those."""
        work = Counter(name for going in made for name in going.crew)
        work.update(name for team in teams for name in team.people)
        lost = self.value("schedule.weight_load") * sum(n * (n + 1) // 2 for n in work.values())
        known = {} if self.before is None else {(old.site, old.day): old.people for old in self.before.shore}
        for team in teams:
            lost += round(self.value("schedule.weight_km") * round(2 * self.drives[team.place[0]][1], 1))
            lost += self.value("schedule.weight_team") * len(team.people)
            fresh = [name for name in team.people if name not in known.get(team.place, team.people)]
            lost += self.value("schedule.weight_moved_person") * len(fresh)
        return int(lost)

    def _room(self, made: Sequence[Going]) -> bool:
        """Return whether the sites have room in the water."""
        for going in made:
            for times in going.run.times:
                moment = going.start + times.entry
                wet = sum(
                    len(each.crew) + len(self.request.group(each.group).divers)
                    for each in made
                    if each.run.site == going.run.site
                    for other in each.run.times
                    if each.start + other.entry <= moment < each.start + other.out
                )
                if wet > self.world.sites[going.run.site].capacity.divers:
                    return False
        return True

    def _stock(self, made: Sequence[Going], teams: Sequence[Team]) -> bool:
        """Return whether the store has pieces enough for all who are out, whatever their sizes."""
        kit = self.world.kit
        if kit is None:
            return True
        fewest = min(
            sum(item.count for item in kit.masks),
            sum(item.count for item in kit.fins),
            sum(item.count for item in kit.buoyancy_devices),
            len(kit.regulators),
        )
        safe = {thing: sum(item.count for item in kit.safety if item.thing == thing) for thing in SETS}
        used = sum(len(each.numbers) * (len(each.crew) + len(self.request.group(each.group).divers)) for each in made)
        if self.request.compressor is None and used > len(kit.cylinders):
            return False
        for going in made:
            out = [each for each in made if each.leaves <= going.leaves < each.back + self.turn]
            if sum(len(each.crew) + len(self.request.group(each.group).divers) for each in out) > fewest:
                return False
            if len(out) > min(safe["flag"], safe["float"]):  # each group has its own with it
                return False
        for team in teams:
            gone = sum(each.leaves <= team.leaves < each.back + self.turn for each in teams)
            if gone > min(safe["oxygen_kit"], safe["first_aid_kit"]):
                return False
        return True

    def _limits(self, made: Sequence[Going], teams: Sequence[Team]) -> bool:
        """Return whether everybody's dives, ascents, days and rest are within the limits; for seven days at most."""
        assert len(self.request.dates) <= 7
        work: dict[str, list[tuple[date, int, int]]] = defaultdict(list)
        days: dict[tuple[str, date], tuple[int, int]] = {}
        led: dict[str, tuple[int, int]] = {}
        for going in made:
            group = self.request.group(going.group)
            count = len(going.numbers), sum(group.dives[number - 1].ascents for number in going.numbers)
            for name in going.crew:
                work[name].append((going.run.day, going.leaves, going.back))
                led[name] = _sum(led.get(name, (0, 0)), count)
            for name in {*going.crew, *group.divers}:
                key = (name, going.run.day)
                days[key] = _sum(days.get(key, (0, 0)), count)
        for team in teams:
            for name in team.people:
                work[name].append((team.place[1], team.leaves, team.back))
        for (name, _), (wet, up) in days.items():
            most = self.value("dive.most_per_day_staff" if name in led else "dive.most_per_day")
            if wet > most or up > self.value("ascent.most_per_day"):
                return False
        for wet, up in led.values():
            if wet > self.value("work.dives_in_seven_most") or up > self.value("work.ascents_in_seven_most"):
                return False
        for own in work.values():
            on = sorted({day for day, _, _ in own})
            if len(on) > self.value("work.most_in_seven_days"):
                return False
            for one, other in pairwise(on):
                ended = max(back for day, _, back in own if day == one)
                begins = min(leaves for day, leaves, _ in own if day == other)
                if begins - ended < self.value("work.rest_h") * 60:
                    return False
        return True

    def _rides(self, made: Sequence[Going], teams: Sequence[Team]) -> Iterator[dict[object, tuple[str, ...]]]:
        """Yield vehicles for every outing and team: each way in which no vehicle could be left at the centre."""
        if self.request.vehicles is None:
            yield {}
            return
        jobs: list[tuple[object, int, int, date, int]] = []
        for going in made:
            group = self.request.group(going.group)
            riders = len(going.crew) + (len(group.divers) if group.needs_seats else 0)
            jobs.append((going.key, going.leaves, going.back, going.run.day, riders))
        jobs += [(team.place, team.leaves, team.back, team.place[1], len(team.people)) for team in teams]
        for taken in self._carried(jobs, {}):
            if self._parked(made, teams, taken):
                yield taken

    def _parked(self, made: Sequence[Going], teams: Sequence[Team], taken: Mapping[object, tuple[str, ...]]) -> bool:
        """Return whether the sites have room for the vehicles that stand there at once."""
        stands = [(each.place[0], each.on_site, each.off_site, len(taken[each.key])) for each in made]
        stands += [(each.place[0], each.on_site, each.off_site, len(taken[each.place])) for each in teams]
        for slug, moment, _, _ in stands:
            room = self.world.sites[slug].capacity.vehicles
            here = sum(n for site, first, end, n in stands if site == slug and first <= moment < end)
            if room is not None and here > room:
                return False
        return True

    def _carried(
        self, jobs: Sequence[tuple[object, int, int, date, int]], taken: dict[object, tuple[str, ...]]
    ) -> Iterator[dict[object, tuple[str, ...]]]:
        if len(taken) == len(jobs):
            yield dict(taken)
            return
        key, leaves, back, day, riders = jobs[len(taken)]
        free: list[Vehicle] = []
        for vehicle in self.request.vehicles or ():
            busy = [job for job in jobs[: len(taken)] if vehicle.name in taken[job[0]]]
            apart = all(leaves - job[2] >= self.turn or job[1] - back >= self.turn for job in busy)
            if apart and day not in vehicle.off:
                free.append(vehicle)
        for count in range(len(free) + 1):
            for some in combinations(free, count):
                seats = sum(vehicle.seats for vehicle in some)
                if seats >= riders and all(seats - vehicle.seats < riders for vehicle in some):
                    yield from self._carried(jobs, {**taken, key: tuple(vehicle.name for vehicle in some)})

    def _filled(
        self,
        outings: Sequence[Outing],
        shore: Sequence[ShoreTeam],
        vehicles: Mapping[object, tuple[str, ...]],
        terms: Mapping[str, int],
    ) -> Iterator[Schedule]:
        """Yield the schedule with the compressor's work in every order, as it comes back first."""
        ridden = tuple(replace(outing, vehicles=vehicles.get(outing.key, ())) for outing in outings)
        teams = tuple(replace(team, vehicles=vehicles.get((team.site, team.day), ())) for team in shore)
        first = sorted(ridden, key=lambda outing: outing.back)
        seen: set[tuple[tuple[str, datetime], ...]] = set()
        orders = [first, *permutations(first)] if self.world.kit is not None else [first]
        for order in orders:
            fillings = self._fillings(order)
            key = tuple(sorted((each.outing, each.starts) for each in fillings))
            if key not in seen and self._cylinders_last(ridden, fillings):
                seen.add(key)
                yield self._schedule(ridden, teams, fillings, terms)

    def _cylinders_last(self, outings: Sequence[Outing], fillings: Sequence[Filling]) -> bool:
        """Return whether the store has cylinders enough until they are filled again, whatever their sizes."""
        if self.world.kit is None:
            return True
        full = {filling.outing: filling.ends.timestamp() for filling in fillings}
        for moment in (outing.leaves.timestamp() for outing in outings):
            held = [
                outing for outing in outings if outing.leaves.timestamp() <= moment < full.get(outing.key, math.inf)
            ]
            needed = sum(len(outing.everybody) * len(outing.dives) for outing in held)
            if needed > len(self.world.kit.cylinders):
                return False
        return True

    def _fillings(self, order: Sequence[Outing]) -> tuple[Filling, ...]:
        compressor = self.request.compressor
        if compressor is None:
            return ()
        taken: list[tuple[int, int]] = []
        found = []
        for outing in order:
            group = self.request.group(outing.group)
            count = len(outing.everybody) * len(outing.dives)
            length = math.ceil(round(count * compressor.fill_min, 6))
            start = self._slot(int(outing.back.timestamp() // 60), length, taken)
            if start is not None:
                taken.append((start, start + length))
                words = "size not known" if group.cylinder_l is None else f"{group.cylinder_l:g} l"
                times = (_at(start, self.zone), _at(start + length, self.zone))
                found.append(Filling(outing.group, outing.key, {words: count}, *times))
        return tuple(found)

    def _slot(self, ready: int, length: int, taken: Sequence[tuple[int, int]]) -> int | None:
        """Return the first minute from which the compressor has the time; None in none of the days."""
        compressor = self.request.compressor
        assert compressor is not None
        for day in self.request.dates:
            opens, closes = (
                int(datetime.combine(day, clock, tzinfo=self.zone).timestamp() // 60)
                for clock in (compressor.opens, compressor.closes)
            )
            for start in sorted({max(ready, opens), *(end for _, end in taken)}):
                free = all(start + length <= first or end <= start for first, end in taken)
                if start >= max(ready, opens) and start + length <= closes and free:
                    return start
        return None

    # ---- values ----

    def _outing(self, going: Going) -> Outing:
        run, site = going.run, self.world.sites[going.run.site]
        zone, group = ZoneInfo(site.timezone), self.request.group(going.group)
        minutes, km = self.drives[run.site]
        entered = any(drive.site == run.site for drive in self.request.drives)
        return Outing(
            group=group.name,
            kind=group.kind,
            kind_words=KINDS[group.kind].words,
            day=run.day,
            site=run.site,
            site_name=site.name,
            place=run.place,
            going_in_by=run.going_in,
            coming_out_by=run.coming_out,
            dives=tuple(
                ScheduledDive(
                    number=number,
                    entry=_at(going.start + times.entry, zone),
                    exit=_at(going.start + times.out, zone),
                    exit_by=_at(going.start + times.exit_by, zone),
                    depth_m=group.dives[number - 1].depth_m or 0.0,
                    minutes=group.dives[number - 1].minutes or 0,
                    course_dive=group.dives[number - 1].course_dive,
                )
                for number, times in zip(run.block.numbers, run.times, strict=True)
            ),
            leader=going.leader or None,
            assistants=going.assistants,
            divers=group.divers,
            vehicles=(),
            leaves=_at(going.leaves, zone),
            on_site=_at(going.on_site, zone),
            off_site=_at(going.off_site, zone),
            back=_at(going.back, zone),
            margin_min=run.latest - going.start,
            km=round(2 * km, 1),
            drive_min=minutes,
            drive_words="as entered" if entered else "reckoned from the straight line",
            pinned=any(pin.group == group.name and set(pin.dives) & set(going.numbers) for pin in self.request.pinned),
        )

    def _shore(self, team: Team) -> ShoreTeam:
        slug, day = team.place
        zone = ZoneInfo(self.world.sites[slug].timezone)
        givers = [name for name in team.people if self._gives(name, day)]
        watch = next((name for name in team.people if name not in givers), team.people[0])
        giving = tuple(name for name in givers if name != watch) or (watch,)
        return ShoreTeam(
            site=slug,
            site_name=self.world.sites[slug].name,
            day=day,
            director=max(team.people, key=lambda name: self.world.people[name].level.rank),
            watch=tuple(name for name in team.people if name not in giving) or (watch,),
            oxygen_providers=giving,
            vehicles=(),
            leaves=_at(team.leaves, zone),
            on_site=_at(team.on_site, zone),
            off_site=_at(team.off_site, zone),
            back=_at(team.back, zone),
        )

    def _schedule(
        self,
        outings: tuple[Outing, ...],
        shore: tuple[ShoreTeam, ...],
        fillings: tuple[Filling, ...],
        terms: Mapping[str, int],
    ) -> Schedule:
        placed: dict[str, set[int]] = defaultdict(set)
        for outing in outings:
            placed[outing.group] |= {dive.number for dive in outing.dives}
        unplaced = [
            Unplaced(group.name, left, (), ())
            for group in self.request.groups
            if (left := tuple(n for n in range(1, len(group.dives) + 1) if n not in placed[group.name]))
        ]
        value = sum(terms.values())
        return Schedule(
            title=self.request.title,
            demonstration=self.world.demonstration,
            centre_name=self.world.centre_name,
            first_day=self.request.first_day,
            days=self.request.dates,
            timezone=self.request.centre.timezone,
            outings=outings,
            shore=shore,
            fillings=fillings,
            unplaced=tuple(unplaced),
            trips=(),
            loads=(),
            checks=(),
            terms=dict(terms),
            status="optimal",
            objective=value,
            bound=value,
            seconds=0.0,
            seed=0,
            rounds=0,
            revision="",
        )


def _sum(one: tuple[int, int], other: tuple[int, int]) -> tuple[int, int]:
    return one[0] + other[0], one[1] + other[1]


def _at(minute: int, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(minute * 60, tz=UTC).astimezone(zone)
