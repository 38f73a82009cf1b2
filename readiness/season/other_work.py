"""Hours for tillage, planting and spraying, from the season of a run."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.solar import solar_elevation
from readiness.atmosphere.weather import Array, Weather
from readiness.season.codes import OtherWork, OtherWorkReason, Tier
from readiness.season.simulate import Season
from readiness.soil.land import Land
from readiness.soil.properties import bulk_density, plastic_limit

Causes = dict[OtherWorkReason, NDArray[np.bool_]]
#: Lowest soil temperature for planting, °C. Corn: 50 °F at 4 in, published; soybean: 50-55 °F,
#: memory; sorghum, small grains and canola assumed.
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
#: Share of plant-available water that the seed zone needs; assumed.
SEED_ZONE_SHARE = 0.4
#: Share of the plastic limit up to which soil can be tilled (published).
TILLAGE_SHARE = 0.9
#: Range of wind for spraying, m/s: 3-10 mph (Tennessee extension; another source gives 3-8).
SPRAY_WIND = (1.34, 4.47)
#: Elevation of the sun, degrees, below which inversions are usual: from 1-2 h before sunset to
#: about 1 h after sunrise (GRDC), about 10 degrees at mid latitudes (assumed).
SPRAY_SUN = 10.0
SPRAY_CAUTION = (
    "The product label and local law decide wind, temperature and buffers; these hours only show "
    "usual wind limits and likely inversions."
)
#: Time constant between air temperature and temperature at seed depth, h; assumed: about a day at
#: 5-10 cm.
SEED_MEMORY = 24.0


def seed_temperature(temp: Array) -> Array:
    """Temperature at seed depth from air temperature, °C, last axis hours.

    An exponential mean. Unknown hours (NaN) stay unknown and leave the mean as it is.
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
    """Highest volumetric water of 0-5 and 5-15 cm for tillage, m³/m³; bulk density in t/m³."""
    return np.asarray(
        TILLAGE_SHARE * plastic_limit(clay) * density / 100.0 + offset, dtype=np.float64
    )


def other_work_reasons(
    season: Season, weather: Weather, land: Land, *, work: OtherWork, crop: Sequence[str]
) -> NDArray[np.uint8]:
    """First cause that closes each hour to other work, (member, field, hour).

    All work needs ground that bears. Tillage needs 0-5 and 5-15 cm within `tillage_limit`.
    Planting needs that too, and a seed zone warm and moist enough. Spraying needs usual wind, no
    rain and no likely inversion, see `SPRAY_CAUTION`.

    Parameters
    ----------
    season, weather, land : on the same hours and fields.
    work : kind of work.
    crop : to be planted on each field.

    Returns
    -------
    `OtherWorkReason` codes; hours with unknown weather or ground are never open.
    """
    if work == "spraying":
        inputs, causes = _spraying(weather, land)
    else:
        inputs, causes = _tillage(season, land)
    if work == "planting":
        inputs = inputs + weather.temp
        causes |= _seed_zone(season, weather, land, crop)
    bears = (season.tier == Tier.FIRM) | (season.tier == Tier.HEADLAND_ONLY)
    unknown = np.isnan(inputs) | (season.tier == Tier.UNKNOWN)
    closed = {OtherWorkReason.UNKNOWN: unknown, OtherWorkReason.GROUND: ~bears} | causes
    codes = np.select(list(closed.values()), [int(c) for c in closed], int(OtherWorkReason.OPEN))
    return codes.astype(np.uint8)


def _tillage(season: Season, land: Land) -> tuple[Array, Causes]:
    """Input that has to be known, and the causes that close tillage."""
    density = bulk_density(land.sand, land.clay, land.organic_pct)
    limit = tillage_limit(land.clay, density=density, offset=land.bearing_offset)
    return season.water_top, {OtherWorkReason.WET: season.water_top > limit[:, None]}


def _seed_zone(season: Season, weather: Weather, land: Land, crop: Sequence[str]) -> Causes:
    """Causes that close planting besides those of tillage."""
    lowest = np.array([PLANTING_TEMP[c] for c in crop])[:, None]
    dry, wet = land.wilting_point[:, None], land.field_capacity[:, None]
    return {
        OtherWorkReason.COLD: seed_temperature(weather.temp) < lowest,
        OtherWorkReason.DRY: season.water_top < dry + SEED_ZONE_SHARE * (wet - dry),
    }


def _spraying(weather: Weather, land: Land) -> tuple[Array, Causes]:
    """Input that has to be known, and the causes that close spraying."""
    low, high = SPRAY_WIND
    sun = solar_elevation(weather.times, land.latitude, land.longitude)
    return weather.wind + weather.rain, {
        OtherWorkReason.RAIN: weather.rain > 0.0,
        OtherWorkReason.WIND: (weather.wind < low) | (weather.wind > high),
        OtherWorkReason.SUN: np.broadcast_to(sun < SPRAY_SUN, weather.wind.shape),
    }
