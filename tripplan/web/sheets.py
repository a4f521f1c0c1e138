"""The emergency sheets of a day: what to confirm in the morning, the sheets themselves, and where to look."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import wraps
from ipaddress import ip_address
from typing import Any, NoReturn
from zoneinfo import ZoneInfo

from flask import Blueprint, Response, abort, current_app, flash, redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as BaseResponse

from tripplan.catalogue.site import Care, Contact, Site
from tripplan.check import Outcome
from tripplan.documents.emergency_sheet import action_sheets_pdf
from tripplan.documents.one_file import policy_in
from tripplan.documents.pocket import pocket_html, pocket_site
from tripplan.documents.search_picture import search_head, search_picture, search_rows, search_words
from tripplan.documents.sheet_words import sheet_text
from tripplan.documents.words import date_words
from tripplan.emergency.confirmed import (
    FOUND,
    FOUND_WORDS,
    LONGEST_WORDS,
    Confirmation,
    confirmed_today,
    digits_of,
    key_of,
    latest_on,
)
from tripplan.emergency.contacts import ROLE_WORDS, freshness
from tripplan.emergency.numbers import EmergencyNumber, PhoneWords, emergency_numbers, phone_words
from tripplan.emergency.search_area import SearchArea, method_words
from tripplan.environment.position import BadPosition, Position, distance_km, read_position
from tripplan.errors import OutOfRange
from tripplan.language import ENGLISH, Language, language, languages
from tripplan.planning.action_sheet import (
    ActionSheet,
    DaySheet,
    SheetCare,
    SheetContact,
    changed_facts,
    facts_of,
    sheets_of_day,
)
from tripplan.planning.drift import search_at
from tripplan.planning.world import CannotPlan, World
from tripplan.store.folder import EMERGENCY_FILE, Folder
from tripplan.store.records import CannotKeep
from tripplan.store.told import told_world
from tripplan.web.choosing import LONGEST_AHEAD_DAYS
from tripplan.web.here import now, shelf, shelf_again, teller
from tripplan.web.made import kept_here
from tripplan.web.plans import PAPERS, seen_by_who_asks

bp = Blueprint("sheets", __name__)

LONGEST_NAME = 60
SENT_TWICE = timedelta(minutes=1)  # the same words within it are one press of the button, sent again
MORNING_CHECKS = ("emergency-roles", "rescue-kit", "drill-held", "crew-drilled")
TOLD_FIRST = ("coastguard", "emergency", "ambulance")  # who searches, in the order in which they are asked
ASKABLE_HOST = re.compile(r"[A-Za-z0-9.:\[\]-]{1,100}")
Key = tuple[str, str]  # of a number: as dialled, and whose it is


class Refused(ValueError):
    """Something in the address or a form cannot be used; the message is a sentence."""


@dataclass(frozen=True)
class Asked:
    """Which sheets the address asks for."""

    day: date
    today: date  # by the clock of the sites
    slugs: tuple[str, ...]
    named: bool  # whether the address names the sites; else those with a request for the day
    moved: str = ""  # why the day is not today

    @property
    def query(self) -> dict[str, Any]:
        """The same sheets as query parameters."""
        return {"date": self.day.isoformat(), "site": list(self.slugs)}

    @property
    def again(self) -> dict[str, Any]:
        """The same question as query parameters."""
        return self.query if self.named else {"date": self.day.isoformat()}


@dataclass(frozen=True)
class Tried:
    """One row of the form, as typed."""

    number: str
    name: str
    found: str = ""
    note: str = ""

    @property
    def key(self) -> Key:
        """What tells two rows apart."""
        return key_of(self.number, self.name)


@dataclass(frozen=True)
class Form:
    """What the morning's form holds, as typed, and a sentence for each part that cannot be used."""

    by: str = ""
    rows: Mapping[Key, Tried] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
    row_errors: Mapping[Key, str] = field(default_factory=dict)

    @property
    def wrong(self) -> bool:
        """Whether something cannot be used."""
        return bool(self.errors or self.row_errors)


@dataclass(frozen=True)
class Row:
    """One number to try, once however many sites name it."""

    phone: PhoneWords
    name: str
    roles: tuple[str, ...]
    sites: tuple[str, ...]
    hours: str
    status: str
    found: str  # today; empty: not tried
    pressing: bool  # found not to be right, or never or too long ago found to be
    tried: Tried  # as it comes back in the form
    trouble: str = ""


# ---- which sheets ----


def _today(folder: Folder) -> date:
    """Return today by the clock of the sites: that of the first with a request, else of the first."""
    first = next(
        (one.site for one in folder.requests.values() if one.site in folder.sites), next(iter(folder.sites), "")
    )
    zone = folder.sites[first].timezone if first else "UTC"
    return now().astimezone(ZoneInfo(zone)).date()


def _day(typed: str, today: date) -> date:
    """Read a date.  Raises Refused."""
    try:
        day = date.fromisoformat(typed)
    except ValueError:
        raise Refused(f'Date "{typed}" is not a date; write it like {today.isoformat()}.') from None
    if abs((day - today).days) > LONGEST_AHEAD_DAYS:
        raise Refused(f"Date {typed} is more than {LONGEST_AHEAD_DAYS} days from today.")
    return day


def _near_day(folder: Folder, today: date, slug: str | None = None) -> tuple[date, str]:
    """Return the day to show when none is asked for, of one site or of all, and why it is not today."""
    days = {one.date for one in folder.requests.values() if slug is None or one.site == slug}
    if today in days:
        return today, ""
    onward = min((day for day in days if day > today), default=None)
    here = "" if slug is None else " at this site"
    if onward is None:
        return today, f"No request{here} is for today, {date_words(today)}, or for a later day."
    return onward, f"No request{here} is for today, {date_words(today)}. This is the next day that has one."


def _asked(folder: Folder, values: MultiDict[str, str]) -> Asked:
    """Return which sheets are asked for.  Raises Refused."""
    today = _today(folder)
    typed = values.get("date", "").strip()
    day, moved = (_day(typed, today), "") if typed else _near_day(folder, today)
    named = tuple(dict.fromkeys(slug for each in values.getlist("site") if (slug := each.strip())))
    if unknown := [slug for slug in named if slug not in folder.sites]:
        raise Refused(f'Site "{unknown[0]}" is not in the catalogue; known: {", ".join(folder.sites) or "none"}.')
    return Asked(day, today, named or _dived(folder, day), bool(named), moved)


def _dived(folder: Folder, day: date) -> tuple[str, ...]:
    """Return the sites with a request for a day."""
    return tuple(dict.fromkeys(one.site for one in folder.requests.values() if one.date == day))


def _asked_for_some(folder: Folder) -> Asked:
    """Return which sheets a file is asked for: at least one.  Raises Refused."""
    asked = _asked(folder, request.args)
    if not asked.slugs:
        known = ", ".join(folder.sites) or "none"
        raise Refused(f"No request is for {date_words(asked.day)}: name the sites with site=...; known: {known}.")
    return asked


def _asked_language() -> Language:
    """Return the language of the address.  Raises Refused."""
    try:
        return language(request.args.get("language", "").strip() or ENGLISH.code)
    except OutOfRange as error:
        raise Refused(_sentence(str(error))) from error


def _made(folder: Folder, day: date, slugs: Sequence[str]) -> tuple[tuple[DaySheet, ...], World]:
    """Return the sheets of some sites on a day, and the world that they were made from.  Raises Refused."""
    world = told_world(folder, slugs, now(), teller())
    try:
        requests = tuple(folder.requests.values())
        made: tuple[DaySheet, ...] = kept_here("sheets").once(
            (day, tuple(slugs), requests, world), lambda: sheets_of_day(day, slugs, requests, world)
        )
        return tuple(replace(each, plans=tuple(map(seen_by_who_asks, each.plans))) for each in made), world
    except CannotPlan as error:
        said = " ".join(_sentence(words) for _, words in error.faults)
        raise Refused(
            f"A request for this day cannot be planned, so that nobody knows who dives when. {said}"
        ) from error


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."


def _refusing(view: Callable[..., Any]) -> Callable[..., Any]:
    """Answer what cannot be used with a plain page."""

    @wraps(view)
    def guarded(*given: Any, **named: Any) -> Any:
        try:
            return view(*given, **named)
        except Refused as error:
            abort(400, str(error))

    return guarded


# ---- the morning: whom to ring, what else to look at ----


@bp.get("/sheets")
def morning() -> tuple[str, int]:
    """Show what is to be confirmed for a day, and the way to its sheets."""
    folder = shelf()
    form = Form(by=request.args.get("by", "")[:LONGEST_NAME])
    try:
        return _morning(folder, _asked(folder, request.args), form)
    except Refused as error:
        return _morning(folder, None, form, str(error), 400)


@bp.post("/sheets/confirm")
@_refusing
def confirm() -> BaseResponse | tuple[str, int]:
    """Write down what was found about numbers, each on a line of its own; a wrong form comes back as it was."""
    folder = shelf()
    asked = _asked(folder, request.form)
    form = _read_form(folder)
    if form.wrong:
        return _morning(
            folder, asked, form, "Nothing was written down yet. Change what is marked; all else is kept.", 400
        )
    kept, again, fault = _write_down(folder, form)
    if fault:
        left = Form(form.by, {key: row for key, row in form.rows.items() if key not in kept})
        before = f"{_kept_words(len(kept), again)} before it failed. " if kept else ""
        words = (
            f"What you sent could not be written down: {fault}. {before}What is not written down still stands in the "
            "form below: nothing of it is lost while this page is open. Note it on paper, tell whoever looks after the "
            "program, and send it again."
        )
        return _morning(shelf_again(), asked, left, words, 500)
    flash(f"{_kept_words(len(kept), again)}.")
    return redirect(url_for("sheets.morning", **asked.again, by=form.by, _anchor="numbers"), code=303)


def _kept_words(kept: int, again: int) -> str:
    """Return how many tries are written down, those counted apart that were sent a second time."""
    if kept == again:
        return "This was sent twice: it was written down the first time"
    new = kept - again
    return f"{new} {'try was' if new == 1 else 'tries were'} written down"


def _read_form(folder: Folder) -> Form:
    """Return what the form holds, judged.  Raises Refused for one that no page of this program sends."""
    columns = [request.form.getlist(name) for name in ("number", "name", "found", "note")]
    if len({len(column) for column in columns}) != 1:
        raise Refused("The form did not arrive whole: go back, load the page again and send it once more.")
    by = " ".join(request.form.get("by", "").split())
    lines = _lines(folder)
    rows: dict[Key, Tried] = {}
    errors: dict[str, str] = {}
    row_errors: dict[Key, str] = {}
    for number, name, found, note in zip(*columns, strict=True):
        row = Tried(number, name, found.strip(), " ".join(note.split()))
        if not (row.found or row.note):
            continue
        rows[row.key] = row
        if row.key not in lines:
            errors["rows"] = (
                f'"{name}" with the number {number} is on no list of a site here; its file may have been changed while '
                "this page was open. Look at the list below, which is new."
            )
        elif trouble := _row_trouble(row):
            row_errors[row.key] = trouble
    if not by:
        errors["by"] = "Who tried the numbers is missing; write a name."
    elif len(by) > LONGEST_NAME or not by.isprintable():
        errors["by"] = f"The name must be 1 to {LONGEST_NAME} letters that can be printed; it has {len(by)}."
    if not rows:
        errors["rows"] = "Nothing is filled in: choose what was found for at least one number."
    return Form(by, rows, errors, row_errors)


def _row_trouble(row: Tried) -> str:
    """Return what is wrong with a row; empty where nothing is."""
    if not row.found:
        return "There is a note, but not what was found: choose it."
    if row.found not in FOUND:
        return f'"{row.found}" is not one of the answers; choose one of the list.'
    if len(row.note) > LONGEST_WORDS or not row.note.isprintable():
        return f"The note must be at most {LONGEST_WORDS} letters that can be printed; it has {len(row.note)}."
    return ""


def _lines(folder: Folder) -> dict[Key, Tried]:
    """Return every number that a site of the folder names, as written in its file."""
    found: dict[Key, Tried] = {}
    for site in folder.sites.values():
        held: tuple[Contact | Care, ...] = (*site.contacts, *site.hospitals, *site.chambers)
        for line in held:
            row = Tried(line.number, line.name)
            found.setdefault(row.key, row)
    return found


def _write_down(folder: Folder, form: Form) -> tuple[set[Key], int, str]:
    """Write down each row that was not sent a moment ago.

    Return which rows stand in the records now, how many of them stood there before, and what failed.
    """
    lines = _lines(folder)
    kept: set[Key] = set()
    again = 0
    try:
        with folder.records.alone():
            last = _last(folder)
            for key, row in form.rows.items():
                found = next(known for known in FOUND if known == row.found)
                one = Confirmation(now(), lines[key].number, lines[key].name, form.by, found, row.note)
                if _same(last.get(key), one):
                    again += 1
                else:
                    folder.records.confirm(one)
                kept.add(key)
    except CannotKeep as error:
        return kept, again, str(error)
    return kept, again, ""


def _last(folder: Folder) -> dict[Key, Confirmation]:
    """Return what was found last about each number, straight from the records."""
    return {one.key: one for one in sorted(folder.records.confirmed()[0])}


def _same(before: Confirmation | None, one: Confirmation) -> bool:
    """Return whether a try is one that was written down a moment ago."""
    return (
        before is not None
        and one.at - before.at <= SENT_TWICE
        and (before.by, before.found, before.note) == (one.by, one.found, one.note)
    )


def _morning(folder: Folder, asked: Asked | None, form: Form, alert: str = "", status: int = 200) -> tuple[str, int]:
    """Return the page of a day; of the day that would be shown anyway where the address cannot be used."""
    if asked is None:
        asked = _asked(folder, MultiDict())
    made, _ = _made(folder, asked.day, asked.slugs) if asked.slugs else ((), None)
    sheets = [each.sheet for each in made]
    rows = list(_rows(folder, sheets, form))
    page = render_template(
        "morning.html",
        asked=asked,
        form=form,
        alert=alert,
        sites=folder.sites,
        left_out=[folder.sites[slug].name for slug in _dived(folder, asked.day) if slug not in asked.slugs],
        sheets=[(sheet, sheet_text(sheet, ENGLISH)) for sheet in sheets],
        stops={each.site: [one.sentence for one in each.checks if one.outcome is Outcome.STOP] for each in sheets},
        rows=rows,
        confirmed=sum(row.found == "right" for row in rows),
        to_do=_to_do(sheets),
        found_words={key: FOUND_WORDS[key] for key in FOUND},
        papers=PAPERS,
        languages=languages().values(),
        longest_name=LONGEST_NAME,
        longest_note=LONGEST_WORDS,
    )
    return page, status


def _rows(folder: Folder, sheets: Sequence[ActionSheet], form: Form) -> Iterator[Row]:
    """Return each number of some sheets once, in calling order, with what was found about it today."""
    gathered: dict[Key, list[tuple[ActionSheet, SheetContact | SheetCare]]] = {}
    lines: list[tuple[int, ActionSheet, SheetContact | SheetCare]] = []
    for sheet in sheets:
        lines.extend((contact.order, sheet, contact) for contact in sheet.contacts)
        lines.extend((0, sheet, care) for care in sheet.care)
    for _, sheet, line in sorted(lines, key=lambda each: (isinstance(each[2], SheetCare), each[0])):
        gathered.setdefault(Tried(line.phone.typed, _name(line)).key, []).append((sheet, line))
    for key, places in gathered.items():
        sheet, line = places[0]
        zone = ZoneInfo(sheet.timezone)
        today = now().astimezone(zone).date()
        tried = latest_on(folder.world.confirmed, today, sheet.timezone).get(key)
        if tried:
            status, pressing = _tried_words(tried, zone), tried.found != "right"
        else:  # of several site files, the one whose check is oldest
            oldest = min((each for _, each in places), key=lambda each: _checked(each)[0] or date.min)
            status, pressing = _untried_words(oldest, folder, today)
        yield Row(
            phone=line.phone,
            name=_name(line),
            roles=tuple(dict.fromkeys(_role(each) for _, each in places)),
            sites=tuple(dict.fromkeys(each.site_name for each, _ in places)),
            hours=line.hours if isinstance(line, SheetContact) else line.care.way.care.hours or "hours not known",
            status=status,
            found=tried.found if tried else "",
            pressing=pressing,
            tried=form.rows.get(key) or Tried(line.phone.typed, _name(line)),
            trouble=form.row_errors.get(key, ""),
        )


def _name(line: SheetContact | SheetCare) -> str:
    return line.name if isinstance(line, SheetContact) else line.care.way.care.name


def _role(line: SheetContact | SheetCare) -> str:
    return ROLE_WORDS[line.role] if isinstance(line, SheetContact) else ROLE_WORDS[line.care.way.kind]


def _tried_words(tried: Confirmation, zone: ZoneInfo) -> str:
    clock = f"today {tried.at.astimezone(zone):%H:%M}"
    if tried.found == "right":
        said = f"Confirmed {clock} by {tried.by}"
    else:
        said = f"{_sentence(FOUND_WORDS[tried.found])} Tried {clock} by {tried.by}"
    return f"{said}. {tried.note}" if tried.note else f"{said}."


def _checked(line: SheetContact | SheetCare) -> tuple[date | None, str | None]:
    """Return when a number was last checked, and by whom."""
    known = line if isinstance(line, SheetContact) else line.care.way.care
    return known.checked, known.checked_by


def _untried_words(line: SheetContact | SheetCare, folder: Folder, today: date) -> tuple[str, bool]:
    """Return how well a number is known that nobody tried today, and whether that is too little."""
    checked, by = _checked(line)
    if checked is None:
        return "Not yet tried today; never checked before.", True
    said = f"Not yet tried today; checked {ENGLISH.short_day(checked)} by {by}"
    if checked > today:
        return f"{said}, which is after today.", True
    if not freshness(checked, by, today, folder.world.rules).fresh:
        return f"{said}, which is too long ago.", True
    return f"{said}.", False


def _to_do(sheets: Sequence[ActionSheet]) -> list[tuple[str, str]]:
    """Return what else is to be looked at before the first dive, each with the sites that it is about."""
    found: dict[str, list[str]] = {}
    for name in dict.fromkeys(name for sheet in sheets for name, _ in sheet.shared_oxygen):
        places = [sheet.site_name for sheet in sheets if name in {shared for shared, _ in sheet.shared_oxygen}]
        where = " and at ".join(places)
        found[f"{name} is counted at {where}: it can be at one of them only. Say where it goes."] = places
    for sheet in sheets:
        sentences = [
            f"Oxygen gauge of {line.name}, {line.kept}: {_read_words(line.read, line.read_by)}. Read it, and write the "
            f"reading, the day and who read it into {EMERGENCY_FILE}."
            for line in sheet.oxygen.lines
            if not line.fresh
        ]
        sentences += [check.sentence for check in sheet.cautions if check.rule in MORNING_CHECKS]
        for sentence in sentences:
            found.setdefault(sentence, []).append(sheet.site_name)
    return [(sentence, ", ".join(names)) for sentence, names in found.items()]


def _read_words(read: date | None, by: str | None) -> str:
    return "never read" if read is None else f"last read {ENGLISH.short_day(read)} by {by or 'nobody named'}"


# ---- paper and pocket ----


@bp.get("/sheets.pdf")
@_refusing
def pdf() -> Response:
    """Give the sheets of a day as one PDF, and write down what they say, so that a later one can be told apart."""
    folder = shelf()
    asked, said = _asked_for_some(folder), _asked_language()
    paper = request.args.get("paper", "a4")
    if paper not in PAPERS:
        raise Refused(f'Paper "{paper}" is not known; accepted: {", ".join(PAPERS)}.')
    made, _ = _made(folder, asked.day, asked.slugs)
    sheets = [each.sheet for each in made]
    content = action_sheets_pdf(sheets, paper, said, _address())
    _keep_printed(folder, sheets)
    return _file(content, "application/pdf", "inline", f"{_file_name('emergency', sheets, said)}.pdf")


@bp.get("/sheets/pocket.html")
@_refusing
def pocket() -> Response:
    """Give the day as one file for a telephone without a network."""
    folder = shelf()
    asked, said = _asked_for_some(folder), _asked_language()
    made, world = _made(folder, asked.day, asked.slugs)
    pages = [pocket_site(each.sheet, each.plans, world.sites[each.sheet.site], world) for each in made]
    try:
        content = pocket_html(asked.day, pages, world.rules, said)
    except OutOfRange as error:
        raise Refused(_sentence(str(error))) from error
    sheets = [each.sheet for each in made]
    _keep_printed(folder, sheets)
    response = _file(content, "text/html", "attachment", f"{_file_name('pocket', sheets, said)}.html")
    response.headers["Content-Security-Policy"] = policy_in(content)  # its own script runs, and nothing is loaded
    return response


def _keep_printed(folder: Folder, sheets: Sequence[ActionSheet]) -> None:
    """Write down what the sheets say; where that fails, the leader still gets the paper."""
    for sheet in sheets:
        try:
            folder.records.keep_printed(sheet)
        except CannotKeep as error:
            current_app.logger.warning("a printed sheet was not written down: %s", error)


def _file(content: bytes | str, kind: str, how: str, name: str) -> Response:
    response = Response(content, mimetype=kind)
    response.headers.set("Content-Disposition", how, filename=name)
    return response


def _file_name(what: str, sheets: Sequence[ActionSheet], said: Language) -> str:
    """Return a name that says site, date, revision and language; for several sites only date and language."""
    first = sheets[0]
    which = f"{first.site}-{first.date}-{first.revision}" if len(sheets) == 1 else f"{first.date}"
    return f"{what}-{which}-{said.code}"


def _address() -> str:
    """Return where other machines find these pages, for the code on the paper; empty where they do not."""
    if not ASKABLE_HOST.fullmatch(request.host):
        return ""
    host = request.host.rsplit(":", 1)[0] if not request.host.endswith("]") else request.host
    host = host.strip("[]").lower()
    try:
        own = ip_address(host).is_loopback
    except ValueError:
        own = host == "localhost" or host.endswith(".localhost")
    return "" if own else request.host_url.rstrip("/")


# ---- is this paper the newest ----


@bp.get("/sheets/check")
def check() -> tuple[str, int]:
    """Tell whether a sheet that somebody holds is the newest, and what changed since it was printed."""
    folder = shelf()
    today = _today(folder)
    typed = {name: request.args.get(name, "").strip() for name in ("site", "date", "revision")}
    if not any(typed.values()):
        return _check_page(folder, today, typed)
    try:
        day = _day(typed["date"], today)
        revision = typed["revision"].lower()
        if not re.fullmatch(r"[0-9a-f]{8}", revision):
            raise Refused(
                f'"{typed["revision"]}" is not a revision: it has eight signs, figures 0 to 9 and letters a to f, and '
                "stands on every page of the sheet."
            )
        if typed["site"] not in folder.sites:
            return _check_page(folder, today, typed, 404, verdict="gone")
        made, _ = _made(folder, day, [typed["site"]])
    except Refused as error:
        return _check_page(folder, today, typed, 400, trouble=str(error))
    sheet = made[0].sheet
    shown: dict[str, Any] = {"sheet": sheet, "verdict": "current"}
    if revision != sheet.revision:
        printed = _printed(folder, sheet.site, day, revision)
        shown["verdict"] = "superseded" if printed else "unknown"
        shown["changes"] = changed_facts(printed, facts_of(sheet)) if printed else ()
    return _check_page(folder, today, typed, **shown)


def _printed(folder: Folder, slug: str, day: date, revision: str) -> Mapping[str, str] | None:
    """Return what a printed sheet said; None where none of that revision was printed here."""
    try:
        kept = folder.records.printed(slug, day, revision)
    except CannotKeep:  # a name that no sheet can be kept under
        return None
    return kept.facts if kept else None


def _check_page(
    folder: Folder, today: date, typed: Mapping[str, str], status: int = 200, **shown: Any
) -> tuple[str, int]:
    page = render_template(
        "sheet_check.html", typed=typed, today=today, sites=folder.sites, **{"verdict": "", "trouble": "", **shown}
    )
    return page, status


# ---- one sheet ----


def _site_or_404(folder: Folder, slug: str) -> Site:
    return folder.sites.get(slug) or _not_here()


def _not_here() -> NoReturn:
    abort(404)


def _sheet_day(folder: Folder, slug: str) -> tuple[date, date, str]:
    """Return the day of one site's sheet, today, and why the two differ.  Raises Refused."""
    today = now().astimezone(ZoneInfo(folder.sites[slug].timezone)).date()
    typed = request.args.get("date", "").strip()
    day, moved = (_day(typed, today), "") if typed else _near_day(folder, today, slug)
    return day, today, moved


@bp.get("/sheets/<slug>")
@_refusing
def sheet(slug: str) -> str:
    """Show the emergency sheet of one site as a page."""
    folder = shelf()
    site = _site_or_404(folder, slug)
    day, today, moved = _sheet_day(folder, slug)
    said = _asked_language()
    made, _ = _made(folder, day, [slug])
    one = made[0].sheet
    text = sheet_text(one, said)
    searches = [
        url_for(
            "sheets.search",
            slug=slug,
            date=day.isoformat(),
            at=ENGLISH.clock(dive.search.last_seen_at, one.timezone),
            position=dive.search.last_seen.degrees_minutes,
        )
        for dive in one.dives
    ]
    return render_template(
        "sheet.html",
        site=site,
        sheet=text,
        labels=text["labels"],
        day=day,
        today=today,
        moved=moved,
        chosen=said,
        languages=languages().values(),
        papers=PAPERS,
        searches=searches,
        country_numbers=_linked(text["country_numbers"], [_short_link(each) for each in one.country_numbers]),
        tell_after=_linked(
            text["tell_after"],
            [phone_words(each.number, site.country).link if each.number else "" for each in one.tell_after],
        ),
    )


def _linked(lines: Sequence[str], links: Sequence[str]) -> list[tuple[str, str]]:
    """Return lines with the tel: address of each; a line that stands for a gap has none."""
    return list(zip(lines, links, strict=True)) if links else [(line, "") for line in lines]


def _short_link(each: EmergencyNumber) -> str:
    """Return the tel: address of a country's own number."""
    return f"tel:{digits_of(each.number)}"


# ---- where to look for somebody who is missing ----


@bp.get("/sheets/<slug>/search")
def search(slug: str) -> tuple[str, int]:
    """Show where to look for somebody last seen at a place and time, or the form again with what is wrong."""
    folder = shelf()
    site = _site_or_404(folder, slug)
    typed = {name: request.args.get(name, "").strip() for name in ("date", "at", "position")}
    errors: dict[str, str] = {}
    today = now().astimezone(ZoneInfo(site.timezone)).date()
    day = today
    try:
        day, today, _ = _sheet_day(folder, slug)
    except Refused as error:
        errors["date"] = str(error)
    place = _last_seen(typed["position"], site, errors)
    moment, twice = _moment(typed["at"], day, site, errors) if "at" in request.args else (None, "")
    world = told_world(folder, [slug], now(), teller())
    shown: dict[str, Any] = {"area": None}
    if place is not None and moment is not None and not errors:
        try:
            shown = _found(search_at(site, place, moment, world), site, twice)
        except OutOfRange as error:
            errors["position"] = _sentence(str(error))
    page = render_template(
        "search.html",
        site=site,
        day=day,
        typed=typed | {"date": typed["date"] or day.isoformat(), "position": typed["position"] or _start_words(site)},
        errors=errors,
        ways=_ways_in(site),
        tell=_whom_to_tell(folder, site, today),
        method=method_words(),
        **shown,
    )
    return page, 400 if errors else 200


def _ways_in(site: Site) -> dict[str, Position]:
    """Return the ways in with their places, in the order of the site file; the site itself where none has one."""
    ways = {
        each.name: each.position for each in site.entries if each.position is not None and each.going_in != "not_used"
    }
    return ways or {site.name: site.position}


def _start_words(site: Site) -> str:
    return next(iter(_ways_in(site).values())).degrees_minutes


def _last_seen(typed: str, site: Site, errors: dict[str, str]) -> Position | None:
    try:
        return read_position(typed or _start_words(site))
    except (BadPosition, OutOfRange) as error:
        errors["position"] = _sentence(str(error))
        return None


def _moment(typed: str, day: date, site: Site, errors: dict[str, str]) -> tuple[datetime | None, str]:
    """Return a time by the clock of the site, and a sentence where the clock shows it twice."""
    zone = ZoneInfo(site.timezone)
    if not re.fullmatch(r"[0-2][0-9]:[0-5][0-9]", typed) or typed >= "24":
        given = f'"{typed}" is not a time' if typed else "The time is missing"
        errors["at"] = f"{given}; say when they were last seen, like 10:40."
        return None, ""
    moment = datetime.combine(day, time.fromisoformat(typed), tzinfo=zone)
    if moment.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != moment.replace(tzinfo=None):
        errors["at"] = f"The clock does not show {typed} on this day: it is put forward past it."
        return None, ""
    twice = moment.utcoffset() != moment.replace(fold=1).utcoffset()
    return moment, f"The clock shows {typed} twice on this day; the first of the two is taken." if twice else ""


def _found(area: SearchArea, site: Site, twice: str) -> dict[str, Any]:
    return {
        "area": area,
        "apart_km": distance_km(site.position, area.last_seen),
        "twice": twice,
        "picture": search_picture(area, site.position, site.timezone),
        "head": search_head(),
        "rows": search_rows(area, site.timezone),
        "words": search_words(area, site.timezone),
    }


@dataclass(frozen=True)
class Told:
    """Who is told first that somebody is missing."""

    role: str
    name: str
    phone: PhoneWords
    hours: str
    tried: str  # in words, what was found today where that was not right
    wrong: bool  # found to be a wrong number, today


def _whom_to_tell(folder: Folder, site: Site, today: date) -> tuple[tuple[Told, ...], tuple[EmergencyNumber, ...]]:
    """Return the rescue services of a site, whoever searches first, and the numbers of its country.

    A number that was found wrong today stands last, never left out.
    """
    tried = latest_on(folder.world.confirmed, today, site.timezone)
    found = []
    for role in TOLD_FIRST:
        for line in site.contacts:
            if line.role != role:
                continue
            last = confirmed_today(line, tried)
            found.append(
                Told(
                    role=ROLE_WORDS[role],
                    name=line.name,
                    phone=phone_words(line.number, site.country),
                    hours=line.hours,
                    tried="" if last is None or last.found == "right" else _tried_words(last, ZoneInfo(site.timezone)),
                    wrong=last is not None and last.found == "wrong",
                )
            )
    return tuple(sorted(found, key=lambda one: one.wrong)), emergency_numbers(site.country) if site.country else ()
