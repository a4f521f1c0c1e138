"""How long at a depth: the limits page, for a question that needs no whole plan."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from flask import Blueprint, render_template, request

from tripplan.errors import OutOfRange
from tripplan.physics.no_stop import Exposure, NoStop, Surroundings, no_stop_limits
from tripplan.rulebook import RuleBook
from tripplan.web.here import shelf

bp = Blueprint("limits", __name__)

FIELDS = {"depth": "18", "altitude": "0", "hours": "", "oxygen": "21"}  # what an empty form starts with
MOST_BEFORE = 3  # earlier dives that the form has room for


@dataclass(frozen=True)
class Question:
    """What the form holds, as typed."""

    values: dict[str, str]
    water: str
    before: tuple[tuple[str, str, str], ...]  # depth, minutes, interval of each earlier dive
    errors: dict[str, str] = field(default_factory=dict)


def _read() -> Question:
    values = {name: request.args.get(name, default).strip() for name, default in FIELDS.items()}
    before = tuple(
        (
            request.args.get(f"depth{number}", "").strip(),
            request.args.get(f"minutes{number}", "").strip(),
            request.args.get(f"interval{number}", "").strip(),
        )
        for number in range(1, MOST_BEFORE + 1)
    )
    water = request.args.get("water", "sea")
    return Question(values, water if water in ("sea", "fresh") else "sea", before)


def _answer(asked: Question, rules: RuleBook) -> NoStop | None:
    """Return the limits; None where a field cannot be used, with its sentence in ``asked.errors``."""

    def number(name: str, text: str) -> float:
        try:
            return float(text.replace(",", "."))
        except ValueError:
            asked.errors[name] = f'"{text}" is not a number.'
            return 0.0

    depth_m, altitude_m, oxygen = (number(name, asked.values[name]) for name in ("depth", "altitude", "oxygen"))
    hours = number("hours", asked.values["hours"]) if asked.values["hours"] else None
    previous = []
    for index, parts in enumerate(asked.before, start=1):
        if any(parts) and not all(parts):
            asked.errors[f"before{index}"] = "An earlier dive needs depth, minutes and the surface minutes after it."
        elif all(parts):
            before_m, minutes, interval = (number(f"before{index}", part) for part in parts)
            previous.append(Exposure(before_m, minutes, interval))
    if asked.errors:
        return None
    water: Literal["sea", "fresh"] = "fresh" if asked.water == "fresh" else "sea"
    try:
        if hours is not None and hours < 0:
            raise OutOfRange(f"hours since arrival is {hours:g}; it must be at least 0 h")
        return no_stop_limits(
            depth_m,
            Surroundings(
                altitude_m, rules.value(f"water.{water}_density_kg_m3"), "fresh" if water == "fresh" else "sea"
            ),
            previous,
            rules,
            hours_since_arrival_h=hours,
            oxygen_percent=oxygen,
        )
    except OutOfRange as error:
        asked.errors["range"] = f"{error}."
        return None


@bp.get("/limits")
def show() -> tuple[str, int]:
    """Show how long at a depth, what binds it and why."""
    rules = shelf().world.rules
    asked = _read()
    found = _answer(asked, rules)
    page = render_template("limits.html", asked=asked, found=found, rules=rules)
    return page, 400 if asked.errors else 200
