"""Responses of public weather services into hourly frames; nothing is fetched here.

Sources of the meanings: Open-Meteo API documentation (rain, gusts and radiation at a label are of
the hour before it, the other variables of that instant); U.S. National Weather Service API
documentation of the gridpoint (a value holds through its ISO-8601 interval, amounts are totals of
it).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readiness.gaps import cloudy_radiation, relative_humidity
from readiness.weather import Array, Weather

#: Names of the frame's variables in Open-Meteo's `hourly`, and the kind of unit each has.
OPEN_METEO = {
    "rain": ("precipitation", "depth"),
    "temp": ("temperature_2m", "temp"),
    "humidity": ("relative_humidity_2m", "share"),
    "wind": ("wind_speed_10m", "speed"),
    "gust": ("wind_gusts_10m", "speed"),
    "radiation": ("shortwave_radiation", "flux"),
}
#: The same in the layers of a gridpoint of the U.S. National Weather Service.
GRIDPOINT = {
    "rain": ("quantitativePrecipitation", "depth"),
    "temp": ("temperature", "temp"),
    "humidity": ("relativeHumidity", "share"),
    "wind": ("windSpeed", "speed"),
    "gust": ("windGust", "speed"),
}
#: Variables whose value at a label is of the hour before it.
BEFORE = ("rain", "gust", "radiation")
#: Without these there is no forecast.
NEEDED = ("rain", "temp")
#: (factor, offset) to mm, °C, percent, m/s and W/m², by kind and by the unit's written name.
UNITS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "depth": {"mm": (1.0, 0.0), "inch": (25.4, 0.0), "in": (25.4, 0.0), "m": (1000.0, 0.0),
              "kg_m-2": (1.0, 0.0), "cm": (10.0, 0.0)},
    "temp": {"°C": (1.0, 0.0), "degC": (1.0, 0.0), "C": (1.0, 0.0), "K": (1.0, -273.15),
             "°F": (5 / 9, -160 / 9), "degF": (5 / 9, -160 / 9), "F": (5 / 9, -160 / 9)},
    "share": {"%": (1.0, 0.0), "percent": (1.0, 0.0)},
    "speed": {"km/h": (1 / 3.6, 0.0), "km_h-1": (1 / 3.6, 0.0), "m/s": (1.0, 0.0),
              "m_s-1": (1.0, 0.0), "mp/h": (0.44704, 0.0), "mph": (0.44704, 0.0),
              "kn": (1852 / 3600, 0.0), "kt": (1852 / 3600, 0.0)},
    "flux": {"W/m²": (1.0, 0.0), "W/m2": (1.0, 0.0), "W_m-2": (1.0, 0.0)},
}  # fmt: skip
#: Physical range by variable; values outside are a broken payload. Assumed: just beyond records.
RANGE = {"rain": (0.0, 400.0), "temp": (-70.0, 60.0), "humidity": (0.0, 105.0),
         "wind": (0.0, 120.0), "gust": (0.0, 150.0), "radiation": (0.0, 1500.0)}  # fmt: skip
#: Open-Meteo's WMO weather codes for a thunderstorm.
THUNDER_CODES = (95, 96, 99)
#: Most hours a payload may span; assumed: ten years of records.
MOST_HOURS = 24 * 3660
_ISO = re.compile(r"P(?:(\d+)W)?(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?")
HOUR = np.timedelta64(1, "h")


class PayloadError(ValueError):
    """A response that is not what its service documents; the message says what is wrong."""


@dataclass(frozen=True, kw_only=True)
class Payload:
    """What one response says of one place.

    Attributes
    ----------
    weather : (member, 1, hour).
    thunder : (hour,) chance of thunder in the hour, percent; NaN where not told.
    issued : when the service made it, where the response says so.
    """

    weather: Weather
    thunder: Array
    lat: float
    lon: float
    issued: np.datetime64 | None = None


def parse(payload: object) -> Payload:
    """Hourly frame of a response of Open-Meteo or of a gridpoint, whichever it is.

    Raises
    ------
    PayloadError
        Where a part is missing, its unit unknown, or its values impossible.
    """
    if not isinstance(payload, Mapping):
        raise PayloadError("the response is not a weather record")
    if payload.get("error"):
        raise PayloadError(f"the service answers: {str(payload.get('reason', 'error'))[:200]}")
    properties = payload.get("properties")
    if "hourly" in payload:
        return open_meteo(payload)
    if isinstance(properties, Mapping) and "periods" in properties:
        return nws_hourly(payload)
    if isinstance(properties, Mapping) and "quantitativePrecipitation" in properties:
        return nws_gridpoint(payload)
    raise PayloadError("the response has neither Open-Meteo's hourly part nor gridpoint layers")


def open_meteo(payload: Mapping[str, Any]) -> Payload:
    """Frame of Open-Meteo's forecast, ensemble or archive; (member, 1, label - 1).

    The hour that begins at label t takes rain, gust and sun of label t + 1, and the mean of the
    instants t and t + 1 for temperature, humidity and wind. So the last label ends the frame.
    """
    hourly, units = _part(payload, "hourly"), _part(payload, "hourly_units")
    times = _labels(hourly, _number(payload.get("utc_offset_seconds", 0), "utc_offset_seconds"))
    members = _members(hourly)
    values = {
        name: np.array([_series(hourly, units, key + m, kind, len(times)) for m in members])
        for name, (key, kind) in OPEN_METEO.items()
    }
    for name in NEEDED:
        if np.isnan(values[name]).all():
            raise PayloadError(f"{OPEN_METEO[name][0]} is missing")
    lat, lon = (_number(payload.get(k), k) for k in ("latitude", "longitude"))
    hours = {
        n: (v[:, 1:] if n in BEFORE else (v[:, :-1] + v[:, 1:]) / 2) for n, v in values.items()
    }
    cloud = _series(hourly, units, "cloud_cover", "share", len(times))
    code = _series(hourly, units, "weather_code", None, len(times))[1:]
    thunder = np.where(np.isnan(code), np.nan, np.where(np.isin(code, THUNDER_CODES), 100.0, 0.0))
    return Payload(
        weather=frame(times[0], hours, (cloud[:-1] + cloud[1:]) / 2, lat, lon),
        thunder=thunder,
        lat=lat,
        lon=lon,
    )


def nws_gridpoint(payload: Mapping[str, Any]) -> Payload:
    """Frame of a raw gridpoint; (1, 1, hour) over the hours that its temperature covers."""
    layers = _part(payload, "properties")
    first, hours = _span(_part(layers, GRIDPOINT["temp"][0]))
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
        weather=frame(first, values, cloud, lat, lon),
        thunder=_layer(layers, "probabilityOfThunder", None, first, hours),
        lat=lat,
        lon=lon,
        issued=_instant(layers.get("updateTime"), "updateTime"),
    )


def nws_hourly(payload: Mapping[str, Any]) -> Payload:
    """Frame of the hourly text forecast: temperature, humidity and wind; rain is unknown there."""
    part = _part(payload, "properties")
    periods = part["periods"]
    if not isinstance(periods, list) or not periods:
        raise PayloadError("the forecast has no periods")
    starts = [_instant(p.get("startTime"), "startTime") for p in periods]
    ends = [_instant(p.get("endTime"), "endTime") for p in periods]
    if any(b - a != HOUR for a, b in zip(starts, ends, strict=True)):
        raise PayloadError(
            "this is the twelve-hour text forecast; use the gridpoint (forecastGridData)"
        )
    first, hours = starts[0], int((ends[-1] - starts[0]) / HOUR)
    values = {n: np.full((1, hours), np.nan) for n in OPEN_METEO}
    for p, start in zip(periods, starts, strict=True):
        h = int((start - first) / HOUR)
        unit = str(p.get("temperatureUnit"))
        values["temp"][0, h] = _converted(_optional(p.get("temperature")), unit, "temp", "temp")
        for name, key in (("humidity", "relativeHumidity"), ("wind", "windSpeed"),
                          ("gust", "windGust")):  # fmt: skip
            values[name][0, h] = _quantity(p.get(key), OPEN_METEO[name][1], key)
    lat, lon = _middle(payload)
    nothing = np.full(hours, np.nan)
    return Payload(
        weather=frame(first, values, nothing, lat, lon),
        thunder=nothing,
        lat=lat,
        lon=lon,
        issued=_instant(part.get("updateTime"), "updateTime"),
    )


def frame(
    first: np.datetime64, values: Mapping[str, Array], cloud: Array, lat: float, lon: float
) -> Weather:
    """Weather of one site; radiation that was not told is taken from cloud and flagged."""
    shape = values["temp"].shape
    full = {n: values.get(n, np.full(shape, np.nan)) for n in OPEN_METEO}
    for name, (low, high) in RANGE.items():
        bad = (full[name] < low) | (full[name] > high)
        if bad.any():
            at = np.argwhere(bad)[0]
            raise PayloadError(
                f"{name} {full[name][tuple(at)]:g} at {first + HOUR * int(at[1])} is impossible"
            )
    full["humidity"] = np.minimum(full["humidity"], 100.0)
    dark = np.isnan(full["radiation"])
    if dark.any():
        guess = cloudy_radiation(first + np.arange(shape[1]) * HOUR, cloud, lat=lat, lon=lon)
        full["radiation"] = np.where(dark, guess, full["radiation"])
    return Weather(
        start=np.datetime64(first, "h"),
        **{n: v[:, None, :] for n, v in full.items()},
        estimated=(dark & np.isfinite(full["radiation"]))[:, None, :],
    )


def _part(payload: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    part = payload.get(key)
    if not isinstance(part, Mapping):
        raise PayloadError(f"{key} is missing")
    return part


def _number(value: object, name: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise PayloadError(f"{name} is missing")
    return float(value)


def _optional(value: object) -> float:
    return np.nan if value is None else _number(value, "a value")


def _converted(values: Any, unit: str, kind: str, name: str) -> Any:
    """Values in the frame's unit, from a unit as the service writes it."""
    word = unit.rpartition(":")[2]
    if word not in UNITS[kind]:
        raise PayloadError(f'{name} is in "{unit}", a unit that is not known here')
    factor, offset = UNITS[kind][word]
    return values * factor + offset


def _quantity(value: object, kind: str, name: str) -> float:
    """A number from {unitCode, value} or from text such as '5 to 10 mph' (its upper end)."""
    if value is None:
        return np.nan
    if isinstance(value, Mapping):
        code = str(value.get("unitCode"))
        return float(_converted(_optional(value.get("value")), code, kind, name))
    m = re.fullmatch(r"(?:\d+ to )?(\d+(?:\.\d+)?) ?(\S+)", str(value))
    if m is None:
        raise PayloadError(f'{name} "{str(value)[:40]}" cannot be read')
    return float(_converted(float(m[1]), m[2], kind, name))


def _labels(hourly: Mapping[str, Any], offset_s: float) -> NDArray[np.datetime64]:
    """Labels in UTC; they must be whole hours, one after the other."""
    texts = hourly.get("time")
    if not isinstance(texts, list) or not 2 <= len(texts) <= MOST_HOURS:
        raise PayloadError("hourly.time is missing")
    try:
        if all(isinstance(t, (int, float)) for t in texts):
            local = np.array(texts, dtype="datetime64[s]")
        else:
            local = np.array(texts, dtype="datetime64[s]") - np.timedelta64(int(offset_s), "s")
    except (ValueError, TypeError):
        raise PayloadError("hourly.time holds a text that is no time") from None
    times = local.astype("datetime64[h]")
    if np.isnat(local).any() or (times != local).any() or (np.diff(times) != HOUR).any():
        raise PayloadError("hourly.time is not hour after hour")
    return times


def _members(hourly: Mapping[str, Any]) -> list[str]:
    """Suffixes of the members' names, the control's (none) first."""
    key = OPEN_METEO["temp"][0]
    own = [k[len(key) :] for k in hourly if re.fullmatch(rf"{key}_member\d+", k)]
    suffixes = [""] * (key in hourly) + sorted(own)
    if not suffixes:
        raise PayloadError(f"{key} is missing")
    return suffixes


def _series(
    hourly: Mapping[str, Any], units: Mapping[str, Any], key: str, kind: str | None, length: int
) -> Array:
    """One series in the frame's unit, nulls as NaN; all NaN where the response has none."""
    values = hourly.get(key)
    if values is None:
        return np.full(length, np.nan)
    if not isinstance(values, Sequence) or len(values) != length:
        raise PayloadError(f"{key} has not one value for each label")
    try:
        out = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
    except (ValueError, TypeError):
        raise PayloadError(f"{key} holds something that is no number") from None
    if kind is None or np.isnan(out).all():
        return out
    return np.asarray(_converted(out, str(units.get(key)), kind, key), dtype=np.float64)


def iso_interval(text: object) -> tuple[np.datetime64, int]:
    """First hour and whole hours (at least 1) of an ISO-8601 interval such as .../PT6H."""
    begin, _, length = str(text).partition("/")
    m = _ISO.fullmatch(length)
    if m is None or length in ("P", ""):
        raise PayloadError(f'"{str(text)[:60]}" is no interval of time')
    weeks, days, hours, minutes, _ = (int(g or 0) for g in m.groups())
    start = _instant(begin, "validTime")
    assert start is not None
    whole = 24 * (7 * weeks + days) + hours + (minutes >= 30)
    return start, max(1, whole)


def _span(layer: Mapping[str, Any]) -> tuple[np.datetime64, int]:
    """First hour and number of hours that a layer's values cover."""
    steps = [iso_interval(v.get("validTime")) for v in _values(layer, "temperature")]
    if not steps:
        raise PayloadError("temperature is missing")
    first = min(s for s, _ in steps)
    hours = max(int((s - first) / HOUR) + n for s, n in steps)
    if hours > MOST_HOURS:
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
        value = _optional(step.get("value"))
        out[max(a, 0) : max(a + n, 0)] = value / n if kind == "depth" else value
    if kind is None or np.isnan(out).all():
        return out
    return np.asarray(_converted(out, str(layer.get("uom")), kind, key), dtype=np.float64)


def _instant(text: object, name: str) -> Any:
    """The hour of a time with its offset, datetime64[h] UTC; None where absent."""
    if text is None:
        return None
    m = re.fullmatch(r"(\d{4}-\d\d-\d\dT\d\d:\d\d)(?::\d\d(?:\.\d+)?)?(Z|[+-]\d\d:\d\d)", str(text))
    if m is None:
        raise PayloadError(f'{name} "{str(text)[:40]}" is no time')
    offset = 0
    if m[2] != "Z":
        sign = -1 if m[2][0] == "-" else 1
        offset = sign * (60 * int(m[2][1:3]) + int(m[2][4:]))
    try:
        at = np.datetime64(m[1], "m") - np.timedelta64(offset, "m")
    except ValueError:
        raise PayloadError(f'{name} "{text}" is no time') from None
    return at.astype("datetime64[h]")


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
