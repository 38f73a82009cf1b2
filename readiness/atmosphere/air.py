"""Vapour pressure, humidity, air pressure and wind height.

Units: temperature °C, pressures kPa, humidity percent, wind m/s, elevation m. Source of numbered
equations: Allen et al. 1998 (FAO-56).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from readiness.atmosphere.weather import Array

#: Wind at 2 m over wind at 10 m, over grass (FAO-56 eq. 47).
WIND_2M_OVER_10M = 0.748


def saturation_pressure(temp: ArrayLike) -> Array:
    """Saturation vapour pressure, kPa (FAO-56 eq. 11)."""
    t = np.asarray(temp, dtype=np.float64)
    return np.asarray(0.6108 * np.exp(17.27 * t / (t + 237.3)), dtype=np.float64)


def pressure_slope(temp: ArrayLike) -> Array:
    """Slope of the saturation vapour pressure, kPa/°C (FAO-56 eq. 13)."""
    t = np.asarray(temp, dtype=np.float64)
    return np.asarray(4098.0 * saturation_pressure(t) / (t + 237.3) ** 2, dtype=np.float64)


def air_pressure(elevation: ArrayLike) -> Array:
    """Air pressure at an elevation, kPa (FAO-56 eq. 7)."""
    z = np.asarray(elevation, dtype=np.float64)
    return np.asarray(101.3 * ((293.0 - 0.0065 * z) / 293.0) ** 5.26, dtype=np.float64)


def psychrometric_constant(elevation: ArrayLike) -> Array:
    """Psychrometric constant at an elevation, kPa/°C (FAO-56 eq. 8)."""
    return np.asarray(0.000665 * air_pressure(elevation), dtype=np.float64)


def wind_at_2m(wind: ArrayLike, height: float) -> Array:
    """Wind at 2 m from wind at another height over grass, m/s (FAO-56 eq. 47)."""
    u = np.asarray(wind, dtype=np.float64)
    return np.asarray(u if height == 2.0 else u * 4.87 / np.log(67.8 * height - 5.42))


def relative_humidity(temp: Array, dew: Array) -> Array:
    """Relative humidity from temperature and dew point (Magnus; Alduchov & Eskridge 1996)."""
    share = np.exp(17.625 * dew / (243.04 + dew) - 17.625 * temp / (243.04 + temp))
    return np.asarray(np.clip(100.0 * share, 0.0, 100.0), dtype=np.float64)


def dew_point(temp: Array, humidity: Array) -> Array:
    """Dew point, °C, from temperature and relative humidity; inverse of `relative_humidity`."""
    x = np.log(np.maximum(humidity, 1.0) / 100.0) + 17.625 * temp / (243.04 + temp)
    return np.asarray(243.04 * x / (17.625 - x), dtype=np.float64)
