"""Responses of Open-Meteo: forecast, ensemble and archive.

Rain, gust and radiation at a label belong to the hour before it, the other variables to that
instant (documentation of its API).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import HOUR
from readiness.sources.payload import (
    MAX_HOURS,
    REQUIRED,
    Payload,
    PayloadError,
    UnitKind,
    parse_series,
    required_number,
    required_object,
    site_weather,
)

#: Name of each variable of the frame in `hourly`, and the kind of its unit.
HOURLY_NAMES: Mapping[str, tuple[str, UnitKind]] = {
    "rain": ("precipitation", "depth"),
    "temp": ("temperature_2m", "temp"),
    "humidity": ("relative_humidity_2m", "share"),
    "wind": ("wind_speed_10m", "speed"),
    "gust": ("wind_gusts_10m", "speed"),
    "radiation": ("shortwave_radiation", "flux"),
}
#: Variables whose value at a label belongs to the hour before it.
PRECEDING_HOUR = ("rain", "gust", "radiation")
#: WMO weather codes of a thunderstorm.
THUNDER_CODES = (95, 96, 99)


def parse_open_meteo(payload: Mapping[str, Any]) -> Payload:
    """Frame of a response, (member, 1, label - 1).

    The hour that begins at label t takes rain, gust and radiation of label t + 1, and the mean of
    the instants t and t + 1 of temperature, humidity and wind. So the last label ends the frame.
    """
    hourly, units = required_object(payload, "hourly"), required_object(payload, "hourly_units")
    offset = required_number(payload.get("utc_offset_seconds", 0), "utc_offset_seconds")
    times = _labels(hourly, offset)
    members = _member_suffixes(hourly)
    values = {
        name: np.array([parse_series(hourly, units, key + m, kind, len(times)) for m in members])
        for name, (key, kind) in HOURLY_NAMES.items()
    }
    for name in REQUIRED:
        if np.isnan(values[name]).all():
            raise PayloadError(f"{HOURLY_NAMES[name][0]} is missing")
    lat, lon = (required_number(payload.get(k), k) for k in ("latitude", "longitude"))
    hours = {
        n: (v[:, 1:] if n in PRECEDING_HOUR else (v[:, :-1] + v[:, 1:]) / 2)
        for n, v in values.items()
    }
    cloud = parse_series(hourly, units, "cloud_cover", "share", len(times))
    code = parse_series(hourly, units, "weather_code", None, len(times))[1:]
    thunder = np.where(np.isnan(code), np.nan, np.where(np.isin(code, THUNDER_CODES), 100.0, 0.0))
    return Payload(
        weather=site_weather(times[0], hours, (cloud[:-1] + cloud[1:]) / 2, lat, lon),
        thunder=thunder,
        lat=lat,
        lon=lon,
    )


def _labels(hourly: Mapping[str, Any], offset_s: float) -> NDArray[np.datetime64]:
    """Labels in UTC; PayloadError unless they are successive whole hours."""
    texts = hourly.get("time")
    if not isinstance(texts, list) or not 2 <= len(texts) <= MAX_HOURS:
        raise PayloadError("hourly.time is missing")
    try:
        if all(isinstance(t, (int, float)) for t in texts):
            utc = np.array(texts, dtype="datetime64[s]")
        else:
            utc = np.array(texts, dtype="datetime64[s]") - np.timedelta64(int(offset_s), "s")
    except (ValueError, TypeError):
        raise PayloadError("hourly.time holds a text that is not a time") from None
    times = utc.astype("datetime64[h]")
    if np.isnat(utc).any() or (times != utc).any() or (np.diff(times) != HOUR).any():
        raise PayloadError("hourly.time does not hold successive whole hours")
    return times


def _member_suffixes(hourly: Mapping[str, Any]) -> list[str]:
    """Suffixes of the members' names; that of the control, none, comes first."""
    key = HOURLY_NAMES["temp"][0]
    numbered = [k[len(key) :] for k in hourly if re.fullmatch(rf"{key}_member\d+", k)]
    suffixes = [""] * (key in hourly) + sorted(numbered)
    if not suffixes:
        raise PayloadError(f"{key} is missing")
    return suffixes
