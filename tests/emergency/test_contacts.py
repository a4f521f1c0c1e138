"""Numbers to call: how fresh each check is, which place of care is nearest, and what is missing."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest

from tripplan.catalogue.site import Site, site_from
from tripplan.check import Check, Outcome
from tripplan.emergency.contacts import check_emergency, freshness, ways
from tripplan.planning.help import emergency_of
from tripplan.planning.request import Crew
from tripplan.record import TomlFile
from tripplan.rulebook import baseline

DAY = date(2027, 6, 12)
RULES = baseline()
TEXT = (Path(__file__).parents[1] / "planning" / "plain-cove.toml").read_text(encoding="utf-8")
CHECKED = 'checked = 2027-06-01\nchecked_by = "Vera Lind"\n'


def site(*edits: tuple[str, str]) -> Site:
    text = TEXT
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return site_from(TomlFile(Path("plain-cove.toml"), text))


def found(where: Site, rule: str) -> list[Check]:
    return [check for check in check_emergency(where, DAY, RULES) if check.rule == rule]


# 30 days are allowed: rule contacts.fresh_days, baseline.
@pytest.mark.parametrize(
    ("days", "fresh", "words"),
    [
        (0, True, "the same day"),
        (1, True, "1 day before"),
        (30, True, "30 days before"),
        (31, False, "31 days before"),
        (400, False, "400 days before"),
        (-1, False, "after the day of the dive"),
    ],
)
def test_a_check_is_fresh_for_thirty_days_and_never_before_it_was_made(days, fresh, words):
    age = freshness(DAY - timedelta(days=days), "Vera Lind", DAY, RULES)
    assert (age.days, age.fresh) == (days, fresh)
    assert words in age.words and "Vera Lind" in age.words


def test_a_number_that_was_never_checked_is_not_fresh():
    age = freshness(None, None, DAY, RULES)
    assert (age.days, age.fresh, age.words) == (None, False, "never checked")


@pytest.mark.parametrize(
    ("checked", "outcome"),
    [
        (CHECKED, Outcome.OK),
        ("", Outcome.CAUTION),
        ('checked = 2027-05-12\nchecked_by = "Vera Lind"\n', Outcome.CAUTION),
        ('checked = 2027-06-13\nchecked_by = "Vera Lind"\n', Outcome.CAUTION),
    ],
)
def test_each_number_is_judged_contact_hospital_and_chamber(checked, outcome):
    judged = found(site((CHECKED, checked)), "contact-fresh")
    assert [check.subject for check in judged] == ["Emergency control", "Near Hospital", "Near Chamber"]
    assert judged[0].outcome is outcome
    assert "+44 1632 960112" in judged[0].sentence
    if outcome is Outcome.CAUTION:
        assert "ing it before the first dive" in judged[0].sentence
    assert {check.outcome for check in judged[1:]} == {Outcome.OK}


def test_a_site_that_names_no_rescue_service_is_a_stop():
    judged = found(site(('role = "emergency"', 'role = "centre"')), "rescue-contact")
    assert [check.outcome for check in judged] == [Outcome.STOP]


def test_a_first_number_that_is_no_rescue_service_is_a_caution():
    other = '[[contacts]]\nrole = "centre"\nname = "The centre"\nnumber = "+44 1632 960100"\nhours = "day"\n\n'
    judged = found(site(("[[contacts]]", other + "[[contacts]]")), "rescue-contact")
    assert [check.outcome for check in judged] == [Outcome.CAUTION]
    assert not found(site(), "rescue-contact")


# Four hours: rule chamber.furthest_h, baseline.
@pytest.mark.parametrize(("minutes", "outcome"), [(40, Outcome.OK), (240, Outcome.OK), (241, Outcome.STOP)])
def test_a_chamber_more_than_four_hours_away_is_a_stop(minutes, outcome):
    (check,) = found(site(("drive_min = 40", f"drive_min = {minutes}")), "chamber-within-reach")
    assert check.outcome is outcome and f"{minutes} min" in check.sentence


def test_an_unknown_drive_is_a_caution_with_the_straight_line_and_never_counts_as_known():
    near = site(("drive_min = 40\n", ""))
    (unknown,) = found(near, "drive-time-known")
    assert unknown.outcome is Outcome.CAUTION and unknown.found is None
    assert "22 km" in unknown.sentence  # 0.2 degrees of latitude are 22.2 km
    assert not found(near, "chamber-within-reach")


def test_a_chamber_that_is_far_even_in_a_straight_line_is_a_stop_though_its_drive_is_not_known():
    # 3 degrees of latitude are 334 km: more than eight hours at 40 km/h, rule chamber.road_speed_km_h
    far = site(("drive_min = 40\n", ""), ("47.2000, -17.0000", "50.0000, -17.0000"))
    (check,) = found(far, "chamber-within-reach")
    assert check.outcome is Outcome.STOP and "334 km" in check.sentence


def test_a_known_chamber_out_of_reach_stops_even_beside_a_near_one_with_an_unknown_drive():
    second = (
        '[[chambers]]\nname = "Close Chamber"\nnumber = "+44 1632 960271"\n'
        'position = "47.0100, -17.0000"\n\n[[chambers]]'
    )
    both = site(("[[chambers]]", second), ("drive_min = 40", "drive_min = 300"))
    (check,) = found(both, "chamber-within-reach")
    assert check.outcome is Outcome.STOP


def test_the_nearest_by_road_stands_first_and_the_nearest_in_a_line_is_marked():
    second = (
        '[[hospitals]]\nname = "Over The Bay"\nnumber = "+44 1632 960241"\nposition = "47.0200, -17.0000"\n'
        "drive_min = 55\n\n[[hospitals]]"
    )
    third = (
        '[[hospitals]]\nname = "Who Knows"\nnumber = "+44 1632 960242"\nposition = "47.0100, -17.0000"\n\n[[hospitals]]'
    )
    where = site(("[[hospitals]]", second), ("[[hospitals]]", third))
    found_ways = [way for way in ways(where) if way.kind == "hospital"]
    assert [way.care.name for way in found_ways] == ["Near Hospital", "Over The Bay", "Who Knows"]
    assert [way.nearest_by_drive for way in found_ways] == [True, False, False]
    assert [way.nearest_by_distance for way in found_ways] == [False, False, True]
    assert found_ways[0].bearing_deg == pytest.approx(0, abs=0.01)
    # 0.1 degree of latitude at 47 N on the WGS 84 ellipsoid: 111.18 km a degree
    assert found_ways[0].distance_km == pytest.approx(11.118, abs=0.003)


def test_without_an_alternative_exit_there_is_a_caution():
    without = site(('[alternative_exit]\naccess = "Far gully"\nswim_m = 300\n', ""))
    (check,) = found(without, "alternative-exit")
    assert check.outcome is Outcome.CAUTION
    (check,) = found(site(), "alternative-exit")
    assert check.outcome is Outcome.OK and "Far gully, 300 m" in check.sentence


def test_a_road_to_care_that_climbs_is_a_caution():
    steep = site(("drive_min = 40", "drive_min = 40\nhighest_road_m = 301"))
    (check,) = found(steep, "road-to-care-climbs")
    assert check.outcome is Outcome.CAUTION and "301 m" in check.sentence
    assert not found(site(("drive_min = 40", "drive_min = 40\nhighest_road_m = 300")), "road-to-care-climbs")


def test_the_emergency_part_says_where_whom_and_what():
    said = emergency_of(site(), Crew(dive_director="Dora", shore_watch=("Wim", "Wes")), DAY, RULES)
    assert said.position_words == "47° 00.000' N, 017° 00.000' W"
    assert "Plain Cove" in said.what_to_say and said.position_spoken in said.what_to_say
    assert "Lay-by on the Shore Road" in said.what_to_say
    assert (said.dive_director, said.shore_watch, said.oxygen_provider) == ("Dora", "Wim, Wes", None)
    assert [line.order for line in said.contacts] == [1]
    assert said.care[0].hours == "hours not known"
    assert said.extraction == ("Beach",)
    assert said.alternative_exit == "Far gully, 300 m to swim"
    assert (
        emergency_of(
            site(('[alternative_exit]\naccess = "Far gully"\nswim_m = 300\n', "")), Crew(), DAY, RULES
        ).alternative_exit
        == "none known"
    )
