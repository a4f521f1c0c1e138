"""How many divers may go with each who leads, and what makes them fewer: age, language, visibility and stream.

Reductions add up. Each holds for the leader and for every qualified assistant alike; none of them is ever left with
less than one diver, and nothing here ever allows more divers than the kind of dive does by itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from tripplan.check import Check, Outcome
from tripplan.people.group import KINDS, Kind, assistant_level
from tripplan.people.person import Person
from tripplan.planning.request import GroupWish
from tripplan.rulebook import Rule, RuleBook


@dataclass(frozen=True)
class Reduction:
    """One reason for fewer divers, and how many fewer for each who leads or assists."""

    rule: Rule
    because: str  # "Kim is below 14"
    by_age: bool = False  # never below the children's own number by itself

    @property
    def fewer(self) -> float:
        """Divers fewer for each who leads or assists."""
        return self.rule.value


@dataclass(frozen=True)
class GroupRatio:
    """A group as its ratio sees it: how many it takes, who takes them, and what its people ask for."""

    group: str
    kind: Kind
    divers: int
    in_water: int  # with leader and assistants
    led: bool  # whether a leader is named
    qualified: int  # assistants of the level and the age that count
    by_people: tuple[Reduction, ...]
    not_spoken_to: tuple[str, ...]  # whose language is spoken by nobody who leads or assists


@dataclass(frozen=True)
class WaterSeen:
    """What is known of the water during one dive."""

    visibility_m: float | None  # lowest seen under water; None: nobody has seen it
    seen_throughout: bool  # whether it is seen for every minute
    stream_kn: float | None  # highest, the margin of slack on each side included; None: not known
    stream_limit_kn: float  # of the kind of dive


def qualified_assistants(
    group: GroupWish, people: Mapping[str, Person], on: date, rules: RuleBook
) -> tuple[Person, ...]:
    """Return the assistants who count in a ratio on a day: by their level, and by the age of who may lead."""
    lowest, youngest = assistant_level(rules), rules.value("age.leader_years")
    assistants = [people[name] for name in group.assistants]
    return tuple(each for each in assistants if each.level.rank >= lowest.rank and each.age_on(on) >= youngest)


def ratio_of(group: GroupWish, people: Mapping[str, Person], on: date, rules: RuleBook) -> GroupRatio:
    """Return what the people of a group ask of its ratio on a day."""
    divers = [people[name] for name in group.divers]
    assistants = qualified_assistants(group, people, on, rules)
    leading = ([people[group.leader]] if group.leader else []) + list(assistants)
    spoken = frozenset[str]().union(*(person.languages for person in leading))
    not_spoken_to = tuple(person.name for person in divers if leading and not person.languages & spoken)
    found = [*_by_age(divers, on, rules)]
    if not_spoken_to:
        words = f"nobody who leads or assists is written down as speaking the language of {', '.join(not_spoken_to)}"
        found.append(Reduction(rules["ratio.language_fewer"], words))
    return GroupRatio(
        group=group.name,
        kind=KINDS[group.kind],
        divers=len(divers),
        in_water=len(group.everybody),
        led=group.leader is not None,
        qualified=len(assistants),
        by_people=tuple(found),
        not_spoken_to=not_spoken_to,
    )


def _by_age(divers: Sequence[Person], on: date, rules: RuleBook) -> tuple[Reduction, ...]:
    """Return the larger of what children and what minors ask for: a child is not counted twice."""
    found = []
    for key, age in (
        ("ratio.children_fewer", rules["ratio.child_under_years"]),
        ("ratio.minors_fewer", rules["age.adult_years"]),
    ):
        young = [person.name for person in divers if person.age_on(on) < age.value]
        if young:
            verb = "are" if len(young) > 1 else "is"
            words = f"{', '.join(young)} {verb} below {age.value:g}"
            found.append(Reduction(rules[key], words, by_age=True))
    return (max(found, key=lambda each: each.fewer),) if found else ()


def by_water(seen: WaterSeen, rules: RuleBook) -> tuple[Reduction, ...]:
    """Return what the water of a dive asks for; a stream that is not known counts as near its limit."""
    found = []
    low = rules["ratio.low_visibility_m"]
    if seen.visibility_m is not None and seen.visibility_m < low.value:
        words = f"the visibility under water is {seen.visibility_m:g} m as seen, below {low.value:g} m"
        found.append(Reduction(rules["ratio.low_visibility_fewer"], words))
    share = rules.value("ratio.stream_share")
    edge_kn = share * seen.stream_limit_kn
    if seen.stream_kn is None:
        found.append(Reduction(rules["ratio.stream_fewer"], "the stream is not known"))
    elif seen.stream_kn > edge_kn:
        words = f"the stream runs above {share * 100:g} % of its limit of {seen.stream_limit_kn:g} kn"
        found.append(Reduction(rules["ratio.stream_fewer"], words))
    return tuple(found)


def allowed(ratio: GroupRatio, reductions: Sequence[Reduction], rules: RuleBook) -> float:
    """Return how many divers a group may take; for a kind without a leader, how many may be in the water."""
    kind = ratio.kind
    if not kind.led:
        most, fewest = rules.value("ratio.autonomous_most"), rules.value("ratio.autonomous_fewest")
        return min(most, max(fewest, most - sum(each.fewer for each in reductions)))
    if not ratio.led:
        return 0.0
    return min(_taken(ratio, reductions, rules), rules.value(f"ratio.{kind.name}_most"))


def _taken(ratio: GroupRatio, reductions: Sequence[Reduction], rules: RuleBook) -> float:
    """Return how many divers a leader and the qualified assistants take together, before the most of the kind."""
    kind = ratio.kind
    per_leader = rules.value(f"ratio.{kind.name}_per_leader")
    each = rules.value(f"ratio.{kind.name}_per_assistant")
    return _share(per_leader, reductions, rules) + _share(each, reductions, rules) * ratio.qualified


def _share(own: float, reductions: Sequence[Reduction], rules: RuleBook) -> float:
    """Return how many divers one who leads takes, of those that the kind of dive gives him."""
    by_age = sum(each.fewer for each in reductions if each.by_age)
    less = sum(each.fewer for each in reductions if not each.by_age)
    less += min(by_age, max(own - rules.value("ratio.child_per_leader"), 0.0))
    return max(own - less, min(own, 1.0))


def check_ratio(ratio: GroupRatio, rules: RuleBook) -> Check:
    """Judge the number of a group before the water is known: by its kind, its staff and its people."""
    limit = allowed(ratio, ratio.by_people, rules)
    words = f"{ratio.group}: {_count_words(ratio, limit)}{_because(ratio, ratio.by_people, limit, rules)}"
    return _check(ratio, "", limit, ratio.by_people, f"{words}.", rules)


def check_dive_ratio(ratio: GroupRatio, subject: str, seen: WaterSeen, rules: RuleBook) -> Check | None:
    """Judge the number of a group on one dive, by its own lowest visibility and highest stream too.

    Returns None where `check_ratio` stops the group whatever the water: that is said once, not for each dive again.

    Where nobody has seen the visibility, normal visibility is counted and the sentence says so; it is a caution where
    the number would be too many in low visibility.
    """
    if check_ratio(ratio, rules).outcome is Outcome.STOP:
        return None
    reductions = (*ratio.by_people, *by_water(seen, rules))
    limit = allowed(ratio, reductions, rules)
    words = f"{subject}: {_count_words(ratio, limit)}{_because(ratio, reductions, limit, rules)}."
    low = rules["ratio.low_visibility_m"]
    counted_low = any(each.rule.key == "ratio.low_visibility_fewer" for each in reductions)
    falls_to = limit
    if not seen.seen_throughout and not counted_low:
        murky = Reduction(rules["ratio.low_visibility_fewer"], "")
        falls_to = allowed(ratio, (*reductions, murky), rules)
        when = "for all its minutes" if seen.visibility_m is not None else "for it"
        words += (
            f" Nobody has seen the visibility under water {when}: normal visibility is counted; "
            f"below {low.value:g} m {_many(falls_to)} allowed."
        )
    check = _check(ratio, subject, limit, reductions, words, rules)
    if check.outcome is Outcome.OK and _number(ratio) > falls_to:
        return Check(
            check.rule, Outcome.CAUTION, words, "ratio.low_visibility_fewer", check.found, falls_to, check.unit, subject
        )
    return check


def _check(
    ratio: GroupRatio, subject: str, limit: float, reductions: Sequence[Reduction], sentence: str, rules: RuleBook
) -> Check:
    fewest = 0.0 if ratio.kind.led else rules.value("ratio.autonomous_fewest")
    name = "ratio" if ratio.kind.led else "group-size"
    return Check(
        rule=f"{name}-of-dive" if subject else name,
        outcome=Outcome.OK if fewest <= _number(ratio) <= limit else Outcome.STOP,
        sentence=sentence,
        source=_binding_key(ratio, reductions, limit, rules),
        found=_number(ratio),
        limit=limit,
        unit="divers",
        subject=subject or ratio.group,
    )


def _number(ratio: GroupRatio) -> int:
    return ratio.divers if ratio.kind.led else ratio.in_water


def _own_key(ratio: GroupRatio, rules: RuleBook) -> str:
    """Return the key of the kind's own number that binds: what who leads takes, or the most of the kind if fewer."""
    kind = ratio.kind
    if not kind.led:
        return "ratio.autonomous_most"
    most = f"ratio.{kind.name}_most"
    full = ratio.led and _taken(ratio, (), rules) > rules.value(most)
    return most if full else f"ratio.{kind.name}_per_leader"


def _binding_key(ratio: GroupRatio, reductions: Sequence[Reduction], limit: float, rules: RuleBook) -> str:
    """Return the key of the reduction without which most divers more would be allowed; else the kind's own number."""
    effects = [
        (allowed(ratio, [other for other in reductions if other is not each], rules) - limit, each.rule.key)
        for each in reductions
    ]
    most, key = max(effects, key=lambda pair: pair[0], default=(0.0, ""))
    if most > 0:
        return key
    whole = allowed(ratio, (), rules) - limit  # together they count, though no single one does
    return reductions[0].rule.key if reductions and whole > 0 else _own_key(ratio, rules)


def _count_words(ratio: GroupRatio, limit: float) -> str:
    if not ratio.kind.led:
        return f"{ratio.in_water} in the water without a leader"
    many = f"{ratio.divers} diver{'s' if ratio.divers != 1 else ''}"
    if not ratio.led:
        return f"{many} and no leader; {limit:g} are allowed on a {ratio.kind.words}"
    number = ratio.qualified
    helped = f" with {number} qualified assistant{'s' if number != 1 else ''}" if number else ""
    return f"{many} to one leader{helped}; {_many(limit)} allowed on a {ratio.kind.words}"


def _untouched(ratio: GroupRatio, reductions: Sequence[Reduction], rules: RuleBook) -> bool:
    """Return whether nobody who leads or assists takes fewer, rather than the group being full in any case."""
    if not ratio.kind.led:
        return True
    owns = (rules.value(f"ratio.{ratio.kind.name}_{part}") for part in ("per_leader", "per_assistant"))
    return all(_share(own, reductions, rules) == own for own in owns)


def _many(limit: float) -> str:
    return f"{limit:g} {'is' if limit == 1 else 'are'}"


def _because(ratio: GroupRatio, reductions: Sequence[Reduction], limit: float, rules: RuleBook) -> str:
    """Say what was taken off and why, with the number that would hold without."""
    whole = allowed(ratio, (), rules)
    parts = []
    if not ratio.kind.led:
        fewest = rules.value("ratio.autonomous_fewest")
        parts.append(f"; {fewest:g} to {limit:g} are allowed" if limit > fewest else f"; {limit:g} are allowed")
    if not reductions or (ratio.kind.led and not ratio.led):
        return "".join(parts)
    taken = "; ".join(f"{each.fewer:g} fewer as {each.because}" for each in reductions)
    if whole == limit:
        why = "; ".join(each.because for each in reductions)
        least = "so few that nothing is taken off" if _untouched(ratio, reductions, rules) else "no more in any water"
        parts.append(f" ({least}, although {why})")
    elif ratio.kind.led:
        parts.append(f", not {whole:g} (for each who leads or assists, down to one: {taken})")
    else:
        parts.append(f", not {whole:g} ({taken})")
    return "".join(parts)
