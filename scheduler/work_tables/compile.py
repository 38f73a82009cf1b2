"""Compile farm and season into work tables; the farm's facts become arrays here only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.grain.crops import CROPS
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.machine_rates import TOUGH_SLOWER, CrewMachines, MachinesUp, Rates
from scheduler.costs.standing_loss import Job, StandingLoss, wet_yield
from scheduler.farm.model import Cart, Combine, DeliveryPoint, Farm, Field, Truck
from scheduler.farm.opening_hours import forbidden_slots, open_slots
from scheduler.farm.slots import SLOT_MIN, BoolArray
from scheduler.farm.units import wheat_equivalent_t
from scheduler.farm.working_time import crew_slots, machine_slots, meal_share, service_slots
from scheduler.field_work.tables import WorkTables
from scheduler.work_tables.accepting_points import accepting_points
from scheduler.work_tables.crew_makeup import MakeUp
from scheduler.work_tables.manning import Manning, man
from scheduler.work_tables.moves import moves
from scheduler.work_tables.point_hours import slots_to_open


@dataclass(frozen=True, kw_only=True)
class FarmWork:
    """Work tables of one make-up and the farm's facts behind them.

    Attributes
    ----------
    tables : the arrays that simulator and search take.
    standing_loss : the season in slots and money.
    makeup : machines of each crew.
    rates : `rates[crew][job]`, by point that the job may be delivered to.
    move_km : (crew, job + 1, job), the last row from where the crew stands.
    manning : who drives which machine.
    """

    tables: WorkTables
    standing_loss: StandingLoss
    makeup: MakeUp
    rates: tuple[list[dict[int, Rates]], ...]
    move_km: Array
    manning: Manning

    @property
    def farm(self) -> Farm:
        """The farm as it stands."""
        return self.standing_loss.farm

    @property
    def jobs(self) -> tuple[Job, ...]:
        """Fields and wet hollows, in the order of the tables."""
        return self.standing_loss.jobs

    def field(self, j: int) -> Field:
        """The field of a job."""
        return self.standing_loss.field(j)

    @property
    def undriven(self) -> tuple[str, ...]:
        """Ids of machines that are up on the first day worked, and that nobody drives on it."""
        manning, farm = self.manning, self.farm
        pairs = zip(manning.seats, manning.first_driver, strict=True)
        driven = {seat.machine.id for seat, driver in pairs if driver >= 0}
        slots, first = self.standing_loss.slots, manning.first_day
        machines = (*farm.combines, *farm.carts, *farm.trucks)
        return tuple(
            m.id for m in machines if m.id not in driven and machine_slots(m, slots)[first].any()
        )


def compile_work(
    standing_loss: StandingLoss, makeup: Sequence[CrewMachines], *, places: Sequence[str]
) -> FarmWork:
    """Compile the work tables of a make-up; all members weigh the same.

    Parameters
    ----------
    places : id of the place where each crew stands, 'base' or a field.
    """
    farm, jobs, slots = standing_loss.farm, standing_loss.jobs, standing_loss.slots
    members = len(standing_loss.loss)
    rows = [job.row for job in jobs]
    up = [_machines_up(m, slots) for m in makeup]
    manning = man(farm, makeup, slots, [row > 0 for crew in up for kind in crew for row in kind])
    machines, states = _machine_states([_driven(u, manning, k) for k, u in enumerate(up)])
    hauls = [any(at.trucks.any() for at in own) for own in states]
    rates = tuple(
        [dict(accepting_points(standing_loss, j, m)) for j in range(len(jobs))] for m in makeup
    )
    shape = len(makeup), max(len(s) for s in states), len(jobs), len(farm.points)
    cut_rate, edge_rate, haul_rate = np.zeros(shape[:3]), np.zeros(shape[:3]), np.zeros(shape)
    accepts = np.zeros((shape[0], *shape[2:]), np.bool_)
    buffer, delay = np.zeros(accepts.shape[:2]), np.zeros(accepts.shape)
    value = standing_loss.crew_hour_value(len(makeup))
    yield_t = np.array([wet_yield(standing_loss.field(j)) for j in range(len(jobs))])
    beside_meals = {c.id: 1.0 - meal_share(c) for c in farm.crews}
    for k, j in np.ndindex(accepts.shape[:2]):
        if not hauls[k]:
            continue
        for q, r in rates[k][j].items():
            accepts[k, j, q], buffer[k, j] = True, r.buffer
            delay[k, j, q] = value * yield_t[j] / r.t_h
            for u, at in enumerate(states[k]):
                combine, at_edge, cart, haul = (float(x[0]) for x in r.by_slot(at))
                # nobody cuts while no truck of the crew is there and driven
                if haul > 0.0:
                    for table, rate in ((cut_rate, combine), (edge_rate, at_edge)):
                        pace = min(rate, cart) * beside_meals[makeup[k].crew]
                        # whoever hauls alone cuts as if to the farthest point
                        table[k, u, j] = min(pace, table[k, u, j] or pace)
                haul_rate[k, u, j, q] = haul
    move, move_km = moves(farm, jobs, places)
    fields = [standing_loss.field(j) for j in range(len(jobs))]
    moisture = standing_loss.moisture[:, rows][:, :, standing_loss.hour]
    edge = standing_loss.headland_only[:, rows]
    rut = np.array([loss_terms(farm, f)["rut_ha"] for f in fields])
    loss = standing_loss.loss + (edge * rut[:, None])[:, :, None]
    tables = WorkTables(
        wet=_by_slot(np.where(standing_loss.field_open[:, rows], moisture, np.inf)),
        prospect=_by_slot(np.where(standing_loss.prospect[:, rows], moisture, np.inf)),
        edge=np.ascontiguousarray(edge.transpose(0, 2, 1)),
        loss=np.ascontiguousarray(loss.transpose(0, 3, 1, 2), dtype=np.float32),
        day=standing_loss.day.astype(np.int64),
        works=np.array(_worked(standing_loss, makeup)),
        road=~forbidden_slots(farm.rules.road_forbidden, slots, farm.tz),
        point_open=standing_loss.point_open,
        slots_to_open=slots_to_open(standing_loss.point_open),
        machines=machines,
        cut_rate=cut_rate,
        edge_rate=edge_rate,
        tough_from=np.array([CROPS[f.crop].base_moisture for f in fields]),
        haul_rate=haul_rate,
        accepts=accepts,
        buffer=buffer,
        delay=delay,
        move=move,
        area=np.array([job.area_ha for job in jobs]),
        yield_t=yield_t,
        leave_cost=standing_loss.leave_cost,
        crop=np.unique([f.crop for f in fields], return_inverse=True)[1].astype(np.int64),
        shared=np.array([_shared(farm, f) for f in fields]),
        room=np.array([np.inf if p.capacity_t is None else p.capacity_t for p in farm.points]),
        room_factor=np.array([wheat_equivalent_t(1.0, f.crop) for f in fields]),
        dry_limit=np.array([[_dry_limit(p, f) for p in farm.points] for f in fields]),
        holding=np.array([np.inf if p.dryer_t_h is None else p.wet_room_t for p in farm.points]),
        dried=np.array([_dried(p, slots, farm.tz) for p in farm.points]),
        weight=np.full(members, 1.0 / members),
        tough_slower=TOUGH_SLOWER,
        slot_min=float(SLOT_MIN),
    )
    return FarmWork(
        tables=tables,
        standing_loss=standing_loss,
        makeup=tuple(makeup),
        rates=rates,
        move_km=move_km,
        manning=manning,
    )


def _by_slot(moisture: Array) -> NDArray[np.float32]:
    """(member, slot, job) of (member, job, slot); unknown is wet, hence infinite."""
    filled = np.where(np.isnan(moisture), np.inf, moisture)
    return np.ascontiguousarray(filled.transpose(0, 2, 1), dtype=np.float32)


def _dry_limit(point: DeliveryPoint, field: Field) -> float:
    """Moisture, percent, above which a field's grain waits for the dryer of a point."""
    market = point.markets.get(field.crop)
    if point.dryer_t_h is None or market is None:
        return np.inf
    return market.moisture_base_pct


def _dried(point: DeliveryPoint, slots: NDArray[np.datetime64], tz: ZoneInfo) -> Array:
    """Water that the dryer of a point takes out in each slot, t of wheat times points, (slot,).

    A dryer takes out about as much water in an hour whatever the grain, so that its rate falls with
    the points (common practice, no source).
    """
    on = np.ones(len(slots), np.bool_)
    if point.dryer_week is not None:
        on = open_slots(point.dryer_week, slots, tz)
    return np.asarray(on * (point.dryer_t_h or 0.0) * point.dryer_points * SLOT_MIN / 60.0)


def _shared(farm: Farm, field: Field) -> bool:
    """Whether two crews may cut the field at once."""
    least = farm.rules.share_from_ha
    return least is not None and field.area_ha >= least


def _machine_states(up: Sequence[MachinesUp]) -> tuple[NDArray[np.int64], list[list[MachinesUp]]]:
    """State of each crew's machines in each slot, (crew, slot), and the machines up in a state."""
    index, states = [], []
    for machines in up:
        columns = np.concatenate(list(machines))
        _, first, inverse = np.unique(columns, axis=1, return_index=True, return_inverse=True)
        index.append(inverse.ravel())
        states.append([machines.at(int(s)) for s in first])
    return np.array(index, np.int64), states


def _worked(standing_loss: StandingLoss, makeup: Sequence[CrewMachines]) -> list[BoolArray]:
    """Slots in which each crew moves and cuts: those that it works, less the morning's service."""
    farm, slots = standing_loss.farm, standing_loss.slots
    crews = [c for m in makeup for c in farm.crews if c.id == m.crew]
    return [crew_slots(c, slots, farm.tz) & ~service_slots(c, slots, farm.tz) for c in crews]


def _machines_up(machines: CrewMachines, slots: NDArray[np.datetime64]) -> MachinesUp:
    """Machines of a crew that are not down, slot by slot."""

    def up(kind: Sequence[Combine | Cart | Truck]) -> Array:
        free = [machine_slots(machine, slots) for machine in kind]
        return np.array(free, dtype=np.float64).reshape(len(kind), len(slots))

    return MachinesUp(up(machines.combines), up(machines.carts), up(machines.trucks))


def _driven(up: MachinesUp, manning: Manning, crew: int) -> MachinesUp:
    """Machines of a crew that are up and driven, slot by slot."""
    kinds = zip(up, (Combine, Cart, Truck), strict=True)
    return MachinesUp(*(machines * manning.manned(crew, kind) for machines, kind in kinds))
