"""Daily weather record of one station."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array

#: Depths of soil probes, cm (U.S. Climate Reference Network).
SOIL_DEPTHS_CM = (5, 10, 20, 50, 100)
DAILY_VARIABLES = (
    "tmax",
    "tmin",
    "rain",
    "solar",
    "humidity",
    "humidity_max",
    "humidity_min",
    "wind",
)


class RecordError(ValueError):
    """A record file cannot be read; the message names the file and says what is wrong."""


class Flag(IntEnum):
    """Origin of a daily value."""

    MEASURED = 0
    FILLED = 1  # a short gap, interpolated
    ESTIMATED = 2  # from other variables by a published relation
    REMOVED = 3  # by a screen, as impossible
    MISSING = 4


@dataclass(frozen=True, kw_only=True)
class DailyRecord:
    """Days of one station in local standard time; NaN is unknown.

    Attributes
    ----------
    first : first day, datetime64[D].
    latitude, longitude : degrees. elevation_m : NaN where unknown.
    tmax, tmin : °C. rain : mm. solar : MJ/m². wind : m/s at 2 m; all (day,).
    humidity, humidity_max, humidity_min : relative, percent, (day,).
    soil_water, soil_temp : (depth, day) at `SOIL_DEPTHS_CM`, m³/m³ and °C.
    flags : `Flag` of each day by variable, uint8.
    """

    name: str
    first: np.datetime64
    latitude: float
    longitude: float
    elevation_m: float
    tmax: Array
    tmin: Array
    rain: Array
    solar: Array
    humidity: Array
    humidity_max: Array
    humidity_min: Array
    wind: Array
    soil_water: Array
    soil_temp: Array
    flags: Mapping[str, NDArray[np.uint8]]

    @classmethod
    def of(
        cls,
        name: str,
        first: np.datetime64,
        values: Mapping[str, Array],
        *,
        latitude: float,
        longitude: float,
        elevation_m: float,
        soil: tuple[Array, Array] | None = None,
    ) -> DailyRecord:
        """Record of the variables that a file holds; the others are NaN, flagged MISSING.

        Parameters
        ----------
        values : (day,) by variable.
        soil : soil water and soil temperature, (depth, day).
        """
        days = next(iter(values.values())).size
        full = {n: values.get(n, np.full(days, np.nan)) for n in DAILY_VARIABLES}
        unprobed = np.full((len(SOIL_DEPTHS_CM), days), np.nan)
        water, temp = (unprobed, unprobed.copy()) if soil is None else soil
        return cls(
            name=name,
            first=first.astype("datetime64[D]"),
            latitude=latitude,
            longitude=longitude,
            elevation_m=elevation_m,
            soil_water=water,
            soil_temp=temp,
            flags={
                n: np.where(np.isnan(v), Flag.MISSING, Flag.MEASURED).astype(np.uint8)
                for n, v in full.items()
            },
            **full,
        )

    @property
    def days(self) -> NDArray[np.datetime64]:
        """Day labels, datetime64[D]."""
        return np.asarray(self.first + np.arange(self.tmax.size), dtype="datetime64[D]")

    @property
    def utc_offset(self) -> int:
        """Hours of local standard time ahead of UTC, from the longitude."""
        return round(self.longitude / 15.0)


def on_successive_days(days: NDArray[np.datetime64], values: Array) -> Array:
    """Values of unsorted days on the run from first to last day; NaN on days without a value."""
    first = days.min()
    out = np.full((*values.shape[:-1], int((days.max() - first).astype(int)) + 1), np.nan)
    out[..., (days - first).astype(int)] = values
    return out
