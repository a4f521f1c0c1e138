"""The centre's folder and its store, as the words of a command name them."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tripplan.cli.common import Refused, complain

if TYPE_CHECKING:
    from tripplan.rulebook import RuleBook
    from tripplan.store.database import Store
    from tripplan.store.folder import Folder


def look_at_folder(folder: Path) -> RuleBook:
    """Return the rules of a centre's folder.  Raises BadRecord where it is none: before a store is made for it."""
    from tripplan.store.folder import load_folder

    return load_folder(folder).world.rules


def folder_around(options: argparse.Namespace, read: Callable[[Path], object] | None = None) -> Folder:
    """Return the centre's folder of a request, with the faults of its other files told.

    read -- reads the request and judges it by itself; None: as a day's
    """
    from tripplan.planning.request import read_request
    from tripplan.store.folder import folder_of_request, load_folder

    (read or read_request)(options.request)  # its own faults first: they stand in the file that is being written
    folder = load_folder(options.folder or folder_of_request(options.request))
    for fault in folder.faults:
        if Path(fault.file).resolve() != options.request.resolve():  # those are told once, by whoever reads it
            complain(str(fault))
    return folder


def with_store(
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
        raise Refused("--store must begin with sqlite:/// or postgresql+psycopg://, like sqlite:///my-centre.sqlite")
    if not options.store and not file.is_file():
        return folder
    try:
        store = store_there(options.store or sqlite_url(file))
        try:
            seen = together(folder.world.ticks, ticks(store))
            name = options.request.stem
            edited = store.request(name) if edited_in is None else edited_in(store, name)
        finally:
            store.close()
    except StoreFault as error:
        complain(f"{error}; every skill counts as open")
        seen, edited = {}, None
    if edited is not None:
        complain(
            f"{options.request}: {edited.by} edited this request in the browser; the file is planned here, as it stands"
        )
    return replace(folder, world=replace(folder.world, ticks=seen))


def opened_store(folder: Path, url: str | None) -> Store:
    """Return the store of an address, or that of a centre's folder, which nobody else on the machine may read."""
    from tripplan.store.database import Store, default_path, sqlite_url

    if url is None:
        path = default_path(folder)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch(mode=0o600)
        path.chmod(0o600)
        return Store(sqlite_url(path))
    if not url.startswith(("sqlite:///", "postgresql")):
        raise Refused("--store must begin with sqlite:/// or postgresql+psycopg://, like sqlite:///my-centre.sqlite")
    try:
        return Store(url)
    except ImportError:
        raise Refused("--store asks for a PostgreSQL driver that is not here: install tripplan[postgresql]") from None


def store_address(options: argparse.Namespace) -> str:
    from tripplan.store.database import default_path, sqlite_url

    if options.store and not options.store.startswith(("sqlite:///", "postgresql")):
        raise Refused("--store must begin with sqlite:/// or postgresql+psycopg://, like sqlite:///my-centre.sqlite")
    return options.store or sqlite_url(default_path(options.folder))


def store_there(url: str) -> Store:
    """Return a store that exists: none is made here.  Raises Refused."""
    if url.startswith("sqlite:///"):
        path = Path(url.removeprefix("sqlite:///"))
        if not path.is_file():
            raise Refused(f"there is no store at {path}: nothing was kept there yet")
        look_at_store_file(path)
    return opened_store(Path(), url)


def look_at_store_file(path: Path) -> dict[str, int]:
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


def who_types() -> str:
    """Return who gives the command, as the machine knows it."""
    from getpass import getuser

    try:
        return f"{getuser()}, at the machine"
    except (KeyError, OSError):
        return "somebody at the machine"
