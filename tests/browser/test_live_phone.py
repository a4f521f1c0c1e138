"""The day's page on a phone whose connection comes and goes: every press is one entry, in order, none lost."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from test_browser import CHROMIUM, pytestmark  # noqa: F401 -- the same condition for running at all

from tripplan.data_files import data_dir
from tripplan.planning.event import Event
from tripplan.store.database import Store, sqlite_url
from tripplan.web.app import create_app

DAY = date(2026, 12, 12)
BEGAN = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)
PAGE = "/today/stair-ledge?date=2026-12-12&by=Greta%20Holm"
CLOCK = """(() => { const Real = Date, off = Date.parse("2026-12-12T12:50:00Z") - Real.now();
window.Date = class extends Real { constructor(...a) { super(...(a.length ? a : [Real.now() + off])); }
static now() { return Real.now() + off; } }; })()"""


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[str, Path]]:
    from waitress.server import create_server

    path, start = tmp_path / "store.sqlite", time.monotonic()

    def clock() -> datetime:
        return datetime.fromtimestamp(BEGAN.timestamp() + time.monotonic() - start, UTC)

    app = create_app(data_dir("sites"), clock=clock, records=tmp_path / "records")
    app.extensions["tripplan_store_url"] = sqlite_url(path)
    server = create_server(app, host="127.0.0.1", port=0)
    threading.Thread(target=server.run, daemon=True).start()
    yield f"http://127.0.0.1:{server.effective_port}", path
    server.close()
    if store := app.extensions.get("tripplan_store"):
        store.close()


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as player:
        chromium = player.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield chromium
        chromium.close()


@contextmanager
def phone(browser, address: str, **more):
    context = browser.new_context(viewport={"width": 390, "height": 844}, **more)
    page = context.new_page()
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    page.add_init_script(CLOCK)
    page.goto(address + PAGE)
    yield page
    assert broken == []
    context.close()


def kept(path: Path) -> list[Event]:
    store = Store(sqlite_url(path))
    found = list(store.events(DAY))
    store.close()
    return found


def settled(page, path: Path, count: int) -> list[Event]:
    """Wait until the queue is empty and the store has so many entries."""
    for _ in range(100):
        if page.is_hidden("#queue") and len(kept(path)) >= count:
            return kept(path)
        page.wait_for_timeout(100)
    raise AssertionError(f"{page.inner_text('#queue')}; kept: {kept(path)}")


def test_a_double_tap_is_one_entry(browser, served):
    address, path = served
    with phone(browser, address) as page:
        page.dblclick("button:has-text('Here') >> nth=0")
        page.wait_for_timeout(1200)
        assert [each.kind for each in settled(page, path, 1)] == ["assembled"]


def test_entries_made_without_a_connection_arrive_once_and_in_order(browser, served):
    address, path = served
    with phone(browser, address) as page:
        page.click("text=All 5 go in")
        settled(page, path, 5)
        page.context.set_offline(True)
        out = page.locator("section[aria-label='Terns, dive 1'] li button.big")
        names = [page.locator("section[aria-label='Terns, dive 1'] li b").nth(n).inner_text() for n in range(3)]
        for number in range(3):
            out.nth(number).click()
            page.wait_for_timeout(50)
        assert page.inner_text("#queue").startswith("3 entries are kept on this phone and not sent yet")
        assert len(kept(path)) == 5
        page.context.set_offline(False)
        found = settled(page, path, 8)
        assert [(each.kind, each.person) for each in found[5:]] == [("out", name) for name in names]
        assert len({each.uid for each in found}) == 8


def test_entries_survive_a_page_that_is_closed_before_it_could_send(browser, served):
    address, path = served
    with phone(browser, address) as page:
        page.route("**/entries*", lambda route: route.abort())
        page.click("button:has-text('Here') >> nth=0")
        page.wait_for_timeout(300)
        assert kept(path) == []
        page.unroute("**/entries*")
        page.goto("about:blank")
        page.goto(address + PAGE)
        assert len(settled(page, path, 1)) == 1


def test_an_answer_that_was_lost_on_its_way_doubles_nothing(browser, served):
    address, path = served
    with phone(browser, address) as page:
        dropped = []

        def lose(route):
            if not dropped:
                dropped.append(route.fetch().status)  # the server has it, and the phone never hears of it
                route.abort()
            else:
                route.continue_()

        page.route("**/entries*", lose)
        page.click("button:has-text('Here') >> nth=0")
        found = settled(page, path, 1)
        page.wait_for_timeout(500)
        assert dropped == [200] and len(kept(path)) == len(found) == 1


def test_two_phones_see_each_other_s_entries(browser, served):
    address, path = served
    with phone(browser, address) as one, phone(browser, address) as two:
        one.click("text=All 5 go in")
        settled(one, path, 5)
        two.click("text=All 3 go in")
        settled(two, path, 8)
        two.reload()
        assert two.inner_text(".tally dd >> nth=0") == "8"


def test_without_script_each_button_sends_by_itself(browser, served):
    address, path = served
    with phone(browser, address, java_script_enabled=False) as page:
        page.click("text=All 5 go in")
        assert len(kept(path)) == 5
        assert page.inner_text(".tally dd >> nth=0") == "5"


def test_nothing_scrolls_sideways_on_the_narrowest_phone(browser, served):
    address, _ = served
    with phone(browser, address) as page:
        page.set_viewport_size({"width": 320, "height": 640})
        page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        small = page.eval_on_selector_all(
            "form.entry button", "all => all.filter(b => b.getBoundingClientRect().height < 44).length"
        )
        assert small == 0
