"""One response of a weather service as an hourly frame: its units, its nulls, its range."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from readiness.atmosphere.gaps import cloudy_radiation
from readiness.atmosphere.weather import VARIABLES, Array, Weather

#: Without these there is no forecast.
REQUIRED = ("rain", "temp")
#: (factor, offset) to mm, °C, percent, m/s and W/m², by kind and by the unit's written name.
UNITS: Mapping[str, Mapping[str, tuple[float, float]]] = {
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
#: Physical range by variable; values outside are a broken payload. Assumed: just beyond records.
PHYSICAL_RANGE = {
    "rain": (0.0, 400.0),
    "temp": (-70.0, 60.0),
    "humidity": (0.0, 105.0),
    "wind": (0.0, 120.0),
    "gust": (0.0, 150.0),
    "radiation": (0.0, 1500.0),
}
#: Most hours a payload may span; assumed: ten years of records.
MAX_HOURS = 24 * 3660
#: Largest number anywhere in a response that is believed; assumed.
LARGEST_NUMBER = 1e7
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


def site_weather(
    first: np.datetime64, values: Mapping[str, Array], cloud: Array, lat: float, lon: float
) -> Weather:
    """Weather of one site; radiation that was not told is taken from cloud and flagged."""
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
    dark = np.isnan(full["radiation"])
    if dark.any():
        guess = cloudy_radiation(first + np.arange(shape[1]) * HOUR, cloud, lat=lat, lon=lon)
        full["radiation"] = np.where(dark, guess, full["radiation"])
    return Weather(
        start=first,
        **{n: v[:, None, :] for n, v in full.items()},
        estimated=(dark & np.isfinite(full["radiation"]))[:, None, :],
    )


def required_object(payload: object, key: str) -> Mapping[str, Any]:
    """An object inside an object."""
    inner = payload.get(key) if isinstance(payload, Mapping) else None
    if not isinstance(inner, Mapping):
        raise PayloadError(f"{key} is missing")
    return inner


def required_number(value: object, name: str) -> float:
    """A number that must be there."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise PayloadError(f"{name} is missing")
    if not abs(value) < LARGEST_NUMBER:
        raise PayloadError(f"{name} {value} is impossible")
    return float(value)


def optional_number(value: object) -> float:
    """A number, NaN where null."""
    return np.nan if value is None else required_number(value, "a value")


def in_frame_unit(values: Any, unit: str, kind: str, name: str) -> Any:
    """Values in the frame's unit, from a unit as the service writes it."""
    word = unit.rpartition(":")[2]
    if word not in UNITS[kind]:
        raise PayloadError(f'{name} is in "{unit}", a unit that is not known here')
    factor, offset = UNITS[kind][word]
    return values * factor + offset


def parse_quantity(value: object, kind: str, name: str) -> float:
    """A number from {unitCode, value} or from text such as '5 to 10 mph' (its upper end)."""
    if value is None:
        return np.nan
    if isinstance(value, Mapping):
        code = str(value.get("unitCode"))
        return float(in_frame_unit(optional_number(value.get("value")), code, kind, name))
    m = re.fullmatch(r"(?:\d+ to )?(\d+(?:\.\d+)?) ?(\S+)", str(value))
    if m is None:
        raise PayloadError(f'{name} "{str(value)[:40]}" cannot be read')
    return float(in_frame_unit(float(m[1]), m[2], kind, name))


def parse_hour(text: object, name: str) -> Any:
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


def parse_series(
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
    return np.asarray(in_frame_unit(out, str(units.get(key)), kind, key), dtype=np.float64)
