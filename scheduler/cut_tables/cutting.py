"""Cut one job with one crew, from any slot, in every member: the recurrence behind the tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.machine_rates import HEADLAND_FACTOR, MachinesUp, Rates
from scheduler.cut_tables.delivery import delivery_by_slot
from scheduler.farm.slots import SLOT_MIN, BoolArray


class CutJob(NamedTuple):
    """One job cut by one crew from several start slots.

    Attributes
    ----------
    can : (member, slot), the crew cuts in the slot.
    point : (member, slot), index into `farm.points` of the slot's delivery; -1 if none.
    finish : (member, start), slot after the last slot cut; -1 if not done by the horizon.
    cost : (member, start), cents lost.
    """

    can: BoolArray
    point: NDArray[np.int16]
    finish: NDArray[np.int32]
    cost: NDArray[np.int64]


class CutSlots(NamedTuple):
    """What the kernel knows of each slot; (member, slot) unless stated.

    `loss` is money per ha; `combine` and `cart` (slot,) are t/h of the machines that are up;
    `haul` is t/h of the trucks, 0 while the delivery point is closed and they fill.
    """

    can: BoolArray
    loss: Array
    headland_only: BoolArray
    combine: Array
    cart: Array
    haul: Array


class CutAmounts(NamedTuple):
    """What the kernel knows of the job: `buffer` is the grain that carts and trucks hold, t."""

    area_ha: float
    t_ha: float
    rut_ha: float
    buffer: float
    slot_h: float


@dataclass(frozen=True, kw_only=True)
class CrewJob:
    """One crew on one job: everything that fixes how the job is cut but its delivery points.

    Attributes
    ----------
    workable : (member, slot), the field is open and the crew works.
    headland_only : (member, slot), carts stay at the field's edge.
    loss : (member, point, slot), money lost per ha; NaN where a load is not taken.
    day : (slot,), day of the farm's calendar.
    slots_to_open : (point, slot), slots until a point is open.
    up : machines of the crew that are up.
    area_ha, t_ha, rut_ha : size and yield of the job; price of ruts, money per ha.
    crew_value : money that an hour of the crew's delay costs.
    """

    workable: BoolArray
    headland_only: BoolArray
    loss: Array
    day: NDArray[np.int64]
    slots_to_open: NDArray[np.int64]
    up: MachinesUp
    area_ha: float
    t_ha: float
    rut_ha: float
    crew_value: float

    def cut(self, rates: Mapping[int, Rates], starts: NDArray[np.int32]) -> CutJob:
        """Cut the job from each of `starts` and deliver it to the points of `rates`."""
        value = self.crew_value * self.t_ha
        to = delivery_by_slot(
            self.loss, self.slots_to_open, rates, self.up.trucks, crew_value=value
        )
        finish = np.full((len(self.workable), len(starts)), -1, np.int32)
        cost = np.zeros(finish.shape, np.int64)
        if not rates:
            never = np.zeros(self.workable.shape, np.bool_)
            return CutJob(never, to.point, finish, cost)
        first = next(iter(rates.values()))  # rates differ between points by the haul alone
        combine, cart, _ = first.by_slot(self.up)
        can = self.workable & np.isfinite(to.loss) & (combine > 0)
        _close_dearer_slots(can, to.loss, self.day, value / max(r.t_h for r in rates.values()))
        slots = CutSlots(can, to.loss, self.headland_only, combine, cart, to.haul_t_h)
        amounts = CutAmounts(
            self.area_ha, self.t_ha, self.rut_ha, float(first.buffer), SLOT_MIN / 60.0
        )
        _fill_finish_and_cost(slots, amounts, starts, finish, cost)
        return CutJob(can, to.point, finish, cost)


@njit(cache=True, nogil=True)
def slot_tonnes(combine, cart, buffer, on_board, hauled, slot_h):  # type: ignore[no-untyped-def]
    """Tonnes that a crew can cut in a slot: the least of combines, carts and free buffer.

    `combine` and `cart` are t/h. `on_board` t fill part of the `buffer`, and `hauled` t leave it.
    """
    return min(min(combine, cart) * slot_h, buffer - on_board + hauled)


@njit(cache=True, nogil=True)
def _fill_finish_and_cost(slots, amounts, starts, finish, cost):  # type: ignore[no-untyped-def]
    """Cut one job from every start slot; fill `finish` and `cost` (member, start).

    While the delivery point is closed, what is cut fills carts and trucks up to the buffer.
    """
    members, n = slots.can.shape
    done = np.empty(n + 1, np.int32)
    paid = np.empty(n + 1, np.float64)
    opening = np.empty(n + 1, np.int64)  # first slot from each on in which the job is cut
    for m in range(members):
        opening[n] = n
        for s in range(n - 1, -1, -1):
            opening[s] = s if slots.can[m, s] else opening[s + 1]
            done[s] = -2  # not computed yet
        done[n] = -1
        paid[n] = 0.0
        for p in range(starts.size):
            s = opening[starts[p]]
            if done[s] == -2:
                left = amounts.area_ha * amounts.t_ha
                on_board = 0.0
                money = 0.0
                t = s
                while t < n and left > 1e-9:
                    hauled = slots.haul[m, t] * amounts.slot_h
                    cut = 0.0
                    if slots.can[m, t]:
                        edge = slots.headland_only[m, t]
                        rate = slots.combine[t] * (HEADLAND_FACTOR if edge else 1.0)
                        most = slot_tonnes(
                            rate, slots.cart[t], amounts.buffer, on_board, hauled, amounts.slot_h
                        )
                        cut = min(most, left)
                        rut = amounts.rut_ha if edge else 0.0
                        money += cut / amounts.t_ha * (slots.loss[m, t] + rut)
                        left -= cut
                    on_board = max(0.0, on_board + cut - hauled)
                    t += 1
                done[s] = t if left <= 1e-9 else -1
                paid[s] = money
            finish[m, p] = done[s]
            cost[m, p] = np.int64(round(max(paid[s], 0.0) * 100.0))


@njit(cache=True, nogil=True)
def _close_dearer_slots(can, loss, day, limit):  # type: ignore[no-untyped-def]
    """Close slots (member, slot) if a later slot of the day is cheaper by over `limit` per ha."""
    members, n = can.shape
    for m in range(members):
        least = np.inf
        for s in range(n - 1, -1, -1):
            if s < n - 1 and day[s] != day[s + 1]:
                least = np.inf
            if can[m, s]:
                least = min(least, loss[m, s])
                can[m, s] = loss[m, s] - least <= limit
