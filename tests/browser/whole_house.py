"""A served centre in which every page has something to show: accounts, a schedule, a day of diving that is today.

What a new page needs to be visited: a line in PAGES of test_browser.py, or one in MORE where it needs this house.
"""

from __future__ import annotations

import shutil
import threading
from datetime import UTC, datetime
from pathlib import Path

from argon2 import PasswordHasher

from tests.browser.test_browser import PAGES
from tests.web.schedule_week import SLUG, keep_week, week_folder
from tripplan.data_files import data_dir
from tripplan.store.accounts import CENTRE, Accounts, Limits
from tripplan.store.database import Store, sqlite_url
from tripplan.web.app import create_app

NOW = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)
NAME, PASSWORD = "Greta Holm", "seven wet gulls on a wall"
BOARD = f"/schedules/{SLUG}"
LIVE = "/today/stair-ledge?date=2026-12-12"
MORE = (
    "/account",
    "/accounts",
    "/today",
    "/today?date=2026-12-12",
    LIVE,
    "/today/stair-ledge/record?date=2026-12-12",
    BOARD,
    f"{BOARD}?day=2026-12-08",
    f"{BOARD}?day=all",
    f"{BOARD}/history",
    "/schedules/december-week",
    "/sites/nowhere",
    "/limits?depth=deep&minutes1=20",
    "/board?date=x",
    "/season?site=nowhere&from=x",
    "/sheets/stair-ledge?date=2026-12-12&language=es",
)
EVERY_PAGE = tuple(dict.fromkeys((*PAGES, *MORE)))


class House:
    """The server and what it serves."""

    def __init__(self, path: Path) -> None:
        from waitress.server import create_server

        self.folder = week_folder(path)
        shutil.copy(data_dir("sites") / "schedules" / "december-week.toml", self.folder / "schedules")
        self.store = Store(sqlite_url(path / "store.sqlite"))
        accounts = Accounts(self.store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
        self.app = app = create_app(
            self.folder,
            clock=lambda: NOW,
            records=path / "records",
            feed_cache=path / "feeds",
            store=self.store,
            accounts=accounts,
        )
        limits = Limits.of(app.extensions["tripplan_shelf"].folder.world.rules)
        accounts.add(NAME, CENTRE, PASSWORD, by="the test", now=NOW, limits=limits)
        keep_week(self.store, self.folder)
        self.server = create_server(app, host="127.0.0.1", port=0)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        self.address = f"http://127.0.0.1:{self.server.effective_port}"

    def kind_of(self, path: str) -> str:
        """Return what answers at a path, or the path itself where nothing does."""
        from werkzeug.exceptions import HTTPException

        try:
            return str(self.app.url_map.bind("localhost").match(path.split("?")[0])[0])
        except HTTPException:
            return path

    def close(self) -> None:
        self.server.close()
        self.thread.join(timeout=5)
        self.store.close()


def sign_in(page, address: str) -> None:
    """Sign in by the form, whatever the page was asked for before."""
    page.goto(f"{address}/sign-in")
    page.fill("#name", NAME)
    page.fill("#password", PASSWORD)
    page.click("main button")
