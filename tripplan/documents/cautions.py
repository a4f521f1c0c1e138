"""The cautions of a plan by what the reader does and when, so that a page of them can be used on a beach.

Stops are not touched: every face shows them first, one by one. What is alike but for the person, the group or the dive
becomes one line with a reason for each wording; no check is lost, and each stands in exactly one line.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

from tripplan.check import Check, Outcome
from tripplan.documents.words import counted
from tripplan.planning.plan import DayPlan, DivePlan
from tripplan.planning.private import is_private, without_private_check

_ALL_DIVES: Final = "all dives"


class When(Enum):
    """When something is to be done, the most urgent first: what is settled too late cannot be settled at all."""

    LEAVE = "Before you leave"
    FIRST = "Before the first dive"
    LOOK = "On arrival, look at"
    BRIEF = "In the briefing"
    AFTER = "After the dives, or if somebody is hurt"
    LIMITS = "Known limits of these numbers"

    @property
    def key(self) -> str:
        """A short name for addresses: "leave"."""
        return self.name.lower()


class Whom(Enum):
    """What is named behind the line."""

    NOBODY = "nobody"  # the line says all
    SUBJECT = "subject"  # what the check is about: dives, groups, a place, a unit
    PEOPLE = "people"  # everybody of the plan who is named in the sentence


@dataclass(frozen=True)
class _ToDo:
    when: When
    words: str  # what to do, first; no full stop
    whom: Whom | re.Pattern[str] = Whom.NOBODY  # a pattern: its first group in the sentence


@dataclass(frozen=True)
class Reason:
    """One wording of why, for all checks that share it."""

    sentence: str
    checks: tuple[Check, ...]


@dataclass(frozen=True)
class CautionLine:
    """One thing to do, for whom, and why."""

    todo: str  # "Read the oxygen gauge"
    whom: str  # "Oxygen box 1 and Oxygen box 2"; "" where the line says all
    reasons: tuple[Reason, ...]

    @property
    def words(self) -> str:
        """The line as it is read."""
        return f"{self.todo}: {self.whom}" if self.whom else self.todo

    @property
    def checks(self) -> tuple[Check, ...]:
        """Every check that the line stands for."""
        return tuple(check for reason in self.reasons for check in reason.checks)


@dataclass(frozen=True)
class CautionGroup:
    """What is to be done at one time."""

    key: str
    title: str
    lines: tuple[CautionLine, ...]


def caution_groups(plan: DayPlan) -> tuple[CautionGroup, ...]:
    """Return all cautions of a plan by when they are dealt with; groups without one are left out."""
    wet = {name for dive in plan.dives for name in _in_water(dive)}
    people = _people_of(plan, wet)
    dives: dict[str, list[int]] = {}
    for dive in plan.dives:
        dives.setdefault(dive.group, []).append(dive.number)
    found: dict[_ToDo, list[Check]] = {}
    for check in plan.cautions:
        found.setdefault(_todo_of(check), []).append(check)
    order = {todo: place for place, todo in enumerate(_ORDER)}
    groups = []
    for when in When:
        mine = sorted((todo for todo in found if todo.when is when), key=lambda todo: order.get(todo, -1))
        lines = tuple(
            CautionLine(todo.words, _whom(todo, found[todo], people, wet, dives), _reasons(found[todo], dives))
            for todo in mine
        )
        if lines:
            groups.append(CautionGroup(when.key, when.value, lines))
    return tuple(groups)


def cautions_line(plan: DayPlan) -> str:
    """Return how many things there are to do and when, in one line; "" where there are none.

    It counts lines, not checks: what is said of three dives is done once.
    """
    groups = caution_groups(plan)
    parts = [f"{group.title.split(',')[0].lower()} {len(group.lines)}" for group in groups]
    number = sum(len(group.lines) for group in groups)
    return f"{counted(number, 'thing')} to mind: {'; '.join(parts)}." if parts else ""


def unlike(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Return the checks that differ in what was found, allowed or said by whom: the rest repeat one of them."""
    return tuple({(check.found, check.limit, check.unit, check.source): check for check in checks}.values())


# ---- within ----


def _todo_of(check: Check) -> _ToDo:
    """Return what to do about a caution; one that is not in the table comes first, in its own words."""
    if check.outcome is not Outcome.CAUTION:
        raise ValueError(f"{check.rule} is {check.outcome}: only cautions are put together")
    if check == without_private_check(check) and is_private(check):
        return _PRIVATE
    for name in filter(None, (check.subject, check.source)):
        if (check.rule, name) in TO_DO:
            return TO_DO[check.rule, name]
    if (check.rule, "") in TO_DO:
        return TO_DO[check.rule, ""]
    return _ToDo(When.LEAVE, check.sentence.rstrip("."))


def _in_water(dive: DivePlan) -> Iterator[str]:
    yield from (*dive.divers, *dive.assistants, *(person.name for person in dive.people))
    if dive.leader:
        yield dive.leader


def _people_of(plan: DayPlan, wet: Iterable[str]) -> re.Pattern[str] | None:
    """Return a pattern that finds everybody of a plan in a sentence, longer names before those that they begin with."""
    names = {*wet, *(name for line in plan.emergency.roles for name in line.people)}
    for told in (plan.emergency.dive_director, plan.emergency.shore_watch, plan.emergency.oxygen_provider):
        names.update((told or "").split(", "))
    longest = sorted((name for name in names if name), key=lambda name: (-len(name), name))
    return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, longest))})(?!\w)") if longest else None


def _whom(
    todo: _ToDo,
    checks: Sequence[Check],
    people: re.Pattern[str] | None,
    wet: set[str],
    dives: Mapping[str, Sequence[int]],
) -> str:
    if todo.whom is Whom.NOBODY:
        return ""
    if todo.whom is Whom.PEOPLE and people is not None:
        # A sentence that names nobody is about everybody of its subject: one beside it that names some takes none away.
        found_in = [people.findall(check.sentence) or people.findall(check.subject) for check in checks]
        named = dict.fromkeys(name for found in found_in for name in found)
        nobody = [check.subject for check, found in zip(checks, found_in, strict=True) if not found]
        everybody = ["everybody in the water"] if wet and set(named) == wet else list(named)
        if named:
            return _listed([*everybody, *nobody])
    if isinstance(todo.whom, re.Pattern):
        return _listed([found[1] for check in checks if (found := todo.whom.search(check.sentence))])
    return _subjects([check.subject for check in checks], dives)


def _listed(words: Sequence[str]) -> str:
    """Return words as a list.

    >>> _listed(["Bruno", "Eric", "Ana"])
    'Bruno, Eric and Ana'
    """
    kept = list(dict.fromkeys(word for word in words if word))
    return " and ".join(part for part in (", ".join(kept[:-1]), *kept[-1:]) if part)


def _subjects(subjects: Iterable[str], dives: Mapping[str, Sequence[int]]) -> str:
    """Return what checks are about, dives of one group together: "Terns dives 1 and 2 and Skuas dive 1"."""
    by_group: dict[str, list[str]] = {}
    for subject in dict.fromkeys(subjects):
        group, _, number = subject.rpartition(", dive ")
        if group in dives and number.isdigit():
            by_group.setdefault(group, []).append(number)
        else:
            by_group.setdefault(subject, [])
    if len(by_group) > 1 and {group: len(numbers) for group, numbers in by_group.items()} == {
        group: len(numbers) for group, numbers in dives.items()
    }:
        return _ALL_DIVES
    said = [
        f"{group}, {'dive' if len(numbers) == 1 else 'dives'} {_listed(numbers)}" if numbers else group
        for group, numbers in by_group.items()
    ]
    return "; ".join(said) if any(by_group.values()) else _listed(said)


def _reasons(checks: Sequence[Check], dives: Mapping[str, Sequence[int]]) -> tuple[Reason, ...]:
    """Return each wording once, with all whom it is about in front; the wording itself is never changed."""
    found: dict[tuple[str, str], list[Check]] = {}
    for check in checks:
        rest = check.sentence
        if check.subject and rest.startswith(check.subject) and rest[len(check.subject) :][:2] in (": ", "'s"):
            rest = rest[len(check.subject) :]
            found.setdefault(("about", rest), []).append(check)
        else:
            found.setdefault(("", rest), []).append(check)
    reasons = []
    for (about, rest), alike in found.items():
        said = _subjects([check.subject for check in alike], dives)
        front = ("All dives" if said == _ALL_DIVES else said) if about else ""
        reasons.append(Reason(front + rest, tuple(alike)))
    return tuple(reasons)


# ---- what to do about which caution ----

_LEAVE, _FIRST, _LOOK, _BRIEF, _AFTER, _LIMITS = When
_NOBODY, _SUBJECT, _PEOPLE = Whom

_PRIVATE = _ToDo(_FIRST, "Ask the leader about personal papers", _SUBJECT)  # for whoever may not see what they say
_FIND_LEAD = _ToDo(_FIRST, "Find the lead by the check at the surface", _PEOPLE)
_KIT = _ToDo(_LEAVE, "Look at each piece before it goes in", _SUBJECT)
_COUNTRY = _ToDo(_FIRST, "Make sure which number reaches the rescue services here")
_OPEN_SKILLS = _ToDo(_BRIEF, "Look which skills are still open before this dive", _SUBJECT)
_ARRIVED = _ToDo(_FIRST, "Ask when everybody came to this altitude")
_LONGER_WAIT = _ToDo(_AFTER, "Ask about earlier dives; until then the longer wait before going higher holds", _PEOPLE)
_SHORT_WAIT = _ToDo(_AFTER, "Ask about earlier dives before anybody goes higher; the wait may be too short", _PEOPLE)

# By rule and, where one rule says different things, by its subject or its source. The order here is the order within a
# group: first what may still stop the day.
TO_DO: Final[Mapping[tuple[str, str], _ToDo]] = {
    # before you leave
    ("forecast", ""): _ToDo(_LEAVE, "Get a newer forecast"),
    ("forecast-source", ""): _ToDo(_LEAVE, "Read what the forecast could not say", _SUBJECT),
    ("permission", ""): _ToDo(_LEAVE, "Make sure that diving is permitted here today"),
    ("oxygen-two-casualties", ""): _ToDo(_LEAVE, "Take more oxygen; it is not enough for two casualties at once"),
    ("oxygen-lasts", ""): _ToDo(_LEAVE, "Find out how long help takes, and whether the oxygen lasts until then"),
    ("oxygen-single-exposure", ""): _ToDo(
        _LEAVE, "Plan less depth or less oxygen; an oxygen limit of one exposure is near", _PEOPLE
    ),
    ("oxygen-day", ""): _ToDo(_LEAVE, "Plan less depth or less oxygen; the oxygen limit of 24 hours is near", _PEOPLE),
    ("gas-reckoned", ""): _ToDo(_LEAVE, "Write size and fill of the cylinders into the request", _SUBJECT),
    ("gas-fill-pressure", ""): _ToDo(_LEAVE, "Fill no higher than the pressure stamped on the cylinder", _SUBJECT),
    ("rescue-contact", ""): _ToDo(_LEAVE, "Put a rescue service first in the calling order"),
    ("contact-kinds", ""): _ToDo(_LEAVE, "Find the numbers that are missing", re.compile(r"no number for: (.+?)\. ")),
    ("drive-time-known", ""): _ToDo(_LEAVE, "Find out how long the drive takes", _SUBJECT),
    ("care-open", ""): _ToDo(
        _LEAVE, "Find out where a casualty goes while this is closed, or its hours are not known", _SUBJECT
    ),
    ("lay-off", ""): _ToDo(_LEAVE, "Plan a check dive first", _PEOPLE),
    ("leader-experience", ""): _ToDo(_LEAVE, "Decide who leads; these have few dives for a leader", _SUBJECT),
    ("language-spoken", ""): _ToDo(_LEAVE, "Find somebody to interpret the briefing", _SUBJECT),
    ("first-aid-valid", ""): _ToDo(_LEAVE, "See the first-aid paper and its date", _SUBJECT),
    ("insurance-valid", ""): _ToDo(_LEAVE, "See the insurance paper and its date", _SUBJECT),
    ("oxygen-qualified", ""): _ToDo(_LEAVE, "Renew the oxygen qualification in time", _SUBJECT),
    ("skills-ticks", ""): _ToDo(_LEAVE, "Put the list of ticked skills right", _SUBJECT),
    ("skills-water", ""): _ToDo(
        _LEAVE, "Make sure that the place is the water that the course dive asks for", _SUBJECT
    ),
    ("deepest-first", ""): _ToDo(_LEAVE, "Make the deeper dive first, if it can be changed", _SUBJECT),
    ("suit", ""): _ToDo(_LEAVE, "Take warmer suits; the water is colder than these are for", _SUBJECT),
    ("suit", "REQUEST"): _ToDo(_LEAVE, "Ask which suit is worn, and whether it is warm enough", _SUBJECT),
    ("kit-enough", ""): _ToDo(_LEAVE, "Find what the store is short of", _SUBJECT),
    ("kit-service", ""): _KIT,
    ("kit-known", "sizes"): _ToDo(_LEAVE, "Ask for sizes and try the kit on", _PEOPLE),
    ("kit-known", "REQUEST"): _ToDo(_LEAVE, "Ask which kit is brought", _PEOPLE),
    ("kit-known", ""): _ToDo(_LEAVE, "Count the kit and read the dates on it"),
    # before the first dive
    ("actual-planned", ""): _ToDo(_FIRST, "Ask about a dive that was made without a plan", _SUBJECT),
    ("recent-dives-known", ""): _ToDo(_FIRST, "Ask everybody about dives in the days before"),
    ("recent-altitude-known", ""): _ToDo(_FIRST, "Ask at what altitude the earlier dives were", _PEOPLE),
    ("arrival-time-unknown", ""): _ARRIVED,
    ("arrival-after-first-dive", ""): _ARRIVED,
    ("heart-question", ""): _ToDo(_FIRST, "Ask about heart, medicines and exertion", _PEOPLE),
    ("oxygen-day-unknown", ""): _ToDo(_FIRST, "Ask what they breathed in the 24 hours before", _PEOPLE),
    ("numbers-in-use", ""): _ToDo(
        _FIRST, "Ring the numbers that are in doubt", re.compile(r"^(\d+ of \d+) numbers are in doubt")
    ),
    ("contact-fresh", ""): _ToDo(_FIRST, "Ring these, not checked lately", _SUBJECT),
    ("contact-answers", ""): _ToDo(_FIRST, "Have another number ready, this one did not answer well", _SUBJECT),
    ("contact-hours", ""): _ToDo(_FIRST, "Have another number ready, this one is closed", _SUBJECT),
    ("country-known", ""): _COUNTRY,
    ("emergency-number-of-country", ""): _COUNTRY,
    ("oxygen-gauge-read", ""): _ToDo(_FIRST, "Read the gauge of the oxygen", _SUBJECT),
    ("emergency-roles", ""): _ToDo(
        _FIRST, "Name who does what in an emergency", re.compile(r"Nobody is named for: (.+?)\. ")
    ),
    ("director-ashore", ""): _ToDo(_FIRST, "Name who answers ashore while the dive director is in the water", _SUBJECT),
    ("two-ashore", ""): _ToDo(_FIRST, "Name one more person ashore"),
    ("crew-drilled", ""): _ToDo(_FIRST, "Show them their part in an emergency", re.compile(r"days: (.+?)\. Show")),
    ("drill-held", ""): _ToDo(_FIRST, "Walk through the emergency sheet with everybody"),
    ("rescue-kit", ""): _ToDo(_FIRST, "Open the rescue kit, and say where it is", _SUBJECT),
    ("next-of-kin", ""): _ToDo(_FIRST, "Ask for the next of kin and a telephone number", _PEOPLE),
    ("identity-known", ""): _ToDo(_FIRST, "See that the papers belong to the person", _PEOPLE),
    ("kit-known", "cylinders"): _ToDo(_FIRST, "Read gauge, label and metal of each cylinder before it is handed out"),
    ("gas-hot-fill", ""): _ToDo(_FIRST, "Read the gauge again once the cylinder is in the water", _SUBJECT),
    ("kit-known", "lead"): _FIND_LEAD,
    ("lead-unknown", ""): _FIND_LEAD,
    ("lead-suit-loss-unknown", ""): _FIND_LEAD,
    ("kit-metal", ""): _ToDo(_FIRST, "Find the lead anew for each dive, with steel and with aluminium", _SUBJECT),
    # on arrival
    ("forecast", "COMMON_PRACTICE"): _ToDo(_LOOK, "Sea, wind and visibility; no forecast was used"),
    ("conditions-known", ""): _ToDo(_LOOK, "What nobody forecasts", _SUBJECT),
    ("surf", ""): _ToDo(_LOOK, "The sets of waves, before anybody goes in", _SUBJECT),
    ("surf-kind", ""): _ToDo(_LOOK, "How the waves break; on a steep beach they dump", _SUBJECT),
    ("swell-period-known", ""): _ToDo(_LOOK, "The seconds from crest to crest, which nobody gives", _SUBJECT),
    ("fetch-known", ""): _ToDo(_LOOK, "The waves that the wind raises here; they are not reckoned"),
    ("wind", ""): _ToDo(_LOOK, "The wind and its gusts", _SUBJECT),
    ("surface-drift", ""): _ToDo(_LOOK, "The drift at the surface", _SUBJECT),
    ("visibility-under-water", ""): _ToDo(_LOOK, "The visibility under water"),
    ("ratio-of-dive", ""): _ToDo(_LOOK, "The visibility under water; if it is low, the group is too large", _SUBJECT),
    ("group-size-of-dive", ""): _ToDo(
        _LOOK, "The visibility under water; if it is low, the group is too large", _SUBJECT
    ),
    ("forecast-too-low", ""): _ToDo(_LOOK, "Sea and wind once more before each dive; the forecast was too low"),
    ("cold-children", ""): _ToDo(_LOOK, "The water temperature, before children go in", _SUBJECT),
    ("water-temperature-known", ""): _ToDo(_LOOK, "The water temperature, to choose suits"),
    ("tide-complete", ""): _ToDo(_LOOK, "The height of the water; the tide is reckoned without some of its parts"),
    ("entry-margin", ""): _ToDo(_LOOK, "The clock; there is no minute in hand for going in", _SUBJECT),
    ("survey-fresh", ""): _ToDo(_LOOK, "What has changed; the survey of the site is old"),
    ("heat", ""): _ToDo(_LOOK, "Shade, and water to drink; it gets hot", _SUBJECT),
    # in the briefing
    ("leader-reach", ""): _ToDo(
        _BRIEF, "Keep everybody in front of the leader and in pairs, or take an assistant", _SUBJECT
    ),
    ("children-ratio", ""): _ToDo(_BRIEF, "One child to each leader until it can dive in a group", _SUBJECT),
    ("pair-instructor", ""): _ToDo(_BRIEF, "Say which instructor stays with whom", _SUBJECT),
    ("pair-child", ""): _ToDo(_BRIEF, "Change the pair, or stay beside it; a child is in it and no adult", _SUBJECT),
    ("bottom-within-limit", ""): _ToDo(
        _BRIEF, "The leader stays on the deep side; the bottom goes beyond the limit", _SUBJECT
    ),
    ("swim-known", ""): _ToDo(_BRIEF, "Allow time and gas for the swim, whose length is not known", _SUBJECT),
    ("alternative-exit", ""): _ToDo(_BRIEF, "Agree what to do if the way out closes; no other is known"),
    ("gas-turn", ""): _ToDo(
        _BRIEF, "Shorten the dive or turn by the gauge; the gas is for less than the time planned", _SUBJECT
    ),
    ("gas-density", ""): _ToDo(_BRIEF, "No hard work at depth; the gas is dense there", _SUBJECT),
    ("surge", ""): _ToDo(_BRIEF, "The swell moves the water to and fro in the shallows", _SUBJECT),
    ("skills-open", ""): _OPEN_SKILLS,
    ("skills-depth", ""): _ToDo(_BRIEF, "Nobody goes deeper for a skill; some stay open", _SUBJECT),
    ("pair-three", ""): _ToDo(_BRIEF, "Say who looks after whom in the three, and in which order they swim", _SUBJECT),
    ("pair-language", ""): _ToDo(_BRIEF, "Go through the signals with both; they have no common language", _SUBJECT),
    ("pair-mix", ""): _ToDo(_BRIEF, "The shallower limit holds for both; they breathe different gas", _SUBJECT),
    ("pair-experience", ""): _ToDo(_BRIEF, "Agree who turns the dive; these are far apart in experience", _SUBJECT),
    # afterwards
    ("road-to-care-climbs", ""): _ToDo(_AFTER, "Tell the rescue service that the road climbs", _SUBJECT),
    ("road-height-known", ""): _ToDo(_AFTER, "Ask how high the road climbs before a casualty is sent", _SUBJECT),
    ("flight-to-care-climbs", ""): _ToDo(
        _AFTER, "Ask for a low flight, or a cabin kept at the pressure here", _SUBJECT
    ),
    ("wait-before-ascent", ""): _ToDo(_AFTER, "Wait before any road or flight higher up", _PEOPLE),
    ("wait-dives-unknown", ""): _SHORT_WAIT,
    ("wait-model-unknown", ""): _SHORT_WAIT,
    ("wait-repetitive-unknown", ""): _LONGER_WAIT,
    ("wait-after-stops", ""): _LONGER_WAIT,
    # limits
    ("no-stop-methods-agree", ""): _ToDo(
        _LIMITS, "The two no-stop times are far apart; the shorter one is used", _SUBJECT
    ),
    ("altitude-change-between-dives", ""): _ToDo(_LIMITS, "No printed rule for a climb between dives", _SUBJECT),
    ("salinity-known", ""): _ToDo(_LIMITS, "The salt of the water is not known, and taken against the diver"),
    ("exposure-known", ""): _ToDo(_LIMITS, "The site is taken as open to all swell; its file does not say"),
}
_ORDER: Final = tuple(dict.fromkeys([*TO_DO.values(), _PRIVATE]))
