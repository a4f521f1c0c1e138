"""Build the program, install it, and use it as somebody would who has nothing but the wheel."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
WATCH = Path(__file__).with_name("watch")  # what every process of a check begins with
USE = Path(__file__).with_name("use.py")
LONGEST_S = 600.0  # for one command, on the slowest machine


class Failed(AssertionError):
    """A command did not do what it should; the message holds what it said."""


def run(words: Sequence[str | Path], where: Path, environment: Mapping[str, str] | None = None) -> str:
    """Run a command and return what it printed.  Raises Failed."""
    env = None if environment is None else dict(environment)
    done = subprocess.run(
        [str(word) for word in words], cwd=where, env=env, capture_output=True, text=True, timeout=LONGEST_S,
        stdin=subprocess.DEVNULL, check=False,
    )  # fmt: skip
    if done.returncode:
        raise Failed(f"{' '.join(map(str, words))}: {done.returncode}\n{done.stdout[-4000:]}\n{done.stderr[-8000:]}")
    return done.stdout


# ---- building ----


def snapshot(where: Path) -> Path:
    """Return a copy of the source tree as it stands, which nobody edits meanwhile."""
    left_out = shutil.ignore_patterns("__pycache__", ".*_cache", ".hypothesis", ".venv", ".git", "dist", "build", "out")
    return Path(shutil.copytree(ROOT, where, ignore=left_out))


def build(source: Path, out: Path, *kinds: str) -> dict[str, Path]:
    """Build a source tree; returns the files by kind, ``wheel`` and ``sdist``."""
    targets = [word for kind in kinds for word in ("-t", kind)]
    run([sys.executable, "-m", "hatchling", "build", *targets, "-d", out], source)
    endings = {"wheel": "*.whl", "sdist": "*.tar.gz"}
    return {kind: next(iter(out.glob(endings[kind]))) for kind in kinds}


def content(wheel: Path) -> dict[str, bytes]:
    """Return every file of a wheel by name."""
    with zipfile.ZipFile(wheel) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


# ---- installing ----


@dataclass(frozen=True)
class Place:
    """A Python with the program in it and nothing of this source tree, and a home where nothing is."""

    python: Path
    home: Path

    @property
    def command(self) -> Path:
        """The command as it was installed."""
        return self.python.with_name("tripplan.exe" if os.name == "nt" else "tripplan")

    def environment(self, more: Mapping[str, str] | None = None) -> dict[str, str]:
        """Return the environment of the checks: an empty home, no settings of whoever runs them."""
        kept = {name: os.environ[name] for name in ("SYSTEMROOT", "TEMP", "TMP") if name in os.environ}
        return {
            **kept,
            "HOME": str(self.home),
            "USERPROFILE": str(self.home),
            "PATH": os.defpath,
            "LC_ALL": "C.UTF-8",
            "PYTHONPATH": str(WATCH),
            "TRIPPLAN_WATCHED": str(self.home.parent / "watched.txt"),
            **(more or {}),
        }


def make_venv(python: str | Path, where: Path) -> Path:
    """Make a virtual environment with pip; returns its Python."""
    run([python, "-m", "venv", where], where.parent)
    inside = where / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    return inside


def pythons() -> list[Path]:
    """Return the Pythons to try: those of TRIPPLAN_PYTHONS, else each python3.N of the search path that runs."""
    named = os.environ.get("TRIPPLAN_PYTHONS", "")
    asked: Iterable[str | None] = named.split(os.pathsep) if named else map(
        shutil.which, (f"python3.{minor}" for minor in range(11, 20))
    )  # fmt: skip
    found: dict[str, Path] = {}
    for each in asked:
        if not each:
            continue
        told = subprocess.run(
            [each, "-c", "import sys; print(sys.version.split()[0], sys.version_info >= (3, 11))"],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        version, _, good = told.stdout.strip().partition(" ")
        if told.returncode == 0 and good == "True":
            found.setdefault(version, Path(each))
        elif named:
            raise Failed(f"{each} of TRIPPLAN_PYTHONS is no Python of 3.11 or newer that runs: {told.stderr[-500:]}")
    return list(found.values())


# ---- using ----


def use(place: Place, work: Path, more: Mapping[str, str] | None = None, *, compiled: bool = True) -> dict[str, str]:
    """Use an installed program from a folder elsewhere; returns what it said, by what was asked.

    compiled -- also compile every module anew, where a newer Python may warn of how something is written

    Raises Failed where something did not work, where a module of ours uses what is to go from Python or a library, or
    where anything was asked of a network.
    """
    environment = place.environment(more)
    asked = [place.python, "-c", "import tripplan; print(tripplan.__path__[0])"]
    package = Path(run(asked, work, environment).strip())
    if package.is_relative_to(ROOT):
        raise Failed(f"{package} is the source tree and no installation")
    before = _files(package)
    said = json.loads(run([*_without_network(), place.python, USE, place.command], work, environment))
    said["help"] = run([place.command, "--help"], work, environment)
    if compiled:
        run([place.python, "-W", "error", "-m", "compileall", "-q", "-f", package], work, environment)
    if (watched := Path(environment["TRIPPLAN_WATCHED"])).exists():
        raise Failed(f"the network was asked for: {watched.read_text(encoding='utf-8')}")
    if (after := _files(package)) != before:
        raise Failed(f"written into the installed package: {sorted(after ^ before)}")
    return {name: str(words) for name, words in said.items()}


def _files(package: Path) -> set[str]:
    files = (file for file in package.rglob("*") if file.is_file() and "__pycache__" not in file.parts)
    return {f"{file} {file.stat().st_size}" for file in files}


def _without_network() -> list[str]:
    """Return the words that start a command where there is no network at all; none where that is not permitted.

    The processes refuse by themselves to reach further than this machine in either case, see ``watch``.
    """
    words = ["unshare", "--map-root-user", "--net"]
    try:
        permitted = subprocess.run([*words, "true"], capture_output=True, check=False).returncode == 0
    except OSError:
        permitted = False
    return words if permitted else []
