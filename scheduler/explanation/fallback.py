"""Where a crew goes if its first field is too tough or too soft today."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from scheduler.field_work.policy import Orders
from scheduler.orders.decision import Decision
from scheduler.solver.objective import objective_of
from scheduler.solver.policy_search import Evaluator

#: Fields of the crew that are tried first instead; assumed: the fields that it begins next are the
#: ones worth a move.
TRIED_FIELDS = 6
#: Start moisture at or below which no grain is ever, percent: nothing is cut.
NEVER_DRY = -1e3


def begun_first(orders: Orders, k: int, j: int) -> Orders:
    """Orders in which crew k begins with job j, which no other crew has."""
    rest = tuple(tuple(x for x in row if x != j) for row in orders)
    return (*rest[:k], (j, *rest[k]), *rest[k + 1 :])


def best_first_job(decision: Decision, k: int, jobs: Sequence[int]) -> int | None:
    """Best first job of crew `k` if the first of its `jobs` cannot be cut today.

    None means that waiting until tomorrow is as cheap.
    """
    policy, tables = decision.policy, decision.work.tables
    evaluator = Evaluator(tables)
    start = policy.start.copy()
    start[0, jobs[0]] = NEVER_DRY
    shut = replace(policy, start=start)

    def value(orders: Orders, today_shut: Sequence[int] = ()) -> float:
        closed = start.copy()
        closed[0, list(today_shut)] = NEVER_DRY
        loss = evaluator.loss(replace(shut, orders=orders, start=closed))
        return objective_of(loss, tables.weight, objective=decision.work.farm.rules.objective)

    others = jobs[1 : 1 + TRIED_FIELDS]
    if not others:
        return None
    values = {j: value(begun_first(policy.orders, k, j)) for j in others}
    best = min(others, key=lambda j: values[j])
    return best if values[best] < value(policy.orders, jobs) - 0.5 else None
