"""What every command shares: exit codes, the parser, how words are read and answers printed."""

from __future__ import annotations

import argparse
import errno
import json
import math
import os
import re
import sys
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any, NoReturn

from tripplan.errors import TripplanError

FINE, STOPPED, REFUSED = 0, 1, 2


class Refused(TripplanError):
    """The words on the command line cannot be used."""


class Parser(argparse.ArgumentParser):
    """A parser whose error is one line."""

    def error(self, message: str) -> NoReturn:
        """Raise instead of printing the usage, so that every fault is one line."""
        raise Refused(f"{self.prog}: {message}; `{self.prog} --help` explains")


def add_json(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--json", action="store_true", help="print one JSON object")


def number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is not a number') from None
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f'"{text}" is not a finite number')
    return value


def whole(text: str) -> int:
    if not re.fullmatch(r"\d{1,6}", text):
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number of minutes')
    return int(text)


def whole_days(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", text):
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number of days')
    return int(text)


def read_day(text: str, what: str) -> date:
    from tripplan.planning.request import FIRST_DAY, LAST_DAY

    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise Refused(f'{what} is "{text}"; give a date like 2027-06-12') from None
    if not FIRST_DAY <= day <= LAST_DAY:
        raise Refused(f"{what} is {day}; it must be from {FIRST_DAY} to {LAST_DAY}")
    return day


def up(value: float, digits: int) -> float:
    """Round up: an equivalent depth is never shown shallower than it is."""
    scale = 10**digits
    return float(math.ceil(round(value * scale, 6)) / scale)


def counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def show(values: dict[str, Any]) -> None:
    """Print one JSON object; not-a-number never leaves the program."""
    json.dump(values, sys.stdout, ensure_ascii=False, indent=2, allow_nan=False)
    print()


def complain(line: str) -> None:
    """Print one fault as one line, whatever characters the words that it quotes hold."""
    print("".join(c if c.isprintable() else " " for c in line), file=sys.stderr)


def write_whole(path: Path, content: bytes) -> None:
    """Write a file such that nobody ever finds half of it, nor loses the one before to a fault.

    Raises OSError, with the name of the file.
    """
    if not path.name:  # with_name would stumble over it
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        if path.exists() and not path.is_file():  # a terminal, a pipe
            path.write_bytes(content)
            return
        part.write_bytes(content)
        part.replace(path)
    except OSError as error:
        raise OSError(error.errno, error.strerror or str(error), str(path)) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
