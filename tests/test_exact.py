"""Small farms: solve, branching and CP-SAT agree with trying every plan."""

from itertools import combinations, permutations

import numpy as np
import pytest
from farms import small_tables

from scheduler.check import check
from scheduler.exact import branch, circuit
from scheduler.search import price
from scheduler.solve import solve
from scheduler.tables import CAUTIOUS, MEAN, OPTIMAL, CutTables, objective_of


def brute_force(tables: CutTables, *, objective=MEAN):
    """Least cost over every pair of orders, each walked once in every member. Own loops."""
    members, crews, jobs, slots = tables.shape
    everything = frozenset(range(jobs)) - {j for first in tables.prefixes for j in first}
    rows = {}  # (crew, set) -> member costs of every order of the set
    for k in range(crews):
        first = tables.prefixes[k]
        for r in range(len(everything) + 1):
            for some in combinations(sorted(everything), r):
                costs = []
                for tail in permutations(some):
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
                rows[k, frozenset(some)] = np.array(costs)
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


@pytest.mark.parametrize("seed", range(8))
def test_circuit_agrees_with_brute_force(seed):
    tables = small_tables(seed, jobs=5, members=1)
    orders, bound, proved = circuit(tables, limit=20.0)
    assert proved
    found = price(tables, orders)
    assert found.cost == pytest.approx(brute_force(tables))
    assert bound == pytest.approx(found.cost)


def test_circuit_takes_a_hint_and_keeps_locks():
    tables = small_tables(3, jobs=6, members=1, locked=True)
    plan = solve(tables)
    orders, _, proved = circuit(tables, hint=plan.orders, limit=20.0)
    assert proved
    assert price(tables, orders).cost == plan.cost
    assert orders[0][: len(tables.prefixes[0])] == tables.prefixes[0]


def test_circuit_refuses_members():
    with pytest.raises(ValueError, match="want one member, got 2"):
        circuit(small_tables(0, members=2))


def test_branching_says_when_it_gave_up():
    tables = small_tables(1, jobs=7)
    plan = price(tables, tables.prefixes)
    better, done = branch(tables, plan, budget=200)
    assert not done
    assert better.cost <= plan.cost
