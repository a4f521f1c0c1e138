"""Where and when each group of a schedule could dive, and who could lead it, by the checks of the day plan.

Nothing is judged here by a rule of its own. Windows, depth, time, gas, skills and teams come from the functions that
`plan_day` asks; what is found here is possible for the group alone. Who and what it shares with others, the solver
decides, and the plans of the days judge the whole again.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from functools import cached_property
from itertools import combinations, pairwise
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tripplan.catalogue.site import Place, Site
from tripplan.check import Check, Outcome
from tripplan.environment.position import distance_km, read_position
from tripplan.people.group import KINDS
from tripplan.people.kit import day_words
from tripplan.planning.crew import check_group
from tripplan.planning.day_checks import check_place, check_site, check_weather_of
from tripplan.planning.dives import plan_dives
from tripplan.planning.help import help_at
from tripplan.planning.limits import person_depth
from tripplan.planning.plan import DivePlan
from tripplan.planning.private import without_private_check
from tripplan.planning.progress import SkillTick
from tripplan.planning.ratios import WaterSeen, by_water, check_dive_ratio, ratio_of
from tripplan.planning.request import Altitude, Crew, GroupWish, Request
from tripplan.planning.schedule import Progress
from tripplan.planning.schedule_request import ScheduleRequest, SchoolGroup, Worker
from tripplan.planning.setting import GroupSetting, Scenes, Setting, group_setting
from tripplan.planning.shore import least
from tripplan.planning.teaching import teach
from tripplan.planning.timing import ends_of, parts_of
from tripplan.planning.window import runs, stream_limit_kn
from tripplan.planning.world import World

Flags = NDArray[np.bool_]
Stops = Callable[[str | None, Sequence[str]], list[Check]]
MOST_ASSISTANTS = 4  # tried for a group; with more it is two groups
REPRESENTATIVES = 5  # first entries at which a block of dives is planned in full, over the day
OF_THE_CREW = {"emergency-roles", "crew-drilled"}  # checks that mean nothing before a crew is named
OF_THE_PLACE = {"depth-within-limit", "bottom-within-limit", "skills-water"}  # the same at every hour and day
WAITS_FOR_TEAM = {"ratio-of-dive", "group-size-of-dive"}  # judged for every team apart


@dataclass(frozen=True)
class Road:
    """The way from the centre to a site."""

    minutes: int  # one way
    km: float  # one way
    words: str


@dataclass(frozen=True)
class Block:
    """Dives of one group that follow each other and are made in one outing."""

    group: str
    numbers: tuple[int, ...]  # of the group's dives, from 1

    @property
    def key(self) -> str:
        """What tells it from every other."""
        return f"{self.group}: {','.join(map(str, self.numbers))}"


@dataclass(frozen=True)
class Times:
    """One dive of a block, minutes after the first entry of the block."""

    entry: int
    descent: int
    surfaced: int
    out: int
    exit_by: int


@dataclass(frozen=True)
class Needs:
    """Who may take a group: each leader with the assistants that are then needed."""

    leaders: Mapping[str, tuple[int, int]]  # assistants at least, with the best ones, and with whomever
    assistants: frozenset[str]
    sentences: tuple[str, ...]  # why nobody may, where nobody may


@dataclass(frozen=True)
class Run:
    """First entries of a block at one place on one day that are alike, one every step of the clock."""

    block: Block
    day: date
    site: str
    place: str
    going_in: str
    coming_out: str
    first: int  # minutes since 1970 UTC
    last: int
    latest: int  # after this minute the dives no longer fit as planned
    times: tuple[Times, ...]
    needs: Needs
    drive: Road
    before_min: int  # from leaving the centre to the first entry
    after_min: int  # from the first entry to being back
    on_site_min: int  # from arriving to the first entry
    off_site_min: int  # from the first entry to leaving the site

    @property
    def key(self) -> tuple[object, ...]:
        """What tells it from every other."""
        return (self.block.key, self.day, self.site, self.place, self.going_in, self.coming_out, self.first)


@dataclass(frozen=True)
class Refusal:
    """Why a block of dives cannot be made at a site on a day."""

    block: Block
    site: str
    day: date
    sentences: tuple[str, ...]
    as_asked: bool = False  # whether the request itself keeps the group away from there


@dataclass(frozen=True)
class Options:
    """Everything that is possible for the groups of a schedule, each alone."""

    blocks: tuple[Block, ...]
    runs: Mapping[Block, tuple[Run, ...]]
    refusals: tuple[Refusal, ...]
    group_refusals: Mapping[str, tuple[str, ...]]  # of groups that nobody may take anywhere


class Ground:
    """A request and a world with what follows from them, each worked out once."""

    def __init__(self, request: ScheduleRequest, world: World, scenes: Scenes | None = None) -> None:
        self.request, self.world, self.rules = request, world, world.rules
        self.scenes = Scenes(world) if scenes is None else scenes
        self.zone = ZoneInfo(request.centre.timezone)
        self._drives: dict[str, Road] = {}
        self._needs: dict[tuple[object, ...], Needs] = {}
        self.planned: dict[tuple[object, ...], dict[tuple[int, ...], tuple[Times, ...]]] = {}  # times found so far
        self.stopped: dict[tuple[object, ...], tuple[str, ...]] = {}  # what no hour mends
        self._site_stops: dict[tuple[str, date], tuple[str, ...]] = {}

    @cached_property
    def sites(self) -> tuple[str, ...]:
        """The sites to choose from."""
        return self.request.sites or tuple(self.world.sites)

    @cached_property
    def crew(self) -> tuple[Worker, ...]:
        """Who works in these days."""
        return self.request.crew

    def group(self, name: str) -> SchoolGroup:
        """Return a group by its name.  Raises KeyError for one that is not there."""
        return self._groups[name]

    @cached_property
    def _groups(self) -> dict[str, SchoolGroup]:
        return {group.name: group for group in self.request.groups}

    def value(self, key: str) -> float:
        """Return a number of the rule book."""
        return self.rules.value(key)

    def whole(self, key: str) -> int:
        """Return a number of the rule book as whole minutes, people or points, rounded up."""
        return math.ceil(self.rules.value(key))

    def minute(self, day: date, clock: time) -> int:
        """Return a clock time of the centre as minutes since 1970 UTC."""
        return int(datetime.combine(day, clock, tzinfo=self.zone).timestamp() // 60)

    def works(self, worker: Worker, day: date) -> bool:
        """Return whether a member of the crew can be given work on a day."""
        away = {gone for absence in self.request.absent if absence.person == worker.name for gone in absence.days}
        return day not in worker.off and day not in away

    def hours(self, worker: Worker, day: date) -> tuple[int, int] | None:
        """Return from when to when somebody works on a day, minutes since 1970 UTC; None: not at all."""
        if not self.works(worker, day):
            return None
        centre = self.request.centre
        starts = max(worker.starts or centre.opens, centre.opens)
        ends = min(worker.ends or centre.closes, centre.closes)
        return self.minute(day, starts), self.minute(day, ends)

    def drive(self, slug: str) -> Road:
        """Return the drive to a site: as entered, else reckoned from the straight line."""
        if slug not in self._drives:
            entered = next((each for each in self.request.drives if each.site == slug), None)
            if entered is not None:
                self._drives[slug] = Road(entered.minutes, entered.km, "as entered")
            else:
                straight = distance_km(read_position(self.request.centre.position), self.world.sites[slug].position)
                factor = self.value("schedule.road_factor")
                km = straight * factor
                minutes = math.ceil(round(km / self.value("schedule.road_km_h") * 60, 6))
                words = f"reckoned: {straight:.1f} km in a straight line, times {factor:g} for the road"
                self._drives[slug] = Road(minutes, round(km, 1), words)
        return self._drives[slug]

    def blocks_of(self, group: SchoolGroup) -> tuple[Block, ...]:
        """Return every way to take dives of a group that follow each other into one outing."""
        most = group.most_dives_per_day or int(self.value("schedule.group_dives_per_day"))
        total = len(group.dives)
        found = []
        for first in range(1, total + 1):
            for count in range(1, min(most, total - first + 1) + 1):
                found.append(Block(group.name, tuple(range(first, first + count))))
        pins = [pin for pin in self.request.pinned if pin.group == group.name]
        return tuple(
            block
            for block in found
            if all(block.numbers == pin.dives or not set(block.numbers) & set(pin.dives) for pin in pins)
        )

    # ---- who may take a group ----

    def needs(self, group: SchoolGroup, site: Site, day: date, seen: WaterSeen) -> Needs:
        """Return who may lead and assist a group at a site on a day, in water as seen on its dives."""
        reductions = tuple(each.rule.key for each in by_water(seen, self.rules))
        low = seen.visibility_m is not None and "ratio.low_visibility_fewer" in reductions
        key = (group.name, group.divers, site.lowest_level, day, reductions, low)
        if key not in self._needs:
            self._needs[key] = self._found_needs(group, site, day, seen)
        return self._needs[key]

    def _found_needs(self, group: SchoolGroup, site: Site, day: date, seen: WaterSeen) -> Needs:
        kind, people, rules = KINDS[group.kind], self.world.people, self.rules
        wished_m = max(wish.depth_m or 0.0 for wish in group.dives)

        def stops(leader: str | None, assistants: Sequence[str]) -> list[Check]:
            team = team_of(group, leader, assistants)
            found = [c for c in check_group(team, site, people, day, rules) if c.outcome is Outcome.STOP]
            judged = check_dive_ratio(ratio_of(team, people, day, rules), group.name, seen, rules)
            if judged is not None and judged.outcome is Outcome.STOP:
                found.append(judged)
            led_by = people[leader] if leader else None
            for name in team.everybody:
                own = person_depth(people[name], day, kind, led_by, rules)
                if own.value is not None and own.value < wished_m:
                    words = f"{group.name}: {wished_m:g} m is wished; {own.sentence}."
                    found.append(Check("depth-within-limit", Outcome.STOP, words, own.source, subject=name))
            return found

        if not kind.led:
            found = stops(None, ())
            return Needs({} if found else {"": (0, 0)}, frozenset(), _said(found))
        free = [
            worker.name
            for worker in self.crew
            if worker.duties != "ashore" and self.works(worker, day) and worker.name not in group.not_with
        ]
        alone = {name: stops(name, ()) for name in free}
        # An assistant fits who brings no stop that is not there without; looked at with the leader who has fewest.
        best = min(alone, key=lambda name: len(alone[name]), default=None)
        assistants: list[str] = []
        if best is not None:
            known = {(check.rule, check.subject) for check in alone[best]}
            for name in free:
                if name == best:
                    continue
                with_one = stops(best, (name,))
                if {(check.rule, check.subject) for check in with_one} <= known:
                    assistants.append(name)
            second = next((name for name in assistants), None)
            if second is not None:
                with_best = {(c.rule, c.subject) for c in stops(second, (best,))}
                if with_best <= {(c.rule, c.subject) for c in alone[second]}:
                    assistants.append(best)
        leaders: dict[str, tuple[int, int]] = {}
        for name in free:
            if not alone[name]:
                leaders[name] = (0, 0)
                continue
            others = [each for each in assistants if each != name]
            needed = self._assistants_needed(name, others, stops)
            if needed is not None:
                leaders[name] = needed
        sentences = () if leaders else _said(min(alone.values(), key=len, default=[]))
        if not leaders and not free:
            kept_off = [name for name in group.not_with if self.hours(self.request.worker(name), day) is not None]
            besides = f" but {', '.join(kept_off)}, who must not go with it" if kept_off else ""
            sentences = (f"{group.name}: nobody of the crew works in the water on {day_words(day)}{besides}.",)
        return Needs(leaders, frozenset(assistants), sentences)

    def _assistants_needed(self, leader: str, others: Sequence[str], stops: Stops) -> tuple[int, int] | None:
        """Return the fewest assistants with whom a leader may take the group, of the best and of any; None: never."""
        people = self.world.people
        by_tongues = sorted(others, key=lambda name: -len(people[name].languages))
        fewest: int | None = None
        for count in range(1, min(MOST_ASSISTANTS, len(others)) + 1):
            if fewest is None:
                teams = [tuple(by_tongues[:count])]
                if len({people[name].languages for name in others}) > 1:
                    teams += list(combinations(others, count))[:300]
                if any(not stops(leader, team) for team in teams):
                    fewest = count
            if fewest is not None and not stops(leader, tuple(by_tongues[-count:])):
                return fewest, count
        return None if fewest is None else (fewest, min(MOST_ASSISTANTS, len(others)))

    # ---- where and when ----

    def site_stops(self, slug: str, day: date, people: Sequence[str]) -> tuple[str, ...]:
        """Return what stops every dive at a site on a day, whoever dives."""
        key = (slug, day)
        if key not in self._site_stops:
            site = self.world.sites[slug]
            request = Request.model_construct(site=slug, date=day, measured_pressure_bar=None, groups=())
            checks = check_site(site, request, self.world, self.scenes.setting(site, day))
            helped = help_at(site, day, Crew(), tuple(people), None, self.world).checks
            checks += [check for check in helped if check.rule not in OF_THE_CREW]
            self._site_stops[key] = _said([check for check in checks if check.outcome is Outcome.STOP])
        return self._site_stops[key]

    def closed(self, group: SchoolGroup, slug: str, day: date) -> str:
        """Return why a group is not to go to a site on a day by the request itself; "" where it may."""
        for each in self.request.closed:
            if each.site == slug and (not each.days or day in each.days):
                return f"{self.world.sites[slug].name} is closed on {day_words(day)}: {each.because}."
        if group.sites and slug not in group.sites:
            return f"{group.name} does not go to {self.world.sites[slug].name} by its own list of sites."
        if slug in group.not_sites:
            return f"{group.name} is not to go to {self.world.sites[slug].name}."
        if group.days and day not in group.days:
            return f"{group.name} cannot come on {day_words(day)}."
        for barred in self.request.excluded:
            if (
                barred.group == group.name
                and barred.person is None
                and barred.day in (None, day)
                and barred.site in (None, slug)
            ):
                return f"{group.name} is not to dive at {self.world.sites[slug].name} on {day_words(day)}, as excluded."
        return ""

    def span(self, group: SchoolGroup, day: date) -> tuple[int, int]:
        """Return when a group may leave the centre and by when it is back, minutes since 1970 UTC."""
        centre = self.request.centre
        first = max(centre.opens, group.not_before or centre.opens)
        last = min(centre.closes, group.not_after or centre.closes)
        return self.minute(day, first), self.minute(day, last)

    def day_request(self, group: GroupWish, slug: str, day: date, arrived: time | None) -> Request:
        """Return the request of one group alone at a site on a day, without anybody ashore."""
        high = self.world.sites[slug].elevation_m >= self.value("altitude.uncorrected_below_m")
        altitude = Altitude(settled=self.request.settled, arrived=None if self.request.settled else arrived)
        return Request.model_construct(
            title="",
            site=slug,
            date=day,
            crew=Crew(),
            altitude=altitude if high else Altitude(),
            measured_pressure_bar=None,
            recent_dives="none",
            drives_between=(),
            way_home=(),
            groups=(group,),
            refilled=True,
        )


def team_of(group: SchoolGroup, leader: str | None, assistants: Sequence[str]) -> GroupWish:
    """Return a group with its team, as a day's request holds it."""
    own = {name: getattr(group, name) for name in GroupWish.model_fields}
    own.update(leader=leader or None, assistants=tuple(assistants))
    return GroupWish.model_construct(**own)


def _said(checks: Sequence[Check]) -> tuple[str, ...]:
    """Return the sentences of checks, each once; a schedule hangs on a wall, so nothing about health is in them."""
    return tuple(dict.fromkeys(without_private_check(check).sentence for check in checks))


def options_of(
    ground: Ground, told: Callable[[Progress], None] | None = None, stop: Callable[[], bool] | None = None
) -> Options:
    """Return every run of entries of every block of dives, and why there is none where there is none.

    told, stop -- as for `make_schedule`; groups that come after a stop have no runs
    """
    wanted = sum(len(group.dives) for group in ground.request.groups)
    blocks: list[Block] = []
    found: dict[Block, tuple[Run, ...]] = {}
    refusals: list[Refusal] = []
    group_refusals: dict[str, tuple[str, ...]] = {}
    for number, group in enumerate(ground.request.groups):
        of_group = ground.blocks_of(group)
        if stop is not None and stop():
            blocks.extend(of_group)
            found.update((block, ()) for block in of_group)
            group_refusals[group.name] = (f"The search was stopped before {group.name} was looked at.",)
            continue
        if told is not None:
            words = f"looking where {group.name} could dive: group {number + 1} of {len(ground.request.groups)}"
            told(Progress(0.0, 0, wanted, 0, 0, words))
        # The longest first: how its first dives go is how they go alone.
        for block in sorted(of_group, key=lambda block: -len(block.numbers)):
            entries: list[Run] = []
            for day in ground.request.dates:
                for slug in ground.sites:
                    if not _pin_allows(ground, block, slug, day):
                        continue
                    if why := ground.closed(group, slug, day):
                        refusals.append(Refusal(block, slug, day, (why,), as_asked=True))
                        continue
                    made, sentences = runs_of(ground, group, block, slug, day)
                    entries.extend(made)
                    if not made:
                        refusals.append(Refusal(block, slug, day, sentences))
            found[block] = tuple(entries)
        blocks.extend(of_group)
        if not any(found[block] for block in of_group):
            own = [each for each in refusals if each.block.group == group.name]
            group_refusals[group.name] = weightiest(own)
    return Options(tuple(blocks), found, tuple(refusals), group_refusals)


MOST_SAID = 6


def weightiest(refusals: Sequence[Refusal]) -> tuple[str, ...]:
    """Return what refuses most places and days, most first; what the request rules out only where nothing else does."""
    told = [each for each in refusals if not each.as_asked] or refusals
    counts = Counter(words for each in told for words in dict.fromkeys(each.sentences))
    return tuple(words for words, _ in counts.most_common(MOST_SAID))


def _pin_allows(ground: Ground, block: Block, slug: str, day: date) -> bool:
    for pin in ground.request.pinned:
        if pin.group == block.group and pin.dives == block.numbers:
            return pin.day in (None, day) and pin.site in (None, slug)
    return True


def runs_of(
    ground: Ground, group: SchoolGroup, block: Block, slug: str, day: date
) -> tuple[tuple[Run, ...], tuple[str, ...]]:
    """Return the runs of a block at a site on a day, and sentences where there are none."""
    site = ground.world.sites[slug]
    if stops := ground.site_stops(slug, day, group.divers):
        return (), stops
    calm = WaterSeen(None, False, 0.0, 1.0)
    needs = ground.needs(group, site, day, calm)
    if not needs.leaders:
        return (), needs.sentences
    leader = min(needs.leaders, key=lambda name: (needs.leaders[name], name != group.preferred_leader))
    helpers = sorted(needs.assistants - {leader})[: needs.leaders[leader][1]]
    part = group.model_copy(update={"dives": tuple(group.dives[number - 1] for number in block.numbers)})
    found: list[Run] = []
    said: dict[str, None] = {}
    for place in _places(group, site):
        team = team_of(part, leader, helpers).model_copy(update={"place": place.name})
        made, sentences = _runs_at(ground, group, block, team, site, place, day)
        found.extend(made)
        said.update(dict.fromkeys(sentences))
    return tuple(found), tuple(said)


def _places(group: SchoolGroup, site: Site) -> tuple[Place, ...]:
    """Return the places of a site that suit a group; where none does, the first, so that the plan says why not."""
    if group.place is not None:
        named = site.place(group.place)
        if named is not None:
            return (named,)
    suits = KINDS[group.kind].suits
    return tuple(place for place in site.places if any(suit in place.suits for suit in suits)) or site.places[:1]


def _runs_at(
    ground: Ground, group: SchoolGroup, block: Block, team: GroupWish, site: Site, place: Place, day: date
) -> tuple[tuple[Run, ...], tuple[str, ...]]:
    world, rules = ground.world, ground.rules
    ways = [way for way in (group.going_in_by, group.coming_out_by) if way]
    if any(site.entry(way) is None for way in ways):
        return (), (f"{site.name} has no way in or out called {' or '.join(ways)}.",)
    setting = ground.scenes.setting(site, day)
    held = group_setting(team, setting, world)
    placed = check_place(held, site)
    if placed.outcome is Outcome.STOP:
        return (), (placed.sentence,)
    entry_open, ends = ~held.window.closed("entry"), ends_of(held.window)
    fits = []
    for wish in team.dives:
        parts = parts_of(wish.depth_m or 0.0, wish.minutes or 0, place, rules)
        minutes = np.arange(len(ends))
        fits.append(entry_open & (ends - minutes >= parts.water))
    first_open = np.flatnonzero(fits[0])
    if not len(first_open):
        closing = dict.fromkeys(closure.sentence for closure in held.window.closures)
        return (), tuple(closing) or (f"No window of {site.name} on {day_words(day)} holds the dive.",)
    on_step = _on_step(ground, setting, day)
    kit_up, after = ground.whole("schedule.kit_up_min"), ground.whole("schedule.after_exit_min")
    drive = ground.drive(site.slug)
    start_min = int(setting.grid.start.timestamp() // 60)
    opens, closes = ground.span(group, day)
    allowed = np.zeros(len(ends), dtype=bool)
    allowed[max(opens + kit_up + drive.minutes - start_min, 0) :] = True
    candidates = np.flatnonzero(fits[0] & on_step & allowed)
    if not len(candidates):
        hours = f"between {_clock(opens, ground.zone)} and {_clock(closes, ground.zone)}"
        return (), (f"No window of {site.name} on {day_words(day)} lies where the group can be there {hours}.",)
    planned, sentences = _planned(ground, block, team, held, setting, candidates, kit_up)
    if planned is None:
        return (), sentences
    times = planned
    fits_all = np.ones(len(ends), dtype=bool)
    for dive, fit in zip(times, fits, strict=True):
        shifted = np.zeros(len(ends), dtype=bool)
        shifted[: len(ends) - dive.entry] = fit[dive.entry :]
        fits_all &= shifted
    # From another first entry the window may close later, and the dive be overdue later, than as it was planned here.
    overdue = ground.whole("overdue.after_min")
    off_site = max(times[-1].out + after, *(dive.out + overdue for dive in times))
    after_min = off_site + drive.minutes
    last = closes - after_min - start_min
    allowed[max(last + 1, 0) :] = False
    starts = np.flatnonzero(fits_all & on_step & allowed)
    pin = next((p for p in ground.request.pinned if p.group == block.group and p.dives == block.numbers), None)
    if pin is not None and pin.entry is not None:
        starts = np.array([m for m in starts.tolist() if setting.grid.at(m).time() == pin.entry], dtype=int)
    if not len(starts):
        return (), (
            f"{site.name} on {day_words(day)}: the window and the hours leave no minute for all dives and the drive.",
        )
    latest_of = {}
    for run_first, run_end in runs(fits_all):
        for minute in range(run_first, run_end):
            latest_of[minute] = run_end - 1
    made: list[Run] = []
    step = max(int(ground.value("plan.entry_step_min")), 1)
    for alike in _alike(ground, group, starts.tolist(), times, held, setting, latest_of, step):
        entries, needs = alike
        if not needs.leaders:
            sentences = (*sentences, *needs.sentences)
            continue
        made.append(
            Run(
                block=block,
                day=day,
                site=site.slug,
                place=place.name,
                going_in=held.going_in.name,
                coming_out=held.coming_out.name,
                first=start_min + entries[0],
                last=start_min + entries[-1],
                latest=start_min + latest_of[entries[0]],
                times=times,
                needs=needs,
                drive=drive,
                before_min=kit_up + drive.minutes,
                after_min=after_min,
                on_site_min=kit_up,
                off_site_min=off_site,
            )
        )
    return tuple(made), sentences


def _on_step(ground: Ground, setting: Setting, day: date) -> Flags:
    step = max(int(ground.value("plan.entry_step_min")), 1)
    on_step: Flags = np.equal(setting.grid.clock_minutes() % step, 0)
    return on_step


def _planned(
    ground: Ground,
    block: Block,
    team: GroupWish,
    held: GroupSetting,
    setting: Setting,
    candidates: NDArray[np.int_],
    kit_up_min: int,
) -> tuple[tuple[Times, ...] | None, tuple[str, ...]]:
    """Plan the dives of a block from a few first entries of the day; the first that nothing stops gives their times."""
    grid = setting.grid
    # How the dives follow each other hangs on the place, not on the day: the day's own window is laid over it, and the
    # day's own plan judges what comes out.
    ages = tuple(ground.world.people[name].age_on(grid.day) for name in team.everybody)
    where = (block.group, setting.site.slug, held.place.name, team.everybody, ages)
    if known_stops := ground.stopped.get((*where, block.numbers)):
        return None, known_stops
    for longer, known in ground.planned.get(where, {}).items():
        if longer[: len(block.numbers)] == block.numbers:
            return known[: len(block.numbers)], ()
    picks = sorted({int(candidates[round(share)]) for share in np.linspace(0, len(candidates) - 1, REPRESENTATIVES)})
    best: tuple[Times, ...] | None = None
    said: dict[str, None] = {}
    rules: set[str] = set()
    for minute in picks:
        clock = grid.at(minute).time()
        dives = (team.dives[0].model_copy(update={"entry": clock}), *team.dives[1:])
        group = team.model_copy(update={"dives": dives})
        arrived = grid.at(max(minute - kit_up_min, 0)).time()
        request = ground.day_request(group, setting.site.slug, grid.day, arrived)
        stood = replace(held, group=group)
        plans, stops = _judged(ground, block, request, stood, setting)
        if stops:
            said.update(dict.fromkeys(_said(stops)))
            again, rules = rules, {check.rule for check in stops}
            if rules & OF_THE_PLACE:  # neither hour nor day mends it
                ground.stopped[(*where, block.numbers)] = _said(stops)
                break
            if again == rules:
                break
            continue
        times = tuple(_times(plan, plans[0]) for plan in plans)
        if best is None or times[-1].out < best[-1].out:
            best = times
        if _as_close_as_can_be(ground, times):
            break
    if best is not None:
        ground.planned.setdefault(where, {})[block.numbers] = best
    return best, () if best is not None else tuple(said)


def _as_close_as_can_be(ground: Ground, times: Sequence[Times]) -> bool:
    """Return whether the dives follow each other as closely as the time at the surface allows, on the clock's step."""
    step = max(int(ground.value("plan.entry_step_min")), 1)
    surface = ground.value("surface_interval.shortest_min")
    return all(later.descent - earlier.surfaced < surface + step for earlier, later in pairwise(times))


def _times(plan: DivePlan, first: DivePlan) -> Times:
    start = first.entry
    descent, out, exit_by = plan.descent, plan.exit, plan.exit_by
    if start is None or plan.entry is None or descent is None or out is None or exit_by is None:
        raise AssertionError("a dive that nothing stops has its times")
    swim_back = round((descent.timestamp() - plan.entry.timestamp()) / 60)

    def after(moment: datetime) -> int:
        return round((moment.timestamp() - start.timestamp()) / 60)

    return Times(after(plan.entry), after(descent), after(out) - swim_back, after(out), after(exit_by))


def _judged(
    ground: Ground, block: Block, request: Request, held: GroupSetting, setting: Setting
) -> tuple[tuple[DivePlan, ...], list[Check]]:
    """Return the dives of one group alone and what stops them, without what hangs on the team or on who is ashore."""
    world = ground.world
    dives, checks, _ = plan_dives(request, world, setting, [held])
    checks = list(checks)
    if all(dive.entry is not None for dive in dives):
        checks += check_weather_of(dives, [held], setting, world.rules)
        ticks = as_if_done(ground, ground.group(block.group), block.numbers[0], request.date)
        taught = teach(request, dives, {held.group.name: held.place}, world.skills, ticks, world.people)
        checks += taught.checks
    return dives, [c for c in checks if c.outcome is Outcome.STOP and c.rule not in WAITS_FOR_TEAM]


def as_if_done(ground: Ground, group: SchoolGroup, before: int, day: date) -> Mapping[str, tuple[SkillTick, ...]]:
    """Return the ticks with those that the group's dives before a number would bring, if every skill went well."""
    world = ground.world
    course = world.skills.course(group.kind)
    if course is None:
        return world.ticks
    by = next((name for name, person in world.people.items() if person.level.is_instructor), None)
    more: list[SkillTick] = []
    for wish in group.dives[: before - 1]:
        dive = course.dive(wish.course_dive) if wish.course_dive is not None else None
        if dive is None or by is None:
            continue
        more.extend(
            SkillTick(learner, skill, dive.number, day, by, "done")
            for learner in group.divers
            if learner != by
            for skill in dive.skills
        )
    return {**world.ticks, group.kind: (*world.ticks.get(group.kind, ()), *more)}


def _alike(
    ground: Ground,
    group: SchoolGroup,
    starts: Sequence[int],
    times: Sequence[Times],
    held: GroupSetting,
    setting: Setting,
    latest_of: Mapping[int, int],
    step: int,
) -> Iterator[tuple[list[int], Needs]]:
    """Yield entries that follow each other on the clock, end with the same window and need the same team."""
    current: list[int] = []
    current_needs: Needs | None = None
    for minute in starts:
        needs = _needs_at(ground, group, minute, times, held, setting)
        follows = current and minute - current[-1] == step and latest_of[minute] == latest_of[current[-1]]
        if current and current_needs is not None and not (follows and needs is current_needs):
            yield current, current_needs
            current = []
        current.append(minute)
        current_needs = needs
    if current and current_needs is not None:
        yield current, current_needs


def _needs_at(
    ground: Ground, group: SchoolGroup, minute: int, times: Sequence[Times], held: GroupSetting, setting: Setting
) -> Needs:
    """Return who is needed for a block from a first entry on, by the murkiest and swiftest water of its dives."""
    rules = ground.rules
    limit_kn = stream_limit_kn(setting.site, held.kind, rules)[0]
    visibility: float | None = None
    rate: float | None = 0.0
    told = setting.weather is not None and setting.weather.minutes.knows("underwater_visibility_m")
    if told or len(setting.rates_kn):
        margin = int(rules.value("stream.slack_margin_min"))
        rates, lows = [], []
        for dive in times:
            first, out = minute + dive.entry, minute + dive.out
            if len(setting.rates_kn):
                rates.append(setting.rates_kn[max(first - margin, 0) : out + margin + 1])
            if told and setting.weather is not None:
                lows.append(setting.weather.minutes["underwater_visibility_m"][first : out + 1])
        if rates:
            every = np.concatenate(rates)
            rate = None if np.isnan(every).any() else float(every.max(initial=0.0))
        if lows:
            visibility = least(np.concatenate(lows))
    seen = WaterSeen(visibility, visibility is not None, rate, limit_kn)
    return ground.needs(group, setting.site, setting.grid.day, seen)


def _clock(minute: int, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(minute * 60, tz=zone):%H:%M}"


def gap_min(earlier: Run, later: Run, rules_gap: tuple[float, float]) -> int:
    """Return the minutes that one person needs between the first entries of two runs, in the water on both.

    rules_gap -- least minutes from surfacing to leaving the surface again, and from coming out to going in
    """
    surface, dry = rules_gap
    by_surface = earlier.times[-1].surfaced + surface - later.times[0].descent
    by_dry = earlier.times[-1].out + dry
    return math.ceil(max(by_surface, by_dry))
