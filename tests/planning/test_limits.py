"""How deep and how long, and which candidate binds. The figures are the baseline's, each from the source it names."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from small_world import PEOPLE, cautions, group, person, plan, rules_with, site, stops, the_check, wish, world

from tripplan.people.level import Level
from tripplan.planning.request import Altitude

CANDIDATES = {"level", "age", "leader", "kind", "place", "gas"}


def dive_of(made):
    (dive,) = made.dives
    return dive


def limit_of(*divers: str, **other) -> tuple[str, float]:
    """Return which candidate binds the depth of a dive and at how many metres, but for the tables' own."""
    where = other.pop("where", None)
    dives = other.pop("dives", (wish(1, 15),))
    contest = dive_of(plan(group(*divers, dives=dives, **other), where=where)).depth
    contest = replace(contest, candidates=tuple(c for c in contest.candidates if c.name != "no-stop"))
    assert contest.binding is not None
    return contest.binding.name, contest.binding.value


def test_every_candidate_stands_in_the_depth_contest():
    dive = dive_of(plan(group("Ann", "Ben", dives=(wish(10, 20),))))
    assert {c.name for c in dive.depth.candidates} == CANDIDATES | {"no-stop"}
    assert all(c.sentence and c.source for c in dive.depth.candidates)


def test_every_candidate_stands_in_the_time_contest():
    dive = dive_of(plan(group("Ann", "Ben", dives=(wish(10, 20),))))
    assert {c.name for c in dive.time.candidates} == {"handbook", "model", "house", "window"}


@pytest.mark.parametrize(
    ("divers", "other", "binding"),
    [
        (("Sol", "Una"), {"leader": "Gil"}, ("level", 12.0)),  # ISO 24801-1
        (("Sol", "Una"), {"leader": "Ida"}, ("level", 12.0)),
        (("Ann", "Ben"), {"leader": None, "kind": "autonomous"}, ("level", 20.0)),  # ISO 24801-2, with peers
        (("Ann", "Ben"), {"leader": "Gil"}, ("level", 30.0)),  # led; the leader and the kind allow 30 m as well
        (("Ann", "Sol"), {"leader": "Gil"}, ("level", 12.0)),  # the lowest level binds
        (("Ann", "Lou"), {"leader": "Gil"}, ("age", 20.0)),  # 16 years
        (("Ann", "Ben"), {"leader": "Gil", "kind": "night"}, ("kind", 18.0)),
        (("Ann", "Ben"), {"kind": "refresher"}, ("kind", 12.0)),
        (("New", "Raw"), {"kind": "first_experience"}, ("level", 6.0)),  # French code, first band
        (("New", "Raw"), {"kind": "level_1_course"}, ("level", 12.0)),
        (("Sol", "Una"), {"kind": "level_2_course"}, ("level", 18.0)),
        (("Ann", "Ben"), {"kind": "refresher", "place": "Basin"}, ("confined-water", 5.0)),
    ],
)
def test_the_tightest_candidate_binds(divers, other, binding):
    assert limit_of(*divers, **other) == binding


def test_an_eleven_year_old_of_level_1_is_held_to_12_m_by_level_and_by_age():
    dive = dive_of(plan(group("Kim", "Ann", dives=(wish(1, 15),))))
    values = {c.name: c.value for c in dive.depth.candidates}
    assert dive.depth.value == 12.0
    assert values["level"] == values["age"] == 12.0
    assert dive.people[1].age == 11 and dive.people[1].depth_limit_m == 12.0


# French federation rules for young divers and common practice, as the rule book writes them.
@pytest.mark.parametrize(
    ("born", "level", "kind", "metres"),
    [
        (date(2019, 6, 12), Level.FIRST_EXPERIENCE, "first_experience", 2.0),  # 8 on the day
        (date(2017, 6, 13), Level.FIRST_EXPERIENCE, "first_experience", 2.0),  # 10 tomorrow
        (date(2017, 6, 12), Level.FIRST_EXPERIENCE, "first_experience", 3.0),  # 10 today
        (date(2013, 6, 13), Level.FIRST_EXPERIENCE, "first_experience", 3.0),  # 14 tomorrow
        (date(2013, 6, 12), Level.FIRST_EXPERIENCE, "first_experience", 6.0),  # 14 today: the level binds
        (date(2017, 6, 12), Level.LEVEL_1, "guided", 12.0),
        (date(2014, 6, 12), Level.LEVEL_2, "guided", 12.0),  # 13
        (date(2013, 6, 12), Level.LEVEL_2, "guided", 20.0),  # 14
        (date(2009, 6, 13), Level.LEVEL_2, "guided", 20.0),  # 18 tomorrow
        (date(2009, 6, 12), Level.LEVEL_2, "guided", 30.0),  # 18 today
    ],
)
def test_age_counts_to_the_day(born, level, kind, metres):
    young = person("Young", level, born)
    assert limit_of("Young", kind=kind, where=world(people=(young,)))[1] == metres


@pytest.mark.parametrize("born", [date(2019, 6, 13), date(2027, 6, 13)])
def test_below_the_youngest_age_there_is_no_depth_and_no_time(born):
    baby = person("Baby", Level.LEVEL_1, born, last_dive=None, medical=None, medical_clear=False)
    made = plan(group("Baby", kind="first_experience"), where=world(people=(baby,)))
    assert dive_of(made).entry is None
    assert {"age-youngest", "entry-possible"} <= stops(made)


def test_the_leaders_own_depth_and_age_count_too():
    deep = rules_with(depth__guided_m=60, depth__level_2_led_m=60)
    assert limit_of("Ann", "Ben", leader="Gil", where=world(rules=deep)) == ("leader", 30.0)
    boy = person("Gil", Level.LEVEL_3, date(2010, 1, 1))
    made = plan(group("Ann", "Ben", leader="Gil", dives=(wish(1, 15),)), where=world(people=(boy,)))
    assert dive_of(made).depth.value == 20.0
    assert "leader-age" in stops(made)


def test_an_assistant_counts_among_the_divers():
    assert limit_of("Ann", "Ben", assistants=("Sol",)) == ("level", 12.0)


def test_no_certificate_goes_to_a_courses_depth_only_with_an_instructor():
    # a dive leader may not teach: without an instructor the depth without a certificate holds
    assert limit_of("New", kind="level_2_course", leader="Gil")[1] == 6.0
    assert limit_of("Sol", kind="level_2_course", leader="Gil")[1] == 12.0


def test_the_place_binds_where_it_is_the_shallowest_limit():
    shallow = site(("shallowest_m = 1\ndeepest_m = 40", "shallowest_m = 1\ndeepest_m = 9"))
    assert limit_of("Ann", "Ben", where=world(shallow)) == ("place", 9.0)


def test_the_gas_binds_where_its_oxygen_reaches_the_limit_first():
    # 36 % to 1.4 bar: (1.4 / 0.36 - 1.01325) bar over sea water of 1025 kg/m3 (35 g/kg, 24 C: 1023.3) is 28.65 m
    rich = tuple(person(p.name, p.level, p.born, nitrox=True) for p in PEOPLE if p.name in ("Ann", "Ben", "Ida"))
    name, metres = limit_of("Ann", "Ben", dives=(wish(1, 15, oxygen_percent=36),), where=world(people=rich))
    assert name == "gas"
    assert metres == pytest.approx(28.65, abs=0.1)


def test_a_deeper_wish_than_the_limit_is_a_stop_and_is_planned_at_the_limit():
    made = plan(group("Sol", "Una", dives=(wish(15, 20),)))
    check = the_check(made, "depth-within-limit")
    assert check.outcome == "stop" and (check.found, check.limit) == (15, 12)
    assert dive_of(made).depth_m == 12.0


def test_a_depth_is_planned_to_the_decimetre_below_the_wish():
    assert dive_of(plan(group("Ann", "Ben", dives=(wish(17.99, 20),)))).depth_m == 17.9


def test_without_a_wish_the_depth_is_one_that_the_tables_allow_for_the_time():
    dive = dive_of(plan(group("Ann", "Ben", dives=(wish(None, 40),))))
    assert dive.bottom_time_min == 40
    assert dive.depth_m is not None and dive.time.value is not None
    assert 10 < dive.depth_m < 30
    assert all(p.no_stop_min is None or p.no_stop_min >= 40 for p in dive.people)


def test_a_place_that_begins_beyond_the_limit_is_a_stop():
    # level 1 may go to 12 m; the shelf begins at 25 m, so they would hang above water too deep for them
    made = plan(group("Sol", "Una", place="Deep shelf", dives=(wish(10, 20),)))
    check = the_check(made, "bottom-within-limit")
    assert check.outcome == "stop" and "begins at 25 m" in check.sentence
    fine = plan(group("Ann", "Ben", place="Deep shelf", dives=(wish(26, 15),)))
    assert the_check(fine, "bottom-within-limit").outcome == "ok"


def test_learners_above_a_bottom_deeper_than_their_limit_are_a_caution():
    assert "bottom-within-limit" in cautions(plan(group("New", kind="level_1_course", dives=(wish(6, 20),))))
    assert "bottom-within-limit" not in cautions(plan(group("Ann", "Ben", dives=(wish(6, 20),))))


# ---- how long ----


def test_the_house_limit_binds_where_the_tables_have_more():
    dive = dive_of(plan(group("Ann", "Ben", dives=(wish(6, None),))))
    assert dive.time.binding is not None
    assert (dive.time.binding.name, dive.time.value, dive.bottom_time_min) == ("house", 60.0, 60)


def test_the_stricter_of_handbook_and_model_binds():
    # US Navy Rev 7, table 9-7: 48 min at 70 fsw. 21 m is 68.9 ft.
    dive = dive_of(plan(group("Ann", "Ben", dives=(wish(21, 60),))))
    values = {c.name: c.value for c in dive.time.candidates}
    assert (dive.handbook_row_fsw, values["handbook"]) == (70, 48.0)
    assert values["model"] < 48
    assert dive.time.value == values["model"] == dive.bottom_time_min
    assert dive.time.binding is not None and dive.time.binding.name == "model"


def test_where_the_tables_leave_less_than_the_shortest_dive_there_is_no_time():
    made = plan(group("Ann", "Ben", dives=(wish(30, 60),)))
    assert dive_of(made).entry is None
    assert "no-stop limits leave" in the_check(made, "entry-possible").sentence


def test_more_minutes_than_possible_are_a_stop_with_the_number_that_is():
    made = plan(group("Ann", "Ben", dives=(wish(21, 60),)))
    check = the_check(made, "time-within-limit")
    assert check.outcome == "stop" and check.found == 60 and check.limit == dive_of(made).bottom_time_min


def test_a_short_window_is_what_binds_the_time():
    # open 08:00 to 08:40: 3 min out, 3 min back, 10 m at 9 m/min and 3 min of safety stop leave 29 min
    gate = site(("[access]", '[access]\nhours = { opens = "08:00", closes = "08:40" }'))
    dive = dive_of(plan(group("Ann", "Ben", dives=(wish(10, None),)), where=world(gate)))
    assert dive.time.binding is not None
    assert (dive.time.binding.name, dive.bottom_time_min) == ("window", 29)
    assert f"{dive.exit:%H:%M}" == f"{dive.exit_by:%H:%M}" == "08:40"


def test_a_window_without_a_minute_on_the_step_is_used_all_the_same():
    # plan.entry_step_min is 5; the gate is open from 08:01, and only an entry by 08:03 leaves the shortest dive
    gate = site(("[access]", '[access]\nhours = { opens = "08:01", closes = "08:30" }'))
    dive = dive_of(plan(group("Ann", "Ben", dives=(wish(10, 18),)), where=world(gate)))
    assert f"{dive.entry:%H:%M}" == "08:01"
    assert dive.bottom_time_min == 18


@pytest.mark.parametrize(("celsius", "minutes"), [(22.9, 25.0), (23.0, None)])
def test_children_in_cool_water_dive_25_minutes(celsius, minutes):
    cool = site(("temperature_c = [24, 24, 24, 24, 24, 24", f"temperature_c = [24, 24, 24, 24, 24, {celsius}"))
    dive = dive_of(plan(group("Kim", dives=(wish(5, None),)), where=world(cool)))
    cold = [c.value for c in dive.time.candidates if c.name == "cold"]
    assert cold == ([minutes] if minutes else [])
    assert dive.bottom_time_min == (25 if minutes else 60)


def test_children_do_not_dive_below_12_degrees_and_an_unknown_temperature_is_a_caution():
    cold = site(("temperature_c = [24, 24, 24, 24, 24, 24", "temperature_c = [24, 24, 24, 24, 24, 11.9"))
    assert "cold-children" in stops(plan(group("Kim"), where=world(cold)))
    line = "temperature_c = [24, 24, 24, 24, 24, 24, 24, 24, 24, 24, 24, 24]\n"
    unknown = site((line, ""))
    made = plan(group("Kim", dives=(wish(5, None),)), where=world(unknown))
    assert "cold-children" in cautions(made)
    assert dive_of(made).bottom_time_min == 25
    adults = plan(group("Ann", "Ben"), where=world(unknown))
    assert "water-temperature-known" in cautions(adults)


def test_a_measured_pressure_far_from_the_standard_is_refused_with_both_numbers():
    made = plan(group("Ann", "Ben", dives=(wish(10, 20),)), measured_pressure_bar=0.7)
    assert dive_of(made).entry is None
    assert "0.7 bar" in the_check(made, "entry-possible").sentence


# ---- altitude ----

HIGH = site(("elevation_m = 0", "elevation_m = 1640"), ('kind = "sea"\nsalinity = 35', 'kind = "fresh"'))


def test_at_altitude_an_unknown_arrival_is_a_caution_and_counts_as_just_arrived():
    unknown = plan(group("Ann", "Ben", dives=(wish(18, 15),)), where=world(HIGH))
    assert "arrival-time-unknown" in cautions(unknown)
    settled = plan(group("Ann", "Ben", dives=(wish(18, 15),)), where=world(HIGH), altitude=Altitude(settled=True))
    assert "arrival-time-unknown" not in cautions(settled)
    assert {p.group_before for p in dive_of(settled).people} == {None}
    assert {p.group_before for p in dive_of(unknown).people} != {None}
    fresh, stale = dive_of(unknown).time.value, dive_of(settled).time.value
    assert fresh is not None and stale is not None and fresh < stale


def test_an_arrival_in_the_morning_is_credited_only_from_then_on():
    def group_before(arrived: str) -> str:
        made = plan(
            group("Ann", "Ben", dives=(wish(12, 15, entry="17:00"),)),
            where=world(HIGH),
            altitude=Altitude(arrived=arrived),
        )
        return dive_of(made).people[0].group_before or "-"

    assert group_before("16:55") > group_before("08:00")


def test_nobody_goes_in_before_the_group_arrives():
    late = plan(group("Ann", "Ben", dives=(wish(12, 15),)), where=world(HIGH), altitude=Altitude(arrived="11:20"))
    assert f"{dive_of(late).entry:%H:%M}" == "11:20"
    fixed = plan(
        group("Ann", "Ben", dives=(wish(12, 15, entry="10:00"),)), where=world(HIGH), altitude=Altitude(arrived="11:20")
    )
    assert dive_of(fixed).entry is None
    assert "arrives at 11:20" in the_check(fixed, "entry-possible").sentence


def test_a_dive_outside_the_tables_at_altitude_is_a_stop_and_not_an_error():
    deep = rules_with(depth__guided_m=40, depth__level_2_led_m=40)
    very_high = site(("elevation_m = 0", "elevation_m = 3000"), ('kind = "sea"\nsalinity = 35', 'kind = "fresh"'))
    made = plan(group("Ann", "Ben", dives=(wish(40, 15),)), where=world(very_high, rules=deep))
    assert dive_of(made).entry is None
    assert "entry-possible" in stops(made)
