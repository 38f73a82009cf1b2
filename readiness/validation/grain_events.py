"""Published drying and wetting of standing grain, against the model in plausible weather.

The weather is made up to fit each statement ('a hot afternoon', 'a damp climate'), because the
sources print outcomes and not weather. The ear's shares of the drying constants were chosen once
so that all statements hold; so these are a consistency check, not a validation. `wet_grain` holds
the checks of rain, dew and sprouting.
"""

from __future__ import annotations

import numpy as np

from readiness.atmosphere.weather import Array
from readiness.grain.crops import CROPS, Crop
from readiness.grain.moisture import standing_grain
from readiness.validation.published_check import PublishedCheck


def plausible_weather(
    days: int,
    *,
    temp: tuple[float, float],
    dew_point: float,
    wind: tuple[float, float] = (4.0, 1.5),
    noon: float = 750.0,
    showers: tuple[tuple[int, float], ...] = (),
) -> dict[str, Array]:
    """Smooth summer days from midnight on, (hour,), as `moisture.standing_grain` takes them.

    Parameters
    ----------
    days : number of days.
    temp : lowest (5 h) and highest (15 h) temperature, °C.
    dew_point : °C, constant; humidity is capped at 98 %.
    wind : by day and by night, m/s.
    noon : radiation at noon, W/m².
    showers : (hour, mm) pairs; the air is at 92 % or more in that hour and the next.
    """
    hour = np.arange(24 * days)
    clock = hour % 24
    since = np.where(clock < 5, clock + 24, clock)
    rising = 1.0 - np.cos(np.pi * (clock - 5) / 10.0)
    falling = 1.0 + np.cos(np.pi * (since - 15) / 14.0)
    swing = np.where((clock >= 5) & (clock < 15), rising, falling) / 2.0
    t = temp[0] + (temp[1] - temp[0]) * swing
    vapour = np.exp(17.27 * dew_point / (dew_point + 237.3) - 17.27 * t / (t + 237.3))
    humidity = np.minimum(100.0 * vapour, 98.0)
    sun = np.where((clock >= 5) & (clock < 20), np.sin(np.pi * (clock - 5.0) / 14.5), 0.0)
    sun = np.maximum(sun, 0.0)
    rain = np.zeros(len(hour))
    for at, mm in showers:
        rain[at] += mm
        humidity[at : at + 2] = np.maximum(humidity[at : at + 2], 92.0)
    return {
        "rain": rain,
        "temp": t,
        "humidity": humidity,
        "wind": wind[1] + (wind[0] - wind[1]) * sun,
        "radiation": noon * sun,
    }


def first_at_or_below(moisture: Array, limit: float) -> float:
    """Hours until moisture first reaches `limit`, interpolated; NaN where it never does."""
    below = np.flatnonzero(moisture <= limit)
    if not below.size:
        return float("nan")
    h = int(below[0])
    if h == 0 or moisture[h - 1] <= limit:
        return float(h + 1)
    return h + float((moisture[h - 1] - limit) / (moisture[h - 1] - moisture[h]))


def _after(weather: dict[str, Array], hour: int) -> dict[str, Array]:
    """Weather from an hour on."""
    return {name: value[hour:] for name, value in weather.items()}


def _rate_20_to_14(crop: Crop) -> float:
    """Points per day from 20 % to the first afternoon (15 h) at 14 %, July, some showers."""
    weather = plausible_weather(
        14, temp=(17.5, 28.5), dew_point=16.5, showers=((88, 4.0), (161, 6.0), (232, 5.0))
    )
    afternoon = standing_grain(weather, crop, start=20.0)["moisture"][15::24]
    days = np.interp(14.0, afternoon[::-1], np.arange(len(afternoon))[::-1] + 0.6)
    return float(6.0 / days)


def _dewy_night(crop: Crop) -> float:
    """Points gained from 13 % over a clear calm night near saturation, 19 h to 7 h."""
    weather = plausible_weather(2, temp=(14.0, 24.0), dew_point=13.5, wind=(3.0, 1.5), noon=700.0)
    night = _after(weather, 19)
    return float(standing_grain(night, crop, start=13.0)["moisture"][:12].max() - 13.0)


def _damp_swing(crop: Crop) -> float:
    """Points between the wettest and driest hour of a fine day after a dewy night, maritime."""
    weather = plausible_weather(6, temp=(11.0, 21.0), dew_point=12.0, wind=(3.5, 1.5), noon=650.0)
    day = standing_grain(weather, crop, start=17.0)["moisture"][96:]
    return float(day[:24].max() - day[:24].min())


def _hot_hours(crop: Crop) -> float:
    """Hours from 20 to 13 % from 8 h of a hot, dry, windy day."""
    weather = plausible_weather(3, temp=(20.0, 37.0), dew_point=11.0, wind=(6.0, 2.5), noon=900.0)
    return first_at_or_below(standing_grain(_after(weather, 8), crop, start=20.0)["moisture"], 13.0)


def _nine_days(crop: Crop) -> float:
    """Moisture at 15 h after nine days with 0.58 in (14.7 mm) in three rains, from 12 %."""
    weather = plausible_weather(
        10,
        temp=(16.0, 26.0),
        dew_point=15.0,
        wind=(3.5, 1.5),
        noon=600.0,
        showers=((39, 5.0), (99, 5.0), (185, 4.7)),
    )
    return float(standing_grain(weather, crop, start=12.0)["moisture"][9 * 24 + 15])


def _hours_to_limit_error(crop: Crop) -> float:
    """Largest shift of the hour at which 14.5 % is reached after a dewy night, hours.

    Between the crop's isotherms of one edition, and between samples that lie one standard error
    (1.1 points) apart.
    """
    weather = _after(plausible_weather(3, temp=(15.0, 28.0), dew_point=14.0, wind=(4.0, 1.5)), 7)

    def hours(variant: Crop, start: float) -> float:
        return first_at_or_below(standing_grain(weather, variant, start=start)["moisture"], 14.5)

    reached = [hours(crop, 16.5), hours(crop, 15.4), hours(crop, 17.6)]
    for other in crop.isotherms[1:]:
        if other.edition == crop.isotherm.edition:
            reached.append(hours(crop.with_isotherm(edition=other.edition, form=other.form), 16.5))
    return float(np.max(reached) - np.min(reached)) / 2.0


def grain_checks() -> list[PublishedCheck]:
    """Published statements with the model's values, hard wheat."""
    crop = CROPS["wheat_hard"]
    return [
        PublishedCheck(
            name="20 to 14 %, normal summer weather",
            unit="points/day",
            low=0.7,
            high=1.5,
            value=_rate_20_to_14(crop),
            source="Ohio State: about 1 point a day",
        ),
        PublishedCheck(
            name="dewy night",
            unit="points",
            low=2.0,
            high=4.4,
            value=_dewy_night(crop),
            source="Lu & Siebenmorgen 1994 (rice): up to 4 points overnight",
        ),
        PublishedCheck(
            name="swing within a day, damp climate",
            unit="points",
            low=4.5,
            high=7.5,
            value=_damp_swing(crop),
            source="Great Britain, trade source 1995: about 6 points",
        ),
        PublishedCheck(
            name="20 to 13 %, hot afternoon",
            unit="h",
            low=6.0,
            high=32.0,
            value=_hot_hours(crop),
            source="common practice: within a day or so",
        ),
        PublishedCheck(
            name="0.58 in of rain over nine days, from 12 %",
            unit="%",
            low=13.0,
            high=15.0,
            value=_nine_days(crop),
            source="Ohio State: 14 %",
        ),
        PublishedCheck(
            name="hours to reach 14.5 %: model and sample error",
            unit="h",
            low=0.0,
            high=2.0,
            value=_hours_to_limit_error(crop),
            source="Atzema 1992 after Bruck & van Elderen: at most 2 h",
        ),
    ]
