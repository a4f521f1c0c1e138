"""The program as users start it: ``tripplan serve`` of a copy of the demonstration, in a process of its own."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from tripplan.data_files import data_dir
from tripplan.store.database import default_path, sqlite_url

SITE, REQUEST, ZONE = "stair-ledge", "saturday-ledge", "Atlantic/Azores"
START_S = 60.0
END_S = 30.0


@dataclass
class Served:
    """A server that answers."""

    process: subprocess.Popen[str]
    address: str
    port: int
    folder: Path
    day: date  # of the request at the site: today there
    store_url: str
    said: Path  # what it wrote to the standard error

    def kill(self) -> None:
        """End it at once, without a word."""
        self.process.kill()
        self.process.wait(END_S)


def centre_in(place: Path) -> tuple[Path, date]:
    """Copy the demonstration, with the request of the ledge moved to the day that it is there now."""
    folder = Path(shutil.copytree(data_dir("sites"), place / "centre"))
    day = datetime.now(UTC).astimezone(ZoneInfo(ZONE)).date()
    file = folder / "requests" / f"{REQUEST}.toml"
    words, count = re.subn(r"(?m)^date = .*$", f"date = {day.isoformat()}", file.read_text(encoding="utf-8"))
    assert count == 1
    file.write_text(words, encoding="utf-8")
    return folder, day


def environment(place: Path) -> dict[str, str]:
    """Return an environment in which nothing of whoever runs this is read or written."""
    return {**os.environ, "XDG_DATA_HOME": str(place / "data"), "XDG_CACHE_HOME": str(place / "cache")}


@contextmanager
def served(
    place: Path,
    store: str | None = None,
    *,
    folder: Path | None = None,
    prepare: Callable[[], None] | None = None,
    more: Mapping[str, str] | None = None,
) -> Iterator[Served]:
    """Serve a copy of the demonstration from a temporary place; ended when the context is left.

    store -- its address; None: the usual file, in the temporary place
    folder -- one that is there already, to be served again
    prepare -- what the process does before the program begins, such as taking a limit on itself
    more -- further variables of its environment
    """
    if folder is None:
        folder, day = centre_in(place)
    else:
        day = datetime.now(UTC).astimezone(ZoneInfo(ZONE)).date()
    own = {**environment(place), **(more or {})}
    said = place / "said.txt"
    command = [sys.executable, "-m", "tripplan", "serve", str(folder), "--port", "0"]
    with said.open("a", encoding="utf-8") as errors:
        process = subprocess.Popen(
            [*command, *(("--store", store) if store else ())],
            env=own,
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            preexec_fn=prepare,
        )
    giving_up = threading.Timer(START_S, process.kill)
    giving_up.start()
    try:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        giving_up.cancel()
        assert address, f"the server did not begin: {said.read_text(encoding='utf-8')}"
        url = store or sqlite_url(_default_path(folder, own))
        yield Served(process, address, int(address.rsplit(":", 1)[1].strip("/")), folder, day, url, said)
    finally:
        giving_up.cancel()
        if process.poll() is None:
            process.send_signal(signal.SIGINT)
            try:
                process.wait(END_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        if process.stdout is not None:
            process.stdout.close()


def _default_path(folder: Path, own: Mapping[str, str]) -> Path:
    before = os.environ.get("XDG_DATA_HOME")
    os.environ["XDG_DATA_HOME"] = own["XDG_DATA_HOME"]
    try:
        return default_path(folder)
    finally:
        if before is None:
            del os.environ["XDG_DATA_HOME"]
        else:
            os.environ["XDG_DATA_HOME"] = before
