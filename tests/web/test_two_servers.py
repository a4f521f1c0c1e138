"""Two servers and a worker, each a process of its own, on one PostgreSQL store and one folder: one centre.

What a browser sends goes to the one or to the other in turn, with the same cookies, as through a server in front that
shares the work between them.
"""

from __future__ import annotations

import http.client
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from urllib.parse import urlencode
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from argon2 import PasswordHasher

from tests.both_stores import database_on
from tests.install.use import SMALL as SMALL_SCHEDULE
from tests.web.schedule_week import week_file
from tests.web.test_request_pages import Form
from tripplan.data_files import data_dir
from tripplan.store.accounts import Accounts, Limits
from tripplan.store.database import Store
from tripplan.store.folder import load_folder
from tripplan.store.tables import SCHEDULE_JOBS
from tripplan.web.wsgi import CannotServe, Forwarded, Settings, create

PASSWORDS = {
    "Greta Holm": ("centre", "seven wet gulls on a wall"),
    "Ines Faro": ("leader", "nine dry boots by the door"),
    "Maren Dahl": ("leader", "two blue mugs in the sink"),
}
SITE = "stair-ledge"
GROUP = ("Luca Benti", "Nadia Petit", "Owen Marsh", "Keiko Arai", "Hana Novak")
SMALL, LONG = "small", "week"  # a schedule that is made in a moment, and one that takes its whole time


def centre_folder(path: Path) -> Path:
    """Return a copy of the demonstration in which a day is dived today and one later, with two schedules."""
    folder = Path(shutil.copytree(data_dir("sites"), path / "centre"))
    today = datetime.now(ZoneInfo("Atlantic/Azores")).date()
    for file in ((folder / "forecast").iterdir(), (folder / "schedules").iterdir(), (folder / "requests").iterdir()):
        for each in file:
            if each.stem not in ("saturday-ledge", "beginners-cove"):
                each.unlink()
    for name, day in (("saturday-ledge", today), ("beginners-cove", today + timedelta(days=20))):
        request = folder / "requests" / f"{name}.toml"
        text = re.sub(r"(?m)^date = .*$", f"date = {day}", request.read_text(encoding="utf-8"))
        request.write_text(text, encoding="utf-8")
    (folder / "schedules" / f"{SMALL}.toml").write_text(SMALL_SCHEDULE, encoding="utf-8")
    week = week_file().replace("[centre]", 'sites = ["gull-cove", "old-slip"]\n\n[centre]', 1)
    (folder / "schedules" / f"{LONG}.toml").write_text(week, encoding="utf-8")
    return folder


# ---- processes ----


class House:
    """The folder, the store, two servers and a worker."""

    def __init__(self, path: Path, url: str) -> None:
        self.folder, self.url = centre_folder(path), url
        self.store = Store(url)
        self.today = datetime.now(ZoneInfo("Atlantic/Azores")).date()
        accounts = Accounts(self.store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
        limits = Limits.of(load_folder(self.folder).world.rules)
        for name, (role, password) in PASSWORDS.items():
            accounts.add(name, role, password, by="the test", now=datetime.now(UTC), limits=limits)
        self.servers: list[subprocess.Popen[bytes]] = []
        self.logs = [path / f"server-{number}.log" for number in (0, 1)]
        self.ports = [0, 0]
        self.worker: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start all three, and wait until both servers listen."""
        self.servers = [self._server(number) for number in (0, 1)]
        self.hire()
        self.ports = [self._port(number) for number in (0, 1)]

    def _server(self, number: int) -> subprocess.Popen[bytes]:
        command = [
            sys.executable, "-m", "waitress", "--listen=127.0.0.1:0", "--no-clear-untrusted-proxy-headers",
            "--call", "tripplan.web.wsgi:create",
        ]  # fmt: skip
        said = {"TRIPPLAN_FOLDER": str(self.folder), "TRIPPLAN_STORE": self.url, "TRIPPLAN_PROXY": "127.0.0.1"}
        with self.logs[number].open("wb") as log:
            return subprocess.Popen(command, env={**os.environ, **said}, stderr=log)

    def _port(self, number: int) -> int:
        def listens() -> bool:
            assert self.servers[number].poll() is None, log.read_text()
            return "Serving on" in log.read_text()

        log = self.logs[number]
        until(listens, 120)
        return int(re.findall(r"Serving on http://[^:]+:(\d+)", log.read_text())[0])

    def hire(self) -> None:
        """Start the worker."""
        command = [sys.executable, "-m", "tripplan", "worker", str(self.folder), "--store", self.url]
        self.worker = subprocess.Popen(command, stderr=subprocess.DEVNULL)

    def start_again(self, number: int) -> None:
        """Start a server that was killed."""
        self.servers[number].wait(10)
        self.servers[number] = self._server(number)
        self.ports[number] = self._port(number)

    def close(self) -> None:
        """End all that still runs."""
        for each in (*self.servers, self.worker):
            if each is not None:
                each.kill()
                each.wait(10)
        self.store.close()


@pytest.fixture(scope="module")
def house(tmp_path_factory, postgresql_server) -> Iterator[House]:
    made = House(tmp_path_factory.mktemp("two"), database_on(postgresql_server, f"two_{uuid4().hex}"))
    try:
        made.start()
        yield made
    finally:
        made.close()


class Answer:
    """What a server answered."""

    def __init__(self, answer: http.client.HTTPResponse) -> None:
        self.status = answer.status
        self.where = answer.getheader("Location", "")
        self.text = answer.read().decode("utf-8", "replace")

    @property
    def json(self):
        return json.loads(self.text)

    @property
    def plain(self) -> str:
        return " ".join(unescape(re.sub(r"<[^>]+>", " ", self.text)).split())


class Browser:
    """Somebody with a browser, whose requests reach the server that is named each time."""

    def __init__(self, house: House, address: str = "203.0.113.5") -> None:
        self.house, self.address = house, address
        self.cookies: dict[str, str] = {}

    def ask(self, server: int, path: str, form=None, **more: str) -> Answer:
        """Ask for a page, or send a form; ``more`` are headers."""
        headers = {
            "Host": "centre.example", "X-Forwarded-Proto": "https", "X-Forwarded-For": self.address,
            "Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items()),
            **{name.replace("_", "-"): value for name, value in more.items()},
        }  # fmt: skip
        body = form if isinstance(form, str) else None if form is None else urlencode(list(_pairs(form)))
        if body is not None:
            headers.setdefault("Content-Type", "application/x-www-form-urlencoded")
        connection = http.client.HTTPConnection("127.0.0.1", self.house.ports[server], timeout=60)
        try:
            connection.request("GET" if body is None else "POST", path, body and body.encode(), headers)
            answer = connection.getresponse()
            for line in answer.headers.get_all("Set-Cookie") or ():
                assert "Secure" in line
                name, value = line.split(";")[0].split("=", 1)
                self.cookies[name] = value
                if not value:
                    del self.cookies[name]
            return Answer(answer)
        finally:
            connection.close()

    def token(self, server: int, path: str) -> str:
        found = re.search(r'name="csrf_token" value="([^"]+)"', self.ask(server, path).text)
        assert found
        return found[1]

    def send(self, read: int, sent: int, page: str, path: str, **form: str) -> Answer:
        """Read a page at one server, and send its form to another."""
        return self.ask(sent, path, {"csrf_token": self.token(read, page), **form})

    def sign_in(self, name: str, read: int, sent: int, password: str | None = None) -> Answer:
        said = PASSWORDS[name][1] if password is None else password
        return self.send(read, sent, "/sign-in", "/sign-in", name=name, password=said)


def _pairs(form) -> Iterator[tuple[str, str]]:
    for name, texts in form.lists() if hasattr(form, "lists") else form.items():
        yield from ((name, text) for text in ([texts] if isinstance(texts, str) else texts))


def until(true: Callable[[], bool], within_s: float = 60.0) -> None:
    """Wait for something."""
    end = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < end
        time.sleep(0.05)


# ---- all alive ----


def test_whichever_server_answers_it_is_one_centre(house):
    a_session_of_one_is_a_session_of_the_other(house)
    wrong_tries_at_both_count_together(house)
    a_day_that_begins_at_both_begins_once(house)
    who_edits_at_the_other_gets_the_choice(house)
    what_is_confirmed_and_changed_in_the_folder_is_seen_by_both(house)
    a_schedule_is_asked_for_here_and_read_there(house)


def a_session_of_one_is_a_session_of_the_other(house):
    greta = Browser(house)
    assert greta.ask(0, "/accounts").where.startswith("/sign-in")
    assert greta.sign_in("Greta Holm", read=0, sent=1).status == 303
    before = dict(greta.cookies)
    assert [greta.ask(server, "/accounts").status for server in (0, 1)] == [200, 200]
    changed = greta.send(0, 1, "/accounts", "/accounts/lock", name="Maren Dahl")
    assert changed.status == 303 and "Maren Dahl is locked" in greta.ask(0, "/accounts").plain
    assert greta.send(1, 0, "/accounts", "/accounts/unlock", name="Maren Dahl").status == 303
    assert greta.send(1, 0, "/account", "/sign-out").status == 303
    greta.cookies = before
    assert [greta.ask(server, "/accounts").status for server in (0, 1)] == [303, 303]


def wrong_tries_at_both_count_together(house):
    """The rule book lets eight tries fail under one name."""
    guesser = Browser(house, "203.0.113.66")
    tries = [guesser.sign_in("Maren Dahl", 0, number % 2, "five wrong words in a row").status for number in range(8)]
    assert tries == [401] * 8
    assert [guesser.sign_in("Maren Dahl", 0, server).status for server in (0, 1)] == [429, 429]


def entry(kind: str, person: str = "", **more: object) -> dict:
    at = datetime.now(UTC).isoformat()
    dive = {"group": "Terns", "dive": 1} if kind in ("in", "depth") else {}
    return {"uid": f"two-{uuid4().hex}", "at": at, "kind": kind, "by": "x", "person": person, **dive, **more}


class Phone(Browser):
    """A phone on the beach; its entries go to one server or the other."""

    def sign(self, name: str) -> Phone:
        assert self.sign_in(name, 0, 1).status == 303
        self.csrf = self.ask(0, f"/today/{SITE}/token").json["token"]
        return self

    def write(self, server: int, *entries: dict) -> Answer:
        how = {"Content_Type": "application/json", "X_CSRFToken": self.csrf}
        where = f"/today/{SITE}/entries?date={self.house.today}"
        return self.ask(server, where, json.dumps({"entries": entries}), **how)

    def tally(self, server: int) -> dict[str, int]:
        page = self.ask(server, f"/today/{SITE}/board?date={self.house.today}").text
        shown = page.split('class="tally"')[1].split("</dl>")[0]
        return {words: int(number) for words, number in re.findall(r"<dt>([^<]+)</dt><dd>(\d+)</dd>", shown)}


def a_day_that_begins_at_both_begins_once(house):
    phones = [Phone(house, "203.0.113.7").sign("Ines Faro"), Phone(house, "203.0.113.8").sign("Greta Holm")]
    assert phones[0].tally(0) == phones[0].tally(1)  # what was seen before must not be what is seen after
    answers: list[Answer] = []
    here = [entry("assembled", name) for name in GROUP]
    threads = [
        threading.Thread(target=lambda number=number: answers.append(phones[number].write(number, *here[number::2])))
        for number in (0, 1)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [each.status for each in answers] == [200, 200]
    (plan,) = house.store.plans(house.today, SITE)
    assert plan.by in ("Ines Faro", "Greta Holm")
    goes_in = [entry("in", name) for name in GROUP]
    for number, each in enumerate(goes_in):
        assert phones[0].write(number % 2, each).json["new"] == [each["uid"]]
        assert phones[0].tally(0)["In the water"] == phones[1].tally(1)["In the water"] == number + 1
    out = entry("out", "Owen Marsh")
    assert phones[0].write(0, out).json["new"] == [out["uid"]]
    assert phones[1].write(1, out).status == phones[0].write(1, out).status == 200
    assert phones[0].write(1, out).json["known"] == [out["uid"]]
    assert phones[0].tally(0) == phones[1].tally(1) == phones[1].tally(0)
    assert phones[0].tally(1)["In the water"] == 4
    uids = [each.uid for each in house.store.events(house.today, SITE)]
    assert len(uids) == len(set(uids)) and uids.count(out["uid"]) == 1


def who_edits_at_the_other_gets_the_choice(house):
    ines, greta, edit = Browser(house), Browser(house), "/requests/beginners-cove/edit"
    assert ines.sign_in("Ines Faro", 0, 0).status == greta.sign_in("Greta Holm", 1, 1).status == 303
    hers, mine = (Form(who.ask(number, edit).text, edit).fields for number, who in enumerate((ines, greta)))
    hers["title"], mine["title"] = "At the cove, by Ines", "At the cove, by Greta"
    assert ines.ask(1, edit, hers).status == 303  # read at the other
    refused = greta.ask(0, edit, mine)
    assert refused.status == 409
    assert "by Ines" in refused.plain and "by Greta" in refused.plain
    again = Form(greta.ask(0, edit).text, edit).fields
    again["title"] = "At the cove, by Greta"
    assert greta.ask(1, edit, again).status == 303
    for server in (0, 1):
        assert "At the cove, by Greta" in ines.ask(server, "/requests").plain
    kept = house.store.request_versions("beginners-cove")
    assert [each.request["title"] for each in kept][1:] == ["At the cove, by Ines", "At the cove, by Greta"]


def what_is_confirmed_and_changed_in_the_folder_is_seen_by_both(house):
    greta = Browser(house)
    assert greta.sign_in("Greta Holm", 0, 1).status == 303
    contact = load_folder(house.folder).sites[SITE].contacts[0]
    where = f"/sheets?date={house.today}&site={SITE}"
    row = {"number": contact.number, "name": contact.name, "found": "right", "note": "", "by": "Greta Holm"}
    row |= {"date": house.today.isoformat(), "site": SITE}
    both = [{"csrf_token": greta.token(server, where), **row} for server in (0, 1)]
    answers: list[int] = []
    threads = [
        threading.Thread(target=lambda n=n: answers.append(greta.ask(n, "/sheets/confirm", both[n]).status))
        for n in (0, 1)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert answers == [303, 303]
    lines = (house.folder / "records" / "confirmed.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 2 and contact.number in lines[1]  # the head, and the one of two that arrived first
    centre = house.folder / "centre" / "centre.toml"
    text = centre.read_text(encoding="utf-8")
    centre.write_text(re.sub(r'(?m)^name = "[^"]+"', 'name = "The Other Loft"', text, count=1), encoding="utf-8")
    assert all("The Other Loft" in greta.ask(server, "/").text for server in (0, 1))


def a_schedule_is_asked_for_here_and_read_there(house):
    ines = Browser(house)
    assert ines.sign_in("Ines Faro", 0, 1).status == 303
    page = f"/schedules/{SMALL}"
    assert ines.send(0, 1, page, f"{page}/make", seconds="20").status == 303
    until(lambda: not ines.ask(0, f"{page}/job").json["open"])
    ended = [ines.ask(server, f"{page}/job").json for server in (0, 1)]
    assert ended[0] == ended[1] and ended[0]["state"] == "done", ended
    made = [ines.ask(server, f"{page}/data.json").json for server in (0, 1)]
    assert made[0] == made[1] and len(made[0]["outings"]) == 1
    page = f"/schedules/{LONG}"
    assert ines.send(0, 0, page, f"{page}/make", seconds="600").status == 303
    until(lambda: ines.ask(1, f"{page}/job").json["state"] == "running")
    assert ines.send(0, 1, page, f"{page}/stop").status == 303
    until(lambda: not ines.ask(0, f"{page}/job").json["open"])
    assert ines.ask(1, f"{page}/job").json["state"] == "stopped"


# ---- killed ----


def test_what_was_acknowledged_is_there_once_whoever_is_killed(house):
    a_server_is_killed_in_the_middle_of_a_stream_of_entries(house)
    a_worker_is_killed_in_the_middle_of_a_job(house)


def a_server_is_killed_in_the_middle_of_a_stream_of_entries(house):
    phones = [Phone(house, f"203.0.113.{20 + number}").sign("Ines Faro") for number in range(2)]
    acknowledged: list[str] = []
    refused: list[object] = []
    over = threading.Event()

    def stream(phone: Phone, at: int) -> None:
        """Write one entry after the other as a phone does: what was not acknowledged is sent again, now elsewhere."""
        while not over.is_set():
            one = entry("note", text="seals at the steps")
            for server in (at, 1, 1):
                try:
                    answer = phone.write(server, one)
                except OSError:
                    continue
                if answer.status == 200 and one["uid"] in (*answer.json["new"], *answer.json["known"]):
                    acknowledged.append(one["uid"])
                    break
            else:
                refused.append(one)
                return

    threads = [threading.Thread(target=stream, args=(phone, number)) for number, phone in enumerate(phones)]
    for thread in threads:
        thread.start()
    until(lambda: len(acknowledged) >= 6 or bool(refused))
    house.servers[0].send_signal(signal.SIGKILL)
    house.servers[0].wait(10)
    before = len(acknowledged)
    until(lambda: len(acknowledged) >= before + 6 or bool(refused))
    over.set()
    for thread in threads:
        thread.join()
    assert not refused
    kept = [each.uid for each in house.store.events(house.today, SITE)]
    assert len(kept) == len(set(kept)) and set(acknowledged) <= set(kept)
    house.start_again(0)
    assert phones[0].tally(0) == phones[0].tally(1)  # signed in as before, with the same day


def a_worker_is_killed_in_the_middle_of_a_job(house):
    ines, page = Browser(house), f"/schedules/{LONG}"
    assert ines.sign_in("Ines Faro", 0, 1).status == 303
    assert ines.send(1, 0, page, f"{page}/make", seconds="600").status == 303
    until(lambda: ines.ask(1, f"{page}/job").json["state"] == "running")
    house.worker.send_signal(signal.SIGKILL)
    house.worker.wait(10)
    with house.store._writing() as connection:  # half a minute goes by, and nobody speaks for it
        silent = datetime.now(UTC) - timedelta(minutes=1)
        connection.execute(SCHEDULE_JOBS.update().where(SCHEDULE_JOBS.c.state == "running").values(beat=silent))
    told = [ines.ask(server, f"{page}/job").json for server in (0, 1)]
    assert told[0] == told[1] and told[0]["state"] == "failed" and "it is given up. Start again" in told[0]["words"]
    small = f"/schedules/{SMALL}"
    assert ines.send(1, 0, small, f"{small}/make", seconds="20").status == 303
    asked = ines.ask(1, f"{small}/job").json
    assert asked["state"] == "waiting"
    house.hire()
    until(lambda: not ines.ask(0, f"{small}/job").json["open"])
    ended = ines.ask(1, f"{small}/job").json
    assert (ended["number"], ended["state"]) == (asked["number"], "done")


# ---- what the environment says ----


@pytest.mark.parametrize(
    ("environment", "said"),
    [
        ({}, "TRIPPLAN_FOLDER is not set; it must be the folder of a centre"),
        ({"TRIPPLAN_FOLDER": "/nowhere/at all"}, '"/nowhere/at all", and there is no such folder'),
        ({"TRIPPLAN_STORE": "mysql://ann:secret@h/d"}, "TRIPPLAN_STORE begins with neither sqlite:/// nor postgresql"),
        ({"TRIPPLAN_STORE": "sqlite:///"}, "TRIPPLAN_STORE ends after sqlite:///"),
        ({"TRIPPLAN_PROXY": "127.0.0.1, front.example"}, 'TRIPPLAN_PROXY has "front.example"'),
    ],
)
def test_an_environment_that_cannot_be_served_is_told_what_is_accepted(environment, said):
    with pytest.raises(CannotServe) as caught:
        Settings.of(environment)
    assert said in str(caught.value) and "secret" not in str(caught.value)


def test_without_an_account_that_may_manage_the_others_nothing_is_served_and_no_store_is_made(tmp_path):
    store = tmp_path / "store.sqlite"
    environment = {"TRIPPLAN_FOLDER": str(data_dir("sites")), "TRIPPLAN_STORE": f"sqlite:///{store}"}
    with pytest.raises(CannotServe, match="no account of the role centre can; make one with `tripplan account"):
        create(environment)
    assert not store.exists()


@pytest.mark.parametrize(
    ("proxies", "caller", "seen"),
    [
        ({"127.0.0.1"}, "127.0.0.1", ("203.0.113.9", "https")),
        ({"127.0.0.1"}, "::ffff:127.0.0.1", ("203.0.113.9", "https")),
        ({"127.0.0.1"}, "198.51.100.4", ("198.51.100.4", "http")),
        ({"unix"}, "", ("203.0.113.9", "https")),
        ({"127.0.0.1"}, "", ("", "http")),
    ],
)
def test_only_the_server_in_front_is_believed(proxies, caller, seen):
    """Who asks is the last address of the header: the others can be written by whoever asks."""

    def application(environ, start_response):
        return [environ.get("REMOTE_ADDR", ""), environ["wsgi.url_scheme"]]

    told = {"HTTP_X_FORWARDED_FOR": "10.0.0.1, 203.0.113.9", "HTTP_X_FORWARDED_PROTO": "https"}
    environ = {"REMOTE_ADDR": caller, "wsgi.url_scheme": "http", **told}
    assert tuple(Forwarded(application, frozenset(proxies))(environ, lambda *_: None)) == seen
