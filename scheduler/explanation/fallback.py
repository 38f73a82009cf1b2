"""Where a crew goes if its first field is too tough or too soft today."""

from __future__ import annotations

from dataclasses import replace

from scheduler.orders.decision import Decision
from scheduler.solver.objective import objective_of
from scheduler.solver.policy_search import Evaluator

#: Places of the crew's order that are tried first instead; assumed: fields near the head of the
#: order are the ones worth a move.
TRIED_PLACES = 6


def best_first_job(decision: Decision, k: int) -> int | None:
    """Best first job of crew `k` if its planned first job cannot be cut today.

    None means that waiting until tomorrow is as cheap.
    """
    policy, tables = decision.policy, decision.work.tables
    objective = decision.work.farm.rules.objective
    order = policy.orders[k]
    start = policy.start.copy()
    start[0, order[0]] = -1e3
    shut = replace(policy, start=start)
    evaluator = Evaluator(tables)
    best, least = None, float("inf")
    for j in order[1 : 1 + TRIED_PLACES]:
        mine = (j, *(x for x in order if x != j))
        orders = (*policy.orders[:k], mine, *policy.orders[k + 1 :])
        loss = evaluator.loss(replace(shut, orders=orders))
        value = objective_of(loss, tables.weight, objective=objective)
        if value < least:
            best, least = j, value
    if best is None:
        return None
    waits = start.copy()
    waits[0, list(order)] = -1e3
    loss = evaluator.loss(replace(policy, start=waits))
    return best if least < objective_of(loss, tables.weight, objective=objective) - 0.5 else None
