"""Responses of public weather services into hourly frames; nothing is fetched here.

In Open-Meteo's responses rain, gusts and radiation at a label are of the hour before it, the other
variables of that instant (documentation of its API).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readiness.sources.nws import parse_gridpoint, parse_hourly_text, parse_observations
from readiness.sources.payload import (
    HOUR,
    MAX_HOURS,
    REQUIRED,
    Payload,
    PayloadError,
    parse_series,
    required_number,
    required_object,
    site_weather,
)

#: Names of the frame's variables in Open-Meteo's `hourly`, and the kind of unit each has.
OPEN_METEO = {
    "rain": ("precipitation", "depth"),
    "temp": ("temperature_2m", "temp"),
    "humidity": ("relative_humidity_2m", "share"),
    "wind": ("wind_speed_10m", "speed"),
    "gust": ("wind_gusts_10m", "speed"),
    "radiation": ("shortwave_radiation", "flux"),
}
#: Variables whose value at a label is of the hour before it.
BEFORE = ("rain", "gust", "radiation")
#: Open-Meteo's WMO weather codes for a thunderstorm.
THUNDER_CODES = (95, 96, 99)


def parse_response(payload: object) -> Payload:
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
        return parse_open_meteo(payload)
    if "features" in payload or (isinstance(properties, Mapping) and "timestamp" in properties):
        return parse_observations(payload)
    if isinstance(properties, Mapping) and "periods" in properties:
        return parse_hourly_text(payload)
    if isinstance(properties, Mapping) and "validTimes" in properties:
        return parse_gridpoint(payload)
    raise PayloadError("it is neither Open-Meteo's hourly form nor one of api.weather.gov")


def parse_open_meteo(payload: Mapping[str, Any]) -> Payload:
    """Frame of Open-Meteo's forecast, ensemble or archive; (member, 1, label - 1).

    The hour that begins at label t takes rain, gust and sun of label t + 1, and the mean of the
    instants t and t + 1 for temperature, humidity and wind. So the last label ends the frame.
    """
    hourly, units = required_object(payload, "hourly"), required_object(payload, "hourly_units")
    times = _labels(
        hourly, required_number(payload.get("utc_offset_seconds", 0), "utc_offset_seconds")
    )
    members = _members(hourly)
    values = {
        name: np.array([parse_series(hourly, units, key + m, kind, len(times)) for m in members])
        for name, (key, kind) in OPEN_METEO.items()
    }
    for name in REQUIRED:
        if np.isnan(values[name]).all():
            raise PayloadError(f"{OPEN_METEO[name][0]} is missing")
    lat, lon = (required_number(payload.get(k), k) for k in ("latitude", "longitude"))
    hours = {
        n: (v[:, 1:] if n in BEFORE else (v[:, :-1] + v[:, 1:]) / 2) for n, v in values.items()
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
    """Labels in UTC; they must be whole hours, one after the other."""
    texts = hourly.get("time")
    if not isinstance(texts, list) or not 2 <= len(texts) <= MAX_HOURS:
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
