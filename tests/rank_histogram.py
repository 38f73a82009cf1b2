"""Rank histograms (Hamill 2001, Mon. Wea. Rev. 129:550-560): are ensemble members calibrated?

Only tests need them: the program scores forecasts by Brier score and CRPS.
"""

import numpy as np
from scipy import stats


def rank_histogram(members, truth, *, rng):
    """Counts of the truth's rank among its members, (member + 1,); ties are broken at random."""
    x, y = np.atleast_2d(members), np.atleast_1d(truth)[:, None]
    below, same = (x < y).sum(axis=1), (x == y).sum(axis=1)
    rank = below + rng.integers(0, same + 1)
    return np.bincount(rank, minlength=x.shape[1] + 1)


def flatness(counts, *, bins=None):
    """P-value of the hypothesis that all ranks are equally likely.

    Counts shaped (rank,) are of independent cases: Pearson's chi-square test. Counts shaped
    (group, rank) are of dependent cases within a group (the days of one forecast): Hotelling's T²
    of the groups. `bins` joins neighbouring ranks first, so that each bin has enough cases.
    """
    counts = np.asarray(counts, dtype=float)
    ranks = counts.shape[-1]
    edges = np.round(np.linspace(0, ranks, (bins or ranks) + 1)).astype(int)
    share = np.diff(edges) / ranks
    counts = np.add.reduceat(counts, edges[:-1], axis=-1)
    if counts.ndim == 1:
        return stats.chisquare(counts, counts.sum() * share).pvalue
    excess = (counts - counts.sum(axis=1, keepdims=True) * share)[:, :-1]
    groups, k = excess.shape
    mean, covariance = excess.mean(axis=0), np.cov(excess, rowvar=False)
    t2 = groups * mean @ np.linalg.solve(covariance, mean)
    return stats.f.sf(t2 * (groups - k) / (k * (groups - 1)), k, groups - k)
