"""Hourly soil water, ground, grain and windows for every member and field in one pass."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from readiness.weather import Array


class Tier(IntEnum):
    """What the ground bears."""

    SOFT = 0  # nothing may drive
    HEADLAND_ONLY = 1  # combines may cut, carts and trucks stay at the edge
    FIRM = 2  # everything
    UNKNOWN = 3


class Reason(IntEnum):
    """First binding cause that closes an hour, in the order in which causes are charged."""

    OPEN = 0
    UNKNOWN = 1  # weather missing: unknown is not dry
    GROUND = 2  # rain falling, or ground too soft
    APPROACH = 3  # the dirt road to the field is shut
    GRAIN = 4  # dew or rain on the ear, or grain too wet to thresh or to deliver
    GREEN = 5  # not ripe yet
    WIND = 6
    FIRE = 7
    LIGHTNING = 8
    HEAT = 9
    NIGHT = 10  # outside daylight, where the user asks for daylight only


@dataclass(frozen=True, kw_only=True)
class Season:
    """Result of a run, arrays (member, field, hour) on the hours of the weather given.

    Attributes
    ----------
    start : first hour, datetime64[h], UTC.
    water_top, water_below : volumetric water 0-15 cm and 15-30 cm, m³/m³.
    moisture : grain moisture, percent wet basis.
    film : free water on the ear, mm.
    tier : `Tier` codes, uint8.
    approach : `Tier` codes of the field's approach road, uint8 (FIRM where it is not dirt).
    reason : `Reason` codes, uint8; OPEN means the hour can be cut.
    wettings : wetting events of ripe grain so far, count.
    sprout : sprouted fraction of the grain so far, 0-1.
    end : opaque state after the last hour, to continue from (see `simulate`).
    """

    start: np.datetime64
    water_top: Array
    water_below: Array
    moisture: Array
    film: Array
    tier: NDArray[np.uint8]
    approach: NDArray[np.uint8]
    reason: NDArray[np.uint8]
    wettings: Array
    sprout: Array
    end: object


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


@dataclass(frozen=True, kw_only=True)
class Stand:
    """What stands on each field, arrays (field,).

    Attributes
    ----------
    crop : keys of `readiness.crops.CROPS`.
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
class Limits:
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
