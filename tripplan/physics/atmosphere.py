"""The pressure of the air above a site, by the standard atmosphere."""

from __future__ import annotations

from tripplan.errors import require
from tripplan.units import BAR_PER_ATMOSPHERE, STANDARD_GRAVITY_M_S2

SEA_LEVEL_TEMPERATURE_K = 288.15  # ISO_2533
LAPSE_RATE_K_PER_M = 0.0065  # ISO_2533, 0 to 11 km
GAS_CONSTANT_J_KG_K = 287.05287  # ISO_2533, dry air
PRESSURE_EXPONENT = STANDARD_GRAVITY_M_S2 / (GAS_CONSTANT_J_KG_K * LAPSE_RATE_K_PER_M)
LOWEST_M, HIGHEST_M = -450.0, 5000.0  # below the lowest lake shore, above the highest lake anybody dives


def standard_pressure_bar(altitude_m: float) -> float:
    """Return the standard pressure of the air at an altitude, bar absolute.

    altitude_m -- height above mean sea level, metres, -450 to 5000

    The formula takes geopotential height. A height measured by tape or satellite is geometric, and its geopotential
    height is slightly lower, so its pressure slightly higher (0.28 hPa at 5000 m). The altitude is put in as it is:
    that gives the lower pressure of the two, which is the cautious one. The weather moves the true value by some 3 %.
    Raises OutOfRange outside the interval.  Source: ISO_2533.

    >>> round(standard_pressure_bar(1524), 3)
    0.843
    """
    require("altitude", altitude_m, LOWEST_M, HIGHEST_M, "m")
    temperature_ratio = 1 - LAPSE_RATE_K_PER_M * altitude_m / SEA_LEVEL_TEMPERATURE_K
    return float(BAR_PER_ATMOSPHERE * temperature_ratio**PRESSURE_EXPONENT)


def pressure_altitude_m(pressure_bar: float) -> float:
    """Return the altitude at which the standard atmosphere has a pressure, metres.

    pressure_bar -- bar absolute, the pressure at 5000 m to that at -450 m (0.540 to 1.069)

    Raises OutOfRange outside the interval.  Source: ISO_2533.
    """
    low, high = standard_pressure_bar(HIGHEST_M), standard_pressure_bar(LOWEST_M)
    require("air pressure", pressure_bar, low, high, "bar")
    temperature_ratio = (pressure_bar / BAR_PER_ATMOSPHERE) ** (1 / PRESSURE_EXPONENT)
    return float((1 - temperature_ratio) * SEA_LEVEL_TEMPERATURE_K / LAPSE_RATE_K_PER_M)
