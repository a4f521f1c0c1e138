"""Ready requests: listed, made and edited in the browser by several people, with every version kept."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from flask import Blueprint, abort, current_app, flash, g, redirect, render_template, request, session, url_for
from werkzeug.wrappers import Response as BaseResponse

from tripplan.errors import TripplanError
from tripplan.people.group import KINDS
from tripplan.planning.pairing import propose_pairs
from tripplan.planning.request import Request
from tripplan.planning.world import request_faults
from tripplan.store.database import ChangedMeanwhile, KeptRequest, StoreFault
from tripplan.store.folder import Folder
from tripplan.store.requests import (
    FromFile,
    Known,
    Laid,
    base_of,
    judged,
    keep_theirs,
    lay,
    unseen,
    values_of,
)
from tripplan.store.requests import save as save_over
from tripplan.web.accounts import audit, current_name, current_role
from tripplan.web.here import now, shelf
from tripplan.web.kept import kept, store_if_there
from tripplan.web.request_form import (
    CLIMBS,
    WHOLE,
    Words,
    asked_in,
    differences,
    groups_in,
    too_many,
    words_of_form,
    words_of_values,
)
from tripplan.web.roles import may

bp = Blueprint("requests", __name__)

Answer = BaseResponse | str | tuple[str, int]
LONGEST_NAME = 60  # of who edits, letters
LONGEST_SLUG = 60  # of the name of a new request, letters
NOT_NAMES = ("new",)  # it is the address of the form for a new one
TOOK_FILE, KEPT_EDITED = "take", "keep"


# ---- what the shelf shows ----


def with_edited(folder: Folder, read: Folder) -> Folder:
    """Return a folder with the requests of the store laid over those of its files; noted for the pages here.

    read -- the folder as it was read, whose people and sites a request was judged by
    """
    try:
        store = store_if_there()
        rows = store.requests() if store else ()
        laid = lay(folder, rows, _known(read))
    except StoreFault as error:
        laid = unseen(folder, str(error))
    g.laid = laid
    return laid.folder


def _laid() -> Laid:
    shelf()
    found: Laid = g.laid
    return found


def _known(read: Folder) -> Known:
    """Return what was read before for the folder as it stands; a changed folder is judged anew."""
    held: tuple[Folder, Known] | None = current_app.extensions.get("tripplan_requests_read")
    if held is None or held[0] is not read:
        held = current_app.extensions["tripplan_requests_read"] = (read, {})
    return held[1]


# ---- one request ----


@dataclass(frozen=True)
class Standing:
    """A request as it stands: the edited one of the store, else that of the file."""

    name: str
    kept: KeptRequest | None
    file: FromFile | None

    @property
    def values(self) -> Mapping[str, Any]:
        """Its values; those of the store may be such that no request can be read from them."""
        if self.kept is not None:
            return self.kept.request if isinstance(self.kept.request, Mapping) else {}
        return self.file.values if self.file else {}

    @property
    def version(self) -> int | None:
        """Its version in the store; None: it is not there yet."""
        return self.kept.version if self.kept else None

    @property
    def base(self) -> str:
        """The mark of the file that it stands on."""
        return self.kept.base if self.kept else self.file.base if self.file else ""

    @property
    def file_state(self) -> str:
        """What became of the file since: "same", "changed", "gone", or empty where there is none and never was."""
        now_there = base_of(current_app.extensions["tripplan_shelf"].path, self.name)
        if self.kept is None or now_there == self.kept.base:
            return "same" if now_there else ""
        return "changed" if now_there else "gone"


def _standing(name: str) -> Standing | None:
    laid = _laid()
    asked = laid.files.requests.get(name)
    base = base_of(current_app.extensions["tripplan_shelf"].path, name)
    file = FromFile(values_of(asked), base, f"the file {name}.toml"[:120]) if asked else None
    found = Standing(name, laid.kept.get(name), file)
    return found if found.kept or found.file else None


def _standing_or_404(name: str) -> Standing:
    return _standing(name) or abort(404)


def _lost(name: str, words: Words) -> Answer:
    """Show what was typed again where its request broke or went meanwhile; without a request there never was one."""
    if not (words.one("version") or words.one("base")):
        abort(404)
    laid, said = _laid(), "Nothing was saved, and what you typed stands here as it was: "
    if laid.trouble:
        return _form(name, words, alert=f"{said}{laid.trouble}. Save it once more in a moment.", status=503)
    if _is_file(name):
        why = f"the file {name}.toml was changed meanwhile and cannot be read. Have it mended, then save once more."
        return _form(name, words, alert=said + why, status=409)
    why = f"the file {name}.toml is gone. If the day is still to be made, save it here: it becomes a new request."
    return _form(None, words, alert=said + why, status=409)


def _writer() -> str:
    """Return who edits: who is signed in, and where nobody signs in, the name that was typed."""
    return current_name() or " ".join(request.form.get("by", "").split())[:LONGEST_NAME]


def _remember(by: str) -> None:
    """Remember the name that was typed, so that it stands in the next form."""
    if not current_name():
        session["writer"] = by


def _may_edit() -> bool:
    return may(current_role(), "requests.edit")


# ---- the list ----


@bp.get("/requests")
def listing() -> Answer:
    """List the ready requests."""
    return _listing()


def _listing(alert: str = "", status: int = 200) -> Answer:
    laid, today = _laid(), now().date()
    names = sorted({*laid.folder.requests, *laid.kept})
    standing = [found for name in names if (found := _standing(name))]
    shown = [(each, laid.folder.requests.get(each.name)) for each in standing]
    page = render_template(
        "requests.html",
        folder=laid.folder,
        today=today,
        alert=alert,
        trouble=laid.trouble,
        base_of=lambda name: base_of(current_app.extensions["tripplan_shelf"].path, name),
        broken=[each for each, asked in shown if asked is None],
        groups=[
            ("", [(each, asked) for each, asked in shown if asked and asked.date >= today]),
            ("Past days", [(each, asked) for each, asked in shown if asked and asked.date < today]),
        ],
        **_hands(),
    )
    return (page, status) if status != 200 else page


def _hands() -> dict[str, Any]:
    """Return what every page here needs to know of who asks."""
    return {
        "may_edit": _may_edit(),
        "name": current_name(),
        "by": session.get("writer", ""),
        "longest_name": LONGEST_NAME,
    }


# ---- the form ----


@bp.get("/requests/new")
def new() -> Answer:
    """Show an empty form; the address may say for which site and day."""
    words = Words()
    for key in ("site", "date"):
        if text := request.args.get(key, "").strip()[:LONGEST_NAME]:
            words.said[key] = (text,)
    return _form(None, words, more="groups")


@bp.get("/requests/<name>/edit")
def edit(name: str) -> Answer:
    """Show the form for a request, or for one of its earlier versions."""
    standing = _standing_or_404(name)
    words = words_of_values(standing.values)
    if number := request.args.get("from", ""):
        words = words_of_values(_version(name, number).request)
    if told := too_many(words):  # the form would come back without the last of them
        said = " ".join(each for sentences in told.values() for each in sentences)
        return _listing(f"{name} is too long for the form, so it is changed in its file. {said}", 400)
    words.said["version"] = (str(standing.version or ""),)
    words.said["base"] = (standing.base,)
    return _form(name, words)


@bp.post("/requests/new/form")
def fill_new() -> Answer:
    """Show the form of a new request again with more rows; nothing is kept."""
    return _filled(None, words_of_form(request.form))


@bp.post("/requests/<name>/form")
def fill(name: str) -> Answer:
    """Show the form again with more rows; nothing is kept."""
    words = words_of_form(request.form)
    return _filled(name, words) if _standing(name) else _lost(name, words)


def _filled(name: str | None, words: Words) -> Answer:
    errors = too_many(words)
    return _form(name, words, errors, more=request.form.get("more", ""), status=400 if errors else 200)


def _form(
    name: str | None,
    words: Words,
    errors: Mapping[str, tuple[str, ...]] | None = None,
    *,
    more: str = "",
    alert: str = "",
    status: int = 200,
) -> Answer:
    folder = shelf()
    page = render_template(
        "request_edit.html",
        slug=name,
        words=words,
        errors=errors or {},
        more=more,
        alert=alert or _laid().trouble,
        whole=WHOLE,
        nothing=Words(),
        folder=folder,
        people=list(folder.world.people),
        site=folder.sites.get(words.one("site")),
        kinds={key: kind.words for key, kind in KINDS.items()},
        climbs=CLIMBS,
        proposed=_proposed(words, folder),
        **{**_hands(), "by": words.one("by") or session.get("writer", "")},
    )
    return (page, status) if status != 200 else page


def _proposed(words: Words, folder: Folder) -> list[str]:
    """Return the pairs that the program proposes for each group; empty where the group is not whole yet."""
    try:
        day = datetime.fromisoformat(words.one("date")).date()
    except ValueError:
        day = now().date()
    world = folder.world
    return [
        "; ".join(", ".join(pair) for pair in propose_pairs(group, world.people, day, world.rules)) if group else ""
        for group in groups_in(words, world)
    ]


# ---- saving ----


@bp.post("/requests/new")
def create() -> Answer:
    """Keep a new request, or show the form again with what is wrong."""
    words, by = words_of_form(request.form), _writer()
    asked, errors = _asked(words, by)
    if asked is None:
        return _form(None, words, errors, status=400)
    try:
        return keep_new(asked, by)
    except StoreFault as error:
        return _form(None, words, alert=f"Nothing was saved: {error}", status=503)
    except TooManyNames:
        return _form(None, words, {"title": ("Give the day another title: too many have this one.",)}, status=400)


class TooManyNames(TripplanError):
    """Every name that a new request could go by is taken."""


def keep_new(asked: Request, by: str) -> BaseResponse:
    """Keep a request that has no name yet, and show it in the list; one that is there already is not kept twice.

    Raises StoreFault where the store cannot be written, TooManyNames where a hundred days have its title.
    """
    values, laid = values_of(asked), _laid()
    for name, other in laid.folder.requests.items():
        if other == asked:  # the button was pressed twice
            return _done(name, f"{_called(asked, name)} is there already, just as it stands in your form.")
    slug = _slug(asked)
    for number in range(1, 100):
        name = slug if number == 1 else f"{slug}-{number}"
        if name in laid.kept or name in NOT_NAMES or _is_file(name):
            continue
        try:
            save_over(kept(), name, values, version=None, by=by, changed=now())
        except ChangedMeanwhile as error:
            if error.now and error.now.request == values:
                return _done(name, f"{_called(asked, name)} is there already, just as it stands in your form.")
            continue
        return _saved(asked, name, 1, by)
    raise TooManyNames("too many requests have this title")


@bp.post("/requests/<name>/edit")
def save(name: str) -> Answer:
    """Keep an edited request over the version that was read; show the choice where somebody else was quicker."""
    standing = _standing(name)
    words, by = words_of_form(request.form), _writer()
    if standing is None:
        return _lost(name, words)
    asked, errors = _asked(words, by)
    if asked is None:
        return _form(name, words, errors, status=400)
    values = values_of(asked)
    if standing.values == values:
        return _done(name, f"{_called(asked, name)} stands just as in your form; there was nothing to save.")
    try:
        file = standing.file if standing.kept is None else None
        if file is not None and words.one("base") != file.base:  # the file was changed while the form stood open
            return _conflict(name, words, standing)
        number = save_over(
            kept(),
            name,
            values,
            version=_number(words.one("version")),
            by=by,
            changed=now(),
            base=file.base if file else standing.base,
            file=file,
        )
    except ChangedMeanwhile as error:
        if error.now is not None and error.now.request == values:  # the button was pressed twice
            return _done(name, f"{_called(asked, name)} stands just as in your form; there was nothing to save.")
        return _conflict(name, words, Standing(name, error.now, standing.file))
    except StoreFault as error:
        return _form(name, words, alert=f"Nothing was saved: {error}", status=503)
    return _saved(asked, name, number, by)


def _asked(words: Words, by: str) -> tuple[Request | None, Mapping[str, tuple[str, ...]]]:
    """Return the request that a form asks for; None with the sentences."""
    asked = asked_in(words, shelf().world)
    if not by:
        said = "Your name: is missing; say who changes the request."
        return None, {**asked.errors, "by": (said,)}
    _remember(by)
    return asked.request, asked.errors


def _saved(asked: Request, name: str, number: int, by: str) -> BaseResponse:
    told = _told("request saved", f"{name}, version {number}: {asked.title or asked.site}, {asked.date}", by)
    return _done(name, f"{_called(asked, name)} is saved as version {number}.{told}")


def _told(what: str, about: str, by: str) -> str:
    """Add a line to the audit trail; returns what to say where that failed: the request itself is kept."""
    try:
        audit(what, about, who=by)
    except StoreFault as error:
        return f" It is not in the list of what happened: {error}."
    return ""


def _done(name: str, words: str) -> BaseResponse:
    flash(words)
    return redirect(url_for("requests.listing", _anchor=f"r-{name}"), code=303)


def _called(asked: Request, name: str) -> str:
    return asked.title or name


def _number(text: str) -> int | None:
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text) else None


def _is_file(name: str) -> bool:
    folder: Path = current_app.extensions["tripplan_shelf"].path
    return (folder / "requests" / f"{name}.toml").exists()


def _slug(asked: Request) -> str:
    """Return the name that a new request goes by in addresses."""
    plain = unicodedata.normalize("NFKD", asked.title).encode("ascii", "ignore").decode().casefold()
    made = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:LONGEST_SLUG].strip("-")
    return made or f"{asked.site}-{asked.date}"[:LONGEST_SLUG]


# ---- two who edit the same ----


def _conflict(name: str, words: Words, standing: Standing) -> Answer:
    """Show theirs and mine side by side, with the choice; nothing was written."""
    world = shelf().world
    theirs = words_of_values(standing.values) if standing.kept or standing.file else None
    began = _as_read(name, words)
    carried = Words({**words.said, "version": (str(standing.version or ""),), "base": (standing.base,)}, words.tables)
    page = render_template(
        "request_conflict.html",
        slug=name,
        standing=standing,
        theirs=theirs,
        rows=differences([began, theirs, words] if began else [theirs, words], world),
        began=began is not None,
        carried=list(carried.flat()),
        **_hands(),
    )
    return page, 409


def _as_read(name: str, words: Words) -> Words | None:
    """Return the request as it stood when the form was opened; None where that is not known."""
    number = _number(words.one("version")) or 1
    try:
        found = [each for each in kept().request_versions(name) if each.version == number]
    except StoreFault:
        return None
    return words_of_values(found[0].request) if found else None


@bp.post("/requests/<name>/theirs")
def theirs(name: str) -> Answer:
    """Let theirs stand; mine is kept as a version that is not in force."""
    standing = _standing(name)
    words, by = words_of_form(request.form), _writer()
    if standing is None:
        return _lost(name, words)
    asked, errors = _asked(words, by)
    if asked is None:
        return _form(name, words, errors, status=400)
    version = _number(words.one("version"))
    if version is None:  # theirs is a file that was changed: it stands untouched, and there is no version yet
        return _done(name, "The file stands as it is. Nothing of yours was saved.")
    try:
        number = keep_theirs(kept(), name, values_of(asked), version=version, by=by, changed=now())
    except ChangedMeanwhile as error:
        return _conflict(name, words, Standing(name, error.now, standing.file))
    except StoreFault as error:
        return _form(name, words, alert=f"Nothing was saved: {error}", status=503)
    return _done(
        name, f"Theirs stands. Yours is kept among the versions, as version {number - 1}, and is not in force."
    )


# ---- versions ----


@bp.get("/requests/<name>/versions")
def versions(name: str) -> Answer:
    """List every version of a request: who, when, and what changed."""
    return _versions(name)


def _versions(name: str, alert: str = "", status: int = 200) -> Answer:
    standing = _standing_or_404(name)
    world = shelf().world
    found = _all_versions(name) if standing.kept else ()
    rows: list[tuple[KeptRequest, list[tuple[str, list[str]]], int | None]] = []
    seen: list[tuple[int, Mapping[str, Any]]] = []
    before: Words | None = None
    for each in found:
        words = words_of_values(each.request if isinstance(each.request, Mapping) else {})
        same = next((number for number, values in seen if values == each.request), None)
        rows.append((each, differences([before, words], world) if before else [], same))
        seen.append((each.version, each.request))
        before = words
    page = render_template(
        "request_versions.html",
        slug=name,
        standing=standing,
        rows=list(reversed(rows)),
        title=shelf().requests[name].title if name in shelf().requests else "",
        alert=alert,
        **_hands(),
    )
    return (page, status) if status != 200 else page


def _all_versions(name: str) -> tuple[KeptRequest, ...]:
    return kept().request_versions(name)


def _version(name: str, number: str) -> KeptRequest:
    found = [each for each in _all_versions(name) if str(each.version) == number]
    return found[0] if found and isinstance(found[0].request, Mapping) else abort(404)


@bp.post("/requests/<name>/versions")
def restore(name: str) -> Answer:
    """Make an earlier version the newest again."""
    standing, by = _standing_or_404(name), _writer()
    if not by:
        return _versions(name, "Nothing was changed: say who you are.", 400)
    _remember(by)
    old = _version(name, request.form.get("version", ""))
    asked, faults = judged(old.request)
    faults = request_faults(asked, shelf().world) if asked else faults
    if asked is None or faults:
        said = " ".join(f"{sentence.rstrip('.')}." for _, sentence in faults)
        return _versions(
            name, f"Version {old.version} can no longer stand: {said} Open it in the form to mend it.", 400
        )
    try:
        number = save_over(
            kept(),
            name,
            old.request,
            version=_number(request.form.get("newest", "")),
            by=by,
            changed=now(),
            base=standing.base,
        )
    except ChangedMeanwhile as error:
        return _versions(name, str(error), 409)
    except StoreFault as error:
        return _versions(name, f"Nothing was changed: {error}", 503)
    return _saved(asked, name, number, by)


# ---- a file that was changed after it was edited here ----


@bp.post("/requests/<name>/file")
def choose_file(name: str) -> Answer:
    """Keep the edited request, or take the file's in its place as a new version."""
    standing, by = _standing_or_404(name), _writer()
    choice, shown = request.form.get("choice", ""), request.form.get("base", "")
    if not by:
        return _listing("Nothing was changed: say who you are.", 400)
    _remember(by)
    if standing.kept is None or choice not in (TOOK_FILE, KEPT_EDITED):
        abort(400, "There is nothing to choose for this request.")
    there = base_of(current_app.extensions["tripplan_shelf"].path, name)
    if shown != there:
        return _listing("Nothing was changed: the file has changed once more. Look again, then choose.", 409)
    if choice == TOOK_FILE and standing.file is None:
        return _listing(f"Nothing was changed: the file {name}.toml cannot be read, or it is gone.", 400)
    values = standing.file.values if choice == TOOK_FILE and standing.file else standing.values
    try:
        number = save_over(
            kept(),
            name,
            values,
            version=_number(request.form.get("version", "")),
            by=by,
            changed=now(),
            base=there,
        )
    except ChangedMeanwhile as error:
        return _listing(str(error), 409)
    except StoreFault as error:
        return _listing(f"Nothing was changed: {error}", 503)
    said = "What the file says now stands" if choice == TOOK_FILE else "The edited request stands"
    what = "file taken in place of edited request" if choice == TOOK_FILE else "edited request kept"
    return _done(name, f"{said}, as version {number}.{_told(what, f'{name}, version {number}', by)}")
