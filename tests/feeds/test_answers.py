"""What is read from each service's answer, and that nothing wrong in one is ever taken for a value.

The answers are the published shapes in tests/published/forecast (values invented); expected numbers are read off them.
"""

from __future__ import annotations

import copy
import itertools
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from forecast_server import NOW, sample
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.environment.conditions import QUANTITIES, Series
from tripplan.feeds import co_ops, met_norway, national_weather_service, open_meteo
from tripplan.feeds.answer import Asked, Part, converter
from tripplan.feeds.session import Answer, Unusable, read_body

FETCHED = NOW - timedelta(minutes=5)
ISLAND = Asked(47.0, -17.0, NOW)
NORWAY = Asked(62.47, 6.11, NOW)
COAST = Asked(36.62, -121.9, NOW)


def answer(body: Any, stale: str = "") -> Answer:
    return Answer(body, FETCHED, stale)


def by_quantity(part: Part) -> dict[str, Series]:
    found = {series.quantity: series for series in part.series}
    assert len(found) == len(part.series)
    return found


def said(part: Part) -> str:
    for note in part.notes:
        assert note.sentence.startswith(note.source) and note.sentence.endswith("(asked 14 June 02:30 UTC).")
        assert note.asked == NOW
    return "\n".join(note.sentence for note in part.notes)


def at(hour: int, day: int = 14) -> datetime:
    return datetime(2026, 6, day, hour, tzinfo=UTC)


# ---- Open-Meteo ----


def test_open_meteo_weather_is_read_as_published():
    part = open_meteo.parse_weather(answer(sample("open_meteo_forecast")), ISLAND)
    found = by_quantity(part)
    assert found["wind_m_s"].values == (5.2, 5.4, 5.9, 6.1, 6.0, 5.7)
    assert found["wind_m_s"].starts == found["wind_m_s"].ends == tuple(at(hour) for hour in range(6))
    assert found["wind_from_deg"].values == (232, 235, 240, 244, 246, 250)
    assert found["air_c"].values == (15.1, 15.0, 14.9, 14.9, 15.2, 15.6)
    assert found["visibility_m"].values == (24140.0, 24140.0, 9800.0, 21000.0, 24140.0, None)
    origin = found["wind_m_s"].origin
    assert (origin.latitude_deg, origin.longitude_deg, origin.fetched) == (47.0, -17.0, FETCHED)
    assert "CC BY 4.0" in origin.attribution and "Open-Meteo" in origin.source
    assert said(part).splitlines() == [
        "Open-Meteo (weather): knows visibility above water only until 14 June 04:00 UTC (asked 14 June 02:30 UTC)."
    ]


def test_open_meteo_rain_and_gusts_are_of_the_hour_before_their_time():
    found = by_quantity(open_meteo.parse_weather(answer(sample("open_meteo_forecast")), ISLAND))
    assert found["rain_mm"].total(at(1), at(2)) == pytest.approx(0.2)  # 0.2 stands at 02:00
    assert found["rain_mm"].total(at(2), at(3)) == 0
    assert found["rain_mm"].total(at(2), at(7)) is None  # nothing is known after 05:00
    assert found["gust_m_s"].starts[2] == at(1) and found["gust_m_s"].ends[2] == at(2)
    assert found["gust_m_s"].values[2] == 10.2


@pytest.mark.parametrize("code", [95, 96, 99])  # the service's table of weather codes: thunderstorm, with hail
def test_a_thunder_code_closes_the_hour_before_it_and_the_hour_after_it(code):
    body = sample("open_meteo_forecast")
    body["hourly"]["weather_code"][3] = code
    thunder = by_quantity(open_meteo.parse_weather(answer(body), ISLAND))["thunder"]
    hours = {start: value for start, value in zip(thunder.starts, thunder.values, strict=True)}
    assert [hours[at(hour)] for hour in range(6)] == [0, 0, 1, 1, 0, 0]


def test_an_unknown_weather_code_is_not_taken_for_no_thunder():
    body = sample("open_meteo_forecast")
    body["hourly"]["weather_code"] = [2, 2, None, "x", 2, 120]
    part = open_meteo.parse_weather(answer(body), ISLAND)
    thunder = by_quantity(part)["thunder"]
    hours = {start: value for start, value in zip(thunder.starts, thunder.values, strict=True)}
    assert [hours[at(hour)] for hour in range(6)] == [0, None, None, None, None, None]
    assert "2 codes of the weather that cannot be" in said(part)


def test_open_meteo_sea_is_read_as_published_and_its_sea_level_is_never_used():
    part = open_meteo.parse_sea(answer(sample("open_meteo_marine")), ISLAND)
    found = by_quantity(part)
    assert found["swell_m"].values == (0.98, 0.98, 0.98, 0.98, 1.0, None)
    assert found["swell_s"].values[:2] == (9.1, 9.1)
    assert found["swell_from_deg"].values[4] == 269
    assert found["wind_sea_m"].values[0] == 0.42
    assert found["wave_m"].values[2] == 1.12 and found["wave_s"].values[2] == 7.35
    assert found["water_c"].values[4] == 15.5
    assert set(found) <= set(QUANTITIES) and not any("level" in key for key in found)
    assert found["swell_m"].origin.latitude_deg == pytest.approx(47.041664)  # the cell's, not the place asked for
    assert "tells nothing of direction of the wind sea" in said(part)


def test_a_lake_has_no_sea_and_that_is_one_note():
    body = sample("open_meteo_marine")
    for name, values in body["hourly"].items():
        if name != "time":
            body["hourly"][name] = [None] * len(values)
    part = open_meteo.parse_sea(answer(body), ISLAND)
    assert part.series == ()
    assert len(part.notes) == 1 and "knows no sea at this place" in said(part)


def test_an_hour_that_is_left_out_is_not_known():
    body = sample("open_meteo_forecast")
    for values in body["hourly"].values():
        del values[2]
    part = open_meteo.parse_weather(answer(body), ISLAND)
    wind = by_quantity(part)["wind_m_s"]
    assert wind.values == (5.2, 5.4, None, 6.1, 6.0, 5.7) and wind.starts[2] == at(2)
    assert "leaves out 1 of 6 hours" in said(part)


def test_holes_are_told():
    body = sample("open_meteo_forecast")
    body["hourly"]["wind_speed_10m"][1:3] = [None, None]
    part = open_meteo.parse_weather(answer(body), ISLAND)
    assert by_quantity(part)["wind_m_s"].values == (5.2, None, None, 6.1, 6.0, 5.7)
    assert "leaves out 2 of 6 values of wind before 14 June 05:00 UTC" in said(part)


def test_other_units_are_converted_by_the_name_that_the_answer_gives():
    body = sample("open_meteo_forecast")
    body["hourly_units"] |= {
        "wind_speed_10m": "km/h", "wind_gusts_10m": "kn", "visibility": "ft", "temperature_2m": "°F",
        "precipitation": "inch",
    }  # fmt: skip
    body["hourly"]["wind_speed_10m"][0] = 36.0  # 10 m/s
    body["hourly"]["wind_gusts_10m"][0] = 20.0  # 10.289 m/s: a knot is 1852 m in 3600 s
    body["hourly"]["visibility"][0] = 1000.0  # 304.8 m
    body["hourly"]["temperature_2m"][0] = 50.0  # 10 degrees Celsius
    body["hourly"]["precipitation"][0] = 0.5  # 12.7 mm
    found = by_quantity(open_meteo.parse_weather(answer(body), ISLAND))
    assert found["wind_m_s"].values[0] == pytest.approx(10.0)
    assert found["gust_m_s"].values[0] == pytest.approx(10.289, abs=0.0005)
    assert found["visibility_m"].values[0] == pytest.approx(304.8)
    assert found["air_c"].values[0] == pytest.approx(10.0)
    assert found["rain_mm"].values[0] == pytest.approx(12.7)


@pytest.mark.parametrize("unit", ["furlongs/fortnight", "", None, 7, "°"])
def test_a_unit_that_is_not_known_drops_the_quantity_with_a_note(unit):
    body = sample("open_meteo_marine")
    body["hourly_units"]["swell_wave_height"] = unit
    part = open_meteo.parse_sea(answer(body), ISLAND)
    assert "swell_m" not in by_quantity(part) and "wave_m" in by_quantity(part)
    assert "gives height of the swell" in said(part) and "not used" in said(part)


def test_another_time_zone_is_refused():
    body = sample("open_meteo_forecast") | {"utc_offset_seconds": -3600, "timezone": "Atlantic/Azores"}
    part = open_meteo.parse_weather(answer(body), ISLAND)
    assert part.series == () and 'in the time of "Atlantic/Azores", not in UTC' in said(part)
    del body["utc_offset_seconds"]
    assert "does not say in which time zone" in said(open_meteo.parse_weather(answer(body), ISLAND))


@pytest.mark.parametrize("latitude, longitude", [(47.3, -17.0), (47.0, -16.6), (-47.0, 17.0), (0, 0)])
def test_an_answer_for_another_place_is_refused(latitude, longitude):
    body = sample("open_meteo_forecast") | {"latitude": latitude, "longitude": longitude}
    part = open_meteo.parse_weather(answer(body), ISLAND)
    assert part.series == () and "km away" in said(part)


@pytest.mark.parametrize("latitude, longitude", [(None, -17.0), ("47", -17.0), (True, -17.0), (470, -17.0)])
def test_an_answer_that_does_not_say_for_where_is_refused(latitude, longitude):
    body = sample("open_meteo_forecast") | {"latitude": latitude, "longitude": longitude}
    part = open_meteo.parse_weather(answer(body), ISLAND)
    assert part.series == () and "place" in said(part)


@pytest.mark.parametrize(
    "times, words",
    [
        (["2026-06-14T01:00", "2026-06-14T01:00"], "doubled or out of order"),
        (["2026-06-14T02:00", "2026-06-14T01:00"], "doubled or out of order"),
        (["2026-06-14T01:00", "yesterday"], "where a time belongs"),
        (["2026-06-14T01:00", None], "where a time belongs"),
        (["2026-06-14T01:00", "2026-06-14T03:20"], "not hour by hour"),
        (["1970-01-01T00:00", "2026-06-14T03:00"], "not hour by hour"),
        (["2026-06-13T01:00", "2026-06-13T02:00"], "before now"),
        ([], "empty"),
    ],
)
def test_times_that_cannot_be_refuse_the_answer(times, words):
    body = sample("open_meteo_forecast")
    body["hourly"] = {"time": times, "wind_speed_10m": [5.0] * len(times)}
    part = open_meteo.parse_weather(answer(body), ISLAND)
    assert part.series == () and words in said(part)


def test_as_many_values_as_times_or_none():
    body = sample("open_meteo_forecast")
    body["hourly"]["wind_speed_10m"].pop()
    part = open_meteo.parse_weather(answer(body), ISLAND)
    assert part.series == () and "6 times but 5 values of wind_speed_10m" in said(part)


def test_values_that_cannot_be_are_left_out_with_a_note():
    body = sample("open_meteo_forecast")
    body["hourly"]["wind_speed_10m"] = [5.0, -1.0, 900.0, "5", True, 10**400]
    part = open_meteo.parse_weather(answer(body), ISLAND)
    assert by_quantity(part)["wind_m_s"].values == (5.0, None, None, None, None, None)
    assert "5 values of wind that cannot be" in said(part)


def test_a_quantity_without_any_value_is_told_and_no_series():
    body = sample("open_meteo_forecast")
    del body["hourly"]["wind_gusts_10m"]
    body["hourly"]["wind_speed_10m"] = [None] * 6
    part = open_meteo.parse_weather(answer(body), ISLAND)
    assert not {"wind_m_s", "gust_m_s"} & set(by_quantity(part))
    assert "tells nothing of wind " in said(part) and "tells nothing of gusts" in said(part)


def test_members_of_an_ensemble_are_kept_apart():
    body = sample("open_meteo_forecast")
    hourly = body["hourly"]
    for member, factor in ((1, 1.1), (2, 1.3)):
        hourly[f"wind_speed_10m_member{member:02d}"] = [value * factor for value in hourly["wind_speed_10m"]]
        hourly[f"wind_gusts_10m_member{member:02d}"] = hourly["wind_gusts_10m"]
        body["hourly_units"][f"wind_speed_10m_member{member:02d}"] = "m/s"
    part = open_meteo.parse_ensemble(answer(body), ISLAND)
    assert part.series == () and len(part.members) == 2
    winds = [next(series for series in member if series.quantity == "wind_m_s") for member in part.members]
    assert [wind.values[0] for wind in winds] == pytest.approx([5.72, 6.76])
    assert "2 of 2 members are not complete" in said(part)  # direction and rain are missing
    assert "holds no ensemble" in said(open_meteo.parse_ensemble(answer(sample("open_meteo_forecast")), ISLAND))


# ---- MET Norway ----


def test_met_norway_weather_is_read_as_published():
    body = sample("met_locationforecast_compact")
    part = met_norway.parse_weather(answer(body), NORWAY)
    found = by_quantity(part)
    assert found["wind_m_s"].values == (5.3, 8.1, 3.0)
    assert found["wind_m_s"].starts == (at(6), at(18, 16), at(0, 23))
    assert found["air_c"].values == (11.2, 10.4, 12.0)
    assert "CC BY 4.0" in found["wind_m_s"].origin.attribution
    assert "tells nothing of gusts" in said(part)  # they stand in the complete answer only


def test_met_norway_rain_never_counts_twice():
    found = by_quantity(met_norway.parse_weather(answer(sample("met_locationforecast_compact")), NORWAY))
    rain = found["rain_mm"]
    # the next hour where it is told, else the next six; the last time has neither
    assert list(zip(rain.starts, rain.ends, rain.values, strict=True)) == [
        (at(6), at(7), 0.0),
        (at(18, 16), at(0, 17), 4.2),
    ]


def test_six_hours_of_rain_do_not_reach_over_the_next_time():
    body = sample("met_locationforecast_compact")
    del body["properties"]["timeseries"][0]["data"]["next_1_hours"]
    body["properties"]["timeseries"][1]["time"] = "2026-06-14T07:00:00Z"
    rain = by_quantity(met_norway.parse_weather(answer(body), NORWAY))["rain_mm"]
    assert rain.values[0] is None and rain.ends[0] == rain.starts[1] == at(7)


def test_thunder_stands_in_the_symbol():
    body = sample("met_locationforecast_compact")
    body["properties"]["timeseries"][0]["data"]["next_1_hours"]["summary"]["symbol_code"] = "rainandthunder"
    thunder = by_quantity(met_norway.parse_weather(answer(body), NORWAY))["thunder"]
    assert thunder.values == (1.0, 0.0)


def test_met_norway_gusts_of_the_complete_answer():
    body = sample("met_locationforecast_compact")
    body["properties"]["meta"]["units"]["wind_speed_of_gust"] = "m/s"
    body["properties"]["timeseries"][0]["data"]["instant"]["details"]["wind_speed_of_gust"] = 9.4
    assert by_quantity(met_norway.parse_weather(answer(body), NORWAY))["gust_m_s"].values[0] == 9.4


def test_met_norway_sea_is_read_as_published_with_the_point_that_it_moved_to():
    asked = Asked(62.47, 6.11, at(6))
    found = by_quantity(met_norway.parse_sea(answer(sample("met_oceanforecast")), asked))
    assert found["wave_m"].values == (0.6, 0.6) and found["wave_from_deg"].values == (284.1, 285.0)
    assert found["water_c"].values == (10.3, 10.3)
    assert (found["wave_m"].origin.latitude_deg, found["wave_m"].origin.longitude_deg) == (62.4811, 6.0953)
    assert set(found) == {"wave_m", "wave_from_deg", "water_c"}  # the current says where it goes to; it is not used


def test_met_norway_says_when_it_was_issued():
    late = Answer(sample("met_locationforecast_compact"), datetime(2026, 6, 14, 5, 30, tzinfo=UTC))
    (origin,) = {series.origin for series in met_norway.parse_weather(late, NORWAY).series}
    assert origin.issued == datetime(2026, 6, 14, 5, 22, 10, tzinfo=UTC)


def test_a_forecast_from_the_future_has_no_known_age():
    early = answer(sample("met_locationforecast_compact"))  # fetched three hours before it says it was issued
    assert {series.origin.issued for series in met_norway.parse_weather(early, NORWAY).series} == {None}


@pytest.mark.parametrize("series", [[], None, {}, "x"])
def test_a_point_on_land_without_a_forecast_is_a_note(series):
    body = sample("met_oceanforecast")
    body["properties"]["timeseries"] = series
    part = met_norway.parse_sea(answer(body), NORWAY)
    assert part.series == () and "holds no forecast" in said(part)


# ---- US National Weather Service ----


def test_the_layers_of_a_grid_are_read_each_with_its_own_spans():
    part = national_weather_service.parse_grid(answer(sample("nws_gridpoint")), COAST)
    found = by_quantity(part)
    wind = found["wind_m_s"]
    assert wind.values == pytest.approx((11.1 / 3.6, 16.7 / 3.6))  # km/h
    assert (wind.starts, wind.ends) == ((at(12), at(15)), (at(15), at(17)))
    assert found["gust_m_s"].values == pytest.approx((22.2 / 3.6,))
    assert found["air_c"].values == (12.2, 12.8)
    assert found["wave_m"].values == (1.8288, 2.1336)
    assert found["wave_m"].ends[1] == at(18) + timedelta(hours=30)  # P1DT6H
    assert found["wave_s"].values == (13,) and found["wave_from_deg"].values == (310,)
    assert "tells nothing of visibility" in said(part)


def test_thunder_stands_in_the_words_of_the_weather():
    body = sample("nws_gridpoint")
    body["properties"]["weather"] = {
        "values": [
            {"validTime": "2026-06-14T12:00:00+00:00/PT1H", "value": [{"coverage": None, "weather": None}]},
            {
                "validTime": "2026-06-14T13:00:00+00:00/PT2H",
                "value": [{"weather": "rain"}, {"weather": "thunderstorms"}],
            },
            {"validTime": "2026-06-14T15:00:00+00:00/PT1H", "value": None},
        ]
    }
    thunder = by_quantity(national_weather_service.parse_grid(answer(body), COAST))["thunder"]
    assert thunder.values == (0.0, 1.0, None)


@pytest.mark.parametrize("valid", ["2026-06-14T12:00:00+00:00", "2026-06-14T12:00:00+00:00/PT0H", "PT3H", 5, None])
def test_a_span_that_cannot_be_drops_its_layer(valid):
    body = sample("nws_gridpoint")
    body["properties"]["windSpeed"]["values"][0]["validTime"] = valid
    part = national_weather_service.parse_grid(answer(body), COAST)
    assert "wind_m_s" not in by_quantity(part) and "windSpeed is not used" in said(part)
    assert "gust_m_s" in by_quantity(part)


def test_spans_that_overlap_drop_their_layer():
    body = sample("nws_gridpoint")
    body["properties"]["windSpeed"]["values"][0]["validTime"] = "2026-06-14T12:00:00+00:00/PT9H"
    part = national_weather_service.parse_grid(answer(body), COAST)
    assert "wind_m_s" not in by_quantity(part) and "overlap" in said(part)


# ---- NOAA CO-OPS ----


def test_high_and_low_waters_are_read_as_published():
    points = co_ops.parse_turning_points(sample("coops_predictions_hilo"))
    assert [(f"{point.time:%H:%M}", point.kind, point.height_m) for point in points] == [
        ("02:11", "low", 0.312), ("08:26", "high", 1.204), ("13:58", "low", 0.655), ("20:17", "high", 1.731),
    ]  # fmt: skip
    assert all(point.time.tzinfo is UTC for point in points)


@pytest.mark.parametrize(
    "row, words",
    [
        ({"t": "2026-06-14 08:26", "v": "1.204", "type": "L"}, "two low waters"),
        ({"t": "2026-06-14 01:00", "v": "1.204", "type": "H"}, "does not come after"),
        ({"t": "2026-06-14 08:26", "v": "0.1", "type": "H"}, "lower than the low water"),
        ({"t": "2026-06-14 08:26", "v": "", "type": "H"}, "height"),
        ({"t": "2026-06-14 08:26", "v": "120.4", "type": "H"}, "height"),
        ({"t": "2026-06-14 08:26", "v": None, "type": "H"}, "height"),
        ({"t": "2026-06-14 08:26", "v": "1.2", "type": "X"}, "neither high nor low"),
        ({"t": "soon", "v": "1.2", "type": "H"}, "where a time belongs"),
    ],
)
def test_one_water_that_cannot_be_refuses_the_table(row, words):
    body = sample("coops_predictions_hilo")
    body["predictions"][1] = row
    with pytest.raises(Unusable, match=words):
        co_ops.parse_turning_points(body)


# ---- every body ----


@pytest.mark.parametrize(
    "raw, words",
    [
        (b"<html><body>Forbidden</body></html>", "a web page"),
        (b'{"hourly": {"time": ["2026-06-14T0', "cut short"),
        (b"", "damaged"),
        (b"\xff\xfe\x00", "damaged"),
        (b"[1, 2]", "not in the agreed form"),
        (b'{"latitude": NaN}', "damaged"),
        (b'{"a": ' + b"[" * 100_000, "damaged"),
        (b'{"a": ' + b"9" * 10_000 + b"}", "damaged"),
    ],
)
def test_a_body_that_is_no_answer_is_refused(raw, words):
    with pytest.raises(Unusable, match=words):
        read_body(raw)


@pytest.mark.parametrize(
    "name, words",
    [
        ("open_meteo_error", "wave_hight"),
        ("open_meteo_too_many", "Minutely API request limit exceeded"),
        ("coops_error", "No Predictions data was found"),
        ("coops_forbidden", "Forbidden"),
        ("nws_problem", "Data Unavailable For Requested Point"),
    ],
)
def test_an_error_that_comes_as_an_answer_is_refused_in_the_services_words(name, words):
    import json

    with pytest.raises(Unusable, match=words):
        read_body(json.dumps(sample(name)).encode())


def test_a_key_in_a_services_words_is_not_repeated():
    with pytest.raises(Unusable) as refused:
        read_body(b'{"error": true, "reason": "wrong apikey=abc123XYZ given"}')
    assert "abc123XYZ" not in str(refused.value)


def test_every_unit_here_is_known_by_at_least_one_name_of_a_service():
    names = ("m/s", "°", "°C", "mm", "m", "s")
    for key in ("wind_m_s", "wind_from_deg", "air_c", "rain_mm", "swell_m", "swell_s"):
        assert sum(converter(key, name) is not None for name in names) == (2 if key == "rain_mm" else 1)


# ---- whatever comes, nothing is raised and nothing is made up ----

WRONG = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**400), 10**400), st.floats(), st.text(max_size=5),
    st.sampled_from(["2026-06-14T04:00", "9999-12-31T23:59Z", "0001-01-01T00:00", "km/h", "", "NaN"]),
    st.just([]), st.just({}), st.lists(st.none() | st.integers(), max_size=3),
)  # fmt: skip


def _places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path] if path else []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        found += _places(inner, (*path, key))
    return found


@st.composite
def damaged(draw: st.DrawFn, name: str) -> Any:
    body = copy.deepcopy(sample(name))
    for _ in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(_places(body)))
        inside = body
        for key in path[:-1]:
            inside = inside[key]
        if draw(st.booleans()) and isinstance(inside, dict):
            del inside[path[-1]]
        else:
            inside[path[-1]] = draw(WRONG)
        if not body:
            break
    return body


READERS = {
    "open_meteo_forecast": (open_meteo.parse_weather, ISLAND),
    "open_meteo_marine": (open_meteo.parse_sea, ISLAND),
    "met_locationforecast_compact": (met_norway.parse_weather, NORWAY),
    "met_oceanforecast": (met_norway.parse_sea, Asked(62.47, 6.11, at(6))),
    "nws_gridpoint": (national_weather_service.parse_grid, COAST),
}


@pytest.mark.parametrize("name", READERS)
@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_a_damaged_answer_never_raises_and_never_makes_up_a_value(name, data):
    read, asked = READERS[name]
    whole = by_quantity(read(answer(sample(name)), asked))
    body = data.draw(damaged(name))
    part = read(answer(body), asked)
    for quantity in whole.keys() - {series.quantity for series in part.series}:
        assert part.notes, f"{quantity} is gone without a word"
    for series in part.series:
        assert any(value is not None for value in series.values)
        for value in series.values:
            known = QUANTITIES[series.quantity]
            assert value is None or known.lowest <= value <= known.highest


@pytest.mark.parametrize(
    "body", [{}, {"hourly": {}}, {"properties": {}}, {"properties": [], "hourly": 3, "geometry": 1}]
)
@pytest.mark.parametrize("name", READERS)
def test_an_empty_answer_is_one_note(name, body):
    read, asked = READERS[name]
    part = read(answer(body), asked)
    assert part.series == () and len(part.notes) == 1


@settings(max_examples=150, deadline=None)
@given(body=damaged("coops_predictions_hilo"))
def test_a_damaged_tide_table_is_refused_or_in_order(body):
    try:
        points = co_ops.parse_turning_points(body)
    except Unusable:
        return
    assert all(one.time < two.time and one.kind != two.kind for one, two in itertools.pairwise(points))


@settings(max_examples=100, deadline=None)
@given(raw=st.binary(max_size=200))
def test_any_bytes_are_an_answer_or_refused(raw):
    try:
        assert isinstance(read_body(raw), dict)
    except Unusable as error:
        assert str(error)
