"""Tillage, planting and spraying hours."""

from dataclasses import replace

import numpy as np
import pytest
from small_fields import land, limits, stand, weather

from readiness.bearing import plastic_limit
from readiness.season import Tier, simulate
from readiness.work import PLANTING_TEMP, seed_temperature, tillage_limit, work_hours


def test_plastic_limit_and_tillage():
    # published: 20 % at 18 % clay, 28 % at 53 % clay (Mueller et al. 2003); tillage best at 0.9.
    assert plastic_limit(np.array([0.18, 0.53])) == pytest.approx([20, 28])
    one = tillage_limit(np.array([0.18]), density=np.array([1.4]), offset=np.zeros(1))
    assert one == pytest.approx([0.9 * 0.20 * 1.4])


def test_corn_waits_for_50_fahrenheit():  # published: 50 °F at 4 in
    assert PLANTING_TEMP["corn"] == pytest.approx((50 - 32) / 1.8)


def test_seed_temperature_is_smooth_and_late_and_unknown_stays_unknown():
    air = 15.0 + 10.0 * np.sin(2 * np.pi * (np.arange(240) - 9) / 24.0)
    soil = seed_temperature(air)
    assert np.ptp(soil[120:]) < 0.5 * np.ptp(air)
    assert air[216:].argmax() < soil[216:].argmax()
    air[100] = np.nan
    gap = seed_temperature(air)
    assert np.isnan(gap[100])
    assert np.isfinite(gap[101])


def fit(frame, crop="corn", **facts):
    where = land(**facts)
    season = simulate(frame, where, stand(), limits())
    return season, work_hours(season, frame, where, crop=crop)


def test_rain_ends_tillage_and_cold_ends_planting():
    dry, wet = weather(6), weather(6, showers=((30, 40.0),))
    _, before = fit(dry)
    _, after = fit(wet)
    assert before["tillage"][0, 0, 40]
    assert not after["tillage"][0, 0, 40]
    assert not (after["tillage"] & ~before["tillage"]).any()
    cold = weather(6, temp=(-2.0, 12.0), dew_point=-4.0)
    assert not fit(cold)[1]["planting"].any()


def test_spraying_keeps_to_the_usual_wind_and_the_sun():
    # published: 3-10 mph; inversions until about an hour after sunrise
    frame = weather(4, wind=(4.0, 4.0))
    _, hours = fit(frame)
    day = hours["spraying"][0, 0, 72:]
    assert day[12]
    assert not day[:5].any()
    for wind in (1.0, 5.0):
        _, none = fit(replace(frame, wind=np.full_like(frame.wind, wind)))
        assert not none["spraying"].any()


def test_unknown_is_never_fit():
    frame = weather(4, wind=(4.0, 4.0))
    frame.wind[:, :, 80:90] = np.nan
    season, hours = fit(frame)
    assert (season.tier[:, :, 80:90] == Tier.UNKNOWN).all()
    for kind in ("tillage", "planting", "spraying"):
        assert not hours[kind][:, :, 80:90].any()
