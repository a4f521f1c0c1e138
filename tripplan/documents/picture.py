"""The picture of the day on one time axis, as an SVG that stands alone.

Light, tide, stream, surf, wind, closed minutes by their kind of reason, usable windows and dives, in strips. A strip of
which nobody told anything is left out.

Colour only repeats what a word, a hatch or a line says, so that it reads in grey. Time is placed by elapsed minutes and
labelled by the site's clock, so that a day on which the clock changes has its 23 or 25 hours.
"""

from __future__ import annotations

import io
import math
import re
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache, partial
from itertools import pairwise
from typing import TYPE_CHECKING, Any, TypeVar

from tripplan.documents.words import (
    clock,
    date_words,
    height,
    height_down,
    height_up,
    rate_up,
    span_words,
    window_words,
)
from tripplan.planning.plan import Closure, DayPlan, DivePlan, Light, Span, UsableWindow

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, ACCENT, NIGHT, DUSK, GRID = "#161616", "#0b5d6b", "#9a9a9a", "#d2d2d2", "#c4c4c4"
PAPER = {"facecolor": "#ffffff", "edgecolor": "none", "pad": 0.8, "alpha": 0.75}  # behind words
CLEAR_PAPER = {"facecolor": "#ffffff", "edgecolor": "none", "pad": 2.5}  # no dash beside a height reads as a minus
SHORTEST_VIEW_MIN = 600  # ten hours: less makes the day look longer than it is
DRAWN_WITH = "DejaVu Sans"  # comes with matplotlib, so every machine reckons the same widths
ON_SCREEN = "system-ui, sans-serif"
LONG_MIN = 60  # a highest value that lasts so long is said with its start and end, not as one moment

# A kind of reason, the rules of closures that belong to it, and its hatch. Straight lines: dots or stars make a file
# many times as long (the stream's dots are drawn anyhow). Not "xx", which is kept for what is not known.
_KINDS: tuple[tuple[str, tuple[str, ...], str], ...] = (
    ("light", ("light",), ""),
    ("gate", ("access-hours", "access-season"), "||"),
    ("tide", ("tide-going-in", "tide-coming-out"), "\\\\"),
    ("stream", ("stream",), ".."),
    ("surf", ("surf", "surf-steep"), "//"),
    ("wind", ("wind", "wind-offshore"), "\\\\\\\\"),
    ("thunder", ("thunder",), "/////"),
    ("run-off", ("run-off",), "\\\\||"),
    ("visibility", ("visibility", "visibility-under-water"), "++"),
    ("cold", ("cold", "suit"), "/-"),
)
_KIND_OF = {rule: kind for kind, rules, _ in _KINDS for rule in rules}
_HATCH_OF = {kind: hatch for kind, _, hatch in _KINDS}
_SEEN_ABOVE = {"light", "tide", "stream"}  # their own panels show when they close
_POINTS = (("N", "north"), ("NE", "north-east"), ("E", "east"), ("SE", "south-east"), ("S", "south"),
           ("SW", "south-west"), ("W", "west"), ("NW", "north-west"))  # fmt: skip
_UNKNOWN_POINT = ("?", "not known")

_Thing = TypeVar("_Thing", DivePlan, UsableWindow)
_ONE_AT_A_TIME = threading.Lock()  # matplotlib's settings hold for the whole process


@dataclass(frozen=True)
class _Frame:
    """The minutes of the day that the picture shows, and its size."""

    first: int
    last: int
    narrow: bool
    share: float = 1.0  # of the full height, for a day with fewer panels or more
    label_pt: float = 0.0  # what the words left of the axis need

    @property
    def size_in(self) -> tuple[float, float]:
        return (4.7, 6.0 * self.share) if self.narrow else (10.0, 4.8 * self.share)

    @property
    def font_pt(self) -> float:
        return 10.5 if self.narrow else 9.5

    @property
    def left(self) -> float:
        """Where the axis begins, as a share of the width."""
        return self._usual_left + self._pushed

    @property
    def _usual_left(self) -> float:
        return 0.13 if self.narrow else 0.075

    @property
    def _pushed(self) -> float:
        return max(self.label_pt / 72 / self.size_in[0] - self._usual_left, 0.0)

    @property
    def right(self) -> float:
        """Where the axis ends, as a share of the width."""
        return 0.965 if self.narrow else 0.985

    def length_min(self, text: str) -> float:
        """How many minutes of the axis a text is likely to cover."""
        return (
            len(text) * self.font_pt * 0.6 / (self.size_in[0] * (0.86 - self._pushed) * 72) * (self.last - self.first)
        )

    def fits(self, text: str, minutes: float) -> bool:
        """Whether a text is likely to fit into a stretch of minutes."""
        return self.length_min(text) < minutes


@contextmanager
def drawing(font_pt: float, salt: str) -> Iterator[None]:
    """Hold matplotlib's settings for one drawing; other threads wait, since the settings are shared by all.

    font_pt -- size of plain text, points
    salt    -- makes the names inside the drawing the same each time
    """
    from matplotlib import rc_context

    settings: dict[Any, Any] = {
        "svg.fonttype": "none",
        "svg.hashsalt": salt,
        "text.parse_math": False,  # a dollar in a name is a dollar
        "font.size": font_pt,
        "font.family": DRAWN_WITH,
        "axes.edgecolor": INK,
        "hatch.linewidth": 0.6,
    }
    with _ONE_AT_A_TIME, rc_context(settings):
        yield


def day_picture(plan: DayPlan, *, narrow: bool = False, grey: bool = False, font_family: str = ON_SCREEN) -> str:
    """Return the picture of a plan's day as SVG.

    Surf and wind are drawn where somebody told them, the rows of closed minutes where they add to the other panels.
    It shows the useful part of the day: from an hour before the first of sunrise, windows and dives to an hour after
    the last of civil dusk, windows and dives, ten hours at least. Its description says from when until when.

    narrow      -- for a phone: taller, fewer ticks
    grey        -- without the accent colour
    font_family -- of the letters, in the words of SVG; they stay letters
    """
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    plan, restored = _drawable(plan)
    frame = _frame(plan, narrow)
    accent = INK if grey else ACCENT
    closed = _closed_in_view(plan, frame) if _closed_told(plan) else []
    longest = max((len(row.kind) for row in closed), default=0)
    frame = replace(frame, label_pt=longest * (frame.font_pt - 1) * 0.62 + 8)
    parts = _parts(plan, frame, accent, closed)
    frame = replace(frame, share=(sum(height for height, _ in parts) + 0.6) / 7.5)
    with drawing(frame.font_pt, f"{plan.revision}{narrow}{grey}"):
        figure = Figure(figsize=frame.size_in, facecolor="none")
        FigureCanvasSVG(figure)
        axes = figure.subplots(len(parts), 1, sharex=True, squeeze=False, height_ratios=[h for h, _ in parts])[:, 0]
        bottom = 0.34 / frame.size_in[1]
        figure.subplots_adjust(left=frame.left, right=frame.right, top=0.985, bottom=bottom, hspace=0.12)
        for panel, (_, draw) in zip(axes, parts, strict=True):
            panel.set_facecolor("none")
            draw(panel, plan, frame)
            panel.xaxis.set_visible(panel is axes[-1])  # ticks that nobody sees take half of the time
            for window in plan.windows:
                for edge in (window.start, window.end):
                    panel.axvline(_minute(plan, edge), color=INK, linewidth=0.5, linestyle=(0, (1, 3)))
        _label_hours(axes[-1], plan, frame)
        drawn = io.StringIO()
        figure.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    title, words = f"The day at {plan.site_name}", _in_words(plan, frame)
    svg = cleaned_svg(drawn.getvalue(), title, words, f"d{plan.revision}{int(narrow)}", font_family)
    return svg.translate(restored)


def _parts(
    plan: DayPlan, frame: _Frame, accent: str, closed: Sequence[_Closed]
) -> list[tuple[float, Callable[[Axes, DayPlan, _Frame], None]]]:
    """Return the panels of the picture from top to bottom, each with its share of the height and how it is drawn."""
    curve = plan.curve
    window_rows, dive_rows = _window_rows(plan, frame), _dive_rows(plan, frame)
    window_height = 0.75 if any(window.groups for window in plan.windows) else 0.55  # names need a line of their own
    parts: list[tuple[float, Callable[[Axes, DayPlan, _Frame], None]]] = [(0.5, _draw_light)]
    if curve.tide_m:
        parts.append((3.6, partial(_draw_tide, accent=accent)))
    if curve.stream_kn:
        parts.append((1.7, _draw_stream))
    if curve.surf_m:
        parts.append((1.7, partial(_draw_surf, accent=accent)))
    if curve.wind_kn:
        parts.append((2.2, _draw_wind))
    if closed:
        parts.append((0.45 + 0.36 * len(closed), partial(_draw_closed, rows=closed)))
    parts.append((0.3 + window_height * len(window_rows), partial(_draw_windows, rows=window_rows, accent=accent)))
    parts.append((0.3 + 0.75 * max(len(dive_rows), 1), partial(_draw_dives, rows=dive_rows, accent=accent)))
    return parts


def day_table(plan: DayPlan) -> tuple[tuple[str, str], ...]:
    """Return in rows of words all that the picture says."""
    rows: list[tuple[str, str]] = []
    light = plan.light
    for what, moment in (("Civil dawn", light.civil_dawn), ("Sunrise", light.sunrise), ("Sunset", light.sunset),
                         ("Civil dusk", light.civil_dusk)):  # fmt: skip
        rows.append((what, clock(moment, plan.date) if moment else f"none: {light.note}"))
    for event in plan.tide_events:
        rows.append((f"{event.kind.capitalize()} water", f"{clock(event.time)}, {height(event.height_m)}"))
    rows.append(("Tide", plan.tide_words))
    rows.extend(("Tide not known", span_words(span, plan.date)) for span in _not_known(plan, plan.curve.tide_m))
    for limits, doing in ((plan.curve.going_in_m, "Going in"), (plan.curve.coming_out_m, "Coming out")):
        edges = [f"{word} {edge}" for word, edge in zip(("from", "to"), _edges(limits), strict=True) if edge]
        if edges and plan.curve.tide_m:
            rows.append((f"{doing}, tide", " ".join(edges) + ", margin taken off"))
    if plan.curve.stream_kn:
        rows.append(("Stream", _stream_words(plan)))
    rows.extend(("Stream not known", span_words(span, plan.date)) for span in _not_known(plan, plan.curve.stream_kn))
    rows.extend(_surf_rows(plan))
    rows.extend(_wind_rows(plan))
    if _closed_told(plan):
        rows.extend((f"Closed by {row.kind}", _closed_words(plan, row)) for row in _closed(plan))
    rows.extend(("Usable", window_words(window, plan.date)) for window in plan.windows)
    if not plan.windows:
        reasons = dict.fromkeys(closure.sentence for closure in plan.closures)
        rows.append(("Usable", "at no time: " + " ".join(reasons)))
    for dive in plan.dives:
        times = f"in {clock(dive.entry, plan.date)}, out {clock(dive.exit, plan.date)}" if dive.entry else "no time"
        rows.append((f"{dive.group}, dive {dive.number}", times))
    return tuple(rows)


def _edges(limits: tuple[float | None, float | None]) -> tuple[str, str]:
    """Return the lowest and the highest height that work, each rounded inwards; "" where there is none."""
    lowest, highest = limits
    return "" if lowest is None else height_up(lowest), "" if highest is None else height_down(highest)


def _stream_words(plan: DayPlan) -> str:
    """Return the strongest stream of the day, rounded up, and the limit."""
    known = [rate for rate in plan.curve.stream_kn if not math.isnan(rate)]
    strongest = f"up to {rate_up(max(known))}" if known else "not known"
    limit = plan.curve.stream_limit_kn
    return f"{strongest}; no limit is given" if limit is None else f"{strongest}; {limit:g} kn allowed"


# ---- surf and wind in words ----


def knots_up(wind_kn: float) -> str:
    """Return a wind in whole knots, rounded up.

    >>> knots_up(16.2)
    '17 kn'
    """
    return f"{math.ceil(round(wind_kn, 6))} kn"


def _highest(plan: DayPlan, values: Sequence[float], shown: Callable[[float], str], short: bool = False) -> str:
    """Return the highest known value of the day, rounded up, and when it first is so high; short: without its end."""
    known = [value for value in values if not math.isnan(value)]
    if not known:
        return "not known"
    top = shown(max(known))
    partly = "" if len(known) == len(values) else " as far as known"
    tops = [not math.isnan(value) and shown(value) == top for value in values]
    if sum(tops) == len(known):
        return f"up to {top}{partly or ' all day'}"
    first = tops.index(True)
    end = tops.index(False, first) if False in tops[first:] else len(tops)
    span = Span(_moment(plan, first), _moment(plan, end))
    if span.minutes < LONG_MIN:
        when = f"at {clock(span.start, plan.date)}"
    else:
        when = f"from {clock(span.start, plan.date)}" if short else span_words(span, plan.date)
    return f"up to {top} {when}{partly}"


def _stop_words(limit: float | None, unit: str) -> str:
    return "no limit is given" if limit is None else f"stop above {limit:g} {unit}"


def _surf_rows(plan: DayPlan) -> Iterator[tuple[str, str]]:
    """Say the highest surf, its limit, and when it is not known."""
    curve = plan.curve
    if not curve.surf_m:
        return
    yield "Surf", f"{_highest(plan, curve.surf_m, height_up)}; {_stop_words(curve.surf_limit_m, 'm')}"
    for span in _not_known(plan, curve.surf_m):
        yield "Surf not known", span_words(span, plan.date)


def _wind_rows(plan: DayPlan) -> Iterator[tuple[str, str]]:
    """Say the strongest wind and gusts, where the wind comes from, its limits, and when it is not known."""
    curve = plan.curve
    if not curve.wind_kn:
        return
    words = f"{_highest(plan, curve.wind_kn, knots_up)}; gusts {_highest(plan, curve.gust_kn, knots_up)}"
    limits = _limit_runs(plan)
    if len({limit for _, _, limit in limits}) == 1:
        words += f"; {_wind_limit_words(limits[0][2])}"
    yield "Wind", words
    turns = _turns(plan)
    yield (
        "Wind from",
        "; ".join(
            name if first == 0 else f"{name} from {clock(_moment(plan, first), plan.date)}"
            for first, (_, name) in turns
        ),
    )
    if len({limit for _, _, limit in limits}) > 1:
        spans = [(Span(_moment(plan, first), _moment(plan, end)), limit) for first, end, limit in limits]
        yield "Wind limit", "; ".join(f"{span_words(span, plan.date)} {_wind_limit_words(kn)}" for span, kn in spans)
    for span in _not_known(plan, curve.wind_kn):
        yield "Wind not known", span_words(span, plan.date)


def _wind_limit_words(limit_kn: float | None) -> str:
    if limit_kn is None:
        return "the limit is not known"
    return "no limit is given for its direction" if math.isinf(limit_kn) else _stop_words(limit_kn, "kn")


def _limit_runs(plan: DayPlan) -> list[tuple[int, int, float | None]]:
    """Return the limits on the wind in order: first minute, one past the last, knots; None: unknown."""
    limits = plan.curve.wind_limit_kn or (math.nan,) * len(plan.curve.wind_kn)
    runs: list[tuple[int, int, float | None]] = []
    for minute, value in enumerate(limits):
        limit = None if math.isnan(value) else value
        if runs and runs[-1][2] == limit:
            runs[-1] = (runs[-1][0], minute + 1, limit)
        else:
            runs.append((minute, minute + 1, limit))
    return runs


def _point(bearing_deg: float) -> tuple[str, str]:
    """Return one of eight points of the compass, in letters and in words."""
    return _UNKNOWN_POINT if math.isnan(bearing_deg) else _POINTS[round(bearing_deg / 45) % 8]


def _turns(plan: DayPlan) -> list[tuple[int, tuple[str, str]]]:
    """Return where the wind comes from, hour by hour, each point once with the first minute of its stretch."""
    turns: list[tuple[int, tuple[str, str]]] = []
    for minute, bearing_deg in list(enumerate(plan.curve.wind_from_deg))[::60]:
        point = _point(bearing_deg)
        if not turns or turns[-1][1] != point:
            turns.append((minute, point))
    return turns or [(0, _UNKNOWN_POINT)]


# ---- closed minutes ----


@dataclass(frozen=True)
class _Closed:
    """The minutes that one kind of reason closes."""

    kind: str
    hatch: str
    closures: tuple[Closure, ...]
    bars: tuple[
        tuple[int, int, bool], ...
    ]  # first minute, one past the last, whether nobody at all may be in the water


def _kind(closure: Closure) -> str:
    """Return the kind of reason of a closure; a rule that no kind lists is a kind of its own, never lost."""
    return _KIND_OF.get(closure.rule) or closure.rule.replace("-", " ")


def _closed_told(plan: DayPlan) -> bool:
    """Return whether the rows of closed minutes say more than the panels of light, tide and stream do."""
    told = plan.curve.surf_m or plan.curve.wind_kn
    return bool(told) or any(_kind(closure) not in _SEEN_ABOVE for closure in plan.closures)


def _closed(plan: DayPlan) -> list[_Closed]:
    """Return the kinds of reason that close something, each with its minutes, those of one kind taken together."""
    kinds = [*_HATCH_OF, *sorted({_kind(closure) for closure in plan.closures} - set(_HATCH_OF))]
    found = []
    for kind in kinds:
        mine = tuple(closure for closure in plan.closures if _kind(closure) == kind)
        bars = _bars(plan, mine)
        if bars:
            found.append(_Closed(kind, _HATCH_OF.get(kind, "/|"), mine, bars))
    return found


def _bars(plan: DayPlan, closures: Sequence[Closure]) -> tuple[tuple[int, int, bool], ...]:
    """Return the stretches that closures of one kind close together, and whether for everybody and everything."""
    everybody = frozenset(dive.group for dive in plan.dives)
    whole, part = [False] * plan.curve.minutes, [False] * plan.curve.minutes
    shut: list[frozenset[str]] = [frozenset()] * plan.curve.minutes
    for closure in closures:
        first, end = _minutes_of(plan, closure)
        for minute in range(first, end):
            part[minute] = True
            if closure.phase == "water":
                shut[minute] |= frozenset(closure.groups)
                whole[minute] |= not closure.groups or (bool(everybody) and everybody <= shut[minute])
    bars: list[tuple[int, int, bool]] = []
    for minute in range(plan.curve.minutes):
        if not part[minute]:
            continue
        if bars and bars[-1][1:] == (minute, whole[minute]):
            bars[-1] = (bars[-1][0], minute + 1, whole[minute])
        else:
            bars.append((minute, minute + 1, whole[minute]))
    return tuple(bars)


def _minutes_of(plan: DayPlan, closure: Closure) -> tuple[int, int]:
    """Return the first minute of the day that a closure touches, and one past the last."""
    first, end = math.floor(_minute(plan, closure.start)), math.ceil(_minute(plan, closure.end))
    return max(first, 0), min(end, plan.curve.minutes)


def _closed_words(plan: DayPlan, row: _Closed) -> str:
    """Say when a kind of reason closes what for whom."""
    parts = []
    for phase, groups in dict.fromkeys((closure.phase, closure.groups) for closure in row.closures):
        same = [closure for closure in row.closures if (closure.phase, closure.groups) == (phase, groups)]
        spans = [Span(_moment(plan, first), _moment(plan, end)) for first, end, _ in _bars(plan, same)]
        if not spans:
            continue
        whom = f" ({', '.join(groups)})" if groups else ""
        what = "no going in" if phase == "entry" else "nobody in the water"
        parts.append(f"{what}{whom} " + " and ".join(span_words(span, plan.date) for span in spans))
    return "; ".join(parts)


def _closed_in_view(plan: DayPlan, frame: _Frame) -> list[_Closed]:
    """Return the kinds of reason that close minutes which the picture shows, those minutes only."""
    found = []
    for row in _closed(plan):
        bars = [(max(first, frame.first), min(end, frame.last), whole) for first, end, whole in row.bars]
        inside = tuple(bar for bar in bars if bar[0] < bar[1])
        if inside:
            found.append(replace(row, bars=inside))
    return found


def _not_known(plan: DayPlan, values: Sequence[float]) -> tuple[Span, ...]:
    """Return the stretches of the day in which a curve has no value."""
    spans: list[Span] = []
    start: int | None = None
    for minute, value in enumerate([*values, 0.0]):
        if math.isnan(value):
            start = minute if start is None else start
        elif start is not None:
            spans.append(Span(_moment(plan, start), _moment(plan, minute)))
            start = None
    return tuple(spans)


# ---- the axis ----


def _minute(plan: DayPlan, moment: datetime) -> float:
    return (moment.timestamp() - plan.curve.midnight.timestamp()) / 60


def _moment(plan: DayPlan, minute: int) -> datetime:
    return datetime.fromtimestamp(plan.curve.midnight.timestamp() + minute * 60, tz=plan.curve.midnight.tzinfo)


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
    places, labels = [], []
    every = 3 if frame.narrow and frame.last - frame.first > 660 else (2 if frame.narrow else 1)
    for minute in range(plan.curve.minutes + 1):
        local = _moment(plan, minute)
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
    light = plan.light
    bands = _light_bands(plan)
    if not bands:
        words = light.note or "the light is not known"
        panel.text((frame.first + frame.last) / 2, 0.5, words, ha="center", va="center")
        return
    colours = {"night": NIGHT, "twilight": DUSK, "day": "none"}
    for start, end, word in bands:
        left, right = max(start, frame.first), min(end, frame.last)
        if right <= left:
            continue
        panel.axvspan(left, right, facecolor=colours[word], edgecolor="none")
        if word == "day" and light.sunrise and light.sunset:
            long = f"day, sun {light.sunrise:%H:%M} to {light.sunset:%H:%M}"
            word = long if frame.fits(long, right - left) else word
        if frame.fits(word, right - left):
            panel.text((left + right) / 2, 0.5, word, ha="center", va="center")


_LIGHT = ("night", "twilight", "day")  # darkest first


def _light_bands(plan: DayPlan) -> list[tuple[float, float, str]]:
    """Return night, twilight and day by their minutes, in whatever order the sun's events come; none without events.

    In high latitudes the sun may set after midnight and rise again: each event says what was before and comes after it.
    Where two neighbours disagree, the darker one is taken.
    """
    light: Light = plan.light
    turns = sorted(
        (_minute(plan, moment), before, after)
        for moment, before, after in (
            (light.civil_dawn, 0, 1), (light.sunrise, 1, 2), (light.sunset, 2, 1), (light.civil_dusk, 1, 0),
        )
        if moment is not None
    )  # fmt: skip
    if not turns:
        return []
    edges = [0.0, *(minute for minute, _, _ in turns), float(plan.curve.minutes)]
    levels = [turns[0][1], *(min(a[2], b[1]) for a, b in pairwise(turns)), turns[-1][2]]
    return [
        (left, right, _LIGHT[level])
        for (left, right), level in zip(pairwise(edges), levels, strict=True)
        if right > left
    ]


def _draw_tide(panel: Axes, plan: DayPlan, frame: _Frame, accent: str) -> None:
    heights = plan.curve.tide_m
    known = [h for h in heights if not math.isnan(h)]
    panel.tick_params(axis="x", length=0, labelbottom=False)
    panel.set_ylabel("tide, m")
    if not known:
        panel.set_yticks([])
        panel.text((frame.first + frame.last) / 2, 0.5, "the tide is not known", ha="center", va="center")
        return
    # A limit that the tide never meets closes the whole day: the panel reaches it. One always met need not be seen.
    limits = (plan.curve.going_in_m, plan.curve.coming_out_m)
    low = min([*known, *(highest for _, highest in limits if highest is not None)])
    high = max([*known, *(lowest for lowest, _ in limits if lowest is not None)])
    room = max((high - low) * 0.28, 0.4)
    panel.set_ylim(low - room, high + room)
    panel.grid(axis="y", color=GRID, linewidth=0.5)
    panel.plot(range(len(heights)), heights, color=accent, linewidth=2.0)
    _draw_not_known(panel, plan, frame, heights)
    _draw_events(panel, plan, frame)
    _draw_tide_limits(panel, plan, frame)


def _draw_not_known(panel: Axes, plan: DayPlan, frame: _Frame, values: Sequence[float]) -> None:
    """Hatch the stretches in which a curve has no value, so that they never look like nought."""
    for span in _not_known(plan, values):
        left, right = max(_minute(plan, span.start), frame.first), min(_minute(plan, span.end), frame.last)
        if right <= left:
            continue
        panel.axvspan(left, right, facecolor="none", edgecolor=INK, hatch="xx", linewidth=0.5)
        words = "not known"
        panel.text((left + right) / 2, sum(panel.get_ylim()) / 2, words, ha="center", va="center", fontweight="bold",
                   bbox=PAPER, rotation=0 if frame.fits(words, right - left) else 90)  # fmt: skip


def _draw_events(panel: Axes, plan: DayPlan, frame: _Frame) -> None:
    for event in plan.tide_events:
        minute = _minute(plan, event.time)
        if not frame.first + 20 <= minute <= frame.last - 20:
            continue
        panel.plot([minute], [event.height_m], marker="o", color=INK, markersize=3.5)
        above = event.kind == "high"
        panel.annotate(f"{event.time:%H:%M}\n{height(event.height_m)}", (minute, event.height_m),
                       xytext=(0, 5 if above else -5), textcoords="offset points", ha="center",
                       va="bottom" if above else "top", fontsize=frame.font_pt - 0.5, linespacing=1.0,
                       bbox=CLEAR_PAPER)  # fmt: skip


def _draw_tide_limits(panel: Axes, plan: DayPlan, frame: _Frame) -> None:
    """Draw the heights between which a way works: a line with its words, hatched beyond it."""
    bottom, top = panel.get_ylim()
    for limits, doing, dash, hatch in (
        (plan.curve.going_in_m, "going in", (0, (6, 2)), "//"),
        (plan.curve.coming_out_m, "coming out", (0, (2, 2)), "\\\\"),
    ):
        for edge, shown, beyond, side in zip(limits, _edges(limits), (bottom, top), ("from", "up to"), strict=True):
            if edge is None or not bottom < edge < top:
                continue
            panel.axhline(edge, color=INK, linewidth=1.1, linestyle=dash)
            panel.axhspan(min(edge, beyond), max(edge, beyond), facecolor="none", edgecolor=GRID, hatch=hatch,
                          linewidth=0.1)  # fmt: skip
            words = f"{doing} {side} {shown}"
            place = _free_place(plan, frame, words, edge, top - bottom, late=doing == "coming out")
            panel.text(place, edge, words, ha="left", va="bottom" if side == "from" else "top",
                       fontsize=frame.font_pt - 1, bbox=PAPER)  # fmt: skip


def _free_place(plan: DayPlan, frame: _Frame, words: str, edge: float, span_m: float, late: bool) -> float:
    """Return the minute at which words on a line hide neither the curve nor the marks of high and low water.

    late -- look from the end of the day, so that two lines at about the same height keep their words apart
    """
    long = frame.length_min(words)
    last = int(frame.last - long - 4)
    places = range(frame.first + 4, max(last, frame.first + 5), 15)
    marks = [(_minute(plan, event.time), event.height_m) for event in plan.tide_events]

    def hidden(place: int) -> int:
        under = plan.curve.tide_m[max(place - 5, 0) : int(place + long + 5)]
        count = sum(abs(value - edge) < 0.12 * span_m for value in under)
        near = sum(place - 45 < minute < place + long + 45 and abs(h - edge) < 0.3 * span_m for minute, h in marks)
        return count + 1000 * near

    return min(sorted(places, reverse=late), key=hidden)


def _borders_not_known(values: Sequence[float], minute: int) -> bool:
    return any(math.isnan(value) for value in values[max(minute - 1, 0) : minute + 2])


def _draw_stream(panel: Axes, plan: DayPlan, frame: _Frame) -> None:
    rates = plan.curve.stream_kn
    panel.set_ylabel("kn")
    panel.tick_params(axis="x", length=0, labelbottom=False)
    known = [rate for rate in rates if not math.isnan(rate)]
    panel.set_ylim(0, max([*known, plan.curve.stream_limit_kn or 0.0, 0.5]) * 1.45)
    last = len(rates) - 1
    steps = [m for m in range(len(rates)) if m % 5 == 0 or m == last or _borders_not_known(rates, m)]  # all: 160 kB
    panel.fill_between(steps, [rates[m] for m in steps], facecolor="none", edgecolor=INK, hatch="..", linewidth=1.0)
    _draw_not_known(panel, plan, frame, rates)
    limit = plan.curve.stream_limit_kn
    if limit is not None:
        panel.axhline(limit, color=INK, linewidth=1.1, linestyle=(0, (6, 2)))
    words = f"stream, {_stream_words(plan)}"
    panel.text(frame.first + 4, panel.get_ylim()[1] * 0.97, words, va="top", fontsize=frame.font_pt - 1,
               bbox=PAPER)  # fmt: skip


def _thinned(*curves: Sequence[float]) -> list[int]:
    """Return every fifth minute and those beside a gap or a jump: all of them would make the file much longer."""
    last = len(curves[0]) - 1
    return [
        minute for minute in range(last + 1)
        if minute % 5 == 0 or minute == last
        or any(_borders_not_known(curve, minute) or _jumps(curve, minute) for curve in curves)
    ]  # fmt: skip


def _jumps(values: Sequence[float], minute: int) -> bool:
    near = values[max(minute - 1, 0) : minute + 2]
    return max(near) - min(near) > 0.25 * max(abs(value) for value in near)


def _headed(panel: Axes, frame: _Frame, words: str, most: float, below_pt: float = 0.0) -> None:
    """Write what a strip shows over its curves, and scale it so that neither hides the other.

    most     -- the highest value that must be seen
    below_pt -- room under the axis of nought, points
    """
    from matplotlib.ticker import MaxNLocator

    high_pt = panel.get_position().height * frame.size_in[1] * 72
    lines = _wrapped(frame, words)
    head_pt = len(lines) * (frame.font_pt - 1) * 1.2 + 9
    unit = most / max(high_pt - head_pt - below_pt, 12.0)
    panel.set_ylim(-below_pt * unit, most + head_pt * unit)
    ticks = [tick for tick in MaxNLocator(3).tick_values(0, most) if 0 <= tick <= most * 1.001]
    panel.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    panel.tick_params(axis="x", length=0, labelbottom=False)
    panel.text(frame.first + 4, most + (head_pt - 3) * unit, "\n".join(lines), va="top", fontsize=frame.font_pt - 1,
               linespacing=1.0, bbox=PAPER)  # fmt: skip


def _wrapped(frame: _Frame, words: str) -> list[str]:
    """Break words into lines that fit into the picture, at a semicolon where that helps."""
    from textwrap import wrap

    width = int((frame.last - frame.first - 8) / frame.length_min("x"))
    lines: list[str] = []
    for part in words.split("; "):
        if lines and len(lines[-1]) + len(part) + 2 <= width:
            lines[-1] += f"; {part}"
        else:
            lines += wrap(part, width)
    return lines


def _write_limit(
    panel: Axes, frame: _Frame, run: tuple[int, int, float], words: Sequence[str], curves: Sequence[Sequence[float]]
) -> None:
    """Write words on a line of a limit where they hide least: the first that fit and leave the curves to be seen."""
    first, end, level = max(run[0], frame.first), min(run[1], frame.last), run[2]
    beside = int(frame.length_min("x")) + 1  # the paper under the words covers neither the frame nor a step
    near = (panel.get_ylim()[1] - panel.get_ylim()[0]) * 0.12
    found: list[tuple[int, int, int, str]] = []
    for number, said in enumerate(words):
        if number > 1 and found:
            break  # the bare number is for where nothing else has room
        long = int(frame.length_min(said))
        for place in range(first + beside, end - beside - long, 15):
            under = [value for curve in curves for value in curve[place - beside : place + long + beside]]
            hidden = sum(abs(value - level) < near for value in under)
            found.append((max(hidden - long // 3, 0), hidden, place, said))
    if found:
        best = min(excess for excess, *_ in found)
        wanted = next(said for excess, _, _, said in found if excess == best)
        _, place = min((hidden, place) for _, hidden, place, said in found if said == wanted)
        panel.text(place, level, wanted, ha="left", va="center", fontsize=frame.font_pt - 1.5, bbox=CLEAR_PAPER)


def _draw_surf(panel: Axes, plan: DayPlan, frame: _Frame, accent: str) -> None:
    """Draw the breaking waves at the way in, hatched where they are above the limit."""
    surf, limit = plan.curve.surf_m, plan.curve.surf_limit_m
    panel.set_ylabel("surf, m")
    seen = [value for value in surf[frame.first : frame.last] if not math.isnan(value)]
    _headed(panel, frame, f"surf {_highest(plan, surf, height_up, short=True)}", max([*seen, limit or 0.0, 0.3]))
    steps = _thinned(surf)
    heights = [surf[minute] for minute in steps]
    panel.axhline(0, color=INK, linewidth=0.5)
    panel.plot(steps, heights, color=accent, linewidth=1.8)
    if limit is not None:
        above = [height if math.isnan(height) else max(height, limit) for height in heights]
        panel.fill_between(steps, above, limit, facecolor="none", edgecolor=INK, hatch=_HATCH_OF["surf"],
                           linewidth=0.0)  # fmt: skip
        panel.axhline(limit, color=INK, linewidth=1.1, linestyle=(0, (6, 2)))
        run = (0, plan.curve.minutes, limit)
        _write_limit(panel, frame, run, (_stop_words(limit, "m"), f"limit {limit:g} m"), [surf])
    _draw_not_known(panel, plan, frame, surf)


def _draw_wind(panel: Axes, plan: DayPlan, frame: _Frame) -> None:
    """Draw wind, gusts and the limit for their direction, hatched where it is exceeded, and that direction."""
    wind, gusts = plan.curve.wind_kn, plan.curve.gust_kn or (math.nan,) * len(plan.curve.wind_kn)
    panel.set_ylabel("wind, kn")
    limits = [run for run in _limit_runs(plan) if run[0] < frame.last and run[1] > frame.first]
    finite = [(first, end, limit) for first, end, limit in limits if limit is not None and not math.isinf(limit)]
    said, gusty = (_highest(plan, values, knots_up, short=True) for values in (wind, gusts))
    words = f"wind {said}; dotted: gusts {gusty}"
    if any(limit is not None and math.isinf(limit) for _, _, limit in limits):
        words += "; no line: no limit for its direction"
    seen = [v for curve in (wind, gusts) for v in curve[frame.first : frame.last] if not math.isnan(v)]
    letters_pt = frame.font_pt * 1.5
    _headed(panel, frame, words, max([*seen, *(limit for _, _, limit in finite), 5.0]), letters_pt)
    panel.axhline(0, color=INK, linewidth=0.5)
    _hatch_wind(panel, plan, wind, gusts)
    steps = _thinned(wind, gusts)
    panel.plot(steps, [wind[minute] for minute in steps], color=INK, linewidth=1.8)
    panel.plot(steps, [gusts[minute] for minute in steps], color=INK, linewidth=1.2, linestyle=(0, (1, 1.6)))
    for before, after in pairwise(finite):
        if before[1] == after[0]:
            panel.plot([after[0]] * 2, [before[2], after[2]], color=INK, linewidth=1.1, linestyle=(0, (6, 2)))
    for run in finite:
        panel.plot(run[:2], [run[2]] * 2, color=INK, linewidth=1.1, linestyle=(0, (6, 2)))
        _write_limit(
            panel, frame, run, (_stop_words(run[2], "kn"), f"limit {run[2]:g} kn", f"{run[2]:g} kn"), [wind, gusts]
        )
    _draw_not_known(panel, plan, frame, wind)
    _write_directions(panel, plan, frame)


def _hatch_wind(panel: Axes, plan: DayPlan, wind: Sequence[float], gusts: Sequence[float]) -> None:
    """Hatch from the limit up to the gusts where the wind closes the minute, or is itself above the limit.

    Some limits are on the gusts and some on the wind: gusts alone above a limit on the wind close nothing.
    """
    limits = plan.curve.wind_limit_kn
    most = [w if math.isnan(g) else max(g, w) for g, w in zip(gusts, wind, strict=True)]
    shut = [False] * plan.curve.minutes
    for closure in plan.closures:
        if _kind(closure) == "wind":
            first, end = _minutes_of(plan, closure)
            shut[first:end] = [True] * (end - first)
    minutes = [m for m in range(len(limits)) if most[m] > limits[m] and (shut[m] or wind[m] > limits[m])]
    start = 0
    for index, minute in enumerate(minutes):
        if index + 1 < len(minutes) and minutes[index + 1] == minute + 1 and limits[minute + 1] == limits[minute]:
            continue
        run = minutes[start : index + 1]
        steps = [m for m in run if m % 5 == 0 or m in (run[0], run[-1])]
        panel.fill_between(steps, [most[m] for m in steps], limits[minute], facecolor="none",
                           edgecolor=INK, hatch=_HATCH_OF["wind"], linewidth=0.0)  # fmt: skip
        start = index + 1


def _write_directions(panel: Axes, plan: DayPlan, frame: _Frame) -> None:
    """Write under the wind, every few hours, the point of the compass that it comes from."""
    every_min = 180 if frame.narrow else 120
    half = frame.length_min("from NW") / 2
    first = math.ceil((frame.first + half) / 60) * 60
    place = panel.get_ylim()[0] / 2
    for minute in range(first, int(frame.last - half), every_min):
        if minute >= len(plan.curve.wind_from_deg) or math.isnan(plan.curve.wind_kn[minute]):
            continue
        letters, _ = _point(plan.curve.wind_from_deg[minute])
        panel.text(minute, place, f"from {letters}", ha="center", va="center", fontsize=frame.font_pt - 1.5, bbox=PAPER)


def _draw_closed(panel: Axes, plan: DayPlan, frame: _Frame, rows: Sequence[_Closed]) -> None:
    """Draw one row for each kind of reason: a high bar where nobody may be in the water, else a low one."""
    panel.set_ylim(len(rows) + 1.1, 0)
    panel.tick_params(axis="x", length=0, labelbottom=False)
    panel.set_yticks([row + 1.5 for row in range(len(rows))], [row.kind for row in rows], fontsize=frame.font_pt - 1)
    panel.tick_params(axis="y", length=0, pad=3)
    low = any(not whole for row in rows for _, _, whole in row.bars)
    words = "closed by" + ("; low bar: going in only, or some groups only" if low else "")
    panel.text(frame.first + 4, 0.55, words, ha="left", va="center", fontsize=frame.font_pt - 1, bbox=PAPER)
    for number, row in enumerate(rows):
        panel.axhline(number + 1.9, color=GRID, linewidth=0.5)
        for first, end, whole in row.bars:
            box = (number + 1.15, 0.75) if whole else (number + 1.57, 0.33)
            bar = panel.broken_barh([(first, end - first)], box, facecolor="none" if row.hatch else DUSK,
                                    edgecolor=INK, hatch=row.hatch, linewidth=0.8)  # fmt: skip
            bar.set_gid(f"closed-{row.kind.replace(' ', '-')}-{first}")


def _window_label(frame: _Frame, window: UsableWindow, inside_min: float) -> tuple[str, bool]:
    """Return a window's words, always with its groups, start and end, and whether they fit into its box."""
    whom = f"{', '.join(window.groups)}\n" if window.groups else ""
    short = f"{whom}{clock(window.start)} to {clock(window.end)}"
    for words in (f"{whom}in from {clock(window.start)}, out by {clock(window.end)}", short):
        if frame.fits(_longest_line(words), inside_min):
            return words, True
    return short, False


def _window_reach(plan: DayPlan, frame: _Frame, window: UsableWindow) -> tuple[float, float, str, str]:
    """Return the minutes that a window's box and words cover, the words, and where they stand."""
    left, right = _minute(plan, window.start), _minute(plan, window.end)
    words, inside = _window_label(frame, window, right - left)
    if inside:
        return left, right, words, "inside"
    label = frame.length_min(_longest_line(words)) + 8
    return (left - label, right, words, "left") if right + label > frame.last else (left, right + label, words, "right")


def _longest_line(words: str) -> str:
    return max(words.split("\n"), key=len)


def _window_rows(plan: DayPlan, frame: _Frame) -> list[list[UsableWindow]]:
    """Return the windows in rows, none with two sets of groups or with words over words; one empty row without any."""
    rows: list[list[UsableWindow]] = []
    for groups in dict.fromkeys(window.groups for window in plan.windows):
        mine = [window for window in plan.windows if window.groups == groups]
        rows += _packed(mine, lambda window: _window_reach(plan, frame, window)[:2])
    return rows or [[]]


def _packed(things: Iterable[_Thing], reach: Callable[[_Thing], tuple[float, float]]) -> list[list[_Thing]]:
    """Return things in as few rows as keep what they cover apart."""
    rows: list[list[_Thing]] = []
    for thing in things:
        start, end = reach(thing)
        for row in rows:
            if all(end <= left or right <= start for left, right in map(reach, row)):
                row.append(thing)
                break
        else:
            rows.append([thing])
    return rows


def _draw_windows(
    panel: Axes, plan: DayPlan, frame: _Frame, rows: Sequence[Sequence[UsableWindow]], accent: str
) -> None:
    """Draw when one may be in the water (outline), when one may go in (filled) and when not (hatched)."""
    _bare(panel, "usable")
    panel.set_ylim(len(rows), 0)
    for row, windows in enumerate(rows):
        if not windows:
            panel.text((frame.first + frame.last) / 2, row + 0.5, "no usable minute", ha="center", va="center",
                       fontweight="bold")  # fmt: skip
        for window in windows:
            left, right = _minute(plan, window.start), _minute(plan, window.end)
            box = (row + 0.08, 0.84)
            panel.broken_barh([(left, right - left)], box, facecolor="none", edgecolor=GRID, hatch="//", linewidth=0)
            for span in window.entries:
                entry = [(_minute(plan, span.start), span.minutes)]
                panel.broken_barh(entry, box, facecolor="#ffffff", edgecolor="none")  # hides the hatch
                panel.broken_barh(entry, box, facecolor=accent, edgecolor=INK, linewidth=0.8, alpha=0.28)
            panel.broken_barh([(left, right - left)], box, facecolor="none", edgecolor=INK, linewidth=1.2)
            _, _, words, where = _window_reach(plan, frame, window)
            place, side = {"inside": ((left + right) / 2, "center"), "left": (left - 4, "right"),
                           "right": (right + 4, "left")}[where]  # fmt: skip
            panel.text(place, row + 0.5, words, ha=side, va="center", linespacing=1.0, bbox=PAPER)


def _dive_label(dive: DivePlan) -> str:
    return f"{dive.group} {dive.number}\n{clock(dive.entry)} to {clock(dive.exit)}"


def _reach(plan: DayPlan, frame: _Frame, dive: DivePlan) -> tuple[float, float, bool]:
    """Return the minutes that a dive's box and label cover, and whether the label stands on the left."""
    assert dive.entry is not None and dive.exit is not None
    left, right = _minute(plan, dive.entry), _minute(plan, dive.exit)
    label = frame.length_min(_longest_line(_dive_label(dive))) + 8
    on_left = right + label > frame.last
    return (left - label, right, True) if on_left else (left, right + label, False)


def _dive_rows(plan: DayPlan, frame: _Frame) -> list[list[DivePlan]]:
    """Return the timed dives in as few rows as keep boxes and labels apart."""
    timed = [dive for dive in plan.dives if dive.entry is not None and dive.exit is not None]
    return _packed(timed, lambda dive: _reach(plan, frame, dive)[:2])


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


def cleaned_svg(drawn: str, title: str, description: str, prefix: str, font_family: str = ON_SCREEN) -> str:
    """Return a drawing without declaration, style and metadata, with a title, a description and names of its own.

    prefix      -- goes before every id, so that two drawings can stand on one page
    font_family -- of all letters
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
        f'font-family="{font_family}" stroke-linejoin="round" stroke-linecap="butt">'
        f'<title id="{prefix}-title">{escape(title)}</title><desc id="{prefix}-desc">{escape(description)}</desc>'
    )
    return opening + re.sub(r"\n\s*", "\n", body[head.end() :]).strip()


def _in_words(plan: DayPlan, frame: _Frame) -> str:
    rows = [f"{what}: {when}" for what, when in day_table(plan)]
    shown = span_words(Span(_moment(plan, frame.first), _moment(plan, frame.last)), plan.date)
    return f"{date_words(plan.date)}, shown {shown}. " + ". ".join(rows) + "."


# ---- letters ----


@cache
def _drawn_codes() -> frozenset[int]:
    """Return the code points of the font that the drawing is measured with."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
    from matplotlib.font_manager import findfont

    return frozenset(TTFont(findfont(DRAWN_WITH))["cmap"].getBestCmap())


def stand_ins_for(texts: Iterable[str]) -> tuple[dict[int, str], dict[int, str]]:
    """Return how to change texts into ones that matplotlib can measure, and how to turn the drawing's letters back."""
    letters = dict.fromkeys("".join(texts))
    stand_ins = (code for code in range(0x2801, 0x2900) if chr(code) not in letters and code in _drawn_codes())
    there: dict[int, str] = {}
    back: dict[int, str] = {}
    for letter in letters:
        if not letter.isprintable():
            there[ord(letter)] = " "
        elif ord(letter) not in _drawn_codes():
            stand_in = next(stand_ins, None)
            there[ord(letter)] = "?" if stand_in is None else chr(stand_in)
            if stand_in is not None:
                back[stand_in] = letter
    return there, back


def _drawable(plan: DayPlan) -> tuple[DayPlan, dict[int, str]]:
    """Return the plan with names that matplotlib can measure, and how to turn the finished drawing's letters back.

    A letter that its font lacks is measured as another one that the plan does not use (a Braille pattern); the letter
    itself stands in the drawing, whose reader has fonts of its own. Control characters, which XML forbids, become
    blanks.
    """
    said: dict[str, None] = dict.fromkeys(
        [plan.site_name, plan.light.note, plan.tide_words, *(d.group for d in plan.dives)]
    )
    said.update(dict.fromkeys(name for window in plan.windows for name in window.groups))
    said.update(dict.fromkeys(closure.sentence for closure in plan.closures))
    there, back = stand_ins_for(said)
    if not there:
        return plan, back

    def say(words: str) -> str:
        return words.translate(there)

    return replace(
        plan,
        site_name=say(plan.site_name),
        tide_words=say(plan.tide_words),
        light=replace(plan.light, note=say(plan.light.note)),
        dives=tuple(replace(dive, group=say(dive.group)) for dive in plan.dives),
        windows=tuple(replace(window, groups=tuple(map(say, window.groups))) for window in plan.windows),
        closures=tuple(replace(closure, sentence=say(closure.sentence)) for closure in plan.closures),
    ), back
