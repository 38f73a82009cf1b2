"""Farm and season into cut tables; the one place where floats become integers.

Rounding: a slot counts as open only if it is open throughout (window starts up, ends down), a
job ends at the end of its last slot and a move at the end of its last slot (work up), money is
rounded to the nearest cent.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.weather import Array
from scheduler.farm import Farm, Field
from scheduler.haul import HEADLAND_FACTOR, Gang, Rates, between_km, gang_rates
from scheduler.money import loss_terms
from scheduler.slots import arrivals, crew_slots, down_slots, forbidden_slots
from scheduler.stakes import Bool, Job, Stakes, grain_density, wet_yield
from scheduler.tables import CutTables

SLOT_MIN = 30
SLOTS_DAY = 24 * 60 // SLOT_MIN
#: Days on which a delivery point is tried; assumed, because most fields are begun within a week.
DAYS_PROBED = 6


@dataclass(frozen=True, kw_only=True)
class Compiled:
    """Cut tables and what is needed to read a plan back.

    `can` bool (member, crew, job, slot): cutting goes on in the slot. `point` (crew, job) index
    into farm.points or -1. `rates[crew][job]`. `arrive` (crew, job, slot): when work can begin
    after arriving. `move_km` (crew, job + 1, job).
    """

    tables: CutTables
    stakes: Stakes
    gangs: tuple[Gang, ...]
    can: Bool
    point: NDArray[np.int64]
    rates: tuple[list[Rates | None], ...]
    arrive: NDArray[np.int32]
    move_km: Array

    @property
    def farm(self) -> Farm:
        """The farm as it stands."""
        return self.stakes.farm

    @property
    def jobs(self) -> tuple[Job, ...]:
        """Fields and parcels, in the order of the tables."""
        return self.stakes.jobs

    def field(self, j: int) -> Field:
        """The field of a job."""
        return self.stakes.field(j)


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
                    rate = combine[t] * (HEADLAND_FACTOR if edge[m, t] else 1.0)
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


@njit(cache=True, nogil=True)
def _drier_later(can, loss, day, limit):  # type: ignore[no-untyped-def]
    """Close slots (member, slot) whose day has a later one cheaper by more than `limit` per ha."""
    members, n = can.shape
    for m in range(members):
        least = np.inf
        for s in range(n - 1, -1, -1):
            if s < n - 1 and day[s] != day[s + 1]:
                least = np.inf
            if can[m, s]:
                least = min(least, loss[m, s])
                can[m, s] = loss[m, s] - least <= limit


def takers(stakes: Stakes, j: int, gang: Gang) -> Iterator[tuple[int, Rates]]:
    """Delivery points that take a job's grain at some hour, with the gang's rates there."""
    farm, field = stakes.farm, stakes.field(j)
    density, t_ha = grain_density(field), wet_yield(field)
    for q, p in enumerate(farm.points):
        if field.crop not in p.markets or (p.capacity_t is not None and p.capacity_t <= 0):
            continue
        km = between_km(farm, field.id, p.id)
        rates = gang_rates(gang, p, km=km, density=density, wet_yield=t_ha)
        if rates.t_h > 0 and np.isfinite(stakes.loss[:, j, q]).any():
            yield q, rates


def compile_tables(
    stakes: Stakes,
    gangs: Sequence[Gang],
    *,
    stands: Sequence[str],
    assigned: Mapping[int, int] | None = None,
    locked: tuple[tuple[int, tuple[int, ...]], ...] = (),
) -> Compiled:
    """Compile cut tables for the gangs of a make-up; members weigh the same.

    Parameters
    ----------
    stakes : the morning in slots and money. gangs : the machines of each crew.
    stands : id of the place where each gang stands ('base' or a field).
    assigned : job -> crew that was ordered before; another crew pays `rules.change_price`.
    locked : see `CutTables`.
    """
    farm, jobs, slots = stakes.farm, stakes.jobs, stakes.slots
    move, km = moves(farm, jobs, stands)
    members = stakes.loss.shape[0]
    shape = (members, len(gangs), len(jobs), len(slots))
    out = Compiled(
        tables=CutTables(
            finish=np.full(shape, -1, dtype=np.int32),
            cost=np.zeros(shape, dtype=np.int64),
            move=move,
            ready=np.zeros(len(gangs), dtype=np.int32),
            leave_cost=np.round(stakes.leave * 100).astype(np.int64),
            weight=np.full(members, 1.0 / members),
            locked=locked,
        ),
        stakes=stakes,
        gangs=tuple(gangs),
        can=np.zeros(shape, dtype=np.bool_),
        point=np.full(shape[1:3], -1, dtype=np.int64),
        rates=tuple([None] * len(jobs) for _ in gangs),
        arrive=np.zeros(shape[1:], dtype=np.int32),
        move_km=km,
    )
    crews = {c.id: c for c in farm.crews}
    for k, gang in enumerate(gangs):
        worked = crew_slots(crews[gang.crew], slots, farm.tz)
        shut = ~worked | forbidden_slots(farm.rules.road_forbidden, slots, farm.tz)
        up = np.array([~down_slots(c.down, slots) for c in gang.combines], dtype=np.float64)
        for j, job in enumerate(jobs):
            out.arrive[k, j] = arrivals(shut, int(move[k, :, j].max()))
            _fill(out, k, j, stakes.ground[:, job.row] & worked, up)
    charge = round(farm.rules.change_price * 100)
    for j, k in (assigned or {}).items():
        out.tables.cost[:, [c for c in range(len(gangs)) if c != k], j] += charge
    return out


def _fill(out: Compiled, k: int, j: int, ok: Bool, up: Array) -> None:
    """Fill the tables of one crew and job; `ok` (member, slot), `up` (combine, slot).

    Of the delivery points the one is taken that costs least with the crew's time, on the mean of
    the members and of arrivals at the same hour of each of the first days.
    """
    stakes, best = out.stakes, np.inf
    value = stakes.hour_value(len(out.gangs)) * SLOT_MIN / 60.0
    for q, rates in takers(stakes, j, out.gangs[k]):
        can, finish, cost = _at_point(out, k, j, q, rates, ok, up)
        probe = np.arange(0, min(DAYS_PROBED * SLOTS_DAY, can.shape[1]), SLOTS_DAY)
        done = np.where(finish[:, probe] >= 0, finish[:, probe], can.shape[1])
        money = np.where(finish[:, probe] >= 0, cost[:, probe] / 100.0, stakes.leave[j])
        score = float((money + value * (done - probe)).mean())
        if score < best:
            best = score
            out.point[k, j], out.rates[k][j] = q, rates
            out.can[:, k, j] = can
            out.tables.finish[:, k, j], out.tables.cost[:, k, j] = finish, cost


def _at_point(
    out: Compiled, k: int, j: int, q: int, rates: Rates, ok: Bool, up: Array
) -> tuple[Bool, NDArray[np.int32], NDArray[np.int64]]:
    """Slots cut, finish and cost (member, slot) of a job hauled to one delivery point."""
    stakes, job = out.stakes, out.stakes.jobs[j]
    field = stakes.field(j)
    combine, t_ha = np.array(rates.combine) @ up, wet_yield(field)
    # one layout whatever the stakes have, else the two below are compiled for each
    money, edge = (np.ascontiguousarray(a) for a in (stakes.loss[:, j, q], stakes.edge[:, job.row]))
    can = np.ascontiguousarray(ok & np.isfinite(money) & (combine > 0))
    _drier_later(can, money, stakes.day, stakes.hour_value(len(out.gangs)) * t_ha / rates.t_h)
    finish, cost = np.empty(can.shape, np.int32), np.empty(can.shape, np.int64)
    _cut(
        can, money, edge, combine, stakes.opened[q], min(rates.cart, 1e9),
        rates.haul, rates.buffer, t_ha, job.area_ha, loss_terms(stakes.farm, field)["rut_ha"],
        SLOT_MIN / 60.0, out.arrive[k, j], finish, cost,
    )  # fmt: skip
    return can, finish, cost
