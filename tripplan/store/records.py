"""What the centre writes down as the day goes: which numbers were found right, which sheets were printed.

Files that only grow, beside the centre's own: a line or a file is added whole and written through to the disk, and
nothing that stands there is changed.
"""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

from tripplan.emergency.confirmed import FOUND, LONGEST_WORDS, Confirmation, digits_of
from tripplan.errors import Fault, TripplanError
from tripplan.planning.action_sheet import ActionSheet, facts_of
from tripplan.store.alone import alone

CONFIRMED_FILE = "confirmed.csv"
PRINTED_FOLDER = "printed"
COLUMNS = ("at", "number", "name", "by", "found", "note")


class CannotKeep(TripplanError):
    """Something could not be written down; nothing of it was kept."""


@dataclass(frozen=True)
class Printed:
    """One printing of a sheet: what its reader relies on."""

    revision: str
    site: str
    date: date
    facts: Mapping[str, str]


@dataclass(frozen=True)
class Records:
    """The folder of a centre's records."""

    path: Path

    # ---- numbers ----

    def confirmed(self) -> tuple[tuple[Confirmation, ...], tuple[Fault, ...]]:
        """Return every confirmation, and a fault for each line that cannot be read; nothing where none was made."""
        file = self.path / CONFIRMED_FILE
        try:
            text = file.read_text(encoding="utf-8", errors="replace")
        except FileNotFoundError:
            return (), ()
        except OSError as error:
            reason = f"what was confirmed cannot be read: {error.strerror or error}"
            return (), (Fault(str(file), 1, reason),)
        found, faults = [], []
        # Line by line: a mark of quotation that was torn off must not swallow the lines after it.
        for number, line in enumerate(text.split("\n"), start=1):
            try:
                row = next(csv.reader([line]), [])
                if row and tuple(row) != COLUMNS:
                    found.append(_confirmation(row))
            except (ValueError, csv.Error) as error:
                faults.append(Fault(str(file), number, f"this line is left out: {error}"))
        return tuple(found), tuple(faults)

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Keep every other writer out between reading what was found last and adding to it.

        Raises CannotKeep where nothing can be written here.
        """
        try:
            with alone(self.path):
                yield
        except OSError as error:
            raise CannotKeep(f"{self.path}: {error.strerror or error}; nothing was written down") from error

    def confirm(self, one: Confirmation) -> None:
        """Write down what was found about a number.

        Raises CannotKeep when it cannot be written; a line is either there whole or not at all.
        """
        if one.found not in FOUND:
            raise CannotKeep(f'found is "{one.found}"; accepted: {", ".join(FOUND)}')
        if not one.by.strip():
            raise CannotKeep("who tried the number is missing; give a name")
        if one.at.tzinfo is None:
            raise CannotKeep("the time has no offset from UTC")
        cells = [one.at.isoformat(timespec="seconds"), one.number, one.name, one.by, one.found, one.note]
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerow([_line(cell) for cell in cells])
        file = self.path / CONFIRMED_FILE
        try:
            with alone(self.path):
                _append(file, out.getvalue())
        except OSError as error:
            raise CannotKeep(f"{file}: {error.strerror or error}; nothing was written down") from error

    # ---- sheets ----

    def keep_printed(self, sheet: ActionSheet) -> None:
        """Keep what a printed sheet says, once for each revision.  Raises CannotKeep when it cannot be written."""
        file = self._printed_file(sheet.site, sheet.date, sheet.revision)
        if self.printed(sheet.site, sheet.date, sheet.revision) is not None:  # one that is damaged is written anew
            return
        kept = {
            "revision": sheet.revision,
            "site": sheet.site,
            "date": sheet.date.isoformat(),
            "facts": dict(facts_of(sheet)),
        }
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
            draft = file.with_suffix(f".{uuid4().hex}.new")
            with draft.open("w", encoding="utf-8") as out:
                json.dump(kept, out, ensure_ascii=False, indent=1)
                out.flush()
                os.fsync(out.fileno())
            draft.replace(file)
        except OSError as error:
            raise CannotKeep(f"{file}: {error.strerror or error}; the sheet was not written down as printed") from error

    def printed(self, site: str, day: date, revision: str) -> Printed | None:
        """Return what a printed sheet said; None where no such sheet was printed here."""
        if not re.fullmatch(r"[0-9a-f]{8}", revision):
            return None
        try:
            kept: Any = json.loads(self._printed_file(site, day, revision).read_text(encoding="utf-8"))
            facts = {str(key): str(value) for key, value in kept["facts"].items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None
        return Printed(revision, site, day, facts)

    def _printed_file(self, site: str, day: date, revision: str) -> Path:
        if not re.fullmatch(r"\w[\w.-]*", site):
            raise CannotKeep(f'"{site}" is not the short name of a site')
        return self.path / PRINTED_FOLDER / f"{site}-{day.isoformat()}-{revision}.json"


def _line(words: str) -> str:
    """Return words on one line, not longer than a line should be."""
    return " ".join("".join(c if c.isprintable() else " " for c in words).split())[:LONGEST_WORDS]


def _append(file: Path, line: str) -> None:
    """Add a line and write it through; a line torn off by a crash before is ended first, so that it spoils no other."""
    with file.open("ab+", buffering=0) as out:
        size = out.seek(0, os.SEEK_END)
        whole = b""
        if size == 0:
            whole = (",".join(COLUMNS) + "\n").encode()
        else:
            out.seek(size - 1)
            if out.read(1) != b"\n":
                whole = b"\n"
        whole += line.encode("utf-8")
        try:
            if out.write(whole) != len(whole):  # a disk that is all but full takes a part of it
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            os.fsync(out.fileno())
        except OSError:
            with suppress(OSError):
                out.truncate(size)
            raise


def _confirmation(row: list[str]) -> Confirmation:
    if len(row) != len(COLUMNS):
        raise ValueError(f"it has {len(row)} cells; accepted: {', '.join(COLUMNS)}")
    at, number, name, by, found, note = row
    moment = datetime.fromisoformat(at)
    if moment.tzinfo is None:
        raise ValueError(f'"{at}" has no offset from UTC')
    if not digits_of(number):
        raise ValueError(f'"{number}" is not a telephone number')
    for known in FOUND:
        if known == found:
            return Confirmation(moment, number, name, by, known, note)
    raise ValueError(f'found is "{found}"; accepted: {", ".join(FOUND)}')
