"""The people as a table: taken out as CSV or XLSX, and brought in after a look at what would change."""

from __future__ import annotations

import base64
import binascii
from pathlib import Path

from flask import Blueprint, Flask, Response, abort, current_app, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from tripplan.errors import BadRecord
from tripplan.people.table import Preview, people_from, rows_of
from tripplan.store.people_file import (
    LARGEST_TABLE_BYTES,
    CentrePeople,
    ListChanged,
    centre_people,
    people_toml,
    read_table,
    save_people,
    write_table,
)
from tripplan.store.records import CannotKeep
from tripplan.web.accounts import audit, current_name
from tripplan.web.here import now, shelf

bp = Blueprint("roster", __name__)

FILES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
LARGEST_FORM_BYTES = LARGEST_TABLE_BYTES * 4 // 3 + 64_000  # the table once more in letters, between look and yes
FAULTS_SHOWN = 500
CHANGED = "The list of people was changed meanwhile, so nothing was written. This is what the table would do now."


def allow_tables(app: Flask) -> None:
    """Let the forms of this page hold a table; to be called before anything reads a form."""

    @app.before_request
    def larger() -> None:
        if request.blueprint == bp.name and request.method == "POST":
            request.max_content_length = LARGEST_FORM_BYTES
            request.max_form_memory_size = LARGEST_FORM_BYTES


@bp.get("/people/table")
def table() -> str:
    """Show how the list is taken out and brought in."""
    return _page()


@bp.get("/people/table.<ending>")
def out(ending: str) -> Response:
    """Give everybody as a table, with medical papers and next of kin."""
    if ending not in FILES:
        abort(404)
    name = f"people-{now().date()}.{ending}"
    made = write_table(rows_of(_people().roster), name)
    audit("people taken out", f"{name}, with medical papers and next of kin")
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(made, content_type=FILES[ending], headers=headers)


@bp.post("/people/table")
def look() -> str | tuple[str, int]:
    """Show what a table would change; nothing is written."""
    sent = request.files.get("table")
    if sent is None or not sent.filename:
        return _page(trouble="No file was chosen: choose one that ends with .csv or .xlsx."), 400
    with sent.stream as stream:
        content = stream.read(LARGEST_TABLE_BYTES + 1)
    return _look(content, Path(sent.filename).name)


@bp.post("/people/table/apply")
def apply() -> str | tuple[str, int] | BaseResponse:
    """Write what was looked at, where the list is still the one that it was looked at with."""
    try:
        content = base64.b64decode(request.form.get("content", ""), validate=True)
    except (binascii.Error, ValueError):
        return _page(trouble="The table did not come through whole: choose the file once more."), 400
    name = request.form.get("name", "")
    if current_app.extensions["tripplan_young"]:
        return _page(trouble="The people of the demonstration stay as they are: nothing was written."), 400
    people = _people()
    if request.form.get("list") != people.mark:
        return _look(content, name, CHANGED, 409)
    try:
        preview = _preview(people, content, name)
        if preview.faults and request.form.get("good_rows") != "yes":
            said = "Nothing was written: rows have faults. Mend them, or say that the good rows go in without them."
            return _look(content, name, said, 400)
        if not (preview.new or preview.changed):
            return _look(content, name, "Nothing was written: there is nothing to change.", 400)
        text = people_toml(preview.people)
        kept = save_people(people.path, text, now(), people.cards, request.form.get("list", ""))
    except BadRecord as error:
        return _page(trouble=" ".join(str(fault) for fault in error.faults)), 400
    except ListChanged:
        return _look(content, name, CHANGED, 409)
    except CannotKeep as error:
        return _page(trouble=str(error)), 500
    told = f"{len(preview.new)} new, {len(preview.changed)} changed, {len(preview.left_out)} rows left out"
    audit("people brought in", f"{told}, from {name[:120]}")
    flash(f"Written: {told}.{f' The list before is kept beside it as {kept.name}.' if kept else ''}")
    return redirect(url_for("roster.table"), code=303)


def _people() -> CentrePeople:
    try:
        return centre_people(shelf().path)
    except BadRecord as error:
        abort(400, "The list of people cannot be read: " + " ".join(str(fault) for fault in error.faults))


def _preview(people: CentrePeople, content: bytes, name: str) -> Preview:
    return people_from(read_table(content, name), people.cards, people.roster)


def _look(content: bytes, name: str, said: str = "", status: int = 200) -> tuple[str, int]:
    people = _people()
    try:
        preview = _preview(people, content, name)
    except BadRecord as error:
        return _page(trouble=" ".join(str(fault) for fault in error.faults)), 400
    letters = base64.b64encode(content).decode()
    return _page(preview, said, name=name, letters=letters, stamp=people.mark), status


def _page(preview: Preview | None = None, trouble: str = "", name: str = "", letters: str = "", stamp: str = "") -> str:
    return render_template(
        "people_table.html",
        preview=preview,
        trouble=trouble,
        name=name,
        letters=letters,
        stamp=stamp,
        who=current_name(),
        most=FAULTS_SHOWN,
        young=current_app.extensions["tripplan_young"],
    )
