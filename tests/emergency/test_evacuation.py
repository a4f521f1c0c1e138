"""Ways to care: open during the dives and the hours after them, near enough, and not over a height.

The site is on 12 June 2027, a Saturday, in the Azores, where summer time is UTC.  Six hours after the last exit count:
rule care.open_after_h, baseline; four hours to a chamber are allowed: rule chamber.furthest_h, baseline.
"""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.catalogue.site import Site, site_from
from tripplan.check import Check, Outcome
from tripplan.emergency.confirmed import Confirmation, latest_on
from tripplan.emergency.evacuation import CareWay, Opened, care_ways, check_care
from tripplan.environment.position import Position, bearing_deg, distance_km
from tripplan.record import TomlFile
from tripplan.rulebook import baseline

DAY = date(2027, 6, 12)
START, END = datetime(2027, 6, 12, 9, tzinfo=UTC), datetime(2027, 6, 12, 15, tzinfo=UTC)  # needed until 21:00
RULES = baseline()
TEXT = (Path(__file__).parents[1] / "planning" / "plain-cove.toml").read_text(encoding="utf-8")
TEXT = TEXT.replace("drive_min = 20\n", "drive_min = 20\nhighest_road_m = 90\n")
TEXT = TEXT.replace("drive_min = 40\n", "drive_min = 40\nhighest_road_m = 90\n")
HOSPITAL, CHAMBER = "drive_min = 20\n", "drive_min = 40\n"
FAR_CHAMBER = """
[[chambers]]
name = "Far Chamber"
number = "+44 1632 960271"
position = "47.9000, -17.0000"
drive_min = 200
highest_road_m = 90
open = "always"
"""
FAR_HOSPITAL = FAR_CHAMBER.replace("chambers", "hospitals").replace("Chamber", "Hospital").replace("60271", "60241")
ALWAYS = 'open = "always"\n'
TO_20 = 'open = [{ opens = "08:00", closes = "20:00" }]\n'
TO_21 = 'open = [{ opens = "08:00", closes = "21:00" }]\n'


def site(*edits: tuple[str, str], more: str = "") -> Site:
    text = TEXT
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return site_from(TomlFile(Path("plain-cove.toml"), text + more))


def tried(name: str, number: str, found: str, note: str = "") -> Confirmation:
    return Confirmation(datetime(2027, 6, 12, 7, 10, tzinfo=UTC), number, name, "Ann Bell", found, note)  # type: ignore[arg-type]


def judged(where: Site, *tries: Confirmation, timed: bool = True) -> tuple[CareWay, ...]:
    start, end = (START, END) if timed else (None, None)
    return care_ways(where, start, end, latest_on(tries, DAY, where.timezone), RULES, DAY)


def checks(where: Site, rule: str, *tries: Confirmation, timed: bool = True) -> list[Check]:
    found = check_care(where, judged(where, *tries, timed=timed), RULES, END if timed else None)
    return [check for check in found if check.rule == rule]


def named(ways: tuple[CareWay, ...], name: str) -> CareWay:
    return next(each for each in ways if each.way.care.name == name)


# ---- open, closed, not known ----


@pytest.mark.parametrize(
    ("hours", "opened", "words", "outcome"),
    [
        (ALWAYS, Opened.OPEN, "open day and night", Outcome.OK),
        (TO_21, Opened.OPEN, "open 08:00 to 21:00", Outcome.OK),
        (TO_20, Opened.CLOSED, "closed from 20:00", Outcome.STOP),  # the one hospital
        ('open = "always"\nclosed_on = [2027-06-12]\n', Opened.CLOSED, "closed this day", Outcome.STOP),
        ('open = "always"\nclosed_on = [2027-06-13]\n', Opened.OPEN, "open day and night", Outcome.OK),
        ('hours = "24 h"\n', Opened.UNKNOWN, 'hours only in words: "24 h"', Outcome.CAUTION),
        ("", Opened.UNKNOWN, "hours not known", Outcome.CAUTION),
    ],
)
def test_a_hospital_is_judged_from_the_first_entry_until_six_hours_after_the_last_exit(hours, opened, words, outcome):
    where = site((HOSPITAL, HOSPITAL + hours), (CHAMBER, CHAMBER + ALWAYS))
    way = named(judged(where), "Near Hospital")
    assert (way.opened, way.opened_words) == (opened, words)
    check = checks(where, "care-open")[0]
    assert (check.subject, check.outcome, check.limit) == ("Near Hospital", outcome, "21:00")
    assert "21:00" in check.sentence


def test_hours_after_midnight_belong_to_the_next_day():
    where = site((HOSPITAL, HOSPITAL + 'open = "always"\nclosed_on = [2027-06-13]\n'))
    late = END + timedelta(hours=4)  # needed until 01:00 on Sunday, a closed day
    ways = care_ways(where, START, late, {}, RULES)
    assert named(ways, "Near Hospital").opened_words == "closed from 00:00 on 13 June"
    (check,) = (
        c for c in check_care(where, ways, RULES, late) if c.rule == "care-open" and c.subject.endswith("pital")
    )
    assert "01:00 on 13 June" in check.sentence


def test_a_closed_hospital_sends_the_casualty_to_the_next_one_and_only_when_none_is_left_stops():
    two = site((HOSPITAL, HOSPITAL + TO_20), more=FAR_HOSPITAL)
    near, far = checks(two, "care-open")[:2]
    assert near.outcome is Outcome.CAUTION
    assert near.sentence == (
        "Near Hospital is closed from 20:00; it is needed until 21:00, 6 h after the last exit. "
        "Go to Far Hospital instead, 200 min by road."
    )
    assert far.outcome is Outcome.OK
    assert [way.first_choice for way in judged(two)[:2]] == [False, True]
    none_left = site((HOSPITAL, HOSPITAL + TO_20), more=FAR_HOSPITAL.replace(ALWAYS, TO_20))
    assert [check.outcome for check in checks(none_left, "care-open")[:2]] == [Outcome.STOP] * 2
    assert not any(way.first_choice for way in judged(none_left)[:2])
    perhaps = site((HOSPITAL, HOSPITAL + TO_20), more=FAR_HOSPITAL.replace(ALWAYS, ""))
    assert "Ask Far Hospital instead, 200 min by road." in checks(perhaps, "care-open")[0].sentence


def test_without_times_only_a_place_that_never_closes_is_open():
    where = site((HOSPITAL, HOSPITAL + ALWAYS), (CHAMBER, CHAMBER + TO_21))
    hospital, chamber = checks(where, "care-open", timed=False)
    assert (hospital.outcome, chamber.outcome) == (Outcome.OK, Outcome.CAUTION)
    assert "open 08:00 to 21:00" in chamber.sentence and "no dive has a time" in chamber.sentence
    closed = site((HOSPITAL, HOSPITAL + 'open = "always"\nclosed_on = [2027-06-12]\n'))
    assert checks(closed, "care-open", timed=False)[0].outcome is Outcome.STOP
    unnamed_day = care_ways(closed, None, None, {}, RULES)
    assert named(unnamed_day, "Near Hospital").opened is Opened.UNKNOWN


# ---- what was found today ----


def test_a_place_found_closed_today_is_closed_whatever_its_hours():
    where = site((HOSPITAL, HOSPITAL + ALWAYS), more=FAR_HOSPITAL)
    shut = tried("Near Hospital", "+44 1632 960240", "closed", "No surgeon until Monday.")
    way = named(judged(where, shut), "Near Hospital")
    assert way.opened is Opened.CLOSED and way.confirmed == shut
    assert way.opened_words == "closed today: found by Ann Bell at 07:10"
    check = checks(where, "care-open", shut)[0]
    assert (check.outcome, check.source) == (Outcome.CAUTION, "CONFIRMED")
    assert check.sentence == (
        "Near Hospital takes no casualties today: found by Ann Bell at 07:10 (No surgeon until Monday). "
        "Go to Far Hospital instead, 200 min by road."
    )


def test_a_place_found_right_today_is_ok_though_its_hours_stay_unknown():
    where = site((HOSPITAL, HOSPITAL + 'hours = "day and night"\n'))
    right = tried("Near Hospital", "+44 1632 960240", "right")
    way = named(judged(where, right), "Near Hospital")
    assert way.opened is Opened.UNKNOWN
    assert way.opened_words == 'hours only in words: "day and night"; found right by Ann Bell at 07:10'
    check = checks(where, "care-open", right)[0]
    assert check.outcome is Outcome.OK and "Ann Bell" in check.sentence and "07:10" in check.sentence
    in_vain = tried("Near Hospital", "+44 1632 960240", "no_answer")
    assert checks(where, "care-open", in_vain)[0].outcome is Outcome.CAUTION


def test_a_place_that_answers_in_the_morning_still_closes_in_the_evening():
    where = site((HOSPITAL, HOSPITAL + TO_20))
    right = tried("Near Hospital", "+44 1632 960240", "right")
    assert checks(where, "care-open", right)[0].outcome is Outcome.STOP


# ---- the chamber ----


def test_while_the_near_chamber_is_closed_the_next_one_counts():
    where = site((CHAMBER, CHAMBER + TO_20), more=FAR_CHAMBER)
    (reach,) = checks(where, "chamber-within-reach")
    assert (reach.outcome, reach.subject) == (Outcome.OK, "Far Chamber")
    assert reach.found == pytest.approx(3.33)  # 200 min
    assert checks(where, "care-open")[1].outcome is Outcome.CAUTION


def test_a_next_chamber_beyond_reach_is_a_stop_though_the_near_one_would_be_close():
    where = site((CHAMBER, CHAMBER + TO_20), more=FAR_CHAMBER.replace("200", "241"))
    (reach,) = checks(where, "chamber-within-reach")
    assert (reach.outcome, reach.subject) == (Outcome.STOP, "Far Chamber") and "241 min" in reach.sentence
    # 90 km in a straight line at 40 km/h are two hours and a quarter: rule chamber.road_speed_km_h
    unknown = site((CHAMBER, CHAMBER + TO_20), more=FAR_CHAMBER.replace("drive_min = 200\n", ""))
    assert not checks(unknown, "chamber-within-reach")
    assert [check.subject for check in checks(unknown, "drive-time-known")] == ["Far Chamber"]


def test_the_near_chamber_found_closed_today_leaves_the_far_one_or_stops():
    shut = tried("Near Chamber", "+44 1632 960270", "closed")
    where = site((CHAMBER, CHAMBER + ALWAYS), more=FAR_CHAMBER)
    assert checks(where, "chamber-within-reach", shut)[0].subject == "Far Chamber"
    (reach,) = checks(site((CHAMBER, CHAMBER + ALWAYS)), "chamber-within-reach", shut)
    assert reach.outcome is Outcome.STOP
    assert "No chamber takes casualties during these dives" in reach.sentence
    assert "Near Chamber is closed today: found by Ann Bell at 07:10" in reach.sentence


def test_a_chamber_of_unknown_hours_counts_as_one_that_may_be_open_and_its_hours_are_a_caution():
    (reach,) = checks(site(), "chamber-within-reach")
    assert (reach.outcome, reach.subject) == (Outcome.OK, "Near Chamber")
    assert checks(site(), "care-open")[1].outcome is Outcome.CAUTION


def test_first_choice_is_the_quickest_known_drive_and_without_one_the_nearest():
    both = site((HOSPITAL, ""), more=FAR_HOSPITAL)
    assert [(way.way.care.name, way.first_choice) for way in judged(both)[:2]] == [
        ("Far Hospital", True), ("Near Hospital", False),
    ]  # fmt: skip
    neither = site((HOSPITAL, ""), more=FAR_HOSPITAL.replace("drive_min = 200\n", ""))
    assert [(way.way.care.name, way.first_choice) for way in judged(neither)[:2]] == [
        ("Near Hospital", True), ("Far Hospital", False),
    ]  # fmt: skip


# ---- heights ----


# 300 m by road and 150 m by air above the water are allowed: altitude.corrected_from_m, care.flight_climb_m, baseline.
@pytest.mark.parametrize(
    ("elevation_m", "heights", "climbs", "rules"),
    [
        (0, "highest_road_m = 300", False, []),
        (0, "highest_road_m = 301", True, ["road-to-care-climbs"]),
        (500, "highest_road_m = 800\nflight_m = 650", False, []),
        (500, "highest_road_m = 801", True, ["road-to-care-climbs"]),
        (0, "highest_road_m = 90\nflight_m = 150", False, []),
        (0, "highest_road_m = 90\nflight_m = 151", True, ["flight-to-care-climbs"]),
        (0, "flight_m = 151", True, ["road-height-known", "flight-to-care-climbs"]),
        (0, "", False, ["road-height-known"]),
    ],
)
def test_a_road_or_a_flight_over_a_height_is_a_caution_and_an_unknown_road_too(elevation_m, heights, climbs, rules):
    where = site(
        ("elevation_m = 0", f"elevation_m = {elevation_m}"),
        ("highest_road_m = 90\n", heights + "\n"),
        ("highest_road_m = 90\n", f"highest_road_m = {elevation_m}\n"),
    )
    way = named(judged(where), "Near Hospital")
    assert way.climbs is climbs
    found = [
        check
        for rule in ("road-height-known", "road-to-care-climbs", "flight-to-care-climbs")
        for check in checks(where, rule)
    ]
    assert [check.rule for check in found] == rules
    assert {(check.subject, check.outcome) for check in found} <= {("Near Hospital", Outcome.CAUTION)}


def test_climbs_are_above_the_water_and_not_above_the_sea():
    where = site(
        ("elevation_m = 0", "elevation_m = 1200"),
        ("highest_road_m = 90\n", "highest_road_m = 1780\nflight_m = 1500\n"),
        ("highest_road_m = 90\n", ""),
    )
    hospital, chamber = judged(where)
    assert (hospital.road_climb_m, hospital.flight_climb_m) == (580, 300)
    assert (chamber.road_climb_m, chamber.flight_climb_m, chamber.climbs) == (None, None, False)
    (check,) = checks(where, "road-to-care-climbs")
    assert "1780 m, 580 m above the water" in check.sentence


# ---- what must never happen ----

HOURS = st.sampled_from(["", 'hours = "24 h"\n', ALWAYS, TO_20, TO_21, 'open = "always"\nclosed_on = [2027-06-12]\n'])
FOUND = st.sampled_from([None, "right", "no_answer", "wrong", "closed"])


@settings(deadline=None, max_examples=60)
@given(HOURS, HOURS, FOUND, FOUND, st.booleans())
def test_what_is_closed_or_not_known_is_never_ok(hospital, chamber, found_hospital, found_chamber, timed):
    where = site((HOSPITAL, HOSPITAL + hospital), (CHAMBER, CHAMBER + chamber))
    tries = [
        tried(name, number, found)
        for name, number, found in (
            ("Near Hospital", "+44 1632 960240", found_hospital),
            ("Near Chamber", "+44 1632 960270", found_chamber),
        )
        if found
    ]
    ways = judged(where, *tries, timed=timed)
    for way, check in zip(ways, checks(where, "care-open", *tries, timed=timed), strict=True):
        right = way.confirmed is not None and way.confirmed.found == "right"
        if way.opened is Opened.CLOSED or (way.opened is Opened.UNKNOWN and not right):
            assert check.outcome is not Outcome.OK
        if way.opened is Opened.CLOSED:
            assert not way.first_choice
        assert check.sentence.endswith(".")
    (reach,) = checks(where, "chamber-within-reach", *tries, timed=timed)
    assert (reach.outcome is Outcome.STOP) == (ways[1].opened is Opened.CLOSED)


# ---- distances ----

GEODESICS = Path(__file__).parents[1] / "published" / "geodesic" / "cases.csv"


def test_distances_agree_with_published_geodesics():
    with GEODESICS.open(encoding="utf-8", newline="") as stream:
        cases = list(csv.DictReader(stream))
    assert {case["source"] for case in cases} == {"suite", "meridian", "survey"} and len(cases) == 22
    for case in cases:
        one, other = (
            Position(float(case[f"{end}_latitude"]), float(case[f"{end}_longitude"])) for end in ("from", "to")
        )
        # The tolerance of each row and its reason stand in the README beside the table.
        tolerance_km = float(case["tolerance_m"]) / 1000
        assert distance_km(one, other) == pytest.approx(float(case["distance_m"]) / 1000, rel=0, abs=tolerance_km)
        # The bearing is that of a sphere: within a quarter of a degree of the ellipsoid's, and shown in whole degrees.
        turn = (bearing_deg(one, other) - float(case["azimuth_deg"]) + 180) % 360 - 180
        assert abs(turn) < 0.25
