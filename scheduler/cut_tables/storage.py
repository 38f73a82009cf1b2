"""Assign storage that is short to the jobs that need it most."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from ortools.linear_solver import pywraplp

from readiness.atmosphere.weather import Array


def assign_storage(cost: Array, tonnes: Array, capacity: Array) -> NDArray[np.int64]:
    """Assign limited storage to the jobs that lose most without it.

    A generalised assignment problem, solved to optimality by CP-SAT. Choice 0 of a job uses no
    limited storage; choice 1 + i uses that of the i-th limited point.

    Parameters
    ----------
    cost : (job, choice), money that the job costs with each choice.
    tonnes : (job,), grain that the job brings, t of wheat.
    capacity : (choice - 1,), storage capacity of each limited point, t of wheat.

    Returns
    -------
    (job,), the choice of each job.
    """
    gain = cost[:, :1] - cost[:, 1:]
    choice = np.zeros(len(cost), np.int64)
    candidates = np.argwhere((gain > 0.0) & (tonnes[:, None] <= capacity))
    if len(candidates) == 0:
        return choice
    solver = pywraplp.Solver.CreateSolver("SAT")
    solver.SetNumThreads(1)
    chosen = [solver.BoolVar("") for _ in candidates]
    pairs = list(zip(candidates, chosen, strict=True))
    solver.Maximize(solver.Sum(gain[j, i] * x for (j, i), x in pairs))
    for job in np.unique(candidates[:, 0]):
        solver.Add(solver.Sum(x for (j, _), x in pairs if j == job) <= 1)
    for point, limit in enumerate(capacity):
        solver.Add(solver.Sum([tonnes[j] * x for (j, i), x in pairs if i == point]) <= limit)
    # choosing nothing is feasible
    assert solver.Solve() == pywraplp.Solver.OPTIMAL
    for (j, i), x in pairs:
        if x.solution_value() > 0.5:
            choice[j] = 1 + i
    return choice
