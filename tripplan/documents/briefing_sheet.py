"""The briefing of each group and dive on one page: what is said before going in, with lines for what nobody entered.

A4 or Letter, black on white, tagged for screen readers, equal bytes for equal plans. In a text "____" is a line to
write on.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from tripplan.check import Outcome
from tripplan.data_files import data_dir
from tripplan.documents.day_sheet import PAPERS
from tripplan.documents.fonts import FAMILIES, missing_sentences, printable, typst_fonts
from tripplan.documents.packing_words import AND_LEFT, NO_SKILLS, course_words, skill_words
from tripplan.documents.words import (
    CAUTION_LINE,
    DEMONSTRATION,
    after_words,
    binding_words,
    clock,
    contest_words,
    counted,
    date_words,
    depth_down,
    dive_name,
    duration,
    height,
    rule_amount,
    rules_of,
    source_words,
    verdict,
)
from tripplan.errors import OutOfRange
from tripplan.people.group import KINDS
from tripplan.planning.plan import DayPlan, DivePlan
from tripplan.rulebook import RuleBook

LINE = "____"  # where somebody writes
STOPS_SHOWN = 4  # on a page; the plan of the day holds all


def briefing_sheets_pdf(
    plan: DayPlan,
    paper: str = "a4",
    languages: Mapping[str, str] | None = None,
    routes: Mapping[str, str] | None = None,
) -> bytes:
    """Return the briefings of a plan as one tagged PDF (PDF/UA-1), a page for each dive in the order of the plan.

    paper     -- "a4" or "letter"
    languages -- by name, the language of everybody whose language is not the one of the sheet; None: nobody was asked
    routes    -- by group, the way under water in words; a group that is not in it gets lines to write on

    Equal plans give equal bytes: the document's date is the plan's. Raises OutOfRange for another paper and for a plan
    without dives.
    """
    import typst

    if paper not in PAPERS:
        raise OutOfRange(f'paper is "{paper}"; it must be "a4" or "letter"')
    if not plan.dives:
        raise OutOfRange("the plan has no dive; there must be at least one to brief")
    values = briefing_values(plan, languages, routes)
    pdf = typst.compile(
        input=(data_dir("templates") / "sheets" / "briefing.typ").read_bytes(),
        font_paths=typst_fonts(),
        sys_inputs={"data": json.dumps({**values, "paper": PAPERS[paper], "fonts": FAMILIES}, allow_nan=False)},
        pdf_standards="ua-1",
        timestamp=datetime(plan.date.year, plan.date.month, plan.date.day, tzinfo=UTC),
    )
    return bytes(pdf)


def briefing_values(
    plan: DayPlan, languages: Mapping[str, str] | None = None, routes: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """Return every word of the briefings, in which each character can be printed.

    A character that the sheet's fonts lack becomes "?", and ``replaced`` is the sentence that says so ("" if none).
    """
    missing: dict[str, None] = {}
    values: dict[str, Any] = printable(_values(plan, languages, routes or {}), missing)
    values["replaced"] = " ".join(missing_sentences(missing))
    return values


# ---- words ----


def _values(plan: DayPlan, languages: Mapping[str, str] | None, routes: Mapping[str, str]) -> dict[str, Any]:
    rules = rules_of(plan)
    return {
        "site": plan.site_name,
        "date": date_words(plan.date),
        "timezone": plan.timezone,
        "revision": plan.revision,
        "demonstration": DEMONSTRATION if plan.demonstration else "",
        "caution_line": CAUTION_LINE,
        "sources": _sources(plan, rules),
        "sheets": [_sheet(plan, dive, languages, routes, rules) for dive in plan.dives],
    }


def _sheet(
    plan: DayPlan, dive: DivePlan, languages: Mapping[str, str] | None, routes: Mapping[str, str], rules: RuleBook
) -> dict[str, Any]:
    names = _names(dive)
    stops = [check.sentence for check in plan.stops]
    shown = stops[:STOPS_SHOWN]
    outcome = Outcome.STOP if stops or dive.entry is None else plan.verdict
    if len(stops) > len(shown):
        shown.append(f"And {counted(len(stops) - len(shown), 'more stop')} on the plan of the day.")
    return {
        "name": dive_name(dive),
        "title": f"{dive_name(dive)}: {dive.kind_words}",
        "verdict": verdict(outcome).upper(),
        "stop": outcome is Outcome.STOP,
        "stops": shown,
        "cautions": f"{counted(len(plan.cautions), 'caution')} on the plan of the day: read first."
        if plan.cautions
        else "",
        "timed": dive.entry is not None,
        "times": _times(plan, dive),
        "sections": [
            section
            for section in (
                _place(plan, dive),
                _hazards(plan),
                _route(plan, dive, routes),
                *_skills(dive),
                _limits(dive),
                _gas(dive),
                _together(plan, dive),
                _pairs(dive),
                _signals(),
                _separated(plan, dive),
                _way_up(dive, rules),
                _hurt(plan, dive),
                _afterwards(plan, dive),
            )
        ],
        "homeward": _homeward(plan, names),
        "homeward_note": "They are for the day as planned: out later, deeper or longer, ask again. Other heights: ask.",
        "languages": _languages(names, languages),
    }


def _names(dive: DivePlan) -> tuple[str, ...]:
    """Return everybody on a dive, each once, leader first."""
    leader = (dive.leader,) if dive.leader else ()
    return tuple(dict.fromkeys((*leader, *dive.assistants, *dive.divers, *(person.name for person in dive.people))))


def _section(title: str, *rows: tuple[str, str], **parts: Any) -> dict[str, Any]:
    return {"title": title, "rows": [list(row) for row in rows], **parts}


def _or_line(words: str | None, gap: str) -> str:
    """Return what is known, or what is not with a line to write it on."""
    return words.strip() if words and words.strip() else f"{gap} {LINE}"


def _times(plan: DayPlan, dive: DivePlan) -> list[list[str]]:
    if dive.entry is None:
        return []
    return [
        ["In", clock(dive.entry, plan.date)],
        ["Down", clock(dive.descent, plan.date)],
        ["Out, as planned", clock(dive.exit, plan.date)],
        ["Out by, no later", clock(dive.exit_by, plan.date)],
        ["Overdue, alarm", clock(dive.overdue_at, plan.date)],
    ]


def _place(plan: DayPlan, dive: DivePlan) -> dict[str, Any]:
    rows = [
        ("Place", _or_line(dive.place, "not on record:")),
        ("Way in", _or_line(dive.going_in_by, "not on record:")),
        ("Way out", _or_line(dive.coming_out_by, "not on record:")),
        ("Other exit", _or_line(plan.emergency.alternative_exit, "none is known; agree one:")),
    ]
    if plan.curve.tide_m and dive.entry is not None:
        rows.append(("Tide", f"{height(dive.tide_entry_m)} going in, {height(dive.tide_exit_m)} coming out"))
    rows += [
        ("Water", _or_line(plan.water_words, "not known:")),
        ("Told", " ".join(plan.conditions) or "nobody has seen or forecast the sea for this plan"),
        ("Seen now", f"waves {LINE} m, wind {LINE}, stream {LINE}, visibility {LINE} m"),
        ("Flag", _or_line(plan.flag_rule, "no rule is on record:")),
        ("Rules here", _or_line(plan.rules_here, "none on record:")),
    ]
    return _section("The place today", *rows)


def _hazards(plan: DayPlan) -> dict[str, Any]:
    rows = [(what, control) for what, control in plan.hazards]
    if not rows:
        rows = [("None is on record", f"that does not mean that there is none: {LINE}")]
    return _section("Hazards, and what is done about each", *rows)


def _route(plan: DayPlan, dive: DivePlan, routes: Mapping[str, str]) -> dict[str, Any]:
    swim = ""
    if dive.entry is not None and dive.descent is not None:
        minutes = (dive.descent.timestamp() - dive.entry.timestamp()) / 60
        swim = f", {duration(minutes)} to where we go down at {clock(dive.descent, plan.date)}" if minutes >= 1 else ""
    rows = [("Out", f"in by {dive.going_in_by or LINE}{swim}")]
    if known := routes.get(dive.group, "").strip():
        rows.append(("To", known))
    else:
        rows += [
            ("To", f"{dive.place or LINE}; first towards {LINE} (direction not on record)"),
            ("Turn at", f"not on record: {LINE}"),
        ]
    rows.append(("Back", f"by {LINE} to {dive.coming_out_by or LINE}"))
    return _section("Route", *rows)


def _limits(dive: DivePlan) -> dict[str, Any]:
    if dive.entry is None:
        return _section("Limits", ("No limits", "the dive has no time, so nothing was worked out. Nobody goes in."))
    rows = [
        ("Depth", f"{depth_down(dive.depth_m)} and no deeper"),
        ("", f"limit {contest_words(dive.depth)}, because {binding_words(dive.depth)}"),
    ]
    zeroed, sealed = depth_down(dive.gauge_zeroed_m), depth_down(dive.gauge_sealed_m)
    if not zeroed == sealed == depth_down(dive.depth_m):
        same = f"at most {zeroed}"
        rows.append(
            ("Gauge", same if zeroed == sealed else f"{same} if zeroed at the surface, {sealed} if sealed at sea level")
        )
    rows += [
        ("Time", f"{duration(dive.bottom_time_min)} at the bottom, {duration(dive.water_time_min)} in the water"),
        ("", f"longest {contest_words(dive.time)}, because {binding_words(dive.time)}"),
        ("Ends", "The first limit that anybody reaches ends the dive for all."),
    ]
    return _section("Limits", *rows)


def _skills(dive: DivePlan) -> list[dict[str, Any]]:
    """Return the skills of a course dive with a box for each learner who still has to do it."""
    words = course_words(dive)
    if not words:
        return []
    who = [name for name in dive.divers if any(name in line.learners for line in dive.skills)]
    rows = [[skill_words(line, dive), [_box(name, line.learners, line.again) for name in who]] for line in dive.skills]
    notes = [f"{AND_LEFT[0].upper()}{AND_LEFT[1:]}: {LINE}"] if dive.number > 1 else []
    notes += [] if dive.skills else [f"{NO_SKILLS}."]
    notes.append("Ticked when seen done well, by the instructor. What is not done stays open and comes again.")
    return [_section(f"Skills: {words}", learners=who, skills=rows, notes=notes)]


def _box(name: str, learners: Sequence[str], again: Sequence[str]) -> str:
    """Return whether somebody does a skill: a box to tick, one of a repeat, or nothing."""
    return "again" if name in again else "open" if name in learners else "done"


def _gas(dive: DivePlan) -> dict[str, Any]:
    mixes = dict.fromkeys(person.oxygen_percent for person in dive.people) or {dive.oxygen_percent: None}
    rows = []
    for percent in mixes:
        who = [person.name for person in dive.people if person.oxygen_percent == percent]
        mix = "air" if percent <= 21 else f"{percent:g} % oxygen, analysed and marked"
        rows.append(("Gas", mix if len(mixes) == 1 else f"{mix}: {', '.join(who)}"))
    gas = dive.gas
    if gas is None:
        rows += [
            ("Turn", f"cylinders not known: turn at {LINE} bar"),
            ("Come up", f"cylinders not known: leave the bottom at {LINE} bar"),
        ]
        return _section("Gas", *rows)
    rows[0] = (rows[0][0], f"{rows[0][1]}; {gas.cylinder_l:g} l at {gas.fill_bar:g} bar")
    rows += [
        (
            "Turn",
            f"at {gas.turn_bar} bar, whoever gets there first"
            if gas.turn_bar is not None
            else "NOT ENOUGH GAS TO GO OUT WITH",
        ),
        (
            "Come up",
            f"minimum gas {gas.minimum_gas_bar} bar: leave the bottom at once"
            if gas.minimum_gas_bar is not None
            else "NO FILL OF THIS CYLINDER IS ENOUGH",
        ),
        ("Out with", f"{gas.surface_with_bar:g} bar or more"),
    ]
    return _section("Gas", *rows)


def _together(plan: DayPlan, dive: DivePlan) -> dict[str, Any]:
    emergency = plan.emergency
    return _section(
        "Who does what",
        ("Leads", _or_line(dive.leader, "nobody leads; who decides:")),
        *([("Assist", ", ".join(dive.assistants))] if dive.assistants else []),
        ("Director", _or_line(emergency.dive_director, "NOBODY NAMED:")),
        ("Ashore", _or_line(emergency.shore_watch, "NOBODY NAMED:")),
        ("Count", f"by {LINE} and {LINE}, going in and coming out; nobody leaves without signing off"),
    )


def _pairs(dive: DivePlan) -> dict[str, Any]:
    paired = {name for pair in dive.pairs for name in pair}
    alone = [name for name in dive.divers if name not in paired]
    pairs = [list(pair) for pair in dive.pairs]
    note = f"Not paired yet: {', '.join(alone)}. With whom: {LINE}" if alone else ""
    kind = KINDS.get(dive.kind)
    if kind is None or not kind.led or not dive.leader:
        stay = "Stay so near that you can touch your buddy within two breaths. Nobody dives alone."
    elif kind.training:
        stay = f"Stay where {dive.leader} can touch you; in front or beside, never behind. Nobody dives alone."
    else:
        stay = f"Stay where {dive.leader} can see and reach you; nobody lags behind, nobody dives alone."
    return _section("Pairs", pairs=pairs, notes=[words for words in (note, stay) if words])


def _signals() -> dict[str, Any]:
    return _section(
        "Signals: shown now, answered under water",
        signals=[
            ["All well; the answer", "thumb and forefinger, a ring"],
            ["Turn back", "raised forefinger circles"],
            ["Come up, all of us", "fist, thumb up"],
            ["Low on gas", "fist on the chest"],
            ["No gas: share", "flat hand across the throat"],
            ["Problem; point at it", "flat hand, palm down, rocks"],
            ["Stay together", "two forefingers side by side"],
        ],
        notes=["Usual signs from memory; write yours where it differs. No answer is a problem."],
    )


def _separated(plan: DayPlan, dive: DivePlan) -> dict[str, Any]:
    overdue = "" if dive.entry is None else f" From {clock(dive.overdue_at, plan.date)} the missing-diver plan starts."
    return _section(
        "Separated, or called back",
        ("Separated", "Look for one minute, no longer. Come up slowly. Meet at the surface and wait there."),
        ("Not met", f"Signal to the shore at once. Nobody goes down again to look.{overdue}"),
        ("Recall", f"no signal is on record; ours is {LINE}, given by {LINE}"),
        ("On it", "End the dive, come up slowly and together, leave the water."),
    )


def _way_up(dive: DivePlan, rules: RuleBook) -> dict[str, Any]:
    rate = f"Come up slowly: no faster than {rules.value('ascent.rate_m_min'):g} m a minute."
    stop_min, stop_m = rules.value("safety_stop.minutes_min"), rules.value("safety_stop.depth_m")
    from_m = rules.value("safety_stop.from_depth_m")
    if dive.depth_m is None or dive.depth_m >= from_m:
        stop = f"Stop as the plan says: {duration(stop_min)} at {depth_down(stop_m)}, then slowly to the surface."
    else:
        stop = (
            f"No stop is planned for this depth. Was anybody at {depth_down(from_m)} or deeper: stop "
            f"{duration(stop_min)} at {depth_down(stop_m)}."
        )
    points = [
        "Never hold your breath: breathe all the time.",
        "Equalise early and often. If it hurts: stop, go up a little, signal. Never force it.",
        rate,
        stop,
        "Cold, unwell, afraid or out of breath: signal at once. Anyone may end the dive at any time, without a reason.",
    ]
    kind = KINDS.get(dive.kind)
    if kind is not None and kind.training:
        points.append(
            "Learners who must come up alone: look up, breathe out all the way, swim up slowly. At the surface make "
            "yourself float: fill the jacket, or drop the lead. Practised before, seen by "
            f"{LINE}"
        )
    return _section("In the water and on the way up", points=points)


def _hurt(plan: DayPlan, dive: DivePlan) -> dict[str, Any]:
    emergency = plan.emergency
    out = "; ".join(emergency.extraction) or f"none is on record; {dive.coming_out_by or LINE}, or {LINE}"
    if emergency.contacts:
        first = emergency.contacts[0]
        ring = "" if first.fresh else " RING IT BEFORE THE FIRST DIVE."
        call = f"{first.number} ({first.role_words}: {first.name}, {first.hours}).{ring}"
    else:
        call = f"NO NUMBER IS KNOWN. Do not go before there is one: {LINE}"
    kept = "; ".join(dict.fromkeys(line.kept for line in emergency.oxygen.lines)) if emergency.oxygen else ""
    given = _or_line(emergency.oxygen_provider, "by (NOBODY NAMED):")
    return _section(
        "If somebody is hurt",
        ("Bring out", out),
        ("Call", call),
        ("We are at", _or_line(emergency.position_words, "not known:")),
        ("Signal", _or_line(emergency.phone_signal, "not known where a call goes out:")),
        ("Oxygen", f"{given}; stands {_or_line(kept, 'not on record:')}"),
        ("Sheet", f"the emergency sheet says the rest. It lies {LINE}"),
    )


def _afterwards(plan: DayPlan, dive: DivePlan) -> dict[str, Any]:
    report = plan.emergency.dive_director or dive.leader or LINE
    return _section(
        "After the dive",
        points=[
            f"The leader looks at each diver and asks how they are: all well at {LINE} by {LINE}",
            f"Tell {report} at once of anything that feels wrong, now or in the next two days: pain, tingling, "
            "weakness, giddiness, a rash, trouble with breathing, unusual tiredness.",
            "Drink water, get dry, get warm. No hard work today.",
            "No flying and no drive over a height (a pass, a home in the hills) before the time below.",
        ],
    )


def _homeward(plan: DayPlan, names: Sequence[str]) -> list[list[str]]:
    """Return when each person may climb the heights of the way home; people with the same times stand together."""
    told = {one.name: one for one in plan.after}
    by_words: dict[str, list[str]] = {}
    for name in names:
        one = told.get(name)
        words = "; ".join(after_words(stage, plan.date) for stage in one.stages) if one is not None else ""
        by_words.setdefault(words or f"no time is known; not before {LINE}", []).append(name)
    return [[_people(who, names), words] for words, who in by_words.items()]


def _people(who: Iterable[str], everybody: Sequence[str]) -> str:
    named = list(who)
    return f"All of this dive ({', '.join(named)})" if 1 < len(named) == len(everybody) else ", ".join(named)


def _languages(names: Sequence[str], languages: Mapping[str, str] | None) -> list[str]:
    if languages is None:
        return [f"Languages are not on record. Who needs another one: {LINE}, put into it by {LINE}"]
    lines = [
        f"{name}: {languages[name].strip()}. Put into it by {LINE}, at {LINE}"
        for name in names
        if languages.get(name, "").strip()
    ]
    return lines or [f"No other language is on record for these people. Who needs one: {LINE}"]


def _sources(plan: DayPlan, rules: RuleBook) -> str:
    """Return where the numbers of the page come from, each source once with all that is from it."""
    by_origin: dict[str, list[str]] = {}
    for key in ("ascent.rate_m_min", "safety_stop.minutes_min", "safety_stop.depth_m", "safety_stop.from_depth_m"):
        rule = rules[key]
        title = f"{rule.title}, {rule_amount(rule.value, rule.unit)}"
        by_origin.setdefault(source_words(key, rules).removeprefix(f"{title}: "), []).append(title)
    told = [f"{', '.join(titles)}: {origin}" for origin, titles in by_origin.items()]
    waits = dict.fromkeys(source_words(stage.source, rules) for one in plan.after for stage in one.stages)
    if waits:
        told.append(f"waits: {'; '.join(waits)}")
    told.append("the minute of looking, signs, breathing and ears: common practice of the trade [from memory]")
    return "; ".join(told)
