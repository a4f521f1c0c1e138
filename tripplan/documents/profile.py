"""Two small pictures: the course of one dive, and how much of each person's no-stop time the day uses.

They are written out line by line: a plan has many of them, and a drawing library would take longer than all the rest.
Colour only repeats what a word, a hatch or a dash says, so that both read in grey.
"""

from __future__ import annotations

import math
from datetime import datetime
from xml.sax.saxutils import escape

from tripplan.documents.picture import ACCENT, GRID, INK, ON_SCREEN
from tripplan.documents.words import clock, depth_down, dive_name, duration, rules_of
from tripplan.planning.plan import DayPlan, DivePlan, PersonDive
from tripplan.planning.timing import ascent_min

WIDTH, FONT = 420, 12  # of a viewBox: on a phone the letters keep ten pixels
LONGEST_NAME = 44  # letters that fit into the width; the description has the whole name
HATCHES = ("M0 6L6 0", "M0 0L6 6", "M3 0V6", "M0 3H6")  # of the first, second, ... dive of a person


# ---- the course of a dive ----


def profile_words(plan: DayPlan, dive: DivePlan) -> str:
    """Return in sentences all that the picture of a dive's course says."""
    if dive.entry is None or dive.descent is None or dive.depth_m is None or dive.bottom_time_min is None:
        return f"{dive_name(dive)} has no time."
    course = _course(plan, dive)
    said = [
        f"In at {clock(dive.entry, plan.date)}, leave the surface at {clock(dive.descent, plan.date)}",
        f"{dive.bottom_time_min} min at {depth_down(dive.depth_m)} at most, the way down included",
        f"leave the bottom at {_clock_at(plan, dive, course.leave)}",
        f"up at {rules_of(plan).value('ascent.rate_m_min'):g} m/min{_stop_words(course)}",
        f"at the surface by {_clock_at(plan, dive, course.up)}, out by {clock(dive.exit, plan.date)} as planned",
        _turn_words(plan, dive, course),
    ]
    if dive.depth.value is not None:
        said.append(f"depth limit {depth_down(dive.depth.value)}")
    if dive.time.value is not None:
        said.append(f"longest bottom time {duration(dive.time.value)}")
    return "; ".join(said) + "."


def profile_picture(plan: DayPlan, dive: DivePlan, *, font_family: str = ON_SCREEN) -> str:
    """Return the course of a dive as SVG: minutes since going in across, metres downwards; "" where it has no time.

    The way down is drawn at the ascent rate, since the rule book gives none: it counts as bottom time in any case.
    """
    if dive.entry is None or dive.descent is None or dive.depth_m is None or not dive.bottom_time_min:
        return ""
    course = _course(plan, dive)
    limit_m, longest = dive.depth.value, None if dive.time.value is None else math.floor(dive.time.value)
    last = max(course.out, course.swim + (longest or 0)) + 1
    deepest = max(dive.depth_m, limit_m or 0.0) * 1.12
    left, right, top, bottom = 40.0, WIDTH - 10.0, 30.0, 200.0

    def x(minute: float) -> float:
        return left + (right - left) * minute / last

    def y(depth_m: float) -> float:
        return top + (bottom - top) * depth_m / deepest

    parts: list[str] = []
    step = next(s for s in (2, 5, 10, 20, 50, 100) if deepest / s <= 5)
    for metres in range(0, math.floor(deepest) + 1, step):
        parts.append(_line(left, y(metres), right, y(metres), INK if metres == 0 else GRID, 0.6))
        parts.append(_text(left - 5, y(metres) + 4, f"{metres} m", "end"))
    every = 5 if last <= 40 else 10 if last <= 90 else 20
    for minute in range(0, math.floor(last) + 1, every):
        parts.append(_line(x(minute), bottom, x(minute), bottom + 4, INK, 0.8))
        parts.append(_text(x(minute), bottom + 17, f"{minute}", "middle"))
    parts.append(_line(left, bottom, right, bottom, INK, 0.8))
    parts.append(_text((left + right) / 2, bottom + 32, "minutes since going in", "middle"))

    half = course.swim + dive.bottom_time_min / 2
    parts.append(_line(x(half), top, x(half), y(dive.depth_m), INK, 0.9, "1.5 3"))
    parts.append(_text(x(half), top - 14, _turn_short(plan, dive, course), "middle", inside=(left, right)))
    outline = " ".join(f"{x(minute):.1f},{y(depth):.1f}" for minute, depth in course.points)
    parts.append(f'<polyline points="{outline}" fill="none" stroke="{ACCENT}" stroke-width="2.4"/>')
    words = f"{dive.bottom_time_min} min, {depth_down(dive.depth_m)}"
    parts.append(_text(x(half) + 6, y(dive.depth_m) - 8, words, "start"))
    if course.stop_min:
        words = f"{course.stop_min:g} min at {course.stop_m:g} m"
        parts.append(_text(x(course.stop_at) - 7, y(course.stop_m) - 4, words, "end"))
    if limit_m is not None:
        parts.append(_line(left, y(limit_m), right, y(limit_m), INK, 1.3, "7 3"))
        parts.append(_text(left + 4, y(limit_m) + 14, f"depth limit {depth_down(limit_m)}", "start"))
    if longest is not None:
        place = x(course.swim + longest)
        parts.append(_line(place, y(dive.depth_m) - 14, place, bottom, INK, 1.6, "4 2"))
        parts.append(_text(place - 4, bottom - 4, f"longest {longest} min", "end"))
    prefix = f"c{plan.revision}{plan.dives.index(dive)}"
    title = f"The course of {dive_name(dive)}"
    return _svg("".join(parts), 236, prefix, title, profile_words(plan, dive), font_family)


class _Course:
    """The turning points of a dive, in minutes since going in and metres."""

    def __init__(self, swim: float, bottom: int, depth_m: float, ascent: int, out: float) -> None:
        self.swim, self.leave, self.up = swim, swim + bottom, swim + bottom + ascent
        self.out = max(out, self.up)
        self.stop_min = self.stop_m = 0.0
        self.stop_at = self.leave
        self.points: list[tuple[float, float]] = []
        self.depth_m, self.bottom = depth_m, bottom


def _course(plan: DayPlan, dive: DivePlan) -> _Course:
    assert dive.entry is not None and dive.descent is not None
    assert dive.depth_m is not None and dive.bottom_time_min is not None
    rules = rules_of(plan)
    rate = rules.value("ascent.rate_m_min")
    swim = (dive.descent.timestamp() - dive.entry.timestamp()) / 60
    ascent = ascent_min(dive.depth_m, rules)
    course = _Course(swim, dive.bottom_time_min, dive.depth_m, ascent, dive.water_time_min or 0)
    down = min(dive.depth_m / rate, dive.bottom_time_min / 2)
    points = [(0.0, 0.0), (swim, 0.0), (swim + down, dive.depth_m), (course.leave, dive.depth_m)]
    if dive.depth_m >= rules.value("safety_stop.from_depth_m"):
        course.stop_min = rules.value("safety_stop.minutes_min")
        course.stop_m = min(rules.value("safety_stop.depth_m"), dive.depth_m)
        course.stop_at = course.leave + (dive.depth_m - course.stop_m) / rate
        points += [(course.stop_at, course.stop_m), (course.stop_at + course.stop_min, course.stop_m)]
    points += [(course.up, 0.0), (course.out, 0.0)]
    course.points = points
    return course


def _clock_at(plan: DayPlan, dive: DivePlan, minute: float) -> str:
    """Return the local clock some minutes after going in, right across a change of the clock."""
    assert dive.entry is not None
    later = datetime.fromtimestamp(dive.entry.timestamp() + math.floor(minute) * 60, tz=dive.entry.tzinfo)
    return clock(later, plan.date)


def _stop_words(course: _Course) -> str:
    return f" with {course.stop_min:g} min at {course.stop_m:g} m" if course.stop_min else ""


def _turn_short(plan: DayPlan, dive: DivePlan, course: _Course) -> str:
    latest = _clock_at(plan, dive, course.swim + course.bottom / 2)
    if dive.gas is None:
        return f"turn by {latest}"
    if dive.gas.turn_bar is None:
        return "no gas to go out with"
    return f"turn at {dive.gas.turn_bar} bar, by {latest} at the latest"


def _turn_words(plan: DayPlan, dive: DivePlan, course: _Course) -> str:
    unknown = " (turn pressure not known)" if dive.gas is None else ""
    return _turn_short(plan, dive, course) + unknown


# ---- what the day uses ----


def _uses(plan: DayPlan) -> dict[str, list[tuple[DivePlan, PersonDive]]]:
    found: dict[str, list[tuple[DivePlan, PersonDive]]] = {}
    for dive in plan.dives:
        if dive.entry is not None and dive.bottom_time_min is not None:
            for person in dive.people:
                found.setdefault(person.name, []).append((dive, person))
    return found


def _share(dive: DivePlan, person: PersonDive) -> float | None:
    """Return the share of a person's own no-stop time that a dive uses; None: there is no limit."""
    assert dive.bottom_time_min is not None
    if person.no_stop_min is None:
        return None
    return dive.bottom_time_min / person.no_stop_min if person.no_stop_min > 0 else math.inf


def _share_words(dive: DivePlan, person: PersonDive) -> str:
    share = _share(dive, person)
    if share is None:
        return f"{dive.bottom_time_min} min, no limit"
    per_cent = "all and more" if share > 1 else f"{math.ceil(round(share * 100, 6))} %"
    return f"{dive.bottom_time_min} of {person.no_stop_min} min, {per_cent}"


def allowance_words(plan: DayPlan) -> str:
    """Return in sentences all that the picture of the used no-stop times says."""
    said = [
        f"{name}: " + "; ".join(f"{dive_name(dive)}, {_share_words(dive, person)}" for dive, person in used)
        for name, used in _uses(plan).items()
    ]
    return "Bottom time planned, of each person's own no-stop time. " + (". ".join(said) or "Nobody dives") + "."


def allowance_picture(plan: DayPlan, *, font_family: str = ON_SCREEN) -> str:
    """Return for each person and dive the share of the own no-stop time that is used, as SVG; "" where nobody dives."""
    uses = _uses(plan)
    if not uses:
        return ""
    prefix = f"a{plan.revision}"
    left, full, row, high = 10.0, 168.0, 18.0, 12.0
    parts = [
        f"<defs>{''.join(_pattern(f'{prefix}-{number}', path) for number, path in enumerate(HATCHES))}</defs>",
    ]
    y = 4.0
    for name, used in uses.items():
        y += 15
        parts.append(_text(left, y - 3, _short(name), "start", bold=True))
        for number, (dive, person) in enumerate(used):
            share = _share(dive, person)
            width = full * min(share or 0.0, 1.0)
            fill = f"url(#{prefix}-{number % len(HATCHES)})"
            parts.append(_box(left, y, full, high, "none", GRID))
            if width:
                parts.append(_box(left, y, width, high, fill, INK))
            words = f"{_short(dive.group, 12)} {dive.number}: {_share_words(dive, person)}"
            parts.append(_text(left + full + 8, y + 10, words, "start"))
            y += row
        y += 4
    title = "No-stop time used"
    return _svg("".join(parts), y, prefix, title, allowance_words(plan), font_family)


def _pattern(name: str, path: str) -> str:
    return (
        f'<pattern id="{name}" width="6" height="6" patternUnits="userSpaceOnUse">'
        f'<path d="{path}" fill="none" stroke="{ACCENT}" stroke-width="1.6"/></pattern>'
    )


# ---- lines and letters ----


def _printable(words: str) -> str:
    return "".join(letter if letter.isprintable() else " " for letter in words)


def _short(name: str, letters: int = LONGEST_NAME) -> str:
    return name if len(name) <= letters else name[: letters - 1] + "…"


def _line(x1: float, y1: float, x2: float, y2: float, stroke: str, width: float, dash: str = "") -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{stroke}" '
        f'stroke-width="{width:g}"{dashed}/>'
    )


def _box(x: float, y: float, width: float, height: float, fill: str, stroke: str) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="{fill}" stroke="{stroke}" '
        'stroke-width="0.8"/>'
    )


def _text(
    x: float, y: float, words: str, anchor: str, *, bold: bool = False, inside: tuple[float, float] | None = None
) -> str:
    """Return words; ``inside`` keeps middle-anchored ones between two edges, as far as a letter's width is known."""
    if inside is not None:
        half = len(words) * FONT * 0.29
        x = min(max(x, inside[0] + half), inside[1] - half)
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{weight}>{escape(_printable(words))}</text>'


def _svg(body: str, height: float, prefix: str, title: str, words: str, font_family: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height:.0f}" width="100%" role="img" '
        f'aria-labelledby="{prefix}-title {prefix}-desc" font-family="{font_family}" font-size="{FONT}" fill="{INK}">'
        f'<title id="{prefix}-title">{escape(_printable(title))}</title>'
        f'<desc id="{prefix}-desc">{escape(_printable(words))}</desc>{body}</svg>'
    )
