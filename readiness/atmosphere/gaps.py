"""Estimates for unknown hours of weather, always flagged as estimated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.air import WIND_2M_OVER_10M, relative_humidity
from readiness.atmosphere.solar import CLEAR_SHARE, clear_sky_mid_hour
from readiness.atmosphere.weather import Array, Weather

#: Hargreaves' coefficient for inland places (FAO-56 eq. 50), per sqrt(°C).
HARGREAVES = 0.16
#: Mean wind at 2 m where wind is unknown, m/s (FAO-56 ch. 3: mean of over 2000 stations).
MEAN_WIND_2M = 2.0
#: Longest gap that a straight line bridges, h; assumed: the hours around still tell the weather,
#: and a shower seldom fits in.
MAX_BRIDGED_H = 3
#: Hours on either side that make up the day around an hour.
HALF_DAY = 12


def cloudy_radiation(
    times: NDArray[np.datetime64], cloud: Array, *, lat: float, lon: float
) -> Array:
    """Radiation under cloud, W/m²: clear sky × (1 - 0.75 N^3.4), cloud in percent.

    Kasten & Czeplak 1980, Solar Energy 24:177-189; coefficients from memory.
    """
    share = 1.0 - 0.75 * (cloud / 100.0) ** 3.4
    return np.asarray(clear_sky_mid_hour(times, lat=lat, lon=lon) * share, dtype=np.float64)


def bridge_short_gaps(values: Array, *, longest: int = MAX_BRIDGED_H) -> Array:
    """Interpolate gaps of at most `longest` steps between two known values, along the last axis."""
    out = np.array(values, dtype=np.float64)
    for row in out.reshape(-1, out.shape[-1]):
        known = np.flatnonzero(np.isfinite(row))
        for i in np.flatnonzero((np.diff(known) > 1) & (np.diff(known) <= longest + 1)):
            a, b = known[i], known[i + 1]
            row[a + 1 : b] = np.interp(np.arange(a + 1, b), [a, b], [row[a], row[b]])
    return out


def fill_gaps(weather: Weather, *, lat: float, lon: float) -> Weather:
    """Estimate unknown hours and flag them; rain and temperature are only bridged.

    Humidity comes from a dew point at the lowest temperature of the day around (FAO-56 eq. 48).
    Radiation comes from the day's temperature range (Hargreaves, FAO-56 eq. 50), at most that of
    the clear sky. Wind is the world's mean (FAO-56). None is estimated where the temperature is
    unknown.

    Parameters
    ----------
    lat, lon : degrees; the sites lie close enough to share one sun.
    """
    new: dict[str, Array] = {
        n: bridge_short_gaps(getattr(weather, n)) for n in ("rain", "temp", "humidity", "wind")
    }
    new["radiation"] = weather.radiation.copy()
    known = np.isfinite(new["temp"])
    if all(np.isfinite(v[known]).all() for v in new.values()):
        return _flagged(weather, new)
    coldest, warmest = _day_range(new["temp"])
    no_humidity = np.isnan(new["humidity"]) & known
    humidity = relative_humidity(new["temp"], np.minimum(coldest, new["temp"]))
    new["humidity"] = np.where(no_humidity, humidity, new["humidity"])
    no_sun = np.isnan(new["radiation"]) & known
    clear = clear_sky_mid_hour(weather.times, lat=lat, lon=lon)
    spread = np.sqrt(np.maximum(warmest - coldest, 0.0))
    sun = np.minimum(HARGREAVES * spread / CLEAR_SHARE, 1.0) * clear
    new["radiation"] = np.where(no_sun, sun, new["radiation"])
    no_wind = np.isnan(new["wind"]) & known
    new["wind"] = np.where(no_wind, MEAN_WIND_2M / WIND_2M_OVER_10M, new["wind"])
    return _flagged(weather, new)


def _flagged(weather: Weather, new: dict[str, Array]) -> Weather:
    """The weather with new values; hours that were unknown before are flagged."""
    changed = np.zeros(weather.rain.shape, dtype=np.bool_)
    for name, values in new.items():
        changed |= np.isfinite(values) & np.isnan(getattr(weather, name))
    return replace(
        weather,
        rain=new["rain"],
        temp=new["temp"],
        humidity=new["humidity"],
        wind=new["wind"],
        radiation=new["radiation"],
        estimated=weather.estimated | changed,
    )


def _day_range(temp: Array) -> tuple[Array, Array]:
    """Lowest and highest temperature within 12 h of each hour; unknown hours are left out."""
    wide = ((0, 0),) * (temp.ndim - 1) + ((HALF_DAY, HALF_DAY),)
    known = np.isfinite(temp)
    views = [
        np.lib.stride_tricks.sliding_window_view(
            np.pad(np.where(known, temp, far), wide, constant_values=far), 2 * HALF_DAY + 1, axis=-1
        )
        for far in (np.inf, -np.inf)
    ]
    return views[0].min(axis=-1), views[1].max(axis=-1)
