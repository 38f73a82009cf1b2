"""The observed season as work tables, and the money that a way of cutting it loses.

Crews decide at the central moisture of the grain model. The model's error is a lasting offset of
moisture in each field; draws of it value the same cuts again, so that every loss has a spread and
the difference of two losses has its own. The tables hold the mean loss over the draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import HOUR, Array
from readiness.season.random_streams import Draws, keyed_normal
from readiness.season.simulate import Season
from readiness.season.uncertainty import GRAIN_SD
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.standing_loss import StandingLoss, standing_loss_of
from scheduler.errors import BookError
from scheduler.farm.model import Farm
from scheduler.farm.slots import SLOT_MIN, farm_time, slot_times, utc_hour
from scheduler.field_work.kernel import run_slots
from scheduler.field_work.play import WorkLog, empty_log
from scheduler.field_work.policy import Policy
from scheduler.field_work.state import first_state
from scheduler.field_work.tables import WorkTables
from scheduler.review.observed_season import ObservedSeason
from scheduler.season_book.farm_state import SAMPLE_SD
from scheduler.windows.model_inputs import season_rows, stream_of
from scheduler.work_tables.compile import FarmWork, compile_work
from scheduler.work_tables.crew_makeup import MakeUp, own_makeup

Int = NDArray[np.int64]
#: Draws of the grain model's error; assumed: enough for a spread, and few enough to read.
DRAWS = 7


class Turn(NamedTuple):
    """A policy and the first slot in which it holds."""

    slot: int
    policy: Policy


class Cuts(NamedTuple):
    """Areas cut, one entry each: job, slot, delivery point and ha."""

    job: Int
    slot: Int
    point: Int
    area: Array


class Played(NamedTuple):
    """A season played: money lost, (draw,), and what was cut when, of one member."""

    loss: Array
    log: WorkLog


@dataclass(frozen=True, kw_only=True)
class ObservedWork:
    """Work tables of the observed season, one member, and its money in every draw.

    Attributes
    ----------
    work : tables at the central moisture; losses are means over the draws.
    drawn : standing loss with a draw of the moisture error in place of each member; a load that a
        draw has as too wet is taken at the price of its moisture, because the crew measured less.
    """

    work: FarmWork
    drawn: StandingLoss

    @property
    def tables(self) -> WorkTables:
        """The work tables."""
        return self.work.tables

    @cached_property
    def loss_ha(self) -> Array:
        """Money lost per ha cut, ruts included, (draw, slot, job, point).

        Where the moisture of an hour is unknown, the dearest hour of the season stands in.
        """
        loss = self.drawn.loss.transpose(0, 3, 1, 2)
        fields = (self.work.field(j) for j in range(len(self.work.jobs)))
        rut = np.array([loss_terms(self.work.farm, f)["rut_ha"] for f in fields])
        known = np.where(np.isnan(loss), -np.inf, loss)
        loss = np.where(np.isnan(loss), known.max(axis=1, keepdims=True), loss)
        return np.asarray(loss + (self.tables.edge * rut)[..., None])

    def loss_of(self, cuts: Cuts) -> Array:
        """Money lost on each job by what is cut of it, (draw, job)."""
        money = self.loss_ha[:, cuts.slot, cuts.job, cuts.point] * cuts.area
        out = np.zeros((len(self.loss_ha), len(self.work.jobs)))
        np.add.at(out.T, cuts.job, money.T)
        return out

    def play(self, turns: Sequence[Turn], tables: WorkTables | None = None) -> Played:
        """Play policies one after the other, the first from the first slot.

        `tables` hold other hours or rates for the same jobs and slots.
        """
        tables = self.tables if tables is None else tables
        state, log, slots = first_state(tables), empty_log(tables), tables.shape[4]
        ends = [*(turn.slot for turn in turns[1:]), slots]
        begin = 0
        for turn, end in zip(turns, ends, strict=True):
            run_slots(tables.arrays, state, turn.policy.arrays, log, (begin, end), (0, 1))
            begin = end
        left = float(state.left[0] @ (tables.leave_cost / tables.area))
        cut = self.loss_of(logged_cuts(log)).sum(axis=1)
        return Played(loss=cut + left, log=log)

    def of_areas(self, area: Array) -> ObservedWork:
        """The same season with so many ha of each job to cut, (job,); jobs of 0 ha are left out."""
        standing_loss = _of_areas(self.work.standing_loss, area)
        places = ["base"] * len(self.work.makeup)
        return ObservedWork(
            work=compile_work(standing_loss, self.work.makeup, places=places),
            drawn=_of_areas(self.drawn, area),
        )


def observed_work(observed: ObservedSeason, *, seed: int = 0) -> ObservedWork:
    """Work tables of the observed weather for the crews with their own machines.

    Raises
    ------
    BookError
        If no crew has a combine.
    """
    farm = observed.farm
    hours_before = int((utc_hour(observed.start) - observed.weather.start).astype(int))
    days = (observed.weather.shape[2] - hours_before) // 24
    slots = slot_times(observed.start, days, SLOT_MIN)
    central = standing_loss_of(farm, observed.season, slots)
    drawn = standing_loss_of(_taking_all(farm), _with_moisture_draws(observed, seed), slots)
    mean = np.where(np.isnan(central.loss), np.nan, drawn.loss.mean(axis=0, keepdims=True))
    standing_loss = replace(
        central, loss=mean, leave_cost=drawn.leave_cost, already_lost=drawn.already_lost
    )
    makeup = _makeup(farm, observed.start, farm_time(slots[-1], farm.tz))
    places = ["base"] * len(makeup)
    return ObservedWork(work=compile_work(standing_loss, makeup, places=places), drawn=drawn)


def _makeup(farm: Farm, start: datetime, until: datetime) -> MakeUp:
    """Every crew with its own machines."""
    makeup = own_makeup(farm, start, until)
    if not makeup:
        raise BookError("no crew of the farm file has a combine: nothing can be reviewed")
    return makeup


def _taking_all(farm: Farm) -> Farm:
    """The farm with delivery points that take grain of every moisture."""
    points = tuple(
        replace(
            p,
            markets={c: replace(m, moisture_limit_pct=100.0) for c, m in p.markets.items()},
        )
        for p in farm.points
    )
    return replace(farm, points=points, rules=replace(farm.rules, tough_allowed=True))


def _with_moisture_draws(observed: ObservedSeason, seed: int) -> Season:
    """The season with one grain moisture per draw; all other states are the same in all draws."""
    season, rows = observed.season, season_rows(observed.farm)
    sampled = {
        observed.farm.fields[o.field].id for o in observed.observations if o.kind == "moisture"
    }
    sd = np.array([SAMPLE_SD if f.id in sampled else GRAIN_SD for f, _ in rows])
    streams = [(stream_of(f, hollow),) for f, hollow in rows]
    error = keyed_normal(Draws.GRAIN_OFFSET, streams, DRAWS, seed=seed).T * sd
    repeated = {
        name: np.broadcast_to(getattr(season, name), (DRAWS, *season.moisture.shape[1:]))
        for name in ("wettings", "sprout", "reason", "tier")
    }
    moisture = np.maximum(season.moisture + (error - error.mean(axis=0))[:, :, None], 5.0)
    return replace(season, moisture=moisture, **repeated)  # type: ignore[arg-type]


def _of_areas(standing_loss: StandingLoss, area: Array) -> StandingLoss:
    """The standing loss with so many ha of each job, (job,)."""
    kept = np.flatnonzero(area > 0.0)
    jobs = [standing_loss.jobs[j] for j in kept]
    share = area[kept] / np.array([job.area_ha for job in jobs])
    return replace(
        standing_loss,
        jobs=tuple(replace(job, area_ha=float(area[j])) for job, j in zip(jobs, kept, strict=True)),
        loss=standing_loss.loss[:, kept],
        leave_cost=standing_loss.leave_cost[kept] * share,
        already_lost=standing_loss.already_lost[kept] * share,
    )


def logged_cuts(log: WorkLog) -> Cuts:
    """Cuts of the first member of a log."""
    _, slot, _ = found = np.nonzero(log.area[0] > 0.0)
    job, point, area = (x[0][found] for x in (log.job, log.point, log.area))
    return Cuts(
        job=job.astype(np.int64),
        slot=slot,
        point=point.astype(np.int64),
        area=area.astype(np.float64),
    )


def recorded_cuts(observed: ObservedSeason, work: ObservedWork, area: Array) -> Cuts:
    """Cuts of the work record, each in the first slot of its hour; `area` (job, crew, hour) ha.

    Grain goes to the delivery point that the tables name, else to the one that loses least.
    """
    job, crew, hour = np.nonzero(area > 0.0)
    slot = hour_slots(observed, work.work.standing_loss)[hour]
    point = work.tables.point[crew, 0, slot, job].astype(np.int64)
    cheapest = work.loss_ha.mean(axis=0)[slot, job]
    cheapest = np.where(np.isfinite(cheapest), cheapest, np.inf).argmin(axis=1)
    point = np.where(point < 0, cheapest, point)
    return Cuts(job=job, slot=slot, point=point, area=area[job, crew, hour])


def hour_slots(observed: ObservedSeason, standing_loss: StandingLoss) -> Int:
    """Slot of each hour of the season, (hour,); hours before the first slot map to it."""
    start = standing_loss.slots[0]
    hours = observed.weather.start.astype("datetime64[m]") + np.arange(observed.hours) * HOUR
    at = ((hours - start) / np.timedelta64(SLOT_MIN, "m")).astype(int)
    return np.asarray(np.clip(at, 0, len(standing_loss.slots) - 1))


def by_day(turns: Sequence[Turn], day: Int) -> list[Turn]:
    """Turns split at midnight, each with the start moistures of its day in both rows.

    `day` (slot,) is the ordinal of each slot's day. The first turn begins with the first slot.
    """
    first = [0, *(np.flatnonzero(np.diff(day)) + 1).tolist()]
    out = []
    for n, turn in enumerate(turns):
        begin = turn.slot if n else 0
        end = turns[n + 1].slot if n + 1 < len(turns) else len(day)
        for slot in sorted({begin, *(s for s in first if begin < s < end)}):
            if slot < end:
                row = turn.policy.start[0 if day[slot] == day[begin] else 1]
                policy = replace(turn.policy, start=np.array([row, row]))
                out.append(Turn(slot, policy))
    return out
