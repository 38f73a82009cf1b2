"""Skill of the issued forecasts, and errors of the models, against the observed season."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

import numpy as np

from readiness.forecasts.scores import Brier, brier
from readiness.season.codes import Tier
from readiness.season.windows import daily_windows
from scheduler.review.observed_season import ObservedSeason
from scheduler.windows.daily_hours import within_working_hours
from scheduler.windows.day_figures import WORTHWHILE_H
from scheduler.windows.learnt_offsets import grain_intervals, ground_intervals
from scheduler.windows.model_inputs import open_loop


@dataclass(frozen=True, kw_only=True)
class LeadSkill:
    """Skill of the issued chances of at least `WORTHWHILE_H` workable hours, at one lead.

    Attributes
    ----------
    lead
        Days ahead.
    count
        Number of chances.
    mean_chance
        Mean of the issued chances.
    observed_share
        Share of the days that had the hours.
    brier
        Brier score of the chances and its parts.
    """

    lead: int
    count: int
    mean_chance: float
    observed_share: float
    brier: Brier


def forecast_skill(observed: ObservedSeason) -> tuple[LeadSkill, ...]:
    """Skill of the chances of workable hours in the issued plans, by lead in days.

    The observation is the models' run on the weather records, so errors of the soil and grain
    models do not count against the forecast.
    """
    windows = daily_windows(
        within_working_hours(observed.farm, observed.reviewed), tz=observed.farm.tz
    )
    dates = [d.astype(object) for d in windows.dates]
    hours = windows.harvestable[0]
    pairs: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for at, plan in observed.plans:
        issued = at.astimezone(observed.farm.tz).date()
        days = [date.fromisoformat(d) for d in plan.get("dates", [])]
        for row, row_hours in enumerate(plan.get("hours", [])):
            for day, forecast in zip(days, row_hours["days"], strict=True):
                if day in dates and row < len(hours) and forecast["chance"] is not None:
                    happened = bool(hours[row, dates.index(day)] >= WORTHWHILE_H)
                    pairs[(day - issued).days].append((float(forecast["chance"]), happened))
    return tuple(_lead_skill(lead, of_lead) for lead, of_lead in sorted(pairs.items()))


def _lead_skill(lead: int, pairs: list[tuple[float, bool]]) -> LeadSkill:
    chance, happened = (np.array(x, dtype=np.float64) for x in zip(*pairs, strict=True))
    return LeadSkill(
        lead=lead,
        count=len(pairs),
        mean_chance=float(chance.mean()),
        observed_share=float(happened.mean()),
        brier=brier(chance, happened),
    )


@dataclass(frozen=True, kw_only=True)
class ModelAgreement:
    """The models, run on weather alone, against samples of grain and checks of the ground.

    Attributes
    ----------
    samples
        Number of samples of ripe grain.
    bias, error
        Mean, and mean absolute value, of sample less model, percentage points of moisture.
    checks
        Number of ground checks at which the model has a tier.
    right, wetter
        Checks that found the tier of the model, and checks that found softer ground.
    """

    samples: int
    bias: float
    error: float
    checks: int
    right: int
    wetter: int


def model_agreement(observed: ObservedSeason) -> ModelAgreement:
    """Compare the models with the samples and ground checks of the season."""
    first, last = observed.all_weather.start, observed.all_weather.times[-1]
    seen = [o for o in observed.observations if first <= o.time <= last]
    season, limits = open_loop(observed.farm, observed.all_weather)
    differences = np.array([b.low for b in grain_intervals(season, seen)])
    right = wetter = checks = 0
    for interval in ground_intervals(season, limits, seen):
        o = interval.observation
        modelled = season.tier[0, o.field, int((o.time - season.start).astype(int))]
        if modelled != Tier.UNKNOWN:
            checks, right = checks + 1, right + int(modelled == o.value)
            wetter += int(o.value < modelled)
    return ModelAgreement(
        samples=len(differences),
        bias=float(differences.mean()) if len(differences) else float("nan"),
        error=float(np.abs(differences).mean()) if len(differences) else float("nan"),
        checks=checks,
        right=right,
        wetter=wetter,
    )
