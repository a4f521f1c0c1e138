"""Requests that were edited: kept in the store, laid over the files of the folder. A file is never written to."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, MutableMapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from sqlalchemy.exc import IntegrityError

from tripplan.errors import BadRecord, Fault
from tripplan.planning.request import Request, request_from
from tripplan.planning.world import World, request_faults
from tripplan.record import Location, TomlFile
from tripplan.store.database import ChangedMeanwhile, KeptRequest, Store, StoreFault
from tripplan.store.folder import Folder
from tripplan.store.tables import REQUEST_VERSIONS, REQUESTS

Misplaced = tuple[tuple[Location, str], ...]  # where in a request, and a sentence
Read = Request | tuple[str, ...]  # a request, or why it cannot be read
Known = MutableMapping[tuple[str, int, datetime], Read]


# ---- values ----


def values_of(request: Request) -> dict[str, Any]:
    """Return a request as plain values that JSON can hold, every field written out that is not empty."""
    found: dict[str, Any] = _plain(request.model_dump(exclude_none=True))
    return found


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, time):
        return f"{value:%H:%M}"
    return value.isoformat() if isinstance(value, date) else value  # a moment is a date too


def judged(values: Mapping[str, Any]) -> tuple[Request | None, Misplaced]:
    """Read plain values by the same measure as a file; returns the request, or where and why it cannot be one."""
    given = _Given(values)
    try:
        return request_from(given), ()
    except BadRecord:
        return None, tuple(given.found)


class _Given(TomlFile):
    """Values from a form or the store in the place of a file; remembers where each fault is."""

    def __init__(self, values: Mapping[str, Any]) -> None:
        self.path = Path("request")
        self.data = _as_in_a_file(values)
        self.lines = {}
        self.found: list[tuple[Location, str]] = []

    def fault(self, location: Location, message: str) -> Fault:
        """Return a fault of these values at a key."""
        self.found.append((location, message))
        return super().fault(location, message)


def _as_in_a_file(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return plain values as the reader of a file gives them: tuples for lists, dates and moments for their words."""
    made: dict[str, Any] = {key: frozen(value) for key, value in values.items()}
    if "date" in made:
        made["date"] = _day(made["date"])
    if isinstance(recent := made.get("recent_dives"), tuple):
        made["recent_dives"] = tuple(
            {**dive, "surfaced": _moment(dive["surfaced"])} if isinstance(dive, dict) and "surfaced" in dive else dive
            for dive in recent
        )
    return made


def frozen(value: Any) -> Any:
    """Return plain values with tuples for lists, as the schema wants them."""
    if isinstance(value, Mapping):
        return {key: frozen(inner) for key, inner in value.items()}
    return tuple(frozen(inner) for inner in value) if isinstance(value, list | tuple) else value


def _day(value: Any) -> Any:
    try:
        return date.fromisoformat(value) if isinstance(value, str) else value
    except ValueError:
        return value  # the schema says what is wrong with it


def _moment(value: Any) -> Any:
    try:
        return datetime.fromisoformat(value) if isinstance(value, str) else value
    except ValueError:
        return value


# ---- files and what is kept ----


def base_of(folder: Path, name: str) -> str:
    """Return the mark of a request's file as it stands, 64 letters; empty where there is none or it cannot be read."""
    file = folder / "requests" / f"{name}.toml"
    try:
        return hashlib.sha256(file.read_bytes()).hexdigest()
    except (OSError, ValueError):
        return ""


class KeptFault(Fault):
    """One thing wrong with a request in the store, which has no lines."""

    def __str__(self) -> str:
        return f"{self.file}: {self.message}"


@dataclass(frozen=True)
class Laid:
    """A folder as its files have it, and with the edited requests over them."""

    files: Folder
    folder: Folder
    kept: Mapping[str, KeptRequest] = field(default_factory=dict)
    trouble: str = ""  # why what is kept cannot be seen; empty: it can


def lay(files: Folder, kept: Iterable[KeptRequest], known: Known | None = None) -> Laid:
    """Lay the requests of the store over those of the files; one that cannot be read is a fault and left out.

    known -- what was read before, by name, version and moment; it is added to

    The file of a request that was edited never takes its place again by itself, not even when the edited one cannot be
    read: it would be an older plan that nobody asked for.
    """
    before = {} if known is None else known
    held = {each.name: each for each in kept}
    requests = {name: request for name, request in files.requests.items() if name not in held}
    faults: list[Fault] = []
    for name, each in held.items():
        key = (name, each.version, each.changed)
        if key not in before:
            before[key] = _read(each.request, files.world)
        found = before[key]
        if isinstance(found, Request):
            requests[name] = found
        else:
            where = f'edited request "{name}", version {each.version}'
            faults += [KeptFault(where, 1, sentence) for sentence in found]
    ordered = {name: requests[name] for name in sorted(requests)}
    folder = replace(files, requests=ordered, faults=(*files.faults, *faults))
    return Laid(files, folder, held)


def unseen(files: Folder, why: str) -> Laid:
    """Return the folder by its files alone, with the fault that what was edited cannot be seen."""
    sentence = (
        f"{why.rstrip('.')}. Requests that were edited in the browser are not shown; "
        "those of the files are, and may be older"
    )
    folder = replace(files, faults=(*files.faults, KeptFault("the store", 1, sentence)))
    return Laid(files, folder, trouble=sentence)


def _read(values: Any, world: World) -> Read:
    if not isinstance(values, Mapping):
        return ("this is no request",)
    request, faults = judged(values)
    if request is not None and not (faults := request_faults(request, world)):
        return request
    return tuple(sentence for _, sentence in faults) or ("this is no request",)


# ---- saving ----


@dataclass(frozen=True)
class FromFile:
    """The file that a request is edited from for the first time."""

    values: Mapping[str, Any]
    base: str
    by: str


def save(
    store: Store,
    name: str,
    values: Mapping[str, Any],
    *,
    version: int | None,
    by: str,
    changed: datetime,
    base: str = "",
    file: FromFile | None = None,
) -> int:
    """Keep a request over the version that was read; returns its new version.

    file -- where it was never edited before: what the file says is kept as the first version, so that it is not lost
            when the file changes

    Raises ChangedMeanwhile when somebody else was quicker, StoreFault when nothing was kept.
    """
    if version is None and file is not None:
        version = _begin(store, name, file, changed)
    return _save(store, name, values, version, by, changed, base)


def _begin(store: Store, name: str, file: FromFile, changed: datetime) -> int:
    """Keep the file as the first version; two who begin at once begin from the same one."""
    try:
        return _save(store, name, file.values, None, file.by, changed, file.base)
    except ChangedMeanwhile as error:
        now = error.now
        same = now is not None and (now.version, now.base, now.by) == (1, file.base, file.by)
        if now is not None and same and dict(now.request) == dict(file.values):
            return 1
        raise


def _save(
    store: Store, name: str, values: Mapping[str, Any], version: int | None, by: str, changed: datetime, base: str
) -> int:
    try:
        return store.save_request(name, values, version, by, changed, base)
    except ChangedMeanwhile:
        raise
    except StoreFault as error:
        if isinstance(error.__cause__, IntegrityError):  # two new ones of a name at the same moment
            raise ChangedMeanwhile(name, store.request(name)) from error
        raise


def keep_theirs(
    store: Store, name: str, mine: Mapping[str, Any], *, version: int, by: str, changed: datetime
) -> int:  # fmt: skip
    """Let what stands stand, and keep what somebody gives up as a version before it; returns the new version.

    At no moment is the one that is given up in force.  Raises ChangedMeanwhile when the version is not the newest.
    """
    with store._writing() as connection:
        done = connection.execute(
            REQUESTS.update()
            .where(REQUESTS.c.name == name, REQUESTS.c.version == version)
            .values(version=version + 2, changed=changed, by=by)
            .returning(REQUESTS.c.request)
        ).one_or_none()
        if done is not None:
            rows: Sequence[tuple[int, Any]] = ((version + 1, dict(mine)), (version + 2, done.request))
            for number, request in rows:
                values = {"name": name, "version": number, "request": request, "changed": changed, "by": by}
                connection.execute(REQUEST_VERSIONS.insert().values(values))
            return version + 2
    raise ChangedMeanwhile(name, store.request(name))
