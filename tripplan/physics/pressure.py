"""The pressure under water, the density that makes it, and what a depth gauge shows."""

from __future__ import annotations

from tripplan.errors import require
from tripplan.units import BAR_PER_ATMOSPHERE, STANDARD_GRAVITY_M_S2

PASCAL_PER_BAR = 100_000
GAUGE_METRES_PER_BAR = 10.0  # EN_13319
LIGHTEST_KG_M3, HEAVIEST_KG_M3 = 980.0, 1250.0  # hot fresh water to the Dead Sea


def water_density_kg_m3(salinity: float, temperature_c: float) -> float:
    """Return the density of water at the surface, kg/m3.

    salinity      -- practical salinity, 0 to 45 (the formula is published to 42 and drawn on smoothly beyond)
    temperature_c -- degrees Celsius, -2 to 40

    Compression under water adds 0.018 % in 40 m and is left out. Raises OutOfRange outside the intervals.
    Source: the one-atmosphere equation of state of sea water, EOS-80 (UNESCO technical papers in marine science 44).
    """
    require("salinity", salinity, 0, 45, "")
    require("water temperature", temperature_c, -2, 40, "degrees C")
    t, s = temperature_c, salinity
    pure = (
        999.842594 + 6.793952e-2 * t - 9.095290e-3 * t**2 + 1.001685e-4 * t**3 - 1.120083e-6 * t**4 + 6.536332e-9 * t**5
    )
    first = 8.24493e-1 - 4.0899e-3 * t + 7.6438e-5 * t**2 - 8.2467e-7 * t**3 + 5.3875e-9 * t**4
    root = -5.72466e-3 + 1.0227e-4 * t - 1.6546e-6 * t**2
    return float(pure + first * s + root * s**1.5 + 4.8314e-4 * s**2)


def ambient_pressure_bar(depth_m: float, surface_pressure_bar: float, density_kg_m3: float) -> float:
    """Return the pressure at a depth, bar absolute, of water with one density under standard gravity.

    depth_m              -- metres below the surface, from 0
    surface_pressure_bar -- air pressure at the surface, bar absolute, 0.3 to 1.2
    density_kg_m3        -- 980 to 1250

    Within 0.3 % of the full integral with local gravity and compression. Raises OutOfRange.  Source: PHYSICS.

    >>> round(ambient_pressure_bar(10, 1.01325, 1025), 2)
    2.02
    """
    require("depth", depth_m, 0, 1000, "m")
    require("surface pressure", surface_pressure_bar, 0.3, 1.2, "bar")
    return surface_pressure_bar + depth_m * bar_per_metre(density_kg_m3)


def depth_at_pressure_m(pressure_bar: float, surface_pressure_bar: float, density_kg_m3: float) -> float:
    """Return the depth at which an absolute pressure is reached, metres; negative where the surface has more."""
    return (pressure_bar - surface_pressure_bar) / bar_per_metre(density_kg_m3)


def bar_per_metre(density_kg_m3: float) -> float:
    """Return what one metre of water adds, bar.  Raises OutOfRange outside 980 to 1250 kg/m3."""
    require("water density", density_kg_m3, LIGHTEST_KG_M3, HEAVIEST_KG_M3, "kg/m3")
    return density_kg_m3 * STANDARD_GRAVITY_M_S2 / PASCAL_PER_BAR


def gauge_reading_m(depth_m: float, surface_pressure_bar: float, density_kg_m3: float, zeroed: bool) -> float:
    """Return what a depth gauge shows at a depth, metres (1 bar is 10 m on its scale).

    zeroed -- True: set to zero at this surface;  False: sealed at sea level, so that it reads shallow at altitude
              (it stays at zero until the water has made up for the thinner air)

    Raises OutOfRange as ambient_pressure_bar.  Source: EN_13319.
    """
    zero_bar = surface_pressure_bar if zeroed else BAR_PER_ATMOSPHERE
    pressure_bar = ambient_pressure_bar(depth_m, surface_pressure_bar, density_kg_m3)
    return max((pressure_bar - zero_bar) * GAUGE_METRES_PER_BAR, 0.0)
