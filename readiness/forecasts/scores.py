"""Scores of forecasts: Brier score, reliability, CRPS, and the sampling error of a mean score.

Definitions: Murphy 1973 (J. Appl. Meteor. 12:595-600) for the parts of the Brier score; Gneiting &
Raftery 2007 (JASA 102:359-378) for the CRPS; Ferro 2014 (QJRMS 140:1917-1923) for its fair form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from readiness.atmosphere.weather import Array


@dataclass(frozen=True, kw_only=True)
class Brier:
    """Brier score and its parts (Murphy 1973): reliability - resolution + uncertainty."""

    score: float
    reliability: float
    resolution: float
    uncertainty: float

    @property
    def skill(self) -> float:
        """Skill against the sample's climatology; NaN where all outcomes are alike."""
        return 1.0 - self.score / self.uncertainty if self.uncertainty > 0 else np.nan


def brier(chance: ArrayLike, happened: ArrayLike) -> Brier:
    """Brier score of chances 0-1 against outcomes 0 or 1, one group for each distinct chance."""
    f, o = np.asarray(chance, dtype=np.float64), np.asarray(happened, dtype=np.float64)
    groups, group, n = np.unique(f, return_inverse=True, return_counts=True)
    rate = np.bincount(group, weights=o) / n
    base = float(o.mean())
    return Brier(
        score=float(((f - o) ** 2).mean()),
        reliability=float((n * (groups - rate) ** 2).sum() / len(f)),
        resolution=float((n * (rate - base) ** 2).sum() / len(f)),
        uncertainty=base * (1.0 - base),
    )


def standard_error(scores: ArrayLike, group: ArrayLike | None = None) -> float:
    """Standard error of a mean score; NaN with fewer than two groups.

    Without groups the cases count as independent, which for the Brier score gives the variance of
    Bradley, Schwartz & Hashino 2008 (Wea. Forecasting 23:992-1006). With groups the error is
    cluster-robust: that of the groups' sums.

    Parameters
    ----------
    scores : (case,).
    group : (case,) label of dependent cases, for example the gauges of one day.
    """
    s = np.asarray(scores, dtype=np.float64)
    g = np.arange(len(s)) if group is None else np.unique(group, return_inverse=True)[1]
    k = int(g.max()) + 1 if len(s) else 0
    if k < 2:
        return float("nan")
    sums = np.bincount(g, weights=s - s.mean())
    return float(np.sqrt((sums**2).sum() * k / (k - 1)) / len(s))


@dataclass(frozen=True, kw_only=True)
class Reliability:
    """Reliability curve: mean chance, observed rate, standard error and count, (bin,)."""

    chance: Array
    rate: Array
    error: Array
    count: NDArray[np.int64]


def reliability(chance: ArrayLike, happened: ArrayLike, *, bins: int = 5) -> Reliability:
    """Observed rate in equal bins of chance; empty bins are left out.

    The standard error is binomial, with one success and one failure added so that it is not zero
    (Agresti & Coull 1998, half weight).
    """
    f, o = np.asarray(chance, dtype=np.float64), np.asarray(happened, dtype=np.float64)
    bin_of = np.minimum((f * bins).astype(np.int64), bins - 1)
    _used, group, n = np.unique(bin_of, return_inverse=True, return_counts=True)
    happened_count = np.bincount(group, weights=o)
    adjusted = (happened_count + 1.0) / (n + 2.0)
    return Reliability(
        chance=np.bincount(group, weights=f) / n,
        rate=happened_count / n,
        error=np.sqrt(adjusted * (1.0 - adjusted) / (n + 2.0)),
        count=n,
    )


def crps_ensemble(members: ArrayLike, truth: ArrayLike, *, fair: bool = False) -> Array:
    """CRPS of ensembles (case, member) against outcomes (case,), in the unit of the amounts.

    mean |x - y| - 0.5 mean |x_i - x_j|. The fair form divides the second sum by n (n - 1) and so
    does not penalise small ensembles.
    """
    x = np.sort(np.atleast_2d(np.asarray(members, dtype=np.float64)), axis=1)
    y = np.atleast_1d(np.asarray(truth, dtype=np.float64))
    n = x.shape[1]
    distance = np.abs(x - y[:, None]).mean(axis=1)
    # sum over i, j of |x_i - x_j| = 2 sum_i (2 i - n + 1) x_(i), i from 0
    spread = 2.0 * ((2.0 * np.arange(n) - n + 1.0) * x).sum(axis=1)
    return np.asarray(distance - 0.5 * spread / (n * (n - 1) if fair else n * n), dtype=np.float64)
