"""Whether the gas of each diver in a group is enough, whose binds, when they turn and when they leave the bottom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tripplan.check import Candidate, Check, Outcome
from tripplan.people.person import Person
from tripplan.physics.gas import Cylinder, GasPlan, gas_plan
from tripplan.physics.no_stop import Surroundings
from tripplan.planning.plan import DiveGas
from tripplan.planning.request import DiveWish, GroupWish
from tripplan.rulebook import RuleBook


def cylinder_of(group: GroupWish, wish: DiveWish, water_c: float | None) -> Cylinder | None:
    """Return the cylinder of each diver, full before each dive; None where size or fill is not written down.

    The fill is what the gauge shows once the cylinder is as cold as the water.
    """
    if group.cylinder_l is None or group.fill_bar is None:
        return None
    return Cylinder(group.cylinder_l, group.fill_bar, group.richest_percent(wish), filled_at_c=water_c, water_c=water_c)


@dataclass(frozen=True)
class GroupGas:
    """The gas of everybody on one dive."""

    cylinder: Cylinder
    depth_m: float
    plans: tuple[tuple[Person, GasPlan], ...]

    @property
    def tightest(self) -> tuple[Person, GasPlan]:
        """The diver whose gas ends the dive first."""
        return min(self.plans, key=lambda pair: pair[1].longest_min)

    @property
    def longest_min(self) -> int:
        """The bottom time for which everybody's gas is enough, minutes."""
        return self.tightest[1].longest_min

    @property
    def candidate(self) -> Candidate:
        """What the gas has to say in the contest for the longest bottom time."""
        person, plan = self.tightest
        binding = plan.contest.binding
        why = f": {binding.sentence}" if binding else ""
        cylinder = f"{self.cylinder.volume_l:g} l at {self.cylinder.fill_gauge_bar:g} bar"
        sentence = f"gas of {person.name}, {cylinder}, lasts {plan.longest_min} min at {self.depth_m:g} m{why}"
        return Candidate("gas", float(plan.longest_min), sentence.rstrip("."), binding.source if binding else "PHYSICS")


def group_gas(
    people: Sequence[Person],
    cylinder: Cylinder,
    depth_m: float,
    minutes: int,
    swim_min: float,
    surroundings: Surroundings,
    rules: RuleBook,
) -> GroupGas:
    """Reckon everybody's gas for a dive; each one's partner is taken as the hungriest of the others.

    A person whose usual rate is not known breathes the rule book's.  Raises OutOfRange.
    """
    usual = rules.value("gas.rate_l_min")
    stressed = rules.value("gas.stressed_rate_l_min")
    rates = {person.name: person.gas_rate_l_min or usual for person in people}
    reckoned: dict[tuple[float, float], GasPlan] = {}
    plans = []
    for person in people:
        others = [rate for name, rate in rates.items() if name != person.name]
        partner = max([stressed, *(rate * stressed / usual for rate in others)])
        key = (rates[person.name], partner)
        if key not in reckoned:
            reckoned[key] = gas_plan(
                depth_m,
                minutes,
                cylinder,
                surroundings,
                rules,
                rate_l_min=key[0],
                partner_rate_l_min=min(partner, 100.0),
                swim_min=swim_min,
            )
        plans.append((person, reckoned[key]))
    return GroupGas(cylinder, depth_m, tuple(plans))


def dive_gas(gas: GroupGas, rules: RuleBook) -> DiveGas:
    """Return what the plan prints: the strictest pressures of the group, and whose gas binds."""
    person, plan = gas.tightest
    leave = [one.minimum_gas_bar for _, one in gas.plans]
    turn = [one.turn_bar for _, one in gas.plans]
    return DiveGas(
        cylinder_l=gas.cylinder.volume_l,
        fill_bar=gas.cylinder.fill_gauge_bar,
        binds=person.name,
        contents_l=plan.contents_l,
        needed_l=max(one.needed_l for _, one in gas.plans),
        minimum_gas_bar=None if None in leave else max(bar for bar in leave if bar is not None),
        turn_bar=None if None in turn else max(bar for bar in turn if bar is not None),
        longest_min=gas.longest_min,
        surface_with_bar=rules.value("gas.surface_with_bar"),
    )


def check_gas(subject: str, gas: GroupGas | None) -> list[Check]:
    """Judge the gas of a dive; a cylinder that is not written down is said."""
    if gas is None:
        sentence = (
            f"{subject}: size and fill of the cylinders are not in the request, so gas was not reckoned: "
            "no turn pressure, no minimum gas."
        )
        return [Check("gas-reckoned", Outcome.CAUTION, sentence, "COMMON_PRACTICE", subject=subject)]
    found: dict[Check, list[str]] = {}
    for person, plan in gas.plans:
        for check in plan.checks:
            found.setdefault(check, []).append(person.name)
    return [
        Check(
            check.rule,
            check.outcome,
            f"{subject}: {check.sentence}" + ("" if len(names) == len(gas.plans) else f" ({', '.join(names)})"),
            check.source,
            check.found,
            check.limit,
            check.unit,
            subject,
        )
        for check, names in found.items()
    ]
