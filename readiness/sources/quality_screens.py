"""Screens that remove impossible values of a daily record, and interpolation of short gaps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.gaps import bridge_short_gaps
from readiness.atmosphere.weather import Array
from readiness.sources.daily_record import DAILY_VARIABLES, DailyRecord, Flag

#: Days after which a value that stays the same to the last digit counts as stuck; assumed: air
#: temperature, radiation, humidity and wind move every day.
STUCK_DAYS: Mapping[str, int] = {"tmax": 5, "tmin": 5, "solar": 4, "humidity": 5, "wind": 5}
#: The same for soil water; assumed: at 5 cm it moves by 0.001 m³/m³ in a week in any thawed soil.
STUCK_WATER_DAYS = 21
#: Range of possible values; values outside are removed. Rain: the wettest day of the United States
#: is 1.26 m (memory). Humidity: up to 5 % over 100 is the error of the instrument. Others assumed.
POSSIBLE: Mapping[str, tuple[float, float]] = {
    "tmax": (-65.0, 60.0),
    "tmin": (-70.0, 50.0),
    "rain": (0.0, 1300.0),
    "solar": (0.0, 45.0),
    "humidity": (1.0, 105.0),
    "humidity_max": (1.0, 105.0),
    "humidity_min": (0.5, 105.0),
    "wind": (0.0, 50.0),
}
POSSIBLE_WATER = (0.001, 0.70)
#: Longest gap that is filled, days; assumed, because a third day's weather does not follow from
#: its neighbours.
MAX_FILLED_DAYS = 2


def screen_record(daily: DailyRecord) -> DailyRecord:
    """Replace impossible and stuck values by NaN, flagged REMOVED."""
    flags = {n: f.copy() for n, f in daily.flags.items()}

    def cleaned(name: str) -> Array:
        value: Array = getattr(daily, name)
        low, high = POSSIBLE[name]
        bad = (value < low) | (value > high)
        if name in STUCK_DAYS:
            moving = np.where(value == 0.0, np.nan, value)  # calm and dark days are no fault
            bad |= _stuck(moving, longest=STUCK_DAYS[name])
        if name in ("tmax", "tmin"):
            bad |= daily.tmin > daily.tmax
        flags[name][bad] = Flag.REMOVED
        clean = np.where(bad, np.nan, value)
        return np.minimum(clean, 100.0) if name.startswith("humidity") else clean

    new = {name: cleaned(name) for name in DAILY_VARIABLES}
    water = daily.soil_water
    bad = (water < POSSIBLE_WATER[0]) | (water > POSSIBLE_WATER[1])
    bad |= np.stack([_stuck(row, longest=STUCK_WATER_DAYS) for row in water])
    return _with(daily, new, flags, soil_water=np.where(bad, np.nan, water))


def fill_short_gaps(daily: DailyRecord) -> DailyRecord:
    """Interpolate gaps of at most `MAX_FILLED_DAYS`, flagged FILLED; longer gaps stay unknown.

    Rain is filled only between two dry days, as dry.
    """
    flags = {n: f.copy() for n, f in daily.flags.items()}
    new = {}
    for name in DAILY_VARIABLES:
        value = getattr(daily, name)
        line = bridge_short_gaps(value, longest=MAX_FILLED_DAYS)
        if name == "rain":
            line = np.where(np.isnan(value) & (line > 0.0), np.nan, line)
        flags[name][np.isnan(value) & ~np.isnan(line)] = Flag.FILLED
        new[name] = line
    return _with(daily, new, flags, soil_water=daily.soil_water)


def _with(
    daily: DailyRecord,
    new: Mapping[str, Array],
    flags: Mapping[str, NDArray[np.uint8]],
    *,
    soil_water: Array,
) -> DailyRecord:
    """The record with new values of all `DAILY_VARIABLES`."""
    return replace(daily, flags=flags, soil_water=soil_water, **new)  # type: ignore[arg-type]


def _stuck(values: Array, *, longest: int) -> NDArray[np.bool_]:
    """Where a value has stayed the same, to the last digit, for more than `longest` steps."""
    same = np.concatenate([[False], values[1:] == values[:-1]])
    run = np.cumsum(~same)
    return np.asarray(np.bincount(run)[run] > longest)
