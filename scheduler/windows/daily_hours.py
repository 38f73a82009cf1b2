"""Workable hours ahead: what each field may get on each day of the forecast."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, time
from math import isnan

import numpy as np

from readiness.atmosphere.weather import HOUR
from readiness.season.codes import OtherWorkReason, Reason
from readiness.season.simulate import Season
from readiness.season.windows import DailyWindows, daily_windows, local_times
from scheduler.farm.model import Farm
from scheduler.farm.opening_hours import down_slots
from scheduler.farm.slots import utc_hour
from scheduler.farm.working_time import crew_slots
from scheduler.language.translation import N_
from scheduler.windows.day_figures import WORTHWHILE_H, DayFigures
from scheduler.windows.model_inputs import season_rows

HOLLOW = N_("wet hollow")  # name of the parcel that is a wet hollow
#: Hours below which the forecast's last day, cut short by its end, is left out; assumed.
SHORTEST_DAY_H = 8
UNKNOWN_SHARE = 0.5  # share of a day's hours above which unknown hours hide its count; assumed


@dataclass(frozen=True, kw_only=True)
class DayHours(DayFigures):
    """Hours of a day, with the cause of most lost hours; None where no hour is lost."""

    lost_to: Reason | OtherWorkReason | None


def from_now(season: Season, now: datetime) -> Season:
    """The season from the hour of `now` on."""
    return season.between(max(0, int((utc_hour(now) - season.start).astype(int))))


def within_working_hours(farm: Farm, season: Season) -> Season:
    """The season with the hours closed in which no crew works, or a field may not be cut."""
    times = season.start + np.arange(season.reason.shape[2]) * HOUR
    works = np.any([crew_slots(c, times, farm.tz) for c in farm.crews], axis=0)
    allowed = np.array([~down_slots(f.barred, times) for f, _ in season_rows(farm)])
    closed = np.where(works & allowed, season.reason, np.uint8(Reason.NIGHT)).astype(np.uint8)
    return replace(season, reason=np.where(season.reason == Reason.OPEN, closed, season.reason))


def within_buyers_limits(farm: Farm, season: Season) -> Season:
    """The season with the hours closed in which no delivery point takes the grain as it is.

    A crop that nobody buys keeps its hours: the field can be cut all the same.
    """
    limit = [farm.wettest_taken(field.crop) for field, _ in season_rows(farm)]
    refused = (season.reason == Reason.OPEN) & (season.moisture > np.array(limit)[:, None])
    return replace(season, reason=np.where(refused, np.uint8(Reason.GRAIN), season.reason))


def row_of(farm: Farm, field: str, parcel: str) -> int:
    """Row of the season that holds a parcel of a field; both are ids."""
    wanted = (field, parcel == HOLLOW)
    return [(f.id, hollow) for f, hollow in season_rows(farm)].index(wanted)


def hours_by_day(
    farm: Farm,
    season: Season,
    *,
    now: datetime,
    codes: type[Reason] | type[OtherWorkReason] = Reason,
) -> dict[date, list[DayHours]]:
    """Hours of every row of the season on each day from today; of today only the hours left.

    Parameters
    ----------
    codes : meaning of the season's reasons: those of cutting, or of other work.
    """
    left = from_now(season, now)
    if codes is Reason:
        left = within_buyers_limits(farm, left)
    windows = daily_windows(left, tz=farm.tz)
    worked = daily_windows(within_working_hours(farm, left), tz=farm.tz)
    days = [d for d, hours in enumerate(windows.hours) if d == 0 or hours >= SHORTEST_DAY_H]
    figures = {
        "drive": np.median(windows.trafficable, axis=0),
        "cut": worked.quantile(0.5),
        "low": worked.quantile(0.1),
        "high": worked.quantile(0.9),
        "chance": worked.chance(WORTHWHILE_H),
        "first": worked.first_hour(0.5),
    }
    out: dict[date, list[DayHours]] = {}
    for d in days:
        out[windows.dates[d].astype(object)] = [
            _day_hours(
                {name: float(value[row, d]) for name, value in figures.items()},
                unknown=_mostly_unknown(windows, row, d),
                cause=_main_cause(windows, row, d),
                codes=codes,
            )
            for row in range(windows.trafficable.shape[1])
        ]
    return out


def some_field_hours(farm: Farm, season: Season, *, now: datetime) -> dict[date, tuple[int, int]]:
    """Hours of each day from today in which at least one field can be cut while a crew works.

    Returns
    -------
    By day, the 10th and 90th percentile over members, whole hours; of today only the hours left.
    """
    left = within_working_hours(farm, within_buyers_limits(farm, from_now(season, now)))
    some_open = (left.reason == Reason.OPEN).any(axis=1)
    dates = local_times(left.start, some_open.shape[1], farm.tz).astype("datetime64[D]")
    out: dict[date, tuple[int, int]] = {}
    for day in np.unique(dates):
        hours = some_open[:, dates == day]
        if day == dates[0] or hours.shape[1] >= SHORTEST_DAY_H:
            low, high = np.quantile(hours.sum(axis=1), [0.1, 0.9], method="inverted_cdf")
            out[day.astype(object)] = int(low), int(high)
    return out


def _day_hours(
    figures: dict[str, float],
    *,
    unknown: bool,
    cause: int | None,
    codes: type[Reason] | type[OtherWorkReason],
) -> DayHours:
    first = figures["first"]
    return DayHours(
        drive=figures["drive"],
        cut=None if unknown else figures["cut"],
        low=figures["low"],
        high=figures["high"],
        chance=figures["chance"],
        first=None if isnan(first) else time(int(first), round(first % 1 * 60)),
        lost_to=None if cause is None else codes(cause),
    )


def _mostly_unknown(windows: DailyWindows, row: int, d: int) -> bool:
    unknown = windows.unknown[:, row, d].mean()
    return bool(unknown > UNKNOWN_SHARE * windows.hours[d])


def _main_cause(windows: DailyWindows, row: int, d: int) -> int | None:
    """Code of the cause of most lost hours; night, which every day has, only if it is alone."""
    lost = windows.hours_by_reason[1:, :, row, d].mean(axis=1)
    if lost[: Reason.NIGHT - 1].any():
        lost = lost[: Reason.NIGHT - 1]
    return 1 + int(lost.argmax()) if lost.any() else None
