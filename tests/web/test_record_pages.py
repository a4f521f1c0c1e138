"""The records through their pages: of a day and of a person, for whoever may see them, as page, paper and table."""

from __future__ import annotations

import csv
import io
import re
import shutil
import subprocess
from datetime import UTC, date, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from test_accounts_pages import House

from tripplan.data_files import data_dir
from tripplan.planning.event import Event
from tripplan.store.database import KeptPlan, Store, sqlite_url
from tripplan.web.app import create_app

DAY = date(2026, 12, 12)
ASKED = "date=2026-12-12"
PAGE = f"/today/stair-ledge/record?{ASKED}"
SHEET = f"/today/stair-ledge/record.pdf?{ASKED}"
TABLE = f"/today/stair-ledge/record.csv?{ASKED}"
FELT = "Tingling in the left arm"
needs_poppler = pytest.mark.skipif(not shutil.which("pdftotext"), reason="poppler's tools are not installed")


class Clock:
    """A clock that a test moves."""

    now = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def store(tmp_path):
    made = Store(sqlite_url(tmp_path / "store.sqlite"))
    yield made
    made.close()


@pytest.fixture
def client(tmp_path, store):
    app = create_app(data_dir("sites"), clock=Clock(), records=tmp_path / "records", store=store)
    return app.test_client()


def entry(number: int, kind: str, person: str = "Luca Benti", minutes: int = 0, **other: Any) -> Event:
    """Return an entry some minutes after 11:50 by the clock of the site, which is an hour behind in winter."""
    at = Clock.now + timedelta(minutes=minutes)
    given: dict[str, Any] = {"group": "Terns", "dive": 1, "day": DAY, "site": "stair-ledge", **other}
    return Event(uid=f"entry-{number:06d}", at=at, kind=kind, by="Greta Holm", person=person, **given)  # type: ignore[arg-type]


WHOLE = (
    entry(1, "in"), entry(2, "out", minutes=41), entry(3, "depth", minutes=42, value=17.4),
    entry(4, "start_bar", value=210.0), entry(5, "end_bar", minutes=42, value=80.0),
    entry(6, "discomfort", minutes=43, text=FELT), entry(7, "in", "Nadia Petit"),
    entry(8, "incident", "Nadia Petit", minutes=50, text="Nadia Petit cut a hand on the steps."),
)  # fmt: skip


def begin(client) -> None:
    """Write the first entry through its form, with which the plan of the day is kept."""
    token = re.search(r'data-csrf="([^"]+)"', client.get(f"/today/stair-ledge?{ASKED}&by=Greta Holm").text)[1]
    form = {"csrf_token": token, "uid": "0123456789abcdef", "by": "Greta Holm", "kind": "assembled"}
    answer = client.post(f"/today/stair-ledge/entries?{ASKED}", data={**form, "person": "Luca Benti", "dive": "0"})
    assert answer.status_code == 303


def words(answer) -> str:
    assert answer.status_code == 200 and answer.mimetype == "application/pdf"
    out = subprocess.run(["pdftotext", "-raw", "-", "-"], input=answer.data, capture_output=True, check=True).stdout
    return " ".join(out.decode().replace("\u200b", "").split())


def table(answer) -> list[dict[str, str]]:
    assert answer.status_code == 200 and answer.mimetype == "text/csv"
    assert "attachment" in answer.headers["Content-Disposition"]
    return list(csv.DictReader(io.StringIO(answer.text)))


# ---- of a day ----


@needs_poppler
def test_the_sheet_of_a_day_holds_its_entries_and_the_revision_of_the_plan_that_was_kept(client, store):
    begin(client)
    store.add(WHOLE, Clock.now)
    (plan,) = store.plans(DAY)
    text = words(client.get(SHEET))
    for said in (
        f"Plan held: {plan.revision}", "Left surface (went in) 11:50", "Surfaced (came out) 12:31",
        "Elapsed time 41 min", "Greatest depth 17.4 m", "80 bar; 1950 l used", FELT,
        "Nadia Petit cut a hand on the steps.", "Page 1 of", "DEMONSTRATION - NOT FOR USE",
        "Supervisor: Ines Faro (directs), Luca Benti (leads)",
    ):  # fmt: skip
        assert said in text, said


@needs_poppler
def test_before_the_first_entry_the_sheet_says_that_nothing_is_kept(client):
    text = words(client.get(SHEET))
    assert "not kept yet: nothing was written on the day" in text and "No entry says that a dive was made." in text


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_page_leads_to_the_paper_in_both_sizes_to_the_table_and_to_each_person(client, store, paper):
    store.add(WHOLE, Clock.now)
    page = unescape(client.get(PAGE).text)
    for address in (f"{SHEET}&paper={paper}", TABLE, "/people/Luca%20Benti/record"):
        assert f'href="{address}"' in page and client.get(address).status_code == 200
    assert "Nadia Petit cut a hand on the steps." in page and "Incident, 12:40" in page
    name = client.get(SHEET).headers["Content-Disposition"]
    assert "record-stair-ledge-2026-12-12.pdf" in name and name.startswith("inline")


@pytest.mark.parametrize(
    ("address", "status", "said"),
    [
        (f"{SHEET}&paper=a5", 400, "accepted: a4, letter"),
        ("/today/stair-ledge/record.pdf?date=soon", 400, "write it like"),
        (f"/today/nowhere/record.pdf?{ASKED}", 404, ""),
        ("/people/Luca Benti/record.pdf?paper=a5", 400, "accepted: a4, letter"),
        ("/people/Nobody At All/record", 404, ""),
        ("/people/Nobody At All/record.csv", 404, ""),
    ],
)
def test_what_cannot_be_had_is_refused_with_what_is_accepted(client, address, status, said):
    answer = client.get(address)
    assert answer.status_code == status and said in answer.text


def test_the_table_of_a_day_has_what_only_the_kept_plan_knows(client, store):
    begin(client)
    store.add(WHOLE, Clock.now)
    luca = next(row for row in table(client.get(TABLE)) if row["name"] == "Luca Benti")
    assert luca["supervisor"] == "Ines Faro (directs), Luca Benti (leads)" and luca["max_operating_depth_m"] == "56.1"
    assert "handbook tables" in luca["tables"]


# ---- of a person ----


def other_day(number: int, **other: Any) -> tuple[Event, ...]:
    """Return a dive a week later, at a site that is no longer in the folder."""
    day = {"day": DAY + timedelta(days=7), "site": "old-quay", "group": "Gulls"}
    week = 7 * 24 * 60
    return (
        entry(number, "in", minutes=week, **{**day, **other}),
        entry(number + 1, "out", minutes=week + 30, **{**day, **other}),
        entry(number + 2, "depth", minutes=week + 31, value=9.0, **{**day, **other}),
    )


def test_a_person_s_record_goes_over_all_days_and_sites_the_last_one_first(client, store):
    begin(client)
    store.add((*WHOLE, *other_day(20)), Clock.now)
    page = unescape(client.get("/people/Luca Benti/record").text)
    assert "2 dives" in page and "71 min" in page and "17.4 m" in page
    assert page.index("Saturday 19 December 2026, old-quay") < page.index("Saturday 12 December 2026, Stair Ledge")
    assert "no plan was kept" in page and store.plans(DAY)[0].revision in page
    rows = table(client.get("/people/Luca Benti/record.csv"))
    assert [(row["date"], row["site"], row["elapsed_min"]) for row in rows] == [
        ("2026-12-12", "Stair Ledge", "41"), ("2026-12-19", "old-quay", "30"),
    ]  # fmt: skip
    assert client.get("/people/Luca Benti/record.pdf").data.startswith(b"%PDF")


def test_the_time_of_a_site_that_is_gone_is_said_to_be_utc(client, store):
    store.add(other_day(20), Clock.now)
    page = client.get("/people/Luca Benti/record").text
    assert "times of UTC" in page and "12:50" in page


@pytest.mark.parametrize("name", ["luca benti", " LUCA  BENTI", "Luca Benti"])
def test_a_person_is_found_by_any_way_of_writing_the_name(client, store, name):
    store.add(WHOLE, Clock.now)
    page = client.get(f"/people/{name}/record").text
    assert "Dive record: <bdi>Luca Benti</bdi>" in page and "1 dive" in page


def test_somebody_on_the_list_without_a_dive_has_an_empty_record_and_a_stranger_with_entries_has_one(client, store):
    assert "No dive of this person is written here." in client.get("/people/Maren Dahl/record").text
    store.add([entry(30, "in", "Zoe Quill"), entry(31, "out", "Zoe Quill", minutes=20)], Clock.now)
    assert "20 min" in client.get("/people/zoe quill/record").text


@pytest.mark.parametrize("name", ["A/B", "<b>x</b>", "=1+1", "#a $b$ *c*", "Zoë “Z” Quill", "a%2Fb", "a?b&c"])
def test_the_record_of_a_name_of_any_kind_is_had_by_the_link_on_the_page_of_the_day(client, store, name):
    store.add([entry(30, "in", name), entry(31, "out", name, minutes=20)], Clock.now)
    links = re.findall(r'href="(/people/[^"]+/record)"', client.get(PAGE).text)
    found = [unescape(link) for link in links if "20 min" in client.get(unescape(link)).text]
    assert len(found) == 1
    page = client.get(found[0]).text
    assert name in unescape(page) and "<b>x</b>" not in page
    (row,) = table(client.get(f"{found[0]}.csv"))
    assert row["name"] == (f"'{name}" if name[0] == "=" else name)
    assert client.get(f"{found[0]}.pdf").data.startswith(b"%PDF")


def test_a_plan_that_was_kept_by_another_program_hides_no_dive_of_a_person(client, store):
    plan = {"revision": "deadbeef", "dives": [{"group": "Terns"}], "site_name": "Stair Ledge"}
    store.keep_plan(KeptPlan("deadbeef", "stair-ledge", DAY, Clock.now, "Greta Holm", {}, {}, plan))
    store.add(WHOLE, Clock.now)
    page = client.get("/people/Luca Benti/record").text
    assert "cannot be read" in page and "1 dive" in page and "41 min" in page


def test_a_person_s_record_is_kept_by_no_machine_between(client):
    for ending in ("", ".pdf", ".csv"):
        assert client.get(f"/people/Luca Benti/record{ending}").headers["Cache-Control"] == "no-store"


# ---- who may see how somebody felt ----


@pytest.fixture
def house(tmp_path, store):
    return House(tmp_path, store, data_dir("sites"))


@pytest.mark.parametrize(("who", "sees"), [("Greta Holm", True), ("Ines Faro", True), ("Ben Alder", False)])
def test_how_a_person_felt_is_shown_to_leaders_only_and_that_it_stops_the_next_dive_to_all(house, store, who, sees):
    store.add(WHOLE, Clock.now)
    browser = house.browser(who)
    page = browser.page("/people/Luca Benti/record")
    rows = table(browser.get("/people/Luca Benti/record.csv"))
    assert (FELT in page) == sees == (FELT in rows[0]["discomfort"]) == (FELT in rows[0]["deviations"])
    assert "do not go" in page
    if not sees:
        assert "recorded; ask the leader" in page and rows[0]["discomfort"] == "recorded; ask the leader"
    if shutil.which("pdftotext"):
        text = words(browser.get("/people/Luca Benti/record.pdf"))
        assert (FELT in text) == sees and ("recorded; ask the leader" in text) != sees


def test_whoever_has_not_signed_in_sees_no_record(house):
    for address in (PAGE, SHEET, TABLE, "/people/Luca Benti/record", "/people/Luca Benti/record.pdf"):
        assert house.browser().get(address).status_code == 303


@pytest.mark.parametrize(("who", "sees"), [("Greta Holm", True), ("Ines Faro", True), ("Ben Alder", False)])
def test_the_record_of_a_day_leaves_out_for_an_assistant_how_people_felt_and_what_happened(house, store, who, sees):
    store.add((*WHOLE, entry(77, "incident", "", 40, text="Fell on the slip, cut knee")), Clock.now)
    browser = house.browser(who)
    page = browser.page(PAGE)
    rows = table(browser.get(TABLE))
    assert (FELT in page) == sees == (FELT in "".join(row["discomfort"] + row["deviations"] for row in rows))
    assert ("cut knee" in page) == sees
    assert "Incident" in page
    assert browser.get(SHEET).status_code == (200 if sees else 403)
    assert ("record.pdf" in page) == sees
