"""What each person carries home: when they may drive up, fly, and how much oxygen the day has cost."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from tripplan.check import Check, Outcome
from tripplan.errors import OutOfRange
from tripplan.physics.after_dive import Stage, StageWait, behind, wait_before_ascent
from tripplan.physics.exposure import Breathed, oxygen_exposure, oxygen_pressure_bar
from tripplan.planning.plan import AfterDive, AfterStage
from tripplan.planning.request import HomeStage, Request
from tripplan.planning.timing import Done, Ledger
from tripplan.planning.window import DayGrid
from tripplan.rulebook import RuleBook

DAY_MIN = 24 * 60
KIND_WORDS = {"road": "by road", "aircraft": "in an aircraft without a pressurised cabin", "airliner": "by airliner"}
ANY_FLIGHT = HomeStage(name="any airline flight", kind="airliner")


def after_dives(
    request: Request, names: Sequence[str], ledger: Ledger, grid: DayGrid, rules: RuleBook
) -> tuple[tuple[AfterDive, ...], list[Check]]:
    """Return when each diver of the day may climb each height of the way home, and the checks that go with it.

    An airline flight is always among the heights: somebody will ask.
    """
    way = request.way_home
    stages = way if any(stage.kind == "airliner" for stage in way) else (*way, ANY_FLIGHT)
    known = request.recent_dives is not None
    found: list[AfterDive] = []
    told: dict[Check, list[str]] = {}
    for name in names:
        dives = [dive for dive in ledger.done.get(name, []) if dive.out > -DAY_MIN * 2]
        today = [dive for dive in dives if dive.surfaced > 0]
        if not today:
            continue
        last = dives[-1]
        surfaced = grid.at(math.ceil(last.surfaced))
        exposures = ledger.exposures(name, last.surfaced + 1)
        hours = ledger.hours_since_arrival_h(last.descent)
        checks: list[Check] = []
        lines: list[AfterStage] = []
        try:
            carried = behind(exposures, ledger.surroundings, rules, hours_since_arrival_h=hours, all_dives_known=known)
            asked = tuple(_stage(stage, grid, last.surfaced) for stage in stages)
            waits = wait_before_ascent(carried, asked, rules)
            checks.extend(carried.checks)
            checks.extend(waits.checks)
            lines = [_line(wait, surfaced) for wait in waits.stages]
        except OutOfRange as error:
            checks.append(Check("wait-known", Outcome.STOP, f"No wait can be given: {error}.", "NAVY_7"))
        exposure = oxygen_exposure(_breathed(dives, last, ledger), rules, whole_day_known=known)
        checks.extend(exposure.checks)
        for check in dict.fromkeys(checks):  # several heights may ask for the same
            told.setdefault(check, []).append(name)
        found.append(
            AfterDive(
                name=name,
                surfaced=surfaced,
                stages=tuple(lines),
                oxygen_single_share=exposure.single_share,
                oxygen_daily_share=exposure.daily_share,
            )
        )
    everybody = len(found)
    kept = [
        replace(
            check,
            sentence=f"After the dives: {check.sentence}" + ("" if len(who) == everybody else f" ({', '.join(who)})"),
            subject=", ".join(who),
        )
        for check, who in told.items()
        # Nobody has booked the flight that is only there to answer the question: its waits are told, not judged.
        if check.outcome is not Outcome.CAUTION or ANY_FLIGHT.name not in check.sentence
    ]
    return tuple(found), kept


def drives_between(
    request: Request, names: Sequence[str], ledger: Ledger, grid: DayGrid, rules: RuleBook
) -> list[Check]:
    """Judge each drive over a height between dives against what everybody carries when it starts.

    Coming down again gives no credit: the next dive's limits count the time at the surface as if spent at the site.
    """
    checks: list[Check] = []
    for drive in request.drives_between:
        start = grid.of_clock(drive.leaves)
        if start is None:
            sentence = f"{drive.name}: the clock does not show {drive.leaves:%H:%M} on this day."
            checks.append(Check("drive-between", Outcome.STOP, sentence, "REQUEST", subject=drive.name))
            continue
        wet = [name for name in names if any(d.descent < start < d.out for d in ledger.done.get(name, []))]
        if wet:
            sentence = f"{drive.name} at {drive.leaves:%H:%M}: {', '.join(wet)} would still be in the water."
            checks.append(Check("drive-between", Outcome.STOP, sentence, "REQUEST", subject=drive.name))
        for name in names:
            before = [dive for dive in ledger.done.get(name, []) if -DAY_MIN * 2 < dive.out <= start]
            if not before or name in wet:
                continue
            last = before[-1]
            carried = behind(
                ledger.exposures(name, last.surfaced + 1)[-len(before) :],
                ledger.surroundings,
                rules,
                hours_since_arrival_h=ledger.hours_since_arrival_h(last.descent),
                all_dives_known=request.recent_dives is not None,
            )
            stage = Stage(drive.name, "road", drive.height_m, float(start - last.surfaced))
            wait = wait_before_ascent(carried, (stage,), rules)
            ready = None if wait.minutes is None else grid.at(math.ceil(last.surfaced) + wait.minutes)
            early = ready is None or ready.timestamp() > grid.at(start).timestamp()
            said = "no time can be given" if ready is None else f"may climb from {ready:%H:%M} on {ready:%d %B}"
            checks.append(
                Check(
                    "drive-between",
                    Outcome.STOP if early else Outcome.OK,
                    f"{drive.name} ({drive.height_m:g} m) at {drive.leaves:%H:%M}: {name} {said}.",
                    "NAVY_7",
                    round(start - last.surfaced),
                    wait.minutes,
                    "min",
                    name,
                )
            )
    return checks


def _stage(stage: HomeStage, grid: DayGrid, surfaced: float) -> Stage:
    """Return a height of the way home with the minutes from surfacing to the planned start, where one is planned."""
    starts = None
    if stage.leaves is not None and (minute := grid.of_clock(stage.leaves)) is not None:
        starts = max(minute - surfaced, 0.0)
    return Stage(stage.name, stage.kind, stage.height_m, starts)


def _line(wait: StageWait, surfaced: datetime) -> AfterStage:
    binding = wait.binding
    earliest = None
    if wait.minutes is not None:
        # Elapsed time: a night on which the clock changes does not lengthen or shorten the wait.
        moment = datetime.fromtimestamp(surfaced.timestamp(), tz=surfaced.tzinfo)
        earliest = datetime.fromtimestamp(moment.timestamp() + wait.minutes * 60, tz=surfaced.tzinfo)
    return AfterStage(
        name=wait.stage.name,
        kind_words=KIND_WORDS[wait.stage.kind],
        height_m=wait.stage.height_m,
        wait_min=wait.minutes,
        earliest=earliest,
        because=binding.sentence if binding else "no rule asks for a wait",
        source=binding.source if binding else "NAVY_7",
    )


def _breathed(dives: Sequence[Done], last: Done, ledger: Ledger) -> list[Breathed]:
    """Return the oxygen of the 24 hours before surfacing, each dive as if all of it were at its deepest."""
    breathed = []
    for number, dive in enumerate(dives, start=1):
        if last.surfaced - dive.surfaced > DAY_MIN:
            continue
        bar = oxygen_pressure_bar(dive.depth_m, dive.surroundings or ledger.surroundings, dive.oxygen_percent)
        minutes = min(max(dive.surfaced - dive.descent, 0.0), float(DAY_MIN))
        breathed.append(Breathed(bar, minutes, f"dive {number}"))
    return breathed
