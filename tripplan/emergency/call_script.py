"""What to say: on the telephone and on VHF channel 16, with this site's words filled in, to be read aloud.

The order of the radio calls is that of RADIO_ITU, the way of saying numbers and places that of SMCP. What to have ready
for the telephone is what rescue services and diving doctors ask. A fact that nobody knows yet is a blank, ____, with
what to write there: it is never left out.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cache

from tripplan.environment.position import Position
from tripplan.language import ENGLISH, Language
from tripplan.tables import read_table

BLANK = "____"


@dataclass(frozen=True)
class CallFacts:
    """What a caller must have in front of them."""

    party: str  # who is calling, like "Verrow Shore Diving"
    site: str
    position: Position
    road: str
    rendezvous: str
    gate_code: str | None
    callback: str | None  # the number to call back, as printed; None: write it in
    landmark: str | None  # a feature on the chart
    landmark_bearing_deg: float | None  # FROM the landmark to the site, true
    landmark_distance_nm: float | None
    helicopter: str
    vhf: str | None  # what the site file says of VHF
    in_water: int | None  # people who dive at once at most; None: not known
    exit_by: datetime | None = None


@dataclass(frozen=True)
class ScriptLine:
    """One line to read aloud; a blank to fill in is written ____."""

    key: str  # "call", "position", "nature", ...
    say: str


@dataclass(frozen=True)
class Script:
    """One call, line by line."""

    kind: str  # "phone", "mayday", "pan_pan"
    when: str  # when this call is the right one
    lines: tuple[ScriptLine, ...]
    after: tuple[str, ...]  # what to do after it


@dataclass(frozen=True)
class FigureWord:
    """How a figure is said on the radio."""

    figure: str  # "0" to "9", "decimal"
    say: str  # "ZEERO", by SMCP
    say_provenance: str  # "verified" or "from memory"
    code_word: str  # "Nadazero", by RADIO_ITU
    code_word_provenance: str


# Latin letters that Unicode does not take apart into a base letter and a mark.
_BASE = {
    "ẞ": "SS", "Æ": "AE", "Œ": "OE", "Ø": "O", "Ł": "L", "Đ": "D", "Ð": "D", "Þ": "TH", "Ħ": "H", "Ŧ": "T", "Ŋ": "NG",
}  # fmt: skip


@cache
def _alphabet() -> dict[str, str]:
    words = {row["letter"]: row["word"] for row in read_table("spelling_alphabet")}
    figures = {row["figure"]: row["say"] for row in read_table("figure_code") if row["figure"] in set("0123456789")}
    return words | figures


def figure_words() -> tuple[FigureWord, ...]:
    """Return how 0 to 9 and the decimal point are said, in this order.  Sources: SMCP, RADIO_ITU (figure_code)."""
    rows = {row["figure"]: row for row in read_table("figure_code")}
    return tuple(
        FigureWord(
            figure,
            rows[figure]["say"],
            rows[figure]["say_provenance"],
            rows[figure]["code_word"],
            rows[figure]["code_word_provenance"],
        )
        for figure in (*"0123456789", "decimal")
    )


def spelled(text: str) -> str:
    """Spell a text by the alphabet of the radio, a comma between words; empty where it has a letter that is not Latin.

    Accents are left out, figures are said as in figure_words, other signs are skipped.  Source: RADIO_ITU.

    >>> spelled("Gull")
    'Golf Uniform Lima Lima'
    """
    words = []
    for word in text.split():
        letters = _letters(word)
        if letters is None:
            return ""
        if letters:
            words.append(" ".join(_alphabet()[letter] for letter in letters))
    return ", ".join(words)


def _letters(word: str) -> str | None:
    """Return the plain capitals and figures of a word; None where a letter or figure has none."""
    found = []
    for sign in unicodedata.normalize("NFKD", word):
        plain = _BASE.get(sign.upper(), sign.upper())
        if (value := unicodedata.decimal(sign, None)) is not None:
            found.append(str(value))
        elif all("A" <= letter <= "Z" for letter in plain):
            found.append(plain)
        elif unicodedata.category(sign) in ("Lu", "Ll", "Lt", "Lo", "Nl", "No"):
            return None
    return "".join(found)


_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def said_digits(text: str) -> str:
    """Return the figures of a text one by one in plain English, a comma where the text has a gap.

    A point between figures is said "decimal", a + "plus"; other signs are skipped.

    >>> said_digits("150"), said_digits("0.4")
    ('one five zero', 'zero decimal four')
    """
    groups = []
    for group in re.findall(r"\+?\.?[0-9]+(?:\.[0-9]+)*", text):
        names = {"+": "plus", ".": "decimal"}
        groups.append(" ".join(names[sign] if sign in names else _DIGITS[int(sign)] for sign in group))
    return ", ".join(groups)


def phone_script(facts: CallFacts, language: Language) -> Script:
    """Return what to say on the telephone, in a language; what the site file says stays in its own.

    Sources: NOAA_EMERGENCY and HSA_IE for what is asked, SMCP for how places and numbers are said.
    """
    return Script(
        kind="phone",
        when=language.say(
            "Telephone first from a beach with signal: the control room hears you well and can keep you on the line."
        ),
        lines=(*_phone_where(facts, language), *_phone_who(facts, language), *_phone_what(facts, language)),
        after=(
            language.say("Do not hang up before you are told to."),
            language.say("Write down the hour of the call and the name of who answered."),
            language.say("Keep this telephone free, so that you can be called back."),
            language.say("Send somebody to the meeting place to wave the ambulance in."),
            language.say("If no one answers, ring again, then ring the next number on the sheet."),
            language.say("If it was a false alarm, ring again at once and say so."),
        ),
    )


def _phone_where(facts: CallFacts, language: Language) -> Iterator[ScriptLine]:
    """Yield what must be heard even when the line breaks after a minute."""
    yield ScriptLine("nature", language.say("This is a diving emergency."))
    yield ScriptLine("nature", language.say("Diver missing, unconscious or hurt: ____."))
    yield ScriptLine("service", language.say("Coastguard or ambulance: I need ____."))
    yield ScriptLine("party", language.say("I call from {party}.", party=_given(facts.party)))
    number = _callback(facts.callback, language)
    yield ScriptLine("callback", language.say("Call me back on {number}.", number=number))
    yield ScriptLine("place", language.say("We are on the shore at {site}.", site=_given(facts.site)))
    yield ScriptLine("spelling", language.say("The name is spelled {words}.", words=spelled(facts.site) or BLANK))
    north, east = _position(facts.position, language)
    yield ScriptLine("position", language.say("Our position is {latitude},", latitude=north))
    yield ScriptLine("position", f"{east}.")
    yield from (ScriptLine("landmark", line) for line in _landmark(facts, language))
    yield ScriptLine("road", language.say("By road: {road}.", road=_given(facts.road)))
    yield ScriptLine("rendezvous", language.say("Meet us here: {place}.", place=_given(facts.rendezvous)))
    yield ScriptLine("gate", language.say("If a gate is shut, its code is {code}.", code=_code(facts, language)))
    yield ScriptLine("meets", language.say("The ambulance is met by ____."))


def _phone_who(facts: CallFacts, language: Language) -> Iterator[ScriptLine]:
    yield ScriptLine("casualties", language.say("Number of casualties: ____."))
    yield ScriptLine("conscious", language.say("Conscious, yes or no: ____."))
    yield ScriptLine("breathing", language.say("Breathing, yes or no: ____."))
    yield ScriptLine("pulse", language.say("Pulse, yes or no: ____."))
    yield ScriptLine("age", language.say("Age, and man or woman: ____."))
    yield ScriptLine("signs", language.say("What is wrong: ____."))
    yield ScriptLine("signs", language.say("It began at ____ local time."))
    yield ScriptLine("oxygen", language.say("Oxygen given since ____ local time."))
    yield ScriptLine("oxygen", language.say("Oxygen flow: ____ litres a minute."))
    at_once = BLANK if facts.in_water is None else str(facts.in_water)
    yield ScriptLine("in_water", language.say("Our plan has at most {number} divers in the water.", number=at_once))
    yield ScriptLine("still_in_water", language.say("Divers still in the water: ____."))
    yield ScriptLine("ashore", language.say("People ashore: ____."))
    out = _hour(facts.exit_by, language)
    yield ScriptLine("exit_by", language.say("All divers are due out by {hour}.", hour=out))
    yield ScriptLine("missing", language.say("Missing diver last seen at ____ local time."))
    yield ScriptLine("missing", language.say("Last seen at this place: ____."))
    yield ScriptLine("missing", language.say("Last seen at a depth of ____ metres."))
    yield ScriptLine("missing", language.say("Colour of the suit: ____."))
    yield ScriptLine("missing", language.say("Colour of the buoy: ____."))
    yield ScriptLine("missing", language.say("Gas left when last seen: ____ bar."))
    yield ScriptLine("missing", language.say("The current runs toward ____."))


def _phone_what(facts: CallFacts, language: Language) -> Iterator[ScriptLine]:
    yield ScriptLine("dive", language.say("Deepest depth of the dive: ____ metres."))
    yield ScriptLine("dive", language.say("Time under water: ____ minutes."))
    yield ScriptLine("dive", language.say("Gas that was breathed: ____."))
    yield ScriptLine("dive", language.say("Way up, normal or fast: ____."))
    yield ScriptLine("dive", language.say("Stops that were left out: ____."))
    yield ScriptLine("dive", language.say("Out of the water at ____ local time."))
    yield ScriptLine("dive", language.say("Dives in the last two days: ____."))
    yield ScriptLine("buddy", language.say("The buddy is well, yes or no: ____."))
    yield ScriptLine("health", language.say("Illnesses, medicines, allergies: ____."))
    yield ScriptLine("helicopter", language.say("For a helicopter: {place}.", place=_given(facts.helicopter)))
    yield ScriptLine("weather", language.say("Wind and waves here: ____."))
    yield ScriptLine("hazards", language.say("Wires or masts near us: ____."))
    yield ScriptLine("vhf", language.say("VHF radio here: {words}.", words=_given(facts.vhf)))
    yield ScriptLine("end", language.say("Please read my position back to me."))


def mayday_script(facts: CallFacts, language: Language) -> Script:
    """Return the distress call and message for VHF channel 16, in English; when and after are in the language.

    Sources: RADIO_ITU for the order, SMCP for the phrases.
    """
    party = _given(facts.party)
    return Script(
        kind="mayday",
        when=" ".join(
            (
                language.say("Grave and imminent danger to life."),
                language.say("By common practice, that is a missing diver or an unconscious diver."),
                language.say("It is also a diver with suspected gas in the blood vessels of the brain."),
                *_radio_when(facts, language),
            )
        ),
        lines=(
            ScriptLine("call", "MAYDAY, MAYDAY, MAYDAY."),
            ScriptLine("call", f"This is shore party {party}, {party}, {party}."),
            ScriptLine("identity", f"MAYDAY, shore party {party}."),
            *_radio_position(facts),
            ScriptLine("nature", "This is a diving emergency."),
            ScriptLine("nature", "Divers missing: ____."),
            *_radio_casualty(),
            ScriptLine("assistance", "I require immediate assistance."),
            *_radio_assistance(facts),
            *_radio_number(facts),
            ScriptLine("other", "Missing diver last seen at ____ local time."),
            ScriptLine("other", "Last seen at a depth of ____ metres."),
            *_radio_other(facts),
            ScriptLine("over", "Over."),
        ),
        after=(
            *_radio_after(language),
            language.say("When life is no longer in danger, tell the coast station: a PAN PAN is then enough."),
            language.say(
                "If it was a false alarm, cancel it at once on channel 16: say who you are and that all is well."
            ),
        ),
    )


def pan_pan_script(facts: CallFacts, language: Language) -> Script:
    """Return the urgency call and message for VHF channel 16, in English; when and after are in the language.

    Sources: RADIO_ITU for the order, SMCP for the phrases.
    """
    party = _given(facts.party)
    return Script(
        kind="pan_pan",
        when=" ".join(
            (
                language.say("A casualty who is stable: awake, breathing well and not getting worse."),
                language.say("In doubt, send a MAYDAY."),
                *_radio_when(facts, language),
            )
        ),
        lines=(
            ScriptLine("call", "PAN PAN, PAN PAN, PAN PAN."),
            ScriptLine("call", "All stations, all stations, all stations."),
            ScriptLine("call", f"This is shore party {party}, {party}, {party}."),
            *_radio_position(facts),
            ScriptLine("nature", "This is a diving emergency."),
            *_radio_casualty(),
            ScriptLine("assistance", "I require medical assistance."),
            *_radio_assistance(facts),
            *_radio_number(facts),
            ScriptLine("other", "Out of the water at ____ local time."),
            ScriptLine("other", "Deepest depth of the dive: ____ metres."),
            *_radio_other(facts),
            ScriptLine("over", "Over."),
        ),
        after=(
            *_radio_after(language),
            language.say("When life comes in danger, raise the call to a MAYDAY at once."),
            language.say(
                "If it was a false alarm, cancel it at once on channel 16: say who you are and that all is well."
            ),
        ),
    )


def _radio_when(facts: CallFacts, language: Language) -> Iterator[str]:
    yield language.say("Call on VHF channel 16. From a beach with signal, telephone first.")
    if _given(facts.vhf) != BLANK:
        yield language.say("VHF here, as the site file says: {words}.", words=_given(facts.vhf))
    else:
        yield language.say("Whether VHF reaches a coast station from here is not known.")
    yield language.say("The words stay in English, because coast stations work by these phrases.")


def _radio_position(facts: CallFacts) -> Iterator[ScriptLine]:
    north, east = _position(facts.position, ENGLISH)
    yield ScriptLine("position", f"My position is {north},")
    yield ScriptLine("position", f"{east}.")
    yield from (ScriptLine("position", line) for line in _landmark(facts, ENGLISH))
    yield ScriptLine("position", f"I am on the shore at {_given(facts.site)}.")


def _radio_casualty() -> Iterator[ScriptLine]:
    yield ScriptLine("nature", "Number of casualties: ____.")
    yield ScriptLine("nature", "Conscious, yes or no: ____.")
    yield ScriptLine("nature", "Breathing, yes or no: ____.")
    yield ScriptLine("nature", "What is wrong: ____.")


def _radio_assistance(facts: CallFacts) -> Iterator[ScriptLine]:
    yield ScriptLine("assistance", "Lifeboat, helicopter or ambulance: I require ____.")
    yield ScriptLine("assistance", f"Meet us here: {_given(facts.rendezvous)}.")


def _radio_number(facts: CallFacts) -> Iterator[ScriptLine]:
    at_once = BLANK if facts.in_water is None else said_digits(str(facts.in_water))
    yield ScriptLine("number", f"Divers in the water by plan: at most {at_once}.")
    yield ScriptLine("number", "Divers still in the water: ____.")
    yield ScriptLine("number", "Persons ashore: ____.")


def _radio_other(facts: CallFacts) -> Iterator[ScriptLine]:
    yield ScriptLine("other", f"All divers are due out by {_hour(facts.exit_by, ENGLISH)}.")
    yield ScriptLine("other", "Oxygen given since ____ local time.")
    yield ScriptLine("other", "Surface of the water: ____.")
    yield ScriptLine("other", f"For a helicopter: {_given(facts.helicopter)}.")
    yield ScriptLine("other", f"My telephone is {_callback(facts.callback, ENGLISH)}.")


def _radio_after(language: Language) -> Iterator[str]:
    yield language.say("Let go of the button and listen. Stay on channel 16.")
    yield language.say("Do not leave the radio until the coast station releases you.")
    yield language.say("If no one answers, wait a moment, say it all again, then telephone.")
    yield language.say("A beach often has no call sign: the name and the place stand for it.")


def _given(text: str | None) -> str:
    return _plain(text or "") or BLANK


def _plain(text: str) -> str:
    """Return a text of a site file to be read aloud: one line, no brackets, no mark at its end."""
    flat = re.sub(r"\s*[(\[]\s*", ", ", text)
    flat = re.sub(r"\s*[)\]]+(?=\s*(?:[,.;:]|$))", "", flat)
    flat = re.sub(r"\s*[)\]]+\s*", ", ", flat)
    return " ".join(flat.split()).strip(" .,;:")


def _position(position: Position, language: Language) -> tuple[str, str]:
    """Return latitude and longitude: digit by digit in English, in figures for another language."""
    if language.code != ENGLISH.code:
        north, east = position.degrees_minutes.split(", ")
    else:
        north, east = position.spoken.split("; ")
    return north, east


def _said(text: str, language: Language) -> str:
    """Return figures digit by digit in English, as they are for another language."""
    return said_digits(text) if language.code == ENGLISH.code else text


def _landmark(facts: CallFacts, language: Language) -> Iterator[str]:
    """Yield bearing and distance from the landmark, and blanks for what is not known of them."""
    bearing, distance = facts.landmark_bearing_deg, facts.landmark_distance_nm
    if facts.landmark is None:
        yield language.say("Bearing ____ degrees true from this feature of the chart: ____,")
        distance = None  # from an unknown place it would mislead
    else:
        figures = BLANK if bearing is None else _said(f"{round(bearing) % 360:03d}", language)
        name = _given(facts.landmark)
        yield language.say("Bearing {figures} degrees true from {landmark},", figures=figures, landmark=name)
    if distance is not None and distance < 0.005:
        yield language.say("distance less than {figures} nautical miles.", figures=_said("0.01", language))
        return
    miles = BLANK if distance is None else _said(_hundredths(distance), language)
    yield language.say("distance {figures} nautical miles.", figures=miles)


def _hundredths(distance_nm: float) -> str:
    """Print a distance to 0.01 nautical miles (19 m), without a zero at the end that says nothing."""
    text = f"{distance_nm:.2f}"
    return text[:-1] if text.endswith("0") else text


def _callback(number: str | None, language: Language) -> str:
    """Return a telephone number to be said; no point in it is a decimal one."""
    figures = " ".join(re.sub(r"[^0-9+]", " ", number or "").split())
    if not re.search(r"[0-9]", figures):
        return BLANK
    return _said(figures, language)


def _code(facts: CallFacts, language: Language) -> str:
    code = _plain(facts.gate_code or "")
    if not code:
        return BLANK
    return _said(code, language) if re.fullmatch(r"[0-9 ]+", code) else code


def _hour(moment: datetime | None, language: Language) -> str:
    """Return an hour to be said, with the clock that it is of."""
    if moment is None:
        return language.say("____ local time")
    figures = said_digits(f"{moment:%H%M}") if language.code == ENGLISH.code else f"{moment:%H:%M}"
    if moment.tzname() == "UTC":
        return language.say("{figures} UTC", figures=figures)
    return language.say("{figures} local time", figures=figures)
