"""Reason codes of a solved plan: what opens a field, what decides its place, what leaves it out."""

from __future__ import annotations

from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from readiness.season.codes import Reason
from readiness.season.simulate import Season
from scheduler.cut_tables.compiled import Compiled
from scheduler.explanation.timing import first_hour
from scheduler.farm.slots import farm_time, utc_hour
from scheduler.orders.model import Alternative
from scheduler.orders.reasons import LeftOutKind, LeftOutReason, OrderReason, Otherwise

#: Money from which a change to an order counts as costing something: what rounds to 1.
CHEAPEST_NAMED = 0.5


def order_reason(
    compiled: Compiled,
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
    closed_by, opens = _last_closed(compiled, season, row, begin)
    dearest, extra_loss = _dearest(alternative)
    return OrderReason(
        done=done, closed_by=closed_by, opens=opens, dearest=dearest, extra_loss=extra_loss
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
    compiled: Compiled, season: Season, row: int, begin: datetime
) -> tuple[Reason | None, datetime | None]:
    """The cause that last closed the field in most members on the day of `begin`, and its end."""
    hour = int((utc_hour(begin) - season.start).astype(int))
    codes = season.reason[:, row, : hour + 1]
    midnight = hour - begin.hour
    for h in range(hour - 1, max(0, midnight) - 1, -1):
        closed = codes[:, h] != Reason.OPEN
        if closed.mean() > 0.5:
            cause = Reason(int(np.bincount(codes[closed, h]).argmax()))
            return cause, farm_time(season.start + np.timedelta64(h + 1, "h"), compiled.farm.tz)
    return None, None


def left_out_reason(compiled: Compiled, season: Season, j: int) -> LeftOutReason:
    """What keeps job `j` out of everybody's orders."""
    if (compiled.point[:, :, j] < 0).all():
        return LeftOutReason(kind=LeftOutKind.NO_DELIVERY_POINT)
    can_finish = (compiled.tables.finish[:, :, j, 0] >= 0).any(axis=1).mean()
    if can_finish >= 0.5:
        return LeftOutReason(kind=LeftOutKind.LOSES_MORE_ELSEWHERE)
    ahead = season.reason[:, :, first_hour(compiled, season) :]
    codes: NDArray[np.uint8] = ahead[:, compiled.jobs[j].row]
    shut = codes[codes != Reason.OPEN]
    if not shut.size:
        return LeftOutReason(kind=LeftOutKind.TOO_LARGE)
    cause = Reason(int(np.bincount(shut.ravel()).argmax()))
    return LeftOutReason(kind=LeftOutKind.CLOSED, closed_by=cause)
