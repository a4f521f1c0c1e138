"""Plans that are kept: found again only for the same request in the same world."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from threading import Thread

import pytest

from tripplan.data_files import data_dir
from tripplan.environment.conditions import Conditions
from tripplan.planning.day import plan_day
from tripplan.planning.observed import Observed, seen_of
from tripplan.planning.replan import delayed
from tripplan.planning.tolerance import with_edges
from tripplan.store.folder import load_folder
from tripplan.web import made as made_module
from tripplan.web.made import Plans

FOLDER = load_folder(data_dir("sites"))
SEEN_AT = datetime(2026, 12, 12, 9, tzinfo=timezone(timedelta(hours=-1)))
REQUEST = FOLDER.requests["saturday-ledge"]
WORLD = replace(FOLDER.world, conditions={"stair-ledge": Conditions(FOLDER.forecasts["stair-ledge"])})


@pytest.fixture
def counted(monkeypatch):
    calls = []

    def counting(request, world):
        calls.append((request, world))
        return plan_day(request, world)

    monkeypatch.setattr(made_module, "plan_day", counting)
    return calls


def test_the_same_request_in_an_equal_world_is_planned_once(counted):
    plans = Plans()
    first = plans.made(REQUEST, WORLD)
    equal = replace(WORLD, conditions=dict(WORLD.conditions), ticks=dict(WORLD.ticks))
    assert plans.made(REQUEST.model_copy(), equal) is first
    assert len(counted) == 1
    assert first.plan == with_edges(plan_day(REQUEST, WORLD), REQUEST, WORLD)


def changed_worlds():
    world = WORLD
    rule = world.rules.rules["plan.dry_gap_min"]
    person = next(iter(world.people.values()))
    seen = seen_of(Observed.model_validate({"time": SEEN_AT, "by": "Greta Holm", "wind_kn": 12}))
    told = world.conditions["stair-ledge"].with_seen(seen) if "stair-ledge" in world.conditions else None
    yield (
        "rule",
        replace(
            world,
            rules=replace(world.rules, rules={**world.rules.rules, rule.key: replace(rule, value=rule.value + 1)}),
        ),
    )
    yield (
        "person",
        replace(
            world,
            people={**world.people, person.name: person.model_copy(update={"logged_dives": person.logged_dives + 1})},
        ),
    )
    yield "ticks", replace(world, ticks={})
    yield "kit", replace(world, kit=None)
    yield "nobody tells", replace(world, conditions={})
    told = world.conditions["stair-ledge"].with_seen(seen)
    yield "seen", replace(world, conditions={"stair-ledge": told})


WORLDS = dict(changed_worlds())


@pytest.mark.parametrize("what", WORLDS)
def test_another_world_is_planned_anew(what, counted):
    world = WORLDS[what]
    plans = Plans()
    first = plans.made(REQUEST, WORLD, edges=False)
    second = plans.made(REQUEST, world, edges=False)
    assert second is not first and len(counted) == 2
    assert second.plan == plan_day(REQUEST, world)


def test_another_request_delay_or_wish_for_edges_is_planned_anew(counted):
    plans = Plans()
    plain = plans.made(REQUEST, WORLD, edges=False)
    assert plain.plan.edges == ()
    with_them = plans.made(REQUEST, WORLD)
    assert with_them is not plain and with_them.plan.edges
    assert plans.made(REQUEST, WORLD, edges=False).plan.revision == plain.plan.revision
    late = plans.made(REQUEST, WORLD, delay_min=20, edges=False)
    assert late.plan == plan_day(delayed(REQUEST, plain.plan, 20), WORLD) != plain.plan
    other = REQUEST.model_copy(update={"title": "Another day"})
    assert plans.made(other, WORLD, edges=False).plan.title == "Another day"


def test_the_oldest_goes_and_what_was_made_of_a_plan_goes_with_it(counted):
    plans = Plans(most=2)
    first = plans.made(REQUEST, WORLD, edges=False)
    assert first.once("picture", lambda: "drawn") == first.once("picture", lambda: "drawn anew") == "drawn"
    for title in ("one", "two"):
        plans.made(REQUEST.model_copy(update={"title": title}), WORLD, edges=False)
    again = plans.made(REQUEST, WORLD, edges=False)
    assert again is not first and again.once("picture", lambda: "drawn anew") == "drawn anew"
    assert len(counted) == 4


def test_worlds_that_cannot_be_compared_are_different():
    class Array:
        def __eq__(self, other):
            raise ValueError("the truth value of an array is ambiguous")

        __hash__ = None

    station = replace(WORLD, confirmed=(Array(),))
    assert not made_module._same(station, replace(WORLD, confirmed=(Array(),)))
    assert made_module._same(station, replace(station))


def test_pages_that_ask_at_once_get_their_own_plans():
    plans = Plans(most=3)
    found = {}
    asked = [REQUEST.model_copy(update={"title": f"day {number}"}) for number in range(6)]

    def ask(one):
        found[one.title] = plans.made(one, WORLD, edges=False).plan.title

    threads = [Thread(target=ask, args=(one,)) for one in asked]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == {one.title: one.title for one in asked}
