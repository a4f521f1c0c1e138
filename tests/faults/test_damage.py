"""Files that a bad disk or a torn write has damaged: told in a sentence by pages and commands; nothing else falls."""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from tests.faults.conftest import BOARD, PAGE, Phone, entry, going_in, let_go, refused
from tripplan.data_files import data_dir
from tripplan.emergency.confirmed import Confirmation
from tripplan.planning.action_sheet import sheets_of_day
from tripplan.store.database import Store, default_path, sqlite_url
from tripplan.store.folder import load_folder
from tripplan.store.records import Records

pytestmark = pytest.mark.sqlite_file("about the bytes of the file")
NOW = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)


@pytest.fixture
def whole(tmp_path: Path, apps: Callable[..., Any]) -> tuple[Any, bytes]:
    """An app, and the bytes of its store with a plan, an edited request and entries in it."""
    app = apps(tmp_path)
    phone = Phone(app)
    phone.send(going_in("in-000001"), *(entry(f"note-{number:03}") for number in range(30)))
    store = app.extensions["tripplan_store"]
    store.save_request("another", {"title": "Another"}, None, "Ann", NOW)
    store.close()
    with closing(sqlite3.connect(tmp_path / "store.sqlite")) as plain:
        plain.execute("PRAGMA journal_mode = DELETE").fetchone()
    return app, (tmp_path / "store.sqlite").read_bytes()


def damaged(content: bytes, number: int) -> bytes:
    """Return the file cut short, with a page of noise, of nothing, or with some bits turned."""
    chance = random.Random(number)
    kind, at = number % 4, chance.randrange(len(content))
    if kind == 0:
        return content[:at]
    if kind == 1:
        return content[:at] + chance.randbytes(4096) + content[at + 4096 :]
    if kind == 2:
        return content[:at] + bytes(8192) + content[at + 8192 :]
    held = bytearray(content)
    for _ in range(200):
        held[chance.randrange(len(held))] ^= 1 << chance.randrange(8)
    return bytes(held)


def test_a_damaged_store_is_told_on_every_page_and_never_answered_with_a_fault_of_the_program(whole, tmp_path, caplog):
    app, content = whole
    phone, told = Phone(app), 0
    phone.token()
    for number in range(24):
        let_go(app)
        app.extensions.pop("tripplan_store", None)
        for remembered in ("tripplan_kept_days", "tripplan_held", "tripplan_local_events", "tripplan_store_refused"):
            app.extensions.pop(remembered, None)
        for ending in ("-wal", "-shm", "-journal"):
            (tmp_path / f"store.sqlite{ending}").unlink(missing_ok=True)
        (tmp_path / "store.sqlite").write_bytes(damaged(content, number))
        for answer in (phone.client.get(PAGE), phone.client.get(BOARD), phone.send(entry(f"more-{number:03}"))):
            assert answer.status_code in (200, 503), (number, answer.text[:500])
            if answer.status_code == 503:
                told += 1
                assert "store" in answer.text and "Traceback" not in answer.text
        assert phone.client.get("/requests").status_code == 200  # the files of the folder are there all the same
    assert told > 20
    assert not [record for record in caplog.records if record.exc_info]


def test_commands_tell_a_damaged_store_in_one_line_and_change_nothing(whole, tmp_path, run, monkeypatch):
    _, content = whole
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    folder = Path(shutil.copytree(data_dir("sites"), tmp_path / "centre"))
    path = default_path(folder)
    path.parent.mkdir(parents=True)
    for number in range(8):
        for each in path.parent.iterdir():
            each.unlink()
        path.write_bytes(held := damaged(content, number))
        code, _, err = run("store", "check", "--folder", folder)
        assert (code == 0 and not err) or (code == 2 and len(err.splitlines()) == 1), (number, err)
        code, _, err = run("store", "backup", "--folder", folder, tmp_path / f"copy-{number}")
        assert code == 0 or (code == 2 and len(err.splitlines()) == 1), (number, err)
        assert len(path.read_bytes()) >= len(held) or code == 0
    path.write_bytes(b"")
    refused(run("store", "check", "--folder", folder), "no store of this program")


# ---- what is written down as the day goes ----


@pytest.mark.parametrize(
    "spoilt", [b"\xff\xfe\x00\x01" * 50, b'2026-12-12T08:00:00+00:00,"+44', b"\x00" * 4096, b'"' * 9]
)
@pytest.mark.parametrize("after", [b"", b"\n"])
def test_noise_among_what_was_confirmed_costs_no_line_before_or_after_it(tmp_path, spoilt, after):
    records = Records(tmp_path)
    one = Confirmation(NOW, "+44 1632 960112", 'Control, "main"', "Ann", "right")
    records.confirm(one)
    with (tmp_path / "confirmed.csv").open("ab") as out:
        out.write(spoilt + after)
    records.confirm(one)
    found, faults = records.confirmed()
    assert found == (one, one) and len(faults) == 1 and faults[0].line == 3


def test_a_line_without_end_is_one_fault(tmp_path):
    (tmp_path / "confirmed.csv").write_text("x" * 300_000, encoding="utf-8")
    found, faults = Records(tmp_path).confirmed()
    assert found == () and len(faults) == 1


def test_a_sheet_whose_record_is_half_written_is_kept_anew_when_it_is_printed_again(tmp_path):
    folder = load_folder(data_dir("sites"))
    day = folder.requests["saturday-ledge"].date
    sheet = sheets_of_day(day, ["stair-ledge"], folder.requests.values(), folder.world)[0].sheet
    records = Records(tmp_path)
    records.keep_printed(sheet)
    (file,) = (tmp_path / "printed").glob("*.json")
    whole_text = file.read_text(encoding="utf-8")
    for spoilt in (whole_text[: len(whole_text) // 2], "", "[]", '{"facts": 3}', "\x00" * 100):
        file.write_text(spoilt, encoding="utf-8")
        assert records.printed(sheet.site, sheet.date, sheet.revision) is None
        records.keep_printed(sheet)
        assert json.loads(file.read_text(encoding="utf-8")) == json.loads(whole_text)


# ---- kept answers of services ----


def test_a_damaged_file_of_kept_answers_costs_an_answer_and_never_a_plan(tmp_path, monkeypatch):
    from tests.feeds.forecast_server import open_meteo, running
    from tripplan.feeds.forecasts import fetch_forecast
    from tripplan.feeds.session import CACHE_NAME, FeedSession
    from tripplan.feeds.settings import FeedSettings, OpenMeteoSettings

    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setattr("tripplan.feeds.session.FIRST_PAUSE_S", 0.01)
    moment = datetime.now(UTC)
    with running() as (server, address):
        for path, name in (("/v1/forecast", "open_meteo_forecast"), ("/v1/marine", "open_meteo_marine")):
            server.says(path, open_meteo(name, moment, 46.83, -16.97))
        feed = OpenMeteoSettings(use=True, host=address, marine_host=address, non_commercial=True)
        settings = FeedSettings(contact="office@verrow.example", wait_s=5.0, open_meteo=feed)
        session = FeedSession(settings, tmp_path)
        assert fetch_forecast(46.83, -16.97, settings, session, moment) is not None
        session.close()
        cache = tmp_path / CACHE_NAME
        content = cache.read_bytes()
        for number in range(12):
            for each in tmp_path.glob(f"{cache.name}-*"):
                each.unlink()
            cache.write_bytes(damaged(content, number))
            session = FeedSession(settings, tmp_path)
            found = fetch_forecast(46.83, -16.97, settings, session, moment)
            session.close()
            assert found is not None
            wind = [one for one in found.series if one.quantity == "wind_m_s"]
            assert wind or any("(weather)" in note.sentence for note in found.notes), number


def test_a_day_is_found_by_its_site_and_date_whatever_rows_were_spoilt(tmp_path):
    """A row that this program never wrote is told as damage, and the other days are read as before."""
    from tripplan.planning.event import Event
    from tripplan.store.database import StoreFault

    path = tmp_path / "store.sqlite"
    store = Store(sqlite_url(path))
    for number, day in enumerate((date(2026, 12, 11), date(2026, 12, 12))):
        store.add([Event(f"entry-{number:04}", NOW, day, "cove", "note", "Ann", text="t")], NOW)
    with closing(sqlite3.connect(path)) as plain:
        for (name,) in plain.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            plain.execute(f'DROP TRIGGER "{name}"')
        for column, value in (("at", "yesterday"), ("kind", "odd"), ("uid", "?"), ("text", b"\xff\xfe")):
            before = plain.execute(f'SELECT "{column}" FROM events WHERE day = ?', ("2026-12-12",)).fetchone()[0]
            plain.execute(f'UPDATE events SET "{column}" = CAST(? AS TEXT) WHERE day = ?', (value, "2026-12-12"))
            plain.commit()
            with pytest.raises(StoreFault, match=r"damaged|cannot be read"):
                store.events(date(2026, 12, 12))
            assert len(store.events(date(2026, 12, 11))) == 1
            plain.execute(f'UPDATE events SET "{column}" = ? WHERE day = ?', (before, "2026-12-12"))
            plain.commit()
    assert len(store.events(date(2026, 12, 12))) == 1
    store.close()
