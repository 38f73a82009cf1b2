"""Position of the sun, extraterrestrial radiation and clear-sky radiation.

Angles are in radians unless a docstring says degrees. Latitude and longitude are in degrees, north
and east positive; elevation in m; `day` is the day of the year. Sources: Allen et al. 1998
(FAO-56); ASCE-EWRI 2005, The ASCE Standardized Reference Evapotranspiration Equation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from readiness.atmosphere.air import air_pressure
from readiness.atmosphere.weather import Array, day_and_hour

SOLAR_CONSTANT = 4.92  # MJ/m²/h (ASCE 2005); 0.0820 MJ/m²/min in FAO-56
SOLAR_CONSTANT_W = 1367.0  # W/m² (FAO-56 eq. 21: 0.0820 MJ/m²/min)
#: MJ/m²/h in one W/m².
MJ_PER_H_PER_W = 0.0036
#: Clear-sky transmissivity of the atmosphere near sea level (FAO-56 eq. 37).
CLEAR_SHARE = 0.75
#: Elevation of the sun's centre at sunrise, degrees: refraction and half the disc (convention).
SUNRISE_ELEVATION = -0.833


def declination(day: ArrayLike) -> Array:
    """Solar declination (FAO-56 eq. 24)."""
    return np.asarray(0.409 * np.sin(2 * np.pi * np.asarray(day) / 365.0 - 1.39))


def inverse_sun_distance(day: ArrayLike) -> Array:
    """Inverse relative distance from earth to sun (FAO-56 eq. 23)."""
    return np.asarray(1.0 + 0.033 * np.cos(2 * np.pi * np.asarray(day) / 365.0))


def sunset_hour_angle(latitude: ArrayLike, day: ArrayLike) -> Array:
    """Hour angle of sunset (FAO-56 eq. 25)."""
    phi = np.radians(latitude)
    return np.asarray(np.arccos(np.clip(-np.tan(phi) * np.tan(declination(day)), -1.0, 1.0)))


def seasonal_correction(day: ArrayLike) -> Array:
    """Seasonal correction of solar time, h (FAO-56 eqs 32-33)."""
    b = 2 * np.pi * (np.asarray(day) - 81) / 364.0
    return np.asarray(0.1645 * np.sin(2 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b))


def solar_hour_angle(hour: ArrayLike, longitude: ArrayLike, day: ArrayLike) -> Array:
    """Hour angle of the sun at an hour of UTC (fractions allowed), -π to π (FAO-56 eq. 31)."""
    solar_time = np.asarray(hour) + np.asarray(longitude) / 15.0 + seasonal_correction(day)
    return np.asarray((np.pi / 12 * (solar_time - 12.0) + np.pi) % (2 * np.pi) - np.pi)


def sine_of_elevation(latitude: ArrayLike, day: ArrayLike, hour_angle: ArrayLike) -> Array:
    """Sine of the elevation of the sun (ASCE 2005 eq. 62; number from memory)."""
    phi, dec = np.radians(latitude), declination(day)
    return np.asarray(
        np.sin(phi) * np.sin(dec) + np.cos(phi) * np.cos(dec) * np.cos(np.asarray(hour_angle))
    )


def mean_sine_of_elevation(latitude: ArrayLike, day: ArrayLike) -> Array:
    """Sine of the sun's elevation, weighted mean of a day (ASCE 2005 Appendix D)."""
    phi = np.radians(latitude)
    swing = 0.3 * phi * np.sin(2 * np.pi * np.asarray(day) / 365.0 - 1.39)
    return np.asarray(np.sin(0.85 + swing - 0.42 * phi**2))


def solar_elevation(times: NDArray[np.datetime64], latitude: Array, longitude: Array) -> Array:
    """Elevation of the sun at the middle of each hour, degrees, (site, hour).

    Within about half a degree (FAO-56 eqs 24, 31-33).

    Parameters
    ----------
    times : (hour,) datetime64[h], UTC hour labels.
    latitude, longitude : (site,).
    """
    day, hour = day_and_hour(times)
    # The hour angle of `solar_hour_angle`; this order of the sum fixes the last bit of results.
    east = np.asarray(longitude, dtype=np.float64)[:, None] / 15.0
    angle = np.pi / 12.0 * (hour + 0.5 + seasonal_correction(day) + east - 12.0)
    sine = sine_of_elevation(np.asarray(latitude, dtype=np.float64)[:, None], day, angle)
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))), dtype=np.float64)


def daylight(times: NDArray[np.datetime64], latitude: Array, longitude: Array) -> NDArray[np.bool_]:
    """Hours whose middle lies between sunrise and sunset, (site, hour)."""
    return np.asarray(solar_elevation(times, latitude, longitude) > SUNRISE_ELEVATION)


def extraterrestrial_daily(latitude: ArrayLike, day: ArrayLike) -> Array:
    """Extraterrestrial radiation of a day, MJ/m²/d (FAO-56 eq. 21, constant of ASCE 2005)."""
    phi, dec, ws = np.radians(latitude), declination(day), sunset_hour_angle(latitude, day)
    sun = ws * np.sin(phi) * np.sin(dec) + np.cos(phi) * np.cos(dec) * np.sin(ws)
    return np.asarray(24.0 / np.pi * SOLAR_CONSTANT * inverse_sun_distance(day) * sun)


def extraterrestrial_hourly(
    latitude: ArrayLike, longitude: ArrayLike, day: ArrayLike, hour: ArrayLike
) -> tuple[Array, Array]:
    """Extraterrestrial radiation of the hour from `hour` UTC on (FAO-56 eqs 28-33).

    The hour angles are clipped to sunrise and sunset.

    Returns
    -------
    radiation : MJ/m²/h.
    elevation : of the sun at mid-hour, rad.
    """
    phi, dec, ws = np.radians(latitude), declination(day), sunset_hour_angle(latitude, day)
    middle = solar_hour_angle(np.asarray(hour) + 0.5, longitude, day)
    w1 = np.clip(middle - np.pi / 24, -ws, ws)
    w2 = np.clip(middle + np.pi / 24, -ws, ws)
    sun = (w2 - w1) * np.sin(phi) * np.sin(dec)
    sun = sun + np.cos(phi) * np.cos(dec) * (np.sin(w2) - np.sin(w1))
    ra = 12.0 / np.pi * SOLAR_CONSTANT * inverse_sun_distance(day) * sun
    elevation = np.arcsin(sine_of_elevation(latitude, day, middle))
    return np.asarray(np.maximum(ra, 0.0)), np.asarray(elevation)


def clear_sky_by_elevation(ra: ArrayLike, elevation: ArrayLike) -> Array:
    """Clear-sky radiation by the ground's elevation, in the unit of `ra` (FAO-56 eq. 37)."""
    return np.asarray((CLEAR_SHARE + 2e-5 * np.asarray(elevation)) * np.asarray(ra))


def clear_sky_by_transmissivity(
    ra: ArrayLike, ea: ArrayLike, elevation: ArrayLike, sine: ArrayLike
) -> Array:
    """Clear-sky radiation of clean air, in the unit of `ra` (ASCE 2005 Appendix D).

    Parameters
    ----------
    ra : extraterrestrial radiation. ea : actual vapour pressure, kPa.
    elevation : of the ground, m.
    sine : of the sun's elevation; `mean_sine_of_elevation` for a whole day.
    """
    pressure = air_pressure(elevation)
    low = np.maximum(np.asarray(sine, dtype=np.float64), 0.01)
    moist = 0.14 * np.asarray(ea) * pressure + 2.1  # precipitable water, mm
    beam = 0.98 * np.exp(-0.00146 * pressure / low - 0.075 * (moist / low) ** 0.4)
    diffuse = np.where(beam >= 0.15, 0.35 - 0.36 * beam, 0.18 + 0.82 * beam)
    return np.asarray((beam + diffuse) * np.asarray(ra))


def clear_sky_mid_hour(times: NDArray[np.datetime64], *, lat: float, lon: float) -> Array:
    """Clear-sky radiation by the sun's elevation at mid-hour, (hour,), W/m².

    FAO-56 eq. 37 at sea level, with the extraterrestrial flux at mid-hour (eq. 23).
    """
    degrees = solar_elevation(times, np.array([lat]), np.array([lon]))[0]
    sine = np.sin(np.radians(degrees)).clip(min=0.0)
    day, _ = day_and_hour(times)
    flux = CLEAR_SHARE * SOLAR_CONSTANT_W * inverse_sun_distance(day) * sine
    return np.asarray(flux, dtype=np.float64)
