"""Value of grain cut in each hour, and the cost of leaving it uncut."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from readiness.atmosphere.weather import Array
from readiness.grain.crops import CROPS
from readiness.grain.grade import TEST_WEIGHT_LOSS_MAX, weight_lost_to_wetting
from scheduler.costs.grain_price import discount_above, price_t, quality_of, sound_price_t
from scheduler.farm.model import OPEN_ENDED, Farm, Field, Market

#: Defaults of the loss terms that the user may set under [losses.CROP] in farm.toml.
LOSSES: dict[str, float] = {
    # kg/hL, most that wetting takes off the test weight
    "test_weight_loss_max": TEST_WEIGHT_LOSS_MAX,
    # share of a lodged crop that the header leaves on the ground; assumed, because lodged ears lie
    # below the knife and every stand lies in its own way; decides whether it is worth waiting
    "lodged_loss": 0.10,
    # share of the crop that the header loses per point below `header_dry_pct`, and at most.
    # Published: up to 10 % of soybeans cut too dry is lost at the combine (DeKalb Asgrow,
    # Considering Harvest Loss, Discounts and Drying Costs); the slope is assumed, because no table
    # was found. They decide whether dry pods wait for the morning's or the evening's damp
    "header_loss_point": 0.02,
    "header_loss_max": 0.10,
    # money per ha cut while the ground is headland-only; assumed, because every user prices ruts
    # himself
    "rut_ha": 15.0,
    # days that grain uncut at the horizon still stands; assumed, because a run of rain delays
    # harvest by about two weeks (common practice, no source)
    "leave_days": 14.0,
    # further share of value lost, for the risk that the grain is never cut; assumed
    "leave_share": 0.10,
    # wettings expected per day of these; assumed
    "leave_wettings_day": 0.15,
}
#: Moisture below which the header shatters pods, percent, by crop: soybeans below 11 % (common
#: practice, no source); canola below 8 %, assumed, because it is stored at 8 % and pods open drier.
HEADER_DRY_PCT = {"soybean": 11.0, "canola": 8.0}
#: Road haul, money per tonne and km; assumed, because every truck owner has his own cost.
HAUL_T_KM = 0.12


@dataclass(frozen=True, kw_only=True)
class CropState:
    """State of one standing crop, arrays (member, hour) from the planning hour on.

    `moisture` is percent wet basis, `wettings` a count since ripeness or since the grain was last
    weighed, `sprout` a fraction. `ripe_days`, (hour,), are the days that the crop has stood ripe
    since the planning hour.
    """

    moisture: Array
    wettings: Array
    sprout: Array
    ripe_days: Array


def loss_terms(farm: Farm, field: Field) -> dict[str, float]:
    """Loss terms of a field's crop: the defaults, with the user's own in their place."""
    crop = CROPS[field.crop]
    published = {
        "shatter_day": crop.loss_day,
        "header_dry_pct": HEADER_DRY_PCT.get(field.crop, 0.0),
        "test_weight_per_wetting": crop.wetting_test_weight,
    }
    return LOSSES | published | farm.losses.get(field.crop, {})


def dry_t_ha(field: Field) -> float:
    """Dry matter of the expected yield, t/ha."""
    return field.yield_t_ha * (1.0 - CROPS[field.crop].base_moisture / 100.0)


def test_weight(field: Field, wettings: Array, terms: dict[str, float]) -> Array:
    """Test weight after wettings, kg/hL, from that last weighed, else from that of sound grain."""
    start = field.test_weight_kg_hl or CROPS[field.crop].test_weight
    drop = weight_lost_to_wetting(
        wettings, first=terms["test_weight_per_wetting"], most=terms["test_weight_loss_max"]
    )
    return np.asarray(start - drop, dtype=np.float64)


def standing_share(field: Field, ripe_days: Array, terms: dict[str, float]) -> Array:
    """Share of the yield that still stands and that the header takes, 0-1, any shape."""
    shatter = np.maximum(1.0 - terms["shatter_day"] * ripe_days, 0.0)
    return np.asarray(shatter * (1.0 - terms["lodged_loss"] * field.lodged), dtype=np.float64)


def header_share(moisture: Array, terms: dict[str, float]) -> Array:
    """Share of the standing grain that the header takes: less where dry pods shatter."""
    lost = terms["header_loss_point"] * np.maximum(terms["header_dry_pct"] - moisture, 0.0)
    return np.asarray(1.0 - np.minimum(lost, terms["header_loss_max"]), dtype=np.float64)


def paid_share(market: Market, moisture: Array) -> Array:
    """Paid weight over weight as cut: water shrink to base, or the buyer's own shrink.

    W = W0 (100 - M) / (100 - base) above base; at and below base the full weight is paid.
    """
    over = np.maximum(moisture - market.moisture_base_pct, 0.0)
    if market.shrink_pct_point is not None:
        return np.asarray(1.0 - market.shrink_pct_point / 100.0 * over, dtype=np.float64)
    return np.asarray(1.0 - over / (100.0 - market.moisture_base_pct), dtype=np.float64)


def wet_charge_t(market: Market, moisture: Array) -> Array:
    """Moisture discount and drying charge, money per tonne as cut."""
    charge = discount_above(market.moisture_discount, moisture)
    if market.drying_t_point is None:
        return charge
    return charge + market.drying_t_point * np.maximum(moisture - market.moisture_base_pct, 0.0)


def revenue_ha(
    field: Field, market: Market, state: CropState, *, haul_t: float, terms: dict[str, float]
) -> Array:
    """Money per ha of grain cut in each hour and sold at one delivery point, (member, hour).

    NaN where the moisture is unknown or the load is turned away. `haul_t` is money per tonne.
    """
    left = standing_share(field, state.ripe_days, terms)
    m = state.moisture
    cut = dry_t_ha(field) * left / (1.0 - m / 100.0)
    tw = test_weight(field, state.wettings, terms)
    price = price_t(field, market, quality_of(field, tw, state.sprout))
    wet = wet_charge_t(market, m)
    money = cut * header_share(m, terms) * (paid_share(market, m) * price - wet - haul_t)
    return np.where(m <= market.moisture_limit_pct, money, np.nan)


def best_revenue_ha(farm: Farm, field: Field, haul_t: dict[str, float]) -> float:
    """Money per ha of sound grain cut now at base moisture and sold at the best delivery point.

    `haul_t` maps the id of a delivery point to money per tonne.
    """
    nets = [
        (sound_price_t(field, p.markets[field.crop]) - haul_t[p.id])
        / (1.0 - p.markets[field.crop].moisture_base_pct / 100.0)
        for p in farm.points
        if field.crop in p.markets
    ]
    return dry_t_ha(field) * max(nets)


def leave_cost_ha(farm: Farm, field: Field, state: CropState, haul_t: dict[str, float]) -> Array:
    """Money lost per ha of grain uncut at the horizon, (member,).

    The grain is sold at base moisture after `leave_days` more, with the wettings expected in that
    time and the sprouting of the horizon, less `leave_share`.
    """
    terms = loss_terms(farm, field)
    days = np.array(state.ripe_days[-1] + terms["leave_days"])
    more = terms["leave_days"] * terms["leave_wettings_day"]
    left = float(standing_share(field, days, terms)) * (1.0 - terms["leave_share"])
    weight = test_weight(field, state.wettings[:, -1] + more, terms)
    farm = _at_last_prices(farm)
    return _loss_at_base_ha(farm, field, haul_t, weight, state.sprout[:, -1], left)


def _at_last_prices(farm: Farm) -> Farm:
    """The farm with the last prices that it knows of."""
    return replace(
        farm,
        points=tuple(
            replace(p, markets={c: m.at(OPEN_ENDED) for c, m in p.markets.items()})
            for p in farm.points
        ),
    )


def already_lost_ha(farm: Farm, field: Field, state: CropState, haul_t: dict[str, float]) -> Array:
    """Money lost per ha before the first hour, whenever the grain is cut, (member,)."""
    terms = loss_terms(farm, field)
    weight = test_weight(field, state.wettings[:, 0], terms)
    left = float(standing_share(field, np.zeros(()), terms))
    return _loss_at_base_ha(farm, field, haul_t, weight, state.sprout[:, 0], left)


def _loss_at_base_ha(
    farm: Farm,
    field: Field,
    haul_t: dict[str, float],
    weight: Array,
    sprout: Array,
    left: float,
) -> Array:
    """Money lost per ha, (member,), of grain sold at base moisture where it pays most.

    `weight` is the test weight, kg/hL, `sprout` the sprouted share, both (member,); `left` is the
    share of the yield that still stands.
    """
    nets = []
    for p in farm.points:
        if (market := p.markets.get(field.crop)) is not None:
            price = price_t(field, market, quality_of(field, weight, sprout)) - haul_t[p.id]
            nets.append(price / (1.0 - market.moisture_base_pct / 100.0))
    # grain that everybody turns away is worth nothing
    value = dry_t_ha(field) * left * np.nan_to_num(nets).max(axis=0)
    best = best_revenue_ha(farm, field, haul_t)
    return np.asarray(np.maximum(best - value, 0.0), dtype=np.float64)
