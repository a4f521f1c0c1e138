"""The command ``plan``: the plan of a day."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tripplan.cli.centre import folder_around, with_store
from tripplan.cli.common import FINE, STOPPED, Refused, read_day, show, whole, write_whole

if TYPE_CHECKING:
    from tripplan.planning.plan import DayPlan
    from tripplan.planning.replan import Change
    from tripplan.planning.request import Request
    from tripplan.store.folder import Folder


def plan_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_plan)
    sub.add_argument("request", type=Path, metavar="REQUEST.toml")
    sub.add_argument("--folder", type=Path, metavar="FOLDER", help="the centre's folder (found above the request)")
    sub.add_argument("--date", metavar="DATE", help="plan for another date than the request's")
    sub.add_argument("--site", metavar="SITE", help="plan for another site than the request's")
    sub.add_argument("--paper", choices=("a4", "letter"), default="a4", help="of the PDF (a4)")
    sub.add_argument(
        "--delay", type=_delay, default=0, metavar="MIN", help="start the day so much later; shows changes"
    )
    sub.add_argument("--observed", type=Path, metavar="FILE", help="what was seen on the spot; shows what changes")
    how = sub.add_mutually_exclusive_group()
    how.add_argument("--text", action="store_true", help="print the plan as text (the default)")
    how.add_argument("--json", action="store_true", help="print one JSON object")
    sub.add_argument("--pdf", type=Path, metavar="FILE", help="write the sheet; alone, prints one line")
    sub.add_argument("--briefing", type=Path, metavar="FILE", help="write a briefing sheet for each group and dive")
    sub.add_argument("--store", metavar="URL", help="where ticks of skills are kept, as for `tripplan serve`")


def _delay(text: str) -> int:
    minutes = whole(text)
    from tripplan.planning.replan import LONGEST_DELAY_MIN

    if not 1 <= minutes <= LONGEST_DELAY_MIN:
        raise argparse.ArgumentTypeError(f"{minutes} min is no delay; it must be from 1 to {LONGEST_DELAY_MIN}")
    return minutes


def _plan(options: argparse.Namespace) -> int:
    from dataclasses import replace

    from tripplan.check import Outcome
    from tripplan.environment.conditions import Conditions
    from tripplan.planning.day import plan_day
    from tripplan.planning.replan import delayed, difference
    from tripplan.planning.tolerance import with_edges
    from tripplan.store.told import Teller, told_world

    folder = with_store(folder_around(options), options)
    request = _request(options, folder)
    seen = _seen_at(options.observed, request.site, folder) if options.observed else ()
    moment, teller = datetime.now(UTC), Teller()
    world = told_world(folder, (request.site,), moment, teller)
    plan = plan_day(request, world)
    before = plan
    if seen or options.delay:
        if seen:
            told = Conditions().with_seen(seen) if request.site not in world.conditions else None
            told = told or world.conditions[request.site].with_seen(seen)
            world = replace(world, conditions={**world.conditions, request.site: told})
            plan = plan_day(request, world)
        if options.delay:
            request = delayed(request, plan, options.delay)
            plan = plan_day(request, world)
    changes = difference(before, plan) if seen or options.delay else None
    plan = with_edges(plan, request, world)
    teller.close()
    _write_sheets(plan, folder, options)
    _show_plan(plan, before.revision, changes, options)
    return STOPPED if plan.verdict is Outcome.STOP else FINE


def _request(options: argparse.Namespace, folder: Folder) -> Request:
    """Return the request of the file, for the date and the site of the command line where they are given."""
    from tripplan.store.folder import load_request

    changes: dict[str, Any] = {}
    if options.date:
        changes["date"] = read_day(options.date, "--date")
    if options.site:
        if options.site not in folder.sites:
            raise Refused(f'--site "{options.site}" is not in the catalogue; known: {", ".join(folder.sites)}')
        changes["site"] = options.site
    return load_request(options.request, folder.world).model_copy(update=changes)


def _write_sheets(plan: DayPlan, folder: Folder, options: argparse.Namespace) -> None:
    if options.pdf:
        from tripplan.documents.day_sheet import day_sheet_pdf

        write_whole(options.pdf, day_sheet_pdf(plan, options.paper))
    if options.briefing:
        from tripplan.documents.briefing_sheet import briefing_sheets_pdf

        write_whole(options.briefing, briefing_sheets_pdf(plan, options.paper, folder.centre.roster.languages))


def _show_plan(plan: DayPlan, before: str, changes: Sequence[Change] | None, options: argparse.Namespace) -> None:
    """Print a plan; with changes, what became of the one with the revision before."""
    if options.json:
        from dataclasses import asdict

        from tripplan.documents.data import plan_json

        shown = plan_json(plan)
        if changes is not None:
            shown["changes"] = [asdict(change) for change in changes]
        show(shown)
    elif options.text or not options.pdf:
        from tripplan.documents.text import plan_text

        if changes is not None:
            print(f"What changes, {before} to {plan.revision}:")
            for change in changes:
                print(f"  {change.what}: {change.before} -> {change.after}")
            print("" if changes else "  Nothing.\n")
        print(plan_text(plan))
    else:
        print(f"{options.pdf}: {plan.verdict.value}, revision {plan.revision}")


def _seen_at(path: Path, site: str, folder: Folder) -> Any:
    """Return what a file of observations holds for a site.  Raises Refused where that is nothing."""
    from tripplan.store.told import read_observed

    found = read_observed(path, folder.sites)
    if site not in found:
        raise Refused(f'{path}: holds nothing seen at "{site}"; it has {", ".join(found) or "nothing at all"}')
    return found[site]


COMMANDS = {"plan": plan_words}
