"""Drainage of a water table: flow to tile by Hooghoudt's equation, and usual spacings.

References
----------
Hooghoudt 1940, steady flow to parallel drains, in the form of Wikipedia, 'Drainage equation'
(opened): q L² = 8 K d h + 4 K h².
Moody 1966, J. Irrig. Drain. Div. ASCE 92(2):1-9: equivalent depth in closed form (memory).
Skaggs 2017, Trans. ASABE 60:355-366 (opened as a draft): the drainage coefficient is the rate that
the outlet can carry, whatever the soil delivers.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from readiness.atmosphere.weather import Array

#: Design rate of tile, mm/h: 3/8 in. a day, in the middle of the 1/4 to 1/2 in. for field crops
#: with surface drainage (NDSU, tile design workshop 2021). Moves when a tiled field opens.
DRAINAGE_COEFFICIENT = 0.375 * 25.4 / 24.0
#: Usual depth of tile, m: 3.5 ft, within the 3-4 ft of guides (memory).
TILE_DEPTH = 1.07
#: Spacings between which tile is laid, m: 25 ft in Fargo clay, about 100 ft in fine sandy loam
#: (University of Minnesota Extension).
SPACINGS = (7.6, 30.5)
#: Depth to the layer that holds water up, m. Assumed, because glacial till is tight below 2-4 m.
BARRIER_DEPTH = 3.0
#: Effective radius of a 4 in. corrugated tube, m: 0.4 cm with four rows of perforations, 1.6 cm
#: with eight (Ghane 2022, Appl. Eng. Agric. 38:685); half a centimetre is usual (Skaggs, memory).
TILE_RADIUS = 0.005
#: Depth of the water table midway between tile at the design rate, m; assumed, below the roots that
#: crops need most.
DESIGN_TABLE = 0.5


def equivalent_depth(spacing: ArrayLike, below: ArrayLike) -> Array:
    """Hooghoudt's equivalent depth, m, which stands for the converging flow near tile (Moody).

    Parameters
    ----------
    spacing : between tile lines, m.
    below : depth of the barrier below tile, m.
    """
    length, depth = (np.asarray(x, dtype=np.float64) for x in (spacing, below))
    ratio = depth / length
    shallow = depth / (1.0 + ratio * (8.0 / np.pi * np.log(depth / TILE_RADIUS) - 3.4))
    deep = length / (8.0 / np.pi * (np.log(length / TILE_RADIUS) - 1.15))
    return np.asarray(np.where(ratio <= 0.3, shallow, deep))


def hooghoudt_terms(conductivity: Array, spacing: Array, depth: Array) -> tuple[Array, Array]:
    """Linear and quadratic term of Hooghoudt's equation, q = a h + b h².

    Parameters
    ----------
    conductivity : saturated, mm/h.
    spacing, depth : of tile, m.

    Returns
    -------
    a : mm/h per m of water table above tile. b : mm/h per m².
    """
    effective = equivalent_depth(spacing, np.maximum(BARRIER_DEPTH - depth, 0.1))
    return 8.0 * conductivity * effective / spacing**2, 4.0 * conductivity / spacing**2


def usual_spacing(conductivity: Array, depth: Array) -> Array:
    """Spacing that carries `DRAINAGE_COEFFICIENT` at `DESIGN_TABLE`, within `SPACINGS`, m.

    Parameters
    ----------
    conductivity : saturated, mm/h.
    depth : of tile, m.
    """
    head = np.maximum(depth - DESIGN_TABLE, 0.1)
    spacing = np.full(np.shape(conductivity), SPACINGS[1])
    for _ in range(20):  # a contraction: the equivalent depth changes slowly with the spacing
        linear, square = hooghoudt_terms(conductivity, spacing, depth)
        flow = linear * head + square * head**2
        spacing = np.clip(spacing * np.sqrt(flow / DRAINAGE_COEFFICIENT), *SPACINGS)
    return np.asarray(spacing)
