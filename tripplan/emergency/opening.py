"""Opening hours: whether somebody takes casualties, or answers a number, over a span of time.

Hours are what the clock on the wall shows.  The day of a row is the day on which it opens; a row that closes at or
before its opening runs past midnight, and "00:00" as closing is the midnight that ends the day.  A day in ``closed_on``
is closed from midnight to midnight: hours that began the evening before end as it begins, and hours that would begin on
it do not.  Where the clock is put back, a time that comes twice opens the second time and closes the first; where it is
put forward, a time that does not come is the moment of the change.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from tripplan.catalogue.site import Opening

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_DAY = timedelta(days=1)
_SECOND = timedelta(seconds=1)

Span = tuple[datetime, datetime]  # from the first moment to before the second


class Opened(StrEnum):
    """Whether somebody takes casualties, or answers, over a span of time."""

    OPEN = "open"
    CLOSED = "closed"  # at some minute of it
    UNKNOWN = "unknown"  # the site file has words only


def open_at(opening: Opening | None, closed_on: Iterable[date], moment: datetime, timezone: str) -> bool | None:
    """Return whether it is open at a moment; None where the hours are not known and the day is no closed one.

    opening -- "always", rows of hours, or None: words only;  moment -- aware;  timezone -- IANA name of the place

    Raises ValueError for a moment without a time zone.
    """
    zone, moment = ZoneInfo(timezone), _in_utc(moment)
    day = moment.astimezone(zone).date()
    spans = _spans(opening or "always", closed_on, day, day, zone)
    inside = any(start <= moment < end for start, end in spans)
    return None if opening is None and inside else inside


def open_throughout(
    opening: Opening | None, closed_on: Iterable[date], start: datetime, end: datetime, timezone: str
) -> Opened:
    """Return OPEN where it is open at every moment from start to before end, CLOSED where it is not at some.

    Where the hours are not known it is CLOSED on a closed day and UNKNOWN otherwise; never OPEN.

    Raises ValueError for a moment without a time zone, and for an end before the start.
    """
    zone, start, end = ZoneInfo(timezone), _in_utc(start), _in_utc(end)
    if end < start:
        raise ValueError(f"a span ends at {end}, before it starts at {start}")
    spans = _spans(opening or "always", closed_on, *_days_of(start, end, zone), zone)
    if not any(opens <= start < closes and end <= closes for opens, closes in spans):
        return Opened.CLOSED
    return Opened.UNKNOWN if opening is None else Opened.OPEN


def open_on(opening: Opening | None, closed_on: Iterable[date], day: date, timezone: str) -> Opened:
    """Return what is known for a day of which no hours are known: CLOSED where it does not open on it at all.

    OPEN only where it never closes; the day after counts too, since what is done on a day may end after midnight.
    """
    closed = frozenset(closed_on)
    if not _spans_of_day(opening or "always", closed, day, ZoneInfo(timezone)):
        return Opened.CLOSED
    return Opened.OPEN if opening == "always" and day + _DAY not in closed else Opened.UNKNOWN


def opening_words(
    opening: Opening | None,
    closed_on: Iterable[date],
    start: datetime | None,
    end: datetime | None,
    timezone: str,
    hours_words: str,
    on: date | None = None,
) -> str:
    """Return in a few words how it is open from start to end, in local time.

    start, end -- None: no time is known, and the words are about the day ``on``
    hours_words -- the hours as the site file words them; they are shown where there is nothing else

    Raises ValueError as open_throughout does.
    """
    closed, zone = frozenset(closed_on), ZoneInfo(timezone)
    if start is not None and end is not None:
        if open_throughout(opening, closed, start, end, timezone) is Opened.CLOSED:
            return _closed_words(opening or "always", closed, _in_utc(start), _in_utc(end), zone)
    elif on is not None and open_on(opening, closed, on, timezone) is Opened.CLOSED:
        return "closed this day"
    if opening is None:
        return f'hours only in words: "{hours_words}"' if hours_words else "hours not known"
    if opening == "always":
        if start is None and on is None and closed:
            return "open day and night, but closed on some days"
        if start is None and on is not None and on + _DAY in closed:
            return f"open day and night, but closed on {date_words(on + _DAY)}"
        return "open day and night"
    if start is not None and end is not None:
        return _open_words(opening, closed, _in_utc(start), _in_utc(end), zone)
    if on is not None:
        return _day_words(opening, closed, on, zone)
    return "open at set hours"


def clock_words(moment: datetime, zone: ZoneInfo, day: date | None = None) -> str:
    """Return the local time as "22:00", with the date where it is not on the day that is given."""
    local = moment.astimezone(zone)
    return f"{local:%H:%M}" if day in (None, local.date()) else f"{local:%H:%M} on {date_words(local.date())}"


def date_words(day: date) -> str:
    """Return a date without its year, as "25 December"."""
    return f"{day.day} {day:%B}"


def _in_utc(moment: datetime) -> datetime:
    if moment.utcoffset() is None:
        raise ValueError(f"{moment} has no time zone")
    return moment.astimezone(UTC)


def _days_of(start: datetime, end: datetime, zone: ZoneInfo) -> tuple[date, date]:
    return start.astimezone(zone).date(), end.astimezone(zone).date()


def _spans(opening: Opening, closed_on: Iterable[date], first: date, last: date, zone: ZoneInfo) -> list[Span]:
    """Return the open spans around some days, UTC, in order; spans that touch are one.

    Two days more on either side, so that what stays open for a day and longer is seen to do so.
    """
    closed = frozenset(closed_on)
    walls: list[Span] = []
    for number in range(-2, (last - first).days + 3):
        day = first + number * _DAY
        if day not in closed:
            walls.extend(_on_the_wall(opening, day, day + _DAY in closed))
    joined: list[Span] = []
    for opens, closes in sorted(walls):
        if joined and opens <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(joined[-1][1], closes)
        else:
            joined.append((opens, closes))
    spans = [(_instant(opens, zone, second=True), _instant(closes, zone, second=False)) for opens, closes in joined]
    return [(opens, closes) for opens, closes in spans if opens < closes]


def _on_the_wall(opening: Opening, day: date, closed_after: bool) -> Iterable[Span]:
    """Yield the spans that open on a day as the clock on the wall shows them, without a time zone."""
    midnight = datetime.combine(day + _DAY, time())
    if opening == "always":
        yield midnight - _DAY, midnight
        return
    for row in opening:
        if not row.days or _DAYS[day.weekday()] in row.days:
            closes = datetime.combine(day if row.closes > row.opens else day + _DAY, row.closes)
            yield datetime.combine(day, row.opens), min(closes, midnight) if closed_after else closes


def _instant(wall: datetime, zone: ZoneInfo, second: bool) -> datetime:
    """Return when a clock on the wall shows a time; of two such moments the second or the first."""
    once, again = (wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if once <= again:
        return again if second else once
    early, late = again, once  # the time is left out: it lies in the leap of the clock, somewhere between these two
    while late - early > _SECOND:
        middle = early + (late - early) / 2
        if middle.astimezone(zone).replace(tzinfo=None) < wall:
            early = middle
        else:
            late = middle
    return late.replace(microsecond=0)


def _midnights(day: date, zone: ZoneInfo) -> Span:
    """Return the moments at which a day begins and ends."""
    begins, ends = (datetime.combine(each, time()) for each in (day, day + _DAY))
    return _instant(begins, zone, second=False), _instant(ends, zone, second=False)


def _spans_of_day(opening: Opening, closed: frozenset[date], day: date, zone: ZoneInfo) -> list[Span]:
    """Return the open spans that reach into a day."""
    begins, ends = _midnights(day, zone)
    return [(a, b) for a, b in _spans(opening, closed, day, day, zone) if a < ends and begins < b]


def _day_words(opening: Opening, closed: frozenset[date], day: date, zone: ZoneInfo) -> str:
    spans = _spans_of_day(opening, closed, day, zone)
    begins, ends = _midnights(day, zone)
    if any(opens <= begins and ends <= closes for opens, closes in spans):
        return "open all day"
    return "open " + " and ".join(f"{clock_words(a, zone, day)} to {clock_words(b, zone, day)}" for a, b in spans)


def _open_words(opening: Opening, closed: frozenset[date], start: datetime, end: datetime, zone: ZoneInfo) -> str:
    spans = _spans(opening, closed, *_days_of(start, end, zone), zone)
    opens, closes = next((a, b) for a, b in spans if a <= start < b)
    if closes - opens >= _DAY:
        return "open throughout"
    return f"open {clock_words(opens, zone)} to {clock_words(closes, zone)}"


def _closed_words(opening: Opening, closed: frozenset[date], start: datetime, end: datetime, zone: ZoneInfo) -> str:
    """Return from or until when it is closed, for a span at some moment of which it is."""
    day, last = _days_of(start, end, zone)
    spans = _spans(opening, closed, day, last, zone)
    holding = next((closes for opens, closes in spans if opens <= start < closes), None)
    if holding is not None:
        return f"closed from {clock_words(holding, zone, day)}"
    before = [closes for _, closes in spans if closes <= start]
    after = [(opens, closes) for opens, closes in spans if opens > start]
    if after and after[0][0] < end:
        opens, closes = after[0]
        again = f" and from {clock_words(closes, zone, day)}" if closes < end else ""
        return f"closed until {clock_words(opens, zone, day)}{again}"
    if before and before[-1] > _midnights(day, zone)[0]:
        return f"closed from {clock_words(before[-1], zone)}"
    if after and after[0][0].astimezone(zone).date() == day:
        return f"closed until {clock_words(after[0][0], zone)}"
    return "closed this day"
