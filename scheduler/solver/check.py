"""The checker: solver-free; it times every order member by member and lists every violation."""

from __future__ import annotations

from collections import Counter

import numpy as np

from scheduler.solver.tables import (
    FEASIBLE,
    INFEASIBLE,
    MEAN,
    NO_PLAN,
    OPTIMAL,
    UNPROVED,
    CutTables,
    Plan,
    objective_of,
)

#: Costs that differ by a smaller share are equal: float64 sums in another order.
COST_TOLERANCE = 1e-9


def check(tables: CutTables, plan: Plan, *, objective: str = MEAN) -> list[str]:
    """List every violation of the rules by a plan; the list is empty for a sound plan.

    Rules: each job is ordered once or left; locked jobs come first; every start, finish and cost
    is that of the tables; the bound is not above the cost; the status follows from the bound.
    """
    if plan.status in (INFEASIBLE, NO_PLAN):
        return [f"status {plan.status!r} comes with orders"] if any(plan.orders) else []
    wrong = _membership(tables, plan) or _timing(tables, plan)
    return wrong + _prefix(tables, plan) + _money(tables, plan, objective) + _proof(plan)


def _membership(tables: CutTables, plan: Plan) -> list[str]:
    """Violations of the rule that each job is ordered once or left."""
    _, crews, jobs, _ = tables.shape
    if len(plan.orders) != crews:
        return [f"orders are for {len(plan.orders)} crews, the tables have {crews}"]
    seen = Counter(j for order in plan.orders for j in order)
    left = Counter(plan.left)
    out = [f"there is no job {j}" for j in sorted(seen | left) if not 0 <= j < jobs]
    for j in range(jobs):
        if seen[j] > 1:
            out.append(f"job {j} is ordered {seen[j]} times")
        if left[j] > 1:
            out.append(f"job {j} is left {left[j]} times")
        if seen[j] and left[j]:
            out.append(f"job {j} is ordered and left")
        if not seen[j] and not left[j]:
            out.append(f"job {j} is neither ordered nor left")
    return out


def _prefix(tables: CutTables, plan: Plan) -> list[str]:
    """Violations of the locks."""
    return [
        f"crew {k} must begin with {first}, begins with {order[: len(first)]}"
        for k, (first, order) in enumerate(zip(tables.prefixes, plan.orders, strict=False))
        if order[: len(first)] != first
    ]


def _timing(tables: CutTables, plan: Plan) -> list[str]:
    """Starts, finishes and member costs that are not those of the tables."""
    members, _, jobs, slots = tables.shape
    if plan.start.shape != (members, jobs) or plan.finish.shape != (members, jobs):
        return [f"start and finish must have shape {(members, jobs)}"]
    if plan.member_cost.shape != (members,):
        return [f"member_cost must have shape {(members,)}"]
    out = []
    for m in range(members):
        money = sum(int(tables.leave_cost[j]) for j in plan.left)
        for j in plan.left:
            out += _compare(m, j, (-1, -1), plan)
        for k, order in enumerate(plan.orders):
            at, free = jobs, int(tables.ready[k])
            for j in order:
                s = free + int(tables.move[k, at, j])
                end = int(tables.finish[m, k, j, s]) if s < slots else -1
                if end < 0:
                    money += int(tables.leave_cost[j])
                    out += _compare(m, j, (-1, -1), plan)
                    continue
                money += int(tables.cost[m, k, j, s])
                out += _compare(m, j, (s, end), plan)
                at, free = j, end
        if abs(money - plan.member_cost[m]) > COST_TOLERANCE * max(1.0, abs(money)):
            out.append(f"member {m} costs {money}, the plan says {plan.member_cost[m]}")
    return out


def _compare(m: int, j: int, want: tuple[int, int], plan: Plan) -> list[str]:
    """Differences between the right (start, finish) of a job in a member and the plan's."""
    names = ("starts", "finishes")
    got = (int(plan.start[m, j]), int(plan.finish[m, j]))
    return [
        f"member {m}: job {j} {name} at {w}, the plan says {g}"
        for name, w, g in zip(names, want, got, strict=True)
        if w != g
    ]


def _money(tables: CutTables, plan: Plan, objective: str) -> list[str]:
    """Violation of the rule that the cost is the objective over the members' costs."""
    if plan.member_cost.shape != tables.weight.shape:
        return []
    want = objective_of(plan.member_cost, tables.weight, objective=objective)
    if not np.isfinite(plan.cost) or abs(want - plan.cost) > COST_TOLERANCE * max(1.0, abs(want)):
        return [f"the {objective} over members is {want}, the plan says {plan.cost}"]
    return []


def _proof(plan: Plan) -> list[str]:
    """Violations of the rules for bound and status."""
    same = COST_TOLERANCE * max(1.0, abs(plan.cost))
    if plan.status not in (OPTIMAL, FEASIBLE, UNPROVED):
        return [f"there is no status {plan.status!r}"]
    if plan.bound is None:
        return [] if plan.status == UNPROVED else [f"status {plan.status!r} needs a bound"]
    out = []
    if plan.status == UNPROVED:
        out.append("status 'unproved' comes with a bound")
    if plan.bound > plan.cost + same:
        out.append(f"bound {plan.bound} is above the cost {plan.cost}")
    if (plan.status == OPTIMAL) != (plan.bound >= plan.cost - same):
        out.append(f"status {plan.status!r} with bound {plan.bound} and cost {plan.cost}")
    return out
