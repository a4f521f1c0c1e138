"""What a tide station is: one TOML file a station, of one of three kinds, every value judged.

constants   [constituents] NAME = [amplitude in metres, phase lag on Greenwich in degrees], and mean_level_m
printed     table = "file.csv" beside the station file: time,kind,height_m of a harbour's high and low waters
secondary   reference = "other-station", and [differences] to it in minutes, ratios and metres
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from tripplan.environment.constituents import canonical, definition
from tripplan.environment.tide import (
    FIRST_YEAR,
    LAST_YEAR,
    Constituent,
    HarmonicTide,
    PrintedTide,
    SecondaryTide,
    Tide,
    TurningPoint,
    out_of_order,
)
from tripplan.errors import BadRecord, Fault
from tripplan.record import LARGEST_FILE_BYTES, Record, TomlFile, judge, read_toml
from tripplan.rulebook import baseline

StationKind = Literal["constants", "printed", "secondary"]
LARGEST_AMPLITUDE_M = 15.0  # the greatest known, M2 in the Bay of Fundy, is some 6 m
FARTHEST_HEIGHT_M = 20.0  # from the datum; the greatest known range is some 17 m
_TABLE_HEADER = ("time", "kind", "height_m")
_KINDS_SAID = (
    "give one of: [constituents] with mean_level_m (harmonic constants), table (a printed table beside this file), "
    "reference with [differences] (a secondary station)"
)


@dataclass(frozen=True)
class Station:
    """A tide station; ``tide`` is None for a secondary station until its reference is known."""

    slug: str  # the name of the file without its ending
    name: str
    latitude_deg: float
    longitude_deg: float
    timezone: str  # IANA, for display
    datum: str
    tide: Tide | None
    kind: StationKind
    issued: date | None = None  # of the constants or the table: two agree only when of the same issue
    source: str = ""
    reference: str = ""  # slug of the reference station, for a secondary one
    differences: Differences | None = None

    def with_reference(self, reference: Tide) -> Station:
        """Return this secondary station with its tide, from the tide of its reference."""
        if self.differences is None:
            raise ValueError(f"{self.slug} is not a secondary station")
        return replace(self, tide=SecondaryTide(reference, **self.differences.model_dump()))


def _timezone(value: str) -> str:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        ZoneInfo(value)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ValueError("not a time zone known here; give an IANA name such as Atlantic/Azores") from None
    return value


_Minutes = Annotated[float, Field(ge=-720, le=720, description="minutes, -720 to 720")]
_Ratio = Annotated[float, Field(gt=0, le=10, description="factor on the height, above 0 to 10")]
_Metres = Annotated[float, Field(ge=-20, le=20, description="metres, -20 to 20")]


class Differences(Record):
    """What a secondary station adds to its reference's high and low waters, and by what it multiplies them."""

    high_time_min: _Minutes
    low_time_min: _Minutes
    high_ratio: _Ratio = 1.0
    low_ratio: _Ratio = 1.0
    high_add_m: _Metres = 0.0
    low_add_m: _Metres = 0.0


class _StationFile(Record):
    """The file as it is written; what depends on the kind is judged after."""

    name: str = Field(min_length=1, description="what the station is called")
    latitude: float = Field(ge=-90, le=90, description="decimal degrees, north positive")
    longitude: float = Field(ge=-180, le=180, description="decimal degrees, east positive")
    timezone: Annotated[str, AfterValidator(_timezone)] = Field(description="IANA name, such as Atlantic/Azores")
    datum: str = Field(min_length=1, description="what heights are counted from, such as chart datum")
    mean_level_m: float | None = Field(
        default=None, ge=-FARTHEST_HEIGHT_M, le=FARTHEST_HEIGHT_M, description="mean sea level above the datum, metres"
    )
    constituents: dict[str, Any] | None = Field(default=None, description="NAME = [amplitude_m, phase_deg]")
    table: str | None = Field(default=None, min_length=1, description="name of a CSV file beside this one")
    reference: str | None = Field(default=None, min_length=1, description="name of the reference station's file")
    differences: Differences | None = Field(default=None, description="minutes, ratios and metres to the reference")
    issued: date | None = Field(default=None, description="when the constants or the table were published")
    source: str = Field(default="", description="who publishes them")


def looks_like_station(data: Mapping[str, Any]) -> bool:
    """Return whether a file's values are meant as a tide station (and not as a site)."""
    return any(key in data for key in ("constituents", "table", "reference"))


def read_station(path: Path, table_gap_h: float | None = None) -> Station:
    """Read a station file, and the table beside it when it names one.

    table_gap_h -- longest gap between printed turning points that is interpolated, hours; None: by the rule book

    Raises BadRecord with every fault found in either file.
    """
    return _read(path, table_gap_h)[0]


def read_stations(
    paths: Iterable[Path], table_gap_h: float | None = None
) -> tuple[dict[str, Station], tuple[Fault, ...]]:
    """Read station files and give each secondary station its reference's tide.

    Returns the stations by slug and the faults of those that cannot be used; a bad file never hides the others.
    """
    faults: list[Fault] = []
    read: dict[str, tuple[Station, TomlFile]] = {}
    refused: set[str] = set()
    for path in paths:
        try:
            station, file = _read(path, table_gap_h)
        except BadRecord as error:
            faults.extend(error.faults)
            refused.add(path.stem)
            continue
        if station.slug in read:
            other = read[station.slug][1].path
            faults.append(Fault(str(path), 1, f'"{station.slug}" is also the name of {other}; give one another name'))
            continue
        read[station.slug] = (station, file)
    stations: dict[str, Station] = {}
    for slug, (station, file) in read.items():
        if station.kind != "secondary":
            stations[slug] = station
            continue
        why = _reference_refused(station, read, refused)
        reference = read[station.reference][0].tide if not why else None
        if reference is None:
            faults.append(file.fault(("reference",), why))
        else:
            stations[slug] = station.with_reference(reference)
    return stations, tuple(sorted(faults))


def _reference_refused(station: Station, read: Mapping[str, tuple[Station, TomlFile]], refused: set[str]) -> str:
    """Return why a reference cannot be used; empty when it can."""
    name = station.reference
    if name == station.slug:
        return f'reference is "{name}", the station itself; name a station with constants or a printed table'
    if name in read:
        if read[name][0].kind == "secondary":
            return (
                f'reference is "{name}", itself a secondary station; name a station with constants or a printed table'
            )
        return ""
    if name in refused:
        return f'reference is "{name}", whose own file was refused; mend that file'
    known = ", ".join(sorted(slug for slug, (one, _) in read.items() if one.kind != "secondary")) or "none"
    return f'reference is "{name}", which is not among the stations; known here: {known}'


def _read(path: Path, table_gap_h: float | None) -> tuple[Station, TomlFile]:
    file = read_toml(path)
    faults: list[Fault] = []
    written: _StationFile | None = None
    try:
        written = judge(file, _StationFile)
    except BadRecord as error:
        faults.extend(error.faults)
    given = [key for key in ("constituents", "table", "reference") if key in file.data]
    if not given:
        faults.append(file.fault((), f"the file does not say where its tide comes from; {_KINDS_SAID}"))
    for extra in given[1:]:
        faults.append(file.fault((extra,), f"{extra} stands beside {given[0]}; {_KINDS_SAID}"))
    if "differences" in file.data and "reference" not in file.data:
        faults.append(file.fault(("differences",), "differences need a reference; name the reference station's file"))
    tide: Tide | None = None
    gap_h = baseline().value("tide.table_gap_h") if table_gap_h is None else table_gap_h
    if "constituents" in given:
        constituents = _constituents(file, faults)
        if "mean_level_m" not in file.data:
            faults.append(
                file.fault((), "mean_level_m is missing; give the height of mean sea level above the datum, metres")
            )
        if written and written.mean_level_m is not None and not faults:
            tide = HarmonicTide(written.mean_level_m, constituents)
    if "table" in given and isinstance(file.data["table"], str) and file.data["table"]:
        points = _table(file, faults, gap_h)
        if not faults:
            tide = PrintedTide(points, gap_h)
    if "reference" in given and "differences" not in file.data:
        faults.append(
            file.fault(
                ("reference",),
                "a reference needs [differences]; give high_time_min and low_time_min, and ratios or metres",
            )
        )
    if faults or written is None:
        raise BadRecord(tuple(faults))
    kind: StationKind = "constants" if written.constituents else "printed" if written.table else "secondary"
    station = Station(
        slug=path.stem,
        name=written.name,
        latitude_deg=written.latitude,
        longitude_deg=written.longitude,
        timezone=written.timezone,
        datum=written.datum,
        tide=tide,
        kind=kind,
        issued=written.issued,
        source=written.source,
        reference=written.reference or "",
        differences=written.differences,
    )
    return station, file


# ---- harmonic constants -------------------------------------------------------------------------------------------


def _constituents(file: TomlFile, faults: list[Fault]) -> tuple[Constituent, ...]:
    """Judge the constants one by one, each fault at its own line."""
    table = file.data["constituents"]
    if not isinstance(table, dict):
        return ()  # the schema has said so
    if not table:
        faults.append(file.fault(("constituents",), "constituents is empty; give at least one, like M2 = [1.30, 62.0]"))
    good: list[Constituent] = []
    seen: dict[str, str] = {}
    for name, value in table.items():
        same = seen.setdefault(canonical(name), name)
        if fault := _constituent_fault(name, value):
            faults.append(file.fault(("constituents", name), fault))
        elif same != name:
            faults.append(file.fault(("constituents", name), f"{name} is the same constituent as {same}; give it once"))
        else:
            good.append(Constituent(canonical(name), float(value[0]), float(value[1])))
    if good and not any(definition(one.name) for one in good):
        names = ", ".join(one.name for one in good[:5])
        faults.append(file.fault(("constituents",), f"none of the constituents is known here ({names}); M2 or K1 is"))
    return tuple(good)


def _constituent_fault(name: str, value: Any) -> str:
    """Return what is wrong with one constant; empty when nothing is."""
    if not re.fullmatch(r"[A-Za-z0-9()+-]{1,20}", name):
        return f'"{name[:30]}" is not the name of a constituent; letters, figures and brackets, like M2 or 2MK3'
    if canonical(name) == "Z0":
        return "Z0 is the mean level, not a constituent; give it as mean_level_m"
    if not (isinstance(value, tuple) and len(value) == 2 and all(_is_number(one) for one in value)):
        return f"{name} must be two numbers in square brackets: amplitude in metres, phase lag in degrees"
    amplitude_m, phase_deg = value
    if not 0 <= amplitude_m <= LARGEST_AMPLITUDE_M:
        return f"the amplitude of {name} is {amplitude_m:g}; it must be from 0 to {LARGEST_AMPLITUDE_M:g} metres"
    if not 0 <= phase_deg <= 360:
        return f"the phase lag of {name} is {phase_deg:g}; it must be from 0 to 360 degrees, on Greenwich"
    return ""


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


# ---- a printed table ----------------------------------------------------------------------------------------------


def _table(file: TomlFile, faults: list[Fault], gap_h: float) -> tuple[TurningPoint, ...]:
    """Read the table that the station names, each fault at the table's own line."""
    name = file.data["table"]
    if Path(name).name != name or "\\" in name or name == ".." or not name.isprintable():
        said = f"table is {name[:60]!r}; give the name of a file beside this one, no folder"
        faults.append(file.fault(("table",), said))
        return ()
    path = file.path.parent / name
    lines = _lines(path, file, faults)
    points: list[TurningPoint] = []
    header_seen = False
    for number, line in enumerate(lines, start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        cells = _cells(line)
        if not header_seen:
            header_seen = True
            if tuple(cells) == _TABLE_HEADER:
                continue
            said = f'the first line is "{line.strip()[:60]}"; it must be {",".join(_TABLE_HEADER)}'
            faults.append(Fault(str(path), number, said))
            return ()
        point = _row(cells)
        if isinstance(point, str):
            faults.append(Fault(str(path), number, point))
            continue
        if points and (fault := out_of_order(points[-1], point, gap_h)):
            faults.append(Fault(str(path), number, fault))
        points.append(point)
    if lines and len(points) < 2 and not faults:
        faults.append(Fault(str(path), len(lines), "the table has fewer than two high and low waters"))
    return tuple(points)


def _lines(path: Path, file: TomlFile, faults: list[Fault]) -> list[str]:
    """Return the lines of the table; none, with a fault, when it cannot be read."""
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            faults.append(Fault(str(path), 1, f"the table is larger than {LARGEST_FILE_BYTES:,} bytes"))
            return []
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        faults.append(file.fault(("table",), f"{path} cannot be read: {error.strerror or error}"))
        return []
    except UnicodeDecodeError:
        faults.append(Fault(str(path), 1, "the table is not UTF-8 text; save it as UTF-8"))
        return []
    if "\0" in text or not text.strip():
        faults.append(Fault(str(path), 1, f"the table is empty or not text; it must start {','.join(_TABLE_HEADER)}"))
        return []
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _cells(line: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line]), [])]
    except csv.Error:  # a field longer than any reader takes
        return []


def _row(cells: list[str]) -> TurningPoint | str:
    """Read one row; a sentence when it cannot be used."""
    if len(cells) != len(_TABLE_HEADER):
        return f"the line has {len(cells)} values; it must have three: {', '.join(_TABLE_HEADER)}"
    time_text, kind, height_text = cells
    try:
        when = datetime.fromisoformat(time_text)
    except ValueError:
        return f'time is "{time_text[:40]}"; it must be like 2027-06-12T10:14+01:00 or 2027-06-12T09:14Z'
    if when.tzinfo is None:
        return f'time is "{time_text}", without an offset from UTC; write it like 2027-06-12T10:14+01:00 or ...Z'
    if not FIRST_YEAR < when.year < LAST_YEAR:
        return f"time is in the year {when.year}; it must be from {FIRST_YEAR + 1} to {LAST_YEAR - 1}"
    if kind not in ("high", "low"):
        return f'kind is "{kind[:40]}"; it must be high or low'
    try:
        height_m = float(height_text)
    except ValueError:
        return f'height_m is "{height_text[:40]}"; it must be a number of metres, with a point'
    if not -FARTHEST_HEIGHT_M <= height_m <= FARTHEST_HEIGHT_M:
        return f"height_m is {height_m:g}; it must be from -{FARTHEST_HEIGHT_M:g} to {FARTHEST_HEIGHT_M:g} metres"
    return TurningPoint(when.astimezone(UTC), "high" if kind == "high" else "low", height_m)
