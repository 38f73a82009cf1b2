"""Orders from a solved plan: times with their spread, quality, deliveries, fallbacks, reasons."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

import numpy as np

from readiness.atmosphere.weather import Array
from readiness.grain.grade import wheat_grade
from readiness.season.simulate import Season
from scheduler.costs.grain_value import loss_terms, test_weight
from scheduler.costs.machine_rates import loads
from scheduler.costs.standing_loss import crop_state, grain_density, wet_yield
from scheduler.cut_tables.compiled import Compiled
from scheduler.explanation.fallback import best_first_job
from scheduler.explanation.reasons import left_out_reason, order_reason
from scheduler.explanation.timing import (
    Timing,
    chance,
    first_hour,
    slot_time,
    spread,
    time_spread,
    timing,
)
from scheduler.farm.slots import SLOT_MIN
from scheduler.farm.units import lb_bu
from scheduler.orders.model import (
    SHUT,
    TURNED_AWAY,
    Alternative,
    CrewOrders,
    Delivery,
    Fallback,
    LeftOut,
    Order,
)
from scheduler.orders.reasons import FallbackAction, IdleNote, Wait
from scheduler.solver.tables import Plan


def expected_quality(
    compiled: Compiled, season: Season, j: int, begin: Array
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
    farm, field = compiled.farm, compiled.field(j)
    stand = crop_state(season, compiled.jobs[j].row, first_hour(compiled, season))
    done = np.flatnonzero(np.isfinite(begin))
    at = done, compiled.standing_loss.hour[begin[done].astype(int)]
    weight = float(test_weight(field, stand.wettings[at], loss_terms(farm, field)).mean())
    sprouted = 100.0 * float(stand.sprout[at].mean())
    if farm.units != "us" or not field.crop.startswith("wheat"):
        return weight, sprouted, None
    pounds = round(lb_bu(weight, field.crop), 1)
    return weight, sprouted, wheat_grade(pounds, damaged=round(sprouted, 1), spring=field.spring)


def order_line(
    compiled: Compiled,
    plan: Plan,
    season: Season,
    k: int,
    at: int,
    alternative: Alternative | None,
) -> Order | None:
    """The order at place `at` (from 0) of crew `k`; None if no member gets the job done."""
    j = plan.orders[k][at]
    job, when = compiled.jobs[j], timing(compiled, plan, k, at)
    done = float(np.isfinite(when.begin).mean())
    if done == 0:
        return None
    field = compiled.field(j)
    origin = len(compiled.jobs) if at == 0 else plan.orders[k][at - 1]
    moisture = spread(when.moisture)
    tonnes = job.area_ha * wet_yield(field, moisture.mid)
    start = time_spread(compiled, when.begin)
    to = deliveries(compiled, k, j, when, tonnes)
    rate = compiled.rates[k][j][[p.id for p in compiled.farm.points].index(to[0].point)]
    weight, sprouted, grade = expected_quality(compiled, season, j, when.begin)
    return Order(
        field=field.id,
        name=field.name,
        parcel=job.parcel,
        crop=field.crop,
        leave_at=min(time_spread(compiled, when.leave).mid, start.mid),
        move_min=float(compiled.tables.move[k, origin, j]) * SLOT_MIN,
        move_km=float(compiled.move_km[k, origin, j]),
        start=start,
        finish=time_spread(compiled, when.end),
        area_ha=job.area_ha,
        tonnes=tonnes,
        moisture_pct=moisture,
        test_weight_kg_hl=weight,
        sprouted_pct=sprouted,
        us_grade=grade,
        chance=chance(compiled, when, start.mid),
        done=done,
        loads=sum(d.loads for d in to),
        point=to[0].point,
        deliveries=to,
        rate_ha_h=rate.t_h / (tonnes / job.area_ha),
        limited_by=rate.limited_by,
        headland_only=bool(np.nanmean(when.edge) > 0.5),
        loss=_job_cost(compiled, plan, k, j),
        reason=order_reason(compiled, season, job.row, start.mid, alternative, done),
        alternative=alternative,
        locked=any(j in jobs for _, jobs in compiled.tables.locked),
    )


def deliveries(
    compiled: Compiled, k: int, j: int, when: Timing, tonnes: float
) -> tuple[Delivery, ...]:
    """Share out a job's `tonnes` by the delivery points of the slots in which it is cut.

    The first choice comes first. Less than half a load goes to the point that takes most.
    """
    points = compiled.farm.points
    member = np.repeat(np.arange(len(when.cut)), [len(cut) for cut in when.cut])
    slot = np.concatenate(when.cut)
    point = compiled.point[member, k, j, slot]
    share = np.bincount(point, minlength=len(points)) / len(point)
    total_loads = loads(tonnes, compiled.makeup[k].trucks, grain_density(compiled.field(j)))
    most = int(share.argmax())
    small = (share * total_loads < 0.5) & (np.arange(len(points)) != most)
    share[most] += share[small].sum()
    share[small] = 0.0
    used = np.flatnonzero(share).tolist()
    shut = ~compiled.standing_loss.point_open[:, slot]
    turned_away = np.isnan(compiled.standing_loss.loss[member, j, :, slot]).T

    def barred(q: int, first: int) -> bool:
        """Whether most of the grain of point `q` could not go to point `first`."""
        return bool((shut[first] | turned_away[first])[point == q].mean() > 0.5)

    order = sorted(used, key=lambda q: (sum(barred(q, p) for p in used), -share[q]))

    def why(q: int) -> str:
        if q == order[0] or not barred(q, order[0]):
            return ""
        return TURNED_AWAY if turned_away[order[0], point == q].mean() > 0.5 else SHUT

    return tuple(
        Delivery(
            point=points[q].id, tonnes=tonnes * share[q], loads=total_loads * share[q], why=why(q)
        )
        for q in order
    )


def _job_cost(compiled: Compiled, plan: Plan, k: int, j: int) -> float:
    """Expected loss of one job as planned, money."""
    start = plan.start[:, j]
    done = start >= 0
    cents = np.where(
        done,
        compiled.tables.cost[np.arange(len(start)), k, j, np.maximum(start, 0)],
        compiled.tables.leave_cost[j],
    )
    return float(compiled.tables.weight @ cents) / 100.0


def fallback(compiled: Compiled, plan: Plan, k: int, *, objective: str) -> Fallback | None:
    """What crew `k` does if its first sample is too tough, or the ground too soft."""
    if not plan.orders[k] or not (plan.start[:, plan.orders[k][0]] >= 0).any():
        return None
    begin = timing(compiled, plan, k, 0).begin
    slot = int(spread(begin).mid) if np.isfinite(begin).any() else 0
    tough = best_first_job(compiled.tables, plan, k, slot + 3 * 60 // SLOT_MIN, objective=objective)
    soft = best_first_job(
        compiled.tables, plan, k, slot + _slots_to_midnight(compiled, slot), objective=objective
    )
    first = plan.orders[k][0]
    return Fallback(
        if_tough=_action(compiled, first, tough, Wait.THREE_HOURS),
        if_soft=_action(compiled, first, soft, Wait.TOMORROW),
    )


def _action(compiled: Compiled, first: int, other: int | None, wait: Wait) -> FallbackAction:
    """Wait at job `first`, or go to job `other`, which must lie in another field."""
    name = compiled.field(first).name
    if other is None or compiled.jobs[other].field == compiled.jobs[first].field:
        return FallbackAction(first_name=name, wait=wait)
    field = compiled.field(other)
    return FallbackAction(
        first_name=name,
        wait=wait,
        other_name=field.name,
        other_field=field.id,
        other_parcel=compiled.jobs[other].parcel,
    )


def _slots_to_midnight(compiled: Compiled, slot: int) -> int:
    """Slots from `slot` to just past the next midnight."""
    now = slot_time(compiled, slot)
    midnight = (now + timedelta(days=1)).replace(hour=0, minute=0)
    return int((midnight - now).total_seconds() // 60 // SLOT_MIN) + 1


def crew_orders(
    compiled: Compiled,
    plan: Plan,
    season: Season,
    alternatives: dict[int, Alternative],
    *,
    objective: str,
) -> tuple[CrewOrders, ...]:
    """The orders of every crew; `alternatives` by job."""
    people = {c.id: c.people for c in compiled.farm.crews}
    out = []
    for k, machines in enumerate(compiled.makeup):
        lines = [
            order_line(compiled, plan, season, k, at, alternatives.get(j))
            for at, j in enumerate(plan.orders[k])
        ]
        orders = tuple(x for x in lines if x is not None)
        out.append(
            CrewOrders(
                crew=machines.crew,
                combines=tuple(c.id for c in machines.combines),
                carts=tuple(c.id for c in machines.carts),
                trucks=tuple(t.id for t in machines.trucks),
                people=people[machines.crew],
                orders=orders,
                fallback=fallback(compiled, plan, k, objective=objective),
                note=_note(compiled, orders),
            )
        )
    return tuple(out)


def _note(compiled: Compiled, orders: Sequence[Order]) -> IdleNote | str:
    """Why the crew cuts nothing today; "" where it does."""
    if not orders:
        return IdleNote(first_start=None)
    first_start = orders[0].start.mid
    cuts_today = first_start.date() <= slot_time(compiled, 0).date()
    return "" if cuts_today else IdleNote(first_start=first_start)


def left_out(compiled: Compiled, plan: Plan, season: Season) -> tuple[LeftOut, ...]:
    """Jobs in nobody's orders or done in no member, each with its reason and its cost."""
    never = [j for order in plan.orders for j in order if not (plan.start[:, j] >= 0).any()]
    out = []
    for j in sorted((*plan.left, *never)):
        job, field = compiled.jobs[j], compiled.field(j)
        out.append(
            LeftOut(
                field=field.id,
                name=f"{field.name}, {job.parcel}" if job.parcel else field.name,
                why=left_out_reason(compiled, season, j),
                cost=float(compiled.tables.leave_cost[j]) / 100.0,
            )
        )
    return tuple(out)
