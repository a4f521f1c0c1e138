"""Drills and rescue kits: when the plan for the worst moment was last practised, by whom, and what lies ready."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from tripplan.check import Check, Outcome
from tripplan.emergency.readiness import Drill, Readiness
from tripplan.rulebook import RuleBook


def last_drill(readiness: Readiness, on: date) -> Drill | None:
    """Return the last drill held on or before a day; None where none is on record."""
    held = [drill for drill in readiness.drills if drill.held <= on]
    return max(held, key=lambda drill: drill.held, default=None)


def check_drills(readiness: Readiness, crew: Sequence[str], on: date, rules: RuleBook) -> tuple[Check, ...]:
    """Judge whether the emergency plan was practised lately, and by those who have a duty today."""
    rule = rules["drill.fresh_days"]
    last = last_drill(readiness, on)
    if last is None:
        sentence = "No emergency drill is on record. Walk through the sheet with everybody before the first dive."
        return (Check("drill-held", Outcome.CAUTION, sentence, rule.key, None, rule.value, "days"),)
    days = (on - last.held).days
    words = last.scenario.replace("_", " ")
    said = f"Last emergency drill: {words} on {last.held.day} {last.held:%B %Y}, led by {last.led_by}"
    late = days > rule.value
    checks = [
        Check(
            rule="drill-held",
            outcome=Outcome.CAUTION if late else Outcome.OK,
            sentence=f"{said}, {days} days before; {rule.value:g} days are allowed."
            + (" A drill is overdue: walk through the sheet with everybody before the first dive." if late else ""),
            source=rule.key,
            found=days,
            limit=rule.value,
            unit="days",
        )
    ]
    lately = {name for drill in readiness.drills if 0 <= (on - drill.held).days <= rule.value for name in drill.who}
    lately |= {drill.led_by for drill in readiness.drills if 0 <= (on - drill.held).days <= rule.value}
    if unpractised := [name for name in dict.fromkeys(crew) if name not in lately]:
        sentence = (
            f"Not in any emergency drill of the last {rule.value:g} days: {', '.join(unpractised)}. "
            "Show them their part before the first dive."
        )
        checks.append(Check("crew-drilled", Outcome.CAUTION, sentence, rule.key, len(unpractised), 0, "people"))
    elif crew:
        sentence = f"Everybody with a duty ashore was in a drill within {rule.value:g} days."
        checks.append(Check("crew-drilled", Outcome.OK, sentence, rule.key, 0, 0, "people"))
    return tuple(checks)


def check_kits(readiness: Readiness, site: str, on: date, rules: RuleBook) -> tuple[Check, ...]:
    """Judge whether a rescue kit is on record for a site, and how long ago its content was counted."""
    rule = rules["drill.kit_fresh_days"]
    kits = readiness.kits_at(site)
    if not kits:
        sentence = "No rescue kit is on record for this site: say where first-aid kit, masks, water and blanket are."
        return (Check("rescue-kit", Outcome.CAUTION, sentence, "FR_SPORTS_CODE", 0, 1, "kits"),)
    checks = []
    for kit in kits:
        days = None if kit.checked is None else (on - kit.checked).days
        fresh = days is not None and 0 <= days <= rule.value
        if days is None or kit.checked is None:
            sentence = f"{kit.name} was never counted: open it before the first dive."
        else:
            sentence = f"{kit.name}, {kit.kept}: counted {kit.checked.day} {kit.checked:%B %Y} by {kit.checked_by}" + (
                "." if fresh else f"; {rule.value:g} days are allowed. Open it before the first dive."
            )
        outcome = Outcome.OK if fresh else Outcome.CAUTION
        checks.append(Check("rescue-kit", outcome, sentence, rule.key, days, rule.value, "days", kit.name))
    return tuple(checks)
