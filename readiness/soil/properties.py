"""Properties of soil from texture, and formulas of the curve number."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from readiness.atmosphere.weather import Array


def wilting_point(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Water at 1500 kPa, m³/m³ (Saxton & Rawls 2006 eq. 1). Organic matter in percent."""
    s, c, om = (np.asarray(x, dtype=np.float64) for x in (sand, clay, organic))
    t = -0.024 * s + 0.487 * c + 0.006 * om
    t = t + 0.005 * s * om - 0.013 * c * om + 0.068 * s * c + 0.031
    return np.asarray(t + 0.14 * t - 0.02)


def field_capacity(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Water at 33 kPa, m³/m³ (Saxton & Rawls 2006 eq. 2)."""
    s, c, om = (np.asarray(x, dtype=np.float64) for x in (sand, clay, organic))
    t = -0.251 * s + 0.195 * c + 0.011 * om
    t = t + 0.006 * s * om - 0.027 * c * om + 0.452 * s * c + 0.299
    return np.asarray(t + 1.283 * t**2 - 0.374 * t - 0.015)


def saturation(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Water at saturation, m³/m³ (Saxton & Rawls 2006 eqs 3 and 5)."""
    s, c, om = (np.asarray(x, dtype=np.float64) for x in (sand, clay, organic))
    t = 0.278 * s + 0.034 * c + 0.022 * om
    t = t - 0.018 * s * om - 0.027 * c * om - 0.584 * s * c + 0.078
    return np.asarray(field_capacity(s, c, om) + t + 0.636 * t - 0.107 - 0.097 * s + 0.043)


def pore_index(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Slope lambda = 1/B of the logarithmic tension curve (Saxton & Rawls 2006 eqs 15, 18)."""
    fc, wp = field_capacity(sand, clay, organic), wilting_point(sand, clay, organic)
    return np.asarray((np.log(fc) - np.log(wp)) / (np.log(1500.0) - np.log(33.0)))


def saturated_conductivity(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Saturated conductivity, mm/h (Saxton & Rawls 2006 eq. 16)."""
    free = saturation(sand, clay, organic) - field_capacity(sand, clay, organic)
    return np.asarray(1930.0 * np.maximum(free, 1e-3) ** (3.0 - pore_index(sand, clay, organic)))


def bulk_density(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Bulk density, t/m³ (Saxton & Rawls 2006 eq. 6)."""
    return np.asarray((1.0 - saturation(sand, clay, organic)) * 2.65)


def plastic_limit(clay: Array) -> Array:
    """Lower plastic limit, percent by weight, at which loose topsoil begins to stick.

    20 at 18 % clay, 28 at 53 % (Mueller et al. 2003); `clay` is a fraction.
    """
    return np.asarray(20.0 + (100.0 * clay - 18.0) * 8.0 / 35.0, dtype=np.float64)


def retention(curve_number: ArrayLike) -> Array:
    """Potential retention S, mm, of a curve number (NRCS)."""
    return np.asarray(25400.0 / np.asarray(curve_number, dtype=np.float64) - 254.0)


def wet_number(cn: ArrayLike) -> Array:
    """Curve number of wet antecedent soil, CN3 = 23 CN / (10 + 0.13 CN)."""
    cn = np.asarray(cn, dtype=np.float64)
    return np.asarray(23.0 * cn / (10.0 + 0.13 * cn))
