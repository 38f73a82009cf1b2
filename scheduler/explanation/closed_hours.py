"""What keeps all fields closed, and when the first one may open."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from readiness.atmosphere.weather import HOUR, Weather
from readiness.season.codes import Reason
from readiness.season.simulate import Season
from scheduler.farm.model import Farm
from scheduler.farm.slots import BoolArray, farm_time, utc_hour
from scheduler.orders.reasons import IdleNote
from scheduler.windows.daily_hours import within_working_hours

#: Share of members by whose opening a crew makes ready; assumed, the early end of the ranges that
#: stand beside clock times.
EARLY = 0.1


def idle_note(
    farm: Farm,
    season: Season,
    sky: Weather,
    *,
    now: datetime,
    until: datetime,
    starts: Sequence[datetime] = (),
) -> IdleNote:
    """Why nothing is cut from `now` until `until`, and when the first field may open.

    Parameters
    ----------
    season : closed in hours in which no delivery point takes the grain.
    sky : weather of the same hours.
    starts : starts of the crew's orders, farm time.
    """
    first = max(0, int((utc_hour(now) - season.start).astype(int)))
    stop = max(first + 1, int((utc_hour(until) - season.start).astype(int)))
    codes = within_working_hours(farm, season).reason[:, :, first:]
    span = codes[:, :, : stop - first]
    usually_open = (span == Reason.OPEN).any(axis=(1, 2)).mean() > 0.5
    shut = span[(span != Reason.OPEN) & (span != Reason.NIGHT)]
    rain = sky.rain[:, :, first:stop].sum(axis=2).mean(axis=1)
    return IdleNote(
        first_start=min((s for s in starts if s >= until), default=None),
        ordered=bool(starts),
        closed_by=None
        if usually_open or not shut.size
        else Reason(int(np.bincount(shut).argmax())),
        rain_mm=float(np.nanmedian(rain)) if np.isfinite(rain).any() else 0.0,
        opens=_first_open(farm, season, codes == Reason.OPEN, first),
    )


def _first_open(farm: Farm, season: Season, is_open: BoolArray, first: int) -> datetime | None:
    """Farm time by which some field is open in `EARLY` of the members; None where in fewer."""
    some: BoolArray = np.any(is_open, axis=1)
    hour = np.where(some.any(axis=1), some.argmax(axis=1), np.inf)
    early = float(np.quantile(hour, EARLY, method="inverted_cdf"))
    if not np.isfinite(early):
        return None
    return farm_time(season.start + (first + int(early)) * HOUR, farm.tz)
