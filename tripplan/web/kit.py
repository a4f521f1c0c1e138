"""The store of kit: what is in service until when, what there is of each size, and what a day is packed from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from flask import Blueprint, abort, render_template, request

from tripplan.check import Outcome
from tripplan.people.kit import (
    ANY_SIZE,
    CylinderItem,
    Kit,
    RegulatorItem,
    Service,
    SizedItem,
    SuitItem,
    cylinder_service,
    day_words,
    regulator_service,
)
from tripplan.planning.packing import SAFETY_WORDS, KitLine, packing_list
from tripplan.planning.request import Request
from tripplan.planning.world import CannotPlan
from tripplan.store.told import told_world
from tripplan.web.here import now, shelf, teller
from tripplan.web.made import plans_made

bp = Blueprint("kit", __name__)


@dataclass(frozen=True)
class Dated:
    """A cylinder or regulator as it stands on a day."""

    item: Any  # a CylinderItem or a RegulatorItem
    service: Service


@dataclass(frozen=True)
class Sized:
    """How many there are of one size, and what of it is out of service."""

    size: str
    ready: int
    out: tuple[str, ...]  # how many with why


def _day() -> date:
    text = request.args.get("date", "")
    try:
        return date.fromisoformat(text) if text else now().date()
    except ValueError:
        abort(400, f'The day "{text}" cannot be read; write it like 2027-06-12.')


@bp.get("/kit")
def show() -> str:
    """Show what the store holds on a day: what must not be used first, then what runs out first."""
    day, world = _day(), shelf().world
    kit = world.kit
    shown: dict[str, Any] = {}
    if kit is not None:
        shown = {
            "cylinders": _ordered((item, cylinder_service(item, day, world.rules)) for item in kit.cylinders),
            "regulators": _ordered((item, regulator_service(item, day, world.rules)) for item in kit.regulators),
            "sizes": _sizes(kit),
        }
    return render_template(
        "kit.html",
        kit=kit,
        day=day,
        today=now().date(),
        requests=_near(day),
        sites=shelf().sites,
        safety_words=SAFETY_WORDS,
        day_words=day_words,
        **shown,
    )


def _ordered(found: Iterable[tuple[CylinderItem | RegulatorItem, Service]]) -> list[Dated]:
    """Return pieces with the worst first; of those alike the one that ran out or runs out first, unknown days last."""
    return sorted(
        (Dated(item, service) for item, service in found),
        key=lambda one: (-one.service.outcome.severity, one.service.until or date.max),
    )


def _sizes(kit: Kit) -> list[tuple[str, list[Sized]]]:
    """Return everything that comes in sizes, counted by size in the order of the file."""
    wet = [suit for suit in kit.suits if not suit.dry]
    found: list[tuple[str, list[Sized]]] = []
    for mm in sorted({suit.mm for suit in wet if suit.mm is not None}, reverse=True):
        found.append((f"Suits, {mm:g} mm", _suits([suit for suit in wet if suit.mm == mm])))
    found.append(("Dry suits", _suits([suit for suit in kit.suits if suit.dry])))
    for what, items in (
        ("Buoyancy devices", kit.buoyancy_devices),
        ("Masks", kit.masks),
        ("Fins, pairs", kit.fins),
        ("Boots, pairs", kit.boots),
        ("Snorkels", kit.snorkels),
    ):
        found.append((what, _alike(items)))
    return [(what, lines) for what, lines in found if lines]


def _suits(suits: Sequence[SuitItem]) -> list[Sized]:
    return [
        Sized(
            size,
            sum(suit.size == size and not suit.out_of_service for suit in suits),
            tuple(
                f"{suit.identity} is out of service: {suit.out_of_service}"
                for suit in suits
                if suit.size == size and suit.out_of_service
            ),
        )
        for size in dict.fromkeys(suit.size for suit in suits)
    ]


def _alike(items: Sequence[SizedItem]) -> list[Sized]:
    return [
        Sized(
            "one size" if size == ANY_SIZE else size,
            sum(item.count for item in items if item.size == size and not item.out_of_service),
            tuple(
                f"{item.count} out of service: {item.out_of_service}"
                for item in items
                if item.size == size and item.out_of_service
            ),
        )
        for size in dict.fromkeys(item.size for item in items)
    ]


def _near(day: date) -> list[tuple[str, Request]]:
    """Return the ready requests from a day on, the next first."""
    found = [(name, asked) for name, asked in shelf().requests.items() if asked.date >= day]
    return sorted(found, key=lambda each: (each[1].date, each[0]))


@bp.get("/kit/packing")
def packing() -> str:
    """Show what is packed for a ready request: each person's kit, totals, what is short and what stays behind."""
    name = request.args.get("request", "")
    folder = shelf()
    if not name:
        return render_template("packing.html", packing=None, requests=_near(now().date()), sites=folder.sites)
    asked = folder.requests.get(name) or abort(400, f'No ready request is called "{name}".')
    if asked.site not in folder.sites:
        abort(400, f'The site "{asked.site}" of this request is not in the catalogue, so it has no plan.')
    world = told_world(folder, (asked.site,), now(), teller())
    try:
        plan = plans_made().made(asked, world, edges=False).plan
    except CannotPlan as error:
        abort(400, f"The plan of the day cannot be made: {error}")
    packed = plan.packing or packing_list(asked, plan, world.people, world.kit, world.rules)
    people: dict[tuple[str, str], list[KitLine]] = {}
    for line in packed.people:
        people.setdefault((line.group, line.person), []).append(line)
    return render_template(
        "packing.html",
        packing=packed,
        asked=asked,
        name=name,
        plan=plan,
        people=people,
        judged=sorted(packed.checks, key=lambda check: -check.outcome.severity),
        ok=Outcome.OK,
        known=world.kit is not None,
        today=now().date(),
        sites=folder.sites,
        rules=world.rules,
    )
