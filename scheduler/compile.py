"""Farm and season into cut tables; the one place where floats become integers.

Rounding: a slot counts as open only if it is open throughout (window starts up, ends down), a
job ends at the end of its last slot and a move at the end of its last slot (work up), money is
rounded to the nearest cent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.crops import CROPS
from readiness.season import Reason, Season, Tier
from readiness.weather import Array
from scheduler.farm import Farm, Field
from scheduler.haul import HEADLAND_FACTOR, Gang, Rates, between_km, gang_rates
from scheduler.money import (
    HAUL_T_KM,
    Standing,
    best_ha,
    dry_t_ha,
    leave_ha,
    loss_terms,
    revenue_ha,
)
from scheduler.slots import (
    arrivals,
    crew_slots,
    down_slots,
    forbidden_slots,
    local,
    open_slots,
)
from scheduler.tables import CutTables

SLOT_MIN = 30
EDGE = HEADLAND_FACTOR
#: Fields larger than this are cut as parcels, ha, so that a crew can leave and return; assumed,
#: because it is about a day of one combine.
PARCEL_HA = 100.0
#: Moisture at which tonnage and machine rates are reckoned when nothing is known, points over base.
RATE_OVER_BASE = 2.0


@dataclass(frozen=True, kw_only=True)
class Job:
    """A field or a parcel of one. `row` is its row in the season (a wet hollow has its own)."""

    field: int
    row: int
    parcel: str
    area_ha: float


@dataclass(frozen=True, kw_only=True)
class Compiled:
    """Cut tables and what is needed to read a plan back.

    `can` bool (member, crew, job, slot): cutting goes on in the slot. `point` (crew, job) index
    into farm.points or -1. `rates[crew][job]`; `moisture` (member, row, hour); `edge` (member,
    row, slot) carts stay at the field edge; `arrive` (crew, job, slot) when work can begin;
    `hour_value` money that a crew-hour of delay costs.
    """

    tables: CutTables
    farm: Farm
    jobs: tuple[Job, ...]
    gangs: tuple[Gang, ...]
    slots: NDArray[np.datetime64]
    hour: NDArray[np.int64]  # (slot,) hour of the season that holds the slot
    can: NDArray[np.bool_]
    point: NDArray[np.int64]
    rates: tuple[list[Rates | None], ...]
    moisture: Array
    edge: NDArray[np.bool_]
    arrive: NDArray[np.int32]
    move_km: Array  # (crew, job + 1, job)
    hour_value: float


# fmt: off
@njit(cache=True, nogil=True)
def _cut(  # type: ignore[no-untyped-def]
    can, loss, edge, combine, is_open, cart, haul, buffer, t_ha, area, rut, step, arrive,
    finish, cost,
):
    # fmt: on
    """Cut one job from every slot in every member; fills `finish` and `cost` (member, slot).

    can, loss, edge (member, slot): cutting goes on; money per ha; carts stay at the edge.
    combine (slot) t/h of the combines that are up; is_open (slot) the delivery point is open.
    What is cut while it is shut fills carts and trucks up to `buffer` tonnes.
    """
    members, n = can.shape
    done = np.empty(n + 1, np.int32)
    paid = np.empty(n + 1, np.float64)
    for m in range(members):
        done[n] = -1
        paid[n] = 0.0
        for s in range(n - 1, -1, -1):
            if not can[m, s]:
                done[s] = done[s + 1]
                paid[s] = paid[s + 1]
                continue
            left = area * t_ha
            held = 0.0
            money = 0.0
            t = s
            while t < n and left > 1e-9:
                out = haul * step if is_open[t] else 0.0
                cut = 0.0
                if can[m, t]:
                    rate = combine[t] * (EDGE if edge[m, t] else 1.0)
                    cut = min(min(rate, cart) * step, buffer - held + out, left)
                    money += cut / t_ha * (loss[m, t] + (rut if edge[m, t] else 0.0))
                    left -= cut
                held = max(0.0, held + cut - out)
                t += 1
            done[s] = t if left <= 1e-9 else -1
            paid[s] = money
        for s in range(n):
            finish[m, s] = done[arrive[s]]
            cost[m, s] = np.int64(round(max(paid[arrive[s]], 0.0) * 100.0))


def jobs_of(farm: Farm) -> tuple[Job, ...]:
    """Split what is left of each field into jobs: the field, equal parts of a large one, a hollow.

    Rows of the season: fields first, then one row for each field with a wet hollow.
    """
    jobs: list[Job] = []
    hollow = len(farm.fields)
    for i, f in enumerate(farm.fields):
        left = f.area_ha * (1.0 - f.cut_fraction)
        wet = f.area_ha * f.wet_fraction
        wet = min(wet, left)
        dry = left - wet
        parts = max(1, int(np.ceil(dry / PARCEL_HA)))
        for p in range(parts if dry > 1e-6 else 0):
            name = f"part {p + 1} of {parts}" if parts > 1 else ("upland" if wet > 0 else "")
            jobs.append(Job(field=i, row=i, parcel=name, area_ha=dry / parts))
        if f.wet_fraction > 0:
            if wet > 1e-6:
                jobs.append(Job(field=i, row=hollow, parcel="wet hollow", area_ha=wet))
            hollow += 1
    return tuple(jobs)


def move_minutes(farm: Farm, a: Field | None, b: Field, km: float) -> float:
    """Minutes from the last cut in `a` (None: from base, header off) to the first in `b`."""
    if a is not None and a.id == b.id:
        return 0.0
    m = farm.moves
    clean = 0.0
    if a is not None and b.purpose == "seed":
        clean = m.clean_seed_min
    elif a is not None and a.crop != b.crop:
        clean = m.clean_crop_min
    elif a is not None and a.variety != b.variety:
        clean = m.clean_variety_min
    off = 0.0 if a is None else m.header_off_min
    return km / m.road_kmh * 60.0 + off + m.header_on_min + clean


def moves(
    farm: Farm, jobs: Sequence[Job], stands: Sequence[str]
) -> tuple[NDArray[np.int32], Array]:
    """Move slots and km, (crew, job + 1, job); `stands` is where each crew is now, by id."""
    n = len(jobs)
    fields = {f.id: f for f in farm.fields}
    ids = [farm.fields[j.field].id for j in jobs]
    km = np.zeros((len(stands), n + 1, n))
    slots = np.zeros((len(stands), n + 1, n), dtype=np.int32)
    memo: dict[tuple[str, str], tuple[float, float]] = {}
    for k, stand in enumerate(stands):
        for i, a in enumerate([*ids, stand]):
            for j, b in enumerate(ids):
                if (a, b) not in memo:
                    d = 0.0 if a == b else between_km(farm, a, b)
                    memo[a, b] = d, move_minutes(farm, fields.get(a), fields[b], d)
                km[k, i, j], minutes = memo[a, b]
                slots[k, i, j] = int(np.ceil(minutes / SLOT_MIN - 1e-9))
    return slots, km


def standing(season: Season, row: int, first: int) -> Standing:
    """What stands on a row from season hour `first` on."""
    wet = season.wettings[:, row, first:]
    sprout = season.sprout[:, row, first:]
    return Standing(
        moisture=season.moisture[:, row, first:], wettings=wet - wet[:, :1], sprout=sprout
    )


def losses(farm: Farm, jobs: Sequence[Job], season: Season, first: int) -> tuple[Array, Array]:
    """Money lost per ha by (member, job, point, hour), NaN where not accepted; leave cost (job,).

    Loss is against the best price for sound grain at base moisture now, so it holds shatter,
    test weight, sprouting, discounts, drying, over-dryness and haul.
    """
    m, _, h = season.moisture[:, :, first:].shape
    out = np.full((m, len(jobs), len(farm.points), h), np.nan)
    leave = np.zeros(len(jobs))
    for j, job in enumerate(jobs):
        field = farm.fields[job.field]
        stand = standing(season, job.row, first)
        haul = {p.id: HAUL_T_KM * between_km(farm, field.id, p.id) for p in farm.points}
        terms = loss_terms(farm, field)
        best = best_ha(farm, field, haul)
        for q, p in enumerate(farm.points):
            if (market := p.markets.get(field.crop)) is not None:
                money = revenue_ha(field, market, stand, haul_t=haul[p.id], terms=terms)
                if not farm.rules.tough_allowed:
                    money = np.where(stand.moisture <= market.moisture_base_pct, money, np.nan)
                out[:, j, q] = best - money
        low = np.nanmin(out[:, j]) if np.isfinite(out[:, j]).any() else 0.0
        out[:, j] -= min(low, 0.0)
        leave[j] = job.area_ha * float(np.mean(leave_ha(farm, field, stand, haul)) - min(low, 0.0))
    return out, leave


def wet_yield(field: Field) -> float:
    """Tonnes per ha as cut, at a couple of points over base."""
    base = CROPS[field.crop].base_moisture + RATE_OVER_BASE
    return dry_t_ha(field) / (1.0 - base / 100.0)


def grain_density(field: Field) -> float:
    """Grain density, t/m³, from test weight."""
    return (field.test_weight_kg_hl or CROPS[field.crop].test_weight) / 100.0


def worth_waiting(
    loss: Array, ok: NDArray[np.bool_], day: NDArray[np.int64], limit: float
) -> NDArray[np.bool_]:
    """Slots of `ok` (member, slot) where cutting now beats waiting for drier grain that day.

    A slot is kept if the least loss of its day's later slots is not lower by more than `limit`
    money per ha.
    """
    held = np.where(ok, loss, np.inf)
    least = held.copy()
    for s in range(held.shape[1] - 2, -1, -1):
        if day[s] == day[s + 1]:
            least[:, s] = np.minimum(held[:, s], least[:, s + 1])
    with np.errstate(invalid="ignore"):
        return np.asarray(ok & (held - least <= limit), dtype=np.bool_)


def hour_value(farm: Farm, jobs: Sequence[Job], loss: Array, crews: int) -> float:
    """Money that one crew-hour of delay costs: half of what stands loses its daily rate.

    Daily rate from the least loss of each day; never below shatter alone. Eight harvestable
    hours a day assumed, because only the order of magnitude matters to when to start.
    """
    total = 0.0
    days = max(1, loss.shape[-1] // 24)
    for j, job in enumerate(jobs):
        field = farm.fields[job.field]
        slope = loss_terms(farm, field)["shatter_day"] * best_ha(
            farm, field, {p.id: 0.0 for p in farm.points}
        )
        by_day = np.where(np.isnan(loss[:, j]), np.inf, loss[:, j])[:, :, : days * 24]
        least = by_day.min(axis=1).reshape(loss.shape[0], days, 24).min(axis=2)
        daily = np.array([c[np.isfinite(c)].mean() for c in least.T if np.isfinite(c).any()])
        if len(daily) > 2:
            slope = max(slope, float(np.polyfit(np.arange(len(daily)), daily, 1)[0]))
        total += slope * job.area_ha
    return 0.5 * total / 8.0 / max(1, crews)


def choose_point(
    farm: Farm,
    field: Field,
    gang: Gang,
    loss: Array,
    ok: NDArray[np.bool_],
    hour: NDArray[np.int64],
    value: float,
) -> tuple[int, Rates] | None:
    """Delivery point of a field: least loss per ha plus the crew time that its haul costs.

    `loss` (member, point, hour); `ok` (member, slot) slots of the first week count, all if none.
    A point is weighed by the share of those slots in which it takes the grain.
    """
    density, t_ha = grain_density(field), wet_yield(field)
    week = np.zeros_like(ok)
    week[:, : 7 * 24 * 60 // SLOT_MIN] = True
    use = ok & week if (ok & week).any() else ok
    best: tuple[float, int, Rates] | None = None
    for q, p in enumerate(farm.points):
        if field.crop not in p.markets or (p.capacity_t is not None and p.capacity_t <= 0):
            continue
        km = between_km(farm, field.id, p.id)
        rate = gang_rates(gang, p, km=km, density=density, wet_yield=t_ha)
        there = loss[:, q][:, hour]
        taken = use & np.isfinite(there)
        if rate.t_h <= 0 or not (taken.any() or np.isfinite(there).any()):
            continue
        share = taken.sum() / max(1, use.sum())
        money = float(there[taken].mean()) if taken.any() else float(np.nanmean(there))
        score = money + value * t_ha / rate.t_h / max(share, 0.05)
        if best is None or score < best[0]:
            best = score, q, rate
    return None if best is None else best[1:]


def compile_tables(
    farm: Farm,
    season: Season,
    gangs: Sequence[Gang],
    *,
    slots: NDArray[np.datetime64],
    stands: Sequence[str],
    weight: Array | None = None,
    assigned: dict[int, int] | None = None,
    locked: tuple[tuple[int, tuple[int, ...]], ...] = (),
) -> Compiled:
    """Compile cut tables for the gangs of a make-up.

    Parameters
    ----------
    farm, season, gangs : the farm; the season with its rows as `jobs_of` numbers them, reaching
        the last slot; the machines of each crew.
    slots : slot starts, UTC.
    stands : id of the place where each gang stands ('base' or a field).
    weight : (member,) probabilities; equal by default.
    assigned : job -> crew that was ordered before; another crew pays `rules.change_price`.
    locked : see `CutTables`.
    """
    jobs = jobs_of(farm)
    start = slots[0].astype("datetime64[h]")
    first = int((start - season.start).astype(int))
    hour = ((slots - start) // np.timedelta64(60, "m")).astype(np.int64)
    loss, leave = losses(farm, jobs, season, first)
    move, km = moves(farm, jobs, stands)
    shape = (loss.shape[0], len(gangs), len(jobs), len(slots))
    out = Compiled(
        tables=CutTables(
            finish=np.full(shape, -1, dtype=np.int32),
            cost=np.zeros(shape, dtype=np.int64),
            move=move,
            ready=np.zeros(len(gangs), dtype=np.int32),
            leave_cost=np.round(leave * 100).astype(np.int64),
            weight=np.full(shape[0], 1.0 / shape[0]) if weight is None else weight,
            locked=locked,
        ),
        farm=farm,
        jobs=jobs,
        gangs=tuple(gangs),
        slots=slots,
        hour=hour,
        can=np.zeros(shape, dtype=np.bool_),
        point=np.full(shape[1:3], -1, dtype=np.int64),
        rates=tuple([None] * len(jobs) for _ in gangs),
        moisture=season.moisture[:, :, first:],
        edge=(season.tier[:, :, first:] == Tier.HEADLAND_ONLY)[:, :, hour],
        arrive=np.zeros(shape[1:], dtype=np.int32),
        move_km=km,
        hour_value=hour_value(farm, jobs, loss, len(gangs)),
    )
    ground = (season.reason[:, :, first:] == Reason.OPEN)[:, :, hour]
    day = np.array([local(s, farm.tz).toordinal() for s in slots])
    opened = np.array(
        [open_slots(p.week, slots, farm.tz) & ~down_slots(p.closed, slots) for p in farm.points]
    )
    crews = {c.id: c for c in farm.crews}
    for k, gang in enumerate(gangs):
        worked = crew_slots(crews[gang.crew], slots, farm.tz)
        shut = ~worked | forbidden_slots(farm.rules.road_forbidden, slots, farm.tz)
        up = np.array([~down_slots(c.down, slots) for c in gang.combines], dtype=np.float64)
        for j, job in enumerate(jobs):
            out.arrive[k, j] = arrivals(shut, int(move[k, :, j].max()))
            _fill(out, k, j, loss[:, j], ground[:, job.row] & worked, up, opened, day)
            if assigned is not None and assigned.get(j, k) != k:
                out.tables.cost[:, k, j] += round(farm.rules.change_price * 100)
    return out


def _fill(
    out: Compiled,
    k: int,
    j: int,
    loss: Array,
    ok: NDArray[np.bool_],
    up: Array,
    opened: NDArray[np.bool_],
    day: NDArray[np.int64],
) -> None:
    """Fill the tables of one crew and job; `ok` (member, slot), `up` (combine, slot)."""
    job = out.jobs[j]
    field = out.farm.fields[job.field]
    chosen = choose_point(out.farm, field, out.gangs[k], loss, ok, out.hour, out.hour_value)
    if chosen is None:
        return
    q, rate = chosen
    out.point[k, j] = q
    out.rates[k][j] = rate
    money = loss[:, q][:, out.hour]
    combine = np.array(rate.combine) @ up
    t_ha = wet_yield(field)
    ok = ok & np.isfinite(money) & (combine > 0)
    out.can[:, k, j] = worth_waiting(money, ok, day, out.hour_value * t_ha / rate.t_h)
    rut = loss_terms(out.farm, field)["rut_ha"]
    _cut(
        np.ascontiguousarray(out.can[:, k, j]), np.nan_to_num(money), out.edge[:, job.row],
        combine, opened[q], min(rate.cart, 1e9), rate.haul, rate.buffer, t_ha, job.area_ha, rut,
        SLOT_MIN / 60.0, out.arrive[k, j], out.tables.finish[:, k, j], out.tables.cost[:, k, j],
    )  # fmt: skip
