"""Room of delivery points that is short, and which jobs get it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from ortools.linear_solver import pywraplp

from readiness.atmosphere.weather import Array


def assign_storage(score: Array, tonnes: Array, room: Array) -> NDArray[np.int64]:
    """Give room to the jobs that lose most without it: (job,) which choice each job gets.

    Choice 0 needs no room; choice 1 + i is that of the i-th point with little room. A generalised
    assignment problem, solved by CP-SAT.

    Parameters
    ----------
    score : (job, choice) what a job costs. tonnes : (job,) what it may bring.
    room : (choice - 1,) tonnes that the points have room for.
    """
    gain = score[:, :1] - score[:, 1:]
    choice = np.zeros(len(score), np.int64)
    wanted = np.argwhere((gain > 0.0) & (tonnes[:, None] <= room))
    if len(wanted) == 0:
        return choice
    solver = pywraplp.Solver.CreateSolver("SAT")
    solver.SetNumThreads(1)
    given = [solver.BoolVar("") for _ in wanted]
    solver.Maximize(solver.Sum(gain[j, i] * x for (j, i), x in zip(wanted, given, strict=True)))
    for j in np.unique(wanted[:, 0]):
        solver.Add(solver.Sum(x for (b, _), x in zip(wanted, given, strict=True) if b == j) <= 1)
    for i, most in enumerate(room):
        some = [tonnes[j] * x for (j, a), x in zip(wanted, given, strict=True) if a == i]
        solver.Add(solver.Sum(some) <= most)
    # to give nothing is always allowed
    assert solver.Solve() == pywraplp.Solver.OPTIMAL
    for (j, i), x in zip(wanted, given, strict=True):
        if x.solution_value() > 0.5:
            choice[j] = 1 + i
    return choice
