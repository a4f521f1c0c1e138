"""A sketch of a site from the positions in its own file: north up, to scale, no map and no signal needed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal
from xml.sax.saxutils import escape

from tripplan.catalogue.site import Access, Site
from tripplan.documents.words import bearing
from tripplan.environment.position import Position, bearing_deg, distance_km

SIZE = 320  # drawing units, square
EDGE = 46  # kept free for numbers
FACING = 24  # length of the line that shows which way a shore faces
SCALES_M = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000, 100_000)
SMALLEST_REACH_M = 20.0
NUMBER = 13  # room that a number takes, both ways
PLACES = [(12, 0), (-12, 0), (9, -11), (-9, -11), (9, 11), (-9, 11), (0, -14), (0, 14)]


@dataclass(frozen=True)
class _Mark:
    kind: Literal["site", "way", "meet"]
    words: str
    east_m: float
    north_m: float
    facing_deg: float | None = None

    @property
    def where(self) -> str:
        """How far and in which direction from the site."""
        distance_m = math.hypot(self.east_m, self.north_m)
        if self.kind == "site":
            return ""
        if round(distance_m) == 0:
            return " at the site's position"
        return f", {distance_m:.0f} m on {bearing(math.degrees(math.atan2(self.east_m, self.north_m)) % 360)}"


def sketch_map(site: Site) -> str:
    """Return an SVG of the site, its ways in and out and the rendezvous, with a scale bar and north up."""
    marks = _marks(site)
    reach_m = max(SMALLEST_REACH_M, *(max(abs(mark.east_m), abs(mark.north_m)) for mark in marks))
    middle = SIZE / 2
    scale = (middle - EDGE) / reach_m
    spots = [(middle + mark.east_m * scale, middle - mark.north_m * scale) for mark in marks]
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIZE} {SIZE + 30}" width="100%" role="img" '
        'aria-labelledby="sketch-title sketch-desc" font-family="system-ui, sans-serif" font-size="12">',
        f'<title id="sketch-title">Sketch of {escape(site.name)}, north up</title>',
        f'<desc id="sketch-desc">{escape("; ".join(sketch_key(site)))}</desc>',
        f'<rect x="0.5" y="0.5" width="{SIZE - 1}" height="{SIZE + 29}" fill="#ffffff" stroke="#777"/>',
        f'<path d="M{SIZE - 20} 34V12M{SIZE - 26} 20l6-9 6 9" fill="none" stroke="#161616"/>',
        f'<text x="{SIZE - 20}" y="48" text-anchor="middle">N</text>',
    ]
    for mark, (x, y) in zip(marks, spots, strict=True):
        if mark.facing_deg is not None:
            parts.append(_facing(x, y, mark.facing_deg))
    parts.extend(_symbol(mark.kind, x, y) for mark, (x, y) in zip(marks, spots, strict=True))
    parts.extend(_numbers(spots))
    bar_m = max((length for length in SCALES_M if length * scale <= SIZE / 3), default=SCALES_M[0])
    width = bar_m * scale
    parts.append(f'<path d="M12 {SIZE + 12}v6h{width:.1f}v-6" fill="none" stroke="#161616"/>')
    said = f"{bar_m} m" if bar_m < 1000 else f"{bar_m // 1000} km"
    parts.append(f'<text x="{18 + width:.1f}" y="{SIZE + 19}">{said}</text></svg>')
    return "".join(parts)


def sketch_key(site: Site) -> tuple[str, ...]:
    """Return what the numbers of the sketch stand for, in order, each with its distance and bearing from the site."""
    return tuple(mark.words + mark.where for mark in _marks(site))


def _marks(site: Site) -> list[_Mark]:
    marks = [_Mark("site", f"{site.name}, the position given to the rescue service", 0.0, 0.0)]
    for access in site.entries:
        if access.position:
            marks.append(
                _Mark("way", _way_words(access, site), *_offset_m(site.position, access.position), access.facing_deg)
            )
    meet = site.rendezvous
    marks.append(_Mark("meet", f"Ambulance: {meet.place}", *_offset_m(site.position, meet.position)))
    return marks


def _way_words(access: Access, site: Site) -> str:
    other = site.alternative_exit is not None and site.alternative_exit.access == access.name
    roles = ", alternative exit" if other else ""
    return f"{access.name} ({access.kind}, faces {access.facing_deg:03.0f}°{roles})"


def _offset_m(start: Position, end: Position) -> tuple[float, float]:
    """Return how far east and north a place lies, metres."""
    distance_m = distance_km(start, end) * 1000
    angle = math.radians(bearing_deg(start, end))
    return distance_m * math.sin(angle), distance_m * math.cos(angle)


def _symbol(kind: str, x: float, y: float) -> str:
    if kind == "site":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="#0b5d6b"/>'
    if kind == "way":
        box = f'x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8"'
        return f'<rect {box} fill="none" stroke="#161616" stroke-width="2"/>'
    return f'<path d="M{x:.1f} {y - 6:.1f}v12M{x - 6:.1f} {y:.1f}h12" stroke="#161616" stroke-width="4"/>'


def _facing(x: float, y: float, facing_deg: float) -> str:
    angle = math.radians(facing_deg)
    end = f"{x + FACING * math.sin(angle):.1f} {y - FACING * math.cos(angle):.1f}"
    return f'<path d="M{x:.1f} {y:.1f}L{end}" stroke="#161616" stroke-dasharray="3 3"/>'


def _numbers(spots: list[tuple[float, float]]) -> list[str]:
    """Return the numbers, each put where it covers no mark and no number before it, farther off with a line if need be.

    A number for which there is no free place within reach stands where the first try was.
    """
    taken = list(spots)
    drawn = []
    for number, (x, y) in enumerate(spots, start=1):
        tries = [(x + far * dx, y + far * dy, far) for far in (1.0, 1.9, 2.8, 3.7) for dx, dy in PLACES]
        left, top, far = next(
            (
                (u, v, far)
                for u, v, far in tries
                if 8 < u < SIZE - 8
                and 10 < v < SIZE - 4
                and all(abs(u - p) >= NUMBER - 3 or abs(v - q) >= NUMBER - 2 for p, q in taken)
            ),
            tries[0],
        )
        taken.append((left, top))
        if far > 1:
            drawn.append(f'<path d="M{x:.1f} {y:.1f}L{left:.1f} {top:.1f}" stroke="#777" stroke-width="0.8"/>')
        drawn.append(
            f'<text x="{left:.1f}" y="{top + 4:.1f}" text-anchor="middle" font-weight="bold" stroke="#ffffff" '
            f'stroke-width="3" paint-order="stroke">{number}</text>'
        )
    return drawn
