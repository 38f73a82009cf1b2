"""Open weather records: USCRN and GHCN-Daily files and gauge tables, as arrays of days or hours."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array, Weather

#: Depths of USCRN soil probes, cm.
DEPTHS = (5, 10, 20, 50, 100)
#: Columns of USCRN daily01 and hourly02 (NOAA readme files of these products).
# ruff: noqa: SIM905
DAILY01 = (
    "WBANNO LST_DATE CRX_VN LONGITUDE LATITUDE T_DAILY_MAX T_DAILY_MIN T_DAILY_MEAN T_DAILY_AVG "
    "P_DAILY_CALC SOLARAD_DAILY SUR_TEMP_DAILY_TYPE SUR_TEMP_DAILY_MAX SUR_TEMP_DAILY_MIN "
    "SUR_TEMP_DAILY_AVG RH_DAILY_MAX RH_DAILY_MIN RH_DAILY_AVG"
).split() + [f"SOIL_{what}_{d}_DAILY" for what in ("MOISTURE", "TEMP") for d in DEPTHS]
HOURLY02 = (
    "WBANNO UTC_DATE UTC_TIME LST_DATE LST_TIME CRX_VN LONGITUDE LATITUDE T_CALC T_HR_AVG T_MAX "
    "T_MIN P_CALC SOLARAD SOLARAD_FLAG SOLARAD_MAX SOLARAD_MAX_FLAG SOLARAD_MIN SOLARAD_MIN_FLAG "
    "SUR_TEMP_TYPE SUR_TEMP SUR_TEMP_FLAG SUR_TEMP_MAX SUR_TEMP_MAX_FLAG SUR_TEMP_MIN "
    "SUR_TEMP_MIN_FLAG RH_HR_AVG RH_HR_AVG_FLAG"
).split() + [f"SOIL_{what}_{d}" for what in ("MOISTURE", "TEMP") for d in DEPTHS]
#: Codes of missing values in both products.
MISSING = (-9999.0, -99.0)
#: Elements of GHCN-Daily that are read, and the unit of their integers (NOAA readme).
GHCN = {"PRCP": ("rain", 0.1), "TMAX": ("tmax", 0.1), "TMIN": ("tmin", 0.1), "AWND": ("wind", 0.1)}
#: Wind of AWND is at 10 m as a rule; to 2 m by FAO-56 eq. 47.
TO_2M = 0.748
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
#: A probe that says the same to the last digit for so many days is stuck; assumed: soil water at
#: 5 cm moves by 0.001 m³/m³ in a week in any thawed soil, and air temperature every day.
STUCK_DAYS: Mapping[str, int] = {"tmax": 5, "tmin": 5, "solar": 4, "humidity": 5, "wind": 5}
STUCK_WATER_DAYS = 21
#: What is possible; beyond is removed. Rain: the wettest day of the United States is 1.26 m
#: (memory); humidity up to 5 % over 100 is the error of the instrument; assumed otherwise.
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


class Flag(IntEnum):
    """Where a daily value comes from."""

    MEASURED = 0
    FILLED = 1  # a short gap, from the days around
    ESTIMATED = 2  # by a published relation from other variables
    REMOVED = 3  # a screen found it impossible
    MISSING = 4


@dataclass(frozen=True, kw_only=True)
class DailyRecord:
    """Days of one station; local standard time; NaN is unknown.

    Attributes
    ----------
    first : datetime64[D], first day. latitude, longitude : degrees. elevation_m : NaN if unknown.
    tmax, tmin : °C. rain : mm. solar : MJ/m². wind : m/s at 2 m.
    humidity, humidity_max, humidity_min : relative, percent.
    soil_water, soil_temp : (depth, day) at `DEPTHS`, m³/m³ and °C.
    flags : variable -> `Flag` of each day, uint8.
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

    @property
    def days(self) -> NDArray[np.datetime64]:
        """Day labels, datetime64[D]."""
        return np.asarray(self.first + np.arange(self.tmax.size), dtype="datetime64[D]")

    @property
    def utc_offset(self) -> int:
        """Hours of local standard time ahead of UTC, from the longitude."""
        return round(self.longitude / 15.0)


class RecordError(ValueError):
    """A record file cannot be read; the message says file and what is wrong."""


# -- USCRN --------------------------------------------------------------------------------------


def _uscrn_table(paths: Sequence[Path], columns: Sequence[str]) -> pd.DataFrame:
    """Join files, with commas and a header or in the native columns; codes of missing as NaN."""
    parts = []
    for path in paths:
        comma = path.name.removesuffix(".gz").endswith(".csv")
        try:
            table = (
                pd.read_csv(path, dtype=str)
                if comma
                else pd.read_csv(path, sep=r"\s+", header=None, names=list(columns), dtype=str)
            )
        except (OSError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
            raise RecordError(f"{path.name}: {error}") from error
        absent = [c for c in columns if c not in table.columns]
        if absent:
            raise RecordError(
                f"{path.name}: no column {absent[0]}; a file of {len(columns)} columns from "
                f"{columns[0]} to {columns[-1]} is expected"
            )
        parts.append(table[list(columns)])
    return pd.concat(parts, ignore_index=True)


def _number(table: pd.DataFrame, column: str) -> Array:
    values = pd.to_numeric(table[column], errors="coerce").to_numpy(dtype=np.float64)
    return np.where(np.isin(values, MISSING), np.nan, values)


def _on_days(days: NDArray[np.datetime64], values: Array) -> Array:
    """Values of unsorted days onto the full run of days, NaN where there is none."""
    out = np.full((*values.shape[:-1], int((days.max() - days.min()).astype(int)) + 1), np.nan)
    out[..., (days - days.min()).astype(int)] = values
    return out


def read_uscrn_daily(paths: Path | Sequence[Path], *, elevation_m: float = np.nan) -> DailyRecord:
    """Days of one USCRN station from daily01 files: native text or CSV with a header, plain or gz.

    Wind is not part of the product; the files do not say the elevation. Raises `RecordError`.
    """
    paths = [paths] if isinstance(paths, Path) else list(paths)
    table = _uscrn_table(paths, DAILY01)
    days = pd.to_datetime(table["LST_DATE"], format="%Y%m%d").to_numpy().astype("datetime64[D]")

    def column(name: str) -> Array:
        return _on_days(days, _number(table, name))

    def profile(what: str) -> Array:
        return np.stack([column(f"SOIL_{what}_{d}_DAILY") for d in DEPTHS])

    return _daily(
        re.sub(r"^CRND0103[-_](\d{4}-)?", "", paths[0].name.split(".")[0]),
        days.min(),
        {
            "tmax": column("T_DAILY_MAX"),
            "tmin": column("T_DAILY_MIN"),
            "rain": column("P_DAILY_CALC"),
            "solar": column("SOLARAD_DAILY"),
            "humidity": column("RH_DAILY_AVG"),
            "humidity_max": column("RH_DAILY_MAX"),
            "humidity_min": column("RH_DAILY_MIN"),
        },
        place=(
            float(np.nanmedian(_number(table, "LATITUDE"))),
            float(np.nanmedian(_number(table, "LONGITUDE"))),
            elevation_m,
        ),
        soil=(profile("MOISTURE"), profile("TEMP")),
    )


def _daily(
    name: str,
    first: np.datetime64,
    values: Mapping[str, Array],
    *,
    place: tuple[float, float, float],
    soil: tuple[Array, Array] | None = None,
) -> DailyRecord:
    """Make `DailyRecord` of what a file had; the rest is NaN and flagged MISSING."""
    days = next(iter(values.values())).size
    full = {n: values.get(n, np.full(days, np.nan)) for n in DAILY_VARIABLES}
    empty = np.full((len(DEPTHS), days), np.nan)
    water, temp = soil if soil is not None else (empty, empty.copy())
    flags = {n: np.where(np.isnan(v), Flag.MISSING, 0).astype(np.uint8) for n, v in full.items()}
    return DailyRecord(
        name=name,
        first=first.astype("datetime64[D]"),
        latitude=place[0],
        longitude=place[1],
        elevation_m=place[2],
        soil_water=water,
        soil_temp=temp,
        flags=flags,
        **full,
    )


def read_uscrn_hourly(paths: Path | Sequence[Path]) -> tuple[Weather, Array]:
    """Hours of one USCRN station from hourly02 files, and soil water (depth, hour).

    The files label an hour by its UTC end; here by its start. Flagged values are dropped. Wind is
    not part of the product and stays unknown.
    """
    table = _uscrn_table([paths] if isinstance(paths, Path) else list(paths), HOURLY02)
    stamp = table["UTC_DATE"] + table["UTC_TIME"].str.zfill(4)
    ends = pd.to_datetime(stamp, format="%Y%m%d%H%M").to_numpy().astype("datetime64[h]")
    order = (ends - ends.min()).astype(int)
    hours = int(order.max()) + 1

    def column(name: str, flag: str | None = None) -> Array:
        values = _number(table, name)
        if flag is not None:
            values = np.where(_number(table, flag) == 0.0, values, np.nan)
        out = np.full(hours, np.nan)
        out[order] = values
        return out

    unknown = np.full((1, 1, hours), np.nan)
    rain = column("P_CALC")
    humidity = column("RH_HR_AVG", "RH_HR_AVG_FLAG")
    weather = Weather(
        start=ends.min() - np.timedelta64(1, "h"),
        rain=np.where(rain < 0.0, np.nan, rain)[None, None],
        temp=column("T_HR_AVG")[None, None],
        humidity=np.where((humidity >= 0) & (humidity <= 105), np.minimum(humidity, 100), np.nan)[
            None, None
        ],
        wind=unknown,
        gust=unknown.copy(),
        radiation=column("SOLARAD", "SOLARAD_FLAG")[None, None],
        estimated=np.zeros((1, 1, hours), dtype=np.bool_),
    )
    return weather, np.stack([column(f"SOIL_MOISTURE_{d}") for d in DEPTHS])


# -- GHCN-Daily and gauges ----------------------------------------------------------------------


def read_ghcn_daily(path: Path, *, station: str | None = None) -> DailyRecord:
    """Days of one station of GHCN-Daily: a 'by year' file (no header) or a station's CSV.

    Values whose quality flag is set are dropped. A 'by year' file holds many stations and no
    coordinates: `station` names one; latitude and longitude are then NaN.
    """
    try:
        head = pd.read_csv(path, nrows=1, header=None, dtype=str)
        access = "DATE" in set(head.iloc[0])
        table = pd.read_csv(path, dtype=str, header=0 if access else None)
    except (OSError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise RecordError(f"{path.name}: {error}") from error
    return _ghcn_station(table, path) if access else _ghcn_year(table, path, station)


def _ghcn_station(table: pd.DataFrame, path: Path) -> DailyRecord:
    days = pd.to_datetime(table["DATE"]).to_numpy().astype("datetime64[D]")
    values = {}
    for element, (name, unit) in GHCN.items():
        if element in table:
            value = pd.to_numeric(table[element], errors="coerce").to_numpy(dtype=np.float64)
            value = np.where(value == -9999.0, np.nan, value)
            if f"{element}_ATTRIBUTES" in table:  # measurement, quality, source, time
                marks = table[f"{element}_ATTRIBUTES"].fillna("").str.split(",")
                bad = marks.map(lambda m: len(m) > 1 and m[1].strip() != "").to_numpy(dtype=bool)
                value = np.where(bad, np.nan, value)
            values[name] = _on_days(days, value * unit)
    if not values:
        raise RecordError(f"{path.name}: none of the columns {', '.join(GHCN)}")
    place = [
        float(table[c].iloc[0]) if c in table else np.nan
        for c in ("LATITUDE", "LONGITUDE", "ELEVATION")
    ]
    name = str(table["STATION"].iloc[0]) if "STATION" in table else path.stem
    return _daily(name, days.min(), _wind_2m(values), place=(place[0], place[1], place[2]))


def _ghcn_year(table: pd.DataFrame, path: Path, station: str | None) -> DailyRecord:
    if table.shape[1] < 6:
        raise RecordError(f"{path.name}: {table.shape[1]} columns; 8 of a 'by year' file expected")
    stations = table[0].unique()
    if station is None and len(stations) > 1:
        raise RecordError(f"{path.name}: {len(stations)} stations; pass station='{stations[0]}'")
    station = str(stations[0]) if station is None else station
    table = table[(table[0] == station) & table[5].isna()]
    if table.empty:
        raise RecordError(f"{path.name}: no station {station}")
    days = pd.to_datetime(table[1], format="%Y%m%d").to_numpy().astype("datetime64[D]")
    run = np.array([days.min(), days.max()])
    values = {}
    for element, (name, unit) in GHCN.items():
        mine = (table[2] == element).to_numpy()
        if mine.any():
            value = table.loc[mine, 3].astype(float).to_numpy() * unit
            ends = np.full(2, np.nan)
            both = _on_days(np.concatenate([run, days[mine]]), np.concatenate([ends, value]))
            values[name] = both
    return _daily(station, days.min(), _wind_2m(values), place=(np.nan, np.nan, np.nan))


def _wind_2m(values: dict[str, Array]) -> dict[str, Array]:
    return values | ({"wind": values["wind"] * TO_2M} if "wind" in values else {})


def read_gauge(path: Path, *, longitude: float = np.nan, latitude: float = np.nan) -> DailyRecord:
    """Days of a plain gauge table: columns `date` and `rain_mm` or `rain_in`; a day's rows add up.

    A day without a row is unknown, not dry. Raises `RecordError`.
    """
    try:
        table = pd.read_csv(path)
    except (OSError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise RecordError(f"{path.name}: {error}") from error
    table.columns = [str(c).strip().lower() for c in table.columns]
    unit = {"rain_mm": 1.0, "rain_in": 25.4}
    column = next((c for c in unit if c in table), None)
    if "date" not in table or column is None:
        raise RecordError(f"{path.name}: columns date and rain_mm (or rain_in) are needed")
    try:
        days = pd.to_datetime(table["date"]).dt.floor("D")
    except (ValueError, TypeError) as error:
        raise RecordError(f"{path.name}, column date: {error}; write 2026-08-14") from error
    amount = pd.to_numeric(table[column], errors="coerce") * unit[column]
    total = amount.groupby(days).sum(min_count=1)
    stamp = total.index.to_numpy().astype("datetime64[D]")
    rain = _on_days(stamp, total.to_numpy(dtype=np.float64))
    return _daily(path.stem, stamp.min(), {"rain": rain}, place=(latitude, longitude, np.nan))


# -- Screens and gaps ---------------------------------------------------------------------------


def runs_of_same(values: Array, *, longest: int) -> NDArray[np.bool_]:
    """Where a value has stayed the same, to the last digit, for more than `longest` steps."""
    same = np.concatenate([[False], values[1:] == values[:-1]])
    group = np.cumsum(~same)
    return np.asarray(np.bincount(group)[group] > longest)


def screen_record(daily: DailyRecord) -> DailyRecord:
    """Remove the impossible and the stuck; what is removed is NaN and flagged REMOVED."""
    new: dict[str, Any] = {}
    flags = {n: f.copy() for n, f in daily.flags.items()}
    for name in DAILY_VARIABLES:
        value = getattr(daily, name)
        low, high = POSSIBLE[name]
        bad = (value < low) | (value > high)
        if name in STUCK_DAYS:
            moving = np.where(value == 0.0, np.nan, value)  # calm and dark days are no fault
            bad |= runs_of_same(moving, longest=STUCK_DAYS[name])
        if name in ("tmax", "tmin"):
            bad |= daily.tmin > daily.tmax
        flags[name][bad] = Flag.REMOVED
        clean = np.where(bad, np.nan, value)
        new[name] = np.minimum(clean, 100.0) if name.startswith("humidity") else clean
    water = daily.soil_water
    bad = (water < POSSIBLE_WATER[0]) | (water > POSSIBLE_WATER[1])
    bad |= np.stack([runs_of_same(row, longest=STUCK_WATER_DAYS) for row in water])
    return replace(daily, **new, soil_water=np.where(bad, np.nan, water), flags=flags)


def fill_short_gaps(daily: DailyRecord, *, policy: str = "short", longest: int = 2) -> DailyRecord:
    """Fill gaps by a named policy and flag what was filled.

    Parameters
    ----------
    policy : 'short' fills gaps of at most `longest` days by a straight line between the days
        around (rain: only between two dry days, as dry; 2 days assumed, because weather of a third
        is not told by its neighbours), longer ones stay unknown; 'none' fills nothing.
    """
    if policy not in ("short", "none"):
        raise ValueError(f"policy must be 'short' or 'none', got {policy!r}")
    if policy == "none":
        return daily
    new: dict[str, Any] = {}
    flags = {n: f.copy() for n, f in daily.flags.items()}
    for name in DAILY_VARIABLES:
        value = getattr(daily, name)
        line = _short_gaps(value, longest=longest)
        if name == "rain":
            line = np.where(np.isnan(value) & (line > 0.0), np.nan, line)
        flags[name][np.isnan(value) & ~np.isnan(line)] = Flag.FILLED
        new[name] = line
    return replace(daily, **new, flags=flags)


def _short_gaps(values: Array, *, longest: int) -> Array:
    out = values.copy()
    known = np.flatnonzero(~np.isnan(values))
    for a, b in pairwise(known):
        if 1 < b - a <= longest + 1:
            out[a + 1 : b] = np.interp(np.arange(a + 1, b), [a, b], [values[a], values[b]])
    return out
