"""Where a crew goes if its first field is too tough or too soft today."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from scheduler.field_work.policy import Orders, without_job
from scheduler.orders.decision import Decision
from scheduler.solver.policy_search import Evaluator

#: Fields of the crew that are tried first instead; assumed: the fields that it begins next are the
#: ones worth a move.
TRIED_FIELDS = 6
#: Start moisture at or below which no grain is ever, percent: nothing is cut.
NEVER_DRY = -1e3


def begun_first(orders: Orders, k: int, j: int) -> Orders:
    """Orders in which crew k begins with job j, which no other crew has."""
    rest = without_job(orders, j)
    return (*rest[:k], (j, *rest[k]), *rest[k + 1 :])


def best_first_job(decision: Decision, k: int, jobs: Sequence[int]) -> int | None:
    """Best first job of crew `k` if the first of its `jobs` cannot be cut today.

    None means that waiting until tomorrow is as cheap.
    """
    policy, evaluator = decision.policy, Evaluator(decision.work.tables)

    def value(orders: Orders, shut: Sequence[int]) -> float:
        """Loss if some jobs cannot be cut today."""
        closed = policy.start.copy()
        closed[0, list(shut)] = NEVER_DRY
        return evaluator.value(
            replace(policy, orders=orders, start=closed),
            objective=decision.work.farm.rules.objective,
        )

    others = jobs[1 : 1 + TRIED_FIELDS]
    if not others:
        return None
    values = {j: value(begun_first(policy.orders, k, j), jobs[:1]) for j in others}
    best = min(others, key=lambda j: values[j])
    return best if values[best] < value(policy.orders, jobs) - 0.5 else None
