"""Numbers to call: how fresh each check is, which place of care is nearest, and what is missing."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.catalogue.site import Site, site_from
from tripplan.check import Check, Outcome
from tripplan.emergency.confirmed import Confirmation, latest_on
from tripplan.emergency.contacts import check_emergency, freshness, ways
from tripplan.planning.help import emergency_of, help_at
from tripplan.planning.request import Crew
from tripplan.planning.world import World
from tripplan.record import TomlFile
from tripplan.rulebook import baseline

DAY = date(2027, 6, 12)
RULES = baseline()
TEXT = (Path(__file__).parents[1] / "planning" / "plain-cove.toml").read_text(encoding="utf-8")
for drive in ("drive_min = 20\n", "drive_min = 40\n"):
    TEXT = TEXT.replace(drive, drive + 'highest_road_m = 90\nopen = "always"\n')
# First entry and last exit, by the clock of the Azores in summer.
START, END = datetime(2027, 6, 12, 9, tzinfo=UTC), datetime(2027, 6, 12, 15, tzinfo=UTC)
CHECKED = 'checked = 2027-06-01\nchecked_by = "Vera Lind"\n'


def site(*edits: tuple[str, str]) -> Site:
    text = TEXT
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return site_from(TomlFile(Path("plain-cove.toml"), text))


def found(where: Site, rule: str, *tries: Confirmation, timed: bool = True) -> list[Check]:
    start, end = (START, END) if timed else (None, None)
    today = latest_on(tries, DAY, where.timezone)
    return [check for check in check_emergency(where, DAY, RULES, start, end, today) if check.rule == rule]


def tried(name: str, number: str, what: str, note: str = "", hour: int = 7) -> Confirmation:
    return Confirmation(datetime(2027, 6, 12, hour, 10, tzinfo=UTC), number, name, "Ann Bell", what, note)  # type: ignore[arg-type]


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
    steep = site(("drive_min = 40\nhighest_road_m = 90", "drive_min = 40\nhighest_road_m = 301"))
    (check,) = found(steep, "road-to-care-climbs")
    assert check.outcome is Outcome.CAUTION and "301 m" in check.sentence
    flat = site(("drive_min = 40\nhighest_road_m = 90", "drive_min = 40\nhighest_road_m = 300"))
    assert not found(flat, "road-to-care-climbs")


def test_the_emergency_part_says_where_whom_and_what():
    def said_of(where: Site, crew: Crew):
        world = World({where.slug: where}, {}, {}, RULES)
        return emergency_of(help_at(where, DAY, crew, (), None, world), crew, DAY, world)

    said = said_of(site(), Crew(dive_director="Dora", shore_watch=("Wim", "Wes")))
    assert said.position_words == "47° 00.000' N, 017° 00.000' W"
    assert "Plain Cove" in said.what_to_say and said.position_spoken in said.what_to_say
    assert "Lay-by on the Shore Road" in said.what_to_say
    assert (said.dive_director, said.shore_watch, said.oxygen_provider) == ("Dora", "Wim, Wes", None)
    assert [line.order for line in said.contacts] == [1]
    assert said.care[0].hours == "hours not known"
    assert said.extraction == ("Beach",)
    assert said.alternative_exit == "Far gully, 300 m to swim"
    without = site(('[alternative_exit]\naccess = "Far gully"\nswim_m = 300\n', ""))
    assert said_of(without, Crew()).alternative_exit == "none known"


# ---- what was found on the day itself ----

CONTROL = ("Emergency control", "+44 1632 960112")
COAST = """[[contacts]]
role = "coastguard"
name = "Coast watch"
number = "+44 1632 960115"
hours = "24 h"

[[contacts]]"""


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("no_answer", "did not answer"),
        ("wrong", "is a wrong number"),
        ("closed", "takes no casualties today"),
    ],
)
def test_a_number_tried_in_vain_is_a_caution_and_the_last_rescue_number_is_a_stop(what, words):
    in_vain = tried(*CONTROL, what, "Tried twice.")
    (check,) = found(site(("[[contacts]]", COAST)), "contact-answers", in_vain)
    assert (check.outcome, check.subject, check.source) == (Outcome.CAUTION, "Emergency control", "CONFIRMED")
    assert check.sentence == (
        f"Emergency control (+44 1632 960112) {words}: tried by Ann Bell today at 07:10 (Tried twice). "
        "Have another number ready."
    )
    (check,) = found(site(), "contact-answers", in_vain)
    assert check.outcome is Outcome.STOP and "No rescue service can be reached" in check.sentence
    both = [in_vain, tried("Coast watch", "+44 1632 960115", "wrong")]
    judged = found(site(("[[contacts]]", COAST)), "contact-answers", *both)
    assert [check.outcome for check in judged] == [Outcome.STOP] * 2


def test_the_number_of_a_chamber_tried_in_vain_is_a_caution():
    (check,) = found(site(), "contact-answers", tried("Near Chamber", "+44 1632 960270", "no_answer"))
    assert (check.outcome, check.subject) == (Outcome.CAUTION, "Near Chamber")


def test_the_last_word_of_the_day_counts_and_a_number_found_right_is_fresh():
    stale = site((CHECKED, ""))
    assert found(stale, "contact-fresh")[0].outcome is Outcome.CAUTION
    first, then = tried(*CONTROL, "no_answer"), tried(*CONTROL, "right", hour=8)
    assert not found(stale, "contact-answers", first, then)
    fresh = found(stale, "contact-fresh", first, then)[0]
    assert (fresh.outcome, fresh.found) == (Outcome.OK, 0) and "12 June 2027 by Ann Bell" in fresh.sentence
    assert found(stale, "contact-fresh", first)[0].outcome is Outcome.CAUTION


# ---- hours of numbers ----


@pytest.mark.parametrize(
    ("role", "hours", "words"),
    [
        # Needed until 15:00, the last exit; whoever treats or carries a casualty six hours longer.
        ("harbour", 'open = [{ opens = "08:00", closes = "15:00" }]', None),
        ("harbour", 'open = [{ opens = "08:00", closes = "14:59" }]', "closed from 14:59"),
        ("diving_doctor", 'open = [{ opens = "08:00", closes = "21:00" }]', None),
        ("diving_doctor", 'open = [{ opens = "08:00", closes = "20:59" }]', "closed from 20:59"),
        ("diving_doctor", 'open = [{ days = ["mon"], opens = "08:00", closes = "22:00" }]', "closed this day"),
        ("diving_doctor", "closed_on = [2027-06-12]", "closed this day"),
        ("diving_doctor", 'open = "always"', None),
        ("diving_doctor", "", None),  # words only: they are on the sheet
    ],
)
def test_a_number_known_to_be_closed_while_it_may_be_needed_is_a_caution(role, hours, words):
    other = f'[[contacts]]\nrole = "{role}"\nname = "Somebody"\nnumber = "+44 1632 960116"\nhours = "day"\n{hours}\n'
    where = site(("[[hospitals]]", other + "\n[[hospitals]]"))
    judged = found(where, "contact-hours")
    assert [(check.outcome, check.subject) for check in judged] == ([(Outcome.CAUTION, "Somebody")] if words else [])
    if words:
        assert f"is {words}." in judged[0].sentence
    # Without times nothing is known but what does not open that day at all.
    assert bool(found(where, "contact-hours", timed=False)) is (words == "closed this day")


def test_rescue_services_that_are_all_closed_or_tried_in_vain_are_a_stop():
    shut = COAST.replace('hours = "24 h"\n', 'hours = "day"\nclosed_on = [2027-06-12]\n')
    where = site(("[[contacts]]", shut))
    assert [check.outcome for check in found(where, "contact-hours")] == [Outcome.CAUTION]
    in_vain = tried(*CONTROL, "no_answer")
    assert [check.outcome for check in found(where, "contact-hours", in_vain)] == [Outcome.STOP]
    assert [check.outcome for check in found(where, "contact-answers", in_vain)] == [Outcome.STOP]


# ---- kinds of help ----


def with_roles(*roles: str, water: str = "sea") -> Site:
    lines = "".join(
        f'[[contacts]]\nrole = "{role}"\nname = "Line {count}"\nnumber = "+44 1632 9601{count:02d}"\nhours = "day"\n\n'
        for count, role in enumerate(roles)
    )
    own = TEXT[TEXT.index("[[contacts]]") : TEXT.index("[[hospitals]]")]
    salinity = {"sea": 35, "brackish": 10, "fresh": 0}[water]
    return site((own, lines), ('kind = "sea"\nsalinity = 35', f'kind = "{water}"\nsalinity = {salinity}'))


@pytest.mark.parametrize(
    ("roles", "water", "missing"),
    [
        (("emergency",), "sea", "coastguard; diving doctor; divers' emergency line or recompression chamber"),
        (("emergency",), "brackish", "coastguard; diving doctor; divers' emergency line or recompression chamber"),
        (("emergency",), "fresh", "diving doctor; divers' emergency line or recompression chamber"),
        (("emergency", "diving_doctor", "chamber"), "fresh", ""),
        (("emergency", "diving_doctor", "diver_hotline"), "sea", "coastguard"),
        (("coastguard", "ambulance", "diving_doctor", "chamber"), "sea", "police or emergency services"),
        (("coastguard", "police", "diving_doctor", "chamber"), "sea", "ambulance or emergency services"),
        (("coastguard", "ambulance", "police", "diving_doctor", "diver_hotline"), "sea", ""),
    ],
)
def test_one_caution_names_every_kind_of_help_that_has_no_number(roles, water, missing):
    (check,) = found(with_roles(*roles, water=water), "contact-kinds")
    assert check.outcome is (Outcome.CAUTION if missing else Outcome.OK)
    if missing:
        assert check.sentence == f"The site's calling order has no number for: {missing}. Find one before diving."


# ---- what must never happen ----

HOURS = st.sampled_from(["", "closed_on = [2027-06-12]\n", 'open = [{ opens = "08:00", closes = "20:00" }]\n'])
WHATS = st.sampled_from([None, "right", "no_answer", "wrong", "closed"])


@settings(deadline=None, max_examples=60)
@given(HOURS, WHATS, HOURS, WHATS, st.booleans())
def test_no_day_is_without_a_stop_while_no_rescue_number_works(one, what_one, two, what_two, timed):
    where = site(
        ("[[contacts]]", COAST),
        ('hours = "24 h"\n', f'hours = "day"\n{one}'),
        ('hours = "24 h"\n', f'hours = "night"\n{two}'),
    )
    tries = [
        tried(*line, what)
        for line, what in ((("Coast watch", "+44 1632 960115"), what_one), (CONTROL, what_two))
        if what
    ]
    judged = [c for rule in ("contact-answers", "contact-hours") for c in found(where, rule, *tries, timed=timed)]
    dead = {check.subject for check in judged}
    assert any(check.outcome is Outcome.STOP for check in judged) == (dead == {"Coast watch", "Emergency control"})
    for line, what, hours in (("Coast watch", what_one, one), ("Emergency control", what_two, two)):
        bad = what in ("no_answer", "wrong", "closed") or "closed_on" in hours or (timed and "20:00" in hours)
        assert (line in dead) is bad
