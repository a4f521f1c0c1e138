"""The board of a schedule in a real browser: narrow and wide, crowded and long, and a page that looks by itself."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.browser.test_browser import browser, pytestmark  # noqa: F401 -- the same browser, skipped where there is none
from tests.sample_schedule import crowded_schedule, long_schedule, sample_schedule
from tests.web.schedule_week import NOW, SLUG, keep_week, week_folder
from tripplan.planning.schedule import Progress
from tripplan.store.database import Store, sqlite_url
from tripplan.store.schedule_jobs import ask, finish, take, write_progress
from tripplan.web.app import create_app

BOARD = f"/schedules/{SLUG}"


@pytest.fixture(scope="module")
def there(kept_on, tmp_path_factory) -> Iterator[tuple[str, Store, Path]]:
    from waitress.server import create_server

    path = tmp_path_factory.mktemp("board")
    folder = week_folder(path)
    store = Store(sqlite_url(path / "store.sqlite"))
    app = create_app(folder, clock=lambda: NOW, records=path / "records", store=store)
    server = create_server(app, host="127.0.0.1", port=0)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.effective_port}", store, folder
    server.close()
    thread.join(timeout=5)
    store.close()


@pytest.mark.parametrize("width", [320, 390, 1280])
def test_no_board_scrolls_sideways_however_much_stands_on_it(browser, there, width):  # noqa: F811
    address, store, folder = there
    week, crowd, long = (
        keep_week(store, folder, made) for made in (sample_schedule(), crowded_schedule(), long_schedule())
    )
    context = browser.new_context(viewport={"width": width, "height": 844})
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    for which, day in ((week, "2026-12-08"), (week, "all"), (crowd, "2026-12-07"), (long, "2026-12-09"), (long, "all")):
        page.goto(f"{address}{BOARD}?result={which}&day={day}")
        page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"number {which}, {day} is {wide} px wide at {width} px"
        assert page.is_visible(".lanes") == (width > 900)
        if width < 900:
            small = page.evaluate(
                """[...document.querySelectorAll('body *')].filter(each => !each.closest('svg, code, thead')
                    && [...each.childNodes].some(node => node.nodeType === 3 && node.textContent.trim())
                    && parseFloat(getComputedStyle(each).fontSize) < 16).map(each => each.textContent.trim())"""
            )
            assert small == []
    page.goto(f"{address}{BOARD}/history")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert complaints == []
    context.close()


def test_a_bar_leads_to_its_details_by_keyboard_and_without_script(browser, there):  # noqa: F811
    address, store, folder = there
    number = keep_week(store, folder)
    context = browser.new_context(java_script_enabled=False, viewport={"width": 1280, "height": 844})
    page = context.new_page()
    page.goto(f"{address}{BOARD}?result={number}&day=2026-12-08")
    page.focus("td.bar.outing a >> nth=0")
    page.keyboard.press("Enter")
    assert "Terns, dives 1 to 2" in page.inner_text("article:target")
    context.close()


def test_the_page_looks_by_itself_how_far_it_is_and_shows_what_was_made(browser, there):  # noqa: F811
    address, store, folder = there
    keep_week(store, folder)
    asked = ask(store, SLUG, "Ann", 60.0)[0]
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(f"{address}{BOARD}")
    assert "It waits for a program" in page.inner_text("#job-words")
    mine = take(store, asked.number, "w1", datetime.now(UTC))
    write_progress(store, asked.number, Progress(3.0, 8, 20, 7240, 7600, "8 of 20"))
    page.wait_for_selector("#job-words:has-text('8 of 20 dives')")
    assert mine is not None
    finish(store, mine, "done", result=keep_week(store, folder))
    page.wait_for_selector("#job", state="detached")
    assert "17 of 20 dives have a place" in page.inner_text(".answer")
    context.close()
