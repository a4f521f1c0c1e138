"""The store behind the pages, opened when a page first needs it."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from flask import current_app

from tripplan.store.database import DayEntries, KeptPlan, Store, StoreFault, default_path, sqlite_url
from tripplan.store.told import cache_folder

TRY_AGAIN_S = 10.0  # a store that did not open is left alone so long: every page would wait for it
MOST_DAYS = 16  # that are remembered
_opening = threading.Lock()


def kept() -> Store:
    """Return the store of this app.  Raises StoreFault when it cannot be opened."""
    with _opening:
        store: Store | None = current_app.extensions.get("tripplan_store")
        if store is None:
            store = Store(_address())
            current_app.extensions["tripplan_store"] = store
        return store


def store_if_there() -> Store | None:
    """Return the store; None where there is none yet: looking at a page makes none.  Raises StoreFault."""
    held = current_app.extensions
    if held.get("tripplan_store") is None:
        address = _address()
        if address.startswith("sqlite:///"):
            file = Path(address.removeprefix("sqlite:///"))
            try:
                if not file.exists():
                    return None
            except OSError as error:
                raise StoreFault(f"the store {file} cannot be looked at: {error.strerror}") from error
        refused: tuple[float, str] | None = held.get("tripplan_store_refused")
        if refused and time.monotonic() - refused[0] < TRY_AGAIN_S:
            raise StoreFault(refused[1])
    try:
        return kept()
    except StoreFault as error:
        held["tripplan_store_refused"] = (time.monotonic(), str(error))
        raise


# ---- the day as it goes, which many phones ask for again and again ----


@dataclass(frozen=True)
class KeptDay:
    """What is kept of a day at a site; the same object in turn while nothing was added."""

    entries: DayEntries
    numbers: tuple[int, ...]  # of the plans
    plans: tuple[KeptPlan, ...]  # the last kept last


def kept_day(day: date, site: str) -> KeptDay:
    """Return what is kept of a day at a site: what was read before is not read again.  Raises StoreFault."""
    store = kept()
    held: dict[tuple[str, date, str], KeptDay] = current_app.extensions.setdefault("tripplan_kept_days", {})
    key = (store.url, day, site)
    before = held.get(key)
    numbers = store.plan_numbers(day, site)
    if before is None or before.numbers != numbers:
        found = KeptDay(store.entries_of_day(day, site), numbers, store.plans(day, site))
    else:
        entries = store.entries_of_day(day, site, before.entries)
        found = before if entries is before.entries else KeptDay(entries, numbers, before.plans)
    if found is not before:
        if len(held) >= MOST_DAYS:
            held.clear()
        held[key] = found
    return found


def _address() -> str:
    """Return where the store of this app is kept."""
    url: str | None = current_app.extensions.get("tripplan_store_url")
    path: Path = current_app.extensions["tripplan_shelf"].path
    if url is None and current_app.extensions["tripplan_young"]:
        return sqlite_url(cache_folder(path) / "store.sqlite")  # a demonstration keeps nothing for good
    return url or sqlite_url(default_path(path))
