"""From a solved plan to the lines that people read: times with their spread, and one reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from readiness.grade import wheat_grade
from readiness.season import Reason, Season
from readiness.weather import Array
from scheduler.compile import SLOT_MIN, Compiled
from scheduler.haul import loads
from scheduler.money import dry_t_ha, loss_terms, test_weight
from scheduler.orders import (
    Alternative,
    CrewOrders,
    Fallback,
    LeftOut,
    Order,
    Spread,
    TimeSpread,
)
from scheduler.slots import local, utc_hour
from scheduler.stakes import grain_density, standing
from scheduler.tables import Plan
from scheduler.units import lb_bu
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


#: Share of members from which a job counts as done in the middle of the forecasts.
MOSTLY = 0.5
#: Share below which an order says how often the crew gets to it.
SURELY = 0.9


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
    order, j = plan.orders[k], plan.orders[k][at]
    row, tables = compiled.jobs[j].row, compiled.tables
    out = np.full((5, plan.start.shape[0]), np.nan)
    for m in range(plan.start.shape[0]):
        s, e = int(plan.start[m, j]), int(plan.finish[m, j])
        cut = np.flatnonzero(compiled.can[m, k, j, s:e]) + s if 0 <= s < e else np.array([])
        if not cut.size:
            continue
        before = next((i for i in reversed(order[:at]) if plan.finish[m, i] >= 0), None)
        free = tables.ready[k] if before is None else plan.finish[m, before]
        move = tables.move[k, len(compiled.jobs) if before is None else before, j]
        wet = compiled.stakes.moisture[m, row, compiled.stakes.hour[cut]].mean()
        edge = compiled.stakes.edge[m, row, cut].mean()
        out[:, m] = max(int(free), int(cut[0]) - int(move)), cut[0], e, wet, edge
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
    """The same for slots, as farm times.

    Not done is never, the horizon's end; of a job that most members do not get done, the times
    are those of the members that do.
    """
    done = np.isfinite(values)
    if done.mean() >= MOSTLY:
        values = np.where(done, values, len(compiled.stakes.slots))
    s = spread(values)
    return TimeSpread(
        low=clock(compiled, s.low), mid=clock(compiled, s.mid), high=clock(compiled, s.high)
    )


def chance(compiled: Compiled, when: Timing, start: datetime) -> float:
    """Share of members that begin and end on the days said."""
    end = (time_spread(compiled, when.end).mid - timedelta(seconds=1)).date()
    kept = [
        clock(compiled, b).date() == start.date() and clock(compiled, e - 0.01).date() == end
        for b, e in zip(when.begin, when.end, strict=True)
        if np.isfinite(b)
    ]
    return sum(kept) / len(when.begin)


def first_hour(compiled: Compiled, season: Season) -> int:
    """Hour of the season that holds the first slot."""
    return int((compiled.stakes.slots[0].astype("datetime64[h]") - season.start).astype(int))


def quality(
    compiled: Compiled, season: Season, j: int, begin: Array
) -> tuple[float, float, int | None]:
    """Test weight, kg/hL, sprouted kernels, percent, and U.S. grade to expect of a job.

    Means over the members that do it, at the slots `begin` (member,), of the figures that the
    price is reckoned by. The grade is that of wheat in US units, by both as shown, to a tenth.
    """
    farm, field = compiled.farm, compiled.field(j)
    stand = standing(season, compiled.jobs[j].row, first_hour(compiled, season))
    done = np.flatnonzero(np.isfinite(begin))
    at = done, compiled.stakes.hour[begin[done].astype(int)]
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
    """One line of a crew's orders; None if no member gets the job done."""
    j = plan.orders[k][at]
    job, when = compiled.jobs[j], timing(compiled, plan, k, at)
    rate = compiled.rates[k][j]
    done = float(np.isfinite(when.begin).mean())
    if rate is None or done == 0:
        return None
    field = compiled.field(j)
    before = len(compiled.jobs) if at == 0 else plan.orders[k][at - 1]
    moisture = spread(when.moisture)
    tonnes = job.area_ha * dry_t_ha(field) / (1.0 - moisture.mid / 100.0)
    start = time_spread(compiled, when.begin)
    weight, sprouted, grade = quality(compiled, season, j, when.begin)
    return Order(
        field=field.id,
        name=field.name,
        parcel=job.parcel,
        crop=field.crop,
        leave_at=min(time_spread(compiled, when.leave).mid, start.mid),
        move_min=float(compiled.tables.move[k, before, j]) * SLOT_MIN,
        move_km=float(compiled.move_km[k, before, j]),
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
        loads=loads(tonnes, compiled.gangs[k].trucks, grain_density(field)),
        point=compiled.farm.points[int(compiled.point[k, j])].id,
        rate_ha_h=rate.t_h / (tonnes / job.area_ha),
        limited_by=rate.limited_by,
        headland_only=bool(np.nanmean(when.edge) > 0.5),
        loss=_job_cost(compiled, plan, k, j),
        reason=_reason(compiled, season, job.row, start.mid, alternative, done),
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
    begin: datetime,
    alternative: Alternative | None,
    done: float,
) -> str:
    """How often the crew gets to it, what opens the field, and what decides its place."""
    parts = [f"got to in {done:.0%} of the forecasts" if done < SURELY else ""]
    parts += [_opened(compiled, season, row, begin)]
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
    return "; ".join(p for p in parts if p) or "next on the way"


def _opened(compiled: Compiled, season: Season, row: int, begin: datetime) -> str:
    """The cause that last closed the field, in most members, on the day it is begun."""
    hour = int((utc_hour(begin) - season.start).astype(int))
    codes = season.reason[:, row, : hour + 1]
    first = hour - begin.hour
    for h in range(hour - 1, max(0, first) - 1, -1):
        closed = codes[:, h] != Reason.OPEN
        if closed.mean() > 0.5:
            cause = Reason(int(np.bincount(codes[closed, h]).argmax()))
            opens = local(season.start + np.timedelta64(h + 1, "h"), compiled.farm.tz)
            return f"{AFTER[cause]} about {opens:%H:%M}"
    return "open since the day before, begun when the crew is free"


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
        field = compiled.field(other)
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
    """Jobs in nobody's orders, or done in no member, with the binding reason and the cost."""
    never = [j for order in plan.orders for j in order if not (plan.start[:, j] >= 0).any()]
    out = []
    for j in sorted((*plan.left, *never)):
        job, field = compiled.jobs[j], compiled.field(j)
        out.append(
            LeftOut(
                field=field.id,
                name=f"{field.name}, {job.parcel}" if job.parcel else field.name,
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
        ahead = season.reason[:, :, first_hour(compiled, season) :]
        codes: NDArray[np.uint8] = ahead[:, compiled.jobs[j].row]
        shut = codes[codes != Reason.OPEN]
        if shut.size:
            cause = Reason(int(np.bincount(shut.ravel()).argmax()))
            return f"cannot be finished in the days planned: mostly {CAUSE[cause]}"
        return "too large to finish in the days planned"
    return "no crew gets to it in the days planned without losing more elsewhere"
