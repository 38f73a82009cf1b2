"""Choose the delivery point of a job's grain, slot by slot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.machine_rates import Rates

#: Penalty of a closed point for each slot until it opens, money per ha: more than any grain is
#: worth, so that an open point always comes before a closed one.
CLOSED_PENALTY = 1e9


@dataclass(frozen=True, kw_only=True)
class DeliveryBySlot:
    """Delivery of one job's grain, arrays (member, slot).

    Attributes
    ----------
    point : index into `farm.points`; -1 if no point accepts the job.
    loss : money lost per ha cut; NaN where no point takes a load.
    haul_t_h : t/h that the trucks haul; 0 while the point is closed and the trucks fill.
    """

    point: NDArray[np.int16]
    loss: Array
    haul_t_h: Array


def delivery_by_slot(
    loss: Array,
    slots_to_open: NDArray[np.int64],
    rates: Mapping[int, Rates],
    trucks: Array,
    *,
    crew_value: float,
) -> DeliveryBySlot:
    """Deliver the grain of each slot where loss and crew time together cost least.

    Among the points that take the grain of that member and slot, an open point wins, else the
    point that opens first.

    Parameters
    ----------
    loss : (member, point, slot), money lost per ha; NaN where a load is not taken.
    slots_to_open : (point, slot), see `slots_to_open`.
    rates : rates of the crew for each point that accepts the job.
    trucks : (truck, slot), 1.0 where a truck of the crew is up.
    crew_value : money per hour of the crew times t/ha: divided by t/h, the crew's time for a ha.
    """
    shape = loss.shape[0], loss.shape[2]
    points = np.array(sorted(rates), np.int64)
    point = np.full(shape, points[0] if points.size else -1, np.int16)
    least, haul_t_h = np.full(shape, np.nan), np.zeros(shape)
    time = np.array([crew_value / rates[int(q)].t_h for q in points])
    haul = np.array([rates[int(q)].haul @ trucks for q in points]).reshape(-1, shape[1])
    haul = haul * (slots_to_open[points] == 0)
    haul_t_h[:] = haul[0] if points.size else 0.0
    extra = time[:, None] + CLOSED_PENALTY * slots_to_open[points]
    _fill_cheapest(loss, points, extra, haul, point, least, haul_t_h)
    return DeliveryBySlot(point=point, loss=least, haul_t_h=haul_t_h)


@njit(cache=True, nogil=True)
def _fill_cheapest(loss, points, extra, haul, point, least, haul_t_h):  # type: ignore[no-untyped-def]
    """Fill `point`, `least`, `haul_t_h` (member, slot) from the point with least loss + extra.

    `loss` is (member, point, slot); `extra` and `haul` are (candidate, slot) for `points`
    (candidate,). Entries stay as they are where no candidate takes the grain.
    """
    for m in range(point.shape[0]):
        for t in range(point.shape[1]):
            best = np.inf
            for x in range(points.size):
                q = points[x]
                if loss[m, q, t] + extra[x, t] < best:  # False where NaN
                    best = loss[m, q, t] + extra[x, t]
                    point[m, t], least[m, t], haul_t_h[m, t] = q, loss[m, q, t], haul[x, t]


def slots_to_open(point_open: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Slots until a point is open, (point, slot); to the horizon if it does not open again."""
    slots = point_open.shape[1]
    opening = np.where(point_open, np.arange(slots), slots)
    soonest = np.minimum.accumulate(opening[:, ::-1], axis=1)[:, ::-1]
    return np.asarray(soonest - np.arange(slots))
