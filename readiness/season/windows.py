"""Workable hours by field and farm date: how many, how likely, from when, and the reasons."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.season.codes import Reason, Tier
from readiness.season.simulate import Season

Count = NDArray[np.uint8]
_HEADLAND_ONLY, _FIRM, _OPEN = int(Tier.HEADLAND_ONLY), int(Tier.FIRM), int(Reason.OPEN)


@njit(cache=True, nogil=True)
def _count(reason, tier, day, clock, trafficable, by_reason, first_open):  # type: ignore[no-untyped-def]
    """Fill the counts and the first open clock hour of each farm date."""
    members, n, hours = reason.shape
    for m in range(members):
        for f in range(n):
            for h in range(hours):
                d = day[h]
                r = reason[m, f, h]
                by_reason[r, m, f, d] += 1
                if tier[m, f, h] == _HEADLAND_ONLY or tier[m, f, h] == _FIRM:
                    trafficable[m, f, d] += 1
                if r == _OPEN and np.isnan(first_open[m, f, d]):
                    first_open[m, f, d] = clock[h]


@dataclass(frozen=True, kw_only=True)
class DailyWindows:
    """Counts of hours by farm date.

    A date has 23 or 25 hours when clocks change, and fewer at either end of the season.

    Attributes
    ----------
    dates : (day,) datetime64[D], farm dates.
    hours : (day,) hours of each date that the season covers.
    trafficable : (member, field, day) hours in which combines may drive.
    hours_by_reason : (reason, member, field, day) hours; row `Reason.OPEN` is harvestable.
    first_open : (member, field, day) farm clock hour of the first harvestable hour; NaN for none.
    """

    dates: NDArray[np.datetime64]
    hours: NDArray[np.int64]
    trafficable: Count
    hours_by_reason: Count
    first_open: NDArray[np.float32]

    @property
    def harvestable(self) -> Count:
        """(member, field, day) hours that can be cut."""
        return np.asarray(self.hours_by_reason[Reason.OPEN])

    @property
    def unknown(self) -> Count:
        """(member, field, day) hours with unknown weather, ground or grain; never workable."""
        return np.asarray(self.hours_by_reason[Reason.UNKNOWN])

    def chance(self, hours: float) -> Array:
        """Share of members with at least `hours` harvestable hours, (field, day)."""
        return np.asarray((self.harvestable >= hours).mean(axis=0), dtype=np.float64)

    def quantile(self, q: float) -> Array:
        """Quantile over members of harvestable hours, (field, day)."""
        return np.asarray(np.quantile(self.harvestable, q, axis=0), dtype=np.float64)

    def first_hour(self, q: float) -> Array:
        """Quantile over members of the first harvestable clock hour, (field, day).

        A member without a harvestable hour counts as infinitely late; NaN where the quantile is
        such a member.
        """
        late = np.where(np.isnan(self.first_open), np.inf, self.first_open)
        value = np.quantile(late, q, axis=0, method="higher")
        return np.where(np.isinf(value), np.nan, value).astype(np.float64)


def utc_offsets(start: np.datetime64, hours: int, tz: tzinfo) -> NDArray[np.int64]:
    """Offset of farm time from UTC in seconds for each hour from `start`, (hour,)."""
    first = int(np.asarray(start).astype("datetime64[s]").astype(np.int64))
    out = np.empty(hours, dtype=np.int64)
    for h in range(hours):
        offset = datetime.fromtimestamp(first + 3600 * h, UTC).astimezone(tz).utcoffset()
        out[h] = 0 if offset is None else int(offset.total_seconds())
    return out


def local_times(start: np.datetime64, hours: int, tz: tzinfo) -> NDArray[np.datetime64]:
    """Farm time of each hour from `start`, (hour,), datetime64[s]."""
    first = np.asarray(start).astype("datetime64[s]")
    return np.asarray(first + 3600 * np.arange(hours) + utc_offsets(start, hours, tz))


def daily_windows(season: Season, *, tz: tzinfo) -> DailyWindows:
    """Group the hours of a season by farm date.

    An hour belongs to the date on which it starts in farm time, so that the days on which clocks
    change keep their 23 or 25 hours.

    Parameters
    ----------
    season : result of a run.
    tz : farm time zone.
    """
    members, n, hours = season.reason.shape
    local = local_times(season.start, hours, tz)
    date = local.astype("datetime64[D]")
    dates, day, counts = np.unique(date, return_inverse=True, return_counts=True)
    clock = ((local - date).astype(np.int64) / 3600.0).astype(np.float32)
    trafficable = np.zeros((members, n, len(dates)), dtype=np.uint8)
    by_reason = np.zeros((len(Reason), members, n, len(dates)), dtype=np.uint8)
    first_open = np.full((members, n, len(dates)), np.nan, dtype=np.float32)
    reason, tier = np.ascontiguousarray(season.reason), np.ascontiguousarray(season.tier)
    _count(reason, tier, day.astype(np.int64), clock, trafficable, by_reason, first_open)
    return DailyWindows(
        dates=dates,
        hours=counts,
        trafficable=trafficable,
        hours_by_reason=by_reason,
        first_open=first_open,
    )
