"""Delivery points that take a job's grain, with the rates of a crew to each."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from scheduler.costs.machine_rates import CrewMachines, Rates, crew_rates
from scheduler.costs.standing_loss import StandingLoss, grain_density, wet_yield
from scheduler.farm.distances import between_km


def accepting_points(
    standing_loss: StandingLoss, j: int, machines: CrewMachines
) -> Iterator[tuple[int, Rates]]:
    """Delivery points that take a job's grain at some hour, with the crew's rates to each.

    Grain for seed goes to the farm's own points (common practice, no source) and to those that pay
    a premium for seed, where one takes it. Other grain stays out of bins that are kept for seed.
    """
    farm, field = standing_loss.farm, standing_loss.field(j)
    density, t_ha = grain_density(field), wet_yield(field)
    taking = [
        q
        for q, p in enumerate(farm.points)
        if field.crop in p.markets
        and (field.purpose == "seed" or not p.seed_only)
        and (p.capacity_t is None or p.capacity_t > 0)
        and np.isfinite(standing_loss.loss[:, j, q]).any()
    ]
    own = [
        q
        for q in taking
        if farm.points[q].own or farm.points[q].markets[field.crop].seed_premium_t > 0.0
    ]
    for q in own if own and field.purpose == "seed" else taking:
        p = farm.points[q]
        km = between_km(farm, field.id, p.id)
        rates = crew_rates(
            machines,
            field,
            p,
            km=km,
            density=density,
            wet_yield=t_ha,
            carts_usual=bool(farm.carts),
        )
        if rates.t_h > 0:
            yield q, rates
