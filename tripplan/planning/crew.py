"""Who may lead, who must be ashore, and whether each person is ready to dive today. How many: planning/ratios.py."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

from tripplan.catalogue.site import Site
from tripplan.check import Check, Outcome
from tripplan.people.group import KINDS, Kind, assistant_level
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.planning.plan import DivePlan
from tripplan.planning.ratios import GroupRatio, check_ratio, qualified_assistants, ratio_of
from tripplan.planning.request import Crew, GroupWish, Request
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
    yield from _check_leader(group, kind, leader, on, rules)
    yield from _check_assistants(group, assistants, on, rules)
    ratio = ratio_of(group, people, on, rules)
    yield check_ratio(ratio, rules)
    yield from _check_in_charge(ratio, rules)
    yield from _check_reach(ratio, leader, rules)
    yield from _check_languages(ratio, rules)
    yield from _check_children_ratio(group, kind, divers, ratio.qualified, leader, on, rules)
    staff = ([leader] if leader else []) + assistants
    for person in staff + divers:
        yield from _check_person(person, group, kind, site, on, rules, is_staff=person in staff)
    if kind.led:
        for person in staff:
            yield from _check_staff_papers(person, on, rules, leads=person is leader)
    yield _check_next_of_kin(group, divers)
    yield _check_identities(group, staff + divers)
    yield from _check_hearts(group, staff + divers, on, rules)


def _check_leader(group: GroupWish, kind: Kind, leader: Person | None, on: date, rules: RuleBook) -> Iterator[Check]:
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
    if leader is not None and kind.led:
        rule = rules["people.leader_logged_fewest"]
        logged = leader.logged_dives
        memory = " (a number from memory)" if rule.provenance == "from memory" and not rule.overridden else ""
        yield Check(
            rule="leader-experience",
            outcome=Outcome.OK if logged >= rule.value else Outcome.CAUTION,
            sentence=(
                f"{group.name}: {leader.name} leads with {logged} logged dives; {rule.value:g} are asked of who leads"
                f"{memory}."
            ),
            source=rule.key,
            found=logged,
            limit=rule.value,
            unit="dives",
            subject=leader.name,
        )


def _check_assistants(group: GroupWish, assistants: Sequence[Person], on: date, rules: RuleBook) -> Iterator[Check]:
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
        rule = rules["age.leader_years"]
        age = assistant.age_on(on)
        yield Check(
            rule="assistant-age",
            outcome=Outcome.OK if age >= rule.value else Outcome.STOP,
            sentence=(
                f"{group.name}: {assistant.name} assists at {age}; the youngest who may lead, and so may answer for "
                f"others, is {rule.value:g}."
            ),
            source=rule.key,
            found=age,
            limit=rule.value,
            unit="years",
            subject=assistant.name,
        )


def _check_in_charge(ratio: GroupRatio, rules: RuleBook) -> Iterator[Check]:
    """Judge how many in the water are in charge: the leader and the qualified assistants."""
    kind = ratio.kind
    rule = rules[f"crew.{kind.name}_in_charge_fewest"]
    if not rule.value:
        return
    count = int(ratio.led) + ratio.qualified
    yield Check(
        rule="in-charge",
        outcome=Outcome.OK if count >= rule.value else Outcome.STOP,
        sentence=(
            f"{ratio.group}: {count} in charge in the water, as leader or qualified assistant; a {kind.words} needs "
            f"{rule.value:g}."
        ),
        source=rule.key,
        found=count,
        limit=rule.value,
        unit="people",
        subject=ratio.group,
    )


def _check_reach(ratio: GroupRatio, leader: Person | None, rules: RuleBook) -> Iterator[Check]:
    """Say where one leader alone has more divers than can be reached at once."""
    if leader is None or not ratio.kind.within_reach:
        return
    rule = rules["ratio.reach_most"]
    far = not ratio.qualified and ratio.divers > rule.value
    alone = "alone" if not ratio.qualified else "with help"
    many = f"{ratio.divers} diver{'s' if ratio.divers != 1 else ''}"
    sentence = f"{ratio.group}: {leader.name} leads {many} {alone}; one can reach {rule.value:g} at once."
    if far:
        sentence += " Keep them in front of you and in pairs, or take an assistant along."
    yield Check(
        rule="leader-reach",
        outcome=Outcome.CAUTION if far else Outcome.OK,
        sentence=sentence,
        source=rule.key,
        found=ratio.divers,
        limit=rule.value,
        unit="divers",
        subject=ratio.group,
    )


def _check_languages(ratio: GroupRatio, rules: RuleBook) -> Iterator[Check]:
    if ratio.not_spoken_to:
        rule = rules["ratio.language_fewer"]
        yield Check(
            rule="language-spoken",
            outcome=Outcome.CAUTION,
            sentence=(
                f"{ratio.group}: nobody who leads or assists is written down as speaking the language of "
                f"{', '.join(ratio.not_spoken_to)}: find somebody to interpret the briefing, and see each signal shown."
            ),
            source=rule.key,
            found=len(ratio.not_spoken_to),
            limit=0,
            unit="divers",
            subject=ratio.group,
        )


def _check_children_ratio(
    group: GroupWish,
    kind: Kind,
    divers: Sequence[Person],
    qualified: int,
    leader: Person | None,
    on: date,
    rules: RuleBook,
) -> Iterator[Check]:
    children = children_of(divers, on, rules)
    if not children:
        return
    rule = rules["ratio.child_per_leader"]
    adults = qualified + (1 if leader else 0)
    outcome, more = Outcome.OK if len(children) <= rule.value * adults else Outcome.STOP, ""
    first = rules["ratio.child_first_experience_per_leader"]
    binding = rule
    if kind.name == "first_experience" and len(children) > first.value * adults:
        more = f" On a first experience it is {first.value:g} to each until a child can dive in a group."
        if outcome is Outcome.OK:
            outcome, binding = Outcome.CAUTION, first
    yield Check(
        rule="children-ratio",
        outcome=outcome,
        sentence=(
            f"{group.name}: {len(children)} under {rules.value('ratio.child_under_years'):g} ({_names(children)}) to "
            f"{adults} leading or assisting; {rule.value:g} to each are allowed.{more}"
        ),
        source=binding.key,
        found=len(children),
        limit=binding.value * adults,
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
    elif person.medical_doctor is not None and person.medical_doctor > on:
        outcome = Outcome.STOP
        sentence = (
            f"{person.name}'s clearance by a doctor is dated after the day of the dive ({person.medical_doctor})."
        )
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


def _check_staff_papers(person: Person, on: date, rules: RuleBook, *, leads: bool) -> Iterator[Check]:
    """Judge first aid and insurance of who leads or assists: out of date stops a leader, and is a caution else."""
    warning = rules["crew.qualification_warning_days"]
    for slug, until, words in (
        ("first-aid", person.first_aid_until, "first-aid qualification"),
        ("insurance", person.insurance_until, "insurance"),
    ):
        if until is None:
            outcome, sentence = Outcome.CAUTION, f"{person.name} has no {words} on record: see the paper first."
        elif until < on:
            outcome = Outcome.STOP if leads else Outcome.CAUTION
            sentence = f"{person.name}'s {words} ran out on {until}."
            sentence += " Nobody leads without it." if leads else ""
        elif (until - on).days <= warning.value:
            outcome, sentence = Outcome.CAUTION, f"{person.name}'s {words} runs out on {until}."
        else:
            outcome, sentence = Outcome.OK, f"{person.name}'s {words} holds until {until}."
        found = (until - on).days if until else None
        yield Check(f"{slug}-valid", outcome, sentence, warning.key, found, 0, "days", person.name)


def _check_next_of_kin(group: GroupWish, divers: Sequence[Person]) -> Check:
    """Say of whom nobody would know whom to tell; the data themselves never stand in a plan."""
    without = [person for person in divers if not person.next_of_kin or person.next_of_kin_phone is None]
    if without:
        sentence = f"{group.name}: next of kin with a telephone number is missing for {_names(without)}: ask and write."
    else:
        sentence = f"{group.name}: the next of kin of every diver is on record, with a telephone number."
    outcome = Outcome.CAUTION if without else Outcome.OK
    return Check("next-of-kin", outcome, sentence, "DIVER_SAFETY_PLAN", len(without), 0, "people", group.name)


def _check_identities(group: GroupWish, people: Sequence[Person]) -> Check:
    """Say who has no number of the centre's: of two people with one name, papers and dives may be the other's."""
    without = [person for person in people if not person.identity]
    if without:
        sentence = (
            f"{group.name}: no identity is on record for {_names(without)}: see that the papers are of the person who "
            "stands here."
        )
    else:
        sentence = f"{group.name}: everybody has an identity on record."
    outcome = Outcome.CAUTION if without else Outcome.OK
    return Check("identity-known", outcome, sentence, "ROSTER", len(without), 0, "people", group.name)


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
    """Judge the people ashore: director, shore watch, oxygen provider. A minor does not count."""
    adult = rules["age.adult_years"]
    if crew.dive_director:
        age = people[crew.dive_director].age_on(on)
        if age >= adult.value:
            sentence = f"{crew.dive_director} directs the dives."
            yield Check("director-named", Outcome.OK, sentence, "FR_SPORTS_CODE", crew.dive_director)
        else:
            sentence = (
                f"{crew.dive_director} directs the dives at {age}: who answers for the day must be {adult.value:g} or "
                "older. Name somebody else."
            )
            yield Check(
                "director-named", Outcome.STOP, sentence, adult.key, age, adult.value, "years", crew.dive_director
            )
    else:
        sentence = "No dive director is named: one person must answer for the day and start the call-out."
        yield Check("director-named", Outcome.STOP, sentence, "FR_SPORTS_CODE", None, 1, "person")
    rule = rules["crew.shore_watch_fewest"]
    watch = _adults(crew.shore_watch, people, on, rules)
    nobody = "nobody who counts is named" if crew.shore_watch else "nobody named"
    yield Check(
        rule="shore-watch",
        outcome=Outcome.OK if len(watch) >= rule.value else Outcome.STOP,
        sentence=(
            f"Shore watch: {', '.join(watch) or nobody}; {rule.value:g} needed whenever anybody is in the water."
            f"{_minors_words(crew.shore_watch, people, on, rules)}"
        ),
        source=rule.key,
        found=len(watch),
        limit=rule.value,
        unit="people",
    )
    rule = rules["crew.oxygen_provider_ashore_fewest"]
    qualified = []
    for name in crew.oxygen_provider:
        check = check_oxygen_provider(people[name], on, rules)
        yield check
        if check.outcome is not Outcome.STOP and people[name].age_on(on) >= adult.value:
            qualified.append(name)
    yield Check(
        rule="oxygen-provider",
        outcome=Outcome.OK if len(qualified) >= rule.value else Outcome.STOP,
        sentence=(
            f"Oxygen provider ashore: {', '.join(qualified) or 'nobody qualified is named'}; {rule.value:g} needed "
            f"whenever anybody is in the water.{_minors_words(crew.oxygen_provider, people, on, rules)}"
        ),
        source=rule.key,
        found=len(qualified),
        limit=rule.value,
        unit="people",
    )


def _adults(names: Sequence[str], people: People, on: date, rules: RuleBook) -> tuple[str, ...]:
    """Return those of some names who are of age on a day."""
    adult = rules.value("age.adult_years")
    return tuple(name for name in names if people[name].age_on(on) >= adult)


def _minors_words(names: Sequence[str], people: People, on: date, rules: RuleBook) -> str:
    """Return a sentence about those of some names who are not of age; "" where all are."""
    grown = _adults(names, people, on, rules)
    young = [f"{name} ({people[name].age_on(on)})" for name in names if name not in grown]
    if not young:
        return ""
    one = len(young) == 1
    below = f"below {rules.value('age.adult_years'):g}"
    return f" {', '.join(young)} {'is' if one else 'are'} {below} and {'does' if one else 'do'} not count."


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


def check_ashore(
    crew: Crew, in_water: Mapping[str, Sequence[str]], people: People, on: date, rules: RuleBook
) -> Iterator[Check]:
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
    ashore = {*_adults((*crew.shore_watch, *crew.oxygen_provider), people, on, rules)}
    needed = rules.value("crew.shore_watch_fewest") + rules.value("crew.oxygen_provider_ashore_fewest")
    if ashore and len(ashore) < needed:
        yield Check(
            rule="two-ashore",
            outcome=Outcome.CAUTION,
            sentence=(
                f"{', '.join(sorted(ashore))} watches the water and gives oxygen: while one is done the other is not. "
                "Name somebody more ashore."
            ),
            source="crew.oxygen_provider_ashore_fewest",
            found=len(ashore),
            limit=needed,
            unit="people",
        )


def check_support(dives: Sequence[DivePlan], request: Request, people: People, rules: RuleBook) -> Iterator[Check]:
    """Judge who is ashore while each timed dive is in the water, and the adults around minors.

    Who has a duty ashore and is in the water meanwhile does not count, and no more does a minor.
    """
    members = {group.name: group for group in request.groups}
    adult = rules.value("age.adult_years")
    timed = [dive for dive in dives if dive.entry is not None and dive.exit_by is not None and dive.group in members]
    for dive in timed:
        group = members[dive.group]
        kind, on = KINDS[group.kind], request.date
        wet = {name for other in timed if _overlap(dive, other) for name in members[other.group].everybody}
        dry = [name for name in request.crew.everybody if name not in wet]
        ashore = _adults(dry, people, on, rules)
        subject = f"{dive.group}, dive {dive.number}"
        rule = rules[f"crew.{kind.name}_ashore_fewest"]
        yield Check(
            rule="surface-support",
            outcome=Outcome.OK if len(ashore) >= rule.value else Outcome.STOP,
            sentence=(
                f"{subject}: with a duty ashore meanwhile: {', '.join(ashore) or 'nobody'}; a {kind.words} needs "
                f"{rule.value:g}.{_minors_words(dry, people, on, rules)}"
            ),
            source=rule.key,
            found=len(ashore),
            limit=rule.value,
            unit="people",
            subject=subject,
        )
        minors = [people[name] for name in group.divers if people[name].age_on(on) < adult]
        if minors:
            yield _check_adults(subject, group, minors, ashore, people, on, rules)


def _overlap(one: DivePlan, other: DivePlan) -> bool:
    """Return whether two dives may be in the water at once, each until it is overdue."""
    if one.entry is None or one.exit_by is None or other.entry is None or other.exit_by is None:
        return False
    return one.entry.timestamp() < other.exit_by.timestamp() and other.entry.timestamp() < one.exit_by.timestamp()


def _check_adults(
    subject: str,
    group: GroupWish,
    minors: Sequence[Person],
    ashore: Sequence[str],
    people: People,
    on: date,
    rules: RuleBook,
) -> Check:
    rule, adult = rules["crew.minors_adults_fewest"], rules.value("age.adult_years")
    leading = ([people[group.leader]] if group.leader else []) + list(qualified_assistants(group, people, on, rules))
    found = [*leading, *(people[name] for name in ashore if _is_qualified(people[name], on, rules))]
    names = list(dict.fromkeys(person.name for person in found if person.age_on(on) >= adult))
    return Check(
        rule="minors-crew",
        outcome=Outcome.OK if len(names) >= rule.value else Outcome.STOP,
        sentence=(
            f"{subject}: minors dive ({_names(minors)}); qualified adults in charge in the water or ashore: "
            f"{', '.join(names) or 'nobody'}; {rule.value:g} are needed."
        ),
        source=rule.key,
        found=len(names),
        limit=rule.value,
        unit="people",
        subject=subject,
    )


def _is_qualified(person: Person, on: date, rules: RuleBook) -> bool:
    """Return whether somebody ashore may assist, or gives first aid or oxygen by a paper in date."""
    papers = (person.first_aid_until, person.oxygen_provider_until)
    in_date = any(until is not None and until >= on for until in papers)
    return in_date or person.level.rank >= assistant_level(rules).rank
