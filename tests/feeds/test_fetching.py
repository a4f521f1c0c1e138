"""Asking services over a real connection: every way in which they fail, the copies that are kept, and the deadline."""

from __future__ import annotations

import gzip
import json
import logging
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from forecast_server import Got, Reply, Server, met_norway, open_meteo, running, sample

from tripplan import __version__
from tripplan.environment.conditions import Forecast
from tripplan.feeds.forecasts import fetch_forecast
from tripplan.feeds.session import FeedSession
from tripplan.feeds.settings import (
    CoOpsSettings,
    FeedSettings,
    MetNorwaySettings,
    NationalWeatherServiceSettings,
    OpenMeteoSettings,
)

HERE = (47.0, -17.0)
KEY = "k3y-that-nobody-may-see"
CONTACT = "office@verrow.example"
WEATHER, MARINE, ENSEMBLE = "/v1/forecast", "/v1/marine", "/v1/ensemble"
LOCATION, OCEAN = "/weatherapi/locationforecast/2.0/complete", "/weatherapi/oceanforecast/2.0/complete"


def now() -> datetime:
    """Return the time of the machine: that of the copies that the cache keeps is the machine's too."""
    return datetime.now(UTC)


@pytest.fixture(autouse=True)
def no_proxy(monkeypatch):
    for name in ("http_proxy", "https_proxy", "HTTP_PROXY", "HTTPS_PROXY", "all_proxy", "ALL_PROXY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")


@pytest.fixture(autouse=True)
def short_pauses(monkeypatch):
    monkeypatch.setattr("tripplan.feeds.session.FIRST_PAUSE_S", 0.01)


@pytest.fixture
def server() -> Iterator[tuple[Server, str]]:
    with running() as (found, address):
        found.says(WEATHER, open_meteo("open_meteo_forecast", now(), *HERE))
        found.says(MARINE, open_meteo("open_meteo_marine", now(), *HERE))
        yield found, address


def settings_for(address: str, **more: object) -> FeedSettings:
    settings = FeedSettings(
        contact=CONTACT,
        open_meteo=OpenMeteoSettings(
            use=True, host=address, marine_host=address, ensemble_host=address, api_key=KEY
        ),
    )  # fmt: skip
    return settings.model_copy(update=more)  # a test may wait less and keep shorter than a centre may


class Centre:
    """A centre with its settings and its kept answers, asking for one place."""

    def __init__(self, settings: FeedSettings, folder: Path) -> None:
        self.settings = settings
        self.session = FeedSession(settings, folder)

    def asks(self, sea: bool = True, place: tuple[float, float] = HERE) -> Forecast:
        found = fetch_forecast(*place, self.settings, self.session, now(), sea=sea)
        assert found is not None
        return found


@pytest.fixture
def centre(server, tmp_path) -> Iterator[Centre]:
    found = Centre(settings_for(server[1]), tmp_path)
    yield found
    found.session.close()


@pytest.fixture
def forgetful(server, tmp_path) -> Iterator[Centre]:
    """A centre whose copies are old after a moment."""
    found = Centre(settings_for(server[1], keep_fresh_min=0.0), tmp_path)
    yield found
    found.session.close()


def sentences(forecast: Forecast) -> str:
    for note in forecast.notes:
        assert re.search(r"\(asked [0-9]{1,2} [A-Z][a-z]+ [0-9]{2}:[0-9]{2} UTC\)\.$", note.sentence), note.sentence
        assert note.sentence.startswith(note.source)
        assert abs(note.asked - now()) < timedelta(minutes=1)
    return "\n".join(note.sentence for note in forecast.notes)


def known(forecast: Forecast) -> set[str]:
    return {series.quantity for series in forecast.series}


# ---- it works ----


def test_weather_and_sea_for_three_days_back_and_a_week_ahead(server, centre):
    forecast = centre.asks()
    assert known(forecast) >= {
        "wind_m_s", "gust_m_s", "air_c", "rain_mm", "thunder", "visibility_m",
        "swell_m", "swell_s", "swell_from_deg", "wind_sea_m", "water_c",
    }  # fmt: skip
    wind = next(series for series in forecast.series if series.quantity == "wind_m_s")
    assert wind.starts[0] <= now() - timedelta(hours=72) and wind.starts[-1] >= now() + timedelta(days=7)
    assert abs(wind.origin.fetched - now()) < timedelta(minutes=1) and not wind.origin.stale
    rain = next(series for series in forecast.series if series.quantity == "rain_mm")
    assert rain.total(now() - timedelta(hours=71), now()) is not None
    (got,) = server[0].asked(WEATHER)
    assert got.params["latitude"] == "47.0000" and got.params["longitude"] == "-17.0000"
    assert got.params["past_days"] == "3" and got.params["forecast_days"] == "8"
    assert got.params["timezone"] == "GMT" and got.params["wind_speed_unit"] == "ms"
    assert "sea_level_height_msl" not in server[0].asked(MARINE)[0].params["hourly"]


def test_every_service_is_told_who_asks(server, centre):
    centre.asks()
    assert {got.headers["User-Agent"] for got in server[0].got} == {f"tripplan/{__version__} ({CONTACT})"}


def test_a_second_plan_asks_nobody(server, centre):
    first, second = centre.asks(), centre.asks(place=(47.00001, -17.00001))
    assert len(server[0].got) == 2  # weather and sea, once each
    assert known(first) == known(second)
    (before,) = {series.origin.fetched for series in first.series if series.quantity == "wind_m_s"}
    (after,) = {series.origin.fetched for series in second.series if series.quantity == "wind_m_s"}
    assert abs(after - before) < timedelta(seconds=1) and not any(series.origin.stale for series in second.series)


def test_copies_are_found_again_by_another_run_of_the_program(server, tmp_path):
    settings = settings_for(server[1])
    for _ in range(2):
        centre = Centre(settings, tmp_path)
        assert "wind_m_s" in known(centre.asks())
        centre.session.close()
    assert len(server[0].got) == 2


def test_inland_the_sea_is_not_asked_for(server, centre):
    assert "wind_m_s" in known(centre.asks(sea=False))
    assert server[0].asked(MARINE) == []


def test_an_answer_that_is_packed_is_unpacked_and_kept(server, centre):
    body = json.dumps(open_meteo("open_meteo_forecast", now(), *HERE)).encode()
    server[0].says(WEATHER, Reply(gzip.compress(body), headers={"Content-Encoding": "gzip"}))
    assert known(centre.asks()) == known(centre.asks())
    assert len(server[0].asked(WEATHER)) == 1


def test_with_every_feed_off_there_is_no_forecast_and_nobody_is_asked(server, tmp_path):
    settings = FeedSettings()
    session = FeedSession(settings, tmp_path)
    assert fetch_forecast(*HERE, settings, session, now()) is None
    session.close()
    assert server[0].got == []


def test_members_of_an_ensemble_are_asked_for_by_the_model_named(server, tmp_path):
    body = open_meteo("open_meteo_forecast", now(), *HERE)
    for name in ("wind_speed_10m", "wind_direction_10m", "wind_gusts_10m", "precipitation"):
        for member in ("01", "02"):
            body["hourly"][f"{name}_member{member}"] = body["hourly"][name]
    server[0].says(ENSEMBLE, body)
    settings = settings_for(server[1])
    model = settings.open_meteo.model_copy(update={"ensemble_model": "some_model"})
    centre = Centre(settings.model_copy(update={"open_meteo": model}), tmp_path)
    assert len(centre.asks().members) == 2
    assert server[0].asked(ENSEMBLE)[0].params["models"] == "some_model"
    centre.session.close()


# ---- it fails: a dated note, never an exception, never a value ----

ABROAD = {"utc_offset_seconds": 3600, "timezone": "Europe/Oslo"}
FAULTS = {
    "too many questions": (Reply(sample("open_meteo_too_many"), 429), "had too many questions"),
    "a fault of the service": (Reply("oops", 500), "has a fault of its own (500)"),
    "gone for a while": (Reply("", 503), "has a fault of its own (503)"),
    "a question refused": (Reply(sample("open_meteo_error"), 400), "wave_hight"),
    "blocked with a page": (Reply("<html>Forbidden</html>", 403, {"Content-Type": "text/html"}), "refused to answer"),
    "a page instead of an answer": (Reply("<!doctype html><p>Sign in to the hotel's network"), "a web page"),
    "an error that comes as an answer": (Reply(sample("open_meteo_error")), "the service says"),
    "cut short, but whole by its length": (Reply('{"latitude": 47.0, "hourly": {"ti'), "cut short"),
    "cut short by the connection": (Reply({"latitude": 47.0}, cut=5), "could not be reached"),
    "closed without a word": (Reply(close=True), "could not be reached"),
    "sent on into our own network": (Reply("", 302, {"Location": "http://127.0.0.2:9/"}), "on to another address"),
    "nothing at all": (Reply(""), "not in the agreed form"),
    "an empty object": (Reply({}), "does not say for which place"),
    "another place": (Reply(open_meteo("open_meteo_forecast", now(), 10.0, 10.0)), "km away"),
    "another time zone": (Reply(open_meteo("open_meteo_forecast", now(), *HERE) | ABROAD), "not in UTC"),
    "last year's": (Reply(open_meteo("open_meteo_forecast", now() - timedelta(days=365), *HERE)), "before now"),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_of_one_service_is_a_dated_note_and_the_other_still_counts(fault, server, tmp_path):
    reply, words = FAULTS[fault]
    server[0].says(WEATHER, reply)
    centre = Centre(settings_for(server[1]), tmp_path)
    forecast = centre.asks()
    assert words in sentences(forecast) and "Open-Meteo (weather)" in sentences(forecast)
    assert "wind_m_s" not in known(forecast) and "swell_m" in known(forecast)
    centre.session.close()


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_never_replaces_a_good_copy(fault, server, forgetful):
    before = forgetful.asks()
    server[0].says(WEATHER, FAULTS[fault][0])
    after = forgetful.asks()
    winds = [next(s for s in forecast.series if s.quantity == "wind_m_s") for forecast in (before, after)]
    assert winds[0].values == winds[1].values
    assert not winds[0].origin.stale and winds[1].origin.stale
    assert "(an old copy" in winds[1].origin.words
    assert FAULTS[fault][1] in sentences(after)
    assert re.search(r"its answer of [^,]+ UTC, 0 min old, is used instead", sentences(after))
    server[0].says(WEATHER, open_meteo("open_meteo_forecast", now(), *HERE, wind_speed_10m=9.0))
    again = forgetful.asks()
    assert next(s for s in again.series if s.quantity == "wind_m_s").values[0] == 9.0


def test_offline_each_source_says_so(tmp_path):
    with running() as (_, address):
        pass  # nobody listens there any more
    centre = Centre(settings_for(address), tmp_path)
    forecast = centre.asks()
    assert forecast.series == ()
    assert [note.source for note in forecast.notes] == ["Open-Meteo (weather)", "Open-Meteo (sea)"]
    assert sentences(forecast).count("could not be reached (no network, or the service is down)") == 2
    centre.session.close()


def test_a_copy_too_old_is_not_used(server, tmp_path):
    centre = Centre(settings_for(server[1], keep_fresh_min=0.0, keep_stale_h=0.0), tmp_path)
    centre.asks()
    server[0].says(WEATHER, Reply("", 500))
    forecast = centre.asks()
    assert "wind_m_s" not in known(forecast) and "has a fault of its own (500)" in sentences(forecast)
    centre.session.close()


def test_a_passing_fault_is_asked_again(server, centre):
    good = Reply(open_meteo("open_meteo_forecast", now(), *HERE))
    server[0].says(WEATHER, Reply(sample("open_meteo_too_many"), 429), Reply("", 503), good)
    forecast = centre.asks()
    assert "wind_m_s" in known(forecast) and "(weather)" not in sentences(forecast)
    assert len(server[0].asked(WEATHER)) == 3


def test_a_refusal_is_not_asked_again(server, centre):
    server[0].says(WEATHER, Reply(sample("open_meteo_error"), 400))
    centre.asks()
    assert len(server[0].asked(WEATHER)) == 1


def test_who_asks_for_patience_is_not_asked_again_at_once(server, centre):
    server[0].says(WEATHER, Reply("", 429, {"Retry-After": "60"}))
    forecast = centre.asks()
    assert "had too many questions" in sentences(forecast)
    assert len(server[0].asked(WEATHER)) == 1


# ---- it is slow ----


def asking() -> bool:
    """Return whether a question to a service is still running."""
    return any(thread.name == "tripplan-feed" for thread in threading.enumerate())


def test_the_plan_does_not_wait_for_a_slow_service(server, tmp_path):
    held = threading.Event()
    server[0].says(WEATHER, Reply(open_meteo("open_meteo_forecast", now(), *HERE), hold=held))
    centre = Centre(settings_for(server[1], wait_s=0.3), tmp_path)
    forecast = centre.asks()
    assert server[0].waiting.acquire(timeout=5) and not held.is_set()  # the server still has not answered
    assert "Open-Meteo (weather): did not answer within 0.3 s (asked " in sentences(forecast)
    assert "swell_m" in known(forecast) and "wind_m_s" not in known(forecast)
    # A later plan joins the question that is still running, and does not put it twice.
    assert "did not answer within 0.3 s" in sentences(centre.asks())
    assert len(server[0].asked(WEATHER)) == 1
    # Once it answers, the answer is there for the next plan.
    held.set()
    give_up = time.monotonic() + 10
    while "wind_m_s" not in known(forecast) and time.monotonic() < give_up:
        forecast = centre.asks()
    assert "wind_m_s" in known(forecast) and len(server[0].asked(WEATHER)) == 1
    centre.session.close()


def test_a_slow_service_is_replaced_by_its_old_copy(server, tmp_path):
    centre = Centre(settings_for(server[1], wait_s=0.3, keep_fresh_min=0.0), tmp_path)
    centre.asks()
    held = threading.Event()
    server[0].says(WEATHER, Reply("{}", hold=held))
    forecast = centre.asks()
    assert not held.is_set()
    wind = next(series for series in forecast.series if series.quantity == "wind_m_s")
    assert wind.origin.stale and "did not answer in time; its answer of" in sentences(forecast)
    held.set()
    centre.session.close()


def test_an_answer_that_drips_is_given_up(server, tmp_path, monkeypatch):
    monkeypatch.setattr("tripplan.feeds.forecasts.PATIENCE_S", 0.2)
    server[0].says(WEATHER, Reply(drip=True))
    centre = Centre(settings_for(server[1], wait_s=5.0), tmp_path)
    centre.settings = centre.settings.model_copy(update={"wait_s": 0.4})
    forecast = centre.asks()
    assert server[0].waiting.acquire(timeout=5)
    assert "did not answer within 0.4 s" in sentences(forecast)
    give_up = time.monotonic() + 10  # the server drips on, but whoever read there has ended
    while asking() and time.monotonic() < give_up:
        time.sleep(0.02)
    assert not asking()
    centre.session.close()


def test_a_silent_service_does_not_keep_the_program_from_ending(server, tmp_path):
    held = threading.Event()
    server[0].says(WEATHER, Reply("{}", hold=held))
    program = (
        "import sys\nfrom datetime import UTC, datetime\nfrom pathlib import Path\n"
        "from tripplan.feeds.forecasts import fetch_forecast\nfrom tripplan.feeds.session import FeedSession\n"
        "from tripplan.feeds.settings import FeedSettings, OpenMeteoSettings\n"
        "where = sys.argv[1]\n"
        "feed = OpenMeteoSettings(use=True, host=where, marine_host=where, non_commercial=True)\n"
        "settings = FeedSettings(contact='a@b.example', wait_s=0.5, open_meteo=feed)\n"
        "session = FeedSession(settings, Path(sys.argv[2]))\n"
        "print(fetch_forecast(47.0, -17.0, settings, session, datetime.now(UTC), sea=False).notes[0].sentence)\n"
    )
    found = subprocess.run(
        [sys.executable, "-W", "error", "-c", program, server[1], str(tmp_path)],
        capture_output=True, text=True, timeout=20, check=True,
    )  # fmt: skip
    assert not held.is_set()
    assert "did not answer within 0.5 s" in found.stdout and found.stderr == ""
    held.set()


# ---- the key ----


def test_a_key_is_sent_but_nowhere_kept_shown_or_logged(server, tmp_path, caplog):
    caplog.set_level(logging.DEBUG)
    centre = Centre(settings_for(server[1], keep_fresh_min=0.0), tmp_path)
    first = centre.asks()
    assert {got.params["apikey"] for got in server[0].got} == {KEY}
    server[0].says(WEATHER, Reply(close=True))
    server[0].says(MARINE, Reply({"error": True, "reason": f"wrong apikey={KEY}"}, 400))
    second = centre.asks()
    centre.session.close()
    assert second.notes and KEY not in f"{first}{second}{centre.settings!r}"
    assert "urllib3.connectionpool" in {record.name for record in caplog.records}
    assert KEY not in caplog.text
    for file in tmp_path.iterdir():
        assert KEY.encode() not in file.read_bytes()


def test_a_change_of_key_keeps_the_copies(server, tmp_path):
    settings = settings_for(server[1])
    for key in (KEY, "another"):
        changed = settings.open_meteo.model_copy(update={"api_key": key})
        centre = Centre(settings.model_copy(update={"open_meteo": changed}), tmp_path)
        centre.asks()
        centre.session.close()
    assert len(server[0].got) == 2


def test_an_old_copy_writes_no_traceback_into_the_log(server, forgetful, caplog):
    forgetful.asks()
    server[0].says(WEATHER, Reply("", 500))
    caplog.clear()
    forgetful.asks()
    assert not [record for record in caplog.records if record.levelno >= logging.WARNING]


# ---- the folder of the cache ----


def test_a_cache_that_cannot_be_used_does_not_stop_a_plan(server, tmp_path):
    (tmp_path / "feeds.sqlite").write_bytes(b"this is no database" * 100)
    centre = Centre(settings_for(server[1]), tmp_path)
    assert "wind_m_s" in known(centre.asks())
    centre.session.close()
    (tmp_path / "a file").write_text("", encoding="utf-8")
    centre = Centre(settings_for(server[1]), tmp_path / "a file" / "folder")
    assert "wind_m_s" in known(centre.asks())
    centre.session.close()


# ---- MET Norway ----


@pytest.fixture
def norwegian(server, tmp_path) -> Iterator[Centre]:
    settings = FeedSettings(contact=CONTACT, met_norway=MetNorwaySettings(use=True, host=server[1]))
    found = Centre(settings, tmp_path)
    yield found
    found.session.close()


def _header_time(moment: datetime) -> str:
    return f"{moment:%a, %d %b %Y %H:%M:%S GMT}"


def test_met_norway_is_asked_only_for_what_is_newer_once_its_answer_has_expired(server, norwegian):
    modified = _header_time(now() - timedelta(hours=1))
    body = met_norway("met_locationforecast_compact", now(), *HERE)

    def reply(got: Got) -> Reply:
        headers = {"Expires": _header_time(now() - timedelta(seconds=5)), "Last-Modified": modified}
        if got.headers.get("If-Modified-Since") == modified:
            return Reply("", 304, headers | {"Expires": _header_time(now() + timedelta(hours=1))})
        return Reply(body, headers=headers)

    server[0].says(LOCATION, reply)
    server[0].says(OCEAN, met_norway("met_oceanforecast", now(), *HERE))
    forecasts = [norwegian.asks() for _ in range(3)]
    asked = server[0].asked(LOCATION)
    assert [got.headers.get("If-Modified-Since") for got in asked] == [None, modified]  # the third was not expired
    assert asked[0].params == {"lat": "47.0000", "lon": "-17.0000"}
    for forecast in forecasts:
        assert known(forecast) >= {"wind_m_s", "air_c", "rain_mm", "thunder", "wave_m", "water_c"}
        assert not any(series.origin.stale for series in forecast.series)
        assert forecast.series[0].origin.issued is not None


def test_a_place_outside_its_model_of_the_sea_is_a_note(server, norwegian):
    server[0].says(LOCATION, met_norway("met_locationforecast_compact", now(), *HERE))
    server[0].says(OCEAN, Reply("", 422))
    forecast = norwegian.asks()
    assert "MET Norway (sea): knows nothing of this place" in sentences(forecast)
    assert "wind_m_s" in known(forecast)


def test_a_version_about_to_be_withdrawn_still_counts_and_is_logged(server, norwegian, caplog):
    server[0].says(LOCATION, Reply(met_norway("met_locationforecast_compact", now(), *HERE), 203))
    assert "wind_m_s" in known(norwegian.asks(sea=False))
    assert "is being withdrawn" in caplog.text


# ---- US National Weather Service ----

COAST = (36.62, -121.9)


def _grid(moment: datetime) -> dict[str, object]:
    body = sample("nws_gridpoint")
    for layer in body["properties"].values():
        for number, entry in enumerate(layer["values"] if isinstance(layer, dict) else ()):
            entry["validTime"] = f"{moment + timedelta(hours=24 * number):%Y-%m-%dT%H:00:00+00:00}/P1D"
    body["properties"]["updateTime"] = moment.isoformat()
    found: dict[str, object] = body
    return found


@pytest.fixture
def american(server, tmp_path) -> Iterator[Centre]:
    service = NationalWeatherServiceSettings(use=True, host=server[1])
    found = Centre(FeedSettings(contact=CONTACT, national_weather_service=service), tmp_path)
    yield found
    found.session.close()


def test_the_weather_service_is_asked_in_two_steps(server, american):
    points = sample("nws_points")
    points["properties"]["forecastGridData"] = f"{server[1]}/gridpoints/MTR/90,49"
    server[0].says("/points/36.62,-121.9", points)
    server[0].says("/gridpoints/MTR/90,49", _grid(now()))
    forecast = american.asks(place=COAST)
    assert known(forecast) >= {"wind_m_s", "gust_m_s", "wave_m"}
    american.asks(place=COAST)
    assert len(server[0].got) == 2


def test_a_grid_at_another_address_is_not_followed(server, american):
    points = sample("nws_points")
    points["properties"]["forecastGridData"] = "http://127.0.0.1:9/gridpoints/MTR/90,49"
    server[0].says("/points/36.62,-121.9", points)
    forecast = american.asks(place=COAST)
    assert forecast.series == () and "does not say where its forecast is" in sentences(forecast)


def test_outside_the_united_states_the_weather_service_says_so(server, american):
    server[0].says("/points/47,-17", Reply(sample("nws_problem"), 404))
    forecast = american.asks()
    assert forecast.series == ()
    assert 'knows nothing of this place: "Unable to provide data for requested point 47,-17"' in sentences(forecast)


# ---- several services ----


def test_the_preferred_service_counts_first_unless_its_answer_is_old(server, tmp_path):
    server[0].says(LOCATION, met_norway("met_locationforecast_compact", now(), *HERE))
    server[0].says(OCEAN, met_norway("met_oceanforecast", now(), *HERE))
    both = settings_for(
        server[1], keep_fresh_min=0.0, met_norway=MetNorwaySettings(use=True, host=server[1]),
        prefer=("met_norway", "open_meteo"),
    )  # fmt: skip
    centre = Centre(both, tmp_path)

    def first_wind() -> str:
        return next(series for series in centre.asks().series if series.quantity == "wind_m_s").origin.source

    assert first_wind() == "MET Norway (weather)"
    server[0].says(LOCATION, Reply("", 500))
    assert first_wind() == "Open-Meteo (weather)"
    centre.session.close()


def test_what_one_service_lacks_and_another_tells_is_no_lack(server, tmp_path):
    body = met_norway("met_locationforecast_compact", now(), *HERE)  # without gusts
    server[0].says(LOCATION, body)
    server[0].says(OCEAN, met_norway("met_oceanforecast", now(), *HERE))
    alone = Centre(
        FeedSettings(contact=CONTACT, met_norway=MetNorwaySettings(use=True, host=server[1])), tmp_path / "a"
    )
    assert "MET Norway (weather): tells nothing of gusts" in sentences(alone.asks())
    both = Centre(settings_for(server[1], met_norway=MetNorwaySettings(use=True, host=server[1])), tmp_path / "b")
    assert "gusts" not in sentences(both.asks())
    for centre in (alone, both):
        centre.session.close()


def test_many_plans_at_once_share_one_session(server, centre):
    found: list[Forecast] = []
    threads = [threading.Thread(target=lambda: found.append(centre.asks())) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 8 and all("wind_m_s" in known(forecast) for forecast in found)


def test_the_tide_service_is_no_forecast(server, tmp_path):
    settings = FeedSettings(contact=CONTACT, co_ops=CoOpsSettings(use=True, host=server[1]))
    session = FeedSession(settings, tmp_path)
    assert fetch_forecast(*HERE, settings, session, now()) is None
    session.close()
