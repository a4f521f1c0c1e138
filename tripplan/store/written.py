"""Files of a centre's folder as the pages write them: whole or not at all, never over something unseen."""

from __future__ import annotations

import codecs
import hashlib
import os
import shutil
import threading
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from tripplan.data_files import data_dir
from tripplan.errors import TripplanError
from tripplan.store.alone import alone
from tripplan.store.records import CannotKeep

EARLIER_FOLDER = "earlier"  # a site's file that was written anew is kept there: beside the others it would be a site


class OtherFile(TripplanError):
    """The file is not the one that was read: somebody wrote it, changed it or took it away meanwhile."""


def stamp_of(path: Path) -> str:
    """Return what tells one content of a file from another; empty where there is no file."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except FileNotFoundError:
        return ""


def shipped(folder: Path) -> bool:
    """Whether a folder is the demonstration that comes with the program: an upgrade would overwrite what is written."""
    return folder.resolve() == data_dir("sites").resolve()


def write_through(path: Path, content: bytes) -> None:
    """Write a new file, for the owner's eyes, through to the disk.  Raises FileExistsError where there is one."""
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:  # noqa: PTH123
        out.write(content)
        out.flush()
        os.fsync(out.fileno())


def put_new(path: Path, text: str) -> None:
    """Write a file that must not be there yet.

    Raises OtherFile where there is one, CannotKeep where it cannot be written.
    """
    draft = _draft(path)
    try:
        _ordinary(draft, text)
        try:
            os.link(draft, path)  # unlike a rename it fails where there is a file already
        except FileExistsError:
            raise
        except OSError:  # a disk without links
            write_through(path, text.encode("utf-8"))
        settle(path.parent)
    except FileExistsError:
        raise OtherFile(f"{path.name} is there already; nothing was written") from None
    except OSError as error:
        raise CannotKeep(f"{path}: {error.strerror or error}; nothing was written") from error
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)


def put_over(path: Path, text: str, stamp: str, at: datetime, kept_in: Path) -> Path:
    """Put a new text in the place of a file, and return where the old one is kept.

    stamp -- of the content that the new text was made from
    at -- the time for the name of the old one, NAME-YYYYmmdd-HHMMSS.toml
    kept_in -- the folder for the old one, made where it is not there

    Raises OtherFile where the file is another by now, CannotKeep where it cannot be written; it is then as it was.
    """
    path = path.resolve()
    draft = _draft(path)
    try:
        with alone(path.parent):
            old = path.read_bytes()
            if hashlib.sha256(old).hexdigest() != stamp:
                raise OtherFile(f"{path.name} was changed meanwhile; nothing was written")
            write_through(draft, _as_before(old, text).encode("utf-8"))
            shutil.copymode(path, draft)
            kept = keep_aside(path, old, at, kept_in)
            draft.replace(path)
            settle(path.parent)
    except FileNotFoundError:
        raise OtherFile(f"{path.name} is gone; nothing was written") from None
    except OSError as error:
        raise CannotKeep(f"{path}: {error.strerror or error}; nothing was changed") from error
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)
    return kept


def _as_before(old: bytes, text: str) -> str:
    """Return a text with the mark in front and the ends of lines of the file before, so that only words change."""
    crlf = old.count(b"\r\n")
    if crlf and crlf == old.count(b"\n"):
        text = text.replace("\n", "\r\n")
    return f"\ufeff{text}" if old.startswith(codecs.BOM_UTF8) else text


def _draft(path: Path) -> Path:
    return path.with_name(f".{path.name}.{os.getpid()}-{threading.get_ident()}.new")


def _ordinary(path: Path, text: str) -> None:
    """Write a new file that others on the machine may read as far as they may read new files of this user."""
    with path.open("xb") as out:
        out.write(text.encode("utf-8"))
        out.flush()
        os.fsync(out.fileno())


def keep_aside(path: Path, content: bytes, at: datetime, kept_in: Path) -> Path:
    """Write the content of a file into a folder, under its name and the time, which no other file there has."""
    kept_in.mkdir(exist_ok=True)
    number = 1
    while True:
        more = f"-{number}" if number > 1 else ""
        kept = kept_in / f"{path.stem}-{at:%Y%m%d-%H%M%S}{more}{path.suffix}"
        try:
            write_through(kept, content)
        except FileExistsError:
            number += 1
            continue
        shutil.copymode(path, kept)
        return kept


def settle(folder: Path) -> None:
    """Bring the name of a new file to the disk too, where the system can: the file itself stands there already."""
    if os.name == "nt":
        return
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
