"""Where the grain of a job goes, and why not to the first choice."""

from __future__ import annotations

import numpy as np

from scheduler.costs.machine_rates import loads
from scheduler.costs.standing_loss import grain_density
from scheduler.explanation.timing import Cuts
from scheduler.orders.decision import Decision
from scheduler.orders.model import SHUT, TURNED_AWAY, Delivery


def deliveries(
    decision: Decision, k: int, j: int, cuts: Cuts, tonnes: float
) -> tuple[Delivery, ...]:
    """Share out `tonnes` of a job by the delivery points to which the grain of `cuts` goes.

    The first choice comes first. Less than half a load goes to the point that takes most.
    """
    work = decision.work
    points = work.farm.points
    share = np.bincount(cuts.point, cuts.area, len(points))
    share = share / share.sum()
    total_loads = loads(tonnes, work.makeup[k].trucks, grain_density(work.field(j)))
    most = int(share.argmax())
    small = (share * total_loads < 0.5) & (np.arange(len(points)) != most)
    share[most] += share[small].sum()
    share[small] = 0.0
    used = np.flatnonzero(share).tolist()
    shut = ~work.tables.point_open[:, cuts.slot]
    turned_away = np.isnan(work.tables.loss[cuts.member, cuts.slot, j]).T

    def barred(q: int, first: int) -> bool:
        """Whether most of the grain of point `q` could not go to point `first`."""
        return bool((shut[first] | turned_away[first])[cuts.point == q].mean() > 0.5)

    order = sorted(used, key=lambda q: (sum(barred(q, p) for p in used), -share[q]))

    def why(q: int) -> str:
        if q == order[0] or not barred(q, order[0]):
            return ""
        return TURNED_AWAY if turned_away[order[0], cuts.point == q].mean() > 0.5 else SHUT

    return tuple(
        Delivery(
            point=points[q].id, tonnes=tonnes * share[q], loads=total_loads * share[q], why=why(q)
        )
        for q in order
    )
