"""Words for what a day takes along and for what a course dive holds: the same on pages, sheets and the terminal."""

from __future__ import annotations

from tripplan.planning.packing import SAFETY_WORDS, Packing, PackLine
from tripplan.planning.plan import DivePlan, SkillLine

NO_SKILLS = "nothing else of the course is open for anybody"
AND_LEFT = "first what an earlier dive of today did not close"


def course_words(dive: DivePlan) -> str:
    """Return which dive of the course a dive is; empty where it is none that is followed."""
    if dive.course_dive is None:
        return ""
    return f"dive {dive.course_dive} of the {dive.kind_words}: {dive.course_dive_name}"


def skill_words(line: SkillLine, dive: DivePlan) -> str:
    """Return a skill with the dive that asked for it, where that is another one."""
    return line.skill if line.dive == dive.course_dive else f"{line.skill} (made up, of dive {line.dive})"


def learner_words(line: SkillLine) -> tuple[str, ...]:
    """Return who does a skill; who tried before is marked."""
    return tuple(f"{name} (again)" if name in line.again else name for name in line.learners)


def skills_lines(dive: DivePlan) -> tuple[str, ...]:
    """Return what a course dive holds, a line for each skill with who still has to do it."""
    if dive.course_dive is None:
        return ()
    everybody = set(dive.divers)
    lines = [AND_LEFT] if dive.number > 1 else []
    for line in dive.skills:
        all_fresh = set(line.learners) == everybody and not line.again
        who = "all" if all_fresh else ", ".join(learner_words(line))
        lines.append(f"{skill_words(line, dive)}: {who}")
    return tuple(lines) if dive.skills else (*lines, NO_SKILLS)


def pack_state(line: PackLine) -> str:
    """Return what is known of it: which pieces, what is short."""
    parts = [", ".join(line.identities), line.short_words.upper() if line.short else line.short_words]
    return "; ".join(part for part in parts if part)


def pack_rows(packing: Packing) -> list[list[str]]:
    """Return a row for each thing: how many, what, and what is known of it; everybody's safety comes first."""
    lines = sorted(packing.lines, key=lambda line: line.thing not in SAFETY_WORDS)
    rows = [[str(line.needed), line.words, pack_state(line)] for line in lines]
    return [*rows, [f"{packing.lead.needed_kg:g} kg", "weights", lead_state(packing)]]


def lead_state(packing: Packing) -> str:
    """Return what is known of the lead of the day."""
    lead = packing.lead
    parts = [f"{lead.in_store_kg:g} kg in the store" if lead.in_store_kg is not None else "not on record: weigh it"]
    if lead.unknown:
        parts.append(f"more for {', '.join(lead.unknown)}, whose lead is not known")
    return "; ".join(parts)
