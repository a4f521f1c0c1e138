"""Everything that a plan is made from, and the short mark of it."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from tripplan import __version__
from tripplan.environment.conditions import as_inputs
from tripplan.people.skills import as_compared
from tripplan.planning.progress import counted_ticks
from tripplan.planning.request import Request
from tripplan.planning.teaching import no_instructors
from tripplan.planning.world import World


def revision_of(request: Request, world: World) -> str:
    """Return a short hash of everything the plan was made from: the same inputs give the same eight characters.

    The program's version is one of them: another version may reckon otherwise from the same files.
    """
    text = json.dumps(plan_inputs(request, world), sort_keys=True, ensure_ascii=True, default=repr)
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def plan_inputs(request: Request, world: World) -> dict[str, Any]:
    """Return everything that a plan is made from, as values that can be kept."""
    site = world.sites[request.site]
    names = {name for group in request.groups for name in group.everybody}
    names |= {*request.crew.everybody}
    who = {as_compared(name) for name in names}
    station = world.stations.get(site.tide.station or "")
    ticks = [tick for _, told in sorted(world.ticks.items()) for tick in told if as_compared(tick.person) in who]
    counted = set(counted_ticks(ticks, no_instructors(world.people)))
    return {
        "version": __version__,
        "request": request.model_dump(mode="json"),
        "site": {**site.model_dump(mode="json", fallback=repr), "slug": site.slug},
        "station": repr(station),
        "people": {name: world.people[name].model_dump(mode="json") for name in sorted(names)},
        "rules": {key: [rule.value, rule.reason] for key, rule in sorted(world.rules.rules.items())},
        "readiness": world.readiness.model_dump(mode="json"),
        "kit": None if world.kit is None else world.kit.model_dump(mode="json"),
        "skills": [
            course.model_dump(mode="json")
            for course in world.skills.courses
            if course.kind in {group.kind for group in request.groups}
        ],
        "ticks": [repr(tick) for tick in ticks],
        "ticks_not_counted": [repr(tick) for tick in ticks if tick not in counted],  # by who is no instructor
        "confirmed": [repr(one) for one in world.confirmed if one.at.date() <= request.date],
        "conditions": as_inputs(world.conditions[site.slug]) if site.slug in world.conditions else None,
        "centre": [world.centre_name, world.code_of_practice, world.demonstration],
    }
