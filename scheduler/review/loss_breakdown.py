"""Loss by part: yield, test weight, sprouting, moisture, over-dry grain, ruts, uncut grain."""

from __future__ import annotations

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.grain_value import (
    discount_above,
    discount_below,
    dry_t_ha,
    loss_terms,
    paid_share,
    test_weight,
)
from scheduler.costs.standing_loss import crop_state
from scheduler.cut_tables.compiled import Compiled
from scheduler.farm.model import Farm, Field, Market
from scheduler.review.counterfactuals import hour_slots, ruts, uncut_share
from scheduler.review.observed_season import ObservedSeason
from scheduler.review.work_record import WorkRecord, area_by_job


class LossPart(IntEnum):
    """Parts of a loss, in the order in which they are taken from it."""

    YIELD = 0
    TEST_WEIGHT = 1
    SPROUTED_BEFORE = 2  # sprouted on the first morning
    SPROUTING = 3
    MOISTURE = 4
    OVER_DRY = 5
    RUTS = 6
    UNCUT = 7
    OTHER = 8  # a delivery point that is farther or pays less than the best


def parts_ha(
    field: Field,
    market: Market,
    stand: tuple[Array, Array, Array],
    hours: Array,
    terms: dict[str, float],
    sprouted_before: float = 0.0,
) -> dict[LossPart, Array]:
    """Loss of the standing grain by part, money per ha.

    Each part is the gain of money without it, taken in the order of `LossPart`.

    Parameters
    ----------
    field, market
        The field, and the market that takes its crop.
    stand
        Moisture (percent, wet basis), wettings and sprouted share when cut, each (draw, hour).
    hours
        Hours from the first morning to the cut, (hour,).
    terms
        Loss terms of the crop, see `grain_value.LOSSES`.
    sprouted_before
        Sprouted share on the first morning.

    Returns
    -------
    dict[LossPart, Array]
        (draw, hour) by part.
    """
    m, wet, sprout = stand
    base = market.moisture_base_pct
    left = np.maximum(1.0 - terms["shatter_day"] * hours / 24.0, 0.0)
    dry = dry_t_ha(field)
    sound = dry / (1.0 - base / 100.0) * market.price_t
    cut = dry * left / (1.0 - m / 100.0)
    light = discount_below(market.test_weight_discount, test_weight(field, wet, terms))
    sprouted = discount_above(market.sprout_discount, sprout)
    there = np.minimum(discount_above(market.sprout_discount, np.array(sprouted_before)), sprouted)
    discount = discount_above(market.moisture_discount, m)
    if market.drying_t_point is not None:
        discount = discount + market.drying_t_point * np.maximum(m - base, 0.0)
    paid = cut * paid_share(market, m)
    at_base = dry * left / (1.0 - base / 100.0)
    price = market.price_t - light - sprouted
    return {
        LossPart.YIELD: np.broadcast_to(sound * (1.0 - left), m.shape),
        LossPart.TEST_WEIGHT: at_base * light,
        LossPart.SPROUTED_BEFORE: at_base * there,
        LossPart.SPROUTING: at_base * (sprouted - there),
        LossPart.MOISTURE: cut * discount + np.where(m > base, (at_base - paid) * price, 0.0),
        LossPart.OVER_DRY: np.where(m <= base, (at_base - paid) * price, 0.0),
    }


def loss_parts(
    observed: ObservedSeason, compiled: Compiled, record: WorkRecord, total: Array
) -> Array:
    """Money lost by part, mean over draws, (field, part); sums to `total` (field,)."""
    out = np.zeros((len(observed.farm.fields), len(LossPart)))
    first = int(
        (compiled.standing_loss.slots[0].astype("datetime64[h]") - observed.season.start).astype(
            int
        )
    )
    area = area_by_job(compiled, record)
    for j, job in enumerate(compiled.jobs):
        for k in range(len(compiled.makeup)):
            if len(hours := np.flatnonzero(area[j, k])):
                for part, money in _parts_of_hours(observed, compiled, j, k, hours, first).items():
                    out[job.field, part] += money.mean(axis=0) @ area[j, k, hours]
            out[job.field, LossPart.RUTS] += ruts(observed, compiled, j, area[j, k])
        left = uncut_share(compiled, j, area) * compiled.standing_loss.leave_cost[j]
        out[job.field, LossPart.UNCUT] += left
    out[:, LossPart.OTHER] = total - out[:, : LossPart.OTHER].sum(axis=1)
    return out


def _parts_of_hours(
    observed: ObservedSeason,
    compiled: Compiled,
    j: int,
    k: int,
    hours: NDArray[np.int64],
    first: int,
) -> dict[LossPart, Array]:
    """Parts of the loss of job j where crew k cut it in `hours` of the season, money per ha."""
    job = compiled.jobs[j]
    field = observed.farm.fields[job.field]
    at = compiled.standing_loss.hour[hour_slots(observed, compiled.standing_loss)[hours]]
    state = crop_state(observed.season, job.row, first)
    moisture = compiled.standing_loss.moisture[:, job.row, at]
    shape = moisture.shape
    wet, sprout = (np.broadcast_to(x[0, at], shape) for x in (state.wettings, state.sprout))
    stand = (moisture, wet, sprout)
    point = compiled.point[:, k, j, hour_slots(observed, compiled.standing_loss)[hours]]
    before = float(state.sprout[0, 0])
    terms = loss_terms(observed.farm, field)
    parts: dict[LossPart, Array] = {}
    for q in np.unique(point):
        market = _market(observed.farm, field, int(q))
        for part, money in parts_ha(field, market, stand, at.astype(float), terms, before).items():
            parts[part] = np.where(point == q, money, parts.get(part, 0.0))
    return parts


def _market(farm: Farm, field: Field, point: int) -> Market:
    """Market of a delivery point; of the first that takes the crop where `point` is -1."""
    if point >= 0:
        return farm.points[point].markets[field.crop]
    return next(p.markets[field.crop] for p in farm.points if field.crop in p.markets)
