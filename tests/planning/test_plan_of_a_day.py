"""The plan of a day, case by case. Dates are given; what is expected comes from the rules named beside it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from cove_world import CREW, DAY, PEOPLE, group, person, request, site, world

from tests.planning.readiness import OF_EVERY_TEST
from tripplan.check import Outcome
from tripplan.people.level import Level
from tripplan.planning.day import plan_day, revision_of
from tripplan.planning.plan import DayPlan
from tripplan.planning.request import Altitude, Crew, DiveWish, RecentDive
from tripplan.planning.world import CannotPlan


def outcome(plan: DayPlan, rule: str) -> Outcome | None:
    found = [check.outcome for check in plan.checks if check.rule == rule]
    return max(found, key=lambda one: one.severity) if found else None


def stops(plan: DayPlan) -> set[str]:
    return {check.rule for check in plan.stops}


def test_an_ordinary_day_goes_with_only_the_forecast_to_watch():
    plan = plan_day(request(), world())
    assert plan.verdict is Outcome.CAUTION
    assert {check.rule for check in plan.cautions} - OF_EVERY_TEST == {"forecast"}
    (dive,) = plan.dives
    assert dive.entry is not None and dive.exit is not None and dive.exit_by is not None
    assert dive.entry < dive.exit <= dive.exit_by <= dive.window_closes


def test_light_leaves_the_margins_of_the_rule_book():
    """Sunrise plus 15 min, sunset less 30 min for certified divers and 60 min for a course (rule book)."""
    guided = plan_day(request(), world())
    course = plan_day(request(group("New", kind="level_1_course", leader="Chief")), world())
    sunrise, sunset = guided.light.sunrise, guided.light.sunset
    assert sunrise is not None and sunset is not None
    assert timedelta(minutes=14) <= guided.windows[0].start - sunrise <= timedelta(minutes=16)
    assert timedelta(minutes=30) <= sunset - guided.windows[-1].end <= timedelta(minutes=31)
    assert timedelta(minutes=60) <= sunset - course.windows[-1].end <= timedelta(minutes=61)


@pytest.mark.parametrize(
    ("zone", "day", "minutes"),
    [
        ("Atlantic/Azores", date(2027, 3, 28), 1380),
        ("Atlantic/Azores", date(2027, 10, 31), 1500),
        ("America/New_York", date(2027, 3, 14), 1380),
        ("America/New_York", date(2027, 11, 7), 1500),
        ("Australia/Lord_Howe", date(2027, 10, 3), 1410),
        ("Australia/Lord_Howe", date(2027, 4, 4), 1470),
        ("Atlantic/Azores", date(2027, 6, 12), 1440),
    ],
)
def test_a_day_of_clock_change_has_the_minutes_it_really_has(zone, day, minutes):
    hours = {"hours": {"opens": time(8), "closes": time(18)}}
    where = {"Australia/Lord_Howe": "-31.50, 159.00", "America/New_York": "41.00, -72.00"}.get(zone, "47.00, -17.00")
    care = tuple({**one.model_dump(), "position": where} for one in site().hospitals)
    meet = {"place": "Gate", "position": where}
    there = {"position": where, "rendezvous": meet, "hospitals": care, "chambers": care}
    plan = plan_day(request(date=day), world(site(timezone=zone, access=hours, **there)))
    assert plan.curve.minutes == minutes
    assert len(plan.curve.tide_m) == minutes
    gate = [closure for closure in plan.closures if closure.rule == "access-hours"]
    assert gate[0].end.time() == time(8) and gate[1].start.time() == time(18)


def test_a_window_across_the_clock_change_keeps_elapsed_time():
    """On 31 October 2027 the clock in the Azores goes from 01:00 back to 00:00: ten hours of gate are ten hours."""
    hours = {"hours": {"opens": time(0, 30), "closes": time(10)}}
    plan = plan_day(request(date=date(2027, 10, 31)), world(site(access=hours)))
    closed = sum((c.end.timestamp() - c.start.timestamp()) / 60 for c in plan.closures if c.rule == "access-hours")
    # Open: 00:30-01:00 twice and 01:00-10:00, that is 30 + 30 + 540 minutes; closed before 00:30 twice, after 10:00.
    assert closed == 1500 - 600


def test_tide_closes_going_in_and_coming_out_apart():
    """The station swings from about 0.5 to 4.5 m; a margin of 0.2 m is kept inside each limit (rule book)."""
    entries = (
        {"name": "Ledge", "kind": "ledge", "facing_deg": 180.0, "going_in": {"lowest_m": 3.0},
         "coming_out": {"lowest_m": 2.0}, "casualty": True},
    )  # fmt: skip
    plan = plan_day(request(), world(site(entries=entries, alternative_exit=None)))
    heights = plan.curve.tide_m
    midnight = plan.curve.midnight
    assert plan.windows
    for window in plan.windows:
        first = round((window.start - midnight).total_seconds() / 60)
        last = round((window.end - midnight).total_seconds() / 60)
        assert min(heights[first:last]) >= 2.2
        for span in window.entries:
            a = round((span.start - midnight).total_seconds() / 60)
            b = round((span.end - midnight).total_seconds() / 60)
            assert min(heights[a:b]) >= 3.2
    assert {"tide-going-in", "tide-coming-out"} <= {closure.rule for closure in plan.closures}


def test_overlapping_reasons_are_all_kept():
    seasons = {"seasons": ({"first": "07-01", "last": "08-31"},), "hours": {"opens": time(9), "closes": time(10)}}
    plan = plan_day(request(), world(site(access=seasons)))
    assert not plan.windows
    at_noon = [c.rule for c in plan.closures if c.start.hour <= 12 and (c.end.hour > 12 or c.end.day != DAY.day)]
    assert {"access-season", "access-hours"} <= set(at_noon)
    assert "entry-possible" in stops(plan)
    assert plan.dives[0].entry is None and plan.dives[0].exit_by is None


@pytest.mark.parametrize(("day", "is_open"), [(date(2027, 12, 31), True), (date(2028, 1, 2), True), (DAY, False)])
def test_a_season_may_run_over_new_year(day, is_open):
    people = {n: p.model_copy(update={"medical": day, "last_dive": day}) for n, p in PEOPLE.items()}
    plan = plan_day(request(date=day), world(site(access={"seasons": ({"first": "11-01", "last": "02-28"},)}), people))
    assert bool(plan.windows) == is_open


def test_a_missing_station_stops_what_depends_on_the_tide():
    limited = ({"name": "Ledge", "kind": "ledge", "facing_deg": 1.0, "going_in": {"lowest_m": 1.0}, "coming_out": {},
                "casualty": True},)  # fmt: skip
    plan = plan_day(request(), world(site(entries=limited, alternative_exit=None), stations={}))
    assert {"tide-known", "entry-possible"} <= stops(plan)


def test_slack_water_is_the_only_time_at_the_narrows():
    stream = {"kind": "slack", "high_water_slack_min": 30.0, "low_water_slack_min": 20.0, "spring_rate_kn": 4.0,
              "neap_rate_kn": 2.0, "spring_range_m": 4.0, "neap_range_m": 2.0}  # fmt: skip
    plan = plan_day(request(group(dives=(DiveWish(minutes=15),))), world(site(stream=stream)))
    midnight = plan.curve.midnight
    for window in plan.windows:
        first = round((window.start - midnight).total_seconds() / 60)
        last = round((window.end - midnight).total_seconds() / 60)
        assert max(plan.curve.stream_kn[first:last]) <= 0.5
        assert window.end - window.start < timedelta(minutes=90)


def test_polar_day_and_polar_night():
    north = {"position": "78.0000, 15.0000", "timezone": "Arctic/Longyearbyen", "water": {"kind": "sea"},
             "rendezvous": {"place": "Gate", "position": "78.0010, 15.0010"}}  # fmt: skip
    near = [{**c.model_dump(), "position": "78.05, 15.05"} for c in site().hospitals]
    place = site(**north, hospitals=tuple(near), chambers=tuple(near))
    summer = plan_day(request(date=date(2027, 6, 20)), world(place))
    assert summer.windows[0].start.time() == time(0) and "does not set" in summer.light.note
    winter = plan_day(request(date=date(2026, 12, 20)), world(place))
    assert not winter.windows and "does not rise" in winter.light.note


@pytest.mark.parametrize(
    ("divers", "more", "limit_m", "binds"),
    [
        (("Two", "Eleven"), {}, 12.0, "level"),  # level 1 and 11 years both say 12 m: ISO 24801-1, age rule
        (("Two", "One"), {}, 12.0, "level"),  # ISO 24801-1: level 1 to 12 m
        (("Two", "Sixteen"), {}, 20.0, "age"),
        (("Two", "Deux"), {"kind": "autonomous", "leader": None}, 20.0, "level"),  # ISO 24801-2: with peers to 20 m
        (("New",), {"kind": "level_1_course", "leader": "Chief", "place": "Reef"}, 12.0, "level"),
        (("New",), {"kind": "first_experience", "leader": "Chief"}, 5.0, "confined-water"),
        (("Nine",), {"kind": "first_experience", "leader": "Chief"}, 2.0, "age"),
        (("Two", "Deux"), {"kind": "night"}, 18.0, "kind"),
    ],
)
def test_the_depth_limit_is_the_smallest_of_all_candidates(divers, more, limit_m, binds):
    places = site().model_dump()["places"]
    shallow = tuple({**p, "suits": ("confined_skills",)} if p["name"] == "Sand" else p for p in places)
    plan = plan_day(request(group(*divers, **more)), world(site(places=shallow)))
    contest = plan.dives[0].depth
    fixed = [c for c in contest.candidates if c.name != "no-stop" and c.value is not None]
    smallest = min(fixed, key=lambda c: c.value)
    assert smallest.value == limit_m
    assert binds in {c.name for c in fixed if c.value == limit_m}
    assert {"level", "age", "leader", "kind", "place", "gas"} <= {c.name for c in contest.candidates}


def test_a_deeper_wish_is_a_stop_and_the_plan_stays_at_the_limit():
    plan = plan_day(request(group("Two", "One", dives=(DiveWish(depth_m=18),))), world())
    assert "depth-within-limit" in stops(plan)
    assert plan.dives[0].depth_m == 12.0


def test_a_longer_wish_is_a_stop_and_the_plan_stays_at_the_limit():
    plan = plan_day(request(group(dives=(DiveWish(depth_m=24, minutes=45),))), world())
    assert "time-within-limit" in stops(plan)
    assert plan.dives[0].bottom_time_min is not None
    assert plan.dives[0].bottom_time_min <= 39  # US Navy Revision 7, table 9-7: 39 min at 80 fsw


def test_the_second_dive_carries_the_first():
    plan = plan_day(request(group(dives=(DiveWish(depth_m=18, minutes=30), DiveWish(depth_m=18)))), world())
    first, second = sorted(plan.dives, key=lambda dive: dive.number)
    assert second.people[0].group_before is not None
    assert second.time.value < first.time.value
    assert second.surface_interval_min >= 60


def test_each_person_carries_their_own_dives_from_group_to_group():
    morning = group("Two", name="Terns", dives=(DiveWish(depth_m=18, minutes=30),))
    noon = group("Deux", name="Skuas", dives=(DiveWish(depth_m=18, not_before=time(12)),))
    plan = plan_day(request(morning, noon), world())
    later = next(dive for dive in plan.dives if dive.group == "Skuas")
    states = {one.name: one for one in later.people}
    assert states["Guide"].group_before is not None  # led in the morning
    assert states["Deux"].group_before is None
    assert later.time.value <= states["Guide"].no_stop_min


def test_nobody_is_in_two_dives_at_once():
    both = [
        group("Two", name="Terns", dives=(DiveWish(minutes=30),)),
        group("Deux", name="Skuas", dives=(DiveWish(minutes=30),)),
    ]
    plan = plan_day(request(*both), world())
    first, second = plan.dives
    assert second.descent - first.exit >= timedelta(minutes=30)


def test_somebody_stays_ashore_to_watch_and_to_give_oxygen():
    crew = Crew(dive_director="Chief", shore_watch=("Two",), oxygen_provider=("Shore",))
    plan = plan_day(request(group("Two", "Deux"), crew=crew), world())
    assert "entry-possible" in stops(plan)
    assert any("ashore" in check.sentence for check in plan.stops)


def test_the_site_takes_only_so_many_at_once():
    small = site(capacity={"divers": 3})
    a = group("Two", "Deux", name="Terns", dives=(DiveWish(minutes=20),))
    b = group("Dos", "Uno", name="Skuas", leader="Helper", dives=(DiveWish(minutes=20),))
    plan = plan_day(request(a, b), world(small))
    first, second = plan.dives
    assert second.entry >= first.exit


def test_a_fixed_entry_in_a_closed_minute_gets_no_time_and_the_reasons():
    plan = plan_day(request(group(dives=(DiveWish(entry=time(4)),))), world())
    assert plan.dives[0].entry is None
    (stop,) = [check for check in plan.stops if check.rule == "entry-possible"]
    assert "sun" in stop.sentence


@pytest.mark.parametrize(
    ("wish", "rule"),
    [
        (group(leader=None), "leader-named"),
        (group(leader="Two", divers=("Deux",)), "leader-level"),
        (group("New", kind="level_1_course", leader="Guide"), "leader-level"),
        (group("New"), "diver-level"),
        (group("Two", "Deux", "Dos", "One", "Uno"), "ratio"),
        (group("Two", kind="autonomous", leader=None), "group-size"),
        (group("Two", "Sixteen", kind="autonomous", leader=None), "age-without-leader"),
        (group(dives=(DiveWish(),) * 4), "dives-per-day"),
        (group(dives=(DiveWish(oxygen_percent=32),)), "nitrox-qualified"),
    ],
)
def test_a_group_that_breaks_a_rule_is_stopped(wish, rule):
    assert rule in stops(plan_day(request(wish), world()))


def test_a_qualified_assistant_lets_more_divers_come():
    five = ("Two", "Deux", "Dos", "One", "Uno")
    assert "ratio" not in stops(plan_day(request(group(*five, assistants=("Helper",))), world()))
    assert "assistant-level" in stops(plan_day(request(group("Two", "Deux", assistants=("Dos",))), world()))


@pytest.mark.parametrize(
    ("change", "rule", "expected"),
    [
        ({"medical": None, "medical_clear": False}, "medical", Outcome.STOP),
        ({"medical_clear": False}, "medical", Outcome.STOP),
        ({"medical": date(2026, 6, 11)}, "medical", Outcome.STOP),  # 366 days: one too old
        ({"medical": date(2026, 6, 12)}, "medical", Outcome.OK),  # 365 days: just holds
        ({"medical": date(2027, 6, 13)}, "medical", Outcome.STOP),  # dated after the dive
        ({"last_dive": None}, "lay-off", Outcome.CAUTION),
        ({"last_dive": date(2027, 3, 13)}, "lay-off", Outcome.CAUTION),  # 91 days
        ({"last_dive": date(2027, 3, 14)}, "lay-off", Outcome.OK),  # 90 days
        ({"born": date(2010, 1, 1), "guardian_consent": False}, "guardian-consent", Outcome.STOP),
        ({"born": date(1960, 1, 1)}, "heart-question", Outcome.CAUTION),
        ({"born": date(2018, 1, 1)}, "age-youngest", Outcome.STOP),
    ],
)
def test_each_person_is_judged(change, rule, expected):
    people = {**PEOPLE, "Two": PEOPLE["Two"].model_copy(update=change)}
    assert outcome(plan_day(request(), world(people=people)), rule) is expected


@pytest.mark.parametrize(
    ("crew", "rule"),
    [
        (Crew(shore_watch=("Shore",), oxygen_provider=("Shore",)), "director-named"),
        (Crew(dive_director="Chief", oxygen_provider=("Shore",)), "shore-watch"),
        (Crew(dive_director="Chief", shore_watch=("Shore",)), "oxygen-provider"),
        (Crew(dive_director="Chief", shore_watch=("Shore",), oxygen_provider=("Dos",)), "oxygen-qualified"),
    ],
)
def test_a_crew_with_a_gap_is_stopped(crew, rule):
    assert rule in stops(plan_day(request(crew=crew), world()))


def test_an_oxygen_qualification_holds_to_its_last_day():
    for until, expected in ((DAY, Outcome.CAUTION), (DAY - timedelta(days=1), Outcome.STOP)):
        people = {**PEOPLE, "Shore": PEOPLE["Shore"].model_copy(update={"oxygen_provider_until": until})}
        assert outcome(plan_day(request(crew=CREW), world(people=people)), "oxygen-qualified") is expected


@pytest.mark.parametrize(
    ("contact", "expected"),
    [
        ({"checked": DAY - timedelta(days=30), "checked_by": "Ana"}, Outcome.OK),
        ({"checked": DAY - timedelta(days=31), "checked_by": "Ana"}, Outcome.CAUTION),
        ({"checked": DAY + timedelta(days=1), "checked_by": "Ana"}, Outcome.CAUTION),
        ({}, Outcome.CAUTION),
    ],
)
def test_a_number_not_checked_in_thirty_days_is_a_caution(contact, expected):
    line = {"role": "emergency", "name": "Control", "number": "+44 1632 960001", "hours": "24 h", **contact}
    assert outcome(plan_day(request(), world(site(contacts=(line,)))), "contact-fresh") is expected


def test_an_unknown_drive_and_a_far_chamber_are_said():
    chamber = {**site().model_dump()["chambers"][0], "position": "47.06, -17.02"}
    unknown = plan_day(request(), world(site(chambers=({**chamber, "drive_min": None},))))
    assert outcome(unknown, "drive-time-known") is Outcome.CAUTION
    far = plan_day(request(), world(site(chambers=({**chamber, "drive_min": 241.0},))))
    assert outcome(far, "chamber-within-reach") is Outcome.STOP
    assert "km in a straight line" in next(c.sentence for c in far.stops if c.rule == "chamber-within-reach")


def test_care_is_sorted_by_drive_and_marked_by_distance():
    chamber = {**site().model_dump()["chambers"][0], "position": "47.06, -17.02"}
    near = {**chamber, "name": "Near", "position": "47.01, -17.01", "drive_min": 90.0}
    plan = plan_day(request(), world(site(chambers=(near, chamber))))
    lines = [line for line in plan.emergency.care if line.kind == "chamber"]
    assert [line.name for line in lines] == ["Chamber", "Near"]
    assert lines[0].nearest_by_drive and lines[1].nearest_by_distance
    # One minute of latitude is 1.852 km; 0.06 degrees north and 0.02 west at 47 N: 6.67 km and 1.52 km.
    assert lines[0].distance_km == pytest.approx(6.84, abs=0.05)


def test_position_and_rendezvous_are_given_in_degrees_and_decimal_minutes():
    plan = plan_day(request(), world())
    assert plan.emergency.position_words == "47° 00.000' N, 017° 00.000' W"
    assert plan.emergency.rendezvous_position == "47° 00.060' N, 017° 00.060' W"
    assert "zero one seven degrees" in plan.emergency.position_spoken


def test_children_stay_out_of_cold_water_and_come_out_early():
    """French federation rule: none under 14 below 12 C; below 23 C 25 min at most."""
    child = group("Eleven", kind="guided", dives=(DiveWish(minutes=40),))
    cold = plan_day(request(child), world(site(water={"kind": "sea", "temperature_c": (11.9,) * 12})))
    assert "cold-children" in stops(cold)
    cool = plan_day(request(child), world())
    assert cool.dives[0].bottom_time_min == 25


def test_unknown_things_are_cautions_and_never_silent():
    plan = plan_day(request(recent_dives=None), world(site(water={"kind": "sea"}, alternative_exit=None)))
    wanted = {"recent-dives-known", "salinity-known", "water-temperature-known", "alternative-exit", "forecast"}
    assert wanted <= {check.rule for check in plan.cautions}


HIGH = {"elevation_m": 2000.0, "water": {"kind": "fresh", "temperature_c": (8.0,) * 12},
        "tide": {"none_because": "a lake"}}  # fmt: skip


def test_at_altitude_an_unknown_arrival_counts_as_just_arrived():
    """US Navy Revision 7, table 9-5: 2000 m is 6562 ft, taken as 7000 ft: group F on arrival."""
    unknown = plan_day(request(group(dives=(DiveWish(depth_m=12),))), world(site(**HIGH)))
    assert unknown.dives[0].people[0].group_before == "F"
    assert any("arriv" in check.sentence for check in unknown.cautions)
    settled = plan_day(
        request(group(dives=(DiveWish(depth_m=12),)), altitude=Altitude(settled=True)), world(site(**HIGH))
    )
    assert settled.dives[0].people[0].group_before is None
    assert settled.dives[0].time.value > unknown.dives[0].time.value


def test_at_altitude_gauges_and_depths_are_corrected():
    """ISO 2533: 0.795 bar at 2000 m. Fresh water 1000 kg/m3 against 1027.2: 12 m counts as 12 x 0.9735 x 1.2746."""
    plan = plan_day(request(group(dives=(DiveWish(depth_m=12),)), altitude=Altitude(settled=True)), world(site(**HIGH)))
    (dive,) = plan.dives
    assert plan.surface_pressure_bar == pytest.approx(0.795, abs=0.0005)
    assert dive.equivalent_depth_m == pytest.approx(14.89, abs=0.03)
    # An EN 13319 gauge shows 10 m for each bar: 12 m of fresh water is 1.177 bar; sealed at sea level 0.218 bar less.
    assert dive.gauge_zeroed_m == pytest.approx(11.77, abs=0.02)
    assert dive.gauge_sealed_m == pytest.approx(9.59, abs=0.02)


def test_a_dive_of_the_day_before_is_carried_over():
    late = datetime(2027, 6, 12, 2, 0, tzinfo=ZoneInfo("UTC"))
    recent = (RecentDive(person="Two", depth_m=30, minutes=20, surfaced=late),)
    wish = group(dives=(DiveWish(depth_m=18, not_before=time(6, 30)),))
    fresh = plan_day(request(wish), world())
    carried = plan_day(request(wish, recent_dives=recent), world())
    states = {one.name: one.group_before for one in carried.dives[0].people}
    assert states["Two"] is not None and states["Deux"] is None
    assert carried.dives[0].time.value <= fresh.dives[0].time.value


@pytest.mark.parametrize(
    ("change", "where", "sentence"),
    [
        ({"site": "nowhere"}, ("site",), 'site "nowhere" is not in the catalogue; known: cove'),
        ({"groups": (group("Nobody"),)}, ("groups", 0, "divers"), '"Nobody" is not in the list of people'),
        ({"groups": (group(leader="Nobody"),)}, ("groups", 0, "leader"), '"Nobody" is not in the list'),
        ({"groups": (group(place="Wreck"),)}, ("groups", 0, "place"), 'place "Wreck" is not at Test cove; known: Sand'),
        ({"groups": (group(going_in_by="Pier"),)}, ("groups", 0, "going_in_by"), "known: Beach, Rocks"),
        ({"crew": Crew(dive_director="Nobody")}, ("crew", "dive_director"), '"Nobody" is not in the list'),
    ],
)
def test_a_request_for_something_unknown_is_refused_with_its_place(change, where, sentence):
    with pytest.raises(CannotPlan) as refused:
        plan_day(request(**change), world())
    assert any(place == where and sentence in words for place, words in refused.value.faults)


def test_a_way_that_is_not_used_gives_no_time():
    plan = plan_day(request(group(going_in_by="Rocks")), world())
    assert plan.dives[0].entry is None
    assert any("not possible" in check.sentence for check in plan.stops)


def test_the_revision_is_a_hash_of_every_input():
    first = revision_of(request(), world())
    assert first == revision_of(request(), world()) == plan_day(request(), world()).revision
    rules = world().rules
    other_rule = {**rules.rules, "tide.height_margin_m": replace(rules["tide.height_margin_m"], value=0.3)}
    changed = [
        revision_of(request(date=DAY + timedelta(days=1)), world()),
        revision_of(request(), world(site(capacity={"divers": 19}))),
        revision_of(request(), world(people={**PEOPLE, "Two": person("Two", Level.LEVEL_3)})),
        revision_of(request(), replace(world(), rules=type(rules)(other_rule))),
        revision_of(request(), world(stations={})),
    ]
    assert len({first, *changed}) == len(changed) + 1


def test_somebody_not_in_the_request_does_not_change_the_revision():
    assert revision_of(request(), world()) == revision_of(request(), world(people={**PEOPLE, "Extra": PEOPLE["Dos"]}))
