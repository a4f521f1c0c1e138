"""What a shore-dive site is: one TOML file a site, every field judged, nothing assumed.

A field that a plan cannot do without is required. A field that may be unknown is optional, and the plan says what it
does not know; nothing is filled in silently.
"""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag

from tripplan.environment.constituents import canonical, definition
from tripplan.environment.position import Position, distance_km
from tripplan.environment.stream import FASTEST_KN, TABLE_REACH_H, row_fault, table_fault
from tripplan.environment.where import CountryCode, Place_, Timezone
from tripplan.errors import BadRecord, Fault
from tripplan.people.level import Level
from tripplan.record import ClockTime, Misfit, OneLine, PhoneNumber, Record, TomlFile, judge, read_toml

LOWEST_SURFACE_M = -430.0  # the Dead Sea; nothing lower holds water to dive in
HIGHEST_SURFACE_M = 3048.0  # 10,000 ft: the handbook's altitude tables end there
TIDAL_SURFACE_M = 20.0  # the sea stands within this of sea level anywhere; a satellite height may be 50 m off

# Further than this from the site, a position was typed wrong: a wrong sign, or a wrong digit of the degrees.
FURTHEST_ENTRY_KM = 10.0
FURTHEST_RENDEZVOUS_KM = 100.0
FURTHEST_LANDMARK_KM = 50.0
FURTHEST_HOSPITAL_KM = 500.0
FURTHEST_CHAMBER_KM = 2000.0
FASTEST_DRIVE_KM_H = 150.0  # over the straight distance no road is quicker: hours were typed for minutes
WORST_ZONE_H = 4.0  # no time zone in use is further than some 3.5 h from its sun


def _season_day(value: object) -> str:
    """Read "MM-DD"; 29 February is a day."""
    found = re.fullmatch(r"([0-9]{2})-([0-9]{2})", value) if isinstance(value, str) else None
    try:
        if found:
            return f"{date(2024, int(found[1]), int(found[2])):%m-%d}"
    except ValueError:
        pass  # 31 June
    raise ValueError('a day of the year is written "MM-DD" in quotes, like "04-01" for 1 April')


Bearing = Annotated[float, Field(ge=0, lt=360, description="degrees true, 0 to below 360")]
SeasonDay = Annotated[str, BeforeValidator(_season_day)]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Suits = Literal["confined_skills", "first_open_water", "further_training", "guided", "night"]
MonthTemperatures = Annotated[
    tuple[Annotated[float, Field(ge=-2, le=40)], ...],
    Field(min_length=12, max_length=12, description="twelve numbers, January to December, degrees Celsius"),
]


def _twice(table: str, names: Iterable[str], key: tuple[str, ...]) -> Iterator[Misfit]:
    """Yield every name of a list that stood there before, whatever its capitals."""
    first: dict[str, int] = {}
    for number, name in enumerate(names):
        if name.casefold() in first:
            yield (table, number, *key), f'is "{name}", which {table}[{first[name.casefold()] + 1}] has already'
        else:
            first[name.casefold()] = number


class Water(Record):
    """What the water is: sets its density, and how cold it usually is."""

    kind: Literal["sea", "brackish", "fresh"]
    salinity: float | None = Field(default=None, ge=0, le=45, description="practical salinity, 0 to 45")
    temperature_c: MonthTemperatures | None = Field(
        default=None, description="usual temperature by month, twelve numbers, degrees Celsius"
    )

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """The salinity must be that of the kind of water."""
        kind, salinity = parts.get("kind"), parts.get("salinity")
        if kind is not None and salinity is not None:
            low, high = {"sea": (20, 45), "brackish": (0.5, 30), "fresh": (0, 0.5)}[kind]
            if not low <= salinity <= high:
                yield ("salinity",), f"is {salinity:g}; {kind} water has {low:g} to {high:g}"


class Place(Record):
    """A place under water at the site."""

    name: OneLine = Field(min_length=1, description="what the place is called")
    shallowest_m: float = Field(ge=0, le=100, description="shallowest depth, metres, 0 to 100")
    deepest_m: float = Field(gt=0, le=100, description="deepest depth, metres, above 0 to 100")
    bottom: str = Field(min_length=1, description="what the bottom is: sand, rock, weed")
    suits: tuple[Suits, ...] = Field(min_length=1, description="what the place suits")
    swim_min: float | None = Field(
        default=None, ge=0, le=60, description="surface swim from the entry, minutes, 0 to 60; unknown: left out"
    )
    notes: str = ""

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """The shallowest depth must not be deeper than the deepest, and nothing suited stands twice."""
        shallowest_m, deepest_m = parts.get("shallowest_m"), parts.get("deepest_m")
        if shallowest_m is not None and deepest_m is not None and shallowest_m > deepest_m:
            yield ("shallowest_m",), f"is {shallowest_m:g}, deeper than deepest_m, {deepest_m:g}"
        yield from _twice("suits", parts.get("suits", ()), ())


class TideLimits(Record):
    """Heights of tide above the station's datum between which a way in or out can be used; None: no limit."""

    lowest_m: float | None = Field(default=None, ge=-15, le=20, description="metres above the station's datum")
    highest_m: float | None = Field(default=None, ge=-15, le=20, description="metres above the station's datum")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """The lowest height must be below the highest."""
        lowest_m, highest_m = parts.get("lowest_m"), parts.get("highest_m")
        if lowest_m is not None and highest_m is not None and lowest_m >= highest_m:
            yield ("lowest_m",), f"is {lowest_m:g}, not below highest_m, {highest_m:g}"


def _way_tag(value: object) -> str | None:
    if isinstance(value, dict | TideLimits):
        return "[limits]"
    return "[not_used]" if value == "not_used" else None


Way = Annotated[
    Annotated[TideLimits, Tag("[limits]")] | Annotated[Literal["not_used"], Tag("[not_used]")],
    Discriminator(
        _way_tag,
        custom_error_type="way",
        custom_error_message='"not_used", or tide limits in braces like { lowest_m = 1.2 }, or {} for no limit',
    ),
]


class Access(Record):
    """A way into or out of the water; going in and coming out are judged apart."""

    name: OneLine = Field(min_length=1, description="what the way in or out is called")
    kind: Literal["beach", "steps", "slipway", "ledge", "ladder", "pontoon", "rocks"]
    position: Place_ | None = Field(default=None, description="where it is")
    facing_deg: Bearing = Field(description="which way the shore faces, degrees true, 0 to below 360")
    slope: float | None = Field(default=None, gt=0, le=3, description="rise over run of the beach, 0.05 is gentle")
    going_in: Way = Field(description='tide limits going in in braces, {} for none, or "not_used"')
    coming_out: Way = Field(description='tide limits coming out in braces, {} for none, or "not_used"')
    casualty: bool = Field(default=False, description="whether a casualty can be brought out here")
    casualty_people: int | None = Field(default=None, ge=1, le=12, description="people it takes to lift a casualty out")
    notes: str = ""

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """A way is used in one direction at least, and people are counted only where a casualty is brought out."""
        if parts.get("casualty") is False and parts.get("casualty_people") is not None:
            yield ("casualty_people",), "is given, but casualty is not true here"
        if parts.get("going_in") == "not_used" == parts.get("coming_out") and parts.get("casualty") is False:
            yield ("coming_out",), "is not_used, and so is going_in: a way that nobody uses is left out"


class AlternativeExit(Record):
    """Where to come out when the usual exit is closed, and the swim to it."""

    access: str = Field(min_length=1, description="the name of one of the site's ways in and out")
    swim_m: float = Field(ge=0, le=2000, description="swim to it, metres, 0 to 2000")
    notes: str = ""


class TideLink(Record):
    """Which station's tide holds here, with the offsets to the site; or none, inland."""

    station: str | None = Field(default=None, description="file name of the station without .toml; leave out inland")
    none_because: str = Field(default="", description="why there is no tide here, when there is no station")
    high_time_min: float = Field(default=0, ge=-360, le=360, description="minutes after the station's high water")
    low_time_min: float = Field(default=0, ge=-360, le=360, description="minutes after the station's low water")
    high_ratio: float = Field(default=1, gt=0, le=5, description="factor on the station's high water height")
    low_ratio: float = Field(default=1, gt=0, le=5, description="factor on the station's low water height")
    high_add_m: float = Field(default=0, ge=-10, le=10, description="metres added to the high water height")
    low_add_m: float = Field(default=0, ge=-10, le=10, description="metres added to the low water height")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Either a station, with offsets if need be, or the reason why there is none."""
        if not {"station", "none_because"} <= parts.keys():
            return
        station, why = parts["station"], parts["none_because"]
        if station is None and not why:
            yield (), "has no station; give station, or none_because with the reason why there is no tide here"
        if station is not None and why:
            yield ("none_because",), "is given together with station; one of them is wrong"
        if station is None:
            for name in ("high_time_min", "low_time_min", "high_ratio", "low_ratio", "high_add_m", "low_add_m"):
                if parts.get(name, cls.model_fields[name].default) != cls.model_fields[name].default:
                    yield (name,), "is given, but there is no station to which it could apply"


class StreamTableRow(Record):
    """A row of a printed table of the stream, by hours from high water at the site's station."""

    hours_from_high_water: float = Field(
        ge=-TABLE_REACH_H, le=TABLE_REACH_H, description="hours from high water, before it below 0"
    )
    spring_kn: float = Field(ge=0, le=FASTEST_KN, description="rate at springs, knots, 0 to 20")
    neap_kn: float = Field(ge=0, le=FASTEST_KN, description="rate at neaps, knots, 0 to 20")
    toward_deg: Bearing | None = Field(default=None, description="where the stream runs to, degrees true")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Springs are not weaker than neaps."""
        neap_kn, spring_kn = parts.get("neap_kn"), parts.get("spring_kn")
        if neap_kn is not None and spring_kn is not None and neap_kn > spring_kn:
            yield ("neap_kn",), f"is {neap_kn:g}, above spring_kn, {spring_kn:g}"


_RANGES = ("spring_range_m", "neap_range_m")
_STREAM_NEEDS: dict[str, tuple[str, ...]] = {
    "none": (),
    "slack": ("high_water_slack_min", "low_water_slack_min", "spring_rate_kn", "neap_rate_kn", *_RANGES),
    "constants": ("constituents", "mean_kn"),
    "table": ("table", *_RANGES),
}
_STREAM_MAY: dict[str, tuple[str, ...]] = {
    "slack": ("flood_toward_deg", "ebb_toward_deg"),
    "constants": ("flood_toward_deg", "ebb_toward_deg"),
}


class Stream(Record):
    """The tidal stream: none worth the name, slacks by offsets from high and low water, harmonic constants, a table."""

    kind: Literal["none", "slack", "constants", "table"]
    high_water_slack_min: float | None = Field(
        default=None, ge=-360, le=360, description="minutes from high water at the site's station to slack"
    )
    low_water_slack_min: float | None = Field(
        default=None, ge=-360, le=360, description="minutes from low water at the site's station to slack"
    )
    spring_rate_kn: float | None = Field(default=None, gt=0, le=20, description="peak at springs, knots")
    neap_rate_kn: float | None = Field(default=None, gt=0, le=20, description="peak at neaps, knots")
    constituents: dict[str, Any] | None = Field(
        default=None, description="NAME = [amplitude in knots, phase lag on Greenwich in degrees]"
    )
    mean_kn: float | None = Field(
        default=None, ge=-FASTEST_KN, le=FASTEST_KN, description="steady stream, knots, flood above 0; 0 for none"
    )
    table: tuple[StreamTableRow, ...] | None = Field(
        default=None, description="rows [[stream.table]] by hours from high water at the site's station"
    )
    spring_range_m: float | None = Field(default=None, gt=0, le=20, description="range of tide at springs, metres")
    neap_range_m: float | None = Field(default=None, gt=0, le=20, description="range of tide at neaps, metres")
    flood_toward_deg: Bearing | None = Field(default=None, description="where the flood runs to, degrees true")
    ebb_toward_deg: Bearing | None = Field(default=None, description="where the ebb runs to, degrees true")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Each kind has every field of its own and none of another; springs are stronger than neaps."""
        if "kind" in parts:
            yield from _stream_kind_misfits(parts["kind"], parts)
        neap_kn, spring_kn = parts.get("neap_rate_kn"), parts.get("spring_rate_kn")
        if neap_kn is not None and spring_kn is not None and neap_kn > spring_kn:
            yield ("neap_rate_kn",), f"is {neap_kn:g}, above spring_rate_kn, {spring_kn:g}"
        neap_m, spring_m = parts.get("neap_range_m"), parts.get("spring_range_m")
        if neap_m is not None and spring_m is not None and neap_m >= spring_m:
            yield ("neap_range_m",), f"is {neap_m:g}, not below spring_range_m, {spring_m:g}"
        flood_deg, ebb_deg = parts.get("flood_toward_deg"), parts.get("ebb_toward_deg")
        if flood_deg is not None and flood_deg == ebb_deg:
            yield ("ebb_toward_deg",), f"is {ebb_deg:g}, where the flood runs to as well"
        if parts.get("constituents") is not None:
            yield from _stream_constituent_misfits(parts["constituents"])
        if parts.get("table") is not None:
            yield from _stream_table_misfits([row.hours_from_high_water for row in parts["table"]])


def _stream_kind_misfits(kind: str, parts: Mapping[str, Any]) -> Iterator[Misfit]:
    needed, allowed = _STREAM_NEEDS[kind], (*_STREAM_NEEDS[kind], *_STREAM_MAY.get(kind, ()))
    missing = [name for name in needed if name in parts and parts[name] is None]
    if missing:
        yield ("kind",), f'is "{kind}" and also needs {", ".join(missing)}'
    for name, value in parts.items():
        if name == "kind" or value is None or name in allowed:
            continue
        if kind == "none":
            yield (name,), 'is given, but kind is "none": a stream that runs is of kind "slack", "constants" or "table"'
        elif name in _STREAM_MAY["slack"]:
            yield (name,), 'is given, but kind is "table": directions stand in its rows as toward_deg'
        else:
            of = " or ".join(f'"{other}"' for other, names in _STREAM_NEEDS.items() if name in names)
            yield (name,), f'is given, but kind is "{kind}": it belongs to a stream of kind {of}'


def _stream_constituent_misfits(constituents: Mapping[str, Any]) -> Iterator[Misfit]:
    if not constituents:
        yield ("constituents",), "is empty; give at least one, like M2 = [1.30, 62.0]"
    seen: dict[str, str] = {}
    for name, value in constituents.items():
        if fault := _stream_constituent_fault(name, value):
            yield ("constituents", name), fault
        elif (same := seen.setdefault(canonical(name), name)) != name:
            yield ("constituents", name), f"is the same constituent as {same}; give it once"


def _stream_constituent_fault(name: str, value: Any) -> str:
    """Return what is wrong with one harmonic constant of a stream; empty when nothing is."""
    if canonical(name) == "Z0":
        return "is the steady stream, not a constituent; give it as mean_kn"
    if definition(name) is None:
        return (
            "is not the name of a constituent known here, like M2 or K1; without one of its parts a stream is not known"
        )
    numbers = isinstance(value, tuple) and all(isinstance(n, int | float) and not isinstance(n, bool) for n in value)
    if not numbers or len(value) != 2:
        return "must be two numbers in square brackets: amplitude in knots, phase lag on Greenwich in degrees"
    amplitude_kn, phase_deg = value
    if not 0 <= amplitude_kn <= FASTEST_KN:
        return f"has an amplitude of {amplitude_kn:g}; it must be from 0 to {FASTEST_KN:g} knots"
    if not 0 <= phase_deg <= 360:
        return f"has a phase lag of {phase_deg:g}; it must be from 0 to 360 degrees, on Greenwich"
    return ""


def _stream_table_misfits(hours: list[float]) -> Iterator[Misfit]:
    in_order = True
    for number, (one, two) in enumerate(pairwise(hours), start=1):
        if fault := row_fault(one, two):
            in_order = False
            yield ("table", number, "hours_from_high_water"), f"is {two:g}, which {fault}"
    if in_order and (fault := table_fault(hours)):
        yield ("table",), fault


def _sector_misfits(parts: Mapping[str, Any]) -> Iterator[Misfit]:
    from_deg, to_deg = parts.get("from_deg"), parts.get("to_deg")
    if from_deg is not None and from_deg == to_deg:
        yield (
            ("to_deg",),
            f"is {to_deg:g}, and so is from_deg: an empty sector; all bearings are two sectors, 0 to 180 and 180 to 0",
        )


class Sector(Record):
    """A range of bearings, clockwise from ``from_deg`` to ``to_deg``, seen from the site."""

    from_deg: Bearing
    to_deg: Bearing

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """A sector has a width."""
        yield from _sector_misfits(parts)


class Fetch(Record):
    """Open water in one direction."""

    bearing_deg: Bearing
    km: float = Field(ge=0, le=2000, description="kilometres of open water in that direction, 0 to 2000")


class Exposure(Record):
    """What reaches the site from the open water."""

    open_to_swell: tuple[Sector, ...] = Field(default=(), description="sectors of bearings open to swell")
    fetch: tuple[Fetch, ...] = Field(default=(), description="open water by bearing")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Open water is given once for a bearing."""
        yield from _twice("fetch", [f"{fetch.bearing_deg:g}" for fetch in parts.get("fetch", ())], ("bearing_deg",))


class WindLimit(Record):
    """Wind above which nobody goes in, for winds from a sector."""

    from_deg: Bearing
    to_deg: Bearing
    most_kn: float = Field(gt=0, le=60, description="knots, above 0 to 60")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """A sector has a width."""
        yield from _sector_misfits(parts)


class Limits(Record):
    """The site's own numbers at which diving stops; the rule book's hold where the site gives none."""

    breaker_m: float | None = Field(default=None, ge=0, le=3, description="breaking waves at the entry, metres")
    stream_kn: float | None = Field(default=None, ge=0, le=3, description="stream, knots, 0 to 3")
    visibility_m: float | None = Field(default=None, ge=0.5, le=30, description="visibility under water, metres")
    wind: tuple[WindLimit, ...] = ()


class Season(Record):
    """Days of the year on which access is open, both included, "MM-DD"."""

    first: SeasonDay = Field(description='"MM-DD"')
    last: SeasonDay = Field(description='"MM-DD"; before first where the season runs over New Year')


class Hours(Record):
    """Hours of the day in which one may be there."""

    opens: ClockTime = Field(description='"HH:MM"')
    closes: ClockTime = Field(description='"HH:MM", later than opens')

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Opening comes before closing."""
        opens, closes = parts.get("opens"), parts.get("closes")
        if opens is not None and closes is not None and opens >= closes:
            yield ("opens",), f'is "{opens:%H:%M}", not before closes, "{closes:%H:%M}"'


class OpenHours(Record):
    """Hours at which a place of care takes casualties, or a number answers, on some days of the week."""

    days: tuple[Weekday, ...] = Field(default=(), description='like ["mon", "tue"]; left out: every day')
    opens: ClockTime = Field(description='"HH:MM" local')
    closes: ClockTime = Field(description='"HH:MM" local; at or before opens where it runs past midnight')

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """No day stands twice, and a day that never closes is said in one word."""
        yield from _twice("days", parts.get("days", ()), ())
        opens, closes = parts.get("opens"), parts.get("closes")
        if opens is not None and opens == closes:
            yield ("closes",), f'is "{closes:%H:%M}", as opens is; day and night on every day is open = "always"'


def _open_tag(value: object) -> str | None:
    if isinstance(value, str):
        return "word"
    return "hours" if isinstance(value, list | tuple) else None


Opening = Annotated[
    Annotated[tuple[OpenHours, ...], Tag("hours"), Field(min_length=1)] | Annotated[Literal["always"], Tag("word")],
    Discriminator(
        _open_tag,
        custom_error_type="opening",
        custom_error_message='"always", or rows like { days = ["mon", "tue"], opens = "08:00", closes = "22:00" }',
    ),
]


class SiteAccess(Record):
    """Getting to the water: when, and with whose leave."""

    hours: Hours | None = Field(default=None, description="leave out where it is open day and night")
    seasons: tuple[Season, ...] = Field(default=(), description="leave out where it is open all year")
    gate_code: str | None = None
    permission: str | None = Field(default=None, description="whose permission is needed, and how it is given")
    carry_m: float | None = Field(default=None, ge=0, le=5000, description="carry from the vehicle, metres")
    notes: str = ""


class Hazard(Record):
    """Something at the site that hurts people, and what is done about it."""

    kind: Literal[
        "wreck", "line", "anglers", "traffic", "outfall", "stream", "surf", "cold", "entanglement", "overhead",
        "falling_rock", "marine_life", "depth", "other",
    ]  # fmt: skip
    what: str = Field(min_length=3, description="what it is and where")
    control: str = Field(min_length=3, description="what is done about it, and by whom")


class Communications(Record):
    """How to reach help from the beach."""

    phone_signal: str = Field(min_length=3, description="where there is a signal, and how good")
    vhf: str | None = Field(default=None, description="VHF cover and the station that answers")
    landline: str | None = None


class Capacity(Record):
    """How many the site takes."""

    divers: int = Field(ge=1, le=200, description="divers in the water at once, 1 to 200")
    vehicles: int | None = Field(default=None, ge=0, le=500, description="parking places")


class Rendezvous(Record):
    """Where the ambulance is met."""

    place: str = Field(min_length=3, description="the place in words: road, gate, building")
    position: Place_
    ambulance_min: float | None = Field(
        default=None,
        gt=0,
        le=1440,
        description="longest time after the call until an ambulance is here, minutes, as its service says; unknown: "
        "left out",
    )
    helicopter: str = Field(default="", description="where a helicopter can land or lift, in words")
    notes: str = ""


class Landmark(Record):
    """A feature on the chart near the site, from which a rescue service by sea can find it."""

    name: OneLine = Field(min_length=1, description="the name on the chart")
    position: Place_


ContactRole = Literal[
    "emergency", "coastguard", "ambulance", "hospital", "chamber", "diving_doctor", "diver_hotline", "transport",
    "police", "harbour", "landowner", "centre",
]  # fmt: skip


def _checked_misfits(parts: Mapping[str, Any]) -> Iterator[Misfit]:
    if {"checked", "checked_by"} <= parts.keys() and (parts["checked"] is None) != (not parts["checked_by"]):
        given, wanted = ("checked_by", "checked") if parts["checked"] is None else ("checked", "checked_by")
        yield (given,), f"is given without {wanted}: when a number was checked, and by whom, go together"


class Contact(Record):
    """Somebody to call. The order in the file is the calling order."""

    role: ContactRole
    name: OneLine = Field(min_length=1)
    number: PhoneNumber = Field(description="the number as dialled")
    hours: str = Field(min_length=1, description='when it answers, like "24 h"')
    open: Opening | None = Field(default=None, description='"always", or rows of hours; left out: the words only')
    closed_on: tuple[date, ...] = Field(default=(), description="days on which nobody answers, like 2026-12-25")
    checked: date | None = Field(default=None, description="date last checked; leave out if never")
    checked_by: str | None = Field(default=None, description="who checked it")
    notes: str = ""

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """A check has a day and a name."""
        yield from _checked_misfits(parts)


class Care(Record):
    """A hospital or a recompression chamber."""

    name: OneLine = Field(min_length=1)
    number: PhoneNumber
    position: Place_
    drive_min: float | None = Field(default=None, gt=0, le=1440, description="known drive time, minutes")
    hours: str = Field(default="", description='when it takes casualties, in words, like "24 h"')
    open: Opening | None = Field(default=None, description='"always", or rows of hours; left out: not known')
    closed_on: tuple[date, ...] = Field(default=(), description="days on which it takes nobody, like 2026-12-25")
    highest_road_m: float | None = Field(
        default=None, ge=-430, le=6000, description="highest point of the road, metres"
    )
    flight_m: float | None = Field(
        default=None,
        ge=-430,
        le=13_000,
        description="height above sea level of a flight that takes casualties there, or of its cabin, metres; no "
        "flight: left out",
    )
    directions: str = Field(default="", description="the way by road, in words that can be read aloud to a driver")
    checked: date | None = None
    checked_by: str | None = None
    notes: str = ""

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """A check has a day and a name."""
        yield from _checked_misfits(parts)


class Site(Record):
    """A place where people dive from the shore, and everything a plan needs to know about it."""

    slug: str = Field(default="", exclude=True, description="taken from the file's name")
    name: OneLine = Field(min_length=1, max_length=60, description="what the site is called")
    demonstration: bool = Field(default=False, description="true for an invented place: every sheet is marked")
    summary: str = Field(default="", max_length=400)
    position: Place_
    country: CountryCode | None = None
    timezone: Timezone
    elevation_m: float = Field(
        ge=LOWEST_SURFACE_M,
        le=HIGHEST_SURFACE_M,
        description="height of the water's surface, metres above sea level",
    )
    water: Water
    lowest_level: Level = Field(description="lowest level admitted")
    flag_rule: str = Field(min_length=3, description="which flag is shown, where, by whose rule")
    survey_date: date = Field(description="date of the last survey, like 2026-05-01")
    surveyed_by: str = ""
    road: str = Field(min_length=3, description="the nearest road and parking, in words")
    facilities: tuple[str, ...] = ()
    rules_here: str = Field(default="", description="code or by-law that holds here")
    tide: TideLink
    stream: Stream
    exposure: Exposure = Exposure()
    limits: Limits = Limits()
    access: SiteAccess = SiteAccess()
    communications: Communications
    capacity: Capacity
    rendezvous: Rendezvous
    landmark: Landmark | None = Field(default=None, description="a feature on the chart to be found from, at sea")
    places: tuple[Place, ...] = Field(min_length=1, description="at least one place under water")
    entries: tuple[Access, ...] = Field(min_length=1, description="at least one way in and out")
    alternative_exit: AlternativeExit | None = None
    hazards: tuple[Hazard, ...] = ()
    contacts: tuple[Contact, ...] = Field(min_length=1, description="at least one contact, in calling order")
    hospitals: tuple[Care, ...] = Field(min_length=1, description="at least one hospital")
    chambers: tuple[Care, ...] = Field(min_length=1, description="at least one recompression chamber")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Names stand once, the ways in and out make sense together, and everything is near enough to the site."""
        for table in ("places", "entries", "hospitals", "chambers"):
            yield from _twice(table, [each.name for each in parts.get(table, ())], ("name",))
        yield from _twice(
            "contacts", [f"{each.name} ({each.role}, {each.number})" for each in parts.get("contacts", ())], ("name",)
        )
        if "entries" in parts:
            yield from _ways_misfits(parts["entries"], parts.get("alternative_exit"))
        if "tide" in parts and parts["tide"].station is None:
            yield from _tideless_misfits(parts)
        elif "tide" in parts and abs(parts.get("elevation_m", 0)) > TIDAL_SURFACE_M:
            yield (
                ("elevation_m",),
                f"is {parts['elevation_m']:g}, but the site has a tide station; give the height of the water, "
                "not of the road or as a satellite receiver shows it",
            )
        if "position" in parts:
            yield from _distance_misfits(parts)
            yield from _drive_misfits(parts)
            if {"timezone", "survey_date"} <= parts.keys():
                yield from _zone_misfits(parts["position"], parts["timezone"], parts["survey_date"])

    def entry(self, name: str) -> Access | None:
        """Return a way in or out by its name."""
        return next((access for access in self.entries if access.name == name), None)

    def place(self, name: str) -> Place | None:
        """Return a place under water by its name."""
        return next((place for place in self.places if place.name == name), None)


def _ways_misfits(entries: tuple[Access, ...], alternative: AlternativeExit | None) -> Iterator[Misfit]:
    if all(access.going_in == "not_used" for access in entries):
        yield ("entries", 0, "going_in"), "is not_used, and so is every other: there is no way in"
    out = [access.name for access in entries if access.coming_out != "not_used"]
    if not out:
        yield ("entries", 0, "coming_out"), "is not_used, and so is every other: there is no way out"
    if not any(access.casualty for access in entries):
        yield ("entries",), "has no place for bringing out a casualty; set casualty = true where it can be done"
    if alternative is None:
        return
    given, where = alternative.access, ("alternative_exit", "access")
    names = [access.name for access in entries]
    listed = ", ".join(f'"{name}"' for name in names)
    if given not in names:
        yield where, f'is "{given}", which is not the name of an entry; accepted: {listed}'
    elif given not in out:
        yield where, f'is "{given}", where coming_out is not_used'
    elif len(out) == 1:
        yield where, f'is "{given}", which is the only way out; add another, or leave out [alternative_exit]'


def _tideless_misfits(parts: Mapping[str, Any]) -> Iterator[Misfit]:
    if "stream" in parts and parts["stream"].kind == "slack":
        yield ("stream", "kind"), 'is "slack", which needs tide.station: slack is reckoned from high and low water'
    if "stream" in parts and parts["stream"].kind == "table":
        yield ("stream", "kind"), 'is "table", which needs tide.station: its hours count from high water'
    for number, access in enumerate(parts.get("entries", ())):
        for way in ("going_in", "coming_out"):
            limits = getattr(access, way)
            if isinstance(limits, TideLimits) and (limits.lowest_m is not None or limits.highest_m is not None):
                yield ("entries", number, way), "has tide limits, but the site has no tide.station"


def _distance_misfits(parts: Mapping[str, Any]) -> Iterator[Misfit]:
    places: list[tuple[tuple[str | int, ...], Position | None, float]] = []
    for table, furthest_km in (
        ("entries", FURTHEST_ENTRY_KM), ("hospitals", FURTHEST_HOSPITAL_KM), ("chambers", FURTHEST_CHAMBER_KM),
    ):  # fmt: skip
        places += [((table, n, "position"), each.position, furthest_km) for n, each in enumerate(parts.get(table, ()))]
    if "rendezvous" in parts:
        places.append((("rendezvous", "position"), parts["rendezvous"].position, FURTHEST_RENDEZVOUS_KM))
    if parts.get("landmark") is not None:
        places.append((("landmark", "position"), parts["landmark"].position, FURTHEST_LANDMARK_KM))
    judged = [
        (where, distance_km(parts["position"], position), furthest_km)
        for where, position, furthest_km in places
        if position is not None
    ]
    far = [(where, away_km, furthest_km) for where, away_km, furthest_km in judged if away_km > furthest_km]
    if len(far) == len(judged) > 1:
        nearest_km = min(away_km for _, away_km, _ in far)
        yield (
            ("position",),
            f"lies {nearest_km:,.0f} km or more from everything else in this file; "
            "look for a wrong sign or a wrong digit in it",
        )
        return
    for where, away_km, furthest_km in far:
        yield (
            where,
            f"lies {away_km:,.0f} km from the site, more than {furthest_km:,.0f} km; "
            "look for a wrong sign or a wrong digit in one of the two",
        )


def _drive_misfits(parts: Mapping[str, Any]) -> Iterator[Misfit]:
    for table, furthest_km in (("hospitals", FURTHEST_HOSPITAL_KM), ("chambers", FURTHEST_CHAMBER_KM)):
        for number, care in enumerate(parts.get(table, ())):
            if care.drive_min is None or care.flight_m is not None:
                continue
            away_km = distance_km(parts["position"], care.position)
            # Where a position is wrong, that is said already.
            if FASTEST_DRIVE_KM_H * care.drive_min / 60 < away_km <= furthest_km:
                yield (
                    (table, number, "drive_min"),
                    f"is {care.drive_min:g}, but it lies {away_km:.0f} km away in a straight line; give the drive in "
                    "minutes",
                )


def _zone_misfits(position: Position, timezone: str, day: date) -> Iterator[Misfit]:
    offset = datetime(day.year, day.month, day.day, 12, tzinfo=zoneinfo.ZoneInfo(timezone)).utcoffset()
    if offset is None:
        return
    clock_h, sun_h = offset.total_seconds() / 3600, position.longitude_deg / 15
    apart_h = abs((clock_h - sun_h + 12) % 24 - 12)
    if apart_h > WORST_ZONE_H:
        yield (
            ("timezone",),
            f'is "{timezone}", {apart_h:.1f} h from the sun at the position; one of the two is wrong',
        )


def read_site(path: Path) -> Site:
    """Read and judge one site file.  Raises BadRecord with every fault found."""
    file = read_toml(path)
    return site_from(file)


def site_from(file: TomlFile) -> Site:
    """Judge a site file already read.  Raises BadRecord with every fault found."""
    if not file.data:
        raise BadRecord((file.fault((), "the file holds no key; a site file begins with name and position"),))
    faults: list[Fault] = []
    slug = file.path.stem
    if not re.fullmatch(r"\w[\w.-]*", slug):
        faults.append(
            file.fault((), "the file's name is the site's short name: letters, digits, - and _, like gull-cove.toml")
        )
    data: dict[str, Any] = dict(file.data)
    if "slug" in data:
        faults.append(file.fault(("slug",), "slug is not a known key; the file's name is the slug"))
    try:
        site = judge(file, Site, {**data, "slug": slug})
    except BadRecord as error:
        faults.extend(error.faults)
    if faults:
        raise BadRecord(tuple(faults))
    return site


def read_sites(paths: tuple[Path, ...]) -> tuple[dict[str, Site], tuple[Fault, ...]]:
    """Read site files; a bad one never hides the others.  Returns the sites by slug and every fault."""
    sites: dict[str, Site] = {}
    faults: list[Fault] = []
    for path in paths:
        try:
            site = read_site(path)
        except BadRecord as error:
            faults.extend(error.faults)
        else:
            sites[site.slug] = site
    return sites, tuple(faults)


def check_links(
    sites: Mapping[str, Site], station_slugs: Iterable[str], files: Mapping[str, TomlFile]
) -> tuple[Fault, ...]:
    """Judge what only several files together show: that each tide station exists, and that no two sites share a name.

    station_slugs -- the stations at hand;  files -- the file of each site, by slug
    """
    slugs = sorted(station_slugs)
    faults: list[Fault] = []
    names: dict[str, str] = {}
    for slug, site in sites.items():
        station = site.tide.station
        if station is not None and station not in slugs:
            here = "is not among the stations here: " + (", ".join(slugs) or "there is none")
            faults.append(files[slug].fault(("tide", "station"), f'tide.station "{station}" {here}'))
        other = names.setdefault(site.name.casefold(), slug)
        if other != slug:
            faults.append(files[slug].fault(("name",), f'name is "{site.name}", which {files[other].path} has already'))
    return tuple(faults)
