"""Tidal constituents: equilibrium argument, speed and node factor of each name, after Schureman.

An argument V is a whole-number sum of T (hour angle of the mean sun), s, h, p and p1 (mean longitudes of the moon, the
sun, the lunar and the solar perigee), plus a constant; u is a sum of the slow angles xi, nu, nu', 2nu'', R and Q; f is
a product of node factors. A shallow-water compound is the sum of its parts, read from its name.

Source: SCHUREMAN, table 2 and the formulas numbered below; the mean longitudes from a modern book (see there); for the
compounds the naming rule of the International Hydrographic Organization's list of harmonic constituents.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache

import numpy as np
from numpy.typing import NDArray

Vector = tuple[int, ...]
Floats = NDArray[np.float64]

NODE_FORMULAS = ("73", "74", "75", "76", "77", "78", "79", "149", "227", "235", "1/Qa", "1/Ra")
_EPOCH = datetime(2000, 1, 1, 12, tzinfo=UTC)
_HOURS_PER_CENTURY = 876_600.0  # a Julian century of 36,525 days
# Mean longitudes, degrees: constant, then per Julian century, squared and cubed (J. Meeus, Astronomical Algorithms,
# chapters 25 and 47). SCHUREMAN's own table 1 of 1941 has by now put the moon ahead by 0.02 degrees (3 mm at a station
# with a mean range of 5.6 m); with these the tidal authority's predictions are met to their rounding.
_LONGITUDES = {
    "s": (218.3164477, 481_267.88123421, -0.0015786, 1 / 538_841),  # moon
    "h": (280.46646, 36_000.76983, 0.0003032, 0.0),  # sun
    "p": (83.3532465, 4_069.0137287, -0.0103200, -1 / 80_053),  # lunar perigee
    "p1": (282.93735, 1.71946, 0.00046, 0.0),  # solar perigee
    "n": (125.0445479, -1_934.1362891, 0.0020754, 1 / 467_441),  # ascending node of the moon's orbit
}
_OBLIQUITY = np.radians(23 + 27 / 60 + 8.26 / 3600)  # of the ecliptic at 1900
_INCLINATION = np.radians(5 + 8 / 60 + 43.3546 / 3600)  # of the moon's orbit to the ecliptic


@dataclass(frozen=True)
class Definition:
    """What a name stands for."""

    argument: Vector  # of T, s, h, p, p1, and a constant in degrees
    slow: Vector = (0, 0, 0, 0, 0, 0)  # of xi, nu, nu', 2nu'', R, Q
    powers: Vector = (0,) * len(NODE_FORMULAS)  # how often each node factor enters
    perigee_in_speed: int = 0  # M1 only: its tabulated speed also counts the perigee's motion, its argument does not

    def combined(self, other: Definition, times: int) -> Definition:
        """Return this plus another one so many times (negative: less); node factors always multiply."""
        return Definition(
            tuple(a + times * b for a, b in zip(self.argument, other.argument, strict=True)),
            tuple(a + times * b for a, b in zip(self.slow, other.slow, strict=True)),
            tuple(a + abs(times) * b for a, b in zip(self.powers, other.powers, strict=True)),
        )


def _of(argument: Vector, slow: Vector = (), factors: str = "", perigee_in_speed: int = 0) -> Definition:
    powers = tuple(factors.split().count(name) for name in NODE_FORMULAS)
    return Definition(argument, (*slow, *(0,) * (6 - len(slow))), powers, perigee_in_speed)


_LUNAR_2, _LUNAR_1 = (2, -2), (2, -1)  # the slow angles of M2 and of O1
# SCHUREMAN, table 2. Columns of the argument: T, s, h, p, p1, degrees.
_BASE: dict[str, Definition] = {
    "SA": _of((0, 0, 1, 0, 0, 0)),
    "SSA": _of((0, 0, 2, 0, 0, 0)),
    "MM": _of((0, 1, 0, -1, 0, 0), (), "73"),
    "MSM": _of((0, 1, -2, 1, 0, 0), (), "73"),
    "MSF": _of((0, 2, -2, 0, 0, 0), (-2, 2), "78"),  # page 48: MSf stands for the compound S2 - M2
    "MF": _of((0, 2, 0, 0, 0, 0), (-2,), "74"),
    "MTM": _of((0, 3, 0, -1, 0, 0), (-2,), "74"),
    "2Q1": _of((1, -4, 1, 2, 0, 90), _LUNAR_1, "75"),
    "SIGMA1": _of((1, -4, 3, 0, 0, 90), _LUNAR_1, "75"),
    "Q1": _of((1, -3, 1, 1, 0, 90), _LUNAR_1, "75"),
    "RHO": _of((1, -3, 3, -1, 0, 90), _LUNAR_1, "75"),
    "O1": _of((1, -2, 1, 0, 0, 90), _LUNAR_1, "75"),
    "M1": _of((1, -1, 1, 0, 0, -90), (1, -1, 0, 0, 0, 1), "75 1/Qa", perigee_in_speed=1),
    "CHI1": _of((1, -1, 3, -1, 0, -90), (0, -1), "76"),
    "PI1": _of((1, 0, -2, 0, 1, 90)),
    "P1": _of((1, 0, -1, 0, 0, 90)),
    "S1": _of((1, 0, 0, 0, 0, 0)),
    "K1": _of((1, 0, 1, 0, 0, -90), (0, 0, -1), "227"),
    "PSI1": _of((1, 0, 2, 0, -1, -90)),
    "PHI1": _of((1, 0, 3, 0, 0, -90)),
    "THETA1": _of((1, 1, -1, 1, 0, -90), (0, -1), "76"),
    "J1": _of((1, 1, 1, -1, 0, -90), (0, -1), "76"),
    "OO1": _of((1, 2, 1, 0, 0, -90), (-2, -1), "77"),
    "EPS2": _of((2, -5, 4, 1, 0, 0), _LUNAR_2, "78"),
    "2N2": _of((2, -4, 2, 2, 0, 0), _LUNAR_2, "78"),
    "MU2": _of((2, -4, 4, 0, 0, 0), _LUNAR_2, "78"),
    "N2": _of((2, -3, 2, 1, 0, 0), _LUNAR_2, "78"),
    "NU2": _of((2, -3, 4, -1, 0, 0), _LUNAR_2, "78"),
    "M2": _of((2, -2, 2, 0, 0, 0), _LUNAR_2, "78"),
    "LAM2": _of((2, -1, 0, 1, 0, 180), _LUNAR_2, "78"),
    "L2": _of((2, -1, 2, -1, 0, 180), (2, -2, 0, 0, -1), "78 1/Ra"),
    "T2": _of((2, 0, -1, 0, 1, 0)),
    "S2": _of((2, 0, 0, 0, 0, 0)),
    "R2": _of((2, 0, 1, 0, -1, 180)),
    "K2": _of((2, 0, 2, 0, 0, 0), (0, 0, 0, -1), "235"),
    "ETA2": _of((2, 1, 2, -1, 0, 0), (0, -2), "79"),
    "M3": _of((3, -3, 3, 0, 0, 0), (3, -3), "149"),
}

_ALIASES = {
    "LAMBDA2": "LAM2", "LDA2": "LAM2", "LA2": "LAM2", "RHO1": "RHO", "RO1": "RHO", "SIG1": "SIGMA1", "THE1": "THETA1",
    "TH1": "THETA1", "CH1": "CHI1", "EPSILON2": "EPS2", "2MNLS6": "2MLNS6", "M(KS)2": "MKS2",
    "M2(KS)2": "M2KS2", "2SN(MK)2": "2SNMK2", "2KM(SN)2": "2KMSN2", "2(MS)8": "2MS8", "2(MN)8": "2MN8",
}  # fmt: skip

# Names whose letters do not add up by the rule, or would do so in the wrong way.
_SPELT_OUT: dict[str, tuple[tuple[str, int], ...]] = {
    "OO2": (("O1", 1), ("Q1", 1)),  # the speed of OO2 in the lists, 27.3416964, is that of O1 + Q1
    "3KM5": (("K2", 1), ("K1", 1), ("M2", 1)),
    "M2KS2": (("M2", 1), ("K2", 2), ("S2", -2)),
    "2MS8": (("M2", 2), ("S2", 2)),
    "2MN8": (("M2", 2), ("N2", 2)),
}

# Used for different things in different lists (NO1 for N2 - O1 or for M1; OQ2 for O1 + Q1 or for one 0.009 degrees an
# hour faster; ST4 for S2 + T2 or for a numbered extra): left out and reported, not guessed.
_NOT_ONE_THING = frozenset({"NO1", "OQ2", "ST4"})
_PARTS = {
    "M": ("M2",), "S": ("S2",), "N": ("N2",), "K": ("K1", "K2"), "L": ("L2",), "T": ("T2",), "R": ("R2",),
    "NU": ("NU2",), "MU": ("MU2",), "O": ("O1",), "P": ("P1",), "Q": ("Q1",), "J": ("J1",),
}  # fmt: skip
_COMPOUND = re.compile(r"(?:\d?(?:NU|MU|[MSNKLTROPQJ]))+?(?=\d+$)")


def canonical(name: str) -> str:
    """Return the one spelling used here: capitals, aliases resolved.

    >>> canonical("lambda2"), canonical("Rho1"), canonical("M2")
    ('LAM2', 'RHO', 'M2')
    """
    upper = name.strip().upper()
    return _ALIASES.get(upper, upper)


@cache
def definition(name: str) -> Definition | None:
    """Return what a constituent stands for; None for a name that is not known or not one thing."""
    key = canonical(name)
    if key in _BASE:
        return _BASE[key]
    parts = _SPELT_OUT.get(key) or _parts_of(key)
    if not parts:
        return None
    total = _of((0, 0, 0, 0, 0, 0))
    for part, times in parts:
        total = total.combined(_BASE[part], times)
    return total


def _parts_of(name: str) -> tuple[tuple[str, int], ...] | None:
    """Read a compound from its name; None unless the letters add up to the number at its end in exactly one way.

    The letters stand for constituents, each with the figure before it; a first run of them is added and the rest taken
    away, so that the sum has the number of tides a day with which the name ends: 2MS6 = 2 M2 + S2, 2SM2 = 2 S2 - M2,
    2MK3 = 2 M2 - K1. K is K1 or K2, whichever adds up. One letter with a multiple of its own number is that multiple:
    M4 = 2 M2.
    """
    match = _COMPOUND.match(name)
    if match is None or name in _NOT_ONE_THING or any(len(part) > 1 for part in re.findall(r"\d+", match[0])):
        return None
    letters, species = match[0], int(name[match.end() :])
    found = [(mark or "1", letter) for mark, letter in re.findall(r"(\d?)(NU|MU|[A-Z])", letters)]
    if len(found) == 1 and found[0][0] == "1":
        (only,) = (_PARTS[found[0][1]][0],) if found[0][1] != "K" else ("",)
        times, rest = divmod(species, int(only[-1])) if only else (0, 1)
        return ((only, times),) if rest == 0 and times > 1 else None
    ways = []
    for choice in (0, 1) if any(letter == "K" for _, letter in found) else (0,):
        parts = [(_PARTS[letter][choice if letter == "K" else 0], int(mark)) for mark, letter in found]
        for added in range(len(parts), 0, -1):
            signed = [(part, times if index < added else -times) for index, (part, times) in enumerate(parts)]
            if sum(int(part[-1]) * times for part, times in signed) == species:
                ways.append(tuple(signed))
    return ways[0] if len(ways) == 1 else None


def _longitudes_deg(when: datetime) -> dict[str, float]:
    century = (when - _EPOCH) / timedelta(hours=_HOURS_PER_CENTURY)
    return {
        name: (a + b * century + c * century**2 + d * century**3) % 360 for name, (a, b, c, d) in _LONGITUDES.items()
    }


_MOTIONS_DEG_PER_H = {name: series[1] / _HOURS_PER_CENTURY for name, series in _LONGITUDES.items()}


def speeds_deg_per_h(definitions: Iterable[Definition]) -> Floats:
    """Return the speeds, degrees an hour, to the seven decimals of the printed table."""
    motion = _MOTIONS_DEG_PER_H
    rates = np.array([15.0, motion["s"], motion["h"], motion["p"], motion["p1"], 0.0])
    arguments = np.array([d.argument for d in definitions], dtype=float).reshape(-1, 6)
    extra = np.array([d.perigee_in_speed for d in definitions], dtype=float) * motion["p"]
    return np.asarray(np.round(arguments @ rates + extra, 7))


def factors(definitions: tuple[Definition, ...], year: int) -> tuple[Floats, Floats]:
    """Return node factors f and arguments V + u, degrees, of a calendar year (UTC).

    V is that of 1 January, 0 h; f and u are those of the middle of the year, as the tidal authority takes them.
    """
    start = datetime(year, 1, 1, tzinfo=UTC)
    longitude = _longitudes_deg(start)
    # The hour angle of the mean sun is 180 degrees at midnight.
    angles = np.array([180.0, longitude["s"], longitude["h"], longitude["p"], longitude["p1"], 1.0])
    slow_deg, node = _slow_angles_and_factors(start + (datetime(year + 1, 1, 1, tzinfo=UTC) - start) / 2)
    argument_deg = np.array([d.argument for d in definitions], dtype=float).reshape(-1, 6) @ angles
    u_deg = np.array([d.slow for d in definitions], dtype=float).reshape(-1, 6) @ slow_deg
    powers = np.array([d.powers for d in definitions], dtype=float).reshape(-1, len(NODE_FORMULAS))
    return np.exp(powers @ np.log(node)), (argument_deg + u_deg) % 360


def _slow_angles_and_factors(when: datetime) -> tuple[Floats, Floats]:
    """Return xi, nu, nu', 2nu'', R, Q in degrees, and the node factors in the order of NODE_FORMULAS."""
    longitude = _longitudes_deg(when)
    node = np.radians(longitude["n"])
    cos_i = np.cos(_INCLINATION) * np.cos(_OBLIQUITY) - np.sin(_INCLINATION) * np.sin(_OBLIQUITY) * np.cos(node)
    i = np.arccos(cos_i)  # inclination of the moon's orbit to the equator
    nu = np.arcsin(np.sin(_INCLINATION) * np.sin(node) / np.sin(i))
    sin_omega = np.sin(_OBLIQUITY) * np.sin(node) / np.sin(i)
    cos_omega = np.cos(node) * np.cos(nu) + np.sin(node) * np.sin(nu) * np.cos(_OBLIQUITY)
    xi = node - np.arctan2(sin_omega, cos_omega)
    xi = np.arctan2(np.sin(xi), np.cos(xi))  # near zero, never a whole turn off
    sin_2i, sin2_i, half = np.sin(2 * i), np.sin(i) ** 2, i / 2
    nu1 = np.arctan2(sin_2i * np.sin(nu), sin_2i * np.cos(nu) + 0.3347)  # formula 224
    nu2_twice = np.arctan2(sin2_i * np.sin(2 * nu), sin2_i * np.cos(2 * nu) + 0.0727)  # formula 232
    perigee = np.radians(longitude["p"]) - xi  # P
    cos_2p = np.cos(2 * perigee)
    r = np.arctan2(np.sin(2 * perigee), 1 / (6 * np.tan(half) ** 2) - cos_2p)  # formula 214
    q = np.arctan2(0.483 * np.sin(perigee), np.cos(perigee))  # formula 203
    by_formula = {
        "73": (2 / 3 - sin2_i) / 0.5021,
        "74": sin2_i / 0.1578,
        "75": np.sin(i) * np.cos(half) ** 2 / 0.3800,
        "76": sin_2i / 0.7214,
        "77": np.sin(i) * np.sin(half) ** 2 / 0.0164,
        "78": np.cos(half) ** 4 / 0.9154,
        "79": sin2_i / 0.1565,
        "149": np.cos(half) ** 6 / 0.8758,
        "227": np.sqrt(0.8965 * sin_2i**2 + 0.6001 * sin_2i * np.cos(nu) + 0.1006),
        "235": np.sqrt(19.0444 * sin2_i**2 + 2.7702 * sin2_i * np.cos(2 * nu) + 0.0981),
        "1/Qa": np.sqrt(2.310 + 1.435 * cos_2p),  # formula 197
        "1/Ra": np.sqrt(1 - 12 * np.tan(half) ** 2 * cos_2p + 36 * np.tan(half) ** 4),  # formula 213
    }
    return np.degrees([xi, nu, nu1, nu2_twice, r, q]), np.array([by_formula[name] for name in NODE_FORMULAS])
