"""What was made already: a pure function gives the same of the same, so a plan or a sheet is made once.

It is found again by comparing all that it was made from, the whole request and the whole world, never by a name, a time
or a hash: what was edited, ticked, forecast, seen or confirmed meanwhile makes another world, and so another plan. What
is the same object in both worlds is not looked into, which is what makes the comparison quick.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any

from flask import current_app

from tripplan.planning.day import plan_day
from tripplan.planning.plan import DayPlan
from tripplan.planning.replan import delayed
from tripplan.planning.request import Request
from tripplan.planning.tolerance import with_edges
from tripplan.planning.world import World

MOST_KEPT = 48  # of each kind; a day of a large centre, and each plan looked at in some ways


class Kept:
    """What was asked for last, by all that it was made from."""

    def __init__(self, most: int = MOST_KEPT) -> None:
        self._most = most
        self._kept: OrderedDict[int, tuple[tuple[Any, ...], Any]] = OrderedDict()  # the oldest first
        self._number = 0
        self._lock = threading.Lock()

    def once(self, values: tuple[Any, ...], make: Callable[[], Any]) -> Any:
        """Return what was made of some values, made now when nobody asked for it before."""
        with self._lock:
            held = list(reversed(self._kept.items()))
        for number, (others, found) in held:
            if all(_same(one, other) for one, other in zip(values, others, strict=True)):
                with self._lock:
                    if number in self._kept:
                        self._kept.move_to_end(number)
                return found
        made = make()  # two who ask at once make it twice, and both are right
        with self._lock:
            self._number += 1
            self._kept[self._number] = (values, made)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return made


@dataclass(eq=False)
class MadePlan:
    """A plan with what was made of it: pictures, tables, parts of pages."""

    plan: DayPlan
    _more: dict[Hashable, Any] = field(default_factory=dict)

    def once(self, key: Hashable, make: Callable[[], Any]) -> Any:
        """Return what was made of the plan under a key, made now when nobody asked for it before."""
        if key not in self._more:
            self._more[key] = make()
        return self._more[key]


class Plans(Kept):
    """The plans that were asked for last."""

    def made(self, request: Request, world: World, *, delay_min: int = 0, edges: bool = True) -> MadePlan:
        """Return the plan of a request.

        delay_min -- the whole day later by so many minutes
        edges     -- with how far it is from its edges

        Raises CannotPlan and OutOfRange, as the plan does.
        """

        def make() -> MadePlan:
            asked, plan = request, plan_day(request, world)
            if delay_min:
                asked = delayed(request, plan, delay_min)
                plan = plan_day(asked, world)
            return MadePlan(with_edges(plan, asked, world) if edges else plan)

        found: MadePlan = self.once((delay_min, edges, request, world), make)
        return found


def kept_here(what: str) -> Kept:
    """Return what this app keeps of a kind."""
    held: Kept = current_app.extensions.setdefault(f"tripplan_made_{what}", Kept())
    return held


def plans_made() -> Plans:
    """Return the plans of this app."""
    held: Plans = current_app.extensions.setdefault("tripplan_plans", Plans())
    return held


def _same(one: Any, other: Any) -> bool:
    """Return whether two values are equal; what cannot be compared as a whole, such as two arrays, is not."""
    try:
        return bool(one == other)
    except ValueError:
        return False
