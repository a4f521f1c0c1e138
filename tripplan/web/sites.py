"""The site catalogue: the list, and everything one site file says."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from flask import Blueprint, abort, render_template

from tripplan.documents.sketch import sketch_key, sketch_map
from tripplan.emergency.contacts import ROLE_WORDS, freshness, ways
from tripplan.planning.week import SiteDay, week_of
from tripplan.web.choosing import choice_at, near_date
from tripplan.web.here import now, shelf
from tripplan.web.made import kept_here

bp = Blueprint("sites", __name__)


@bp.get("/sites")
def listing() -> str:
    """List the sites."""
    return render_template("sites.html", sites=shelf().sites)


@bp.get("/sites/<slug>")
def show(slug: str) -> str:
    """Show one site, with a sketch from its own positions and the windows of the next seven days."""
    folder = shelf()
    site = folder.sites.get(slug)
    if site is None:
        abort(404)
    first = near_date(site.timezone, now())
    days = [first + timedelta(days=n) for n in range(7)]
    station = folder.stations.get(site.tide.station or "")
    today = now().date()
    week: Sequence[SiteDay] = kept_here("weeks").once(
        (site, days, folder.world), lambda: week_of(site, days, folder.world)
    )
    rules = folder.world.rules
    return render_template(
        "site.html",
        site=site,
        station=station,
        sketch=sketch_map(site),
        key=sketch_key(site),
        week=[(day, choice_at(slug, day.day, folder).query) for day in week],
        ways=ways(site),
        role_words=ROLE_WORDS,
        age=lambda contact: freshness(contact.checked, contact.checked_by, today, rules),
    )
