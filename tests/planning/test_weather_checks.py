"""What wind, sea and weather mean for a dive as planned, and what nobody has told.

Limits are those of the baseline rule book; heights of surf come from the formulas written out in test_shore.py.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, time, timedelta
from typing import Any

import pytest
import weather_world as ww
from cove_world import DAY, group, request, site, world

from tests.planning.readiness import OF_EVERY_TEST
from tripplan.check import Outcome
from tripplan.documents.data import plan_json
from tripplan.environment.conditions import Conditions, Forecast, Note, Seen
from tripplan.planning.day import plan_day, revision_of
from tripplan.planning.plan import DayPlan
from tripplan.planning.request import DiveWish


def kn(knots: float) -> float:
    return knots * 1852 / 3600


def told(*seen: Seen, **changes: float | Sequence[float | None] | None) -> Conditions:
    return ww.conditions(DAY, *seen, **{**ww.STILL, **changes})


def said(made: DayPlan, rule: str) -> str:
    return " | ".join(check.sentence for check in ww.checks(made, rule))


def at_ten(**more: Any) -> Any:
    return ww.guided(dives=(DiveWish(depth_m=12.0, minutes=30, entry=time(10)),), **more)


def course_at_ten() -> Any:
    return ww.course(dives=(DiveWish(depth_m=5.0, minutes=20, entry=time(10)),))


LOOKED = Seen("underwater_visibility_m", 10.0, ww.at(DAY, 9))  # somebody looked at the water an hour before


def test_a_calm_day_with_all_known_needs_no_caution_about_the_weather():
    made = ww.plan(fetched(-9.0), at_ten())
    assert not made.stops
    (other,) = (check for check in made.cautions if check.rule not in OF_EVERY_TEST)
    assert "alternative exit" in other.sentence  # the test cove has none
    assert {"surf", "wind", "visibility", "thunder", "suit", "heat", "conditions-known", "forecast", "seen"} <= {
        check.rule for check in made.checks
    }


# ---- unknown is never ok ----


def test_without_any_conditions_the_plan_says_that_no_forecast_was_used():
    made = ww.plan(None)
    assert ww.outcomes(made, "forecast") == {"caution"}
    assert "No forecast was used" in said(made, "forecast")


def test_everything_unknown_is_one_caution_that_names_it_all():
    site_unknown = ww.cove(exposure={"open_to_swell": ()})
    nothing = Conditions(Forecast((ww.series(DAY, "air_c", 16.0),)))
    made = ww.plan(nothing, site=site_unknown)
    assert made.dives[0].entry is not None  # unknown closes nothing
    (check,) = ww.checks(made, "conditions-known")
    assert check.outcome is Outcome.CAUTION
    for words in ("sea", "wind", "thunder", "visibility above water"):
        assert words in check.sentence
    for rule in ("wind", "surf", "visibility", "thunder"):  # and nothing unknown is called fine
        assert ww.checks(made, rule) == []


@pytest.mark.parametrize(
    ("quantity", "words"),
    [("wind_m_s", "wind"), ("thunder", "thunder"), ("visibility_m", "visibility above water"), ("swell_m", "sea")],
)
def test_one_quantity_unknown_for_a_part_of_the_dive_is_named(quantity, words):
    calm = {"visibility_m": 9000.0}.get(quantity, 0.0)
    hours = [calm] * 10 + [None] + [calm] * 13  # not told for 10:00: unknown after 9:00 and before 11:00
    made = ww.plan(told(LOOKED, **{quantity: hours}), at_ten())
    (check,) = ww.checks(made, "conditions-known")
    assert check.outcome is Outcome.CAUTION and words in check.sentence
    later = ww.guided(dives=(DiveWish(depth_m=12.0, minutes=30, entry=time(14)),))
    assert ww.outcomes(ww.plan(told(LOOKED, **{quantity: hours}), later), "conditions-known") == {"ok"}


def test_a_forecast_that_holds_nothing_is_a_caution():
    made = ww.plan(Conditions(Forecast()))
    assert ww.outcomes(made, "conditions-known") == {"caution"}


def test_the_words_of_a_forecast_that_failed_altogether_are_a_sentence():
    failed = Conditions(Forecast(notes=(Note("Far service", "Far service did not answer.", ww.at(DAY, 5)),)))
    assert ww.plan(failed).forecast_words[0].isalpha()


def test_rain_that_nobody_knows_is_a_caution_at_an_outfall_only():
    outfall = {"hazards": ({"kind": "outfall", "what": "storm drain", "control": "stay east of it"},)}
    unknown = told(LOOKED, rain_mm=None)
    made = ww.plan(unknown, at_ten(), site=ww.cove(**outfall))
    assert "rain of the last 72 h" in said(made, "conditions-known")
    assert ww.outcomes(made, "conditions-known") == {"caution"}
    assert ww.outcomes(ww.plan(unknown, at_ten()), "conditions-known") == {"ok"}
    seen = unknown.with_seen([Seen("heavy_rain_h", 500.0, ww.at(DAY, 8))])
    assert ww.outcomes(ww.plan(seen, at_ten(), site=ww.cove(**outfall)), "conditions-known") == {"ok"}


def test_shelter_and_open_water_that_nobody_wrote_down_are_cautions_of_their_own():
    made = ww.plan(told(LOOKED), at_ten(), site=site())
    assert ww.outcomes(made, "exposure-known") == ww.outcomes(made, "fetch-known") == {"caution"}
    surveyed = ww.plan(told(LOOKED), at_ten())
    assert ww.checks(surveyed, "exposure-known") == ww.checks(surveyed, "fetch-known") == []


def test_a_lake_needs_no_open_sectors():
    lake = ww.cove(
        water={"kind": "fresh", "salinity": 0.0, "temperature_c": (14.0,) * 12},
        tide={"none_because": "a lake"},
        exposure={"fetch": ()},
    )
    made = ww.plan(told(LOOKED, swell_m=None, wind_sea_m=None), at_ten(), site=lake)
    assert ww.checks(made, "exposure-known") == []
    assert ww.outcomes(made, "conditions-known") == {"ok"}


def test_visibility_under_water_that_nobody_has_seen_is_a_caution():
    made = ww.plan(told(), at_ten())
    assert ww.outcomes(made, "visibility-under-water") == {"caution"}
    assert ww.outcomes(ww.plan(told(LOOKED), at_ten()), "visibility-under-water") == {"ok"}


def test_visibility_under_water_seen_too_long_before_the_dive_is_a_caution_again():
    early = Seen("underwater_visibility_m", 10.0, ww.at(DAY, 5))
    assert "caution" in ww.outcomes(ww.plan(told(early), at_ten()), "visibility-under-water")


# ---- surf ----


def test_the_largest_wave_of_ten_minutes_above_the_limit_is_a_caution():
    """0.45 m at 8 s breaks 0.39 x 1.579 x (8 x 0.2025)^0.4 = 0.75 m high; the largest of 75: x 1.469 = 1.10 m."""
    breaks = 0.39 * 9.80665**0.2 * (8 * 0.45**2) ** 0.4
    assert breaks < 1 < breaks * math.sqrt(math.log(75) / 2)
    made = ww.plan(told(LOOKED, swell_m=0.45, swell_s=8.0), at_ten())
    (check,) = ww.checks(made, "surf")
    assert check.outcome is Outcome.CAUTION and check.found == pytest.approx(breaks, abs=0.006) and check.limit == 1
    assert "1.2 m" in check.sentence or "1.1 m" in check.sentence
    quiet = ww.plan(told(LOOKED, swell_m=0.2, swell_s=8.0), at_ten())
    assert ww.outcomes(quiet, "surf") == {"ok"}


def test_a_slope_that_nobody_wrote_down_is_a_caution_where_waves_break():
    for held in (at_ten(), course_at_ten()):
        made = ww.plan(told(LOOKED, swell_m=0.15, swell_s=8.0), held, site=ww.cove(slope=None))
        (check,) = ww.checks(made, "surf-kind")
        assert check.outcome is Outcome.CAUTION and "slope of Beach" in check.sentence
    flat = ww.plan(told(LOOKED), at_ten(), site=ww.cove(slope=None))
    assert ww.checks(flat, "surf-kind") == []


def test_surf_that_dumps_is_a_caution_for_guided_divers_and_no_dive_for_a_course():
    sea = told(LOOKED, swell_m=0.15, swell_s=8.0)
    made = ww.plan(sea, at_ten(), site=ww.cove(slope=0.1))
    (check,) = ww.checks(made, "surf-kind")
    assert check.outcome is Outcome.CAUTION and "plunging" in check.sentence and "dumps" in check.sentence
    taught = ww.plan(sea, course_at_ten(), site=ww.cove(slope=0.1))
    assert taught.verdict is Outcome.STOP and taught.dives[0].entry is None
    assert "surf-steep" in {closure.rule for closure in taught.closures}


def test_a_period_that_was_taken_is_said():
    made = ww.plan(told(LOOKED, swell_m=0.2, swell_s=None), at_ten())
    (check,) = ww.checks(made, "swell-period-known")
    assert check.outcome is Outcome.CAUTION and "14 s" in check.sentence
    assert ww.checks(ww.plan(told(LOOKED, swell_m=0.2, swell_s=9.0), at_ten()), "swell-period-known") == []


def test_a_swell_that_moves_the_shallow_end_of_the_place_is_a_caution():
    """The speed is pi H / (T sinh k d), w^2 = g k tanh k d; 0.9 m of 14 s over 5 m: 0.6 m/s, 0.5 is a caution."""
    slow = ww.plan(told(LOOKED, swell_m=0.4, swell_s=8.0), at_ten())
    assert ww.outcomes(slow, "surge") == {"ok"}
    seen = told(LOOKED, Seen("breaker_m", 0.3, ww.at(DAY, 9)), swell_m=0.9, swell_s=14.0)
    made = ww.plan(seen, at_ten())
    (check,) = ww.checks(made, "surge")
    omega2 = (2 * math.pi / 14) ** 2
    kd = 0.3
    for _ in range(200):
        kd = omega2 * 5 / 9.80665 / math.tanh(kd) * 0.5 + kd * 0.5
    assert check.outcome is Outcome.CAUTION
    assert check.found == pytest.approx(math.pi * 0.9 / (14 * math.sinh(kd)), abs=0.006)


# ---- wind ----


def test_force_four_onto_the_shore_is_a_caution_for_courses_and_none_for_guided_divers():
    wind = told(LOOKED, wind_m_s=kn(13), gust_m_s=kn(15), wind_from_deg=180.0)
    (check,) = ww.checks(ww.plan(wind, course_at_ten()), "wind")
    assert check.outcome is Outcome.CAUTION and "force 4" in check.sentence
    assert ww.outcomes(ww.plan(wind, at_ten()), "wind") == {"ok"}
    gentle = told(LOOKED, wind_m_s=kn(10), gust_m_s=kn(12), wind_from_deg=180.0)
    assert ww.outcomes(ww.plan(gentle, course_at_ten()), "wind") == {"ok"}


def test_gusts_that_nobody_gives_are_taken_and_said():
    made = ww.plan(told(LOOKED, wind_m_s=kn(8), gust_m_s=None, wind_from_deg=180.0), at_ten())
    (check,) = ww.checks(made, "wind")
    assert check.outcome is Outcome.CAUTION
    assert "gusts 12 kn (taken)" in check.sentence and "1.5 times" in check.sentence


def test_a_wind_of_unknown_direction_is_a_caution():
    made = ww.plan(told(LOOKED, wind_m_s=kn(8), wind_from_deg=None), at_ten())
    (check,) = ww.checks(made, "wind")
    assert check.outcome is Outcome.CAUTION and "not known" in check.sentence and check.limit == 10


def test_the_surface_drifts_at_three_per_cent_of_the_wind_and_off_the_shore_above_a_hundred_metres_is_a_caution():
    """10 kn = 5.144 m/s, 3 % for 600 s: 92.6 m, no caution; a stream adds its own way."""
    made = ww.plan(told(LOOKED, wind_m_s=kn(10), wind_from_deg=0.0), at_ten())
    (check,) = ww.checks(made, "surface-drift")
    assert check.found == 93 and check.outcome is Outcome.OK and "towards 180" in check.sentence
    streaming = told(LOOKED, Seen("stream_kn", 0.3, ww.at(DAY, 9)), wind_m_s=kn(10), wind_from_deg=0.0)
    (check,) = ww.checks(ww.plan(streaming, at_ten()), "surface-drift")
    assert (
        check.outcome is Outcome.CAUTION and check.found == 186
    )  # 185.2, rounded up: and 0.3 kn for 600 s: 92.6 m, the same way


def test_a_stream_seen_where_the_site_file_says_none_is_not_nought_three_hours_later():
    seen = told(LOOKED, Seen("stream_kn", 2.0, ww.at(DAY, 9)))
    later = ww.guided(dives=(DiveWish(depth_m=12.0, minutes=30, entry=time(14)),))
    made = ww.plan(seen, later)
    assert made.verdict is Outcome.STOP and made.dives[0].entry is None
    assert "The stream is not known." in {closure.sentence for closure in made.closures}


# ---- warmth ----


@pytest.mark.parametrize(
    ("suit_mm", "water_c", "outcome"),
    [(5.0, 21.0, "ok"), (5.0, 20.9, "caution"), (5.0, 16.0, "caution"), (7.0, 15.0, "ok"), (7.0, 14.9, "caution"),
     (3.0, 23.9, "caution"), (3.0, 24.0, "ok"), (0.0, 29.0, "ok"), (0.0, 28.0, "caution")],
)  # fmt: skip
def test_a_suit_too_thin_for_the_water_is_a_caution(suit_mm, water_c, outcome):
    made = ww.plan(told(LOOKED, water_c=water_c), at_ten(suit_mm=suit_mm))
    assert ww.outcomes(made, "suit") == {outcome}


def test_a_suit_far_too_thin_leaves_no_minute():
    made = ww.plan(told(LOOKED, water_c=15.9), at_ten(suit_mm=5.0))
    assert made.verdict is Outcome.STOP and made.dives[0].entry is None
    assert "5 mm" in said(made, "entry-possible")


def test_a_suit_that_nobody_wrote_down_is_a_caution():
    assert ww.outcomes(ww.plan(told(LOOKED), at_ten(suit_mm=None)), "suit") == {"caution"}


def test_children_in_water_below_twelve_degrees_are_a_stop_by_what_is_told_today():
    """The cove usually has 14 C: what is told today counts in its place, both ways."""
    cold = ww.plan(told(LOOKED, water_c=11.0), group("Eleven", suit_mm=7.0))
    assert cold.verdict is Outcome.STOP and ww.outcomes(cold, "cold-children") == {"stop"}
    winter = ww.cove(water={"kind": "sea", "salinity": 35.0, "temperature_c": (10.0,) * 12})
    warm = ww.plan(told(LOOKED, water_c=16.0), group("Eleven", suit_mm=7.0), site=winter)
    assert ww.outcomes(warm, "cold-children") == {"ok"} and ww.closed(warm, "cold") == []
    unknown = ww.plan(told(LOOKED, water_c=None), group("Eleven", suit_mm=7.0), site=winter)
    assert ww.outcomes(unknown, "cold-children") == {"stop"}


def test_water_measured_colder_than_forecast_is_not_warm_again_in_the_afternoon():
    seen = told(LOOKED, Seen("water_c", 12.0, ww.at(DAY, 9)), water_c=16.0)
    later = ww.guided(dives=(DiveWish(depth_m=12.0, minutes=30, entry=time(14)),))
    assert {"caution"} <= ww.outcomes(ww.plan(seen, later), "suit") | ww.outcomes(
        ww.plan(seen, later), "forecast-too-low"
    )


@pytest.mark.parametrize(("air_c", "outcome"), [(30.0, "ok"), (30.5, "caution")])
def test_heat_is_a_caution(air_c, outcome):
    assert ww.outcomes(ww.plan(told(LOOKED, air_c=air_c), at_ten()), "heat") == {outcome}


# ---- the forecast itself ----


def test_what_was_seen_above_the_forecast_is_a_caution_with_both_numbers():
    seen = Seen("wind_m_s", 6.0, ww.at(DAY, 9), "Ana")
    made = ww.plan(told(LOOKED, seen, wind_m_s=4.0, wind_from_deg=180.0), at_ten())
    (check,) = ww.checks(made, "forecast-too-low")
    assert check.outcome is Outcome.CAUTION and check.found == 6.0 and check.limit == 4.0
    assert "09:00" in check.sentence and "by Ana" in said(made, "seen")
    below = ww.plan(told(LOOKED, Seen("wind_m_s", 3.0, ww.at(DAY, 9)), wind_m_s=4.0), at_ten())
    assert ww.checks(below, "forecast-too-low") == []


def fetched(hours_before_day: float, **more: Any) -> Conditions:
    whence = ww.origin(DAY, hours_before_day, **more)
    forecast = told().forecast
    assert forecast is not None
    return Conditions(Forecast(tuple(replace(s, origin=whence) for s in forecast.series)), (LOOKED,))


@pytest.mark.parametrize(("hours_before", "outcome"), [(2.0, "ok"), (2.02, "caution"), (-9.0, "ok")])
def test_a_forecast_older_than_twelve_hours_at_the_first_entry_is_a_caution(hours_before, outcome):
    made = ww.plan(fetched(hours_before), at_ten())  # first entry at 10:00
    assert ww.outcomes(made, "forecast") == {outcome}


def test_an_old_copy_is_a_caution_however_fresh():
    made = ww.plan(fetched(-9.0, stale=True), at_ten())
    assert ww.outcomes(made, "forecast") == {"caution"} and "old copy" in said(made, "forecast")


def test_a_forecast_issued_days_ago_is_old_however_lately_it_was_fetched():
    made = ww.plan(fetched(-9.0, issued=ww.at(DAY, 9) - timedelta(days=3)), at_ten())
    assert ww.outcomes(made, "forecast") == {"caution"}


def test_what_a_source_could_not_tell_becomes_a_caution_in_its_own_words():
    notes = (
        Note("Far service", "Far service did not answer on 12 June at 05:00.", ww.at(DAY, 5)),
        Note("Near service", "Near service has no waves here.", ww.at(DAY, 5)),
    )
    made = ww.plan(Conditions(ww.forecast(DAY, notes), (LOOKED,)), at_ten())
    assert ww.outcomes(made, "forecast-source") == {"caution"}
    assert all(note.sentence in said(made, "forecast-source") for note in notes)


def test_what_was_seen_is_said_as_seen():
    made = ww.plan(told(LOOKED), at_ten())
    assert "visibility under water 10 m at 09:00" in said(made, "seen")
    assert any("10 m at 09:00" in line for line in made.conditions)


def test_a_time_at_which_something_was_seen_is_written_by_the_site_s_clock():
    """In January the clock of the Azores is an hour behind UTC."""
    winter = date(2027, 1, 16)
    seen = Seen("underwater_visibility_m", 10.0, ww.at(winter, 11))
    made = ww.plan(ww.conditions(winter, seen, **ww.STILL), day=winter)
    assert "10:00" in said(made, "seen") or "UTC" in said(made, "seen")


# ---- the plan as JSON, and its revision ----


def leaves(value: Any) -> Iterator[Any]:
    if isinstance(value, dict):
        for key, item in value.items():
            assert type(key) is str
            yield from leaves(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from leaves(item)
    else:
        yield value


STORM = {"swell_m": 3.0, "wind_m_s": 20.0, "visibility_m": 100.0, "thunder": 1.0, "rain_mm": 20.0, "water_c": 5.0}
ROUGH = {"swell_m": 0.4, "wind_m_s": 7.0, "gust_m_s": None, "swell_s": None, "wind_from_deg": None, "air_c": 33.3}


@pytest.mark.parametrize(
    "conditions",
    [
        None,
        Conditions(),
        Conditions(Forecast()),
        Conditions(None, (LOOKED, Seen("breaker_m", 0.4, ww.at(DAY, 9)), Seen("stream_kn", 0.2, ww.at(DAY, 9)))),
        told(LOOKED),
        told(LOOKED, **ROUGH),
        told(LOOKED, **STORM),
        told(**{key: [0.0] * 10 + [None] * 14 for key in ("wind_m_s", "swell_m", "thunder", "rain_mm", "wind_sea_m")}),
    ],
)
@pytest.mark.parametrize("where", [ww.cove(), ww.cove(slope=None, exposure={"open_to_swell": ()}), site()])
def test_the_plan_s_json_is_plain_whatever_the_weather(conditions, where):
    made = ww.plan(conditions, ww.guided(), ww.course(name="Pups", leader="Tutor"), site=where)
    data = plan_json(made)
    json.dumps(data, allow_nan=False)
    for leaf in leaves(data):
        assert leaf is None or type(leaf) in (str, int, float, bool), (type(leaf), leaf)
    for check in made.checks:
        assert check.sentence and "nan" not in check.sentence.split() and " inf" not in check.sentence, check.sentence
        assert type(check.found) in (type(None), int, float, str) and type(check.limit) in (type(None), int, float, str)
    assert not any(" nan" in text or "None" in text for text in (made.headline, made.forecast_words, made.water_words))


def test_the_same_inputs_have_the_same_revision_and_one_changed_value_another():
    asked = request(ww.guided())
    base = replace(world(ww.cove()), conditions={"cove": told(LOOKED, wind_m_s=[3.0] * 24)})
    again = replace(world(ww.cove()), conditions={"cove": told(LOOKED, wind_m_s=[3.0] * 24)})
    assert revision_of(asked, base) == revision_of(asked, again) == plan_day(asked, base).revision
    others = [
        {"cove": told(LOOKED, wind_m_s=[3.0] * 23 + [3.01])},
        {"cove": told(LOOKED, wind_m_s=[3.0] * 23 + [None])},
        {"cove": told(wind_m_s=[3.0] * 24)},
        {"cove": told(replace(LOOKED, value=9.9), wind_m_s=[3.0] * 24)},
        {},
    ]
    found = {revision_of(asked, replace(base, conditions=each)) for each in others}
    assert len(found) == len(others) and revision_of(asked, base) not in found


def test_the_same_inputs_give_the_same_plan():
    asked = request(ww.guided(), ww.course(name="Pups", leader="Tutor"))
    whole = replace(world(ww.cove()), conditions={"cove": told(LOOKED, **ROUGH)})
    assert json.dumps(plan_json(plan_day(asked, whole))) == json.dumps(plan_json(plan_day(asked, whole)))


def test_the_weather_of_another_site_is_not_this_one_s():
    elsewhere = replace(world(ww.cove()), conditions={"bay": told(**STORM)})
    made = plan_day(request(ww.guided()), elsewhere)
    assert made.dives[0].entry is not None and "No forecast was used" in said(made, "forecast")


def test_what_was_seen_days_ago_says_nothing_of_today():
    """Seen two days before: neither sea nor stream of today is changed, and no line names it."""
    days_ago = ww.at(DAY, 9) - timedelta(days=2)
    old = told(
        LOOKED, Seen("breaker_m", 3.0, days_ago), Seen("stream_kn", 2.0, days_ago), Seen("wind_m_s", 20.0, days_ago)
    )
    assert ww.plan(old, at_ten()).checks == ww.plan(told(LOOKED), at_ten()).checks


def test_the_evening_before_still_speaks_for_the_morning():
    evening = ww.at(DAY, 0) - timedelta(hours=4)
    made = ww.plan(told(LOOKED, Seen("wind_m_s", 14.0, evening)), at_ten())
    assert [check for check in made.checks if check.rule == "forecast-too-low"]


def test_wind_is_said_in_knots_as_it_is_judged():
    """14 knots are 7.2 metres a second."""
    made = ww.plan(told(LOOKED, Seen("wind_m_s", 14 * 1852 / 3600, ww.at(DAY, 9), "Ana")), at_ten())
    assert any("wind 14 kn at" in line and "by Ana" in line for line in made.conditions)
