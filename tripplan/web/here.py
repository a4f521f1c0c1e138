"""Where a page is: the folder that is served as it stands now, the clock, and who asks the forecast services."""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

from flask import current_app, g

from tripplan.errors import BadRecord
from tripplan.store.demo import kept_young
from tripplan.store.folder import RECORDS_FOLDER, Folder, load_folder, not_named
from tripplan.store.records import CONFIRMED_FILE
from tripplan.store.told import Teller


class Shelf:
    """The folder's content, read again when a file in it has changed."""

    def __init__(self, path: Path, records: Path | None = None) -> None:
        """Read the folder.  Raises BadRecord when the centre's own file cannot be used.

        records -- where its records are kept; None: in the folder itself
        """
        self.path = path
        self._records = records
        self._stamp = self._seen()
        self._folder = load_folder(path, records, unfinished=True)
        self._young: tuple[Folder, date, Folder] | None = None  # what was moved last, to which day, and what came of it

    def _seen(self) -> tuple[tuple[str, int, int], ...]:
        """Return name, time and size of every file; one that vanishes meanwhile, as editors do, is not there.

        Every page asks for it, so it walks by plain names.
        """
        seen = []
        files = {
            os.path.join(place, name)  # noqa: PTH118
            for place, _, names in os.walk(self.path)
            for name in names
            if name.endswith((".toml", ".csv"))
        }
        for file in sorted({*files, str((self._records or self.path / RECORDS_FOLDER) / CONFIRMED_FILE)}):
            with suppress(FileNotFoundError):
                state = os.stat(file)  # noqa: PTH116
                seen.append((file, state.st_mtime_ns, state.st_size))
        return tuple(seen)

    @property
    def folder(self) -> Folder:
        """The folder as it stands now; the last good one while the centre's own file is broken."""
        stamp = self._seen()
        if stamp != self._stamp:
            try:
                # A centre's file that was there and is gone is a fault; one never written is the first step.
                begun = self._folder.centre is not not_named()
                self._folder = load_folder(self.path, self._records, unfinished=not begun)
            except BadRecord as error:
                return replace(self._folder, faults=error.faults)
            self._stamp = stamp
        return self._folder

    def young(self, read: Folder, today: date) -> Folder:
        """Return a demonstration's folder moved to today, worked out once a day for the folder as it stands."""
        last = self._young
        if last is None or last[0] is not read or last[1] != today:
            self._young = last = (read, today, kept_young(read, today))
        return last[2]


def shelf() -> Folder:
    """Return the folder that this app serves, the same through one request; a demonstration is moved to today.

    Requests that were edited in the browser stand in the place of their files, and what instructors ticked counts.
    """
    if "folder" not in g:
        held: Shelf = current_app.extensions["tripplan_shelf"]
        read, young = held.folder, current_app.extensions["tripplan_young"]
        laid_over: Callable[[Folder, Folder], Folder] = current_app.extensions["tripplan_laid_over"]
        g.folder = laid_over(held.young(read, now().date()) if young else read, read)
    folder: Folder = g.folder
    return folder


def teller() -> Teller:
    """Return who asks the forecast services for this app."""
    held: Teller = current_app.extensions["tripplan_teller"]
    return held


def now() -> datetime:
    """Return the time by the app's clock, aware."""
    clock: Callable[[], datetime] = current_app.extensions["tripplan_clock"]
    return clock()


def shelf_again() -> Folder:
    """Return the folder after something was written down in the same request."""
    g.pop("folder", None)
    return shelf()
