"""Times of each job of a plan in every member, and their spread over the members."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from readiness.atmosphere.weather import Array
from readiness.season.simulate import Season
from scheduler.cut_tables.compiled import Compiled
from scheduler.farm.slots import SLOT_MIN, farm_time
from scheduler.orders.model import Spread, TimeSpread
from scheduler.solver.tables import Int, Plan

#: Share of members from which the median member gets a job done.
MEDIAN_DONE = 0.5


@dataclass(frozen=True, kw_only=True)
class Timing:
    """Slots of one job, (member,); NaN where the member does not get the job done."""

    leave: Array
    begin: Array
    end: Array
    moisture: Array  # mean over the slots cut, percent
    edge: Array  # share of the slots cut in which carts stay at the edge
    cut: tuple[Int, ...]  # slots cut, by member


def timing(compiled: Compiled, plan: Plan, k: int, at: int) -> Timing:
    """Time the job at place `at` (from 0) of crew `k` in every member."""
    order, j = plan.orders[k], plan.orders[k][at]
    row, tables = compiled.jobs[j].row, compiled.tables
    out = np.full((5, plan.start.shape[0]), np.nan)
    slots = []
    for m in range(plan.start.shape[0]):
        s, e = int(plan.start[m, j]), int(plan.finish[m, j])
        cut = np.flatnonzero(compiled.can[m, k, j, s:e]) + s
        slots.append(cut)
        if not cut.size:
            continue
        before = next((i for i in reversed(order[:at]) if plan.finish[m, i] >= 0), None)
        free = tables.ready[k] if before is None else plan.finish[m, before]
        move = tables.move[k, len(compiled.jobs) if before is None else before, j]
        wet = compiled.standing_loss.moisture[m, row, compiled.standing_loss.hour[cut]].mean()
        edge = compiled.standing_loss.headland_only[m, row, cut].mean()
        out[:, m] = max(int(free), int(cut[0]) - int(move)), cut[0], e, wet, edge
    return Timing(
        leave=out[0], begin=out[1], end=out[2], moisture=out[3], edge=out[4], cut=tuple(slots)
    )


def slot_time(compiled: Compiled, slot: float) -> datetime:
    """Farm time of a slot; fractions and the end of the horizon are allowed."""
    return farm_time(compiled.standing_loss.slots[0], compiled.farm.tz) + timedelta(
        minutes=float(slot) * SLOT_MIN
    )


def spread(values: Array) -> Spread:
    """10th, 50th and 90th percentile over the members that have a value."""
    low, mid, high = np.nanpercentile(values, [10, 50, 90], method="inverted_cdf")
    return Spread(low=float(low), mid=float(mid), high=float(high))


def time_spread(compiled: Compiled, values: Array) -> TimeSpread:
    """10th, 50th and 90th percentile of slots, as farm times.

    A member that does not get the job done counts as the end of the horizon, unless most members
    do not: then only the members that do count.
    """
    done = np.isfinite(values)
    if done.mean() >= MEDIAN_DONE:
        values = np.where(done, values, len(compiled.standing_loss.slots))
    s = spread(values)
    return TimeSpread(
        low=slot_time(compiled, s.low),
        mid=slot_time(compiled, s.mid),
        high=slot_time(compiled, s.high),
    )


def chance(compiled: Compiled, when: Timing, start: datetime) -> float:
    """Share of members that begin on the day of `start` and end on the median last day."""
    end = (time_spread(compiled, when.end).mid - timedelta(seconds=1)).date()
    kept = [
        slot_time(compiled, b).date() == start.date()
        and slot_time(compiled, e - 0.01).date() == end
        for b, e in zip(when.begin, when.end, strict=True)
        if np.isfinite(b)
    ]
    return sum(kept) / len(when.begin)


def first_hour(compiled: Compiled, season: Season) -> int:
    """Hour of the season that holds the first slot."""
    return int((compiled.standing_loss.slots[0].astype("datetime64[h]") - season.start).astype(int))
