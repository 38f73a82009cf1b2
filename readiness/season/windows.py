"""Workable hours per field and local day: how many, how likely, from when, and why not more."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime, tzinfo

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array, Weather
from readiness.grain.crops import CROPS
from readiness.season.codes import Reason
from readiness.season.inputs import OperatingLimits, Stand
from readiness.season.kernel_arrays import RunState, begin, field_table
from readiness.season.simulate import Season, simulate
from readiness.soil.properties import Land

Count = NDArray[np.uint8]


@njit(cache=True, nogil=True)
def _count(reason, tier, day, clock, trafficable, lost, first):  # type: ignore[no-untyped-def]
    """Fill the counts of each local day; `lost[0]` gets the open hours."""
    members, n, hours = reason.shape
    for m in range(members):
        for f in range(n):
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
        """(member, field, day) hours of which nothing is known; they are not workable."""
        return np.asarray(self.hours_by_reason[Reason.UNKNOWN])

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
        never = np.where(np.isnan(self.first_open), np.inf, self.first_open)
        value = np.quantile(never, q, axis=0, method="higher")
        return np.where(np.isinf(value), np.nan, value).astype(np.float64)


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
    members, n, hours = season.reason.shape
    local = (
        np.asarray(season.start).astype("datetime64[s]")
        + 3600 * np.arange(hours)
        + utc_offsets(season.start, hours, tz)
    )
    date = local.astype("datetime64[D]")
    dates, day, counts = np.unique(date, return_inverse=True, return_counts=True)
    clock = ((local - date).astype(np.int64) / 3600.0).astype(np.float32)
    trafficable = np.zeros((members, n, len(dates)), dtype=np.uint8)
    lost = np.zeros((len(Reason), members, n, len(dates)), dtype=np.uint8)
    first = np.full((members, n, len(dates)), np.nan, dtype=np.float32)
    reason, tier = np.ascontiguousarray(season.reason), np.ascontiguousarray(season.tier)
    _count(reason, tier, day.astype(np.int64), clock, trafficable, lost, first)
    return DailyWindows(
        dates=dates, hours=counts, trafficable=trafficable, hours_by_reason=lost, first_open=first
    )


def block_windows(
    weather: Weather,
    land: Land,
    stand: Stand,
    limits: OperatingLimits,
    *,
    site: NDArray[np.int64],
    tz: tzinfo,
    block: int = 24,
    state: RunState | None = None,
    seed: int = 0,
) -> Iterator[tuple[slice, DailyWindows]]:
    """Daily windows of many fields, block by block, so that memory stays bounded.

    Parameters
    ----------
    weather : (member, site, hour) of all sites. land, stand, limits : of all fields.
    site : (field,) site of each field; fields of one site are best kept together.
    tz : farm time zone.
    block : fields run at once. Small blocks stay in memory that the process already holds.
    state, seed : as in `simulate`.

    Yields
    ------
    slice of fields, and their windows.
    """
    table = field_table(weather.times[0], land, stand, limits, CROPS)
    start = begin(state, table, land, stand, CROPS, members=weather.shape[0], seed=seed)
    for a in range(0, len(stand.crop), block):
        part = slice(a, min(a + block, len(stand.crop)))
        used, where = np.unique(site[part], return_inverse=True)
        season = simulate(
            weather.sites(used),
            replace(land, **{f.name: getattr(land, f.name)[part] for f in fields(land)}),
            replace(stand, crop=stand.crop[part], ripe=stand.ripe[part],
                    moisture=stand.moisture[part], limit=stand.limit[part]),
            replace(limits, approach=limits.approach[part], lightning=_of(limits.lightning, part)),
            state=start.fields(part),
            site=where.astype(np.int64),
        )  # fmt: skip
        yield part, daily_windows(season, tz=tz)


def _of(lightning: NDArray[np.bool_] | None, part: slice) -> NDArray[np.bool_] | None:
    if lightning is None or lightning.shape[1] == 1:
        return lightning
    return lightning[:, part]
