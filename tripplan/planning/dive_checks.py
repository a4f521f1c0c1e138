"""What is judged of one dive: its depth and bottom, its time, and what no-stop limits say of each person."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from tripplan.catalogue.site import Place
from tripplan.check import Check, Contest, Outcome
from tripplan.errors import OutOfRange
from tripplan.people.group import Kind
from tripplan.people.person import Person
from tripplan.physics.no_stop import NoStop
from tripplan.planning.request import DiveWish
from tripplan.planning.setting import GroupSetting
from tripplan.planning.timing import Ledger, Slot, mixes_of


def check_bottom(subject: str, kind: Kind, place: Place, contest: Contest) -> Check:
    """Judge the bottom of the place against the depth limit: nobody dives above a bottom that begins beyond it."""
    limit_m = contest.value or 0.0
    because = contest.binding.sentence if contest.binding else ""
    if place.shallowest_m > limit_m:
        outcome = Outcome.STOP
        words = f"{place.name} begins at {place.shallowest_m:g} m, beyond the limit of {limit_m:g} m ({because})"
    elif kind.training and place.deepest_m > limit_m:
        outcome = Outcome.CAUTION
        words = f"{place.name} goes on to {place.deepest_m:g} m, beyond the limit of {limit_m:g} m ({because}): "
        words += "the leader stays on the deep side"
    else:
        outcome = Outcome.OK
        words = f"{place.name} is {place.shallowest_m:g} to {place.deepest_m:g} m; the limit is {limit_m:g} m"
    return Check(
        "bottom-within-limit", outcome, f"{subject}: {words}.", "SITE_FILE", place.deepest_m, limit_m, "m", subject
    )


def day_already_spent(
    subject: str, people: Sequence[Person], held: GroupSetting, wish: DiveWish, ledger: Ledger
) -> list[Check]:
    """Return what stops somebody's dives for the whole day, reckoned at the last minute in which one may go in."""
    usable = held.window.usable()
    if not usable:
        return []
    descent = held.window.grid.minute_floor(usable[-1].entries[-1].end) - 1
    try:
        limits = [(p, ledger.limit(p.name, 1.0, mixes_of(held.group, wish)[p.name], descent)) for p in people]
    except OutOfRange as error:
        return [Check("no-stop-known", Outcome.STOP, f"{subject}: {error}.", "NAVY_7", subject=subject)]
    return [check for check in no_stop_checks(subject, limits) if check.outcome is Outcome.STOP]


def check_wishes(subject: str, wish: DiveWish, fixed_m: float, contest: Contest) -> list[Check]:
    if wish.depth_m is None:
        return []
    fits = wish.depth_m <= fixed_m
    because = contest.binding.sentence if contest.binding else ""
    source = contest.binding.source if contest.binding else "REQUEST"
    sentence = f"{subject}: {wish.depth_m:g} m is wished; before time counts, the limit is {fixed_m:g} m ({because})."
    outcome = Outcome.OK if fits else Outcome.STOP
    return [Check("depth-within-limit", outcome, sentence, source, wish.depth_m, fixed_m, "m", subject)]


def check_times(subject: str, wish: DiveWish, slot: Slot, time: Contest) -> list[Check]:
    binding = time.binding
    limit = time.value if time.value is not None else math.inf
    checks: list[Check] = []
    if wish.minutes is not None:
        fits = wish.minutes <= slot.bottom_min
        because = f" ({binding.sentence})" if binding else ""
        sentence = f"{subject}: {wish.minutes} min are wished; {slot.bottom_min} min are possible{because}."
        source = binding.source if binding else "REQUEST"
        outcome = Outcome.OK if fits else Outcome.STOP
        checks.append(
            Check("time-within-limit", outcome, sentence, source, wish.minutes, slot.bottom_min, "min", subject)
        )
    spare = limit - slot.bottom_min
    sentence = (
        f"{subject}: {slot.bottom_min} min planned, {limit:g} min allowed ({binding.sentence if binding else ''})."
    )
    checks.append(
        Check(
            "bottom-time",
            Outcome.OK if spare >= 0 else Outcome.STOP,
            sentence,
            binding.source if binding else "REQUEST",
            slot.bottom_min,
            limit if math.isfinite(limit) else None,
            "min",
            subject,
        )
    )
    return checks


def no_stop_checks(subject: str, limits: Sequence[tuple[Person, NoStop]]) -> list[Check]:
    """Keep each person's physics checks, one line for all people whom the same sentence concerns."""
    names: dict[Check, list[str]] = {}
    for person, limit in limits:
        for check in limit.checks:
            names.setdefault(check, []).append(person.name)
    everybody = len(limits)
    return [
        replace(
            check,
            sentence=f"{subject}: {check.sentence}" + ("" if len(who) == everybody else f" ({', '.join(who)})"),
            subject=subject,
        )
        for check, who in names.items()
    ]


def check_deeper(subject: str, people: Sequence[Person], depth_m: float, ledger: Ledger) -> list[Check]:
    before = [
        (dive.depth_m, person.name)
        for person in people
        for dive in ledger.done.get(person.name, [])
        if dive.depth_m < depth_m
    ]
    if not before:
        return []
    shallowest, name = min(before)
    sentence = (
        f"{subject}: {depth_m:g} m comes after a shallower dive ({name}, {shallowest:g} m): deepest first is usual."
    )
    return [Check("deepest-first", Outcome.CAUTION, sentence, "COMMON_PRACTICE", depth_m, shallowest, "m", subject)]
