"""Make-ups: which combines, carts and trucks form which crews over the days planned."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import islice, product
from typing import TypeVar

import numpy as np
from scipy.optimize import linear_sum_assignment

from scheduler.costs.machine_rates import CrewMachines, capacity_ha_h
from scheduler.errors import FarmError
from scheduler.farm.model import Cart, Combine, Crew, Farm, Truck
from scheduler.farm.slots import BoolArray
from scheduler.work_tables.manning import manned_makeups

MakeUp = tuple[CrewMachines, ...]
Machine = TypeVar("Machine", Combine, Cart, Truck)
#: Most make-ups priced on a morning; assumed, so that pricing stays within a few seconds.
MAX_MAKEUPS = 16


def own_makeup(farm: Farm, now: datetime, until: datetime) -> MakeUp:
    """The crews as the farm file has them, with every machine that is up at some time and manned.

    A crew without such a combine, or away on all days from `now` to `until`, is left out.
    """
    crews = [c for c in farm.crews if _there(c, now, until)]
    return next(manned_makeups(crews, unmanned_makeup(farm, now, until)))


def unmanned_makeup(farm: Farm, now: datetime, until: datetime) -> MakeUp:
    """The crews as the farm file has them, whether or not people suffice."""
    crews = [_machines_of(farm, c, now, until) for c in farm.crews if _there(c, now, until)]
    return tuple(machines for machines in crews if machines.combines)


def makeups(farm: Farm, now: datetime, until: datetime, *, most: int = MAX_MAKEUPS) -> list[MakeUp]:
    """The first make-ups of `every_makeup`, at most so many."""
    return list(islice(every_makeup(farm, now, until), most))


def every_makeup(farm: Farm, now: datetime, until: datetime) -> Iterator[MakeUp]:
    """Every make-up worth pricing, the user's own first; machines of one kind are alike.

    One after the other, because many crews with many combines have very many.

    A machine that is down, or joins later, works with its crew from the hour at which it is up.
    Machines of crews that are not fixed form a pool. Each crew left with a combine gets a truck,
    and a cart while carts last. Trucks go in turn to the crew with most combine capacity for each
    truck, with one truck moved either way as variants. A crew without a combine joins the others
    with its people. Of make-ups that differ by the names of crews with the same hours alone, that
    stays in which most combines work with their own crew. Where people are fewer than machines,
    each make-up leaves some without a driver, in the ways of `manning.SHORT_OF`.

    Parameters
    ----------
    now, until : aware; the days planned.
    """
    crews = [c for c in farm.crews if _there(c, now, until)]
    own = unmanned_makeup(farm, now, until)
    found: set[tuple[tuple[str, ...], ...]] = set()
    for candidate in _unmanned(farm, own, now, until):
        for makeup in manned_makeups(crews, candidate):
            kinds = _kinds(makeup)
            if kinds not in found and (makeup or not found):
                found.add(kinds)
                yield makeup


def _unmanned(farm: Farm, own: MakeUp, now: datetime, until: datetime) -> Iterator[MakeUp]:
    """The user's own make-up, then every other, whether or not people suffice."""
    yield own
    free = [c for c in farm.crews if not c.fixed and _there(c, now, until)]
    fixed = tuple(m for m in own if m.crew not in {c.id for c in free})
    if len(free) > 1:
        pool = [_machines_of(farm, crew, now, until) for crew in free]
        for candidate in _splits(free, pool):
            if makeup := tuple(sorted((*fixed, *candidate), key=lambda m: m.crew)):
                yield makeup


def _there(crew: Crew, now: datetime, until: datetime) -> bool:
    """Whether a crew is there on some day from `now` to `until`."""
    days = (until.date() - now.date()).days
    return any(now.date() + timedelta(days=d) not in crew.absent for d in range(days + 1))


def _machines_of(farm: Farm, crew: Crew, now: datetime, until: datetime) -> CrewMachines:
    """A crew's own machines that are up at some time from `now` to `until`."""
    return CrewMachines(
        crew=crew.id,
        combines=_up(_named(farm.combines, crew.combines, crew.id), now, until),
        carts=_up(_named(farm.carts, crew.carts, crew.id), now, until),
        trucks=_up(_named(farm.trucks, crew.trucks, crew.id), now, until),
    )


def _named(machines: Sequence[Machine], ids: Sequence[str], crew: str) -> tuple[Machine, ...]:
    by_id = {m.id: m for m in machines}
    for name in ids:
        if name not in by_id:
            raise FarmError(f'crew "{crew}": there is no machine "{name}"; ids are {list(by_id)}')
    return tuple(by_id[name] for name in ids)


def _up(machines: tuple[Machine, ...], now: datetime, until: datetime) -> tuple[Machine, ...]:
    """Machines that no one interval keeps down from `now` to `until`."""
    return tuple(m for m in machines if not any(a <= now and b >= until for a, b in m.unavailable))


def _kinds(makeup: MakeUp) -> tuple[tuple[str, ...], ...]:
    """Machines of each crew without their ids: make-ups with equal kinds do equal work."""
    return tuple(
        (
            m.crew,
            *sorted(repr(replace(c, id="")) for c in m.combines),
            *sorted(repr(replace(c, id="")) for c in m.carts),
            *sorted(repr(replace(t, id="")) for t in m.trucks),
        )
        for m in makeup
    )


def _splits(crews: Sequence[Crew], pool: Sequence[CrewMachines]) -> Iterator[MakeUp]:
    """Share the pooled machines out for every assignment of combines to crews."""
    combines = [c for m in pool for c in m.combines]
    carts = [c for m in pool for c in m.carts]
    trucks = [t for m in pool for t in m.trucks]
    home = [crew for crew, m in enumerate(pool) for _ in m.combines]
    hours = [_working_time(crew) for crew in crews]
    alike = np.array([[a == b for b in hours] for a in hours])
    for assignment in product(range(len(crews)), repeat=len(combines)):
        if _renamed(alike, home, assignment):
            continue
        by_crew = [
            (crew, tuple(c for c, a in zip(combines, assignment, strict=True) if a == k))
            for k, crew in enumerate(crews)
        ]
        active = [(crew, own) for crew, own in by_crew if own]
        if not active or len(trucks) < len(active):
            continue
        capacity = [_capacity(own) for _, own in active]
        cart_counts = _shares(capacity, len(carts), shift=0)
        for shift in (0, 1, -1) if len(active) > 1 else (0,):
            truck_counts = _shares(capacity, len(trucks), shift=shift)
            if min(truck_counts) < 1:
                continue
            yield tuple(
                CrewMachines(crew=crew.id, combines=own, carts=some_carts, trucks=some_trucks)
                for (crew, own), some_carts, some_trucks in zip(
                    active, _dealt(carts, cart_counts), _dealt(trucks, truck_counts), strict=True
                )
            )


def _renamed(alike: BoolArray, home: Sequence[int], assignment: Sequence[int]) -> bool:
    """Whether other names of crews with the same hours leave more combines with their own crew.

    `home` and `assignment` (combine,) are the crew that has a combine and the crew that it joins;
    `alike` (crew, crew) says whether two crews have the same hours.
    """
    stay = np.zeros(alike.shape)
    np.add.at(stay, (np.asarray(assignment, np.int64), np.asarray(home, np.int64)), 1.0)
    stay[~alike] = -len(home)
    return bool(stay[linear_sum_assignment(stay, maximize=True)].sum() > stay.trace())


def _working_time(crew: Crew) -> tuple[object, ...]:
    """What tells the working time of a crew."""
    times = crew.week, crew.hours_max_day, crew.service_min, crew.meal_min
    return *times, crew.absent, crew.away


def _capacity(combines: Sequence[Combine]) -> float:
    return sum(capacity_ha_h(c.speed_kmh, c.header_m, c.efficiency) for c in combines)


def _shares(capacity: Sequence[float], count: int, *, shift: int) -> list[int]:
    """Machines of each crew: one by one to the crew with most capacity for each it has.

    `shift` then moves so many from the second crew to the first.
    """
    counts = [0] * len(capacity)
    for _ in range(count):
        per_machine = [c / (n or 1e-9) for c, n in zip(capacity, counts, strict=True)]
        counts[per_machine.index(max(per_machine))] += 1
    if shift and len(counts) > 1:
        counts[0] += shift
        counts[1] -= shift
    return counts


def _dealt(machines: Sequence[Machine], counts: Sequence[int]) -> list[tuple[Machine, ...]]:
    """The machines in order, so many to each crew."""
    ends = [sum(counts[: k + 1]) for k in range(len(counts))]
    return [tuple(machines[end - n : end]) for end, n in zip(ends, counts, strict=True)]
