"""The command ``sheet``: the emergency sheets of a day."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tripplan.cli.common import (
    FINE,
    REFUSED,
    STOPPED,
    Refused,
    add_json,
    complain,
    counted,
    read_day,
    show,
    write_whole,
)

if TYPE_CHECKING:
    from tripplan.language import Language
    from tripplan.planning.action_sheet import ActionSheet
    from tripplan.store.folder import Folder

LONGEST_ADDRESS = 200


def sheet_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_sheet)
    sub.epilog = (
        "Roles and dives come from the folder's requests for the site and day. Exit 1: a check of the emergency part "
        "is a stop; the sheets are written all the same and say so."
    )
    sub.add_argument(
        "sites", nargs="*", metavar="SITE", help="name of a site in the folder (every site with a request for the day)"
    )
    sub.add_argument("--date", required=True, metavar="D", help="the day, like 2027-06-12")
    sub.add_argument("--pdf", type=Path, metavar="FILE", help="write the sheets: front, back, scenarios, where to look")
    sub.add_argument("--pocket", type=Path, metavar="FILE", help="write the day as one HTML file for a phone")
    sub.add_argument("--paper", choices=("a4", "letter"), default="a4", help="of the PDF (a4)")
    sub.add_argument("--language", default="en", metavar="CODE", help="of the sheets, like es (en)")
    sub.add_argument("--address", default="", metavar="URL", help="of the centre's server, for the QR code")
    sub.add_argument("--folder", type=Path, metavar="FOLDER", help="the centre's folder (the demonstration)")
    add_json(sub)


def _sheet(options: argparse.Namespace) -> int:
    from tripplan.check import Outcome
    from tripplan.data_files import data_dir
    from tripplan.language import language
    from tripplan.planning.action_sheet import sheets_of_day
    from tripplan.store.folder import load_folder
    from tripplan.store.told import Teller, told_world

    day = read_day(options.date, "--date")
    said = language(options.language)
    folder = load_folder(options.folder or data_dir("sites"))
    for fault in folder.faults:
        complain(str(fault))
    requests = [request for request in folder.requests.values() if request.date == day]
    slugs = options.sites or list(dict.fromkeys(request.site for request in requests))
    _look_at(options, slugs, day, folder)
    teller = Teller()
    world = told_world(folder, slugs, datetime.now(UTC), teller)
    teller.close()
    made = sheets_of_day(day, slugs, requests, world)
    sheets = [each.sheet for each in made]
    if options.pdf:
        _write_pdf(sheets, said, folder, options)
    if options.pocket:
        from tripplan.documents.pocket import pocket_html, pocket_site

        pages = [pocket_site(each.sheet, each.plans, world.sites[each.sheet.site], world) for each in made]
        write_whole(options.pocket, pocket_html(day, pages, world.rules, said).encode())
    if options.json:
        from tripplan.documents.data import sheet_json

        show({"date": day.isoformat(), "sheets": [sheet_json(sheet) for sheet in sheets]})
    else:
        _print_sheets(sheets, options)
    if any(check.outcome is Outcome.STOP for sheet in sheets for check in sheet.checks):
        return STOPPED
    # A file that was left out may hold a dive of the day: the sheets are no answer to be relied on by a script.
    records = str(folder.records.path)
    return REFUSED if any(not fault.file.startswith(records) for fault in folder.faults) else FINE


def _look_at(options: argparse.Namespace, slugs: Sequence[str], day: date, folder: Folder) -> None:
    """See that there is something to write, and somewhere.  Raises Refused or CannotPlan."""
    from tripplan.planning.world import CannotPlan

    if not slugs:
        raise Refused(f"tripplan sheet: no request of {folder.path} is for {day}; name the sites")
    known = ", ".join(folder.sites) or "none"
    if wrong := [slug for slug in slugs if slug not in folder.sites]:
        raise CannotPlan(tuple(((), f'site "{slug}" is not in the catalogue; known: {known}') for slug in wrong))
    if len(options.address) > LONGEST_ADDRESS:
        raise Refused(
            f"tripplan sheet: --address has {len(options.address)} letters; at most {LONGEST_ADDRESS} go into a code"
        )
    if options.pdf and options.pocket and options.pdf.resolve() == options.pocket.resolve():
        raise Refused(f"tripplan sheet: --pdf and --pocket are both {options.pdf}; give two files")
    if not (options.pdf or options.pocket or options.json):
        raise Refused("tripplan sheet: nothing to write; give --pdf FILE, --pocket FILE or --json")


def _write_pdf(sheets: Sequence[ActionSheet], said: Language, folder: Folder, options: argparse.Namespace) -> None:
    from tripplan.documents.emergency_sheet import action_sheets_pdf
    from tripplan.store.records import CannotKeep

    write_whole(options.pdf, action_sheets_pdf(sheets, options.paper, said, options.address))
    if not options.folder:  # the demonstration that ships with the program keeps no records
        return
    for sheet in sheets:
        try:
            folder.records.keep_printed(sheet)
        except CannotKeep as error:  # the leader needs the paper whatever the records do
            complain(f"records: {error}")


def _print_sheets(sheets: Sequence[ActionSheet], options: argparse.Namespace) -> None:
    from tripplan.check import Outcome

    for sheet in sheets:
        stops = sum(check.outcome is Outcome.STOP for check in sheet.checks)
        print(
            f"{sheet.site_name}: revision {sheet.revision}, {counted(stops, 'stop')}, "
            f"{counted(len(sheet.cautions) - stops, 'caution')}, {counted(len(sheet.unconfirmed), 'number')} "
            "not confirmed today"
        )
    for file in (options.pdf, options.pocket):
        if file:
            print(file)


COMMANDS = {"sheet": sheet_words}
