"""Measure the main jobs, each beside a yardstick of the same run: ``python -m tests.bench [PART ...]``.

The table comes at the end. Exit code 1: something that was promised is not kept.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable

from tests.bench.diving import roster_rows
from tests.bench.pages import page_rows, start_rows
from tests.bench.papers import plan_rows, sheet_rows
from tests.bench.schedule import schedule_rows
from tests.bench.table import Row, print_table
from tests.bench.tides import tide_rows, window_rows
from tripplan.data_files import data_dir
from tripplan.store.folder import Folder, load_folder

PARTS: dict[str, Callable[[Folder], Iterable[Row]]] = {
    "tide": tide_rows,
    "windows": window_rows,
    "limits": lambda _: roster_rows(),
    "plan": plan_rows,
    "sheets": lambda _: sheet_rows(),
    "schedule": lambda _: schedule_rows(),
    "pages": lambda _: page_rows(),
    "start": lambda _: start_rows(),
}


def main() -> int:
    """Measure and print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"only some of: {', '.join(PARTS)}")
    chosen = parser.parse_args().parts or list(PARTS)
    if unknown := [part for part in chosen if part not in PARTS]:
        parser.error(f'"{unknown[0]}" is no part; known: {", ".join(PARTS)}')
    folder = load_folder(data_dir("sites"))
    rows: list[Row] = []
    try:
        for part in chosen:
            print(f"{part} ...", flush=True)
            rows.extend(PARTS[part](folder))
    finally:  # what was measured before a part failed is shown all the same
        kept = print_table(rows)
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())
