"""The rule book: every adjustable number with its unit, source and provenance, and how a centre overrides one.

The baseline ships in the package. A centre's own file replaces single values by key, each with a reason, and with who
set it and when; what was replaced stays visible in every plan, and so does that nobody wrote down who set it.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from pydantic import Field

from tripplan.errors import BadRecord, Fault
from tripplan.record import OneLine, Record, TomlFile, judge, read_toml
from tripplan.sources import SOURCES


@dataclass(frozen=True)
class Rule:
    """One adjustable number: what it is, and who says so."""

    key: str  # "light.exit_before_sunset_min"
    value: float
    unit: str
    title: str
    source: str  # a key of sources.py
    provenance: str  # "verified", "common practice", "from memory"
    note: str = ""
    reason: str = ""  # why the centre replaced it; empty for the baseline
    baseline_value: float | None = None  # what it was before; None when not replaced
    set_by: str = ""  # who of the centre replaced it; empty: not written down, or not replaced
    set_on: str = ""  # the day, ISO 8601; empty: not written down, or not replaced

    @property
    def overridden(self) -> bool:
        """Whether a centre replaced the baseline's value."""
        return self.baseline_value is not None


@dataclass(frozen=True)
class RuleBook:
    """All rules by key."""

    rules: Mapping[str, Rule] = field(default_factory=dict)

    def __getitem__(self, key: str) -> Rule:
        """Return a rule; raises KeyError for a key that is not in the book (a fault of the program)."""
        return self.rules[key]

    def value(self, key: str) -> float:
        """Return the number of a rule, in the unit that ends its key."""
        return self.rules[key].value

    @property
    def overridden(self) -> tuple[Rule, ...]:
        """The rules that the centre replaced, in order of key."""
        return tuple(rule for _, rule in sorted(self.rules.items()) if rule.overridden)

    def with_overrides(self, path: Path) -> RuleBook:
        """Return the book with the values of a centre's file, each with its reason, who set it and when.

        Raises BadRecord for a key not in the book, a value that its unit cannot have, or a missing reason.
        """
        file = read_toml(path)
        faults: list[Fault] = []
        rules = dict(self.rules)
        for area, entries in file.data.items():
            if not isinstance(entries, dict) or not all(isinstance(entry, dict) for entry in entries.values()):
                faults.append(
                    file.fault((area,), f"{area} must be a table of rules, like [light.exit_before_sunset_min]")
                )
                continue
            for name, entry in entries.items():
                key = f"{area}.{name}"
                if key not in rules:
                    near = difflib.get_close_matches(key, rules, n=1)
                    hint = f'did you mean "{near[0]}"?' if near else "`tripplan rules` lists the keys"
                    faults.append(file.fault((area, name), f"{key} is not a rule; {hint}"))
                    continue
                try:
                    override = judge(file, _Override, entry, (area, name))
                except BadRecord as error:
                    faults.extend(error.faults)
                    continue
                if wanted := _refused(rules[key], override.value):
                    faults.append(file.fault((area, name, "value"), f"{key} is {override.value:.12g}; {wanted}"))
                    continue
                rules[key] = replace(
                    rules[key],
                    value=override.value,
                    reason=override.reason,
                    source="CENTRE",
                    baseline_value=rules[key].value,
                    set_by=override.by,
                    set_on=override.on.isoformat() if override.on else "",
                )
        low, high = (rules[f"model.gradient_factor_{end}"] for end in ("low", "high"))
        if low.value > high.value:
            meant = high if high.overridden else low
            area, name = meant.key.split(".")
            faults.append(
                file.fault((area, name, "value"), f"{low.key} {low.value:g} is above {high.key} {high.value:g}")
            )
        if faults:
            raise BadRecord(tuple(faults))
        return RuleBook(MappingProxyType(rules))


# What a number in a unit can be at all; a value beyond is a slip of the pen, or in another unit.
_BOUNDS = {
    "fraction": (0.0, 1.0),
    "percent": (0.0, 100.0),
    "bar": (0.0, 1.6),  # of oxygen: 1.6 is the most that any code read allows
    "kg/m3": (980.0, 1250.0),
    "m/min": (1.0, 60.0),
    "km/h": (1.0, 200.0),
    "level": (0.0, 5.0),
    "Beaufort": (0.0, 12.0),
    "deg": (0.0, 90.0),
    "times": (1.0, 5.0),
    "s": (1.0, 30.0),
    "mm": (0.0, 400.0),
    "years": (0.0, 120.0),
    "psi": (0.0, 5000.0),
    "letters": (8.0, 64.0),
    "tries": (1.0, 1000.0),
}
_OTHERS = (0.0, 1e6)
# never in parts
_WHOLE = {"divers", "people", "dives", "ascents", "level", "Beaufort", "years", "days", "min", "letters", "tries"}
_MOST = {"wind.drift_percent": 20.0}  # no surface runs faster before the wind
_FROM_ONE = {
    "plan.entry_step_min",  # a clock that does not move on proposes nothing
    "oxygen.non_rebreather_l_min",  # oxygen that does not flow would last for ever
    "oxygen.demand_l_min",
    "oxygen.bag_mask_l_min",
    "accounts.failures_min",  # no time at all would let anybody guess without an end
}


def _refused(rule: Rule, value: float) -> str:
    """Return what a rule accepts where a value is not it; empty where the value can be."""
    low, high = _BOUNDS.get(rule.unit, _OTHERS)
    if rule.key in _FROM_ONE:
        low = 1.0
    high = _MOST.get(rule.key, high)
    if value < low:
        return f"it must be at least {low:g}"
    if value > high:
        return f"it must be at most {high:,.7g}"
    if rule.unit in _WHOLE and value != round(value):
        return "it must be a whole number"
    return ""


class _Override(Record):
    value: float = Field(ge=0, allow_inf_nan=False, description="the centre's own number, in the rule's unit")
    reason: str = Field(min_length=3, description="why the centre uses another value")
    by: OneLine = Field(default="", max_length=60, description="who set it, by name; left out: plans say so")
    on: date | None = Field(
        default=None, description="the day on which it was set, like 2026-03-02; left out: plans say so"
    )


class _Entry(Record):
    title: str = Field(min_length=3)
    value: float = Field(ge=0, allow_inf_nan=False)
    unit: str
    source: str
    provenance: Literal["verified", "common practice", "from memory"]
    note: str = ""


@cache
def baseline() -> RuleBook:
    """Return the rule book that ships with the program.  Raises BadRecord when the shipped file is damaged."""
    file: TomlFile = read_toml(Path(__file__).with_name("baseline.toml"))
    rules = {}
    for area, entries in file.data.items():
        for name, data in entries.items():
            entry = judge(file, _Entry, data, (area, name))
            if entry.source not in SOURCES:
                raise BadRecord((file.fault((area, name, "source"), f"{entry.source} is not in sources.py"),))
            key = f"{area}.{name}"
            rules[key] = Rule(key=key, **entry.model_dump())
    return RuleBook(MappingProxyType(rules))
