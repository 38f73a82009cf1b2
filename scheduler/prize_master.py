"""Prizes after which no known order of a crew is cheap: a linear program, kept for OR-Tools.

It is the dual of choosing one order per crew so that each job is done once or left (column
generation). The prizes are sought near good ones, so that they do not jump while few orders are
known.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from ortools.linear_solver import pywraplp

from scheduler.tables import Float

#: Turns for which walks of the members guide the prizes; assumed.
GUIDES = 10


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
        self._guides: list[list[pywraplp.Constraint]] = []
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
        """Keep to prizes after which walks, (crew, job) visits and (crew,) cost, are not cheap.

        Only the last `GUIDES` calls count: walks change their cost with the members' prices.
        """
        rows = []
        for k, rent in enumerate(self._rents):
            row = self._solver.Constraint(-self._solver.infinity(), float(cost[k]))
            row.SetCoefficient(rent, 1.0)
            for j in np.flatnonzero(visits[k]):
                row.SetCoefficient(self._prizes[j], float(visits[k, j]))
            rows.append(row)
        self._guides.append(rows)
        for row in self._guides.pop(0) if len(self._guides) > GUIDES else ():
            row.SetBounds(-self._solver.infinity(), self._solver.infinity())

    def rents(self, prize: Float) -> Float:
        """(crew,) what the cheapest known order costs after prizes; 0 for doing nothing."""
        return np.array([
            min([0.0, *(cost - prize[list(order)].sum() for order, cost in known.items())])
            for known in self._known
        ])  # fmt: skip

    def near(self, prize: Float, width: float) -> Float:
        """The prizes that promise most, none further than `width` from those given."""
        for j, x in enumerate(self._prizes):
            x.SetBounds(prize[j] - width, min(prize[j] + width, self._leave[j]))
        if self._solver.Solve() != pywraplp.Solver.OPTIMAL:
            return prize
        return np.array([x.solution_value() for x in self._prizes])
