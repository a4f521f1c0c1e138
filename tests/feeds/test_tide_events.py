"""A year of a tidal authority's high and low waters, fetched and written as the table that a station file names."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from forecast_server import Got, Reply, Server, running, sample

from tripplan.catalogue.station import read_station
from tripplan.environment.tide import PrintedTide
from tripplan.feeds.session import FeedSession
from tripplan.feeds.settings import CoOpsSettings, FeedSettings
from tripplan.feeds.tide_events import TideEvents, fetch_tide_events, tide_table_csv

GETTER = "/api/prod/datagetter"
NOW = datetime(2026, 6, 1, 8, 10, tzinfo=UTC)
PUBLISHED_YEAR = Path(__file__).resolve().parent.parent / "published" / "tides" / "noaa_8443970_2021.csv"


@pytest.fixture
def server(monkeypatch) -> Iterator[tuple[Server, str]]:
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setattr("tripplan.feeds.session.FIRST_PAUSE_S", 0.01)
    with running() as found:
        yield found


class Authority:
    """Fetches from the server."""

    def __init__(self, address: str, folder: Path, **more: object) -> None:
        service = CoOpsSettings(use=True, host=address)
        self.settings = FeedSettings(contact="office@verrow.example", co_ops=service).model_copy(update=more)
        self.session = FeedSession(self.settings, folder)

    def fetch(self, first: date, last: date, station: str = "8443970") -> TideEvents:
        return fetch_tide_events(station, first, last, self.settings, self.session, NOW, patience_s=10)


@pytest.fixture
def authority(server, tmp_path) -> Iterator[Authority]:
    found = Authority(server[1], tmp_path)
    yield found
    found.session.close()


DAY = date(2026, 6, 14)


def sentence(events: TideEvents) -> str:
    assert events.points == () and events.origin is None
    (note,) = events.notes
    assert note.sentence.startswith("NOAA CO-OPS tide predictions: ")
    assert note.sentence.endswith("(asked 1 June 08:10 UTC).")
    return note.sentence


def test_a_day_as_published(server, authority):
    server[0].says(GETTER, sample("coops_predictions_hilo"))
    events = authority.fetch(DAY, DAY)
    assert [(point.time.hour, point.kind, point.height_m) for point in events.points] == [
        (2, "low", 0.312), (8, "high", 1.204), (13, "low", 0.655), (20, "high", 1.731),
    ]  # fmt: skip
    assert events.origin is not None and "public domain" in events.origin.attribution
    assert server[0].got[0].params == {
        "station": "8443970", "product": "predictions", "datum": "MLLW", "units": "metric", "time_zone": "gmt",
        "interval": "hilo", "format": "json", "application": "tripplan",
        "begin_date": "20260614", "end_date": "20260614",
    }  # fmt: skip
    assert server[0].got[0].headers["User-Agent"].endswith("(office@verrow.example)")


def published_year() -> list[tuple[datetime, str, float]]:
    """Return the high and low waters of Boston 2021 as NOAA CO-OPS published them, metres above MLLW, UTC."""
    with PUBLISHED_YEAR.open(encoding="utf-8") as stream:
        rows = csv.DictReader(line for line in stream if not line.startswith("#"))
        return [(datetime.fromisoformat(row["time"]), row["kind"], float(row["height_m"])) for row in rows]


def test_a_published_year_becomes_a_station_of_the_catalogue(server, authority, tmp_path):
    year = published_year()

    def reply(got: Got) -> Reply:
        days = (got.params["begin_date"], got.params["end_date"])
        rows = [
            {"t": f"{when:%Y-%m-%d %H:%M}", "v": f"{height:.3f}", "type": kind[0].upper()}
            for when, kind, height in year
            if days[0] <= f"{when:%Y%m%d}" <= days[1]
        ]
        return Reply({"predictions": rows})

    server[0].says(GETTER, reply)
    events = authority.fetch(date(2021, 1, 1), date(2021, 12, 31))
    assert len(server[0].got) == 3 and events.notes == ()
    inside = [row for row in year if row[0].year == 2021]
    assert len(events.points) == len(inside) > 1400
    (tmp_path / "boston.csv").write_text(tide_table_csv(events), encoding="utf-8")
    (tmp_path / "boston.toml").write_text(
        'name = "Boston"\nlatitude = 42.354\nlongitude = -71.050\ntimezone = "America/New_York"\n'
        'datum = "MLLW"\ntable = "boston.csv"\n',
        encoding="utf-8",
    )
    tide = read_station(tmp_path / "boston.toml").tide
    assert isinstance(tide, PrintedTide)
    turns = tide.turning_points(datetime(2021, 7, 1, tzinfo=UTC), datetime(2021, 7, 2, tzinfo=UTC))
    wanted = [row for row in inside if row[0].date() == date(2021, 7, 1)]
    assert [(point.time, point.kind) for point in turns] == [(when, kind) for when, kind, _ in wanted]
    assert [point.height_m for point in turns] == pytest.approx([height for _, _, height in wanted], abs=0.0005)
    head = (tmp_path / "boston.csv").read_text(encoding="utf-8").splitlines()[:5]
    assert "8443970" in head[0] and "2021-01-01 to 2021-12-31" in head[0]
    assert "NOAA" in head[1] and "MLLW" in head[2] and head[3].startswith("# fetched: 20")


@pytest.mark.parametrize(
    "reply, words",
    [
        (Reply(sample("coops_error")), "No Predictions data was found"),
        (Reply(sample("coops_forbidden")), "Forbidden"),
        (Reply(sample("coops_error"), 400), "refused the question"),
        (Reply({"predictions": []}), "holds no high or low water"),
        (Reply("<html>"), "a web page"),
        (Reply('{"predictions": [{"t": "2026'), "cut short"),
        (Reply(close=True), "could not be reached"),
        (Reply("", 500), "has a fault of its own (500)"),
    ],
)
def test_a_fault_is_a_dated_note(server, authority, reply, words):
    server[0].says(GETTER, reply)
    assert words in sentence(authority.fetch(DAY, DAY))


def test_an_answer_for_other_days_is_refused(server, authority):
    server[0].says(GETTER, sample("coops_predictions_hilo"))
    assert "not from 10 June 2026 to 14 June 2026" in sentence(authority.fetch(date(2026, 6, 10), DAY))
    assert "not from 12 June 2026" in sentence(authority.fetch(date(2026, 6, 12), date(2026, 6, 13)))


def test_a_hole_refuses_the_whole_table(server, authority):
    body = sample("coops_predictions_hilo")
    later = [row | {"t": row["t"].replace("06-14", "06-17")} for row in body["predictions"]]
    body["predictions"] += later
    server[0].says(GETTER, body)
    assert "no high or low water for 54 h after 14 June 20:17 UTC" in sentence(authority.fetch(DAY, date(2026, 6, 17)))


def test_an_old_answer_stands_in_and_says_so(server, tmp_path):
    authority = Authority(server[1], tmp_path, keep_fresh_min=0.0)
    server[0].says(GETTER, sample("coops_predictions_hilo"))
    first = authority.fetch(DAY, DAY)
    server[0].says(GETTER, Reply(sample("coops_forbidden")))
    second = authority.fetch(DAY, DAY)
    assert second.points == first.points and second.origin is not None and second.origin.stale
    (note,) = second.notes
    assert "Forbidden" in note.sentence and "is used instead" in note.sentence
    authority.session.close()


@pytest.mark.parametrize(
    "station, first, last, words",
    [
        ("boston", DAY, DAY, "seven figures"),
        ("8443970", DAY, DAY - timedelta(days=1), "must follow"),
        ("8443970", DAY, DAY + timedelta(days=1000), "must follow"),
    ],
)
def test_what_cannot_be_asked_is_not_asked(server, authority, station, first, last, words):
    assert words in sentence(authority.fetch(first, last, station))
    assert server[0].got == []


def test_a_centre_that_does_not_use_the_service_asks_nobody(server, tmp_path):
    settings = FeedSettings()
    session = FeedSession(settings, tmp_path)
    events = fetch_tide_events("8443970", DAY, DAY, settings, session, NOW)
    assert "does not say use = true" in sentence(events) and server[0].got == []
    session.close()


def test_nothing_is_not_written_as_a_table():
    with pytest.raises(ValueError, match="no high and low waters"):
        tide_table_csv(TideEvents("8443970"))
