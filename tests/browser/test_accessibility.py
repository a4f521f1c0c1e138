"""Every page for everybody: a checker's rules, keyboard alone, narrow and enlarged, without colour, without script.

The rules are those of the Web Content Accessibility Guidelines 2.2, levels A and AA, as axe-core (Deque) checks them,
with its own list of good practice; what it cannot see is measured here, with the success criterion beside it.
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import axe_playwright_python
import pytest

from tests.browser.test_browser import browser  # noqa: F401 -- the same browser
from tests.browser.test_browser import pytestmark as where_there_is_one
from tests.browser.test_live_phone import CLOCK
from tests.browser.whole_house import BOARD, EVERY_PAGE, LIVE, NAME, NOW, PASSWORD, House, sign_in

pytestmark = [*where_there_is_one, pytest.mark.sqlite_file("what is shown hangs on no kind of store")]

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
MEASURE = (Path(__file__).parent / "accessibility.js").read_text(encoding="utf-8")
OPEN = "document.querySelectorAll('details').forEach(each => each.open = true)"
# A rule of the page's own sheet: a policy that forbids foreign styles does not see it.
ADD_RULE = "text => { const sheet = document.styleSheets[0]; return sheet.insertRule(text, sheet.cssRules.length); }"
DROP_RULE = "at => document.styleSheets[0].deleteRule(at)"
SPACED = """* { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important; }"""
TWICE = "html { font-size: 200% !important; }"


@pytest.fixture(scope="module")
def house(kept_on, tmp_path_factory) -> Iterator[House]:
    made = House(tmp_path_factory.mktemp("house"))
    yield made
    made.close()


def until(page, true: str) -> None:
    """Wait until something is true on a page; its policy lets no test do so within it."""
    for _ in range(100):
        if page.evaluate(true):
            return
        page.wait_for_timeout(100)
    raise AssertionError(true)


@contextmanager
def visit(browser, house: House, *, signed_in: bool = True, width: int = 390, runs: bool = True, **more):  # noqa: F811
    """Open a browser whose clock goes by that of the house.

    runs -- its clock runs by itself; False: the test moves it on
    """
    context = browser.new_context(viewport={"width": width, "height": 844}, locale="en-US", **more)
    if more.get("java_script_enabled", True):
        if not runs:
            context.clock.install(time=NOW)
        else:
            context.add_init_script(CLOCK.replace("OFFSET", str(round((NOW.timestamp() - time.time()) * 1000))))
        context.add_init_script(MEASURE)
        context.add_init_script(AXE)
    page = context.new_page()
    page.set_default_timeout(10_000)
    if signed_in:
        sign_in(page, house.address)
    yield page
    context.close()


def faults_of(page, *, narrow: bool = True, unfold: bool = True) -> list[str]:
    """Return what is wrong with the page that is shown; afterwards its pictures are empty.

    unfold -- also what opens in place; narrow -- also at 320 px, with wide spacing and with letters of twice the size
    """
    found: list[str] = page.evaluate("seen.look()")
    if unfold:
        page.evaluate(OPEN)
    found += [f"faint: {each}" for each in page.evaluate("seen.faint()")]
    found += page.evaluate("seen.byRules()")
    if not narrow:
        return found
    # 1.4.10: 320 px, 1.4.12: spacing of text, 1.4.4: text of twice its size.
    for what, rule, width in (("narrow", "", 320), ("spaced", SPACED, 320), ("twice as large", TWICE, 640)):
        page.set_viewport_size({"width": width, "height": 844})
        at = page.evaluate(ADD_RULE, rule) if rule else None
        wide = page.evaluate("document.documentElement.scrollWidth")
        if wide > width:
            found.append(f"{what}: {wide} px wide at {width} px")
        found += [f"{what}: cut off: {each}" for each in page.evaluate("seen.cutOff()")]
        if at is not None:
            page.evaluate(DROP_RULE, at)
    page.set_viewport_size({"width": 390, "height": 844})
    return found


def told(faults: dict[str, list[str]]) -> str:
    """Return all faults, a line each."""
    return "".join(f"\n{name}: {each}" for name, found in faults.items() for each in found)


def test_no_page_shuts_anybody_out(browser, house):  # noqa: F811
    """Each page once at the width of a phone, then narrower and with larger words."""
    faults: dict[str, list[str]] = {}
    titles: dict[str, set[str]] = {}

    met: set[str] = set()

    def look(name: str) -> None:
        titles.setdefault(page.title(), set()).add(name.split("?")[0])
        kind = house.kind_of(name)  # what opens in place is the same on pages of one kind
        if found := faults_of(page, unfold=kind not in met):
            faults[name] = found
        met.add(kind)

    with visit(browser, house, signed_in=False) as page:
        page.goto(house.address)
        look("/sign-in")
        page.fill("#name", NAME)
        page.fill("#password", "not the password at all")
        page.click("main button")
        until(page, "document.activeElement.id === 'refused'")
        look("/sign-in")
        sign_in(page, house.address)
        for path in EVERY_PAGE:
            page.goto(house.address + path)
            look(path)
    assert not faults, told(faults)
    # 2.4.2: pages that differ are told apart by their titles.
    assert {title: names for title, names in titles.items() if len(names) > 1} == {}
    assert all(title.split(" \u00b7 ")[0].strip() for title in titles)


def test_pages_of_trouble_shut_nobody_out(browser, house):  # noqa: F811
    """Refused forms, somebody else's change, a table with faults."""
    faults: dict[str, list[str]] = {}

    def look(name: str) -> None:
        if found := faults_of(page):
            faults[name] = found

    with visit(browser, house) as page:
        edit = f"{house.address}/requests/saturday-ledge/edit"
        page.goto(edit)
        page.fill("#title", "Mine")
        page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        page.fill("[name='groups.0.dives.0.depth_m']", "deep")
        page.click("text=Save the request")
        until(page, "document.activeElement.id === 'faults'")
        look("a request that cannot be used")
        page.goto(edit)
        page.fill("#title", "Mine")
        other = page.context.new_page()
        other.goto(edit)
        other.fill("#title", "Theirs")
        other.click("text=Save the request")
        other.wait_for_selector(".done")
        page.click("text=Save the request")
        assert "Somebody else changed" in page.inner_text("h1")
        look("a request that somebody else changed")
        page.goto(f"{house.address}{BOARD}?day=2026-12-08")
        other.goto(page.url)
        for each in (other, page):
            each.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
            each.click(f"text=Pin as it is >> nth={1 if each is other else 0}")
        assert "Somebody else changed" in page.inner_text("h1")
        look("a schedule that somebody else changed")
        page.goto(f"{house.address}/sheets?date=2026-12-12")
        page.click("text=Write down what was found")
        until(page, "document.activeElement.id === 'faults'")
        look("numbers that nobody rang")
        page.goto(f"{house.address}/people/table")
        table = {"name": "x.csv", "mimeType": "text/csv", "buffer": b"name,born\nAnn,yesterday\n"}
        page.set_input_files("input[type=file]", table)
        page.click("text=Look what it would change")
        assert "Faults" in page.inner_text("main")
        look("a table of people with faults")
    assert not faults, told(faults)


def test_the_files_for_the_phone_shut_nobody_out(browser, house, tmp_path):  # noqa: F811
    faults = {}
    with visit(browser, house) as page:
        for name, path, language in (
            ("plan", "/plan/offline.html?site=stair-ledge&date=2026-12-12&group=Terns&asked=yes", "en"),
            ("pocket", "/sheets/pocket.html?date=2026-12-12&site=stair-ledge&language=fr", "fr"),
        ):
            answer = page.context.request.get(house.address + path)
            assert answer.ok, path
            saved = tmp_path / f"{name}.html"
            saved.write_bytes(answer.body())
            page.goto(saved.as_uri())
            assert page.evaluate("document.documentElement.lang") == language
            if found := faults_of(page):
                faults[name] = found
    assert not faults, told(faults)


def test_the_wide_board_shuts_nobody_out_and_scrolls_by_itself(browser, house):  # noqa: F811
    with visit(browser, house, width=1280) as page:
        for day in ("2026-12-08", "all"):
            page.goto(f"{house.address}{BOARD}?day={day}")
            assert page.is_visible(".lanes")
            assert faults_of(page, narrow=False) == [], day
        page.set_viewport_size({"width": 920, "height": 700})
        page.focus(".scroll:has(.lanes)")
        name = page.get_attribute(".scroll:has(.lanes)", "aria-label")
        assert name and name.startswith("Board of")
        # A scroller that needs the keyboard has it; one that fits needs none.
        page.eval_on_selector(".lanes", "each => each.style.minWidth = '90rem'")
        page.keyboard.press("ArrowRight")
        until(page, "document.querySelector('.scroll:has(.lanes)').scrollLeft > 0")


# ---- keyboard alone ----


class Keys:
    """Somebody who has keys and no pointer. Every stop must be seen (2.4.7, 2.4.11, 1.4.11)."""

    def __init__(self, page) -> None:
        self.page = page

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def stop(self) -> None:
        found = self.page.evaluate("seen.stop()")
        assert found["tag"] != "BODY", "the focus is nowhere"
        assert found["outline"] >= 2 and found["contrast"] >= 3, found
        assert found["seen"], found

    def at(self, what: str) -> bool:
        return self.page.evaluate("what => document.activeElement.matches(what)", what)

    def to(self, what: str, key: str = "Tab", most: int = 200) -> None:
        for _ in range(most):
            self.press(key)
            if self.at("body"):  # past the last stop: the browser's own bar
                continue
            self.stop()
            if self.at(what):
                return
        raise AssertionError(f"{what} is not reached by {key}")

    def follow(self, what: str, key: str = "Tab") -> None:
        self.to(what, key)
        with self.page.expect_navigation():
            self.press("Enter")


def test_the_main_job_from_signing_in_to_signing_the_record_by_keys_alone(browser, house):  # noqa: F811
    with visit(browser, house, signed_in=False) as page:
        keys = Keys(page)
        page.goto(house.address)
        keys.press("Tab")
        keys.stop()
        assert keys.at("a.skip")
        keys.press("Enter")
        assert keys.at("main")
        keys.to("#name")
        page.keyboard.type(NAME)
        keys.press("Tab")
        page.keyboard.type(PASSWORD)
        with page.expect_navigation():
            keys.press("Enter")
        # Site, day and groups.
        keys.to("details.chooser > summary")
        keys.press("Enter")
        keys.to("#site")
        page.keyboard.type("Stair")
        keys.to("#date")
        page.keyboard.type("12122026")
        for name in page.eval_on_selector_all("input[name=group]", "all => all.map(each => each.value)"):
            box = f"input[name=group][value='{name}']"
            keys.to(box)
            if page.is_checked(box) != (name in ("Terns", "Skuas")):
                keys.press("Space")
        keys.follow("form.choose button")
        assert "Stair Ledge" in page.inner_text(".answer h1")
        assert "Saturday 12 December 2026" in page.title()
        # A reason, opened and read.
        keys.to("details.why > summary:has(.label)")
        keys.press("Space")
        assert page.evaluate("document.activeElement.parentElement.open")
        # The sheet.
        if page.query_selector(".takes > summary"):
            keys.to(".takes > summary", "Shift+Tab")
            keys.press("Enter")
            keys.to("a[href*='/plan.pdf']")
        else:
            keys.to("a[href*='/plan.pdf']", "Shift+Tab")
        # Whether the browser shows such a file or keeps it is its own affair: the answer is taken beside it.
        asked: list[str] = []
        page.route("**/plan.pdf*", lambda route: (asked.append(route.request.url), route.fulfill(status=204)))
        keys.press("Enter")
        page.wait_for_timeout(200)
        sheet = page.context.request.get(asked[0])
        assert sheet.headers["content-type"] == "application/pdf" and sheet.body().startswith(b"%PDF")
        # The day on the beach.
        keys.follow("nav a[href='/today']")
        keys.follow("main a[href*='/today/stair-ledge']")
        terns = "section[aria-label='Terns, dive 1']"
        keys.to(f"{terns} li button.big")
        name = page.evaluate("document.activeElement.closest('li').querySelector('b').textContent")
        keys.press("Enter")
        until(page, "document.querySelector('#told').textContent.includes('In the water: 1')")
        assert page.inner_text("#told") == f"In: {name}. In the water: 1."
        # The line of that person has the focus, and never the button that says the opposite.
        assert keys.at("li > p") and name in page.evaluate("document.activeElement.textContent")
        keys.press("Enter")
        keys.press("Tab")
        keys.stop()
        assert page.evaluate("document.activeElement.textContent") == "Out"
        keys.press("Enter")
        until(page, "document.querySelector('#told').textContent.startsWith('Out')")
        assert page.inner_text("#told") == f"Out: {name}. In the water: 0."
        keys.to(f"{terns} li summary")
        keys.press("Enter")
        keys.to("form:has([value=signed]) [name=identity]")
        page.keyboard.type("T-4711")
        keys.press("Enter")
        until(page, "document.querySelector('#told').textContent.startsWith('The diver signs')")
        assert keys.at("form:has([value=signed]) [name=identity]"), "whoever typed stays where they typed"
        keys.follow("main a[href*='/record']")
        assert name in page.inner_text("main") and "T-4711" in page.inner_text("main")


def test_no_page_holds_the_keyboard_fast(browser, house):  # noqa: F811
    """2.1.2: the way through a page ends where it began, and every control is a stop on it."""
    with visit(browser, house) as page:
        for path in (LIVE, f"{BOARD}?day=2026-12-08"):
            page.goto(house.address + path)
            stops = page.evaluate("seen.numbered()")
            met = []
            for _ in range(stops):
                page.keyboard.press("Tab")
                met.append(page.evaluate("document.activeElement.dataset.stop"))
            assert met == [str(number) for number in range(stops)], path


WHERE = """() => { const each = document.activeElement; return [each.tagName,
    each.closest('section')?.getAttribute('aria-label'), each.closest('li')?.querySelector('b')?.textContent,
    each.textContent]; }"""


def test_a_board_drawn_anew_leaves_the_focus_and_what_is_read_out_is_short_and_polite(browser, house):  # noqa: F811
    with visit(browser, house, runs=False) as page:
        page.goto(house.address + LIVE)
        # 4.1.3: the board itself is drawn anew every few seconds and must not be read out each time.
        assert page.query_selector("#board [role=alert], #board [role=status], #board [aria-live]") is None
        assert page.get_attribute("#told", "role") == "status"
        summary = page.locator("section[aria-label='Skuas, dive 1'] li summary").nth(1)
        summary.focus()
        page.keyboard.press("Enter")
        was = page.evaluate(WHERE)
        page.evaluate(
            """() => { window.said = []; for (const each of document.querySelectorAll('#told, #warned'))
            new MutationObserver(() => said.push(each.textContent)).observe(each, { childList: true }); }"""
        )
        # Somebody else writes from another phone: this one asks by itself.
        other = page.context.new_page()
        other.goto(house.address + LIVE)
        other.click("section[aria-label='Everybody else'] button:has-text('Here') >> nth=0")
        until(other, "document.querySelector('#told').textContent.startsWith('Here')")
        other.close()
        before = page.inner_text(".tally")
        page.evaluate("window.old = document.querySelector('#board').firstElementChild")
        page.clock.fast_forward(16_000)
        until(page, "!old.isConnected")
        assert page.inner_text(".tally") != before
        assert page.evaluate(WHERE) == was
        assert page.evaluate("document.activeElement.parentElement.open")
        assert page.locator("section[aria-label='Skuas, dive 1'] li details[open]").count() == 1
        # One entry of one's own is one short sentence.
        page.focus("section[aria-label='Everybody else'] button:has-text('Here') >> nth=0")
        page.keyboard.press("Enter")
        until(page, "said.length > 0")
        said = page.evaluate("said")
        assert len(said) == 1 and len(said[0]) < 80, said
        # Without a connection it says so, and says when everything has gone.
        page.route("**/entries*", lambda route: route.abort())
        page.keyboard.press("Tab")
        page.click("section[aria-label='Everybody else'] button:has-text('Here') >> nth=0")
        until(page, "said.length > 1")
        assert page.evaluate("said[1]").endswith("kept on this phone, not sent yet.")
        page.unroute("**/entries*")
        page.clock.run_for(9_000)
        until(page, "said.length > 2")
        assert page.evaluate("said[2]") == "Everything is sent."


def test_wet_fingers_hit_every_control_of_the_beach(browser, house):  # noqa: F811
    """At least 44 px high and wide enough, by the enhanced criterion 2.5.5."""
    with visit(browser, house) as page:
        page.goto(house.address + LIVE)
        page.evaluate(OPEN)
        assert page.evaluate("seen.smallerThan(44)") == []


# ---- without colour, without a screen's light, without script ----

SHOWN = (
    "/plan?site=stair-ledge&date=2026-12-12&group=Terns&seen_at=08:10&wind_kn=14&delay=40",
    "/plan?site=the-gut&date=2026-12-05&group=Limpets",
    "/board",
    "/season",
    "/tides/verrow-harbour",
    "/sites/stair-ledge",
    "/sheets/stair-ledge/search?date=2026-12-12&at=12:10",
    "/sheets?date=2026-12-12",
    "/kit?date=2027-12-01",
    LIVE,
    f"{BOARD}?day=2026-12-08",
)
# What looks different by its state must say the state, or bear its mark: 1.4.1.
SAYS = {
    ".answer.stop": "\u25a0|no dive|superseded|not known",
    ".answer.caution": "\u25b3|have a place",
    "tr.stop": "stop|\u25a0",
    "tr.caution": "care|caution|\u25b3",
    "tr.worse": "worse",
    "tr.binds": "binds",
    ".alarm": "\u25a0",
    ".where.in_water": "in the water",
    ".where.expected": "not here yet",
    ".try.right": "\u25cf",
    ".pinned": "pinned",
    ".bar.ashore": "ashore|shore team|directs|watch|oxygen",
    ".trouble": ".",
}


def test_nothing_is_said_by_colour_alone_and_pictures_keep_their_ink(browser, house):  # noqa: F811
    """Grey, forced colours (a user's own scheme of two) and paper, on the pages that have states and pictures."""
    faults: dict[str, list[str]] = {}
    met: set[str] = set()
    with visit(browser, house, width=1280) as page:
        for path in SHOWN:
            page.goto(house.address + path)
            page.evaluate(OPEN)
            found = []
            for what, words in SAYS.items():
                for text in page.eval_on_selector_all(what, "all => all.map(each => each.textContent)"):
                    met.add(what)
                    if not re.search(words, text, re.IGNORECASE):
                        found.append(f"{what} says nothing of it: {text[:80]}")
            found += [f"faint in a picture: {each}" for each in page.evaluate("seen.faintInPictures(4.5)")]
            page.emulate_media(forced_colors="active")
            found += [f"forced colours: {each}" for each in page.evaluate("seen.lostInForcedColours()")]
            page.emulate_media(forced_colors="none", media="print")
            found += [f"white on white paper: {each}" for each in page.evaluate("seen.tooLightForPaper()")]
            page.emulate_media(media="screen")
            if found:
                faults[path] = found
    assert not faults, told(faults)
    assert {".answer.stop", "tr.worse", ".alarm", ".where.expected", "tr.caution", ".bar.ashore"} <= met


def test_nothing_moves_and_the_light_scheme_is_said(browser, house):  # noqa: F811
    """2.3.3 and 1.4.11: nothing is animated at all, and no browser turns half of the colours by itself."""
    with visit(browser, house, reduced_motion="reduce", color_scheme="dark") as page:
        page.goto(house.address + LIVE)
        moves = """all => all.flatMap(each => ['', '::before', '::after'].map(part => getComputedStyle(each, part)))
            .filter(style => style.animationName !== 'none' || parseFloat(style.transitionDuration) > 0
              || style.scrollBehavior !== 'auto').length"""
        assert page.eval_on_selector_all("*", moves) == 0
        assert page.evaluate("getComputedStyle(document.documentElement).colorScheme") == "light only"
        assert page.evaluate("seen.faint()") == []
        page.goto(f"{house.address}/requests/saturday-ledge/edit")
        paper = "each => getComputedStyle(each).backgroundColor"
        assert page.eval_on_selector("#title", paper) == "rgb(255, 255, 255)"


def test_the_main_job_the_day_and_the_board_work_without_script(browser, house):  # noqa: F811
    with visit(browser, house, java_script_enabled=False) as page:
        page.goto(house.address + "/")
        page.focus("details.chooser > summary")
        page.keyboard.press("Enter")
        page.select_option("#site", "gull-cove")
        page.fill("#date", "2026-12-05")
        for box in page.query_selector_all("input[name=group]"):
            box.set_checked(box.get_attribute("value") == "Limpets")
        page.click("form.choose button")
        assert "Gull Cove" in page.inner_text(".answer h1")
        # A refused form leads to what is wrong, without script too.
        page.goto(f"{house.address}/plan?site=gull-cove&date=y&group=Limpets")
        page.click("#faults a")
        assert page.url.endswith("#date") and page.is_visible("#trouble-date")
        # The beach: what works, what does not, and each button by itself.
        page.goto(house.address + LIVE)
        assert "This browser runs no script" in page.inner_text("noscript")
        skuas = page.locator("section[aria-label='Skuas, dive 1']")
        skuas.locator("button", has_text="go in").click()
        in_water = page.locator(".tally dd").first.inner_text()
        assert int(in_water) > 1
        skuas.locator("button", has_text="are out").click()
        assert page.locator(".tally dd").first.inner_text() == "0"
        # The schedule: an edit, and taking it back.
        page.goto(f"{house.address}{BOARD}?day=2026-12-11")
        page.click("summary:has-text('Change this outing') >> nth=0")
        page.click("text=Not on Fri 11 >> nth=0")
        assert page.is_visible(".done")
        page.click("button:has-text('Take back') >> nth=0")
        assert page.is_visible(".done")
