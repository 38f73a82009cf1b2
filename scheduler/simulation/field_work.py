"""Field work in observed weather: crews move and cut slot by slot by a policy of choice."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from readiness.atmosphere.weather import Array
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.standing_loss import wet_yield
from scheduler.cut_tables.compiled import Compiled

#: Policy: the next job of a crew from (crew, slot, open jobs without a crew); None waits.
Choice = Callable[[int, int, set[int]], int | None]


@dataclass(kw_only=True)
class FieldWorkState:
    """State of all crews and jobs; changed in place as the work goes on.

    Attributes
    ----------
    compiled
        Cut tables of the observed weather, one member.
    left
        (job,) tonnes still standing.
    lost
        Money lost on the grain cut so far.
    ended
        (job,) slot at which each job was finished, -1 where it is not.
    at
        Place of each crew: a job, or the number of jobs for the place where it began.
    on
        Job of each crew, None without one.
    free
        Slot from which each crew can work.
    held
        Tonnes in the carts and trucks of each crew.
    """

    compiled: Compiled
    left: Array
    lost: float = 0.0
    ended: Array = field(default_factory=lambda: np.zeros(0))
    at: list[int]
    on: list[int | None]
    free: list[int]
    held: list[float]

    @property
    def open_jobs(self) -> set[int]:
        """Unfinished jobs."""
        return {int(j) for j in np.flatnonzero(self.left > 1e-9)}

    @property
    def done_share(self) -> Array:
        """Share of each job that is cut, (job,)."""
        return np.asarray(1.0 - self.left / _tonnes(self.compiled))

    @property
    def loss(self) -> float:
        """Money lost on the grain cut so far, and by leaving the rest."""
        share = self.left / _tonnes(self.compiled)
        return self.lost + float(self.compiled.standing_loss.leave_cost @ share)


def _tonnes(compiled: Compiled) -> Array:
    """Tonnes of each job at the start, (job,)."""
    return np.array(
        [job.area_ha * wet_yield(compiled.field(j)) for j, job in enumerate(compiled.jobs)]
    )


def begun(compiled: Compiled) -> FieldWorkState:
    """State before the first slot: crews at their places, nothing cut."""
    crews, jobs = len(compiled.makeup), len(compiled.jobs)
    return FieldWorkState(
        compiled=compiled,
        left=_tonnes(compiled),
        ended=np.full(jobs, -1.0),
        at=[jobs] * crews,
        on=[None] * crews,
        free=compiled.tables.ready.astype(int).tolist(),
        held=[0.0] * crews,
    )


def work(state: FieldWorkState, first: int, stop: int, choose: Choice) -> None:
    """Work through slots [first, stop) and update `state`.

    At `first` every crew may be sent elsewhere. A crew with a job waits in the field until the
    field opens, as in the cut tables.
    """
    for k in range(len(state.on)):
        state.on[k] = None
        state.free[k] = max(state.free[k], first)
    for t in range(first, stop):
        for k in range(len(state.on)):
            if state.on[k] is None and state.free[k] <= t:
                _send(state, k, t, choose)
            if state.on[k] is not None and state.free[k] <= t:
                _cut(state, k, t)


def _send(state: FieldWorkState, k: int, t: int, choose: Choice) -> None:
    """Send a free crew to the next job that the policy chooses, if any."""
    taken = {j for j in state.on if j is not None}
    j = choose(k, t, state.open_jobs - taken)
    if j is None:
        return
    state.on[k] = j
    if state.at[k] == j:  # no move
        return
    tables = state.compiled.tables
    arrival = t + int(tables.move[k, state.at[k], j])
    arrive = state.compiled.arrive[k, j]
    state.at[k] = j
    state.free[k] = int(arrive[arrival]) if arrival < len(arrive) else len(arrive)
    state.held[k] = 0.0


def _cut(state: FieldWorkState, k: int, t: int) -> None:
    """Cut for one slot, by the same rates as the compiled cut tables."""
    compiled, j = state.compiled, state.on[k]
    assert j is not None
    standing_loss, job, q = (
        compiled.standing_loss,
        compiled.jobs[j],
        int(compiled.point[0, k, j, t]),
    )
    if q < 0:
        return
    t_ha = wet_yield(compiled.field(j))
    most, out = compiled.slot_t(k, j, t, state.held[k])
    cut = 0.0
    if compiled.can[0, k, j, t]:
        cut = min(most, state.left[j])
        edge = standing_loss.headland_only[0, job.row, t]
        rut = loss_terms(compiled.farm, compiled.field(j))["rut_ha"] if edge else 0.0
        state.lost += cut / t_ha * (float(standing_loss.loss[0, j, q, t]) + rut)
        state.left[j] -= cut
    state.held[k] = max(0.0, state.held[k] + cut - out)
    if state.left[j] <= 1e-9:
        state.left[j], state.ended[j] = 0.0, t + 1
        state.on[k], state.free[k] = None, t + 1


def fit_on_arrival(state: FieldWorkState, k: int, t: int, j: int) -> bool:
    """Whether a crew that leaves for job j at slot t can cut on arrival."""
    can, arrive = state.compiled.can[0, k, j], state.compiled.arrive[k, j]
    if state.at[k] == j:
        return bool(can[t])
    s = t + int(state.compiled.tables.move[k, state.at[k], j])
    s = int(arrive[s]) if s < len(arrive) else s
    return s < len(can) and bool(can[s])


def follow(orders: Sequence[Sequence[int]]) -> Choice:
    """Policy: each crew takes its next unfinished job in order, even if its field is shut."""

    def choose(k: int, t: int, free: set[int]) -> int | None:
        return next((j for j in orders[k] if j in free), None)

    return choose
