"""Changes of this morning's orders and crews against the previous ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from scheduler.farm.model import Farm
from scheduler.orders.model import Change, ChangeKind, CrewOrders, MachineMove, Order

Key = tuple[str, str]
#: A start that moves by less than this is the same order, h; assumed, because crews set off by
#: the state of the ears, not by the clock.
SAME_H = 2.0
#: Starts farther off than this change with every forecast, h; assumed: crews are sent out for today
#: and tomorrow.
NEAR_H = 48.0


def changes_since(
    previous: Sequence[CrewOrders], current: Sequence[CrewOrders], *, now: datetime
) -> tuple[Change, ...]:
    """Every order that is new, has another crew or time, or is dropped; dropped ones last.

    A time counts only where one of the two starts is within `NEAR_H` of `now`.
    """
    old, new = _by_field(previous), _by_field(current)
    changes = [_change(old.get(key), new[key], now) for key in new]
    changes += [
        Change(kind=ChangeKind.DROPPED, order=order, crew=crew, place=place)
        for key, (crew, place, order) in old.items()
        if key not in new
    ]
    return tuple(change for change in changes if change is not None)


def machine_moves(
    farm: Farm, previous: Sequence[CrewOrders] | None, current: Sequence[CrewOrders]
) -> tuple[MachineMove, ...]:
    """Machines with another crew than in the previous orders, or else in the farm file."""
    before = {m: c.id for c in farm.crews for m in (*c.combines, *c.carts, *c.trucks)}
    before |= {m: c.crew for c in previous or () for m in (*c.combines, *c.carts, *c.trucks)}
    return tuple(
        MachineMove(machine=m, from_crew=before[m], to_crew=c.crew)
        for c in current
        for m in (*c.combines, *c.carts, *c.trucks)
        if before.get(m, c.crew) != c.crew
    )


def _by_field(crews: Sequence[CrewOrders]) -> Mapping[Key, tuple[str, int, Order]]:
    """Crew, place from 1 and order, by field and parcel."""
    return {
        (o.field, o.parcel): (c.crew, place, o)
        for c in crews
        for place, o in enumerate(c.orders, start=1)
    }


def _change(
    old: tuple[str, int, Order] | None, new: tuple[str, int, Order], now: datetime
) -> Change | None:
    crew, place, order = new
    if old is None:
        return Change(kind=ChangeKind.NEW, order=order, crew=crew, place=place)
    previous_crew, _, before = old
    later_h = (order.start.mid - before.start.mid) / timedelta(hours=1)
    near = min(order.start.mid, before.start.mid) <= now + timedelta(hours=NEAR_H)
    if previous_crew != crew:
        kind = ChangeKind.OTHER_CREW
    elif near and order.shown and before.shown and abs(later_h) >= SAME_H:
        kind = ChangeKind.OTHER_TIME
    else:
        return None
    return Change(
        kind=kind,
        order=order,
        crew=crew,
        place=place,
        previous_crew=previous_crew,
        later_h=later_h,
    )
