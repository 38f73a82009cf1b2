"""Lasting offsets from what was observed: fields of one soil share part, one reading says little.

The offset of field f on soil s is b_f = g_s + d_f, with g_s ~ N(0, soil_sd²) and
d_f ~ N(0, own_sd²). An observation bounds it, low <= b_f <= high (a measured number has
low = high, a ground check only one side or a band), and its distance to these bounds is
weighed by Huber's function (Huber 1964, Annals of Mathematical Statistics 35), so that no single
reading pulls harder than `HUBER` standard errors. The minimum is found by majorisation: each
distance is replaced by that to its own projection, which is a weighted ridge regression.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
HUBER = 1.345  # standard errors; 95 % efficient for normal errors (Huber's usual constant)
STEPS = 200  # of the majorisation; assumed, it settles to 1e-6 in a few tens
SETTLED = 1e-7


@dataclass(frozen=True, kw_only=True)
class Prior:
    """How far offsets are believed to spread, and the error of one observation, one unit."""

    soil_sd: float
    own_sd: float
    error_sd: float


def offsets(
    field: NDArray[np.int64], low: Array, high: Array, weight: Array, soil: NDArray[np.int64],
    *, prior: Prior,
) -> Array:  # fmt: skip
    """Offset of every field, (field,).

    Parameters
    ----------
    field, low, high, weight : (observation,) field index, bounds of its offset, and the share of
        a whole observation it counts as (several on one day see one error).
    soil : (field,) soil group of every field.
    """
    groups = int(soil.max()) + 1 if soil.size else 0
    names = len(soil)
    design = np.zeros((len(field), groups + names))
    design[np.arange(len(field)), soil[field]] = 1.0
    design[np.arange(len(field)), groups + field] = 1.0
    ridge = np.diag([prior.soil_sd**-2] * groups + [prior.own_sd**-2] * names)
    beta: Array = np.zeros(groups + names)
    for _ in range(STEPS):
        now = design @ beta
        target = np.clip(now, low, high)
        away = np.abs(target - now) / prior.error_sd
        pull = weight * np.minimum(1.0, HUBER / np.maximum(away, 1e-12)) / prior.error_sd**2
        normal = ridge + design.T @ (pull[:, None] * design)
        fresh: Array = np.asarray(np.linalg.solve(normal, design.T @ (pull * target)))
        done = np.abs(fresh - beta).max(initial=0.0) < SETTLED
        beta = fresh
        if done:
            break
    return np.asarray(beta[soil] + beta[groups:], dtype=np.float64)


def surprise(
    field: NDArray[np.int64], low: Array, high: Array, offset: Array, *, prior: Prior
) -> Array:
    """How far each observation lies outside of what its field's offset allows, standard errors."""
    now = offset[field]
    return np.asarray((np.clip(now, low, high) - now) / prior.error_sd, dtype=np.float64)
