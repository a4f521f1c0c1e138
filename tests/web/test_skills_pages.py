"""Skills through their pages: who is on a course, what is open, and ticks that are kept once, whole or not at all."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from datetime import UTC, date, datetime, timedelta
from html import unescape

import pytest
from argon2 import PasswordHasher

from tripplan.data_files import data_dir
from tripplan.planning.progress import SkillTick
from tripplan.store.accounts import Accounts, Limits
from tripplan.store.database import Store, StoreFault, sqlite_url
from tripplan.store.ticks import KeptTick, add_ticks, ticks
from tripplan.store.ticks_file import read_ticks
from tripplan.web import skills as page_of_skills
from tripplan.web.app import create_app

NOW = datetime(2026, 12, 5, 15, 0, tzinfo=UTC)  # the afternoon of the demonstration's course dives
DAY = date(2026, 12, 5)
DIVE = "/skills/level_1_course/3?request=beginners-cove"
CONFINED = "taking gas from a buddy"
OPEN_WATER = "going in and coming out at the shore"


@pytest.fixture
def folder(tmp_path):
    """The demonstration with nothing ticked in its file."""
    made = tmp_path / "centre"
    shutil.copytree(data_dir("sites"), made)
    (made / "centre" / "ticks.csv").unlink(missing_ok=True)
    return made


@pytest.fixture
def store(tmp_path):
    made = Store(sqlite_url(tmp_path / "store.sqlite"))
    yield made
    made.close()


@pytest.fixture
def client(folder, tmp_path, store):
    made = create_app(folder, clock=lambda: NOW, records=tmp_path / "records", store=store)
    return made.test_client()


def text(client, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status
    return unescape(answer.get_data(as_text=True))


def field(page: str, name: str) -> str:
    return re.search(rf'name="{name}" [^>]*?value="([^"]*)"', page)[1]


class Form:
    """A page of a dive as somebody has it open: chosen once, sent as often as they tap."""

    def __init__(self, client, address: str = DIVE) -> None:
        self.client, self.address = client, address
        raw = client.get(address).get_data(as_text=True)
        self.page = unescape(raw)
        self.fields = {"csrf_token": field(raw, "csrf_token"), "form": field(raw, "form"), "by": "Ines Faro"}
        self.fields["day"] = re.search(r'id="day"[^>]* value="([^"]*)"', raw)[1]
        self.rows = {}
        for name, value in re.findall(r'type="radio" name="([^"]+)" value="([^"]+)"', raw):
            answer, dive, skill, person, _ = json.loads(unescape(value))
            self.rows[answer, dive, skill, person] = (name, unescape(value))

    def choose(self, answer: str, skill: str, person: str, dive: int = 3) -> Form:
        name, value = self.rows[answer, dive, skill, person]
        self.fields[name] = value
        return self

    def send(self, **changes: str):
        return self.client.post(self.address, data={**self.fields, **changes})


def found(store) -> list[tuple[str, str, int, str]]:
    return [(each.tick.person, each.tick.skill, each.tick.dive, each.tick.result) for each in ticks(store)]


def seen(store, person: str, skill: str, dive: int, result: str = "done", day: date = DAY, **more: str) -> None:
    course = more.get("course", "level_1_course")
    uid = f"test-{len(ticks(store)):04}"
    add_ticks(store, [KeptTick(uid, NOW, course, SkillTick(person, skill, dive, day, "Tom Okafor", result))])


CONFINED_SKILLS = {
    1: (
        "putting the kit together and checking it", "checking the buddy", "signals", "breathing without a pause",
        "equalising", "regulator recovery and clearing", "mask clearing", "floating at the surface",
        "reading the gauge and saying the pressure",
    ),
    2: (
        "taking the mask off and putting it on", "buoyancy control", "swimming under water with a buddy",
        "breathing out on the way up", CONFINED, "swimming up sharing gas", "dropping the lead",
    ),
}  # fmt: skip


def confined_done(store, person: str, without: str = "") -> None:
    """Close the two confined dives of the level 1 course, by hand from the centre's file."""
    for dive, names in CONFINED_SKILLS.items():
        for name in names:
            if name != without:
                seen(store, person, name, dive, day=DAY - timedelta(days=7))


# ---- how far everybody is ----


def row_of(page: str, person: str) -> str:
    return re.search(rf'<tr><th scope="row"><bdi>{person}.*?</tr>', page, re.DOTALL)[0]


def test_the_divers_of_a_request_are_on_its_course_and_everything_is_open_until_ticked(client):
    page = text(client, "/skills")
    for person in ("Adaeze Obi", "Ruben Costa", "Noor Haddad", "Lily Marsh"):
        assert re.findall(r">(\d of \d)<", row_of(page, person)) == ["0 of 9", "0 of 7", "0 of 7", "0 of 4", "0 of 4"]
        assert "Dive 1: Breathing and clearing" in row_of(page, person) and "31 skills open" in row_of(page, person)
    assert "Finn Lund" in page and "Luca Benti" not in page  # who assists is not taught
    assert "Nobody is on it" in page  # of level 2


def test_whoever_has_ticks_is_on_the_course_and_a_name_nobody_knows_is_told(client, store):
    seen(store, "Hana Novak", "mask clearing", 1, course="level_2_course")
    seen(store, "noor  haddad", "signals", 1)
    seen(store, "Nor Haddad", "signals", 1)
    page = text(client, "/skills")
    assert "1 of 8" in row_of(page, "Hana Novak") and "not in the list" not in row_of(page, "Hana Novak")
    assert "1 of 9" in row_of(page, "Noor Haddad")
    assert "not in the list of people" in row_of(page, "Nor Haddad")


def test_a_tick_of_one_course_closes_nothing_of_another(client, store):
    seen(store, "Noor Haddad", "mask clearing", 1, course="first_experience")
    courses = re.split("<h2>", text(client, "/skills"))
    level_1 = next(part for part in courses if part.startswith("Level 1 course"))
    assert "0 of 9" in row_of(level_1, "Noor Haddad")


def test_what_the_next_dive_must_hold_and_what_forbids_it_stands_in_the_row(client, store):
    confined_done(store, "Noor Haddad")
    row = row_of(text(client, "/skills"), "Noor Haddad")
    assert "Dive 3: First dive in open water" in row and "needs 5 m" in row and "STOP" not in row
    seen(store, "Noor Haddad", CONFINED, 2, "again")
    row = row_of(text(client, "/skills"), "Noor Haddad")
    assert "STOP" in row and f"of dive 2 {CONFINED} (again)" in row and "is made up first" in row


def test_ticks_that_fit_no_skill_are_told(client, store):
    seen(store, "Noor Haddad", "juggling", 1)
    assert "“juggling” (dive 1)" in text(client, "/skills")


def test_what_is_said_to_be_done_on_a_day_to_come_closes_nothing(client, store):
    seen(store, "Noor Haddad", "signals", 1, day=DAY + timedelta(days=1))
    assert "0 of 9" in row_of(text(client, "/skills"), "Noor Haddad")


def test_without_a_list_of_skills_the_page_says_that_nothing_is_followed(client, folder):
    (folder / "centre" / "skills.toml").unlink()
    assert "has no list of skills" in text(client, "/skills")
    assert client.get(DIVE).status_code == 404


# ---- ticking ----


def test_what_is_ticked_is_kept_with_day_and_instructor_and_shown(client, store):
    form = Form(client).choose("done", OPEN_WATER, "Noor Haddad").choose("again", "equalising", "Lily Marsh")
    assert form.send().status_code == 303
    assert set(found(store)) == {
        ("Noor Haddad", OPEN_WATER, 3, "done"),
        ("Lily Marsh", "equalising", 3, "again"),
    }
    assert {(each.tick.day, each.tick.by, each.at) for each in ticks(store)} == {(DAY, "Ines Faro", NOW)}
    page = text(client, DIVE)
    assert "1 skill done, 1 to be done again" in page
    assert "done, 5 December 2026, Ines Faro" in page and "to be done again, 5 December 2026, Ines Faro" in page
    assert "1 of 7" in row_of(text(client, "/skills"), "Noor Haddad")


def test_a_form_that_is_sent_twice_is_kept_once(client, store):
    form = Form(client).choose("done", OPEN_WATER, "Noor Haddad")
    form.send()
    assert form.send().status_code == 303
    assert len(ticks(store)) == 1
    assert "kept once" in text(client, DIVE)
    form.choose("done", "equalising", "Noor Haddad").send()  # gone back, one more chosen
    assert len(ticks(store)) == 2


def test_another_answer_in_a_form_that_was_sent_is_asked_about_and_then_kept_as_a_correction(client, store):
    form = Form(client).choose("done", OPEN_WATER, "Noor Haddad")
    form.send()
    answer = form.choose("again", OPEN_WATER, "Noor Haddad").choose("done", "equalising", "Lily Marsh").send()
    page = unescape(answer.text)
    assert answer.status_code == 409 and "another answer" in page and "send it once more" in page
    assert found(store) == [("Noor Haddad", OPEN_WATER, 3, "done")]
    again = {**form.fields, "form": field(page, "form")}
    for name, value in re.findall(r'type="radio" name="([^"]+)" value="([^"]+)" checked', answer.text):
        again[name] = unescape(value)
    assert client.post(DIVE, data=again).status_code == 303
    assert set(found(store)[1:]) == {
        ("Noor Haddad", OPEN_WATER, 3, "again"),
        ("Lily Marsh", "equalising", 3, "done"),
    }


def test_nobody_ticks_their_own_skill_and_nothing_is_half_written(client, store):
    form = Form(client).choose("done", OPEN_WATER, "Noor Haddad").choose("done", OPEN_WATER, "Lily Marsh")
    answer = form.send(by="noor haddad", day="2026-12-04")
    page = unescape(answer.text)
    assert answer.status_code == 400 and "Noor Haddad cannot tick their own skill" in page
    assert ticks(store) == ()
    # What was typed still stands there.
    assert 'value="noor haddad"' in page and 'value="2026-12-04"' in page
    checked = {json.loads(value)[3] for value in re.findall(r'value="(\[[^>]*)" checked', page)}
    assert checked == {"Noor Haddad", "Lily Marsh"}
    assert form.send(by="Ines Faro").status_code == 303 and len(ticks(store)) == 2


def test_an_instructor_who_learns_cannot_tick_their_own_skill_either(client, store):
    form = Form(client, "/skills/level_2_course/1?person=Ines Faro").choose("done", "mask clearing", "Ines Faro", 1)
    answer = form.send()
    assert answer.status_code == 400 and "cannot tick their own" in answer.text and ticks(store) == ()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"by": " "}, "Who saw it is missing"),
        ({"by": "Somebody Else"}, "not in the list of people"),
        ({"by": "Luca Benti"}, "Luca Benti is no instructor by the list of people (level 3 (dive leader))"),
        ({"day": "soon"}, 'The day "soon" cannot be read'),
        ({"day": "2026-12-06"}, "6 December 2026 has not come yet"),
        ({"form": "0" * 24}, "Nothing was chosen"),
    ],
)
def test_a_form_that_cannot_be_kept_comes_back_with_a_sentence(client, store, changes, words):
    answer = Form(client).choose("done", OPEN_WATER, "Noor Haddad").send(**changes)
    assert answer.status_code == 400 and words in unescape(answer.text)
    assert ticks(store) == ()


@pytest.mark.parametrize(
    "value",
    ["", "done", "[]", '["done", 3]', '["maybe", 3, "equalising", "Noor Haddad"]', '["done", 9, "equalising", "x"]',
     '["done", 3, "juggling", "Noor Haddad"]', '["done", 3, "equalising", "Ben Stranger"]', "[" * 2000,
     '["done", true, "equalising", "Noor Haddad"]', '["done", 3, ["equalising"], "Noor Haddad"]',
     '["done", 4, "equalising", "Noor Haddad"]'],
)  # fmt: skip
def test_rows_that_no_page_of_ours_sent_are_refused(client, store, value):
    form = Form(client)
    name, right = form.rows["done", 3, "equalising", "Noor Haddad"]
    mark = json.loads(right)[-1]
    with_mark = f'{value[:-1]}, "{mark}"]' if value.startswith('["') else value
    for each in (value, with_mark, right.replace(mark, "0"), right.replace(f'"{mark}"', "7")):
        if each:
            assert form.send(**{name: each}).status_code in (400, 409) and ticks(store) == ()
    assert form.send(**{name: with_mark}).status_code == 400 and ticks(store) == ()


def test_an_answer_under_the_mark_of_another_row_is_refused(client, store):
    form = Form(client)
    name, _ = form.rows["done", 3, "equalising", "Noor Haddad"]
    _, other = form.rows["done", 3, "equalising", "Lily Marsh"]
    assert form.send(**{name: other}).status_code == 400 and ticks(store) == ()


def test_a_row_that_changed_since_the_page_was_opened_is_asked_about_and_nothing_of_the_form_is_kept(client, store):
    Form(client).choose("done", OPEN_WATER, "Noor Haddad").send()
    Form(client).choose("again", OPEN_WATER, "Noor Haddad").send()
    older = Form(client).choose("done", OPEN_WATER, "Noor Haddad").choose("done", "equalising", "Lily Marsh")
    newer = Form(client)
    assert newer.choose("again", OPEN_WATER, "Noor Haddad").send(by="Tom Okafor").status_code == 303
    before = found(store)
    answer = older.send()
    page = unescape(answer.text)
    assert answer.status_code == 409 and found(store) == before
    assert f"Noor Haddad, {OPEN_WATER}: this was changed after you had opened the page" in page
    assert '"Again", 5 December 2026, Tom Okafor' in page
    # The choice that may be wrong by now is made anew; the other one still stands, and is kept when it is sent.
    chosen = re.findall(r'type="radio" name="([^"]+)" value="([^"]+)" checked', answer.text)
    assert [json.loads(unescape(value))[:4] for _, value in chosen] == [["done", 3, "equalising", "Lily Marsh"]]
    again = {**{key: older.fields[key] for key in ("csrf_token", "form", "by", "day")}}
    again |= {name: unescape(value) for name, value in chosen}
    assert client.post(DIVE, data=again).status_code == 303
    assert found(store) == [*before, ("Lily Marsh", "equalising", 3, "done")]


def test_what_others_tick_for_other_rows_stops_no_form(client, store):
    older = Form(client).choose("done", OPEN_WATER, "Noor Haddad")
    Form(client).choose("done", OPEN_WATER, "Lily Marsh").choose("done", "equalising", "Noor Haddad").send()
    assert older.send().status_code == 303 and len(ticks(store)) == 3


def test_without_its_token_nothing_is_taken(client, store):
    form = Form(client).choose("done", OPEN_WATER, "Noor Haddad")
    assert form.send(csrf_token="").status_code == 400 and ticks(store) == ()


def test_a_slip_is_put_right_by_opening_the_skill_again(client, store):
    Form(client).choose("done", OPEN_WATER, "Noor Haddad").send()
    assert ("done", 3, OPEN_WATER, "Noor Haddad") not in Form(client).rows  # it is closed
    assert Form(client).choose("again", OPEN_WATER, "Noor Haddad").send().status_code == 303
    assert len(ticks(store)) == 2 and "0 of 7" in row_of(text(client, "/skills"), "Noor Haddad")


def test_an_answer_of_a_day_that_would_change_nothing_is_refused(client, store):
    seen(store, "Noor Haddad", OPEN_WATER, 3)
    answer = Form(client).choose("again", OPEN_WATER, "Noor Haddad").send(day="2026-12-04")
    assert answer.status_code == 400 and "would change nothing" in unescape(answer.text)
    assert len(ticks(store)) == 1


def test_what_is_made_up_comes_first_and_is_ticked_for_the_dive_that_asked_for_it(client, store):
    confined_done(store, "Noor Haddad", without="dropping the lead")
    confined_done(store, "Lily Marsh", without="swimming under water with a buddy")
    form = Form(client)
    assert (
        form.page.index("Made up first") < form.page.index("<h3>swimming under water") < form.page.index("Of this dive")
    )
    assert ("done", 2, "dropping the lead", "Noor Haddad") not in form.rows  # not in open water
    form.choose("done", "swimming under water with a buddy", "Lily Marsh", 2).send()
    assert found(store)[-1] == ("Lily Marsh", "swimming under water with a buddy", 2, "done")


def test_a_dive_that_somebody_may_not_make_yet_is_a_stop_on_its_page(client, store):
    for person in ("Adaeze Obi", "Ruben Costa", "Lily Marsh", "Noor Haddad"):
        confined_done(store, person)
    assert "STOP" not in text(client, DIVE)
    seen(store, "Noor Haddad", CONFINED, 2, "again")
    page = text(client, DIVE)
    stops = re.findall(r"STOP</b> ([^<]*)", page)
    assert len(stops) == 1 and "Noor Haddad" in stops[0] and "Lily" not in stops[0]
    assert "next would be" in page and "/skills/level_1_course/2?request=beginners-cove" in page


def test_a_page_for_one_person_and_for_everybody(client, store):
    one = Form(client, "/skills/level_1_course/1?person=noor haddad")
    assert {key[3] for key in one.rows} == {"Noor Haddad"}
    everybody = Form(client, "/skills/level_1_course/1")
    assert {key[3] for key in everybody.rows} == {"Adaeze Obi", "Ruben Costa", "Noor Haddad", "Lily Marsh"}


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/skills/guided/1", 404),
        ("/skills/level_1_course/9", 404),
        ("/skills/level_1_course/x", 404),
        ("/skills/level_1_course/²", 404),
        ("/skills/level_1_course/1?person=Nobody", 400),
        ("/skills/level_1_course/1?request=saturday-ledge", 400),
    ],
)
def test_addresses_of_nothing_say_so(client, address, status):
    assert client.get(address).status_code == status


def test_hostile_names_stay_words_and_the_page_runs_no_script(client, store):
    seen(store, '<script>alert("x")</script>', "signals", 1)
    for address in ("/skills", "/skills/level_1_course/1"):
        raw = client.get(address).get_data(as_text=True)
        assert "<script" not in raw and "&lt;script&gt;" in raw
        assert not re.search(r"\s(style|on[a-z]+)=", raw) and "DEMONSTRATION" in raw


def test_a_store_that_takes_nothing_is_told(client, store, monkeypatch):
    form = Form(client).choose("done", OPEN_WATER, "Noor Haddad")

    def full(*_: object) -> None:
        raise StoreFault("the store did not take it: disk full")

    monkeypatch.setattr(page_of_skills, "add_ticks", full)
    answer = form.send()
    assert answer.status_code == 500 and "disk full" in answer.text and "Nothing" in answer.text


def test_a_tick_of_a_fellow_learner_in_the_centres_file_closes_nothing_and_both_pages_say_so(client, folder):
    (folder / "centre" / "ticks.csv").write_text(
        "person,course,dive,skill,day,by,result\nNoor Haddad,level_1_course,1,signals,2026-11-21,Ruben Costa,done\n",
        encoding="utf-8",
    )
    page = text(client, "/skills")
    assert ">0 of 9<" in row_of(page, "Noor Haddad")
    assert "<bdi>Ruben Costa</bdi> for <bdi>Noor Haddad</bdi> “signals” (dive 1)." in page
    page = text(client, "/skills/level_1_course/1?request=beginners-cove")
    assert 'Ruben Costa for Noor Haddad "signals" (dive 1)' in page
    assert "done, 21 November 2026, Ruben Costa" not in page
    form = Form(client, "/skills/level_1_course/1?request=beginners-cove").choose("done", "signals", "Noor Haddad", 1)
    assert form.send(day="2026-11-20").status_code == 303  # what does not count is not later either
    page = text(client, "/skills")
    assert ">1 of 9<" in row_of(page, "Noor Haddad") and "Ruben Costa</bdi> for" not in page


# ---- as a table ----


def test_the_table_reads_back_as_the_ticks_that_it_holds(client, store, folder, tmp_path):
    (folder / "centre" / "ticks.csv").write_text(
        "person,course,dive,skill,day,by,result\nNoor Haddad,level_1_course,1,signals,2026-11-21,Ines Faro,again\n",
        encoding="utf-8",
    )
    seen(store, "Noor Haddad", "signals", 1)
    answer = client.get("/skills.csv")
    assert answer.mimetype == "text/csv"
    (tmp_path / "back.csv").write_bytes(answer.data)
    assert read_ticks(tmp_path / "back.csv") == {
        "level_1_course": (
            SkillTick("Noor Haddad", "signals", 1, date(2026, 11, 21), "Ines Faro", "again"),
            SkillTick("Noor Haddad", "signals", 1, DAY, "Tom Okafor", "done"),
        )
    }
    assert [line["uid"] for line in csv.DictReader(io.StringIO(answer.text))] == ["", "test-0000"]


@pytest.mark.parametrize("name", ["=1+1", "+SUM(A1)", "-2", "@cmd"])
def test_no_cell_of_the_table_begins_a_formula(client, store, name):
    seen(store, name, "signals", 1)
    cells = [cell for line in csv.reader(io.StringIO(client.get("/skills.csv").text)) for cell in line]
    assert f"'{name}" in cells and not any(cell[:1] in ("=", "+", "-", "@") for cell in cells)


# ---- who may ----

PASSWORDS = {"Ines Faro": ("leader", "nine dry boots by the door"), "Ben Alder": ("assistant", "two blue mugs here")}


@pytest.fixture
def signed_in(folder, tmp_path, store):
    """Give a browser of somebody who signed in."""
    accounts = Accounts(store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    app = create_app(folder, clock=lambda: NOW, records=tmp_path / "records", store=store, accounts=accounts)
    limits = Limits.of(app.extensions["tripplan_shelf"].folder.world.rules)

    def browser(name: str):
        role, password = PASSWORDS[name]
        accounts.add(name, role, password, by="the test", now=NOW, limits=limits)
        client = app.test_client()
        token = field(client.get("/sign-in").text, "csrf_token")
        form = {"csrf_token": token, "name": name, "password": password}
        assert client.post("/sign-in", data=form).status_code == 303
        return client

    return browser


def test_who_is_signed_in_ticks_in_their_own_name(signed_in, store):
    form = Form(signed_in("Ines Faro")).choose("done", OPEN_WATER, "Noor Haddad")
    assert 'id="by"' not in form.page
    assert form.send(by="Tom Okafor").status_code == 303
    assert [each.tick.by for each in ticks(store)] == ["Ines Faro"]


def test_an_assistant_sees_the_skills_and_ticks_none(signed_in, store):
    client = signed_in("Ben Alder")
    page = text(client, DIVE)
    assert "ticked by leaders and the centre" in page and 'type="radio"' not in page and OPEN_WATER in page
    assert text(client, "/skills") and client.get("/skills.csv").status_code == 200
    token = field(client.get("/account").text, "csrf_token")
    answer = client.post(DIVE, data={"csrf_token": token, "day": "2026-12-05"})
    assert answer.status_code == 403 and ticks(store) == ()


# ---- in the plan ----


def skills_check(client) -> list[dict]:
    made = client.get("/plan.json?site=gull-cove&date=2026-12-05&group=Limpets").get_json()
    return [check for check in made["checks"] if check["rule"] == "skills-open"]


def test_what_was_ticked_lets_the_dive_go_and_what_was_opened_again_stops_it(client, store):
    people = ("Adaeze Obi", "Ruben Costa", "Noor Haddad", "Lily Marsh")
    for person in people:
        confined_done(store, person, without=CONFINED if person == people[0] else "")
    stops = [check for check in skills_check(client) if check["outcome"] == "stop"]
    assert len(stops) == 2  # both dives of the day are in open water
    assert all(f"open: {people[0]}: of dive 2 {CONFINED}. " in stop["sentence"] for stop in stops)
    seen(store, people[0], CONFINED, 2, day=DAY - timedelta(days=1))
    assert [check for check in skills_check(client) if check["outcome"] == "stop"] == []
    seen(store, people[3], "mask clearing", 1, "again", day=DAY - timedelta(days=1))
    stops = [check for check in skills_check(client) if check["outcome"] == "stop"]
    assert len(stops) == 2
    assert all(f"open: {people[3]}: of dive 1 mask clearing (again). " in stop["sentence"] for stop in stops)


def test_ticks_that_cannot_be_read_leave_everything_open(client, store, monkeypatch):
    for person in ("Adaeze Obi", "Ruben Costa", "Noor Haddad", "Lily Marsh"):
        confined_done(store, person)

    def refuse(*_: object) -> None:
        raise StoreFault("the disk is gone")

    monkeypatch.setattr(page_of_skills, "ticks", refuse)
    assert any(check["outcome"] == "stop" for check in skills_check(client))
