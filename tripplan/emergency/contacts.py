"""Whom to call and where care is, with how fresh each number is and how far each place lies."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from tripplan.catalogue.site import Care, Contact, Site
from tripplan.check import Check, Outcome
from tripplan.emergency.confirmed import FOUND_WORDS, Confirmation, confirmed_today
from tripplan.emergency.evacuation import at_words, care_ways, check_care, needed_until, note_words
from tripplan.emergency.evacuation import ways as ways
from tripplan.emergency.opening import Opened, open_on, open_throughout, opening_words
from tripplan.rulebook import RuleBook

ROLE_WORDS = {
    "emergency": "Emergency services",
    "coastguard": "Coastguard",
    "ambulance": "Ambulance",
    "hospital": "Hospital",
    "chamber": "Recompression chamber",
    "diving_doctor": "Diving doctor",
    "diver_hotline": "Divers' emergency line",
    "transport": "Casualty transport",
    "police": "Police",
    "harbour": "Harbour",
    "landowner": "Landowner",
    "centre": "Dive centre",
}
RESCUE_ROLES = ("emergency", "coastguard", "ambulance")
SEA_ROLES = ("coastguard",)
NEEDED_ROLES = (  # one of each must be in the calling order; the coastguard only where there is sea
    SEA_ROLES,
    ("ambulance", "emergency"),
    ("police", "emergency"),
    ("diving_doctor",),
    ("diver_hotline", "chamber"),
)
# Whoever treats or carries a casualty is needed after the dives too: most bubble illness shows hours later.
NEEDED_AFTER = (*RESCUE_ROLES, "hospital", "chamber", "diving_doctor", "diver_hotline", "transport")


@dataclass(frozen=True)
class Freshness:
    """How old the check of a number is on the day of the dive."""

    days: int | None  # None: never checked
    fresh: bool
    words: str


def freshness(checked: date | None, checked_by: str | None, on: date, rules: RuleBook) -> Freshness:
    """Judge the age of a check on a day; a check dated after the day is not one."""
    longest = rules.value("contacts.fresh_days")
    if checked is None:
        return Freshness(None, False, "never checked")
    days = (on - checked).days
    said = f"checked {checked.day} {checked:%B %Y} by {checked_by}"
    if days < 0:
        return Freshness(days, False, f"{said}: that is after the day of the dive")
    ago = "the same day" if days == 0 else ("1 day before" if days == 1 else f"{days} days before")
    return Freshness(days, days <= longest, f"{said}, {ago}")


def check_contact(
    contact: Contact | Care,
    role_words: str,
    on: date,
    rules: RuleBook,
    found: Confirmation | None = None,
) -> Check:
    """Judge whether a number was checked recently enough.

    found -- what was found on the day itself: a number found right is fresh whatever the site file says
    """
    rule = rules["contacts.fresh_days"]
    age = freshness(contact.checked, contact.checked_by, on, rules)
    if found is not None and found.found == "right":
        age = freshness(on, found.by, on, rules)
    what = f"{role_words} {contact.name} ({contact.number})"
    if age.days is None:
        sentence = f"{what} was never checked: ring it before the first dive."
    elif age.fresh:
        sentence = f"{what}: {age.words}; {rule.value:g} days are allowed."
    else:
        sentence = f"{what}: {age.words}; only {rule.value:g} days are allowed. Ring it before the first dive."
    return Check(
        rule="contact-fresh",
        outcome=Outcome.OK if age.fresh else Outcome.CAUTION,
        sentence=sentence,
        source=rule.key,
        found=age.days,
        limit=rule.value,
        unit="days",
        subject=contact.name,
    )


def check_emergency(
    site: Site,
    on: date,
    rules: RuleBook,
    start: datetime | None = None,
    end: datetime | None = None,
    confirmed: Mapping[tuple[str, str], Confirmation] | None = None,
) -> tuple[Check, ...]:
    """Judge everything that the plan must be able to rely on when somebody comes up hurt.

    start, end -- first entry and last exit of the day, aware; None: no dive has a time
    confirmed -- what was found about each number on the day itself, from latest_on
    """
    today = confirmed or {}
    lines: list[tuple[Contact | Care, str]] = [(contact, ROLE_WORDS[contact.role]) for contact in site.contacts]
    lines.extend((way.care, way.kind.capitalize()) for way in ways(site))
    checks = [check_contact(line, role_words, on, rules, confirmed_today(line, today)) for line, role_words in lines]
    checks.extend(_check_lines(site, on, rules, start, end, today))
    checks.extend(_check_rescue(site))
    checks.append(_check_kinds(site))
    checks.extend(check_care(site, care_ways(site, start, end, today, rules, on), rules, end))
    checks.append(_check_alternative_exit(site))
    return tuple(dict.fromkeys(checks))


def _check_rescue(site: Site) -> Iterator[Check]:
    """Somebody who comes to the rescue must be in the calling order, and first in it."""
    if not any(contact.role in RESCUE_ROLES for contact in site.contacts):
        yield Check(
            rule="rescue-contact",
            outcome=Outcome.STOP,
            sentence="The site file names no emergency service, coastguard or ambulance: nobody to call first.",
            source="HSA_IE",
            found="none",
            limit="one",
            subject=site.name,
        )
    elif site.contacts[0].role not in RESCUE_ROLES:
        yield Check(
            rule="rescue-contact",
            outcome=Outcome.CAUTION,
            sentence=f"The first number in calling order is {site.contacts[0].name}, not a rescue service.",
            source="HSA_IE",
            found=site.contacts[0].role,
            limit="emergency, coastguard or ambulance",
            subject=site.name,
        )


def _check_kinds(site: Site) -> Check:
    """Say which kinds of help the calling order lacks."""
    listed = {contact.role for contact in site.contacts}
    missing = [
        " or ".join(ROLE_WORDS[role].lower() for role in roles)
        for roles in NEEDED_ROLES
        if not listed & set(roles) and (roles != SEA_ROLES or site.water.kind != "fresh")
    ]
    return Check(
        rule="contact-kinds",
        outcome=Outcome.CAUTION if missing else Outcome.OK,
        sentence=(
            f"The site's calling order has no number for: {'; '.join(missing)}. Find one before diving."
            if missing
            else "The site's calling order has a number for every kind of help."
        ),
        source="OSHA_T",
        found=None if missing else "all",
        limit="all",
        subject=site.name,
    )


def _check_lines(
    site: Site,
    on: date,
    rules: RuleBook,
    start: datetime | None,
    end: datetime | None,
    today: Mapping[tuple[str, str], Confirmation],
) -> Iterator[Check]:
    """Say which numbers are of no use today: tried in vain, or known to be closed during the dives."""
    contacts = [(each, _in_vain(each, today), _shut(each, site, on, rules, start, end)) for each in site.contacts]
    left = any(each.role in RESCUE_ROLES and tried is None and shut is None for each, tried, shut in contacts)
    lines: list[tuple[Contact | Care, Confirmation | None, str | None]] = [*contacts]
    lines.extend((each, _in_vain(each, today), None) for each in (*site.hospitals, *site.chambers))
    for line, tried, shut in lines:
        alone = not left and isinstance(line, Contact) and line.role in RESCUE_ROLES
        outcome = Outcome.STOP if alone else Outcome.CAUTION
        advice = "No rescue service can be reached: do not dive." if alone else "Have another number ready."
        if tried is not None:
            yield Check(
                rule="contact-answers",
                outcome=outcome,
                sentence=(
                    f"{line.name} ({line.number}) {FOUND_WORDS[tried.found]}: tried by {tried.by} today at "
                    f"{at_words(tried, site)}{note_words(tried)}. {advice}"
                ),
                source="CONFIRMED",
                found=tried.found,
                limit="right",
                subject=line.name,
            )
        if shut is not None:
            yield Check(
                rule="contact-hours",
                outcome=outcome,
                sentence=f"{line.name} ({line.number}) is {shut}. {advice}",
                source="SITE_FILE",
                found=Opened.CLOSED.value,
                limit=Opened.OPEN.value,
                subject=line.name,
            )


def _in_vain(line: Contact | Care, today: Mapping[tuple[str, str], Confirmation]) -> Confirmation | None:
    """Return the try of a number that did not end well; None where there was none."""
    found = confirmed_today(line, today)
    return None if found is None or found.found == "right" else found


def _shut(
    contact: Contact, site: Site, on: date, rules: RuleBook, start: datetime | None, end: datetime | None
) -> str | None:
    """Return how a number is known to be closed while it may be needed; None where it is not known to be."""
    until = needed_until(end, rules) if contact.role in NEEDED_AFTER else end
    if start is None or until is None:
        start = until = None
        opened = open_on(contact.open, contact.closed_on, on, site.timezone)
    else:
        opened = open_throughout(contact.open, contact.closed_on, start, until, site.timezone)
    if opened is not Opened.CLOSED:
        return None
    return opening_words(contact.open, contact.closed_on, start, until, site.timezone, contact.hours, on)


def _check_alternative_exit(site: Site) -> Check:
    alternative = site.alternative_exit
    return Check(
        rule="alternative-exit",
        outcome=Outcome.OK if alternative else Outcome.CAUTION,
        sentence=(
            f"Alternative exit: {alternative.access}, {alternative.swim_m:g} m to swim."
            if alternative
            else "No alternative exit is known: if the usual one closes, there is no plan for coming out."
        ),
        source="COMMON_PRACTICE",
        found=alternative.access if alternative else None,
        subject=site.name,
    )
