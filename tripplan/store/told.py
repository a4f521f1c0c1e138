"""What is told about each site: forecasts from services and files, and what was seen; put beside the folder's world."""

from __future__ import annotations

import hashlib
import os
import threading
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tripplan.environment.conditions import Conditions, Forecast, Seen
from tripplan.errors import BadRecord
from tripplan.planning.observed import observed_from
from tripplan.planning.world import World
from tripplan.record import read_toml
from tripplan.store.folder import Folder

if TYPE_CHECKING:
    from tripplan.feeds.session import FeedSession

MOST_TOGETHER = 16  # sites asked about at once; further ones wait their turn


def cache_folder(folder: Path) -> Path:
    """Return where the answers of forecast services are kept for a centre's folder, outside of it."""
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    name = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:12]
    return Path(base) / "tripplan" / name


def read_observed(path: Path, sites: Mapping[str, object]) -> Mapping[str, tuple[Seen, ...]]:
    """Read a file of observations.  Raises BadRecord with file and line of every fault."""
    file = read_toml(path)
    found = observed_from(file, sites)
    if found.faults:
        raise BadRecord(tuple(file.fault(("observed", number, "site"), words) for number, words in found.faults))
    return found.seen


class Teller:
    """Asks the forecast services that a folder names, and remembers their answers; asks nobody where none is named."""

    def __init__(self, cache: Path | None = None) -> None:
        """Keep answers in a folder; None: in the user's cache."""
        self._cache = cache
        self._session: FeedSession | None = None
        self._asked_for: object = None
        self._lock = threading.Lock()  # two pages may ask at once

    def forecast(self, folder: Folder, slug: str, now: datetime) -> Forecast | None:
        """Return what services and files say about a site, services first; None where nobody says anything."""
        told = folder.forecasts.get(slug)
        if not folder.feeds.any_forecast:
            return told
        from tripplan.feeds.forecasts import fetch_forecast

        site = folder.sites[slug]
        fetched = fetch_forecast(
            site.position.latitude_deg,
            site.position.longitude_deg,
            folder.feeds,
            self._open(folder),
            now,
            sea=site.water.kind != "fresh",
        )
        if fetched is None or told is None:
            return fetched or told
        return Forecast((*fetched.series, *told.series), (*fetched.notes, *told.notes), fetched.members)

    def forecasts(self, folder: Folder, slugs: Sequence[str], now: datetime) -> list[Forecast | None]:
        """Return the forecasts of several sites, asked for together: a board waits no longer than a plan does."""
        if len(slugs) < 2 or not folder.feeds.any_forecast:
            return [self.forecast(folder, slug, now) for slug in slugs]
        self._open(folder)  # once, before several ask for it
        with ThreadPoolExecutor(min(len(slugs), MOST_TOGETHER)) as together:
            return list(together.map(lambda slug: self.forecast(folder, slug, now), slugs))

    def _open(self, folder: Folder) -> FeedSession:
        from tripplan.feeds.session import FeedSession

        with self._lock:
            if self._session is None or self._asked_for != folder.feeds:
                if self._session is not None:
                    self._session.close()
                cache = self._cache or cache_folder(folder.path)
                cache.mkdir(parents=True, exist_ok=True)
                self._session = FeedSession(folder.feeds, cache)
                self._asked_for = folder.feeds
            return self._session

    def close(self) -> None:
        """Let go of the kept answers' file."""
        if self._session is not None:
            self._session.close()
            self._session = None


def told_world(
    folder: Folder,
    slugs: Iterable[str],
    now: datetime,
    teller: Teller,
    more: Mapping[str, tuple[Seen, ...]] | None = None,
) -> World:
    """Return the folder's world with what is told about some sites: forecasts, what the folder's file saw, and more.

    more -- what was seen besides, by site
    """
    conditions = dict(folder.world.conditions)
    known = [slug for slug in slugs if slug in folder.sites]
    for slug, forecast in zip(known, teller.forecasts(folder, known, now), strict=True):
        seen = (*folder.seen.get(slug, ()), *(more or {}).get(slug, ()))
        if forecast is not None or seen:
            conditions[slug] = Conditions(forecast, seen)
    return replace(folder.world, conditions=conditions)
