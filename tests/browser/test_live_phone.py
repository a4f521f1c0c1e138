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
CLOCK = """(() => { const Real = Date, off = OFFSET;
window.Date = class extends Real { constructor(...a) { super(...(a.length ? a : [Real.now() + off])); }
static now() { return Real.now() + off; } }; })()"""

started: list[float] = []


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[str, Path]]:
    from waitress.server import create_server

    path = tmp_path / "store.sqlite"
    started.append(time.time())  # the phones and the server go by one clock, also after a page is loaded again

    def clock() -> datetime:
        return datetime.fromtimestamp(BEGAN.timestamp() + time.time() - started[-1], UTC)

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
def phone(browser, address: str, by: str = "Greta%20Holm", **more):
    context = browser.new_context(viewport={"width": 390, "height": 844}, **more)
    page = context.new_page()
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    page.add_init_script(CLOCK.replace("OFFSET", str(round((BEGAN.timestamp() - started[-1]) * 1000))))
    page.goto(address + PAGE.replace("Greta%20Holm", by))
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


def test_a_double_tap_on_any_control_is_one_entry_for_each_person(browser, served):
    address, path = served
    with phone(browser, address) as page:
        page.dblclick("text=All 5 go in")
        assert [each.kind for each in settled(page, path, 5)] == ["in"] * 5
        page.reload()
        page.dblclick("text=All 5 are out")
        assert [each.kind for each in settled(page, path, 10)][5:] == ["out"] * 5
        page.reload()
        head_count = page.locator("section[aria-label='Head count']")
        head_count.locator("input[name=value]").fill("5")
        head_count.locator("button").dblclick()
        page.wait_for_timeout(1200)
        found = settled(page, path, 11)
        assert [each.kind for each in found].count("count") == 1 and len(found) == 11


def test_two_phones_that_counted_different_numbers_are_told_to_count_again_and_then_to_start_the_steps(browser, served):
    address, path = served

    def count(page, number: str) -> None:
        part = page.locator("section[aria-label='Head count']")
        part.locator("input[name=value]").fill(number)
        part.locator("button").click()
        page.wait_for_timeout(200)

    with phone(browser, address) as one, phone(browser, address, by="Yusuf%20Demir") as two:
        for number in range(3):
            one.locator("section[aria-label='Everybody else'] button:has-text('Here')").first.click()
            settled(one, path, number + 1)
            one.reload()
        count(one, "3")
        settled(one, path, 4)
        two.reload()
        assert "counted 3" not in two.inner_text("section[aria-label='Who is where']")
        count(two, "2")
        settled(two, path, 5)
        for page in (one, two):
            page.reload()
            assert "Recount: two people, each for themselves" in page.inner_text(".alarm.recount")
        count(one, "3")
        settled(one, path, 6)
        count(two, "2")
        settled(two, path, 7)
        for page in (one, two):
            page.reload()
            assert "Start the missing-diver steps now" in page.inner_text(".alarm.missing-diver")
        one.click(".alarm.missing-diver a:has-text('Missing-diver steps')")
        assert one.url.endswith("#missing_diver")


def test_a_connection_that_drops_again_and_again_loses_nothing_and_mixes_nothing_up(browser, served):
    address, path = served
    with phone(browser, address) as page:
        page.click("text=All 5 go in")
        settled(page, path, 5)
        tries = []

        def flicker(route):
            tries.append(1)
            if len(tries) % 3 == 1:
                route.abort()  # it never left
            elif len(tries) % 3 == 2:
                route.fetch()
                route.abort()  # the answer was lost
            else:
                route.continue_()

        page.route("**/entries*", flicker)
        dive = page.locator("section[aria-label='Terns, dive 1']")
        names = [dive.locator("li b").nth(n).inner_text() for n in range(5)]
        for name in names:
            dive.locator("li", has_text=name).locator("button.big").click()
            page.wait_for_timeout(150)
        found = settled(page, path, 10)
        assert len(tries) >= 3 and len(found) == 10
        assert [(each.kind, each.person) for each in found[5:]] == [("out", name) for name in names]


def test_the_clock_runs_for_who_went_in_without_a_connection_and_not_before(browser, served):
    address, path = served
    with phone(browser, address) as page:
        page.click("text=All 3 go in")
        settled(page, path, 3)
        state = page.locator("section[aria-label='Terns, dive 1'] .state")
        page.wait_for_timeout(1500)
        assert "Out by in" not in state.inner_text()
        page.context.set_offline(True)
        page.click("text=All 5 go in")
        page.wait_for_timeout(1500)
        assert "Out by in" in state.inner_text()
        page.context.set_offline(False)
        settled(page, path, 8)


def test_a_message_too_long_for_the_server_is_sent_in_parts(browser, served):
    address, path = served
    with phone(browser, address) as page:
        page.click("text=All 5 go in")
        settled(page, path, 5)
        page.context.set_offline(True)
        words = page.locator("section[aria-label='Incident'] textarea")
        for number in range(14):
            words.fill(f"{number} " + "\u00e4\u4e2d" * 990)  # about 5,000 bytes each, all together more than 64,000
            page.locator("section[aria-label='Incident'] form:has(textarea) button").evaluate("b => b.disabled = false")
            page.locator("section[aria-label='Incident'] form:has(textarea) button").click()
            page.wait_for_timeout(30)
        assert page.inner_text("#queue").startswith("14 entries")
        page.context.set_offline(False)
        found = settled(page, path, 19)
        assert [each.text.split()[0] for each in found[5:]] == [str(number) for number in range(14)]


def test_a_double_tap_on_going_by_the_new_plan_keeps_it_once(browser, served):
    address, path = served
    with phone(browser, address) as page:
        page.click("text=All 5 go in")
        settled(page, path, 5)
        page.reload()
        page.click("text=All 5 are out")
        settled(page, path, 10)
        page.reload()
        page.click("text=Next dives, from what was really done")
        page.set_viewport_size({"width": 320, "height": 640})
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        page.dblclick("button:has-text('Go by this plan from now')")
        page.wait_for_url("**/today/stair-ledge?*")
        store = Store(sqlite_url(path))
        plans = store.plans(DAY)
        store.close()
        assert len(plans) == 2 and plans[1].by == "Greta Holm"
        assert f"plan {plans[1].revision}" in page.inner_text("section[aria-label='Entries']")


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


def test_words_half_written_outlive_a_fresh_board_and_are_sent_once(browser, served):
    address, path = served
    with phone(browser, address) as page:
        box = page.locator("section[aria-label='Incident'] textarea")
        box.fill("Came up fast")
        box.blur()
        page.click("button:has-text('Here') >> nth=0")
        settled(page, path, 1)
        page.wait_for_function("!document.querySelector('#board button').textContent.includes('✓')")
        assert box.input_value() == "Came up fast"
        page.click("text=Write the incident")
        assert [each.text for each in settled(page, path, 2)][1] == "Came up fast"
        page.wait_for_timeout(500)
        assert box.input_value() == ""
