"""The pocket file in a real browser without a network: clocks that tick, marks that stay, and words without script."""

from __future__ import annotations

import os
import re
import shutil
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from tripplan.data_files import data_dir
from tripplan.documents.pocket import pocket_html, pocket_site
from tripplan.planning.action_sheet import action_sheet
from tripplan.planning.day import plan_day
from tripplan.store.folder import load_folder

CHROMIUM = next((p for name in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(name))), None)
if CHROMIUM is None and os.environ.get("TRIPPLAN_BROWSER_REQUIRED"):
    raise RuntimeError("TRIPPLAN_BROWSER_REQUIRED is set but no Chromium was found on the path")
pytestmark = [
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on the path: install it to run the browser tests"),
    pytest.mark.xdist_group("browser"),
]

DAY = date(2026, 12, 12)
# A clock that stands where a test puts it: the page's own intervals run on.
STANDING_CLOCK = """(() => {
  const Real = Date;
  let now = Real.parse(sessionStorage.getItem("now") || "%s");
  window.setNow = text => { now = Real.parse(text); sessionStorage.setItem("now", text); };
  window.Date = class extends Real {
    constructor(...given) { super(...(given.length ? given : [now])); }
    static now() { return now; }
  };
})()"""
# What the page must never do is counted before its first line runs.
WATCH = "window.broken = []; document.addEventListener('securitypolicyviolation', e => broken.push(e.blockedURI));"
NO_STORE = (
    "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no', 'SecurityError'); } });"
)


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    quiet = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync")  # fmt: skip
    with sync_playwright() as player:
        chromium = player.chromium.launch(executable_path=CHROMIUM, args=list(quiet))
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def saved(tmp_path_factory) -> Path:
    """The demonstration's two sites of the shore, both dived on one day, saved as a file."""
    held = load_folder(data_dir("sites"))
    pages = []
    for name in ("beginners-cove", "saturday-ledge"):  # the first clock of the file is the first to run out
        request = held.requests[name].model_copy(update={"date": DAY})
        plan = plan_day(request, held.world)
        sheet = action_sheet(request.site, DAY, held.world, [(request, plan)])
        pages.append(pocket_site(sheet, [plan], held.world.sites[request.site], held.world))
    path = tmp_path_factory.mktemp("pocket") / "pocket.html"
    path.write_text(pocket_html(DAY, pages, held.world.rules), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def from_the_right(saved) -> Path:
    """The same file as a language written from the right would have it."""
    path = saved.with_name("right.html")
    path.write_text(
        saved.read_text(encoding="utf-8").replace('<html lang="en" dir="ltr">', '<html lang="he" dir="rtl">'),
        encoding="utf-8",
    )
    return path


@contextmanager
def opened(browser, saved: Path, now: str = "2026-12-12T12:00:00Z", *, width: int = 390, before: str = "", **more):
    """Open the file with the network cut; on leaving, whatever it asked for or complained about fails the test."""
    context = browser.new_context(viewport={"width": width, "height": 844}, **more)
    context.set_offline(True)
    asked: list[str] = []
    complaints: list[str] = []
    context.route("**/*", lambda route: (asked.append(route.request.url), route.continue_()))
    context.on("request", lambda request: asked.append(request.url))
    page = context.new_page()
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.add_init_script(WATCH + STANDING_CLOCK % now + ";" + before)
    page.goto(saved.as_uri())
    yield page
    if more.get("java_script_enabled", True):
        assert page.evaluate("window.broken") == []
    assert set(asked) == {saved.as_uri()}
    assert complaints == []
    context.close()


def first_dive(page) -> dict[str, str]:
    """Return what the page itself says of its first clock, the earliest of the first site."""
    return page.eval_on_selector("[data-exit-by]", "box => ({...box.dataset})")


def tick(page, now: str, *, by_itself: bool = False) -> None:
    """Put the clock there and let the page look at it: by itself within a second, or as when shown again."""
    page.evaluate("now => setNow(now)", now)
    if by_itself:
        page.wait_for_timeout(1300)
    else:
        page.evaluate("window.dispatchEvent(new Event('pageshow'))")


def reload(page) -> None:
    """Load the file again at the same time: the browser under load may forget where the clock was put."""
    now = page.evaluate("new Date().toISOString()")
    page.reload()
    tick(page, now)


def plus(instant: str, minutes: float) -> str:
    moved = datetime.fromisoformat(instant.replace("Z", "+00:00")) + timedelta(minutes=minutes)
    return f"{moved:%Y-%m-%dT%H:%M:%SZ}"


def test_it_opens_without_a_network_and_asks_for_nothing(browser, saved):
    with opened(browser, saved) as page:
        assert "Stair Ledge" in page.inner_text("h1")
        page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        page.wait_for_timeout(300)
        assert page.is_visible("details.search svg")


@pytest.mark.parametrize("width", [320, 390, 844, 1280])
def test_nothing_scrolls_sideways_or_sticks_out(browser, saved, width):
    with opened(browser, saved, width=width) as page:
        for _ in range(2):
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            out = page.evaluate(
                """() => [...document.querySelectorAll('main *, header *, nav *')].filter(each => {
                    const box = each.getBoundingClientRect();
                    return box.width && box.right > innerWidth + 1 && !each.closest('svg, .scroll, thead');
                }).map(each => each.outerHTML.slice(0, 80))"""
            )
            assert out == []
            page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")


@pytest.mark.parametrize("width", [320, 390])
def test_a_language_written_from_the_right_fits_as_well(browser, from_the_right, width):
    with opened(browser, from_the_right, width=width) as page:
        page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.eval_on_selector("a.call b", "each => getComputedStyle(each).direction") == "ltr"
        assert page.eval_on_selector("details.search svg", "each => getComputedStyle(each).direction") == "ltr"


def test_every_place_to_tap_is_at_least_44_px_high(browser, saved):
    with opened(browser, saved, width=390) as page:
        page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        page.evaluate("document.querySelectorAll('[hidden]').forEach(each => each.hidden = false)")
        low = page.evaluate(
            """() => [...document.querySelectorAll('a[href], button, summary, label')].filter(each => {
                const box = each.getBoundingClientRect();
                return box.height < 44 || box.width < 44;
            }).map(each => each.outerHTML.slice(0, 90))"""
        )
        assert low == []


def test_type_is_18_px_and_never_smaller_than_16(browser, saved):
    with opened(browser, saved) as page:
        assert page.evaluate("getComputedStyle(document.body).fontSize") == "18px"
        small = page.evaluate(
            """[...document.querySelectorAll('body *')].filter(each => !each.closest('svg, code, script')
                && [...each.childNodes].some(node => node.nodeType === 3 && node.textContent.trim())
                && parseFloat(getComputedStyle(each).fontSize) < 16).map(each => each.outerHTML.slice(0, 80))"""
        )
        assert small == []


def test_what_is_said_first_is_black_on_white_or_white_on_black(browser, saved):
    with opened(browser, saved) as page:
        pairs = page.evaluate(
            """() => [...document.querySelectorAll('.happened h2, .call, .minute li, .state, button')].map(each => {
                let back = each;
                while (getComputedStyle(back).backgroundColor === 'rgba(0, 0, 0, 0)' && back.parentElement)
                    back = back.parentElement;
                return [getComputedStyle(each).color, getComputedStyle(back).backgroundColor];
            })"""
        )
        black, white = "rgb(0, 0, 0)", "rgb(255, 255, 255)"
        assert {tuple(pair) for pair in pairs} == {(black, white), (white, black)}


def test_nothing_on_the_page_is_red(browser, saved):
    """Red goes grey in the sun, under water and to many an eye. Red: far more of it than of green and of blue."""
    with opened(browser, saved) as page:
        found = page.evaluate(
            """() => { const found = new Set(); for (const each of document.querySelectorAll('body, body *')) {
                const style = getComputedStyle(each);
                for (const name of ['color', 'backgroundColor', 'borderTopColor', 'borderLeftColor', 'fill', 'stroke'])
                    found.add(style[name]);
            } return [...found]; }"""
        )
        colours = [[float(part) for part in re.findall(r"[\d.]+", text)] for text in found]
        assert len(colours) > 3
        assert [colour for colour in colours if len(colour) >= 3 and colour[0] - max(colour[1:3]) > 40] == []


def test_each_link_inside_the_file_brings_its_part_to_the_top_of_the_screen(browser, saved):
    with opened(browser, saved) as page:
        links = page.eval_on_selector_all(
            "a[href^='#']", "links => [...new Set(links.map(a => a.getAttribute('href')))]"
        )
        assert len(links) > 25
        for link in links:
            page.evaluate("link => { location.hash = ''; location.hash = link; }", link)
            page.wait_for_timeout(20)
            top = page.evaluate("link => document.getElementById(link.slice(1)).getBoundingClientRect().top", link)
            assert -1 <= top < 844, link
            assert page.evaluate(
                "link => { const part = document.getElementById(link.slice(1)); "
                "return part.tagName !== 'DETAILS' || part.open; }",
                link,
            )


def test_the_clock_counts_down_and_turns_into_words(browser, saved):
    with opened(browser, saved, "2026-12-12T08:00:00Z") as page:
        dive = first_dive(page)
        state = "[data-exit-by] .state"
        assert page.inner_text(state).startswith(f"In at {dive['in']}, in ")
        assert page.is_disabled("[data-exit-by] .all-out")
        tick(page, plus(dive["entry"], 0))
        assert page.is_enabled("[data-exit-by] .all-out")
        assert page.is_hidden("#overdue")
        tick(page, plus(dive["exitBy"], -12), by_itself=True)
        assert page.inner_text(state) == f"Out by {dive['out']}, in 12 min."
        tick(page, plus(dive["exitBy"], -11.5))  # a part of a minute is never given to the diver
        assert page.inner_text(state) == f"Out by {dive['out']}, in 11 min."
        tick(page, plus(dive["exitBy"], -0.5))
        assert page.inner_text(state) == f"Out by {dive['out']}, in less than 1 min."
        tick(page, plus(dive["exitBy"], 0), by_itself=True)
        assert page.inner_text(state) == "OVERDUE now: start the missing-diver steps."
        tick(page, plus(dive["exitBy"], 2.5))
        assert page.inner_text(state) == "OVERDUE since 3 min: start the missing-diver steps."
        assert dive["name"] in page.inner_text("#overdue")
        assert page.get_attribute("#overdue", "role") == "alert"
        tick(page, plus(dive["exitBy"], 75))
        assert page.inner_text(state) == "OVERDUE since 1 h 15 min: start the missing-diver steps."
        tick(page, plus(dive["exitBy"], 3 * 1440))
        assert "later day" in page.inner_text(state)


def test_the_day_before_no_minutes_are_counted(browser, saved):
    with opened(browser, saved, "2026-12-10T12:00:00Z") as page:
        assert "earlier day" in page.inner_text("[data-exit-by] .state")
        assert page.is_hidden("#overdue")


def test_the_clock_hangs_on_the_instant_and_not_on_the_zone_of_the_phone(browser, saved):
    said = []
    for zone in ("Pacific/Auckland", "America/Los_Angeles", "Atlantic/Azores"):
        with opened(browser, saved, "2026-12-12T13:21:00Z", timezone_id=zone) as page:
            said.append(page.eval_on_selector_all(".state, [data-phone-clock]", "all => all.map(e => e.textContent)"))
            assert "12:21 at the site" in page.inner_text("[data-phone-clock]")  # the Azores are an hour behind UTC
    assert said[0] == said[1] == said[2]


def test_everybody_out_stops_the_clock_stays_over_a_reload_and_can_be_undone(browser, saved):
    with opened(browser, saved) as page:
        dive = first_dive(page)
        tick(page, plus(dive["exitBy"], -3))
        others = page.eval_on_selector_all(".state", "all => all.slice(1).map(e => e.textContent)")
        page.click("[data-exit-by] .all-out")
        noted = page.inner_text("[data-exit-by] .state")
        assert noted.startswith("Everybody is out: noted at ") and noted.endswith("The clock is stopped.")
        assert "keeps the note" in page.inner_text("[data-exit-by] .kept")
        assert page.eval_on_selector_all(".state", "all => all.slice(1).map(e => e.textContent)") == others
        tick(page, plus(dive["exitBy"], 5))
        assert page.inner_text("[data-exit-by] .state") == noted
        assert dive["name"] not in page.inner_text("#overdue")
        reload(page)
        assert page.inner_text("[data-exit-by] .state") == noted
        page.click("[data-exit-by] .undo")
        assert page.inner_text("[data-exit-by] .state") == "OVERDUE since 5 min: start the missing-diver steps."
        assert dive["name"] in page.inner_text("#overdue")
        assert page.is_hidden("[data-exit-by] .undo")
        reload(page)
        assert page.inner_text("[data-exit-by] .state").startswith("OVERDUE since 5 min")


def test_tapping_twice_is_tapping_once(browser, saved):
    with opened(browser, saved) as page:
        dive = first_dive(page)
        tick(page, plus(dive["exitBy"], -3))
        page.dblclick("[data-exit-by] .all-out")
        noted = page.inner_text("[data-exit-by] .state")
        assert noted.startswith("Everybody is out: noted at ")
        page.evaluate("document.querySelector('.undo').click()")  # a page that moves under the finger
        assert page.inner_text("[data-exit-by] .state") == noted
        tick(page, plus(dive["exitBy"], 1))
        page.evaluate("document.querySelector('.all-out').click()")
        page.evaluate("document.querySelector('.all-out').dispatchEvent(new Event('click'))")
        assert page.inner_text("[data-exit-by] .state") == noted  # the first time counts
        under = page.eval_on_selector(
            "[data-exit-by] .all-out", "b => { const r = b.getBoundingClientRect(); return r.bottom; }"
        )
        assert page.eval_on_selector("[data-exit-by] .undo", "b => b.getBoundingClientRect().top") > under


def test_noting_that_all_are_out_moves_nothing_above_it(browser, saved):
    """What says that somebody is overdue comes and goes at the foot of the screen, so no finger finds another key."""
    with opened(browser, saved) as page:
        dive = first_dive(page)
        for minutes in (-3, 4):
            tick(page, plus(dive["exitBy"], minutes))
            page.evaluate("document.querySelector('[data-exit-by]').scrollIntoView()")
            top = "document.querySelector('[data-exit-by]').getBoundingClientRect().top"
            before = page.evaluate(top)
            page.evaluate("document.documentElement.style.overflowAnchor = 'none'")
            page.click("[data-exit-by] .all-out")
            assert page.evaluate(top) == before
            tick(page, plus(dive["exitBy"], minutes + 1))
            page.click("[data-exit-by] .undo")


def test_a_mark_from_before_the_dive_or_of_nonsense_is_not_believed(browser, saved):
    with opened(browser, saved) as page:
        dive = first_dive(page)
        tick(page, plus(dive["exitBy"], 4))
        for kept in (plus(dive["entry"], -1), "NaN", "yes", "-1", "", "Infinity"):
            page.evaluate(
                "([key, kept]) => localStorage.setItem(key, kept.includes('T') ? String(Date.parse(kept)) : kept)",
                [dive["key"], kept],
            )
            page.reload()
            tick(page, plus(dive["exitBy"], 4))  # a new page of a file does not always know what the one before kept
            assert page.inner_text("[data-exit-by] .state").startswith("OVERDUE since 4 min"), kept


def test_a_phone_that_keeps_nothing_says_so_and_stops_the_clock_all_the_same(browser, saved):
    with opened(browser, saved, before=NO_STORE) as page:
        dive = first_dive(page)
        assert "does not keep the note" in page.inner_text("[data-exit-by] .kept")
        tick(page, plus(dive["exitBy"], 4))
        page.click("[data-exit-by] .all-out")
        assert page.inner_text("[data-exit-by] .state").startswith("Everybody is out")
        tick(page, plus(dive["exitBy"], 9))
        assert page.inner_text("[data-exit-by] .state").startswith("Everybody is out")
        page.click("[data-exit-by] .undo")
        assert page.inner_text("[data-exit-by] .state").startswith("OVERDUE since 9 min")


def test_without_script_the_times_the_numbers_and_the_steps_stand_there(browser, saved):
    with opened(browser, saved, java_script_enabled=False) as page:
        times = page.locator("#s1-clocks dl.times").first.inner_text()
        assert "Overdue from" in times
        text = page.inner_text("body")
        assert "No clock runs here: look at the times yourself." in text
        assert page.locator(".all-out:visible").count() == 0
        assert page.locator("#overdue:visible").count() == 0
        assert page.locator("a.call[href^='tel:']").count() == 4
        page.locator("#s1-missing_diver summary").click()
        assert page.locator("#s1-missing_diver ol").is_visible()


def test_the_script_that_is_not_ours_does_not_run(browser, saved, tmp_path):
    """The content policy inside the file names one script by its digest: another one in the same file stays dead."""
    page_text = saved.read_text(encoding="utf-8")
    changed = tmp_path / "changed.html"
    changed.write_text(
        page_text.replace("</main>", "<script>window.ran = 1</script><img src=x onerror='window.ran = 2'></main>"),
        encoding="utf-8",
    )
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto(changed.as_uri())
    assert page.evaluate("window.ran") is None
    assert page.inner_text(".state") != ""
    context.close()
