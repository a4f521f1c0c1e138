"""The picture of a season: a strip of days for each site, darker the more hours it leaves; and its table by months.

Grey carries it all: the shade says the hours, a hatch the days with none. Colour only repeats the shade.
"""

from __future__ import annotations

import hashlib
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from tripplan.documents.picture import GRID, INK, ON_SCREEN, cleaned_svg, drawing, stand_ins_for
from tripplan.documents.words import counted, date_words
from tripplan.planning.season import Season, SeasonDay

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ENOUGH_MIN = 120  # a day that can hold a course dive with its briefing; what the table counts
CLASSES = (  # from so many minutes on, said so, filled so; the fills lie far apart in grey too
    (1, "under 2 h", "#dfeaec"),
    (120, "2 h to under 4 h", "#a7c9cf"),
    (240, "4 h to under 8 h", "#5c97a3"),
    (480, "8 h and more", "#0b4f5c"),
)
NONE_WORDS = "none"
_NUMBERS_UP_TO_DAYS = 45  # cells are then wide enough for the hours in figures
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


# ---- the table ----


@dataclass(frozen=True)
class SeasonMonth:
    """One calendar month at one site, as far as the season reaches."""

    first: date
    days: int
    mean_min: float
    enough_days: int  # with ENOUGH_MIN or more
    none_days: int
    weekend: tuple[SeasonDay, SeasonDay] | None  # Saturday and Sunday that leave most; None: no whole weekend, or none

    @property
    def name(self) -> str:
        """The month in words."""
        return f"{_MONTHS[self.first.month - 1]} {self.first.year}"

    @property
    def hours_words(self) -> str:
        """The mean hours a day, rounded down: what is promised is never more than there is."""
        return f"{math.floor(round(self.mean_min / 6, 6)) / 10:.1f}"

    @property
    def weekend_words(self) -> str:
        """The best weekend with the hours and minutes of both days."""
        if self.weekend is None:
            return NONE_WORDS
        one, two = self.weekend
        month = "" if one.day.month == two.day.month else f" {_MONTHS[two.day.month - 1]}"
        return f"{one.day.day}–{two.day.day}{month}: {_hours(one.usable_min)}\u00a0+\u00a0{_hours(two.usable_min)}"


def _hours(minutes: int) -> str:
    return f"{minutes // 60}:{minutes % 60:02}"


def season_months(season: Season) -> tuple[SeasonMonth, ...]:
    """Return the months of a season; a weekend belongs to the month of its Saturday.

    The best weekend is the one whose worse day leaves most, since a course needs both; of equals the longer, then the
    earlier.
    """
    by_month: dict[tuple[int, int], list[SeasonDay]] = {}
    for day in season.days:
        by_month.setdefault((day.day.year, day.day.month), []).append(day)
    sundays = {day.day: day for day in season.days if day.day.weekday() == 6}
    months = []
    for days in by_month.values():
        weekends = [
            (one, sundays[one.day + timedelta(days=1)])
            for one in days
            if one.day.weekday() == 5 and one.day + timedelta(days=1) in sundays
        ]
        best = max(weekends, key=_worth, default=None)
        months.append(
            SeasonMonth(
                first=days[0].day,
                days=len(days),
                mean_min=sum(day.usable_min for day in days) / len(days),
                enough_days=sum(day.usable_min >= ENOUGH_MIN for day in days),
                none_days=sum(day.usable_min == 0 for day in days),
                weekend=best if best is not None and _worth(best)[0] > 0 else None,
            )
        )
    return tuple(months)


def _worth(weekend: tuple[SeasonDay, SeasonDay]) -> tuple[int, int]:
    minutes = [day.usable_min for day in weekend]
    return min(minutes), sum(minutes)


def season_causes(season: Season) -> tuple[tuple[int, str], ...]:
    """Return on how many days each thing closes most of the light, the commonest first."""
    found: dict[str, int] = {}
    for day in season.days:
        if day.first_rule not in ("", "light"):
            found[day.first_reason] = found.get(day.first_reason, 0) + 1
    return tuple(sorted(((days, reason) for reason, days in found.items()), key=lambda one: (-one[0], one[1])))


# ---- the picture ----


def season_key(seasons: Sequence[Season]) -> str:
    """Return a short word that stands for all that the picture shows."""
    shown = [(one.site, one.name, one.kind.name, str(one.days[0].day), one.minutes) for one in seasons]
    return hashlib.sha256(repr(shown).encode()).hexdigest()[:12]


def season_picture(
    seasons: Sequence[Season], *, narrow: bool = False, grey: bool = False, font_family: str = ON_SCREEN
) -> str:
    """Return the days of some sites as SVG that stands alone: one strip a site, a cell a day, weekends marked above.

    seasons     -- of the same days, one or more;  narrow -- for a phone: names above their strips
    grey        -- without the accent colour
    font_family -- of the letters, in the words of SVG; they stay letters
    """
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    names, restored = _drawable([one.name for one in seasons])
    days = [day.day for day in seasons[0].days]
    width_in, font_pt = (4.7, 10.5) if narrow else (10.0, 9.5)
    row_in = 0.52 if narrow else 0.36
    above_in, below_in = (0.86 if narrow else 0.52), 0.3
    height_in = above_in + row_in * len(seasons) + below_in
    with drawing(font_pt, f"{season_key(seasons)}{narrow}{grey}"):
        figure = Figure(figsize=(width_in, height_in), facecolor="none")
        FigureCanvasSVG(figure)
        longest = max(len(name) for name in names)
        left = 0.03 if narrow else min(0.02 + longest * font_pt * 0.6 / 72 / width_in, 0.3)
        panel = figure.add_axes((left, below_in / height_in, 0.985 - left, row_in * len(seasons) / height_in))
        panel.set_facecolor("none")
        panel.set_xlim(0, len(days))
        panel.set_ylim(len(seasons), 0)
        for row, one in enumerate(seasons):
            _draw_strip(panel, row, one, names[row], narrow=narrow, grey=grey)
        _mark_time(panel, days, len(seasons), narrow)
        _draw_weekends(panel, days)
        _draw_key(figure.add_axes((0.0, 1 - (above_in - 0.16) / height_in, 1.0, (above_in - 0.16) / height_in)),
                  narrow=narrow, grey=grey, width_in=width_in, font_pt=font_pt)  # fmt: skip
        drawn = io.StringIO()
        figure.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    words = f"{date_words(days[0])} to {date_words(days[-1])}. " + " ".join(_in_words(one) for one in seasons)
    title = f"Usable hours of each day, {seasons[0].kind.words}"
    svg = cleaned_svg(drawn.getvalue(), title, words, f"y{season_key(seasons)}{int(narrow)}{int(grey)}", font_family)
    return svg.translate(restored)


def _in_words(season: Season) -> str:
    months = "; ".join(f"{month.name} {month.hours_words} h" for month in season_months(season))
    none = sum(minutes == 0 for minutes in season.minutes)
    return f"{season.name}: hours a day on average {months}; {counted(none, 'day')} with none."


def _fill(fill: str, grey: bool) -> str:
    """Return a fill, or the grey that is as light."""
    if not grey:
        return fill
    red, green, blue = (int(fill[n : n + 2], 16) for n in (1, 3, 5))
    shade = round(0.2126 * red + 0.7152 * green + 0.0722 * blue)
    return f"#{shade:02x}{shade:02x}{shade:02x}"


def _class_of(minutes: int) -> int:
    """Return the number of the class of a day; -1 where nothing is usable."""
    return sum(minutes >= least for least, _, _ in CLASSES) - 1


def _extent(row: int, narrow: bool) -> tuple[float, float]:
    """Return where a strip begins and ends; on a phone its name stands above it."""
    return (row + 0.44, row + 0.96) if narrow else (row + 0.1, row + 0.9)


def _draw_strip(panel: Axes, row: int, season: Season, name: str, *, narrow: bool, grey: bool) -> None:
    top, bottom = _extent(row, narrow)
    classes = [_class_of(minutes) for minutes in season.minutes]
    for number in range(-1, len(CLASSES)):
        stretches = [(first, end - first) for first, end, of in _stretches(classes) if of == number]
        if not stretches:
            continue
        if number < 0:
            look: dict[str, Any] = {"facecolor": "#ffffff", "edgecolor": "#7a7a7a", "hatch": "/////", "linewidth": 0}
        else:
            look = {"facecolor": _fill(CLASSES[number][2], grey), "edgecolor": "none"}
        _draw_cells(panel, stretches, top, bottom, look)
    panel.broken_barh([(0, len(classes))], (top, bottom - top), facecolor="none", edgecolor=INK, linewidth=0.7)
    if narrow:
        panel.text(0, row + 0.38, name, ha="left", va="bottom")
    else:
        panel.annotate(name, (0, row + 0.5), xytext=(-6, 0), textcoords="offset points", ha="right", va="center",
                       annotation_clip=False)  # fmt: skip
    if not narrow and len(classes) <= _NUMBERS_UP_TO_DAYS:
        for place, minutes in enumerate(season.minutes):
            hours = f"{minutes // 60}" if minutes >= 60 else "<1"
            if minutes:
                panel.text(place + 0.5, row + 0.5, hours, ha="center", va="center", fontsize=7.5,
                           color="#ffffff" if _class_of(minutes) >= 2 else INK)  # fmt: skip


def _draw_cells(
    panel: Axes, stretches: Sequence[tuple[int, int]], top: float, bottom: float, look: dict[str, Any]
) -> None:
    """Draw stretches of days as one path: a year of single ones would fill the page with words."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    boxes = [
        [(first, top), (first + length, top), (first + length, bottom), (first, bottom)] for first, length in stretches
    ]
    panel.add_patch(PathPatch(Path.make_compound_path(*(Path(box, closed=False) for box in boxes)), **look))


def _stretches(classes: Sequence[int]) -> Iterator[tuple[int, int, int]]:
    """Yield each run of days of one class: its first, one past its last, and the class."""
    first = 0
    for place in range(1, len(classes) + 1):
        if place == len(classes) or classes[place] != classes[first]:
            yield first, place, classes[first]
            first = place


def _mark_time(panel: Axes, days: Sequence[date], rows: int, narrow: bool) -> None:
    """Put the months under the strips, or the days where there are few."""
    starts = [place for place, day in enumerate(days) if place == 0 or day.day == 1]
    for place in starts[1:]:
        for row in range(rows):
            panel.plot([place, place], _extent(row, narrow), color=INK, linewidth=0.8)
    labels: list[tuple[float, str]] = []
    if len(starts) == 1 or len(days) <= _NUMBERS_UP_TO_DAYS:
        every = 5 if narrow else (1 if len(days) <= 31 else 2)
        for place, day in enumerate(days):
            month = f" {_MONTHS[day.month - 1]}" if place in starts else ""
            if place in starts or (day.day % every == 0 and not any(0 < place - s < 3 for s in starts)):
                labels.append((place + 0.5, f"{day.day}{month}"))
    else:
        for place, end in zip(starts, [*starts[1:], len(days)], strict=True):
            long = (end - place) / len(days) * (4.6 if narrow else 8.5)
            name = _MONTHS[days[place].month - 1]
            if long >= 0.55 and (place == starts[0] or days[place].month == 1):
                name = f"{name} {days[place].year % 100:02}" if long < 0.9 else f"{name} {days[place].year}"
            if long >= 0.3:
                labels.append(((place + end) / 2, name))
            elif long >= 0.12:
                labels.append(((place + end) / 2, name[0]))
    panel.set_xticks([place for place, _ in labels], [text for _, text in labels])
    panel.set_yticks([])
    panel.tick_params(length=0, color=INK, pad=3)
    for spine in panel.spines.values():
        spine.set_visible(False)


def _draw_weekends(panel: Axes, days: Sequence[date]) -> None:
    """Mark Saturdays and Sundays by bars above the strips, and a hair line down through them."""
    weekend = [day.weekday() >= 5 for day in days]
    bars = [(first, end - first) for first, end, of in _stretches([int(each) for each in weekend]) if of]
    panel.broken_barh(bars, (-0.12, 0.12), facecolor=INK, edgecolor="none", clip_on=False)
    if len(days) <= 100:
        for first, length in bars:
            panel.broken_barh([(first, length)], (0, panel.get_ylim()[0]), facecolor="none", edgecolor=GRID,
                              linewidth=0.5, zorder=0)  # fmt: skip


def _draw_key(panel: Axes, *, narrow: bool, grey: bool, width_in: float, font_pt: float) -> None:
    """Draw what each shade means."""
    panel.set_axis_off()
    panel.set_xlim(0, width_in)
    rows = 3 if narrow else 1
    panel.set_ylim(rows, 0)
    entries: list[tuple[str, str]] = [(NONE_WORDS, "#ffffff"), *((words, fill) for _, words, fill in CLASSES)]
    x, y = 0.16, 0.0
    for words, fill in (*entries, ("Saturday and Sunday", "")):
        length = 0.34 + len(words) * font_pt * 0.56 / 72 + 0.18
        if narrow and x + length > width_in:
            x, y = 0.16, y + 1
        if fill:
            hatch = "/////" if words == NONE_WORDS else None
            panel.broken_barh([(x, 0.28)], (y + 0.2, 0.6), facecolor=_fill(fill, grey),
                              edgecolor="#7a7a7a" if hatch else INK, hatch=hatch, linewidth=0.6)  # fmt: skip
        else:
            panel.broken_barh([(x, 0.28)], (y + 0.42, 0.16), facecolor=INK, edgecolor="none")
        panel.text(x + 0.34, y + 0.5, words, ha="left", va="center")
        x += length


def _drawable(names: Sequence[str]) -> tuple[list[str], dict[int, str]]:
    """Return names that matplotlib can measure, and how to turn the letters of the finished drawing back."""
    there, back = stand_ins_for(names)
    return [name.translate(there) for name in names], back
