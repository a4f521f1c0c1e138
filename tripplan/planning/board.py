"""The board: one group, every site of the catalogue beside the others, over some days, best site first.

A cell holds what the plan of that site and day would start from: the same window, and what stops the group whatever the
minute. It times no dive; the plan does. Where nobody tells sea and wind the cell rests on tide, light and access alone,
and says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tripplan.catalogue.site import Site
from tripplan.check import Check, Outcome, worst
from tripplan.errors import OutOfRange, require
from tripplan.people.group import KINDS, Kind, KindName
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.planning.crew import check_crew, check_group
from tripplan.planning.day_checks import check_cold, check_place, check_site
from tripplan.planning.dive_checks import check_bottom, check_wishes
from tripplan.planning.help import help_at
from tripplan.planning.limits import depth_contest
from tripplan.planning.plan import UsableWindow
from tripplan.planning.request import FIRST_DAY, LAST_DAY, Crew, DiveWish, GroupWish, Request
from tripplan.planning.setting import GroupSetting, Setting, group_setting, setting_of
from tripplan.planning.timing import Ledger, clash_between, parts_of
from tripplan.planning.weather_checks import DiveHours, check_known, check_sources
from tripplan.planning.window import Window
from tripplan.planning.world import CannotPlan, World, request_faults

MOST_DAYS = 31  # more do not fit on a page, and no forecast reaches so far
NOTHING_AGAINST = "nothing against"
TIDE_AND_LIGHT_ONLY = "tide, light and access only"

Sea = Literal["known", "part", "unknown"]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Unnamed:
    """People who are not in the roster yet: what is known of them is a kind of dive, how many, and the lowest level."""

    kind: KindName
    count: int  # in the water, staff included
    lowest_level: Level

    @property
    def name(self) -> str:
        """What the board calls them."""
        return f"{self.count} diver{'' if self.count == 1 else 's'} from {self.lowest_level.words} up"


@dataclass(frozen=True)
class Cell:
    """One site on one day for the group."""

    site: str
    day: date
    usable_min: int  # from the first minute to go in to the last minute out, all windows; 0: no dive
    windows: tuple[UsableWindow, ...]  # those long enough for the shortest dive; empty where something stops the group
    reasons: tuple[str, ...]  # against: stops first, then what closes most of the light; empty: nothing but the night
    outcome: Outcome  # stop where no minute is usable; a caution of the plan that can be told here counts too
    sea: Sea  # whether sea and wind are told for the minutes that count
    cautions: tuple[str, ...] = ()  # of forecast, sea and wished depth; those of people and papers stand in the plan

    @property
    def known(self) -> bool:
        """Whether sea and wind are told for every minute that counts."""
        return self.sea == "known"

    @property
    def first_reason(self) -> str:
        """The weightiest reason against; of a sea that nobody tells it is never said that nothing is."""
        if self.reasons:
            return self.reasons[0]
        return {
            "known": NOTHING_AGAINST,
            "part": f"{NOTHING_AGAINST} in what is told of the sea",
            "unknown": f"{NOTHING_AGAINST} in tide, light and access",
        }[self.sea]

    @property
    def sea_words(self) -> str:
        """What the cell rests on."""
        return {
            "known": "sea and wind are told",
            "part": "sea and wind are told only in part",
            "unknown": TIDE_AND_LIGHT_ONLY,
        }[self.sea]


@dataclass(frozen=True)
class SiteRow:
    """One site over the days."""

    site: str
    name: str
    cells: tuple[Cell, ...]

    @property
    def total_min(self) -> int:
        """Usable minutes of all days."""
        return sum(cell.usable_min for cell in self.cells)

    @property
    def known_min(self) -> int:
        """Usable minutes of the days whose sea and wind are told."""
        return sum(cell.usable_min for cell in self.cells if cell.known)


@dataclass(frozen=True)
class Board:
    """All sites over some days for one group, best site first."""

    group: str
    kind_words: str
    days: tuple[date, ...]
    rows: tuple[SiteRow, ...]

    @property
    def usable(self) -> bool:
        """Whether any site has any usable minute."""
        return any(row.total_min for row in self.rows)


def board(
    group: GroupWish | Unnamed,
    crew: Crew | None,
    first_day: date,
    days: int,
    world: World,
    *,
    home: str | None = None,
) -> Board:
    """Return the board of a group over some days from a first one.

    crew  who does what ashore; None: not settled, so nothing of it is judged
    days  how many, 1 to 31
    home  the site whose place and ways in and out the group names; at every other they are chosen anew. None: they are
          kept wherever a site has one of that name

    Sites stand in order of the usable minutes of their days with known sea, then of all days, then by name.
    Raises OutOfRange outside the days, CannotPlan where the group or the crew names somebody or something unknown.
    """
    require("days of the board", days, 1, MOST_DAYS, "days")
    if not FIRST_DAY <= first_day <= LAST_DAY - timedelta(days=days - 1):
        raise OutOfRange(f"first day of the board is {first_day}; all its days must be from {FIRST_DAY} to {LAST_DAY}")
    kind = KINDS[group.kind]
    unnamed, wish = None, group
    if isinstance(wish, Unnamed):
        unnamed = wish
        wish, world = _stand_ins(wish, world)
    span = tuple(first_day + timedelta(days=ahead) for ahead in range(days))
    rows = []
    for slug, site in world.sites.items():
        asked = Request(site=slug, date=first_day, crew=crew or Crew(), groups=(_at(wish, site, home),))
        if faults := request_faults(asked, world):
            raise CannotPlan(faults)
        cells = tuple(
            _cell(asked.model_copy(update={"date": day}), crew is not None, unnamed, site, world) for day in span
        )
        rows.append(SiteRow(slug, site.name, cells))
    rows.sort(key=lambda row: (-row.known_min, -row.total_min, row.name.casefold()))
    return Board(group.name, kind.words, span, tuple(rows))


def _at(group: GroupWish, site: Site, home: str | None) -> GroupWish:
    """Return the group at a site: what it names at its own site is chosen anew elsewhere."""
    if home == site.slug:
        return group
    if home is not None:
        return group.model_copy(update={"place": None, "going_in_by": None, "coming_out_by": None})
    return group.model_copy(
        update={
            "place": group.place if group.place and site.place(group.place) else None,
            "going_in_by": group.going_in_by if group.going_in_by and site.entry(group.going_in_by) else None,
            "coming_out_by": group.coming_out_by if group.coming_out_by and site.entry(group.coming_out_by) else None,
        }
    )


def _stand_ins(people: Unnamed, world: World) -> tuple[GroupWish, World]:
    """Return a group of grown-ups for the window, and a world that knows them; no check of people reads them."""
    names = tuple(f"Diver {number}" for number in range(1, people.count + 1))
    grown = {name: Person(name=name, born=date(1900, 1, 1), level=people.lowest_level) for name in names}
    group = GroupWish(name=people.name.partition(" from")[0], kind=people.kind, divers=names, dives=(DiveWish(),))
    return group, replace(world, people={**world.people, **grown})


@dataclass(frozen=True)
class _Judged:
    """What is said of a cell: reasons that stop the group, cautions that are named, and every check behind them."""

    stops: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)

    def take(self, checks: Iterator[Check] | Sequence[Check], *, named: bool = False) -> None:
        """Keep checks; ``named`` says that their cautions are listed on the board."""
        for check in checks:
            self.checks.append(check)
            if check.outcome is Outcome.STOP:
                self.stops.append(check.sentence)
            elif check.outcome is Outcome.CAUTION and named:
                self.cautions.append(check.sentence)


OF_THE_CREW = {"emergency-roles", "crew-drilled"}  # checks that mean nothing before a crew is named


def _cell(request: Request, with_crew: bool, unnamed: Unnamed | None, site: Site, world: World) -> Cell:
    day, rules = request.date, world.rules
    setting = setting_of(site, day, world)
    held = group_setting(request.groups[0], setting, world)
    said = _Judged()
    said.take([check_place(held, site)])
    if unnamed is None:
        said.take(check_group(held.group, site, world.people, day, rules))
        _judge_depth(said, held, setting, world)
    else:
        said.take(_check_unnamed(unnamed, held.kind, site, world))
    if with_crew:
        said.take(check_crew(request.crew, world.people, day, rules))
    ledger = Ledger(setting.surroundings, rules, arrived=None, settled=False)
    if clash := clash_between(held.group, 0, 1, site, ledger, request, world.people, day, rules):
        said.stops.append(f"{held.group.name}: {clash}.")
    said.take(check_site(site, request, world, setting))
    said.take(check_cold(setting, request, world))
    windows, short = _long_enough(held, world)
    said.take(_check_help(request, with_crew, windows, site, world))
    if said.stops:
        windows = ()
    elif short and not windows:
        said.stops.append(short)
    sea = _judge_sea(said, held, windows, setting, world)
    against = _closing(held.window)
    if short and windows:
        against.append(short)
    usable_min = sum(_length_min(window) for window in windows)
    warned = bool(said.cautions) or worst(said.checks) is not Outcome.OK
    return Cell(
        site=site.slug,
        day=day,
        usable_min=usable_min,
        windows=windows,
        reasons=tuple(dict.fromkeys((*said.stops, *against))),
        outcome=Outcome.STOP if not usable_min else Outcome.CAUTION if warned else Outcome.OK,
        sea=sea,
        cautions=tuple(dict.fromkeys(said.cautions)),
    )


def _check_help(
    request: Request, with_crew: bool, windows: Sequence[UsableWindow], site: Site, world: World
) -> Iterator[Check]:
    """Judge what must hold when somebody comes up hurt, for a dive in the first usable window."""
    span = None
    if windows:
        start = windows[0].entries[0].start if windows[0].entries else windows[0].start
        longest = timedelta(minutes=world.rules.value("dive.longest_min"))
        span = start, min(windows[0].end, start + longest)
    crew = request.crew if with_crew else Crew()
    for check in help_at(site, request.date, crew, request.groups[0].everybody, span, world).checks:
        if with_crew or check.rule not in OF_THE_CREW:
            yield check


def _check_unnamed(people: Unnamed, kind: Kind, site: Site, world: World) -> Iterator[Check]:
    """Judge what can be judged of people without names, and say what cannot."""
    needed = kind.diver_level(world.rules)
    for rule, lowest, where, source in (
        ("diver-level", needed, f"a {kind.words} is for", f"diver.{kind.name}_level"),
        ("site-admits", site.lowest_level, f"{site.name} admits", "SITE_FILE"),
    ):
        yield Check(
            rule,
            Outcome.OK if people.lowest_level.rank >= lowest.rank else Outcome.STOP,
            f"The lowest level is {people.lowest_level.words}; {where} {lowest.words} or above.",
            source,
            people.lowest_level.words,
            lowest.words,
        )
    sentence = "Ages, papers, suits and leaders are not known here: the plan of a named group judges them."
    yield Check("people-known", Outcome.CAUTION, sentence, "REQUEST")


def _judge_depth(said: _Judged, held: GroupSetting, setting: Setting, world: World) -> None:
    """Judge the bottom of the place against the depth limit, and name a wished depth beyond it.

    The wish is no stop here: another depth may be planned at a site that suits in everything else.
    """
    group, day = held.group, setting.grid.day
    people = [world.people[name] for name in group.everybody]
    leader = world.people[group.leader] if group.leader else None
    for number, wish in enumerate(group.dives, start=1):
        contest = depth_contest(
            people,
            leader,
            held.kind,
            held.place,
            setting.site,
            setting.surroundings,
            group.richest_percent(wish),
            day,
            world.rules,
            None,
            world.skills.course(held.kind.name),
            wish.course_dive,
        )
        subject = f"{group.name}, dive {number}"
        said.take([check_bottom(subject, held.kind, held.place, contest)])
        said.cautions.extend(
            check.sentence
            for check in check_wishes(subject, wish, contest.value or 0.0, contest)
            if check.outcome is Outcome.STOP
        )


def _length_min(window: UsableWindow) -> int:
    return round((window.end.timestamp() - window.start.timestamp()) / 60)


def _long_enough(held: GroupSetting, world: World) -> tuple[tuple[UsableWindow, ...], str]:
    """Return the windows that hold the shortest dive, and a sentence about those that do not; "" where there is none.

    The shortest dive: the rule's bottom time, or less where less is wished, the way out and back, and coming up from
    where the place begins.
    """
    rules = world.rules
    wished = held.group.dives[0].minutes
    least = int(rules.value("dive.shortest_min"))
    bottom_min = max(least if wished is None else min(least, wished), 1)
    needed = parts_of(held.place.shallowest_m, bottom_min, held.place, rules).water
    windows = held.window.usable()
    kept = tuple(window for window in windows if _length_min(window) >= needed)
    longest = max((_length_min(window) for window in windows if window not in kept), default=0)
    if not longest:
        return kept, ""
    which = "A window" if kept else "The longest window"
    return kept, (
        f"{which} of {longest} min is too short: {bottom_min} min at the bottom of {held.place.name} take {needed} min "
        "with the way in and out."
    )


def _judge_sea(
    said: _Judged, held: GroupSetting, windows: Sequence[UsableWindow], setting: Setting, world: World
) -> Sea:
    """Say how much of sea and wind is told for the minutes that count, with a caution for what is not.

    The minutes that count: those of the windows, without any those in which the light lets people go in.
    """
    grid, weather, sea, site = setting.grid, setting.weather, setting.sea, setting.site
    rules = world.rules
    counts = np.zeros(grid.minutes, dtype=bool)
    for window in windows:
        counts[grid.minute_floor(window.start) : grid.minute_floor(window.end)] = True
    if not windows:
        counts = _light_open(held.window)
    spans = [slice(grid.minute_floor(w.start), grid.minute_floor(w.end)) for w in windows]
    if weather is None or sea is None:
        said.take(check_sources(site, grid, weather, sea, spans, rules), named=True)
        return "unknown"
    wind, waves = np.isfinite(weather.wind_kn), np.isfinite(sea.breaker_m)
    whole = wind & waves & ~sea.incomplete
    known, some = (whole[:-1] & whole[1:])[counts], (wind | waves)[:-1][counts]
    checks = list(check_sources(site, grid, weather, sea, spans, rules))
    if not some.any():
        said.cautions.append(f"{TIDE_AND_LIGHT_ONLY.capitalize()}: nobody tells sea and wind of this day.")
        said.take([check for check in checks if check.rule in ("exposure-known", "fetch-known")], named=True)
        return "unknown"
    # Nobody sees under water days ahead: the plan of the day says so, and it would stand in every cell.
    said.take([check for check in checks if check.rule != "visibility-under-water"], named=True)
    if np.isnan(weather.minutes["underwater_visibility_m"][:-1][counts]).any():
        said.take([Check("visibility-under-water", Outcome.CAUTION, "Not seen for all minutes.", "COMMON_PRACTICE")])
    for window in windows:
        hours = DiveHours(
            subject=f"{window.start:%H:%M} to {window.end:%H:%M}",
            entry=grid.minute_floor(window.start),
            out=grid.minute_floor(window.end),
            depth_m=0.0,
            kind=held.kind,
            place=held.place,
            ways=(held.going_in, held.coming_out),
            suit_mm=held.group.suit_mm,
        )
        said.take([check_known(hours, grid, weather, sea, site, rules)], named=True)
    return "known" if known.all() else "part"


def _light_open(window: Window) -> Flags:
    """Return the minutes in which the light lets the kind of dive go in; all where it does in none."""
    lit = Window(window.grid, tuple(closure for closure in window.closures if closure.rule == "light"))
    open_ = ~lit.closed("entry")
    return open_ if open_.any() else np.ones(window.grid.minutes, dtype=bool)


def _closing(window: Window) -> list[str]:
    """Return a sentence for each rule that closes minutes of light, the one that closes most first.

    Of a rule with several sentences that of its longest closure stands. The light itself counts only where it leaves
    nothing: every day has a night.
    """
    grid = window.grid
    lit = _light_open(window)
    dark = bool(lit.all()) and any(closure.rule == "light" for closure in window.closures)
    closed: dict[str, Flags] = {}
    longest: dict[str, tuple[int, str]] = {}
    for closure in window.closures:
        if closure.rule == "light" and not dark:
            continue
        first, end = max(grid.minute_floor(closure.start), 0), max(grid.minute_ceil(closure.end), 0)
        closed.setdefault(closure.rule, np.zeros(grid.minutes, dtype=bool))[first:end] = True
        minutes = int(lit[first:end].sum())
        if minutes > longest.get(closure.rule, (0, ""))[0]:
            longest[closure.rule] = (minutes, closure.sentence)
    lost = {rule: int((flags & lit).sum()) for rule, flags in closed.items()}
    return [longest[rule][1] for rule in sorted(longest, key=lambda rule: -lost[rule])]
