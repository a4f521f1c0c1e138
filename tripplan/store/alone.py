"""One writer at a time in a folder, whichever thread, process or machine it runs on."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from filelock import FileLock, Timeout

WAIT_S: Final = 10.0  # for another writer
LOOK_EVERY_S: Final = 0.01
LOCK_FILE: Final = ".being-written"


class _Held(threading.local):
    """The folders in which this thread is the one writer."""

    def __init__(self) -> None:
        self.folders: set[Path] = set()


_held = _Held()


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Keep every other writer of a folder out; who is in already may come in again.

    The folder is made where it is not there. A lock ends with the process that holds it, however it ends.  Raises
    OSError where the folder cannot be written, or where somebody else has been in it for too long.
    """
    folder.mkdir(parents=True, exist_ok=True)
    folder = folder.resolve()
    if folder in _held.folders:
        yield
        return
    lock = FileLock(folder / LOCK_FILE)
    try:
        lock.acquire(timeout=WAIT_S, poll_interval=LOOK_EVERY_S)
    except Timeout as error:
        raise OSError(f"somebody else has been writing in this folder for more than {WAIT_S:.0f} seconds") from error
    except NotImplementedError as error:
        raise OSError("the folder lies on a disk that knows no locks") from error
    _held.folders.add(folder)
    try:
        yield
    finally:
        _held.folders.discard(folder)
        lock.release()
