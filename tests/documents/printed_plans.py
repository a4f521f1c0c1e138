"""The plans that the tests of this folder print: the demonstration's own, and one that must not be dived."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache

from tripplan.check import Check, Outcome
from tripplan.data_files import data_dir
from tripplan.planning.day import plan_day
from tripplan.planning.plan import DayPlan
from tripplan.planning.request import Crew
from tripplan.store.folder import Folder, load_folder

REQUESTS = ("beginners-cove", "lake-altitude", "saturday-ledge")


@cache
def folder() -> Folder:
    return load_folder(data_dir("sites"))


@cache
def plan_of(name: str) -> DayPlan:
    """Return the plan of a request of the demonstration, or "stop": nobody ashore, nobody asked, papers run out."""
    held = folder()
    if name != "stop":
        return plan_day(held.requests[name], held.world)
    request = held.requests["saturday-ledge"]
    return plan_day(
        request.model_copy(update={"date": date(2027, 9, 9), "recent_dives": None, "crew": Crew()}), held.world
    )


def parts_of(check: Check) -> tuple[str, ...]:
    """Return what of a check must be read on every face: a caution alike but for its dive or person may share a line.

    The wording stands as it is; whom it is about may stand before several such wordings at once.
    """
    if check.outcome is not Outcome.CAUTION or not check.sentence.startswith(
        (f"{check.subject}:", f"{check.subject}'s")
    ):
        return (check.sentence,)
    group, _, number = check.subject.partition(", dive ")
    return (check.sentence.removeprefix(check.subject), group, number)


HOSTILE = {
    "code": "#eval(1)",
    "tag": "<script>alert(1)</script>",
    "quote": '"] } \\ $x$ *b* @y // z',
    "long": "W" * 60,
    "foreign": "新井 恵子",
}


@cache
def hostile_plan() -> DayPlan:
    """Return a plan in which names try to be something else than names."""
    plan = plan_of("saturday-ledge")
    first = plan.dives[0]
    people = tuple(
        replace(person, name=name)
        for person, name in zip(first.people, [HOSTILE["tag"], HOSTILE["quote"], HOSTILE["long"]], strict=False)
    )
    dive = replace(
        first,
        group=HOSTILE["code"],
        leader=HOSTILE["tag"],
        people=people,
        pairs=((HOSTILE["quote"], HOSTILE["long"]),),
    )
    contacts = tuple(replace(contact, name=HOSTILE["foreign"]) for contact in plan.emergency.contacts)
    return replace(
        plan,
        site_name=HOSTILE["code"],
        title=HOSTILE["quote"],
        dives=(dive, *plan.dives[1:]),
        emergency=replace(plan.emergency, contacts=contacts),
    )
