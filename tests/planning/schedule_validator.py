"""Judge a schedule by its own values, from the request, the world and the rule book alone.

Nothing here shares code with what makes schedules. Times are reckoned with plain datetimes, drives with geopy, kit with
scipy's matching, and every day trip is planned again by `plan_day` from a request that is put together here.
"""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
from geopy.distance import geodesic
from pydantic import ValidationError
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

from tripplan.catalogue.site import Site
from tripplan.check import Outcome
from tripplan.people.group import KINDS
from tripplan.people.kit import cylinder_service, regulator_service, size_fits
from tripplan.people.person import Person
from tripplan.planning.day import plan_day
from tripplan.planning.plan import DayPlan
from tripplan.planning.progress import SkillTick
from tripplan.planning.request import Altitude, Crew, GroupWish, RecentDive, Request
from tripplan.planning.schedule import Filling, Outing, Schedule, ScheduledDive, ShoreTeam
from tripplan.planning.schedule_request import ScheduleRequest, SchoolGroup
from tripplan.planning.world import CannotPlan, World

MINUTE = timedelta(minutes=1)


def violations(
    schedule: Schedule,
    request: ScheduleRequest,
    world: World,
    *,
    before: Schedule | None = None,
    explained: bool = True,
) -> list[str]:
    """Return a sentence for everything that must not be so, each after a short name of the rule and a colon.

    before -- the schedule that this one was made from, where ``moved`` is to be judged too
    explained -- whether it must say why what has no place has none
    """
    judge = _Judge(schedule, request, world, before, explained)
    found = list(judge.unknown())
    if found:  # nothing more can be told of names that nobody knows
        return found
    for part in (
        judge.outings, judge.drives, judge.order, judge.groups, judge.people, judge.teams, judge.places, judge.vehicles,
        judge.kit, judge.fillings, judge.work, judge.trips, judge.settled, judge.summaries,
    ):  # fmt: skip
        found.extend(part())
    return list(dict.fromkeys(found))


@dataclass(frozen=True)
class _Task:
    """What keeps a person or a vehicle away from the centre."""

    who: str
    start: datetime
    end: datetime
    words: str


@dataclass(frozen=True)
class _Wet:
    """One dive of one person, in UTC."""

    person: str
    outing: Outing
    dive: ScheduledDive
    entry: datetime
    descent: datetime
    surfaced: datetime
    out: datetime
    ascents: int


@dataclass(frozen=True)
class _Need:
    """One thing that one person needs, as the store sees it."""

    thing: str
    day: date
    size: str = ""
    mm: float | None = None
    dry: bool = False
    volume_l: float | None = None
    metal: str = ""
    fill_bar: float | None = None
    percent: float = 21.0


@dataclass(frozen=True)
class _Unit:
    """One piece of the store."""

    thing: str
    fits: Callable[[_Need], bool]


def _utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC)


def _minutes(span: timedelta) -> float:
    return span.total_seconds() / 60


class _Judge:
    def __init__(
        self, schedule: Schedule, request: ScheduleRequest, world: World, before: Schedule | None, explained: bool
    ) -> None:
        self.schedule, self.request, self.world = schedule, request, world
        self.before, self.explained = before, explained
        self.rules = world.rules
        self.zone = ZoneInfo(request.centre.timezone)
        self.workers = {worker.name: worker for worker in request.crew}
        self.by_group: dict[str, list[Outing]] = defaultdict(list)
        for outing in sorted(schedule.outings, key=lambda each: _utc(each.leaves)):
            self.by_group[outing.group].append(outing)

    # ---- names ----

    def unknown(self) -> Iterator[str]:
        """Whatever is not in the request or the world."""
        groups = {group.name: group for group in self.request.groups}
        vehicles = {each.name for each in self.request.vehicles or ()}
        for outing in self.schedule.outings:
            if outing.group not in groups:
                yield f"unknown-group: {outing.group} is none of the groups."
                continue
            if outing.site not in self.world.sites:
                yield f"unknown-site: {outing.key} is at {outing.site}, which is not in the catalogue."
                continue
            site = self.world.sites[outing.site]
            if site.place(outing.place) is None:
                yield f"unknown-place: {outing.key} dives at {outing.place}, which is not at {site.name}."
            for way in (outing.going_in_by, outing.coming_out_by):
                if site.entry(way) is None:
                    yield f"unknown-way: {outing.key} uses {way}, which is no way in or out at {site.name}."
            for name in outing.crew:
                if name not in self.workers:
                    yield f"not-crew: {name} takes {outing.key} and is not in the crew of these days."
            if not outing.dives:
                yield f"no-dives: an outing of {outing.group} holds no dive."
            for dive in outing.dives:
                if not 1 <= dive.number <= len(groups[outing.group].dives):
                    yield f"unknown-dive: {outing.group} has no dive {dive.number}."
            yield from (f"unknown-vehicle: {name} of {outing.key}." for name in outing.vehicles if name not in vehicles)
        for team in self.schedule.shore:
            if team.site not in self.world.sites:
                yield f"unknown-site: a shore team stands at {team.site}, which is not in the catalogue."
            for name in team.people:
                if name not in self.workers:
                    yield f"not-crew: {name} stands ashore at {team.site} and is not in the crew of these days."
            yield from (f"unknown-vehicle: {name} of {team.site}." for name in team.vehicles if name not in vehicles)

    # ---- one outing by itself ----

    def outings(self) -> Iterator[str]:
        """Points 1 to 3 for each outing: what was asked for, its times, its hours."""
        kit_up = timedelta(minutes=self.rules.value("schedule.kit_up_min"))
        after = timedelta(minutes=self.rules.value("schedule.after_exit_min"))
        step = max(int(self.rules.value("plan.entry_step_min")), 1)
        for outing in self.schedule.outings:
            group, site = self.request.group(outing.group), self.world.sites[outing.site]
            yield from self._as_asked(outing, group, site)
            first, last = outing.dives[0], outing.dives[-1]
            drive = outing.drive_min * MINUTE
            if _utc(outing.on_site) != _utc(first.entry) - kit_up:
                yield f"on-site-wrong: {outing.key} arrives at {outing.on_site:%H:%M}, in at {first.entry:%H:%M}."
            gone = max(_utc(last.exit) + after, *(_utc(dive.exit_by) for dive in outing.dives))
            if _utc(outing.off_site) != gone:
                yield f"off-site-wrong: {outing.key} leaves the site at {outing.off_site:%H:%M}."
            if _utc(outing.leaves) != _utc(outing.on_site) - drive:
                yield f"leaves-wrong: {outing.key} leaves at {outing.leaves:%H:%M} for {outing.on_site:%H:%M}."
            if _utc(outing.back) != _utc(outing.off_site) + drive:
                yield f"back-wrong: {outing.key} is back at {outing.back:%H:%M} from {outing.off_site:%H:%M}."
            local = first.entry.astimezone(self.zone)
            if (local.hour * 60 + local.minute) % step or local.second or local.microsecond:
                yield f"entry-step: {outing.key} goes in at {local:%H:%M:%S}, not on the {step} minutes of the clock."
            yield from self._within_day(outing.key, outing.day, outing.leaves, outing.back)
            moments = (outing.leaves, outing.on_site, outing.off_site, outing.back)
            if list(moments) != sorted(moments, key=_utc):
                yield f"times-mixed: {outing.key} goes backwards in time."
            for dive in outing.dives:
                if not _utc(dive.entry) < _utc(dive.exit) <= _utc(dive.exit_by):
                    yield f"times-mixed: dive {dive.number} of {outing.key} ends before it begins."
            self_hours = (("leaves", group.not_before), ("back", group.not_after))
            for words, clock in self_hours:
                if clock is None:
                    continue
                edge = self._at(outing.day, clock)
                early = words == "leaves" and _utc(outing.leaves) < edge
                if early or (words == "back" and _utc(outing.back) > edge):
                    yield f"group-hours: {outing.key} {words} at {getattr(outing, words):%H:%M}, against {clock:%H:%M}."

    def _as_asked(self, outing: Outing, group: SchoolGroup, site: Site) -> Iterator[str]:
        if (outing.kind, outing.kind_words) != (group.kind, KINDS[group.kind].words):
            yield f"not-as-asked: {outing.key} is a {outing.kind_words}."
        if outing.divers != group.divers:
            yield f"not-as-asked: {outing.key} takes {', '.join(outing.divers)}."
        if outing.site_name != site.name:
            yield f"not-as-asked: {outing.key} calls {site.name} {outing.site_name}."
        wanted = (group.place, group.going_in_by, group.coming_out_by)
        for wish, got in zip(wanted, (outing.place, outing.going_in_by, outing.coming_out_by), strict=True):
            if wish is not None and wish != got:
                yield f"not-as-asked: {outing.key} asked for {wish} and gets {got}."
        for dive in outing.dives:
            asked = group.dives[dive.number - 1]
            if (dive.depth_m, dive.minutes, dive.course_dive) != (asked.depth_m, asked.minutes, asked.course_dive):
                yield f"not-as-asked: dive {dive.number} of {outing.group} is {dive.depth_m:g} m, {dive.minutes} min."
        if not KINDS[group.kind].led and outing.crew:
            yield f"not-as-asked: {outing.key} is led by {', '.join(outing.crew)}, and nobody leads a {group.kind}."

    def _at(self, day: date, clock: time) -> datetime:
        return datetime.combine(day, clock, tzinfo=self.zone).astimezone(UTC)

    def _within_day(self, what: str, day: date, leaves: datetime, back: datetime) -> Iterator[str]:
        centre = self.request.centre
        if day not in self.request.dates:
            yield f"outside-days: {what} is on {day}."
        if _utc(leaves) < self._at(day, centre.opens) or _utc(back) > self._at(day, centre.closes):
            yield f"outside-hours: {what} is away from {leaves:%d %H:%M} to {back:%d %H:%M}, beyond the centre's hours."
        if {leaves.astimezone(self.zone).date(), back.astimezone(self.zone).date()} != {day}:
            yield f"outside-days: {what} is not on {day} alone."

    # ---- drives ----

    def drive_of(self, slug: str) -> tuple[int, float]:
        """Return the minutes and kilometres one way, reckoned here."""
        for drive in self.request.drives:
            if drive.site == slug:
                return drive.minutes, drive.km
        here = tuple(float(part) for part in self.request.centre.position.split(","))
        there = self.world.sites[slug].position
        km = geodesic(here, (there.latitude_deg, there.longitude_deg)).kilometers
        km *= self.rules.value("schedule.road_factor")
        return math.ceil(round(km / self.rules.value("schedule.road_km_h") * 60, 6)), km

    def drives(self) -> Iterator[str]:
        """Point 2: minutes and kilometres."""
        entered = {drive.site for drive in self.request.drives}
        for outing in self.schedule.outings:
            minutes, km = self.drive_of(outing.site)
            if outing.drive_min != minutes:
                yield f"drive-wrong: {outing.key} drives {outing.drive_min} min; it is {minutes} min."
            if abs(outing.km - 2 * km) > 0.11:
                yield f"km-wrong: {outing.key} drives {outing.km:g} km there and back; it is {2 * km:.1f} km."
            if (outing.drive_words == "as entered") != (outing.site in entered):
                yield f"drive-words: {outing.key} says that its drive is {outing.drive_words}."

    # ---- dives of a group ----

    def order(self) -> Iterator[str]:
        """Point 1: each dive once, the first ones, in order of time."""
        for name, outings in self.by_group.items():
            numbers = [dive.number for outing in outings for dive in outing.dives]
            twice = [number for number, count in Counter(numbers).items() if count > 1]
            if twice:
                yield f"dive-twice: {name} makes dive {twice[0]} more than once."
                continue
            if set(numbers) != set(range(1, len(numbers) + 1)):
                yield f"dive-missing: {name} makes dives {sorted(numbers)}, and not the ones before."
            if numbers != sorted(numbers):
                yield f"dive-order: {name} makes its dives in the order {numbers}."
            for outing in outings:
                entries = [_utc(dive.entry) for dive in outing.dives]
                within = [dive.number for dive in outing.dives]
                if entries != sorted(entries) or within != sorted(within):
                    yield f"dive-order: {outing.key} is not in the order of time."
                if within != list(range(within[0], within[0] + len(within))):
                    yield f"dive-order: the dives of {outing.key} do not follow each other."
        keys = Counter(outing.key for outing in self.schedule.outings)
        yield from (f"dive-twice: {key} stands {count} times." for key, count in keys.items() if count > 1)

    # ---- what a group may ----

    def groups(self) -> Iterator[str]:
        """Point 4, and the exclusions of point 11."""
        usual_most, usual_apart = (
            self.rules.value("schedule.group_dives_per_day"), self.rules.value("schedule.apart_h"),
        )  # fmt: skip
        turnaround = self.rules.value("schedule.turnaround_min")
        for name, outings in self.by_group.items():
            group = self.request.group(name)
            most = usual_most if group.most_dives_per_day is None else group.most_dives_per_day
            a_day: Counter[date] = Counter()
            for outing in outings:
                a_day[outing.day] += len(outing.dives)
                yield from self._allowed(group, outing)
            yield from (
                f"group-dives-per-day: {name} makes {count} dives on {day}; {most:g} are allowed."
                for day, count in a_day.items()
                if count > most
            )
            apart = usual_apart if group.apart_h is None else group.apart_h
            for one, other in pairwise(outings):
                rest = _minutes(_utc(other.dives[0].entry) - _utc(one.dives[-1].exit))
                if rest < apart * 60:
                    yield f"apart: {other.key} begins {rest:g} min after {one.key}; {apart:g} h are wanted."
                if _minutes(_utc(other.leaves) - _utc(one.back)) < turnaround:
                    yield f"group-turnaround: {other.key} leaves too soon after {one.key} is back."

    def _allowed(self, group: SchoolGroup, outing: Outing) -> Iterator[str]:
        if group.days and outing.day not in group.days:
            yield f"group-day: {group.name} cannot come on {outing.day}."
        if (group.sites and outing.site not in group.sites) or outing.site in group.not_sites:
            yield f"group-site: {group.name} is not to go to {outing.site}."
        if self.request.sites and outing.site not in self.request.sites:
            yield f"site-not-asked: {outing.site} is not among the sites of these days."
        for closed in self.request.closed:
            if closed.site == outing.site and (not closed.days or outing.day in closed.days):
                yield f"site-closed: {outing.key} is at {outing.site}, closed as {closed.because}."
        for name in outing.crew:
            if name in group.not_with:
                yield f"not-with: {name} takes {outing.key}, against the group's wish."
        for each in self.request.excluded:
            if (
                each.group == group.name
                and each.day in (None, outing.day)
                and each.site in (None, outing.site)
                and (each.person is None or each.person in outing.crew)
            ):
                yield f"excluded: {outing.key} is on {outing.day} at {outing.site} with {', '.join(outing.crew)}."

    # ---- people ----

    def tasks(self) -> list[_Task]:
        """Everybody's times away from the centre."""
        found = []
        for outing in self.schedule.outings:
            for name in outing.everybody:
                found.append(_Task(name, _utc(outing.leaves), _utc(outing.back), outing.key))
        for team in self.schedule.shore:
            for name in team.people:
                words = f"shore team of {team.site}"
                found.append(_Task(name, _utc(team.leaves), _utc(team.back), words))
        return found

    def people(self) -> Iterator[str]:
        """Point 5: nobody twice at once, days off, duties, intervals between dives."""
        yield from self._apart(self.tasks(), "person")
        absent = {(each.person, day) for each in self.request.absent for day in each.days}
        for names, day, leaves, back, duty, what in self._working():
            for name in names:
                worker = self.workers[name]
                if day in worker.off:
                    yield f"day-off: {name} has {day} off and is on {what}."
                if (name, day) in absent:
                    yield f"absent: {name} is absent on {day} and is on {what}."
                if worker.duties not in ("both", duty):
                    yield f"duties: {name} works {worker.duties} only and is on {what}."
                if worker.starts is not None and _utc(leaves) < self._at(day, worker.starts):
                    yield f"worker-hours: {name} leaves at {leaves:%H:%M} with {what}, before {worker.starts:%H:%M}."
                if worker.ends is not None and _utc(back) > self._at(day, worker.ends):
                    yield f"worker-hours: {name} is back at {back:%H:%M} with {what}, after {worker.ends:%H:%M}."
        yield from self._intervals()

    def _working(self) -> Iterator[tuple[tuple[str, ...], date, datetime, datetime, str, str]]:
        for outing in self.schedule.outings:
            yield outing.crew, outing.day, outing.leaves, outing.back, "water", outing.key
        for team in self.schedule.shore:
            yield team.people, team.day, team.leaves, team.back, "ashore", f"the shore team of {team.site}"

    def _apart(self, tasks: Sequence[_Task], what: str) -> Iterator[str]:
        turnaround = self.rules.value("schedule.turnaround_min") * MINUTE
        by_name: dict[str, list[_Task]] = defaultdict(list)
        for task in tasks:
            by_name[task.who].append(task)
        for name, own in by_name.items():
            own.sort(key=lambda task: task.start)
            latest = own[0]
            for task in own[1:]:
                if task.start < latest.end:
                    yield f"{what}-twice: {name} is on {latest.words} and on {task.words} at once."
                elif task.start < latest.end + turnaround:
                    yield f"{what}-turnaround: {name} has too little time between {latest.words} and {task.words}."
                latest = max(latest, task, key=lambda each: each.end)

    def wet(self) -> dict[str, list[_Wet]]:
        """Everybody's dives in order of time."""
        found: dict[str, list[_Wet]] = defaultdict(list)
        for outing in self.schedule.outings:
            place = self.world.sites[outing.site].place(outing.place)
            assert place is not None
            swim = math.ceil(place.swim_min or 0) * MINUTE
            wishes = self.request.group(outing.group).dives
            for dive in outing.dives:
                entry, out = _utc(dive.entry), _utc(dive.exit)
                for name in outing.everybody:
                    ascents = wishes[dive.number - 1].ascents
                    found[name].append(_Wet(name, outing, dive, entry, entry + swim, out - swim, out, ascents))
        for own in found.values():
            own.sort(key=lambda each: each.entry)
        return found

    def _intervals(self) -> Iterator[str]:
        shortest = self.rules.value("surface_interval.shortest_min")
        dry = self.rules.value("plan.dry_gap_min")
        recent: dict[str, list[datetime]] = defaultdict(list)
        if isinstance(self.request.recent_dives, tuple):
            for made in self.request.recent_dives:
                recent[made.person].append(_utc(made.surfaced))
        for name, own in self.wet().items():
            for one, other in pairwise(own):
                if other.entry < one.out:
                    continue  # told as one person twice at once, or as an outing out of order
                if _minutes(other.descent - one.surfaced) < shortest:
                    yield f"surface-interval: {name} goes down again too soon after dive {one.dive.number}."
                if _minutes(other.entry - one.out) < dry:
                    yield f"dry-gap: {name} goes in again too soon after dive {one.dive.number}."
            for surfaced in recent[name]:
                if _minutes(own[0].descent - surfaced) < shortest:
                    yield f"surface-interval: {name} goes down too soon after a dive before these days."

    # ---- shore teams ----

    def teams(self) -> Iterator[str]:
        """Point 6."""
        rules, people = self.rules, self.world.people
        adult = rules.value("age.adult_years")
        by_place: dict[tuple[str, date], list[ShoreTeam]] = defaultdict(list)
        for team in self.schedule.shore:
            by_place[team.site, team.day].append(team)
        used: dict[tuple[str, date], list[Outing]] = defaultdict(list)
        for outing in self.schedule.outings:
            used[outing.site, outing.day].append(outing)
        for key in used:
            if len(by_place[key]) != 1:
                many = "no" if not by_place[key] else f"{len(by_place[key])}"
                yield f"team-count: {key[0]} has {many} shore team on {key[1]}."
        for key, teams in by_place.items():
            outings = used.get(key, [])
            for team in teams:
                if not outings:
                    yield f"team-idle: a shore team stands at {team.site} on {team.day}, and nobody dives."
                    continue
                yield from self._team_times(team, outings)
                young = [name for name in team.people if people[name].age_on(team.day) < adult]
                if young:
                    yield f"team-minor: {', '.join(young)} of the team at {team.site} is below {adult:g}."
                fewest = max(
                    rules.value("schedule.ashore_fewest"),
                    *(rules.value(f"crew.{outing.kind}_ashore_fewest") for outing in outings),
                )
                if len(team.people) < fewest:
                    yield f"team-small: {len(team.people)} stand ashore at {team.site}; {fewest:g} are needed."
                for name in team.oxygen_providers:
                    if not self._gives_oxygen(people[name], team.day):
                        yield f"team-oxygen: {name} has no oxygen qualification in date on {team.day}."
                able = [name for name in team.oxygen_providers if self._gives_oxygen(people[name], team.day)]
                if len(able) < rules.value("crew.oxygen_provider_ashore_fewest"):
                    yield f"team-oxygen: nobody gives oxygen at {team.site} on {team.day}."
                if len(set(team.watch)) < rules.value("crew.shore_watch_fewest"):
                    yield f"team-watch: nobody watches at {team.site} on {team.day}."

    @staticmethod
    def _gives_oxygen(person: Person, day: date) -> bool:
        return person.oxygen_provider_until is not None and person.oxygen_provider_until >= day

    def _team_times(self, team: ShoreTeam, outings: Sequence[Outing]) -> Iterator[str]:
        if _utc(team.on_site) > min(_utc(outing.on_site) for outing in outings):
            yield f"team-late: the team at {team.site} is there from {team.on_site:%H:%M}, after the first group."
        if _utc(team.off_site) < max(_utc(outing.off_site) for outing in outings):
            yield f"team-early: the team at {team.site} leaves at {team.off_site:%H:%M}, before the last group."
        drive = self.drive_of(team.site)[0] * MINUTE
        if _utc(team.leaves) != _utc(team.on_site) - drive or _utc(team.back) != _utc(team.off_site) + drive:
            yield f"team-drive: the team of {team.site} leaves at {team.leaves:%H:%M}, back at {team.back:%H:%M}."
        yield from self._within_day(f"the shore team of {team.site}", team.day, team.leaves, team.back)

    # ---- sites and vehicles ----

    def places(self) -> Iterator[str]:
        """Point 7: people in the water and vehicles at a site at once."""
        swims: dict[str, list[tuple[datetime, datetime, int]]] = defaultdict(list)
        parked: dict[str, list[tuple[datetime, datetime, int]]] = defaultdict(list)
        for outing in self.schedule.outings:
            for dive in outing.dives:
                swims[outing.site].append((_utc(dive.entry), _utc(dive.exit), len(outing.everybody)))
            parked[outing.site].append((_utc(outing.on_site), _utc(outing.off_site), len(outing.vehicles)))
        for team in self.schedule.shore:
            parked[team.site].append((_utc(team.on_site), _utc(team.off_site), len(team.vehicles)))
        for slug, spans in swims.items():
            most = self.world.sites[slug].capacity.divers
            if (found := _most_at_once(spans)) > most:
                yield f"capacity-divers: {found} are in the water at {slug} at once; it takes {most}."
        for slug, spans in parked.items():
            room = self.world.sites[slug].capacity.vehicles
            if self.request.vehicles is not None and room is not None and (found := _most_at_once(spans)) > room:
                yield f"capacity-vehicles: {found} vehicles are at {slug} at once; it takes {room}."

    def vehicles(self) -> Iterator[str]:
        """Point 7: one thing at a time, and seats."""
        if self.request.vehicles is None:
            return
        fleet = {vehicle.name: vehicle for vehicle in self.request.vehicles}
        tasks = []
        for what, names, day, leaves, back, riders in self._rides():
            tasks += [_Task(name, _utc(leaves), _utc(back), what) for name in names]
            yield from (f"vehicle-off: {name} is not there on {day}." for name in names if day in fleet[name].off)
            if len(set(names)) != len(names):
                yield f"vehicle-twice: {what} names a vehicle twice."
            seats = sum(fleet[name].seats for name in set(names))
            if seats < riders:
                yield f"seats: {what} has {riders} people and {seats} seats."
        yield from self._apart(tasks, "vehicle")

    def _rides(self) -> Iterator[tuple[str, tuple[str, ...], date, datetime, datetime, int]]:
        for outing in self.schedule.outings:
            all_ride = self.request.group(outing.group).needs_seats
            riders = len(outing.everybody if all_ride else outing.crew)
            yield outing.key, outing.vehicles, outing.day, outing.leaves, outing.back, riders
        for team in self.schedule.shore:
            words = f"the shore team of {team.site}"
            yield words, team.vehicles, team.day, team.leaves, team.back, len(team.people)

    # ---- kit ----

    def kit(self) -> Iterator[str]:
        """Point 8: at every moment the store holds enough that fits."""
        if self.world.kit is None:
            if not any("kit" in note.casefold() for note in self.schedule.notes):
                yield "kit-note: nobody wrote the kit down, and no note says so."
            return
        turnaround = self.rules.value("schedule.turnaround_min") * MINUTE
        filled = {filling.outing: _utc(filling.ends) for filling in self.schedule.fillings}
        never = datetime.max.replace(tzinfo=UTC)
        held: list[tuple[datetime, datetime, _Need]] = []
        for outing in self.schedule.outings:
            leaves, back = _utc(outing.leaves), _utc(outing.back)
            for need in self._needs(outing):
                end = filled.get(outing.key, never) if need.thing == "cylinder" else back + turnaround
                held.append((leaves, end, need))
        stock = _Stock(self.world)
        for moment in sorted({start for start, _, _ in held}):
            now: dict[str, list[_Need]] = defaultdict(list)
            for start, end, need in held:
                if start <= moment < end:
                    now[need.thing].append(need)
            for thing, needs in now.items():
                if short := len(needs) - stock.served(thing, needs):
                    local = moment.astimezone(self.zone)
                    slug = "cylinder-short" if thing == "cylinder" else "kit-short"
                    yield f"{slug}: {short} {thing} too few from {local:%d %b %H:%M} on; {len(needs)} are out."
        yield from self._floats()
        yield from self._sets()

    def _needs(self, outing: Outing) -> Iterator[_Need]:
        group, day = self.request.group(outing.group), outing.day
        for name in outing.everybody:
            sizes = self.world.people[name].sizes
            for thing in ("mask", "fins", "buoyancy_device"):
                yield _Need(thing, day, sizes.get(thing, ""))
            yield _Need("regulator", day)
            if group.dry_suit or group.suit_mm:
                yield _Need("suit", day, sizes.get("suit", ""), group.suit_mm, group.dry_suit)
            if group.kind == "night":
                yield _Need("light", day)
            noted = sizes.get("cylinder", "").casefold()
            number = re.search(r"\d+(?:[.,]\d+)?", noted)
            own_l = float(number[0].replace(",", ".")) if number else None
            for dive in outing.dives:
                yield _Need(
                    "cylinder",
                    day,
                    volume_l=group.cylinder_l if group.cylinder_l is not None else own_l,
                    metal="steel" if "steel" in noted else "aluminium" if "alu" in noted else "",
                    fill_bar=group.fill_bar,
                    percent=group.mixes.get(name, group.dives[dive.number - 1].oxygen_percent),
                )

    def _floats(self) -> Iterator[str]:
        """Each group in the water tows a float and a flag of its own."""
        assert self.world.kit is not None
        spans = [(_utc(dive.entry), _utc(dive.exit_by), 1) for outing in self.schedule.outings for dive in outing.dives]
        for thing in ("flag", "float"):
            have = sum(i.count for i in self.world.kit.safety if i.thing == thing and not i.out_of_service)
            if (found := _most_at_once(spans)) > have:
                yield f"kit-short: {found} groups are in the water at once; the store has {have} of {thing}."

    def _sets(self) -> Iterator[str]:
        """Each shore team takes oxygen and first aid of its own along."""
        assert self.world.kit is not None
        turnaround = self.rules.value("schedule.turnaround_min") * MINUTE
        spans = [(_utc(team.leaves), _utc(team.back) + turnaround, 1) for team in self.schedule.shore]
        for thing in ("oxygen_kit", "first_aid_kit"):
            have = sum(i.count for i in self.world.kit.safety if i.thing == thing and not i.out_of_service)
            if (found := _most_at_once(spans)) > have:
                yield f"kit-short: {found} shore teams are out at once; the store has {have} of {thing}."

    def fillings(self) -> Iterator[str]:
        """Point 8: the one compressor."""
        compressor = self.request.compressor
        keys = {outing.key: outing for outing in self.schedule.outings}
        seen: Counter[str] = Counter()
        for filling in self.schedule.fillings:
            if compressor is None:
                yield f"filling-without-compressor: {filling.outing} is filled by nothing."
                return
            seen[filling.outing] += 1
            outing = keys.get(filling.outing)
            if outing is None or outing.group != filling.group or seen[filling.outing] > 1:
                yield f"filling-unknown: a filling is for {filling.outing}."
                continue
            if _utc(filling.starts) < _utc(outing.back):
                yield f"filling-early: {filling.outing} is filled from {filling.starts:%H:%M}, before it is back."
            took = _minutes(_utc(filling.ends) - _utc(filling.starts))
            if took < filling.count * compressor.fill_min - 1e-6:
                yield f"filling-short: {filling.count} cylinders of {filling.outing} are filled in {took:g} min."
            day = filling.starts.astimezone(self.zone).date()
            opens, closes = self._at(day, compressor.opens), self._at(day, compressor.closes)
            if not opens <= _utc(filling.starts) <= _utc(filling.ends) <= closes:
                yield f"compressor-closed: {filling.outing} is filled from {filling.starts:%H:%M}."
            yield from self._counted(filling, outing)
        ordered = sorted(self.schedule.fillings, key=lambda each: _utc(each.starts))
        for one, other in pairwise(ordered):
            if _utc(other.starts) < _utc(one.ends):
                yield f"filling-overlap: {one.outing} and {other.outing} are filled at once."

    def _counted(self, filling: Filling, outing: Outing) -> Iterator[str]:
        wanted: Counter[str] = Counter()
        for need in self._needs(outing):
            if need.thing == "cylinder":
                wanted["" if need.volume_l is None else f"{need.volume_l:g} l"] += 1
        filled: Counter[str] = Counter()
        for size, count in filling.sizes.items():
            filled[size.split(",")[0]] += count
        fits = all(filled[size] == count for size, count in wanted.items() if size)
        if filling.count != wanted.total() or not fits:
            yield f"filling-count: {filling.outing} brings {dict(wanted)} and {dict(filling.sizes)} are filled."

    # ---- what a person may ----

    def work(self) -> Iterator[str]:
        """Point 9."""
        rules, wet = self.rules, self.wet()
        for name, own in wet.items():
            for day, dives in _by_day(own).items():
                staff = any(name in each.outing.crew for each in dives)
                most = rules.value("dive.most_per_day_staff" if staff else "dive.most_per_day")
                if len(dives) > most:
                    yield f"dives-per-day: {name} makes {len(dives)} dives on {day}; {most:g} are allowed."
                ascents = sum(each.ascents for each in dives)
                if ascents > rules.value("ascent.most_per_day"):
                    yield f"ascents-per-day: {name} comes up {ascents} times on {day}."
        spans: dict[str, dict[date, list[tuple[datetime, datetime]]]] = defaultdict(lambda: defaultdict(list))
        for names, day, leaves, back, _, _ in self._working():
            for name in names:
                spans[name][day].append((_utc(leaves), _utc(back)))
        for name, days in spans.items():
            for first in sorted(days):
                week = {first + timedelta(days=ahead) for ahead in range(7)}
                if (count := len(week & days.keys())) > rules.value("work.most_in_seven_days"):
                    yield f"days-in-seven: {name} works on {count} of the seven days from {first}."
                led = [each for each in wet.get(name, ()) if each.outing.day in week and name in each.outing.crew]
                if len(led) > rules.value("work.dives_in_seven_most"):
                    yield f"dives-in-seven: {name} makes {len(led)} dives in the seven days from {first}."
                if (up := sum(each.ascents for each in led)) > rules.value("work.ascents_in_seven_most"):
                    yield f"ascents-in-seven: {name} comes up {up} times in the seven days from {first}."
            for rest_h, before in _rests_h(days):
                if rest_h < rules.value("work.rest_h"):
                    yield f"rest: {name} rests {rest_h:.2f} h after {before}."

    # ---- the day plans ----

    def trips(self) -> Iterator[str]:
        """Point 10: every part of a day planned again, and what the schedule says of its own plans."""
        by_place: dict[tuple[str, date], list[Outing]] = defaultdict(list)
        for outing in self.schedule.outings:
            by_place[outing.site, outing.day].append(outing)
        teams = {(team.site, team.day): team for team in self.schedule.shore}
        for key, outings in by_place.items():
            if key not in teams:
                continue  # told as a site without a team
            for cluster in _clusters(outings):
                yield from self._planned(cluster, teams[key], together=True)
                high = self.world.sites[key[0]].elevation_m >= self.rules.value("altitude.uncorrected_below_m")
                if high and len(cluster) > 1 and not self.request.settled:
                    # Who comes later has been up there for less long than the first.
                    for outing in cluster:
                        yield from self._planned([outing], teams[key], together=False)
        yield from self._told_trips()

    def _planned(self, cluster: Sequence[Outing], team: ShoreTeam, *, together: bool) -> Iterator[str]:
        try:
            yield from self._plan(cluster, team, together=together)
        except (ValidationError, CannotPlan) as error:
            why = str(error).splitlines()
            yield f"plan-request: {cluster[0].key} cannot be asked of a day plan: {why[min(1, len(why) - 1)].strip()}"

    def _plan(self, cluster: Sequence[Outing], team: ShoreTeam, *, together: bool) -> Iterator[str]:
        site = self.world.sites[cluster[0].site]
        zone = ZoneInfo(site.timezone)
        groups, names = [], {}
        for outing in cluster:
            again = sum(other.group == outing.group for other in cluster[: cluster.index(outing)])
            name = outing.group if not again else f"{outing.group[:34]} {again + 1}"
            names[outing.key] = name
            groups.append(self._wish(outing, name, zone))
        high = site.elevation_m >= self.rules.value("altitude.uncorrected_below_m")
        arrived = min(cluster, key=lambda each: _utc(each.on_site)).on_site.astimezone(zone).time()
        altitude = Altitude(settled=True) if self.request.settled else Altitude(arrived=arrived)
        request = Request(
            site=site.slug,
            date=cluster[0].day,
            crew=Crew(dive_director=team.director, shore_watch=team.watch, oxygen_provider=team.oxygen_providers),
            altitude=altitude if high else Altitude(),
            recent_dives=self._recent(cluster, site),
            groups=tuple(groups),
        )
        world = replace(self.world, kit=None, ticks=self._ticks(cluster))
        plan = plan_day(request, world)
        what = f"{site.slug} on {cluster[0].day}"
        for check in plan.checks:
            if check.outcome is Outcome.STOP:
                yield f"plan-stop: {what}: {check.rule}: {check.sentence}"
        for outing in cluster:
            yield from self._as_planned(outing, names[outing.key], plan, margins=together)

    def _wish(self, outing: Outing, name: str, zone: ZoneInfo) -> GroupWish:
        group = self.request.group(outing.group)
        fields = {key: getattr(group, key) for key in GroupWish.model_fields}
        dives = tuple(
            group.dives[dive.number - 1].model_copy(update={"entry": dive.entry.astimezone(zone).time()})
            for dive in outing.dives
        )
        fields.update(
            name=name,
            leader=outing.leader,
            assistants=outing.assistants,
            place=outing.place,
            going_in_by=outing.going_in_by,
            coming_out_by=outing.coming_out_by,
            dives=dives,
        )
        return GroupWish(**fields)

    def _recent(self, cluster: Sequence[Outing], site: Site) -> tuple[RecentDive, ...] | Literal["none"] | None:
        """Return what everybody of a day trip has dived before, of the request and of the outings before."""
        keys = {outing.key for outing in cluster}
        names = {name for outing in cluster for name in outing.everybody}
        found = [each for each in self.request.recent_dives or () if isinstance(each, RecentDive)]
        for name, own in self.wet().items():
            if name not in names:
                continue
            last = max(each.entry for each in own if each.outing.key in keys)
            for made in own:
                if made.outing.key in keys or made.entry > last:
                    continue
                wish = self.request.group(made.outing.group)
                percent = wish.mixes.get(name, wish.dives[made.dive.number - 1].oxygen_percent)
                found.append(
                    RecentDive(
                        person=name,
                        depth_m=made.dive.depth_m,
                        minutes=made.dive.minutes,
                        surfaced=made.surfaced,
                        altitude_m=self.world.sites[made.outing.site].elevation_m,
                        oxygen_percent=percent,
                    )
                )
        return tuple(found) or self.request.recent_dives

    def _ticks(self, cluster: Sequence[Outing]) -> Mapping[str, tuple[SkillTick, ...]]:
        """Return the ticks with those of the course dives that lie before: each is taken to go as planned."""
        by = next((name for name, each in self.world.people.items() if each.level.is_instructor), "")
        ticks = {kind: list(told) for kind, told in self.world.ticks.items()}
        for outing in cluster:
            course = self.world.skills.course(outing.kind)
            if course is None:
                continue
            for earlier in self.by_group[outing.group]:
                if earlier.dives[0].number >= outing.dives[0].number:
                    continue
                for made in earlier.dives:
                    dive = course.dive(made.course_dive) if made.course_dive is not None else None
                    ticks.setdefault(outing.kind, []).extend(
                        SkillTick(name, skill, dive.number, earlier.day, by, "done")
                        for name in outing.divers
                        for skill in (dive.skills if dive is not None else ())
                        if name != by
                    )
        return {kind: tuple(told) for kind, told in ticks.items()}

    def _as_planned(self, outing: Outing, name: str, plan: DayPlan, *, margins: bool) -> Iterator[str]:
        planned = {dive.number: dive for dive in plan.dives if dive.group == name}
        for index, dive in enumerate(outing.dives, start=1):
            found = planned[index]
            told = (dive.entry, dive.exit, dive.exit_by)
            reckoned = (found.entry, found.exit, found.exit_by)
            if None in reckoned:
                continue  # the plan says so as a stop
            for words, one, other in zip(("in", "out", "out by"), told, reckoned, strict=True):
                if other is not None and _utc(one) != _utc(other):
                    yield f"times-differ: dive {dive.number} of {outing.key} is {words} {one:%H:%M}, not {other:%H:%M}."
            if (found.depth_m, found.bottom_time_min) != (dive.depth_m, dive.minutes):
                yield f"plan-differs: dive {dive.number} of {outing.key} is planned to {found.depth_m} m otherwise."
        if not margins:
            return
        if outing.margin_min < 0:
            yield f"margin-wrong: {outing.key} says a margin of {outing.margin_min} min."
        for check in plan.checks:
            first = check.rule == "entry-margin" and check.subject == f"{name}, dive 1"
            if first and isinstance(check.found, int) and outing.margin_min > check.found:
                yield f"margin-wrong: {outing.key} says {outing.margin_min} min; its plan stands {check.found} min."

    def _told_trips(self) -> Iterator[str]:
        keys = {outing.key: outing for outing in self.schedule.outings}
        named = Counter(key for trip in self.schedule.trips for key in trip.outings)
        for key in keys.keys() | named.keys():
            if named[key] != 1 or key not in keys:
                yield f"trip-outings: {key} stands in {named[key]} day trips."
        slugs = Counter(trip.slug for trip in self.schedule.trips)
        yield from (f"trip-slug: {slug} stands {count} times." for slug, count in slugs.items() if count > 1)
        holder: dict[str, str] = {}
        for trip in self.schedule.trips:
            if trip.verdict is Outcome.STOP:
                yield f"trip-stop: {trip.slug} is stopped by its own plan."
            if (trip.request.site, trip.request.date) != (trip.site, trip.day):
                yield f"trip-request: {trip.slug} is planned at {trip.request.site} on {trip.request.date}."
            for key in trip.outings:
                holder[key] = trip.slug
                if key in keys and (keys[key].site, keys[key].day) != (trip.site, trip.day):
                    yield f"trip-outings: {key} is not at {trip.site} on {trip.day}."
            wanted = sorted(keys[key].dives[0].entry.timetz() for key in trip.outings if key in keys)
            got = sorted(g.dives[0].entry for g in trip.request.groups if g.dives[0].entry is not None)
            if [each.replace(tzinfo=None) for each in wanted] != got:
                yield f"trip-request: {trip.slug} is planned for other entries than the schedule's."
        for one in self.schedule.outings:
            for other in self.schedule.outings:
                same = (one.site, one.day) == (other.site, other.day) and one.key < other.key
                meet = _utc(one.on_site) < _utc(other.off_site) and _utc(other.on_site) < _utc(one.off_site)
                if same and meet and holder.get(one.key) != holder.get(other.key):
                    yield f"trip-split: {one.key} and {other.key} are at one site at once and in two day trips."

    # ---- pins ----

    def settled(self) -> Iterator[str]:
        """Point 11: what was settled before."""
        for pin in self.request.pinned:
            made = [o for o in self.by_group[pin.group] if {dive.number for dive in o.dives} & set(pin.dives)]
            if not made:
                continue  # it stands among what has no place
            outing = made[0]
            dives = {dive.number: dive for dive in outing.dives}
            if len(made) > 1 or not set(pin.dives) <= dives.keys():
                yield f"pin: dives {list(pin.dives)} of {pin.group} are not made in one outing."
                continue
            entry = dives[pin.dives[0]].entry.astimezone(self.zone).time()
            for words, wish, got in (
                ("day", pin.day, outing.day), ("site", pin.site, outing.site), ("entry", pin.entry, entry),
                ("leader", pin.leader, outing.leader),
            ):  # fmt: skip
                if wish is not None and wish != got:
                    yield f"pin: the {words} of {outing.key} is settled as {wish} and is {got}."
            if pin.assistants is not None and set(pin.assistants) != set(outing.assistants):
                yield f"pin: {outing.key} is assisted by {', '.join(outing.assistants) or 'nobody'}."
        held = {(pin.group, number) for pin in self.request.pinned for number in pin.dives}
        for outing in self.schedule.outings:
            if outing.pinned != any((outing.group, dive.number) in held for dive in outing.dives):
                yield f"pin-flag: {outing.key} says pinned = {outing.pinned}."

    # ---- what the schedule says of itself ----

    def summaries(self) -> Iterator[str]:
        """Counts, loads, points and lists agree with the outings."""
        schedule, request = self.schedule, self.request
        starts = [_utc(outing.leaves) for outing in schedule.outings]
        if starts != sorted(starts):
            yield "outings-order: the outings are not by time of leaving."
        if schedule.days != request.dates or schedule.first_day != request.first_day:
            yield f"days-wrong: the days are {', '.join(map(str, schedule.days))}."
        if schedule.timezone != request.centre.timezone or schedule.centre_name != self.world.centre_name:
            yield f"head-wrong: it is of {schedule.centre_name} in {schedule.timezone}."
        if self.world.demonstration and not schedule.demonstration:
            yield "head-wrong: it is a demonstration and does not say so."
        yield from self._unplaced()
        if sum(schedule.terms.values()) != schedule.objective:
            yield f"terms: they add up to {sum(schedule.terms.values())}; the objective is {schedule.objective}."
        if schedule.objective > schedule.bound:
            yield f"bound: the objective is {schedule.objective}, above its bound {schedule.bound}."
        if schedule.status == "optimal" and schedule.objective != schedule.bound:
            yield f"bound: it is called optimal with {schedule.objective} of {schedule.bound}."
        if (schedule.status == "none") and schedule.outings:
            yield "status: it says that nothing is placed."
        yield from (f"check-stop: {check.sentence}" for check in schedule.checks if check.outcome is Outcome.STOP)
        yield from self._loads()
        yield from self._moved()

    def _unplaced(self) -> Iterator[str]:
        told = Counter(each.group for each in self.schedule.unplaced)
        yield from (f"unplaced: {name} stands {count} times." for name, count in told.items() if count > 1)
        said = {each.group: set(each.dives) for each in self.schedule.unplaced}
        for group in self.request.groups:
            placed = {dive.number for outing in self.by_group[group.name] for dive in outing.dives}
            left = set(range(1, len(group.dives) + 1)) - placed
            if said.pop(group.name, set()) != left:
                yield f"unplaced: of {group.name} dives {sorted(left)} have no place."
        yield from (f"unplaced: {name} is none of the groups." for name in said)
        for each in self.schedule.unplaced:
            if (self.explained and not each.because) or not each.dives:
                yield f"unplaced: nobody says why {each.group} has no place."

    def _loads(self) -> Iterator[str]:
        told = {load.person: load for load in self.schedule.loads}
        if len(told) != len(self.schedule.loads):
            yield "loads: somebody stands twice."
        wet = self.wet()
        days: dict[str, dict[date, list[tuple[datetime, datetime]]]] = defaultdict(lambda: defaultdict(list))
        for names, day, leaves, back, _, _ in self._working():
            for name in names:
                days[name][day].append((_utc(leaves), _utc(back)))
        for name in days:
            if name not in told:
                yield f"loads: the work of {name} is not counted."
        for name, load in told.items():
            own = [each for each in wet.get(name, ()) if name in each.outing.crew]
            ashore = [team for team in self.schedule.shore if name in team.people]
            rests = [rest_h for rest_h, _ in _rests_h(days[name])] if name in days else []
            wanted = {
                "outings": len({each.outing.key for each in own}) + len(ashore),
                "dives": len(own),
                "ascents": sum(each.ascents for each in own),
                "water_min": round(sum(_minutes(each.out - each.entry) for each in own)),
                "ashore_min": round(sum(_minutes(_utc(t.off_site) - _utc(t.on_site)) for t in ashore)),
                "days": len(days[name]) if name in days else 0,
                "most_dives_day": max((len(found) for found in _by_day(own).values()), default=0),
            }
            for what, number in wanted.items():
                if getattr(load, what) != number:
                    yield f"loads: {what} of {name} is {getattr(load, what)}; it is {number}."
            shortest = min(rests, default=None)
            if (shortest is None) != (load.shortest_rest_h is None) or (
                shortest is not None
                and load.shortest_rest_h is not None
                and abs(shortest - load.shortest_rest_h) > 0.06
            ):
                yield f"loads: the shortest rest of {name} is {load.shortest_rest_h}; it is {shortest}."

    def _moved(self) -> Iterator[str]:
        names = {group.name for group in self.request.groups}
        told = {each.group for each in self.schedule.moved}
        if self.before is None:
            return
        names |= {outing.group for outing in self.before.outings}
        now, was = _where(self.schedule), _where(self.before)
        changed = {group for group in names if now.get(group) != was.get(group)}
        for group in changed - told:
            yield f"moved: {group} is not as before, and nothing says so."
        for group in told - changed - {""}:
            yield f"moved: {group} is said to be moved and is as before."


# ---- within ----


def _where(schedule: Schedule) -> dict[str, set[object]]:
    found: dict[str, set[object]] = defaultdict(set)
    for outing in schedule.outings:
        team = (outing.leader, frozenset(outing.assistants))
        for dive in outing.dives:
            found[outing.group].add((dive.number, outing.day, outing.site, _utc(dive.entry), team))
    return found


def _most_at_once(spans: Sequence[tuple[datetime, datetime, int]]) -> int:
    """Return the largest sum of the spans that hold one moment; where one ends another may begin."""
    return max((sum(n for first, end, n in spans if first <= moment < end) for moment, _, _ in spans), default=0)


def _by_day(own: Sequence[_Wet]) -> dict[date, list[_Wet]]:
    found: dict[date, list[_Wet]] = defaultdict(list)
    for each in own:
        found[each.outing.day].append(each)
    return found


def _rests_h(days: Mapping[date, Sequence[tuple[datetime, datetime]]]) -> Iterator[tuple[float, date]]:
    """Yield the hours between the work of a day and of the next day with work, and the first of the two."""
    for one, other in pairwise(sorted(days)):
        ended, begins = max(end for _, end in days[one]), min(start for start, _ in days[other])
        yield _minutes(begins - ended) / 60, one


def _clusters(outings: Sequence[Outing]) -> list[list[Outing]]:
    """Return outings of one site and day, those together whose times away from the centre overlap."""
    found: list[list[Outing]] = []
    end = datetime.min.replace(tzinfo=UTC)
    for outing in sorted(outings, key=lambda each: _utc(each.leaves)):
        if found and _utc(outing.leaves) < end:
            found[-1].append(outing)
        else:
            found.append([outing])
        end = max(end, _utc(outing.back))
    return found


class _Stock:
    """The pieces of the store, and how many of some needs they serve at once."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._units = {
            thing: list(self._of(thing))
            for thing in ("mask", "fins", "buoyancy_device", "regulator", "suit", "light", "cylinder")
        }
        self._fits: dict[_Need, list[int]] = {}

    def served(self, thing: str, needs: Sequence[_Need]) -> int:
        """Return how many of some needs can be served at once: a largest matching."""
        units = self._units[thing]
        if not units:
            return 0
        rows, columns = [], []
        for row, need in enumerate(needs):
            if need not in self._fits:
                self._fits[need] = [number for number, unit in enumerate(units) if unit.fits(need)]
            rows += [row] * len(self._fits[need])
            columns += self._fits[need]
        shape = (len(needs), len(units))
        graph = csr_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=shape)
        return int((maximum_bipartite_matching(graph, perm_type="column") >= 0).sum())

    def _of(self, thing: str) -> Iterator[_Unit]:
        kit, rules = self._world.kit, self._world.rules
        assert kit is not None
        sized = {"mask": kit.masks, "fins": kit.fins, "buoyancy_device": kit.buoyancy_devices}
        for item in sized.get(thing, ()):
            if not item.out_of_service:
                yield from [_Unit(thing, _of_size(item.size))] * item.count
        if thing == "regulator":
            for regulator in kit.regulators:
                yield _Unit(thing, lambda need, r=regulator: regulator_service(r, need.day, rules).usable)
        if thing == "light":
            for lamp in kit.safety:
                if lamp.thing == "light" and not lamp.out_of_service:
                    yield from [_Unit(thing, lambda need: True)] * lamp.count
        if thing == "suit":
            for suit in kit.suits:
                if not suit.out_of_service:
                    fits = _of_size(suit.size)
                    yield _Unit(
                        thing,
                        lambda need, s=suit, f=fits: f(need) and need.dry == s.dry and (s.dry or need.mm == s.mm),
                    )
        if thing == "cylinder":
            clean_from = rules.value("kit.oxygen_clean_percent")
            for cylinder in kit.cylinders:

                def holds(need: _Need, c=cylinder) -> bool:
                    label = need.percent if c.oxygen_percent is None else c.oxygen_percent
                    return bool(
                        cylinder_service(c, need.day, rules).usable
                        and need.volume_l in (None, c.volume_l)
                        and need.metal in ("", c.metal)
                        and (need.fill_bar is None or need.fill_bar <= c.working_bar)
                        and (c.oxygen_clean or need.percent <= clean_from)
                        and max(label, 21.0) == max(need.percent, 21.0)
                    )

                yield _Unit(thing, holds)


def _of_size(size: str) -> Callable[[_Need], bool]:
    return lambda need: not need.size or size_fits(need.size, size)
