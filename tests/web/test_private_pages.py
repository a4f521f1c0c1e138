"""No page tells an assistant what papers say about somebody's health, or whom to ring if something happens to them."""

from __future__ import annotations

import io
import re
import shutil
import zipfile
from datetime import UTC, date, datetime, timedelta
from html import unescape
from itertools import product
from pathlib import Path
from urllib.parse import urlencode

import pytest
from argon2 import PasswordHasher

from tests.web.test_accounts_pages import PASSWORDS, ROLES, Browser
from tripplan.data_files import data_dir
from tripplan.planning.event import Event
from tripplan.store.accounts import Accounts, Limits
from tripplan.store.database import Store, sqlite_url
from tripplan.store.people_file import centre_people, people_toml
from tripplan.web.app import create_app
from tripplan.web.choosing import choice_of
from tripplan.web.roles import MAY, may

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
OLD, CLEAR, CLEARED_BY_DOCTOR = date(2025, 9, 17), date(2026, 5, 19), date(2026, 5, 23)
# What is planted in the list of people, in words that stand nowhere else.
PLANTED = {
    "next of kin": "Zelkina Quast",
    "next of kin's number": "+44 7700 900731",
    "guardian": "Quardian Brundt",
    "note": "asthmatix since 2019",
}
DATES = [each.isoformat() for each in (OLD, CLEAR, CLEARED_BY_DOCTOR)] + [f"{each:%d %B %Y}" for each in (OLD, CLEAR)]
# How the plan speaks of health; the demonstration has such sentences too.
SENTENCES = (
    "has no medical declaration", "'s medical declaration", "asks for a doctor, and no clearance",
    "about heart, medicines and exertion",
)  # fmt: skip
SECRETS = (*PLANTED.values(), PLANTED["next of kin's number"].replace(" ", ""), *DATES, *SENTENCES)
UNASKED = {  # pages of their own kind: forms that hold no one's papers, and a file of the program
    "static", "healthz", "accounts.sign_in",
}  # fmt: skip

# Every page is read, which takes a minute, and what is told to whom hangs on no kind of store.
pytestmark = pytest.mark.sqlite_file("what is told to whom hangs on no kind of store")


class Centre:
    """A centre, its app, and who may sign in; ``house`` for a Browser."""

    def __init__(self, path: Path, folder: Path, *, young: bool, signing_in: bool) -> None:
        self.store = Store(sqlite_url(path / "store.sqlite"))
        accounts = Accounts(self.store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
        self.app = create_app(
            folder,
            clock=lambda: NOW,
            keep_young=young,
            records=path / "records",
            feed_cache=path / "feeds",
            store=self.store,
            accounts=accounts if signing_in else None,
        )
        self.folder = self.app.extensions["tripplan_shelf"].folder
        limits = Limits.of(self.folder.world.rules)
        for name, role in ROLES.items():
            accounts.add(name, role, PASSWORDS[name], by="the test", now=NOW, limits=limits)
        for request in self.folder.requests.values():
            wish = request.groups[0]
            self._write(request.site, request.date, wish.name, wish.divers)

    def _write(self, site: str, day: date, group: str, divers: tuple[str, ...]) -> None:
        """Write down a whole dive of a group, as a shore watch would."""
        for number, name in enumerate(divers):
            for kind, value, text in (("in", None, ""), ("out", None, ""), ("depth", 9.0, ""), ("end_bar", 90.0, "")):
                uid = f"{site}-{kind.replace('_', '-')}-{number:04}"
                at = NOW - timedelta(hours=2 if kind == "in" else 1)
                made = Event(uid, at, day, site, kind, "Ann", person=name, group=group, dive=1, value=value, text=text)
                self.store.add([made], NOW)


def planted(path: Path) -> Path:
    """Return a centre whose people have papers of every kind, next of kin, guardians and notes."""
    folder = Path(shutil.copytree(data_dir("sites"), path / "centre"))
    held = centre_people(folder)
    kinds = (
        {"medical": CLEAR, "medical_clear": False},
        {"medical": None, "medical_clear": False},
        {"medical": OLD, "medical_clear": True},
        {"medical": CLEAR, "medical_clear": True, "medical_doctor": CLEARED_BY_DOCTOR, "born": date(1958, 2, 3)},
    )
    private = {
        "next_of_kin": PLANTED["next of kin"],
        "next_of_kin_phone": PLANTED["next of kin's number"],
        "guardian": PLANTED["guardian"],
        "notes": PLANTED["note"],
    }
    people = [
        person.model_copy(update={**kinds[number % len(kinds)], **private})
        for number, person in enumerate(held.roster.people.values())
    ]
    held.path.write_text(people_toml(people), encoding="utf-8")
    return folder


def read(answer) -> str:
    """Return every word of an answer, whatever kind of file it is: marks and line breaks do not hide a word."""
    content: bytes = answer.get_data()
    if content.startswith(b"%PDF"):
        from pypdf import PdfReader

        text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)
    elif content.startswith(b"PK"):
        with zipfile.ZipFile(io.BytesIO(content)) as held:
            text = " ".join(held.read(name).decode("utf-8", "replace") for name in held.namelist())
    else:
        text = content.decode("utf-8", "replace")
    text = re.sub(r"\\u([0-9a-f]{4})", lambda found: chr(int(found[1], 16)), unescape(unescape(text)))
    bare = re.sub(r"<[^>]*>", " ", text)
    return " ".join(f"{text} {bare}".replace("\u00a0", " ").replace("\u2019", "'").split())


def walked(
    centre: Centre, browser: Browser, role: str, key: str, only: tuple[str, ...] = ()
) -> tuple[dict[str, set[int]], dict[str, dict[str, str]]]:
    """Return how each page answered that a role may read, and what of the secrets each one told, by its address."""
    answered: dict[str, set[int]] = {}
    told: dict[str, dict[str, str]] = {}
    adapter = centre.app.url_map.bind("localhost")
    for rule in centre.app.url_map.iter_rules():
        endpoint = rule.endpoint
        unasked = endpoint in UNASKED or (only and endpoint.split(".")[0] not in only)
        if "GET" not in (rule.methods or ()) or unasked or not may(role, endpoint):
            continue
        answered[endpoint] = set()
        for address in addresses(centre, rule, adapter, key):
            answer = browser.get(address)
            answered[endpoint].add(answer.status_code)
            text = read(answer)
            answer.close()
            for secret in SECRETS:
                if secret in text:
                    at = text.index(secret)
                    told.setdefault(endpoint, {})[secret] = f"{address}: ...{text[max(at - 60, 0) : at + 60]}..."
    return answered, told


def addresses(centre: Centre, rule, adapter, key) -> list[str]:
    """Return addresses of a page for a ready request: its own parts, and the words of a form behind it."""
    request = centre.folder.requests[key]
    group, choice = request.groups[0], choice_of(request, request.date, centre.folder)
    known = {
        "slug": [centre.folder.sites[request.site].tide.station if rule.rule.startswith("/tides") else request.site],
        "name": [
            {"people": group.divers[0], "guide": "plan-phone.png" if "pictures" in rule.rule else "centre"}.get(
                rule.rule.split("/")[1], key
            )
        ],
        "kind": ["level_1_course"],
        "dive": ["1"],
    }
    anything = [key, request.site, *group.divers[:2], group.name, group.kind, request.date.isoformat(), "1"]
    asked = urlencode({**choice.query, "request": key}, doseq=True)
    queries = ["", asked]
    if rule.endpoint == "plans.show":
        queries = [asked, f"{asked}&delay=45"]
    elif rule.endpoint == "plans.next_possible":  # it may try four weeks of plans
        queries = [""]
    found: dict[str, None] = {}
    names = sorted(rule.arguments)
    for values in product(*(known.get(name, anything) for name in names)):
        path = adapter.build(rule.endpoint, dict(zip(names, values, strict=True)), method="GET")
        for query in queries:
            found[f"{path}?{query}" if query else path] = None
    return list(found)


@pytest.fixture(scope="module", params=["a centre of its own", "the demonstration"])
def centre(request, kept_on, tmp_path_factory):
    path = tmp_path_factory.mktemp("private")
    own = request.param == "a centre of its own"
    made = Centre(path, planted(path) if own else data_dir("sites"), young=not own, signing_in=True)
    made.own = own
    yield made
    made.store.close()


def browser_of(centre: Centre, name: str) -> Browser:
    browser = Browser(centre)
    assert browser.sign_in(name).status_code == 303
    return browser


def test_no_page_tells_an_assistant_what_is_private_also_right_after_a_leader_read_it(centre):
    leader, assistant = browser_of(centre, "Ines Faro"), browser_of(centre, "Ben Alder")
    key = "saturday-ledge"
    # What the server keeps of a page that a leader read must not be for the next one.
    _, seen = walked(centre, leader, "leader", key, only=("plans", "board", "people")) if centre.own else ({}, {})
    answered, told = walked(centre, assistant, "assistant", key)
    assert told == {}
    assert set(answered) >= {endpoint for endpoint in MAY if endpoint.startswith(("plans.", "board.", "sheets."))} - {
        endpoint for endpoint in MAY if endpoint == "sheets.confirm"
    }
    unread = {endpoint for endpoint, codes in answered.items() if not codes & {200, 302, 303}}
    # No schedule is made here; test_schedule_pages.py reads those pages as an assistant.
    unread -= {endpoint for endpoint in MAY if endpoint.startswith("schedule.") and endpoint != "schedule.listing"}
    assert unread == set(), "say in addresses() how these pages are asked for"
    if centre.own:
        assert {*SENTENCES, PLANTED["next of kin"], PLANTED["next of kin's number"]} <= {
            secret for each in seen.values() for secret in each
        }
        assert {"people.people", "plans.show", "plans.text", "plans.data", "plans.sheet", "plans.offline",
                "plans.next_possible", "board.show"} <= set(seen)  # fmt: skip


def test_an_assistant_is_told_that_papers_stop_it_and_whom_to_ask(centre):
    if not centre.own:
        pytest.skip("in the demonstration nobody's papers stop a dive")
    request = centre.folder.requests["saturday-ledge"]
    query = choice_of(request, request.date, centre.folder).query
    assistant, leader = browser_of(centre, "Ben Alder"), browser_of(centre, "Ines Faro")
    for page in ("/plan", "/plan.txt", "/plan.json", "/plan.pdf", "/plan/offline.html"):
        text = read(assistant.get(page, query_string=query))
        assert "the personal papers stop this dive. What they say is for the leader: ask." in text, page
        assert "the personal papers stop" not in read(leader.get(page, query_string=query)), page
    mine, theirs = (each.get("/plan.json", query_string=query).get_json() for each in (assistant, leader))
    assert (mine["revision"], mine["verdict"], mine["headline"]) == (
        theirs["revision"],
        theirs["verdict"],
        theirs["headline"],
    )
    assert len(mine["checks"]) == len(theirs["checks"])


def test_who_is_not_signed_in_reads_nothing_of_it(centre):
    _, told = walked(centre, Browser(centre), "assistant", "saturday-ledge")
    assert told == {}


def test_on_a_single_machine_without_accounts_everything_is_shown(tmp_path):
    made = Centre(tmp_path, planted(tmp_path), young=False, signing_in=False)
    request = made.folder.requests["saturday-ledge"]
    client = Browser(made)
    page = read(client.get("/people"))
    assert PLANTED["next of kin"] in page and PLANTED["next of kin's number"] in page and CLEAR.isoformat() in page
    query = choice_of(request, request.date, made.folder).query
    for address in ("/plan", "/plan.txt", "/plan.json", "/plan.pdf", "/plan/offline.html"):
        text = read(client.get(address, query_string=query))
        assert "asks for a doctor, and no clearance" in text and "personal papers" not in text, address
    board = read(client.get("/board", query_string={"group": request.groups[0].name, "date": request.date.isoformat()}))
    assert "medical declaration" in board
    made.store.close()


def test_the_emergency_sheet_names_no_next_of_kin_for_it_is_handed_to_everybody(centre):
    leader = browser_of(centre, "Ines Faro")
    day = centre.folder.requests["saturday-ledge"].date.isoformat()
    for address in ("/sheets.pdf", "/sheets/pocket.html", "/sheets/stair-ledge"):
        text = read(leader.get(address, query_string={"date": day, "site": "stair-ledge"}))
        assert len(text) > 500
        for name in ("next of kin", "next of kin's number", "guardian", "note"):
            assert PLANTED[name] not in text, (address, name)
