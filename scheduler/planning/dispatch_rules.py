"""Four dispatching rules, each as a cutting order, to measure a plan against."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from scheduler.costs.grain_value import best_revenue_ha
from scheduler.cut_tables.compiled import Compiled
from scheduler.farm.distances import road_km

NEAREST_FIRST, RIPEST_FIRST = "nearest first", "ripest first"
LARGEST_FIRST, MOST_VALUABLE_FIRST = "largest first", "most valuable first"

PriorityKey = Callable[[int, tuple[float, float]], float]


def priority_keys(compiled: Compiled) -> dict[str, PriorityKey]:
    """Priority keys of the rules, by name: the job with the least key goes next.

    A key takes a job and the place (latitude, longitude) where the crew stands.
    """
    farm, jobs = compiled.farm, compiled.jobs
    fields = [farm.fields[j.field] for j in jobs]
    no_haul = {p.id: 0.0 for p in farm.points}
    revenue_ha = [best_revenue_ha(farm, f, no_haul) for f in fields]
    moisture = compiled.standing_loss.moisture[:, [j.row for j in jobs], 0].mean(axis=0)
    return {
        NEAREST_FIRST: lambda j, at: road_km(at, (fields[j].lat, fields[j].lon)),
        RIPEST_FIRST: lambda j, at: float(moisture[j]),
        LARGEST_FIRST: lambda j, at: -fields[j].area_ha,
        MOST_VALUABLE_FIRST: lambda j, at: -revenue_ha[j] * fields[j].area_ha,
    }


def dispatched_orders(compiled: Compiled) -> dict[str, tuple[tuple[int, ...], ...]]:
    """Orders of every rule: the crew that is free first takes the job that the rule puts first.

    Times are those of the median member by count of slots from which a job cannot be finished. A
    crew leaves a job that it can no longer finish to the others. Locked orders come first.
    """
    return {name: _dispatch(compiled, key) for name, key in priority_keys(compiled).items()}


def _dispatch(compiled: Compiled, key: PriorityKey) -> tuple[tuple[int, ...], ...]:
    """Orders of one rule."""
    tables = compiled.tables
    members, crews, jobs, slots = tables.shape
    fields = compiled.farm.fields
    middle = int(np.argsort((tables.finish < 0).sum(axis=(1, 2, 3)), kind="stable")[members // 2])
    finish = tables.finish[middle]
    orders: list[list[int]] = [[] for _ in range(crews)]
    free = tables.ready.astype(int).tolist()
    stand = [jobs] * crews
    spot = [(compiled.farm.base_lat, compiled.farm.base_lon)] * crews
    todo = set(range(jobs))

    def take(k: int, j: int, end: int) -> None:
        f = fields[compiled.jobs[j].field]
        orders[k].append(j)
        free[k], stand[k], spot[k] = end, j, (f.lat, f.lon)
        todo.discard(j)

    for k, first in tables.locked:
        for j in first:
            arrival = min(free[k] + int(tables.move[k, stand[k], j]), slots - 1)
            take(k, j, max(free[k], int(finish[k, j, arrival])))
    busy = set(range(crews))
    while busy and todo:
        k = min(busy, key=lambda c: (free[c], c))
        ends = {}
        for j in todo:
            arrival = free[k] + int(tables.move[k, stand[k], j])
            if arrival < slots and finish[k, j, arrival] >= 0:
                ends[j] = int(finish[k, j, arrival])
        if not ends:
            busy.discard(k)
            continue
        j = min(ends, key=lambda c: (key(c, spot[k]), c))
        take(k, j, ends[j])
    return tuple(tuple(o) for o in orders)
