"""A plan as terminal text, in the order in which a leader reads it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from tripplan.check import Check
from tripplan.documents.cautions import caution_groups
from tripplan.documents.packing_words import course_words, pack_rows, skills_lines
from tripplan.documents.picture import day_table
from tripplan.documents.words import (
    CAUTION_LINE,
    DEMONSTRATION,
    after_words,
    binding_words,
    care_words,
    clock,
    closure_words,
    contact_words,
    contest_words,
    counted,
    date_words,
    depth_down,
    dive_name,
    duration,
    edge_words,
    gas_words,
    gauge_words,
    grouped,
    height,
    interval_words,
    lead_words,
    losing_words,
    override_words,
    oxygen_words,
    pair_words,
    person_words,
    pressure,
    role_words,
    rules_of,
    slate_cells,
    slate_columns,
    slate_head,
    slate_notes,
    slate_row_words,
    source_words,
    verdict,
)
from tripplan.emergency.roles import ROLE_NAMES
from tripplan.planning.plan import DayPlan, DivePlan, Slate

NARROWEST = 40
LABEL = 16  # columns of the labels on the left


def plan_text(plan: DayPlan, width: int = 100) -> str:
    """Return a plan as plain text without colour, no line longer than ``width`` columns unless one word is.

    width -- columns, at least 40; a smaller one is taken as 40
    """
    page = _Page(max(width, NARROWEST))
    if plan.demonstration:
        page.line(DEMONSTRATION)
    page.line(f"*** {verdict(plan.verdict).upper()} ***")
    page.line(plan.headline)
    page.line(plan.nearest_edge)
    page.line(f"{plan.title or plan.site_name}; revision {plan.revision}; all times {plan.timezone}.")
    for check in plan.stops:
        page.item(f"STOP: {check.sentence}")
    _to_mind(page, plan)
    _the_day(page, plan)
    page.heading("The dives")
    for dive in plan.dives:
        _one_dive(page, plan, dive)
    if plan.slates:
        page.heading("If the first dive was not as planned")
    for slate in plan.slates:
        _one_slate(page, slate)
    page.heading("What could change the answer")
    for what_if in plan.what_ifs:
        page.item(what_if.sentence)
    for edge in plan.edges:
        what, much, then = edge_words(edge)
        page.item(f"{what}{': ' + much if much else ''}. {then}")
    if plan.conditions:
        page.heading("Seen and forecast")
        for line in plan.conditions:
            page.item(line)
    page.heading("On arrival, look and tick")
    for seen in plan.observations:
        page.item(f"{seen.what}: {seen.limit_words} ({seen.how})", "[ ] ")
    _if_it_goes_wrong(page, plan)
    _everything_else(page, plan)
    page.blank()
    page.line(CAUTION_LINE)
    if plan.demonstration:
        page.line(DEMONSTRATION)
    return "\n".join(page.lines)


class _Page:
    """Lines of at most so many columns."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.lines: list[str] = []

    def line(self, words: str, first: str = "", then: str = "") -> None:
        """Add a paragraph; control characters of a name never reach the terminal."""
        clean = "".join(c if c.isprintable() else " " for c in words)
        self.lines.extend(
            textwrap.wrap(
                clean, self.width, initial_indent=first, subsequent_indent=then or first, break_on_hyphens=False
            )
        )

    def blank(self) -> None:
        self.lines.append("")

    def heading(self, words: str) -> None:
        self.blank()
        self.line(words.upper())

    def item(self, words: str, mark: str = "- ") -> None:
        self.line(words, "  " + mark, "  " + " " * len(mark))

    def row(self, label: str, words: str) -> None:
        self.line(words, f"  {label:<{LABEL - 1}} ", " " * (LABEL + 2))


def _to_mind(page: _Page, plan: DayPlan) -> None:
    """Say what to do about the cautions, by when; why stands at the end, with the checks."""
    for place, group in enumerate(caution_groups(plan)):
        if place == 0:
            page.heading(f"Go only with these in mind ({counted(len(plan.cautions), 'caution')})")
            if plan.stops:
                page.line("Nobody goes in before every stop is mended. Then these are left:")
        page.line(f"{group.title}:")
        for line in group.lines:
            page.item(line.words, "[ ] ")


def _the_day(page: _Page, plan: DayPlan) -> None:
    page.heading("The day")
    for label, words in day_table(plan):
        page.row(label, words)
    page.row("Why closed", "each restriction with its minutes:" if plan.closures else "nothing closes the day")
    for closure in plan.closures:
        page.item(closure_words(closure, plan.date))


def _one_dive(page: _Page, plan: DayPlan, dive: DivePlan) -> None:
    day = plan.date
    page.item(f"{dive_name(dive)} ({dive.kind_words}) at {dive.place}", "* ")
    if dive.entry is None:
        page.row("When", "NO TIME: no minute of the day is possible. Do not go in.")
    else:
        page.row(
            "When",
            f"in {clock(dive.entry, day)}, down {clock(dive.descent, day)}, out {clock(dive.exit, day)}; "
            f"OUT BY {clock(dive.exit_by, day)}, overdue from {clock(dive.overdue_at, day)}; "
            f"in the water {duration(dive.water_time_min)}; the water closes {clock(dive.window_closes, day)}",
        )
    if dive.moved_because:
        page.row("Later because", dive.moved_because)
    page.row("In and out by", f"in by {dive.going_in_by}, out by {dive.coming_out_by}")
    page.row("Who", f"leader {dive.leader or 'none'}; assistants {', '.join(dive.assistants) or 'none'}")
    page.row("Pairs", pair_words(dive))
    page.row("Depth limit", f"{contest_words(dive.depth)} - {binding_words(dive.depth)}")
    page.row("", f"also: {'; '.join(losing_words(dive.depth)) or 'nothing'}")
    page.row("Longest time", f"{contest_words(dive.time)} - {binding_words(dive.time)}")
    if others := losing_words(dive.time):
        page.row("", f"also: {'; '.join(others)}")
    page.row("Planned", f"{depth_down(dive.depth_m)}, {duration(dive.bottom_time_min)} at the bottom")
    if dive.entry is not None:
        page.row("Gauge at most", gauge_words(dive))
        page.row("Gas", gas_words(dive))
        page.row("Interval", interval_words(dive))
        if plan.curve.tide_m:
            page.row("Tide", f"{height(dive.tide_entry_m)} going in, {height(dive.tide_exit_m)} coming out")
    if words := course_words(dive):
        page.row("Course", words)
        for line in skills_lines(dive):
            page.item(line, "    [ ] ")
    for person in dive.people:
        page.item(person_words(person), "    ")


def _one_slate(page: _Page, slate: Slate) -> None:
    """Say each row as a sentence: columns would break on a narrow terminal."""
    page.item(f"{slate_head(slate)}, longest bottom time:", "* ")
    for row in slate.rows:
        cells = zip(slate_columns(slate), slate_cells(row), strict=True)
        page.row(slate_row_words(row), "; ".join(f"after {interval}: {cell}" for interval, cell in cells))
    for note in slate_notes(slate):
        page.item(note, "    ")


def _if_it_goes_wrong(page: _Page, plan: DayPlan) -> None:
    emergency = plan.emergency
    page.heading("If it goes wrong")
    for place, contact in enumerate(emergency.contacts):
        first = "FIRST CALL " if place == 0 else ""
        page.item(f"{first}{contact.number}  {contact_words(contact)}", f"{contact.order}. ")
    if not emergency.contacts:
        page.item("NO NUMBER IS KNOWN: do not go before there is one.")
    page.row("Say", emergency.what_to_say)
    page.row("Position", f"{emergency.position_words} ({emergency.position_decimal}, {emergency.geo_uri})")
    page.row("Spoken", emergency.position_spoken)
    page.row("Meet at", f"{emergency.rendezvous_words} ({emergency.rendezvous_position}). {emergency.rendezvous_notes}")
    page.row("Road", emergency.road)
    page.row("Gate code", emergency.gate_code or "none")
    page.row("Telephone", emergency.phone_signal)
    page.row("Landline", emergency.landline or "none known")
    page.row("VHF", emergency.vhf or "none known")
    page.row("Lift out at", "; ".join(emergency.extraction) or "none known")
    page.row("Other way out", emergency.alternative_exit)
    page.row("Director", emergency.dive_director or "NOBODY NAMED")
    page.row("Shore watch", emergency.shore_watch or "NOBODY NAMED")
    page.row("Oxygen by", emergency.oxygen_provider or "NOBODY NAMED")
    page.row("Oxygen", oxygen_words(emergency.oxygen))
    for line in emergency.roles:
        page.row(ROLE_NAMES[line.key].capitalize(), role_words(line))
    for care in emergency.care:
        page.item(f"{care.number}  {care_words(care)}")
    if not emergency.care:
        page.item("No hospital and no chamber is known for this site.")


def _everything_else(page: _Page, plan: DayPlan) -> None:
    rules = rules_of(plan)
    passed = [check for check in plan.checks if check.outcome.severity == 0]
    page.heading(
        f"Checks: {counted(len(plan.stops), 'stop')}, {counted(len(plan.cautions), 'caution')}, {len(passed)} passed"
    )
    for check in plan.stops:
        page.item(f"{check.sentence} Source: {source_words(check.source, rules)}", "STOP: ")
    for todo in (line for group in caution_groups(plan) for line in group.lines):
        page.item(f"{todo.words}. Why:", "CAUTION: ")
        for reason in todo.reasons:
            said = "; ".join(dict.fromkeys(source_words(check.source, rules) for check in reason.checks))
            page.item(f"{reason.sentence} Source: {said}", "    ")
    for _, found in grouped(passed):
        page.item(f"{' '.join(check.sentence for check in found)} Source: {_sources(found, plan)}", "ok ")
    if plan.lead:
        page.heading("Lead")
        for line in plan.lead:
            page.item(f"{lead_words(line)}. {' '.join(line.sentences)}", "")
        page.item(plan.lead[0].check_words, "")
    if plan.packing is not None:
        page.heading("To pack")
        for count, what, state in pack_rows(plan.packing):
            page.item(f"{count:>2}  {what}{f' ({state})' if state else ''}", "[ ] ")
        for words in plan.packing.also:
            page.item(f"also in the store: {words}")
        for words in plan.packing.stay:
            page.item(f"LEAVE BEHIND: {words}", "x ")
        for words, source in plan.packing.notes:
            page.item(f"{words} Source: {source_words(source, rules)}", "")
    page.heading("After the last dive")
    for person in plan.after:
        said = "; ".join(after_words(stage, plan.date) for stage in person.stages) or "no time can be given"
        page.item(f"{person.name}, up at {clock(person.surfaced, plan.date)}: {said}", "")
    page.heading("The centre's own rules")
    for rule in plan.overrides:
        page.item(override_words(rule))
    if not plan.overrides:
        page.item("none: the baseline holds")
    page.heading("Hazards")
    for what, control in plan.hazards:
        page.item(f"{what}: {control}")
    page.heading("Briefing")
    for words in plan.briefing:
        page.item(words)
    page.heading("About this plan")
    page.row("Date", date_words(plan.date))
    page.row("Water", f"{plan.water_words}; surface {plan.elevation_m:g} m above sea level")
    page.row("Air pressure", f"{pressure(plan.surface_pressure_bar)} at the surface")
    page.row("Forecast", plan.forecast_words)
    page.row("Flag", plan.flag_rule)
    page.row("Rules here", plan.rules_here)
    for words in plan.attribution:
        page.row("Data", words)


def _sources(checks: Iterable[Check], plan: DayPlan) -> str:
    rules = rules_of(plan)
    return "; ".join(dict.fromkeys(source_words(check.source, rules) for check in checks))
