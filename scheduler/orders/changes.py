"""What changed between the orders issued before and those of this morning, and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from scheduler.orders.model import CrewOrders, Order

Key = tuple[str, str]
#: A start that moves by less than this is the same order, h; assumed, because crews set off by
#: the state of the ears, not by the clock.
SAME_H = 2.0


def changes_since(last: Sequence[CrewOrders], now: Sequence[CrewOrders]) -> tuple[str, ...]:
    """One line for each order that is new, dropped, moved to another crew or to another time."""
    old, new = _by_field(last), _by_field(now)
    lines = [_changed(old.get(key), new[key]) for key in new]
    lines += [
        f"{_title(order)}: no longer ordered (was {crew}); it is cut, or left out below"
        for key, (crew, _, order) in old.items()
        if key not in new
    ]
    return tuple(line for line in lines if line)


def _by_field(crews: Sequence[CrewOrders]) -> Mapping[Key, tuple[str, int, Order]]:
    return {
        (o.field, o.parcel): (c.crew, place, o)
        for c in crews
        for place, o in enumerate(c.orders, start=1)
    }


def _title(order: Order) -> str:
    return f"{order.name}, {order.parcel}" if order.parcel else order.name


def _changed(old: tuple[str, int, Order] | None, new: tuple[str, int, Order]) -> str:
    crew, place, order = new
    title = _title(order)
    if old is None:
        return f"{title}: new with {crew}, place {place}: {order.reason}"
    was, _, before = old
    if was != crew:
        return f"{title}: now {crew}, was {was}: {order.reason}"
    hours = (order.start.mid - before.start.mid).total_seconds() / 3600.0
    if abs(hours) < SAME_H:
        return ""
    way = "later" if hours > 0 else "sooner"
    said = f"{abs(hours):.0f} h" if abs(hours) < 36 else f"{abs(hours) / 24:.0f} days"
    return f"{title}: starts {said} {way}, {order.start.mid:%a %d %b %H:%M}: {order.reason}"
