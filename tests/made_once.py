"""What is the same in every test is made once in a process: templates, addresses, folders that were read, plans.

Each test has its own app, folder and store all the same. A value is found again by everything that it was made from,
never by a name or a time: a template by its source, the content of a folder by the bytes of its files, a plan by the
whole request and the whole world. What was found with a fault is made anew each time, for a fault names its file.
"""

from __future__ import annotations

import copyreg
import hashlib
import io
import pickle
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from types import MappingProxyType
from typing import Any

from flask import Flask
from jinja2 import BytecodeCache
from jinja2.bccache import Bucket
from werkzeug.routing import Rule

from tripplan import record
from tripplan.store import folder

LARGEST_KEPT = 100_000  # characters; a file of the demonstration has some 20,000 at most
MOST_KEPT = 500  # texts of files
MOST_PLANS = 60
MOST_FOLDERS = 60
TABLE = {**copyreg.dispatch_table, MappingProxyType: lambda mapping: (dict, (dict(mapping),))}


class _Kept(dict[Any, Any]):
    """The newest of what was made."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self._most = most

    def keep(self, key: Any, value: Any) -> Any:
        self[key] = value
        if len(self) > self._most:
            self.pop(next(iter(self)), None)
        return value


def in_bytes(values: Any) -> bytes:
    """Return values as bytes that hold all of them.  Raises an error for what cannot be written so."""
    out = io.BytesIO()
    pickler = pickle.Pickler(out, 5)
    pickler.dispatch_table = TABLE
    pickler.dump(values)
    return out.getvalue()


def once(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function of values alone that makes the same of the same values once; what it makes must be frozen."""
    kept = _Kept(MOST_PLANS)

    @wraps(function)
    def made(*values: Any, **named: Any) -> Any:
        key = hashlib.sha256(in_bytes((values, named))).digest()
        found = kept.get(key)
        return kept.keep(key, function(*values, **named)) if found is None else found

    return made


# ---- folders ----


def _content(path: Path) -> bytes | None:
    """Return a digest of all files of a centre's folder; None where they cannot be read."""
    digest = hashlib.sha256()
    try:
        for file in sorted((*path.glob("*"), *path.glob("*/*"))):
            if file.parent.name != folder.RECORDS_FOLDER and file.suffix in (".toml", ".csv"):
                held = file.read_bytes()
                digest.update(f"{file.relative_to(path)} {len(held)} ".encode() + held)
    except OSError:
        return None
    return digest.digest()


def _read_once(function: Callable[..., Any], folder_of: Callable[[Any], Path]) -> Callable[..., Any]:
    """Read the same files once, wherever they lie; what names their place is read each time."""
    kept = _Kept(MOST_FOLDERS)

    @wraps(function)
    def read(where: Any, *more: Any, **named: Any) -> Any:
        path = folder_of(where)
        content = _content(path)
        key = None if content is None else (content, in_bytes((more, named)))
        found = None if key is None else kept.get(key)
        if found is None:
            found = function(where, *more, **named)
            if key is not None and str(path).encode() not in in_bytes(found):
                kept.keep(key, found)
        return found

    return read


def _values_once(plain: Callable[[record.TomlFile, Path, str], None]) -> Callable[[record.TomlFile, Path, str], None]:
    """Read the values and lines of a text once; every file has its own copy of them."""
    kept = _Kept(MOST_KEPT)

    def read(self: record.TomlFile, path: Path, text: str) -> None:
        held = kept.get(text)
        if held is not None:
            self.path = path
            self.data, self.lines = pickle.loads(held)
            return
        plain(self, path, text)
        if len(text) <= LARGEST_KEPT:
            kept.keep(text, pickle.dumps((self.data, self.lines)))

    return read


# ---- apps ----


class _Compiled(BytecodeCache):
    """Compiled templates by name and source."""

    def __init__(self) -> None:
        self._code: dict[tuple[str, str], Any] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        bucket.code = self._code.get((bucket.key, bucket.checksum))

    def dump_bytecode(self, bucket: Bucket) -> None:
        self._code[bucket.key, bucket.checksum] = bucket.code


def _addresses_once(plain: Callable[..., Any]) -> Callable[..., Any]:
    """Compile what puts an address of a page together once; it hangs on the words of the rule alone."""
    kept: dict[Any, Any] = {}

    def compiled(self: Rule, append_unknown: bool = True) -> Any:
        if self.defaults:
            return plain(self, append_unknown)
        key = (self.rule, tuple(self._trace), append_unknown)
        if key not in kept:
            kept[key] = plain(self, append_unknown)
        return kept[key]

    return compiled


def make_once() -> None:
    """Begin to keep what is made."""
    record.TomlFile.__init__ = _values_once(record.TomlFile.__init__)  # type: ignore[method-assign]
    folder.survey = _read_once(folder.survey, lambda paths: paths[0])
    folder.read_centre = _read_once(folder.read_centre, lambda file: file.parent.parent)
    folder.forecasts_by_site = _read_once(folder.forecasts_by_site, lambda path: path)
    Flask.jinja_options = {**Flask.jinja_options, "bytecode_cache": _Compiled()}
    if hasattr(Rule, "_compile_builder"):
        Rule._compile_builder = _addresses_once(Rule._compile_builder)  # type: ignore[method-assign]


def plans_once() -> None:
    """Begin to keep the plans and pictures of the pages; the tests of plans and pictures make each anew."""
    from tripplan.documents import one_file
    from tripplan.web import made, next, plans

    for module, names in (
        (made, ("plan_day", "with_edges")),
        (next, ("plan_day",)),
        (plans, ("day_picture",)),
        (one_file, ("day_picture",)),
    ):
        for name in names:
            setattr(module, name, once(getattr(module, name)))
