"""Scores of forecasts by lead: Brier score of chances, CRPS and bias of rain amounts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.forecasts.scores import brier, crps_ensemble, standard_error
from scheduler.weather.bias_correction import RainPairs


@dataclass(frozen=True, kw_only=True)
class ChanceForecasts:
    """Forecast chances of an event and whether it happened.

    Attributes
    ----------
    lead
        (n,) days ahead.
    chance
        (n,) forecast probability, 0-1.
    happened
        (n,) whether the event happened.
    day
        (n,) date, as days since 1970; forecasts of one day share their sampling error.
    """

    lead: NDArray[np.int64]
    chance: Array
    happened: NDArray[np.bool_]
    day: NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class LeadScore:
    """Scores of one lead, each with its standard error; NaN where there is nothing to score.

    Attributes
    ----------
    lead
        Days ahead.
    cases, days
        Number of forecasts, and of different days among them.
    brier, brier_error, skill
        Brier score, its standard error, and its skill over the mean chance.
    crps, crps_error, bias
        CRPS of daily rain, its standard error, and mean of forecast less measured rain, mm.
    """

    lead: int
    cases: int
    days: int
    brier: float
    brier_error: float
    skill: float
    crps: float = np.nan
    crps_error: float = np.nan
    bias: float = np.nan


def chance_score(chances: ChanceForecasts, lead: int) -> LeadScore:
    """Brier score of the chances at one lead."""
    k = chances.lead == lead
    if not k.any():
        return LeadScore(lead=lead, cases=0, days=0, brier=np.nan, brier_error=np.nan, skill=np.nan)
    f, o = chances.chance[k], chances.happened[k].astype(np.float64)
    parts = brier(f, o)
    return LeadScore(
        lead=lead,
        cases=int(k.sum()),
        days=len(np.unique(chances.day[k])),
        brier=parts.score,
        brier_error=standard_error((f - o) ** 2, chances.day[k]),
        skill=parts.skill,
    )


def rain_score(pairs: RainPairs, rain_days: ChanceForecasts, lead: int) -> LeadScore:
    """Brier score of rain days, with CRPS and bias of daily rain, at one lead."""
    of_lead = pairs.of(lead, lead)
    score = chance_score(rain_days, lead)
    if not len(of_lead.lead):
        return score
    crps = crps_ensemble(of_lead.forecast, of_lead.measured, fair=of_lead.forecast.shape[1] > 1)
    return LeadScore(
        lead=lead,
        cases=score.cases,
        days=score.days,
        brier=score.brier,
        brier_error=score.brier_error,
        skill=score.skill,
        crps=float(crps.mean()),
        crps_error=standard_error(crps, of_lead.day),
        bias=float((of_lead.forecast.mean(1) - of_lead.measured).mean()),
    )
