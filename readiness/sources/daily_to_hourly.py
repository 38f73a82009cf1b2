"""Rules that spread a daily record over hours."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.air import WIND_2M_OVER_10M, saturation_pressure
from readiness.atmosphere.dew_point_estimate import estimated_dew_point
from readiness.atmosphere.gaps import HARGREAVES, MEAN_WIND_2M
from readiness.atmosphere.solar import (
    MJ_PER_H_PER_W,
    clear_sky_by_elevation,
    extraterrestrial_daily,
    extraterrestrial_hourly,
    solar_hour_angle,
    sunset_hour_angle,
)
from readiness.atmosphere.weather import Array, Weather, day_and_hour, day_of_year
from readiness.sources.daily_record import DailyRecord, Flag
from readiness.sources.quality_screens import fill_short_gaps, screen_record

RainSpread = Literal["shower", "even"]
#: Gust over mean wind; assumed, common over open land.
GUST_FACTOR = 1.5
#: Elevation where the record states none, m; assumed: mid plains, and 500 m change ET by about 1 %.
DEFAULT_ELEVATION_M = 400.0
#: Hours from solar noon to the highest temperature; assumed (2-3 h in handbooks).
WARMEST_AFTER_NOON_H = 2.5
#: Intensity of an average shower, mm/h, and the shortest shower, h. A day's rain is spread over
#: its amount divided by the intensity; assumed, near the mean of wet hours in plains summers.
SHOWER_MM_PER_H, SHORTEST_SHOWER_H = 2.0, 4


def elevation_or_default(daily: DailyRecord) -> float:
    """Elevation of a station, m; `DEFAULT_ELEVATION_M` where the record states none."""
    return DEFAULT_ELEVATION_M if np.isnan(daily.elevation_m) else daily.elevation_m


def estimate_missing(daily: DailyRecord) -> DailyRecord:
    """Estimate unknown humidity, radiation and wind by published methods; flagged ESTIMATED.

    Radiation comes from the temperature range (FAO-56 eq. 50, inland) but at most the clear sky.
    Humidity comes from `estimated_dew_point`, wind is 2 m/s at 2 m (FAO-56).
    """
    elevation = elevation_or_default(daily)
    ra = extraterrestrial_daily(daily.latitude, day_of_year(daily.days))
    spread = np.sqrt(np.maximum(daily.tmax - daily.tmin, 0.0))
    clear = clear_sky_by_elevation(ra, elevation)
    es = 0.5 * (saturation_pressure(daily.tmax) + saturation_pressure(daily.tmin))
    flags = {n: f.copy() for n, f in daily.flags.items()}

    def known_or(name: str, estimate: Array) -> Array:
        known: Array = getattr(daily, name)
        flags[name][np.isnan(known) & ~np.isnan(estimate)] = Flag.ESTIMATED
        return np.where(np.isnan(known), estimate, known)

    solar = known_or("solar", np.minimum(HARGREAVES * spread * ra, clear))
    dew = estimated_dew_point(
        daily.tmax, daily.tmin, rain=daily.rain, solar=solar, elevation=elevation
    )
    return replace(
        daily,
        solar=solar,
        humidity=known_or("humidity", 100.0 * saturation_pressure(dew) / es),
        wind=known_or("wind", np.where(np.isnan(daily.tmax), np.nan, MEAN_WIND_2M)),
        flags=flags,
    )


def hourly_records(daily: DailyRecord) -> Weather:
    """Hourly weather of a station, screened and with short gaps filled, (1, 1, hour)."""
    return daily_to_hourly(estimate_missing(fill_short_gaps(screen_record(daily))))


def daily_to_hourly(daily: DailyRecord, *, rain: RainSpread = "shower") -> Weather:
    """Hourly frame (1, 1, hour) in UTC from days of local standard time.

    Temperature follows half cosines from the minimum at sunrise to the maximum
    `WARMEST_AFTER_NOON_H` after solar noon and down to the next sunrise (de Wit et al. 1978;
    Goudriaan & van Laar 1994). Vapour pressure is constant over the day, from the humidities at
    the extremes (FAO-56 eq. 17) or from the mean humidity. The day's radiation takes the shape of
    extraterrestrial radiation. Wind is even.

    Parameters
    ----------
    rain : 'shower' puts a day's rain around its middle, at `SHOWER_MM_PER_H` over at least
        `SHORTEST_SHOWER_H`; 'even' spreads it over all 24 hours.
    """
    if rain not in ("shower", "even"):
        raise ValueError(f"rain must be 'shower' or 'even', got {rain!r}")
    times = daily.days.astype("datetime64[h]")[:, None] + np.arange(24)
    utc: NDArray[np.datetime64] = np.asarray(times - np.timedelta64(daily.utc_offset, "h"))
    day, hour = day_and_hour(utc.ravel())
    temp = _temperature(daily)
    ea = _vapour_pressure(daily)
    humidity = np.minimum(100.0 * ea[:, None] / saturation_pressure(temp), 100.0)
    ra = extraterrestrial_hourly(daily.latitude, daily.longitude, day, hour)[0].reshape(-1, 24)
    total = np.maximum(ra.sum(axis=1), 1e-9)
    sun = daily.solar[:, None] * ra / total[:, None] / MJ_PER_H_PER_W
    wind = np.repeat((daily.wind * (1.0 / WIND_2M_OVER_10M))[:, None], 24, axis=1)
    estimated = np.zeros(daily.tmax.size, dtype=np.bool_)
    for name in ("tmax", "tmin", "rain", "solar", "humidity", "wind"):
        estimated |= np.isin(daily.flags[name], (Flag.FILLED, Flag.ESTIMATED))

    def frame(values: Array) -> Array:
        return np.ascontiguousarray(values.reshape(1, 1, -1))

    return Weather(
        start=utc[0, 0],
        rain=frame(_rain_hours(daily.rain, rain)),
        temp=frame(temp),
        humidity=frame(humidity),
        wind=frame(wind),
        gust=frame(GUST_FACTOR * wind),
        radiation=frame(sun),
        estimated=np.repeat(estimated, 24).reshape(1, 1, -1),
    )


def _temperature(daily: DailyRecord) -> Array:
    """Temperature at mid-hour, (day, 24), from the extremes of this day and its neighbours."""
    day = day_of_year(daily.days)
    noon = 12.0 - _solar_time_lead(daily, day)
    half_day = 12.0 / np.pi * sunset_hour_angle(daily.latitude, day)
    rise, warm = noon - np.minimum(half_day, 11.0), noon + WARMEST_AFTER_NOON_H
    low, high = daily.tmin, daily.tmax
    before = np.where(np.isnan(np.roll(high, 1)), high, np.roll(high, 1))
    after = np.where(np.isnan(np.roll(low, -1)), low, np.roll(low, -1))
    before[0], after[-1] = high[0], low[-1]
    h = np.arange(24)[None] + 0.5
    rise, warm = rise[:, None], warm[:, None]

    def half_cosine(a: Array, b: Array, share: Array) -> Array:
        middle, half_range = 0.5 * (a + b), 0.5 * (a - b)
        return np.asarray(middle[:, None] + half_range[:, None] * np.cos(np.pi * share))

    night = 24.0 + rise - warm
    early = half_cosine(before, low, (h + 24.0 - warm) / night)
    warming = half_cosine(low, high, (h - rise) / (warm - rise))
    late = half_cosine(high, after, (h - warm) / night)
    return np.where(h < rise, early, np.where(h < warm, warming, late))


def _solar_time_lead(daily: DailyRecord, day: NDArray[np.int64]) -> Array:
    """Hours by which solar time leads local standard time."""
    utc_noon = 12.0 - daily.utc_offset
    return np.asarray(solar_hour_angle(utc_noon, daily.longitude, day) * 12.0 / np.pi)


def _vapour_pressure(daily: DailyRecord) -> Array:
    """Actual vapour pressure, kPa: FAO-56 eq. 17 where the extremes are known, else eq. 19."""
    warm, cold = saturation_pressure(daily.tmax), saturation_pressure(daily.tmin)
    extremes = (cold * daily.humidity_max + warm * daily.humidity_min) / 200.0
    mean = daily.humidity / 100.0 * 0.5 * (warm + cold)
    return np.where(np.isnan(extremes), mean, extremes)


def _rain_hours(rain: Array, spread: RainSpread) -> Array:
    """Rain of each hour, (day, 24)."""
    if spread == "even":
        return np.repeat(rain[:, None] / 24.0, 24, axis=1)
    hours = np.clip(np.nan_to_num(rain) / SHOWER_MM_PER_H, SHORTEST_SHOWER_H, 24.0)[:, None]
    h = np.arange(24)[None]
    first = 12.0 - hours / 2.0
    overlap = np.clip(np.minimum(h + 1.0, first + hours) - np.maximum(h, first), 0.0, None)
    return np.asarray(rain[:, None] * overlap / hours)
