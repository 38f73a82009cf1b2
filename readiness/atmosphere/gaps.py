"""What is filled in where a service or a gauge says nothing, always flagged as estimated."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.hazards import solar_elevation
from readiness.atmosphere.weather import Array, Weather

#: Radiation outside the atmosphere, W/m² (FAO-56 eq. 21: 0.0820 MJ/m²/min).
SOLAR_CONSTANT = 1367.0
#: Share that reaches the ground under a clear sky near sea level (FAO-56 eq. 37).
CLEAR = 0.75
#: Hargreaves' coefficient for inland places (FAO-56 eq. 50), per sqrt(°C).
HARGREAVES = 0.16
#: Wind where none is known, m/s at 2 m (FAO-56 ch. 3), and the factor to 10 m (FAO-56 eq. 47).
CALM_WIND = 2.0 / 0.748
#: Longest gap that is bridged by a straight line, h; assumed, because weather of the hours
#: around still tells about it and a shower seldom fits in.
BRIDGE = 3
#: Hours on either side that make up the day around an hour.
HALF_DAY = 12


def clear_sky(times: NDArray[np.datetime64], *, lat: float, lon: float) -> Array:
    """Clear-sky radiation, mean of each hour, W/m²: 0.75 of that outside the atmosphere."""
    degrees = solar_elevation(times, np.array([lat]), np.array([lon]))[0]
    height = np.sin(np.radians(degrees)).clip(min=0.0)
    date = times.astype("datetime64[D]")
    day = (date - times.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1
    near = 1.0 + 0.033 * np.cos(2.0 * np.pi * day / 365.0)  # FAO-56 eq. 23
    return np.asarray(CLEAR * SOLAR_CONSTANT * near * height, dtype=np.float64)


def cloudy_radiation(
    times: NDArray[np.datetime64], cloud: Array, *, lat: float, lon: float
) -> Array:
    """Radiation under cloud: clear sky × (1 - 0.75 N^3.4), cloud in percent.

    Kasten & Czeplak 1980, Solar Energy 24:177-189; coefficients from memory.
    """
    share = 1.0 - 0.75 * (cloud / 100.0) ** 3.4
    return np.asarray(clear_sky(times, lat=lat, lon=lon) * share, dtype=np.float64)


def relative_humidity(temp: Array, dew: Array) -> Array:
    """Percent, from temperature and dew point in °C (Magnus; Alduchov & Eskridge 1996)."""
    share = np.exp(17.625 * dew / (243.04 + dew) - 17.625 * temp / (243.04 + temp))
    return np.asarray(np.clip(100.0 * share, 0.0, 100.0), dtype=np.float64)


def dew_point(temp: Array, humidity: Array) -> Array:
    """Dew point, °C, from temperature in °C and percent; the inverse of `relative_humidity`."""
    x = np.log(np.maximum(humidity, 1.0) / 100.0) + 17.625 * temp / (243.04 + temp)
    return np.asarray(243.04 * x / (17.625 - x), dtype=np.float64)


def bridge_short_gaps(values: Array, *, longest: int = BRIDGE) -> Array:
    """Gaps of at most `longest` hours along the last axis, between two known values, by a line."""
    out = np.array(values, dtype=np.float64)
    for row in out.reshape(-1, out.shape[-1]):
        known = np.flatnonzero(np.isfinite(row))
        for i in np.flatnonzero((np.diff(known) > 1) & (np.diff(known) <= longest + 1)):
            a, b = known[i], known[i + 1]
            row[a + 1 : b] = np.interp(np.arange(a + 1, b), [a, b], [row[a], row[b]])
    return out


def fill_gaps(weather: Weather, *, lat: float, lon: float) -> Weather:
    """Estimate what can be estimated; rain and temperature are only bridged over short gaps.

    Humidity comes from a dew point at the least temperature of the day around (FAO-56 eq. 48),
    radiation from the day's temperature range (Hargreaves, FAO-56 eq. 50) but no more than the
    clear sky, wind from the world's mean (FAO-56). Estimated hours are flagged.

    Parameters
    ----------
    lat, lon : of the sites, degrees; they are close enough to share a sun.
    """
    new: dict[str, Any] = {
        n: bridge_short_gaps(getattr(weather, n)) for n in ("rain", "temp", "humidity", "wind")
    }
    new["radiation"] = weather.radiation.copy()
    known = np.isfinite(new["temp"])
    if all(np.isfinite(v[known]).all() for v in new.values()):
        return _flagged(weather, new)
    coldest, warmest = _day_range(new["temp"])
    no_humidity = np.isnan(new["humidity"]) & known
    guess = relative_humidity(new["temp"], np.minimum(coldest, new["temp"]))
    new["humidity"] = np.where(no_humidity, guess, new["humidity"])
    no_sun = np.isnan(new["radiation"]) & known
    clear = clear_sky(weather.times, lat=lat, lon=lon)
    sun = np.minimum(HARGREAVES * np.sqrt(np.maximum(warmest - coldest, 0.0)) / CLEAR, 1.0) * clear
    new["radiation"] = np.where(no_sun, sun, new["radiation"])
    no_wind = np.isnan(new["wind"]) & known
    new["wind"] = np.where(no_wind, CALM_WIND, new["wind"])
    return _flagged(weather, new)


def _flagged(weather: Weather, new: dict[str, Any]) -> Weather:
    """The weather with new values, hours that were unknown before flagged."""
    changed = np.zeros(weather.rain.shape, dtype=np.bool_)
    for name, values in new.items():
        changed |= np.isfinite(values) & np.isnan(getattr(weather, name))
    return replace(weather, **new, estimated=weather.estimated | changed)


def _day_range(temp: Array) -> tuple[Array, Array]:
    """Least and greatest temperature within 12 h of each hour; unknown hours are passed over."""
    wide = ((0, 0),) * (temp.ndim - 1) + ((HALF_DAY, HALF_DAY),)
    known = np.isfinite(temp)
    views = [
        np.lib.stride_tricks.sliding_window_view(
            np.pad(np.where(known, temp, far), wide, constant_values=far), 2 * HALF_DAY + 1, axis=-1
        )
        for far in (np.inf, -np.inf)
    ]
    return views[0].min(axis=-1), views[1].max(axis=-1)
