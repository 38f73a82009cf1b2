"""Trafficability: water limits of each tier by texture and load, and the strength at them.

The limits rest on published moisture criteria, a share of field capacity: the water that the upper
30 cm hold two days after saturation. The wettest of three zones decides: 0-5, 5-15 and 15-30 cm.
Loads move a limit within the span of published criteria and no further, because relations between
moisture and strength disagree by a factor of two and only rank machines as heavy as combines.
Ground checks add a learnt offset to the limits of a field.
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
from readiness.soil.running_gear import USUAL_CART, USUAL_COMBINE, USUAL_TRUCK, GroundLoad

#: Share of field capacity above which a loaded cart and its tractor stay out (Rutledge & McHardy,
#: in Baier 1973, Can. Agric. Eng. 15: no fieldwork where any of three upper zones is above 95 %),
#: and a combine on stubble, which bears more than tilled ground (Iowa State, Al-Kaisi & Licht on
#: compaction at harvest: wait until the soil is below field capacity). Moves the hours of each
#: tier, and with them most first fields.
CART_SHARE, COMBINE_SHARE = 0.95, 1.00
#: Most that a load moves a share, up or down. Assumed, because published criteria for fieldwork
#: span about 0.90-1.00 of field capacity (memory). Moves the hours of machines of uncommon weight.
LOAD_SPAN = 0.05
#: Share of field capacity above which a dirt approach is too soft. Assumed, because trucks repeat
#: their tracks and nothing transpires there (lower end of the 0.90-0.95 range of caution).
APPROACH_SHARE = 0.90


@dataclass(frozen=True, kw_only=True)
class WaterLimits:
    """Highest volumetric water of each tier, m³/m³, arrays (field,).

    Attributes
    ----------
    firm_top, firm_below : in both of 0-5 and 5-15 cm, and in 15-30 cm, up to which everything may
        drive.
    headland_top, headland_below : up to which combines may cut while carts and trucks stay at the
        edge.
    approach : in both of 0-5 and 5-15 cm, up to which a dirt approach can be driven on.
    """

    firm_top: Array
    firm_below: Array
    headland_top: Array
    headland_below: Array
    approach: Array


def load_shift(load: float, usual: float, *, exponent: Array) -> Array:
    """Change of a share of field capacity for a load instead of the usual one, (field,).

    Strength is proportional to water to the power -c2 (SMSP II), so water at equal safety scales
    with (usual / load)^(1 / c2). The change stays within `LOAD_SPAN`.

    Parameters
    ----------
    load, usual : contact pressures or axle loads.
    exponent : c2 of each field.
    """
    change = (usual / load) ** (1.0 / exponent) - 1.0
    return np.asarray(np.clip(change, -LOAD_SPAN, LOAD_SPAN), dtype=np.float64)


def land_limits(
    land: Land, *, combine: GroundLoad, cart: GroundLoad | None, truck: GroundLoad | None = None
) -> WaterLimits:
    """Water limits of each tier: the same for planning and for validation.

    Contact pressure moves the limit of 0-5 and 5-15 cm, axle load that of 15-30 cm. Limits never
    exceed 99 % of saturation.

    Parameters
    ----------
    land : soil of the fields, with what their ground checks taught.
    combine, cart : of the machine that asks most; without a cart the combine decides on firm too.
    truck : the same, for a dirt approach; the usual truck by default.
    """
    classes = [unified_class(s, c) for s, c in zip(land.sand, land.clay, strict=True)]
    exponent = np.array([SMSP[name][1] for name in classes])

    def shares(load: GroundLoad, usual: GroundLoad, share: float) -> tuple[Array, Array]:
        return (
            share + load_shift(load.pressure_kpa, usual.pressure_kpa, exponent=exponent),
            share + load_shift(load.axle_t, usual.axle_t, exponent=exponent),
        )

    drained = land.drained_water
    # on sand the zone 15-30 cm hardly counts: Rutledge & McHardy judge two zones there
    free = land.sandiness * 0.5 * (land.saturation - drained)

    def bounded(limit: Array) -> Array:
        return np.clip(limit + land.bearing_offset, 0.0, 0.99 * land.saturation)

    edge = shares(combine, USUAL_COMBINE, COMBINE_SHARE)
    firm = edge
    if cart is not None:
        carts = shares(cart, USUAL_CART, CART_SHARE)
        firm = np.minimum(edge[0], carts[0]), np.minimum(edge[1], carts[1])
    road, _ = shares(truck or USUAL_TRUCK, USUAL_TRUCK, APPROACH_SHARE)
    return WaterLimits(
        firm_top=bounded(firm[0] * drained),
        firm_below=bounded(firm[1] * drained + free),
        headland_top=bounded(edge[0] * drained),
        headland_below=bounded(edge[1] * drained + free),
        approach=bounded(road * drained),
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
