"""What a loss is made of: yield, test weight, sprouting, moisture, over-dry grain, the rest."""

from __future__ import annotations

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

#: Parts in the order in which they are told; 'sprouted before' was there on the first
#: morning; 'other' is a delivery point farther or cheaper than the best.
PARTS = (
    "yield",
    "test weight",
    "sprouted before",
    "sprouting",
    "moisture",
    "over-dry",
    "ruts",
    "uncut",
    "other",
)


def parts_ha(
    field: Field,
    market: Market,
    stand: tuple[Array, Array, Array],
    hours: Array,
    terms: dict[str, float],
    before: float = 0.0,
) -> dict[str, Array]:
    """Money per ha by part of grain cut at `hours` from the start; `stand` is its state then.

    `stand` : moisture (percent wet basis), wettings and sprouted share, (draw, hour);
    `before` the sprouted share on the first morning. Each part
    is what the money would gain without it, taken in the order of `PARTS`.
    """
    m, wet, sprout = stand
    base = market.moisture_base_pct
    left = np.maximum(1.0 - terms["shatter_day"] * hours / 24.0, 0.0)
    dry = dry_t_ha(field)
    sound = dry / (1.0 - base / 100.0) * market.price_t
    cut = dry * left / (1.0 - m / 100.0)
    light = discount_below(market.test_weight_discount, test_weight(field, wet, terms))
    sprouted = discount_above(market.sprout_discount, sprout)
    there = np.minimum(discount_above(market.sprout_discount, np.array(before)), sprouted)
    discount = discount_above(market.moisture_discount, m)
    if market.drying_t_point is not None:
        discount = discount + market.drying_t_point * np.maximum(m - base, 0.0)
    paid = cut * paid_share(market, m)
    at_base = dry * left / (1.0 - base / 100.0)
    price = market.price_t - light - sprouted
    return {
        "yield": np.broadcast_to(sound * (1.0 - left), m.shape),
        "test weight": at_base * light,
        "sprouted before": at_base * there,
        "sprouting": at_base * (sprouted - there),
        "moisture": cut * discount + np.where(m > base, (at_base - paid) * price, 0.0),
        "over-dry": np.where(m <= base, (at_base - paid) * price, 0.0),
    }


def loss_parts(
    observed: ObservedSeason, compiled: Compiled, cut: WorkRecord, total: Array
) -> Array:
    """Money lost by part, means over draws, (field, part), summing to `total` (field,)."""
    out = np.zeros((len(observed.farm.fields), len(PARTS)))
    first = int(
        (compiled.standing_loss.slots[0].astype("datetime64[h]") - observed.season.start).astype(
            int
        )
    )
    area = area_by_job(compiled, cut)
    for j, job in enumerate(compiled.jobs):
        for k in range(len(compiled.makeup)):
            if len(hours := np.flatnonzero(area[j, k])):
                for name, money in _of_hours(observed, compiled, j, k, hours, first).items():
                    out[job.field, PARTS.index(name)] += money.mean(axis=0) @ area[j, k, hours]
            out[job.field, PARTS.index("ruts")] += ruts(observed, compiled, j, area[j, k])
        left = uncut_share(compiled, j, area) * compiled.standing_loss.leave[j]
        out[job.field, PARTS.index("uncut")] += left
    out[:, -1] = total - out[:, :-1].sum(axis=1)
    return out


def _of_hours(
    observed: ObservedSeason,
    compiled: Compiled,
    j: int,
    k: int,
    hours: NDArray[np.int64],
    first: int,
) -> dict[str, Array]:
    """Parts of one field cut by one crew in hours of the season."""
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
    parts: dict[str, Array] = {}
    for q in np.unique(point):
        market = _market(observed.farm, field, int(q))
        for name, money in parts_ha(field, market, stand, at.astype(float), terms, before).items():
            parts[name] = np.where(point == q, money, parts.get(name, 0.0))
    return parts


def _market(farm: Farm, field: Field, point: int) -> Market:
    """The market of the point used, else of the first that takes the crop."""
    if point >= 0:
        return farm.points[point].markets[field.crop]
    return next(p.markets[field.crop] for p in farm.points if field.crop in p.markets)
