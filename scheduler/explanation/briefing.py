"""Orders from a decision: times with their spread, quality, deliveries, fallbacks, reasons."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array, Weather
from readiness.grain.grade import wheat_grade
from readiness.season.simulate import Season
from scheduler.costs.grain_value import loss_terms, test_weight
from scheduler.costs.machine_rates import CrewMachines
from scheduler.costs.standing_loss import crop_state, wet_yield
from scheduler.explanation.closed_hours import idle_note
from scheduler.explanation.crew_clock import RunsOfMember, end_minute, runs_by_member
from scheduler.explanation.day_work import near_runs, stints
from scheduler.explanation.deliveries import deliveries
from scheduler.explanation.fallback import best_first_job
from scheduler.explanation.idle_day import note_tomorrow, with_own_cause
from scheduler.explanation.reasons import left_out_reason, order_reason, waits_for
from scheduler.explanation.timing import (
    MEDIAN_DONE,
    Timing,
    around,
    finish_days,
    first_hour,
    member_shown,
    minute_time,
    slot_time,
    spread,
    time_spread,
    timing,
    usual_member,
)
from scheduler.farm.slots import farm_time
from scheduler.farm.units import lb_bu
from scheduler.orders.decision import Decision
from scheduler.orders.model import (
    Alternative,
    CrewOrders,
    Fallback,
    LeftOut,
    Order,
)
from scheduler.orders.reasons import FallbackAction, IdleNote, Wait
from scheduler.work_tables.compile import FarmWork


def expected_quality(
    work: FarmWork, season: Season, j: int, begin: Array
) -> tuple[float, float, int | None]:
    """Expected quality of a job's grain when cut.

    Parameters
    ----------
    begin : first slot cut, (member,); NaN where the member does not get the job done.

    Returns
    -------
    Test weight, kg/hL, and sprouted kernels, percent: means over the members that do the job, of
    the figures that also set the price. U.S. grade: that of wheat in a farm with US units, by both
    figures rounded to a tenth as shown; None otherwise.
    """
    farm, field = work.farm, work.field(j)
    stand = crop_state(farm, field, season, work.jobs[j].row, first_hour(work, season))
    done = np.flatnonzero(np.isfinite(begin))
    at = done, work.standing_loss.hour[begin[done].astype(int)]
    weight = float(test_weight(field, stand.wettings[at], loss_terms(farm, field)).mean())
    sprouted = 100.0 * float(stand.sprout[at].mean())
    if farm.units != "us" or not field.crop.startswith("wheat"):
        return weight, sprouted, None
    pounds = round(lb_bu(weight, field.crop), 1)
    return weight, sprouted, wheat_grade(pounds, damaged=round(sprouted, 1), spring=field.spring)


def order_line(
    decision: Decision,
    season: Season,
    k: int,
    j: int,
    *,
    usual: int,
    runs: RunsOfMember,
    alternative: Alternative | None,
) -> Order:
    """The order of crew `k` for job `j`, which it cuts in some member.

    Parameters
    ----------
    usual : member whose clock times are printed.
    runs : the crew's runs by member.
    """
    work, when = decision.work, timing(decision, k, j)
    job, field = work.jobs[j], work.field(j)
    moisture = spread(when.moisture)
    tonnes = job.area_ha * wet_yield(field, moisture.mid)
    shown = member_shown(when, usual)
    clock = next(run for run in runs(k, shown) if run.job == j)
    start, finish = (
        around(minute_time(work, minute), time_spread(work, slots, shown))
        for minute, slots in (
            (clock.start, when.begin),
            (end_minute(decision, runs(k, shown), j, shown), when.end),
        )
    )
    to = deliveries(decision, k, j, when.cuts, tonnes)
    rate = work.rates[k][j][[p.id for p in work.farm.points].index(to[0].point)]
    weight, sprouted, grade = expected_quality(work, season, j, when.begin)
    ended = decision.outcome.state.ended[:, j]
    done = float(np.isfinite(ended).mean())
    by, chance = cut_by(decision, j, usual)
    return Order(
        field=field.id,
        name=field.name,
        parcel=job.parcel,
        crop=field.crop,
        leave_at=minute_time(work, clock.leave),
        move_min=clock.move,
        move_km=float(work.move_km[k, clock.origin, j]),
        start=start,
        finish=finish,
        area_ha=job.area_ha,
        tonnes=tonnes,
        moisture_pct=moisture,
        test_weight_kg_hl=weight,
        sprouted_pct=sprouted,
        us_grade=grade,
        start_pct=float(decision.policy.start[0, j]),
        later_pct=float(decision.policy.start[1, j]),
        cut_by=by,
        chance=chance,
        done=done,
        shown=shown == usual,
        loads=sum(d.loads for d in to),
        point=to[0].point,
        deliveries=to,
        rate_ha_h=rate.t_h / float(work.tables.yield_t[j]),
        limited_by=rate.limited_by,
        headland_only=bool(np.nanmean(when.edge) > 0.5),
        loss=job_loss(decision, j),
        reason=order_reason(
            work,
            season,
            job.row,
            start.mid,
            alternative,
            done,
            waits_for(decision, clock, shown, k),
        ),
        alternative=alternative,
        not_before=_farm_time(field.not_before, work),
        not_after=_farm_time(field.not_after, work),
        locked=any(j in row for row in decision.locked),
    )


def _farm_time(when: datetime | None, work: FarmWork) -> datetime | None:
    """A time in farm time."""
    return None if when is None else when.astimezone(work.farm.tz)


def cut_by(decision: Decision, j: int, usual: int) -> tuple[date, float]:
    """First day by whose end half of the members finish a job, and the share that does.

    Not before the day on which member `usual` finishes it, whose clock times are printed. Where
    half never finish it, the last day planned.
    """
    days = finish_days(decision, j)
    median = np.sort(days)[math.ceil(MEDIAN_DONE * len(days)) - 1]
    last = int(decision.work.tables.day[-1])
    day = int(min(median, last))
    if days[usual] <= last:
        day = max(day, int(days[usual]))
    return date.fromordinal(day), float((days <= day).mean())


def job_loss(decision: Decision, j: int) -> float:
    """Expected loss of one job under the plan, with its share left uncut, money."""
    tables, outcome = decision.work.tables, decision.outcome
    cuts = outcome.cuts.at(outcome.cuts.job == j)
    by_member = np.bincount(
        cuts.member,
        cuts.area * tables.loss[cuts.member, cuts.slot, j, cuts.point],
        len(outcome.loss),
    )
    by_member += outcome.state.left[:, j] / tables.area[j] * tables.leave_cost[j]
    return float(tables.weight @ by_member)


def fallback(decision: Decision, k: int, jobs: Sequence[int]) -> Fallback | None:
    """What crew `k` does if the first of its `jobs` is too tough, or the ground too soft."""
    if not jobs:
        return None
    work, first = decision.work, jobs[0]
    other = best_first_job(decision, k, jobs)
    if other is not None and work.jobs[other].field == work.jobs[first].field:
        other = None

    def action(wait: Wait) -> FallbackAction:
        name = work.field(first).name
        if other is None:
            return FallbackAction(first_name=name, wait=wait)
        field = work.field(other)
        return FallbackAction(
            first_name=name,
            wait=wait,
            other_name=field.name,
            other_field=field.id,
            other_parcel=work.jobs[other].parcel,
        )

    return Fallback(if_tough=action(Wait.THREE_HOURS), if_soft=action(Wait.TOMORROW))


def crew_orders(
    decision: Decision, season: Season, sky: Weather, alternatives: Mapping[int, Alternative]
) -> tuple[CrewOrders, ...]:
    """The orders of every crew, in the order in which it begins them; `alternatives` by job.

    `sky` is the weather of the hours of `season`.

    Fields that a crew cuts only in other members than the usual one come last. A field stands with
    the crew that cuts most of it by the clock of today and tomorrow, else over all members.
    """
    work, policy = decision.work, decision.policy
    usual = usual_member(decision)
    runs = runs_by_member(decision)
    crew_of_job = _crew_of_job(decision, runs, usual)
    places = [
        (False, np.inf) if k < 0 else _place(timing(decision, int(k), j), usual)
        for j, k in enumerate(crew_of_job)
    ]
    out, by_id = [], {c.id: c for c in work.farm.crews}
    for k, machines in enumerate(work.makeup):
        jobs = sorted(np.flatnonzero(crew_of_job == k).tolist(), key=lambda j: places[j])
        near = near_runs(work, runs(k, usual))
        today = near_runs(work, runs(k, usual), days=1)
        first = [run.job for run in today[:1]]
        orders = [
            order_line(
                decision, season, k, j, usual=usual, runs=runs, alternative=alternatives.get(j)
            )
            for j in jobs
        ]
        out.append(
            CrewOrders(
                crew=machines.crew,
                combines=tuple(c.id for c in machines.combines),
                carts=tuple(c.id for c in machines.carts),
                trucks=tuple(t.id for t in machines.trucks),
                people=work.manning.people(k, machines.crew),
                drivers=work.manning.names(k),
                joins=_joins(machines, farm_time(work.standing_loss.slots[0], work.farm.tz)),
                orders=tuple(orders),
                fallback=fallback(decision, k, [*first, *(j for j in jobs if j not in first)]),
                note=""
                if today
                else _note(decision, season, sky, orders, jobs=jobs, crew=k, member=usual),
                note_tomorrow=""
                if len(near) > len(today)
                else note_tomorrow(decision, season, sky, jobs=jobs, crew=k, member=usual),
                patience_min=float(policy.patience[k]),
                leave_min=float(policy.leave[k]),
                stop_margin=policy.stop_margin,
                service_min=by_id[machines.crew].service_min,
                meal_min=by_id[machines.crew].meal_min,
                move_weight=policy.move_weight,
                moisture_weight=policy.moisture_weight,
                ranked=tuple((work.field(j).id, work.jobs[j].parcel) for j in policy.orders[k]),
                stints=stints(decision, k, runs(k, usual), usual),
            )
        )
    return tuple(out)


def _joins(machines: CrewMachines, now: datetime) -> tuple[tuple[str, datetime], ...]:
    """Machines of a crew that are down or away now, each with the time of its return."""
    out = []
    for machine in (*machines.combines, *machines.carts, *machines.trucks):
        back = now
        for begin, end in sorted(machine.unavailable):
            if begin <= back < end:
                back = end
        if back > now:
            out.append((machine.id, back.astimezone(now.tzinfo)))
    return tuple(out)


def _crew_of_job(decision: Decision, runs: RunsOfMember, usual: int) -> NDArray[np.int64]:
    """The crew that each job stands with, (job,); -1 where no crew cuts it in any member."""
    area = cut_area(decision)
    near = np.zeros_like(area)
    for k in range(len(near)):
        for run in near_runs(decision.work, runs(k, usual)):
            near[k, run.job] += run.cuts.area.sum()
    most = np.where(near.any(axis=0), near.argmax(axis=0), area.argmax(axis=0))
    return np.where(area.any(axis=0), most, -1)


def _place(when: Timing, usual: int) -> tuple[bool, float]:
    """Sorting key of an order: those of the usual member by begin, then the others."""
    shown = member_shown(when, usual)
    return shown != usual, float(when.begin[shown])


def cut_area(decision: Decision) -> Array:
    """Area that each crew cuts of each job, (crew, job), ha: the sum over members."""
    cuts = decision.outcome.cuts
    out = np.zeros((len(decision.work.makeup), len(decision.work.jobs)))
    np.add.at(out, (cuts.crew, cuts.job), cuts.area)
    return out


def _note(
    decision: Decision,
    season: Season,
    sky: Weather,
    orders: Sequence[Order],
    *,
    jobs: Sequence[int],
    crew: int,
    member: int,
) -> IdleNote:
    """Why a crew cuts nothing today in a member, and when it begins."""
    work = decision.work
    now = slot_time(work, 0)
    until = datetime.combine(now.date() + timedelta(days=1), time(0), work.farm.tz)
    starts = [o.start.mid for o in orders if o.shown] or [o.start.mid for o in orders]
    note = idle_note(work.farm, season, sky, now=now, until=until, starts=starts)
    if note.closed_by is None:
        note = with_own_cause(note, decision, season, jobs=jobs, crew=crew, member=member)
    # a field that opens today stands by name beside the note
    return replace(note, opens=None) if note.opens is not None and note.opens < until else note


def left_out(decision: Decision, season: Season) -> tuple[LeftOut, ...]:
    """Jobs that no crew begins in any member, each with its reason and its cost."""
    work = decision.work
    begun = np.unique(decision.outcome.cuts.job)
    out = []
    for j, job in enumerate(work.jobs):
        if j not in begun:
            field = work.field(j)
            out.append(
                LeftOut(
                    field=field.id,
                    name=f"{field.name}, {job.parcel}" if job.parcel else field.name,
                    why=left_out_reason(decision, season, j),
                    cost=float(work.tables.leave_cost[j]),
                )
            )
    return tuple(out)
