"""Make-ups: which combines, carts and trucks form which crews today."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import product
from typing import TypeVar

from scheduler.costs.machine_rates import CrewMachines, capacity_ha_h
from scheduler.errors import FarmError
from scheduler.farm.model import Cart, Combine, Crew, Farm, Truck

MakeUp = tuple[CrewMachines, ...]
T = TypeVar("T", Combine, Cart, Truck)
#: Most make-ups priced on a morning; assumed, so that pricing stays within a few seconds.
MAX_MAKEUPS = 16


def own_makeup(farm: Farm, now: datetime) -> MakeUp:
    """The crews as the farm file has them, without machines that are down now and beyond the day.

    A crew with no combine or absent today is left out.
    """
    return tuple(
        machines
        for crew in farm.crews
        if now.date() not in crew.absent and (machines := _machines_of(farm, crew, now)).combines
    )


def makeups(farm: Farm, now: datetime) -> list[MakeUp]:
    """Every make-up worth pricing, the user's own first, each with a one-line name.

    Machines of crews that are not fixed form a pool. Each crew left with a combine gets a truck,
    and a cart while they last; trucks go by turns to the crew with most combine capacity for
    each truck, with one truck moved either way as variants. A crew without a combine joins the
    others with its people. Trucks that the people of these crews cannot man stay parked.
    """
    own = own_makeup(farm, now)
    found: dict[tuple[object, ...], MakeUp] = {_key(own): own}
    free = [c for c in farm.crews if not c.fixed and now.date() not in c.absent]
    fixed = tuple(g for g in own if g.crew not in {c.id for c in free})
    if len(free) > 1:
        pool = [_machines_of(farm, crew, now) for crew in free]
        for candidate in _splits(free, pool):
            makeup = tuple(sorted((*fixed, *candidate), key=lambda g: g.crew))
            if len(found) < MAX_MAKEUPS and makeup:
                found.setdefault(_key(makeup), makeup)
    return list(found.values())


def _machines_of(farm: Farm, crew: Crew, now: datetime) -> CrewMachines:
    return CrewMachines(
        crew=crew.id,
        combines=_up(_named(farm.combines, crew.combines, crew.id), now),
        carts=_up(_named(farm.carts, crew.carts, crew.id), now),
        trucks=_up(_named(farm.trucks, crew.trucks, crew.id), now),
    )


def _named(machines: Sequence[T], ids: Sequence[str], crew: str) -> tuple[T, ...]:
    by_id = {m.id: m for m in machines}
    for name in ids:
        if name not in by_id:
            raise FarmError(f'crew "{crew}": there is no machine "{name}"; ids are {list(by_id)}')
    return tuple(by_id[name] for name in ids)


def _up(machines: tuple[T, ...], now: datetime) -> tuple[T, ...]:
    """Machines not down from before `now` to more than a day after it."""
    return tuple(
        m for m in machines if not any(a <= now and (b - now).days >= 1 for a, b in m.down)
    )


def _key(makeup: MakeUp) -> tuple[object, ...]:
    """What a make-up can do: machines of one kind are alike whatever their ids."""
    return tuple(
        (
            g.crew,
            *sorted(repr(replace(c, id="")) for c in g.combines),
            *sorted(repr(replace(c, id="")) for c in g.carts),
            *sorted(repr(replace(t, id="")) for t in g.trucks),
        )
        for g in makeup
    )


def _power(combines: Sequence[Combine]) -> float:
    return sum(capacity_ha_h(c.speed_kmh, c.header_m, c.efficiency) for c in combines)


def _splits(crews: Sequence[Crew], pool: Sequence[CrewMachines]) -> Iterator[MakeUp]:
    """Share the pooled machines out in every way of the combines."""
    combines = [c for g in pool for c in g.combines]
    carts = [c for g in pool for c in g.carts]
    trucks = [t for g in pool for t in g.trucks]
    manned = sum(c.people for c in crews) - len(combines) - len(carts)
    trucks = trucks[: max(1, manned)]
    for owner in product(range(len(crews)), repeat=len(combines)):
        mine = [
            [c for c, o in zip(combines, owner, strict=True) if o == k] for k in range(len(crews))
        ]
        active = [k for k in range(len(crews)) if mine[k]]
        if not active or len(trucks) < len(active):
            continue
        power = [_power(mine[k]) for k in active]
        for shift in (0, 1, -1) if len(active) > 1 else (0,):
            share = _share(power, len(trucks), shift)
            if min(share) < 1:
                continue
            yield _deal(crews, active, mine, (carts, _share(power, len(carts), 0)), (trucks, share))


def _share(power: Sequence[float], count: int, shift: int) -> list[int]:
    """Deal `count` machines one by one to the crew with most power for each it has."""
    got = [0] * len(power)
    for _ in range(count):
        k = max(range(len(power)), key=lambda i: power[i] / (got[i] + (0.0 if got[i] else 1e-9)))
        got[k] += 1
    if shift and len(got) > 1:
        got[0] += shift
        got[1] -= shift
    return got


def _deal(
    crews: Sequence[Crew],
    active: Sequence[int],
    mine: Sequence[list[Combine]],
    carts: tuple[list[Cart], list[int]],
    trucks: tuple[list[Truck], list[int]],
) -> MakeUp:
    out = []
    c = t = 0
    for k, n_carts, n_trucks in zip(active, carts[1], trucks[1], strict=True):
        out.append(
            CrewMachines(
                crew=crews[k].id,
                combines=tuple(mine[k]),
                carts=tuple(carts[0][c : c + n_carts]),
                trucks=tuple(trucks[0][t : t + n_trucks]),
            )
        )
        c, t = c + n_carts, t + n_trucks
    return tuple(out)
