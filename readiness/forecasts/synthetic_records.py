"""Made-up records for a place that has none."""

from __future__ import annotations

import numpy as np

from readiness.atmosphere.weather import VARIABLES, Weather

#: Length of the records, days; assumed: enough windows for every member.
DAYS = 120
#: Chance of rain after a dry and after a wet day, and mean rain of a wet day, mm; assumed: about
#: what a first-order Markov chain (Richardson 1981) gives for summer on the plains.
RAIN_AFTER_DRY, RAIN_AFTER_WET, WET_DAY_MM = 0.2, 0.4, 7.0
#: Standard deviation between days of temperature, °C, and of the logarithm of wind; assumed.
TEMP_SD, LOG_WIND_SD = 3.0, 0.3
#: Hours of a shower, hours of damp air from its start, and the humidity then, percent; assumed.
SHOWER_H, DAMP_H, DAMP_HUMIDITY = 4, 8, 95.0
#: Share of radiation that is left on a wet day; assumed.
WET_DAY_SUN = 0.5


def synthetic_records(forecast: Weather, *, seed: int = 0) -> Weather:
    """Repeat the first day of a forecast, with showers and day-to-day changes, as records.

    Returns
    -------
    Weather
        (1, site, 24 × `DAYS`), ending where the forecast begins; all flagged as estimated.
    """
    rng, days = np.random.default_rng((seed, 17)), DAYS
    sites, first = forecast.shape[1], min(24, forecast.shape[2])
    day = {n: getattr(forecast, n)[:, :, :first].mean(axis=0) for n in VARIABLES}
    rows = {n: np.tile(np.resize(v, (sites, 24)), (1, days))[None] for n, v in day.items()}
    rows["temp"] = rows["temp"] + rng.normal(0.0, TEMP_SD, days).repeat(24)
    wind = np.exp(rng.normal(0.0, LOG_WIND_SD, days)).repeat(24)
    rows["wind"], rows["gust"] = rows["wind"] * wind, rows["gust"] * wind
    rows["rain"], wet = np.zeros((1, sites, 24 * days)), False
    for d in range(days):
        wet = bool(rng.random() < (RAIN_AFTER_WET if wet else RAIN_AFTER_DRY))
        if wet:
            at = 24 * d + int(rng.integers(0, 17))
            rows["rain"][:, :, at : at + SHOWER_H] = rng.exponential(WET_DAY_MM) / SHOWER_H
            rows["humidity"][:, :, at : at + DAMP_H] = DAMP_HUMIDITY
            rows["radiation"][:, :, 24 * d : 24 * d + 24] *= WET_DAY_SUN
    return Weather(
        start=forecast.start - np.timedelta64(24 * days, "h"),
        **rows,
        estimated=np.ones((1, sites, 24 * days), dtype=np.bool_),
    )
