"""What a centre keeps ready for the worst moment: oxygen, rescue kits, drills, whom to tell. One TOML file a centre."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from tripplan.record import Misfit, OneLine, PhoneNumber, Record, TomlFile, judge, read_toml

Device = Literal["demand", "non_rebreather", "bag_mask"]
Scenario = Literal[
    "missing_diver", "unconscious_at_surface", "bubble_illness", "rapid_ascent", "out_of_gas", "injury", "fire",
    "weather", "abort",
]  # fmt: skip


class OxygenUnit(Record):
    """One oxygen cylinder with what gives its gas to a casualty."""

    name: OneLine = Field(min_length=1, max_length=60, description="what the unit is called")
    volume_l: float | None = Field(default=None, gt=0, le=60, description="water capacity, litres")
    pressure_bar: float | None = Field(default=None, ge=0, le=350, description="reading of its gauge, bar")
    litres_per_psi: float | None = Field(
        default=None, gt=0, le=5, description="the cylinder's own factor, free litres for each psi of its gauge"
    )
    pressure_psi: float | None = Field(default=None, ge=0, le=5000, description="reading of its gauge, psi")
    device: Device = Field(description="what gives the oxygen: demand valve, non-rebreather mask, bag and mask")
    casualties: int = Field(default=1, ge=1, le=4, description="casualties that it can give oxygen to at once")
    site: str | None = Field(default=None, min_length=1, description="the site where it is kept; left out: it travels")
    kept: str = Field(min_length=3, description="where it stands on the day, in words")
    read: date | None = Field(default=None, description="day on which the gauge was read; never: left out")
    read_by: str | None = Field(default=None, description="who read it")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """The contents come from litres and bar or from a factor and psi, and a reading has a day and a name."""
        metric, factor = parts.get("volume_l") is not None, parts.get("litres_per_psi") is not None
        if metric and factor:
            yield ("litres_per_psi",), "is given together with volume_l; give one of the two"
        elif not metric and not factor and {"volume_l", "litres_per_psi"} <= parts.keys():
            yield (), "has no size; give volume_l, or litres_per_psi of a cylinder that is read in psi"
        if metric and not factor and parts.get("pressure_psi") is not None:
            yield ("pressure_psi",), "is given, but a cylinder with volume_l is read in bar: give pressure_bar"
        if factor and not metric and parts.get("pressure_bar") is not None:
            yield ("pressure_bar",), "is given, but a cylinder with litres_per_psi is read in psi: give pressure_psi"
        if {"read", "read_by"} <= parts.keys() and (parts["read"] is None) != (not parts["read_by"]):
            given, wanted = ("read_by", "read") if parts["read"] is None else ("read", "read_by")
            yield (given,), f"is given without {wanted}: when the gauge was read, and by whom, go together"


class RescueKit(Record):
    """A box for first aid and rescue: where it stands and what is in it."""

    name: OneLine = Field(min_length=1, max_length=60, description="what the kit is called")
    content: tuple[OneLine, ...] = Field(min_length=1, description="what is in it, a line for each thing")
    site: str | None = Field(default=None, min_length=1, description="the site where it is kept; left out: it travels")
    kept: str = Field(min_length=3, description="where it stands on the day, in words")
    checked: date | None = Field(default=None, description="day on which its content was counted; never: left out")
    checked_by: str | None = Field(default=None, description="who counted it")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """A count has a day and a name."""
        if {"checked", "checked_by"} <= parts.keys() and (parts["checked"] is None) != (not parts["checked_by"]):
            given, wanted = ("checked_by", "checked") if parts["checked"] is None else ("checked", "checked_by")
            yield (given,), f"is given without {wanted}: when a kit was counted, and by whom, go together"


class Drill(Record):
    """One drill that was held."""

    held: date = Field(description="the day, like 2026-10-04")
    scenario: Scenario = Field(description="what was practised")
    led_by: OneLine = Field(min_length=1, description="who led it")
    who: tuple[OneLine, ...] = Field(min_length=1, description="everybody who took part, names as in the roster")
    site: str | None = Field(default=None, min_length=1, description="where; left out: not at a site")
    notes: str = Field(default="", description="what went well and what did not")


class TellAfter(Record):
    """Somebody who must be told of an incident."""

    name: OneLine = Field(min_length=1, description="who")
    number: PhoneNumber | None = Field(default=None, description="the number as dialled")
    when: str = Field(min_length=3, description='how soon, like "the same day"')
    what: str = Field(default="", description="which incidents, in words")


class Readiness(Record):
    """Everything that a centre keeps ready; what is left out is not there, and plans say so."""

    oxygen_units: tuple[OxygenUnit, ...] = ()
    rescue_kits: tuple[RescueKit, ...] = ()
    drills: tuple[Drill, ...] = ()
    tell_after: tuple[TellAfter, ...] = ()

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Names of units and kits stand once."""
        for table in ("oxygen_units", "rescue_kits"):
            seen: set[str] = set()
            for number, each in enumerate(parts.get(table, ())):
                if each.name.casefold() in seen:
                    yield (table, number, "name"), f'is "{each.name}", which stands in the list already'
                seen.add(each.name.casefold())

    def oxygen_at(self, site: str) -> tuple[OxygenUnit, ...]:
        """Return the units that are at a site on a day of diving there: those kept there, and those that travel."""
        return tuple(unit for unit in self.oxygen_units if unit.site in (None, site))

    def kits_at(self, site: str) -> tuple[RescueKit, ...]:
        """Return the rescue kits at a site on a day of diving there."""
        return tuple(kit for kit in self.rescue_kits if kit.site in (None, site))


def read_readiness(path: Path) -> Readiness:
    """Read and judge a centre's emergency file.  Raises BadRecord with every fault found."""
    return readiness_from(read_toml(path))


def readiness_from(file: TomlFile) -> Readiness:
    """Judge an emergency file already read.  Raises BadRecord with every fault found."""
    return judge(file, Readiness)
