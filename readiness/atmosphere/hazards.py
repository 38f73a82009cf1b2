"""What stops harvest for people's sake: fire weather, heat, lightning and darkness.

These are the usual published cautions. Local codes, red-flag warnings and the people in charge
always decide; nothing here says that an hour is safe.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array

#: South Australian Grain Harvesting Code of Practice: suspend harvest above this index
#: (published); the local rule decides.
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
#: Resume so many minutes after the last thunder (published).
LIGHTNING_WAIT_MIN = 30.0
#: Centre of the sun at sunrise: refraction and half the disc, degrees (convention).
SUNRISE_ELEVATION = -0.833


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
    """U.S. National Weather Service heat index, °C in the shade, from °C and percent.

    Steadman's simple form averaged with temperature; from 80 °F Rothfusz's regression with both
    adjustments (Weather Prediction Center). In full sun up to 15 °F more (same source).
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


def class_of(value: float, classes: tuple[tuple[float, str], ...]) -> str:
    """Word of the highest class whose lower edge `value` reaches; '' below the first."""
    words = [word for edge, word in classes if value >= edge]
    return words[-1] if words else ""


def solar_elevation(times: NDArray[np.datetime64], latitude: Array, longitude: Array) -> Array:
    """Height of the sun at the middle of each hour, degrees, (site, hour).

    FAO-56 eq. 24 and 31-33 (declination, seasonal correction); within about half a degree.

    Parameters
    ----------
    times : (hour,) datetime64[h], UTC hour labels.
    latitude, longitude : (site,) degrees, north and east positive.
    """
    day = times.astype("datetime64[D]")
    j = (day - times.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1
    clock = (times - day).astype("timedelta64[h]").astype(np.float64) + 0.5
    declination = 0.409 * np.sin(2.0 * np.pi * j / 365.0 - 1.39)
    b = 2.0 * np.pi * (j - 81) / 364.0
    correction = 0.1645 * np.sin(2.0 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)
    solar_hour = clock + correction + np.asarray(longitude, dtype=np.float64)[:, None] / 15.0
    angle = np.pi / 12.0 * (solar_hour - 12.0)
    phi = np.radians(np.asarray(latitude, dtype=np.float64))[:, None]
    sine = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(angle)
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))), dtype=np.float64)


def daylight(times: NDArray[np.datetime64], latitude: Array, longitude: Array) -> NDArray[np.bool_]:
    """Hours whose middle lies between sunrise and sunset, (site, hour)."""
    return np.asarray(solar_elevation(times, latitude, longitude) > SUNRISE_ELEVATION)
