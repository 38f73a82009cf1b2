"""Trafficability: soil strength, the strength that vehicles need, and water limits of each tier.

Two published relations between moisture and strength disagree by a factor of two. The default
limits therefore rest on published moisture criteria (a share of field capacity). The relations
decide how a limit shifts with load, and serve as a comparison. Ground checks add a learnt offset to
the limits of a field.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from readiness.atmosphere.weather import Array
from readiness.soil.cone_index import (
    SMSP,
    cart_axle,
    combine_axle,
    mobility_index,
    strengths,
    unified_class,
    vehicle_cone_index,
)
from readiness.soil.land import Land
from readiness.soil.properties import bulk_density, pore_index

#: No work above this share of field capacity in the upper zones (Rutledge & McHardy, in Baier
#: 1973, Can. Agric. Eng. 15).
TOP_FIELD_CAPACITY_SHARE = 0.95
#: The same for 15-30 cm. Assumed, because the published zones end near 20 cm and the subsoil
#: matters to loads only when it is no longer drained.
BELOW_FIELD_CAPACITY_SHARE = 1.0
#: Sand fractions between which ground turns sandy; assumed, loam to loamy sand. On sandy ground
#: field capacity is the water at 10 kPa (convention, memory), and the lower zone hardly counts
#: (Rutledge & McHardy judge two zones there, three elsewhere).
SANDY = (0.50, 0.70)
#: Organic matter in limits derived from texture, percent; assumed.
ORGANIC_PCT = 2.5
#: Share of field capacity above which a dirt approach is too soft. Assumed, because trucks repeat
#: their tracks and nothing transpires there (lower end of the 0.90-0.95 range of caution).
APPROACH_SHARE = 0.90
#: Weight of the combine for which the shares above hold, tonnes with a full tank (published: 400-bu
#: machines weigh over 50,000 lb full).
REFERENCE_COMBINE_T = 25.0


@dataclass(frozen=True, kw_only=True)
class WaterLimits:
    """Highest volumetric water of each tier, m³/m³, arrays (field,).

    Attributes
    ----------
    firm_top, firm_below : in 0-15 and 15-30 cm, up to which everything may drive.
    headland_top, headland_below : up to which combines may cut while carts and trucks stay at the
        edge.
    approach : in 0-15 cm, up to which a dirt approach can be driven on.
    """

    firm_top: Array
    firm_below: Array
    headland_top: Array
    headland_below: Array
    approach: Array


def plastic_limit(clay: Array) -> Array:
    """Lower plastic limit, percent by weight, at which loose topsoil begins to stick.

    20 at 18 % clay, 28 at 53 % (Mueller et al. 2003); `clay` is a fraction.
    """
    return np.asarray(20.0 + (100.0 * clay - 18.0) * 8.0 / 35.0, dtype=np.float64)


def load_shift(needed: float, reference: float, *, exponent: Array) -> Array:
    """Factor on a water limit for a vehicle that needs another strength than the reference.

    Strength is proportional to water to the power -c2 (SMSP II), so water at equal safety scales
    with (reference / needed)^(1 / c2).

    Parameters
    ----------
    needed, reference : rating cone index, kPa.
    exponent : c2 of each field.
    """
    return np.asarray((reference / needed) ** (1.0 / exponent), dtype=np.float64)


def water_limits(
    field_capacity: Array,
    saturation: Array,
    *,
    sand: Array,
    clay: Array,
    combine_t: float,
    cart_t: float,
    offset: Array,
) -> WaterLimits:
    """Water limits of each tier from field capacity (FC), texture and loads.

    A 25 t combine may cut at 0.95 FC in 0-15 cm, no wetter than the plastic limit, and at FC below.
    `load_shift` moves the limits for other machines; a 30 t cart waits for about 0.91 FC. On sandy
    ground FC is the water at 10 kPa and 15-30 cm hardly counts. Limits never exceed 99 % of
    saturation.

    Parameters
    ----------
    field_capacity, saturation : (field,) m³/m³.
    sand, clay : (field,) weight fractions.
    combine_t, cart_t : loaded weights, tonnes. Without a cart (0) the combine decides on firm too.
    offset : (field,) learnt from ground checks and added to every limit, m³/m³.
    """
    exponent = np.array([SMSP[unified_class(s, c)][1] for s, c in zip(sand, clay, strict=True)])
    reference = vehicle_cone_index(mobility_index(combine_axle(REFERENCE_COMBINE_T)))
    combine = vehicle_cone_index(mobility_index(combine_axle(combine_t)))
    cart = vehicle_cone_index(mobility_index(cart_axle(cart_t))) if cart_t > 0 else combine
    shift = {
        name: load_shift(needed, reference, exponent=exponent)
        for name, needed in (("firm", max(cart, combine)), ("headland", combine))
    }
    sandy = np.clip((sand - SANDY[0]) / (SANDY[1] - SANDY[0]), 0.0, 1.0)
    drained = field_capacity * 3.3 ** (sandy * pore_index(sand, clay, ORGANIC_PCT))
    sticky = plastic_limit(clay) * bulk_density(sand, clay, ORGANIC_PCT) / 100.0
    top = np.minimum(TOP_FIELD_CAPACITY_SHARE * drained, np.where(sandy > 0.0, np.inf, sticky))
    below = BELOW_FIELD_CAPACITY_SHARE * field_capacity
    below = below + sandy * 0.5 * (saturation - below)

    def bounded(limit: Array) -> Array:
        return np.asarray(np.clip(limit + offset, 0.0, 0.99 * saturation), dtype=np.float64)

    return WaterLimits(
        firm_top=bounded(top * shift["firm"]),
        firm_below=bounded(below * shift["firm"]),
        headland_top=bounded(top * shift["headland"]),
        headland_below=bounded(below * shift["headland"]),
        approach=bounded(APPROACH_SHARE * drained),
    )


def land_limits(land: Land, *, combine_t: float, cart_t: float) -> WaterLimits:
    """Water limits of fields, shifted by what their ground checks taught; see `water_limits`."""
    return water_limits(
        land.field_capacity,
        land.saturation,
        sand=land.sand,
        clay=land.clay,
        combine_t=combine_t,
        cart_t=cart_t,
        offset=land.bearing_offset,
    )


@dataclass(frozen=True, kw_only=True)
class StrengthAtLimit:
    """Strength of a texture at a water limit, by both relations, whose spread is the message.

    Attributes
    ----------
    texture, limit : names.
    water : m³/m³.
    strength : kPa, by relation.
    needed : kPa, by vehicle and passes.
    """

    texture: str
    limit: str
    water: float
    strength: dict[str, float]
    needed: dict[str, float]


def strengths_at_limits(
    textures: Sequence[str],
    limits: WaterLimits,
    *,
    sand: Array,
    clay: Array,
    density: Array,
    combine_t: float,
    cart_t: float,
) -> list[StrengthAtLimit]:
    """Strength of 15-30 cm at the limits of each texture, beside the strength that vehicles need.

    Parameters
    ----------
    textures : names.
    limits : of the textures, arrays (texture,).
    sand, clay, density : (texture,) fractions and bulk density, t/m³.
    combine_t, cart_t : loaded weights, tonnes.
    """
    combine, cart = (mobility_index(axle) for axle in (combine_axle(combine_t), cart_axle(cart_t)))
    needed = {
        f"{name}, {passes} pass{'es' * (passes > 1)}": vehicle_cone_index(mi, passes=passes)
        for name, mi in (("combine", combine), ("cart", cart))
        for passes in (1, 50)
    }
    rows = []
    for i, texture in enumerate(textures):
        for limit, water in (
            ("firm", limits.firm_below[i]),
            ("headland-only", limits.headland_below[i]),
        ):
            by_relation = strengths(water, sand=sand[i], clay=clay[i], density=density[i])
            rows.append(
                StrengthAtLimit(
                    texture=texture,
                    limit=limit,
                    water=float(water),
                    strength={name: float(value) for name, value in by_relation.items()},
                    needed=needed,
                )
            )
    return rows
