"""The schedule by command is of the file as it stands, and says where it was changed in the browser meanwhile."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from tripplan.cli import main
from tripplan.data_files import data_dir
from tripplan.store.database import Store, default_path, sqlite_url
from tripplan.store.schedules import KeptEdits, save_edits

NOW = datetime(2026, 11, 26, 8, 0, tzinfo=UTC)
AWAY = {"do": "absent", "person": "Luca Benti", "days": ["2026-12-12"]}
ONE_DAY = """first_day = 2026-12-12
days = 1
sites = ["gull-cove"]
[centre]
position = "46.8790, -16.8420"
timezone = "Atlantic/Azores"
opens = "07:30"
closes = "19:00"
[[crew]]
name = "Luca Benti"
[[crew]]
name = "Greta Holm"
[[crew]]
name = "Yusuf Demir"
[[groups]]
name = "Skuas"
kind = "guided"
divers = ["Bruno Silva", "Eric Lund"]
[[groups.dives]]
depth_m = 12
minutes = 25
"""


@pytest.mark.sqlite_file("the command looks for the file before it opens it")
def test_changes_of_the_browser_are_told_and_not_made(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    folder = Path(shutil.copytree(data_dir("sites"), tmp_path / "centre"))
    asked = folder / "schedules" / "saturday.toml"
    asked.write_text(ONE_DAY, encoding="utf-8")
    path = default_path(folder)
    path.parent.mkdir(parents=True)
    store = Store(sqlite_url(path))
    try:
        last = date(2026, 12, 12)
        save_edits(store, KeptEdits("saturday", 0, (AWAY,), "away", NOW, "Ann", "m" * 64, last))
        assert main(["schedule", str(asked)]) == 0
        printed = capsys.readouterr()
        assert "Luca Benti leads" in printed.out
        assert printed.err == (
            f"{asked}: Ann edited this request in the browser; the file is planned here, as it stands\n"
        )
        save_edits(store, KeptEdits("saturday", 1, (), "here again", NOW, "Ann", "m" * 64, last))
        assert main(["schedule", str(asked)]) == 0
        assert capsys.readouterr().err == ""  # what was taken back is nothing to tell
    finally:
        store.close()
