"""Every order of a small farm, by branching, over all members."""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

import numpy as np
from numba import njit

from scheduler.solver.annealing import objective_in
from scheduler.solver.evaluation import evaluate, state_after_locks
from scheduler.solver.tables import MEAN, WORST_SHARE, CutTables, Plan

#: Branches looked at before giving up; assumed, about two seconds for thirty members.
BRANCHES = 3_000_000


@njit(cache=True, nogil=True)
def _branch(finish, cost, move, leave, weight, worst, begin, stand, paid0, least, ceiling, budget,
            used, best, time, at, paid, crew, token, rest, total, spare):  # fmt: skip
    """Walk through all orders, crew by crew; token `jobs` closes a crew's order.

    begin, stand (member, crew): states after the locked jobs, paid0 (member,) their cost; least
    (job,): no plan pays less for the job; used (job,): locked. `best` takes the tokens of the
    best plan below `ceiling`; returns how many, -1 if there is none, and whether all was seen
    within `budget` branches. From `time` on: working space, token all -1.
    """
    members, crews, jobs, slots = finish.shape
    count = -1
    for m in range(members):
        time[0, m], at[0, m], paid[0, m] = begin[m, 0], stand[m, 0], paid0[m]
    for j in range(jobs):
        if not used[j]:
            rest[0] += least[j]
    depth, seen = 0, 0
    while depth >= 0:
        if 0 <= token[depth] < jobs:
            used[token[depth]] = False
        token[depth] += 1
        j = token[depth]
        if j > jobs:
            depth -= 1
            continue
        if j < jobs and used[j]:
            token[depth] = j
            # a used job stays used: step over it without freeing it
            while j < jobs and used[j]:
                j += 1
            token[depth] = j
        k = crew[depth]
        seen += 1
        if seen > budget:
            return count, False
        if j == jobs and k == crews - 1:
            left = 0.0
            for i in range(jobs):
                if not used[i]:
                    left += leave[i]
            for m in range(members):
                total[m] = paid[depth, m] + left
            value = objective_in(total, weight, worst, spare)
            if value < ceiling:
                ceiling, count = value, depth + 1
                for d in range(count):
                    best[d] = token[d]
            continue
        for m in range(members):
            if j == jobs:
                time[depth + 1, m] = begin[m, k + 1]
                at[depth + 1, m] = stand[m, k + 1]
                paid[depth + 1, m] = paid[depth, m]
                continue
            t, i = time[depth, m], at[depth, m]
            s = t + move[k, i, j]
            end = finish[m, k, j, s] if s < slots else -1
            time[depth + 1, m] = end if end >= 0 else t
            at[depth + 1, m] = j if end >= 0 else i
            paid[depth + 1, m] = paid[depth, m] + (cost[m, k, j, s] if end >= 0 else leave[j])
        rest[depth + 1] = rest[depth] - (least[j] if j < jobs else 0.0)
        if objective_in(paid[depth + 1], weight, worst, spare) + rest[depth + 1] >= ceiling:
            continue
        if j < jobs:
            used[j] = True
        crew[depth + 1] = k + (1 if j == jobs else 0)
        depth += 1
        token[depth] = -1
    return count, True


def enumerate_orders(
    tables: CutTables, plan: Plan, *, objective: str = MEAN, budget: int = BRANCHES
) -> tuple[Plan, bool]:
    """Best plan of all, if better than `plan`, and whether the walk through all was finished."""
    members, crews, jobs, _ = tables.shape
    begin, stand, paid = (
        np.array(x)
        for x in zip(*(state_after_locks(tables, m) for m in range(members)), strict=True)
    )
    used = np.zeros(jobs, np.bool_)
    used[[j for first in tables.prefixes for j in first]] = True
    able = np.where(tables.finish >= 0, tables.cost, np.iinfo(np.int64).max).min(axis=(1, 3))
    least = np.minimum(able, tables.leave_cost).astype(np.float64)
    least = tables.weight @ least if objective == MEAN else least.min(axis=0)
    most = jobs + crews + 1
    tokens, states = np.zeros(most, np.int64), np.zeros((2, most, members), np.int64)
    count, done = _branch(
        tables.finish, tables.cost, tables.move, tables.leave_cost, tables.weight,
        1.0 if objective == MEAN else WORST_SHARE, begin, stand, paid.astype(np.float64), least,
        plan.cost * (1.0 - 1e-12) - 1e-9, budget, used, tokens, states[0], states[1],
        np.zeros((most, members)), np.zeros(most, np.int64), np.full(most, -1), np.zeros(most),
        np.zeros(members), np.zeros(members, np.bool_),
    )  # fmt: skip
    if count < 0:
        return plan, done
    rows = [list(first) for first in tables.prefixes]
    k = 0
    for j in tokens[:count]:
        if j == jobs:
            k += 1
        else:
            rows[k].append(int(j))
    return evaluate(tables, rows, objective=objective), done
