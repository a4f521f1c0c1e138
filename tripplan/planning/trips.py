"""The day plans of a schedule: groups at one site whose times overlap make one request, and its plan judges them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from tripplan.check import Check, Outcome, worst
from tripplan.people.level import Level
from tripplan.planning.day import Judged, judge_day
from tripplan.planning.outings import Ground, as_if_done, team_of
from tripplan.planning.plan import DivePlan
from tripplan.planning.private import without_private_check
from tripplan.planning.progress import SkillTick
from tripplan.planning.request import Altitude, Crew, GroupWish, RecentDive, Request
from tripplan.planning.solution import Ashore, Cut, Made, Solution
from tripplan.planning.world import World

RECENT_DAYS = 7  # an older dive of these days changes no number any more


@dataclass(frozen=True)
class Trip:
    """Outings that one day plan holds."""

    slug: str
    site: str
    day: date
    made: tuple[Made, ...]
    ashore: Ashore
    request: Request
    names: Mapping[str, Made]  # by the group's name in the request


@dataclass(frozen=True)
class JudgedTrip:
    """A trip with what its plan says."""

    trip: Trip
    outcome: Outcome
    stops: tuple[Check, ...]
    cautions: tuple[str, ...]
    dives: tuple[DivePlan, ...]


class Judge:
    """Judges the trips of solutions, each request once."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self._known: dict[str, JudgedTrip] = {}

    def trips(self, solution: Solution) -> tuple[Trip, ...]:
        """Return the trips of a solution, by time."""
        ashore = {(team.site, team.day): team for team in solution.ashore}
        found: list[Trip] = []
        for key, team in ashore.items():
            here = sorted(
                (made for made in solution.made if (made.run.site, made.run.day) == key),
                key=lambda made: (made.leaves, made.run.block.key),
            )
            for number, cluster in enumerate(self._clusters(key[0], here), start=1):
                found.append(self.trip(cluster, team, solution.made, number))
        found.sort(key=lambda trip: (trip.made[0].leaves, trip.slug))
        return tuple(found)

    def _clusters(self, site: str, made: Sequence[Made]) -> list[list[Made]]:
        clusters: list[list[Made]] = []
        # Hours since arrival count where the water is high: there each outing has its own.
        high = self.ground.world.sites[site].elevation_m >= self.ground.value("altitude.uncorrected_below_m")
        for each in made:
            if clusters and not high and each.leaves < max(other.back for other in clusters[-1]):
                clusters[-1].append(each)
            else:
                clusters.append([each])
        return clusters

    def trip(self, made: Sequence[Made], team: Ashore, every: Sequence[Made], number: int = 1) -> Trip:
        """Return some outings at a site as one trip, with the dives that its people have behind them."""
        ground = self.ground
        site, day = made[0].run.site, made[0].run.day
        zone = ZoneInfo(ground.world.sites[site].timezone)
        names: dict[str, Made] = {}
        groups = []
        for each in made:
            name = each.run.block.group
            if name in names:
                name = f"{name[:30]} ({each.run.block.numbers[0]})"
            names[name] = each
            groups.append(self._group(each, name, zone))
        high = ground.world.sites[site].elevation_m >= ground.value("altitude.uncorrected_below_m")
        arrived = (
            None if ground.request.settled or not high else _local(min(each.on_site for each in made), zone).time()
        )
        request = Request(
            title=f"{ground.request.title or 'Schedule'}: {ground.world.sites[site].name}"[:80],
            site=site,
            date=day,
            crew=self._crew(team),
            altitude=Altitude(settled=ground.request.settled and high, arrived=arrived),
            recent_dives=self._recent(made, every) or "none",
            groups=tuple(groups),
            refilled=ground.request.compressor is not None,
        )
        return Trip(f"{day}-{site}-{number}", site, day, tuple(made), team, request, names)

    def _group(self, made: Made, name: str, zone: ZoneInfo) -> GroupWish:
        group = self.ground.group(made.run.block.group)
        dives = tuple(
            group.dives[number - 1].model_copy(update={"entry": _clock(_local(made.start + times.entry, zone))})
            for number, times in zip(made.run.block.numbers, made.run.times, strict=True)
        )
        own = team_of(group, made.leader, made.assistants).model_copy(
            update={"name": name, "place": made.run.place, "going_in_by": made.run.going_in,
                    "coming_out_by": made.run.coming_out, "dives": dives}
        )  # fmt: skip
        return own

    def _crew(self, team: Ashore) -> Crew:
        people = self.ground.world.people
        providers = tuple(name for name in team.people if self._gives(name, team.day))
        fewest = self.ground.whole("crew.oxygen_provider_ashore_fewest")
        watch_fewest = self.ground.whole("crew.shore_watch_fewest")
        ranks = list(Level)
        ordered = sorted(team.people, key=lambda name: (-ranks.index(people[name].level), name))
        # Who can do nothing else watches first; the others give oxygen.
        watch = [name for name in ordered if name not in providers]
        spare = [name for name in reversed(providers)]
        while len(watch) < watch_fewest and len(spare) > fewest:
            watch.append(spare.pop(0))
        if len(watch) < watch_fewest:
            watch.extend(name for name in ordered if name not in watch)
        giving = tuple(name for name in providers if name not in watch) or providers
        return Crew(
            dive_director=ordered[0] if ordered else None,
            shore_watch=tuple(watch),
            oxygen_provider=giving,
        )

    def _gives(self, name: str, day: date) -> bool:
        from tripplan.planning.crew import check_oxygen_provider

        check = check_oxygen_provider(self.ground.world.people[name], day, self.ground.rules)
        return check.outcome is not Outcome.STOP

    def _recent(self, made: Sequence[Made], every: Sequence[Made]) -> tuple[RecentDive, ...]:
        """Return every dive that somebody of a trip has behind them when it starts, oldest first."""
        request = self.ground.request
        wet = {name for each in made for name in self.everybody(each)}
        first = min(each.start for each in made)
        found = []
        if isinstance(request.recent_dives, tuple):
            found = [dive for dive in request.recent_dives if dive.person in wet]
        for each in every:
            if each in made or first - each.start > RECENT_DAYS * 1440:
                continue
            site = self.ground.world.sites[each.run.site]
            zone = ZoneInfo(site.timezone)
            group = request.group(each.run.block.group)
            for number, times in zip(each.run.block.numbers, each.run.times, strict=True):
                surfaced = each.start + times.surfaced
                if surfaced > first:
                    continue
                wish = group.dives[number - 1]
                found += [
                    RecentDive(
                        person=name,
                        depth_m=float(wish.depth_m or 0.0),
                        minutes=int(wish.minutes or 0),
                        surfaced=_local(surfaced, zone),
                        altitude_m=float(site.elevation_m),
                        oxygen_percent=group.oxygen_percent(name, wish),
                    )
                    for name in self.everybody(each)
                    if name in wet
                ]
        return tuple(sorted(found, key=lambda dive: (dive.surfaced.timestamp(), dive.person)))

    def everybody(self, made: Made) -> tuple[str, ...]:
        """Return everybody who is in the water on an outing."""
        return (*made.crew, *self.ground.group(made.run.block.group).divers)

    def world_of(self, trip: Trip) -> World:
        """Return the world in which a trip is judged.

        Kit is judged for all sites together, elsewhere; the skills of the dives before count as done, as planned.
        """
        ticks: dict[str, tuple[SkillTick, ...]] = dict(self.ground.world.ticks)
        for made in trip.made:
            group = self.ground.group(made.run.block.group)
            own = as_if_done(self.ground, group, made.run.block.numbers[0], trip.day)
            known = self.ground.world.ticks.get(group.kind, ())
            ticks[group.kind] = (*ticks.get(group.kind, ()), *own.get(group.kind, ())[len(known) :])
        return replace(self.ground.world, kit=None, ticks=ticks)

    def judge(self, trip: Trip) -> JudgedTrip:
        """Return what a trip's plan says."""
        key = f"{trip.slug} {trip.request!r}"
        if key not in self._known:
            judged: Judged = judge_day(trip.request, self.world_of(trip), self.ground.scenes)
            checks = [check for check in judged.checks if check.rule != "kit-known"]
            stops = [check for check in checks if check.outcome is Outcome.STOP]
            said = [without_private_check(check) for check in checks]
            cautions = [check.sentence for check in said if check.outcome is Outcome.CAUTION]
            self._known[key] = JudgedTrip(
                trip, worst(checks), tuple(stops), tuple(dict.fromkeys(cautions)), judged.dives
            )
        return self._known[key]

    def refused(self, solution: Solution) -> tuple[tuple[Cut, JudgedTrip], ...]:
        """Return what the plans of a solution refuse, each as the fewest outings that are refused together."""
        found: list[tuple[Cut, JudgedTrip]] = []
        for trip in self.trips(solution):
            judged = self.judge(trip)
            if judged.stops:
                found.append((self._culprits(trip, solution), judged))
            found.extend(self._back_and_forth(trip, solution.made, judged))
        return tuple(found)

    def _back_and_forth(self, trip: Trip, every: Sequence[Made], judged: JudgedTrip) -> list[tuple[Cut, JudgedTrip]]:
        """Yield who dives elsewhere between two outings of one trip: a plan cannot hold what lies in its middle."""
        first, last = min(m.start for m in trip.made), max(m.off_site for m in trip.made)
        wet = {name for made in trip.made for name in self.everybody(made)}
        return [
            (Cut((*trip.made, other)), judged)
            for other in every
            if other not in trip.made
            and other.run.site != trip.site
            and first < other.start < last
            and sum(bool({*self.everybody(made)} & {*self.everybody(other)} & wet) for made in trip.made) > 1
        ]

    def _culprits(self, trip: Trip, solution: Solution) -> Cut:
        """Return the smallest part of a trip that a plan still refuses."""
        every = solution.made
        for made in trip.made:
            if self.judge(self.trip((made,), trip.ashore, ())).stops:
                return self._with_team((made,), trip.ashore, ())
        for made in trip.made:
            if self.judge(self.trip((made,), trip.ashore, every)).stops:
                mine = {*self.everybody(made)}
                earlier = [m for m in every if m.start < made.start and mine & {*self.everybody(m)}]
                for other in earlier:
                    if self.judge(self.trip((made,), trip.ashore, (other,))).stops:
                        return self._with_team((made, other), trip.ashore, (other,))
                return self._with_team((made, *earlier), trip.ashore, tuple(earlier))
        for index, made in enumerate(trip.made):
            for other in trip.made[index + 1 :]:
                if self.judge(self.trip((made, other), trip.ashore, ())).stops:
                    return Cut((made, other), (trip.ashore,))
        wet = {name for made in trip.made for name in self.everybody(made)}
        first = min(m.start for m in trip.made)
        earlier = [m for m in every if m not in trip.made and m.start < first and wet & {*self.everybody(m)}]
        return Cut((*trip.made, *earlier), (trip.ashore,))

    def _with_team(self, made: tuple[Made, ...], team: Ashore, every: tuple[Made, ...]) -> Cut:
        """Return a cut, with the shore team only where another team would mend it."""
        everybody = tuple(
            worker.name
            for worker in self.ground.crew
            if worker.duties != "water"
            and worker.name not in made[0].crew
            and self.ground.world.people[worker.name].age_on(team.day) >= self.ground.value("age.adult_years")
        )
        largest = replace(team, people=tuple(dict.fromkeys((*team.people, *everybody))))
        if self.judge(self.trip(made[:1], largest, every)).stops:
            return Cut(made)
        return Cut(made, (team,))


def _local(minute: int, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(minute * 60, tz=UTC).astimezone(zone)


def _clock(moment: datetime) -> time:
    return moment.time()
