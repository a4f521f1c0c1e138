"""The command ``board``: all sites side by side for a group."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tripplan.cli.centre import folder_around
from tripplan.cli.common import FINE, STOPPED, Refused, add_json, read_day, show, whole_days

if TYPE_CHECKING:
    from tripplan.planning.board import Board


def board_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_board)
    sub.epilog = "Exit 1: no site has a usable minute on any of the days."
    sub.add_argument("request", type=Path, metavar="REQUEST.toml")
    sub.add_argument("--group", metavar="NAME", help="which group of the request (its first)")
    sub.add_argument("--from", dest="start", metavar="D", help="first day, like 2027-06-12 (the request's date)")
    sub.add_argument("--days", type=whole_days, default=7, metavar="N", help="how many days (7)")
    sub.add_argument("--folder", type=Path, metavar="FOLDER", help="the centre's folder (found above the request)")
    add_json(sub)


def _board(options: argparse.Namespace) -> int:
    from tripplan.planning.board import board
    from tripplan.store.folder import load_request
    from tripplan.store.told import Teller, told_world

    folder = folder_around(options)
    request = load_request(options.request, folder.world)
    names = [group.name for group in request.groups]
    if options.group is not None and options.group not in names:
        raise Refused(f'--group "{options.group}" is not in the request; known: {", ".join(names)}')
    group = request.groups[names.index(options.group) if options.group else 0]
    first = read_day(options.start, "--from") if options.start else request.date
    teller = Teller()
    world = told_world(folder, folder.sites, datetime.now(UTC), teller)
    teller.close()
    found = board(group, request.crew, first, options.days, world, home=request.site)
    if options.json:
        show(_board_json(found))
    else:
        _print_board(found)
    return FINE if found.usable else STOPPED


def _board_json(found: Board) -> dict[str, Any]:
    """Return a board as plain values."""
    sites = []
    for row in found.rows:
        days = [
            {
                "date": cell.day.isoformat(),
                "usable_min": cell.usable_min,
                "windows": [{"start": w.start.isoformat(), "end": w.end.isoformat()} for w in cell.windows],
                "first_reason": cell.first_reason,
                "reasons": list(cell.reasons),
                "outcome": cell.outcome.value,
                "sea_known": cell.known,
                "cautions": list(cell.cautions),
            }
            for cell in row.cells
        ]
        sites.append({"site": row.site, "name": row.name, "total_min": row.total_min, "days": days})
    first, count = found.days[0].isoformat(), len(found.days)
    return {"group": found.group, "from": first, "days": count, "sites": sites}


def _print_board(found: Board) -> None:
    from tripplan.documents.board_picture import day_words
    from tripplan.documents.words import duration

    wide = max((len(row.name) for row in found.rows), default=4)
    print(f"{found.group}, {found.kind_words}: usable time, from the first minute to go in to the last minute out")
    print(" " * wide + "".join(f"  {day_words(day):>11}" for day in found.days) + "       in all")
    for row in found.rows:
        cells = [f"{duration(c.usable_min) if c.usable_min else 'none'}{' ' if c.known else '?'}" for c in row.cells]
        total = duration(row.total_min) if row.total_min else "none"
        print(f"{row.name:{wide}}" + "".join(f"  {cell:>11}" for cell in cells) + f"  {total:>11}")
    if not all(cell.known for row in found.rows for cell in row.cells):
        print("? sea and wind are not told, or only in part: tide, light and access remain")
    for row in found.rows:
        print(f"\n{row.name}")
        days: dict[str, list[str]] = {}
        for cell in row.cells:
            days.setdefault(cell.first_reason, []).append(day_words(cell.day))
        for reason, when in days.items():
            print(f"  {', '.join(when)}: {reason}")
    count = sum(len(cell.cautions) for row in found.rows for cell in row.cells)
    if count:
        print(f"\n{count} caution{'' if count == 1 else 's'} of forecast, sea and depth; --json lists them")


COMMANDS = {"board": board_words}
