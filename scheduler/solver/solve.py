"""The public function: cut tables in, plan with bound and status out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from scheduler.solver.annealing import search, short_search
from scheduler.solver.arc_fixing import solve_residual
from scheduler.solver.check import COST_TOLERANCE, check
from scheduler.solver.common_order.common_order import BEGUN, common_bound, usual_turns
from scheduler.solver.enumeration import enumerate_orders
from scheduler.solver.evaluation import evaluate
from scheduler.solver.lagrangian_bound import MemberBounds, bound_members
from scheduler.solver.settings import DEFAULTS, Settings
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

#: Share of the work that a fast plan gets.
FAST_EFFORT = 0.25
#: Last iterations of each of several members whose paths `common_order` begins from; twice and half
#: as many change no plan and no bound on the tables that settings are measured on.
RECALLED = 20


@dataclass(frozen=True, kw_only=True)
class _Request:
    """What `solve` was asked for; see its parameters."""

    tables: CutTables
    seed: int
    objective: str
    effort: float
    gap_target: float
    progress: Progress
    settings: Settings

    @property
    def one_member(self) -> bool:
        """Whether the weather is certain."""
        return self.tables.shape[0] == 1

    def reached(self, plan: Plan, bound: float) -> bool:
        """Whether the bound proves the gap that was asked for."""
        return _gap(plan, bound) <= self.gap_target


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
    settings: Settings = DEFAULTS,
) -> Plan:
    """Best orders found for tables, with a proven lower bound; checked before they are returned.

    Any problem of jobs on crews whose end and cost depend on the start, with moves that depend on
    the pair of jobs, can be written as tables: see `CutTables` for shapes, units and the meaning
    of -1. A job that no crew can do ends up in `left`. With few jobs all orders are enumerated and
    the plan is 'optimal'. Otherwise simulated annealing finds orders, a Lagrangian relaxation
    bounds them, and a primal heuristic turns its paths into further starts for the search.

    Parameters
    ----------
    seed : names the plan: the same tables, seed and effort give the same plan on any machine,
        however busy.
    objective : 'mean' over members, or 'cautious': the mean of the worst fifth by weight.
    hint : a plan or orders to start from; the plan never costs more.
    effort : share of the usual work; 0 is a short search without a bound ('unproved'), more than
        1 searches longer and, with several members, proves more.
    fast : a quarter of the work.
    gap_target : stop once the gap is proved to be at most this share of the cost.
    progress : called with each stage and the share of the work done.

    Raises
    ------
    ValueError
        Where the tables break their rules, or the hint does not fit them or breaks a lock.
    """
    _verify(tables)
    if _locked_twice(tables):
        return _infeasible(tables)
    request = _Request(
        tables=tables,
        seed=seed,
        objective=objective,
        effort=effort * (FAST_EFFORT if fast else 1.0),
        gap_target=gap_target,
        progress=progress,
        settings=settings,
    )
    progress(SolveStage.SEARCH, 0.0)
    start = _start(tables, hint)
    plan = _enumerated(request, start) if request.effort > 0 else None
    if plan is None:
        plans = _first_searches(request, start)
        if hint is not None:
            plans.append(evaluate(tables, start, objective=objective))
        plan = _proved(request, plans) if request.effort > 0 else _best(plans)
    faults = check(tables, plan, objective=objective)
    assert not faults, "; ".join(faults)
    progress(SolveStage.DONE, 1.0)
    return plan


def _enumerated(request: _Request, start: Orders) -> Plan | None:
    """The best plan of few jobs, by enumeration after a short search; None where it is too much."""
    tables, settings = request.tables, request.settings
    free = tables.shape[2] - sum(len(first) for first in tables.prefixes)
    if free > settings.enumeration_jobs:
        return None
    found = short_search(tables, seed=request.seed, objective=request.objective, orders=start)
    plan, complete = enumerate_orders(tables, found, objective=request.objective)
    return with_bound(plan, plan.cost) if complete else None


def _first_searches(request: _Request, start: Orders) -> list[Plan]:
    """Plans of the first searches, all from one start."""
    settings = request.settings
    searches = 2 if request.one_member else settings.first_searches
    moves = 2 / searches * request.effort * settings.first_moves + settings.short_search_moves
    return _searched(request, [start] * searches, moves, request.seed)


def _proved(request: _Request, plans: list[Plan]) -> Plan:
    """Best plan found from those given, with its bound."""
    tables, settings, plan = request.tables, request.settings, _best(plans)
    request.progress(SolveStage.BOUND, 0.3)
    bounds = _member_bounds(request, plan)
    bound = objective_of(bounds.bound, tables.weight, objective=request.objective)
    plan, bound = _with_fixed_arcs(request, plan, bound, bounds, settings.arc_seconds_first)
    if request.reached(plan, bound):
        return with_bound(plan, bound)
    plan = _improved(request, plans, plan, bound, bounds)
    plan, bound = _with_fixed_arcs(request, plan, bound, bounds, settings.arc_seconds_last)
    if not request.one_member:
        bound = max(bound, _common_order_bound(request, plan, bounds))
    return with_bound(plan, bound)


def _member_bounds(request: _Request, plan: Plan) -> MemberBounds:
    """Lagrangian bounds of all members, and as many of their last paths as will be needed."""
    tables, settings = request.tables, request.settings
    share = min(1.0, max(request.effort, settings.least_bound_effort))
    if request.one_member:
        iterations = settings.iterations
        keep = math.ceil(settings.repair_paths * min(1.0, request.effort))
    else:
        iterations, keep = settings.iterations_members, RECALLED
    return bound_members(
        tables, plan, iterations=math.ceil(iterations * share), keep=keep, settings=settings
    )


def _improved(
    request: _Request, plans: list[Plan], plan: Plan, bound: float, bounds: MemberBounds
) -> Plan:
    """Best plan after searches from the bound's paths, and from the best plans then known."""
    tables, settings = request.tables, request.settings
    request.progress(SolveStage.IMPROVE, 0.6)
    if request.one_member:
        last, moves = len(bounds.paths[0]), settings.repair_moves
    else:
        last = math.ceil(settings.repair_paths_members / tables.shape[0])
        moves = settings.repair_moves // 2
    kept = [w[-x] for x in range(1, last + 1) for w in bounds.paths if len(w) >= x]
    starts = [orders_from_paths(tables, path, n) for n, path in enumerate(kept)]
    patience = settings.close_patience if _gap(plan, bound) <= settings.close_gap else len(starts)
    found = _search_until(request, plan, starts, request.effort * moves, patience)
    # several members: the best first searches are polished too
    found = sorted([plan, *([] if request.one_member else plans), *found], key=lambda p: p.cost)[:4]
    request.progress(SolveStage.POLISH, 0.8)
    polished = _searched(
        request,
        [p.orders for p in found],
        request.effort * settings.polish_moves,
        request.seed,
        temperature=settings.polish_temperature,
    )
    return _best([*found, *polished])


def _with_fixed_arcs(
    request: _Request, plan: Plan, bound: float, bounds: MemberBounds, seconds: float
) -> tuple[Plan, float]:
    """A better plan or bound by arc fixing, with one member and few enough open arcs."""
    if not request.one_member or request.reached(plan, bound):
        return plan, bound
    tables, objective = request.tables, request.objective
    plan, least = solve_residual(
        tables,
        plan,
        bounds.multiplier[0],
        seconds=request.effort * seconds,
        objective=objective,
        settings=request.settings,
    )
    return plan, max(bound, objective_of(np.array([least]), tables.weight, objective=objective))


def _common_order_bound(request: _Request, plan: Plan, bounds: MemberBounds) -> float:
    """Bound over one order for all members; cautious: in the plan's own worst fifth."""
    tables, effort, weight = request.tables, request.effort, request.tables.weight
    if request.objective == CAUTIOUS:
        weight = worst_weights(plan.member_cost, weight)
    return common_bound(
        tables,
        plan,
        bounds,
        weight=weight,
        enough=(1.0 - request.gap_target) * plan.cost,
        turns=usual_turns(tables, max(effort, request.settings.least_bound_effort)),
        begun=round(BEGUN * effort),
        tell=lambda share: request.progress(SolveStage.COMMON_BOUND, 0.85 + 0.15 * share),
        settings=request.settings,
    )


def _searched(
    request: _Request,
    starts: Iterable[Orders],
    moves: float,
    seed: int,
    *,
    temperature: float | None = None,
) -> list[Plan]:
    """Plans of one search from each start, two at a time; more members get fewer moves each.

    `temperature` is that at the start; the usual one by default.
    """
    tables, settings = request.tables, request.settings
    growth = min(settings.growth_limit, max(1.0, (tables.shape[2] / settings.growth_jobs) ** 3))
    each = int(moves / tables.shape[0] ** settings.member_exponent * growth)
    if temperature is not None:
        settings = replace(
            settings, start_temperature=temperature, end_temperature=temperature / 20.0
        )

    def run(task: tuple[int, Orders]) -> Plan:
        n, orders = task
        found = search(
            tables,
            orders,
            moves=each,
            seed=1000 * seed + n,
            objective=request.objective,
            settings=settings,
        )
        return evaluate(tables, found, objective=request.objective)

    with ThreadPoolExecutor(max_workers=2) as pool:
        return list(pool.map(run, enumerate(starts)))


def _search_until(
    request: _Request, plan: Plan, starts: list[Orders], moves: float, patience: int
) -> list[Plan]:
    """Plans of one search from each start, until `patience` searches in a row improve nothing."""
    settings, found = request.settings, list[Plan]()
    best, idle = plan.cost, 0
    for n in range(0, len(starts), settings.repair_batch):
        batch = starts[n : n + settings.repair_batch]
        found += _searched(
            request, batch, moves, request.seed + n, temperature=settings.polish_temperature
        )
        least = min(p.cost for p in found)
        idle = 0 if least < best else idle + len(batch)
        best = min(best, least)
        if idle >= patience:
            break
    return found


def orders_from_paths(tables: CutTables, paths: NDArray[np.int16], turn: int) -> Orders:
    """Primal heuristic: the crews' paths as orders in which no job stands twice.

    Parameters
    ----------
    paths : (crew, step) jobs, -1 after the last.
    turn : the crew that chooses first; a job stays with the first crew that has it, at its first
        place. Locked jobs come first.
    """
    crews = tables.shape[1]
    rows = [list(first) for first in tables.prefixes]
    seen = {j for first in rows for j in first}
    for c in range(crews):
        k = (c + turn) % crews
        for j in paths[k, paths[k] >= 0].tolist():
            if j not in seen:
                rows[k].append(j)
                seen.add(j)
    return tuple(tuple(row) for row in rows)


def _best(plans: Iterable[Plan]) -> Plan:
    """Plan of least cost; the first of equals."""
    return min(plans, key=lambda p: p.cost)


def with_bound(plan: Plan, bound: float) -> Plan:
    """The plan with a proven bound and the status that follows."""
    met = bound >= plan.cost - COST_TOLERANCE * max(1.0, abs(plan.cost))
    return replace(plan, bound=min(bound, plan.cost), status=OPTIMAL if met else FEASIBLE)


def _gap(plan: Plan, bound: float) -> float:
    """Gap between a plan's cost and a bound, as a share of the cost."""
    gap = with_bound(plan, bound).gap
    assert gap is not None
    return gap


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
    """Refuse cells that would be read past the tables' ends; `CutTables` checks shapes only."""
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


def _locked_twice(tables: CutTables) -> bool:
    """Whether a job is locked in two places, so that there is no plan."""
    named = [j for first in tables.prefixes for j in first]
    return len(set(named)) < len(named)


def _infeasible(tables: CutTables) -> Plan:
    """Plan without orders and with status 'infeasible'."""
    members, crews, n, _ = tables.shape
    none = np.full((members, n), -1, np.int32)
    return Plan(
        orders=((),) * crews,
        left=tuple(range(n)),
        cost=float("inf"),
        bound=None,
        member_cost=np.full(members, np.inf),
        status=INFEASIBLE,
        start=none,
        finish=none,
    )
