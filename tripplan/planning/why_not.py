"""Why a group of a schedule has no place, and the smallest change that gives it one: found by searching again.

Each change is made in the request, and the search is held to what everybody else has already. What is told was found
that way; nothing is guessed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any, Literal

from tripplan.check import Outcome
from tripplan.people.group import KINDS, assistant_level
from tripplan.planning.crew import check_group
from tripplan.planning.edits_of_groups import Cleared
from tripplan.planning.outings import Ground, Options, Run, options_of, team_of, weightiest
from tripplan.planning.packing import PLURAL, SAFETY_WORDS, SINGULAR, counted, kit_of
from tripplan.planning.ratios import WaterSeen
from tripplan.planning.schedule import Change, Progress, Schedule, Unplaced
from tripplan.planning.schedule_edit import (
    AddCylindersEdit,
    AddKitEdit,
    AddVehicleEdit,
    AddWorkerEdit,
    AllowEdit,
    Edit,
    EditRefused,
    GroupEdit,
    HoursEdit,
    LeaveOutDiversEdit,
    OpenSiteEdit,
    UnpinEdit,
    WithoutGroupEdit,
    apply,
    edits_data,
)
from tripplan.planning.schedule_request import SchoolGroup
from tripplan.planning.scheduling import Found, bare_unplaced
from tripplan.planning.shared import TOWED, Shared
from tripplan.planning.solution import Cut, Solution
from tripplan.planning.solver import Limits, solve
from tripplan.planning.trips import Judge

MOST_CHANGES = 3  # that are told of a group
MOST_REASONS = 6
MOST_LEFT_OUT = 3  # divers
ROUNDS = 6  # in which day plans may refuse what a change gave
EFFORT = 3.0  # of the solver's seconds for one change
NEW_VEHICLE_SEATS = 9
FOR_SHORE: tuple[Literal["oxygen_kit", "first_aid_kit"], ...] = ("oxygen_kit", "first_aid_kit")
Duties = Literal["both", "water", "ashore"]


Smaller = tuple[tuple[Edit, ...], str]


def _none(_: Solution) -> Iterable[Smaller]:
    return ()


def _always(_: Solution) -> bool:
    return True


@dataclass(frozen=True)
class Trial:
    """A change that is tried."""

    kind: str
    edits: tuple[Edit, ...]
    because: str  # the reason, where it helps
    sentence: str
    smaller: Callable[[Solution], Iterable[Smaller]] = _none  # less of the same, the least first
    fits: Callable[[Solution], bool] = _always  # whether what was found is what the sentence says
    needless: frozenset[str] = frozenset()  # kinds of changes beside which it says nothing new
    last: bool = False  # whether it is told only where nothing else helps


def explained(
    found: Found,
    before: Schedule | None,
    limits: Limits,
    told: Callable[[Progress], None] | None,
    stop: Callable[[], bool] | None,
) -> tuple[Unplaced, ...]:
    """Return the groups with dives that have no place, each with reasons and with changes that would give it one.

    before, limits, told, stop -- as for `make_schedule`
    """
    del before
    result = []
    for each in bare_unplaced(found):
        if told is not None:
            wanted = sum(len(group.dives) for group in found.ground.request.groups)
            placed = sum(len(made.run.block.numbers) for made in found.solution.made)
            words = f"looking for what would give {each.group} a place"
            told(Progress(found.seconds, placed, wanted, found.objective, found.bound, words))
        result.append(_explained(found, each, limits, stop))
    return tuple(result)


def _explained(found: Found, unplaced: Unplaced, limits: Limits, stop: Callable[[], bool] | None) -> Unplaced:
    changes: list[Change] = []
    reasons: list[str] = []
    kinds: set[str] = set()
    for trial in _trials(found, unplaced):
        if len(changes) >= MOST_CHANGES or (stop is not None and stop()):
            break
        if trial.kind in kinds or trial.needless & kinds or (trial.last and changes):
            continue
        solution = tried(found, unplaced.group, trial.edits, limits, stop)
        if solution is None or not trial.fits(solution):
            continue
        edits, sentence = trial.edits, trial.sentence
        for less, words in trial.smaller(solution):
            if tried(found, unplaced.group, less, limits, stop) is not None:
                edits, sentence = less, words
                break
        kinds.add(trial.kind)
        changes.append(Change(sentence, trial.kind, {"edits": edits_data(edits)}))
        reasons.append(trial.because)
    said = list(unplaced.because) or _refusals(found, unplaced)
    new = [words for words in reasons if not any(each.startswith(words.split(":")[0]) for each in said)]
    because = tuple(dict.fromkeys((*said, *new)))[:MOST_REASONS]
    if not because and stop is not None and stop():
        because = (f"The search was stopped before it was looked for what would give {unplaced.group} a place.",)
    elif not because:
        because = (
            f"{unplaced.group}: no single change of those that were tried gives it a place beside the others; more "
            "than one thing is short at once.",
        )
    return replace(unplaced, because=because, would_fit_if=tuple(changes))


def tried(
    found: Found,
    group: str,
    edits: Sequence[Edit],
    limits: Limits,
    stop: Callable[[], bool] | None = None,
) -> Solution | None:
    """Return a schedule in which a group has all its dives and nobody loses any, with some edits made; None: none.

    Only that group's own outings are looked for anew; everybody else may move, but keeps as many dives.
    """
    base = found.ground
    try:
        request, world = apply(base.request, base.world, edits)
    except EditRefused:
        return None
    ground = Ground(request, world, base.scenes)
    kept = [each.name for each in request.groups]
    alone = Ground(
        request.model_copy(
            update={
                "groups": (request.group(group),),
                "pinned": tuple(pin for pin in request.pinned if pin.group == group),
                "excluded": tuple(each for each in request.excluded if each.group == group),
            }
        ),
        world,
        base.scenes,
    )
    own = options_of(alone, stop=stop)
    if not any(own.runs.values()):
        return None
    others = [block for block in found.options.blocks if block.group != group and block.group in kept]
    runs: dict[Any, tuple[Run, ...]] = {block: found.options.runs[block] for block in others}
    runs.update(own.runs)
    options = Options((*others, *own.blocks), runs, (), {})
    shared, judge = Shared(ground, options), Judge(ground)
    least = {name: 0 for name in kept}
    for made in found.solution.made:
        if made.run.block.group in least:
            least[made.run.block.group] += len(made.run.block.numbers)
    least[group] = len(request.group(group).dives)
    # Where everybody else stays as they are, the search is short; only where that fails, they may move.
    for but in (group, None):
        cuts: list[Cut] = []
        for _ in range(ROUNDS):
            answer = solve(
                ground,
                options,
                shared,
                replace(limits, seconds=EFFORT),
                cuts=cuts,
                hint=found.solution,
                least_dives=least,
                first_only=True,
                all_fixed_but=but,
                stop=stop,
            )
            refused = judge.refused(answer.solution)
            if answer.status != "none" and not refused:
                return answer.solution
            if answer.status == "none":
                break
            cuts.extend(cut for cut, _ in refused)
    return None


def _refusals(found: Found, unplaced: Unplaced) -> list[str]:
    """Return what most places and days refuse to a group, where none takes it."""
    own = [block for block in found.options.blocks if block.group == unplaced.group]
    missing = [block for block in own if set(block.numbers) & set(unplaced.dives)]
    if any(found.options.runs[block] for block in missing):
        return []
    return list(weightiest([each for each in found.options.refusals if each.block in missing]))


# ---- what is tried, the smallest first ----


def _trials(found: Found, unplaced: Unplaced) -> Iterator[Trial]:
    request = found.ground.request
    group = request.group(unplaced.group)
    yield from _of_its_own(found, group.name)
    yield from _more_people(found, group.name)
    yield from _more_things(found, group.name)
    yield from _fewer(found, unplaced)
    yield from _together(found, group.name)
    for other in request.groups:
        if other.name != group.name:
            lost = sum(
                len(made.run.block.numbers) for made in found.solution.made if made.run.block.group == other.name
            )
            yield Trial(
                "without",
                (WithoutGroupEdit(group=other.name),),
                f"Together with {other.name} there is not enough for all.",
                f"if {other.name} is left out",
                last=lost >= len(unplaced.dives),
            )


def _plain(kind: str, edits: tuple[Edit, ...], because: str, sentence: str) -> Trial:
    return Trial(kind, edits, because, sentence)


def _of_its_own(found: Found, name: str) -> Iterator[Trial]:
    """Yield what the group itself could give up: sites, days, hours, what is settled for it."""
    request, world = found.ground.request, found.ground.world
    group = request.group(name)
    pins = [pin for pin in request.pinned if pin.group == name]
    for pin in pins:
        numbers = ", ".join(map(str, pin.dives))
        yield _plain(
            "pin",
            (UnpinEdit(group=name, dives=pin.dives),),
            f"What is settled for dive {numbers} of {name} does not fit.",
            f"if dive {numbers} is not settled as it is",
        )
    for barred in request.excluded:
        if barred.group == name:
            where = f" at {world.sites[barred.site].name}" if barred.site else ""
            where += f" on {_day(barred.day)}" if barred.day else ""
            who = barred.person
            yield _plain(
                "allowed",
                (AllowEdit(group=name, day=barred.day, site=barred.site, person=who),),
                f"It is excluded that {f'{who} leads or assists {name}' if who else f'{name} dives'}{where}.",
                f"if {f'{who} may lead or assist it' if who else 'it may dive'}{where}",
            )
    if group.sites or group.not_sites:
        yield Trial(
            "site",
            (GroupEdit(group=name, sites=(), not_sites=()),),
            f"No site that {name} may go to has room for it.",
            "if it may go to any site",
            lambda solution: _fewer_sites(found, name, solution),
        )
    if group.days:
        yield Trial(
            "day",
            (GroupEdit(group=name, days=()),),
            f"On the days of {name} there is no room for it.",
            "if it can come on any day",
            lambda solution: _fewer_days(found, name, solution),
        )
    for shut in request.closed:
        site = world.sites[shut.site].name
        yield _plain(
            "open",
            (OpenSiteEdit(site=shut.site, days=shut.days),),
            f"{site} is closed: {shut.because}.",
            f"if {site} is open",
        )
    hours: tuple[Cleared, ...] = ("not_before", "not_after")
    cleared = tuple(key for key in hours if getattr(group, key) is not None)
    if cleared:
        yield _plain(
            "its hours",
            (GroupEdit(group=name, clear=cleared),),
            f"Within the hours of {name} there is no room for it.",
            "if it can come at any hour of the centre",
        )
    most = group.most_dives_per_day or int(found.ground.value("schedule.group_dives_per_day"))
    if most < len(group.dives) and most < int(found.ground.value("dive.most_per_day")):
        yield _plain(
            "dives a day",
            (GroupEdit(group=name, most_dives_per_day=most + 1),),
            f"With {most} {'dive' if most == 1 else 'dives'} a day the days are too few for {name}.",
            f"if it makes {most + 1} dives in a day",
        )
    apart = found.shared.apart_min[name]
    if apart > 60:
        yield _plain(
            "apart",
            (GroupEdit(group=name, apart_h=1.0),),
            f"With {apart / 60:g} h between its outings there is no room for {name}.",
            "if its outings may be 1 h apart",
        )


def _fewer_sites(found: Found, name: str, solution: Solution) -> Iterator[Smaller]:
    group, world = found.ground.group(name), found.ground.world
    used = [made.run.site for made in solution.made if made.run.block.group == name]
    barred = [
        slug for slug in dict.fromkeys(used) if (group.sites and slug not in group.sites) or slug in group.not_sites
    ]
    if not barred:
        return
    sites = tuple(dict.fromkeys((*group.sites, *barred))) if group.sites else ()
    edit = GroupEdit(group=name, sites=sites, not_sites=tuple(s for s in group.not_sites if s not in barred))
    yield (edit,), f"if it may also go to {_listed([world.sites[slug].name for slug in barred])}"


def _fewer_days(found: Found, name: str, solution: Solution) -> Iterator[Smaller]:
    group = found.ground.group(name)
    used = {made.run.day for made in solution.made if made.run.block.group == name}
    new = sorted(day for day in used if day not in group.days)
    if not new:
        return
    days = tuple(sorted({*group.days, *new}))
    yield (GroupEdit(group=name, days=days),), f"if it can also come on {_listed([_day(day) for day in new])}"


def _more_people(found: Found, name: str) -> Iterator[Trial]:
    """Yield one more to assist, to stay ashore, to lead."""
    ground = found.ground
    people, dates = ground.world.people, ground.request.dates
    group = ground.group(name)
    needs = [run.needs for block in found.options.blocks if block.group == name for run in found.options.runs[block]]
    if not needs:  # where nobody may take it as it is, it may be for want of help
        needs = [
            found.ground.needs(group, ground.world.sites[slug], day, WaterSeen(None, False, 0.0, 1.0))
            for day in (group.days or dates)
            for slug in (group.sites or ground.sites)
        ]
    leaders = {each for need in needs for each in need.leaders if each}
    assistants = {each for need in needs for each in need.assistants}
    giving = [n for n in found.shared.names if any(found.shared.gives_oxygen(n, day) for day in dates)]
    grown = ground.value("age.adult_years")
    by_rank = sorted(found.shared.names, key=lambda n: (people[n].level.rank, n))
    tried_kinds: list[tuple[str, str, Duties, str]] = []
    if KINDS[group.kind].led:
        lowest = assistant_level(ground.rules).rank
        able = [n for n in by_rank if n in assistants] or [n for n in by_rank if people[n].level.rank >= lowest]
        helper = next((n for n in able if n not in leaders), None) or next(iter(able), None)
        if helper is not None:
            tried_kinds.append(("assistant", helper, "water", "one more assistant"))
    ashore = next((n for n in by_rank if n in giving and people[n].age_on(dates[0]) >= grown), None)
    if ashore is not None:
        tried_kinds.append(("ashore", ashore, "ashore", "one more person ashore who may give oxygen"))
    if KINDS[group.kind].led:
        leader = next((n for n in by_rank if n in leaders), None) or next(
            (n for n in reversed(by_rank) if people[n].level.is_instructor), None
        )
        if leader is not None:
            tried_kinds.append(("leader", leader, "water", "one more leader"))
    reasons = {
        "assistant": f"At the times that suit {name} nobody is free to assist.",
        "ashore": f"At the times that suit {name} nobody is free to stay ashore.",
        "leader": f"At the times that suit {name} nobody is free to lead.",
    }
    for kind, like, duties, words in tried_kinds:
        new = _new_name(found, like)
        yield Trial(
            kind,
            (AddWorkerEdit(like=like, name=new, duties=duties),),
            reasons[kind],
            f"with {words}, with level and papers like {like}",
            _fewer_days_of_worker(found, like, duties, words),
            # Who goes alone with the group leads it.
            fits=partial(_assists, name, new) if kind == "assistant" else _always,
            needless=frozenset({"assistant"}) if kind == "leader" else frozenset(),
        )


def _assists(group: str, name: str, solution: Solution) -> bool:
    """Return whether somebody goes with a group together with another of the crew."""
    return any(name in made.crew and len(made.crew) > 1 for made in solution.made if made.run.block.group == group)


def _new_name(found: Found, like: str) -> str:
    name = f"One more like {like}"[:56]
    taken = found.ground.world.people
    return name if name not in taken else next(f"{name} {n}" for n in range(2, 99) if f"{name} {n}" not in taken)


def _fewer_days_of_worker(
    found: Found, like: str, duties: Duties, words: str
) -> Callable[[Solution], Iterable[Smaller]]:
    def smaller(solution: Solution) -> Iterator[Smaller]:
        name = _new_name(found, like)
        days = {made.run.day for made in solution.made if name in made.crew}
        days |= {team.day for team in solution.ashore if name in team.people}
        edit = AddWorkerEdit(
            like=like,
            name=name,
            duties=duties,
            days=tuple(sorted(days)),
        )
        if days:
            yield (edit,), f"with {words}, with level and papers like {like}, {_on(found, days)}"

    return smaller


def _more_things(found: Found, name: str) -> Iterator[Trial]:
    """Yield a vehicle, longer hours, more cylinders."""
    request = found.ground.request
    group = request.group(name)
    if request.vehicles is not None:
        taken = {vehicle.name for vehicle in request.vehicles}
        new = next(f"One more van {n}" for n in range(1, 99) if f"One more van {n}" not in taken)
        seats = max(NEW_VEHICLE_SEATS, len(group.divers) + 1)
        yield Trial(
            "vehicle",
            (AddVehicleEdit(name=new, seats=seats),),
            f"At the times that suit {name} no vehicle with seats enough is free.",
            f"with one more vehicle of {seats} seats",
            lambda solution: _fewer_seats(found, new, solution),
        )
    yield from _longer_hours(found, name)
    yield from _more_kit(found, group)
    if found.shared.cylinder_pools and group.cylinder_l is not None:
        count = (len(group.divers) + 2) * len(group.dives)
        forms = [_cylinders(group.cylinder_l, fewer) for fewer in (*_shares(count), count)]
        yield Trial(
            "cylinders",
            forms[-1][0],
            f"Cylinders of {group.cylinder_l:g} l are short at the times that suit {name}.",
            forms[-1][1],
            lambda _: forms[:-1],
        )


def _shares(count: int) -> tuple[int, ...]:
    """Return a quarter and a half of a number, each rounded up, where they are less than it."""
    return tuple(sorted({number for number in (-(-count // 4), -(-count // 2)) if number < count}))


def _cylinders(volume_l: float, count: int) -> Smaller:
    words = "cylinder" if count == 1 else "cylinders"
    return (AddCylindersEdit(volume_l=volume_l, count=count),), f"with {count} more {words} of {volume_l:g} l"


def _fewer_seats(found: Found, new: str, solution: Solution) -> Iterator[Smaller]:
    """Yield a vehicle with the seats that a new one is needed for, on the days on which it is."""
    request = found.ground.request
    seats = {vehicle.name: vehicle.seats for vehicle in request.vehicles or ()}
    needed, days = 0, set()
    for made in solution.made:
        if new in made.vehicles:
            group = request.group(made.run.block.group)
            riders = (len(group.divers) if group.needs_seats else 0) + len(made.crew)
            needed = max(needed, riders - sum(seats.get(each, 0) for each in made.vehicles))
            days.add(made.run.day)
    for team in solution.ashore:
        if new in team.vehicles:
            needed = max(needed, len(team.people) - sum(seats.get(each, 0) for each in team.vehicles))
            days.add(team.day)
    if needed > 0:
        words = "1 seat" if needed == 1 else f"{needed} seats"
        edit = AddVehicleEdit(name=new, seats=needed, days=tuple(sorted(days)))
        yield (edit,), f"with one more vehicle of {words} {_on(found, days)}"


def _longer_hours(found: Found, name: str) -> Iterator[Trial]:
    """Yield an hour more in the morning and in the evening, where the day has them."""
    centre = found.ground.request.centre
    opens, closes = _moved(centre.opens, -1), _moved(centre.closes, 1)
    forms: list[Smaller] = []
    if closes > centre.closes:
        forms.append(((HoursEdit(closes=closes),), f"if the centre closes at {closes:%H:%M}"))
    if opens < centre.opens:
        forms.append(((HoursEdit(opens=opens),), f"if the centre opens at {opens:%H:%M}"))
    if len(forms) == 2:
        forms.append(
            ((HoursEdit(opens=opens, closes=closes),), f"if the centre is open from {opens:%H:%M} to {closes:%H:%M}")
        )
    if forms:
        because = f"Between {centre.opens:%H:%M} and {centre.closes:%H:%M} there is no room for {name}."
        yield Trial("hours", forms[-1][0], because, forms[-1][1], lambda _: forms[:-1])


def _more_kit(found: Found, group: SchoolGroup) -> Iterator[Trial]:
    """Yield one thing more for every diver of the group, for each thing of which there may be too little."""
    ground = found.ground
    short = {pool.thing for pool in found.shared.kit_pools if group.name in pool.of_divers}
    wish = team_of(group, None, ())
    lines = [line for name in group.divers for line in kit_of(ground.world.people[name], wish)]
    for thing in sorted(short):
        if thing in TOWED:
            yield _plain(
                "kit",
                (AddKitEdit(thing=thing, count=1),),
                f"Every {thing} of the store is out at the times that suit {group.name}.",
                f"with one more {thing}",
            )
            continue
        counts = Counter((line.size or "any", line.suit_mm, line.dry_suit) for line in lines if line.thing == thing)
        most = max(counts.values(), default=0)
        forms = [form for fewer in (*_shares(most), most) if (form := _pieces(thing, counts, fewer)) is not None]
        if forms:
            name = PLURAL.get(thing, thing)
            yield Trial(
                "kit",
                forms[-1][0],
                f"{name[0].upper()}{name[1:]} that fit are short at the times that suit {group.name}.",
                forms[-1][1],
                partial(_given, forms[:-1]),
            )
    yield from _more_for_shore(found, group.name)


def _given(forms: Sequence[Smaller], _: Solution) -> Iterable[Smaller]:
    return forms


def _pieces(thing: str, counts: Mapping[tuple[str, float | None, bool], int], most: int) -> Smaller | None:
    """Return pieces of one thing, at most so many of each size; None for a thing that the store does not count."""
    edits: list[Edit] = []
    for (size, mm, dry), count in counts.items():
        values = {"thing": thing, "size": size if thing != "regulator" else "any", "mm": mm, "dry": dry}
        try:
            edits.append(AddKitEdit.model_validate({**values, "count": min(count, most)}))
        except ValueError:
            return None
    total = sum(min(count, most) for count in counts.values())
    words = SINGULAR.get(thing, thing) if total == 1 else PLURAL.get(thing, thing)
    return (tuple(edits), f"with {total} more {words} that {'fits' if total == 1 else 'fit'}") if edits else None


def _more_for_shore(found: Found, name: str) -> Iterator[Trial]:
    """Yield one more of what each shore team takes with it, where the store may have too few."""
    kit, sets = found.ground.world.kit, found.shared.safety_sets
    if kit is None or sets is None or len(found.ground.sites) <= sets:
        return
    things = [thing for thing in FOR_SHORE if counted(kit, thing) == sets]
    words = [SAFETY_WORDS[thing] for thing in things]
    yield _plain(
        "kit",
        tuple(AddKitEdit(thing=thing, count=1) for thing in things),
        f"At the times that suit {name} no {' and no '.join(words)} is left for those who stay ashore.",
        f"with {_listed([f'one more {each}' for each in words])}",
    )


def _moved(clock: Any, hours: int) -> Any:
    return (datetime.combine(date(2000, 1, 2), clock) + timedelta(hours=hours)).time()


def _stopped(found: Found, group: SchoolGroup) -> tuple[str, ...]:
    """Return the divers of a group whom something about themselves stops on every day, whoever leads."""
    ground = found.ground
    stopped = set(group.divers)
    for day in ground.request.dates:
        if group.days and day not in group.days:
            continue
        for slug in group.sites or ground.sites:
            site = ground.world.sites[slug]
            checks = check_group(team_of(group, None, ()), site, ground.world.people, day, ground.rules)
            stopped &= {str(check.subject) for check in checks if check.outcome is Outcome.STOP}
    return tuple(name for name in group.divers if name in stopped)


def _fewer(found: Found, unplaced: Unplaced) -> Iterator[Trial]:
    """Yield the group with fewer divers: first without those whom something stops, then with one, two, three fewer."""
    group = found.ground.group(unplaced.group)
    named = _stopped(found, group)
    if named and len(named) < len(group.divers):
        yield _plain(
            "smaller",
            (LeaveOutDiversEdit(group=group.name, divers=named),),
            f"{_listed(named)} cannot dive with {group.name} in these days, whoever leads.",
            f"without {_listed(named)}",
        )
    words = {1: "one diver fewer", 2: "two divers fewer", 3: "three divers fewer"}
    for count in range(1, min(MOST_LEFT_OUT, len(group.divers) - 1) + 1):
        yield _plain(
            "smaller",
            (LeaveOutDiversEdit(group=group.name, divers=group.divers[-count:]),),
            f"{group.name} has more divers than there is crew, room and kit for at the times that suit it.",
            f"with {words[count]}, for example without {_listed(group.divers[-count:])}",
        )


def _together(found: Found, name: str) -> Iterator[Trial]:
    """Yield two changes at once: more crew with a vehicle, more to lead and more ashore."""
    people = list(_more_people(found, name))
    things = [trial for trial in _more_things(found, name) if trial.kind in ("vehicle", "hours", "cylinders")]
    by_kind = {trial.kind: trial for trial in (*people, *things)}
    for first, second in (
        ("leader", "ashore"),
        ("leader", "assistant"),
        ("leader", "vehicle"),
        ("leader", "cylinders"),
        ("assistant", "cylinders"),
        ("assistant", "hours"),
    ):
        one, two = by_kind.get(first), by_kind.get(second)
        if one is None or two is None:
            continue
        names = [edit.name for edit in (*one.edits, *two.edits) if isinstance(edit, AddWorkerEdit)]
        if len(set(names)) < len(names):
            edits = list(two.edits)
            edits[0] = edits[0].model_copy(update={"name": f"{names[0]} too"})
            two = replace(two, edits=tuple(edits))
        both = (*one.edits, *two.edits)
        sentence = f"{one.sentence} and {two.sentence}"
        needless = frozenset({first, second})
        if needless & {"leader", "assistant"}:
            needless |= {"leader", "assistant"}  # who may lead may assist as well
        because = f"{one.because} {two.because}"
        yield Trial(f"{first} and {second}", both, because, sentence, fits=one.fits, needless=needless)


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _on(found: Found, days: Iterable[date]) -> str:
    """Return the days in words, "on all days" for all of more than one."""
    dates = found.ground.request.dates
    some = sorted(days)
    return "on all days" if len(some) == len(dates) > 1 else f"on {_listed([_day(day) for day in some])}"


def _day(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B}"
