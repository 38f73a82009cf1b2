"""The price of a swap: what each change to one order costs against the plan."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from scheduler.explanation.fallback import NEVER_DRY
from scheduler.field_work.policy import Orders, Policy, without_job
from scheduler.orders.decision import Decision
from scheduler.orders.model import Alternative
from scheduler.solver.policy_search import Evaluator

#: Places of each crew's order that are priced; assumed: orders farther down change before
#: anybody follows them.
PRICED_PLACES = 10


def alternatives(decision: Decision) -> dict[int, Alternative]:
    """Loss of every change to one order, above that of the plan, on all members.

    A job moves one place earlier or later in its crew's order, to another crew (first, last, or
    the same place), or out of all orders. A held job can only be left.

    Returns
    -------
    By job, in money; None where there is no such place.
    """
    policy, work = decision.policy, decision.work
    objective = work.farm.rules.objective
    evaluator = Evaluator(work.tables)
    held = {j for row in decision.locked for j in row}

    plan = evaluator.value(policy, objective=objective)

    def extra(changed: Policy) -> float:
        return evaluator.value(changed, objective=objective) - plan

    def extra_of(orders: Orders) -> float:
        return extra(replace(policy, orders=orders))

    out = {}
    for k, order in enumerate(policy.orders):
        for at, j in enumerate(order[:PRICED_PLACES]):
            fixed = j in held
            sooner = None if at == 0 or fixed or order[at - 1] in held else at - 1
            later = None if at == len(order) - 1 or fixed else at
            others = [] if fixed else [extra_of(o) for o in _elsewhere(policy.orders, k, at)]
            out[j] = Alternative(
                earlier=None if sooner is None else extra_of(_swapped(policy.orders, k, sooner)),
                later=None if later is None else extra_of(_swapped(policy.orders, k, later)),
                other_crew=min(others, default=None),
                leave=extra(never_cut(policy, j)),
                earlier_with="" if sooner is None else work.field(order[sooner]).name,
                later_with="" if later is None else work.field(order[later + 1]).name,
            )
    return out


def never_cut(policy: Policy, j: int) -> Policy:
    """The policy without job `j`: no grain is dry enough to start it."""
    start = policy.start.copy()
    start[:, j] = NEVER_DRY
    return replace(policy, start=start)


def _swapped(orders: Orders, k: int, at: int) -> Orders:
    """Orders with the jobs at `at` and after it swapped in crew `k`."""
    mine = list(orders[k])
    mine[at], mine[at + 1] = mine[at + 1], mine[at]
    return (*orders[:k], tuple(mine), *orders[k + 1 :])


def _elsewhere(orders: Orders, k: int, at: int) -> Iterator[Orders]:
    """Orders with the job at `at` of crew `k` first, at the same place, or last with another."""
    j = orders[k][at]
    rest = without_job(orders, j)
    for c, other in enumerate(rest):
        if c != k:
            for place in sorted({0, min(at, len(other)), len(other)}):
                yield (*rest[:c], (*other[:place], j, *other[place:]), *rest[c + 1 :])
