"""What a run is given besides weather and soil: the standing crop, stop rules, observations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array


@dataclass(frozen=True, kw_only=True)
class Stand:
    """What stands on each field, arrays (field,).

    Attributes
    ----------
    crop : keys of `readiness.grain.crops.CROPS`.
    ripe : datetime64[h], physiological maturity; NaT where taken as ripe from the start.
    moisture : grain moisture at maturity or at the first hour, percent wet basis; NaN for the
        crop's published value at maturity.
    limit : highest moisture at which the crop is threshed, percent wet basis.
    """

    crop: tuple[str, ...]
    ripe: NDArray[np.datetime64]
    moisture: Array
    limit: Array


@dataclass(frozen=True, kw_only=True)
class OperatingLimits:
    """What closes an hour besides ground and grain; None switches a rule off.

    Attributes
    ----------
    combine_t, cart_t : loaded weight of the heaviest combine and cart, tonnes.
    approach : (field,) 0 paved, 1 gravel, 2 dirt.
    wind_stop : m/s (gust). fire_stop : grassland fire index. heat_stop : heat index, °C.
    lightning : bool (member or 1, field, hour) or None, where a thunderstorm is expected.
    daylight_only : close the hours of night.
    """

    combine_t: float
    cart_t: float
    approach: NDArray[np.int64]
    wind_stop: float | None = None
    fire_stop: float | None = None
    heat_stop: float | None = None
    lightning: NDArray[np.bool_] | None = None
    daylight_only: bool = False


@dataclass(frozen=True, kw_only=True)
class Observation:
    """Something seen in a field, which moves the state when the run passes its hour.

    `kind` is 'moisture' (grain, percent wet basis), 'tier' (a `Tier` code from a ground check)
    or 'water' (0-15 cm volumetric water, m³/m³); `sd` its standard error in the same unit.
    """

    field: int
    time: np.datetime64
    kind: str
    value: float
    sd: float
