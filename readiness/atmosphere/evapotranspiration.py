"""Reference evapotranspiration (ET) by FAO-56 and ASCE, daily and hourly.

Units: temperature °C, vapour pressure kPa, wind m/s, radiation MJ/m² per day or hour, ET mm per
day or hour. Sources: Allen et al. 1998 (FAO-56); ASCE-EWRI 2005 (short and tall reference, hourly
coefficients).
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from readiness.atmosphere.air import (
    pressure_slope,
    psychrometric_constant,
    saturation_pressure,
    wind_at_2m,
)
from readiness.atmosphere.solar import (
    MJ_PER_H_PER_W,
    clear_sky_by_elevation,
    extraterrestrial_daily,
    extraterrestrial_hourly,
)
from readiness.atmosphere.weather import Array, Weather, day_and_hour

Surface = Literal["short", "tall"]
STEFAN_DAY = 4.901e-9  # Stefan-Boltzmann constant, MJ/K⁴/m²/d
STEFAN_HOUR = 2.042e-10  # MJ/K⁴/m²/h
ALBEDO = 0.23
#: Numerator and denominator constants by surface (ASCE 2005 Table 1): day; hour by day, night.
CN_DAY = {"short": 900.0, "tall": 1600.0}
CD_DAY = {"short": 0.34, "tall": 0.38}
CN_HOUR = {"short": 37.0, "tall": 66.0}
CD_HOUR = {"short": (0.24, 0.96), "tall": (0.25, 1.7)}
#: Soil heat flux as a share of net radiation, by day and by night (ASCE 2005 eqs 65-66).
G_SHARE = {"short": (0.1, 0.5), "tall": (0.04, 0.2)}
#: Elevation of the sun, rad, below which the ratio Rs/Rso says nothing of cloud (ASCE 2005).
LOW_SUN = 0.3
#: Cloudiness function where no hour has a higher sun; assumed: half cloudy.
UNKNOWN_CLOUDINESS = 0.55


def net_radiation_daily(
    rs: ArrayLike, tmax: ArrayLike, tmin: ArrayLike, ea: ArrayLike, rso: ArrayLike
) -> Array:
    """Net radiation, MJ/m²/d (FAO-56 eqs 38-40)."""
    cloud = np.clip(np.asarray(rs) / np.maximum(np.asarray(rso), 1e-6), 0.3, 1.0)
    black = STEFAN_DAY * 0.5 * ((np.asarray(tmax) + 273.16) ** 4 + (np.asarray(tmin) + 273.16) ** 4)
    longwave = black * (0.34 - 0.14 * np.sqrt(ea)) * (1.35 * cloud - 0.35)
    return np.asarray((1.0 - ALBEDO) * np.asarray(rs) - longwave)


def reference_et_daily(
    tmax: ArrayLike,
    tmin: ArrayLike,
    ea: ArrayLike,
    *,
    rs: ArrayLike,
    wind: ArrayLike,
    day: ArrayLike,
    latitude: float,
    elevation: float,
    wind_height: float = 2.0,
    surface: Surface = "short",
    rso: ArrayLike | None = None,
) -> Array:
    """Daily reference ET, mm/d (FAO-56 eq. 6; ASCE 2005 eq. 1), arrays of one shape.

    Parameters
    ----------
    tmax, tmin : °C. ea : actual vapour pressure, kPa.
    rs : solar radiation, MJ/m²/d.
    wind : m/s at `wind_height` m.
    day : day of the year. latitude : degrees. elevation : m.
    rso : clear-sky radiation, MJ/m²/d; FAO-56 eq. 37 by default.
    """
    tmax, tmin = np.asarray(tmax, dtype=np.float64), np.asarray(tmin, dtype=np.float64)
    t = 0.5 * (tmax + tmin)
    es = 0.5 * (saturation_pressure(tmax) + saturation_pressure(tmin))
    if rso is None:
        rso = clear_sky_by_elevation(extraterrestrial_daily(latitude, day), elevation)
    rn = net_radiation_daily(rs, tmax, tmin, ea, rso)
    return _penman_monteith(
        t,
        rn,
        es - np.asarray(ea),
        wind_at_2m(wind, wind_height),
        elevation,
        cn=CN_DAY[surface],
        cd=CD_DAY[surface],
    )


def _penman_monteith(
    t: Array,
    available: Array,
    deficit: Array,
    u2: Array,
    elevation: ArrayLike,
    *,
    cn: ArrayLike,
    cd: ArrayLike,
) -> Array:
    """Standardized Penman-Monteith equation (ASCE 2005 eq. 1); `available` is Rn - G."""
    gamma = psychrometric_constant(elevation)
    slope = pressure_slope(t)
    top = 0.408 * slope * available + gamma * np.asarray(cn) / (t + 273.0) * u2 * deficit
    return np.asarray(top / (slope + gamma * (1.0 + np.asarray(cd) * u2)), dtype=np.float64)


def cloudiness(rs: Array, rso: Array, height: Array) -> Array:
    """Cloudiness function fcd, 0.05-1 (ASCE 2005 eq. 45), last axis hours in order.

    Hours with the sun below `LOW_SUN` keep the value of the last hour with a higher sun. Hours
    before the first such hour take its value.

    Parameters
    ----------
    rs, rso : measured and clear-sky radiation, MJ/m²/h. height : elevation of the sun, rad.
    """
    high_sun = height >= LOW_SUN
    ratio = np.clip(rs / np.maximum(rso, 1e-9), 0.3, 1.0)
    fcd = np.where(high_sun, np.clip(1.35 * ratio - 0.35, 0.05, 1.0), np.nan)
    index = np.where(~np.isnan(fcd), np.arange(fcd.shape[-1]), -1)
    last = np.maximum.accumulate(index, axis=-1)
    first = np.argmax(index >= 0, axis=-1)[..., None]
    held = np.take_along_axis(fcd, np.where(last >= 0, last, first), axis=-1)
    return np.where(np.isnan(held), UNKNOWN_CLOUDINESS, held)


def reference_et_hourly(
    temp: ArrayLike,
    ea: ArrayLike,
    rs: ArrayLike,
    *,
    wind: ArrayLike,
    ra: ArrayLike,
    height: ArrayLike,
    elevation: ArrayLike,
    wind_height: float = 2.0,
    surface: Surface = "short",
    rso: ArrayLike | None = None,
) -> Array:
    """Hourly reference ET, mm/h (ASCE 2005 eq. 1), last axis hours in order.

    Parameters
    ----------
    temp : °C. ea : actual vapour pressure, kPa.
    rs, ra : solar and extraterrestrial radiation, MJ/m²/h.
    wind : m/s at `wind_height` m.
    height : elevation of the sun, rad. elevation : of the ground, m.
    rso : clear-sky radiation, MJ/m²/h; FAO-56 eq. 37 by default.
    """
    t = np.asarray(temp, dtype=np.float64)
    sun, pressure = np.asarray(rs, dtype=np.float64), np.asarray(ea, dtype=np.float64)
    clear = clear_sky_by_elevation(ra, elevation) if rso is None else np.asarray(rso, np.float64)
    fcd = cloudiness(sun, np.broadcast_to(clear, t.shape), np.broadcast_to(height, t.shape))
    longwave = STEFAN_HOUR * fcd * (0.34 - 0.14 * np.sqrt(pressure)) * (t + 273.16) ** 4
    rn = (1.0 - ALBEDO) * sun - longwave
    by_day = rn > 0
    ground_share = np.where(by_day, *G_SHARE[surface])
    return _penman_monteith(
        t,
        rn * (1.0 - ground_share),
        saturation_pressure(t) - pressure,
        wind_at_2m(wind, wind_height),
        elevation,
        cn=CN_HOUR[surface],
        cd=np.where(by_day, *CD_HOUR[surface]),
    )


def weather_et(
    weather: Weather, latitude: ArrayLike, longitude: ArrayLike, elevation: ArrayLike
) -> Array:
    """Short-reference ET of an hourly frame, (member, site, hour), mm/h, never below 0.

    Parameters
    ----------
    latitude, longitude, elevation : (site,) degrees and m.

    Returns
    -------
    numpy.ndarray
        NaN where the weather is unknown.
    """
    day, hour = day_and_hour(weather.times)
    lat, lon = np.asarray(latitude)[:, None], np.asarray(longitude)[:, None]
    ra, height = extraterrestrial_hourly(lat, lon, day, hour)
    ea = saturation_pressure(weather.temp) * weather.humidity / 100.0
    et = reference_et_hourly(
        weather.temp,
        ea,
        weather.radiation * MJ_PER_H_PER_W,
        wind=weather.wind,
        ra=ra,
        height=height,
        elevation=np.asarray(elevation)[:, None],
        wind_height=10.0,
    )
    return np.asarray(np.maximum(et, 0.0))
