"""Where the grain goes: of a job, and why not to the first choice; and in all, point by point."""

from __future__ import annotations

import numpy as np

from readiness.atmosphere.weather import Array
from scheduler.costs.machine_rates import loads
from scheduler.costs.standing_loss import grain_density
from scheduler.farm.model import Truck
from scheduler.farm.slots import BoolArray
from scheduler.farm.working_time import machine_slots
from scheduler.field_work.play import Cuts
from scheduler.orders.decision import Decision
from scheduler.orders.model import SHUT, TURNED_AWAY, Delivery, PointTotal
from scheduler.work_tables.compile import FarmWork

#: Share of its room below which a delivery point counts as full; assumed, less than a load.
ROOM_LEFT = 0.001


def deliveries(
    decision: Decision, k: int, j: int, cuts: Cuts, tonnes: float
) -> tuple[Delivery, ...]:
    """Share out `tonnes` of a job by the delivery points to which the grain of `cuts` goes.

    The first choice comes first. Loads are those of the trucks that are up then. Less than half a
    load goes to the point that takes most.
    """
    work = decision.work
    points = work.farm.points
    share = np.bincount(cuts.point, cuts.area, len(points))
    share = share / share.sum()
    total_loads = loads(tonnes, _hauling(work, k, cuts), grain_density(work.field(j)))
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


def _hauling(work: FarmWork, k: int, cuts: Cuts) -> list[Truck]:
    """Trucks of crew `k` that are up in some slot of its cuts; all where none is."""
    trucks, slots = work.makeup[k].trucks, work.standing_loss.slots
    up = [machine_slots(t, slots)[cuts.slot].any() for t in trucks]
    return [t for t, hauls in zip(trucks, up, strict=True) if hauls or not any(up)]


def point_totals(decision: Decision) -> tuple[PointTotal, ...]:
    """Grain that the plan brings to each delivery point; no point gets more than its room."""
    work, tables, cuts = decision.work, decision.work.tables, decision.outcome.cuts
    points = work.farm.points
    members = len(decision.outcome.loss)
    tonnes = cuts.area * tables.yield_t[cuts.job]
    per_tonne = np.array(
        [
            [loads(1.0, m.trucks, grain_density(work.field(j))) for j in range(len(work.jobs))]
            for m in work.makeup
        ]
    )

    def mean(values: Array) -> Array:
        return np.bincount(cuts.point, values, len(points)) / members

    total, wheat = mean(tonnes), mean(tonnes * tables.room_factor[cuts.job])
    trips = mean(tonnes * per_tonne[cuts.crew, cuts.job])
    full = (decision.outcome.state.room <= ROOM_LEFT * tables.room).mean(axis=0)
    taken: BoolArray = np.any(tables.accepts, axis=0)  # (job, point)
    return tuple(
        PointTotal(
            point=p.id,
            tonnes=float(total[q]),
            wheat_t=float(wheat[q]),
            loads=float(trips[q]),
            full=float(full[q]) if p.capacity_t is not None else 0.0,
            overflow=tuple(
                other.id
                for r, other in enumerate(points)
                if r != q
                and (p.seed_only or not other.seed_only)
                and (taken[:, q] & taken[:, r]).any()
            ),
        )
        for q, p in enumerate(points)
        if total[q] > 0.0
    )
