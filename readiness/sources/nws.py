"""Responses of the U.S. National Weather Service: gridpoints, texts, stations, warnings.

A gridpoint's value holds through its ISO-8601 interval; amounts are totals of it (documentation of
the API, api.weather.gov).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from readiness.atmosphere.air import relative_humidity
from readiness.atmosphere.weather import VARIABLES, Array
from readiness.sources.payload import (
    HOUR,
    MAX_HOURS,
    Payload,
    PayloadError,
    in_frame_unit,
    optional_number,
    parse_hour,
    parse_quantity,
    required_object,
    site_weather,
)

#: Names of the frame's variables among a gridpoint's layers, and the kind of unit each has.
GRIDPOINT = {
    "rain": ("quantitativePrecipitation", "depth"),
    "temp": ("temperature", "temp"),
    "humidity": ("relativeHumidity", "share"),
    "wind": ("windSpeed", "speed"),
    "gust": ("windGust", "speed"),
}
_ISO = re.compile(r"P(?:(\d+)W)?(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?")


def parse_gridpoint(payload: Mapping[str, Any]) -> Payload:
    """Frame of a raw gridpoint; (1, 1, hour) over the hours that its temperature covers."""
    layers = required_object(payload, "properties")
    first, hours = _span(required_object(layers, GRIDPOINT["temp"][0]))
    values = {
        name: _layer(layers, key, kind, first, hours)[None]
        for name, (key, kind) in GRIDPOINT.items()
    }
    if np.isnan(values["rain"]).all():
        raise PayloadError(f"{GRIDPOINT['rain'][0]} is missing")
    if np.isnan(values["humidity"]).all():
        dew = _layer(layers, "dewpoint", "temp", first, hours)
        values["humidity"] = relative_humidity(values["temp"], dew[None])
    lat, lon = _middle(payload)
    cloud = _layer(layers, "skyCover", "share", first, hours)
    return Payload(
        weather=site_weather(first, values, cloud, lat, lon),
        thunder=_layer(layers, "probabilityOfThunder", None, first, hours),
        lat=lat,
        lon=lon,
        issued=parse_hour(layers.get("updateTime"), "updateTime"),
    )


def parse_hourly_text(payload: Mapping[str, Any]) -> Payload:
    """Frame of the hourly text forecast: temperature, humidity and wind; rain is unknown there."""
    text = required_object(payload, "properties")
    periods = text["periods"]
    if not isinstance(periods, list) or not periods:
        raise PayloadError("the forecast has no periods")
    starts = [parse_hour(p.get("startTime"), "startTime") for p in periods]
    ends = [parse_hour(p.get("endTime"), "endTime") for p in periods]
    if any(None in (a, b) or b - a != HOUR for a, b in zip(starts, ends, strict=True)):
        raise PayloadError(
            "it is the twelve-hour text forecast; use the gridpoint (forecastGridData) instead"
        )
    first, hours = starts[0], int((ends[-1] - starts[0]) / HOUR)
    values = {n: np.full((1, hours), np.nan) for n in VARIABLES}
    for p, start in zip(periods, starts, strict=True):
        h = int((start - first) / HOUR)
        unit = str(p.get("temperatureUnit"))
        values["temp"][0, h] = in_frame_unit(
            optional_number(p.get("temperature")), unit, "temp", "temp"
        )
        for name in ("humidity", "wind", "gust"):
            key, kind = GRIDPOINT[name]
            values[name][0, h] = parse_quantity(p.get(key), kind, key)
    lat, lon = _middle(payload)
    nothing = np.full(hours, np.nan)
    return Payload(
        weather=site_weather(first, values, nothing, lat, lon),
        thunder=nothing,
        lat=lat,
        lon=lon,
        issued=parse_hour(text.get("updateTime"), "updateTime"),
    )


#: Names in a station's observation, and the kind of unit each has.
OBSERVED = {
    "temp": ("temperature", "temp"),
    "humidity": ("relativeHumidity", "share"),
    "wind": ("windSpeed", "speed"),
    "gust": ("windGust", "speed"),
    "rain": ("precipitationLastHour", "depth"),
}


def parse_observations(payload: Mapping[str, Any]) -> Payload:
    """Frame of a station's observations, one or many; (1, 1, hour), hours without one NaN.

    An observation stands for the hour it was made in; of several the last one does. Hourly ones
    are made shortly before the hour's end, so that the rain of the last hour is this hour's.
    """
    features = payload.get("features", [payload])
    if not isinstance(features, list) or not features:
        raise PayloadError("the station has no observations")
    facts = [required_object(f, "properties") for f in features]
    at = [parse_hour(f.get("timestamp"), "timestamp") for f in facts]
    if any(a is None for a in at):
        raise PayloadError("an observation has no timestamp")
    first, hours = min(at), int((max(at) - min(at)) / HOUR) + 1
    if hours > MAX_HOURS:
        raise PayloadError("the observations span too long a time")
    values = {n: np.full((1, hours), np.nan) for n in VARIABLES}
    for fact in sorted(facts, key=lambda f: str(f["timestamp"])):
        h = int((parse_hour(fact["timestamp"], "timestamp") - first) / HOUR)
        for name, (key, kind) in OBSERVED.items():
            value = parse_quantity(fact.get(key), kind, key)
            if np.isfinite(value):
                values[name][0, h] = value
    if np.isnan(values["temp"]).all():
        raise PayloadError("temperature is missing")
    lat, lon = _middle(features[0])
    nothing = np.full(hours, np.nan)
    return Payload(
        weather=site_weather(first, values, nothing, lat, lon), thunder=nothing, lat=lat, lon=lon
    )


def point_links(payload: object) -> tuple[str, str]:
    """Addresses of the gridpoint and of its stations, out of the answer for a point."""
    facts = required_object(payload if isinstance(payload, Mapping) else {}, "properties")
    links = facts.get("forecastGridData"), facts.get("observationStations")
    if not all(isinstance(x, str) and "/gridpoints/" in x for x in links):
        raise PayloadError("the point names no gridpoint")
    return str(links[0]), str(links[1])


def nearest_station(payload: object) -> str:
    """Identifier of the first station of a gridpoint's list; the service lists nearest first."""
    features = payload.get("features") if isinstance(payload, Mapping) else None
    try:
        name = str(features[0]["properties"]["stationIdentifier"])  # type: ignore[index]
    except (TypeError, KeyError, IndexError):
        raise PayloadError("the gridpoint lists no station") from None
    if not re.fullmatch(r"[A-Za-z0-9]{3,12}", name):
        raise PayloadError("the station's name cannot be read")
    return name


@dataclass(frozen=True, kw_only=True)
class Alert:
    """A warning or watch in force from `start` until before `stop` (datetime64[h], UTC)."""

    event: str
    headline: str
    start: np.datetime64
    stop: np.datetime64

    @property
    def storm(self) -> bool:
        """Whether lightning comes with it."""
        return "thunderstorm" in self.event.lower() or "tornado" in self.event.lower()

    @property
    def fire(self) -> bool:
        """Whether it is for fire weather."""
        return "red flag" in self.event.lower() or "fire weather" in self.event.lower()


def parse_alerts(payload: object) -> tuple[Alert, ...]:
    """Active alerts of a place; cancelled, test and ended ones are left out."""
    features = payload.get("features") if isinstance(payload, Mapping) else None
    if not isinstance(features, list):
        raise PayloadError("the answer holds no list of alerts")
    out = []
    for feature in features:
        facts = required_object(feature, "properties")
        if facts.get("status", "Actual") != "Actual" or facts.get("messageType") == "Cancel":
            continue
        start = parse_hour(facts.get("onset") or facts.get("effective"), "onset")
        stop = parse_hour(facts.get("ends") or facts.get("expires"), "ends")
        if start is None or stop is None:
            raise PayloadError("an alert does not say when it holds")
        out.append(
            Alert(
                event=str(facts.get("event", "Alert"))[:80],
                start=start,
                headline=" ".join(str(facts.get("headline") or "").split())[:200],
                stop=stop + HOUR,
            )
        )
    return tuple(out)


def iso_interval(text: object) -> tuple[np.datetime64, int]:
    """First hour and whole hours (at least 1) of an ISO-8601 interval such as .../PT6H."""
    begin, _, length = str(text).partition("/")
    m = _ISO.fullmatch(length)
    if m is None or length in ("P", ""):
        raise PayloadError(f'"{str(text)[:60]}" is no interval of time')
    weeks, days, hours, minutes, _ = (int(g or 0) for g in m.groups())
    start = parse_hour(begin, "validTime")
    if start is None:
        raise PayloadError("an interval has no start")
    whole = 24 * (7 * weeks + days) + hours + (minutes >= 30)
    return start, max(1, whole)


def _span(layer: Mapping[str, Any]) -> tuple[np.datetime64, int]:
    """First hour and number of hours that a layer's values cover."""
    steps = [iso_interval(v.get("validTime")) for v in _values(layer, "temperature")]
    if not steps:
        raise PayloadError("temperature is missing")
    first = min(s for s, _ in steps)
    hours = max(int((s - first) / HOUR) + n for s, n in steps)
    if hours > MAX_HOURS:
        raise PayloadError("the gridpoint spans too long a time")
    return first, hours


def _values(layer: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    values = layer.get("values")
    if not isinstance(values, list) or not all(isinstance(v, Mapping) for v in values):
        raise PayloadError(f"{name} has no values")
    return values


def _layer(
    layers: Mapping[str, Any], key: str, kind: str | None, first: np.datetime64, hours: int
) -> Array:
    """A layer hour by hour; amounts are shared evenly over their interval. NaN where absent."""
    out = np.full(hours, np.nan)
    layer = layers.get(key)
    if not isinstance(layer, Mapping):
        return out
    for step in _values(layer, key):
        start, n = iso_interval(step.get("validTime"))
        a = int((start - first) / HOUR)
        value = optional_number(step.get("value"))
        out[max(a, 0) : max(a + n, 0)] = value / n if kind == "depth" else value
    if kind is None or np.isnan(out).all():
        return out
    return np.asarray(in_frame_unit(out, str(layer.get("uom")), kind, key), dtype=np.float64)


def _middle(payload: Mapping[str, Any]) -> tuple[float, float]:
    """Latitude and longitude of the first ring or point of a GeoJSON feature."""
    shape = payload.get("geometry")
    if isinstance(shape, Mapping) and shape.get("type") == "GeometryCollection":
        shape = (shape.get("geometries") or [None])[0]
    try:
        spots = np.atleast_2d(np.array(shape["coordinates"], dtype=np.float64).squeeze())  # type: ignore[index]
        lon, lat = spots[:-1].mean(axis=0) if len(spots) > 1 else spots[0]
    except (TypeError, KeyError, ValueError):
        raise PayloadError("the place (geometry) is missing") from None
    return float(lat), float(lon)
