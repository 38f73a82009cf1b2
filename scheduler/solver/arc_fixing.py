"""One known member settled by CP-SAT, on the steps that the prizes leave open.

A step is a crew's way from the end of one job to the end of the next. With the prizes of the
bound, each walk through a step has a least cost: the cheapest way to it, the step, the cheapest
rest. Where that lies above the crew's cheapest walk by more than the plan's cost lies above the
bound, no plan as good as this one takes the step. Of the hundred thousands of steps of a farm of
30 fields some hundreds are left: few enough to ask of CP-SAT that each job be done once.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.solver.evaluation import evaluate, state_after_locks
from scheduler.solver.pricing import (
    UNREACHABLE,
    end_slots,
    multiplier_scale,
    price_paths,
    pricing_workspace,
)
from scheduler.solver.tables import MEAN, CutTables, Float, Int, Orders, Plan

#: Crew, slot and job from which, job.
Step = tuple[int, int, int, int]
#: Steps for which a second of CP-SAT's clock is worth trying; assumed: with more, it did not raise
#: the bound of trial farms within its limit.
STEPS = 3_000


@dataclass(frozen=True, kw_only=True)
class ResidualNetwork:
    """What plans as good as a known one can be made of, in one member.

    Attributes
    ----------
    steps : per crew, (step, 4): slot and job from which, job, slot at its end.
    stops : (crew, slot + 1, job + 1) whether the crew may have done its last job.
    leaves : (job,) whether the job may be left.
    begin, stand : (crew,) slot and job after the locked jobs; paid : what these cost.
    """

    steps: tuple[NDArray[np.int32], ...]
    stops: NDArray[np.bool_]
    leaves: NDArray[np.bool_]
    begin: Int
    stand: Int
    paid: int


@njit(cache=True, nogil=True)
def _open_steps(finish, cost, move, banned, prize, scale, k, begin, stand, w1, w2, wn, limit, f1,
                f2, back, steps):  # fmt: skip
    """Steps of crew k on walks of at most `limit`, into `steps`; how many, -1 if there is no room.

    w1, w2, wn (slot, job): cheapest walk from the start of a job, as `price_paths` leaves them. f1,
    back (slot + 1, job + 1): cheapest walk to the end of a job and the job before it, f2 the
    cheapest with another job before, so that a walk never goes i, j, i.
    """
    jobs, slots = finish.shape[1], finish.shape[2]
    f1[:, :] = UNREACHABLE
    f2[:, :] = UNREACHABLE
    back[:, :] = -1
    f1[begin, stand] = 0
    size = 0
    for t in range(begin, slots):
        laps = 0
        for j in range(jobs):
            if finish[k, j, t] == t and not banned[j]:
                laps += 1
        # jobs that take no time: as many rounds as there are of them reach every chain
        for lap in range(laps + 1):
            for i in range(jobs + 1):
                if f1[t, i] >= UNREACHABLE:
                    continue
                for j in range(jobs):
                    s = t + move[k, i, j]
                    if j == i or banned[j] or s >= slots:
                        continue
                    end = finish[k, j, s]
                    if end < 0 or (lap < laps and end > t):
                        continue
                    before = f2[t, i] if back[t, i] == j else f1[t, i]
                    rest = w2[s, j] if wn[s, j] == i else w1[s, j]
                    if before >= UNREACHABLE or rest >= UNREACHABLE or before + rest > limit:
                        continue
                    x = before + cost[k, j, s] * scale - prize[j]
                    if i == back[end, j]:
                        f1[end, j] = min(f1[end, j], x)
                    elif x < f1[end, j]:
                        f2[end, j] = f1[end, j]
                        f1[end, j], back[end, j] = x, i
                    elif x < f2[end, j]:
                        f2[end, j] = x
                    if lap == laps:
                        if size == steps.shape[0]:
                            return -1
                        steps[size, 0], steps[size, 1] = t, i
                        steps[size, 2], steps[size, 3] = j, end
                        size += 1
    return size


def residual_network(
    tables: CutTables, plan: Plan, prize: Float, *, most: int
) -> ResidualNetwork | None:
    """What plans at most as dear as `plan` are made of; None beyond `most` steps.

    prize : (job,) what doing each job earns. The result holds for any; the bound's leave least.
    """
    _, crews, jobs, slots = tables.shape
    finish, cost = tables.finish[0], tables.cost[0]
    banned = np.zeros(jobs, np.bool_)
    banned[[j for first in tables.prefixes for j in first]] = True
    scale = multiplier_scale(tables, plan.member_cost)
    whole = np.minimum(np.round(prize * scale).astype(np.int64), tables.leave_cost * scale)
    whole[banned] = 0
    begin, stand, paid = state_after_locks(tables, 0)
    ends, order = end_slots(finish, banned), np.zeros((1, slots + jobs), np.int16)
    least, rests = np.zeros(crews, np.int64), []
    for k in range(crews):
        space = tuple(pricing_workspace(jobs, slots))
        price_paths(
            finish, cost, tables.move, ends, whole, banned, scale, k, begin[k], stand[k], order,
            least[k : k + 1], *space,
        )  # fmt: skip
        rests.append((space[2], space[3], space[10]))
    slack = (int(plan.member_cost[0]) - paid) * scale - int(whole.sum() + least.sum())
    steps: list[NDArray[np.int32]] = []
    stops = np.zeros((crews, slots + 1, jobs + 1), np.bool_)
    f1, f2, back = (np.zeros(stops.shape[1:], np.int64) for _ in range(3))
    for k in range(crews):
        mine = np.zeros((most - sum(map(len, steps)), 4), np.int32)
        size = _open_steps(
            finish, cost, tables.move, banned, whole, scale, k, begin[k], stand[k], *rests[k],
            least[k] + slack, f1, f2, back, mine,
        )  # fmt: skip
        if size < 0:
            return None
        steps.append(mine[:size])
        stops[k] = f1 <= least[k] + slack
    leaves = (tables.leave_cost * scale - whole <= slack) & ~banned
    return ResidualNetwork(
        steps=tuple(steps), stops=stops, leaves=leaves, begin=begin, stand=stand, paid=paid
    )


def solve_residual(
    tables: CutTables, plan: Plan, prize: Float, *, limit: float, objective: str = MEAN
) -> tuple[Plan, float]:
    """The plan or a better one, and what no plan costs less than in the one member.

    limit : seconds of CP-SAT's deterministic clock, one worker, so that it repeats; about half of
    one by the wall. What no plan costs less than is 0 where too many steps are open for it, and
    the cost in the member where the plan is proved best.

    Raises
    ------
    ValueError
        Where the tables have more than one member: an order has then more than one clock.
    """
    if tables.shape[0] != 1:
        raise ValueError(f"settle: want one member, got {tables.shape[0]}")
    open_ = residual_network(tables, plan, prize, most=int(STEPS * limit))
    if open_ is None:
        return plan, 0.0
    # the solver takes most of a second to import, and only few tables need it
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    taken = _model(model, tables, plan, open_)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = limit
    # the linear relaxation is nearly whole, so all of it is wanted at once, and its bound followed;
    # probing costs seconds and gives nothing
    solver.parameters.linearization_level = 2
    solver.parameters.add_lp_constraints_lazily = False
    solver.parameters.optimize_with_lb_tree_search = True
    solver.parameters.cp_model_probing_level = 0
    status = solver.solve(model)
    assert status != cp_model.INFEASIBLE, "the plan is itself made of open steps"
    # costs are whole numbers, so a bound between two of them is as good as the upper
    bound = open_.paid + max(0.0, np.ceil(solver.best_objective_bound - 1e-6))
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        ends = {step: end for step, (x, end) in taken.items() if solver.value(x)}
        found = evaluate(tables, _orders(tables, open_, ends), objective=objective)
        plan = min(plan, found, key=lambda p: p.cost)
    return plan, min(float(bound), float(plan.member_cost[0]))


def _orders(tables: CutTables, open_: ResidualNetwork, taken: dict[Step, int]) -> Orders:
    """Steps taken, with their ends, as orders."""
    follows = {step[:3]: step[3] for step in taken}
    rows = [list(first) for first in tables.prefixes]
    for k, row in enumerate(rows):
        t, i = int(open_.begin[k]), int(open_.stand[k])
        while (k, t, i) in follows:
            j = follows[k, t, i]
            row.append(j)
            t, i = taken[k, t, i, j], j
    return tuple(tuple(row) for row in rows)


def _steps_of(tables: CutTables, plan: Plan, open_: ResidualNetwork) -> set[Step]:
    """The plan's own steps after the locked jobs."""
    out = set()
    for k, row in enumerate(plan.orders):
        t, i = int(open_.begin[k]), int(open_.stand[k])
        for j in row[len(tables.prefixes[k]) :]:
            if plan.finish[0, j] >= 0:
                out.add((k, t, i, j))
                t, i = int(plan.finish[0, j]), j
    return out


def _model(
    model: Any, tables: CutTables, plan: Plan, open_: ResidualNetwork
) -> dict[Step, tuple[Any, int]]:
    """Each job is done once or left, each crew goes one way; the steps' variables and ends."""
    own = _steps_of(tables, plan, open_)
    taken: dict[Step, tuple[Any, int]] = {}
    money = []
    doing: list[list[Any]] = [[] for _ in range(tables.shape[2])]
    place = [model.new_int_var(0, len(doing), "") for _ in doing]
    for k, steps in enumerate(open_.steps):
        for t, i, j, end in steps.tolist():
            x = model.new_bool_var("")
            model.add_hint(x, (k, t, i, j) in own)
            taken[k, t, i, j] = x, end
            doing[j].append(x)
            money.append(int(tables.cost[0, k, j, t + tables.move[k, i, j]]) * x)
            if end == t and i != open_.stand[k]:
                # only places in the order keep jobs that take no time from going round in a ring
                model.add(place[j] > place[i]).only_enforce_if(x)
    _ways(model, open_, taken)
    for j in set(range(len(doing))) - {j for first in tables.prefixes for j in first}:
        if open_.leaves[j]:
            x = model.new_bool_var("")
            model.add_hint(x, bool(plan.finish[0, j] < 0))
            doing[j].append(x)
            money.append(int(tables.leave_cost[j]) * x)
        model.add_exactly_one(doing[j])
    model.minimize(sum(money))
    return taken


def _ways(model: Any, open_: ResidualNetwork, taken: dict[Step, tuple[Any, int]]) -> None:
    """What comes to a slot and job goes on from there, or stops where a crew may."""
    into, out = defaultdict(list), defaultdict(list)
    for (k, t, i, j), (x, end) in taken.items():
        out[k, t, i].append(x)
        into[k, end, j].append(x)
    for k, (t, i) in enumerate(zip(open_.begin, open_.stand, strict=True)):
        into[k, int(t), int(i)].append(1)
    for node, come in into.items():
        go = sum(out[node])
        model.add(go <= sum(come) if open_.stops[node] else go == sum(come))
