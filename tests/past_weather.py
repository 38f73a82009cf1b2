"""Invented daily records of a station, for tests that need many years and no open data."""

import numpy as np

from readiness.sources.daily_record import DailyRecord


def made_up(years=8, *, first=2001, seed=1, latitude=47.32, longitude=-99.12):
    """Daily records: a yearly wave of temperature, wet days of 8 mm by a Markov chain."""
    rng = np.random.default_rng(seed)
    start = np.datetime64(f"{first}-01-01")
    days = int((np.datetime64(f"{first + years}-01-01") - start).astype(int))
    doy = np.arange(days) % 365.25
    wet = np.zeros(days, dtype=bool)
    u = rng.random(days)
    for d in range(1, days):
        wet[d] = u[d] < (0.45 if wet[d - 1] else 0.2)
    warm = 8.0 - 18.0 * np.cos(2 * np.pi * (doy - 20) / 365.25) + rng.normal(0, 3, days)
    swing = np.where(wet, 4.0, 7.0) + rng.random(days)
    sun = 17.0 - 11.0 * np.cos(2 * np.pi * (doy + 10) / 365.25)
    values = {
        "tmax": warm + swing,
        "tmin": warm - swing,
        "rain": np.where(wet, rng.exponential(8.0, days), 0.0),
        "solar": np.maximum(sun * np.where(wet, 0.5, 1.0), 1.0) + rng.random(days),
        "humidity": np.where(wet, 82.0, 62.0) + 10 * rng.random(days),
        "wind": 2.0 + 2.0 * rng.random(days),
    }
    return DailyRecord.of(
        "made up", start, values, latitude=latitude, longitude=longitude, elevation_m=500.0
    )
