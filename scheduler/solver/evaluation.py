"""Evaluation of given orders: each is timed in every member, and its cost added up."""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numba import njit

from scheduler.solver.tables import MEAN, UNPROVED, CutTables, Int, Plan, objective_of


def evaluate(tables: CutTables, orders: Sequence[Sequence[int]], *, objective: str = MEAN) -> Plan:
    """Plan of given orders, one sequence of jobs per crew, each timed in every member.

    Jobs in no order are left. Nothing is proved: the bound is None, the status 'unproved'. `check`
    says whether the orders keep the locks.

    Raises
    ------
    ValueError
        Where a job does not exist, is named twice, or there is not one order per crew.
    """
    members, crews, jobs, slots = tables.shape
    rows = tuple(tuple(int(j) for j in o) for o in orders)
    named = [j for o in rows for j in o]
    if len(rows) != crews or len(set(named)) < len(named) or not set(named) <= set(range(jobs)):
        raise ValueError(f"orders: want {crews} sequences of different jobs below {jobs}")
    start = np.full((members, jobs), -1, np.int32)
    finish = np.full((members, jobs), -1, np.int32)
    left = tuple(j for j in range(jobs) if j not in set(named))
    money = np.full(members, float(tables.leave_cost[list(left)].sum()))
    m = np.arange(members)
    for k, row in enumerate(rows):
        free, at = np.full(members, tables.ready[k]), np.full(members, jobs)
        for j in row:
            s = free + tables.move[k, at, j]
            end = np.where(s < slots, tables.finish[m, k, j, np.minimum(s, slots - 1)], -1)
            done = end >= 0
            paid = tables.cost[m, k, j, np.minimum(s, slots - 1)]
            money += np.where(done, paid, tables.leave_cost[j])
            start[done, j], finish[done, j] = s[done], end[done]
            free, at = np.where(done, end, free), np.where(done, j, at)
    return Plan(
        orders=rows,
        left=left,
        member_cost=money,
        bound=None,
        status=UNPROVED,
        start=start,
        finish=finish,
        cost=objective_of(money, tables.weight, objective=objective),
    )


def state_after_locks(tables: CutTables, m: int) -> tuple[Int, Int, int]:
    """State of the crews after their locked jobs in member m.

    Returns
    -------
    begin : (crew,) slot at which each crew is free. stand : (crew,) job it did last, the number of
        jobs where it stands at its first place. paid : cost of all locked jobs.
    """
    _, crews, jobs, slots = tables.shape
    begin, stand, paid = tables.ready.astype(np.int64), np.full(crews, jobs), 0
    for k, first in enumerate(tables.prefixes):
        for j in first:
            s = int(begin[k] + tables.move[k, stand[k], j])
            end = int(tables.finish[m, k, j, s]) if s < slots else -1
            if end < 0:
                paid += int(tables.leave_cost[j])
            else:
                paid += int(tables.cost[m, k, j, s])
                begin[k], stand[k] = end, j
    return begin, stand, paid


@njit(nogil=True)
def weighted_objective(member_cost, weight, worst_share, used):
    """Weighted mean over members, or over the worst share of them by weight where below 1.

    `objective_of` for compiled code; `used` (member,) bool is workspace.
    """
    if worst_share >= 1.0:
        total = 0.0
        for m in range(member_cost.size):
            total += weight[m] * member_cost[m]
        return total
    for m in range(member_cost.size):
        used[m] = False
    rest, total = worst_share, 0.0
    while rest > 1e-12:
        top = -1
        for m in range(member_cost.size):
            if not used[m] and (top < 0 or member_cost[m] > member_cost[top]):
                top = m
        if top < 0:
            break
        used[top] = True
        part = weight[top] if weight[top] < rest else rest
        total += part * member_cost[top]
        rest -= part
    return total / (worst_share - rest)
