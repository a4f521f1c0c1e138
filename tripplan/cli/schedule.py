"""The command ``schedule``: the groups of some days."""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tripplan.cli.centre import folder_around, with_store
from tripplan.cli.common import FINE, REFUSED, STOPPED, Refused, complain, counted, number, show, write_whole
from tripplan.errors import BadRecord

if TYPE_CHECKING:
    from tripplan.planning.schedule import Progress, Schedule
    from tripplan.planning.schedule_request import ScheduleRequest
    from tripplan.planning.world import World
    from tripplan.store.database import Store

LONGEST_SEARCH_S = 86_400
LARGEST_SEED = 2**31 - 1  # the solver takes no larger one
LARGEST_KEPT_BYTES = 50_000_000  # fourteen days of eighty groups take a few million
LONGEST_FILE_NAME = 60  # of what a person or a group is called, in letters


def schedule_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_schedule)
    sub.epilog = (
        "First it is looked up where each group could dive, then the search begins, and last it is searched for what "
        "would give a group without a place one; the first and the last come on top of --seconds. Ctrl-C ends the "
        "search and keeps the best so far. The same input, seed and seconds give the same schedule, except "
        "on a machine that is much too slow. Exit 1: a group has not all its dives placed."
    )
    sub.add_argument(
        "request", type=Path, metavar="REQUEST.toml", help="what is asked for; the guide /guide/files explains it"
    )
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


def _seconds(text: str) -> float:
    value = number(text)
    if not 0 < value <= LONGEST_SEARCH_S:
        raise argparse.ArgumentTypeError(f"{text} s is no time to search in; it must be above 0, to {LONGEST_SEARCH_S}")
    return value


def _seed(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,10}", text) or int(text) > LARGEST_SEED:
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number from 0 to {LARGEST_SEED}')
    return int(text)


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

    folder = with_store(folder_around(options, read_schedule_request), options, _edited_schedule)
    request = load_schedule_request(options.request, folder.world)
    _look_at_outputs(options)
    before = _read_kept(options.before) if options.before else None
    moment, teller = datetime.now(UTC), Teller()
    world = told_world(folder, request.sites or folder.sites, moment, teller)
    teller.close()
    schedule, ended = _search(request, world, before, options)
    if ended:
        complain("Ended before its time: this is the best that was found.")
    written, failed = _write_schedule(schedule, request, options, moment)
    if options.json:
        from tripplan.documents.schedule_words import schedule_data

        show(schedule_data(schedule))
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
            write_whole(path, content())
        except OSError as error:
            complain(f"{path}: {error.strerror or error}")
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

        yield options.csv, lambda: schedule_table(schedule).encode(), counted(schedule.wanted, "dive")
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


COMMANDS = {"schedule": schedule_words}
