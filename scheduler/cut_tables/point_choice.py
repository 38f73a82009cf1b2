"""Choose the delivery points of each crew and job: one point, or several in turn."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from scheduler.costs.machine_rates import CrewMachines, Rates, crew_rates
from scheduler.costs.standing_loss import StandingLoss, grain_density, wet_yield
from scheduler.cut_tables.cutting import CrewJob
from scheduler.cut_tables.storage import assign_storage
from scheduler.farm.distances import between_km
from scheduler.farm.slots import SLOT_MIN
from scheduler.farm.units import wheat_equivalent_t

PointRates = Mapping[int, Rates]
#: Slots between the arrivals on which points are compared, and how many: every seventh hour of a
#: week meets each hour of the day once; assumed, because most fields are begun within a week.
PROBE_STEP, PROBE_COUNT = 7 * 60 // SLOT_MIN, 24


def accepting_points(
    standing_loss: StandingLoss, j: int, machines: CrewMachines
) -> Iterator[tuple[int, Rates]]:
    """Delivery points that take a job's grain at some hour, with the crew's rates to each.

    Grain for seed goes to the farm's own points (common practice, no source) where one takes it.
    """
    farm, field = standing_loss.farm, standing_loss.field(j)
    density, t_ha = grain_density(field), wet_yield(field)
    taking = [
        q
        for q, p in enumerate(farm.points)
        if field.crop in p.markets
        and (p.capacity_t is None or p.capacity_t > 0)
        and np.isfinite(standing_loss.loss[:, j, q]).any()
    ]
    own = [q for q in taking if farm.points[q].own]
    for q in own if own and field.purpose == "seed" else taking:
        p = farm.points[q]
        km = between_km(farm, field.id, p.id)
        rates = crew_rates(machines, p, km=km, density=density, wet_yield=t_ha)
        if rates.t_h > 0:
            yield q, rates


def choose_points(
    standing_loss: StandingLoss,
    crew_jobs: Sequence[Sequence[CrewJob]],
    accepting: Sequence[Sequence[PointRates]],
    arrive: NDArray[np.int32],
) -> tuple[list[dict[int, Rates]], ...]:
    """Keep the delivery points that make each job of each crew cheapest.

    Where storage is limited, the jobs that lose most without it get it, and only as many as fit
    in whole, so that the grain fits in any order and any weather.

    Parameters
    ----------
    crew_jobs, accepting : `[crew][job]`.
    arrive : (crew, job, slot).

    Returns
    -------
    `[crew][job]`, rates of the points kept.
    """
    points = standing_loss.farm.points
    limited = [q for q, p in enumerate(points) if p.capacity_t is not None]
    shape = len(crew_jobs), len(standing_loss.jobs), 1 + len(limited)
    cost = np.full(shape, np.inf)
    kept: dict[tuple[int, int, int], dict[int, Rates]] = {}
    for k, j in np.ndindex(shape[:2]):
        ways = _point_sets(accepting[k][j], limited)
        for way in ways:
            rates = {q: accepting[k][j][q] for q in way}
            found = 0.0
            if len(ways) > 1:
                found = _probe_cost(standing_loss, j, crew_jobs[k][j], rates, arrive[k, j])
            choice = next((c for c, q in enumerate(limited, 1) if q in way), 0)
            if found < cost[k, j, choice]:
                cost[k, j, choice], kept[k, j, choice] = found, rates
        for choice in range(1, shape[2]):
            if cost[k, j, choice] >= cost[k, j, 0]:
                cost[k, j, choice], kept[k, j, choice] = cost[k, j, 0], kept[k, j, 0]
    tonnes = np.array([_storage_needed(standing_loss, j) for j in range(shape[1])])
    capacity = np.array([points[q].capacity_t for q in limited])
    chosen = assign_storage(cost.mean(axis=0), tonnes, capacity)
    return tuple([kept[k, j, int(chosen[j])] for j in range(shape[1])] for k in range(shape[0]))


def _point_sets(accepting: PointRates, limited: Sequence[int]) -> list[tuple[int, ...]]:
    """Sets of points to compare: all unlimited ones, these and one limited one, each alone."""
    free = tuple(q for q in accepting if q not in limited)
    several = [free, *((*free, q) for q in limited if q in accepting)]
    return list(dict.fromkeys(way for s in several for way in (s, *((q,) for q in s))))


def _probe_cost(
    standing_loss: StandingLoss,
    j: int,
    crew_job: CrewJob,
    rates: PointRates,
    arrive: NDArray[np.int32],
) -> float:
    """Cost of a job with the crew's time: mean over members and arrivals of the first week."""
    slots = len(standing_loss.slots)
    probe = np.arange(0, min(PROBE_COUNT * PROBE_STEP, slots), PROBE_STEP)
    job = crew_job.cut(rates, arrive[probe])
    money = np.where(job.finish >= 0, job.cost / 100.0, standing_loss.leave_cost[j])
    taken = np.where(job.finish >= 0, job.finish, slots) - probe
    return float((money + crew_job.crew_value * SLOT_MIN / 60.0 * taken).mean())


def _storage_needed(standing_loss: StandingLoss, j: int) -> float:
    """Storage that a job's grain takes at its mean moisture of the first day, t of wheat."""
    job, field = standing_loss.jobs[j], standing_loss.field(j)
    moisture = standing_loss.moisture[:, job.row, :24]
    known = moisture[np.isfinite(moisture)]
    t_ha = wet_yield(field, float(known.mean()) if known.size else None)
    return wheat_equivalent_t(job.area_ha * t_ha, field.crop)
