"""The board as a picture: sites below each other, days side by side, each cell shaded by its usable time.

The number in the cell says what the shade repeats; a hatch marks a day without a dive, a dashed edge one whose sea
nobody tells in full. So it reads in grey. A bar at the foot of a cell shows when the windows lie.
"""

from __future__ import annotations

import io
from datetime import date, datetime
from typing import TYPE_CHECKING

from tripplan.documents.picture import INK, cleaned_svg, drawing
from tripplan.documents.words import clock, date_words, duration
from tripplan.planning.board import Board, Cell, SiteRow

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FULL_SHADE_MIN = 480  # a day's work; longer is no darker
LIGHT, DARK = (236, 244, 245), (128, 178, 187)  # red, green, blue of no time and of a whole day; ink reads on both
LIGHT_GREY, DARK_GREY = (242, 242, 242), (164, 164, 164)
HATCH_GREY = "#8a8a8a"
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
GAP = 0.06  # inches between cells


def board_picture(board: Board, *, narrow: bool = False, grey: bool = False) -> str:
    """Return the board as SVG that stands alone; its description says every number.

    narrow -- for a phone: the site's name above its days;  grey -- without colour
    """
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    label, cell, row, head = (0.06, 0.64, 0.94, 0.5) if narrow else (1.75, 1.16, 0.56, 0.5)
    width = label + cell * len(board.days) + 0.04
    height = head + row * max(len(board.rows), 1) + 0.06
    font_pt = 10.5 if narrow else 9.5
    span = _clock_span(board)
    with drawing(font_pt, f"{board.group}{board.days}{narrow}{grey}"):
        figure = Figure(figsize=(width, height), facecolor="none")
        FigureCanvasSVG(figure)
        panel = figure.add_axes((0, 0, 1, 1))
        panel.set_axis_off()
        panel.set_xlim(0, width)
        panel.set_ylim(height, 0)  # inches from the upper left corner
        for number, day in enumerate(board.days):
            middle = label + (number + 0.5) * cell
            panel.text(
                middle,
                head - 0.08,
                day_words(day).replace(" ", "\n", 1),
                ha="center",
                va="bottom",
                linespacing=1.05,
                fontsize=font_pt,
            )
        for number, site in enumerate(board.rows):
            top = head + number * row
            cells_top = top + (0.3 if narrow else 0)
            _draw_name(panel, site, top, (0.06, width - 0.06) if narrow else (0.06, label - 0.12), narrow, font_pt)
            for column, each in enumerate(site.cells):
                box = (label + column * cell, cells_top, cell - GAP, row - (0.3 if narrow else 0) - GAP)
                _draw_cell(panel, each, box, span, narrow, grey)
        drawn = io.StringIO()
        figure.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    title = f"Usable time by site and day, {board.group}"
    return cleaned_svg(drawn.getvalue(), title, board_in_words(board), f"b{board.days[0]:%Y%m%d}{int(narrow)}")


def key_words(board: Board) -> tuple[str, ...]:
    """Say how the picture is read, and only of what it shows."""
    cells = [cell for row in board.rows for cell in row.cells]
    span = _clock_span(board)
    words = ["Darker: longer usable."]
    if any(not cell.usable_min for cell in cells):
        words.append("Hatched: no dive.")
    if any(not cell.known for cell in cells):
        words.append("Dashed edge: sea and wind are not told, or only in part.")
    if span:
        words.append(f"The bar shows when, from {_hour(span[0])} at its left to {_hour(span[1])} at its right.")
    return tuple(words)


def board_in_words(board: Board) -> str:
    """Return all numbers of the board in sentences, best site first."""
    rows = []
    for row in board.rows:
        days = "; ".join(f"{date_words(cell.day)} {usable_words(cell)}" for cell in row.cells)
        rows.append(f"{row.name}: {days}.")
    return " ".join(rows) or "There is no site."


def usable_words(cell: Cell) -> str:
    """Say how long a cell is usable, and where its sea is not told."""
    time = duration(cell.usable_min) if cell.usable_min else "no dive"
    return time if cell.known else f"{time} ({cell.sea_words})"


def window_list(cell: Cell) -> str:
    """Return the windows of a cell: from the first minute to go in to the last to be out."""
    return " and ".join(f"{clock(window.start)} to {clock(window.end, cell.day)}" for window in cell.windows)


def day_words(day: date) -> str:
    """Return a day of the board, short.

    >>> day_words(date(2026, 12, 5))
    'Sat 5 Dec'
    """
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"


def _clock_minute(moment: datetime, day: date) -> int:
    """Return hour x 60 + minute by the local clock; the midnight after the day is 1440."""
    return 1440 if moment.date() > day else moment.hour * 60 + moment.minute


def _clock_span(board: Board) -> tuple[int, int] | None:
    """Return the whole hours that hold every window of the board, in minutes by the clock; None without a window."""
    edges = [
        _clock_minute(edge, cell.day)
        for row in board.rows
        for cell in row.cells
        for window in cell.windows
        for edge in (window.start, window.end)
    ]
    return (min(edges) // 60 * 60, -(-max(edges) // 60) * 60) if edges else None


def _hour(minutes: int) -> str:
    return f"{minutes // 60:02}:00"


def _draw_name(panel: Axes, row: SiteRow, top: float, span: tuple[float, float], narrow: bool, font_pt: float) -> None:
    total = f"{duration(row.total_min)} in all" if row.total_min else "no dive"
    if narrow:
        panel.text(span[0], top + 0.25, _shortened(row.name, 24), va="bottom", fontweight="bold")
        panel.text(span[1], top + 0.25, total, ha="right", va="bottom", fontsize=font_pt - 0.5)
    else:
        panel.text(span[0], top + 0.22, _shortened(row.name, 22), va="bottom", fontweight="bold")
        panel.text(span[0], top + 0.42, total, va="bottom", fontsize=font_pt - 1)


def _shortened(name: str, letters: int) -> str:
    return name if len(name) <= letters else f"{name[: letters - 1].rstrip()}…"


def _draw_cell(
    panel: Axes,
    cell: Cell,
    box: tuple[float, float, float, float],
    span: tuple[int, int] | None,
    narrow: bool,
    grey: bool,
) -> None:
    from matplotlib.patches import Rectangle

    left, top, width, height = box
    middle = left + width / 2
    solid = "solid" if cell.known else (0, (3, 2.2))
    usable = cell.usable_min > 0
    panel.add_patch(
        Rectangle(
            (left, top),
            width,
            height,
            facecolor=_shade(cell.usable_min, grey) if usable else "#ffffff",
            edgecolor=HATCH_GREY if not usable else INK,
            hatch=None if usable else "////",
            linewidth=0,
        )
    )
    panel.add_patch(
        Rectangle(
            (left, top), width, height, fill=False, edgecolor=INK, linewidth=1.1 if usable else 0.8, linestyle=solid
        )
    )
    if not usable:
        paper = {"facecolor": "#ffffff", "edgecolor": "none", "pad": 1.5}
        panel.text(middle, top + height / 2, "none", ha="center", va="center", bbox=paper)
        return
    hours, minutes = divmod(cell.usable_min, 60)
    words = f"{hours} h\n{minutes:02}" if narrow and hours and minutes else duration(cell.usable_min)
    panel.text(
        middle, top + height / 2 - 0.03, words, ha="center", va="center", linespacing=1.0, fontweight="bold", color=INK
    )
    if span:
        foot, thick = top + height - 0.1, 0.055
        inner, scale = left + 0.06, (width - 0.12) / max(span[1] - span[0], 1)
        panel.plot([inner, inner + width - 0.12], [foot + thick / 2] * 2, color=INK, linewidth=0.5)
        for window in cell.windows:
            first, last = _clock_minute(window.start, cell.day), _clock_minute(window.end, cell.day)
            panel.add_patch(
                Rectangle(
                    (inner + (first - span[0]) * scale, foot), (last - first) * scale, thick, color=INK, linewidth=0
                )
            )


def _shade(minutes: int, grey: bool) -> str:
    light, dark = (LIGHT_GREY, DARK_GREY) if grey else (LIGHT, DARK)
    share = min(minutes / FULL_SHADE_MIN, 1.0)
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in zip(light, dark, strict=True))
