"""Why this order: what it would cost to do otherwise, and where to go if the first field fails."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from scheduler.orders.model import Alternative
from scheduler.solver.evaluation import evaluate
from scheduler.solver.tables import CutTables, Orders, Plan


def alternatives(tables: CutTables, plan: Plan, *, objective: str) -> dict[int, Alternative]:
    """For each job ordered: money lost, against the plan, by doing it otherwise.

    earlier / later: one place sooner or later with the same crew; other_crew: at the best place
    of any other crew; leave: in nobody's orders. Money (tables hold cents); None where there is
    no such place. Locked jobs get no alternatives but leaving.
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
    mine = list(orders[k])
    mine[at], mine[at + 1] = mine[at + 1], mine[at]
    return (*orders[:k], tuple(mine), *orders[k + 1 :])


def _without(orders: Orders, j: int) -> Orders:
    return tuple(tuple(x for x in o if x != j) for o in orders)


def _elsewhere(orders: Orders, k: int, j: int) -> Iterator[Orders]:
    rest = _without(orders, j)
    for c, other in enumerate(rest):
        if c != k:
            for at in range(len(other) + 1):
                yield (*rest[:c], (*other[:at], j, *other[at:]), *rest[c + 1 :])


def delayed(tables: CutTables, job: int, until: int) -> CutTables:
    """Tables in which no crew can begin `job` before slot `until`: earlier arrivals wait there."""
    finish, cost = tables.finish.copy(), tables.cost.copy()
    finish[:, :, job, :until] = finish[:, :, job, until : until + 1]
    cost[:, :, job, :until] = cost[:, :, job, until : until + 1]
    return replace(tables, finish=finish, cost=cost)


def instead(tables: CutTables, plan: Plan, k: int, until: int, *, objective: str) -> int | None:
    """Job to send crew `k` to first if its first job cannot begin before slot `until`.

    Every other job of the crew is tried at the front, with the first put at each later place;
    None means that waiting at the first field is cheapest.
    """
    order = plan.orders[k]
    hurt = delayed(tables, order[0], min(until, tables.shape[3] - 1))
    cheapest = evaluate(hurt, plan.orders, objective=objective).cost
    found = None
    for j in order[1:]:
        rest = tuple(x for x in order[1:] if x != j)
        for at in range(min(len(rest), 4) + 1):
            mine = (j, *rest[:at], order[0], *rest[at:])
            cost = evaluate(
                hurt, (*plan.orders[:k], mine, *plan.orders[k + 1 :]), objective=objective
            ).cost
            if cost < cheapest - 1e-9:
                cheapest, found = cost, j
    return found
