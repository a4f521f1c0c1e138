"""Unit endings used in names, and the conversions; metric inside, other units only at an edge or in a printed table.

Names end in the unit: ``_m`` metres, ``_min`` minutes, ``_bar`` bar absolute (``_gauge_bar`` above the surface
pressure), ``_l`` litres, ``_c`` degrees Celsius, ``_deg`` degrees, ``_kn`` knots, ``_m_s`` metres a second,
``_fsw`` feet of sea water, ``_ft`` feet, ``_kg_m3`` density, ``_percent``, ``_h`` hours, ``_days``.
"""

from __future__ import annotations

METRES_PER_FOOT = 0.3048  # exact, international foot (1959)
METRES_PER_NAUTICAL_MILE = 1852  # exact, international nautical mile
METRES_PER_SECOND_PER_KNOT = METRES_PER_NAUTICAL_MILE / 3600
BAR_PER_PSI = 0.0689475729  # pound-force per square inch, NIST SP 811
STANDARD_GRAVITY_M_S2 = 9.80665  # exact, ISO 80000-3
BAR_PER_ATMOSPHERE = 1.01325  # exact, standard atmosphere

UNIT_WORDS = {
    "m": "metres",
    "min": "minutes",
    "bar": "bar",
    "l": "litres",
    "c": "degrees Celsius",
    "deg": "degrees",
    "kn": "knots",
    "fsw": "feet of sea water",
    "ft": "feet",
    "h": "hours",
    "days": "days",
    "percent": "per cent",
    "km": "kilometres",
}


def feet(length_m: float) -> float:
    """Return a length in feet.

    >>> feet(3.048)
    10.0
    """
    return length_m / METRES_PER_FOOT


def metres(length_ft: float) -> float:
    """Return a length given in feet, in metres.

    >>> round(metres(60), 3)
    18.288
    """
    return length_ft * METRES_PER_FOOT
