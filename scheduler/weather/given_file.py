"""A forecast file that somebody gives: a stored answer, a service's response, or a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from readiness.atmosphere.weather import VARIABLES
from readiness.sources.payload import (
    MAX_HOURS,
    PHYSICAL_RANGE,
    REQUIRED,
    Payload,
    PayloadError,
    site_weather,
)
from readiness.sources.responses import parse_response
from scheduler.errors import Problem, UnreadableError, WeatherError
from scheduler.farm.model import Farm
from scheduler.farm.units import SI_PER_UNIT, normalized_name
from scheduler.farm_files.csv_table import CsvTable, file_text, read_csv
from scheduler.farm_files.dates import date_order, second_occurrence
from scheduler.farm_files.named_values import Notation
from scheduler.farm_files.record import PERCENT, Record, table_records
from scheduler.farm_files.vocabulary import doubtful_headings
from scheduler.weather.store import answer_of, read_json


@dataclass(frozen=True, kw_only=True)
class GivenForecast:
    """A forecast, its source, and its time of issue (UTC) where known."""

    payload: Payload
    source: str
    issued: datetime | None


def read_forecast(path: Path, farm: Farm) -> GivenForecast:
    """Read a forecast file in any of its forms.

    Raises
    ------
    WeatherError
        Where it cannot be read; of a table with the row and column.
    """
    if not path.exists():
        raise WeatherError(
            f"{path}: there is no such file; check its name, or leave --forecast out to plan on "
            "the last forecast of `afterrain fetch`"
        )
    text = weather_text(path)
    if not text.lstrip().startswith(("{", "[")):
        return GivenForecast(
            payload=read_table(text, farm, str(path)), source=path.name, issued=None
        )
    content = read_json(path)
    try:
        if isinstance(content, dict) and "payload" in content:
            answer = answer_of(content, path)
            return GivenForecast(
                payload=parse_response(answer.payload),
                issued=answer.issued,
                source=f"{answer.source} {answer.product}",
            )
        payload = parse_response(content)
    except PayloadError as error:
        raise WeatherError(f"{path}: {error}; ask the service again") from None
    issued = payload.issued
    at = None if issued is None else issued.astype("datetime64[s]").item().replace(tzinfo=UTC)
    return GivenForecast(payload=payload, source=path.name, issued=at)


def weather_text(path: Path) -> str:
    """Text of a file; WeatherError where it cannot be read."""
    try:
        return file_text(path)
    except UnreadableError as error:
        raise WeatherError(f"{path}: {error}") from None


#: Other names of a table's columns, normalised.
COLUMN_ALIASES = {
    "precipitation": "rain",
    "precip": "rain",
    "rainfall": "rain",
    "temperature": "temp",
    "relative_humidity": "humidity",
    "rh": "humidity",
    "wind_speed": "wind",
    "wind_gust": "gust",
    "wind_gusts": "gust",
    "solar": "radiation",
    "solar_radiation": "radiation",
    "shortwave_radiation": "radiation",
    "date": "time",
    "hour": "time",
    "datetime": "time",
    "valid": "time",
}
#: Units that a heading may end in, by variable.
SUFFIXES: dict[str, tuple[str, ...]] = {
    "rain": tuple(SI_PER_UNIT["depth"]),
    "temp": ("f", "c"),
    "humidity": PERCENT,
    "wind": tuple(SI_PER_UNIT["wind"]),
    "gust": tuple(SI_PER_UNIT["wind"]),
    "radiation": ("w_m2", "w_m", "wm2"),
}
HEADING = "time, rain_mm, temp_c, humidity_pct, wind_kmh, gust_kmh, radiation_w_m2"


def read_table(text: str, farm: Farm, name: str) -> Payload:
    """Read an hourly table: time (start of the hour), rain, temp, humidity, wind, gust, radiation.

    A heading may end in its unit (rain_in, temp_f, wind_mph, wind_ms), else the farm's units
    hold. Times without an offset are farm time. A column `member` makes an ensemble. Blanks are
    unknown; rain and temperature are required. The position is the farm's base.

    Raises
    ------
    WeatherError
        With the first problem, its row and column.
    """
    table = read_csv(text)
    columns = [our_name(c, COLUMN_ALIASES) for c in table.columns]
    doubtful = doubtful_headings(table, columns, ("time", "member", *VARIABLES), SUFFIXES)
    if doubtful:
        heading, _, message, remedy = doubtful[0]
        problem = Problem(file=name, row="1", column=heading, message=message, remedy=remedy)
        raise WeatherError(str(problem))
    records, problems = table_rows(table, columns, farm, name, ("time", *REQUIRED), HEADING)
    rows: dict[tuple[str, np.datetime64], dict[str, float]] = {}
    for record in records:
        when = record.moment("time")
        values = _values(record)
        for name_of, (low, high) in PHYSICAL_RANGE.items():
            if not record.failed and (values[name_of] < low or values[name_of] > high):
                found = record.find(name_of, SUFFIXES[name_of])
                shown = "" if found is None else f'"{found.value}" '
                record.note(name_of, f"{name_of} {shown}is impossible", "check its unit")
        if when is None:
            if not record.failed:
                record.note_missing("time", "the start of the hour, as 2026-08-12 06:00")
            continue
        key = record.text("member"), np.datetime64(when.replace(tzinfo=None), "h")
        if key in rows:
            when = second_occurrence(when, farm.tz) or when
            key = key[0], np.datetime64(when.replace(tzinfo=None), "h")
        if key in rows:
            record.note("time", "the hour is there twice", "keep one row an hour")
        rows[key] = values
    raise_first(problems)
    humidity = [row["humidity"] for row in rows.values() if np.isfinite(row["humidity"])]
    if humidity and 0.0 < max(humidity) <= 1.0:
        column = next(
            c for c, n in zip(table.columns, columns, strict=True) if n.startswith("humidity")
        )
        raise WeatherError(
            f"{name}, {column}: no value is above 1, so they look like fractions of 1; write "
            "percent, 0 to 100"
        )
    return _table_payload(rows, farm, name)


def table_rows(
    table: CsvTable,
    columns: Sequence[str],
    farm: Farm,
    name: str,
    required: Sequence[str],
    heading: str,
) -> tuple[list[Record], list[Problem]]:
    """A record of each row of a table of weather, and the list that problems are added to.

    Parameters
    ----------
    columns : our names of the columns, units kept.
    required : columns that must be there; all but time may end in a unit.
    heading : what the heading should be, for the message.

    Raises
    ------
    WeatherError
        Where a required column is missing.
    """
    for column in required:
        if column not in columns and not (
            column != "time" and any(c.startswith(f"{column}_") for c in columns)
        ):
            raise WeatherError(
                f"{name}: there is no column {column} (found are: "
                f"{', '.join(table.columns):.200}); the heading is {heading}"
            )
    problems = [
        Problem(file=name, row=str(n), message=message, remedy=remedy)
        for n, message, remedy in table.faults
    ]
    notation = Notation(units=farm.units, tz=farm.tz, mark=table.mark)
    orders = {"time": date_order(cells[columns.index("time")] for _, cells in table.rows)}
    rows = table_records(table, columns, notation, problems, file=name, orders=orders)
    return list(rows), problems


def raise_first(problems: Sequence[Problem]) -> None:
    """Raise WeatherError with the first problem and the number of the others."""
    if problems:
        more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
        raise WeatherError(f"{problems[0]}{more}")


def our_name(heading: str, aliases: Mapping[str, str]) -> str:
    """Our name of a column; the longest alias counts."""
    word = normalized_name(heading)
    for alias in sorted(aliases, key=len, reverse=True):
        if word == alias or word.startswith(f"{alias}_"):
            return aliases[alias] + word[len(alias) :]
    return word


def _values(record: Record) -> dict[str, float]:
    """The variables of a row, SI; NaN where blank."""
    radiation = record.find("radiation", SUFFIXES["radiation"])
    found = {
        "rain": record.optional_number("rain", "depth", low=0.0),
        "temp": record.temperature("temp"),
        "humidity": record.percent("humidity", low=0.0, high=105.0),
        "wind": record.optional_number("wind", "wind", low=0.0),
        "gust": record.optional_number("gust", "wind", low=0.0),
        "radiation": None if radiation is None else record.optional_number(radiation[1]),
    }
    return {n: np.nan if v is None else float(v) for n, v in found.items()}


def _table_payload(
    rows: dict[tuple[str, np.datetime64], dict[str, float]], farm: Farm, name: str
) -> Payload:
    """The frame of rows by (member, hour); hours without a row are unknown."""
    if not rows:
        raise WeatherError(f"{name}: the table has no rows; give a row an hour")
    members = sorted({m for m, _ in rows})
    first, last = min(t for _, t in rows), max(t for _, t in rows)
    hours = int((last - first).astype(int)) + 1
    if hours > MAX_HOURS:
        raise WeatherError(f"{name}: the rows span {hours // 24} days; check the column time")
    values = {v: np.full((len(members), hours), np.nan) for v in VARIABLES}
    for (member, at), row in rows.items():
        for v in VARIABLES:
            values[v][members.index(member), int((at - first).astype(int))] = row[v]
    unknown = np.full(hours, np.nan)
    try:
        weather = site_weather(first, values, unknown, farm.base_lat, farm.base_lon)
    except PayloadError as error:
        raise WeatherError(f"{name}: {error}; check its unit") from None
    return Payload(weather=weather, thunder=unknown, lat=farm.base_lat, lon=farm.base_lon)
