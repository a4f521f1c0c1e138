"""Tidal stream from slacks: the rule of the half sine, worked by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tripplan.environment.stream import SlackStream
from tripplan.environment.tide import Constituent, HarmonicTide, PrintedTide, TurningPoint, minutes_utc
from tripplan.errors import OutOfRange

DAY = datetime(2027, 6, 12, tzinfo=UTC)
STREAM = SlackStream(
    high_water_slack_min=-60,
    low_water_slack_min=-60,
    spring_rate_kn=2.0,
    neap_rate_kn=1.0,
    spring_range_m=4.0,
    neap_range_m=2.0,
)


def at(hours: float) -> datetime:
    return DAY + timedelta(hours=hours)


def rate_kn(stream: SlackStream, tide, hours: float) -> float:
    return float(stream.rates_kn(tide, np.array([at(hours).replace(tzinfo=None)], dtype="datetime64[us]"))[0])


def table(*points: tuple[float, str, float]) -> PrintedTide:
    return PrintedTide(tuple(TurningPoint(at(hour), kind, level) for hour, kind, level in points), 14)


# Low 1 m at 6 h, high 4 m at 12 h, low 1 m at 18 h, high 6 m at 24 h: ranges of 3, 3 and 5 m.
TIDE = table((6, "low", 1.0), (12, "high", 4.0), (18, "low", 1.0), (24, "high", 6.0))


def test_slack_comes_so_many_minutes_from_high_and_low_water():
    assert STREAM.slack_times(TIDE, at(0), at(24)) == (at(5), at(11), at(17), at(23))
    assert STREAM.slack_times(TIDE, at(5), at(11)) == (at(5),)


# The navigator's 50/90 rule (0, 50, 90, 100, 90, 50, 0 per cent, a sixth of the time apart) rounds the half sine.
@pytest.mark.parametrize(("sixth", "per_cent"), [(0, 0), (1, 50), (2, 86.60), (3, 100), (4, 86.60), (5, 50), (6, 0)])
def test_between_slacks_the_rate_follows_half_a_sine(sixth, per_cent):
    """A range of 3 m is half way from neaps (2 m, 1 kn) to springs (4 m, 2 kn): 1.5 kn at its strongest."""
    assert rate_kn(STREAM, TIDE, 5 + sixth) == pytest.approx(1.5 * per_cent / 100, abs=1e-4)


def test_the_fifty_ninety_rule_agrees_within_four_per_cent():
    for sixth, rule in enumerate([0, 50, 90, 100, 90, 50, 0]):
        assert rate_kn(STREAM, TIDE, 5 + sixth) / 1.5 * 100 == pytest.approx(rule, abs=4)


def test_above_springs_the_rate_is_extrapolated():
    """A range of 5 m lies half a step beyond springs: 2.5 kn."""
    assert rate_kn(STREAM, TIDE, 20) == pytest.approx(2.5)
    assert STREAM.peak_rate_kn(5.0) == pytest.approx(2.5)


def test_below_neaps_the_rate_never_falls_below_the_neap_rate():
    assert STREAM.peak_rate_kn(0.5) == STREAM.peak_rate_kn(2.0) == 1.0


def test_outside_the_slacks_the_rate_is_not_known():
    assert np.isnan([rate_kn(STREAM, TIDE, hour) for hour in (4.9, 23.1)]).all()


def test_across_a_gap_in_the_table_the_rate_is_not_known():
    tide = table((0, "low", 1.0), (6, "high", 4.0), (21, "high", 4.0), (27, "low", 1.0))
    assert np.isnan(rate_kn(STREAM, tide, 12))
    assert rate_kn(STREAM, tide, 2) == pytest.approx(1.5)
    assert rate_kn(STREAM, tide, 23) == pytest.approx(1.5)


def test_a_time_that_is_not_a_time_and_an_empty_table_have_no_rate():
    assert np.isnan(STREAM.rates_kn(TIDE, np.array(["NaT"], dtype="datetime64[m]"))).all()
    assert np.isnan(rate_kn(STREAM, table(), 3))


def test_where_the_offsets_cross_both_slacks_are_left_out_and_the_stream_runs_on():
    """High and low water 10 minutes apart with slacks 20 minutes after one and 20 before the other."""
    stream = SlackStream(20, -20, 2.0, 1.0, 4.0, 2.0)
    tide = table((0, "low", 1.0), (6, "high", 3.00), (6 + 1 / 6, "low", 2.99), (12, "high", 5.0))
    assert stream.slack_times(tide, at(-6), at(18)) == (at(-1 / 3), at(12 + 1 / 3))
    assert rate_kn(stream, tide, 6) == pytest.approx(2.0, abs=0.01)


def test_with_harmonic_constants_the_rate_is_known_at_every_minute_and_zero_only_at_slack():
    tide = HarmonicTide(2.0, (Constituent("M2", 1.2, 62.0), Constituent("S2", 0.4, 95.0)))
    minutes = minutes_utc(at(0), at(24 * 15))
    rates = STREAM.rates_kn(tide, minutes)
    assert np.isfinite(rates).all()
    assert rates.min() >= 0
    slacks = STREAM.slack_times(tide, at(0), at(24 * 15))
    assert len(slacks) == len(tide.turning_points(at(1), at(24 * 15 + 1)))
    at_slack = STREAM.rates_kn(tide, np.array([one.replace(tzinfo=None) for one in slacks], dtype="datetime64[us]"))
    assert at_slack.max() < 1e-6
    # 1.4 m and up to 3.2 m of range: never below the neap peak, and springs below 2 kn.
    peaks = rates[1:-1][(rates[1:-1] >= rates[:-2]) & (rates[1:-1] >= rates[2:])]
    assert 0.999 < peaks.min() < peaks.max() < 1.75


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"high_water_slack_min": 361}, "slack from high water is 361 min; it must be from -360 to 360 min"),
        ({"low_water_slack_min": float("nan")}, "slack from low water"),
        ({"neap_rate_kn": -0.1}, "neap rate is -0.1 kn"),
        ({"spring_rate_kn": 0.5}, "spring rate is 0.5 kn; it must be from 1 to 20 kn"),
        ({"spring_range_m": 2.0}, "the spring range must be the larger"),
        ({"neap_range_m": 0.0}, "both above 0"),
    ],
)
def test_a_stream_that_no_table_has_is_refused(change, message):
    good = {
        "high_water_slack_min": 0, "low_water_slack_min": 0, "spring_rate_kn": 2.0, "neap_rate_kn": 1.0,
        "spring_range_m": 4.0, "neap_range_m": 2.0,
    }  # fmt: skip
    with pytest.raises(OutOfRange, match=message):
        SlackStream(**{**good, **change})


def test_naive_times_are_refused():
    with pytest.raises(OutOfRange, match="has no time zone"):
        STREAM.slack_times(TIDE, datetime(2027, 6, 12), datetime(2027, 6, 13))  # noqa: DTZ001
