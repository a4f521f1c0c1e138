"""Every way of saying "this cannot be used": what was given, what is accepted, where it stands."""

from __future__ import annotations

from dataclasses import dataclass

LONGEST_FAULT = 1_000  # letters: a line that quotes a file without end is cut in its middle


class TripplanError(Exception):
    """Base of the errors a person can mend; the command line answers them with exit code 2."""


class OutOfRange(TripplanError, ValueError):
    """A value lies outside the interval in which the method holds."""


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong with a file: where, and a sentence saying what is wrong and what is accepted."""

    file: str
    line: int
    message: str

    def __post_init__(self) -> None:
        """Keep the sentence one line of a length that a person reads, whatever it quotes."""
        message = self.message
        if not message.isprintable():
            message = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in message)
        if len(message) > LONGEST_FAULT:
            half = LONGEST_FAULT // 2 - 3
            message = f"{message[:half]} ... {message[-half:]}"
        object.__setattr__(self, "message", message)

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.message}"


class BadRecord(TripplanError, ValueError):
    """A file was refused; ``faults`` holds every reason, in file order."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        if not faults:
            raise ValueError("BadRecord needs at least one fault")
        self.faults = tuple(sorted(faults))
        super().__init__("\n".join(str(fault) for fault in self.faults))


def require(name: str, value: float, low: float, high: float, unit: str, why: str = "") -> None:
    """Refuse a value that is not a finite number from low to high.

    name, unit -- how the reader knows the value;  why -- what sets the interval

    Raises OutOfRange, saying what was given and what is accepted.
    """
    if not low <= value <= high:  # also refuses NaN
        reason = f" ({why})" if why else ""
        unit_text = f" {unit}" if unit else ""
        raise OutOfRange(f"{name} is {value:g}{unit_text}; it must be from {low:g} to {high:g}{unit_text}{reason}")
