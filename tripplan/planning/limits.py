"""How deep and how long: every candidate that could set a limit for one dive, so that the binding one can be named."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from tripplan.catalogue.site import Place, Site
from tripplan.check import Candidate, Contest
from tripplan.people.group import Kind
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.people.skills import Course
from tripplan.physics.no_stop import NoStop, Surroundings
from tripplan.physics.oxygen import max_operating_depth_m
from tripplan.physics.pressure import water_density_kg_m3
from tripplan.rulebook import RuleBook

COURSES = ("level_1_course", "level_2_course")
CONFINED = "confined_skills"  # what a place suits that is confined water


def kind_depth_key(kind: Kind) -> str:
    """Return the key of the rule that limits the depth of a kind of dive."""
    return "depth.first_experience_dive_m" if kind.name == "first_experience" else f"depth.{kind.name}_m"


def level_candidate(person: Person, kind: Kind, leader: Person | None, rules: RuleBook) -> Candidate:
    """Return the depth that a person's level allows on a kind of dive, given who leads."""
    led = leader is not None and leader.level.may_lead
    taught = leader is not None and leader.level.is_instructor
    if person.level is Level.FIRST_EXPERIENCE:
        key = kind_depth_key(kind) if kind.teaches and taught else "depth.first_experience_m"
    elif person.level is Level.LEVEL_1:
        if kind.name in COURSES and taught:
            key = kind_depth_key(kind)
        else:
            key = "depth.level_1_with_instructor_m" if taught else "depth.level_1_m"
    elif person.level is Level.LEVEL_2:
        key = "depth.level_2_led_m" if led else "depth.level_2_m"
    else:
        key = f"depth.{person.level.value}_m"
    rule = rules[key]
    return Candidate("level", rule.value, f"{person.name} has {person.level.words}: {rule.value:g} m", rule.key)


def age_candidate(person: Person, on: date, kind: Kind, rules: RuleBook) -> Candidate:
    """Return the depth that a person's age allows; no value for an adult."""
    age = person.age_on(on)
    if age < rules.value("age.youngest_years"):
        return Candidate("age", 0.0, f"{person.name} is {age}: too young to dive", "age.youngest_years")
    first, second, third = (rules.value(f"age.band_{step}_years") for step in ("first", "second", "third"))
    if age < first:
        key = "age.depth_8_9_m"
    elif age < third and person.level is Level.FIRST_EXPERIENCE and kind.name not in COURSES:
        key = "age.depth_10_13_first_experience_m"
    elif age < second:
        key = "age.depth_10_11_m"
    elif age < third:
        key = "age.depth_12_13_m"
    elif age < rules.value("age.adult_years"):
        key = "age.depth_14_17_m"
    else:
        return Candidate("age", None, f"{person.name} is {age}: no limit by age", "age.adult_years")
    rule = rules[key]
    return Candidate("age", rule.value, f"{person.name} is {age}: {rule.value:g} m", rule.key)


def person_depth(person: Person, on: date, kind: Kind, leader: Person | None, rules: RuleBook) -> Candidate:
    """Return the tighter of a person's level and age."""
    level = level_candidate(person, kind, leader, rules)
    age = age_candidate(person, on, kind, rules)
    if age.value is not None and age.value < (level.value or 0.0):
        return age
    return level


def confined_candidate(
    place: Place, course: Course | None, course_dive: int | None, rules: RuleBook
) -> Candidate | None:
    """Return the depth of confined water where the place is that, or where the dive of the course is or may be for it.

    course      -- of the kind of dive; None: the centre's list of skills has none
    course_dive -- its number in the course; None: nobody said

    A dive whose water is not known is held to it at a place that suits both waters. None where it does not hold.
    """
    rule = rules["depth.confined_water_m"]
    dive = course.dive(course_dive) if course is not None and course_dive is not None else None
    if place.suits == (CONFINED,):
        words = "confined water"
    elif dive is not None:
        if dive.water != "confined":
            return None
        words = f"dive {dive.number} of the course is for confined water"
    else:
        known = course.dives if course is not None else ()
        may_be = any(each.water == "confined" for each in known) or (course is None and course_dive is not None)
        if CONFINED not in place.suits or not may_be:
            return None
        words = "nobody can say which water the dive of the course is for, and the place suits confined water too"
    return Candidate("confined-water", rule.value, f"{words}: {rule.value:g} m", rule.key)


def depth_contest(
    people: Sequence[Person],
    leader: Person | None,
    kind: Kind,
    place: Place,
    site: Site,
    surroundings: Surroundings,
    oxygen_percent: float,
    on: date,
    rules: RuleBook,
    no_stop: Candidate | None = None,
    course: Course | None = None,
    course_dive: int | None = None,
) -> Contest:
    """Return every candidate for the depth limit of a dive, metres.

    people -- everybody in the water, leader and assistants included
    no_stop -- the depth to which the tables allow the wished time, where it has been worked out
    course, course_dive -- as for `confined_candidate`
    """
    candidates: list[Candidate] = []
    divers = [person for person in people if person is not leader]
    youngest = min(
        (age_candidate(person, on, kind, rules) for person in people),
        key=lambda c: float("inf") if c.value is None else c.value,
    )
    lowest = min((level_candidate(p, kind, leader, rules) for p in divers), key=lambda c: c.value or 0.0, default=None)
    if lowest is not None:
        candidates.append(lowest)
    candidates.append(youngest)
    if leader is not None:
        own = level_candidate(leader, kind, leader, rules)
        sentence = f"{leader.name} leads with {leader.level.words}: {own.value:g} m"
        candidates.append(Candidate("leader", own.value, sentence, own.source))
    else:
        candidates.append(Candidate("leader", None, "nobody leads: each diver's own level holds", "ISO_24801_2"))
    rule = rules[kind_depth_key(kind)]
    candidates.append(Candidate("kind", rule.value, f"{kind.words}: {rule.value:g} m", rule.key))
    confined = confined_candidate(place, course, course_dive, rules)
    if confined is not None:
        candidates.append(confined)
    candidates.append(
        Candidate("place", place.deepest_m, f"{place.name} is {place.deepest_m:g} m at its deepest", "SITE_FILE")
    )
    rule = rules["oxygen.partial_pressure_bar"]
    gas_m = max_operating_depth_m(
        oxygen_percent, rule.value, surroundings.surface_pressure_bar, surroundings.density_kg_m3
    )
    gas = "air" if oxygen_percent <= 21 else f"{oxygen_percent:g} % oxygen"
    candidates.append(Candidate("gas", gas_m, f"{gas} to {rule.value:g} bar of oxygen: {gas_m:g} m", rule.key))
    if no_stop is not None:
        candidates.append(no_stop)
    return Contest("depth limit", "m", tuple(candidates))


def deepest_for(minutes: int, limit_at: Callable[[float], int | None], deepest_m: float) -> float:
    """Return the deepest depth, to 0.1 m and rounded down, at which the no-stop time is at least ``minutes``.

    limit_at  -- the longest no-stop time at a depth, None for no limit; never longer when deeper
    deepest_m -- where the search ends;  0.0 where not even the shallowest depth allows the time
    """

    def allows(tenths: int) -> bool:
        limit = limit_at(tenths / 10)
        return limit is None or limit >= minutes

    low, high = 0, int(deepest_m * 10)
    while low < high:
        middle = (low + high + 1) // 2
        if allows(middle):
            low = middle
        else:
            high = middle - 1
    return low / 10


def time_contest(
    limits: Sequence[tuple[Person, NoStop]],
    kind: Kind,
    children: Sequence[Person],
    water_c: float | None,
    window_min: int | None,
    depth_m: float,
    rules: RuleBook,
    gas: Candidate | None = None,
) -> Contest:
    """Return every candidate for the longest bottom time of a dive, minutes.

    limits     -- each person with their own no-stop times at the planned depth
    children   -- those of them below the age of the children's rules
    water_c    -- usual temperature of the water this month; None: not known
    window_min -- bottom time that the window leaves; None: no window
    gas -- what the cylinders allow, where they are known
    """
    candidates: list[Candidate] = []
    for name in ("handbook", "model"):
        times = [(limit.handbook_no_stop_min if name == "handbook" else limit.model_no_stop_min) for _, limit in limits]
        words = "handbook no-stop limit" if name == "handbook" else "tissue model's no-stop limit"
        source = "NAVY_7" if name == "handbook" else "ZH_L16C"
        bound = [(time, *pair) for time, pair in zip(times, limits, strict=True) if time is not None]
        if not bound:
            candidates.append(Candidate(name, None, f"{words} at {depth_m:g} m: none", source))
            continue
        value, person, limit = min(bound, key=lambda item: item[0])
        group = f", group {limit.handbook_group} before it" if limit.handbook_group and name == "handbook" else ""
        row = f" (row {limit.handbook_row_fsw} fsw{group})" if name == "handbook" else ""
        whom = f" for {person.name}" if len(set(times)) > 1 else ""
        candidates.append(Candidate(name, float(value), f"{words} at {depth_m:g} m{row}{whom}: {value} min", source))
    rule = rules["dive.longest_min"]
    candidates.append(Candidate("house", rule.value, f"house limit: {rule.value:g} min", rule.key))
    if children:
        short = rules["cold.child_short_dive_min"]
        below = rules["cold.child_short_dive_below_c"]
        names = ", ".join(child.name for child in children)
        if water_c is None:
            sentence = f"water temperature not known, children ({names}): {short.value:g} min"
            candidates.append(Candidate("cold", short.value, sentence, short.key))
        elif water_c < below.value:
            sentence = f"water {water_c:g} C, below {below.value:g} C, children ({names}): {short.value:g} min"
            candidates.append(Candidate("cold", short.value, sentence, short.key))
    if window_min is not None:
        candidates.append(
            Candidate("window", float(window_min), f"the window leaves {window_min} min at the bottom", "SITE_FILE")
        )
    if gas is not None:
        candidates.append(gas)
    return Contest("longest bottom time", "min", tuple(candidates))


def surroundings_of(site: Site, on: date, rules: RuleBook, measured_pressure_bar: float | None = None) -> Surroundings:
    """Return pressure and density of a site's water on a day; what the site file leaves out is taken heavy."""
    salinity = 0.0 if site.water.kind == "fresh" else site.water.salinity
    temperature_c = water_temperature_c(site, on)
    if salinity is not None and temperature_c is not None:
        density = water_density_kg_m3(salinity, temperature_c)
    else:
        density = rules.value(f"water.{site.water.kind}_density_kg_m3")
    return Surroundings(
        altitude_m=site.elevation_m,
        density_kg_m3=density,
        water=site.water.kind,
        measured_pressure_bar=measured_pressure_bar,
    )


def water_temperature_c(site: Site, on: date) -> float | None:
    """Return the usual temperature of the water in a month, degrees Celsius; None: not known."""
    return site.water.temperature_c[on.month - 1] if site.water.temperature_c else None
