"""Search: costs agree with the tables, orders keep their rules, a seed names one plan."""

from dataclasses import replace

import numpy as np
import pytest
from farms import farm_tables, small_tables
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.solver.annealing import search
from scheduler.solver.check import check
from scheduler.solver.evaluation import evaluate
from scheduler.solver.settings import DEFAULTS
from scheduler.solver.tables import CAUTIOUS, CutTables, objective_of, worst_weights

FARM = farm_tables(15, 3, members=4, seed=2)
EMPTY = ((), (), ())


def warm(temperature):
    """Settings of a search that starts at a temperature."""
    return replace(DEFAULTS, start_temperature=temperature)


def test_evaluation_by_hand():
    # hand: crew free at 1, move 2 to job 0: arrives 3, ends 5 (cost 7); move 1 to job 1:
    # arrives 6, beyond the last slot: passed over at its leave cost 40; job 2 left at 9
    finish = np.full((1, 1, 3, 6), -1, np.int32)
    cost = np.zeros((1, 1, 3, 6), np.int64)
    finish[0, 0, 0, 3], cost[0, 0, 0, 3] = 5, 7
    move = np.ones((1, 4, 3), np.int32)
    move[0, 3, 0] = 2
    tables = CutTables(
        finish=finish,
        cost=cost,
        move=move,
        ready=np.array([1], np.int32),
        leave_cost=np.array([30, 40, 9]),
        weight=np.ones(1),
    )
    plan = evaluate(tables, [[0, 1]])
    assert (plan.cost, plan.left) == (56.0, (2,))
    assert plan.start.tolist() == [[3, -1, -1]]
    assert plan.finish.tolist() == [[5, -1, -1]]
    assert check(tables, plan) == []


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
def test_every_evaluated_order_passes_the_checker(seed, random):
    tables = small_tables(seed, locked=False)
    jobs = list(range(tables.shape[2]))
    random.shuffle(jobs)
    cuts = sorted(random.randint(0, len(jobs)) for _ in range(tables.shape[1]))
    orders = [jobs[a:b] for a, b in zip([0, *cuts], cuts, strict=False)]
    for objective in ("mean", CAUTIOUS):
        assert (
            check(tables, evaluate(tables, orders, objective=objective), objective=objective) == []
        )


@pytest.mark.parametrize("orders", [[[0], [0], []], [[15], [], []], [[0]], [[-1], [], []]])
def test_orders_that_cannot_be_evaluated(orders):
    with pytest.raises(ValueError, match="orders: want 3 sequences of different jobs below 15"):
        evaluate(FARM, orders)


def test_seed_names_one_plan_and_more_moves_do_not_hurt():
    first = search(FARM, EMPTY, moves=3000, seed=7)
    assert search(FARM, EMPTY, moves=3000, seed=7) == first
    long = evaluate(FARM, search(FARM, first, moves=30_000, seed=7, settings=warm(0.001)))
    assert long.cost <= evaluate(FARM, first).cost


def test_search_never_loses_its_start():
    start = search(FARM, EMPTY, moves=20_000, seed=1)
    after = search(FARM, start, moves=50, seed=2, settings=warm(10.0))
    assert evaluate(FARM, after).cost <= evaluate(FARM, start).cost + 1e-6


def test_cautious_search_lowers_the_worst_fifth():
    mean = evaluate(FARM, search(FARM, EMPTY, moves=30_000), objective=CAUTIOUS)
    orders = search(FARM, mean.orders, moves=30_000, objective=CAUTIOUS, settings=warm(0.005))
    assert evaluate(FARM, orders, objective=CAUTIOUS).cost <= mean.cost


def test_worst_fifth_by_hand():
    # hand: weights .1 .15 .75, costs 10 30 20: the worst is .15 of 30 and .05 of 20, over .2
    cost, weight = np.array([10.0, 30.0, 20.0]), np.array([0.1, 0.15, 0.75])
    assert objective_of(cost, weight, objective=CAUTIOUS) == pytest.approx(27.5)
    assert worst_weights(cost, weight) == pytest.approx([0.0, 0.75, 0.25])


def test_jobs_too_dear_to_do_are_left_and_others_inserted():
    cheap = small_tables(4, jobs=6, members=1, locked=False)
    tables = CutTables(
        finish=cheap.finish,
        cost=cheap.cost + 50,
        move=cheap.move,
        ready=cheap.ready,
        leave_cost=np.array([0, 0, 0, 10**6, 10**6, 10**6]),
        weight=cheap.weight,
    )
    plan = evaluate(tables, search(tables, ((),) * tables.shape[1], moves=5000))
    assert {0, 1, 2} <= set(plan.left)
