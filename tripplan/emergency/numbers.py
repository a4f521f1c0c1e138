"""Telephone numbers as they are dialled, printed and linked, and the emergency numbers of a country.

How a number is grouped, and whether it can be in use, is judged by the phonenumbers library from the numbering plans.
A number in doubt stays as it was typed: a doubt is a sentence for a person, never a refusal.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from tripplan.catalogue.site import Site
from tripplan.check import Check, Outcome
from tripplan.emergency.contacts import RESCUE_ROLES
from tripplan.rulebook import RuleBook
from tripplan.tables import read_table

if TYPE_CHECKING:
    from phonenumbers import PhoneNumber

SERVICE_WORDS = {
    "any": "any service",
    "ambulance": "ambulance",
    "police": "police",
    "fire": "fire brigade",
    "coastguard": "coastguard",
    "divers": "divers' emergency line",
}
# ISO 3166 leaves these to its users for good; XK is in use for Kosovo and known to the library.
_USER_ASSIGNED = re.compile(r"AA|Q[M-Z]|X[A-Z]|ZZ")
_WITH_ARTICLE = {
    "AE", "BS", "CD", "CG", "DO", "FK", "GB", "GM", "IM", "KM", "KY", "MH", "MV", "NL", "PH", "SB", "SC", "TC", "US",
    "VG", "VI",
}  # fmt: skip
_SHORT_DIGITS = 6  # no longer number is called a short one in a sentence


@dataclass(frozen=True)
class PhoneWords:
    """One number, read for the site's country."""

    typed: str  # as in the site file
    printed: str  # in groups, international where it can be; as typed where it cannot be read
    national: str  # as dialled inside the country; empty where it is the same or not known
    link: str  # a tel: address (RFC 3966)
    emergency: bool  # a short number that reaches an emergency service in the country
    doubt: str  # a sentence on what is wrong with it; empty: nothing


@dataclass(frozen=True)
class EmergencyNumber:
    """A number that reaches help in a country."""

    country: str  # ISO 3166 code
    service: str  # "any", "ambulance", "police", "fire", "coastguard", "divers"
    number: str
    provenance: str  # "verified" or "from memory"
    source: str  # where it was read, in words
    note: str = ""


def phone_words(number: str, country: str | None) -> PhoneWords:
    """Read a number for the country where it is dialled; what cannot be read stays as typed, with its doubt said.

    number -- as typed;  country -- ISO 3166 code of the site, None where it is not known

    Source: PHONE_NUMBERS.  Never raises.
    """
    typed = " ".join(number.split())
    region = country if country is not None and _known(country) else None
    international = typed.startswith(("+", "＋"))
    digits = _digits(typed)
    if not digits:
        return PhoneWords(number, typed, "", "", False, "This is not a telephone number: it has no digits.")
    as_typed = f"tel:{'+' if international else ''}{digits}"
    parsed = _parsed(typed, region)
    if region is not None and not international:
        if _is_emergency(digits, region):
            return PhoneWords(number, digits, "", as_typed, True, "")
        if (len(digits) <= _SHORT_DIGITS or not _valid(parsed)) and _is_short(digits, region):
            return PhoneWords(number, typed, "", as_typed, False, "")
    doubt = _doubt(digits, international, country, region, parsed)
    if parsed is None:
        return PhoneWords(number, typed, "", as_typed, False, doubt)
    return _read(number, typed, as_typed, region, parsed, doubt)


def _read(number: str, typed: str, as_typed: str, region: str | None, parsed: PhoneNumber, doubt: str) -> PhoneWords:
    """Return the words of a number that the library could take apart."""
    import phonenumbers as library

    at_home = region is not None and library.country_code_for_region(region) == parsed.country_code
    inside = library.format_out_of_country_calling_number(parsed, region) if at_home and region else ""
    if library.is_valid_number(parsed) and not library.can_be_internationally_dialled(parsed):
        if at_home:
            return PhoneWords(number, inside, "", f"tel:{_digits(inside)}", False, doubt)
        return PhoneWords(
            number, typed, "", as_typed, False, doubt or "This number may not be reached from outside its country."
        )
    printed = library.format_number(parsed, library.PhoneNumberFormat.INTERNATIONAL)
    whole = library.format_number(parsed, library.PhoneNumberFormat.E164)
    link = f"tel:{whole}" + (f";ext={parsed.extension}" if parsed.extension else "")
    if library.is_valid_number(parsed):
        return PhoneWords(number, printed, "" if inside == printed else inside, link, False, doubt)
    if not library.is_possible_number(parsed) or _digits(printed) != _digits(typed):
        # Nobody knows what a number that is not in use would be from abroad: its digits stay as they are.
        return PhoneWords(number, typed, "", as_typed, False, doubt)
    significant = library.national_significant_number(parsed)
    prefix = library.ndd_prefix_for_region(region, True) or "" if region else ""
    sure = bool(inside) and _digits(inside) == prefix + significant
    return PhoneWords(number, printed, inside if sure else "", link, False, doubt)


def _doubt(
    digits: str, international: bool, country: str | None, region: str | None, parsed: PhoneNumber | None
) -> str:
    """Say what is wrong with a number that is no short number of the country; empty where nothing is."""
    import phonenumbers as library

    if international and region is not None and _is_emergency(digits, region):
        return f"The + is wrong: in {country_words(region)} {digits} is dialled without it."
    if parsed is None and international:
        return "This cannot be read: no country has the code after the +."
    if parsed is None and region is not None:
        return "This is too short for a telephone number." if len(digits) <= 2 else "This cannot be read as a number."
    if parsed is None:
        short = "a short number" if len(digits) <= _SHORT_DIGITS else "a number without its country code"
        if country is None:
            return f"This is {short}, and it cannot be read without a country: the site file gives none."
        return f"This is {short}, and it cannot be read: the numbers of {country_words(country)} are not known here."
    if library.is_valid_number(parsed):
        return ""
    if not international and digits in _short_emergency_numbers() and region is not None:
        return f"This is not an emergency number of {country_words(region)}, as far as its numbers are known here."
    length = library.is_possible_number_with_reason(parsed)
    reasons = library.ValidationResult
    if length == reasons.IS_POSSIBLE_LOCAL_ONLY:
        return "This lacks its area code: it can be dialled only from telephones nearby."
    if length == reasons.TOO_SHORT:
        return "This is too short for a telephone number."
    if length == reasons.TOO_LONG:
        return "This is too long for a telephone number."
    if length == reasons.INVALID_LENGTH:
        return "No telephone number of its country has so many digits."
    return "This does not look like a number in use."


def _parsed(typed: str, region: str | None) -> PhoneNumber | None:
    import phonenumbers as library

    try:
        return library.parse(typed, region)
    except library.NumberParseException:
        return None


def _valid(parsed: PhoneNumber | None) -> bool:
    from phonenumbers import is_valid_number

    return parsed is not None and bool(is_valid_number(parsed))


def _digits(text: str) -> str:
    """Return the digits of a text as 0 to 9, letters of a telephone's keys left out."""
    from phonenumbers import normalize_digits_only

    return str(normalize_digits_only(text))


def _known(country: str) -> bool:
    from phonenumbers import SUPPORTED_REGIONS

    return country in SUPPORTED_REGIONS


def _is_possible(number: str, country: str) -> bool:
    from phonenumbers import is_possible_number

    parsed = _parsed(number, country)
    return parsed is not None and bool(is_possible_number(parsed))


def _is_emergency(digits: str, region: str) -> bool:
    from phonenumbers import is_emergency_number

    return bool(is_emergency_number(digits, region))


def _is_short(digits: str, region: str) -> bool:
    from phonenumbers import is_valid_short_number_for_region

    parsed = _parsed(digits, region)
    return parsed is not None and bool(is_valid_short_number_for_region(parsed, region))


@cache
def _short_emergency_numbers() -> frozenset[str]:
    return frozenset(row["number"] for row in read_table("emergency_numbers") if len(row["number"]) <= _SHORT_DIGITS)


def country_words(country: str) -> str:
    """Return a country by name and code, to stand in a sentence: "the United Kingdom (GB)"; its code where unknown."""
    from babel import Locale

    name = Locale("en").territories.get(country) if _known(country) or not user_assigned(country) else None
    if name is None:
        return f"country {country}"
    return f"{'the ' if country in _WITH_ARTICLE else ''}{name} ({country})"


def user_assigned(country: str) -> bool:
    """Return whether a code is one that ISO 3166 leaves to its users, so that it stands for no country."""
    return bool(_USER_ASSIGNED.fullmatch(country)) and not _known(country)


def emergency_numbers(country: str) -> tuple[EmergencyNumber, ...]:
    """Return the numbers for help that are known of a country, in the order of the table; none: nothing is known.

    country -- ISO 3166 code.  Source: the table emergency_numbers, whose rows name where each was read.
    """
    return tuple(
        EmergencyNumber(
            row["country"], row["service"], row["number"], row["provenance"], row["source"], row["note"]
        )
        for row in read_table("emergency_numbers")
        if row["country"] == country
    )  # fmt: skip


def check_numbers(site: Site, rules: RuleBook | None = None) -> tuple[Check, ...]:
    """Judge whether the site's numbers read as numbers in use, and whether they reach help in its country.

    rules -- not read: nothing here can be adjusted.  Source: PHONE_NUMBERS.
    """
    checks = [_check_in_use(site), _check_country(site)]
    if site.country is not None and not user_assigned(site.country):
        checks.append(_check_emergency_number(site, site.country))
    return tuple(checks)


def _check_in_use(site: Site) -> Check:
    named = dict.fromkeys(
        (
            *((contact.name, contact.number) for contact in site.contacts),
            *((care.name, care.number) for care in (*site.hospitals, *site.chambers)),
        )
    )
    doubted: dict[str, list[str]] = {}
    for name, number in named:
        if doubt := phone_words(number, site.country).doubt:
            doubted.setdefault(doubt, []).append(f"{name} ({number})")
    count = sum(len(names) for names in doubted.values())
    if len(doubted) == 1 and count == len(named) > 1:  # as in a demonstration: a list of all would hide the sentence
        said = f"All of them: {next(iter(doubted))[0].lower()}{next(iter(doubted))[1:]}"
    else:
        said = " ".join(f"{', '.join(names)}: {doubt[0].lower()}{doubt[1:]}" for doubt, names in doubted.items())
    return Check(
        rule="numbers-in-use",
        outcome=Outcome.CAUTION if doubted else Outcome.OK,
        sentence=(
            f"{count} of {len(named)} numbers are in doubt. {said} Ring each before the first dive."
            if doubted
            else f"All {len(named)} numbers read as numbers that can be in use. That does not show who answers."
        ),
        source="PHONE_NUMBERS",
        found=count,
        limit=0,
        subject=site.name,
    )


def _check_country(site: Site) -> Check:
    country = site.country
    outcome = Outcome.OK
    if country is None:
        outcome = Outcome.CAUTION
        sentence = "The site file gives no country, so national emergency numbers are not checked."
    elif user_assigned(country):
        outcome = Outcome.OK if site.demonstration else Outcome.CAUTION
        sentence = f"The code {country} stands for no country, so national emergency numbers are not checked."
    elif not _known(country):
        outcome = Outcome.CAUTION
        sentence = f"The numbers of {country_words(country)} are not known here, so national numbers are not checked."
    else:
        sentence = f"Numbers are read as they are dialled in {country_words(country)}."
    return Check(
        rule="country-known",
        outcome=outcome,
        sentence=sentence,
        source="PHONE_NUMBERS",
        found=country,
        subject=site.name,
    )


def _check_emergency_number(site: Site, country: str) -> Check:
    known = emergency_numbers(country)
    of_country = {_digits(row.number) for row in known if row.service != "divers"}
    rescue = [(each, phone_words(each.number, country)) for each in site.contacts if each.role in RESCUE_ROLES]
    helping = [each for each, words in rescue if words.emergency or _digits(each.number) in of_country]
    whole = [each for each, words in rescue if words.link.startswith("tel:+") and _is_possible(each.number, country)]
    reaching = (*helping, *whole) if known else helping
    there = country_words(country)
    if helping:
        sentence = f"{helping[0].name} ({helping[0].number}) is an emergency number in {there}."
    elif whole:
        sentence = f"{whole[0].name} ({whole[0].number}) is a whole number, not an emergency number of {there}."
    else:
        sentence = f"No rescue contact has an emergency number of {there} or a whole number with its country code."
    return Check(
        rule="emergency-number-of-country",
        outcome=Outcome.OK if reaching else Outcome.CAUTION,
        sentence=f"{sentence} {_listed(known, there)}",
        source="PHONE_NUMBERS",
        found=reaching[0].number if reaching else None,
        subject=site.name,
    )


def _listed(known: Iterable[EmergencyNumber], there: str) -> str:
    """Say the numbers of a country in one sentence, those from memory marked; lines for divers are no first call."""
    said = []
    for row in known:
        if row.service != "divers":
            unsure = "" if row.provenance == "verified" else row.provenance
            words = (SERVICE_WORDS[row.service], row.note, unsure)
            said.append(f"{row.number} ({', '.join(word for word in words if word)})")
    if not said:
        return f"The emergency numbers of {there} are not in the tables here."
    return f"Known there: {'; '.join(said)}."
