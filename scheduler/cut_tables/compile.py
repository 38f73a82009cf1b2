"""Farm and season into cut tables; the one place where floats become integers.

Rounding: a slot counts as open only if it is open throughout (window starts up, ends down), a
job ends at the end of its last slot and a move at the end of its last slot (work up), money is
rounded to the nearest cent.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.machine_rates import HEADLAND_FACTOR, CrewMachines, Rates, crew_rates
from scheduler.costs.standing_loss import Bool, Job, StandingLoss, grain_density, wet_yield
from scheduler.cut_tables.capacity import assign_storage
from scheduler.cut_tables.delivery import delivery_by_slot, until_open
from scheduler.cut_tables.moves import moves
from scheduler.farm.distances import between_km
from scheduler.farm.model import Cart, Combine, Farm, Field, Truck
from scheduler.farm.units import wheat_equivalent_t
from scheduler.farm.working_time import (
    SLOT_MIN,
    crew_slots,
    down_slots,
    forbidden_slots,
    work_start_slots,
)
from scheduler.solver.tables import CutTables

#: Slots between arrivals for which delivery points are compared, and how many: every seventh hour
#: of a week, each hour of the day once; assumed, because most fields are begun within a week.
STEP, TRIED = 7 * 60 // SLOT_MIN, 24


#: Slots cut and where they are hauled (member, slot), finish and cost (member, start) of a job.
Cut = tuple[Bool, NDArray[np.int16], NDArray[np.int32], NDArray[np.int64]]
#: Cuts a job: hauled to the points of these rates, begun at these slots.
Cutter = Callable[[Mapping[int, Rates], NDArray[np.int32]], Cut]


@dataclass(frozen=True, kw_only=True)
class Compiled:
    """Cut tables and what is needed to read a plan back.

    `can` bool (member, crew, job, slot): cutting goes on in the slot. `point` (member, crew, job,
    slot): index into farm.points of where it is hauled, or -1. `rates[crew][job]`: by point that
    the job may be hauled to. `up[crew]`: (machine, slot) whether its combines, carts and trucks
    are not down. `arrive` (crew, job, slot): when work can begin after arriving.
    `move_km` (crew, job + 1, job).
    """

    tables: CutTables
    standing_loss: StandingLoss
    makeup: tuple[CrewMachines, ...]
    can: Bool
    point: NDArray[np.int16]
    rates: tuple[list[dict[int, Rates]], ...]
    up: tuple[tuple[Array, Array, Array], ...]
    arrive: NDArray[np.int32]
    move_km: Array

    @property
    def farm(self) -> Farm:
        """The farm as it stands."""
        return self.standing_loss.farm

    @property
    def jobs(self) -> tuple[Job, ...]:
        """Fields and parcels, in the order of the tables."""
        return self.standing_loss.jobs

    def field(self, j: int) -> Field:
        """The field of a job."""
        return self.standing_loss.field(j)

    def main_rates(self, k: int, j: int) -> Rates | None:
        """Rates to the point that most of what a crew could cut of a job would go to."""
        cut = self.point[:, k, j][self.can[:, k, j]]
        return self.rates[k][j][int(np.bincount(cut).argmax())] if cut.size else None

    def slot_t(self, k: int, j: int, slot: int, held: float) -> tuple[float, float]:
        """Tonnes that a crew can cut of a job in a slot, and that its trucks haul, as by `_cut`.

        In the first member, with `held` tonnes in carts and trucks, hauling to the slot's point.
        """
        q = int(self.point[0, k, j, slot])
        rates, step = self.rates[k][j][q], SLOT_MIN / 60.0
        up = (machines[:, slot : slot + 1] for machines in self.up[k])
        combine, cart, haul = (float(rate[0]) * step for rate in rates.by_slot(*up))
        out = haul if self.standing_loss.point_open[q, slot] else 0.0
        if self.standing_loss.headland_only[0, self.jobs[j].row, slot]:
            combine *= HEADLAND_FACTOR
        return max(0.0, min(combine, cart, rates.buffer - held + out)), out


@njit(cache=True, nogil=True)
def _cut(  # type: ignore[no-untyped-def]
    can,
    loss,
    edge,
    combine,
    cart,
    haul,
    buffer,
    t_ha,
    area,
    rut,
    step,
    starts,
    finish,
    cost,
):
    """Cut one job from some slots in every member; fills `finish` and `cost` (member, start).

    can, loss, edge (member, slot): cutting goes on; money per ha; carts stay at the edge.
    combine, cart (slot) t/h of those that are up; haul (member, slot) t/h of the trucks, 0 while
    the delivery point is shut: what is cut then fills carts and trucks up to `buffer` tonnes.
    starts (start,): slots from which the crew is in the field.
    """
    members, n = can.shape
    done = np.empty(n + 1, np.int32)
    paid = np.empty(n + 1, np.float64)
    first = np.empty(n + 1, np.int64)  # slot from which cutting goes on
    for m in range(members):
        first[n] = n
        for s in range(n - 1, -1, -1):
            first[s] = s if can[m, s] else first[s + 1]
            done[s] = -2  # not known yet
        done[n] = -1
        paid[n] = 0.0
        for p in range(starts.size):
            s = first[starts[p]]
            if done[s] == -2:
                left = area * t_ha
                held = 0.0
                money = 0.0
                t = s
                while t < n and left > 1e-9:
                    out = haul[m, t] * step
                    cut = 0.0
                    if can[m, t]:
                        rate = combine[t] * (HEADLAND_FACTOR if edge[m, t] else 1.0)
                        cut = min(min(rate, cart[t]) * step, buffer - held + out, left)
                        money += cut / t_ha * (loss[m, t] + (rut if edge[m, t] else 0.0))
                        left -= cut
                    held = max(0.0, held + cut - out)
                    t += 1
                done[s] = t if left <= 1e-9 else -1
                paid[s] = money
            finish[m, p] = done[s]
            cost[m, p] = np.int64(round(max(paid[s], 0.0) * 100.0))


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


def accepting_points(
    standing_loss: StandingLoss, j: int, machines: CrewMachines
) -> Iterator[tuple[int, Rates]]:
    """Delivery points that take a job's grain at some hour, with the crew's rates there.

    Grain for seed goes to the farm's own (common practice, no source), where one takes it.
    """
    farm, field = standing_loss.farm, standing_loss.field(j)
    density, t_ha = grain_density(field), wet_yield(field)
    taken = [
        q
        for q, p in enumerate(farm.points)
        if field.crop in p.markets
        and (p.capacity_t is None or p.capacity_t > 0)
        and np.isfinite(standing_loss.loss[:, j, q]).any()
    ]
    own = [q for q in taken if farm.points[q].own]
    for q in own if own and field.purpose == "seed" else taken:
        p = farm.points[q]
        km = between_km(farm, field.id, p.id)
        rates = crew_rates(machines, p, km=km, density=density, wet_yield=t_ha)
        if rates.t_h > 0:
            yield q, rates


def compile_tables(
    standing_loss: StandingLoss,
    makeup: Sequence[CrewMachines],
    *,
    stands: Sequence[str],
    assigned: Mapping[int, int] | None = None,
    locked: tuple[tuple[int, tuple[int, ...]], ...] = (),
) -> Compiled:
    """Compile cut tables for the crews of a make-up; members weigh the same.

    Parameters
    ----------
    standing_loss : the morning in slots and money. makeup : the machines of each crew.
    stands : id of the place where each crew stands ('base' or a field).
    assigned : job -> crew that was ordered before; another crew pays `rules.change_price`.
    locked : see `CutTables`.
    """
    farm, jobs, slots = standing_loss.farm, standing_loss.jobs, standing_loss.slots
    move, km = moves(farm, jobs, stands)
    members = standing_loss.loss.shape[0]
    shape = (members, len(makeup), len(jobs), len(slots))
    out = Compiled(
        tables=CutTables(
            finish=np.full(shape, -1, dtype=np.int32),
            cost=np.zeros(shape, dtype=np.int64),
            move=move,
            ready=np.zeros(len(makeup), dtype=np.int32),
            leave_cost=np.round(standing_loss.leave * 100).astype(np.int64),
            weight=np.full(members, 1.0 / members),
            locked=locked,
        ),
        standing_loss=standing_loss,
        makeup=tuple(makeup),
        can=np.zeros(shape, dtype=np.bool_),
        point=np.full(shape, -1, dtype=np.int16),
        rates=tuple([{} for _ in jobs] for _ in makeup),
        up=tuple(
            (_up(g.combines, slots), _up(g.carts, slots), _up(g.trucks, slots)) for g in makeup
        ),
        arrive=np.zeros(shape[1:], dtype=np.int32),
        move_km=km,
    )
    crews = {c.id: c for c in farm.crews}
    cutters: list[list[Cutter]] = [[] for _ in makeup]
    wait = until_open(standing_loss.point_open)
    # one layout whatever the standing_loss have, else what is compiled would be so for each
    losses = [standing_loss.loss[:, j].copy() for j in range(len(jobs))]
    for k, machines in enumerate(makeup):
        worked = crew_slots(crews[machines.crew], slots, farm.tz)
        shut = ~worked | forbidden_slots(farm.rules.road_forbidden, slots, farm.tz)
        for j, job in enumerate(jobs):
            out.arrive[k, j] = work_start_slots(shut, int(move[k, :, j].max()))
            out.rates[k][j].update(accepting_points(standing_loss, j, machines))
            cutters[k].append(
                _cutter(out, k, j, standing_loss.field_open[:, job.row] & worked, losses[j], wait)
            )
    _choose_points(out, cutters)
    for k, j in np.ndindex(shape[1:3]):
        out.can[:, k, j], out.point[:, k, j], finish, cost = cutters[k][j](
            out.rates[k][j], out.arrive[k, j]
        )
        out.tables.finish[:, k, j], out.tables.cost[:, k, j] = finish, cost
    charge = round(farm.rules.change_price * 100)
    for j, k in (assigned or {}).items():
        out.tables.cost[:, [c for c in range(len(makeup)) if c != k], j] += charge
    return out


def _up(machines: Sequence[Combine | Cart | Truck], slots: NDArray[np.datetime64]) -> Array:
    """(machine, slot) 1.0 where a machine is not down."""
    up = [~down_slots(m.down, slots) for m in machines]
    return np.array(up, dtype=np.float64).reshape(len(machines), len(slots))


def _choose_points(out: Compiled, cutters: Sequence[Sequence[Cutter]]) -> None:
    """Keep of the rates those of the points that jobs are hauled to.

    That is one point or several in turn, whichever costs less. Where points have little room,
    only the jobs that need it most may go there, and fit in whole, so that what is brought there
    fits in any order and any weather.
    """
    tight = [q for q, p in enumerate(out.farm.points) if p.capacity_t is not None]
    score = np.full((len(out.makeup), len(out.jobs), 1 + len(tight)), np.inf)
    kept = {}
    for k, j in np.ndindex(score.shape[:2]):
        rates = out.rates[k][j]
        free = tuple(q for q in rates if q not in tight)
        some = [free, *((*free, q) for q in tight if q in rates)]
        ways = dict.fromkeys(way for s in some for way in (s, *((q,) for q in s)))
        for points in ways:
            way = {q: rates[q] for q in points}
            cost = _probe(out, k, j, cutters[k][j], way) if len(ways) > 1 else 0.0
            c = next((c for c, q in enumerate(tight, 1) if q in points), 0)
            if cost < score[k, j, c]:
                score[k, j, c], kept[k, j, c] = cost, way
        for c in range(1, 1 + len(tight)):
            if score[k, j, c] >= score[k, j, 0]:
                score[k, j, c], kept[k, j, c] = score[k, j, 0], kept[k, j, 0]
    need = np.array([_storage_needed(out.standing_loss, j) for j in range(len(out.jobs))])
    room = np.array([out.farm.points[q].capacity_t for q in tight])
    chosen = assign_storage(score.mean(axis=0), need, room)
    for k, j in np.ndindex(score.shape[:2]):
        out.rates[k][j] = kept[k, j, int(chosen[j])]


def _probe(out: Compiled, k: int, j: int, cut: Cutter, rates: Mapping[int, Rates]) -> float:
    """What a job costs with the crew's time, hauled to the points of `rates`.

    On the mean of the members and of arrivals through the first week.
    """
    slots = len(out.standing_loss.slots)
    probe = np.arange(0, min(TRIED * STEP, slots), STEP)
    _, _, finish, cost = cut(rates, out.arrive[k, j, probe])
    money = np.where(finish >= 0, cost / 100.0, out.standing_loss.leave[j])
    slots_taken = np.where(finish >= 0, finish, slots) - probe
    hour = out.standing_loss.crew_hour_value(len(out.makeup))
    return float((money + hour * SLOT_MIN / 60.0 * slots_taken).mean())


def _storage_needed(standing_loss: StandingLoss, j: int) -> float:
    """Room that the grain of a job takes, as moist as it stands on the first day, t of wheat."""
    job, field = standing_loss.jobs[j], standing_loss.field(j)
    moisture = standing_loss.moisture[:, job.row, :24]
    known = moisture[np.isfinite(moisture)]
    t_ha = wet_yield(field, float(known.mean()) if known.size else None)
    return wheat_equivalent_t(job.area_ha * t_ha, field.crop)


def _cutter(
    out: Compiled, k: int, j: int, ok: Bool, loss: Array, wait: NDArray[np.int64]
) -> Cutter:
    """How a crew cuts a job, by the delivery points that it may be hauled to.

    `ok` (member, slot): the field is open and the crew at work. `loss` (member, point, slot) of
    the job. `wait` (point, slot) until it is open.
    """
    standing_loss, job, field = out.standing_loss, out.jobs[j], out.field(j)
    t_ha, hour = wet_yield(field), standing_loss.crew_hour_value(len(out.makeup))
    rut = loss_terms(out.farm, field)["rut_ha"]
    edge = np.ascontiguousarray(standing_loss.headland_only[:, job.row])

    def cut(rates: Mapping[int, Rates], starts: NDArray[np.int32]) -> Cut:
        haul = delivery_by_slot(loss, wait, rates, out.up[k][2], hour * t_ha)
        finish = np.full((len(ok), len(starts)), -1, np.int32)
        cost = np.zeros(finish.shape, np.int64)
        if not rates:
            return np.zeros(ok.shape, np.bool_), haul.point, finish, cost
        some = next(iter(rates.values()))  # all but the haul is the same for every point
        combine, cart, _ = some.by_slot(*out.up[k])
        can = ok & np.isfinite(haul.loss) & (combine > 0)
        fastest = max(r.t_h for r in rates.values())
        _drier_later(can, haul.loss, standing_loss.day, hour * t_ha / fastest)
        _cut(
            can, haul.loss, edge, combine, cart, haul.t_h, some.buffer, t_ha,
            job.area_ha, rut, SLOT_MIN / 60.0, starts, finish, cost,
        )  # fmt: skip
        return can, haul.point, finish, cost

    return cut
