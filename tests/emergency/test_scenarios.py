"""What to do when something goes wrong: each step that the published plans ask for is there, short, and in its order.

REQUIRED holds what a plan must say, by scenario, with its source. NOAA means the NOAA Diving Program's Diving Emergency
Management Plan, part A (a conscious casualty), read as steps 1 to 6; HSA means HSA Ireland, diving at work, emergency
plans (which scenarios a plan must answer); OSHA means 29 CFR 1910.420 to 1910.423; QLD means the Queensland Safety in
Recreational Water Activities Regulation 2024, section 16; USN means the US Navy Diving Manual, chapters 6, 7 and 9, in
summary; EAP means the union of public guidance on emergency assistance plans for divers; NWS means the 30-30 lightning
rule; ANZCOR means guideline 9.3.5, resuscitation of divers who have breathed compressed gas, read in excerpt; CP means
common practice.
"""

from __future__ import annotations

import re
from gettext import NullTranslations
from pathlib import Path
from typing import get_args

import pytest
from babel.messages.extract import extract_from_file

from tripplan.emergency import scenarios as module
from tripplan.emergency.readiness import Scenario
from tripplan.emergency.scenarios import (
    SHEET_SOURCES,
    Steps,
    caution,
    first_minute,
    gear_and_record,
    neuro_look,
    posture,
    report_fields,
    scenarios,
)
from tripplan.language import ENGLISH, Language
from tripplan.rulebook import baseline
from tripplan.sources import SOURCES

ORDER = (
    "missing_diver", "unconscious_at_surface", "bubble_illness", "rapid_ascent", "out_of_gas", "injury", "fire",
    "weather", "abort",
)  # fmt: skip
ALL = {each.key: each for each in scenarios(ENGLISH)}
PARTS = {
    "first_minute": first_minute,
    "posture": posture,
    "gear_and_record": gear_and_record,
    "neuro_look": neuro_look,
    "report_fields": report_fields,
}
OXYGEN = "as much oxygen as possible by demand valve or non-rebreather mask, as trained"


def everything(language: Language) -> list[str]:
    """Return every line that a sheet can show."""
    found = [caution(language)]
    for part in PARTS.values():
        found.extend(part(language))
    for each in scenarios(language):
        found.extend((each.title, *each.steps, *each.never))
    return found


def instructions() -> list[str]:
    """Return every line that tells somebody to do something: all but titles, fields and what never to do."""
    found = [line for each in ALL.values() for line in each.steps]
    for name, part in PARTS.items():
        if name != "report_fields":
            found.extend(part(ENGLISH))
    return found


# (scenario, what is asked for, who asks, words that one step must hold in this order)
REQUIRED = [
    ("missing_diver", "call early, before a search", "EAP, CP", "Call the emergency number .*overdue.*after the call"),
    ("missing_diver", "recall", "HSA, CP", "Recall all divers"),
    ("missing_diver", "count", "QLD", "Count everyone by name"),
    ("missing_diver", "vehicles checked", "CP", "cars"),
    ("missing_diver", "last seen: time, point, by whom", "EAP", "when and where .*last seen.* by whom"),
    ("missing_diver", "mark the point", "EAP", "Mark the place last seen"),
    ("missing_diver", "a lookout", "EAP", "one lookout"),
    ("missing_diver", "bubbles, down wind, down stream", "EAP", "bubbles.*down wind.*down stream"),
    ("missing_diver", "limits of the search team", "EAP", "only in pairs.*gas.*depth and time limits"),
    ("missing_diver", "return time, recorder ashore", "EAP, CP", "time to be back.*on shore writes"),
    ("missing_diver", "say when found", "CP", "Tell the rescue service at once when the diver is found"),
    ("missing_diver", "end of own search", "EAP, CP", "End your own search when the rescue service takes over"),
    ("unconscious_at_surface", "call with the words", "HSA", "call the emergency number: diving emergency"),
    ("unconscious_at_surface", "no second casualty", "CP", "only if it is safe for you"),
    ("unconscious_at_surface", "airway out of the water", "CP", "mouth and nose out of the water"),
    ("unconscious_at_surface", "make them float", "CP", "fill the jacket and drop the weights"),
    ("unconscious_at_surface", "out at the extraction point", "OSHA 422(b)(3)", "exit for casualties"),
    ("unconscious_at_surface", "airway, breathing, circulation", "NOAA 1", "airway, breathing and circulation"),
    ("unconscious_at_surface", "resuscitation as trained", "CP", "not breathe normally.*resuscitation as trained"),
    ("unconscious_at_surface", "on the side", "ANZCOR", "breathe but are not awake.*on one side"),
    ("unconscious_at_surface", "oxygen", "NOAA 3", OXYGEN),
    ("bubble_illness", "airway, breathing, circulation", "NOAA 1", "airway, breathing and circulation"),
    ("bubble_illness", "call", "NOAA 2, HSA", "Call the emergency number.*diving emergency"),
    ("bubble_illness", "take every sign seriously", "OSHA 423(b)(1)(ii)", "any pain, tingling, weakness"),
    ("bubble_illness", "oxygen", "NOAA 3", OXYGEN),
    ("bubble_illness", "look at nerves and senses", "NOAA 4", "Look and ask as the sheet says"),
    ("bubble_illness", "computer stays", "NOAA 4", "Keep the dive computer with them"),
    ("bubble_illness", "gear assembled", "NOAA 4", "Keep the gear assembled"),
    ("bubble_illness", "interview the buddy", "NOAA 4", "buddy's statement"),
    ("bubble_illness", "flat on the back", "NOAA 5", "flat on the back"),
    ("bubble_illness", "on the side when vomiting", "NOAA 5", "If they vomit, turn them on one side"),
    ("bubble_illness", "hospital first", "NOAA 6", "hospital first, unless"),
    ("rapid_ascent", "out and look at both", "OSHA 423(b)(1)(i)", "Ask both how they feel"),
    ("rapid_ascent", "signs: treat as bubble illness", "USN", "anything at all is wrong.*steps for bubble illness"),
    ("rapid_ascent", "ask a doctor", "CP", "call a diving doctor"),
    ("rapid_ascent", "watch", "OSHA 423", "watched"),
    ("rapid_ascent", "end the dive for both", "CP", "diver and the buddy out of the water"),
    ("rapid_ascent", "look again", "USN", "Look and ask again"),
    ("rapid_ascent", "warn about flying", "OSHA 423(b)(1)(iv)", "flying"),
    ("rapid_ascent", "record", "HSA", "Write the depth"),
    ("out_of_gas", "share", "CP", "mouthpiece that works"),
    ("out_of_gas", "together", "CP", "Hold on to each other"),
    ("out_of_gas", "ascent at the planned speed", "CP", "planned speed. Breathe"),
    ("out_of_gas", "leave the water", "CP", "nearest safe exit"),
    ("out_of_gas", "a fast ascent follows", "HSA, CP", "After a fast ascent"),
    ("out_of_gas", "breathe out alone", "CP", "breathe out all the way"),
    ("out_of_gas", "float with an empty cylinder", "CP", "by mouth"),
    ("out_of_gas", "failed gear kept as it is", "HSA, CP", "Put the gear aside as it is"),
    ("injury", "airway, breathing, circulation", "NOAA 1", "airway, breathing and circulation"),
    ("injury", "bleeding", "CP", "Press hard on a wound"),
    ("injury", "call", "HSA", "Call the emergency number .*in doubt"),
    ("injury", "marine injury", "USN", "sting or bite"),
    ("injury", "out of danger", "CP", "away from the danger"),
    ("injury", "a dive before it", "CP", "watch for bubble illness too"),
    ("injury", "record", "CP", "Write what happened, when"),
    ("fire", "away and call", "HSA, CP", "Call the fire service.*oxygen cylinders"),
    ("fire", "count", "CP", "Count everyone by name"),
    ("fire", "divers in the water", "HSA, CP", "Recall the divers"),
    ("fire", "get away", "CP", "everyone away, up wind"),
    ("fire", "fight it only if trained", "CP", "only if trained, with a free way out"),
    ("fire", "oxygen closed", "CP", "Close the oxygen valve only if .*without danger"),
    ("weather", "nobody else in", "CP", "nobody else go into the water"),
    ("weather", "recall", "HSA", "Recall all divers"),
    ("weather", "other exit", "CP", "other exit"),
    ("weather", "no exit is safe", "CP", "float together outside the breaking waves"),
    ("weather", "not back in without a check", "CP", "Check the whole plan again"),
    ("weather", "call before it is late", "CP", "Call the emergency number as soon as anyone cannot get out"),
    ("weather", "count", "CP", "Count everyone by name"),
    ("weather", "shelter", "NWS", "solid building or a closed car"),
    ("weather", "wait", "NWS", "30 minutes after the last thunder"),
    ("abort", "any diver may end it", "HSA, CP", "any diver gives the signal"),
    ("abort", "together", "CP", "Stay together"),
    ("abort", "ascent at the planned speed", "CP", "planned speed. Make your stops"),
    ("abort", "buddy does not come up", "CP", "does not come up, signal .*missing"),
    ("abort", "float first", "CP", "Float first"),
    ("abort", "no further group", "CP", "Hold the next group back"),
    ("abort", "separated pair", "CP", "look for one minute, then come up"),
    ("abort", "panic", "USN, OSHA 420", "diver in panic"),
    ("abort", "count", "CP", "Count everyone by name"),
]


@pytest.mark.parametrize(("key", "asked", "who", "words"), REQUIRED, ids=lambda value: str(value)[:40])
def test_each_step_that_a_plan_must_hold_is_there(key, asked, who, words):
    assert any(re.search(words, step) for step in ALL[key].steps), f"{key}: {asked} ({who})"


NEVER = [
    ("missing_diver", "EAP: what not to do", "search alone or beyond their own limits"),
    ("missing_diver", "CP: the call does not wait", "wait for the end of a search before you call"),
    ("missing_diver", "EAP: the buddy may need care too", "buddy go home unwatched"),
    ("unconscious_at_surface", "NOAA 5", "raise the legs"),
    ("unconscious_at_surface", "CP", "leave them alone"),
    ("unconscious_at_surface", "EAP: number still in water", "forget the buddy"),
    ("bubble_illness", "NOAA 5", "raise the legs"),
    ("bubble_illness", "CP: no treatment in water", "back into the water to treat bubble illness"),
    ("bubble_illness", "CP: signs come back", "stop the oxygen or cancel the call"),
    ("rapid_ascent", "CP: no treatment in water", "go back down"),
    ("rapid_ascent", "CP", "go home unwatched"),
    ("out_of_gas", "CP", "hold your breath"),
    ("fire", "CP: oxygen feeds fire", "use oxygen near flames"),
    ("fire", "CP: heat bursts cylinders", "cylinder that is hot"),
    ("weather", "NWS", "under a tree"),
    ("weather", "NWS", "where you hear thunder"),
    ("weather", "CP: no second casualty", "go into breaking waves"),
    ("injury", "CP", "touch or catch the animal"),
    ("abort", "CP", "leave your buddy"),
]


@pytest.mark.parametrize(("key", "who", "words"), NEVER)
def test_each_thing_never_to_do_is_named(key, who, words):
    assert any(words in line for line in ALL[key].never), who


def test_every_scenario_stands_once_in_the_order_of_the_sheet():
    assert tuple(each.key for each in scenarios(ENGLISH)) == ORDER
    assert set(ORDER) == set(get_args(Scenario))
    titles = [each.title for each in ALL.values()]
    assert len(set(titles)) == len(titles)


@pytest.mark.parametrize("each", ALL.values(), ids=lambda each: each.key)
def test_a_scenario_is_four_to_nine_steps_and_one_to_three_nevers(each: Steps):
    assert 4 <= len(each.steps) <= 9
    assert 1 <= len(each.never) <= 3
    assert len({*each.steps, *each.never}) == len(each.steps) + len(each.never)
    assert all(line.startswith("Never ") for line in each.never)
    assert not any("never" in line.lower() for line in each.steps)


@pytest.mark.parametrize("each", ALL.values(), ids=lambda each: each.key)
def test_a_scenario_names_sources_that_exist(each: Steps):
    assert each.sources
    assert set(each.sources) <= SOURCES.keys()
    assert len(set(each.sources)) == len(each.sources)


def test_the_other_parts_name_sources_that_exist():
    assert SHEET_SOURCES
    assert set(SHEET_SOURCES) <= SOURCES.keys()


def at(key: str, words: str) -> int:
    """Return the place of the one step that holds words."""
    (found,) = [number for number, step in enumerate(ALL[key].steps) if words in step]
    return found


def test_a_missing_diver_is_reported_before_anything_else_and_the_search_ends_with_the_rescue_service():
    steps = ALL["missing_diver"].steps
    assert at("missing_diver", "Call the emergency number") == 0
    assert at("missing_diver", "Count everyone") < at("missing_diver", "Search only")
    assert at("missing_diver", "Mark the place") < at("missing_diver", "Search only")
    assert at("missing_diver", "one lookout") < at("missing_diver", "Search only")
    assert "rescue service takes over" in steps[-1]


# NOAA plan, part A: 1 airway, 2 call, 3 oxygen, 4 what to learn and keep, 5 posture, 6 transport. Posture is moved up:
# lying down takes no time and waits for nothing.
def test_bubble_illness_follows_the_order_of_the_published_plan():
    in_order = ("airway", "Call the", "oxygen as possible", "Look and ask", "dive computer", "statement", "hospital")
    places = [at("bubble_illness", words) for words in in_order]
    assert places == sorted(places)
    assert at("bubble_illness", "flat on the back") < at("bubble_illness", "Look and ask")


def test_who_does_not_breathe_is_resuscitated_before_anybody_is_turned_on_the_side():
    key = "unconscious_at_surface"
    assert at(key, "airway, breathing") < at(key, "do not breathe normally") < at(key, "on one side")


# "Not awake" alone would turn a casualty who needs resuscitation on the side.
def test_nobody_is_turned_on_the_side_for_not_being_awake_without_breathing():
    turned = [line for line in everything(ENGLISH) if "on one side" in line and "awake" in line]
    assert len(turned) == 3
    for line in turned:
        assert re.search(r"breathe but are not awake", line), line


def test_the_first_minute_is_six_to_eight_short_lines_in_order():
    lines = first_minute(ENGLISH)
    assert 6 <= len(lines) <= 8
    assert all(len(line) <= 75 for line in lines)
    text = " / ".join(lines)
    places = [
        text.index(words)
        for words in (
            "out of the water", "Airway, breathing, circulation", "Call the emergency number", "oxygen", "flat",
            "Count everyone", "meet the ambulance", "dive computer", "Write the times",
        )
    ]  # fmt: skip
    assert places == sorted(places)
    assert "Do not raise the legs" in text and "assembled" in text


@pytest.mark.parametrize(
    ("part", "words"),
    [
        ("posture", "flat on the back"),  # NOAA 5
        ("posture", "Do not raise the legs"),  # NOAA 5
        ("posture", "If they vomit"),  # NOAA 5
        ("posture", "airway clear"),  # NOAA 5
        ("posture", "cannot breathe lying flat"),  # ANZCOR: a position of comfort where breathing is hard
        ("gear_and_record", "dive computer with the casualty"),  # NOAA 4
        ("gear_and_record", "not take it apart"),  # NOAA 4
        ("gear_and_record", "count the turns"),  # CP
        ("gear_and_record", "buddy's statement"),  # NOAA 4
        ("gear_and_record", "witnesses"),  # EAP
        ("gear_and_record", "the times"),  # EAP
        ("gear_and_record", "greatest depth, the time under water, the gas"),  # EAP
        ("gear_and_record", "first signs and when"),  # EAP
        ("neuro_look", "Awake"),  # NOAA 4, the quick look in five words
        ("neuro_look", "speak clearly"),
        ("neuro_look", "Feeling"),
        ("neuro_look", "Movement"),
        ("neuro_look", "Walking"),
        ("report_fields", "Name"),  # from here: what rescue services and diving doctors ask, EAP and NOAA
        ("report_fields", "Age"),
        ("report_fields", "what happened"),
        ("report_fields", "Awake, breathing, pulse"),
        ("report_fields", "Changes since then"),
        ("report_fields", "Time out of the water"),
        ("report_fields", "Illnesses"),
        ("report_fields", "Last meal"),
        ("report_fields", "in the order they came"),
        ("report_fields", "When each sign began"),
        ("report_fields", "What was done"),
        ("report_fields", "Oxygen: since when, flow, which mask"),
        ("report_fields", "greatest depth, time under water, gas"),
        ("report_fields", "Ascent"),
        ("report_fields", "last 48 hours"),
        ("report_fields", "Medicines"),
        ("report_fields", "Allergies"),
        ("report_fields", "Next of kin"),
        ("report_fields", "how the buddy is"),
        ("report_fields", "Dive computer: who has it"),
    ],
)
def test_each_part_of_the_sheet_holds_what_is_asked_for(part, words):
    lines = PARTS[part](ENGLISH)
    assert any(words in line for line in lines)
    assert len(set(lines)) == len(lines)


def test_the_gauge_is_read_before_the_valve_is_closed():
    lines = gear_and_record(ENGLISH)
    gauge, valve = (next(n for n, line in enumerate(lines) if words in line) for words in ("gauge", "valve"))
    assert gauge < valve


def test_the_look_makes_nobody_stand_up_and_delays_nothing():
    lines = neuro_look(ENGLISH)
    assert "must not delay the call or the oxygen" in lines[0]
    (walking,) = [line for line in lines if line.startswith("Walking")]
    assert "Do not make them stand" in walking


def test_no_line_is_longer_than_ninety_characters_or_has_braces_or_loose_space():
    for line in everything(ENGLISH):
        assert 0 < len(line) <= 90, line
        assert not set("{}_") & set(line), line
        assert line == " ".join(line.split()), line


def test_each_instruction_is_at_most_two_short_sentences():
    for line in instructions() + [line for each in ALL.values() for line in each.never]:
        assert line.endswith("."), line
        sentences = re.split(r"[.!?]\s+", line)
        assert len(sentences) <= 2, line
        assert all(len(sentence.split()) <= 17 for sentence in sentences), line


HARD = (
    "hyperbaric", "decompression", "recompress", "embolism", "neurolog", "supine", "recovery position", "dci", "dcs",
    "bcd", "smb", "octopus", "datum", "abc", "cpr", "aed", "evacuate", "casevac", "symptom", "aspirat", "protocols",
)  # fmt: skip


def test_no_line_holds_a_word_that_a_frightened_helper_trips_on():
    for line in everything(ENGLISH):
        assert not [word for word in HARD if re.search(rf"\b{word}", line.lower())], line


DRUG = r"aspirin|ibuprofen|paracetamol|adrenalin|epinephrin|steroid|painkiller|\bdrugs?\b|\bpills?\b|tablet|inject"
DOSE = r"\d+([.,]\d+)?\s*(mg|g|ml|l|litres?|l/min|litres a minute|%|per cent|drops)\b"


def test_no_line_names_a_drug_or_a_dose():
    for line in everything(ENGLISH):
        assert not re.search(DRUG, line.lower()), line
        assert not re.search(DOSE, line.lower()), line
    for line in instructions():
        assert "medicine" not in line.lower(), line


def test_only_a_never_speaks_of_going_back_down_or_of_treatment_in_water():
    for line in everything(ENGLISH):
        if re.search(r"back (down|into the water)|recompress", line.lower()):
            assert line.startswith("Never "), line


def test_legs_are_never_raised():
    found = [line for line in everything(ENGLISH) if re.search(r"legs", line)]
    assert len(found) == 5
    for line in found:
        assert re.search(r"Never raise the legs|Do not raise the legs|touch both arms and both legs", line), line


def test_whoever_gives_oxygen_is_told_to_give_it_as_trained():
    for line in instructions():
        if re.match(r"Give .*oxygen", line):
            assert "as much" in line and line.endswith("as trained."), line


def test_the_caution_is_about_training_and_local_protocol():
    assert caution(ENGLISH) == "Follow your training and local protocol."


def test_the_wait_after_thunder_is_the_rule_of_the_centre(tmp_path):
    own = tmp_path / "rules.toml"
    own.write_text('[observe.thunder_wait_min]\nvalue = 45\nreason = "Storms come back here."\n', encoding="utf-8")
    lines = [line for each in scenarios(ENGLISH, baseline().with_overrides(own)) for line in each.steps]
    assert [line for line in lines if "last thunder" in line] == ["Stay there until 45 minutes after the last thunder."]


class Recorder(NullTranslations):
    """A catalogue that translates everything and remembers what it was asked for."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: set[str] = set()

    def gettext(self, message: str) -> str:
        self.asked.add(message)
        return f"«{message}»"


def test_every_line_goes_through_the_language():
    said = everything(Language("xx", "Test", Recorder()))
    assert len(said) > 100
    assert all(line.startswith("«") and line.endswith("»") and line.count("«") == 1 for line in said)


# Babel itself reads the file, as it does to make a catalogue.
def test_babel_finds_exactly_the_messages_that_a_sheet_says():
    recorder = Recorder()
    everything(Language("xx", "Test", recorder))
    found = extract_from_file("python", str(Path(module.__file__)), keywords={"say": None})
    assert {message for _, message, *_ in found} == recorder.asked


def test_what_babel_finds_has_only_braces_that_are_filled_in():
    found = extract_from_file("python", str(Path(module.__file__)), keywords={"say": None})
    braced = {message for _, message, *_ in found if "{" in message or "}" in message}
    assert braced == {"Stay there until {minutes} minutes after the last thunder."}
