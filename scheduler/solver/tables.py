"""Cut tables: the border between farm and optimiser; no farming beyond this point."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Int = NDArray[np.int64]
Float = NDArray[np.float64]
Orders = tuple[tuple[int, ...], ...]

MEAN, CAUTIOUS = "mean", "cautious"
#: Share of the members, by weight, that the cautious objective averages: the worst fifth.
WORST_SHARE = 0.2

OPTIMAL, FEASIBLE, UNPROVED = "optimal", "feasible", "unproved"
INFEASIBLE, NO_PLAN = "infeasible", "no plan in time"


class TableArrays(NamedTuple):
    """Arrays of `CutTables` that compiled code takes; shapes and units as there."""

    finish: NDArray[np.int32]
    cost: Int
    move: NDArray[np.int32]
    leave_cost: Int
    weight: Float


@dataclass(frozen=True, kw_only=True)
class CutTables:
    """Problem to solve: all that search and bound take in.

    A crew that is free at slot t and goes from job i to job j arrives at s = t + move[k, i, j].
    In member m it is free again at finish[m, k, j, s], and the job costs cost[m, k, j, s].
    `finish` includes the wait for the field to open. A job in no crew's order costs leave_cost.
    Where a job of its order cannot be done in a member (finish -1, or s beyond the last slot),
    the crew passes over the job: the job costs leave_cost there, and the crew stays where it is,
    at the same slot.

    Attributes
    ----------
    finish : int32 (member, crew, job, slot). -1: cannot be started at that arrival slot or
        later and finished before the horizon. Non-decreasing in slot where not -1, and
        > slot unless the job takes no time; at most the number of slots.
    cost : int64 (member, crew, job, slot), money in cents (or the user's unit), >= 0,
        meaningful where finish >= 0.
    move : int32 (crew, job + 1, job) slots; row `job` (the last) is from where the crew stands.
    ready : int32 (crew,) first slot at which the crew may leave.
    leave_cost : int64 (job,), >= 0; a number above the cost of any plan forces the job to be done.
    weight : float64 (member,) probabilities, summing to 1.
    locked : tuple of (crew, tuple of jobs): each crew's order must begin with these jobs.

    Raises
    ------
    ValueError
        Where shapes do not agree or a number is out of range.
    """

    finish: NDArray[np.int32]
    cost: Int
    move: NDArray[np.int32]
    ready: NDArray[np.int32]
    leave_cost: Int
    weight: Float
    locked: tuple[tuple[int, tuple[int, ...]], ...] = ()

    def __post_init__(self) -> None:
        if self.finish.ndim != 4:
            raise ValueError(f"finish: want (member, crew, job, slot), got {self.finish.shape}")
        m, k, j, _ = self.finish.shape
        want = {
            "cost": self.finish.shape,
            "move": (k, j + 1, j),
            "ready": (k,),
            "leave_cost": (j,),
            "weight": (m,),
        }
        for name, shape in want.items():
            if (got := getattr(self, name).shape) != shape:
                raise ValueError(f"{name}: want shape {shape}, got {got}")
        for name in ("move", "ready", "leave_cost", "weight"):
            if (getattr(self, name) < 0).any():
                raise ValueError(f"{name}: no number may be below 0")
        if abs(float(self.weight.sum()) - 1.0) > 1e-9:
            raise ValueError(f"weight: must sum to 1, sums to {self.weight.sum()}")
        for crew, jobs in self.locked:
            if not 0 <= crew < k or any(not 0 <= i < j for i in jobs):
                raise ValueError(f"locked: there is no crew {crew} or no job among {jobs}")

    @property
    def shape(self) -> tuple[int, int, int, int]:
        """(members, crews, jobs, slots)."""
        m, k, j, s = self.finish.shape
        return m, k, j, s

    @property
    def arrays(self) -> TableArrays:
        """The arrays as compiled code takes them."""
        return TableArrays(self.finish, self.cost, self.move, self.leave_cost, self.weight)

    @property
    def prefixes(self) -> Orders:
        """Per crew, the jobs its order must begin with."""
        out: list[tuple[int, ...]] = [()] * self.shape[1]
        for crew, jobs in self.locked:
            out[crew] += tuple(jobs)
        return tuple(out)


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Orders found for tables.

    Attributes
    ----------
    orders : per crew, the jobs in order.
    left : jobs in no order.
    cost : objective of the plan (mean over members, or the mean of the worst fifth).
    member_cost : (member,) cost of the plan in each member.
    bound : proven lower bound on the objective of every plan (one order for all members), or None.
    status : 'optimal' (bound meets cost), 'feasible' (plan with a bound),
        'unproved' (plan, no bound asked or none in time), 'infeasible', 'no plan in time'.
    start, finish : int32 (member, job): arrival slot and end; -1 where left or passed over.
    """

    orders: Orders
    left: tuple[int, ...]
    cost: float
    member_cost: Float
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


def worst_weights(member_cost: Float, weight: Float) -> Float:
    """Weights, summing to 1, of the members in the worst fifth by weight; the last one in part."""
    rank = np.argsort(-member_cost, kind="stable")
    before = np.cumsum(weight[rank]) - weight[rank]
    out = np.zeros_like(weight)
    out[rank] = np.clip(WORST_SHARE - before, 0.0, weight[rank])
    out /= out.sum()
    return out


def objective_of(member_cost: Float, weight: Float, *, objective: str) -> float:
    """Mean of the members, or of the worst fifth of them ('cautious')."""
    if objective not in (MEAN, CAUTIOUS):
        raise ValueError(f"objective: say {MEAN!r} or {CAUTIOUS!r}, not {objective!r}")
    if objective == CAUTIOUS:
        weight = worst_weights(member_cost, weight)
    return float(weight @ member_cost)
