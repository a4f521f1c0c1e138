"""What is read aloud: the alphabet, figures and places of the radio, the order of a call, and nothing left out."""

from __future__ import annotations

import dataclasses
import re
from datetime import UTC, datetime
from gettext import NullTranslations
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.emergency.call_script import (
    BLANK,
    CallFacts,
    Script,
    figure_words,
    mayday_script,
    pan_pan_script,
    phone_script,
    said_digits,
    spelled,
)
from tripplan.environment.position import Position
from tripplan.language import ENGLISH, Language

FACTS = CallFacts(
    party="Verrow Shore Diving",
    site="Gull Cove",
    position=Position(47.0512, -17.1234),
    road="Cove Lane off the East Road",
    rendezvous="Gravel car park above the beach",
    gate_code="4417",
    callback="+44 7700 900110",
    landmark="Verrow Head light",
    landmark_bearing_deg=150.2,
    landmark_distance_nm=0.4,
    helicopter="Upper field behind the chapel",
    vhf="Channel 16 reaches the coastguard from the car park",
    in_water=12,
    exit_by=datetime(2027, 6, 12, 14, 30, tzinfo=ZoneInfo("Atlantic/Azores")),
)
UNKNOWN = CallFacts(
    party="Verrow Shore Diving",
    site="Gull Cove",
    position=Position(47.0512, -17.1234),
    road="Cove Lane off the East Road",
    rendezvous="Gravel car park above the beach",
    gate_code=None,
    callback=None,
    landmark=None,
    landmark_bearing_deg=None,
    landmark_distance_nm=None,
    helicopter="",
    vhf=None,
    in_water=None,
)
SCRIPTS = (phone_script, mayday_script, pan_pan_script)


class Backwards(NullTranslations):
    """A translation that can be told from English at once, and keeps the places of values."""

    def gettext(self, message: str) -> str:
        return f"«{message}»"


OTHER = Language("es", "Español", Backwards())


def said(script: Script) -> list[str]:
    return [line.say for line in script.lines]


# ITU Radio Regulations, Appendix 14, the alphabet as handbooks of radio print it (verified in secondary copies).
ALPHABET = """
Alfa Bravo Charlie Delta Echo Foxtrot Golf Hotel India Juliett Kilo Lima Mike
November Oscar Papa Quebec Romeo Sierra Tango Uniform Victor Whiskey X-ray Yankee Zulu
"""
# Left: IMO Standard Marine Communication Phrases (verified in teaching slides). Right: Appendix 14 (from memory).
FIGURES = """
0 ZEERO Nadazero
1 WUN Unaone
2 TOO Bissotwo
3 TREE Terrathree
4 FOWER Kartefour
5 FIFE Pantafive
6 SIX Soxisix
7 SEVEN Setteseven
8 AIT Oktoeight
9 NINER Novenine
decimal DECIMAL Decimal
"""


def test_each_letter_is_spelled_by_the_alphabet_of_the_radio():
    words = ALPHABET.split()
    assert len(words) == 26
    assert spelled("ABCDEFGHIJKLMNOPQRSTUVWXYZ") == spelled("abcdefghijklmnopqrstuvwxyz") == " ".join(words)


def test_each_figure_has_its_two_words_with_how_sure_they_are():
    expected = [tuple(line.split()) for line in FIGURES.strip().splitlines()]
    assert [(word.figure, word.say, word.code_word) for word in figure_words()] == expected
    assert {word.say_provenance for word in figure_words()} == {"verified"}
    assert {word.code_word_provenance for word in figure_words()} == {"from memory"}
    assert spelled("0123456789") == " ".join(say for figure, say, _ in expected if figure != "decimal")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Gull", "Golf Uniform Lima Lima"),
        ("Gull Cove", "Golf Uniform Lima Lima, Charlie Oscar Victor Echo"),
        ("Ría", "Romeo India Alfa"),
        ("Ñ Ü Å", "November, Uniform, Alfa"),
        ("Øst Łeba Weiß", "Oscar Sierra Tango, Lima Echo Bravo Alfa, Whiskey Echo India Sierra Sierra"),
        ("O'Neill", "Oscar November Echo India Lima Lima"),
        ("B - 2", "Bravo, TOO"),
        ("{x}", "X-ray"),
        ("Μόλος", ""),  # Greek
        ("Gull 東", ""),
        ("--", ""),
        ("", ""),
    ],
)
def test_a_name_is_spelled_or_left_as_a_gap_but_never_in_part(text, words):
    assert spelled(text) == words


@settings(deadline=None)
@given(st.text())
def test_any_text_is_spelled_in_known_words_or_not_at_all(text):
    known = {*ALPHABET.split(), *(line.split()[1] for line in FIGURES.strip().splitlines())}
    assert set(re.findall(r"[^ ,]+", spelled(text))) <= known


# IMO phrases (verified in a phrase sheet): numbers one digit at a time, 150 = one five zero.
@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("150", "one five zero"),
        ("0.4", "zero decimal four"),
        (".5", "decimal five"),
        ("+44 1632 960123", "plus four four, one six three two, nine six zero one two three"),
        ("gate 12-7", "one two, seven"),
        ("none", ""),
    ],
)
def test_figures_are_said_one_by_one(text, words):
    assert said_digits(text) == words


@settings(deadline=None)
@given(st.text(alphabet="0123456789+-. ()/ab"))
def test_no_figure_is_lost_or_added_when_said(text):
    names = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
    heard = [names.index(word) for word in re.findall(r"[a-z]+", said_digits(text)) if word in names]
    assert heard == [int(sign) for sign in text if sign.isdigit()]


# By hand: 0.0512 degrees are 3.072 minutes, 0.1234 degrees are 7.404 minutes. Shape of the IMO phrase sheet (verified):
# "six two degrees, one one decimal eight minutes North".
LATITUDE = "four seven degrees, zero three decimal zero seven two minutes North"
LONGITUDE = "zero one seven degrees, zero seven decimal four zero four minutes West"
BEARING = "earing one five zero degrees true from Verrow Head light,"
DISTANCE = "distance zero decimal four nautical miles."


@pytest.mark.parametrize("write", SCRIPTS)
def test_a_position_is_said_digit_by_digit_and_from_the_landmark(write):
    lines = said(write(FACTS, ENGLISH))
    (at,) = [number for number, line in enumerate(lines) if LATITUDE in line]
    assert lines[at + 1] == f"{LONGITUDE}."
    assert lines[at + 2].endswith(BEARING) and lines[at + 3] == DISTANCE


@pytest.mark.parametrize(
    ("bearing", "figures"), [(0.0, "zero zero zero"), (7.4, "zero zero seven"), (359.6, "zero zero zero")]
)
def test_a_bearing_has_three_figures(bearing, figures):
    lines = said(mayday_script(dataclasses.replace(FACTS, landmark_bearing_deg=bearing), ENGLISH))
    assert f"Bearing {figures} degrees true from Verrow Head light," in lines


@pytest.mark.parametrize(
    ("distance", "words"),
    [
        (0.43, "zero decimal four three"),
        (1.0, "one decimal zero"),
        (12.349, "one two decimal three five"),
        (0.005, "zero decimal zero one"),
        (0.004, "less than zero decimal zero one"),
        (0.0, "less than zero decimal zero one"),
    ],
)
def test_a_distance_has_its_unit_and_is_never_said_to_be_nothing(distance, words):
    lines = said(mayday_script(dataclasses.replace(FACTS, landmark_distance_nm=distance), ENGLISH))
    assert f"distance {words} nautical miles." in lines


def keys(script: Script) -> list[str]:
    """Return the keys in order, each run once."""
    found: list[str] = []
    for line in script.lines:
        if found[-1:] != [line.key]:
            found.append(line.key)
    return found


# Order of a distress call and message in the Radio Regulations (verified in radio handbooks): MAYDAY three times, the
# name three times; then MAYDAY and name, position, nature, assistance, persons, other information, over.
def test_a_mayday_has_the_order_of_the_radio_regulations():
    script = mayday_script(FACTS, ENGLISH)
    assert keys(script) == ["call", "identity", "position", "nature", "assistance", "number", "other", "over"]
    name = "Verrow Shore Diving"
    assert said(script)[:3] == [
        "MAYDAY, MAYDAY, MAYDAY.",
        f"This is shore party {name}, {name}, {name}.",
        f"MAYDAY, shore party {name}.",
    ]
    assert said(script)[-1] == "Over."
    assert script.kind == "mayday"


# Urgency call (verified in radio handbooks): PAN PAN and all stations three times, the name three times, text, over.
def test_a_pan_pan_has_the_order_of_the_radio_regulations():
    script = pan_pan_script(FACTS, ENGLISH)
    assert keys(script) == ["call", "position", "nature", "assistance", "number", "other", "over"]
    name = "Verrow Shore Diving"
    assert said(script)[:3] == [
        "PAN PAN, PAN PAN, PAN PAN.",
        "All stations, all stations, all stations.",
        f"This is shore party {name}, {name}, {name}.",
    ]
    assert not any("MAYDAY" in line or "issing" in line for line in said(script))


@pytest.mark.parametrize("write", SCRIPTS)
def test_each_call_says_that_it_is_a_diving_emergency_and_asks_for_what_only_the_caller_sees(write):
    lines = said(write(FACTS, ENGLISH))
    assert "This is a diving emergency." in lines
    for start in ("Number of casualties: ", "Conscious, yes or no: ", "Breathing, yes or no: ", "Oxygen given since "):
        (line,) = [each for each in lines if each.startswith(start)]
        assert BLANK in line
    assert any(re.fullmatch(r"(People|Persons) ashore: ____\.", line) for line in lines)


@pytest.mark.parametrize("write", [phone_script, mayday_script])
def test_a_missing_diver_has_an_hour_and_a_depth(write):
    lines = said(write(FACTS, ENGLISH))
    assert "Missing diver last seen at ____ local time." in lines
    assert "Last seen at a depth of ____ metres." in lines


# What each fact sounds like on the telephone; the gate, the road and the words on VHF are not for the radio.
SOUNDS = {
    "party": "Verrow Shore Diving",
    "site": "Gull Cove",
    "position": LATITUDE,
    "road": "Cove Lane off the East Road",
    "rendezvous": "Gravel car park above the beach",
    "gate_code": "four four one seven",
    "callback": "plus four four, seven seven zero zero, nine zero zero one one zero",
    "landmark": "Verrow Head light",
    "landmark_bearing_deg": "one five zero degrees true",
    "landmark_distance_nm": "zero decimal four nautical miles",
    "helicopter": "Upper field behind the chapel",
    "vhf": "Channel 16 reaches the coastguard from the car park",
    "in_water": "at most 12",
    "exit_by": "one four three zero local time",
}


@pytest.mark.parametrize("field", [field.name for field in dataclasses.fields(CallFacts)])
def test_each_fact_is_said_on_the_telephone_and_what_a_boat_needs_on_the_radio(field):
    assert any(SOUNDS[field] in line for line in said(phone_script(FACTS, ENGLISH)))
    for write in (mayday_script, pan_pan_script):
        script = write(FACTS, ENGLISH)
        sound = "at most one two" if field == "in_water" else SOUNDS[field]
        heard = any(sound in line for line in (script.when if field == "vhf" else "", *said(script)))
        assert heard or field in ("road", "gate_code")
        assert field != "vhf" or sound in script.when


@pytest.mark.parametrize(
    ("write", "lines"),
    [
        (
            phone_script,
            [
                "Call me back on ____.",
                "Bearing ____ degrees true from this feature of the chart: ____,",
                "distance ____ nautical miles.",
                "If a gate is shut, its code is ____.",
                "For a helicopter: ____.",
                "VHF radio here: ____.",
                "Our plan has at most ____ divers in the water.",
                "All divers are due out by ____ local time.",
            ],
        ),
        (
            mayday_script,
            [
                "My telephone is ____.",
                "Bearing ____ degrees true from this feature of the chart: ____,",
                "distance ____ nautical miles.",
                "For a helicopter: ____.",
                "Divers in the water by plan: at most ____.",
                "All divers are due out by ____ local time.",
            ],
        ),
    ],
)
def test_what_is_not_known_is_a_blank_and_never_silence(write, lines):
    unknown, known = write(UNKNOWN, ENGLISH), write(FACTS, ENGLISH)
    assert set(lines) <= set(said(unknown))
    assert not set(lines) & set(said(known))
    assert [line.key for line in unknown.lines] == [line.key for line in known.lines]


def test_a_radio_that_nobody_tried_is_said_to_be_unknown():
    assert "is not known" in mayday_script(UNKNOWN, ENGLISH).when
    assert "is not known" not in mayday_script(FACTS, ENGLISH).when


def test_a_name_in_other_letters_leaves_a_gap_to_spell_it():
    lines = said(phone_script(dataclasses.replace(FACTS, site="Όρμος"), ENGLISH))
    assert "We are on the shore at Όρμος." in lines
    assert "The name is spelled ____." in lines


def test_points_in_a_telephone_number_are_no_decimals_and_a_gate_code_with_letters_is_shown_as_it_is():
    lines = said(phone_script(dataclasses.replace(FACTS, callback="01632.960.123", gate_code="A12#"), ENGLISH))
    assert "Call me back on zero one six three two, nine six zero, one two three." in lines
    assert "If a gate is shut, its code is A12#." in lines


def test_an_hour_says_its_clock():
    by = datetime(2027, 6, 12, 9, 5, tzinfo=UTC)
    assert "All divers are due out by zero nine zero five UTC." in said(
        mayday_script(dataclasses.replace(FACTS, exit_by=by), ENGLISH)
    )


# One fact a line: what this program writes itself, without the words of a site file, is read in one breath.
@pytest.mark.parametrize("write", SCRIPTS)
def test_lines_are_short_whole_and_without_brackets(write):
    bracketed = dataclasses.replace(FACTS, road="Cove Lane (gravel), then [left].", helicopter="Field (upper)")
    for facts in (FACTS, UNKNOWN, bracketed):
        for line in said(write(facts, ENGLISH)):
            assert len(line) <= 100
            assert not re.search(r"[()\[\]]|\.\.|,,| ,", line)
            assert line[-1] in ".,"
    if write is phone_script:
        assert "By road: Cove Lane, gravel, then, left." in said(write(bracketed, ENGLISH))


@pytest.mark.parametrize("write", SCRIPTS)
def test_names_with_braces_accents_or_signs_come_out_as_they_are(write):
    odd = "Sørvik {x} {0} 100 % \\N"
    facts = dataclasses.replace(FACTS, party=odd, site=odd, landmark=odd, rendezvous=odd, helicopter=odd, road=odd)
    for language in (ENGLISH, OTHER):
        assert sum(odd in line for line in said(write(facts, language))) >= 5


texts = st.text(max_size=30)


@settings(deadline=None, max_examples=50)
@given(
    st.builds(
        CallFacts,
        party=texts,
        site=texts,
        position=st.builds(Position, st.floats(-90, 90), st.floats(-180, 180)),
        road=texts,
        rendezvous=texts,
        gate_code=st.none() | texts,
        callback=st.none() | texts,
        landmark=st.none() | texts,
        landmark_bearing_deg=st.none() | st.floats(0, 360),
        landmark_distance_nm=st.none() | st.floats(0, 100),
        helicopter=texts,
        vhf=st.none() | texts,
        in_water=st.none() | st.integers(0, 60),
    )
)
def test_any_facts_make_every_call_with_the_same_lines(facts):
    for write in SCRIPTS:
        for language in (ENGLISH, OTHER):
            script = write(facts, language)
            assert [line.key for line in script.lines] == [line.key for line in write(FACTS, ENGLISH).lines]
            assert all(line.say.strip() and "\n" not in line.say for line in script.lines)


def test_the_telephone_script_is_translated_line_by_line_with_figures_for_the_numbers():
    script = phone_script(FACTS, OTHER)
    lines = said(script)
    assert "«Our position is 47° 03.072' N,»" in lines and "017° 07.404' W." in lines
    assert "«Bearing 150 degrees true from Verrow Head light,»" in lines
    assert "«distance 0.4 nautical miles.»" in lines
    assert "«Call me back on +44 7700 900110.»" in lines
    assert "«All divers are due out by «14:30 local time».»" in lines
    assert all(line.startswith("«") for line in lines if line != "017° 07.404' W.")
    assert all(text.startswith("«") for text in (script.when, *script.after))


@pytest.mark.parametrize("write", [mayday_script, pan_pan_script])
def test_the_radio_scripts_stay_in_english_and_say_so(write):
    english, other = write(FACTS, ENGLISH), write(FACTS, OTHER)
    assert other.lines == english.lines
    assert "«The words stay in English, because coast stations work by these phrases.»" in other.when
    assert all(text.startswith("«") for text in (other.when, *other.after))


# Which call: the distress call for grave and imminent danger, the urgency call otherwise, one raised to the other
# (verified in a radio handbook); missing and unconscious divers and suspected gas embolism by common practice.
def test_each_call_says_when_it_is_the_right_one_and_what_comes_after_it():
    mayday, pan_pan, phone = (write(FACTS, ENGLISH) for write in (mayday_script, pan_pan_script, phone_script))
    for words in ("rave and imminent danger", "missing diver", "unconscious diver", "gas in the blood vessels"):
        assert words in mayday.when
    assert "stable" in pan_pan.when and "In doubt, send a MAYDAY." in pan_pan.when
    assert "Telephone first from a beach with signal" in phone.when
    for script in (mayday, pan_pan):
        after = " ".join(script.after)
        assert "telephone first" in script.when and "channel 16" in script.when
        for words in ("Stay on channel 16", "Do not leave the radio until", "then telephone", "no call sign", "cancel"):
            assert words in after
    assert "PAN PAN" in " ".join(mayday.after)
    assert "MAYDAY" in " ".join(pan_pan.after)
    assert "false alarm" in " ".join(phone.after)
