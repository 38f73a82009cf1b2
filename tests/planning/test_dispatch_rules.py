"""Dispatching rules on a small farm worked by hand."""

from dataclasses import replace

import numpy as np
from small_farm import HOURS, compiled, farm, season

from scheduler.planning.dispatch_rules import (
    LARGEST_FIRST,
    MOST_VALUABLE_FIRST,
    NEAREST_FIRST,
    RIPEST_FIRST,
    dispatched_orders,
)
from scheduler.solver.check import check
from scheduler.solver.evaluation import evaluate


def test_dispatching_rules_order_by_their_names():
    one_crew = farm(crews=(replace(farm().crews[0], fixed=True),))
    wet = np.repeat(np.array([[16.0], [15.0], [14.0]]), HOURS, axis=1)
    tables = compiled(one_crew, season(3, wet))
    orders = {name: o[0] for name, o in dispatched_orders(tables).items()}
    assert orders[NEAREST_FIRST] == (1, 2, 0)
    assert orders[LARGEST_FIRST] == (1, 2, 0)
    assert orders[RIPEST_FIRST] == (2, 1, 0)
    # 25 ha x 6 t/ha is worth less than 40 ha x 4 t/ha: 150 t against 160 t
    assert orders[MOST_VALUABLE_FIRST] == (1, 2, 0)
    for o in dispatched_orders(tables).values():
        assert check(tables.tables, evaluate(tables.tables, o)) == []
