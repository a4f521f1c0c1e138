"""Every address and every form with hostile words: an answer in words, never a traceback, never markup that runs.

What is tried is a table of every page, compared with the addresses that the program really answers, so that a page
that is added later is tried too or the test says so.
"""

from __future__ import annotations

import random
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

import pytest
from argon2 import PasswordHasher

from tests.hostile.mutations import MARKUP, TEXTS, TIMES_MORE
from tests.hostile.walk import HERE, Form, Page, Pairs, Walker, rules
from tests.made_once import plans_once
from tests.sample_schedule import sample_schedule
from tests.web.schedule_week import SLUG, keep_week, week_folder
from tripplan.store.accounts import Accounts, Limits
from tripplan.store.database import Store, sqlite_url
from tripplan.web.api import OPERATIONS
from tripplan.web.app import create_app

plans_once()

NOW = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)
PASSWORD = "seven wet gulls on a wall"
PLAN: Pairs = [("site", "stair-ledge"), ("date", "2026-12-12"), ("group", "Terns"), ("asked", "yes")]
SEEN: Pairs = [("depth", "12"), ("minutes", "20"), ("not_before", "09:00"), ("arrived", "08:30"), ("settled", "yes"),
               ("delay", "10"), ("seen_at", "08:00"), ("seen_by", "Greta"), ("wind_kn", "12")]  # fmt: skip
DAY: Pairs = [("date", "2026-12-12")]
WEEK = {"slug": SLUG}
HERE_NOW = {"slug": "stair-ledge"}
REQUEST = {"name": "saturday-ledge"}
TRIP = {"slug": SLUG, "trip": "?"}  # the first of the schedule

# Every page that is read: what stands in its address, and the words that it takes.
READ: dict[str, tuple[dict[str, Any], Pairs]] = {
    "static": ({"filename": "page.css"}, []),
    "healthz": ({}, []),
    "accounts.sign_in": ({}, [("next", "/plan")]),
    "accounts.own": ({}, []),
    "accounts.listing": ({}, []),
    "plans.home": ({}, []),
    "plans.show": ({}, [*PLAN, *SEEN]),
    "plans.sheet": ({}, [*PLAN, ("paper", "a4")]),
    "plans.briefing": ({}, [*PLAN, ("paper", "letter")]),
    "plans.data": ({}, [*PLAN, *SEEN]),
    "plans.text": ({}, PLAN),
    "plans.offline": ({}, PLAN),
    "plans.ready": (REQUEST, []),
    "plans.next_possible": (REQUEST, []),
    "requests.listing": ({}, []),
    "requests.new": ({}, [("site", "gull-cove"), ("date", "2026-12-12")]),
    "requests.edit": (REQUEST, [("from", "1")]),
    "requests.versions": (REQUEST, []),
    "schedule.listing": ({}, []),
    "schedule.show": (WEEK, [("day", "2026-12-08"), ("result", "1")]),
    "schedule.progress": (WEEK, []),
    "schedule.history": (WEEK, []),
    "schedule.trip": (TRIP, [("result", "1")]),
    "schedule.trip_sheet": (TRIP, [("paper", "a4")]),
    "schedule.sheet": (WEEK, [("paper", "a4"), ("result", "1")]),
    "schedule.table": (WEEK, [("result", "1")]),
    "schedule.data": (WEEK, [("result", "1")]),
    "schedule.crew": (WEEK, [("person", "Ines Faro"), ("result", "1")]),
    "schedule.group": (WEEK, [("group", "Terns"), ("result", "1")]),
    "board.show": ({}, [*DAY, ("group", "others"), ("kind", "guided"), ("count", "4"), ("level", "level_1")]),
    "limits.show": ({}, [("depth", "18"), ("altitude", "0"), ("hours", "2"), ("water", "sea"), ("oxygen", "21"),
                         ("depth1", "12"), ("minutes1", "20"), ("interval1", "90")]),
    "sites.listing": ({}, []),
    "sites.show": (HERE_NOW, []),
    "site_form.new": ({}, [("like", "gull-cove")]),
    "site_form.edit": (HERE_NOW, []),
    "tides.listing": ({}, []),
    "tides.show": ({"slug": "verrow-harbour"}, DAY),
    "season.show": ({}, [("site", "gull-cove"), ("from", "2026-12"), ("months", "1"), ("kind", "guided")]),
    "sheets.morning": ({}, [*DAY, ("site", "stair-ledge"), ("by", "Greta")]),
    "sheets.pdf": ({}, [*DAY, ("site", "stair-ledge"), ("paper", "a4"), ("language", "es")]),
    "sheets.pocket": ({}, [*DAY, ("site", "stair-ledge"), ("language", "fr")]),
    "sheets.check": ({}, [*DAY, ("site", "stair-ledge"), ("revision", "0123abcd")]),
    "sheets.sheet": (HERE_NOW, [*DAY, ("language", "es")]),
    "sheets.search": (HERE_NOW, [*DAY, ("at", "10:40"), ("position", "46 54.300 N, 16 47.400 W")]),
    "live.sites": ({}, [*DAY, ("all", "1")]),
    "live.show": (HERE_NOW, [*DAY, ("by", "Greta")]),
    "live.board": (HERE_NOW, [*DAY, ("by", "Greta")]),
    "live.token": (HERE_NOW, []),
    "next_dive.show": (HERE_NOW, [*DAY, ("strict", "1"), ("by", "Greta")]),
    "records.record": (HERE_NOW, [*DAY, ("by", "Greta")]),
    "records.record_table": (HERE_NOW, DAY),
    "records.record_sheet": (HERE_NOW, [*DAY, ("paper", "a4")]),
    "records.person": ({"name": "Luca Benti"}, []),
    "records.person_sheet": ({"name": "Luca Benti"}, [("paper", "a4")]),
    "records.person_table": ({"name": "Luca Benti"}, []),
    "people.people": ({}, []),
    "person_form.new": ({}, []),
    "person_form.edit": ({"name": "Luca Benti"}, []),
    "roster.table": ({}, []),
    "roster.out": ({"ending": "csv"}, []),
    "books.rules": ({}, []),
    "books.sources": ({}, []),
    "books.words": ({}, []),
    "books.about": ({}, []),
    "coverage.requirements": ({}, [("area", "medical"), ("state", "met")]),
    "guides.listing": ({}, []),
    "guides.show": ({"name": "security"}, []),
    "guides.picture": ({"name": "board.png"}, []),
    "skills.overview": ({}, []),
    "skills.table": ({}, []),
    "skills.show": ({"kind": "level_1_course", "dive": "3"}, [("request", "beginners-cove"), ("person", "Lily Marsh")]),
    "kit.show": ({}, DAY),
    "kit.packing": ({}, [("request", "saturday-ledge")]),
    "start.show": ({}, []),
    "start.centre": ({}, []),
    "start.oxygen": ({}, []),
    "api.answer": ({}, []),
}  # fmt: skip
HEAVY = {  # a plan, a paper, or a search through days: tried with fewer words
    "plans.show", "plans.data", "plans.text",
    "plans.sheet", "plans.briefing", "plans.offline", "plans.next_possible", "schedule.sheet", "schedule.trip_sheet",
    "schedule.trip", "board.show", "season.show", "sheets.pdf", "sheets.pocket", "records.record_sheet",
    "records.person_sheet",
}  # fmt: skip

# Every page that takes a form: on which page the form stands, or what a page sends by itself.
SENT: dict[str, tuple[str, Pairs]] = {
    "accounts.enter": ("/sign-in", [("name", "Ines Faro"), ("password", "wrong"), ("next", "/plan")]),
    "accounts.leave": ("/", []),
    "accounts.change_own": ("/account", [("old", PASSWORD), ("password", "x"), ("again", "x")]),
    "accounts.add": ("/accounts", [("name", "Bo"), ("role", "leader"), ("password", "x"), ("again", "x")]),
    "accounts.set_role": ("/accounts", [("name", "Ben Alder"), ("role", "leader")]),
    "accounts.lock": ("/accounts", [("name", "Nobody")]),
    "accounts.unlock": ("/accounts", [("name", "Ben Alder")]),
    "accounts.set_password": ("/accounts", [("name", "Ben Alder"), ("password", "x"), ("again", "x")]),
    "requests.fill_new": ("/requests/new", [("more", "groups")]),
    "requests.create": ("/requests/new", []),
    "requests.fill": ("/requests/saturday-ledge/edit", [("more", "groups")]),
    "requests.save": ("/requests/saturday-ledge/edit", []),
    "requests.theirs": ("/requests/saturday-ledge/edit", []),
    "requests.restore": ("/requests/saturday-ledge/versions", [("version", "1"), ("newest", "1"), ("by", "Greta")]),
    "requests.choose_file": ("/requests", [("choice", "take"), ("base", "x"), ("version", "1"), ("by", "Greta")]),
    "schedule.change": (f"/schedules/{SLUG}", [("edits", '[{"do": "absent", "person": "Ines Faro", "days": '
                                                '["2026-12-08"]}]'), ("version", "0"), ("because", "away")]),
    "schedule.theirs": (f"/schedules/{SLUG}", [("edits", "[]"), ("version", "0"), ("by", "Greta")]),
    "schedule.make": (f"/schedules/{SLUG}", [("seconds", "20"), ("by", "Greta")]),
    "schedule.stop": (f"/schedules/{SLUG}", [("day", "all")]),
    "schedule.hang": (f"/schedules/{SLUG}", [("result", "1"), ("by", "Greta")]),
    "schedule.keep_trip": (f"/schedules/{SLUG}", [("by", "Greta")]),
    "sheets.confirm": ("/sheets?date=2026-12-12&site=stair-ledge", []),
    "live.add": ("/today/stair-ledge?date=2026-12-12", []),
    "next_dive.go": ("/today/stair-ledge/next?date=2026-12-12", [("at", "2026-12-12T12:40:00+00:00"), ("strict", "1"),
                                                                 ("revisions", "x"), ("settled", "yes")]),
    "roster.look": ("/people/table", []),
    "roster.apply": ("/people/table", [("content", "bmFtZQ=="), ("name", "x.csv"), ("list", "x")]),
    "skills.tick": ("/skills/level_1_course/3?request=beginners-cove", [("by", "Ines Faro")]),
    "site_form.make": ("/sites/new?like=gull-cove", [("do", "look")]),
    "site_form.change": ("/sites/stair-ledge/edit", [("do", "look")]),
    "person_form.add": ("/people/new", []),
    "person_form.change": ("/people/Luca%20Benti/edit", [("do", "save")]),
    "start.write_centre": ("/start/centre", []),
    "start.write_oxygen": ("/start/oxygen", []),
}  # fmt: skip
LONG_FORMS = {"sheets.confirm", "site_form.make", "site_form.change", "requests.create", "requests.save"}
HOSTILE = f"\"'{MARKUP}</textarea></title><script>alert(1)</script>" + "{{7*7}}\u202e"


class House:
    """A centre with a schedule, where somebody of the centre is signed in."""

    def __init__(self, path: Path, *, accounts: bool) -> None:
        self.folder = week_folder(path)
        self.store = Store(sqlite_url(path / "store.sqlite"))
        known = Accounts(self.store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)) if accounts else None
        self.app = create_app(
            self.folder, clock=lambda: NOW, records=path / "records", feed_cache=path / "feeds", store=self.store,
            accounts=known,
        )  # fmt: skip
        self.app.config.update(PROPAGATE_EXCEPTIONS=False)
        keep_week(self.store, self.folder)
        self.walker = Walker(self.app)
        if known is not None:
            limits = Limits.of(self.app.extensions["tripplan_shelf"].folder.world.rules)
            for name, role in (("Ines Faro", "centre"), ("Ben Alder", "assistant")):
                known.add(name, role, PASSWORD, by="the test", now=NOW, limits=limits)
            self.sign_in()

    def sign_in(self) -> None:
        fields = [("name", "Ines Faro"), ("password", PASSWORD), ("csrf_token", self.token("/sign-in"))]
        assert self.walker.post("/sign-in", fields).status_code == 303

    def token(self, page: str) -> str:
        answer = self.walker.client.get(page)
        found = re.search(r'name="csrf_token" value="([^"]+)"', answer.get_data(as_text=True))
        if found is None:  # the page of the day gives it to what asks by itself
            answer = self.walker.client.get("/today/stair-ledge/token")
            return str(answer.get_json()["token"])
        return found[1]

    def address(self, endpoint: str, values: dict[str, Any]) -> str:
        if values.get("trip") == "?":
            values = {**values, "trip": sample_schedule().trips[0].slug}
        with self.app.test_request_context(base_url=HERE):
            return str(self.app.url_for(endpoint, **values)).removeprefix(HERE)

    def form(self, endpoint: str) -> tuple[str, Pairs]:
        """Return where a form goes and what it sends, with a token that is good."""
        page, more = SENT[endpoint]
        given = urlsplit(page)
        found = Page(self.walker.client.get(page).get_data(as_text=True), HERE + page)
        forms: list[Form] = [
            each for each in found.forms if self.walker.endpoint(urlsplit(each.action).path, "POST") == endpoint
        ]
        fields: Pairs = list(max((each.fields for each in forms), key=len, default=[]))
        rule = next(each for each in rules(self.app, "POST") if each.endpoint == endpoint)
        values = {**READ["skills.show"][0], **REQUEST} if "<kind>" in rule.rule or "<name>" in rule.rule else {}
        if endpoint.startswith("person_form"):
            values = {"name": "Luca Benti"}
        values |= {"slug": SLUG if endpoint.startswith("schedule") else "stair-ledge", "trip": "?"}
        path = self.address(endpoint, {name: values[name] for name in rule.arguments})
        kept = [pair for pair in fields if pair[0] not in {"csrf_token", *(name for name, _ in more)}]
        query = f"?{given.query}" if given.query and endpoint != "site_form.make" else ""
        return path + query, [*kept, *more, ("csrf_token", self.token(page))]


@pytest.fixture(scope="module")
def house(kept_on: str, tmp_path_factory: pytest.TempPathFactory) -> Any:
    made = House(tmp_path_factory.mktemp("hostile"), accounts=True)
    yield made
    made.store.close()


def test_every_address_of_the_program_is_tried_here(house: House) -> None:
    assert {rule.endpoint for rule in rules(house.app, "GET")} == set(READ)
    assert {rule.endpoint for rule in rules(house.app, "POST")} == set(SENT)


KEEPING = ("accounts", "live", "next_dive", "records", "skills", "requests", "schedule")  # they ask the store


@pytest.mark.parametrize("endpoint", [each for each in READ if each.split(".")[0] in KEEPING])
def test_no_word_in_an_address_becomes_anything_but_text(endpoint: str, house: House) -> None:
    read_hostile(endpoint, house)


@pytest.mark.sqlite_file("these pages ask the store for nothing but who is signed in")
@pytest.mark.parametrize("endpoint", [each for each in READ if each.split(".")[0] not in KEEPING])
def test_no_word_in_an_address_of_a_page_without_a_store_does_either(endpoint: str, house: House) -> None:
    read_hostile(endpoint, house)


def read_hostile(endpoint: str, house: House) -> None:
    """Ask for a page with what it takes, then with something hostile in the place of each."""
    values, query = READ[endpoint]
    path = house.address(endpoint, values)
    answer = house.walker.get(path, query)
    # The first version of a request is there only once somebody edited it.
    assert answer.status_code in ((404,) if endpoint == "requests.edit" else (200, 302, 303)), (
        endpoint,
        answer.status,
        answer.get_data(as_text=True)[-600:],
    )
    assert (answer.mimetype == "application/json") == (endpoint in OPERATIONS), "what api.py describes"
    tried = random.Random(endpoint)
    slow = endpoint in HEAVY and TIMES_MORE == 1
    numbers = range(len(query)) if not slow else tried.sample(range(len(query)), min(1, len(query)))
    for number in numbers:
        name = query[number][0]
        house.walker.get(path, [*query[:number], (name, HOSTILE), *query[number + 1 :]])
        for _ in range(0 if slow else TIMES_MORE):
            text = tried.choice(TEXTS)
            house.walker.get(path, [*query[:number], (name, text[:2_000]), *query[number + 1 :], (name, text[:50])])
    for name in values:
        for text in (HOSTILE, "../../centre/people", "a\x00b", "%2e%2e%2fcentre", *tried.sample(TEXTS, TIMES_MORE)):
            again = house.address(endpoint, {**values, name: "x"})
            at = again.replace("/x", "/" + quote(text[:200], safe=""), 1) if "/x" in again else again
            assert house.walker.get(at, query).status_code in (200, 303, 308, 400, 404), (endpoint, text)


@pytest.mark.parametrize("endpoint", SENT)
def test_no_word_in_a_form_becomes_anything_but_text(endpoint: str, house: House) -> None:
    tried = random.Random(endpoint)
    path, fields = house.form(endpoint)
    names = list(dict.fromkeys(name for name, _ in fields if name != "csrf_token"))
    most = 1 if endpoint in LONG_FORMS else 2
    chosen = tried.sample(names, min(len(names), most * TIMES_MORE))
    for name in chosen:
        for text in (HOSTILE, tried.choice(TEXTS)[:3_000]):
            if endpoint in ("accounts.leave", "accounts.change_own"):
                house.sign_in()
            path, fields = house.form(endpoint)
            sent = [(each, text if each == name else value) for each, value in fields]
            answer = house.walker.post(path, sent, upload=endpoint == "roster.look")
            assert answer.status_code != 413, (endpoint, name)
    house.walker.post(path, [pair for pair in fields if pair[0] == "csrf_token"])
    house.walker.post(path, [*fields, *fields])
    if endpoint in ("accounts.leave", "accounts.change_own"):
        house.sign_in()


@pytest.mark.parametrize("endpoint", SENT)
def test_every_form_asks_for_the_token_of_the_page_that_it_stands_on(endpoint: str, house: House) -> None:
    path, fields = house.form(endpoint)
    for token in ([], [("csrf_token", "x")], [("csrf_token", "")]):
        sent = [pair for pair in fields if pair[0] != "csrf_token"] + token
        answer = house.walker.post(path, sent)
        assert answer.status_code == 400, (endpoint, answer.status)
