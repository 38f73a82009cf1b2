"""Station files of GHCN-Daily (Global Historical Climatology Network, daily).

One CSV a station, from NOAA's folder `access`: a header with STATION, DATE, LATITUDE, LONGITUDE,
ELEVATION and, for each element, its value and its attributes (measurement flag, quality flag,
source flag, time; NOAA readme).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from readiness.atmosphere.air import WIND_2M_OVER_10M
from readiness.atmosphere.weather import Array
from readiness.sources.daily_record import DailyRecord, RecordError, on_successive_days

#: Variable of each element and its unit in mm, °C and m/s (NOAA readme). AWND is wind at 10 m as a
#: rule.
ELEMENTS = {
    "PRCP": ("rain", 0.1),
    "TMAX": ("tmax", 0.1),
    "TMIN": ("tmin", 0.1),
    "AWND": ("wind", 0.1),
}
PLACE = ("LATITUDE", "LONGITUDE", "ELEVATION")
#: Columns without which a file is no station file.
REQUIRED = ("STATION", "DATE", *PLACE, "PRCP", "TMAX", "TMIN")
#: Codes of a missing value and of an unknown elevation (NOAA readme; the latter from memory).
MISSING, MISSING_ELEVATION = -9999.0, -999.9


def read_ghcn_daily(path: Path) -> DailyRecord:
    """Days of one station; values that failed NOAA's quality checks are dropped.

    Raises
    ------
    RecordError
        Where the file cannot be read, holds several stations, lacks a column, a date or the
        position, or holds values that are not whole tenths.
    """
    try:
        table = pd.read_csv(path, dtype=str)
    except (OSError, ValueError) as error:
        raise RecordError(f"{path.name}: {error}") from error
    for column in REQUIRED:
        if column not in table:
            raise RecordError(f"{path.name}: no column {column}")
    stations = table["STATION"].unique()
    if len(stations) != 1:
        raise RecordError(f"{path.name}: {len(stations)} stations; give one file a station")
    try:
        days = pd.to_datetime(table["DATE"], format="%Y-%m-%d").to_numpy().astype("datetime64[D]")
        latitude, longitude, elevation = (float(table[c].iloc[0]) for c in PLACE)
    except ValueError as error:
        raise RecordError(f"{path.name}: {error}") from error
    if np.isnat(days).any() or not np.isfinite([latitude, longitude]).all():
        raise RecordError(f"{path.name}: a row without DATE, LATITUDE or LONGITUDE")
    values = {
        name: on_successive_days(days, unit * _checked(table, element, path))
        for element, (name, unit) in ELEMENTS.items()
        if element in table
    }
    if "wind" in values:
        values["wind"] = values["wind"] * WIND_2M_OVER_10M
    return DailyRecord.of(
        str(stations[0]),
        days.min(),
        values,
        latitude=latitude,
        longitude=longitude,
        elevation_m=np.nan if elevation <= MISSING_ELEVATION else elevation,
    )


def _checked(table: pd.DataFrame, element: str, path: Path) -> Array:
    """Values of an element in its own unit; NaN where missing or failed by a quality check."""
    values = pd.to_numeric(table[element], errors="coerce").to_numpy(dtype=np.float64)
    values = np.where(values == MISSING, np.nan, values)
    if (values[np.isfinite(values)] % 1.0 != 0.0).any():
        raise RecordError(
            f"{path.name}, column {element}: a value has a decimal point, but GHCN-Daily holds "
            "whole tenths of mm and °C; take the station's file from NOAA's folder `access`"
        )
    if f"{element}_ATTRIBUTES" in table:
        attributes = table[f"{element}_ATTRIBUTES"].fillna("").str.split(",")
        failed = attributes.map(lambda a: len(a) > 1 and a[1].strip() != "").to_numpy(dtype=bool)
        values = np.where(failed, np.nan, values)
    return values
