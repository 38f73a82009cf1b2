"""From a solved plan to the lines that people read: times with their spread, and one reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from readiness.season import Reason, Season
from readiness.weather import Array
from scheduler.compile import SLOT_MIN, Compiled
from scheduler.haul import loads
from scheduler.money import dry_t_ha
from scheduler.orders import (
    Alternative,
    CrewOrders,
    Fallback,
    LeftOut,
    Order,
    Spread,
    TimeSpread,
)
from scheduler.slots import local
from scheduler.stakes import grain_density
from scheduler.tables import Plan
from scheduler.why import instead
from scheduler.words import CAUSE

AFTER = {
    Reason.UNKNOWN: "weather is known from",
    Reason.GROUND: "ground bears from",
    Reason.APPROACH: "approach road opens",
    Reason.GRAIN: "dew off and grain fit from",
    Reason.GREEN: "ripe from",
    Reason.WIND: "wind falls by",
    Reason.FIRE: "fire index falls by",
    Reason.LIGHTNING: "storm past by",
    Reason.HEAT: "cooler from",
    Reason.NIGHT: "daylight from",
}


@dataclass(frozen=True, kw_only=True)
class Timing:
    """One job in every member, slots; NaN where the member does not get it done."""

    leave: Array
    begin: Array
    end: Array
    moisture: Array
    edge: Array  # share of cutting slots in which carts stay at the edge


def timing(compiled: Compiled, plan: Plan, k: int, at: int) -> Timing:
    """When crew `k` does the `at`-th job of its order, member by member."""
    j = plan.orders[k][at]
    before = plan.orders[k][at - 1] if at else None
    job = compiled.jobs[j]
    members = plan.start.shape[0]
    move = int(compiled.tables.move[k, len(compiled.jobs) if before is None else before, j])
    out = np.full((5, members), np.nan)
    for m in range(members):
        s, e = int(plan.start[m, j]), int(plan.finish[m, j])
        if s < 0 or e < 0:
            continue
        cut = np.flatnonzero(compiled.can[m, k, j, s:e]) + s
        if not cut.size:
            continue
        free = int(compiled.tables.ready[k]) if before is None else int(plan.finish[m, before])
        leave = max(free, int(cut[0]) - move)
        wet = compiled.stakes.moisture[m, job.row, compiled.stakes.hour[cut]].mean()
        out[:, m] = leave, cut[0], e, wet, compiled.stakes.edge[m, job.row, cut].mean()
    return Timing(leave=out[0], begin=out[1], end=out[2], moisture=out[3], edge=out[4])


def clock(compiled: Compiled, slot: float) -> datetime:
    """Farm time of a slot (fractions allowed, the end of the horizon too)."""
    return local(compiled.stakes.slots[0], compiled.farm.tz) + timedelta(
        minutes=float(slot) * SLOT_MIN
    )


def spread(values: Array) -> Spread:
    """10th, 50th and 90th percentile over the members that have a value."""
    low, mid, high = np.nanpercentile(values, [10, 50, 90], method="inverted_cdf")
    return Spread(low=float(low), mid=float(mid), high=float(high))


def time_spread(compiled: Compiled, values: Array) -> TimeSpread:
    """The same for slots, as farm times."""
    s = spread(values)
    return TimeSpread(
        low=clock(compiled, s.low), mid=clock(compiled, s.mid), high=clock(compiled, s.high)
    )


def chance(compiled: Compiled, when: Timing) -> float:
    """Share of members that begin and end on the days said."""

    def day(slot: float) -> int:
        return clock(compiled, slot).toordinal()

    begin, end = day(spread(when.begin).mid), day(spread(when.end).mid - 0.01)
    kept = [
        day(b) == begin and day(e - 0.01) == end
        for b, e in zip(when.begin, when.end, strict=True)
        if np.isfinite(b)
    ]
    return sum(kept) / len(when.begin)


def order_line(
    compiled: Compiled,
    plan: Plan,
    season: Season,
    k: int,
    at: int,
    alternative: Alternative | None,
) -> Order | None:
    """One line of a crew's orders; None if no member gets the job done."""
    j = plan.orders[k][at]
    job, when = compiled.jobs[j], timing(compiled, plan, k, at)
    rate = compiled.rates[k][j]
    if rate is None or not np.isfinite(when.begin).any():
        return None
    field = compiled.farm.fields[job.field]
    before = len(compiled.jobs) if at == 0 else plan.orders[k][at - 1]
    moisture = spread(when.moisture)
    tonnes = job.area_ha * dry_t_ha(field) / (1.0 - moisture.mid / 100.0)
    cost = _job_cost(compiled, plan, k, j)
    mid = spread(when.begin).mid
    return Order(
        field=field.id,
        name=field.name,
        parcel=job.parcel,
        crop=field.crop,
        leave_at=clock(compiled, spread(when.leave).mid),
        move_min=float(compiled.tables.move[k, before, j]) * SLOT_MIN,
        move_km=float(compiled.move_km[k, before, j]),
        start=time_spread(compiled, when.begin),
        finish=time_spread(compiled, when.end),
        area_ha=job.area_ha,
        tonnes=tonnes,
        moisture_pct=moisture,
        chance=chance(compiled, when),
        loads=loads(tonnes, compiled.gangs[k].trucks, grain_density(field)),
        point=compiled.farm.points[int(compiled.point[k, j])].id,
        rate_ha_h=rate.t_h / (tonnes / job.area_ha),
        limited_by=rate.limited_by,
        headland_only=bool(np.nanmean(when.edge) > 0.5),
        loss=cost,
        reason=_reason(compiled, season, job.row, mid, alternative, first=at == 0),
        alternative=alternative,
        locked=any(j in jobs for _, jobs in compiled.tables.locked),
    )


def _job_cost(compiled: Compiled, plan: Plan, k: int, j: int) -> float:
    """Expected money lost on one job as planned."""
    start = plan.start[:, j]
    done = start >= 0
    cents = np.where(
        done,
        compiled.tables.cost[np.arange(len(start)), k, j, np.maximum(start, 0)],
        compiled.tables.leave_cost[j],
    )
    return float(compiled.tables.weight @ cents) / 100.0


def _reason(
    compiled: Compiled,
    season: Season,
    row: int,
    begin: float,
    alternative: Alternative | None,
    *,
    first: bool,
) -> str:
    """What opens the field, then what decides its place."""
    parts = []
    opened = _opened(compiled, season, row, begin)
    if opened:
        parts.append(opened)
    money = compiled.farm.currency
    if alternative is not None:
        costs = {
            "one place later": alternative.later,
            "one place earlier": alternative.earlier,
            "the other crew": alternative.other_crew,
        }
        known = {k: v for k, v in costs.items() if v is not None and v > 0.5}
        if known:
            worst = max(known, key=lambda k: known[k])
            parts.append(f"{worst} would cost {money}{known[worst]:,.0f} more")
        elif alternative.leave is not None:
            parts.append(f"leaving it would cost {money}{alternative.leave:,.0f}")
    return "; ".join(parts) or "next on the way"


def _opened(compiled: Compiled, season: Season, row: int, begin: float) -> str:
    """The cause that last closed the field before it is begun, if that was within a day."""
    start = compiled.stakes.slots[0].astype("datetime64[h]")
    first = int((start - season.start).astype(int))
    hour = first + int(compiled.stakes.hour[min(int(begin), len(compiled.stakes.hour) - 1)])
    codes = season.reason[:, row, :]
    for h in range(hour, max(0, hour - 24), -1):
        closed = codes[:, h] != Reason.OPEN
        if closed.mean() > 0.5:
            cause = int(np.bincount(codes[closed, h]).argmax())
            open_from = local(season.start + np.timedelta64(h + 1, "h"), compiled.farm.tz)
            return f"{AFTER[Reason(cause)]} about {open_from:%H:%M}"
    return "open since yesterday"


def fallback(compiled: Compiled, plan: Plan, k: int, *, objective: str) -> Fallback | None:
    """Where crew `k` goes if the first sample is too tough, or the ground too soft."""
    if not plan.orders[k]:
        return None
    j = plan.orders[k][0]
    begun = plan.start[:, j]
    if not (begun >= 0).any():
        return None
    first = timing(compiled, plan, k, 0)
    at = int(spread(first.begin).mid) if np.isfinite(first.begin).any() else 0
    name = compiled.field(j).name

    def line(until: int, wait: str) -> str:
        other = instead(compiled.tables, plan, k, until, objective=objective)
        if other is None or compiled.jobs[other].field == compiled.jobs[j].field:
            return f"{wait} at {name}: no other field is worth the move"
        there = compiled.jobs[other]
        field = compiled.farm.fields[there.field]
        parcel = f", {there.parcel}" if there.parcel else ""
        return f"go to {field.name} ({field.id}{parcel}) and come back to {name} after"

    hours = 3 * 60 // SLOT_MIN
    tomorrow = at + _slots_to_midnight(compiled, at)
    return Fallback(
        if_tough=line(at + hours, "wait three hours"),
        if_soft=line(tomorrow, "wait for tomorrow"),
    )


def _slots_to_midnight(compiled: Compiled, slot: int) -> int:
    now = clock(compiled, slot)
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
    """The orders of every crew."""
    people = {c.id: c.people for c in compiled.farm.crews}
    out = []
    for k, gang in enumerate(compiled.gangs):
        lines = [
            order_line(compiled, plan, season, k, at, alternatives.get(j))
            for at, j in enumerate(plan.orders[k])
        ]
        orders = tuple(x for x in lines if x is not None)
        out.append(
            CrewOrders(
                crew=gang.crew,
                combines=tuple(c.id for c in gang.combines),
                carts=tuple(c.id for c in gang.carts),
                trucks=tuple(t.id for t in gang.trucks),
                people=people[gang.crew],
                orders=orders,
                fallback=fallback(compiled, plan, k, objective=objective),
                note=_note(compiled, orders),
            )
        )
    return tuple(out)


def _note(compiled: Compiled, orders: Sequence[Order]) -> str:
    today = clock(compiled, 0).date()
    if not orders:
        return "nothing to cut within the days planned"
    if orders[0].start.mid.date() > today:
        return f"nothing to cut today; first start {orders[0].start.mid:%a %d %b %H:%M}"
    return ""


def left_out(compiled: Compiled, plan: Plan, season: Season) -> tuple[LeftOut, ...]:
    """Jobs in nobody's orders, each with the binding reason and what it costs."""
    out = []
    for j in plan.left:
        job = compiled.jobs[j]
        field = compiled.farm.fields[job.field]
        name = f"{field.name}, {job.parcel}" if job.parcel else field.name
        out.append(
            LeftOut(
                field=field.id,
                name=name,
                why=_why_left(compiled, season, j),
                cost=float(compiled.tables.leave_cost[j]) / 100.0,
            )
        )
    return tuple(out)


def _why_left(compiled: Compiled, season: Season, j: int) -> str:
    if (compiled.point[:, j] < 0).all():
        return "no delivery point takes this crop at the moisture expected"
    share = (compiled.tables.finish[:, :, j, 0] >= 0).any(axis=1).mean()
    if share < 0.5:
        start = compiled.stakes.slots[0].astype("datetime64[h]")
        first = int((start - season.start).astype(int))
        codes: NDArray[np.uint8] = season.reason[:, compiled.jobs[j].row, first:]
        shut = codes[codes != Reason.OPEN]
        if shut.size:
            cause = Reason(int(np.bincount(shut.ravel()).argmax()))
            return f"cannot be finished in the days planned: mostly {CAUSE[cause]}"
        return "too large to finish in the days planned"
    return "no crew gets to it in the days planned without losing more elsewhere"
