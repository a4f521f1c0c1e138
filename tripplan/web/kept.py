"""The store behind the pages, opened when a page first needs it."""

from __future__ import annotations

import threading

from flask import current_app

from tripplan.store.database import Store, default_path, sqlite_url
from tripplan.store.told import cache_folder

_opening = threading.Lock()


def kept() -> Store:
    """Return the store of this app.  Raises StoreFault when it cannot be opened."""
    with _opening:
        store: Store | None = current_app.extensions.get("tripplan_store")
        if store is None:
            url: str | None = current_app.extensions.get("tripplan_store_url")
            path = current_app.extensions["tripplan_shelf"].path
            if url is None and current_app.extensions["tripplan_young"]:
                url = sqlite_url(cache_folder(path) / "store.sqlite")  # a demonstration keeps nothing for good
            store = Store(url or sqlite_url(default_path(path)))
            current_app.extensions["tripplan_store"] = store
        return store
