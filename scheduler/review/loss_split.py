"""Split of the season's loss into its sources, which sum to the loss of the work as done.

The best policy in hindsight splits off the weather, and the plans beyond it the forecasts. A chain
of plays then goes from the plans to the work as done and swaps one thing at a time:

1. order: each crew takes the fields that it cut, in the order in which it began them;
2. start moisture: each field is cut up to the wettest moisture at which it was cut on that day;
3. hours: each crew works from its first to its last hour of the work record of that day;
4. pace: crews cut at the t/h of the work record.

What the last play and the work as done still differ by is not explained. The parts depend on the
order of the chain, because one swap may help or hinder the next. Days after the last day of the
record keep the hours of the roster. Without issued plans the chain starts from the best policy in
hindsight, so that the order holds what the forecasts did not tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto

import numpy as np

from readiness.atmosphere.weather import Array
from scheduler.field_work.policy import Policy
from scheduler.field_work.tables import WorkTables
from scheduler.review.counterfactuals import LossOverDraws, Ways
from scheduler.review.observed_season import ObservedSeason
from scheduler.review.observed_work import Int, ObservedWork, Turn, hour_slots
from scheduler.review.work_record import WorkRecord, hourly_rates


class LossSource(Enum):
    """Sources that a season's loss is split into, in order."""

    SPROUTED_BEFORE = auto()  # sprouting found on the first morning
    WEATHER = auto()  # loss of the best policy in hindsight
    FORECAST = auto()  # loss of the plans beyond that policy
    ORDER = auto()
    START_MOISTURE = auto()
    HOURS = auto()
    PACE = auto()
    NOT_EXPLAINED = auto()


@dataclass(frozen=True, kw_only=True)
class SourceLoss(LossOverDraws):
    """Money lost to one source."""

    source: LossSource


@dataclass(frozen=True, kw_only=True)
class RealWork:
    """The work as done, as the chain swaps it in.

    Attributes
    ----------
    first : (crew, day, job), hour in which the crew first cuts the job on or after a day; -1 where
        it never does.
    begun : (crew, job), hour in which the crew first cuts the job; -1 where it never does.
    wettest : (day, job), wettest moisture at which the job was cut on a day; NaN where nobody
        cut it.
    works : (crew, slot), the crew works, as the record has it.
    pace : (crew, job), rate of the record over that of the machines; 1 where the crew did not cut.
    days : (day,), ordinals of the days of the record.
    """

    first: Int
    begun: Int
    wettest: Array
    works: np.ndarray
    pace: Array
    days: Int


def real_work(
    observed: ObservedSeason, work: ObservedWork, record: WorkRecord, area: Array
) -> RealWork:
    """Order, start moistures, hours and pace of the work record; `area` (job, crew, hour) ha."""
    standing_loss, tables = work.work.standing_loss, work.tables
    slot = hour_slots(observed, standing_loss)
    day = tables.day[slot]
    days = np.unique(day)
    crews, jobs = len(work.work.makeup), len(work.work.jobs)
    first = np.full((crews, len(days), jobs), -1)
    wettest = np.full((len(days), jobs), np.nan)
    for j, k in np.argwhere(area.sum(axis=2) > 0.0):
        cut = np.flatnonzero(area[j, k] > 0.0)
        moisture = standing_loss.moisture[0, work.work.jobs[j].row]
        for d, ordinal in enumerate(days):
            later, today = cut[day[cut] >= ordinal], cut[day[cut] == ordinal]
            if len(later):
                first[k, d, j] = later[0]
            if len(today):
                at = moisture[standing_loss.hour[slot[today]]]
                wettest[d, j] = np.fmax(wettest[d, j], np.fmax.reduce(at))
    return RealWork(
        first=first,
        begun=first[:, 0],
        wettest=wettest,
        works=_worked_slots(tables, record, slot, day),
        pace=_pace(observed, work, record),
        days=days,
    )


def _worked_slots(tables: WorkTables, record: WorkRecord, slot: Int, day: Int) -> np.ndarray:
    """Slots from each crew's first to its last hour of the record on each day, (crew, slot).

    A slot counts if its middle does. Work is placed last hour first, so that a first hour that is
    worked in part is worked at its end, and a last hour at its beginning.
    """
    busy = record.share.sum(axis=0) + record.move
    works = np.where(tables.day > day[-1], tables.works, False)
    per_hour = round(60.0 / tables.slot_min)
    middle = (np.arange(per_hour) + 0.5) / per_hour
    for k, row in enumerate(busy):
        for ordinal in np.unique(day):
            hours = np.flatnonzero((row > 1e-6) & (day == ordinal))
            if not len(hours):
                continue
            begin, end = hours[0] + 1.0 - row[hours[0]], hours[-1] + row[hours[-1]]
            if hours[0] == hours[-1]:
                end = hours[-1] + 1.0
            for hour in range(hours[0], hours[-1] + 1):
                within = (hour + middle >= begin - 1e-6) & (hour + middle <= end + 1e-6)
                for n in np.flatnonzero(within):
                    if slot[hour] + n < works.shape[1]:
                        works[k, slot[hour] + n] = True
    return works


def _pace(observed: ObservedSeason, work: ObservedWork, record: WorkRecord) -> Array:
    """Area of the record over what the machines cut in its hours, (crew, job)."""
    area = record.area.sum(axis=2)
    capacity = (record.share * hourly_rates(observed, work.work)).sum(axis=2)
    known = capacity > 1e-6
    pace = np.where(known, area / np.where(known, capacity, 1.0), 1.0)
    return np.array([pace[job.field] for job in work.work.jobs]).T


def loss_split(
    observed: ObservedSeason,
    work: ObservedWork,
    record: WorkRecord,
    area: Array,
    ways: Ways,
    *,
    done: Array,
    sprouted: float,
) -> tuple[SourceLoss, ...]:
    """The loss of the work as done by source.

    Parameters
    ----------
    area : (job, crew, hour) ha cut.
    done : (draw,) loss of the work as done.
    sprouted : part of it that was there on the first morning, the same in every draw.
    """
    before = np.full(len(done), sprouted)
    steps = [(LossSource.SPROUTED_BEFORE, before), (LossSource.WEATHER, ways.best.loss)]
    if ways.planned is not None:
        steps.append((LossSource.FORECAST, ways.planned.loss))
    real = real_work(observed, work, record, area)
    steps += chain(work, ways.turns, real)
    steps.append((LossSource.NOT_EXPLAINED, done))
    losses = [np.zeros(len(done)), *(loss for _, loss in steps)]
    return tuple(
        SourceLoss(source=source, loss=loss - previous)
        for (source, loss), previous in zip(steps, losses[:-1], strict=True)
    )


def chain(
    work: ObservedWork, turns: Sequence[Turn], real: RealWork
) -> list[tuple[LossSource, Array]]:
    """Loss, (draw,), after each swap; `turns` by day."""
    tables, day = work.tables, work.tables.day
    ordered = [Turn(t.slot, _in_real_order(t.policy, real, int(day[t.slot]))) for t in turns]
    dried = [Turn(t.slot, _at_real_moisture(t.policy, real, int(day[t.slot]))) for t in ordered]
    in_hours = replace(tables, works=real.works)
    at_pace = replace(
        in_hours,
        cut_rate=tables.cut_rate * real.pace[:, None, :],
        haul_rate=tables.haul_rate * real.pace[:, None, :, None],
    )
    return [
        (LossSource.ORDER, work.play(ordered).loss),
        (LossSource.START_MOISTURE, work.play(dried).loss),
        (LossSource.HOURS, work.play(dried, in_hours).loss),
        (LossSource.PACE, work.play(dried, at_pace).loss),
    ]


def _in_real_order(policy: Policy, real: RealWork, day: int) -> Policy:
    """The policy with the fields that each crew cut from a day on, in that order.

    Fields that it cut on earlier days only come last: in this play part of them may stand.
    """
    d = int(np.searchsorted(real.days, day))
    rows = []
    for k, begun in enumerate(real.begun):
        own = np.flatnonzero(begun >= 0).tolist()
        ahead = real.first[k, d] if d < len(real.days) else np.full_like(begun, -1)
        rows.append(tuple(sorted(own, key=lambda j: (ahead[j] < 0, ahead[j], begun[j]))))
    return replace(policy, orders=tuple(rows), move_weight=0.0, moisture_weight=0.0)


def _at_real_moisture(policy: Policy, real: RealWork, day: int) -> Policy:
    """The policy with the wettest moistures at which fields were cut on a day, or next after it.

    After its last day in the record a field keeps the wettest of all its days, or the start
    moisture of the policy where that is wetter.
    """
    d = int(np.searchsorted(real.days, day))
    start = policy.start.copy()
    for j in range(start.shape[1]):
        ahead = real.wettest[d:, j]
        known = ahead[np.isfinite(ahead)]
        if len(known):
            start[:, j] = known[0]
        else:
            start[:, j] = np.fmax(start[:, j], np.fmax.reduce(real.wettest[:, j]))
    return replace(policy, start=start, stop_margin=0.0)
