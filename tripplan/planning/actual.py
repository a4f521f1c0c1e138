"""What a dive really was, beside what was planned, and what the next plan has to reckon with.

The record of each person and dive is worked out from the entries of the beach. What nobody wrote down is a gap in
words, and where the next plan needs a number all the same, the one that burdens the diver more is taken.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, tzinfo

from tripplan.check import Check, Outcome
from tripplan.errors import OutOfRange
from tripplan.planning.event import OF_A_DIVE, Event, EventKind
from tripplan.planning.live import NO_DISCOMFORT, alike, day_and_site, planned_people, standing, with_person
from tripplan.planning.plan import DivePlan, PersonDive
from tripplan.planning.request import RecentDive

LONGEST_MIN = 1440  # of a recent dive in a request
AIR_PERCENT = 21.0
UNKNOWN_DIVE = "Dive not known"  # stands for the group where nobody wrote of which dive somebody came out
_DIVED: tuple[EventKind, ...] = ("in", "out", "end_bar", "depth", "discomfort", "signed", "verified")  # a dive was made
_BURDEN = ("actual-planned", "actual-depth", "actual-depth-limit", "actual-time", "actual-interval", "actual-no-stop")
OMITTED_STOP = (
    "Tell the dive director now and treat it as a stop left out: follow your training and the local protocol. Nobody "
    "plans another dive for {name} before that is settled."
)


@dataclass(frozen=True)
class Signature:
    """Who signed for a dive."""

    by: str
    identity: str  # empty: none was given
    at: datetime


@dataclass(frozen=True)
class Planned:
    """What the plan had for a person on a dive."""

    entry: datetime | None
    exit: datetime | None
    exit_by: datetime | None
    depth_m: float | None
    depth_limit_m: float | None  # the tighter of the dive's and the person's own
    bottom_min: int | None
    water_min: int | None
    no_stop_min: int | None  # at the planned depth; None: no limit, or not known
    no_stop_known: bool
    surface_interval_min: int | None  # the shortest of the dive's people
    group_before: str | None  # handbook repetitive group
    group_after: str | None
    reserve_bar: float | None  # on the gauge when out; None: gas was not reckoned
    cylinder_l: float | None
    partners: tuple[str, ...]


@dataclass(frozen=True)
class ActualDive:
    """One dive of one person as it was; None where nobody wrote it down."""

    day: date
    site: str
    group: str
    number: int
    person: str
    began: datetime | None  # when the first of the dive's people went in
    ended: datetime | None  # when the last came out; None while anybody is not known to be out
    deepest_m: float | None  # of anybody on the dive
    time_in: datetime | None
    time_out: datetime | None
    interval_min: int | None  # ashore since the person's dive before on this day, rounded down; None: first, or unknown
    elapsed_min: int | None  # from going in to being out, rounded up
    depth_m: float | None  # greatest, rounded up to 0.1 m
    start_bar: float | None
    end_bar: float | None
    used_l: int | None  # litres of the cylinder times bar, rounded up; None where the cylinder is not known
    oxygen_percent: float | None  # as planned
    discomfort: tuple[str, ...]  # empty: nobody asked; "none" is an answer
    signed: Signature | None  # by the diver
    verified: Signature | None  # by an authorised person
    planned: Planned | None
    checks: tuple[Check, ...]
    gaps: tuple[str, ...]  # what is missing or was written more than once

    @property
    def words(self) -> str:
        """Which dive it is."""
        if not self.number:
            return f"{self.person}, dive not known"
        return f"{self.person}, {self.group}, dive {self.number}"


@dataclass(frozen=True)
class _Key:
    """Of a dive: a group is compared as names are."""

    day: date
    site: str
    group: str
    number: int


_Plans = dict[_Key, list[DivePlan]]  # more than one: two requests have a group of that name


@dataclass
class _Swim:
    """What was written of one person's going in and coming out on one dive."""

    ins: list[datetime] = field(default_factory=list)
    outs: list[datetime] = field(default_factory=list)
    inside: bool = False
    notes: list[str] = field(default_factory=list)

    @property
    def time_in(self) -> datetime | None:
        return self.ins[0] if self.ins else None

    @property
    def time_out(self) -> datetime | None:
        """The last coming out; None while no entry ends the last going in."""
        return None if self.inside or not self.outs else self.outs[-1]


def actual_dives(events: Iterable[Event], dives: Sequence[DivePlan]) -> tuple[ActualDive, ...]:
    """Return what was written of every person on every dive that was made, in the order of the plan.

    events -- in order of arrival;  dives -- as planned

    Whoever was planned for a dive that others made is here too, with what is missing: nobody is taken as having stayed
    ashore because nobody wrote anything. Whoever came out of a dive that cannot be told is here with a dive without
    group and number. Source: AU_WHS (what a dive record holds).
    """
    held = standing(events)
    day, _ = day_and_site(dives, held.entries)
    plans: _Plans = {}
    for dive in dives:
        plans.setdefault(_Key(day, dive.site, alike(dive.group), dive.number), []).append(dive)
    names = {alike(name): name for name in held.names}
    names |= {alike(name): name for dive in dives for name in planned_people(dive)}
    zone = next((dive.entry.tzinfo for dive in dives if dive.entry is not None), None)
    written: dict[_Key, dict[str, list[Event]]] = {}
    groups: dict[_Key, str] = {key: same[0].group for key, same in plans.items()}
    made: dict[_Key, None] = {}
    swims, told = _swims(held.entries, plans, zone)
    for event in held.entries:
        if event.kind not in OF_A_DIVE and event.kind != "out":
            continue
        key = _key_of(event) if event.kind != "out" or (event.group and event.dive) else told.get(event.uid)
        if key is None:
            continue  # coming out of a dive that they had gone in on
        groups.setdefault(key, " ".join(event.group.split()) if key.number else UNKNOWN_DIVE)
        written.setdefault(key, {}).setdefault(alike(event.person), []).append(event)
        if event.kind in _DIVED:
            made[key] = None
    found: list[ActualDive] = []
    for key in (*(key for key in plans if key in made), *(key for key in made if key not in plans)):
        same = plans.get(key, [])
        people = dict.fromkeys((*(alike(name) for plan in same for name in planned_people(plan)), *written[key]))
        every = [swims.get((person, key), _Swim()) for person in people]
        ins = [swim.time_in for swim in every if swim.time_in is not None]
        outs = [swim.time_out for swim in every if swim.time_out is not None]
        inside = any(swim.inside for swim in every)
        depths = [value for entries in written[key].values() for value in _values(entries, "depth") if value > 0]
        for person, swim in zip(people, every, strict=True):
            found.append(
                _actual(
                    key,
                    groups[key],
                    names[person],
                    swim,
                    written[key].get(person, []),
                    with_person(same, person),
                    began=min(ins, key=lambda moment: moment.timestamp()) if ins else None,
                    ended=max(outs, key=lambda moment: moment.timestamp()) if outs and not inside else None,
                    deepest_m=max(depths, default=None),
                )
            )
    return _checked_in_turn(found, plans)


def _checked_in_turn(dives: Sequence[ActualDive], plans: _Plans) -> tuple[ActualDive, ...]:
    """Hold every dive against the plan, each person's in order of time: an earlier one may have spoilt a later plan."""
    before: dict[tuple[date, str], ActualDive] = {}
    done: dict[int, ActualDive] = {}
    for index in sorted(range(len(dives)), key=lambda number: _when(dives[number])):
        dive = dives[index]
        key = (dive.day, alike(dive.person))
        earlier = before.get(key)
        if earlier is not None and earlier.time_out is not None and dive.time_in is not None:
            ashore = math.floor(round((dive.time_in.timestamp() - earlier.time_out.timestamp()) / 60, 6))
            dive = replace(dive, interval_min=max(ashore, 0))
        same = plans.get(_Key(dive.day, dive.site, alike(dive.group), dive.number), [])
        plan = with_person(same, alike(dive.person))
        done[index] = before[key] = _checked(dive, plan, earlier)
    return tuple(done[index] for index in range(len(dives)))


def _when(dive: ActualDive) -> tuple[float, int]:
    planned = dive.planned.entry if dive.planned else None
    moment = next((m for m in (dive.time_in, dive.began, planned, dive.time_out) if m is not None), None)
    return (moment.timestamp() if moment is not None else math.inf, dive.number)


def _clock(moment: datetime, zone: tzinfo | None) -> str:
    """Return a time by the clock of the plan, or by that of the entry where nothing is planned."""
    return f"{moment.astimezone(zone) if zone is not None else moment:%H:%M}"


def _key_of(event: Event) -> _Key:
    return _Key(event.day, event.site, alike(event.group), event.dive)


def _swims(
    entries: Sequence[Event], plans: _Plans, zone: tzinfo | None
) -> tuple[dict[tuple[str, _Key], _Swim], dict[str, _Key]]:
    """Return each person's going in and coming out by dive, and the dive of each coming out that names none.

    Coming out without a dive ends the one last gone in on. Where going in was not written, it ends the dive that the
    person is planned for, that others have begun last and of which nothing else is written of the person; where there
    is none, nobody can tell which dive it was. Where one coming out is written twice, the later counts: longer in the
    water and shorter at the surface burdens the diver more.
    """
    swims: dict[tuple[str, _Key], _Swim] = {}
    latest: dict[str, list[_Key]] = {}  # dives that a person is in, the last one last
    told: dict[str, _Key] = {}  # by mark of the entry, where the person had not gone in
    begun: dict[_Key, None] = {}  # dives that somebody went in on, the last one last
    for event in entries:
        person = alike(event.person)
        clock = _clock(event.at, zone)
        if event.kind == "in":
            key = _key_of(event)
            swim = swims.setdefault((person, key), _Swim())
            if swim.inside:
                swim.notes.append(f"going in is written again at {clock}; the first counts")
                continue
            if swim.ins:
                swim.notes.append(f"went in again at {clock}: counted as one dive, from the first in to the last out")
            elif swim.outs:
                swim.notes.append(f"coming out at {_clock(swim.outs[-1], zone)} is written before going in")
            swim.ins.append(event.at)
            swim.inside = True
            begun[key] = begun.pop(key, None)
            latest.setdefault(person, []).append(key)
        elif event.kind == "out":
            inside = latest.setdefault(person, [])
            if event.group and event.dive:
                key = _key_of(event)
            elif inside:
                key = inside[-1]
            else:
                not_known = _Key(event.day, event.site, "", 0)
                open_ones = (
                    each
                    for each in reversed(begun)
                    if (each.day, each.site) == (event.day, event.site) and (person, each) not in swims
                    if any(person == alike(name) for plan in plans.get(each, ()) for name in planned_people(plan))
                )
                key = told[event.uid] = next(open_ones, not_known)
            swim = swims.setdefault((person, key), _Swim())
            if swim.outs and not swim.inside:
                swim.notes.append(f"coming out is written more than once; {clock} counts")
            swim.outs.append(event.at)
            swim.inside = False
            latest[person] = [other for other in inside if other != key]
    return swims, told


def _actual(
    key: _Key,
    group: str,
    name: str,
    swim: _Swim,
    written: Sequence[Event],
    plan: DivePlan | None,
    *,
    began: datetime | None,
    ended: datetime | None,
    deepest_m: float | None,
) -> ActualDive:
    gaps: list[str] = []
    time_in, time_out = swim.time_in, swim.time_out
    if not written:
        gaps.append(f"nobody has written that {name} went in, or that {name} stayed ashore")
    if time_in is None:
        gaps.append("time in not written down")
    if time_out is None:
        gaps.append("time out not written down")
    elapsed: int | None = None
    if time_in is not None and time_out is not None:
        elapsed = max(_minutes(time_in, time_out), 1)
    depths = [value for value in _values(written, "depth") if value > 0]
    if not depths:
        gaps.append("greatest depth not written down")
    starts, ends = _values(written, "start_bar"), _values(written, "end_bar")
    gaps.extend(
        f"{what} not written down"
        for what, values in (("pressure before the dive", starts), ("pressure after the dive", ends))
        if not values
    )
    for what, values in (("greatest depth", depths), ("pressure before", starts), ("pressure after", ends)):
        if len(set(values)) > 1:
            said = ", ".join(f"{value:g}" for value in values)
            gaps.append(f"{what} is written more than once ({said}); what burdens the diver more counts")
    start_bar, end_bar = max(starts, default=None), min(ends, default=None)
    planned = _planned(name, plan)
    used_l: int | None = None
    if start_bar is not None and end_bar is not None:
        if end_bar > start_bar:
            gaps.append(f"pressure after the dive, {end_bar:g} bar, is above the one before, {start_bar:g} bar")
        elif planned is not None and planned.cylinder_l is not None:
            used_l = math.ceil(round(planned.cylinder_l * (start_bar - end_bar), 6))
        else:
            gaps.append("gas used not known, as the cylinder is not in the plan")
    discomfort = tuple(event.text.strip() for event in written if event.kind == "discomfort")
    if not discomfort:
        gaps.append("whether anything was felt not written down")
    signed, verified = _signature(written, "signed"), _signature(written, "verified")
    gaps.extend(_signature_gaps(name, signed, verified))
    gaps.extend(swim.notes)
    person = _person_dive(name, plan)
    return ActualDive(
        day=key.day,
        site=key.site,
        group=group,
        number=key.number,
        person=name,
        began=began,
        ended=ended,
        deepest_m=None if deepest_m is None else _tenth_up(deepest_m),
        time_in=time_in,
        time_out=time_out,
        interval_min=None,
        elapsed_min=elapsed,
        depth_m=_tenth_up(max(depths)) if depths else None,
        start_bar=start_bar,
        end_bar=end_bar,
        used_l=used_l,
        oxygen_percent=person.oxygen_percent if person else None,
        discomfort=discomfort,
        signed=signed,
        verified=verified,
        planned=planned,
        checks=(),
        gaps=tuple(gaps),
    )


def _minutes(start: datetime, end: datetime) -> int:
    """Return elapsed minutes, rounded up."""
    return math.ceil(round((end.timestamp() - start.timestamp()) / 60, 6))


def _tenth_up(depth_m: float) -> float:
    """Return a depth rounded up to 0.1 m."""
    return math.ceil(round(depth_m * 10, 6)) / 10


def _values(written: Sequence[Event], kind: EventKind) -> list[float]:
    return [event.value for event in written if event.kind == kind and event.value is not None]


def _signature(written: Sequence[Event], kind: EventKind) -> Signature | None:
    """Return the last signature of a kind."""
    found = [event for event in written if event.kind == kind]
    return Signature(found[-1].by.strip(), found[-1].identity.strip(), found[-1].at) if found else None


def _signature_gaps(name: str, signed: Signature | None, verified: Signature | None) -> Iterator[str]:
    """Yield what is missing: the diver signs, and so does somebody else, each with name and identity."""
    if signed is None:
        yield "not signed by the diver"
    elif alike(signed.by) != alike(name):
        yield f"signed by {signed.by}, not by the diver"
    if verified is None:
        yield "not verified by an authorised person"
    elif alike(verified.by) == alike(name) or (signed and signed.identity and signed.identity == verified.identity):
        yield "verified by the diver: another, authorised person has to"
    for what, signature in (("diver", signed), ("authorised person", verified)):
        if signature is not None and not signature.identity:
            yield f"the signature of the {what} has no identity"


def _person_dive(name: str, plan: DivePlan | None) -> PersonDive | None:
    return next((person for person in plan.people if alike(person.name) == alike(name)), None) if plan else None


def _planned(name: str, plan: DivePlan | None) -> Planned | None:
    if plan is None or alike(name) not in {alike(each) for each in planned_people(plan)}:
        return None
    person = _person_dive(name, plan)
    limits = [limit for limit in (plan.depth.value, person.depth_limit_m if person else None) if limit is not None]
    pair = next((pair for pair in plan.pairs if alike(name) in map(alike, pair)), ())
    return Planned(
        entry=plan.entry,
        exit=plan.exit,
        exit_by=plan.exit_by,
        depth_m=plan.depth_m,
        depth_limit_m=min(limits, default=None),
        bottom_min=plan.bottom_time_min,
        water_min=plan.water_time_min,
        no_stop_min=person.no_stop_min if person else None,
        no_stop_known=person is not None,
        surface_interval_min=plan.surface_interval_min,
        group_before=person.group_before if person else None,
        group_after=person.group_after if person else None,
        reserve_bar=plan.gas.surface_with_bar if plan.gas else None,
        cylinder_l=plan.gas.cylinder_l if plan.gas else None,
        partners=tuple(each for each in pair if alike(each) != alike(name)),
    )


# ---- beside the plan ----


def _checked(dive: ActualDive, plan: DivePlan | None, earlier: ActualDive | None) -> ActualDive:
    checks: list[Check] = []
    if plan is None or dive.planned is None:
        sentence = f"{dive.words}: this dive is not in the plan, so there is nothing to hold it against."
        checks.append(Check("actual-planned", Outcome.CAUTION, sentence, "REQUEST", subject=dive.words))
    else:
        checks.extend(_check_depth(dive, dive.planned, plan))
        checks.append(_check_time(dive, dive.planned))
        interval = [] if earlier is None else [_check_interval(dive, dive.planned, earlier)]
        checks.extend(interval)
        checks.append(_still_known(_check_no_stop(dive, dive.planned, plan), earlier, interval))
        checks.append(_check_exit_by(dive, dive.planned))
        checks.append(_check_reserve(dive, dive.planned))
    felt = [text for text in dive.discomfort if alike(text).rstrip(".") != NO_DISCOMFORT]
    if felt:
        sentence = (
            f"{dive.words}: {'; '.join(felt)}. Open the steps for bubble illness on the emergency sheet: whoever feels "
            "unwell after a dive is treated as ill until a diving doctor says otherwise, and does not dive again."
        )
        checks.append(Check("discomfort", Outcome.STOP, sentence, "COMMON_PRACTICE", subject=dive.words))
    complete = not dive.gaps
    sentence = f"{dive.words}: the record is complete." if complete else f"{dive.words}: {'; '.join(dive.gaps)}."
    outcome = Outcome.OK if complete else Outcome.CAUTION
    checks.append(Check("record-complete", outcome, sentence, "AU_WHS", len(dive.gaps), 0, subject=dive.words))
    return replace(dive, checks=tuple(checks))


def _not_judged(rule: str, dive: ActualDive, why: str, source: str) -> Check:
    return Check(rule, Outcome.CAUTION, f"{dive.words}: {why}.", source, subject=dive.words)


def _check_depth(dive: ActualDive, planned: Planned, plan: DivePlan) -> Iterator[Check]:
    depth_m = dive.depth_m
    if depth_m is None:
        yield _not_judged(
            "actual-depth", dive, "greatest depth not written down, so it is held against no limit", "REQUEST"
        )
        return
    if planned.depth_m is None:
        yield _not_judged("actual-depth", dive, "no depth was planned", "REQUEST")
    else:
        deeper = depth_m > planned.depth_m
        words = f"{depth_m - planned.depth_m:.1f} m deeper than planned" if deeper else "as planned or shallower"
        yield Check(
            "actual-depth",
            Outcome.CAUTION if deeper else Outcome.OK,
            f"{dive.words}: {depth_m:.1f} m, {words} ({planned.depth_m:g} m).",
            "REQUEST",
            depth_m,
            planned.depth_m,
            "m",
            dive.words,
        )
    if planned.depth_limit_m is None:
        yield _not_judged("actual-depth-limit", dive, "no depth limit is known", "REQUEST")
        return
    beyond = depth_m > planned.depth_limit_m
    binding = plan.depth.binding
    broken = [c.sentence for c in plan.depth.candidates if c.value is not None and c.value < depth_m]
    because = f" ({'; '.join(broken)})" if broken else ""
    yield Check(
        "actual-depth-limit",
        Outcome.STOP if beyond else Outcome.OK,
        f"{dive.words}: {depth_m:.1f} m, beyond the limit of {planned.depth_limit_m:g} m{because}. Tell the dive "
        "director before anybody plans the next dive."
        if beyond
        else f"{dive.words}: {depth_m:.1f} m, within the limit of {planned.depth_limit_m:g} m.",
        binding.source if binding else "REQUEST",
        depth_m,
        planned.depth_limit_m,
        "m",
        dive.words,
    )


def _check_time(dive: ActualDive, planned: Planned) -> Check:
    if dive.elapsed_min is None:
        return _not_judged("actual-time", dive, "time in the water not known, so it is held against no plan", "REQUEST")
    if planned.water_min is None:
        return _not_judged("actual-time", dive, "no time in the water was planned", "REQUEST")
    longer = dive.elapsed_min - planned.water_min
    words = f"{longer} min longer than planned" if longer > 0 else "as planned or shorter"
    return Check(
        "actual-time",
        Outcome.CAUTION if longer > 0 else Outcome.OK,
        f"{dive.words}: {dive.elapsed_min} min in the water, {words} ({planned.water_min} min).",
        "REQUEST",
        dive.elapsed_min,
        planned.water_min,
        "min",
        dive.words,
    )


def _check_no_stop(dive: ActualDive, planned: Planned, plan: DivePlan) -> Check:
    """Judge whether a stop may have been left out, by what the plan knows.

    Every minute in the water beyond the planned ones counts as bottom time. The plan knows the no-stop time at its own
    depth, and the depth down to which its own bottom time needs no stop; between the two nothing was reckoned.
    """
    rule, source = "actual-no-stop", "NAVY_7"
    if not planned.no_stop_known or planned.depth_m is None or planned.bottom_min is None or planned.water_min is None:
        return _not_judged(rule, dive, "no no-stop time was reckoned: read the tables before the next dive", source)
    if dive.elapsed_min is None:
        return _not_judged(rule, dive, "time in the water not known: nobody can say that no stop was left out", source)
    bottom = min(planned.bottom_min + max(dive.elapsed_min - planned.water_min, 0), dive.elapsed_min)
    limit = planned.no_stop_min
    told = OMITTED_STOP.format(name=dive.person)

    def found(outcome: Outcome, words: str) -> Check:
        return Check(rule, outcome, f"{dive.words}: {words}", source, bottom, limit, "min", dive.words)

    depth_words = "at a depth that is not written down" if dive.depth_m is None else f"at {dive.depth_m:.1f} m"
    counted = f"up to {bottom} min at the bottom {depth_words}"
    if limit is not None and bottom > limit:
        shallower = dive.depth_m is not None and dive.depth_m < planned.depth_m
        hint = " The time at the lesser depth is longer and was not reckoned." if shallower else ""
        return found(
            Outcome.STOP,
            f"{counted}, beyond the no-stop time of {limit} min at {planned.depth_m:g} m.{hint} {told}",
        )
    if dive.depth_m is None:
        return found(Outcome.CAUTION, f"{counted}: nobody can say that no stop was left out.")
    if dive.depth_m <= planned.depth_m:
        words = "there is no limit" if limit is None else f"the no-stop time is {limit} min"
        return found(Outcome.OK, f"{counted}; at {planned.depth_m:g} m {words}.")
    down_to = next((c.value for c in plan.depth.candidates if c.name == "no-stop" and c.value is not None), None)
    if down_to is not None and dive.depth_m <= down_to and bottom <= planned.bottom_min:
        return found(Outcome.OK, f"{counted}; {planned.bottom_min} min need no stop down to {down_to:g} m.")
    if limit is None and (down_to is None or dive.depth_m <= down_to):
        return found(
            Outcome.CAUTION,
            f"{counted}; at {planned.depth_m:g} m there is no limit, and deeper none was reckoned: read the tables "
            "before anybody says that no stop was left out.",
        )
    return found(
        Outcome.STOP,
        f"{counted}, deeper than the planned {planned.depth_m:g} m, where the no-stop time is shorter and was not "
        f"reckoned. {told}",
    )


def _check_interval(dive: ActualDive, planned: Planned, earlier: ActualDive) -> Check:
    """Judge the time ashore since the person's dive before against the one that the plan left between the two."""
    rule, source = "actual-interval", "NAVY_RULES"
    before = f"{earlier.group}, dive {earlier.number}"
    if dive.interval_min is None:
        return _not_judged(rule, dive, f"time ashore since {before} not known", source)
    if planned.entry is None or earlier.planned is None or earlier.planned.exit is None:
        return _not_judged(rule, dive, f"no time ashore since {before} was planned", source)
    wanted = math.floor((planned.entry.timestamp() - earlier.planned.exit.timestamp()) / 60)
    short = dive.interval_min < wanted
    return Check(
        rule,
        Outcome.CAUTION if short else Outcome.OK,
        f"{dive.words}: {dive.interval_min} min ashore since {before}, {wanted} min planned.",
        source,
        dive.interval_min,
        wanted,
        "min",
        dive.words,
    )


def _still_known(check: Check, earlier: ActualDive | None, interval: Sequence[Check]) -> Check:
    """Take back a no-stop time that was reckoned for another dive before, or for a longer time ashore."""
    if check.outcome is not Outcome.OK or earlier is None:
        return check
    odd = [each for each in earlier.checks if each.rule in _BURDEN and each.outcome is not Outcome.OK]
    if not odd and all(each.outcome is Outcome.OK for each in interval):
        return check
    before = f"{earlier.group}, dive {earlier.number}"
    sentence = (
        f"{check.sentence} That was reckoned for the day as planned, and {before}, or the time ashore after it was not "
        "as planned or is not known: it holds only where this dive was planned again afterwards."
    )
    return replace(check, outcome=Outcome.CAUTION, sentence=sentence)


def _check_exit_by(dive: ActualDive, planned: Planned) -> Check:
    rule, source = "actual-out-by", "overdue.after_min"
    if dive.time_out is None:
        return _not_judged(rule, dive, "time out not written down, so it is held against no time to be out", source)
    if planned.exit_by is None:
        return _not_judged(rule, dive, "no time to be out was planned", source)
    late = dive.time_out.timestamp() > planned.exit_by.timestamp()
    zone = planned.exit_by.tzinfo
    out, by = f"{dive.time_out.astimezone(zone):%H:%M}", f"{planned.exit_by:%H:%M}"
    minutes = _minutes(planned.exit_by, dive.time_out)
    words = f"out at {out}, {minutes} min after the time to be out, {by}" if late else f"out at {out}; out by {by}"
    return Check(
        rule, Outcome.CAUTION if late else Outcome.OK, f"{dive.words}: {words}.", source, out, by, "", dive.words
    )


def _check_reserve(dive: ActualDive, planned: Planned) -> Check:
    rule, source = "actual-reserve", "gas.surface_with_bar"
    if dive.end_bar is None:
        return _not_judged(rule, dive, "pressure after the dive not written down, so the reserve is not judged", source)
    if planned.reserve_bar is None:
        return _not_judged(rule, dive, f"came up with {dive.end_bar:g} bar; no reserve was planned", source)
    short = dive.end_bar < planned.reserve_bar
    words = f", {planned.reserve_bar - dive.end_bar:g} bar less than" if short else "; at least"
    return Check(
        rule,
        Outcome.CAUTION if short else Outcome.OK,
        f"{dive.words}: came up with {dive.end_bar:g} bar{words} the planned {planned.reserve_bar:g} bar"
        + (": plan the next dive with more gas or less time." if short else "."),
        source,
        dive.end_bar,
        planned.reserve_bar,
        "bar",
        dive.words,
    )


# ---- for the next plan ----


def recent_dives_of(actuals: Sequence[ActualDive]) -> tuple[RecentDive, ...]:
    """Return dives as made, for the plan of the next one, by the time at which each ended.

    Nothing better is known than the time in the water: all of it counts as bottom time, and the time out as the time of
    surfacing. Where the depth is missing, the greater of the planned depth and the limit is taken, or what another of
    the dive wrote, if that is more; where the time in is missing, the earliest of the planned and the others' time, and
    no less than the planned time; and whoever was planned and of whom nothing is written counts as on the whole dive.
    ``check_recent_dives`` says what was assumed.

    Raises OutOfRange, naming everybody, where no assumption would be safe: a time out, or any depth, is missing.
    """
    found, faults = [], []
    for dive in actuals:
        try:
            found.append(_recent(dive)[0])
        except OutOfRange as error:
            faults.append(str(error))
    if faults:
        raise OutOfRange(" ".join(faults))
    return tuple(sorted(found, key=lambda dive: (dive.surfaced.timestamp(), alike(dive.person))))


def check_recent_dives(actuals: Sequence[ActualDive]) -> tuple[Check, ...]:
    """Return what ``recent_dives_of`` assumed or could not assume: one check for each dive."""
    checks = []
    for dive in actuals:
        try:
            recent, assumed = _recent(dive)
        except OutOfRange as error:
            checks.append(Check("recent-dive-known", Outcome.STOP, str(error), "COMMON_PRACTICE", subject=dive.words))
            continue
        taken = f"{dive.words}: the next plan reckons with {recent.depth_m:g} m for {recent.minutes} min"
        sentence = f"{taken}; {'; '.join(assumed)}." if assumed else f"{taken}, the whole time in the water."
        outcome = Outcome.CAUTION if assumed else Outcome.OK
        checks.append(Check("recent-dive-known", outcome, sentence, "COMMON_PRACTICE", subject=dive.words))
    return tuple(checks)


def _recent(dive: ActualDive) -> tuple[RecentDive, tuple[str, ...]]:
    """Return a dive as the next plan reckons with it, and what was assumed.  Raises OutOfRange."""
    planned, assumed = dive.planned, list[str]()
    if not dive.number:
        raise OutOfRange(
            f"{dive.words}: {dive.person} came out of the water, and nobody has written of which dive; write when "
            f"{dive.person} went in and on which dive, or take the entry back, before the next dive is planned."
        )
    unwritten = dive.time_in is None and dive.time_out is None
    out = dive.ended if unwritten else dive.time_out
    if out is None:
        raise OutOfRange(
            f"{dive.words}: when {dive.person} came out is not written down; write it before the next dive is planned."
        )
    if unwritten:
        assumed.append(
            f"nothing is written of {dive.person} going in or out: taken as on the whole dive with the others, until "
            "the last was out"
        )
    minutes = dive.elapsed_min
    if minutes is None:
        starts = [start for start in (dive.began, planned.entry if planned else None) if start is not None]
        since = [_minutes(start, out) for start in starts]
        minutes = max([*since, planned.water_min or 0 if planned else 0, 0])
        if minutes < 1:
            raise OutOfRange(
                f"{dive.words}: when {dive.person} went in is not written down and cannot be reckoned; write it before "
                "the next dive is planned."
            )
        if not unwritten:
            assumed.append("time in not written down: the earliest of the planned and the others' time was taken")
    depth_m = dive.depth_m
    if depth_m is None:
        known = [m for m in (planned.depth_m, planned.depth_limit_m) if m is not None and m > 0] if planned else []
        if not known:
            raise OutOfRange(
                f"{dive.words}: how deep {dive.person} was is neither written down nor planned; write it before the "
                "next dive is planned."
            )
        depth_m = max([*known, dive.deepest_m or 0.0])
        assumed.append(
            "greatest depth not written down: the greatest of the planned depth, the limit and the others' was taken"
        )
    if dive.oxygen_percent is None:
        assumed.append("the gas is not in the plan: taken as air")
    elif dive.oxygen_percent > AIR_PERCENT:
        assumed.append(
            f"{dive.oxygen_percent:g} % oxygen was planned, and no entry says that it was breathed: taken as planned, "
            "though after air more nitrogen is left"
        )
    recent = RecentDive(
        person=dive.person,
        depth_m=depth_m,
        minutes=min(max(minutes, 1), LONGEST_MIN),
        surfaced=out,
        oxygen_percent=AIR_PERCENT if dive.oxygen_percent is None else dive.oxygen_percent,
    )
    return recent, tuple(assumed)
