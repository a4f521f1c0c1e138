"""What is known of wind, sea and weather: nothing filled in, nothing forgotten.

Expected values are worked out by hand beside each check; the hours are those of one invented day, UTC.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.environment.conditions import (
    QUANTITIES,
    Conditions,
    Forecast,
    Note,
    Origin,
    Seen,
    Series,
    as_inputs,
    heavy_rain_spans,
    sample,
)
from tripplan.errors import OutOfRange

DAY = datetime(2027, 6, 12, tzinfo=UTC)
MADE = Origin("Invented forecast", DAY - timedelta(hours=4))
OTHER = Origin("Another forecast", DAY - timedelta(hours=5))


def hour(hours: float) -> datetime:
    return DAY + timedelta(hours=hours)


def moments(quantity: str, told: dict[float, float | None], origin: Origin = MADE) -> Series:
    times = tuple(hour(h) for h in told)
    return Series(quantity, times, times, tuple(told.values()), origin)


def spans(quantity: str, told: dict[tuple[float, float], float | None], origin: Origin = MADE) -> Series:
    starts, ends = (tuple(hour(pair[n]) for pair in told) for n in (0, 1))
    return Series(quantity, starts, ends, tuple(told.values()), origin)


def times(*hours: float) -> np.ndarray:
    return np.array([np.datetime64(hour(h).replace(tzinfo=None), "m") for h in hours])


def at(series: Series, *hours: float) -> list[float]:
    return series.at(times(*hours)).tolist()


def sampled(quantity: str, conditions: Conditions, *hours: float, holds_h: float = 3.0) -> list[float]:
    return sample(conditions, times(*hours), holds_h)[quantity].tolist()


def unknown(values: list[float]) -> list[bool]:
    return [math.isnan(value) for value in values]


# ---- series ----


def test_between_two_moments_a_value_lies_on_the_straight_line():
    wind = moments("wind_m_s", {0: 2.0, 1: 8.0, 3: 4.0})
    # 15 min: a quarter of the way from 2 to 8; 02:00: half way from 8 to 4.
    assert at(wind, 0, 0.25, 1, 2, 3) == [2.0, 3.5, 8.0, 6.0, 4.0]


def test_before_the_first_moment_and_after_the_last_nothing_is_known():
    wind = moments("wind_m_s", {1: 2.0, 2: 8.0})
    assert unknown(at(wind, 0.99, 1, 2, 2.02)) == [True, False, False, True]


def test_one_moment_alone_is_known_for_itself_only():
    assert unknown(at(moments("wind_m_s", {1: 2.0}), 0.98, 1, 1.02)) == [True, False, True]


def test_no_moments_are_nothing_known():
    assert unknown(at(Series("wind_m_s", (), (), (), MADE), 0, 1)) == [True, True]


def test_six_hours_between_two_moments_are_bridged_and_a_minute_more_is_not():
    assert at(moments("wind_m_s", {0: 0.0, 6: 6.0}), 3) == [3.0]
    late = moments("wind_m_s", {0: 0.0, 6 + 1 / 60: 6.0})
    assert unknown(at(late, 0, 1 / 60, 3, 6, 6 + 1 / 60)) == [False, True, True, True, False]


def test_a_moment_that_the_source_does_not_know_leaves_both_sides_of_it_unknown():
    wind = moments("wind_m_s", {0: 2.0, 1: None, 2: 4.0, 3: 6.0})
    assert unknown(at(wind, 0, 0.5, 1, 1.5, 2, 2.5)) == [False, True, True, True, False, False]


def test_a_span_holds_its_value_from_its_start_to_before_its_end():
    thunder = spans("thunder", {(1, 2): 1.0, (2, 3): 0.0})
    assert at(thunder, 1, 1.99, 2, 2.99) == [1.0, 1.0, 0.0, 0.0]
    assert unknown(at(thunder, 0.99, 3)) == [True, True]


def test_between_two_spans_that_do_not_meet_nothing_is_known():
    rain = spans("rain_mm", {(0, 1): 1.0, (2, 3): 2.0})
    assert unknown(at(rain, 0.5, 1, 1.5, 2)) == [False, True, True, False]


def test_from_a_span_to_a_moment_no_line_is_drawn():
    mixed = spans("wind_m_s", {(0, 1): 4.0, (2, 2): 6.0})
    assert unknown(at(mixed, 0, 0.5, 1.5, 2)) == [False, False, True, False]


@pytest.mark.parametrize(
    ("first", "second", "half_way"),
    [(350.0, 10.0, 0.0), (10.0, 350.0, 0.0), (350.0, 30.0, 10.0), (180.0, 200.0, 190.0), (0.0, 360.0, 0.0)],
)
def test_a_bearing_turns_the_short_way_over_north(first, second, half_way):
    (found,) = at(moments("wind_from_deg", {0: first, 1: second}), 0.5)
    assert found % 360 == pytest.approx(half_way)


@given(st.floats(0, 360), st.floats(0, 360), st.integers(0, 60))
@settings(max_examples=40, deadline=None)
def test_a_bearing_in_between_is_never_outside_the_circle_nor_off_the_short_way(first, second, minute):
    (found,) = at(moments("wind_from_deg", {0: first, 1: second}), minute / 60)
    apart = abs((second - first + 180) % 360 - 180)
    assert 0 <= found <= 360
    assert abs((found - first + 180) % 360 - 180) <= apart + 1e-6
    assert abs((found - second + 180) % 360 - 180) <= apart + 1e-6


def test_between_two_moments_of_which_one_has_thunder_there_is_thunder():
    thunder = moments("thunder", {0: 0.0, 1: 1.0, 2: 0.0, 3: 0.0})
    assert at(thunder, 0, 0.1, 1, 1.9, 2.5) == [0.0, 1.0, 1.0, 1.0, 0.0]


def test_a_time_in_another_zone_is_the_same_moment():
    east = timezone(timedelta(hours=5, minutes=30))
    here = tuple(hour(h).astimezone(east) for h in (0, 1))
    assert at(Series("wind_m_s", here, here, (2.0, 4.0), MADE), 0.5) == [3.0]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"quantity": "wind_kn"}, "wind_m_s"),
        ({"values": (1.0,)}, "as many of both"),
        ({"starts": (DAY.replace(tzinfo=None), hour(1))}, "offset from UTC"),
        ({"starts": (hour(1), DAY), "ends": (hour(1), DAY)}, "not in order"),
        ({"starts": (DAY, DAY), "ends": (DAY, DAY)}, "not in order"),
        ({"ends": (DAY, hour(0.5))}, "ends before it begins"),
        ({"values": (1.0, -0.1)}, "from 0 to 75"),
        ({"values": (1.0, math.nan)}, "from 0 to 75"),
        ({"values": (1.0, math.inf)}, "from 0 to 75"),
    ],
)
def test_a_series_that_no_forecast_means_is_refused_with_what_is_accepted(changes, words):
    whole = {"quantity": "wind_m_s", "starts": (DAY, hour(1)), "ends": (DAY, hour(1)), "values": (1.0, 2.0)}
    with pytest.raises(OutOfRange, match=words):
        Series(**{**whole, **changes}, origin=MADE)


@pytest.mark.parametrize(
    ("given_value", "when", "words"), [(400.0, DAY, "must be from"), (math.nan, DAY, "must be from"),
                                       (1.0, DAY.replace(tzinfo=None), "offset from UTC")],
)  # fmt: skip
def test_an_observation_that_cannot_be_is_refused(given_value, when, words):
    with pytest.raises(OutOfRange, match=words):
        Seen("swell_m", given_value, when)


def test_an_observation_of_something_unknown_is_refused():
    with pytest.raises(OutOfRange, match="no quantity known here"):
        Seen("swell_ft", 1.0, DAY)


def test_every_quantity_ends_in_its_unit_and_has_room_between_its_ends():
    ends = {"m/s": "_m_s", "deg": "_deg", "C": "_c", "mm": "_mm", "m": "_m", "s": "_s", "kn": "_kn", "h": "_h"}
    for key, quantity in QUANTITIES.items():
        assert key == quantity.key and quantity.lowest < quantity.highest
        assert key == "thunder" or key.endswith(ends[quantity.unit])


# ---- sums of rain ----


def test_rain_over_a_part_of_a_span_is_that_part_of_it():
    rain = spans("rain_mm", {(0, 6): 12.0, (6, 7): 3.0})
    assert rain.total(hour(0), hour(6)) == pytest.approx(12.0)
    assert rain.total(hour(2), hour(3)) == pytest.approx(2.0)
    assert rain.total(hour(5), hour(7)) == pytest.approx(5.0)


def test_rain_of_which_a_part_is_not_known_has_no_total():
    rain = spans("rain_mm", {(0, 1): 1.0, (1, 2): None, (3, 4): 2.0})
    assert rain.total(hour(0), hour(1)) == pytest.approx(1.0)
    assert rain.total(hour(0), hour(2)) is None
    assert rain.total(hour(2), hour(4)) is None
    assert rain.total(hour(-1), hour(1)) is None


def test_rain_told_for_moments_is_no_rain_over_a_time():
    assert moments("rain_mm", {0: 1.0, 1: 1.0}).total(hour(0), hour(1)) is None


def test_spans_that_overlap_do_not_make_an_unknown_rest_known():
    # Known are 00:00 to 00:40 only; the overlap must not stand for 00:40 to 01:00. Refusing the series would do too.
    try:
        rain = spans("rain_mm", {(0, 0.5): 1.0, (1 / 6, 4 / 6): 1.0})
    except OutOfRange:
        return
    assert rain.total(hour(0), hour(1)) is None


def hourly_rain(told: dict[int, float | None], first: int = -100, last: int = 48) -> Series:
    return spans("rain_mm", {(h, h + 1): told.get(h, 0.0) for h in range(first, last)})


def heavy(*series: Series, since: float = 0, until: float = 24) -> tuple[list[tuple[float, float]], bool]:
    found, known = heavy_rain_spans(Forecast(series), hour(since), hour(until), 10.0)
    return [((a - DAY).total_seconds() / 3600, (b - DAY).total_seconds() / 3600) for a, b in found], known


def test_rain_is_heavy_from_the_hour_that_brings_a_day_to_the_limit_itself():
    assert heavy(hourly_rain({3: 4.0, 4: 6.0})) == ([(4, 5)], True)
    assert heavy(hourly_rain({3: 4.0, 4: 5.99})) == ([], True)


def test_rain_counts_together_within_twenty_four_hours_and_not_beyond():
    assert heavy(hourly_rain({-20: 9.0, 3: 1.0})) == ([(3, 4)], True)  # hours -20 to 3: 24 of them
    assert heavy(hourly_rain({-21: 9.0, 3: 1.0})) == ([], True)  # 25 of them


def test_every_wet_hour_of_a_heavy_day_is_part_of_it_and_a_dry_one_is_not():
    assert heavy(hourly_rain({2: 10.0, 3: 0.1, 5: 0.1}))[0] == [(2, 4), (5, 6)]


def test_an_hour_that_nobody_knows_counts_as_dry_and_is_said():
    assert heavy(hourly_rain({3: 10.0, 5: None})) == ([(3, 4)], False)
    assert heavy_rain_spans(None, hour(0), hour(24), 10.0) == ([], False)


def test_an_hour_that_one_source_does_not_know_is_asked_of_the_next():
    assert heavy(hourly_rain({3: None}), hourly_rain({3: 12.0})) == ([(3, 4)], True)


# ---- which source counts ----


def test_the_first_source_that_knows_a_minute_counts_minute_by_minute():
    first = moments("wind_m_s", {0: 2.0, 1: 2.0, 2: None, 3: 2.0})
    second = moments("wind_m_s", {0: 9.0, 1: 9.0, 2: 9.0, 3: 9.0, 4: 9.0}, OTHER)
    both = Conditions(Forecast((first, second)))
    assert sampled("wind_m_s", both, 0, 0.5, 1, 1.02, 2, 2.98, 3, 3.02, 4) == [2, 2, 2, 9, 9, 9, 2, 9, 9]
    assert unknown(sampled("wind_m_s", both, 4.02)) == [True]


def test_only_sources_that_were_used_are_named():
    first = moments("wind_m_s", {0: 2.0, 1: 2.0})
    second = moments("wind_m_s", {0: 9.0, 1: 9.0}, OTHER)
    found = sample(Conditions(Forecast((first, second))), times(0, 0.5), 3)
    assert found.origins["wind_m_s"] == (MADE,)
    found = sample(Conditions(Forecast((second, first))), times(0, 0.5), 3)
    assert found.origins["wind_m_s"] == (OTHER,)


def test_a_quantity_that_nobody_tells_is_unknown_and_not_zero():
    found = sample(Conditions(Forecast((moments("wind_m_s", {0: 2.0}),))), times(0), 3)
    assert unknown(found["swell_m"].tolist()) == [True]
    assert not found.knows("swell_m") and found.knows("wind_m_s")


def test_conditions_of_nothing_at_all_know_nothing():
    found = sample(Conditions(), times(0, 1), 3)
    assert all(unknown(found[key].tolist()) == [True, True] for key in QUANTITIES)


# ---- what was seen ----

CALM = Forecast(
    (moments("wind_m_s", {h: 3.0 for h in range(25)}), moments("visibility_m", {h: 9000.0 for h in range(25)}))
)


def test_what_was_seen_holds_for_its_hours_and_not_a_minute_longer():
    seen = Conditions(CALM, (Seen("visibility_m", 400.0, hour(9)),))
    assert sampled("visibility_m", seen, 8.98, 9, 11.98, 12) == [9000, 400, 400, 9000]


def test_wind_seen_above_the_forecast_raises_it_afterwards_by_the_difference():
    seen = Conditions(CALM, (Seen("wind_m_s", 7.0, hour(9)),))
    assert sampled("wind_m_s", seen, 8.98, 9, 11.98, 12, 24) == [3, 7, 7, 7, 7]  # 3 and the 4 it was too low
    rising = Forecast((moments("wind_m_s", {9: 3.0, 12: 6.0, 15: 9.0}),))
    # Seen 7 where 3 were forecast; at 11:00, still fresh, the forecast has risen by 2; afterwards the 4 stay on top.
    found = sampled("wind_m_s", Conditions(rising, seen.seen), 9, 11, 12, 15)
    assert found == pytest.approx([7, 9, 10, 13])


@pytest.mark.parametrize(
    ("quantity", "forecast", "seen", "expected"),
    [
        ("wind_m_s", {9: 5.0, 11: 9.0, 13: 9.0}, 3.0, [3.0, 7.0, 9.0]),  # rises by 4 in the two hours
        ("wind_m_s", {9: 5.0, 11: 2.0, 13: 2.0}, 3.0, [3.0, 3.0, 2.0]),  # falls: what was seen holds
        ("visibility_m", {9: 9000.0, 11: 6000.0, 13: 6000.0}, 4000.0, [4000.0, 1000.0, 6000.0]),
        ("visibility_m", {9: 9000.0, 11: 1000.0, 13: 1000.0}, 4000.0, [4000.0, 0.0, 1000.0]),  # never below nought
        ("visibility_m", {9: 100.0, 11: 9000.0, 13: 9000.0}, 400.0, [400.0, 400.0, 9000.0]),
        ("water_c", {9: 16.0, 11: 18.0, 13: 18.0}, 12.0, [12.0, 12.0, 14.0]),  # 4 too warm at nine, and so later
    ],
)
def test_what_was_seen_grows_worse_with_the_forecast_and_never_better(quantity, forecast, seen, expected):
    told = Conditions(Forecast((moments(quantity, forecast),)), (Seen(quantity, seen, hour(9)),))
    assert sampled(quantity, told, 9, 11, 13) == pytest.approx(expected)


def test_thunder_not_heard_at_nine_does_not_hide_the_thunder_forecast_for_ten():
    storm = Forecast((spans("thunder", {(8, 10): 0.0, (10, 11): 1.0, (11, 14): 0.0}),))
    quiet = Conditions(storm, (Seen("thunder", 0.0, hour(9)),))
    assert sampled("thunder", quiet, 9, 9.98, 10, 10.98, 11) == [0.0, 0.0, 1.0, 1.0, 0.0]


def test_the_forecast_for_the_moment_of_an_observation_lies_between_its_hours():
    rising = Forecast((moments("wind_m_s", {9: 3.0, 10: 5.0, 14: 5.0}),))
    seen = sample(Conditions(rising, (Seen("wind_m_s", 7.0, hour(9.5)),)), times(13), 3)
    assert seen["wind_m_s"].tolist() == [8.0]  # 4 was forecast for 09:30, 7 seen: 3 more than 5
    ((observation, forecast),) = seen.worse_than_forecast
    assert (observation.value, forecast) == (7.0, 4.0)


def test_wind_seen_below_the_forecast_does_not_lower_it_afterwards():
    seen = sample(Conditions(CALM, (Seen("wind_m_s", 1.0, hour(9)),)), times(9, 12), 3)
    assert seen["wind_m_s"].tolist() == [1.0, 3.0]
    assert seen.worse_than_forecast == ()


def test_a_later_observation_takes_over_from_an_earlier_one_whatever_the_order_they_were_written_in():
    two = (Seen("wind_m_s", 2.0, hour(11)), Seen("wind_m_s", 7.0, hour(9)))
    for order in (two, two[::-1]):
        assert sampled("wind_m_s", Conditions(CALM, order), 9, 10.98, 11, 13.98, 14) == [7, 7, 2, 2, 3]


def test_a_later_observation_that_is_worse_still_raises_by_its_own_difference():
    two = (Seen("wind_m_s", 4.0, hour(9)), Seen("wind_m_s", 8.0, hour(11)))
    assert sampled("wind_m_s", Conditions(CALM, two), 11, 14, 20) == [8, 8, 8]  # 3 and 5, not 3 and 1 and 5


def test_what_was_seen_without_a_forecast_is_unknown_again_afterwards():
    for conditions in (
        Conditions(None, (Seen("wind_m_s", 7.0, hour(9)),)),
        Conditions(Forecast(), (Seen("wind_m_s", 7.0, hour(9)),)),
    ):
        found = sampled("wind_m_s", conditions, 8.98, 9, 11.98, 12)
        assert unknown(found) == [True, False, False, True] and found[1] == 7.0


def test_an_observation_of_the_evening_before_still_raises_the_day():
    long_forecast = Forecast((moments("swell_m", {h: 0.5 for h in range(-24, 25)}),))
    seen = Conditions(long_forecast, (Seen("swell_m", 1.5, hour(-5)),))
    assert sampled("swell_m", seen, 0, 12) == pytest.approx([1.5, 1.5])
    assert sample(seen, times(0, 12), 3).seen == {}  # it no longer stands in the forecast's place


def test_more_observations_are_added_to_those_there_were():
    before = Conditions(CALM, (Seen("wind_m_s", 7.0, hour(9)),))
    after = before.with_seen([Seen("wind_m_s", 5.0, hour(10))])
    assert [seen.value for seen in after.seen] == [7.0, 5.0] and len(before.seen) == 1


def test_a_member_of_an_ensemble_counts_before_the_forecast_and_lacks_nothing():
    member = (moments("wind_m_s", {0: 9.0, 1: 9.0}),)
    whole = Conditions(replace(CALM, members=(member,)))
    assert sampled("wind_m_s", whole, 0.5) == [3.0]
    assert sampled("wind_m_s", whole.member(0), 0.5, 2) == [9.0, 3.0]
    assert sampled("visibility_m", whole.member(0), 0.5) == [9000.0]


def test_thunder_in_words_is_heard_or_not():
    assert "not heard" in Seen("thunder", 0.0, hour(9)).words
    assert "thunder heard at 09:00 on 12 June by Ana" in Seen("thunder", 1.0, hour(9), "Ana").words


def test_an_origin_says_how_old_it_is_and_if_it_is_a_copy():
    words = Origin("Invented forecast", hour(6), hour(0), stale=True).words
    assert "issued 12 June 00:00" in words and "fetched 12 June 06:00" in words and "old copy" in words
    assert "issued" not in MADE.words and "old copy" not in MADE.words


# ---- the same things, the same words ----


def test_inputs_are_plain_and_differ_with_every_value_told():
    told = Conditions(Forecast(CALM.series, (Note("A", "It did not answer.", DAY),)), (Seen("wind_m_s", 7.0, hour(9)),))
    text = json.dumps(as_inputs(told), allow_nan=False)
    assert text == json.dumps(as_inputs(replace(told)))
    wind = CALM.series[0]
    others = [
        replace(told, seen=()),
        replace(told, seen=(Seen("wind_m_s", 7.1, hour(9)),)),
        replace(told, forecast=replace(told.forecast, notes=())),
        replace(told, forecast=replace(told.forecast, series=CALM.series[::-1])),
        replace(told, forecast=replace(told.forecast, members=((wind,),))),
        replace(told, forecast=replace(told.forecast, series=(replace(wind, values=(3.01, *wind.values[1:])),))),
        replace(told, forecast=replace(told.forecast, series=(replace(wind, values=(None, *wind.values[1:])),))),
        replace(told, forecast=replace(told.forecast, series=(replace(wind, origin=OTHER), *CALM.series[1:]))),
    ]
    texts = {json.dumps(as_inputs(other), allow_nan=False) for other in others}
    assert text not in texts and len(texts) == len(others)
