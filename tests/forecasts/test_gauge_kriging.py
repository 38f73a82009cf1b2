"""Gauges merged into gridded rain: the gauge holds at its place, the grid far away."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readiness.atmosphere.weather import HOUR, Weather
from readiness.forecasts.gauge_kriging import (
    CORRELATION_KM,
    GRID_ERROR_MM,
    GRID_ERROR_SHARE,
    GaugeReading,
    distance_km,
    kriging_weights,
    merge_gauges,
)

START = np.datetime64("2026-07-01T12", "h")


def records(rain, humidity=None):
    rain = np.atleast_2d(np.asarray(rain, dtype=float))[None]
    rows = {n: np.full(rain.shape, 1.0) for n in ("temp", "humidity", "wind", "gust", "radiation")}
    if humidity is not None:
        rows["humidity"] = np.broadcast_to(humidity, rain.shape)
    return Weather(start=START, rain=rain, **rows, estimated=np.zeros(rain.shape, dtype=bool))


def reading(lat, lon, mm, start=0, hours=24):
    return GaugeReading(lat=lat, lon=lon, start=START + start * HOUR, hours=hours, mm=mm)


# published: one degree of a great circle is 111.19 km on a sphere of 6371 km
def test_distance():
    km = distance_km(
        np.array([47.0]), np.array([-99.0]), np.array([48.0, 47.0]), np.array([-99.0, -98.0])
    )
    assert km[0] == pytest.approx([111.19, 111.19 * np.cos(np.radians(47.0))], rel=1e-3)


# hand: simple kriging of one gauge has weight exp(-d / L) and leaves 1 - exp(-2 d / L)
def test_one_gauge():
    weights, remaining = kriging_weights(
        np.array([47.0, 47.0]), np.array([-99.0, -98.5]), np.array([47.0]), np.array([-99.0])
    )
    d = 111.195 * 0.5 * np.cos(np.radians(47.0))
    assert weights[:, 0] == pytest.approx([1.0, np.exp(-d / CORRELATION_KM)], rel=1e-3)
    assert remaining == pytest.approx([0.0, 1 - np.exp(-2 * d / CORRELATION_KM)], abs=1e-3)


# hand: two gauges symmetric about the place: w = c / (1 + b), c to the place, b between them
def test_two_gauges():
    weights, _ = kriging_weights(
        np.array([47.0]), np.array([-99.0]), np.array([47.0, 47.0]), np.array([-99.2, -98.8])
    )
    d = 111.195 * 0.2 * np.cos(np.radians(47.0))
    c, b = np.exp(-d / CORRELATION_KM), np.exp(-2 * d / CORRELATION_KM)
    assert weights[0] == pytest.approx([c / (1 + b)] * 2, rel=1e-3)


def test_gauge_overrides_the_grid_where_and_when_it_is():
    grid = np.zeros((2, 48))
    grid[:, 10:14] = [[1, 2, 3, 2], [1, 2, 3, 2]]
    grid[:, 30] = 5.0
    near, far = (47.0, -99.0), (47.0, -90.0)
    merged, error = merge_gauges(
        records(grid),
        np.array([near[0], far[0]]),
        np.array([near[1], far[1]]),
        readings=[reading(*near, 16.0)],
    )
    assert merged.rain[0, 0, :24].sum() == pytest.approx(16.0, rel=1e-6)
    assert merged.rain[0, 0, 10:14] == pytest.approx([2, 4, 6, 4], rel=1e-6)  # by the grid's hours
    assert merged.rain[0, 1] == pytest.approx(grid[1], abs=1e-6)  # far: the grid's
    assert merged.rain[0, 0, 30] == 5.0  # when there is no reading: the grid's
    assert merged.estimated[0, 0, 10:14].all()
    assert not merged.estimated[0, 0, 24:].any()
    assert error[0, 0] == pytest.approx(0.0, abs=1e-2)
    assert error[1, 0] == pytest.approx(GRID_ERROR_MM + GRID_ERROR_SHARE * 8.0, rel=1e-3)
    assert np.isnan(error[:, 24:]).all()


def test_a_dry_gauge_makes_its_field_dry():
    grid = np.zeros((1, 24))
    grid[0, 5] = 9.0
    merged, _ = merge_gauges(
        records(grid), np.array([47.0]), np.array([-99.0]), readings=[reading(47.0, -99.0, 0.0)]
    )
    assert merged.rain.sum() == pytest.approx(0.0, abs=1e-6)


def test_rain_the_grid_missed_falls_in_the_moistest_hours():
    humidity = np.full(24, 50.0)
    humidity[14:18] = 95.0
    merged, _ = merge_gauges(
        records(np.zeros((1, 24)), humidity),
        np.array([47.0]),
        np.array([-99.0]),
        readings=[reading(47.0, -99.0, 8.0)],
    )
    assert merged.rain[0, 0, 14:18] == pytest.approx([2.0] * 4, rel=1e-6)
    assert merged.rain.sum() == pytest.approx(8.0, rel=1e-6)


def test_hours_come_from_another_site_before_an_assumed_shower():
    grid = np.zeros((2, 24))
    grid[1, 3] = 4.0
    merged, _ = merge_gauges(
        records(grid),
        np.array([47.0, 47.0]),
        np.array([-99.0, -90.0]),
        readings=[reading(47.0, -99.0, 6.0)],
    )
    assert merged.rain[0, 0, 3] == pytest.approx(6.0, rel=1e-6)


def test_gauges_replace_unknown_gridded_rain():
    grid = np.full((2, 24), np.nan)
    merged, _ = merge_gauges(
        records(grid),
        np.array([47.0, 47.0]),
        np.array([-99.0, -90.0]),
        readings=[reading(47.0, -99.0, 6.0)],
    )
    assert merged.rain[0, 0].sum() == pytest.approx(6.0, rel=1e-6)
    assert np.isnan(merged.rain[0, 1]).all()  # too far away: unknown stays unknown


def test_shorter_readings_override_and_partial_ones_are_left_out():
    grid = np.ones((1, 24))
    merged, _ = merge_gauges(
        records(grid),
        np.array([47.0]),
        np.array([-99.0]),
        readings=[
            reading(47.0, -99.0, 48.0),
            reading(47.0, -99.0, 7.0, start=5, hours=1),
            reading(47.0, -99.0, 500.0, start=-3),
            reading(47.0, -99.0, 500.0, start=20),
        ],
    )
    assert merged.rain[0, 0, 5] == pytest.approx(7.0, rel=1e-6)
    assert merged.rain[0, 0, 6] == pytest.approx(2.0, rel=1e-6)


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_laws(data):
    """Rain is never negative, a field at a gauge has its amount, known rain stays known."""
    n, g = data.draw(st.integers(1, 4)), data.draw(st.integers(1, 4))
    rng = np.random.default_rng(data.draw(st.integers(0, 2**31)))
    lat, lon = 47 + rng.random(n), -99 + rng.random(n)
    grid = rng.gamma(0.3, 3.0, (n, 24)) * (rng.random((n, 1)) < 0.7)
    spots = [(47 + rng.random(), -99 + rng.random()) for _ in range(g)]
    spots[0] = float(lat[0]), float(lon[0])
    amounts = rng.gamma(0.5, 8.0, g).round(1)
    merged, error = merge_gauges(
        records(grid),
        lat,
        lon,
        readings=[reading(*s, a) for s, a in zip(spots, amounts, strict=True)],
    )
    assert (merged.rain >= 0).all()
    assert merged.rain[0, 0].sum() == pytest.approx(amounts[0], abs=1e-3)
    assert np.isfinite(error).all()
    assert (error >= 0).all()


def test_stated_error_equals_the_cross_validation_error():
    """Random fields with the assumed correlation: errors at a left-out gauge match the stated."""
    rng = np.random.default_rng(4)
    lat, lon = 47 + rng.random(12) * 0.6, -99 + rng.random(12) * 0.8
    cover = np.exp(-distance_km(lat, lon, lat, lon) / CORRELATION_KM)
    root = np.linalg.cholesky(cover + 1e-9 * np.eye(12))
    ratio, days = [], 40
    for _ in range(days):
        field = 20.0 + 5.0 * (root @ rng.normal(size=12))
        grid = np.zeros((12, 24))
        grid[:, 6] = 20.0
        sd = GRID_ERROR_MM + GRID_ERROR_SHARE * 20.0
        all_readings = [
            reading(a, b, max(mm, 0.0)) for a, b, mm in zip(lat, lon, field, strict=True)
        ]
        for i, left_out in enumerate(all_readings):
            merged, error = merge_gauges(
                records(grid), lat, lon, readings=[r for r in all_readings if r is not left_out]
            )
            ratio.append((left_out.mm - merged.rain[0, i].sum()) / (error[i, 0] * 5.0 / sd))
    assert np.std(ratio) == pytest.approx(1.0, abs=0.2)
