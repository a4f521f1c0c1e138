"""The season page: a year by site from what is known beforehand, to choose course dates by."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date, timedelta

from flask import Blueprint, current_app, render_template, request, url_for

from tripplan.documents.season_picture import ENOUGH_MIN, season_causes, season_key, season_months, season_picture
from tripplan.people.group import KINDS
from tripplan.planning.request import FIRST_DAY, LAST_DAY
from tripplan.planning.season import Season, seasons
from tripplan.rulebook import RuleBook
from tripplan.store.folder import Folder
from tripplan.web.choosing import choice_at
from tripplan.web.here import now, shelf

bp = Blueprint("season", __name__)

SHOWN_FIRST = 6  # sites and months, until somebody chooses
MOST_SITES = 20  # more strips than this nobody compares
PLANNED_AHEAD_DAYS = 730  # the plan page goes no further
KEPT = 16


@dataclass(frozen=True)
class Asked:
    """What the form holds, as typed."""

    sites: tuple[str, ...]
    kind: str
    month: str
    months: str
    errors: dict[str, str] = field(default_factory=dict)


def _asked(folder: Folder, today: date) -> Asked:
    words = request.args
    if not words:
        return Asked(tuple(folder.sites)[:SHOWN_FIRST], "guided", f"{today:%Y-%m}", str(SHOWN_FIRST))
    sites = tuple(dict.fromkeys(words.getlist("site")))
    asked = Asked(
        sites=sites,
        kind=words.get("kind", "guided"),
        month=words.get("from", f"{today:%Y-%m}").strip(),
        months=words.get("months", str(SHOWN_FIRST)).strip(),
    )
    unknown = [site for site in sites if site not in folder.sites]
    if unknown:
        asked.errors["site"] = f'Site "{unknown[0]}" is not in the catalogue; known: {", ".join(folder.sites)}.'
    elif not sites:
        asked.errors["site"] = "Tick at least one site."
    elif len(sites) > MOST_SITES:
        asked.errors["site"] = f"{len(sites)} sites are ticked; at most {MOST_SITES} are shown at once."
    if asked.kind not in KINDS:
        asked.errors["kind"] = f'Kind "{asked.kind}" is not known; choose one of the list.'
    return asked


def _span(asked: Asked) -> tuple[date, date] | None:
    """Return the first and the last day; None where they cannot be read, with a sentence in ``asked.errors``."""
    written = re.fullmatch(r"(\d{4})-(0[1-9]|1[0-2])", asked.month, re.ASCII)
    if not written:
        asked.errors["from"] = f'"{asked.month}" is not a month; write it like 2027-04.'
    if not re.fullmatch(r"[1-9]|1[0-2]", asked.months, re.ASCII):
        asked.errors["months"] = f'"{asked.months}" is not from 1 to 12 months.'
    if not written or "months" in asked.errors:
        return None
    year, month = int(written[1]), int(written[2])
    after = month - 1 + int(asked.months)
    if not FIRST_DAY.year <= year <= LAST_DAY.year or year + after // 12 > LAST_DAY.year + (after % 12 == 0):
        asked.errors["from"] = (
            f"{asked.month} is outside {FIRST_DAY.year} to {LAST_DAY.year}: no tide is reckoned there."
        )
        return None
    return date(year, month, 1), date(year + after // 12, after % 12 + 1, 1) - timedelta(days=1)


def _seasons(asked: Asked, folder: Folder, first: date, last: date) -> tuple[Season, ...]:
    """Return the seasons, kept while sites, stations and rules stay as they are."""
    world = folder.world
    kept: dict[tuple[object, ...], tuple[object, RuleBook, tuple[Season, ...]]]
    kept = current_app.extensions.setdefault("tripplan_seasons", {})
    sites = [folder.sites[slug] for slug in asked.sites]
    key = (tuple(site.model_dump_json() for site in sites), asked.kind, first, last)
    if key in kept and kept[key][0] is world.stations and kept[key][1] is world.rules:
        return kept[key][2]
    if len(kept) >= KEPT:
        kept.clear()
    found = seasons(sites, world, KINDS[asked.kind], first, last)
    kept[key] = (world.stations, world.rules, found)
    return found


def _picture(found: tuple[Season, ...], narrow: bool) -> str:
    """Return the picture, kept by what it shows."""
    kept: dict[tuple[str, bool], str] = current_app.extensions.setdefault("tripplan_season_pictures", {})
    key = (season_key(found), narrow)
    if key not in kept:
        if len(kept) >= KEPT:
            kept.clear()
        kept[key] = season_picture(found, narrow=narrow)
    return kept[key]


@bp.get("/season")
def show() -> str | tuple[str, int]:
    """Show the days of the chosen sites as a picture, and their months in a table."""
    folder, today = shelf(), now().date()
    if not folder.sites:
        return render_template("empty.html", folder=folder)
    asked = _asked(folder, today)
    span = _span(asked)
    found = _seasons(asked, folder, *span) if span and not asked.errors else ()

    def plan_of(site: str, day: date) -> str:
        """Return the address of the plan of a day; empty where the plan page does not go."""
        if not 0 <= (day - today).days <= PLANNED_AHEAD_DAYS:
            return ""
        return url_for("plans.show", **choice_at(site, day, folder).query)

    page = render_template(
        "season.html",
        asked=asked,
        folder=folder,
        kinds=KINDS,
        seasons=[(one, season_months(one), season_causes(one)[:3]) for one in found],
        wide=_picture(found, False) if found else "",
        narrow=_picture(found, True) if found else "",
        enough_h=ENOUGH_MIN // 60,
        plan_of=plan_of,
    )
    return (page, 400) if asked.errors else page
