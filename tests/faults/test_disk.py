"""A disk that is full or closed to writing: said in a sentence, nothing half written, all goes on once it is mended."""

from __future__ import annotations

import shutil
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.faults.conftest import BOARD, PAGE, Disk, Phone, entry, let_go, refused
from tripplan.data_files import data_dir
from tripplan.emergency.confirmed import Confirmation
from tripplan.store.database import Store, StoreFault, default_path, sqlite_url
from tripplan.store.folder import load_folder
from tripplan.store.people_file import people_toml, save_people
from tripplan.store.records import CannotKeep, Records

pytestmark = pytest.mark.sqlite_file("about the disk that the file lies on")
NOW = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)
HOW = pytest.mark.parametrize("how", ["full", "closed"])


LONG = [entry(f"while-{number:02}", text="x" * 1900) for number in range(30)]  # more than fits into the last page


def broken(disk: Disk, how: str) -> AbstractContextManager[None]:
    return disk.full() if how == "full" else disk.closed()


@HOW
def test_entries_of_a_phone_are_refused_with_a_sentence_and_taken_once_when_there_is_room_again(disk, how, apps):
    app = apps(disk.path)
    phone = Phone(app)
    assert phone.send(entry("before-1")).json["new"] == ["before-1"]
    if how == "closed":
        let_go(app)  # no disk is closed while a file on it is open for writing
    with broken(disk, how):
        answer = phone.send(*LONG)
        assert answer.status_code == 503 and "the store" in answer.json["error"]
        assert not {"new", "known"} & answer.json.keys()  # the phone drops only what the server names
        if how == "full":  # what is kept can still be read
            form = phone.form(kind="incident", text=f"Came up fast and holds the arm {'x' * 1900}")
            assert form.status_code == 503 and "Came up fast and holds the arm" in form.text
            assert phone.client.get(PAGE).status_code == phone.client.get(BOARD).status_code == 200
            assert phone.count() == 1
        else:
            page = phone.client.get(PAGE)
            assert page.status_code == 503 and "Nothing that was kept is lost" in page.text
    assert phone.send(*LONG).json["new"] == [one["uid"] for one in LONG]
    assert phone.count() == 31


@HOW
def test_a_store_that_cannot_be_made_is_told_and_the_plans_are_still_shown(disk, how, apps):
    phone = Phone(apps(disk.path, clock=None))
    with broken(disk, how):
        answer = phone.client.get(PAGE)
        assert answer.status_code == 503 and "cannot be opened" in answer.text
        assert "The store cannot be used now" in answer.text
        assert phone.client.get("/plan.txt?site=stair-ledge&date=2026-12-12&group=Terns").status_code == 200
    assert phone.client.get(PAGE).status_code == 200


@HOW
def test_an_edit_that_finds_no_room_leaves_the_version_before_it(disk, how):
    store = Store(sqlite_url(disk.path / "store.sqlite"))
    store.save_request("saturday-ledge", {"title": "First"}, None, "Ann", NOW)
    if how == "closed":
        store.close()
    with broken(disk, how), pytest.raises(StoreFault):
        store.save_request("saturday-ledge", {"title": "Second" * 20_000}, 1, "Ben", NOW)
    held = store.request("saturday-ledge")
    assert held is not None and (held.version, held.request) == (1, {"title": "First"})
    assert store.save_request("saturday-ledge", {"title": "Second"}, 1, "Ben", NOW) == 2
    store.close()


@HOW
def test_what_is_written_down_in_the_morning_is_whole_or_refused(disk, how):
    records = Records(disk.path / "records")
    right = Confirmation(NOW, "+44 1632 960112", "Control", "Ann", "right")
    records.confirm(right)
    told = 1
    with broken(disk, how), pytest.raises(CannotKeep, match="nothing was written down"):
        for _ in range(200):  # some lines still find room in the last page
            records.confirm(right)
            told += 1
    assert records.confirmed() == ((right,) * told, ())
    records.confirm(right)
    assert records.confirmed() == ((right,) * (told + 1), ())


@HOW
def test_the_list_of_people_is_the_old_one_where_the_new_one_finds_no_room(disk, how):
    folder = Path(shutil.copytree(data_dir("sites"), disk.path / "centre"))
    centre = load_folder(folder).centre
    file, text = folder / "centre" / "people.toml", people_toml(centre.roster.people.values())
    before = file.read_bytes()
    with broken(disk, how), pytest.raises(CannotKeep, match="nothing was changed"):
        save_people(file, text, NOW, centre.cards)
    assert file.read_bytes() == before
    assert [each.name for each in file.parent.glob("people*")] == ["people.toml"]
    assert save_people(file, text, NOW, centre.cards) is not None
    assert load_folder(folder).centre.roster.people == centre.roster.people


@HOW
def test_commands_say_in_one_line_that_there_is_no_room_and_leave_no_half_file(disk, how, run, tmp_path):
    folder = Path(shutil.copytree(data_dir("sites"), tmp_path / "centre"))
    store = Store(sqlite_url(default_path(folder)))
    store.save_request("another", {"title": "First"}, None, "Ann", NOW)
    table = disk.path / "people.csv"
    table.write_bytes(b"the table of yesterday")
    with broken(disk, how):
        refused(run("store", "backup", "--folder", folder, disk.path / "copy.sqlite"), "copy.sqlite")
        refused(run("people", folder, "--export", table), "people.csv")
    store.close()
    assert table.read_bytes() == b"the table of yesterday"
    assert not list(disk.path.glob("copy*"))
    assert run("store", "backup", "--folder", folder, disk.path / "copy.sqlite")[0] == 0
