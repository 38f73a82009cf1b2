"""What decides each crew's first field: assumptions and observations that would change it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from scheduler.explanation.fallback import begun_first
from scheduler.field_work.policy import Orders
from scheduler.field_work.tables import Float, WorkTables
from scheduler.orders.decision import Decision, Difference, difference
from scheduler.orders.model import CrewOrders, Deciding, DecidingCause
from scheduler.solver.policy_search import Evaluator

#: Points by which the grain of the first field may be wetter or drier than modelled: about the
#: standard error of the grain model (`readiness.season.uncertainty.GRAIN_SD`).
GRAIN_POINTS = 1.0
#: Other fields of the crew's order that are tried first; assumed: farther ones do not compete.
RIVALS = 4


def deciding_causes(decision: Decision, crews: tuple[CrewOrders, ...]) -> tuple[Deciding, ...]:
    """Changes of an assumption, each alone, under which another first field would save money.

    The plan and the plans with another first field are played under each change, on all members.
    The wetter and the drier half of the members stand for the forecast. A change is named where
    the saving exceeds the price of a change and two standard errors.
    """
    work, names = decision.work, {}
    for j, job in enumerate(work.jobs):
        names[work.field(j).id, job.parcel] = j
    out = []
    for k, crew in enumerate(crews):
        jobs = [names[o.field, o.parcel] for o in crew.orders]
        if len(jobs) < 2 or any(decision.locked[k]):
            continue
        rivals = [(j, begun_first(decision.policy.orders, k, j)) for j in jobs[1 : 1 + RIVALS]]
        for cause, tables, members in _changes(work.tables, jobs[0]):
            saving, rival = _best_saving(decision, tables, members, rivals)
            if saving.real and saving.mean > work.farm.rules.change_price:
                out.append(
                    Deciding(
                        crew=crew.crew,
                        field_name=work.field(jobs[0]).name,
                        cause=cause,
                        other_name=work.field(rival).name,
                        saving=saving.mean,
                        error=saving.error,
                    )
                )
    return tuple(out)


def _changes(
    tables: WorkTables, first: int
) -> Iterator[tuple[DecidingCause, WorkTables, np.ndarray]]:
    """Changes to try, each with its tables and the members that it is judged on."""
    every = np.arange(tables.shape[0])
    for cause, points in (
        (DecidingCause.GRAIN_WETTER, GRAIN_POINTS),
        (DecidingCause.GRAIN_DRIER, -GRAIN_POINTS),
    ):
        wet, prospect = tables.wet.copy(), tables.prospect.copy()
        wet[:, :, first] += np.float32(points)
        prospect[:, :, first] += np.float32(points)
        yield cause, replace(tables, wet=wet, prospect=prospect), every
    for cause, factor in (
        (DecidingCause.UNCUT_WORTH_MORE, 0.5),
        (DecidingCause.UNCUT_WORTH_LESS, 2.0),
    ):
        yield cause, replace(tables, leave_cost=tables.leave_cost * factor), every
    open_slots = np.isfinite(tables.wet).sum(axis=(1, 2))
    middle = np.median(open_slots)
    yield DecidingCause.WETTER_WEATHER, tables, np.flatnonzero(open_slots <= middle)
    yield DecidingCause.DRIER_WEATHER, tables, np.flatnonzero(open_slots >= middle)


def _best_saving(
    decision: Decision, tables: WorkTables, members: np.ndarray, rivals: list[tuple[int, Orders]]
) -> tuple[Difference, int]:
    """Largest saving of a plan with another first field, and that field."""
    evaluator = Evaluator(tables)
    plan: Float = evaluator.loss(decision.policy)[members]
    savings = [
        (difference(plan, evaluator.loss(replace(decision.policy, orders=o))[members]), j)
        for j, o in rivals
    ]
    return max(savings, key=lambda s: s[0].mean)
