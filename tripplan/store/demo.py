"""Keep the demonstration young: move its dates so that it reads as on the day it was written.

Only the invented folder is moved, and only when it is served as the demonstration: a real centre's dates are facts.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from tripplan.catalogue.site import Site
from tripplan.emergency.readiness import Readiness
from tripplan.environment.conditions import Forecast, Series
from tripplan.people.kit import Kit
from tripplan.people.person import Person
from tripplan.planning.request import Request
from tripplan.store.folder import Folder
from tripplan.store.schedules import moved_by

WRITTEN = date(2026, 11, 25)  # the day on which the dates in the demonstration's files were chosen


def kept_young(folder: Folder, today: date) -> Folder:
    """Return the folder with checks, surveys, last dives, declarations and qualifications moved to today.

    Birth dates stay, since ages are part of the demonstration; requests move by whole weeks, so that a Saturday stays
    one, and schedules and forecasts with them, so that each day keeps its weather. Before the day it was written, and
    for a folder that is not a demonstration, nothing moves.
    """
    days = (today - WRITTEN).days
    if days <= 0 or not folder.world.demonstration:
        return folder
    shift = timedelta(days=days)
    world = replace(
        folder.world,
        sites={slug: _site(site, shift) for slug, site in folder.world.sites.items()},
        people={name: _person(person, shift) for name, person in folder.world.people.items()},
        readiness=_readiness(folder.world.readiness, shift),
        kit=_kit(folder.world.kit, shift),
        ticks={
            course: tuple(replace(tick, day=tick.day + shift) for tick in ticks)
            for course, ticks in folder.world.ticks.items()
        },
    )
    weeks = timedelta(days=days // 7 * 7)
    requests = {name: _request(request, weeks) for name, request in folder.requests.items()}
    forecasts = {slug: _forecast(forecast, weeks) for slug, forecast in folder.forecasts.items()}
    schedules = {name: moved_by(asked, weeks) for name, asked in folder.schedules.items()}
    return replace(folder, world=world, requests=requests, forecasts=forecasts, schedules=schedules)


def _moved(record: Any, names: tuple[str, ...], shift: timedelta) -> dict[str, Any]:
    return {name: getattr(record, name) + shift for name in names if getattr(record, name) is not None}


def _person(person: Person, shift: timedelta) -> Person:
    names = (
        "last_dive", "medical", "medical_doctor", "oxygen_provider_until", "first_aid_until", "insurance_until",
    )  # fmt: skip
    return person.model_copy(update=_moved(person, names, shift))


def _site(site: Site, shift: timedelta) -> Site:
    update: dict[str, Any] = _moved(site, ("survey_date",), shift)
    for name in ("contacts", "hospitals", "chambers"):
        update[name] = tuple(line.model_copy(update=_moved(line, ("checked",), shift)) for line in getattr(site, name))
    return site.model_copy(update=update)


def _readiness(readiness: Readiness, shift: timedelta) -> Readiness:
    def moved(lines: tuple[Any, ...], name: str) -> tuple[Any, ...]:
        return tuple(line.model_copy(update=_moved(line, (name,), shift)) for line in lines)

    return readiness.model_copy(
        update={
            "oxygen_units": moved(readiness.oxygen_units, "read"),
            "rescue_kits": moved(readiness.rescue_kits, "checked"),
            "drills": moved(readiness.drills, "held"),
        }
    )


def _kit(kit: Kit | None, shift: timedelta) -> Kit | None:
    if kit is None:
        return None
    cylinders = (item.model_copy(update=_moved(item, ("last_visual", "last_test"), shift)) for item in kit.cylinders)
    regulators = (item.model_copy(update=_moved(item, ("serviced",), shift)) for item in kit.regulators)
    return kit.model_copy(update={"cylinders": tuple(cylinders), "regulators": tuple(regulators)})


def _request(request: Request, shift: timedelta) -> Request:
    return request.model_copy(update={"date": request.date + shift})


def _forecast(forecast: Forecast, shift: timedelta) -> Forecast:
    """Move a forecast by whole weeks; at most to today's week, so that it never begins after today."""
    return replace(forecast, series=tuple(_series(series, shift) for series in forecast.series))


def _series(series: Series, shift: timedelta) -> Series:
    origin = series.origin
    issued = None if origin.issued is None else origin.issued + shift
    return replace(
        series,
        starts=tuple(moment + shift for moment in series.starts),
        ends=tuple(moment + shift for moment in series.ends),
        origin=replace(origin, issued=issued, fetched=origin.fetched + shift),
    )
