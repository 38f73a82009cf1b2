"""Service responses for the invented weather: archive, ensemble and gridpoint files."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from make_weather import (
    CELLS,
    DAYS_AHEAD,
    ELEVATION_M,
    FETCHED,
    FIELDS,
    FORECAST,
    ISSUED,
    RECORDS,
    Array,
    Sky,
    hours_to,
)

Json = dict[str, Any]


def stamps(first: datetime, hours: int) -> list[str]:
    """Hour labels in the format of Open-Meteo."""
    return [f"{first + timedelta(hours=h):%Y-%m-%dT%H:%M}" for h in range(hours)]


def labelled(weather: dict[str, Array], name: str, hours: int) -> list[float]:
    """Values of a variable at the labels of Open-Meteo.

    Rain and sun are those of the hour before the label, other variables those of the instant.
    `weather` begins one hour before the first label.
    """
    digits = FIELDS[name][1]
    of_hour_before = name in ("precipitation", "shortwave_radiation")
    values = weather[name][:hours] if of_hour_before else weather[name][1 : hours + 1]
    return [round(float(v), digits) if digits else round(float(v)) for v in values]


def payload(cell: tuple[float, float], hourly: Json, units: dict[str, str]) -> Json:
    """A response in the form of Open-Meteo."""
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


def archive(sky: Sky, c: int) -> Json:
    """Archive of one cell; hours after the fetch are null, as in the service's responses."""
    known = int((FETCHED - RECORDS) / timedelta(hours=1)) + 1
    total = 24 * math.ceil(known / 24)
    first = hours_to(RECORDS) - 1
    cut = {k: v[first : first + known + 1] for k, v in sky.truth[c].items()}
    hourly: Json = {"time": stamps(RECORDS, total)}
    for name in FIELDS:
        hourly[name] = [*labelled(cut, name, known), *[None] * (total - known)]
    return payload(CELLS[c], hourly, {n: u for n, (u, _) in FIELDS.items()})


def ensemble(sky: Sky, c: int) -> Json:
    """Ensemble of one cell: the control without a suffix, then member01 to member30."""
    hours = 24 * DAYS_AHEAD
    hourly: Json = {"time": stamps(FORECAST, hours)}
    units = {}
    for name, (unit, _) in FIELDS.items():
        for m, member in enumerate(sky.members):
            key = f"{name}_member{m:02d}" if m else name
            hourly[key] = labelled(member[c], name, hours)
            units[key] = unit
    return payload(CELLS[c], hourly, units)


def layer(values: Array, unit: str, first: datetime, step: int = 1) -> Json:
    """A gridpoint layer of the U.S. National Weather Service; equal neighbours share a duration."""
    out: list[Json] = []
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


def gridpoint(sky: Sky, c: int) -> Json:
    """The forecast as a gridpoint of the U.S. National Weather Service: seven days, no members."""
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


def write_responses(folder: Path, sky: Sky) -> None:
    """Write every response into a file of its own, in an envelope with its source."""
    variables = ",".join(FIELDS)
    for c, (lat, lon) in enumerate(CELLS):
        place = f"latitude={lat}&longitude={lon}&hourly={variables}&timezone=GMT"
        write_response(
            folder,
            "open-meteo",
            "archive",
            archive(sky, c),
            (lat, lon),
            f"https://archive-api.open-meteo.com/v1/archive?{place}"
            "&start_date=2026-04-01&end_date=2026-08-12",
        )
        write_response(
            folder,
            "open-meteo",
            "ensemble",
            ensemble(sky, c),
            (lat, lon),
            f"https://ensemble-api.open-meteo.com/v1/ensemble?{place}"
            f"&models=gfs025&forecast_days={DAYS_AHEAD}",
        )
    write_response(
        folder,
        "nws",
        "gridpoint",
        gridpoint(sky, 1),
        CELLS[1],
        "https://api.weather.gov/gridpoints/ZZZ/90,48",
    )


def write_response(
    folder: Path, source: str, product: str, body: Json, cell: tuple[float, float], url: str
) -> None:
    """Write one response in its envelope."""
    lat, lon = cell
    envelope = {
        "source": source,
        "product": product,
        "version": "1",
        "issued": f"{ISSUED:%Y-%m-%dT%H:%M:%SZ}",
        "fetched": f"{FETCHED:%Y-%m-%dT%H:%M:%SZ}",
        "url": url,
        "lat": lat,
        "lon": lon,
        "payload": body,
    }
    name = f"{product}_{ISSUED:%Y%m%dT%H%MZ}_{lat:.2f}_{lon:.2f}.json"
    text = json.dumps(envelope, separators=(",", ":"), ensure_ascii=False)
    (folder / name).write_text(text + "\n", encoding="utf-8")
