"""A server on this machine that answers as each service documents it, or fails in every way that they do."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

PUBLISHED = Path(__file__).resolve().parent.parent / "published" / "forecast"
NOW = datetime(2026, 6, 14, 2, 30, tzinfo=UTC)  # within the times of the published answers


def sample(name: str) -> Any:
    """Return one of the published answers."""
    return json.loads((PUBLISHED / f"{name}.json").read_text(encoding="utf-8"))


@dataclass
class Reply:
    """What the server says next."""

    body: bytes | str | dict[str, Any] = b""
    status: int = 200
    headers: dict[str, str] = field(default_factory=dict)
    hold: threading.Event | None = None  # nothing is said before it is set
    drip: bool = False  # one byte at a time, for ever
    close: bool = False  # the connection is closed without a word
    cut: int | None = None  # promise everything, send only so many bytes

    @property
    def raw(self) -> bytes:
        """The bytes of the body."""
        if isinstance(self.body, dict):
            return json.dumps(self.body).encode()
        return self.body.encode() if isinstance(self.body, str) else self.body


@dataclass
class Got:
    """A question that reached the server."""

    path: str
    params: dict[str, str]
    headers: dict[str, str]


class Server:
    """Answers by path; replies of a path are used one after the other, the last one again and again."""

    def __init__(self) -> None:
        self.replies: dict[str, list[Reply | Callable[[Got], Reply]]] = {}
        self.got: list[Got] = []
        self.waiting = threading.Semaphore(0)  # released by each question that is held
        self.stopping = threading.Event()
        self._lock = threading.Lock()

    def says(self, path: str, *replies: Reply | Callable[[Got], Reply] | dict[str, Any]) -> None:
        """Set what a path answers."""
        self.replies[path] = [Reply(each) if isinstance(each, dict) else each for each in replies]

    def asked(self, path: str) -> list[Got]:
        """Return the questions that came for a path."""
        return [got for got in self.got if got.path == path]

    def reply(self, got: Got) -> Reply:
        """Return the next reply for a question."""
        with self._lock:
            self.got.append(got)
            queue = self.replies.get(got.path)
            if not queue:
                return Reply(status=404)
            found = queue.pop(0) if len(queue) > 1 else queue[0]
        return found(got) if callable(found) else found


def _handler(server: Server) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            params = {key: values[0] for key, values in parse_qs(parts.query).items()}
            reply = server.reply(Got(parts.path, params, dict(self.headers.items())))
            if reply.hold:
                server.waiting.release()
                reply.hold.wait(30)
            if reply.close:
                self.close_connection = True
                return
            raw = reply.raw
            self.send_response(reply.status)
            for name, value in reply.headers.items():
                self.send_header(name, value)
            if reply.drip:
                self.end_headers()
                server.waiting.release()
                while not server.stopping.wait(0.02):
                    try:
                        self.wfile.write(b" ")
                    except OSError:
                        return
                return
            self.send_header("Content-Length", str(len(raw)))
            self.end_headers()
            self.wfile.write(raw if reply.cut is None else raw[: reply.cut])

        def log_message(self, *words: Any) -> None:
            pass

    return Handler


class _Quiet(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Say nothing when whoever asked has gone: that is what some tests are about."""


@contextmanager
def running() -> Iterator[tuple[Server, str]]:
    """Run a server; gives it and its address."""
    server = Server()
    http = _Quiet(("127.0.0.1", 0), _handler(server))
    thread = threading.Thread(target=http.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
    thread.start()
    try:
        yield server, f"http://127.0.0.1:{http.server_address[1]}"
    finally:
        server.stopping.set()
        http.shutdown()
        http.server_close()
        thread.join()


# ---- whole answers, a week and three days of hours, in the published shapes ----


def _hours(now: datetime, past_h: int = 72, ahead_h: int = 8 * 24) -> list[datetime]:
    first = now.replace(minute=0, second=0, microsecond=0) - timedelta(hours=past_h)
    return [first + timedelta(hours=hour) for hour in range(past_h + ahead_h)]


def open_meteo(name: str, now: datetime, latitude: float, longitude: float, **columns: float) -> dict[str, Any]:
    """Return an answer of "open_meteo_forecast" or "_marine" for now, each column the same value at all hours."""
    body: dict[str, Any] = sample(name)
    times = [f"{moment:%Y-%m-%dT%H:%M}" for moment in _hours(now)]
    for key, values in body["hourly"].items():
        first = next((value for value in values if value is not None), None)
        body["hourly"][key] = times if key == "time" else [columns.get(key, first)] * len(times)
    body["latitude"], body["longitude"] = latitude, longitude
    return body


def met_norway(name: str, now: datetime, latitude: float, longitude: float) -> dict[str, Any]:
    """Return an answer of "met_locationforecast_compact" or "met_oceanforecast" for now, hour by hour."""
    body: dict[str, Any] = sample(name)
    first = body["properties"]["timeseries"][0]["data"]
    body["properties"]["timeseries"] = [
        {"time": f"{moment:%Y-%m-%dT%H:%M:%SZ}", "data": first} for moment in _hours(now, 0)
    ]
    body["properties"]["meta"]["updated_at"] = f"{now - timedelta(hours=1):%Y-%m-%dT%H:%M:%SZ}"
    body["geometry"]["coordinates"][:2] = [longitude, latitude]
    return body
