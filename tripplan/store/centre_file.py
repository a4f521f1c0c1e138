"""The centre's own files as the pages write them: its facts, its oxygen, one person more; comments are kept."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from tripplan.emergency.readiness import readiness_from
from tripplan.errors import BadRecord
from tripplan.people.centre import CentreFile
from tripplan.people.person import Person
from tripplan.record import Location, TomlFile, judge, read_toml, toml_key, toml_value
from tripplan.store.folder import EMERGENCY_FILE
from tripplan.store.new_folder import EMERGENCY_HEAD
from tripplan.store.people_file import people_toml
from tripplan.store.records import CannotKeep
from tripplan.store.toml_text import ToldFile, merged_toml
from tripplan.store.written import put_new, put_over, shipped, stamp_of

CENTRE_FILE = "centre/centre.toml"
MOST_MERGED = 500  # people; a longer list is written anew, which takes no time


@dataclass(frozen=True)
class Changed:
    """A file of the centre that is not written yet: its text, or what is wrong with it."""

    path: Path
    text: str
    stamp: str  # of the file that it was made from; empty: there was none
    faults: tuple[tuple[Location, str], ...] = ()


def centre_values(folder: Path) -> tuple[dict[str, Any], str]:
    """Return what the centre's own file says, and what tells its content from another.  Raises BadRecord."""
    path = folder / CENTRE_FILE
    stamp = stamp_of(path)
    return dict(read_toml(path).data), stamp


def changed_centre(folder: Path, facts: Mapping[str, Any], keys: Sequence[str]) -> Changed:
    """Return the centre's own file with other facts in it.

    facts -- the new values by key;  keys -- those that may change: one of them without a value is taken out

    Raises BadRecord where the file as it stands is not TOML.
    """
    values, stamp = centre_values(folder)
    wanted = {key: value for key, value in values.items() if key not in keys} | dict(facts)
    new = {key: value for key, value in facts.items() if key not in values}
    return _changed(folder / CENTRE_FILE, wanted, stamp, lambda file: judge(file, CentreFile), new)


def with_oxygen(folder: Path, unit: Mapping[str, Any]) -> Changed:
    """Return the centre's emergency file with one oxygen unit more.

    Raises BadRecord where the file as it stands is not TOML.
    """
    path = folder / EMERGENCY_FILE
    stamp = stamp_of(path)
    values = dict(read_toml(path).data) if stamp else {}
    units = values.get("oxygen_units", ())
    wanted = {**values, "oxygen_units": [*(units if isinstance(units, tuple) else ()), dict(unit)]}
    return _changed(path, wanted, stamp, readiness_from)


def _changed(
    path: Path,
    values: Mapping[str, Any],
    stamp: str,
    judged: Callable[[TomlFile], object],
    new: Mapping[str, Any] | None = None,
) -> Changed:
    old = path.read_text(encoding="utf-8-sig").replace("\r\n", "\n") if stamp else EMERGENCY_HEAD
    for key, value in (new or {}).items():  # where a comment keeps its place, it goes there
        line = f"{toml_key(key)} = {toml_value(value)}"
        old = re.sub(rf"^# {re.escape(key)} = .*$", lambda _, line=line: line, old, count=1, flags=re.MULTILINE)  # type: ignore[misc]
    text = merged_toml(old, values)
    if text is None:
        raise CannotKeep(f"{path.name} cannot be changed by a form as it stands; change it by hand")
    file = ToldFile(path, text)
    try:
        judged(file)
    except BadRecord:
        return Changed(path, text, stamp, tuple(dict.fromkeys(file.told)))
    return Changed(path, text, stamp)


def save(changed: Changed, at: datetime) -> Path | None:
    """Write a file of the centre, and return where the one before is kept; None where there was none.

    Raises OtherFile where somebody else wrote it meanwhile, CannotKeep where it cannot be written or has faults.
    """
    if shipped(changed.path.parent.parent):
        raise CannotKeep("the demonstration that comes with the program stays as it is; nothing was written")
    if changed.faults:
        raise CannotKeep(f"{changed.path.name} has faults; nothing was written")
    if not changed.stamp:
        put_new(changed.path, changed.text)
        return None
    return put_over(changed.path, changed.text, changed.stamp, at, changed.path.parent)


def people_text(path: Path, people: Sequence[Person]) -> str:
    """Return the text of a list of people, made from the one that stands there with its comments kept."""
    text = people_toml(people)
    if len(people) > MOST_MERGED or not path.is_file():
        return text
    old = path.read_text(encoding="utf-8-sig", errors="replace").replace("\r\n", "\n")
    return merged_toml(old, tomllib.loads(text)) or text
