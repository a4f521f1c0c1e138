"""The day on the beach through its pages: every entry once, nobody lost, the plan held from the first entry on."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from datetime import UTC, date, datetime, timedelta
from html import unescape

import pytest

from tripplan.data_files import data_dir
from tripplan.planning.event import Event
from tripplan.store.database import Store, StoreFault, sqlite_url
from tripplan.web.app import create_app

DAY = date(2026, 12, 12)
PAGE = "/today/stair-ledge?date=2026-12-12&by=Greta Holm"
SEND = "/today/stair-ledge/entries?date=2026-12-12"


class Clock:
    """A clock that a test moves."""

    now = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def app(tmp_path, clock):
    made = create_app(data_dir("sites"), clock=clock, records=tmp_path / "records")
    made.extensions["tripplan_store_url"] = sqlite_url(tmp_path / "store.sqlite")
    yield made
    if store := made.extensions.get("tripplan_store"):
        store.close()


@pytest.fixture
def client(app):
    return app.test_client()


@pytest.fixture
def kept(tmp_path):
    """What another process finds in the store."""

    def entries() -> tuple[Event, ...]:
        store = Store(sqlite_url(tmp_path / "store.sqlite"))
        found = store.events(DAY)
        store.close()
        return found

    return entries


def token(client) -> str:
    return re.search(r'data-csrf="([^"]+)"', client.get(PAGE).text)[1]


def entry(mark: str, **changes: object) -> dict[str, object]:
    at = "2026-12-12T12:50:00Z"
    dive = {"person": "Luca Benti", "group": "Terns", "dive": 1}
    made = {"uid": mark, "at": at, "kind": "in", "by": "Greta Holm", **dive}
    return {**made, **changes}


def send(client, *entries: object, with_token: str | None = None):
    return client.post(SEND, json={"entries": list(entries)}, headers={"X-CSRFToken": with_token or token(client)})


def form(client, **values: object):
    given = {"csrf_token": token(client), "uid": "0123456789abcdef", "by": "Greta Holm", "group": "", "dive": "0"}
    return client.post(SEND, data={**given, **values})


def tally(client) -> list[int]:
    return [int(number) for number in re.findall(r"<dd>(\d+)</dd></div>", client.get(PAGE).text)][:4]


def test_the_days_with_a_request_lead_to_their_sites(client):
    assert "Stair Ledge" in client.get("/today?date=2026-12-12").text
    assert "No request is for this day" in client.get("/today?date=2026-12-01").text
    assert client.get("/today?date=soon").status_code == 400
    assert client.get("/today/nowhere").status_code == 404


def test_nobody_is_in_the_water_before_an_entry_says_so(client):
    in_water, ashore, left, not_here = tally(client)
    assert (in_water, ashore, left) == (0, 0, 0) and not_here == 14  # eight divers and leaders, six with duties


def test_entries_of_a_phone_arrive_once_however_often_they_are_sent(client, kept):
    both = [entry("phone-entry-1"), entry("phone-entry-2", person="Nadia Petit")]
    first = send(client, *both)
    assert first.status_code == 200 and first.json["new"] == ["phone-entry-1", "phone-entry-2"]
    again = send(client, *both, both[0])
    assert again.json["new"] == [] and again.json["refused"] == []
    assert [each.uid for each in kept()] == ["phone-entry-1", "phone-entry-2"]
    assert tally(client)[0] == 2


def test_one_bad_entry_is_told_and_does_not_hold_up_the_good(client, kept):
    told = send(client, entry("phone-entry-1", kind="depth", value="deep"), entry("phone-entry-2")).json
    assert told["new"] == ["phone-entry-2"]
    assert told["refused"][0]["uid"] == "phone-entry-1" and "not a number" in told["refused"][0]["error"]
    assert len(kept()) == 1


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"kind": "party"}, "accepted: assembled"),
        ({"uid": "x"}, "8 to 64"),
        ({"at": "noon"}, "cannot be read"),
        ({"at": "2026-12-12T12:50:00"}, "offset"),
        ({"at": "2026-11-12T12:50:00Z"}, "clock of the phone"),
        ({"by": " "}, "who wrote"),
        ({"person": ""}, "about a person"),
        ({"group": "", "dive": 0}, "about a dive"),
        ({"person": 7}, "not text"),
        ({"person": "x" * 61}, "at most 60"),
        ({"kind": "end_bar", "value": "900"}, "from 0 to 350"),
        ({"dive": "two"}, "whole number"),
    ],
)
def test_what_could_not_be_used_later_is_refused_with_what_is_accepted(client, kept, changes, words):
    told = send(client, entry("phone-entry-1", **changes)).json
    assert told["new"] == [] and words in told["refused"][0]["error"]
    assert kept() == ()


@pytest.mark.parametrize("body", [{}, {"entries": []}, {"entries": "all"}, {"entries": [1] * 201}, [1]])
def test_a_message_that_is_no_list_of_entries_is_refused(client, body):
    answer = client.post(SEND, json=body, headers={"X-CSRFToken": token(client)})
    assert answer.status_code == 400 and "1 to 200" in answer.json["error"]


def test_without_its_token_nothing_is_taken(client, kept):
    assert client.post(SEND, json={"entries": [entry("phone-entry-1")]}).status_code == 400
    assert client.post(SEND, data=entry("form-entry-1")).status_code == 400
    assert kept() == ()
    assert send(client, entry("phone-entry-1"), with_token=client.get("/today/stair-ledge/token").json["token"]).json[
        "new"
    ]


def test_a_phone_whose_clock_is_ahead_writes_nothing_into_the_future(client, kept, clock):
    send(client, entry("phone-entry-1", at="2026-12-12T14:50:00Z"))
    assert kept()[0].at == clock.now


def test_a_form_without_script_does_the_same_and_a_group_goes_in_together(client, kept):
    answer = form(client, kind="in", person=["Luca Benti", "Nadia Petit"], group="Terns", dive="1")
    assert answer.status_code == 303
    assert {each.person for each in kept()} == {"Luca Benti", "Nadia Petit"}
    form(client, kind="in", person=["Luca Benti", "Nadia Petit"], group="Terns", dive="1")  # sent again
    assert len(kept()) == 2 and tally(client)[0] == 2


def test_a_wrong_form_comes_back_with_a_sentence_and_nothing_is_kept(client, kept):
    answer = form(client, kind="end_bar", person="Luca Benti", group="Terns", dive="1", value="lots")
    assert answer.status_code == 400 and "Nothing was written down" in answer.text and "not a number" in answer.text
    assert kept() == ()


def test_what_was_taken_back_no_longer_counts_and_stays_on_record(client, kept):
    send(client, entry("phone-entry-1"))
    form(client, kind="withdrawn", corrects="phone-entry-1", text="wrong person")
    assert len(kept()) == 2 and tally(client)[0] == 0
    assert "wrong person" in client.get(PAGE).text


def test_who_is_not_out_in_time_is_overdue_and_the_steps_are_named(client, clock):
    send(client, entry("phone-entry-1"))
    assert "missing-diver steps" not in client.get(PAGE).text.lower()
    clock.now += timedelta(hours=1)
    text = client.get(PAGE).text
    assert "Start the missing-diver steps now" in text and "Luca Benti" in text


def test_the_plan_is_held_from_the_first_entry_on(client, app, tmp_path):
    send(client, entry("phone-entry-1"))
    store = Store(sqlite_url(tmp_path / "store.sqlite"))
    (plan,) = store.plans(DAY)
    assert plan.by == "Greta Holm" and plan.plan["revision"] == plan.revision and plan.inputs["site"]
    store.close()
    assert plan.revision in client.get(PAGE).text
    held = app.extensions["tripplan_shelf"].folder.requests["saturday-ledge"]
    app.extensions["tripplan_shelf"]._folder.requests["saturday-ledge"] = held.model_copy(
        update={"groups": held.groups[:1]}
    )
    assert "Skuas, dive 1" in client.get(PAGE).text  # as it was planned when the day began


def test_times_are_those_of_the_site(client):
    send(client, entry("phone-entry-1"))
    assert "IN THE WATER 11:50" in client.get(PAGE).text  # 12:50 UTC, an hour behind in winter


def test_hostile_names_stay_words(client):
    send(client, entry("phone-entry-1", kind="assembled", person="<script>alert(1)</script>", group="", dive=0))
    text = client.get(PAGE).text
    assert "<script>alert(1)" not in text and "&lt;script&gt;alert(1)" in text


def test_the_page_runs_its_own_script_only(client):
    policy = client.get(PAGE).headers["Content-Security-Policy"]
    assert "script-src 'self'" in policy and "unsafe" not in policy
    assert "script-src 'none'" in client.get("/sites").headers["Content-Security-Policy"]


def test_a_store_that_takes_nothing_is_told_and_the_phone_keeps_its_entries(client, monkeypatch):
    csrf = token(client)

    def full(*_: object) -> None:
        raise StoreFault("the store did not take it: disk full; nothing of it was kept")

    monkeypatch.setattr(Store, "add", full)
    answer = send(client, entry("phone-entry-1"), with_token=csrf)
    assert answer.status_code == 503 and "disk full" in answer.json["error"] and "new" not in answer.json
    wrong = form(client, kind="assembled", person="Luca Benti")
    assert wrong.status_code == 503 and "Nothing was written down" in wrong.text


def test_the_record_holds_what_was_done_beside_what_was_planned(client, clock):
    send(client, entry("phone-entry-1"), entry("phone-entry-2", kind="start_bar", value="210"))
    clock.now += timedelta(minutes=41)
    later = "2026-12-12T13:31:00Z"
    send(
        client,
        entry("phone-entry-3", kind="out", at=later),
        entry("phone-entry-4", kind="depth", value="17.4", at=later),
        entry("phone-entry-5", kind="end_bar", value="80", at=later),
        entry("phone-entry-6", kind="discomfort", text="none", at=later),
        entry("phone-entry-7", kind="signed", identity="VSD-7", by="Luca Benti", at=later),
    )
    page = client.get("/today/stair-ledge/record?date=2026-12-12").text
    assert "11:50 to 12:31, 41 min in the water" in page and "17.4 m (planned 18 m" in page
    assert "210 to 80 bar" in page and "Luca Benti (VSD-7)" in page
    table = client.get("/today/stair-ledge/record.csv?date=2026-12-12")
    assert table.mimetype == "text/csv"
    rows = list(csv.DictReader(io.StringIO(table.text)))
    luca = next(row for row in rows if row["name"] == "Luca Benti" and row["dive"] == "1")
    assert (luca["time_in"], luca["time_out"], luca["elapsed_min"]) == ("11:50", "12:31", "41")
    assert luca["used_l"] == "1950"  # 15 L times 130 bar
    nadia = next(row for row in rows if row["name"] == "Nadia Petit" and row["dive"] == "1")
    assert nadia["greatest_depth_m"] == "" and "greatest depth" in nadia["missing"]


def test_no_cell_of_the_record_begins_a_formula(client):
    send(client, entry("phone-entry-1", person="=1+1"), entry("phone-entry-2", person="+44", kind="in"))
    table = client.get("/today/stair-ledge/record.csv?date=2026-12-12").text
    names = [row["name"] for row in csv.DictReader(io.StringIO(table))]
    assert "'=1+1" in names and not any(name[:1] in "=+-@" for name in names if name)


def test_where_people_sign_in_nobody_writes_in_another_s_name(app, client, kept, monkeypatch):
    from tripplan.web import live

    monkeypatch.setattr(live, "current_name", lambda: "Tom Okafor")
    send(client, entry("phone-entry-1", by="Somebody Else"))
    assert [each.by for each in kept()] == ["Tom Okafor"]
    assert 'value="Tom Okafor"' in client.get("/today/stair-ledge?date=2026-12-12").text


def counted(client, mark: str, by: str, people: int):
    return send(
        client, entry(mark, kind="count", by=by, person="", group="", dive=0, value=str(people), text="assemble")
    )


def test_two_counts_that_do_not_agree_ask_for_a_recount_and_then_for_the_missing_diver_steps(client):
    send(client, *(entry(f"phone-here-{n}", kind="assembled", person=f"P{n}", group="", dive=0) for n in range(3)))
    counted(client, "phone-count-1", "Greta Holm", 3)
    counted(client, "phone-count-2", "Yusuf Demir", 2)
    text = client.get(PAGE).text
    assert "Recount: two people, each for themselves, everybody by name." in text
    assert "Greta Holm counted 3 and Yusuf Demir 2" in text
    counted(client, "phone-count-3", "Greta Holm", 3)
    counted(client, "phone-count-4", "Yusuf Demir", 2)
    text = client.get(PAGE).text
    assert "did not agree for the second time. Start the missing-diver steps now" in text
    steps, search = re.findall(r'<p class="take"><a href="([^"]+)">Missing-diver steps</a> <a href="([^"]+)">', text)[0]
    sheet = client.get(unescape(steps))
    assert sheet.status_code == 200 and 'id="missing_diver"' in sheet.text and steps.endswith("#missing_diver")
    assert client.get(unescape(search)).status_code == 200


def test_who_counts_second_is_not_told_what_the_first_found(client):
    send(client, *(entry(f"phone-here-{n}", kind="assembled", person=f"P{n}", group="", dive=0) for n in range(3)))
    counted(client, "phone-count-1", "Greta Holm", 3)
    text = client.get(PAGE).text
    assert "One person has counted. A second person counts the same moment" in text
    assert "Greta Holm counted 3" not in text


def test_what_felt_wrong_leads_to_the_steps_for_it(client):
    send(client, entry("phone-entry-1", kind="discomfort", text="tingling fingers"))
    text = client.get(PAGE).text
    steps = re.search(r'href="([^"]+)">Steps for bubble illness</a>', text)[1]
    assert "tingling fingers" in text and 'id="bubble_illness"' in client.get(unescape(steps)).text


def test_what_is_written_of_a_dive_stands_beside_the_name(client):
    send(
        client,
        entry("phone-entry-1", kind="start_bar", value="210"),
        entry("phone-entry-2", kind="end_bar", value="85,5"),
        entry("phone-entry-3", kind="depth", value="17.4"),
        entry("phone-entry-4", kind="discomfort", text="none"),
        entry("phone-entry-5", kind="signed", by="Luca Benti", identity="VSD-7"),
        entry("phone-entry-6", kind="verified", identity="VSL-2"),
    )
    assert (
        "Written: 210 bar before, 85.5 bar after, 17.4 m deep, felt: none, signed by Luca Benti (VSD-7), verified by "
        "Greta Holm (VSL-2)."
    ) in client.get(PAGE).text


def test_the_diver_signs_in_the_own_name_and_another_signs_for_it(client):
    text = client.get(PAGE).text
    pairs = re.findall(r'name="by" value="([^"]+)"><input type="hidden" name="kind" value="(\w+)">', text)
    assert {by for by, kind in pairs if kind == "verified"} == {"Greta Holm"}
    signing = [by for by, kind in pairs if kind == "signed"]
    assert "Luca Benti" in signing and "Greta Holm" not in signing


def test_the_plan_that_holds_is_named_with_its_hour(client):
    assert "the plan is kept with the first entry" in client.get(PAGE).text
    send(client, entry("phone-entry-1"))
    plan = the_plan(client)
    text = client.get(PAGE).text
    assert f"plan {plan.revision}, since 11:50, kept by <bdi>Greta Holm</bdi>." in text
    assert "Terns, dive 1; Skuas, dive 1; Terns, dive 2: plan" in text


def the_plan(client):
    store = Store(client.application.extensions["tripplan_store_url"])
    (plan,) = store.plans(DAY)
    store.close()
    return plan


def test_what_a_kept_plan_was_made_from_is_all_that_its_revision_counts(client):
    send(client, entry("phone-entry-1"))
    plan = the_plan(client)
    text = json.dumps(dict(plan.inputs), sort_keys=True, ensure_ascii=True)
    assert hashlib.sha256(text.encode()).hexdigest()[:8] == plan.revision
    assert plan.inputs["conditions"]  # the forecast that it was made from


def asked_anew(app, name: str = "saturday-ledge", **changes: object) -> None:
    """Change a request as somebody who edits the folder does."""
    held = app.extensions["tripplan_shelf"]._folder.requests
    held[name] = held["saturday-ledge"].model_copy(update=changes)


def test_a_day_that_goes_by_its_request_has_no_alarm_of_another_plan(client, app):
    assert "alarm other-plan" not in client.get(PAGE).text
    send(client, entry("phone-entry-1", kind="assembled", group="", dive=0))
    asked_anew(app, title="A better title")
    assert "alarm other-plan" not in client.get(PAGE).text


def test_an_edited_request_is_told_until_its_dives_are_made(client, app):
    send(client, entry("phone-entry-1"))
    groups = app.extensions["tripplan_shelf"].folder.requests["saturday-ledge"].groups
    asked_anew(app, groups=(*groups[:1], groups[1].model_copy(update={"suit_mm": None, "dry_suit": True})))
    text = unescape(client.get(PAGE).text)
    assert "alarm other-plan" in text and "was edited after the day began" in text
    assert "(Terns, Skuas)" in text and "/today/stair-ledge/next?date=2026-12-12" in text
    everybody = [("Terns", 2, "Luca Benti"), ("Skuas", 1, "Asha Rao")]
    send(client, *(entry(f"phone-more-{n}", group=g, dive=d, person=p) for n, (g, d, p) in enumerate(everybody)))
    assert "alarm other-plan" not in client.get(PAGE).text


def test_a_late_request_is_told_to_have_no_overdue_clock_and_its_people_are_on_the_list(client, app):
    send(client, entry("phone-entry-1", kind="assembled", group="", dive=0))
    before = tally(client)[3]
    group = app.extensions["tripplan_shelf"].folder.requests["saturday-ledge"].groups[1]
    late = group.model_copy(update={"name": "Whelks", "leader": "Asha Rao", "divers": ("Pia Late",)})
    asked_anew(app, "late", groups=(late,), title="Late")
    text = unescape(client.get(PAGE).text)
    assert 'The request "Late" (Whelks) is not in the plan that the day goes by' in text and "NO OVERDUE CLOCK" in text
    assert tally(client)[3] == before + 1 and "Pia Late" in text


def test_an_alarm_of_somebody_overdue_comes_before_that_of_another_plan(client, app, clock):
    send(client, entry("phone-entry-1"))
    asked_anew(app, measured_pressure_bar=1.0)
    clock.now += timedelta(hours=1)
    kinds = re.findall(r'class="alarm ([a-z-]+)"', client.get(PAGE).text)
    assert kinds.index("overdue") < kinds.index("other-plan") < kinds.index("not-here")


def test_nothing_is_written_for_a_day_that_has_not_come_by_the_clock_of_the_site(client, kept, clock):
    clock.now = datetime(2026, 12, 12, 0, 30, tzinfo=UTC)  # 23:30 on the 11th there
    text = client.get(PAGE).text
    assert "This day has not come yet" in text
    assert all(" disabled" in button for button in re.findall(r"<button[^>]*>", text.split('id="board"')[1]))
    told = send(client, entry("phone-entry-1", at="2026-12-12T00:30:00Z")).json
    assert told["new"] == [] and "has not come yet at this site, where it is 11 December" in told["refused"][0]["error"]
    assert kept() == ()
    clock.now += timedelta(minutes=30)
    assert send(client, entry("phone-entry-1", at="2026-12-12T01:00:00Z")).json["new"]


def test_the_day_of_a_site_is_that_of_its_own_clock(client, clock):
    clock.now = datetime(2026, 12, 13, 0, 30, tzinfo=UTC)  # 23:30 on the 12th there
    assert "12 December" in client.get("/today/stair-ledge").text.split("</h1>")[0]


def test_who_may_not_see_health_still_gets_the_alarm_and_the_steps_and_may_write(client, kept, monkeypatch):
    from tripplan.web import live

    monkeypatch.setattr(live, "sees_private", lambda: False)
    send(
        client,
        entry("phone-entry-1", kind="discomfort", text="tingling fingers"),
        entry("phone-entry-2", kind="discomfort", text="None.", person="Nadia Petit"),
        entry("phone-entry-3", kind="incident", text="came up fast", person="", group="", dive=0),
        entry("phone-entry-4", kind="withdrawn", corrects="phone-entry-3", text="not so fast", person=""),
    )
    assert [each.text for each in kept()] == ["tingling fingers", "None.", "came up fast", "not so fast"]
    text = client.get(PAGE).text
    assert not [words for words in ("tingling", "came up fast", "not so fast") if words in text]
    assert 'class="alarm discomfort"' in text and "Steps for bubble illness" in text
    assert "felt: recorded; ask the leader" in text and "felt: None." in text


@pytest.mark.parametrize("value", ["inf", "-inf", "1e999", "nan"])
def test_a_value_without_end_is_refused(client, value):
    told = send(client, entry("phone-entry-1", kind="note", text="x", value=value)).json
    assert told["new"] == [] and "not a number" in told["refused"][0]["error"]


def test_the_lines_of_a_form_are_kept_as_lines(client, kept):
    form(client, kind="incident", person="", text="first\r\nsecond\rthird")
    assert [each.text for each in kept()] == ["first\nsecond\nthird"]


def test_what_a_refused_form_held_comes_back(client):
    answer = form(client, kind="incident", person="", text="holds the <arm> " * 130)
    assert answer.status_code == 400 and 'rows="2" maxlength="2000" required>holds the &lt;arm&gt;' in answer.text
    wrong = form(client, kind="end_bar", person="Luca Benti", group="Terns", dive="1", value="lots")
    assert "end bar <bdi>Luca Benti</bdi> <bdi>lots</bdi>" in wrong.text
