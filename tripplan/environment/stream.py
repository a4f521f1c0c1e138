"""Tidal stream at a site from its slacks: so many minutes from high and low water, and a rate at springs and at neaps.

Between two slacks the rate follows half a sine: none at slack, half of its peak after a sixth of the time, 87 % after
a third, all of it half way (the navigator's "50/90 rule" says 0, 50, 90, 100). Source: COMMON_PRACTICE.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.environment.tide import Tide, Times, TurningPoint, as_span, in_order, micros_utc, span_of, widened
from tripplan.errors import OutOfRange, require

Rates = NDArray[np.float64]


@dataclass(frozen=True)
class SlackStream:
    """A stream that turns so many minutes after (negative: before) high and low water at the station.

    high_water_slack_min, low_water_slack_min  minutes from high and low water to slack, -360 to 360
    spring_rate_kn, neap_rate_kn               strongest rate of a half-tide at springs and at neaps, knots
    spring_range_m, neap_range_m               ranges of tide for which those rates hold, metres

    Raises OutOfRange for other offsets, for rates outside 0 to 20 knots, or when springs are not above neaps.
    """

    high_water_slack_min: float
    low_water_slack_min: float
    spring_rate_kn: float
    neap_rate_kn: float
    spring_range_m: float
    neap_range_m: float

    def __post_init__(self) -> None:
        """Refuse what no stream table has."""
        require("slack from high water", self.high_water_slack_min, -360, 360, "min")
        require("slack from low water", self.low_water_slack_min, -360, 360, "min")
        require("neap rate", self.neap_rate_kn, 0, 20, "kn")
        require("spring rate", self.spring_rate_kn, self.neap_rate_kn, 20, "kn", "not below the neap rate")
        require("spring range", self.spring_range_m, 0, 20, "m")
        require("neap range", self.neap_range_m, 0, 20, "m")
        if not self.spring_range_m > self.neap_range_m > 0:
            raise OutOfRange(
                f"spring range is {self.spring_range_m:g} m and neap range {self.neap_range_m:g} m; "
                "the spring range must be the larger and both above 0"
            )

    def peak_rate_kn(self, range_m: float) -> float:
        """Return the strongest rate of a half-tide of a range, knots.

        On the straight line through neaps and springs, also above springs; below neaps it stays at the neap rate,
        which is the cautious side: a small range never promises less stream than was measured at neaps.
        """
        slope = (self.spring_rate_kn - self.neap_rate_kn) / (self.spring_range_m - self.neap_range_m)
        return self.neap_rate_kn + slope * max(range_m - self.neap_range_m, 0.0)

    def slack_times(self, tide: Tide, start: datetime, end: datetime) -> tuple[datetime, ...]:
        """Return the slacks from start up to, not including, end, UTC.  Raises OutOfRange for naive times."""
        first, last = as_span(start, end)
        return tuple(slack.time for _, slack in self._around(tide, first, last) if first <= slack.time < last)

    def rates_kn(self, tide: Tide, times: Times) -> Rates:
        """Return the rate at each time (UTC), knots, without sign; NaN where the tide is not known."""
        micros = micros_utc(times)
        rates = np.full(micros.shape, np.nan)
        span = span_of(micros)
        around = self._around(tide, *span) if span else []
        if len(around) < 2:
            return rates
        turn_us, slack_us = (_micros([pair[which].time for pair in around]) for which in (0, 1))
        height = np.array([turn.height_m for turn, _ in around])
        high = np.array([turn.kind == "high" for turn, _ in around])
        peak_kn = np.array([self.peak_rate_kn(float(range_m)) for range_m in np.abs(np.diff(height))])
        middle = turn_us[:-1] + np.diff(turn_us) / 2
        known = np.isfinite(tide.heights_m(middle)) & (high[:-1] != high[1:])
        here = (micros >= slack_us[0]) & (micros <= slack_us[-1])  # NaT is never here
        half_tide = np.clip(np.searchsorted(slack_us, micros[here], side="right") - 1, 0, slack_us.size - 2)
        share = (micros[here] - slack_us[half_tide]) / np.diff(slack_us)[half_tide]
        # sin(pi) leaves a trace of rounding: no rate is below zero.
        rates[here] = np.where(known[half_tide], peak_kn[half_tide] * np.abs(np.sin(np.pi * share)), np.nan)
        return rates

    def _around(self, tide: Tide, start: datetime, end: datetime) -> list[tuple[TurningPoint, TurningPoint]]:
        """Return the turning points around a span, each with itself moved to its slack.

        Where the offsets would put one slack before the last (the tide hardly turned in between), both are left out and
        the stream runs on: fewer slacks are promised, never more.
        """
        turns = tide.turning_points(*widened(start, end))
        slacks = [
            TurningPoint(
                turn.time
                + timedelta(minutes=self.high_water_slack_min if turn.kind == "high" else self.low_water_slack_min),
                turn.kind,
                turn.height_m,
            )
            for turn in turns
        ]
        return [(turns[number], slacks[number]) for number in in_order(slacks)]


def _micros(times: list[datetime]) -> Any:
    return np.array([time.replace(tzinfo=None) for time in times], dtype="datetime64[us]")
