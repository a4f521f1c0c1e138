"""A plan as plain JSON values: the contract that scripts depend on. Nothing is reckoned and nothing is rounded away.

Times are ISO 8601 with the site's offset from UTC; what is not known is null, never a not-a-number.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime, time
from enum import Enum
from typing import Any

from tripplan.check import Candidate, Check, Contest
from tripplan.errors import OutOfRange
from tripplan.planning.action_sheet import ActionSheet
from tripplan.planning.plan import DayPlan, DiveGas, DivePlan, PersonDive, SkillLine, Span, UsableWindow
from tripplan.record import Record


def plan_json(plan: DayPlan) -> dict[str, Any]:
    """Return a plan as values that ``json.dumps(..., allow_nan=False)`` accepts.

    The minute-by-minute curves are left out: ``tide_events`` and ``closures`` say the same in a few lines.
    """
    return {
        "revision": plan.revision,
        "verdict": plan.verdict.value,
        "title": plan.title,
        "demonstration": plan.demonstration,
        "site": plan.site,
        "site_name": plan.site_name,
        "date": plan.date.isoformat(),
        "timezone": plan.timezone,
        "headline": plan.headline,
        "nearest_edge": plan.nearest_edge,
        "windows": [_window(window) for window in plan.windows],
        "dives": [_dive(dive) for dive in plan.dives],
        "checks": [_plain(check) for check in plan.checks],
        "contacts": [
            {
                "order": contact.order,
                "role": contact.role,
                "role_words": contact.role_words,
                "name": contact.name,
                "number": contact.number,
                "hours": contact.hours,
                "checked": contact.checked_words,
                "fresh": contact.fresh,
                "notes": contact.notes,
            }
            for contact in plan.emergency.contacts
        ],
        "care": [_plain(place) for place in plan.emergency.care],
        "emergency": {
            name: value for name, value in _plain(plan.emergency).items() if name not in ("contacts", "care")
        },
        "closures": [_plain(closure) for closure in plan.closures],
        "light": _plain(plan.light),
        "tide_words": plan.tide_words,
        "tide_events": [_plain(event) for event in plan.tide_events],
        "observations": [_plain(observation) for observation in plan.observations],
        "forecast": plan.forecast_words,
        "what_ifs": [_plain(what_if) for what_if in plan.what_ifs],
        "edges": [_plain(edge) for edge in plan.edges],
        "conditions": list(plan.conditions),
        "overrides": [_plain(rule) for rule in plan.overrides],
        "elevation_m": _plain(plan.elevation_m),
        "surface_pressure_bar": _plain(plan.surface_pressure_bar),
        "water": plan.water_words,
        "hazards": [{"what": what, "control": control} for what, control in plan.hazards],
        "briefing": list(plan.briefing),
        "flag_rule": plan.flag_rule,
        "rules_here": plan.rules_here,
        "attribution": list(plan.attribution),
        "after": [_plain(one) for one in plan.after],
        "lead": [_plain(line) for line in plan.lead],
        "slates": [_plain(slate) for slate in plan.slates],
        "packing": _plain(plan.packing),
    }


def sheet_json(sheet: ActionSheet) -> dict[str, Any]:
    """Return an emergency action sheet as plain values, with what nobody confirmed and what is not in order."""
    return {
        **_plain(sheet),
        "position": {
            "degrees_minutes": sheet.position.degrees_minutes,
            "spoken": sheet.position.spoken,
            "decimal": sheet.position.decimal,
            "geo": sheet.position.geo_uri,
        },
        "unconfirmed": list(sheet.unconfirmed),
    }


def _span(span: Span) -> dict[str, Any]:
    """``until`` is the first minute that is no longer open."""
    return {"from": _plain(span.start), "until": _plain(span.end)}


def _window(window: UsableWindow) -> dict[str, Any]:
    return {
        "start": _plain(window.start),
        "end": _plain(window.end),
        "entries": [_span(span) for span in window.entries],
        "groups": list(window.groups),
    }


def _dive(dive: DivePlan) -> dict[str, Any]:
    """All that stands in a dive, and its two limits once more as plain numbers."""
    return {
        **_plain(dive),
        "depth_limit_m": _plain(dive.depth.value),
        "depth_because": dive.depth.binding.sentence if dive.depth.binding else None,
        "longest_min": None if dive.time.value is None else math.floor(dive.time.value),
        "longest_because": dive.time.binding.sentence if dive.time.binding else None,
    }


def dives_from_json(plan: Mapping[str, Any]) -> tuple[DivePlan, ...]:
    """Return the dives of a plan that was kept as JSON, the same values as when it was made.

    Raises OutOfRange for values that are not those of a plan of this program.
    """
    try:
        return tuple(_dive_from(dive) for dive in plan["dives"])
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise OutOfRange(f"the kept plan cannot be read: {error!r}") from error


def _dive_from(values: Mapping[str, Any]) -> DivePlan:
    names = {field.name for field in fields(DivePlan)}
    known = {name: value for name, value in values.items() if name in names}
    for name in ("entry", "descent", "exit", "exit_by", "overdue_at", "window_closes"):
        known[name] = None if known[name] is None else datetime.fromisoformat(known[name])
    for name in ("assistants", "divers"):
        known[name] = tuple(known[name])
    known["pairs"] = tuple(tuple(pair) for pair in known["pairs"])
    known["people"] = tuple(PersonDive(**person) for person in known["people"])
    known["skills"] = tuple(
        SkillLine(line["skill"], line["dive"], tuple(line["learners"]), tuple(line["again"]))
        for line in known.get("skills", ())
    )
    known["gas"] = None if known["gas"] is None else DiveGas(**known["gas"])
    for name in ("depth", "time"):
        contest = known[name]
        candidates = tuple(Candidate(**each) for each in contest["candidates"])
        known[name] = Contest(contest["quantity"], contest["unit"], candidates)
    return DivePlan(**known)


def _plain(value: Any) -> Any:
    """Turn any value of a plan into what JSON knows."""
    if isinstance(value, Check | Contest):
        return _plain(value.as_json())
    if isinstance(value, Enum):
        return value.value
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, time):
        return value.isoformat(timespec="minutes")
    if isinstance(value, Record):
        return {name: _plain(getattr(value, name)) for name in type(value).model_fields}
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    raise TypeError(f"{type(value).__name__} has no place in the plan's JSON")
