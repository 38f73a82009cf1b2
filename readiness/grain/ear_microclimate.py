"""The air of one hour as soil and ear feel it: evaporation, dew, and the ear's own warmth."""

from __future__ import annotations

import math

from numba import njit

#: Function of cloudiness where no hour tells it; assumed, half cloudy.
CLOUDINESS = 0.55
#: Wind at 2 m over that at 10 m (FAO-56 eq. 47).
WIND_2M = 4.87 / math.log(67.8 * 10.0 - 5.42)
#: Stefan-Boltzmann constant, W/m²/K⁴ (2.042e-10 MJ/m²/h/K⁴, ASCE 2005).
STEFAN = 2.042e-10 / 0.0036
#: Share of the canopy's net radiation that the ears exchange; assumed, because with it dew
#: begins near the published humidity of 94 % (Lu & Siebenmorgen 1994) on a clear breezy night.
EAR_RADIATION = 0.4
#: Resistance between ears and air is this over wind at 10 m, s/m; assumed, from a log profile
#: over a crop of 0.8 m (123) and the film of air round an ear (about 16).
EAR_RESISTANCE = 140.0
#: Air in a crop is never quite still, m/s; assumed, with the two above.
WIND_FLOOR = 1.5


@njit(cache=True, nogil=True, error_model="numpy")
def cloudiness_of(radiation, clear):  # type: ignore[no-untyped-def]
    """Function of cloudiness from radiation and that of a clear sky (ASCE 2005 eq. 45)."""
    ratio = min(max(radiation / clear, 0.3), 1.0)
    return min(max(1.35 * ratio - 0.35, 0.05), 1.0)


@njit(cache=True, nogil=True, error_model="numpy")
def air_terms(temp, humidity, cloudiness):  # type: ignore[no-untyped-def]
    """Saturation and actual vapour pressure, its slope, and net long wave of one hour.

    kPa, kPa, kPa/°C and W/m² (FAO-56 eqs 11, 13, 39) from °C, percent and the function of
    cloudiness (0.05 overcast to 1 clear; `readiness.atmosphere.evapotranspiration.cloudiness`).
    """
    es = 0.6108 * math.exp(17.27 * temp / (temp + 237.3))
    ea = es * min(humidity, 100.0) / 100.0
    slope = 4098.0 * es / ((temp + 237.3) * (temp + 237.3))
    square = (temp + 273.16) * (temp + 273.16)
    return es, ea, slope, STEFAN * square * square * (0.34 - 0.14 * math.sqrt(ea)) * cloudiness


@njit(cache=True, nogil=True, error_model="numpy")
def ear_air(temp, wind, radiation, es, ea, slope, long_wave):  # type: ignore[no-untyped-def]
    """State of the ear layer in one hour: (evaporation mm/h, temperature °C, humidity percent).

    Sun warms a dry ear above the air and a clear night cools it: temperature and humidity are
    those at its surface when dry. Evaporation is what it would lose when wet (Penman's
    combination, same net radiation and resistance); negative is dew, which begins as the dry
    ear cools to the dew point.

    Parameters: °C, m/s at 10 m, W/m², and the `air_terms`.
    """
    net = EAR_RADIATION * (0.77 * radiation - long_wave)
    # 1216 J/m³/K is the heat capacity of air, 0.066 kPa/K the psychrometric constant, and
    # 3600 / 2.45e6 turns W/m² into mm/h.
    exchange = 1216.0 / EAR_RESISTANCE * max(wind, WIND_FLOOR)
    latent = (slope * net + exchange * (es - ea)) / (slope + 0.066)
    warmer = net / exchange
    return (
        latent * (3600.0 / 2.45e6),
        temp + warmer,
        100.0 * min(ea / max(es + slope * warmer, 0.1 * es), 1.0),
    )


@njit(cache=True, nogil=True, error_model="numpy")
def reference_et(temp, wind, net, es, ea, slope, gamma):  # type: ignore[no-untyped-def]
    """Hourly short-reference ET, mm, never below 0: `et.reference_et_hour` as a compiled step.

    Parameters: °C, m/s at 10 m, net radiation MJ/m²/h, three of `air_terms`, kPa/°C.
    """
    u2 = wind * WIND_2M
    share, cd = (0.1, 0.24) if net > 0.0 else (0.5, 0.96)
    top = 0.408 * slope * net * (1.0 - share) + gamma * 37.0 / (temp + 273.0) * u2 * (es - ea)
    return max(top / (slope + gamma * (1.0 + cd * u2)), 0.0)


@njit(cache=True, nogil=True, error_model="numpy")
def first_cloudiness(radiation, clear):  # type: ignore[no-untyped-def]
    """Cloudiness of the first hour that tells it, for the hours before (as `et.cloudiness`)."""
    for h in range(clear.size):
        if clear[h] > 0.0 and not math.isnan(radiation[h]):
            return cloudiness_of(radiation[h], clear[h])
    return CLOUDINESS
