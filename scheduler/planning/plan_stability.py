"""Plan stability: the previous orders stay unless a change saves more than it costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from scheduler.costs.standing_loss import StandingLoss
from scheduler.cut_tables.compiled import Compiled
from scheduler.farm.slots import utc_hour
from scheduler.orders.model import CrewOrders, Order
from scheduler.solver.annealing import short_search
from scheduler.solver.tables import FEASIBLE, Orders, Plan

#: Moves of the search that keeps today's orders; assumed.
KEEP_MOVES = 60_000
#: Share of the cost by which two searches of the same tables may differ; assumed from runs on the
#: sample farm. A plan that is better by less is not better.
NOISE = 0.002


def _job(standing_loss: StandingLoss, order: Order) -> int | None:
    """The job of a previous order; None where the job is done."""
    for j, job in enumerate(standing_loss.jobs):
        if standing_loss.field(j).id == order.field and job.parcel == order.parcel:
            return j
    return None


def previous_crew_of_job(
    standing_loss: StandingLoss, crews: Mapping[str, int], previous: Sequence[CrewOrders]
) -> dict[int, int]:
    """Crew of each job in the previous orders; `crews` gives the crews' indices."""
    return {
        j: crews[c.crew]
        for c in previous
        if c.crew in crews
        for o in c.orders
        if (j := _job(standing_loss, o)) is not None
    }


def stable_plan(
    compiled: Compiled, plan: Plan, previous: Sequence[CrewOrders], *, seed: int
) -> Plan:
    """Keep the previous orders of the next 24 hours unless the new plan saves enough.

    The alternative to `plan` is the best plan found that begins with those orders. Every one of
    them that `plan` does not begin with costs `rules.change_price`, and the saving must also
    exceed the noise of the search.
    """
    required = previous_job_orders(
        compiled, previous, compiled.standing_loss.slots[0] + np.timedelta64(24, "h")
    )
    changes = sum(
        j not in plan.orders[k][: len(order)] for k, order in enumerate(required) for j in order
    )
    if changes == 0:
        return plan
    locked_tables = replace(compiled.tables, locked=tuple(enumerate(required)))
    rules = compiled.farm.rules
    kept = short_search(locked_tables, seed=seed, objective=rules.objective, moves=KEEP_MOVES)
    if plan.cost + max(changes * rules.change_price * 100.0, NOISE * plan.cost) < kept.cost:
        return plan
    status = kept.status if plan.bound is None else FEASIBLE
    return replace(kept, bound=plan.bound, status=status)


def previous_job_orders(
    compiled: Compiled, previous: Sequence[CrewOrders], before: np.datetime64 | None = None
) -> Orders:
    """Orders by crew: its locked jobs, then those of its previous orders that start `before`."""
    out = list(compiled.tables.prefixes)
    crews = {g.crew: k for k, g in enumerate(compiled.makeup)}
    locked = {j for first in out for j in first}
    for c in previous:
        if c.crew in crews:
            jobs = [
                _job(compiled.standing_loss, o)
                for o in c.orders
                if before is None or utc_hour(o.start.mid) < before
            ]
            out[crews[c.crew]] += tuple(j for j in jobs if j is not None and j not in locked)
    return tuple(out)
