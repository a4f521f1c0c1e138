"""Pages beside a bare Flask page on the same server under the same load, and what the program needs to begin."""

from __future__ import annotations

import http.client
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.bench.table import Row, seconds

PLAN = "/plan?site=stair-ledge&date=2026-12-12&group=Terns&group=Skuas&asked=yes"
BARE = "/bare/"
PAGES = {
    "the plan of a day": PLAN,
    "the list of sites": "/sites",
    "a site": "/sites/stair-ledge",
    "sheets of a day": "/sheets",
}
ASKING, EACH, BLOCKS = 4, 25, 6  # connections at once, pages each in a block, blocks of each address by turns
PLAN_AT_MOST = 10.0  # times the bare page, at the 95th percentile
HELP_AT_MOST_S = 0.3
FIRST_PLANS = 6


@contextmanager
def beside() -> Iterator[tuple[int, int]]:
    """Serve both from a process; gives the port and the number of the process."""
    process = subprocess.Popen([sys.executable, "-m", "tests.bench.beside"], stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        yield int(process.stdout.readline()), process.pid
    finally:
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()


def _ask(line: http.client.HTTPConnection, address: str) -> float:
    start = time.perf_counter()
    line.request("GET", address)
    answer = line.getresponse()
    answer.read()
    taken = time.perf_counter() - start
    assert answer.status == 200, f"{address} answered {answer.status}"
    return taken


def _block(port: int, address: str) -> list[float]:
    """Return how long each answer took while some connections ask at once, seconds."""
    taken: list[float] = []
    failed: list[BaseException] = []

    def one() -> None:
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        try:
            taken.extend(_ask(line, address) for _ in range(EACH))
        except BaseException as error:
            failed.append(error)
        finally:
            line.close()

    asking = [threading.Thread(target=one) for _ in range(ASKING)]
    for each in asking:
        each.start()
    for each in asking:
        each.join()
    if failed:
        raise failed[0]
    return taken


def _at_95(times: list[float]) -> float:
    return statistics.quantiles(times, n=20)[-1]


def page_rows() -> Iterator[Row]:
    """Measure pages by turns with the bare page; then plans that nobody asked for before, and the memory."""
    with beside() as (port, pid):
        before_mb = _memory_mb(pid)
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        for address in (BARE, *PAGES.values()):
            _ask(line, address)
        times: dict[str, list[float]] = {address: [] for address in (BARE, *PAGES.values())}
        for _ in range(BLOCKS):
            for address, found in times.items():
                found.extend(_block(port, address))
        bare_ms = _at_95(times[BARE]) * 1000
        part, against = f"a page in the 95th percentile, {ASKING} asking at once", "a bare Flask page"
        for what, address in PAGES.items():
            limit = PLAN_AT_MOST if address == PLAN else None
            yield Row(part, what, _at_95(times[address]) * 1000, "ms", bare_ms, against, limit)
        line.close()
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)  # the server lets go of one that was quiet
        bare_one = statistics.median(_ask(line, BARE) for _ in range(50))
        first = [_ask(line, f"{PLAN}&minutes={25 + number}") for number in range(FIRST_PLANS)]
        part = "a page, one asking"
        yield Row(
            part, "a plan nobody asked for before", statistics.median(first) * 1000, "ms", bare_one * 1000, against
        )
        sheet = [_ask(line, PLAN.replace("/plan?", "/plan.pdf?")) for _ in range(FIRST_PLANS)]
        yield Row(part, "its sheet as PDF", statistics.median(sheet) * 1000, "ms", bare_one * 1000, against)
        line.close()
        yield Row("memory", "the server after these pages", _memory_mb(pid), "MB", before_mb, "the server before")


def _memory_mb(pid: int) -> float:
    """Return the memory of a process that is its own or shared, MB."""
    text = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    return int(next(line.split()[1] for line in text.splitlines() if line.startswith("VmRSS"))) / 1024


def start_rows() -> Iterator[Row]:
    """Measure what the command needs to begin, beside Python alone."""

    def run(*words: str) -> float:
        return seconds(lambda: subprocess.run([sys.executable, *words], check=True, capture_output=True)) * 1000

    alone_ms = run("-c", "pass")
    part, against = "to begin", "Python alone"
    help_ms = run("-m", "tripplan", "--help")
    yield Row(part, "tripplan --help", help_ms, "ms", alone_ms, against, 1 + HELP_AT_MOST_S * 1000 / alone_ms)
    yield Row(
        part, "tripplan limits --depth 18", run("-m", "tripplan", "limits", "--depth", "18"), "ms", alone_ms, against
    )
    web_ms = run("-c", "import tripplan.web.app")
    yield Row(part, "importing the web app", web_ms, "ms", alone_ms, against)
