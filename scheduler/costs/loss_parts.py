"""Loss of cut grain by part: yield, test weight, sprouting, moisture, over-dry grain, ruts."""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from readiness.atmosphere.weather import Array
from scheduler.costs.grain_price import price_t, quality_of, sound_price_t
from scheduler.costs.grain_value import (
    dry_t_ha,
    header_share,
    paid_share,
    standing_share,
    test_weight,
    wet_charge_t,
)
from scheduler.farm.model import Field, Market


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
    sprouted_before: float | Array = 0.0,
) -> dict[LossPart, Array]:
    """Loss of the standing grain by part, money per ha.

    Each part is the gain of money without it, taken in the order of `LossPart`.

    Parameters
    ----------
    field, market
        The field, and the market that takes its crop.
    stand
        Moisture (percent, wet basis), wettings and sprouted share when cut, of one shape.
    ripe_days
        Days that the grain stood ripe from the first morning to the cut, a shape that broadcasts.
    terms
        Loss terms of the crop, see `grain_value.LOSSES`.
    sprouted_before
        Sprouted share on the first morning, a shape that broadcasts.

    Returns
    -------
    dict[LossPart, Array]
        By part, in the shape of the stand.
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
    charge = wet_charge_t(market, m)
    paid = cut * paid_share(market, m)
    at_base = dry * left / (1.0 - base / 100.0)
    return {
        LossPart.YIELD: np.broadcast_to(sound * (1.0 - left), m.shape),
        LossPart.TEST_WEIGHT: at_base * (heavy - light),
        LossPart.SPROUTED_BEFORE: at_base * (light - there),
        LossPart.SPROUTING: at_base * (there - price),
        LossPart.MOISTURE: cut * charge + np.where(m > base, (at_base - paid) * price, 0.0),
        LossPart.OVER_DRY: np.where(m <= base, (at_base - paid) * price, 0.0),
    }
