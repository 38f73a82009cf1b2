"""Correlation and bias of past rain forecasts against gauges."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr, ndtri

from readiness.atmosphere.weather import Array
from readiness.forecasts.normal_scores import climate_quantile, middle_normal_score

#: Largest factor by which frequency matching raises an amount beyond the largest past forecast;
#: assumed.
MAX_RATIO = 3.0


def fit_correlation(forecast: Array, observed: Array) -> float:
    """Correlation of the normal scores of forecast and observed rain, dry days censored.

    Maximum likelihood of a bivariate normal distribution censored at both dry shares (a Tobit form
    of the meta-Gaussian model), on a grid from 0 to 0.99.

    Parameters
    ----------
    forecast, observed : (n,) daily rain, mm, of one lead.
    """
    z_f, z_o = middle_normal_score(forecast), middle_normal_score(observed)
    dry_f, dry_o = forecast <= 0.0, observed <= 0.0
    cut_f, cut_o = float(ndtri(_inside(dry_f.mean()))), float(ndtri(_inside(dry_o.mean())))
    grid = np.linspace(0.0, 0.99, 100)
    likelihood = [
        _log_likelihood(float(r), z_f, z_o, dry_f, dry_o, cut_f=cut_f, cut_o=cut_o) for r in grid
    ]
    return float(grid[int(np.argmax(likelihood))])


def _inside(share: float) -> float:
    """A share kept off 0 and 1."""
    return float(np.clip(share, 1e-6, 1.0 - 1e-6))


def _log_likelihood(
    r: float,
    z_f: Array,
    z_o: Array,
    dry_f: NDArray[np.bool_],
    dry_o: NDArray[np.bool_],
    *,
    cut_f: float,
    cut_o: float,
) -> float:
    """Log likelihood of a correlation, up to terms that do not depend on it."""
    s = np.sqrt(1.0 - r * r)
    wet = ~dry_f & ~dry_o
    x, y = z_f[wet], z_o[wet]
    both = -np.log(s) - (r * r * (x * x + y * y) - 2.0 * r * x * y) / (2.0 * s * s)
    missed = log_ndtr((cut_f - r * z_o[dry_f & ~dry_o]) / s)
    false = log_ndtr((cut_o - r * z_f[~dry_f & dry_o]) / s)
    # Chance that both are dry: Gauss-Legendre quadrature from far below up to the cut.
    nodes, weights = np.polynomial.legendre.leggauss(64)
    x = (nodes + 1.0) / 2.0 * (cut_f + 8.0) - 8.0
    density = np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi) * ndtr((cut_o - r * x) / s)
    dry = np.log(max(float((weights * density).sum()) * (cut_f + 8.0) / 2.0, 1e-300))
    return float(both.sum() + missed.sum() + false.sum() + (dry_f & dry_o).sum() * dry)


def frequency_match(amounts: Array, forecast: Array, observed: Array) -> Array:
    """Amounts moved to the distribution of the observed rain (Zhu & Luo 2015).

    Each amount keeps its rank: its share within the past forecasts is read off the observed rain.
    Beyond the largest past forecast the ratio of the largest values applies, so that extremes are
    not cut off. Dry forecasts stay dry.

    Parameters
    ----------
    amounts : daily rain, mm, any shape.
    forecast, observed : (n,) past forecasts of about this lead and the gauges' catch, mm.
    """
    forecast, observed = np.sort(forecast), np.sort(observed)
    if not forecast[-1] > 0.0:
        return amounts
    value, count = np.unique(forecast, return_counts=True)
    middle = (np.cumsum(count) - count / 2.0) / len(forecast)
    moved = climate_quantile(observed, np.interp(amounts, value, middle))
    ratio = min(observed[-1] / forecast[-1], MAX_RATIO)
    moved = np.where(amounts > forecast[-1], amounts * ratio, moved)
    return np.where(amounts > 0.0, moved, 0.0)
