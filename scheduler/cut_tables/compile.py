"""Compile farm and season into cut tables; floats become integers here only.

Rounding: a slot is open only if it is open throughout (window starts up, ends down); a job ends
at the end of its last slot and a move at the end of its last slot (work up); money is rounded to
the nearest cent.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.machine_rates import CrewMachines, MachinesUp
from scheduler.costs.standing_loss import StandingLoss, wet_yield
from scheduler.cut_tables.compiled import Compiled
from scheduler.cut_tables.cutting import CrewJob
from scheduler.cut_tables.delivery import slots_to_open
from scheduler.cut_tables.moves import moves
from scheduler.cut_tables.point_choice import accepting_points, choose_points
from scheduler.farm.model import Cart, Combine, Truck
from scheduler.farm.opening_hours import down_slots, forbidden_slots
from scheduler.farm.slots import BoolArray
from scheduler.farm.working_time import crew_slots, work_start_slots
from scheduler.solver.tables import CutTables


def compile_tables(
    standing_loss: StandingLoss,
    makeup: Sequence[CrewMachines],
    *,
    places: Sequence[str],
    assigned: Mapping[int, int] | None = None,
    locked: tuple[tuple[int, tuple[int, ...]], ...] = (),
) -> Compiled:
    """Compile the cut tables of a make-up; all members weigh the same.

    Parameters
    ----------
    places : id of the place where each crew stands, 'base' or a field.
    assigned : job -> crew of the previous orders; another crew costs `rules.change_price` more.
    locked : see `CutTables`.
    """
    farm, jobs, slots = standing_loss.farm, standing_loss.jobs, standing_loss.slots
    shape = len(standing_loss.loss), len(makeup), len(jobs), len(slots)
    move, move_km = moves(farm, jobs, places)
    worked = _worked(standing_loss, makeup)
    up = tuple(_machines_up(machines, slots) for machines in makeup)
    arrive = _arrivals(standing_loss, worked, move)
    accepting = [
        [dict(accepting_points(standing_loss, j, machines)) for j in range(len(jobs))]
        for machines in makeup
    ]
    crew_jobs = _crew_jobs(standing_loss, worked, up)
    rates = choose_points(standing_loss, crew_jobs, accepting, arrive)
    finish, cost = np.full(shape, -1, np.int32), np.zeros(shape, np.int64)
    can, point = np.zeros(shape, np.bool_), np.full(shape, -1, np.int16)
    for k, j in np.ndindex(shape[1:3]):
        job = crew_jobs[k][j].cut(rates[k][j], arrive[k, j])
        can[:, k, j], point[:, k, j] = job.can, job.point
        finish[:, k, j], cost[:, k, j] = job.finish, job.cost
    change = round(farm.rules.change_price * 100)
    for j, k in (assigned or {}).items():
        cost[:, [other for other in range(len(makeup)) if other != k], j] += change
    return Compiled(
        tables=CutTables(
            finish=finish,
            cost=cost,
            move=move,
            ready=np.zeros(len(makeup), dtype=np.int32),
            leave_cost=np.round(standing_loss.leave_cost * 100).astype(np.int64),
            weight=np.full(shape[0], 1.0 / shape[0]),
            locked=locked,
        ),
        standing_loss=standing_loss,
        makeup=tuple(makeup),
        can=can,
        point=point,
        rates=rates,
        up=up,
        arrive=arrive,
        move_km=move_km,
    )


def _worked(standing_loss: StandingLoss, makeup: Sequence[CrewMachines]) -> list[BoolArray]:
    """Slots in which each crew works."""
    farm = standing_loss.farm
    crews = {c.id: c for c in farm.crews}
    return [crew_slots(crews[m.crew], standing_loss.slots, farm.tz) for m in makeup]


def _machines_up(machines: CrewMachines, slots: NDArray[np.datetime64]) -> MachinesUp:
    """Machines of a crew that are not down, slot by slot."""

    def up(kind: Sequence[Combine | Cart | Truck]) -> Array:
        free = [~down_slots(machine.down, slots) for machine in kind]
        return np.array(free, dtype=np.float64).reshape(len(kind), len(slots))

    return MachinesUp(up(machines.combines), up(machines.carts), up(machines.trucks))


def _arrivals(
    standing_loss: StandingLoss,
    worked: Sequence[BoolArray],
    move: NDArray[np.int32],
) -> NDArray[np.int32]:
    """Slot at which work can begin after arriving in each slot, (crew, job, slot)."""
    farm, slots = standing_loss.farm, standing_loss.slots
    forbidden = forbidden_slots(farm.rules.road_forbidden, slots, farm.tz)
    arrive = np.zeros((len(worked), len(standing_loss.jobs), len(slots)), dtype=np.int32)
    for k, j in np.ndindex(arrive.shape[:2]):
        arrive[k, j] = work_start_slots(~worked[k] | forbidden, int(move[k, :, j].max()))
    return arrive


def _crew_jobs(
    standing_loss: StandingLoss, worked: Sequence[BoolArray], up: Sequence[MachinesUp]
) -> list[list[CrewJob]]:
    """Every crew on every job, `[crew][job]`."""
    to_open = slots_to_open(standing_loss.point_open)
    # contiguous copies: the kernels compile once, for one memory layout
    losses = [standing_loss.loss[:, j].copy() for j in range(len(standing_loss.jobs))]
    edges = [standing_loss.headland_only[:, job.row].copy() for job in standing_loss.jobs]
    value = standing_loss.crew_hour_value(len(worked))
    return [
        [
            CrewJob(
                workable=standing_loss.field_open[:, job.row] & works,
                headland_only=edges[j],
                loss=losses[j],
                day=standing_loss.day,
                slots_to_open=to_open,
                up=machines_up,
                area_ha=job.area_ha,
                t_ha=wet_yield(standing_loss.field(j)),
                rut_ha=loss_terms(standing_loss.farm, standing_loss.field(j))["rut_ha"],
                crew_value=value,
            )
            for j, job in enumerate(standing_loss.jobs)
        ]
        for works, machines_up in zip(worked, up, strict=True)
    ]
