"""The commands. Exit 0: fine; 1: the answer contains a stop; 2: the input was refused, one line a fault on stderr.

Each command imports what it needs when it runs, so that ``tripplan --help`` answers at once.
"""

from __future__ import annotations

import argparse
import io
import json
import math
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from tripplan import __version__
from tripplan.errors import BadRecord, OutOfRange, TripplanError

if TYPE_CHECKING:
    from tripplan.catalogue.site import Site
    from tripplan.catalogue.station import Station
    from tripplan.people.table import Preview
    from tripplan.physics.no_stop import Exposure
    from tripplan.planning.board import Board
    from tripplan.planning.schedule import Progress, Schedule
    from tripplan.planning.schedule_request import ScheduleRequest
    from tripplan.planning.season import Season
    from tripplan.planning.world import World
    from tripplan.rulebook import RuleBook
    from tripplan.store.accounts import Accounts
    from tripplan.store.database import Store
    from tripplan.store.folder import Folder
    from tripplan.store.people_file import CentrePeople
    from tripplan.store.purge import Purge

FINE, STOPPED, REFUSED = 0, 1, 2
LONGEST_TIDE_DAYS = 3660  # ten years: enough for every use, short enough to answer
MOST_HEIGHTS = 1_000_000
LONGEST_ADDRESS = 200
LONGEST_SEARCH_S = 86_400
LARGEST_SEED = 2**31 - 1  # the solver takes no larger one
LARGEST_KEPT_BYTES = 50_000_000  # fourteen days of eighty groups take a few million
LONGEST_FILE_NAME = 60  # of what a person or a group is called, in letters


class Refused(TripplanError):
    """The words on the command line cannot be used."""


class _Parser(argparse.ArgumentParser):
    """A parser whose error is one line."""

    def error(self, message: str) -> NoReturn:
        """Raise instead of printing the usage, so that every fault is one line."""
        raise Refused(f"{self.prog}: {message}; `{self.prog} --help` explains")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code."""
    words = [_shielded(word) for word in (sys.argv[1:] if arguments is None else arguments)]
    if isinstance(sys.stdout, io.TextIOWrapper):  # a terminal that cannot show a letter must not end the program
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        options = _parser().parse_args(words)
        return int(options.run(options))
    except BadRecord as error:
        for fault in error.faults:
            _complain(str(fault))
    except TripplanError as error:
        for line in str(error).splitlines() if hasattr(error, "faults") else [str(error)]:
            _complain(line)
    except BrokenPipeError:  # the reader of our output went away: not our fault
        sys.stderr.close()
        return FINE
    except OSError as error:
        _complain(f"{error.filename or 'a file'}: {error.strerror or error}")
    return REFUSED


def _complain(line: str) -> None:
    """Print one fault as one line, whatever characters the words that it quotes hold."""
    print("".join(c if c.isprintable() else " " for c in line), file=sys.stderr)


def _shielded(word: str) -> str:
    """Keep a position that starts with a minus sign, like -33.9,18.4, from being read as an option."""
    return f" {word}" if re.match(r"-\d[^:]*,", word) else word


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="tripplan", description="Plan a day of shore dives in which every number can say why.")
    parser.add_argument("--version", action="version", version=f"tripplan {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND", parser_class=_Parser)

    def command(name: str, run: Any, words: str) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, help=words, description=words)
        sub.set_defaults(run=run)
        return sub

    def as_json(sub: argparse.ArgumentParser) -> None:
        sub.add_argument("--json", action="store_true", help="print one JSON object")

    sub = command("demo", _serve_demo, "Start the demonstration on this machine and print its address.")
    sub.add_argument("--port", type=int, default=8080, metavar="N", help="port, 0 for any free one (8080)")
    sub = command("serve", _serve, "Serve a centre's own folder on this machine and print its address.")
    sub.add_argument("folder", type=Path, metavar="FOLDER", help="folder with sites, stations/, centre/ and requests/")
    sub.add_argument("--port", type=int, default=8080, metavar="N", help="port, 0 for any free one (8080)")
    sub.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1)")
    sub.add_argument("--accounts", action="store_true", help="ask for a name and a password also on this machine")
    sub.add_argument("--proxy", metavar="ADDRESS", help="of the server in front that speaks https, as it calls here")
    sub.add_argument(
        "--store", metavar="URL", help="sqlite:///FILE or postgresql+psycopg://... (the user's data folder)"
    )
    sub.epilog = (
        "Where others can reach it, by --host or by --proxy, everybody has to sign in: make the first account with "
        "`tripplan account FOLDER add NAME --role centre`. From another machine a password is taken over https only, "
        "so a server that speaks it must stand in front."
    )

    sub = command("worker", _worker, "Make schedules that are asked for on the pages of another process.")
    sub.epilog = "`tripplan serve` and `tripplan demo` start one by themselves; more of them share the work."
    sub.add_argument("folder", type=Path, metavar="FOLDER", help="the centre's folder")
    sub.add_argument("--store", metavar="URL", help="as for `tripplan serve`")

    sub = command("account", _account, "Make, list, lock and unlock accounts, and set their passwords.")
    sub.epilog = "A password is typed at the prompt, twice, or comes as one line by --password-stdin; never as a word."
    sub.add_argument("folder", type=Path, metavar="FOLDER", help="the centre's folder")
    sub.add_argument("--store", metavar="URL", help="as for `tripplan serve`")
    actions = sub.add_subparsers(required=True, metavar="ACTION", parser_class=_Parser, dest="action")
    for action, words in (
        ("add", "make an account"),
        ("list", "list the accounts"),
        ("lock", "lock an account and sign it out everywhere"),
        ("unlock", "let a locked account sign in again"),
        ("password", "set a new password and sign the account out everywhere"),
    ):
        each = actions.add_parser(action, help=words, description=f"{words.capitalize()}.")
        if action == "list":
            as_json(each)
            continue
        each.add_argument("name", metavar="NAME", help='who signs in, like "Greta Holm"')
        if action == "add":
            each.add_argument("--role", required=True, choices=("leader", "centre", "assistant"), help="what it may do")
        if action in ("add", "password"):
            each.add_argument("--password-stdin", action="store_true", help="read the password from standard input")

    sub = command(
        "store", _store, "Back up, put back and check the store of a centre; delete what has been kept long enough."
    )
    sub.epilog = (
        "The store holds what happened on the beach, the plans, the requests and the accounts. A backup holds health "
        "data as the store does: keep it where only you can read it, and delete old ones, for what a purge deletes is "
        "still in them. The rules `retention` of the rule book say how long; `tripplan rules` lists them."
    )
    actions = sub.add_subparsers(required=True, metavar="ACTION", parser_class=_Parser, dest="action")
    for action, words in (
        ("backup", "write a whole copy of the store, also while it is in use"),
        ("restore", "put a backup in the place of the store, which is kept beside it"),
        ("check", "say where the store lies, whether it is whole, and what it holds"),
        ("purge", "say what has been kept long enough; delete it with --yes"),
    ):
        each = actions.add_parser(action, help=words, description=f"{words[0].upper()}{words[1:]}.")
        if action in ("backup", "restore"):
            each.add_argument("file", type=Path, metavar="FILE", help="the backup")
        each.add_argument(
            "--folder", type=Path, metavar="FOLDER", help="the centre's: its store, and for a purge its rules"
        )
        each.add_argument("--store", metavar="URL", help="as for `tripplan serve`, where it is not in its usual place")
        if action in ("restore", "purge"):
            each.add_argument("--yes", action="store_true", help="do it; without, this only says what would happen")
        if action == "purge":
            each.add_argument(
                "--before", metavar="D", help="only what is older than this day, never more than the rules"
            )
        if action in ("check", "purge"):
            as_json(each)

    sub = command("sites", _sites, "Validate site and tide station files; faults as file:line: message.")
    sub.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="files or folders")
    as_json(sub)

    sub = command("tide", _tide, "High and low waters, and heights, at a tide station.")
    sub.add_argument("station", metavar="STATION", help="name of a station in the folder, or a station file")
    sub.add_argument(
        "--from", dest="start", required=True, metavar="T", help="ISO 8601; without offset: station's zone"
    )
    sub.add_argument("--to", dest="end", required=True, metavar="T", help="ISO 8601, included")
    sub.add_argument("--every", type=_whole, metavar="MIN", help="also heights every so many minutes")
    sub.add_argument("--folder", type=Path, metavar="FOLDER", help="where named stations are (the demonstration)")
    as_json(sub)

    sub = command("tide-table", _tide_table, "Fetch an authority's high and low waters into a table.")
    sub.add_argument("station", metavar="NUMBER", help="the station's number at the authority, like 9414290")
    sub.add_argument("--from", dest="first", required=True, metavar="D", help="first day, UTC")
    sub.add_argument("--to", dest="last", required=True, metavar="D", help="last day, included")
    sub.add_argument("--csv", type=Path, required=True, metavar="FILE", help="the table to write")
    sub.add_argument("--folder", type=Path, required=True, metavar="FOLDER", help="the centre's, for centre/feeds.toml")

    sub = command("daylight", _daylight, "Dawn, sunrise, sunset, dusk and moon at a place.")
    sub.add_argument("position", metavar='"LAT, LON"', help="decimal degrees, or degrees and decimal minutes")
    sub.add_argument("day", metavar="DATE", help="like 2027-06-12")
    sub.add_argument("--timezone", required=True, metavar="TZ", help="IANA name, like Atlantic/Azores")
    as_json(sub)

    sub = command("season", _season, "Usable hours of every day at sites, from tide, light, access and stream.")
    sub.epilog = "No forecast reaches so far: what a day leaves here is the most that it can leave."
    sub.add_argument("sites", nargs="+", metavar="SITE", help="name of a site in the folder, or a site file")
    sub.add_argument("--from", dest="start", required=True, metavar="DATE", help="first day, like 2027-01-01")
    sub.add_argument("--to", dest="end", required=True, metavar="DATE", help="last day, included; 366 days at most")
    sub.add_argument("--kind", default="guided", metavar="KIND", help="of dive, like level_1_course (guided)")
    sub.add_argument("--at-least", type=_whole, default=120, metavar="MIN", help="count days with so many min (120)")
    sub.add_argument("--folder", type=Path, metavar="FOLDER", help="the centre's folder (the demonstration)")
    sub.add_argument("--csv", type=Path, metavar="FILE", help="write a row for each site and day; alone, prints a line")
    as_json(sub)

    sub = command("limits", _limits, "How long at a depth without a stop, at an altitude, after earlier dives.")
    sub.add_argument("--depth", type=_number, required=True, metavar="M", help="deepest point, metres")
    sub.add_argument("--altitude", type=_number, default=0.0, metavar="M", help="of the water's surface, metres (0)")
    sub.add_argument("--hours-since-arrival", type=_number, metavar="H", help="at that altitude; unknown: just arrived")
    sub.add_argument("--water", choices=("sea", "fresh"), default="sea", help="(sea)")
    sub.add_argument("--oxygen", type=_number, default=21.0, metavar="PERCENT", help="oxygen in the gas (21)")
    sub.add_argument("--pressure", type=_number, metavar="BAR", help="measured air pressure at the surface, bar")
    sub.add_argument(
        "--previous",
        action="append",
        default=[],
        metavar="DEPTH:MINUTES:INTERVAL_MIN",
        help="an earlier dive and the minutes at the surface after it; repeat, oldest first",
    )
    sub.add_argument("--rules", type=Path, metavar="FILE", help="a centre's rules that override the baseline")
    as_json(sub)

    sub = command("gas", _gas, "Is the gas in a cylinder enough for a dive, when to turn, and when to go up.")
    sub.epilog = (
        "Litres are free litres at 1.01325 bar and 15 degrees C. A first stage gives gas at some 10 bar above the "
        "pressure around it, so the last bars of a cylinder cannot be breathed. "
        "Exit 1: the gas is not enough, or too rich for the depth."
    )
    sub.add_argument("--depth", type=_number, required=True, metavar="M", help="deepest point, metres")
    sub.add_argument(
        "--minutes", type=_number, required=True, metavar="N", help="from leaving the surface to leaving the bottom"
    )
    sub.add_argument(
        "--cylinder", type=_number, required=True, metavar="L", help="water capacity, litres; a twin set as its sum"
    )
    sub.add_argument("--fill", type=_number, required=True, metavar="BAR", help="reading of the cylinder's gauge")
    sub.add_argument("--rate", type=_number, metavar="L_PER_MIN", help="the diver's own, at the surface (rule book)")
    sub.add_argument("--water", choices=("sea", "fresh"), default="sea", help="(sea)")
    sub.add_argument("--altitude", type=_number, default=0.0, metavar="M", help="of the water's surface, metres (0)")
    sub.add_argument("--oxygen", type=_number, default=21.0, metavar="PERCENT", help="oxygen in the gas (21)")
    sub.add_argument("--temperature", type=_number, metavar="C", help="of the cylinder when the gauge was read")
    sub.add_argument("--water-temperature", type=_number, metavar="C", help="of the water")
    sub.add_argument(
        "--swim", type=_number, default=0.0, metavar="MIN", help="at the surface on this gas, minutes each way (0)"
    )
    sub.add_argument("--rules", type=Path, metavar="FILE", help="a centre's rules that override the baseline")
    as_json(sub)

    sub = command("plan", _plan, "Make the plan of a day from a request file.")
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

    sub = command(
        "schedule", _schedule, "Place the groups of some days: which site, when, with whom, in which vehicle."
    )
    sub.epilog = (
        "First it is looked up where each group could dive, then the search begins, and last it is searched for what "
        "would give a group without a place one; the first and the last come on top of --seconds. Ctrl-C ends the "
        "search and keeps the best so far. The same input, seed and seconds give the same schedule, except "
        "on a machine that is much too slow. Exit 1: a group has not all its dives placed."
    )
    sub.add_argument("request", type=Path, metavar="REQUEST.toml", help="what is asked for; README.md explains it")
    sub.add_argument("--folder", type=Path, metavar="FOLDER", help="the centre's folder (found above the request)")
    sub.add_argument(
        "--seconds", type=_seconds, default=30.0, metavar="N",
        help="end the search after about so long, counted in work and not by the clock (30)",
    )  # fmt: skip
    sub.add_argument("--seed", type=_seed, default=1, metavar="N", help="how a choice between equals falls (1)")
    sub.add_argument(
        "--before", type=Path, metavar="FILE", help="keep to this schedule, made by --keep, and tell what changes"
    )
    sub.add_argument("--keep", type=Path, metavar="FILE", help="write the whole schedule as JSON, for a later --before")
    sub.add_argument("--no-explain", action="store_true", help="do not search for why a group has no place")
    how = sub.add_mutually_exclusive_group()
    how.add_argument("--text", action="store_true", help="print the schedule as text (the default)")
    how.add_argument("--json", action="store_true", help="print one JSON object")
    sub.add_argument("--pdf", type=Path, metavar="FILE", help="write the sheets for the wall and for each of the crew")
    sub.add_argument("--paper", choices=("a4", "letter"), default="a4", help="of the PDF (a4)")
    sub.add_argument("--csv", type=Path, metavar="FILE", help="write a table with a row for each dive")
    sub.add_argument(
        "--calendars", type=Path, metavar="FOLDER", help="write a calendar (.ics) for each of the crew and each group"
    )
    sub.add_argument("--store", metavar="URL", help="where ticks of skills are kept, as for `tripplan serve`")

    sub = command("sheet", _sheet, "Print the emergency action sheets of a day, all in one PDF.")
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
    as_json(sub)

    sub = command("board", _board, "All sites side by side for a group over some days, with the first reason against.")
    sub.epilog = "Exit 1: no site has a usable minute on any of the days."
    sub.add_argument("request", type=Path, metavar="REQUEST.toml")
    sub.add_argument("--group", metavar="NAME", help="which group of the request (its first)")
    sub.add_argument("--from", dest="start", metavar="D", help="first day, like 2027-06-12 (the request's date)")
    sub.add_argument("--days", type=_days, default=7, metavar="N", help="how many days (7)")
    sub.add_argument("--folder", type=Path, metavar="FOLDER", help="the centre's folder (found above the request)")
    as_json(sub)

    sub = command("rules", _rules, "List the rule book: every adjustable number with its source.")
    sub.add_argument("--folder", type=Path, metavar="FOLDER", help="with this centre's own overrides")
    as_json(sub)

    sub = command("people", _people, "List a centre's people; write them to a table, or read a table into them.")
    sub.epilog = (
        "An import shows what it would do and writes nothing without --apply. A column that the table does not have "
        "stays as it is, an empty cell takes a value away, and nobody is removed. The list is written anew, without "
        "its remarks; the one before is kept beside it. Of an .xlsx the first sheet is read. Exit 2: the table has a "
        "fault, also where the good rows were written."
    )
    sub.add_argument("folder", type=Path, metavar="FOLDER", help="the centre's folder")
    way = sub.add_mutually_exclusive_group()
    way.add_argument("--export", metavar="FILE", help="write everybody to a .csv or .xlsx; - prints CSV")
    way.add_argument("--import", dest="table", type=Path, metavar="FILE", help="show what a .csv or .xlsx would change")
    way.add_argument(
        "--purge", action="store_true", help="list whose papers have been kept long enough; nothing is changed"
    )
    sub.add_argument(
        "--store", metavar="URL", help="with --purge: of the entries of the beach, as for `tripplan serve`"
    )
    sub.add_argument(
        "--without-private", action="store_true", help="export no medical, guardian, next of kin and notes"
    )
    sub.add_argument("--apply", action="store_true", help="write it, where no row has a fault")
    sub.add_argument(
        "--good-rows", action="store_true", help="with --apply: leave rows with a fault out, write the others"
    )
    as_json(sub)
    return parser


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is not a number') from None
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f'"{text}" is not a finite number')
    return value


def _whole(text: str) -> int:
    if not re.fullmatch(r"\d{1,6}", text):
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number of minutes')
    return int(text)


def _days(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", text):
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number of days')
    return int(text)


def _seconds(text: str) -> float:
    value = _number(text)
    if not 0 < value <= LONGEST_SEARCH_S:
        raise argparse.ArgumentTypeError(f"{text} s is no time to search in; it must be above 0, to {LONGEST_SEARCH_S}")
    return value


def _seed(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,10}", text) or int(text) > LARGEST_SEED:
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number from 0 to {LARGEST_SEED}')
    return int(text)


def _delay(text: str) -> int:
    minutes = _whole(text)
    from tripplan.planning.replan import LONGEST_DELAY_MIN

    if not 1 <= minutes <= LONGEST_DELAY_MIN:
        raise argparse.ArgumentTypeError(f"{minutes} min is no delay; it must be from 1 to {LONGEST_DELAY_MIN}")
    return minutes


def _show(values: dict[str, Any]) -> None:
    """Print one JSON object; not-a-number never leaves the program."""
    json.dump(values, sys.stdout, ensure_ascii=False, indent=2, allow_nan=False)
    print()


# ---- serving ----


def _serve_demo(options: argparse.Namespace) -> int:
    from tripplan.data_files import data_dir

    return _answer(data_dir("sites"), "127.0.0.1", options.port, keep_young=True)


def _serve(options: argparse.Namespace) -> int:
    from tripplan.store.database import default_path

    beyond = options.proxy is not None or not _loopback(options.host)
    if not (beyond or options.accounts or options.store):
        return _answer(options.folder, options.host, options.port)
    _look_at_port(options.port)
    _look_at_folder(options.folder)
    if not options.store and not default_path(options.folder).exists():
        raise Refused(_no_account_yet(options))
    store = _opened_store(options.folder, options.store)
    try:
        accounts = None
        if beyond or options.accounts:
            from tripplan.store.accounts import Accounts

            accounts = Accounts(store)
            if not accounts.can_be_managed():
                raise Refused(_no_account_yet(options))
        return _answer(
            options.folder,
            options.host,
            options.port,
            proxy=options.proxy,
            store=store,
            accounts=accounts,
            beyond=beyond,
        )
    finally:
        store.close()


def _no_account_yet(options: argparse.Namespace) -> str:
    why = "with --accounts" if _loopback(options.host) and not options.proxy else "where others can reach it"
    at = options.proxy if options.proxy and _loopback(options.host) else options.host
    return (
        f"tripplan serve: {at}: everybody has to sign in {why}, and no account of the role centre can; make one with "
        f"`tripplan account {options.folder} add NAME --role centre`"
    )


def _loopback(host: str) -> bool:
    """Return whether only this machine can reach an address."""
    from ipaddress import ip_address

    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _look_at_port(port: int) -> None:
    if not 0 <= port <= 65535:
        raise Refused(f"port is {port}; it must be from 0 to 65535")


def _look_at_folder(folder: Path) -> RuleBook:
    """Return the rules of a centre's folder.  Raises BadRecord where it is none: before a store is made for it."""
    from tripplan.store.folder import load_folder

    return load_folder(folder).world.rules


def _opened_store(folder: Path, url: str | None) -> Store:
    """Return the store of an address, or that of a centre's folder, which nobody else on the machine may read."""
    from tripplan.store.database import Store, default_path, sqlite_url

    if url is None:
        path = default_path(folder)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch(mode=0o600)
        path.chmod(0o600)
        return Store(sqlite_url(path))
    if not url.startswith(("sqlite:///", "postgresql")):
        raise Refused("--store begins with neither sqlite:/// nor postgresql+psycopg://")
    try:
        return Store(url)
    except ImportError:
        raise Refused("--store asks for a PostgreSQL driver that is not here: install tripplan[postgresql]") from None


def _answer(
    folder: Path,
    host: str,
    port: int,
    *,
    keep_young: bool = False,
    proxy: str | None = None,
    store: Store | None = None,
    accounts: Accounts | None = None,
    beyond: bool = False,
) -> int:
    """Serve a folder until interrupted; the address is printed once it answers."""
    from waitress.server import create_server

    from tripplan.store.schedule_jobs import Hired, Place
    from tripplan.web.app import create_app

    _look_at_port(port)
    app = create_app(folder, keep_young=keep_young, store=store, accounts=accounts, beyond=beyond)
    app.extensions["tripplan_worker"] = worker = Hired(Place(folder, keep_young))
    trusted: dict[str, Any] = {}
    if proxy is not None:  # its word, and nobody else's, is taken for who asks and by which connection
        trusted = {"trusted_proxy": proxy, "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"}}
    try:
        server = create_server(app, host=host, port=port, threads=4, ident="tripplan", **trusted)
    except OSError as error:
        raise Refused(f"port {port} cannot be used: {error.strerror}; give another with --port") from None
    shown = f"[{host}]" if ":" in host else host
    print(f"http://{shown}:{server.effective_port}/", flush=True)  # the socket listens from here on
    try:
        server.run()
    except KeyboardInterrupt:
        server.close()
    finally:
        worker.close()
    return FINE


def _worker(options: argparse.Namespace) -> int:
    from tripplan.store.schedule_jobs import Place, run_worker

    _look_at_folder(options.folder)
    store = _opened_store(options.folder, options.store)
    store.close()
    run_worker(store.url, Place(options.folder))
    return FINE


# ---- accounts ----


def _account(options: argparse.Namespace) -> int:
    from tripplan.store.accounts import Accounts, Limits

    limits = Limits.of(_look_at_folder(options.folder))
    password = _password(options) if options.action in ("add", "password") else ""
    store = _opened_store(options.folder, options.store)
    try:
        accounts = Accounts(store)
        if options.action == "list":
            _list_accounts(accounts, options.json)
            return FINE
        moment, by, name = datetime.now(UTC), _who_types(), options.name
        if options.action == "add":
            made = accounts.add(name, options.role, password, by=by, now=moment, limits=limits)
            print(f"{made.name} may now sign in, with the role {made.role}.")
        elif options.action == "password":
            accounts.set_password(name, password, by=by, now=moment, limits=limits)
            print(f"{name} has a new password and is signed out everywhere.")
        elif options.action == "lock":
            accounts.lock(name, by=by, now=moment, keep_one=False)
            print(f"{name} is locked and signed out everywhere.")
        else:
            accounts.unlock(name, by=by, now=moment)
            print(f"{name} may sign in.")
    finally:
        store.close()
    return FINE


# ---- the store ----


def _store(options: argparse.Namespace) -> int:
    if not (options.folder or options.store):
        raise Refused("tripplan store: which store is not said; give --folder FOLDER or --store URL")
    rules = _look_at_folder(options.folder) if options.folder else None
    if options.action == "purge" and rules is None:
        raise Refused("tripplan store: a purge goes by the centre's own rules; give --folder FOLDER too")
    url = _store_address(options)
    if options.action == "restore":
        return _restore(options.file, url, yes=options.yes)
    if options.action == "backup" and url.startswith("postgresql"):
        raise Refused("this store is PostgreSQL: its own pg_dump makes the backup")
    store = _store_there(url)
    try:
        if options.action == "backup":
            return _backup(store, options.file)
        if options.action == "check":
            return _check_store(store, as_json=options.json)
        return _purge(store, options, rules or _look_at_folder(options.folder))
    finally:
        store.close()


def _store_address(options: argparse.Namespace) -> str:
    from tripplan.store.database import default_path, sqlite_url

    if options.store and not options.store.startswith(("sqlite:///", "postgresql")):
        raise Refused("--store begins with neither sqlite:/// nor postgresql+psycopg://")
    return options.store or sqlite_url(default_path(options.folder))


def _store_there(url: str) -> Store:
    """Return a store that exists: none is made here.  Raises Refused."""
    if url.startswith("sqlite:///"):
        path = Path(url.removeprefix("sqlite:///"))
        if not path.is_file():
            raise Refused(f"there is no store at {path}: nothing was kept there yet")
        _look_at_store_file(path)
    return _opened_store(Path(), url)


def _look_at_store_file(path: Path) -> dict[str, int]:
    """Return how many rows some tables of a store's file hold.  Raises Refused for what is no store of this program."""
    import sqlite3
    from contextlib import closing

    from alembic.script import ScriptDirectory
    from alembic.util import CommandError

    from tripplan.store.database import MIGRATIONS

    try:
        how = "rw" if os.access(path, os.W_OK) else "ro"  # none is made where there is none
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode={how}", uri=True)) as plain:
            (revision,) = plain.execute("SELECT version_num FROM alembic_version").fetchone()
            tables = [name for (name,) in plain.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            counts = {
                name: plain.execute(f"SELECT count(*) FROM {name}").fetchone()[0]
                for name in ("events", "plans", "ticks", "request_versions", "accounts")
                if name in tables or name == "events"
            }
        ScriptDirectory(str(MIGRATIONS)).get_revision(revision)
    except CommandError:
        raise Refused(f"{path} was written by a newer version of this program; nothing was changed") from None
    except (sqlite3.Error, TypeError) as error:
        raise Refused(f"{path} is no store of this program, or it is damaged: {error}") from None
    return counts


HELD = {
    "events": ("entry", "entries"),
    "plans": ("plan", "plans"),
    "ticks": ("tick", "ticks"),
    "request_versions": ("version of a request", "versions of requests"),
    "requests": ("request", "requests"),
    "accounts": ("account", "accounts"),
    "audit": ("line of the audit trail", "lines of the audit trail"),
}


def _held_words(rows: Mapping[str, int]) -> str:
    return ", ".join(
        f"{rows[name]} {one if rows[name] == 1 else more}" for name, (one, more) in HELD.items() if name in rows
    )


def _backup(store: Store, file: Path) -> int:
    from tripplan.store.accounts import tell

    with _for_the_owner_alone():
        store.backup(file)
        _in_one_file(file)
    tell(store, datetime.now(UTC), _who_types(), "store backed up", "")
    print(f"{file}: a whole copy, {_held_words(_look_at_store_file(file))}")
    return FINE


def _in_one_file(file: Path) -> None:
    """Make a copy such that it can be read from a disk that cannot be written to, without files beside it."""
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(file)) as plain:
        plain.execute("PRAGMA journal_mode = DELETE").fetchone()


@contextmanager
def _for_the_owner_alone() -> Iterator[None]:
    """Make new files such that nobody else on the machine may read them: they hold health data."""
    before = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(before)


def _restore(file: Path, url: str, *, yes: bool) -> int:
    from tripplan.store.accounts import tell
    from tripplan.store.database import restore

    if url.startswith("postgresql"):
        raise Refused("this store is PostgreSQL: its own pg_restore puts a backup back")
    path = Path(url.removeprefix("sqlite:///"))
    aside = path.with_name(f"{path.name}.before-restore")
    if not file.is_file():
        raise Refused(f"{file}: there is no such file")
    if path.exists() and path.samefile(file):
        raise Refused(f"{file} is the store itself, not a backup of it")
    counts = _look_at_store_file(file)
    if path.exists() and aside.exists():
        raise Refused(f"{aside} is the store before an earlier restore: move it away first, so that it is not lost")
    if not yes:
        print(f"{file} holds {_held_words(counts)}.")
        print(
            f"It would become the store {path}"
            + (f"; the one there would be kept as {aside}." if path.exists() else ".")
        )
        print("Accounts and passwords would be those of the backup, and what was deleted since would be back.")
        print("Nothing was changed: --yes does it.")
        return FINE
    if _in_use(path):
        raise Refused(f"the store {path} is in use: stop the server first; nothing was changed")
    with _for_the_owner_alone():
        restore(file, path)
    store = _store_there(url)
    try:
        tell(store, datetime.now(UTC), _who_types(), "store put back from a backup", file.name)
    finally:
        store.close()
    print(f"{path}: put back, {_held_words(counts)}")
    if aside.exists():
        print(f"{aside}: the store that was there before")
    print("Accounts and passwords are those of the backup. Run `tripplan store purge` again: what it deleted is back.")
    return FINE


def _in_use(path: Path) -> bool:
    """Return whether another process has a SQLite store open; one that is damaged nobody can use."""
    import sqlite3
    from contextlib import closing

    if not path.exists():
        return False
    try:
        with closing(sqlite3.connect(path, timeout=1, isolation_level=None)) as plain:
            plain.execute("PRAGMA journal_mode = DELETE").fetchone()  # refused while another has it open
            plain.execute("BEGIN EXCLUSIVE")
            plain.execute("ROLLBACK")
    except sqlite3.OperationalError as error:
        return "locked" in str(error)
    except sqlite3.DatabaseError:
        return False
    return False


def _check_store(store: Store, *, as_json: bool) -> int:
    from tripplan.store.database import _shown
    from tripplan.store.purge import holding

    found, where = holding(store), _shown(store.url)
    days = [day.isoformat() if day else None for day in (found.first, found.last)]
    if as_json:
        _show({"store": where, "whole": not found.fault, "fault": found.fault, "rows": dict(found.rows),
               "first_day": days[0], "last_day": days[1]})  # fmt: skip
    else:
        print(where)
        print(_held_words(found.rows))
        if found.first:
            print(f"days {days[0]} to {days[1]}")
        if not found.fault:
            print("It is whole.")
    if found.fault:
        _complain(f"{where}: {found.fault}; put a backup back with `tripplan store restore`")
    return REFUSED if found.fault else FINE


def _purge(store: Store, options: argparse.Namespace, rules: RuleBook) -> int:
    from tripplan.store.folder import load_folder
    from tripplan.store.purge import BACKUPS_HOLD_IT, last_days, past_keeping, purge, what_would_go

    before, moment = _day(options.before, "--before") if options.before else None, datetime.now(UTC)
    if options.yes:
        found = purge(store, rules, moment, _who_types(), before)
    else:
        found = what_would_go(store, rules, moment, before)
    people = load_folder(options.folder).world.people.values()
    old, undated = past_keeping(people, rules, moment.date(), last_days(store))
    if options.json:
        _show(
            {
                "deleted": options.yes,
                "rows": found.rows,
                "parts": [
                    {"table": part.table, "what": part.what, "why": part.why, "rows": part.rows,
                     "lines": [vars(line) for line in part.lines]}
                    for part in found.parts
                ],
                "kept": [vars(each) for each in found.kept],
                "people_to_look_at": len(old) + len(undated),
            }
        )  # fmt: skip
        return FINE
    _print_purge(found, done=options.yes)
    if found.parts:
        print(BACKUPS_HOLD_IT if options.yes else "Nothing was deleted: --yes deletes just this.")
    if count := len(old) + len(undated):
        print(f"Of the list of people, {count} should be looked at: `tripplan people {options.folder} --purge`.")
    return FINE


def _print_purge(found: Purge, *, done: bool) -> None:
    if not found.parts:
        print("Nothing has been kept long enough: nothing is deleted.")
    else:
        print(f"{'Deleted' if done else 'Would be deleted'}, {found.rows} in all:")
    for part in found.parts:
        print(f"{part.what}: {part.rows}. Why: {part.why}.")
        for line in part.lines:
            print(f"  {line.about}: {line.rows}")
    if found.kept:
        print("Old, and kept all the same:")
    for each in found.kept:
        print(f"  {each.what}, {each.about}: {each.rows}. Why: {each.why}.")


def _list_accounts(accounts: Accounts, as_json: bool) -> None:
    found = accounts.listing()
    if as_json:
        _show(
            {
                "accounts": [
                    {
                        "name": each.name,
                        "role": each.role,
                        "locked": each.locked,
                        "created": each.created.isoformat(),
                        "password_changed": each.password_changed.isoformat(),
                    }
                    for each in found
                ]
            }
        )
        return
    for each in found:
        print(f"{each.name:30} {each.role:10} {'locked' if each.locked else ''}".rstrip())
    print(f"{_counted(len(found), 'account')}")


def _password(options: argparse.Namespace) -> str:
    """Return a new password, typed twice without being shown, or from standard input.  Raises Refused."""
    if options.password_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    if not sys.stdin.isatty():
        raise Refused("tripplan account: there is no keyboard to type a password at; give it by --password-stdin")
    from getpass import getpass

    try:
        password = getpass(f"New password of {options.name}: ")
        if getpass("The same again: ") != password:
            raise Refused("the two passwords differ; nothing was changed")
    except (EOFError, KeyboardInterrupt):
        raise Refused("no password was typed; nothing was changed") from None
    return password


def _who_types() -> str:
    """Return who gives the command, as the machine knows it."""
    from getpass import getuser

    try:
        return f"{getuser()}, at the machine"
    except (KeyError, OSError):
        return "somebody at the machine"


# ---- files ----


def _sites(options: argparse.Namespace) -> int:
    from tripplan.catalogue.survey import survey

    found = survey(options.paths)
    for fault in found.faults:
        _complain(str(fault))
    if options.json:
        _show(
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


# ---- tide and light ----


def _station(text: str, folder: Path | None) -> Station:
    """Find a station by its file, or by slug or name in a folder."""
    from tripplan.catalogue.station import read_stations
    from tripplan.data_files import data_dir

    path = Path(text)
    if path.suffix == ".toml" or path.is_file():
        beside = tuple(p for p in sorted(path.parent.glob("*.toml")) if p.name != path.name)
        others = tuple(p for p in beside if _is_station_file(p))
        stations, faults = read_stations((path, *others))
        mine = tuple(fault for fault in faults if Path(fault.file) == path or fault.file.endswith(".csv"))
        if path.stem not in stations:
            raise BadRecord(mine or faults)
        return stations[path.stem]
    home = (folder or data_dir("sites")) / "stations"
    stations, faults = read_stations(tuple(sorted(home.glob("*.toml"))))
    wanted = text.casefold().strip()
    for slug, station in stations.items():
        if wanted in (slug.casefold(), station.name.casefold()):
            return station
    if faults:
        raise BadRecord(faults)
    raise Refused(f'station "{text}" is neither a file nor known; known: {", ".join(stations) or "none"}')


def _is_station_file(path: Path) -> bool:
    from tripplan.catalogue.station import looks_like_station
    from tripplan.record import read_toml

    try:
        return looks_like_station(read_toml(path).data)
    except BadRecord:
        return False


def _moment(text: str, timezone: str, what: str) -> datetime:
    """Read an ISO 8601 time; without an offset it is on the station's clock."""
    from zoneinfo import ZoneInfo

    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Refused(
            f'{what} is "{text}"; give a date or time like 2027-06-12, 2027-06-12T08:00 or 2027-06-12T08:00:00+00:00'
        ) from None
    return moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(timezone))


def _tide(options: argparse.Namespace) -> int:
    from zoneinfo import ZoneInfo

    import numpy as np

    from tripplan.environment.tide import minutes_utc

    station = _station(options.station, options.folder)
    zone = ZoneInfo(station.timezone)
    start = _moment(options.start, station.timezone, "--from")
    end = _moment(options.end, station.timezone, "--to")
    if not start.timestamp() < end.timestamp():
        raise Refused(f"--to {options.end} is not after --from {options.start}")
    if (end.timestamp() - start.timestamp()) / 86400 > LONGEST_TIDE_DAYS:
        raise Refused(f"--from {options.start} --to {options.end} is longer than {LONGEST_TIDE_DAYS} days")
    tide = station.tide
    if tide is None:
        raise Refused(f'station "{options.station}" has no tide that can be reckoned: its reference station is missing')
    notes = list(tide.sentences())
    events: list[dict[str, Any]] = [
        {"time": point.time.astimezone(zone).isoformat(timespec="seconds"), "kind": point.kind,
         "height_m": round(point.height_m, 3)}
        for point in tide.turning_points(start, end + timedelta(seconds=1))
    ]  # fmt: skip
    answer: dict[str, Any] = {
        "station": station.name,
        "datum": station.datum,
        "timezone": station.timezone,
        "events": events,
    }
    if options.every is not None:
        if not 1 <= options.every <= 1440:
            raise Refused(f"--every is {options.every}; it must be from 1 to 1440 minutes")
        times = minutes_utc(start, end + timedelta(minutes=1))[:: options.every]
        if len(times) > MOST_HEIGHTS:
            raise Refused(f"that is {len(times):,} heights; at most {MOST_HEIGHTS:,} are given at once")
        heights = tide.heights_m(times)
        answer["heights"] = [
            {"time": _local(time, zone), "height_m": None if math.isnan(height) else round(float(height), 3)}
            for time, height in zip(times, heights, strict=True)
        ]
        if np.isnan(heights).any():
            notes.append(f"{int(np.isnan(heights).sum())} of {len(heights)} heights are not known: outside the table.")
    if not events and not any(row["height_m"] is not None for row in answer.get("heights", [])):
        notes.append("No high or low water is known between these times.")
    answer["notes"] = notes
    if options.json:
        _show(answer)
    else:
        print(f"{station.name}, metres above {station.datum}, {station.timezone}. Predicted: weather moves the sea.")
        for event in events:
            print(f"{event['time'][:16].replace('T', ' ')}  {event['kind']:4}  {event['height_m']:6.2f} m")
        for row in answer.get("heights", []):
            height = "not known" if row["height_m"] is None else f"{row['height_m']:6.2f} m"
            print(f"{row['time'][:16].replace('T', ' ')}        {height}")
        for note in notes:
            print(f"Note: {note}")
    return FINE


def _tide_table(options: argparse.Namespace) -> int:
    from tripplan.feeds.session import FeedSession
    from tripplan.feeds.settings import read_feed_settings
    from tripplan.feeds.tide_events import fetch_tide_events, tide_table_csv
    from tripplan.store.told import cache_folder

    first, last = _day(options.first, "--from"), _day(options.last, "--to")
    settings = read_feed_settings(options.folder)
    kept = cache_folder(options.folder)
    kept.mkdir(parents=True, exist_ok=True)
    session = FeedSession(settings, kept)
    try:
        events = fetch_tide_events(options.station, first, last, settings, session, datetime.now(UTC))
    finally:
        session.close()
    for note in events.notes:
        _complain(note.sentence)
    if not events.points:
        return REFUSED
    options.csv.write_text(tide_table_csv(events), encoding="utf-8")
    print(f"{options.csv}: {len(events.points)} high and low waters above {events.datum}")
    return FINE


def _local(time: Any, zone: Any) -> str:
    from datetime import UTC

    return datetime.fromisoformat(f"{time}").replace(tzinfo=UTC).astimezone(zone).isoformat(timespec="seconds")


def _day(text: str, what: str) -> date:
    from tripplan.planning.request import FIRST_DAY, LAST_DAY

    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise Refused(f'{what} is "{text}"; give a date like 2027-06-12') from None
    if not FIRST_DAY <= day <= LAST_DAY:
        raise Refused(f"{what} is {day}; it must be from {FIRST_DAY} to {LAST_DAY}")
    return day


def _daylight(options: argparse.Namespace) -> int:
    from zoneinfo import ZoneInfo

    from tripplan.environment.daylight import daylight
    from tripplan.environment.position import read_position

    position = read_position(options.position)
    day = _day(options.day, "DATE")
    try:
        ZoneInfo(options.timezone)
    except (KeyError, ValueError, OSError):
        raise Refused(f'--timezone "{options.timezone}" is not known; give an IANA name like Atlantic/Azores') from None
    light = daylight(position.latitude_deg, position.longitude_deg, day, options.timezone)
    names = ("civil_dawn", "sunrise", "solar_noon", "sunset", "civil_dusk")
    moments: dict[str, datetime | None] = {name: getattr(light, name) for name in names}
    if options.json:
        answer: dict[str, Any] = {
            name: moment.isoformat(timespec="seconds") if moment else None for name, moment in moments.items()
        }
        _show({**answer, "note": light.note, "moon": light.moon_words, "position": position.degrees_minutes})
    else:
        print(f"{position.degrees_minutes}, {day}, {options.timezone}")
        for name, moment in moments.items():
            print(f"{name.replace('_', ' '):11} {f'{moment:%Y-%m-%d %H:%M}' if moment else 'none'}")
        print(f"moon        {light.moon_words}")
        if light.note:
            print(f"Note: {light.note}")
    return FINE


# ---- season ----


def _season(options: argparse.Namespace) -> int:
    from tripplan.data_files import data_dir
    from tripplan.people.group import KINDS
    from tripplan.planning.season import LONGEST_DAYS, season, seasons
    from tripplan.planning.world import CannotPlan
    from tripplan.store.folder import load_folder

    folder = load_folder(options.folder or data_dir("sites"))
    wrong: list[str] = []
    days: list[date] = []
    for text, what in ((options.start, "--from"), (options.end, "--to")):
        try:
            days.append(_day(text, what))
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
    kind, (first, last) = KINDS[options.kind], days
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
        _show(
            {
                "kind": kind.name,
                "from": first.isoformat(),
                "to": last.isoformat(),
                "sites": [
                    {
                        "site": one.site,
                        "name": one.name,
                        "days": [
                            {
                                "date": day.day.isoformat(),
                                "windows": [{"start": _iso(w.start), "end": _iso(w.end)} for w in day.windows],
                                "usable_min": day.usable_min,
                                "first_reason": day.first_reason or None,
                            }
                            for day in one.days
                        ],
                    }
                    for one in answer
                ],
            }
        )
    elif options.csv:
        print(f"{options.csv}: {sum(len(one.days) for one in answer)} rows")
    else:
        _print_season(answer, options.at_least)
    return FINE


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

    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(("site", "name", "date", "usable_min", "windows", "first_reason"))
        for one in answer:
            for day in one.days:
                windows = " ".join(f"{_iso(window.start)}/{_iso(window.end)}" for window in day.windows)
                rows.writerow((one.site, one.name, day.day, day.usable_min, windows, day.first_reason))


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


# ---- limits ----


def _previous(text: str) -> Exposure:
    from tripplan.physics.no_stop import Exposure

    parts = text.split(":")
    if len(parts) != 3:
        raise Refused(f'--previous is "{text}"; it is written DEPTH:MINUTES:INTERVAL_MIN, like 18:35:90')
    try:
        depth, minutes, interval = (_number(part) for part in parts)
    except argparse.ArgumentTypeError as error:
        raise Refused(f'--previous is "{text}": {error}') from None
    return Exposure(depth_m=depth, bottom_time_min=minutes, interval_after_min=interval)


def _rule_book(path: Path | None) -> RuleBook:
    from tripplan.rulebook import baseline

    return baseline().with_overrides(path) if path else baseline()


def _limits(options: argparse.Namespace) -> int:
    from tripplan.check import Outcome, worst
    from tripplan.physics.no_stop import Surroundings, no_stop_limits

    rules = _rule_book(options.rules)
    surroundings = Surroundings(
        altitude_m=options.altitude,
        density_kg_m3=rules.value(f"water.{options.water}_density_kg_m3"),
        water=options.water,
        measured_pressure_bar=options.pressure,
    )
    hours = options.hours_since_arrival
    if hours is not None and hours < 0:
        raise OutOfRange(f"hours since arrival is {hours:g}; it must be at least 0 h")
    found = no_stop_limits(
        options.depth,
        surroundings,
        [_previous(text) for text in options.previous],
        rules,
        hours_since_arrival_h=hours,
        oxygen_percent=options.oxygen,
    )
    outcome = worst(found.checks)
    if options.json:
        _show(
            {
                "no_stop_min": found.no_stop_min,
                "model_no_stop_min": found.model_no_stop_min,
                "handbook_no_stop_min": found.handbook_no_stop_min,
                "handbook_group": found.handbook_group,
                "handbook_row_fsw": found.handbook_row_fsw,
                "residual_nitrogen_min": found.residual_nitrogen_min,
                "gradient_factors": list(found.gradient_factors),
                "equivalent_depth_m": _up(found.equivalent_depth_m, 3),
                "surface_pressure_bar": round(found.surface_pressure_bar, 5),
                "ambient_pressure_bar": round(found.ambient_pressure_bar, 5),
                "max_operating_depth_m": found.max_operating_depth_m,
                "gauge_zeroed_m": round(found.gauge_zeroed_m, 2),
                "gauge_sealed_m": round(found.gauge_sealed_m, 2),
                "contest": found.contest.as_json(),
                "checks": [check.as_json() for check in found.checks],
            }
        )
    else:
        binding = found.contest.binding
        longest = "no limit" if found.no_stop_min is None else f"{found.no_stop_min} min"
        print(f"Longest bottom time at {options.depth:g} m: {longest}" + (f" ({binding.name})" if binding else ""))
        for candidate in found.contest.candidates:
            print(f"  {candidate.sentence}")
        print(f"Group at the start: {found.handbook_group or 'none'}")
        print(
            f"Surface pressure {found.surface_pressure_bar:.3f} bar, at depth {found.ambient_pressure_bar:.3f} bar; "
            f"counts like {_up(found.equivalent_depth_m, 1)} m at sea level"
        )
        print(f"Gas: to {found.max_operating_depth_m:g} m")
        for check in found.checks:
            print(f"{check.outcome.value.upper():8} {check.sentence}")
    return STOPPED if outcome is Outcome.STOP else FINE


def _up(value: float, digits: int) -> float:
    """Round up: an equivalent depth is never shown shallower than it is."""
    scale = 10**digits
    return float(math.ceil(round(value * scale, 6)) / scale)


# ---- gas ----


def _gas(options: argparse.Namespace) -> int:
    from tripplan.check import Outcome, worst
    from tripplan.physics.gas import Cylinder, gas_plan
    from tripplan.physics.no_stop import Surroundings

    rules = _rule_book(options.rules)
    surroundings = Surroundings(
        altitude_m=options.altitude,
        density_kg_m3=rules.value(f"water.{options.water}_density_kg_m3"),
        water=options.water,
    )
    cylinder = Cylinder(
        volume_l=options.cylinder,
        fill_gauge_bar=options.fill,
        oxygen_percent=options.oxygen,
        filled_at_c=options.temperature,
        water_c=options.water_temperature,
    )
    found = gas_plan(
        options.depth,
        options.minutes,
        cylinder,
        surroundings,
        rules,
        rate_l_min=options.rate,
        swim_min=options.swim,
    )
    contents_l, needed_l = -_up(-found.contents_l, 1), _up(found.needed_l, 1)
    if options.json:
        _show(
            {
                "contents_l": contents_l,
                "needed_l": needed_l,
                "minimum_gas_bar": found.minimum_gas_bar,
                "turn_bar": found.turn_bar,
                "reserve_l": _up(found.reserve_l, 1),
                "longest_min": found.longest_min,
                "contents_real_l": round(found.contents.real_l, 1),
                "contents_ideal_l": round(found.contents.ideal_l, 1),
                "compressibility": round(found.contents.factor, 4),
                "fill_in_water_bar": -_up(-found.fill_in_water_bar, 1),
                "parts": [vars(part) for part in found.parts],
                "shared_parts": [vars(part) for part in found.shared_parts],
                "contest": found.contest.as_json(),
                "checks": [check.as_json() for check in found.checks],
            }
        )
    else:
        print(f"In the cylinder {math.floor(contents_l):,} l, needed {math.ceil(needed_l):,} l with the reserve")
        minimum = "above 350 bar: use a larger cylinder" if found.minimum_gas_bar is None else found.minimum_gas_bar
        turn = "none" if found.turn_bar is None else f"{found.turn_bar} bar"
        print(
            f"Turn at {turn}; leave the bottom at {minimum} bar" if found.minimum_gas_bar else f"Minimum gas {minimum}"
        )
        for part in found.parts:
            print(f"  {part.name:12} {part.minutes:5.1f} min at {part.pressure_bar:.2f} bar  {part.litres:7.0f} l")
        for candidate in found.contest.candidates:
            print(f"  {candidate.sentence}")
        for check in found.checks:
            print(f"{check.outcome.value.upper():8} {check.sentence}")
    return STOPPED if worst(found.checks) is Outcome.STOP else FINE


# ---- plan and rules ----


def _folder_around(options: argparse.Namespace, read: Callable[[Path], object] | None = None) -> Folder:
    """Return the centre's folder of a request, with the faults of its other files told.

    read -- reads the request and judges it by itself; None: as a day's
    """
    from tripplan.planning.request import read_request
    from tripplan.store.folder import folder_of_request, load_folder

    (read or read_request)(options.request)  # its own faults first: they stand in the file that is being written
    folder = load_folder(options.folder or folder_of_request(options.request))
    for fault in folder.faults:
        if Path(fault.file).resolve() != options.request.resolve():  # those are told once, by whoever reads it
            _complain(str(fault))
    return folder


def _with_store(
    folder: Folder, options: argparse.Namespace, edited_in: Callable[[Store, str], Any] | None = None
) -> Folder:
    """Return a folder with the ticks of its store, and say where the request was edited in the browser meanwhile.

    edited_in -- what the store holds of a request by its name, with ``by``; None: what it holds of a day's

    Where the store cannot be read nothing counts as seen: what is open stops a dive.
    """
    from dataclasses import replace

    from tripplan.store.database import StoreFault, default_path, sqlite_url
    from tripplan.store.ticks import ticks, together

    file = default_path(folder.path)
    if options.store and not options.store.startswith(("sqlite:///", "postgresql")):
        raise Refused("--store begins with neither sqlite:/// nor postgresql+psycopg://")
    if not options.store and not file.is_file():
        return folder
    try:
        store = _store_there(options.store or sqlite_url(file))
        try:
            seen = together(folder.world.ticks, ticks(store))
            name = options.request.stem
            edited = store.request(name) if edited_in is None else edited_in(store, name)
        finally:
            store.close()
    except StoreFault as error:
        _complain(f"{error}; every skill counts as open")
        seen, edited = {}, None
    if edited is not None:
        _complain(
            f"{options.request}: {edited.by} edited this request in the browser; the file is planned here, as it stands"
        )
    return replace(folder, world=replace(folder.world, ticks=seen))


def _plan(options: argparse.Namespace) -> int:
    from dataclasses import asdict, replace

    from tripplan.check import Outcome
    from tripplan.environment.conditions import Conditions
    from tripplan.planning.day import plan_day
    from tripplan.planning.replan import delayed, difference
    from tripplan.planning.tolerance import with_edges
    from tripplan.store.folder import load_request
    from tripplan.store.told import Teller, told_world

    folder = _with_store(_folder_around(options), options)
    changes: dict[str, Any] = {}
    if options.date:
        changes["date"] = _day(options.date, "--date")
    if options.site:
        if options.site not in folder.sites:
            raise Refused(f'--site "{options.site}" is not in the catalogue; known: {", ".join(folder.sites)}')
        changes["site"] = options.site
    request = load_request(options.request, folder.world).model_copy(update=changes)
    seen = _seen_at(options.observed, request.site, folder) if options.observed else ()
    moment, teller = datetime.now(UTC), Teller()
    world = told_world(folder, (request.site,), moment, teller)
    plan = plan_day(request, world)
    differences = None
    if seen or options.delay:
        before = plan
        if seen:
            told = Conditions().with_seen(seen) if request.site not in world.conditions else None
            told = told or world.conditions[request.site].with_seen(seen)
            world = replace(world, conditions={**world.conditions, request.site: told})
            plan = plan_day(request, world)
        if options.delay:
            request = delayed(request, plan, options.delay)
            plan = plan_day(request, world)
        differences = difference(before, plan)
    plan = with_edges(plan, request, world)
    teller.close()
    if options.pdf:
        from tripplan.documents.day_sheet import day_sheet_pdf

        options.pdf.write_bytes(day_sheet_pdf(plan, options.paper))
    if options.briefing:
        from tripplan.documents.briefing_sheet import briefing_sheets_pdf

        options.briefing.write_bytes(briefing_sheets_pdf(plan, options.paper, folder.centre.roster.languages))
    if options.json:
        from tripplan.documents.data import plan_json

        shown = plan_json(plan)
        if differences is not None:
            shown["changes"] = [asdict(change) for change in differences]
        _show(shown)
    elif options.text or not options.pdf:
        from tripplan.documents.text import plan_text

        if differences is not None:
            print(f"What changes, {before.revision} to {plan.revision}:")
            for change in differences:
                print(f"  {change.what}: {change.before} -> {change.after}")
            print("" if differences else "  Nothing.\n")
        print(plan_text(plan))
    else:
        print(f"{options.pdf}: {plan.verdict.value}, revision {plan.revision}")
    return STOPPED if plan.verdict is Outcome.STOP else FINE


# ---- some days ----


def _schedule(options: argparse.Namespace) -> int:
    try:
        return _scheduled(options)
    except KeyboardInterrupt:
        raise Refused("tripplan schedule: ended before there was anything to keep; nothing was written") from None


def _scheduled(options: argparse.Namespace) -> int:
    from tripplan.check import Outcome
    from tripplan.planning.schedule_request import read_schedule_request
    from tripplan.store.folder import load_schedule_request
    from tripplan.store.told import Teller, told_world

    folder = _with_store(_folder_around(options, read_schedule_request), options, _edited_schedule)
    request = load_schedule_request(options.request, folder.world)
    _look_at_outputs(options)
    before = _read_kept(options.before) if options.before else None
    moment, teller = datetime.now(UTC), Teller()
    world = told_world(folder, request.sites or folder.sites, moment, teller)
    teller.close()
    schedule, ended = _search(request, world, before, options)
    if ended:
        _complain("Ended before its time: this is the best that was found.")
    written, failed = _write_schedule(schedule, request, options, moment)
    if options.json:
        from tripplan.documents.schedule_words import schedule_data

        _show(schedule_data(schedule))
    elif options.text or not (written or failed):
        from tripplan.documents.schedule_words import schedule_text

        print(schedule_text(schedule))
    else:
        from tripplan.documents.schedule_words import headline, unplaced_title

        print(f"{headline(schedule)} Revision {schedule.revision}.")
        for each in schedule.unplaced:
            print(f"No place: {unplaced_title(each)}")
        for line in written:
            print(line)
    if failed:
        return REFUSED
    stopped = any(check.outcome is Outcome.STOP for check in schedule.checks)
    return STOPPED if schedule.unplaced or stopped else FINE


def _edited_schedule(store: Store, name: str) -> Any:
    from tripplan.store.schedules import edits_of

    kept = edits_of(store, name)
    return kept if kept is not None and kept.edits else None


def _look_at_outputs(options: argparse.Namespace) -> None:
    """See before a long search that what it finds can be written.  Raises Refused."""
    wanted = [("--pdf", options.pdf), ("--csv", options.csv), ("--keep", options.keep)]
    taken = {options.request.resolve(): "the request"}
    for option, path in wanted:
        if path is None:
            continue
        if not path.parent.is_dir():
            raise Refused(f"tripplan schedule: {option} {path}: there is no folder {path.parent}; make it first")
        if path.exists() and not path.is_file():
            raise Refused(f"tripplan schedule: {option} {path}: this is not an ordinary file; give the name of one")
        if other := taken.get(path.resolve()):
            raise Refused(f"tripplan schedule: {option} {path}: this is {other} already; give another file")
        taken[path.resolve()] = f"the file of {option}"
    if options.calendars is not None and not options.calendars.is_dir():
        path = options.calendars
        raise Refused(f"tripplan schedule: --calendars {path}: there is no folder {path}; make it first")


def _read_kept(path: Path) -> Schedule:
    """Read a schedule that --keep wrote.  Raises BadRecord with file and line."""
    from tripplan.errors import Fault
    from tripplan.store.database import StoreFault
    from tripplan.store.schedules import schedule_from_json

    def refused(why: str, line: int = 1) -> BadRecord:
        return BadRecord((Fault(str(path), line, f"{why}; give a file that --keep wrote"),))

    if not path.is_file():  # a pipe or a device would never end
        raise refused("there is no such file")
    with path.open("rb") as stream:
        content = stream.read(LARGEST_KEPT_BYTES + 1)
    if len(content) > LARGEST_KEPT_BYTES:
        raise refused(f"the file is larger than {LARGEST_KEPT_BYTES:,} bytes")
    try:
        kept = schedule_from_json(json.loads(content.decode("utf-8")))
    except json.JSONDecodeError as error:
        raise refused(f"this is not valid JSON: {error.msg}", error.lineno) from None
    except (ValueError, RecursionError):  # no UTF-8, a number without end, nested without end
        raise refused("this is not valid JSON") from None
    except StoreFault as error:
        raise refused(str(error)) from None
    if not all(outing.dives for outing in kept.outings):
        raise refused("a kept schedule cannot be read: an outing has no dive")
    return kept


def _search(
    request: ScheduleRequest, world: World, before: Schedule | None, options: argparse.Namespace
) -> tuple[Schedule, bool]:
    """Make a schedule; returns it and whether somebody ended the search.  Raises KeyboardInterrupt the second time.

    The search has a thread of its own: this one hears the interrupt.
    """
    import signal
    import threading

    from tripplan.planning.scheduling import Limits, make_schedule

    found: list[Schedule] = []
    failed: list[BaseException] = []
    stop = threading.Event()
    line = _ProgressLine()

    def work() -> None:
        try:
            found.append(
                make_schedule(
                    request,
                    world,
                    before=before,
                    limits=Limits(seconds=options.seconds, seed=options.seed),
                    told=line.tell if line.shown else None,
                    stop=stop.is_set,
                    explain=not options.no_explain,
                )
            )
        except BaseException as error:  # it is raised again where it is heard
            failed.append(error)

    def interrupted(*_: object) -> None:
        if stop.is_set():
            raise KeyboardInterrupt
        stop.set()

    hears = threading.current_thread() is threading.main_thread()
    usual = signal.getsignal(signal.SIGINT)

    def listen() -> None:
        if hears:
            signal.signal(signal.SIGINT, interrupted)

    worker = threading.Thread(target=work, daemon=True)
    try:
        line.show("looking at which outings each group could make")
        listen()
        worker.start()
        while worker.is_alive():
            worker.join(0.1)
            listen()  # again and again: the solver puts a handler of its own in its place when a search begins
    finally:
        if hears:
            signal.signal(signal.SIGINT, usual)
        line.clear()
    if failed:
        raise failed[0]
    return found[0], stop.is_set()


class _ProgressLine:
    """How far a search is, on one line of a terminal; nothing where standard error is none."""

    WIDE = 79

    def __init__(self) -> None:
        self.shown = sys.stderr is not None and sys.stderr.isatty()

    def show(self, words: str) -> None:
        if self.shown:
            clean = "".join(c if c.isprintable() else " " for c in words)[: self.WIDE]
            print(f"\r{clean:{self.WIDE}}", end="", file=sys.stderr, flush=True)

    def tell(self, progress: Progress) -> None:
        self.show(f"{progress.seconds:.0f} s: {progress.words}; {progress.objective} points, at most {progress.bound}")

    def clear(self) -> None:
        if self.shown:
            print(f"\r{'':{self.WIDE}}\r", end="", file=sys.stderr, flush=True)


def _write_schedule(
    schedule: Schedule, request: ScheduleRequest, options: argparse.Namespace, moment: datetime
) -> tuple[list[str], bool]:
    """Write the files that are asked for; returns a line for each, and whether one could not be written.

    A file that cannot be written is told, and the others are written all the same: a search took long.
    """
    written: list[str] = []
    failed = False
    for path, content, words in _schedule_files(schedule, request, options, moment):
        try:
            _write_whole(path, content())
        except OSError as error:
            _complain(f"{path}: {error.strerror or error}")
            failed = True
        else:
            written.append(f"{path}: {words}")
    return written, failed


def _schedule_files(
    schedule: Schedule, request: ScheduleRequest, options: argparse.Namespace, moment: datetime
) -> Iterator[tuple[Path, Callable[[], bytes], str]]:
    """Yield each file that is asked for, what makes its content, and what it is."""
    if options.keep:
        from tripplan.store.schedules import schedule_to_json

        yield (
            options.keep,
            lambda: json.dumps(schedule_to_json(schedule), ensure_ascii=False, allow_nan=False).encode(),
            "the whole schedule, for --before",
        )
    if options.pdf:
        from tripplan.documents.schedule_sheet import schedule_sheet_pdf

        yield options.pdf, lambda: schedule_sheet_pdf(schedule, options.paper), "sheets for the wall and the crew"
    if options.csv:
        from tripplan.documents.schedule_table import schedule_table

        yield options.csv, lambda: schedule_table(schedule).encode(), _counted(schedule.wanted, "dive")
    if options.calendars:
        from tripplan.documents.schedule_calendar import crew_calendar, group_calendar

        for make, what, names in (
            (crew_calendar, "crew", [worker.name for worker in request.crew]),
            (group_calendar, "group", [group.name for group in request.groups]),
        ):
            for name, file in _file_names(what, names).items():
                content = partial(make, schedule, name, stamp=moment)
                yield options.calendars / file, content, f"calendar of {name}"


def _file_names(what: str, names: Iterable[str]) -> dict[str, str]:
    """Return a file name for each of some names, none twice; the same names give the same files."""
    found: dict[str, str] = {}
    taken: set[str] = set()
    for name in names:
        plain = re.sub(r"[^\w]+|_+", "-", name.casefold()).strip("-")[:LONGEST_FILE_NAME] or "unnamed"
        numbers = (plain if number == 1 else f"{plain}-{number}" for number in range(1, len(taken) + 2))
        free = next(each for each in numbers if each not in taken)
        taken.add(free)
        found[name] = f"{what}-{free}.ics"
    return found


def _write_whole(path: Path, content: bytes) -> None:
    """Write a file such that nobody ever finds half of it, nor loses the one before to a fault.  Raises OSError."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(content)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _sheet(options: argparse.Namespace) -> int:
    from tripplan.check import Outcome
    from tripplan.data_files import data_dir
    from tripplan.language import language
    from tripplan.planning.action_sheet import sheets_of_day
    from tripplan.planning.world import CannotPlan
    from tripplan.store.folder import load_folder
    from tripplan.store.records import CannotKeep
    from tripplan.store.told import Teller, told_world

    day = _day(options.date, "--date")
    said = language(options.language)
    folder = load_folder(options.folder or data_dir("sites"))
    for fault in folder.faults:
        _complain(str(fault))
    requests = [request for request in folder.requests.values() if request.date == day]
    slugs = options.sites or list(dict.fromkeys(request.site for request in requests))
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
    teller = Teller()
    world = told_world(folder, slugs, datetime.now(UTC), teller)
    teller.close()
    made = sheets_of_day(day, slugs, requests, world)
    sheets = [each.sheet for each in made]
    if options.pdf:
        from tripplan.documents.emergency_sheet import action_sheets_pdf

        options.pdf.write_bytes(action_sheets_pdf(sheets, options.paper, said, options.address))
        if options.folder:  # the demonstration that ships with the program keeps no records
            for sheet in sheets:
                try:
                    folder.records.keep_printed(sheet)
                except CannotKeep as error:  # the leader needs the paper whatever the records do
                    _complain(f"records: {error}")
    if options.pocket:
        from tripplan.documents.pocket import pocket_html, pocket_site

        pages = [pocket_site(each.sheet, each.plans, world.sites[each.sheet.site], world) for each in made]
        options.pocket.write_text(pocket_html(day, pages, world.rules, said), encoding="utf-8")
    if options.json:
        from tripplan.documents.data import sheet_json

        _show({"date": day.isoformat(), "sheets": [sheet_json(sheet) for sheet in sheets]})
    else:
        for sheet in sheets:
            stops = sum(check.outcome is Outcome.STOP for check in sheet.checks)
            print(
                f"{sheet.site_name}: revision {sheet.revision}, {_counted(stops, 'stop')}, "
                f"{_counted(len(sheet.cautions) - stops, 'caution')}, {_counted(len(sheet.unconfirmed), 'number')} "
                "not confirmed today"
            )
        for file in (options.pdf, options.pocket):
            if file:
                print(file)
    if any(check.outcome is Outcome.STOP for sheet in sheets for check in sheet.checks):
        return STOPPED
    # A file that was left out may hold a dive of the day: the sheets are no answer to be relied on by a script.
    records = str(folder.records.path)
    return REFUSED if any(not fault.file.startswith(records) for fault in folder.faults) else FINE


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _board(options: argparse.Namespace) -> int:
    from tripplan.planning.board import board
    from tripplan.store.folder import load_request
    from tripplan.store.told import Teller, told_world

    folder = _folder_around(options)
    request = load_request(options.request, folder.world)
    names = [group.name for group in request.groups]
    if options.group is not None and options.group not in names:
        raise Refused(f'--group "{options.group}" is not in the request; known: {", ".join(names)}')
    group = request.groups[names.index(options.group) if options.group else 0]
    first = _day(options.start, "--from") if options.start else request.date
    teller = Teller()
    world = told_world(folder, folder.sites, datetime.now(UTC), teller)
    teller.close()
    found = board(group, request.crew, first, options.days, world, home=request.site)
    if options.json:
        _show(_board_json(found))
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


def _seen_at(path: Path, site: str, folder: Any) -> Any:
    """Return what a file of observations holds for a site.  Raises Refused where that is nothing."""
    from tripplan.store.told import read_observed

    found = read_observed(path, folder.sites)
    if site not in found:
        raise Refused(f'{path}: holds nothing seen at "{site}"; it has {", ".join(found) or "nothing at all"}')
    return found[site]


def _rules(options: argparse.Namespace) -> int:
    from tripplan.rulebook import baseline

    if options.folder:
        from tripplan.store.folder import load_folder

        book = load_folder(options.folder).world.rules
    else:
        book = baseline()
    if options.json:
        _show({"rules": [vars(rule) for rule in book.rules.values()]})
    else:
        for rule in book.rules.values():
            mark = f" (baseline {rule.baseline_value:g}: {rule.reason})" if rule.overridden else ""
            print(f"{rule.key:45} {rule.value:>8g} {rule.unit:10} {rule.provenance:16} {rule.title}{mark}")
    return FINE


# ---- people ----


def _people(options: argparse.Namespace) -> int:
    from tripplan.store.people_file import centre_people

    if options.without_private and not options.export:
        raise Refused("--without-private goes with --export")
    if options.apply and not options.table:
        raise Refused("--apply goes with --import")
    if options.store and not options.purge:
        raise Refused("--store goes with --purge")
    if options.good_rows and not options.apply:
        raise Refused("--good-rows goes with --apply")
    if options.export == "-" and options.json:
        raise Refused("--export - prints the table; it goes with no --json")
    centre = centre_people(options.folder)
    if options.export:
        return _export_people(centre, options)
    if options.table:
        return _import_people(centre, options)
    if options.purge:
        return _old_papers(centre, options)
    people = centre.roster.people.values()
    if options.json:
        _show({"people": [{"name": p.name, "identity": p.identity, "level": p.level.value} for p in people]})
    else:
        for person in people:
            print(f"{person.name:30} {person.level.words}")
        print(f"{len(people)} {'person' if len(people) == 1 else 'people'}")
    return FINE


def _old_papers(centre: CentrePeople, options: argparse.Namespace) -> int:
    """List whose papers have been kept long enough; the list itself is the centre's to change."""
    from tripplan.store.purge import last_days, past_keeping

    url = _store_address(options)
    seen: dict[str, date] = {}
    if options.store or Path(url.removeprefix("sqlite:///")).is_file():
        store = _store_there(url)
        try:
            seen = last_days(store)
        finally:
            store.close()
    rules = _look_at_folder(options.folder)
    rule = rules["retention.medical_days"]
    old, undated = past_keeping(centre.roster.people.values(), rules, datetime.now(UTC).date(), seen)
    if options.json:
        people = [{"name": each.name, "last": each.last.isoformat()} for each in old]
        _show({"kept_long_enough": people, "without_any_date": list(undated), "days": rule.value})
        return FINE
    for each in old:
        print(f"{each.name:30} last dive, medical paper or entry {each.last}")
    for name in undated:
        print(f"{name:30} no date known: ask, or take them out")
    if not (old or undated):
        print(f"Nobody: everybody has a dive, a medical paper or an entry of the last {rule.value:g} days.")
        return FINE
    print(
        f"{rule.key} is {rule.value:g}: take those with a date out of {centre.path}, by an editor, since this program "
        "never takes anybody out and an import removes nobody. Write the list to a table first with --export, where "
        "you still need it. A request that names somebody who is gone can no longer be planned."
    )
    return FINE


def _export_people(centre: CentrePeople, options: argparse.Namespace) -> int:
    from tripplan.people.table import COLUMNS, PRIVATE_COLUMNS, rows_of
    from tripplan.store.people_file import write_table

    rows = rows_of(centre.roster, private=not options.without_private)
    if options.export == "-":
        print(write_table(rows, "people.csv").decode("utf-8-sig").replace("\r\n", "\n"), end="")
        return FINE
    Path(options.export).write_bytes(write_table(rows, options.export))
    if options.json:
        left_out = list(PRIVATE_COLUMNS) if options.without_private else []
        columns = [name for name in COLUMNS if name not in left_out]
        _show({"file": options.export, "people": len(rows), "columns": columns, "left_out": left_out})
    else:
        print(f"{options.export}: {len(rows)} {'person' if len(rows) == 1 else 'people'}")
    return FINE


def _import_people(centre: CentrePeople, options: argparse.Namespace) -> int:
    """Show what a table would change, and write it where that is asked for and nothing stands against it."""
    from tripplan.people.table import people_from
    from tripplan.store.people_file import LARGEST_TABLE_BYTES, people_toml, read_table, save_people

    if not options.table.is_file():  # a pipe or a device would never end
        raise Refused(f"{options.table}: there is no such file")
    with options.table.open("rb") as stream:
        content = stream.read(LARGEST_TABLE_BYTES + 1)
    preview = people_from(read_table(content, str(options.table)), centre.cards, centre.roster)
    for fault in preview.faults:
        place = f"{options.table}:{fault.row}: "
        _complain(place + (f"{fault.column}: " if fault.column else "") + fault.message)
    change = bool(preview.new or preview.changed)
    applied = options.apply and change and (options.good_rows or not preview.faults)
    kept = None
    if applied:
        text = people_toml(preview.people)
        kept = save_people(centre.path, text, datetime.now(UTC).astimezone(), centre.cards)
    if options.json:
        _show({**_preview_json(preview), "applied": applied, "kept": str(kept) if kept else None})
    else:
        _print_preview(preview)
        if applied:
            print(f"{centre.path}: written" + (f"; the list before is kept as {kept.name}" if kept else ""))
        elif not change:
            print("Nothing was written: there is nothing to change.")
        elif options.apply:
            print("Nothing was written: rows have faults; mend them, or leave them out with --good-rows.")
        else:
            print("Nothing was written: this shows what --apply would do.")
    return REFUSED if preview.faults else FINE


def _preview_json(preview: Preview) -> dict[str, Any]:
    """Return what an import would do as plain values."""
    return {
        "new": [{"row": one.row, "name": one.person.name} for one in preview.new],
        "changed": [
            {"row": one.row, "name": one.name, "fields": [vars(change) for change in one.fields]}
            for one in preview.changed
        ],
        "unchanged": list(preview.unchanged),
        "left_out": list(preview.left_out),
        "faults": [vars(fault) for fault in preview.faults],
        "duplicates": [vars(one) for one in preview.duplicates],
        "unknown_columns": [vars(one) for one in preview.unknown_columns],
        "missing_columns": list(preview.missing_columns),
    }


def _print_preview(preview: Preview) -> None:
    for one in preview.new:
        print(f"new        {one.person.name}, born {one.person.born}, {one.person.level.words} (row {one.row})")
    for each in preview.changed:
        print(f"changed    {each.name} (row {each.row})")
        for change in each.fields:
            print(f"             {change.field}: {_cell(change.before)} -> {_cell(change.after)}")
    if preview.left_out:
        rows = [str(row) for row in preview.left_out]
        print(f"left out   row{'s' if len(rows) > 1 else ''} {', '.join(rows)}")
    others = len(preview.people) - len(preview.new) - len(preview.changed) - len(preview.unchanged)
    print(
        f"{len(preview.new)} new, {len(preview.changed)} changed, {len(preview.unchanged)} unchanged, "
        f"{_counted(len(preview.left_out), 'row')} left out; {others} others of the list stay as they are"
    )


def _cell(text: str) -> str:
    """Return the text of a cell on one line."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split()) or "nothing"


if __name__ == "__main__":
    sys.exit(main())
