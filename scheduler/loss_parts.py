"""What a loss is made of: yield, test weight, sprouting, moisture, over-dry grain, the rest."""

from __future__ import annotations

import numpy as np

from readiness.weather import Array
from scheduler.came import Came
from scheduler.compile import Compiled
from scheduler.cutting import Cutting
from scheduler.farm import Farm, Field, Market
from scheduler.mirrors import hour_slots
from scheduler.money import above, below, dry_t_ha, loss_terms, paid_share, test_weight
from scheduler.stakes import standing

#: Parts in the order in which they are told; 'other' is ruts and a delivery point farther or
#: cheaper than the best.
PARTS = ("yield", "test weight", "sprouting", "moisture", "over-dry", "uncut", "other")


def parts_ha(
    field: Field,
    market: Market,
    stand: tuple[Array, Array, Array],
    hours: Array,
    terms: dict[str, float],
) -> dict[str, Array]:
    """Money per ha by part of grain cut at `hours` from the start; `stand` is its state then.

    `stand` : moisture (percent wet basis), wettings and sprouted share, (draw, hour). Each part
    is what the money would gain without it, taken in the order of `PARTS`.
    """
    m, wet, sprout = stand
    base = market.moisture_base_pct
    left = np.maximum(1.0 - terms["shatter_day"] * hours / 24.0, 0.0)
    dry = dry_t_ha(field)
    sound = dry / (1.0 - base / 100.0) * market.price_t
    cut = dry * left / (1.0 - m / 100.0)
    light = below(market.test_weight_discount, test_weight(field, wet, terms))
    sprouted = above(market.sprout_discount, sprout)
    discount = above(market.moisture_discount, m)
    if market.drying_t_point is not None:
        discount = discount + market.drying_t_point * np.maximum(m - base, 0.0)
    paid = cut * paid_share(market, m)
    at_base = dry * left / (1.0 - base / 100.0)
    price = market.price_t - light - sprouted
    return {
        "yield": np.broadcast_to(sound * (1.0 - left), m.shape),
        "test weight": at_base * light,
        "sprouting": at_base * sprouted,
        "moisture": cut * discount + np.where(m > base, (at_base - paid) * price, 0.0),
        "over-dry": np.where(m <= base, (at_base - paid) * price, 0.0),
    }


def loss_parts(came: Came, compiled: Compiled, cut: Cutting, total: Array) -> Array:
    """Money lost by part, means over draws, (field, part), summing to `total` (field,)."""
    farm = came.farm
    out = np.zeros((len(farm.fields), len(PARTS)))
    first = int((compiled.stakes.slots[0].astype("datetime64[h]") - came.season.start).astype(int))
    for f in range(len(farm.fields)):
        jobs = [j for j, job in enumerate(compiled.jobs) if job.field == f]
        for k in range(len(compiled.gangs)):
            hours = np.flatnonzero(cut.area[f, k])
            if jobs and len(hours):
                told = _of_hours(came, compiled, jobs[0], k, hours, first)
                for p, name in enumerate(PARTS):
                    if name in told:
                        out[f, p] += told[name].mean(axis=0) @ cut.area[f, k, hours]
        out[f, PARTS.index("uncut")] = _uncut(compiled, jobs, cut.area[f].sum())
        out[f, -1] = total[f] - out[f, :-1].sum()
    return out


def _of_hours(
    came: Came, compiled: Compiled, j: int, k: int, hours: np.ndarray, first: int
) -> dict[str, Array]:
    """Parts of one field cut by one crew in hours of the season."""
    job = compiled.jobs[j]
    field = came.farm.fields[job.field]
    at = compiled.stakes.hour[hour_slots(came, compiled.stakes)[hours]]
    state = standing(came.season, job.row, first)
    moisture = compiled.stakes.moisture[:, job.row, at]
    shape = moisture.shape
    wet, sprout = (np.broadcast_to(x[0, at], shape) for x in (state.wettings, state.sprout))
    stand = (moisture, wet, sprout)
    market = _market(came.farm, field, int(compiled.point[k, j]))
    return parts_ha(field, market, stand, at.astype(float), loss_terms(came.farm, field))


def _market(farm: Farm, field: Field, point: int) -> Market:
    """The market of the point used, else of the first that takes the crop."""
    if point >= 0:
        return farm.points[point].markets[field.crop]
    return next(p.markets[field.crop] for p in farm.points if field.crop in p.markets)


def _uncut(compiled: Compiled, jobs: list[int], cut: float) -> float:
    """Leave cost of what was not cut."""
    whole = sum(compiled.jobs[j].area_ha for j in jobs)
    left = max(0.0, 1.0 - cut / whole) if whole > 0 else 0.0
    return float(left * sum(compiled.stakes.leave[j] for j in jobs)) if left > 0.005 else 0.0
