"""How each person's lead changes from a weighting that was found right to today's water, suit and cylinder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from tripplan.check import Check, Outcome
from tripplan.errors import OutOfRange
from tripplan.people.person import Person
from tripplan.physics.lead import Setting, WeighedCylinder, lead_change_kg, suit_area_m2
from tripplan.physics.no_stop import Surroundings
from tripplan.planning.plan import DivePlan, LeadLine
from tripplan.planning.request import GroupWish
from tripplan.rulebook import RuleBook

IN_THE_WATER = "Find the lead anew: float at eye level on a held breath with a near-empty cylinder, sink breathing out."


def lead_lines(
    groups: Sequence[GroupWish],
    dives: Sequence[DivePlan],
    people: Mapping[str, Person],
    surroundings: Surroundings,
    rules: RuleBook,
) -> tuple[tuple[LeadLine, ...], list[Check]]:
    """Return a line for everybody whose right weighting is on record, and the checks that go with it.

    A suit or cylinder that today's request does not name cannot be reckoned, and the line says so.
    """
    lines: list[LeadLine] = []
    checks: dict[Check, None] = {}
    told: set[str] = set()
    for group in groups:
        depth_m = max((dive.depth_m or 0.0 for dive in dives if dive.group == group.name), default=0.0)
        for name in group.everybody:
            known = people[name].weighting
            if known is None or name in told:
                continue
            told.add(name)
            if group.cylinder_l is None or group.fill_bar is None:
                words = "today's cylinder is not in the request, so no change can be given"
                lines.append(LeadLine(name, known.lead_kg, None, (words,), IN_THE_WATER))
                sentence = f"{name}'s lead: {words}. {IN_THE_WATER}"
                checks[Check("lead-unknown", Outcome.CAUTION, sentence, "REQUEST", subject=name)] = None
                continue
            before = WeighedCylinder(known.cylinder_l, known.fill_bar)
            same = group.cylinder_l == known.cylinder_l
            today = WeighedCylinder(group.cylinder_l, group.fill_bar)
            try:
                change = lead_change_kg(
                    Setting(known.density_kg_m3, known.suit_mm, before),
                    Setting(surroundings.density_kg_m3, group.suit_mm, today),
                    rules,
                    all_on_kg=known.all_on_kg,
                    lead_kg=known.lead_kg,
                    suit_area_m2=suit_area_m2(known.height_m, known.body_kg, rules),
                    same_cylinder=same,
                    depth_m=depth_m,
                    surface_pressure_bar=surroundings.surface_pressure_bar,
                )
            except OutOfRange as error:
                lines.append(LeadLine(name, known.lead_kg, None, (f"cannot be reckoned: {error}",), IN_THE_WATER))
                continue
            lines.append(
                LeadLine(
                    name=name,
                    lead_kg=known.lead_kg,
                    change_kg=change.change_kg,
                    sentences=(*(part.sentence for part in change.parts), *change.sentences),
                    check_words=change.check_words,
                )
            )
            for check in change.checks:
                # A first try that the water confirms is no reason to stay ashore; without one it is a reason for care.
                outcome = Outcome.CAUTION if change.change_kg is None else Outcome.OK
                checks[Check(check.rule, outcome, f"{name}'s lead: {check.sentence}", check.source, check.found,
                             check.limit, check.unit, name)] = None  # fmt: skip
    return tuple(lines), list(checks)
