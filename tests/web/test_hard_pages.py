"""Pages and store under a hostile, clumsy or unlucky hand: what they withstand."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, date, datetime, timedelta
from urllib.parse import quote, urlencode

import pytest
from argon2 import PasswordHasher
from werkzeug.datastructures import MultiDict

from tests.web.test_private_pages import SECRETS, planted, read
from tests.web.test_request_pages import EDIT, Form, Visitor, plain
from tests.web.test_skills_pages import Form as TickForm
from tripplan.data_files import data_dir
from tripplan.planning.event import Event
from tripplan.planning.progress import open_skills
from tripplan.rulebook import baseline
from tripplan.store.accounts import Accounts, Limits
from tripplan.store.database import Store, StoreFault, sqlite_url
from tripplan.store.purge import what_would_go
from tripplan.store.ticks import ticks
from tripplan.web.app import create_app
from tripplan.web.request_form import too_many, words_of_form

DAY = date(2026, 12, 12)
NOW = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)  # 11:50 by the clock of the site
ON = "date=2026-12-12"
LIVE, NEXT, RECORD = (f"/today/stair-ledge{page}?{ON}" for page in ("", "/next", "/record"))
SEND = f"/today/stair-ledge/entries?{ON}"
FELT = "Tingling in the left arm"
HOSTILE = '</td><script>alert(1)</script>]]>#set page(width: 1pt)\u202e$x$ \\"'


class Clock:
    """A clock that a test moves."""

    now = NOW

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def store(kept_on, tmp_path):
    """Ask for ``kept_on`` by name: only so is the second run on a server."""
    made = Store(sqlite_url(tmp_path / "store.sqlite"))
    yield made
    made.close()


@pytest.fixture
def centre(tmp_path):
    return shutil.copytree(data_dir("sites"), tmp_path / "centre")


def app_of(centre, path, clock, store, **more):
    made = create_app(centre, clock=clock, records=path / "records", feed_cache=path / "feeds", store=store, **more)
    # The tokens of forms have tests of their own; a fault is to be seen as a browser sees it.
    made.config.update(WTF_CSRF_ENABLED=False, PROPAGATE_EXCEPTIONS=False)
    return made


@pytest.fixture
def app(centre, tmp_path, clock, store):
    return app_of(centre, tmp_path, clock, store)


@pytest.fixture
def client(app):
    return app.test_client()


@pytest.fixture
def greta(app):
    return Visitor(app)


def entry(mark: str, **changes: object) -> dict[str, object]:
    dive = {"person": "Luca Benti", "group": "Terns", "dive": 1}
    return {"uid": mark, "at": "2026-12-12T12:50:00Z", "kind": "in", "by": "Greta Holm", **dive, **changes}


def phone(client, *entries: object, to: str = SEND):
    return client.post(to, data=json.dumps({"entries": entries}), content_type="application/json")


def written(client, to: str = SEND, **changes: str):
    form = {"uid": "0123456789abcdef", "kind": "assembled", "person": "Luca Benti", "by": "Greta Holm", "dive": "0"}
    return client.post(to, data={**form, **changes})


def saved(visitor: Visitor, name: str, **changes: str) -> None:
    """Save a request with some boxes filled in anew."""
    address = f"/requests/{name}/edit"
    form = visitor.form(address)
    form.pop("recent_none", None)
    form.update(changes)
    visitor.send(address, form)


# ---- the tests themselves ----


def test_each_run_of_a_test_of_the_pages_is_on_the_kind_of_store_that_its_name_says(request):
    assert "kept_on" in request.fixturenames


# ---- the day on the beach ----


def test_an_entry_for_a_day_that_has_not_come_freezes_no_plan(client, store, clock):
    clock.now = NOW - timedelta(days=15)
    written(client)
    assert store.plans(DAY) == ()


def test_who_edits_a_request_before_its_day_sees_the_day_go_by_it_whatever_was_tapped_before(client, greta, clock):
    clock.now = NOW - timedelta(days=15)
    written(client)
    written(
        client, uid="fedcba9876543210", kind="withdrawn", text="wrong page", corrects="0123456789abcdef-0", person=""
    )
    saved(greta, "saturday-ledge", **{"groups.0.dives.0.depth_m": "12"})
    clock.now = NOW
    terns = client.get(LIVE).text.split('aria-label="Terns, dive 1"')[1].split("</dl>")[0]
    assert "12 m" in plain(terns)


def test_a_request_that_is_edited_after_the_day_began_is_told_on_the_page_of_the_day(client, greta):
    written(client)
    before = client.get(LIVE).text
    saved(greta, "saturday-ledge", **{"groups.0.dives.0.depth_m": "12"})
    after = client.get(LIVE).text
    assert plain(after) != plain(before)


def test_a_group_that_is_asked_for_after_the_day_began_is_named_on_its_page(client, greta):
    written(client)
    form = greta.form("/requests/new")
    form.update({"title": "Late", "site": "stair-ledge", "date": "2026-12-12", "recent_none": "yes"})
    form.update({"groups.0.name": "Whelks", "groups.0.kind": "guided", "groups.0.leader": "Asha Rao"})
    form["groups.0.divers"] = "Greta Holm"
    form.update({"groups.0.dives.0.minutes": "25", "groups.0.dives.0.depth_m": "10"})
    greta.send("/requests/new", form)
    assert "Whelks" in plain(client.get(LIVE))


@pytest.mark.parametrize(
    "changes",
    [{"dive": float("inf")}, {"dive": 10**30}],
    ids=["endless", "huge"],
)
def test_a_number_that_cannot_be_kept_does_not_hold_up_the_good_entries(client, store, changes):
    told = phone(client, entry("phone-entry-1", **changes), entry("phone-entry-2"))
    assert told.status_code == 200 and told.json["new"] == ["phone-entry-2"]
    assert told.json["refused"][0]["uid"] == "phone-entry-1"


@pytest.mark.parametrize("changes", [{"corrects": "c" * 65}, {"dive": 2**31}], ids=["corrects", "dive"])
def test_what_only_one_kind_of_store_would_hold_is_refused_by_both(client, changes):
    told = phone(client, entry("phone-entry-1", **changes), entry("phone-entry-2"))
    assert told.status_code == 200 and told.json["new"] == ["phone-entry-2"]


def test_an_entry_whose_value_is_no_number_is_refused(client, store):
    told = phone(client, entry("phone-entry-1", value="nan"))
    assert told.json["new"] == [] and "number" in told.json["refused"][0]["error"]


def test_an_incident_as_long_as_the_box_lets_it_be_is_taken(client, store):
    text = "\n".join(["x" * 99] * 20)  # 1999 letters, as the browser counts them
    assert written(client, kind="incident", person="", text=text.replace("\n", "\r\n")).status_code == 303


def test_what_was_typed_of_an_incident_comes_back_when_the_store_takes_nothing(client, store, monkeypatch):
    def full(*_):
        raise StoreFault("the disk is full")

    monkeypatch.setattr(store, "add", full)
    answer = written(client, kind="incident", person="", text="Came up fast and holds the arm")
    assert answer.status_code == 503 and "disk is full" in answer.text
    assert "Came up fast and holds the arm" in answer.text


@pytest.mark.parametrize("address", [LIVE, NEXT, RECORD, "/people/Luca Benti/record", "/skills.csv"])
def test_a_store_that_cannot_be_read_is_told_in_words(client, store, monkeypatch, address):
    def away(*_):
        raise StoreFault("the store is away")

    for name in ("plans", "plan_numbers", "events", "days_of"):
        monkeypatch.setattr(store, name, away)
    monkeypatch.setattr("tripplan.web.skills.ticks", away)
    answer = client.get(address)
    assert answer.status_code == 503 and "the store is away" in plain(answer)
    assert "Nothing was changed. Nothing that was kept is lost." in plain(answer)


def test_a_page_that_asks_by_itself_is_told_in_its_own_way_that_the_store_is_away(client, store, monkeypatch):
    def away(*_):
        raise StoreFault("the store is away")

    monkeypatch.setattr(store, "plan_numbers", away)
    answer = client.get(LIVE, headers={"Accept": "application/json"})
    assert answer.status_code == 503 and answer.json == {"error": "the store is away", "refused": []}
    monkeypatch.setattr(store, "add", away)
    answer = phone(client, entry("phone-entry-1"))
    assert answer.status_code == 503 and "the store is away" in answer.json["error"]


def test_who_sends_something_while_the_store_is_away_is_told_to_look_before_sending_it_again(client, monkeypatch):
    def away(*_):
        raise StoreFault("the store is away")

    monkeypatch.setattr("tripplan.web.skills.ticks", away)
    answer = client.post("/skills/level_1_course/3?request=beginners-cove", data={"by": "Ines Faro"})
    said = plain(answer)
    assert answer.status_code == 503 and "the store is away" in said and "may not have been written down" in said
    assert "Nothing was changed" not in said


def test_brackets_in_brackets_are_refused_in_words(client):
    assert client.post(SEND, data="[" * 30_000, content_type="application/json").status_code == 400


def test_the_sheet_of_the_last_day_of_all_is_made_or_refused(client):
    assert client.get("/today/stair-ledge/record.pdf?date=9999-12-31").status_code in (200, 400)


# ---- what an assistant sees ----


@pytest.fixture
def signed_in(kept_on, tmp_path, clock):
    """A leader and an assistant of a centre whose people have papers, on a day that has begun."""
    store = Store(sqlite_url(tmp_path / "signed.sqlite"))
    accounts = Accounts(store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    app = app_of(planted(tmp_path), tmp_path, clock, store, accounts=accounts)
    limits = Limits.of(app.extensions["tripplan_shelf"].folder.world.rules)
    found = {}
    for name, role in (("Ines Faro", "leader"), ("Ben Alder", "assistant")):
        accounts.add(name, role, "seven wet gulls on a wall", by="the test", now=NOW, limits=limits)
        found[role] = app.test_client()
        form = {"name": name, "password": "seven wet gulls on a wall"}
        assert found[role].post("/sign-in", data=form).status_code == 303
    dive = {"group": "Terns", "dive": "1"}
    assert written(found["leader"], kind="in", **dive).status_code == 303
    assert written(found["leader"], uid="0123456789abcdee", kind="discomfort", text=FELT, **dive).status_code == 303
    assert store.plans(DAY)
    yield found
    store.close()


def test_how_somebody_felt_is_not_told_to_an_assistant_beside_the_next_dives(signed_in):
    assert FELT in read(signed_in["leader"].get(NEXT))
    assert FELT not in read(signed_in["assistant"].get(NEXT))


def test_how_somebody_felt_is_not_told_to_an_assistant_on_the_page_of_the_day(signed_in):
    assert FELT not in read(signed_in["assistant"].get(LIVE))


def test_a_plan_that_was_kept_by_a_leader_tells_an_assistant_nothing_of_papers(signed_in):
    for page in (
        LIVE, f"/today/stair-ledge/board?{ON}", NEXT, f"{NEXT}&strict=1", RECORD, f"/today/stair-ledge/record.csv?{ON}",
        "/people/Luca Benti/record", "/people/Luca Benti/record.csv", "/people/Luca Benti/record.pdf",
        "/kit/packing?request=saturday-ledge", "/requests/saturday-ledge/versions", "/skills", "/skills.csv",
    ):  # fmt: skip
        answer = signed_in["assistant"].get(page)
        text = read(answer)
        assert answer.status_code == 200 and [secret for secret in SECRETS if secret in text] == [], page


# ---- requests ----


def test_a_group_that_an_earlier_version_or_a_file_brings_back_is_told_from_one_of_its_name(client, greta, centre):
    """Groups of one name may stand in two requests: each is chosen by its request, and the name alone by nobody."""
    from tripplan.store.requests import base_of

    saved(greta, "saturday-ledge", **{"groups.0.name": "Puffins"})
    saved(greta, "pier-morning", **{"groups.0.name": "Terns"})
    form = {"version": "1", "newest": "2", "by": "Ann"}
    assert client.post("/requests/saturday-ledge/versions", data=form).status_code == 303
    saved(greta, "saturday-ledge", **{"groups.0.name": "Puffins"})
    file = centre / "requests" / "saturday-ledge.toml"
    file.write_text(file.read_text(encoding="utf-8") + "# more\n", encoding="utf-8")
    form = {"choice": "take", "base": base_of(centre, "saturday-ledge"), "version": "4", "by": "Ann"}
    assert client.post("/requests/saturday-ledge/file", data=form).status_code == 303
    for of, who in (("saturday-ledge", "Luca Benti"), ("pier-morning", "")):
        answer = client.get(f"/plan?site=stair-ledge&{ON}&group={quote(f'Terns ({of})')}")
        assert answer.status_code == 200 and who in answer.text
    assert 'Group "Terns" is not known' in plain(client.get(f"/plan?site=stair-ledge&{ON}&group=Terns"))


@pytest.mark.parametrize("how", ["broken", "gone"])
def test_what_was_typed_comes_back_where_the_file_broke_or_went_meanwhile(greta, centre, how):
    form = greta.form(EDIT)
    form["title"] = "Typed for an hour"
    file = centre / "requests" / "saturday-ledge.toml"
    file.write_text("broken [", encoding="utf-8") if how == "broken" else file.unlink()
    answer = greta.client.post(EDIT, data=form)
    assert answer.status_code == 409 and "Typed for an hour" in answer.text and "Nothing was saved" in answer.text
    again = greta.client.post(EDIT.replace("edit", "form"), data=form)
    assert again.status_code == 409 and "Typed for an hour" in again.text
    if how == "gone":  # the day is not lost: it is saved anew
        boxes = Form(answer.text, "/requests/new").fields
        assert "Typed for an hour" in plain(greta.client.post("/requests/new", data=boxes, follow_redirects=True))
    else:  # once it is mended, the two stand beside each other
        shutil.copy(data_dir("sites") / "requests" / "saturday-ledge.toml", file)
        boxes = Form(answer.text, EDIT).fields
        assert greta.send(EDIT, boxes) and "Typed for an hour" in plain(greta.page("/requests"))


def test_a_form_with_more_groups_than_a_day_has_is_refused_in_short(greta):
    form = greta.form(EDIT)
    body = urlencode([*form.items(multi=True), *((f"groups.{n}.name", "x") for n in range(10, 130))])
    answer = greta.client.post(EDIT, data=body, content_type="application/x-www-form-urlencoded")
    assert answer.status_code in (400, 413) and len(answer.data) < 500_000
    assert "there are more than 20, and at most 20 fit into one request" in plain(answer)
    again = greta.client.post(EDIT.replace("edit", "form"), data=body, content_type="application/x-www-form-urlencoded")
    assert again.status_code == 400 and "at most 20 fit" in plain(again)


@pytest.mark.parametrize(
    ("box", "most"), [("groups.{}.name", 20), ("groups.0.dives.{}.minutes", 6), ("way_home.{}.name", 60)]
)
def test_as_many_rows_as_fit_are_all_taken_and_one_more_is_told_and_still_shown(box, most):
    def told(numbers, out=()):
        typed = MultiDict([(box.format(n), f"{n + 1}") for n in numbers])
        typed.update({f"{box.rpartition('.')[0].format(n)}.out": "yes" for n in out})
        words = words_of_form(typed)
        rows = words.rows("groups")[0].rows("dives") if "dives" in box else words.rows(box.split(".")[0])
        return too_many(words), [row.one(box.rpartition(".")[2]) for row in rows if not row.out]

    whole = [str(n + 1) for n in range(most)]
    assert told(range(most)) == ({}, whole)
    faults, rows = told(range(most + 1))
    assert len(faults) == 1 and rows == [*whole, str(most + 1)]
    assert told(range(most + 1), out=[most]) == ({}, whole)  # as the sentence says: take it out
    assert told(range(most + 1), out=[0]) == ({}, [*whole[1:], str(most + 1)])
    faults, rows = told(range(most * 3), out=range(5))
    assert len(faults) == 1 and rows == [str(n + 1) for n in range(5, most + 6)]


def test_a_request_with_more_groups_than_fit_is_not_opened_in_the_form_that_would_lose_some(client, store, greta):
    saved(greta, "saturday-ledge", title="Many")
    values = store.request_versions("saturday-ledge")[-1].request
    groups = [{**values["groups"][0], "name": f"Group {n}"} for n in range(21)]
    store.save_request("saturday-ledge", {**values, "groups": groups}, 2, "Ann", NOW)
    answer = client.get(EDIT)
    assert answer.status_code == 400 and "saturday-ledge is too long for the form" in plain(answer)
    store.save_request("saturday-ledge", {**values, "groups": groups[:20]}, 3, "Ann", NOW)
    assert client.get(EDIT).status_code == 200


@pytest.mark.parametrize(
    "odd",
    [
        {},
        {"groups": [5], "crew": 7, "altitude": [], "title": ["x"]},
        {"groups": [{"dives": "x", "mixes": [1], "divers": [1], "pairs": [[1]]}], "recent_dives": [{"surfaced": 7}]},
        {"site": "nowhere", "date": "0001-01-01", "measured_pressure_bar": 1e308},
    ],
    ids=["empty", "wrong types", "wrong rows", "no such site"],
)
def test_a_request_of_the_store_that_cannot_be_read_hides_no_other_and_can_be_mended(client, store, odd):
    for name in ("saturday-ledge", "odd"):
        store.save_request(name, odd, None, "Ann", NOW)
    for page in (
        "/",
        "/requests",
        "/requests/odd/edit",
        EDIT,
        "/requests/odd/versions",
        "/today",
        "/kit",
        "/skills",
    ):
        assert client.get(page).status_code == 200, page
    assert client.get("/requests/odd").status_code == 404
    listed = plain(client.get("/requests"))
    assert 'edited request "odd", version 1' in listed and "Altitude day" in listed
    assert "Terns" not in plain(client.get(LIVE)), "the older plan of the file must not come back by itself"


@pytest.mark.sqlite_file("what is answered hangs on no kind of store, and pages take their time")
@pytest.mark.parametrize("typed", ["1e999", "inf", "0x10", "1_0", "\u0661\u0662", "9" * 400])
@pytest.mark.parametrize("box", ["groups.0.dives.0.depth_m", "groups.0.dives.0.minutes", "measured_pressure_bar"])
def test_a_number_beyond_all_numbers_comes_back_with_a_sentence(greta, typed, box):
    form = greta.form(EDIT)
    form[box] = typed
    page = greta.send(EDIT, form, 400)
    assert "Nothing was saved" in plain(page) and typed in page.get_data(as_text=True)


@pytest.mark.sqlite_file("what is answered hangs on no kind of store, and pages take their time")
@pytest.mark.parametrize("day", ["1901-01-01", "2099-12-31"])
def test_a_request_for_a_day_far_away_breaks_no_page(client, greta, day):
    saved(greta, "lake-altitude", date=day)
    for page in ("/", "/requests", "/today", f"/today?date={day}", "/kit/packing?request=lake-altitude", "/skills"):
        assert client.get(page).status_code == 200, page
    for page in ("", "/next", "/record"):
        assert client.get(f"/today/lake-orrin{page}?date={day}").status_code == 200, page


@pytest.mark.sqlite_file("what is answered hangs on no kind of store, and pages take their time")
@pytest.mark.parametrize("title", ["a\x00b", "=cmd|'/c'!A1", HOSTILE], ids=["nothing", "formula", "markup"])
def test_a_title_of_any_letters_stays_words_on_pages_and_paper(client, greta, title):
    form = greta.form(EDIT)
    form["title"] = title
    if client.post(EDIT, data=form).status_code == 303:
        for page in (
            "/requests",
            f"/plan?site=stair-ledge&{ON}&group=Terns",
            NEXT,
            "/requests/saturday-ledge/versions",
        ):
            answer = client.get(page)
            assert answer.status_code == 200 and "<script>alert" not in answer.text, page
        assert client.get(f"/plan.pdf?site=stair-ledge&{ON}&group=Terns").data.startswith(b"%PDF")


@pytest.mark.sqlite_file("what is answered hangs on no kind of store, and pages take their time")
@pytest.mark.parametrize("name", ["..", "..%2f..%2fcentre%2fcentre", "x%00", "A" * 3000, "%e2%80%ae", "centre.toml"])
def test_an_address_reaches_no_other_file(client, store, name):
    for part in ("", "/edit", "/versions", "/next"):
        assert client.get(f"/requests/{name}{part}").status_code == 404
    assert client.post(f"/requests/{name}/edit", data={"by": "Ann", "title": "x"}).status_code == 404
    assert store.requests() == ()


def test_two_servers_on_one_store_write_over_nobody_and_see_each_other_at_once(app, centre, tmp_path, clock, store):
    other = Store(sqlite_url(tmp_path / "store.sqlite"))
    greta = Visitor(app)
    asha = Visitor(app_of(centre, tmp_path / "other", clock, other), "Asha Rao")
    hers, mine = asha.form(EDIT), greta.form(EDIT)
    mine["title"], hers["title"] = "Greta's", "Asha's"
    greta.send(EDIT, mine)
    assert "Greta Holm saved version 2" in plain(asha.send(EDIT, hers, 409))
    assert "Greta's" in plain(asha.page("/requests"))
    asha.send(EDIT, asha.form(EDIT))
    assert [each.version for each in store.request_versions("saturday-ledge")] == [1, 2]
    other.close()


# ---- skills, records, people ----


def test_a_skill_that_another_opened_again_meanwhile_is_not_closed_unseen_by_an_older_form(app, store, clock):
    clock.now = datetime(2026, 12, 5, 15, 0, tzinfo=UTC)
    dive = "/skills/level_1_course/3?request=beginners-cove"
    app.config["WTF_CSRF_ENABLED"] = True
    older, newer = (TickForm(app.test_client(), dive) for _ in range(2))
    row = next(key for key in newer.rows if key[0] == "again" and ("done", *key[1:]) in older.rows)
    _, number, skill, person = row
    assert newer.choose("again", skill, person, number).send().status_code == 303
    assert older.choose("done", skill, person, number).send().status_code == 409
    with app.test_request_context("/"):
        from tripplan.web.here import shelf

        course = shelf().world.skills.course("level_1_course")
    seen = [each.tick for each in ticks(store)]
    assert (number, skill) in {(each.dive, each.skill) for each in open_skills(course, person, seen)}


def test_words_of_every_kind_stay_words_on_records_and_their_papers(client, store):
    hostile = {"text": HOSTILE, "group": "=1+1", "person": "<b>#set$ ]]>", "identity": "@SUM(A1)"}
    kinds = ("in", "out", "discomfort", "incident", "signed", "note")
    told = phone(client, *(entry(f"phone-entry-{n}", kind=kind, **hostile) for n, kind in enumerate(kinds)))
    assert len(told.json["new"]) == len(kinds)
    person = f"/people/{quote(hostile['person'])}/record"
    for page in (LIVE, RECORD, NEXT, person):
        answer = client.get(page)
        assert answer.status_code == 200 and "<script>alert" not in answer.text and "<b>#set" not in answer.text, page
    for page in (RECORD.replace("record", "record.csv"), f"{person}.csv"):
        text = client.get(page).text
        assert "'=1+1" in text and "\n=" not in text and ",=" not in text and ",@" not in text
    for page in (RECORD.replace("record", "record.pdf"), f"{person}.pdf"):
        assert client.get(page).data.startswith(b"%PDF")


@pytest.mark.sqlite_file("what is answered hangs on no kind of store, and pages take their time")
@pytest.mark.parametrize("day", ["0001-01-01", "1600-02-29", "2026-12-12%00", "9999-12-31"])
def test_a_day_far_away_in_an_address_is_shown_or_refused(client, day):
    for page in ("/today", "/today/stair-ledge", "/today/stair-ledge/next", "/today/stair-ledge/record", "/kit"):
        assert client.get(f"{page}?date={day}").status_code in (200, 400), page


def test_a_form_of_the_next_dives_from_the_first_day_of_all_changes_nothing(client, store):
    for at in ("0001-01-01T00:00:00+23:59", "1900-01-01T00:00:00+00:00"):
        answer = client.post(NEXT, data={"at": at, "by": "Ann", "revisions": "x"})
        assert answer.status_code in (400, 409) and "Nothing was changed" in plain(answer)
    assert store.plans(DAY) == ()


def test_words_of_an_address_are_not_told_as_what_the_program_did(client):
    assert "All people were deleted" not in client.get("/people/table?done=All people were deleted.").text


# ---- the purge ----


def test_no_entry_whatever_its_day_keeps_the_purge_from_looking(store):
    # The pages take no entry for a day that has not come; a store may hold one all the same.
    store.add((Event("entry-0001", NOW, date(9999, 12, 31), "stair-ledge", "incident", "Ann", text="x"),), NOW)
    assert what_would_go(store, baseline(), NOW).parts == ()


def test_a_day_whose_only_two_counts_differ_from_the_list_never_goes(store):
    def event(number: int, kind: str, person: str = "", by: str = "Ann", **more) -> Event:
        at = NOW + timedelta(minutes=number)
        return Event(f"entry-{number:04}", at, DAY, "stair-ledge", kind, by, person=person, **more)

    of = {"group": "Terns", "dive": 1}
    counts = (event(70 + n, "count", by=by, value=1.0, text="before leaving") for n, by in enumerate(("Ann", "Dee")))
    swims = (event(n, kind, who, **of) for n, (kind, who) in enumerate(
        (("in", "Ben"), ("in", "Cara"), ("out", "Ben"), ("out", "Cara"))
    ))  # fmt: skip
    store.add((*swims, *counts), NOW + timedelta(hours=2))
    assert what_would_go(store, baseline(), NOW.replace(year=2060)).parts == ()
