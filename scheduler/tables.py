"""Cut tables: the border between farm and optimiser. Integers in, no farming beyond this point."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Int = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class CutTables:
    """Everything the search and the proof know.

    A crew that becomes free at slot t and goes from job i to job j arrives at
    s = t + move[k, i, j]; in member m it is then free again at finish[m, k, j, s], having
    cost cost[m, k, j, s]. Waiting for the field to open is inside `finish`. Jobs not in any
    crew's order cost leave_cost.

    Attributes
    ----------
    finish : int32 (member, crew, job, slot). -1: cannot be started at that arrival slot or
        later and finished before the horizon. Non-decreasing in slot where not -1, and
        > slot unless the job takes no time.
    cost : int64 (member, crew, job, slot), money in cents (or the user's unit), >= 0,
        meaningful where finish >= 0.
    move : int32 (crew, job + 1, job) slots; row `job` (the last) is from where the crew stands.
    ready : int32 (crew,) first slot at which the crew may leave.
    leave_cost : int64 (job,).
    weight : float64 (member,) probabilities, summing to 1.
    locked : tuple of (crew, tuple of jobs): each crew's order must begin with these jobs.
    """

    finish: NDArray[np.int32]
    cost: Int
    move: NDArray[np.int32]
    ready: NDArray[np.int32]
    leave_cost: Int
    weight: NDArray[np.float64]
    locked: tuple[tuple[int, tuple[int, ...]], ...] = ()

    @property
    def shape(self) -> tuple[int, int, int, int]:
        """(members, crews, jobs, slots)."""
        m, k, j, s = self.finish.shape
        return m, k, j, s


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Orders found for tables.

    Attributes
    ----------
    orders : per crew, the jobs in order.
    left : jobs in no order.
    cost : objective of the plan (mean over members, or the mean of the worst fifth).
    member_cost : (member,) cost of the plan in each member.
    bound : proven lower bound on the objective of any plan of one fixed order, or None.
    status : 'optimal' (bound meets cost), 'feasible' (plan with a bound),
        'unproved' (plan, no bound asked or none in time), 'infeasible', 'no plan in time'.
    start, finish : int32 (member, job): arrival-adjusted slot and end; -1 where left.
    """

    orders: tuple[tuple[int, ...], ...]
    left: tuple[int, ...]
    cost: float
    member_cost: NDArray[np.float64]
    bound: float | None
    status: str
    start: NDArray[np.int32]
    finish: NDArray[np.int32]

    @property
    def gap(self) -> float | None:
        """(cost - bound) / cost, or None when there is no bound."""
        if self.bound is None:
            return None
        return 0.0 if self.cost <= 0 else max(0.0, (self.cost - self.bound) / self.cost)
