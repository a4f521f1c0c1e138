"""Tide tables: a week of highs and lows at a station, and a picture of the first day."""

from __future__ import annotations

from datetime import date, timedelta

from flask import Blueprint, abort, render_template, request

from tripplan.documents.tide_picture import tide_events, tide_picture
from tripplan.web.choosing import near_date
from tripplan.web.here import now, shelf

bp = Blueprint("tides", __name__)

FIRST_DAY, LAST_DAY = date(1901, 1, 1), date(2099, 12, 1)  # the tide engine's two centuries, with a week to spare


@bp.get("/tides")
def listing() -> str:
    """List the stations."""
    return render_template("tides.html", stations=shelf().stations)


@bp.get("/tides/<slug>")
def show(slug: str) -> str | tuple[str, int]:
    """Show a week of high and low waters, and the first day's picture."""
    station = shelf().stations.get(slug)
    if station is None or station.tide is None:
        abort(404)
    near = near_date(station.timezone, now())
    typed = request.args.get("date", "").strip()
    first, trouble = _first_day(typed, near)
    days = [first + timedelta(days=ahead) for ahead in range(7)]
    page = render_template(
        "tide.html",
        slug=slug,
        station=station,
        days=[(day, tide_events(station.tide, station.timezone, day)) for day in days],
        first=first,
        before=max(first - timedelta(days=7), FIRST_DAY),
        after=min(first + timedelta(days=7), LAST_DAY),
        wide=tide_picture(station.name, station.tide, station.timezone, first),
        narrow=tide_picture(station.name, station.tide, station.timezone, first, narrow=True),
        typed=typed,
        trouble=trouble,
    )
    return (page, 400) if trouble else page


def _first_day(typed: str, near: date) -> tuple[date, str]:
    """Return the day that was typed, or a near day and what is wrong with the typed one."""
    if not typed:
        return near, ""
    try:
        day = date.fromisoformat(typed)
    except ValueError:
        return near, f'"{typed}" is not a date; write it like {near.isoformat()}.'
    if not FIRST_DAY <= day <= LAST_DAY:
        return (
            near,
            f"{typed} is outside {FIRST_DAY.isoformat()} to {LAST_DAY.isoformat()}: no tide is predicted there.",
        )
    return day, ""
