"""The day another way: later, or with something else seen; and what changes in the plan, line by line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from tripplan.check import Check, Outcome
from tripplan.errors import OutOfRange, require
from tripplan.planning.plan import DayPlan, DivePlan, UsableWindow
from tripplan.planning.request import DiveWish, Request

LONGEST_DELAY_MIN = 720
NONE = "-"


@dataclass(frozen=True)
class Change:
    """One line that reads otherwise in the second plan."""

    what: str
    before: str
    after: str
    worse: bool | None  # None: neither worse nor better


def delayed(request: Request, plan: DayPlan, minutes: int) -> Request:
    """Return the request with its day so many minutes later than the plan made from it.

    minutes -- 1 to 720, elapsed: on the night the clocks change the clock moves by an hour more or less

    A fixed entry moves; any other dive goes in no earlier than its planned entry and the delay. The times
    at which people set off for home stay: a ferry does not wait, and who has to wait longer is told.
    Raises OutOfRange for another delay, or where a time would leave the day.
    """
    require("delay", minutes, 1, LONGEST_DELAY_MIN, "min")
    planned = {(dive.group, dive.number): dive for dive in plan.dives}
    groups = []
    for group in request.groups:
        dives = tuple(
            _later_wish(wish, planned.get((group.name, number)), f"{group.name}, dive {number}", plan, minutes)
            for number, wish in enumerate(group.dives, 1)
        )
        groups.append(group.model_copy(update={"dives": dives}))
    return request.model_copy(update={"groups": tuple(groups)})


def _later_wish(wish: DiveWish, dive: DivePlan | None, what: str, plan: DayPlan, minutes: int) -> DiveWish:
    if wish.entry is not None:
        return wish.model_copy(update={"entry": _later(wish.entry, what, plan, minutes)})
    if dive is not None and dive.entry is not None:
        moment = dive.entry.astimezone(UTC) + timedelta(minutes=minutes)
        return wish.model_copy(update={"not_before": _clock(moment, what, plan)})
    if wish.not_before is not None:
        return wish.model_copy(update={"not_before": _later(wish.not_before, what, plan, minutes)})
    return wish


def _later(clock: time, what: str, plan: DayPlan, minutes: int) -> time:
    local = datetime.combine(plan.date, clock.replace(tzinfo=None), tzinfo=ZoneInfo(plan.timezone))
    return _clock(local.astimezone(UTC) + timedelta(minutes=minutes), what, plan)


def _clock(moment: datetime, what: str, plan: DayPlan) -> time:
    local = moment.astimezone(ZoneInfo(plan.timezone))
    if local.date() != plan.date:
        raise OutOfRange(f"{what} would begin at {local:%H:%M} on {local:%d %B}, on another day; give a shorter delay")
    return time(local.hour, local.minute)


def difference(before: DayPlan, after: DayPlan) -> tuple[Change, ...]:
    """Return what reads otherwise in the second plan, in the order in which a leader reads; equal plans give none."""
    lines = [
        *_verdict(before, after),
        *_dives(before, after),
        *_windows(before, after),
        *_checks(before, after),
        *_home(before, after),
    ]
    return tuple(line for line in lines if line.before != line.after)


def _verdict(before: DayPlan, after: DayPlan) -> Iterator[Change]:
    words = {Outcome.OK: "go", Outcome.CAUTION: "go with care", Outcome.STOP: "do not go"}
    yield Change("The day", words[before.verdict], words[after.verdict], _worse(before.verdict, after.verdict))


def _worse(before: Outcome, after: Outcome) -> bool | None:
    return None if before is after else after.severity > before.severity


def _dives(before: DayPlan, after: DayPlan) -> Iterator[Change]:
    old = {(dive.group, dive.number): dive for dive in before.dives}
    new = {(dive.group, dive.number): dive for dive in after.dives}
    for key in dict.fromkeys((*old, *new)):
        name = f"{key[0]}, dive {key[1]}"
        first, second = old.get(key), new.get(key)
        if first is None or second is None:
            there = "planned"
            yield Change(name, there if first else NONE, there if second else NONE, second is None)
            continue
        if (first.entry is None) != (second.entry is None):
            words = "no minute of the day works"
            yield Change(
                f"{name}: in",
                words if first.entry is None else f"{first.entry:%H:%M}",
                words if second.entry is None else f"{second.entry:%H:%M}",
                second.entry is None,
            )
            continue
        yield from _one_dive(name, first, second)


def _one_dive(name: str, first: DivePlan, second: DivePlan) -> Iterator[Change]:
    def clock(moment: datetime | None) -> str:
        return NONE if moment is None else f"{moment:%H:%M}"

    for what, early, late in (
        ("in", first.entry, second.entry),
        ("out", first.exit, second.exit),
        ("overdue at", first.overdue_at, second.overdue_at),
    ):
        yield Change(f"{name}: {what}", clock(early), clock(late), None)
    yield _limit(f"{name}: depth limit", first.depth.value, second.depth.value, "m", _binding(first), _binding(second))
    yield _limit(f"{name}: planned depth", first.depth_m, second.depth_m, "m")
    yield _limit(f"{name}: bottom time", first.bottom_time_min, second.bottom_time_min, "min")
    if first.gas is not None and second.gas is not None:
        for what, low, high in (
            ("turn at", first.gas.turn_bar, second.gas.turn_bar),
            ("leave the bottom at", first.gas.minimum_gas_bar, second.gas.minimum_gas_bar),
        ):
            was, now = _number(low, "bar"), _number(high, "bar")
            # Turning with more left in the cylinder means less gas to use.
            yield Change(f"{name}: {what}", was, now, None if low is None or high is None else high > low)
    for what, one, two in (
        ("way in", first.going_in_by, second.going_in_by),
        ("way out", first.coming_out_by, second.coming_out_by),
        ("leader", first.leader or NONE, second.leader or NONE),
        ("place", first.place, second.place),
        ("tide at entry", _number(first.tide_entry_m, "m", 1), _number(second.tide_entry_m, "m", 1)),
        ("tide at exit", _number(first.tide_exit_m, "m", 1), _number(second.tide_exit_m, "m", 1)),
    ):
        yield Change(f"{name}: {what}", one, two, None)


def _binding(dive: DivePlan) -> str:
    binding = dive.depth.binding
    return f" ({binding.sentence})" if binding else ""


def _number(value: float | None, unit: str, digits: int | None = None) -> str:
    if value is None:
        return NONE
    return f"{value:.{digits}f} {unit}" if digits is not None else f"{value:g} {unit}"


def _limit(
    what: str, was: float | None, now: float | None, unit: str, because: str = "", now_because: str = ""
) -> Change:
    worse = None if was == now else now is None or (was is not None and now < was)
    return Change(what, _number(was, unit) + because, _number(now, unit) + now_because, worse)


def _windows(before: DayPlan, after: DayPlan) -> Iterator[Change]:
    groups = dict.fromkeys(dive.group for plan in (before, after) for dive in plan.dives)
    told: set[tuple[str, str]] = set()
    for group in groups:
        was, now = _of(group, before.windows), _of(group, after.windows)
        pair = (_spans(was), _spans(now))
        if pair in told:  # groups that share their windows share the line
            continue
        told.add(pair)
        shrunk, grew = _total(now) < _total(was), _total(now) > _total(was)
        yield Change(f"{group}: windows", *pair, True if shrunk else False if grew else None)


def _of(group: str, windows: Sequence[UsableWindow]) -> list[UsableWindow]:
    return [window for window in windows if not window.groups or group in window.groups]


def _spans(windows: Sequence[UsableWindow]) -> str:
    return ", ".join(f"{w.start:%H:%M} to {w.end:%H:%M}" for w in windows) or "none"


def _total(windows: Sequence[UsableWindow]) -> float:
    return sum(window.end.timestamp() - window.start.timestamp() for window in windows)


def _checks(before: DayPlan, after: DayPlan) -> Iterator[Change]:
    old, new = _numbered(before.checks), _numbered(after.checks)
    found: list[tuple[int, Change]] = []
    for key in dict.fromkeys((*old, *new)):
        first, second = old.get(key), new.get(key)
        severity = max(check.outcome.severity for check in (first, second) if check is not None)
        same = first is not None and second is not None and first.outcome is second.outcome
        if severity == 0 and (same or first is None or second is None):
            continue  # a passed check that reads otherwise, or comes or goes, changes no answer
        was, now = first.outcome if first else Outcome.OK, second.outcome if second else Outcome.OK
        what = f"Check {key[0].replace('-', ' ')}" + (f", {key[1]}" if key[1] else "")
        found.append((severity, Change(what, _said(first), _said(second), _worse(was, now))))
    for _, change in sorted(found, key=lambda pair: -pair[0]):
        yield change


def _numbered(checks: Sequence[Check]) -> dict[tuple[str, str, int], Check]:
    numbered: dict[tuple[str, str, int], Check] = {}
    for check in checks:
        number = 0
        while (check.rule, check.subject, number) in numbered:
            number += 1
        numbered[(check.rule, check.subject, number)] = check
    return numbered


def _said(check: Check | None) -> str:
    return NONE if check is None else f"{check.outcome.value}: {check.sentence}"


def _home(before: DayPlan, after: DayPlan) -> Iterator[Change]:
    def stages(plan: DayPlan) -> dict[tuple[str, str], datetime | None]:
        return {(one.name, stage.name): stage.earliest for one in plan.after for stage in one.stages}

    old, new = stages(before), stages(after)
    for key in dict.fromkeys((*old, *new)):
        was, now = old.get(key), new.get(key)
        later = None if was is None or now is None or was == now else now > was
        yield Change(f"{key[0]}: {key[1]} from", _moment(was), _moment(now), later)


def _moment(moment: datetime | None) -> str:
    return NONE if moment is None else f"{moment:%d %B %H:%M}"
