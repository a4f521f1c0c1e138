"""The board of a schedule as rows of cells and as cards: what stands where, and which change each button asks for."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from tripplan.catalogue.site import Site
from tripplan.documents.schedule_words import crew_of, filling_of, shore_of, team_words
from tripplan.documents.words import clock, counted, date_words
from tripplan.planning.schedule import DayTrip, Outing, Schedule, ShoreTeam, Unplaced
from tripplan.planning.schedule_edit import EditRefused, edits_data, edits_from
from tripplan.planning.schedule_request import ScheduleRequest

STEP_MIN: Final = 5  # one column of a day's board


@dataclass(frozen=True)
class DayLink:
    """One day to choose."""

    day: date
    short: str  # "Mon 7"
    outings: int


def day_links(schedule: Schedule) -> tuple[DayLink, ...]:
    """Return the days to choose from."""
    return tuple(DayLink(day, short(day), len(schedule.of_day(day))) for day in schedule.days)


def short(day: date) -> str:
    """Return a day as the head of a column: "Mon 7"."""
    return f"{date_words(day)[:3]} {day.day}"


# ---- lanes of a day ----


@dataclass(frozen=True)
class Cell:
    """Some columns of one row: a bar with words, or nothing."""

    span: int
    words: tuple[str, ...] = ()  # the first is the strongest
    href: str = ""
    kind: str = ""  # outing, pinned, ashore, filling; empty: nothing
    hour: bool = False  # whether an hour begins at its left edge


@dataclass(frozen=True)
class Lane:
    """One site, person or vehicle through a day; several rows where bars overlap."""

    name: str
    href: str
    note: str
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True)
class Bar:
    """What is to be drawn from a moment to another."""

    starts: datetime
    ends: datetime
    words: tuple[str, ...]
    href: str
    kind: str


def _bounds(schedule: Schedule, day: date) -> tuple[datetime, datetime]:
    """Return the whole hours between which everything of a day lies."""
    zone = ZoneInfo(schedule.timezone)
    tasks: list[Outing | ShoreTeam] = [*schedule.of_day(day), *(team for team in schedule.shore if team.day == day)]
    fills = [each for each in schedule.fillings if each.starts.astimezone(zone).date() == day]
    first = min([each.leaves for each in tasks] + [each.starts for each in fills], default=None)
    last = max([each.back for each in tasks] + [each.ends for each in fills], default=None)
    if first is None or last is None:
        first = datetime.combine(day, datetime.min.time(), zone) + timedelta(hours=8)
        last = first + timedelta(hours=9)
    first = first.astimezone(zone).replace(minute=0, second=0, microsecond=0)
    whole = last.astimezone(zone).replace(minute=0, second=0, microsecond=0)
    return first, whole if whole == last else whole + timedelta(hours=1)


def _columns(first: datetime, moment: datetime) -> int:
    """Return how many columns lie before a moment, by real minutes, to the nearest: the minute stands in the words."""
    return round((moment.timestamp() - first.timestamp()) / 60 / STEP_MIN)


def hours(schedule: Schedule, day: date) -> tuple[str, ...]:
    """Return the hours across a day's board, like "08:00"; with changed clocks one is skipped or stands twice."""
    first, last = _bounds(schedule, day)
    count = _columns(first, last) * STEP_MIN // 60
    zone = ZoneInfo(schedule.timezone)
    start = first.timestamp()
    return tuple(f"{datetime.fromtimestamp(start + 3600 * number, zone):%H:%M}" for number in range(count))


def _lane(
    name: str, bars: Iterable[Bar], first: datetime, last: datetime, href: str = "", note: str = ""
) -> Lane:  # fmt: skip
    """Return a lane whose bars stand in as few rows as do not overlap."""
    rows: list[tuple[int, list[tuple[int, int, Bar]]]] = []
    for bar in sorted(bars, key=lambda each: (each.kind == "ashore", each.starts, each.ends)):
        begin = _columns(first, bar.starts)
        end = max(_columns(first, bar.ends), begin + 1)
        at = next((number for number, (busy, _) in enumerate(rows) if busy <= begin), len(rows))
        if at == len(rows):
            rows.append((0, []))
        rows[at] = (end, [*rows[at][1], (begin, end, bar)])
    total = _columns(first, last)
    return Lane(name, href, note, tuple(_cells(placed, total) for _, placed in rows) or (_cells([], total),))


def _cells(placed: Sequence[tuple[int, int, Bar]], total: int) -> tuple[Cell, ...]:
    """Return the cells of a row, the empty ones cut at every hour so that the hours can be read down the page."""
    cells: list[Cell] = []
    at = 0
    per_hour = 60 // STEP_MIN

    def empty(until: int) -> None:
        nonlocal at
        while at < until:
            end = min(until, (at // per_hour + 1) * per_hour)
            cells.append(Cell(end - at, hour=at % per_hour == 0))
            at = end

    for begin, end, bar in placed:
        empty(begin)
        cells.append(Cell(end - begin, bar.words, bar.href, bar.kind))
        at = end
    empty(total)
    return tuple(cells)


def _anchor(schedule: Schedule, outing: Outing) -> str:
    return f"o{schedule.outings.index(outing)}"


def day_lanes(schedule: Schedule, asked: ScheduleRequest, day: date) -> tuple[tuple[str, tuple[Lane, ...]], ...]:
    """Return the lanes of a day: sites, crew, vehicles, compressor."""
    first, last = _bounds(schedule, day)
    outings = schedule.of_day(day)
    teams = [team for team in schedule.shore if team.day == day]
    found: list[tuple[str, tuple[Lane, ...]]] = []
    sites = dict.fromkeys(each.site for each in outings)
    found.append(("Sites", tuple(_site_lane(schedule, slug, outings, teams, first, last) for slug in sites)))
    crew = [name for name in _crew(schedule, asked, day) if name not in _away(asked, day)]
    found.append(("Crew", tuple(_person_lane(schedule, name, outings, teams, first, last) for name in crew)))
    tasks: list[Outing | ShoreTeam] = [*outings, *teams]
    vehicles = dict.fromkeys(
        [each.name for each in asked.vehicles or ()] + [name for task in tasks for name in task.vehicles]
    )
    lanes = tuple(_vehicle_lane(schedule, name, outings, teams, first, last) for name in vehicles)
    found.append(("Vehicles", lanes))
    fills = [each for each in schedule.fillings if each.starts.astimezone(ZoneInfo(schedule.timezone)).date() == day]
    keys = {outing.key: outing for outing in schedule.outings}
    bars = [
        Bar(
            each.starts,
            each.ends,
            (each.group, counted(each.count, "cylinder"), f"{clock(each.starts)} to {clock(each.ends)}"),
            f"#{_anchor(schedule, keys[each.outing])}" if each.outing in keys else "",
            "filling",
        )
        for each in fills
    ]
    if bars:
        found.append(("Compressor", (_lane("Filling", bars, first, last),)))
    return tuple((name, lanes) for name, lanes in found if lanes)


def _site_lane(
    schedule: Schedule,
    slug: str,
    outings: Sequence[Outing],
    teams: Sequence[ShoreTeam],
    first: datetime,
    last: datetime,
) -> Lane:
    there = [each for each in outings if each.site == slug]
    bars = [
        Bar(
            each.on_site,
            each.off_site,
            _dive_lines(each),
            f"#{_anchor(schedule, each)}",
            "pinned" if each.pinned else "outing",
        )
        for each in there
    ]  # fmt: skip
    bars += [
        Bar(team.on_site, team.off_site, ("Ashore", ", ".join(team.people)), f"#s-{slug}", "ashore")
        for team in teams
        if team.site == slug
    ]
    return _lane(there[0].site_name, bars, first, last, f"#s-{slug}")


def _dive_lines(outing: Outing) -> tuple[str, ...]:
    times = tuple(f"{dive.number}: in {clock(dive.entry)}, out by {clock(dive.exit_by)}" for dive in outing.dives)
    return (outing.group, *times, *(("pinned",) if outing.pinned else ()))


def _person_lane(
    schedule: Schedule,
    name: str,
    outings: Sequence[Outing],
    teams: Sequence[ShoreTeam],
    first: datetime,
    last: datetime,
) -> Lane:
    bars = [
        Bar(
            each.leaves,
            each.back,
            (each.group, f"{'leads' if name == each.leader else 'assists'}, {each.site_name}",
             f"{clock(each.leaves)} to {clock(each.back)}"),
            f"#{_anchor(schedule, each)}",
            "pinned" if each.pinned else "outing",
        )
        for each in outings
        if name in each.crew
    ]  # fmt: skip
    bars += [
        Bar(
            team.leaves,
            team.back,
            ("Ashore", f"{_ashore(team, name)}, {team.site_name}", f"{clock(team.leaves)} to {clock(team.back)}"),
            f"#s-{team.site}",
            "ashore",
        )
        for team in teams
        if name in team.people
    ]
    return _lane(name, bars, first, last, f"#c{_crew_mark(name)}", "" if bars else "free")


def _crew_mark(name: str) -> str:
    """Return the end of the anchor of a person on the page."""
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()) or "-"


def _ashore(team: ShoreTeam, name: str) -> str:
    does = [
        words
        for words, named in (
            ("directs", (team.director,)),
            ("watches", team.watch),
            ("oxygen", team.oxygen_providers),
        )
        if name in named
    ]
    return " and ".join(does)


def _vehicle_lane(
    schedule: Schedule,
    name: str,
    outings: Sequence[Outing],
    teams: Sequence[ShoreTeam],
    first: datetime,
    last: datetime,
) -> Lane:
    bars = [
        Bar(each.leaves, each.back, (each.group, each.site_name), f"#{_anchor(schedule, each)}", "outing")
        for each in outings
        if name in each.vehicles
    ]
    bars += [
        Bar(team.leaves, team.back, ("Shore team", team.site_name), f"#s-{team.site}", "ashore")
        for team in teams
        if name in team.vehicles
    ]
    return _lane(name, bars, first, last, "", "" if bars else "free")


def _crew(schedule: Schedule, asked: ScheduleRequest, day: date) -> tuple[str, ...]:
    """Return the crew in the order of the file, then whoever else has work on the day."""
    named = [worker.name for worker in asked.crew]
    working = [name for outing in schedule.of_day(day) for name in outing.crew]
    working += [name for team in schedule.shore if team.day == day for name in team.people]
    return tuple(dict.fromkeys((*named, *working)))


def _away(asked: ScheduleRequest, day: date) -> dict[str, str]:
    """Return who does not work on a day, each with why."""
    found = {worker.name: "day off" for worker in asked.crew if day in worker.off}
    for absence in asked.absent:
        if day in absence.days:
            found[absence.person] = f"away: {absence.because}" if absence.because else "away"
    return found


# ---- all days together ----


@dataclass(frozen=True)
class Span:
    """Sites by days and crew by days."""

    heads: tuple[str, ...]
    days: tuple[date, ...]
    sites: tuple[tuple[str, tuple[tuple[Outing, ...], ...]], ...]
    crew: tuple[tuple[str, tuple[tuple[str, ...], ...]], ...]


def span(schedule: Schedule) -> Span:
    """Return all days together."""
    sites = dict.fromkeys((each.site, each.site_name) for each in schedule.outings)
    return Span(
        heads=tuple(short(day) for day in schedule.days),
        days=schedule.days,
        sites=tuple(
            (name, tuple(tuple(o for o in schedule.of_day(day) if o.site == slug) for day in schedule.days))
            for slug, name in sites
        ),
        crew=tuple(
            (name, tuple(_day_of(schedule, name, day) for day in schedule.days)) for name in crew_of(schedule)
        ),
    )  # fmt: skip


def _day_of(schedule: Schedule, name: str, day: date) -> tuple[str, ...]:
    tasks: list[tuple[datetime, str]] = []
    for outing in schedule.of_day(day):
        if name in outing.crew:
            tasks.append((outing.leaves, f"{outing.group}{'' if name == outing.leader else ' (assists)'}"))
    tasks += [
        (team.leaves, f"ashore, {team.site_name}") for team in schedule.shore if team.day == day and name in team.people
    ]
    return tuple(words for _, words in sorted(tasks))


# ---- details ----


@dataclass(frozen=True)
class Act:
    """One button: what it says, and the edits that it posts."""

    words: str
    edits: str  # as JSON


@dataclass(frozen=True)
class Detail:
    """An outing with all that a page says about it."""

    outing: Outing
    anchor: str
    team: ShoreTeam | None
    team_words: str
    filled: str
    trip: DayTrip | None
    acts: tuple[Act, ...]


def _act(words: str, *edits: Mapping[str, Any]) -> Act:
    return Act(words, json.dumps(list(edits), ensure_ascii=False))


def details(schedule: Schedule, asked: ScheduleRequest, day: date | None) -> tuple[Detail, ...]:
    """Return the outings of a day, or of all days, with all that is said about each."""
    found = []
    for outing in schedule.outings if day is None else schedule.of_day(day):
        team, filling = shore_of(schedule, outing), filling_of(schedule, outing)
        trip = next((each for each in schedule.trips if outing.key in each.outings), None)
        filled = (
            f"{counted(filling.count, 'cylinder')}, {clock(filling.starts)} to {clock(filling.ends)}" if filling else ""
        )
        found.append(
            Detail(
                outing,
                _anchor(schedule, outing),
                team,
                team_words(team) if team else "nobody",
                filled,
                trip,
                _acts(outing, asked),
            )
        )
    return tuple(found)


def _acts(outing: Outing, asked: ScheduleRequest) -> tuple[Act, ...]:
    numbers = [dive.number for dive in outing.dives]
    pinned = any(pin.group == outing.group and set(pin.dives) & set(numbers) for pin in asked.pinned)
    pin = {
        "do": "pin",
        "group": outing.group,
        "dives": numbers,
        "day": outing.day.isoformat(),
        "site": outing.site,
        "entry": f"{outing.dives[0].entry:%H:%M}",
        **({"leader": outing.leader} if outing.leader else {}),
        "assistants": list(outing.assistants),
    }
    acts = [
        _act("Unpin", {"do": "unpin", "group": outing.group, "dives": numbers})
        if pinned
        else _act("Pin as it is", pin),
        _act(f"Not on {short(outing.day)}", {"do": "exclude", "group": outing.group, "day": outing.day.isoformat()}),
        _act(f"Not at {outing.site_name}", {"do": "exclude", "group": outing.group, "site": outing.site}),
    ]
    acts += [_act(f"Not with {name}", {"do": "exclude", "group": outing.group, "person": name}) for name in outing.crew]
    return tuple(acts)


@dataclass(frozen=True)
class Somebody:
    """One of the crew on a day."""

    name: str
    anchor: str
    does: tuple[str, ...]
    away: str
    act: Act | None


def working(schedule: Schedule, asked: ScheduleRequest, day: date) -> tuple[Somebody, ...]:
    """Return everybody of the crew on a day: what they do, or that they are away."""
    away = _away(asked, day)
    named = {worker.name: worker for worker in asked.crew}
    found = []
    for name in _crew(schedule, asked, day):
        act = None
        if name in named:
            if name not in away:
                act = _act("Away on this day", {"do": "absent", "person": name, "days": [day.isoformat()]})
            elif day in named[name].off:
                act = _act("Works on this day after all", {"do": "work_day", "person": name, "day": day.isoformat()})
            else:
                act = _act("Here after all", {"do": "present", "person": name, "days": [day.isoformat()]})
        does = _day_of(schedule, name, day)
        found.append(Somebody(name, f"c{_crew_mark(name)}", does, away.get(name, ""), act))
    return tuple(found)


@dataclass(frozen=True)
class SiteHere:
    """One site on a day."""

    slug: str
    name: str
    outings: tuple[Outing, ...]
    ashore: str
    closed: str
    act: Act | None


def places(schedule: Schedule, asked: ScheduleRequest, sites: Mapping[str, Site], day: date) -> tuple[SiteHere, ...]:
    """Return the sites that are used on a day, then those that are closed on it."""
    closed = {each.site: each.because for each in asked.closed if not each.days or day in each.days}
    used = dict.fromkeys(each.site for each in schedule.of_day(day))
    found = []
    for slug in dict.fromkeys((*used, *closed)):
        site = sites.get(slug)
        there = tuple(each for each in schedule.of_day(day) if each.site == slug)
        team = next((each for each in schedule.shore if (each.site, each.day) == (slug, day)), None)
        name = there[0].site_name if there else site.name if site else slug
        act = None
        if site is not None:
            act = (
                _act("Open after all", {"do": "open_site", "site": slug, "days": [day.isoformat()]})
                if slug in closed
                else _act("Closed on this day", {"do": "close_site", "site": slug, "days": [day.isoformat()]})
            )
        words = team_words(team) if team else ""
        found.append(SiteHere(slug, name, there, words, closed.get(slug, ""), act))
    return tuple(found)


@dataclass(frozen=True)
class Try:
    """One change with which a group would fit, with a button where it can be made by one."""

    sentence: str
    act: Act | None


def tries(unplaced: Unplaced) -> tuple[Try, ...]:
    """Return the changes with which a group would fit."""
    found = []
    for change in unplaced.would_fit_if:
        act = None
        if change.edits:
            try:
                act = _act("Try this", *edits_data(edits_from(change.edits)))
            except EditRefused:
                act = None
        found.append(Try(change.sentence, act))
    return tuple(found)
