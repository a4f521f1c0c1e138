"""The languages of the emergency sheet: nothing left untranslated, nothing lost, every value and blank in its place."""

from __future__ import annotations

import ast
import re
from collections import Counter
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from string import Formatter

import pytest
from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.pofile import read_po

from tripplan.documents.fonts import printable
from tripplan.errors import OutOfRange
from tripplan.language import ENGLISH, Language, language, languages

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "templates" / "languages"
TRANSLATED = ("es", "fr")
KEYWORDS = {"say": None, "mark": None}

# What is the same in every language, and what happens to be the same in one.
SAME = {
    "VHF",
    "plan",
    "{device}, {flow} L/min",
    "{figures} UTC",
    "{h} h {min} min",
    "{min} min",
    "{minutes} min",
}
SAME_IN = {
    "es": {"Hospital", "{name}, {number}: {when}", "{needed}: {parts}", "{number}: {service} ({country})"},
    "fr": {"Allergies", "Ambulance", "Notes", "Police", "Position", "Sources", "ambulance", "police"},
}


# ---- what the program says ----


def speaking_modules() -> list[Path]:
    """Return the modules that know languages; feeds have a `say` of their own, which is none of a language."""
    return [
        path for path in sorted((ROOT / "tripplan").rglob("*.py")) if "tripplan.language" in path.read_text("utf-8")
    ]


@cache
def messages() -> frozenset[str]:
    """Return every message that reaches Language.say."""
    found: set[str] = set()
    for path in (*speaking_modules(), ROOT / "tripplan" / "language.py"):
        with path.open("rb") as file:
            found.update(message for _, message, _, _ in extract("python", file, keywords=KEYWORDS))
    return frozenset(found)


@cache
def catalogue(code: str) -> Catalog:
    with (FOLDER / f"{code}.po").open("rb") as file:
        return read_po(file, locale=code)


def translations(code: str) -> dict[str, str]:
    return {str(each.id): str(each.string) for each in catalogue(code) if each.id}


def missing(code: str) -> str:
    """Return what a catalogue lacks, ready to be written into it."""
    lacking = sorted(messages() - {message for message, said in translations(code).items() if said})
    return "\n\n".join(f'msgid "{message}"\nmsgstr ""'.replace("\\", "\\\\") for message in lacking)


def each_translation() -> list[tuple[str, str, str]]:
    return [(code, message, said) for code in TRANSLATED for message, said in translations(code).items()]


def broken(rule) -> list[tuple[str, str, str]]:
    """Return the translations for which a rule does not hold."""
    return [(code, message, said) for code, message, said in each_translation() if not rule(code, message, said)]


def test_what_is_said_is_written_where_it_is_said():
    """A message that is put together cannot be found for a catalogue."""
    found = []
    for path in speaking_modules():
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name in KEYWORDS and not isinstance(node.args[0], ast.Constant):
                found.append((path.name, ast.unparse(node.args[0])))
    assert found == []


def test_the_messages_are_found_under_either_way_of_saying_them():
    assert "Never raise the legs." in messages()  # a method of a language
    assert any("native speaker" in message for message in messages())  # marked
    assert any(message.startswith("The boxes follow the stream") for message in messages())  # handed over
    assert not any("it is not used" in message for message in messages())  # what a feed says of an answer


# ---- the catalogues ----


@pytest.mark.parametrize("code", TRANSLATED)
def test_each_catalogue_has_every_message(code):
    assert missing(code) == ""


@pytest.mark.parametrize("code", TRANSLATED)
def test_no_catalogue_keeps_what_is_no_longer_said(code):
    assert set(translations(code)) - messages() == set()
    assert not catalogue(code).obsolete


@pytest.mark.parametrize("code", TRANSLATED)
def test_no_translation_is_a_guess(code):
    assert [each.id for each in catalogue(code) if each.id and each.fuzzy] == []


@pytest.mark.parametrize("code", TRANSLATED)
def test_only_what_is_listed_is_the_same_as_in_english(code):
    assert {message for message, said in translations(code).items() if said == message} == SAME | SAME_IN[code]


@pytest.mark.parametrize("code", TRANSLATED)
def test_a_catalogue_names_no_person_machine_or_day_and_stands_in_order(code):
    text = (FOLDER / f"{code}.po").read_text("utf-8")
    head = text.partition("\n\n")[0]
    assert "Translator note: not yet checked by a native speaker who dives" in head
    assert {line.split(":")[0].strip('"') for line in head.splitlines() if line.startswith('"')} == {
        "Project-Id-Version",
        "Language",
        "MIME-Version",
        "Content-Type",
        "Content-Transfer-Encoding",
    }
    assert f'"Language: {code}\\n"' in head
    assert "charset=utf-8" in head
    assert "@" not in text
    notes = {line for line in text.removeprefix(head).splitlines() if line.startswith("#")}
    assert notes == {"#, python-brace-format"}  # no number of a line, which would change with every edit of the code
    order = [message for message in re.findall(r'^msgid "(.*)"$', text, re.MULTILINE) if message]
    assert order == sorted(order)
    assert len(order) == len(translations(code))


# ---- the translations ----


def names(text: str) -> set[str]:
    """Return the names of the values in a text; raises ValueError for a lonely brace."""
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def test_each_translation_takes_the_same_values():
    assert broken(lambda _, message, said: names(said) == names(message)) == []


def test_each_translation_leaves_the_same_blanks_to_fill_in():
    assert broken(lambda _, message, said: re.findall("_+", said) == re.findall("_+", message)) == []


def test_no_translation_is_too_long_for_the_sheet():
    assert broken(lambda _, message, said: len(said) <= 1.6 * len(message) + 15) == []


def test_each_translation_has_the_same_figures_and_the_same_words_of_the_radio():
    def fixed(text: str) -> Counter[str]:
        return Counter(re.findall(r"\d+|MAYDAY|PAN PAN|VHF|UTC", text))

    assert broken(lambda _, message, said: fixed(said) == fixed(message)) == []


def test_what_must_never_be_done_is_forbidden_in_each_language():
    never = {"es": re.compile(r"^Nunca "), "fr": re.compile(r"^(Ne |N')\S.*\bjamais\b")}
    assert broken(lambda code, message, said: not message.startswith("Never ") or bool(never[code].search(said))) == []
    no = {"es": re.compile(r"\b(no|ni|nunca)\b", re.IGNORECASE), "fr": re.compile(r"\b(ne |n'|ni )", re.IGNORECASE)}
    forbids = re.compile(r"\b(do not|must not|should not)\b", re.IGNORECASE)
    assert broken(lambda code, message, said: not forbids.search(message) or bool(no[code].search(said))) == []


def test_what_is_shouted_in_english_is_shouted_in_each_language():
    def shouted(text: str) -> bool:
        return bool(re.search(r"[A-ZÁÉÍÓÚÑÀÂÇÈÊÎÔÛ]{3}", re.sub("MAYDAY|PAN PAN|VHF|UTC", "", text)))

    assert broken(lambda _, message, said: shouted(said) == shouted(message)) == []


def test_each_translation_ends_as_the_message_does():
    """Lines are put together from several messages, so a full stop too many or too few shows."""

    def end(text: str) -> str:
        return text[-1] if text[-1] in ".,:;?!" else ""

    assert broken(lambda _, message, said: end(said) == end(message)) == []
    assert broken(lambda _, __, said: said == said.strip() and "  " not in said) == []


def test_a_translation_begins_with_a_capital_where_the_message_does():
    def begins(text: str) -> bool:
        return text.lstrip("¿¡«\u00a0")[0].isupper()

    assert broken(lambda _, message, said: begins(said) == begins(message)) == []


def test_french_keeps_its_signs_on_the_line_of_the_word_before():
    bare = re.compile(r"[^\u00a0][:;!?%»]|«[^\u00a0]")
    assert [said for said in translations("fr").values() if bare.search(said)] == []
    assert any("\u00a0:" in said for said in translations("fr").values())


def test_spanish_opens_each_question_and_each_shout():
    for said in translations("es").values():
        assert (said.count("¿"), said.count("¡")) == (said.count("?"), said.count("!")), said


def test_paper_has_every_letter_of_each_translation():
    lacking: dict[str, None] = {}
    printable([said for _, _, said in each_translation()], lacking)
    assert lacking == {}


# ---- languages and what they say ----


def test_english_spanish_and_french_ship_and_english_comes_first():
    assert {code: one.name for code, one in languages().items()} == {"en": "English", "es": "Español", "fr": "Français"}
    assert next(iter(languages())) == "en"
    assert all(language(code).code == code for code in languages())
    assert {file.stem for file in FOLDER.iterdir()} == set(TRANSLATED)


def test_a_language_that_does_not_ship_is_refused_with_those_that_do():
    with pytest.raises(OutOfRange) as refused:
        language("tlh")
    said = str(refused.value)
    assert '"tlh"' in said
    for known in ("en (English)", "es (Español)", "fr (Français)"):
        assert known in said


def test_a_translation_says_that_nobody_checked_it_and_english_needs_no_notice():
    assert ENGLISH.notice == ""
    for code in TRANSLATED:
        assert language(code).notice == translations(code)[next(m for m in messages() if "native speaker" in m)]


def test_every_message_is_said_as_the_catalogue_has_it_with_its_values():
    for code, message, said in each_translation():
        values = dict.fromkeys(names(message), "{x} 100 % {")
        expected = said
        for name in values:
            expected = expected.replace(f"{{{name}}}", "{x} 100 % {")
        assert language(code).say(message, **values) == expected


def test_a_message_without_a_translation_is_said_in_english():
    for one in languages().values():
        assert one.say("Wave at {who}.", who="the {lookout}") == "Wave at the {lookout}."
        assert one.say("No such message, 100 % {sure}") == "No such message, 100 % {sure}"
        assert one.say("") == ""  # the empty message of a catalogue is its head
    assert Language("xx", "Xx").say("Never raise the legs.") == "Never raise the legs."
    assert ENGLISH.say("Never raise the legs.") == "Never raise the legs."


def test_days_are_said_in_each_language():
    """Names of days and months: CLDR, by the chart of each language (unicode.org/cldr/charts)."""
    day = date(2026, 12, 12)  # a Saturday
    assert ENGLISH.day(day) == "Saturday 12 December 2026"
    assert re.fullmatch("sábado,? 12 (de )?diciembre (de )?2026", language("es").day(day))
    assert language("fr").day(day) == "samedi 12 décembre 2026"
    assert ENGLISH.short_day(day) == "12 Dec 2026"
    assert language("es").short_day(day) == "12 dic 2026"
    assert language("fr").short_day(day) == "12 déc. 2026"
    assert language("fr").short_day(date(2027, 8, 1)) == "1 août 2027"
    assert language("es").short_day(date(2027, 1, 31)) == "31 ene 2027"


def test_hours_are_those_of_the_place_in_twenty_four_hours_in_each_language():
    """Madrid keeps UTC+2 in June and UTC+1 in December; Halifax UTC-4 in December."""
    for one in languages().values():
        assert one.clock(datetime(2027, 6, 12, 21, 5, tzinfo=UTC), "Europe/Madrid") == "23:05"
        assert one.clock(datetime(2026, 12, 12, 8, 5, tzinfo=UTC), "Europe/Madrid") == "09:05"
        assert one.clock(datetime(2026, 12, 12, 3, 59, tzinfo=UTC), "America/Halifax") == "23:59"
        assert one.clock(None, "Europe/Madrid") == "-"


def test_arabic_hebrew_persian_and_urdu_run_from_right_to_left_and_what_ships_does_not():
    assert {code: Language(code, code).direction for code in ("ar", "fa", "he", "ur")} == dict.fromkeys(
        ("ar", "fa", "he", "ur"), "rtl"
    )
    assert {one.direction for one in languages().values()} == {"ltr"}
