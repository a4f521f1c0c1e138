"""Many phones on one day: ``python -m tests.bench.load --people 50 --seconds 300 [--store URL]``.

Starts the program as users do and drives the page of the day as its script does: each phone has its own queue and its
own marks, asks for the board, sends, and sends again what it had no answer for. Some entries are sent twice, some
connections end before the answer or in the middle of the question. At the end every entry that was written on a phone
must be in the store once, as it was written and in its order, and what each phone reads last must be what the store
holds.
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import json
import os
import random
import re
import secrets
import socket
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.message import Message
from pathlib import Path
from urllib.parse import quote

from tests.bench.served import SITE, Served, served
from tripplan.planning.event import Event
from tripplan.store.database import Store

WAIT_S = 60.0  # for one answer: a server that takes longer is at fault
POLL_S = 15.0  # as the script does
HEALTH_S = 0.2
KINDS = ("healthz", "page", "style, script", "board", "board, nothing new", "entries", "token")
DIVERS = (  # of the request: who goes in, in which group
    ("Luca Benti", "Terns"), ("Ines Faro", "Terns"), ("Asha Rao", "Skuas"), ("Tom Okafor", "Skuas"),
)  # fmt: skip
Entry = dict[str, object]


@dataclass
class Log:
    """What all phones met."""

    times_s: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    statuses: Counter[tuple[str, int]] = field(default_factory=Counter)
    sizes: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))
    wrong: list[str] = field(default_factory=list)
    dropped: int = 0
    doubled: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def answered(self, kind: str, status: int, taken_s: float, size: int, accepted: Iterable[int]) -> None:
        """Count an answer."""
        with self.lock:
            self.times_s[kind].append(taken_s)
            self.statuses[kind, status] += 1
            self.sizes[kind].append(size)
            if status not in accepted:
                self.wrong.append(f"{kind} answered {status}")

    def say(self, words: str) -> None:
        """Note that something was wrong."""
        with self.lock:
            self.wrong.append(words)


class Line:
    """A connection that stays open, as a browser's does, with its cookies."""

    def __init__(self, port: int, log: Log) -> None:
        self.port = port
        self.log = log
        self.cookies: dict[str, str] = {}
        self._open: http.client.HTTPConnection | None = None

    def ask(
        self,
        kind: str,
        method: str,
        path: str,
        body: bytes | None = None,
        headers: Mapping[str, str] | None = None,
        accepted: Iterable[int] = (200,),
    ) -> tuple[int, Message, str]:
        """Ask and wait for the answer.  Raises OSError or HTTPException where there is none."""
        start = time.perf_counter()
        while True:
            used = self._open is not None
            if self._open is None:
                self._open = http.client.HTTPConnection("127.0.0.1", self.port, timeout=WAIT_S)
            try:
                self._open.request(method, path, body, self._headers(headers))
                answer = self._open.getresponse()
                raw = answer.read()
                break
            except (http.client.RemoteDisconnected, BrokenPipeError, ConnectionResetError):
                self.close()
                if not used:
                    raise  # one that stood idle for long the server may close: a browser opens another
            except BaseException:
                self.close()
                raise
        taken_s = time.perf_counter() - start
        for cookie in answer.headers.get_all("Set-Cookie") or ():
            name, value = cookie.split(";", 1)[0].split("=", 1)
            self.cookies[name] = value
        if kind == "board" and answer.status == 304:
            kind = "board, nothing new"
        self.log.answered(kind, answer.status, taken_s, len(raw), accepted)
        return answer.status, answer.headers, raw.decode()

    def _headers(self, more: Mapping[str, str] | None) -> dict[str, str]:
        held = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())} if self.cookies else {}
        return {**held, **(more or {})}

    def send_and_go(self, path: str, body: bytes, headers: Mapping[str, str], most: int | None) -> None:
        """Send a question, or only its first bytes, and close the connection without waiting for the answer."""
        lines = {**self._headers(headers), "Host": "127.0.0.1", "Content-Length": str(len(body))}
        head = f"POST {path} HTTP/1.1\r\n" + "".join(f"{name}: {value}\r\n" for name, value in lines.items()) + "\r\n"
        raw = head.encode() + body
        with socket.create_connection(("127.0.0.1", self.port), timeout=WAIT_S) as line:
            line.sendall(raw if most is None else raw[:most])

    def close(self) -> None:
        """Close the connection."""
        if self._open is not None:
            self._open.close()
            self._open = None


class Phone(threading.Thread):
    """One person with a phone; their own guest, and for some a diver of the plan."""

    def __init__(self, number: int, server: Served, log: Log, until: float, pace_s: float, poll_s: float) -> None:
        super().__init__(name=f"phone {number}", daemon=True)
        self.number = number
        self.by = f"Phone {number:02}"
        self.written: list[Entry] = []  # all, in their order
        self.sure: set[str] = set()  # marks of those that the server said it has
        self.last_board = ""
        self.queue: list[Entry] = []
        self._line = Line(server.port, log)
        self._spare = [Line(server.port, log) for _ in range(2)]  # a browser opens them with the page and keeps them
        self._log = log
        self._until = until
        self._pace_s = pace_s
        self._poll_s = poll_s
        self._chance = random.Random(20270600 + number)
        day = server.day.isoformat()
        self._page = f"/today/{SITE}?date={day}&by={quote(self.by)}"
        self._addresses: dict[str, str] = {}
        self._csrf = ""
        self._tag = ""
        self._wait_s = 1.0
        self._round = 0
        self._most_read = 0
        self._went_at = 0.0

    # ---- what a person does ----

    def run(self) -> None:
        """Do as a phone does until the time is over, then send what is left and look once more."""
        try:
            self._open_page()
            next_poll = time.monotonic() + self._chance.random() * self._poll_s
            next_entry = time.monotonic() + self._chance.random() * self._pace_s
            while time.monotonic() < self._until:
                if time.monotonic() >= next_entry:
                    self.queue += self._entries()
                    self._send()
                    next_entry = time.monotonic() + self._pace_s * (0.5 + self._chance.random())
                if time.monotonic() >= next_poll:
                    next_poll = time.monotonic() + self._poll_s
                    if not self.queue:
                        self._redraw()
                    if self._chance.random() < 0.05:
                        self._open_page()  # somebody loads the page again
                time.sleep(max(0.0, min(next_entry, next_poll, self._until) - time.monotonic()))
            end = time.monotonic() + 2 * WAIT_S
            while self.queue and time.monotonic() < end:
                self._send(faults=False)
        except Exception as error:
            self._log.say(f"{self.by}: {type(error).__name__}: {error}")

    def look(self) -> None:
        """Read the board once more, after everybody is done."""
        with contextlib.suppress(OSError, http.client.HTTPException):
            self._tag = ""
            self._redraw()
            self._redraw()  # now there is nothing new
        for line in (self._line, *self._spare):
            line.close()

    def _entries(self) -> list[Entry]:
        """Return what the person writes next: mostly one entry, now and then a handful."""
        guest = f"Guest {self.number:02}"
        steps: list[tuple[str, dict[str, object]]] = []
        if self.number < len(DIVERS):
            person, group = DIVERS[self.number]
            dive = {"person": person, "group": group, "dive": 1}
            steps += [
                ("assembled", {"person": person}),
                ("start_bar", {**dive, "value": "210"}),
                ("in", dive),
                ("depth", {**dive, "value": "14.5"}),
                ("out", dive),
                ("end_bar", {**dive, "value": "80"}),
                ("discomfort", {**dive, "text": "none"}),
            ]
        else:
            steps += [("assembled", {"person": guest}), ("left", {"person": guest})]
        steps += [("note", {"text": f"Note {self._round} of {self.by}: {'é<b>' * self._chance.randrange(20)}."})]
        many = 1 if self._chance.random() < 0.8 else 4
        made = []
        for _ in range(many):
            kind, values = steps[self._round % len(steps)]
            self._round += 1
            made.append(self._entry(kind, **values))
        if self._round % 5 == 4:
            made.append(self._entry("count", value=str(self._chance.randrange(60)), text="assemble"))
        if self._chance.random() < 0.05 and (notes := [one for one in self.written if one["kind"] == "note"]):
            back = self._chance.choice(notes)
            made.append(self._entry("withdrawn", corrects=back["uid"], text="Taken back"))
        self.written += made
        return made

    def _entry(self, kind: str, **values: object) -> Entry:
        at = datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        empty = {"person": "", "group": "", "dive": 0, "value": "", "text": "", "identity": "", "corrects": ""}
        return {"uid": secrets.token_hex(12), "at": at, "by": self.by, "kind": kind, **empty, **values}

    # ---- what the script does ----

    def _open_page(self) -> None:
        _, _, text = self._line.ask("page", "GET", self._page)
        found = re.search(r'<div id="board"([^>]*)>', text)
        if found is None:
            raise AssertionError("the page of the day has no board")
        data = dict(re.findall(r'data-([a-z]+)="([^"]*)"', found[1]))
        self._addresses = {name: data[name].replace("&amp;", "&") for name in ("board", "send", "token")}
        self._csrf, self._tag = data["csrf"], ""
        self._read(text)
        files = re.findall(r'(?:href|src)="(/static/[^"]+\.(?:css|js))"', text)
        for line, path in zip(self._spare, files, strict=False):
            line.ask("style, script", "GET", path)

    def _send(self, *, faults: bool = True) -> None:
        batch = self.queue[:50]
        body = json.dumps({"entries": batch}).encode()
        headers = {"Content-Type": "application/json", "X-CSRFToken": self._csrf}
        if faults and self._chance.random() < 0.15:  # the signal goes while or after it is sent
            most = None if self._chance.random() < 0.6 else self._chance.randrange(1, len(body) + 300)
            with contextlib.suppress(OSError):
                self._line.send_and_go(self._addresses["send"], body, headers, most)
            with self._log.lock:
                self._log.dropped += 1
            if self._chance.random() < 0.5:
                time.sleep(self._chance.random() * 0.2)
        twice = faults and self._chance.random() < 0.1
        try:
            for number in range(2 if twice else 1):
                self._one_send(batch, body, headers, again=number > 0)
        except (OSError, http.client.HTTPException) as error:
            self._log.say(f"{self.by}: no answer to entries: {type(error).__name__}: {error}")
            time.sleep(self._wait_s)
            self._wait_s = min(self._wait_s * 2, 30.0)
            return
        self._wait_s = 1.0
        self._redraw()

    def _one_send(self, batch: Sequence[Entry], body: bytes, headers: dict[str, str], *, again: bool) -> None:
        status, lines, text = self._line.ask("entries", "POST", self._addresses["send"], body, headers)
        if status == 400 and "json" not in lines.get("Content-Type", ""):
            _, _, given = self._line.ask("token", "GET", self._addresses["token"])
            self._csrf = headers["X-CSRFToken"] = json.loads(given)["token"]
            status, lines, text = self._line.ask("entries", "POST", self._addresses["send"], body, headers)
        if status != 200:
            time.sleep(self._wait_s)
            self._wait_s = min(self._wait_s * 2, 30.0)
            return
        told = json.loads(text)
        marks = {str(one["uid"]) for one in batch}
        if told["refused"] or told["differs"]:
            self._log.say(f"{self.by}: {told}")
        if again:
            with self._log.lock:
                self._log.doubled += 1
            if set(told["known"]) != marks:
                self._log.say(f"{self.by}: what was sent twice is not known: {told}")
        self.sure |= marks & {*told["new"], *told["known"]}
        self.queue = [one for one in self.queue if one["uid"] not in self.sure]

    def _redraw(self) -> None:
        path = f"{self._addresses['board']}&by={quote(self.by)}"
        headers = {"If-None-Match": self._tag} if self._tag else {}
        status, lines, text = self._line.ask("board", "GET", path, None, headers, (200, 304) if self._tag else (200,))
        if status == 200:
            self._tag = lines.get("ETag", "")
            self._read(text)

    def _read(self, text: str) -> None:
        """Look at a board: nothing that was there is gone, and what the server said it has is there."""
        self.last_board = text
        count = entries_on(text)
        if count < self._most_read:
            self._log.say(f"{self.by} read {count} entries after {self._most_read}")
        self._most_read = count
        if count < len(self.sure):
            self._log.say(f"{self.by} read {count} entries, and {len(self.sure)} of their own are kept")


def entries_on(board: str) -> int:
    """Return how many entries a board says there are."""
    found = re.search(r"(\d+) entr(?:y|ies), newest first", board)
    return int(found[1]) if found else -1


def tally_on(board: str) -> list[int]:
    """Return how many a board says are in the water, ashore, gone and not here yet."""
    return [int(number) for number in re.findall(r"<dd>(\d+)</dd></div>", board)][:4]


def tally_of(events: Sequence[Event], board: str) -> list[int]:
    """Return the same from the entries alone: where each person is by their last entry of the four kinds."""
    where: dict[str, str] = {}
    for event in sorted(events, key=lambda one: one.at):  # a stable sort: of one moment, the order of arrival
        if event.kind in ("assembled", "in", "out", "left"):
            where[event.person] = event.kind
    named = set(re.findall(r"<li><p><b><bdi>([^<]*)</bdi>", board))
    last = Counter(where.values())
    return [last["in"], last["assembled"] + last["out"], last["left"], len(named - where.keys())]


def _health(port: int, log: Log, over: threading.Event) -> None:
    line = Line(port, log)
    while not over.wait(HEALTH_S):
        try:
            line.ask("healthz", "GET", "/healthz")
        except (OSError, http.client.HTTPException) as error:
            log.say(f"healthz: {type(error).__name__}: {error}")
    line.close()


@dataclass(frozen=True)
class Outcome:
    """What came of it."""

    log: Log
    phones: Sequence[Phone]
    seconds: float
    kept: int


def drive(server: Served, people: int, seconds: float, pace_s: float, poll_s: float = POLL_S) -> Outcome:
    """Let many phones write for some seconds, then compare what they wrote and read with the store."""
    log, over = Log(), threading.Event()
    start = time.monotonic()
    phones = [Phone(number, server, log, start + seconds, pace_s, poll_s) for number in range(people)]
    health = threading.Thread(target=_health, args=(server.port, log, over), daemon=True)
    for thread in (health, *phones):
        thread.start()
    for phone in phones:
        phone.join(seconds + 4 * WAIT_S)
    taken_s = time.monotonic() - start
    over.set()
    health.join()
    for phone in phones:
        phone.look()
    store = Store(server.store_url)
    events = store.events(server.day, SITE)
    store.close()
    for words in compare(phones, events):
        log.say(words)
    said = server.said.read_text(encoding="utf-8")
    if "Traceback" in said:
        log.say(f"the server wrote: {said[-2000:]}")
    return Outcome(log, phones, taken_s, len(events))


def compare(phones: Sequence[Phone], events: Sequence[Event]) -> list[str]:
    """Return what is wrong between the phones and the store; nothing where all is as it should be."""
    wrong = []
    marks = Counter(event.uid for event in events)
    wrong += [f"{uid} is kept {count} times" for uid, count in marks.items() if count > 1]
    order = {event.uid: number for number, event in enumerate(events)}
    by_mark = {event.uid: event for event in events}
    strangers = set(marks)
    for phone in phones:
        if phone.is_alive():
            wrong.append(f"{phone.by} did not come to an end")
        if phone.queue:
            wrong.append(f"{phone.by} has {len(phone.queue)} entries left")
        at = -1
        for one in phone.written:
            uid = str(one["uid"])
            strangers.discard(uid)
            event = by_mark.get(uid)
            if event is None:
                wrong.append(f"{phone.by}: {one['kind']} {uid} is lost")
                continue
            if order[uid] < at:
                wrong.append(f"{phone.by}: {one['kind']} {uid} is kept before what was written before it")
            at = order[uid]
            said = (one["kind"], one["by"], one["person"], one["text"], one["corrects"], str(one["value"] or ""))
            value = "" if event.value is None else f"{event.value:g}"
            held = (event.kind, event.by, event.person, event.text, event.corrects, value)
            if said != held or event.at != datetime.fromisoformat(str(one["at"]).replace("Z", "+00:00")):
                wrong.append(f"{phone.by}: {said} is kept as {held}")
        if entries_on(phone.last_board) != len(events):
            wrong.append(f"{phone.by} read {entries_on(phone.last_board)} entries last, and {len(events)} are kept")
        if tally_on(phone.last_board) != (expected := tally_of(events, phone.last_board)):
            wrong.append(f"{phone.by} read {tally_on(phone.last_board)} last, and by the store it is {expected}")
    wrong += [f"{uid} was written by nobody" for uid in strangers]
    return wrong


def table(outcome: Outcome) -> str:
    """Return the figures in words: how many answers a second, how long they took beside the bare page."""
    log = outcome.log
    base_s = statistics.median(log.times_s["healthz"]) if log.times_s["healthz"] else float("nan")
    lines = [
        f"{len(outcome.phones)} phones, {outcome.seconds:.0f} s, {outcome.kept} entries kept; "
        f"{log.dropped} connections dropped, {log.doubled} messages sent twice",
        f"bare page under the same load: median {base_s * 1000:.1f} ms; the rest as multiples of it",
        f"{'':22}{'number':>8}{'a second':>10}{'median':>9}{'90 %':>9}{'99 %':>9}{'longest':>9}{'kB':>8}",
    ]
    for kind in KINDS:
        times = sorted(log.times_s[kind])
        if not times:
            continue
        at = [times[min(len(times) - 1, int(len(times) * part))] / base_s for part in (0.5, 0.9, 0.99, 1.0)]
        lines.append(
            f"{kind:22}{len(times):8}{len(times) / outcome.seconds:10.1f}"
            + "".join(f"{each:9.1f}" for each in at)
            + f"{statistics.mean(log.sizes[kind]) / 1000:8.1f}"
        )
    statuses = Counter(status for (_, status), number in log.statuses.items() for _ in range(number))
    lines.append("answers: " + ", ".join(f"{number} x {status}" for status, number in sorted(statuses.items())))
    lines += [f"WRONG: {words}" for words in log.wrong[:20]]
    lines.append(f"{len(log.wrong)} things wrong" if log.wrong else "nothing lost, nothing doubled, nothing wrong")
    return "\n".join(lines)


def main(words: Sequence[str] | None = None) -> int:
    """Run it and print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.load", description=__doc__)
    parser.add_argument("--people", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=300.0)
    parser.add_argument("--pace", type=float, default=10.0, help="seconds between what one person writes")
    parser.add_argument("--store", help="address of a store; left out: a SQLite file in a temporary place")
    options = parser.parse_args(words)
    for name in ("http_proxy", "HTTP_PROXY", "all_proxy", "ALL_PROXY"):
        os.environ.pop(name, None)
    with tempfile.TemporaryDirectory(prefix="tripplan-load-") as place, served(Path(place), options.store) as server:
        outcome = drive(server, options.people, options.seconds, options.pace)
        print(table(outcome))
    return 1 if outcome.log.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
