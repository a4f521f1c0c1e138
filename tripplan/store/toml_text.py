"""The text of a TOML file from plain values: written anew, or an old text changed with its comments kept."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from tripplan.errors import Fault
from tripplan.record import Location, TomlFile, toml_key, toml_value

# Lists that say "there is none" when they are empty, and "nobody knows" when they are left out.
TELLING = ("open_to_swell", "fetch")
WIDEST = 110  # letters of a line; a longer list of tables stands on several
NAMES = ("name", "what", "held")  # by which a row of an old list is known again, where it is not just the same
_NOT_A_COMMENT = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}' r"|'''.*?'{3,5}" r'|"(?:\\.|[^"\\\n])*"' r"|'[^'\n]*'|(#[^\n]*)", re.DOTALL
)


class ToldFile(TomlFile):
    """A text on its way to a file, which keeps for each fault which value it is about."""

    def __init__(self, path: Path, text: str) -> None:
        super().__init__(path, text)
        self.told: list[tuple[Location, str]] = []

    def fault(self, location: Location, message: str) -> Fault:
        """Note where a fault is before it becomes a line of the file."""
        self.told.append((location, message))
        return super().fault(location, message)


def is_rows(value: Any) -> bool:
    """Whether a value is a list of tables."""
    return isinstance(value, list | tuple) and bool(value) and all(isinstance(each, Mapping) for each in value)


def fresh_toml(values: Mapping[str, Any], head: str = "") -> str:
    """Return values as TOML: plain ones first, then a [table] for each table and [[tables]] for each list of them.

    head -- lines of comment to stand on top, without their #
    """
    parts = ["\n".join(f"# {line}".rstrip() for line in head.splitlines())] if head else []
    plain = [name for name, value in values.items() if not isinstance(value, Mapping) and not is_rows(value)]
    top = _lines({name: values[name] for name in plain})
    parts = ["\n".join([*parts, *top])] if top or parts else []
    for name, value in values.items():
        if isinstance(value, Mapping):
            parts.append("\n".join([f"[{toml_key(name)}]", *_lines(value)]))
        elif is_rows(value):
            parts += ["\n".join([f"[[{toml_key(name)}]]", *_lines(row)]) for row in value]
    return "\n\n".join(parts) + "\n"


def _lines(values: Mapping[str, Any]) -> Iterator[str]:
    yield from (f"{toml_key(name)} = {_value(value, len(name))}" for name, value in values.items())


def _value(value: Any, before: int = 0) -> str:
    text = toml_value(value)
    if isinstance(value, list | tuple) and len(text) + before > WIDEST:
        return "[\n" + "".join(f"  {toml_value(each)},\n" for each in value) + "]"
    return text


def comments_in(text: str) -> Counter[str]:
    """Return the comments of a TOML text, each as often as it stands there."""
    return Counter(found[1].strip() for found in _NOT_A_COMMENT.finditer(text) if found[1])


def merged_toml(text: str, values: Mapping[str, Any]) -> str | None:
    """Return an old text changed so that it holds new values, with everything else as it stands there.

    None where the old text cannot be changed so that it reads as the new values: it is then to be written anew.
    """
    import tomlkit

    try:
        document = tomlkit.parse(text)
        _merge(document, tomllib.loads(text), values)
        made = tomlkit.dumps(document)
        return made if alike(tomllib.loads(made), values) else None
    except Exception:  # whatever the editor of texts trips over: the text is then written anew and the old one kept
        return None


def alike(one: Any, other: Any) -> bool:
    """Whether two values mean the same: a tick that is off, or an empty text or list, may be left out."""
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        keys = {*one, *other}
        return all(alike(one[key], other[key]) if key in one and key in other
                   else key not in TELLING and _nothing(one.get(key, other.get(key))) for key in keys)  # fmt: skip
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(alike(a, b) for a, b in zip(one, other, strict=True))
    if isinstance(one, str) and isinstance(other, str):
        return one.strip() == other.strip()
    return (type(one) is type(other) and bool(one == other)) or _numbers(one, other)


def _numbers(one: Any, other: Any) -> bool:
    both = all(isinstance(each, int | float) and not isinstance(each, bool) for each in (one, other))
    return both and one == other


def _nothing(value: Any) -> bool:
    return value is False or value == "" or (isinstance(value, list | tuple) and not value)


def _merge(table: Any, before: Mapping[str, Any], after: Mapping[str, Any]) -> None:
    for key in before:
        if key not in after and (key in TELLING or not _nothing(before[key])):
            del table[key]
    for key, value in after.items():
        if key not in before:
            _add(table, key, value)
        elif alike(before[key], value):
            continue
        elif isinstance(before[key], Mapping) and isinstance(value, Mapping) and value:
            _merge(table[key], before[key], value)
        elif is_rows(before[key]) and is_rows(value) and type(table[key]).__name__ == "AoT":
            _merge_rows(table[key], before[key], value)
        else:
            table[key] = _inline(value)


def _add(table: Any, key: str, value: Any) -> None:
    import tomlkit

    at_the_top = isinstance(table, tomlkit.TOMLDocument)
    if at_the_top and is_rows(value):
        rows = tomlkit.aot()
        for row in value:
            rows.append(_table(row))
        table.append(key, rows)
    elif at_the_top and isinstance(value, Mapping) and value:
        table.append(key, _table(value))
    else:
        table[key] = _inline(value)


def _merge_rows(rows: Any, before: Sequence[Mapping[str, Any]], after: Sequence[Mapping[str, Any]]) -> None:
    """Change a list of tables: rows known again are changed in place, others taken out, new ones put at the end."""
    left = list(range(len(before)))
    known: list[int | None] = []
    for place, row in enumerate(after):
        found = next((n for n in left if alike(before[n], row)), None)
        if found is None:
            found = next((n for n in left if _same_name(before[n], row)), None)
        if found is None and len(before) == len(after) and place in left:
            found = place
        known.append(found)
        if found is not None:
            left.remove(found)
    for row, old in zip(after, known, strict=True):
        if old is not None:
            _merge(rows[old], before[old], row)
    for gone in sorted(left, reverse=True):
        del rows[gone]
    for row, old in zip(after, known, strict=True):
        if old is None:
            rows.append(_table(row))


def _same_name(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    return any(one.get(key) == other.get(key) is not None for key in NAMES)


def _table(values: Mapping[str, Any]) -> Any:
    import tomlkit

    made = tomlkit.table()
    for key, value in values.items():
        made.append(key, _inline(value))
    made.add(tomlkit.nl())
    return made


def _inline(value: Any) -> Any:
    import tomlkit

    return tomlkit.parse(f"x = {_value(value)}\n")["x"]
