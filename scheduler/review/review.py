"""The review of a season: hours by cause, losses by part and source, counterfactuals, skill."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.season.codes import Reason
from scheduler.costs.loss_parts import LossPart
from scheduler.farm.working_time import crew_slots
from scheduler.review.adherence import CrewDay, plan_adherence
from scheduler.review.counterfactuals import AS_DONE, Counterfactual, ways_to_cut
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
from scheduler.review.loss_breakdown import loss_parts
from scheduler.review.loss_split import SourceLoss, loss_split
from scheduler.review.observed_season import ObservedSeason, read_observed_season
from scheduler.review.observed_work import ObservedWork, observed_work, recorded_cuts
from scheduler.review.work_record import (
    WorkRecord,
    area_by_job,
    day_of_hours,
    hour_states,
    work_record,
)
from scheduler.season_book.farm_state import FINISHED_FRACTION
from scheduler.solver.floor import floor
from scheduler.solver.stages import Progress, Stage, ignore_progress
from scheduler.windows.day_figures import WORTHWHILE_H

#: Ripe hours of a day beyond which it may count as lost: more than half of it.
LEAST_RIPE_H = 12


class ReviewStage(Stage):
    """What the review does, in order."""

    TABLES = "tables"
    WAYS = "ways"
    FLOOR = "floor"
    COMPARISON = "comparison"


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
    floor
        Mean loss below which nobody could have cut the same grain, by the models.
    split
        The loss by source; the losses of the sources sum to the loss of the work as done.
    standing
        (field,) ha that still stand at the end of the review; no part of any loss.
    leave_cost
        (field,) money that would be lost on them if they were left.
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
    floor: float
    split: tuple[SourceLoss, ...]
    standing: Array
    leave_cost: Array
    skill: tuple[LeadSkill, ...]
    agreement: ModelAgreement
    adherence: tuple[CrewDay, ...]

    @property
    def combine_hours(self) -> Array:
        """Combine-hours of the working week by cause, (cause,)."""
        return np.asarray(self.duty_hours.sum(axis=2) @ self.combines)

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
    whole = observed_work(observed, seed=seed)
    work = work_record(observed, whole.work)
    states = hour_states(observed, whole.work, work)
    day, days = day_of_hours(observed)
    crews = tuple(g.crew for g in whole.work.makeup)
    field_shares, crew_shares = field_account(states), crew_account(states)
    crew_hours = by_day(crew_shares, day)

    # every way cuts what was cut; what still stands is left out
    area = area_by_job(whole.work, work)
    cut_area = area.sum(axis=(1, 2))
    cut, area = whole.of_areas(cut_area), area[cut_area > 0.0]
    progress(ReviewStage.WAYS, 0.4)
    ways = ways_to_cut(observed, cut, seed=seed)
    cuts = recorded_cuts(observed, cut, area)
    loss = _by_field(cut, cut.loss_of(cuts))
    done = loss.sum(axis=1)
    parts = loss_parts(observed, cut, cuts, loss.mean(axis=0))
    sprouted = float(parts[:, LossPart.SPROUTED_BEFORE].sum())
    split = loss_split(observed, cut, work, area, ways, done=done, sprouted=sprouted)
    progress(ReviewStage.FLOOR, 0.7)
    least = float(floor(cut.tables).bound[0])
    progress(ReviewStage.COMPARISON, 0.8)
    standing, leave_cost = _standing(whole, cut_area)
    return Review(
        observed=observed,
        work=work,
        crews=crews,
        days=days,
        combines=np.array([len(g.combines) for g in whole.work.makeup]),
        field_hours=by_day(field_shares, day),
        crew_hours=crew_hours,
        duty_hours=by_day(crew_shares * _duty(observed, crews)[None], day),
        lost=_lost(states, day),
        area_days=_area_days(observed, work, field_shares),
        loss=loss,
        parts=parts,
        counterfactuals=(Counterfactual(name=AS_DONE, loss=done), *ways.all),
        floor=least,
        split=split,
        standing=standing,
        leave_cost=leave_cost,
        skill=forecast_skill(observed),
        agreement=model_agreement(observed),
        adherence=plan_adherence(observed, work, crew_hours, days, crews),
    )


def _by_field(work: ObservedWork, loss: Array) -> Array:
    """Loss by field, (draw, field), of the loss by job, (draw, job)."""
    out = np.zeros((len(loss), len(work.work.farm.fields)))
    np.add.at(out.T, [job.field for job in work.work.jobs], loss.T)
    return out


def _standing(whole: ObservedWork, cut: Array) -> tuple[Array, Array]:
    """Ha of each field that still stand, and what leaving them costs; `cut` (job,) ha.

    Turning strips of a finished field are not counted.
    """
    fields = len(whole.work.farm.fields)
    area, left, cost = np.zeros(fields), np.zeros(fields), np.zeros(fields)
    for j, job in enumerate(whole.work.jobs):
        stands = max(0.0, job.area_ha - float(cut[j]))
        area[job.field] += job.area_ha
        left[job.field] += stands
        cost[job.field] += whole.tables.leave_cost[j] * stands / job.area_ha
    stands_still = left > (1.0 - FINISHED_FRACTION) * area
    return np.where(stands_still, left, 0.0), np.where(stands_still, cost, 0.0)


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
    standing = np.where(observed.reasons == Reason.GREEN, 0.0, left) / 24.0
    return np.asarray(np.einsum("cfkh,fh->fc", shares, standing) / shares.shape[2])
