"""Reference evapotranspiration by FAO-56 and ASCE, daily and hourly.

Units: temperature °C, vapour pressure and air pressure kPa, wind m/s, radiation MJ/m² per day or
hour, ET mm per day or hour. Sources: Allen et al. 1998 (FAO-56); ASCE-EWRI 2005 (short and tall
reference, hourly coefficients).
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from readiness.atmosphere.weather import Array, Weather

Surface = Literal["short", "tall"]
SOLAR_CONSTANT = 4.92  # MJ/m²/h (ASCE 2005); 0.0820 MJ/m²/min in FAO-56
STEFAN_DAY = 4.901e-9  # MJ/K⁴/m²/d
STEFAN_HOUR = 2.042e-10  # MJ/K⁴/m²/h
ALBEDO = 0.23
#: Numerator and denominator constants by surface (ASCE 2005 Table 1): day; hour by day, night.
CN_DAY = {"short": 900.0, "tall": 1600.0}
CD_DAY = {"short": 0.34, "tall": 0.38}
CN_HOUR = {"short": 37.0, "tall": 66.0}
CD_HOUR = {"short": (0.24, 0.96), "tall": (0.25, 1.7)}
#: Soil heat flux as a share of net radiation, by day and by night (ASCE 2005 eqs 65-66).
G_SHARE = {"short": (0.1, 0.5), "tall": (0.04, 0.2)}
#: Below this height of the sun the ratio Rs/Rso is not told by measurement (ASCE 2005), rad.
SUN_LOW = 0.3


def saturation_pressure(temp: ArrayLike) -> Array:
    """Saturation vapour pressure, kPa (FAO-56 eq. 11)."""
    t = np.asarray(temp, dtype=np.float64)
    return np.asarray(0.6108 * np.exp(17.27 * t / (t + 237.3)), dtype=np.float64)


def pressure_slope(temp: ArrayLike) -> Array:
    """Slope of the saturation vapour pressure, kPa/°C (FAO-56 eq. 13)."""
    t = np.asarray(temp, dtype=np.float64)
    return np.asarray(4098.0 * saturation_pressure(t) / (t + 237.3) ** 2, dtype=np.float64)


def air_pressure(elevation: ArrayLike) -> Array:
    """Air pressure at an elevation in m, kPa (FAO-56 eq. 7)."""
    z = np.asarray(elevation, dtype=np.float64)
    return np.asarray(101.3 * ((293.0 - 0.0065 * z) / 293.0) ** 5.26, dtype=np.float64)


def wind_at_2m(wind: ArrayLike, height: float) -> Array:
    """Wind at 2 m from wind at another height over grass, m/s (FAO-56 eq. 47)."""
    u = np.asarray(wind, dtype=np.float64)
    return np.asarray(u if height == 2.0 else u * 4.87 / np.log(67.8 * height - 5.42))


def declination(day: ArrayLike) -> Array:
    """Solar declination, rad, by day of the year (FAO-56 eq. 24)."""
    return np.asarray(0.409 * np.sin(2 * np.pi * np.asarray(day) / 365.0 - 1.39))


def sun_distance(day: ArrayLike) -> Array:
    """Inverse relative distance earth-sun (FAO-56 eq. 23)."""
    return np.asarray(1.0 + 0.033 * np.cos(2 * np.pi * np.asarray(day) / 365.0))


def sunset_angle(latitude: ArrayLike, day: ArrayLike) -> Array:
    """Sunset hour angle, rad; latitude in degrees (FAO-56 eq. 25)."""
    phi = np.radians(latitude)
    return np.asarray(np.arccos(np.clip(-np.tan(phi) * np.tan(declination(day)), -1.0, 1.0)))


def extraterrestrial_day(latitude: ArrayLike, day: ArrayLike) -> Array:
    """Extraterrestrial radiation, MJ/m²/d (FAO-56 eq. 21, constant of ASCE 2005)."""
    phi, dec, ws = np.radians(latitude), declination(day), sunset_angle(latitude, day)
    sun = ws * np.sin(phi) * np.sin(dec) + np.cos(phi) * np.cos(dec) * np.sin(ws)
    return np.asarray(24.0 / np.pi * SOLAR_CONSTANT * sun_distance(day) * sun)


def solar_time_angle(hour: ArrayLike, longitude: ArrayLike, day: ArrayLike) -> Array:
    """Solar hour angle at an hour of UTC (fractions allowed), rad (FAO-56 eqs 31-33)."""
    b = 2 * np.pi * (np.asarray(day) - 81) / 364.0
    seasonal = 0.1645 * np.sin(2 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)
    angle = np.pi / 12 * (np.asarray(hour) + np.asarray(longitude) / 15.0 + seasonal - 12.0)
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)


def extraterrestrial_hour(
    latitude: ArrayLike, longitude: ArrayLike, day: ArrayLike, hour: ArrayLike
) -> tuple[Array, Array]:
    """Radiation of an hour that starts at `hour` UTC, MJ/m²/h, and the sun's height, rad.

    FAO-56 eqs 28-33; the angles are clipped to sunrise and sunset.
    """
    phi, dec, ws = np.radians(latitude), declination(day), sunset_angle(latitude, day)
    middle = solar_time_angle(np.asarray(hour) + 0.5, longitude, day)
    w1 = np.clip(middle - np.pi / 24, -ws, ws)
    w2 = np.clip(middle + np.pi / 24, -ws, ws)
    sun = (w2 - w1) * np.sin(phi) * np.sin(dec)
    sun = sun + np.cos(phi) * np.cos(dec) * (np.sin(w2) - np.sin(w1))
    height = np.arcsin(np.sin(phi) * np.sin(dec) + np.cos(phi) * np.cos(dec) * np.cos(middle))
    ra = 12.0 / np.pi * SOLAR_CONSTANT * sun_distance(day) * sun
    return np.asarray(np.maximum(ra, 0.0)), np.asarray(height)


def clear_sky(ra: ArrayLike, elevation: ArrayLike) -> Array:
    """Clear-sky radiation, in the unit of `ra` (FAO-56 eq. 37)."""
    return np.asarray((0.75 + 2e-5 * np.asarray(elevation)) * np.asarray(ra))


def clear_sky_full(ra: ArrayLike, ea: ArrayLike, elevation: ArrayLike, sine: ArrayLike) -> Array:
    """Clear-sky radiation by air mass and moisture, clean air (ASCE 2005 Appendix D), as `ra`.

    Parameters
    ----------
    ea : kPa. elevation : m. sine : of the sun's height (`sun_sine_day` for a day's mean).
    """
    pressure = air_pressure(elevation)
    low = np.maximum(np.asarray(sine, dtype=np.float64), 0.01)
    moist = 0.14 * np.asarray(ea) * pressure + 2.1  # precipitable water, mm
    beam = 0.98 * np.exp(-0.00146 * pressure / low - 0.075 * (moist / low) ** 0.4)
    diffuse = np.where(beam >= 0.15, 0.35 - 0.36 * beam, 0.18 + 0.82 * beam)
    return np.asarray((beam + diffuse) * np.asarray(ra))


def sun_sine_day(latitude: ArrayLike, day: ArrayLike) -> Array:
    """Sine of the sun's height averaged over a day (ASCE 2005 Appendix D)."""
    phi = np.radians(latitude)
    swing = 0.3 * phi * np.sin(2 * np.pi * np.asarray(day) / 365.0 - 1.39)
    return np.asarray(np.sin(0.85 + swing - 0.42 * phi**2))


def net_radiation_day(
    rs: ArrayLike, tmax: ArrayLike, tmin: ArrayLike, ea: ArrayLike, rso: ArrayLike
) -> Array:
    """Net radiation, MJ/m²/d (FAO-56 eqs 38-40)."""
    cloud = np.clip(np.asarray(rs) / np.maximum(np.asarray(rso), 1e-6), 0.3, 1.0)
    black = STEFAN_DAY * 0.5 * ((np.asarray(tmax) + 273.16) ** 4 + (np.asarray(tmin) + 273.16) ** 4)
    lost = black * (0.34 - 0.14 * np.sqrt(ea)) * (1.35 * cloud - 0.35)
    return np.asarray((1.0 - ALBEDO) * np.asarray(rs) - lost)


def reference_et_day(
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
    tmax, tmin : °C. ea : actual vapour pressure, kPa. rs : MJ/m²/d.
    wind : m/s at `wind_height` m. day : day of the year. latitude degrees, elevation m.
    rso : clear-sky radiation, MJ/m²/d; FAO-56 eq. 37 by default.
    """
    tmax, tmin = np.asarray(tmax, dtype=np.float64), np.asarray(tmin, dtype=np.float64)
    t = 0.5 * (tmax + tmin)
    es = 0.5 * (saturation_pressure(tmax) + saturation_pressure(tmin))
    if rso is None:
        rso = clear_sky(extraterrestrial_day(latitude, day), elevation)
    rn = net_radiation_day(rs, tmax, tmin, ea, rso)
    return _penman_monteith(
        t,
        rn,
        es - np.asarray(ea),
        wind_at_2m(wind, wind_height),
        elevation,
        cn=CN_DAY[surface],
        cd=CD_DAY[surface],
    )


def kc_max(u2: ArrayLike, rh_min: ArrayLike, kcb: ArrayLike, height: ArrayLike) -> Array:
    """Upper limit of the crop coefficient after wetting (FAO-56 eq. 72); m/s, percent, m."""
    weather = 0.04 * (np.asarray(u2) - 2.0) - 0.004 * (np.asarray(rh_min) - 45.0)
    tall = 1.2 + weather * (np.asarray(height) / 3.0) ** 0.3
    return np.asarray(np.maximum(tall, np.asarray(kcb) + 0.05))


def evaporation_coefficient(
    depletion: ArrayLike, *, tew: float, rew: float, kcb: ArrayLike, most: ArrayLike, few: ArrayLike
) -> tuple[Array, Array]:
    """Reduction Kr and coefficient Ke of soil evaporation (FAO-56 eqs 74 and 71).

    Parameters
    ----------
    depletion, tew, rew : mm. kcb, most : basal and highest crop coefficient.
    few : share of ground bare and wetted.
    """
    kr = np.clip((tew - np.asarray(depletion, dtype=np.float64)) / (tew - rew), 0.0, 1.0)
    ke = np.minimum(kr * (np.asarray(most) - np.asarray(kcb)), np.asarray(few) * np.asarray(most))
    return kr, np.asarray(ke)


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
    """ASCE 2005 eq. 1; `available` is Rn - G."""
    gamma = 0.000665 * air_pressure(elevation)
    slope = pressure_slope(t)
    top = 0.408 * slope * available + gamma * np.asarray(cn) / (t + 273.0) * u2 * deficit
    return np.asarray(top / (slope + gamma * (1.0 + np.asarray(cd) * u2)), dtype=np.float64)


def cloudiness(rs: Array, rso: Array, height: Array) -> Array:
    """Function of cloudiness fcd, 0.05-1 (ASCE 2005 eq. 45), last axis hours in order.

    With the sun below `SUN_LOW` the value of the last hour with a higher sun is kept; before the
    first such hour the first one serves.
    """
    told = height >= SUN_LOW
    ratio = np.clip(rs / np.maximum(rso, 1e-9), 0.3, 1.0)
    fcd = np.where(told, np.clip(1.35 * ratio - 0.35, 0.05, 1.0), np.nan)
    index = np.where(~np.isnan(fcd), np.arange(fcd.shape[-1]), -1)
    last = np.maximum.accumulate(index, axis=-1)
    first = np.argmax(index >= 0, axis=-1)[..., None]
    picked = np.take_along_axis(fcd, np.where(last >= 0, last, first), axis=-1)
    return np.where(np.isnan(picked), 0.55, picked)


def reference_et_hour(
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
    temp : °C. ea : kPa. rs, ra : MJ/m²/h. wind : m/s at `wind_height`.
    ra, height : of `extraterrestrial_hour`. elevation : m.
    rso : clear-sky radiation, MJ/m²/h; FAO-56 eq. 37 by default.
    """
    t = np.asarray(temp, dtype=np.float64)
    sun, pressure = np.asarray(rs, dtype=np.float64), np.asarray(ea, dtype=np.float64)
    clear = clear_sky(ra, elevation) if rso is None else np.asarray(rso, dtype=np.float64)
    fcd = cloudiness(sun, np.broadcast_to(clear, t.shape), np.broadcast_to(height, t.shape))
    lost = STEFAN_HOUR * fcd * (0.34 - 0.14 * np.sqrt(pressure)) * (t + 273.16) ** 4
    rn = (1.0 - ALBEDO) * sun - lost
    by_day = rn > 0
    share = np.where(by_day, *G_SHARE[surface])
    return _penman_monteith(
        t,
        rn * (1.0 - share),
        saturation_pressure(t) - pressure,
        wind_at_2m(wind, wind_height),
        elevation,
        cn=CN_HOUR[surface],
        cd=np.where(by_day, *CD_HOUR[surface]),
    )


def day_and_hour(times: NDArray[np.datetime64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Day of the year and hour of UTC of hour labels."""
    days = times.astype("datetime64[D]")
    year = days.astype("datetime64[Y]")
    day = (days - year.astype("datetime64[D]")).astype(np.int64) + 1
    return day, (times - days).astype("timedelta64[h]").astype(np.int64)


def weather_et(
    weather: Weather, latitude: ArrayLike, longitude: ArrayLike, elevation: ArrayLike
) -> Array:
    """Short-reference ET of an hourly frame, (member, site, hour), mm/h, never below 0.

    Sites' latitude and longitude (degrees) and elevation (m) are (site,). NaN where the weather
    is unknown.
    """
    day, hour = day_and_hour(weather.times)
    lat, lon = np.asarray(latitude)[:, None], np.asarray(longitude)[:, None]
    ra, height = extraterrestrial_hour(lat, lon, day, hour)
    ea = saturation_pressure(weather.temp) * weather.humidity / 100.0
    et = reference_et_hour(
        weather.temp,
        ea,
        weather.radiation * 0.0036,
        wind=weather.wind,
        ra=ra,
        height=height,
        elevation=np.asarray(elevation)[:, None],
        wind_height=10.0,
    )
    return np.asarray(np.maximum(et, 0.0))
