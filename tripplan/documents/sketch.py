"""A sketch of a site from the positions in its own file: north up, to scale, no map and no signal needed."""

from __future__ import annotations

import math
from xml.sax.saxutils import escape

from tripplan.catalogue.site import Site
from tripplan.environment.position import Position, bearing_deg, distance_km

SIZE = 320  # drawing units, square
EDGE = 46  # kept free for names
SCALES_M = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000)


def sketch_map(site: Site) -> str:
    """Return an SVG of the site, its ways in and out and the rendezvous, with a scale bar and north up."""
    marks: list[tuple[str, str, Position]] = [("site", site.name, site.position)]
    marks += [("way", access.name, access.position) for access in site.entries if access.position]
    marks.append(("meet", "Ambulance: " + site.rendezvous.place, site.rendezvous.position))
    offsets = [_offset_m(site.position, position) for _, _, position in marks]
    reach_m = max((max(abs(x), abs(y)) for x, y in offsets), default=0.0)
    reach_m = max(reach_m, 20.0)
    middle = SIZE / 2
    scale = (middle - EDGE) / reach_m
    bar_m = max((length for length in SCALES_M if length * scale <= SIZE / 3), default=SCALES_M[0])
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIZE} {SIZE + 30}" width="100%" role="img" '
        'font-family="system-ui, sans-serif" font-size="11">',
        f"<title>Sketch of {escape(site.name)}, north up</title>",
        f"<desc>{escape(_in_words(site, marks, offsets))}</desc>",
        f'<rect x="0.5" y="0.5" width="{SIZE - 1}" height="{SIZE + 29}" fill="none" stroke="#777"/>',
        f'<path d="M{SIZE - 20} 34V12M{SIZE - 26} 20l6-9 6 9" fill="none" stroke="#111"/>',
        f'<text x="{SIZE - 20}" y="47" text-anchor="middle">N</text>',
    ]
    for number, ((kind, _, _), (east_m, north_m)) in enumerate(zip(marks, offsets, strict=True), start=1):
        x, y = middle + east_m * scale, middle - north_m * scale
        parts.append(_mark(kind, x, y))
        side = -1 if x > middle else 1
        anchor = "end" if side < 0 else "start"
        parts.append(
            f'<text x="{x + side * 9:.1f}" y="{y + 4:.1f}" text-anchor="{anchor}" font-weight="bold">{number}</text>'
        )
    for access in site.entries:
        if access.position:
            east_m, north_m = _offset_m(site.position, access.position)
            parts.append(_arrow(middle + east_m * scale, middle - north_m * scale, access.facing_deg))
    width = bar_m * scale
    parts.append(f'<path d="M12 {SIZE + 12}v6h{width:.1f}v-6" fill="none" stroke="#111"/>')
    words = f"{bar_m} m" if bar_m < 1000 else f"{bar_m // 1000} km"
    parts.append(f'<text x="{18 + width:.1f}" y="{SIZE + 19}">{words}</text></svg>')
    return "".join(parts)


def sketch_key(site: Site) -> tuple[str, ...]:
    """Return the names behind the numbers of the sketch, in order."""
    ways = [
        f"{access.name} ({access.kind}, faces {access.facing_deg:03.0f}°)" for access in site.entries if access.position
    ]
    return (site.name, *ways, f"Ambulance: {site.rendezvous.place}")


def _offset_m(start: Position, end: Position) -> tuple[float, float]:
    """Return how far east and north a place lies, metres."""
    distance_m = distance_km(start, end) * 1000
    angle = math.radians(bearing_deg(start, end))
    return distance_m * math.sin(angle), distance_m * math.cos(angle)


def _mark(kind: str, x: float, y: float) -> str:
    if kind == "site":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="#0b5d6b"/>'
    if kind == "way":
        return (
            f'<rect x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8" fill="#fff" stroke="#111" stroke-width="2"/>'
        )
    return f'<path d="M{x:.1f} {y - 6:.1f}v12M{x - 6:.1f} {y:.1f}h12" stroke="#111" stroke-width="4"/>'


def _arrow(x: float, y: float, facing_deg: float) -> str:
    angle = math.radians(facing_deg)
    return (
        f'<path d="M{x:.1f} {y:.1f}L{x + 26 * math.sin(angle):.1f} {y - 26 * math.cos(angle):.1f}" '
        'stroke="#111" stroke-dasharray="3 3"/>'
    )


def _in_words(site: Site, marks: list[tuple[str, str, Position]], offsets: list[tuple[float, float]]) -> str:
    said = []
    for (_, name, _), (east_m, north_m) in list(zip(marks, offsets, strict=True))[1:]:
        distance_m = math.hypot(east_m, north_m)
        bearing = math.degrees(math.atan2(east_m, north_m)) % 360
        said.append(f"{name}: {distance_m:.0f} m on {bearing:03.0f} degrees from the site")
    return "; ".join(said) or site.name
