"""Who may lead, who must be ashore, how many to a leader, and whether each person is ready to dive today."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

from tripplan.catalogue.site import Site
from tripplan.check import Check, Outcome
from tripplan.people.group import KINDS, Kind, assistant_level
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.planning.request import Crew, GroupWish
from tripplan.rulebook import RuleBook

People = Mapping[str, Person]


def _names(people: Sequence[Person]) -> str:
    return ", ".join(person.name for person in people)


def children_of(people: Sequence[Person], on: date, rules: RuleBook) -> tuple[Person, ...]:
    """Return those below the age of the children's rules."""
    below = rules.value("ratio.child_under_years")
    return tuple(person for person in people if person.age_on(on) < below)


def check_group(group: GroupWish, site: Site, people: People, on: date, rules: RuleBook) -> Iterator[Check]:
    """Judge a group: its leader, its ratio, and every person in it."""
    kind = KINDS[group.kind]
    leader = people[group.leader] if group.leader else None
    divers = [people[name] for name in group.divers]
    assistants = [people[name] for name in group.assistants]
    yield from _check_leader(group, kind, leader, assistants, on, rules)
    yield _check_ratio(group, kind, leader, divers, assistants, rules)
    yield from _check_children_ratio(group, divers, assistants, leader, on, rules)
    staff = ([leader] if leader else []) + assistants
    for person in staff + divers:
        yield from _check_person(person, group, kind, site, on, rules, is_staff=person in staff)
    yield from _check_hearts(group, staff + divers, on, rules)


def _check_leader(
    group: GroupWish, kind: Kind, leader: Person | None, assistants: Sequence[Person], on: date, rules: RuleBook
) -> Iterator[Check]:
    needed = kind.leader_level(rules)
    if needed is not None:
        key = f"leader.{kind.name}_level"
        if leader is None:
            yield Check(
                rule="leader-named",
                outcome=Outcome.STOP,
                sentence=f"{group.name}: a {kind.words} needs a leader with {needed.words} or above; none is named.",
                source=key,
                limit=needed.words,
                subject=group.name,
            )
        else:
            yield Check(
                rule="leader-level",
                outcome=Outcome.OK if leader.level.rank >= needed.rank else Outcome.STOP,
                sentence=(
                    f"{group.name}: {leader.name} has {leader.level.words}; "
                    f"a {kind.words} needs {needed.words} or above."
                ),
                source=key,
                found=leader.level.words,
                limit=needed.words,
                subject=group.name,
            )
    if leader is not None:
        rule = rules["age.leader_years"]
        age = leader.age_on(on)
        yield Check(
            rule="leader-age",
            outcome=Outcome.OK if age >= rule.value else Outcome.STOP,
            sentence=f"{group.name}: {leader.name} leads at {age}; the youngest who may lead is {rule.value:g}.",
            source=rule.key,
            found=age,
            limit=rule.value,
            unit="years",
            subject=leader.name,
        )
    lowest = assistant_level(rules)
    for assistant in assistants:
        yield Check(
            rule="assistant-level",
            outcome=Outcome.OK if assistant.level.rank >= lowest.rank else Outcome.STOP,
            sentence=(
                f"{group.name}: {assistant.name} assists with {assistant.level.words}; "
                f"{lowest.words} or above is needed."
            ),
            source="leader.assistant_level",
            found=assistant.level.words,
            limit=lowest.words,
            subject=assistant.name,
        )


def _check_ratio(
    group: GroupWish,
    kind: Kind,
    leader: Person | None,
    divers: Sequence[Person],
    assistants: Sequence[Person],
    rules: RuleBook,
) -> Check:
    """Judge the number of divers against what the leader and the qualified assistants may take."""
    count = len(divers)
    if not kind.led:
        fewest = rules["ratio.autonomous_fewest"].value
        most = rules["ratio.autonomous_most"]
        total = count + len(assistants) + (1 if leader else 0)
        fits = fewest <= total <= most.value
        return Check(
            rule="group-size",
            outcome=Outcome.OK if fits else Outcome.STOP,
            sentence=f"{group.name}: {total} in the water without a leader; {fewest:g} to {most.value:g} are allowed.",
            source=most.key,
            found=total,
            limit=most.value,
            unit="divers",
            subject=group.name,
        )
    lowest = assistant_level(rules)
    qualified = [person for person in assistants if person.level.rank >= lowest.rank]
    per_leader = rules[f"ratio.{kind.name}_per_leader"]
    each = rules.value(f"ratio.{kind.name}_per_assistant")
    most_allowed = rules.value(f"ratio.{kind.name}_most")
    allowed = min(per_leader.value + each * len(qualified), max(most_allowed, per_leader.value)) if leader else 0
    helped = f" with {len(qualified)} qualified assistant{'s' if len(qualified) != 1 else ''}" if qualified else ""
    return Check(
        rule="ratio",
        outcome=Outcome.OK if count <= allowed else Outcome.STOP,
        sentence=f"{group.name}: {count} divers to one leader{helped}; {allowed:g} are allowed on a {kind.words}.",
        source=per_leader.key,
        found=count,
        limit=allowed,
        unit="divers",
        subject=group.name,
    )


def _check_children_ratio(
    group: GroupWish,
    divers: Sequence[Person],
    assistants: Sequence[Person],
    leader: Person | None,
    on: date,
    rules: RuleBook,
) -> Iterator[Check]:
    children = children_of(divers, on, rules)
    if not children:
        return
    rule = rules["ratio.child_per_leader"]
    lowest = assistant_level(rules)
    adults = len([a for a in assistants if a.level.rank >= lowest.rank]) + (1 if leader else 0)
    allowed = rule.value * adults
    yield Check(
        rule="children-ratio",
        outcome=Outcome.OK if len(children) <= allowed else Outcome.STOP,
        sentence=(
            f"{group.name}: {len(children)} under {rules.value('ratio.child_under_years'):g} ({_names(children)}) to "
            f"{adults} leading or assisting; {rule.value:g} to each are allowed."
        ),
        source=rule.key,
        found=len(children),
        limit=allowed,
        unit="children",
        subject=group.name,
    )


def _check_person(
    person: Person, group: GroupWish, kind: Kind, site: Site, on: date, rules: RuleBook, *, is_staff: bool
) -> Iterator[Check]:
    age = person.age_on(on)
    yield _check_youngest(person, age, kind, rules)
    yield from _check_levels(person, group, kind, site, rules, is_staff=is_staff)
    yield _check_medical(person, on, rules)
    adult = rules["age.adult_years"]
    if age < adult.value:
        yield Check(
            rule="guardian-consent",
            outcome=Outcome.OK if person.guardian_consent else Outcome.STOP,
            sentence=(
                f"{person.name} is {age}: a guardian's consent is "
                + ("on record." if person.guardian_consent else "not on record, and is needed.")
            ),
            source=adult.key,
            found="yes" if person.guardian_consent else "no",
            limit="yes",
            subject=person.name,
        )
    rule = rules["age.autonomous_years"]
    if not kind.led and age < max(adult.value, rule.value):  # the age of consent may be lower by local law
        yield Check(
            rule="age-without-leader",
            outcome=Outcome.OK if age >= rule.value else Outcome.STOP,
            sentence=f"{person.name} is {age}: diving without a leader is for {rule.value:g} and above.",
            source=rule.key,
            found=age,
            limit=rule.value,
            unit="years",
            subject=person.name,
        )
    if person.level is not Level.FIRST_EXPERIENCE or person.logged_dives:
        yield _check_lay_off(person, kind, on, rules, is_staff=is_staff)
    for index, dive in enumerate(group.dives, start=1):
        percent = group.oxygen_percent(person.name, dive)
        if percent > 21:
            yield from _check_nitrox(person, age, index, percent, rules)


def _check_youngest(person: Person, age: int, kind: Kind, rules: RuleBook) -> Check:
    first = kind.name == "first_experience"
    rule = rules["age.youngest_years" if first else "age.youngest_open_water_years"]
    return Check(
        rule="age-youngest",
        outcome=Outcome.OK if age >= rule.value else Outcome.STOP,
        sentence=f"{person.name} is {age}; a {kind.words} is for {rule.value:g} and above.",
        source=rule.key,
        found=age,
        limit=rule.value,
        unit="years",
        subject=person.name,
    )


def _check_levels(
    person: Person, group: GroupWish, kind: Kind, site: Site, rules: RuleBook, *, is_staff: bool
) -> Iterator[Check]:
    if not is_staff:
        needed = kind.diver_level(rules)
        yield Check(
            rule="diver-level",
            outcome=Outcome.OK if person.level.rank >= needed.rank else Outcome.STOP,
            sentence=f"{person.name} has {person.level.words}; a {kind.words} is for {needed.words} or above.",
            source=f"diver.{kind.name}_level",
            found=person.level.words,
            limit=needed.words,
            subject=person.name,
        )
    admitted = site.lowest_level
    yield Check(
        rule="site-admits",
        outcome=Outcome.OK if person.level.rank >= admitted.rank else Outcome.STOP,
        sentence=f"{person.name} has {person.level.words}; {site.name} admits {admitted.words} or above.",
        source="SITE_FILE",
        found=person.level.words,
        limit=admitted.words,
        subject=person.name,
    )


def _check_medical(person: Person, on: date, rules: RuleBook) -> Check:
    rule = rules["people.medical_valid_days"]
    days = (on - person.medical).days if person.medical else None
    if days is None:
        outcome, sentence = Outcome.STOP, f"{person.name} has no medical declaration on record."
    elif days < 0:
        outcome = Outcome.STOP
        sentence = f"{person.name}'s medical declaration is dated after the day of the dive ({person.medical})."
    elif not person.medical_clear:
        outcome = Outcome.STOP
        sentence = f"{person.name}'s medical declaration asks for a doctor, and no clearance is on record."
    elif days > rule.value:
        outcome = Outcome.STOP
        sentence = f"{person.name}'s medical declaration is {days} days old; it holds {rule.value:g} days."
    else:
        outcome = Outcome.OK
        sentence = f"{person.name}'s medical declaration is clear and {days} days old; it holds {rule.value:g} days."
    return Check("medical", outcome, sentence, rule.key, days, rule.value, "days", person.name)


def _check_lay_off(person: Person, kind: Kind, on: date, rules: RuleBook, *, is_staff: bool) -> Check:
    rule = rules["people.lay_off_days"]
    days = (on - person.last_dive).days if person.last_dive else None
    eased = kind.name in ("refresher", "first_experience") and not is_staff
    if days is None:
        outcome = Outcome.OK if eased else Outcome.CAUTION
        sentence = f"{person.name}'s last dive is not known: ask, and start with a check dive."
    elif days < 0:
        outcome, sentence = Outcome.CAUTION, f"{person.name}'s last dive is dated after this day ({person.last_dive})."
    elif days > rule.value:
        outcome = Outcome.OK if eased else Outcome.CAUTION
        sentence = f"{person.name} last dived {days} days ago, more than {rule.value:g}: a check dive comes first."
    else:
        outcome = Outcome.OK
        sentence = f"{person.name} last dived {days} days ago; up to {rule.value:g} needs no check dive."
    return Check("lay-off", outcome, sentence, rule.key, days, rule.value, "days", person.name)


def _check_nitrox(person: Person, age: int, dive: int, percent: float, rules: RuleBook) -> Iterator[Check]:
    yield Check(
        rule="nitrox-qualified",
        outcome=Outcome.OK if person.nitrox else Outcome.STOP,
        sentence=(
            f"{person.name} is {'' if person.nitrox else 'not '}qualified for {percent:g} % oxygen, "
            f"wished on dive {dive}."
        ),
        source="COMMON_PRACTICE",
        found="yes" if person.nitrox else "no",
        limit="yes",
        subject=person.name,
    )
    rule = rules["oxygen.minor_percent"]
    if age < rules.value("age.adult_years"):
        yield Check(
            rule="minor-gas",
            outcome=Outcome.OK if percent <= rule.value else Outcome.STOP,
            sentence=f"{person.name} is {age}: at most {rule.value:g} % oxygen; dive {dive} wishes {percent:g} %.",
            source=rule.key,
            found=percent,
            limit=rule.value,
            unit="percent",
            subject=person.name,
        )


def _check_hearts(group: GroupWish, people: Sequence[Person], on: date, rules: RuleBook) -> Iterator[Check]:
    rule = rules["people.heart_check_years"]
    older = [person for person in people if person.age_on(on) >= rule.value]
    if older:
        yield Check(
            rule="heart-question",
            outcome=Outcome.CAUTION,
            sentence=(
                f"{group.name}: {rule.value:g} or older: {_names(older)}. Ask each about heart, medicines and exertion."
            ),
            source=rule.key,
            found=max(person.age_on(on) for person in older),
            limit=rule.value,
            unit="years",
            subject=group.name,
        )


def check_crew(crew: Crew, people: People, on: date, rules: RuleBook) -> Iterator[Check]:
    """Judge the people ashore: director, shore watch, oxygen provider."""
    if crew.dive_director:
        sentence = f"{crew.dive_director} directs the dives."
        yield Check("director-named", Outcome.OK, sentence, "FR_SPORTS_CODE", crew.dive_director)
    else:
        sentence = "No dive director is named: one person must answer for the day and start the call-out."
        yield Check("director-named", Outcome.STOP, sentence, "FR_SPORTS_CODE", None, 1, "person")
    rule = rules["crew.shore_watch_fewest"]
    yield Check(
        rule="shore-watch",
        outcome=Outcome.OK if len(crew.shore_watch) >= rule.value else Outcome.STOP,
        sentence=(
            f"Shore watch: {', '.join(crew.shore_watch) or 'nobody named'}; {rule.value:g} needed whenever anybody "
            "is in the water."
        ),
        source=rule.key,
        found=len(crew.shore_watch),
        limit=rule.value,
        unit="people",
    )
    rule = rules["crew.oxygen_provider_ashore_fewest"]
    qualified = []
    for name in crew.oxygen_provider:
        check = check_oxygen_provider(people[name], on, rules)
        yield check
        if check.outcome is not Outcome.STOP:
            qualified.append(name)
    yield Check(
        rule="oxygen-provider",
        outcome=Outcome.OK if len(qualified) >= rule.value else Outcome.STOP,
        sentence=(
            f"Oxygen provider ashore: {', '.join(qualified) or 'nobody qualified is named'}; {rule.value:g} needed "
            "whenever anybody is in the water."
        ),
        source=rule.key,
        found=len(qualified),
        limit=rule.value,
        unit="people",
    )


def check_oxygen_provider(person: Person, on: date, rules: RuleBook) -> Check:
    """Judge one person's qualification to give oxygen on a day."""
    until = person.oxygen_provider_until
    warning = rules["crew.qualification_warning_days"]
    if until is None:
        outcome, sentence = Outcome.STOP, f"{person.name} has no oxygen qualification on record."
    elif until < on:
        outcome, sentence = Outcome.STOP, f"{person.name}'s oxygen qualification ran out on {until}."
    elif (until - on).days <= warning.value:
        outcome, sentence = Outcome.CAUTION, f"{person.name}'s oxygen qualification runs out on {until}."
    else:
        outcome, sentence = Outcome.OK, f"{person.name} may give oxygen until {until}."
    found = (until - on).days if until else None
    return Check("oxygen-qualified", outcome, sentence, warning.key, found, 0, "days", person.name)


def pairs_of(divers: Sequence[Person], on: date, rules: RuleBook) -> tuple[tuple[str, ...], ...]:
    """Propose buddy pairs, one three where the number is odd: neighbours in level, then in age.

    A child is paired with an adult as long as there is one to pair with.
    """
    ordered = sorted(divers, key=lambda p: (p.level.rank, -p.born.toordinal()))
    children = children_of(ordered, on, rules)
    grown = [person for person in ordered if person not in children]
    mixed = list(zip(children, grown, strict=False))
    rest = [*children[len(mixed) :], *grown[len(mixed) :]]
    pairs = [tuple(person.name for person in pair) for pair in mixed]
    pairs += [tuple(person.name for person in rest[i : i + 2]) for i in range(0, len(rest) - 1, 2)]
    if len(rest) % 2:
        last = rest[-1].name
        pairs = [*pairs[:-1], (*pairs[-1], last)] if pairs else [(last,)]
    return tuple(pairs)


def check_ashore(crew: Crew, in_water: Mapping[str, Sequence[str]], rules: RuleBook) -> Iterator[Check]:
    """Say where one person cannot do two things at once.

    in_water -- the dives that each person is on, in words
    """
    director = crew.dive_director
    if director and in_water.get(director):
        yield Check(
            rule="director-ashore",
            outcome=Outcome.CAUTION,
            sentence=(
                f"{director} directs the dives and is in the water on {', '.join(in_water[director])}: "
                "name who answers ashore meanwhile and starts the call-out."
            ),
            source="FR_SPORTS_CODE",
            subject=director,
        )
    people = {*crew.shore_watch, *crew.oxygen_provider}
    needed = rules.value("crew.shore_watch_fewest") + rules.value("crew.oxygen_provider_ashore_fewest")
    if people and len(people) < needed:
        yield Check(
            rule="two-ashore",
            outcome=Outcome.CAUTION,
            sentence=(
                f"{', '.join(sorted(people))} watches the water and gives oxygen: while one is done the other is not. "
                "Name somebody more ashore."
            ),
            source="crew.oxygen_provider_ashore_fewest",
            found=len(people),
            limit=needed,
            unit="people",
        )
