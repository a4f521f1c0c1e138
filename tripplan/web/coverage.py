"""What codes ask for, and what in this program meets it."""

from __future__ import annotations

from flask import Blueprint, abort, render_template, request

from tripplan.documents.coverage import STATE_MARKS, STATE_WORDS, STATES, counts, coverage_rows
from tripplan.web.here import shelf

bp = Blueprint("coverage", __name__)


@bp.get("/requirements")
def requirements() -> str:
    """Show every requirement by area, with what meets it and what does not."""
    rules = shelf().world.rules
    rows = coverage_rows(rules)
    areas = tuple(dict.fromkeys(row.requirement.area for row in rows))
    state, area = request.args.get("state", ""), request.args.get("area", "")
    if state and state not in STATES:
        abort(400, f'The state "{state}" is not one of: {", ".join(STATES)}.')
    if area and area not in areas:
        abort(400, f'The area "{area}" is not one of: {", ".join(areas)}.')
    shown: dict[str, list[object]] = {}
    for row in rows:
        if (not state or row.state == state) and (not area or row.requirement.area == area):
            shown.setdefault(row.requirement.area, []).append(row)
    return render_template(
        "requirements.html",
        areas=areas,
        shown=shown,
        number=sum(len(found) for found in shown.values()),
        counts=counts(rows),
        total=len(rows),
        memory=sum(row.requirement.sureness == "from memory" for row in rows),
        state=state,
        area=area,
        state_words=STATE_WORDS,
        state_marks=STATE_MARKS,
        rules=rules.rules,
    )
