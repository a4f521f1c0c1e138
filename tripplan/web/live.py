"""The day as it goes: who is here, in the water, out and gone; entries from a phone that may lose its connection."""

from __future__ import annotations

import hashlib
import json
import math
import secrets
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from flask import (
    Blueprint,
    Response,
    abort,
    current_app,
    g,
    jsonify,
    make_response,
    redirect,
    render_template,
    request,
    url_for,
)
from werkzeug.wrappers import Response as BaseResponse

from tripplan.documents.data import dives_from_json, plan_json
from tripplan.documents.dive_record import ASK_THE_LEADER
from tripplan.errors import OutOfRange
from tripplan.planning.actual import actual_dives
from tripplan.planning.day import plan_inputs
from tripplan.planning.event import KINDS_OF_EVENT, Event
from tripplan.planning.live import DANGER, NO_DISCOMFORT, Alarm, LiveDay, alike, live_day, standing
from tripplan.planning.next_dive import HeldDive, OnePlan, dives_that_hold, remaining_numbers
from tripplan.planning.plan import DayPlan, DivePlan
from tripplan.planning.request import Request
from tripplan.planning.world import CannotPlan, World
from tripplan.store.database import DayEntries, KeptPlan, StoreFault
from tripplan.store.told import told_world
from tripplan.web.accounts import current_name, sees_private
from tripplan.web.here import now, shelf, teller
from tripplan.web.kept import MOST_DAYS, KeptDay, kept, kept_day
from tripplan.web.made import plans_made
from tripplan.web.plans import _today as today_here
from tripplan.web.steady import Look, Steady

bp = Blueprint("live", __name__)

MOST_ENTRIES = 200  # in one message of a phone: more than a day has
LONGEST_NAME = 60
LOG_SHOWN = 100  # entries, the newest; the older ones only for who asks: every phone asks for the page every 15 s
FURTHEST_CLOCK = timedelta(days=2)  # a phone whose clock is further off is told so
OF_HEALTH = ("discomfort", "incident")  # kinds of entry whose words are for the leader
OTHER_PLAN = "other-plan"  # an alarm of this page: a request is not in the plan that the day goes by
_planning = threading.Lock()
MOMENTS = ("assemble", "before entry", "after exit", "before leaving")
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)


@dataclass(frozen=True)
class Held:
    """The plans that a day goes by: kept when it began or when somebody said so. No new forecast moves a clock."""

    dives: tuple[DivePlan, ...]
    revisions: tuple[str, ...]
    started: bool  # whether they are kept, or only what would be kept now
    by_dive: tuple[HeldDive, ...] = ()  # each dive with the plan by which it goes; empty: none is kept
    plans: tuple[Mapping[str, Any], ...] = ()  # the kept plans as JSON, each with the dives that go by it and no other
    kept: tuple[KeptPlan, ...] = ()  # every plan kept for the day, also those by which no dive goes any more


def _site_or_404(slug: str) -> Any:
    return shelf().sites.get(slug) or abort(404)


def _day_asked() -> date:
    text = request.values.get("date", "")
    slug = (request.view_args or {}).get("slug", "")
    try:
        if not text:
            return _today_at(slug) if slug in shelf().sites else today_here()
        return date.fromisoformat(text)
    except ValueError:
        abort(400, f'The day "{text}" cannot be read; write it like 2027-06-12.')


def _look() -> Look:
    """Look at the clock: a time of the day on the beach must not go back."""
    steady: Steady | None = current_app.extensions.get("tripplan_steady")
    if steady is None:
        return Look(now(), now())
    if "look" not in g:
        g.look = steady.look()
    found: Look = g.look
    return found


def _today_at(slug: str) -> date:
    """Return the day that it is by the clock of a site."""
    return _look().moment.astimezone(ZoneInfo(_site_or_404(slug).timezone)).date()


def told_here(slug: str) -> World:
    """Return the world of today's plans at a site: the folder's, with what is told about the site."""
    return told_world(shelf(), (slug,), now(), teller())


def _plans_now(slug: str, day: date) -> list[tuple[Request, DayPlan]]:
    asked = [one for one in shelf().requests.values() if one.site == slug and one.date == day]
    if not asked:
        return []
    world = told_here(slug)
    try:
        with _planning:  # many phones that open the page at once ask for one plan, and need it once
            return [(one, plans_made().made(one, world, edges=False).plan) for one in asked]
    except CannotPlan as error:
        abort(400, f"The plan of the day cannot be made: {error}")


def _held(slug: str, day: date) -> Held:
    found = kept_day(day, slug)
    if found.plans:
        last: dict[tuple[str, date], tuple[KeptDay, Held]] = current_app.extensions.setdefault("tripplan_held", {})
        before = last.get((slug, day))
        if before is not None and before[0] is found:
            return before[1]
        made_of = held_of(found.plans, found.entries.events)
        if len(last) >= MOST_DAYS:
            last.clear()
        last[slug, day] = (found, made_of)
        return made_of
    made = _plans_now(slug, day)
    dives = tuple(dive for _, plan in made for dive in plan.dives)
    return Held(dives, tuple(plan.revision for _, plan in made), False)


def held_of(plans: Sequence[KeptPlan], events: Sequence[Event]) -> Held:
    """Return what a day goes by: for each dive the newest plan kept, and once it has begun the one by which it began.

    plans -- of the day and site, at least one;  events -- of the same, in order of arrival
    """
    begun: dict[tuple[str, int], datetime] = {}
    for event in standing(events).entries:
        if event.kind == "in":
            key = (alike(event.group), event.dive)
            begun[key] = min(begun.get(key, event.at), event.at, key=lambda moment: moment.timestamp())
    held = dives_that_hold(
        [
            OnePlan(
                plan.revision, plan.kept, plan.by, dives_from_json(plan.plan), str(plan.plan.get("request_name", ""))
            )
            for plan in plans
        ],
        begun,
    )
    numbers = {(each.revision, each.dive.group, each.dive.number) for each in held}
    used = [plan for plan in plans if any(each.revision == plan.revision for each in held)]
    return Held(
        dives=tuple(each.dive for each in held),
        revisions=tuple(plan.revision for plan in used),
        started=True,
        by_dive=held,
        plans=tuple(
            {
                **plan.plan,
                "dives": [
                    dive for dive in plan.plan["dives"] if (plan.revision, dive["group"], dive["number"]) in numbers
                ],
            }
            for plan in used
        ),
        kept=tuple(plans),
    )


def keep(
    slug: str,
    moment: datetime,
    by: str,
    asked: Request,
    plan: DayPlan,
    world: World,
    more: Mapping[str, Any] | None = None,
) -> bool:
    """Keep a plan whole, once; returns whether it is new.  Raises StoreFault.

    asked, world -- what the plan was made from, as its revision counts it;  more -- what else is kept with it
    """
    return kept().keep_plan(_whole_plan(slug, moment, by, asked, plan, world, more or {}))


def _whole_plan(
    slug: str, moment: datetime, by: str, asked: Request, plan: DayPlan, world: World, more: Mapping[str, Any]
) -> KeptPlan:  # fmt: skip
    return KeptPlan(
        revision=plan.revision,
        site=slug,
        day=plan.date,
        kept=moment,
        by=by,
        request=asked.model_dump(mode="json"),
        inputs=json.loads(json.dumps(plan_inputs(asked, world), default=repr)),
        plan={**plan_json(plan), **more},
    )


def _begin(slug: str, day: date, by: str) -> None:
    """Keep the plans of the day whole when its first entry is written."""
    if kept().plan_numbers(day, slug):
        return
    moment, world = now(), told_here(slug)
    plans = [
        _whole_plan(slug, moment, by, asked, plan, world, {"request_name": name_of(asked)})
        for asked, plan in _plans_now(slug, day)
    ]
    kept().keep_first(day, slug, plans)


def name_of(asked: Request) -> str:
    """Return the name of a ready request: it tells apart groups of one name; empty where it is none."""
    return next((name for name, one in shelf().requests.items() if one == asked), "")


def _asked_for(slug: str, day: date) -> dict[str, Request]:
    return {name: one for name, one in shelf().requests.items() if one.site == slug and one.date == day}


def _expected(slug: str, day: date) -> tuple[str, ...]:
    """Return everybody whom a request of the day names: also of one that is not in the plan the day goes by."""
    asked = _asked_for(slug, day).values()
    crews = [name for one in asked for name in one.crew.everybody]
    return tuple(dict.fromkeys((*crews, *(name for one in asked for group in one.groups for name in group.everybody))))


def events_for_who_asks(events: Sequence[Event]) -> tuple[Event, ...]:
    """Return entries as whoever asks may see them: to an assistant, not the words on how somebody felt.

    That something is written stays, with its alarm; that nothing was felt is an answer and stays too.
    """
    if sees_private():
        return tuple(events)
    hidden = {each.uid for each in events if each.kind in OF_HEALTH and alike(each.text).rstrip(".") != NO_DISCOMFORT}
    return tuple(
        replace(each, text=ASK_THE_LEADER) if each.text and {each.uid, each.corrects} & hidden else each
        for each in events
    )


def _state(slug: str, day: date) -> tuple[LiveDay, Held, tuple[Event, ...]]:
    held = _held(slug, day)
    zone = ZoneInfo(_site_or_404(slug).timezone)
    events = events_for_who_asks(_local_events(kept_day(day, slug).entries, zone))
    moment = _look().moment.astimezone(zone)
    return live_day(events, held.dives, _expected(slug, day), moment, shelf().world.rules), held, events


def _local_events(entries: DayEntries, zone: ZoneInfo) -> tuple[Event, ...]:
    """Return entries with the times of the site, worked out once for as long as nothing is added."""
    held: list[tuple[DayEntries, ZoneInfo, tuple[Event, ...]]]
    held = current_app.extensions.setdefault("tripplan_local_events", [])
    for known, where, events in tuple(held):
        if known is entries and where == zone:
            return events
    made = tuple(replace(each, at=each.at.astimezone(zone)) for each in entries.events)
    held[:] = [(entries, zone, made), *held[: MOST_DAYS - 1]]
    return made


def _other_plan(slug: str, day: date, held: Held, events: Sequence[Event]) -> list[Alarm]:
    """Return an alarm for each request of the day with dives to come that is not in the plan the day goes by."""
    if not held.started:
        return []
    asked_for = _asked_for(slug, day)
    in_plan = [(str(plan.plan.get("request_name", "")), _asked_of(plan)) for plan in held.kept]
    alarms = []
    for name, asked in asked_for.items():
        same = [one for called, one in in_plan if called == name]
        whole = _but_title(json.loads(json.dumps(asked.model_dump(mode="json"))))
        # Where a plan does not say of which request it is, only the same request is known again.
        if whole == (same[-1] if same else None) or (not same and any(one == whole for _, one in in_plan)):
            continue
        left = remaining_numbers(asked, actual_dives(events, held.dives))
        if not left:
            continue
        groups = ", ".join(left)
        whose = f'The request "{asked.title or name}" ({groups})'
        if same:
            sentence = (
                f"{whose} was edited after the day began, and the day still goes by the plan from before: its times, "
                "depths and overdue clocks below are the old ones. Open the next dives and go by a new plan before "
                "anybody of it goes in; that page says what has to be written first."
            )
        else:
            sentence = (
                f"{whose} is not in the plan that the day goes by: its dives have no time to be out by and NO OVERDUE "
                "CLOCK. Nobody of it goes in yet. Open the next dives and go by a new plan first; that page says what "
                "has to be written before."
            )
        alarms.append(Alarm(OTHER_PLAN, asked.title or name, sentence, max(plan.kept for plan in held.kept)))
    return alarms


def _asked_of(plan: KeptPlan) -> Mapping[str, Any]:
    """Return the whole request that a kept plan is of; the plan itself may be of what was left of it."""
    done = plan.plan.get("from_what_was_done")
    whole: Mapping[str, Any] = done["asked"] if isinstance(done, Mapping) and "asked" in done else plan.request
    return _but_title(whole)


def _but_title(whole: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in whole.items() if name != "title"}  # it changes no dive


def _clock_alarm(slug: str) -> list[Alarm]:
    """Return an alarm where the clock of this computer jumped: no overdue clock is to be trusted then."""
    look = _look()
    if look.trusted:
        return []
    zone = ZoneInfo(_site_or_404(slug).timezone)
    shown = [f"{at.astimezone(zone):%H:%M} on {at.astimezone(zone):%d %B}" for at in (look.clock, look.expected)]
    return [Alarm("clock", "clock", look.words(*shown), look.moment.astimezone(zone))]


def _ordered(alarms: Sequence[Alarm], of_plan: Sequence[Alarm]) -> list[Alarm]:
    """Return all alarms: somebody who may be in the water comes first, then what is not in the plan."""
    first = DANGER[: DANGER.index("recount")]
    return [
        *(alarm for alarm in alarms if alarm.slug in first),
        *of_plan,
        *(alarm for alarm in alarms if alarm.slug not in first),
    ]


@bp.get("/today")
def sites() -> str:
    """List the sites dived on a day."""
    day = _day_asked()
    slugs = dict.fromkeys(one.site for one in shelf().requests.values() if one.date == day)
    days = sorted({one.date for one in shelf().requests.values() if one.date >= day})
    return render_template("today.html", day=day, slugs=list(slugs), sites=shelf().sites, days=days[:5])


@bp.get("/today/<slug>")
def show(slug: str) -> Response:
    """Show who is where, with the controls of the day."""
    return _page(slug, _day_asked(), _writer())


def _writer() -> str:
    """Return who writes: who is signed in, and where nobody signs in, the name that was typed."""
    return current_name() or " ".join(request.values.get("by", "").split())[:LONGEST_NAME]


def _page(
    slug: str, day: date, by: str, trouble: str = "", status: int = 200, sent: Mapping[str, str] | None = None
) -> Response:
    """Return the page of the day.

    sent -- what a form sent that was not kept: it comes back to whoever typed it
    """
    shown = _shown(slug, day, by)
    shown["sent"] = sent or {}
    response = make_response(render_template("live.html", trouble=trouble, **shown), status)
    response.headers["Content-Security-Policy"] = POLICY
    return response


@bp.get("/today/<slug>/board")
def board(slug: str) -> Response:
    """Give the part of the page that changes, for a phone that has just sent its entries.

    Answered with 304 where the phone shows that same part: most of what is asked is asked again and again.
    """
    shown = _shown(slug, _day_asked(), _writer())
    tag = _tag(shown)
    if tag in request.if_none_match:
        response = Response(status=304)
    else:
        response = make_response(render_template("_live.html", **shown))
    response.set_etag(tag)
    return response


def _tag(shown: Mapping[str, Any]) -> str:
    """Return the mark of a board: another one as soon as anything on it is to be read differently.

    The exact moment is left out, for the sentences go by whole minutes; the hour is not, for its forms grow old.
    """
    live: LiveDay = shown["live"]
    seen = (
        replace(live, now=live.day),  # type: ignore[arg-type]  # any value that stays the same
        shown["alarms"],
        shown["by"],
        shown["typed"],
        shown["ahead"],
        shown["all"],
        shown["held"].revisions,
        shown["holds"],
        [(event.uid, event.text) for event in shown["events"]],
        live.now.hour,
    )
    return hashlib.sha256(repr(seen).encode()).hexdigest()[:24]


def _shown(slug: str, day: date, by: str) -> dict[str, Any]:
    """Return what the page of the day is made from."""
    site = _site_or_404(slug)
    live, held, events = _state(slug, day)
    return {
        "site": site,
        "slug": slug,
        "day": day,
        "by": by,
        "typed": not current_name(),
        "live": live,
        "alarms": [*_clock_alarm(slug), *_ordered(live.alarms, _other_plan(slug, day, held, events))],
        "other_plan": OTHER_PLAN,
        "ahead": day > _today_at(slug),
        "sent": {},
        "all": request.values.get("all") == "yes",
        "newest": LOG_SHOWN,
        "held": held,
        "holds": _holds(held, ZoneInfo(site.timezone)),
        "events": events,
        "moments": MOMENTS,
        "fresh": lambda: secrets.token_hex(12),
        "planned": {(dive.group, dive.number, dive.entry): dive for dive in held.dives},
        "written": _written(events),
    }


def _holds(held: Held, zone: ZoneInfo) -> list[tuple[str, datetime, str, list[str]]]:
    """Return each kept plan that holds, since when, by whom, and the dives that go by it."""
    found: dict[str, tuple[str, datetime, str, list[str]]] = {}
    for each in held.by_dive:
        line = found.setdefault(each.revision, (each.revision, each.kept.astimezone(zone), each.by, []))
        line[3].append(f"{each.dive.group}, dive {each.dive.number}")
    return list(found.values())


def _written(events: Sequence[Event]) -> Callable[[str, str, int], str]:
    """Return a function that says what is written of a person on a dive, in a few words; empty where nothing is."""
    said: dict[tuple[str, str, int], dict[str, str]] = {}
    for event in standing(events).entries:
        value = "" if event.value is None else f"{event.value:g}"
        words = {
            "start_bar": f"{value} bar before",
            "end_bar": f"{value} bar after",
            "depth": f"{value} m deep",
            "discomfort": f"felt: {event.text.strip()}",
            "signed": f"signed by {event.by} ({event.identity})",
            "verified": f"verified by {event.by} ({event.identity})",
        }.get(event.kind)
        if words:
            said.setdefault((alike(event.person), alike(event.group), event.dive), {})[event.kind] = words

    def of(person: str, group: str, number: int) -> str:
        held = said.get((alike(person), alike(group), number), {})
        order = ("start_bar", "end_bar", "depth", "discomfort", "signed", "verified")
        return ", ".join(held[kind] for kind in order if kind in held)

    return of


@bp.get("/today/<slug>/token")
def token(slug: str) -> BaseResponse:
    """Give a fresh token to a page that was open for long."""
    from flask_wtf.csrf import generate_csrf

    _site_or_404(slug)
    return jsonify({"token": generate_csrf()})


@bp.post("/today/<slug>/entries")
def add(slug: str) -> BaseResponse:
    """Keep entries: one or several of a form, or a list from a phone, each once however often it arrives."""
    _site_or_404(slug)
    if request.is_json:
        return _from_phone(slug)
    day, by = _day_asked(), _writer()
    form = request.form
    people = form.getlist("person") or [""]
    values = {name: form.get(name, "") for name in ("kind", "group", "dive", "value", "text", "identity", "corrects")}
    sent = {**values, "person": ", ".join(people)}
    at = _look().moment.isoformat()
    raw = [
        {**values, "uid": f"{form.get('uid', '')}-{number}", "at": at, "by": by, "person": person}
        for number, person in enumerate(people)
    ]
    try:
        entries = [_entry(one, slug, day) for one in raw]
    except OutOfRange as error:
        return _page(slug, day, by, f"Nothing was written down: {error}.", 400, sent)
    try:
        _begin(slug, day, by)
        kept().add(entries, now())
    except StoreFault as error:
        return _page(slug, day, by, f"Nothing was written down: {error}.", 503, sent)
    return redirect(url_for("live.show", slug=slug, date=day.isoformat(), by=by), code=303)


def _from_phone(slug: str) -> BaseResponse:
    try:
        sent = request.get_json(silent=True)
    except RecursionError:  # brackets in brackets in brackets
        sent = None
    listed = sent.get("entries") if isinstance(sent, Mapping) else None
    if not isinstance(listed, list) or not 1 <= len(listed) <= MOST_ENTRIES:
        return _answer({"refused": [], "error": f"give entries, a list of 1 to {MOST_ENTRIES}"}, 400)
    day = _day_asked()
    good: list[Event] = []
    refused: list[dict[str, str]] = []
    for one in listed:
        try:
            good.append(_entry(one, slug, day))
        except OutOfRange as error:
            refused.append({"uid": str(one.get("uid", "")) if isinstance(one, Mapping) else "", "error": str(error)})
    added: Mapping[str, Sequence[str]] = {"new": (), "known": (), "differs": ()}
    if good:
        try:
            _begin(slug, day, good[0].by)
            done = kept().add(good, now())
        except StoreFault as error:
            return _answer({"error": str(error), "refused": []}, 503)
        added = {"new": done.new, "known": done.known, "differs": done.differs}
    return _answer({**added, "refused": refused}, 200)


def _answer(values: Mapping[str, Any], status: int) -> BaseResponse:
    response = jsonify(values)
    response.status_code = status
    return response


def _entry(raw: Any, slug: str, day: date) -> Event:
    """Return an entry from what a form or a phone sent.  Raises OutOfRange with what is accepted."""
    if not isinstance(raw, Mapping):
        raise OutOfRange("an entry is not a table of values")
    if day > (today := _today_at(slug)):
        raise OutOfRange(
            f"{day.day} {day:%B} {day.year} has not come yet at this site, where it is {today.day} {today:%B} "
            f"{today.year}: entries are written on the day itself"
        )
    text = {
        name: raw.get(name, "") for name in ("uid", "kind", "by", "person", "group", "text", "identity", "corrects")
    }
    for name, value in text.items():
        if not isinstance(value, str):
            raise OutOfRange(f"{name} is not text")
    if text["kind"] not in KINDS_OF_EVENT:
        raise OutOfRange(f'kind is "{text["kind"]}"; accepted: {", ".join(KINDS_OF_EVENT)}')
    for line_end in ("\r\n", "\r"):  # a browser counts the end of a line as one letter and sends two
        text["text"] = text["text"].replace(line_end, "\n")
    try:
        at = datetime.fromisoformat(str(raw.get("at", "")).replace("Z", "+00:00"))
    except ValueError:
        raise OutOfRange(f'the time "{raw.get("at")}" cannot be read') from None
    if at.tzinfo is None:
        raise OutOfRange("the time of an entry needs its offset from UTC")
    if abs(at - (moment := _look().moment)) > FURTHEST_CLOCK:
        raise OutOfRange(f"the time {at.isoformat()} is more than two days from now: is the clock of the phone right?")
    at = min(at, moment)  # nothing happened after it was told: the phone's clock is ahead
    clean = {
        name: "".join(c if c.isprintable() or (name == "text" and c == "\n") else " " for c in value).strip()
        for name, value in text.items()
    }
    clean["by"] = current_name() or clean["by"]  # nobody writes in another's name
    for name in ("by", "person", "group", "identity"):
        if len(clean[name]) > LONGEST_NAME:
            raise OutOfRange(f"{name} has {len(clean[name])} letters; at most {LONGEST_NAME} are kept")
    made: dict[str, Any] = {
        **clean,
        "at": at,
        "day": day,
        "site": slug,
        "dive": _whole(raw.get("dive", 0)),
        "value": None,
    }
    if str(raw.get("value") or "").strip():
        made["value"] = _number(raw["value"])
    return Event(**made)


def _whole(value: Any) -> int:
    try:
        return int(value or 0)
    except (TypeError, ValueError, OverflowError):
        raise OutOfRange(f'the number of the dive is "{value}"; it must be a whole number') from None


def _number(value: Any) -> float:
    try:
        number = float(str(value).strip().replace(",", "."))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise OutOfRange(f'"{value}" is not a number')
    return number
