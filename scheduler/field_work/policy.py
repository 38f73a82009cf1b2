"""Policy: the orders that crews follow, short enough for a text message."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scheduler.field_work.tables import Float, Float32

Orders = tuple[tuple[int, ...], ...]
#: Weight by which a minute of move, or a point of moisture, decides before any place in a list.
DECISIVE = 1e4


class PolicyArrays(NamedTuple):
    """Arrays of `Policy` that compiled code takes.

    order : int32 (crew, job), all jobs of each crew, the first first.
    rank : (crew, job), place of each job in that order, from 0.
    start, stop : float32 (2, job); row 0 holds on the first day, row 1 later.
    The others as in `Policy`.
    """

    order: NDArray[np.int32]
    rank: Float
    start: Float32
    stop: Float32
    patience: Float
    leave: Float
    move_weight: float
    moisture_weight: float


@dataclass(frozen=True, kw_only=True)
class Policy:
    """Ranked lists and start moistures; `kernel` says what crews do with them.

    Attributes
    ----------
    orders : jobs of each crew, in order; a job may stand in several lists, and the crew that is
        there first cuts it. A crew that has finished its list helps with the others': their last
        jobs come first, because those are begun last. Jobs in no list come at the end.
    start : (2, job), percent: a crew starts a job at or below this moisture; row 0 on the first
        day, row 1 on later days.
    stop_margin : points by which a crew that cuts goes on above the start moisture.
    patience : (crew,), min: how long a crew waits at a shut job while a job that ranks after it
        can be cut.
    leave : (crew,), min: a crew leaves the job that it cuts for one that ranks before it and can
        be cut, if the move takes at most so long.
    move_weight, moisture_weight : what a minute of move and a point of moisture add to the rank; 0
        for a ranked list, `DECISIVE` for the rules nearest first and driest first.
    """

    orders: Orders
    start: Float
    stop_margin: float = 0.0
    patience: Float
    leave: Float
    move_weight: float = 0.0
    moisture_weight: float = 0.0

    @cached_property
    def arrays(self) -> PolicyArrays:
        """The arrays as compiled code takes them."""
        crews, jobs = len(self.orders), self.start.shape[1]
        order = np.empty((crews, jobs), np.int32)
        for k, own in enumerate(self.orders):
            others = [j for c, row in enumerate(self.orders) if c != k for j in reversed(row)]
            order[k] = list(dict.fromkeys([*own, *others, *range(jobs)]))
        rank = np.empty((crews, jobs))
        np.put_along_axis(rank, order.astype(np.int64), np.arange(float(jobs))[None], 1)
        return PolicyArrays(
            order=order,
            rank=rank,
            start=self.start.astype(np.float32),
            stop=(self.start + self.stop_margin).astype(np.float32),
            patience=self.patience,
            leave=self.leave,
            move_weight=self.move_weight,
            moisture_weight=self.moisture_weight,
        )


def ranked_lists(
    orders: Orders, jobs: int, *, start: Float | float, patience: float = 0.0, leave: float = 0.0
) -> Policy:
    """Policy of ranked lists with the same patience and leave for every crew.

    `start` is one moisture for all, or one for each job, percent; it holds on all days.
    """
    crews = len(orders)
    return Policy(
        orders=orders,
        start=np.broadcast_to(np.asarray(start, np.float64), (2, jobs)).copy(),
        patience=np.full(crews, patience),
        leave=np.full(crews, leave),
    )


def without_job(orders: Orders, j: int) -> Orders:
    """Orders in which no crew has job `j`."""
    return tuple(tuple(x for x in row if x != j) for row in orders)
