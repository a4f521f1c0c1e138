"""What no single day plan can see: the work of each person over the days, and what goes round between outings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

from tripplan.check import Check, Outcome
from tripplan.people.kit import day_words
from tripplan.planning.outings import Ground, team_of
from tripplan.planning.packing import PLURAL, KitLine, counted, kit_of, stays_ashore, stock_of, without_kit
from tripplan.planning.schedule import Filling, Load
from tripplan.planning.shared import TOWED
from tripplan.planning.solution import Made, Solution


def fillings_of(solution: Solution, ground: Ground) -> tuple[Filling, ...]:
    """Return when the cylinders of each outing are filled again: as the solver chose, else as they come back.

    Empty where there is no compressor. What does not fit before the last evening is not filled in these days.
    """
    compressor = ground.request.compressor
    if compressor is None:
        return ()
    zone = ground.zone
    fixed = [made for made in solution.made if made.fill_from is not None]
    free = sorted((m for m in solution.made if m.fill_from is None), key=lambda m: (m.back, m.run.block.key))
    found: list[Filling] = []
    taken: list[tuple[int, int]] = []

    def add(made: Made, start: int, length: int) -> None:
        taken.append((start, start + length))
        sizes = _sizes(made, ground)
        key = made.run.block.key
        found.append(Filling(made.run.block.group, key, sizes, _at(start, zone), _at(start + length, zone)))

    for made in fixed:
        add(made, made.fill_from or 0, _fill_min(made, ground))
    spans = [
        (ground.minute(day, compressor.opens), ground.minute(day, compressor.closes)) for day in ground.request.dates
    ]
    for made in free:  # what the solver had no need to fill goes in between
        length = _fill_min(made, ground)
        starts = {made.back, *(opens for opens, _ in spans), *(end for _, end in taken)}
        able = [
            start
            for start in sorted(starts)
            if start >= made.back
            and any(opens <= start and start + length <= closes for opens, closes in spans)
            and all(start + length <= first or end <= start for first, end in taken)
        ]
        if able:
            add(made, able[0], length)
    return tuple(sorted(found, key=lambda filling: filling.starts.timestamp()))


def _fill_min(made: Made, ground: Ground) -> int:
    compressor = ground.request.compressor
    each = compressor.fill_min if compressor else 0.0
    return math.ceil(round(each * sum(_sizes(made, ground).values()), 6))


def _sizes(made: Made, ground: Ground) -> dict[str, int]:
    sizes: dict[str, int] = {}
    for line in cylinders_of(made, ground):
        words = "size not known" if line.volume_l is None else f"{line.volume_l:g} l"
        if line.oxygen_percent is not None and line.oxygen_percent > 21:
            words += f", {line.oxygen_percent:g} % oxygen"
        sizes[words] = sizes.get(words, 0) + 1
    return sizes


def kit_lines(made: Made, ground: Ground) -> list[KitLine]:
    """Return everything that the people of an outing need from the store, one cylinder a dive."""
    group = ground.group(made.run.block.group)
    part = group.model_copy(update={"dives": tuple(group.dives[number - 1] for number in made.run.block.numbers)})
    wish = team_of(part, made.leader, made.assistants)
    return [line for name in wish.everybody for line in kit_of(ground.world.people[name], wish)]


def cylinders_of(made: Made, ground: Ground) -> list[KitLine]:
    """Return the cylinders of an outing."""
    return [line for line in kit_lines(made, ground) if line.thing == "cylinder"]


def loads_of(solution: Solution, ground: Ground) -> tuple[Load, ...]:
    """Return what each member of the crew has to do."""
    found = []
    for worker in ground.crew:
        name = worker.name
        wet = [made for made in solution.made if name in made.crew]
        dry = [team for team in solution.ashore if name in team.people]
        work = sorted(
            [(made.run.day, made.leaves, made.back) for made in wet]
            + [
                (
                    team.day,
                    team.on_site - ground.drive(team.site).minutes,
                    team.off_site + ground.drive(team.site).minutes,
                )
                for team in dry
            ]
        )
        days = sorted({day for day, _, _ in work})
        ends = {day: (min(a for d, a, _ in work if d == day), max(b for d, _, b in work if d == day)) for day in days}
        rests = [ends[later][0] - ends[day][1] for day, later in pairwise(days)]
        dives_by_day = [sum(len(m.run.block.numbers) for m in wet if m.run.day == day) for day in days]
        found.append(
            Load(
                person=name,
                outings=len(wet) + len(dry),
                dives=sum(len(made.run.block.numbers) for made in wet),
                ascents=sum(_ascents(made, ground) for made in wet),
                water_min=sum(times.out - times.entry for made in wet for times in made.run.times),
                ashore_min=sum(team.off_site - team.on_site for team in dry),
                days=len(days),
                most_dives_day=max(dives_by_day, default=0),
                shortest_rest_h=round(min(rests) / 60, 2) if rests else None,
            )
        )
    return tuple(found)


def _ascents(made: Made, ground: Ground) -> int:
    group = ground.group(made.run.block.group)
    return sum(group.dives[number - 1].ascents for number in made.run.block.numbers)


def check_rota(solution: Solution, ground: Ground, fillings: Sequence[Filling]) -> tuple[Check, ...]:
    """Judge the days together: dives, ascents, days and rest of everybody, kit and cylinders of all sites."""
    return (
        *_check_days(solution, ground),
        *_check_weeks(solution, ground),
        *_check_rest(solution, ground),
        *_check_kit(solution, ground, fillings),
        *_check_safety_sets(solution, ground),
        *_check_recent(ground),
    )


def _everybody(made: Made, ground: Ground) -> tuple[str, ...]:
    return (*made.crew, *ground.group(made.run.block.group).divers)


def _check_days(solution: Solution, ground: Ground) -> Iterator[Check]:
    """Judge dives and ascents of a day over all sites; each site's plan counts its own."""
    counts: dict[tuple[str, date], list[int]] = {}
    staff = {name for made in solution.made for name in made.crew}
    for made in solution.made:
        for name in _everybody(made, ground):
            count = counts.setdefault((name, made.run.day), [0, 0])
            count[0] += len(made.run.block.numbers)
            count[1] += _ascents(made, ground)
    for what, place in (("dives", 0), ("ascents", 1)):
        worst: list[tuple[int, str, date]] = []
        over = False
        for (name, day), count in counts.items():
            key = "ascent.most_per_day"
            if what == "dives":
                key = "dive.most_per_day_staff" if name in staff else "dive.most_per_day"
            rule = ground.rules[key]
            if count[place] > rule.value:
                over = True
                sentence = f"{name} has {count[place]} {what} on {day}; {rule.value:g} are allowed."
                yield Check(f"{what}-per-day", Outcome.STOP, sentence, key, count[place], rule.value, what, name)
            worst.append((count[place], name, day))
        if worst and not over:
            most, name, day = max(worst)
            key = "ascent.most_per_day" if what == "ascents" else "dive.most_per_day_staff"
            rule = ground.rules[key]
            sentence = f"Most {what} of a person in a day: {most} ({name}, {day}); {rule.value:g} are allowed."
            yield Check(f"{what}-per-day", Outcome.OK, sentence, key, most, rule.value, what)


def _check_weeks(solution: Solution, ground: Ground) -> Iterator[Check]:
    dates = ground.request.dates
    for key, what in (
        ("work.dives_in_seven_most", "dives"),
        ("work.ascents_in_seven_most", "ascents"),
        ("work.most_in_seven_days", "days"),
    ):
        rule = ground.rules[key]
        worst: tuple[int, str] = (0, "")
        over = False
        for worker in ground.crew:
            for first in range(max(len(dates) - 6, 1)):
                week = set(dates[first : first + 7])
                wet = [m for m in solution.made if worker.name in m.crew and m.run.day in week]
                if what == "dives":
                    count = sum(len(made.run.block.numbers) for made in wet)
                elif what == "ascents":
                    count = sum(_ascents(made, ground) for made in wet)
                else:
                    dry = {t.day for t in solution.ashore if worker.name in t.people and t.day in week}
                    count = len({made.run.day for made in wet} | dry)
                if count > rule.value:
                    over = True
                    sentence = f"{worker.name} has {count} {what} in seven days; {rule.value:g} are allowed."
                    yield Check(f"week-{what}", Outcome.STOP, sentence, key, count, rule.value, what, worker.name)
                worst = max(worst, (count, worker.name))
        if not over and worst[0]:
            sentence = f"Most {what} of a person in seven days: {worst[0]} ({worst[1]}); {rule.value:g} are allowed."
            yield Check(f"week-{what}", Outcome.OK, sentence, key, worst[0], rule.value, what)


def _check_rest(solution: Solution, ground: Ground) -> Iterator[Check]:
    rule = ground.rules["work.rest_h"]
    rests = [
        (load.shortest_rest_h, load.person) for load in loads_of(solution, ground) if load.shortest_rest_h is not None
    ]
    for hours, name in rests:
        if hours < rule.value:
            sentence = f"{name} has {hours:g} h between the work of two days; {rule.value:g} h are needed."
            yield Check("rest", Outcome.STOP, sentence, rule.key, hours, rule.value, "h", name)
    if rests and min(rests)[0] >= rule.value:
        hours, name = min(rests)
        sentence = f"Shortest rest between two days: {hours:g} h ({name}); {rule.value:g} h are needed."
        yield Check("rest", Outcome.OK, sentence, rule.key, hours, rule.value, "h", name)


def _check_kit(solution: Solution, ground: Ground, fillings: Sequence[Filling]) -> Iterator[Check]:
    """Judge whether everybody who is out at once can be given what fits, of all sites together."""
    kit = ground.world.kit
    if kit is None:
        sentence = "The kit is not on record: nobody can say whether it is enough for all groups at once."
        yield Check("kit-known", Outcome.CAUTION, sentence, "KIT_FILE")
        return
    turn = ground.whole("schedule.turnaround_min")
    filled = {filling.outing: math.ceil(filling.ends.timestamp() / 60) for filling in fillings}
    lines = {made.run.block.key: kit_lines(made, ground) for made in solution.made}
    short: dict[str, None] = {}
    for moment in solution.made:
        units = stock_of(kit, moment.run.day, ground.rules)
        out = [m for m in solution.made if m.leaves <= moment.leaves < m.back + turn]
        empty = [m for m in solution.made if m.leaves <= moment.leaves < filled.get(m.run.block.key, 1 << 60)]
        for thing, pieces in units.items():
            held = empty if thing == "cylinder" else out
            needs = [line for made in held for line in lines[made.run.block.key] if line.thing == thing]
            needs = [line for line in needs if stays_ashore(line)]
            lacking = without_kit(needs, pieces)
            if lacking:
                who = ", ".join(dict.fromkeys(f"{line.person} ({line.group})" for line in lacking))
                when = f"{day_words(moment.run.day)}, {_at(moment.leaves, ground.zone):%H:%M}"
                short[f"{when}: {PLURAL.get(thing, thing)} are short, nothing fits for {who}."] = None
    for sentence in short:
        yield Check("kit-at-once", Outcome.STOP, sentence, "KIT_FILE")
    if not short:
        sentence = "Kit and cylinders of the store serve everybody who is out at once, at all sites together."
        yield Check("kit-at-once", Outcome.OK, sentence, "KIT_FILE")
    if ground.request.compressor is None:
        sentence = "No compressor is in the request: each cylinder is counted as used once in all days."
        yield Check("cylinders-filled", Outcome.CAUTION, sentence, "REQUEST")


def _check_safety_sets(solution: Solution, ground: Ground) -> Iterator[Check]:
    """Judge whether each shore team has oxygen and first aid, and each group a flag and a float, of its own."""
    kit = ground.world.kit
    if kit is None:
        return
    sets: Mapping[str, int] = {thing: counted(kit, thing) for thing in ("oxygen_kit", "first_aid_kit")}
    turn = ground.whole("schedule.turnaround_min")
    most = 0
    for moment in solution.ashore:
        start = moment.on_site - ground.drive(moment.site).minutes
        most = max(
            most,
            sum(
                team.on_site - ground.drive(team.site).minutes
                <= start
                < team.off_site + ground.drive(team.site).minutes + turn
                for team in solution.ashore
            ),
        )
    groups = max(
        (sum(m.leaves <= made.leaves < m.back + turn for m in solution.made) for made in solution.made), default=0
    )
    for towed in TOWED:
        number = counted(kit, towed)
        outcome = Outcome.OK if groups <= number else Outcome.STOP
        sentence = f"Groups out at once: {groups}; the store has {number} {towed}s, and each group tows one."
        yield Check("towed-at-once", outcome, sentence, "NOAA_SHORE", groups, number, f"{towed}s")
    for thing, number in sets.items():
        words = thing.replace("_", " ")
        outcome = Outcome.OK if most <= number else Outcome.STOP
        sentence = f"Shore teams out at once: {most}; the store has {number} {words}s, and each team takes one."
        yield Check("safety-at-once", outcome, sentence, "KIT_FILE", most, number, words)


def _check_recent(ground: Ground) -> Iterator[Check]:
    if ground.request.recent_dives is None:
        sentence = (
            "Nobody has written down whether anyone dived in the days before the first day: ask each person. "
            'The file says recent_dives = "none" when all were asked.'
        )
        yield Check("recent-dives-known", Outcome.CAUTION, sentence, "OSHA_T")


def _at(minute: int, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(minute * 60, tz=UTC).astimezone(zone)
