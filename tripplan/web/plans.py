"""The plan of a day: chosen by a form whose words are the address, shown as page, sheet, file, text and JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date, timedelta
from functools import wraps
from typing import Any

from flask import Blueprint, Response, abort, current_app, jsonify, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response as BaseResponse

from tripplan.check import Check, Outcome
from tripplan.documents.briefing_sheet import briefing_sheets_pdf
from tripplan.documents.data import plan_json
from tripplan.documents.day_sheet import day_sheet_pdf
from tripplan.documents.one_file import one_file_html, policy_in
from tripplan.documents.picture import day_picture, day_table
from tripplan.documents.text import plan_text
from tripplan.errors import OutOfRange
from tripplan.planning.plan import DayPlan
from tripplan.planning.private import without_private, without_private_check
from tripplan.planning.replan import difference
from tripplan.planning.world import CannotPlan
from tripplan.rulebook import RuleBook
from tripplan.store.told import told_world
from tripplan.web.accounts import sees_private
from tripplan.web.choosing import (
    BadChoice,
    Choice,
    all_groups,
    choice_of,
    delay_in,
    first_choice,
    near_date,
    read_choice,
    request_of,
    seen_in,
)
from tripplan.web.here import now, shelf, teller
from tripplan.web.made import MadePlan, plans_made

bp = Blueprint("plans", __name__)

PAPERS = {"a4": "A4", "letter": "Letter"}
LOOKED_AHEAD_DAYS = 28  # two springs and two neaps


def _today() -> date:
    return now().date()


def for_who_asks(made: MadePlan) -> DayPlan:
    """Return a plan as whoever asks may see it: to an assistant it says nothing about anybody's health."""
    if sees_private():
        return made.plan
    shown: DayPlan = made.once("without private", lambda: without_private(made.plan))
    return shown


def seen_by_who_asks(plan: DayPlan) -> DayPlan:
    """Return the same of a plan that nobody kept."""
    return plan if sees_private() else without_private(plan)


def plan_body(made: MadePlan, rules: RuleBook) -> Markup:
    """Return the part of a page that shows a plan to whoever asks, made once: nothing else in it hangs on the page."""
    plan, template = for_who_asks(made), current_app.jinja_env.get_template("_plan.html")

    def body() -> Markup:
        pictures = {"wide": day_picture(plan), "narrow": day_picture(plan, narrow=True)}
        return Markup(template.render(plan=plan, rules=rules, table=day_table(plan), **pictures))

    found: Markup = made.once(("body", sees_private(), template), body)
    return found


def checks_for_who_asks(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Return checks of a plan as whoever asks may see them."""
    return tuple(checks) if sees_private() else tuple(map(without_private_check, checks))


def _page(made: MadePlan | None, choice: Choice, status: int = 200, near: Choice | None = None) -> tuple[str, int]:
    """Return the page of a plan, or of a choice that has none.

    near -- of a nearer day, which is stopped
    """
    folder = shelf()
    shown: dict[str, Any] = {"plan": None}
    if made is not None:
        plan = for_who_asks(made)
        before = for_who_asks(_planned(choice.unchanged, edges=False)) if choice.changed else None
        shown = {
            "plan": plan,
            "near": near,
            "body": plan_body(made, folder.world.rules),
            "changes": difference(before, plan) if before is not None else None,
        }
    return (
        render_template("plan.html", choice=choice, folder=folder, groups=all_groups(folder), papers=PAPERS, **shown),
        status,
    )


def _planned(choice: Choice, *, edges: bool = True) -> MadePlan:
    """Return the plan that a choice asks for, with its edges unless nobody reads them.  Raises BadChoice."""
    folder = shelf()
    asked = request_of(choice, folder, _today())
    seen = seen_in(choice, folder)
    world = told_world(folder, (asked.site,), now(), teller(), {asked.site: seen})
    try:
        return plans_made().made(asked, world, delay_min=delay_in(choice), edges=edges)
    except CannotPlan as error:
        said = " ".join(f"{sentence}." for _, sentence in error.faults)
        raise BadChoice(replace(choice, errors={"group": said})) from error
    except OutOfRange as error:
        raise BadChoice(replace(choice, errors={"delay": f"{error}."})) from error


def _chosen() -> DayPlan:
    """Return the plan that the address asks for.  Raises BadChoice."""
    return for_who_asks(_planned(read_choice(request.args)))


def _or_the_form(view: Callable[[], Response]) -> Callable[[], Response | tuple[str, int]]:
    """Answer a choice that cannot be planned with the form as it was filled in."""

    @wraps(view)
    def guarded() -> Response | tuple[str, int]:
        try:
            return view()
        except BadChoice as error:
            return _page(None, error.choice, 400)

    return guarded


def _named(content: bytes | str, kind: str, plan: DayPlan, ending: str, *, keep: bool = False) -> Response:
    """Return a file whose name says site, date and revision; ``keep`` offers it for saving."""
    name = f"plan-{plan.site}-{plan.date}-{plan.revision}.{ending}"
    how = "attachment" if keep else "inline"
    return Response(content, mimetype=kind, headers={"Content-Disposition": f'{how}; filename="{name}"'})


@bp.get("/")
def home() -> tuple[str, int] | BaseResponse:
    """Show the plan of a near day for the first ready request; without one, the first steps.

    A demonstration whose near day is stopped opens on the next one that is not, and says so: a newcomer wants to see a
    day that can be dived. A centre is shown its own day, whatever it is.
    """
    folder = shelf()
    choice = first_choice(folder, now())
    if choice is None:
        return redirect(url_for("start.show"))
    made = _planned(choice)
    if current_app.extensions["tripplan_young"] and made.plan.verdict is Outcome.STOP:
        first = date.fromisoformat(choice.day)
        for ahead in range(1, LOOKED_AHEAD_DAYS):
            other = replace(choice, day=(first + timedelta(days=ahead)).isoformat(), asked=False)
            if _planned(other, edges=False).plan.verdict is not Outcome.STOP:
                return _page(_planned(other), other, near=choice)
    return _page(made, choice)


@bp.get("/plan")
def show() -> tuple[str, int]:
    """Show the plan that was chosen, or the form again with what is wrong."""
    choice = read_choice(request.args)
    try:
        return _page(_planned(choice), choice)
    except BadChoice as error:
        return _page(None, error.choice, 400)


@bp.get("/plan.pdf")
@_or_the_form
def sheet() -> Response:
    """Give the printable sheet."""
    paper = request.args.get("paper", "a4")
    if paper not in PAPERS:
        abort(400, f'Paper "{paper}" is not known; accepted: {", ".join(PAPERS)}.')
    plan = _chosen()
    return _named(day_sheet_pdf(plan, paper), "application/pdf", plan, "pdf")


@bp.get("/plan/briefing.pdf")
@_or_the_form
def briefing() -> Response:
    """Give the briefing sheets, one for each group and dive."""
    paper = request.args.get("paper", "a4")
    if paper not in PAPERS:
        abort(400, f'Paper "{paper}" is not known; accepted: {", ".join(PAPERS)}.')
    plan = _chosen()
    if not plan.dives:
        abort(400, "The plan has no dive to brief.")
    made = briefing_sheets_pdf(plan, paper, shelf().centre.roster.languages)
    response = _named(made, "application/pdf", plan, "pdf")
    response.headers["Content-Disposition"] = response.headers["Content-Disposition"].replace("plan-", "briefing-", 1)
    return response


@bp.get("/plan.json")
def data() -> BaseResponse | tuple[BaseResponse, int]:
    """Give the plan as JSON."""
    try:
        return jsonify(plan_json(_chosen()))
    except BadChoice as error:
        return jsonify({"errors": dict(error.choice.errors)}), 400


@bp.get("/plan.txt")
@_or_the_form
def text() -> Response:
    """Give the plan as plain text."""
    plan = _chosen()
    return _named(plan_text(plan) + "\n", "text/plain", plan, "txt")


@bp.get("/plan/offline.html")
@_or_the_form
def offline() -> Response:
    """Give the plan as one file that works on a phone without a signal."""
    plan = _chosen()
    content = one_file_html(plan, shelf().world.rules)
    response = _named(content, "text/html", plan, "html", keep=True)
    response.headers["Content-Security-Policy"] = policy_in(content)  # its style stands inside the file; nothing runs
    return response


@bp.get("/requests/<name>")
def ready(name: str) -> BaseResponse:
    """Go to the plan of a ready request on its own date."""
    asked = shelf().requests.get(name) or abort(404)
    return redirect(url_for("plans.show", **choice_of(asked, asked.date, shelf()).query))


@bp.get("/requests/<name>/next")
def next_possible(name: str) -> BaseResponse | str:
    """Go to the plan of a ready request on the next day that nothing stops."""
    asked = shelf().requests.get(name) or abort(404)
    first = near_date(shelf().sites[asked.site].timezone, now())
    tried = [choice_of(asked, first + timedelta(days=ahead), shelf()) for ahead in range(LOOKED_AHEAD_DAYS)]
    for choice in tried:
        if _planned(choice, edges=False).plan.verdict is not Outcome.STOP:
            return redirect(url_for("plans.show", **choice.query))
    return render_template("no_day.html", asked=asked, tried=tried, plan=for_who_asks(_planned(tried[0])))
