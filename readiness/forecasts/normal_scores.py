"""Normal scores and quantiles of a sample."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from readiness.atmosphere.weather import Array

#: Smallest share of a sample that a score is taken of; keeps scores finite.
SMALLEST_SHARE = 1e-4


def normal_score(values: Array, climate: Array, draw: Array) -> Array:
    """Normal scores of values within a sorted climate.

    Parameters
    ----------
    draw : 0-1, shaped as `values`; breaks ties, so that dry days share their range evenly.
    """
    below = np.searchsorted(climate, values, side="left")
    ties = np.searchsorted(climate, values, side="right") - below
    share = (below + np.where(ties > 1, draw * ties, 0.5)) / len(climate)
    clipped = np.clip(share, SMALLEST_SHARE, 1.0 - SMALLEST_SHARE)
    return np.asarray(ndtri(clipped), dtype=np.float64)


def middle_normal_score(values: Array) -> Array:
    """Normal score of the middle rank of each value within its own sample."""
    ordered = np.sort(values)
    low = np.searchsorted(ordered, values, side="left")
    high = np.searchsorted(ordered, values, side="right")
    return np.asarray(ndtri((low + high) / 2.0 / len(values)), dtype=np.float64)


def climate_quantile(climate: Array, share: Array) -> Array:
    """Value of a sorted climate at a share 0-1, interpolated linearly."""
    n = len(climate)
    return np.interp(share, (np.arange(n) + 0.5) / n, climate)
