"""From a centre's folder to a plan: services asked over a real connection, files, and what was seen, put together."""

from __future__ import annotations

import json
import shutil
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from forecast_server import Reply, open_meteo, running

from tripplan.cli import main
from tripplan.data_files import data_dir
from tripplan.planning.day import plan_day
from tripplan.store.folder import load_folder
from tripplan.store.told import Teller, told_world

WEATHER, MARINE = "/v1/forecast", "/v1/marine"
HERE = (46.8330, -16.9700)


@pytest.fixture(autouse=True)
def alone(monkeypatch, tmp_path):
    for name in ("http_proxy", "https_proxy", "HTTP_PROXY", "HTTPS_PROXY", "all_proxy", "ALL_PROXY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr("tripplan.feeds.session.FIRST_PAUSE_S", 0.01)


@pytest.fixture
def centre(tmp_path) -> Path:
    folder = tmp_path / "centre-folder"
    shutil.copytree(data_dir("sites"), folder)
    shutil.rmtree(folder / "forecast")
    return folder


def asks(folder: Path, address: str) -> None:
    (folder / "centre" / "feeds.toml").write_text(
        'contact = "office@verrow.example"\nwait_s = 2.0\n[open_meteo]\nuse = true\nnon_commercial = true\n'
        f'host = "{address}"\nmarine_host = "{address}"\n[co_ops]\nuse = true\nhost = "{address}"\n',
        encoding="utf-8",
    )


def today_plan(folder_path: Path):
    folder = load_folder(folder_path)
    assert folder.faults == ()
    now = datetime.now(UTC)
    teller = Teller(folder_path / "kept")
    request = folder.requests["saturday-ledge"].model_copy(update={"date": now.date()})
    world = told_world(folder, (request.site,), now, teller)
    teller.close()
    return plan_day(request, world)


def test_a_service_is_asked_and_its_words_stand_in_the_plan(centre):
    with running() as (server, address):
        asks(centre, address)
        server.says(WEATHER, open_meteo("open_meteo_forecast", datetime.now(UTC), *HERE))
        server.says(MARINE, open_meteo("open_meteo_marine", datetime.now(UTC), *HERE))
        plan = today_plan(centre)
        assert "Open-Meteo" in plan.forecast_words and plan.attribution
        assert server.asked(WEATHER)[0].params["latitude"] == "46.8330"
        assert "office@verrow.example" in server.asked(WEATHER)[0].headers["User-Agent"]


@pytest.mark.parametrize("reply", [Reply("", 500), Reply('{"hourly": {"time'), Reply("<html>busy</html>")])
def test_a_service_that_fails_is_a_dated_caution_and_the_plan_is_still_made(centre, reply):
    with running() as (server, address):
        asks(centre, address)
        server.says(WEATHER, reply)
        server.says(MARINE, reply)
        plan = today_plan(centre)
    notes = [check for check in plan.checks if check.rule == "forecast-source"]
    assert notes and all(check.outcome.value == "caution" for check in notes)
    assert all(f"{datetime.now(UTC):%B}" in check.sentence for check in notes)
    assert not [check for check in plan.checks if check.rule in ("surf", "wind")], "no sea out of nothing"


def test_nobody_is_asked_where_the_centre_names_nobody(centre, monkeypatch):
    monkeypatch.setattr("socket.create_connection", lambda *_, **__: pytest.fail("somebody was asked"))
    (centre / "centre" / "feeds.toml").unlink()
    plan = today_plan(centre)
    assert plan.forecast_words.startswith("No forecast was used")


def test_a_table_of_an_authority_is_written_by_command(centre, tmp_path, capsys):
    start = datetime(2027, 1, 1, 0, 10, tzinfo=UTC)
    rows = [
        {"t": f"{start + timedelta(hours=6.2 * n):%Y-%m-%d %H:%M}", "v": str(0.3 + n % 2 * 2), "type": "LH"[n % 2]}
        for n in range(8)
    ]
    table = tmp_path / "table.csv"
    with running() as (server, address):
        asks(centre, address)
        server.says("/api/prod/datagetter", Reply(json.dumps({"predictions": rows})))
        words = ["tide-table", "9414290", "--from", "2027-01-01", "--to", "2027-01-02"]
        code = main([*words, "--csv", str(table), "--folder", str(centre)])
    assert code == 0, capsys.readouterr().err
    assert "8 high and low waters" in capsys.readouterr().out
    assert table.read_text(encoding="utf-8").count("high") >= 4


def test_the_sites_of_a_board_are_asked_for_together(centre):
    """All wait for the last of them: nobody answers before every site has been asked."""
    folder = None
    with running() as (server, address):
        asks(centre, address)
        folder = load_folder(centre)
        sea = [slug for slug, site in folder.sites.items() if site.water.kind != "fresh"][:4]
        barrier = threading.Barrier(len(sea), timeout=5)

        def together(_: object) -> Reply:
            barrier.wait()
            return Reply(json.dumps(open_meteo("open_meteo_forecast", datetime.now(UTC), *HERE)))

        server.says(WEATHER, together)
        server.says(MARINE, open_meteo("open_meteo_marine", datetime.now(UTC), *HERE))
        teller = Teller(centre / "kept")
        world = told_world(folder, sea, datetime.now(UTC), teller)
        teller.close()
    assert not barrier.broken and set(world.conditions) == set(sea)
