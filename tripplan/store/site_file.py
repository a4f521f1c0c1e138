"""A site's file as the pages write it: named after the site, judged by the reader of files, old ones kept."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from tripplan.catalogue.site import Site, check_links, site_from
from tripplan.environment.zone_places import doubts_of_place
from tripplan.errors import BadRecord
from tripplan.record import Location, TomlFile, read_toml
from tripplan.store.records import CannotKeep
from tripplan.store.toml_text import ToldFile, comments_in, fresh_toml, merged_toml
from tripplan.store.written import EARLIER_FOLDER, OtherFile, put_new, put_over, shipped, stamp_of

LONGEST_SLUG = 60
# An address of the pages, and names that some systems keep.
NOT_NAMES = re.compile("new|con|prn|aux|nul|com[0-9]|lpt[0-9]")
MOST_OF_ONE_NAME = 100
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")


class NotByForm(CannotKeep):
    """A site's file holds something that a form cannot carry; it is changed by hand."""


@dataclass(frozen=True)
class SiteFile:
    """A site's file as it was read: its name, its values, and what tells its content from another."""

    path: Path
    text: str
    values: Mapping[str, Any]
    stamp: str


@dataclass(frozen=True)
class Judged:
    """A site's file that is not written yet, and what the reader of files says of it."""

    slug: str
    text: str
    site: Site | None  # None: it has faults
    faults: tuple[tuple[Location, str], ...] = ()  # where in the values, and a sentence
    warnings: tuple[str, ...] = ()  # what does not keep it from being read, and must be mended elsewhere
    comments_lost: tuple[str, ...] = ()  # comments of the old file that have no place in the new one
    anew: bool = False  # the old text could not be changed in place


def slug_of(name: str) -> str:
    """Return the file's name for a site: plain small letters, digits and "-" of what the site is called.

    >>> slug_of("Gull Cove (north)")
    'gull-cove-north'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().casefold()
    made = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:LONGEST_SLUG].strip("-") or "site"
    return f"{made}-site" if NOT_NAMES.fullmatch(made) else made


def free_slug(folder: Path, name: str) -> str:
    """Return the name of a file that is not there yet, whatever its capitals.  Raises CannotKeep where none is free."""
    there = {each.stem.casefold() for each in folder.iterdir() if each.suffix.lower() == ".toml"}
    slug = slug_of(name)
    for number in range(1, MOST_OF_ONE_NAME):
        if (made := slug if number == 1 else f"{slug}-{number}") not in there:
            return made
    raise CannotKeep(f"{MOST_OF_ONE_NAME - 1} files are called {slug} already; give the site another name")


def read_site_file(folder: Path, slug: str) -> SiteFile | None:
    """Return a site's file; None where there is no such file.

    Raises BadRecord where it is not TOML, NotByForm where it holds letters that no form brings back as they were.
    """
    path = folder / f"{slug}.toml"
    if not re.fullmatch(r"\w[\w.-]*", slug) or not path.is_file():
        return None
    stamp = stamp_of(path)
    values = read_toml(path).data
    if odd := next(_odd(values), ""):
        raise NotByForm(f"{path.name} holds characters in {odd} that no form can carry; change it by hand")
    return SiteFile(path, path.read_text(encoding="utf-8-sig").replace("\r\n", "\n"), values, stamp)


def _odd(value: Any, at: str = "the file") -> Iterator[str]:
    if isinstance(value, str) and _CONTROL.search(value):
        yield at
    elif isinstance(value, Mapping):
        for key, each in value.items():
            yield from _odd(each, str(key))
    elif isinstance(value, tuple):
        for each in value:
            yield from _odd(each, at)


def judged_site(
    folder: Path,
    slug: str,
    values: Mapping[str, Any],
    sites: Mapping[str, Site],
    stations: Iterable[str],
    day: date,
    old: SiteFile | None = None,
) -> Judged:
    """Return the text that values make, and what the reader of files says of it.

    slug -- the name of the file without .toml;  sites, stations -- what else is in the folder
    day -- of writing, for the first line;  old -- the file that it is to stand in the place of
    """
    ordered = {name: values[name] for name in Site.model_fields if name in values}
    ordered |= {name: value for name, value in values.items() if name not in ordered}
    text = fresh_toml(ordered, f"A dive site, written by the form on {day}. Comments that are added here stay.")
    anew = False
    lost: tuple[str, ...] = ()
    if old is not None:
        changed = merged_toml(old.text, ordered)
        anew, text = changed is None, changed or text
        lost = tuple((comments_in(old.text) - comments_in(text)).elements())
    path = folder / f"{slug}.toml"
    try:
        file = ToldFile(path, text)
    except BadRecord as error:  # the writer of texts is wrong: never the form's fault, and never written
        raise CannotKeep(f"{path.name}: the text could not be read again: {error}; nothing was written") from error
    try:
        site = site_from(file)
    except BadRecord:
        return Judged(slug, text, None, tuple(dict.fromkeys(file.told)), (), lost, anew)
    others = {name: each for name, each in sites.items() if name != slug}
    files = {name: TomlFile(folder / f"{name}.toml", "") for name in others}
    check_links({**others, slug: site}, stations, {**files, slug: file})
    names = [told for told in file.told if told[0] != ("tide", "station")]
    if names:
        return Judged(slug, text, None, tuple(names), (), lost, anew)
    # A station whose file is still to come is a stop on every plan until it is there.
    warnings = tuple(f"{said}. Until it is, every plan here is a stop." for _, said in file.told)
    if not site.demonstration:
        warnings += doubts_of_place(site.position, site.timezone, site.country)
    warnings += tuple(_doubts_of_water(site))
    return Judged(slug, text, site, (), warnings, lost, anew)


def _doubts_of_water(site: Site) -> Iterator[str]:
    """Yield where open water lies behind the shore: the bearing was read the other way round, or seen from the sea."""
    faces = ", ".join(f"{access.name}: {access.facing_deg:g}" for access in site.entries)
    for sector in site.exposure.open_to_swell:
        width = int((sector.to_deg - sector.from_deg) % 360)
        if not any(_seaward(site, sector.from_deg + n) for n in range(width + 1)):
            yield (
                f"Open to swell from {sector.from_deg:g} to {sector.to_deg:g} degrees, but no way in or out faces "
                f"there ({faces}): is it where the swell comes from, clockwise, as seen from the site?"
            )
    widest = max(site.exposure.fetch, key=lambda fetch: fetch.km, default=None)
    if widest is not None and widest.km > 0 and not _seaward(site, widest.bearing_deg):
        yield (
            f"The most open water, {widest.km:g} km, lies on {widest.bearing_deg:g} degrees, but no way in or out "
            f"faces there ({faces}): is it the bearing towards the water, as seen from the site?"
        )


def _seaward(site: Site, bearing_deg: float) -> bool:
    """Whether a bearing lies in front of one of the ways in and out, within a right angle of where it faces."""
    return any(abs((bearing_deg - access.facing_deg + 180) % 360 - 180) <= 90 for access in site.entries)


def save_new_site(folder: Path, judged: Judged) -> Path:
    """Write the file of a new site.

    Raises OtherFile where a file of its name is there by now, CannotKeep where it cannot be written or has faults.
    """
    _refuse(folder, judged)
    path = folder / f"{judged.slug}.toml"
    put_new(path, judged.text)
    return path


def save_site(folder: Path, judged: Judged, stamp: str, at: datetime) -> Path:
    """Put a site's new file in the place of the old one, and return where the old one is kept.

    Raises OtherFile where the old one was changed since it was read, CannotKeep where it cannot be written.
    """
    _refuse(folder, judged)
    return put_over(folder / f"{judged.slug}.toml", judged.text, stamp, at, folder / EARLIER_FOLDER)


def _refuse(folder: Path, judged: Judged) -> None:
    if shipped(folder):
        raise CannotKeep("the demonstration that comes with the program stays as it is; nothing was written")
    if judged.site is None:
        raise CannotKeep(f"{judged.slug}.toml has faults; nothing was written")


__all__ = [
    "Judged",
    "NotByForm",
    "OtherFile",
    "SiteFile",
    "free_slug",
    "judged_site",
    "read_site_file",
    "save_new_site",
    "save_site",
    "slug_of",
]
