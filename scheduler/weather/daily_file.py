"""Daily records of one's own as hourly past weather: a table of days, or a station's file."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from readiness.atmosphere.weather import HOUR, Array, Weather
from readiness.sources.daily_record import DailyRecord, RecordError, on_successive_days
from readiness.sources.daily_to_hourly import hourly_records
from readiness.sources.payload import PHYSICAL_RANGE, Payload
from readiness.sources.station_file import is_station_file, read_station_file
from scheduler.errors import WeatherError
from scheduler.farm.model import Farm
from scheduler.farm_files.csv_table import CsvTable, read_csv
from scheduler.farm_files.record import Record
from scheduler.weather.given_file import (
    COLUMN_ALIASES,
    our_name,
    raise_first,
    table_rows,
    weather_text,
)

#: Other names of the columns of days, normalised.
DAY_ALIASES = COLUMN_ALIASES | {
    "high": "tmax",
    "low": "tmin",
    "temp_max": "tmax",
    "temp_min": "tmin",
    "max_temp": "tmax",
    "min_temp": "tmin",
}
DAY_COLUMNS = ("rain", "tmax", "tmin")
HEADING = "date, rain_mm, tmax_c, tmin_c"
#: Days of a record that are kept, counted back from its end; assumed: six years hold the five that
#: analogue years need (`readiness/forecasts/analogues.py`), and a longer file reads slowly.
KEPT_DAYS = 6 * 365


def read_daily(path: Path, farm: Farm) -> Payload | None:
    """Hourly weather of a file of days; None where the file holds none.

    A table has the columns date, rain, tmax and tmin, and may have humidity and wind; a heading
    may end in its unit. The day is that of the sun's time zone, and the place the farm's base. A
    station's file is one of `read_station_file`. Days are spread over hours by `daily_to_hourly`.

    Raises
    ------
    WeatherError
        With the first problem, its row and column.
    """
    try:
        if is_station_file(path):
            return _payload(read_station_file(path))
    except RecordError as error:
        raise WeatherError(f"{path}: {error}") from None
    table = read_csv(weather_text(path))
    columns = [our_name(c, DAY_ALIASES) for c in table.columns]
    if not any(c.partition("_")[0] in ("tmax", "tmin") for c in columns):
        return None
    return _payload(_record(table, columns, farm, str(path)))


def _record(table: CsvTable, columns: list[str], farm: Farm, name: str) -> DailyRecord:
    """The record of a table of days."""
    records, problems = table_rows(table, columns, farm, name, ("time", *DAY_COLUMNS), HEADING)
    days: dict[np.datetime64, dict[str, float]] = {}
    for row in records:
        day, values = row.day("time"), _values(row)
        if day is None and not row.failed:
            row.note_missing("time", "the day, as 2026-08-12")
        if day is not None and np.datetime64(day) in days:
            row.note("time", "the day is there twice", "keep one row a day")
        elif day is not None:
            days[np.datetime64(day)] = values
    raise_first(problems)
    if not days:
        raise WeatherError(f"{name}: the table has no rows; give a row a day")
    labels = np.array(sorted(days), dtype="datetime64[D]")
    series: dict[str, Array] = {
        n: on_successive_days(labels, np.array([days[d][n] for d in labels]))
        for n in next(iter(days.values()))
    }
    return DailyRecord.of(
        name,
        labels[0],
        series,
        latitude=farm.base_lat,
        longitude=farm.base_lon,
        elevation_m=farm.elevation_m,
    )


def _values(row: Record) -> dict[str, float]:
    """The variables of a day, SI; NaN where blank."""
    found = {
        "rain": row.optional_number("rain", "depth", low=0.0, high=PHYSICAL_RANGE["rain"][1]),
        "tmax": row.temperature("tmax"),
        "tmin": row.temperature("tmin"),
        "humidity": row.percent("humidity", low=0.0, high=100.0),
        "wind": row.optional_number("wind", "wind", low=0.0, high=PHYSICAL_RANGE["wind"][1]),
    }
    values = {n: np.nan if v is None else float(v) for n, v in found.items()}
    low, high = PHYSICAL_RANGE["temp"]
    for name in ("tmax", "tmin"):
        if values[name] < low or values[name] > high:
            row.note(name, f"{name} is impossible", "check its unit")
    if not row.failed and values["tmax"] < values["tmin"]:
        row.note("tmax", "tmax is below tmin", "swap them, or correct one")
    return values


def _payload(daily: DailyRecord) -> Payload:
    """The last `KEPT_DAYS` of a record as hours, without unknown hours at its ends."""
    weather = hourly_records(daily)
    weather = weather.between(
        max(weather.start, weather.stop - 24 * KEPT_DAYS * HOUR), weather.stop
    )
    known = np.flatnonzero(np.isfinite(weather.rain + weather.temp)[0, 0])
    if len(known):
        weather = _between(weather, int(known[0]), int(known[-1]) + 1)
    unknown = np.full(weather.shape[2], np.nan)
    return Payload(weather=weather, thunder=unknown, lat=daily.latitude, lon=daily.longitude)


def _between(weather: Weather, first: int, stop: int) -> Weather:
    """The hours from `first` to `stop`, counted from the start."""
    return weather.between(weather.start + first * HOUR, weather.start + stop * HOUR)
