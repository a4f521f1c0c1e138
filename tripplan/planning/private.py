"""What a plan says about somebody's health, taken out for whoever may not see it.

Who helps has to know that somebody's papers stop a dive, and whom to ask; not what the papers say.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from typing import Any, Final

from tripplan.check import Check, Outcome
from tripplan.planning.board import Board
from tripplan.planning.crew import check_crew, check_group
from tripplan.planning.plan import DayPlan
from tripplan.planning.request import Crew, GroupWish
from tripplan.planning.world import World

# A rule whose name holds one of these words judges somebody's health, or names who is to be told of it.
PRIVATE_WORDS: Final = frozenset({"medical", "health", "heart", "illness", "discomfort", "kin"})
_SAID: Final[Mapping[Outcome, str]] = {
    Outcome.OK: "the personal papers are in order.",
    Outcome.CAUTION: "the personal papers ask for care. What they say is for the leader: ask before this dive.",
    Outcome.STOP: "the personal papers stop this dive. What they say is for the leader: ask.",
}


def is_private(check: Check) -> bool:
    """Return whether a check says something about somebody's health or next of kin, by the name of its rule."""
    return not PRIVATE_WORDS.isdisjoint(check.rule.split("-"))


def without_private_check(check: Check) -> Check:
    """Return a check with nothing of what is private in it: how it came out, its rule and its subject stay."""
    if not is_private(check):
        return check
    sentence = f"{check.subject or 'Somebody'}: {_SAID[check.outcome]}"
    return replace(check, sentence=sentence, found=None, limit=None, unit="")


def without_private(plan: DayPlan) -> DayPlan:
    """Return a plan for somebody who may not see health: each private check says only that it stops or asks for care.

    The same sentence is taken out wherever else the plan repeats it. Verdict, revision and everything else stay. A plan
    without a private check comes back as it is.
    """
    private = [check for check in plan.checks if is_private(check)]
    if not private:
        return plan
    shown = replace(plan, checks=tuple(without_private_check(check) for check in plan.checks))
    cleaned: DayPlan = _without(shown, _other_words(private))
    return cleaned


def board_without_private(found: Board, group: GroupWish, crew: Crew | None, world: World) -> Board:
    """Return a board for somebody who may not see health.

    group, crew, world -- what the board was made from: its cells hold sentences alone, so they are judged again
    """
    rows = []
    for row in found.rows:
        site = world.sites[row.site]
        cells = []
        for cell in row.cells:
            checks = [*check_group(group, site, world.people, cell.day, world.rules)]
            if crew is not None:
                checks.extend(check_crew(crew, world.people, cell.day, world.rules))
            cells.append(_without(cell, _other_words(check for check in checks if is_private(check))))
        rows.append(replace(row, cells=tuple(cells)))
    return replace(found, rows=tuple(rows))


def _other_words(private: Iterable[Check]) -> list[tuple[str, str]]:
    """Return each private sentence with what stands in its place, without the full stops that others may have cut.

    The longest come first: one sentence may be the end of another, where one name is the end of another.
    """
    pairs = {check.sentence.rstrip("."): without_private_check(check).sentence.rstrip(".") for check in private}
    return sorted(pairs.items(), key=lambda pair: -len(pair[0]))


def _without(value: Any, words: list[tuple[str, str]]) -> Any:
    """Return a value with words replaced in every text that it holds; the value itself where none is."""
    if isinstance(value, str) and not isinstance(value, Enum):
        for old, new in words:
            value = value.replace(old, new)
        return value
    if isinstance(value, tuple):
        parts = tuple(_without(part, words) for part in value)
        return value if all(new is old for new, old in zip(parts, value, strict=True)) else parts
    if is_dataclass(value) and not isinstance(value, type):
        held = {field.name: getattr(value, field.name) for field in fields(value)}
        cleaned = {name: _without(part, words) for name, part in held.items()}
        changed = {name: part for name, part in cleaned.items() if part is not held[name]}
        return replace(value, **changed) if changed else value
    return value
