"""Where to look for a missing diver, drawn to scale and as a table; both are rounded so that nothing is cut off."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import datetime
from itertools import product
from xml.sax.saxutils import escape, quoteattr
from zoneinfo import ZoneInfo

from tripplan.documents.words import bearing, clock
from tripplan.emergency.search_area import SearchArea, SearchStep
from tripplan.environment.position import Position, bearing_deg, distance_km
from tripplan.language import ENGLISH, Language

SIZE = 360  # drawing units, square; the scale bar stands below
FOOT = 44
EDGE = 26  # kept free around the largest box, for its label
SHOWN_MIN = (30, 60, 90, 120)
DASHES = ("", "9 4", "5 4", "2 4")  # one for each, the first drawn through
SCALES_M = (50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000, 100_000)
TEXT_HIGH = 13.0  # room that a line of text takes, and a letter of it
LETTER_WIDE = 6.6
FAR_SITE = 1.0  # a site further off than so many times the reach of the largest box is told, not drawn

_Spot = tuple[float, float]
_Room = tuple[float, float, float, float]  # left, top, right, bottom


def search_picture(area: SearchArea, site_position: Position, timezone: str, *, font_family: str = "system-ui") -> str:
    """Return an SVG of the point last seen and the boxes half an hour apart: north up, to scale, no map needed.

    timezone -- of the site, whose clock the labels have
    """
    steps = _shown(area)
    boxes = [[_offset_m(area.last_seen, corner) for corner in step.corners] for step in steps]
    spots = [spot for box in boxes for spot in box]
    across = [east for east, _ in spots] + [0.0]
    along = [north for _, north in spots] + [0.0]
    site = _offset_m(area.last_seen, site_position)
    reach_m = max(max(across) - min(across), max(along) - min(along))
    near = math.hypot(*site) <= FAR_SITE * reach_m
    if near:
        across.append(site[0])
        along.append(site[1])
    middle = ((max(across) + min(across)) / 2, (max(along) + min(along)) / 2)
    scale = (SIZE - 2 * EDGE) / max(max(across) - min(across), max(along) - min(along))

    def drawn(spot: _Spot) -> _Spot:
        return SIZE / 2 + (spot[0] - middle[0]) * scale, SIZE / 2 - (spot[1] - middle[1]) * scale

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIZE} {SIZE + FOOT}" width="100%" role="img" '
        f"aria-label={quoteattr(_said(area, site_position, timezone))} font-family={quoteattr(font_family)} "
        'font-size="12" fill="#161616">',
        f'<rect x="0.5" y="0.5" width="{SIZE - 1}" height="{SIZE + FOOT - 1}" fill="#ffffff" stroke="#777777"/>',
    ]
    for box, dash in zip(boxes, DASHES, strict=True):
        corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in map(drawn, box))
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(f'<polygon points="{corners}" fill="none" stroke="#161616" stroke-width="1.6"{dashes}/>')
    seen, home = drawn((0.0, 0.0)), drawn(site)
    taken = [(SIZE - 34.0, 0.0, float(SIZE), 54.0), _around(*seen, 8, 8)]
    x, y = seen
    parts.append(f'<path d="M{x - 6:.1f} {y - 6:.1f}l12 12m0 -12l-12 12" stroke="#161616" stroke-width="3"/>')
    if near:
        taken.append(_around(*home, 7, 7))
        parts.append(f'<circle cx="{home[0]:.1f}" cy="{home[1]:.1f}" r="4.5" fill="#ffffff" stroke="#161616"/>')
    words = f"last seen {_clock(area.last_seen_at, timezone)}"
    parts.append(_label(words, [(x + dx, y + dy) for dx, dy in _abreast(words)], taken, bold=True))
    if near and math.dist(seen, home) > 12:
        parts.append(_label("site", [(home[0] + dx, home[1] + dy) for dx, dy in _abreast("site")], taken))
    for step, box in zip(steps, boxes, strict=True):
        words = f"{_clock(step.time, timezone)} (+{step.minutes})"
        parts.append(_label(words, _along_the_rim([drawn(spot) for spot in box]), taken))
    parts.append(f'<path d="M{SIZE - 18} 36V12M{SIZE - 24} 20l6-9 6 9" fill="none" stroke="#161616"/>')
    parts.append(f'<text x="{SIZE - 18}" y="49" text-anchor="middle">N</text>')
    bar_m = max((length for length in SCALES_M if length * scale <= SIZE / 3), default=SCALES_M[0])
    width = bar_m * scale
    parts.append(f'<path d="M12 {SIZE + 6}v6h{width:.1f}v-6" fill="none" stroke="#161616"/>')
    parts.append(f'<text x="{18 + width:.1f}" y="{SIZE + 14}">{bar_m} m</text>')
    note = "Circle: the site." if near else f"Site: {_from_seen(area, site_position)}."
    parts.append(f'<text x="12" y="{SIZE + 33}">X: last seen. {escape(note)}</text></svg>')
    return "".join(parts)


def search_head() -> list[str]:
    """Return the heads of the columns of search_rows."""
    return [
        "Time",
        "Minutes after",
        "Middle of the area",
        "Radius",
        "Limit to the north",
        "Limit to the south",
        "Limit to the east",
        "Limit to the west",
    ]


def search_rows(area: SearchArea, timezone: str) -> list[list[str]]:
    """Return a row for each step of ten minutes, in the order of search_head.

    The limits are those of the box; each is a latitude or a longitude with its own letter behind it.
    """
    return [
        [
            _clock(step.time, timezone),
            f"+{step.minutes}",
            _middle_words(step),
            f"radius {math.ceil(step.radius_m / 10) * 10} m",
            _latitude(step.north, step),
            _latitude(step.south, step),
            _longitude(step.east, step),
            _longitude(step.west, step),
        ]
        for step in area.steps
    ]


def search_words(area: SearchArea, timezone: str, language: Language = ENGLISH) -> tuple[str, ...]:
    """Return a sentence for all that is not known about an area; empty where nothing is missing."""
    said = []
    if not area.stream_known:
        since = _since(area, timezone, language, lambda step: step.carried is None)
        said.append(
            language.say(
                "How fast the stream runs is not known{since}: the boxes hold no drift for what is not known, and "
                "whoever is missing may be far outside them. Look how the stream runs now, and search further that "
                "way.",
                since=since,
            )
        )
    if not area.stream_way_known and area.stream_known:
        since = _since(area, timezone, language, lambda step: step.carried is None)
        said.append(
            language.say(
                "Where the stream runs to is not known{since}: the boxes reach as far as it can carry, to every side, "
                "and have no middle. Look how the stream runs now, and search that way first.",
                since=since,
            )
        )
    if not area.wind_known:
        since = _since(area, timezone, language, lambda step: step.blown is None and step.carried is not None)
        said.append(
            language.say(
                "How strong the wind is, or where it comes from, is not known{since}: whoever floats at the surface "
                "may be outside the boxes. Look how the wind blows now, and search further downwind.",
                since=since,
            )
        )
    return tuple(said)


def _since(area: SearchArea, timezone: str, language: Language, lost: Callable[[SearchStep], bool]) -> str:
    """Return since when something is not known, where it was known at first; empty where that cannot be told."""
    first = next((number for number, step in enumerate(area.steps) if lost(step)), 0)
    if not first:
        return ""
    return " " + language.say("after {clock}", clock=_clock(area.steps[first - 1].time, timezone))


def _shown(area: SearchArea) -> list[SearchStep]:
    return [step for step in area.steps if step.minutes in SHOWN_MIN]


def _said(area: SearchArea, site_position: Position, timezone: str) -> str:
    """Return the picture in words, for who cannot see it."""
    seen = _clock(area.last_seen_at, timezone)
    boxes = [
        f"at {_clock(step.time, timezone)} between {_latitude(step.south, step)} and {_latitude(step.north, step)}, "
        f"{_longitude(step.west, step)} and {_longitude(step.east, step)}"
        for step in _shown(area)
    ]
    return (
        f"Where to look, north up. Last seen at {seen}, {area.last_seen.degrees_minutes}. "
        f"{_site_words(area, site_position)} Boxes: {'; '.join(boxes)}."
    )


def _site_words(area: SearchArea, site_position: Position) -> str:
    if distance_km(area.last_seen, site_position) < 0.001:
        return "The site lies at the same place."
    return f"The site lies {_from_seen(area, site_position)} from there."


def _from_seen(area: SearchArea, site_position: Position) -> str:
    distance_m = distance_km(area.last_seen, site_position) * 1000
    said = f"{distance_m:.0f} m" if distance_m < 1000 else f"{distance_m / 1000:.1f} km"
    return f"{said} on {bearing(bearing_deg(area.last_seen, site_position))}"


def _middle_words(step: SearchStep) -> str:
    if step.carried is None:
        return "way not known"
    if step.toward_deg is None:
        return "no drift"
    return f"toward {round(step.toward_deg) % 360:03d}°, {round(step.away_m / 10) * 10} m"


def _latitude(limit: float, step: SearchStep) -> str:
    return Position(limit, step.west).degrees_minutes.split(", ")[0]


def _longitude(limit: float, step: SearchStep) -> str:
    return Position(step.north, limit).degrees_minutes.split(", ")[1]


def _clock(moment: datetime, timezone: str) -> str:
    return clock(moment.astimezone(ZoneInfo(timezone)))


def _offset_m(start: Position, end: Position) -> _Spot:
    """Return how far east and north a place lies, metres."""
    distance_m = distance_km(start, end) * 1000
    angle = math.radians(bearing_deg(start, end))
    return distance_m * math.sin(angle), distance_m * math.cos(angle)


# ---- labels that do not cover each other ----


def _abreast(words: str) -> list[_Spot]:
    """Return where the middle of a text may stand, seen from its mark."""
    aside = len(words) * LETTER_WIDE / 2 + 10
    return [(aside, 0), (-aside, 0), (0, -17), (0, 17), (aside, -15), (aside, 15), (-aside, -15), (-aside, 15)]


def _along_the_rim(box: list[_Spot]) -> list[_Spot]:
    """Return where the middle of a text may stand at the sides of a box: outside the top, the bottom, then astride."""
    left, right = min(x for x, _ in box), max(x for x, _ in box)
    top, bottom = min(y for _, y in box), max(y for _, y in box)
    shares = (0.5, 0.2, 0.8, 0.0, 1.0)
    level = [(left + share * (right - left), y) for y, share in product((top - 8, bottom + 8), shares)]
    upright = [(x, top + share * (bottom - top)) for x, share in product((right, left), shares)]
    return level + upright


def _around(x: float, y: float, half_wide: float, half_high: float) -> _Room:
    return x - half_wide, y - half_high, x + half_wide, y + half_high


def _label(words: str, places: list[_Spot], taken: list[_Room], *, bold: bool = False) -> str:
    """Return a text at the first place where it covers nothing taken before; where there is none, at the first."""
    half = len(words) * LETTER_WIDE / 2
    inside = [(min(max(x, half + 3), SIZE - half - 3), min(max(y, 9.0), SIZE - 7.0)) for x, y in places]
    rooms = [_around(x, y, half, TEXT_HIGH / 2) for x, y in inside]
    free = [not any(_cover(room, other) for other in taken) for room in rooms]
    chosen = free.index(True) if True in free else 0
    taken.append(rooms[chosen])
    x, y = inside[chosen]
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y + 4:.1f}" text-anchor="middle"{weight} stroke="#ffffff" stroke-width="3" '
        f'paint-order="stroke">{escape(words)}</text>'
    )


def _cover(one: _Room, other: _Room) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
