"""Schedules on pages: the board, changes by one click, two who change at once, the solve as it goes, who sees what."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from tests.sample_schedule import sample_schedule
from tests.web.schedule_week import SLUG, keep_week, week_folder
from tripplan.data_files import data_dir
from tripplan.planning.schedule import Change, Progress, Unplaced
from tripplan.planning.schedule_request import schedule_request_from
from tripplan.record import TomlFile
from tripplan.store.accounts import Accounts, Limits
from tripplan.store.database import Store, sqlite_url
from tripplan.store.schedule_jobs import (
    DEAD_AFTER_S,
    Place,
    Workman,
    ask_stop,
    finish,
    latest,
    queue,
    take,
    write_progress,
)
from tripplan.store.schedules import edit_versions, edits_of, published, results_of
from tripplan.web.app import create_app
from tripplan.web.schedule import EXAMPLE

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
BOARD = f"/schedules/{SLUG}"
TUESDAY = f"{BOARD}?day=2026-12-08"
PASSWORDS = {"Ines Faro": "nine dry boots by the door", "Ben Alder": "two blue mugs in the sink"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return week_folder(tmp_path_factory.mktemp("pages"))


@pytest.fixture
def store(tmp_path):
    made = Store(sqlite_url(tmp_path / "store.sqlite"))
    yield made
    made.close()


class Woken:
    """Stands where the worker of the program is; notes for which store it was woken."""

    def __init__(self) -> None:
        self.urls: list[str] = []

    def wake(self, url: str) -> None:
        self.urls.append(url)


@pytest.fixture
def app(tmp_path, store, folder):
    made = create_app(folder, clock=lambda: NOW, records=tmp_path / "records", store=store)
    made.extensions["tripplan_worker"] = Woken()
    return made


class Visitor:
    """Somebody with a browser of their own, who reads the forms that are on the page."""

    def __init__(self, app, by: str = "Greta Holm") -> None:
        self.client, self.by = app.test_client(), by

    def page(self, address: str = TUESDAY, status: int = 200) -> str:
        answer = self.client.get(address)
        assert answer.status_code == status, (address, answer.status_code, answer.get_data(as_text=True))
        return unescape(answer.get_data(as_text=True))

    def fields(self, address: str = TUESDAY) -> dict[str, str]:
        raw = self.client.get(address).get_data(as_text=True)
        found = {name: re.search(rf'name="{name}" value="([^"]*)"', raw)[1] for name in ("csrf_token", "version")}
        return {**found, "day": "2026-12-08", "by": self.by}

    def send(self, what: str, fields: dict[str, str] | None = None, **more: str):
        return self.client.post(f"{BOARD}/{what}", data={**(fields or self.fields()), **more})

    def press(self, words: str, address: str = TUESDAY, *, after: str = "", **more: str):
        """Press the button that says some words, the first one after others on the page."""
        raw = unescape(self.client.get(address).get_data(as_text=True))
        raw = raw[raw.index(after) :]
        button = re.search(rf'name="edits" value="(\[[^<>]*\])">{re.escape(words)}<', raw)
        assert button, words
        return self.send("change", self.fields(address), edits=button[1], **more)


@pytest.fixture
def greta(app, store, folder) -> Visitor:
    keep_week(store, folder)
    return Visitor(app)


def words(answer) -> str:
    return unescape(answer.get_data(as_text=True))


def do(store: Store, folder: Path) -> None:
    """Be the worker: take what is in the queue, with the invented week for every answer."""
    workman = Workman(store, Place(folder), solve=lambda *_, **__: sample_schedule(), clock=lambda: NOW)
    with queue(store.url, workman.work) as (held, _):
        while (task := held.dequeue()) is not None:
            held.execute(task)


# ---- the list ----


def test_without_a_schedule_the_page_says_how_to_write_one_that_is_good_as_it_stands(tmp_path, store):
    folder = week_folder(tmp_path)
    (folder / "schedules" / f"{SLUG}.toml").unlink()
    app = create_app(folder, clock=lambda: NOW, records=tmp_path / "records", store=store)
    page = Visitor(app).page("/schedules")
    assert "There is no schedule yet" in page and EXAMPLE in page
    (folder / "schedules" / "june.toml").write_text(EXAMPLE, encoding="utf-8")
    assert schedule_request_from(TomlFile(Path("june.toml"), EXAMPLE)).days == 5
    page = Visitor(app).page("/schedules")
    assert "First week of June" in page and "fault" not in page and "Not made yet" in page


def test_the_list_says_what_was_made_and_what_hangs_on_the_wall(greta, store):
    assert "Last made 27 Nov 2026, 08:00 UTC, asked for by Greta Holm" in greta.page("/schedules")
    greta.send("publish", result=str(results_of(store, SLUG)[0].number))
    assert "On the wall since 27 Nov 2026, 08:00 UTC, put there by Greta Holm" in greta.page("/schedules")


def test_looking_makes_no_store(tmp_path, folder, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    app = create_app(folder, clock=lambda: NOW, records=tmp_path / "records")
    assert "not made yet" in Visitor(app).page(BOARD)
    assert app.test_client().get(f"{BOARD}/job").get_json() == {"number": None, "state": "", "open": False, "words": ""}
    assert not (tmp_path / "data").exists()


# ---- the board ----


class Rows(HTMLParser):
    """Reads the rows of the lanes: for each the head, and how many columns its cells take."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.inside, self.rows, self.spans = False, [], []
        self.feed(page)

    def handle_starttag(self, tag, given):
        at = dict(given)
        if tag == "table":
            self.inside = (at.get("class") or "").startswith("lanes")
        if self.inside and tag == "tr":
            self.rows.append([])
        if self.inside and self.rows and tag in ("td", "th"):
            name = "row" if at.get("scope") in ("row", "rowgroup") else ""
            self.rows[-1].append((name, int(at.get("colspan", 1)), int(at.get("rowspan", 1)), at.get("class", "")))

    def handle_endtag(self, tag):
        if tag == "table":
            self.inside = False


def test_every_row_of_a_day_fills_the_same_hours_and_bars_stand_where_their_times_are(greta):
    """Reckoned by hand: the first departure is 08:05 and the last fill ends 14:57, so 08:00 to 15:00, 84 columns."""
    rows = Rows(greta.page()).rows
    assert len(rows) > 15
    for row in rows:
        assert sum(span for name, span, _, _ in row if not name) == 84, row
    first = next(row for row in rows if any("outing" in kind for *_, kind in row))
    before = 0
    for name, span, _, kind in first:
        if kind == "bar outing":
            # The Terns are on site from 08:30, 45 minutes before 09:15, to 12:22, 30 after the last is out at 11:52.
            assert (before, span) == (6, 46)
            break
        before += 0 if name else span
    else:
        pytest.fail("no bar")


def test_the_board_tells_in_words_who_goes_where_when_and_why_there(greta):
    page = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", greta.page()))
    for wanted in (
        "17 of 20 dives have a place",
        "Terns, dives 1 to 2",
        "out by 10:07",
        "Luca Benti leads; Nadia Petit, Owen Marsh, Keiko Arai, Hana Novak",
        "Ines Faro (directs), Yusuf Demir, Greta Holm (oxygen)",
        "White bus",
        "It still fits when the first dive goes in up to 35 min later.",
        "Nobody has seen or forecast the sea for this day.",
        "Shearwaters, dives 1, 2",
        "Ines Faro would have worked seven days in seven",
        "Terns, dives 1 to 2: Tuesday 8 December instead of Monday 7 December.",
        "The drive to Stair Ledge is not entered",
    ):
        assert wanted in re.sub(r"\s+", " ", page).replace(" ,", ",").replace(" ;", ";").replace(" leads", " leads"), (
            wanted
        )


def test_every_bar_leads_to_something_on_the_page(greta):
    for address in (TUESDAY, f"{BOARD}?day=2026-12-12", f"{BOARD}?day=2026-12-10"):
        page = greta.page(address)
        wanted = set(re.findall(r'<td[^>]*class="bar [^"]*"><a href="#([^"]+)"', page))
        assert wanted and wanted <= set(re.findall(r'id="([^"]+)"', page))


def test_all_days_stand_side_by_side_and_a_day_that_is_none_of_them_is_refused(greta):
    page = greta.page(f"{BOARD}?day=all")
    assert page.count('scope="col"') >= 14 and "Skuas" in page and "ashore, Gull Cove" in page
    assert "2026-12-20 is not one of these days" in greta.page(f"{BOARD}?day=2026-12-20", 400)
    assert "cannot be read" in greta.page(f"{BOARD}?day=soon", 400)
    assert "No outing on this day" in greta.page(f"{BOARD}?day=2026-12-13")


def test_on_one_of_its_days_the_board_opens_on_that_day(tmp_path, store, folder):
    keep_week(store, folder)
    app = create_app(
        folder, clock=lambda: datetime(2026, 12, 8, 9, tzinfo=UTC), records=tmp_path / "records", store=store
    )
    assert '<h2 id="board">Tuesday 8 December 2026</h2>' in Visitor(app).page(BOARD)


def test_a_kept_result_that_cannot_be_read_is_told_and_hides_nothing_else(greta, store, folder, monkeypatch):
    from tripplan.store import schedules

    monkeypatch.setattr(schedules, "SHAPE", 2)
    page = greta.page(BOARD)
    assert "The last result cannot be shown" in page and "Make the schedule" in page


# ---- changes ----


def test_one_click_pins_an_outing_as_it_is_and_asks_for_a_new_schedule(greta, store, app, folder):
    answer = greta.press("Pin as it is", after="Terns, dives 1 to 2")
    assert answer.status_code == 303 and answer.headers["Location"].endswith(TUESDAY)
    assert edits_of(store, SLUG).edits == (
        {"do": "pin", "group": "Terns", "dives": [1, 2], "day": "2026-12-08", "site": "stair-ledge", "entry": "09:15",
         "leader": "Luca Benti", "assistants": []},
    )  # fmt: skip
    assert latest(store, SLUG).state == "waiting" and app.extensions["tripplan_worker"].urls == [store.url]
    do(store, folder)
    page = greta.page()
    assert latest(store, SLUG).state == "done" and "Make it again" in page
    assert "Dives 1 and 2 of Terns are settled" in page and "Unpin" in page
    greta.press("Unpin", after="Terns, dives 1 to 2")
    assert edits_of(store, SLUG).edits[1] == {"do": "unpin", "group": "Terns", "dives": [1, 2]}


@pytest.mark.parametrize(
    ("button", "after", "edit"),
    [
        ("Not on Tue 8", "Skuas, dive 1", {"do": "exclude", "group": "Skuas", "day": "2026-12-08"}),
        ("Not at Stair Ledge", "Skuas, dive 1", {"do": "exclude", "group": "Skuas", "site": "stair-ledge"}),
        ("Not with Asha Rao", "Skuas, dive 1", {"do": "exclude", "group": "Skuas", "person": "Asha Rao"}),
        ("Away on this day", "<b>Luca Benti</b>:",
         {"do": "absent", "person": "Luca Benti", "days": ["2026-12-08"], "because": ""}),
        ("Closed on this day", "Ashore: Ines Faro",
         {"do": "close_site", "site": "stair-ledge", "days": ["2026-12-08"], "because": "closed on the board"}),
    ],
)  # fmt: skip
def test_each_button_asks_for_just_what_it_says(greta, store, button, after, edit):
    assert greta.press(button, after=after).status_code == 303
    assert edits_of(store, SLUG).edits == (edit,)


def test_a_reason_is_kept_with_the_change(greta, store):
    greta.press("Closed on this day", after="Ashore: Ines Faro", because="big swell")
    assert edits_of(store, SLUG).edits[0]["because"] == "big swell"
    assert "big swell" in greta.page() and "Open after all" in greta.page()
    greta.press("Not with Asha Rao", because="she asked")
    assert edits_of(store, SLUG).words.endswith("Because: she asked.")
    assert "Because: she asked." in greta.page(f"{BOARD}/history")


def test_what_would_fit_is_tried_by_a_button_where_a_button_can_do_it(app, store, folder):
    can = Change("It would fit if Asha Rao worked on Sunday.", "crew",
                 {"edits": [{"do": "work_day", "person": "Asha Rao", "day": "2026-12-13"}]})  # fmt: skip
    cannot = Change("It would fit with another tide.", "day", {})
    unplaced = (Unplaced("Shearwaters", (1, 2), ("Nobody works.",), (can, cannot)),)
    keep_week(store, folder, replace(sample_schedule(), unplaced=unplaced))
    visitor = Visitor(app)
    assert visitor.page().count("Try this") == 1
    visitor.press("Try this")
    assert edits_of(store, SLUG).edits == ({"do": "work_day", "person": "Asha Rao", "day": "2026-12-13"},)


def test_a_change_is_taken_back_and_stays_among_the_versions(greta, store):
    greta.press("Not on Tue 8")
    greta.press("Not with Asha Rao")
    assert greta.send("change", take_back="0").status_code == 303
    assert [each["do"] for each in edits_of(store, SLUG).edits] == ["exclude"]
    assert edits_of(store, SLUG).edits[0]["person"] == "Asha Rao"
    assert len(edit_versions(store, SLUG)) == 3 and "Taken back:" in greta.page(f"{BOARD}/history")
    assert greta.send("change", take_back="7").status_code == 400


@pytest.mark.parametrize(
    ("edits", "said"),
    [
        ("", "cannot be read"),
        ("{", "cannot be read"),
        ('[{"do": "fly"}]', "accepted"),
        ('[{"do": "absent", "person": "Zed Zimmer", "days": ["2026-12-08"]}]', "not in the crew"),
        ('[{"do": "absent", "person": "Ines Faro", "days": ["2027-12-08"]}]', "is not one of these days"),
        ('[{"do": "unpin", "group": "Terns", "dives": [1]}]', "not settled"),
    ],
)
def test_a_change_that_does_not_fit_is_refused_in_words_and_nothing_is_begun(greta, store, edits, said):
    answer = greta.send("change", edits=edits)
    assert answer.status_code == 400 and "Nothing was changed." in words(answer) and said in words(answer)
    assert edits_of(store, SLUG) is None and latest(store, SLUG) is None


def test_who_changes_is_asked_for_and_nothing_that_was_asked_is_lost(app, store, folder):
    keep_week(store, folder)
    nobody = Visitor(app, by="")
    answer = nobody.press("Not with Asha Rao", because="she asked")
    page = words(answer)
    assert answer.status_code == 400 and "Say who you are" in page and edits_of(store, SLUG) is None
    carried = re.search(r'name="edits" value="(\[[^<>]*\])">', page)[1]
    because = re.search(r'name="because" value="([^"]*)"', page)[1]
    assert nobody.send("change", edits=carried, because=because, by="Greta Holm").status_code == 303
    assert edits_of(store, SLUG).by == "Greta Holm" and edits_of(store, SLUG).words.endswith("Because: she asked.")


def test_of_two_who_change_at_once_the_second_is_told_and_chooses(greta, app, store):
    ben = Visitor(app, "Ben Alder")
    read = ben.fields()
    greta.press("Not with Asha Rao")
    mine = json.dumps([{"do": "absent", "person": "Tom Okafor", "days": ["2026-12-08"]}])
    answer = ben.send("change", read, edits=mine)
    page = words(answer)
    assert answer.status_code == 409 and "Greta Holm" in page and "Tom Okafor is away on 8 December 2026" in page
    assert len(edit_versions(store, SLUG)) == 1
    version = re.search(r'name="version" value="(\d+)"', page)[1]
    assert ben.send("change", {**read, "version": version}, edits=mine).status_code == 303  # mine as well
    assert [each["do"] for each in edits_of(store, SLUG).edits] == ["exclude", "absent"]


def test_the_second_may_let_theirs_stand_and_keeps_his_among_the_versions(greta, app, store):
    ben = Visitor(app, "Ben Alder")
    read = ben.fields()
    greta.press("Not with Asha Rao")
    mine = json.dumps([{"do": "absent", "person": "Tom Okafor", "days": ["2026-12-08"]}])
    version = re.search(r'name="version" value="(\d+)"', words(ben.send("change", read, edits=mine)))[1]
    assert ben.send("theirs", {**read, "version": version}, edits=mine).status_code == 303
    assert [each["do"] for each in edits_of(store, SLUG).edits] == ["exclude"]
    assert [len(each.edits) for each in edit_versions(store, SLUG)] == [1, 2, 1]
    assert "given up: Tom Okafor is away" in ben.page(f"{BOARD}/history")


def test_a_button_that_is_pressed_twice_is_pressed_once(greta, store):
    fields = greta.fields()
    edits = json.dumps([{"do": "exclude", "group": "Skuas", "person": "Asha Rao"}])
    assert [greta.send("change", fields, edits=edits).status_code for _ in range(2)] == [303, 303]
    assert len(edit_versions(store, SLUG)) == 1


def test_where_the_file_changes_under_the_changes_nothing_is_made_until_somebody_takes_them_back(tmp_path, store):
    folder = week_folder(tmp_path)
    app = create_app(folder, clock=lambda: NOW, records=tmp_path / "records", store=store)
    keep_week(store, folder)
    greta = Visitor(app)
    greta.press("Not with Asha Rao", after="Skuas, dive 1")
    ask_stop(store, latest(store, SLUG).number)
    file = folder / "schedules" / f"{SLUG}.toml"
    file.write_text(file.read_text(encoding="utf-8").replace('name = "Skuas"', 'name = "Gulls"'), encoding="utf-8")
    page = greta.page()
    assert "no longer fits" in page and "has changed since this was made" in page
    assert greta.send("make", seconds="20").status_code == 400 and latest(store, SLUG).state == "stopped"
    assert greta.press("Not on Tue 8", after="Terns, dives 1 to 2").status_code == 400
    assert greta.send("change", take_back="0").status_code == 303
    assert "no longer fits" not in greta.page() and latest(store, SLUG).open


# ---- the solve as it goes ----


def test_a_schedule_is_asked_for_once_and_the_page_shows_how_far_it_is_without_script_too(greta, store, folder):
    assert greta.send("make", seconds="180.0").status_code == 303
    assert greta.send("make", seconds="20").status_code == 303
    job = latest(store, SLUG)
    assert (job.number, job.seconds, job.by) == (1, 180.0, "Greta Holm")
    assert "It waits for a program" in greta.page() and "Look again" in greta.page()
    take(store, job.number, "w1")
    assert "worked out first" in greta.page()
    write_progress(store, job.number, Progress(12.4, 8, 20, 7240, 7600, "8 of 20"))
    found = "Best so far: 8 of 20 dives have a place, 7240 points; more than 7600 are not possible."
    said = f"{found} 12 s of at most 180 s."
    assert said in greta.page()
    told = greta.client.get(f"{BOARD}/job").get_json()
    assert told["open"] and told["words"] == said and (told["placed"], told["bound"]) == (8, 7600)
    greta.send("stop")
    assert latest(store, SLUG).stop and "ends with the best it has" in greta.page()
    finish(store, replace(job, worker="w1"), "done")
    assert not greta.client.get(f"{BOARD}/job").get_json()["open"]


def test_only_a_page_that_waits_runs_a_script_and_none_stands_in_the_page(greta):
    assert "script-src 'none'" in greta.client.get(BOARD).headers["Content-Security-Policy"]
    assert "<script" not in greta.page()
    greta.send("make", seconds="20")
    answer = greta.client.get(BOARD)
    assert "script-src 'self'" in answer.headers["Content-Security-Policy"]
    page = answer.get_data(as_text=True)
    assert re.findall(r"<script[^>]*>", page) == ['<script src="/static/schedule.js" defer>']
    assert not re.search(r"\s(style|on[a-z]+)=", page) and "<style" not in page


def test_a_worker_that_died_is_told_on_the_page_and_the_schedule_can_be_asked_for_again(greta, store):
    greta.send("make", seconds="20")
    job = latest(store, SLUG)
    take(store, job.number, "w1", datetime.now(UTC) - timedelta(seconds=DEAD_AFTER_S + 5))
    page = greta.page()
    assert "The last one was not made." in page and "has not answered since" in page and "Make it again" in page
    greta.send("make", seconds="20")
    assert latest(store, SLUG).number != job.number and latest(store, SLUG).open


# ---- the wall ----


def test_putting_one_on_the_wall_is_an_act_with_a_name_and_the_page_tells_when_another_hangs_there(
    greta, store, folder
):
    first = results_of(store, SLUG)[0].number
    assert "Nothing hangs on the wall yet" in greta.page()
    assert greta.send("publish", result=str(first), by="").status_code == 400 and published(store, SLUG) is None
    assert greta.send("publish", result=str(first)).status_code == 303
    assert published(store, SLUG).by == "Greta Holm" and "This one hangs on the wall" in greta.page()
    second = keep_week(store, folder, before=first)
    page = greta.page()
    assert "Not the one on the wall" in page and f"result={first}" in page
    assert "This one hangs on the wall" in greta.page(f"{TUESDAY}&result={first}")
    assert greta.send("publish", result="99").status_code == 400
    greta.send("publish", result=str(second))
    assert published(store, SLUG).result == second
    page = greta.page(f"{BOARD}/history")
    assert page.count("on the wall") == 1 and f"Number {first}" in page


# ---- to take along, and the day plan ----


def test_everything_to_take_along_is_there(greta):
    page = greta.client.get(BOARD).get_data(as_text=True)
    found = [unescape(each) for each in re.findall(rf'href="({BOARD}/[^"]+\.(?:pdf|csv|json|ics)[^"]*)"', page)]
    kinds = {}
    for address in found:
        answer = greta.client.get(address)
        assert answer.status_code == 200, address
        kinds.setdefault(answer.mimetype, []).append(answer.get_data())
    assert len(kinds["application/pdf"]) == 2 and all(each.startswith(b"%PDF") for each in kinds["application/pdf"])
    assert len(kinds["text/calendar"]) == 9 + 9  # nine of the crew, nine groups with a place
    assert all(b"BEGIN:VCALENDAR" in each for each in kinds["text/calendar"])
    assert json.loads(kinds["application/json"][0])["revision"] == "5c1e0fa2"
    assert kinds["text/csv"][0].count(b"Petrels") == 4
    assert greta.client.get(f"{BOARD}/crew.ics?person=Nobody").status_code == 404
    assert greta.client.get(f"{BOARD}/sheet.pdf?paper=a9").status_code == 400


def test_the_day_plan_of_a_trip_is_made_anew_and_told_where_it_says_something_else(greta):
    page = greta.page(f"{BOARD}/trips/2026-12-08-stair-ledge-1")
    assert "Stair Ledge" in page and "Terns: 1,2; Skuas: 1" in page and "Longest bottom time" in page
    assert "When the schedule was made it said" in page
    sheet = greta.client.get(f"{BOARD}/trips/2026-12-08-stair-ledge-1/sheet.pdf")
    assert sheet.get_data().startswith(b"%PDF")
    assert greta.client.get(f"{BOARD}/trips/nowhere").status_code == 404


def test_what_is_not_there_is_not_there(greta):
    for address in ("/schedules/none", f"{BOARD}?result=99", "/schedules/none/job", "/schedules/none/sheet.pdf"):
        assert greta.client.get(address).status_code == 404, address


# ---- who may see and do what ----


@pytest.fixture
def house(tmp_path, store, folder):
    accounts = Accounts(store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    app = create_app(folder, clock=lambda: NOW, records=tmp_path / "records", store=store, accounts=accounts)
    limits = Limits.of(app.extensions["tripplan_shelf"].folder.world.rules)
    for name, role in (("Ines Faro", "leader"), ("Ben Alder", "assistant")):
        accounts.add(name, role, PASSWORDS[name], by="the test", now=NOW, limits=limits)
    return app


def signed_in(app, name: str) -> Visitor:
    visitor = Visitor(app, name)
    page = visitor.client.get("/sign-in").get_data(as_text=True)
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)[1]
    form = {"csrf_token": token, "name": name, "password": PASSWORDS[name]}
    assert visitor.client.post("/sign-in", data=form).status_code == 303
    return visitor


def test_an_assistant_looks_without_health_and_changes_nothing(house, store, folder):
    private = "Nadia Petit's medical declaration is 500 days old; it holds 365 days."
    whole = sample_schedule()
    spoilt = replace(
        whole,
        trips=tuple(replace(trip, cautions=(private, "Nobody saw the sea.")) for trip in whole.trips),
        unplaced=(replace(whole.unplaced[0], because=(private,)),),
        notes=(private,),
    )
    keep_week(store, folder, spoilt)
    ben, ines = signed_in(house, "Ben Alder"), signed_in(house, "Ines Faro")
    assert private in ines.page() and "Not with Asha Rao" in ines.page()
    everything = [ben.page(), ben.page(BOARD), ben.page(f"{BOARD}/data.json"), ben.page(f"{BOARD}/table.csv")]
    for page in everything:
        assert "medical" not in page and "500 days" not in page
    assert "What they say is for the leader: ask." in everything[0] and "Nobody saw the sea." in everything[0]
    for button in ("Pin as it is", "Away on this day", "Put this one on the wall", "Make it again", "Try this"):
        assert button not in everything[0]
    form = {"csrf_token": re.search(r'name="csrf_token" value="([^"]+)"', ben.page("/account"))[1]}
    for what in ("change", "make", "stop", "publish", "theirs"):
        assert ben.client.post(f"{BOARD}/{what}", data=form).status_code == 403, what
    assert latest(store, SLUG) is None and edits_of(store, SLUG) is None


def test_a_form_without_its_token_changes_nothing(greta, store):
    for what in ("change", "make", "publish"):
        answer = greta.client.post(f"{BOARD}/{what}", data={"by": "Eve", "version": "0", "result": "1"})
        assert answer.status_code == 400 and "load it again" in words(answer)
    assert latest(store, SLUG) is None and published(store, SLUG) is None


def test_the_demonstration_s_own_folder_is_served_as_it_is(tmp_path, store):
    app = create_app(data_dir("sites"), clock=lambda: NOW, keep_young=True, records=tmp_path / "r", store=store)
    assert app.test_client().get("/schedules").status_code == 200


def test_a_day_plan_of_the_schedule_is_kept_as_a_request_once(greta):
    def listed() -> set[str]:
        return set(re.findall(r'id="r-([^"]+)"', greta.client.get("/requests").get_data(as_text=True)))

    trip, before = f"{BOARD}/trips/2026-12-08-stair-ledge-1", listed()
    token = re.search(r'name="csrf_token" value="([^"]*)"', greta.client.get(trip).get_data(as_text=True))[1]
    form = {"csrf_token": token, "by": ""}
    assert greta.client.post(f"{trip}/keep", data=form).status_code == 400
    assert listed() == before
    for said in ("is saved as version 1", "is there already"):  # the button is pressed twice
        answer = greta.client.post(f"{trip}/keep", data={**form, "by": "Greta Holm"}, follow_redirects=True)
        assert answer.status_code == 200 and said in words(answer)
    assert len(listed() - before) == 1
