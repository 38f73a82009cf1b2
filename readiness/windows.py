"""Workable hours per field and local day: how many, how likely, from when, and why not more."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.season import Reason, Season
from readiness.weather import Array

Count = NDArray[np.uint8]


@njit(cache=True, nogil=True)
def _count(reason, tier, day, clock, trafficable, lost, first):  # type: ignore[no-untyped-def]
    """Fill the counts of each local day; `lost[0]` gets the open hours."""
    members, fields, hours = reason.shape
    for m in range(members):
        for f in range(fields):
            for h in range(hours):
                d = day[h]
                r = reason[m, f, h]
                lost[r, m, f, d] += 1
                if tier[m, f, h] == 1 or tier[m, f, h] == 2:
                    trafficable[m, f, d] += 1
                if r == 0 and np.isnan(first[m, f, d]):
                    first[m, f, d] = clock[h]


@dataclass(frozen=True, kw_only=True)
class DailyWindows:
    """Counts per local day; a day has 23 or 25 hours when clocks change, fewer at either end.

    Attributes
    ----------
    dates : (day,) datetime64[D], farm dates.
    hours : (day,) hours of each date that the season covers.
    trafficable : (member, field, day) hours in which combines may drive.
    lost : (reason, member, field, day) hours by `Reason`; row OPEN holds harvestable hours.
    first : (member, field, day) farm clock hour of the first harvestable hour; NaN for none.
    """

    dates: NDArray[np.datetime64]
    hours: NDArray[np.int64]
    trafficable: Count
    lost: Count
    first: NDArray[np.float32]

    @property
    def harvestable(self) -> Count:
        """(member, field, day) hours that can be cut."""
        return np.asarray(self.lost[Reason.OPEN])

    @property
    def unknown(self) -> Count:
        """(member, field, day) hours of which nothing is known; they are not workable."""
        return np.asarray(self.lost[Reason.UNKNOWN])

    def chance(self, hours: float) -> Array:
        """Share of members with at least `hours` harvestable hours, (field, day)."""
        return np.asarray((self.harvestable >= hours).mean(axis=0), dtype=np.float64)

    def quantile(self, q: float) -> Array:
        """Quantile over members of harvestable hours, (field, day)."""
        return np.asarray(np.quantile(self.harvestable, q, axis=0), dtype=np.float64)

    def first_hour(self, q: float) -> Array:
        """Quantile over members of the first harvestable clock hour, (field, day).

        Members without one count as never, so NaN means that quantile sees none that day.
        """
        never = np.where(np.isnan(self.first), np.inf, self.first)
        value = np.quantile(never, q, axis=0, method="higher")
        return np.where(np.isinf(value), np.nan, value).astype(np.float64)

    def lost_hours(self) -> dict[Reason, Array]:
        """Mean over members of the hours each cause took, (field, day), largest cause first."""
        mean = self.lost.mean(axis=1)
        causes = sorted(list(Reason)[1:], key=lambda r: -float(mean[r].sum()))
        return {r: np.asarray(mean[r], dtype=np.float64) for r in causes}


def utc_offsets(start: np.datetime64, hours: int, tz: tzinfo) -> NDArray[np.int64]:
    """Offset of farm time from UTC in seconds for each hour from `start`, (hour,)."""
    first = int(np.asarray(start).astype("datetime64[s]").astype(np.int64))
    out = np.empty(hours, dtype=np.int64)
    for h in range(hours):
        offset = datetime.fromtimestamp(first + 3600 * h, UTC).astimezone(tz).utcoffset()
        out[h] = 0 if offset is None else int(offset.total_seconds())
    return out


def daily_windows(season: Season, *, tz: tzinfo) -> DailyWindows:
    """Group the hours of a season by farm date.

    An hour belongs to the date on which it starts in farm time, so that the days on which clocks
    change keep their 23 or 25 hours.
    """
    members, fields, hours = season.reason.shape
    local = (
        np.asarray(season.start).astype("datetime64[s]")
        + 3600 * np.arange(hours)
        + utc_offsets(season.start, hours, tz)
    )
    date = local.astype("datetime64[D]")
    dates, day, counts = np.unique(date, return_inverse=True, return_counts=True)
    clock = ((local - date).astype(np.int64) / 3600.0).astype(np.float32)
    trafficable = np.zeros((members, fields, len(dates)), dtype=np.uint8)
    lost = np.zeros((len(Reason), members, fields, len(dates)), dtype=np.uint8)
    first = np.full((members, fields, len(dates)), np.nan, dtype=np.float32)
    reason, tier = np.ascontiguousarray(season.reason), np.ascontiguousarray(season.tier)
    _count(reason, tier, day.astype(np.int64), clock, trafficable, lost, first)
    return DailyWindows(dates=dates, hours=counts, trafficable=trafficable, lost=lost, first=first)
