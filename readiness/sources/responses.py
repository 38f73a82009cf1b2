"""Response of any known weather service as an hourly frame, and frames kept in a form of our own.

The form of our own is {"frame": {"start", "latitude", "longitude", variable: [[values of a member]]
}}: hours from `start` (UTC), in the units of `Weather`, null where unknown; `estimated` is 1 in
hours that hold estimates.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from readiness.atmosphere.weather import VARIABLES
from readiness.sources.nws import parse_gridpoint, parse_hourly_text, parse_observations
from readiness.sources.open_meteo import parse_open_meteo
from readiness.sources.payload import (
    MAX_HOURS,
    Payload,
    PayloadError,
    required_hour,
    required_number,
    required_object,
    site_weather,
)

#: Decimals of kept values: beyond what any instrument reads.
DECIMALS = 3


def parse_response(payload: object) -> Payload:
    """Recognise a response of Open-Meteo or of api.weather.gov, or a kept frame, and parse it.

    Raises
    ------
    PayloadError
        Where a part is missing, its unit unknown, or a value impossible.
    """
    if not isinstance(payload, Mapping):
        raise PayloadError("the response is not a weather record")
    if payload.get("error"):
        raise PayloadError(f"the service answers: {str(payload.get('reason', 'error'))[:200]}")
    if "frame" in payload:
        return parse_frame(payload)
    properties = payload.get("properties")
    if "hourly" in payload:
        return parse_open_meteo(payload)
    if "features" in payload or (isinstance(properties, Mapping) and "timestamp" in properties):
        return parse_observations(payload)
    if isinstance(properties, Mapping) and "periods" in properties:
        return parse_hourly_text(payload)
    if isinstance(properties, Mapping) and "validTimes" in properties:
        return parse_gridpoint(payload)
    raise PayloadError(
        "the response is neither in the hourly form of Open-Meteo nor in a form of api.weather.gov"
    )


def frame_payload(payload: Payload) -> dict[str, Any]:
    """A frame of one site in the form of our own, fit for JSON."""
    weather = payload.weather
    series = {
        name: [
            [round(float(v), DECIMALS) if np.isfinite(v) else None for v in member]
            for member in getattr(weather, name)[:, 0]
        ]
        for name in VARIABLES
    }
    estimated = weather.estimated[:, 0].astype(int).tolist()
    place = {"latitude": payload.lat, "longitude": payload.lon, "estimated": estimated}
    return {"frame": {"start": f"{weather.start.astype('datetime64[m]')}Z", **place, **series}}


def parse_frame(payload: Mapping[str, Any]) -> Payload:
    """The frame that `frame_payload` made."""
    kept = required_object(payload, "frame")
    lat, lon = (required_number(kept.get(k), k) for k in ("latitude", "longitude"))
    try:
        values = {name: np.array(kept.get(name), dtype=np.float64) for name in VARIABLES}
        estimated = np.array(kept.get("estimated"), dtype=np.float64) > 0.0
    except (ValueError, TypeError):
        raise PayloadError("the frame holds a value that is not a number") from None
    shape = values["temp"].shape
    if len(shape) != 2 or not 1 <= shape[1] <= MAX_HOURS:
        raise PayloadError("the frame has no hours")
    if any(v.shape != shape for v in (*values.values(), estimated)):
        raise PayloadError("the frame does not hold one value of each variable an hour")
    unknown = np.full(shape[1], np.nan)
    first = required_hour(kept.get("start"), "start")
    weather = site_weather(first, values, unknown, lat, lon)
    weather = replace(weather, estimated=weather.estimated | estimated[:, None])
    return Payload(weather=weather, thunder=unknown, lat=lat, lon=lon)
