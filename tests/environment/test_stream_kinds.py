"""Tidal stream from harmonic constants and from a printed table; flood and ebb; slack windows and drift."""

from __future__ import annotations

import tomllib
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.environment.stream import (
    ConstantsStream,
    SlackStream,
    StreamConstituent,
    StreamPeak,
    StreamRow,
    TableStream,
    drift_m,
    slack_windows,
)
from tripplan.environment.tide import Constituent, HarmonicTide, PrintedTide, TurningPoint, minutes_utc
from tripplan.errors import OutOfRange

PUBLISHED = Path(__file__).parents[1] / "published" / "tides"
DAY = datetime(2027, 6, 12, tzinfo=UTC)
YEAR = (datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC))


def at(hours: float) -> datetime:
    return DAY + timedelta(hours=hours)


def times(*hours: float) -> np.ndarray:
    return np.array([at(hour).replace(tzinfo=None) for hour in hours], dtype="datetime64[us]")


def stamps(moments) -> np.ndarray:
    return np.array([moment.replace(tzinfo=None) for moment in moments], dtype="datetime64[us]")


def printed(*points: tuple[float, str, float]) -> PrintedTide:
    return PrintedTide(tuple(TurningPoint(at(hour), kind, level) for hour, kind, level in points), 14)


def station(number: str) -> HarmonicTide:
    """Return a tide from constants published by NOAA CO-OPS (public domain)."""
    data = tomllib.loads((PUBLISHED / f"noaa_{number}.toml").read_text(encoding="utf-8"))
    return HarmonicTide(data["mean_level_m"], tuple(Constituent(name, *p) for name, p in data["constituents"].items()))


def constants(*three: tuple[str, float, float], mean_kn: float = 0.0) -> ConstantsStream:
    return ConstantsStream(tuple(StreamConstituent(*one) for one in three), mean_kn, 25.0, 205.0)


# ---- harmonic constants -------------------------------------------------------------------------------------------

# S2 goes by the sun alone: it has no node factor and its argument is twice the sun's hour angle, so that a lag of 90
# degrees makes a stream of amplitude x sin(30 degrees x hours UTC), on every day of every year.
BY_THE_SUN = constants(("S2", 2.0, 90.0))
MIXED = constants(("M2", 1.6, 40.0), ("S2", 0.5, 80.0), ("N2", 0.4, 20.0), ("K1", 0.9, 150.0), ("O1", 0.6, 100.0))
SEMIDIURNAL = constants(("M2", 2.0, 40.0), ("S2", 0.5, 80.0), ("N2", 0.4, 20.0))


def test_a_stream_by_the_sun_alone_is_a_sine_by_the_clock():
    hours = np.arange(0, 48, 0.25)
    by_hand = 2.0 * np.sin(np.radians(30 * hours))
    assert BY_THE_SUN.velocities_kn(times(*hours)) == pytest.approx(by_hand, abs=1e-6)
    assert BY_THE_SUN.rates_kn(None, times(*hours)) == pytest.approx(np.abs(by_hand), abs=1e-6)


def test_slacks_are_the_crossings_of_zero_and_peaks_lie_half_way():
    slacks = BY_THE_SUN.slack_times(None, at(1), at(25))
    for slack, hour in zip(slacks, (6, 12, 18, 24), strict=True):
        assert abs(slack - at(hour)) <= timedelta(seconds=1)
    for peak, (hour, kn) in zip(BY_THE_SUN.peaks(at(0), at(14)), [(3, 2.0), (9, -2.0)], strict=True):
        assert isinstance(peak, StreamPeak) and abs(peak.time - at(hour)) <= timedelta(seconds=1)
        assert peak.velocity_kn == pytest.approx(kn)


def test_a_steady_stream_moves_the_slacks_and_may_leave_none():
    """2 sin(30 h) + 1 is zero where the sine is -0.5, at 210 and 330 degrees: 7:00 and 11:00."""
    stream = constants(("S2", 2.0, 90.0), mean_kn=1.0)
    seven, eleven = stream.slack_times(None, at(0), at(12))
    assert max(abs(seven - at(7)), abs(eleven - at(11))) <= timedelta(seconds=1)
    peaks = [round(peak.velocity_kn, 6) for peak in stream.peaks(at(0), at(12))]
    assert peaks == [3.0, -1.0]
    river = constants(("S2", 2.0, 90.0), mean_kn=-2.5)
    assert river.slack_times(None, at(0), at(48)) == ()
    assert set(river.toward_deg(None, times(*range(48)))) == {205.0}
    ebbs = [peak.velocity_kn for peak in river.peaks(at(0), at(48))]
    assert ebbs == pytest.approx([-4.5] * 4)  # and the lulls of 0.5 kn between them are no peaks


def test_flood_and_ebb_run_their_own_way_and_a_direction_not_given_is_not_known():
    assert list(BY_THE_SUN.toward_deg(None, times(1, 3, 7, 11))) == [25.0, 25.0, 205.0, 205.0]
    half = ConstantsStream(BY_THE_SUN.constituents, 0.0, ebb_toward_deg=205.0)
    toward = half.toward_deg(None, times(3, 9))
    assert np.isnan(toward[0]) and toward[1] == 205.0
    assert np.isnan(constants(("S2", 0.0, 0.0)).toward_deg(None, times(3))).all()


@pytest.mark.parametrize("year", [1950, 2027, 2033])
def test_the_velocity_agrees_with_an_independent_library(year):
    """utide reckons nodal corrections from Foreman's satellites at each instant: 1.5 % of the amplitudes is allowed."""
    from utide._ut_constants import ut_constants
    from utide.harmonics import FUV

    names = list(ut_constants.const.name)
    moments = np.arange(f"{year}-01-01", f"{year + 1}-01-01", 7 * 60 + 10, dtype="datetime64[m]")
    days = (moments - np.datetime64("1970-01-01")) / np.timedelta64(1, "D") + datetime(1970, 1, 1).toordinal()  # noqa: DTZ001
    index = np.array([names.index(one.name) for one in MIXED.constituents])
    node, slow, argument = FUV(days, days.mean(), index, 30.0, [0, 0, 0, 0])
    lag = np.array([one.phase_lag_deg / 360 for one in MIXED.constituents])
    amplitude = np.array([one.amplitude_kn for one in MIXED.constituents])
    theirs = 0.3 + (amplitude * node * np.cos(2 * np.pi * (slow + argument - lag))).sum(axis=1)
    ours = ConstantsStream(MIXED.constituents, 0.3).velocities_kn(moments)
    assert np.abs(ours - theirs).max() < 0.015 * amplitude.sum()


@pytest.mark.parametrize("stream", [SEMIDIURNAL, MIXED, constants(("M2", 1.0, 0.0), ("M4", 0.6, 90.0), mean_kn=0.2)])
def test_every_change_of_sign_of_a_year_is_a_slack_and_no_other_moment_is(stream):
    slacks = stream.slack_times(None, *YEAR)
    flood = stream.velocities_kn(minutes_utc(*YEAR)) > 0
    minute = np.flatnonzero(flood[1:] != flood[:-1])  # two slacks within a minute would cancel; these streams have none
    found = (stamps(slacks) - np.datetime64("2027-01-01")) / np.timedelta64(1, "m")
    assert len(slacks) == len(minute)
    assert ((found >= minute) & (found <= minute + 1)).all()
    assert stream.rates_kn(None, stamps(slacks)).max() < 0.001  # what a strong stream gains in a second


@given(st.integers(0, 14 * 86_400), st.integers(1, 3 * 86_400))
def test_any_span_finds_the_same_slacks(begin_s, length_s):
    whole = MIXED.slack_times(None, DAY, at(24 * 17))
    start, end = DAY + timedelta(seconds=begin_s), DAY + timedelta(seconds=begin_s + length_s)
    assert MIXED.slack_times(None, start, end) == tuple(slack for slack in whole if start <= slack < end)


def test_a_span_that_starts_at_a_slack_holds_it_and_one_that_ends_there_does_not():
    one, two = MIXED.slack_times(None, DAY, at(24))[:2]
    assert MIXED.slack_times(None, one, two) == (one,)
    assert MIXED.slack_times(None, one, one) == ()


def test_slacks_run_on_over_new_year_and_to_both_ends_of_the_interval():
    seam = datetime(2030, 1, 1, tzinfo=UTC)
    slacks = SEMIDIURNAL.slack_times(None, seam - timedelta(days=3), seam + timedelta(days=3))
    steps = {round((two - one) / timedelta(hours=1)) for one, two in pairwise(slacks)}
    assert len(slacks) == 23 and steps == {6}
    parts = [SEMIDIURNAL.slack_times(None, *span) for span in ((slacks[0], seam), (seam, slacks[-1]))]
    assert (*parts[0], *parts[1], slacks[-1]) == slacks
    assert len(SEMIDIURNAL.slack_times(None, datetime(1900, 1, 1, tzinfo=UTC), datetime(1900, 1, 3, tzinfo=UTC))) > 6
    assert len(SEMIDIURNAL.slack_times(None, datetime(2100, 12, 30, tzinfo=UTC), datetime(2101, 1, 1, tzinfo=UTC))) > 6
    with pytest.raises(OutOfRange, match="the year is 1899"):
        SEMIDIURNAL.rates_kn(None, np.array(["1899-12-31T23:59"], dtype="datetime64[m]"))


@pytest.mark.parametrize(
    ("three", "mean_kn", "message"),
    [
        ([], 0.0, "has no constituent"),
        ([("XYZ", 1.0, 0.0)], 0.0, "XYZ is not the name of a constituent known here"),
        ([("M2", 1.0, 0.0), ("m2", 1.0, 0.0)], 0.0, "m2 is the same constituent as M2; give it once"),
        ([("M2", -0.1, 0.0)], 0.0, "amplitude of M2 is -0.1 kn"),
        ([("M2", 1.0, float("nan"))], 0.0, "phase lag of M2"),
        ([("M2", 1.0, 0.0)], float("nan"), "mean stream is nan kn; it must be from -20 to 20 kn"),
    ],
)
def test_constants_that_make_no_stream_are_refused(three, mean_kn, message):
    with pytest.raises(OutOfRange, match=message):
        constants(*three, mean_kn=mean_kn)


# ---- rules of thumb -----------------------------------------------------------------------------------------------

HALF_SINE = SlackStream(0, 0, 3.0, 1.5, 4.0, 2.0, 25.0, 205.0)
SIX_HOURS = printed((0, "low", 1.0), (6, "high", 5.0), (12, "low", 1.0))


def sixths(stream, tide, slacks) -> list[np.ndarray]:
    """Return the rates between neighbouring slacks, 60 steps to each sixth of the time."""
    moments = stamps(slacks)
    return [stream.rates_kn(tide, one + (two - one) * np.arange(361) / 360) for one, two in pairwise(moments)]


def test_the_fifty_ninety_rule_holds_within_five_per_cent_of_the_peak():
    """Common practice: 0, 50, 90, 100, 90, 50 and 0 per cent of the strongest rate, a sixth of the time apart."""
    for stream, tide, slacks in (
        (HALF_SINE, SIX_HOURS, [at(0), at(6), at(12)]),
        (SEMIDIURNAL, None, SEMIDIURNAL.slack_times(None, *YEAR)),
    ):
        for rates in sixths(stream, tide, slacks):
            assert 100 * rates[::60] / rates.max() == pytest.approx([0, 50, 90, 100, 90, 50, 0], abs=5)


def test_the_drift_of_a_half_tide_follows_the_rule_of_thirds_within_a_quarter_of_a_twelfth():
    """Common practice: 1, 2, 3, 3, 2 and 1 twelfths of the way in each sixth of the time."""
    for stream, tide, slacks in (
        (HALF_SINE, SIX_HOURS, [at(0), at(6), at(12)]),
        (SEMIDIURNAL, None, SEMIDIURNAL.slack_times(None, *YEAR)),
    ):
        for rates in sixths(stream, tide, slacks):
            parts = [drift_m(rates[first : first + 61]) for first in range(0, 360, 60)]
            assert sum(parts) == pytest.approx(drift_m(rates))
            assert 12 * np.array(parts) / sum(parts) == pytest.approx([1, 2, 3, 3, 2, 1], abs=0.25)


def test_at_a_stream_with_a_daily_inequality_neither_rule_holds():
    worst = max(
        np.abs(rates[::60] / rates.max() - [0, 0.5, 0.9, 1, 0.9, 0.5, 0]).max()
        for rates in sixths(MIXED, None, MIXED.slack_times(None, *YEAR))
    )
    assert worst > 0.15


# ---- flood and ebb by slacks --------------------------------------------------------------------------------------


def test_from_low_to_high_water_it_floods_and_from_high_to_low_it_ebbs():
    stream = SlackStream(60, 30, 3.0, 1.5, 4.0, 2.0, 25.0, 205.0)  # slack at 0:30, 7:00 and 12:30
    tide = printed((0, "low", 1.0), (6, "high", 5.0), (12, "low", 1.0), (18, "high", 5.0))
    assert list(stream.toward_deg(tide, times(0.6, 6.9, 7.1, 12.4, 12.6))) == [25.0, 25.0, 205.0, 205.0, 25.0]
    assert np.isnan(stream.toward_deg(tide, times(0.4, 7.0, 19.1))).all()  # not known, at slack, not known


def test_without_directions_or_without_a_tide_nothing_is_claimed():
    blank = SlackStream(0, 0, 3.0, 1.5, 4.0, 2.0)
    assert np.isnan(blank.toward_deg(SIX_HOURS, times(3, 9))).all()
    for stream in (HALF_SINE, ATLAS):
        assert np.isnan(stream.rates_kn(None, times(3, 9))).all()
        assert np.isnan(stream.toward_deg(None, times(3, 9))).all()
        assert stream.slack_times(None, at(0), at(24)) == ()


# ---- a printed table ----------------------------------------------------------------------------------------------

# Hours from high water, springs, neaps, toward; flood to 40, ebb to 220, slack half way from -6 to -5 and from 0 to 1.
ATLAS_ROWS = (
    (-6, 1.0, 0.5, 220.0), (-5, 1.0, 0.5, 40.0), (-4, 2.0, 1.0, 40.0), (-3, 3.0, 1.5, 40.0), (-2, 2.4, 1.2, 40.0),
    (-1, 1.6, 0.8, 40.0), (0, 0.8, 0.4, 40.0), (1, 0.8, 0.4, 220.0), (2, 2.0, 1.0, 220.0), (3, 2.8, 1.4, 220.0),
    (4, 2.4, 1.2, 220.0), (5, 1.8, 0.9, 220.0), (6, 1.2, 0.6, 220.0),
)  # fmt: skip
ATLAS = TableStream(tuple(StreamRow(*row) for row in ATLAS_ROWS), spring_range_m=4.0, neap_range_m=2.0)
# High water at 7 h and 20 h, every rise and fall of 4 m: springs.
SPRINGS = printed((0.8, "low", 1.0), (7, "high", 5.0), (13.5, "low", 1.0), (20, "high", 5.0), (26.4, "low", 1.0))


def at_range(range_m: float) -> PrintedTide:
    return printed((0.8, "low", 1.0), (7, "high", 1.0 + range_m), (13.5, "low", 1.0))


def test_on_the_hour_at_springs_and_at_neaps_the_table_is_read_as_printed():
    hours = [7 + row[0] for row in ATLAS_ROWS]
    assert ATLAS.rates_kn(SPRINGS, times(*hours)) == pytest.approx([row[1] for row in ATLAS_ROWS])
    assert ATLAS.rates_kn(at_range(2.0), times(*hours)) == pytest.approx([row[2] for row in ATLAS_ROWS])
    assert ATLAS.toward_deg(SPRINGS, times(*hours)) == pytest.approx([row[3] for row in ATLAS_ROWS])


def test_between_neaps_and_springs_and_above_the_range_counts_and_below_neaps_it_does_not():
    """Three hours before high water 1.5 kn at neaps and 3.0 kn at springs; 5 m is half a step beyond springs."""
    for range_m, kn in ((3.0, 2.25), (5.0, 3.75), (1.0, 1.5)):
        assert ATLAS.rates_kn(at_range(range_m), times(4)) == pytest.approx([kn])


def test_the_larger_of_rise_and_fall_counts():
    """A rise of 4 m and a fall of 2 m: springs, before high water and after."""
    tide = printed((0.8, "low", 1.0), (7, "high", 5.0), (13.5, "low", 3.0))
    assert ATLAS.rates_kn(tide, times(4, 10)) == pytest.approx([3.0, 2.8])


def test_between_two_rows_the_rate_goes_in_a_straight_line():
    assert ATLAS.rates_kn(SPRINGS, times(3.25, 8.5)) == pytest.approx([2.25, 1.4])


def test_a_stream_that_turns_passes_through_slack():
    """From 0.8 kn one way to 0.8 kn the other in an hour: slack after half of it, 0.4 kn a quarter of it away."""
    moments = times(7.25, 7.5, 7.75)
    assert ATLAS.rates_kn(SPRINGS, moments) == pytest.approx([0.4, 0.0, 0.4], abs=1e-9)
    toward = ATLAS.toward_deg(SPRINGS, moments)
    assert (toward[0], toward[2]) == (pytest.approx(40), pytest.approx(220)) and np.isnan(toward[1])
    assert ATLAS.slack_times(SPRINGS, at(0), at(13)) == (at(1.5), at(7.5))
    assert ATLAS.slack_times(SPRINGS, at(1.5), at(7.5)) == (at(1.5),)


def changed(hour: int, **fields) -> TableStream:
    rows = (StreamRow(*row) for row in ATLAS_ROWS)
    return TableStream(
        tuple(StreamRow(**(vars(r) | fields)) if r.hours_from_high_water == hour else r for r in rows), 4, 2
    )


def test_without_a_direction_in_one_row_nothing_is_said_to_pass_through_slack():
    stream = changed(1, toward_deg=None)
    assert stream.rates_kn(SPRINGS, times(7.5)) == pytest.approx([0.8])
    assert np.isnan(stream.toward_deg(SPRINGS, times(7.5, 8.5))).all()
    assert stream.slack_times(SPRINGS, at(0), at(13)) == (at(1.5),)


def test_a_row_of_slack_needs_no_direction():
    stream = changed(0, spring_kn=0.0, neap_kn=0.0, toward_deg=None)
    assert stream.rates_kn(SPRINGS, times(6.5, 7, 7.5)) == pytest.approx([0.8, 0.0, 0.4])
    toward = stream.toward_deg(SPRINGS, times(6.5, 7.5))
    assert list(toward) == [pytest.approx(40), pytest.approx(220)]
    assert stream.slack_times(SPRINGS, at(0), at(13)) == (at(1.5), at(7))


def test_a_stream_that_swings_round_by_a_right_angle_or_less_does_not_weaken():
    stream = changed(-1, spring_kn=2.4, neap_kn=1.2, toward_deg=350.0)  # from 40 by way of 350 to 40
    assert stream.rates_kn(SPRINGS, times(5.5, 6.5)) == pytest.approx([2.4, 1.6])
    # Of two equal velocities the sum goes half way between them.
    assert stream.toward_deg(SPRINGS, times(5.5)) == pytest.approx([15.0])


def test_a_stream_that_turns_at_an_angle_is_slackest_where_it_is_least():
    """0.8 kn toward 40, then toward 160: half way 0.4 kn of each, 120 degrees apart, together 0.4 kn toward 100."""
    stream = changed(1, toward_deg=160.0)
    assert stream.rates_kn(SPRINGS, times(7.5)) == pytest.approx([0.4])
    assert stream.toward_deg(SPRINGS, times(7.5)) == pytest.approx([100.0])
    assert at(7.5) in stream.slack_times(SPRINGS, at(0), at(13))


def test_between_the_hours_of_two_high_waters_the_stream_is_not_known():
    """High waters at 7 and 20 h: the tables end at 13 and begin at 14 h."""
    rates = ATLAS.rates_kn(SPRINGS, times(0.99, 1, 13, 13.01, 13.99, 14, 26, 26.01))
    assert list(np.isnan(rates)) == [True, False, False, True, True, False, False, True]
    assert np.isnan(ATLAS.toward_deg(SPRINGS, times(13.5))).all()


def test_where_the_hours_of_two_high_waters_overlap_the_stronger_stream_counts():
    """High waters at 7 and 18 h: 12:30 is +5:30 (1.5 kn, toward 220) and -5:30 (slack)."""
    tide = printed((0.8, "low", 1.0), (7, "high", 5.0), (12.5, "low", 1.0), (18, "high", 5.0), (24, "low", 1.0))
    assert ATLAS.rates_kn(tide, times(12.5)) == pytest.approx([1.5])
    assert ATLAS.toward_deg(tide, times(12.5)) == pytest.approx([220.0])
    assert ATLAS.slack_times(tide, at(0), at(24)) == (at(1.5), at(7.5), at(18.5))  # none at 12:30


def test_a_high_water_whose_low_water_is_not_known_makes_its_hours_unknown_even_in_an_overlap():
    tide = printed((7, "high", 5.0), (12.5, "low", 1.0), (18, "high", 5.0), (24, "low", 1.0))
    assert np.isnan(ATLAS.rates_kn(tide, times(4, 8, 12.5))).all()
    assert ATLAS.rates_kn(tide, times(15)) == pytest.approx([3.0])
    gap = printed((0.8, "low", 1.0), (7, "high", 5.0), (22, "high", 5.0), (28, "low", 1.0))
    assert np.isnan(ATLAS.rates_kn(gap, times(4, 10, 19, 25))).all()
    assert ATLAS.slack_times(gap, at(0), at(30)) == ()


def test_a_table_of_a_whole_tide_is_known_at_every_minute_of_a_semidiurnal_month():
    """NOAA CO-OPS constants of Boston (public domain): high waters at most 13 h apart."""
    ends = ((-6.5, 1.0, 0.5, 220.0), *ATLAS_ROWS, (6.5, 1.0, 0.5, 220.0))
    stream = TableStream(tuple(StreamRow(*row) for row in ends), 3.3, 2.3)
    minutes = minutes_utc(at(0), at(24 * 30))
    rates = stream.rates_kn(station("8443970"), minutes)
    assert np.isfinite(rates).all() and rates.min() >= 0
    assert np.isnan(ATLAS.rates_kn(station("8443970"), minutes)).mean() == pytest.approx(0.42 / 12.42, abs=0.01)


def test_at_a_diurnal_station_the_hours_far_from_high_water_are_not_known():
    """NOAA CO-OPS constants of Pensacola (public domain): one tide on most days, so over a third is not covered."""
    tide = station("8729840")
    rates = ATLAS.rates_kn(tide, minutes_utc(*YEAR))
    assert 0.35 < np.isnan(rates).mean() < 0.55
    for first in range(0, 365, 7):  # some of these days have no high water at all
        day = YEAR[0] + timedelta(days=first)
        alone = ATLAS.rates_kn(tide, minutes_utc(day, day + timedelta(days=1)))
        assert np.array_equal(alone, rates[1440 * first : 1440 * (first + 1)], equal_nan=True)
    days = [d for d in range(365) if not _high_waters(tide, YEAR[0] + timedelta(days=d))]
    assert days  # there are such days


def _high_waters(tide: HarmonicTide, day: datetime) -> list[TurningPoint]:
    return [turn for turn in tide.turning_points(day, day + timedelta(days=1)) if turn.kind == "high"]


@pytest.mark.parametrize(("day", "hours"), [(date(2027, 3, 28), 23), (date(2027, 10, 31), 25)])
@pytest.mark.parametrize("stream", [HALF_SINE, ATLAS, SEMIDIURNAL])
def test_on_a_day_when_the_clock_changes_the_stream_goes_by_utc(stream, day, hours):
    zone = ZoneInfo("Europe/London")
    start = datetime(day.year, day.month, day.day, tzinfo=zone)
    end = datetime(day.year, day.month, day.day, tzinfo=zone) + timedelta(days=1)
    minutes = minutes_utc(start, end)
    tide = station("8443970")
    rates = stream.rates_kn(tide, minutes)
    assert len(rates) == 60 * hours
    around = minutes_utc(start - timedelta(days=1), end + timedelta(days=1))
    whole = stream.rates_kn(tide, around)
    assert np.array_equal(rates, whole[np.isin(around, minutes)], equal_nan=True) or rates == pytest.approx(
        whole[np.isin(around, minutes)], nan_ok=True, abs=1e-9
    )
    for slack in stream.slack_times(tide, start, end):
        assert start <= slack < end and slack.utcoffset() == timedelta(0)


def test_a_time_that_is_not_a_time_has_no_stream():
    never = np.array(["NaT"], dtype="datetime64[m]")
    for stream in (HALF_SINE, ATLAS, SEMIDIURNAL):
        assert np.isnan(stream.rates_kn(SPRINGS, never)).all()
        assert np.isnan(stream.toward_deg(SPRINGS, never)).all()


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ((), "the table of the stream covers 0 h; it must cover 11 h or more"),
        (ATLAS_ROWS[:11], "the table of the stream covers 10 h"),
        ((*ATLAS_ROWS[:3], ATLAS_ROWS[2], *ATLAS_ROWS[3:]), "-4 stands twice"),
        ((ATLAS_ROWS[1], ATLAS_ROWS[0], *ATLAS_ROWS[2:]), "-6 stands after -5; hours rise from row to row"),
        ((*ATLAS_ROWS[:3], *ATLAS_ROWS[5:]), "-1 is 3 h after the row before; rows stand at most 2 h apart"),
        ((*ATLAS_ROWS, (13.5, 1.0, 0.5, 0.0)), "hours from high water is 13.5 h"),
        ((*ATLAS_ROWS, (7, 0.4, 0.5, 0.0)), r"spring rate at \+7 h is 0.4 kn"),
        ((*ATLAS_ROWS, (7, 1.0, float("nan"), 0.0)), r"neap rate at \+7 h is nan kn"),
        ((*ATLAS_ROWS, (7, 1.0, 0.5, 361.0)), r"direction at \+7 h is 361 degrees"),
    ],
)
def test_a_table_that_cannot_be_read_is_refused(rows, message):
    with pytest.raises(OutOfRange, match=message):
        TableStream(tuple(StreamRow(*row) for row in rows), 4.0, 2.0)


# ---- slack windows and drift --------------------------------------------------------------------------------------


def test_windows_of_slack_are_the_runs_within_the_limit_and_the_unknown_is_never_one():
    rates = np.array([0.1, 0.6, 0.5, np.nan, 0.2, 0.3, 0.0])
    moments = times(0, 1, 2, 3, 4, 5, 6)
    assert slack_windows(rates, moments, 0.5) == ((at(0), at(0)), (at(2), at(2)), (at(4), at(6)))
    assert slack_windows(np.full(7, np.nan), moments, 20) == ()
    assert slack_windows(np.array([]), moments[:0], 0.5) == ()


def test_around_each_slack_of_a_half_sine_lies_a_window_as_long_as_the_sine_says():
    """A peak of 3 kn over 6 h stays within 0.5 kn for asin(1/6) = 9.594 degrees of 180 on each side: 19.2 minutes."""
    minutes = minutes_utc(at(0), at(12))
    windows = slack_windows(HALF_SINE.rates_kn(SIX_HOURS, minutes), minutes, 0.5)
    assert windows[1] == (at(6) - timedelta(minutes=19), at(6) + timedelta(minutes=19))


@pytest.mark.parametrize(
    ("rates", "moments", "limit", "message"),
    [
        ([0.1], (0, 1), 0.5, "there are 1 rates and 2 times"),
        ([0.1, 0.2], (1, 0), 0.5, "do not rise"),
        ([0.1, 0.2], (0, 1), float("nan"), "limit of the stream is nan kn"),
    ],
)
def test_windows_of_rates_that_do_not_fit_their_times_are_refused(rates, moments, limit, message):
    with pytest.raises(OutOfRange, match=message):
        slack_windows(np.array(rates), times(*moments), limit)


def test_an_hour_in_one_knot_is_a_nautical_mile():
    assert drift_m(np.full(61, 1.0)) == pytest.approx(1852)
    assert drift_m(np.full(7, -1.0), minutes_step=10) == pytest.approx(1852)


def test_the_drift_of_a_half_sine_is_two_over_pi_of_its_peak_and_time():
    rates = HALF_SINE.rates_kn(SIX_HOURS, np.arange(*stamps([at(0), at(6)]), np.timedelta64(1, "m")))
    assert drift_m(np.append(rates, 0.0)) == pytest.approx(2 / np.pi * 3.0 * 6 * 1852, rel=1e-5)


def test_a_drift_with_one_unknown_rate_is_not_known_and_one_of_a_single_rate_is_refused():
    assert np.isnan(drift_m(np.array([0.1, np.nan, 0.1])))
    with pytest.raises(OutOfRange, match="there are 1 rates"):
        drift_m(np.array([0.1]))
    with pytest.raises(OutOfRange, match="step is 0 min"):
        drift_m(np.array([0.1, 0.2]), 0)


# ---- from the site file to the day --------------------------------------------------------------------------------

VALID = (Path(__file__).parents[1] / "catalogue" / "bad_sites" / "north-cove.toml").read_text(encoding="utf-8")
TABLE_TEXT = 'kind = "table"\nspring_range_m = 4\nneap_range_m = 2\n' + "".join(
    f"\n[[stream.table]]\nhours_from_high_water = {hour}\nspring_kn = {spring}\nneap_kn = {neap}\ntoward_deg = {to}\n"
    for hour, spring, neap, to in ATLAS_ROWS
)
CONSTANTS_TEXT = (
    'kind = "constants"\nmean_kn = 0\nflood_toward_deg = 25\nebb_toward_deg = 205\n'
    "\n[stream.constituents]\nM2 = [2, 40]\nS2 = [0.5, 80]\nN2 = [0.4, 20]\n"
)
SLACK_TEXT = (
    'kind = "slack"\nhigh_water_slack_min = 0\nlow_water_slack_min = 0\nspring_rate_kn = 3\nneap_rate_kn = 1.5\n'
    "spring_range_m = 4\nneap_range_m = 2\nflood_toward_deg = 25\nebb_toward_deg = 205\n"
)
KINDS_OF_STREAM = {
    "constants": (CONSTANTS_TEXT, SEMIDIURNAL),
    "table": (TABLE_TEXT, ATLAS),
    "slack": (SLACK_TEXT, HALF_SINE),
}


def site_with(folder: Path, stream: str, tide: str = 'station = "north-haven"'):
    from tripplan.catalogue.site import read_site

    text = VALID.replace('kind = "none"\n', stream).replace('station = "north-haven"', tide)
    for limits in ("{ lowest_m = 1.0, highest_m = 3.6 }", "{ lowest_m = 0.8 }"):
        text = text.replace(limits, "{}")
    (folder / "north-cove.toml").write_text(text, encoding="utf-8")
    return read_site(folder / "north-cove.toml")


def stream_closures_of(site, tide: HarmonicTide | PrintedTide | None):
    """Return the closures of a day for the stream, with a station of such a tide, or none at all."""
    from tripplan.catalogue.station import Station
    from tripplan.people.group import KINDS
    from tripplan.planning.setting import site_windows
    from tripplan.planning.world import World
    from tripplan.rulebook import baseline

    quay = Station("north-haven", "Quay", 47.0, -17.0, "Atlantic/Azores", "chart datum", tide, "constants")
    world = World({"north-cove": site}, {"north-haven": quay} if tide else {}, {}, baseline())
    window = site_windows(site, DAY.date(), KINDS["guided"], world)
    return [closure for closure in window.closures if closure.rule == "stream"]


@pytest.mark.parametrize("kind", KINDS_OF_STREAM)
def test_a_site_file_of_each_kind_gives_its_stream_and_the_plan_closes_the_water_by_it(tmp_path, kind):
    from tripplan.planning.window import site_stream

    text, expected = KINDS_OF_STREAM[kind]
    site = site_with(tmp_path, text)
    stream = site_stream(site)
    assert stream == expected
    tide = station("8443970")
    closures = stream_closures_of(site, tide)
    slacks = stream.slack_times(tide, at(2), at(22))
    assert slacks and {closure.phase for closure in closures} == {"water"}
    if kind != "table":  # whose hours leave gaps
        assert {closure.sentence.split(" ")[3] for closure in closures} == {"above"}
        for slack in slacks:  # a stream this strong turns within the margins of some minutes
            assert not any(closure.start <= slack < closure.end for closure in closures)


def test_a_stream_that_needs_a_tide_which_is_not_known_closes_the_whole_day(tmp_path):
    for text in (TABLE_TEXT, SLACK_TEXT):
        (closure,) = stream_closures_of(site_with(tmp_path, text), None)
        assert closure.sentence == "The stream is not known."
        assert closure.end - closure.start == timedelta(hours=24)


def test_a_stream_of_constants_is_known_where_no_tide_is(tmp_path):
    site = site_with(tmp_path, CONSTANTS_TEXT, 'none_because = "no station near"')
    closures = stream_closures_of(site, None)
    assert 3 <= len(closures) <= 6
    assert not any("not known" in closure.sentence for closure in closures)
