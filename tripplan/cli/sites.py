"""The command ``sites``: every fault of the files of sites and tide stations."""

from __future__ import annotations

import argparse
from pathlib import Path

from tripplan.cli.common import FINE, REFUSED, add_json, complain, show


def sites_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_sites)
    sub.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="files or folders")
    add_json(sub)


def _sites(options: argparse.Namespace) -> int:
    from tripplan.catalogue.survey import survey

    found = survey(options.paths)
    for fault in found.faults:
        complain(str(fault))
    if options.json:
        show(
            {
                "sites": [{"slug": slug, "name": site.name} for slug, site in found.sites.items()],
                "stations": [{"slug": slug, "name": station.name} for slug, station in found.stations.items()],
                "faults": [{"file": f.file, "line": f.line, "message": f.message} for f in found.faults],
                "notes": list(found.notes),
            }
        )
    else:
        for slug, site in found.sites.items():
            print(f"site     {slug:24} {site.name}")
        for slug, station in found.stations.items():
            print(f"station  {slug:24} {station.name}")
        for note in found.notes:
            print(f"Note: {note}")
        count = len(found.faults)
        print(f"{len(found.sites)} sites, {len(found.stations)} stations, {count} fault{'' if count == 1 else 's'}")
    return REFUSED if found.faults else FINE


COMMANDS = {"sites": sites_words}
