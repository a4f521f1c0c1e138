"""One person by a form, written into the list of people as a table would be: judged by the same reader."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from flask import Blueprint, Response, abort, current_app, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from tripplan.errors import BadRecord
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.people.table import COLUMNS, Preview, people_from, rows_of
from tripplan.store.centre_file import people_text
from tripplan.store.database import StoreFault
from tripplan.store.folder import not_named
from tripplan.store.people_file import CentrePeople, centre_people, save_people
from tripplan.store.records import CannotKeep
from tripplan.web.accounts import audit
from tripplan.web.forms import Box, Part, Words, errors_at
from tripplan.web.here import now, shelf, shelf_again
from tripplan.web.request_form import TICKED, words_of_form
from tripplan.web.site_form import not_to_be_written

bp = Blueprint("person_form", __name__)

Answer = BaseResponse | str | tuple[str, int]
AGAIN: Final = "again"  # the button that brings an empty form next
_CM: Final = "empty: not known"
# What nobody needs for a first plan opens on demand; whatever the list of people has and is not named here comes there.
_FIRST: Final = (
    Box("name", "Name", needed=True),
    Box("born", "Born", "day", "like 1990-12-31", needed=True),
    Box("level", "Level", "choice", "this or a card", choices={level.value: level.words for level in Level}),
    Box("card", "Card of the centre's own", "choice", "gives the level by itself"),
    Box("logged_dives", "Dives logged", "whole", "empty: 0"),
    Box("last_dive", "Last dive", "day", _CM),
    Box("language", "Language of the briefing", hint="empty: the centre's"),
    Box("medical", "Medical declaration of", "day", "empty: none, which stops a plan"),
    Box("medical_clear", "It needs no doctor, or one cleared it", "tick"),
    Box("medical_doctor", "A doctor cleared it on", "day"),
    Box("guardian_consent", "A guardian signed, for a minor", "tick"),
    Box("guardian", "Who signed for a minor"),
    Box("next_of_kin", "Whom to tell if something happens"),
    Box("next_of_kin_phone", "Their telephone", hint="as dialled"),
    Box("oxygen_provider_until", "May give oxygen until", "day", "of who leads or stands ashore"),
    Box("first_aid_until", "First aid until", "day", "of who leads or stands ashore"),
    Box("insurance_until", "Liability insurance until", "day", "of staff"),
    Box("nitrox", "Qualified for nitrox", "tick"),
)
_WORDS: Final[Mapping[str, str]] = {
    "identity": "The centre's own number of the person",
    "gas_rate_l_min": "Usual consumption at the surface, litres a minute",
    "endorsements": "Other endorsements, a semicolon between",
    "speaks": "Other languages, a semicolon between",
    "weighting_lead_kg": "Lead that was right, kilograms",
    "weighting_all_on_kg": "Weighed with everything on, kilograms",
    "weighting_density_kg_m3": "Density of that water, kilograms a cubic metre",
    "weighting_suit_mm": "Neoprene then, millimetres",
    "weighting_cylinder_l": "Cylinder then, litres",
    "weighting_fill_bar": "Its fill, bar",
    "weighting_height_m": "Height, metres",
    "weighting_body_kg": "Body, kilograms",
}
_BY_KEY: Final = {box.key: box for box in _FIRST}
_PART: Final = Part(
    "person",
    (
        *_FIRST,
        *(
            Box(
                key,
                _WORDS.get(key, key.replace("_", " ").capitalize()),
                "text" if key == "notes" else "line",
                more=True,
            )
            for key in COLUMNS
            if key not in _BY_KEY
        ),
    ),
)
_TICKS: Final = tuple(box.key for box in _FIRST if box.kind == "tick")


@bp.after_request
def keep_to_yourself(response: Response) -> Response:
    """Let no browser keep medical papers and next of kin."""
    response.headers["Cache-Control"] = "no-store"
    return response


@bp.get("/people/new")
def new() -> Answer:
    """Show the form for one person more."""
    return _form(None, Words())


@bp.get("/people/<name>/edit")
def edit(name: str) -> Answer:
    """Show the form for somebody in the list."""
    people = _people()
    row = next((row for row in rows_of(people.roster) if row["name"] == name), None) or abort(404)
    words = Words()
    for key, text in row.items():
        if text and not (key in _TICKS and text == "no") and not (key == "level" and row["card"]):
            words.said[key] = (TICKED if key in _TICKS else text,)
    words.said["mark"] = (people.mark,)
    return _form(name, words)


@bp.post("/people/new")
def add() -> Answer:
    """Write one person more, or show the form again with what is wrong."""
    return _sent(None)


@bp.post("/people/<name>/edit")
def change(name: str) -> Answer:
    """Write somebody anew, or show the form again with what is wrong."""
    return _sent(name)


def _sent(name: str | None) -> Answer:
    words = words_of_form(request.form, _PART, ("mark",))
    if not_to_be_written():
        said = "The people of the demonstration stay as they are: nothing was written."
        return _form(name, words, alert=said, status=400)
    if shelf().centre is not_named():
        return _form(name, words, alert="Nothing was written: give the centre's own facts first.", status=400)
    people = _people()
    if name is not None and words.one("mark") != people.mark:
        words.said["mark"] = (people.mark,)
        said = (
            "Nothing was written: the list was changed while your form stood open. What you send next stands over it."
        )
        return _form(name, words, alert=said, status=409)
    preview = people_from([_row(words)], people.cards, people.roster)
    told = [((fault.column,), fault.message) for fault in preview.faults]
    if not told:
        told = _not_who_is_meant(name, preview)
    if told:
        return _form(name, words, told=told, status=400)
    who = preview.people[-1] if name is None else _changed(preview)
    if who is None:
        flash(f"{name} stands just as in your form; there was nothing to write.")
        return redirect(url_for("people.people"), code=303)
    try:
        kept = save_people(people.path, people_text(people.path, preview.people), now(), people.cards, people.mark)
    except CannotKeep as error:
        return _form(name, words, alert=f"Nothing was written: {error}.", status=500)
    return _done(who, name, kept.name if kept else "")


def _row(words: Words) -> dict[str, str]:
    """Return what was typed as a row of a table; a tick that is off is a no."""
    row = {key: words.one(key).replace("\r\n", "\n") for key in COLUMNS}
    return {**row, **{key: "yes" if words.one(key) == TICKED else "no" for key in _TICKS}}


def _not_who_is_meant(name: str | None, preview: Preview) -> list[tuple[Any, str]]:
    """Return what to say where the row is somebody else than the form is for."""
    if name is None:
        known = [each.name for each in preview.changed] or list(preview.unchanged)
        return [(("name",), f"{known[0]} is in the list already with this birth date or number")] if known else []
    if preview.new or any(each.name != name for each in preview.changed) or any(n != name for n in preview.unchanged):
        said = f"{name} is known by name and birth date, or by number: change those in the file itself"
        return [(("name",), said)]
    return []


def _changed(preview: Preview) -> Person | None:
    return preview.changed[0].person if preview.changed else None


def _done(who: Person, before: str | None, kept: str) -> Answer:
    said = f"{who.name} is {'in the list' if before is None else 'changed'}."
    if kept:
        said += f" The list before is kept as centre/{kept}."
    try:
        audit("person added" if before is None else "person changed", who.name)
    except StoreFault as error:  # the list itself is written
        said += f" It is not in the list of what happened: {error}."
    shelf_again()
    flash(said)
    onward = "person_form.new" if request.form.get("do") == AGAIN else "people.people"
    return redirect(url_for(onward), code=303)


def _people() -> CentrePeople:
    folder = shelf()
    if folder.centre is not_named():
        return CentrePeople(folder.path / "centre" / "people.toml", {}, folder.centre.roster)
    try:
        return centre_people(folder.path)
    except BadRecord as error:
        abort(400, "The list of people cannot be read: " + " ".join(str(fault) for fault in error.faults))


def _form(
    name: str | None, words: Words, told: list[tuple[Any, str]] | None = None, alert: str = "", status: int = 200
) -> Answer:
    people = shelf().world.people
    cards = {card: f"{card}: {level.words}" for card, level in shelf().centre.cards.items()}
    fields = tuple(Box(**{**vars(box), "choices": cards}) if box.key == "card" else box for box in _PART.fields)
    fields = tuple(box for box in fields if isinstance(box, Box) and (box.key != "card" or cards))
    page = render_template(
        "person_edit.html",
        slug=name,
        part=Part("person", fields),
        words=words,
        errors=errors_at(words, _PART, told or ()),
        alert=alert,
        count=len(people),
        lists={},
        nothing=Words(),
        demonstration_folder=bool(current_app.extensions["tripplan_young"]) or not_to_be_written(),
    )
    return (page, status) if status != 200 else page
