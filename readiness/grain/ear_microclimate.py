"""The air of one hour at soil and ear: reference ET, evaporation, dew, and the ear's own warmth."""

from __future__ import annotations

import math

from numba import njit

from readiness.atmosphere.air import wind_at_2m
from readiness.atmosphere.evapotranspiration import (
    ALBEDO,
    CD_HOUR,
    CN_HOUR,
    G_SHARE,
    STEFAN_HOUR,
    UNKNOWN_CLOUDINESS,
)
from readiness.atmosphere.solar import MJ_PER_H_PER_W

#: Short-reference constants of `evapotranspiration` (ASCE 2005 Table 1, eqs 65-66), day and night.
CN = CN_HOUR["short"]
(CD_DAY, CD_NIGHT), (G_DAY, G_NIGHT) = CD_HOUR["short"], G_SHARE["short"]
#: Share of solar radiation that a reference surface and a canopy absorb.
ABSORBED = 1.0 - ALBEDO
#: Wind at 2 m over that at 10 m.
WIND_2M = float(wind_at_2m(1.0, 10.0))
#: Stefan-Boltzmann constant, W/m²/K⁴.
STEFAN = STEFAN_HOUR / MJ_PER_H_PER_W
#: Heat capacity of air, J/m³/K; psychrometric constant near sea level, kPa/K; W/m² in mm/h of
#: evaporated water.
HEAT_CAPACITY, PSYCHROMETRIC, MM_PER_WATT = 1216.0, 0.066, 3600.0 / 2.45e6
#: Share of the canopy's net radiation that the ears exchange. Assumed, because dew then begins near
#: the published humidity of 94 % (Lu & Siebenmorgen 1994) on a clear breezy night.
EAR_RADIATION = 0.4
#: Resistance between ears and air, s/m, times wind at 10 m, m/s. Assumed, from a log profile over a
#: crop of 0.8 m (123) and the film of air round an ear (about 16).
EAR_RESISTANCE = 140.0
#: Lowest wind in a crop, m/s; assumed, with the two values above.
WIND_FLOOR = 1.5


@njit(cache=True, nogil=True, error_model="numpy")
def cloudiness_of(radiation, clear_sky):  # type: ignore[no-untyped-def]
    """Function of cloudiness from radiation and that of a clear sky (ASCE 2005 eq. 45)."""
    ratio = min(max(radiation / clear_sky, 0.3), 1.0)
    return min(max(1.35 * ratio - 0.35, 0.05), 1.0)


@njit(cache=True, nogil=True, error_model="numpy")
def air_terms(temp, humidity, cloudiness):  # type: ignore[no-untyped-def]
    """Vapour pressures, their slope and net long-wave radiation of one hour.

    Parameters
    ----------
    temp, humidity : °C and percent.
    cloudiness : function of cloudiness, 0.05 overcast to 1 clear.

    Returns
    -------
    es, ea : saturation and actual vapour pressure, kPa (FAO-56 eq. 11).
    slope : kPa/°C (FAO-56 eq. 13).
    long_wave : net loss, W/m² (FAO-56 eq. 39).
    """
    es = 0.6108 * math.exp(17.27 * temp / (temp + 237.3))
    ea = es * min(humidity, 100.0) / 100.0
    slope = 4098.0 * es / ((temp + 237.3) * (temp + 237.3))
    square = (temp + 273.16) * (temp + 273.16)
    return es, ea, slope, STEFAN * square * square * (0.34 - 0.14 * math.sqrt(ea)) * cloudiness


@njit(cache=True, nogil=True, error_model="numpy")
def ear_air(temp, wind, radiation, es, ea, slope, long_wave):  # type: ignore[no-untyped-def]
    """Evaporation, temperature and humidity of the ear layer in one hour.

    Sun warms a dry ear above the air; a clear night cools it. Evaporation is that of a wet ear by
    Penman's combination, with the same net radiation and resistance. Negative evaporation is dew,
    which begins as the dry ear cools to the dew point.

    Parameters
    ----------
    temp, wind, radiation : °C, m/s at 10 m, W/m².
    es, ea, slope, long_wave : of `air_terms`.

    Returns
    -------
    evaporation : mm/h.
    temperature : °C, at the surface of a dry ear.
    humidity : percent, at the surface of a dry ear.
    """
    net = EAR_RADIATION * (ABSORBED * radiation - long_wave)
    exchange = HEAT_CAPACITY / EAR_RESISTANCE * max(wind, WIND_FLOOR)
    latent = (slope * net + exchange * (es - ea)) / (slope + PSYCHROMETRIC)
    warmer = net / exchange
    return (
        latent * MM_PER_WATT,
        temp + warmer,
        100.0 * min(ea / max(es + slope * warmer, 0.1 * es), 1.0),
    )


@njit(cache=True, nogil=True, error_model="numpy")
def reference_et(temp, wind, net, es, ea, slope, gamma):  # type: ignore[no-untyped-def]
    """Short-reference ET of one hour, mm, never below 0 (ASCE 2005 eq. 1).

    Equals `evapotranspiration.reference_et_hourly`, as a compiled step.

    Parameters
    ----------
    temp, wind : °C, m/s at 10 m.
    net : net radiation, MJ/m²/h.
    es, ea, slope : of `air_terms`.
    gamma : psychrometric constant, kPa/°C.
    """
    u2 = wind * WIND_2M
    ground, cd = (G_DAY, CD_DAY) if net > 0.0 else (G_NIGHT, CD_NIGHT)
    top = 0.408 * slope * net * (1.0 - ground) + gamma * CN / (temp + 273.0) * u2 * (es - ea)
    return max(top / (slope + gamma * (1.0 + cd * u2)), 0.0)


@njit(cache=True, nogil=True, error_model="numpy")
def first_cloudiness(radiation, clear_sky):  # type: ignore[no-untyped-def]
    """Cloudiness of the first hour that measures it, for the hours before."""
    for h in range(clear_sky.size):
        if clear_sky[h] > 0.0 and not math.isnan(radiation[h]):
            return cloudiness_of(radiation[h], clear_sky[h])
    return UNKNOWN_CLOUDINESS
