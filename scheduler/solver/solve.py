"""The public function: cut tables in, plan with bound and status out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scheduler.solver.annealing import search
from scheduler.solver.arc_fixing import solve_residual
from scheduler.solver.check import ALIKE, check
from scheduler.solver.common_order.common_order import BEGUN, common_bound, usual_turns
from scheduler.solver.enumeration import enumerate_orders
from scheduler.solver.evaluation import evaluate
from scheduler.solver.lagrangian_bound import EACH, TURNS, MemberBounds, bound_members
from scheduler.solver.stages import Progress, SolveStage, ignore_progress
from scheduler.solver.tables import (
    CAUTIOUS,
    FEASIBLE,
    INFEASIBLE,
    MEAN,
    OPTIMAL,
    CutTables,
    Orders,
    Plan,
    objective_of,
    worst_weights,
)

#: Jobs up to which all orders are walked through; assumed: 8 jobs in 2 crews are a million plans.
SMALL = 8
#: Moves of a first search, of one from a repaired walk, and of a last one, with one member. Walks
#: kept to be repaired. Assumed: what brought trial farms of 100 fields within 1 %.
FIRST, REPAIR, LAST, WALKS = 1_000_000, 150_000, 1_000_000, 120
#: Jobs above which moves grow with their cube, and how many times at most; assumed, as above.
JOBS, GROWN = 60, 10.0
#: Jobs above which the bound's turns grow in proportion; assumed, as above.
MANY = 150
#: Repaired walks searched at once; where the plan is known to be as close as this share, so many in
#: vain are enough. Assumed, as above.
BATCH, CLOSE, VAIN = 8, 0.005, 40
#: Walks of each member that the bound for one order begins from; assumed: fewer cost it turns.
RECALLED = 20
#: Moves fall with this power of the members; of several, so many first searches share the moves of
#: two, and so many walks in all, of the last turns, are repaired with half the moves. Assumed, so
#: that thirty members take about as long as one.
SHARED, FIRSTS, SEVERAL = 0.4, 8, 30
#: Temperature of a search that starts from a good plan; assumed, tuned as in `search`.
WARM = 0.005
#: Least share of the bound's turns; assumed: below it the bound is worth little.
LEAST = 0.4
#: Seconds, on CP-SAT's own clock, for what is left open of one member: before orders are searched
#: further, which is saved where that settles it, and after. Assumed: keeps 60 fields to 15 s.
BEFORE, AFTER = 1.5, 8.0
#: Share of the work done where it should be fast; assumed.
HASTE = 0.25


def solve(
    tables: CutTables,
    *,
    seed: int = 0,
    objective: str = MEAN,
    hint: Plan | Sequence[Sequence[int]] | None = None,
    effort: float = 1.0,
    fast: bool = False,
    gap_target: float = 0.0,
    progress: Progress = ignore_progress,
) -> Plan:
    """Best orders found for tables, with a proven lower bound; checked before it is returned.

    Any problem of jobs on crews whose end and cost depend on the start, with moves that depend
    on the pair, can be written as tables: see `CutTables` for shapes, units and what -1 means.
    A job that no crew can do is in `left`. Orders are searched, then bounded, then the walks of
    the bound are made into plans and searched again; up to eight jobs, all orders are walked
    through and the plan is 'optimal'.

    Parameters
    ----------
    seed : names the plan: the same tables, seed and effort give the same plan, whatever the
        machine does meanwhile.
    objective : 'mean' over members, or 'cautious': the mean of the worst fifth by weight.
    hint : a plan or orders to start from; the plan is never dearer.
    effort : share of the usual work; 0 is a short search without a bound ('unproved'), more than
        1 searches longer and, with several members, proves more.
    fast : a quarter of the work.
    gap_target : stop once the gap is proved to be at most this.
    progress : called with each stage and the share of the work done.

    Raises
    ------
    ValueError
        Where the tables break their rules, or the hint does not fit them or breaks a lock.
    """
    _verify(tables)
    if _clash(tables):
        return _nothing(tables)
    effort *= HASTE if fast else 1.0
    progress(SolveStage.SEARCH, 0.0)
    start = _start(tables, hint)
    many = 2 if tables.shape[0] == 1 else FIRSTS
    plans = _searched(
        tables, [start] * many, 2 / many * effort * FIRST + 20_000, seed, objective=objective
    )
    plans += [] if hint is None else [evaluate(tables, start, objective=objective)]
    plan = _best(plans)
    if effort > 0:
        plan = _proved(tables, plans, effort, seed, objective, gap_target, progress)
    wrong = check(tables, plan, objective=objective)
    assert not wrong, "; ".join(wrong)
    progress(SolveStage.DONE, 1.0)
    return plan


def _proved(
    tables: CutTables, plans: list[Plan], effort: float, seed: int, objective: str,
    gap_target: float, progress: Progress,
) -> Plan:  # fmt: skip
    """A plan better than those given where there is one, with its bound."""
    plan = _best(plans)
    if tables.shape[2] - sum(len(p) for p in tables.prefixes) <= SMALL:
        plan, done = enumerate_orders(tables, plan, objective=objective)
        if done:
            return with_bound(plan, plan.cost)
    progress(SolveStage.BOUND, 0.3)
    alone = tables.shape[0] == 1
    share = min(1.0, max(effort, LEAST)) * max(1.0, tables.shape[2] / MANY)
    known = bound_members(
        tables, plan, turns=int(np.ceil((TURNS if alone else EACH) * share)),
        keep=int(np.ceil(WALKS * min(1.0, effort))) if alone else RECALLED,
    )  # fmt: skip
    value = objective_of(known.member_bound, tables.weight, objective=objective)
    plan, value = _settled(tables, plan, value, known, effort * BEFORE, objective, gap_target)
    if with_bound(plan, value).gap <= gap_target:  # type: ignore[operator]
        return with_bound(plan, value)
    progress(SolveStage.IMPROVE, 0.6)
    back = len(known.walks[0]) if alone else math.ceil(SEVERAL / tables.shape[0])
    kept = [w[-x] for x in range(1, back + 1) for w in known.walks if len(w) >= x]
    starts = [orders_from_paths(tables, walk, n) for n, walk in enumerate(kept)]
    moves = effort * (REPAIR if alone else REPAIR / 2)
    near = with_bound(plan, value).gap <= CLOSE  # type: ignore[operator]
    found = _improved(
        tables, plan, starts, moves, seed, objective, vain=VAIN if near else len(starts)
    )
    # of several members, the best of the first searches is polished twice
    found = sorted([plan, *([] if alone else plans), *found], key=lambda p: p.cost)[:4]
    progress(SolveStage.POLISH, 0.8)
    last = _searched(
        tables, [p.orders for p in found], effort * LAST, seed, objective=objective, hot=WARM
    )
    plan = _best([*found, *last])
    plan, value = _settled(tables, plan, value, known, effort * AFTER, objective, gap_target)
    if not alone:
        value = max(value, _common(tables, plan, known, effort, objective, gap_target, progress))
    return with_bound(plan, value)


def _settled(
    tables: CutTables, plan: Plan, value: float, known: MemberBounds, limit: float, objective: str,
    gap_target: float,
) -> tuple[Plan, float]:  # fmt: skip
    """Of one member, a better plan or bound where few enough steps are open."""
    if tables.shape[0] > 1 or with_bound(plan, value).gap <= gap_target:  # type: ignore[operator]
        return plan, value
    plan, least = solve_residual(tables, plan, known.prize[0], limit=limit, objective=objective)
    return plan, max(value, objective_of(np.array([least]), tables.weight, objective=objective))


def _common(
    tables: CutTables, plan: Plan, known: MemberBounds, effort: float, objective: str,
    gap_target: float, progress: Progress,
) -> float:  # fmt: skip
    """The bound that knows there is one order; of the cautious, in the plan's own worst fifth."""
    weight = tables.weight
    if objective == CAUTIOUS:
        weight = worst_weights(plan.member_cost, weight)
    return common_bound(
        tables, plan, known, weight=weight, enough=(1.0 - gap_target) * plan.cost,
        turns=usual_turns(tables, max(effort, LEAST)), begun=round(BEGUN * effort),
        tell=lambda share: progress(SolveStage.COMMON_BOUND, 0.85 + 0.15 * share),
    )  # fmt: skip


def _searched(
    tables: CutTables, starts: Iterable[Orders], moves: float, seed: int, *, objective: str,
    hot: float | None = None,
) -> list[Plan]:  # fmt: skip
    """One search from each start, two at a time; fewer moves where there are more members."""
    grown = min(GROWN, max(1.0, (tables.shape[2] / JOBS) ** 3))
    each = int(moves / tables.shape[0] ** SHARED * grown)
    heat = {} if hot is None else {"hot": hot, "cold": hot / 20.0}

    def run(task: tuple[int, Orders]) -> Plan:
        n, orders = task
        found = search(
            tables, orders, moves=each, seed=1000 * seed + n, objective=objective, **heat
        )
        return evaluate(tables, found, objective=objective)

    with ThreadPoolExecutor(max_workers=2) as pool:
        return list(pool.map(run, enumerate(starts)))


def _improved(
    tables: CutTables, plan: Plan, starts: list[Orders], moves: float, seed: int, objective: str,
    *, vain: int,
) -> list[Plan]:  # fmt: skip
    """One search from each start, until so many in a row gave nothing better than the plan."""
    found: list[Plan] = []
    best, since = plan.cost, 0
    for n in range(0, len(starts), BATCH):
        batch = starts[n : n + BATCH]
        found += _searched(tables, batch, moves, seed + n, objective=objective, hot=WARM)
        least = min(p.cost for p in found)
        since = 0 if least < best else since + len(batch)
        best = min(best, least)
        if since >= vain:
            break
    return found


def orders_from_paths(tables: CutTables, walk: NDArray[np.int16], turn: int) -> Orders:
    """A walk (crew, step) as orders: locked jobs first, each job where a crew had it first.

    The crews choose in another turn each time, so that one does not always win.
    """
    crews = tables.shape[1]
    rows = [list(first) for first in tables.prefixes]
    seen = {j for first in rows for j in first}
    for c in range(crews):
        k = (c + turn) % crews
        for j in walk[k, walk[k] >= 0].tolist():
            if j not in seen:
                rows[k].append(j)
                seen.add(j)
    return tuple(tuple(row) for row in rows)


def _best(plans: Iterable[Plan]) -> Plan:
    return min(plans, key=lambda p: p.cost)


def with_bound(plan: Plan, value: float) -> Plan:
    """The plan with a proven bound and the status that follows."""
    met = value >= plan.cost - ALIKE * max(1.0, abs(plan.cost))
    return replace(plan, bound=min(value, plan.cost), status=OPTIMAL if met else FEASIBLE)


def _start(tables: CutTables, hint: Plan | Sequence[Sequence[int]] | None) -> Orders:
    """The hint's orders, or the locked jobs alone."""
    if hint is None:
        return tables.prefixes
    rows = hint.orders if isinstance(hint, Plan) else hint
    orders = tuple(tuple(int(j) for j in o) for o in rows)
    if len(orders) != len(tables.prefixes):
        raise ValueError(f"hint: want orders for {len(tables.prefixes)} crews, got {len(orders)}")
    for k, (first, row) in enumerate(zip(tables.prefixes, orders, strict=True)):
        if row[: len(first)] != first:
            raise ValueError(f"hint: crew {k} must begin with {first}, begins with {row}")
    return orders


def _verify(tables: CutTables) -> None:
    """Refuse numbers that would be read past the tables' ends; what costs a look at each cell."""
    slots = tables.shape[3]
    done = tables.finish >= 0
    early = done & (tables.finish < np.arange(slots))
    for name, bad in (
        ("finish: a job ends before it starts", early),
        (f"finish: a job ends after the last slot, {slots}", tables.finish > slots),
        ("cost: below 0", done & (tables.cost < 0)),
    ):
        if bad.any():
            where = tuple(int(i) for i in np.argwhere(bad)[0])
            raise ValueError(f"{name}, at (member, crew, job, slot) {where}")


def _clash(tables: CutTables) -> bool:
    """Whether a job is locked in two places, so that there is no plan."""
    named = [j for first in tables.prefixes for j in first]
    return len(set(named)) < len(named)


def _nothing(tables: CutTables) -> Plan:
    members, crews, n, _ = tables.shape
    none = np.full((members, n), -1, np.int32)
    return Plan(
        orders=((),) * crews, left=tuple(range(n)), cost=float("inf"), bound=None,
        member_cost=np.full(members, np.inf), status=INFEASIBLE, start=none, finish=none,
    )  # fmt: skip
