"""Schedules on pages: the board of some days, one click for each change, the solve as it goes, and what to print."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final
from zoneinfo import ZoneInfo

from flask import (
    Blueprint,
    Response,
    abort,
    current_app,
    flash,
    jsonify,
    make_response,
    redirect,
    render_template,
    request,
    session,
    url_for,
)
from werkzeug.wrappers import Response as BaseResponse

from tripplan.check import Check
from tripplan.documents.day_sheet import day_sheet_pdf
from tripplan.documents.schedule_words import (
    checks_to_show,
    crew_of,
    headline,
    made_words,
    rest_words,
    schedule_data,
)
from tripplan.documents.words import counted
from tripplan.errors import OutOfRange
from tripplan.planning.schedule import DayTrip, Progress, Schedule, Unplaced
from tripplan.planning.schedule_edit import EditRefused, apply, edit_words, edits_data, edits_from
from tripplan.planning.schedule_request import ScheduleRequest
from tripplan.planning.world import CannotPlan, World
from tripplan.store.database import Store, StoreFault
from tripplan.store.schedule_jobs import Job, ask, ask_after_change, ask_stop, enqueue, latest, settle
from tripplan.store.schedules import (
    EditedMeanwhile,
    Edits,
    KeptEdits,
    Published,
    Result,
    edit_versions,
    edits_of,
    keep_theirs,
    mark_of,
    newest_results,
    publish,
    published,
    published_of,
    results_of,
    save_edits,
    schedule_of,
)
from tripplan.store.told import told_world
from tripplan.web.accounts import audit, current_name, current_role, sees_private
from tripplan.web.here import now, shelf, teller
from tripplan.web.kept import kept, store_if_there
from tripplan.web.live import POLICY
from tripplan.web.made import MadePlan, plans_made
from tripplan.web.plans import PAPERS, for_who_asks, plan_body
from tripplan.web.requests import TooManyNames, keep_new
from tripplan.web.roles import may
from tripplan.web.schedule_board import day_lanes, day_links, details, hours, places, span, tries, working

bp = Blueprint("schedule", __name__)

Answer = BaseResponse | str | tuple[str, int]
LONGEST_NAME = 60  # of who plans, letters
LONGEST_REASON = 120  # letters, as the file takes
SECONDS: Final[Mapping[float, str]] = {20.0: "20 seconds", 60.0: "1 minute", 180.0: "3 minutes", 600.0: "10 minutes"}
USUAL_SECONDS = 60.0
ALL_DAYS = "all"
CLOSED_WITHOUT_REASON = "closed on the board"

# A small file that is good as it stands but for the names, which are the centre's own.
EXAMPLE = """\
title = "First week of June"
first_day = 2027-06-07
days = 5

[centre]
position = "46.8862, -16.8571"
timezone = "Atlantic/Azores"
opens = "08:00"
closes = "18:30"

[[crew]]
name = "Luca Benti"
off = [2027-06-09]

[[crew]]
name = "Greta Holm"
duties = "ashore"

[[groups]]
name = "Terns"
kind = "guided"
divers = ["Nadia Petit", "Owen Marsh"]
preferred_days = [2027-06-08]
[[groups.dives]]
depth_m = 14
minutes = 30
"""

# Who may not see health gets no sentence with one of these words; what it says is for the leader.
_PRIVATE = re.compile(r"\b(medical|health|heart|illness|discomfort|kin|doctor|medicines?)\b", re.IGNORECASE)
FOR_THE_LEADER = "Somebody's personal papers matter here. What they say is for the leader: ask."


# ---- what stands ----


@dataclass(frozen=True)
class Standing:
    """A schedule as it stands: what the file asks for, the changes over it, and what goes with them."""

    slug: str
    file: ScheduleRequest
    edits: KeptEdits | None
    asked: ScheduleRequest  # with the changes; as the file has it where they no longer fit
    world: World
    refused: str  # why the changes no longer fit; empty: they do

    @property
    def version(self) -> int:
        """The version of the changes, 0 for none."""
        return self.edits.version if self.edits else 0

    @property
    def listed(self) -> Edits:
        """The changes, as they are kept."""
        return self.edits.edits if self.edits else ()

    @property
    def mark(self) -> str:
        """The mark of what the file asks for."""
        return mark_of(self.file)

    @property
    def title(self) -> str:
        """What it is called."""
        return self.file.title or self.slug


def _standing(slug: str) -> Standing:
    folder = shelf()
    file = folder.schedules.get(slug) or abort(404)
    store = store_if_there()
    found = edits_of(store, slug) if store else None
    asked, world, refused = file, folder.world, ""
    if found is not None:
        try:
            asked, world = apply(file, folder.world, edits_from(found.edits))
        except EditRefused as error:
            refused = str(error)
    return Standing(slug, file, found, asked, world, refused)


def _result(slug: str) -> tuple[Result | None, Schedule | None, str]:
    """Return the result that is asked for, the newest without a word; and why it cannot be shown."""
    store = store_if_there()
    if store is None:
        return None, None, ""
    found = results_of(store, slug)
    wanted = request.args.get("result", "")
    if wanted:
        found = tuple(each for each in found if str(each.number) == wanted) or abort(404)
    if not found:
        return None, None, ""
    try:
        return found[0], schedule_of(store, found[0].number), ""
    except StoreFault as error:
        return found[0], None, str(error)


def _schedule(slug: str) -> Schedule:
    """Return the schedule that is asked for as whoever asks may see it; none: there is no such page."""
    _standing(slug)
    found = _result(slug)[1]
    return _for_who_asks(found) if found is not None else abort(404)


def _for_who_asks(schedule: Schedule) -> Schedule:
    """Return a schedule as whoever asks may see it: to an assistant it says nothing about anybody's health."""
    if sees_private():
        return schedule

    def told(sentences: Iterable[str]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(_shown(each) for each in sentences))

    def check(one: Check) -> Check:
        return replace(one, sentence=FOR_THE_LEADER, found=None, limit=None) if _PRIVATE.search(one.sentence) else one

    def unplaced(one: Unplaced) -> Unplaced:
        changes = tuple(replace(each, sentence=_shown(each.sentence), edits={}) for each in one.would_fit_if)
        return replace(one, because=told(one.because), would_fit_if=changes)

    return replace(
        schedule,
        checks=tuple(check(each) for each in schedule.checks),
        unplaced=tuple(unplaced(each) for each in schedule.unplaced),
        trips=tuple(replace(each, cautions=told(each.cautions)) for each in schedule.trips),
        notes=told(schedule.notes),
    )


def _request_for_who_asks(asked: ScheduleRequest) -> ScheduleRequest:
    """Return a request without what an assistant may not read in its reasons, though nothing should stand there."""
    absent = tuple(each.model_copy(update={"because": _shown(each.because)}) for each in asked.absent)
    closed = tuple(each.model_copy(update={"because": _shown(each.because)}) for each in asked.closed)
    return asked.model_copy(update={"absent": absent, "closed": closed})


def _shown(sentence: str) -> str:
    return FOR_THE_LEADER if not sees_private() and _PRIVATE.search(sentence) else sentence


def _may_edit() -> bool:
    return may(current_role(), "schedule.change")


def _writer() -> str:
    """Return who plans: who is signed in, and where nobody signs in, the name that was typed."""
    return current_name() or " ".join(request.form.get("by", session.get("writer", "")).split())[:LONGEST_NAME]


def _remember(by: str) -> None:
    if not current_name():
        session["writer"] = by


def _hands() -> dict[str, Any]:
    """Return what every page here needs to know of who asks."""
    return {
        "may_edit": _may_edit(),
        "name": current_name(),
        "by": session.get("writer", ""),
        "longest_name": LONGEST_NAME,
        "longest_reason": LONGEST_REASON,
    }


def _number(text: str) -> int:
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text) else -1


# ---- the list ----


@bp.get("/schedules")
def listing() -> Answer:
    """List the schedules of the folder."""
    folder, store = shelf(), store_if_there()
    newest = newest_results(store) if store else {}
    hung = published_of(store, folder.schedules) if store else {}
    rows = [
        (slug, asked, newest.get(slug), hung.get(slug), latest(store, slug) if store else None)
        for slug, asked in sorted(folder.schedules.items(), key=lambda each: (each[1].first_day, each[0]))
    ]
    return render_template("schedules.html", rows=rows, example=EXAMPLE, folder=folder, **_hands())


# ---- the board ----


@bp.get("/schedules/<slug>")
def show(slug: str) -> Answer:
    """Show the board of a schedule."""
    return _board(slug)


def _board(slug: str, alert: str = "", status: int = 200) -> BaseResponse:
    standing = _standing(slug)
    result, whole, trouble = _result(slug)
    schedule = _for_who_asks(whole) if whole is not None else None
    asked = _request_for_who_asks(standing.asked)
    store = store_if_there()
    job = _job(store, slug)
    day = _day_asked(schedule) if schedule else None
    hung = published(store, slug) if store else None
    page = render_template(
        "schedule.html",
        standing=standing,
        result=result,
        schedule=schedule,
        trouble=trouble,
        alert=alert,
        job=job,
        job_words=_job_words(job) if job else "",
        day=day,
        days=day_links(schedule) if schedule else (),
        outings=details(schedule, asked, day) if schedule else (),
        lanes=day_lanes(schedule, asked, day) if schedule and day else (),
        hours=hours(schedule, day) if schedule and day else (),
        span=span(schedule) if schedule and day is None else None,
        working=working(schedule, asked, day) if schedule and day else (),
        places=places(schedule, asked, shelf().sites, day) if schedule and day else (),
        unplaced=[(each, tries(each)) for each in schedule.unplaced] if schedule else (),
        changes=_changes(standing),
        centre_sites=set(shelf().sites),
        hung=hung,
        newest=result is not None and not request.args.get("result"),
        stale=_stale(result, standing) if result else "",
        view=_view(day, result),
        papers=PAPERS,
        seconds=SECONDS,
        usual=_usual(job),
        files=_files(schedule, slug, result) if schedule and result else {},
        worded=_worded(schedule) if schedule else {},
        **_hands(),
    )
    response = make_response(page, status)
    if job is not None and job.open:
        response.headers["Content-Security-Policy"] = POLICY  # the page asks by itself how far the job is
    return response


def _view(day: date | None, result: Result | None) -> dict[str, str]:
    """Return what the address of this page says besides the schedule."""
    said = {"day": day.isoformat() if day else ALL_DAYS}
    if result is not None and request.args.get("result"):
        said["result"] = str(result.number)
    return said


def _worded(schedule: Schedule) -> dict[str, Any]:
    return {
        "headline": headline(schedule),
        "made": made_words(schedule),
        "checks": checks_to_show(schedule),
        "rest": {load.person: rest_words(load.shortest_rest_h) for load in schedule.loads},
        "crew": crew_of(schedule),
    }


def _stale(result: Result, standing: Standing) -> str:
    """Return why a result is no longer what is asked for; empty where it is."""
    if result.base != standing.mark:
        return f"The file schedules/{standing.slug}.toml has changed since this was made. Make it again."
    if result.version != standing.version:
        return "The changes below are others than those that this was made with. Make it again."
    return ""


def _usual(job: Job | None) -> float:
    return job.seconds if job and job.seconds in SECONDS else USUAL_SECONDS


def _day_asked(schedule: Schedule) -> date | None:
    """Return the day of the board; None for all days together."""
    text = request.values.get("day", "")
    if text == ALL_DAYS:
        return None
    if text:
        try:
            day = date.fromisoformat(text)
        except ValueError:
            abort(400, f'The day "{text}" cannot be read; write it like {schedule.first_day.isoformat()}, or all.')
        if day not in schedule.days:
            first, last = schedule.days[0], schedule.days[-1]
            abort(400, f"{day} is not one of these days, which go from {first} to {last}.")
        return day
    today = now().astimezone(ZoneInfo(schedule.timezone)).date()
    if today in schedule.days:
        return today
    return schedule.days[0] if len(schedule.days) == 1 else None


# ---- changes in words ----


@dataclass(frozen=True)
class Made:
    """One change that stands, as words."""

    number: int
    words: str


def _changes(standing: Standing) -> tuple[Made, ...]:
    return tuple(Made(number, _words_of([each], standing.world)) for number, each in enumerate(standing.listed))


def _words_of(listed: Sequence[Mapping[str, Any]], world: World | None = None) -> str:
    """Return changes in words; what can no longer be read is said as it stands."""
    try:
        return _shown(" ".join(edit_words(each, world) for each in edits_from(list(listed))))
    except EditRefused:
        return _shown(json.dumps(list(listed), ensure_ascii=False))


# ---- changing ----


@bp.post("/schedules/<slug>/change")
def change(slug: str) -> Answer:
    """Keep a change and make the schedule again; show the choice where somebody else was quicker."""
    standing, by = _standing(slug), _writer()
    back = request.form.get("take_back", "")
    posted: list[Mapping[str, Any]] = []
    try:
        posted = [] if back else _posted()
        if not by:
            return _ask_again(standing, posted, "Say who you are: each change is kept with a name.", 400)
        _remember(by)
        if _number(request.form.get("version", "")) != standing.version:
            return _meanwhile(standing, posted, by)
        edits, words = _taken_back(standing, back) if back else _added(standing, posted)
    except EditRefused as error:
        return _board(slug, f"Nothing was changed. {error}", 400)
    made = _version(standing, edits, words, by)
    try:
        save_edits(kept(), made)
    except EditedMeanwhile:
        return _meanwhile(_again(standing), posted, by)
    except StoreFault as error:
        return _board(slug, f"Nothing was changed: {error}", 503)
    flash(words + _told("schedule changed", f"{slug}, version {standing.version + 1}", by))
    return _made_again(slug, by)


def _posted() -> list[Mapping[str, Any]]:
    """Return the edits of a form, judged.  Raises EditRefused."""
    try:
        given = json.loads(request.form.get("edits", ""))
    except ValueError:
        raise EditRefused("The change that the page sent cannot be read. Load the page again.") from None
    because = " ".join(request.form.get("because", "").split())[:LONGEST_REASON]
    if isinstance(given, list):
        given = [_with_reason(each, because) for each in given]
    return [dict(each) for each in edits_data(edits_from(given))]


def _with_reason(edit: Any, because: str) -> Any:
    if not isinstance(edit, dict) or edit.get("do") not in ("absent", "close_site") or edit.get("because"):
        return edit
    reason = because or (CLOSED_WITHOUT_REASON if edit["do"] == "close_site" else "")
    return {**edit, "because": reason} if reason else edit


def _added(standing: Standing, posted: Sequence[Mapping[str, Any]]) -> tuple[Edits, str]:
    """Return the changes with some more, and what is new in words.  Raises EditRefused where they do not fit."""
    if standing.refused:
        raise EditRefused(f"A change that was made before no longer fits: {standing.refused} Take it back first.")
    whole = (*standing.listed, *posted)
    apply(standing.file, shelf().world, edits_from(list(whole)))
    because = " ".join(request.form.get("because", "").split())[:LONGEST_REASON]
    words = _words_of(posted, standing.world)
    said_already = any(each.get("because") for each in posted)
    return whole, words if said_already or not because else f"{words} Because: {because}."


def _taken_back(standing: Standing, text: str) -> tuple[Edits, str]:
    """Return the changes without one, and what is gone in words.  Raises EditRefused where the others need it."""
    number = _number(text)
    if not 0 <= number < len(standing.listed):
        raise EditRefused("The change that was to be taken back is not there any more.")
    whole = (*standing.listed[:number], *standing.listed[number + 1 :])
    if not standing.refused:  # else whatever makes the list shorter is a way out
        apply(standing.file, shelf().world, edits_from(list(whole)))
    return whole, f"Taken back: {_words_of([standing.listed[number]], standing.world)}"


def _version(standing: Standing, edits: Edits, words: str, by: str) -> KeptEdits:
    last = standing.file.dates[-1]
    return KeptEdits(standing.slug, standing.version, edits, words, now(), by, standing.mark, last)


def _again(standing: Standing) -> Standing:
    return replace(standing, edits=edits_of(kept(), standing.slug))


def _ask_again(standing: Standing, posted: Sequence[Mapping[str, Any]], alert: str, status: int) -> Answer:
    """Ask for what is missing, with the change as it was asked for."""
    page = render_template(
        "schedule_confirm.html",
        standing=standing,
        words=_words_of(posted, standing.world) if posted else "",
        edits=json.dumps(list(posted), ensure_ascii=False),
        take_back=request.form.get("take_back", ""),
        because=request.form.get("because", "")[:LONGEST_REASON],
        day=request.form.get("day", ""),
        alert=alert,
        theirs=(),
        **_hands(),
    )
    return page, status


def _meanwhile(standing: Standing, posted: Sequence[Mapping[str, Any]], by: str) -> Answer:
    """Show theirs and mine, with the choice; nothing was written."""
    read = _number(request.form.get("version", ""))
    listed = list(standing.listed)
    if posted and standing.edits and listed[-len(posted) :] == list(posted) and standing.edits.by == by:
        flash("That stands already: the button was pressed twice.")
        return redirect(url_for("schedule.show", slug=standing.slug, **_day_back()), code=303)
    theirs = [each for each in edit_versions(kept(), standing.slug) if each.version > read]
    page = render_template(
        "schedule_confirm.html",
        standing=standing,
        words=_words_of(posted, standing.world) if posted else "",
        edits=json.dumps(list(posted), ensure_ascii=False),
        take_back="",
        because=request.form.get("because", "")[:LONGEST_REASON],
        day=request.form.get("day", ""),
        alert="",
        theirs=[(each, _shown(each.words)) for each in theirs],
        **_hands(),
    )
    return page, 409


@bp.post("/schedules/<slug>/theirs")
def theirs(slug: str) -> Answer:
    """Let theirs stand; mine is kept as a version that is not in force."""
    standing, by = _standing(slug), _writer()
    try:
        posted = _posted()
    except EditRefused as error:
        return _board(slug, f"Nothing was changed. {error}", 400)
    if not by:
        return _ask_again(standing, posted, "Say who you are: each change is kept with a name.", 400)
    if _number(request.form.get("version", "")) != standing.version:
        return _meanwhile(standing, posted, by)
    mine = _version(standing, (*standing.listed, *posted), _words_of(posted, standing.world), by)
    try:
        keep_theirs(kept(), mine, standing.listed)
    except EditedMeanwhile:
        return _meanwhile(_again(standing), posted, by)
    flash("Theirs stands. Yours is kept among the versions and is not in force.")
    return redirect(url_for("schedule.show", slug=slug, **_day_back()), code=303)


def _told(what: str, about: str, by: str) -> str:
    """Add a line to the audit trail; returns what to say where that failed."""
    try:
        audit(what, about, who=by)
    except StoreFault as error:
        return f" It is not in the list of what happened: {error}."
    return ""


def _day_back() -> dict[str, Any]:
    day = request.form.get("day", "")
    return {"day": day} if re.fullmatch(r"all|[0-9]{4}-[0-9]{2}-[0-9]{2}", day) else {}


# ---- making ----


@bp.post("/schedules/<slug>/make")
def make(slug: str) -> Answer:
    """Ask for the schedule to be made."""
    standing, by = _standing(slug), _writer()
    if not by:
        return _board(slug, "Nothing was begun: say who you are.", 400)
    _remember(by)
    if standing.refused:
        return _board(slug, f"Nothing was begun: a change no longer fits. {standing.refused} Take it back first.", 400)
    try:
        wanted = float(request.form.get("seconds", ""))
    except ValueError:
        wanted = USUAL_SECONDS
    seconds = wanted if wanted in SECONDS else USUAL_SECONDS
    settle(kept())
    return _handed_on(slug, *ask(kept(), slug, by, seconds))


def _made_again(slug: str, by: str) -> Answer:
    settle(kept())
    seconds = _usual(latest(kept(), slug))
    return _handed_on(slug, *ask_after_change(kept(), slug, by, seconds))


def _handed_on(slug: str, job: Job, new: bool) -> Answer:
    """Hand a new job to the workers, and wake the one that belongs to this program."""
    if new:
        try:
            enqueue(kept().url, job.number)
        except StoreFault as error:
            current_app.logger.error("the queue: %s", error)  # a worker that looks takes the job up all the same
    if (worker := current_app.extensions.get("tripplan_worker")) is not None:
        worker.wake(kept().url)
    return redirect(url_for("schedule.show", slug=slug, **_day_back()), code=303)


@bp.post("/schedules/<slug>/stop")
def stop(slug: str) -> Answer:
    """Ask the job of a schedule to end with the best it has."""
    _standing(slug)
    found = latest(kept(), slug)
    if found is not None and found.open:
        ask_stop(kept(), found.number)
    return redirect(url_for("schedule.show", slug=slug, **_day_back()), code=303)


def _job(store: Store | None, slug: str) -> Job | None:
    """Return the last job of a schedule, given up for dead where nobody speaks for it any more."""
    if store is None:
        return None
    found = latest(store, slug)
    if found is not None and found.open and settle(store):
        found = latest(store, slug)
    return found


@bp.get("/schedules/<slug>/job")
def progress(slug: str) -> BaseResponse:
    """Give how far the job of a schedule is, for the page that asks by itself."""
    _standing(slug)
    found = _job(store_if_there(), slug)
    if found is None:
        return jsonify(number=None, state="", open=False, words="")
    so_far = found.progress
    return jsonify(
        number=found.number,
        state=found.state,
        open=found.open,
        stopping=found.open and found.stop,
        words=_job_words(found),
        placed=so_far.placed if so_far else None,
        wanted=so_far.wanted if so_far else None,
        objective=so_far.objective if so_far else None,
        bound=so_far.bound if so_far else None,
        seconds=so_far.seconds if so_far else None,
        most_seconds=found.seconds,
        result=found.result,
    )


def _job_words(job: Job) -> str:
    """Return in one or two sentences how far a job is, or how it ended."""
    if job.state == "failed":
        return _shown(job.words)
    if job.state == "waiting":
        return "It waits for a program that makes schedules; the next one that is free takes it."
    if job.state == "running":
        if job.progress is None:
            since = f" since {job.started:%H:%M:%S} UTC" if job.started else ""
            return f"It is being made{since}: what is possible is worked out first, which may take minutes."
        ends = " It was asked to stop, and ends with the best it has." if job.stop else ""
        return f"{_so_far(job.progress, job.seconds)}{ends}"
    if job.result is None:
        return "It was stopped before it began."
    return "It was stopped; the best it had by then is shown." if job.state == "stopped" else "It is done."


def _so_far(progress: Progress, most: float) -> str:
    spent = f"{progress.seconds:.0f} s of at most {most:.0f} s."
    best = "Nothing is found yet."
    if progress.placed:
        best = (
            f"Best so far: {progress.placed} of {counted(progress.wanted, 'dive')} have a place, "
            f"{counted(progress.objective, 'point')}; more than {progress.bound} are not possible."
        )
    words = progress.words.rstrip(".")
    if not words or words[0].isdigit():  # it says again how many have a place
        return f"{best} {spent}"
    return f"{best} Now: {words}."


# ---- the wall ----


@bp.post("/schedules/<slug>/publish")
def hang(slug: str) -> Answer:
    """Hang a result on the wall."""
    _standing(slug)
    by, number = _writer(), _number(request.form.get("result", ""))
    if not by:
        return _board(slug, "Nothing was changed: say who you are.", 400)
    _remember(by)
    if number not in {each.number for each in results_of(kept(), slug)}:
        abort(400, "There is no such result of this schedule.")
    new = publish(kept(), slug, number, at=now(), by=by)
    told = _told("schedule published", f"{slug}, result {number}", by) if new else ""
    words = "It hangs on the wall now; the next one keeps to it as far as it can." if new else "It hangs there already."
    flash(words + told)
    return redirect(url_for("schedule.show", slug=slug, **_day_back()), code=303)


@bp.get("/schedules/<slug>/history")
def history(slug: str) -> Answer:
    """List every result and every version of the changes: who, when, what."""
    standing, store = _standing(slug), store_if_there()
    hung: Published | None = published(store, slug) if store else None
    versions = edit_versions(store, slug) if store else ()
    return render_template(
        "schedule_history.html",
        standing=standing,
        results=results_of(store, slug) if store else (),
        versions=[(each, _shown(each.words)) for each in reversed(versions)],
        hung=hung,
        **_hands(),
    )


# ---- the plan of one trip ----


@bp.get("/schedules/<slug>/trips/<trip>")
def trip(slug: str, trip: str) -> Answer:
    """Show the day plan behind a part of the schedule, made now."""
    standing, schedule, found = _trip(slug, trip)
    try:
        made = _planned(found, standing)
    except (CannotPlan, OutOfRange) as error:
        said = [sentence for _, sentence in error.faults] if isinstance(error, CannotPlan) else [str(error)]
        abort(400, f"This plan cannot be made now: {' '.join(f'{each}.' for each in said)}")
    return render_template(
        "schedule_trip.html",
        standing=standing,
        schedule=schedule,
        trip=found,
        plan=for_who_asks(made),
        body=plan_body(made, standing.world.rules),
        papers=PAPERS,
        back={"day": found.day.isoformat(), **_which()},
        **_hands(),
    )


@bp.post("/schedules/<slug>/trips/<trip>/keep")
def keep_trip(slug: str, trip: str) -> Answer:
    """Keep the request of that day plan among the requests, so that the day is briefed, run and recorded by it."""
    _, _, found = _trip(slug, trip)
    by = _writer()
    if not by:
        return _board(slug, "Nothing was kept. Say who you are: each request is kept with a name.", 400)
    _remember(by)
    try:
        return keep_new(found.request, by)
    except (StoreFault, TooManyNames) as error:
        return _board(slug, f"Nothing was kept: {error}.", 503)


@bp.get("/schedules/<slug>/trips/<trip>/sheet.pdf")
def trip_sheet(slug: str, trip: str) -> Response:
    """Give the printable sheet of that day plan."""
    standing, _, found = _trip(slug, trip)
    try:
        plan = for_who_asks(_planned(found, standing))
    except (CannotPlan, OutOfRange) as error:
        abort(400, f"This plan cannot be made now: {error}.")
    return _file(day_sheet_pdf(plan, _paper()), "application/pdf", f"plan-{found.slug}-{plan.revision}.pdf", keep=False)


def _trip(slug: str, name: str) -> tuple[Standing, Schedule, DayTrip]:
    standing, schedule = _standing(slug), _schedule(slug)
    found = next((each for each in schedule.trips if each.slug == name), None)
    return standing, schedule, found or abort(404)


def _planned(found: DayTrip, standing: Standing) -> MadePlan:
    told = told_world(shelf(), (found.site,), now(), teller())
    return plans_made().made(found.request, replace(standing.world, conditions=told.conditions))


def _which() -> dict[str, Any]:
    wanted = request.args.get("result", "")
    return {"result": wanted} if wanted else {}


# ---- to take along ----


def _files(schedule: Schedule, slug: str, result: Result) -> dict[str, list[tuple[str, str]]]:
    """Return what can be taken along: words and addresses."""
    which: dict[str, Any] = {"slug": slug, "result": result.number}
    groups = sorted({outing.group for outing in schedule.outings})
    return {
        "whole": [
            *((f"Wall sheet {said}", url_for("schedule.sheet", paper=key, **which)) for key, said in PAPERS.items()),
            ("Table (CSV)", url_for("schedule.table", **which)),
            ("JSON", url_for("schedule.data", **which)),
        ],
        "crew": [(name, url_for("schedule.crew", person=name, **which)) for name in crew_of(schedule)],
        "groups": [(name, url_for("schedule.group", group=name, **which)) for name in groups],
    }  # fmt: skip


def _paper() -> str:
    paper = request.args.get("paper", "a4")
    if paper not in PAPERS:
        abort(400, f'Paper "{paper}" is not known; accepted: {", ".join(PAPERS)}.')
    return paper


def _file(content: bytes | str, kind: str, name: str, *, keep: bool = True) -> Response:
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-")
    how = "attachment" if keep else "inline"
    return Response(content, mimetype=kind, headers={"Content-Disposition": f'{how}; filename="{plain}"'})


@bp.get("/schedules/<slug>/sheet.pdf")
def sheet(slug: str) -> Response:
    """Give the sheet for the wall."""
    from tripplan.documents.schedule_sheet import schedule_sheet_pdf

    paper, schedule = _paper(), _schedule(slug)
    name = f"schedule-{slug}-{schedule.revision}.pdf"
    return _file(schedule_sheet_pdf(schedule, paper), "application/pdf", name, keep=False)


@bp.get("/schedules/<slug>/table.csv")
def table(slug: str) -> Response:
    """Give the schedule as a table, a row for each dive."""
    from tripplan.documents.schedule_table import schedule_table

    schedule = _schedule(slug)
    return _file(schedule_table(schedule), "text/csv", f"schedule-{slug}-{schedule.revision}.csv")


@bp.get("/schedules/<slug>/data.json")
def data(slug: str) -> BaseResponse:
    """Give the schedule as JSON."""
    return jsonify(schedule_data(_schedule(slug)))


@bp.get("/schedules/<slug>/crew.ics")
def crew(slug: str) -> Response:
    """Give the calendar of one of the crew."""
    from tripplan.documents.schedule_calendar import crew_calendar

    return _calendar(slug, request.args.get("person", ""), crew_calendar, crew_of)


@bp.get("/schedules/<slug>/group.ics")
def group(slug: str) -> Response:
    """Give the calendar of a group."""
    from tripplan.documents.schedule_calendar import group_calendar

    return _calendar(slug, request.args.get("group", ""), group_calendar, _groups_of)


def _groups_of(schedule: Schedule) -> tuple[str, ...]:
    return tuple(sorted({outing.group for outing in schedule.outings}))


def _calendar(
    slug: str, name: str, make: Callable[..., Any], known: Callable[[Schedule], Sequence[str]]
) -> Response:  # fmt: skip
    schedule = _schedule(slug)
    if name not in known(schedule):
        abort(404)
    result, _, _ = _result(slug)
    stamp = result.made if result else now()
    return _file(make(schedule, name, stamp=stamp), "text/calendar", f"{slug}-{name}.ics")
