"""The public function: cut tables in, plan with bound and status out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from scheduler.bound import bound
from scheduler.check import ALIKE, check
from scheduler.exact import branch
from scheduler.search import price, search
from scheduler.tables import (
    FEASIBLE,
    INFEASIBLE,
    MEAN,
    OPTIMAL,
    CutTables,
    Orders,
    Plan,
)

#: Jobs up to which all orders are walked through; assumed: 8 jobs in 2 crews are a million plans.
SMALL = 8

Progress = Callable[[str, float], None]


def solve(
    tables: CutTables,
    *,
    seed: int = 0,
    objective: str = MEAN,
    hint: Plan | Sequence[Sequence[int]] | None = None,
    effort: float = 1.0,
    fast: bool = False,
    gap_target: float = 0.0,
    progress: Progress | None = None,
) -> Plan:
    """Best orders found for tables, with a proven lower bound.

    Parameters
    ----------
    tables : see `CutTables` for shapes; any problem written so can be solved.
    seed : names the plan: the same tables, seed and effort give the same plan.
    objective : 'mean' over members, or 'cautious': the mean of the worst fifth by weight.
    hint : a plan or orders to start from; never made worse.
    effort : share of the usual work; 0 prices the hint or a first plan, without a bound.
    gap_target : stop once the gap is proved to be at most this.
    progress : told what is being done and the share done.

    Raises
    ------
    ValueError
        Where the hint does not fit the tables or breaks a lock.
    """
    tell = progress or (lambda text, share: None)
    if _clash(tables):
        return _nothing(tables)
    tell("searching for orders", 0.0)
    orders = _start(tables, hint)
    members = tables.shape[0]
    moves = int(effort * (3_000_000 if members == 1 else 6_000_000 / members))
    if _free(tables) <= SMALL:
        moves = min(moves, 20_000)
    plans = [] if hint is None else [price(tables, orders, objective=objective)]

    def run(n: int) -> Plan:
        found = search(tables, orders, moves=moves, seed=2 * seed + n, objective=objective)
        return price(tables, found, objective=objective)

    with ThreadPoolExecutor(max_workers=2) as pool:
        plans += list(pool.map(run, range(2)))
    plan = min(plans, key=lambda p: p.cost)
    tell("proving how good they are", 0.6)
    done = False
    if effort > 0 and _free(tables) <= SMALL:
        plan, done = branch(tables, plan, objective=objective)
    if done:
        plan = with_bound(plan, plan.cost)
    elif effort > 0:
        plan = with_bound(plan, bound(tables, plan, objective=objective))
    wrong = check(tables, plan, objective=objective)
    assert not wrong, wrong
    tell("done", 1.0)
    return plan


def _free(tables: CutTables) -> int:
    """Jobs whose place is not locked."""
    return tables.shape[2] - sum(len(first) for first in tables.prefixes)


def with_bound(plan: Plan, value: float) -> Plan:
    """The plan with a proven bound and the status that follows."""
    met = value >= plan.cost - ALIKE * max(1.0, abs(plan.cost))
    return replace(plan, bound=min(value, plan.cost), status=OPTIMAL if met else FEASIBLE)


def _start(tables: CutTables, hint: Plan | Sequence[Sequence[int]] | None) -> Orders:
    """The hint's orders, or the locked jobs alone."""
    if hint is None:
        return tables.prefixes
    orders = tuple(tuple(o) for o in (hint.orders if isinstance(hint, Plan) else hint))
    for k, (first, row) in enumerate(zip(tables.prefixes, orders, strict=True)):
        if row[: len(first)] != first:
            raise ValueError(f"hint: crew {k} must begin with {first}, begins with {row}")
    return orders


def _clash(tables: CutTables) -> list[int]:
    """Jobs locked in two places."""
    named = [j for first in tables.prefixes for j in first]
    return sorted({j for j in named if named.count(j) > 1})


def _nothing(tables: CutTables) -> Plan:
    members, crews, n, _ = tables.shape
    none = np.full((members, n), -1, np.int32)
    return Plan(
        orders=((),) * crews, left=tuple(range(n)), cost=float("inf"), bound=None,
        member_cost=np.full(members, np.inf), status=INFEASIBLE, start=none, finish=none,
    )  # fmt: skip
