"""The open sea brought to the shore.

Expected heights come from the published formulas, written out here: a breaker after Komar and Gaughan (1972),
Hb = 0.39 g^(1/5) (T H0^2)^(2/5); trains together as the root of the sum of squares; the largest of N waves of a
Rayleigh sea, H sqrt(ln N / 2). The rule book: wrap 45 degrees, sheltered share 0.3, period taken 14 s, watch 10 min.
"""

from __future__ import annotations

import math

import cove_world
import numpy as np
import pytest
import weather_world as ww
from cove_world import DAY

from tripplan.catalogue.site import Site
from tripplan.environment.conditions import Conditions, Seen
from tripplan.planning.shore import ShoreSea, in_sector, shore_sea, weather_of
from tripplan.planning.window import DayGrid
from tripplan.rulebook import baseline

RULES = baseline()
G_M_S2 = 9.80665
GRID = DayGrid(DAY, "UTC")
MINUTES = np.concatenate((GRID.times, GRID.times[-1:] + np.timedelta64(1, "m")))
NOON = 720


def breaker(height_m: float, period_s: float) -> float:
    return 0.39 * G_M_S2**0.2 * (period_s * height_m**2) ** 0.4


def sea_of(told: Conditions, site: Site | None = None) -> ShoreSea:
    weather = weather_of(told, MINUTES, RULES)
    assert weather is not None
    return shore_sea(site or ww.cove(), weather, RULES)


def sea(*seen: Seen, site: Site | None = None, **changes: object) -> ShoreSea:
    return sea_of(ww.conditions(DAY, *seen, **{**ww.STILL, **changes}), site)  # type: ignore[arg-type]


FRESH = {
    "water": {"kind": "fresh", "salinity": 0.0, "temperature_c": (14.0,) * 12},
    "tide": {"none_because": "a lake"},
}


def test_nothing_told_is_no_weather_at_all():
    assert weather_of(None, MINUTES, RULES) is None
    assert weather_of(Conditions(), MINUTES, RULES) is None


def test_weather_has_each_minute_of_the_day_and_the_midnight_after():
    weather = weather_of(ww.conditions(DAY), MINUTES, RULES)
    assert weather is not None
    assert weather.minutes["wind_m_s"].shape == (1441,)
    assert np.isfinite(weather.minutes["wind_m_s"]).all()
    assert weather.hours.times[0] == np.datetime64("2027-06-11T00:00")
    assert weather.hours.times[-1] >= MINUTES[-1]


# ---- swell ----


@pytest.mark.parametrize(("height_m", "period_s"), [(0.2, 8.0), (0.5, 12.0), (1.0, 10.0), (2.0, 16.0)])
def test_swell_straight_in_breaks_as_the_formula_says(height_m, period_s):
    found = sea(swell_m=height_m, swell_s=period_s)
    assert found.breaker_m[NOON] == pytest.approx(breaker(height_m, period_s), rel=1e-9)
    assert not found.incomplete.any() and not found.period_taken.any()


def test_a_flat_sea_is_known_and_breaks_nowhere():
    found = sea()
    assert (found.breaker_m == 0).all() and (found.largest_m == 0).all()
    assert found.known.all() and not found.incomplete.any()


@pytest.mark.parametrize(
    ("bearing_deg", "share"),
    [
        (150.0, 1.0),
        (190.0, 1.0),
        (230.0, 1.0),
        (252.5, 0.65),  # half of the 45 degrees outside: half way from 1 to 0.3
        (275.0, 0.3),
        (127.5, 0.65),
        (105.0, 0.3),
        (10.0, 0.3),
    ],
)
def test_swell_from_outside_the_open_sectors_is_cut_down_to_the_sheltered_share(bearing_deg, share):
    found = sea(swell_m=1.0, swell_s=10.0, swell_from_deg=bearing_deg)
    assert found.swell_m[NOON] == pytest.approx(share)
    assert found.breaker_m[NOON] == pytest.approx(breaker(share, 10.0))


def test_a_sector_over_north_is_open_on_both_sides_of_it():
    north = ww.cove(exposure={"open_to_swell": ({"from_deg": 340.0, "to_deg": 20.0},), "fetch": ()})
    for bearing_deg, share in ((350.0, 1.0), (0.0, 1.0), (10.0, 1.0), (180.0, 0.3), (42.5, 0.65)):
        found = sea(site=north, swell_m=1.0, swell_from_deg=bearing_deg)
        assert found.swell_m[NOON] == pytest.approx(share), bearing_deg


def test_swell_of_unknown_direction_comes_straight_in():
    assert sea(swell_m=1.0, swell_from_deg=None).swell_m[NOON] == pytest.approx(1.0)


@pytest.mark.parametrize("exposure", [None, {"fetch": ()}])
def test_a_site_whose_open_sectors_nobody_wrote_down_is_open_all_round(exposure):
    site = ww.cove(exposure=exposure) if exposure else cove_world.site()
    found = sea(site=site, swell_m=1.0, swell_from_deg=0.0)
    assert found.swell_m[NOON] == pytest.approx(1.0)
    assert not found.exposure_known


def test_a_site_that_is_open_to_no_swell_still_gets_the_sheltered_share():
    closed = ww.cove(exposure={"open_to_swell": (), "fetch": ()})
    found = sea(site=closed, swell_m=1.0)
    assert found.exposure_known and found.swell_m[NOON] == pytest.approx(0.3)


def test_a_swell_without_a_period_takes_the_period_of_the_rule_and_says_so():
    found = sea(swell_m=1.0, swell_s=None)
    assert found.breaker_m[NOON] == pytest.approx(breaker(1.0, 14.0))
    assert found.period_taken.all()
    assert not sea(swell_m=0.0, swell_s=None).period_taken.any()  # no wave needs none


def test_a_wind_sea_without_a_period_takes_the_period_of_the_rule_and_says_so():
    found = sea(wind_sea_m=0.5, wind_sea_s=None)
    assert found.breaker_m[NOON] == pytest.approx(breaker(0.5, 14.0))
    assert found.period_taken.all()


def test_the_whole_sea_stands_for_a_swell_that_nobody_tells_apart():
    told = ww.conditions(DAY, **{**ww.STILL, "swell_m": None, "wave_m": 1.0, "wave_s": 9.0, "wave_from_deg": 252.5})
    found = sea_of(told)
    assert found.breaker_m[NOON] == pytest.approx(breaker(0.65, 9.0))
    assert not found.incomplete.any()


def test_an_unknown_swell_is_no_calm_sea():
    found = sea(swell_m=None, wind_sea_m=0.4, wind_sea_s=4.0)
    assert found.incomplete.all()
    assert np.isnan(found.swell_m).all()
    assert found.breaker_m[NOON] == pytest.approx(breaker(0.4, 4.0))  # the known part alone


def test_a_swell_unknown_for_some_hours_is_unknown_for_those_only():
    found = sea(swell_m=[0.5] * 10 + [None, None] + [0.5] * 12)
    # 10:00 and 11:00 are not told: unknown from after 09:00 to before 12:00.
    assert np.flatnonzero(found.incomplete).tolist() == list(range(541, 720))


def test_a_sea_of_which_nobody_tells_anything_is_unknown():
    site = ww.cove(exposure={"open_to_swell": ()})  # the open water around it is not written down
    found = sea(site=site, swell_m=None, wind_sea_m=None)
    assert not found.known.any() and found.incomplete.all()
    assert np.isnan(found.breaker_m).all() and np.isnan(found.largest_m).all()
    assert not found.fetch_known


def test_a_swell_of_three_metres_breaks_high_though_nobody_tells_the_wind():
    told = ww.conditions(DAY, **{**ww.STILL, "wind_m_s": None, "wind_sea_m": None, "swell_m": 3.0, "swell_s": 12.0})
    found = sea_of(told)
    assert found.incomplete.all()
    assert found.breaker_m[NOON] == pytest.approx(breaker(3.0, 12.0))


# ---- wind sea ----


def test_swell_and_wind_sea_break_each_on_its_own_and_together_as_the_root_of_squares():
    found = sea(swell_m=0.5, swell_s=10.0, wind_sea_m=0.6, wind_sea_s=4.0)
    both = math.hypot(breaker(0.5, 10.0), breaker(0.6, 4.0))
    assert found.breaker_m[NOON] == pytest.approx(both)
    assert found.deep_m[NOON] == pytest.approx(math.hypot(0.5, 0.6))


def test_the_wind_sea_of_the_forecast_is_cut_down_outside_the_open_sectors_too():
    found = sea(wind_sea_m=1.0, wind_sea_s=5.0, wind_sea_from_deg=0.0)
    assert found.wind_sea_m[NOON] == pytest.approx(0.3)


def test_open_water_listed_raises_a_sea_where_the_forecast_has_none():
    """The textbook form for 10 m/s over 20 km: H = 0.0016 sqrt(g F) U / g = 0.0016 x 10 x sqrt(20000 / 9.80665)."""
    long_bay = ww.cove(exposure={"open_to_swell": (), "fetch": ({"bearing_deg": 180.0, "km": 20.0},)})
    at_least = 0.0016 * 10 * math.sqrt(20000 / G_M_S2)
    found = sea(site=long_bay, wind_m_s=10.0, wind_from_deg=180.0)
    assert at_least * 0.999 <= found.wind_sea_m[NOON] <= 1.5 * at_least  # the higher of two published forms
    off_land = sea(site=long_bay, wind_m_s=10.0, wind_from_deg=0.0)
    assert off_land.wind_sea_m[NOON] == pytest.approx(0.0, abs=1e-9)


def test_the_sea_does_not_fall_with_the_wind_at_once():
    long_bay = ww.cove(exposure={"open_to_swell": (), "fetch": ({"bearing_deg": 180.0, "km": 50.0},)})
    found = sea(site=long_bay, wind_m_s=[12.0] * 10 + [0.0] * 14, wind_from_deg=180.0)
    assert found.wind_sea_m[9 * 60] > found.wind_sea_m[11 * 60] > 0.1


def test_the_forecast_s_own_wind_sea_counts_where_it_is_higher_than_what_the_wind_raises_here():
    short = ww.cove(exposure={**ww.OPEN_SOUTH, "fetch": ({"bearing_deg": 180.0, "km": 1.0},)})
    found = sea(site=short, wind_m_s=5.0, wind_from_deg=180.0, wind_sea_m=0.9, wind_sea_s=5.0)
    assert found.wind_sea_m[NOON] == pytest.approx(0.9) and found.wind_sea_s[NOON] == pytest.approx(5.0)


# ---- fresh water ----


def test_no_swell_reaches_a_lake():
    lake = ww.cove(**FRESH)
    found = sea(site=lake, swell_m=3.0, swell_s=12.0, wind_sea_m=2.0)
    assert (found.breaker_m == 0).all() and not found.incomplete.any()
    assert not sea(site=lake, swell_m=None, wind_sea_m=None).incomplete.any()


def test_a_lake_has_the_sea_that_its_wind_raises_and_an_unknown_wind_leaves_it_unknown():
    lake = ww.cove(**FRESH, exposure={"fetch": ({"bearing_deg": 180.0, "km": 10.0},)})
    assert sea(site=lake, wind_m_s=10.0, wind_from_deg=180.0).breaker_m[NOON] > 0.3
    unknown = sea(site=lake, wind_m_s=None)
    assert unknown.incomplete.all() and not unknown.known.any()


# ---- the largest wave and what was seen ----


def test_the_largest_of_ten_minutes_follows_rayleigh():
    found = sea(swell_m=0.5, swell_s=10.0)
    waves = 600 / 10.0
    assert found.largest_m[NOON] == pytest.approx(breaker(0.5, 10.0) * math.sqrt(math.log(waves) / 2))


def test_a_breaking_wave_seen_stands_in_place_of_what_is_reckoned_for_its_hours():
    found = sea(Seen("breaker_m", 1.4, ww.at(DAY, 9)), swell_m=0.2, swell_s=8.0)
    reckoned = breaker(0.2, 8.0)
    assert found.breaker_m[539] == pytest.approx(reckoned) and not found.seen[539]
    assert found.breaker_m[540] == found.breaker_m[719] == found.largest_m[540] == 1.4
    assert found.seen[540:720].all() and not found.seen[720:].any()


def test_a_breaking_wave_seen_makes_an_unknown_sea_known_while_it_holds():
    told = Conditions(None, (Seen("breaker_m", 0.3, ww.at(DAY, 9)),))
    found = sea_of(told)
    assert np.flatnonzero(found.known).tolist() == list(range(540, 720))
    assert np.flatnonzero(~found.incomplete).tolist() == list(range(540, 720))


def test_surf_seen_above_the_forecast_does_not_fall_back_to_it_afterwards():
    found = sea(Seen("breaker_m", 1.4, ww.at(DAY, 9)), swell_m=0.2, swell_s=8.0)
    assert found.breaker_m[721] >= 1.4 - 1e-9


def test_swell_seen_above_the_forecast_stays_above_it():
    found = sea(Seen("swell_m", 1.0, ww.at(DAY, 9)), swell_m=0.4, swell_s=8.0)
    assert found.swell_m[[539, 540, 720, 1440]] == pytest.approx([0.4, 1.0, 1.0, 1.0])


def test_how_a_wave_breaks_is_not_known_where_only_its_height_was_seen():
    beach = ww.cove(slope=0.05)
    kinds = sea_of(Conditions(None, (Seen("breaker_m", 0.3, ww.at(DAY, 9)),)), beach).kinds_of_breaker(beach.entries[0])
    assert kinds is None or kinds[NOON - 60] == "unknown"


# ---- how it breaks: Battjes (1974), slope / sqrt(H0 / L0), spilling below 0.5, surging above 3.3 ----


@pytest.mark.parametrize(
    ("slope", "height_m", "period_s", "how"),
    [
        (0.02, 0.3, 6.0, "spilling"),  # L0 56.2 m: 0.02 / sqrt(0.00534) = 0.27
        (0.1, 0.3, 8.0, "plunging"),  # L0 99.9 m: 0.1 / sqrt(0.003) = 1.8
        (0.5, 0.3, 8.0, "surging"),  # 9.1
    ],
)
def test_a_beach_tells_how_a_wave_breaks(slope, height_m, period_s, how):
    beach = ww.cove(slope=slope)
    kinds = sea(site=beach, swell_m=height_m, swell_s=period_s).kinds_of_breaker(beach.entries[0])
    assert kinds is not None and kinds[NOON] == how


def test_a_beach_of_unknown_slope_does_not_tell_how_a_wave_breaks():
    beach = ww.cove(slope=None)
    assert sea(site=beach, swell_m=0.3).kinds_of_breaker(beach.entries[0]) is None


# ---- sectors and gusts ----


def test_a_bearing_lies_in_a_sector_clockwise_with_its_ends_and_an_unknown_one_always():
    asked = np.array([340.0, 350.0, 0.0, 20.0, 20.5, 339.5, 180.0, np.nan])
    assert in_sector(asked, 340.0, 20.0).tolist() == [True, True, True, True, False, False, False, True]


def test_gusts_that_nobody_gives_are_one_and_a_half_times_the_wind():
    weather = weather_of(ww.conditions(DAY, wind_m_s=10.0, gust_m_s=None), MINUTES, RULES)
    assert weather is not None
    # 10 m/s are 36000 / 1852 = 19.438 kn.
    assert weather.wind_kn[NOON] == pytest.approx(36000 / 1852)
    assert weather.gust_kn[NOON] == pytest.approx(1.5 * 36000 / 1852)
    assert weather.gusts_taken.all()


def test_gusts_are_never_below_the_wind_and_unknown_where_both_are():
    weather = weather_of(ww.conditions(DAY, wind_m_s=10.0, gust_m_s=4.0), MINUTES, RULES)
    assert weather is not None and weather.gust_kn[NOON] == pytest.approx(36000 / 1852)
    nothing = weather_of(ww.conditions(DAY, wind_m_s=None, gust_m_s=None), MINUTES, RULES)
    assert nothing is not None and np.isnan(nothing.gust_kn).all() and not nothing.gusts_taken.any()
