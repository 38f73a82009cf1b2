"""Enumeration of every order of a small farm, over all members: depth-first branch and bound.

A node adds a job to a crew's order, or closes it and goes on with the next crew. A node is pruned
where its cost so far plus the least cost of every other job cannot be below the best plan's cost
(Land and Doig 1960, Econometrica 28(3), 497-520).
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.solver.evaluation import evaluate, state_after_locks, weighted_objective
from scheduler.solver.tables import MEAN, WORST_SHARE, CutTables, Float, Int, Plan

#: Most nodes of the search tree, a guard against long runs: two seconds with thirty members.
MOST_NODES = 3_000_000


class Root(NamedTuple):
    """Root of the search tree.

    begin, stand (member, crew), paid (member,): states and cost after the locked jobs. used
    (job,): locked jobs. least (job,): no plan pays less for the job.
    """

    begin: Int
    stand: Int
    paid: Float
    used: NDArray[np.bool_]
    least: Float


class Branch(NamedTuple):
    """Nodes from the root to the present one, by depth.

    time, last (depth, member), paid (depth, member): state of the present crew, and the cost so
    far. crew, token (depth,): the crew and the job added, the number of jobs where its order is
    closed; tokens begin at -1. rest (depth,): least cost of all jobs not ordered.
    """

    time: Int
    last: Int
    paid: Float
    crew: Int
    token: Int
    rest: Float


class EnumerationWorkspace(NamedTuple):
    """Workspace: total (member,), counted (member,) bool."""

    total: Float
    counted: NDArray[np.bool_]


@njit(cache=True, nogil=True)
def _enumerate(tables, worst_share, root, ceiling, nodes, best, branch, space):
    """Search all orders below `ceiling`; `best` (depth,) takes the tokens of the best plan.

    Returns the number of these tokens, -1 where no plan is below `ceiling`, and whether all orders
    were seen within so many nodes.
    """
    finish, cost, move, leave = tables.finish, tables.cost, tables.move, tables.leave_cost
    weight, used, least = tables.weight, root.used, root.least
    time, last, paid = branch.time, branch.last, branch.paid
    crew, token, rest = branch.crew, branch.token, branch.rest
    members, crews, jobs, slots = finish.shape
    count = -1
    for m in range(members):
        time[0, m], last[0, m] = root.begin[m, 0], root.stand[m, 0]
        paid[0, m] = root.paid[m]
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
        if seen > nodes:
            return count, False
        if j == jobs and k == crews - 1:
            left = 0.0
            for i in range(jobs):
                if not used[i]:
                    left += leave[i]
            for m in range(members):
                space.total[m] = paid[depth, m] + left
            value = weighted_objective(space.total, weight, worst_share, space.counted)
            if value < ceiling:
                ceiling, count = value, depth + 1
                for d in range(count):
                    best[d] = token[d]
            continue
        for m in range(members):
            if j == jobs:
                time[depth + 1, m] = root.begin[m, k + 1]
                last[depth + 1, m] = root.stand[m, k + 1]
                paid[depth + 1, m] = paid[depth, m]
                continue
            t, i = time[depth, m], last[depth, m]
            s = t + move[k, i, j]
            end = finish[m, k, j, s] if s < slots else -1
            time[depth + 1, m] = end if end >= 0 else t
            last[depth + 1, m] = j if end >= 0 else i
            paid[depth + 1, m] = paid[depth, m] + (cost[m, k, j, s] if end >= 0 else leave[j])
        rest[depth + 1] = rest[depth] - (least[j] if j < jobs else 0.0)
        value = weighted_objective(paid[depth + 1], weight, worst_share, space.counted)
        if value + rest[depth + 1] >= ceiling:
            continue
        if j < jobs:
            used[j] = True
        crew[depth + 1] = k + (1 if j == jobs else 0)
        depth += 1
        token[depth] = -1
    return count, True


def enumerate_orders(
    tables: CutTables,
    plan: Plan,
    *,
    objective: str = MEAN,
    nodes: int = MOST_NODES,
) -> tuple[Plan, bool]:
    """Best plan of all, where better than `plan`, and whether all orders were seen.

    nodes : most nodes of the search tree.
    """
    members, crews, jobs, _ = tables.shape
    root = _root(tables, objective)
    most = jobs + crews + 1
    tokens, states = np.zeros(most, np.int64), np.zeros((2, most, members), np.int64)
    count, complete = _enumerate(
        tables.arrays,
        1.0 if objective == MEAN else WORST_SHARE,
        root,
        plan.cost * (1.0 - 1e-12) - 1e-9,
        nodes,
        tokens,
        Branch(
            time=states[0],
            last=states[1],
            paid=np.zeros((most, members)),
            crew=np.zeros(most, np.int64),
            token=np.full(most, -1),
            rest=np.zeros(most),
        ),
        EnumerationWorkspace(total=np.zeros(members), counted=np.zeros(members, np.bool_)),
    )
    if count < 0:
        return plan, complete
    rows = [list(first) for first in tables.prefixes]
    k = 0
    for j in tokens[:count]:
        if j == jobs:
            k += 1
        else:
            rows[k].append(int(j))
    return evaluate(tables, rows, objective=objective), complete


def _root(tables: CutTables, objective: str) -> Root:
    """Root of the search tree: states after the locked jobs, and the least cost of each job."""
    members, _, jobs, _ = tables.shape
    begin, stand, paid = (
        np.array(x)
        for x in zip(*(state_after_locks(tables, m) for m in range(members)), strict=True)
    )
    used = np.zeros(jobs, np.bool_)
    used[[j for first in tables.prefixes for j in first]] = True
    able = np.where(tables.finish >= 0, tables.cost, np.iinfo(np.int64).max).min(axis=(1, 3))
    least = np.minimum(able, tables.leave_cost).astype(np.float64)
    least = tables.weight @ least if objective == MEAN else least.min(axis=0)
    return Root(begin=begin, stand=stand, paid=paid.astype(np.float64), used=used, least=least)
