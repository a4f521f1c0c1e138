"""The plan of a day: chosen by a form whose words are the address, shown as page, sheet, file, text and JSON."""

from __future__ import annotations

from datetime import date
from functools import lru_cache
from typing import Any

from flask import Blueprint, Response, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from tripplan.documents.data import plan_json
from tripplan.documents.day_sheet import day_sheet_pdf
from tripplan.documents.one_file import one_file_html
from tripplan.documents.picture import day_picture, day_table
from tripplan.documents.text import plan_text
from tripplan.planning.day import plan_day
from tripplan.planning.plan import DayPlan
from tripplan.web.app import now, shelf
from tripplan.web.choosing import BadChoice, Choice, all_groups, first_choice, read_choice, request_of

bp = Blueprint("plans", __name__)


def _today() -> date:
    return now().date()


@lru_cache(maxsize=64)
def picture(plan: DayPlan, narrow: bool) -> str:
    """Return the picture of a plan; drawing takes longer than everything else on the page."""
    return day_picture(plan, narrow=narrow)


def _page(plan: DayPlan | None, choice: Choice, status: int = 200) -> tuple[str, int]:
    folder = shelf()
    shown: dict[str, Any] = {"plan": None}
    if plan is not None:
        shown = {
            "plan": plan,
            "wide": picture(plan, False),
            "narrow": picture(plan, True),
            "table": day_table(plan),
            "rules": folder.world.rules,
        }
    return (
        render_template("plan.html", choice=choice, folder=folder, groups=all_groups(folder), **shown),
        status,
    )


def _chosen() -> DayPlan:
    """Return the plan that the address asks for.  Raises BadChoice."""
    folder = shelf()
    return plan_day(request_of(read_choice(request.args), folder, _today()), folder.world)


@bp.get("/")
def home() -> tuple[str, int] | str:
    """Show the plan of a near day for the first ready request."""
    folder = shelf()
    choice = first_choice(folder, now())
    if choice is None:
        return render_template("empty.html", folder=folder)
    return _page(plan_day(request_of(choice, folder, _today()), folder.world), choice)


@bp.get("/plan")
def show() -> tuple[str, int]:
    """Show the plan that was chosen, or the form again with what is wrong."""
    choice = read_choice(request.args)
    try:
        return _page(_chosen(), choice)
    except BadChoice as error:
        return _page(None, error.choice, 400)


@bp.get("/plan.pdf")
def sheet() -> Response | tuple[str, int]:
    """Give the printable sheet."""
    paper = request.args.get("paper", "a4")
    if paper not in ("a4", "letter"):
        paper = "a4"
    try:
        plan = _chosen()
    except BadChoice as error:
        return _page(None, error.choice, 400)
    name = f"plan-{plan.site}-{plan.date}-{plan.revision}.pdf"
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(day_sheet_pdf(plan, paper), mimetype="application/pdf", headers=headers)


@bp.get("/plan.json")
def data() -> BaseResponse | tuple[BaseResponse, int]:
    """Give the plan as JSON."""
    try:
        return jsonify(plan_json(_chosen()))
    except BadChoice as error:
        return jsonify({"errors": dict(error.choice.errors)}), 400


@bp.get("/plan.txt")
def text() -> Response | tuple[str, int]:
    """Give the plan as plain text."""
    try:
        return Response(plan_text(_chosen()) + "\n", mimetype="text/plain")
    except BadChoice as error:
        return _page(None, error.choice, 400)


@bp.get("/plan/offline.html")
def offline() -> Response | tuple[str, int]:
    """Give the plan as one file that works on a phone without a signal."""
    try:
        plan = _chosen()
    except BadChoice as error:
        return _page(None, error.choice, 400)
    name = f"plan-{plan.site}-{plan.date}-{plan.revision}.html"
    page = one_file_html(plan, shelf().world.rules)
    response = Response(page, mimetype="text/html", headers={"Content-Disposition": f'attachment; filename="{name}"'})
    # Its style stands inside the file; it still runs nothing and loads nothing.
    response.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    return response


@bp.get("/requests")
def requests() -> str:
    """List the ready requests."""
    folder = shelf()
    return render_template("requests.html", folder=folder, today=_today())


@bp.get("/requests/<name>")
def ready(name: str) -> BaseResponse:
    """Go to the plan of a ready request on its own date."""
    folder = shelf()
    asked = folder.requests.get(name)
    if asked is None:
        return redirect(url_for("plans.requests"))
    choice = Choice(
        site=asked.site,
        day=asked.date.isoformat(),
        groups=tuple(group.name for group in asked.groups),
        asked=asked.recent_dives is not None,
    )
    return redirect(url_for("plans.show", **choice.query))
