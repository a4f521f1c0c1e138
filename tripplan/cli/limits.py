"""The commands ``limits`` and ``gas``: one dive without a day around it."""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING

from tripplan.cli.common import FINE, STOPPED, Refused, add_json, number, show, up
from tripplan.errors import OutOfRange

if TYPE_CHECKING:
    from tripplan.physics.no_stop import Exposure
    from tripplan.rulebook import RuleBook


def limits_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_limits)
    sub.add_argument("--depth", type=number, required=True, metavar="M", help="deepest point, metres")
    sub.add_argument("--altitude", type=number, default=0.0, metavar="M", help="of the water's surface, metres (0)")
    sub.add_argument("--hours-since-arrival", type=number, metavar="H", help="at that altitude; unknown: just arrived")
    sub.add_argument("--water", choices=("sea", "fresh"), default="sea", help="(sea)")
    sub.add_argument("--oxygen", type=number, default=21.0, metavar="PERCENT", help="oxygen in the gas (21)")
    sub.add_argument("--pressure", type=number, metavar="BAR", help="measured air pressure at the surface, bar")
    sub.add_argument(
        "--previous",
        action="append",
        default=[],
        metavar="DEPTH:MINUTES:INTERVAL_MIN",
        help="an earlier dive and the minutes at the surface after it; repeat, oldest first",
    )
    sub.add_argument("--rules", type=Path, metavar="FILE", help="a centre's rules that override the baseline")
    add_json(sub)


def gas_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_gas)
    sub.epilog = (
        "Litres are free litres at 1.01325 bar and 15 degrees C. A first stage gives gas at some 10 bar above the "
        "pressure around it, so the last bars of a cylinder cannot be breathed. "
        "Exit 1: the gas is not enough, or too rich for the depth."
    )
    sub.add_argument("--depth", type=number, required=True, metavar="M", help="deepest point, metres")
    sub.add_argument(
        "--minutes", type=number, required=True, metavar="N", help="from leaving the surface to leaving the bottom"
    )
    sub.add_argument(
        "--cylinder", type=number, required=True, metavar="L", help="water capacity, litres; a twin set as its sum"
    )
    sub.add_argument("--fill", type=number, required=True, metavar="BAR", help="reading of the cylinder's gauge")
    sub.add_argument("--rate", type=number, metavar="L_PER_MIN", help="the diver's own, at the surface (rule book)")
    sub.add_argument("--water", choices=("sea", "fresh"), default="sea", help="(sea)")
    sub.add_argument("--altitude", type=number, default=0.0, metavar="M", help="of the water's surface, metres (0)")
    sub.add_argument("--oxygen", type=number, default=21.0, metavar="PERCENT", help="oxygen in the gas (21)")
    sub.add_argument("--temperature", type=number, metavar="C", help="of the cylinder when the gauge was read")
    sub.add_argument("--water-temperature", type=number, metavar="C", help="of the water")
    sub.add_argument(
        "--swim", type=number, default=0.0, metavar="MIN", help="at the surface on this gas, minutes each way (0)"
    )
    sub.add_argument("--rules", type=Path, metavar="FILE", help="a centre's rules that override the baseline")
    add_json(sub)


def _previous(text: str) -> Exposure:
    from tripplan.physics.no_stop import Exposure

    parts = text.split(":")
    if len(parts) != 3:
        raise Refused(f'--previous is "{text}"; it is written DEPTH:MINUTES:INTERVAL_MIN, like 18:35:90')
    try:
        depth, minutes, interval = (number(part) for part in parts)
    except argparse.ArgumentTypeError as error:
        raise Refused(f'--previous is "{text}": {error}') from None
    return Exposure(depth_m=depth, bottom_time_min=minutes, interval_after_min=interval)


def _rule_book(path: Path | None) -> RuleBook:
    from tripplan.rulebook import baseline

    return baseline().with_overrides(path) if path else baseline()


def _limits(options: argparse.Namespace) -> int:
    from tripplan.check import Outcome, worst
    from tripplan.physics.no_stop import Surroundings, no_stop_limits

    rules = _rule_book(options.rules)
    surroundings = Surroundings(
        altitude_m=options.altitude,
        density_kg_m3=rules.value(f"water.{options.water}_density_kg_m3"),
        water=options.water,
        measured_pressure_bar=options.pressure,
    )
    hours = options.hours_since_arrival
    if hours is not None and hours < 0:
        raise OutOfRange(f"hours since arrival is {hours:g}; it must be at least 0 h")
    found = no_stop_limits(
        options.depth,
        surroundings,
        [_previous(text) for text in options.previous],
        rules,
        hours_since_arrival_h=hours,
        oxygen_percent=options.oxygen,
    )
    outcome = worst(found.checks)
    if options.json:
        show(
            {
                "no_stop_min": found.no_stop_min,
                "model_no_stop_min": found.model_no_stop_min,
                "handbook_no_stop_min": found.handbook_no_stop_min,
                "handbook_group": found.handbook_group,
                "handbook_row_fsw": found.handbook_row_fsw,
                "residual_nitrogen_min": found.residual_nitrogen_min,
                "gradient_factors": list(found.gradient_factors),
                "equivalent_depth_m": up(found.equivalent_depth_m, 3),
                "surface_pressure_bar": round(found.surface_pressure_bar, 5),
                "ambient_pressure_bar": round(found.ambient_pressure_bar, 5),
                "max_operating_depth_m": found.max_operating_depth_m,
                "gauge_zeroed_m": round(found.gauge_zeroed_m, 2),
                "gauge_sealed_m": round(found.gauge_sealed_m, 2),
                "contest": found.contest.as_json(),
                "checks": [check.as_json() for check in found.checks],
            }
        )
    else:
        binding = found.contest.binding
        longest = "no limit" if found.no_stop_min is None else f"{found.no_stop_min} min"
        print(f"Longest bottom time at {options.depth:g} m: {longest}" + (f" ({binding.name})" if binding else ""))
        for candidate in found.contest.candidates:
            print(f"  {candidate.sentence}")
        print(f"Group at the start: {found.handbook_group or 'none'}")
        print(
            f"Surface pressure {found.surface_pressure_bar:.3f} bar, at depth {found.ambient_pressure_bar:.3f} bar; "
            f"counts like {up(found.equivalent_depth_m, 1)} m at sea level"
        )
        print(f"Gas: to {found.max_operating_depth_m:g} m")
        for check in found.checks:
            print(f"{check.outcome.value.upper():8} {check.sentence}")
    return STOPPED if outcome is Outcome.STOP else FINE


def _gas(options: argparse.Namespace) -> int:
    from tripplan.check import Outcome, worst
    from tripplan.physics.gas import Cylinder, gas_plan
    from tripplan.physics.no_stop import Surroundings

    rules = _rule_book(options.rules)
    surroundings = Surroundings(
        altitude_m=options.altitude,
        density_kg_m3=rules.value(f"water.{options.water}_density_kg_m3"),
        water=options.water,
    )
    cylinder = Cylinder(
        volume_l=options.cylinder,
        fill_gauge_bar=options.fill,
        oxygen_percent=options.oxygen,
        filled_at_c=options.temperature,
        water_c=options.water_temperature,
    )
    found = gas_plan(
        options.depth,
        options.minutes,
        cylinder,
        surroundings,
        rules,
        rate_l_min=options.rate,
        swim_min=options.swim,
    )
    contents_l, needed_l = -up(-found.contents_l, 1), up(found.needed_l, 1)
    if options.json:
        show(
            {
                "contents_l": contents_l,
                "needed_l": needed_l,
                "minimum_gas_bar": found.minimum_gas_bar,
                "turn_bar": found.turn_bar,
                "reserve_l": up(found.reserve_l, 1),
                "longest_min": found.longest_min,
                "contents_real_l": round(found.contents.real_l, 1),
                "contents_ideal_l": round(found.contents.ideal_l, 1),
                "compressibility": round(found.contents.factor, 4),
                "fill_in_water_bar": -up(-found.fill_in_water_bar, 1),
                "parts": [vars(part) for part in found.parts],
                "shared_parts": [vars(part) for part in found.shared_parts],
                "contest": found.contest.as_json(),
                "checks": [check.as_json() for check in found.checks],
            }
        )
    else:
        print(f"In the cylinder {math.floor(contents_l):,} l, needed {math.ceil(needed_l):,} l with the reserve")
        minimum = "above 350 bar: use a larger cylinder" if found.minimum_gas_bar is None else found.minimum_gas_bar
        turn = "none" if found.turn_bar is None else f"{found.turn_bar} bar"
        print(
            f"Turn at {turn}; leave the bottom at {minimum} bar" if found.minimum_gas_bar else f"Minimum gas {minimum}"
        )
        for part in found.parts:
            print(f"  {part.name:12} {part.minutes:5.1f} min at {part.pressure_bar:.2f} bar  {part.litres:7.0f} l")
        for candidate in found.contest.candidates:
            print(f"  {candidate.sentence}")
        for check in found.checks:
            print(f"{check.outcome.value.upper():8} {check.sentence}")
    return STOPPED if worst(found.checks) is Outcome.STOP else FINE


COMMANDS = {"limits": limits_words, "gas": gas_words}
