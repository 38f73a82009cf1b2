"""Reason codes of a plan: what opens a field, what decides its place, what leaves it out."""

from __future__ import annotations

from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from readiness.season.codes import Reason
from readiness.season.simulate import Season
from scheduler.explanation.timing import first_hour
from scheduler.farm.slots import farm_time, utc_hour
from scheduler.orders.model import Alternative
from scheduler.orders.reasons import LeftOutKind, LeftOutReason, OrderReason, Otherwise
from scheduler.windows.model_inputs import season_rows
from scheduler.work_tables.compile import FarmWork

#: Money from which a change to an order counts as costing something: what rounds to 1.
CHEAPEST_NAMED = 0.5


def order_reason(
    work: FarmWork,
    season: Season,
    row: int,
    begin: datetime,
    alternative: Alternative | None,
    done: float,
) -> OrderReason:
    """What opens the field of an order, and the costliest change to the order.

    Parameters
    ----------
    row : the field's row in `season`.
    begin : median start, farm time.
    done : share of members in which the crew gets to the field.
    """
    closed_by, opens = _last_closed(work, season, row, begin)
    dearest, extra_loss = _dearest(alternative)
    allowed = season_rows(work.farm)[row][0].not_before
    if allowed is not None:
        allowed = allowed.astimezone(work.farm.tz)
    return OrderReason(
        done=done,
        closed_by=closed_by,
        opens=opens,
        allowed_from=allowed if allowed and allowed.date() == begin.date() else None,
        dearest=dearest,
        extra_loss=extra_loss,
    )


def _dearest(alternative: Alternative | None) -> tuple[Otherwise | None, float]:
    """The costliest swap; leaving the field where no swap costs money."""
    if alternative is None:
        return None, 0.0
    swaps = {
        Otherwise.LATER: alternative.later,
        Otherwise.EARLIER: alternative.earlier,
        Otherwise.OTHER_CREW: alternative.other_crew,
    }
    losses = {k: v for k, v in swaps.items() if v is not None and v > CHEAPEST_NAMED}
    if losses:
        dearest = max(losses, key=lambda k: losses[k])
        return dearest, losses[dearest]
    if alternative.leave is not None:
        return Otherwise.LEAVE, alternative.leave
    return None, 0.0


def _last_closed(
    work: FarmWork, season: Season, row: int, begin: datetime
) -> tuple[Reason | None, datetime | None]:
    """The cause that last closed the field in most members on the day of `begin`, and its end."""
    hour = int((utc_hour(begin) - season.start).astype(int))
    codes = season.reason[:, row, : hour + 1]
    midnight = hour - begin.hour
    for h in range(hour - 1, max(0, midnight) - 1, -1):
        closed = codes[:, h] != Reason.OPEN
        if closed.mean() > 0.5:
            cause = Reason(int(np.bincount(codes[closed, h]).argmax()))
            return cause, farm_time(season.start + np.timedelta64(h + 1, "h"), work.farm.tz)
    return None, None


def left_out_reason(work: FarmWork, season: Season, j: int) -> LeftOutReason:
    """What keeps job `j` out of everybody's orders.

    The first of these: its dates leave no hour; no delivery point buys the crop; the field does
    not open; no point takes the grain in an hour in which the field is open; other work pays more.
    """
    tables = work.tables
    if not work.standing_loss.allowed[work.jobs[j].row].any():
        return LeftOutReason(kind=LeftOutKind.DATES)
    if not tables.accepts[:, j].any():
        return LeftOutReason(kind=LeftOutKind.NO_DELIVERY_POINT)
    open_here = np.isfinite(tables.wet[:, :, j])
    works = tables.works.any(axis=0)
    if not (open_here & works).any():
        ahead = season.reason[:, :, first_hour(work, season) :]
        codes: NDArray[np.uint8] = ahead[:, work.jobs[j].row][:, work.standing_loss.hour[works]]
        shut = codes[codes != Reason.OPEN]
        if shut.size:
            cause = Reason(int(np.bincount(shut.ravel()).argmax()))
            return LeftOutReason(kind=LeftOutKind.CLOSED, closed_by=cause)
    if (tables.point[:, :, :, j][:, open_here] < 0).all():
        return LeftOutReason(kind=LeftOutKind.TURNED_AWAY)
    return LeftOutReason(kind=LeftOutKind.LOSES_MORE_ELSEWHERE)
