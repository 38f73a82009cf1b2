"""Orders begun alike in all members: against every order of small farms, timed one by one."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from farms import farm_tables, small_tables
from test_enumeration import brute_force

from scheduler.solver.annealing import search
from scheduler.solver.common_order.common_order import common_bound
from scheduler.solver.common_order.common_route import SHOWN, Routes, twins
from scheduler.solver.common_order.common_walk import KNOTS, Walks
from scheduler.solver.common_order.prize_master import PrizeMaster
from scheduler.solver.evaluation import evaluate, state_after_locks
from scheduler.solver.lagrangian_bound import bound_members


def planned(tables):
    """A plan with no proof."""
    return evaluate(tables, search(tables, tables.prefixes, moves=3000))


def mean_cost(tables, k, order):
    """What an order of crew k costs in the mean, after its locked jobs."""
    total = 0.0
    for m, weight in enumerate(tables.weight):
        begin, stand, _ = state_after_locks(tables, m)
        t, i = int(begin[k]), int(stand[k])
        for j in order:
            s = t + int(tables.move[k, i, j])
            end = int(tables.finish[m, k, j, s]) if s < tables.shape[3] else -1
            if end < 0:
                total += weight * int(tables.leave_cost[j])
            else:
                total += weight * int(tables.cost[m, k, j, s])
                t, i = end, j
    return total


def prepared(tables, seed, size):
    """Routes of each crew at random prizes, and prices of a size that sum to 0; the prizes."""
    rng = np.random.default_rng(seed)
    members, crews, jobs, _ = tables.shape
    plan = planned(tables)
    walks = Walks(tables, plan, np.arange(members), tables.weight)
    prize = np.minimum(rng.uniform(0, 2 * plan.cost / jobs, jobs), tables.leave_cost)
    prices = size * rng.normal(size=(members, crews, KNOTS, jobs))
    prices -= np.einsum("m,mkbj->kbj", tables.weight, prices)
    walks.walks(prize, prices, keep=True)
    alike = twins(tables, plan.orders)
    routes = [
        Routes(walks.crews[k], walks.kept[k], walks.leave, tables.weight, alike[k])
        for k in range(crews)
    ]
    return routes, prize, [j for j in range(jobs) if not walks.banned[j]]


# the last five: jobs that take no time, in orders longer than the plan's
@pytest.mark.slow
@pytest.mark.parametrize("seed", [*range(900, 940), 1185, 1339, 1345, 1349, 1372])
@pytest.mark.parametrize("size", [0.0, 60.0])
def test_the_cheapest_of_all_orders_is_found_whatever_the_prices(seed, size):
    tables = small_tables(seed, jobs=4, members=3)
    routes, prize, able = prepared(tables, seed, size)
    for k, known in enumerate(routes):
        costs = {
            order: mean_cost(tables, k, order) - prize[list(order)].sum()
            for n in range(len(able) + 1)
            for order in permutations(able, n)
        }
        best = min(costs.values())
        scale = 1e-6 * max(1.0, *map(abs, costs.values()))
        assert known.least() <= best + scale
        count, least = known.dig(prize, 0.0, 10**6)
        assert least == pytest.approx(best, abs=scale)
        assert count <= len(costs)
        for order, cost in known.sketch(prize, 5):
            assert cost == pytest.approx(costs[order] + prize[list(order)].sum(), abs=scale)
            assert known.cost(order) == pytest.approx(cost, abs=scale)


@pytest.mark.parametrize("seed", range(940, 960))
def test_a_limit_is_proved_or_given_up(seed):
    tables = small_tables(seed, jobs=5, members=2, locked=False)
    routes, prize, able = prepared(tables, seed, 0.0)
    for k, known in enumerate(routes):
        best = min(
            mean_cost(tables, k, order) - prize[list(order)].sum()
            for n in range(len(able) + 1)
            for order in permutations(able, n)
        )
        below = best - 0.1 * abs(best) - 1.0
        assert known.dig(prize, below, 10**6)[1] == below
        if best < -1.0:
            assert known.dig(prize, 0.0, 0)[1] is None


@pytest.mark.slow
def test_an_order_begun_like_the_cheapest_walk_goes_on_along_it():
    # by the walk's own trace
    followed = 0
    for seed in range(20):
        tables = farm_tables(9, 2, members=2, seed=seed)
        plan = planned(tables)
        walks = Walks(tables, plan, np.arange(2), tables.weight)
        prize = tables.weight @ bound_members(tables, plan, iterations=60).multiplier
        walks.walks(prize, np.zeros((2, 2, KNOTS, 9)), keep=True)
        for m, k in np.ndindex(2, 2):
            at, crew = walks.kept[k], walks.crews[k]
            jobs, levels = walks.met.job[m, k, 0], walks.met.level[m, k, 0]
            jobs, levels = jobs[jobs >= 0], levels[jobs >= 0]
            if jobs.size == 0:
                continue
            known = Routes(crew, at, walks.leave, tables.weight, np.full((2, 9), -1))
            known._begun = np.full((1, 1, 9), -1)
            known._begun[0, 0, 0] = jobs[0]
            went = np.zeros(at.pay.shape[1:])
            np.add.at(went, (levels, jobs), 1.0)
            assert (known.visits()[m] == went).all()
            followed += 1
    assert followed > 60


def test_a_limit_given_up_leaves_what_was_begun_before():
    tables = farm_tables(12, 1, members=2, seed=3)
    routes, prize, _ = prepared(tables, 3, 0.0)
    assert (routes[0].visits() == 0.0).all()
    assert routes[0].dig(prize, 0.9 * routes[0].least(), 10**7)[1] is not None
    before = routes[0].visits()
    assert before.any()
    assert routes[0].dig(prize, 0.0, 9)[1] is None
    assert (routes[0].visits() == before).all()


def test_of_many_orders_begun_some_are_kept_evenly():
    tables = farm_tables(12, 1, members=2, seed=3)
    routes, prize, _ = prepared(tables, 3, 0.0)
    count, _ = routes[0].dig(prize, 0.0, 10**7)
    assert count > 20 * SHOWN
    visits = routes[0].visits()
    firsts = visits[:, 0]
    assert firsts.sum(axis=1) == pytest.approx(np.ones(2))  # each order begins once
    assert (firsts[0] == firsts[1]).all()  # and alike in all members
    assert (firsts[0] > 0).sum() > 1  # not all of one beginning


def doubled(tables, j):
    """Tables with job j there twice, the same in all but name; between the two no way."""
    jobs = tables.shape[2]
    rows = [*range(jobs), j]
    move = tables.move[:, [*rows, jobs]][:, :, rows]
    move[:, [j, jobs], [jobs, j]] = 0
    return replace(
        tables,
        finish=tables.finish[:, :, rows],
        cost=tables.cost[:, :, rows],
        move=move,
        leave_cost=tables.leave_cost[rows],
        locked=(),
    )


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(960, 990))
def test_jobs_just_alike_change_names_without_lifting_the_bound(seed):
    # every crew, also the one that must do both, and prizes that differ between the two
    tables = doubled(small_tables(seed, jobs=3, members=2, locked=False), seed % 3)
    plan = planned(tables)
    found = twins(tables, plan.orders)
    assert (found[:, 1, seed % 3] == 3).all()
    assert (found[:, 0, 3] == seed % 3).sum() == 1
    known = bound_members(tables, plan, iterations=60)
    value = common_bound(tables, plan, known, weight=tables.weight, turns=10)
    assert value <= brute_force(tables) + 1e-6


def test_jobs_that_differ_in_one_member_are_not_alike():
    tables = doubled(small_tables(3, jobs=3, members=2, locked=False), 0)
    cost = tables.cost.copy()
    cost[1, 0, 3, np.flatnonzero(tables.finish[1, 0, 3] >= 0)[0]] += 1
    assert (twins(replace(tables, cost=cost), ((), ())[: tables.shape[1]]) == -1).all()


@pytest.mark.slow
def test_a_farm_is_proved_near_its_best_order():
    # what the members' walks leave open of it, 10 % and more, is closed but for a little
    tables = farm_tables(14, 2, members=9, seed=5)
    plan = evaluate(tables, search(tables, tables.prefixes, moves=100_000))
    known = bound_members(tables, plan)
    value = common_bound(tables, plan, known, weight=tables.weight)
    own = tables.weight @ known.bound
    assert own < 0.93 * plan.cost
    assert 0.985 * plan.cost < value <= plan.cost


def test_prizes_are_what_known_orders_allow_near_those_given():
    # hand: one crew, two jobs that cost 4 and 6 alone and 10 or 12 together. While the dearer
    # order alone is known, prizes promise 12, and no more than 10 once all are
    master = PrizeMaster(np.array([9.0, 9.0]), np.ones(2, np.bool_), 1)
    master.add(0, (0, 1), 12.0)
    best = master.near(np.zeros(2), 100.0)
    assert best.sum() + master.rents(best)[0] == pytest.approx(12.0)
    assert (np.abs(master.near(np.full(2, 3.0), 0.5) - 3.0) <= 0.5 + 1e-9).all()
    for order, cost in (((1, 0), 10.0), ((0,), 4.0), ((1,), 6.0)):
        master.add(0, order, cost)
    best = master.near(np.zeros(2), 100.0)
    assert best.sum() + master.rents(best)[0] == pytest.approx(10.0)
    assert (best <= 9.0).all()
    # half a walk that does both, the second twice, for 8, and half the first alone for 4, do each
    # once for 6
    master.guide(np.array([[1.0, 2.0]]), np.array([8.0]))
    best = master.near(np.zeros(2), 100.0)
    walk = 8.0 - best @ [1.0, 2.0]
    assert best.sum() + min(master.rents(best)[0], walk) == pytest.approx(6.0)


def test_prizes_go_as_far_as_what_they_gain_weighs():
    # hand: of five steps of 1 the weights are 0.1, 0.3, 0.5, 0.7, 0.9. What is begun comes to the
    # first job a quarter of a time and to the second 1.4 times: a dollar gains 0.75 and loses 0.4
    master = PrizeMaster(np.array([9.0, 9.0]), np.ones(2, np.bool_), 1)
    master.guide(np.array([[0.25, 1.4]]), np.array([-100.0]))
    assert master.near(np.full(2, 4.0), 5.0) == pytest.approx([8.0, 2.0])
    # none above what leaving costs
    assert master.near(np.full(2, 6.0), 5.0) == pytest.approx([9.0, 4.0])
