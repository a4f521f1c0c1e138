"""The command ``store``: a copy of it, one put back, whether it is whole, and what has been kept long enough."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tripplan.cli.centre import look_at_folder, look_at_store_file, store_address, store_there, who_types
from tripplan.cli.common import FINE, REFUSED, Parser, Refused, add_json, complain, read_day, show

if TYPE_CHECKING:
    from tripplan.rulebook import RuleBook
    from tripplan.store.database import Store
    from tripplan.store.purge import Purge


def store_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_store)
    sub.epilog = (
        "The store holds what happened on the beach, the plans, the requests and the accounts. A backup holds health "
        "data as the store does: keep it where only you can read it, and delete old ones, for what a purge deletes is "
        "still in them. The rules `retention` of the rule book say how long; `tripplan rules` lists them."
    )
    actions = sub.add_subparsers(required=True, metavar="ACTION", parser_class=Parser, dest="action")
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
            add_json(each)


def _store(options: argparse.Namespace) -> int:
    if not (options.folder or options.store):
        raise Refused("tripplan store: which store is not said; give --folder FOLDER or --store URL")
    rules = look_at_folder(options.folder) if options.folder else None
    if options.action == "purge" and rules is None:
        raise Refused(
            "tripplan store: how long things are kept stands in the centre's own rules; give --folder FOLDER too"
        )
    url = store_address(options)
    if options.action == "restore":
        return _restore(options.file, url, yes=options.yes)
    if options.action == "backup" and url.startswith("postgresql"):
        raise Refused("this store is PostgreSQL: its own pg_dump makes the backup")
    store = store_there(url)
    try:
        if options.action == "backup":
            return _backup(store, options.file)
        if options.action == "check":
            return _check_store(store, as_json=options.json)
        return _purge(store, options, rules or look_at_folder(options.folder))
    finally:
        store.close()


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
    tell(store, datetime.now(UTC), who_types(), "store backed up", "")
    print(f"{file}: a whole copy, {_held_words(look_at_store_file(file))}")
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
    from tripplan.store.database import restore, same_file

    if url.startswith("postgresql"):
        raise Refused("this store is PostgreSQL: its own pg_restore puts a backup back")
    path = Path(url.removeprefix("sqlite:///"))
    aside = path.with_name(f"{path.name}.before-restore")
    if not file.is_file():
        raise Refused(f"{file}: there is no such file")
    if path.exists() and path.samefile(file):
        raise Refused(f"{file} is the store itself, not a backup of it")
    counts = look_at_store_file(file)
    if path.exists() and aside.exists() and not same_file(path, aside):  # it is, where an earlier one was broken off
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
    store = store_there(url)
    try:
        tell(store, datetime.now(UTC), who_types(), "store put back from a backup", file.name)
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
        show({"store": where, "whole": not found.fault, "fault": found.fault, "rows": dict(found.rows),
               "first_day": days[0], "last_day": days[1]})  # fmt: skip
    else:
        print(where)
        print(_held_words(found.rows))
        if found.first:
            print(f"days {days[0]} to {days[1]}")
        if not found.fault:
            print("It is whole.")
    if found.fault:
        complain(f"{where}: {found.fault}; put a backup back with `tripplan store restore`")
    return REFUSED if found.fault else FINE


def _purge(store: Store, options: argparse.Namespace, rules: RuleBook) -> int:
    from tripplan.store.folder import load_folder
    from tripplan.store.purge import BACKUPS_HOLD_IT, last_days, past_keeping, purge, what_would_go

    before, moment = read_day(options.before, "--before") if options.before else None, datetime.now(UTC)
    if options.yes:
        found = purge(store, rules, moment, who_types(), before)
    else:
        found = what_would_go(store, rules, moment, before)
    people = load_folder(options.folder).world.people.values()
    old, undated = past_keeping(people, rules, moment.date(), last_days(store))
    if options.json:
        show(
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


COMMANDS = {"store": store_words}
