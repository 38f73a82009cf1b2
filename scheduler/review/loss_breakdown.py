"""The season's loss by part, over the cuts of the work record."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.loss_parts import LossPart, parts_ha
from scheduler.costs.standing_loss import crop_state
from scheduler.review.observed_season import ObservedSeason
from scheduler.review.observed_work import Cuts, ObservedWork


def loss_parts(observed: ObservedSeason, work: ObservedWork, cuts: Cuts, total: Array) -> Array:
    """Money lost by part, mean over draws, (field, part); sums to `total` (field,)."""
    out = np.zeros((len(observed.farm.fields), len(LossPart)))
    edge = work.tables.edge[0]
    for j, job in enumerate(work.work.jobs):
        of_job = cuts.job == j
        slot, point, area = cuts.slot[of_job], cuts.point[of_job], cuts.area[of_job]
        for part, money in _parts_of_job(observed, work, j, slot, point).items():
            out[job.field, part] += money.mean(axis=0) @ area
        rut = loss_terms(observed.farm, work.work.field(j))["rut_ha"]
        out[job.field, LossPart.RUTS] += rut * float(area @ edge[slot, j])
    out[:, LossPart.OTHER] = total - out[:, : LossPart.OTHER].sum(axis=1)
    return out


def _parts_of_job(
    observed: ObservedSeason,
    work: ObservedWork,
    j: int,
    slot: NDArray[np.int64],
    point: NDArray[np.int64],
) -> dict[LossPart, Array]:
    """Parts of the loss of job j cut in some slots for some points, money per ha, (draw, cut)."""
    job, drawn = work.work.jobs[j], work.drawn
    field = observed.farm.fields[job.field]
    begin = drawn.slots[0].astype("datetime64[h]") - observed.season.start
    at = drawn.hour[slot]
    state = crop_state(observed.farm, field, observed.season, job.row, int(begin.astype(int)))
    moisture = drawn.moisture[:, job.row, at]
    wet, sprout = (
        np.broadcast_to(x[0, at], moisture.shape) for x in (state.wettings, state.sprout)
    )
    before, ripe_days = float(state.sprout[0, 0]), state.ripe_days[at]
    terms = loss_terms(observed.farm, field)
    parts: dict[LossPart, Array] = {}
    for q in np.unique(point):
        market = observed.farm.points[int(q)].markets[field.crop]
        stand = (moisture, wet, sprout)
        for part, money in parts_ha(field, market, stand, ripe_days, terms, before).items():
            parts[part] = np.where(point == q, money, parts.get(part, 0.0))
    return parts
