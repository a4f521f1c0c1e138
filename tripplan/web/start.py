"""The first steps to a plan of one's own: what is there, what is missing and why it counts, and where to give it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final, Literal

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from tripplan.check import Outcome
from tripplan.documents.words import date_words
from tripplan.emergency.contacts import freshness
from tripplan.errors import BadRecord
from tripplan.record import Location
from tripplan.store.accounts import CENTRE
from tripplan.store.centre_file import CENTRE_FILE, Changed, centre_values, changed_centre, save, with_oxygen
from tripplan.store.database import StoreFault
from tripplan.store.folder import EMERGENCY_FILE, Folder, not_named
from tripplan.store.new_folder import NotEmpty, complete_folder, faults_of_facts
from tripplan.store.records import CannotKeep
from tripplan.store.written import OtherFile
from tripplan.web.accounts import audit, current_role, held
from tripplan.web.choosing import BadChoice, choice_of, near_date
from tripplan.web.forms import Box, Part, Words, errors_at, values_of, words_of
from tripplan.web.here import now, shelf, shelf_again
from tripplan.web.plans import _planned, for_who_asks
from tripplan.web.request_form import words_of_form
from tripplan.web.roles import may
from tripplan.web.site_form import not_to_be_written
from tripplan.web.site_words import POSITION_HINT

bp = Blueprint("start", __name__)

Answer = BaseResponse | str | tuple[str, int]
State = Literal["done", "part", "open"]
STATE_WORDS: Final[Mapping[State, str]] = {"done": "there", "part": "not whole yet", "open": "missing"}


@dataclass(frozen=True)
class FirstStep:
    """One step to a first plan, as the folder stands."""

    key: str
    title: str
    state: State
    found: tuple[str, ...]  # what there is and what is missing, sentences
    why: str
    links: tuple[tuple[str, str], ...] = ()  # words and address
    file: str = ""  # where to write it by hand, with the line


@bp.get("/start")
def show() -> str:
    """Show every step with its state."""
    folder = shelf()
    steps = _steps(folder)
    return render_template(
        "start.html",
        steps=steps,
        left=[step for step in steps if step.state != "done"],
        state_words=STATE_WORDS,
        demonstration_folder=not_to_be_written(),
        folder_path=folder.path,
        role=current_role(),
        centre_role=CENTRE,
    )


# ---- what is there ----


def _steps(folder: Folder) -> list[FirstStep]:
    return [
        _facts(folder),
        _rules(folder),
        _people(folder),
        _first_site(folder),
        _tide(folder),
        _contacts(folder),
        _care(folder),
        _oxygen(folder),
        _request(folder),
        _plan(folder),
        _accounts(folder),
    ]


def _links(*links: tuple[str, str, Mapping[str, Any]]) -> tuple[tuple[str, str], ...]:
    """Return words and addresses of the pages that whoever asks may use."""
    role = current_role()
    return tuple((words, url_for(page, **values)) for words, page, values in links if may(role, page))


def _line(folder: Folder, name: str, key: str = "") -> str:
    """Return a file of the folder with the line on which a key stands, or its comment; line 1 where there is none."""
    number = 1
    try:
        lines = (folder.path / name).read_text(encoding="utf-8-sig", errors="replace").splitlines()
    except OSError:
        return f"{name} (not there yet)"
    for at, line in enumerate(lines, start=1):
        if key and line.removeprefix("# ").startswith((f"{key} =", f"[[{key}]]", f"[{key}]")):
            number = at
            break
    return f"{name}:{number}"


_WANTED: Final = (
    ("country", "country"),
    ("timezone", "time zone"),
    ("emergency_number", "emergency number"),
    ("phone", "telephone of the centre"),
    ("address", "address"),
)


def _facts(folder: Folder) -> FirstStep:
    centre = folder.centre
    named = centre is not not_named()
    missing = [(key, words) for key, words in _WANTED if not getattr(centre, key)]
    found = [f"{centre.name}." if named else "The centre has no name yet."]
    if missing:
        found.append(f"Not known: {', '.join(words for _, words in missing)}.")
    return FirstStep(
        "centre",
        "The centre's own facts",
        "open" if not named else "part" if missing else "done",
        tuple(found),
        "They stand on every sheet, and the form for a site begins with them.",
        _links(("Give them" if missing else "Change them", "start.centre", {})),
        _line(folder, CENTRE_FILE, missing[0][0] if named and missing else "name"),
    )


def _rules(folder: Folder) -> FirstStep:
    centre = folder.centre
    own = sum(rule.overridden for rule in centre.rules.rules.values())
    counted = f"{own} of its numbers are the centre's own." if own else "The centre uses every number as it stands."
    if centre.rules_reviewed:
        found = f"Gone through on {date_words(centre.rules_reviewed)} by {centre.rules_reviewed_by}. {counted}"
    else:
        found = f"Nobody has written down that the rule book was gone through. {counted}"
    return FirstStep(
        "rules",
        "The rule book gone through",
        "done" if centre.rules_reviewed else "open",
        (found,),
        "Depths, ratios, margins and waits of every plan come from it. Where your code or law is stricter, the centre "
        "gives its own number, with a reason.",
        _links(
            ("Read the rules", "books.rules", {}),
            ("Write down that it was gone through", "start.centre", {"_anchor": "rules_reviewed"}),
        ),
        f"{_line(folder, 'centre/rules.toml')} for own numbers, {_line(folder, CENTRE_FILE, 'rules_reviewed')}",
    )


def _people(folder: Folder) -> FirstStep:
    people = folder.world.people.values()
    today = now().date()
    leaders = sum(person.level.may_lead for person in people)
    oxygen = sum(
        person.oxygen_provider_until is not None and person.oxygen_provider_until >= today for person in people
    )
    found = [f"{len(people)} in the list, {leaders} of whom may lead, {oxygen} may give oxygen today."]
    if people and not leaders:
        found.append("Nobody may lead: level 3 or an instructor is needed.")
    if people and not oxygen:
        found.append("Nobody has a date until which they may give oxygen.")
    return FirstStep(
        "people",
        "People and leaders",
        "open" if not people else "part" if not leaders or not oxygen else "done",
        tuple(found) if people else ("There is nobody in the list.",),
        "A plan judges everybody by level, age and papers: without them it stops.",
        _links(
            ("Add a person", "person_form.new", {}),
            ("Bring in a whole list as a table", "roster.table", {}),
            ("See the people", "people.people", {}),
        ),
        _line(folder, "centre/people.toml", "people"),
    )


def _first_site(folder: Folder) -> FirstStep:
    sites = folder.sites
    faulty = {fault.file for fault in folder.faults if fault.file.startswith(str(folder.path))}
    broken = sorted(
        path.name for path in folder.path.glob("*.toml") if str(path) in faulty and path.stem not in sites
    )  # fmt: skip
    found = [f"{len(sites)} can be used: {', '.join(site.name for site in sites.values())}."] if sites else []
    if broken:
        found.append(f"Left out for their faults: {', '.join(broken)}. The list of faults on top says what and where.")
    return FirstStep(
        "site",
        "A first site",
        "done" if sites else "part" if broken else "open",
        tuple(found) or ("There is none.",),
        "Where one goes in and out, how deep it is, what hurts people there, how help comes: a plan hangs on it.",
        _links(("Write a site by a form", "site_form.new", {}), ("See the sites", "sites.listing", {})),
        "NAME.toml in the folder itself",
    )


def _tide(folder: Folder) -> FirstStep:
    found, missing = [], []
    for site in folder.sites.values():
        station = site.tide.station
        if station is None:
            found.append(f"{site.name}: no tide, {site.tide.none_because}.")
        elif station in folder.stations and folder.stations[station].tide is not None:
            found.append(f"{site.name}: {folder.stations[station].name}.")
        else:
            missing.append(station)
            found.append(f"{site.name}: the file stations/{station}.toml is missing or has faults.")
    return FirstStep(
        "tide",
        "The tide of each site",
        "open"
        if not folder.sites or (missing and len(missing) == len(folder.sites))
        else "part"
        if missing
        else "done",
        tuple(found) or ("It comes with the first site.",),
        "Without it nobody knows when the ways in and out can be used, or when it is slack: every plan is a stop.",
        _links(("See the stations", "tides.listing", {})),
        f"stations/{missing[0] if missing else 'NAME'}.toml; stations/READ-ME.txt says what it holds",
    )


def _contacts(folder: Folder) -> FirstStep:
    today, rules = now().date(), folder.world.rules
    found, stale = [], 0
    for site in folder.sites.values():
        old = [each for each in site.contacts if not freshness(each.checked, each.checked_by, today, rules).fresh]
        stale += len(old)
        names = ", ".join(each.name for each in old)
        found.append(f"{site.name}: {len(site.contacts)}{f', not tried lately: {names}' if old else ', all tried'}.")
    return FirstStep(
        "contacts",
        "Emergency contacts",
        "open" if not folder.sites else "part" if stale else "done",
        tuple(found) or ("They stand with each site: there is no site yet.",),
        "A number counts once somebody dialled it. Until then each one is a caution.",
        (*_links(("Ring the numbers", "sheets.morning", {})), *_edits(folder)),
    )


def _care(folder: Folder) -> FirstStep:
    found, gaps = [], 0
    for site in folder.sites.values():
        open_ = [
            f"{care.name}: {what}"
            for care in (*site.hospitals, *site.chambers)
            for what, known in (
                ("drive time", care.drive_min),
                ("hours", care.open),
                ("number never tried", care.checked),
            )
            if not known
        ]
        if site.rendezvous.ambulance_min is None:
            open_.append("how long an ambulance takes")
        gaps += len(open_)
        named = ", ".join(care.name for care in (*site.hospitals, *site.chambers))
        found.append(f"{site.name}: {named}. " + (f"Not known: {'; '.join(open_)}." if open_ else "All is known."))
    return FirstStep(
        "care",
        "Hospital and chamber",
        "open" if not folder.sites else "part" if gaps else "done",
        tuple(found) or ("They stand with each site: there is no site yet.",),
        "The oxygen must last until a casualty is there: without the times of ambulance and drive nobody knows.",
        _edits(folder),
    )


def _edits(folder: Folder) -> tuple[tuple[str, str], ...]:
    links = ((f"Change {site.name}", "site_form.edit", {"slug": slug}) for slug, site in folder.sites.items())
    return _links(*list(links)[:5]) if not not_to_be_written() else ()


def _oxygen(folder: Folder) -> FirstStep:
    ready = folder.world.readiness
    units, kits = ready.oxygen_units, ready.rescue_kits
    unread = [unit.name for unit in units if unit.read is None]
    found = [f"On record: {', '.join(unit.name for unit in units)}."] if units else ["No oxygen is on record."]
    if unread:
        found.append(f"Nobody has written down a reading of: {', '.join(unread)}.")
    found.append(f"Rescue kits: {', '.join(kit.name for kit in kits)}." if kits else "No rescue kit is on record.")
    return FirstStep(
        "oxygen",
        "Oxygen on record",
        "open" if not units else "part" if unread or not kits else "done",
        tuple(found),
        "Without any every plan is a stop. Oxygen is what helps before care is reached.",
        _links(("Write down an oxygen unit", "start.oxygen", {})),
        f"{_line(folder, EMERGENCY_FILE, 'oxygen_units' if not units else 'rescue_kits')}",
    )


def _request(folder: Folder) -> FirstStep:
    today = now().date()
    requests = list(folder.requests.values())
    coming = [each for each in requests if each.date >= today]
    groups = sum(len(each.groups) for each in coming)
    site = next(iter(folder.sites.values()), None)
    asked = (
        {"site": site.slug, "date": (near_date(site.timezone, now()) + timedelta(days=1)).isoformat()} if site else {}
    )
    if not asked or not folder.world.people:
        found = "It needs people and a site first."
    elif coming:
        found = f"{len(coming)} from today on, with {groups} group{'' if groups == 1 else 's'}."
    else:
        found = f"None from today on; {len(requests)} of past days." if requests else "There is none."
    return FirstStep(
        "request",
        "A first group",
        "done" if coming else "part" if requests else "open",
        (found,),
        "A request says who dives where on which day, who leads and who stays ashore.",
        _links(("Make a request", "requests.new", asked), ("See the requests", "requests.listing", {}))
        if site and folder.world.people
        else (),
    )


def _plan(folder: Folder) -> FirstStep:
    today = now().date()
    ready = [(n, each) for n, each in folder.requests.items() if each.date >= today and each.site in folder.sites]
    why = "What a plan stops for, it says with its reason; mend that and look again."
    if not ready:
        return FirstStep("plan", "A first plan", "open", ("It comes with the first request.",), why)
    name, asked = min(ready, key=lambda each: each[1].date)
    links = _links((f"Open the plan of {date_words(asked.date)}", "plans.ready", {"name": name}))
    try:
        plan = for_who_asks(_planned(choice_of(asked, asked.date, folder), edges=False))
    except BadChoice as error:
        return FirstStep("plan", "A first plan", "part", tuple(error.choice.errors.values()), why, links)
    stops = [check.sentence for check in plan.stops]
    if plan.verdict is Outcome.STOP:
        more = f" And {len(stops) - 1} more." if len(stops) > 1 else ""
        return FirstStep("plan", "A first plan", "part", (f"It is a stop. {' '.join(stops[:1])}{more}",), why, links)
    return FirstStep("plan", "A first plan", "done", (f"Nothing stops the day {date_words(asked.date)}.",), why, links)


def _accounts(folder: Folder) -> FirstStep:
    accounts = held()
    command = f"tripplan account {folder.path} add NAME --role centre" if current_role() == CENTRE else ""
    why = "Where others can reach the pages everybody signs in, and sees only what is for them."
    if accounts is None:
        said = "Only this machine can reach these pages, and nobody signs in. Before others can, make an account."
        return FirstStep("account", "Accounts, for more than this machine", "done", (said,), why, (), command)
    count = len(accounts.listing())
    said = f"{count} account{'' if count == 1 else 's'}."
    return FirstStep(
        "account", "Accounts, for more than this machine", "done", (said,), why,
        _links(("See the accounts", "accounts.listing", {})), command,
    )  # fmt: skip


# ---- the centre's facts ----

_CENTRE_PART: Final = Part(
    "centre",
    (
        Box("name", "Name of the centre", needed=True),
        Box("country", "Country", hint="two capitals by ISO 3166, like PT"),
        Box("timezone", "Time zone", hint="like Atlantic/Azores"),
        Box("position", "Position of the centre", hint=POSITION_HINT),
        Box("emergency_number", "Emergency number of the country", hint="as dialled"),
        Box("phone", "Telephone of the centre"),
        Box("address", "Address"),
        Box("code_of_practice", "Code or regulation that the centre works by"),
        Box("rules_reviewed", "Rule book gone through on", "day", "empty: not yet"),
        Box("rules_reviewed_by", "Gone through by"),
    ),
)
_KEYS: Final = tuple(box.key for box in _CENTRE_PART.fields)


@bp.get("/start/centre")
def centre() -> Answer:
    """Show the form for the centre's facts."""
    folder = shelf()
    if folder.centre is not_named():
        return _centre_form(Words())
    try:
        values, stamp = centre_values(folder.path)
    except BadRecord as error:
        return _centre_form(Words(), alert=f"{error}", status=400)
    words = words_of({key: value for key, value in values.items() if key in _KEYS}, _CENTRE_PART)
    words.said["base"] = (stamp,)
    return _centre_form(words)


@bp.post("/start/centre")
def write_centre() -> Answer:
    """Write the centre's facts, or show the form again with what is wrong."""
    folder, words = shelf(), words_of_form(request.form, _CENTRE_PART, ("base",))
    if not_to_be_written():
        return _centre_form(words, alert=NOT_HERE, status=400)
    if folder.centre is not_named():
        return _begin(folder, words)
    found: list[tuple[Location, str]] = []
    try:
        changed = changed_centre(folder.path, values_of(words, _CENTRE_PART, found), _KEYS)
    except (BadRecord, CannotKeep) as error:
        return _centre_form(words, alert=f"Nothing was written: {error}.", status=400)
    if changed.stamp != words.one("base"):
        words.said["base"] = (changed.stamp,)
        said = (
            "Nothing was written: the file was changed while your form stood open. What you send next stands over it."
        )
        return _centre_form(words, alert=said, status=409)
    if told := [*found, *changed.faults]:
        return _centre_form(words, told, status=400)
    return _written(
        changed, "The centre's facts are written.", lambda alert: _centre_form(words, alert=alert, status=500)
    )


def _begin(folder: Folder, words: Words) -> Answer:
    """Write the first files of a folder in which nothing stands yet."""
    facts = {key: words.one(key) for key in _KEYS if words.one(key)}
    if told := [((key,), sentence) for key, sentence in faults_of_facts(facts)]:
        return _centre_form(words, told, status=400)
    try:
        written = complete_folder(folder.path, facts)
    except (BadRecord, CannotKeep, NotEmpty) as error:
        return _centre_form(words, alert=f"Nothing was written: {error}.", status=500)
    shelf_again()
    rest = " Give the rule book's day once more, now that the file is there." if words.one("rules_reviewed") else ""
    flash(f"Written, each with comments on what belongs where: {', '.join(written)}.{rest}")
    return redirect(url_for("start.show"), code=303)


def _centre_form(
    words: Words, told: Sequence[tuple[Location, str]] | None = None, alert: str = "", status: int = 200
) -> Answer:
    return _page(_CENTRE_PART, "The centre's own facts", "start.write_centre", CENTRE_FILE, words, told, alert, status)


# ---- oxygen ----

_OXYGEN_PART: Final = Part(
    "oxygen",
    (
        Box("name", "What it is called", needed=True),
        Box("volume_l", "Cylinder, litres of water", "number", "as stamped on it"),
        Box("pressure_bar", "Reading of its gauge, bar", "number"),
        Box("device", "What gives the oxygen", "choice", needed=True, choices={
            "demand": "demand valve", "non_rebreather": "non-rebreather mask", "bag_mask": "bag and mask",
        }),
        Box("casualties", "Casualties at once", "whole", "empty: 1"),
        Box("kept", "Where it stands on the day", "text", needed=True),
        Box("site", "Kept at one site", hint="the site's file name without .toml; empty: it travels with you"),
        Box("read", "Gauge read on", "day", "empty: never, a caution"),
        Box("read_by", "Read by"),
        Box("litres_per_psi", "Litres for each psi of its gauge", "number", "of a cylinder read in psi", more=True),
        Box("pressure_psi", "Reading of its gauge, psi", "number", more=True),
    ),
)  # fmt: skip


@bp.get("/start/oxygen")
def oxygen() -> Answer:
    """Show the form for an oxygen unit."""
    return _oxygen_form(Words())


@bp.post("/start/oxygen")
def write_oxygen() -> Answer:
    """Write one oxygen unit more, or show the form again with what is wrong."""
    folder, words = shelf(), words_of_form(request.form, _OXYGEN_PART, ())
    if not_to_be_written():
        return _oxygen_form(words, alert=NOT_HERE, status=400)
    if folder.centre is not_named():
        return _oxygen_form(words, alert="Nothing was written: give the centre's own facts first.", status=400)
    found: list[tuple[Location, str]] = []
    unit = values_of(words, _OXYGEN_PART, found)
    try:
        changed = with_oxygen(folder.path, unit)
    except (BadRecord, CannotKeep) as error:
        return _oxygen_form(words, alert=f"Nothing was written: {error}.", status=400)
    known = {*folder.sites}
    if unit.get("site") and unit["site"] not in known:
        found.append((("site",), f'is "{unit["site"]}", which is not in the catalogue: {", ".join(known) or "empty"}'))
    for where, sentence in changed.faults:
        if where[:1] == ("oxygen_units",) and len(where) > 1:
            found.append((where[2:] or ("volume_l",), sentence))
        else:
            return _oxygen_form(words, alert=f"Nothing was written: {changed.path.name}: {sentence}.", status=400)
    if found:
        return _oxygen_form(words, found, status=400)
    said = f"{words.one('name')} is on record."
    return _written(changed, said, lambda alert: _oxygen_form(words, alert=alert, status=500))


def _oxygen_form(
    words: Words, told: Sequence[tuple[Location, str]] | None = None, alert: str = "", status: int = 200
) -> Answer:
    return _page(_OXYGEN_PART, "An oxygen unit", "start.write_oxygen", EMERGENCY_FILE, words, told, alert, status)


# ---- both ----

NOT_HERE: Final = (
    "This is the demonstration: nothing was written into it. First steps say how to begin your own folder."
)


def _written(changed: Changed, said: str, refused: Any) -> Answer:
    try:
        kept = save(changed, now())
    except (CannotKeep, OtherFile) as error:
        answer: Answer = refused(f"Nothing was written: {error}.")
        return answer
    if kept is not None:
        said += f" The file before is kept as {kept.parent.name}/{kept.name}."
    try:
        audit("centre's file changed", changed.path.name)
    except StoreFault as error:  # the file itself is written
        said += f" It is not in the list of what happened: {error}."
    flash(said)
    return redirect(url_for("start.show"), code=303)


def _page(
    part: Part,
    title: str,
    action: str,
    file: str,
    words: Words,
    told: Sequence[tuple[Location, str]] | None,
    alert: str,
    status: int,
) -> Answer:
    page = render_template(
        "record_form.html",
        part=part,
        title=title,
        action=url_for(action),
        file=file,
        words=words,
        errors=errors_at(words, part, told or ()),
        alert=alert,
        lists={},
        nothing=Words(),
        demonstration_folder=not_to_be_written(),
    )
    return (page, status) if status != 200 else page
