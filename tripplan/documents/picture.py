"""The picture of the day: light, tide, stream, usable windows and dives on one time axis, as an SVG that stands alone.

Colour only repeats what a word, a hatch or a line says, so that it reads in grey. Time is placed by elapsed minutes and
labelled by the site's clock, so that a day on which the clock changes has its 23 or 25 hours.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from tripplan.documents.words import clock, date_words, window_words
from tripplan.planning.plan import DayPlan, DivePlan, UsableWindow

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, ACCENT, NIGHT, DUSK, GRID = "#161616", "#0b5d6b", "#9a9a9a", "#d2d2d2", "#c9c4b6"
PAPER = {"facecolor": "#ffffff", "edgecolor": "none", "pad": 0.8, "alpha": 0.75}  # behind words
SHORTEST_VIEW_MIN = 600  # ten hours: less makes the day look longer than it is


@dataclass(frozen=True)
class _Frame:
    """The minutes of the day that the picture shows, and its size."""

    first: int
    last: int
    narrow: bool
    share: float = 1.0  # of the full height, for a day with fewer panels

    @property
    def size_in(self) -> tuple[float, float]:
        return (4.7, 6.0 * self.share) if self.narrow else (10.0, 4.8 * self.share)

    @property
    def font_pt(self) -> float:
        return 10.5 if self.narrow else 9.5

    def length_min(self, text: str) -> float:
        """How many minutes of the axis a text is likely to cover."""
        return len(text) * self.font_pt * 0.6 / (self.size_in[0] * 0.86 * 72) * (self.last - self.first)

    def fits(self, text: str, minutes: float) -> bool:
        """Whether a text is likely to fit into a stretch of minutes."""
        return self.length_min(text) < minutes


def day_picture(plan: DayPlan, *, narrow: bool = False, grey: bool = False, embed_text: bool = False) -> str:
    """Return the picture of a plan's day as SVG.

    narrow     -- for a phone: taller, fewer ticks
    grey       -- without the accent colour
    embed_text -- letters as outlines, for a document whose fonts are its own
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    frame = _frame(plan, narrow)
    accent = INK if grey else ACCENT
    panels = ["light"] + (["tide"] if plan.curve.tide_m else []) + (["stream"] if plan.curve.stream_kn else [])
    window_rows, dive_rows = _window_rows(plan), _dive_rows(plan, frame)
    panels += ["windows", "dives"]
    heights = {"light": 0.5, "tide": 3.6, "stream": 1.7, "windows": 0.45 + 0.45 * len(window_rows),
               "dives": 0.3 + 0.75 * max(len(dive_rows), 1)}  # fmt: skip
    frame = replace(frame, share=(sum(heights[name] for name in panels) + 0.6) / 7.5)
    settings: dict[Any, Any] = {
        "svg.fonttype": "path" if embed_text else "none",
        "svg.hashsalt": f"{plan.revision}{narrow}{grey}",
        "font.size": frame.font_pt,
        "font.family": "DejaVu Sans",
        "axes.edgecolor": INK,
        "hatch.linewidth": 0.6,
    }
    with rc_context(settings):
        figure = Figure(figsize=frame.size_in, facecolor="none")
        FigureCanvasSVG(figure)
        axes = figure.subplots(
            len(panels), 1, sharex=True, squeeze=False, height_ratios=[heights[name] for name in panels]
        )[:, 0]
        for name, panel in zip(panels, axes, strict=True):
            panel.set_facecolor("none")
            if name == "light":
                _draw_light(panel, plan, frame)
            elif name == "tide":
                _draw_tide(panel, plan, frame, accent)
            elif name == "stream":
                _draw_stream(panel, plan, frame)
            elif name == "windows":
                _draw_windows(panel, plan, frame, window_rows, accent)
            else:
                _draw_dives(panel, plan, frame, dive_rows, accent)
            for window in plan.windows:
                for edge in (window.start, window.end):
                    panel.axvline(_minute(plan, edge), color=INK, linewidth=0.5, linestyle=(0, (1, 3)))
        _label_hours(axes[-1], plan, frame)
        left, right = (0.13, 0.965) if narrow else (0.075, 0.985)
        figure.subplots_adjust(left=left, right=right, top=0.985, bottom=0.34 / frame.size_in[1], hspace=0.12)
        drawn = io.StringIO()
        figure.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return cleaned_svg(
        drawn.getvalue(), f"The day at {plan.site_name}", _in_words(plan), f"d{plan.revision}{int(narrow)}"
    )


def day_table(plan: DayPlan) -> tuple[tuple[str, str], ...]:
    """Return in rows of words all that the picture says."""
    rows: list[tuple[str, str]] = []
    light = plan.light
    for what, moment in (("Civil dawn", light.civil_dawn), ("Sunrise", light.sunrise), ("Sunset", light.sunset),
                         ("Civil dusk", light.civil_dusk)):  # fmt: skip
        rows.append((what, clock(moment, plan.date) if moment else f"none: {light.note}"))
    for event in plan.tide_events:
        rows.append((f"{event.kind.capitalize()} water", f"{clock(event.time)}, {event.height_m:.1f} m"))
    if not plan.curve.tide_m:
        rows.append(("Tide", plan.tide_words))
    for limits, doing in ((plan.curve.going_in_m, "Going in"), (plan.curve.coming_out_m, "Coming out")):
        edges = [f"{word} {edge:.1f} m" for word, edge in zip(("from", "to"), limits, strict=True) if edge is not None]
        if edges and plan.curve.tide_m:
            rows.append((f"{doing}, tide", " ".join(edges) + ", margin taken off"))
    if plan.curve.stream_kn and plan.curve.stream_limit_kn is not None:
        strongest = max((rate for rate in plan.curve.stream_kn if not math.isnan(rate)), default=math.nan)
        rows.append(("Stream", f"up to {strongest:.1f} kn; {plan.curve.stream_limit_kn:g} kn allowed"))
    rows.extend(("Usable", window_words(window, plan.date)) for window in plan.windows)
    if not plan.windows:
        reasons = dict.fromkeys(closure.sentence for closure in plan.closures)
        rows.append(("Usable", "at no time: " + " ".join(reasons)))
    for dive in plan.dives:
        times = f"in {clock(dive.entry)}, out {clock(dive.exit)}" if dive.entry else "no time"
        rows.append((f"{dive.group}, dive {dive.number}", times))
    return tuple(rows)


# ---- the axis ----


def _minute(plan: DayPlan, moment: datetime) -> float:
    return (moment.timestamp() - plan.curve.midnight.timestamp()) / 60


def _frame(plan: DayPlan, narrow: bool) -> _Frame:
    """Show from an hour before the first thing of the day to an hour after the last, ten hours at least."""
    whole = plan.curve.minutes
    moments = [plan.light.sunrise, plan.light.civil_dusk]
    moments += [m for window in plan.windows for m in (window.start, window.end)]
    moments += [m for dive in plan.dives for m in (dive.entry, dive.exit)]
    known = [_minute(plan, moment) for moment in moments if moment is not None]
    inside = [minute for minute in known if 0 <= minute <= whole]
    if plan.light.sunrise is None or plan.light.sunset is None or not inside:
        return _Frame(0, whole, narrow)
    first, last = int(max(min(inside) - 60, 0)), int(min(max(inside) + 60, whole))
    while last - first < SHORTEST_VIEW_MIN and (first > 0 or last < whole):
        first, last = max(first - 15, 0), min(last + 15, whole)
    return _Frame(first, last, narrow)


def _label_hours(panel: Axes, plan: DayPlan, frame: _Frame) -> None:
    """Mark the full hours of the local clock where they fall."""
    start = plan.curve.midnight
    zone = start.tzinfo
    utc = start.timestamp()
    places, labels = [], []
    every = 3 if frame.narrow and frame.last - frame.first > 660 else (2 if frame.narrow else 1)
    for minute in range(plan.curve.minutes + 1):
        local = datetime.fromtimestamp(utc + minute * 60, tz=zone)
        if local.minute == 0 and local.hour % every == 0 and frame.first <= minute <= frame.last:
            places.append(minute)
            labels.append(f"{local:%H}")
    panel.set_xticks(places, labels)
    panel.set_xlim(frame.first, frame.last)
    panel.tick_params(axis="x", length=3, color=INK, labelbottom=True)


def _bare(panel: Axes, name: str) -> None:
    panel.set_yticks([])
    panel.set_ylabel(name, rotation=0, ha="right", va="center", labelpad=4)
    panel.tick_params(axis="x", length=0, labelbottom=False)


# ---- the panels ----


def _draw_light(panel: Axes, plan: DayPlan, frame: _Frame) -> None:
    _bare(panel, "light")
    panel.set_ylim(0, 1)
    light, end = plan.light, plan.curve.minutes
    marks = [light.civil_dawn, light.sunrise, light.sunset, light.civil_dusk]
    known = [None if moment is None else _minute(plan, moment) for moment in marks]
    dawn, rise, sets, dusk = known
    if rise is None and sets is None:
        panel.text((frame.first + frame.last) / 2, 0.5, light.note or "day", ha="center", va="center")
        return
    rise, sets = (0.0 if rise is None else rise), (float(end) if sets is None else sets)
    dawn, dusk = (0.0 if dawn is None else dawn), (float(end) if dusk is None else dusk)
    for left, right, colour, word in (
        (0.0, dawn, NIGHT, "night"), (dawn, rise, DUSK, "twilight"), (rise, sets, "none", "day"),
        (sets, dusk, DUSK, "twilight"), (dusk, float(end), NIGHT, "night"),
    ):  # fmt: skip
        left, right = max(left, frame.first), min(right, frame.last)
        if right <= left:
            continue
        panel.axvspan(left, right, facecolor=colour, edgecolor="none")
        if word == "day" and light.sunrise and light.sunset:
            long = f"day, sun {light.sunrise:%H:%M} to {light.sunset:%H:%M}"
            word = long if frame.fits(long, right - left) else word
        if frame.fits(word, right - left):
            panel.text((left + right) / 2, 0.5, word, ha="center", va="center")


def _draw_tide(panel: Axes, plan: DayPlan, frame: _Frame, accent: str) -> None:
    heights = plan.curve.tide_m
    known = [h for h in heights if not math.isnan(h)]
    panel.tick_params(axis="x", length=0, labelbottom=False)
    panel.set_ylabel("tide, m")
    if not known:
        panel.set_yticks([])
        panel.text((frame.first + frame.last) / 2, 0.5, "the tide is not known", ha="center", va="center")
        return
    low, high = min(known), max(known)
    room = max((high - low) * 0.28, 0.4)
    panel.set_ylim(low - room, high + room)
    panel.grid(axis="y", color=GRID, linewidth=0.5)
    panel.plot(range(len(heights)), heights, color=accent, linewidth=2.0)
    bottom, top = panel.get_ylim()
    for (lowest, highest), words, dash in (
        (plan.curve.going_in_m, "going in", (0, (6, 2))),
        (plan.curve.coming_out_m, "coming out", (0, (2, 2))),
    ):
        for edge, beyond, side in ((lowest, bottom, "from"), (highest, top, "up to")):
            if edge is None or not bottom < edge < top:
                continue
            panel.axhline(edge, color=INK, linewidth=1.1, linestyle=dash)
            panel.axhspan(min(edge, beyond), max(edge, beyond), facecolor="none", edgecolor=GRID,
                          hatch="//" if words == "going in" else "\\\\", linewidth=0.1)  # fmt: skip
            right = words == "coming out"
            panel.text(
                frame.last - 4 if right else frame.first + 4, edge, f"{words} {side} {edge:.1f}",
                ha="right" if right else "left", va="bottom" if side == "from" else "top", fontsize=frame.font_pt - 1,
                bbox=PAPER,
            )  # fmt: skip
    for event in plan.tide_events:
        minute = _minute(plan, event.time)
        if not frame.first + 20 <= minute <= frame.last - 20:
            continue
        panel.plot([minute], [event.height_m], marker="o", color=INK, markersize=3.5)
        words = f"{event.time:%H:%M}\n{event.height_m:.1f} m"
        above = event.kind == "high"
        panel.annotate(words, (minute, event.height_m), xytext=(0, 5 if above else -5), textcoords="offset points",
                       ha="center", va="bottom" if above else "top", fontsize=frame.font_pt - 0.5,
                       linespacing=1.0, bbox=PAPER)  # fmt: skip


def _draw_stream(panel: Axes, plan: DayPlan, frame: _Frame) -> None:
    rates = plan.curve.stream_kn
    panel.set_ylabel("kn")
    panel.tick_params(axis="x", length=0, labelbottom=False)
    known = [rate for rate in rates if not math.isnan(rate)]
    panel.set_ylim(0, max([*known, 0.5]) * 1.3)
    panel.fill_between(range(len(rates)), rates, facecolor="none", edgecolor=INK, hatch="..", linewidth=1.0)
    limit = plan.curve.stream_limit_kn
    if limit is not None:
        panel.axhline(limit, color=INK, linewidth=1.1, linestyle=(0, (6, 2)))
    words = f"stream, allowed up to {limit:g} kn" if limit is not None else "stream"
    panel.text(frame.first + 4, panel.get_ylim()[1] * 0.97, words, va="top", fontsize=frame.font_pt - 1,
               bbox=PAPER)  # fmt: skip


def _window_rows(plan: DayPlan) -> list[tuple[tuple[str, ...], list[UsableWindow]]]:
    """Return the windows by the groups they are for, in order; one empty row where there is none."""
    rows: dict[tuple[str, ...], list[UsableWindow]] = {}
    for window in plan.windows:
        rows.setdefault(window.groups, []).append(window)
    return list(rows.items()) or [((), [])]


def _draw_windows(
    panel: Axes, plan: DayPlan, frame: _Frame, rows: list[tuple[tuple[str, ...], list[UsableWindow]]], accent: str
) -> None:
    """Draw when one may be in the water (outline) and when one may go in (filled), a row for each set of groups."""
    _bare(panel, "usable")
    panel.set_ylim(len(rows), 0)
    for row, (groups, windows) in enumerate(rows):
        if not windows:
            panel.text((frame.first + frame.last) / 2, row + 0.5, "no usable minute", ha="center", va="center",
                       fontweight="bold")  # fmt: skip
        for window in windows:
            left, right = _minute(plan, window.start), _minute(plan, window.end)
            box = (row + 0.12, 0.76)
            panel.broken_barh([(left, right - left)], box, facecolor="none", edgecolor=INK, linewidth=1.2)
            for span in window.entries:
                start = _minute(plan, span.start)
                panel.broken_barh([(start, span.minutes)], box, facecolor=accent, edgecolor=INK,
                                  linewidth=0.8, alpha=0.28)  # fmt: skip
            whom = f"{', '.join(groups)}: " if groups else ""
            for words in (f"{whom}in from {window.start:%H:%M}, out by {window.end:%H:%M}",
                          f"{whom}{window.start:%H:%M} to {window.end:%H:%M}", ", ".join(groups)):  # fmt: skip
                if words and frame.fits(words, right - left):
                    panel.text((left + right) / 2, row + 0.5, words, ha="center", va="center", bbox=PAPER)
                    break
            else:
                words = f"{window.start:%H:%M} to {window.end:%H:%M}"
                on_left = right + frame.length_min(words) + 8 > frame.last
                panel.text(left - 4 if on_left else right + 4, row + 0.5, words,
                           ha="right" if on_left else "left", va="center", bbox=PAPER)  # fmt: skip


def _dive_label(dive: DivePlan) -> str:
    return f"{dive.group} {dive.number}\n{dive.entry:%H:%M} to {dive.exit:%H:%M}"


def _reach(plan: DayPlan, frame: _Frame, dive: DivePlan) -> tuple[float, float, bool]:
    """Return the minutes that a dive's box and label cover, and whether the label stands on the left."""
    assert dive.entry is not None and dive.exit is not None
    left, right = _minute(plan, dive.entry), _minute(plan, dive.exit)
    label = frame.length_min(max(_dive_label(dive).split("\n"), key=len)) + 8
    on_left = right + label > frame.last
    return (left - label, right, True) if on_left else (left, right + label, False)


def _dive_rows(plan: DayPlan, frame: _Frame) -> list[list[DivePlan]]:
    """Return the timed dives in as few rows as keep boxes and labels apart."""
    rows: list[list[DivePlan]] = []
    for dive in plan.dives:
        if dive.entry is None or dive.exit is None:
            continue
        start, end, _ = _reach(plan, frame, dive)
        for row in rows:
            taken = [_reach(plan, frame, other)[:2] for other in row]
            if all(end <= left or right <= start for left, right in taken):
                row.append(dive)
                break
        else:
            rows.append([dive])
    return rows


def _draw_dives(panel: Axes, plan: DayPlan, frame: _Frame, rows: Sequence[Sequence[DivePlan]], accent: str) -> None:
    _bare(panel, "dives")
    panel.set_ylim(max(len(rows), 1), 0)
    if not rows:
        middle = (frame.first + frame.last) / 2
        panel.text(middle, 0.5, "no dive has a time", ha="center", va="center", fontweight="bold")
    for number, row in enumerate(rows):
        for dive in row:
            assert dive.entry is not None and dive.exit is not None
            left, right = _minute(plan, dive.entry), _minute(plan, dive.exit)
            panel.broken_barh([(left, right - left)], (number + 0.1, 0.8), facecolor=accent, edgecolor=INK)
            on_left = _reach(plan, frame, dive)[2]
            panel.text(left - 4 if on_left else right + 4, number + 0.5, _dive_label(dive),
                       ha="right" if on_left else "left", va="center", linespacing=1.0)  # fmt: skip


# ---- the drawing made fit for a page ----

_NOT_ATTRIBUTES = {"font", "mix-blend-mode"}  # the short form of font has no attribute; its parts are given below


def style_as_attributes(style: str) -> str:
    """Return a style text as presentation attributes, since a strict content policy blocks styles.

    >>> style_as_attributes("fill: none; stroke: #161616")
    'fill="none" stroke="#161616"'
    """
    found: dict[str, str] = {}
    for part in style.split(";"):
        name, colon, value = (piece.strip() for piece in part.partition(":"))
        if not colon:
            continue
        if name == "font":
            short = re.fullmatch(r"(?:(bold|italic|\d{3})\s+)?([\d.]+px)\s+(.*)", value)
            if short:
                if short[1]:
                    found["font-weight" if short[1] != "italic" else "font-style"] = short[1]
                found["font-size"] = short[2]
        elif name == "font-family":
            continue
        elif name not in _NOT_ATTRIBUTES:
            found[name] = value.replace('"', "'")
    return " ".join(f'{name}="{value}"' for name, value in found.items())


def cleaned_svg(drawn: str, title: str, description: str, prefix: str) -> str:
    """Return a drawing without declaration, style and metadata, with a title, a description and names of its own.

    prefix -- goes before every id, so that two drawings can stand on one page
    """
    from xml.sax.saxutils import escape

    body = drawn[drawn.index("<svg") :]
    body = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>", "", body, flags=re.DOTALL)
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r"<!--.*?-->", "", body, flags=re.DOTALL)
    body = re.sub(r'\sstyle="([^"]*)"', lambda found: (" " + style_as_attributes(found[1])).rstrip(), body)
    body = re.sub(r'\bid="([^"]+)"', rf'id="{prefix}-\1"', body)
    body = re.sub(r"url\(#([^)]+)\)", rf"url(#{prefix}-\1)", body)
    body = re.sub(r'href="#([^"]+)"', rf'href="#{prefix}-\1"', body)
    head = re.match(r"<svg[^>]*>", body)
    box = re.search(r'viewBox="([^"]+)"', body)
    assert head and box
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="{box[1]}" '
        f'width="100%" role="img" aria-labelledby="{prefix}-title {prefix}-desc" '
        'font-family="system-ui, sans-serif" stroke-linejoin="round" stroke-linecap="butt">'
        f'<title id="{prefix}-title">{escape(title)}</title><desc id="{prefix}-desc">{escape(description)}</desc>'
    )
    return opening + re.sub(r"\n\s*", "\n", body[head.end() :]).strip()


def _in_words(plan: DayPlan) -> str:
    rows: list[Any] = [f"{what}: {when}" for what, when in day_table(plan)]
    return f"{date_words(plan.date)}. " + ". ".join(rows) + "."
