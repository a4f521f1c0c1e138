"""The printed plan of a day: A4 or Letter, readable in grey, tagged for screen readers, equal bytes for equal plans."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any, Literal

from tripplan.check import Check
from tripplan.data_files import data_dir
from tripplan.documents.cautions import caution_groups, cautions_line
from tripplan.documents.fonts import FAMILIES, missing_sentences, paper_picture, printable, qr_svg, typst_fonts
from tripplan.documents.packing_words import course_words, pack_rows, skills_lines
from tripplan.documents.picture import day_picture, day_table
from tripplan.documents.profile import allowance_picture, allowance_words, profile_picture, profile_words
from tripplan.documents.words import (
    CAUTION_LINE,
    DEMONSTRATION,
    after_words,
    bearing,
    binding_words,
    clock,
    closure_words,
    contest_words,
    counted,
    date_words,
    depth_down,
    distance,
    dive_name,
    duration,
    edge_words,
    gas_words,
    gauge_words,
    grouped,
    height,
    interval_words,
    lead_words,
    limit_words,
    losing_words,
    override_words,
    oxygen_words,
    pair_words,
    pressure,
    role,
    rules_of,
    slate_cells,
    slate_columns,
    slate_head,
    slate_notes,
    slate_row_words,
    source_words,
    travel,
    verdict,
)
from tripplan.errors import OutOfRange
from tripplan.planning.plan import DayPlan, DivePlan

Paper = Literal["a4", "letter"]
PAPERS = {"a4": "a4", "letter": "us-letter"}  # typst's names


def day_sheet_pdf(plan: DayPlan, paper: str = "a4") -> bytes:
    """Return the printable sheet of a plan as a tagged PDF (PDF/UA-1).

    paper -- "a4" or "letter"

    Equal plans give equal bytes: the document's date is the plan's. Raises OutOfRange for another paper.
    """
    import typst

    if paper not in PAPERS:
        raise OutOfRange(f'paper is "{paper}"; it must be "a4" or "letter"')
    values = sheet_values(plan)
    pictures = {
        "picture": _picture(day_picture(plan, font_family=FAMILIES[0])),
        "revision_code": qr_svg(f"tripplan {plan.revision} {plan.site} {plan.date.isoformat()}"),
        "profiles": [_picture(profile_picture(plan, dive, font_family=FAMILIES[0])) for dive in plan.dives],
        "allowance": _picture(allowance_picture(plan, font_family=FAMILIES[0])),
        "position_code": qr_svg(plan.emergency.geo_uri) if plan.emergency.geo_uri else "",
    }
    templates = data_dir("templates")
    pdf = typst.compile(
        input=(templates / "sheets" / "day.typ").read_bytes(),
        font_paths=typst_fonts(),
        sys_inputs={
            "data": json.dumps({**values, **pictures, "paper": PAPERS[paper], "fonts": FAMILIES}, allow_nan=False)
        },
        pdf_standards="ua-1",
        timestamp=datetime(plan.date.year, plan.date.month, plan.date.day, tzinfo=UTC),
    )
    return bytes(pdf)


def _picture(svg: str) -> dict[str, Any] | None:
    return paper_picture(svg) if svg else None


def sheet_values(plan: DayPlan) -> dict[str, Any]:
    """Return every word of the sheet, in which each character can be printed.

    A character that the sheet's fonts lack becomes "?", and ``replaced`` is the sentence that says so ("" if none).
    """
    missing: dict[str, None] = {}
    values: dict[str, Any] = printable(_values(plan), missing)
    values["replaced"] = " ".join(missing_sentences(missing))
    return values


def missing_glyphs(plan: DayPlan) -> tuple[str, ...]:
    """Return a sentence on the characters of a plan that its sheet cannot print; nothing where all can be printed."""
    missing: dict[str, None] = {}
    printable(_values(plan), missing)
    return missing_sentences(missing)


# ---- words ----


def _values(plan: DayPlan) -> dict[str, Any]:
    rules = rules_of(plan)

    def in_full(check: Check) -> dict[str, str]:
        return {"sentence": check.sentence, "source": source_words(check.source, rules)}

    passed = [check for check in plan.checks if check.outcome.severity == 0]
    return {
        "mark": plan.verdict.value,
        "verdict": verdict(plan.verdict).upper(),
        "headline": plan.headline,
        "nearest_edge": plan.nearest_edge,
        "title": plan.title,
        "site": plan.site_name,
        "date": date_words(plan.date),
        "day": plan.date.isoformat(),
        "timezone": plan.timezone,
        "revision": plan.revision,
        "demonstration": DEMONSTRATION if plan.demonstration else "",
        "caution_line": CAUTION_LINE,
        "day_rows": [list(row) for row in day_table(plan)],
        "closures": [closure_words(closure, plan.date) for closure in plan.closures],
        "dives": [_dive(plan, dive) for dive in plan.dives],
        "profile_words": [profile_words(plan, dive) for dive in plan.dives],
        "allowance_words": allowance_words(plan),
        "slates": [
            {
                "head": slate_head(slate),
                "columns": ["First dive at most", *slate_columns(slate)],
                "rows": [[slate_row_words(row), *slate_cells(row)] for row in slate.rows],
                "notes": list(slate_notes(slate)),
            }
            for slate in plan.slates
        ],
        "edges": [list(edge_words(edge)) for edge in plan.edges],
        "conditions": list(plan.conditions),
        "what_ifs": [what_if.sentence for what_if in plan.what_ifs],
        "observations": [
            {"what": seen.what, "limit": seen.limit_words, "how": seen.how, "source": source_words(seen.source, rules)}
            for seen in plan.observations
        ],
        "emergency": _emergency(plan),
        "counts": (
            f"{counted(len(plan.stops), 'stop')}, {counted(len(plan.cautions), 'caution')}, {len(passed)} passed"
        ),
        "stops": [in_full(check) for check in plan.stops],
        "to_mind": cautions_line(plan),
        "cautions": [
            {
                "title": group.title,
                "lines": [
                    {
                        "todo": line.todo,
                        "whom": line.whom,
                        "reasons": [
                            {
                                "sentence": reason.sentence,
                                "source": "; ".join(
                                    dict.fromkeys(source_words(check.source, rules) for check in reason.checks)
                                ),
                            }
                            for reason in line.reasons
                        ],
                    }
                    for line in group.lines
                ],
            }
            for group in caution_groups(plan)
        ],
        "passed": [
            {
                "rule": rule.replace("-", " ").capitalize(),
                "sentences": " ".join(check.sentence for check in checks),
                "source": "; ".join(dict.fromkeys(source_words(check.source, rules) for check in checks)),
            }
            for rule, checks in grouped(passed)
        ],
        "people": _people(plan),
        "packing": _packing(plan),
        "overrides": [override_words(rule) for rule in plan.overrides],
        "hazards": [list(hazard) for hazard in plan.hazards],
        "briefing": list(plan.briefing),
        "about": [
            ["Water", plan.water_words],
            ["Surface", f"{plan.elevation_m:g} m above sea level, air pressure {pressure(plan.surface_pressure_bar)}"],
            ["Forecast", plan.forecast_words],
            ["Flag", plan.flag_rule],
            ["Rules here", plan.rules_here],
            *(["Data", words] for words in plan.attribution),
        ],
    }


def _dive(plan: DayPlan, dive: DivePlan) -> dict[str, Any]:
    day = plan.date
    timed = dive.entry is not None
    zeroed, sealed = depth_down(dive.gauge_zeroed_m), depth_down(dive.gauge_sealed_m)
    planned = f"{depth_down(dive.depth_m)}, {duration(dive.bottom_time_min)}" if timed else "-"
    rows = [["Planned", f"{planned} at the bottom" if timed else "nothing: the dive has no time"]]
    if not dive.people:  # otherwise the table of people says who leads and who assists
        named = ", ".join(dive.divers) or "none"
        led = f"leader {dive.leader or 'none'}; assistants {', '.join(dive.assistants) or 'none'}; divers {named}"
        rows.append(["Who", led])
    rows += [
        ["Pairs", pair_words(dive)],
        ["Place", f"{dive.place}; in by {dive.going_in_by}, out by {dive.coming_out_by}"],
    ]
    if timed:
        rows.append(["Gauge at most", gauge_words(dive)])
        rows.append(["Gas", gas_words(dive)])
        rows.append(["Interval", interval_words(dive)])
        if plan.curve.tide_m:
            rows.append(["Tide", f"{height(dive.tide_entry_m)} going in, {height(dive.tide_exit_m)} coming out"])
    if dive.moved_because:
        rows.append(["Later because", dive.moved_because])
    if words := course_words(dive):
        rows.append(["Course", f"{words}. {'; '.join(skills_lines(dive))}"])
    return {
        "name": dive_name(dive),
        "kind": dive.kind_words,
        "timed": timed,
        "leader": dive.leader or "no leader",
        "count": len(dive.people) or len(dive.divers) + len(dive.assistants) + (dive.leader is not None),
        "entry": clock(dive.entry, day) if timed else "NO TIME",
        "exit": clock(dive.exit, day) if timed else "-",
        "exit_by": clock(dive.exit_by, day) if timed else "-",
        "overdue": clock(dive.overdue_at, day) if timed else "-",
        "depth_limit": contest_words(dive.depth),
        "depth_because": binding_words(dive.depth),
        "depth_others": list(losing_words(dive.depth)),
        "longest": contest_words(dive.time),
        "longest_because": binding_words(dive.time),
        "longest_others": list(losing_words(dive.time)),
        "planned": planned,
        "gauge": f"gauge at most {zeroed} zeroed, {sealed} sealed" if timed and zeroed != sealed else "",
        "minutes": f"Down {clock(dive.descent, day)}, {duration(dive.water_time_min)} in the water. "
        f"Nobody may be in the water from {clock(dive.window_closes, day)}.",
        "rows": rows,
        "people": [
            [
                person.name,
                role(person),
                f"{person.level_words}, {person.age}",
                depth_down(person.depth_limit_m),
                limit_words(person.no_stop_min, "min"),
                f"{person.group_before or 'none'} / {person.group_after or 'none'}",
            ]
            for person in dive.people
        ],
    }


def _people(plan: DayPlan) -> list[list[str]]:
    """Return each person once: what they may do and the handbook groups they pass through."""
    rows: dict[str, list[str]] = {}
    for dive in plan.dives:
        for person in dive.people:
            row = rows.setdefault(
                person.name, [person.name, person.depth_because, f"starts with {person.group_before or 'none'}"]
            )
            row[2] += f"; after {dive_name(dive)}: {person.group_after or 'none'}"
    for line in plan.lead:
        row = rows.setdefault(line.name, [line.name, "", ""])
        row[2] += f". Lead: {lead_words(line).removeprefix(line.name + ': ')}"
    for one in plan.after:
        row = rows.setdefault(one.name, [one.name, "", ""])
        row[2] += ". " + "; ".join(after_words(stage, plan.date) for stage in one.stages)
    return list(rows.values())


def _packing(plan: DayPlan) -> dict[str, Any] | None:
    packing, rules = plan.packing, rules_of(plan)
    if packing is None:
        return None
    return {
        "rows": pack_rows(packing),
        "also": list(packing.also),
        "stay": list(packing.stay),
        "notes": [f"{words} Source: {source_words(source, rules)}" for words, source in packing.notes],
    }


def _emergency(plan: DayPlan) -> dict[str, Any]:
    emergency = plan.emergency
    return {
        "say": emergency.what_to_say,
        "position": emergency.position_words,
        "spoken": emergency.position_spoken,
        "decimal": emergency.position_decimal,
        "geo": emergency.geo_uri,
        "rows": [
            [
                "Meet them at",
                f"{emergency.rendezvous_words} ({emergency.rendezvous_position}). {emergency.rendezvous_notes}",
            ],
            ["Oxygen", oxygen_words(emergency.oxygen)],
            ["Road", emergency.road],
            ["Telephone", emergency.phone_signal],
            ["Other way out", emergency.alternative_exit],
        ],
        "short_rows": [
            ["Lift out at", "; ".join(emergency.extraction) or "none known"],
            ["Dive director", emergency.dive_director or "NOBODY NAMED"],
            ["Landline", emergency.landline or "none known"],
            ["Shore watch", emergency.shore_watch or "NOBODY NAMED"],
            ["VHF", emergency.vhf or "none known"],
            ["Oxygen by", emergency.oxygen_provider or "NOBODY NAMED"],
            ["Gate code", emergency.gate_code or "none given"],
        ],
        "contacts": [
            {
                "order": str(contact.order),
                "role": contact.role_words,
                "name": contact.name,
                "number": contact.number,
                "hours": contact.hours,
                "checked": contact.checked_words,
                "fresh": contact.fresh,
                "notes": contact.notes,
            }
            for contact in emergency.contacts
        ],
        "care": [
            {
                "kind": care.kind.capitalize(),
                "name": care.name,
                "number": care.number,
                "hours": "; ".join(dict.fromkeys(part for part in (care.hours, care.opened_words) if part)),
                "way": f"{travel(care.drive_min)} by road, {distance(care.distance_km)} in a straight line, bearing "
                f"{bearing(care.bearing_deg)}",
                "road": "" if care.highest_road_m is None else f"The road climbs to {care.highest_road_m:,.0f} m.",
                "nearest": ", ".join(
                    words
                    for yes, words in (
                        (care.nearest_by_drive, "nearest by road"),
                        (care.nearest_by_distance, "nearest by distance"),
                    )
                    if yes
                ),
                "position": care.position_words,
                "checked": care.checked_words,
                "fresh": care.fresh,
                "notes": care.notes,
            }
            for care in emergency.care
        ],
    }
