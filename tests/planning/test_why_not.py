"""Why a group has no place, and what would give it one: each change that is told is made, and the days planned anew."""

from __future__ import annotations

import re
from datetime import date, time
from functools import cache

import pytest

from tests.bench.schedules import invented
from tests.planning.schedule_validator import violations
from tests.planning.school_world import (
    COVE,
    GUEST,
    ONE,
    QUARRY,
    SIZE,
    both_sites,
    crew,
    fleet,
    guided,
    school,
    school_world,
    store,
    trial,
)
from tests.planning.small_world import person
from tripplan.catalogue.site import Capacity
from tripplan.people.level import Level
from tripplan.planning.request import DiveWish
from tripplan.planning.schedule import Change, Schedule, Unplaced
from tripplan.planning.schedule_edit import apply, edits_from
from tripplan.planning.schedule_request import Absence, ClosedSite, Exclusion, Pin, ScheduleRequest, Start
from tripplan.planning.scheduling import Limits, make_schedule
from tripplan.planning.world import World

PROVED = Limits(seconds=None, seed=1, workers=1)
FIVE = ("Ann", "Ben", "Cy", "Dee", "Eva")
# What is smaller comes first: what the group itself gives up, then people, things, and divers who stay away.
ORDER = (
    "pin", "allowed", "site", "day", "open", "its hours", "dives a day", "apart", "assistant", "ashore", "leader",
    "vehicle", "hours", "kit", "cylinders", "smaller",
)  # fmt: skip
HEALTH = re.compile(r"medical|health|clear|doctor|fit to|ill\b|sick|pregnan|medicine|asthma|heart", re.IGNORECASE)


def hours(opens: time, closes: time) -> Start:
    return Start(position="46.9000, -16.9000", timezone="Atlantic/Azores", opens=opens, closes=closes)


def away(*names: str) -> tuple[Absence, ...]:
    return tuple(Absence(person=name, days=(ONE,)) for name in names)


MORNING = hours(time(8, 0), time(11, 30))
MANY = crew("Ida", "Ola", "Gil", Sol="ashore", Bea="ashore", Mae="ashore", Oxy="ashore")
THREES = (guided("Dabs", "Ann", "Ben", "Cy"), guided("Eels", "Dee", "Eva", "Flo"))
NARROW = both_sites()[COVE].model_copy(update={"capacity": Capacity(divers=4)})
PLENTY = school_world()
NO_OXYGEN = [person(name, Level.LEVEL_2, sizes=SIZE, oxygen_provider_until=None) for name in ("Sol", "Bea")]

# name: request, world, kinds of changes in their order, words of a reason and of the first change
Told = tuple[ScheduleRequest, World, tuple[str, ...], str, str]
CASES: dict[str, Told] = {
    "no assistant": (
        school(guided("Dabs", *FIVE), crew=crew("Ida", Sol="ashore", Bea="ashore")), PLENTY,
        ("assistant", "smaller"), "5 divers to one leader; 4 are allowed",
        "with one more assistant, with level and papers like Ida, on Monday 7 June",
    ),
    "the assistant leads another group": (
        school(
            guided("Dabs", *FIVE), guided("Eels", "Flo", "Hal", "Jo"), centre=MORNING,
            crew=crew("Ida", "Gil", Sol="ashore", Bea="ashore"),
        ), PLENTY,
        ("assistant", "smaller"), "nobody is free to assist", "with one more assistant, with level and papers like Gil",
    ),
    "nobody ashore": (
        school(guided("Dabs", "Ann", "Ben"), crew=crew(Ida="water", Sol="ashore")), PLENTY,
        ("ashore",), "nobody is free to stay ashore", "with one more person ashore who may give oxygen",
    ),
    "nobody ashore gives oxygen": (
        school(guided("Dabs", "Ann", "Ben"), crew=crew(Ida="water", Sol="ashore", Bea="ashore")),
        school_world(*NO_OXYGEN),
        ("ashore",), "nobody is free to stay ashore", "with one more person ashore who may give oxygen",
    ),
    "all leaders away": (
        school(guided("Dabs", "Ann", "Ben"), absent=away("Ida", "Gil")), PLENTY,
        ("leader",), "nobody of the crew works in the water on 7 June 2027", "with one more leader",
    ),
    "the only leader is not to go with it": (
        school(guided("Dabs", "Ann", "Ben", not_with=("Ida",)), crew=crew("Ida", Sol="ashore", Bea="ashore")), PLENTY,
        ("leader",), "but Ida, who must not go with it", "with one more leader, with level and papers like Ida",
    ),
    "no vehicle": (
        school(guided("Dabs", "Ann", "Ben", "Cy"), vehicles=fleet(3, 3)), PLENTY,
        ("vehicle", "smaller"), "no vehicle with seats enough is free",
        "with one more vehicle of 4 seats on Monday 7 June",
    ),
    "hours too short": (
        school(guided("Dabs", "Ann", "Ben", number=2, apart_h=1.0), centre=hours(time(8, 0), time(12, 0))),
        school_world(step=30),
        ("hours",), "Between 08:00 and 12:00 there is no room for Dabs", "if the centre closes at 13:00",
    ),
    "a closed site": (
        school(
            guided("Dabs", "Ann", "Ben"), sites=(COVE,), closed=(ClosedSite(site=COVE, because="road works"),)
        ), PLENTY,
        ("open",), "Cove is closed on 7 June 2027: road works", "if Cove is open",
    ),
    "its own days": (
        school(guided("Dabs", "Ann", "Ben", days=(ONE,)), days=2, absent=away("Ida", "Gil")), PLENTY,
        ("day", "leader"), "nobody of the crew works in the water", "if it can also come on Tuesday 8 June",
    ),
    "its own sites": (
        school(trial("Gobies", "Wim", "Zoe", sites=(QUARRY,))), PLENTY,
        ("site",), "has no certificate; Quarry admits level 1", "if it may also go to Cove",
    ),
    "sites that it avoids": (
        school(trial("Gobies", "Wim", "Zoe", not_sites=(COVE,))), PLENTY,
        ("site",), "has no certificate; Quarry admits level 1", "if it may also go to Cove",
    ),
    "its own hours": (
        school(guided("Dabs", "Ann", "Ben", not_before=time(16, 0), not_after=time(18, 0))), PLENTY,
        ("its hours",), "the window and the hours leave no minute", "if it can come at any hour of the centre",
    ),
    "too many divers": (
        school(guided("Dabs", *FIVE, "Flo", "Hal", "Jo")), PLENTY,
        ("assistant", "smaller"), "8 divers to one leader; 4 are allowed", "with one more assistant",
    ),
    "masks short": (
        school(guided("Dabs", "Ann", "Ben", "Cy")), school_world(kit=store(mask=3)),
        ("kit", "smaller"), "Masks that fit are short", "with 1 more mask that fits",
    ),
    "suits short": (
        school(guided("Dabs", "Ann", "Ben", "Cy")), school_world(kit=store(suit=2)),
        ("kit", "smaller"), "Suits that fit are short", "with 2 more suits that fit",
    ),
    "no flag": (
        school(guided("Dabs", "Ann", "Ben", "Cy")), school_world(kit=store(flag=0)),
        ("kit",), "Every flag of the store is out", "with one more flag",
    ),
    "no oxygen kit": (
        school(guided("Dabs", "Ann", "Ben", "Cy")), school_world(kit=store(oxygen_kit=0, first_aid_kit=0)),
        ("kit",), "no oxygen kit and no first-aid kit is left", "with one more oxygen kit and one more first-aid kit",
    ),
    "cylinders short": (
        school(*THREES, crew=MANY), school_world(kit=store(6)),
        ("cylinders", "smaller"), "Cylinders of 15 l are short", "with 2 more cylinders of 15 l",
    ),
    "papers out of date": (
        school(guided("Dabs", "Ann", "Ben", "Cy")),
        school_world(person("Cy", Level.LEVEL_2, medical=date(2020, 1, 1), **GUEST)),
        ("smaller",), "Cy: the personal papers stop this dive. What they say is for the leader: ask.", "without Cy",
    ),
    "papers that say no": (
        school(guided("Dabs", "Ann", "Ben", "Cy")),
        school_world(person("Cy", Level.LEVEL_2, medical_clear=False, **GUEST)),
        ("smaller",), "Cy: the personal papers stop this dive. What they say is for the leader: ask.", "without Cy",
    ),
    "a minute that is settled and cannot be": (
        school(guided("Dabs", "Ann", "Ben"), pinned=(Pin(group="Dabs", dives=(1,), day=ONE, entry=time(18, 0)),)),
        PLENTY,
        ("pin", "hours"), "the window and the hours leave no minute", "if dive 1 is not settled as it is",
    ),
    "a leader who is settled and cannot be": (
        school(guided("Dabs", "Ann", "Ben"), pinned=(Pin(group="Dabs", dives=(1,), leader="Sol"),)), PLENTY,
        ("pin",), "What is settled for dive 1 of Dabs does not fit", "if dive 1 is not settled as it is",
    ),
    "an excluded day": (
        school(guided("Dabs", "Ann", "Ben"), excluded=(Exclusion(group="Dabs", day=ONE),)), PLENTY,
        ("allowed",), "as excluded", "if it may dive on Monday 7 June",
    ),
    "an excluded person": (
        school(
            guided("Dabs", "Ann", "Ben"), crew=crew("Ida", Sol="ashore", Bea="ashore"),
            excluded=(Exclusion(group="Dabs", person="Ida"),),
        ), PLENTY,
        ("allowed", "leader"), "It is excluded that Ida leads or assists Dabs", "if Ida may lead or assist it",
    ),
    "one dive a day": (
        school(guided("Dabs", "Ann", "Ben", number=2, most_dives_per_day=1)), PLENTY,
        ("dives a day",), "With 1 dive a day the days are too few", "if it makes 2 dives in a day",
    ),
    "hours between its outings": (
        school(
            guided("Dabs", "Ann", "Ben", number=2, apart_h=30.0), days=2,
            pinned=(Pin(group="Dabs", dives=(1,)), Pin(group="Dabs", dives=(2,))),
        ), school_world(step=120),
        ("apart", "hours"), "With 30 h between its outings there is no room for Dabs",
        "if its outings may be 1 h apart",
    ),
    "a leader and a vehicle at once": (
        school(
            guided("Dabs", "Ann", "Ben"), guided("Eels", "Cy", "Dee"), vehicles=fleet(3, 2),
            centre=hours(time(8, 0), time(11, 0)), crew=crew(Ida="water", Gil="ashore", Sol="ashore"),
        ), PLENTY,
        ("leader and vehicle",), "nobody is free to lead. At the times that suit",
        "with one more leader, with level and papers like Ida and with one more vehicle",
    ),
    "deeper than anybody may": (
        school(guided("Dabs", "Ann", "Ben", dives=(DiveWish(depth_m=50, minutes=20),))), PLENTY,
        (), "50 m is wished", "",
    ),
    "room in the water for one group": (
        school(*THREES, crew=MANY, sites=(COVE,), centre=MORNING),
        school_world(sites={**both_sites(), COVE: NARROW}),
        ("hours",), "Between 08:00 and 11:30 there is no room", "if the centre closes at 12:30",
    ),
}  # fmt: skip


@cache
def made(name: str) -> tuple[Schedule, Unplaced]:
    request, world, *_ = CASES[name]
    schedule = make_schedule(request, world, limits=PROVED)
    assert len(schedule.unplaced) == 1
    return schedule, schedule.unplaced[0]


@pytest.mark.parametrize("name", CASES)
def test_the_true_cause_and_the_smallest_change_are_told_first(name: str) -> None:
    _, _, kinds, because, first = CASES[name]
    _, unplaced = made(name)
    assert any(because in reason for reason in unplaced.because)
    assert tuple(change.kind for change in unplaced.would_fit_if) == kinds
    if kinds:
        assert unplaced.would_fit_if[0].sentence.startswith(first)
    places = [ORDER.index(kind) for kind in kinds if " and " not in kind]
    assert places == sorted(places)


@pytest.mark.parametrize("name", [name for name, told in CASES.items() if told[2]])
def test_every_change_gives_the_group_all_its_dives(name: str) -> None:
    request, world, *_ = CASES[name]
    schedule, unplaced = made(name)
    for change in unplaced.would_fit_if:
        helps(change, unplaced.group, schedule, request, world)


@pytest.mark.parametrize("name", [name for name, told in CASES.items() if any(" and " in kind for kind in told[2])])
def test_of_two_changes_at_once_neither_can_be_left_out(name: str) -> None:
    request, world, *_ = CASES[name]
    schedule, unplaced = made(name)
    for change in unplaced.would_fit_if:
        edits = edits_from(change.edits)
        for index in range(len(edits)):
            part = apply(request, world, (*edits[:index], *edits[index + 1 :]))
            again = make_schedule(*part, limits=PROVED, explain=False)
            assert again.placed <= schedule.placed, edits[index]


def helps(change: Change, group: str, schedule: Schedule, request: ScheduleRequest, world: World) -> None:
    """Make a change and plan again: the group has every dive, more dives are placed, and no rule is broken."""
    changed, seen = apply(request, world, edits_from(change.edits))
    again = make_schedule(changed, seen, limits=PROVED, explain=False)
    assert violations(again, changed, seen, explained=False) == [], change.sentence
    assert group not in {each.group for each in again.unplaced}, change.sentence
    assert again.placed > schedule.placed, change.sentence


@pytest.mark.parametrize("name", CASES)
def test_the_words_are_plain_and_say_nothing_of_health(name: str) -> None:
    _, unplaced = made(name)
    for sentence in unplaced.because:
        assert sentence.endswith(".") and sentence[0].isupper()
    for change in unplaced.would_fit_if:
        assert re.match(r"(if|with|without) ", change.sentence), change.sentence
        assert not change.sentence.endswith(".")
    said = " ".join((*unplaced.because, *(change.sentence for change in unplaced.would_fit_if)))
    assert not HEALTH.search(said), said
    assert "_" not in said and "None" not in said and "2027-" not in said, said


def test_a_change_that_does_not_help_is_not_told() -> None:
    """More crew, vehicles and hours mend no closed site; another site mends no missing leader."""
    kinds = {name: {change.kind for change in made(name)[1].would_fit_if} for name in CASES}
    assert not kinds["a closed site"] & {"leader", "assistant", "ashore", "hours", "smaller"}
    assert not kinds["no vehicle"] & {"leader", "assistant", "ashore", "hours"}
    assert not kinds["papers out of date"] & {"leader", "assistant", "ashore", "hours", "vehicle"}
    assert kinds["deeper than anybody may"] == set()


def test_a_group_is_left_out_for_another_only_where_nothing_else_helps() -> None:
    """One leader for two groups at the same hour, whose level nobody else has, and no hour more in the day."""
    request = school(
        guided("Dabs", "Ann", "Ben", "Cy"),
        guided("Eels", "Dee", "Eva", "Flo"),
        crew=crew(Ida="water", Sol="ashore", Bea="ashore"),
        centre=MORNING,
    )
    unplaced = make_schedule(request, PLENTY, limits=PROVED).unplaced[0]
    assert "leader" in {change.kind for change in unplaced.would_fit_if}
    assert "without" not in {change.kind for change in unplaced.would_fit_if}


@pytest.mark.parametrize("seed", [26])
def test_every_change_told_at_an_invented_centre_helps(seed: int) -> None:
    request, world = invented(3, 2, 4, 1, seed, tight=1.0)
    schedule = make_schedule(request, world, limits=PROVED)
    told = [(each, change) for each in schedule.unplaced for change in each.would_fit_if]
    assert schedule.unplaced
    if len(schedule.unplaced) == 1:  # with several the dives won may be those of another group
        for unplaced, change in told:
            if change.kind != "without":
                helps(change, unplaced.group, schedule, request, world)
    assert all(each.because for each in schedule.unplaced)
