"""The board: all sites side by side for a group and seven days, as picture and table, each cell with its plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

from flask import Blueprint, current_app, render_template, request, url_for

from tripplan.documents.board_picture import board_picture, day_words, key_words, window_list
from tripplan.people.group import KINDS
from tripplan.people.level import Level
from tripplan.planning.board import Board, Cell, Unnamed, board
from tripplan.planning.private import board_without_private
from tripplan.planning.request import GroupWish, Request
from tripplan.store.folder import Folder
from tripplan.store.told import told_world
from tripplan.web.accounts import sees_private
from tripplan.web.choosing import LONGEST_AHEAD_DAYS, all_groups, choice_of, near_date
from tripplan.web.here import now, shelf, teller

bp = Blueprint("board", __name__)

DAYS = 7
OTHERS = "others"  # in the form: people who stand in no ready request
MOST_DIVERS = 40
PICTURES_KEPT = 32


@dataclass(frozen=True)
class Asked:
    """What the form holds, as typed, and a sentence for each field that cannot be used."""

    group: str = ""
    day: str = ""
    kind: str = "guided"
    count: str = "4"
    level: str = Level.LEVEL_2.value
    errors: Mapping[str, str] = field(default_factory=dict)

    def query(self, first: date) -> dict[str, str]:
        """Return the same question for another first day, as query parameters."""
        whom = {"group": self.group}
        if self.group == OTHERS:
            whom |= {"kind": self.kind, "count": self.count, "level": self.level}
        return {**whom, "date": first.isoformat()}


@bp.get("/board")
def show() -> str | tuple[str, int]:
    """Show all sites over seven days, or the form again with what is wrong."""
    folder = shelf()
    groups = all_groups(folder)
    asked = _read(groups)
    near = _near(folder, groups, asked)
    errors: dict[str, str] = {}
    first = _first_day(asked.day, near, errors)
    whom = _whom(asked, groups, errors)
    asked = replace(asked, day=asked.day or near.isoformat(), errors=errors)
    shown: dict[str, Any] = {"board": None}
    if whom is not None and not errors:
        start = groups[asked.group][1] if asked.group in groups else None
        crew = start.crew if start else None
        world = told_world(folder, folder.sites, now(), teller())
        found = board(whom, crew, first, DAYS, world, home=start.site if start else None)
        if isinstance(whom, GroupWish) and not sees_private():
            found = board_without_private(found, whom, crew, world)
        shown = {
            "board": found,
            "wide": _picture(found, False),
            "narrow": _picture(found, True),
            "key": key_words(found),
            "windows": window_list,
            "short": day_words,
            "plan_of": lambda cell: _plan_address(cell, asked.group, start),
            "before": asked.query(first - timedelta(days=DAYS)),
            "after": asked.query(first + timedelta(days=DAYS)),
        }
    page = render_template(
        "board.html", asked=asked, groups=groups, others=OTHERS, kinds=KINDS.values(), levels=list(Level), **shown
    )
    return (page, 400) if errors else page


def _read(groups: Mapping[str, Any]) -> Asked:
    """Return what the address holds; without a group, the first of the ready requests."""

    def typed(key: str, otherwise: str) -> str:
        return request.args.get(key, "").strip() or otherwise

    return Asked(
        group=typed("group", next(iter(groups), OTHERS)),
        day=typed("date", ""),
        kind=typed("kind", Asked.kind),
        count=typed("count", Asked.count),
        level=typed("level", Asked.level),
    )


def _near(folder: Folder, groups: Mapping[str, tuple[GroupWish, Request]], asked: Asked) -> date:
    """Return a near day on the clock of the group's own site, else of the first site."""
    home = groups[asked.group][1].site if asked.group in groups else ""
    site = folder.sites.get(home) or next(iter(folder.sites.values()), None)
    return near_date(site.timezone if site else "UTC", now())


def _first_day(typed: str, near: date, errors: dict[str, str]) -> date:
    if not typed:
        return near
    try:
        day = date.fromisoformat(typed)
    except ValueError:
        errors["date"] = f'"{typed}" is not a date; write it like {near.isoformat()}.'
        return near
    if abs((day - near).days) > LONGEST_AHEAD_DAYS:
        errors["date"] = f"{typed} is more than {LONGEST_AHEAD_DAYS} days from today."
        return near
    return day


def _whom(
    asked: Asked, groups: Mapping[str, tuple[GroupWish, Request]], errors: dict[str, str]
) -> GroupWish | Unnamed | None:
    """Return whom the board is for; None with a sentence for each field that cannot be used."""
    if asked.group in groups:
        return groups[asked.group][0]
    if asked.group != OTHERS:
        errors["group"] = f'Group "{asked.group}" is not known; known: {", ".join(groups) or "none"}.'
        return None
    if asked.kind not in KINDS:
        errors["kind"] = f'"{asked.kind}" is no kind of dive; choose one of the list.'
    if asked.level not in list(Level):
        errors["level"] = f'"{asked.level}" is no level; choose one of the list.'
    if not (asked.count.isascii() and asked.count.isdigit() and 1 <= int(asked.count[:4]) <= MOST_DIVERS):
        errors["count"] = f'"{asked.count}" is not a number of people; give 1 to {MOST_DIVERS}.'
    if errors:
        return None
    return Unnamed(KINDS[asked.kind].name, int(asked.count), Level(asked.level))


def _plan_address(cell: Cell, group: str, start: Request | None) -> str | None:
    """Return the address of the plan of a cell; None for people without names, who have none."""
    if start is None:
        return None
    choice = replace(choice_of(start, cell.day, shelf()), groups=(group,))
    if cell.site != start.site:  # an arrival at altitude holds at the site for which it was said
        choice = replace(choice, site=cell.site, arrived="", settled=False)
    return url_for("plans.show", **choice.query)


def _picture(found: Board, narrow: bool) -> str:
    """Return the picture of a board, kept: drawing two takes half as long as reckoning the board."""
    kept: dict[tuple[Board, bool], str] = current_app.extensions.setdefault("tripplan_boards", {})
    key = (found, narrow)
    if key not in kept:
        if len(kept) >= PICTURES_KEPT:
            kept.clear()
        kept[key] = board_picture(found, narrow=narrow)
    return kept[key]
