"""The centre's kit and its packing lists as pages: what must not be used is a word, not only a colour."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime
from html import unescape

import pytest

from tripplan.data_files import data_dir
from tripplan.store.database import sqlite_url
from tripplan.web.app import create_app

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
# A store small enough to judge by hand, on 27 November 2026. With an inspection good for a year, and a test for five:
#   C1 held until 9 March 2027 by its inspection; C2 until 26 November 2026, a day too short; C3 until 27 November, just
#   long enough; C4 has no test on record; C5 leaks. A service good for a year: R1 until 1 June 2027, R2 not known.
STEEL = 'volume_l = 15.0, metal = "steel", working_bar = 232'
TESTED = "last_test = 2024-03-10"
KIT = f"""
cylinders = [
  {{ identity = "C1", {STEEL}, last_visual = 2026-03-10, {TESTED} }},
  {{ identity = "C2", {STEEL}, last_visual = 2025-11-27, {TESTED} }},
  {{ identity = "C3", {STEEL}, last_visual = 2025-11-28, {TESTED} }},
  {{ identity = "C4", volume_l = 10.0, metal = "aluminium", working_bar = 207, last_visual = 2026-03-10 }},
  {{ identity = "C5", {STEEL}, last_visual = 2026-03-10, {TESTED}, out_of_service = "valve <leaks>" }},
]
regulators = [
  {{ identity = "R1", serviced = 2026-06-02, has_second_stage_spare = true, has_pressure_gauge = true }},
  {{ identity = "R2", has_second_stage_spare = true, has_pressure_gauge = true }},
]
suits = [
  {{ identity = "W1", size = "M", mm = 7.0 }},
  {{ identity = "W2", size = "M", mm = 7.0 }},
  {{ identity = "W3", size = "L", mm = 7.0, out_of_service = "zip torn" }},
  {{ identity = "D1", size = "M", dry = true }},
]
masks = [ {{ count = 6 }}, {{ size = "child", count = 2 }} ]
fins = [ {{ size = "42-43", count = 5 }}, {{ size = "42-43", count = 1, out_of_service = "strap gone" }} ]
weights = [ {{ kg = 2.0, count = 7 }} ]
safety = [
  {{ thing = "float", count = 1, out_of_service = "punctured" }},
  {{ thing = "other", count = 1, notes = "recall horn" }},
]
"""


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "centre"
    shutil.copytree(data_dir("sites"), made)
    (made / "centre" / "kit.toml").write_text(KIT, encoding="utf-8")
    return made


@pytest.fixture
def client(folder, tmp_path):
    made = create_app(folder, clock=lambda: NOW, records=tmp_path / "records")
    made.extensions["tripplan_store_url"] = sqlite_url(tmp_path / "store.sqlite")
    yield made.test_client()
    if store := made.extensions.get("tripplan_store"):
        store.close()


def text(client, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status
    return answer.get_data(as_text=True)


def plain(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def pieces(page: str) -> dict[str, str]:
    """Return the line of each cylinder and regulator, in the order of the page."""
    found = re.findall(r'<tr class="\w+"><td class="value"><b>(.*?)</b>(.*?)</tr>', page, re.DOTALL)
    return {mark: plain(line) for mark, line in found}


def test_each_piece_says_in_words_whether_it_may_be_used_and_until_when(client):
    lines = pieces(text(client, "/kit"))
    assert "In service 9 March 2027" in lines["C1"] and "In service 27 November 2026" in lines["C3"]
    assert "STOP : is overdue: its inspection of 27 November 2025 held until 26 November 2026" in lines["C2"]
    assert "STOP : has no test on record" in lines["C4"]
    assert "STOP : is out of service: valve <leaks>" in lines["C5"]
    assert "In service 1 June 2027" in lines["R1"]
    assert "CAUTION : has no service on record not known" in lines["R2"]


def test_what_must_not_be_used_comes_first_and_then_what_runs_out_first(client):
    page = text(client, "/kit")
    assert list(pieces(page)) == ["C2", "C5", "C4", "C3", "C1", "R2", "R1"]
    assert "2 of 5 may be used on this day; 3 must not" in plain(page)


def test_on_another_day_the_dates_are_judged_for_that_day(client):
    lines = pieces(text(client, "/kit?date=2026-11-28"))
    assert "STOP" in lines["C3"] and "STOP" not in lines["C1"]
    page = text(client, "/kit?date=2026-11-26")
    assert "STOP" not in pieces(page)["C2"] and "This day is past" in page
    assert client.get("/kit?date=soon").status_code == 400


def test_sizes_are_counted_without_what_is_out_of_service_which_is_told(client):
    page = plain(text(client, "/kit"))
    assert "Suits, 7 mm M: 2 ; L: 0 (■ W3 is out of service: zip torn)" in page
    assert "Dry suits M: 1" in page and "Masks one size: 6 ; child: 2" in page
    assert "Fins, pairs 42-43: 5 (■ 1 out of service: strap gone)" in page
    assert "Weights 2 kg: 7" in page
    assert "■ STOP 1 × float, out of service: punctured" in page and "1 × recall horn" in page


def test_without_a_kit_file_nothing_is_said_to_be_in_order(client, folder):
    (folder / "centre" / "kit.toml").unlink()
    page = text(client, "/kit")
    assert "The kit is not on record" in page and "In service" not in page
    page = plain(text(client, "/kit/packing?request=saturday-ledge"))
    assert "not on record: count" in page and "nobody can say" in page and "none" not in page.split("Notes")[0]


# ---- packing ----


def test_every_request_from_today_on_leads_to_its_packing_list(client):
    for address in ("/kit", "/kit/packing"):
        page = text(client, address)
        for name in ("lake-altitude", "beginners-cove", "pier-morning", "saturday-ledge"):
            assert f'href="/kit/packing?request={name}"' in page


def test_the_packing_list_counts_what_everybody_needs_and_what_is_short(client):
    """By hand: the Terns are five with two dives each, the Skuas three with one dive: 13 cylinders, 8 regulators.

    Of the four cylinders of 15 litres only C1 is in service on 12 December; C3 ran out on 27 November.
    """
    page = plain(text(client, "/kit/packing?request=saturday-ledge"))
    assert "cylinder, 15 l, 220 bar, air 13 1 ■ 12 short C1" in page
    assert "regulator 8 2 ■ 6 short" in page
    assert "flag 2 0 ■ 2 short" in page
    assert "STOP Cylinders in service on 12 December 2026 are too few" in page


def test_what_must_stay_behind_is_named_with_why(client):
    page = plain(text(client, "/kit/packing?request=saturday-ledge"))
    stay = page.split("Must stay behind")[1].split("Each person")[0]
    for words in ("cylinder C2 is overdue", "cylinder C4 has no test", "cylinder C5 is out of service", "suit W3"):
        assert f"■ STOP {words}" in stay
    assert "C1" not in stay


def test_each_person_has_their_own_boxes_to_tick(client):
    page = text(client, "/kit/packing?request=saturday-ledge")
    mine = re.search(r"<h3><bdi>Bruno Silva</bdi>.*?</section>", page, re.DOTALL)[0]
    boxes = re.findall(r'<input type="checkbox"> <span>(.*?)</span>', mine)
    assert [re.split(r"[,: ]", words)[0] for words in boxes] == [
        "mask", "snorkel", "fins", "boots", "suit", "weights", "cylinder", "regulator", "buoyancy",
    ]  # fmt: skip
    assert boxes[2].startswith("fins, size 44")
    assert "<form" not in page  # nothing to send: the ticks are for paper


@pytest.mark.parametrize("name", ["nothing", "../centre", "<b>"])
def test_a_request_that_is_not_there_is_told(client, name):
    answer = client.get("/kit/packing", query_string={"request": name})
    assert answer.status_code == 400 and "No ready request is called" in answer.text and "<b>&#34;" not in answer.text


@pytest.mark.parametrize("address", ["/kit", "/kit/packing", "/kit/packing?request=beginners-cove"])
def test_the_pages_of_the_demonstration_say_so_and_run_no_script(client, address):
    page = text(client, address)
    assert "DEMONSTRATION" in page and "<script" not in page
    assert not re.search(r"\s(style|on[a-z]+)=", page)
