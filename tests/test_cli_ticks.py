"""The plan by command counts what instructors ticked in the store, and says where the request was edited meanwhile."""

from __future__ import annotations

import csv
import json
import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from tripplan.cli import main
from tripplan.data_files import data_dir
from tripplan.planning.progress import SkillTick
from tripplan.store.database import Store, default_path, sqlite_url
from tripplan.store.ticks import KeptTick, add_ticks

NOW = datetime(2026, 11, 26, 8, 0, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    shutil.copytree(data_dir("sites"), tmp_path / "centre")
    return tmp_path / "centre"


def store_of(folder: Path) -> Store:
    """Return the store in its usual place; on a server the command still looks for the file there."""
    path = default_path(folder)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch()
    return Store(sqlite_url(path))


def skills(capsys: pytest.CaptureFixture[str], folder: Path) -> tuple[set[str], str]:
    main(["plan", str(folder / "requests" / "beginners-cove.toml"), "--json"])
    printed = capsys.readouterr()
    checks = json.loads(printed.out)["checks"]
    return {check["outcome"] for check in checks if check["rule"] == "skills-open"}, printed.err


@pytest.mark.sqlite_file("the command looks for the file before it opens it")
def test_ticks_of_the_store_count_as_those_of_the_file_do(folder, capsys):
    file = folder / "centre" / "ticks.csv"
    rows = list(csv.DictReader(file.read_text(encoding="utf-8").splitlines()))
    assert "stop" not in skills(capsys, folder)[0]
    file.unlink()
    assert "stop" in skills(capsys, folder)[0]
    store = store_of(folder)
    given = [
        KeptTick(
            f"tick-{number:06}",
            NOW,
            row["course"],
            SkillTick(
                row["person"], row["skill"], int(row["dive"]), date.fromisoformat(row["day"]), row["by"], row["result"]
            ),
        )
        for number, row in enumerate(rows)
    ]
    add_ticks(store, given)
    store.close()
    assert "stop" not in skills(capsys, folder)[0]


@pytest.mark.sqlite_file("the command looks for the file before it opens it")
def test_a_request_that_was_edited_in_the_browser_is_told(folder, capsys):
    store = store_of(folder)
    store.save_request("beginners-cove", {}, None, "Greta Holm", NOW)
    store.close()
    assert "Greta Holm edited this request in the browser" in skills(capsys, folder)[1]


def test_a_store_that_is_none_is_refused_by_its_address(folder, capsys):
    request = str(folder / "requests" / "beginners-cove.toml")
    for address, said in (("elsewhere", "must begin with"), (f"sqlite:///{folder}/none.sqlite", "no store")):
        assert main(["plan", request, "--store", address]) == 2
        assert said in capsys.readouterr().err


def test_a_store_is_opened_on_the_kind_of_database_of_the_run(tmp_path, request):
    store = Store(sqlite_url(tmp_path / "kind.sqlite"))
    with store._reading() as connection:
        assert connection.dialect.name == request.node.callspec.params["kept_on"]
    store.close()
