"""Restricted master problem: prizes after which no known order of a crew is cheap (OR-Tools).

Stabilised dual of choosing one order per crew so that each job is done once or left (column
generation). A piecewise linear penalty around good prizes, steeper with each step away from them,
keeps prizes from jumping while few orders are known (du Merle, Villeneuve, Desrosiers and Hansen
1999, Discrete Mathematics 194, 229-237; from memory).
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray
from ortools.linear_solver import pywraplp

from scheduler.solver.tables import Float

#: Steps to either side of good prizes; the last weighs nearly as much as doing a job once more or
#: less is worth. Assumed: more of them changed little.
STEPS = 5


class PrizeMaster:
    """Orders met so far, and the prizes that they allow.

    Parameters
    ----------
    leave : (job,) cost of leaving, which no prize exceeds. able : (job,) not locked.
    crews : number of crews.
    """

    def __init__(self, leave: Float, able: NDArray[np.bool_], crews: int) -> None:
        self._leave = leave
        self._solver = pywraplp.Solver.CreateSolver("GLOP")
        self._prizes = [self._solver.NumVar(0.0, 0.0, "") for _ in leave]
        least = -self._solver.infinity()
        self._rents = [self._solver.NumVar(least, 0.0, "") for _ in range(crews)]
        goal = self._solver.Objective()
        goal.SetMaximization()
        free = [x for x, can in zip(self._prizes, able, strict=True) if can]
        for x in [*free, *self._rents]:
            goal.SetCoefficient(x, 1.0)
        self._steps: list[pywraplp.Variable] = []
        self._from = [self._solver.Constraint(0.0, 0.0) for _ in leave]
        for x, row in zip(self._prizes, self._from, strict=True):
            row.SetCoefficient(x, 1.0)
            for n, sign in product(range(STEPS), (1.0, -1.0)):
                step = self._solver.NumVar(0.0, 0.0, "")
                row.SetCoefficient(step, sign)
                goal.SetCoefficient(step, -(n + 0.5) / STEPS)
                self._steps.append(step)
        self._guides = [self._solver.Constraint(least, -least) for _ in self._rents]
        for x, row in zip(self._rents, self._guides, strict=True):
            row.SetCoefficient(x, 1.0)
        self._known: list[dict[tuple[int, ...], float]] = [{} for _ in range(crews)]

    def add(self, k: int, order: tuple[int, ...], cost: float) -> None:
        """Take in an order of crew k and what it costs in the mean."""
        if order in self._known[k]:
            return
        self._known[k][order] = cost
        row = self._solver.Constraint(-self._solver.infinity(), cost)
        for x in [self._rents[k], *(self._prizes[j] for j in order)]:
            row.SetCoefficient(x, 1.0)

    def guide(self, visits: Float, cost: Float) -> None:
        """Look for prizes after which what is begun, (crew, job) visits and cost, is not cheap.

        `cost` (crew,) is before prizes. Only the last call counts.
        """
        for k, row in enumerate(self._guides):
            row.SetBounds(-self._solver.infinity(), float(cost[k]))
            for x, often in zip(self._prizes, visits[k], strict=True):
                row.SetCoefficient(x, float(often))

    def rents(self, prize: Float) -> Float:
        """(crew,) what the cheapest known order costs after prizes; 0 for doing nothing."""
        return np.array(
            [
                min([0.0, *(cost - prize[list(order)].sum() for order, cost in known.items())])
                for known in self._known
            ]
        )

    def near(self, prize: Float, width: float) -> Float:
        """Prizes that promise more, none further than `width` from those given."""
        infinity = self._solver.infinity()
        for base, x, most, row in zip(prize, self._prizes, self._leave, self._from, strict=True):
            x.SetBounds(-infinity, float(most))
            row.SetBounds(float(base), float(base))
        for step in self._steps:
            step.SetBounds(0.0, width / STEPS)
        if self._solver.Solve() != pywraplp.Solver.OPTIMAL:
            return prize
        return np.array([x.solution_value() for x in self._prizes])
