"""NOAA CO-OPS, the United States' tidal authority: high and low waters of its stations.

Numbers come as text. An error comes with status 200, so the body is always looked at. The answer does not repeat the
datum or the unit: they are what was asked, MLLW and metres, in UTC.

Source: the service's documentation and saved answers, public domain.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from tripplan.environment.tide import TurningPoint, out_of_order
from tripplan.feeds.answer import moment_of, number, rows, table
from tripplan.feeds.session import Answer, FeedSession, Unusable, plain
from tripplan.feeds.settings import CoOpsSettings

WORDS = "NOAA CO-OPS tide predictions"
ATTRIBUTION = "NOAA Center for Operational Oceanographic Products and Services, public domain"
DATUM = "MLLW"
FARTHEST_HEIGHT_M = 20.0  # from the datum; the greatest known range is some 17 m
LONGEST_GAP_H = 30.0  # a day with one high and one low water; a longer gap is a hole in the table
_KINDS = {"H": "high", "L": "low", "HH": "high", "LL": "low"}  # higher high and lower low water, from memory


def is_station(station_id: str) -> bool:
    """Return whether a text can be a station's number at the service: seven figures, or three letters and four."""
    return re.fullmatch(r"[0-9]{7}|[A-Z]{3}[0-9]{4}", station_id) is not None


def parse_turning_points(body: Mapping[str, Any]) -> tuple[TurningPoint, ...]:
    """Return the high and low waters of an answer, in order.

    Raises Unusable for an answer with any row that cannot be: a table with a hole would give a wrong height silently.
    """
    points: list[TurningPoint] = []
    for row in rows(body.get("predictions")):
        entry = table(row)
        kind = _KINDS.get(str(entry.get("type")))
        if kind is None:
            raise Unusable(f'the answer calls a water "{plain(entry.get("type"), 20)}", neither high nor low')
        text = entry.get("v")
        plain_number = isinstance(text, str) and re.fullmatch(r"-?[0-9]{1,3}(\.[0-9]{1,6})?", text.strip())
        height_m = float(str(text)) if plain_number else number(text)
        if height_m is None or abs(height_m) > FARTHEST_HEIGHT_M:
            raise Unusable(f'the answer gives a height of "{plain(text, 20)}" metres')
        point = TurningPoint(moment_of(entry.get("t")), "high" if kind == "high" else "low", height_m)
        if points and (fault := out_of_order(points[-1], point, LONGEST_GAP_H)):
            raise Unusable(fault)
        points.append(point)
    if not points:
        raise Unusable("the answer holds no high or low water")
    return tuple(points)


@dataclass(frozen=True)
class CoOps:
    """The service's question for the high and low waters of a station."""

    settings: CoOpsSettings

    def fetch(
        self, session: FeedSession, station_id: str, first: date, last: date, deadline: float
    ) -> tuple[tuple[TurningPoint, ...], Answer]:
        """Return the high and low waters from the first day to the last, UTC, both included, and the answer.

        Raises NoAnswer where there is none, and Unusable where a day at either end is missing.
        """

        def usable(body: Any) -> None:
            points = parse_turning_points(body)
            late = points[0].time.date() - first
            early = last - points[-1].time.date()
            if max(late, early) > timedelta(days=1) or min(late, early) < timedelta(0):
                raise Unusable(
                    f"the answer runs from {points[0].time:%d %B %Y} to {points[-1].time:%d %B %Y}, "
                    f"not from {first:%d %B %Y} to {last:%d %B %Y}"
                )

        params = {
            "station": station_id,
            "product": "predictions",
            "datum": DATUM,
            "units": "metric",
            "time_zone": "gmt",
            "interval": "hilo",
            "format": "json",
            "application": "tripplan",
            "begin_date": f"{first:%Y%m%d}",
            "end_date": f"{last:%Y%m%d}",
        }
        answer = session.ask(f"{self.settings.host}/api/prod/datagetter", params, deadline=deadline, usable=usable)
        usable(answer.body)
        return parse_turning_points(answer.body), answer
