"""What programs may ask for as JSON, described as OpenAPI 3.1 and made from the routes, models and rules themselves."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from flask import Blueprint, current_app, jsonify
from werkzeug.routing import Rule
from werkzeug.wrappers import Response as BaseResponse

from tripplan import __version__
from tripplan.check import Outcome
from tripplan.planning.event import KINDS_OF_EVENT, LONGEST_TEXT, LONGEST_UID, MOST_DIVES
from tripplan.planning.observed import VALUES, Observed
from tripplan.planning.replan import LONGEST_DELAY_MIN
from tripplan.web.choosing import Choice
from tripplan.web.live import LONGEST_NAME, MOST_ENTRIES

bp = Blueprint("api", __name__)

Schema = Mapping[str, Any]
TEXT: Final[Schema] = {"type": "string"}
TEXTS: Final[Schema] = {"type": "array", "items": TEXT}
OBJECT: Final[Schema] = {"type": "object"}
OBJECTS: Final[Schema] = {"type": "array", "items": OBJECT}
NUMBER_OR_NOT: Final[Schema] = {"type": ["number", "null"]}
WHOLE_OR_NOT: Final[Schema] = {"type": ["integer", "null"]}
DAY: Final[Schema] = {"type": "string", "format": "date"}
CLOCK: Final[Schema] = {"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$"}
YES: Final[Schema] = {"type": "string", "enum": ["yes"]}
NAMES: Final[Schema] = {"type": "array", "items": {"type": "string", "minLength": 1}}


def _object(needed: Mapping[str, Schema], more: Mapping[str, Schema] | None = None) -> Schema:
    return {"type": "object", "required": list(needed), "properties": {**needed, **(more or {})}}


# ---- what is asked ----


def _seen(name: str) -> Schema:
    """Return what one thing seen on the spot may be, as the schema of observations has it."""
    if name == "thunder":
        return {"type": "string", "enum": ["yes", "no"]}
    found = Observed.model_json_schema()["properties"][name]
    number = next(each for each in found.get("anyOf", [found]) if each.get("type") == "number")
    return {key: value for key, value in number.items() if key in ("type", "minimum", "maximum")}


_CHOICE: Final[Mapping[str, tuple[Schema, str]]] = {
    "site": (TEXT, "the site's file name without .toml"),
    "date": (DAY, "the day of diving"),
    "group": (NAMES, "groups of the ready requests, by name"),
    "depth": ({"type": "number", "exclusiveMinimum": 0, "maximum": 100}, "wished depth of every dive, metres"),
    "minutes": ({"type": "integer", "minimum": 1, "maximum": 240}, "wished bottom time of every dive, minutes"),
    "not_before": (CLOCK, "earliest entry, HH:MM by the site's clock"),
    "arrived": (CLOCK, "arrival at the site's altitude, HH:MM by its clock"),
    "settled": (YES, "everybody lives at the site's altitude"),
    "asked": (YES, "everybody was asked about the dives of the days before"),
    "seen_at": (CLOCK, "when somebody looked, HH:MM by the site's clock"),
    "seen_by": (TEXT, "who looked"),
    "delay": ({"type": "integer", "minimum": 1, "maximum": LONGEST_DELAY_MIN}, "minutes by which everything is later"),
    **{name: (_seen(name), "as seen on the spot") for name in VALUES},
}
_DATE: Final[Mapping[str, tuple[Schema, str]]] = {"date": (DAY, "the day; left out: today by the site's clock")}
_RESULT: Final[Mapping[str, tuple[Schema, str]]] = {
    "result": ({"type": "integer", "minimum": 1}, "number of a result; left out: the newest")
}
_ENTRY: Final[Schema] = _object(
    {
        "uid": {"type": "string", "pattern": "^[A-Za-z0-9-]{8,64}$", "description": "made where it is written"},
        "at": {"type": "string", "format": "date-time", "description": "with its offset from UTC"},
        "kind": {"type": "string", "enum": list(KINDS_OF_EVENT)},
        "by": {"type": "string", "minLength": 1, "maxLength": LONGEST_NAME},
    },
    {
        "person": {"type": "string", "maxLength": LONGEST_NAME},
        "group": {"type": "string", "maxLength": LONGEST_NAME},
        "dive": {"type": "integer", "minimum": 0, "maximum": MOST_DIVES},
        "value": {"type": ["number", "string", "null"], "description": "bar, metres or people, by the kind"},
        "text": {"type": "string", "maxLength": LONGEST_TEXT},
        "identity": {"type": "string", "maxLength": LONGEST_NAME},
        "corrects": {"type": "string", "maxLength": LONGEST_UID},
    },
)
_ENTRIES: Final[Schema] = _object(
    {"entries": {"type": "array", "minItems": 1, "maxItems": MOST_ENTRIES, "items": _ENTRY}}
)

# ---- what is answered ----

_ERROR: Final[Schema] = _object({"error": TEXT})
_REFUSED: Final[Schema] = {"type": "array", "items": _object({"uid": TEXT, "error": TEXT})}
_PLAN: Final[Schema] = _object(
    {
        "revision": {"type": "string", "pattern": "^[0-9a-f]{8}$"},
        "verdict": {"type": "string", "enum": [each.value for each in Outcome]},
        "title": TEXT, "demonstration": {"type": "boolean"}, "site": TEXT, "site_name": TEXT, "date": DAY,
        "timezone": TEXT, "headline": TEXT, "windows": OBJECTS, "dives": OBJECTS, "checks": OBJECTS,
        "contacts": OBJECTS, "care": OBJECTS, "emergency": OBJECT, "closures": OBJECTS, "tide_events": OBJECTS,
        "edges": OBJECTS, "overrides": OBJECTS, "hazards": OBJECTS, "briefing": TEXTS, "attribution": TEXTS,
    }
)  # fmt: skip
_SCHEDULE: Final[Schema] = _object(
    {
        "title": TEXT, "demonstration": {"type": "boolean"}, "first_day": DAY, "days": {"type": "array", "items": DAY},
        "timezone": TEXT, "headline": TEXT, "status": TEXT, "revision": TEXT, "placed": OBJECTS, "unplaced": OBJECTS,
        "outings": OBJECTS, "shore": OBJECTS,
    }
)  # fmt: skip
_JOB: Final[Schema] = _object(
    {"number": WHOLE_OR_NOT, "state": TEXT, "open": {"type": "boolean"}, "words": TEXT},
    {
        "stopping": {"type": "boolean"}, "placed": WHOLE_OR_NOT, "wanted": WHOLE_OR_NOT, "objective": NUMBER_OR_NOT,
        "bound": NUMBER_OR_NOT, "seconds": NUMBER_OR_NOT, "most_seconds": NUMBER_OR_NOT, "result": WHOLE_OR_NOT,
    },
)  # fmt: skip


@dataclass(frozen=True)
class Operation:
    """What one page takes and gives."""

    summary: str
    answer: Schema
    query: Mapping[str, tuple[Schema, str]] = field(default_factory=dict)
    body: Schema | None = None
    refused: Schema = field(default_factory=lambda: _ERROR)  # of an answer 400


OPERATIONS: Final[Mapping[str, Operation]] = {
    "plans.data": Operation(
        "The plan of a day, made now",
        _PLAN,
        _CHOICE,
        refused={"anyOf": [_object({"errors": {"type": "object", "additionalProperties": TEXT}}), _ERROR]},
    ),
    "schedule.data": Operation("A schedule of some days", _SCHEDULE, _RESULT),
    "schedule.progress": Operation("How far the search for a schedule is", _JOB),
    "live.token": Operation("A fresh token for what is sent", _object({"token": TEXT})),
    "live.add": Operation(
        "Entries of a day, each kept once however often it arrives; one that is refused holds up no other",
        _object({"new": TEXTS, "known": TEXTS, "differs": TEXTS, "refused": _REFUSED}),
        _DATE,
        body=_ENTRIES,
        refused={"anyOf": [_object({"error": TEXT}, {"refused": _REFUSED})]},
    ),
    "api.answer": Operation("This description", _object({"openapi": TEXT, "info": OBJECT, "paths": OBJECT})),
}


# ---- the description ----


def _path(rule: Rule) -> str:
    return re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule)


def _described(rule: Rule, operation: Operation) -> dict[str, Any]:
    content = {"application/json": {"schema": operation.answer}}
    parameters: list[dict[str, Any]] = [
        {"name": name, "in": "path", "required": True, "schema": {"type": "string", "minLength": 1}}
        for name in sorted(rule.arguments)
    ]
    parameters += [
        {"name": name, "in": "query", "required": False, "schema": schema, "description": words}
        for name, (schema, words) in operation.query.items()
    ]
    responses: dict[str, Any] = {"200": {"description": "As asked for", "content": content}}
    for status, words in (
        ("400", "It cannot be used; the words say why"),
        ("401", "Not signed in"),
        ("403", "Not for this account"),
        ("404", "Not here"),
        ("413", "More than a form of this program holds"),
        ("503", "The store cannot be used now; nothing that was kept is lost"),
    ):
        schema = operation.refused if status == "400" else _ERROR
        responses[status] = {"description": words, "content": {"application/json": {"schema": schema}}}
    if operation.body is not None:  # a stale token is told as to a person: a page fetches another and sends again
        responses["400"]["content"]["text/html"] = {"schema": TEXT}
    made: dict[str, Any] = {
        "operationId": str(rule.endpoint),
        "summary": operation.summary,
        "parameters": parameters,
        "responses": responses,
    }
    if operation.body is not None:
        made["requestBody"] = {"required": True, "content": {"application/json": {"schema": operation.body}}}
        made["parameters"].append(
            {
                "name": "X-CSRFToken",
                "in": "header",
                "required": False,
                "schema": TEXT,
                "description": "the token that /today/{slug}/token gives; without a good one it is refused",
            }
        )
    return made


def description() -> dict[str, Any]:
    """Return the OpenAPI description of this app: its own routes, with what each takes and gives."""
    paths: dict[str, dict[str, Any]] = {}
    for rule in current_app.url_map.iter_rules():
        operation = OPERATIONS.get(str(rule.endpoint))
        if operation is not None:
            method = "post" if "POST" in (rule.methods or ()) else "get"
            paths.setdefault(_path(rule), {})[method] = _described(rule, operation)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "tripplan",
            "version": __version__,
            "description": "Where accounts are in force, the cookie of somebody who signed in goes along.",
            "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
        },
        "paths": paths,
    }


@bp.get("/api/openapi.json")
def answer() -> BaseResponse:
    """Give the description."""
    return jsonify(description())


# What a person may choose on the page of a plan is what a program may ask for.
assert set(_CHOICE) >= set(Choice().query), "a choice that the description does not know"
