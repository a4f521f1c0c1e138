"""The search for the best schedule that the model of `model.py` allows, within seconds and until it is told to end."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tripplan.planning.model import Model
from tripplan.planning.outings import Ground, Options
from tripplan.planning.schedule import Progress, Schedule, Status
from tripplan.planning.shared import Shared
from tripplan.planning.solution import Cut, Solution, ceiling, points_of

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

SEARCHES = 3  # ways of searching that take turns
WORK_PER_SECOND = 0.1  # of the solver's own count of work on an ordinary machine, as measured with two workers
PATIENCE = 4  # times as long on the clock at most: a machine that is so slow ends by the clock, and may find another


@dataclass(frozen=True)
class Limits:
    """How long is looked, and how a choice between equals falls.

    seconds -- on an ordinary machine; counted by the solver's own steady count of work, so that the same input gives
               the same schedule on a slow machine and on a fast one; None: until it is proved
    """

    seconds: float | None = 60.0
    seed: int = 1
    workers: int = 2  # 1: one way of searching; more: several ways in turn after it


@dataclass(frozen=True)
class Answer:
    """What the solver found."""

    solution: Solution
    status: Status
    objective: int
    bound: int
    seconds: float
    effort: float  # of the limits' seconds
    stopped: bool = False


def solve(
    ground: Ground,
    options: Options,
    shared: Shared,
    limits: Limits,
    *,
    before: Schedule | None = None,
    cuts: Sequence[Cut] = (),
    hint: Solution | None = None,
    told: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
    spent_s: float = 0.0,
    least_dives: Mapping[str, int] | None = None,
    first_only: bool = False,
    all_fixed_but: str | None = None,
) -> Answer:
    """Return the best solution found within the limits.

    cuts        what plans refused: never all of one again
    hint        where the search starts
    told, stop  called as the search goes on; it ends soon after ``stop`` returns true, and keeps the best
    spent_s     of the limits' seconds, by searches before this one
    least_dives dives that a group must keep, by its name; groups that are left out are free
    first_only  whether any solution will do, whatever its points
    all_fixed_but  the one group that is looked for anew: all others stay as the hint has them
    """
    from ortools.sat.python import cp_model

    model = Model(ground, options, shared, before, cuts)
    for name, count in (least_dives or {}).items():
        own = [(len(block.numbers), model.placed[block]) for block in model.blocks if block.group == name]
        if count:
            model.cp.add(sum(n * literal for n, literal in own) >= count)
    if first_only:
        model.cp.clear_objective()  # type: ignore[no-untyped-call]
    if hint is not None and all_fixed_but is not None:
        model.fix(hint, all_fixed_but)
    elif hint is not None:
        model.start_from(hint)
    solver = cp_model.CpSolver()
    solver.parameters.random_seed = limits.seed
    solver.parameters.catch_sigint_signal = False  # who asks to stop does it through ``stop``
    solver.parameters.num_workers = 1 if limits.workers == 1 else SEARCHES
    if limits.workers > 1:
        solver.parameters.interleave_search = True  # several ways of searching in turn: repeatable on any machine
    if limits.seconds is not None:
        left_s = max(limits.seconds - spent_s, 0.5)
        solver.parameters.max_deterministic_time = left_s * WORK_PER_SECOND
        solver.parameters.max_time_in_seconds = left_s * PATIENCE + 5
    solver.parameters.cp_model_probing_level = 0
    solver.parameters.linearization_level = 2  # how few people there are shows in the relaxation first
    wanted = sum(len(group.dives) for group in ground.request.groups)
    watch = _Watch(solver, model, wanted, told, stop)
    try:
        try:
            status = solver.solve(model.cp, watch.callback)
        except IndexError:  # OR-tools 9.15 fails so where it looks for symmetries in some models without a solution
            solver.parameters.symmetry_level = 0
            status = solver.solve(model.cp, watch.callback)
    finally:
        watch.done.set()
    stopped, effort = watch.stopped, float(solver.response_proto.deterministic_time) / WORK_PER_SECOND
    if limits.seconds is not None and status != cp_model.OPTIMAL and effort < limits.seconds - spent_s - 0.5:
        stopped = stopped or solver.wall_time > left_s * PATIENCE
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        bound = 0 if status == cp_model.INFEASIBLE else ceiling(ground)
        return Answer(Solution((), ()), "none", 0, bound, solver.wall_time, effort, stopped)
    found = model.read(solver.value)
    objective = sum(points_of(found, ground, before).values())
    proved: Status = "optimal" if status == cp_model.OPTIMAL else "feasible"
    bound = objective if proved == "optimal" else ceiling(ground)
    if proved == "feasible" and objective <= solver.best_objective_bound:  # a search that is stopped may know of none
        bound = min(bound, _floor(solver.best_objective_bound))
    return Answer(found, proved, objective, bound, solver.wall_time, effort, stopped)


def _floor(value: float) -> int:
    return int(value + 1e-6) if value >= 0 else -int(-value + 1 - 1e-6)


class _Watch:
    """Tells how far the search is, and ends it when somebody asks."""

    def __init__(
        self,
        solver: cp_model.CpSolver,
        model: Model,
        wanted: int,
        told: Callable[[Progress], None] | None,
        stop: Callable[[], bool] | None,
    ) -> None:
        from ortools.sat.python import cp_model

        watch = self
        self.stopped = False
        self.done = threading.Event()
        self.last = Progress(0.0, 0, wanted, 0, 0, "looking for a first schedule")

        class Callback(cp_model.CpSolverSolutionCallback):
            def on_solution_callback(self) -> None:
                placed = sum(len(block.numbers) for block in model.blocks if self.value(model.placed[block]))
                best, bound = int(self.objective_value), int(self.best_objective_bound)
                words = f"{placed} of {wanted} dives have a place"
                watch.last = Progress(self.wall_time, placed, wanted, best, bound, words)
                if told is not None:
                    told(watch.last)

        self.callback = Callback()
        if stop is not None:

            def look() -> None:
                while not self.done.wait(0.2):
                    if stop():
                        self.stopped = True
                        solver.stop_search()
                        return

            threading.Thread(target=look, daemon=True).start()
