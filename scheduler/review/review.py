"""The review of a season: where the hours went, what they cost, and what would have helped."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.season.codes import Reason
from scheduler.farm.working_time import crew_slots
from scheduler.review.counterfactuals import (
    AS_DONE,
    AS_PLANNED,
    BEST_FIXED_ORDER,
    Counterfactual,
    compile_observed,
    counterfactuals,
    done_loss,
)
from scheduler.review.delay_accounting import (
    DELAY_CAUSES,
    Cause,
    HourStates,
    by_day,
    crew_account,
    field_account,
)
from scheduler.review.forecast_and_adherence import (
    CrewDay,
    LeadSkill,
    ModelAgreement,
    forecast_skill,
    model_agreement,
    plan_adherence,
)
from scheduler.review.loss_breakdown import PARTS, loss_parts
from scheduler.review.observed_season import ObservedSeason, read_observed_season
from scheduler.review.stages import ReviewStage
from scheduler.review.work_record import WorkRecord, day_of_hours, hour_states, work_record
from scheduler.solver.stages import Progress, ignore_progress
from scheduler.solver.tables import Plan
from scheduler.windows.daily_hours import WORTHWHILE_H

#: What a loss is due to, in the order in which it is told.
BEFORE, DODGE, FORECAST, CHOICE = (
    "sprouting there on the first morning",
    "weather that no order could dodge",
    "forecasts that could not be known",
    "choices, and pace against the plans",
)


@dataclass(frozen=True, kw_only=True)
class LostDay:
    """A day on which nothing was cut, and the cause that took most working machine-hours."""

    day: date
    cause: Cause
    hours: float  # machine-hours it took


@dataclass(frozen=True, kw_only=True)
class Review:
    """A season looked back on.

    Attributes
    ----------
    crews : ids. combines : (crew,) how many each has. days : midnights, farm time.
    field_hours : (cause, field, crew, day) hours, each hour of the season once.
    crew_hours : (cause, crew, day) hours of each crew, each hour once.
    duty_hours : (cause, crew, day) the same within the crew's working week.
    lost : (field, day) bool, the field stood ripe and had less than `WORTHWHILE_H` workable hours.
    area_days : (field, cause) ha-days that ripe grain stood, by what held it.
    loss : (draw, field) money lost as it was done. parts : (field, part), see `loss_parts`.
    mirrors : ways to cut the season; `hindsight` is the plan with the bound.
    """

    observed: ObservedSeason
    cut: WorkRecord
    crews: tuple[str, ...]
    combines: NDArray[np.int64]
    days: tuple[datetime, ...]
    field_hours: Array
    crew_hours: Array
    duty_hours: Array
    lost: NDArray[np.bool_]
    area_days: Array
    loss: Array
    parts: Array
    counterfactuals: tuple[Counterfactual, ...]
    best_fixed_order: Plan
    skill: tuple[LeadSkill, ...]
    agreement: ModelAgreement
    adherence: tuple[CrewDay, ...]

    @property
    def machine_hours(self) -> Array:
        """Combine-hours of the working week by cause, (cause,)."""
        return np.asarray(self.duty_hours.sum(axis=2) @ self.combines)

    @property
    def bound(self) -> float | None:
        """Money that no order of one fixed make-up could have saved, at least."""
        return None if self.best_fixed_order.bound is None else self.best_fixed_order.bound / 100.0

    def counterfactual(self, name: str) -> Counterfactual | None:
        """A mirror by name."""
        return next((m for m in self.counterfactuals if m.name == name), None)

    @property
    def lost_days(self) -> tuple[LostDay, ...]:
        """Days on which nobody cut, while something stood."""
        hours = np.einsum("ckd,k->cd", self.duty_hours, self.combines)
        out = []
        for d, midnight in enumerate(self.days):
            if hours[Cause.CUT, d] > 0 or hours[list(DELAY_CAUSES), d].sum() <= 0:
                continue
            most = max(DELAY_CAUSES, key=lambda c: float(hours[c, d]))
            out.append(LostDay(day=midnight.date(), cause=most, hours=float(hours[most, d])))
        return tuple(out)

    @property
    def split(self) -> tuple[tuple[str, float, float, float], ...]:
        """What the loss is due to: name, money, and 10th and 90th percentile; sums to the loss."""
        there = float(self.parts[:, PARTS.index("sprouted before")].sum())
        out = [(BEFORE, there, there, there)]
        steps = [self.counterfactual(n) for n in (BEST_FIXED_ORDER, AS_PLANNED, AS_DONE)]
        names, before = (DODGE, FORECAST, CHOICE), np.full(self.loss.shape[0], there)
        for name, step in zip(names, steps, strict=True):
            if step is not None:
                gain = step.loss - before
                low, high = np.quantile(gain, (0.1, 0.9))
                out.append((name, float(gain.mean()), float(low), float(high)))
                before = step.loss
        return tuple(out)


def review_season(
    folder: Path,
    *,
    book: Path | None = None,
    until: datetime | None = None,
    seed: int = 0,
    progress: Progress = ignore_progress,
) -> Review:
    """Look back on the season of a farm folder, from its book and its weather records.

    Parameters
    ----------
    book : a season book elsewhere, as a backup; the folder's own by default.
    until : aware time; only what was written of the time before counts. All by default.
    seed : of the draws and the search; the same folder and seed give the same review.

    Raises
    ------
    FarmError, BookError, WeatherError
        Where an input is wrong, nothing was cut, or the records do not reach so far.
    """
    observed = read_observed_season(folder, book=book, until=until, seed=seed)
    progress(ReviewStage.TABLES, 0.25)
    compiled = compile_observed(observed, seed=seed)
    cut = work_record(observed, compiled)
    hours = hour_states(observed, compiled, cut)
    day, days = day_of_hours(observed)
    crews = tuple(g.crew for g in compiled.makeup)
    mine, alone = field_account(hours), crew_account(hours)
    progress(ReviewStage.HINDSIGHT, 0.4)
    found, best_fixed_order = counterfactuals(observed, compiled, cut, seed=seed)
    progress(ReviewStage.COMPARISON, 0.8)
    loss = done_loss(observed, compiled, cut)
    crew_hours = by_day(alone, day)
    return Review(
        observed=observed,
        cut=cut,
        crews=crews,
        days=days,
        combines=np.array([len(g.combines) for g in compiled.makeup]),
        field_hours=by_day(mine, day),
        crew_hours=crew_hours,
        duty_hours=by_day(alone * _duty(observed, crews)[None], day),
        lost=_lost(observed, hours, day),
        area_days=_area_days(observed, cut, mine),
        loss=loss,
        parts=loss_parts(observed, compiled, cut, loss.mean(axis=0)),
        counterfactuals=tuple(found),
        best_fixed_order=best_fixed_order,
        skill=forecast_skill(observed),
        agreement=model_agreement(observed),
        adherence=plan_adherence(observed, cut, crew_hours, days, list(crews)),
    )


def _duty(observed: ObservedSeason, crews: tuple[str, ...]) -> Array:
    """1 in hours of each crew's working week, whether it was there or not, (crew, hour)."""
    times = observed.weather.times[: observed.hours]
    by_id = {c.id: replace(c, absent=()) for c in observed.farm.crews}
    return np.array(
        [crew_slots(by_id[c], times, observed.farm.tz) for c in crews], dtype=np.float64
    )


def _lost(observed: ObservedSeason, hours: HourStates, day: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Days (field, day) with less than `WORTHWHILE_H` workable hours for a ripe, uncut field."""
    worked = (hours.off < 1.0).any(axis=0)
    ripe = (hours.closed != Cause.GREEN) & ~hours.done
    workable = (hours.closed == Cause.SPARE) & worked
    return (by_day(workable & ~hours.done, day) < WORTHWHILE_H) & (by_day(ripe, day) > 12)


def _area_days(observed: ObservedSeason, cut: WorkRecord, mine: Array) -> Array:
    """Hectare-days that ripe grain stood, (field, cause); a field's crews count alike."""
    whole = np.array([f.area_ha * (1.0 - f.cut_fraction) for f in observed.farm.fields])
    left = whole[:, None] - np.cumsum(cut.area.sum(axis=1), axis=1)
    left = np.where(left > 0.005 * whole[:, None], left, 0.0)
    first = int((observed.weather.start - observed.season.start).astype(int))
    n = len(whole)
    green = observed.season.reason[0, :n, first : first + observed.hours] == Reason.GREEN
    standing = np.where(green, 0.0, left) / 24.0
    return np.asarray(np.einsum("cfkh,fh->fc", mine, standing) / mine.shape[2])
