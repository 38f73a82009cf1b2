"""Land, stands, limits and weather of a few fields, shared by several tests."""

import numpy as np

from readiness.atmosphere.weather import Weather
from readiness.season.inputs import OperatingLimits, Stand
from readiness.soil.land import Land
from readiness.soil.running_gear import USUAL_CART, USUAL_COMBINE
from readiness.validation.grain_events import plausible_weather

START = np.datetime64("2024-08-10T06", "h")  # about midnight at 97 W
RIPE_SINCE = np.datetime64("2024-07-01T00", "h")


def land(fields=1, **changes):
    return Land.of(fields, **{"latitude": 48.0, "longitude": -97.0, "elevation_m": 300.0} | changes)


def stand(fields=1, crop="wheat_hard", *, ripe=RIPE_SINCE, moisture=np.nan, limit=18.0):
    return Stand(
        crop=(crop,) * fields,
        ripe=np.full(fields, ripe, dtype="datetime64[h]"),
        moisture=np.full(fields, moisture),
        limit=np.full(fields, limit),
        stream=np.arange(fields),
    )


def limits(fields=1, **changes):
    facts = {
        "combine": USUAL_COMBINE,
        "cart": USUAL_CART,
        "approach": np.zeros(fields, dtype=np.int64),
    }
    return OperatingLimits(**(facts | changes))


def weather(days=6, *, members=1, sites=1, showers=(), start=START, **kind):
    kind = {"temp": (14.0, 28.0), "dew_point": 12.0} | kind
    hours = plausible_weather(days, showers=showers, **kind)
    hours["gust"] = 1.5 * hours["wind"]
    shape = (members, sites, 24 * days)
    return Weather(
        start=start,
        estimated=np.zeros(shape, dtype=bool),
        **{name: np.broadcast_to(value, shape).copy() for name, value in hours.items()},
    )
