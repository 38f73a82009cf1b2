"""The model against records nobody here made: what `afterrain validate` computes.

Parameters are fitted on years up to `LAST_TRAINING` only; everything said 'tested' is after. The
stations stand under grass, their wind is unknown (2 m/s) and so is their texture (loam).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.soil.calibrate import Calibration, calibrate, depth_weights, probe_observations
from readiness.soil.trafficability import water_limits
from readiness.sources.records import DEPTHS
from readiness.validation.stations import Station, daily_soil_water

LAST_TRAINING = 2016
#: Water of 0-15 cm: shares of the 5 cm (0-7.5) and 10 cm (7.5-15) probes.
PROBES = (5, 10)
CART_T, COMBINE_T = 30.0, 20.0


@dataclass(frozen=True, kw_only=True)
class Score:
    """Agreement of a model with what was seen: r, unbiased RMSE, bias, days."""

    r: float
    unbiased: float
    bias: float
    days: int


def score(model: Array, seen: Array, days: NDArray[np.bool_] | None = None) -> Score:
    """Pearson r, unbiased root mean square error and bias over days where both are known."""
    both = np.isfinite(model) & np.isfinite(seen)
    both = both if days is None else both & days
    a, b = model[both], seen[both]
    if a.size < 3 or a.std() == 0.0 or b.std() == 0.0:
        return Score(r=np.nan, unbiased=np.nan, bias=np.nan, days=int(a.size))
    return Score(
        r=float(np.corrcoef(a, b)[0, 1]),
        unbiased=float((a - b).std()),
        bias=float((a - b).mean()),
        days=int(a.size),
    )


def calibrated(one: Station) -> Calibration | None:
    """Calibration from the probes up to `LAST_TRAINING`; None where there is nothing to learn."""
    days = one.compared & (one.year <= LAST_TRAINING)
    parts = []
    for number, depth in enumerate(PROBES):
        reading = np.where(days, one.daily.soil_water[DEPTHS.index(depth)], np.nan)
        parts.append(probe_observations(reading, 0, depth_m=depth / 100.0, probe=number))
    seen = parts[0]
    for more in parts[1:]:
        seen = seen.joined(more)
    if seen.hour.size < 60 or not all(p.hour.size for p in parts):
        return None
    learn = ("sand", "clay", "drain_factor", "evap_factor", "vigour")
    return calibrate(one.weather, one.land(), seen, kcb=one.kcb, eto=one.eto, learn=learn)


@dataclass(frozen=True, kw_only=True)
class SoilResult:
    """One station's results: readings and runs by depth in cm, scores by name, wet and dry days."""

    name: str
    days: NDArray[np.datetime64]
    seen: Mapping[int, Array]
    guessed: Mapping[int, Array]
    fitted: Mapping[int, Array]
    scores: Mapping[str, Score]
    by_year: Mapping[int, Score]
    wet_seen: Array  # 1 wet, 0 dry, NaN not known or not tested
    wet_model: Array
    calibration: Calibration | None
    fitted_top: Array


def soil_results(one: Station) -> SoilResult:
    """Run a station without and with calibration and score it."""
    daily, plain = one.daily, daily_soil_water(one, one.land())
    tested = one.compared & (one.year > LAST_TRAINING)
    seen = {d: daily.soil_water[DEPTHS.index(d)] for d in PROBES}
    guessed = {d: depth_weights(d / 100.0) @ plain for d in PROBES}
    scores = {f"{d} cm, no calibration": score(guessed[d], seen[d], one.compared) for d in PROBES}
    fit, fitted = calibrated(one), {}
    nothing = np.full(daily.tmax.size, np.nan)
    top = nothing.copy()
    wet_seen, wet_model = nothing, nothing.copy()
    by_year: dict[int, Score] = {}
    if fit is not None:
        theta = daily_soil_water(one, fit.land, vigour=fit.vigour)
        for number, d in enumerate(PROBES):
            fitted[d] = fit.probe_reading(number, depth_weights(d / 100.0) @ theta)
            scores[f"{d} cm, calibrated, trained"] = score(
                fitted[d], seen[d], one.compared & ~tested
            )
            scores[f"{d} cm, calibrated, tested"] = score(fitted[d], seen[d], tested)
        top = (theta[0] + 2.0 * theta[1]) / 3.0
        wet_seen, wet_model = wet_day_series(fit, top, seen, days=(one.compared & ~tested, tested))
        for year in np.unique(one.year[tested]):
            by_year[int(year)] = score(fitted[5], seen[5], tested & (one.year == year))
    return SoilResult(
        name=daily.name,
        days=daily.days,
        seen=seen,
        guessed=guessed,
        fitted=fitted,
        scores=scores,
        by_year=by_year,
        wet_seen=wet_seen,
        wet_model=wet_model,
        calibration=fit,
        fitted_top=top,
    )


def wet_day_series(
    fit: Calibration,
    top: Array,
    seen: Mapping[int, Array],
    *,
    days: tuple[NDArray[np.bool_], NDArray[np.bool_]],
) -> tuple[Array, Array]:
    """Whether 0-15 cm is above the bearing limit for a loaded cart, as seen and as modelled.

    The limit is that of the learnt soil. The model's own limit is shifted, as ground checks would
    shift it, to where in the training days it misses as large a share of wet days as it wrongly
    warns of dry ones.

    Parameters
    ----------
    top : model's water of 0-15 cm. days : those of training and those tested.
    """
    land = fit.land
    limit = water_limits(
        land.field_capacity,
        land.saturation,
        sand=land.sand,
        clay=land.clay,
        combine_t=COMBINE_T,
        cart_t=CART_T,
        offset=np.zeros(1),
    ).firm_top[0]
    told = sum((seen[d] - fit.offset[k]) / fit.gain[k] for k, d in enumerate(PROBES)) / len(PROBES)
    known = np.isfinite(told) & np.isfinite(top)
    train, tested = (known & d for d in days)
    own = _even_limit(told[train] > limit, top[train], limit)
    return np.where(tested, told > limit, np.nan), np.where(tested, top > own, np.nan)


def _even_limit(wet: NDArray[np.bool_], top: Array, limit: float) -> float:
    """Model's water at which missed and false shares are equal; `limit` where nothing tells."""
    if wet.all() or not wet.any():
        return float(limit)
    tries = np.quantile(top, np.linspace(0.01, 0.99, 197))
    alarm = top[None] > tries[:, None]
    missed, false = 1.0 - alarm[:, wet].mean(axis=1), alarm[:, ~wet].mean(axis=1)
    return float(tries[np.argmin(np.abs(missed - false))])


def contingency_table(results: Iterable[SoilResult]) -> dict[str, int]:
    """Days of the tested years, pooled: hit, missed, false alarm, rightly dry."""
    out = {"hit": 0, "missed": 0, "false alarm": 0, "rightly dry": 0}
    for one in results:
        seen, model = one.wet_seen, one.wet_model
        for name, a, b in (
            ("hit", 1, 1),
            ("missed", 1, 0),
            ("false alarm", 0, 1),
            ("rightly dry", 0, 0),
        ):
            out[name] += int(((seen == a) & (model == b)).sum())
    return out
