"""Gas in the plan of a day, and when each person may drive up or fly. Expected figures come from the rules named."""

from __future__ import annotations

from datetime import date, time, timedelta

from cove_world import PEOPLE, group, request, site, world
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.check import Outcome
from tripplan.physics.handbook import wait_before_altitude_min
from tripplan.planning.day import plan_day
from tripplan.planning.plan import AfterDive, DayPlan
from tripplan.planning.request import DiveWish, HomeStage

WISH = (DiveWish(depth_m=18, minutes=25),)


def rules_told(plan: DayPlan, outcome: Outcome) -> set[str]:
    return {check.rule for check in plan.checks if check.outcome is outcome}


def test_gas_that_nobody_wrote_down_is_a_caution_and_no_figure():
    plan = plan_day(request(group(cylinder_l=None, dives=WISH)), world())
    assert plan.dives[0].gas is None
    assert "gas-reckoned" in rules_told(plan, Outcome.CAUTION)


def test_turn_and_minimum_pressure_stand_in_order():
    gas = plan_day(request(group(dives=WISH)), world()).dives[0].gas
    assert gas is not None and gas.turn_bar is not None and gas.minimum_gas_bar is not None
    assert gas.fill_bar > gas.turn_bar > gas.minimum_gas_bar > 50  # a diver surfaces with 50 bar: common practice
    assert gas.contents_l >= gas.needed_l


def test_a_small_cylinder_ends_the_dive_before_the_tables_do():
    plan = plan_day(request(group(cylinder_l=10.0, fill_bar=200.0, dives=(DiveWish(depth_m=18),))), world())
    (dive,) = plan.dives
    assert dive.time.binding is not None and dive.time.binding.name == "gas"
    assert dive.bottom_time_min is not None and dive.bottom_time_min <= dive.gas.longest_min


def test_a_wish_longer_than_the_gas_is_a_stop():
    plan = plan_day(request(group(cylinder_l=10.0, fill_bar=200.0, dives=(DiveWish(depth_m=18, minutes=35),))), world())
    assert "time-within-limit" in rules_told(plan, Outcome.STOP)


def test_the_hungriest_diver_binds():
    hungry = {**PEOPLE, "Deux": PEOPLE["Deux"].model_copy(update={"gas_rate_l_min": 35.0})}
    usual = plan_day(request(group(dives=WISH)), world()).dives[0].gas
    gas = plan_day(request(group(dives=WISH)), world(people=hungry)).dives[0].gas
    assert usual is not None and gas is not None
    assert gas.binds == "Deux"
    assert gas.longest_min < usual.longest_min


@settings(max_examples=25, deadline=None)
@given(st.integers(8, 20), st.integers(120, 230), st.integers(0, 60), st.integers(80, 300), st.integers(0, 80))
def test_less_gas_or_a_deeper_dive_never_gives_a_longer_time(litres, bar, less_bar, tenths, deeper):
    def longest(fill: float, depth: float) -> int:
        wish = (DiveWish(depth_m=depth),)
        dive = plan_day(request(group(cylinder_l=float(litres), fill_bar=float(fill), dives=wish)), world()).dives[0]
        return dive.bottom_time_min or 0

    depth_m = tenths / 10
    assert longest(bar - less_bar, depth_m) <= longest(bar, depth_m)
    assert longest(bar, min(depth_m + deeper / 10, 30.0)) <= longest(bar, min(depth_m, 30.0))


def told(plan: DayPlan, name: str) -> AfterDive:
    (one,) = [one for one in plan.after if one.name == name]
    return one


def test_everybody_who_dives_is_told_when_they_may_fly_and_nobody_else():
    plan = plan_day(request(group(dives=WISH)), world())
    assert [one.name for one in plan.after] == ["Guide", "Two", "Deux"]
    for one in plan.after:
        flight = one.stages[-1]
        assert flight.kind_words == "by airliner"
        # FAA AIM: 24 h before a flight above 8,000 ft, and the flight's altitude is not known here.
        assert flight.earliest is not None and flight.earliest - one.surfaced >= timedelta(hours=24)


def test_a_pass_waits_for_the_longest_of_all_rules():
    """Single no-stop dive: 12 h by the consensus of 2002 from 610 m; the Navy's table asks less here."""
    way = (HomeStage(name="Pass", kind="road", height_m=900.0),)
    plan = plan_day(request(group(dives=WISH), way_home=way), world())
    one = told(plan, "Two")
    by_table = wait_before_altitude_min(plan.dives[0].people[1].group_after, 900.0 / 0.3048)
    assert one.stages[0].wait_min == max(12 * 60, by_table)
    assert one.stages[0].earliest == one.surfaced + timedelta(hours=12)
    twice = plan_day(request(group(dives=WISH * 2), way_home=way), world())
    assert told(twice, "Two").stages[0].wait_min >= 18 * 60  # the same consensus: 18 h after several dives


def test_a_drive_planned_too_early_is_a_stop_and_a_late_one_is_not():
    for leaves, stopped in ((time(14), True), (time(23, 59), False)):
        way = (HomeStage(name="Pass", kind="road", height_m=900.0, leaves=leaves),)
        wish = (DiveWish(depth_m=10, minutes=15, not_before=time(7)),)
        plan = plan_day(request(group(dives=wish), way_home=way), world())
        found = [c for c in plan.stops if "Pass" in c.sentence]
        assert bool(found) is stopped, [c.sentence for c in plan.checks if "Pass" in c.sentence]


def test_a_wait_over_the_night_of_the_clock_change_is_counted_in_real_hours():
    """On 31 October 2027 the clock in the Azores goes back an hour at 01:00: 24 h later reads 23 h later."""
    day = date(2027, 10, 30)
    people = {name: one.model_copy(update={"medical": day, "last_dive": day}) for name, one in PEOPLE.items()}
    people["Shore"] = people["Shore"].model_copy(update={"oxygen_provider_until": date(2029, 1, 1)})
    plan = plan_day(request(group(dives=WISH), date=day), world(site(), people))
    one = told(plan, "Two")
    earliest = one.stages[-1].earliest
    assert earliest is not None
    assert earliest.timestamp() - one.surfaced.timestamp() == 24 * 3600
    assert earliest.replace(tzinfo=None) - one.surfaced.replace(tzinfo=None) == timedelta(hours=23)


def test_oxygen_of_the_day_adds_up_over_its_dives():
    once = told(plan_day(request(group(dives=WISH)), world()), "Two")
    twice = told(plan_day(request(group(dives=WISH * 2)), world()), "Two")
    assert once.oxygen_daily_share is not None and twice.oxygen_daily_share is not None
    assert twice.oxygen_daily_share > once.oxygen_daily_share >= 0


def test_each_diver_breathes_their_own_mix_and_the_richest_sets_the_depth():
    """1.4 bar of oxygen: 32 % to 33.3 m in sea water of 1027.2 kg/m3, air to 56.1 m."""
    people = {**PEOPLE, "Two": PEOPLE["Two"].model_copy(update={"nitrox": True})}
    wish = group(mixes={"Two": 32.0}, dives=(DiveWish(depth_m=24, minutes=15),))
    plan = plan_day(request(wish), world(people=people))
    (dive,) = plan.dives
    own = {one.name: one for one in dive.people}
    assert own["Two"].oxygen_percent == 32.0 and own["Deux"].oxygen_percent == 21.0
    assert own["Two"].no_stop_min > own["Deux"].no_stop_min  # less nitrogen
    assert dive.time.value <= own["Deux"].no_stop_min
    gas = next(c for c in dive.depth.candidates if c.name == "gas")
    assert 33.0 <= gas.value <= 34.0
    assert not [c for c in plan.stops if c.rule == "nitrox-qualified"]
    unqualified = plan_day(request(wish), world())
    assert [c.subject for c in unqualified.stops if c.rule == "nitrox-qualified"] == ["Two"]


def test_ascents_of_exercises_are_counted_one_by_one():
    calm = plan_day(request(group(dives=(DiveWish(ascents=4), DiveWish(ascents=4)))), world())
    busy = plan_day(request(group(dives=(DiveWish(ascents=4), DiveWish(ascents=5)))), world())
    assert "ascents-per-day" not in rules_told(calm, Outcome.STOP)
    assert "ascents-per-day" in rules_told(busy, Outcome.STOP)


KNOWN = {
    "lead_kg": 8.0,
    "all_on_kg": 110.0,
    "density_kg_m3": 1027.0,
    "suit_mm": 7.0,
    "cylinder_l": 18.0,
    "fill_bar": 230.0,
    "height_m": 1.8,
    "body_kg": 75.0,
}


def test_lead_moves_from_sea_to_fresh_water_and_the_check_in_the_water_goes_with_it():
    """Archimedes: 110 kg displace 107 l; fresh water of 1000 instead of 1027 kg/m3 carries 2.9 kg less."""
    from tripplan.people.person import Weighting

    weighted = {**PEOPLE, "Two": PEOPLE["Two"].model_copy(update={"weighting": Weighting(**KNOWN)})}
    lake = site(water={"kind": "fresh", "temperature_c": (8.0,) * 12}, tide={"none_because": "a lake"})
    plan = plan_day(request(group(suit_mm=7.0, dives=WISH)), world(lake, weighted))
    (line,) = plan.lead
    assert line.name == "Two" and line.change_kg is not None
    assert -3.6 <= line.change_kg <= -2.8  # lead itself is carried a little less too
    assert "eye level" in line.check_words
    unknown = plan_day(request(group(dives=WISH)), world(lake, weighted))
    assert unknown.lead[0].change_kg is None
    assert "lead-unknown" in rules_told(unknown, Outcome.CAUTION)
    assert plan_day(request(group(dives=WISH)), world()).lead == ()


def test_a_pass_between_two_dives_is_judged_by_what_is_carried_when_the_climb_starts():
    """A climb of 900 m: 12 h after a dive by the consensus of 2002, whatever comes after; before any dive, nothing."""
    from tripplan.planning.request import Drive

    wishes = (
        DiveWish(depth_m=18, minutes=20, not_before=time(8)),
        DiveWish(depth_m=12, minutes=20, not_before=time(14)),
    )

    def outcomes(at: time) -> set[Outcome]:
        drive = (Drive(name="Pass", height_m=900.0, leaves=at),)
        plan = plan_day(request(group(dives=wishes), drives_between=drive), world())
        return {check.outcome for check in plan.checks if check.rule == "drive-between"}

    assert outcomes(time(11)) == {Outcome.STOP}
    assert outcomes(time(8, 15)) == {Outcome.STOP}  # in the water
    assert outcomes(time(5)) == set()  # nobody has dived yet
    flat = (Drive(name="Coast road", height_m=30.0, leaves=time(13)),)
    plan = plan_day(request(group(dives=(DiveWish(depth_m=10, minutes=15),)), drives_between=flat), world())
    assert {c.outcome for c in plan.checks if c.rule == "drive-between"} == {Outcome.OK}


def test_an_unknown_swim_and_an_unknown_cylinder_are_said_and_never_assumed():
    from tripplan.people.person import Weighting

    places = tuple({**place, "swim_min": None} for place in site().model_dump()["places"])
    assert "swim-known" in rules_told(plan_day(request(group(dives=WISH)), world(site(places=places))), Outcome.CAUTION)
    assert "swim-known" not in rules_told(plan_day(request(group(dives=WISH)), world()), Outcome.CAUTION)
    weighted = {**PEOPLE, "Two": PEOPLE["Two"].model_copy(update={"weighting": Weighting(**KNOWN)})}
    plan = plan_day(request(group(cylinder_l=None, suit_mm=7.0, dives=WISH)), world(people=weighted))
    assert plan.lead[0].change_kg is None and "eye level" in plan.lead[0].check_words
    assert "lead-unknown" in rules_told(plan, Outcome.CAUTION)
