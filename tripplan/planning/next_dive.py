"""The next dives planned again from what was really done: what is left of a request, and what each person carries.

The request that is left is planned like any other. Every dive made is a recent dive of it; no dive is left out and none
counts twice. Where something has to be known and is not, there is no request but a sentence.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import datetime, timedelta
from typing import Any, TypeVar

from tripplan.check import Check, Outcome
from tripplan.errors import OutOfRange
from tripplan.planning.actual import ActualDive, check_recent_dives, recent_dives_of
from tripplan.planning.live import alike, planned_people
from tripplan.planning.packing import Packing
from tripplan.planning.plan import DayPlan, DivePlan
from tripplan.planning.request import DiveWish, RecentDive, Request
from tripplan.planning.setting import group_setting, setting_of
from tripplan.planning.timing import ascent_min
from tripplan.planning.window import DayGrid
from tripplan.planning.world import CannotPlan, World, request_faults
from tripplan.rulebook import RuleBook

T = TypeVar("T")

NOTHING_LEFT = "Every dive of this request is made: nothing is left to plan."
_ALL_BUT = ("curve", "closures", "windows", "light", "emergency", "tide_events")  # of a plan: they name no dive


@dataclass(frozen=True)
class Counted:
    """A dive that was made, as the next plan reckons with it."""

    dive: ActualDive
    recent: RecentDive
    water_min: int  # time in the water, known or assumed


@dataclass(frozen=True)
class HeldDive:
    """A dive of the day, and the plan by which it goes."""

    dive: DivePlan
    revision: str
    kept: datetime
    by: str


@dataclass(frozen=True)
class OnePlan:
    """A plan that was kept, as far as its dives go."""

    revision: str
    kept: datetime
    by: str
    dives: tuple[DivePlan, ...]
    request: str = ""  # name of the request that it is of; empty: not known


# ---- what was made ----


def counted_dives(dives_made: Sequence[ActualDive], rules: RuleBook, *, strict: bool = False) -> tuple[Counted, ...]:
    """Return each dive as the next plan reckons with it, by the time at which it ended.

    strict -- all the time in the water is bottom time, the swim and the way up too

    Else the swim and the way up are taken to have lasted as planned, as they are in the plan of the whole day: every
    minute in the water beyond the planned ones is bottom time, and a dive is no shallower than the least depth from
    which the way up lasts as long as planned. A dive that was not planned is reckoned as with ``strict``.
    Raises OutOfRange, naming everybody, where no assumption would be safe.
    """
    recent_dives_of(dives_made)  # tells every fault at once
    found = []
    for dive in dives_made:
        (recent,) = recent_dives_of((dive,))
        water_min, planned = recent.minutes, dive.planned
        if not strict and planned and planned.depth_m and planned.bottom_min and planned.water_min:
            besides = max(planned.water_min - planned.bottom_min, 0)
            bottom = min(water_min, max(planned.bottom_min, water_min - besides))
            depth_m = max(recent.depth_m, _as_long_a_way_up(planned.depth_m, rules))
            recent = recent.model_copy(update={"minutes": bottom, "depth_m": depth_m})
        found.append(Counted(dive, recent, water_min))
    return tuple(sorted(found, key=lambda each: (each.recent.surfaced.timestamp(), alike(each.recent.person))))


def _as_long_a_way_up(depth_m: float, rules: RuleBook) -> float:
    """Return the shallowest depth, to 0.1 m, from which the way up takes as many whole minutes as from a depth."""
    wanted = ascent_min(depth_m, rules)
    tenths = int(depth_m * 10)
    while tenths > 1 and ascent_min((tenths - 1) / 10, rules) == wanted:
        tenths -= 1
    return tenths / 10


def check_counted(counted: Sequence[Counted]) -> tuple[Check, ...]:
    """Return what was assumed of each dive, gravest first."""
    checks = []
    for each in counted:
        (check,) = check_recent_dives((each.dive,))
        recent = each.recent
        _, found, rest = check.sentence.partition(f" for {each.water_min} min")
        if found and recent.minutes < each.water_min:
            told = (
                f"{each.dive.words}: the next plan reckons with {recent.depth_m:g} m for {recent.minutes} min at the "
                f"bottom, of {each.water_min} min in the water: the swim and the way up are taken as planned"
            )
            more = rest.removeprefix(", the whole time in the water.").rstrip(".")
            asked = "Ask how long they were at the bottom: where it was more, count all the time in the water."
            outcome = max(check.outcome, Outcome.CAUTION, key=lambda one: one.severity)
            check = replace(check, outcome=outcome, sentence=f"{told}{more}. {asked}")
        checks.append(check)
    return tuple(sorted(checks, key=lambda check: -check.outcome.severity))


# ---- what is left ----


def remaining_numbers(request: Request, dives_made: Sequence[ActualDive]) -> dict[str, tuple[int, ...]]:
    """Return the numbers of the dives that are not yet made, by group; groups without any are left out."""
    made = {(alike(d.group), d.number) for d in dives_made if d.day == request.date and d.site == request.site}
    left = {
        group.name: tuple(n for n in range(1, len(group.dives) + 1) if (alike(group.name), n) not in made)
        for group in request.groups
    }
    return {name: numbers for name, numbers in left.items() if numbers}


def remaining_request(
    request: Request, dives_made: Sequence[ActualDive], now: datetime, world: World, *, strict: bool = False
) -> Request:
    """Return the request with the dives that are not yet made, after those that were.

    dives_made -- all of the day, also those of other groups, requests and sites
    now        -- aware; no dive goes in before it, rounded up to the step of proposed entries
    strict     -- see ``counted_dives``

    What was made is added to the recent dives, under the names of the roster. A fixed entry that is past becomes the
    earliest one. The dives of each group keep their order; ``numbered_as`` gives them their numbers back.
    Raises OutOfRange with what has to be written down first, and where nothing is left; CannotPlan as ``plan_day``.
    """
    site = world.sites.get(request.site)
    if site is None:
        raise OutOfRange(f'site "{request.site}" is not in the catalogue')
    numbers = remaining_numbers(request, dives_made)
    if not numbers:
        raise OutOfRange(NOTHING_LEFT)
    grid = DayGrid(request.date, site.timezone)
    first = _first_minute(now, grid, world.rules)
    counted = counted_dives(dives_made, world.rules, strict=strict)
    if faults := request_faults(request, world):
        raise CannotPlan(faults)
    setting = setting_of(site, request.date, world, request.measured_pressure_bar)
    groups = tuple(
        group.model_copy(
            update={
                "dives": tuple(_wish(group.dives[n - 1], first, grid) for n in numbers[group.name]),
                # Chosen for the dives of the whole day, as it was: fewer dives would suit another place.
                "place": group_setting(group, setting, world).place.name,
            }
        )
        for group in request.groups
        if group.name in numbers
    )
    if not counted:
        return request.model_copy(update={"groups": groups})
    return request.model_copy(update={"groups": groups, "recent_dives": _recent(request, counted, now, world)})


def _first_minute(now: datetime, grid: DayGrid, rules: RuleBook) -> int:
    """Return the first minute of the day at which a dive may go in; one that the clock shows for the first time."""
    step = max(int(rules.value("plan.entry_step_min")), 1)
    minute = max(-(-grid.minute_ceil(now) // step) * step, 0)
    while minute < grid.minutes and grid.of_clock(grid.at(minute).time()) != minute:
        minute += 1  # the clock was put back, and what it shows would mean the hour before
    if minute >= grid.minutes:
        raise OutOfRange(f"{grid.day.day} {grid.day:%B %Y} is over: nothing more goes in on it")
    return minute


def _wish(wish: DiveWish, first: int, grid: DayGrid) -> DiveWish:
    """Return the wish for a dive that goes in no earlier than a minute of the day."""
    asked = wish.entry or wish.not_before
    minute = None if asked is None else grid.of_clock(asked)
    if first == 0 or (minute is not None and minute >= first) or (minute is None and asked is not None):
        return wish  # where the clock does not show what was asked for, the plan says so
    return wish.model_copy(update={"entry": None, "not_before": grid.at(first).time()})


def _recent(request: Request, counted: Sequence[Counted], now: datetime, world: World) -> tuple[RecentDive, ...]:
    """Return the recent dives of a request and those made.  Raises OutOfRange."""
    if request.recent_dives is None:
        raise OutOfRange(
            "Nobody has written down whether anyone dived in the days before: ask each person and write it into the "
            'request first, recent_dives = "none" where nobody did.'
        )
    roster = {alike(name): name for name in world.people}
    earlier = request.recent_dives if isinstance(request.recent_dives, tuple) else ()
    faults: list[str] = []
    late: dict[str, tuple[datetime, timedelta]] = {}
    made: list[RecentDive] = []
    for each in counted:
        dive, recent = each.dive, each.recent
        key = alike(recent.person)
        if max(m.timestamp() for m in (recent.surfaced, dive.time_in or recent.surfaced)) > now.timestamp():
            faults.append(f"{dive.words}: coming out is dated later than now; look at the clocks and mend the entry.")
        began = recent.surfaced - timedelta(minutes=each.water_min)
        faults.extend(
            f"{dive.words}: the request has a recent dive of {dive.person} in the same minutes; take it out there, "
            "since the entries count."
            for other in earlier
            if alike(other.person) == key
            and other.surfaced > began
            and other.surfaced - timedelta(minutes=other.minutes) < recent.surfaced
        )
        away = world.sites.get(dive.site)
        made.append(
            recent.model_copy(
                update={"person": roster.get(key, dive.person), "altitude_m": away.elevation_m if away else None}
            )
        )
        # The plan reckons back from surfacing when the dive left the surface; where that comes out later than it was,
        # the time ashore before it would be too long.
        minutes = ascent_min(recent.depth_m, world.rules) + recent.minutes
        later = recent.surfaced - timedelta(minutes=minutes) - (dive.time_in or began)
        late.setdefault(key, (began, max(later, timedelta())))
    if faults:
        raise OutOfRange(" ".join(dict.fromkeys(faults)))
    shifted = [
        dive.model_copy(update={"surfaced": dive.surfaced + late[alike(dive.person)][1]})
        if alike(dive.person) in late and dive.surfaced <= late[alike(dive.person)][0]
        else dive
        for dive in earlier
    ]
    return (*shifted, *(dive for dive in made if alike(dive.person) in roster))


# ---- what the plan's own counts do not know ----


def check_ascents(request: Request, left: Request, dives_made: Sequence[ActualDive], world: World) -> tuple[Check, ...]:
    """Judge how often each person who dives again comes up today, the dives made and the exercises in them included.

    request -- of the whole day;  left -- what is left of it
    """
    rule = world.rules["ascent.most_per_day"]
    wishes = {(alike(g.name), n): wish for g in request.groups for n, wish in enumerate(g.dives, 1)}
    counts: dict[str, int] = {}
    names: dict[str, str] = {}
    for group in left.groups:
        for name in group.everybody:
            names.setdefault(alike(name), name)
            counts[alike(name)] = counts.get(alike(name), 0) + sum(dive.ascents for dive in group.dives)
    for dive in dives_made:
        wish = wishes.get((alike(dive.group), dive.number)) if dive.site == request.site else None
        if dive.day == request.date and alike(dive.person) in counts:
            counts[alike(dive.person)] += wish.ascents if wish else 1
    return tuple(
        Check(
            "ascents-made-and-planned",
            Outcome.OK if count <= rule.value else Outcome.STOP,
            f"{names[key]} comes up {count} time{'s' if count > 1 else ''} today, the dives made included; "
            f"{rule.value:g} are allowed.",
            rule.key,
            count,
            rule.value,
            "ascents",
            names[key],
        )
        for key, count in counts.items()
    )


def check_made(left: Request, dives_made: Sequence[ActualDive]) -> tuple[Check, ...]:
    """Return every stop in the record of somebody who is to dive again: felt unwell, too deep, a stop left out.

    With them comes every dive for which they were not planned: it was held against no limit, whatever it was.
    """
    again = {alike(name) for group in left.groups for name in group.everybody}
    return tuple(
        check
        for dive in dives_made
        if alike(dive.person) in again
        for check in dive.checks
        if check.outcome is Outcome.STOP or check.rule == "actual-planned"
    )


# ---- numbers ----


def numbered_as(plan: DayPlan, numbers: Mapping[str, Sequence[int]]) -> DayPlan:
    """Return a plan of what is left with the numbers that its dives have in the whole day, in its sentences too.

    numbers -- by group, as ``remaining_numbers`` gives them
    """
    moved = {
        (name, place): number
        for name, held in numbers.items()
        for place, number in enumerate(held, 1)
        if place != number
    }
    if not moved:
        return plan
    longest_first = sorted(numbers, key=len, reverse=True)
    # "Group, dive 2 of the course" counts the dives of the course, and not those of the day.
    pattern = re.compile(rf"(?<!\w)({'|'.join(map(re.escape, longest_first))})(,?) dive (\d+)(?!\d)(?! of the )")

    def put(text: str) -> str:
        return pattern.sub(lambda m: f"{m[1]}{m[2]} dive {moved.get((m[1], int(m[3])), int(m[3]))}", text)

    changed = {
        field.name: _each_text(getattr(plan, field.name), put) for field in fields(plan) if field.name not in _ALL_BUT
    }
    dives = tuple(replace(dive, number=moved.get((dive.group, dive.number), dive.number)) for dive in changed["dives"])
    packing: Packing | None = changed["packing"]
    if packing is not None:
        people = (
            line if line.dive is None else replace(line, dive=moved.get((line.group, line.dive), line.dive))
            for line in packing.people
        )
        packing = replace(packing, people=tuple(people))
    return replace(plan, **{**changed, "dives": dives, "packing": packing})


def _each_text(value: T, put: Any) -> T:
    """Return a value of a plan with every text in it changed."""
    new: Any = value
    if isinstance(value, Outcome):
        return value
    if isinstance(value, str):
        new = put(value)
    elif isinstance(value, tuple):
        new = tuple(_each_text(each, put) for each in value)
    elif is_dataclass(value) and not isinstance(value, type):
        own = {field.name: getattr(value, field.name) for field in fields(value) if field.init}
        changed = {name: _each_text(each, put) for name, each in own.items()}
        if any(changed[name] is not own[name] and changed[name] != own[name] for name in own):
            new = replace(value, **changed)
    return new  # type: ignore[no-any-return]


# ---- which plan holds ----


def dives_that_hold(plans: Sequence[OnePlan], begun: Mapping[tuple[str, int], datetime]) -> tuple[HeldDive, ...]:
    """Return every dive of the day by the plan by which it goes, in the order of their entries.

    plans -- as kept, the first first; those of the first moment together are the plan that the day began with
    begun -- when somebody first went in on a dive, by group as names are compared and number

    A dive goes by the newest plan that holds it, one that has begun by the newest kept until then. No dive of an older
    plan is dropped because a newer one does not hold it. Dives of two requests whose groups have one name are two;
    where the request of a plan is not known, so are dives that have nobody in common.
    """
    chosen: dict[tuple[str, int], list[tuple[OnePlan, HeldDive]]] = {}
    for plan in sorted(plans, key=lambda each: each.kept.timestamp()):
        for dive in plan.dives:
            key = (alike(dive.group), dive.number)
            lines, began = chosen.setdefault(key, []), begun.get(key)
            new = (plan, HeldDive(dive, plan.revision, plan.kept, plan.by))
            place = next((n for n, held in enumerate(lines) if _one_dive(held, new)), None)
            if place is None:
                lines.append(new)
            elif began is None or plan.kept.timestamp() <= began.timestamp():
                lines[place] = new
    return tuple(
        sorted(
            (held for lines in chosen.values() for _, held in lines),
            key=lambda held: (held.dive.entry is None, held.dive.entry.timestamp() if held.dive.entry else 0.0),
        )
    )


def _one_dive(before: tuple[OnePlan, HeldDive], after: tuple[OnePlan, HeldDive]) -> bool:
    """Return whether two dives of one name in two plans are the same dive."""
    if before[0].request and after[0].request:
        return before[0].request == after[0].request
    one, other = ({alike(name) for name in planned_people(held.dive)} for _, held in (before, after))
    return bool(one & other) or not (one or other)
