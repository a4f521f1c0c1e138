"""How the lead of a diver changes when water, suit or cylinder does, starting from a weighting known to be good.

Known to be good: the diver floats at eye level on a normal breath with a near-empty cylinder. What is then under water
weighs as much as the water it displaces, so everything the diver has on, weighed dry, gives the displaced volume; the
change is what keeps the two equal (Archimedes). A suit is neoprene foam of one density, thickness times the area that
it covers; under water its gas is squeezed as if the rubber had no stiffness, which is the most that it can lose.
A calculated change is a first try. The check in the water decides, and comes with every answer.  Source: PHYSICS.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from tripplan.check import Check, Outcome
from tripplan.errors import OutOfRange, require
from tripplan.physics.gas import HIGHEST_FILL_BAR, LARGEST_L, LOWEST_FILL_BAR, SMALLEST_L, cylinder_contents_l
from tripplan.physics.no_stop import DEEPEST_M
from tripplan.physics.pressure import ambient_pressure_bar, bar_per_metre
from tripplan.rulebook import RuleBook
from tripplan.units import BAR_PER_ATMOSPHERE

METAL_KG_L = {"steel": 7.85, "aluminium": 2.70}  # PHYSICS: handbook densities
AIR_KG_PER_FREE_LITRE = 1.225e-3  # ISO_2533: air at 1.01325 bar and 15 degrees C
THICKEST_MM = 30.0  # layers added up; what is refused as a slip of the pen

CHECK_WORDS = (
    "Check in the water before the dive, everything on, cylinder near-empty (with a full one the diver is heavier by "
    "the gas in it): hang upright and still, no air in the jacket, holding a normal breath: float at eye level; "
    "breathing out: sink slowly. Add or take off lead until it is so."
)


@dataclass(frozen=True)
class WeighedCylinder:
    """A cylinder as it hangs on the diver."""

    volume_l: float  # water capacity, 1 to 40
    fill_gauge_bar: float  # at the start of a dive, 1 to 350
    empty_mass_kg: float | None = None  # with its valve, without gas; None: not known
    metal: Literal["steel", "aluminium"] | None = None  # None: not known


@dataclass(frozen=True)
class Setting:
    """What a weighting is made for."""

    density_kg_m3: float  # of the water, 980 to 1250
    suit_mm: float | None  # thickness of neoprene, layers added up, 0 (none) to 30; None: not known
    cylinder: WeighedCylinder


@dataclass(frozen=True)
class LeadPart:
    """What one change does to the lead; None: it cannot be said."""

    name: str  # "water", "suit", "cylinder"
    change_kg: float | None  # more than 0: add lead
    sentence: str


@dataclass(frozen=True)
class LeadChange:
    """What to change, why, and how to check it in the water: never the number alone."""

    change_kg: float | None  # rounded to 0.1 kg; more than 0: add lead; None: it cannot be said, a check says why
    parts: tuple[LeadPart, ...]
    gas_kg: float  # what the diver loses from a full to a near-empty cylinder
    suit_loss_kg: float | None  # lift that the new suit loses on the way down, at most
    sentences: tuple[str, ...]  # what the two figures above mean
    check_words: str
    checks: tuple[Check, ...]

    def as_json(self) -> dict[str, Any]:
        """Return the change as plain values."""
        return {
            "change_kg": self.change_kg,
            "parts": [{"name": p.name, "change_kg": p.change_kg, "sentence": p.sentence} for p in self.parts],
            "gas_kg": self.gas_kg,
            "suit_loss_kg": self.suit_loss_kg,
            "sentences": list(self.sentences),
            "check_words": self.check_words,
            "checks": [check.as_json() for check in self.checks],
        }


def suit_area_m2(height_m: float, body_kg: float, rules: RuleBook) -> float:
    """Return the skin that a full suit covers, square metres.

    height_m -- 0.8 to 2.3;  body_kg -- 15 to 250.  Raises OutOfRange.
    Source: R. D. Mosteller (1987), skin = root of height in cm times mass in kg over 3600, from memory.
    """
    require("height of the diver", height_m, 0.8, 2.3, "m")
    require("mass of the diver", body_kg, 15, 250, "kg")
    return math.sqrt(height_m * 100 * body_kg / 3600) * rules.value("lead.suit_share")


def suit_lift_kg(
    suit_mm: float, area_m2: float, density_kg_m3: float, rules: RuleBook, pressure_ratio: float = 1.0
) -> float:
    """Return the lift of a neoprene suit in water, kilograms.

    pressure_ratio -- ambient over surface pressure, from 1; the foam's gas shrinks with it, the rubber does not
    """
    require("suit", suit_mm, 0, THICKEST_MM, "mm")
    require("area of the suit", area_m2, 0.2, 4, "m2")
    require("pressure ratio", pressure_ratio, 1, 100, "")
    bar_per_metre(density_kg_m3)
    foam_kg_l = rules.value("lead.neoprene_kg_l")
    volume_l = suit_mm * area_m2
    solid = min(foam_kg_l / rules.value("lead.rubber_kg_l"), 1.0)
    squeezed_l = volume_l * (solid + (1 - solid) / pressure_ratio)
    return squeezed_l * density_kg_m3 / 1000 - volume_l * foam_kg_l


def gas_mass_kg(cylinder: WeighedCylinder, gauge_bar: float, rules: RuleBook) -> float:
    """Return the mass of the air in a cylinder at a gauge pressure, kilograms; enriched air is up to 2.5 % heavier."""
    require("gauge pressure", gauge_bar, 0, HIGHEST_FILL_BAR, "bar")
    if gauge_bar < LOWEST_FILL_BAR:
        return cylinder.volume_l * AIR_KG_PER_FREE_LITRE
    held = cylinder_contents_l(cylinder.volume_l, gauge_bar, rules.value("gas.temperature_c"))
    return held.real_l * AIR_KG_PER_FREE_LITRE


def lead_change_kg(
    known: Setting,
    wanted: Setting,
    rules: RuleBook,
    *,
    all_on_kg: float,
    lead_kg: float,
    suit_area_m2: float,
    same_cylinder: bool,
    depth_m: float = 0.0,
    surface_pressure_bar: float = BAR_PER_ATMOSPHERE,
) -> LeadChange:
    """Return how much lead to add or take off when a known good weighting moves to another water, suit or cylinder.

    all_on_kg            -- the diver with everything on, lead too, weighed dry with a near-empty cylinder, 20 to 400
    lead_kg              -- of the known weighting, 0 to 40, part of all_on_kg
    suit_area_m2         -- that the suit covers, 0.2 to 4 (see suit_area_m2())
    same_cylinder        -- whether it is the same one, or one of the same make, filled to whatever
    depth_m              -- of the dive, 0 to 100, for what the suit loses;  surface_pressure_bar -- bar absolute

    A thickness or a cylinder's metal that is not known where it changes leaves no number, and a STOP says so. Lead
    displaces water itself, so somewhat more of it is moved than the lift is. Raises OutOfRange.
    """
    require("mass with everything on", all_on_kg, 20, 400, "kg")
    require("lead", lead_kg, 0, 40, "kg")
    require("area of the suit", suit_area_m2, 0.2, 4, "m2")
    require("depth", depth_m, 0, DEEPEST_M, "m")
    for setting in (known, wanted):
        _require_setting(setting)
    share = 1 - wanted.density_kg_m3 / 1000 / rules.value("lead.metal_kg_l")  # of its weight that lead has in water
    parts = (
        _water(known, wanted, all_on_kg, share),
        _suit(known, wanted, suit_area_m2, share, rules),
        _cylinder(known, wanted, share, same_cylinder, rules),
    )
    changes = [part.change_kg for part in parts if part.change_kg is not None]
    change_kg = round(sum(changes), 1) + 0.0 if len(changes) == len(parts) else None
    near_empty_bar = min(rules.value("gas.surface_with_bar"), wanted.cylinder.fill_gauge_bar)
    gas_kg = gas_mass_kg(wanted.cylinder, wanted.cylinder.fill_gauge_bar, rules) - gas_mass_kg(
        wanted.cylinder, near_empty_bar, rules
    )
    loss_kg = _suit_loss_kg(wanted, suit_area_m2, depth_m, surface_pressure_bar, rules)
    sentences = [
        f"From {wanted.cylinder.fill_gauge_bar:g} to {near_empty_bar:g} bar the diver becomes {gas_kg:.1f} kg lighter: "
        "rightly weighted for the end, the dive begins that much too heavy."
    ]
    if loss_kg is not None:
        sentences.append(
            f"At {depth_m:g} m the suit has lost at most {loss_kg:.1f} kg of lift, which the jacket carries and lets "
            "go on the way up."
        )
    checks = _checks(change_kg, parts, lead_kg, loss_kg)
    return LeadChange(change_kg, parts, gas_kg, loss_kg, tuple(sentences), CHECK_WORDS, checks)


def _require_setting(setting: Setting) -> None:
    bar_per_metre(setting.density_kg_m3)
    cylinder = setting.cylinder
    require("cylinder", cylinder.volume_l, SMALLEST_L, LARGEST_L, "l", "a twin set as its sum")
    require("fill", cylinder.fill_gauge_bar, LOWEST_FILL_BAR, HIGHEST_FILL_BAR, "bar")
    if cylinder.empty_mass_kg is not None:
        require("empty cylinder", cylinder.empty_mass_kg, 0.5, 60, "kg")
    if setting.suit_mm is not None:
        require("suit", setting.suit_mm, 0, THICKEST_MM, "mm")


def _water(known: Setting, wanted: Setting, all_on_kg: float, share: float) -> LeadPart:
    volume_l = all_on_kg / known.density_kg_m3 * 1000
    lift_kg = volume_l * (wanted.density_kg_m3 - known.density_kg_m3) / 1000
    if lift_kg == 0:
        return LeadPart("water", 0.0, "The water is the same.")
    words = (
        f"The diver displaces {volume_l:.0f} l; water of {wanted.density_kg_m3:.0f} kg/m3 instead of "
        f"{known.density_kg_m3:.0f} carries {abs(lift_kg):.1f} kg {'more' if lift_kg > 0 else 'less'}: "
        f"{_lead_words(lift_kg / share)}."
    )
    return LeadPart("water", lift_kg / share, words)


def _suit(known: Setting, wanted: Setting, area_m2: float, share: float, rules: RuleBook) -> LeadPart:
    if known.suit_mm is None or wanted.suit_mm is None:
        which = "known weighting" if known.suit_mm is None else "dive to come"
        words = f"How thick the suit of the {which} is, is not known, so no change can be given."
        return LeadPart("suit", None, words)
    lift_kg = suit_lift_kg(wanted.suit_mm, area_m2, wanted.density_kg_m3, rules) - suit_lift_kg(
        known.suit_mm, area_m2, wanted.density_kg_m3, rules
    )
    if wanted.suit_mm == known.suit_mm:
        return LeadPart("suit", 0.0, "The suit is as thick as before.")
    words = (
        f"Neoprene of {wanted.suit_mm:g} instead of {known.suit_mm:g} mm over {area_m2:.2f} m2, taken at "
        f"{rules.value('lead.neoprene_kg_l'):g} kg/l, lifts {abs(lift_kg):.1f} kg {'more' if lift_kg > 0 else 'less'}: "
        f"{_lead_words(lift_kg / share)}."
    )
    return LeadPart("suit", lift_kg / share, words)


def _cylinder(known: Setting, wanted: Setting, share: float, same: bool, rules: RuleBook) -> LeadPart:
    old, new = known.cylinder, wanted.cylinder
    if same:
        if (old.volume_l, old.empty_mass_kg, old.metal) != (new.volume_l, new.empty_mass_kg, new.metal):
            raise OutOfRange(
                "the cylinder is given as the same, but its size, mass or metal differ; give it as another"
            )
        return LeadPart("cylinder", 0.0, "The cylinder is the same.")
    lifts = [_near_empty_lift_kg(cylinder, wanted.density_kg_m3, rules) for cylinder in (old, new)]
    if lifts[0] is None or lifts[1] is None:
        words = (
            "Metal and empty mass of both cylinders are needed to say what another cylinder changes, also where two of "
            "one size look the same."
        )
        return LeadPart("cylinder", None, words)
    lift_kg = lifts[1] - lifts[0]
    words = (
        f"Near-empty, the {new.volume_l:g} l {new.metal} cylinder {_lift_words(lifts[1])}, the {old.volume_l:g} l "
        f"{old.metal} one {_lift_words(lifts[0])}: {_lead_words(lift_kg / share)}."
    )
    return LeadPart("cylinder", lift_kg / share, words)


def _near_empty_lift_kg(cylinder: WeighedCylinder, density_kg_m3: float, rules: RuleBook) -> float | None:
    """Return the lift of a cylinder with what is left in it at the end of a dive; less than 0: it sinks."""
    if cylinder.empty_mass_kg is None or cylinder.metal is None:
        return None
    outside_l = cylinder.volume_l + cylinder.empty_mass_kg / METAL_KG_L[cylinder.metal]
    gas_kg = gas_mass_kg(cylinder, rules.value("gas.surface_with_bar"), rules)
    return outside_l * density_kg_m3 / 1000 - cylinder.empty_mass_kg - gas_kg


def _suit_loss_kg(
    wanted: Setting, area_m2: float, depth_m: float, surface_pressure_bar: float, rules: RuleBook
) -> float | None:
    pressure_bar = ambient_pressure_bar(depth_m, surface_pressure_bar, wanted.density_kg_m3)
    if wanted.suit_mm is None:
        return None
    there = (area_m2, wanted.density_kg_m3, rules)
    return suit_lift_kg(wanted.suit_mm, *there) - suit_lift_kg(
        wanted.suit_mm, *there, pressure_bar / surface_pressure_bar
    )


def _lead_words(change_kg: float) -> str:
    if abs(change_kg) < 0.05:
        return "no change of lead"
    return f"{abs(change_kg):.1f} kg of lead {'more' if change_kg > 0 else 'less'}"


def _lift_words(lift_kg: float) -> str:
    return f"{'lifts' if lift_kg > 0 else 'pulls down'} {abs(lift_kg):.1f} kg"


def _checks(
    change_kg: float | None, parts: tuple[LeadPart, ...], lead_kg: float, loss_kg: float | None
) -> tuple[Check, ...]:
    checks: list[Check] = []
    if change_kg is None:
        why = " ".join(part.sentence for part in parts if part.change_kg is None)
        words = f"No change of lead can be given. {why} Find the lead anew by the check in the water."
        checks.append(Check("lead-unknown", Outcome.STOP, words, "PHYSICS"))
    else:
        checks.append(
            Check(
                rule="lead-first-try",
                outcome=Outcome.CAUTION,
                sentence=f"First try: {_lead_words(change_kg)}. {CHECK_WORDS}",
                source="COMMON_PRACTICE",
                found=change_kg,
                unit="kg",
            )
        )
        if lead_kg + change_kg < 0:
            words = (
                f"There are {lead_kg:.1f} kg of lead to take off, and {-change_kg:.1f} would have to go: even without "
                "lead the diver is too heavy. Change suit or cylinder."
            )
            checks.append(Check("lead-none-left", Outcome.STOP, words, "PHYSICS", lead_kg, -change_kg, "kg"))
    if loss_kg is None:
        words = "How thick the suit is, is not known, so the lift that it loses under water is not either."
        checks.append(Check("lead-suit-loss-unknown", Outcome.CAUTION, words, "PHYSICS"))
    return tuple(checks)
