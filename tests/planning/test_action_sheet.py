"""The emergency sheet as values: filled from the day's plans, gaps by name, a revision of what a reader relies on."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tests.planning.small_world import CREW, DAY, SOUTH, ask, group, site, swing, world
from tripplan.check import Outcome
from tripplan.emergency.confirmed import Confirmation
from tripplan.emergency.readiness import Readiness
from tripplan.environment.conditions import Conditions, Forecast, Origin, Seen, Series
from tripplan.environment.position import Position, distance_km
from tripplan.planning.action_sheet import GAPS, action_sheet, changed_facts, facts_of, sharing, sheets_of_day
from tripplan.planning.day import plan_day
from tripplan.planning.drift import search_at, starts_within
from tripplan.planning.request import Crew
from tripplan.planning.world import World

STREAM = (
    '[stream]\nkind = "none"',
    '[stream]\nkind = "constants"\nconstituents = { M2 = [0.0, 0.0] }\nmean_kn = 1.0\nflood_toward_deg = 90\n'
    "ebb_toward_deg = 270",
)


def sheet_of(*groups: object, where: World | None = None, **other: object):
    asked = ask(*groups, **other)
    place = where or world()
    return action_sheet("plain-cove", DAY, place, [(asked, plan_day(asked, place))])


def test_without_a_plan_roles_and_dives_stay_open_and_are_named_as_gaps():
    sheet = action_sheet("plain-cove", DAY, world())
    assert {"no_crew", "no_director", "no_oxygen_giver", "no_caller", "no_dives", "no_beach_phone"} <= set(sheet.gaps)
    assert sheet.dives == () and sheet.facts.in_water is None


def test_roles_and_dives_come_from_the_plan_of_the_day():
    sheet = sheet_of(group("Ann", "Ben"), crew=CREW.model_copy(update={"beach_phone": "+44 7700 900123"}))
    roles = {line.key: line.people for line in sheet.roles}
    assert roles["in_charge"] == ("Shore",) and roles["oxygen"] == ("Oxy",)
    (dive,) = sheet.dives
    assert dive.people == ("Ida", "Ann", "Ben") and sheet.facts.in_water == 3
    assert sheet.facts.callback == "+44 7700 900123" and "no_beach_phone" not in sheet.gaps
    assert dive.search.last_seen_at == dive.descent and len(dive.search.steps) == 12


def test_every_gap_has_a_name_and_a_full_site_has_none_of_the_site_s():
    sheet = action_sheet("plain-cove", DAY, world())
    assert set(sheet.gaps) <= set(GAPS)
    full = (
        world()
        .sites["plain-cove"]
        .model_copy(
            update={
                "country": "PT",
                "access": world().sites["plain-cove"].access.model_copy(update={"gate_code": "1234"}),
            }
        )
    )
    told = action_sheet("plain-cove", DAY, replace(world(), sites={"plain-cove": full}))
    assert set(sheet.gaps) - set(told.gaps) == {"no_gate_code", "no_country"}


def test_no_oxygen_on_record_stops_the_plan_and_too_little_does_too():
    for readiness in (Readiness(), world().readiness.model_copy(update={"oxygen_units": ()})):
        place = replace(world(), readiness=readiness)
        made = plan_day(ask(group("Ann", "Ben")), place)
        assert "oxygen-on-site" in {check.rule for check in made.stops} and made.verdict is Outcome.STOP
    little = world().readiness.oxygen_units[0].model_copy(update={"volume_l": 2.0})
    # 2 L from 200 to 10 bar are 380 L: 25 min at 15 L/min; 20 min of ambulance and 40 of drive and 25 % are 75 min.
    made = plan_day(ask(group("Ann", "Ben")), replace(world(), readiness=Readiness(oxygen_units=(little,))))
    (stop,) = (check for check in made.stops if check.rule == "oxygen-lasts")
    assert "25 min" in stop.sentence and "75 min" in stop.sentence


def test_a_number_confirmed_today_is_fresh_and_does_not_make_another_revision():
    place = world()
    old = place.sites["plain-cove"].contacts[0].model_copy(update={"checked": None, "checked_by": None})
    stale = place.sites["plain-cove"].model_copy(update={"contacts": (old, *place.sites["plain-cove"].contacts[1:])})
    place = replace(place, sites={"plain-cove": stale})
    before = action_sheet("plain-cove", DAY, place)
    assert not before.contacts[0].fresh and before.contacts[0].name in before.unconfirmed
    told = Confirmation(datetime(2027, 6, 12, 7, tzinfo=UTC), old.number, old.name, "Ann", "right")
    after = action_sheet("plain-cove", DAY, replace(place, confirmed=(told,)))
    assert after.contacts[0].fresh and after.contacts[0].confirmed
    assert old.name not in after.unconfirmed
    assert after.revision == before.revision


def test_another_number_makes_another_revision_and_is_named():
    place = world()
    where = place.sites["plain-cove"]
    other = where.contacts[0].model_copy(update={"number": "+44 1632 960199"})
    moved = replace(place, sites={"plain-cove": where.model_copy(update={"contacts": (other, *where.contacts[1:])})})
    before, after = (action_sheet("plain-cove", DAY, each) for each in (place, moved))
    assert before.revision != after.revision
    (change,) = changed_facts(facts_of(before), facts_of(after))
    assert change[1:] == ("+44 1632 960112; 24 h", "+44 1632 960199; 24 h") and "Emergency control" in change[0]


def test_oxygen_that_travels_is_named_where_two_sites_of_a_day_count_on_it():
    here = action_sheet("plain-cove", DAY, world())
    there = replace(here, site="far-cove", site_name="Far Cove")
    assert sharing([here])[0].shared_oxygen == ()
    assert sharing([here, there])[0].shared_oxygen == (("Box", "Far Cove"),)
    tomorrow = replace(there, date=DAY + timedelta(days=1))
    assert sharing([here, tomorrow])[0].shared_oxygen == ()


def test_two_requests_of_one_site_and_day_fill_one_sheet():
    place = world()
    two = ask(group("Cy", "Dee", name="Late"), crew=Crew(dive_director="Ola", shore_watch=("Max",)))
    (made,) = sheets_of_day(DAY, ["plain-cove"], [ask(group("Ann", "Ben")), two], place)
    assert {dive.group for dive in made.sheet.dives} == {"Group", "Late"}
    assert len(made.plans) == 2
    named = {line.key: line.people for line in made.sheet.roles}
    assert named["in_charge"] == ("Shore",)  # of the first request
    assert sheets_of_day(DAY, ["plain-cove"], [ask(group("Ann"), date=DAY + timedelta(days=1))], place)[0].plans == ()


# ---- where to look ----


def test_a_steady_stream_of_one_knot_carries_a_nautical_mile_in_an_hour():
    """1 knot is 1852 m an hour by definition; here toward 090."""
    where = site(STREAM)
    start = datetime(2027, 6, 12, 10, tzinfo=UTC)
    area = search_at(where, where.position, start, world(where))
    hour = next(step for step in area.steps if step.minutes == 60)
    assert hour.carried is not None
    assert distance_km(where.position, hour.carried) * 1000 == pytest.approx(1852, abs=2)
    assert hour.carried.latitude_deg == pytest.approx(where.position.latitude_deg, abs=1e-4)
    assert not area.wind_known


def test_the_search_goes_on_over_midnight_and_in_any_zone():
    where = site(*SOUTH)
    start = datetime(2027, 6, 12, 13, 20, tzinfo=UTC)  # 23:50 at Lord Howe
    area = search_at(where, where.position, start, world(where))
    assert area.steps[-1].time == start + timedelta(hours=2)


def _wind(speed_m_s: float, from_deg: float) -> Conditions:
    starts = tuple(datetime(2027, 6, 12, hour, tzinfo=UTC) for hour in range(0, 24))
    origin = Origin("test", starts[0], starts[0])

    def series(quantity: str, value: float) -> Series:
        return Series(quantity, starts, starts, tuple(value for _ in starts), origin)

    return Conditions(Forecast((series("wind_m_s", speed_m_s), series("wind_from_deg", from_deg))), ())


def test_wind_of_the_forecast_blows_the_far_end_of_the_area_downwind():
    """3 % of 10 m/s from the south for 30 min: 0.3 m/s x 1800 s = 540 m to the north."""
    where = site()
    place = replace(world(where), conditions={"plain-cove": _wind(10.0, 180.0)})
    assert place.rules.value("wind.drift_percent") == 3
    area = search_at(where, where.position, datetime(2027, 6, 12, 10, tzinfo=UTC), place)
    half = next(step for step in area.steps if step.minutes == 30)
    assert area.wind_known and half.blown is not None and half.carried is not None
    assert distance_km(half.carried, half.blown) * 1000 == pytest.approx(540, abs=1)
    assert half.blown.latitude_deg > half.carried.latitude_deg


def test_a_stream_that_somebody_saw_wins_over_the_file_which_says_that_there_is_none():
    where = site()
    seen = Seen("stream_kn", 2.0, datetime(2027, 6, 12, 9, tzinfo=UTC), "Ann")
    place = replace(world(where), conditions={"plain-cove": Conditions(None, (seen,))})
    area = search_at(where, where.position, datetime(2027, 6, 12, 10, tzinfo=UTC), place)
    assert not area.stream_way_known
    calm = search_at(where, where.position, datetime(2027, 6, 12, 10, tzinfo=UTC), world(where))
    assert area.steps[5].radius_m > calm.steps[5].radius_m + 1000


def test_times_last_seen_are_every_ten_minutes_of_the_dive():
    start = datetime(2027, 6, 12, 10, tzinfo=UTC)
    assert starts_within(start, start + timedelta(minutes=35)) == tuple(
        start + timedelta(minutes=minute) for minute in (0, 10, 20, 30)
    )
    assert starts_within(start, start + timedelta(minutes=5)) == (start,)


def test_a_slack_stream_needs_its_station_and_says_when_its_way_is_not_known():
    slack = (
        '[stream]\nkind = "none"',
        '[stream]\nkind = "slack"\nhigh_water_slack_min = 0\nlow_water_slack_min = 0\nspring_rate_kn = 2.0\n'
        "neap_rate_kn = 1.0\nspring_range_m = 4.0\nneap_range_m = 2.0",
    )
    where = site(('none_because = "the tests give none"', 'station = "swing"'), slack)
    area = search_at(where, where.position, datetime(2027, 6, 12, 9, tzinfo=UTC), world(where, station=swing()))
    assert area.stream_known and not area.stream_way_known
    radii = np.array([step.radius_m for step in area.steps])
    assert (np.diff(radii) > 0).all()


def test_the_way_in_is_where_somebody_was_last_seen():
    here = Position(47.0002, -17.0001)
    where = site(('name = "Beach"\nkind = "beach"', f'name = "Beach"\nkind = "beach"\nposition = "{here.decimal}"'))
    sheet = sheet_of(group("Ann", "Ben"), where=world(where))
    assert sheet.dives[0].search.last_seen == here
