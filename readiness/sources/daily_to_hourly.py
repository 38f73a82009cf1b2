"""From days to hours: the documented rules by which daily records become an hourly frame."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.evapotranspiration import (
    clear_sky,
    day_and_hour,
    extraterrestrial_day,
    extraterrestrial_hour,
    saturation_pressure,
    solar_time_angle,
    sunset_angle,
)
from readiness.atmosphere.gaps import HARGREAVES
from readiness.atmosphere.weather import Array, Weather
from readiness.sources.records import DailyRecord, Flag

#: Wind at 2 m where none is known, m/s (FAO-56 ch. 3: mean of over 2000 stations), and to 10 m.
WIND_2M, TO_10M = 2.0, 1.0 / 0.748
#: Gust over mean wind; assumed, common over open land.
GUST = 1.5
#: Elevation where unknown, m; assumed: mid plains, and 500 m change ET by about 1 %.
ELEVATION = 400.0
#: Hour of the highest temperature after solar noon, h; assumed (2-3 h in handbooks).
WARMEST = 2.5
#: Rain of an hour in an average shower, mm: a day's rain is spread over rain/RATE hours, at
#: least SHORTEST; assumed, near the mean wet-hour intensity of plains summers.
RATE, SHORTEST = 2.0, 4


def estimate_missing(daily: DailyRecord) -> DailyRecord:
    """Estimate missing humidity, radiation and wind by FAO-56's means; flagged ESTIMATED.

    Humidity from a dew point at the night's minimum (eq. 48); radiation from the temperature range
    (eq. 50, inland) but no more than clear sky; wind 2 m/s at 2 m.
    """
    doy = day_and_hour(daily.days.astype("datetime64[h]"))[0]
    ra = extraterrestrial_day(daily.latitude, doy)
    spread = np.sqrt(np.maximum(daily.tmax - daily.tmin, 0.0))
    clear = clear_sky(ra, _elevation(daily))
    es = 0.5 * (saturation_pressure(daily.tmax) + saturation_pressure(daily.tmin))
    dew = 100.0 * saturation_pressure(daily.tmin) / es
    guess = {
        "solar": np.minimum(HARGREAVES * spread * ra, clear),
        "humidity": dew,
        "wind": np.where(np.isnan(daily.tmax), np.nan, WIND_2M),
    }
    new: dict[str, Any] = {}
    flags = {n: f.copy() for n, f in daily.flags.items()}
    for name, value in guess.items():
        known = getattr(daily, name)
        flags[name][np.isnan(known) & ~np.isnan(value)] = Flag.ESTIMATED
        new[name] = np.where(np.isnan(known), value, known)
    return replace(daily, **new, flags=flags)


def _elevation(daily: DailyRecord) -> float:
    return ELEVATION if np.isnan(daily.elevation_m) else daily.elevation_m


def daily_to_hourly(daily: DailyRecord, *, rain: str = "shower") -> Weather:
    """Hourly frame (1, 1, hour) in UTC from days of local standard time.

    Rules. Temperature: half cosines from the minimum at sunrise to the maximum `WARMEST` h after
    solar noon and down to the next sunrise (de Wit et al. 1978; Goudriaan & van Laar 1994).
    Humidity: vapour pressure constant over the day, from the humidities at the extremes (FAO-56
    eq. 17) or the mean, over that temperature. Radiation: the day's sum in the shape of
    extraterrestrial radiation. Wind: even. Rain: see below.

    Parameters
    ----------
    rain : 'shower' spreads a day's rain around its middle over rain/RATE hours, at least
        `SHORTEST`; 'even' over all 24.
    """
    if rain not in ("shower", "even"):
        raise ValueError(f"rain must be 'shower' or 'even', got {rain!r}")
    times = daily.days.astype("datetime64[h]")[:, None] + np.arange(24)
    utc: NDArray[np.datetime64] = np.asarray(times - np.timedelta64(daily.utc_offset, "h"))
    doy, hour = day_and_hour(utc.ravel())
    temp = _temperature(daily)
    ea = _vapour_pressure(daily)
    humidity = np.minimum(100.0 * ea[:, None] / saturation_pressure(temp), 100.0)
    ra = extraterrestrial_hour(daily.latitude, daily.longitude, doy, hour)[0].reshape(-1, 24)
    total = np.maximum(ra.sum(axis=1), 1e-9)
    sun = daily.solar[:, None] * ra / total[:, None] / 0.0036
    wind = np.repeat((daily.wind * TO_10M)[:, None], 24, axis=1)
    guessed = np.zeros(daily.tmax.size, dtype=np.bool_)
    for name in ("tmax", "tmin", "rain", "solar", "humidity", "wind"):
        guessed |= np.isin(daily.flags[name], (Flag.FILLED, Flag.ESTIMATED))

    def frame(values: Array) -> Array:
        return np.ascontiguousarray(values.reshape(1, 1, -1))

    return Weather(
        start=utc[0, 0],
        rain=frame(_spread_rain(daily.rain, rain)),
        temp=frame(temp),
        humidity=frame(humidity),
        wind=frame(wind),
        gust=frame(GUST * wind),
        radiation=frame(sun),
        estimated=np.repeat(guessed, 24).reshape(1, 1, -1),
    )


def _temperature(daily: DailyRecord) -> Array:
    """(day, 24) at mid-hour, from this day's extremes and its neighbours'."""
    doy = day_and_hour(daily.days.astype("datetime64[h]"))[0]
    noon = 12.0 - _clock_lead(daily, doy)
    half = 12.0 / np.pi * sunset_angle(daily.latitude, doy)
    rise, warm = noon - np.minimum(half, 11.0), noon + WARMEST
    low, high = daily.tmin, daily.tmax
    before = np.where(np.isnan(np.roll(high, 1)), high, np.roll(high, 1))
    after = np.where(np.isnan(np.roll(low, -1)), low, np.roll(low, -1))
    before[0], after[-1] = high[0], low[-1]
    h = np.arange(24)[None] + 0.5
    rise, warm = rise[:, None], warm[:, None]

    def swing(a: Array, b: Array, share: Array) -> Array:
        middle, half_range = 0.5 * (a + b), 0.5 * (a - b)
        return np.asarray(middle[:, None] + half_range[:, None] * np.cos(np.pi * share))

    night = 24.0 + rise - warm
    early = swing(before, low, (h + 24.0 - warm) / night)
    day = swing(low, high, (h - rise) / (warm - rise))
    late = swing(high, after, (h - warm) / night)
    return np.where(h < rise, early, np.where(h < warm, day, late))


def _clock_lead(daily: DailyRecord, doy: NDArray[np.int64]) -> Array:
    """Hours by which solar time leads local standard time."""
    utc_noon = 12.0 - daily.utc_offset
    return np.asarray(solar_time_angle(utc_noon, daily.longitude, doy) * 12.0 / np.pi)


def _vapour_pressure(daily: DailyRecord) -> Array:
    """Actual vapour pressure, kPa: FAO-56 eq. 17 where the extremes are known, else eq. 19."""
    warm, cold = saturation_pressure(daily.tmax), saturation_pressure(daily.tmin)
    extremes = (cold * daily.humidity_max + warm * daily.humidity_min) / 200.0
    mean = daily.humidity / 100.0 * 0.5 * (warm + cold)
    return np.where(np.isnan(extremes), mean, extremes)


def _spread_rain(rain: Array, how: str) -> Array:
    """(day, 24) of each day's rain."""
    if how == "even":
        return np.repeat(rain[:, None] / 24.0, 24, axis=1)
    hours = np.clip(np.nan_to_num(rain) / RATE, SHORTEST, 24.0)[:, None]
    h = np.arange(24)[None]
    first = 12.0 - hours / 2.0
    held = np.clip(np.minimum(h + 1.0, first + hours) - np.maximum(h, first), 0.0, None)
    return np.asarray(rain[:, None] * held / hours)
