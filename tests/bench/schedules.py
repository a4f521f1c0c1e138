"""Invented centres with some days of groups, of any size and repeatable, for tests and measurements of schedules.

Everything is invented: sites are copies of the demonstration's under other names and at places nearby, people have
made-up names, telephone numbers come from ranges reserved for fiction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, time, timedelta
from functools import cache
from random import Random
from typing import Any

from tests.planning.readiness import ready_on
from tripplan.catalogue.site import Site
from tripplan.data_files import data_dir
from tripplan.environment.position import Position
from tripplan.people.group import KINDS
from tripplan.people.kit import (
    CylinderItem,
    Kit,
    RegulatorItem,
    SafetyItem,
    SafetyThing,
    SizedItem,
    SuitItem,
    UnsizedItem,
    WeightItem,
)
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.planning.progress import SkillTick
from tripplan.planning.request import DiveWish
from tripplan.planning.schedule_request import (
    Absence,
    ClosedSite,
    Compressor,
    DriveTime,
    Exclusion,
    Pin,
    ScheduleRequest,
    SchoolGroup,
    Start,
    Vehicle,
    Worker,
)
from tripplan.planning.world import World
from tripplan.store.folder import load_folder

CENTRE = (46.9000, -16.9000)  # in the middle of the invented island
FURTHEST_KM, KM_PER_DEGREE = 30.0, 111.2
FIRST_SITES = ("gull-cove", "tinners-quarry", "pilots-pier", "stair-ledge", "old-slip")  # every kind finds a place
MORE_SITES = ("gull-cove", "tinners-quarry", "pilots-pier", "stair-ledge", "old-slip", "long-strand", "lake-orrin")
SITE_WORDS = (
    "Amber", "Birch", "Cinder", "Drift", "Ebony", "Flint", "Granite", "Hazel", "Ivory", "Juniper", "Kestrel", "Linen",
    "Marble", "Nettle", "Ochre", "Pebble", "Quartz", "Russet", "Slate", "Thistle",
)  # fmt: skip
SITE_ENDS = ("Bay", "Cove", "Head", "Landing", "Point")
FIRST_NAMES = (
    "Abel", "Bela", "Caro", "Dora", "Edda", "Faro", "Gitta", "Hilde", "Ilka", "Jory", "Kuno", "Lena", "Milo", "Nora",
    "Otto", "Pia", "Quirin", "Rosa", "Sven", "Tilda", "Ugo", "Vera", "Wanda", "Xenia", "Yann", "Zita",
)  # fmt: skip
LAST_NAMES = (
    "Arbor", "Brook", "Cliff", "Dune", "Elm", "Fen", "Glade", "Heath", "Inlet", "Jetty", "Knoll", "Lagoon", "Marsh",
    "Ness", "Orchard", "Pond", "Quay", "Ridge", "Shoal", "Tarn", "Upland", "Vale", "Weir", "Yard",
)  # fmt: skip
GROUP_WORDS = (
    "Anemones", "Barnacles", "Cockles", "Dabs", "Eels", "Flounders", "Gobies", "Herrings", "Isopods", "Jellies",
    "Kelps", "Limpets", "Mussels", "Nudibranchs", "Oysters", "Prawns", "Quahogs", "Rays", "Sponges", "Turbots",
)  # fmt: skip
CREW_PATTERN = ("teacher", "shore", "shore", "guide", "teacher", "shore", "tutor", "teacher", "shore", "guide")
KIND_WEIGHTS: dict[str, int] = {
    "guided": 6, "level_1_course": 5, "first_experience": 3, "refresher": 2, "further_training": 2, "autonomous": 2,
}  # fmt: skip
ADULT_SIZES = (("S", "38"), ("M", "40"), ("M", "41"), ("L", "42"), ("L", "43"), ("XL", "45"))
CHILD_SIZE = ("child", "34")
CYLINDER_L, CHILD_CYLINDER_L = 15.0, 10.0
SUIT_MM = 7.0
SAFETY: tuple[SafetyThing, ...] = ("oxygen_kit", "first_aid_kit", "flag", "float", "light", "spare_light")


def invented(
    groups: int,
    sites: int,
    crew: int,
    days: int,
    seed: int,
    *,
    first_day: date = date(2027, 6, 7),
    kit: bool = True,
    vehicles: bool = True,
    tight: float = 0.5,
) -> tuple[ScheduleRequest, World]:
    """Return an invented request of some days and the world it is asked in; the same arguments give the same.

    kit -- whether the store and a compressor are on record;  vehicles -- whether seats count
    tight -- how scarce kit and vehicles are: 0 for plenty, 1 for little more than two groups at once need
    """
    random = Random(f"{groups} {sites} {crew} {days} {seed}")
    base = _demonstration()
    names = _names(random)
    places = _sites(random, sites, first_day, base)
    people: dict[str, Person] = {}
    workers = _crew(random, crew, days, first_day, names, people)
    ticks: dict[str, list[SkillTick]] = {}
    asked = _groups(random, groups, days, first_day, names, people, workers, tuple(places), ticks, base)
    night = any(group.kind == "night" for group in asked)
    dates = [first_day + timedelta(days=ahead) for ahead in range(days)]
    pins = _pins(random, asked, dates)
    world = replace(
        base,
        sites=places,
        people=people,
        centre_name="Invented centre",
        demonstration=True,
        conditions={},
        readiness=ready_on(first_day, *(worker.name for worker in workers)),
        confirmed=(),
        kit=_kit(random, asked, people, first_day, tight) if kit else None,
        ticks={kind: tuple(found) for kind, found in ticks.items()},
    )
    request = ScheduleRequest(
        title=f"Invented days {seed}",
        first_day=first_day,
        days=days,
        centre=Start(
            position=f"{CENTRE[0]:.4f}, {CENTRE[1]:.4f}",
            timezone="Atlantic/Azores",
            opens=time(7, 0),
            closes=time(23, 50) if night else time(20, 0),
        ),
        drives=tuple(
            DriveTime(site=slug, minutes=random.randrange(5, 45), km=float(random.randrange(3, 40)))
            for slug in places
            if random.random() < 0.4
        ),
        compressor=(
            Compressor(fill_min=random.choice((3.0, 4.0, 6.0)), opens=time(7, 0), closes=time(20, 0))
            if kit and random.random() < 0.85
            else None
        ),
        vehicles=_vehicles(random, groups, days, dates, tight) if vehicles else None,
        crew=tuple(workers),
        closed=(
            (ClosedSite(site=random.choice(list(places)), days=(random.choice(dates),), because="road works"),)
            if sites > 1 and random.random() < 0.3
            else ()
        ),
        groups=tuple(asked),
        pinned=pins,
        excluded=_exclusions(random, asked, workers, dates, pins),
        absent=(
            (Absence(person=random.choice(workers).name, days=(random.choice(dates),)),)
            if crew > 4 and random.random() < 0.3
            else ()
        ),
        recent_dives="none",
    )
    return request, world


@cache
def _demonstration() -> World:
    return load_folder(data_dir("sites")).world


def _names(random: Random) -> list[str]:
    names = [f"{first} {last}" for first in FIRST_NAMES for last in LAST_NAMES]
    random.shuffle(names)
    return names


# ---- sites ----


def _sites(random: Random, count: int, first_day: date, base: World) -> dict[str, Site]:
    chosen = [*FIRST_SITES[:count], *(random.choice(MORE_SITES) for _ in range(count - len(FIRST_SITES)))]
    titles = [f"{word} {end}" for end in SITE_ENDS for word in SITE_WORDS]
    random.shuffle(titles)
    found = {}
    for slug, title in zip(chosen, titles, strict=False):
        here = _moved(base.sites[slug], title, random, first_day)
        found[here.slug] = here
    return found


def _moved(site: Site, title: str, random: Random, first_day: date) -> Site:
    """Return a copy of a site at another place within reach, its numbers checked a few days before the first day."""
    reach = 0.6 * FURTHEST_KM / KM_PER_DEGREE
    latitude = CENTRE[0] + random.uniform(-reach, reach)
    longitude = CENTRE[1] + random.uniform(-reach, reach)
    north, east = latitude - site.position.latitude_deg, longitude - site.position.longitude_deg

    def shifted(position: Position | None) -> Position | None:
        if position is None:
            return None
        return Position(round(position.latitude_deg + north, 5), round(position.longitude_deg + east, 5))

    def moved(each: Any) -> Any:
        return each.model_copy(update={"position": shifted(each.position)})

    lately = first_day - timedelta(days=4)

    def checked(each: Any) -> Any:
        return each.model_copy(update={"checked": lately, "checked_by": "Vera Lind"})

    return site.model_copy(
        update={
            "slug": title.lower().replace(" ", "-"),
            "name": title,
            "summary": "",
            "position": shifted(site.position),
            "survey_date": first_day - timedelta(days=40),
            "rendezvous": moved(site.rendezvous),
            "landmark": moved(site.landmark) if site.landmark else None,
            "entries": tuple(moved(each) for each in site.entries),
            "contacts": tuple(checked(each) for each in site.contacts),
            "hospitals": tuple(checked(each) for each in site.hospitals),
            "chambers": tuple(checked(each) for each in site.chambers),
        }
    )


# ---- people ----


def _person(name: str, number: int, level: Level, age: int, logged: int, first_day: date, **more: Any) -> Person:
    """Return somebody with every paper in date."""
    suit, foot = more.pop("size")
    later = first_day + timedelta(days=500)
    return Person(
        name=name,
        identity=f"N-{number:03d}",
        born=date(first_day.year - age, 1, 15),
        level=level,
        logged_dives=logged,
        last_dive=first_day - timedelta(days=20) if logged else None,
        medical=first_day - timedelta(days=90),
        medical_clear=True,
        guardian_consent=age < 18,
        guardian=f"Guardian of {name}"[:60] if age < 18 else "",
        next_of_kin=f"Kin of {name}"[:60],
        next_of_kin_phone="+44 7700 900456",
        first_aid_until=later,
        insurance_until=later,
        sizes={"mask": "any", "fins": foot, "boots": foot, "suit": suit, "buoyancy_device": suit},
        **more,
    )


def _crew(
    random: Random, count: int, days: int, first_day: date, names: list[str], people: dict[str, Person]
) -> list[Worker]:
    levels = {
        "teacher": (Level.INSTRUCTOR_2, 900), "tutor": (Level.INSTRUCTOR_1, 400), "guide": (Level.LEVEL_3, 250),
        "shore": (Level.LEVEL_2, 60),
    }  # fmt: skip
    workers = []
    for index in range(count):
        role = CREW_PATTERN[index % len(CREW_PATTERN)]
        level, logged = levels[role]
        name = names.pop()
        people[name] = _person(
            name,
            len(people) + 1,
            level,
            random.randrange(22, 39),
            logged,
            first_day,
            size=random.choice(ADULT_SIZES),
            oxygen_provider_until=first_day + timedelta(days=400),
            nitrox=True,
        )
        off = tuple(first_day + timedelta(days=ahead) for ahead in range(days) if random.random() < 0.1)
        workers.append(
            Worker(
                name=name,
                off=off if len(off) < days else (),
                starts=time(9, 0) if random.random() < 0.1 else None,
                ends=time(17, 30) if random.random() < 0.1 else None,
                duties="ashore" if role == "shore" else "both",
            )
        )
    return workers


# ---- groups ----


def _groups(
    random: Random,
    count: int,
    days: int,
    first_day: date,
    names: list[str],
    people: dict[str, Person],
    workers: Sequence[Worker],
    slugs: Sequence[str],
    ticks: dict[str, list[SkillTick]],
    base: World,
) -> list[SchoolGroup]:
    dates = [first_day + timedelta(days=ahead) for ahead in range(days)]
    titles = [*GROUP_WORDS, *(f"{word} {number}" for number in range(2, 6) for word in GROUP_WORDS)]
    kinds = random.choices(list(KIND_WEIGHTS), list(KIND_WEIGHTS.values()), k=count)
    if count >= 8 and random.random() < 0.3:
        kinds[-1] = "night"
    found: list[SchoolGroup] = []
    for title, kind in zip(titles, kinds, strict=False):
        young = kind in ("level_1_course", "first_experience") and random.random() < 0.3
        divers = _divers(random, kind, young, first_day, names, people)
        if kind in ("guided", "autonomous") and random.random() < 0.08:
            known = [group for group in found if group.kind == kind and len(divers) < 3]
            divers += [random.choice(known).divers[0]] if known else []
        dives = _dives(random, kind, young, divers, first_day, ticks, workers, people, base)
        found.append(
            SchoolGroup(
                name=title,
                kind=kind,
                divers=tuple(dict.fromkeys(divers)),
                cylinder_l=CHILD_CYLINDER_L if young else CYLINDER_L,
                fill_bar=200.0,
                suit_mm=SUIT_MM,
                dives=tuple(dives),
                needs_seats=random.random() < 0.85,
                **_wishes(random, kind, dates, workers, slugs, people),
            )
        )
    return found


def _divers(
    random: Random, kind: str, young: bool, first_day: date, names: list[str], people: dict[str, Person]
) -> list[str]:
    most = {"first_experience": 2, "night": 2, "level_1_course": 3 if young else 4, "autonomous": 3}.get(kind, 4)
    level = {
        "first_experience": Level.FIRST_EXPERIENCE, "level_1_course": Level.FIRST_EXPERIENCE,
        "refresher": Level.LEVEL_1,
    }.get(kind, Level.LEVEL_2)  # fmt: skip
    if kind == "guided" and random.random() < 0.4:
        level = Level.LEVEL_1
    found = []
    for index in range(random.randint(2, most)):
        name = names.pop()
        minor = young and index == 0
        logged = 0 if level is Level.FIRST_EXPERIENCE else random.randrange(12, 90)
        people[name] = _person(
            name,
            len(people) + 1,
            level,
            random.randrange(12, 17) if minor else random.randrange(19, 39),
            logged,
            first_day,
            size=CHILD_SIZE if minor else random.choice(ADULT_SIZES),
        )
        found.append(name)
    return found


def _dives(
    random: Random,
    kind: str,
    young: bool,
    divers: Sequence[str],
    first_day: date,
    ticks: dict[str, list[SkillTick]],
    workers: Sequence[Worker],
    people: dict[str, Person],
    base: World,
) -> list[DiveWish]:
    if kind == "first_experience":
        return [DiveWish(depth_m=3.0, minutes=20, course_dive=1)]
    if kind == "level_1_course":
        return _course_dives(random, kind, young, divers, first_day, ticks, workers, people, base)
    number = 1 if kind == "night" else random.choice((1, 2, 2, 2, 3))
    guided_m = 12 if any(people[name].level is Level.LEVEL_1 for name in divers) else 17
    deepest = {"refresher": 9, "night": 6, "autonomous": 15, "guided": guided_m, "further_training": 15}[kind]
    shallower = [0, 2, 3]
    return [
        DiveWish(depth_m=float(deepest - shallower[index]), minutes=random.choice((20, 25, 30)))
        for index in range(number)
    ]


def _course_dives(
    random: Random,
    kind: str,
    young: bool,
    divers: Sequence[str],
    first_day: date,
    ticks: dict[str, list[SkillTick]],
    workers: Sequence[Worker],
    people: dict[str, Person],
    base: World,
) -> list[DiveWish]:
    """Return some dives of the course in order; what comes before them was ticked by an instructor."""
    course = base.skills.course(kind)
    assert course is not None
    number = random.choice((1, 2, 2, 2, 3))
    first = random.randint(1, len(course.dives) - number + 1)
    by = next((each.name for each in workers if people[each.name].level.is_instructor), "Vera Lind")
    for dive in course.dives[: first - 1]:
        ticks.setdefault(kind, []).extend(
            SkillTick(name, skill, dive.number, first_day - timedelta(days=3), by, "done")
            for name in divers
            for skill in dive.skills
        )
    found = []
    for dive in course.dives[first - 1 : first - 1 + number]:
        depth = 4.0 if dive.water == "confined" else (5.0 if young else 6.0)
        ascents = 2 if dive.water == "confined" else 1
        found.append(DiveWish(depth_m=depth, minutes=25, course_dive=dive.number, ascents=ascents))
    return found


def _wishes(
    random: Random,
    kind: str,
    dates: Sequence[date],
    workers: Sequence[Worker],
    slugs: Sequence[str],
    people: dict[str, Person],
) -> dict[str, Any]:
    leaders = [each.name for each in workers if each.duties != "ashore" and people[each.name].level.is_instructor]
    wishes: dict[str, Any] = {}
    if random.random() < 0.2 and len(dates) > 2:
        start = random.randrange(len(dates) - 1)
        wishes["days"] = tuple(dates[start : start + 3])
    possible = wishes.get("days", tuple(dates))
    if random.random() < 0.3:
        wishes["preferred_days"] = (random.choice(possible),)
    if random.random() < 0.3 and leaders and KINDS[kind].led:
        wishes["preferred_leader"] = random.choice(leaders)
    if random.random() < 0.1 and len(leaders) > 2:
        wishes["not_with"] = (random.choice([name for name in leaders if name != wishes.get("preferred_leader")]),)
    if random.random() < 0.15 and len(slugs) > 2:
        wishes["not_sites"] = (random.choice(slugs),)
    if kind != "night" and random.random() < 0.15:
        wishes["not_before"] = time(random.choice((9, 10)), 0)
    if kind != "night" and random.random() < 0.1:
        wishes["not_after"] = time(18, 0)
    return wishes


# ---- what must be, what must not ----


def _pins(random: Random, groups: Sequence[SchoolGroup], dates: Sequence[date]) -> tuple[Pin, ...]:
    if random.random() >= 0.3:
        return ()
    group = random.choice(groups)
    return (Pin(group=group.name, dives=(1,), day=random.choice(group.days or tuple(dates))),)


def _exclusions(
    random: Random,
    groups: Sequence[SchoolGroup],
    workers: Sequence[Worker],
    dates: Sequence[date],
    pins: Sequence[Pin],
) -> tuple[Exclusion, ...]:
    """Return what must not be; a group that is settled on a day is not kept from any."""
    found = []
    free = [group.name for group in groups if group.name not in {pin.group for pin in pins}]
    if random.random() < 0.3 and len(dates) > 1 and free:
        found.append(Exclusion(group=random.choice(free), day=random.choice(dates)))
    if random.random() < 0.3 and len(workers) > 5:
        found.append(Exclusion(group=random.choice(groups).name, person=random.choice(workers).name))
    return tuple(found)


# ---- what they go with ----


def _vehicles(random: Random, groups: int, days: int, dates: Sequence[date], tight: float) -> tuple[Vehicle, ...]:
    plenty = 3 + 2 * min(groups, 10)
    number = max(3, round(plenty * (1 - tight) + (2 + groups / days / 2) * tight))
    return tuple(
        Vehicle(
            name=f"Van {index + 1}" if index % 3 else f"Bus {index + 1}",
            seats=6 if index % 3 else 9,
            off=(random.choice(dates),) if len(dates) > 1 and random.random() < 0.1 else (),
        )
        for index in range(min(number, 60))
    )


def _kit(
    random: Random, groups: Sequence[SchoolGroup], people: dict[str, Person], first_day: date, tight: float
) -> Kit:
    """Return a store: with tight = 0 for everybody at once, with 1 for little more than two groups."""
    everybody = [people[name] for group in groups for name in group.divers] + list(people.values())
    at_once = sum(len(group.divers) + 2 for group in groups)
    scarce = min(at_once, 2 * max(len(group.divers) + 1 for group in groups) + 2)

    def share(number: float) -> int:
        return round(number * (1 - tight) + number * scarce / at_once * tight)

    sizes: dict[str, int] = {}
    feet: dict[str, int] = {}
    for person in everybody:
        suit, foot = person.sizes["suit"], person.sizes["fins"]
        sizes[suit] = sizes.get(suit, 0) + 1
        feet[foot] = feet.get(foot, 0) + 1
    by_size = {size: max(share(number), 3) for size, number in sorted(sizes.items())}
    by_foot = {foot: max(share(number), 3) for foot, number in sorted(feet.items())}
    small = sum(len(group.dives) * (len(group.divers) + 1) for group in groups if group.cylinder_l == CHILD_CYLINDER_L)
    large = sum(len(group.dives) * (len(group.divers) + 1) for group in groups if group.cylinder_l == CYLINDER_L)
    lately, tested = first_day - timedelta(days=60), first_day - timedelta(days=400)

    def cylinders(volume_l: float, number: int) -> list[CylinderItem]:
        return [
            CylinderItem(
                identity=f"C{volume_l:g}-{index}",
                volume_l=volume_l,
                metal="steel",
                working_bar=232,
                last_visual=lately,
                last_test=tested,
                out_of_service="valve leaks" if random.random() < 0.02 else "",
            )
            for index in range(number)
        ]

    suits = [
        SuitItem(identity=f"W-{size}-{index}", size=size, mm=SUIT_MM)
        for size, number in by_size.items()
        for index in range(number)
    ]
    return Kit(
        cylinders=(
            *cylinders(CYLINDER_L, max(share(large), 16 if large else 0)),
            *cylinders(CHILD_CYLINDER_L, max(share(small), 10 if small else 0)),
        ),
        regulators=tuple(
            RegulatorItem(identity=f"R{index}", serviced=lately, has_second_stage_spare=True, has_pressure_gauge=True)
            for index in range(max(share(at_once), 10))
        ),
        suits=tuple(suits),
        buoyancy_devices=tuple(SizedItem(size=size, count=number) for size, number in by_size.items()),
        masks=(UnsizedItem(count=max(share(at_once), 10)),),
        fins=tuple(SizedItem(size=foot, count=number) for foot, number in by_foot.items()),
        boots=tuple(SizedItem(size=foot, count=number) for foot, number in by_foot.items()),
        snorkels=(UnsizedItem(count=max(share(at_once), 10)),),
        weights=(WeightItem(kg=1.0, count=400),),
        safety=tuple(SafetyItem(thing=thing, count=40) for thing in SAFETY),
    )
