"""What is the same in every test is made once in a process: templates, files that were read before, an empty store.

Each test has its own app, folder and store all the same. Compiled templates are found again by their source, the values
of a file by its whole text, each time as a copy; a store that does not exist yet begins as a copy of an empty one that
went through every step of the migrations. Tests of the store itself take the steps themselves.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any

from flask import Flask
from jinja2 import BytecodeCache
from jinja2.bccache import Bucket

from tripplan import record

LARGEST_KEPT = 100_000  # characters; a file of the demonstration has some 20,000 at most
MOST_KEPT = 500  # files


class _Compiled(BytecodeCache):
    """Compiled templates by name and source."""

    def __init__(self) -> None:
        self._code: dict[tuple[str, str], Any] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        bucket.code = self._code.get((bucket.key, bucket.checksum))

    def dump_bytecode(self, bucket: Bucket) -> None:
        self._code[bucket.key, bucket.checksum] = bucket.code


def _values_once(plain: Callable[[record.TomlFile, Path, str], None]) -> Callable[[record.TomlFile, Path, str], None]:
    """Read the values and lines of a text once; a text with a fault is read each time, for the fault names its file."""
    kept: dict[str, bytes] = {}  # the last read at the end

    def read(self: record.TomlFile, path: Path, text: str) -> None:
        if text in kept:
            self.path = path
            self.data, self.lines = pickle.loads(kept[text])
            return
        plain(self, path, text)
        if len(text) <= LARGEST_KEPT:
            kept[text] = pickle.dumps((self.data, self.lines))
            if len(kept) > MOST_KEPT:
                del kept[next(iter(kept))]

    return read


def make_once() -> None:
    """Begin to keep what is made."""
    Flask.jinja_options = {**Flask.jinja_options, "bytecode_cache": _Compiled()}
    record.TomlFile.__init__ = _values_once(record.TomlFile.__init__)  # type: ignore[method-assign]
