"""Rows of the table at the end of a benchmark: each figure stands beside a yardstick measured in the same run."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

ROUNDS = 5


@dataclass(frozen=True)
class Row:
    """One figure and what it is compared with, both in the same unit."""

    part: str
    what: str
    found: float
    unit: str
    yardstick: float
    against: str
    at_most: float | None = None  # of the ratio; None: nothing was promised

    @property
    def ratio(self) -> float:
        """How many times the yardstick."""
        return self.found / self.yardstick

    @property
    def kept(self) -> bool:
        """Whether what was promised is kept."""
        return self.at_most is None or self.ratio <= self.at_most


def seconds(job: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Return the median of some rounds after one that warms up, seconds."""
    job()
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def print_table(rows: Iterable[Row]) -> bool:
    """Print all rows; returns whether all that was promised is kept."""
    rows = list(rows)
    wide = max((len(row.what) for row in rows), default=0)
    print("\nmedians of one run on one machine; the ratio is the figure, seconds and bytes are not")
    part = ""
    for row in rows:
        if row.part != part:
            part = row.part
            print(f"\n{part}")
        promised = "" if row.at_most is None else f"   at most {row.at_most:g}: {'kept' if row.kept else 'NOT KEPT'}"
        figure = f"{row.found:12,.2f} {row.unit:6}"
        print(f"  {row.what:{wide}} {figure} {row.ratio:12,.3g} x {row.against}{promised}")
    return all(row.kept for row in rows)
