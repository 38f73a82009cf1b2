"""Lower bound: that each job is done once is priced instead of enforced.

In one member, each job is given a prize. Every crew then takes the walk through time that costs
least after prizes: from slot to slot by the tables, with the moves of each pair, any job any
number of times but never i, j, i. The walks' cost plus all prizes is below the cost of every
plan, whatever the prizes; the prizes are moved to raise it (Lagrangian relaxation, climbed by
a bundle method: `bundle_model`). Its best value is that of the time-indexed linear relaxation with
moves by pair, or better. All sums are of whole numbers, so the bound is exact.

Over members, no order does better in a member than orders made knowing it. So the mean, or the
mean of the worst fifth, of the members' bounds is below that of every fixed order. The gap to it
holds what the relaxation loses and the value of perfect foresight, which no plan can earn;
`common_order` takes most of that back.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from collections import deque
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.solver.bundle_model import DEVIATIONS, NO_PATH, BundleModel, PathsFound
from scheduler.solver.evaluation import evaluate, state_after_locks
from scheduler.solver.pricing import (
    UNREACHABLE,
    end_slots,
    multiplier_scale,
    price_paths,
    pricing_workspace,
)
from scheduler.solver.tables import CutTables, Float, Plan

#: Turns after which the bound of one member hardly rises, and for each of several, whose prices go
#: on from there in `common_order`; assumed, from trial farms of 30 to 100 fields.
TURNS, EACH = 400, 25
#: Prizes move by the root of their share in the mean, within these limits; assumed: walks come to
#: small jobs dozens of times, and their prizes must not leap.
LEAST, MOST = 0.1, 3.0
#: Turns that must take away so much of the gap still open, or no more follow; assumed, as above.
STALE, RISE = 50, 0.01


@dataclass(frozen=True, kw_only=True)
class MemberBounds:
    """What is proved of each member alone.

    Attributes
    ----------
    member_bound : (member,) no orders cost less in the member, even if it were known beforehand.
    walks : per member, (turn, crew, step) walks last met on the way up, -1 after the last job; at
        the end they are nearly plans, with some jobs twice and some not at all.
    cost : per member, (turn, crew) what these walks cost before prizes.
    prize : (member, job) the prizes that prove it.
    """

    member_bound: Float
    walks: tuple[NDArray[np.int16], ...]
    cost: tuple[Float, ...]
    prize: Float


def bound_members(
    tables: CutTables, plan: Plan, *, turns: int = TURNS, keep: int = 1
) -> MemberBounds:
    """Bound every member as if it were known beforehand.

    Parameters
    ----------
    plan : a good plan: prizes begin from what each job adds to its cost, and each bound may stop
        at it.
    turns : most times the prizes are moved.
    keep : walks of how many last turns to keep.
    """
    members, _, jobs, _ = tables.shape
    banned = np.zeros(jobs, np.bool_)
    banned[[j for first in tables.prefixes for j in first]] = True
    scale = multiplier_scale(tables, plan.member_cost)
    prize = marginal_costs(tables, plan)

    def one(m: int) -> tuple[int, NDArray[np.int16], Float, Float]:
        return _climbed(tables, m, banned, scale, prize[m], float(plan.member_cost[m]), turns, keep)

    with ThreadPoolExecutor(max_workers=2) as pool:
        found = list(pool.map(one, range(members)))
    return MemberBounds(
        member_bound=np.array([b for b, *_ in found], np.float64),
        walks=tuple(w for _, w, _, _ in found),
        cost=tuple(c for _, _, c, _ in found),
        prize=np.array([p for *_, p in found]),
    )


def marginal_costs(tables: CutTables, plan: Plan) -> Float:
    """(member, job) what each job adds to a plan's cost; leaving it where it cannot be done."""
    prize = np.empty((tables.shape[0], tables.shape[2]))
    for j, leave in enumerate(tables.leave_cost):
        without = evaluate(tables, [[i for i in row if i != j] for row in plan.orders]).member_cost
        prize[:, j] = np.clip(plan.member_cost - without + leave, 0.0, leave)
    # by the tables' rule, what cannot be done from the first slot on cannot be done later
    never = (tables.finish[:, :, :, 0] < 0).all(axis=1)
    return np.where(never, tables.leave_cost, prize)


def _sizes(prize: Float) -> Float:
    mean = max(1.0, float(np.abs(prize).mean()))
    return np.clip(np.sqrt(np.abs(prize) / mean), LEAST, MOST)


def _climbed(
    tables: CutTables, m: int, banned: NDArray[np.bool_], scale: int, prize: Float, enough: float,
    turns: int, keep: int,
) -> tuple[int, NDArray[np.int16], Float, Float]:  # fmt: skip
    """One member's best bound, the walks of the last turns with their costs, and the best prizes.

    Prizes are whole numbers of 1 / scale, so the bound is a sum of whole numbers, and exact.
    """
    crews, jobs, slots = tables.shape[1:]
    begin, stand, paid = state_after_locks(tables, m)
    ends, space = end_slots(tables.finish[m], banned), tuple(pricing_workspace(jobs, slots))
    order = np.full((1, crews, 1 + DEVIATIONS, slots + jobs), -1, np.int16)
    met = PathsFound(
        job=order, level=np.zeros_like(order), value=np.zeros((1, crews, 1 + DEVIATIONS))
    )
    money = np.zeros((crews, 1 + DEVIATIONS), np.int64)
    model = BundleModel(
        weight=np.ones(1), paid=np.array([float(paid)]), leave=tables.leave_cost.astype(np.float64),
        banned=banned, share=np.array([[1.0], [0.0]]), met=met, prize=prize, size=_sizes(prize),
    )  # fmt: skip
    none = np.zeros((1, crews, 2, jobs))
    best, kept = -1, prize
    walks, costs = deque[NDArray[np.int16]](maxlen=keep), deque[Float](maxlen=keep)
    mark, since = 0.0, 0
    for turn in range(turns):
        whole = np.minimum(np.round(prize * scale).astype(np.int64), tables.leave_cost * scale)
        whole[banned] = 0
        prize, total = whole / scale, int(whole.sum()) + paid * scale
        for k in range(crews):
            price_paths(
                tables.finish[m], tables.cost[m], tables.move, ends, whole, banned, scale, k,
                begin[k], stand[k], order[0, k], money[k], *space,
            )  # fmt: skip
        total += int(money[:, 0].sum())
        met.value[0] = np.where(money < UNREACHABLE, money / scale, NO_PATH)
        walks.append(order[0, :, 0].copy())
        earned = np.append(prize, 0.0)
        costs.append(money[:, 0] / scale + earned[walks[-1]].sum(axis=1))
        if total > best:
            best, kept = total, prize
        # costs are whole numbers, so a bound between two of them is as good as the upper
        if -(-best // scale) >= enough or turn - since >= STALE:
            break
        if turn == 0 or best / scale >= mark + RISE * (enough - mark):
            mark, since = best / scale, turn
        model.note(met, prize, none)
        prize, _ = model.move(total / scale, prize, none)
    return max(0, -(-best // scale)), np.array(walks), np.array(costs), kept
