"""Checker of a played policy against the farm itself: people, machines, dates and delivery limits.

It reads the log, the farm and who drives what, and none of the work tables, so that a fault in
their compilation shows. `scheduler.solver.check` goes over the tables.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.machine_rates import combine_t_h, truck_t_h
from scheduler.costs.standing_loss import grain_density, wet_yield
from scheduler.farm.distances import between_km
from scheduler.farm.model import Combine, Truck
from scheduler.farm.opening_hours import down_slots
from scheduler.farm.slots import farm_time, utc_hour
from scheduler.field_work.play import Outcome
from scheduler.work_tables.compile import FarmWork
from scheduler.work_tables.manning import KINDS

#: Share by which rounding may exceed a limit; the log holds areas in single precision.
ROUNDING = 1e-4


def farm_violations(work: FarmWork, outcome: Outcome) -> list[str]:
    """Violations of what the farm allows by an outcome with its log; empty for a sound one."""
    return [
        *_wrong_seats(work),
        *_undriven_cuts(work, outcome),
        *_wrong_dates(work, outcome),
        *_wrong_deliveries(work, outcome),
    ]


def _wrong_seats(work: FarmWork) -> Iterator[str]:
    """People in two seats, in seats that they may not take, or past their hours."""
    manning, farm = work.manning, work.farm
    slots, minutes = work.standing_loss.slots, work.tables.slot_min
    stamps = [farm_time(s, farm.tz) for s in slots]
    for n, (crew, number, person) in enumerate(manning.drivers):
        name = person.id or f"person {number} of {crew.id}"
        sits = manning.driver == n
        for s in np.flatnonzero(sits.sum(axis=0) > 1):
            if not _in_turn(work, np.flatnonzero(sits[:, s])):
                yield f"{name} sits in {int(sits[:, s].sum())} seats at {stamps[s]:%d %b %H:%M}"
        for row in np.flatnonzero(sits.any(axis=1)):
            seat = manning.seats[row]
            kind = KINDS[type(seat.machine)]
            if person.drives and not {kind, seat.machine.id} & set(person.drives):
                yield f"{name} may not drive {kind} {seat.machine.id}"
            other = next(c for c in farm.crews if c.id == work.makeup[seat.crew].crew)
            if other.id != crew.id and (other.fixed or crew.fixed):
                yield f"{name} of {crew.id} drives {seat.machine.id} of {other.id}"
        drives = sits.any(axis=0)
        limit = min(crew.hours_max_day, person.hours_max_day or 24.0)
        for day in np.unique(manning.day[drives]):
            today = drives & (manning.day == day)
            when = stamps[int(np.flatnonzero(today)[0])]
            hours = float(today.sum()) * minutes / 60.0
            if hours > limit + 1e-9:
                yield f"{name} drives {hours:g} h on {when:%d %b}, the limit is {limit:g} h"
            absent = {*crew.absent, *person.absent}
            if when.date() in absent:
                yield f"{name} drives on {when:%d %b}, an absence"
        if (drives & down_slots((*crew.away, *person.away), slots)).any():
            yield f"{name} drives while away"


def _in_turn(work: FarmWork, rows: NDArray[np.int64]) -> bool:
    """Whether the seats are the combine and the truck of a crew of one who drives them in turn."""
    seats = [work.manning.seats[row] for row in rows]
    kinds = sorted(KINDS[type(s.machine)] for s in seats)
    alone = {s.crew for s in seats if work.makeup[s.crew].in_turn}
    return kinds == ["combine", "truck"] and len(alone) == len({s.crew for s in seats}) == 1


def _undriven_cuts(work: FarmWork, outcome: Outcome) -> Iterator[str]:
    """Grain cut by a crew beyond what the combines with a driver can cut, or without a truck."""
    slots, hours = work.standing_loss.slots, work.tables.slot_min / 60.0
    cuts, manning = outcome.cuts, work.manning
    members, crews, *_ = work.tables.shape
    most = np.zeros((crews, len(slots), len(work.jobs)))
    trucks = np.zeros((crews, len(slots)), np.bool_)
    for n, seat in enumerate(manning.seats):
        on = (manning.driver[n] >= 0) & ~down_slots(seat.machine.unavailable, slots)
        if isinstance(seat.machine, Truck):
            trucks[seat.crew] |= on
        if isinstance(seat.machine, Combine):
            for n_job in range(len(work.jobs)):
                field = work.field(n_job)
                if (here := seat.machine.in_field(field)) is not None:
                    rate = combine_t_h(
                        here, wet_yield(field), has_cart=True, density=grain_density(field)
                    )
                    most[seat.crew, :, n_job] += rate * hours * on
    share = np.zeros((members, crews, len(slots)))  # of the slot that the combines need
    yields = np.array([wet_yield(work.field(n)) for n in range(len(work.jobs))])
    with np.errstate(divide="ignore"):
        needed = cuts.area * yields[cuts.job] / most[cuts.crew, cuts.slot, cuts.job]
    needed += _hauled_in_turn(work, outcome) / hours
    np.add.at(share, (cuts.member, cuts.crew, cuts.slot), needed)
    for m_, k_, s_ in np.argwhere(share > 1.0 + ROUNDING):
        when = farm_time(slots[s_], work.farm.tz)
        crew = work.makeup[k_].crew
        yield f"member {m_}: {crew} cuts more at {when:%d %b %H:%M} than its manned combines can"
    for m_, k_, s_ in np.argwhere((share > 0.0) & ~trucks[None]):
        when = farm_time(slots[s_], work.farm.tz)
        yield f"member {m_}: {work.makeup[k_].crew} cuts at {when:%d %b %H:%M} without a truck"


def _hauled_in_turn(work: FarmWork, outcome: Outcome) -> Array:
    """Hours that whoever cut hauls the load as well, (cut,); 0 where others drive the truck."""
    cuts, farm = outcome.cuts, work.farm
    out = np.zeros(len(cuts.area))
    for k, machines in enumerate(work.makeup):
        for n in np.flatnonzero(cuts.crew == k) if machines.in_turn else ():
            field, point = work.field(int(cuts.job[n])), farm.points[int(cuts.point[n])]
            (truck,), density = machines.trucks, grain_density(field)
            km = between_km(farm, field.id, point.id)
            fill = machines.combines[0].unload_m3_s
            rate = truck_t_h(truck, point, km, fill, density)
            out[n] = float(cuts.area[n]) * wet_yield(field) / rate
    return out


def _wrong_dates(work: FarmWork, outcome: Outcome) -> Iterator[str]:
    """Fields cut before they may be, or later than they must be."""
    length = timedelta(minutes=work.tables.slot_min)
    cuts = outcome.cuts
    for slot, j in sorted(set(zip(cuts.slot.tolist(), cuts.job.tolist(), strict=True))):
        field, begin = work.field(j), farm_time(work.standing_loss.slots[slot], work.farm.tz)
        if field.not_before is not None and begin < field.not_before:
            yield f"{field.id} is cut at {begin:%d %b %H:%M}, before it may be"
        if field.not_after is not None and begin + length > field.not_after:
            yield f"{field.id} is cut at {begin:%d %b %H:%M}, later than it must be"


def _wrong_deliveries(work: FarmWork, outcome: Outcome) -> Iterator[str]:
    """Grain that its delivery point does not buy, or that is wetter than the point takes."""
    loss, cuts = work.standing_loss, outcome.cuts
    hour = loss.hour[cuts.slot]
    rows = np.array([job.row for job in loss.jobs])
    wet = loss.moisture[cuts.member, rows[cuts.job], hour]
    for j, q in sorted(set(zip(cuts.job.tolist(), cuts.point.tolist(), strict=True))):
        field, point = work.field(j), work.farm.points[q]
        mine = (cuts.job == j) & (cuts.point == q)
        if (market := point.markets.get(field.crop)) is None:
            yield f"{field.id} goes to {point.id}, which does not buy {field.crop}"
            continue
        if point.seed_only and field.purpose != "seed":
            yield f"{field.id} goes to {point.id}, which is kept for seed"
        limit = np.full(int(loss.hour[-1]) + 1, market.moisture_limit_pct)
        for begin, later in market.later:
            hours = utc_hour(begin) - loss.slots[0].astype("datetime64[h]")
            limit[max(0, int(hours.astype(int))) :] = later.moisture_limit_pct
        over = np.where(mine, wet - limit[hour], -np.inf)
        if over.max() > ROUNDING:
            n = int(over.argmax())
            most = limit[hour[n]]
            yield f"{field.id} goes to {point.id} at {wet[n]:.2f} %, above its limit {most:g} %"
