"""Invented weather for the sample farm, in the formats of the services that are read.

One sky over four grid cells: temperature, cloud, moisture and wind follow random walks that
forget (AR(1)); storms are events with a start, a length and an amount. What fell makes the air
moist for a day or two, cloud takes sun and cools, air at night cools to its dew point, so that
mornings after rain have dew. Forecast members leave the common walk as lead grows.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CELLS = ((47.25, -99.25), (47.25, -99.0), (47.5, -99.25), (47.5, -99.0))
ELEVATION_M = 512.0
START = datetime(2026, 3, 31, 0, tzinfo=UTC)  # a day before the records, to be in swing
RECORDS = datetime(2026, 4, 1, 0, tzinfo=UTC)
FORECAST = datetime(2026, 8, 12, 0, tzinfo=UTC)  # first hour of the ensemble
ISSUED = datetime(2026, 8, 12, 6, tzinfo=UTC)
FETCHED = datetime(2026, 8, 12, 10, 40, tzinfo=UTC)  # 05:40 on the farm
DAYS_AHEAD = 16
MEMBERS = 31
READ_UTC = 12  # seven in the morning on the farm
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
    (3, 21, 6, 9.0), (4, 6, 8, 12.0), (5, 18, 10, 16.0), (6, 9, 9, 8.0), (7, 22, 7, 14.0),
    (8, 3, 12, 11.0), (9, 19, 5, 7.0), (10, 1, 14, 13.0), (11, 5, 10, 6.0),
)  # fmt: skip


@dataclass(frozen=True)
class Storm:
    """A spell of rain: hours from START, length in hours, mm over the whole of it."""

    start: int
    hours: int
    mm: float


def hours_to(when: datetime) -> int:
    """Whole hours from START."""
    return int((when - START) / timedelta(hours=1))


def walk(rng: np.random.Generator, hours: int, memory: float) -> Array:
    """A standard AR(1) walk with an e-folding memory in hours."""
    keep = math.exp(-1.0 / memory)
    out = rng.standard_normal(hours)
    for t in range(1, hours):
        out[t] = keep * out[t - 1] + math.sqrt(1 - keep * keep) * out[t]
    return out


def spread(values: Array, before: int, after: int) -> Array:
    """Largest value within `before` hours ahead and `after` hours behind."""
    padded = np.pad(values, (after, before))
    window = np.lib.stride_tricks.sliding_window_view(padded, before + after + 1)
    return np.asarray(window.max(axis=1), dtype=np.float64)


def mean_day(values: Array) -> Array:
    """Centred mean over 25 hours."""
    padded = np.pad(values, 12, mode="edge")
    window = np.lib.stride_tricks.sliding_window_view(padded, 25)
    return np.asarray(window.mean(axis=1), dtype=np.float64)


def sun(hours: int, lat: float, lon: float) -> Array:
    """Clear-sky radiation, W/m², mean of each hour from START."""
    at = [START + timedelta(hours=h, minutes=30) for h in range(hours)]
    doy = np.array([t.timetuple().tm_yday for t in at])
    solar = np.array([t.hour + t.minute / 60 for t in at]) + lon / 15.0
    tilt = 0.409 * np.sin(2 * np.pi * doy / 365 - 1.39)
    phi = math.radians(lat)
    high = np.sin(phi) * np.sin(tilt) + np.cos(phi) * np.cos(tilt) * np.cos(
        (solar - 12) * np.pi / 12
    )
    return np.asarray(1040.0 * np.maximum(high, 0.0) ** 1.15, dtype=np.float64)


@dataclass(frozen=True)
class Walks:
    """The four walks of one member, each (hour,)."""

    warm: Array
    moist: Array
    cloud: Array
    wind: Array


def air(walks: Walks, rain: Array, lat: float, lon: float) -> dict[str, Array]:
    """The weather of one member and cell; hours from START, named as the service names them."""
    hours = len(rain)
    local = (np.arange(hours) + START.hour + lon / 15.0) % 24
    doy = START.timetuple().tm_yday + np.arange(hours) / 24
    raining = rain > 0
    wet = np.zeros(hours)  # 0-1: how moist the ground makes the air
    near = raining.astype(np.float64)  # 1 in rain, fading over hours after it
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


class Sky:
    """What happened from April on, and what 31 members make of the 16 days to come."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.Generator(np.random.PCG64(seed))
        self.now, self.hours = hours_to(FORECAST), hours_to(FORECAST) + 24 * DAYS_AHEAD
        self.common = self._walks()
        self.past = self._past_storms()
        past = [self._rain(self.past, lat, lon) for lat, lon in CELLS]
        self.truth = [air(self.common, rain, *cell) for rain, cell in zip(past, CELLS, strict=True)]
        self.members = [self._member(past, m) for m in range(MEMBERS)]

    def _walks(self) -> Walks:
        return Walks(*(walk(self.rng, self.hours, memory) for memory in (60, 40, 12, 18)))

    def _past_storms(self) -> list[Storm]:
        """Spring and summer showers, a dry fortnight to ripen the grain, then the wet run."""
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
        """Hourly rain at a place: storms come from the west and differ from cell to cell."""
        rain = np.zeros(self.hours)
        delay = round((lon - CELLS[0][1]) * 75.0 / 40.0)  # 75 km a degree, 40 km/h
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
        """One member over the forecast, by cell; the control (0) follows the common walk longer."""
        lead = np.maximum(np.arange(self.hours) - hours_to(ISSUED), 0)
        keep = np.exp(-((lead / (220.0 if number == 0 else 150.0)) ** 1.6))
        own = self._walks()
        mixed = Walks(
            *(
                keep * c + np.sqrt(1 - keep**2) * o
                for c, o in zip(vars(self.common).values(), vars(own).values(), strict=True)
            )
        )
        storms = self._coming()
        out = []
        for before, (lat, lon) in zip(past, CELLS, strict=True):
            rain = self._rain(storms, lat, lon)
            rain[: self.now] = before[: self.now]
            whole = air(mixed, rain, lat, lon)
            out.append({k: v[self.now - 1 :] for k, v in whole.items()})
        return out

    def _coming(self) -> list[Storm]:
        """Storms of one member: a front about day four in half of them, another about day nine."""
        rng = self.rng
        out = []
        for chance, lead, jitter, shape, mean in (
            (0.10, 38, 4, 1.0, 3.0), (0.52, 88, 8, 2.0, 12.0), (0.60, 206, 20, 1.5, 10.0),
        ):  # fmt: skip
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
        """Rain of the days that end at seven in the morning, mm, at a place between the cells."""
        weights = np.array([1 / (1e-3 + (lat - a) ** 2 + (lon - b) ** 2) for a, b in CELLS])
        rain = sum(
            w * t["precipitation"] for w, t in zip(weights / weights.sum(), self.truth, strict=True)
        )
        begin = hours_to(datetime(first.year, first.month, first.day, READ_UTC, tzinfo=UTC)) - 24
        local = np.exp(0.08 * self.rng.standard_normal(days) - 0.003)  # showers are not even
        daily = np.asarray(rain)[begin : begin + 24 * days].reshape(days, 24).sum(axis=1)
        return np.asarray(daily * local)


def stamps(first: datetime, hours: int) -> list[str]:
    """Hour labels as the service writes them."""
    return [f"{first + timedelta(hours=h):%Y-%m-%dT%H:%M}" for h in range(hours)]


def labelled(weather: dict[str, Array], name: str, hours: int) -> list[float]:
    """Values at the service's labels: rain and sun are of the hour before, the rest of the instant.

    `weather` begins one hour before the first label.
    """
    digits = FIELDS[name][1]
    late = name in ("precipitation", "shortwave_radiation")
    values = weather[name][:hours] if late else weather[name][1 : hours + 1]
    return [round(float(v), digits) if digits else round(float(v)) for v in values]


def payload(cell: tuple[float, float], hourly: dict[str, object], units: dict[str, str]) -> object:
    """A response of the Open-Meteo form."""
    return {
        "latitude": cell[0],
        "longitude": cell[1],
        "generationtime_ms": 1.5,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": ELEVATION_M,
        "hourly_units": {"time": "iso8601"} | units,
        "hourly": hourly,
    }


def records(sky: Sky, c: int) -> object:
    """Archive of one cell; hours that have not been are null, as the service gives them."""
    known = int((FETCHED - RECORDS) / timedelta(hours=1)) + 1
    total = 24 * math.ceil(known / 24)
    first = hours_to(RECORDS) - 1
    cut = {k: v[first : first + known + 1] for k, v in sky.truth[c].items()}
    hourly: dict[str, object] = {"time": stamps(RECORDS, total)}
    for name in FIELDS:
        hourly[name] = [*labelled(cut, name, known), *[None] * (total - known)]
    return payload(CELLS[c], hourly, {n: u for n, (u, _) in FIELDS.items()})


def ensemble(sky: Sky, c: int) -> object:
    """Ensemble of one cell: the control without a suffix, then member01 to member30."""
    hours = 24 * DAYS_AHEAD
    hourly: dict[str, object] = {"time": stamps(FORECAST, hours)}
    units = {}
    for name, (unit, _) in FIELDS.items():
        for m, member in enumerate(sky.members):
            key = f"{name}_member{m:02d}" if m else name
            hourly[key] = labelled(member[c], name, hours)
            units[key] = unit
    return payload(CELLS[c], hourly, units)


def layer(values: Array, unit: str, first: datetime, step: int = 1) -> dict[str, object]:
    """A raw layer of the U.S. National Weather Service: equal neighbours under one duration."""
    out: list[dict[str, object]] = []
    runs: list[tuple[int, float]] = []
    for v in values:
        if runs and runs[-1][1] == v:
            runs[-1] = (runs[-1][0] + step, v)
        else:
            runs.append((step, float(v)))
    at = first
    for long, v in runs:
        days, hours = divmod(long, 24)
        text = "P" + (f"{days}D" if days else "") + (f"T{hours}H" if hours else "")
        out.append({"validTime": f"{at:%Y-%m-%dT%H:%M:%S}+00:00/{text}", "value": v})
        at += timedelta(hours=long)
    return {"uom": unit, "values": out}


def gridpoint(sky: Sky, c: int) -> object:
    """The same morning as the U.S. National Weather Service's gridpoint, seven days, no members."""
    first, hours = datetime(2026, 8, 12, 6, tzinfo=UTC), 24 * 7
    skip = int((first - FORECAST) / timedelta(hours=1)) + 1
    cut = [{k: v[skip : skip + hours] for k, v in m[c].items()} for m in sky.members]
    mean = {k: np.mean([m[k] for m in cut], axis=0) for k in cut[0]}
    six = np.array([m["precipitation"].reshape(-1, 6).sum(axis=1) for m in cut])
    lat, lon = CELLS[c]
    degree, speed, percent = "wmoUnit:degC", "wmoUnit:km_h-1", "wmoUnit:percent"
    corners = [(-0.012, -0.016), (-0.012, 0.016), (0.012, 0.016), (0.012, -0.016), (-0.012, -0.016)]
    chance = np.round(100 * (six >= 0.25).mean(axis=0) / 5) * 5
    return {
        "id": "https://api.weather.gov/gridpoints/ZZZ/90,48",
        "type": "Feature",
        "geometry": {
            "type": "Polygon",
            "coordinates": [[[round(lon + b, 5), round(lat + a, 5)] for a, b in corners]],
        },
        "properties": {
            "@id": "https://api.weather.gov/gridpoints/ZZZ/90,48",
            "@type": "wx:Gridpoint",
            "updateTime": f"{FETCHED - timedelta(minutes=72):%Y-%m-%dT%H:%M:%S}+00:00",
            "validTimes": f"{first:%Y-%m-%dT%H:%M:%S}+00:00/P7D",
            "elevation": {"unitCode": "wmoUnit:m", "value": ELEVATION_M},
            "forecastOffice": "https://api.weather.gov/offices/ZZZ",
            "gridId": "ZZZ",
            "gridX": "90",
            "gridY": "48",
            "temperature": layer(np.round(mean["temperature_2m"], 1), degree, first),
            "dewpoint": layer(np.round(mean["dewpoint"], 1), degree, first),
            "relativeHumidity": layer(np.round(mean["relative_humidity_2m"]), percent, first),
            "skyCover": layer(np.round(mean["cloud"]), percent, first),
            "windSpeed": layer(np.round(mean["wind_speed_10m"], 1), speed, first),
            "windGust": layer(np.round(mean["wind_gusts_10m"], 1), speed, first),
            "probabilityOfPrecipitation": layer(chance, percent, first, 6),
            "quantitativePrecipitation": layer(
                np.round(six.mean(axis=0), 1), "wmoUnit:mm", first, 6
            ),
            "probabilityOfThunder": layer(np.round(chance / 10) * 5, percent, first, 6),
        },
    }


def write(folder: Path, sky: Sky) -> None:
    """Every response in its own file, inside the envelope that says where it is from."""
    variables = ",".join(FIELDS)
    for c, (lat, lon) in enumerate(CELLS):
        place = f"latitude={lat}&longitude={lon}&hourly={variables}&timezone=GMT"
        keep(folder, "open-meteo", "archive", records(sky, c), (lat, lon),
             f"https://archive-api.open-meteo.com/v1/archive?{place}"
             "&start_date=2026-04-01&end_date=2026-08-12")  # fmt: skip
        keep(folder, "open-meteo", "ensemble", ensemble(sky, c), (lat, lon),
             f"https://ensemble-api.open-meteo.com/v1/ensemble?{place}"
             f"&models=gfs025&forecast_days={DAYS_AHEAD}")  # fmt: skip
    keep(folder, "nws", "gridpoint", gridpoint(sky, 1), CELLS[1],
         "https://api.weather.gov/gridpoints/ZZZ/90,48")  # fmt: skip


def keep(
    folder: Path, source: str, product: str, body: object, cell: tuple[float, float], url: str
) -> None:
    """Write one response."""
    lat, lon = cell
    envelope = {
        "source": source, "product": product, "version": "1",
        "issued": f"{ISSUED:%Y-%m-%dT%H:%M:%SZ}", "fetched": f"{FETCHED:%Y-%m-%dT%H:%M:%SZ}",
        "url": url, "lat": lat, "lon": lon, "payload": body,
    }  # fmt: skip
    name = f"{product}_{ISSUED:%Y%m%dT%H%MZ}_{lat:.2f}_{lon:.2f}.json"
    text = json.dumps(envelope, separators=(",", ":"), ensure_ascii=False)
    (folder / name).write_text(text + "\n", encoding="utf-8")
