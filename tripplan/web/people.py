"""The people: level and age today, and what their entries leave open."""

from __future__ import annotations

from datetime import date

from flask import Blueprint, render_template

from tripplan.catalogue.site import Site
from tripplan.check import Check, Outcome
from tripplan.people.person import Person
from tripplan.planning.crew import check_group
from tripplan.planning.private import is_private
from tripplan.planning.request import DiveWish, GroupWish
from tripplan.planning.world import World
from tripplan.web.accounts import sees_private
from tripplan.web.here import now, shelf

bp = Blueprint("people", __name__)

PAPERS = ("medical", "guardian-consent", "lay-off")  # the rules that judge a person's entry, wherever the dive is


@bp.get("/people")
def people() -> str:
    """Show everybody with what is open on a dive today; health and next of kin only to whoever may see them."""
    world = shelf().world
    private = sees_private()
    today = now().date()
    site = next(iter(world.sites.values()), None)
    rows = [
        (person, person.age_on(today), _shown(_open(person, site, today, world), private) if site else ())
        for person in world.people.values()
    ]
    return render_template("people.html", rows=rows, today=today, judged=site is not None, private=private)


def _shown(found: tuple[Check, ...], private: bool) -> tuple[Check, ...]:
    return tuple(check for check in found if private or not is_private(check))


def _open(person: Person, site: Site, today: date, world: World) -> tuple[Check, ...]:
    """Return what the plan would say about a person's papers on a guided dive today; the site does not matter."""
    alone = GroupWish(name="one", kind="guided", divers=(person.name,), dives=(DiveWish(),))
    found = check_group(alone, site, world.people, today, world.rules)
    return tuple(check for check in found if check.rule in PAPERS and check.outcome is not Outcome.OK)
