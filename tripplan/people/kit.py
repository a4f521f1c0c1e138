"""What a centre's store holds to dive with, and whether each piece is in service on a day. One TOML file a centre."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from tripplan.check import Outcome
from tripplan.record import Misfit, OneLine, Record, TomlFile, judge, read_toml
from tripplan.rulebook import RuleBook

Metal = Literal["steel", "aluminium"]
SafetyThing = Literal[
    "oxygen_kit", "first_aid_kit", "flag", "float", "line", "radio", "light", "spare_light", "other",
]  # fmt: skip
ANY_SIZE = "any"  # written as a size: it fits everybody

Identity = Annotated[OneLine, Field(min_length=1, max_length=40, description="the centre's own mark on it, once")]
Size = Annotated[OneLine, Field(min_length=1, max_length=20)]
Count = Annotated[int, Field(ge=0, le=500, description="how many there are")]
Reason = Annotated[OneLine, Field(max_length=120, description="why it is out of service; left out: it is not")]


class CylinderItem(Record):
    """One cylinder. A date that is left out is not known, and the cylinder is not handed out."""

    identity: Identity
    volume_l: float = Field(ge=1, le=40, description="water capacity, litres")
    metal: Metal = Field(description="steel or aluminium: with the other one the lead is another")
    working_bar: float = Field(ge=50, le=350, description="working pressure stamped on it, bar at 15 C")
    last_visual: date | None = Field(default=None, description="day of the last inspection inside and outside")
    last_test: date | None = Field(default=None, description="day of the last hydrostatic test")
    oxygen_clean: bool = Field(default=False, description="true where it is cleaned for more oxygen than in air")
    oxygen_percent: float | None = Field(
        default=None, ge=20.9, le=40, description="oxygen that its label names, per cent; left out: no label of a mix"
    )
    mix: OneLine = Field(default="", max_length=60, description="a note on its mix, in words")
    out_of_service: Reason = ""

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """A note in words keeps nobody on air from it: the oxygen of a mix is a number."""
        if parts.get("mix") and "oxygen_percent" in parts and parts["oxygen_percent"] is None:
            yield ("mix",), "is given without oxygen_percent: give the oxygen that its label names, 21 for air"


class RegulatorItem(Record):
    """One regulator with its second stages and gauge. What is left out is not known, and the plan says so."""

    identity: Identity
    serviced: date | None = Field(default=None, description="day of the last service; leave out if unknown")
    has_second_stage_spare: bool | None = Field(default=None, description="whether it has a second stage to give away")
    has_pressure_gauge: bool | None = Field(default=None, description="whether it has a pressure gauge")
    out_of_service: Reason = ""


class SuitItem(Record):
    """One suit: neoprene of a thickness, or dry."""

    identity: Identity
    size: Size = Field(description='size as in the roster, like "M"; "any" where it fits everybody')
    mm: float | None = Field(default=None, ge=0.5, le=30, description="neoprene, layers added up, millimetres")
    dry: bool = Field(default=False, description="true for a dry suit")
    out_of_service: Reason = ""

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """A suit has a thickness or is dry."""
        if not {"mm", "dry"} <= parts.keys():
            return
        if parts["dry"] and parts["mm"] is not None:
            yield ("mm",), f"is {parts['mm']:g}, but dry is true; give one of the two"
        elif not parts["dry"] and parts["mm"] is None:
            yield (), "has no thickness; give mm, or dry = true"


class SizedItem(Record):
    """So many alike of one size."""

    size: Size = Field(description='size as in the roster, like "42" or "42-43"; "any" where it fits everybody')
    count: Count
    out_of_service: Reason = ""


class UnsizedItem(SizedItem):
    """So many alike, most often of one size for everybody."""

    size: Size = Field(default=ANY_SIZE, description='size as in the roster; left out: "any", it fits everybody')


class WeightItem(Record):
    """So many weights alike."""

    kg: float = Field(ge=0.1, le=20, description="one weight, kilograms")
    count: Count
    out_of_service: Reason = ""


class SafetyItem(Record):
    """So many alike of what is taken for everybody's safety."""

    thing: SafetyThing = Field(description="what it is")
    count: Count
    notes: OneLine = Field(default="", max_length=80, description="which one, in words")
    out_of_service: Reason = ""


class Kit(Record):
    """Everything in a centre's store that a day of diving is packed from; what is left out is not there."""

    cylinders: tuple[CylinderItem, ...] = ()
    regulators: tuple[RegulatorItem, ...] = ()
    suits: tuple[SuitItem, ...] = ()
    buoyancy_devices: tuple[SizedItem, ...] = ()
    masks: tuple[UnsizedItem, ...] = ()
    fins: tuple[SizedItem, ...] = ()
    boots: tuple[SizedItem, ...] = ()
    snorkels: tuple[UnsizedItem, ...] = ()
    weights: tuple[WeightItem, ...] = ()
    safety: tuple[SafetyItem, ...] = ()

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """An identity stands once in the whole file: it is what somebody reads off the item on a beach."""
        seen: dict[str, str] = {}
        for table in ("cylinders", "regulators", "suits"):
            for number, each in enumerate(parts.get(table, ())):
                here = f"{table}[{number + 1}]"
                before = seen.setdefault(_alike(each.identity), here)
                if before != here:
                    yield (table, number, "identity"), f'is "{each.identity}", as {before} is; identities must differ'


def read_kit(path: Path) -> Kit:
    """Read and judge a centre's kit file.  Raises BadRecord with every fault found."""
    return kit_from(read_toml(path))


def kit_from(file: TomlFile) -> Kit:
    """Judge a kit file already read.  Raises BadRecord with every fault found."""
    return judge(file, Kit)


def _alike(text: str) -> str:
    """Return a text as sizes and identities are compared: capitals, spaces and accents as typed tell no two apart."""
    return "".join(unicodedata.normalize("NFC", text).split()).casefold()


# ---- sizes ----


def size_fits(wanted: str, has: str) -> bool:
    """Return whether an item of a size fits somebody of a size; a span like "42-43" fits everything from 42 to 43.

    >>> size_fits("42", "42-43"), size_fits("44", "42-43"), size_fits("m", "M/L"), size_fits("L", "any")
    (True, False, True, True)
    """
    want, have = _alike(wanted), _alike(has)
    if have == ANY_SIZE or want == have:
        return True
    ends = re.split(r"[-/–]", have)
    if len(ends) != 2:
        return False
    wanted_no, low, high = _number(want), _number(ends[0]), _number(ends[1])
    if wanted_no is None or low is None or high is None:
        return want in ends
    return low <= wanted_no <= high


def _number(text: str) -> float | None:
    return float(text.replace(",", ".")) if re.fullmatch(r"[0-9]{1,4}([.,][0-9]{1,2})?", text) else None


# ---- service ----


@dataclass(frozen=True)
class Service:
    """Whether a piece may be used on a day: OK, CAUTION where something about it is not known, STOP."""

    outcome: Outcome
    reasons: tuple[str, ...] = ()  # why it is not OK, in words that follow the identity; empty: it is
    source: str = "KIT_FILE"  # of the first reason: a key of sources.py or of the rule book
    until: date | None = None  # last day in service by what is on record; None: not known

    @property
    def usable(self) -> bool:
        """Whether it may be handed out at all."""
        return self.outcome is not Outcome.STOP


def due_on(done: date, years: int) -> date:
    """Return the first day on which something done on a day is overdue: the same day so many years later.

    A 29 February counts from 28 February in common years, the earlier of the two days that it could mean.

    >>> due_on(date(2024, 2, 29), 1), due_on(date(2024, 2, 29), 4), due_on(date(2025, 3, 1), 1)
    (datetime.date(2025, 2, 28), datetime.date(2028, 2, 29), datetime.date(2026, 3, 1))
    """
    try:
        return done.replace(year=done.year + years)
    except ValueError:
        return done.replace(year=done.year + years, day=28)


def out_of_service(reason: str) -> Service:
    """Judge a piece that nothing is known of but whether it is out of service."""
    return Service(Outcome.STOP, (f"is out of service: {reason}",)) if reason else Service(Outcome.OK)


def cylinder_service(item: CylinderItem, on: date, rules: RuleBook) -> Service:
    """Judge a cylinder on a day: hydrostatic test and inspection each within its years, both on record.

    Source: rules kit.test_years and kit.visual_years. A date after the day says nothing about the day.
    """
    found = [
        _dated(what, done, on, rules, key)
        for what, done, key in (
            ("test", item.last_test, "kit.test_years"),
            ("inspection", item.last_visual, "kit.visual_years"),
        )
    ]
    reasons = [*out_of_service(item.out_of_service).reasons, *(reason for reason, _, _ in found if reason)]
    ends = [until for _, until, _ in found if until is not None]
    keys = [key for reason, _, key in found if reason]
    return Service(
        Outcome.STOP if reasons else Outcome.OK,
        tuple(reasons),
        "KIT_FILE" if item.out_of_service or not keys else keys[0],
        min(ends) if len(ends) == len(found) else None,
    )


def regulator_service(item: RegulatorItem, on: date, rules: RuleBook) -> Service:
    """Judge a regulator on a day: its service within its years, a gauge, and a second stage to give away.

    Source: rule kit.regulator_years; ES_550 for gauge and second stages. What is not known is a caution.
    """
    reason, until, key = _dated("service", item.serviced, on, rules, "kit.regulator_years")
    stops = [(words, "KIT_FILE") for words in out_of_service(item.out_of_service).reasons]
    unknown: list[tuple[str, str]] = []
    if reason:
        (unknown if until is None else stops).append((reason, key))
    for has, what in ((item.has_second_stage_spare, "spare second stage"), (item.has_pressure_gauge, "pressure gauge")):
        if has is False:
            stops.append((f"has no {what}", "ES_550"))
        elif has is None:
            unknown.append((f"is not known to have a {what}", "ES_550"))
    said = [*stops, *unknown]
    return Service(
        Outcome.STOP if stops else Outcome.CAUTION if unknown else Outcome.OK,
        tuple(words for words, _ in said),
        said[0][1] if said else "KIT_FILE",
        until,
    )


def _dated(what: str, done: date | None, on: date, rules: RuleBook, key: str) -> tuple[str, date | None, str]:
    """Return why a date does not hold on a day (empty: it does), the last day on which it does, and the rule."""
    if done is None:
        return f"has no {what} on record", None, key
    if done > on:
        return f"has its {what} dated {day_words(done)}, after the day of diving", None, key
    last = due_on(done, int(rules.value(key))) - timedelta(days=1)
    overdue = f"is overdue: its {what} of {day_words(done)} held until {day_words(last)}"
    return overdue if on > last else "", last, key


def day_words(day: date) -> str:
    """Return a day in words, like "3 May 2027"."""
    return f"{day.day} {day:%B %Y}"
