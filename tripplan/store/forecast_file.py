"""A forecast kept as a file in a centre's folder: received by mail, or typed.

    # source: Harbour office, by telephone
    # issued: 2026-11-25T05:00:00+00:00
    # fetched: 2026-11-25T06:10:00+00:00
    # sites: gull-cove, stair-ledge
    time,wind_m_s,gust_m_s,wind_from_deg,rain_mm
    2026-11-25T06:00Z,4.0,6.5,240,
    2026-11-25T09:00Z,5.0,8.0,250,0.4

Each line is a moment, except rain: that is the sum since the line before. An empty cell is not known.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from tripplan.environment.conditions import QUANTITIES, Forecast, Origin, Series
from tripplan.errors import BadRecord, Fault
from tripplan.record import read_text

FOLDER = "forecast"
_SAID = ("source", "issued", "fetched", "sites")
_WORDS = {"yes": 1.0, "no": 0.0}  # how thunder is typed


@dataclass(frozen=True)
class _Line:
    """What a comment line says, and where."""

    number: int
    text: str


def read_forecast_file(path: Path) -> tuple[tuple[str, ...] | None, Forecast]:
    """Return the sites that a forecast is for, None for all, and the forecast.

    Raises BadRecord with file and line of every fault.
    """
    reading = _Reading(path)
    for number, text in enumerate(_lines(path), start=1):
        reading.read(number, text)
    return reading.found()


def forecasts_by_site(folder: Path, sites: Mapping[str, object]) -> tuple[dict[str, Forecast], tuple[Fault, ...]]:
    """Return the forecasts of a folder's forecast/*.csv by site, and the faults of files that cannot be used.

    Where several files are for one site, the one issued last counts first.
    """
    faults: list[Fault] = []
    found: dict[str, list[Forecast]] = {}
    for path in sorted((folder / FOLDER).glob("*.csv")):
        try:
            named, forecast = read_forecast_file(path)
        except BadRecord as error:
            faults += error.faults
            continue
        unknown = [slug for slug in named or () if slug not in sites]
        if unknown:
            known = ", ".join(sorted(sites)) or "none"
            faults.append(
                Fault(
                    str(path), _line_of_sites(path), f'"{unknown[0][:40]}" is not among the sites; known here: {known}'
                )
            )
            continue
        for slug in named if named is not None else sites:
            found.setdefault(slug, []).append(forecast)
    return {slug: _newest_first(forecasts) for slug, forecasts in found.items()}, tuple(faults)


def _newest_first(forecasts: list[Forecast]) -> Forecast:
    def when(forecast: Forecast) -> datetime:
        origin = forecast.series[0].origin
        return origin.issued or origin.fetched

    newest = sorted(forecasts, key=when, reverse=True)
    return Forecast(tuple(series for forecast in newest for series in forecast.series))


def _line_of_sites(path: Path) -> int:
    return next((number for number, text in enumerate(_lines(path), start=1) if _comment(text)[0] == "sites"), 1)


def _lines(path: Path) -> list[str]:
    return read_text(path).replace("\r", "\n").split("\n")


def _comment(text: str) -> tuple[str, str]:
    """Return key and text of a line like "# source: ..."; two empty texts for another line."""
    match = re.fullmatch(r"#\s*([a-z]+)\s*:\s*(.*)", text.strip())
    return (match[1], match[2].strip()) if match and match[1] in _SAID else ("", "")


class _Reading:
    """A file while it is read, line by line."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.faults: list[Fault] = []
        self.said: dict[str, _Line] = {}
        self.columns: list[str] = []
        self.times: list[datetime] = []
        self.values: list[list[float | None]] = []
        self.last_line = 1

    def fault(self, line: int, message: str) -> None:
        """Note a fault; what does not print is shown as a question mark."""
        plain = "".join(each if each.isprintable() else "?" for each in message)
        self.faults.append(Fault(str(self.path), line, plain))

    def read(self, number: int, text: str) -> None:
        """Read one line."""
        if not text.strip():
            return
        self.last_line = number
        if text.lstrip().startswith("#"):
            key, rest = _comment(text)
            if key in self.said:
                self.fault(number, f"{key} is said twice, here and in line {self.said[key].number}; say it once")
            elif key:
                self.said[key] = _Line(number, rest)
            return
        try:
            cells = [cell.strip() for cell in next(csv.reader([text]), [])]
        except csv.Error:
            self.fault(number, "the line cannot be read; values stand between commas")
            return
        if self.columns:
            self._row(number, cells)
        else:
            self._header(number, cells)

    def _header(self, number: int, cells: list[str]) -> None:
        self.columns = cells
        if cells[0] != "time" or len(cells) < 2:
            self.fault(number, f'the first line begins "{cells[0][:40]}"; it must be time, then one quantity or more')
        for name in dict.fromkeys(cells[1:]):
            if name not in QUANTITIES:
                self.fault(number, f'"{name[:40]}" is no quantity known here; known: {", ".join(QUANTITIES)}')
            elif cells.count(name) > 1:
                self.fault(number, f"{name} stands twice; give it once")

    def _row(self, number: int, cells: list[str]) -> None:
        if len(cells) != len(self.columns):
            self.fault(number, f"the line has {len(cells)} values; the first line names {len(self.columns)}")
            return
        moment = self._moment(number, "time", cells[0])
        if moment is None:
            return
        if self.times and moment <= self.times[-1]:
            self.fault(number, f"{cells[0]} does not come after the line before; times must rise from line to line")
            return
        self.times.append(moment)
        named = zip(self.columns[1:], cells[1:], strict=True)
        self.values.append([self._value(number, name, cell) for name, cell in named])

    def _moment(self, line: int, name: str, text: str) -> datetime | None:
        try:
            moment = datetime.fromisoformat(text)
            if moment.tzinfo is not None:
                return moment.astimezone(UTC)
            self.fault(line, f'{name} is "{text}", without an offset from UTC; write it like 2026-11-25T06:00Z')
        except (ValueError, OverflowError):
            self.fault(line, f'{name} is "{text[:40]}"; it must be like 2026-11-25T06:00Z or 2026-11-25T05:00-01:00')
        return None

    def _value(self, line: int, name: str, cell: str) -> float | None:
        known = QUANTITIES.get(name)
        if known is None or not cell:
            return None
        if name == "thunder" and cell in _WORDS:
            return _WORDS[cell]
        if name == "thunder" or not re.fullmatch(r"-?[0-9]{1,7}(\.[0-9]{1,6})?", cell):
            wanted = "yes or no" if name == "thunder" else f"a number of {known.unit} with a point, or empty"
            self.fault(line, f'{name} is "{cell[:40]}"; it must be {wanted}')
            return None
        value = float(cell)
        if not known.lowest <= value <= known.highest:
            self.fault(line, f"{name} is {cell}; it must be from {known.lowest:g} to {known.highest:g} {known.unit}")
            return None
        return value

    def found(self) -> tuple[tuple[str, ...] | None, Forecast]:
        """Return what the file holds.  Raises BadRecord where it has a fault."""
        source = self.said.get("source")
        if source is None or not source.text:
            self.fault(source.number if source else 1, 'the source is missing; say whose it is: "# source: ..."')
        fetched = self._said_moment("fetched", 'say when it came: "# fetched: 2026-11-25T06:10Z"')
        issued = self._said_moment("issued", "") if "issued" in self.said else None
        if issued and fetched and issued > fetched:
            self.fault(self.said["issued"].number, "issued is after fetched; a forecast cannot come before it is made")
        sites = self._sites()
        if not self.columns:
            self.fault(self.last_line, "the file holds no forecast; after the comments comes a line like time,wind_m_s")
        elif not self.times and not self.faults:
            self.fault(self.last_line, "the file holds no line with a time; give one or more")
        if self.faults or source is None or fetched is None:
            raise BadRecord(tuple(self.faults))
        origin = Origin(source.text, fetched, issued)
        series = tuple(self._series(at, name, origin) for at, name in enumerate(self.columns[1:]))
        return sites, Forecast(series)

    def _said_moment(self, key: str, wanted: str) -> datetime | None:
        line = self.said.get(key)
        if line is None:
            self.fault(1, f"{key} is missing; {wanted}")
            return None
        return self._moment(line.number, key, line.text)

    def _sites(self) -> tuple[str, ...] | None:
        line = self.said.get("sites")
        if line is None:
            self.fault(1, 'sites is missing; say for which sites it is: "# sites: gull-cove, stair-ledge", or all')
            return None
        names = tuple(name.strip() for name in line.text.split(","))
        if names == ("all",):
            return None
        if not all(re.fullmatch(r"[A-Za-z0-9_-]+", name) for name in names) or "all" in names:
            self.fault(line.number, f'sites is "{line.text[:60]}"; name sites by their files, with commas, or say all')
        return names

    def _series(self, at: int, name: str, origin: Origin) -> Series:
        values = tuple(row[at] for row in self.values)
        times = tuple(self.times)
        if name == "rain_mm":  # the first line has none before it, so its rain fell in a time that is not known
            return Series(name, times[:-1], times[1:], values[1:], origin)
        return Series(name, times, times, values, origin)
