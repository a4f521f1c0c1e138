"""What the guide on methods says: each figure is worked out again, each rule and source compared with the data."""

from __future__ import annotations

import itertools
import math
import re
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import cache

import CoolProp.CoolProp as CP
import numpy as np
import pytest

from tests.environment import test_tide as tides
from tripplan.data_files import data_dir
from tripplan.environment import daylight, tide, waves, wind
from tripplan.physics import exposure, gas, handbook
from tripplan.physics.no_stop import NoStop, Surroundings, no_stop_limits
from tripplan.physics.oxygen import max_operating_depth_m
from tripplan.rulebook import baseline
from tripplan.sources import SOURCES
from tripplan.tables import read_table
from tripplan.units import BAR_PER_ATMOSPHERE
from tripplan.units import METRES_PER_SECOND_PER_KNOT as KNOT

GUIDES = data_dir("templates") / "guides"
RULES = baseline()
SEA = Surroundings(altitude_m=0, density_kg_m3=1027.2, water="sea")
LAKE = Surroundings(altitude_m=1640, density_kg_m3=1000.0, water="fresh")
OTHERS = {"the centre's own", "the leader's own", "as issued"}  # of a day, and no source of a method


@cache
def text() -> str:
    """Return the guide as one line, without marks."""
    return " ".join((GUIDES / "methods.md").read_text(encoding="utf-8").replace("*", "").split())


def up(value: float, digits: int = 0) -> str:
    return f"{math.ceil(round(value * 10**digits, 6)) / 10**digits:.{digits}f}"


def down(value: float, digits: int = 0) -> str:
    return f"{math.floor(round(value * 10**digits, 6)) / 10**digits:,.{digits}f}"


# ---- rules and sources ----


@pytest.mark.parametrize("path", sorted(GUIDES.glob("*.md")), ids=lambda path: path.stem)
def test_every_rule_that_a_guide_names_with_its_value_is_that_of_the_baseline(path):
    words = " ".join(path.read_text(encoding="utf-8").split())
    named = re.findall(r"`([a-z_]+\.[a-z0-9_]+)` \(([0-9.,]+) ([^)]*)\)", words)
    for key, value, unit in named:
        rule = RULES[key]
        assert (float(value.replace(",", "")), unit) == (rule.value, rule.unit), key
    if path.stem == "methods":
        assert len(named) > 40


def test_every_source_is_listed_with_its_title_and_how_well_it_is_known():
    wanted = [
        f"| `{each.key}` | {each.title} | {each.provenance}{': ' + each.note if each.note else ''} |"
        for each in SOURCES.values()
        if each.provenance not in OTHERS
    ]
    lines = (GUIDES / "methods.md").read_text(encoding="utf-8").splitlines()
    found = [line for line in lines if line.startswith("| `")]
    assert found == wanted, "put these lines in their place:\n" + "\n".join(wanted)


def test_every_source_that_the_text_names_is_in_the_list():
    named = set(re.findall(r"`([A-Z][A-Z0-9_]{3,})`", text()))
    assert named <= set(SOURCES)
    assert len(named) > 30


def test_what_is_said_to_be_from_memory_is_so_in_the_data():
    """The sentences of the guide that say so, against the rule or the source that they speak of."""
    for key in ("wind.drift_percent", "after_dive.stops_h", "exposure.density_caution_g_l", "oxygen.demand_l_min"):
        assert RULES[key].provenance == "from memory"
    for key in ("ZH_L16C", "GAS_DENSITY", "RAYLEIGH_WAVES", "NOAA_OXYGEN"):
        assert SOURCES[key].provenance == "from memory"
    for key in ("model.gradient_factor_low", "model.gradient_factor_high", "work.dives_in_seven_most"):
        assert RULES[key].provenance == "common practice"


# ---- figures ----


def largest_tide_difference() -> tuple[int, int, float]:
    """Return how many published heights of how many stations are compared, and the largest difference, metres."""
    worst, count = 0.0, 0
    for number, name in tides.HEIGHT_FILES:
        published = tides.rows(name)
        ours = tides.station(number).heights_m(tides.utc_times([row["time"] for row in published]))
        worst = max(worst, float(np.abs(ours - [float(row["height_m"]) for row in published]).max()))
        count += len(published)
    return count, len({number for number, _ in tides.HEIGHT_FILES}), worst


def half_cosine_m(number: str) -> float:
    """Return how far half a cosine between the turning points is from the whole curve in four weeks, metres."""
    whole, first = tides.station(number), datetime(2026, 6, 1, tzinfo=UTC)
    last = first + timedelta(days=28)
    points = whole.turning_points(first - timedelta(days=2), last + timedelta(days=2))
    minutes = tide.minutes_utc(first, last)
    return float(np.nanmax(np.abs(tide.PrintedTide(points, 14).heights_m(minutes) - whole.heights_m(minutes))))


def sea_m(fetch_m: float) -> float:
    return float(waves.wind_sea(20 * KNOT, fetch_m).height_m)


def ask(depth_m: float, place: Surroundings = SEA, hours: float = math.inf) -> NoStop:
    return no_stop_limits(depth_m, place, [], RULES, hours_since_arrival_h=hours)


def shallowest_above_m(rule: str) -> int:
    return next(depth for depth in range(1, 100) if exposure.gas_density_g_l(depth, SEA) > RULES.value(rule))


def litres(fill_bar: float) -> gas.Contents:
    return gas.cylinder_contents_l(15, fill_bar, 20)


def largest_factor_errors() -> tuple[str, str]:
    """Return how much the real-gas factor is above and below CoolProp's reference equation at most, per cent."""
    off = []
    temperatures = (gas.COLDEST_C, 0, 20, 45, gas.HOTTEST_C)
    for percent in (20.9, 32, 40):
        state = CP.AbstractState("HEOS", "Nitrogen&Oxygen")
        state.set_mole_fractions([1 - percent / 100, percent / 100])
        for pressure_bar, temperature_c in itertools.product((1, 50, 150, 250, 351), temperatures):
            state.update(CP.PT_INPUTS, pressure_bar * 1e5, temperature_c + 273.15)
            off.append(gas.compressibility(pressure_bar, temperature_c, percent) / state.compressibility_factor() - 1)
    return up(max(off) * 100, 1), up(-min(off) * 100, 1)


def of_the_rules() -> str:
    count = Counter(rule.provenance for rule in RULES.rules.values())
    return (
        f"Of the {len(RULES.rules)} rules, {count['verified']} are verified, {count['common practice']} are common "
        f"practice and {count['from memory']} are from memory."
    )


def of_oxygen() -> str:
    cells = [row[name] for row in read_table("noaa_oxygen_exposure_limits") for name in row if "provenance" in name]
    return f"Of the {len(cells)} values {cells.count('verified')} were verified in secondary copies"


def table_rows() -> str:
    rows = []
    for depth_m in (12, 15, 18, 20, 24, 30):
        found = ask(depth_m)
        times = (found.handbook_no_stop_min, found.model_no_stop_min, found.no_stop_min)
        rows.append(f"| {depth_m} m | {times[0]} min | {times[1]} min | {times[2]} min |")
    return " ".join(rows)


def at_the_lake() -> str:
    just, settled = ask(18, LAKE, 2), ask(18, LAKE)
    return (
        f"in a lake at 1,640 m, two hours after arriving, 18 m leave {just.handbook_no_stop_min} min by the tables and "
        f"{just.model_no_stop_min} min by the model; for somebody who lives there {settled.handbook_no_stop_min} min "
        f"and {settled.model_no_stop_min} min."
    )


def of_the_tide() -> str:
    count, stations, worst = largest_tide_difference()
    return (
        f"Against {count:,} heights that the authority published for {stations} stations, semidiurnal, mixed and "
        f"diurnal, the largest difference is {up(worst * 1000, 1)} mm"
    )


def deepest(percent: float) -> str:
    limit_bar = RULES.value("oxygen.partial_pressure_bar")
    return down(max_operating_depth_m(percent, limit_bar, BAR_PER_ATMOSPHERE, SEA.density_kg_m3), 1)


FIGURES: dict[str, Callable[[], str]] = {
    "rules": of_the_rules,
    "tide": of_the_tide,
    "tide, years": lambda: f"Years {tide.FIRST_YEAR} to {tide.LAST_YEAR}. High and low waters",
    "printed table": lambda: (
        f"wrong by up to {up(half_cosine_m('8443970'), 2)} m, at Eastport with its 7 m of range by up to "
        f"{up(half_cosine_m('8410140'), 2)} m"
    ),
    "daylight, years": lambda: f"Years {daylight.FIRST_YEAR} to {daylight.LAST_YEAR}. Where the sun",
    "wind sea": lambda: (
        f"A steady 20 kn raises {up(sea_m(1000), 2)} m over 1 km, {up(sea_m(5000), 2)} m over 5 km and "
        f"{up(sea_m(20_000), 2)} m over 20 km."
    ),
    "breakers": lambda: (
        f"1 m with 8 s breaks at {up(float(waves.breaker_height_m(1, 8)), 1)} m, with 14 s at "
        f"{up(float(waves.breaker_height_m(1, 14)), 1)} m."
    ),
    "largest wave": lambda: f"with 8 s some {up(float(waves.largest_of(1, 8, 10)), 1)} times the height",
    "drift": lambda: (
        f"in 20 kn {up(20 * KNOT * RULES.value('wind.drift_percent') / 100 * wind.TEN_MINUTES_S)} m in ten minutes"
    ),
    "no-stop times": table_rows,
    "tables, depth": lambda: f"to {handbook.deepest_fsw()} feet",
    "tables, interval": lambda: f"An interval of less than {handbook.shortest_interval_min()} min joins two dives",
    "model": lambda: f"has {len(read_table('zh_l16c_nitrogen'))} compartments of nitrogen",
    "lake": at_the_lake,
    "oxygen, depth": lambda: f"{deepest(32)} m for 32 %, {deepest(36)} m for 36 %",
    "oxygen, table": of_oxygen,
    "density": lambda: (
        f"In the sea air passes the first at {shallowest_above_m('exposure.density_caution_g_l')} m and the second at "
        f"{shallowest_above_m('exposure.density_stop_g_l')} m."
    ),
    "gas, range": lambda: (
        f"for cylinders of {gas.COLDEST_C:g} to {gas.HOTTEST_C:g} °C and to {gas.HIGHEST_FILL_BAR:g} bar"
    ),
    "gas, errors": lambda: "at most {} % high and {} % low".format(*largest_factor_errors()),
    "gas, litres": lambda: (
        f"15 L at 20 °C holds {down(litres(200).real_l)} L at 200 bar and {down(litres(300).real_l)} L at 300 bar, "
        f"where the ideal figure is {down(litres(300).ideal_l)} L."
    ),
}


@pytest.mark.parametrize("name", FIGURES)
def test_the_figure_is_what_is_worked_out(name):
    assert FIGURES[name]() in text()
