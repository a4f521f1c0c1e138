"""The picture of one day of tide at a station: the curve, high and low waters with time and height."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from tripplan.documents.picture import ACCENT, GRID, INK, cleaned_svg, drawing
from tripplan.documents.words import clock, date_words, height
from tripplan.environment.tide import Tide, TurningPoint, minutes_utc


def tide_events(tide: Tide, timezone: str, day: date) -> tuple[tuple[TurningPoint, datetime], ...]:
    """Return the high and low waters of a local day, each with its time on the local clock."""
    start, end = _day(timezone, day)
    return tuple(
        (point, point.time.astimezone(start.tzinfo))
        for point in tide.turning_points(start.astimezone(UTC), end.astimezone(UTC))
    )


def tide_picture(name: str, tide: Tide, timezone: str, day: date, *, narrow: bool = False) -> str:
    """Return the height of tide over a local day as SVG that stands alone, 23 or 25 hours where the clock changes.

    name   -- of the station, for the picture's own title
    narrow -- for a phone: taller, fewer hours marked
    """
    import numpy as np
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    start, end = _day(timezone, day)
    times = minutes_utc(start.astimezone(UTC), end.astimezone(UTC))
    heights = tide.heights_m(times)
    events = tide_events(tide, timezone, day)
    font_pt = 10.5 if narrow else 9.5
    with drawing(font_pt, f"{name}{day}{narrow}"):
        figure = Figure(figsize=(4.7, 3.4) if narrow else (10.0, 3.0), facecolor="none")
        FigureCanvasSVG(figure)
        panel = figure.add_subplot()
        panel.set_facecolor("none")
        panel.set_xlim(0, len(times))
        panel.set_ylabel("metres")
        known = heights[~np.isnan(heights)]
        if known.size:
            low, high = float(known.min()), float(known.max())
            room = max((high - low) * 0.22, 0.2)
            panel.set_ylim(low - room, high + room)
            panel.grid(axis="y", color=GRID, linewidth=0.5)
            panel.plot(range(len(times)), heights, color=ACCENT, linewidth=2.0)
        else:
            panel.set_yticks([])
            panel.text(len(times) / 2, 0.5, "the tide is not known", ha="center", va="center")
        for point, local in events:
            minute = (point.time - start.astimezone(UTC)).total_seconds() / 60
            above = point.kind == "high"
            panel.plot([minute], [point.height_m], marker="o", color=INK, markersize=3.5)
            side = "left" if minute < 50 else "right" if minute > len(times) - 50 else "center"
            panel.annotate(
                f"{clock(local)}\n{height(point.height_m)}",
                (minute, point.height_m),
                xytext=(0, 5 if above else -5),
                textcoords="offset points",
                ha=side,
                va="bottom" if above else "top",
                linespacing=1.0,
            )
        every = 4 if narrow else 2
        marks = [
            (minute, local)
            for minute in range(0, len(times) + 1, 15)
            if (local := (start.astimezone(UTC) + timedelta(minutes=minute)).astimezone(start.tzinfo)).minute == 0
            and local.hour % every == 0
        ]
        panel.set_xticks([minute for minute, _ in marks], [f"{local:%H}" for _, local in marks])
        panel.tick_params(length=3, color=INK)
        left, right = (0.13, 0.975) if narrow else (0.065, 0.985)
        figure.subplots_adjust(left=left, right=right, top=0.97, bottom=0.1)
        drawn = io.StringIO()
        figure.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    said = [f"{point.kind} water {clock(local)}, {height(point.height_m)}" for point, local in events]
    words = f"{date_words(day)}: {'; '.join(said) or 'no high or low water known'}."
    return cleaned_svg(drawn.getvalue(), f"Height of tide at {name}", words, f"t{day:%Y%m%d}{int(narrow)}")


def _day(timezone: str, day: date) -> tuple[datetime, datetime]:
    """Return the local midnights at the beginning and the end of a day."""
    zone = ZoneInfo(timezone)
    return datetime.combine(day, time(), tzinfo=zone), datetime.combine(day + timedelta(days=1), time(), tzinfo=zone)
