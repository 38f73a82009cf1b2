"""Objectives over members: the mean, or the mean of the worst fifth."""

from __future__ import annotations

import numpy as np

from scheduler.field_work.tables import Float

MEAN, CAUTIOUS = "mean", "cautious"
#: Share of the members, by weight, that the cautious objective averages: the worst fifth.
WORST_SHARE = 0.2


def worst_weights(loss: Float, weight: Float) -> Float:
    """Weights, summing to 1, of the members in the worst fifth by weight; the last one in part."""
    rank = np.argsort(-loss, kind="stable")
    before = np.cumsum(weight[rank]) - weight[rank]
    out = np.zeros_like(weight)
    out[rank] = np.clip(WORST_SHARE - before, 0.0, weight[rank])
    out /= out.sum()
    return out


def objective_of(loss: Float, weight: Float, *, objective: str) -> float:
    """Mean of a loss over members, or over the worst fifth of them ('cautious')."""
    if objective not in (MEAN, CAUTIOUS):
        raise ValueError(f"objective: say {MEAN!r} or {CAUTIOUS!r}, not {objective!r}")
    if objective == CAUTIOUS:
        weight = worst_weights(loss, weight)
    return float(weight @ loss)
