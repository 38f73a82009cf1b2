"""The bound never lies above a plan, and is tight where theory says so."""

import numpy as np
import pytest
from farms import farm_tables, small_tables, tardiness_tables
from test_exact import brute_force

from scheduler.bound import after_locks, foresight
from scheduler.tables import CutTables


def alone(tables, m):
    """One member's tables."""
    return CutTables(
        finish=tables.finish[m : m + 1], cost=tables.cost[m : m + 1], move=tables.move,
        ready=tables.ready, leave_cost=tables.leave_cost, weight=np.ones(1), locked=tables.locked,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(300, 340))
def test_bound_is_below_the_best_of_each_member(seed):
    tables = small_tables(seed, jobs=4)
    best = np.array([brute_force(alone(tables, m)) for m in range(tables.shape[0])])
    bound = foresight(tables, best, turns=100).member_bound
    assert (bound <= best).all()
    assert (bound >= 0).all()


def test_bound_meets_the_cost_where_jobs_do_not_meet():
    # hand: two jobs of 2 slots, each costs its finish; one crew each would do 2 + 2, one crew
    # does them one after the other: 2 + 4 = 6, and leaving costs 100
    tables = tardiness_tables([2, 2], [1, 1], [0, 0])
    assert foresight(tables, np.array([6.0]), turns=200).member_bound[0] == 6


def test_bound_of_a_farm_is_near_the_plan_and_repeats():
    tables = farm_tables(12, 2, seed=5)
    first = foresight(tables, np.array([1e6]), turns=120)
    again = foresight(tables, np.array([1e6]), turns=120)
    assert first.member_bound == again.member_bound
    assert (first.walks == again.walks).all()


def test_walks_name_jobs_once():
    tables = farm_tables(12, 2, members=2, seed=5)
    walks = foresight(tables, np.array([1e6, 1e6]), turns=20, keep=3).walks
    assert walks.shape == (2, 3, 2, 12)
    for row in walks.reshape(-1, 12):
        jobs = row[row >= 0]
        assert len(set(jobs)) == len(jobs)
        assert (row[len(jobs) :] == -1).all()


def test_states_after_locks_are_those_of_the_walk():
    tables = small_tables(3, jobs=5, members=2, locked=True)
    (job,) = tables.prefixes[0]
    for m in range(2):
        begin, stand, paid = after_locks(tables, m)
        s = tables.ready[0] + tables.move[0, 5, job]
        if tables.finish[m, 0, job, s] >= 0:
            assert begin[0] == tables.finish[m, 0, job, s]
            assert stand[0] == job
            assert paid == tables.cost[m, 0, job, s]
