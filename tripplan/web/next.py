"""The next dives of the day planned again from what was really done, and the word of a leader to go by that plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from tripplan.check import Check, Outcome
from tripplan.errors import OutOfRange
from tripplan.planning.actual import ActualDive, actual_dives, check_recent_dives
from tripplan.planning.day import plan_day
from tripplan.planning.live import Alarm, alike
from tripplan.planning.next_dive import (
    Counted,
    check_ascents,
    check_counted,
    check_made,
    counted_dives,
    numbered_as,
    remaining_numbers,
    remaining_request,
)
from tripplan.planning.plan import DayPlan, DivePlan
from tripplan.planning.request import Request
from tripplan.planning.world import CannotPlan
from tripplan.store.database import StoreFault
from tripplan.web.accounts import audit, current_name, current_role
from tripplan.web.here import now, shelf
from tripplan.web.kept import kept
from tripplan.web.live import (
    Held,
    _day_asked,
    _held,
    _site_or_404,
    _state,
    _writer,
    events_for_who_asks,
    keep,
    name_of,
    told_here,
)
from tripplan.web.plans import checks_for_who_asks
from tripplan.web.roles import may

bp = Blueprint("next_dive", __name__)

LONGEST_WORDS = 500
# With one of these nobody plans: somebody may still be in the water.
FIRST_FIND = ("overdue", "missing-diver", "left-in-water", "in-water-another-day")
SETTLED = (
    "actual-no-stop",
    "actual-depth-limit",
    "actual-planned",
)  # the dive director is told and decides, in words that are kept


@dataclass(frozen=True)
class Row:
    """One dive: by the plan that holds, and from what was done."""

    before: DivePlan | None
    after: DivePlan

    def person(self, name: str) -> tuple[str, int | None] | None:
        """Return somebody's handbook group and no-stop time by the plan that holds; None where they are not in it."""
        people = self.before.people if self.before else ()
        found = next((each for each in people if alike(each.name) == alike(name)), None)
        return None if found is None else (found.group_before or "none", found.no_stop_min)


@dataclass(frozen=True)
class Next:
    """What is left of one request, planned again; ``trouble`` says why there is no plan."""

    asked: Request
    left: Request | None = None
    plan: DayPlan | None = None
    trouble: tuple[str, ...] = ()
    done: bool = False  # nothing is left
    rows: tuple[Row, ...] = ()
    stops: tuple[Check, ...] = ()  # nobody goes by the plan while there is one
    to_settle: tuple[Check, ...] = ()  # of dives made: the dive director decides
    cautions: tuple[Check, ...] = ()  # that the plan which holds did not have
    known: tuple[Check, ...] = ()  # that it had

    @property
    def verdict(self) -> str:
        """Whether one may go, in a few words."""
        if self.stops:
            return "Do not go"
        if self.to_settle:
            return "The dive director decides first"
        return "Go with care" if self.cautions or self.known else "Go"


@dataclass(frozen=True)
class Made:
    """All that was done so far on the day."""

    dives: tuple[ActualDive, ...]
    counted: tuple[Counted, ...]
    checks: tuple[Check, ...]  # what was assumed of them, or is missing
    alarms: tuple[Alarm, ...]


def _made(slug: str, day: date, strict: bool) -> tuple[Made, Held]:
    """Return what was done on a day, at every site, and what the day goes by at this one."""
    live, held, events = _state(slug, day)
    found = list(actual_dives(events, held.dives))
    for other in dict.fromkeys(event.site for event in kept().events(day)):
        if other != slug:
            site = shelf().sites.get(other)
            zone = ZoneInfo(site.timezone if site else "UTC")
            seen = events_for_who_asks(kept().events(day, other))
            there = [replace(each, at=each.at.astimezone(zone)) for each in seen]
            found.extend(actual_dives(there, _held(other, day).dives))
    dives = tuple(found)
    try:
        counted = counted_dives(dives, shelf().world.rules, strict=strict)
    except OutOfRange:
        counted = ()  # the request says who has to write what first
    return Made(dives, counted, check_counted(counted), live.alarms), held


def _next(asked: Request, made: Made, held: Held, moment: datetime, strict: bool) -> Next:
    world = told_here(asked.site)
    numbers = remaining_numbers(asked, made.dives)
    if not numbers:
        return Next(asked, done=True)
    try:
        left = remaining_request(asked, made.dives, moment, world, strict=strict)
        plan = numbered_as(plan_day(left, world), numbers)
    except OutOfRange as error:
        missing = [check for check in check_recent_dives(made.dives) if check.outcome is Outcome.STOP]
        return Next(asked, trouble=folded(missing) or (f"{error}".rstrip(".") + ".",))
    except CannotPlan as error:
        return Next(asked, trouble=tuple(f"{sentence}." for _, sentence in error.faults))
    by_key = {(alike(dive.group), dive.number): dive for dive in held.dives}
    records = check_made(left, made.dives)
    more = check_ascents(asked, left, made.dives, world)
    found = checks_for_who_asks((*plan.checks, *more))
    cautions = [check for check in found if check.outcome is Outcome.CAUTION]
    told = {check["sentence"] for kept_plan in held.plans for check in kept_plan.get("checks", ())}
    return Next(
        asked,
        left,
        plan,
        rows=tuple(Row(by_key.get((alike(dive.group), dive.number)), dive) for dive in plan.dives),
        stops=(
            *(check for check in records if check.rule not in SETTLED),
            *(check for check in found if check.outcome is Outcome.STOP),
        ),
        to_settle=tuple(check for check in records if check.rule in SETTLED),
        cautions=tuple(check for check in cautions if check.sentence not in told),
        known=tuple(check for check in cautions if check.sentence in told),
    )


def folded(checks: Sequence[Check]) -> tuple[str, ...]:
    """Return the sentences of checks of a person's dive, those that say the same of several people as one."""
    said: dict[str, list[tuple[str, str]]] = {}
    for check in checks:
        name = check.subject.split(",")[0]
        before, found, after = check.sentence.partition(f"{name}, ")
        key = f"{after.replace(name, 'them')}" if found and not before and name else check.sentence
        if (name, check.sentence) not in (those := said.setdefault(key, [])):
            those.append((name, check.sentence))
    return tuple(
        those[0][1] if len(those) == 1 else f"{'; '.join(name for name, _ in those)}: {key}"
        for key, those in said.items()
    )


def _all(slug: str, day: date, moment: datetime, strict: bool) -> tuple[tuple[Next, ...], Made]:
    made, held = _made(slug, day, strict)
    asked = [one for one in shelf().requests.values() if one.site == slug and one.date == day]
    names = Counter(name for one in asked for name in {alike(group.name) for group in one.groups})
    return tuple(
        Next(one, trouble=twice) if (twice := _named_twice(one, names)) else _next(one, made, held, moment, strict)
        for one in asked
    ), made


def _named_twice(asked: Request, names: Mapping[str, int]) -> tuple[str, ...]:
    """Return why dives made cannot be told apart: entries name the group, and not its request."""
    return tuple(
        f"Two requests of this day have a group with the name {group.name}, and the entries do not say of which a dive "
        "is. Give the group that has not dived yet another name."
        for group in asked.groups
        if names[alike(group.name)] > 1
    )


def _revisions(found: Sequence[Next]) -> str:
    return " ".join(each.plan.revision for each in found if each.plan)


def _why_not(found: Sequence[Next], made: Made, slug: str, day: date) -> str:
    """Return why nobody may go by the plans; empty where they may."""
    if day != now().astimezone(ZoneInfo(_site_or_404(slug).timezone)).date():
        return "A plan is gone by on its own day only."
    if any(each.trouble for each in found):
        return "Not everything that has to be known is written down."
    if not any(each.plan for each in found):
        return "There is no new plan."
    if any(alarm.slug in FIRST_FIND for alarm in made.alarms):
        return "First everybody is found: see the day's page."
    if any(each.stops for each in found):
        return "Something stops it, see above."
    return ""


def _page(slug: str, day: date, trouble: str = "", status: int = 200, settled: str = "") -> BaseResponse:
    site = _site_or_404(slug)
    zone = ZoneInfo(site.timezone)
    moment, strict = now(), request.values.get("strict") == "1"
    found, made = _all(slug, day, moment, strict)
    page = render_template(
        "next.html",
        site=site,
        slug=slug,
        day=day,
        by=_writer(),
        signed=current_name(),
        found=found,
        made=made,
        zone=zone,
        moment=moment.astimezone(zone),
        revisions=_revisions(found),
        why_not=_why_not(found, made, slug, day),
        may_go=may(current_role(), "next_dive.go"),
        strict=strict,
        trouble=trouble,
        settled=settled,
        first_find=FIRST_FIND,
        folded=folded,
    )
    return make_response(page, status)


@bp.get("/today/<slug>/next")
def show(slug: str) -> BaseResponse:
    """Show the dives that are left, planned from what was done, beside the plan that holds."""
    return _page(slug, _day_asked())


@bp.post("/today/<slug>/next")
def go(slug: str) -> BaseResponse:
    """Keep the plans that were shown: the day goes by them from now on. Sent twice, they are kept once."""
    _site_or_404(slug)
    day, by, form = _day_asked(), _writer(), request.form
    settled = " ".join(form.get("settled", "").split())[:LONGEST_WORDS]
    nothing = "Nothing was changed, the day goes on by the plan that held."
    if not by:
        return _page(slug, day, f"{nothing} Say who you are.", 400, settled)
    try:
        moment = datetime.fromisoformat(form.get("at", ""))
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None or moment > now():
        return _page(slug, day, f"{nothing} The page had no time that can be used; this is the plan as of now.", 400)
    strict = form.get("strict") == "1"
    found, made = _all(slug, day, moment, strict)
    if _revisions(found) != form.get("revisions", ""):
        words = "Something was written down or has changed since that page was made: this is the plan as of now."
        return _page(slug, day, f"{nothing} {words}", 409, settled)
    if why := _why_not(found, made, slug, day):
        return _page(slug, day, f"{nothing} {why}", 400, settled)
    entries = [dive.entry for each in found if each.plan for dive in each.plan.dives if dive.entry is not None]
    if min(entries) < now():
        words = "The first of its dives was to go in before now: this is the plan as of now."
        return _page(slug, day, f"{nothing} {words}", 409, settled)
    if any(each.to_settle for each in found) and not settled:
        return _page(slug, day, f"{nothing} Write what the dive director decided.", 400)
    try:
        _keep(slug, day, by, found, made, settled, strict)
        newest = {each.revision for each in _held(slug, day).by_dive}
        if not {each.plan.revision for each in found if each.plan} <= newest:
            words = "The same plan was kept before another one, so it is not the newest; try again in five minutes."
            return _page(slug, day, f"{nothing} {words}", 409, settled)
    except StoreFault as error:
        return _page(slug, day, f"{nothing} {error}.", 500, settled)
    return redirect(url_for("live.show", slug=slug, date=day.isoformat(), by=by), code=303)


def _keep(slug: str, day: date, by: str, found: Sequence[Next], made: Made, settled: str, strict: bool) -> None:
    moment, world = now(), told_here(slug)
    for each in found:
        if each.plan is None or each.left is None:
            continue
        more = {
            "asked": each.asked.model_dump(mode="json"),
            "numbers": remaining_numbers(each.asked, made.dives),
            "strict": strict,
            "decided": settled,
            "decided_of": [check.sentence for check in each.to_settle],
        }
        kept_with = {"from_what_was_done": more, "request_name": name_of(each.asked)}
        if keep(slug, moment, by, each.left, each.plan, world, kept_with):
            audit("goes by a new plan", f"{slug} {day.isoformat()} {each.plan.revision}", by)
