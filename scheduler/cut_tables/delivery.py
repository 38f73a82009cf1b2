"""Where a job's grain is hauled in each slot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.machine_rates import Rates

#: Money by which a delivery point that is shut is dearer, for each slot until it opens: more than
#: any grain is worth, so that what is open comes first.
WAITING = 1e9


@dataclass(frozen=True, kw_only=True)
class DeliveryBySlot:
    """Where the grain of a job goes, (member, slot).

    `point` index into farm.points, -1 where the job may be hauled nowhere; `loss` money per ha, NaN
    where no load is taken; `t_h` what trucks haul, 0 while the point is shut and they fill.
    """

    point: NDArray[np.int16]
    loss: Array
    t_h: Array


def delivery_by_slot(
    loss: Array, wait: NDArray[np.int64], rates: Mapping[int, Rates], trucks: Array, ha_t_h: float
) -> DeliveryBySlot:
    """Haul each slot's grain where it loses least, with the time of the crew.

    Of the points that take the grain as it is in that member and slot, that is the open one, else
    the one that opens soonest.

    Parameters
    ----------
    loss : (member, point, slot) money per ha, NaN where not taken.
    wait : (point, slot) slots until the point is open.
    rates : of the crew, for each point that the job may be hauled to.
    trucks : (truck, slot) those of the crew that are up.
    ha_t_h : money that the time of the crew for a ha is worth, times its t/h.
    """
    shape = loss.shape[0], loss.shape[2]
    q = np.array(sorted(rates), np.int64)
    point = np.full(shape, q[0] if q.size else -1, np.int16)
    least, t_h = np.full(shape, np.nan), np.zeros(shape)
    time = np.array([ha_t_h / rates[int(x)].t_h for x in q])
    haul = np.array([rates[int(x)].haul @ trucks for x in q]).reshape(-1, shape[1]) * (wait[q] == 0)
    t_h[:] = haul[0] if q.size else 0.0
    _least(loss, q, time[:, None] + WAITING * wait[q], haul, point, least, t_h)
    return DeliveryBySlot(point=point, loss=least, t_h=t_h)


@njit(cache=True, nogil=True)
def _least(loss, points, more, haul, point, least, t_h):  # type: ignore[no-untyped-def]
    """Of loss (member, point, slot) of some points, and `more` (of these, slot), the least.

    Fills point, least and t_h (member, slot), the last by haul (of these, slot), where one takes
    the grain.
    """
    for m in range(point.shape[0]):
        for t in range(point.shape[1]):
            best = np.inf
            for x in range(points.size):
                q = points[x]
                if loss[m, q, t] + more[x, t] < best:  # not where NaN
                    best = loss[m, q, t] + more[x, t]
                    point[m, t], least[m, t], t_h[m, t] = q, loss[m, q, t], haul[x, t]


def until_open(opened: NDArray[np.bool_]) -> NDArray[np.int64]:
    """(point, slot) slots until the point is open; to the end where it no longer opens."""
    slots = opened.shape[1]
    at = np.where(opened, np.arange(slots), slots)
    soonest = np.minimum.accumulate(at[:, ::-1], axis=1)[:, ::-1]
    return np.asarray(soonest - np.arange(slots))
