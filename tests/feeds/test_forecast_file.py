"""A forecast kept as a file, received by mail or typed, and those of the demonstration."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from tripplan.data_files import data_dir
from tripplan.environment.conditions import Forecast, Series
from tripplan.errors import BadRecord
from tripplan.store.demo import kept_young
from tripplan.store.folder import Folder, load_folder
from tripplan.store.forecast_file import forecasts_by_site, read_forecast_file

GOOD = """\
# Typed from the harbour office's board.
# source: Harbour office
# issued: 2026-11-25T04:00:00-01:00
# fetched: 2026-11-25T06:10:00+00:00
# sites: gull-cove, stair-ledge

time,wind_m_s,rain_mm,thunder,swell_m
2026-11-25T06:00Z,4.0,9.9,no,1.2
2026-11-25T08:00-01:00,5.5,0.4,yes,
2026-11-25T12:00Z,,0.0,no,1.4
"""


def write(folder: Path, text: str, name: str = "typed") -> Path:
    (folder / "forecast").mkdir(exist_ok=True)
    path = folder / "forecast" / f"{name}.csv"
    path.write_text(text, encoding="utf-8")
    return path


def series(forecast: Forecast) -> dict[str, Series]:
    return {each.quantity: each for each in forecast.series}


def at(hour: int) -> datetime:
    return datetime(2026, 11, 25, hour, tzinfo=UTC)


def test_a_typed_forecast_is_read_with_its_origin(tmp_path):
    sites, forecast = read_forecast_file(write(tmp_path, GOOD))
    assert sites == ("gull-cove", "stair-ledge")
    found = series(forecast)
    assert list(found) == ["wind_m_s", "rain_mm", "thunder", "swell_m"]
    assert found["wind_m_s"].starts == found["wind_m_s"].ends == (at(6), at(9), at(12))
    assert found["wind_m_s"].values == (4.0, 5.5, None)
    assert found["thunder"].values == (0, 1, 0)
    assert found["swell_m"].values == (1.2, None, 1.4)
    (origin,) = forecast.origins
    assert (origin.source, origin.issued, origin.fetched) == (
        "Harbour office",
        at(5),
        datetime(2026, 11, 25, 6, 10, tzinfo=UTC),
    )


def test_rain_is_the_sum_since_the_line_before(tmp_path):
    rain = series(read_forecast_file(write(tmp_path, GOOD))[1])["rain_mm"]
    assert rain.total(at(6), at(9)) == pytest.approx(0.4)
    assert rain.total(at(6), at(12)) == pytest.approx(0.4)
    assert rain.total(at(3), at(9)) is None  # over which hours the 9.9 mm of the first line fell is not known


def test_a_file_for_all_sites(tmp_path):
    text = GOOD.replace("gull-cove, stair-ledge", "all")
    assert read_forecast_file(write(tmp_path, text))[0] is None
    found, faults = forecasts_by_site(tmp_path, {"a": 1, "b": 2})
    assert set(found) == {"a", "b"} and faults == ()


EDITS = [  # what is changed, into what, on which line the fault is, words of its sentence
    ("# source: Harbour office\n", "", 1, "the source is missing"),
    ("# source: Harbour office", "# source:", 2, "the source is missing"),
    ("# fetched: 2026-11-25T06:10:00+00:00\n", "", 1, "fetched is missing"),
    ("# sites: gull-cove, stair-ledge\n", "", 1, "sites is missing"),
    ("T06:10:00+00:00", "T06:10:00", 4, "without an offset from UTC"),
    ("T06:10:00+00:00", " noon", 4, 'fetched is "2026-11-25 noon"'),
    ("T04:00:00-01:00", "T23:00:00-01:00", 3, "issued is after fetched"),
    ("# sites: gull-cove, stair-ledge", "# sites: Gull Cove!", 5, "name sites by their files"),
    ("# sites: gull-cove", "# sites: all", 5, "name sites by their files"),
    ("# sites", "# source: Another\n# sites", 5, "source is said twice, here and in line 2"),
    ("time,wind_m_s", "when,wind_m_s", 7, 'begins "when"'),
    ("time,wind_m_s", "time,wind_kn", 7, '"wind_kn" is no quantity known here; known: wind_m_s'),
    ("thunder,swell_m", "swell_m,swell_m", 7, "swell_m stands twice"),
    ("06:00Z,4.0", "06:00Z,4,0", 8, "the line has 6 values; the first line names 5"),
    ("06:00Z,4.0", "06:00Z,400", 8, "wind_m_s is 400; it must be from 0 to 75 m/s"),
    ("06:00Z,4.0", "06:00Z,-1", 8, "wind_m_s is -1"),
    ("06:00Z,4.0", "06:00Z,4 kn", 8, 'wind_m_s is "4 kn"; it must be a number of m/s'),
    ("06:00Z,4.0", "06:00Z,nan", 8, 'wind_m_s is "nan"'),
    ("9.9,no", "9.9,maybe", 8, 'thunder is "maybe"; it must be yes or no'),
    ("9.9,no", "9.9,0.5", 8, 'thunder is "0.5"; it must be yes or no'),
    ("2026-11-25T06:00Z", "2026-11-25T06:00", 8, "without an offset from UTC"),
    ("2026-11-25T06:00Z", "2026-11-31T06:00Z", 8, 'time is "2026-11-31T06:00Z"; it must be like'),
    ("2026-11-25T12:00Z", "2026-11-25T09:00Z", 10, "does not come after the line before"),
]


@pytest.mark.parametrize("old, new, line, words", EDITS)
def test_a_fault_is_told_with_its_line(tmp_path, old, new, line, words):
    assert old in GOOD
    path = write(tmp_path, GOOD.replace(old, new, 1))
    with pytest.raises(BadRecord) as refused:
        read_forecast_file(path)
    said = [fault for fault in refused.value.faults if fault.line == line and words in fault.message]
    assert len(said) == 1 and said[0].file == str(path), refused.value.faults


def test_every_fault_is_told_at_once(tmp_path):
    text = GOOD.replace("# source: Harbour office\n", "").replace("4.0,9.9", "400,x").replace(",5.5", ",900")
    with pytest.raises(BadRecord) as refused:
        read_forecast_file(write(tmp_path, text))
    assert len(refused.value.faults) == 4


@pytest.mark.parametrize(
    "text", ["", "# source: x\n", "\n\n", '"', "\0", "time\n", GOOD[: GOOD.index("2026-11-25T06:00Z")]]
)
def test_a_file_without_a_forecast_is_refused(tmp_path, text):
    with pytest.raises(BadRecord):
        read_forecast_file(write(tmp_path, text))


def test_a_file_that_is_not_text_is_refused(tmp_path):
    path = write(tmp_path, "")
    path.write_bytes(b"\xff\xfe\x00t")
    with pytest.raises(BadRecord, match="not UTF-8"):
        read_forecast_file(path)
    with pytest.raises(BadRecord, match="no such file"):
        read_forecast_file(tmp_path / "nowhere.csv")


def test_a_bad_file_and_an_unknown_site_hide_no_other_file(tmp_path):
    write(tmp_path, GOOD, "a")
    write(tmp_path, GOOD.replace("06:00Z,4.0", "06:00Z,400"), "b")
    write(tmp_path, GOOD.replace("stair-ledge", "stair-edge"), "c")
    found, faults = forecasts_by_site(tmp_path, {"gull-cove": 1, "stair-ledge": 2})
    assert set(found) == {"gull-cove", "stair-ledge"}
    assert [(Path(fault.file).name, fault.line) for fault in faults] == [("b.csv", 8), ("c.csv", 5)]
    assert '"stair-edge" is not among the sites; known here: gull-cove, stair-ledge' in faults[1].message


def test_of_two_files_for_a_site_the_one_issued_last_counts_first(tmp_path):
    write(tmp_path, GOOD, "a")
    later = GOOD.replace("T04:00:00-01:00", "T05:00:00-01:00").replace("Harbour office", "Radio").replace("4.0", "6.0")
    write(tmp_path, later, "b")
    found, _ = forecasts_by_site(tmp_path, {"gull-cove": 1, "stair-ledge": 2})
    winds = [each for each in found["gull-cove"].series if each.quantity == "wind_m_s"]
    assert [(wind.origin.source, wind.values[0]) for wind in winds] == [("Radio", 6.0), ("Harbour office", 4.0)]


# ---- the demonstration ----


@pytest.fixture(scope="module")
def demo() -> Folder:
    return load_folder(data_dir("sites"))


def test_every_site_of_the_demonstration_has_a_forecast_marked_as_invented(demo):
    assert demo.faults == ()
    assert set(demo.forecasts) == set(demo.sites)
    for slug, forecast in demo.forecasts.items():
        (origin,) = forecast.origins
        assert origin.source == "Invented forecast, demonstration only"
        assert origin.issued == datetime(2026, 11, 25, 5, tzinfo=UTC)
        has_swell = "swell_m" in series(forecast)
        assert has_swell == (demo.sites[slug].water.kind != "fresh"), slug


def test_the_demonstrations_forecast_covers_three_days_before_it_and_every_request(demo):
    for name, request in demo.requests.items():
        wind = series(demo.forecasts[request.site])["wind_m_s"]
        first = datetime(request.date.year, request.date.month, request.date.day, tzinfo=UTC)
        assert wind.starts[0] <= first - timedelta(hours=72) and wind.starts[-1] >= first + timedelta(days=1), name
        assert wind.starts[0] <= wind.origin.fetched - timedelta(hours=72)


@pytest.mark.parametrize("days", [1, 6, 7, 8, 200, 1000])
def test_the_forecast_moves_by_whole_weeks_with_the_requests(demo, days):
    today = date(2026, 11, 25) + timedelta(days=days)
    young = kept_young(demo, today)
    request, moved = demo.requests["saturday-ledge"], young.requests["saturday-ledge"]
    shift = moved.date - request.date
    before, after = series(demo.forecasts[request.site])["wind_m_s"], series(young.forecasts[request.site])["wind_m_s"]
    assert shift.days % 7 == 0
    assert after.values == before.values
    assert {new - old for new, old in zip(after.starts, before.starts, strict=True)} == {shift}
    assert after.origin.fetched - before.origin.fetched == shift
    assert after.starts[0].date() <= today - timedelta(days=3)
    assert after.origin.fetched.date() <= today
    rain = series(young.forecasts[request.site])["rain_mm"]
    assert rain.ends[0] - rain.starts[0] == timedelta(hours=3)


def test_before_the_day_it_was_written_the_forecast_stays(demo):
    assert kept_young(demo, date(2026, 11, 20)).forecasts == demo.forecasts
