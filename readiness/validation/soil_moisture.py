"""Modelled soil moisture against the probes of a station network.

Calibration uses years up to `LAST_TRAINING` only; scores named 'tested' come from later years. The
stations stand under grass. Their wind is unknown (2 m/s assumed) and so is their texture (loam
assumed).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.stats import mannwhitneyu

from readiness.atmosphere.weather import Array
from readiness.soil.calibrate import Calibration, calibrate
from readiness.soil.running_gear import USUAL_CART, USUAL_COMBINE
from readiness.soil.trafficability import land_limits
from readiness.soil.water_observations import depth_weights, probe_observations
from readiness.sources.daily_record import SOIL_DEPTHS_CM
from readiness.validation.stations import Station, daily_soil_water

LAST_TRAINING = 2016
#: Probe depths, cm: 5 cm stands for the zone 0-5, 10 cm for 5-15.
PROBES = (5, 10)
#: Share of the probed training days that counts as wet where no bearing limit decides.
WETTEST_SHARE = 1.0 / 3.0
#: Fewest probe readings that calibration needs; assumed.
FEWEST_READINGS = 60
#: Parameters of the soil and its cover that calibration fits.
FITTED_PARAMETERS = ("sand", "clay", "drain_factor", "evap_factor", "vigour")


@dataclass(frozen=True, kw_only=True)
class Score:
    """Agreement of model and measurement: Pearson r, unbiased RMSE, bias, number of days."""

    r: float
    unbiased_rmse: float
    bias: float
    days: int


def score(model: Array, measured: Array, days: NDArray[np.bool_] | None = None) -> Score:
    """Score the days on which both series are known; NaN with fewer than three or no variance."""
    both = np.isfinite(model) & np.isfinite(measured)
    both = both if days is None else both & days
    a, b = model[both], measured[both]
    if a.size < 3 or a.std() == 0.0 or b.std() == 0.0:
        return Score(r=np.nan, unbiased_rmse=np.nan, bias=np.nan, days=int(a.size))
    return Score(
        r=float(np.corrcoef(a, b)[0, 1]),
        unbiased_rmse=float((a - b).std()),
        bias=float((a - b).mean()),
        days=int(a.size),
    )


def calibrate_station(station: Station) -> Calibration | None:
    """Calibrate to the probes up to `LAST_TRAINING`; None with too few readings."""
    days = station.in_season & (station.year <= LAST_TRAINING)
    parts = []
    for number, depth in enumerate(PROBES):
        reading = np.where(days, station.daily.soil_water[SOIL_DEPTHS_CM.index(depth)], np.nan)
        parts.append(probe_observations(reading, 0, depth_m=depth / 100.0, probe=number))
    readings = parts[0]
    for part in parts[1:]:
        readings = readings.joined(part)
    if readings.hour.size < FEWEST_READINGS or not all(p.hour.size for p in parts):
        return None
    return calibrate(
        station.weather,
        station.land(),
        readings,
        kcb=station.kcb,
        eto=station.eto,
        learn=FITTED_PARAMETERS,
    )


class WetDays(NamedTuple):
    """Wet and dry days of a station by a limit, (day,); NaN where unknown or not a tested day.

    `measured` is 1 on wet and 0 on dry days, `excess` modelled water above the model's limit,
    m³/m³.
    """

    measured: Array
    excess: Array


@dataclass(frozen=True, kw_only=True)
class SoilResult:
    """Results of one station.

    Attributes
    ----------
    days : (day,) datetime64[D].
    measured, uncalibrated, calibrated : by probe depth in cm, (day,) m³/m³. `calibrated` is empty
        where `calibration` is None.
    scores : by name. by_year : by tested year, calibrated model at 5 cm.
    cart_limit : wet and dry days by the limit for a loaded cart.
    wettest_third : the same by the water that a third of the probed training days exceed, which
        does not move with the bearing limits.
    calibrated_top : (day,) modelled water of the wetter of the probes' depths, m³/m³.
    """

    name: str
    days: NDArray[np.datetime64]
    measured: Mapping[int, Array]
    uncalibrated: Mapping[int, Array]
    calibrated: Mapping[int, Array]
    scores: Mapping[str, Score]
    by_year: Mapping[int, Score]
    cart_limit: WetDays
    wettest_third: WetDays
    calibration: Calibration | None
    calibrated_top: Array


def soil_results(station: Station) -> SoilResult:
    """Run a station without and with calibration and score both runs."""
    daily, default_water = station.daily, daily_soil_water(station, station.land())
    tested = station.in_season & (station.year > LAST_TRAINING)
    trained = station.in_season & ~tested
    measured = {d: daily.soil_water[SOIL_DEPTHS_CM.index(d)] for d in PROBES}
    uncalibrated = {d: depth_weights(d / 100.0) @ default_water for d in PROBES}
    scores = {
        f"{d} cm, no calibration": score(uncalibrated[d], measured[d], station.in_season)
        for d in PROBES
    }
    fit = calibrate_station(station)
    calibrated: dict[int, Array] = {}
    top = np.full(daily.tmax.size, np.nan)
    cart_limit = wettest_third = WetDays(top, top)
    by_year: dict[int, Score] = {}
    if fit is not None:
        water = daily_soil_water(station, fit.land, vigour=fit.vigour)
        for number, d in enumerate(PROBES):
            calibrated[d] = fit.probe_reading(number, depth_weights(d / 100.0) @ water)
            scores[f"{d} cm, calibrated, trained"] = score(calibrated[d], measured[d], trained)
            scores[f"{d} cm, calibrated, tested"] = score(calibrated[d], measured[d], tested)
        top = np.maximum(*(depth_weights(d / 100.0) @ water for d in PROBES))
        probes = top_water_by_probes(fit, measured)
        limit = land_limits(fit.land, combine=USUAL_COMBINE, cart=USUAL_CART).firm_top[0]
        third = float(np.nanquantile(probes[trained], 1.0 - WETTEST_SHARE))
        cart_limit = wet_days(probes, top, float(limit), trained=trained, tested=tested)
        wettest_third = wet_days(probes, top, third, trained=trained, tested=tested)
        for year in np.unique(station.year[tested]):
            of_year = tested & (station.year == year)
            by_year[int(year)] = score(calibrated[5], measured[5], of_year)
    return SoilResult(
        name=daily.name,
        days=daily.days,
        measured=measured,
        uncalibrated=uncalibrated,
        calibrated=calibrated,
        scores=scores,
        by_year=by_year,
        cart_limit=cart_limit,
        wettest_third=wettest_third,
        calibration=fit,
        calibrated_top=top,
    )


def top_water_by_probes(fit: Calibration, measured: Mapping[int, Array]) -> Array:
    """Measured water of the wetter of the probes' depths, (day,), m³/m³.

    The probes are freed of gain and offset.
    """
    first, second = ((measured[d] - fit.offset[k]) / fit.gain[k] for k, d in enumerate(PROBES))
    return np.asarray(np.maximum(first, second))


def wet_days(
    probes: Array,
    top: Array,
    limit: float,
    *,
    trained: NDArray[np.bool_],
    tested: NDArray[np.bool_],
) -> WetDays:
    """Whether the ground is wetter than a limit on tested days, measured and modelled.

    The model's limit is shifted, as ground checks would shift it, to where the training days miss
    as large a share of wet days as they wrongly warn of dry days.

    Parameters
    ----------
    probes, top : measured and modelled water of the wetter of the probes' depths, m³/m³.
    limit : of the calibrated soil, m³/m³.
    trained, tested : training days and tested days.
    """
    known = np.isfinite(probes) & np.isfinite(top)
    train, test = known & trained, known & tested
    model_limit = _balanced_limit(probes[train] > limit, top[train], limit)
    return WetDays(
        measured=np.where(test, probes > limit, np.nan),
        excess=np.where(test, top - model_limit, np.nan),
    )


def _balanced_limit(wet: NDArray[np.bool_], top: Array, limit: float) -> float:
    """Modelled water at which miss rate and false-alarm rate are equal; else `limit`."""
    if wet.all() or not wet.any():
        return float(limit)
    candidates = np.quantile(top, np.linspace(0.01, 0.99, 197))
    alarm = top[None] > candidates[:, None]
    missed, false = 1.0 - alarm[:, wet].mean(axis=1), alarm[:, ~wet].mean(axis=1)
    return float(candidates[np.argmin(np.abs(missed - false))])


#: Cells of the contingency table: name, measured wet (1) or dry (0), modelled wet or dry.
CONTINGENCY_CELLS = (
    ("hit", 1, 1),
    ("missed", 1, 0),
    ("false alarm", 0, 1),
    ("rightly dry", 0, 0),
)


def contingency_table(stations: Iterable[WetDays]) -> dict[str, int]:
    """Tested days of all stations: hits, misses, false alarms and correct rejections."""
    table = {name: 0 for name, _, _ in CONTINGENCY_CELLS}
    for days in stations:
        for name, wet, modelled in CONTINGENCY_CELLS:
            same = (days.measured == wet) & ((days.excess > 0.0) == modelled)
            table[name] += int(same.sum())
    return table


def roc_area(stations: Sequence[WetDays]) -> float:
    """Chance that a wet day has more excess than a dry day, pooled over stations: the ROC area.

    Unlike hits and false alarms, it does not depend on how careful the model's limit is.
    """
    measured = np.concatenate([days.measured for days in stations])
    excess = np.concatenate([days.excess for days in stations])
    wet, dry = excess[measured == 1], excess[measured == 0]
    return float(mannwhitneyu(wet, dry).statistic / (wet.size * dry.size))
