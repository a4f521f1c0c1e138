"""Two people edit the same request, each in a browser of their own: a clear choice, and nothing is lost."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from test_browser import CHROMIUM, pytestmark  # noqa: F401 -- the same condition for running at all

from tripplan.data_files import data_dir
from tripplan.store.database import KeptRequest, Store, sqlite_url
from tripplan.web.app import create_app

NAME = "saturday-ledge"
EDIT = f"/requests/{NAME}/edit"
DEPTH = "[name='groups.0.dives.0.depth_m']"
PAIRS = "[name='groups.0.pairs']"
WANTED = "Nadia Petit, Owen Marsh\nKeiko Arai, Hana Novak"
SAVE = "text=Save the request"


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[str, Path]]:
    from waitress.server import create_server

    app = create_app(
        data_dir("sites"),
        clock=lambda: datetime(2026, 11, 27, 8, 0, tzinfo=UTC),
        keep_young=True,
        records=tmp_path / "records",
        feed_cache=tmp_path / "feeds",
    )
    path = tmp_path / "store.sqlite"
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
def someone(browser, address: str, by: str, width: int = 1280, script: bool = True):
    """Open the request in a browser of somebody's own, with the first group unfolded."""
    context = browser.new_context(viewport={"width": width, "height": 844}, java_script_enabled=script)
    page = context.new_page()
    page.goto(address + EDIT)
    page.click("details.group > summary >> nth=0")
    page.fill("#by", by)
    yield page
    context.close()


def versions(path: Path, name: str = NAME) -> tuple[KeptRequest, ...]:
    store = Store(sqlite_url(path))
    found = store.request_versions(name)
    store.close()
    return found


@pytest.mark.parametrize(
    ("button", "depth", "pairs"),
    [("Keep theirs", "16", ""), ("Put mine in its place", "18", WANTED)],
)
def test_two_who_change_different_things_get_a_choice_and_both_can_be_found_again(
    browser, served, button, depth, pairs
):
    address, path = served
    with (
        someone(browser, address, "Greta Holm") as greta,
        someone(browser, address, "Asha Rao", width=390, script=False) as asha,
    ):
        greta.fill(DEPTH, "16")
        greta.click(SAVE)
        assert "is saved as version 2" in greta.inner_text(".done")
        asha.fill(PAIRS, WANTED)
        asha.click(SAVE)
        said = asha.inner_text("main")
        assert "Somebody else changed this request too" in said and "Greta Holm saved version 2" in said
        assert "16" in asha.locator("td[data-label=Theirs]").all_inner_texts()
        pairs_shown = "Nadia Petit, Owen Marsh; Keiko Arai, Hana Novak"
        assert pairs_shown in asha.locator("td[data-label=Yours]").all_inner_texts()
        assert [each.by for each in versions(path)] == [f"the file {NAME}.toml", "Greta Holm"]
        asha.click(f"text={button}")
        assert asha.is_visible(".done")
        asha.goto(address + EDIT)
        assert asha.input_value(DEPTH) == depth and asha.input_value(PAIRS).splitlines() == pairs.splitlines()
        asha.goto(f"{address}/requests/{NAME}/versions")
        for head in asha.query_selector_all("details > summary"):
            head.click()
        told = asha.locator("td[data-label=Then]").all_inner_texts()
        assert "16" in told and pairs_shown in told
        kept = versions(path)
        assert {each.request["groups"][0]["dives"][0]["depth_m"] for each in kept} == {16, 18}
        assert any(each.request["groups"][0].get("pairs") for each in kept)


def test_mine_comes_back_filled_in_to_be_changed_once_more(browser, served):
    address, path = served
    with someone(browser, address, "Greta Holm") as greta, someone(browser, address, "Asha Rao") as asha:
        greta.fill(DEPTH, "16")
        greta.click(SAVE)
        asha.fill(PAIRS, WANTED)
        asha.click(SAVE)
        asha.click("text=Change mine once more")
        asha.click("details.group > summary >> nth=0")
        assert asha.input_value(PAIRS).splitlines() == WANTED.splitlines()
        asha.fill(DEPTH, "16")
        asha.click(SAVE)
        newest = versions(path)[-1]
        group = newest.request["groups"][0]
        assert (newest.by, group["dives"][0]["depth_m"]) == ("Asha Rao", 16)
        assert group["pairs"] == [["Nadia Petit", "Owen Marsh"], ["Keiko Arai", "Hana Novak"]]


def test_a_double_click_on_save_makes_one_version(browser, served):
    address, path = served
    with someone(browser, address, "Greta Holm") as page:
        page.fill(DEPTH, "16")
        page.dblclick(SAVE)
        page.wait_for_selector(".done")
        page.wait_for_timeout(1000)
        assert [each.version for each in versions(path)] == [1, 2]
        assert page.url.endswith(f"/requests#r-{NAME}")


def test_a_double_click_on_save_makes_one_new_request(browser, served):
    address, path = served
    context = browser.new_context()
    page = context.new_page()
    page.goto(address + "/requests/new")
    for box, text in (("title", "Evening at the cove"), ("date", "2026-12-04"), ("by", "Greta Holm")):
        page.fill(f"#{box}", text)
    page.select_option("#site", "gull-cove")
    page.fill("[name='groups.0.name']", "Whelks")
    page.select_option("[name='groups.0.kind']", "guided")
    page.select_option("[name='groups.0.leader']", "Asha Rao")
    for number, name in enumerate(("Bruno Silva", "Eric Lund")):
        page.select_option(f"[name='groups.0.divers'] >> nth={number}", name)
    page.fill("[name='groups.0.dives.0.minutes']", "25")
    page.dblclick(SAVE)
    page.wait_for_selector(".done")
    page.wait_for_timeout(1000)
    store = Store(sqlite_url(path))
    assert [(each.name, each.version) for each in store.requests()] == [("evening-at-the-cove", 1)]
    store.close()
    context.close()


def test_enter_in_a_box_saves_and_adds_no_row(browser, served):
    address, path = served
    with someone(browser, address, "Greta Holm") as page:
        page.fill(DEPTH, "16")
        page.press(DEPTH, "Enter")
        page.wait_for_selector(".done")
        assert versions(path)[-1].request["groups"][0]["dives"][0]["depth_m"] == 16


def test_a_button_that_adds_a_row_loses_nothing_and_saves_nothing(browser, served):
    address, path = served
    with someone(browser, address, "") as page:  # nor does it ask for the name
        page.fill(DEPTH, "half typed")
        page.click("text=Add a dive >> nth=0")
        assert page.input_value(DEPTH) == "half typed"
        assert page.is_visible("[name='groups.0.dives.2.depth_m']")
        assert not path.exists()


@pytest.mark.parametrize("width", [320, 1280])
def test_neither_the_choice_nor_a_refused_form_scrolls_sideways(browser, served, width):
    address, _ = served
    with someone(browser, address, "Greta Holm") as greta, someone(browser, address, "Asha Rao", width) as asha:
        greta.fill("#title", "A" * 80)
        greta.click(SAVE)
        asha.fill(DEPTH, "much too deep a dive for anybody")
        asha.click(SAVE)
        asha.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        assert asha.evaluate("document.documentElement.scrollWidth") <= width
        asha.fill(DEPTH, "14")
        asha.click(SAVE)
        assert "Somebody else changed" in asha.inner_text("h1")
        assert asha.evaluate("document.documentElement.scrollWidth") <= width
