"""Following of orders in observed weather: crews leave half-cut fields and resume them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from readiness.atmosphere.weather import Array
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.standing_loss import wet_yield
from scheduler.cut_tables.compiled import Compiled

CrewOrders = Sequence[Sequence[int]]


@dataclass(kw_only=True)
class _CrewState:
    """State of a crew that follows its orders."""

    at: int  # a job, or the number of jobs for the base
    ready: int = 0  # slot from which the crew can work
    held: float = 0.0  # tonnes in carts and trucks
    day: int = -1  # day on which the crew last went through its orders from the top


def followed(compiled: Compiled, turns: Sequence[tuple[int, CrewOrders]]) -> Array:
    """Money lost by following orders slot by slot, (draw,).

    Each day a crew begins with the first of its jobs that can be cut. When that job is finished
    or its field closes, the crew goes to the next job that can be cut, and resumes the first on
    another day. Jobs in no order come last, in the order of the tables. Uncut area costs its
    share of the job's leave cost.

    Parameters
    ----------
    compiled
        Cut tables of the observed weather.
    turns
        The slot from which orders are in force, and the jobs of each crew in order.
    """
    standing_loss, jobs = compiled.standing_loss, compiled.jobs
    left = np.array([j.area_ha for j in jobs])
    loss = np.zeros(standing_loss.loss.shape[0])
    crews = [_CrewState(at=len(jobs)) for _ in compiled.makeup]
    turn = 0
    for s in range(len(standing_loss.slots)):
        while turn + 1 < len(turns) and turns[turn + 1][0] <= s:
            turn += 1
        taken = {c.at for c in crews if c.at < len(jobs) and left[c.at] > 0}
        for k, crew in enumerate(crews):
            order = list(dict.fromkeys([*turns[turn][1][k], *range(len(jobs))]))
            _choose(compiled, crew, k, order, left, s, taken)
            loss += _cut_slot(compiled, crew, k, left, s)
    share = left / np.array([j.area_ha for j in jobs])
    return loss + float(share @ standing_loss.leave_cost)


def _choose(
    compiled: Compiled,
    crew: _CrewState,
    k: int,
    order: Sequence[int],
    left: Array,
    s: int,
    taken: set[int],
) -> None:
    """Stay while the job can be cut; else go to the first job in order that can be."""
    can = compiled.can[0, k, :, s]
    if s < crew.ready or not can.any():
        return
    new_day = crew.day != compiled.standing_loss.day[s]
    here = crew.at < len(left) and left[crew.at] > 0 and can[crew.at]
    if here and not new_day:
        return
    free = (j for j in order if left[j] > 0 and can[j] and (j not in taken or j == crew.at))
    if (to := next(free, None)) is None:
        return
    crew.day = int(compiled.standing_loss.day[s])
    if to != crew.at:
        crew.ready = s + int(compiled.tables.move[k, crew.at, to])
        taken.discard(crew.at)
        taken.add(to)
        crew.at = to


def _cut_slot(compiled: Compiled, crew: _CrewState, k: int, left: Array, s: int) -> Array | float:
    """Cut for one slot; returns the money lost, (draw,)."""
    j, standing_loss = crew.at, compiled.standing_loss
    q = int(compiled.point[0, k, j, s]) if j < len(left) else -1
    if q < 0:
        return 0.0
    t_ha = wet_yield(compiled.field(j))
    most, out = compiled.slot_t(k, j, s, crew.held)
    area = 0.0
    if s >= crew.ready and left[j] > 0 and compiled.can[0, k, j, s]:
        area = min(most / t_ha, float(left[j]))
        left[j] -= area
    crew.held = max(0.0, crew.held + area * t_ha - out)
    if area <= 0.0:
        return 0.0
    money = standing_loss.loss[:, j, q, s]
    money = np.where(np.isnan(money), np.nanmean(money) if np.isfinite(money).any() else 0.0, money)
    edge = standing_loss.headland_only[0, compiled.jobs[j].row, s]
    rut = loss_terms(compiled.farm, compiled.field(j))["rut_ha"] if edge else 0.0
    return np.asarray(area * (np.maximum(money, 0.0) + rut))
