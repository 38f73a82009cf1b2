"""One response of a weather service as an hourly frame: units, nulls and physical range."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

import numpy as np

from readiness.atmosphere.gaps import cloudy_radiation
from readiness.atmosphere.weather import HOUR, VARIABLES, Array, Weather

UnitKind = Literal["depth", "temp", "share", "speed", "flux"]
Amount = TypeVar("Amount", float, Array)
#: Variables that a forecast must have.
REQUIRED = ("rain", "temp")
#: (factor, offset) to mm, °C, percent, m/s and W/m², by kind and by the unit's name in a response.
UNIT_CONVERSIONS: Mapping[UnitKind, Mapping[str, tuple[float, float]]] = {
    "depth": {
        "mm": (1.0, 0.0),
        "inch": (25.4, 0.0),
        "in": (25.4, 0.0),
        "m": (1000.0, 0.0),
        "kg_m-2": (1.0, 0.0),
        "cm": (10.0, 0.0),
    },
    "temp": {
        "°C": (1.0, 0.0),
        "degC": (1.0, 0.0),
        "C": (1.0, 0.0),
        "K": (1.0, -273.15),
        "°F": (5 / 9, -160 / 9),
        "degF": (5 / 9, -160 / 9),
        "F": (5 / 9, -160 / 9),
    },
    "share": {"%": (1.0, 0.0), "percent": (1.0, 0.0)},
    "speed": {
        "km/h": (1 / 3.6, 0.0),
        "km_h-1": (1 / 3.6, 0.0),
        "m/s": (1.0, 0.0),
        "m_s-1": (1.0, 0.0),
        "mp/h": (0.44704, 0.0),
        "mph": (0.44704, 0.0),
        "kn": (1852 / 3600, 0.0),
        "kt": (1852 / 3600, 0.0),
    },
    "flux": {"W/m²": (1.0, 0.0), "W/m2": (1.0, 0.0), "W_m-2": (1.0, 0.0)},
}
#: Physical range by variable; a value outside means a broken payload. Assumed: just beyond records.
PHYSICAL_RANGE = {
    "rain": (0.0, 400.0),
    "temp": (-70.0, 60.0),
    "humidity": (0.0, 105.0),
    "wind": (0.0, 120.0),
    "gust": (0.0, 150.0),
    "radiation": (0.0, 1500.0),
}
#: Longest span of a payload, h; assumed: ten years of records.
MAX_HOURS = 24 * 3660
#: Largest plausible number in a response; assumed.
LARGEST_NUMBER = 1e7


class PayloadError(ValueError):
    """A response does not have its documented form; the message says what is wrong."""


@dataclass(frozen=True, kw_only=True)
class Payload:
    """One response for one place.

    Attributes
    ----------
    weather : (member, 1, hour).
    thunder : (hour,) chance of thunder in the hour, percent; NaN where the response has none.
    lat, lon : degrees.
    issued : time of issue, datetime64[h] UTC, where the response states it.
    """

    weather: Weather
    thunder: Array
    lat: float
    lon: float
    issued: np.datetime64 | None = None


def site_weather(
    first: np.datetime64, values: Mapping[str, Array], cloud: Array, lat: float, lon: float
) -> Weather:
    """Weather of one site; unknown radiation is estimated from cloud and flagged.

    Parameters
    ----------
    first : first hour, datetime64[h], UTC.
    values : (member, hour) by variable, in units of the frame.
    cloud : (hour,) percent.

    Raises
    ------
    PayloadError
        Where a value lies outside its physical range.
    """
    shape = values["temp"].shape
    full = {n: values.get(n, np.full(shape, np.nan)) for n in VARIABLES}
    for name, (low, high) in PHYSICAL_RANGE.items():
        bad = (full[name] < low) | (full[name] > high)
        if bad.any():
            at = np.argwhere(bad)[0]
            raise PayloadError(
                f"{name} {full[name][tuple(at)]:g} at {first + HOUR * int(at[1])} is impossible"
            )
    full["humidity"] = np.minimum(full["humidity"], 100.0)
    unknown = np.isnan(full["radiation"])
    if unknown.any():
        estimate = cloudy_radiation(first + np.arange(shape[1]) * HOUR, cloud, lat=lat, lon=lon)
        full["radiation"] = np.where(unknown, estimate, full["radiation"])
    return Weather(
        start=first,
        **{n: v[:, None, :] for n, v in full.items()},
        estimated=(unknown & np.isfinite(full["radiation"]))[:, None, :],
    )


def required_object(payload: object, key: str) -> Mapping[str, Any]:
    """Object under a key; PayloadError where it is missing."""
    inner = payload.get(key) if isinstance(payload, Mapping) else None
    if not isinstance(inner, Mapping):
        raise PayloadError(f"{key} is missing")
    return inner


def required_number(value: object, name: str) -> float:
    """Value as a number; PayloadError where it is missing or implausible."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise PayloadError(f"{name} is missing")
    if not abs(value) < LARGEST_NUMBER:
        raise PayloadError(f"{name} {value} is impossible")
    return float(value)


def optional_number(value: object) -> float:
    """Value as a number, NaN where null."""
    return np.nan if value is None else required_number(value, "a value")


def in_frame_unit(values: Amount, unit: str, kind: UnitKind, name: str) -> Amount:
    """Values converted from a unit, as the service writes it, to the unit of the frame."""
    word = unit.rpartition(":")[2]
    if word not in UNIT_CONVERSIONS[kind]:
        raise PayloadError(f'{name} has the unknown unit "{unit}"')
    factor, offset = UNIT_CONVERSIONS[kind][word]
    return values * factor + offset


def parse_quantity(value: object, kind: UnitKind, name: str) -> float:
    """Number from {unitCode, value} or from text such as '5 to 10 mph' (its upper end)."""
    if value is None:
        return np.nan
    if isinstance(value, Mapping):
        unit = str(value.get("unitCode"))
        return in_frame_unit(optional_number(value.get("value")), unit, kind, name)
    m = re.fullmatch(r"(?:\d+ to )?(\d+(?:\.\d+)?) ?(\S+)", str(value))
    if m is None:
        raise PayloadError(f'{name} "{str(value)[:40]}" cannot be read')
    return in_frame_unit(float(m[1]), m[2], kind, name)


def parse_hour(text: object, name: str) -> np.datetime64 | None:
    """Hour of a time with a UTC offset, datetime64[h] UTC; None where null."""
    if text is None:
        return None
    m = re.fullmatch(r"(\d{4}-\d\d-\d\dT\d\d:\d\d)(?::\d\d(?:\.\d+)?)?(Z|[+-]\d\d:\d\d)", str(text))
    if m is None:
        raise PayloadError(f'{name} "{str(text)[:40]}" is not a time')
    offset = 0
    if m[2] != "Z":
        sign = -1 if m[2][0] == "-" else 1
        offset = sign * (60 * int(m[2][1:3]) + int(m[2][4:]))
    try:
        minute = np.datetime64(m[1], "m") - np.timedelta64(offset, "m")
    except ValueError:
        raise PayloadError(f'{name} "{text}" is not a time') from None
    hour: np.datetime64 = minute.astype("datetime64[h]")
    return hour


def required_hour(text: object, name: str) -> np.datetime64:
    """Hour of a time with a UTC offset; PayloadError where it is missing."""
    hour = parse_hour(text, name)
    if hour is None:
        raise PayloadError(f"{name} is missing")
    return hour


def parse_series(
    hourly: Mapping[str, Any],
    units: Mapping[str, Any],
    key: str,
    kind: UnitKind | None,
    length: int,
) -> Array:
    """One series in the frame's unit, (hour,), nulls as NaN; all NaN where the key is absent.

    Parameters
    ----------
    kind : None for a series without a unit.
    """
    values = hourly.get(key)
    if values is None:
        return np.full(length, np.nan)
    if not isinstance(values, Sequence) or len(values) != length:
        raise PayloadError(f"{key} does not hold one value per label")
    try:
        out = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
    except (ValueError, TypeError):
        raise PayloadError(f"{key} holds a value that is not a number") from None
    if kind is None or np.isnan(out).all():
        return out
    return in_frame_unit(out, str(units.get(key)), kind, key)
