"""Reduced-cost arc fixing: one member solved by CP-SAT on the arcs that the bound leaves open.

An arc is a crew's way from the end of one job to the end of the next. After the multipliers of the
bound, every path through an arc has a least cost: the cheapest path to the arc, the arc, the
cheapest path from it. Where that exceeds the crew's cheapest path by more than the gap between
plan and bound, no plan as good as the present one takes the arc. Of the hundred thousands of arcs
of a farm of 30 fields some hundreds stay open: few enough for CP-SAT to cover each job once.

References
----------
Irnich, Desaulniers, Desrosiers and Hadjar 2010, INFORMS Journal on Computing, doi
10.1287/ijoc.1090.0341 (arc fixing by path-reduced costs).
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.solver.evaluation import evaluate, state_after_locks
from scheduler.solver.pricing import (
    UNREACHABLE,
    labels_of,
    multiplier_scale,
    network_of,
    price_paths,
    pricing_workspace,
    whole_multiplier,
)
from scheduler.solver.settings import DEFAULTS, Settings
from scheduler.solver.tables import MEAN, CutTables, Float, Int, Orders, Plan

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel, IntVar, LinearExpr

#: Crew, slot and job last done before the arc, job of the arc.
Arc = tuple[int, int, int, int]


@dataclass(frozen=True, kw_only=True)
class ResidualNetwork:
    """Arcs, stops and leaves of all plans at least as good as a given one, in one member.

    Attributes
    ----------
    arcs : per crew, (arc, 4): slot and job last done before the arc, job of the arc, slot at its
        end.
    stops : (crew, slot + 1, job + 1) whether the crew may end its order in the state.
    leaves : (job,) whether the job may be left.
    begin, stand : (crew,) slot and job after the locked jobs; paid : cost of the locked jobs.
    """

    arcs: tuple[NDArray[np.int32], ...]
    stops: NDArray[np.bool_]
    leaves: NDArray[np.bool_]
    begin: Int
    stand: Int
    paid: int


class ForwardLabels(NamedTuple):
    """Labels (slot + 1, job + 1) of the cheapest paths to the end of a job.

    reach: their cost; back: the job before, -1 for none; reach_2: cost of the cheapest with
    another job before, so that no path goes i, j, i.
    """

    reach: Int
    reach_2: Int
    back: Int


@njit(cache=True, nogil=True)
def _open_arcs(network, multiplier, k, begin, stand, labels, limit, forward, arcs):
    """List the arcs of crew k on paths that cost at most `limit`, in `arcs`; returns their number.

    -1 where `arcs` is too short. `labels` are those of `price_paths`; `forward` is filled here.
    """
    finish, cost, move, scale = network.finish, network.cost, network.move, network.scale
    banned, f1, f2, back = network.banned, forward.reach, forward.reach_2, forward.back
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
                    rest = (
                        labels.start_2[s, j] if labels.start_next[s, j] == i else labels.start[s, j]
                    )
                    if before >= UNREACHABLE or rest >= UNREACHABLE or before + rest > limit:
                        continue
                    x = before + cost[k, j, s] * scale - multiplier[j]
                    if i == back[end, j]:
                        f1[end, j] = min(f1[end, j], x)
                    elif x < f1[end, j]:
                        f2[end, j] = f1[end, j]
                        f1[end, j], back[end, j] = x, i
                    elif x < f2[end, j]:
                        f2[end, j] = x
                    if lap == laps:
                        if size == arcs.shape[0]:
                            return -1
                        arcs[size, 0], arcs[size, 1] = t, i
                        arcs[size, 2], arcs[size, 3] = j, end
                        size += 1
    return size


def residual_network(
    tables: CutTables, plan: Plan, multiplier: Float, *, most: int
) -> ResidualNetwork | None:
    """Network of all plans that cost at most as much as `plan`; None beyond `most` arcs.

    multiplier : (job,); the result holds for any, and those of the bound leave fewest arcs.
    """
    _, crews, jobs, slots = tables.shape
    network = network_of(tables, 0, multiplier_scale(tables, plan.member_cost))
    whole = whole_multiplier(tables, network, multiplier)
    begin, stand, paid = state_after_locks(tables, 0)
    order, space = np.zeros((1, slots + jobs), np.int16), pricing_workspace(jobs, slots)
    least, labels = np.zeros(crews, np.int64), [labels_of(jobs, slots) for _ in range(crews)]
    for k in range(crews):
        price_paths(
            network, whole, k, begin[k], stand[k], order, least[k : k + 1], labels[k], space
        )
    bound = int(whole.sum() + least.sum())
    slack = (int(plan.member_cost[0]) - paid) * network.scale - bound
    arcs: list[NDArray[np.int32]] = []
    stops = np.zeros((crews, slots + 1, jobs + 1), np.bool_)
    f1, f2, back = (np.zeros(stops.shape[1:], np.int64) for _ in range(3))
    forward = ForwardLabels(reach=f1, reach_2=f2, back=back)
    for k in range(crews):
        own = np.zeros((most - sum(map(len, arcs)), 4), np.int32)
        size = _open_arcs(
            network, whole, k, begin[k], stand[k], labels[k], least[k] + slack, forward, own
        )
        if size < 0:
            return None
        arcs.append(own[:size])
        stops[k] = f1 <= least[k] + slack
    leaves = (tables.leave_cost * network.scale - whole <= slack) & ~network.banned
    return ResidualNetwork(
        arcs=tuple(arcs), stops=stops, leaves=leaves, begin=begin, stand=stand, paid=paid
    )


def solve_residual(
    tables: CutTables,
    plan: Plan,
    multiplier: Float,
    *,
    seconds: float,
    objective: str = MEAN,
    settings: Settings = DEFAULTS,
) -> tuple[Plan, float]:
    """Solve the residual network of one member with CP-SAT.

    Parameters
    ----------
    multiplier : (job,) multipliers of the bound.
    seconds : limit on CP-SAT's deterministic clock, with one worker, so that runs repeat; about
        half as long by the wall clock.

    Returns
    -------
    The plan or a better one, and a bound on the cost of every plan: 0 where too many arcs are open
    for the time, the plan's cost where the plan is proved optimal.

    Raises
    ------
    ValueError
        Where the tables have more than one member: an order then has more than one clock.
    """
    if tables.shape[0] != 1:
        raise ValueError(f"solve_residual: want one member, got {tables.shape[0]}")
    most = int(settings.arcs_per_second * seconds)
    network = residual_network(tables, plan, multiplier, most=most)
    if network is None:
        return plan, 0.0
    # the solver takes most of a second to import, and few tables need it
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    taken = _fill_model(model, tables, plan, network)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = seconds
    # the linear relaxation is nearly integral, so all of it is wanted at once, and its bound
    # followed; probing costs seconds and gives nothing
    solver.parameters.linearization_level = 2
    solver.parameters.add_lp_constraints_lazily = False
    solver.parameters.optimize_with_lb_tree_search = True
    solver.parameters.cp_model_probing_level = 0
    status = solver.solve(model)
    assert status != cp_model.INFEASIBLE, "the plan itself consists of open arcs"
    # costs are whole numbers, so a bound between two of them is as good as the upper one
    bound = network.paid + max(0.0, np.ceil(solver.best_objective_bound - 1e-6))
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        ends = {arc: end for arc, (x, end) in taken.items() if solver.value(x)}
        found = evaluate(tables, _orders(tables, network, ends), objective=objective)
        plan = min(plan, found, key=lambda p: p.cost)
    return plan, min(float(bound), float(plan.member_cost[0]))


def _orders(tables: CutTables, network: ResidualNetwork, ends: dict[Arc, int]) -> Orders:
    """Orders made of the arcs taken, given with their ends."""
    follows = {arc[:3]: arc[3] for arc in ends}
    rows = [list(first) for first in tables.prefixes]
    for k, row in enumerate(rows):
        t, i = int(network.begin[k]), int(network.stand[k])
        while (k, t, i) in follows:
            j = follows[k, t, i]
            row.append(j)
            t, i = ends[k, t, i, j], j
    return tuple(tuple(row) for row in rows)


def _arcs_of(tables: CutTables, plan: Plan, network: ResidualNetwork) -> set[Arc]:
    """The plan's own arcs after the locked jobs."""
    out = set()
    for k, row in enumerate(plan.orders):
        t, i = int(network.begin[k]), int(network.stand[k])
        for j in row[len(tables.prefixes[k]) :]:
            if plan.finish[0, j] >= 0:
                out.add((k, t, i, j))
                t, i = int(plan.finish[0, j]), j
    return out


def _fill_model(
    model: CpModel, tables: CutTables, plan: Plan, network: ResidualNetwork
) -> dict[Arc, tuple[IntVar, int]]:
    """Model: each job done once or left, each crew on one path; variables and ends of the arcs."""
    own = _arcs_of(tables, plan, network)
    taken: dict[Arc, tuple[IntVar, int]] = {}
    money: list[LinearExpr] = []
    doing: list[list[IntVar]] = [[] for _ in range(tables.shape[2])]
    place = [model.new_int_var(0, len(doing), "") for _ in doing]
    for k, arcs in enumerate(network.arcs):
        for t, i, j, end in arcs.tolist():
            x = model.new_bool_var("")
            model.add_hint(x, (k, t, i, j) in own)
            taken[k, t, i, j] = x, end
            doing[j].append(x)
            money.append(int(tables.cost[0, k, j, t + tables.move[k, i, j]]) * x)
            if end == t and i != network.stand[k]:
                # subtours of jobs that take no time are kept out by their places in the order
                model.add(place[j] > place[i]).only_enforce_if(x)
    _conserve_flow(model, network, taken)
    for j in set(range(len(doing))) - {j for first in tables.prefixes for j in first}:
        if network.leaves[j]:
            x = model.new_bool_var("")
            model.add_hint(x, bool(plan.finish[0, j] < 0))
            doing[j].append(x)
            money.append(int(tables.leave_cost[j]) * x)
        model.add_exactly_one(doing[j])
    model.minimize(sum(money))
    return taken


def _conserve_flow(
    model: CpModel, network: ResidualNetwork, taken: dict[Arc, tuple[IntVar, int]]
) -> None:
    """A crew that reaches a state goes on from it, or stops where it may."""
    arriving: dict[tuple[int, int, int], list[IntVar | int]] = defaultdict(list)
    leaving: dict[tuple[int, int, int], list[IntVar]] = defaultdict(list)
    for (k, t, i, j), (x, end) in taken.items():
        leaving[k, t, i].append(x)
        arriving[k, end, j].append(x)
    for k, (t, i) in enumerate(zip(network.begin, network.stand, strict=True)):
        arriving[k, int(t), int(i)].append(1)
    for state, come in arriving.items():
        go = sum(leaving[state])
        model.add(go <= sum(come) if network.stops[state] else go == sum(come))
