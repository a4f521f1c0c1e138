"""Take the pictures of the guides: `python -m tests.pictures`, or with names of pictures to take only those.

The demonstration is served on a fixed clock, so that only a page that changed gives another picture. It needs Chromium
and pdftoppm on the path, and some minutes: a schedule is made too.
"""

from __future__ import annotations

import io
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from tripplan.data_files import data_dir

FOLDER = data_dir("templates") / "guides" / "pictures"
LARGEST_BYTES = 150_000
LARGEST_TOGETHER_BYTES = 1_000_000
COLOURS = (64, 32, 16, 8)  # as many as the size allows; the pages are ink on paper

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
DAY, SITE = date(2026, 12, 12), "stair-ledge"
ON_THE_DAY = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)  # the ledge keeps UTC-1
PLAN = f"/plan?site={SITE}&date={DAY}&group=Terns&group=Skuas&asked=yes"
SCHEDULE, SCHEDULE_DAY = "december-week", "2026-12-12"
PHONE, DESK = (390, 844), (1100, 900)


@dataclass(frozen=True)
class Picture:
    """One picture: where it is taken, and what of it is shown."""

    address: str
    window: tuple[int, int]  # width and height, pixels
    part: str = ""  # a selector; empty: the window as it stands
    height: int | None = None  # of what is shown, pixels; None: all of the part
    clock: datetime = NOW


PICTURES = {
    "plan-phone": Picture(PLAN, PHONE, height=1250),
    "day-picture": Picture(PLAN, DESK, part="figure.wide"),
    "board": Picture("/board?group=Terns&date=2026-12-06", DESK, part="main", height=900),
    "morning": Picture(f"/sheets?date={DAY}", PHONE, height=1250, clock=ON_THE_DAY),
    "live-phone": Picture(f"/today/{SITE}?date={DAY}&by=Greta%20Holm", PHONE, height=1250, clock=ON_THE_DAY),
    "schedule-board": Picture(f"/schedules/{SCHEDULE}?day={SCHEDULE_DAY}", DESK, part=".lanes"),
}
PAPERS = {  # the first page of a PDF
    "emergency-sheet": f"/sheets.pdf?date={DAY}&site={SITE}",
    "day-sheet": PLAN.replace("/plan?", "/plan.pdf?"),
}
NAMES = (*PICTURES, *PAPERS)
PAPER_DPI = 90


def small_png(content: bytes) -> bytes:
    """Return a picture with as many colours as its size allows.  Raises ValueError where even few are too many."""
    from PIL import Image

    with Image.open(io.BytesIO(content)) as read:
        image = read.convert("RGB")
    for colours in COLOURS:
        out = io.BytesIO()
        image.quantize(colours, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
        if out.tell() <= LARGEST_BYTES:
            return out.getvalue()
    raise ValueError(
        f"{out.tell():,} bytes with {COLOURS[-1]} colours; at most {LARGEST_BYTES:,}: show less of the page"
    )


# ---- what is served ----


@dataclass
class Served:
    """The demonstration, served on a clock that can be set."""

    app: Any
    address: str
    now: datetime


@contextmanager
def served(path: Path) -> Iterator[Served]:
    """Serve the demonstration with its own store, records and answers of services."""
    from waitress.server import create_server

    from tripplan.store.database import Store, sqlite_url
    from tripplan.web.app import create_app

    store = Store(sqlite_url(path / "store.sqlite"))
    here = Served(None, "", NOW)
    here.app = create_app(
        data_dir("sites"),
        clock=lambda: here.now,
        records=path / "records",
        feed_cache=path / "feeds",
        store=store,
    )
    server = create_server(here.app, host="127.0.0.1", port=0)
    here.address = f"http://127.0.0.1:{server.effective_port}"
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield here
    finally:
        server.close()
        thread.join(timeout=5)
        store.close()


def write_a_morning(store: Any) -> None:
    """Write down what happens at the ledge before the picture: everybody is here, and one group is in the water."""
    from tripplan.planning.event import Event

    group = ("Luca Benti", "Nadia Petit", "Owen Marsh", "Keiko Arai", "Hana Novak")
    others = ("Asha Rao", "Bruno Silva", "Eric Lund")
    crew = ("Ines Faro", "Greta Holm", "Yusuf Demir", "Sam Whitlow", "Tom Okafor", "Maren Dahl")
    events = []
    for number, name in enumerate((*crew, *group, *others)):
        at = ON_THE_DAY - timedelta(minutes=80 - number)
        events.append(Event(f"pictures-here-{number:04}", at, DAY, SITE, "assembled", "Greta Holm", person=name))
    for number, name in enumerate(group):
        at = ON_THE_DAY - timedelta(minutes=9)
        events.append(
            Event(f"pictures-in-{number:06}", at, DAY, SITE, "in", "Greta Holm", person=name, group="Terns", dive=1)
        )
    store.add(events, ON_THE_DAY)


def make_the_schedule(app: Any, store: Any) -> None:
    """Make the demonstration's schedule, as a worker would, and keep it."""
    from tripplan.planning.scheduling import make_schedule
    from tripplan.planning.solver import Limits
    from tripplan.store.schedules import add_result, mark_of

    folder = app.extensions["tripplan_shelf"].folder
    asked = folder.schedules[SCHEDULE]
    made = make_schedule(asked, folder.world, limits=Limits(seconds=30.0), explain=False)
    add_result(store, SCHEDULE, made, version=0, base=mark_of(asked), made=NOW, by="Greta Holm")


# ---- taking them ----


def take(names: tuple[str, ...], told: Callable[[str], None] = print) -> None:
    """Take pictures and write them.  Raises RuntimeError for a page that does not answer or lacks the part shown."""
    with tempfile.TemporaryDirectory(prefix="tripplan-pictures-") as scratch, served(Path(scratch)) as here:
        store = here.app.extensions["tripplan_store"]
        if "live-phone" in names:
            write_a_morning(store)
        if "schedule-board" in names:
            told("making the schedule")
            make_the_schedule(here.app, store)
        FOLDER.mkdir(parents=True, exist_ok=True)
        for name, content in (*_papers(here, names), *_pages(here, names)):
            kept = small_png(content)
            (FOLDER / f"{name}.png").write_bytes(kept)
            told(f"{name}.png: {len(kept):,} bytes")


def _papers(here: Served, names: tuple[str, ...]) -> Iterator[tuple[str, bytes]]:
    for name, address in PAPERS.items():
        if name in names:
            answer = here.app.test_client().get(address)
            if answer.status_code != 200:
                raise RuntimeError(f"{name}: {address} answers {answer.status_code}")
            yield name, page_png(answer.get_data())


def page_png(pdf: bytes) -> bytes:
    """Return the first page of a PDF as a picture."""
    program = _found("pdftoppm")
    with tempfile.TemporaryDirectory() as scratch:
        (Path(scratch) / "sheet.pdf").write_bytes(pdf)
        words = [program, "-png", "-r", str(PAPER_DPI), "-f", "1", "-l", "1", "-singlefile", "sheet.pdf", "sheet"]
        subprocess.run(words, cwd=scratch, check=True, capture_output=True)
        return (Path(scratch) / "sheet.png").read_bytes()


def _pages(here: Served, names: tuple[str, ...]) -> Iterator[tuple[str, bytes]]:
    from playwright.sync_api import sync_playwright

    program = _found("chromium", "chromium-browser", "google-chrome")
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        for name, wanted in PICTURES.items():
            if name in names:
                here.now = wanted.clock
                yield name, _page(browser, here.address, name, wanted)
        browser.close()


def _page(browser: Any, address: str, name: str, wanted: Picture) -> bytes:
    width, height = wanted.window
    context = browser.new_context(
        viewport={"width": width, "height": height}, locale="en-GB", timezone_id="Atlantic/Azores",
        reduced_motion="reduce",
    )  # fmt: skip
    page = context.new_page()
    page.clock.set_fixed_time(wanted.clock)
    answer = page.goto(address + wanted.address)
    if answer is None or answer.status != 200:
        raise RuntimeError(f"{name}: {wanted.address} answers {answer and answer.status}")
    if wanted.part:
        found = page.query_selector(wanted.part)
        box = found and found.bounding_box()
        if not box:
            raise RuntimeError(f"{name}: {wanted.address} has no {wanted.part}")
    else:
        box = {"x": 0, "y": 0, "width": width, "height": page.evaluate("document.documentElement.scrollHeight")}
    box["height"] = min(box["height"], wanted.height or box["height"])
    content: bytes = page.screenshot(clip=box, full_page=True, animations="disabled")
    context.close()
    return content


def _found(*programs: str) -> str:
    for each in programs:
        if path := shutil.which(each):
            return path
    raise RuntimeError(f"{programs[0]} is not on the path: install it to take the pictures")


def main(words: list[str]) -> int:
    """Take all pictures, or those that are named; one that is no longer in the list is removed."""
    if unknown := [name for name in words if name not in NAMES]:
        print(f"{', '.join(unknown)}: no such picture; there are {', '.join(NAMES)}", file=sys.stderr)
        return 2
    take(tuple(words) or NAMES)
    for file in FOLDER.glob("*.png"):
        if file.stem not in NAMES:
            file.unlink()
            print(f"{file.name}: removed, it is no longer in the list")
    together = sum(file.stat().st_size for file in FOLDER.glob("*.png"))
    print(f"{together:,} bytes together, at most {LARGEST_TOGETHER_BYTES:,}")
    return 0 if together <= LARGEST_TOGETHER_BYTES else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
