"""Cone index, the strength of soil: what soils of a water content offer and what vehicles need.

Two published relations between moisture and strength disagree by a factor of two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from readiness.atmosphere.weather import Array
from readiness.soil.running_gear import FRONT_SHARE, GEARS, RunningGear

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
#: Ground clearance of combines and carts, m. Assumed, as common machines have. Moves only the
#: strength that the table of soil strengths says machines need.
CLEARANCE = 0.5


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
    """Front axle of a combine with a full tank on the usual two wide tyres."""
    return _axle(FRONT_SHARE * loaded_t, GEARS["combine"]["single"])


def cart_axle(loaded_t: float) -> Axle:
    """Single axle of a loaded cart on the usual tyres."""
    return _axle(loaded_t, GEARS["cart"]["single"])


def _axle(load_t: float, gear: RunningGear) -> Axle:
    """Axle that carries a load on tyres."""
    return Axle(
        load_kg=load_t * 1000.0,
        tyres=gear.number,
        diameter_m=gear.length_m,
        width_m=gear.width_m,
        clearance_m=CLEARANCE,
    )


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
