"""Daily files of the U.S. Climate Reference Network (USCRN), product daily01."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from readiness.atmosphere.weather import Array
from readiness.sources.daily_record import (
    SOIL_DEPTHS_CM,
    DailyRecord,
    RecordError,
    on_successive_days,
)

#: Columns in the order of the native files (NOAA readme of the product).
DAILY01 = (
    "WBANNO",
    "LST_DATE",
    "CRX_VN",
    "LONGITUDE",
    "LATITUDE",
    "T_DAILY_MAX",
    "T_DAILY_MIN",
    "T_DAILY_MEAN",
    "T_DAILY_AVG",
    "P_DAILY_CALC",
    "SOLARAD_DAILY",
    "SUR_TEMP_DAILY_TYPE",
    "SUR_TEMP_DAILY_MAX",
    "SUR_TEMP_DAILY_MIN",
    "SUR_TEMP_DAILY_AVG",
    "RH_DAILY_MAX",
    "RH_DAILY_MIN",
    "RH_DAILY_AVG",
    *(f"SOIL_MOISTURE_{d}_DAILY" for d in SOIL_DEPTHS_CM),
    *(f"SOIL_TEMP_{d}_DAILY" for d in SOIL_DEPTHS_CM),
)
#: Column of each variable of a record.
COLUMNS = {
    "tmax": "T_DAILY_MAX",
    "tmin": "T_DAILY_MIN",
    "rain": "P_DAILY_CALC",
    "solar": "SOLARAD_DAILY",
    "humidity": "RH_DAILY_AVG",
    "humidity_max": "RH_DAILY_MAX",
    "humidity_min": "RH_DAILY_MIN",
}
#: Codes of missing values.
MISSING = (-9999.0, -99.0)


def read_uscrn_daily(paths: Path | Sequence[Path]) -> DailyRecord:
    """Days of one station from daily01 files: native text or CSV with a header, plain or gz.

    The product holds no wind, and the files do not state the elevation.

    Raises
    ------
    RecordError
        Where a file cannot be read or lacks a column.
    """
    paths = [paths] if isinstance(paths, Path) else list(paths)
    table = pd.concat([_read_table(path) for path in paths], ignore_index=True)
    days = pd.to_datetime(table["LST_DATE"], format="%Y%m%d").to_numpy().astype("datetime64[D]")

    def column(name: str) -> Array:
        return on_successive_days(days, _numbers(table, name))

    def profile(quantity: str) -> Array:
        return np.stack([column(f"SOIL_{quantity}_{d}_DAILY") for d in SOIL_DEPTHS_CM])

    return DailyRecord.of(
        re.sub(r"^CRND0103[-_](\d{4}-)?", "", paths[0].name.split(".")[0]),
        days.min(),
        {name: column(source) for name, source in COLUMNS.items()},
        latitude=float(np.nanmedian(_numbers(table, "LATITUDE"))),
        longitude=float(np.nanmedian(_numbers(table, "LONGITUDE"))),
        elevation_m=np.nan,
        soil=(profile("MOISTURE"), profile("TEMP")),
    )


def _read_table(path: Path) -> pd.DataFrame:
    """Columns `DAILY01` of one file, as text."""
    try:
        if path.name.removesuffix(".gz").endswith(".csv"):
            table = pd.read_csv(path, dtype=str)
        else:
            table = pd.read_csv(path, sep=r"\s+", header=None, names=list(DAILY01), dtype=str)
    except (OSError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise RecordError(f"{path.name}: {error}") from error
    absent = [c for c in DAILY01 if c not in table.columns]
    if absent:
        raise RecordError(
            f"{path.name}: no column {absent[0]}; a file of {len(DAILY01)} columns from "
            f"{DAILY01[0]} to {DAILY01[-1]} is expected"
        )
    return table[list(DAILY01)]


def _numbers(table: pd.DataFrame, column: str) -> Array:
    """Numbers of a column; codes of missing values as NaN."""
    values = pd.to_numeric(table[column], errors="coerce").to_numpy(dtype=np.float64)
    return np.where(np.isin(values, MISSING), np.nan, values)
