"""The emergency sheet in words: nothing left empty, every figure rounded against the casualty, every gap said."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from gettext import NullTranslations
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from printed_plans import REQUESTS, folder

from tripplan.catalogue.site import ContactRole
from tripplan.documents.search_picture import search_head, search_rows
from tripplan.documents.sheet_words import contact_words, gap_words, label_words, role_words, scenario_words, sheet_text
from tripplan.emergency.confirmed import Confirmation, Found
from tripplan.emergency.contacts import ROLE_WORDS
from tripplan.emergency.numbers import emergency_numbers
from tripplan.emergency.oxygen_supply import UNKNOWN_NEED
from tripplan.emergency.readiness import Scenario
from tripplan.emergency.roles import ROLES
from tripplan.language import ENGLISH, Language, language, languages
from tripplan.planning.action_sheet import GAPS, ActionSheet, action_sheet
from tripplan.planning.day import plan_day

DAY = date(2026, 12, 5)
SITES = sorted(folder().world.sites)

# What the faces are promised.
KEYS = {
    "language", "direction", "notice", "demonstration", "caution", "title", "site", "date", "revision", "printed_from",
    "labels", "first_minute", "posture", "where", "roles", "contacts", "missing_contacts", "country_numbers", "care",
    "oxygen", "kits", "scripts", "breath", "spelled", "figures", "scenarios", "gear", "report", "look", "dives",
    "searches", "search_head", "search_method", "drill", "tell_after", "hazards", "unconfirmed", "cautions", "stops",
    "gaps",
}  # fmt: skip
WHERE = {
    "position", "spoken", "decimal", "geo", "landmark", "road", "meet", "meet_position", "meet_notes", "gate",
    "helicopter", "ambulance", "signal", "vhf", "landline", "beach_phone", "out", "alternative",
}  # fmt: skip
MAY_BE_EMPTY = {"notice", "demonstration", "unconfirmed", "national", "doubt", "notes", "note", "centre", "link"}


@cache
def planned(name: str = "saturday-ledge") -> ActionSheet:
    request = folder().requests[name]
    return action_sheet(request.site, request.date, folder().world, [(request, plan_day(request, folder().world))])


@cache
def unplanned(slug: str = "old-slip") -> ActionSheet:
    return action_sheet(slug, DAY, folder().world)


def said(sheet: ActionSheet, code: str = "en") -> dict[str, Any]:
    return sheet_text(sheet, language(code))


def texts(value: Any, key: str = "") -> Iterator[tuple[str, str]]:
    """Yield every text in nested values with the key that it stands under."""
    if isinstance(value, str):
        yield key, value
    elif isinstance(value, dict):
        for name, part in value.items():
            yield from texts(part, name)
    elif isinstance(value, list):
        for part in value:
            yield from texts(part, key)


@pytest.mark.parametrize("code", list(languages()))
@pytest.mark.parametrize("sheet", [planned(name) for name in REQUESTS] + [unplanned(slug) for slug in SITES])
def test_every_key_is_there_in_every_language_and_nothing_that_must_be_said_is_empty(sheet, code):
    text = said(sheet, code)
    assert set(text) >= KEYS
    assert set(text["where"]) >= WHERE
    assert json.loads(json.dumps(text, allow_nan=False)) == text
    assert [key for key, words in texts(text) if not words.strip() and key not in MAY_BE_EMPTY] == []


def test_each_kind_of_thing_that_has_a_key_has_words():
    # Of the text tables of other modules only the keys count here: their words are English.
    assert set(gap_words(ENGLISH)) == set(GAPS)
    assert set(role_words(ENGLISH)) == set(ROLES)
    assert set(contact_words(ENGLISH)) == set(get_args(ContactRole)) == set(ROLE_WORDS)
    assert set(scenario_words(ENGLISH)) == set(get_args(Scenario))


def test_each_gap_of_a_sheet_is_said_in_words():
    sheet = replace(unplanned(), gaps=GAPS)
    assert said(sheet)["gaps"] == [gap_words(ENGLISH)[key] for key in GAPS]


def test_what_is_not_known_of_the_place_is_said_in_its_place():
    facts = replace(unplanned().facts, landmark=None)
    sheet = replace(
        unplanned(), gate_code=None, vhf=None, landline=None, beach_phone=None, helicopter="", ambulance_min=None,
        extraction=(), facts=facts, rendezvous_notes="", access_notes="", phone_signal="",
        gaps=("no_alternative_exit",),
    )  # fmt: skip
    where = said(sheet)["where"]
    assert where["gate"] == "no gate code on file"
    assert where["vhf"] == "nothing known of VHF here: use the telephone"
    assert where["landline"] == "no landline on file"
    assert where["beach_phone"] == "no telephone named on the beach: write its number in"
    assert where["helicopter"] == "no landing place on file: ask the rescue service"
    assert where["ambulance"] == "not known how long an ambulance takes: ask its service"
    assert where["out"] == "no place on file where a casualty can be brought out: find one before diving"
    assert where["landmark"] == "no feature of the chart on file to be found from"
    assert where["alternative"] == "no other way out known"
    assert all(where.values())


# ---- figures ----


def care_of(text: dict[str, Any], name: str) -> dict[str, Any]:
    return next(care for care in text["care"] if care["name"] == name)


def test_drives_and_distances_are_rounded_up_by_hand():
    sheet = unplanned()
    line = sheet.care[0]
    way = line.care.way
    near = replace(way, distance_km=5.61, bearing_deg=359.6, care=way.care.model_copy(update={"drive_min": 20.2}))
    far = replace(way, distance_km=33.2, bearing_deg=7.4, care=way.care.model_copy(update={"drive_min": 62.0}))
    unknown = replace(way, care=way.care.model_copy(update={"drive_min": None, "directions": ""}))
    lines = tuple(replace(line, care=replace(line.care, way=each)) for each in (near, far, unknown))
    first, second, third = said(replace(sheet, care=lines))["care"]
    assert (first["drive"], first["distance"]) == (
        "21 min by road", "5.7 km in a straight line, bearing 000 degrees true",
    )  # fmt: skip
    assert (second["drive"], second["distance"]) == (
        "62 min by road", "34 km in a straight line, bearing 007 degrees true",
    )  # fmt: skip
    assert third["drive"] == "drive not known: find it out before diving"
    assert third["directions"] == "no directions on file: use the position"


def test_the_height_of_the_way_to_care_is_said_and_a_climb_is_a_warning():
    line = unplanned().care[0]
    cases = {
        (None, None, False): "not known how high the road goes",
        (129.2, None, False): "the road climbs 130 m above the water",
        (-4.0, 310.0, True): "the road climbs 0 m above the water; a flight goes 310 m above the water; "
        "TELL THE RESCUE SERVICE: a casualty with bubbles should not go higher",
    }
    for (road, flight, climbs), words in cases.items():
        care = replace(line.care, road_climb_m=road, flight_climb_m=flight, climbs=climbs)
        assert said(replace(unplanned(), care=(replace(line, care=care),)))["care"][0]["height"] == words


@settings(deadline=None)
@given(st.floats(min_value=0.1, max_value=1440, allow_nan=False))
def test_the_minutes_until_an_ambulance_are_never_said_shorter_than_they_are(minutes):
    words = said(replace(unplanned(), ambulance_min=minutes))["where"]["ambulance"]
    (shown,) = re.findall(r"[0-9]+", words)
    assert minutes - 1e-6 <= int(shown) < minutes + 1


def supply(**changes: Any) -> dict[str, Any]:
    return said(replace(planned(), oxygen=replace(planned().oxygen, **changes)))["oxygen"]


def test_the_headline_of_the_oxygen_says_minutes_for_one_for_two_and_what_is_needed():
    assert supply(minutes_one=126, minutes_two=63, needed_min=88, known_min=88)["headline"] == (
        "126 min for one casualty, 63 min for two at once. Needed: 88 min."
    )
    assert supply(minutes_one=31, minutes_two=0, needed_min=None, known_min=40)["headline"] == (
        "31 min for one casualty; two at once cannot be given it. Needed: at least 40 min."
    )
    assert supply(lines=(), needed_min=None, known_min=0)["headline"] == (
        "NO OXYGEN on file for this site. Needed: not known."
    )


def test_no_oxygen_is_never_enough_and_what_would_be_enough_is_said():
    none = supply(lines=(), enough_one="", enough_two="")
    assert (none["enough_one"], none["enough_two"]) == (False, False)
    short = supply(enough_one="one 10 L cylinder at 200 bar", enough_two="2 cylinders of 10 L at 200 bar each")
    assert (short["enough_one"], short["enough_two"]) == (False, False)
    assert short["shortfall"] == [
        "NOT ENOUGH for one casualty. Enough would be: one 10 L cylinder at 200 bar.",
        "Not enough for two casualties. Enough would be: 2 cylinders of 10 L at 200 bar each.",
    ]
    unknown = supply(enough_one=UNKNOWN_NEED, enough_two=UNKNOWN_NEED)
    assert unknown["shortfall"] == ["Not known whether the oxygen lasts: find out what is not known of the need."]
    enough = supply(enough_one="", enough_two="")
    assert (enough["enough_one"], enough["enough_two"], enough["shortfall"]) == (True, True, [])


def test_what_the_oxygen_is_needed_for_is_said_part_by_part():
    need = supply(ambulance_min=24.5, drive_min=62.1, slowest_care="North Haven", needed_min=109, margin_share=0.25)
    assert need["need"] == "109 min: ambulance 25 min, drive to North Haven 63 min, 25 % more for safety"
    unknown = supply(ambulance_min=None, drive_min=None, slowest_care="", needed_min=None, known_min=0)
    assert unknown["need"] == "not known: ambulance: time not known, drive to care: not known, 25 % more for safety"


def test_a_gauge_that_was_not_read_today_is_to_be_read_now():
    line = planned().oxygen.lines[0]
    cases = {
        (date(2026, 12, 12), True, "200 bar"): "12 Dec 2026 by Greta Holm",
        (date(2026, 12, 1), False, "200 bar"): "1 Dec 2026 by Greta Holm, NOT TODAY: read the gauge now",
        (None, False, "not read"): "NEVER READ: counts as empty, read the gauge now",
        (None, False, "200 bar"): "nobody wrote down when: read the gauge now",
    }
    for (read, fresh, pressure), words in cases.items():
        one = replace(line, read=read, read_by="Greta Holm" if read else None, fresh=fresh, pressure_words=pressure)
        assert supply(lines=(one,))["lines"][0]["read"] == words


def test_a_unit_that_two_sites_count_on_is_named_with_the_other_site():
    sheet = replace(planned(), shared_oxygen=(("Oxygen box 1", "Gull Cove"),))
    assert said(sheet)["oxygen"]["shared"] == [
        "Oxygen box 1 is counted at Gull Cove on the same day too: it can be at one of them only"
    ]


# ---- how sure a number is ----


def status(**changes: Any) -> dict[str, Any]:
    first = unplanned().contacts[0]
    sheet = replace(unplanned(), contacts=(replace(first, today=None, **changes),))
    return said(sheet)["contacts"][0]


def test_how_sure_a_number_is_without_a_try_today():
    assert status(checked=None, checked_by=None, fresh=False)["status"] == (
        "NEVER CHECKED: ring it before the first dive"
    )
    assert status(checked=date(2026, 11, 20), checked_by="Ana Lund", fresh=True)["status"] == (
        "checked 20 Nov 2026 by Ana Lund, not yet confirmed today"
    )
    assert status(checked=date(2026, 6, 3), checked_by="Ana Lund", fresh=False)["status"] == (
        "NOT CHECKED SINCE 3 Jun 2026, by Ana Lund: ring it before the first dive"
    )
    assert status(checked=date(2026, 12, 9), checked_by="Ana Lund", fresh=False)["status"] == (
        "checked 9 Dec 2026 by Ana Lund, which is after this day: ring it"
    )


FOUND = {
    "right": "confirmed today 07:40 by Tom Okafor",
    "no_answer": "DID NOT ANSWER today 07:40, tried by Tom Okafor",
    "wrong": "WRONG NUMBER, found today 07:40 by Tom Okafor",
    "closed": "TAKES NO CASUALTIES TODAY, told 07:40 to Tom Okafor",
}


@pytest.mark.parametrize("found", get_args(Found))
def test_what_was_found_today_comes_before_what_the_file_says(found):
    first = unplanned().contacts[0]
    at = datetime(2026, 12, 5, 8, 40, tzinfo=UTC)  # one hour behind UTC at the place of the demonstration
    tried = Confirmation(at, first.phone.typed, first.name, "Tom Okafor", found, "Ask for the duty officer.")
    sheet = replace(unplanned(), contacts=(replace(first, today=tried),))
    text = said(sheet)
    assert text["contacts"][0]["status"] == f"{FOUND[found]}. Ask for the duty officer."
    assert text["contacts"][0]["confirmed"] is (found == "right")
    assert (first.name in text["unconfirmed"]) is (found != "right")


def test_nothing_is_unconfirmed_where_everything_was_found_right():
    sheet = replace(unplanned(), contacts=(), care=())
    assert said(sheet)["unconfirmed"] == ""
    assert said(unplanned())["unconfirmed"].startswith("Nobody confirmed today: Verrow emergency control, ")


def test_roles_of_contacts_that_no_number_stands_for_are_named():
    everything = {"coastguard", "diving_doctor", "diver_hotline", "transport", "police"}
    lone = replace(unplanned(), contacts=tuple(c for c in unplanned().contacts if c.role not in everything))
    assert said(lone)["missing_contacts"] == [
        "no coastguard or rescue centre on file",
        "no diving doctor on file",
        "no divers' emergency line on file",
        "no casualty transport on file",
        "no police number on file",
    ]
    nobody = said(replace(unplanned(), contacts=(), care=()))["missing_contacts"]
    assert nobody[0] == "NO RESCUE SERVICE on file: nobody to call first"
    assert "no hospital on file" in nobody and "no recompression chamber on file" in nobody


def test_a_number_of_the_country_that_was_read_nowhere_is_marked():
    # The table of numbers gives 112 as read and the coastguard's as from memory.
    sheet = replace(unplanned(), country="ES", country_numbers=emergency_numbers("ES"))
    first, second = said(sheet)["country_numbers"]
    assert first == "112: emergency services (Spain), free from any phone"
    assert second == "900 202 202: coastguard (Spain), from memory: check it before you rely on it"
    assert said(sheet, "es")["country_numbers"][0].startswith("112: ")
    assert "España" in said(sheet, "es")["country_numbers"][0]
    unknown = said(replace(unplanned(), country="XV", country_numbers=()))["country_numbers"]
    assert unknown == ["no emergency number known for country XV: find it out before diving"]
    assert said(replace(unplanned(), country=None))["country_numbers"] == [
        "country not on file: find out its emergency number"
    ]


# ---- who, when, where to look ----


def test_a_role_with_nobody_is_a_blank_with_the_gap_and_one_who_dives_is_shown_with_the_hours():
    sheet = planned()
    dive = sheet.dives[0]
    name = dive.people[0]
    roles = (
        replace(sheet.roles[0], people=(name, "Ines Faro"), diving=(name,)),
        *(replace(line, people=(), diving=()) for line in sheet.roles[1:]),
    )
    lines = said(replace(sheet, roles=roles, dives=(dive,)))["roles"]
    zone = dive.entry.tzinfo
    assert lines[0]["who"] == f"{name}, Ines Faro"
    assert lines[0]["note"] == f"{name}: in the water {dive.entry:%H:%M} to {dive.exit_by:%H:%M}" and zone is not None
    assert [line["who"] for line in lines[1:]] == ["____"] * 6
    assert lines[2]["note"] == "nobody named to give first aid and oxygen"
    assert all(line["note"] for line in lines)


def test_a_dive_says_when_it_is_overdue_and_the_day_where_it_is_another():
    sheet = planned()
    late = sheet.dives[0].entry + timedelta(days=1)
    dive = replace(sheet.dives[0], exit_by=late, depth_m=17.81, oxygen_percents=(32.0,))
    (line,) = said(replace(sheet, dives=(dive,)))["dives"]
    assert line["exit_by"] == f"{dive.entry:%H:%M} (13 Dec 2026)"
    assert line["depth"] == "17.9 m"
    assert line["gas"] == "32 % oxygen"


def test_the_boxes_to_search_are_those_of_the_drawing_in_english_row_by_row():
    sheet = planned()
    text = said(sheet)
    assert text["search_head"] == search_head()
    assert len(text["searches"]) == len(sheet.dives) > 1
    for search, dive in zip(text["searches"], sheet.dives, strict=True):
        assert search["rows"] == search_rows(dive.search, sheet.timezone)
        assert search["picture"].startswith("<svg")
        assert dive.search.last_seen.degrees_minutes in search["title"]


def test_a_drift_with_a_known_way_is_said_as_in_the_drawing():
    sheet = planned()
    dive = sheet.dives[0]
    steps = tuple(
        replace(step, carried=dive.search.last_seen, toward_deg=359.7, away_m=14.0 * n, radius_m=201.0)
        for n, step in enumerate(dive.search.steps)
    )
    area = replace(dive.search, steps=steps)
    text = said(replace(sheet, dives=(replace(dive, search=area),)))
    assert text["searches"][0]["rows"] == search_rows(area, sheet.timezone)
    assert text["searches"][0]["rows"][5][2:4] == ["toward 000°, 70 m", "radius 210 m"]


def test_the_breath_is_the_part_of_the_call_that_must_be_heard():
    text = said(planned())
    phone = next(script for script in text["scripts"] if script["kind"] == "phone")
    assert [line for line in phone["lines"] if line in text["breath"]] == text["breath"]
    assert text["breath"][0] == "This is a diving emergency."
    assert any("Our position is" in line for line in text["breath"])
    assert any("Conscious" in line for line in text["breath"])
    assert any("Breathing" in line for line in text["breath"])


def test_the_cautions_are_the_sentences_of_the_checks_stops_first():
    sheet = unplanned("the-gut")
    text = said(sheet)
    assert text["cautions"] == [check.sentence for check in sheet.cautions]
    assert text["stops"] == text["cautions"][: len(text["stops"])]


# ---- languages ----


class Marking(NullTranslations):
    """A translation that shows what went through it."""

    def gettext(self, message: str) -> str:
        """Return a message between two marks."""
        return f"«{message}»"


MARKED = Language("fr", "marked", Marking())


def test_every_label_status_gap_and_step_goes_through_the_language():
    text = sheet_text(replace(planned(), gaps=GAPS), MARKED)
    words = [
        *text["labels"].values(), *text["gaps"], *text["first_minute"], *text["posture"], *text["gear"],
        *text["report"], *text["look"], *text["search_head"], *text["search_method"], *text["missing_contacts"],
        *(contact["status"] for contact in text["contacts"]),
        *(contact["role"] for contact in text["contacts"]), *(line["role"] for line in text["roles"]),
        *(care[key] for care in text["care"] for key in ("kind", "drive", "distance", "height", "opened", "status")),
        *(step for each in text["scenarios"] for step in (each["title"], *each["steps"], *each["never"])),
        text["unconfirmed"], text["drill"], text["oxygen"]["headline"], text["oxygen"]["need"], text["caution"],
        text["printed_from"], text["superseded"], text["demonstration"], text["title"],
    ]  # fmt: skip
    assert [each for each in words if not each.startswith("«")] == []


def test_a_translated_sheet_carries_its_notice_its_direction_and_its_own_days():
    text = said(planned(), "es")
    assert (text["language"], text["direction"]) == ("es", "ltr")
    assert text["notice"]
    assert text["date"] == "sábado 12 diciembre 2026"
    assert said(planned())["notice"] == ""
    assert sheet_text(unplanned(), Language("he", "עברית"))["direction"] == "rtl"


def test_words_of_a_site_file_with_braces_stay_as_they_are():
    name = "{0} {name} %s {"
    first = replace(unplanned().contacts[0], name=name, checked_by=name)
    sheet = replace(unplanned(), site_name=name, contacts=(first,), gate_code=name, centre=name)
    text = said(sheet)
    assert text["site"] == name and text["contacts"][0]["name"] == name and text["where"]["gate"] == name
    assert name in text["title"] and name in text["unconfirmed"]


def test_labels_that_faces_fill_in_keep_their_places():
    for code in languages():
        labels = label_words(language(code))
        assert "{page}" in labels["page"] and "{pages}" in labels["page"]
        assert "{number}" in labels["inside"]
        assert labels["checked_today"].count("____") == 2
        assert labels["last_seen_at"].count("____") == 3
        assert labels["next_drill"].count("____") == 1
