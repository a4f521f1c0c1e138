"""A tidal authority's high and low waters, fetched for a station and written as the table that a station file names."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

from tripplan.environment.conditions import Note, Origin
from tripplan.environment.tide import TurningPoint, out_of_order
from tripplan.feeds import co_ops
from tripplan.feeds.answer import Asked as _Asked
from tripplan.feeds.answer import note_of, stamp
from tripplan.feeds.session import FeedSession, NoAnswer, Unusable
from tripplan.feeds.settings import FeedSettings

LONGEST_DAYS = 800  # two years and a little: the longest table that is worth having
DAYS_AT_A_TIME = 180  # a year in three questions; the service blocks bursts, not a few
PATIENCE_S = 60.0  # for all questions together; nobody waits for a plan here


@dataclass(frozen=True)
class TideEvents:
    """High and low waters of a station, or notes that say why there are none."""

    station_id: str
    points: tuple[TurningPoint, ...] = ()
    origin: Origin | None = None  # None where nothing was had
    datum: str = co_ops.DATUM
    notes: tuple[Note, ...] = ()


def fetch_tide_events(
    station_id: str,
    first_day: date,
    last_day: date,
    settings: FeedSettings,
    session: FeedSession,
    now: datetime,
    *,
    patience_s: float = PATIENCE_S,
) -> TideEvents:
    """Return the high and low waters of a station of NOAA CO-OPS from the first day to the last, UTC, both included.

    now         aware; when it is asked
    patience_s  for all questions together, seconds; a year takes three questions

    All or nothing: a table with a hole would give wrong heights, so one question without an answer gives no points
    and a dated note.
    """
    asked = _Asked(0.0, 0.0, now)

    def refused(why: str) -> TideEvents:
        return TideEvents(station_id, notes=(note_of(co_ops.WORDS, why, asked),))

    if not settings.co_ops.use:
        return refused("is not asked: [co_ops] in centre/feeds.toml does not say use = true")
    if not co_ops.is_station(station_id):
        return refused(
            "is not asked: the number of a station has seven figures, like 9414290, or three letters and four figures"
        )
    if not timedelta(0) <= last_day - first_day < timedelta(days=LONGEST_DAYS):
        return refused(f"is not asked: the last day must follow the first by less than {LONGEST_DAYS} days")
    deadline = time.monotonic() + patience_s
    service = co_ops.CoOps(settings.co_ops)
    points: list[TurningPoint] = []
    fetched: list[datetime] = []
    notes: list[Note] = []
    begin = first_day
    while begin <= last_day:
        end = min(begin + timedelta(days=DAYS_AT_A_TIME - 1), last_day)
        try:
            found, answer = service.fetch(session, station_id, begin, end, deadline)
        except (NoAnswer, Unusable) as error:
            return refused(f"station {station_id}: {error}")
        points += found
        fetched.append(answer.fetched)
        if answer.stale:
            old = f"station {station_id}: {answer.stale}; its answer of {stamp(answer.fetched)} is used instead"
            notes.append(note_of(co_ops.WORDS, old, asked))
        begin = end + timedelta(days=1)
    for one, two in pairwise(points):  # within an answer it was looked at; here the seams
        if fault := out_of_order(one, two, co_ops.LONGEST_GAP_H) or _hole(one, two):
            return refused(f"station {station_id}: {fault}")
    origin = Origin(co_ops.WORDS, min(fetched), None, co_ops.ATTRIBUTION, stale=bool(notes))
    return TideEvents(station_id, tuple(points), origin, notes=tuple(notes))


def _hole(one: TurningPoint, two: TurningPoint) -> str:
    gap_h = (two.time - one.time).total_seconds() / 3600
    if gap_h <= co_ops.LONGEST_GAP_H:
        return ""
    return f"no high or low water for {gap_h:.0f} h after {stamp(one.time)}"


def tide_table_csv(events: TideEvents) -> str:
    """Return the table that a station file names with ``table =``: comment lines, a header, a line for each water.

    Raises ValueError where there is nothing to write.
    """
    if not events.points or events.origin is None:
        raise ValueError("there are no high and low waters to write")
    first, last = events.points[0].time, events.points[-1].time
    lines = [
        f"# High and low waters of station {events.station_id}, {first:%Y-%m-%d} to {last:%Y-%m-%d}.",
        f"# source: {events.origin.source} ({events.origin.attribution})",
        f"# datum: {events.datum}; heights in metres; times in UTC",
        f"# fetched: {events.origin.fetched.isoformat(timespec='seconds')}",
        "time,kind,height_m",
    ]
    lines += [f"{point.time:%Y-%m-%dT%H:%MZ},{point.kind},{point.height_m:.3f}" for point in events.points]
    return "\n".join(lines) + "\n"
