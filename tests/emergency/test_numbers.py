"""Telephone numbers: never refused, never guessed, and the emergency numbers against the numbering plans."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import phonenumbers
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from phonenumbers import shortnumberinfo

from tripplan.catalogue.site import Contact, Site, site_from
from tripplan.check import Check, Outcome
from tripplan.emergency.numbers import (
    check_numbers,
    country_words,
    emergency_numbers,
    phone_words,
    user_assigned,
)
from tripplan.record import TomlFile
from tripplan.tables import read_table

PLAIN_COVE = (Path(__file__).parents[1] / "planning" / "plain-cove.toml").read_text(encoding="utf-8")


def site(country: str | None, *numbers: str, role: str = "emergency", demonstration: bool = True) -> Site:
    """Return a site of a country; with numbers, these are all that it has, the first the rescue service's."""
    plain = site_from(TomlFile(Path("plain-cove.toml"), PLAIN_COVE))
    changes: dict[str, object] = {"country": country, "demonstration": demonstration}
    if numbers:
        rest = ["centre"] * (len(numbers) - 1)
        changes["contacts"] = tuple(
            Contact(role=each, name=f"Contact {place}", number=number, hours="24 h", checked=date(2027, 6, 1),
                    checked_by="Vera Lind")
            for place, (each, number) in enumerate(zip([role, *rest], numbers, strict=True), 1)
        )  # fmt: skip
        changes["hospitals"] = tuple(c.model_copy(update={"number": numbers[-1]}) for c in plain.hospitals)
        changes["chambers"] = tuple(c.model_copy(update={"number": numbers[-1]}) for c in plain.chambers)
    return plain.model_copy(update=changes)


def check(where: Site, rule: str) -> Check:
    (found,) = [each for each in check_numbers(where) if each.rule == rule]
    return found


# Ofcom keeps 01632 960000 to 960999 and 07700 900000 to 900999 for drama, and 020 7946 0000 to 0999 likewise (from
# memory); the grouping is that of the library, and 01632 is a four-figure area code after the trunk 0.
def test_a_number_kept_for_fiction_is_in_doubt_and_keeps_its_digits():
    words = phone_words("+44 1632 960123", "GB")
    assert (words.typed, words.printed, words.national) == ("+44 1632 960123", "+44 1632 960123", "01632 960123")
    assert words.link == "tel:+441632960123"
    assert words.doubt == "This does not look like a number in use."
    assert not words.emergency


def test_a_national_number_that_is_not_in_use_stays_as_it_was_typed():
    words = phone_words("01632.960.123", "GB")
    assert (words.printed, words.national, words.link) == ("01632.960.123", "", "tel:01632960123")
    assert words.doubt


def test_an_international_number_needs_no_country():
    assert phone_words("+44 1632 960123", None).printed == "+44 1632 960123"
    # The line in the handbook: +1 919 684 9111 is in use, so it is in no doubt.
    assert phone_words("+1 9196849111", None).doubt == ""
    assert phone_words("+1 9196849111", None).link == "tel:+19196849111"


def test_a_national_number_in_use_is_printed_in_both_forms():
    # 0345 408 6008 is in the table of emergency numbers; the trunk 0 goes after +44.
    words = phone_words("03454086008", "GB")
    assert (words.printed, words.national) == ("+44 345 408 6008", "0345 408 6008")
    assert (words.link, words.doubt) == ("tel:+443454086008", "")


def test_a_foreign_number_has_no_form_for_inside_the_country():
    assert phone_words("+1 919 684 9111", "GB").national == ""


def test_a_freephone_number_is_printed_as_dialled_inside_and_doubted_outside():
    # Free numbers of Australia cannot be dialled from abroad (the numbering plan, as the library has it).
    inside = phone_words("1800 088 200", "AU")
    assert (inside.printed, inside.link, inside.doubt) == ("1800 088 200", "tel:1800088200", "")
    outside = phone_words("+61 1800 088 200", "ID")
    assert outside.doubt == "This number may not be reached from outside its country."


@pytest.mark.parametrize("country", [None, "XV", "ZZ", "UK"])
@pytest.mark.parametrize("number", ["01632 960123", "112", "999"])
def test_without_a_known_country_a_national_or_short_number_is_in_doubt(country, number):
    words = phone_words(number, country)
    assert words.printed == number and not words.emergency
    assert words.link == "tel:" + number.replace(" ", "")
    assert "cannot be read" in words.doubt
    assert (country or "the site file gives none") in words.doubt


@pytest.mark.parametrize("country", [None, "XV", "QM", "ZZ"])
def test_a_code_that_stands_for_no_country_leaves_international_numbers_readable(country):
    words = phone_words("+49 30 901820", country)  # a number of the form of Berlin: +49 30 and six figures
    assert (words.printed, words.national, words.link) == ("+49 30 901820", "", "tel:+4930901820")
    assert words.doubt == ""


@pytest.mark.parametrize(
    ("number", "country", "link"),
    [("112", "IE", "tel:112"), ("999", "GB", "tel:999"), ("(112)", "PT", "tel:112"), ("000", "AU", "tel:000")],
)
def test_a_short_number_of_the_country_is_an_emergency_number(number, country, link):
    words = phone_words(number, country)
    assert words.emergency and words.link == link and words.doubt == "" and words.national == ""
    assert words.printed == link.removeprefix("tel:")


@pytest.mark.parametrize(("number", "country"), [("911", "GB"), ("999", "ES"), ("000", "NZ"), ("111", "FR")])
def test_an_emergency_number_of_another_country_is_in_doubt(number, country):
    words = phone_words(number, country)
    assert not words.emergency
    assert words.doubt.startswith("This is not an emergency number of ") and f"({country})" in words.doubt


def test_a_short_number_of_another_kind_is_neither_an_emergency_nor_in_doubt():
    words = phone_words("1530", "IT")
    assert (words.printed, words.link, words.emergency, words.doubt) == ("1530", "tel:1530", False, "")


@pytest.mark.parametrize(
    ("number", "country", "words"),
    [
        ("+44 12", "GB", "too short"),
        ("+1 12", None, "too short"),
        ("960123", "GB", "area code"),
        ("0163 296 0123 456", "GB", "too long"),
        ("+999 123456", "GB", "no country has the code"),
        ("+112", "GB", "The + is wrong"),
        ("no figures", "GB", "no digits"),
    ],
)
def test_what_is_wrong_is_said_and_the_number_stays_as_typed(number, country, words):
    read = phone_words(number, country)
    assert words in read.doubt and read.printed == number
    assert read.doubt.endswith(".") and read.doubt[0].isupper()


countries = st.one_of(
    st.none(),
    st.sampled_from(["GB", "AU", "US", "IT", "NZ", "XV", "ZZ", "UK", "XK"]),
    st.from_regex(r"[A-Z]{2}", fullmatch=True),
)
accepted = st.from_regex(r"[+(]?[0-9][0-9 ()/.-]{1,24}", fullmatch=True)


@settings(deadline=None)
@given(accepted, countries)
@example("112", None)
@example("+0", "GB")
@example("000000000000000", "GB")
def test_whatever_a_site_file_accepts_is_read_with_its_digits_kept_or_said_otherwise(number, country):
    words = phone_words(number, country)
    assert words.typed == number
    assert re.fullmatch(r"tel:\+?[0-9]+", words.link)
    typed, printed = (re.sub(r"\D", "", text) for text in (number, words.printed))
    assert printed == typed or words.doubt == ""  # only a number in use is printed in other figures
    assert re.sub(r"\D", "", words.link) == printed
    assert not (words.emergency and words.doubt)


@settings(deadline=None)
@given(st.text(), st.one_of(st.none(), st.text(max_size=3)))
def test_no_text_is_refused(text, country):
    words = phone_words(text, country)
    assert words.typed == text


# The numbering plans as the phonenumbers library has them, made apart from the table: emergency numbers of a country,
# and short numbers that are in use there for something else.
OTHER_THAN_EMERGENCY = {("FR", "196"), ("HR", "195"), ("IT", "1530"), ("ES", "900 202 202")}
NOT_IN_THE_LIBRARY: set[tuple[str, str]] = set()  # countries of the table that the library does not have


def rows(*services: str):
    return [row for row in read_table("emergency_numbers") if not services or row["service"] in services]


@pytest.mark.parametrize(
    "row", rows("any", "ambulance", "police", "fire"), ids=lambda r: f"{r['country']} {r['number']}"
)
def test_each_number_for_help_is_an_emergency_number_in_the_numbering_plans(row):
    known = row["country"] in shortnumberinfo.SUPPORTED_SHORT_REGIONS
    assert known == ((row["country"], row["number"]) not in NOT_IN_THE_LIBRARY)
    assert not known or shortnumberinfo.is_emergency_number(row["number"], row["country"])


def test_the_numbers_that_the_plans_do_not_call_emergency_numbers_are_those_of_the_coastguards():
    found = {
        (row["country"], row["number"])
        for row in rows()
        if row["service"] != "divers" and not shortnumberinfo.is_emergency_number(row["number"], row["country"])
    }
    assert found == OTHER_THAN_EMERGENCY
    for country, number in found:
        parsed = phonenumbers.parse(number, country)
        assert shortnumberinfo.is_valid_short_number_for_region(parsed, country) or phonenumbers.is_valid_number(parsed)


@pytest.mark.parametrize("row", rows("divers"), ids=lambda r: r["number"])
def test_each_line_for_divers_is_a_number_in_use_and_to_be_checked_again(row):
    assert phonenumbers.is_valid_number(phonenumbers.parse(row["number"], row["country"]))
    assert "re-check" in row["note"]
    assert phone_words(row["number"], row["country"]).doubt == ""


# The 27 member states of the European Union since 2020 by their ISO 3166 codes (Greece is GR there, EL in the Union).
MEMBER_STATES = "AT BE BG HR CY CZ DK EE FI FR DE GR HU IE IT LV LT LU MT NL PL PT RO SK SI ES SE"


def test_112_is_there_for_each_state_of_the_european_union():
    states = MEMBER_STATES.split()
    assert len(states) == 27
    for state in states:
        (first, *_) = emergency_numbers(state)
        assert (first.service, first.number, first.provenance) == ("any", "112", "verified")


def test_each_row_says_whether_it_was_read_and_where():
    for row in rows():
        assert row["provenance"] in ("verified", "from memory") and row["source"]
        assert (row["provenance"] == "from memory") == (row["source"] == "no source was read")
        assert row["service"] in ("any", "ambulance", "police", "fire", "coastguard", "divers")
    assert len({(row["country"], row["service"], row["number"]) for row in rows()}) == len(rows())


def test_a_country_outside_the_table_has_no_numbers():
    assert emergency_numbers("NO") == emergency_numbers("XV") == ()


# ISO 3166-1 leaves AA, QM to QZ, XA to XZ and ZZ to its users; XK is in use for Kosovo.
def test_codes_left_to_users_stand_for_no_country():
    assert all(user_assigned(code) for code in ("AA", "QM", "QZ", "XA", "XV", "XZ", "ZZ"))
    assert not any(user_assigned(code) for code in ("GB", "QA", "ZA", "AZ", "UK", "XK"))
    assert (country_words("XV"), country_words("ZZ"), country_words("UK")) == ("country XV", "country ZZ", "country UK")
    assert (country_words("NL"), country_words("IT")) == ("the Netherlands (NL)", "Italy (IT)")


def test_numbers_in_doubt_are_one_caution_that_names_each_once():
    found = check(site("GB", "999", "+44 1632 960123", "+44 1632 960124"), "numbers-in-use")
    assert found.outcome is Outcome.CAUTION and found.source == "PHONE_NUMBERS"
    assert "Contact 2 (+44 1632 960123)" in found.sentence and "Contact 1" not in found.sentence
    assert found.sentence.count("not look like a number in use") == 1
    assert found.sentence.endswith("Ring each before the first dive.")


def test_the_numbers_of_hospitals_and_chambers_are_read_too():
    where = site("GB", "999", "0345 408 6008")
    assert check(where, "numbers-in-use").outcome is Outcome.OK
    for places in ("hospitals", "chambers"):
        first, *rest = getattr(where, places)
        wrong = where.model_copy(update={places: (first.model_copy(update={"number": "+44 12"}), *rest)})
        found = check(wrong, "numbers-in-use")
        assert found.outcome is Outcome.CAUTION
        assert f"{first.name} (+44 12): this is too short" in found.sentence


def test_a_site_without_a_country_is_a_caution():
    found = check(site(None, "112"), "country-known")
    assert found.outcome is Outcome.CAUTION
    assert found.sentence == "The site file gives no country, so national emergency numbers are not checked."
    assert [each.rule for each in check_numbers(site(None))] == ["numbers-in-use", "country-known"]


@pytest.mark.parametrize(
    ("country", "demonstration", "outcome"),
    [
        ("XV", True, Outcome.OK),
        ("XV", False, Outcome.CAUTION),
        ("UK", True, Outcome.CAUTION),
        ("GB", False, Outcome.OK),
    ],
)
def test_a_code_that_stands_for_no_country_is_fine_only_in_a_demonstration(country, demonstration, outcome):
    assert check(site(country, demonstration=demonstration), "country-known").outcome is outcome


def test_a_code_of_a_demonstration_asks_for_no_emergency_number():
    assert [each.rule for each in check_numbers(site("XV"))] == ["numbers-in-use", "country-known"]


@pytest.mark.parametrize(
    ("country", "number", "role", "outcome"),
    [
        ("IT", "112", "emergency", Outcome.OK),
        ("IT", "1530", "coastguard", Outcome.OK),
        ("IT", "+44 1632 960112", "coastguard", Outcome.OK),
        ("IT", "112", "centre", Outcome.CAUTION),
        ("IT", "999", "emergency", Outcome.CAUTION),
        ("IT", "+44 12", "emergency", Outcome.CAUTION),
        ("GB", "01632 960112", "coastguard", Outcome.CAUTION),
        ("NO", "112", "emergency", Outcome.OK),  # not in the table, but in the numbering plans
        ("NO", "+44 1632 960112", "emergency", Outcome.CAUTION),
    ],
)
def test_a_rescue_contact_dials_an_emergency_number_of_the_country(country, number, role, outcome):
    found = check(site(country, number, role=role), "emergency-number-of-country")
    assert found.outcome is outcome
    for row in emergency_numbers(country):
        assert (row.number in found.sentence) == (row.service != "divers")
        assert row.provenance == "verified" or "from memory" in found.sentence
        assert row.service == "divers" or row.note in found.sentence
    if country == "NO":
        assert "not in the tables here" in found.sentence
