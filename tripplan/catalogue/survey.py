"""Reading a whole catalogue: site files and the stations they name, judged together, every fault of every file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tripplan.catalogue.site import Site, check_links, site_from
from tripplan.catalogue.station import Station, looks_like_station, read_stations
from tripplan.errors import BadRecord, Fault
from tripplan.record import TomlFile, read_toml

STATIONS_FOLDER = "stations"
NOTHING_FOUND = "no site and no station file (.toml) was found here"


@dataclass(frozen=True)
class Survey:
    """What was found: the files that can be used, by slug, and why the others cannot."""

    sites: dict[str, Site]
    stations: dict[str, Station]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...] = ()  # what could not be judged, one sentence each


def survey(paths: Sequence[Path]) -> Survey:
    """Read site and station files, and folders of them.

    A folder is searched for .toml files directly in it, and for stations in the ``stations`` folder inside it. A file
    given by itself is a station or a site by what it holds; a site's station is looked for in ``stations`` beside it.
    Nothing is raised for a bad file: one fault never hides another.
    """
    found = _Found()
    for path in paths:
        if path.is_dir():
            found.folder(path)
        else:
            found.file(path)
    return found.judged(paths)


class _Found:
    """The files met on the way, each once."""

    def __init__(self) -> None:
        self.seen: set[Path] = set()
        self.site_files: list[TomlFile] = []
        self.station_paths: list[Path] = []
        self.alone: list[TomlFile] = []  # site files given by themselves
        self.faults: list[Fault] = []

    def folder(self, path: Path) -> None:
        for each in self._listed(path):
            self._take(each)
        inside = path / STATIONS_FOLDER
        if inside.is_dir():
            for each in self._listed(inside):
                if self._first_time(each):
                    self.station_paths.append(each)

    def file(self, path: Path) -> None:
        if (site := self._take(path)) is not None:
            self.alone.append(site)

    def _listed(self, folder: Path) -> list[Path]:
        try:
            entries = sorted(folder.iterdir())
        except OSError as error:
            self.faults.append(Fault(str(folder), 1, f"the folder cannot be read: {error.strerror or error}"))
            return []
        return [e for e in entries if e.suffix.lower() == ".toml" and not e.name.startswith(".") and not e.is_dir()]

    def _first_time(self, path: Path) -> bool:
        where = path.resolve()
        if where in self.seen:
            return False
        self.seen.add(where)
        return True

    def _take(self, path: Path) -> TomlFile | None:
        """Read a file once and put it where it belongs; return it when it is a site."""
        if not self._first_time(path):
            return None
        try:
            file = read_toml(path)
        except BadRecord as error:
            self.faults.extend(error.faults)
            return None
        if looks_like_station(file.data):
            self.station_paths.append(path)
            return None
        self.site_files.append(file)
        return file

    def _station_beside(self, file: TomlFile) -> None:
        """Take the station that a site names, and that station's reference, from the folder beside the site."""
        tide = file.data.get("tide")
        name = tide.get("station") if isinstance(tide, dict) else None
        while isinstance(name, str) and name and Path(name).name == name:
            path = file.path.parent / STATIONS_FOLDER / f"{name}.toml"
            if not path.is_file() or not self._first_time(path):
                return
            self.station_paths.append(path)
            try:
                name = read_toml(path).data.get("reference")
            except BadRecord:
                return  # its faults come with the stations

    def judged(self, paths: Sequence[Path]) -> Survey:
        for file in self.alone:
            self._station_beside(file)
        stations, station_faults = read_stations(self.station_paths)
        self.faults.extend(station_faults)
        sites: dict[str, Site] = {}
        files: dict[str, TomlFile] = {}
        for file in self.site_files:
            try:
                site = site_from(file)
            except BadRecord as error:
                self.faults.extend(error.faults)
                continue
            if site.slug in files:
                other = files[site.slug].path
                self.faults.append(
                    file.fault((), f'"{site.slug}" is also the name of {other}; rename one of the files')
                )
                continue
            sites[site.slug], files[site.slug] = site, file
        slugs = {path.stem for path in self.station_paths}  # a station that was refused is there all the same
        for file in self.alone:
            if _has_stations(file):
                slugs |= {path.stem for path in self._listed(file.path.parent / STATIONS_FOLDER)}
        lone = {slug for slug, file in files.items() if file in self.alone and not slugs and not _has_stations(file)}
        self.faults.extend(check_links({s: site for s, site in sites.items() if s not in lone}, slugs, files))
        notes = tuple(
            f'{files[slug].path}: tide.station "{sites[slug].tide.station}" was not looked for: '
            f'there is no folder "{STATIONS_FOLDER}" beside the file.'
            for slug in sorted(lone)
            if sites[slug].tide.station
        )
        if not self.site_files and not self.station_paths and not self.faults:
            where = str(paths[0]) if paths else "."
            self.faults.append(Fault(where, 1, NOTHING_FOUND))
        return Survey(sites, stations, tuple(sorted(set(self.faults))), notes)


def _has_stations(file: TomlFile) -> bool:
    return (file.path.parent / STATIONS_FOLDER).is_dir()
