"""Random farms and policies for property tests: odd hours, breakdowns, few trucks, closed roads."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from small_tables import DAY, random_work

from scheduler.field_work.policy import DECISIVE, Policy
from scheduler.field_work.tables import WorkTables


def random_farm(seed: int, *, members: int = 2) -> WorkTables:
    """Work of one to three crews in one to eight jobs over two to five days."""
    rng = np.random.default_rng(seed)
    jobs, crews, days = (int(rng.integers(a, b)) for a, b in ((1, 9), (1, 4), (2, 6)))
    tables = random_work(
        jobs, crews, members=members, days=days, seed=seed, load=float(rng.uniform(0.3, 1.5))
    )
    hour = np.tile(np.arange(DAY), days) * 24.0 / DAY
    begin, end = rng.uniform(0, 13), rng.uniform(15, 24)
    works = (hour >= begin) & (hour < end) & (rng.random((crews, hour.size)) > rng.choice([0, 0.1]))
    haul = tables.haul_rate * rng.choice([0.3, 0.7, 1.0])
    haul[:, 0] *= rng.integers(2)  # no truck runs in the first state of the machines
    return replace(
        tables,
        works=works,
        road=tables.road if rng.random() < 0.7 else rng.random(hour.size) > 0.3,
        machines=(rng.random((crews, hour.size)) < 0.7).astype(np.int64),
        haul_rate=haul,
        buffer=tables.buffer * rng.choice([0.1, 0.5, 1.0, 3.0]),
        shared=rng.random(jobs) < rng.choice([0.0, 0.5]),
    )


def random_policy(tables: WorkTables, seed: int) -> Policy:
    """Any lists, start moistures, patience, leave, and weights of a rule."""
    rng = np.random.default_rng((seed, 1))
    _, crews, jobs, _, _ = tables.shape
    rows: list[list[int]] = [[] for _ in range(crews)]
    for j in rng.permutation(jobs).tolist():
        rows[int(rng.integers(crews))].append(j)
    return Policy(
        orders=tuple(tuple(row) for row in rows),
        start=rng.uniform(13.0, 20.0, (2, jobs)),
        stop_margin=float(rng.choice([0.0, 0.5, 1.0, 2.0])),
        patience=rng.choice([0.0, 30.0, 120.0, 480.0], crews),
        leave=rng.choice([0.0, 20.0, 60.0], crews),
        move_weight=float(rng.choice([0.0, 0.1, DECISIVE])),
        moisture_weight=float(rng.choice([0.0, 0.0, 1.0])),
    )
