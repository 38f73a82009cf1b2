"""Layers of the soil profile, and the zones that bear machines."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from readiness.atmosphere.weather import Array


class Layer(NamedTuple):
    """One layer of the profile."""

    thickness_m: float
    root_share: float  # share of the roots of a grain crop or grass


#: The profile from the top down: 0-5, 5-15, 15-30, 30-60, 60-100 cm. Everything below is derived
#: from this table. Root shares assumed, near an exponential over 1 m.
LAYERS = (
    Layer(0.05, 0.12),
    Layer(0.10, 0.22),
    Layer(0.15, 0.24),
    Layer(0.30, 0.28),
    Layer(0.40, 0.14),
)
N_LAYERS = len(LAYERS)
THICKNESS = np.array([layer.thickness_m for layer in LAYERS])  # m
THICKNESS_MM = tuple(1000.0 * layer.thickness_m for layer in LAYERS)
ROOT_SHARES = tuple(layer.root_share for layer in LAYERS)
BOTTOMS_MM = tuple(float(x) for x in np.cumsum(THICKNESS_MM))
#: Distance between the middles of the first two layers over that of each pair of neighbours.
NEARNESS = tuple(
    (THICKNESS_MM[0] + THICKNESS_MM[1]) / (THICKNESS_MM[i] + THICKNESS_MM[i + 1])
    for i in range(N_LAYERS - 1)
)
#: Depth of the middle of each layer, m, and distance between those of each pair of neighbours.
MIDDLES = tuple(float(x) for x in np.cumsum(THICKNESS) - 0.5 * THICKNESS)
GAPS = tuple(MIDDLES[i + 1] - MIDDLES[i] for i in range(N_LAYERS - 1))
#: Zones that bear machines: 0-5, 5-15 and 15-30 cm, a layer each.
BELOW = BOTTOMS_MM.index(300.0)
#: Share of the first layer in the zone 0-15 cm.
UPPER_SHARE = THICKNESS_MM[0] / BOTTOMS_MM[1]
#: Depth that evaporation dries, m (FAO-56 Ze): all of the first layer and a part of the second.
EVAPORATION_DEPTH = 0.10
SECOND_PART = (EVAPORATION_DEPTH - THICKNESS[0]) / THICKNESS[1]


def top_water(first: Array, second: Array) -> Array:
    """Volumetric water of 0-15 cm from that of its two layers."""
    return UPPER_SHARE * first + (1.0 - UPPER_SHARE) * second


def bearing_water(theta: Array) -> tuple[Array, Array]:
    """Volumetric water that bearing rests on: the wetter of 0-5 and 5-15 cm, and 15-30 cm.

    Parameters
    ----------
    theta : (..., layer, time), m³/m³, as `run_water` returns.

    Returns
    -------
    top, below : (..., time), m³/m³.
    """
    return np.maximum(theta[..., 0, :], theta[..., 1, :]), theta[..., BELOW, :]
