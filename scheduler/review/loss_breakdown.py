"""Loss by part: yield, test weight, sprouting, moisture, over-dry grain, ruts."""

from __future__ import annotations

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.grain_price import discount_above, price_t, quality_of, sound_price_t
from scheduler.costs.grain_value import (
    dry_t_ha,
    header_share,
    loss_terms,
    paid_share,
    standing_share,
    test_weight,
)
from scheduler.costs.standing_loss import crop_state
from scheduler.farm.model import Field, Market
from scheduler.review.observed_season import ObservedSeason
from scheduler.review.observed_work import Cuts, ObservedWork


class LossPart(IntEnum):
    """Parts of a loss, in the order in which they are taken from it."""

    YIELD = 0
    TEST_WEIGHT = 1
    SPROUTED_BEFORE = 2  # sprouted on the first morning
    SPROUTING = 3
    MOISTURE = 4
    OVER_DRY = 5
    RUTS = 6
    OTHER = 7  # a delivery point that is farther or pays less than the best


def parts_ha(
    field: Field,
    market: Market,
    stand: tuple[Array, Array, Array],
    ripe_days: Array,
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
    ripe_days
        Days that the grain stood ripe from the first morning to the cut, (hour,).
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
    left = standing_share(field, ripe_days, terms) * header_share(m, terms)
    dry = dry_t_ha(field)
    sound = dry / (1.0 - base / 100.0) * sound_price_t(field, market)
    cut = dry * left / (1.0 - m / 100.0)
    weight, whole = test_weight(field, wet, terms), np.zeros(m.shape)

    def price_of(tw: Array, sprouted: Array) -> Array:
        """Money per tonne; nothing where the grain is turned away."""
        return np.nan_to_num(price_t(field, market, quality_of(field, tw, sprouted)))

    heavy, light = price_of(whole + np.inf, whole), price_of(weight, whole)
    there = price_of(weight, np.minimum(sprouted_before, sprout))
    price = price_of(weight, sprout)
    discount = discount_above(market.moisture_discount, m)
    if market.drying_t_point is not None:
        discount = discount + market.drying_t_point * np.maximum(m - base, 0.0)
    paid = cut * paid_share(market, m)
    at_base = dry * left / (1.0 - base / 100.0)
    return {
        LossPart.YIELD: np.broadcast_to(sound * (1.0 - left), m.shape),
        LossPart.TEST_WEIGHT: at_base * (heavy - light),
        LossPart.SPROUTED_BEFORE: at_base * (light - there),
        LossPart.SPROUTING: at_base * (there - price),
        LossPart.MOISTURE: cut * discount + np.where(m > base, (at_base - paid) * price, 0.0),
        LossPart.OVER_DRY: np.where(m <= base, (at_base - paid) * price, 0.0),
    }


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
