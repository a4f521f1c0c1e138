"""Tide tables: highs and lows of a week at a station."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from flask import Blueprint, abort, render_template, request

from tripplan.web.app import now, shelf
from tripplan.web.choosing import near_date

bp = Blueprint("tides", __name__)


@bp.get("/tides")
def listing() -> str:
    """List the stations."""
    return render_template("tides.html", stations=shelf().stations)


@bp.get("/tides/<slug>")
def show(slug: str) -> str | tuple[str, int]:
    """Show a week of high and low waters."""
    station = shelf().stations.get(slug)
    if station is None or station.tide is None:
        abort(404)
    zone = ZoneInfo(station.timezone)
    typed = request.args.get("date", "").strip()
    trouble = ""
    first = near_date(station.timezone, now())
    if typed:
        try:
            first = date.fromisoformat(typed)
            if not 1900 <= first.year < 2100:
                raise ValueError
        except ValueError:
            trouble = f'"{typed}" is not a date from 1900 to 2099; write it like {first.isoformat()}.'
    days = []
    for shift in range(7):
        day = first + timedelta(days=shift)
        start = datetime.combine(day, time(), tzinfo=zone)
        end = datetime.combine(day + timedelta(days=1), time(), tzinfo=zone)
        points = station.tide.turning_points(start, end)
        days.append((day, [(point, point.time.astimezone(zone)) for point in points]))
    page = render_template(
        "tide.html", slug=slug, station=station, days=days, first=first, typed=typed, trouble=trouble
    )
    return (page, 400) if trouble else page
