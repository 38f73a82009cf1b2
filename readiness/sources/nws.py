"""Responses of the U.S. National Weather Service: gridpoints, texts, stations, alerts.

A value of a gridpoint holds through its ISO-8601 interval; an amount is the total of it
(documentation of api.weather.gov).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from readiness.atmosphere.air import relative_humidity
from readiness.atmosphere.weather import HOUR, VARIABLES, Array
from readiness.sources.payload import (
    MAX_HOURS,
    Payload,
    PayloadError,
    UnitKind,
    in_frame_unit,
    optional_number,
    parse_hour,
    parse_quantity,
    required_hour,
    required_object,
    site_weather,
)

#: Layer of each variable of the frame in a gridpoint, and the kind of its unit.
GRIDPOINT_LAYERS: Mapping[str, tuple[str, UnitKind]] = {
    "rain": ("quantitativePrecipitation", "depth"),
    "temp": ("temperature", "temp"),
    "humidity": ("relativeHumidity", "share"),
    "wind": ("windSpeed", "speed"),
    "gust": ("windGust", "speed"),
}
#: Name of each variable of the frame in an observation, and the kind of its unit.
OBSERVATION_NAMES: Mapping[str, tuple[str, UnitKind]] = {
    "temp": ("temperature", "temp"),
    "humidity": ("relativeHumidity", "share"),
    "wind": ("windSpeed", "speed"),
    "gust": ("windGust", "speed"),
    "rain": ("precipitationLastHour", "depth"),
}
#: ISO-8601 duration of weeks, days, hours, minutes and seconds.
_DURATION = re.compile(r"P(?:(\d+)W)?(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?")


def parse_gridpoint(payload: Mapping[str, Any]) -> Payload:
    """Frame of a raw gridpoint, (1, 1, hour), over the hours that its temperature covers."""
    layers = required_object(payload, "properties")
    first, hours = _span(required_object(layers, GRIDPOINT_LAYERS["temp"][0]))
    values = {
        name: _layer(layers, key, kind, first, hours)[None]
        for name, (key, kind) in GRIDPOINT_LAYERS.items()
    }
    if np.isnan(values["rain"]).all():
        raise PayloadError(f"{GRIDPOINT_LAYERS['rain'][0]} is missing")
    if np.isnan(values["humidity"]).all():
        dew = _layer(layers, "dewpoint", "temp", first, hours)
        values["humidity"] = relative_humidity(values["temp"], dew[None])
    lat, lon = _place(payload)
    cloud = _layer(layers, "skyCover", "share", first, hours)
    return Payload(
        weather=site_weather(first, values, cloud, lat, lon),
        thunder=_layer(layers, "probabilityOfThunder", None, first, hours),
        lat=lat,
        lon=lon,
        issued=parse_hour(layers.get("updateTime"), "updateTime"),
    )


def parse_hourly_text(payload: Mapping[str, Any]) -> Payload:
    """Frame of the hourly text forecast, which holds temperature, humidity and wind but no rain."""
    text = required_object(payload, "properties")
    periods = _objects(text.get("periods"), "the forecast has no periods")
    starts = [required_hour(p.get("startTime"), "startTime") for p in periods]
    ends = [required_hour(p.get("endTime"), "endTime") for p in periods]
    if any(end - start != HOUR for start, end in zip(starts, ends, strict=True)):
        raise PayloadError(
            "this is the twelve-hour text forecast; use the gridpoint (forecastGridData) instead"
        )
    first, hours = _first_and_count(starts, "the forecast spans too many hours")
    values = {n: np.full((1, hours), np.nan) for n in VARIABLES}
    for period, start in zip(periods, starts, strict=True):
        h = int((start - first) / HOUR)
        temp, unit = optional_number(period.get("temperature")), str(period.get("temperatureUnit"))
        values["temp"][0, h] = in_frame_unit(temp, unit, "temp", "temp")
        for name in ("humidity", "wind", "gust"):
            key, kind = GRIDPOINT_LAYERS[name]
            values[name][0, h] = parse_quantity(period.get(key), kind, key)
    lat, lon = _place(payload)
    unknown = np.full(hours, np.nan)
    return Payload(
        weather=site_weather(first, values, unknown, lat, lon),
        thunder=unknown,
        lat=lat,
        lon=lon,
        issued=parse_hour(text.get("updateTime"), "updateTime"),
    )


def parse_observations(payload: Mapping[str, Any]) -> Payload:
    """Frame of one or more observations of a station, (1, 1, hour); NaN in hours without one.

    An observation counts for the hour in which it is made, the last one of an hour overrides.
    Hourly observations are made shortly before the end of the hour, so that their rain of the last
    hour is the rain of this hour.
    """
    features = _objects(payload.get("features", [payload]), "the station has no observations")
    facts = [required_object(f, "properties") for f in features]
    at = [required_hour(f.get("timestamp"), "timestamp") for f in facts]
    first, hours = _first_and_count(at, "the observations span too many hours")
    values = {n: np.full((1, hours), np.nan) for n in VARIABLES}
    for fact in sorted(facts, key=lambda f: str(f["timestamp"])):
        h = int((required_hour(fact["timestamp"], "timestamp") - first) / HOUR)
        for name, (key, kind) in OBSERVATION_NAMES.items():
            value = parse_quantity(fact.get(key), kind, key)
            if np.isfinite(value):
                values[name][0, h] = value
    if np.isnan(values["temp"]).all():
        raise PayloadError("temperature is missing")
    lat, lon = _place(features[0])
    unknown = np.full(hours, np.nan)
    return Payload(
        weather=site_weather(first, values, unknown, lat, lon), thunder=unknown, lat=lat, lon=lon
    )


def point_links(payload: object) -> tuple[str, str]:
    """Addresses of the gridpoint and of its stations, from the answer for a point."""
    facts = required_object(payload, "properties")
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
        raise PayloadError("the name of the station cannot be read")
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
        """Whether the event brings lightning."""
        return "thunderstorm" in self.event.lower() or "tornado" in self.event.lower()

    @property
    def fire(self) -> bool:
        """Whether the event is fire weather."""
        return "red flag" in self.event.lower() or "fire weather" in self.event.lower()


def parse_alerts(payload: object) -> tuple[Alert, ...]:
    """Alerts of a place, without tests and cancellations."""
    features = payload.get("features") if isinstance(payload, Mapping) else None
    if not isinstance(features, list):
        raise PayloadError("the answer holds no list of alerts")
    alerts = []
    for feature in features:
        facts = required_object(feature, "properties")
        if facts.get("status", "Actual") != "Actual" or facts.get("messageType") == "Cancel":
            continue
        start = parse_hour(facts.get("onset") or facts.get("effective"), "onset")
        stop = parse_hour(facts.get("ends") or facts.get("expires"), "ends")
        if start is None or stop is None:
            raise PayloadError("an alert states no start or no end")
        alerts.append(
            Alert(
                event=str(facts.get("event", "Alert"))[:80],
                headline=" ".join(str(facts.get("headline") or "").split())[:200],
                start=start,
                stop=stop + HOUR,
            )
        )
    return tuple(alerts)


def iso_interval(text: object) -> tuple[np.datetime64, int]:
    """First hour and whole hours (at least 1) of an ISO-8601 interval such as .../PT6H."""
    begin, _, length = str(text).partition("/")
    m = _DURATION.fullmatch(length)
    if m is None or length in ("P", ""):
        raise PayloadError(f'"{str(text)[:60]}" is not a time interval')
    weeks, days, hours, minutes, _ = (int(g or 0) for g in m.groups())
    start = required_hour(begin, "validTime")
    return start, max(1, 24 * (7 * weeks + days) + hours + (minutes >= 30))


def _objects(items: object, message: str) -> list[Mapping[str, Any]]:
    """A non-empty list of objects; PayloadError with the message otherwise."""
    if not isinstance(items, list) or not items:
        raise PayloadError(message)
    if not all(isinstance(item, Mapping) for item in items):
        raise PayloadError(message)
    return items


def _first_and_count(hours: Sequence[np.datetime64], message: str) -> tuple[np.datetime64, int]:
    """First hour and the number of hours up to the last; PayloadError where there are too many."""
    first = min(hours)
    count = int((max(hours) - first) / HOUR) + 1
    if count > MAX_HOURS:
        raise PayloadError(message)
    return first, count


def _span(layer: Mapping[str, Any]) -> tuple[np.datetime64, int]:
    """First hour and number of hours that the values of a layer cover."""
    steps = [iso_interval(v.get("validTime")) for v in _values(layer, "temperature")]
    if not steps:
        raise PayloadError("temperature is missing")
    first = min(s for s, _ in steps)
    hours = max(int((s - first) / HOUR) + n for s, n in steps)
    if hours > MAX_HOURS:
        raise PayloadError("the gridpoint spans too many hours")
    return first, hours


def _values(layer: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    """Values of a layer, each an object."""
    values = layer.get("values")
    if not isinstance(values, list) or not all(isinstance(v, Mapping) for v in values):
        raise PayloadError(f"{name} has no values")
    return values


def _layer(
    layers: Mapping[str, Any],
    key: str,
    kind: UnitKind | None,
    first: np.datetime64,
    hours: int,
) -> Array:
    """Layer hour by hour, NaN where absent; an amount is spread evenly over its interval."""
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
    return in_frame_unit(out, str(layer.get("uom")), kind, key)


def _place(feature: Mapping[str, Any]) -> tuple[float, float]:
    """Latitude and longitude of a GeoJSON feature: its point, or the mean of its first ring."""
    shape = feature.get("geometry")
    if isinstance(shape, Mapping) and shape.get("type") == "GeometryCollection":
        shape = (shape.get("geometries") or [None])[0]
    try:
        spots = np.atleast_2d(np.array(shape["coordinates"], dtype=np.float64).squeeze())  # type: ignore[index]
        lon, lat = spots[:-1].mean(axis=0) if len(spots) > 1 else spots[0]
    except (TypeError, KeyError, ValueError):
        raise PayloadError("the place (geometry) is missing") from None
    return float(lat), float(lon)
