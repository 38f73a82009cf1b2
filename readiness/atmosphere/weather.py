"""The hourly weather frame and its hour labels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
#: Step of every frame; NumPy wants a unit wherever hours are added to a time.
HOUR = np.timedelta64(1, "h")
VARIABLES = ("rain", "temp", "humidity", "wind", "gust", "radiation")


def day_of_year(times: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Day of the year of hour or day labels, 1 on 1 January."""
    days = times.astype("datetime64[D]")
    year = days.astype("datetime64[Y]")
    return np.asarray((days - year.astype("datetime64[D]")).astype(np.int64) + 1)


def day_and_hour(times: NDArray[np.datetime64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Day of the year and hour of the day of hour labels."""
    hour = (times - times.astype("datetime64[D]")).astype("timedelta64[h]").astype(np.int64)
    return day_of_year(times), hour


@dataclass(frozen=True, kw_only=True)
class Weather:
    """Hourly weather, each array (member, site, hour).

    Hours are in UTC, labelled by their start. NaN is unknown. Records have one member.

    Attributes
    ----------
    start : first hour, datetime64[h], UTC.
    rain : mm in the hour (water equivalent).
    temp : air temperature, °C, hourly mean.
    humidity : relative humidity, percent.
    wind, gust : m/s at 10 m.
    radiation : global solar radiation, W/m², hourly mean.
    estimated : whether any variable of the hour was filled or estimated.
    """

    start: np.datetime64
    rain: Array
    temp: Array
    humidity: Array
    wind: Array
    gust: Array
    radiation: Array
    estimated: NDArray[np.bool_]

    def __post_init__(self) -> None:
        for name in (*VARIABLES, "estimated"):
            shape = getattr(self, name).shape
            if shape != self.rain.shape or len(shape) != 3:
                raise ValueError(
                    f"weather {name} is shaped {shape}; (member, site, hour) as rain "
                    f"{self.rain.shape} expected"
                )

    @property
    def shape(self) -> tuple[int, int, int]:
        """(members, sites, hours)."""
        m, f, h = self.rain.shape
        return m, f, h

    @property
    def times(self) -> NDArray[np.datetime64]:
        """Hour labels, (hour,), datetime64[h] UTC."""
        first = np.asarray(self.start).astype("datetime64[h]")
        return np.asarray(first + np.arange(self.rain.shape[2]) * HOUR)

    @property
    def stop(self) -> np.datetime64:
        """The hour after the last, UTC."""
        stop: np.datetime64 = self.start.astype("datetime64[h]") + self.rain.shape[2] * HOUR
        return stop

    def sites(self, index: Sequence[int] | NDArray[np.int64]) -> Weather:
        """Pick or repeat sites, for example one per field: (member, len(index), hour)."""
        picked = {f.name: getattr(self, f.name)[:, index] for f in fields(self)[1:]}
        return replace(self, **picked)

    def between(self, first: np.datetime64, stop: np.datetime64) -> Weather:
        """Hours in [first, stop); ValueError where the frame does not cover them."""
        hours = (np.array([first, stop], dtype="datetime64[h]") - self.times[0]).astype(np.int64)
        a, b = int(hours[0]), int(hours[1])
        if a < 0 or b > self.rain.shape[2] or a > b:
            raise ValueError(
                f"weather covers {self.times[0]} to {self.times[-1]}, not {first} to {stop}"
            )
        cut = {f.name: getattr(self, f.name)[:, :, a:b] for f in fields(self)[1:]}
        return replace(self, start=self.times[0] + a * HOUR, **cut)

    def append(self, later: Weather) -> Weather:
        """Append `later`, which starts where this frame ends; members broadcast."""
        if later.times[0] != self.stop:
            raise ValueError(f"frame ends {self.times[-1]}, next starts {later.start}")
        m = max(self.rain.shape[0], later.rain.shape[0])

        def join(name: str) -> Any:
            parts = [getattr(w, name) for w in (self, later)]
            return np.concatenate([np.broadcast_to(p, (m, *p.shape[1:])) for p in parts], axis=2)

        return replace(self, **{f.name: join(f.name) for f in fields(self)[1:]})
