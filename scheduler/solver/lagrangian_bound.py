"""Lower bound for each member: Lagrangian relaxation of the rule that each job is done once.

Each job's cover row (done once or left) gets a Lagrange multiplier. The crews then take their
cheapest paths through time independently (`pricing`), and the bound is the sum of the multipliers
plus the value of these paths, whatever the multipliers. A bundle method moves the multipliers to
raise the bound (`bundle_model`). Its best value is at least that of the time-indexed linear
relaxation with moves by pair. All sums are of whole numbers, so the bound is exact.

Over members, a fixed order costs no less in a member than the order made knowing the member. So
the mean, or the mean of the worst fifth, of the members' bounds is a bound for every fixed order.
The gap to it contains the expected value of perfect information, which no plan can earn;
`common_order` recovers most of that.

References
----------
Geoffrion 1974, Mathematical Programming Study 2, 82-114 (Lagrangian relaxation).
Sousa and Wolsey 1992, Mathematical Programming 54, 353-367 (time-indexed model; from memory).
"""

from __future__ import annotations

from collections import deque
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.solver.bundle_model import NO_PATH, BundleModel, PathsFound
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
from scheduler.solver.tables import CutTables, Float, Plan

#: Least step size of a job relative to the others: no multiplier stands still. Twice and half of it
#: change no plan and no bound on the tables that settings are measured on.
LEAST_STEP_SIZE = 0.1


@dataclass(frozen=True, kw_only=True)
class MemberBounds:
    """What is proved of each member alone.

    Attributes
    ----------
    bound : (member,) no orders cost less in the member, even if it were known beforehand.
    paths : per member, (iteration, crew, step) cheapest paths of the last iterations, -1 after the
        last job; by the end they are nearly a plan, with some jobs twice and some missing.
    path_cost : per member, (iteration, crew) cost of these paths before multipliers.
    multiplier : (member, job) multipliers that prove the bound.
    """

    bound: Float
    paths: tuple[NDArray[np.int16], ...]
    path_cost: tuple[Float, ...]
    multiplier: Float


@dataclass(frozen=True, kw_only=True)
class _Ascent:
    """Best bound of one member, with its multipliers and the last iterations' paths."""

    bound: int
    multiplier: Float
    paths: NDArray[np.int16]
    path_cost: Float


def bound_members(
    tables: CutTables,
    plan: Plan,
    *,
    iterations: int = DEFAULTS.iterations,
    keep: int = 1,
    settings: Settings = DEFAULTS,
) -> MemberBounds:
    """Bound every member as if it were known beforehand.

    Parameters
    ----------
    plan : a good plan: the multipliers begin at the marginal costs of its jobs, and each bound may
        stop at its cost.
    iterations : most moves of the multipliers.
    keep : number of last iterations whose paths are kept.
    """
    members = range(tables.shape[0])
    first = marginal_costs(tables, plan)

    def ascend(m: int) -> _Ascent:
        return _ascend(tables, plan, m, first[m], iterations, keep, settings)

    with ThreadPoolExecutor(max_workers=2) as pool:
        found = list(pool.map(ascend, members))
    return MemberBounds(
        bound=np.array([a.bound for a in found], np.float64),
        paths=tuple(a.paths for a in found),
        path_cost=tuple(a.path_cost for a in found),
        multiplier=np.array([a.multiplier for a in found]),
    )


def marginal_costs(tables: CutTables, plan: Plan) -> Float:
    """(member, job) cost that each job adds to a plan; where it cannot be done, that of leaving."""
    marginal = np.empty((tables.shape[0], tables.shape[2]))
    for j, leave in enumerate(tables.leave_cost):
        without = evaluate(tables, [[i for i in row if i != j] for row in plan.orders]).member_cost
        marginal[:, j] = np.clip(plan.member_cost - without + leave, 0.0, leave)
    # by the rule of the tables, a job that cannot be done from the first slot cannot be done later
    never = (tables.finish[:, :, :, 0] < 0).all(axis=1)
    return np.where(never, tables.leave_cost, marginal)


def _scaling(multiplier: Float, settings: Settings) -> Float:
    """(job,) relative step sizes; paths visit small jobs often, whose multipliers must not jump."""
    mean = max(1.0, float(np.abs(multiplier).mean()))
    root = np.sqrt(np.abs(multiplier) / mean)
    return np.clip(root, LEAST_STEP_SIZE, settings.greatest_step_size)


def _ascend(
    tables: CutTables,
    plan: Plan,
    m: int,
    multiplier: Float,
    iterations: int,
    keep: int,
    settings: Settings,
) -> _Ascent:
    """Raise the bound of member m until it meets the plan's cost or stalls.

    Multipliers are whole numbers of 1 / scale, so the bound is a sum of whole numbers, and exact.
    """
    crews, jobs, slots = tables.shape[1:]
    enough = float(plan.member_cost[m])
    network = network_of(tables, m, multiplier_scale(tables, plan.member_cost))
    scale = network.scale
    begin, stand, paid = state_after_locks(tables, m)
    labels, space = labels_of(jobs, slots), pricing_workspace(jobs, slots)
    paths = 1 + settings.deviations
    order = np.full((1, crews, paths, slots + jobs), -1, np.int16)
    found = PathsFound(job=order, level=np.zeros_like(order), value=np.zeros((1, crews, paths)))
    value = np.zeros((crews, paths), np.int64)
    model = BundleModel(
        weight=np.ones(1),
        fixed_cost=np.array([float(paid)]),
        leave=tables.leave_cost.astype(np.float64),
        banned=network.banned,
        knot_share=np.array([[1.0], [0.0]]),
        found=found,
        multiplier=multiplier,
        scaling=_scaling(multiplier, settings),
        settings=settings,
    )
    no_places = np.zeros((1, crews, 2, jobs))
    best, best_multiplier = -1, multiplier
    last_paths = deque[NDArray[np.int16]](maxlen=keep)
    last_costs = deque[Float](maxlen=keep)
    mark, marked_at = 0.0, 0
    for iteration in range(iterations):
        whole = whole_multiplier(tables, network, multiplier)
        multiplier = whole / scale
        for k in range(crews):
            price_paths(network, whole, k, begin[k], stand[k], order[0, k], value[k], labels, space)
        total = int(whole.sum()) + paid * scale + int(value[:, 0].sum())
        found.value[0] = np.where(value < UNREACHABLE, value / scale, NO_PATH)
        last_paths.append(order[0, :, 0].copy())
        collected = np.append(multiplier, 0.0)
        last_costs.append(value[:, 0] / scale + collected[last_paths[-1]].sum(axis=1))
        if total > best:
            best, best_multiplier = total, multiplier
        # costs are whole numbers, so a bound between two of them is as good as the upper one
        if -(-best // scale) >= enough or iteration - marked_at >= settings.stall_iterations:
            break
        if iteration == 0 or best / scale >= mark + settings.stall_gap * (enough - mark):
            mark, marked_at = best / scale, iteration
        model.add(found, multiplier, no_places)
        multiplier, _ = model.step(total / scale, multiplier, no_places)
    return _Ascent(
        bound=max(0, -(-best // scale)),
        multiplier=best_multiplier,
        paths=np.array(last_paths),
        path_cost=np.array(last_costs),
    )
