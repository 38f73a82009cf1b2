"""The work record: area and time of each crew in each field, hour by hour, from the book."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import HOUR, Array
from readiness.season.codes import Reason
from scheduler.costs.machine_rates import Rates
from scheduler.costs.standing_loss import wet_yield
from scheduler.farm.distances import between_km
from scheduler.farm.opening_hours import down_slots, open_slots
from scheduler.farm.slots import farm_time, utc_hour
from scheduler.farm.working_time import crew_slots, machine_slots, meal_share
from scheduler.field_work.kernel import tough_share
from scheduler.review.counterfactuals import issued_turns
from scheduler.review.delay_accounting import HourStates, cause_codes
from scheduler.review.observed_season import ObservedSeason
from scheduler.review.observed_work import by_day, hour_slots
from scheduler.season_book.entry_kinds import Entry
from scheduler.season_book.farm_state import CUTTING_KINDS, FINISHED_FRACTION, delivered
from scheduler.work_tables.compile import FarmWork

#: How far an entry of cutting may reach back; assumed: people write at the end of the day.
ENTRY_REACH = timedelta(hours=24)
#: Hours before a crew's first cut in a field in which its move is placed; assumed: roads on a
#: farm take less.
MOVE_REACH_H = 4
#: Share of its room from which a delivery point is full; assumed: a last load does not fit.
FULL_SHARE = 0.99


@dataclass(frozen=True, kw_only=True)
class WorkRecord:
    """Cutting and moving of every crew in every hour.

    Attributes
    ----------
    share
        (field, crew, hour) share of the hour spent cutting.
    area
        (field, crew, hour) area cut, ha.
    move
        (crew, hour) share of the hour spent on the road.
    done
        (field,) first hour in which nothing is left to cut, or the number of hours.
    """

    share: Array
    area: Array
    move: Array
    done: NDArray[np.int64]


def work_record(observed: ObservedSeason, work: FarmWork) -> WorkRecord:
    """Spread each entry of cutting over the hours before it.

    An entry gives an area and the time by which it was cut. Where the book says when the field was
    begun, the area spreads evenly over the crew's free working hours since: over those in which
    the field was open, if the machines can cut the area in them. Elsewhere the crew is
    assumed to have cut it in its last free working hours, at the rate of its machines. An entry
    without a crew goes to the crew with the highest rate in the field.
    """
    farm, hours = observed.farm, observed.hours
    shape = (len(farm.fields), len(work.makeup), hours)
    share, area = np.zeros(shape), np.zeros(shape)
    ids = [f.id for f in farm.fields]
    crews = [g.crew for g in work.makeup]
    rate = hourly_rates(observed, work)
    works = np.array([_working(observed, work, k) for k in range(len(crews))])
    open_ = observed.reasons == Reason.OPEN
    cutting = observed.entries_of(*CUTTING_KINDS)
    for entry in observed.entries_of("cut"):
        f = ids.index(entry.subject)
        crew = entry.text("crew")
        k = crews.index(crew) if crew in crews else int(rate[f].max(axis=1).argmax())
        free = np.maximum(works[k] - share[:, k].sum(axis=0), 0.0)
        begun = _begun(cutting, entry)
        within = _within(observed, begun or entry.at - ENTRY_REACH, entry.at)
        ha = entry.number("area") or 0.0
        usable = np.minimum(free, within)
        if begun is not None and (usable * open_[f] * rate[f, k]).sum() >= ha:
            usable = usable * open_[f]
        taken, cut = _spread(ha, usable, rate[f, k], even=begun is not None)
        if not cut.any():  # no free hour, or no rate is known
            last = min(observed.index(entry.at - timedelta(seconds=1)), observed.hours - 1)
            taken[last], cut[last] = max(taken[last], 1e-9), ha
        share[f, k] += taken
        area[f, k] += cut
    return WorkRecord(
        share=share,
        area=area,
        move=_moves(observed, share),
        done=_done(observed, area.sum(axis=1)),
    )


def main_rates(work: FarmWork, k: int, j: int) -> Rates | None:
    """Rates of crew k in job j to the delivery point of most open slots; None if none takes it."""
    point = work.tables.point[k, 0, :, j]
    named = point[(point >= 0) & np.isfinite(work.tables.wet[0, :, j])]
    named = named if len(named) else point[point >= 0]
    if not len(named):
        return None
    return work.rates[k][j][int(np.bincount(named).argmax())]


def hourly_rates(observed: ObservedSeason, work: FarmWork) -> Array:
    """Cutting rate in each hour, ha/h, (field, crew, hour); 0 where no rate is known.

    As in the simulator, combines and carts are slower while carts stay at the edge, in tough grain,
    and by the crew's meals; trucks are not.
    """
    slot, tables = hour_slots(observed, work.standing_loss), work.tables
    out = np.zeros((len(work.farm.fields), len(work.makeup), observed.hours))
    beside_meals = {c.id: 1.0 - meal_share(c) for c in work.farm.crews}
    for j, job in reversed(list(enumerate(work.jobs))):  # the ground of the upland counts
        moisture = work.standing_loss.moisture[0, job.row, work.standing_loss.hour[slot]]
        share = tough_share.py_func(moisture, tables.tough_from[j], tables.tough_slower)
        tough = np.where(np.isnan(moisture), 1.0, share)
        for k in range(len(work.makeup)):
            if (rates := main_rates(work, k, j)) is not None:
                ground = np.where(tables.edge[0, slot, j], rates.at_edge_t_h, rates.in_field_t_h)
                pace = ground * tough * beside_meals[work.makeup[k].crew]
                t_h = np.minimum(pace, sum(rates.haul))
                out[job.field, k] = t_h / wet_yield(work.field(j))
    return out


def waiting_shares(work: FarmWork) -> Array:
    """Share of cutting time in which combines wait for carts and trucks, (field, crew)."""
    out = np.zeros((len(work.farm.fields), len(work.makeup)))
    for k, j in np.ndindex(len(work.makeup), len(work.jobs)):
        if (rates := main_rates(work, k, j)) is not None:
            out[work.jobs[j].field, k] = 1.0 - rates.t_h / sum(rates.combine)
    return out


def _working(observed: ObservedSeason, work: FarmWork, k: int) -> Array:
    """1 in each hour in which crew k works, else 0; (hour,)."""
    crew = next(c for c in observed.farm.crews if c.id == work.makeup[k].crew)
    times = observed.weather.times[: observed.hours]
    return crew_slots(crew, times, observed.farm.tz).astype(np.float64)


def _begun(cutting: Sequence[Entry], entry: Entry) -> datetime | None:
    """When the field of an entry of cutting was begun, if the entry about it before says so.

    `cutting` holds the season's entries of `CUTTING_KINDS`, in order of time.
    """
    reach = entry.at - ENTRY_REACH
    before = [e for e in cutting if e.subject == entry.subject and reach < e.at < entry.at]
    return before[-1].at if before and before[-1].kind == "begun" else None


def _within(observed: ObservedSeason, begin: datetime, end: datetime) -> Array:
    """Share of each hour of the season between two times, (hour,)."""
    zero = farm_time(observed.weather.start, observed.farm.tz)
    hours = np.arange(observed.hours)
    first, last = ((t - zero) / timedelta(hours=1) for t in (begin, end))
    return np.asarray(np.clip(np.minimum(hours + 1, last) - np.maximum(hours, first), 0.0, 1.0))


def _spread(ha: float, usable: Array, rate: Array, *, even: bool) -> tuple[Array, Array]:
    """Share of each hour spent cutting so many ha, and ha cut in it, (hour,).

    Fills the usable shares of hours, last first, at `rate` (hour,) ha/h, or all of them evenly. An
    area larger than the hours hold raises the rate. All zeros where no usable hour has a rate.
    """
    capacity = usable * rate
    if even:
        cut, taken = capacity, np.where(rate > 0.0, usable, 0.0)
    else:
        later = np.concatenate([np.cumsum(capacity[::-1])[::-1][1:], [0.0]])
        cut = np.clip(ha - later, 0.0, capacity)
        taken = np.where(rate > 0.0, cut / np.where(rate > 0.0, rate, 1.0), 0.0)
    whole = float(cut.sum())
    return taken, cut * (ha / whole if whole > 0.0 else 0.0)


def _done(observed: ObservedSeason, area: Array) -> NDArray[np.int64]:
    """First hour of each field in which nothing is left to cut; `area` (field, hour) ha."""
    whole = np.array([f.area_ha for f in observed.farm.fields])
    before = np.array([f.area_ha * f.cut_fraction for f in observed.farm.fields])
    cut = (before[:, None] + np.cumsum(area, axis=1)) / whole[:, None]
    full = cut >= FINISHED_FRACTION
    return np.asarray(np.where(full.any(axis=1), full.argmax(axis=1) + 1, area.shape[1]))


def area_by_job(work: FarmWork, record: WorkRecord) -> Array:
    """Area cut of each job, ha, (job, crew, hour): jobs of a field are cut in their order.

    Area beyond that of the field counts for its last job.
    """
    out = np.zeros((len(work.jobs), *record.area.shape[1:]))
    job_start = np.zeros(len(record.area))
    for j, job in enumerate(work.jobs):
        area = record.area[job.field]
        whole = area.sum(axis=0)
        after = np.cumsum(whole)
        low, high = job_start[job.field], job_start[job.field] + job.area_ha
        if all(other.field != job.field for other in work.jobs[j + 1 :]):
            high = np.inf
        of_job = np.clip(np.minimum(after, high) - np.maximum(after - whole, low), 0.0, None)
        out[j] = area * (of_job / np.where(whole > 0, whole, 1.0))
        job_start[job.field] += job.area_ha
    return out


def _moves(observed: ObservedSeason, share: Array) -> Array:
    """Share of each hour on the road, (crew, hour): free time before the crew's next field."""
    crews, hours = share[0].shape
    out = np.zeros((crews, hours))
    ids = [f.id for f in observed.farm.fields]
    for k in range(crews):
        at, free = "base", np.maximum(1.0 - share[:, k].sum(axis=0), 0.0)
        for h in range(hours):
            for f in np.flatnonzero(share[:, k, h] > 0):
                if ids[f] != at:
                    km = between_km(observed.farm, at, ids[f])
                    _place_move(out[k], free, h, km / observed.farm.moves.road_kmh)
                    at = ids[f]
    return out


def _place_move(move: Array, free: Array, hour: int, need: float) -> None:
    """Place `need` hours of moving in the free time up to an hour, last hour first."""
    for h in range(hour, max(-1, hour - MOVE_REACH_H), -1):
        taken = max(0.0, min(need, free[h] - move[h]))
        move[h] += taken
        need -= taken
        if need <= 1e-9:
            return


def hour_states(observed: ObservedSeason, work: FarmWork, record: WorkRecord) -> HourStates:
    """States of fields and crews in every hour, for `delay_accounting`."""
    times = observed.weather.times[: observed.hours]
    # combines of each crew in each hour that are on the farm, and those of them that are down
    here = np.array(
        [np.sum([~down_slots(c.elsewhere, times) for c in g.combines], 0) for g in work.makeup]
    )
    up = np.array([np.sum([machine_slots(c, times) for c in g.combines], 0) for g in work.makeup])
    return HourStates(
        closed=cause_codes(observed.reasons),
        done=np.arange(observed.hours)[None] >= record.done[:, None],
        cut=record.share,
        wait=waiting_shares(work),
        down=(here - up) / np.maximum(here, 1),
        shut=_shut(observed, work),
        held=_held(observed, work),
        off=np.array(
            [np.where(n > 0, 1.0 - _working(observed, work, k), 1.0) for k, n in enumerate(here)]
        ),
        move=record.move,
    )


def _shut(observed: ObservedSeason, work: FarmWork) -> NDArray[np.bool_]:
    """Whether no open point with room takes a field's grain at its moisture, (field, hour)."""
    farm, tables = observed.farm, work.tables
    times, slot = observed.weather.times[: observed.hours], hour_slots(observed, work.standing_loss)
    room, taken = _has_room(observed), np.zeros((len(farm.fields), observed.hours), np.bool_)
    for q, point in enumerate(farm.points):
        open_ = open_slots(point.week, times, farm.tz) & ~down_slots(point.closed, times)
        for j, job in enumerate(work.jobs):
            takes = np.isfinite(tables.loss[0, slot, j, q]) & tables.accepts[:, j, q].any()
            taken[job.field] |= open_ & room[q] & takes
    return ~taken


def _has_room(observed: ObservedSeason) -> NDArray[np.bool_]:
    """Whether a delivery point has room after the loads on tickets, (point, hour)."""
    farm = observed.farm
    ids, filled = [p.id for p in farm.points], np.zeros((len(farm.points), observed.hours))
    for entry in observed.entries_of("ticket"):
        hour = min(observed.index(entry.at), observed.hours - 1)
        for point, tonnes in delivered([entry], farm, entry.at).items():
            filled[ids.index(point), hour] += tonnes
    room = np.array([np.inf if p.capacity_t is None else p.capacity_t for p in farm.points])
    return np.asarray(np.cumsum(filled, axis=1) < (FULL_SHARE * room)[:, None])


def _held(observed: ObservedSeason, work: FarmWork) -> NDArray[np.bool_]:
    """Whether a field is open and its grain above the start moisture of its plan, (field, hour).

    Of a field with a hollow either part may be fit.
    """
    slot = hour_slots(observed, work.standing_loss)
    start = np.full((observed.hours, len(work.jobs)), np.inf)
    turns = issued_turns(observed, work)
    for turn in by_day(turns, work.tables.day):
        start[slot >= turn.slot] = turn.policy.start[0]
    if turns:  # no plan holds before it is issued
        start[slot < turns[0].slot] = np.inf
    wet = work.tables.wet[0, slot]
    open_, fit = np.zeros((2, len(work.farm.fields), observed.hours), np.bool_)
    for j, job in enumerate(work.jobs):
        open_[job.field] |= np.isfinite(wet[:, j])
        fit[job.field] |= wet[:, j] <= start[:, j]
    return np.asarray(open_ & ~fit)


def day_of_hours(observed: ObservedSeason) -> tuple[NDArray[np.int64], tuple[datetime, ...]]:
    """Day number of each hour of the season, (hour,), and the midnights that begin the days."""
    midnights = []
    at = observed.start.replace(hour=0, minute=0, second=0, microsecond=0)
    while at < observed.stop:
        midnights.append(at)
        next_day = farm_time(utc_hour(at) + 36 * HOUR, observed.farm.tz)
        at = next_day.replace(hour=0, minute=0, second=0, microsecond=0)
    starts = np.array([observed.index(m) for m in midnights])
    day = np.searchsorted(starts, np.arange(observed.hours), side="right") - 1
    return day, tuple(midnights)
