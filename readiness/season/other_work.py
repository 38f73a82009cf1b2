"""Hours for other work from the same states: tillage, planting and spraying."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.solar import solar_elevation
from readiness.atmosphere.weather import Array, Weather
from readiness.season.codes import OtherWork, OtherWorkReason, Tier
from readiness.season.simulate import Season
from readiness.soil.properties import Land, bulk_density
from readiness.soil.trafficability import plastic_limit

Causes = dict[OtherWorkReason, NDArray[np.bool_]]
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


def other_work_reasons(
    season: Season, weather: Weather, land: Land, *, work: OtherWork, crop: Sequence[str]
) -> NDArray[np.uint8]:
    """First cause that keeps each hour from other work, `OtherWorkReason` (member, field, hour).

    Tillage needs 0-15 cm no wetter than 0.9 of the plastic limit; planting that, and it warm and
    moist enough; spraying usual wind, no rain and no likely inversion, see `SPRAY_CAUTION`; all
    need ground that bears.

    Parameters
    ----------
    season, weather, land : on the same hours and fields; unknown hours are never fit.
    crop : to be planted on each field.
    """
    if work == "spraying":
        known, causes = _spraying(weather, land)
    else:
        known, causes = _tillage(season, land)
    if work == "planting":
        known = known + weather.temp
        causes |= _seed_zone(season, weather, land, crop)
    bears = (season.tier == Tier.FIRM) | (season.tier == Tier.HEADLAND_ONLY)
    unknown = np.isnan(known) | (season.tier == Tier.UNKNOWN)
    closed = {OtherWorkReason.UNKNOWN: unknown, OtherWorkReason.GROUND: ~bears} | causes
    codes = np.select(list(closed.values()), [int(c) for c in closed], int(OtherWorkReason.OPEN))
    return codes.astype(np.uint8)


def _tillage(season: Season, land: Land) -> tuple[Array, Causes]:
    density = bulk_density(land.sand, land.clay, land.organic_pct)
    limit = tillage_limit(land.clay, density=density, offset=land.bearing_offset)
    return season.water_top, {OtherWorkReason.WET: season.water_top > limit[:, None]}


def _seed_zone(season: Season, weather: Weather, land: Land, crop: Sequence[str]) -> Causes:
    least = np.array([PLANTING_TEMP[c] for c in crop])[:, None]
    dry, wet = land.wilting_point[:, None], land.field_capacity[:, None]
    return {
        OtherWorkReason.COLD: seed_temperature(weather.temp) < least,
        OtherWorkReason.DRY: season.water_top < dry + SEED_ZONE_SHARE * (wet - dry),
    }


def _spraying(weather: Weather, land: Land) -> tuple[Array, Causes]:
    low, high = SPRAY_WIND
    sun = solar_elevation(weather.times, land.latitude, land.longitude)
    return weather.wind + weather.rain, {
        OtherWorkReason.RAIN: weather.rain > 0.0,
        OtherWorkReason.WIND: (weather.wind < low) | (weather.wind > high),
        OtherWorkReason.SUN: np.broadcast_to(sun < SPRAY_SUN, weather.wind.shape),
    }
