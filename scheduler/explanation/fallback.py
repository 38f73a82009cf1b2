"""Where a crew goes if its first field is too tough or too soft."""

from __future__ import annotations

from dataclasses import replace

from scheduler.solver.evaluation import evaluate
from scheduler.solver.tables import CutTables, Plan


def delayed(tables: CutTables, job: int, until: int) -> CutTables:
    """Tables in which no crew begins `job` before slot `until`; who arrives earlier waits."""
    finish, cost = tables.finish.copy(), tables.cost.copy()
    finish[:, :, job, :until] = finish[:, :, job, until : until + 1]
    cost[:, :, job, :until] = cost[:, :, job, until : until + 1]
    return replace(tables, finish=finish, cost=cost)


def best_first_job(
    tables: CutTables, plan: Plan, k: int, until: int, *, objective: str
) -> int | None:
    """Best first job of crew `k` if its planned first job cannot begin before slot `until`.

    Tries every other job of the crew first, with the planned first job at each of the next five
    places. None means that waiting at the planned first job is cheapest.
    """
    order = plan.orders[k]
    delayed_tables = delayed(tables, order[0], min(until, tables.shape[3] - 1))
    cheapest = evaluate(delayed_tables, plan.orders, objective=objective).cost
    best = None
    for j in order[1:]:
        rest = tuple(x for x in order[1:] if x != j)
        for at in range(min(len(rest), 4) + 1):
            mine = (j, *rest[:at], order[0], *rest[at:])
            orders = (*plan.orders[:k], mine, *plan.orders[k + 1 :])
            cost = evaluate(delayed_tables, orders, objective=objective).cost
            if cost < cheapest - 1e-9:
                cheapest, best = cost, j
    return best
