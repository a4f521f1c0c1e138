"""What a file of some days may say: every fault on its line, with a sentence, and every name that must be known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, time, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import small_world
from pydantic import ValidationError

from tripplan.errors import BadRecord
from tripplan.planning.request import FIRST_DAY, LAST_DAY
from tripplan.planning.schedule_request import (
    MOST_DAYS,
    Exclusion,
    Pin,
    ScheduleRequest,
    SchoolGroup,
    Start,
    Worker,
    read_schedule_request,
    schedule_faults,
    schedule_request_from,
)
from tripplan.planning.world import World
from tripplan.record import TomlFile

PATH = Path("week.toml")
TEXT = """\
# Three invented days at a cove. Demonstration only.
title = "Three days"
first_day = 2027-06-12
days = 3
sites = ["plain-cove"]
settled = false
recent_dives = "none"

[centre]
position = "47.0100, -17.0100"
timezone = "Atlantic/Azores"
opens = "07:00"
closes = "19:30"

[compressor]
fill_min = 8
opens = "08:00"
closes = "18:00"

[[drives]]
site = "plain-cove"
minutes = 12
km = 9.5

[[vehicles]]
name = "Van"
seats = 9
off = [2027-06-13]

[[crew]]
name = "Ida"
off = [2027-06-14]
starts = "07:30"
ends = "18:30"

[[crew]]
name = "Ola"

[[crew]]
name = "Oxy"
duties = "ashore"

[[closed]]
site = "plain-cove"
days = [2027-06-14]
because = "the village feast"

[[groups]]
name = "Terns"
kind = "guided"
place = "Slope"
divers = ["Ann", "Ben"]
days = [2027-06-12, 2027-06-13]
preferred_days = [2027-06-12]
preferred_leader = "Ida"
not_with = ["Ola"]
sites = ["plain-cove"]
not_before = "08:00"
not_after = "17:00"
most_dives_per_day = 2
apart_h = 4
[[groups.dives]]
depth_m = 12
minutes = 30
[[groups.dives]]
depth_m = 10
minutes = 35

[[groups]]
name = "Skuas"
kind = "autonomous"
divers = ["Gil", "Max"]
[[groups.dives]]
depth_m = 18
minutes = 25

[[pinned]]
group = "Terns"
dives = [1]
day = 2027-06-12
site = "plain-cove"
entry = "09:30"
leader = "Ida"
assistants = []

[[excluded]]
group = "Skuas"
day = 2027-06-13
site = "plain-cove"

[[absent]]
person = "Ola"
days = [2027-06-12]
because = "at a meeting"
"""

Swap = tuple[str, str]


def written(*swaps: Swap) -> str:
    text = TEXT
    for old, new in swaps:
        assert text.count(old) >= 1, old
        text = text.replace(old, new, 1)
    return text


def read(*swaps: Swap) -> ScheduleRequest:
    return schedule_request_from(TomlFile(PATH, written(*swaps)))


def faults(text: str) -> list[tuple[int, str]]:
    with pytest.raises(BadRecord) as refused:
        schedule_request_from(TomlFile(PATH, text))
    assert all(str(fault).startswith(f"week.toml:{fault.line}: ") for fault in refused.value.faults)
    return [(fault.line, fault.message) for fault in refused.value.faults]


def within(mark: str, old: str, new: str) -> Swap:
    """Return an edit of the first such words after a mark."""
    start = TEXT.index(mark)
    end = TEXT.index(old, start) + len(old)
    part = TEXT[start:end]
    return part, part.removesuffix(old) + new


# ---- what a file says ----


def test_a_file_is_read_as_it_is_written() -> None:
    asked = read()
    assert asked.title == "Three days"
    assert asked.dates == (date(2027, 6, 12), date(2027, 6, 13), date(2027, 6, 14))
    assert asked.centre == Start(
        position="47.0100, -17.0100", timezone="Atlantic/Azores", opens=time(7), closes=time(19, 30)
    )
    assert asked.compressor is not None and asked.compressor.fill_min == 8
    assert [(each.name, each.seats) for each in asked.vehicles or ()] == [("Van", 9)]
    assert asked.worker("Ida") == Worker(
        name="Ida", off=(date(2027, 6, 14),), starts=time(7, 30), ends=time(18, 30)
    )  # fmt: skip
    assert asked.worker("Oxy").duties == "ashore"
    terns = asked.group("Terns")
    assert (terns.preferred_leader, terns.apart_h, terns.most_dives_per_day) == ("Ida", 4, 2)
    assert [(dive.depth_m, dive.minutes) for dive in terns.dives] == [(12, 30), (10, 35)]
    assert asked.group("Skuas").needs_seats
    assert asked.pinned[0].assistants == () and asked.pinned[0].entry == time(9, 30)
    assert asked.excluded == (Exclusion(group="Skuas", day=date(2027, 6, 13), site="plain-cove"),)
    assert asked.absent[0].because == "at a meeting"
    assert schedule_faults(asked, small_world.world()) == ()


def test_what_is_left_out_is_not_taken_for_none() -> None:
    """No vehicles listed means that nobody counts seats; an empty list means that there is no vehicle."""
    swap = (TEXT[TEXT.index("[[vehicles]]") : TEXT.index("[[crew]]")], "")
    assert read(swap).vehicles is None
    assert read(swap, ("days = 3\n", "days = 3\nvehicles = []\n")).vehicles == ()
    assert read(("assistants = []\n", "")).pinned[0].assistants is None
    assert read(('recent_dives = "none"\n', "")).recent_dives is None


@pytest.mark.parametrize("days", [1, MOST_DAYS])
def test_the_days_are_counted_from_the_first(days: int) -> None:
    values: dict[str, Any] = {
        "first_day": date(2026, 12, 25),
        "days": days,
        "centre": read().centre,
        "crew": (Worker(name="Ida"),),
        "groups": (read().group("Skuas"),),
    }
    dates = ScheduleRequest(**values).dates
    assert dates[0] == date(2026, 12, 25) and len(dates) == days
    assert all(after == before + timedelta(days=1) for before, after in pairwise(dates))


@pytest.mark.parametrize("found", ["group", "worker"])
def test_a_name_that_is_not_there_is_a_key_error(found: str) -> None:
    with pytest.raises(KeyError):
        getattr(read(), found)("Nobody")


def test_a_file_on_disk_is_read_too(tmp_path: Path) -> None:
    (tmp_path / "week.toml").write_text(TEXT, encoding="utf-8")
    assert read_schedule_request(tmp_path / "week.toml") == read()
    with pytest.raises(BadRecord, match=r"gone\.toml:1: there is no such file"):
        read_schedule_request(tmp_path / "gone.toml")


# ---- faults of a file ----

SECOND_PIN = '[[pinned]]\ngroup = "Terns"\ndives = [1, 2]\n\n[[excluded]]'
RECENT = '\n[[recent_dives]]\nperson = "Ann"\ndepth_m = 12\nminutes = 30\nsurfaced = {}\n'
NO_RECENT = ('recent_dives = "none"\n', "")

FAULTS: Mapping[str, tuple[tuple[Swap, ...], str, str]] = {  # edits of the file, words of the line at fault, sentence
    "doors close before they open": (
        (('closes = "19:30"', 'closes = "06:59"'),),
        'closes = "06:59"',
        "centre.closes is 06:59, not after opens 07:00; no day goes on after midnight",
    ),
    "doors open no time at all": (
        (('closes = "19:30"', 'closes = "07:00"'),),
        'closes = "07:00"',
        "centre.closes is 07:00, not after opens 07:00; no day goes on after midnight",
    ),
    "a position that is none": (
        (('"47.0100, -17.0100"', '"47,0100, -17,0100"'),),
        "47,0100",
        'centre.position is "47,0100, -17,0100": not read as a position: decimals have a point, not a comma; '
        'accepted: decimal degrees "47.0512, -17.1234", or degrees and decimal minutes "47 03.072 N, 17 07.404 W"',
    ),
    "a position that nobody filled in": (
        (('"47.0100, -17.0100"', '"0, 0"'),),
        'position = "0, 0"',
        'centre.position is "0, 0": 0, 0 lies in the Gulf of Guinea, where positions that were never filled in are '
        "found",
    ),
    "a position not on the globe": (
        (('"47.0100, -17.0100"', '"97.0100, -17.0100"'),),
        "97.0100",
        'centre.position is "97.0100, -17.0100": latitude is 97.01; it must be from -90 to 90 degrees',
    ),
    "a time zone that is none": (
        (("Atlantic/Azores", "Atlantic/Verrow"),),
        "Atlantic/Verrow",
        'centre.timezone is "Atlantic/Verrow": not a time zone known here; give an IANA name such as Atlantic/Azores',
    ),
    "a compressor that stops before it starts": (
        (('closes = "18:00"', 'closes = "07:30"'),),
        'closes = "07:30"',
        "compressor.closes is 07:30, not after opens 08:00",
    ),
    "a fill in no time": (
        (("fill_min = 8", "fill_min = 0"),),
        "fill_min = 0",
        "compressor.fill_min is 0; it must be more than 0 (minutes to fill one cylinder, connecting included)",
    ),
    "somebody who goes home before coming": (
        (('ends = "18:30"', 'ends = "07:30"'),),
        'ends = "07:30"',
        "crew[1].ends is 07:30, not after starts 07:30",
    ),
    "a day off twice": (
        (("off = [2027-06-14]", "off = [2027-06-14, 2027-06-14]"),),
        "off = [2027-06-14, 2027-06-14]",
        'crew[1].off[2] is "2027-06-14", which stands in the list already',
    ),
    "a vehicle off twice": (
        (("off = [2027-06-13]", "off = [2027-06-13, 2027-06-13]"),),
        "off = [2027-06-13, 2027-06-13]",
        'vehicles[1].off[2] is "2027-06-13", which stands in the list already',
    ),
    "a site closed twice on a day": (
        (within("[[closed]]", "days = [2027-06-14]", "days = [2027-06-14, 2027-06-14]"),),
        "days = [2027-06-14, 2027-06-14]",
        'closed[1].days[2] is "2027-06-14", which stands in the list already',
    ),
    "absent twice on a day": (
        (within("[[absent]]", "days = [2027-06-12]", "days = [2027-06-12, 2027-06-12]"),),
        "\ndays = [2027-06-12, 2027-06-12]",
        'absent[1].days[2] is "2027-06-12", which stands in the list already',
    ),
    "absent on no day": (
        (within("[[absent]]", "days = [2027-06-12]", "days = []"),),
        "days = []",
        "absent[1].days holds 0; it must hold at least 1 (the days)",
    ),
    "a site twice": (
        (('sites = ["plain-cove"]\nsettled', 'sites = ["plain-cove", "Plain-Cove "]\nsettled'),),
        'sites = ["plain-cove", "Plain-Cove "]',
        'sites[2] is "Plain-Cove", which stands in the list already',
    ),
    "a leader who is chosen by the schedule": (
        (('kind = "guided"', 'kind = "guided"\nleader = "Ida"'),),
        '\nleader = "Ida"\nplace',
        "groups[1].leader is given; the schedule chooses who leads. Pin somebody by [[pinned]], or prefer one",
    ),
    "assistants who are chosen by the schedule": (
        (('kind = "guided"', 'kind = "guided"\nassistants = ["Ola"]'),),
        'assistants = ["Ola"]',
        "groups[1].assistants is given; the schedule chooses who leads. Pin somebody by [[pinned]], or prefer one",
    ),
    "a dive without a depth": (
        (("depth_m = 10\n", ""),),
        "[[groups.dives]]\nminutes = 35",
        "groups[1].dives[2].depth_m is missing; a schedule needs depth and bottom time of every dive",
    ),
    "a dive without a bottom time": (
        (("\nminutes = 25", ""),),
        "[[groups.dives]]\ndepth_m = 18",
        "groups[2].dives[1].minutes is missing; a schedule needs depth and bottom time of every dive",
    ),
    "a dive with an entry": (
        (("minutes = 25", 'minutes = 25\nentry = "09:00"'),),
        'entry = "09:00"',
        "groups[2].dives[1].entry is given; a dive is fixed by [[pinned]], a group by its not_before",
    ),
    "a dive with an earliest entry": (
        (("minutes = 25", 'minutes = 25\nnot_before = "09:00"'),),
        'not_before = "09:00"',
        "groups[2].dives[1].not_before is given; a dive is fixed by [[pinned]], a group by its not_before",
    ),
    "a preferred day on which the group cannot come": (
        (("preferred_days = [2027-06-12]", "preferred_days = [2027-06-14]"),),
        "preferred_days = [2027-06-14]",
        "groups[1].preferred_days[1] is 2027-06-14, on which the group cannot come by its days",
    ),
    "a group that is back before it leaves": (
        (('not_after = "17:00"', 'not_after = "08:00"'),),
        'not_after = "08:00"',
        "groups[1].not_after is 08:00, not after not_before 08:00",
    ),
    "a preferred leader who is not wanted": (
        (('not_with = ["Ola"]', 'not_with = ["Ola", "Ida"]'),),
        'preferred_leader = "Ida"',
        'groups[1].preferred_leader is "Ida", whom not_with names too',
    ),
    "a site wanted and not": (
        (('not_before = "08:00"', 'not_before = "08:00"\nnot_sites = ["plain-cove"]'),),
        "not_sites",
        'groups[1].not_sites[1] is "plain-cove", which sites names too',
    ),
    "somebody twice among those not to lead": (
        (('not_with = ["Ola"]', 'not_with = ["Ola", "ola"]'),),
        'not_with = ["Ola", "ola"]',
        'groups[1].not_with[2] is "ola", which stands in the list already',
    ),
    "seven dives": (
        (("minutes = 25", "minutes = 25" + "\n[[groups.dives]]\ndepth_m = 8\nminutes = 20" * 6),),
        "[[groups.dives]]\ndepth_m = 18",
        "groups[2].dives holds 7; it must hold at most 6 (one to six dives)",
    ),
    "pinned dives with a gap": (
        (("dives = [1]", "dives = [2, 1]"),),
        "dives = [2, 1]",
        "pinned[1].dives[2] is 1; dives of one outing follow each other, like [1, 2]",
    ),
    "a pinned minute of no day": (
        (("\nday = 2027-06-12\n", "\n"),),
        'entry = "09:30"',
        "pinned[1].entry is given without a day",
    ),
    "a pinned assistant twice": (
        (("assistants = []", 'assistants = ["Ola", "Ola"]'),),
        'assistants = ["Ola", "Ola"]',
        'pinned[1].assistants[2] is "Ola", which stands in the list already',
    ),
    "a pinned leader who assists": (
        (("assistants = []", 'assistants = ["Ola", "IDA"]'),),
        'assistants = ["Ola", "IDA"]',
        'pinned[1].assistants[2] is "IDA", who leads',
    ),
    "an exclusion of nothing": (
        (('\nday = 2027-06-13\nsite = "plain-cove"', ""),),
        "[[excluded]]",
        "excluded[1] excludes nothing; give day, site or person",
    ),
    "a group twice": (
        (('name = "Skuas"', 'name = "terns"'), ('group = "Skuas"', 'group = "terns"')),
        'name = "terns"',
        'groups[2].name is "terns", as groups[1] is; each stands once',
    ),
    "a worker twice": (
        (('name = "Ola"', 'name = "IDA"'), ('"Ola"]', '"IDA"]'), ('person = "Ola"', 'person = "IDA"')),
        'name = "IDA"',
        'crew[2].name is "IDA", as crew[1] is; each stands once',
    ),
    "a vehicle twice": (
        (("off = [2027-06-13]", 'off = [2027-06-13]\n\n[[vehicles]]\nname = "van "\nseats = 5'),),
        'name = "van "',
        'vehicles[2].name is "van", as vehicles[1] is; each stands once',
    ),
    "a drive twice": (
        (("km = 9.5", 'km = 9.5\n\n[[drives]]\nsite = "Plain-cove"\nminutes = 30\nkm = 20'),),
        'site = "Plain-cove"',
        'drives[2].site is "Plain-cove", as drives[1] is; each stands once',
    ),
    "a fifteenth day": (
        (("days = 3\n", "days = 15\n"),),
        "days = 15",
        "days is 15; it must be at most 14 (how many days, 1 to 14)",
    ),
    "days after the tides end": (
        (("first_day = 2027-06-12", "first_day = 2099-12-30"),),
        "days = 3",
        "days is 3; all days must be from 1901-01-01 to 2099-12-31",
    ),
    "a vehicle off on another day": (
        (("off = [2027-06-13]", "off = [2027-06-11]"),),
        "off = [2027-06-11]",
        "vehicles[1].off[1] is 2027-06-11, outside the days of this file, 2027-06-12 to 2027-06-14",
    ),
    "a worker off on another day": (
        (("off = [2027-06-14]", "off = [2027-06-15]"),),
        "off = [2027-06-15]",
        "crew[1].off[1] is 2027-06-15, outside the days of this file, 2027-06-12 to 2027-06-14",
    ),
    "a site closed on another day": (
        (within("[[closed]]", "days = [2027-06-14]", "days = [2028-06-14]"),),
        "days = [2028-06-14]",
        "closed[1].days[1] is 2028-06-14, outside the days of this file, 2027-06-12 to 2027-06-14",
    ),
    "a group that comes on another day": (
        (("days = [2027-06-12, 2027-06-13]", "days = [2027-06-12, 2027-07-13]"),),
        "days = [2027-06-12, 2027-07-13]",
        "groups[1].days[2] is 2027-07-13, outside the days of this file, 2027-06-12 to 2027-06-14",
    ),
    "a preferred day that is another": (
        (("days = [2027-06-12, 2027-06-13]\npreferred_days = [2027-06-12]", "preferred_days = [2027-06-10]"),),
        "preferred_days = [2027-06-10]",
        "groups[1].preferred_days[1] is 2027-06-10, outside the days of this file, 2027-06-12 to 2027-06-14",
    ),
    "absent on another day": (
        (within("[[absent]]", "days = [2027-06-12]", "days = [2027-06-12, 2027-06-20]"),),
        "days = [2027-06-12, 2027-06-20]",
        "absent[1].days[2] is 2027-06-20, outside the days of this file, 2027-06-12 to 2027-06-14",
    ),
    "pinned to another day": (
        (("\nday = 2027-06-12\n", "\nday = 2027-06-11\n"),),
        "\nday = 2027-06-11",
        "pinned[1].day is 2027-06-11, outside the days of this file, 2027-06-12 to 2027-06-14",
    ),
    "excluded on another day": (
        (("day = 2027-06-13\n", "day = 2027-06-15\n"),),
        "\nday = 2027-06-15",
        "excluded[1].day is 2027-06-15, outside the days of this file, 2027-06-12 to 2027-06-14",
    ),
    "a pin of an unknown group": (
        (('group = "Terns"', 'group = "Gulls"'),),
        'group = "Gulls"',
        'pinned[1].group is "Gulls", which is none of the groups: Terns, Skuas',
    ),
    "an exclusion of an unknown group": (
        (('group = "Skuas"', 'group = "Gulls"'),),
        'group = "Gulls"',
        'excluded[1].group is "Gulls", which is none of the groups: Terns, Skuas',
    ),
    "a pin of a dive too many": (
        (("dives = [1]", "dives = [2, 3]"),),
        "dives = [2, 3]",
        "pinned[1].dives[2] is 3; Terns has 2 dives",
    ),
    "a dive pinned twice": (
        (("[[excluded]]", SECOND_PIN),),
        "dives = [1, 2]",
        "pinned[2].dives[1] is 1, which pinned[1] holds already",
    ),
    "a preferred leader who does not work": (
        (('preferred_leader = "Ida"', 'preferred_leader = "Tia"'),),
        'preferred_leader = "Tia"',
        'groups[1].preferred_leader is "Tia", who is not in the crew of these days: Ida, Ola, Oxy',
    ),
    "not with somebody who does not work": (
        (('not_with = ["Ola"]', 'not_with = ["Tia"]'),),
        'not_with = ["Tia"]',
        'groups[1].not_with[1] is "Tia", who is not in the crew of these days: Ida, Ola, Oxy',
    ),
    "crew as diver": (
        (('divers = ["Ann", "Ben"]', 'divers = ["Ann", "Ola"]'),),
        'divers = ["Ann", "Ola"]',
        'groups[1].divers[2] is "Ola", who is in the crew: somebody who learns or is guided does not work as well',
    ),
    "a pinned leader who does not work": (
        (('leader = "Ida"\nassistants', 'leader = "Tia"\nassistants'),),
        '\nleader = "Tia"',
        'pinned[1].leader is "Tia", who is not in the crew of these days: Ida, Ola, Oxy',
    ),
    "a pinned assistant who does not work": (
        (("assistants = []", 'assistants = ["Ola", "Tia"]'),),
        'assistants = ["Ola", "Tia"]',
        'pinned[1].assistants[2] is "Tia", who is not in the crew of these days: Ida, Ola, Oxy',
    ),
    "an exclusion of somebody who does not work": (
        (('\nday = 2027-06-13\nsite = "plain-cove"', '\nperson = "Tia"'),),
        'person = "Tia"',
        'excluded[1].person is "Tia", who is not in the crew of these days: Ida, Ola, Oxy',
    ),
    "an absence of somebody who does not work": (
        (('person = "Ola"', 'person = "Tia"'),),
        'person = "Tia"',
        'absent[1].person is "Tia", who is not in the crew of these days: Ida, Ola, Oxy',
    ),
    "no recent dives, not said in words": (
        (('recent_dives = "none"', "recent_dives = []"),),
        "recent_dives = []",
        'recent_dives is an empty list; write "none" where everybody was asked, or leave it out',
    ),
    "a recent dive after the first day": (
        (NO_RECENT, ('because = "at a meeting"\n', RECENT.format("2027-06-13T10:00:00+00:00"))),
        "surfaced",
        "recent_dives[1].surfaced is 2027-06-13T10:00:00+00:00; it must not be after the day of diving, 2027-06-12",
    ),
    "a recent dive of long ago": (
        (NO_RECENT, ('because = "at a meeting"\n', RECENT.format("2026-06-11T10:00:00+00:00"))),
        "surfaced",
        "recent_dives[1].surfaced is 2026-06-11T10:00:00+00:00; it must be at most 31 days before 2027-06-12; "
        "leave out older dives",
    ),
    "no crew": (
        ((TEXT[TEXT.index("[[crew]]") : TEXT.index("[[closed]]")], ""),),
        "# Three invented days",
        "crew is missing; give at least one [[crew]]",
    ),
    "a key that nobody knows": (
        (("apart_h = 4", "apart = 4"),),
        "apart = 4",
        'groups[1].apart is not a known key; write "apart_h", in hours',
    ),
}


@pytest.mark.parametrize("what", FAULTS)
def test_a_fault_stands_on_its_line_with_its_sentence(what: str) -> None:
    swaps, words, sentence = FAULTS[what]
    text = written(*swaps)
    assert text.count(words) == 1, f"{words!r} stands {text.count(words)} times"
    at = text.index(words) + (1 if words.startswith("\n") else 0)
    assert faults(text) == [(text.count("\n", 0, at) + 1, sentence)]


def test_one_fault_never_hides_nor_causes_another() -> None:
    text = written(
        ('closes = "19:30"', 'closes = "06:00"'),
        ("off = [2027-06-13]", "off = [2027-06-11]"),
        ("dives = [1]", "dives = [3]"),
        ('person = "Ola"', 'person = "Tia"'),
    )
    assert [sentence.split(" is ")[0] for _, sentence in faults(text)] == [
        "centre.closes",
        "vehicles[1].off[1]",
        "pinned[1].dives[1]",
        "absent[1].person",
    ]


@pytest.mark.parametrize(
    ("swap", "key"),
    [
        (("\nday = 2027-06-12\n", '\nday = "Saturday"\n'), "pinned[1].day"),
        (('day = 2027-06-13\nsite = "plain-cove"', 'day = "Sunday"'), "excluded[1].day"),
    ],
)
def test_a_day_that_cannot_be_read_is_not_also_missing(swap: Swap, key: str) -> None:
    (found,) = faults(written(swap))
    assert found[1].startswith(f"{key} is ")


def test_a_pin_of_a_group_of_one_dive_says_so_in_the_singular() -> None:
    text = written(('group = "Terns"\ndives = [1]', 'group = "Skuas"\ndives = [2]'))
    assert [sentence for _, sentence in faults(text)] == ["pinned[1].dives[1] is 2; Skuas has 1 dive"]


@pytest.mark.parametrize("day", [FIRST_DAY, LAST_DAY])
def test_the_first_and_the_last_day_of_the_tides_can_be_planned(day: date) -> None:
    values = read().model_dump(include={"centre", "crew"})
    values["crew"] = ({"name": "Ida"},)
    skuas = read().group("Skuas").model_dump()
    asked = ScheduleRequest.model_validate({**values, "first_day": day, "days": 1, "groups": (skuas,)})
    assert asked.dates == (day,)


def test_a_recent_dive_on_the_evening_before_is_kept() -> None:
    asked = read(NO_RECENT, ('because = "at a meeting"\n', RECENT.format("2027-06-11T21:00:00+00:00")))
    assert isinstance(asked.recent_dives, tuple) and asked.recent_dives[0].person == "Ann"


# ---- names that the world must know ----


def changed(**values: Any) -> ScheduleRequest:
    return ScheduleRequest.model_validate({**read().model_dump(), **values})


def with_group(name: str, **values: Any) -> ScheduleRequest:
    groups = [
        {**group, **(values if group["name"] == name else {})}
        for group in read().model_dump()["groups"]
    ]  # fmt: skip
    return changed(groups=tuple(groups))


def with_pin(**values: Any) -> ScheduleRequest:
    return changed(pinned=({**read().model_dump()["pinned"][0], **values},))


UNKNOWN_SITE = 'site "far-reef" is not in the catalogue; known: plain-cove'
UNKNOWN: Mapping[str, tuple[ScheduleRequest, tuple[str | int, ...], str]] = {
    "crew": (
        changed(crew=(*read().model_dump()["crew"], {"name": "Zoe"})),
        ("crew", 3, "name"),
        '"Zoe" is not in the list of people',
    ),
    "diver": (
        with_group("Terns", divers=("Ann", "Zoe")),
        ("groups", 0, "divers", 1),
        '"Zoe" is not in the list of people',
    ),
    "site to choose from": (changed(sites=("plain-cove", "far-reef")), ("sites", 1), UNKNOWN_SITE),
    "site of a group": (with_group("Terns", sites=("plain-cove", "far-reef")), ("groups", 0, "sites", 1), UNKNOWN_SITE),
    "site not to go to": (with_group("Terns", not_sites=("far-reef",)), ("groups", 0, "not_sites", 0), UNKNOWN_SITE),
    "drive": (changed(drives=({"site": "far-reef", "minutes": 5, "km": 3},)), ("drives", 0, "site"), UNKNOWN_SITE),
    "closed site": (changed(closed=({"site": "far-reef", "because": "surf"},)), ("closed", 0, "site"), UNKNOWN_SITE),
    "pinned site": (with_pin(site="far-reef"), ("pinned", 0, "site"), UNKNOWN_SITE),
    "excluded site": (
        changed(excluded=({"group": "Terns", "site": "far-reef"},)),
        ("excluded", 0, "site"),
        UNKNOWN_SITE,
    ),
    "leader of divers whom nobody leads": (
        with_group("Skuas", preferred_leader="Ida"),
        ("groups", 1, "preferred_leader"),
        '"Skuas" is a dive without a leader; nobody leads it',
    ),
    "pinned leader of divers whom nobody leads": (
        with_pin(group="Skuas"),
        ("pinned", 0, "leader"),
        '"Skuas" is a dive without a leader; nobody leads it',
    ),
    "pinned assistant of divers whom nobody leads": (
        with_pin(group="Skuas", leader=None, assistants=("Ola",)),
        ("pinned", 0, "assistants"),
        '"Skuas" is a dive without a leader; nobody leads it',
    ),
    "place": (
        with_group("Terns", place="Wreck"),
        ("groups", 0, "place"),
        'place "Wreck" is at none of the sites to which "Terns" may go; known: Slope, Basin, Deep shelf',
    ),
    "way in": (
        with_group("Skuas", going_in_by="Jetty"),
        ("groups", 1, "going_in_by"),
        'way in "Jetty" is at none of the sites to which "Skuas" may go; known: Beach, Far gully',
    ),
    "pinned minute off the clock of entries": (
        with_pin(entry=time(9, 33)),
        ("pinned", 0, "entry"),
        "entry is 09:33; entries stand on a clock of 5 min, counted from 00:00",
    ),
}


@pytest.mark.parametrize("what", UNKNOWN)
def test_a_name_that_the_world_does_not_know_is_told_with_its_place(what: str) -> None:
    asked, where, sentence = UNKNOWN[what]
    assert schedule_faults(asked, small_world.world()) == ((where, sentence),)


def test_a_recent_diver_must_be_in_the_list_of_people() -> None:
    asked = read(
        NO_RECENT,
        ('because = "at a meeting"\n', RECENT.format("2027-06-11T21:00:00+00:00").replace('"Ann"', '"Zoe"')),
    )
    assert schedule_faults(asked, small_world.world()) == (
        (("recent_dives", 0, "person"), '"Zoe" is not in the list of people'),
    )


def test_a_place_counts_where_any_allowed_site_has_it() -> None:
    first = small_world.world()
    cove = first.sites["plain-cove"]
    other = cove.model_copy(
        update={"places": tuple(place.model_copy(update={"name": f"Far {place.name}"}) for place in cove.places)}
    )
    both: World = replace(first, sites={"plain-cove": cove, "other": other})
    asked = with_group("Terns", place="Far Slope", sites=("plain-cove", "other"))
    assert schedule_faults(asked, both) == ()
    assert [where for where, _ in schedule_faults(with_group("Terns", place="Far Slope"), both)] == [
        ("groups", 0, "place")
    ]


def test_the_clock_of_entries_is_the_rule_of_the_book() -> None:
    tens = small_world.world(rules=small_world.rules_with(plan__entry_step_min=10))
    assert schedule_faults(with_pin(entry=time(9, 35)), small_world.world()) == ()
    assert [where for where, _ in schedule_faults(with_pin(entry=time(9, 35)), tens)] == [("pinned", 0, "entry")]


def test_a_group_cannot_be_changed_once_it_is_read() -> None:
    asked = read()
    assert isinstance(asked.group("Terns"), SchoolGroup) and isinstance(asked.pinned[0], Pin)
    with pytest.raises(ValidationError, match="frozen"):
        asked.pinned[0].day = date(2027, 6, 13)  # type: ignore[misc]
