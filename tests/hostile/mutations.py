"""What somebody clumsy or hostile may write: values that no schema expects, and files that are no files.

Everything begins with a valid file of the demonstration and is changed in a few places, so that a reader gets far
enough to trip. ``TRIPPLAN_FUZZ`` multiplies how many examples every test tries.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import date, datetime, time, timedelta, timezone
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

TIMES_MORE = max(1, int(os.environ.get("TRIPPLAN_FUZZ", "1")))
MARKUP = "<img src=x onerror=alert(1)>"
Place = tuple[str | int, ...]

# Each stands for a way in which a program can be fooled; the words say which where it is not plain.
TEXTS = (
    "",
    " ",
    "x" * 100_000,
    "\u00e9" * 5_000,
    MARKUP,
    "</textarea></title><script>alert(1)</script>",
    '" onfocus=alert(1) autofocus x="',
    "javascript:alert(1)",
    "{{ 7 * 7 }}{% raw %}",
    '#set page(width: 1pt)\n#read("/etc/passwd")$x$',
    "=1+1",
    "@SUM(A1)",
    "-2+3|' /C calc'!A0",
    "BEGIN:VEVENT\r\nSUMMARY:x\r\nEND:VEVENT",
    "a\r\nSet-Cookie: x=1",
    "../../../../etc/passwd",
    "..\\..\\windows",
    "/etc/passwd",
    "a\x00b",
    "\x1b[31mred\x07",
    "\u202egnp.exe",  # shown from right to left
    "\u2066\u2069\u200b\u200d",
    "\u2028\u2029\x85",  # ends of lines to some readers and not to others
    "\ufeff",
    "\ufffe\uffff",
    "Z\u0351\u0310\u0351" * 300,
    "\U0001f3f4\U000e0067\U000e007f",
    "NaN",
    "1e999",
    "0x10",
    "1_000",
    "\u0661\u0662",  # figures, but not those of the alphabet
    "%s%n%(x)s",
    "'; DROP TABLE events; --",
    "con",
    "null",
    "2026-02-30",
    "99:99",
    "2026-12-12T24:00",
)
NUMBERS = (
    0,
    -1,
    1,
    10**6,
    2**31,
    2**63,
    -(2**64),
    10**400,
    0.0,
    -0.0,
    5e-324,
    1e-9,
    1e308,
    -1e308,
    float("nan"),
    float("inf"),
    float("-inf"),
    0.1 + 0.2,
)
MOMENTS = (
    date.min,
    date.max,
    date(1900, 2, 28),
    date(2100, 1, 1),
    datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=14))),
    datetime(9999, 12, 31, 23, 59, 59, tzinfo=timezone(timedelta(hours=-12))),
    datetime(2026, 10, 25, 1, 30),  # noqa: DTZ001 -- without an offset, and twice on that day
    time(0),
    time(23, 59, 59, 999999),
)
BITS = (
    b"\x00",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\xed\xa0\x80",  # half of a pair, which UTF-8 does not know
    b"\x80",
    b"\r",
    b"\r\n",
    b"\x0c\x1b",
    "\u2028".encode(),
    "\u202e".encode(),
    b'"',
    b'"""',
    b"'''",
    b"[",
    b"]",
    b"{",
    b",",
    b";",
    b"\t",
    b"#",
    b"=",
    b"\\",
    b"\\ud800",
    b"0" * 10_000,
    b"9" * 5_000,
    b"[" * 5_000,
    b"{a=" * 3_000,
    b"a." * 50,
    b"x" * 200_000,
    b"PK\x03\x04",
    b"\x89PNG\r\n\x1a\n",
)


def tried(examples: int) -> settings:
    """Return how often a property is tried: some times in a usual run, many times where somebody asks for it."""
    return settings(
        max_examples=examples * TIMES_MORE,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )


class Made:
    """Something made, shown in a few lines: hypothesis shows all that failed, and some of it is long."""

    def __init__(self, value: Any) -> None:
        self.value = value

    def __repr__(self) -> str:
        text = repr(self.value)
        return text if len(text) <= 3_000 else f"{text[:1_500]} ... {text[-1_500:]}"


@st.composite
def made_of(draw: st.DrawFn, strategy: st.SearchStrategy[Any]) -> Made:
    """Give what a strategy gives, shown in a few lines: what is mapped would be shown whole."""
    return Made(draw(strategy))


# ---- values ----


def hostile_values() -> st.SearchStrategy[Any]:
    """Give values that fit nowhere, or only nearly."""
    plain = st.one_of(
        st.sampled_from(TEXTS),
        st.sampled_from(NUMBERS),
        st.sampled_from(MOMENTS),
        st.booleans(),
        st.text(max_size=20).filter(lambda text: not re.search("[\ud800-\udfff]", text)),
        st.integers(-(10**6), 10**6),
        st.floats(-1e6, 1e6),
    )
    return st.one_of(
        plain,
        st.lists(plain, max_size=3),
        st.dictionaries(st.sampled_from(("a", "name", "x y", "")), plain, max_size=2),
        st.sampled_from((2, 30, 400)).map(_nested),
        plain.map(lambda value: [value] * 300),
    )


def _nested(depth: int) -> Any:
    value: Any = 1
    for _ in range(depth):
        value = [value]
    return value


def places(value: Any, at: Place = ()) -> Iterator[Place]:
    """Yield where every value within a value stands."""
    if at:
        yield at
    inner: Any = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, each in inner:
        yield from places(each, (*at, key))


def held(value: Any, at: Place) -> Any:
    """Return what stands at a place."""
    for key in at:
        value = value[key]
    return value


def changed(value: Any, at: Place, change: Callable[[Any, Any], None]) -> None:
    """Let ``change`` have what holds a place, and its key there."""
    change(held(value, at[:-1]), at[-1])


ROUGH = ("put", "put", "put", "drop", "add", "twice", "other", "factor", "moved")
GENTLE = ("drop", "drop", "twice", "other", "factor", "factor", "factor", "moved")


@st.composite
def mutated(draw: st.DrawFn, data: dict[str, Any], *, gently: bool = False) -> Made:
    """Give a copy of the values of a file, changed in one to three places.

    gently -- only so that many a reader takes it: numbers grow, parts go, and stand twice or in another's place
    """
    made: dict[str, Any] = copied(data)
    for _ in range(draw(st.sampled_from((1, 1, 1, 2, 3)))):
        found = list(places(made))
        if not found:
            break
        depth = draw(st.sampled_from(sorted({len(at) for at in found})))
        at = draw(st.sampled_from([each for each in found if len(each) == depth]))
        here = held(made, at)
        holder = held(made, at[:-1])
        how = draw(st.sampled_from(GENTLE if gently else ROUGH))
        if how == "put":
            holder[at[-1]] = draw(hostile_values())
        elif how == "drop":
            del holder[at[-1]]
        elif how == "add" and isinstance(holder, dict):
            holder[draw(st.sampled_from(("unknown", "x.y", "", "name", "depth_ft")))] = draw(hostile_values())
        elif how == "twice" and isinstance(here, list):
            here.extend(copied(here))
        elif how == "other":
            holder[at[-1]] = copied(held(made, draw(st.sampled_from(found))))
        elif how == "factor" and isinstance(here, int | float) and not isinstance(here, bool):
            factor = draw(
                st.sampled_from((-1, 0, 2, 10, 100) if isinstance(here, int) else (-1, 0.0, 0.1, 10.0, 1 / 3))
            )
            holder[at[-1]] = here * factor
        elif how == "moved" and isinstance(here, date):
            days = timedelta(days=draw(st.sampled_from((-40_000, -400, -7, -1, 1, 7, 90, 400, 25_000))))
            with suppress(OverflowError):  # before the first day of all, or after the last
                holder[at[-1]] = here + days
    return Made(made)


def copied(value: Any) -> Any:
    """Return a copy with lists and tables of its own."""
    if isinstance(value, dict):
        return {key: copied(each) for key, each in value.items()}
    return [copied(each) for each in value] if isinstance(value, list) else value


def toml(data: dict[str, Any]) -> bytes:
    """Write values as TOML, each top key on a line of its own.

    It shares no code with the program, which writes files too.
    """
    return ("\n".join(f"{_toml_text(key)} = {_toml(value)}" for key, value in data.items()) + "\n").encode()


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_toml_text(key)} = {_toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(each) for each in value) + "]"
    if isinstance(value, str):
        return _toml_text(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, int) and abs(value) > 10**300:
        return f"1{'0' * 400}"
    return repr(value)


def _toml_text(text: str) -> str:
    return '"' + "".join(c if c.isalnum() and c.isascii() else f"\\U{ord(c):08x}" for c in text) + '"'


# ---- bytes ----


@st.composite
def broken(draw: st.DrawFn, content: bytes) -> Made:
    """Give the bytes of a file with something cut out, put in, doubled or laid over; or something else altogether."""
    return Made(_broken(draw, content))


def _broken(draw: st.DrawFn, content: bytes) -> bytes:
    how = draw(st.sampled_from(("in", "in", "in", "cut", "line twice", "ends", "start", "end", "else", "mark")))
    begin = draw(st.integers(0, len(content)))
    bit = draw(st.sampled_from(BITS))
    if how == "in":
        return content[:begin] + bit + content[begin:]
    if how == "cut":
        return content[:begin] + content[begin + draw(st.sampled_from((1, 5, 50, 10**6))) :]
    if how == "line twice":
        lines = content.split(b"\n")
        at = draw(st.integers(0, len(lines) - 1))
        return b"\n".join([*lines[: at + 1], *lines[at:]])
    if how == "ends":
        return content.replace(b"\n", draw(st.sampled_from((b"\r\n", b"\r", b"\n\r", b"\n\n"))))
    if how == "start":
        return bit + content
    if how == "end":
        return content + bit
    if how == "mark":
        return content.decode().encode(draw(st.sampled_from(("utf-8-sig", "utf-16", "utf-32", "latin-1"))), "replace")
    return draw(st.one_of(st.sampled_from((b"", b" ", b"\n" * 1000, bytes(range(256)) * 40)), st.binary(max_size=60)))
