"""Past weather and forecasts from files of the farmer's own, checked and stored as if fetched."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from readiness.atmosphere.weather import HOUR
from readiness.sources.payload import Payload
from readiness.sources.responses import frame_payload
from scheduler.errors import WeatherError
from scheduler.farm.model import Farm
from scheduler.farm.slots import farm_time, utc_hour
from scheduler.farm.units import show_distance
from scheduler.weather.daily_file import read_daily
from scheduler.weather.fetch import grid_cells
from scheduler.weather.given_file import GivenForecast, read_forecast
from scheduler.weather.selection import CLOCK_SLACK, MAX_DISTANCE_KM, farm_clock, nearest_places
from scheduler.weather.store import Answer, read_answer, store_answer, stored_answers

#: Source that stored answers of this origin name.
SOURCE = "own"


@dataclass(frozen=True, kw_only=True)
class ImportedWeather:
    """What became of a file.

    Attributes
    ----------
    product : archive (past weather), ensemble or forecast.
    first, stop : hours that it covers, aware farm time; `stop` is the end of the last hour.
    far : ids of the fields that no cell of it lies near.
    stored : False where the same was stored already.
    """

    product: str
    first: datetime
    stop: datetime
    far: tuple[str, ...]
    stored: bool


def import_weather(
    folder: Path, farm: Farm, path: Path, *, now: datetime, issued: datetime | None = None
) -> ImportedWeather:
    """Read a file, check it and store it at the cells near its place.

    Parameters
    ----------
    path : a file that `read_forecast` reads, or for past weather one of `read_daily`; a table is
        taken for weather at the farm's base.
    now : aware time of the import.
    issued : time of issue of a forecast; None for past weather.

    Raises
    ------
    WeatherError
        Where the file is wrong, its hours do not fit its kind, or it is for a place far away;
        nothing is stored then.
    """
    hour, daily = utc_hour(now), None
    if issued is None and path.is_file():
        daily = read_daily(path, farm)
    given = read_forecast(path, farm) if daily is None else _as_given(daily, path, hour)
    weather = given.payload.weather
    if not np.isfinite(weather.rain + weather.temp).any():
        raise WeatherError(f"{path}: holds no hour with rain and temperature; fill them in")
    if issued is None:
        product, stamp = "archive", now
        _check_past(path, given, hour, farm)
    else:
        product, stamp = "ensemble" if weather.shape[0] > 1 else "forecast", issued
        _check_issued(path, given, issued, now, farm)
    cells = _cells_near(path, given, farm)
    kept = frame_payload(given.payload)
    stored = [
        _store(
            folder,
            Answer(
                source=SOURCE,
                product=product,
                version=path.name,
                issued=stamp.replace(second=0, microsecond=0),
                fetched=now,
                url="",
                lat=lat,
                lon=lon,
                payload=kept,
            ),
        )
        for lat, lon in cells
    ]
    first, stop = (farm_time(t, farm.tz) for t in (weather.start, weather.stop))
    return ImportedWeather(
        product=product, first=first, stop=stop, far=_far_from(farm, cells), stored=any(stored)
    )


def _as_given(daily: Payload, path: Path, hour: np.datetime64) -> GivenForecast:
    """Hours of a record of days, up to now: the day that is running counts as far as it goes."""
    weather = daily.weather
    if weather.start < hour < weather.stop <= hour + 24 * HOUR:
        weather = weather.between(weather.start, hour)
    thunder = daily.thunder[: weather.shape[2]]
    return GivenForecast(
        payload=replace(daily, weather=weather, thunder=thunder), source=path.name, issued=None
    )


def _check_past(path: Path, given: GivenForecast, hour: np.datetime64, farm: Farm) -> None:
    """Past weather ends by now and has no members."""
    weather = given.payload.weather
    if weather.stop > hour + HOUR:
        stop = farm_clock(farm_time(weather.stop, farm.tz), farm)
        raise WeatherError(
            f"{path}: goes on to {stop}, which is still to come; give --issued TIME "
            "if it is a forecast, or check the column time"
        )
    if weather.shape[0] > 1:
        raise WeatherError(
            f"{path}: has {weather.shape[0]} members, and weather that has been has none; give "
            "--issued TIME if it is a forecast"
        )


def _check_issued(
    path: Path, given: GivenForecast, issued: datetime, now: datetime, farm: Farm
) -> None:
    """A forecast was issued by now, and before its end."""
    stop = farm_time(given.payload.weather.stop, farm.tz)
    if issued > now + CLOCK_SLACK:
        raise WeatherError(
            f"--issued {farm_clock(issued, farm)} is still to come; give the time at which the "
            "forecast was made"
        )
    if stop <= issued:
        raise WeatherError(
            f"{path}: ends {farm_clock(stop, farm)}, before it was issued "
            f"({farm_clock(issued, farm)}); check --issued, or leave it out for past weather"
        )


def _cells_near(path: Path, given: GivenForecast, farm: Farm) -> list[tuple[float, float]]:
    """Grid cells of the fields near enough to the place of a file."""
    km = nearest_places(farm.fields, [(given.payload.lat, given.payload.lon)])[1]
    near = tuple(f for f, d in zip(farm.fields, km, strict=True) if d <= MAX_DISTANCE_KM)
    if not near:
        raise WeatherError(
            f"{path}: is for a place {show_distance(float(km.min()), farm.units)} from the nearest "
            f"field, farther than {show_distance(MAX_DISTANCE_KM, farm.units)}; give weather of "
            "the farm"
        )
    return grid_cells(replace(farm, fields=near))


def _far_from(farm: Farm, cells: list[tuple[float, float]]) -> tuple[str, ...]:
    """Ids of the fields that no cell lies near."""
    km = nearest_places(farm.fields, cells)[1]
    return tuple(f.id for f, d in zip(farm.fields, km, strict=True) if d > MAX_DISTANCE_KM)


def _store(folder: Path, answer: Answer) -> bool:
    """Store an answer under a minute of its own; False where the same is stored already."""
    past = answer.product == "archive"
    taken = {
        s.issued: s.path
        for s in stored_answers(folder, answer.product)
        if (s.lat, s.lon) == (round(answer.lat, 2), round(answer.lon, 2))
    }
    for issued, path in taken.items():
        if past or issued == answer.issued:
            old = read_answer(path)
            if old.source == SOURCE and old.payload == answer.payload:
                return False
    if past:
        while answer.issued in taken:
            answer = replace(answer, issued=answer.issued + timedelta(minutes=1))
    return store_answer(folder, answer)
