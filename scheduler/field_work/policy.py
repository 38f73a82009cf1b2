"""Policy: the orders that crews follow, short enough for a text message."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scheduler.field_work.tables import Float, Float32, Int


class PolicyArrays(NamedTuple):
    """Arrays of `Policy` that compiled code takes; shapes and units as there."""

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
    """Ranked fields and start moistures; what crews do with them is in `kernel`.

    Attributes
    ----------
    order : int32 (crew, job), all jobs of each crew by rank, the first first.
    start : float32 (2, job), percent: a crew starts a job at or below this moisture; row 0 on the
        first day, row 1 on later days.
    stop : float32 (2, job), percent, >= start: a crew that cuts goes on up to this moisture.
    patience : (crew,), min: how long a crew waits at a shut job while a job that ranks after it
        can be cut.
    leave : (crew,), min: a crew leaves the job that it cuts for one that ranks before it and can
        be cut, if the move takes at most so long.
    move_weight, moisture_weight : what a minute of move and a point of moisture add to the rank;
        0 for a ranked list, large for the rules nearest first and driest first.
    """

    order: NDArray[np.int32]
    start: Float32
    stop: Float32
    patience: Float
    leave: Float
    move_weight: float = 0.0
    moisture_weight: float = 0.0

    @property
    def rank(self) -> Float:
        """(crew, job) place of each job in its crew's order, from 0."""
        out = np.empty(self.order.shape)
        np.put_along_axis(out, self.order.astype(np.int64), np.arange(out.shape[1])[None] * 1.0, 1)
        return out

    @property
    def arrays(self) -> PolicyArrays:
        """The arrays as compiled code takes them."""
        return PolicyArrays(
            self.order,
            self.rank,
            self.start,
            self.stop,
            self.patience,
            self.leave,
            self.move_weight,
            self.moisture_weight,
        )


def list_policy(
    orders: list[list[int]] | tuple[tuple[int, ...], ...],
    jobs: int,
    *,
    start: Float | float,
    stop_margin: float = 0.0,
    patience: float = 0.0,
    leave: float = 0.0,
) -> Policy:
    """Policy of ranked lists.

    A crew that has finished its list helps with the others': their last jobs come first, because
    those are begun last. Jobs in no list come at the end.

    Parameters
    ----------
    orders : jobs of each crew, in order; no job stands twice.
    jobs : number of jobs.
    start : (job,), (2, job) or one moisture for all, percent.
    stop_margin : points by which the stop moisture lies above the start moisture.
    patience, leave : of every crew, min.
    """
    crews = len(orders)
    rows = np.empty((crews, jobs), np.int32)
    for k, own in enumerate(orders):
        others = [j for c, order in enumerate(orders) if c != k for j in reversed(order)]
        rows[k] = list(dict.fromkeys([*own, *others, *range(jobs)]))
    levels = np.broadcast_to(np.asarray(start, np.float32), (2, jobs)).copy()
    return Policy(
        order=rows,
        start=levels,
        stop=(levels + np.float32(stop_margin)).astype(np.float32),
        patience=np.full(crews, float(patience)),
        leave=np.full(crews, float(leave)),
    )


def jobs_before(policy: Policy, k: int, j: int) -> Int:
    """Jobs that rank before job `j` for crew `k`."""
    row = policy.order[k]
    return np.asarray(row[: int(np.flatnonzero(row == j)[0])], np.int64)
