"""Dates of maturity from the warmth since heading, where the farm gives no date.

Planning, review, verification, rehearsal and what-if all ask here.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from readiness.atmosphere.weather import Array, Weather
from readiness.grain.crops import CROPS
from readiness.season.windows import local_times
from scheduler.farm.model import Farm, Field

#: Days from heading after which a crop counts as ripe in any cold; assumed: frost ends its growth.
LONGEST_DAYS = 120
ROUNDING = 1e-6  # degree-days by which sums of floats may fall short


def with_ripe_dates(farm: Farm, past: Weather, *ahead: Weather) -> Farm:
    """The farm with a date of maturity for each field that has only one of heading.

    Degree-days of the crop add up from heading through the past and the mean of the days ahead. A
    day without weather counts as the crop's published mean day.

    Parameters
    ----------
    past, ahead : weather of the fields, (member, field or 1, hour); `ahead` follows `past`.
    """
    unknown = [i for i, f in enumerate(farm.fields) if f.ripe is None and f.heading is not None]
    if not unknown:
        return farm
    site = [0] * len(unknown) if past.shape[1] == 1 else unknown
    temp = np.concatenate([w.temp[:, site].mean(axis=0) for w in (past, *ahead)], axis=1)
    days, means = _by_day(temp, past.start, farm.tz)
    fields = list(farm.fields)
    for i, warmth in zip(unknown, means, strict=True):
        known = {d: float(mean) for d, mean in zip(days, warmth, strict=True) if np.isfinite(mean)}
        fields[i] = replace(fields[i], ripe=_ripe_day(fields[i], known))
    return replace(farm, fields=tuple(fields))


def _by_day(temp: Array, start: np.datetime64, tz: ZoneInfo) -> tuple[list[date], Array]:
    """Farm days that begin in the hours, and means of `temp`, (field, day); NaN where not whole."""
    hours = temp.shape[1]
    if not hours:
        return [], np.empty((len(temp), 0))
    local = local_times(start, hours, tz)
    dates = local.astype("datetime64[D]")
    days, at, counts = np.unique(dates, return_index=True, return_counts=True)
    means = np.add.reduceat(temp, at, axis=1) / counts
    if local[0] > days[0]:
        means[:, 0] = np.nan
    if local[-1] + 3600 < days[-1] + 1:
        means[:, -1] = np.nan
    return days.tolist(), means


def _ripe_day(field: Field, warmth: dict[date, float]) -> date:
    """Day on which the degree-days since heading reach those of the crop."""
    crop = CROPS[field.crop]
    usual = crop.heat_units / crop.heading_to_ripe_days
    assert field.heading is not None
    day, left = field.heading, crop.heat_units
    while left > ROUNDING and (day - field.heading).days <= LONGEST_DAYS:
        mean = warmth.get(day)
        left -= usual if mean is None else max(mean - crop.heat_base, 0.0)
        day += timedelta(days=1)
    return day
