"""The pocket file: one page for a phone without a network, for every site dived on a day, with the worst moment first.

One HTML file that loads nothing: style, pictures and the script of the overdue clocks stand inside, and its own content
policy forbids everything else. Whoever makes it hands over the sheets, the plans and the search areas.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Literal
from zoneinfo import ZoneInfo

from jinja2 import Environment, FileSystemLoader, select_autoescape
from markupsafe import Markup

from tripplan.catalogue.site import Site
from tripplan.data_files import data_dir
from tripplan.documents.one_file import FILTERS, own_policy, without_turning_marks
from tripplan.documents.picture import day_picture, day_table
from tripplan.documents.sheet_words import gap_words, in_calling_order, sheet_text
from tripplan.documents.words import clock, height
from tripplan.emergency.numbers import phone_words
from tripplan.emergency.search_area import SearchArea
from tripplan.errors import OutOfRange
from tripplan.language import ENGLISH, Language
from tripplan.planning.action_sheet import ActionSheet, SheetContact, SheetDive
from tripplan.planning.drift import search_at, starts_within
from tripplan.planning.plan import DayCurve, DayPlan
from tripplan.planning.world import World
from tripplan.rulebook import RuleBook

LIMIT_BYTES = 1_000_000  # it stays below: a file that large still passes from phone to phone
TIDE_STEP_MIN = 30

# How much goes in, from all of it down to what nobody can do without.
Detail = Literal["all", "no_search_pictures", "no_plans", "one_search"]
DETAILS: tuple[Detail, ...] = ("all", "no_search_pictures", "no_plans", "one_search")


@dataclass(frozen=True)
class PocketSite:
    """One site of the day."""

    sheet: ActionSheet
    plans: tuple[DayPlan, ...]
    searches: Mapping[str, tuple[SearchArea, ...]]  # by search_key(): for somebody last seen at several times


def search_key(dive: SheetDive) -> str:
    """Return what tells a dive apart among those of its site: two requests may have a group of one name."""
    return f"{dive.group}, dive {dive.number}, {dive.entry.isoformat()}"


def pocket_site(sheet: ActionSheet, plans: Sequence[DayPlan], site: Site, world: World) -> PocketSite:
    """Return a site with a search area for every ten minutes of each dive, from leaving the surface to overdue."""
    searches: dict[str, tuple[SearchArea, ...]] = {}
    for dive in sheet.dives:
        areas = tuple(
            search_at(site, dive.search.last_seen, start, world) for start in starts_within(dive.descent, dive.exit_by)
        )
        searches[search_key(dive)] = areas
    return PocketSite(sheet, tuple(plans), searches)


def pocket_html(day: date, pages: Sequence[PocketSite], rules: RuleBook, language: Language = ENGLISH) -> str:
    """Return the pocket file of a day: one page below LIMIT_BYTES that needs nothing else.

    Where it would be larger, the pictures of the search areas are left out first (their tables stay), then the plans;
    the page says so.

    Raises OutOfRange for no site at all, for a sheet or plan of another day or site, and for a page that is still too
    large.
    """
    if not pages:
        raise OutOfRange("the pocket file needs a site that is dived on the day; none is given")
    for page in pages:
        made_for: list[tuple[str, ActionSheet | DayPlan]] = [("sheet", page.sheet)]
        made_for += [("plan", plan) for plan in page.plans]
        for what, of in made_for:
            if of.date != day or of.site != page.sheet.site:
                raise OutOfRange(
                    f"a {what} is of {of.site} on {of.date.isoformat()}; "
                    f"it must be of {page.sheet.site} on {day.isoformat()}"
                )
    for detail in DETAILS:
        made = without_turning_marks(_page(day, pages, rules, language, detail))
        size = len(made.encode())
        if size < LIMIT_BYTES:
            return made
    raise OutOfRange(
        f"the pocket file of {day.isoformat()} takes {size} bytes; it must be below {LIMIT_BYTES}: "
        "make one for fewer sites at a time"
    )


def _page(day: date, pages: Sequence[PocketSite], rules: RuleBook, language: Language, detail: Detail) -> str:
    templates = data_dir("templates")
    environment = Environment(
        loader=FileSystemLoader(templates / "pages"),
        autoescape=select_autoescape(),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(FILTERS)
    script = (templates / "static" / "pocket.js").read_text(encoding="utf-8")
    style = "".join((templates / "static" / name).read_text(encoding="utf-8") for name in ("page.css", "pocket.css"))
    sites = [_site(f"s{n}", page, rules, language, detail, environment) for n, page in enumerate(pages, start=1)]
    texts = [site["sheet"] for site in sites]
    return environment.get_template("pocket.html").render(
        language=language,
        day=language.day(day),
        sites=sites,
        w=_words(language),
        labels=texts[0]["labels"],
        gaps=gap_words(language),
        demonstration=next((text["demonstration"] for text in texts if text["demonstration"]), ""),
        notice=texts[0]["notice"],
        caution=texts[0]["caution"],
        policy=own_policy(style, script),
        style=Markup(style),
        script=Markup(script),
        clock_words=json.dumps(_clock_words(language), ensure_ascii=False),
        searches_drawn=detail == "all",
        all_times=detail != "one_search",
        plans_inside=detail not in ("no_plans", "one_search"),
    )


# ---- words ----


def _words(language: Language) -> dict[str, str]:
    """Return the headings and labels of this file; those that other faces have too come with the sheet."""
    return {
        "title": language.say("Pocket file"),
        "saved": language.say("Saved copy of revisions"),
        "still": language.say("Ask the centre whether they still hold."),
        "still_why": language.say(
            "A file cannot know what was changed after it was saved, and it does not say when that was."
        ),
        "sheet_revision": language.say("emergency sheet"),
        "plan_revision": language.say("plan"),
        "no_plan": language.say("No plan is in this file."),
        "times_left_out": language.say(
            "The search areas of later times are left out: with them the file would be too large."
        ),
        "plans_left_out": language.say("The plans are left out: with them the file would be too large."),
        "pictures_left_out": language.say(
            "The pictures of the search areas are left out: with them the file would be too large. The tables stand."
        ),
        "index": language.say("What is in this file"),
        "to_index": language.say("To the top"),
        "happened": language.say("IT HAPPENED"),
        "call": language.say("Call"),
        "say": language.say("What to say on the telephone"),
        "call_next": language.say("If nobody answers, call"),
        "nobody_to_call": language.say("NOBODY TO CALL is on file."),
        "clocks": language.say("Overdue clocks"),
        "no_clock": language.say("No clock runs here: look at the times yourself."),
        "missing_steps": language.say("Steps: a diver is missing"),
        "look_for": language.say("Where to look for this dive"),
        "contacts": language.say("Whom to call"),
        "open_map": language.say("Open this place in a map"),
        "undo": language.say("Undo: somebody is still in the water"),
        "last_seen": language.say("Last seen at {time}", time="{time}"),
        "from_position": language.say("from {position}", position="{position}"),
        "tide": language.say("Tide"),
        "no_tide": language.say("No tide is in this file."),
        "every": language.say("Every {minutes} min", minutes=TIDE_STEP_MIN),
        "slate": language.say("If the first dive was not as planned"),
        "plan": language.say("The plan"),
        "plan_language": language.say("The plan itself is in English."),
        "in_order": language.say("Nothing that was checked is out of order."),
        "local_time": language.say("Times are those of the site: {zone}", zone="{zone}"),
    }


def _clock_words(language: Language) -> dict[str, str]:
    """Return what the clocks say; the script puts the values in."""
    return {
        "minutes": language.say("{min} min"),
        "hours": language.say("{h} h {min} min"),
        "before": language.say("In at {clock}, in {time}. Out by {out}."),
        "left": language.say("Out by {clock}, in {time}."),
        "left_none": language.say("Out by {clock}, in less than 1 min."),
        "overdue": language.say("OVERDUE since {time}: start the missing-diver steps."),
        "overdue_now": language.say("OVERDUE now: start the missing-diver steps."),
        "long_ago": language.say(
            "Nobody noted that they are out. They had to be out by {clock} on {day}; this telephone shows a later day. "
            "If it is right and anybody is still in the water: start the missing-diver steps."
        ),
        "another_day": language.say("This dive is on {day}. This telephone shows an earlier day."),
        "out": language.say("Everybody is out: noted at {clock} on this telephone. The clock is stopped."),
        "button": language.say("Everybody is out"),
        "button_early": language.say("Everybody is out (from {clock} on)"),
        "button_done": language.say("Noted: everybody is out"),
        "kept": language.say("This telephone keeps the note when the page is closed."),
        "not_kept": language.say("This telephone does not keep the note: it is gone when the page is closed."),
        "bar": language.say("OVERDUE: {dive}"),
        "bar_more": language.say("OVERDUE: {number} dives, first {dive}"),
        "phone": language.say(
            "By this telephone it is {clock} at the site. Check that with a watch: the clocks hang on it."
        ),
    }


# ---- one site ----


def _site(
    key: str, page: PocketSite, rules: RuleBook, language: Language, detail: Detail, environment: Environment
) -> dict[str, Any]:
    """Return all that the template shows of a site.

    key -- goes before every id of the site, so that two sites can stand on one page
    """
    sheet = page.sheet
    text = sheet_text(sheet, language)
    contacts = [
        line | {"useless": _useless(held)} for line, held in zip(text["contacts"], in_calling_order(sheet), strict=True)
    ]
    plans = []
    for number, plan in enumerate(page.plans if detail not in ("no_plans", "one_search") else (), start=1):
        prefix = f"{key}p{number}-"
        plans.append(
            {
                "id": f"{key}-plan-{number}",
                "title": plan.title,
                "slate": f"{prefix}slate" if plan.slates else "",
                "body": Markup(with_prefix(_plan_body(plan, rules, environment), prefix)),
            }
        )
    dives = _dives(key, page, text, language, detail)
    return {
        "id": key,
        "sheet": text,
        "contacts": contacts,
        "call": [line for line in contacts if line["link"] and not line["useless"]][:2],
        "phone": next(script for script in text["scripts"] if script["kind"] == "phone"),
        "scripts": [script for script in text["scripts"] if script["kind"] != "phone"],
        "country_numbers": _linked(text["country_numbers"], [_tel(each.number) for each in sheet.country_numbers]),
        "tell_after": _linked(
            text["tell_after"],
            [phone_words(one.number, sheet.country).link if one.number else "" for one in sheet.tell_after],
        ),
        "dives": dives,
        "offset_min": dives[-1]["offset_min"] if dives else _offset_min(datetime.combine(sheet.date, time(12)), sheet),
        "plans": plans,
        "plan_revisions": [plan.revision for plan in page.plans],
        "tide": _tide(page, language),
    }


def _useless(line: SheetContact) -> bool:
    """Return whether somebody found today that nobody is helped by calling this number."""
    return line.today is not None and line.today.found in ("wrong", "closed")


def _linked(lines: Sequence[str], links: Sequence[str]) -> list[tuple[str, str]]:
    """Return lines with the tel: address of each; a line that stands for a gap has none."""
    return list(zip(lines, links, strict=True)) if links else [(line, "") for line in lines]


def _tel(number: str) -> str:
    """Return the tel: address of a country's own short number."""
    digits = "".join(sign for sign in number if sign in "0123456789")
    return f"tel:{digits}" if digits else ""


def _plan_body(plan: DayPlan, rules: RuleBook, environment: Environment) -> str:
    return environment.get_template("_plan.html").render(
        within=True, plan=plan, rules=rules, wide="", narrow=day_picture(plan, narrow=True), table=day_table(plan)
    )


def _dives(
    key: str, page: PocketSite, text: Mapping[str, Any], language: Language, detail: Detail
) -> list[dict[str, Any]]:
    found = []
    for number, (dive, words) in enumerate(zip(page.sheet.dives, text["dives"], strict=True), start=1):
        searches = []
        asked = _searches(page, dive, language)
        for count, (area, search) in enumerate(asked[:1] if detail == "one_search" else asked, start=1):
            picture = with_prefix(search["picture"], f"{key}d{number}a{count}-") if detail == "all" else ""
            searches.append(
                {
                    "time": language.clock(area.last_seen_at, page.sheet.timezone),
                    "position": area.last_seen.degrees_minutes,
                    "geo": area.last_seen.geo_uri,
                    "head": search["head"],
                    "rows": search["rows"],
                    "words": search["words"],
                    "picture": Markup(picture),
                }
            )
        found.append(
            {
                "id": f"{key}-dive-{number}",
                "look": f"{key}-look-{number}",
                "words": words,
                "key": _memory_key(page.sheet, dive),
                "entry": _utc(dive.entry),
                "exit_by": _utc(dive.exit_by),
                "offset_min": _offset_min(dive.exit_by, page.sheet),
                "searches": searches,
            }
        )
    return found


def _searches(page: PocketSite, dive: SheetDive, language: Language) -> list[tuple[SearchArea, Mapping[str, Any]]]:
    """Return each search area of a dive with its words: the sheet's own words, asked for that time."""
    areas = page.searches.get(search_key(dive)) or (dive.search,)
    asked = replace(page.sheet, dives=tuple(replace(dive, search=area) for area in areas))
    return list(zip(areas, sheet_text(asked, language)["searches"], strict=True))


def _memory_key(sheet: ActionSheet, dive: SheetDive) -> str:
    """Return under what name a telephone keeps that a dive is out: other people or times are another dive."""
    told = [sheet.site, dive.group, dive.number, _utc(dive.entry), _utc(dive.exit_by), *sorted(dive.people)]
    return "tripplan-out-" + hashlib.sha256(json.dumps(told).encode()).hexdigest()[:16]


def _utc(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def _offset_min(moment: datetime, sheet: ActionSheet) -> int:
    """Return how many minutes the site's clock is ahead of UTC; a naive moment is one of the site's clock."""
    zone = ZoneInfo(sheet.timezone)
    there = moment.replace(tzinfo=zone) if moment.tzinfo is None else moment.astimezone(zone)
    return round((there.utcoffset() or timedelta()) / timedelta(minutes=1))


# ---- the tide ----


def _tide(page: PocketSite, language: Language) -> dict[str, Any] | None:
    """Return the tide of the day in words, from the first plan that knows it; None without a plan."""
    if not page.plans:
        return None
    plan = next((plan for plan in page.plans if plan.curve.tide_m), page.plans[0])
    kinds = {"high": language.say("High water"), "low": language.say("Low water")}
    return {
        "words": plan.tide_words,
        "events": [
            (kinds.get(event.kind, event.kind), clock(event.time), height(event.height_m)) for event in plan.tide_events
        ],
        "heights": _heights(plan.curve, language),
    }


def _heights(curve: DayCurve, language: Language) -> list[tuple[str, str, str]]:
    """Return a row every half an hour: the clock, the height, and whether the water rises or falls until the next."""
    rows = []
    for minute in range(0, min(curve.minutes, len(curve.tide_m)), TIDE_STEP_MIN):
        moment = (curve.midnight.astimezone(UTC) + timedelta(minutes=minute)).astimezone(curve.midnight.tzinfo)
        here = curve.tide_m[minute]
        onward = curve.tide_m[min(minute + TIDE_STEP_MIN, len(curve.tide_m) - 1)]
        if math.isnan(here):
            rows.append((clock(moment), language.say("not known"), ""))
            continue
        way = language.say("rising") if onward > here else language.say("falling") if onward < here else ""
        rows.append((clock(moment), height(here), way))
    return rows


# ---- names of parts, each only once on the page ----

_TAG = re.compile(r"""<[a-zA-Z](?:[^"'>]|"[^"]*"|'[^']*')*>""")
_ATTRIBUTE = re.compile(r"""(\s)([^\s"'>/=]+)(?:=("[^"]*"|'[^']*'))?""")
_NAMES = {"id", "for", "headers", "list", "form", "aria-labelledby", "aria-describedby", "aria-controls", "aria-owns",
          "aria-details", "aria-activedescendant", "aria-flowto", "aria-errormessage"}  # fmt: skip
_LINKS = {"href", "xlink:href"}
_LINK_HERE = re.compile(r"url\(\s*(['\"]?)#")


def with_prefix(html: str, prefix: str) -> str:
    """Return HTML with a prefix before every id and every reference to one, so that it can stand on a page twice.

    Only attributes change, never text. What an SVG needs only outside HTML (its name spaces) is left out.
    """

    def changed(found: re.Match[str]) -> str:
        blank, name, quoted = found[1], found[2], found[3]
        if quoted is None:
            return found[0]
        if name == "xmlns" or name.startswith("xmlns:"):
            return ""
        mark, value = quoted[0], quoted[1:-1]
        if name in _NAMES:
            value = " ".join(prefix + each for each in value.split())
        elif name in _LINKS and value.startswith("#"):
            value = f"#{prefix}{value[1:]}"
        else:
            value = _LINK_HERE.sub(rf"url(\1#{prefix}", value)
        return f"{blank}{'href' if name in _LINKS else name}={mark}{value}{mark}"

    return _TAG.sub(lambda tag: _ATTRIBUTE.sub(changed, tag[0]), html)
