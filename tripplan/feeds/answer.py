"""What every answer is put through before a value of it counts: its place, its times, its units, its numbers.

Nothing is guessed. A value that is missing, is no number or cannot be is None; a unit that is not known drops the
quantity; an answer for another place or in another time is refused. Each of these is told in a dated note.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any, Protocol

from tripplan.environment.conditions import QUANTITIES, Note, Origin, Series
from tripplan.environment.position import Position, distance_km
from tripplan.errors import TripplanError
from tripplan.feeds.session import Answer, FeedSession, NoAnswer, Params, Unusable, plain
from tripplan.units import METRES_PER_FOOT, METRES_PER_SECOND_PER_KNOT

HOUR = timedelta(hours=1)
MOST_TIMES = 2000  # a fortnight of hours is some 400; more is not what was asked
EARLIEST_YEAR, LATEST_YEAR = 1950, 2150  # outside, a time is a slip
Value = float | None

_METRES = {"m": 1.0, "ft": METRES_PER_FOOT, "foot": METRES_PER_FOOT, "feet": METRES_PER_FOOT, "km": 1000.0, "cm": 0.01}
_SPEEDS = {
    "m/s": 1.0, "ms": 1.0, "m_s-1": 1.0, "m s-1": 1.0,
    "km/h": 1 / 3.6, "kmh": 1 / 3.6, "km_h-1": 1 / 3.6,
    "kn": METRES_PER_SECOND_PER_KNOT, "kt": METRES_PER_SECOND_PER_KNOT,
    "mph": 0.44704, "mp/h": 0.44704,  # exact: 1609.344 m in 3600 s
}  # fmt: skip
_FACTORS: Mapping[str, Mapping[str, float]] = {  # unit here -> unit of a service -> by what its numbers are multiplied
    "m/s": _SPEEDS,
    "m": _METRES,
    "mm": {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4, "in": 25.4, "kg m-2": 1.0},
    "s": {"s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0},
    "deg": {"°": 1.0, "deg": 1.0, "degree": 1.0, "degrees": 1.0, "degree_(angle)": 1.0},
}
_TEMPERATURES: Mapping[str, Callable[[float], float]] = {
    "°C": lambda given: given, "celsius": lambda given: given, "degC": lambda given: given, "C": lambda given: given,
    "°F": lambda given: (given - 32) / 1.8, "fahrenheit": lambda given: (given - 32) / 1.8,
    "degF": lambda given: (given - 32) / 1.8, "K": lambda given: given - 273.15, "kelvin": lambda given: given - 273.15,
}  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """One question to a service: for where and when it was asked."""

    latitude_deg: float
    longitude_deg: float
    now: datetime  # UTC


@dataclass(frozen=True)
class Part:
    """What one source gave: series, notes on what it could not give, and the members of an ensemble."""

    series: tuple[Series, ...] = ()
    notes: tuple[Note, ...] = ()
    members: tuple[tuple[Series, ...], ...] = ()


Reader = Callable[[Answer, Asked], Part]  # raises Unusable for an answer that must not be used nor kept


class Source(Protocol):
    """One question that can be put to one service."""

    @property
    def words(self) -> str:
        """Whose answer it is, as notes and sheets say it."""

    def fetch(self, session: FeedSession, asked: Asked, deadline: float | None) -> Part:
        """Return what the source gives by a deadline of the monotonic clock; None: only from the kept copies."""


def note_of(source: str, what: str, asked: Asked) -> Note:
    """Return a dated note of one sentence."""
    return Note(source, f"{source}: {what} (asked {stamp(asked.now)}).", asked.now)


def read_or_note(words: str, read: Reader, answer: Answer, asked: Asked) -> Part:
    """Return what an answer holds; for one that cannot be used, a note that says why."""
    try:
        return read(answer, asked)
    except Unusable as error:
        return Part(notes=(note_of(words, f"{error}; the answer is not used", asked),))


def fetch_part(
    session: FeedSession,
    asked: Asked,
    deadline: float | None,
    words: str,
    address: str,
    params: Params,
    read: Reader,
    *,
    by_headers: bool = False,
) -> Part:
    """Ask one question and read its answer; whatever goes wrong becomes a note.

    deadline -- of the monotonic clock; None: nobody is asked, only a kept copy is read
    """
    try:
        if deadline is None:
            answer = session.kept(address, params, by_headers=by_headers)
        else:
            answer = session.ask(
                address,
                params,
                deadline=deadline,
                usable=lambda body: _judge(read, Answer(body, asked.now), asked),
                by_headers=by_headers,
            )
    except NoAnswer as error:
        return Part(notes=(note_of(words, str(error), asked),))
    part = read_or_note(words, read, answer, asked)
    if not answer.stale:
        return part
    why = answer.stale
    if part.series:
        age_h = (asked.now - answer.fetched).total_seconds() / 3600
        age = f"{age_h:.0f} h" if age_h >= 1 else f"{max(age_h * 60, 0):.0f} min"
        why = f"{why}; its answer of {stamp(answer.fetched)}, {age} old, is used instead"
    return replace(part, notes=(note_of(words, why, asked), *part.notes))


def _judge(read: Reader, answer: Answer, asked: Asked) -> None:
    read(answer, asked)


@dataclass(frozen=True)
class Lack(Note):
    """A note that a source tells nothing of a quantity; it falls away where another source tells it."""

    quantity: str = ""


def stamp(moment: datetime) -> str:
    """Return a moment as notes say it: 25 November 08:10 UTC."""
    return f"{moment.astimezone(UTC):%d %B %H:%M} UTC".lstrip("0")


def converter(quantity: str, unit: object) -> Callable[[float], float] | None:
    """Return what turns numbers in a service's unit into those of a quantity; None for a unit that is not known.

    >>> converter("wind_m_s", "km/h")(36.0)
    10.0
    """
    if not isinstance(unit, str):
        return None
    name = unit.strip().removeprefix("wmoUnit:").removeprefix("nwsUnit:").removeprefix("unit:")
    wanted = QUANTITIES[quantity].unit
    if wanted == "C":
        return _TEMPERATURES.get(name)
    factor = _FACTORS.get(wanted, {}).get(name)
    if factor is None:
        return None
    return lambda given: given * factor


def moment_of(text: object) -> datetime:
    """Read a time; without an offset it is UTC, as was asked.  Raises Unusable where it is no time."""
    try:
        moment = datetime.fromisoformat(text) if isinstance(text, str) else None
        if moment is not None and EARLIEST_YEAR <= moment.year <= LATEST_YEAR:
            return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    except (ValueError, OverflowError):
        pass
    raise Unusable(f'the answer holds "{plain(text, 40)}" where a time belongs')


def optional_moment(text: object) -> datetime | None:
    """Read a time that may be missing."""
    try:
        return moment_of(text)
    except Unusable:
        return None


def in_order(moments: Sequence[datetime]) -> tuple[datetime, ...]:
    """Return times that rise.  Raises Unusable where there is none, or they do not."""
    if not moments:
        raise Unusable("the answer is empty")
    if len(moments) > MOST_TIMES:
        raise Unusable(f"the answer holds {len(moments)} times, far more than were asked")
    for one, two in pairwise(moments):
        if two <= one:
            raise Unusable(f"the times of the answer are doubled or out of order at {stamp(two)}")
    return tuple(moments)


def table(value: object) -> Mapping[str, Any]:
    """Return a part of an answer that should be an object; an empty one where it is not."""
    return value if isinstance(value, dict) else {}


def rows(value: object) -> Sequence[Any]:
    """Return a part of an answer that should be a list; an empty one where it is not."""
    return value if isinstance(value, list) else ()


def number(value: object) -> Value:
    """Return a finite number, or None for anything else (true, text, a number beyond all bounds)."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        found = float(value)
    except OverflowError:
        return None
    return found if math.isfinite(found) else None


def place_of(latitude: object, longitude: object, asked: Asked, farthest_km: float) -> Position:
    """Return the point that an answer is for.  Raises Unusable where it does not say, or is too far from the asked."""
    latitude_deg, longitude_deg = number(latitude), number(longitude)
    try:
        if latitude_deg is None or longitude_deg is None:
            raise Unusable("the answer does not say for which place it is")
        found = Position(latitude_deg, longitude_deg)
        away_km = distance_km(found, Position(asked.latitude_deg, asked.longitude_deg))
    except (TripplanError, ValueError):
        raise Unusable("the answer is for a place that does not exist") from None
    if away_km > farthest_km:
        raise Unusable(
            f"the answer is for a place {away_km:.0f} km away ({latitude_deg:.2f}, {longitude_deg:.2f}); "
            f"up to {farthest_km:g} km is accepted"
        )
    return found


class Gathering:
    """Series and notes of one answer while it is read."""

    def __init__(self, source: str, answer: Answer, asked: Asked, attribution: str) -> None:
        self.source = source
        self.answer = answer
        self.asked = asked
        self.attribution = attribution
        self.series: list[Series] = []
        self.notes: list[Note] = []
        self._origin: Origin | None = None

    def came_for(self, place: Position, issued: datetime | None) -> None:
        """Say for which point and when the answer was made."""
        if issued is not None and issued > self.answer.fetched + HOUR:
            issued = None  # from the future: its clock or ours is wrong, so its age is not known
        self._origin = Origin(
            source=self.source,
            fetched=self.answer.fetched,
            issued=issued,
            attribution=self.attribution,
            latitude_deg=place.latitude_deg,
            longitude_deg=place.longitude_deg,
            stale=bool(self.answer.stale),
        )

    @property
    def part(self) -> Part:
        """What was gathered."""
        return Part(tuple(self.series), tuple(self.notes))

    @property
    def origin(self) -> Origin:
        """Where the values come from."""
        if self._origin is None:
            raise Unusable("the answer does not say for which place it is")
        return self._origin

    def say(self, what: str) -> None:
        """Note something, with the source before it and the time of asking behind."""
        self.notes.append(note_of(self.source, what, self.asked))

    def lacks(self, quantity: str) -> None:
        """Note that nothing is told of a quantity."""
        note = note_of(self.source, f"tells nothing of {QUANTITIES[quantity].words}", self.asked)
        self.notes.append(Lack(note.source, note.sentence, note.asked, quantity))

    def take(
        self,
        quantity: str,
        starts: Sequence[datetime],
        ends: Sequence[datetime],
        given: Sequence[object],
        unit: object,
    ) -> None:
        """Take one quantity in a service's unit; what cannot be used becomes None and a note."""
        words = QUANTITIES[quantity].words
        if all(value is None for value in given):
            self.lacks(quantity)
            return
        convert = converter(quantity, unit)
        if convert is None:
            named = f'in "{plain(unit, 30)}", a unit that is not known here' if unit else "without saying its unit"
            self.say(f"gives {words} {named}; it is not used")
            return
        self.take_known(quantity, starts, ends, self._possible(quantity, given, convert))

    def _possible(self, quantity: str, given: Sequence[object], convert: Callable[[float], float]) -> tuple[Value, ...]:
        known = QUANTITIES[quantity]
        values: list[Value] = []
        dropped = 0
        for raw in given:
            found = number(raw)
            value = None if found is None else convert(found)
            if value is not None and not known.lowest <= value <= known.highest:
                value = None
            dropped += value is None and raw is not None
            values.append(value)
        if dropped:
            count = "a value" if dropped == 1 else f"{dropped} values"
            self.say(f"gives {count} of {known.words} that cannot be; left out")
        return tuple(values)

    def take_known(
        self, quantity: str, starts: Sequence[datetime], ends: Sequence[datetime], values: Sequence[Value]
    ) -> None:
        """Take one quantity in its own unit; notes it where it is not known, or where hours within are missing."""
        if all(value is None for value in values):
            self.lacks(quantity)
            return
        self._tell_holes(quantity, starts, values)
        self.series.append(Series(quantity, tuple(starts), tuple(ends), tuple(values), self.origin))

    def _tell_holes(self, quantity: str, starts: Sequence[datetime], values: Sequence[Value]) -> None:
        """Note hours without a value before the last one that has one; a forecast may end, but not have holes."""
        words = QUANTITIES[quantity].words
        last = max(number for number, value in enumerate(values) if value is not None)
        holes = sum(value is None for value in values[:last])
        if holes:
            self.say(f"leaves out {holes} of {last + 1} values of {words} before {stamp(starts[last])}")
        elif last < len(values) - 1 and starts[last] < self.asked.now + timedelta(hours=24):
            self.say(f"knows {words} only until {stamp(starts[last])}")
