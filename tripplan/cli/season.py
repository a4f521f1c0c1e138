"""The command ``season``: usable hours of every day at sites."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tripplan.cli.common import FINE, Refused, add_json, read_day, show, whole, write_whole
from tripplan.errors import BadRecord, TripplanError

if TYPE_CHECKING:
    from tripplan.catalogue.site import Site
    from tripplan.planning.season import Season
    from tripplan.planning.world import World
    from tripplan.store.folder import Folder


def season_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_season)
    sub.epilog = "No forecast reaches so far: what a day leaves here is the most that it can leave."
    sub.add_argument("sites", nargs="+", metavar="SITE", help="name of a site in the folder, or a site file")
    sub.add_argument("--from", dest="start", required=True, metavar="DATE", help="first day, like 2027-01-01")
    sub.add_argument("--to", dest="end", required=True, metavar="DATE", help="last day, included; 366 days at most")
    sub.add_argument("--kind", default="guided", metavar="KIND", help="of dive, like level_1_course (guided)")
    sub.add_argument("--at-least", type=whole, default=120, metavar="MIN", help="count days with so many min (120)")
    sub.add_argument("--folder", type=Path, metavar="FOLDER", help="the centre's folder (the demonstration)")
    sub.add_argument("--csv", type=Path, metavar="FILE", help="write a row for each site and day; alone, prints a line")
    add_json(sub)


def _season(options: argparse.Namespace) -> int:
    from tripplan.data_files import data_dir
    from tripplan.people.group import KINDS
    from tripplan.planning.season import season, seasons
    from tripplan.store.folder import load_folder

    folder = load_folder(options.folder or data_dir("sites"))
    first, last, found = _what_is_asked(options, folder)
    kind = KINDS[options.kind]
    together = [site for site, world in found.values() if world is folder.world]
    shared = dict(
        zip((site.slug for site in together), seasons(together, folder.world, kind, first, last), strict=True)
    )
    answer = [
        shared[site.slug] if world is folder.world else season(site, world, kind, first, last)
        for site, world in found.values()
    ]
    if options.csv:
        _write_season(options.csv, answer)
    if options.json:
        sites = [_season_json(one) for one in answer]
        show({"kind": kind.name, "from": first.isoformat(), "to": last.isoformat(), "sites": sites})
    elif options.csv:
        print(f"{options.csv}: {sum(len(one.days) for one in answer)} rows")
    else:
        _print_season(answer, options.at_least)
    return FINE


def _what_is_asked(options: argparse.Namespace, folder: Folder) -> tuple[date, date, dict[str, tuple[Site, World]]]:
    """Return the first day, the last and each site with its world.  Raises CannotPlan with all that is wrong."""
    from tripplan.people.group import KINDS
    from tripplan.planning.season import LONGEST_DAYS
    from tripplan.planning.world import CannotPlan

    wrong: list[str] = []
    days: list[date] = []
    for text, what in ((options.start, "--from"), (options.end, "--to")):
        try:
            days.append(read_day(text, what))
        except Refused as error:
            wrong.append(str(error))
    if len(days) == 2 and days[1] < days[0]:
        wrong.append(f"--to {days[1]} is before --from {days[0]}")
    elif len(days) == 2 and (count := (days[1] - days[0]).days + 1) > LONGEST_DAYS:
        wrong.append(f"--from {days[0]} --to {days[1]} are {count} days; at most {LONGEST_DAYS} are reckoned at once")
    if options.kind not in KINDS:
        wrong.append(f'--kind "{options.kind}" is not known; known: {", ".join(KINDS)}')
    found: dict[str, tuple[Site, World]] = {}
    for text in options.sites:
        try:
            site, world = _site_in(text, folder)
        except TripplanError as error:
            wrong.extend(str(error).splitlines())
            continue
        found.setdefault(site.slug if world is folder.world else text, (site, world))
    if wrong:
        raise CannotPlan(tuple(((), sentence) for sentence in dict.fromkeys(wrong)))
    first, last = days
    return first, last, found


def _season_json(one: Season) -> dict[str, Any]:
    """Return the season of a site as plain values."""
    days = [
        {
            "date": day.day.isoformat(),
            "windows": [{"start": _iso(w.start), "end": _iso(w.end)} for w in day.windows],
            "usable_min": day.usable_min,
            "first_reason": day.first_reason or None,
        }
        for day in one.days
    ]
    return {"site": one.site, "name": one.name, "days": days}


def _iso(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds")


def _site_in(text: str, folder: Folder) -> tuple[Site, World]:
    """Find a site by its file, with the stations beside it, or by slug or name in a folder."""
    from dataclasses import replace

    from tripplan.catalogue.survey import survey

    path = Path(text)
    if path.suffix == ".toml" or path.is_file():
        found = survey([path])
        if found.faults or path.stem not in found.sites:
            raise BadRecord(found.faults) if found.faults else Refused(f"{text} is not the file of a site")
        site = found.sites[path.stem]
        stations = {**folder.world.stations, **found.stations}
        return site, replace(folder.world, sites={**folder.world.sites, site.slug: site}, stations=stations)
    wanted = text.casefold().strip()
    for slug, site in folder.sites.items():
        if wanted in (slug.casefold(), site.name.casefold()):
            return site, folder.world
    faults = [fault for fault in folder.faults if Path(fault.file).stem.casefold() == wanted]
    if faults:
        raise BadRecord(tuple(faults))
    raise Refused(f'site "{text}" is neither a file nor known; known: {", ".join(folder.sites) or "none"}')


def _write_season(path: Path, answer: Sequence[Season]) -> None:
    import csv
    import io

    from tripplan.documents.cells import harmless

    out = io.StringIO(newline="")
    rows = csv.writer(out)
    rows.writerow(("site", "name", "date", "usable_min", "windows", "first_reason"))
    for one in answer:
        for day in one.days:
            windows = " ".join(f"{_iso(window.start)}/{_iso(window.end)}" for window in day.windows)
            said = (harmless(text) for text in (one.site, one.name))
            rows.writerow((*said, day.day, day.usable_min, windows, harmless(day.first_reason)))
    write_whole(path, out.getvalue().encode())


def _print_season(answer: Sequence[Season], enough_min: int) -> None:
    """Print a table of months for each site; hours are rounded down."""
    import pandas

    for one in answer:
        days = pandas.DataFrame({"day": [day.day for day in one.days], "usable_min": one.minutes})
        days["month"] = [f"{day:%Y-%m}" for day in days["day"]]
        days["enough"] = days["usable_min"] >= enough_min
        months = days.groupby("month")
        best = days.loc[months["usable_min"].idxmax()]
        best_days = [
            f"{day:%a %d %b} {minutes // 60}:{minutes % 60:02}" if minutes else "none"
            for day, minutes in zip(best["day"], best["usable_min"], strict=True)
        ]
        table = pandas.DataFrame(
            {
                "hours a day": [f"{math.floor(mean / 6) / 10:.1f}" for mean in months["usable_min"].mean()],
                f"days of {enough_min} min": months["enough"].sum().to_list(),
                "of": months.size().to_list(),
                "best day": best_days,
            },
            index=list(months.groups),
        )
        print(f"{one.name} ({one.site}), {one.kind.words}, {one.days[0].day} to {one.days[-1].day}, {one.timezone}")
        print(table.to_string())
        others = [day.first_reason for day in one.days if day.first_rule not in ("", "light")]
        for reason, count in pandas.Series(others, dtype=object).value_counts().head(3).items():
            print(f"Closes most on {count} of {len(one.days)} days: {reason}")
        if len(others) < len(one.days):
            print(f"Nothing but the light closes on {len(one.days) - len(others)} of {len(one.days)} days.")
        print()
    print(
        f"Kind of dive: {answer[0].kind.name} (--kind changes it). From access, light, tide and stream alone: no "
        "forecast reaches so far, and the weather takes from these hours."
    )


COMMANDS = {"season": season_words}
