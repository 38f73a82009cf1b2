"""Exact answers: every order of a small farm by branching, one known member by CP-SAT."""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from scheduler.bound import after_locks
from scheduler.search import objective_in, price
from scheduler.tables import MEAN, WORST, CutTables, Orders, Plan

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


def branch(
    tables: CutTables, plan: Plan, *, objective: str = MEAN, budget: int = BRANCHES
) -> tuple[Plan, bool]:
    """Best plan of all, if better than `plan`, and whether the walk through all was finished."""
    members, crews, jobs, _ = tables.shape
    begin, stand, paid = (
        np.array(x) for x in zip(*(after_locks(tables, m) for m in range(members)), strict=True)
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
        1.0 if objective == MEAN else WORST, begin, stand, paid.astype(np.float64), least,
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
    return price(tables, rows, objective=objective), done


def circuit(
    tables: CutTables, *, hint: Orders | None = None, limit: float = 2.0, wall: float | None = None
) -> tuple[Orders | None, float, bool]:
    """One member's tables as a circuit over crews and jobs in CP-SAT.

    Returns the orders found or None, CP-SAT's bound, and whether they are proved best. `limit`
    is in deterministic seconds, one worker, so that it repeats; `wall` in seconds ends it too.

    Raises
    ------
    ValueError
        Where the tables have more than one member: orders timed member by member are not
        a circuit of one clock.
    """
    # the solver takes most of a second to import, and only small farms need it
    from ortools.sat.python import cp_model

    members, crews, jobs, _ = tables.shape
    if members != 1:
        raise ValueError(f"circuit: want one member, got {members}")
    model = cp_model.CpModel()
    visits, left, costs = _visits(model, tables)
    follows = _circuit(model, tables, visits, left)
    for k, first in enumerate(tables.prefixes):
        for i, j in zip((jobs, *first[:-1]), first, strict=False):
            model.add(follows[k, i, j] == 1)
    model.minimize(
        sum(costs) + sum(int(c) * b for c, b in zip(tables.leave_cost, left, strict=True))
    )
    if hint is not None:
        steps = {(k, i, j) for k, row in enumerate(hint) for i, j in zip((jobs, *row), row)}  # noqa: B905
        for key, var in follows.items():
            model.add_hint(var, key in steps)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = limit
    if wall is not None:
        solver.parameters.max_time_in_seconds = wall
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None, max(0.0, solver.best_objective_bound), False
    after = {(k, i): j for (k, i, j), var in follows.items() if solver.value(var)}
    rows = []
    for k in range(crews):
        row, at = [], jobs
        while (k, at) in after:
            at = after[k, at]
            row.append(at)
        rows.append(tuple(row))
    return tuple(rows), solver.best_objective_bound, status == cp_model.OPTIMAL


def _visits(model: Any, tables: CutTables) -> tuple[dict[tuple[int, int], Any], list[Any], Any]:
    """Per (crew, job) that can be: whether, from when, until when; per job whether it is left.

    The third are the costs paid. The tables' rows are the only triples of start, end and cost.
    """
    _, crews, jobs, _ = tables.shape
    visits: dict[tuple[int, int], Any] = {}
    left = [model.new_bool_var("") for _ in range(jobs)]
    costs = []
    for j in range(jobs):
        for k in range(crews):
            able = np.flatnonzero(tables.finish[0, k, j] >= 0)
            if able.size:
                end, paid = tables.finish[0, k, j, able], tables.cost[0, k, j, able]
                here = model.new_bool_var("")
                at = [model.new_int_var(0, int(x.max()), "") for x in (able, end, paid)]
                rows = np.stack([np.ones_like(able), able, end, paid], axis=1).tolist()
                model.add_allowed_assignments([here, *at], [*rows, [0, 0, 0, 0]])
                visits[k, j] = here, at[0], at[1]
                costs.append(at[2])
        model.add_exactly_one([left[j], *(v[0] for (_, i), v in visits.items() if i == j)])
    return visits, left, costs


def _circuit(
    model: Any, tables: CutTables, visits: dict[tuple[int, int], Any], left: list[Any]
) -> dict[tuple[int, int, int], Any]:
    """One circuit: each crew's node, its jobs, the next crew's node. Steps as (crew, i, j)."""
    _, crews, jobs, _ = tables.shape
    follows: dict[tuple[int, int, int], Any] = {}
    arcs = [(crews + j, crews + j, left[j]) for j in range(jobs)]
    for k in range(crews):
        arcs.append((k, (k + 1) % crews, model.new_bool_var("")))
    for (k, j), (here, start, _) in visits.items():
        last = model.new_bool_var("")
        model.add_implication(last, here)
        arcs.append((crews + j, (k + 1) % crews, last))
        for i in (*(i for c, i in visits if c == k and i != j), jobs):
            step = follows[k, i, j] = model.new_bool_var("")
            model.add_implication(step, here)
            arcs.append((k if i == jobs else crews + i, crews + j, step))
            free = int(tables.ready[k]) if i == jobs else visits[k, i][2]
            model.add(start == free + int(tables.move[k, i, j])).only_enforce_if(step)
            if i != jobs:
                model.add_implication(step, visits[k, i][0])
    model.add_circuit(arcs)
    return follows
