"""Service responses as hourly frames: ten cells of every real payload by hand; refusals; gaps."""

import json
from contextlib import suppress

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from places import DATA, SAMPLE

from readiness.atmosphere.air import dew_point, relative_humidity
from readiness.atmosphere.gaps import bridge_short_gaps, cloudy_radiation, fill_gaps
from readiness.atmosphere.solar import clear_sky_mid_hour
from readiness.atmosphere.weather import Weather
from readiness.sources.nws import iso_interval, nearest_station, parse_alerts, point_links
from readiness.sources.payload import PayloadError, in_frame_unit, parse_quantity
from readiness.sources.responses import parse_response

RECORDS = DATA / "forecast_payloads"
need_data = pytest.mark.skipif(
    not RECORDS.is_dir(), reason="open data of real payloads (../shared/data) are not here"
)
NAN = float("nan")


def load(name):
    return json.loads((RECORDS / name).read_text(encoding="utf-8"))


def cell(weather, name, hour):
    at = int((np.datetime64(hour, "h") - weather.start).astype(int))
    return float(getattr(weather, name)[0, 0, at])


# hand: values read from the text of the payload. Rain and gust of an hour stand at the next label;
# temperature, humidity and wind are the mean of both ends of the hour; km/h / 3.6 = m/s.
MELBOURNE = [
    ("temp", "2025-10-25T00", (15.5 + 16.2) / 2),
    ("temp", "2025-10-25T01", (16.2 + 16.9) / 2),
    ("rain", "2025-10-25T00", 0.3),  # 0.3 at 01:00
    ("rain", "2025-10-25T01", 0.0),  # 0.0 at 02:00
    ("humidity", "2025-10-25T00", (61 + 60) / 2),
    ("humidity", "2025-10-25T01", (60 + 58) / 2),
    ("wind", "2025-10-25T00", (4.1 + 6.3) / 2 / 3.6),
    ("wind", "2025-10-25T01", (6.3 + 7.6) / 2 / 3.6),
    ("gust", "2025-10-25T00", 15.1 / 3.6),
    ("gust", "2025-10-25T01", 18.0 / 3.6),
]
NEW_JERSEY = [
    ("temp", "2025-12-29T00", -1.3),
    ("temp", "2025-12-29T01", -1.3),
    ("rain", "2025-12-29T00", 0.0),
    ("rain", "2026-01-11T22", 0.0),
    ("humidity", "2025-12-29T00", (88 + 87) / 2),
    ("humidity", "2025-12-29T01", (87 + 89) / 2),
    ("wind", "2025-12-29T00", (2.8 + 2.2) / 2 / 3.6),
    ("wind", "2025-12-29T01", (2.2 + 2.0) / 2 / 3.6),
    ("gust", "2025-12-29T00", 6.8 / 3.6),
    ("gust", "2026-01-11T22", 54.7 / 3.6),
]
AUTUMN = [
    ("temp", "2025-05-09T00", (13.6 + 15.5) / 2),
    ("temp", "2025-05-09T01", (15.5 + 16.7) / 2),
    ("rain", "2025-05-09T00", 0.0),
    ("rain", "2025-05-15T22", 0.0),
    ("humidity", "2025-05-09T00", (68 + 60) / 2),
    ("humidity", "2025-05-09T01", (60 + 56) / 2),
    ("wind", "2025-05-09T00", (3.1 + 2.9) / 2 / 3.6),
    ("wind", "2025-05-09T01", (2.9 + 3.6) / 2 / 3.6),
    ("gust", "2025-05-09T00", 9.7 / 3.6),
    ("gust", "2025-05-15T22", 22.3 / 3.6),
]
# hand: a value holds through its interval; an amount is spread evenly over its hours
GRIDPOINT = [
    ("temp", "2022-02-03T21", 22.77777777777778),
    ("humidity", "2022-02-03T21", 73.0),
    ("humidity", "2022-02-03T22", 76.0),
    ("wind", "2022-02-03T21", 20.372 / 3.6),
    ("wind", "2022-02-03T22", 20.372 / 3.6),  # PT2H
    ("gust", "2022-02-03T22", 29.632 / 3.6),
    ("rain", "2022-02-03T23", 0.0),  # 0 in PT3H
    ("rain", "2022-02-04T06", 2.032 / 6),  # 2.032 mm in PT6H
    ("rain", "2022-02-04T17", 4.826 / 6),
    ("rain", "2022-02-05T05", 3.048 / 6),
]
HOURLY_TEXT = [
    ("temp", "2019-10-15T00", (78 - 32) / 1.8),  # 20:00 at -04:00
    ("temp", "2019-10-15T01", (77 - 32) / 1.8),
    ("humidity", "2019-10-15T00", 63.0),
    ("humidity", "2019-10-15T01", 63.0),
    ("wind", "2019-10-15T00", 0.0),
    ("wind", "2019-10-15T01", 0.0),
    ("rain", "2019-10-15T00", NAN),
    ("rain", "2019-10-15T01", NAN),
    ("gust", "2019-10-15T00", NAN),
    ("radiation", "2019-10-15T01", NAN),
]
OBSERVATION = [
    ("temp", "2022-03-02T23", 22.8),
    ("humidity", "2022-03-02T23", 75.770935807607),
    ("wind", "2022-03-02T23", 7.56 / 3.6),
    ("gust", "2022-03-02T23", NAN),  # null
    ("rain", "2022-03-02T23", NAN),  # null; six hours' rain is another variable
    ("radiation", "2022-03-02T23", NAN),
]


@need_data
@pytest.mark.parametrize(
    ("name", "shape", "cells"),
    [
        ("OpenMeteo_forecast_Melbourne_20251025.json", (1, 1, 167), MELBOURNE),
        ("OpenMeteo_forecast_NewJersey_20251229.json", (1, 1, 335), NEW_JERSEY),
        ("OpenMeteo_response_20250509.json", (1, 1, 167), AUTUMN),
        ("NWS_gridpoints_TAE_58_65_20220204_raw.json", (1, 1, 7 * 24 + 14), GRIDPOINT),
        ("NWS_gridpoints_forecast_hourly_us.json", (1, 1, 2), HOURLY_TEXT),
        ("NWS_stations_observations_latest.json", (1, 1, 1), OBSERVATION),
    ],
    ids=lambda v: v if isinstance(v, str) else "",
)
def test_real_payloads_by_hand(name, shape, cells):
    weather = parse_response(load(name)).weather
    assert weather.shape == shape
    for variable, hour, value in cells:
        got = cell(weather, variable, hour)
        assert got == pytest.approx(value, abs=1e-9, nan_ok=True), (variable, hour)


@need_data
def test_gridpoint_keeps_its_rain():
    """The amounts of the layer add up to the rain of the frame."""
    payload = load("NWS_gridpoints_TAE_58_65_20220204_raw.json")
    steps = payload["properties"]["quantitativePrecipitation"]["values"]
    found = parse_response(payload)
    assert np.nansum(found.weather.rain) == pytest.approx(sum(s["value"] for s in steps))
    assert np.isnan(found.weather.rain).any()  # the rain layer covers fewer days than temperature
    assert str(found.issued) == "2022-02-04T03"
    assert found.lat == pytest.approx(30.02, abs=0.02)
    assert found.lon == pytest.approx(-84.98, abs=0.02)
    assert np.isfinite(found.weather.radiation).sum() > 100  # from sky cover
    assert found.weather.estimated.any()


@need_data
def test_links_and_stations():
    links = point_links(load("NWS_points.json"))
    assert links[0].endswith("/gridpoints/TAE/58,65")
    assert links[1].endswith("/gridpoints/TAE/58,65/stations")
    assert nearest_station(load("NWS_gridpoints_stations.json")) == "KCMH"


@need_data
def test_twelve_hour_text_is_refused_with_what_to_use():
    with pytest.raises(PayloadError, match="gridpoint"):
        parse_response(load("NWS_gridpoints_forecast_us.json"))


def test_sample_ensemble_by_hand():
    """Hours of our sample: rain and radiation from the next label, members by their names."""
    sample = SAMPLE / "forecasts"
    path = sorted(sample.glob("ensemble_*.json"))[0]
    payload = json.loads(path.read_text(encoding="utf-8"))["payload"]
    weather = parse_response(payload).weather
    assert weather.shape == (31, 1, 383)
    hourly = payload["hourly"]
    for member, suffix in ((0, ""), (1, "_member01"), (30, "_member30")):
        for h in (0, 13, 200):
            rain = hourly[f"precipitation{suffix}"][h + 1]
            sun = hourly[f"shortwave_radiation{suffix}"][h + 1]
            pair = hourly[f"temperature_2m{suffix}"][h : h + 2]
            assert weather.rain[member, 0, h] == pytest.approx(rain)
            assert weather.radiation[member, 0, h] == pytest.approx(sun)
            assert weather.temp[member, 0, h] == pytest.approx(sum(pair) / 2)


def simple(**changes):
    """A small response in the form of Open-Meteo."""
    payload = {
        "latitude": 47.0,
        "longitude": -99.0,
        "utc_offset_seconds": 0,
        "hourly_units": {
            "precipitation": "mm",
            "temperature_2m": "°C",
            "relative_humidity_2m": "%",
            "wind_speed_10m": "km/h",
        },
        "hourly": {
            "time": [f"2026-08-12T{h:02d}:00" for h in range(5)],
            "precipitation": [0.0, 1.0, 0.0, 0.0, 2.0],
            "temperature_2m": [10.0, 11.0, 12.0, 13.0, 14.0],
            "relative_humidity_2m": [50, 60, 70, 80, 90],
            "wind_speed_10m": [36.0] * 5,
        },
    }
    for path, value in changes.items():
        part, _, key = path.partition("__")
        if value is None:
            del payload[part][key]
        elif key:
            payload[part][key] = value
        else:
            payload[part] = value
    return payload


# hand: 1 in = 25.4 mm; 50 °F = 10 °C; 10 m/s = 36 km/h; 22.369 mph = 10 m/s
@pytest.mark.parametrize(
    ("changes", "name", "hour", "value"),
    [
        ({}, "wind", "2026-08-12T00", 10.0),
        ({"hourly_units__precipitation": "inch"}, "rain", "2026-08-12T00", 25.4),
        ({"hourly_units__temperature_2m": "°F"}, "temp", "2026-08-12T00", (10.5 - 32) / 1.8),
        ({"hourly_units__wind_speed_10m": "m/s"}, "wind", "2026-08-12T00", 36.0),
        ({"hourly_units__wind_speed_10m": "mp/h"}, "wind", "2026-08-12T00", 36 * 0.44704),
        ({"hourly_units__wind_speed_10m": "kn"}, "wind", "2026-08-12T00", 36 * 1.852 / 3.6),
        ({"utc_offset_seconds": -18000}, "rain", "2026-08-12T05", 1.0),
        ({"hourly__precipitation": [0, None, 0, 0, 0]}, "rain", "2026-08-12T00", NAN),
    ],
)
def test_units_offsets_and_nulls(changes, name, hour, value):
    got = cell(parse_response(simple(**changes)).weather, name, hour)
    assert got == pytest.approx(value, nan_ok=True)


@pytest.mark.parametrize(
    ("payload", "message"),
    [
        (
            simple(hourly_units__precipitation="furlong"),
            'precipitation has the unknown unit "furlong"',
        ),
        (simple(hourly__precipitation=None), "precipitation is missing"),
        (simple(hourly__precipitation=[None] * 5), "precipitation is missing"),
        (simple(hourly__temperature_2m=None), "temperature_2m is missing"),
        (simple(hourly__precipitation=[0, 0]), "does not hold one value per label"),
        (simple(hourly__precipitation=[0, 0, 0, 0, "x"]), "not a number"),
        (simple(hourly__precipitation=[0, 0, 0, 0, -999]), "impossible"),
        (simple(hourly__temperature_2m=[0, 0, 0, 0, 273.15]), "impossible"),
        (simple(hourly__time=["x"] * 5), "not a time"),
        (
            simple(hourly__time=[f"2026-08-12T{3 * h:02d}:00" for h in range(5)]),
            "successive whole hours",
        ),
        ({"error": True, "reason": "Daily limit exceeded"}, "Daily limit exceeded"),
        ({}, "neither"),
        ([], "not a weather record"),
        ("<html>", "not a weather record"),
    ],
)
def test_refused_with_a_reason(payload, message):
    with pytest.raises(PayloadError, match=message):
        parse_response(payload)


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(
                    [
                        "hourly",
                        "hourly_units",
                        "properties",
                        "time",
                        "temperature_2m",
                        "precipitation",
                        "values",
                        "validTimes",
                        "temperature",
                        "features",
                        "periods",
                        "timestamp",
                        "latitude",
                    ]
                ),
                inner,
                max_size=4,
            )
        ),
        max_leaves=12,
    )
)
@settings(max_examples=150, deadline=None)
def test_anything_else_is_a_payload_error(payload):
    with suppress(PayloadError):
        parse_response(payload)


GRID = {
    "geometry": {"type": "Point", "coordinates": [-99.0, 47.0]},
    "properties": {
        "validTimes": "2026-08-12T06:00:00+00:00/PT3H",
        "updateTime": "2026-08-12T05:00:00+00:00",
        "temperature": {
            "uom": "wmoUnit:degC",
            "values": [{"validTime": "2026-08-12T06:00:00+00:00/PT3H", "value": 12.0}],
        },
        "quantitativePrecipitation": {
            "uom": "wmoUnit:mm",
            "values": [{"validTime": "2026-08-12T06:00:00+00:00/PT3H", "value": 3.0}],
        },
        "relativeHumidity": {
            "uom": "wmoUnit:percent",
            "values": [{"validTime": "2026-08-12T06:00:00+00:00/PT3H", "value": 80}],
        },
    },
}
OBSERVED = {
    "features": [
        {
            "geometry": {"type": "Point", "coordinates": [-99.0, 47.0]},
            "properties": {
                "timestamp": "2026-08-12T06:53:00+00:00",
                "temperature": {"unitCode": "wmoUnit:degC", "value": 12.0},
            },
        }
    ]
}


HOURS = {
    "geometry": {"type": "Point", "coordinates": [-99.0, 47.0]},
    "properties": {
        "periods": [
            {
                "startTime": f"2026-08-12T0{h}:00:00+00:00",
                "endTime": f"2026-08-12T0{h + 1}:00:00+00:00",
                "temperature": 60 + h,
                "temperatureUnit": "F",
                "relativeHumidity": {"unitCode": "wmoUnit:percent", "value": 80},
                "windSpeed": "5 mph",
            }
            for h in (6, 8)
        ]
    },
}


def test_hourly_text_with_a_gap():
    """Periods need not be successive: hours between them are unknown."""
    temp = parse_response(HOURS).weather.temp[0, 0]
    assert temp[[0, 2]] == pytest.approx([(66 - 32) / 1.8, (68 - 32) / 1.8])
    assert np.isnan(temp[1])
    backwards = HOURS | {"properties": {"periods": HOURS["properties"]["periods"][::-1]}}
    assert parse_response(backwards).weather.temp[0, 0] == pytest.approx(temp, nan_ok=True)


def nodes(value, path=()):
    yield path
    items = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    for key, inner in items:
        yield from nodes(inner, (*path, key))


@given(st.data())
@settings(max_examples=300, deadline=None)
def test_one_bad_node_is_read_or_refused(data):
    """A sound response with one part replaced by junk never raises anything but PayloadError."""
    payload = json.loads(json.dumps(data.draw(st.sampled_from([simple(), GRID, HOURS, OBSERVED]))))
    path = data.draw(st.sampled_from([p for p in nodes(payload) if p]))
    junk = data.draw(
        st.sampled_from([None, True, -1, 1e308, NAN, "x", "", [], {}, [None], {"a": 1}])
    )
    inner = payload
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = junk
    try:
        weather = parse_response(payload).weather
    except PayloadError:
        return
    assert np.nanmax(weather.rain, initial=0.0) <= 400.0


# published: ISO 8601 durations as the service's documentation shows them
@pytest.mark.parametrize(
    ("text", "start", "hours"),
    [
        ("2022-02-03T21:00:00+00:00/PT6H", "2022-02-03T21", 6),
        ("2022-02-03T21:00:00+00:00/P1DT6H", "2022-02-03T21", 30),
        ("2022-02-03T21:00:00-05:00/P2D", "2022-02-04T02", 48),
        ("2022-02-03T21:00:00Z/PT45M", "2022-02-03T21", 1),
        ("2022-02-03T21:00:00+00:00/P1W", "2022-02-03T21", 168),
    ],
)
def test_intervals(text, start, hours):
    assert iso_interval(text) == (np.datetime64(start, "h"), hours)


@pytest.mark.parametrize("text", ["2022-02-03T21:00:00+00:00", "x/PT1H", "/PT1H", "2022/P", None])
def test_bad_intervals(text):
    with pytest.raises(PayloadError):
        iso_interval(text)


def test_quantities():
    assert parse_quantity("5 to 10 mph", "speed", "wind") == pytest.approx(4.4704)
    assert parse_quantity({"unitCode": "wmoUnit:km_h-1", "value": 36}, "speed", "wind") == 10.0
    assert np.isnan(parse_quantity({"unitCode": "wmoUnit:mm", "value": None}, "depth", "rain"))
    with pytest.raises(PayloadError, match="cannot be read"):
        parse_quantity("breezy", "speed", "wind")
    assert in_frame_unit(2.0, "unit:m", "depth", "rain") == 2000.0


def test_alerts():
    def one(event, **more):
        facts = {
            "event": event,
            "status": "Actual",
            "messageType": "Alert",
            "onset": "2026-08-12T17:30:00-05:00",
            "ends": None,
            "expires": "2026-08-12T19:15:00-05:00",
            "headline": "H",
        } | more
        return {"properties": facts}

    found = parse_alerts(
        {
            "features": [
                one("Severe Thunderstorm Warning"),
                one("Red Flag Warning", headline=None),
                one("Tornado Watch", status="Test"),
                one("Flood Watch", messageType="Cancel"),
            ]
        }
    )
    assert [a.event for a in found] == ["Severe Thunderstorm Warning", "Red Flag Warning"]
    assert found[0].storm
    assert not found[0].fire
    assert found[1].fire
    assert str(found[0].start) == "2026-08-12T22"
    assert str(found[0].stop) == "2026-08-13T01"  # includes the hour in which it ends
    with pytest.raises(PayloadError, match="list of alerts"):
        parse_alerts({})
    with pytest.raises(PayloadError, match="no start or no end"):
        parse_alerts({"features": [one("X", onset=None)]})


# ---- gaps ----------------------------------------------------------------------------------------


def flat(hours=48, **rows):
    base = {
        "rain": 0.0,
        "temp": 20.0,
        "humidity": 60.0,
        "wind": 3.0,
        "gust": 5.0,
        "radiation": 100.0,
    }
    values = {n: np.full((1, 1, hours), v) for n, v in base.items()}
    for name, row in rows.items():
        values[name] = np.asarray(row, dtype=float).reshape(1, 1, hours)
    return Weather(
        start=np.datetime64("2026-07-15T00", "h"),
        **values,
        estimated=np.zeros((1, 1, hours), dtype=bool),
    )


# published: FAO-56 example 8/15 gives extraterrestrial radiation of 32.2 MJ/m²/day at 20° S on
# 3 September; a clear day has 0.75 of it
def test_clear_sky_is_fao_56():
    times = np.datetime64("2026-09-03T00", "h") + np.arange(24)
    day = clear_sky_mid_hour(times, lat=-20.0, lon=0.0).sum() * 3600 / 1e6
    assert day == pytest.approx(0.75 * 32.2, rel=0.01)


# hand: overcast leaves a quarter (1 - 0.75), half cloud 1 - 0.75 × 0.5^3.4 = 0.929
def test_cloud_reduces_radiation():
    times = np.datetime64("2026-07-15T18", "h") + np.arange(1)
    clear = clear_sky_mid_hour(times, lat=47.0, lon=-99.0)
    dull = cloudy_radiation(times, np.array([100.0]), lat=47.0, lon=-99.0)
    half = cloudy_radiation(times, np.array([50.0]), lat=47.0, lon=-99.0)
    assert dull == pytest.approx(0.25 * clear)
    assert half == pytest.approx(clear * (1 - 0.75 * 0.5**3.4))


# published: psychrometric tables (20 °C, 50 %: dew point 9.3 °C)
def test_dew_point():
    assert float(dew_point(np.array(20.0), np.array(50.0))) == pytest.approx(9.3, abs=0.05)
    t, h = np.array([5.0, 35.0]), np.array([99.0, 15.0])
    np.testing.assert_allclose(relative_humidity(t, dew_point(t, h)), h, rtol=1e-12)


def test_short_gaps_are_bridged_and_long_ones_not():
    row = np.array([1.0, NAN, NAN, NAN, 5.0, NAN, NAN, NAN, NAN, 9.0, NAN])
    np.testing.assert_allclose(
        bridge_short_gaps(row), [1, 2, 3, 4, 5, NAN, NAN, NAN, NAN, 9, NAN], equal_nan=True
    )


def test_unknown_humidity_wind_and_sun_are_estimated_and_flagged():
    hour = np.arange(48)
    temp = 20 + 8 * np.cos((hour - 21) * np.pi / 12)  # 12 to 28 °C
    unknown = np.full(48, NAN)
    out = fill_gaps(
        flat(temp=temp, humidity=unknown, wind=unknown, radiation=unknown), lat=47.0, lon=-99.0
    )
    assert out.estimated.all()
    assert np.isfinite(out.humidity).all()
    assert out.humidity[0, 0, 9] == pytest.approx(100.0)  # at the coldest hour the dew point
    assert out.humidity[0, 0, 21] == pytest.approx(
        float(relative_humidity(np.array(28.0), np.array(12.0)))
    )
    assert out.wind == pytest.approx(2.0 / 0.748)
    clear = clear_sky_mid_hour(out.times, lat=47.0, lon=-99.0)
    assert (out.radiation[0, 0] <= clear + 1e-9).all()
    # hand: 0.16 × sqrt(16) = 0.64 of extraterrestrial
    assert out.radiation[0, 0, 18] == pytest.approx(0.64 * clear[18] / 0.75)


def test_unknown_rain_stays_unknown():
    rain = np.zeros(48)
    rain[10:20] = NAN
    out = fill_gaps(flat(rain=rain), lat=47.0, lon=-99.0)
    assert np.isnan(out.rain[0, 0, 10:20]).all()
    assert not out.estimated.any()
