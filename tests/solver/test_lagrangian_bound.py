"""The Lagrangian bound is never above the cost of a plan, and tight where theory says so."""

import numpy as np
import pytest
from farms import farm_tables, small_tables, tardiness_tables
from test_enumeration import brute_force

from scheduler.solver.annealing import search
from scheduler.solver.evaluation import evaluate, state_after_locks
from scheduler.solver.lagrangian_bound import bound_members
from scheduler.solver.solve import orders_from_paths
from scheduler.solver.tables import CutTables


def single_member(tables, m):
    """Tables of member m alone."""
    return CutTables(
        finish=tables.finish[m : m + 1],
        cost=tables.cost[m : m + 1],
        move=tables.move,
        ready=tables.ready,
        leave_cost=tables.leave_cost,
        weight=np.ones(1),
        locked=tables.locked,
    )


@pytest.mark.parametrize("seed", range(300, 340))
def test_bound_is_at_most_the_best_plan_of_each_member(seed):
    tables = small_tables(seed, jobs=4)
    best = np.array([brute_force(single_member(tables, m)) for m in range(tables.shape[0])])
    bound = bound_members(tables, evaluate(tables, tables.prefixes), iterations=100).bound
    assert (bound <= best).all()
    assert (bound >= 0).all()


def test_bound_meets_the_cost_of_two_jobs_by_hand():
    # hand: two jobs of 2 slots, each costs its finish; one crew does them one after the other for
    # 2 + 4 = 6
    tables = tardiness_tables([2, 2], [1, 1], [0, 0])
    assert bound_members(tables, evaluate(tables, [[1, 0]]), iterations=200).bound[0] == 6


def test_bound_of_a_farm_is_near_the_plan_and_repeats():
    tables = farm_tables(12, 2, seed=5)
    plan = evaluate(tables, search(tables, tables.prefixes, moves=20_000))
    first = bound_members(tables, plan, iterations=120)
    again = bound_members(tables, plan, iterations=120)
    assert first.bound == again.bound
    assert (first.paths[0] == again.paths[0]).all()
    assert first.bound[0] > 0.95 * plan.cost


@pytest.mark.parametrize("seed", range(6))
def test_paths_kept_cost_what_the_tables_say(seed):
    tables = small_tables(seed, jobs=6, locked=False)
    bounds = bound_members(tables, evaluate(tables, tables.prefixes), iterations=8, keep=3)
    for m, (paths, costs) in enumerate(zip(bounds.paths, bounds.path_cost, strict=True)):
        assert 1 <= len(paths) <= 3
        for k in range(tables.shape[1]):
            for path, cost in zip(paths[:, k], costs[:, k], strict=True):
                assert (path[(path >= 0).sum() :] == -1).all()
                t, at, paid = int(tables.ready[k]), tables.shape[2], 0
                for j in path[path >= 0]:
                    s = t + tables.move[k, at, j]
                    t, at, paid = tables.finish[m, k, j, s], j, paid + tables.cost[m, k, j, s]
                assert cost == pytest.approx(paid, abs=1e-6)


def test_orders_from_paths_name_each_job_once():
    # hand: a job stays with the crew that chooses first, at its first place
    tables = farm_tables(4, 2, seed=5)
    paths = np.array([[2, 1, 2, -1], [1, 0, -1, -1]], np.int16)
    assert orders_from_paths(tables, paths, 0) == ((2, 1), (0,))
    assert orders_from_paths(tables, paths, 1) == ((2,), (1, 0))


def test_a_hard_instance_is_bounded_closely():
    # one machine, weighted tardiness, 30 jobs: the time-indexed relaxation is known to bound within
    # a few percent (Sousa and Wolsey 1992, Mathematical Programming 54, 353-367; from memory);
    # 1,200 subgradient steps proved 348 of the plan's cost of 509
    rng = np.random.default_rng(1)
    length, worth = rng.integers(1, 101, 30), rng.integers(1, 11, 30)
    due = rng.integers(int(0.7 * length.sum()), int(0.9 * length.sum()), 30)
    tables = tardiness_tables(length, worth, due)
    plan = evaluate(tables, search(tables, tables.prefixes, moves=200_000))
    bound = bound_members(tables, plan, iterations=400).bound[0]
    assert 0.9 * plan.cost < bound <= plan.cost


def test_states_after_locks_are_those_of_the_tables():
    tables = small_tables(3, jobs=5, members=2, locked=True)
    (job,) = tables.prefixes[0]
    for m in range(2):
        begin, stand, paid = state_after_locks(tables, m)
        s = tables.ready[0] + tables.move[0, 5, job]
        if tables.finish[m, 0, job, s] >= 0:
            assert begin[0] == tables.finish[m, 0, job, s]
            assert stand[0] == job
            assert paid == tables.cost[m, 0, job, s]
