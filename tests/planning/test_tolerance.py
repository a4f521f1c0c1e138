"""How far from the edge: at the stated edge everything holds, one step beyond it a check turns; by brute force."""

from __future__ import annotations

from dataclasses import replace
from datetime import time, timedelta

import cove_world as cove
import numpy as np
import pytest
import weather_world as weather

from tripplan.check import Outcome
from tripplan.environment.conditions import Conditions, Forecast, Series, m_s
from tripplan.planning.day import plan_day
from tripplan.planning.plan import DayPlan, Edge
from tripplan.planning.replan import delayed
from tripplan.planning.request import DiveWish, Request
from tripplan.planning.setting import setting_of
from tripplan.planning.tolerance import edges_of, with_edges
from tripplan.planning.world import World

SITE = cove.site(
    exposure={
        "open_to_swell": ({"from_deg": 150.0, "to_deg": 230.0},),
        "fetch": ({"bearing_deg": 180.0, "km": 20.0},),
    },
)
STREAM = {
    "kind": "slack",
    "high_water_slack_min": 0.0,
    "low_water_slack_min": 0.0,
    "spring_rate_kn": 0.9,
    "neap_rate_kn": 0.5,
    "spring_range_m": 4.0,
    "neap_range_m": 2.0,
}


def request(entry: time = time(9, 0), **more) -> Request:
    dives = (DiveWish(depth_m=12, minutes=30, entry=entry),)
    group = cove.group(dives=dives, suit_mm=7.0)
    return Request(site="cove", date=cove.DAY, crew=cove.CREW, recent_dives="none", groups=(group,), **more)


def world(told: Conditions | None, site=SITE) -> World:
    return replace(cove.world(site), conditions={"cove": told} if told else {})


def told(**changes) -> Conditions:
    return weather.conditions(cove.DAY, **changes)


def risen(conditions: Conditions, rises: dict[str, float]) -> Conditions:
    """Return the conditions with every value of some series raised: another way than the program's own."""
    series = tuple(
        Series(
            one.quantity,
            one.starts,
            one.ends,
            tuple(None if value is None else value + rises.get(one.quantity, 0.0) for value in one.values),
            one.origin,
        )
        for one in conditions.forecast.series
    )
    return Conditions(Forecast(series), conditions.seen)


# At the last minute of all no margin is left, which is the edge itself; an old forecast is mended by fetching it again.
NOT_EDGES = ("entry-margin", "forecast")


def severities(plan: DayPlan) -> dict[tuple[str, str], int]:
    found: dict[tuple[str, str], int] = {}
    for check in plan.checks:
        key = (check.rule, check.subject)
        if check.rule in NOT_EDGES:
            continue
        found[key] = max(found.get(key, 0), check.outcome.severity)
    return found


def worse(before: DayPlan, after: DayPlan) -> bool:
    was, now = severities(before), severities(after)
    return any(severity > was.get(key, 0) for key, severity in now.items())


def edge(edges: tuple[Edge, ...], what: str) -> Edge:
    return next(one for one in edges if one.what == what)


BLOWS = {
    "onto the shore": {"wind_m_s": 4.0, "gust_m_s": 6.0, "wind_from_deg": 180.0},
    "off the shore": {"wind_m_s": 3.0, "gust_m_s": 4.0, "wind_from_deg": 10.0},
    "gusts not told": {"wind_m_s": 5.0, "gust_m_s": None, "wind_from_deg": 200.0},
    "rising": {"wind_m_s": [2.0 + hour / 4 for hour in range(24)], "wind_from_deg": 190.0},
}


@pytest.mark.parametrize("blow", BLOWS.values(), ids=BLOWS)
def test_the_plan_stands_as_much_more_wind_as_it_says_and_no_step_more(blow):
    conditions, asked = told(**blow), request()
    plan = plan_day(asked, world(conditions))
    found = edge(edges_of(plan, asked, world(conditions)), "More wind")
    assert found.turns_at == found.holds_to + 1
    for kn, turned in ((found.holds_to, False), (found.turns_at, True)):
        rises = {"wind_m_s": m_s(kn), "gust_m_s": m_s(kn)}
        assert worse(plan, plan_day(asked, world(risen(conditions, rises)))) is turned, kn


@pytest.mark.parametrize("swell", [{}, {"swell_from_deg": 250.0}, {"swell_s": 14.0}, {"swell_m": None, "wave_m": 0.3}])
def test_the_plan_stands_as_much_more_swell_as_it_says_and_no_step_more(swell):
    conditions, asked = told(**swell), request()
    plan = plan_day(asked, world(conditions))
    found = edge(edges_of(plan, asked, world(conditions)), "More swell outside")
    assert found.turns_at == pytest.approx(found.holds_to + 0.1)
    for metres, turned in ((found.holds_to, False), (found.turns_at, True)):
        rises = {"swell_m": metres, "wave_m": metres}
        assert worse(plan, plan_day(asked, world(risen(conditions, rises)))) is turned, metres


def test_every_step_below_the_edge_holds():
    conditions, asked = told(**BLOWS["off the shore"]), request()
    plan = plan_day(asked, world(conditions))
    found = edge(edges_of(plan, asked, world(conditions)), "More wind")
    for kn in range(1, int(found.turns_at)):
        rises = {"wind_m_s": m_s(kn), "gust_m_s": m_s(kn)}
        assert not worse(plan, plan_day(asked, world(risen(conditions, rises))))


def test_the_stream_may_rise_to_the_limit_and_no_further():
    site = cove.site(stream=STREAM)
    free = request().model_copy(update={"groups": (cove.group(dives=(DiveWish(depth_m=12, minutes=20),)),)})
    there = world(None, site)
    plan = plan_day(free, there)
    (dive,) = plan.dives
    setting = setting_of(site, cove.DAY, there)
    first = setting.grid.minute_floor(dive.entry) - 5  # the margin of slack
    rates = setting.rates_kn[first : setting.grid.minute_floor(dive.exit) + 6]
    found = edge(edges_of(plan, free, there), "More stream")
    limit = there.rules.value("stream.limit_kn")
    assert rates.max() + found.holds_to <= limit < rates.max() + found.turns_at
    assert found.turns_at == pytest.approx(found.holds_to + 0.1)


DELAYS = {
    "until the light goes": {},
    "until the wind comes": {"wind_m_s": [3.0] * 12 + [10.0] * 12},
    "until thunder": {"thunder": [0.0] * 13 + [1.0] + [0.0] * 10},
    "until the sets are too high for comfort": {"swell_m": [0.2 + hour / 40 for hour in range(24)]},
}


@pytest.mark.parametrize("changes", DELAYS.values(), ids=DELAYS)
def test_the_day_may_be_so_much_later_and_not_a_minute_more(changes):
    conditions, asked = told(**changes), request()
    there = world(conditions)
    plan = plan_day(asked, there)
    found = edge(edges_of(plan, asked, there), "Whole day later")
    (dive,) = plan.dives

    def later(minutes: int) -> tuple[DayPlan, bool]:
        again = plan_day(delayed(asked, plan, minutes), there)
        (moved,) = again.dives
        shifted = moved.entry is not None and moved.entry == dive.entry + timedelta(minutes=minutes)
        return again, shifted and moved.bottom_time_min == dive.bottom_time_min

    again, same = later(int(found.holds_to))
    assert same and not worse(plan, again)
    again, same = later(int(found.turns_at))
    assert worse(plan, again) or not same


def test_a_night_falls_behind_the_last_start():
    plan = plan_day(request(), world(None))
    found = edge(edges_of(plan, request(), world(None)), "Whole day later")
    (dive,) = plan.dives
    latest = dive.entry + timedelta(minutes=int(found.holds_to))
    assert f"Latest start {latest:%H:%M}" in found.because and found.outcome is Outcome.STOP


def test_whoever_is_missed_is_named_with_what_turns():
    asked = request()
    edges = {one.what: one for one in edges_of(plan_day(asked, world(None)), asked, world(None))}
    assert edges["Without Watch"].outcome is Outcome.STOP and "atch" in edges["Without Watch"].because
    assert edges["Without Guide"].outcome is Outcome.STOP
    assert edges["Without Shore"].outcome is Outcome.STOP
    assert "Without Two" not in edges  # a diver who stays away is no loss of crew


def test_losing_somebody_is_what_the_plan_without_them_says():
    asked = request()
    before = plan_day(asked, world(None))
    for one in edges_of(before, asked, world(None)):
        if one.what != "Without Chief":
            continue
        crew = asked.crew.model_copy(update={"dive_director": None})
        after = plan_day(asked.model_copy(update={"crew": crew}), world(None))
        assert worse(before, after) and any(check.sentence == one.because for check in after.checks)


def test_the_share_of_members_is_counted():
    base = weather.forecast(cove.DAY)
    calm = (weather.series(cove.DAY, "wind_m_s", 3.0),)
    blow = (weather.series(cove.DAY, "wind_m_s", 14.0),)
    conditions = Conditions(Forecast(base.series, (), (calm, blow, calm, calm)))
    asked, there = request(), world(conditions)
    found = edge(edges_of(plan_day(asked, there), asked, there), "Spread of the forecast")
    assert "3 of 4" in found.because and "75 %" in found.because and found.outcome is Outcome.CAUTION


def test_nothing_is_said_of_a_sea_that_nobody_told():
    edges = edges_of(plan_day(request(), world(None)), request(), world(None))
    assert not {"More wind", "More swell outside", "Spread of the forecast"} & {one.what for one in edges}


def test_the_plan_with_edges_is_otherwise_the_same():
    plan = plan_day(request(), world(told()))
    found = with_edges(plan, request(), world(told()))
    assert found.edges and replace(found, edges=()) == plan
    assert all(np.isfinite([one.holds_to, one.turns_at]).all() for one in found.edges if one.turns_at is not None)
