"""Whether the clock of this computer runs as time does: no overdue clock starts late because somebody set it back.

The clock is compared with the time that has passed since the program began, which nobody can set.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

JUMP: Final = timedelta(seconds=90)  # less is how a clock is set right day by day
BELIEVED_AFTER: Final = timedelta(hours=1)  # a clock that went ahead: perhaps the computer slept


def passed_s() -> float:
    """Return seconds that only ever grow, also while the computer sleeps where it can tell."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


@dataclass(frozen=True)
class Look:
    """What somebody saw who looked at the clock."""

    clock: datetime  # what it says
    expected: datetime  # what it should say, by the time that has passed
    trusted: bool = True

    @property
    def moment(self) -> datetime:
        """The moment by which overdue clocks go: the later where two are possible."""
        return self.clock if self.trusted else max(self.clock, self.expected)

    def words(self, clock: str, expected: str) -> str:
        """Return what is wrong with the clock; the two times are given as they are shown."""
        went = "WAS SET BACK" if self.clock < self.expected else "WENT AHEAD"
        perhaps = "" if self.clock < self.expected else ", unless the computer slept"
        return (
            f"THE CLOCK OF THIS COMPUTER {went} by {_length(abs(self.clock - self.expected))}: it says {clock}, and by "
            f"the time that has passed it is {expected}{perhaps}. Overdue clocks here go by the later of the two. Go "
            "by your own watch, and have the clock looked at; if it is right now, start the program again."
        )


class Steady:
    """The clock of this computer with somebody who looks at it."""

    def __init__(self, clock: Callable[[], datetime], passed: Callable[[], float] = passed_s) -> None:
        """Begin with the clock as it is.

        clock -- gives the time, aware;  passed -- gives seconds that only ever grow
        """
        self._clock = clock
        self._passed = passed
        self._lock = threading.Lock()
        self._begun, self._first = clock(), passed()
        self._offs = [timedelta(0)]  # of the clock against the time that passed, as believed; the last holds
        self._ahead_since_s: float | None = None

    def look(self) -> Look:
        """Look at the clock."""
        with self._lock:
            clock, passed = self._clock(), self._passed() - self._first
            steady = self._begun + timedelta(seconds=passed)
            off = clock - steady
            for believed in reversed(self._offs):
                if abs(off - believed) <= JUMP:
                    self._offs.remove(believed)
                    self._offs.append(off)
                    self._ahead_since_s = None
                    return Look(clock, clock)
            expected = steady + self._offs[-1]
            if clock < expected:
                self._ahead_since_s = None
            elif self._ahead_since_s is None:
                self._ahead_since_s = passed
            elif timedelta(seconds=passed - self._ahead_since_s) >= BELIEVED_AFTER:
                self._offs.append(off)
                return Look(clock, clock)
            return Look(clock, expected, trusted=False)


def _length(span: timedelta) -> str:
    hours, minutes = divmod(max(1, round(span.total_seconds() / 60)), 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min"
