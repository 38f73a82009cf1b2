"""Hours ahead: what each field may still get on each day, as outputs show it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, time
from math import isnan
from typing import Any

import numpy as np

from readiness.season.codes import Reason
from readiness.season.simulate import Season
from readiness.season.windows import DailyWindows, daily_windows
from scheduler.farm.model import Farm
from scheduler.farm.wording import REASON_TEXT, one_line
from scheduler.farm.working_time import crew_slots, utc_hour
from scheduler.windows.model_inputs import season_rows

HOLLOW = "wet hollow"  # name of the parcel that is a wet hollow
WORTHWHILE_H = 4.0  # hours a day that are worth moving a crew; assumed, half a usual cutting day
SHORTEST_H = 8  # a last day cut shorter than this by the end of the forecast is not shown; assumed
UNKNOWN_SHARE = 0.5  # share of a day's hours that may be unknown before its count is; assumed


@dataclass(frozen=True, kw_only=True)
class DayHours:
    """One row of the season on one day, hours over members; `cut` is None where unknown."""

    drive: float  # median trafficable hours, day and night
    cut: float | None  # median harvestable hours while a crew works
    low: float
    high: float  # 10th and 90th percentile of the same
    chance: float  # of at least the hours asked for
    first: time | None  # median first hour
    lost_to: str  # largest cause of lost hours


def from_now(season: Season, now: datetime) -> Season:
    """The season from the hour of `now` on."""
    skip = max(0, int((utc_hour(now) - season.start).astype(int)))
    whole = {f.name: getattr(season, f.name) for f in fields(season)}
    arrays: dict[str, Any] = {
        name: value[:, :, skip:] for name, value in whole.items() if isinstance(value, np.ndarray)
    }
    return replace(season, start=season.start + np.timedelta64(skip, "h"), **arrays)


def within_working_hours(farm: Farm, season: Season) -> Season:
    """The season with the hours closed in which no crew works."""
    times = season.start + np.arange(season.reason.shape[2]) * np.timedelta64(1, "h")
    works = np.any([crew_slots(c, times, farm.tz) for c in farm.crews], axis=0)
    shut = np.where(works, season.reason, np.uint8(Reason.NIGHT)).astype(np.uint8)
    return replace(season, reason=np.where(season.reason == Reason.OPEN, shut, season.reason))


def row_of(farm: Farm, field: str, parcel: str) -> int:
    """Row of the season that holds a parcel of a field; both are ids."""
    wanted = (field, parcel == HOLLOW)
    return [(f.id, hollow) for f, hollow in season_rows(farm)].index(wanted)


def row_title(farm: Farm, row: int) -> str:
    """'Home quarter (F01)' for a row of the season, the hollow named."""
    field, hollow = season_rows(farm)[row]
    name = one_line(field.name) or one_line(field.id)
    title = name if name == field.id else f"{name} ({one_line(field.id)})"
    return f"{title}, {HOLLOW}" if hollow else title


def hours_by_day(
    farm: Farm,
    season: Season,
    *,
    now: datetime,
    least_h: float = WORTHWHILE_H,
    causes: Mapping[int, str] = REASON_TEXT,
) -> dict[date, list[DayHours]]:
    """For each day from today, every row of the season; of today only the hours left.

    `causes` are the words for the codes of the season's reasons.
    """
    left = from_now(season, now)
    windows, worked = (
        daily_windows(left, tz=farm.tz),
        daily_windows(within_working_hours(farm, left), tz=farm.tz),
    )
    shown = [d for d, h in enumerate(windows.hours) if d == 0 or h >= SHORTEST_H]
    figures = {
        "drive": np.median(windows.trafficable, axis=0),
        "cut": worked.quantile(0.5),
        "low": worked.quantile(0.1),
        "high": worked.quantile(0.9),
        "chance": worked.chance(least_h),
        "first": worked.first_hour(0.5),
    }
    return {
        windows.dates[d].astype(object): [
            _day_hours(windows, {k: float(v[row, d]) for k, v in figures.items()}, row, d, causes)
            for row in range(windows.trafficable.shape[1])
        ]
        for d in shown
    }


def _day_hours(
    windows: DailyWindows, figures: dict[str, float], row: int, d: int, causes: Mapping[int, str]
) -> DayHours:
    lost = windows.hours_by_reason[1:, :, row, d].mean(axis=1)
    if lost[: Reason.NIGHT - 1].any():  # the last: every day has a night, other causes are news
        lost = lost[: Reason.NIGHT - 1]
    unknown = windows.unknown[:, row, d].mean() > UNKNOWN_SHARE * windows.hours[d]
    clock = figures["first"]
    return DayHours(
        drive=figures["drive"],
        cut=None if unknown else figures["cut"],
        low=figures["low"],
        high=figures["high"],
        chance=figures["chance"],
        first=None if isnan(clock) else time(int(clock), round(clock % 1 * 60)),
        lost_to=causes[1 + int(lost.argmax())] if lost.any() else "",
    )
