"""The printed tables, as CSV files that start with their source, and the one function that reads them."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType

Row = Mapping[str, str]  # one line of a table: text by column name, empty where the printed cell is empty


@cache
def read_table(name: str) -> tuple[Row, ...]:
    """Return the rows of a packaged table, without its source lines.

    name -- the file name without its ending: "navy_rev7_no_stop_limits"

    Raises KeyError for a table that is not packaged (a fault of the program).
    """
    lines = [line for line in _text(name).splitlines() if not line.startswith("#")]
    return tuple(MappingProxyType(row) for row in csv.DictReader(lines))


@cache
def table_source(name: str) -> tuple[str, ...]:
    """Return the lines that say where a packaged table comes from, how sure it is, and its units.

    >>> table_source("navy_rev7_altitude_arrival_groups")[2]
    'units: feet'
    """
    return tuple(line.removeprefix("#").strip() for line in _text(name).splitlines() if line.startswith("#"))


def table_names() -> tuple[str, ...]:
    """Return the names of all packaged tables, sorted."""
    return tuple(sorted(entry.name[:-4] for entry in files(__name__).iterdir() if entry.name.endswith(".csv")))


def _text(name: str) -> str:
    path = files(__name__).joinpath(f"{name}.csv")
    if not path.is_file():
        raise KeyError(f"there is no table {name}; the tables are {', '.join(table_names())}")
    return path.read_text(encoding="utf-8")
