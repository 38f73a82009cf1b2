"""Dates of maturity from the warmth since heading, where the farm gives no date."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from readiness.atmosphere.weather import Array, Weather
from readiness.grain.crops import CROPS
from scheduler.farm.model import Farm, Field
from scheduler.farm.slots import utc_hour
from scheduler.farm_files.dates import start_of_day

#: Days from heading after which a crop counts as ripe in any cold; assumed: frost ends its growth.
LONGEST_DAYS = 120


def with_ripe_dates(farm: Farm, past: Weather, ahead: Weather) -> Farm:
    """The farm with a date of maturity for each field that has only one of heading.

    Degree-days of the crop add up from heading through the past and the mean of the days ahead. A
    day without weather counts as the crop's published mean day.

    Parameters
    ----------
    past, ahead : weather of the fields, (member, field, hour); `ahead` follows `past`.
    """
    return replace(
        farm,
        fields=tuple(
            replace(f, ripe=_ripe_day(farm, f, _by_day(farm, past, i) | _by_day(farm, ahead, i)))
            if f.ripe is None and f.heading is not None
            else f
            for i, f in enumerate(farm.fields)
        ),
    )


def _by_day(farm: Farm, weather: Weather, i: int) -> dict[date, float]:
    """Mean temperature, °C, of each whole farm day of field i, over members."""
    out: dict[date, float] = {}
    temp: Array = weather.temp[:, i].mean(axis=0)
    first = weather.start.astype("datetime64[s]").item().date()
    for n in range(weather.shape[2] // 24 + 2):
        day = first + timedelta(days=n)
        begin, end = (
            int((utc_hour(start_of_day(d, farm.tz)) - weather.start).astype(int))
            for d in (day, day + timedelta(days=1))
        )
        hours = temp[max(begin, 0) : max(end, 0)]
        if begin >= 0 and end <= temp.size and np.isfinite(hours).all():
            out[day] = float(hours.mean())
    return out


def _ripe_day(farm: Farm, field: Field, warmth: dict[date, float]) -> date:
    """Day on which the degree-days since heading reach those of the crop."""
    crop = CROPS[field.crop]
    usual = crop.heat_units / crop.heading_to_ripe_days
    assert field.heading is not None
    day, left = field.heading, crop.heat_units
    while left > 0.0:
        mean = warmth.get(day)
        left -= usual if mean is None else max(mean - crop.heat_base, 0.0)
        day += timedelta(days=1)
        if (day - field.heading).days > LONGEST_DAYS:
            break
    return day
