"""The emergency pages: numbers confirmed in the morning, sheets and prints, which is the newest, where to look."""

from __future__ import annotations

import csv
import json
import re
import shutil
from base64 import b64encode
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from html import unescape
from io import BytesIO
from pathlib import Path
from time import sleep

import pytest

from tripplan.data_files import data_dir
from tripplan.documents.search_picture import search_rows
from tripplan.emergency.confirmed import Confirmation, digits_of
from tripplan.environment.position import read_position
from tripplan.language import languages
from tripplan.planning.action_sheet import facts_of, sheets_of_day
from tripplan.planning.drift import search_at
from tripplan.store.folder import load_folder
from tripplan.store.records import CannotKeep, Records
from tripplan.store.told import Teller, told_world
from tripplan.web import sheets
from tripplan.web.app import create_app

MORNING = datetime(2026, 12, 12, 8, 40, tzinfo=UTC)  # 07:40 by the clock of the sites, on a day with a request
DAY = date(2026, 12, 12)
COASTGUARD = ("+44 1632 960116", "Verrow Coastguard")


@dataclass
class House:
    """A centre of its own: a copy of the demonstration's folder, a clock that a test moves, and its app."""

    path: Path
    now: datetime = MORNING

    def __post_init__(self) -> None:
        self.start()

    def start(self) -> None:
        """Start the program, or start it again."""
        self.app = create_app(self.path, clock=lambda: self.now)
        self.client = self.app.test_client()

    def page(self, address: str, status: int = 200) -> str:
        answer = self.client.get(address)
        assert answer.status_code == status, answer.get_data(as_text=True)
        return unescape(answer.get_data(as_text=True))

    def edit(self, name: str, before: str, after: str, count: int = 1) -> None:
        file = self.path / name
        text = file.read_text(encoding="utf-8")
        assert before in text
        file.write_text(text.replace(before, after, count), encoding="utf-8")

    @property
    def lines(self) -> list[list[str]]:
        """The lines of the records, without their head."""
        file = self.path / "records" / "confirmed.csv"
        if not file.is_file():
            return []
        return list(csv.reader(file.read_text(encoding="utf-8").splitlines()))[1:]

    def token(self, address: str = "/sheets") -> str:
        return re.search(r'name="csrf_token" value="([^"]+)"', self.page(address))[1]

    def confirm(self, *tries: tuple[str, str, str, str], by: str = "Greta Holm", **more):
        """Send the form as a browser does: number, name, what was found and note of each row, some left empty."""
        rows = [*tries, ("+44 1632 960112", "Verrow emergency control", "", "")]
        columns = dict(zip(("number", "name", "found", "note"), map(list, zip(*rows, strict=True)), strict=True))
        data = {"csrf_token": self.token(), "date": "2026-12-12", "by": by, **columns, **more}
        return self.client.post("/sheets/confirm", data=data)


@pytest.fixture
def house(tmp_path) -> House:
    shutil.copytree(data_dir("sites"), tmp_path / "centre", ignore=shutil.ignore_patterns("records"))
    return House(tmp_path / "centre")


@pytest.fixture(scope="module")
def reader(tmp_path_factory) -> House:
    """A house in which nothing is written down: for pages that are only read."""
    path = tmp_path_factory.mktemp("reader") / "centre"
    shutil.copytree(data_dir("sites"), path, ignore=shutil.ignore_patterns("records"))
    return House(path)


def row_of(page: str, name: str) -> str:
    """Return the row of a number on the morning's page."""
    rows = [row for row in re.findall(r'<li class="try.*?</li>', page, re.DOTALL) if f"<bdi>{name}</bdi>" in row]
    assert len(rows) == 1
    return rows[0]


def main_of(page: str) -> str:
    return page[page.index("<main") : page.index("</main>")]


# ---- the morning ----


def test_the_sites_with_a_request_for_today_are_shown_with_their_dives(reader):
    page = reader.page("/sheets")
    assert "Emergency: Saturday 12 December 2026, today" in page
    assert "No request" not in page
    assert re.findall(r'<section class="card">\s*<h2><a href="[^"]*">(.*?)</a>', page) == ["Stair Ledge"]
    assert "Terns, dive 1: 11:50 to" in page


@pytest.mark.parametrize(
    ("now", "day", "sentence"),
    [
        (
            datetime(2026, 12, 6, 8, tzinfo=UTC),
            "Saturday 12 December 2026",
            "No request is for today, Sunday 6 December 2026. This is the next day that has one.",
        ),
        # Half an hour after midnight in universal time it is still the evening before at the sites.
        (datetime(2026, 12, 13, 0, 30, tzinfo=UTC), "Saturday 12 December 2026, today", ""),
        (
            datetime(2027, 1, 2, 8, tzinfo=UTC),
            "Saturday 2 January 2027, today",
            "No request is for today, Saturday 2 January 2027, or for a later day.",
        ),
    ],
)
def test_without_a_request_for_today_the_next_day_with_one_is_shown_and_said(reader, monkeypatch, now, day, sentence):
    monkeypatch.setattr(reader, "now", now)
    page = reader.page("/sheets")
    assert f"<h1>Emergency: {day}</h1>" in page
    assert sentence in page
    assert bool(sentence) == ("No request" in page)


def test_every_number_of_the_sites_stands_once_with_a_link_to_call_it(reader):
    page = reader.page("/sheets?site=stair-ledge&site=gull-cove&site=lake-orrin")
    sites = [load_folder(reader.path).sites[slug] for slug in ("stair-ledge", "gull-cove", "lake-orrin")]
    wanted = {
        (digits_of(line.number), line.name)
        for site in sites
        for line in (*site.contacts, *site.hospitals, *site.chambers)
    }
    rows = re.findall(r'<li class="try.*?</li>', page, re.DOTALL)
    shown = [(re.search(r'href="tel:([^"]*)"', row)[1], re.search(r"<bdi>(.*?)</bdi></b>", row)[1]) for row in rows]
    assert len(shown) == len(wanted)
    assert set(shown) == wanted
    assert f"0 of {len(wanted)} numbers found right today." in page


def test_a_number_says_for_which_of_the_sites_it_is(reader):
    page = reader.page("/sheets?site=stair-ledge&site=lake-orrin")
    assert "For Stair Ledge, Lake Orrin" in row_of(page, "Verrow emergency control")
    assert "For Lake Orrin" in row_of(page, "Orrin park rangers")


def test_a_number_of_two_sites_is_as_old_as_its_older_check_and_says_so_in_bold(house):
    house.edit("lake-orrin.toml", "checked = 2026-11-20", "checked = 2026-10-20")
    for order in ("site=lake-orrin&site=stair-ledge", "site=stair-ledge&site=lake-orrin"):
        row = row_of(house.page(f"/sheets?{order}"), "Verrow emergency control")
        assert "checked 20 Oct 2026 by Ana Lund, which is too long ago." in row and 'class="status open"' in row
    assert 'class="status">' in row_of(house.page("/sheets"), "Verrow emergency control")


def test_numbers_stand_in_the_order_of_calling_whichever_site_comes_first(reader):
    page = reader.page("/sheets?site=lake-orrin&site=stair-ledge")
    names = re.findall(r"<bdi>([^<]*)</bdi></b></p>", page)
    assert names[0] == "Verrow emergency control"
    assert names.index("Verrow Coastguard") < names.index("Verrow police station") < names.index("Verrow General")


def test_other_sites_can_be_ticked_and_one_that_is_dived_and_left_out_is_named(reader):
    page = reader.page("/sheets?date=2026-12-12&site=old-slip")
    assert re.search(r'value="old-slip" checked', page)
    assert not re.search(r'value="stair-ledge" checked', page)
    assert "Also dived on this day, and not on this page: Stair Ledge." in page
    assert "Also dived" not in reader.page("/sheets?date=2026-12-12&site=old-slip&site=stair-ledge")


def test_a_day_without_sites_asks_for_some(reader):
    page = reader.page("/sheets?date=2026-12-30")
    assert "Tick the sites that you dive" in page
    assert '<form class="tries"' not in page


def test_another_day_than_today_says_for_what_a_confirmation_counts(reader):
    assert "What you find now counts as confirmed on the sheets of today" in reader.page(
        "/sheets?date=2026-12-05&site=the-gut"
    )
    assert "This day is past:" in reader.page("/sheets?date=2026-12-05&site=the-gut")
    assert "counts as confirmed" not in reader.page("/sheets")


def test_a_gauge_that_was_not_read_today_is_listed_until_it_is(house):
    page = house.page("/sheets")
    assert "Oxygen gauge of Oxygen box 1, beside the entry point, under the red blanket: last read 24 Nov 2026" in page
    assert "write the reading, the day and who read it into centre/emergency.toml" in page
    house.edit("centre/emergency.toml", "read = 2026-11-24", "read = 2026-12-12")
    page = house.page("/sheets")
    assert "Oxygen gauge of Oxygen box 1" not in page
    assert "Oxygen gauge of Oxygen box 2" in page


def test_a_unit_that_two_sites_count_on_is_named_once(reader):
    page = reader.page("/sheets?site=stair-ledge&site=lake-orrin")
    assert page.count("Oxygen box 1 is counted at Stair Ledge and at Lake Orrin: it can be at one of them only.") == 1


def test_open_roles_an_old_drill_and_an_uncounted_kit_are_listed(house):
    assert "Nobody is named for" in house.page("/sheets?site=old-slip")
    assert "Nobody is named for" not in house.page("/sheets?site=stair-ledge")
    house.edit("centre/emergency.toml", "held = 2026-10-24", "held = 2025-10-24")
    house.edit("centre/emergency.toml", "held = 2026-09-12", "held = 2025-09-12")
    house.edit("centre/emergency.toml", "checked = 2026-11-16", "checked = 2026-03-16")
    page = house.page("/sheets")
    assert "A drill is overdue" in page
    assert "Red rescue bag, beside the oxygen: counted 16 March 2026" in page


def test_a_site_without_oxygen_shows_its_stop_on_the_morning_page_and_on_the_sheet(house):
    house.edit(
        "centre/emergency.toml", 'kept = "beside the entry point', 'site = "old-slip"\nkept = "beside the entry point'
    )
    house.edit("centre/emergency.toml", 'kept = "in the van', 'site = "old-slip"\nkept = "in the van')
    for address in ("/sheets", "/sheets/stair-ledge"):
        assert re.search(r"■ STOP</b> No oxygen unit is on record for this site", house.page(address))


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("date=12.12.2026", 'Date "12.12.2026" is not a date; write it like 2026-12-12.'),
        ("date=2031-12-12", "Date 2031-12-12 is more than 730 days from today."),
        ("site=nowhere", 'Site "nowhere" is not in the catalogue; known: gull-cove, lake-orrin'),
    ],
)
def test_a_day_or_site_that_cannot_be_used_is_refused_and_the_form_stays(reader, query, sentence):
    page = reader.page(f"/sheets?{query}", 400)
    assert sentence in page
    assert 'name="date"' in page and 'name="site"' in page


# ---- what was found ----


def test_a_confirmation_stands_at_once_on_the_page_the_sheet_and_the_plan(house):
    house.edit("stair-ledge.toml", "checked = 2026-11-20", "checked = 2026-09-20", 2)  # too long ago for the coastguard
    plan = "/plan.json?site=stair-ledge&date=2026-12-12&group=Terns&group=Skuas&asked=yes"

    def judged() -> str:
        checks = house.client.get(plan).get_json()["checks"]
        return next(c["outcome"] for c in checks if c["rule"] == "contact-fresh" and c["subject"] == COASTGUARD[1])

    assert judged() == "caution"
    assert "which is too long ago" in row_of(house.page("/sheets"), COASTGUARD[1])
    answer = house.confirm((*COASTGUARD, "right", "desk 2"))
    assert answer.status_code == 303
    page = house.page(answer.headers["Location"])
    row = row_of(page, COASTGUARD[1])
    assert "Confirmed today 07:40 by Greta Holm. desk 2<" in row and "●" in row
    assert "1 try was written down." in page
    assert "1 of 9 numbers found right today." in page
    assert 'name="by" value="Greta Holm"' in page
    assert "confirmed today 07:40 by Greta Holm. desk 2" in house.page("/sheets/stair-ledge")
    assert judged() == "ok"
    assert house.lines == [["2026-12-12T08:40:00+00:00", *COASTGUARD, "Greta Holm", "right", "desk 2"]]


@pytest.mark.parametrize(
    ("found", "on_page", "on_sheet"),
    [
        ("no_answer", "Did not answer. Tried today 07:40 by Greta Holm", "DID NOT ANSWER today 07:40"),
        ("wrong", "Is a wrong number. Tried today 07:40 by Greta Holm", "WRONG NUMBER, found today 07:40"),
        (
            "closed",
            "Takes no casualties today. Tried today 07:40 by Greta Holm",
            "TAKES NO CASUALTIES TODAY, told 07:40",
        ),
    ],
)
def test_what_was_not_right_is_said_as_plainly(house, found, on_page, on_sheet):
    house.confirm((*COASTGUARD, found, ""))
    page = house.page("/sheets")
    assert on_page in row_of(page, COASTGUARD[1])
    assert "■" in row_of(page, COASTGUARD[1])
    assert "0 of 9 numbers found right today." in page
    assert on_sheet in house.page("/sheets/stair-ledge")


def test_many_rows_go_in_one_form_and_the_last_word_on_a_number_counts(house):
    house.confirm((*COASTGUARD, "no_answer", ""), ("+44 1632 960240", "Verrow General", "right", ""))
    house.now += timedelta(minutes=20)
    house.confirm((*COASTGUARD, "right", ""))
    page = house.page("/sheets")
    assert "2 of 9 numbers found right today." in page
    assert "Confirmed today 08:00" in row_of(page, COASTGUARD[1])
    assert len(house.lines) == 3


def test_a_telephone_of_two_places_is_confirmed_for_the_one_that_was_tried(house):
    house.confirm(("+44 1632 960270", "Verrow recompression chamber", "right", ""))
    page = house.page("/sheets")
    assert "Confirmed today" in row_of(page, "Verrow recompression chamber")
    assert "Not yet tried today" in row_of(page, "Verrow recompression chamber, duty attendant")


def test_what_was_found_yesterday_is_not_of_today(house):
    house.confirm((*COASTGUARD, "right", ""))
    house.now += timedelta(days=1)
    page = house.page("/sheets?site=stair-ledge")
    assert "Not yet tried today; checked 12 Dec 2026 by Greta Holm." in row_of(page, COASTGUARD[1])


def test_what_was_found_stays_when_the_program_is_started_again(house):
    house.confirm((*COASTGUARD, "right", ""))
    house.start()
    assert "Confirmed today 07:40 by Greta Holm" in row_of(house.page("/sheets"), COASTGUARD[1])


def test_what_another_program_writes_down_is_seen_without_starting_again(house, tmp_path):
    apart = tmp_path / "elsewhere" / "records"
    house.app = create_app(house.path, clock=lambda: house.now, records=apart)
    house.client = house.app.test_client()
    assert "Not yet tried" in row_of(house.page("/sheets"), COASTGUARD[1])
    Records(apart).confirm(Confirmation(MORNING, *COASTGUARD, "Yusuf Demir", "right"))
    assert "Confirmed today 07:40 by Yusuf Demir" in row_of(house.page("/sheets"), COASTGUARD[1])
    house.confirm((*COASTGUARD, "wrong", ""))
    assert len(Records(apart).confirmed()[0]) == 2
    assert house.lines == []


def test_the_demonstration_keeps_its_records_apart_from_what_ships(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    app = create_app(data_dir("sites"), clock=lambda: MORNING, keep_young=True)
    client = app.test_client()
    token = re.search(r'name="csrf_token" value="([^"]+)"', client.get("/sheets").get_data(as_text=True))[1]
    row = {"number": COASTGUARD[0], "name": COASTGUARD[1], "found": "right", "note": ""}
    answer = client.post("/sheets/confirm", data={"csrf_token": token, "by": "Greta Holm", **row})
    assert answer.status_code == 303
    assert [file.name for file in tmp_path.rglob("[!.]*") if file.is_file()] == ["confirmed.csv"]
    assert not (data_dir("sites") / "records").exists()


def test_the_form_goes_back_to_the_sites_that_were_chosen(house):
    answer = house.confirm((*COASTGUARD, "right", ""), date="2026-12-12", site=["stair-ledge", "old-slip"])
    assert answer.status_code == 303
    assert "site=stair-ledge&site=old-slip" in answer.headers["Location"]


def test_a_form_sent_twice_within_a_minute_is_written_down_once(house):
    for _ in range(2):
        answer = house.confirm((*COASTGUARD, "right", "desk  2"))
        assert answer.status_code == 303
    assert len(house.lines) == 1
    assert "it was written down the first time" in house.page(answer.headers["Location"])
    house.confirm((*COASTGUARD, "right", "desk 3"))  # another note is another try
    assert len(house.lines) == 2
    house.now += timedelta(minutes=2)
    house.confirm((*COASTGUARD, "right", "desk 3"))
    assert len(house.lines) == 3


def test_a_button_pressed_four_times_at_once_writes_one_line(house, monkeypatch):
    token = house.token()
    read = Records.confirmed

    def slowly(records: Records):
        found = read(records)
        sleep(0.1)  # long enough for another press to read the same
        return found

    monkeypatch.setattr(Records, "confirmed", slowly)
    cookie = house.client.get_cookie(house.app.config["SESSION_COOKIE_NAME"])
    row = {"number": COASTGUARD[0], "name": COASTGUARD[1], "found": "right", "note": ""}

    def press(_: int) -> int:
        client = house.app.test_client()
        client.set_cookie(cookie.key, cookie.value)
        return client.post("/sheets/confirm", data={"csrf_token": token, "by": "Greta Holm", **row}).status_code

    with ThreadPoolExecutor(4) as together:
        assert list(together.map(press, range(4))) == [303] * 4
    assert len(house.lines) == 1


@pytest.mark.parametrize(
    ("row", "by", "sentence"),
    [
        ((*COASTGUARD, "right", "kept note"), "", "Who tried the numbers is missing"),
        (
            (*COASTGUARD, "right", "kept note"),
            "x" * 61,
            "The name must be 1 to 60 letters that can be printed; it has 61.",
        ),
        ((*COASTGUARD, "right", "kept note"), "Greta\x07Holm", "letters that can be printed"),
        ((*COASTGUARD, "perhaps", "kept note"), "Greta", '"perhaps" is not one of the answers'),
        ((*COASTGUARD, "", "kept note"), "Greta", "There is a note, but not what was found"),
        ((*COASTGUARD, "right", "kept note" * 30), "Greta", "The note must be at most 200 letters"),
        ((*COASTGUARD, "right", "kept\x00note"), "Greta", "The note must be at most 200 letters"),
        ((*COASTGUARD, "", ""), "Greta", "Nothing is filled in"),
    ],
)
def test_a_wrong_form_comes_back_as_it_was_and_nothing_is_written(house, row, by, sentence):
    answer = house.confirm(row, by=by)
    assert answer.status_code == 400
    page = unescape(answer.get_data(as_text=True))
    assert sentence in page
    assert "Nothing was written down yet" in page
    assert f'name="by" value="{by}"' in page
    shown = row_of(page, COASTGUARD[1])
    assert row[3] in shown
    assert (row[2] == "right") == ('value="right" selected' in shown)
    assert house.lines == []


def test_one_wrong_row_keeps_the_good_ones_waiting_in_the_form(house):
    answer = house.confirm((*COASTGUARD, "right", ""), ("+44 1632 960240", "Verrow General", "", "rang twice"))
    page = unescape(answer.get_data(as_text=True))
    assert answer.status_code == 400 and house.lines == []
    assert 'value="right" selected' in row_of(page, COASTGUARD[1])
    assert "aria-invalid" in row_of(page, "Verrow General") and "aria-invalid" not in row_of(page, COASTGUARD[1])


@pytest.mark.parametrize(
    "row",
    [
        ("+44 1632 960999", "Verrow Coastguard", "right", ""),
        ("+44 1632 960116", "Somebody else", "right", ""),
    ],
)
def test_a_number_of_no_site_is_not_written_down(house, row):
    answer = house.confirm(row)
    assert answer.status_code == 400
    assert "is on no list of a site here" in unescape(answer.get_data(as_text=True))
    assert house.lines == []


def test_a_form_that_did_not_arrive_whole_is_refused(house):
    answer = house.confirm((*COASTGUARD, "right", ""), note=["only one"])
    assert answer.status_code == 400
    assert "The form did not arrive whole" in answer.get_data(as_text=True)
    assert house.lines == []


def test_a_form_too_large_is_refused_in_plain_words(house):
    answer = house.confirm((*COASTGUARD, "right", "x" * 70_000))
    assert answer.status_code == 413
    assert "More was sent than a form of this program holds." in answer.get_data(as_text=True)


# ---- the token ----

STALE = "The page was open too long or the program was started again: go back, load it again and send it once more."


def test_a_form_without_its_token_is_refused_in_our_words(house):
    for given in ("", "made-up"):
        answer = house.confirm((*COASTGUARD, "right", ""), csrf_token=given)
        assert answer.status_code == 400
        assert STALE in answer.get_data(as_text=True)
    assert house.lines == []


def test_a_token_of_another_browser_is_refused(house):
    theirs = re.search(
        r'name="csrf_token" value="([^"]+)"', house.app.test_client().get("/sheets").get_data(as_text=True)
    )[1]
    assert house.confirm((*COASTGUARD, "right", ""), csrf_token=theirs).status_code == 400
    assert house.lines == []


def test_a_page_that_was_open_too_long_or_before_a_start_is_refused(house):
    token = house.token()
    house.app.config["WTF_CSRF_TIME_LIMIT"] = -1
    answer = house.confirm((*COASTGUARD, "right", ""), csrf_token=token)
    assert answer.status_code == 400 and STALE in answer.get_data(as_text=True)
    house.start()
    answer = house.confirm((*COASTGUARD, "right", ""), csrf_token=token)
    assert answer.status_code == 400 and STALE in answer.get_data(as_text=True)
    assert house.lines == []


def test_the_form_works_behind_a_server_that_speaks_https(house):
    """Pages send no referrer, which must not be asked for there."""
    page = house.client.get("/sheets", base_url="https://plans.example").get_data(as_text=True)
    token = re.search(r'name="csrf_token" value="([^"]+)"', page)[1]
    row = {"number": COASTGUARD[0], "name": COASTGUARD[1], "found": "right", "note": ""}
    data = {"csrf_token": token, "by": "Greta Holm", **row}
    assert house.client.post("/sheets/confirm", data=data, base_url="https://plans.example").status_code == 303


def test_two_folders_served_on_one_machine_do_not_share_a_cookie(house, tmp_path):
    shutil.copytree(house.path, tmp_path / "other")
    other = create_app(tmp_path / "other")
    assert house.app.config["SESSION_COOKIE_NAME"] != other.config["SESSION_COOKIE_NAME"]


# ---- when nothing can be written ----


def test_a_disk_that_takes_nothing_says_so_and_loses_nothing(house, monkeypatch):
    def full(*_: object) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("tripplan.store.records._append", full)
    answer = house.confirm((*COASTGUARD, "right", "desk 2"))
    assert answer.status_code == 500
    page = unescape(answer.get_data(as_text=True))
    assert "could not be written down" in page and "Read-only file system" in page
    row = row_of(page, COASTGUARD[1])
    assert 'value="right" selected' in row and 'value="desk 2"' in row
    assert 'name="by" value="Greta Holm"' in page
    assert "Not yet tried today" in row


def test_rows_written_before_the_disk_fails_are_told_from_those_that_are_not(house, monkeypatch):
    from tripplan.store import records

    write, calls = records._append, []

    def filling(file: Path, line: str) -> None:
        calls.append(line)
        if len(calls) > 1:
            raise OSError(28, "No space left on device")
        write(file, line)

    monkeypatch.setattr("tripplan.store.records._append", filling)
    page = unescape(
        house.confirm((*COASTGUARD, "right", ""), ("+44 1632 960240", "Verrow General", "wrong", "")).get_data(
            as_text=True
        )
    )
    assert "1 try was written down before it failed." in page
    assert "Confirmed today 07:40" in row_of(page, COASTGUARD[1])
    assert "selected" not in row_of(page, COASTGUARD[1])
    assert 'value="wrong" selected' in row_of(page, "Verrow General")


# ---- paper and pocket ----


def printed(house: House) -> list[str]:
    return sorted(file.name for file in (house.path / "records" / "printed").glob("*"))


def test_all_sheets_of_a_day_come_as_one_print_and_are_kept(house):
    from pypdf import PdfReader

    answer = house.client.get("/sheets.pdf?date=2026-12-12&site=stair-ledge&site=old-slip&paper=letter")
    assert answer.status_code == 200 and answer.mimetype == "application/pdf"
    pdf = PdfReader(BytesIO(answer.data))
    assert (float(pdf.pages[0].mediabox.width), float(pdf.pages[0].mediabox.height)) == (612, 792)
    text = "".join(page.extract_text() for page in pdf.pages)
    assert "Stair Ledge" in text and "Old Slip" in text
    revisions = re.findall(r"<code>([0-9a-f]{8})</code>", house.page("/sheets?site=stair-ledge&site=old-slip"))
    assert printed(house) == sorted(
        f"{slug}-2026-12-12-{revision}.json"
        for slug, revision in zip(("stair-ledge", "old-slip"), revisions, strict=True)
    )


def test_without_sites_those_with_a_request_are_printed(house):
    answer = house.client.get("/sheets.pdf?date=2026-12-12")
    assert "stair-ledge-2026-12-12" in answer.headers["Content-Disposition"]


@pytest.mark.parametrize("address", ["/sheets.pdf", "/sheets/pocket.html"])
@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("date=yesterday", 'Date "yesterday" is not a date; write it like 2026-12-12.'),
        ("site=nowhere", 'Site "nowhere" is not in the catalogue; known: gull-cove'),
        ("language=tlh", 'Language is "tlh"; accepted: en (English)'),
        (
            "date=2026-12-30",
            "No request is for Wednesday 30 December 2026: name the sites with site=...; known: gull-cove",
        ),
    ],
)
def test_a_file_for_what_is_not_known_is_refused_with_what_is(reader, address, query, sentence):
    page = reader.page(f"{address}?{query}", 400)
    assert sentence in page


def test_a_paper_that_is_not_known_is_refused_with_those_that_are(reader):
    assert 'Paper "a5" is not known; accepted: a4, letter.' in reader.page("/sheets.pdf?paper=a5", 400)


@pytest.mark.parametrize(
    ("base", "address"),
    [
        ("http://localhost:8000", ""),
        ("http://127.0.0.1:8000", ""),
        ("http://127.8.0.1", ""),
        ("http://[::1]:8000", ""),
        ("http://10.0.0.4:8000", "http://10.0.0.4:8000"),
        ("http://plans.example", "http://plans.example"),
        ("http://[fd00::4]:8000", "http://[fd00::4]:8000"),
        ("http://" + ".".join(["x" * 60] * 4), ""),
    ],
)
def test_the_code_on_the_paper_leads_here_only_where_other_machines_can_reach(house, monkeypatch, base, address):
    given: list[str] = []

    def caught(*words: object) -> bytes:
        given.append(words[-1])
        return b"%PDF"

    monkeypatch.setattr(sheets, "action_sheets_pdf", caught)
    assert house.client.get("/sheets.pdf", base_url=base).status_code == 200
    assert given == [address]


def test_a_print_that_cannot_be_written_down_is_still_given(house, monkeypatch, caplog):
    def refuse(*_: object) -> None:
        raise CannotKeep("no room")

    monkeypatch.setattr(Records, "keep_printed", refuse)
    assert house.client.get("/sheets.pdf").data.startswith(b"%PDF")
    assert "a printed sheet was not written down: no room" in caplog.text


def test_the_pocket_file_is_for_saving_and_runs_its_own_script_only(house):
    answer = house.client.get("/sheets/pocket.html?date=2026-12-12&site=stair-ledge")
    assert answer.headers["Content-Disposition"].startswith("attachment")
    page = answer.get_data(as_text=True)
    policy = answer.headers["Content-Security-Policy"]
    script = re.search(r"<script>(.*)</script>", page, re.DOTALL)[1]
    assert f"script-src 'sha256-{b64encode(sha256(script.encode()).digest()).decode()}'" in policy
    assert "default-src 'none'" in policy
    inside = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', unescape(page))[1]
    assert f"{inside}; frame-ancestors 'none'" == policy
    assert len(printed(house)) == 1  # its revision can be compared too


# ---- is it the newest ----


def revision(house: House) -> str:
    return re.search(r"<code>([0-9a-f]{8})</code>", house.page("/sheets/stair-ledge?date=2026-12-12"))[1]


def checked(house: House, of: str, status: int = 200, **more: str) -> str:
    query = {"site": "stair-ledge", "date": "2026-12-12", "revision": of, **more}
    return main_of(house.page("/sheets/check?" + "&".join(f"{key}={value}" for key, value in query.items()), status))


def test_the_newest_sheet_is_current_whoever_confirmed_what(house):
    mine = revision(house)
    assert "● CURRENT" in checked(house, mine)
    assert "nobody has confirmed: Verrow emergency control, Verrow Coastguard" in checked(house, mine)
    house.confirm((*COASTGUARD, "right", ""))
    page = checked(house, mine.upper())
    assert "● CURRENT" in page and "SUPERSEDED" not in page
    assert "Verrow Coastguard" not in page


def test_a_changed_number_supersedes_a_print_and_is_shown_beside_the_old_one(house):
    mine = revision(house)
    assert house.client.get("/sheets.pdf?date=2026-12-12&site=stair-ledge").status_code == 200
    house.edit("stair-ledge.toml", 'number = "+44 1632 960116"', 'number = "+44 1632 960117"')
    page = checked(house, mine)
    assert "■ SUPERSEDED" in page and "CURRENT" not in page
    rows = re.findall(r'<th scope="row">(.*?)</th><td [^>]*>(.*?)</td><td [^>]*><b>(.*?)</b>', page)
    assert rows == [("2. Coastguard, Verrow Coastguard", "+44 1632 960116; 24 h", "+44 1632 960117; 24 h")]
    assert revision(house) in page and revision(house) != mine
    house.start()
    assert "■ SUPERSEDED" in checked(house, mine)


def test_a_line_taken_out_is_shown_as_nothing_now(house):
    mine = revision(house)
    house.client.get("/sheets.pdf?date=2026-12-12&site=stair-ledge")
    house.edit("stair-ledge.toml", '[landmark]\nname = "South Head light"\nposition = "46.8296, -16.9861"\n', "")
    house.edit("stair-ledge.toml", 'vhf = "Channel 16 works from the ledge: take the hand-held down"\n', "")
    page = checked(house, mine)
    assert re.search(r"VHF</th><td [^>]*>Channel 16 works.*?</td><td [^>]*><b>nothing</b>", page)


def test_a_print_that_differs_in_nothing_it_relies_on_is_superseded_all_the_same(house):
    folder = load_folder(house.path)
    world = told_world(folder, ["stair-ledge"], MORNING, Teller())
    sheet = sheets_of_day(DAY, ["stair-ledge"], folder.requests.values(), world)[0].sheet
    kept = house.path / "records" / "printed" / "stair-ledge-2026-12-12-00000000.json"
    kept.parent.mkdir(parents=True)
    kept.write_text(json.dumps({"facts": dict(facts_of(sheet))}), encoding="utf-8")
    page = checked(house, "00000000")
    assert "■ SUPERSEDED" in page and "None of the facts that its reader relies on differs" in page


def test_a_revision_never_printed_here_is_not_to_be_relied_on(house):
    page = checked(house, "deadbeef")
    assert "■ NOT KNOWN HERE" in page and "Treat the sheet in your hand as superseded." in page
    assert revision(house) in page


def test_a_site_that_is_gone_makes_its_sheets_void(house):
    mine = revision(house)
    (house.path / "stair-ledge.toml").unlink()
    page = checked(house, mine, 404)
    assert "■ NO SUCH SITE" in page and "Treat the sheet in your hand as superseded." in page
    assert "■ NO SUCH SITE" in checked(house, mine, 404, site="../../etc/passwd")


@pytest.mark.parametrize(
    ("query", "sentence", "kept"),
    [
        ("date=2026-12-12&revision=12345", '"12345" is not a revision', 'value="12345"'),
        ("date=2026-12-12&revision=xyzxyzxy", '"xyzxyzxy" is not a revision', 'value="xyzxyzxy"'),
        ("date=2026-12-12&revision=", '"" is not a revision', 'value="2026-12-12"'),
        ("date=soon&revision=deadbeef", 'Date "soon" is not a date', 'value="soon"'),
        ("date=&revision=deadbeef", 'Date "" is not a date', 'value="deadbeef"'),
        ("date=2020-01-01&revision=deadbeef", "more than 730 days", 'value="2020-01-01"'),
    ],
)
def test_what_cannot_be_compared_comes_back_with_a_sentence(reader, query, sentence, kept):
    page = main_of(reader.page(f"/sheets/check?site=stair-ledge&{query}", 400))
    assert sentence in page and kept in page
    assert "CURRENT" not in page and "SUPERSEDED" not in page


def test_the_empty_form_compares_nothing_yet(reader):
    page = main_of(reader.page("/sheets/check"))
    assert "Revision on the paper" in page
    assert "answer" not in page


# ---- the sheet as a page ----


def test_the_sheet_holds_what_the_worst_moment_needs(reader):
    page = reader.page("/sheets/stair-ledge?date=2026-12-12")
    order = [
        page.index(words)
        for words in ("FIRST MINUTE", "CALL FIRST", "WE ARE HERE", "NOT CONFIRMED TODAY", "What to say")
    ]
    assert order == sorted(order)
    assert 'href="tel:+441632960112"' in page and 'href="geo:46.83300,-16.97000"' in page
    for words in (
        "no gate code on file",
        "no landline on file",
        "Ines Faro",
        "MAYDAY",
        "Where to look",
        "<svg",
        "11:50",
    ):
        assert words in page
    assert "Nobody confirmed today: Verrow emergency control" in page


@pytest.mark.parametrize("code", [*languages()])
def test_the_sheet_is_said_in_every_language_and_marked_as_such(reader, code):
    page = reader.page(f"/sheets/stair-ledge?date=2026-12-12&language={code}")
    said = languages()[code]
    assert f'<article class="emergency" lang="{code}" dir="{said.direction}">' in page
    assert said.notice in page
    assert f"language={code}" in page and "paper=letter" in page
    others = set(re.findall(r'hreflang="(\w+)"', page))
    assert others == set(languages()) - {code}


def test_a_site_without_a_day_shows_its_next_one_or_today(reader):
    assert "Saturday 12 December 2026" in reader.page("/sheets/stair-ledge")
    page = reader.page("/sheets/old-slip")
    assert "No request at this site is for today" in page
    assert "no dives planned here" in page


def test_a_sheet_of_nowhere_or_no_day_is_refused(reader):
    reader.page("/sheets/nowhere", 404)
    assert 'Date "x" is not a date' in reader.page("/sheets/stair-ledge?date=x", 400)
    assert 'Language is "xx"; accepted: en (English)' in reader.page("/sheets/stair-ledge?language=xx", 400)


# ---- where to look ----


def test_the_search_tells_whom_to_call_before_anything_else(reader):
    page = main_of(reader.page("/sheets/stair-ledge/search?date=2026-12-12&at=12:10"))
    assert page.index("Tell the coastguard first.") < page.index("tel:+441632960116") < page.index("<form")
    assert page.index("<form") < page.index("<svg") < page.index('<table class="drift">')
    assert "A diver who holds on to the bottom" in page


def test_the_search_shows_the_reckoned_areas_for_place_and_time(reader):
    page = reader.page("/sheets/stair-ledge/search?date=2026-12-12&at=12:10&position=46 49.950 N, 16 58.200 W")
    folder = load_folder(reader.path)
    world = told_world(folder, ["stair-ledge"], MORNING, Teller())
    site = folder.sites["stair-ledge"]
    moment = datetime(2026, 12, 12, 13, 10, tzinfo=UTC)  # an hour behind universal time
    area = search_at(site, read_position("46 49.950 N, 16 58.200 W"), moment, world)
    shown = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in re.findall(r"<tr>(.*?)</tr>", page, re.DOTALL)]
    assert shown[1:] == search_rows(area, site.timezone)
    assert page.count("<tr>") == 13


def test_without_a_place_the_first_way_in_is_taken_and_both_ways_of_writing_one_are_read(reader):
    start = "46° 49.986' N, 016° 58.206' W"  # the steps, in the site file 46.8331, -16.9701
    asked = "/sheets/stair-ledge/search?date=2026-12-12&at=12:10"
    plain = reader.page(asked)
    assert f'value="{start}"' in plain
    for position in ("46.8331, -16.9701", "46 49.986 N, 16 58.206 W"):
        page = reader.page(f"{asked}&position={position}")
        assert re.findall(r"<tr>.*?</tr>", page, re.DOTALL) == re.findall(r"<tr>.*?</tr>", plain, re.DOTALL)


def test_before_a_time_is_given_there_is_a_form_and_no_area(reader):
    page = reader.page("/sheets/stair-ledge/search?date=2026-12-12")
    assert "Last seen at" in page and "<svg" not in page
    assert "Tell the coastguard first." in page


@pytest.mark.parametrize(
    ("query", "sentence", "kept"),
    [
        ("at=25:10", '"25:10" is not a time', 'value="25:10"'),
        ("at=noon", '"noon" is not a time', 'value="noon"'),
        ("at=", "The time is missing", ""),
        ("at=12:10&position=here", '"here" is not read as a position', 'value="here"'),
        ("at=12:10&position=95.0, 10.0", "Latitude is 95; it must be from -90 to 90 degrees.", 'value="95.0, 10.0"'),
        ("at=12:10&position=89.9, 10.0", "pole", 'value="89.9, 10.0"'),
        ("at=12:10&date=never", 'Date "never" is not a date', 'value="never"'),
        # On 28 March 2027 clocks of the Azores go from 00:00 to 01:00.
        ("at=00:30&date=2027-03-28", "The clock does not show 00:30 on this day", 'value="00:30"'),
    ],
)
def test_a_place_or_time_that_cannot_be_used_comes_back_under_the_number_to_call(reader, query, sentence, kept):
    page = reader.page(f"/sheets/stair-ledge/search?{query}", 400)
    assert sentence in page and kept in page
    assert "aria-invalid" in page and "<svg" not in page
    assert "tel:+441632960116" in page


def test_a_time_that_the_clock_shows_twice_is_said_to_be_the_first(reader):
    # On 31 October 2027 clocks of the Azores go from 01:00 back to 00:00; the first 00:30 is at 00:30 universal time.
    page = reader.page("/sheets/stair-ledge/search?at=00:30&date=2027-10-31")
    assert "The clock shows 00:30 twice on this day; the first of the two is taken." in page
    folder = load_folder(reader.path)
    site = folder.sites["stair-ledge"]
    world = told_world(folder, ["stair-ledge"], MORNING, Teller())
    area = search_at(site, read_position("46.8331, -16.9701"), datetime(2027, 10, 31, 0, 30, tzinfo=UTC), world)
    assert search_rows(area, site.timezone)[-1][4] in page


def test_a_lake_without_a_coastguard_says_whom_to_ask(reader):
    page = reader.page("/sheets/lake-orrin/search")
    assert "No coastguard that answers is on file here: ask this service who searches." in page
    assert "tel:+441632960112" in page


def test_a_coastguard_whose_number_was_found_wrong_stands_last_and_says_so(house):
    house.confirm((*COASTGUARD, "wrong", ""))
    page = main_of(house.page("/sheets/stair-ledge/search"))
    assert page.index("tel:+441632960112") < page.index("tel:+441632960116")
    assert "Is a wrong number. Tried today 07:40 by Greta Holm." in page


def test_a_site_without_any_rescue_service_shows_the_numbers_of_its_country(house):
    house.edit("stair-ledge.toml", 'role = "emergency"', 'role = "landowner"')
    house.edit("stair-ledge.toml", 'role = "coastguard"', 'role = "harbour"')
    house.edit("stair-ledge.toml", 'country = "XV" ', 'country = "PT" ')
    page = main_of(house.page("/sheets/stair-ledge/search"))
    assert "No rescue service is on file for this site." in page
    assert 'href="tel:112"' in page


def test_what_is_not_known_of_the_drift_is_said_above_the_picture(house):
    shutil.rmtree(house.path / "forecast")
    page = main_of(house.page("/sheets/stair-ledge/search?at=12:10"))
    gap = "How strong the wind is, or where it comes from, is not known"
    assert page.index(gap) < page.index("<svg")


def test_a_search_at_no_site_is_not_here(reader):
    reader.page("/sheets/nowhere/search", 404)


# ---- words that would be markup ----

HOSTILE = '"><script>alert(1)</script><img src=x onerror=y>'


def test_names_full_of_markup_are_shown_as_text_on_every_page(house):
    for name in ("Verrow Coastguard", "Verrow General"):
        house.edit("stair-ledge.toml", f'name = "{name}"', f'name = "<b onclick=x>{name}</b>"')
    house.edit("stair-ledge.toml", 'name = "Stair Ledge"', 'name = "<b onclick=x>Ledge</b>"')
    house.edit("centre/emergency.toml", 'name = "Oxygen box 1"', 'name = "<b onclick=x>Box</b>"')
    name = "<b onclick=x>Verrow Coastguard</b>"
    answer = house.confirm((COASTGUARD[0], name, "right", HOSTILE), by=HOSTILE[:60])
    assert answer.status_code == 303
    mine = revision(house)
    for address in (
        answer.headers["Location"],
        "/sheets/stair-ledge",
        "/sheets/stair-ledge/search?at=12:10",
        f"/sheets/check?site=stair-ledge&date=2026-12-12&revision={mine}",
        "/sheets/check?site=stair-ledge&date=2026-12-12&revision=deadbeef",
    ):
        page = house.client.get(address).get_data(as_text=True)
        assert "<b onclick" not in page and "<script" not in page and "<img" not in page
        assert "&lt;b onclick=x&gt;" in page


def test_an_address_full_of_markup_is_shown_as_text(reader):
    for address, names in (
        ("/sheets", ("date", "site", "by")),
        ("/sheets.pdf", ("date", "site", "paper", "language")),
        ("/sheets/pocket.html", ("date", "site", "language")),
        ("/sheets/check", ("site", "date", "revision")),
        ("/sheets/stair-ledge", ("date", "language")),
        ("/sheets/stair-ledge/search", ("date", "at", "position")),
    ):
        for name in names:
            page = reader.client.get(address, query_string={name: HOSTILE}).get_data(as_text=True)
            assert "<script>" not in page and "<img" not in page


def test_the_emergency_pages_stand_in_the_head_of_every_page(reader):
    assert '<a href="/sheets">Emergency</a>' in reader.page("/rules")
    assert '<a href="/sheets" aria-current="page">Emergency</a>' in reader.page("/sheets/stair-ledge")
