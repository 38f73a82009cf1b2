"""Invented weather for the sample farm: four months of records and an ensemble of 16 days.

All four grid cells share one weather. Temperature, cloud, moisture and wind follow AR(1) processes;
storms are events with a start, a length and an amount. Rain moistens the air for a day or two.
Cloud reduces sun and cools. At night the air cools to its dew point, so mornings after rain have
dew. Forecast members leave the common processes as lead grows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CELLS = ((47.25, -99.25), (47.25, -99.0), (47.5, -99.25), (47.5, -99.0))
ELEVATION_M = 512.0
START = datetime(2026, 3, 31, 0, tzinfo=UTC)  # a day of spin-up before the records
RECORDS = datetime(2026, 4, 1, 0, tzinfo=UTC)
FORECAST = datetime(2026, 8, 12, 0, tzinfo=UTC)  # first hour of the ensemble
ISSUED = datetime(2026, 8, 12, 6, tzinfo=UTC)
FETCHED = datetime(2026, 8, 12, 10, 40, tzinfo=UTC)  # 05:40 on the farm
DAYS_AHEAD = 16
MEMBERS = 31
READ_UTC = 12  # hour of the gauge readings, seven in the morning on the farm
#: Memory (e-folding time) of each random walk, hours.
MEMORY_H = {"warm": 60, "moist": 40, "cloud": 12, "wind": 18}
#: Variables of the service: unit and decimals.
FIELDS = {
    "temperature_2m": ("°C", 1),
    "relative_humidity_2m": ("%", 0),
    "precipitation": ("mm", 1),
    "wind_speed_10m": ("km/h", 1),
    "wind_gusts_10m": ("km/h", 1),
    "shortwave_radiation": ("W/m²", 0),
}
#: The nine wet days: day of August, start (UTC hour), hours, mm.
WET_RUN = (
    (3, 21, 6, 9.0),
    (4, 6, 8, 12.0),
    (5, 18, 10, 16.0),
    (6, 9, 9, 8.0),
    (7, 22, 7, 14.0),
    (8, 3, 12, 11.0),
    (9, 19, 5, 7.0),
    (10, 1, 14, 13.0),
    (11, 5, 10, 6.0),
)
#: Fronts of the forecast: chance, lead and its standard deviation in hours, shape and mean (mm) of
#: the gamma distribution of rain.
FRONTS = (
    (0.10, 38, 4, 1.0, 3.0),
    (0.52, 88, 8, 2.0, 12.0),
    (0.60, 206, 20, 1.5, 10.0),
)


@dataclass(frozen=True)
class Storm:
    """A storm: first hour counted from START, length in hours, total rain in mm."""

    start: int
    hours: int
    mm: float


def hours_to(when: datetime) -> int:
    """Whole hours from START."""
    return int((when - START) / timedelta(hours=1))


def walk(rng: np.random.Generator, hours: int, memory: float) -> Array:
    """A standard AR(1) process; `memory` is its e-folding time in hours."""
    keep = math.exp(-1.0 / memory)
    out = rng.standard_normal(hours)
    for t in range(1, hours):
        out[t] = keep * out[t - 1] + math.sqrt(1 - keep * keep) * out[t]
    return out


def spread(values: Array, before: int, after: int) -> Array:
    """Running maximum over `after` hours back and `before` hours ahead."""
    padded = np.pad(values, (after, before))
    window = np.lib.stride_tricks.sliding_window_view(padded, before + after + 1)
    return np.asarray(window.max(axis=1), dtype=np.float64)


def mean_day(values: Array) -> Array:
    """Centred mean over 25 hours."""
    padded = np.pad(values, 12, mode="edge")
    window = np.lib.stride_tricks.sliding_window_view(padded, 25)
    return np.asarray(window.mean(axis=1), dtype=np.float64)


def sun(hours: int, lat: float, lon: float) -> Array:
    """Clear-sky radiation of each hour from START, W/m²."""
    times = [START + timedelta(hours=h, minutes=30) for h in range(hours)]
    doy = np.array([t.timetuple().tm_yday for t in times])
    solar = np.array([t.hour + t.minute / 60 for t in times]) + lon / 15.0
    declination = 0.409 * np.sin(2 * np.pi * doy / 365 - 1.39)
    phi = math.radians(lat)
    height = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(
        (solar - 12) * np.pi / 12
    )
    return np.asarray(1040.0 * np.maximum(height, 0.0) ** 1.15, dtype=np.float64)


@dataclass(frozen=True)
class Walks:
    """The four random walks of one member, each (hour,)."""

    warm: Array
    moist: Array
    cloud: Array
    wind: Array


def air(walks: Walks, rain: Array, lat: float, lon: float) -> dict[str, Array]:
    """Hourly weather of one member and cell from START, by the service's name of the variable."""
    hours = len(rain)
    local = (np.arange(hours) + START.hour + lon / 15.0) % 24
    doy = START.timetuple().tm_yday + np.arange(hours) / 24
    raining = rain > 0
    wet = np.zeros(hours)  # moistening of the air by wet ground, 0-1
    near = raining.astype(np.float64)  # 1 in rain, fading in the hours after it
    for t in range(1, hours):
        near[t] = max(near[t], near[t - 1] * math.exp(-1 / 4))
        wet[t] = min(1.0, wet[t - 1] * math.exp(-1 / 40) + rain[t] / 14.0)
    cloud = 1 / (1 + np.exp(-(1.3 * walks.cloud - 0.7 + 1.2 * wet)))
    cloud = np.maximum(cloud, 0.93 * spread(raining.astype(float), 2, 1))
    mean = 5.0 + 17.0 * np.cos(2 * np.pi * (doy - 202) / 365) + 3.0 * walks.warm - 2.0 * wet
    swing = 8.0 * (1 - 0.6 * mean_day(cloud)) * np.cos((local - 15.5) * np.pi / 12)
    temp = mean + swing - np.minimum(1.2 * np.sqrt(rain), 3.5)
    afternoon = np.maximum(np.cos((local - 15.5) * np.pi / 12), 0)
    deficit = np.clip(9.0 - 6.5 * wet - 1.8 * walks.moist, 1.0, 16.0) + 1.2 * afternoon
    dew = np.minimum(mean_day(temp) - deficit, temp - 0.1)
    dew += near * (np.maximum(dew, temp - 1.2) - dew)
    humidity = 100 * np.exp(17.625 * dew / (243.04 + dew) - 17.625 * temp / (243.04 + temp))
    wind = 3.9 * np.exp(0.33 * walks.wind) * (0.7 + 0.5 * afternoon) + 0.8 * raining
    gust = wind * (1.45 + 0.12 * np.abs(walks.cloud)) + 2.5 * np.sqrt(rain)
    return {
        "temperature_2m": temp,
        "relative_humidity_2m": np.clip(humidity, 5, 100),
        "precipitation": rain,
        "wind_speed_10m": wind * 3.6,
        "wind_gusts_10m": gust * 3.6,
        "shortwave_radiation": sun(hours, lat, lon) * (1 - 0.74 * cloud**1.6),
        "dewpoint": dew,
        "cloud": 100 * cloud,
    }


def storm_delay(lon: float) -> int:
    """Hours by which storms reach a longitude later than the first cell."""
    return round((lon - CELLS[0][1]) * 75.0 / 40.0)  # 75 km a degree, 40 km/h


class Sky:
    """True weather from April on, and 31 members of the 16 days ahead.

    Attributes
    ----------
    now, hours
        First hour of the forecast, and number of all hours, from `START`.
    common
        Random walks of the true weather.
    truth
        Weather of each cell by name of the variable.
    members
        Weather of each member and cell from the hour before the forecast.
    """

    def __init__(self, seed: int) -> None:
        self.rng = np.random.Generator(np.random.PCG64(seed))
        self.now, self.hours = hours_to(FORECAST), hours_to(FORECAST) + 24 * DAYS_AHEAD
        self.common = self._walks()
        self.past = self._past_storms()
        past = [self._rain(self.past, lat, lon) for lat, lon in CELLS]
        self.truth = [air(self.common, rain, *cell) for rain, cell in zip(past, CELLS, strict=True)]
        self.members = [self._member(past, m) for m in range(MEMBERS)]

    def _walks(self) -> Walks:
        """New random walks."""
        return Walks(*(walk(self.rng, self.hours, memory) for memory in MEMORY_H.values()))

    def _past_storms(self) -> list[Storm]:
        """Spring and summer showers, a dry fortnight in which grain ripens, then the wet run."""
        rng, out = self.rng, []
        t = 30.0
        while t < hours_to(datetime(2026, 7, 22, tzinfo=UTC)):
            mm = min(float(rng.gamma(0.9, 10.0)), 45.0)
            out.append(Storm(int(t), int(rng.integers(3, 12)), mm))
            t += float(rng.exponential(100.0)) + 12
        out.append(Storm(hours_to(datetime(2026, 7, 28, 2, tzinfo=UTC)), 3, 3.0))
        for day, hour, long, mm in WET_RUN:
            out.append(Storm(hours_to(datetime(2026, 8, day, hour, tzinfo=UTC)), long, mm))
        return out

    def _rain(self, storms: Sequence[Storm], lat: float, lon: float) -> Array:
        """Hourly rain at a place; storms come from the west and differ from cell to cell."""
        rain = np.zeros(self.hours)
        delay = storm_delay(lon)
        for storm in storms:
            share = self.rng.gamma(1.2, 1.0, storm.hours)
            amount = storm.mm * float(self.rng.lognormal(-0.02, 0.2))
            first = storm.start + delay
            last = min(first + storm.hours, self.hours)
            if 0 <= first < last:
                rain[first:last] += (amount * share / share.sum())[: last - first]
        rain = np.round(rain, 1)
        return np.where(rain < 0.1, 0.0, rain)

    def _member(self, past: Sequence[Array], number: int) -> list[dict[str, Array]]:
        """Weather of one member by cell; the control (number 0) follows the true weather longer."""
        lead = np.maximum(np.arange(self.hours) - hours_to(ISSUED), 0)
        keep = np.exp(-((lead / (220.0 if number == 0 else 150.0)) ** 1.6))
        own = self._walks()
        mixed = Walks(
            *(
                keep * c + np.sqrt(1 - keep**2) * o
                for c, o in zip(vars(self.common).values(), vars(own).values(), strict=True)
            )
        )
        storms = self._forecast_storms()
        out = []
        for past_rain, (lat, lon) in zip(past, CELLS, strict=True):
            rain = self._rain(storms, lat, lon)
            rain[: self.now] = past_rain[: self.now]
            whole = air(mixed, rain, lat, lon)
            out.append({k: v[self.now - 1 :] for k, v in whole.items()})
        return out

    def _forecast_storms(self) -> list[Storm]:
        """Storms of a member: fronts on about days four and nine, and showers."""
        rng = self.rng
        out = []
        for chance, lead, jitter, shape, mean in FRONTS:
            hit, when = rng.random() < chance, lead + jitter * rng.standard_normal()
            mm, long = rng.gamma(shape, mean / shape), int(rng.integers(4, 11))
            if hit:
                out.append(Storm(self.now + max(18, int(when)), long, float(mm)))
        t = 60.0
        while True:
            t += float(rng.exponential(190.0))
            if t >= 24 * DAYS_AHEAD:
                return out
            out.append(
                Storm(self.now + int(t), int(rng.integers(2, 8)), float(rng.gamma(0.9, 6.0)))
            )

    def gauge_mm(self, lat: float, lon: float, first: date, days: int) -> Array:
        """Rain of each day that ends at seven in the morning, mm, at a place between the cells."""
        weights = np.array([1 / (1e-3 + (lat - a) ** 2 + (lon - b) ** 2) for a, b in CELLS])
        rain = sum(
            w * t["precipitation"] for w, t in zip(weights / weights.sum(), self.truth, strict=True)
        )
        begin = hours_to(datetime(first.year, first.month, first.day, READ_UTC, tzinfo=UTC)) - 24
        # showers differ over short distances
        local = np.exp(0.08 * self.rng.standard_normal(days) - 0.003)
        daily = np.asarray(rain)[begin : begin + 24 * days].reshape(days, 24).sum(axis=1)
        return np.asarray(daily * local)
