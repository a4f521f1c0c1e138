"""The commands. Exit 0: fine; 1: the answer contains a stop; 2: the input was refused, one line a fault on stderr.

Each command stands in a module of this package, which is imported only when its command runs, so that
``tripplan --help`` answers at once.
"""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Sequence
from importlib import import_module

from tripplan import __version__
from tripplan.cli.common import FINE, REFUSED, Parser, complain
from tripplan.errors import BadRecord, TripplanError

COMMANDS = {  # by name: its module, and what it does; they are listed in this order
    "demo": ("serving", "Start the demonstration on this machine and print its address."),
    "new": ("new", "Begin a centre's own folder, with comments on what belongs where."),
    "serve": ("serving", "Serve a centre's own folder on this machine and print its address."),
    "worker": ("serving", "Make schedules that are asked for on the pages of another process."),
    "account": ("accounts", "Make, list, lock and unlock accounts, and set their passwords."),
    "store": ("store", "Back up, put back and check the store of a centre; delete what has been kept long enough."),
    "sites": ("sites", "Validate site and tide station files; faults as file:line: message."),
    "tide": ("tides", "High and low waters, and heights, at a tide station."),
    "tide-table": ("tides", "Fetch an authority's high and low waters into a table."),
    "daylight": ("tides", "Dawn, sunrise, sunset, dusk and moon at a place."),
    "season": ("season", "Usable hours of every day at sites, from tide, light, access and stream."),
    "limits": ("limits", "How long at a depth without a stop, at an altitude, after earlier dives."),
    "gas": ("limits", "Is the gas in a cylinder enough for a dive, when to turn, and when to go up."),
    "plan": ("plan", "Make the plan of a day from a request file."),
    "schedule": ("schedule", "Place the groups of some days: which site, when, with whom, in which vehicle."),
    "sheet": ("sheet", "Print the emergency action sheets of a day, all in one PDF."),
    "board": ("board", "All sites side by side for a group over some days, with the first reason against."),
    "rules": ("rules", "List the rule book: every adjustable number with its source."),
    "people": ("people", "List a centre's people; write them to a table, or read a table into them."),
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code."""
    words = [_shielded(word) for word in (sys.argv[1:] if arguments is None else arguments)]
    if isinstance(sys.stdout, io.TextIOWrapper):  # a terminal that cannot show a letter must not end the program
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        options = _parser(words).parse_args(words)
        return int(options.run(options))
    except BadRecord as error:
        for fault in error.faults:
            complain(str(fault))
    except TripplanError as error:
        for line in str(error).splitlines() if hasattr(error, "faults") else [str(error)]:
            complain(line)
    except BrokenPipeError:  # the reader of our output went away: not our fault
        sys.stderr.close()
        return FINE
    except OSError as error:
        complain(f"{error.filename or 'a file'}: {error.strerror or error}")
    return REFUSED


def _parser(words: Sequence[str]) -> Parser:
    """Return the parser of all commands; only the one that is named takes its words."""
    parser = Parser(prog="tripplan", description="Plan a day of shore dives in which every number can say why.")
    parser.add_argument("--version", action="version", version=f"tripplan {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND", parser_class=Parser)
    named = next((word for word in words if not word.startswith("-")), "")
    for name, (module, what) in COMMANDS.items():
        sub = commands.add_parser(name, help=what, description=what)
        if name == named:
            import_module(f"tripplan.cli.{module}").COMMANDS[name](sub)
    return parser


def _shielded(word: str) -> str:
    """Keep a position that starts with a minus sign, like -33.9,18.4, from being read as an option."""
    return f" {word}" if re.match(r"-\d[^:]*,", word) else word
