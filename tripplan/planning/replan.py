"""The day another way: later, or with something else seen; and what changes in the plan, line by line."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time

from tripplan.check import Check, Outcome
from tripplan.errors import OutOfRange, require
from tripplan.planning.plan import AfterStage, DayPlan, DiveGas, DivePlan, UsableWindow
from tripplan.planning.request import DiveWish, Request
from tripplan.planning.window import DayGrid

Spans = Sequence[tuple[datetime, datetime]]

LONGEST_DELAY_MIN = 720  # half a day; a longer delay is another day
NONE = "-"
NO_TIME = "no minute of the day works"
VERDICTS = {Outcome.OK: "go", Outcome.CAUTION: "go with care", Outcome.STOP: "do not go"}


@dataclass(frozen=True)
class Change:
    """One line that reads otherwise in the second plan."""

    what: str
    before: str
    after: str
    worse: bool | None  # None: neither worse nor better


# ---- the day later ----


def delayed(request: Request, plan: DayPlan, minutes: int) -> Request:
    """Return the request with its day so many minutes later than the plan made from it.

    minutes -- 1 to 720, elapsed: on the day the clocks change the clock moves by an hour more or less

    A fixed entry moves; any other dive goes in no earlier than its planned entry and the delay. The times at which
    people set off for home stay: a ferry or a flight does not wait, and whose wait has become too long is told by the
    checks. Raises OutOfRange for another delay, and where a time would leave the day or cannot be told by the clock.
    """
    require("delay", minutes, 1, LONGEST_DELAY_MIN, "min")
    grid = DayGrid(request.date, plan.timezone)
    planned = {(dive.group, dive.number): dive.entry for dive in plan.dives}
    groups = []
    for group in request.groups:
        dives = tuple(
            _later_wish(wish, planned.get((group.name, number)), f"{group.name}, dive {number}", grid, minutes)
            for number, wish in enumerate(group.dives, 1)
        )
        groups.append(group.model_copy(update={"dives": dives}))
    return request.model_copy(update={"groups": tuple(groups)})


def _later_wish(wish: DiveWish, entry: datetime | None, what: str, grid: DayGrid, minutes: int) -> DiveWish:
    """Return the wish for one dive moved; entry -- when the plan let it in, None where it could not."""
    if wish.entry is not None:
        return wish.model_copy(update={"entry": _clock(_minute(wish.entry, what, grid) + minutes, what, grid)})
    if entry is not None:
        return wish.model_copy(update={"not_before": _clock(grid.minute_floor(entry) + minutes, what, grid)})
    if wish.not_before is not None:
        return wish.model_copy(
            update={"not_before": _clock(_minute(wish.not_before, what, grid) + minutes, what, grid)}
        )
    return wish


def _minute(clock: time, what: str, grid: DayGrid) -> int:
    minute = grid.of_clock(clock)
    if minute is None:
        raise OutOfRange(f"{what}: the clock does not show {clock:%H:%M} on {grid.day:%d %B}; give another time")
    return minute


def _clock(minute: int, what: str, grid: DayGrid) -> time:
    """Return what the clock shows at a minute of the day."""
    local = grid.at(minute)
    if minute >= grid.minutes:
        raise OutOfRange(f"{what} would begin at {local:%H:%M} on {local:%d %B}, on another day; give a shorter delay")
    clock = local.time()
    if grid.of_clock(clock) != minute:  # a request holds a clock time only, and the first of the two would be planned
        raise OutOfRange(
            f"{what} would begin when the clock shows {clock:%H:%M} for the second time on {local:%d %B}; give a delay "
            "that ends before the clock goes back or later than the hour shown twice"
        )
    return clock


# ---- what changes ----


def difference(before: DayPlan, after: DayPlan) -> tuple[Change, ...]:
    """Return what reads otherwise in the second plan, in the order in which a leader reads; equal plans give none."""
    lines = [
        Change("The day", VERDICTS[before.verdict], VERDICTS[after.verdict], _graver(before.verdict, after.verdict)),
        *_dives(before, after),
        *_windows(before, after),
        *_checks(before, after),
        *_home(before, after),
    ]
    return tuple(line for line in lines if line.before != line.after)


def _graver(before: Outcome, after: Outcome) -> bool | None:
    return _fell(-before.severity, -after.severity)


def _fell(was: float | None, now: float | None) -> bool | None:
    """Return True where a quantity of which more is better fell or is no longer known, False where it rose."""
    if was == now:
        return None
    return now is None or (was is not None and now < was)


def _times(was: datetime | None, now: datetime | None) -> tuple[str, str]:
    """Return two times as short as still tells them apart: an autumn night shows the same clock time twice."""
    if was is None or now is None or was.timestamp() == now.timestamp():
        return _shown(was, "%H:%M"), _shown(now, "%H:%M")
    for form in ("%H:%M", "%d %B %H:%M"):
        if _shown(was, form) != _shown(now, form):
            break
    else:
        form = "%H:%M %z"
    return _shown(was, form), _shown(now, form)


def _shown(moment: datetime | None, form: str) -> str:
    return NONE if moment is None else format(moment, form)


def _metres(value: float | None) -> str:
    return NONE if value is None else f"{round(value, 1) + 0.0:.1f} m"  # the sum turns -0.0 into 0.0


def _number(value: float | None, unit: str) -> str:
    return NONE if value is None else f"{value:g} {unit}"


def _dives(before: DayPlan, after: DayPlan) -> Iterator[Change]:
    old = {(dive.group, dive.number): dive for dive in before.dives}
    new = {(dive.group, dive.number): dive for dive in after.dives}
    for key in dict.fromkeys((*old, *new)):
        name = f"{key[0]}, dive {key[1]}"
        first, second = old.get(key), new.get(key)
        if first is None or second is None:
            yield Change(name, _in_words(first), _in_words(second), None)
        else:
            yield from (
                Change(f"{name}: {line.what}", line.before, line.after, line.worse) for line in _dive(first, second)
            )


def _in_words(dive: DivePlan | None) -> str:
    if dive is None:
        return NONE
    return NO_TIME if dive.entry is None else f"in {dive.entry:%H:%M}"


def _dive(first: DivePlan, second: DivePlan) -> Iterator[Change]:
    timed = first.entry is not None and second.entry is not None
    if timed:
        yield Change("in", *_times(first.entry, second.entry), None)
        yield Change("out", *_times(first.exit, second.exit), None)
        yield Change("out by", *_times(first.exit_by, second.exit_by), None)
    elif first.entry is not None or second.entry is not None:  # what follows from the time would only repeat it
        was, now = (NO_TIME if dive.entry is None else f"{dive.entry:%H:%M}" for dive in (first, second))
        yield Change("in", was, now, second.entry is None)
    if timed:  # without a time no no-stop limit counts: the depth limit would read as if it had grown
        limits = (first.depth.value, second.depth.value)
        yield Change("depth limit", _limit_words(first), _limit_words(second), _fell(*limits))
        depths = (first.depth_m, second.depth_m)
        yield Change("planned depth", _number(depths[0], "m"), _number(depths[1], "m"), _fell(*depths))
        minutes = (first.bottom_time_min, second.bottom_time_min)
        yield Change("bottom time", _number(minutes[0], "min"), _number(minutes[1], "min"), _fell(*minutes))
        yield from _gas(first.gas, second.gas)
    yield Change("way in", first.going_in_by, second.going_in_by, None)
    yield Change("way out", first.coming_out_by, second.coming_out_by, None)
    if timed:
        yield Change("tide at entry", _metres(first.tide_entry_m), _metres(second.tide_entry_m), None)
        yield Change("tide at exit", _metres(first.tide_exit_m), _metres(second.tide_exit_m), None)
    yield Change("place", first.place, second.place, None)
    yield Change("leader", first.leader or NONE, second.leader or NONE, None)


def _limit_words(dive: DivePlan) -> str:
    binding = dive.depth.binding
    return _number(dive.depth.value, "m") + (f" ({binding.sentence})" if binding else "")


def _gas(first: DiveGas | None, second: DiveGas | None) -> Iterator[Change]:
    for what, was, now in (
        ("turn at", first.turn_bar if first else None, second.turn_bar if second else None),
        ("leave the bottom at", first.minimum_gas_bar if first else None, second.minimum_gas_bar if second else None),
    ):
        # Turning with more left in the cylinder means less gas to go out with; none known is worse than any.
        worse = _fell(None if was is None else -was, None if now is None else -now)
        yield Change(what, _bar(first, was), _bar(second, now), worse)


def _bar(gas: DiveGas | None, pressure_bar: int | None) -> str:
    if gas is None:
        return NONE
    return "no fill is enough" if pressure_bar is None else f"{pressure_bar} bar"


def _windows(before: DayPlan, after: DayPlan) -> Iterator[Change]:
    groups = dict.fromkeys(dive.group for plan in (before, after) for dive in plan.dives)
    shared: dict[tuple[tuple[UsableWindow, ...], tuple[UsableWindow, ...]], list[str]] = {}
    for group in groups:
        shared.setdefault((_of(group, before), _of(group, after)), []).append(group)
    for (was, now), names in shared.items():
        who = "All groups" if len(names) == len(groups) > 1 else ", ".join(sorted(names))
        whole = _spans_change(f"{who}: windows", *([(each.start, each.end) for each in side] for side in (was, now)))
        entries = ([(span.start, span.end) for each in side for span in each.entries] for side in (was, now))
        going_in = _spans_change(f"{who}: going in", *entries)
        yield whole
        if (going_in.before, going_in.after) != (whole.before, whole.after):
            yield going_in


def _of(group: str, plan: DayPlan) -> tuple[UsableWindow, ...]:
    return tuple(window for window in plan.windows if not window.groups or group in window.groups)


def _spans_change(what: str, was: Spans, now: Spans) -> Change:
    return Change(what, _spans(was), _spans(now), _fell(_total(was), _total(now)))


def _spans(spans: Spans) -> str:
    return ", ".join(f"{start:%H:%M} to {end:%H:%M}" for start, end in spans) or "none"


def _total(spans: Spans) -> float:
    return sum(end.timestamp() - start.timestamp() for start, end in spans)


def _checks(before: DayPlan, after: DayPlan) -> Iterator[Change]:
    """Yield the checks that come out or read otherwise, gravest first."""
    found: list[tuple[int, Change]] = []
    for first, second in _matched(before.checks, after.checks):
        severity = max(check.outcome.severity for check in (first, second) if check is not None)
        if severity == 0:
            continue  # a passed check that reads otherwise, comes or goes changes no answer
        either = first or second
        if either is None:
            continue
        what = f"Check {either.rule.replace('-', ' ')}" + (f", {either.subject}" if either.subject else "")
        # What is no longer judged is no proof of anything better.
        worse = None if second is None else _graver(first.outcome if first else Outcome.OK, second.outcome)
        found.append((severity, Change(what, _said(first), _said(second), worse)))
    for _, change in sorted(found, key=lambda pair: -pair[0]):
        yield change


def _matched(before: Sequence[Check], after: Sequence[Check]) -> Iterator[tuple[Check | None, Check | None]]:
    """Yield each check of either plan with the one that judges the same thing in the other, None where there is none.

    Plans list the gravest first, so that the place in the list does not tell which of several checks of one rule and
    subject is which: the same words are matched first, then the same words with other numbers, then the rest in order.
    """
    old, new = _by_case(before), _by_case(after)
    for key in dict.fromkeys((*old, *new)):
        left, right = list(old.get(key, ())), list(new.get(key, ()))
        for words in (_words, _words_only, _case):
            for first in tuple(left):
                second = next((check for check in right if words(check) == words(first)), None)
                if second is not None:
                    left.remove(first)
                    right.remove(second)
                    yield first, second
        yield from ((first, None) for first in left)
        yield from ((None, second) for second in right)


def _by_case(checks: Sequence[Check]) -> dict[tuple[str, str], list[Check]]:
    cases: dict[tuple[str, str], list[Check]] = {}
    for check in checks:
        cases.setdefault(_case(check), []).append(check)
    return cases


def _case(check: Check) -> tuple[str, str]:
    return (check.rule, check.subject)


def _words(check: Check) -> str:
    return check.sentence


def _words_only(check: Check) -> str:
    return re.sub(r"\d+(?:[.:]\d+)*", "#", check.sentence)


def _said(check: Check | None) -> str:
    return NONE if check is None else f"{check.outcome.value}: {check.sentence}"


def _home(before: DayPlan, after: DayPlan) -> Iterator[Change]:
    """Yield when each person may climb each height, worse where the wait itself grows: a later day is only later."""
    old, new = _stages(before), _stages(after)
    for key in dict.fromkeys((*old, *new)):
        was, now = old.get(key), new.get(key)
        worse = None
        if was is not None and now is not None:
            waits = [None if stage.wait_min is None else -stage.wait_min for stage in (was, now)]
            worse = _fell(*waits)
        yield Change(f"{key[0]}: {key[1]} from", _from(was), _from(now), worse)


def _stages(plan: DayPlan) -> dict[tuple[str, str, int], AfterStage]:
    found: dict[tuple[str, str, int], AfterStage] = {}
    for person in plan.after:
        names = [stage.name for stage in person.stages]
        for index, stage in enumerate(person.stages):
            found[(person.name, stage.name, names[:index].count(stage.name))] = stage
    return found


def _from(stage: AfterStage | None) -> str:
    if stage is None:
        return NONE
    return "cannot be said" if stage.earliest is None else f"{stage.earliest:%d %B %H:%M}"
