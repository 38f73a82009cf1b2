"""Hours for other work from the same states: tillage, planting and spraying."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from readiness.bearing import plastic_limit
from readiness.hazards import solar_elevation
from readiness.season import Season, Tier
from readiness.soil import Land, bulk_density
from readiness.weather import Array, Weather

#: Least soil temperature for planting, °C: corn 50 °F at 4 in published; soybean 50-55 °F from
#: memory; sorghum and the small grains and canola assumed.
PLANTING_TEMP: dict[str, float] = {
    "corn": 10.0,
    "soybean": 11.5,
    "sorghum": 15.0,
    "wheat_hard": 4.0,
    "wheat_soft": 4.0,
    "wheat_durum": 4.0,
    "barley": 4.0,
    "oats": 4.0,
    "canola": 5.0,
}
#: Share of plant-available water the seed zone needs; assumed.
SEED_ZONE_SHARE = 0.4
#: Wind for spraying, m/s: 3-10 mph (Tennessee extension; another source says 3-8).
SPRAY_WIND = (1.34, 4.47)
#: Sun this high ends or begins the hours when inversions are usual: from 1-2 h before sunset to
#: about 1 h after sunrise (GRDC), about 10 degrees at mid latitudes (assumed).
SPRAY_SUN = 10.0
SPRAY_CAUTION = (
    "The product label and local law decide wind, temperature and buffers; these hours only show "
    "usual wind limits and likely inversions."
)


#: Smoothing of air temperature into that at seed depth, h; assumed: about a day at 5-10 cm.
SEED_MEMORY = 24.0


def seed_temperature(temp: Array) -> Array:
    """Temperature at seed depth from air temperature, °C, last axis hours; a running mean.

    NaN hours leave the mean as it was and are NaN themselves.
    """
    out = np.empty_like(temp)
    mean = temp[..., 0]
    for h in range(temp.shape[-1]):
        now = temp[..., h]
        step = np.where(np.isnan(now) | np.isnan(mean), 0.0, (now - mean) / SEED_MEMORY)
        mean = np.where(np.isnan(mean), now, mean + step)
        out[..., h] = np.where(np.isnan(now), np.nan, mean)
    return out


def tillage_limit(clay: Array, *, density: Array, offset: Array) -> Array:
    """Highest volumetric water of 0-15 cm for tillage: 0.9 of the plastic limit (published)."""
    return np.asarray(0.9 * plastic_limit(clay) * density / 100.0 + offset, dtype=np.float64)


def work_hours(
    season: Season, weather: Weather, land: Land, *, crop: str
) -> dict[str, NDArray[np.bool_]]:
    """Hours fit for other work, (member, field, hour), from the states of a season.

    Parameters
    ----------
    season, weather, land : on the same hours and fields; unknown hours are never fit.
    crop : to be planted.

    Returns
    -------
    dict with 'tillage' (0-15 cm no wetter than 0.9 of the plastic limit), 'planting' (that, warm
    and moist enough) and 'spraying' (usual wind, no rain, no likely inversion, ground not soft;
    see `SPRAY_CAUTION`).
    """
    density = bulk_density(land.sand, land.clay, land.organic_pct)
    limit = tillage_limit(land.clay, density=density, offset=land.bearing_offset)
    water = season.water_top
    tilled = water <= limit[:, None]
    dry, wet = land.wilting_point[:, None], land.field_capacity[:, None]
    moist = water >= dry + SEED_ZONE_SHARE * (wet - dry)
    warm = seed_temperature(weather.temp) >= PLANTING_TEMP[crop]
    sun = solar_elevation(weather.times, land.latitude, land.longitude)
    low, high = SPRAY_WIND
    calm = (weather.wind >= low) & (weather.wind <= high) & (weather.rain <= 0.0)
    bears = (season.tier == Tier.FIRM) | (season.tier == Tier.HEADLAND_ONLY)
    return {
        "tillage": tilled & bears,
        "planting": tilled & moist & warm & bears,
        "spraying": calm & (sun >= SPRAY_SUN) & bears,
    }
