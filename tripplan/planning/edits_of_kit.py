"""Edits of what the store holds: more cylinders, more kit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

from pydantic import Field

from tripplan.people.kit import CylinderItem, Kit, RegulatorItem, SuitItem
from tripplan.people.skills import as_compared
from tripplan.planning.edit_base import Applied, BaseEdit, EditRefused, are
from tripplan.planning.packing import PLURAL, SAFETY_WORDS, SINGULAR
from tripplan.planning.schedule_request import ScheduleRequest
from tripplan.planning.world import World
from tripplan.record import Misfit, OneLine

KitThing = Literal[
    "mask", "snorkel", "fins", "boots", "suit", "regulator", "buoyancy_device", "light", "spare_light", "flag", "float",
    "oxygen_kit", "first_aid_kit",
]  # fmt: skip
_COUNTED = {  # the table of the kit file for what is counted alike
    "mask": "masks", "snorkel": "snorkels", "fins": "fins", "boots": "boots", "buoyancy_device": "buoyancy_devices",
}  # fmt: skip


def _found_kit(world: World) -> Kit:
    if world.kit is None:
        raise EditRefused("The centre has no kit file, so that kit is not judged and nothing can be added to it.")
    return world.kit


def _with_kit(world: World, key: str, more: Sequence[Mapping[str, Any]]) -> World:
    """Return the world with items added to one table of its kit, judged again."""
    values = _found_kit(world).model_dump()
    return replace(world, kit=Kit.model_validate({**values, key: (*values[key], *more)}))


class AddCylindersEdit(BaseEdit):
    """So many more steel cylinders for air, inspected and tested on the first of these days."""

    do: Literal["add_cylinders"] = "add_cylinders"
    volume_l: float = Field(ge=1, le=40, description="water capacity, litres")
    count: int = Field(ge=1, le=200, description="how many")
    working_bar: float | None = Field(
        default=None,
        ge=50,
        le=350,
        description="working pressure, bar at 15 C; left out: the lowest of the store's own of this size, else of all",
    )

    def words(self, world: World | None) -> str:
        """Return what comes into the store."""
        what = "cylinder" if self.count == 1 else "cylinders"
        bar = f" and {self.working_bar:g} bar" if self.working_bar is not None else ""
        return f"{self.count} more steel {what} of {self.volume_l:g} l{bar} {are(range(self.count))} in the store."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add them under identities that no other item has."""
        kit = _found_kit(world)
        same = [each.working_bar for each in kit.cylinders if each.volume_l == self.volume_l]
        bar = self.working_bar or min(same or [each.working_bar for each in kit.cylinders], default=None)
        if bar is None:
            raise EditRefused("The store has no cylinder whose working pressure could be taken; give working_bar too.")
        more = [
            {
                "identity": identity,
                "volume_l": self.volume_l,
                "metal": "steel",
                "working_bar": bar,
                "last_visual": request.first_day,
                "last_test": request.first_day,
            }
            for identity in _new_identities(kit, f"More {self.volume_l:g} l", self.count)
        ]
        return request, _with_kit(world, "cylinders", more)


class AddKitEdit(BaseEdit):
    """So many more alike of one thing, in service on these days."""

    do: Literal["add_kit"] = "add_kit"
    thing: KitThing = Field(description="what it is")
    size: OneLine = Field(
        default="any", min_length=1, max_length=20, description='size as in the roster; left out: "any"'
    )
    count: int = Field(ge=1, le=200, description="how many")
    mm: float | None = Field(default=None, ge=0.5, le=30, description="a suit's neoprene, millimetres")
    dry: bool = Field(default=False, description="true for a dry suit")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a suit of no thickness, and a thickness or size of what has none."""
        thing, mm, dry = parts.get("thing"), parts.get("mm"), parts.get("dry")
        if thing is None:
            return
        if thing == "suit":
            if "mm" in parts and "dry" in parts and (mm is None) != bool(dry):
                yield ("mm",), "is missing; give mm, or dry = true" if mm is None else "is given, but dry is true"
            return
        if mm is not None:
            yield ("mm",), f"is {mm:g}; only a suit has a thickness"
        if dry:
            yield ("dry",), "is true; only a suit is dry"
        if thing not in _COUNTED and parts.get("size", "any") != "any":
            yield ("size",), f'is "{parts["size"]}"; this thing has no size, leave it out'

    def words(self, world: World | None) -> str:
        """Return what comes into the store."""
        known = {**{key: f"{words}s" for key, words in SAFETY_WORDS.items()}, **PLURAL}
        what = known[self.thing]
        if self.count == 1:
            pair = what.startswith("pairs of ")
            what = (
                what.replace("pairs", "pair", 1)
                if pair
                else SINGULAR.get(self.thing, SAFETY_WORDS.get(self.thing, self.thing))
            )
        kind = "dry " if self.dry else f"{self.mm:g} mm " if self.mm is not None else ""
        size = "" if self.size == "any" else f" of size {self.size}"
        return f"{self.count} more {kind}{what}{size} {are(range(self.count))} in the store."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add them; pieces with an identity get one that no other item has."""
        kit = _found_kit(world)
        if self.thing in _COUNTED:
            return request, _with_kit(world, _COUNTED[self.thing], [{"size": self.size, "count": self.count}])
        if self.thing == "suit":
            named = _new_identities(kit, "More suits", self.count)
            suits = [{"identity": one, "size": self.size, "mm": self.mm, "dry": self.dry} for one in named]
            return request, _with_kit(world, "suits", suits)
        if self.thing == "regulator":
            regulators = [
                {
                    "identity": one,
                    "serviced": request.first_day,
                    "has_second_stage_spare": True,
                    "has_pressure_gauge": True,
                }
                for one in _new_identities(kit, "More regulators", self.count)
            ]
            return request, _with_kit(world, "regulators", regulators)
        return request, _with_kit(world, "safety", [{"thing": self.thing, "count": self.count}])


def _new_identities(kit: Kit, start: str, count: int) -> list[str]:
    """Return identities that no item of the store has: the start and a number."""
    items: tuple[CylinderItem | RegulatorItem | SuitItem, ...] = (*kit.cylinders, *kit.regulators, *kit.suits)
    taken = {_run_together(each.identity) for each in items}
    found: list[str] = []
    number = 0
    while len(found) < count:
        number += 1
        identity = f"{start}, {number}"
        if _run_together(identity) not in taken:
            found.append(identity)
    return found


def _run_together(identity: str) -> str:
    """Return an identity as the kit file compares them: spaces tell no two apart."""
    return "".join(as_compared(identity).split())
