"""A schedule of an invented week made by hand, so that pages, sheets, calendars and tables are tested without solving.

Names and places are those of the demonstration. Seven days from Monday 7 December 2026, ten groups, five sites: one
group has no place at all, one lacks its last dive. `crowded_schedule` is one day of many groups, `long_schedule` is
fourteen days, both with names as long as a name can be.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from tripplan.check import Check, Outcome
from tripplan.people.group import KINDS
from tripplan.planning.request import Crew, DiveWish, GroupWish, Request
from tripplan.planning.schedule import (
    Change,
    DayTrip,
    Filling,
    Load,
    Moved,
    Outing,
    Schedule,
    ScheduledDive,
    ShoreTeam,
    Unplaced,
)

FIRST_DAY = date(2026, 12, 7)
ZONE = "Atlantic/Azores"
KIT_UP_MIN, AFTER_EXIT_MIN, SWIM_MIN, SPARE_MIN, SURFACE_MIN = 45, 30, 12, 10, 75
FILL_MIN = 10

# Slug: name, place, way in, way out, drive one way in minutes, kilometres one way, how the drive is known.
SITES = {
    "gull-cove": ("Gull Cove", "Sand bay", "Beach", "Beach", 20, 8.0, "as entered"),
    "stair-ledge": (
        "Stair Ledge",
        "Kelp shelf",
        "Steps",
        "Steps",
        25,
        11.0,
        "11 km, reckoned from the straight line times 1.4",
    ),
    "old-slip": ("Old Slip", "Slip foot", "Slipway", "Slipway", 10, 2.5, "as entered"),
    "lake-orrin": (
        "Lake Orrin",
        "Jetty slope",
        "Jetty",
        "Jetty",
        45,
        21.0,
        "21 km, reckoned from the straight line times 1.4",
    ),
    "pilots-pier": ("Pilots Pier", "Lamp wall", "Pier steps", "Pier steps", 15, 5.0, "as entered"),
}

# Group: kind, its divers, depth in metres and bottom time in minutes of each dive, the first dive of its course.
GROUPS: dict[str, tuple[str, tuple[str, ...], tuple[tuple[float, int], ...], bool]] = {
    "Petrels": ("level_1_course", ("Ruben Costa", "Zoe Carter"), ((6, 25), (8, 25), (12, 25), (12, 30)), True),
    "Terns": ("guided", ("Nadia Petit", "Owen Marsh", "Keiko Arai", "Hana Novak"), ((18, 30), (14, 30)), False),
    "Skuas": ("guided", ("Bruno Silva", "Eric Lund"), ((16, 25), (16, 25)), False),
    "Sanderlings": ("first_experience", ("Finn Lund", "Isla Voss"), ((4, 20), (5, 20)), False),
    "Dunlins": ("first_experience", ("Adaeze Obi", "Ivan Hruska"), ((4, 20),), False),
    "Turnstones": ("refresher", ("Rosa Marin", "Femi Balogun"), ((9, 25),), False),
    "Dippers": ("further_training", ("Clara Voss", "Jonas Beck"), ((18, 25), (20, 25)), False),
    "Knots": ("level_2_course", ("Mia Lindqvist", "Theo Garnier"), ((14, 25), (16, 25), (18, 20)), True),
    "Plovers": ("night", ("Noor Haddad", "Rosa Marin"), ((10, 25),), False),
    "Shearwaters": ("guided", ("Nadia Petit", "Lena Fischer"), ((20, 25), (16, 25)), False),
}


def at(day: date, clock: str, zone: str = ZONE) -> datetime:
    """Return a local time of a day, "HH:MM"."""
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=ZoneInfo(zone))


def later(moment: datetime, minutes: float) -> datetime:
    """Return the local time that many real minutes after a moment."""
    return (moment.astimezone(ZoneInfo("UTC")) + timedelta(minutes=minutes)).astimezone(moment.tzinfo)


def outing(
    group: str,
    day: date,
    site: str,
    entry: str,
    numbers: Sequence[int],
    leader: str | None,
    assistants: Sequence[str] = (),
    vehicles: Sequence[str] = ("Blue van",),
    zone: str = ZONE,
) -> Outing:
    """Return one outing of a group of the list: every other time follows from the first entry and the drive."""
    kind, divers, dives, course = GROUPS[group]
    name, place, way_in, way_out, drive_min, km, words = SITES[site]
    first = at(day, entry, zone)
    scheduled: list[ScheduledDive] = []
    start = first
    for number in numbers:
        depth_m, minutes = dives[number - 1]
        out = later(start, minutes + SWIM_MIN)
        scheduled.append(
            ScheduledDive(
                number=number,
                entry=start,
                exit=out,
                exit_by=later(out, SPARE_MIN),
                depth_m=depth_m,
                minutes=minutes,
                course_dive=number if course else None,
            )
        )
        start = later(out, SURFACE_MIN - (minutes + SWIM_MIN) % 5)
    off_site = later(scheduled[-1].exit, AFTER_EXIT_MIN)
    return Outing(
        group=group,
        kind=kind,
        kind_words=KINDS[kind].words,
        day=day,
        site=site,
        site_name=name,
        place=place,
        going_in_by=way_in,
        coming_out_by=way_out,
        dives=tuple(scheduled),
        leader=leader,
        assistants=tuple(assistants),
        divers=divers,
        vehicles=tuple(vehicles),
        leaves=later(first, -KIT_UP_MIN - drive_min),
        on_site=later(first, -KIT_UP_MIN),
        off_site=off_site,
        back=later(off_site, drive_min),
        margin_min=35,
        km=2 * km,
        drive_min=drive_min,
        drive_words=words,
    )


def shore_team(
    there: Sequence[Outing], director: str, watch: Sequence[str], oxygen: Sequence[str], vehicles: Sequence[str]
) -> ShoreTeam:
    """Return the shore team of outings at one site on one day."""
    arrives, goes = min(each.on_site for each in there), max(each.off_site for each in there)
    first = there[0]
    return ShoreTeam(
        site=first.site,
        site_name=first.site_name,
        day=first.day,
        director=director,
        watch=tuple(watch),
        oxygen_providers=tuple(oxygen),
        vehicles=tuple(vehicles),
        leaves=later(arrives, -first.drive_min),
        on_site=arrives,
        off_site=goes,
        back=later(goes, first.drive_min),
    )


def trips_of(outings: Sequence[Outing], shore: Sequence[ShoreTeam]) -> tuple[DayTrip, ...]:
    """Return a day trip, with its request, for each set of outings at one site whose times overlap."""
    places: dict[tuple[date, str], list[list[Outing]]] = defaultdict(list)
    for each in sorted(outings, key=lambda one: one.on_site):
        sets = places[each.day, each.site]
        if sets and each.on_site < max(other.off_site for other in sets[-1]):
            sets[-1].append(each)
        else:
            sets.append([each])
    trips = []
    for (day, site), sets in places.items():
        team = next(one for one in shore if (one.day, one.site) == (day, site))
        for number, together in enumerate(sets, 1):
            request = Request(
                title=f"{team.site_name}, {day.isoformat()}",
                site=site,
                date=day,
                crew=Crew(dive_director=team.director, shore_watch=team.watch, oxygen_provider=team.oxygen_providers),
                recent_dives="none",
                groups=tuple(
                    GroupWish(
                        name=each.group[:40],
                        kind=each.kind,
                        leader=each.leader,
                        assistants=each.assistants,
                        divers=each.divers,
                        cylinder_l=15.0,
                        fill_bar=220.0,
                        suit_mm=7.0,
                        dives=tuple(
                            DiveWish(depth_m=dive.depth_m, minutes=dive.minutes, entry=dive.entry.time())
                            for dive in each.dives
                        ),
                    )
                    for each in together
                ),
            )
            trips.append(
                DayTrip(
                    slug=f"{day.isoformat()}-{site}-{number}",
                    site=site,
                    day=day,
                    outings=tuple(each.key for each in together),
                    request=request,
                    verdict=Outcome.CAUTION,
                    cautions=("Nobody has seen or forecast the sea for this day.",),
                )
            )
    return tuple(sorted(trips, key=lambda trip: trip.slug))


def fillings_of(outings: Sequence[Outing], fill_min: int = FILL_MIN) -> tuple[Filling, ...]:
    """Return the fills of each day one after the other, each outing's after it is back."""
    fillings = []
    free: datetime | None = None
    for each in sorted(outings, key=lambda one: one.back):
        count = len(each.everybody) * len(each.dives)
        starts = each.back if free is None else max(each.back, free)
        free = later(starts, count * fill_min)
        fillings.append(Filling(each.group, each.key, {"15 l": count}, starts, free))
    return tuple(fillings)


def loads_of(outings: Sequence[Outing], shore: Sequence[ShoreTeam]) -> tuple[Load, ...]:
    """Return what each of the crew does, in order of name."""
    people = {name for each in outings for name in each.crew} | {name for team in shore for name in team.people}
    loads = []
    for name in sorted(people):
        mine = [each for each in outings if name in each.crew]
        ashore = [team for team in shore if name in team.people]
        dives = [dive for each in mine for dive in each.dives]
        spans = sorted((task.day, task.leaves, task.back) for task in (*mine, *ashore))
        days = sorted({day for day, _, _ in spans})
        rests = [
            (
                min(leaves for one, leaves, _ in spans if one == after)
                - max(back for one, _, back in spans if one == before)
            )
            / timedelta(hours=1)
            for before, after in pairwise(days)
        ]
        loads.append(
            Load(
                person=name,
                outings=len(mine),
                dives=len(dives),
                ascents=len(dives),
                water_min=sum(dive.minutes + SWIM_MIN for dive in dives),
                ashore_min=sum(int((team.off_site - team.on_site).total_seconds() // 60) for team in ashore),
                days=len(days),
                most_dives_day=max(
                    (sum(len(each.dives) for each in mine if each.day == day) for day in days), default=0
                ),
                shortest_rest_h=min(rests, default=None),
            )
        )
    return tuple(loads)


def _assemble(
    outings: Sequence[Outing],
    shore: Sequence[ShoreTeam],
    days: Sequence[date],
    unplaced: Sequence[Unplaced],
    fill_min: int = FILL_MIN,
) -> Schedule:
    outings = tuple(sorted(outings, key=lambda each: (each.leaves, each.group)))
    placed = sum(len(each.dives) for each in outings)
    terms = {
        "dives placed": 1000 * placed,
        "preferred leaders": 120,
        "preferred days": 80,
        "kilometres": -round(sum(each.km for each in outings)),
        "even load": -180,
        "margin": sum(each.margin_min for each in outings),
        "people ashore": -10 * sum(len(team.people) for team in shore),
    }
    return Schedule(
        title="An invented week in December",
        demonstration=True,
        centre_name="Verrow Shore Diving",
        first_day=days[0],
        days=tuple(days),
        timezone=ZONE,
        outings=outings,
        shore=tuple(shore),
        fillings=fillings_of(outings, fill_min),
        unplaced=tuple(unplaced),
        trips=trips_of(outings, shore),
        loads=loads_of(outings, shore),
        checks=(),
        terms=terms,
        status="feasible",
        objective=sum(terms.values()),
        bound=sum(terms.values()) + 240,
        seconds=58.4,
        seed=1,
        rounds=3,
        revision="5c1e0fa2",
    )


def sample_schedule() -> Schedule:
    """Return the week: 17 of 20 dives have a place."""
    days = tuple(FIRST_DAY + timedelta(days=ahead) for ahead in range(7))
    mon, tue, wed, thu, fri, sat, sun = days
    petrels = outing("Petrels", mon, "gull-cove", "09:30", (1, 2), "Ines Faro", ("Asha Rao",))
    sanderlings = outing("Sanderlings", mon, "old-slip", "11:00", (1,), "Tom Okafor", vehicles=("White bus",))
    terns = outing("Terns", tue, "stair-ledge", "09:15", (1, 2), "Luca Benti", vehicles=("White bus",))
    skuas = outing("Skuas", tue, "stair-ledge", "10:05", (1,), "Asha Rao")
    turnstones = outing("Turnstones", tue, "old-slip", "12:30", (1,), "Maren Dahl", vehicles=("Old estate car",))
    petrels_again = outing("Petrels", wed, "gull-cove", "09:30", (3, 4), "Ines Faro", ("Asha Rao",))
    dunlins = outing("Dunlins", wed, "gull-cove", "13:10", (1,), "Tom Okafor", vehicles=("White bus",))
    dippers = outing("Dippers", thu, "lake-orrin", "10:30", (1, 2), "Maren Dahl")
    plovers = outing("Plovers", thu, "pilots-pier", "17:30", (1,), "Tom Okafor", ("Luca Benti",), ("White bus",))
    knots = outing("Knots", fri, "gull-cove", "10:00", (1, 2), "Tom Okafor")
    sanderlings_again = outing("Sanderlings", fri, "gull-cove", "12:30", (2,), "Maren Dahl", vehicles=("White bus",))
    skuas_again = outing("Skuas", sat, "stair-ledge", "11:40", (2,), "Luca Benti")
    skuas_again = replace(skuas_again, pinned=True)
    teams = (
        shore_team([petrels], "Greta Holm", ("Yusuf Demir",), ("Greta Holm",), ("Old estate car",)),
        shore_team([sanderlings], "Luca Benti", ("Piotr Zelek",), ("Luca Benti",), ("Small pick-up",)),
        shore_team([terns, skuas], "Ines Faro", ("Yusuf Demir", "Greta Holm"), ("Greta Holm",), ("Small pick-up",)),
        shore_team([turnstones], "Sam Whitlow", ("Piotr Zelek",), ("Sam Whitlow",), ("Old estate car",)),
        shore_team([petrels_again, dunlins], "Greta Holm", ("Yusuf Demir",), ("Greta Holm",), ("Old estate car",)),
        shore_team([dippers], "Sam Whitlow", ("Greta Holm",), ("Greta Holm", "Sam Whitlow"), ("Old estate car",)),
        shore_team([plovers], "Ines Faro", ("Yusuf Demir",), ("Ines Faro",), ("Small pick-up",)),
        shore_team([knots, sanderlings_again], "Sam Whitlow", ("Greta Holm",), ("Greta Holm",), ("Old estate car",)),
        shore_team([skuas_again], "Ines Faro", ("Yusuf Demir",), ("Yusuf Demir",), ("Old estate car",)),
    )
    outings = (
        petrels,
        sanderlings,
        terns,
        skuas,
        turnstones,
        petrels_again,
        dunlins,
        dippers,
        plovers,
        knots,
        sanderlings_again,
        skuas_again,
    )
    unplaced = (
        Unplaced(
            group="Shearwaters",
            dives=(1, 2),
            because=(
                "Shearwaters can come on Sunday 13 December only.",
                "On that day nobody who may lead a guided dive works: Luca Benti and Asha Rao are off.",
                "Ines Faro would have worked seven days in seven; at most 6 are allowed.",
            ),
            would_fit_if=(
                Change(
                    sentence="It would fit on Sunday at Stair Ledge at 12:20 if Asha Rao worked on Sunday 13 December.",
                    kind="crew",
                    edits={"crew": {"Asha Rao": {"off": []}}},
                ),
                Change(
                    sentence="Dive 1 would fit on Saturday at Stair Ledge at 13:05 if the group could come then.",
                    kind="day",
                    edits={"groups": {"Shearwaters": {"days": [sat.isoformat(), sun.isoformat()]}}},
                ),
            ),
        ),
        Unplaced(
            group="Knots",
            dives=(3,),
            because=("The tide at Stair Ledge leaves no time for 18 m after Friday within the hours of the centre.",),
            would_fit_if=(),
        ),
    )
    schedule = _assemble(outings, teams, days, unplaced)
    return replace(
        schedule,
        checks=(
            Check(
                rule="work-rest",
                outcome=Outcome.OK,
                sentence="Everybody rests at least 11 h between the work of two days; the shortest is 14 h 3 min.",
                source="work.rest_h",
                found=14.05,
                limit=11,
                unit="h",
            ),
            Check(
                rule="cylinders-of-the-days",
                outcome=Outcome.CAUTION,
                sentence="All 8 cylinders of 15 l are in use on Tuesday from 10:00 to 14:00: none is left in reserve.",
                source="CENTRE",
                found=8,
                limit=8,
                unit="cylinders",
            ),
        ),
        moved=(
            Moved("Terns", "Terns, dives 1 to 2: Tuesday 8 December instead of Monday 7 December."),
            Moved("Dunlins", "Dunlins, dive 1: led by Tom Okafor instead of Maren Dahl."),
        ),
        notes=(
            "The drive to Stair Ledge is not entered: 11 km and 25 min are reckoned from the straight line.",
            "The drive to Lake Orrin is not entered: 21 km and 45 min are reckoned from the straight line.",
        ),
    )


def long_name(words: str, number: int, length: int = 60) -> str:
    """Return an invented name of exactly that many characters, different for each number."""
    tail = f" {number}"
    body = f"{words} of the Harbour Road Evening School and the Long Strand Summer Camp"
    return body[: length - len(tail)].rstrip().ljust(length - len(tail), "e") + tail


def crowded_schedule(groups: int = 40, day: date = FIRST_DAY, length: int = 60) -> Schedule:
    """Return one day of many groups at all sites, every name of group, place, person and vehicle long."""
    slugs = list(SITES)
    outings, teams = [], []
    for number in range(1, groups + 1):
        site = slugs[number % len(slugs)]
        like = outing(
            "Skuas", day, site, f"{9 + number % 5:02d}:{number % 12 * 5:02d}", (1, 2) if number % 3 else (1,), "x"
        )
        outings.append(
            replace(
                like,
                group=long_name("Divers", number, length),
                place=long_name("Gully", number, length),
                leader=long_name("Leaderina", number, length),
                assistants=tuple(long_name("Assistanta", 10 * number + each, length) for each in range(number % 3)),
                divers=tuple(long_name("Learnerina", 10 * number + each, length) for each in range(2 + number % 3)),
                vehicles=(long_name("Van", number, min(length, 40)),),
            )
        )
    for number, site in enumerate(slugs, 1):
        there = [each for each in outings if each.site == site]
        if there:
            names = [long_name("Shorewoman", 10 * number + each, length) for each in range(3)]
            teams.append(shore_team(there, names[0], names[1:], names[:1], (long_name("Car", number, 40),)))
    unplaced = tuple(
        Unplaced(
            group=long_name("Leftovers", number, length),
            dives=(1, 2),
            because=("Every minute of the day is taken at each site that suits the group.",) * 2,
            would_fit_if=(Change(f"It would fit on another day, change {number}.", "day", {}),),
        )
        for number in range(1, 4)
    )
    return _assemble(outings, teams, (day,), unplaced, fill_min=1)


def long_schedule(days: int = 14, groups_a_day: int = 6) -> Schedule:
    """Return many days, each like the crowded one with fewer groups; the names of groups say the day."""
    dates = tuple(FIRST_DAY + timedelta(days=ahead) for ahead in range(days))
    outings: list[Outing] = []
    teams: list[ShoreTeam] = []
    for index, day in enumerate(dates):
        one = crowded_schedule(groups_a_day, day, 40)
        outings += [
            replace(each, group=f"{each.group[:30]} {index + 1:02d}-{at}") for at, each in enumerate(one.outings)
        ]
        teams += one.shore
    return _assemble(outings, teams, dates, (), fill_min=1)
