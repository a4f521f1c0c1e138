"""Who dives with whom: pairs proposed by level, experience, age, gas and language, and any pairs judged.

What the leader wants wins over what is proposed; both are judged alike. The order of names in a request never counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from itertools import combinations

from tripplan.check import Check, Outcome
from tripplan.people.group import KINDS, Kind
from tripplan.people.person import Person
from tripplan.planning.ratios import qualified_assistants
from tripplan.planning.request import GroupWish
from tripplan.rulebook import RuleBook

Pairs = tuple[tuple[str, ...], ...]
Cost = tuple[int, ...]  # compared from the left: what counts most comes first

MOST_SEARCHED = 10  # divers; for more, all ways to pair them take too long, and the best partner is taken one by one
LARGEST = 3  # divers who can keep an eye on each other


@dataclass(frozen=True)
class _Diver:
    """What counts of one diver when pairs are made."""

    name: str
    level: int
    below_autonomous: bool
    experience: int  # how often the logged dives can be halved
    child: bool
    adult: bool
    mixes: tuple[float, ...]  # oxygen on each dive of the group, per cent
    gas_rate: int  # tenths of a litre a minute
    languages: frozenset[str]


# ---- proposing ----


def propose_pairs(group: GroupWish, people: Mapping[str, Person], on: date, rules: RuleBook) -> Pairs:
    """Return the pairs of a group: those that its leader wants, else the best that can be made of its divers.

    An odd diver makes a three. Who would be alone, children without an adult, and learners on a first experience go
    with the leader or an assistant as far as there are any; these come first in their pair. Where nobody is left for
    one diver, that diver stands alone: `check_pairs` stops it.
    """
    kind = KINDS[group.kind]
    names = _paired(group, kind)
    if group.pairs is not None:
        kept = (tuple(name for name in pair if name in names) for pair in group.pairs)
        return tuple(pair for pair in kept if pair)
    divers = [_diver(people[name], group, on, rules) for name in sorted(set(names))]
    staff = _staff(group, kind, people, on, rules)
    singles = 0
    if kind.name == "first_experience" and len(divers) <= 2 * len(staff):
        singles = max(2 * len(staff) - len(divers), 0) if len(divers) > len(staff) else len(divers)
    led = bool(staff)
    units = _best(divers, singles, led) if len(divers) <= MOST_SEARCHED else _one_by_one(divers, led)
    return tuple(sorted(_with_staff(units, staff, kind)))


def _paired(group: GroupWish, kind: Kind) -> tuple[str, ...]:
    """Return who is to be paired: the divers, and where nobody leads everybody in the water."""
    return group.divers if kind.led else group.everybody


def _staff(group: GroupWish, kind: Kind, people: Mapping[str, Person], on: date, rules: RuleBook) -> tuple[str, ...]:
    """Return who may take divers along: the leader first, then the qualified assistants by name."""
    if not kind.led or group.leader is None:
        return ()
    return (group.leader, *sorted(person.name for person in qualified_assistants(group, people, on, rules)))


def _diver(person: Person, group: GroupWish, on: date, rules: RuleBook) -> _Diver:
    rate = person.gas_rate_l_min or rules.value("gas.rate_l_min")
    age = person.age_on(on)
    return _Diver(
        name=person.name,
        level=person.level.rank,
        below_autonomous=person.level.rank < KINDS["autonomous"].diver_level(rules).rank,
        experience=person.logged_dives.bit_length(),
        child=age < rules.value("ratio.child_under_years"),
        adult=age >= rules.value("age.adult_years"),
        mixes=tuple(group.oxygen_percent(person.name, wish) for wish in group.dives),
        gas_rate=round(rate * 10),
        languages=person.languages,
    )


def _cost(unit: Sequence[_Diver], with_staff: bool) -> Cost:
    """Return how badly some divers go together, what counts most first.

    with_staff -- whether somebody leads them; then two learners may be a pair
    """
    twos = list(combinations(unit, 2))
    grown = any(one.adult for one in unit)
    return (
        0 if grown else sum(one.child for one in unit),
        sum(one.child for one in unit) if len(unit) > 2 else 0,
        sum(one.mixes != other.mixes for one, other in twos),
        sum(not one.languages & other.languages for one, other in twos),
        int(not with_staff and all(one.below_autonomous for one in unit)),
        0 if grown else sum(not one.adult for one in unit),
        sum(abs(one.level - other.level) for one, other in twos),
        sum(abs(one.experience - other.experience) for one, other in twos),
        sum(abs(one.gas_rate - other.gas_rate) for one, other in twos),
    )


def _sum(one: Cost, other: Cost) -> Cost:
    return tuple(a + b for a, b in zip(one, other, strict=True))


def _best(divers: Sequence[_Diver], singles: int, with_staff: bool) -> list[tuple[_Diver, ...]]:
    """Return the cheapest way to pair some divers, found among all of them; of equals, the first by name.

    divers  -- by name
    singles -- how many are alone with somebody who leads; of the others an odd one makes a three
    """
    everybody = len(divers)
    threes = (everybody - singles) % 2
    if threes and everybody - singles < LARGEST:
        singles, threes = singles + 1, 0  # one alone: there is nobody to join

    costs: dict[tuple[int, ...], Cost] = {
        unit: _cost([divers[number] for number in unit], with_staff)
        for size in (1, 2, LARGEST)
        for unit in combinations(range(everybody), size)
    }

    @cache
    def rest(left: tuple[int, ...], alone: int, of_three: int) -> tuple[Cost, tuple[tuple[int, ...], ...]] | None:
        if not left:
            return (_cost((), with_staff), ()) if alone == of_three == 0 else None
        found = None
        for size, possible in ((1, alone), (2, 1), (LARGEST, of_three)):
            if not possible:
                continue
            for others in combinations(left[1:], size - 1):
                unit = (left[0], *others)
                after = rest(
                    tuple(number for number in left if number not in unit),
                    alone - (size == 1),
                    of_three - (size == LARGEST),
                )
                if after is None:
                    continue
                made = (_sum(costs[unit], after[0]), (unit, *after[1]))
                if found is None or made < found:
                    found = made
        return found

    found = rest(tuple(range(everybody)), singles, threes)
    return [tuple(divers[number] for number in unit) for unit in found[1]] if found else []


def _one_by_one(divers: Sequence[_Diver], with_staff: bool) -> list[tuple[_Diver, ...]]:
    """Return pairs of many divers: each in turn gets the best partner still free, children choose first."""
    left = sorted(divers, key=lambda one: (not one.child, one.adult, one.level, one.experience, one.name))
    units: list[tuple[_Diver, ...]] = []
    while len(left) > 1:
        first = left.pop(0)
        partner = min(left, key=lambda other: (_cost((first, other), with_staff), other.name))
        left.remove(partner)
        units.append((first, partner))
    if left:
        last = left[0]
        joined = min(units, key=lambda unit: (_cost((*unit, last), with_staff), unit[0].name))
        units[units.index(joined)] = (*joined, last)
    return units


def _with_staff(units: Sequence[tuple[_Diver, ...]], staff: Sequence[str], kind: Kind) -> Iterator[tuple[str, ...]]:
    """Yield pairs by name, with somebody who leads in those that need it, children before others."""
    free = list(staff)
    turns = [(not any(one.child for one in unit), -len(unit), [one.name for one in unit], unit) for unit in units]
    for *_, unit in sorted(turns, key=lambda turn: turn[:3]):
        alone = len(unit) == 1
        unwatched = any(one.child for one in unit) and not any(one.adult for one in unit)
        needs = alone or unwatched or kind.name == "first_experience"
        names = sorted(one.name for one in unit)
        yield (free.pop(0), *names) if needs and free and len(unit) < LARGEST else tuple(names)


# ---- judging ----


def check_pairs(
    group: GroupWish, pairs: Pairs, people: Mapping[str, Person], on: date, rules: RuleBook
) -> Iterator[Check]:
    """Judge the pairs of a group, proposed or wanted by its leader.

    pairs -- by name; who leads or assists may stand in them
    """
    kind = KINDS[group.kind]
    staff = _staff(group, kind, people, on, rules)
    words = "; ".join(" + ".join(pair) for pair in pairs) or "none"
    how = "as the leader wants them" if group.pairs is not None else "as proposed"
    key = "REQUEST" if group.pairs is not None else "COMMON_PRACTICE"
    yield Check("pairs", Outcome.OK, f"{group.name}: pairs {how}: {words}.", key, subject=group.name)
    yield from _check_everybody(group, kind, pairs)
    if kind.name == "first_experience" and group.leader is not None:
        yield from _check_learners(group, pairs, staff)
    for pair in pairs:
        if len(pair) < 2:
            continue
        members = [people[name] for name in pair]
        divers = [person for person in members if person.name not in staff]
        yield from _check_three(group, pair, staff)
        yield from _check_children(group, kind, members, on, rules)
        yield from _check_levels(group, kind, divers, rules)
        yield from _check_mixes(group, pair)
        yield from _check_languages(group, members)
        yield from _check_experience(group, divers, rules)


def _together(pair: Sequence[str]) -> str:
    return f"{', '.join(pair[:-1])} and {pair[-1]}" if len(pair) > 1 else pair[0]


def _check_everybody(group: GroupWish, kind: Kind, pairs: Pairs) -> Iterator[Check]:
    counts = {name: sum(pair.count(name) for pair in pairs) for name in _paired(group, kind)}
    alone = {pair[0] for pair in pairs if len(pair) == 1}
    nobody = [name for name, count in counts.items() if count == 0 or name in alone]
    if nobody:
        have = "has" if len(nobody) == 1 else "have"
        yield Check(
            rule="pair-nobody",
            outcome=Outcome.STOP,
            sentence=f"{group.name}: {_together(nobody)} {have} nobody to dive with: nobody dives alone.",
            source="ES_550",
            found=len(nobody),
            limit=0,
            unit="divers",
            subject=group.name,
        )
    twice = [name for name, count in counts.items() if count > 1]
    if twice:
        sentence = f"{group.name}: {_together(twice)} would be in more than one pair at once."
        yield Check("pair-twice", Outcome.STOP, sentence, "COMMON_PRACTICE", subject=group.name)


def _check_learners(group: GroupWish, pairs: Pairs, staff: Sequence[str]) -> Iterator[Check]:
    """Judge whether each learner on a first experience is with somebody who leads or assists."""
    without = [pair for pair in pairs if not set(pair) & set(staff)]
    free = [name for name in staff if not any(name in pair for pair in pairs)]
    if not without:
        return
    learners = _together([" + ".join(pair) for pair in without])
    enough = len(without) <= len(free)
    more = "there are not enough who lead or assist for one to stay with each of them"
    if enough:
        more = f"say who stays with which of them ({', '.join(free)})"
    yield Check(
        rule="pair-instructor",
        outcome=Outcome.CAUTION if enough else Outcome.STOP,
        sentence=f"{group.name}: on a first experience each learner is with an instructor ({learners}): {more}.",
        source="leader.first_experience_level",
        found=len(free),
        limit=len(without),
        unit="people",
        subject=group.name,
    )


def _check_three(group: GroupWish, pair: Sequence[str], staff: Sequence[str]) -> Iterator[Check]:
    if len(pair) < LARGEST or set(pair) & set(staff):
        return
    yield Check(
        rule="pair-three",
        outcome=Outcome.CAUTION if len(pair) == LARGEST else Outcome.STOP,
        sentence=(
            f"{group.name}: {_together(pair)} dive as {'a three' if len(pair) == LARGEST else len(pair)}: one is "
            "easily lost while the others look at each other. Say who looks after whom, and in which order they swim."
        ),
        source="ISO_24803",
        found=len(pair),
        limit=2,
        unit="divers",
        subject=" + ".join(pair),
    )


def _check_children(
    group: GroupWish, kind: Kind, members: Sequence[Person], on: date, rules: RuleBook
) -> Iterator[Check]:
    below, adult = rules.value("ratio.child_under_years"), rules.value("age.adult_years")
    children = [person for person in members if person.age_on(on) < below]
    if not children or any(person.age_on(on) >= adult for person in members):
        return
    rule = rules["pairs.child_with_adult_under_years"]
    youngest = min(person.age_on(on) for person in children)
    stops = youngest < rule.value or not kind.led or group.leader is None
    yield Check(
        rule="pair-child",
        outcome=Outcome.STOP if stops else Outcome.CAUTION,
        sentence=(
            f"{group.name}: no adult is in the pair of {_together([person.name for person in members])}, of whom the "
            f"youngest is {youngest}: a stop below {rule.value:g} and where nobody leads, else a caution."
        ),
        source=rule.key,
        found=youngest,
        limit=rule.value,
        unit="years",
        subject=" + ".join(person.name for person in members),
    )


def _check_levels(group: GroupWish, kind: Kind, divers: Sequence[Person], rules: RuleBook) -> Iterator[Check]:
    """Judge the levels of a pair without a leader: there each must be autonomous; with one, learners may pair up."""
    if kind.led and group.leader is not None:
        return
    needed = KINDS["autonomous"].diver_level(rules)
    below = [person for person in divers if person.level.rank < needed.rank]
    if not below or (kind.led and len(below) < len(divers)):
        return
    told = "; ".join(f"{person.name} has {person.level.words}" for person in below)
    yield Check(
        rule="pair-level",
        outcome=Outcome.STOP,
        sentence=(
            f"{group.name}: nobody leads {_together([person.name for person in divers])}, and {told}; "
            f"to look after each other they need {needed.words} or above."
        ),
        source="diver.autonomous_level",
        found=min(below, key=lambda person: person.level.rank).level.words,
        limit=needed.words,
        subject=" + ".join(person.name for person in divers),
    )


def _check_mixes(group: GroupWish, pair: Sequence[str]) -> Iterator[Check]:
    for number, wish in enumerate(group.dives, start=1):
        mixes = [group.oxygen_percent(name, wish) for name in pair]
        if len(set(mixes)) > 1:
            told = ", ".join(f"{name} {mix:g} %" for name, mix in zip(pair, mixes, strict=True))
            yield Check(
                rule="pair-mix",
                outcome=Outcome.CAUTION,
                sentence=(
                    f"{group.name}, dive {number}: a pair breathes different mixes of oxygen ({told}): the shallower "
                    "limit holds for both, and who shares gas breathes the other's mix."
                ),
                source="COMMON_PRACTICE",
                found=max(mixes),
                limit=min(mixes),
                unit="percent",
                subject=" + ".join(pair),
            )


def _check_languages(group: GroupWish, members: Sequence[Person]) -> Iterator[Check]:
    for one, other in combinations(members, 2):
        if not one.languages & other.languages:
            yield Check(
                rule="pair-language",
                outcome=Outcome.CAUTION,
                sentence=(
                    f"{group.name}: {one.name} and {other.name} dive together, and no language is written down that "
                    "both speak: go through the signals with both of them."
                ),
                source="COMMON_PRACTICE",
                subject=f"{one.name} + {other.name}",
            )


def _check_experience(group: GroupWish, divers: Sequence[Person], rules: RuleBook) -> Iterator[Check]:
    new, gap = rules["pairs.new_diver_dives"], rules["pairs.experience_gap_dives"]
    for one, other in combinations(sorted(divers, key=lambda person: person.logged_dives), 2):
        apart = other.logged_dives - one.logged_dives
        if one.logged_dives < new.value and apart > gap.value:
            yield Check(
                rule="pair-experience",
                outcome=Outcome.CAUTION,
                sentence=(
                    f"{group.name}: {one.name} has {one.logged_dives} logged dives, {other.name} {other.logged_dives}: "
                    f"more than {gap.value:g} apart makes a guide of the one; both agree on who turns the dive."
                ),
                source=gap.key,
                found=apart,
                limit=gap.value,
                unit="dives",
                subject=f"{one.name} + {other.name}",
            )
