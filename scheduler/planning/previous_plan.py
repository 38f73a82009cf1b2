"""The previous plan, as a new morning needs it: who has which machines, and who cuts what when."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from scheduler.field_work.play import Outcome
from scheduler.field_work.policy import Orders, Policy
from scheduler.orders.model import CrewOrders
from scheduler.planning.dispatch_rules import lists_of
from scheduler.work_tables.compile import FarmWork
from scheduler.work_tables.crew_makeup import MakeUp

#: A field or part of it: id and part.
JobName = tuple[str, str]


@dataclass(frozen=True, kw_only=True)
class PreviousPlan:
    """Orders of an earlier morning by the names of crews, machines and fields.

    Attributes
    ----------
    crew_of_machine : crew of each machine.
    orders : by crew, the ranked list of its policy.
    first : by crew, the field that it begins first.
    start_pct : start moisture of each field on later days, percent.
    patience_min, leave_min : by crew; see `Policy`.
    stop_margin, move_weight, moisture_weight : see `Policy`.
    """

    crew_of_machine: Mapping[str, str]
    orders: Mapping[str, tuple[JobName, ...]]
    first: Mapping[str, JobName] = field(default_factory=dict)
    start_pct: Mapping[JobName, float] = field(default_factory=dict)
    patience_min: Mapping[str, float] = field(default_factory=dict)
    leave_min: Mapping[str, float] = field(default_factory=dict)
    stop_margin: float = 0.0
    move_weight: float = 0.0
    moisture_weight: float = 0.0


def machine_ids(makeup: MakeUp) -> dict[str, str]:
    """Crew of each machine of a make-up."""
    return {
        m.id: crew.crew
        for crew in makeup
        for kind in (crew.combines, crew.carts, crew.trucks)
        for m in kind
    }


def job_names(work: FarmWork) -> list[JobName]:
    """Names of the jobs of work tables."""
    return [(work.field(j).id, job.parcel) for j, job in enumerate(work.jobs)]


def jobs_of(names: Sequence[JobName], name: JobName) -> list[int]:
    """The job of a name; where no job has that name, all jobs of the field."""
    same = [j for j, other in enumerate(names) if other == name]
    return same or [j for j, (field_id, _) in enumerate(names) if field_id == name[0]]


def previous_plan(crews: Sequence[CrewOrders]) -> PreviousPlan:
    """The previous plan from its orders; an older plan has no list but the orders themselves."""
    return PreviousPlan(
        crew_of_machine={m: c.crew for c in crews for m in (*c.combines, *c.carts, *c.trucks)},
        orders={c.crew: c.ranked or tuple((o.field, o.parcel) for o in c.orders) for c in crews},
        first={c.crew: (c.orders[0].field, c.orders[0].parcel) for c in crews if c.orders},
        start_pct={
            (o.field, o.parcel): o.later_pct
            for c in crews
            for o in c.orders
            if math.isfinite(o.later_pct)
        },
        patience_min={c.crew: c.patience_min for c in crews},
        leave_min={c.crew: c.leave_min for c in crews},
        stop_margin=crews[0].stop_margin if crews else 0.0,
        move_weight=crews[0].move_weight if crews else 0.0,
        moisture_weight=crews[0].moisture_weight if crews else 0.0,
    )


def first_jobs(work: FarmWork, outcome: Outcome) -> dict[str, JobName]:
    """The job that each crew begins first, by crew, in the member of median loss."""
    names = job_names(work)
    begun = lists_of(outcome, work.tables.weight)
    return {
        machines.crew: names[row[0]]
        for machines, row in zip(work.makeup, begun, strict=True)
        if row
    }


def plan_of(work: FarmWork, policy: Policy, outcome: Outcome) -> PreviousPlan:
    """A policy, with the outcome of its play, as the previous plan of the next morning."""
    names, crews = job_names(work), [m.crew for m in work.makeup]
    return PreviousPlan(
        crew_of_machine=machine_ids(work.makeup),
        orders={
            crew: tuple(names[j] for j in row)
            for crew, row in zip(crews, policy.orders, strict=True)
        },
        first=first_jobs(work, outcome),
        start_pct=dict(zip(names, policy.start[1].tolist(), strict=True)),
        patience_min=dict(zip(crews, policy.patience.tolist(), strict=True)),
        leave_min=dict(zip(crews, policy.leave.tolist(), strict=True)),
        stop_margin=policy.stop_margin,
        move_weight=policy.move_weight,
        moisture_weight=policy.moisture_weight,
    )


def previous_policy(
    work: FarmWork, previous: PreviousPlan, base: Policy, *, locked: Orders
) -> Policy:
    """The previous plan as a policy on today's tables; what it lacks is as in `base`.

    A field of a crew that is not there today stands where `base` has it.
    """
    names = job_names(work)
    crews = [m.crew for m in work.makeup]
    fixed = {j for row in locked for j in row}
    rows: list[list[int]] = []
    for k, crew in enumerate(crews):
        own = [j for name in previous.orders.get(crew, ()) for j in jobs_of(names, name)]
        rows.append([*locked[k], *(j for j in dict.fromkeys(own) if j not in fixed)])
    named = {j for row in rows for j in row}
    for row, others in zip(rows, base.orders, strict=True):
        row += [j for j in others if j not in named]
    start = base.start.copy()
    for name, moisture in previous.start_pct.items():
        start[:, jobs_of(names, name)] = moisture
    return Policy(
        orders=tuple(tuple(row) for row in rows),
        start=start,
        stop_margin=previous.stop_margin,
        patience=np.array([previous.patience_min.get(c, 0.0) for c in crews]),
        leave=np.array([previous.leave_min.get(c, 0.0) for c in crews]),
        move_weight=previous.move_weight,
        moisture_weight=previous.moisture_weight,
    )
