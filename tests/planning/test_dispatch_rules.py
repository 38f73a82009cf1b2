"""Dispatching rules on a small farm worked by hand."""

from dataclasses import replace

import numpy as np
import pytest
from small_farm import HOURS, compiled, farm, season

from scheduler.field_work.play import play
from scheduler.planning.dispatch_rules import (
    LARGEST_FIRST,
    MOST_VALUABLE_FIRST,
    NEAREST_FIRST,
    RIPEST_FIRST,
    RULES,
    best_rules,
    lists_of,
    rule_policy,
    starting_lists,
    with_locked_first,
)
from scheduler.solver.check import violations
from scheduler.solver.objective import MEAN
from scheduler.solver.policy_search import Evaluator


def one_crew_work(members=1):
    one_crew = farm(crews=(replace(farm().crews[0], fixed=True),))
    wet = np.repeat(np.array([[16.0], [15.0], [14.0]]), HOURS, axis=1)
    return compiled(one_crew, season(3, wet, members=members))


@pytest.mark.parametrize(
    ("name", "order"),
    [
        (NEAREST_FIRST, (1, 2, 0)),
        (LARGEST_FIRST, (1, 2, 0)),
        (RIPEST_FIRST, (2, 1, 0)),
        # 25 ha x 6 t/ha is worth less than 40 ha x 4 t/ha: 150 t against 160 t
        (MOST_VALUABLE_FIRST, (1, 2, 0)),
    ],
)
def test_rules_cut_in_the_order_that_they_are_named_for(name, order):
    work = one_crew_work()
    outcome = play(work.tables, rule_policy(work, name, 18.0), log=True)
    assert lists_of(outcome, work.tables.weight) == (order,)
    assert violations(work.tables, rule_policy(work, name, 18.0), outcome) == []


def test_the_best_start_moisture_of_a_rule_is_the_best_of_all_tried():
    work = one_crew_work(members=2)
    evaluator = Evaluator(work.tables)
    found = best_rules(work, evaluator, objective=MEAN, starts=(14.0, 15.0, 18.0))
    assert set(found) == set(RULES)
    for name, (start, rule) in found.items():
        losses = {s: evaluator.loss(rule_policy(work, name, s)).mean() for s in (14.0, 15.0, 18.0)}
        assert losses[start] == rule.loss.mean() == min(losses.values())


def test_lists_begin_with_locked_fields():
    work = compiled(farm())
    rule = rule_policy(work, LARGEST_FIRST, 18.0)
    locked = ((0,), ())
    orders = lists_of(play(work.tables, rule, log=True), work.tables.weight)
    start = starting_lists(work, rule, orders, locked=locked)
    assert start.orders[0][0] == 0
    assert sorted(j for row in start.orders for j in row) == [0, 1, 2]
    held = with_locked_first(rule_policy(work, NEAREST_FIRST, 18.0), locked)
    assert held.orders == ((0, 1, 2), (1, 2))
    assert held.move_weight == 0.0
