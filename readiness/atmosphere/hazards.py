"""Weather that stops harvest for people's safety: fire weather, heat and lightning.

The limits are published cautions. Local codes, red-flag warnings and the people in charge always
decide; no value here says that an hour is safe.
"""

from __future__ import annotations

import numpy as np

from readiness.atmosphere.weather import Array

#: Grassland fire danger index above which the South Australian Grain Harvesting Code of Practice
#: suspends harvest (published); the local rule decides.
FIRE_STOP = 35.0
#: Lower edge of each class: published up to 50 (South Australia), above that from memory.
FIRE_CLASSES = (
    (0.0, "low to moderate"),
    (12.0, "high"),
    (25.0, "very high"),
    (50.0, "severe"),
    (75.0, "extreme"),
    (100.0, "catastrophic"),
)
#: Lower edge of each class of heat index, °F (U.S. National Weather Service, published).
HEAT_CLASSES = (
    (80.0, "caution"),
    (90.0, "extreme caution"),
    (105.0, "danger"),
    (130.0, "extreme danger"),
)
#: Minutes after the last thunder until work resumes (published).
LIGHTNING_WAIT_MIN = 30.0


def grassland_fire_index(
    temp: Array, humidity: Array, wind: Array, *, curing: float = 100
) -> Array:
    """McArthur Mk 4 grassland fire danger index.

    GFDI = 2 exp(-23.6 + 5.01 ln C + 0.0281 T - 0.226 sqrt(RH) + 0.633 sqrt(U)); Purton 1982,
    Bureau of Meteorology Met. Note 147; Noble et al. 1980.

    Parameters
    ----------
    temp, humidity, wind : °C, percent, m/s at 10 m; any shapes that broadcast.
    curing : dead share of the fuel, percent; 100 for a ripe crop.
    """
    exponent = (
        -23.6
        + 5.01 * np.log(curing)
        + 0.0281 * temp
        - 0.226 * np.sqrt(humidity)
        + 0.633 * np.sqrt(wind * 3.6)
    )
    return np.asarray(2.0 * np.exp(exponent), dtype=np.float64)


def heat_index(temp: Array, humidity: Array) -> Array:
    """U.S. National Weather Service heat index in the shade, °C, from °C and percent.

    Steadman's simple form averaged with the temperature; from 80 °F Rothfusz's regression with
    both adjustments (Weather Prediction Center). Full sun adds up to 15 °F (same source).
    """
    t = np.asarray(temp, dtype=np.float64) * 1.8 + 32.0
    r = np.asarray(humidity, dtype=np.float64)
    simple = 0.5 * (t + 0.5 * (t + 61.0 + 1.2 * (t - 68.0) + 0.094 * r))
    full = (
        -42.379
        + 2.04901523 * t
        + 10.14333127 * r
        - 0.22475541 * t * r
        - 0.00683783 * t**2
        - 0.05481717 * r**2
        + 0.00122874 * t**2 * r
        + 0.00085282 * t * r**2
        - 0.00000199 * t**2 * r**2
    )
    dry = (r < 13.0) & (t >= 80.0) & (t <= 112.0)
    damp = (r > 85.0) & (t >= 80.0) & (t <= 87.0)
    full = full - dry * (13.0 - r) / 4.0 * np.sqrt(np.maximum(17.0 - np.abs(t - 95.0), 0.0) / 17.0)
    full = full + damp * (r - 85.0) / 10.0 * (87.0 - t) / 5.0
    return np.asarray((np.where(simple >= 80.0, full, simple) - 32.0) / 1.8, dtype=np.float64)


def hazard_class(value: float, classes: tuple[tuple[float, str], ...]) -> str:
    """Name of the highest class whose lower edge `value` reaches; '' below the first."""
    names = [name for edge, name in classes if value >= edge]
    return names[-1] if names else ""
