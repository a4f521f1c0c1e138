"""Air pressure, water density and gauges against published figures."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published_tables import published

from tripplan.errors import OutOfRange
from tripplan.physics.atmosphere import pressure_altitude_m, standard_pressure_bar
from tripplan.physics.pressure import (
    ambient_pressure_bar,
    depth_at_pressure_m,
    gauge_reading_m,
    water_density_kg_m3,
)
from tripplan.units import BAR_PER_ATMOSPHERE, feet

ATMOSPHERE = published("handbook/standard_atmosphere.csv")


# ISO 2533, geopotential altitude, computed from the verified constants, to 0.001 hPa: half a digit is allowed.
@pytest.mark.parametrize("row", ATMOSPHERE, ids=lambda row: row["altitude_m"])
def test_air_pressure_agrees_with_the_standard_atmosphere(row):
    printed_hpa = float(row["pressure_hPa_iso2533_geopotential"])
    assert standard_pressure_bar(float(row["altitude_m"])) * 1000 == pytest.approx(printed_hpa, abs=0.0005)


# The same standard by geometric altitude, as most tables print it: ours must be the lower, by 0.28 hPa at 5000 m.
@pytest.mark.parametrize("row", ATMOSPHERE, ids=lambda row: row["altitude_m"])
def test_air_pressure_is_never_above_the_column_by_geometric_altitude(row):
    geometric_hpa = float(row["pressure_hPa_ussa1976_if_altitude_is_geometric"])
    ours_hpa = standard_pressure_bar(float(row["altitude_m"])) * 1000
    assert geometric_hpa - 0.29 <= ours_hpa <= geometric_hpa + 0.005


# Printed values: 843 mb at 5000 ft (US Navy manual Rev 4 Change A, p. 9-38, verified), 10.108 psi at 10,000 ft
# (verified), the rest of the US 1976 table from memory. They are by geometric altitude, so ours may be 0.3 hPa lower.
@pytest.mark.parametrize("row", [row for row in ATMOSPHERE if row["published_hPa"]], ids=lambda row: row["altitude_m"])
def test_air_pressure_agrees_with_printed_tables(row):
    assert standard_pressure_bar(float(row["altitude_m"])) * 1000 == pytest.approx(
        float(row["published_hPa"]), abs=0.29
    )


@given(st.floats(-450, 5000))
def test_pressure_altitude_undoes_the_standard_pressure(altitude_m):
    assert pressure_altitude_m(standard_pressure_bar(altitude_m)) == pytest.approx(altitude_m, abs=1e-6)


@pytest.mark.parametrize("altitude_m", [-450.1, 5000.1, math.nan, math.inf])
def test_an_altitude_outside_the_interval_is_refused_in_words(altitude_m):
    with pytest.raises(OutOfRange, match="it must be from -450 to 5000 m"):
        standard_pressure_bar(altitude_m)


@pytest.mark.parametrize("pressure_bar", [0.53, 1.08, math.nan])
def test_an_air_pressure_that_no_place_has_is_refused(pressure_bar):
    with pytest.raises(OutOfRange, match="air pressure is"):
        pressure_altitude_m(pressure_bar)


# Densities at the surface by practical salinity 0 to 41 and 0 to 30 degrees C, computed with gsw 3.6.23 (TEOS-10).
# EOS-80 and TEOS-10 differ by up to 0.03 kg/m3 over this range: 3 in 100,000, a millimetre of depth.
@pytest.mark.parametrize(
    "row", published("water/density.csv"), ids=lambda r: f"{r['practical_salinity']}@{r['temperature_c']}"
)
def test_density_agrees_with_the_newer_equation_of_state(row):
    ours = water_density_kg_m3(float(row["practical_salinity"]), float(row["temperature_c"]))
    assert ours == pytest.approx(float(row["density_kg_m3"]), abs=0.04)


# UNESCO technical papers in marine science 44 (1983), check values of EOS-80 at one atmosphere, from memory.
@pytest.mark.parametrize(
    "salinity, temperature_c, density",
    [(0, 5, 999.96675), (0, 25, 997.04796), (35, 5, 1027.67547), (35, 25, 1023.34306)],
)
def test_density_gives_the_check_values_of_its_own_publication(salinity, temperature_c, density):
    assert water_density_kg_m3(salinity, temperature_c) == pytest.approx(density, abs=5e-6)


# Gauge pressures of ten waters to 60 m, computed with gsw 3.6.23: integral of in-situ density under local gravity.
# One density and standard gravity are allowed 0.27 % (latitude alone is worth 0.26 % at the equator).
@pytest.mark.parametrize("row", published("water/gauge_pressure.csv"), ids=lambda r: f"{r['water']} {r['depth_m']}")
def test_water_pressure_is_within_its_stated_error_of_the_full_integral(row):
    density = water_density_kg_m3(float(row["practical_salinity"]), float(row["temperature_c"]))
    gauge_bar = ambient_pressure_bar(float(row["depth_m"]), 1.0, density) - 1.0
    assert gauge_bar == pytest.approx(float(row["gauge_bar"]), rel=0.0028, abs=6e-5)
    assert gauge_bar == pytest.approx(float(row["simple_bar"]), abs=3e-4)


# Bar by the metre of nine waters and units, verified row by row as the file says; the density is printed to 0.1 kg/m3.
@pytest.mark.parametrize("row", published("handbook/water_density.csv"), ids=lambda row: row["water"])
def test_a_metre_of_water_adds_the_published_pressure(row):
    density, printed = float(row["density_kg_m3"]), float(row["pressure_per_metre_bar"])
    assert ambient_pressure_bar(1, 1.0, density) - 1.0 == pytest.approx(printed, abs=5.5e-6)
    assert depth_at_pressure_m(2.0, 1.0, density) == pytest.approx(float(row["metres_per_bar"]), abs=6e-4)


# Common practice of every diving text: one atmosphere at the surface, one more for each 10 m of sea water.
@pytest.mark.parametrize("depth_m, atmospheres", [(0, 1), (10, 2), (20, 3), (30, 4), (40, 5)])
def test_each_ten_metres_of_sea_water_adds_an_atmosphere(depth_m, atmospheres):
    found = ambient_pressure_bar(depth_m, BAR_PER_ATMOSPHERE, 1025) / BAR_PER_ATMOSPHERE
    assert found == pytest.approx(atmospheres, rel=0.01)


def test_a_volume_of_air_halves_from_the_surface_to_ten_metres():
    at_ten_m = ambient_pressure_bar(10, BAR_PER_ATMOSPHERE, 1025)
    assert BAR_PER_ATMOSPHERE / at_ten_m == pytest.approx(0.5, abs=0.005)


# US Navy formulas with D + 33 (verified): 33 feet of sea water is one atmosphere.
def test_thirty_three_feet_of_sea_water_is_an_atmosphere():
    assert ambient_pressure_bar(33 * 0.3048, BAR_PER_ATMOSPHERE, 1027.2) == pytest.approx(
        2 * BAR_PER_ATMOSPHERE, rel=2e-5
    )


# EN 13319 in a test house's summary (verified): a gauge reading 30.0 m in fresh water of 1000 kg/m3 stands at about
# 102 % of that, 30.59 m; in sea water of 1030 at about 99 %, 29.70 m.
@pytest.mark.parametrize("density, depth_m", [(1000, 30.59), (1030, 29.70)])
def test_a_gauge_reads_thirty_metres_where_the_standard_says(density, depth_m):
    assert gauge_reading_m(depth_m, BAR_PER_ATMOSPHERE, density, zeroed=True) == pytest.approx(30.0, abs=0.01)


# US Navy manual Rev 4 Change A p. 9-44 (verified): at 8000 ft a sealed gauge reads about 8 fsw shallow; exactly 8.5.
def test_a_sealed_gauge_reads_shallow_at_altitude_by_the_missing_air():
    surface_bar = standard_pressure_bar(8000 * 0.3048)
    depth_m = 75 * 0.3048
    zeroed = gauge_reading_m(depth_m, surface_bar, 1027.2, zeroed=True)
    sealed = gauge_reading_m(depth_m, surface_bar, 1027.2, zeroed=False)
    assert feet((zeroed - sealed) * 1019.716 / 1027.2) == pytest.approx(8.5, abs=0.03)


def test_a_sealed_gauge_stays_at_zero_until_the_water_has_made_up_for_the_air():
    surface_bar = standard_pressure_bar(2000)
    assert gauge_reading_m(1.0, surface_bar, 1000, zeroed=False) == 0.0
    assert gauge_reading_m(1.0, surface_bar, 1000, zeroed=True) == pytest.approx(0.981, abs=0.001)


@given(st.floats(0, 100), st.floats(0.6, 1.08), st.floats(990, 1040))
def test_depth_from_pressure_undoes_pressure_from_depth(depth_m, surface_bar, density):
    pressure_bar = ambient_pressure_bar(depth_m, surface_bar, density)
    assert depth_at_pressure_m(pressure_bar, surface_bar, density) == pytest.approx(depth_m, abs=1e-9)


def test_values_that_no_water_has_are_refused():
    for refused in (
        lambda: water_density_kg_m3(46, 10),
        lambda: water_density_kg_m3(35, -3),
        lambda: ambient_pressure_bar(-0.1, 1.0, 1025),
        lambda: ambient_pressure_bar(10, 1013.25, 1025),
        lambda: ambient_pressure_bar(10, 1.0, 1.025),
        lambda: ambient_pressure_bar(math.nan, 1.0, 1025),
    ):
        with pytest.raises(OutOfRange):
            refused()
