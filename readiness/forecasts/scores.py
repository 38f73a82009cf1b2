"""How good forecasts were: Brier score and reliability, CRPS, rank histogram, sampling errors.

Definitions: Murphy 1973 (J. Appl. Meteor. 12:595-600) for the parts of the Brier score; Gneiting &
Raftery 2007 (JASA 102:359-378) for the CRPS; Ferro 2014 (QJRMS 140:1917-1923) for its fair form;
Hamill 2001 (Mon. Wea. Rev. 129:550-560) for rank histograms.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc, gammaincc

from readiness.atmosphere.weather import Array


@dataclass(frozen=True, kw_only=True)
class Brier:
    """Brier score and Murphy's parts: score = reliability - resolution + uncertainty."""

    score: float
    reliability: float
    resolution: float
    uncertainty: float

    @property
    def skill(self) -> float:
        """Skill against the sample's own climatology; NaN where that never varies."""
        return 1.0 - self.score / self.uncertainty if self.uncertainty > 0 else np.nan


def brier(chance: ArrayLike, happened: ArrayLike) -> Brier:
    """Brier score of chances 0-1 against 0 or 1, each distinct chance a group of its own."""
    f, o = np.asarray(chance, dtype=np.float64), np.asarray(happened, dtype=np.float64)
    groups, at, n = np.unique(f, return_inverse=True, return_counts=True)
    rate = np.bincount(at, weights=o) / n
    base = float(o.mean())
    return Brier(
        score=float(((f - o) ** 2).mean()),
        reliability=float((n * (groups - rate) ** 2).sum() / len(f)),
        resolution=float((n * (rate - base) ** 2).sum() / len(f)),
        uncertainty=base * (1.0 - base),
    )


def standard_error(scores: ArrayLike, group: ArrayLike | None = None) -> float:
    """Sampling error of a mean score.

    Without groups the cases count as independent, which for the Brier score is the variance of
    Bradley, Schwartz & Hashino 2008 (Wea. Forecasting 23:992-1006). Cases of one `group` (gauges
    on one day) are not: the error is then that of the groups' sums (cluster-robust). NaN with
    fewer than two groups.
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
    """Reliability curve: mean chance, observed rate, its standard error and count per bin."""

    chance: Array
    rate: Array
    error: Array
    count: NDArray[np.int64]


def reliability(chance: ArrayLike, happened: ArrayLike, *, bins: int = 5) -> Reliability:
    """Observed rate in equal bins of chance; bins without a case are left out.

    The error is binomial about the rate, with one success and one failure added so that it is
    not zero (Agresti & Coull 1998, half weight).
    """
    f, o = np.asarray(chance, dtype=np.float64), np.asarray(happened, dtype=np.float64)
    which = np.minimum((f * bins).astype(np.int64), bins - 1)
    _used, at, n = np.unique(which, return_inverse=True, return_counts=True)
    hits = np.bincount(at, weights=o)
    soft = (hits + 1.0) / (n + 2.0)
    return Reliability(
        chance=np.bincount(at, weights=f) / n,
        rate=hits / n,
        error=np.sqrt(soft * (1.0 - soft) / (n + 2.0)),
        count=n,
    )


def crps_ensemble(members: ArrayLike, truth: ArrayLike, *, fair: bool = False) -> Array:
    """CRPS of ensembles (case, member) against (case,), in the unit of the amounts.

    mean |x - y| - 0.5 mean |x_i - x_j|; the fair form divides the second mean by n (n - 1) and
    does not punish a small ensemble.
    """
    x = np.sort(np.atleast_2d(np.asarray(members, dtype=np.float64)), axis=1)
    y = np.atleast_1d(np.asarray(truth, dtype=np.float64))
    n = x.shape[1]
    near = np.abs(x - y[:, None]).mean(axis=1)
    # sum over i, j of |x_i - x_j| = 2 sum_i (2 i - n + 1) x_(i), i from 0
    spread = 2.0 * ((2.0 * np.arange(n) - n + 1.0) * x).sum(axis=1)
    return np.asarray(near - 0.5 * spread / (n * (n - 1) if fair else n * n), dtype=np.float64)


def rank_histogram(
    members: ArrayLike, truth: ArrayLike, *, rng: np.random.Generator
) -> NDArray[np.int64]:
    """Counts of the truth's rank among its ensemble, (members + 1,); ties are broken by lot."""
    x = np.atleast_2d(np.asarray(members, dtype=np.float64))
    y = np.atleast_1d(np.asarray(truth, dtype=np.float64))[:, None]
    below, same = (x < y).sum(axis=1), (x == y).sum(axis=1)
    rank = below + rng.integers(0, same + 1)
    return np.bincount(rank, minlength=x.shape[1] + 1)


def flatness(counts: ArrayLike, *, bins: int | None = None) -> float:
    """Chance of a histogram at least so uneven if all ranks are alike.

    Parameters
    ----------
    counts : (rank,) of independent cases: Pearson's chi-square test; or (group, rank) where cases
        of a group (the days of one forecast) are not independent: Hotelling's T² of the groups.
    bins : joins neighbouring ranks first, so that each bin has enough cases.
    """
    c = np.asarray(counts, dtype=np.float64)
    edges = np.round(np.linspace(0, c.shape[-1], (bins or c.shape[-1]) + 1)).astype(int)
    share = np.diff(edges) / c.shape[-1]
    c = np.add.reduceat(c, edges[:-1], axis=-1)
    if c.ndim == 1:
        expected = c.sum() * share
        return float(gammaincc((len(c) - 1) / 2.0, ((c - expected) ** 2 / expected).sum() / 2.0))
    off = (c - c.sum(axis=1, keepdims=True) * share)[:, :-1]
    groups, k = off.shape
    mean, cover = off.mean(axis=0), np.cov(off, rowvar=False)
    t2 = groups * float(mean @ np.linalg.solve(cover, mean))
    return float(fdtrc(k, groups - k, t2 * (groups - k) / (k * (groups - 1))))
