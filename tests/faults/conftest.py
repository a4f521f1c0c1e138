"""What goes wrong with machines, made to happen: small disks, closed disks, an app on a clock that a test sets."""

from __future__ import annotations

import errno
import os
import re
import resource
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from tests.both_stores import _files
from tests.made_once import plans_once
from tripplan import cli
from tripplan.data_files import data_dir
from tripplan.store.database import sqlite_url
from tripplan.web.app import create_app

plans_once()
DAY = "2026-12-12"
SITE = "stair-ledge"
PAGE = f"/today/{SITE}?date={DAY}&by=Greta Holm"
BOARD = f"/today/{SITE}/board?date={DAY}&by=Greta Holm"
SEND = f"/today/{SITE}/entries?date={DAY}"


class Clock:
    """A clock that a test sets."""

    now = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


class Phone:
    """A browser on the page of the day."""

    def __init__(self, app: Any) -> None:
        self.client = app.test_client()
        self._token = ""

    def token(self) -> str:
        if not self._token:
            self._token = re.search(r'data-csrf="([^"]+)"', self.client.get(PAGE).text)[1]
        return self._token

    def send(self, *entries: dict[str, object]) -> Any:
        return self.client.post(SEND, json={"entries": list(entries)}, headers={"X-CSRFToken": self.token()})

    def form(self, **values: object) -> Any:
        given = {"csrf_token": self.token(), "uid": "0123456789abcdef", "by": "Greta Holm", "group": "", "dive": "0"}
        return self.client.post(SEND, data={**given, **values})

    def count(self) -> int:
        return int(re.search(r"(\d+) entr(?:y|ies), newest first", self.client.get(PAGE).text)[1])


def let_go(app: Any) -> None:
    """Close the files of an app's store, which opens them again when it needs them."""
    if store := app.extensions.get("tripplan_store"):
        store.close()


def entry(mark: str, **changes: object) -> dict[str, object]:
    made = {"uid": mark, "at": f"{DAY}T12:50:00Z", "kind": "note", "by": "Greta Holm", "text": "All well"}
    return {**made, **changes}


def going_in(mark: str, **changes: object) -> dict[str, object]:
    return entry(mark, kind="in", person="Luca Benti", group="Terns", dive=1, text="", **changes)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def apps() -> Iterator[Callable[..., Any]]:
    """Make apps; their stores are closed at the end."""
    made: list[Any] = []

    def make(place: Path, folder: Path | None = None, clock: Callable[[], datetime] | None = None) -> Any:
        app = create_app(folder or data_dir("sites"), clock=clock or Clock(), records=place / "records")
        app.extensions["tripplan_store_url"] = sqlite_url(place / "store.sqlite")
        made.append(app)
        return app

    yield make
    for app in made:
        if store := app.extensions.get("tripplan_store"):
            store.close()


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Run a command; a traceback would be an exception here."""

    def answer(*words: object) -> tuple[int, str, str]:
        capsys.readouterr()
        code = cli.main([str(word) for word in words])
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return answer


def refused(answer: tuple[int, str, str], *words: str) -> None:
    """Look that a command said in one line what is wrong."""
    code, _, err = answer
    assert code == 2 and len(err.splitlines()) == 1 and "Traceback" not in err, answer
    for each in words:
        assert each in err, err


class Disk:
    """A place of its own that fills up, or is closed to writing."""

    def __init__(self, path: Path, mounted: bool) -> None:
        self.path = path
        self._mounted = mounted

    @contextmanager
    def full(self) -> Iterator[None]:
        """Leave no room for a byte more: really on a disk of its own, by a limit on the sizes of files elsewhere."""
        if not self._mounted:
            soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
            resource.setrlimit(resource.RLIMIT_FSIZE, (0, hard))
            try:
                yield
            finally:
                resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
            return
        ballast = self.path / "ballast"
        with ballast.open("wb", buffering=0) as out:
            size = 1 << 16
            while size:
                try:
                    out.write(b"x" * size)
                except OSError as error:
                    assert error.errno == errno.ENOSPC
                    size //= 2
        try:
            yield
        finally:
            ballast.unlink()

    @contextmanager
    def closed(self) -> Iterator[None]:
        """Let nobody write: by the mount on a disk of its own, by the rights of its files elsewhere."""
        if self._mounted:
            subprocess.run(["mount", "-o", "remount,ro", self.path], check=True)
        else:
            self._rights(0o500, 0o400)
        try:
            yield
        finally:
            if self._mounted:
                subprocess.run(["mount", "-o", "remount,rw", self.path], check=True)
            else:
                self._rights(0o700, 0o600)

    def _rights(self, folders: int, files: int) -> None:
        for each in sorted((self.path, *self.path.rglob("*"))):
            each.chmod(0o700)
        for each in sorted((self.path, *self.path.rglob("*")), reverse=True):
            each.chmod(folders if each.is_dir() else files)


def _mount(path: Path) -> bool:
    if os.geteuid() != 0 or shutil.which("mount") is None:
        return False
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", path], capture_output=True, check=False)
    return done.returncode == 0


@pytest.fixture
def disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Disk]:
    """Give a small disk where this machine lets one be mounted, else a folder that is treated alike."""
    _files()  # the empty store that others begin from is not to lie on this disk
    place = tmp_path / "disk"
    place.mkdir()
    mounted = _mount(place)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    try:
        yield Disk(place, mounted)
    finally:
        if mounted:
            subprocess.run(["umount", "-l", place], check=True)
