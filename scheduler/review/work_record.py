"""What was cut when: the book's entries as shares of hours, and the state of every hour."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.standing_loss import wet_yield
from scheduler.cut_tables.compiled import Compiled
from scheduler.farm.distances import between_km
from scheduler.farm.working_time import crew_slots, down_slots, farm_time, open_slots, utc_hour
from scheduler.review.delay_accounting import HourStates, cause_codes
from scheduler.review.observed_season import HOUR, ObservedSeason
from scheduler.season_book.farm_state import FINISHED_FRACTION
from scheduler.season_book.kinds import Entry

#: Hours that an entry of cutting may reach back; assumed: people write at the end of the day.
BACK_H = 24


@dataclass(frozen=True, kw_only=True)
class WorkRecord:
    """Who cut what when.

    `share` (field, crew, hour) of the hour spent cutting, `area` (field, crew, hour) ha, `move`
    (crew, hour) share spent on the road, `done` (field,) hour from which nothing is left, or the
    number of hours.
    """

    share: Array
    area: Array
    move: Array
    done: NDArray[np.int64]


def work_record(observed: ObservedSeason, compiled: Compiled) -> WorkRecord:
    """Spread what was cut over the hours before each entry, at the rate of the crew's machines.

    An entry tells an area and when it was cut by; the crew is taken to have worked on it in its
    last free working hours before. An entry without a crew is given to the crew whose machines
    need least time.
    """
    farm, hours = observed.farm, observed.hours
    shape = (len(farm.fields), len(compiled.makeup), hours)
    share, area = np.zeros(shape), np.zeros(shape)
    ids = [f.id for f in farm.fields]
    crews = [g.crew for g in compiled.makeup]
    rate = rates_ha_h(compiled)
    works = np.array([_works(observed, compiled, k) for k in range(len(crews))])
    for e in observed.entries_of("cut"):
        f = ids.index(e.subject)
        k = crews.index(e.text("crew")) if e.text("crew") in crews else int(rate[f].argmax())
        free = np.maximum(works[k] - share[:, k].sum(axis=0), 0.0)
        _spread(share[f, k], area[f, k], free, e, observed, rate[f, k])
    done = _done(observed, area.sum(axis=1))
    return WorkRecord(share=share, area=area, move=_moves(observed, compiled, share), done=done)


def rates_ha_h(compiled: Compiled) -> Array:
    """Cutting rate with carts and trucks, ha/h, (field, crew); 0 where none can be told."""
    out = np.zeros((len(compiled.farm.fields), len(compiled.makeup)))
    for k, j in np.ndindex(len(compiled.makeup), len(compiled.jobs)):
        if (usual := compiled.main_rates(k, j)) is not None:
            out[compiled.jobs[j].field, k] = usual.t_h / wet_yield(compiled.field(j))
    return out


def waits(compiled: Compiled) -> Array:
    """Share of cutting time that combines wait for carts and trucks, (field, crew)."""
    out = np.zeros((len(compiled.farm.fields), len(compiled.makeup)))
    for k, j in np.ndindex(len(compiled.makeup), len(compiled.jobs)):
        if (usual := compiled.main_rates(k, j)) is not None:
            out[compiled.jobs[j].field, k] = 1.0 - usual.t_h / sum(usual.combine)
    return out


def _works(observed: ObservedSeason, compiled: Compiled, k: int) -> Array:
    """1 in hours in which a crew works."""
    crew = next(c for c in observed.farm.crews if c.id == compiled.makeup[k].crew)
    return crew_slots(crew, observed.weather.times[: observed.hours], observed.farm.tz).astype(
        np.float64
    )


def _spread(
    share: Array, area: Array, free: Array, e: Entry, observed: ObservedSeason, rate: float
) -> None:
    """Fill the hours before an entry, last first; what does not fit goes faster."""
    last = min(observed.index(e.at - timedelta(seconds=1)), observed.hours - 1)
    minute = (e.at - timedelta(seconds=1)).minute + 1
    room = free.copy()
    room[last] = min(room[last], minute / 60.0)
    room[: max(0, last - BACK_H + 1)] = 0.0
    room[last + 1 :] = 0.0
    ha = e.number("area") or 0.0
    need = ha / rate if rate > 0 else room.sum()
    before = np.concatenate([np.cumsum(room[::-1])[::-1][1:], [0.0]])
    took = np.clip(need - before, 0.0, room)
    if took.sum() <= 0.0:
        took[last] = 1e-9
    share += took
    area += ha * took / took.sum()


def _done(observed: ObservedSeason, area: Array) -> NDArray[np.int64]:
    """First hour of each field in which nothing is left to cut."""
    whole = np.array([f.area_ha for f in observed.farm.fields])
    before = np.array([f.area_ha * f.cut_fraction for f in observed.farm.fields])
    cut = (before[:, None] + np.cumsum(area, axis=1)) / whole[:, None]
    full = cut >= FINISHED_FRACTION
    return np.asarray(np.where(full.any(axis=1), full.argmax(axis=1) + 1, area.shape[1]))


def area_by_job(compiled: Compiled, cut: WorkRecord) -> Array:
    """What was cut of each job, ha, (job, crew, hour): a field's jobs are taken in their order."""
    out = np.zeros((len(compiled.jobs), *cut.area.shape[1:]))
    begun = np.zeros(len(cut.area))
    for j, job in enumerate(compiled.jobs):
        area = cut.area[job.field]
        whole = area.sum(axis=0)
        after = np.cumsum(whole)
        low, high = begun[job.field], begun[job.field] + job.area_ha
        if all(other.field != job.field for other in compiled.jobs[j + 1 :]):
            high = np.inf  # more than the field's area was told
        mine = np.clip(np.minimum(after, high) - np.maximum(after - whole, low), 0.0, None)
        out[j] = area * (mine / np.where(whole > 0, whole, 1.0))
        begun[job.field] += job.area_ha
    return out


def _moves(observed: ObservedSeason, compiled: Compiled, share: Array) -> Array:
    """Share of each hour on the road: the hours free of cutting before a crew's next field."""
    crews, hours = share[0].shape
    out = np.zeros((crews, hours))
    ids = [f.id for f in observed.farm.fields]
    for k in range(crews):
        at, free = "base", np.maximum(1.0 - share[:, k].sum(axis=0), 0.0)
        for h in range(hours):
            for f in np.flatnonzero(share[:, k, h] > 0):
                if ids[f] != at:
                    km = between_km(observed.farm, at, ids[f])
                    _before(out[k], free, h, km / observed.farm.moves.road_kmh)
                    at = ids[f]
    return out


def _before(move: Array, free: Array, hour: int, need: float) -> None:
    """Put `need` hours of moving into the free time up to an hour, last first."""
    for h in range(hour, max(-1, hour - 4), -1):
        took = min(need, free[h] - move[h])
        move[h] += max(0.0, took)
        need -= max(0.0, took)
        if need <= 1e-9:
            return


def hour_states(observed: ObservedSeason, compiled: Compiled, cut: WorkRecord) -> HourStates:
    """What is known of every hour of fields and crews, for `charging`."""
    farm, times = observed.farm, observed.weather.times[: observed.hours]
    first = int((observed.weather.start - observed.season.start).astype(int))
    n = len(farm.fields)
    reason = observed.season.reason[0, :n, first : first + observed.hours]
    ups = [np.array([~down_slots(c.down, times) for c in g.combines]) for g in compiled.makeup]
    taken = {
        crop: np.any(
            [open_slots(p.week, times, farm.tz) & ~down_slots(p.closed, times)
             for p in farm.points if crop in p.markets], axis=0)
        for crop in {f.crop for f in farm.fields}
    }  # fmt: skip
    return HourStates(
        closed=cause_codes(reason),
        done=np.arange(observed.hours)[None] >= cut.done[:, None],
        cut=cut.share,
        wait=waits(compiled),
        down=np.array([1.0 - up.mean(axis=0) for up in ups]),
        shut=np.array([~taken[f.crop] for f in farm.fields]),
        off=np.array([1.0 - _works(observed, compiled, k) for k in range(len(compiled.makeup))]),
        move=cut.move,
    )


def day_of_hours(observed: ObservedSeason) -> tuple[NDArray[np.int64], tuple[datetime, ...]]:
    """Day number of each hour of the season, and the midnights that begin the days."""
    midnights = []
    at = observed.start.replace(hour=0, minute=0, second=0, microsecond=0)
    while at < observed.stop:
        midnights.append(at)
        next_day = farm_time(utc_hour(at) + 36 * HOUR, observed.farm.tz)
        at = next_day.replace(hour=0, minute=0, second=0, microsecond=0)
    starts = np.array([observed.index(m) for m in midnights])
    day = np.searchsorted(starts, np.arange(observed.hours), side="right") - 1
    return day, tuple(midnights)
