"""Uncertainty: what knowing the weather would save, and what ignoring its spread would cost."""

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
    """Money that knowing each member beforehand would save on average, at least.

    Each member's own best order is searched from the plan's.
    """

    def own(m: int) -> float:
        """Cost of the best order met for the member alone."""
        alone = replace(
            tables,
            finish=tables.finish[m : m + 1],
            cost=tables.cost[m : m + 1],
            weight=np.ones(1),
        )
        return short_search(
            alone, seed=seed, moves=5 * DEFAULTS.short_search_moves, orders=plan.orders
        ).cost

    with ThreadPoolExecutor(max_workers=2) as pool:
        best = np.array(list(pool.map(own, range(tables.shape[0]))))
    return float(tables.weight @ np.maximum(0.0, plan.member_cost - best)) / 100.0


def value_of_stochastic_solution(
    compiled: Compiled, alone: Compiled, plan: Plan, *, seed: int
) -> float:
    """Money lost by an order made on the ensemble mean alone, priced on all members."""
    objective = compiled.farm.rules.objective
    order = short_search(alone.tables, seed=seed, moves=10 * DEFAULTS.short_search_moves).orders
    dearer = evaluate(compiled.tables, order, objective=objective).cost - plan.cost
    return max(0.0, dearer / 100.0)


def mean_weather(ahead: Weather) -> Weather:
    """The ensemble mean as one member, (1, field, hour)."""
    mean = {name: getattr(ahead, name).mean(axis=0, keepdims=True) for name in VARIABLES}
    return replace(ahead, **mean, estimated=ahead.estimated.max(axis=0, keepdims=True))
