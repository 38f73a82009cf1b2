"""What a crew does today and tomorrow, by the clock of one member."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np

from scheduler.explanation.crew_clock import Run
from scheduler.explanation.deliveries import deliveries
from scheduler.explanation.timing import cuts_of, finish_days, minute_time
from scheduler.orders.decision import Decision
from scheduler.orders.model import CLOCK_DAYS, Delivery, Spread, Stint
from scheduler.work_tables.compile import FarmWork


def near_runs(work: FarmWork, runs: Sequence[Run], days: int = CLOCK_DAYS) -> list[Run]:
    """The runs that begin on the first days."""
    last = minute_time(work, 0.0).date() + timedelta(days=days - 1)
    return [run for run in runs if minute_time(work, run.start).date() <= last]


def stints(decision: Decision, k: int, runs: Sequence[Run], member: int) -> tuple[Stint, ...]:
    """What crew `k` does on the first `CLOCK_DAYS` days, from its runs in the member printed."""
    return tuple(_stint(decision, k, run, member) for run in near_runs(decision.work, runs))


def _stint(decision: Decision, k: int, run: Run, member: int) -> Stint:
    """One run as a stint."""
    work, tables, j = decision.work, decision.work.tables, run.job
    job, field = work.jobs[j], work.field(j)
    day = int(tables.day[run.cuts.slot[0]])
    cuts = decision.outcome.cuts
    that_day = cuts.member[(cuts.job == j) & (tables.day[cuts.slot] == day)]
    cutting = np.isin(np.arange(tables.shape[0]), that_day)
    wet = tables.wet[member, run.cuts.slot, j].astype(np.float64)
    area = float(run.cuts.area.sum())
    tonnes = area * float(tables.yield_t[j])
    return Stint(
        field=field.id,
        name=field.name,
        parcel=job.parcel,
        crop=field.crop,
        leave_at=minute_time(work, run.leave),
        move_min=run.move,
        move_km=float(work.move_km[k, run.origin, j]) if run.origin != j else 0.0,
        start=minute_time(work, run.start),
        until=minute_time(work, run.until),
        field_ha=job.area_ha,
        area_ha=area,
        tonnes=tonnes,
        moisture_pct=Spread(
            low=float(wet.min()),
            mid=float(np.average(wet, weights=run.cuts.area)),
            high=float(wet.max()),
        ),
        start_pct=float(decision.policy.start[0 if day == tables.day[0] else 1, j]),
        finished=run.finished,
        begun=float(cutting.mean()),
        done=float((finish_days(decision, j) <= day).mean()),
        headland_only=bool(tables.edge[member, run.cuts.slot, j].mean() > 0.5),
        deliveries=_deliveries(decision, k, run, tonnes),
    )


def _deliveries(decision: Decision, k: int, run: Run, tonnes: float) -> tuple[Delivery, ...]:
    """Points that the job's grain goes to on the day of a run, with what the run brings to each.

    A point that takes grain in other members only has no loads.
    """
    of_day = decision.work.tables.day == decision.work.tables.day[run.cuts.slot[0]]
    cuts = cuts_of(decision, k, run.job)
    any_member = deliveries(decision, k, run.job, cuts.at(of_day[cuts.slot]), tonnes)
    brought = {d.point: d for d in deliveries(decision, k, run.job, run.cuts, tonnes)}
    chosen = {d.point for d in any_member}
    return (
        *(
            replace(d, tonnes=brought[d.point].tonnes, loads=brought[d.point].loads)
            if d.point in brought
            else replace(d, tonnes=0.0, loads=0.0)
            for d in any_member
        ),
        *(d for q, d in brought.items() if q not in chosen),
    )
