"""The two values of stochastic programming, estimated by search.

Value of perfect information: what knowing the weather would save. Value of the stochastic
solution: what planning on the mean forecast alone would lose. Definitions: Birge and Louveaux,
Introduction to Stochastic Programming, chapter 4 (from memory).
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from readiness.atmosphere.weather import VARIABLES, Weather
from scheduler.cut_tables.compiled import Compiled
from scheduler.solver.annealing import short_search
from scheduler.solver.evaluation import evaluate
from scheduler.solver.settings import DEFAULTS
from scheduler.solver.tables import CutTables, Plan


def value_of_perfect_information(tables: CutTables, plan: Plan, *, seed: int) -> float:
    """Mean saving of ordering for each member alone, money; a lower bound.

    The search for a member's own order starts from the plan's order, so it may miss savings.
    """

    def best_cost(m: int) -> float:
        """Cost of the best order found for member `m` alone, cents."""
        single = replace(
            tables,
            finish=tables.finish[m : m + 1],
            cost=tables.cost[m : m + 1],
            weight=np.ones(1),
        )
        return short_search(
            single, seed=seed, moves=5 * DEFAULTS.short_search_moves, orders=plan.orders
        ).cost

    with ThreadPoolExecutor(max_workers=2) as pool:
        best = np.array(list(pool.map(best_cost, range(tables.shape[0]))))
    return float(tables.weight @ np.maximum(0.0, plan.member_cost - best)) / 100.0


def value_of_stochastic_solution(
    compiled: Compiled, mean_compiled: Compiled, plan: Plan, *, seed: int
) -> float:
    """Loss, above that of the plan, of an order searched on the ensemble mean, money."""
    objective = compiled.farm.rules.objective
    order = short_search(
        mean_compiled.tables, seed=seed, moves=10 * DEFAULTS.short_search_moves
    ).orders
    dearer = evaluate(compiled.tables, order, objective=objective).cost - plan.cost
    return max(0.0, dearer / 100.0)


def mean_weather(ahead: Weather) -> Weather:
    """The ensemble mean as one member, (1, field, hour)."""
    mean = {name: getattr(ahead, name).mean(axis=0, keepdims=True) for name in VARIABLES}
    return replace(ahead, **mean, estimated=ahead.estimated.max(axis=0, keepdims=True))
