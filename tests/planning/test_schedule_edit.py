"""Edits of some days: what each changes and nothing else, what is refused, and the request written back as a file."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta, timezone
from functools import cache, partial
from pathlib import Path
from typing import Any, get_args

import pytest
import small_world
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tripplan.check import Outcome
from tripplan.errors import TripplanError
from tripplan.people.kit import Kit, cylinder_service, regulator_service
from tripplan.planning.request import RecentDive
from tripplan.planning.schedule_edit import (
    EDITS,
    MOST_EDITS,
    AbsentEdit,
    AddCylindersEdit,
    AddKitEdit,
    AddVehicleEdit,
    AddWorkerEdit,
    AllowEdit,
    CloseSiteEdit,
    CompressorEdit,
    Edit,
    EditRefused,
    ExcludeEdit,
    GroupEdit,
    HoursEdit,
    LeaveOutDiversEdit,
    OpenSiteEdit,
    PinEdit,
    PresentEdit,
    UnpinEdit,
    WithoutGroupEdit,
    WorkDayEdit,
    apply,
    as_toml,
    edit_words,
    edits_data,
    edits_from,
)
from tripplan.planning.schedule_request import (
    Absence,
    ScheduleRequest,
    schedule_faults,
    schedule_request_from,
)
from tripplan.planning.world import World
from tripplan.record import TomlFile

SAT, SUN, MON, TUE = (date(2027, 6, 12) + timedelta(days=ahead) for ahead in range(4))
SITES = ("plain-cove", "far-cove", "north-cove")
CREW = ("Ida", "Ola", "Tia", "Gil", "Shore", "Oxy")
DIVERS = ("Ann", "Ben", "Cy", "Dee", "Eva", "Flo", "Sol", "Una")
NAMES = ("Terns", 'The "early" ones', "a\\b.c = 1", "Ångström #1", "'''")
SLOW = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])

KIT = Kit.model_validate(
    {
        "cylinders": (
            {"identity": "S15-1", "volume_l": 15, "metal": "steel", "working_bar": 232},
            {"identity": "S15-2", "volume_l": 15, "metal": "steel", "working_bar": 300},
            {"identity": "A10-1", "volume_l": 10, "metal": "aluminium", "working_bar": 207},
            {"identity": "more 12 l,1", "volume_l": 10, "metal": "aluminium", "working_bar": 210},
        ),
        "regulators": ({"identity": "R1"},),
        "fins": ({"size": "42", "count": 3},),
    }
)


@cache
def the_world() -> World:
    plain = small_world.world()
    cove = plain.sites["plain-cove"]
    sites = {slug: cove.model_copy(update={"slug": slug, "name": slug.replace("-", " ").title()}) for slug in SITES}
    return replace(plain, sites=sites, kit=KIT)


def group(name: str = "Terns", dives: int = 2, **other: Any) -> dict[str, Any]:
    made = tuple({"depth_m": 12.0 - number, "minutes": 30} for number in range(dives))
    return {"name": name, "kind": "guided", "divers": ("Ann", "Ben", "Cy", "Dee"), "dives": made, **other}


def ask(*groups: dict[str, Any], **other: Any) -> ScheduleRequest:
    values: dict[str, Any] = {
        "first_day": SAT,
        "days": 3,
        "centre": {
            "position": "47.01, -17.01",
            "timezone": "Atlantic/Azores",
            "opens": time(7),
            "closes": time(19),
        },
        "crew": tuple({"name": name} for name in CREW),
        "vehicles": ({"name": "Van", "seats": 9},),
        "compressor": {"fill_min": 8.0, "opens": time(8), "closes": time(18)},
        "groups": groups or (group(), group("Skuas", 1, divers=("Eva", "Flo"))),
    }
    return ScheduleRequest.model_validate({**values, **other})


def done(request: ScheduleRequest, *edits: Edit) -> ScheduleRequest:
    return apply(request, the_world(), edits)[0]


def refused(request: ScheduleRequest, *edits: Edit, world: World | None = None) -> str:
    with pytest.raises(EditRefused) as error:
        apply(request, world or the_world(), edits)
    assert isinstance(error.value, TripplanError) and isinstance(error.value, ValueError)
    assert error.value.edit is edits[-1]
    assert str(error.value) == error.value.sentence
    return error.value.sentence


def unread(*data: Any) -> str:
    with pytest.raises(EditRefused) as error:
        edits_from(list(data))
    return error.value.sentence


def all_but(request: ScheduleRequest, *keys: str) -> dict[str, Any]:
    return {key: value for key, value in request.model_dump().items() if key not in keys}


# ---- random requests ----

WORDS = st.text(st.characters(categories=("L", "N", "P", "S"), include_characters=" "), max_size=20)
REASONS = WORDS.map(lambda words: f"{words}'")
CLOCK = st.builds(time, st.integers(6, 11), st.sampled_from(range(0, 60, 5)))
LATE = st.builds(time, st.integers(12, 22), st.sampled_from(range(0, 60, 5)))


def some(values: Any) -> st.SearchStrategy[tuple[Any, ...]]:
    return st.lists(st.sampled_from(tuple(values)), unique=True).map(tuple)


def at_least_one(values: Any) -> st.SearchStrategy[tuple[Any, ...]]:
    return st.lists(st.sampled_from(tuple(values)), unique=True, min_size=1).map(tuple)


def maybe(inner: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | inner


@st.composite
def dives(draw: st.DrawFn) -> dict[str, Any]:
    return {
        "depth_m": draw(st.floats(1, 40)),
        "minutes": draw(st.integers(1, 60)),
        "oxygen_percent": draw(st.sampled_from((21, 20.9, 32.0, 36.1))),
        "ascents": draw(st.integers(1, 4)),
        "course_dive": draw(maybe(st.integers(1, 9))),
    }


@st.composite
def groups(draw: st.DrawFn, name: str, divers: tuple[str, ...], dates: tuple[date, ...]) -> dict[str, Any]:
    days, sites, avoided = draw(some(dates)), draw(some(SITES)), draw(some(CREW))
    liked = [name for name in CREW if name not in avoided]
    pairs = (divers,) if len(divers) in (2, 3) else None
    return {
        "name": name,
        "kind": draw(st.sampled_from(("guided", "level_1_course", "refresher"))),
        "divers": divers,
        "cylinder_l": draw(maybe(st.sampled_from((10, 12.2, 15)))),
        "dry_suit": draw(st.booleans()),
        "mixes": draw(st.dictionaries(st.sampled_from(divers), st.sampled_from((32, 30.5)))),
        "pairs": draw(st.sampled_from((None, pairs))),
        "dives": tuple(draw(st.lists(dives(), min_size=1, max_size=6))),
        "days": days,
        "preferred_days": draw(some(days or dates)),
        "preferred_leader": draw(maybe(st.sampled_from(liked))) if liked else None,
        "not_with": avoided,
        "sites": sites,
        "not_sites": draw(some([slug for slug in SITES if slug not in sites] or ["far-cove"]))
        if len(sites) < 3
        else (),
        "not_before": draw(maybe(CLOCK)),
        "not_after": draw(maybe(LATE)),
        "most_dives_per_day": draw(maybe(st.integers(1, 6))),
        "apart_h": draw(maybe(st.floats(0, 336))),
        "needs_seats": draw(st.booleans()),
    }


@st.composite
def pins(draw: st.DrawFn, of: Mapping[str, Any], dates: tuple[date, ...]) -> dict[str, Any]:
    first = draw(st.integers(1, len(of["dives"])))
    last = draw(st.integers(first, len(of["dives"])))
    day = draw(maybe(st.sampled_from(dates)))
    leader = draw(maybe(st.sampled_from(CREW)))
    return {
        "group": of["name"],
        "dives": tuple(range(first, last + 1)),
        "day": day,
        "site": draw(maybe(st.sampled_from(SITES))),
        "entry": draw(maybe(CLOCK)) if day else None,
        "leader": leader,
        "assistants": draw(maybe(some([name for name in CREW if name != leader]))),
    }


@st.composite
def requests(draw: st.DrawFn) -> ScheduleRequest:
    first, count = draw(st.dates(date(2027, 1, 10), date(2027, 12, 1))), draw(st.integers(1, 5))
    dates = tuple(first + timedelta(days=ahead) for ahead in range(count))
    names = draw(st.lists(st.sampled_from(NAMES), unique=True, min_size=1, max_size=3))
    made = [draw(groups(name, DIVERS[3 * n : 3 * n + draw(st.integers(1, 3))], dates)) for n, name in enumerate(names)]
    surfaced = datetime(first.year, first.month, first.day, 9, 30, tzinfo=UTC) - timedelta(days=2)
    offset = draw(st.sampled_from((UTC, timezone(timedelta(hours=-1)), timezone(timedelta(minutes=7, seconds=9)))))
    recent = RecentDive(person="Ann", depth_m=12, minutes=30, surfaced=surfaced.astimezone(offset), altitude_m=-0.5)
    values = {
        "title": draw(WORDS),
        "first_day": first,
        "days": count,
        "centre": {
            "position": "47 03.072 N, 17 07.404 W",
            "timezone": "Atlantic/Azores",
            "opens": draw(CLOCK),
            "closes": draw(LATE),
        },
        "drives": tuple(
            {"site": slug, "minutes": draw(st.integers(0, 600)), "km": draw(st.floats(0, 600))}
            for slug in draw(some(SITES))
        ),
        "compressor": draw(
            maybe(st.fixed_dictionaries({"fill_min": st.floats(0.1, 120), "opens": CLOCK, "closes": LATE}))
        ),
        "vehicles": draw(
            maybe(
                some(("Van", "Truck")).map(
                    lambda all_of: tuple({"name": name, "seats": 9, "off": dates[:1]} for name in all_of)
                )
            )
        ),
        "crew": tuple(
            {
                "name": name,
                "off": draw(some(dates)),
                "starts": draw(maybe(CLOCK)),
                "ends": draw(maybe(LATE)),
                "duties": draw(st.sampled_from(("both", "water", "ashore"))),
            }
            for name in CREW
        ),
        "sites": draw(some(SITES)),
        "closed": tuple(
            {"site": slug, "days": draw(some(dates)), "because": draw(REASONS)} for slug in draw(some(SITES))
        ),
        "groups": tuple(made),
        "pinned": tuple(draw(pins(each, dates)) for each in made if draw(st.booleans())),
        "excluded": tuple(
            {"group": each["name"], "day": draw(st.sampled_from(dates)), "person": draw(maybe(st.sampled_from(CREW)))}
            for each in made
            if draw(st.booleans())
        ),
        "absent": tuple(
            {"person": name, "days": draw(at_least_one(dates)), "because": draw(WORDS)} for name in draw(some(CREW))
        ),
        "settled": draw(st.booleans()),
        "recent_dives": draw(st.sampled_from((None, "none", (recent.model_dump(),)))),
    }
    return ScheduleRequest.model_validate(values)


def wanting(name: str, values: dict[str, Any]) -> GroupEdit:
    return GroupEdit(group=name, **values)


@st.composite
def edits(draw: st.DrawFn, request: ScheduleRequest) -> Edit:
    """Return an edit of which every part may fit the request or not."""
    day = st.sampled_from((*request.dates, *request.dates, date(2026, 1, 1)))
    days = st.lists(day, unique=True, min_size=1, max_size=3).map(tuple)
    names = st.sampled_from((*(each.name for each in request.groups * 3), "Nobody's"))
    person = st.sampled_from((*CREW, *CREW, "Ann"))
    site = st.sampled_from((*SITES, *SITES, "no-cove"))
    excluded = [each.model_dump() for each in request.excluded] or [{"group": request.groups[0].name, "site": SITES[0]}]
    numbers = st.sampled_from(((1,), (2,), (1, 2), (2, 3), (6,)))
    wants: list[st.SearchStrategy[dict[str, Any]]] = [
        st.fixed_dictionaries({"days": some(request.dates), "apart_h": st.floats(0, 336)}),
        st.fixed_dictionaries({"preferred_days": days, "preferred_leader": person}),
        st.fixed_dictionaries({"sites": some(SITES), "not_sites": st.just(())}),
        st.fixed_dictionaries({"not_before": CLOCK, "not_after": CLOCK | LATE}),
        st.fixed_dictionaries({"most_dives_per_day": st.integers(1, 6), "clear": some(("not_before", "not_after"))}),
    ]
    made: dict[Any, st.SearchStrategy[Any]] = {
        UnpinEdit: st.builds(UnpinEdit, group=names, dives=numbers),
        ExcludeEdit: st.builds(ExcludeEdit, group=names, day=day, site=maybe(site), person=maybe(person)),
        AllowEdit: st.sampled_from(excluded).map(lambda values: AllowEdit(**values)),
        AbsentEdit: st.builds(AbsentEdit, person=person, days=days, because=WORDS),
        PresentEdit: st.builds(PresentEdit, person=person, days=days),
        CloseSiteEdit: st.builds(CloseSiteEdit, site=site, days=st.just(()) | days, because=REASONS),
        OpenSiteEdit: st.builds(OpenSiteEdit, site=site, days=st.just(()) | days),
        AddWorkerEdit: st.builds(AddWorkerEdit, like=person, name=st.sampled_from(("Ida", "New one")), days=days),
        AddVehicleEdit: st.builds(AddVehicleEdit, name=st.sampled_from(("Van", "Bus")), seats=st.just(7), days=days),
        WorkDayEdit: st.builds(WorkDayEdit, person=person, day=day),
        LeaveOutDiversEdit: st.builds(LeaveOutDiversEdit, group=names, divers=at_least_one(DIVERS[:3])),
        GroupEdit: names.flatmap(lambda name: st.one_of(*(one.map(partial(wanting, name)) for one in wants))),
        HoursEdit: st.builds(HoursEdit, opens=CLOCK | LATE, closes=maybe(CLOCK | LATE)),
        CompressorEdit: st.builds(CompressorEdit, fill_min=st.floats(1, 60), opens=maybe(CLOCK), closes=maybe(LATE)),
        AddCylindersEdit: st.builds(AddCylindersEdit, volume_l=st.sampled_from((12, 15)), count=st.integers(1, 3)),
        AddKitEdit: st.builds(AddKitEdit, thing=st.sampled_from(("fins", "mask")), count=st.integers(1, 3)),
        WithoutGroupEdit: st.builds(WithoutGroupEdit, group=names),
    }
    kind = draw(st.sampled_from((PinEdit, *made)))
    if kind is not PinEdit:
        found: Edit = draw(made[kind])
        return found
    leader = draw(maybe(person))
    return PinEdit(
        group=draw(names),
        dives=draw(numbers),
        day=draw(day),
        site=draw(maybe(site)),
        entry=draw(maybe(CLOCK)),
        leader=leader,
        assistants=draw(maybe(some([name for name in CREW if name != leader]))),
    )


def facts(request: ScheduleRequest) -> dict[str, Any]:
    """Return what a request says as sets of single facts, so that how they are grouped does not count."""
    dates = request.dates
    return {
        "away": {(each.person, day) for each in request.absent for day in each.days},
        "shut": {(each.site, day) for each in request.closed for day in each.days or dates},
        "off": {(each.name, day) for each in request.crew for day in each.off},
        "pinned": {(each.group, dive): each for each in request.pinned for dive in each.dives},
        "excluded": {(each.group, each.day, each.site, each.person) for each in request.excluded},
        "crew": {each.name for each in request.crew},
        "groups": {each.name for each in request.groups},
        "divers": {(each.name, diver) for each in request.groups for diver in each.divers},
        "hours": (request.centre.opens, request.centre.closes),
        "wants": {
            (each.name, key): value
            for each in request.groups
            for key, value in each.model_dump(exclude={"name", "divers", "mixes", "pairs"}).items()
        },
    }


# ---- properties ----


@SLOW
@given(st.data())
def test_random_edits_are_refused_with_a_sentence_or_give_a_request_that_stands(data: st.DataObject) -> None:
    request, world = data.draw(requests()), the_world()
    for _ in range(data.draw(st.integers(1, 6))):
        edit = data.draw(edits(request))
        before, seen = request.model_dump_json(), repr(world)
        assert edit_words(edit).endswith(".") and edit_words(edit, world).isprintable()
        try:
            after, changed = apply(request, world, [edit])
        except EditRefused as error:
            assert error.edit is edit and error.sentence.endswith(".") and error.sentence.isprintable()
            after, changed = request, world
        assert (request.model_dump_json(), repr(world)) == (before, seen)
        assert schedule_request_from(TomlFile(Path("again.toml"), as_toml(after))) == after
        assert schedule_faults(after, changed) == ()
        request, world = after, changed


@SLOW
@given(st.data())
def test_an_edit_does_what_its_words_say_and_nothing_else(data: st.DataObject) -> None:
    """What must come of it is worked out here on sets of single facts, which the program does not use."""
    request = data.draw(requests())
    edit = data.draw(edits(request))
    was = facts(request)
    try:
        now = facts(apply(request, the_world(), [edit])[0])
    except EditRefused:
        return
    wanted: dict[str, Any] = dict(was)
    days = getattr(edit, "days", None) or request.dates
    if isinstance(edit, AbsentEdit):
        wanted["away"] = was["away"] | {(edit.person, day) for day in days}
    elif isinstance(edit, PresentEdit):
        wanted["away"] = was["away"] - {(edit.person, day) for day in days}
    elif isinstance(edit, CloseSiteEdit):
        wanted["shut"] = was["shut"] | {(edit.site, day) for day in days}
    elif isinstance(edit, OpenSiteEdit):
        wanted["shut"] = was["shut"] - {(edit.site, day) for day in days}
    elif isinstance(edit, WorkDayEdit):
        wanted["off"] = was["off"] - {(edit.person, edit.day)}
    elif isinstance(edit, AddWorkerEdit):
        wanted["crew"] = was["crew"] | {edit.name}
        wanted["off"] = was["off"] | {(edit.name, day) for day in set(request.dates) - set(days)}
    elif isinstance(edit, PinEdit | UnpinEdit):
        gone = {
            dive for (name, _), pin in was["pinned"].items() if name == edit.group and set(pin.dives) & set(edit.dives)
            for dive in pin.dives
        }  # fmt: skip
        wanted["pinned"] = {
            key: pin for key, pin in was["pinned"].items() if key[0] != edit.group or key[1] not in gone
        }
        if isinstance(edit, PinEdit):
            for dive in edit.dives:
                pin = now["pinned"][edit.group, dive]
                assert pin.model_dump() == edit.model_dump(exclude={"do"})
                wanted["pinned"][edit.group, dive] = pin
    elif isinstance(edit, ExcludeEdit | AllowEdit):
        one = {(edit.group, edit.day, edit.site, edit.person)}
        wanted["excluded"] = was["excluded"] | one if isinstance(edit, ExcludeEdit) else was["excluded"] - one
    elif isinstance(edit, LeaveOutDiversEdit):
        wanted["divers"] = was["divers"] - {(edit.group, name) for name in edit.divers}
    elif isinstance(edit, WithoutGroupEdit):
        wanted["groups"] = was["groups"] - {edit.group}
        wanted["wants"] = {key: value for key, value in was["wants"].items() if key[0] != edit.group}
        wanted["divers"] = {each for each in was["divers"] if each[0] != edit.group}
        wanted["excluded"] = {each for each in was["excluded"] if each[0] != edit.group}
        wanted["pinned"] = {key: pin for key, pin in was["pinned"].items() if key[0] != edit.group}
    elif isinstance(edit, GroupEdit):
        stated = edit.model_dump(exclude={"do", "group", "clear"}, exclude_none=True)
        wanted["wants"] = was["wants"] | {(edit.group, key): value for key, value in stated.items()}
        wanted["wants"] |= {(edit.group, key): None for key in edit.clear}
    elif isinstance(edit, HoursEdit):
        wanted["hours"] = (edit.opens or was["hours"][0], edit.closes or was["hours"][1])
    assert now == wanted


@SLOW
@given(requests(), st.data())
def test_pinned_and_unpinned_is_as_before(request: ScheduleRequest, data: st.DataObject) -> None:
    pinned = {each.group for each in request.pinned}
    free = [each for each in request.model_dump()["groups"] if each["name"] not in pinned]
    for each in free:
        pin = PinEdit(**data.draw(pins(each, request.dates)))
        settled = done(request, pin)
        assert len(settled.pinned) == len(request.pinned) + 1
        assert done(settled, UnpinEdit(group=each["name"], dives=pin.dives[-1:])) == request


@SLOW
@given(requests(), st.data())
def test_absent_and_present_is_as_before(request: ScheduleRequest, data: st.DataObject) -> None:
    person = data.draw(st.sampled_from(CREW))
    away = {day for each in request.absent if each.person == person for day in each.days}
    if free := [day for day in request.dates if day not in away]:
        days = data.draw(at_least_one(free))
        gone = done(request, AbsentEdit(person=person, days=days))
        assert gone.absent[-1] == Absence(person=person, days=days)
        assert done(gone, PresentEdit(person=person, days=days)) == request


@SLOW
@given(requests(), st.data())
def test_closed_and_opened_and_excluded_and_allowed_is_as_before(request: ScheduleRequest, data: st.DataObject) -> None:
    site = data.draw(st.sampled_from(SITES))
    if not any(each.site == site for each in request.closed):
        days = data.draw(some(request.dates))
        shut = CloseSiteEdit(site=site, days=days, because="works")
        assert done(request, shut, OpenSiteEdit(site=site, days=days)) == request
    name = request.groups[0].name
    assert done(request, ExcludeEdit(group=name, site=site), AllowEdit(group=name, site=site)) == request


@SLOW
@given(requests())
def test_a_request_written_as_a_file_is_read_back_as_it_was(request: ScheduleRequest) -> None:
    text = as_toml(request)
    assert schedule_request_from(TomlFile(Path("week.toml"), text)) == request
    # The library's own parser, without the schema, finds the same values under the same keys.
    data = tomllib.loads(text)
    assert data["first_day"] == request.first_day and data.get("title", "") == request.title
    assert [each["name"] for each in data["groups"]] == [each.name for each in request.groups]
    assert [[dive["depth_m"] for dive in each["dives"]] for each in data["groups"]] == [
        [dive.depth_m for dive in each.dives] for each in request.groups
    ]
    assert [each.get("mixes", {}) for each in data["groups"]] == [each.mixes for each in request.groups]
    assert data["centre"]["opens"] == f"{request.centre.opens:%H:%M}"
    assert ("vehicles" in data) == (request.vehicles is not None)
    assert [each.get("assistants") for each in data.get("pinned", [])] == [
        None if each.assistants is None else list(each.assistants) for each in request.pinned
    ]
    if isinstance(request.recent_dives, tuple):
        assert data["recent_dives"][0]["surfaced"] == request.recent_dives[0].surfaced
    assert text.isascii() or all(line.isprintable() for line in text.splitlines())


@SLOW
@given(st.data())
def test_edits_go_through_json_and_come_back(data: st.DataObject) -> None:
    found = [data.draw(edits(ask())) for _ in range(data.draw(st.integers(0, 4)))]
    sent = json.loads(json.dumps(edits_data(found)))
    assert edits_from(sent) == edits_from({"edits": sent}) == tuple(found)
    assert all(next(iter(each)) == "do" for each in sent)


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6) | st.integers(), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=100, deadline=None)
@given(ANYTHING, st.data())
def test_nothing_that_anybody_posts_breaks_the_reader(anything: Any, data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(list(EDITS.values())))
    keys = st.sampled_from([*kind.model_fields, "edits", "why"])
    posted = data.draw(st.dictionaries(keys, ANYTHING)) | {"do": kind.model_fields["do"].default}
    for given_ in (anything, [anything], [posted]):
        try:
            read = edits_from(given_)
        except EditRefused as error:
            assert error.sentence.endswith((".", "?")) and error.sentence.isprintable()
        else:
            assert edits_from(edits_data(read)) == read


# ---- single edits ----


def test_a_pin_takes_the_place_of_an_earlier_one_that_shares_a_dive() -> None:
    three = group(dives=4)
    first = ask(three, pinned=(
        {"group": "Terns", "dives": (1,)}, {"group": "Terns", "dives": (2, 3)}, {"group": "Terns", "dives": (4,)},
    ))  # fmt: skip
    after = done(first, PinEdit(group="Terns", dives=(3, 4), day=SUN, entry=time(9), assistants=()))
    assert [(pin.dives, pin.day) for pin in after.pinned] == [((1,), None), ((3, 4), SUN)]
    assert after.pinned[1].assistants == ()


def test_a_day_that_is_away_already_keeps_its_reason() -> None:
    first = ask(absent=({"person": "Ida", "days": (SAT,), "because": "at a meeting"},))
    after = done(first, AbsentEdit(person="Ida", days=(SAT, SUN), because="away"))
    assert [(each.days, each.because) for each in after.absent] == [((SAT,), "at a meeting"), ((SUN,), "away")]
    assert refused(after, AbsentEdit(person="Ida", days=(SUN,))) == "Ida is away on 13 June 2027 already."


def test_a_site_closed_on_all_days_is_opened_on_one() -> None:
    first = done(ask(), CloseSiteEdit(site="far-cove", because="works"))
    assert first.closed[0].days == ()
    after = done(first, OpenSiteEdit(site="far-cove", days=(SUN,)))
    assert [(each.days, each.because) for each in after.closed] == [((SAT, MON), "works")]
    assert done(after, OpenSiteEdit(site="far-cove")).closed == ()


def test_a_worker_like_another_has_their_papers_and_another_name() -> None:
    request, world = apply(
        ask(), the_world(), [AddWorkerEdit(like="Oxy", name="One more like Oxy", days=(SUN,), duties="ashore")]
    )
    worker = request.worker("One more like Oxy")
    assert (worker.off, worker.duties) == ((SAT, MON), "ashore")
    same = world.people["One more like Oxy"].model_dump(exclude={"name", "identity"})
    assert same == the_world().people["Oxy"].model_dump(exclude={"name", "identity"})
    assert world.people["One more like Oxy"].identity == ""
    assert "One more like Oxy" not in the_world().people
    assert done(ask(), AddWorkerEdit(like="Oxy", name="One more")).worker("One more").off == ()


def test_cylinders_that_are_added_are_in_service_on_every_day_and_named_apart() -> None:
    two = [AddCylindersEdit(volume_l=12, count=3), AddCylindersEdit(volume_l=12, count=2)]
    _, world = apply(ask(), the_world(), two)
    assert world.kit is not None and world.kit.cylinders[:4] == KIT.cylinders
    new = world.kit.cylinders[4:]
    # "more 12 l,1" is there already, and a kit file tells no two apart by spaces or capitals.
    assert [each.identity for each in new] == [f"More 12 l, {number}" for number in (2, 3, 4, 5, 6)]
    assert {(each.metal, each.volume_l, each.oxygen_percent) for each in new} == {("steel", 12, None)}
    for day in ask().dates:
        assert {cylinder_service(each, day, world.rules).outcome for each in new} == {Outcome.OK}
    assert {each.working_bar for each in new} == {207}  # none of 12 l is there: the lowest of all
    _, fifteen = apply(ask(), the_world(), [AddCylindersEdit(volume_l=15, count=1)])
    assert fifteen.kit is not None and fifteen.kit.cylinders[-1].working_bar == 232  # the lowest of the two of 15 l
    _, given_ = apply(ask(), the_world(), [AddCylindersEdit(volume_l=15, count=1, working_bar=300)])
    assert given_.kit is not None and given_.kit.cylinders[-1].working_bar == 300


@pytest.mark.parametrize(
    ("edit", "table", "found"),
    [
        (AddKitEdit(thing="fins", size="44", count=2), "fins", {"size": "44", "count": 2}),
        (AddKitEdit(thing="mask", count=1), "masks", {"size": "any", "count": 1}),
        (AddKitEdit(thing="buoyancy_device", size="M", count=1), "buoyancy_devices", {"size": "M", "count": 1}),
        (AddKitEdit(thing="suit", size="M", count=1, mm=7), "suits", {"size": "M", "mm": 7, "dry": False}),
        (AddKitEdit(thing="suit", size="M", count=1, dry=True), "suits", {"size": "M", "mm": None, "dry": True}),
        (AddKitEdit(thing="flag", count=2), "safety", {"thing": "flag", "count": 2}),
    ],
)
def test_kit_that_is_added_stands_in_its_table(edit: AddKitEdit, table: str, found: Mapping[str, Any]) -> None:
    _, world = apply(ask(), the_world(), [edit])
    assert world.kit is not None
    before, after = KIT.model_dump(), world.kit.model_dump()
    assert found.items() <= after[table][-1].items()
    assert (*before.pop(table), after[table][-1]) == after.pop(table)
    assert before == after


def test_a_regulator_that_is_added_is_in_order() -> None:
    _, world = apply(ask(), the_world(), [AddKitEdit(thing="regulator", count=2)])
    assert world.kit is not None and len(world.kit.regulators) == 3
    for each in world.kit.regulators[1:]:
        assert regulator_service(each, MON, world.rules).outcome is Outcome.OK


def test_who_is_left_out_leaves_pairs_and_gas_in_order() -> None:
    pairs = (("Ann", "Ben"), ("Cy", "Dee"))
    first = ask(group(pairs=pairs, mixes={"Ann": 32.0, "Cy": 30.0}))
    whole = done(first, LeaveOutDiversEdit(group="Terns", divers=("Ann", "Ben"))).group("Terns")
    assert (whole.divers, whole.pairs, whole.mixes) == (("Cy", "Dee"), (("Cy", "Dee"),), {"Cy": 30.0})
    split = done(first, LeaveOutDiversEdit(group="Terns", divers=("Ann",))).group("Terns")
    assert (split.divers, split.pairs, split.mixes) == (("Ben", "Cy", "Dee"), None, {"Cy": 30.0})
    three = ask(group(divers=("Ann", "Ben", "Cy"), pairs=(("Ann", "Ben", "Cy"),)))
    assert done(three, LeaveOutDiversEdit(group="Terns", divers=("Cy",))).group("Terns").pairs == (("Ann", "Ben"),)


def test_what_a_group_wants_is_set_and_taken_away() -> None:
    first = ask(group(not_before=time(8), apart_h=4.0, sites=("far-cove",), preferred_leader="Ida"))
    edit = GroupEdit(
        group="Terns", days=(SUN,), sites=(), not_after=time(17), clear=("not_before", "apart_h", "preferred_leader")
    )
    after = done(first, edit)
    assert all_but(after, "groups") == all_but(first, "groups")
    assert after.group("Terns") == ask(group(days=(SUN,), not_after=time(17))).group("Terns")


def test_hours_and_compressor_are_set_in_part() -> None:
    after = done(ask(), HoursEdit(closes=time(20)), CompressorEdit(fill_min=6))
    assert (after.centre.opens, after.centre.closes) == (time(7), time(20))
    assert after.compressor is not None
    assert (after.compressor.fill_min, after.compressor.opens, after.compressor.closes) == (6, time(8), time(18))
    fresh = done(ask(compressor=None), CompressorEdit(fill_min=6, opens=time(9), closes=time(12)))
    assert fresh.compressor is not None and fresh.compressor.closes == time(12)


def test_a_group_leaves_with_its_pins_and_exclusions() -> None:
    first = ask(
        pinned=({"group": "Terns", "dives": (1,)}, {"group": "Skuas", "dives": (1,)}),
        excluded=({"group": "Terns", "site": "far-cove"}, {"group": "Skuas", "site": "far-cove"}),
    )
    after = done(first, WithoutGroupEdit(group="Terns"))
    assert [each.name for each in after.groups] == ["Skuas"]
    assert [each.group for each in after.pinned] == [each.group for each in after.excluded] == ["Skuas"]
    assert all_but(after, "groups", "pinned", "excluded") == all_but(first, "groups", "pinned", "excluded")


def test_a_vehicle_and_a_work_day() -> None:
    first = ask(crew=({"name": "Ida", "off": (SAT, SUN)}, {"name": "Ola"}))
    after = done(first, AddVehicleEdit(name="Bus", seats=12, days=(SUN,)), WorkDayEdit(person="Ida", day=SUN))
    assert after.worker("Ida").off == (SAT,)
    assert after.vehicles is not None and (after.vehicles[1].seats, after.vehicles[1].off) == (12, (SAT, MON))


def test_no_edits_change_nothing() -> None:
    assert apply(ask(), the_world(), ()) == (ask(), the_world())
    assert edits_from([]) == () == edits_from({"edits": []})


# ---- what is refused ----

REFUSED: Mapping[str, tuple[Callable[[], ScheduleRequest], Edit, str]] = {
    "unknown group": (
        ask,
        PinEdit(group="Gulls", dives=(1,)),
        'There is no group "Gulls"; the groups are Terns and Skuas.',
    ),
    "dive that the group does not have": (
        ask,
        PinEdit(group="Skuas", dives=(1, 2)),
        '"Skuas" has 1 dive; there is no dive 2.',
    ),
    "day outside": (
        ask,
        PinEdit(group="Terns", dives=(1,), day=TUE),
        "15 June 2027 is not one of these days, which go from 12 June 2027 to 14 June 2027.",
    ),
    "unknown site": (
        ask,
        PinEdit(group="Terns", dives=(1,), site="no-cove"),
        'Site "no-cove" is not in the catalogue; known: plain-cove, far-cove, north-cove.',
    ),
    "leader who does not work": (
        ask,
        PinEdit(group="Terns", dives=(1,), leader="Max"),
        '"Max" is not in the crew of these days; the crew is Ida, Ola, Tia, Gil, Shore and Oxy.',
    ),
    "entry off the clock": (
        ask,
        PinEdit(group="Terns", dives=(1,), day=SAT, entry=time(9, 1)),
        "This does not fit: entry is 09:01; entries stand on a clock of 5 min, counted from 00:00.",
    ),
    "nothing settled": (
        ask,
        UnpinEdit(group="Terns", dives=(1, 2)),
        "Dives 1 and 2 of Terns are not settled.",
    ),
    "excluded twice": (
        lambda: ask(excluded=({"group": "Terns", "day": SAT},)),
        ExcludeEdit(group="Terns", day=SAT),
        "It is excluded already that Terns dives on 12 June 2027.",
    ),
    "not excluded": (
        lambda: ask(excluded=({"group": "Terns", "day": SAT, "site": "far-cove"},)),
        AllowEdit(group="Terns", day=SAT),
        "It is not excluded that Terns dives on 12 June 2027.",
    ),
    "absent, not of the crew": (
        ask,
        AbsentEdit(person="Ann", days=(SAT,)),
        '"Ann" is not in the crew of these days; the crew is Ida, Ola, Tia, Gil, Shore and Oxy.',
    ),
    "present on a day off": (
        lambda: ask(crew=({"name": "Ida", "off": (SAT,)},)),
        PresentEdit(person="Ida", days=(SAT, SUN)),
        "Ida is not away on 12 and 13 June 2027 as it is. 12 June 2027 is off: make it a work day instead.",
    ),
    "work on a work day": (ask, WorkDayEdit(person="Ida", day=SAT), "12 June 2027 is no day off of Ida."),
    "closed already": (
        lambda: ask(closed=({"site": "far-cove", "because": "works"},)),
        CloseSiteEdit(site="far-cove", days=(SUN,), because="surf"),
        "Far Cove is closed on 13 June 2027 already.",
    ),
    "not closed": (ask, OpenSiteEdit(site="far-cove"), "Far Cove is not closed on all days."),
    "nobody to be like": (
        ask,
        AddWorkerEdit(like="Zoe", name="One more"),
        '"Zoe" is not in the list of people, so nothing can be copied.',
    ),
    "a name that somebody has": (
        ask,
        AddWorkerEdit(like="Oxy", name="ann"),
        '"Ann" is somebody already; give the one who is added another name.',
    ),
    "a vehicle that is there": (
        ask,
        AddVehicleEdit(name="van", seats=5),
        'There is a vehicle "Van" already; give another name.',
    ),
    "a vehicle where nobody counts seats": (
        lambda: ask(vehicles=None),
        AddVehicleEdit(name="Bus", seats=5),
        "Everybody comes by themselves: no vehicle is listed, so seats are not counted.",
    ),
    "somebody who is not in the group": (
        ask,
        LeaveOutDiversEdit(group="Skuas", divers=("Ann",)),
        '"Ann" does not dive with Skuas; its divers are Eva and Flo.',
    ),
    "the last divers": (
        ask,
        LeaveOutDiversEdit(group="Skuas", divers=("Eva", "Flo")),
        "Nobody would be left in Skuas; leave the whole group out instead.",
    ),
    "the last group": (
        lambda: ask(group()),
        WithoutGroupEdit(group="Terns"),
        "Terns is the only group; without it there is nothing to plan.",
    ),
    "half a compressor": (
        lambda: ask(compressor=None),
        CompressorEdit(fill_min=6),
        "There is no compressor yet; to add one, give opens and closes too.",
    ),
    "hours that end before they start": (
        ask,
        HoursEdit(closes=time(6)),
        "This does not fit: centre.closes is 06:00, not after opens 07:00; no day goes on after midnight.",
    ),
    "a preferred day on which the group cannot come": (
        lambda: ask(group(preferred_days=(SAT,))),
        GroupEdit(group="Terns", days=(SUN,)),
        "This does not fit: groups[1].preferred_days[1] is 2027-06-12, on which the group cannot come by its days.",
    ),
    "a leader of divers whom nobody leads": (
        lambda: ask(group(kind="autonomous")),
        PinEdit(group="Terns", dives=(1,), leader="Ida"),
        'This does not fit: "Terns" is a dive without a leader; nobody leads it.',
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_does_not_fit_is_refused_with_a_sentence(what: str) -> None:
    request, edit, sentence = REFUSED[what]
    assert refused(request(), edit) == sentence


def test_kit_is_not_added_where_nobody_wrote_any_down() -> None:
    without = replace(the_world(), kit=None)
    said = "The centre has no kit file, so that kit is not judged and nothing can be added to it."
    assert refused(ask(), AddCylindersEdit(volume_l=15, count=1), world=without) == said
    assert refused(ask(), AddKitEdit(thing="mask", count=1), world=without) == said
    empty = replace(the_world(), kit=Kit())
    assert "give working_bar too" in refused(ask(), AddCylindersEdit(volume_l=15, count=1), world=empty)


def test_the_edit_that_does_not_fit_is_the_one_that_is_told() -> None:
    first = AbsentEdit(person="Ida", days=(SAT,))
    assert "already" in refused(ask(), first, HoursEdit(closes=time(20)), AbsentEdit(person="Ida", days=(SAT,)))


def test_a_name_that_was_unknown_before_does_not_stand_in_the_way() -> None:
    """A file with an unknown name is told when it is planned; an edit elsewhere is none the worse for it."""
    first = ask(closed=({"site": "no-cove", "because": "works"},))
    assert schedule_faults(first, the_world())
    assert done(first, AbsentEdit(person="Ida", days=(SAT,))).absent


UNREAD = [
    (3, 'Edit 1 is a number; accepted: a table with the key "do".'),
    ({"person": "Ida"}, "Edit 1: do is missing; accepted: "),
    ({"do": "absnt"}, 'Did you mean "absent"?'),
    ({"do": "rule"}, 'Edit 1: do is "rule"; accepted: "pin", "unpin", '),
    ({"do": ["pin"]}, "Edit 1: do is a list; accepted: "),
    ({"do": "absent", "person": "Ida"}, 'Edit 1, "absent": days is missing; give the days.'),
    (
        {"do": "absent", "person": "Ida", "days": ["12.6.2027"]},
        'Edit 1, "absent": days[1] is "12.6.2027": a day is written "YYYY-MM-DD", like "2026-12-09".',
    ),
    ({"do": "absent", "person": "Ida", "days": [20270612]}, 'a day is written "YYYY-MM-DD"'),
    (
        {"do": "absent", "person": "Ida", "days": ["2027-06-12", "2027-06-12"]},
        'Edit 1, "absent": days[2] is "2027-06-12", which stands in the list already.',
    ),
    ({"do": "absent", "person": "Ida", "days": []}, "days holds 0; it must hold at least 1 (the days)."),
    ({"do": "absent", "person": "Ida", "days": ["2027-06-12"], "why": "ill"}, "why is not a known key"),
    ({"do": "pin", "group": "Terns", "dives": [1, 3]}, "dives[2] is 3; dives of one outing follow each other"),
    ({"do": "pin", "group": "Terns", "dives": [1], "entry": "09:00"}, "entry is given without a day."),
    (
        {"do": "pin", "group": "Terns", "dives": [1], "leader": "Ida", "assistants": ["Ida"]},
        'assistants[1] is "Ida", who leads.',
    ),
    ({"do": "pin", "group": "Terns", "dives": [1], "day": "2027-06-12", "entry": "9:00"}, 'written "HH:MM" in quotes'),
    ({"do": "exclude", "group": "Terns"}, "day is missing; give at least one of day, site, person."),
    ({"do": "hours"}, "opens is missing; give at least one of opens, closes."),
    ({"do": "compressor", "opens": "09:00", "closes": "09:00"}, "closes is 09:00, not after opens 09:00."),
    ({"do": "compressor", "fill_min": float("nan")}, "fill_min is nan; it must be a finite number"),
    ({"do": "group", "group": "Terns"}, "days is missing; give at least one of days, sites, "),
    ({"do": "group", "group": "Terns", "not_before": "08:00", "clear": ["not_before"]}, "which is set too"),
    ({"do": "add_kit", "thing": "suit", "count": 1}, "mm is missing; give mm, or dry = true."),
    ({"do": "add_kit", "thing": "suit", "count": 1, "mm": 5, "dry": True}, "mm is given, but dry is true."),
    ({"do": "add_kit", "thing": "mask", "count": 1, "mm": 5}, "mm is 5; only a suit has a thickness."),
    ({"do": "add_kit", "thing": "regulator", "count": 1, "size": "M"}, 'size is "M"; this thing has no size'),
    ({"do": "add_kit", "thing": "cylinder", "count": 1}, "thing is "),
    ({"do": "add_cylinders", "volume_l": 15, "count": 0}, "count is 0; it must be at least 1 (how many)."),
    ({"do": "leave_out", "group": "Terns", "divers": ["Ann", "Ann"]}, "stands in the list already."),
]


@pytest.mark.parametrize(("data", "sentence"), UNREAD)
def test_what_cannot_be_read_is_refused_with_what_is_accepted(data: Any, sentence: str) -> None:
    assert sentence in unread(data)


def test_every_edit_that_cannot_be_read_is_told() -> None:
    said = unread({"do": "hours", "opens": "08:00"}, {"do": "hours"}, {"do": "absent"})
    assert "Edit 1" not in said and 'Edit 2, "hours"' in said and 'Edit 3, "absent"' in said


@pytest.mark.parametrize("data", ["pin", None, 5, {"edits": 5}, {"edits": [], "more": 1}, {"do": "hours"}])
def test_edits_are_a_list(data: Any) -> None:
    with pytest.raises(EditRefused, match=r"Edits are .*; accepted: a list of tables"):
        edits_from(data)


def test_too_many_edits_are_refused() -> None:
    hours = {"do": "hours", "opens": "08:00"}
    assert len(edits_from([hours] * MOST_EDITS)) == MOST_EDITS
    assert unread(*[hours] * (MOST_EDITS + 1)) == "There are 201 edits; at most 200 are accepted at once."


# ---- words ----

WORDS_OF = [
    (AbsentEdit(person="Ines Faro", days=(date(2026, 12, 9),)), "Ines Faro is away on 9 December 2026."),
    (
        AbsentEdit(
            person="Ines Faro", days=(date(2027, 1, 1), date(2026, 12, 31), date(2026, 12, 30)), because="away."
        ),
        "Ines Faro is away on 30 and 31 December 2026, and 1 January 2027: away.",
    ),
    (PresentEdit(person="Ida", days=(SAT, SUN, MON)), "Ida is not away on 12, 13 and 14 June 2027."),
    (
        PinEdit(group="Terns", dives=(1, 2), day=SAT, site="far-cove", entry=time(9, 5), leader="Ida", assistants=()),
        "Dives 1 and 2 of Terns are settled: on 12 June 2027, at Far Cove, in at 09:05, led by Ida, assisted by "
        "nobody.",
    ),
    (PinEdit(group="Terns", dives=(2,)), "Dive 2 of Terns is settled: made in one outing."),
    (
        PinEdit(group="Terns", dives=(2,), assistants=("Ola", "Tia")),
        "Dive 2 of Terns is settled: assisted by Ola and Tia.",
    ),
    (UnpinEdit(group="Terns", dives=(1,)), "Dive 1 of Terns is no longer settled."),
    (
        ExcludeEdit(group="Terns", day=SAT, site="far-cove", person="Ida"),
        "Terns does not dive on 12 June 2027 at Far Cove with Ida leading or assisting.",
    ),
    (AllowEdit(group="Terns", site="far-cove"), "Terns may dive at Far Cove again."),
    (CloseSiteEdit(site="far-cove", because="works"), "Far Cove is closed on all days: works."),
    (OpenSiteEdit(site="far-cove", days=(SUN,)), "Far Cove is open on 13 June 2027."),
    (
        AddWorkerEdit(like="Luca Benti", name="One more assistant like Luca Benti", days=(SAT,), duties="water"),
        '"One more assistant like Luca Benti" comes on 12 June 2027 and works in the water, with the level and papers '
        "of Luca Benti.",
    ),
    (AddVehicleEdit(name="Bus", seats=1), 'A vehicle "Bus" with 1 seat is there on all days.'),
    (WorkDayEdit(person="Ida", day=SAT), "Ida works on 12 June 2027, a day off before."),
    (LeaveOutDiversEdit(group="Terns", divers=("Ann", "Ben")), "Ann and Ben do not dive with Terns."),
    (LeaveOutDiversEdit(group="Terns", divers=("Ann",)), "Ann does not dive with Terns."),
    (
        GroupEdit(
            group="Terns", days=(), sites=("far-cove",), not_before=time(8), most_dives_per_day=1, clear=("apart_h",)
        ),
        "Terns comes on all days, may go to Far Cove, leaves no earlier than 08:00, makes at most 1 dive a day and has "
        "as many hours between outings as the rule says.",
    ),
    (
        GroupEdit(
            group="Terns",
            preferred_days=(),
            preferred_leader="Ida",
            sites=(),
            not_sites=(),
            not_after=time(17),
            apart_h=2,
        ),
        "Terns prefers no day, prefers Ida as leader, may go to all sites that suit, is kept from no site by name, is "
        "back by 17:00 and has at least 2 h between outings.",
    ),
    (GroupEdit(group="Terns", not_sites=("far-cove",)), "Terns does not go to Far Cove."),
    (HoursEdit(opens=time(7), closes=time(20)), "The centre opens at 07:00 and closes at 20:00."),
    (CompressorEdit(fill_min=7.5), "The compressor needs 7.5 min for a cylinder."),
    (AddCylindersEdit(volume_l=15, count=4), "4 more steel cylinders of 15 l are in the store."),
    (
        AddCylindersEdit(volume_l=12.2, count=1, working_bar=232),
        "1 more steel cylinder of 12.2 l and 232 bar is in the store.",
    ),
    (AddKitEdit(thing="fins", size="42", count=2), "2 more pairs of fins of size 42 are in the store."),
    (AddKitEdit(thing="boots", size="42", count=1), "1 more pair of boots of size 42 is in the store."),
    (AddKitEdit(thing="buoyancy_device", count=1), "1 more buoyancy device is in the store."),
    (AddKitEdit(thing="suit", size="M", count=2, mm=7), "2 more 7 mm suits of size M are in the store."),
    (AddKitEdit(thing="flag", count=2), "2 more flags are in the store."),
    (WithoutGroupEdit(group="Terns"), "Terns is left out, with what was settled and excluded for it."),
]


@pytest.mark.parametrize(("edit", "sentence"), WORDS_OF)
def test_an_edit_in_words(edit: Edit, sentence: str) -> None:
    assert edit_words(edit, the_world()) == sentence
    assert edit_words(edit) == sentence.replace("Far Cove", "far-cove")


def test_every_edit_has_words_here_and_a_name_of_its_own() -> None:
    kinds = get_args(get_args(Edit)[0])
    assert {type(edit) for edit, _ in WORDS_OF} == set(kinds) == set(EDITS.values())
    assert len(EDITS) == len(kinds)
    things = get_args(AddKitEdit.model_fields["thing"].annotation)
    for thing in things:
        mm = 5 if thing == "suit" else None
        one, two = (edit_words(AddKitEdit(thing=thing, count=count, mm=mm)) for count in (1, 2))
        assert " is in the store." in one and " are in the store." in two and "_" not in one + two


# ---- a file ----


def test_the_file_is_one_that_somebody_can_read() -> None:
    request = ask(
        group("Terns", 1, mixes={"Ann": 32.0}, pairs=(("Ann", "Ben"), ("Cy", "Dee"))),
        vehicles=(),
        crew=({"name": "Ida", "off": (SAT,)},),
        compressor=None,
        pinned=({"group": "Terns", "dives": (1,), "day": SAT, "entry": time(9, 30), "assistants": ()},),
    )
    assert (
        as_toml(request)
        == """\
# Some days of dives, written from the request as it stands.
first_day = 2027-06-12
days = 3
vehicles = []

[centre]
position = "47.01, -17.01"
timezone = "Atlantic/Azores"
opens = "07:00"
closes = "19:00"

[[crew]]
name = "Ida"
off = [2027-06-12]

[[groups]]
name = "Terns"
kind = "guided"
divers = ["Ann", "Ben", "Cy", "Dee"]
mixes = { Ann = 32.0 }
pairs = [["Ann", "Ben"], ["Cy", "Dee"]]

[[groups.dives]]
depth_m = 12.0
minutes = 30

[[pinned]]
group = "Terns"
dives = [1]
day = 2027-06-12
entry = "09:30"
assistants = []
"""
    )
