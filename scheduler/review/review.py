"""The review of a season: hours by cause, losses by part and source, counterfactuals, skill."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import Enum, auto
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.season.codes import Reason
from scheduler.farm.working_time import crew_slots
from scheduler.review.adherence import CrewDay, plan_adherence
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
from scheduler.review.forecast_skill import (
    LeadSkill,
    ModelAgreement,
    forecast_skill,
    model_agreement,
)
from scheduler.review.loss_breakdown import LossPart, loss_parts
from scheduler.review.observed_season import ObservedSeason, read_observed_season
from scheduler.review.stages import ReviewStage
from scheduler.review.work_record import WorkRecord, day_of_hours, hour_states, work_record
from scheduler.season_book.farm_state import FINISHED_FRACTION
from scheduler.solver.stages import Progress, ignore_progress
from scheduler.solver.tables import Plan
from scheduler.windows.daily_hours import WORTHWHILE_H

#: Ripe hours of a day beyond which it may count as lost: more than half of it.
LEAST_RIPE_H = 12


class LossSource(Enum):
    """Sources that a season's loss is split into, in order."""

    SPROUTED_BEFORE = auto()  # sprouting found on the first morning
    WEATHER = auto()  # loss of the best fixed order
    FORECAST = auto()  # loss of the plans beyond the best fixed order
    CHOICE = auto()  # loss of the work as done beyond the plans


@dataclass(frozen=True, kw_only=True)
class SourceLoss:
    """Money lost to one source: mean, 10th and 90th percentile over draws."""

    source: LossSource
    mean: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class LostDay:
    """A day on which nobody cut, and the cause that took most of the working combine-hours."""

    day: date
    cause: Cause
    hours: float  # combine-hours that the cause took


@dataclass(frozen=True, kw_only=True)
class Review:
    """Account of one season: hours by cause, losses by part and source, skill and adherence.

    Attributes
    ----------
    observed
        The observed season.
    work
        Area and time that each crew spent in each field.
    crews
        Ids of the crews.
    combines
        (crew,) number of combines.
    days
        Midnights that begin the days, farm time.
    field_hours
        (cause, field, crew, day) hours; they sum to 24 over causes.
    crew_hours
        (cause, crew, day) hours; they sum to 24 over causes.
    duty_hours
        (cause, crew, day) hours of `crew_hours` within the crew's working week.
    lost
        bool (field, day): a ripe field had less than `WORTHWHILE_H` workable hours.
    area_days
        (field, cause) ha-days that ripe grain stood, by cause of delay.
    loss
        (draw, field) money lost by the work as done.
    parts
        (field, part) money lost by `LossPart`, mean over draws.
    counterfactuals
        Losses of the ways to cut the season.
    best_fixed_order
        The best fixed order found in the observed weather, with its lower bound.
    skill
        Skill of the issued chances by lead.
    agreement
        The models against samples and ground checks.
    adherence
        Each crew's days against that morning's orders.
    """

    observed: ObservedSeason
    work: WorkRecord
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
    def combine_hours(self) -> Array:
        """Combine-hours of the working week by cause, (cause,)."""
        return np.asarray(self.duty_hours.sum(axis=2) @ self.combines)

    @property
    def bound(self) -> float | None:
        """Lower bound on the loss of any fixed order of whole jobs, money; None if not proven."""
        return None if self.best_fixed_order.bound is None else self.best_fixed_order.bound / 100.0

    def counterfactual(self, name: str) -> Counterfactual | None:
        """The counterfactual of a name, None if the review has none of that name."""
        return next((c for c in self.counterfactuals if c.name == name), None)

    @property
    def lost_days(self) -> tuple[LostDay, ...]:
        """Days on which nobody cut although some field was uncut."""
        hours = np.einsum("ckd,k->cd", self.duty_hours, self.combines)
        out = []
        for d, midnight in enumerate(self.days):
            if hours[Cause.CUT, d] > 0 or hours[list(DELAY_CAUSES), d].sum() <= 0:
                continue
            most = max(DELAY_CAUSES, key=lambda c: float(hours[c, d]))
            out.append(LostDay(day=midnight.date(), cause=most, hours=float(hours[most, d])))
        return tuple(out)

    @property
    def split(self) -> tuple[SourceLoss, ...]:
        """The loss by source; the means sum to the mean loss."""
        sprouted = float(self.parts[:, LossPart.SPROUTED_BEFORE].sum())
        out = [
            SourceLoss(
                source=LossSource.SPROUTED_BEFORE, mean=sprouted, low=sprouted, high=sprouted
            )
        ]
        before = np.full(self.loss.shape[0], sprouted)
        for source, name in (
            (LossSource.WEATHER, BEST_FIXED_ORDER),
            (LossSource.FORECAST, AS_PLANNED),
            (LossSource.CHOICE, AS_DONE),
        ):
            if (step := self.counterfactual(name)) is not None:
                gain = step.loss - before
                low, high = (float(q) for q in np.quantile(gain, (0.1, 0.9)))
                out.append(SourceLoss(source=source, mean=float(gain.mean()), low=low, high=high))
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
    """Review the season of a farm folder, from its book and its weather records.

    Parameters
    ----------
    folder
        The farm folder.
    book
        A season book elsewhere, such as a backup; by default the folder's own.
    until
        Aware time; only entries up to it count. By default all count.
    seed
        Seed of the draws and the search; the same folder and seed give the same review.
    progress
        Called with each stage and the share of the work done.

    Raises
    ------
    FarmError, BookError, WeatherError
        If an input is wrong, nothing was cut, or the records end before the season does.
    """
    observed = read_observed_season(folder, book=book, until=until, seed=seed)
    progress(ReviewStage.TABLES, 0.25)
    compiled = compile_observed(observed, seed=seed)
    work = work_record(observed, compiled)
    states = hour_states(observed, compiled, work)
    day, days = day_of_hours(observed)
    crews = tuple(g.crew for g in compiled.makeup)
    field_shares, crew_shares = field_account(states), crew_account(states)
    progress(ReviewStage.BEST_ORDER, 0.4)
    ways, best_fixed_order = counterfactuals(observed, compiled, work, seed=seed)
    progress(ReviewStage.COMPARISON, 0.8)
    loss = done_loss(observed, compiled, work)
    crew_hours = by_day(crew_shares, day)
    return Review(
        observed=observed,
        work=work,
        crews=crews,
        days=days,
        combines=np.array([len(g.combines) for g in compiled.makeup]),
        field_hours=by_day(field_shares, day),
        crew_hours=crew_hours,
        duty_hours=by_day(crew_shares * _duty(observed, crews)[None], day),
        lost=_lost(states, day),
        area_days=_area_days(observed, work, field_shares),
        loss=loss,
        parts=loss_parts(observed, compiled, work, loss.mean(axis=0)),
        counterfactuals=tuple(ways),
        best_fixed_order=best_fixed_order,
        skill=forecast_skill(observed),
        agreement=model_agreement(observed),
        adherence=plan_adherence(observed, work, crew_hours, days, crews),
    )


def _duty(observed: ObservedSeason, crews: tuple[str, ...]) -> Array:
    """1 in hours of each crew's working week, absences included, else 0; (crew, hour)."""
    times = observed.weather.times[: observed.hours]
    by_id = {c.id: replace(c, absent=(), away=()) for c in observed.farm.crews}
    return np.array(
        [crew_slots(by_id[c], times, observed.farm.tz) for c in crews], dtype=np.float64
    )


def _lost(states: HourStates, day: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Days with less than `WORTHWHILE_H` workable hours in a ripe, uncut field, (field, day)."""
    worked = (states.off < 1.0).any(axis=0)
    ripe = (states.closed != Cause.GREEN) & ~states.done
    workable = (states.closed == Cause.SPARE) & worked
    hours, ripe_hours = by_day(workable & ~states.done, day), by_day(ripe, day)
    return (hours < WORTHWHILE_H) & (ripe_hours > LEAST_RIPE_H)


def _area_days(observed: ObservedSeason, work: WorkRecord, shares: Array) -> Array:
    """Hectare-days that ripe grain stood, (field, cause), averaged over crews.

    `shares` (cause, field, crew, hour) of each hour.
    """
    whole = np.array([f.area_ha * (1.0 - f.cut_fraction) for f in observed.farm.fields])
    left = whole[:, None] - np.cumsum(work.area.sum(axis=1), axis=1)
    left = np.where(left > (1.0 - FINISHED_FRACTION) * whole[:, None], left, 0.0)
    first = int((observed.weather.start - observed.season.start).astype(int))
    fields = len(whole)
    green = observed.season.reason[0, :fields, first : first + observed.hours] == Reason.GREEN
    standing = np.where(green, 0.0, left) / 24.0
    return np.asarray(np.einsum("cfkh,fh->fc", shares, standing) / shares.shape[2])
