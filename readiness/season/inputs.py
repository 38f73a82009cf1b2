"""Inputs of a run besides weather and soil: standing crop, operating limits, observations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.soil.running_gear import GroundLoad


@dataclass(frozen=True, kw_only=True)
class Stand:
    """The standing crop of each field, arrays (field,).

    Attributes
    ----------
    crop : keys of `readiness.grain.crops.CROPS`.
    ripe : datetime64[h], physiological maturity; NaT for a crop that is ripe from the start.
    moisture : grain moisture at maturity, or at the first hour where the crop is ripe by then,
        percent wet basis; NaN for the crop's published value at maturity.
    limit : highest moisture at which the crop is threshed, percent wet basis.
    dormancy_days : dry days after maturity before half the kernels can sprout; NaN or None for the
        crop's.
    lodged : share of the crop that lies, 0-1; None for none.
    swathed : whether the crop lies in swaths; it then counts as ripe from `ripe` on, and the plant
        no longer holds it moist. None where no crop does.
    straw_limit : highest humidity in equilibrium with straw that is threshed, percent; infinite for
        no limit; NaN or None for the crop's.
    stream : key of the field's own random draws, >= 0. A field keeps its draws whatever its place
        among the fields; fields of one key share them.
    """

    crop: tuple[str, ...]
    ripe: NDArray[np.datetime64]
    moisture: Array
    limit: Array
    stream: NDArray[np.int64]
    dormancy_days: Array | None = None
    lodged: Array | None = None
    swathed: NDArray[np.bool_] | None = None
    straw_limit: Array | None = None


@dataclass(frozen=True, kw_only=True)
class OperatingLimits:
    """Loads, approaches, and the rules that close an hour; None switches a rule off.

    Attributes
    ----------
    combine, cart, truck : what the machines that ask most ask of the ground; None without a cart
        or truck.
    approach : (field,) road to the field: 0 paved, 1 gravel, 2 dirt.
    wind_stop : gust that stops work, m/s.
    fire_stop : grassland fire index above which work stops.
    heat_stop : heat index that stops work, °C.
    lightning : bool (member or 1, field or 1, hour or 1), hours with an expected thunderstorm.
    daylight_only : whether night closes an hour.
    """

    combine: GroundLoad
    cart: GroundLoad | None
    truck: GroundLoad | None = None
    approach: NDArray[np.int64]
    wind_stop: float | None = None
    fire_stop: float | None = None
    heat_stop: float | None = None
    lightning: NDArray[np.bool_] | None = None
    daylight_only: bool = False


#: Kinds of observations of the grain.
GRAIN_KINDS = ("moisture", "wetter")


@dataclass(frozen=True, kw_only=True)
class Observation:
    """An observation in a field, which corrects the state at the start of its hour.

    Attributes
    ----------
    field : index of the field.
    time : datetime64[h], UTC.
    kind : 'moisture' (grain, percent wet basis), 'wetter' (moisture that the grain exceeds), 'tier'
        (`Tier` code of a ground check), 'water' (volumetric water of 0-15 cm, m³/m³), 'weighed'
        (test weight weighed: wettings count from here), 'sprout at least' or 'sprout at most'
        (bound of the sprouted fraction).
    value, sd : observed value and its standard error, in the unit of the kind; that of a tier is a
        share of the distance between the firm and the headland limit. A weighed load and bounds
        hold as they are.
    """

    field: int
    time: np.datetime64
    kind: str
    value: float
    sd: float
