"""Reason codes of a plan: what opens a field, what decides its place, what leaves it out."""

from __future__ import annotations

from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from readiness.season.codes import Reason
from readiness.season.simulate import Season
from scheduler.explanation.crew_clock import Run
from scheduler.explanation.timing import first_hour
from scheduler.farm.slots import farm_time, utc_hour
from scheduler.orders.decision import Decision
from scheduler.orders.model import Alternative
from scheduler.orders.reasons import LeftOutKind, LeftOutReason, OrderReason, Otherwise
from scheduler.windows.model_inputs import season_rows
from scheduler.work_tables.compile import FarmWork

#: Room below which a delivery point is full, t.
TINY_T = 1e-6


def order_reason(
    work: FarmWork,
    season: Season,
    row: int,
    begin: datetime,
    alternative: Alternative | None,
    done: float,
    waits_pct: float | None,
) -> OrderReason:
    """What opens the field of an order, what it waits for, and the cheapest change to the order.

    Parameters
    ----------
    row : the field's row in `season`.
    begin : start in the member printed, farm time.
    done : share of members in which the crew gets to the field.
    waits_pct : start moisture for which the crew waits; None where it does not.
    """
    closed_by, opens = _last_closed(work, season, row, begin)
    allowed = season_rows(work.farm)[row][0].not_before
    if allowed is not None:
        allowed = allowed.astimezone(work.farm.tz)
    cheapest, swap_with, cost = _cheapest(alternative)
    return OrderReason(
        done=done,
        closed_by=closed_by,
        opens=opens,
        allowed_from=allowed if allowed and allowed.date() == begin.date() else None,
        waits_pct=waits_pct,
        cheapest=cheapest,
        swap_with=swap_with,
        cost=cost,
    )


def waits_for(decision: Decision, run: Run, member: int, k: int) -> float | None:
    """Start moisture for which a crew waits at a field that it could cut; None where it does not.

    None too where no delivery point takes grain as wet as that: then the crew waits for the buyer.
    Looks at the slots of the starting day between the crew's arrival, or the begin of its hours,
    and its start.
    """
    tables, j = decision.work.tables, run.job
    first = int(run.cuts.slot[0])
    free = np.flatnonzero(
        tables.works[k]
        & (tables.day == tables.day[first])
        & (np.arange(len(tables.day)) * tables.slot_min >= run.earliest)
    )
    before = free[free < first]
    start = float(decision.policy.start[0 if tables.day[first] == tables.day[0] else 1, j])
    if start >= decision.work.farm.wettest_taken(decision.work.field(j).crop):
        return None
    wet = tables.wet[member, before, j]
    return start if (np.isfinite(wet) & (wet > start)).any() else None


def _cheapest(alternative: Alternative | None) -> tuple[Otherwise | None, str, float]:
    """The cheapest swap, with which field, and its price; leaving the field where there is none."""
    if alternative is None:
        return None, "", 0.0
    swaps = (
        (Otherwise.LATER, alternative.later_with, alternative.later),
        (Otherwise.EARLIER, alternative.earlier_with, alternative.earlier),
        (Otherwise.OTHER_CREW, "", alternative.other_crew),
    )
    priced = [(kind, field, cost) for kind, field, cost in swaps if cost is not None]
    if priced:
        return min(priced, key=lambda swap: swap[2])
    if alternative.leave is not None:
        return Otherwise.LEAVE, "", alternative.leave
    return None, "", 0.0


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


def _dry_enough(work: FarmWork, j: int) -> bool:
    """Whether the grain of job `j` is dry enough for some delivery point in some hour."""
    crop = work.field(j).crop
    wettest = max(p.markets[crop].moisture_limit_pct for p in work.farm.points if crop in p.markets)
    return bool((work.standing_loss.moisture[:, work.jobs[j].row] <= wettest).any())


def left_out_reason(decision: Decision, season: Season, j: int) -> LeftOutReason:
    """What keeps job `j` out of everybody's orders.

    The first of these: its dates leave no hour; it lies in swaths that no combine of a crew picks
    up; the points that buy the crop are full, or do not
    take its quality; the field does not open; no point takes the grain in an hour in which the
    field is open; no truck hauls to one that does; other fields fill the points that take it;
    other work pays more.
    """
    work, tables = decision.work, decision.work.tables
    if not work.standing_loss.allowed[work.jobs[j].row].any():
        return LeftOutReason(kind=LeftOutKind.DATES)
    combines = [c for crew in work.makeup for c in crew.combines]
    if all(c.in_field(work.field(j)) is None for c in combines):
        return LeftOutReason(kind=LeftOutKind.NO_PICKUP)
    crop = work.field(j).crop
    buyers = [q for q, p in enumerate(work.farm.points) if crop in p.markets]
    if (tables.room[buyers] <= 0.0).all():
        return LeftOutReason(kind=LeftOutKind.FULL)
    if np.isnan(tables.loss[:, :, j, buyers]).all() and _dry_enough(work, j):
        return LeftOutReason(kind=LeftOutKind.QUALITY)
    open_here = np.isfinite(tables.wet[:, :, j])
    works = tables.works.any(axis=0)
    if not (open_here & works).any():
        ahead = season.reason[:, :, first_hour(work, season) :]
        codes: NDArray[np.uint8] = ahead[:, work.jobs[j].row][:, work.standing_loss.hour[works]]
        shut = codes[codes != Reason.OPEN]
        if shut.size:
            cause = Reason(int(np.bincount(shut.ravel()).argmax()))
            return LeftOutReason(kind=LeftOutKind.CLOSED, closed_by=cause)
    if np.isnan(tables.loss[:, :, j][open_here]).all():
        return LeftOutReason(kind=LeftOutKind.TURNED_AWAY)
    takers = np.flatnonzero(tables.accepts[:, j].any(axis=0))
    if not takers.size:
        return LeftOutReason(kind=LeftOutKind.NO_DELIVERY_POINT)
    if (decision.outcome.state.room[:, takers] <= TINY_T).all(axis=1).mean() > 0.5:
        return LeftOutReason(kind=LeftOutKind.FILLED)
    return LeftOutReason(kind=LeftOutKind.LOSES_MORE_ELSEWHERE)
