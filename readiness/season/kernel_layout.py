"""Layout of the arrays that the compiled kernel reads and writes: each column's name and unit.

Plain arrays compile faster than records of arrays. Named tuples bundle them on their way into the
kernel.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array

Int = NDArray[np.int64]


class Value(IntEnum):
    """Rows of the results in numbers, as in `Season`."""

    WATER_TOP = 0  # water of the wetter of 0-5 and 5-15 cm, m³/m³
    WATER_BELOW = 1  # water of 15-30 cm, m³/m³
    MOISTURE = 2  # grain moisture, percent wb
    FILM = 3  # free water on the ear, mm
    WETTINGS = 4  # wetting events so far
    SPROUT = 5  # sprouted fraction
    STRAW = 6  # humidity in equilibrium with the straw, percent


class Code(IntEnum):
    """Rows of the results in codes, as in `Season`."""

    TIER = 0  # `Tier` of the ground
    APPROACH = 1  # `Tier` of the approach
    REASON = 2  # `Reason` of the hour


class GrainState(IntEnum):
    """Columns of a grain state."""

    SKIN = 0  # percent db
    CORE = 1  # percent db
    FILM = 2  # free water on the ear, mm
    TURN = 3  # turning point of the core since the last wetting, percent db
    ARMED = 4  # 1 where the next rise counts as a wetting
    WETTINGS = 5  # events
    SPROUT = 6  # sprouted fraction
    RIPENING = 7  # 1 where ripening can hold the grain moist
    AHEAD = 8  # lead of ripening over its date, d
    GAP = 9  # hours of unknown weather so far, h
    WAIT = 10  # hours of weather until the grain is known again, h
    VARIANCE = 11  # of moisture, percent wb squared
    REST = 12  # dry hours since maturity so far, h
    STRAW = 13  # humidity in equilibrium with the straw, percent; NaN before the first hour


class GroundState(IntEnum):
    """Columns of a ground state besides water."""

    GAP = 0  # hours of unknown weather so far, h
    WAIT = 1  # hours of weather until the ground is known again, h
    VARIANCE = 2  # of the water of 0-15 cm, (m³/m³)²


class FieldFact(IntEnum):
    """Columns of the facts of a field."""

    RIPE = 0  # hours from the first hour to maturity; -inf where ripe from the start
    LIMIT = 1  # highest moisture for threshing, percent wb
    MATURE = 2  # moisture at maturity, percent wb
    FIRM_TOP = 3  # water limits, m³/m³
    FIRM_BELOW = 4
    HEADLAND_TOP = 5
    HEADLAND_BELOW = 6
    APPROACH = 7  # water limit of the approach, m³/m³; inf where it is not dirt
    DORMANCY = 8  # dry time after maturity that ends the dormancy of half the kernels, h
    STRAW_LIMIT = 9  # highest humidity in equilibrium with straw that is threshed, percent
    DRYING = 10  # speed of drying over that of a crop that stands
    HOLDING = 11  # free water held over that of a crop that stands
    DRYDOWN = 12  # fastest fall after maturity, percent wb per day; inf where cut off the root


class CropFact(IntEnum):
    """Columns of the constants of a crop, as in `Crop`."""

    FORM = 0  # code of the isotherm's form
    A = 1  # constants of the isotherm
    B = 2
    C = 3
    K0 = 4  # 1/s
    ACTIVATION = 5  # K
    EXPOSURE = 6  # shares of k
    VAPOUR_EXPOSURE = 7
    CORE_EXPOSURE = 8
    SATURATED = 9  # percent db
    EAR_CAPACITY = 10  # mm
    EAR_CATCH = 11  # share of rain
    IMBIBITION = 12  # percent db an hour
    SPROUT_WATER = 13  # percent db
    SPROUT_SCALE = 14  # h
    FILLING_RATE = 15  # percent wb per day


class Observed(IntEnum):
    """Columns of an observation."""

    HOUR = 0  # from the first hour, h
    KIND = 1  # code of the kind, below
    VALUE = 2  # percent wb, `Tier` code, m³/m³, or sprouted fraction
    SD = 3  # standard error, in the unit of the value; of a tier, share of firm to headland limit


#: Codes of the kinds of `Observation`.
KIND_MOISTURE, KIND_TIER, KIND_WATER, KIND_WETTER = 0, 1, 2, 3
KIND_WEIGHED, KIND_SPROUT_LOW, KIND_SPROUT_HIGH = 4, 5, 6


class Hourly(IntEnum):
    """Rows of the hourly inputs of a site and crop."""

    RAIN = 0  # mm
    TEMP = 1  # °C
    ETO = 2  # reference ET, mm; NaN where the weather is unknown
    EVAPORATION = 3  # from a wet ear, mm
    EAR_TEMP = 4  # °C
    EAR_HUMIDITY = 5  # percent
    EQUILIBRIUM = 6  # moisture in equilibrium with the air at the ear, percent db
    SKIN_SHARE = 7  # shares of the way to equilibrium in an hour
    UPTAKE_SHARE = 8
    CORE_SHARE = 9
    HUMIDITY = 10  # of the air, percent


class Results(NamedTuple):
    """Results of a run, filled by the kernel."""

    values: Array  # (member, field, `Value`, hour)
    codes: NDArray[np.uint8]  # (member, field, `Code`, hour)


class Sky(NamedTuple):
    """Weather of a run; the first five are (member or 1, site, hour)."""

    rain: Array  # mm
    temp: Array  # °C
    humidity: Array  # percent
    wind: Array  # m/s at 10 m
    radiation: Array  # W/m²
    clear_sky: Array  # (site, hour), radiation of a clear sky, W/m²; 0 while the sun is low
    psychrometric: Array  # (site,), kPa/°C


class Closures(NamedTuple):
    """Hours closed by the weather."""

    reason: NDArray[np.uint8]  # (member or 1, site or 1, hour or 1), `Reason` or 0
    lightning: NDArray[np.bool_]  # (member or 1, field or 1, hour or 1)


class FieldTable(NamedTuple):
    """Facts of the fields."""

    order: Int  # (field,), fields sorted by site and crop
    site: Int  # (field,)
    crop: Int  # (field,), row of `crops`
    facts: Array  # (field, `FieldFact`)
    soil: Array  # (field, column), `Land.soil_table`
    crops: Array  # (crop, `CropFact`)


class Observations(NamedTuple):
    """Observations in the order of fields and hours."""

    first: Int  # (field + 1,), row at which the observations of each field begin
    rows: Array  # (observation, `Observed`)
    noise: Array  # (member, observation), added to the value
    surprise: Array  # (member, observation), standard errors; filled by the kernel
