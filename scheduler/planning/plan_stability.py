"""Earlier orders: what was ordered before, and how much better a new plan must be to change it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from scheduler.costs.standing_loss import StandingLoss
from scheduler.cut_tables.compiled import Compiled
from scheduler.farm.working_time import utc_hour
from scheduler.orders.model import CrewOrders, Order
from scheduler.solver.annealing import short_search
from scheduler.solver.tables import FEASIBLE, Orders, Plan

#: Moves of the search that keeps today's orders; assumed.
STEADY_MOVES = 60_000
#: Share of the cost by which two searches of the same tables may differ; assumed from runs on the
#: sample farm. A plan that is better by less is not better.
NOISE = 0.002


def _job(standing_loss: StandingLoss, order: Order) -> int | None:
    """The job an earlier order speaks of, if it is still to be done."""
    for j, job in enumerate(standing_loss.jobs):
        if standing_loss.field(j).id == order.field and job.parcel == order.parcel:
            return j
    return None


def previous_crew_of_job(
    standing_loss: StandingLoss, crews: Mapping[str, int], last: Sequence[CrewOrders]
) -> dict[int, int]:
    """Job -> crew of the orders issued before."""
    return {
        j: crews[c.crew]
        for c in last
        if c.crew in crews
        for o in c.orders
        if (j := _job(standing_loss, o)) is not None
    }


def stable_plan(compiled: Compiled, plan: Plan, last: Sequence[CrewOrders], *, seed: int) -> Plan:
    """The new plan only if it saves more than its changes to the day's orders cost.

    Against it stands the best plan that begins with what was ordered for the next 24 hours. Each
    of those orders that is not among as many first ones of its crew costs `rules.change_price`,
    and a difference within the search's own noise counts for nothing.
    """
    wanted = previous_job_orders(
        compiled, last, compiled.standing_loss.slots[0] + np.timedelta64(24, "h")
    )
    changes = sum(
        j not in plan.orders[k][: len(order)] for k, order in enumerate(wanted) for j in order
    )
    if changes == 0:
        return plan
    tables = replace(compiled.tables, locked=tuple(enumerate(wanted)))
    rules = compiled.farm.rules
    kept = short_search(tables, seed=seed, objective=rules.objective, moves=STEADY_MOVES)
    if plan.cost + max(changes * rules.change_price * 100.0, NOISE * plan.cost) < kept.cost:
        return plan
    status = kept.status if plan.bound is None else FEASIBLE
    return replace(kept, bound=plan.bound, status=status)


def previous_job_orders(
    compiled: Compiled, last: Sequence[CrewOrders], before: np.datetime64 | None = None
) -> Orders:
    """Per crew, what is locked, then the jobs of its last orders, or of those to start `before`."""
    out = list(compiled.tables.prefixes)
    crews = {g.crew: k for k, g in enumerate(compiled.makeup)}
    locked = {j for first in out for j in first}
    for c in last:
        if c.crew in crews:
            jobs = [
                _job(compiled.standing_loss, o)
                for o in c.orders
                if before is None or utc_hour(o.start.mid) < before
            ]
            out[crews[c.crew]] += tuple(j for j in jobs if j is not None and j not in locked)
    return tuple(out)
