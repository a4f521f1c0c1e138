"""The records: of a day, and of a person over all days; as pages, on paper, and as tables for a spreadsheet."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from flask import Blueprint, Response, abort, make_response, render_template, request

from tripplan.documents.data import plan_json
from tripplan.documents.dive_record import KeptDay, deviations, record_csv, record_rows
from tripplan.documents.person_record import (
    PersonRecord,
    dive_values,
    person_csv,
    person_record,
    person_record_pdf,
    totals_words,
)
from tripplan.documents.record_sheet import record_sheet_pdf
from tripplan.errors import OutOfRange
from tripplan.planning.live import alike, standing
from tripplan.web.accounts import sees_private
from tripplan.web.here import now, shelf
from tripplan.web.kept import kept
from tripplan.web.live import _day_asked, _expected, _held, _plans_now, _site_or_404, _writer, held_of
from tripplan.web.plans import PAPERS

bp = Blueprint("records", __name__)

CSV = "text/csv; charset=utf-8"


def _paper() -> str:
    paper = request.args.get("paper", "a4")
    if paper not in PAPERS:
        abort(400, f'Paper "{paper}" is not known; accepted: {", ".join(PAPERS)}.')
    return paper


def _file(content: bytes | str, kind: str, how: str, name: str) -> Response:
    response = make_response(content)
    response.headers["Content-Type"] = kind
    response.headers.set("Content-Disposition", how, filename=name)
    return response


# ---- of a day ----


def _kept_day(slug: str, day: date) -> KeptDay:
    """Return a day as it was kept; before its first entry with the plans that would be kept now."""
    site = _site_or_404(slug)
    held = _held(slug, day)
    plans = held.plans if held.started else tuple(plan_json(plan) for _, plan in _plans_now(slug, day))
    return KeptDay(
        day=day,
        site=slug,
        site_name=site.name,
        timezone=site.timezone,
        demonstration=shelf().centre.demonstration or any(bool(plan.get("demonstration")) for plan in plans),
        begun=held.started,
        plans=plans,
        events=kept().events(day, slug),
    )


@bp.get("/today/<slug>/record")
def record(slug: str) -> str:
    """Show what was done beside what was planned, for each person and dive."""
    found, private = _kept_day(slug, _day_asked()), sees_private()
    rows = record_rows(found.actual, found.site_name, found, private=private)
    return render_template(
        "record.html",
        site=_site_or_404(slug),
        slug=slug,
        day=found.day,
        by=_writer(),
        private=private,
        rows=[(row, dive, deviations(dive, private)) for row, dive in zip(rows, found.actual, strict=True)],
        incidents=[event for event in standing(found.entries).entries if event.kind == "incident"],
        papers=PAPERS,
    )


@bp.get("/today/<slug>/record.csv")
def record_table(slug: str) -> Response:
    """Give the record as a table."""
    found = _kept_day(slug, _day_asked())
    made = record_csv(found.actual, found.site_name, found, private=sees_private())
    return _file(made, CSV, "attachment", f"record-{slug}-{found.day.isoformat()}.csv")


@bp.get("/today/<slug>/record.pdf")
def record_sheet(slug: str) -> Response:
    """Give the record on paper, with lines for what nobody wrote."""
    paper = _paper()
    found = _kept_day(slug, _day_asked())
    made = record_sheet_pdf(found, _expected(slug, found.day), now(), shelf().world.rules, paper)
    return _file(made, "application/pdf", "inline", f"record-{slug}-{found.day.isoformat()}.pdf")


# ---- of a person ----


def _day_of_person(day: date, slug: str) -> KeptDay:
    """Return a day of the store as it was kept; its site may be gone from the folder since."""
    site = shelf().sites.get(slug)
    plans, events = kept().plans(day, slug), kept().events(day, slug)
    begun: tuple[Mapping[str, Any], ...] = ()
    if plans:
        try:
            begun = held_of(plans, events).plans
        except OutOfRange:  # of an older program: the record says so
            begun = tuple(plan.plan for plan in plans)
    named: Mapping[str, Any] = next((plan for plan in begun if plan.get("site_name") and plan.get("timezone")), {})
    return KeptDay(
        day=day,
        site=slug,
        site_name=site.name if site else str(named.get("site_name", slug)),
        timezone=site.timezone if site else str(named.get("timezone", "UTC")),
        demonstration=shelf().centre.demonstration or any(bool(plan.get("demonstration")) for plan in begun),
        begun=bool(begun),
        plans=begun,
        events=events,
    )


def _of_person(name: str) -> PersonRecord:
    """Return the record of somebody who is on the list of people or has entries; nobody else has one."""
    days = kept().days_of(name)
    listed = next((each for each in shelf().world.people if alike(each) == alike(name)), "")
    if not days and not listed:
        abort(404)
    return person_record(listed or name, [_day_of_person(*each) for each in days], private=sees_private())


def _to_nobody_else(response: Response) -> Response:
    """Let no machine between keep a person's record."""
    response.headers["Cache-Control"] = "no-store"
    return response


@bp.get("/people/<path:name>/record")
def person(name: str) -> Response:
    """Show all dives of a person, the last one first."""
    found = _of_person(name)
    page = render_template(
        "person_record.html",
        record=found,
        totals=totals_words(found),
        dives=[(dive_values(each, found.private), each.kept, each.dive) for each in reversed(found.dives)],
        papers=PAPERS,
    )
    return _to_nobody_else(make_response(page))


@bp.get("/people/<path:name>/record.pdf")
def person_sheet(name: str) -> Response:
    """Give all dives of a person on paper."""
    paper, found = _paper(), _of_person(name)
    made = person_record_pdf(found, now().date(), paper)
    return _to_nobody_else(_file(made, "application/pdf", "inline", f"dive-record-{found.name}.pdf"))


@bp.get("/people/<path:name>/record.csv")
def person_table(name: str) -> Response:
    """Give all dives of a person as a table."""
    found = _of_person(name)
    return _to_nobody_else(_file(person_csv(found), CSV, "attachment", f"dive-record-{found.name}.csv"))
