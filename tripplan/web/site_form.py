"""A site written by a form: every field of its file, looked at with a sketch before it is written whole."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Flask, Response, abort, current_app, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from tripplan.documents.sketch import sketch_key, sketch_map
from tripplan.errors import BadRecord
from tripplan.store.database import StoreFault
from tripplan.store.folder import Folder
from tripplan.store.records import CannotKeep
from tripplan.store.site_file import (
    Judged,
    NotByForm,
    OtherFile,
    SiteFile,
    free_slug,
    judged_site,
    read_site_file,
    save_new_site,
    save_site,
)
from tripplan.store.toml_text import alike, is_rows
from tripplan.store.written import shipped
from tripplan.web.accounts import audit
from tripplan.web.forms import Box, Errors, Words, differences, errors_at, in_page_order, too_long
from tripplan.web.here import now, shelf
from tripplan.web.request_form import words_of_form
from tripplan.web.site_words import STEPS, WHOLE, values_of_site, words_of_site

bp = Blueprint("site_form", __name__)

Answer = BaseResponse | str | tuple[str, int]
OWN = ("base",)
OF_ITS_ROAD = ("drive_min", "directions", "highest_road_m", "flight_m")  # of a place of care: from one site only
LARGEST_FORM_BYTES = 400_000  # a site with sixty contacts; the program's other forms are much smaller
DEMONSTRATION = "The demonstration stays as it is: nothing was written. Save the file on your own machine instead."


def allow_long_forms(app: Flask) -> None:
    """Let the form of a site be longer than others; to be called before anything reads a form."""

    @app.before_request
    def longer() -> None:
        if request.blueprint == bp.name and request.method == "POST":
            request.max_content_length = LARGEST_FORM_BYTES
            request.max_form_memory_size = LARGEST_FORM_BYTES


def not_to_be_written() -> bool:
    """Whether the folder is the demonstration, whose files stay as they are."""
    return bool(current_app.extensions["tripplan_young"]) or shipped(shelf().path)


# ---- the form ----


@bp.get("/sites/new")
def new() -> Answer:
    """Show the form for a new site, with what the centre's own file says of its country, clock and numbers."""
    folder = shelf()
    neighbour = folder.sites.get(request.args.get("like", ""))
    if neighbour is not None and (file := _file(neighbour.slug)) is not None:
        return _form(None, words_of_site(_shared(file.values)))
    return _form(None, words_of_site(_known(folder)))


def _shared(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a site has in common with one nearby; the road from it to care is its own."""
    kept = ("country", "timezone", "demonstration", "contacts")
    tide = values.get("tide")
    station = {"station": tide["station"]} if isinstance(tide, Mapping) and tide.get("station") else {}
    care = {
        key: [{name: value for name, value in row.items() if name not in OF_ITS_ROAD} for row in values[key]]
        for key in ("hospitals", "chambers")
        if is_rows(values.get(key))
    }
    return {**{key: values[key] for key in kept if key in values}, **care, "tide": station}


def _known(folder: Folder) -> dict[str, Any]:
    centre = folder.centre
    contacts = []
    if centre.emergency_number:
        contacts.append({"role": "emergency", "name": "Emergency number", "number": centre.emergency_number})
    if centre.phone:
        contacts.append({"role": "centre", "name": centre.name, "number": centre.phone})
    return {"country": centre.country, "timezone": centre.timezone, "contacts": contacts}


@bp.get("/sites/<slug>/edit")
def edit(slug: str) -> Answer:
    """Show the form filled with a site's file."""
    file = _file_or_404(slug)
    words = _carried(file)
    words.said["base"] = (file.stamp,)
    return _form(slug, words)


def _carried(file: SiteFile) -> Words:
    """Return the form filled with a file; where the form would lose something of it, the file is left to the hand."""
    words = words_of_site(file.values)
    values, found = values_of_site(words)
    if found or too_long(words, WHOLE) or not alike(values, _with_tables(file.values, values)):
        said = f"{file.path.name} holds something that this form does not ask for; change it by hand in the file."
        faults = [str(fault) for fault in shelf().faults if fault.file == str(file.path)]
        abort(400, " ".join([said, *faults]))
    return words


def _with_tables(values: Mapping[str, Any], form: Mapping[str, Any]) -> dict[str, Any]:
    """Return values with the tables that the form always has: an empty one is the same as none."""
    return {**{key: {} for key, value in form.items() if value == {}}, **values}


def _file(slug: str) -> SiteFile | None:
    try:
        return read_site_file(shelf().path, slug)
    except NotByForm as error:
        abort(400, f"{error}.")
    except BadRecord as error:
        abort(400, "This file cannot be changed by a form: " + " ".join(str(fault) for fault in error.faults))


def _file_or_404(slug: str) -> SiteFile:
    return _file(slug) or abort(404)


def _form(
    slug: str | None,
    words: Words,
    errors: Errors | None = None,
    *,
    more: str = "",
    alert: str = "",
    theirs: list[tuple[str, str, str]] | None = None,
    status: int = 200,
) -> Answer:
    folder = shelf()
    page = render_template(
        "site_edit.html",
        slug=slug,
        words=words,
        errors=in_page_order(errors or {}, STEPS),
        more=more,
        alert=alert,
        theirs=theirs,
        steps=STEPS,
        nothing=Words(),
        sites=folder.sites,
        stations=folder.stations,
        neighbours={} if slug else folder.sites,
        lists={"station": folder.stations},
        demonstration_folder=not_to_be_written(),
    )
    return (page, status) if status != 200 else page


# ---- what was sent ----


@bp.post("/sites/new")
def make() -> Answer:
    """Look at a new site, write it, or show the form again."""
    return _sent(None)


@bp.post("/sites/<slug>/edit")
def change(slug: str) -> Answer:
    """Look at a changed site, write it, or show the form again."""
    return _sent(slug)


def _sent(slug: str | None) -> Answer:
    words = words_of_form(request.form, WHOLE, OWN)
    what, _, table = request.form.get("do", "look").partition(":")
    if what in ("more", "back"):
        long = errors_at(words, WHOLE, too_long(words, WHOLE))
        return _form(slug, words, long, more=table, status=400 if long else 200)
    old = _file(slug) if slug else None
    if slug and (old is None or old.stamp != words.one("base")):
        return _changed_meanwhile(slug, words, old)
    if old is not None:
        _carried(old)
    values, found = values_of_site(words)
    if old is not None:
        _keep_order(values, old.values)
    try:
        judged = _judged(slug or free_slug(shelf().path, words.one("name")), values, old)
    except CannotKeep as error:
        return _form(slug, words, alert=f"Nothing was written: {error}.", status=500)
    told = [*too_long(words, WHOLE), *found]
    told += [(at, said) for at, said in judged.faults if not any(at[: len(where)] == where for where, _ in told)]
    if told and not slug and (twin := _written_already(values)):
        flash(f"{shelf().sites[twin].name} is there already, just as it stands in your form.")
        return redirect(url_for("sites.show", slug=twin), code=303)
    if told or judged.site is None:
        return _form(slug, words, errors_at(words, WHOLE, told), status=400)
    if what == "file":
        headers = {"Content-Disposition": f'attachment; filename="{judged.slug}.toml"'}
        return Response(judged.text, content_type="application/toml; charset=utf-8", headers=headers)
    if what != "write":
        return _look(slug, words, judged, old)
    if not_to_be_written():
        return _look(slug, words, judged, old, DEMONSTRATION, 400)
    return _write(slug, words, judged, old)


def _judged(slug: str, values: Mapping[str, Any], old: SiteFile | None) -> Judged:
    folder = shelf()
    stations = {path.stem for path in (folder.path / "stations").glob("*.toml")}
    return judged_site(folder.path, slug, values, folder.sites, stations, now().date(), old)


def _keep_order(values: Mapping[str, Any], before: Mapping[str, Any]) -> None:
    """Leave what a place suits in the order of the file: ticks have an order of their own."""
    places = before.get("places")
    known = {each.get("name"): each.get("suits") for each in places} if isinstance(places, tuple) else {}
    for row in values.get("places", ()):
        suits = known.get(row.get("name"))
        if isinstance(suits, tuple) and sorted(map(str, suits)) == sorted(row.get("suits", ())):
            row["suits"] = list(suits)


def _written_already(values: Mapping[str, Any]) -> str:
    """Return the site whose file says just what the form says: the button was pressed twice; empty for none."""
    name = str(values.get("name", "")).casefold()
    for slug, site in shelf().sites.items():
        if site.name.casefold() == name and (file := _file(slug)) and alike(file.values, values):
            return slug
    return ""


def _write(slug: str | None, words: Words, judged: Judged, old: SiteFile | None) -> Answer:
    folder = shelf().path
    try:
        if old is None:
            told = f"{save_new_site(folder, judged).name} is written."
        else:
            kept = save_site(folder, judged, old.stamp, now())
            told = f"{old.path.name} is changed. The file before is kept as {kept.relative_to(folder.resolve())}."
    except OtherFile:
        return _changed_meanwhile(slug, words, _file(judged.slug)) if slug else _look(
            slug, words, judged, old, "Another file of this name was written meanwhile. Press once more.", 409
        )  # fmt: skip
    except CannotKeep as error:
        return _look(slug, words, judged, old, f"Nothing was written: {error}.", 500)
    try:
        audit("site written" if old is None else "site changed", f"{judged.slug}: {judged.site.name}"[:200])  # type: ignore[union-attr]
    except StoreFault as error:  # the file itself is written
        told += f" It is not in the list of what happened: {error}."
    flash(told)
    return redirect(url_for("sites.show", slug=judged.slug), code=303)


def _changed_meanwhile(slug: str, words: Words, there: SiteFile | None) -> Answer:
    """Show what was typed beside the file as it stands now; nothing was written."""
    if there is None:
        words.said.pop("base", None)
        said = f"Nothing was written: {slug}.toml is gone. What you typed stands here and would be a new site."
        return _form(None, words, alert=said, status=409)
    theirs = differences(words_of_site(there.values), words, WHOLE)
    words.said["base"] = (there.stamp,)
    said = (
        f"Nothing was written: {slug}.toml was changed while your form stood open. Take over from the file what is "
        "right there. What you send next stands in its place, and the file as it is now is kept."
    )
    return _form(slug, words, alert=said, theirs=theirs, status=409)


# ---- a look ----


def _look(
    slug: str | None, words: Words, judged: Judged, old: SiteFile | None, alert: str = "", status: int = 200
) -> Answer:
    assert judged.site is not None
    changes = None
    if old is not None:
        lines = difflib.unified_diff(old.text.splitlines(), judged.text.splitlines(), lineterm="", n=1)
        shown = ("…" if line.startswith("@@") else line for line in lines if not line.startswith(("---", "+++")))
        changes = "\n".join(shown).removeprefix("…\n")
    page = render_template(
        "site_look.html",
        slug=slug,
        judged=judged,
        alert=alert,
        sketch=sketch_map(judged.site),
        key=sketch_key(judged.site),
        changes=changes,
        open=_left_open(words),
        carried=list(words.flat()),
        demonstration_folder=not_to_be_written(),
        site=judged.site,
    )
    return (page, status) if status != 200 else page


_TOLD_WHEN_OPEN = {
    "country", "water.salinity", "water.temperature_c", "exposure.open_to_swell", "exposure.fetch",
    "rendezvous.ambulance_min", "alternative_exit.access", "communications.vhf",
    "slope", "swim_min", "drive_min", "open", "checked",
}  # fmt: skip


def _left_open(words: Words) -> list[str]:
    """Return what a plan would like to know of a site and the form leaves open."""
    found = [box.label for box in WHOLE.fields if box.key in _TOLD_WHEN_OPEN and not words.many(box.key)]
    for key, part in WHOLE.tables.items():
        for number, row in enumerate(each for each in words.rows(key) if not each.out):
            for box in part.fields:
                assert isinstance(box, Box)
                if box.key in _TOLD_WHEN_OPEN and not row.many(box.key) and not (key == "contacts" and box.more):
                    if box.key == "slope" and row.one("kind") != "beach":
                        continue
                    found.append(f"{part.words.capitalize()} {number + 1} ({row.one('name')}): {box.label}")
    return found
