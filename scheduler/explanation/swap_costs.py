"""The price of a swap: what each change to one order costs against the plan."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.orders.model import Alternative
from scheduler.solver.evaluation import evaluate
from scheduler.solver.tables import CutTables, Orders, Plan


def alternatives(tables: CutTables, plan: Plan, *, objective: str) -> dict[int, Alternative]:
    """Loss of every change to one order, above that of the plan.

    A job moves one place earlier or later in its crew's order, to the best place of any other
    crew, or out of all orders. A locked job can only be left.

    Returns
    -------
    By job, in money (the tables hold cents); None where there is no such place.
    """
    locked = {j for _, jobs in tables.locked for j in jobs}

    def extra(orders: Orders) -> float:
        return (evaluate(tables, orders, objective=objective).cost - plan.cost) / 100.0

    out = {}
    for k, order in enumerate(plan.orders):
        for at, j in enumerate(order):
            fixed = j in locked
            sooner = None if at == 0 or fixed or order[at - 1] in locked else at - 1
            later = None if at == len(order) - 1 or fixed else at
            others = [extra(o) for o in _elsewhere(plan.orders, k, j)] if not fixed else []
            out[j] = Alternative(
                earlier=None if sooner is None else extra(_swapped(plan.orders, k, sooner)),
                later=None if later is None else extra(_swapped(plan.orders, k, later)),
                other_crew=min(others, default=None),
                leave=extra(_without(plan.orders, j)),
            )
    return out


def _swapped(orders: Orders, k: int, at: int) -> Orders:
    """Orders with the jobs at `at` and after it swapped in crew `k`."""
    mine = list(orders[k])
    mine[at], mine[at + 1] = mine[at + 1], mine[at]
    return (*orders[:k], tuple(mine), *orders[k + 1 :])


def _without(orders: Orders, j: int) -> Orders:
    """Orders without job `j`."""
    return tuple(tuple(x for x in o if x != j) for o in orders)


def _elsewhere(orders: Orders, k: int, j: int) -> Iterator[Orders]:
    """Orders with job `j` at every place of every crew but `k`."""
    rest = _without(orders, j)
    for c, other in enumerate(rest):
        if c != k:
            for at in range(len(other) + 1):
                yield (*rest[:c], (*other[:at], j, *other[at:]), *rest[c + 1 :])
