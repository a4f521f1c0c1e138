"""A schedule from a request: options, a search over them, and the plans of the days as the judges of what is found.

What a day plan refuses comes back to the search as something that must not be again, until no plan refuses anything.
Where that takes too long, what is refused is left out, and the schedule says that it is not proved.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from tripplan import __version__
from tripplan.check import Check, Outcome
from tripplan.people.group import KINDS
from tripplan.people.kit import day_words
from tripplan.planning.first_fit import first_fit
from tripplan.planning.outings import Ground, Options, options_of
from tripplan.planning.private import without_private_check
from tripplan.planning.rota import check_rota, fillings_of, loads_of
from tripplan.planning.schedule import (
    DayTrip,
    Moved,
    Outing,
    Progress,
    Schedule,
    ScheduledDive,
    ShoreTeam,
    Status,
    Unplaced,
)
from tripplan.planning.schedule_request import ScheduleRequest, schedule_faults
from tripplan.planning.shared import Shared
from tripplan.planning.solution import Ashore, Cut, Made, Solution, ceiling, points_of
from tripplan.planning.solver import Answer, Limits, solve
from tripplan.planning.trips import Judge, JudgedTrip
from tripplan.planning.world import CannotPlan, World

MOST_ROUNDS = 40
MOST_RUNS_ALONE = 800  # with more, one way of searching proves nothing in time
ALONE_SHARE = 0.25  # of the seconds, for the one way of searching that comes first
LAST_SHARE = 0.1  # of the seconds, for each round after they are used up
MOST_LATE = 4

__all__ = ["Found", "Limits", "find", "make_schedule", "schedule_of"]


@dataclass(frozen=True)
class Found:
    """A solution that no day plan refuses, with everything that it was found from."""

    ground: Ground
    options: Options
    shared: Shared
    judge: Judge
    solution: Solution
    status: Status
    objective: int
    bound: int
    seconds: float
    rounds: int
    left_out: Mapping[str, tuple[str, ...]]  # by group: what its day plan refused when it was left out


def make_schedule(
    request: ScheduleRequest,
    world: World,
    *,
    before: Schedule | None = None,
    limits: Limits = Limits(),  # noqa: B008 (a frozen value)
    told: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
    explain: bool = True,
) -> Schedule:
    """Return the best schedule found within the limits.

    before   the schedule that people know: changes against it cost points
    told     called with the progress
    stop     asked now and then; once it returns true the search ends and keeps the best
    explain  whether it is worked out, by searching again, why a group has no place and what would give it one

    Raises CannotPlan where the request names something that the world does not hold.
    """
    found = find(request, world, before=before, limits=limits, told=told, stop=stop)
    unplaced: tuple[Unplaced, ...] | None = None
    if explain:
        from tripplan.planning.why_not import explained

        unplaced = explained(found, before, limits, told, stop)
    return schedule_of(found, before, limits, unplaced)


def find(
    request: ScheduleRequest,
    world: World,
    *,
    before: Schedule | None = None,
    limits: Limits = Limits(),  # noqa: B008 (a frozen value)
    told: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
    ground: Ground | None = None,
    hint: Solution | None = None,
    least_dives: Mapping[str, int] | None = None,
) -> Found:
    """Return the best solution found within the limits; see `make_schedule`.

    ground       of the same world's sites, with what it has worked out
    hint         where the search starts; None: at the first fit
    least_dives  dives that groups keep, by name
    """
    if faults := schedule_faults(request, world):
        raise CannotPlan(faults)
    ground = Ground(request, world) if ground is None else ground
    options = options_of(ground, told, stop)
    whole = stop is None or not stop()  # else some groups may not have been looked at
    shared = Shared(ground, options)
    judge = Judge(ground)
    first = first_fit(ground, options, shared) if hint is None else hint
    cuts: list[Cut] = []
    answer: Answer | None = None
    best: tuple[Solution, int] | None = None
    seconds = effort = 0.0
    rounds = 0
    bound: int | None = None
    left_out: dict[str, tuple[str, ...]] = {}
    refused: tuple[tuple[Cut, JudgedTrip], ...] = ()
    late = 0
    while rounds < MOST_ROUNDS:
        rounds += 1
        spent = effort
        if limits.seconds is not None:  # what a plan refuses late still gets a few short rounds
            spent = min(effort, limits.seconds * (1 - LAST_SHARE))
            late += effort >= limits.seconds
        answer = _searched(
            ground, options, shared, limits, before=before, cuts=cuts, hint=first, told=_later(told, seconds),
            stop=stop, spent_s=spent, least_dives=least_dives,
        )  # fmt: skip
        seconds, effort = seconds + answer.seconds, effort + answer.effort
        bound = answer.bound if bound is None else min(bound, answer.bound)
        refused = judge.refused(answer.solution)
        if not refused or answer.stopped or late >= MOST_LATE:
            break
        cuts.extend(cut for cut, _ in refused)
        kept, _ = _without_refused(answer.solution, judge)
        first = kept  # it breaks no cut
        value = sum(points_of(kept, ground, before).values())
        if best is None or value > best[1]:
            best = kept, value
    if answer is None or bound is None:
        raise AssertionError("at least one round is made")
    solution, status = answer.solution, answer.status
    if refused:
        solution, left_out = _without_refused(solution, judge)
        status = "feasible"
    value = sum(points_of(solution, ground, before).values())
    # A search that ends early may know less than the first fit, or than what stood before its last round.
    start, out = _without_refused(first_fit(ground, options, shared) if hint is None else hint, judge)
    for other, why in ((best[0], left_out) if best else (solution, left_out), (start, out)):
        worth = sum(points_of(other, ground, before).values())
        if status != "optimal" and worth > value and not least_dives:
            solution, value, status, left_out = other, worth, "feasible", dict(why)
    if not whole:
        bound = ceiling(ground)
        status = "feasible" if status == "optimal" else status
    if not solution.made and status != "optimal":
        status = "none"
    return Found(ground, options, shared, judge, solution, status, value, max(bound, value), seconds, rounds, left_out)


def _searched(ground: Ground, options: Options, shared: Shared, limits: Limits, **more: Any) -> Answer:
    """Return what a search finds: one way of searching first, which proves small schedules soonest, then several."""
    large = sum(map(len, options.runs.values())) > MOST_RUNS_ALONE
    if limits.workers == 1 or limits.seconds is None or large:
        return solve(ground, options, shared, limits, **more)
    left_s = max(limits.seconds - more["spent_s"], 0.0)
    alone = replace(limits, workers=1, seconds=left_s * ALONE_SHARE)
    first = solve(ground, options, shared, alone, **{**more, "spent_s": 0.0})
    if first.status == "optimal" or first.stopped:
        return first
    hint = first.solution if first.status == "feasible" else more["hint"]
    spent_s = more["spent_s"] + first.effort
    then = solve(ground, options, shared, limits, **{**more, "hint": hint, "spent_s": spent_s})
    seconds, effort = first.seconds + then.seconds, first.effort + then.effort
    better = then if then.status != "none" and then.objective >= first.objective else first
    if better.status == "none":
        better = then
    bound = min(first.bound, then.bound)
    return replace(better, bound=bound, seconds=seconds, effort=effort, stopped=then.stopped)


def _later(told: Callable[[Progress], None] | None, seconds: float) -> Callable[[Progress], None] | None:
    if told is None:
        return None
    return lambda progress: told(replace(progress, seconds=progress.seconds + seconds))


def _without_refused(solution: Solution, judge: Judge) -> tuple[Solution, dict[str, tuple[str, ...]]]:
    """Return a solution without what the plans refuse, and without the dives of those groups that come after it."""
    why: dict[str, tuple[str, ...]] = {}
    while refused := judge.refused(solution):
        cut, judged = refused[0]
        gone = max(cut.made, key=lambda made: made.start)
        group = gone.run.block.group
        why[group] = tuple(without_private_check(check).sentence for check in judged.stops) or (
            "One day plan cannot hold it.",
        )
        made = tuple(
            each
            for each in solution.made
            if each.run.block.group != group or each.run.block.numbers[0] < gone.run.block.numbers[0]
        )
        solution = Solution(made, _teams_of(made, solution))
    return solution, why


def _teams_of(made: Sequence[Made], solution: Solution) -> tuple[Ashore, ...]:
    """Return the shore teams that some outings still need, as long as they need them."""
    kept = []
    for team in solution.ashore:
        here = [each for each in made if (each.run.site, each.run.day) == (team.site, team.day)]
        if here:
            first, last = min(each.on_site for each in here), max(each.off_site for each in here)
            kept.append(replace(team, on_site=first, off_site=last))
    return tuple(kept)


# ---- into the values that everybody shows ----


def schedule_of(
    found: Found, before: Schedule | None, limits: Limits, unplaced: tuple[Unplaced, ...] | None = None
) -> Schedule:
    """Return a solution as the schedule that is shown, with the plans of its days and what is judged over them."""
    ground, solution, judge = found.ground, found.solution, found.judge
    request, world = ground.request, ground.world
    judged = [judge.judge(trip) for trip in judge.trips(solution)]
    fillings = fillings_of(solution, ground)
    checks = check_rota(solution, ground, fillings)
    outings = tuple(_outing(made, ground, judged) for made in solution.made)
    ashore = tuple(_shore(team, judged, ground) for team in solution.ashore)
    return Schedule(
        title=request.title or f"{request.first_day} to {request.dates[-1]}",
        demonstration=world.demonstration or any(world.sites[slug].demonstration for slug in ground.sites),
        centre_name=world.centre_name,
        first_day=request.first_day,
        days=request.dates,
        timezone=request.centre.timezone,
        outings=outings,
        shore=ashore,
        fillings=fillings,
        unplaced=unplaced if unplaced is not None else bare_unplaced(found),
        trips=tuple(_trip(each) for each in judged),
        loads=loads_of(solution, ground),
        checks=checks,
        terms=points_of(solution, ground, before),
        status=found.status if not any(check.outcome is Outcome.STOP for check in checks) else "feasible",
        objective=found.objective,
        bound=found.bound,
        seconds=round(found.seconds, 2),
        seed=limits.seed,
        rounds=found.rounds,
        revision=_revision(request, world, limits, before),
        moved=_moved(outings, ashore, before, ground) if before is not None else (),
        notes=_notes(ground, checks),
    )


def bare_unplaced(found: Found) -> tuple[Unplaced, ...]:
    """Return the groups with dives that have no place, with what is known without searching again."""
    missing = []
    for group in found.ground.request.groups:
        placed = {
            n for made in found.solution.made if made.run.block.group == group.name for n in made.run.block.numbers
        }
        dives = tuple(number for number in range(1, len(group.dives) + 1) if number not in placed)
        if dives:
            said = found.left_out.get(group.name) or found.options.group_refusals.get(group.name, ())
            missing.append(Unplaced(group.name, dives, tuple(said), ()))
    return tuple(missing)


def _outing(made: Made, ground: Ground, judged: Sequence[JudgedTrip]) -> Outing:
    run, request = made.run, ground.request
    group = request.group(run.block.group)
    site = ground.world.sites[run.site]
    zone = ZoneInfo(site.timezone)
    exit_by = _overdue(made, judged)
    dives = []
    for place, (number, times) in enumerate(zip(run.block.numbers, run.times, strict=True)):
        wish = group.dives[number - 1]
        dives.append(
            ScheduledDive(
                number=number,
                entry=_at(made.start + times.entry, zone),
                exit=_at(made.start + times.out, zone),
                exit_by=exit_by.get(place) or _at(made.start + times.exit_by, zone),
                depth_m=float(wish.depth_m or 0.0),
                minutes=int(wish.minutes or 0),
                course_dive=wish.course_dive,
            )
        )
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
        dives=tuple(dives),
        leader=made.leader or None,
        assistants=made.assistants,
        divers=group.divers,
        vehicles=made.vehicles,
        leaves=_at(made.leaves, zone),
        on_site=_at(made.on_site, zone),
        off_site=_at(made.off_site, zone),
        back=_at(made.back, zone),
        margin_min=run.latest - made.start,
        km=round(2 * run.drive.km, 1),
        drive_min=run.drive.minutes,
        drive_words=run.drive.words,
        pinned=any(pin.group == group.name and pin.dives == run.block.numbers for pin in request.pinned),
    )


def _overdue(made: Made, judged: Sequence[JudgedTrip]) -> dict[int, datetime]:
    """Return when the dives of an outing are overdue, by its day plan."""
    for each in judged:
        for name, other in each.trip.names.items():
            if other == made:
                own = sorted((dive for dive in each.dives if dive.group == name), key=lambda dive: dive.number)
                return {place: dive.exit_by for place, dive in enumerate(own) if dive.exit_by is not None}
    return {}


def _shore(team: Ashore, judged: Sequence[JudgedTrip], ground: Ground) -> ShoreTeam:
    trip = next(each.trip for each in judged if (each.trip.site, each.trip.day) == (team.site, team.day))
    site = ground.world.sites[team.site]
    zone = ZoneInfo(site.timezone)
    drive = ground.drive(team.site).minutes
    crew = trip.request.crew
    return ShoreTeam(
        site=team.site,
        site_name=site.name,
        day=team.day,
        director=crew.dive_director or "",
        watch=crew.shore_watch,
        oxygen_providers=crew.oxygen_provider,
        vehicles=team.vehicles,
        leaves=_at(team.on_site - drive, zone),
        on_site=_at(team.on_site, zone),
        off_site=_at(team.off_site, zone),
        back=_at(team.off_site + drive, zone),
    )


def _trip(judged: JudgedTrip) -> DayTrip:
    trip = judged.trip
    keys = tuple(made.run.block.key for made in trip.made)
    return DayTrip(trip.slug, trip.site, trip.day, keys, trip.request, judged.outcome, judged.cautions)


def _moved(
    outings: Sequence[Outing], ashore: Sequence[ShoreTeam], before: Schedule, ground: Ground
) -> tuple[Moved, ...]:
    """Say what is not as in the schedule before."""
    now = {outing.key: outing for outing in outings}
    old = {outing.key: outing for outing in before.outings}
    groups = {group.name for group in ground.request.groups}
    found: list[Moved] = []
    for key, was in old.items():
        there = now.get(key)
        if there is None:
            gone = "has no place any more" if was.group in groups else "is not in the request any more"
            others = [outing for outing in outings if outing.group == was.group]
            again = f" The group now has: {', '.join(outing.title for outing in others)}." if others else ""
            found.append(Moved(was.group, f"{was.title} {gone}.{again}"))
            continue
        parts = []
        if (was.day, was.site) != (there.day, there.site):
            parts.append(f"from {was.site_name}, {day_words(was.day)} to {there.site_name}, {day_words(there.day)}")
        elif was.place != there.place:
            parts.append(f"at {there.place}, not {was.place}")
        if (was.day, was.site) == (there.day, there.site) and was.dives[0].entry != there.dives[0].entry:
            parts.append(f"in at {there.dives[0].entry:%H:%M}, not {was.dives[0].entry:%H:%M}")
        if was.leader != there.leader:
            parts.append(f"led by {there.leader or 'nobody'}, not {was.leader or 'nobody'}")
        if set(was.assistants) != set(there.assistants):
            parts.append(
                f"assisted by {', '.join(there.assistants) or 'nobody'}, not {', '.join(was.assistants) or 'nobody'}"
            )
        if parts:
            found.append(Moved(was.group, f"{was.title}: {'; '.join(parts)}."))
    for key, new in now.items():
        if key not in old:
            found.append(
                Moved(
                    new.group, f"{new.title} is new: {new.site_name}, {day_words(new.day)}, {new.dives[0].entry:%H:%M}."
                )
            )
    teams = {(team.site, team.day): team for team in before.shore}
    for team in ashore:
        known = teams.get((team.site, team.day))
        if known is not None and set(known.people) != set(team.people):
            words = f"ashore {', '.join(team.people)}, not {', '.join(known.people)}"
            words = f"{team.site_name}, {day_words(team.day)}: {words}."
            found.append(Moved("", words))
    return tuple(found)


def _notes(ground: Ground, checks: Sequence[Check]) -> tuple[str, ...]:
    request = ground.request
    notes = []
    reckoned = [slug for slug in ground.sites if not any(drive.site == slug for drive in request.drives)]
    if reckoned:
        names = ", ".join(ground.world.sites[slug].name for slug in reckoned)
        notes.append(
            f"Drives to {names} are reckoned from the straight line times {ground.value('schedule.road_factor'):g} at "
            f"{ground.value('schedule.road_km_h'):g} km/h: enter them under [[drives]]."
        )
    notes.append("Every outing starts and ends at the centre: the way from one site to another leads through it.")
    if request.vehicles is None:
        notes.append("No vehicles are in the request: seats are not counted.")
    else:
        notes.append("Who may drive which vehicle is not on record: see that each has a driver.")
    for group in request.groups:
        if ground.world.skills.course(group.kind) and any(wish.course_dive for wish in group.dives):
            notes.append(
                "Course dives count on the skills of the dives before being done as planned: what is not done then, is "
                "planned again."
            )
            break
    notes.extend(check.sentence for check in checks if check.outcome is Outcome.CAUTION)
    return tuple(notes)


def _revision(request: ScheduleRequest, world: World, limits: Limits, before: Schedule | None) -> str:
    """Return a short hash of what a schedule is made from."""
    inputs = {
        "version": __version__,
        "request": request.model_dump(mode="json"),
        "sites": [repr(world.sites[slug]) for slug in sorted(world.sites)],
        "stations": [repr(station) for station in world.stations.values()],
        "people": [person.model_dump(mode="json") for _, person in sorted(world.people.items())],
        "rules": [[key, rule.value] for key, rule in sorted(world.rules.rules.items())],
        "kit": None if world.kit is None else world.kit.model_dump(mode="json"),
        "skills": world.skills.model_dump(mode="json"),
        "ticks": repr(world.ticks),
        "conditions": repr(sorted(world.conditions)),
        "seed": limits.seed,
        "before": None if before is None else before.revision,
    }
    text = json.dumps(inputs, sort_keys=True, default=repr)
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def _at(minute: int, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(minute * 60, tz=UTC).astimezone(zone)
