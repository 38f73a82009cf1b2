"""Small farms: `solve`, enumeration and arc fixing agree with brute force."""

from itertools import combinations, permutations

import numpy as np
import pytest
from farms import farm_tables, small_tables

from scheduler.solver.annealing import search
from scheduler.solver.arc_fixing import solve_residual
from scheduler.solver.check import check
from scheduler.solver.enumeration import enumerate_orders
from scheduler.solver.evaluation import evaluate
from scheduler.solver.lagrangian_bound import bound_members
from scheduler.solver.solve import solve
from scheduler.solver.tables import CAUTIOUS, MEAN, OPTIMAL, CutTables, objective_of


def brute_force(tables: CutTables, *, objective=MEAN):
    """Least cost over every pair of orders, each timed in every member. Own loops."""
    members, crews, jobs, slots = tables.shape
    everything = frozenset(range(jobs)) - {j for first in tables.prefixes for j in first}
    rows = {}  # (crew, set) -> member costs of every order of the set
    for k in range(crews):
        first = tables.prefixes[k]
        for r in range(len(everything) + 1):
            for subset in combinations(sorted(everything), r):
                costs = []
                for tail in permutations(subset):
                    money = np.zeros(members)
                    for m in range(members):
                        t, at = int(tables.ready[k]), jobs
                        for j in (*first, *tail):
                            s = t + tables.move[k, at, j]
                            end = tables.finish[m, k, j, s] if s < slots else -1
                            if end < 0:
                                money[m] += tables.leave_cost[j]
                            else:
                                money[m] += tables.cost[m, k, j, s]
                                t, at = int(end), j
                    costs.append(money)
                rows[k, frozenset(subset)] = np.array(costs)
    if objective == MEAN:
        rows = {key: v[[np.argmin(v @ tables.weight)]] for key, v in rows.items()}
    best = np.inf
    if crews == 1:
        rows[1, frozenset()] = np.zeros((1, members))
    for (k, a), mine in rows.items():
        for (c, b), theirs in rows.items():
            if (k, c) == (0, 1) and not a & b:
                left = sum(int(tables.leave_cost[j]) for j in everything - a - b)
                for x in mine:
                    for y in theirs:
                        value = objective_of(x + y + left, tables.weight, objective=objective)
                        best = min(best, value)
    return best


@pytest.mark.parametrize("block", range(10))
def test_two_hundred_small_farms_agree_with_brute_force(block):
    for seed in range(20 * block, 20 * block + 20):
        tables = small_tables(seed)
        plan = solve(tables, seed=seed)
        assert plan.cost == pytest.approx(brute_force(tables), rel=1e-12, abs=1e-9), seed
        assert plan.status == OPTIMAL
        assert plan.bound == pytest.approx(plan.cost)
        assert check(tables, plan) == []


@pytest.mark.parametrize("seed", range(12))
def test_cautious_small_farms_agree_with_brute_force(seed):
    tables = small_tables(seed, jobs=4, members=3)
    plan = solve(tables, objective=CAUTIOUS)
    best = brute_force(tables, objective=CAUTIOUS)
    assert plan.cost == pytest.approx(best, rel=1e-12, abs=1e-9)
    assert plan.status == OPTIMAL


def solved_residual(tables, plan, *, iterations=60, seconds=20.0):
    multiplier = bound_members(tables, plan, iterations=iterations).multiplier[0]
    return solve_residual(tables, plan, multiplier, seconds=seconds)


@pytest.mark.parametrize("block", range(10))
def test_arc_fixing_of_two_hundred_small_farms_agrees_with_brute_force(block):
    for seed in range(500 + 20 * block, 520 + 20 * block):
        tables = small_tables(seed, members=1)
        best = brute_force(tables)
        plan, bound = solved_residual(tables, evaluate(tables, tables.prefixes))
        assert plan.cost == pytest.approx(best, rel=1e-12, abs=1e-9), seed
        assert bound == plan.member_cost[0], seed
        assert plan.orders[0][: len(tables.prefixes[0])] == tables.prefixes[0]
        again, bound = solved_residual(tables, plan)
        assert (again.cost, bound) == (plan.cost, plan.member_cost[0]), seed


@pytest.mark.parametrize("seed", range(6))
def test_any_multipliers_prove_the_same(seed):
    tables = small_tables(seed, jobs=5, members=1)
    rng = np.random.default_rng(seed)
    plan, bound = solve_residual(
        tables, evaluate(tables, tables.prefixes), rng.uniform(-200.0, 900.0, 5), seconds=20.0
    )
    assert plan.cost == pytest.approx(brute_force(tables))
    assert bound == plan.member_cost[0]


def test_jobs_that_take_no_time_form_no_subtour():
    # hand: jobs 0 and 1 take no time. The crew reaches them at slot 2, where they cost 9 each, or
    # after job 2 at slot 3, where they cost 1 each; job 2 costs 30 to do and nothing to leave. So
    # 18 is best; a subtour 0, 1, 0 at slot 3, which no crew reaches, would cost 2
    finish = np.array([[0, 1, 2, 3], [0, 1, 2, 3], [3, 3, 3, -1]], np.int32)
    cost = np.array([[9, 9, 9, 1], [9, 9, 9, 1], [30, 30, 30, 0]])
    move = np.array([[[0, 0, 9], [0, 0, 9], [0, 0, 0], [2, 2, 0]]], np.int32)
    tables = CutTables(
        finish=finish[None, None],
        cost=cost[None, None],
        move=move,
        ready=np.zeros(1, np.int32),
        leave_cost=np.array([50, 50, 0]),
        weight=np.ones(1),
    )
    plan, bound = solve_residual(tables, evaluate(tables, [[]]), np.zeros(3), seconds=5.0)
    assert (plan.cost, bound) == (18.0, 18.0) == (brute_force(tables), 18.0)


def test_arc_fixing_proves_a_farm_beyond_enumeration_and_repeats():
    tables = farm_tables(14, 2, seed=13)
    rough = evaluate(tables, search(tables, tables.prefixes, moves=20_000))
    plan, bound = solved_residual(tables, rough, iterations=200)
    assert plan.cost == bound
    assert plan.cost <= rough.cost
    assert solved_residual(tables, rough, iterations=200)[0].orders == plan.orders
    assert solve(tables).status == OPTIMAL


def test_arc_fixing_proves_nothing_with_too_many_open_arcs():
    tables = farm_tables(14, 2, seed=13)
    plan = evaluate(tables, tables.prefixes)
    assert solved_residual(tables, plan, iterations=1, seconds=0.01) == (plan, 0.0)


def test_arc_fixing_refuses_several_members():
    tables = small_tables(0, members=2)
    with pytest.raises(ValueError, match="want one member, got 2"):
        solved_residual(tables, evaluate(tables, tables.prefixes))


def test_enumeration_says_when_it_stops_early():
    tables = small_tables(1, jobs=7)
    plan = evaluate(tables, tables.prefixes)
    better, complete = enumerate_orders(tables, plan, nodes=200)
    assert not complete
    assert better.cost <= plan.cost
