"""Who is where, by the entries of a day on the beach: nobody vanishes, nobody is counted twice, doubt is said.

The list is worked out afresh from all entries each time. Where entries disagree, the reading that keeps a person in the
water holds until somebody mends it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Literal

from tripplan.people.skills import as_compared
from tripplan.planning.event import Event, EventKind
from tripplan.planning.plan import DivePlan
from tripplan.rulebook import RuleBook

Where = Literal["expected", "ashore", "in_water", "left"]
DiveState = Literal["no_time", "not_started", "due", "in_water", "late", "overdue", "over"]
CountState = Literal["none", "one", "agree", "recount", "missing-diver"]

# What an alarm is about, the most dangerous first.
DANGER = (
    "overdue",  # somebody is in the water and was to be out
    "missing-diver",  # two pairs of counts in turn did not agree
    "left-in-water",  # somebody is said to have left, but no entry says that they came out
    "in-water-another-day",  # no entry says that they came out of the water of another day or site
    "no-out-by",  # in the water, and no time is planned by which they are overdue
    "recount",  # counts do not agree
    "incident",
    "discomfort",
    "in-again",  # went in on another dive without coming out of the one before
    "out-of-another-dive",  # came out of a dive that they are not in
    "ashore-in-water",  # said to be at the site, but no entry says that they came out of the water
    "not-of-the-dive",  # in the water on a dive for which they are not planned
    "two-corrections",  # two entries mend the same one
    "correction-unclear",  # what an entry mends is not here, or entries mend each other in a circle
    "same-mark",  # two entries that differ carry the same mark
    "from-the-future",  # dated later than now
    "not-here",  # planned to be in the water by now, and nobody has seen them
)
RECOUNT = "Recount: two people, each for themselves, everybody by name."
START_THE_STEPS = "Start the missing-diver steps now: call first, then search."
NO_DISCOMFORT = "none"

_WORDS: Mapping[EventKind, str] = {
    "assembled": "is at the site",
    "in": "went in",
    "out": "came out",
    "left": "left the site",
    "count": "count",
    "start_bar": "pressure before the dive",
    "end_bar": "pressure after the dive",
    "depth": "greatest depth",
    "discomfort": "discomfort",
    "incident": "incident",
    "signed": "signed",
    "verified": "verified",
    "note": "note",
    "withdrawn": "entry taken back",
}
_LANDWARD = ("assembled", "out", "left", "count")  # believed only once their time has come: they end a watch


# ---- names and entries ----


alike = as_compared  # the names of people on a beach, of groups and of skills are compared in one way


@dataclass(frozen=True)
class Standing:
    """Which entries hold, once doubles are dropped and corrections made."""

    entries: tuple[Event, ...]  # those that hold, by time, then by arrival
    taken_out: tuple[tuple[Event, Event], ...]  # an entry that does not hold, and the one that took it out
    names: tuple[str, ...]  # everybody ever named, also where the entry was taken out, by time
    twice_mended: tuple[tuple[Event, tuple[Event, ...]], ...]  # an entry, and the several that mend it
    unclear: tuple[Event, ...]  # they mend what is not here, or each other in a circle
    same_mark: tuple[tuple[Event, Event], ...]  # the entry that counts, and another with the same uid


def standing(events: Iterable[Event]) -> Standing:
    """Return the entries that hold.

    events -- in order of arrival

    An entry that arrives twice is one entry. A correction takes its entry out for good, also where it is mended or
    taken back itself: what somebody has called wrong does not come back by a second correction. Only taking back a
    "withdrawn" brings back what that had taken out. In a circle of corrections nothing is taken out.
    """
    first: dict[str, Event] = {}
    arrived: dict[str, int] = {}
    same_mark: list[tuple[Event, Event]] = []
    for number, event in enumerate(events):
        if event.uid not in first:
            first[event.uid], arrived[event.uid] = event, number
        elif event != first[event.uid] and (first[event.uid], event) not in same_mark:
            same_mark.append((first[event.uid], event))
    ordered = sorted(first.values(), key=lambda event: (event.at.timestamp(), arrived[event.uid]))
    targets = {event.uid: event.corrects for event in ordered if event.corrects in first}
    circle = _in_circles(targets)
    unclear = tuple(
        event for event in ordered if event.corrects and (event.corrects not in first or event.uid in circle)
    )
    targets = {uid: target for uid, target in targets.items() if uid not in circle}

    depth = _depths(targets)
    removers: dict[str, list[Event]] = {}
    undone: set[str] = set()
    for event in sorted((first[uid] for uid in targets), key=lambda event: -depth[event.uid]):
        if event.kind == "withdrawn" and event.uid in undone:
            continue
        removers.setdefault(targets[event.uid], []).append(event)
        if event.kind == "withdrawn":
            undone.add(targets[event.uid])
    by_time = {event.uid: number for number, event in enumerate(ordered)}
    for mends in removers.values():
        mends.sort(key=lambda event: by_time[event.uid])

    named = sorted((*ordered, *(other for _, other in same_mark)), key=lambda event: event.at.timestamp())
    names: dict[str, str] = {}
    for event in named:
        if event.person.strip():
            names.setdefault(alike(event.person), " ".join(event.person.split()))
    return Standing(
        entries=tuple(event for event in ordered if event.uid not in removers),
        taken_out=tuple((event, removers[event.uid][0]) for event in ordered if event.uid in removers),
        names=tuple(names.values()),
        twice_mended=tuple(
            (event, tuple(removers[event.uid])) for event in ordered if len(removers.get(event.uid, ())) > 1
        ),
        unclear=unclear,
        same_mark=tuple(same_mark),
    )


def _in_circles(targets: Mapping[str, str]) -> set[str]:
    """Return the entries that mend each other in a circle; one that mends itself is a circle of one."""
    found: set[str] = set()
    seen: set[str] = set()
    for start in targets:
        path: dict[str, int] = {}
        here = start
        while here in targets and here not in seen and here not in path:
            path[here] = len(path)
            here = targets[here]
        if here in path:
            found.update(uid for uid, number in path.items() if number >= path[here])
        seen.update(path)
    return found


def _depths(targets: Mapping[str, str]) -> dict[str, int]:
    """Return how many entries each one mends in turn: 1 for a correction of a plain entry, 2 for a correction of it."""
    depths: dict[str, int] = {}
    for start in targets:
        path, here = [], start
        while here in targets and here not in depths:
            path.append(here)
            here = targets[here]
        steps = depths.get(here, 0)
        for uid in reversed(path):
            steps += 1
            depths[uid] = steps
    return depths


def day_and_site(dives: Sequence[DivePlan], events: Sequence[Event], now: datetime | None = None) -> tuple[date, str]:
    """Return the day and the site that a list is about: those of the plan, else of the latest entries.

    An empty site: neither the plan nor an entry names one.
    """
    entries = [dive.entry for dive in dives if dive.entry is not None]
    latest = max(events, key=lambda event: (event.day, event.at.timestamp()), default=None)
    site = dives[0].site if dives else latest.site if latest else ""
    if entries:
        return min(entries, key=lambda entry: entry.timestamp()).date(), site
    if latest is not None:
        return latest.day, site
    return (now.date() if now is not None else date.min), site


# ---- what is shown ----


@dataclass(frozen=True)
class PersonNow:
    """One person by the list."""

    name: str
    where: Where
    since: datetime | None  # None: nothing was written of them that counts
    group: str = ""  # of the dive that they are in
    dive: int = 0
    out_by: datetime | None = None  # in the water only; None: no time is known
    overdue_min: int | None = None  # minutes past out_by, rounded up; None: not overdue, or no time is known
    of_today: bool = True  # False: named only in entries of another day or site
    entered: int = 0  # how often they went in
    came_out: int = 0  # and out
    notes: tuple[str, ...] = ()  # what was odd


@dataclass(frozen=True)
class DiveNow:
    """One dive of the day by the list; an unplanned one has no times."""

    group: str
    number: int
    planned: bool
    state: DiveState
    words: str
    entry: datetime | None  # as planned
    exit: datetime | None
    exit_by: datetime | None
    out_by: datetime | None  # whoever is in is overdue from then on: exit_by, or sooner for who went in early
    should_be: tuple[str, ...]  # as planned
    in_water: tuple[str, ...]
    came_out: tuple[str, ...]
    never_in: tuple[str, ...]  # planned, and no entry says that they went in
    started: datetime | None
    ended: datetime | None  # when the last of them came out; None while anybody is in
    overdue_min: int | None  # rounded up; None: not overdue


@dataclass(frozen=True)
class Count:
    """One person's count."""

    by: str
    at: datetime
    people: float
    listed: int  # how many the list had ashore then
    moves: int  # how often anybody had changed place by then
    identity: str = ""

    @property
    def fits(self) -> bool:
        """Whether the count is the list's."""
        return self.people == self.listed


@dataclass(frozen=True)
class CountPair:
    """Two counts of the same moment by two people."""

    moment: str
    group: str  # empty: everybody
    first: Count
    second: Count

    @property
    def agree(self) -> bool:
        """Whether both counts are the list's."""
        return self.first.fits and self.second.fits


@dataclass(frozen=True)
class HeadCount:
    """What the counts say so far."""

    state: CountState
    sentence: str
    pairs: tuple[CountPair, ...]


@dataclass(frozen=True)
class Alarm:
    """Something to act on."""

    slug: str  # one of DANGER
    subject: str  # a person, a dive, a moment of counting
    sentence: str
    since: datetime


@dataclass(frozen=True)
class LiveDay:
    """Everybody and every dive of a day at a site, by all entries so far."""

    day: date
    site: str
    now: datetime
    people: tuple[PersonNow, ...]
    in_water: tuple[str, ...]
    ashore: tuple[str, ...]
    left: tuple[str, ...]
    not_here: tuple[str, ...]  # expected, and never seen
    entered: int  # how often anybody went in, all days given
    came_out: int
    dives: tuple[DiveNow, ...]
    count: HeadCount
    alarms: tuple[Alarm, ...]  # the most dangerous first
    odd: tuple[str, ...]  # every entry that did not fit or was taken out, in words
    clear: bool
    missing: tuple[str, ...]  # what is missing until the site is clear; empty where it is


def live_day(
    events: Iterable[Event], dives: Sequence[DivePlan], expected: Sequence[str], now: datetime, rules: RuleBook
) -> LiveDay:
    """Return who is where by ``now``, which dives run, what the counts say, and what is wrong.

    events   -- of one day at one site, in order of arrival; those of another are told apart by the plan's day and site
                and hold all the same, so that nobody in the water is lost
    dives    -- as planned
    expected -- names of everybody expected at the site; whoever is planned to dive is expected too
    now      -- aware

    Pure: the same entries give the same list. Entries apply by their time, then by arrival. An entry dated after
    ``now`` is believed where it puts a person into the water, and not yet where it takes one out.
    Source: COMMON_PRACTICE; AU_WHS (counts before and after, written for boats).
    """
    return _Day(tuple(events), tuple(dives), expected, now, rules).shown()


# ---- the day, entry by entry ----


@dataclass
class _Person:
    name: str
    expected: bool
    where: Where = "expected"
    since: datetime | None = None
    own: bool = False  # whether an entry of this day and site says where they are
    named_here: bool = False  # whether any entry of this day and site names them
    stay: _Stay | None = None  # in the water
    entered: int = 0
    came_out: int = 0
    notes: list[str] = field(default_factory=list)


@dataclass
class _Stay:
    """From going in to coming out."""

    person: str
    entry: Event
    own: bool
    out_at: datetime | None = None
    after: list[Event] = field(default_factory=list)  # went in on these dives without coming out of this one
    alarms: list[Alarm] = field(default_factory=list)  # while it lasts


_Key = tuple[str, int]  # of a dive: its group as groups are compared, and its number


def _names(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "nobody"


def _minutes_past(now: datetime, moment: datetime | None) -> int | None:
    """Return the minutes since a moment, rounded up; None before it, and where there is none."""
    if moment is None or now.timestamp() < moment.timestamp():
        return None
    return math.ceil(round((now.timestamp() - moment.timestamp()) / 60, 6))


def _dive_words(group: str, number: int) -> str:
    return f"{group}, dive {number}"


def _dive_of(event: Event) -> str:
    return _dive_words(" ".join(event.group.split()), event.dive)


def _same_dive(one: Event, other: Event) -> bool:
    return (alike(one.group), one.dive, one.day, one.site) == (alike(other.group), other.dive, other.day, other.site)


class _Day:
    def __init__(
        self,
        events: tuple[Event, ...],
        dives: tuple[DivePlan, ...],
        expected: Sequence[str],
        now: datetime,
        rules: RuleBook,
    ) -> None:
        self.now, self.rules, self.dives = now, rules, dives
        self.day, self.site = day_and_site(dives, events, now)
        entries = [dive.entry for dive in dives if dive.entry is not None]
        self.zone: tzinfo | None = entries[0].tzinfo if entries else now.tzinfo
        self.plans: dict[_Key, list[DivePlan]] = {}  # more than one: two requests have a group of that name
        for dive in dives:
            self.plans.setdefault((alike(dive.group), dive.number), []).append(dive)
        self.people: dict[str, _Person] = {}
        self.stays: list[_Stay] = []
        self.alarms: list[Alarm] = []
        self.odd: list[tuple[float, str]] = []
        self.moves = 0  # how often anybody changed place
        self.last_swim: datetime | None = None  # when anybody last went in or out
        self.pairs: list[CountPair] = []
        self.alone: dict[tuple[str, str], Count] = {}  # counts without their second, by moment and group
        self.apart: dict[str, int] = {}  # pairs in turn that did not agree, by group; "" is everybody
        for name in (*expected, *(name for dive in dives for name in planned_people(dive))):
            if name.strip():
                self._person(name, expected=True)
        held = standing(events)
        for name in held.names:
            self._person(name)
        for event in held.entries:
            self._apply(event)
        self._tell_mended(held)
        for person in self.people.values():
            if person.expected and not person.own and person.where in ("ashore", "left"):
                person.where, person.since = "expected", None  # what was on another day or site says nothing of today

    def _person(self, name: str, *, expected: bool = False) -> _Person:
        return self.people.setdefault(alike(name), _Person(" ".join(name.split()), expected))

    # ---- words ----

    def _clock(self, moment: datetime) -> str:
        local = moment.astimezone(self.zone)
        return f"{local:%H:%M}" if local.date() == self.day else f"{local.day} {local:%B %H:%M}"

    def _said(self, event: Event) -> str:
        """Return an entry as a reader finds it: what, when and by whom."""
        what = f"{event.person.strip()}: {_WORDS[event.kind]}" if event.person.strip() else _WORDS[event.kind]
        dive = f" ({_dive_words(event.group, event.dive)})" if event.group and event.dive else ""
        value = "" if event.value is None else f" {event.value:g}"
        text = f", {event.text.strip()}" if event.text.strip() else ""
        return f"“{what}{value}{dive}, {self._clock(event.at)}{text}”, written by {event.by.strip()}"

    def _note(self, event: Event, sentence: str, slug: str = "", stay: _Stay | None = None) -> None:
        """Keep what was odd about an entry, with the person whom it is about.

        slug -- makes it an alarm;  stay -- in the water, and with its end the alarm ends
        """
        self.odd.append((event.at.timestamp(), sentence))
        if event.person.strip():
            self._person(event.person).notes.append(sentence)
        if slug:
            subject = self._person(event.person).name if event.person.strip() else event.by.strip()
            (self.alarms if stay is None else stay.alarms).append(Alarm(slug, subject, sentence, event.at))

    # ---- one entry ----

    def _own(self, event: Event) -> bool:
        return event.day == self.day and (not self.site or event.site == self.site)

    def _apply(self, event: Event) -> None:
        own = self._own(event)
        person = self._person(event.person) if event.person.strip() else None
        if event.at.timestamp() > self.now.timestamp():
            waits = event.kind in _LANDWARD
            believed = "it does not count until then" if waits else "it counts all the same"
            sentence = (
                f"{self._said(event)} is dated later than now, {self._clock(self.now)}: {believed}. Check the clocks."
            )
            self._note(event, sentence, "from-the-future")
            if waits:
                return
        if not own:
            when = f"{event.day.day} {event.day:%B} at {event.site}"
            self._note(event, f"{self._said(event)} is an entry of {when}, not of this day and site.")
        if person is not None and own:
            person.named_here = True
        if person is not None and event.kind in ("assembled", "in", "out", "left"):
            if own and not person.own and person.where in ("ashore", "left"):
                person.where, person.since = "expected", None  # the day begins anew for them
            person.own = person.own or own
            self._move(event, person, own)
        if event.kind == "count" and own:
            self._count(event)
        elif event.kind == "incident":
            self._note(event, f"Incident: {self._said(event)}.", "incident")
        elif event.kind == "discomfort" and alike(event.text).rstrip(".") != NO_DISCOMFORT:
            sentence = (
                f"{self._said(event)}. Open the steps for bubble illness on the emergency sheet: whoever feels unwell "
                "after a dive is treated as ill until a diving doctor says otherwise."
            )
            self._note(event, sentence, "discomfort")

    def _move(self, event: Event, person: _Person, own: bool) -> None:
        """Change where a person is, or say why an entry changes nothing."""
        if event.kind == "in":
            self._go_in(event, person, own)
        elif event.kind == "out":
            self._come_out(event, person)
        elif person.stay is not None:
            left = event.kind == "left"
            sentence = (
                f"{self._said(event)}, but no entry says that {person.name} came out of the water: they count as in "
                f"it. Find {person.name}; where they {'left' if left else 'are ashore'}, write when they came out."
            )
            self._note(event, sentence, "left-in-water" if left else "ashore-in-water", person.stay)
        elif event.kind == "left":
            if person.where == "left":
                self._note(event, f"{self._said(event)}: they had left already.")
            else:
                if person.where == "expected":
                    self._note(event, f"{self._said(event)}: no entry says that they had come.")
                self._place(person, "left", event)
        elif person.where == "expected":
            self._place(person, "ashore", event)
        elif person.where == "left":
            self._note(event, f"{self._said(event)}: they had left, and are back.")
            self._place(person, "ashore", event)
        else:
            self._note(event, f"{self._said(event)}: they were at the site already.")

    def _place(self, person: _Person, where: Where, event: Event) -> None:
        person.where, person.since = where, event.at
        self.moves += 1

    def _go_in(self, event: Event, person: _Person, own: bool) -> None:
        stay = person.stay
        if stay is not None:
            since = self._clock(stay.entry.at)
            if any(_same_dive(event, each) for each in (stay.entry, *stay.after)):
                self._note(event, f"{self._said(event)}: they were in the water already, since {since}.")
                return
            stay.after.append(event)
            sentence = (
                f"{self._said(event)}, but no entry says that they came out of {_dive_of(stay.entry)}, in since "
                f"{since}: they count as in the water on that dive. Write when they came out of it."
            )
            self._note(event, sentence, "in-again", stay)
            return
        if person.where == "expected":
            self._note(event, f"{self._said(event)}: no entry says that they had come; they count as at the site.")
        elif person.where == "left":
            self._note(event, f"{self._said(event)}: they had left, and are back.")
        self._swim(event, person, own)

    def _swim(self, event: Event, person: _Person, own: bool) -> None:
        person.stay = _Stay(person.name, event, own)
        self.stays.append(person.stay)
        person.entered += 1
        self._place(person, "in_water", event)
        self.last_swim = event.at

    def _come_out(self, event: Event, person: _Person) -> None:
        stay = person.stay
        if stay is None:
            self._note(event, f"{self._said(event)}: no entry says that they were in the water; they count as ashore.")
            if person.where != "ashore":
                self._place(person, "ashore", event)
            return
        tagged = bool(event.group and event.dive)
        if tagged and not any(_same_dive(event, each) for each in (stay.entry, *stay.after)):
            sentence = (
                f"{self._said(event)}, but {person.name} is in the water on {_dive_of(stay.entry)} and counts as in "
                f"it. Find {person.name}; where they came out, write so for {_dive_of(stay.entry)}."
            )
            self._note(event, sentence, "out-of-another-dive", stay)
            return
        stay.out_at = event.at
        person.stay = None
        person.came_out += 1
        self._place(person, "ashore", event)
        self.last_swim = event.at
        if tagged and stay.after and _same_dive(event, stay.entry):  # only the end of the first dive was late
            following, *rest = stay.after
            told = f"they had gone in on {_dive_of(following)} since, and count as in the water on that."
            self._note(event, f"{self._said(event)}: {told}")
            self._swim(following, person, self._own(following))
            self.stays[-1].after.extend(rest)
            self.stays[-1].alarms.extend(alarm for alarm in stay.alarms if rest or alarm.slug != "in-again")

    def _tell_mended(self, held: Standing) -> None:
        """Say which entries were taken out, and where that is in doubt."""
        for event, by in held.taken_out:
            if by.kind == "withdrawn":
                how = f"was taken back by {by.by.strip()}: {by.text.strip()}"
            else:
                how = f"was replaced by {self._said(by)}"
            self._note(event, f"The entry {self._said(event)}, {how}.")
        for event, mends in held.twice_mended:
            said = "; ".join(self._said(each) for each in mends)
            sentence = f"Several entries mend {self._said(event)}: {said}. All of them hold: take back what is wrong."
            self._note(event, sentence, "two-corrections")
        for event in held.unclear:
            sentence = (
                f"{self._said(event)} mends an entry that is not here, or that mends it in turn: nothing was taken "
                "out. Look whether both hold."
            )
            self._note(event, sentence, "correction-unclear")
        for event, other in held.same_mark:
            sentence = (
                f"{self._said(other)} carries the same mark as {self._said(event)}, which came first and counts: write "
                "it again."
            )
            self._note(other, sentence, "same-mark")

    # ---- counting ----

    def _listed(self, group: str) -> int:
        """Return how many of today's people the list has ashore, of a group or of all."""
        members = {alike(name) for dive in self.dives if alike(dive.group) == group for name in planned_people(dive)}
        members |= {alike(stay.person) for stay in self.stays if alike(stay.entry.group) == group}
        return sum(
            person.where == "ashore" and person.own and (not group or key in members)
            for key, person in self.people.items()
        )

    def _count(self, event: Event) -> None:
        moment, group = " ".join(event.text.split()), " ".join(event.group.split())
        key = (alike(moment), alike(group))
        count = Count(
            event.by.strip(),
            event.at,
            event.value or 0.0,
            self._listed(alike(group)),
            self.moves,
            event.identity.strip(),
        )
        first = self.alone.pop(key, None)
        if first is None:
            self.alone[key] = count
        elif alike(first.by) == alike(count.by) or (first.identity and first.identity == count.identity):
            told = f"the same person had counted {first.people:g} before; the new number counts."
            self._note(event, f"{self._said(event)}: {told}")
            self.alone[key] = count
        elif first.fits and count.fits and first.moves != count.moves:
            told = f"the list changed since {first.by} counted, so {first.by} counts again."
            self._note(event, f"{self._said(event)}: {told}")
            self.alone[key] = count
        else:
            pair = CountPair(moment, group, first, count)
            self.pairs.append(pair)
            if pair.agree:
                self._settle(key[1], event)
            else:
                self.apart[key[1]] = self.apart.get(key[1], 0) + 1

    def _settle(self, group: str, event: Event) -> None:
        """Let a pair that agrees end what was open before it: of its group, or of all where everybody was counted."""
        self.apart = {other: times for other, times in self.apart.items() if group and other != group}
        for key, count in list(self.alone.items()):
            if not group or key[1] == group:
                del self.alone[key]
                self._note(
                    event, f"Nobody counted with {count.by}, who found {count.people:g} at {self._clock(count.at)}."
                )

    def _trouble(self) -> Alarm | None:
        """Return what is wrong with the counts, apart from any dive."""
        if self.apart:
            last = next(pair for pair in reversed(self.pairs) if not pair.agree)
            again = sum(self.apart.values()) > 1
            todo = f"The counts did not agree for the second time. {START_THE_STEPS}" if again else RECOUNT
            slug = "missing-diver" if again else "recount"
            return Alarm(slug, last.moment or "count", f"{self._pair_words(last)} {todo}", last.second.at)
        off = next((count for count in reversed(self.alone.values()) if not count.fits), None)
        if off is None:
            return None
        sentence = (
            f"{off.by} counted {off.people:g} at {self._clock(off.at)}; the list had {off.listed} ashore. A second "
            "person counts now, everybody by name."
        )
        return Alarm("recount", off.by, sentence, off.at)

    def _head_count(self, overdue: Sequence[DiveNow]) -> HeadCount:
        trouble = self._trouble()
        waiting = next(reversed(self.alone.values()), None)
        state: CountState
        if overdue or (trouble is not None and trouble.slug == "missing-diver"):
            state = "missing-diver"
            said = [f"{_dive_words(dive.group, dive.number)}, is overdue. {START_THE_STEPS}" for dive in overdue]
            sentence = " ".join((*said, *([trouble.sentence] if trouble is not None else [])))
        elif trouble is not None:
            state, sentence = "recount", trouble.sentence
        elif waiting is not None:
            state = "one"
            sentence = (
                f"{waiting.by} counted {waiting.people:g} at {self._clock(waiting.at)}. A second person counts the "
                "same moment, without being told the number."
            )
        elif self.pairs:
            state, sentence = "agree", self._pair_words(self.pairs[-1])
        else:
            state = "none"
            sentence = "Nobody has counted yet. Two people count, each for themselves, and write it down."
        return HeadCount(state, sentence, tuple(self.pairs))

    def _pair_words(self, pair: CountPair) -> str:
        first, second = pair.first, pair.second
        of = f" of {pair.group}" if pair.group else ""
        when = f"({pair.moment}, {self._clock(second.at)})" if pair.moment else f"({self._clock(second.at)})"
        if pair.agree:
            return (
                f"{first.by} and {second.by} each counted {second.people:g}{of} {when}, as many as the list has ashore."
            )
        listed = f"{second.listed}" if first.listed == second.listed else f"{first.listed}, then {second.listed}"
        return (
            f"{first.by} counted {first.people:g} and {second.by} {second.people:g}{of} {when}; the list had {listed} "
            "ashore."
        )

    # ---- dives ----

    def _out_by(self, stay: _Stay) -> datetime | None:
        """Return when somebody in the water is overdue; None where no plan says."""
        plan = self._plan_of(stay) if stay.own else None
        if plan is None or plan.exit_by is None:
            return None
        if plan.water_time_min is None:
            return plan.exit_by
        minutes = plan.water_time_min + self.rules.value("overdue.after_min")
        early = stay.entry.at.astimezone(UTC) + timedelta(
            minutes=minutes
        )  # in before the planned minute, due before it
        return min(plan.exit_by, early, key=lambda moment: moment.timestamp())

    def _plan_of(self, stay: _Stay) -> DivePlan | None:
        """Return the plan of the dive that somebody is on; None where it is not planned."""
        return with_person(self.plans.get((alike(stay.entry.group), stay.entry.dive), ()), stay.person)

    def _dives_now(self) -> tuple[DiveNow, ...]:
        unplanned: dict[_Key, str] = {}
        for stay in self.stays:
            key = (alike(stay.entry.group), stay.entry.dive)
            if stay.own and key not in self.plans:
                unplanned.setdefault(key, " ".join(stay.entry.group.split()))
        return (
            *(self._dive_now(key, dive.group, dive) for key, same in self.plans.items() for dive in same),
            *(self._dive_now(key, group, None) for key, group in unplanned.items()),
        )

    def _dive_now(self, key: _Key, group: str, plan: DivePlan | None) -> DiveNow:
        stays = [
            stay
            for stay in self.stays
            if stay.own and (alike(stay.entry.group), stay.entry.dive) == key and self._plan_of(stay) is plan
        ]
        inside = [stay for stay in stays if stay.out_at is None]
        in_water = tuple(stay.person for stay in inside)
        should_be = planned_people(plan) if plan is not None else ()
        known = {alike(stay.person) for stay in stays}
        limits = [limit for stay in inside if (limit := self._out_by(stay)) is not None]
        out_by = min(limits, key=lambda moment: moment.timestamp()) if limits else plan.exit_by if plan else None
        ended = [stay.out_at for stay in stays if stay.out_at is not None]
        overdue = _minutes_past(self.now, out_by) if inside else None
        shown = DiveNow(
            group=group,
            number=key[1],
            planned=plan is not None,
            state="not_started",
            words="",
            entry=plan.entry if plan else None,
            exit=plan.exit if plan else None,
            exit_by=plan.exit_by if plan else None,
            out_by=out_by,
            should_be=should_be,
            in_water=in_water,
            came_out=tuple(dict.fromkeys(stay.person for stay in stays if stay.person not in in_water)),
            never_in=tuple(name for name in should_be if alike(name) not in known),
            started=stays[0].entry.at if stays else None,
            ended=max(ended, key=lambda moment: moment.timestamp()) if ended and not inside else None,
            overdue_min=overdue,
        )
        return self._with_words(shown)

    def _with_words(self, dive: DiveNow) -> DiveNow:
        state: DiveState
        late = f" Never in: {_names(dive.never_in)}." if dive.started and dive.never_in else ""
        if dive.in_water and dive.overdue_min is not None and dive.out_by is not None:
            state, since = "overdue", self._clock(dive.out_by)
            words = f"OVERDUE since {since}, {dive.overdue_min} min: {_names(dive.in_water)} in the water."
        elif dive.in_water and _minutes_past(self.now, dive.exit) is not None and dive.exit is not None:
            state, by = "late", f"; overdue from {self._clock(dive.out_by)}" if dive.out_by else ""
            words = f"{_names(dive.in_water)} in the water, planned out at {self._clock(dive.exit)}{by}."
        elif dive.in_water:
            state = "in_water"
            by = f"out by {self._clock(dive.out_by)}" if dive.out_by else "no time is planned by which they are overdue"
            words = f"{_names(dive.in_water)} in the water, {by}."
        elif dive.ended is not None:
            state, words = "over", f"All out since {self._clock(dive.ended)}."
        elif dive.entry is None:
            state, words = "no_time", "No time is planned for this dive."
        elif _minutes_past(self.now, dive.entry) is not None:
            state, words = "due", f"Planned in at {self._clock(dive.entry)}; nobody has gone in."
        else:
            state, words = "not_started", f"Planned in at {self._clock(dive.entry)}."
        return replace(dive, state=state, words=words + late)

    # ---- the whole ----

    def _all_alarms(self, dives: Sequence[DiveNow]) -> Iterator[Alarm]:
        yield from self.alarms
        for dive in dives:
            if dive.overdue_min is not None and dive.out_by is not None:
                late = [
                    stay.person
                    for stay in self.stays
                    if stay.out_at is None
                    and stay.person in dive.in_water
                    and _minutes_past(self.now, self._out_by(stay)) is not None
                ]
                sentence = (
                    f"OVERDUE: {_dive_words(dive.group, dive.number)}: {_names(late)} had to be out by "
                    f"{self._clock(dive.out_by)}, {dive.overdue_min} min ago. {START_THE_STEPS}"
                )
                yield Alarm("overdue", _dive_words(dive.group, dive.number), sentence, dive.out_by)
        for stay in (stay for stay in self.stays if stay.out_at is None):
            yield from self._stay_alarms(stay)
        if (trouble := self._trouble()) is not None:
            yield trouble
        for dive in dives:
            if dive.entry is None or _minutes_past(self.now, dive.entry) is None:
                continue
            for name in dive.never_in:
                if self._person(name).where == "expected":
                    sentence = (
                        f"{name} was to go in on {_dive_words(dive.group, dive.number)} at {self._clock(dive.entry)}, "
                        "and nobody has written that they came: ask where they are."
                    )
                    yield Alarm("not-here", name, sentence, dive.entry)

    def _stay_alarms(self, stay: _Stay) -> Iterator[Alarm]:
        event, name = stay.entry, stay.person
        dive, since = _dive_of(event), self._clock(event.at)
        yield from stay.alarms
        if not stay.own:
            sentence = (
                f"{name} went in on {dive} at {since}, on {event.day.day} {event.day:%B} at {event.site}, and no entry "
                f"says that they came out. Find {name} now."
            )
            yield Alarm("in-water-another-day", name, sentence, event.at)
            return
        if self._out_by(stay) is None:
            sentence = (
                f"{name} is in the water since {since} on {dive}, and no time is planned by which they are overdue: "
                "agree on one now and write it down."
            )
            yield Alarm("no-out-by", name, sentence, event.at)
        plan = self._plan_of(stay)
        if plan is not None and alike(name) not in {alike(each) for each in planned_people(plan)}:
            sentence = f"{name} is in the water since {since} on {dive}, for which they are not planned."
            yield Alarm("not-of-the-dive", name, sentence, event.at)

    def _missing(self, count: HeadCount) -> Iterator[str]:
        """Yield what is missing until the site is clear."""
        for person in self.people.values():
            if person.stay is not None:
                yield f"{person.name} is in the water ({_dive_of(person.stay.entry)})."
            elif person.where == "expected":
                known = "was expected" if person.expected else "is named in an entry"
                yield (
                    f"{person.name} {known}, and no entry that holds says where they are: write that they came or, "
                    "where they stayed away, that they left, and why."
                )
        if count.state != "agree":
            yield count.sentence
            return
        pair = self.pairs[-1]
        if pair.group:
            yield f"The last two counts are of {pair.group} only: two people count everybody."
        elif self.last_swim is not None and pair.first.at.timestamp() < self.last_swim.timestamp():
            yield (
                f"The last two counts were made before somebody went in or out at {self._clock(self.last_swim)}: two "
                "people count everybody again."
            )

    def shown(self) -> LiveDay:
        dives = self._dives_now()
        count = self._head_count([dive for dive in dives if dive.overdue_min is not None])
        alarms = sorted(
            self._all_alarms(dives),
            key=lambda alarm: (DANGER.index(alarm.slug), alarm.since.timestamp(), alarm.subject, alarm.sentence),
        )
        missing = tuple(self._missing(count))
        people = tuple(self._shown(person) for person in self.people.values())

        def names(where: Where) -> tuple[str, ...]:
            return tuple(person.name for person in people if person.where == where)

        return LiveDay(
            day=self.day,
            site=self.site,
            now=self.now,
            people=people,
            in_water=names("in_water"),
            ashore=names("ashore"),
            left=names("left"),
            not_here=names("expected"),
            entered=sum(person.entered for person in people),
            came_out=sum(person.came_out for person in people),
            dives=dives,
            count=count,
            alarms=tuple(dict.fromkeys(alarms)),
            odd=tuple(sentence for _, sentence in sorted(self.odd, key=lambda item: item[0])),
            clear=not missing,
            missing=missing,
        )

    def _shown(self, person: _Person) -> PersonNow:
        stay = person.stay
        out_by = self._out_by(stay) if stay is not None else None
        return PersonNow(
            name=person.name,
            where=person.where,
            since=person.since,
            group=" ".join(stay.entry.group.split()) if stay is not None else "",
            dive=stay.entry.dive if stay is not None else 0,
            out_by=out_by,
            overdue_min=_minutes_past(self.now, out_by),
            of_today=person.expected or person.named_here,
            entered=person.entered,
            came_out=person.came_out,
            notes=tuple(person.notes),
        )


def with_person(dives: Sequence[DivePlan], name: str) -> DivePlan | None:
    """Return which of several dives of one name somebody is planned for, else the first; None where there is none."""
    mine = (dive for dive in dives if alike(name) in {alike(each) for each in planned_people(dive)})
    return next(mine, dives[0] if dives else None)


def planned_people(dive: DivePlan) -> tuple[str, ...]:
    """Return everybody whom a plan puts into the water on a dive: leader, assistants and divers, each once."""
    names = ((dive.leader,) if dive.leader else ()) + dive.assistants + dive.divers
    return tuple({alike(name): name for name in (*names, *(person.name for person in dive.people))}.values())
