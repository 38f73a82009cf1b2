"""Duration and distance of moves between fields: road, headers, cleaning."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from readiness.atmosphere.weather import Array
from scheduler.costs.standing_loss import Job
from scheduler.farm.distances import between_km
from scheduler.farm.model import Combine, Farm, Field


def move_minutes(farm: Farm, origin: Field | None, to: Field, km: float) -> float:
    """Minutes from the last cut in `origin` to the first cut in `to`.

    `origin` None is the base, which a combine leaves with its header off.
    """
    if origin is not None and origin.id == to.id:
        return 0.0
    m = farm.moves
    clean = 0.0
    if origin is not None and to.purpose == "seed":
        clean = m.clean_seed_min
    elif origin is not None and origin.crop != to.crop:
        clean = m.clean_crop_min
    elif origin is not None and origin.variety != to.variety:
        clean = m.clean_variety_min
    off = 0.0 if origin is None else m.header_off_min
    change = origin is not None and any(_changes_header(c, origin, to) for c in farm.combines)
    more = m.header_change_min if change else 0.0
    return km / m.road_kmh * 60.0 + off + m.header_on_min + more + clean


def _changes_header(combine: Combine, origin: Field, to: Field) -> bool:
    """Whether a combine that works in both fields takes another header to the second."""
    before, after = combine.in_field(origin), combine.in_field(to)
    if before is None or after is None:
        return False
    swath = (origin.swathed is None) != (to.swathed is None)
    return swath or before.header_m != after.header_m


def moves(farm: Farm, jobs: Sequence[Job], places: Sequence[str]) -> tuple[Array, Array]:
    """Minutes and km of every move, (crew, job + 1, job).

    Parameters
    ----------
    places : id of the place where each crew is now, 'base' or a field; the last row starts there.
    """
    fields = {f.id: f for f in farm.fields}
    ids = [farm.fields[j.field].id for j in jobs]
    known: dict[tuple[str, str], tuple[float, float]] = {}

    def move(a: str, b: str) -> tuple[float, float]:
        if (a, b) not in known:
            km = 0.0 if a == b else between_km(farm, a, b)
            known[a, b] = move_minutes(farm, fields.get(a), fields[b], km), km
        return known[a, b]

    table = np.array([[[move(a, b) for b in ids] for a in [*ids, place]] for place in places])
    return np.ascontiguousarray(table[..., 0]), np.ascontiguousarray(table[..., 1])
