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
from readiness.soil.properties import bulk_density, pore_index

KPA_PER_PSI = 6.894757
LB_PER_KG = 2.2046226
IN_PER_M = 39.370079

#: SMSP II (Sullivan et al. 1997, reprinted as ERDC/CRREL SR-04-1 Table 5.2.1): rating cone index
#: RCI = exp(c1 - c2 ln w) psi, w percent by weight, 15-30 cm, by Unified class.
SMSP: dict[str, tuple[float, float]] = {
    "SM": (12.542, 2.955),
    "SC": (12.542, 2.955),
    "ML": (11.936, 2.407),
    "CL": (15.506, 3.530),
    "CL-ML": (14.236, 3.137),
    "OL": (17.399, 3.584),
    "CH": (13.686, 2.705),
    "MH": (23.641, 5.191),
    "OH": (12.189, 1.942),
}

#: No work above this share of field capacity in the upper zones (Rutledge & McHardy, in Baier
#: 1973, Can. Agric. Eng. 15).
TOP_FIELD_CAPACITY_SHARE = 0.95
#: The same for 15-30 cm. Assumed, because the published zones end near 20 cm and the subsoil
#: matters to loads only when it is no longer drained.
BELOW_FIELD_CAPACITY_SHARE = 1.0
#: Sand fractions between which ground turns sandy; assumed, loam to loamy sand. On sandy ground
#: field capacity is the water at 10 kPa (convention, memory), and the lower zone has no limit
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
#: Share of a combine's weight on its front axle (Ohio State: 80-85 %).
FRONT_SHARE = 0.82


@dataclass(frozen=True, kw_only=True)
class Axle:
    """A driven axle on tyres, SI."""

    load_kg: float
    tyres: int  # on this axle
    diameter_m: float
    width_m: float
    clearance_m: float


def mobility_index(axle: Axle) -> float:
    """Mobility index of wheels on fine-grained soil (FM 5-430-00-1 ch. 7; Priddy 1999).

    MI = {[CPF WF / (TEF GF)] + WLF - CF} EF TF, without chains (GF 1), above 10 hp/ton (EF 1) and
    without manual gears (TF 1).
    """
    w = axle.load_kg * LB_PER_KG
    d, b = axle.diameter_m * IN_PER_M, axle.width_m * IN_PER_M
    contact = w / (0.5 * axle.tyres * d * b)
    tyre = (10.0 + b) / 100.0
    clearance = axle.clearance_m * IN_PER_M / 10.0
    return contact * weight_factor(w) / tyre + w / 2000.0 - clearance


def weight_factor(load_lb: float) -> float:
    """Weight factor WF of the mobility index, from the axle load in pounds."""
    if load_lb < 2000.0:
        return 0.553 * load_lb / 1000.0
    if load_lb < 13500.0:
        return 0.033 * load_lb / 1000.0 + 1.050
    if load_lb < 20000.0:
        return 0.142 * load_lb / 1000.0 - 0.420
    return 0.278 * load_lb / 1000.0 - 3.115


def vehicle_cone_index(mobility: float, *, passes: int = 1) -> float:
    """Rating cone index that a wheeled vehicle needs, kPa, at a tyre deflection of 15 %.

    The source assumes that all axles are powered; carts are towed, so the index is a lower bound.
    Beyond a mobility index of about 200 (combines, carts) it is outside the tested range and good
    for ranking only.

    Parameters
    ----------
    mobility : mobility index.
    passes : 1 or 50.

    References
    ----------
    Priddy & Willoughby 2006, J. Terramech. 43:85-96.
    """
    if passes == 1:
        low = 11.48 + 0.2 * mobility - 39.2 / (mobility + 3.74)
        psi = low if mobility <= 115.0 else 4.1 * mobility**0.446
    elif passes == 50:
        low = 28.23 + 0.43 * mobility - 92.67 / (mobility + 3.67)
        psi = low if mobility <= 115.0 else 9.0 * mobility**0.446
    else:
        raise ValueError(f"passes must be 1 or 50, got {passes}")
    return float(psi * KPA_PER_PSI)


def combine_axle(loaded_t: float) -> Axle:
    """Front axle of a combine with a full tank on two wide tyres (900/60R32; assumed)."""
    return Axle(
        load_kg=FRONT_SHARE * loaded_t * 1000.0,
        tyres=2,
        diameter_m=1.956,
        width_m=0.899,
        clearance_m=0.5,
    )


def cart_axle(loaded_t: float) -> Axle:
    """Single axle of a loaded cart on the usual tyres (1250/50R32; assumed)."""
    return Axle(load_kg=loaded_t * 1000.0, tyres=2, diameter_m=1.95, width_m=1.25, clearance_m=0.5)


def strength_smsp(moisture: Array, unified: str) -> Array:
    """Rating cone index, kPa, from percent water by weight and Unified class (SMSP II)."""
    c1, c2 = SMSP[unified]
    return np.asarray(KPA_PER_PSI * np.exp(c1 - c2 * np.log(moisture)), dtype=np.float64)


def strength_collins(moisture: Array, clay_pct: Array) -> Array:
    """Rating cone index, kPa, from percent water by weight and percent clay.

    Collins 1971 (WES TM 3-331 Rep. 10), as quoted by Anderson 1983, Applied Geography 3:239-253.
    """
    top = 2.123 + 0.008 * clay_pct - 0.693 * np.log(moisture)
    return np.asarray(
        KPA_PER_PSI * np.exp(4.605 + top / (0.149 + 0.002 * clay_pct)), dtype=np.float64
    )


def unified_class(sand: float, clay: float) -> str:
    """Unified class of a texture (fractions); a common correspondence, from memory."""
    silt = 1.0 - sand - clay
    if clay >= 0.40:
        return "CH"
    if clay >= 0.27:
        return "CL"
    if sand >= 0.52:
        return "SM" if clay < 0.20 else "SC"
    return "CL-ML" if silt >= 0.50 else "ML"


def strengths(water: Array, *, sand: float, clay: float, density: float) -> dict[str, Array]:
    """Strength of soil by both relations, kPa, from volumetric water; bulk density in t/m³."""
    weight = 100.0 * np.asarray(water, dtype=np.float64) / density
    return {
        "SMSP II": strength_smsp(weight, unified_class(sand, clay)),
        "Collins": strength_collins(weight, np.asarray(100.0 * clay)),
    }


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
