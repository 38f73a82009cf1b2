"""Dew point from temperature, rain and radiation. Kinds of test: hand, law, and station records."""

from dataclasses import replace

import numpy as np
import pytest
from places import DATA

from readiness.atmosphere.air import dew_point, saturation_pressure
from readiness.atmosphere.dew_point_estimate import (
    dry_dew_point,
    estimated_dew_point,
    potential_evaporation,
)
from readiness.atmosphere.weather import day_of_year
from readiness.sources.daily_to_hourly import elevation_or_default, estimate_missing
from readiness.sources.quality_screens import fill_short_gaps, screen_record
from readiness.sources.uscrn import read_uscrn_daily

RECORDS = DATA / "soil_moisture"
FULL = np.ones(400)


def test_hand_potential_evaporation():
    # 20 °C at sea level: slope 0.1447 kPa/°C (FAO-56 annex 2 table 2.4), psychrometric constant
    # 0.0674; share 0.6822; 1.26 × 0.6822 × 0.72 × 20 / 2.45 = 5.052 mm
    evaporation = potential_evaporation(
        np.array([26.0]), np.array([14.0]), solar=np.array([20.0]), elevation=0.0
    )
    assert evaporation == pytest.approx([5.052], abs=0.005)


def test_hand_dry_dew_point():
    # 283.15 K × (-0.127 + 1.121 × (1.003 - 0.02888 + 0.0049248 - 0.0002621) + 0.0006 × 20)
    # = 283.15 × 0.982215 = 278.114 K
    dew = dry_dew_point(np.array([30.0]), np.array([10.0]), ratio=np.array([0.02]))
    assert dew == pytest.approx([278.114 - 273.15], abs=0.01)


def test_a_humid_climate_keeps_the_lowest_temperature():
    # 5.05 mm a day evaporate, 1845 mm a year; rain of 2.1 mm a day is 767 mm: ratio 2.4
    for rain, dry in ((2.1, False), (1.9, True)):
        dew = estimated_dew_point(
            26.0 * FULL, 14.0 * FULL, rain=rain * FULL, solar=20.0 * FULL, elevation=0.0
        )
        assert (dew < 14.0).all() == dry
        assert (dew == 14.0).all() != dry


def test_unknown_days_stay_unknown_and_a_short_record_counts_as_humid():
    tmin = 14.0 * FULL
    tmin[5] = np.nan
    dew = estimated_dew_point(26.0 * FULL, tmin, rain=FULL, solar=20.0 * FULL, elevation=0.0)
    assert np.flatnonzero(np.isnan(dew)).tolist() == [5]
    days = slice(0, 300)
    short = estimated_dew_point(
        26.0 * FULL[days], tmin[days], rain=FULL[days], solar=20.0 * FULL[days], elevation=0.0
    )
    np.testing.assert_array_equal(short, tmin[days])


def dew_point_errors(path):
    """Mean error, June to September, °C: of the estimate and of the lowest temperature."""
    daily = fill_short_gaps(screen_record(read_uscrn_daily(path)))
    vapour = (
        saturation_pressure(daily.tmin) * daily.humidity_max
        + saturation_pressure(daily.tmax) * daily.humidity_min
    ) / 200.0  # FAO-56 eq. 17
    measured = dew_point(daily.tmin, 100.0 * vapour / saturation_pressure(daily.tmin))
    estimate = estimated_dew_point(
        daily.tmax,
        daily.tmin,
        rain=daily.rain,
        solar=estimate_missing(replace(daily, solar=np.full_like(daily.solar, np.nan))).solar,
        elevation=elevation_or_default(daily),
    )
    day = day_of_year(daily.days)
    summer = (day >= 152) & (day <= 273)
    return [np.nanmean((e - measured)[summer]) for e in (estimate, daily.tmin)]


@pytest.mark.skipif(not RECORDS.is_dir(), reason="open data ../shared/data/soil_moisture not there")
def test_measured_dew_points_of_the_plains():
    """U.S. Climate Reference Network (NOAA), 16 stations that the regression was not fitted to."""
    errors = np.array([dew_point_errors(p) for p in sorted(RECORDS.glob("CRND0103_*.csv.gz"))])
    assert len(errors) == 16
    estimate, lowest = errors.T
    assert estimate.mean() == pytest.approx(0.0, abs=0.3)
    assert lowest.mean() > 1.5  # the rule for humid climates alone is too moist here
    assert np.abs(estimate).mean() < 0.65 * np.abs(lowest).mean()
    assert np.abs(estimate).max() < 3.5
