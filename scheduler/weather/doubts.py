"""Where the weather of a plan is not a forecast for this farm."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

#: Age from which a forecast is called old, h; assumed: two missed runs of an ensemble.
OLD_FORECAST_H = 12.0


@dataclass(frozen=True, kw_only=True)
class WeatherDoubts:
    """What a plan's weather lacks.

    Attributes
    ----------
    past_stored : whether soil and grain start from recorded weather; else from a stand-in.
    outlook_stored : whether days after the forecast follow recorded weather; else made-up weather.
    hole : begin and end of the hours that the forecast leaves out, farm time; None for no hole.
    elsewhere_km : distance of the forecast's place from the farthest field, where the user chose a
        forecast for a place far away; else None.
    """

    past_stored: bool = True
    outlook_stored: bool = True
    hole: tuple[datetime, datetime] | None = None
    elsewhere_km: float | None = None
