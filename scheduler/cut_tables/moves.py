"""Time and distance of moves between fields: road, headers, cleaning."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.standing_loss import Job
from scheduler.farm.distances import between_km
from scheduler.farm.model import Farm, Field
from scheduler.farm.working_time import SLOT_MIN


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
