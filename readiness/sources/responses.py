"""Response of any known weather service as an hourly frame."""

from __future__ import annotations

from collections.abc import Mapping

from readiness.sources.nws import parse_gridpoint, parse_hourly_text, parse_observations
from readiness.sources.open_meteo import parse_open_meteo
from readiness.sources.payload import Payload, PayloadError


def parse_response(payload: object) -> Payload:
    """Recognise a response of Open-Meteo or of api.weather.gov and parse it.

    Raises
    ------
    PayloadError
        Where a part is missing, its unit unknown, or a value impossible.
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
    raise PayloadError(
        "the response is neither in the hourly form of Open-Meteo nor in a form of api.weather.gov"
    )
