"""A forecast service that never ends its answer: pages answer all the same, and say how old their forecast is."""

from __future__ import annotations

import json
import re
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from tests.faults.conftest import BOARD, Phone, entry
from tests.feeds.forecast_server import open_meteo
from tripplan.cli import main
from tripplan.data_files import data_dir
from tripplan.feeds import forecasts
from tripplan.feeds.settings import FeedSettings, read_feed_settings

pytestmark = pytest.mark.sqlite_file("about services: it hangs on no kind of store")
HERE = (46.8330, -16.9700)
HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n"


class Service:
    """A service at the level of bytes: it says what a test gives it, and then goes on as it is told."""

    def __init__(self) -> None:
        self.then = "answer"  # or silence, drip_head, drip_body, endless
        self.asked = 0
        self.over = threading.Event()
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._listening.getsockname()[1]}"
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        with suppress(OSError):
            while True:
                line, _ = self._listening.accept()
                threading.Thread(target=self._answer, args=(line,), daemon=True).start()

    def _answer(self, line: socket.socket) -> None:
        with line, suppress(OSError):
            asked = b""
            while b"\r\n\r\n" not in asked:
                if not (more := line.recv(65536)):
                    return
                asked += more
            self.asked += 1
            if self.then == "answer":
                name = "open_meteo_marine" if b"/v1/marine" in asked else "open_meteo_forecast"
                body = json.dumps(open_meteo(name, datetime.now(UTC), *HERE)).encode()
                line.sendall(HEAD + f"Content-Length: {len(body)}\r\nConnection: close\r\n\r\n".encode() + body)
                return
            if self.then == "drip_head":
                line.sendall(HEAD)
            elif self.then in ("drip_body", "endless"):
                line.sendall(HEAD + b"Transfer-Encoding: chunked\r\n\r\n")
            while not self.over.wait(0.0 if self.then == "endless" else 0.05):
                if self.then == "drip_head":
                    line.sendall(b"X")
                elif self.then == "drip_body":
                    line.sendall(b"1\r\n \r\n")
                elif self.then == "endless":
                    line.sendall(b"10000\r\n" + b" " * 65536 + b"\r\n")

    def close(self) -> None:
        self.over.set()
        self._listening.close()


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Service]:
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr("tripplan.feeds.session.FIRST_PAUSE_S", 0.01)
    monkeypatch.setattr(forecasts, "PATIENCE_S", 0.8)

    def at_once_old(path: Path) -> FeedSettings:
        return read_feed_settings(path).model_copy(update={"keep_fresh_min": 0.0})

    monkeypatch.setattr("tripplan.store.folder.read_feed_settings", at_once_old)
    made = Service()
    yield made
    made.close()


@pytest.fixture
def folder(tmp_path: Path, service: Service) -> Path:
    """A centre that asks the service, with a request for today: forecasts reach no further than a week."""
    made = Path(shutil.copytree(data_dir("sites"), tmp_path / "centre"))
    shutil.rmtree(made / "forecast")
    request = made / "requests" / "saturday-ledge.toml"
    words = re.sub(r"(?m)^date = .*$", f"date = {datetime.now(UTC).date()}", request.read_text(encoding="utf-8"))
    request.write_text(words, encoding="utf-8")
    (made / "centre" / "feeds.toml").write_text(
        'contact = "office@verrow.example"\nwait_s = 0.5\n[open_meteo]\nuse = true\n'
        f'non_commercial = true\nhost = "{service.address}"\nmarine_host = "{service.address}"\n',
        encoding="utf-8",
    )
    return made


@pytest.fixture
def app(tmp_path: Path, folder: Path, apps: Callable[..., Any]) -> Iterator[Any]:
    made = apps(tmp_path, folder=folder, clock=lambda: datetime.now(UTC))
    yield made
    made.extensions["tripplan_teller"].close()


def asking() -> bool:
    return any(thread.name == "tripplan-feed" for thread in threading.enumerate())


def said(app: Any, page: str) -> str:
    """Return what a page says, on one line."""
    answer = app.test_client().get(page)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", answer.text)


def answered(app: Any, page: str) -> bool:
    """Ask until the service has answered in time, for a machine that has much to do may be late itself."""
    give_up = time.monotonic() + 30
    while time.monotonic() < give_up:
        for call in app.extensions["tripplan_teller"]._session._calls.values() if service_open(app) else ():
            call.rest_until = 0.0  # the while in which it is left alone is over
        if "Open-Meteo" not in (text := said(app, page)) or not re.search("did not answer|is used instead", text):
            return True
    return False


def service_open(app: Any) -> bool:
    return app.extensions["tripplan_teller"]._session is not None


@pytest.mark.parametrize("then", ["silence", "drip_head", "drip_body", "endless"])
def test_a_plan_is_answered_while_the_service_is_still_at_it_and_says_how_old_its_forecast_is(app, service, then):
    page = f"/plan.txt?site=stair-ledge&date={datetime.now(UTC).date()}&group=Terns&asked=yes"
    assert answered(app, page) and service.asked >= 2
    service.then = then
    text = said(app, page)
    assert not service.over.is_set()  # the service has not ended its answer, and the page is here
    assert re.search(r"its answer of [^,]+, 0 min old, is used instead", text), text
    give_up = time.monotonic() + 30  # whoever asked lets go, though the service goes on for ever
    while asking() and time.monotonic() < give_up:
        time.sleep(0.02)
    assert not asking()
    asked = service.asked
    for _ in range(2):  # and for a while nobody waits for it again
        assert "is used instead" in said(app, page)
    if then != "endless":  # that one fails at once, and holds nobody up
        assert service.asked == asked
    service.then = "answer"
    assert answered(app, page)


def test_the_page_of_the_day_goes_on_while_the_service_is_silent(app, service):
    service.then = "silence"
    day = datetime.now(UTC).date().isoformat()
    phone = Phone(app)
    board = re.sub(r"\d{4}-\d\d-\d\d", day, BOARD)
    csrf = re.search(r'data-csrf="([^"]+)"', phone.client.get(f"/today/stair-ledge?date={day}&by=Ann").text)[1]
    assert not service.over.is_set()
    moment = datetime.now(UTC).isoformat()
    answer = phone.client.post(
        f"/today/stair-ledge/entries?date={day}",
        json={"entries": [entry("first-01", at=moment)]},
        headers={"X-CSRFToken": csrf},
    )
    assert answer.status_code == 200 and answer.json["new"] == ["first-01"]
    asked = service.asked
    for _ in range(5):  # the plan is kept: no poll asks the service or plans again
        assert phone.client.get(board).status_code == 200
    assert service.asked == asked


def test_the_command_says_it_too_and_ends(folder, service, capsys):
    service.then = "drip_head"
    assert main(["plan", str(folder / "requests" / "saturday-ledge.toml"), "--text"]) in (0, 1)
    printed = capsys.readouterr()
    assert not service.over.is_set()
    assert "did not answer within 0.5 s" in re.sub(r"\s+", " ", printed.out) and "Traceback" not in printed.err
