"""The bound over one order for all members is below every plan, whatever the prices."""

import numpy as np
import pytest
from farms import farm_tables, small_tables
from test_enumeration import brute_force

from scheduler.solver.annealing import search
from scheduler.solver.common_order.common_order import common_bound
from scheduler.solver.common_order.common_walk import KNOTS, Walks
from scheduler.solver.evaluation import evaluate
from scheduler.solver.lagrangian_bound import bound_members
from scheduler.solver.solve import solve
from scheduler.solver.stages import SolveStage
from scheduler.solver.tables import CAUTIOUS, CutTables, worst_weights


def planned(tables, moves=5000):
    """A plan with no proof."""
    return evaluate(tables, search(tables, tables.prefixes, moves=moves))


@pytest.mark.parametrize("block", range(6))
def test_no_prices_lift_it_above_the_best_order(block):
    # the law behind the proof, on farms where jobs are passed over, locked, left, take no time
    for seed in range(500 + 20 * block, 520 + 20 * block):
        rng = np.random.default_rng(seed)
        tables = small_tables(seed, jobs=4, members=int(rng.integers(2, 4)))
        best = brute_force(tables)
        members, crews, jobs, _ = tables.shape
        walks = Walks(tables, planned(tables), np.arange(members), tables.weight)
        for size in (0.0, 30.0, 300.0):
            prize = np.minimum(rng.uniform(0, 2 * best / jobs, jobs), tables.leave_cost)
            prices = size * rng.normal(size=(members, crews, KNOTS, jobs))
            prices -= np.einsum("m,mkbj->kbj", tables.weight, prices)
            value = walks.walks(prize, prices)
            assert value <= best + 1e-6


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(700, 730))
def test_it_climbs_no_higher_than_the_best_order(seed):
    tables = small_tables(seed, jobs=4, members=3)
    plan = planned(tables)
    known = bound_members(tables, plan, iterations=60)
    value = common_bound(tables, plan, known, weight=tables.weight, turns=40)
    assert value <= brute_force(tables) + 1e-6


@pytest.mark.slow
def test_the_first_to_go_is_the_same_in_all_members():
    # hand: one crew, two jobs of a slot each. In the first member job 0 costs 10 unless it goes
    # first, in the second job 1 does. Knowing the member nothing is lost; one order loses 10 in
    # one of the two, 5 in the mean, and the prices prove it.
    finish = np.tile(np.array([1, 2, 3, -1], np.int32), (2, 1, 2, 1))
    cost = np.zeros((2, 1, 2, 4), np.int64)
    cost[0, 0, 0, 1:] = cost[1, 0, 1, 1:] = 10
    tables = CutTables(
        finish=finish,
        cost=cost,
        move=np.zeros((1, 3, 2), np.int32),
        ready=np.zeros(1, np.int32),
        leave_cost=np.array([100, 100]),
        weight=np.array([0.5, 0.5]),
    )
    plan = planned(tables)
    assert plan.cost == 5
    known = bound_members(tables, plan, iterations=100)
    assert tables.weight @ known.bound == 0
    value = common_bound(tables, plan, known, weight=tables.weight, turns=400)
    assert value == pytest.approx(5, abs=0.05)


@pytest.mark.slow
def test_it_proves_more_of_a_farm_than_foresight_does_and_repeats():
    tables = farm_tables(12, 2, members=6, seed=5)
    plan = planned(tables)
    known = bound_members(tables, plan)
    value = common_bound(tables, plan, known, weight=tables.weight)
    own = tables.weight @ known.bound
    assert plan.cost - value < 0.8 * (plan.cost - own)
    assert value == common_bound(tables, plan, known, weight=tables.weight)


def test_the_cautious_bound_is_below_the_best_cautious_order():
    for seed in range(800, 815):
        tables = small_tables(seed, jobs=4, members=3)
        best = brute_force(tables, objective=CAUTIOUS)
        plan = planned(tables)
        known = bound_members(tables, plan, iterations=60)
        weight = worst_weights(plan.member_cost, tables.weight)
        assert common_bound(tables, plan, known, weight=weight, turns=20) <= best + 1e-6


def test_it_stops_where_it_is_told_to():
    tables = farm_tables(12, 2, members=3, seed=5)
    shares = []

    def tell(stage, share):
        if stage == SolveStage.COMMON_BOUND:
            shares.append(share)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        solve(tables, effort=0.05, progress=tell)
    assert len(shares) == 1


@pytest.mark.parametrize("begun", [0, 1, 12, 40, 300, 5000])
def test_however_few_orders_may_be_begun(begun):
    tables = farm_tables(12, 2, members=3, seed=5)
    plan = planned(tables)
    known = bound_members(tables, plan, iterations=60)
    value = common_bound(tables, plan, known, weight=tables.weight, turns=4, begun=begun)
    assert 0 < value <= plan.cost


def test_tables_too_large_for_it_are_left_alone(monkeypatch):
    tables = farm_tables(12, 2, members=3, seed=5)
    plan = planned(tables)
    known = bound_members(tables, plan, iterations=20)
    monkeypatch.setattr(
        "scheduler.solver.common_order.common_order.MOST", 3 * 2 * 12 * 12 * tables.shape[3] - 1
    )
    assert common_bound(tables, plan, known, weight=tables.weight) == -np.inf
    monkeypatch.setattr(
        "scheduler.solver.common_order.common_order.MOST", 3 * 2 * 12 * 12 * tables.shape[3]
    )
    assert common_bound(tables, plan, known, weight=tables.weight) > 0
