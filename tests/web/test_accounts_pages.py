"""Signing in, who may see which page, and the accounts of a centre, as the pages have it."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from tripplan.data_files import data_dir
from tripplan.store.accounts import Accounts, Limits
from tripplan.store.database import Store, sqlite_url
from tripplan.web import accounts as page_of_accounts
from tripplan.web.accounts import FOR_PROGRAMS
from tripplan.web.app import create_app
from tripplan.web.roles import MAY, may, may_see_private

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
PASSWORDS = {
    "Greta Holm": "seven wet gulls on a wall",
    "Ines Faro": "nine dry boots by the door",
    "Ben Alder": "two blue mugs in the sink",
}
ROLES = {"Greta Holm": "centre", "Ines Faro": "leader", "Ben Alder": "assistant"}
FRESH = "one brass bell under the stairs"

# Who may use each page, by hand and apart from the program's own table: c the centre, l leaders, a assistants,
# - also whoever has not signed in.
EXPECTED = {
    "static": "cla-", "healthz": "cla-", "accounts.sign_in": "cla-", "accounts.enter": "cla-",
    "accounts.leave": "cla", "accounts.own": "cla", "accounts.change_own": "cla",
    "accounts.listing": "c", "accounts.add": "c", "accounts.set_role": "c", "accounts.lock": "c",
    "accounts.unlock": "c", "accounts.set_password": "c",
    "start.show": "cla", "start.centre": "c", "start.write_centre": "c", "start.oxygen": "c",
    "start.write_oxygen": "c", "site_form.new": "c", "site_form.make": "c", "site_form.edit": "c",
    "site_form.change": "c", "person_form.new": "c", "person_form.edit": "c", "person_form.add": "c",
    "person_form.change": "c",
    "roster.table": "c", "roster.out": "c", "roster.look": "c", "roster.apply": "c",
    "plans.home": "cla", "plans.show": "cla", "plans.sheet": "cla", "plans.briefing": "cla",
    "plans.data": "cla", "plans.text": "cla",
    "plans.offline": "cla", "plans.ready": "cla", "plans.next_possible": "cla",
    "requests.listing": "cla", "requests.versions": "cla", "requests.new": "cl", "requests.fill_new": "cl",
    "requests.create": "cl", "requests.edit": "cl", "requests.fill": "cl", "requests.save": "cl",
    "requests.theirs": "cl", "requests.restore": "cl", "requests.choose_file": "cl",
    "schedule.listing": "cla", "schedule.show": "cla", "schedule.progress": "cla", "schedule.history": "cla",
    "schedule.trip": "cla", "schedule.trip_sheet": "cla", "schedule.sheet": "cla", "schedule.table": "cla",
    "schedule.data": "cla", "schedule.crew": "cla", "schedule.group": "cla", "schedule.change": "cl",
    "schedule.theirs": "cl", "schedule.make": "cl", "schedule.stop": "cl", "schedule.hang": "cl",
    "schedule.keep_trip": "cl",
    "api.answer": "cla", "board.show": "cla", "limits.show": "cla", "season.show": "cla",
    "sites.listing": "cla", "sites.show": "cla", "tides.listing": "cla", "tides.show": "cla", "people.people": "cla",
    "sheets.morning": "cla", "sheets.confirm": "cla", "sheets.pdf": "cla", "sheets.pocket": "cla",
    "sheets.check": "cla", "sheets.sheet": "cla", "sheets.search": "cla",
    "live.sites": "cla", "live.show": "cla", "live.board": "cla", "records.record": "cla",
    "records.record_table": "cla", "records.record_sheet": "cl", "records.person": "cla",
    "records.person_sheet": "cla", "records.person_table": "cla", "live.token": "cla", "live.add": "cla",
    "next_dive.show": "cla", "next_dive.go": "cl",
    "books.rules": "cla", "books.sources": "cla", "books.about": "cla", "books.words": "cla",
    "skills.overview": "cla", "skills.table": "cla", "skills.show": "cla", "skills.tick": "cl",
    "kit.show": "cla", "kit.packing": "cla",
    "coverage.requirements": "cla", "guides.listing": "cla", "guides.show": "cla", "guides.picture": "cla",
}  # fmt: skip
METHODS = {"GET", "POST"}


class House:
    """A centre whose server asks for accounts, with a clock that a test moves."""

    def __init__(self, path: Path, store: Store, folder: Path, *, beyond: bool = False) -> None:
        self.now = NOW
        self.accounts = Accounts(store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
        self.app = create_app(
            folder,
            clock=lambda: self.now,
            keep_young=True,
            records=path / "records",
            feed_cache=path / "feeds",
            store=store,
            accounts=self.accounts,
            beyond=beyond,
        )
        self.limits = Limits.of(self.app.extensions["tripplan_shelf"].folder.world.rules)
        for name, role in ROLES.items():
            if self.accounts.account(name) is None:
                self.accounts.add(name, role, PASSWORDS[name], by="the test", now=NOW, limits=self.limits)

    def browser(self, name: str = "") -> Browser:
        """Give a browser of its own, signed in as somebody."""
        found = Browser(self)
        if name:
            assert found.sign_in(name).status_code == 303
        return found


class Browser:
    """Somebody who reads pages and sends their forms, with the token that the page holds."""

    def __init__(self, house: House) -> None:
        self.client = house.app.test_client()
        self.how: dict = {}

    def get(self, address: str, **more):
        return self.client.get(address, **{**self.how, **more})

    def page(self, address: str, status: int = 200) -> str:
        answer = self.get(address)
        assert answer.status_code == status, (address, answer.status_code, answer.headers.get("Location"))
        return unescape(answer.get_data(as_text=True))

    def send(self, address: str, page: str = "/account", **form: str):
        token = re.search(r'name="csrf_token" value="([^"]+)"', self.get(page).get_data(as_text=True))
        return self.client.post(address, data={"csrf_token": token[1] if token else "", **form}, **self.how)

    def sign_in(self, name: str, password: str | None = None, **form: str):
        given = PASSWORDS.get(name, "") if password is None else password
        return self.send("/sign-in", "/sign-in", name=name, password=given, **form)


@pytest.fixture
def store(tmp_path):
    made = Store(sqlite_url(tmp_path / "store.sqlite"))
    yield made
    made.close()


@pytest.fixture
def house(tmp_path, store):
    return House(tmp_path, store, data_dir("sites"))


def words(answer) -> str:
    return unescape(answer.get_data(as_text=True))


# ---- who may use which page ----


def test_the_table_names_every_page_of_the_program_and_no_other(house):
    assert {rule.endpoint for rule in house.app.url_map.iter_rules()} == set(MAY) == set(EXPECTED)


@pytest.mark.parametrize("name", ["", *ROLES])
def test_every_role_reaches_just_the_pages_that_are_meant_for_it(house, name):
    """Every address with GET and POST; the pages themselves are replaced by one word, so that reaching one is seen."""
    browser = house.browser(name)
    letter = {"": "-", "centre": "c", "leader": "l", "assistant": "a"}[ROLES.get(name, "")]
    house.app.config["WTF_CSRF_ENABLED"] = False
    for endpoint in house.app.view_functions:
        house.app.view_functions[endpoint] = lambda **_: "reached"
    adapter = house.app.url_map.bind("localhost")
    tried = 0
    for rule in house.app.url_map.iter_rules():
        address = adapter.build(rule.endpoint, dict.fromkeys(rule.arguments, "x"), method=min(rule.methods & METHODS))
        for method in sorted(rule.methods & METHODS):
            answer = browser.client.open(address, method=method)
            meant = letter in EXPECTED[rule.endpoint]
            said = (rule.endpoint, method, answer.status_code)
            tried += 1
            if meant:
                assert answer.status_code == 200 and answer.data == b"reached", said
            elif name:
                assert answer.status_code == 403 and b"reached" not in answer.data, said
            elif method == "GET" and not rule.rule.endswith(".json") and rule.endpoint not in FOR_PROGRAMS:
                assert answer.status_code == 303 and answer.headers["Location"].startswith("/sign-in"), said
            else:
                assert answer.status_code == 401 and b"reached" not in answer.data, said
    assert tried >= len(EXPECTED)


@pytest.mark.parametrize("name", ["", *ROLES])
@pytest.mark.parametrize("method", ["GET", "POST", "HEAD", "OPTIONS"])
def test_a_page_that_is_missing_from_the_table_is_refused_to_all(house, name, method):
    house.app.add_url_rule("/forgotten", "forgotten", lambda: "reached", methods=["GET", "POST"])
    house.app.config["WTF_CSRF_ENABLED"] = False
    answer = house.browser(name).client.open("/forgotten", method=method)
    assert answer.status_code == (403 if name else 303 if method in ("GET", "HEAD") else 401)
    assert b"reached" not in answer.data and "Allow" not in answer.headers


def test_no_role_and_unknown_roles_may_do_nothing_but_what_anybody_may():
    for endpoint, roles in EXPECTED.items():
        assert may("", endpoint) == may("owner", endpoint) == ("-" in roles)
    assert not may("centre", "no.such") and not may("centre", None) and not may("", None)


def test_pages_that_do_not_exist_say_so_only_to_whoever_is_signed_in(house):
    assert house.browser().get("/nowhere").headers["Location"] == "/sign-in?next=/nowhere"
    assert house.browser("Ben Alder").get("/nowhere").status_code == 404
    assert house.browser("Ben Alder").client.post("/plan", data={}).status_code == 405


def test_a_program_that_asks_for_data_is_told_in_data(house):
    answer = house.browser().get("/plan.json")
    assert answer.status_code == 401 and "not signed in" in answer.get_json()["error"]
    answer = house.browser().get("/people", headers={"Accept": "application/json"})
    assert answer.status_code == 401 and answer.get_json()
    answer = house.browser().get("/today/gull-cove/board", headers={"Sec-Fetch-Mode": "cors"})
    assert answer.status_code == 401 and answer.get_json()  # else a page would show the form to sign in as its board
    assert house.browser().get("/today", headers={"Sec-Fetch-Mode": "navigate"}).status_code == 303
    answer = house.browser("Ben Alder").client.post("/accounts/lock", json={"name": "Ines Faro"})
    assert answer.status_code == 403 and "role assistant" in answer.get_json()["error"]


def test_who_is_refused_is_told_why_in_words(house):
    page = house.browser("Ines Faro").page("/accounts", 403)
    assert "Your account has the role leader" in page and "Ask whoever runs the centre" in page


def test_a_form_that_comes_after_the_session_ended_says_what_to_do_and_is_good_again_after_signing_in(house):
    browser = house.browser("Ben Alder")
    token = re.search(r'name="csrf_token" value="([^"]+)"', browser.page("/sheets"))[1]
    form = {"csrf_token": token, "number": "1", "name": "x", "found": "right", "note": "", "by": "Ben"}
    house.now += timedelta(hours=5)
    answer = browser.client.post("/sheets/confirm", data=form)
    assert answer.status_code == 401
    assert "Nothing of what you sent was written down" in words(answer) and 'href="/sign-in"' in words(answer)
    assert browser.sign_in("Ben Alder").status_code == 303
    assert "is on no list of a site here" in words(browser.client.post("/sheets/confirm", data=form))


def test_a_form_that_one_left_open_is_not_sent_in_the_name_of_the_next(house):
    browser = house.browser("Ben Alder")
    token = re.search(r'name="csrf_token" value="([^"]+)"', browser.page("/sheets"))[1]
    house.now += timedelta(hours=5)
    browser.sign_in("Ines Faro")
    answer = browser.client.post("/sheets/confirm", data={"csrf_token": token, "by": "Ben"})
    assert answer.status_code == 400 and "load it again" in words(answer)


# ---- signing in and out ----


def test_one_who_signs_in_goes_on_to_the_page_that_was_asked_for(house):
    browser = house.browser()
    asked = browser.get("/sheets?date=2026-12-12&site=stair-ledge")
    assert asked.headers["Location"] == "/sign-in?next=/sheets?date%3D2026-12-12%26site%3Dstair-ledge"
    page = browser.page(asked.headers["Location"])
    onward = re.search(r'name="next" value="([^"]+)"', page)[1]
    answer = browser.sign_in("greta  HOLM", PASSWORDS["Greta Holm"], next=onward)
    assert answer.headers["Location"] == "/sheets?date=2026-12-12&site=stair-ledge"
    page = browser.page(answer.headers["Location"])
    assert "Greta Holm" in page and "Sign out" in page
    assert browser.get("/sign-in").headers["Location"] == "/"


@pytest.mark.parametrize(
    "onward",
    ["https://elsewhere.example/", "//elsewhere.example/x", "/\\elsewhere.example", "\\\\elsewhere.example", "x",
     "javascript:alert(1)", "/\t/elsewhere.example", "/\n/elsewhere.example", "///elsewhere.example", "", "http:x",
     " /plan", "/\u2028x", "//[", "/x\\..\\y"],
)  # fmt: skip
def test_nobody_is_led_elsewhere_after_signing_in(house, onward):
    answer = house.browser().sign_in("Ben Alder", next=onward)
    assert answer.status_code == 303 and answer.headers["Location"] == "/"
    assert "elsewhere" not in words(house.browser().get("/sign-in", query_string={"next": onward}))


def test_the_page_to_sign_in_tells_nothing_of_the_centre_but_its_name(house, tmp_path):
    folder = Path(shutil.copytree(data_dir("sites"), tmp_path / "centre"))
    (folder / "gull-cove.toml").write_text("broken = \n", encoding="utf-8")
    browser = House(tmp_path, house.accounts._store, folder).browser()
    page = browser.page("/sign-in")
    assert "gull-cove" not in page and "<nav" not in page
    assert "gull-cove.toml" in House(tmp_path, house.accounts._store, folder).browser("Ben Alder").page("/about")


def test_a_wrong_password_and_an_unknown_name_get_the_same_answer_with_the_name_kept(house):
    answers = []
    for name in ("Greta Holm", "Someone Else"):
        answer = house.browser().sign_in(name, "these are the wrong words")
        assert answer.status_code == 401
        assert f'value="{name}"' in words(answer) and "these are the wrong words" not in words(answer)
        answers.append(re.sub(r'value="[^"]*"', "", words(answer)))
    assert answers[0] == answers[1] and "do not fit together" in answers[0]


def test_who_tries_too_often_is_told_how_long_to_wait_and_the_right_password_waits_too(house):
    for _ in range(house.limits.name_failures):
        assert house.browser().sign_in("Greta Holm", "a guess").status_code == 401
    answer = house.browser().sign_in("Greta Holm")
    assert answer.status_code == 429
    assert int(answer.headers["Retry-After"]) == house.limits.within.total_seconds()
    assert "Too many tries" in words(answer) and "15 minutes" in words(answer)
    house.now += house.limits.within
    assert house.browser().sign_in("Greta Holm").status_code == 303


def test_signing_in_needs_the_token_of_the_page(house):
    client = house.app.test_client()
    answer = client.post("/sign-in", data={"name": "Greta Holm", "password": PASSWORDS["Greta Holm"]})
    assert answer.status_code == 400 and client.get("/people").status_code == 303


def test_signing_out_ends_the_session_and_needs_the_token_too(house):
    browser = house.browser("Ben Alder")
    assert browser.client.post("/sign-out").status_code == 400
    stolen = browser.client.get_cookie(cookie_name(house)).value
    assert browser.send("/sign-out").headers["Location"] == "/sign-in"
    assert browser.get("/people").status_code == 303
    browser.client.set_cookie(cookie_name(house), stolen)
    assert browser.get("/people").status_code == 303


def cookie_name(house: House) -> str:
    return f"{house.app.config['SESSION_COOKIE_NAME']}_signed_in"


def test_a_token_that_somebody_planted_before_is_not_the_one_that_is_signed_in(house):
    browser = house.browser()
    browser.client.set_cookie(cookie_name(house), "planted")
    browser.sign_in("Ben Alder")
    assert browser.client.get_cookie(cookie_name(house)).value != "planted"
    first = browser.client.get_cookie(cookie_name(house)).value
    other = house.browser()
    other.client.set_cookie(cookie_name(house), first)
    token = re.search(r'name="csrf_token" value="([^"]+)"', other.page("/account"))[1]
    data = {"csrf_token": token, "name": "Ben Alder", "password": PASSWORDS["Ben Alder"]}
    assert other.client.post("/sign-in", data=data).status_code == 303  # signing in again ends the session before
    assert browser.get("/people").status_code == 303


@pytest.mark.parametrize(
    ("beyond", "how", "secure"),
    [
        (False, {}, False),
        (False, {"base_url": "https://centre.example/"}, True),
        (True, {"base_url": "https://centre.example/", "environ_overrides": {"REMOTE_ADDR": "192.0.2.7"}}, True),
        (True, {}, True),
    ],
)
def test_cookies_stay_out_of_reach_of_scripts_and_of_unprotected_connections(tmp_path, store, beyond, how, secure):
    house = House(tmp_path, store, data_dir("sites"), beyond=beyond)
    browser = house.browser()
    browser.how = how
    house.app.config["WTF_CSRF_ENABLED"] = False
    form = {"name": "Ben Alder", "password": PASSWORDS["Ben Alder"]}
    answers = (browser.get("/sign-in"), browser.client.post("/sign-in", data=form, **how))
    cookies = [cookie for answer in answers for cookie in answer.headers.getlist("Set-Cookie")]
    assert len(cookies) >= 2
    for cookie in cookies:
        assert "HttpOnly" in cookie and "SameSite=Lax" in cookie and "Path=/" in cookie
        assert ("Secure" in cookie) == secure
    (signed,) = [cookie for cookie in cookies if cookie.startswith("tripplan_") and "_signed_in=" in cookie]
    assert "Max-Age=50400" in signed  # 14 hours


@pytest.mark.parametrize("address", ["192.0.2.7", "2001:db8::7", "::ffff:192.0.2.7", ""])
def test_a_password_from_another_machine_is_taken_over_https_only(tmp_path, store, address):
    house = House(tmp_path, store, data_dir("sites"), beyond=True)
    browser = house.browser()
    browser.how = {"environ_overrides": {"REMOTE_ADDR": address}}
    assert "not protected" in browser.page("/sign-in")
    house.app.config["WTF_CSRF_ENABLED"] = False
    form = {"name": "Ben Alder", "password": PASSWORDS["Ben Alder"]}
    answer = browser.client.post("/sign-in", data=form, **browser.how)
    assert answer.status_code == 403 and "Nothing was checked" in words(answer)
    assert not browser.client.get_cookie(cookie_name(house))
    answer = browser.client.post("/sign-in", data=form, base_url="https://centre.example/", **browser.how)
    assert answer.status_code == 303


def test_a_session_ends_by_the_clock_of_the_server(house):
    browser = house.browser("Ben Alder")
    house.now += timedelta(hours=3, minutes=59)
    assert browser.get("/about").status_code == 200
    house.now += timedelta(hours=4)
    assert browser.get("/about").status_code == 303


# ---- the accounts of the centre ----


def test_the_centre_adds_an_account_and_its_owner_signs_in(house):
    browser = house.browser("Greta Holm")
    answer = browser.send("/accounts/add", name=" Cora  Vane ", role="assistant", password=FRESH, again=FRESH)
    assert answer.headers["Location"] == "/accounts"
    page = browser.page("/accounts")
    assert "Cora Vane may now sign in, with the role assistant." in page and FRESH not in page
    assert "account added" in page and "Cora Vane, assistant" in page
    assert house.browser().sign_in("Cora Vane", FRESH).status_code == 303


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"name": "Cora Vane", "role": "leader", "password": FRESH, "again": FRESH + "!"}, "two new passwords differ"),
        ({"name": "Cora Vane", "role": "leader", "password": "short", "again": "short"}, "at least 15"),
        ({"name": "Cora Vane", "role": "owner", "password": FRESH, "again": FRESH}, "is not a role"),
        ({"name": "ines faro", "role": "leader", "password": FRESH, "again": FRESH}, 'an account "Ines Faro" already'),
        ({"name": "", "role": "leader", "password": FRESH, "again": FRESH}, "The name must be"),
    ],
)
def test_an_account_that_cannot_be_made_comes_back_with_a_sentence_and_without_the_password(house, form, said):
    answer = house.browser("Greta Holm").send("/accounts/add", **form)
    assert answer.status_code == 400
    assert "Nothing was changed." in words(answer) and said in words(answer)
    assert FRESH not in words(answer) and f'value="{form["name"]}"' in words(answer)
    assert len(house.accounts.listing()) == 3


def test_the_centre_locks_an_account_gives_another_role_and_sets_a_password(house):
    centre, ben = house.browser("Greta Holm"), house.browser("Ben Alder")
    assert centre.send("/accounts/role", name="Ben Alder", role="leader").status_code == 303
    assert "Ben Alder, leader" in re.sub(r"<[^>]+>", "", ben.page("/about"))
    assert centre.send("/accounts/lock", name="Ben Alder").status_code == 303
    assert ben.get("/about").status_code == 303
    assert ben.sign_in("Ben Alder").status_code == 401
    assert "locked" in centre.page("/accounts")
    assert centre.send("/accounts/unlock", name="Ben Alder").status_code == 303
    assert ben.sign_in("Ben Alder").status_code == 303
    assert centre.send("/accounts/password", name="Ben Alder", password=FRESH, again=FRESH).status_code == 303
    assert ben.get("/about").status_code == 303
    assert ben.sign_in("Ben Alder", FRESH).status_code == 303


@pytest.mark.parametrize(
    ("address", "form", "said"),
    [
        ("/accounts/lock", {"name": "Greta Holm"}, "only account that may manage"),
        ("/accounts/role", {"name": "Greta Holm", "role": "leader"}, "only account that may manage"),
        ("/accounts/role", {"name": "Ben Alder", "role": ""}, "is not a role"),
        ("/accounts/unlock", {"name": "<b>Nobody</b>"}, 'no account "<b>Nobody</b>"'),
        ("/accounts/password", {"name": "greta holm", "password": FRESH, "again": FRESH}, "with the old one"),
        ("/accounts/password", {"name": "Ben Alder", "password": "short", "again": "short"}, "at least 15"),
    ],
)
def test_a_change_that_cannot_be_is_refused_with_a_sentence(house, address, form, said):
    before = house.accounts.listing()
    answer = house.browser("Greta Holm").send(address, **form)
    assert answer.status_code == 400 and said in words(answer)
    assert "<b>Nobody" not in answer.get_data(as_text=True)
    assert house.accounts.listing() == before


def test_a_name_full_of_markup_is_shown_as_words(house):
    house.accounts.add('"><b onclick=x>Cy', "leader", FRESH, by="<i>x</i>", now=NOW, limits=house.limits)
    page = house.browser("Greta Holm").get("/accounts").get_data(as_text=True)
    assert "<b onclick" not in page and "<i>x" not in page and "&lt;b onclick=x&gt;Cy" in page


def test_everybody_changes_the_own_password_with_the_old_one(house):
    here, elsewhere = house.browser("Ben Alder"), house.browser("Ben Alder")
    wrong = here.send("/account/password", old="a guess", password=FRESH, again=FRESH)
    assert wrong.status_code == 400 and "is not right" in words(wrong)
    weak = here.send("/account/password", old=PASSWORDS["Ben Alder"], password="short", again="short")
    assert weak.status_code == 400 and "at least 15" in words(weak)
    done = here.send("/account/password", old=PASSWORDS["Ben Alder"], password=FRESH, again=FRESH)
    assert done.headers["Location"] == "/account"
    assert "The password was changed" in here.page("/account")
    assert elsewhere.get("/account").status_code == 303
    assert house.browser().sign_in("Ben Alder", FRESH).status_code == 303


def test_guessing_the_old_password_on_a_phone_left_open_is_held_up(house):
    browser = house.browser("Ben Alder")
    for _ in range(house.limits.name_failures):
        browser.send("/account/password", old="a guess", password=FRESH, again=FRESH)
    answer = browser.send("/account/password", old=PASSWORDS["Ben Alder"], password=FRESH, again=FRESH)
    assert answer.status_code == 429 and int(answer.headers["Retry-After"]) > 0


def test_no_password_and_no_token_reaches_the_log(house, caplog):
    with caplog.at_level(0):
        browser = house.browser("Greta Holm")
        token = browser.client.get_cookie(cookie_name(house)).value
        browser.sign_in("Greta Holm", "these are the wrong words")
        browser.send("/accounts/add", name="Cora Vane", role="owner", password=FRESH, again=FRESH)
    for secret in (token, "these are the wrong words", FRESH, PASSWORDS["Greta Holm"]):
        assert secret not in caplog.text


# ---- what an assistant does not see ----


@pytest.fixture
def with_kin(tmp_path):
    """A centre whose first diver has next of kin, and whose second one is not clear by a doctor."""
    folder = Path(shutil.copytree(data_dir("sites"), tmp_path / "centre"))
    file = folder / "centre" / "people.toml"
    text = file.read_text(encoding="utf-8")
    first, others = text.split('name = "Tom Okafor"', 1)
    first = re.sub('next_of_kin = ".*"', 'next_of_kin = "Rosa Faro, sister"', first)
    first = re.sub('next_of_kin_phone = ".*"', 'next_of_kin_phone = "+44 7700 900123"', first)
    text = f'{first}name = "Tom Okafor"{others}'
    before, after = text.split('name = "Tom Okafor"', 1)
    text = f'{before}name = "Tom Okafor"' + after.replace("medical_clear = true", "medical_clear = false", 1)
    file.write_text(text, encoding="utf-8")
    return folder


@pytest.mark.parametrize(("name", "sees"), [("Greta Holm", True), ("Ines Faro", True), ("Ben Alder", False)])
def test_medical_papers_and_next_of_kin_are_for_leaders_and_the_centre(tmp_path, store, with_kin, name, sees):
    house = House(tmp_path, store, with_kin)
    answer = house.browser(name).get("/people")
    page = words(answer)
    for private in ("Rosa Faro", "900123", "not clear", "asks for a doctor", "Medical</th>", "Next of kin</th>"):
        assert (private in page) == sees, private
    assert ("Nothing here says that somebody is fit to dive: ask the leader." in page) != sees
    assert "Tom Okafor" in page
    assert answer.headers["Cache-Control"] == "no-store"


def test_who_may_see_private_things_is_the_leader_and_the_centre():
    roles = ("leader", "centre", "assistant", "", "owner")
    assert [may_see_private(role) for role in roles] == [True, True, False, False, False]


# ---- this machine alone ----


def test_without_accounts_nobody_signs_in_and_everything_is_as_before(tmp_path, with_kin):
    app = create_app(with_kin, clock=lambda: NOW, records=tmp_path / "records", feed_cache=tmp_path / "feeds")
    client = app.test_client()
    page = words(client.get("/people"))
    assert "Rosa Faro" in page and "not clear" in page
    assert "Sign out" not in page and "Sign in" not in page
    for address in ("/sign-in", "/account", "/accounts"):
        assert client.get(address).status_code == 404
    assert "Set-Cookie" not in client.get("/people").headers
    with app.test_request_context("/"):
        assert page_of_accounts.current_role() == "centre" and page_of_accounts.current_name() == ""
        page_of_accounts.audit("sheet printed", "cove")  # nothing is open to write into, and nothing is opened
        assert "tripplan_store" not in app.extensions


def test_any_page_adds_to_the_trail_under_the_name_that_is_signed_in(house):
    with house.app.test_request_context("/"):
        page_of_accounts.g.signed_in = house.accounts.account("Ben Alder")
        page_of_accounts.audit("sheet printed", "cove, revision 0123abcd", who="typed")
    row = house.accounts.trail(1)[0]
    assert (row.who, row.what, row.about, row.at) == ("Ben Alder", "sheet printed", "cove, revision 0123abcd", NOW)


def test_a_page_on_this_machine_alone_adds_to_the_trail_under_the_name_that_was_typed(tmp_path, store):
    app = create_app(data_dir("sites"), clock=lambda: NOW, records=tmp_path, keep_young=True, store=store)
    with app.test_request_context("/"):
        page_of_accounts.audit("sheet printed", "cove", who="Ann")
    assert Accounts(store).trail(1)[0].who == "Ann"
