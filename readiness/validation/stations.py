"""Records of a station screened, gap-filled and spread over hours, with grass cover and ET."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.evapotranspiration import weather_et
from readiness.atmosphere.weather import Array, Weather
from readiness.soil.land import Land
from readiness.soil.water_balance import run_water
from readiness.sources.daily_record import DailyRecord
from readiness.sources.daily_to_hourly import (
    daily_to_hourly,
    elevation_or_default,
    estimate_missing,
)
from readiness.sources.quality_screens import fill_short_gaps, screen_record
from readiness.sources.uscrn import read_uscrn_daily

#: First and last month that scores compare.
COMPARED_MONTHS = (4, 10)
#: Basal crop coefficient of grass, dormant and full (FAO-56 Table 17, grazing pasture 0.30-1.00;
#: the dormant value is that of bare ground).
GRASS_DORMANT, GRASS_FULL = 0.15, 0.80
#: Mean temperatures, °C, between which grass greens, and the days of the mean. Cool- and
#: warm-season grasses begin near 5 °C and grow fully near 20 °C; assumed.
GREENING, GREENING_DAYS = (5.0, 20.0), 20
#: Sod and litter shade the ground all year: full residue cover, and a further 0.4 of FAO-56's half
#: of evaporation; assumed.
SOD: Mapping[str, float] = {"residue": 1.0, "evap_factor": 0.4}
#: Days of records before the first soil moisture reading that spin the model up.
SPIN_UP_DAYS = 730


@dataclass(frozen=True, kw_only=True)
class Station:
    """A station ready to run.

    Attributes
    ----------
    weather : (1, 1, hour) of the days of `daily`.
    eto, kcb : (1, hour) reference ET, mm/h, and basal crop coefficient of grass.
    """

    daily: DailyRecord
    weather: Weather
    eto: Array
    kcb: Array

    @property
    def year(self) -> NDArray[np.int64]:
        """Year of each day."""
        return self.daily.days.astype("datetime64[Y]").astype(np.int64) + 1970

    @property
    def month(self) -> NDArray[np.int64]:
        """Month of each day, 1-12."""
        return self.daily.days.astype("datetime64[M]").astype(np.int64) % 12 + 1

    @property
    def in_season(self) -> NDArray[np.bool_]:
        """Whether each day lies within `COMPARED_MONTHS`."""
        first, last = COMPARED_MONTHS
        return np.asarray((self.month >= first) & (self.month <= last))

    def land(self) -> Land:
        """Loam under sod at the station: the ground assumed without a look at it."""
        return Land.of(
            1,
            latitude=self.daily.latitude,
            longitude=self.daily.longitude,
            elevation_m=elevation_or_default(self.daily),
            **SOD,
        )


def grass_kcb(daily: DailyRecord) -> Array:
    """Basal crop coefficient of grass, (day,), from the mean temperature of the days before."""
    mean = 0.5 * (daily.tmax + daily.tmin)
    known = np.flatnonzero(np.isfinite(mean))
    if not known.size:
        return np.full(mean.size, GRASS_FULL)
    mean = np.interp(np.arange(mean.size), known, mean[known])
    running = np.convolve(mean, np.ones(GREENING_DAYS) / GREENING_DAYS)[: mean.size]
    green = np.clip((running - GREENING[0]) / (GREENING[1] - GREENING[0]), 0.0, 1.0)
    return np.asarray(GRASS_DORMANT + (GRASS_FULL - GRASS_DORMANT) * green)


def prepare_station(daily: DailyRecord) -> Station:
    """Screen, fill, estimate and spread a record over hours; cut it to the years with probes."""
    clean = estimate_missing(fill_short_gaps(screen_record(daily)))
    weather = daily_to_hourly(clean)
    probed = np.flatnonzero(np.isfinite(clean.soil_water).any(axis=0))
    first = max(0, int(probed[0]) - SPIN_UP_DAYS) if probed.size else 0
    last = min(clean.tmax.size, int(probed[-1]) + 365) if probed.size else clean.tmax.size
    clean = _cut(clean, first, last)
    day = np.timedelta64(24, "h")
    weather = weather.between(weather.start + first * day, weather.start + last * day)
    land = Land.of(1, latitude=daily.latitude, longitude=daily.longitude)
    eto = weather_et(weather, land.latitude, land.longitude, land.elevation_m)
    return Station(daily=clean, weather=weather, eto=eto, kcb=np.repeat(grass_kcb(clean), 24)[None])


def _cut(daily: DailyRecord, first: int, last: int) -> DailyRecord:
    """Days in [first, last) of a record."""
    cut = {
        f.name: getattr(daily, f.name)[..., first:last]
        for f in fields(daily)
        if isinstance(getattr(daily, f.name), np.ndarray)
    }
    flags = {name: values[first:last] for name, values in daily.flags.items()}
    return replace(daily, first=daily.first + np.timedelta64(first, "D"), flags=flags, **cut)


def read_stations(folder: Path) -> list[DailyRecord]:
    """Stations of a folder of USCRN daily01 files; files of single years are joined."""
    groups: dict[str, list[Path]] = {}
    for path in sorted(folder.glob("CRN*")):
        name = path.name.removesuffix(".gz").rsplit(".", 1)[0]
        groups.setdefault(re.sub(r"^CRND0103[-_](\d{4}-)?", "", name), []).append(path)
    return [read_uscrn_daily(paths) for paths in groups.values()]


def daily_soil_water(station: Station, land: Land, *, vigour: float = 1.0) -> Array:
    """Daily mean soil water, (layer, day), of a run over the whole record.

    Parameters
    ----------
    vigour : factor on the basal crop coefficient.
    """
    theta = run_water(station.weather, land, kcb=station.kcb * vigour, eto=station.eto)[0][0, 0]
    return np.asarray(theta.reshape(theta.shape[0], -1, 24).mean(axis=2))
