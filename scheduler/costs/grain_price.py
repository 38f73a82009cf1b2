"""Price of grain by its quality: discounts, premiums, feed price, and grain that is turned away."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from readiness.atmosphere.weather import Array
from scheduler.farm.model import BELOW, Field, Market, Schedule
from scheduler.farm.slots import BoolArray

#: Germination of sound seed, and the least that seed is sold at, 0-1. Assumed: sound wheat
#: germinates at 90-98 %, and certified wheat at 85 % or more (from memory; law and buyer come
#: first). They decide how much sprouting takes the premium of seed.
SOUND_GERMINATION, LEAST_GERMINATION = 0.95, 0.85


def discount_above(schedule: Schedule, value: Array) -> Array:
    """Discount of the highest threshold below each value, money per tonne; 0 if there is none."""
    thresholds = np.array([t for t, _ in schedule.steps])
    money = np.array([0.0, *(m for _, m in schedule.steps)])
    return np.asarray(money[np.searchsorted(thresholds, value, side="left")], dtype=np.float64)


def discount_below(schedule: Schedule, value: Array) -> Array:
    """Discount of the lowest threshold above each value, money per tonne; 0 if there is none."""
    thresholds = np.array([t for t, _ in schedule.steps])
    money = np.array([*(m for _, m in schedule.steps), 0.0])
    return np.asarray(money[np.searchsorted(thresholds, value, side="right")], dtype=np.float64)


def quality_of(field: Field, test_weight: Array, sprout: Array) -> dict[str, Array]:
    """Factors of a field's grain that are known, as `Market.discounts` names them."""
    measured = {
        "falling_number": field.falling_number_s,
        "vomitoxin": field.vomitoxin_ppm,
        "protein": field.protein_pct,
        "vitreous": field.vitreous_pct,
    }
    known = {name: np.asarray(value) for name, value in measured.items() if value is not None}
    return {"test_weight": test_weight, "sprout": sprout, **known}


def beyond_limits(market: Market, quality: Mapping[str, Array]) -> BoolArray:
    """Whether grain is beyond a limit of a delivery point, bool, shape of the factors."""
    shape = np.broadcast_shapes(*(v.shape for v in quality.values()))
    beyond: BoolArray = np.zeros(shape, np.bool_)
    for name, limit in market.limits.items():
        if name in quality:
            value = quality[name]
            beyond = beyond | (value < limit if name in BELOW else value > limit)
    return beyond


def price_t(field: Field, market: Market, quality: Mapping[str, Array]) -> Array:
    """Money per tonne at base moisture; NaN where the grain is turned away.

    Grain beyond a limit, or discounted below it, brings the feed price where the delivery point
    has one. Grain of a field for seed brings the premium for seed while it germinates.
    """
    beyond = beyond_limits(market, quality)
    price = np.full(beyond.shape, market.price_t)
    for name, schedule in market.discounts.items():
        if name in quality and schedule.steps:
            discount = discount_below if name in BELOW else discount_above
            price = price - discount(schedule, quality[name])
    if "protein" in quality:
        price = price + discount_above(market.protein_premium, quality["protein"])
    if field.purpose == "seed" and market.seed_premium_t:
        germinates = (field.germination or SOUND_GERMINATION) * (1.0 - quality["sprout"])
        price = price + np.where(germinates >= LEAST_GERMINATION, market.seed_premium_t, 0.0)
    if market.feed_price_t is None:
        return np.where(beyond, np.nan, price)
    return np.where(beyond, market.feed_price_t, np.maximum(price, market.feed_price_t))


def sound_price_t(field: Field, market: Market) -> float:
    """Money per tonne of sound grain at base moisture; seed with its premium."""
    return market.price_t + (market.seed_premium_t if field.purpose == "seed" else 0.0)
