"""The commands ``tide``, ``tide-table`` and ``daylight``."""

from __future__ import annotations

import argparse
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tripplan.cli.common import FINE, REFUSED, Refused, add_json, complain, read_day, show, whole, write_whole
from tripplan.errors import BadRecord

if TYPE_CHECKING:
    from tripplan.catalogue.station import Station

LONGEST_TIDE_DAYS = 3660  # ten years: enough for every use, short enough to answer
MOST_HEIGHTS = 1_000_000


def tide_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_tide)
    sub.add_argument("station", metavar="STATION", help="name of a station in the folder, or a station file")
    sub.add_argument(
        "--from", dest="start", required=True, metavar="T", help="ISO 8601; without offset: station's zone"
    )
    sub.add_argument("--to", dest="end", required=True, metavar="T", help="ISO 8601, included")
    sub.add_argument("--every", type=whole, metavar="MIN", help="also heights every so many minutes")
    sub.add_argument("--folder", type=Path, metavar="FOLDER", help="where named stations are (the demonstration)")
    add_json(sub)


def tide_table_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_tide_table)
    sub.add_argument("station", metavar="NUMBER", help="the station's number at the authority, like 9414290")
    sub.add_argument("--from", dest="first", required=True, metavar="D", help="first day, UTC")
    sub.add_argument("--to", dest="last", required=True, metavar="D", help="last day, included")
    sub.add_argument("--csv", type=Path, required=True, metavar="FILE", help="the table to write")
    sub.add_argument("--folder", type=Path, required=True, metavar="FOLDER", help="the centre's, for centre/feeds.toml")


def daylight_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_daylight)
    sub.add_argument("position", metavar='"LAT, LON"', help="decimal degrees, or degrees and decimal minutes")
    sub.add_argument("day", metavar="DATE", help="like 2027-06-12")
    sub.add_argument("--timezone", required=True, metavar="TZ", help="IANA name, like Atlantic/Azores")
    add_json(sub)


def _station(text: str, folder: Path | None) -> Station:
    """Find a station by its file, or by slug or name in a folder."""
    from tripplan.catalogue.station import read_stations
    from tripplan.data_files import data_dir

    path = Path(text)
    if path.suffix == ".toml" or path.is_file():
        beside = tuple(p for p in sorted(path.parent.glob("*.toml")) if p.name != path.name)
        others = tuple(p for p in beside if _is_station_file(p))
        stations, faults = read_stations((path, *others))
        mine = tuple(fault for fault in faults if Path(fault.file) == path or fault.file.endswith(".csv"))
        if path.stem not in stations:
            raise BadRecord(mine or faults)
        return stations[path.stem]
    home = (folder or data_dir("sites")) / "stations"
    stations, faults = read_stations(tuple(sorted(home.glob("*.toml"))))
    wanted = text.casefold().strip()
    for slug, station in stations.items():
        if wanted in (slug.casefold(), station.name.casefold()):
            return station
    if faults:
        raise BadRecord(faults)
    raise Refused(f'station "{text}" is neither a file nor known; known: {", ".join(stations) or "none"}')


def _is_station_file(path: Path) -> bool:
    from tripplan.catalogue.station import looks_like_station
    from tripplan.record import read_toml

    try:
        return looks_like_station(read_toml(path).data)
    except BadRecord:
        return False


def _moment(text: str, timezone: str, what: str) -> datetime:
    """Read an ISO 8601 time; without an offset it is on the station's clock."""
    from zoneinfo import ZoneInfo

    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Refused(
            f'{what} is "{text}"; give a date or time like 2027-06-12, 2027-06-12T08:00 or 2027-06-12T08:00:00+00:00'
        ) from None
    return moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(timezone))


def _tide(options: argparse.Namespace) -> int:
    from zoneinfo import ZoneInfo

    import numpy as np

    from tripplan.environment.tide import minutes_utc

    station = _station(options.station, options.folder)
    zone = ZoneInfo(station.timezone)
    start = _moment(options.start, station.timezone, "--from")
    end = _moment(options.end, station.timezone, "--to")
    if not start.timestamp() < end.timestamp():
        raise Refused(f"--to {options.end} is not after --from {options.start}")
    if (end.timestamp() - start.timestamp()) / 86400 > LONGEST_TIDE_DAYS:
        raise Refused(f"--from {options.start} --to {options.end} is longer than {LONGEST_TIDE_DAYS} days")
    tide = station.tide
    if tide is None:
        raise Refused(f'station "{options.station}" has no tide that can be reckoned: its reference station is missing')
    notes = list(tide.sentences())
    events: list[dict[str, Any]] = [
        {"time": point.time.astimezone(zone).isoformat(timespec="seconds"), "kind": point.kind,
         "height_m": round(point.height_m, 3)}
        for point in tide.turning_points(start, end + timedelta(seconds=1))
    ]  # fmt: skip
    answer: dict[str, Any] = {
        "station": station.name,
        "datum": station.datum,
        "timezone": station.timezone,
        "events": events,
    }
    if options.every is not None:
        if not 1 <= options.every <= 1440:
            raise Refused(f"--every is {options.every}; it must be from 1 to 1440 minutes")
        times = minutes_utc(start, end + timedelta(minutes=1))[:: options.every]
        if len(times) > MOST_HEIGHTS:
            raise Refused(f"that is {len(times):,} heights; at most {MOST_HEIGHTS:,} are given at once")
        heights = tide.heights_m(times)
        answer["heights"] = [
            {"time": _local(time, zone), "height_m": None if math.isnan(height) else round(float(height), 3)}
            for time, height in zip(times, heights, strict=True)
        ]
        if np.isnan(heights).any():
            notes.append(f"{int(np.isnan(heights).sum())} of {len(heights)} heights are not known: outside the table.")
    if not events and not any(row["height_m"] is not None for row in answer.get("heights", [])):
        notes.append("No high or low water is known between these times.")
    answer["notes"] = notes
    if options.json:
        show(answer)
    else:
        print(f"{station.name}, metres above {station.datum}, {station.timezone}. Predicted: weather moves the sea.")
        for event in events:
            print(f"{event['time'][:16].replace('T', ' ')}  {event['kind']:4}  {event['height_m']:6.2f} m")
        for row in answer.get("heights", []):
            height = "not known" if row["height_m"] is None else f"{row['height_m']:6.2f} m"
            print(f"{row['time'][:16].replace('T', ' ')}        {height}")
        for note in notes:
            print(f"Note: {note}")
    return FINE


def _tide_table(options: argparse.Namespace) -> int:
    from tripplan.feeds.session import FeedSession
    from tripplan.feeds.settings import read_feed_settings
    from tripplan.feeds.tide_events import fetch_tide_events, tide_table_csv
    from tripplan.store.told import cache_folder

    first, last = read_day(options.first, "--from"), read_day(options.last, "--to")
    settings = read_feed_settings(options.folder)
    kept = cache_folder(options.folder)
    kept.mkdir(parents=True, exist_ok=True)
    session = FeedSession(settings, kept)
    try:
        events = fetch_tide_events(options.station, first, last, settings, session, datetime.now(UTC))
    finally:
        session.close()
    for note in events.notes:
        complain(note.sentence)
    if not events.points:
        return REFUSED
    write_whole(options.csv, tide_table_csv(events).encode())
    print(f"{options.csv}: {len(events.points)} high and low waters above {events.datum}")
    return FINE


def _local(time: Any, zone: Any) -> str:
    from datetime import UTC

    return datetime.fromisoformat(f"{time}").replace(tzinfo=UTC).astimezone(zone).isoformat(timespec="seconds")


def _daylight(options: argparse.Namespace) -> int:
    from zoneinfo import ZoneInfo

    from tripplan.environment.daylight import daylight
    from tripplan.environment.position import read_position

    position = read_position(options.position)
    day = read_day(options.day, "DATE")
    try:
        ZoneInfo(options.timezone)
    except (KeyError, ValueError, OSError):
        raise Refused(f'--timezone "{options.timezone}" is not known; give an IANA name like Atlantic/Azores') from None
    light = daylight(position.latitude_deg, position.longitude_deg, day, options.timezone)
    names = ("civil_dawn", "sunrise", "solar_noon", "sunset", "civil_dusk")
    moments: dict[str, datetime | None] = {name: getattr(light, name) for name in names}
    if options.json:
        answer: dict[str, Any] = {
            name: moment.isoformat(timespec="seconds") if moment else None for name, moment in moments.items()
        }
        show({**answer, "note": light.note, "moon": light.moon_words, "position": position.degrees_minutes})
    else:
        print(f"{position.degrees_minutes}, {day}, {options.timezone}")
        for name, moment in moments.items():
            print(f"{name.replace('_', ' '):11} {f'{moment:%Y-%m-%d %H:%M}' if moment else 'none'}")
        print(f"moon        {light.moon_words}")
        if light.note:
            print(f"Note: {light.note}")
    return FINE


COMMANDS = {"tide": tide_words, "tide-table": tide_table_words, "daylight": daylight_words}
